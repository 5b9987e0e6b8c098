"""What pages read from a Dataset: times, bands, gaps, crossings, the setting and provenance lines."""

import json

import numpy as np

from .. import cautions
from . import style

GAP_FACTOR, GAP_LEAST_S = 3.0, 30.0
SUSTAINED_S = 60.0


def minutes(ds, dim="time"):
    """Return a time coordinate [min]."""
    return np.asarray(ds[dim].values, dtype=float) / 60.0


def values(ds, name):
    """Return a variable as a float array."""
    return np.asarray(ds[name].values, dtype=float)


def attribute(ds, name, default=None):
    """Return an attribute; JSON strings of lists and objects are read."""
    value = ds.attrs.get(name, default)
    if isinstance(value, str) and value[:1] in "[{":
        try:
            return json.loads(value)
        except json.JSONDecodeError:
            return value
    return value


def limit_C(ds):
    """Return the core limit in force [°C], or None."""
    value = ds.attrs.get("limit_C")
    return float(value) if value is not None and np.isfinite(float(value)) else None


def whose_limit(ds):
    """Return ``you set`` for a limit of the user's own, ``by default`` for the package's."""
    given = (attribute(ds, "inputs") or {}).get("limits", {})
    return "you set" if given.get("core_temperature_C") is not None else "by default"


def bands(ds, name):
    """Return ``[(share, low, high)]``, widest first, for ``name_low`` and ``name_high`` if present.

    With a dimension ``band`` its coordinate holds the shares (0.9 or 90); without it they are 90 % bands.
    """
    low, high = f"{name}_low", f"{name}_high"
    if low not in ds or high not in ds:
        return []
    if "band" not in ds[low].dims:
        return [(90, values(ds, low), values(ds, high))]
    found = []
    for k, share in enumerate(np.atleast_1d(ds["band"].values)):
        share = float(share)
        found.append(
            (
                round(share * 100 if share <= 1 else share),
                np.asarray(ds[low].isel(band=k), dtype=float),
                np.asarray(ds[high].isel(band=k), dtype=float),
            )
        )
    return sorted(found, key=lambda item: -item[0])


def first_crossing_min(t_min, y, level):
    """Return the first time [min] at which a curve is at or above a level, or None."""
    above = np.flatnonzero(np.asarray(y) >= level)
    return float(t_min[above[0]]) if above.size else None


def crossing_min(ds, t_min, core, limit):
    """Return when a run crosses its limit [min], or None: the engine's own time where it is given."""
    given = ds.attrs.get("time_to_limit_s")
    if given is None:
        return first_crossing_min(t_min, core, limit)
    return float(given) / 60.0 if np.isfinite(float(given)) else None


def cap_bpm(ds):
    """Return the cap in force [bpm], or None."""
    value = ds.attrs.get("cap_bpm")
    return float(value) if value is not None and np.isfinite(float(value)) else None


def legs_min(ds, kind):
    """Return ``[(start, end)]`` [min] of the legs of one kind of block that were begun."""
    if "leg_kind" not in ds.coords:
        return []
    last = float(ds.time[-1])
    ends = [float(ds.attrs.get(name, np.nan)) for name in ("stopped_s", "legs_done_s")]
    starts = values(ds, "leg_start")
    begun = starts[np.isfinite(starts)]
    edges = np.minimum(np.append(begun, last), np.nanmin([last, *ends])) / 60.0
    return [(a, b) for a, b, is_a in zip(edges[:-1], edges[1:], ds["leg_kind"].values == kind) if is_a and b > a]


def speed_on_the_way(ds):
    """Return speed [m/s], NaN at a last sample where the legs are done and nobody has stopped: the run is over there."""
    speed, done = values(ds, "speed"), float(ds.attrs.get("legs_done_s", np.nan))
    if done >= float(ds.time[-1]) - 1e-3:
        speed = np.append(speed[:-1], np.nan)
    return speed


def spells(t_s, on, least_s=0.0):
    """Return ``[(start, end)]`` [s] of the stretches in which a flag is set."""
    on = np.asarray(on, dtype=bool)
    if not on.any():
        return []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], on.view(np.int8), [0]))))
    last = len(t_s) - 1
    found = [(float(t_s[a]), float(t_s[min(b, last)])) for a, b in zip(edges[::2], edges[1::2])]
    return [(a, b) for a, b in found if b - a >= least_s]


def recorded_heart_rate(ds):
    """Return times [s] and values [bpm] of the recorded samples that exist, or None."""
    if "heart_rate_recorded" not in ds:
        return None
    recorded = ds["heart_rate_recorded"]
    t = np.asarray(recorded[recorded.dims[0]].values, dtype=float)
    y = np.asarray(recorded.values, dtype=float)
    kept = np.isfinite(y) & np.isfinite(t)
    return (t[kept], y[kept]) if kept.any() else None


def gaps_s(t):
    """Return ``[(start, end)]`` [s] where a recording steps by more than 3 times its median step and 30 s."""
    steps = np.diff(t)
    if steps.size == 0:
        return []
    wide = np.flatnonzero((steps > GAP_FACTOR * np.median(steps)) & (steps > GAP_LEAST_S))
    return [(float(t[k]), float(t[k + 1])) for k in wide]


def heart_rate_difference(ds):
    """Return mean and root-mean-square of modelled minus recorded heart rate [bpm], or None."""
    found = recorded_heart_rate(ds)
    if found is None:
        return None
    t, y = found
    inside = (t >= float(ds.time[0])) & (t <= float(ds.time[-1]))
    if not inside.any():
        return None
    difference = np.interp(t[inside], ds.time.values, values(ds, "heart_rate")) - y[inside]
    return float(difference.mean()), float(np.sqrt((difference**2).mean()))


def device_names(ds):
    """Return the names of the devices in a Dataset."""
    return (
        [str(name).replace("_", " ") for name in np.atleast_1d(ds["device"].values)]
        if "device" in ds.coords
        else []
    )


def uncompensable_spells(ds):
    """Return ``[(start, end)]`` [s] of the sustained spells in which the balance is limited."""
    return spells(ds.time.values, values(ds, "limited_by") != 0, SUSTAINED_S) if "limited_by" in ds else []


def cautions_of(ds, **more):
    """Return the cautions of a run, with the range flags its warnings carry."""
    lines = cautions.for_result(
        device=bool(device_names(ds)),
        capped=cap_bpm(ds) is not None,
        uncompensable=bool(uncompensable_spells(ds)),
        band_K=ds.attrs.get("core_band_K"),
        **more,
    )
    if has_perception(ds):
        lines.append(cautions.PERCEPTION_APART)
    warnings = attribute(ds, "warnings", []) or []
    return lines + [sentence(w) for w in warnings if "outside" in str(w).lower()]


def has_perception(ds):
    """Return True when ratings were recorded or perception was asked for."""
    return any(name in ds for name in ("effort_recorded", "thermal_sensation_recorded", "thermal_sensation_change"))


def sentence(text):
    """Return a text with a capital first letter and a full stop."""
    text = str(text).strip()
    return text[:1].upper() + text[1:].rstrip(".") + "."


def _runner(ds):
    inputs = attribute(ds, "inputs", {})
    runner = inputs.get("runner", {}) if isinstance(inputs, dict) else {}
    return runner if isinstance(runner, dict) else {"name": str(runner)}


def setting_line(ds):
    """Return who, what, where, device and rule, from the Dataset and its inputs."""
    if ds.attrs.get("setting"):
        return str(ds.attrs["setting"])
    runner, parts = _runner(ds), []
    if runner.get("name"):
        parts.append(str(runner["name"]))
    if style.is_number(runner.get("mass_kg")):
        mass = float(runner["mass_kg"])
        parts.append(f"{style.number(mass, 0 if mass == round(mass) else 1)} kg")
    span = float(ds.time[-1] - ds.time[0])
    parts.append(f"{style.duration(span)}{_effort(ds)}")
    if "air_temperature" in ds and "relative_humidity" in ds:
        air = _range(values(ds, "air_temperature"), 0)
        parts.append(f"air {air} °C, {_range(values(ds, 'relative_humidity'), 0)} %")
    if "solar_load" in ds and float(ds.solar_load.max()) < 0.5:
        parts.append("no sun")
    names = device_names(ds)
    parts.append("with " + ", ".join(names) if names else "no device")
    if cap_bpm(ds) is not None:
        parts.append(f"cap {style.number(cap_bpm(ds))} bpm")
    return " · ".join(parts)


def _effort(ds):
    if "speed" not in ds:
        return ""
    speed = values(ds, "speed")
    moving = speed[speed > 0]
    if moving.size == 0:
        return " at rest"
    low, high = np.quantile(moving, [0.05, 0.95], method="nearest")
    text = style.number(low, 1) if high - low < 0.1 else style.interval(low, high, 1)
    return f" at {text} m/s"


def _range(y, decimals):
    low, high = float(np.nanmin(y)), float(np.nanmax(y))
    same = round(low, decimals) == round(high, decimals)
    return style.number(low, decimals) if same else style.interval(low, high, decimals)


def provenance_line(attrs, *extra):
    """Return version, seed, closures and hash in one line."""
    parts = [f"thermosim {attrs['version']}" if attrs.get("version") else "thermosim"]
    if attrs.get("seed") is not None:
        parts.append(f"seed {attrs['seed']}")
    if attrs.get("max_closure_W") is not None:
        largest = float(attrs["max_closure_W"])
        parts.append(
            "closure below 0.1 W" if largest < 0.1 else f"largest closure {style.number(largest, 1)} W"
        )
    if attrs.get("energy_closure_relative") is not None:
        parts.append(
            f"energy closes to {_power_of_ten(float(attrs['energy_closure_relative']))} of throughput"
        )
    if attrs.get("water_closure_kg") is not None:
        grams = abs(float(attrs["water_closure_kg"])) * 1000
        parts.append(
            "water closes within 0.1 g" if grams < 0.1 else f"water closure {style.number(grams, 1)} g"
        )
    if attrs.get("source_hash"):
        parts.append(f"source {str(attrs['source_hash'])[:10]}")
    return " · ".join(parts + [text for text in extra if text])


def _power_of_ten(value):
    if value == 0:
        return "0"
    mantissa, exponent = f"{abs(value):.0e}".split("e")
    return f"{mantissa}e{style.number(int(exponent))}"
