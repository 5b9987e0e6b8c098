"""What each device is worth in watts: fresh and late, net of what it blocks and weighs, in three climates.

Every figure is a difference between two runs of one runner, with and without the device, second by second; heat that
the device takes is read from its own book. The bands are common practice without a source: something to check against,
never something to fit to.
"""

import dataclasses
import json
from typing import NamedTuple

import numpy as np

from thermosim.constants import LATENT_HEAT_SWEAT
from thermosim.cooling import from_spec
from thermosim.cooling.kinds import KINDS, TREATMENT_ONLY
from thermosim.cooling.rows import nearest
from thermosim.errors import InputError
from thermosim.inputs.effort import Effort
from thermosim.inputs.runner import Runner
from thermosim.inputs.weather import Weather
from thermosim.story import simulate
from thermosim.study.compare import books_between, flags_of
from thermosim.study.ice_left import BODY_HEAT_J_KGK

CLIMATES = {
    "humid": {"air_temperature_C": 31.0, "relative_humidity_pct": 85.0},
    "dry": {"air_temperature_C": 38.0, "relative_humidity_pct": 22.0, "solar_W_m2": 800.0},
    "cool": {"air_temperature_C": 15.0, "relative_humidity_pct": 70.0},
    "hot_humid": {"air_temperature_C": 38.0, "relative_humidity_pct": 95.0},  # air warmer than skin, for fans
}
EVERYWHERE = ("humid", "dry", "cool")
RUNNER = {"mass_kg": 65.0, "height_m": 1.75}
SPEED_M_S = 12.0 / 3.6
SAVE_S = 15.0
AFTER_SPENT_MIN = 8.0, 13.0  # what a device that is spent and left on does
# What stands for the watts of a device: heat it takes from skin, stomach or breath; the same and the sweat it saves;
# sun it keeps off; or all that changes together.
SKIN, WORTH, SUN, NET = "from_skin", "worth", "sun_kept_off", "net"


class Band(NamedTuple):
    """Watts that common practice gives [W]; ``late`` for a device that is spent or warm."""

    fresh: tuple[float, float]
    late: tuple[float, float] | None = None


@dataclasses.dataclass(frozen=True)
class Trial:
    """How a device is tried, and what common practice expects.

    Parameters
    ----------
    kind : str
        Device.
    setting : {'running', 'stop', 'rest'}
        Worn from minute 20 of running 12 km/h; at a stop, standing, after 40 min of running; or standing before a run.
    worn_min : float
        How long it is worn [min].
    fresh : tuple of float
        Minutes after it was put on that count as fresh.
    late : tuple of float or None
        Minutes that count as late; None: 8 to 13 min after it is spent, else the last five worn.
    watts : str
        Which figure the band is about.
    bands : dict of climate -> Band
    minutes : tuple of float, optional
        How long common practice gives it.
    fields : dict
        Fields of the device other than its defaults, and refills.
    label : str
        Name in the table.
    """

    kind: str
    setting: str
    worn_min: float
    fresh: tuple[float, float]
    late: tuple[float, float] | None
    watts: str
    bands: dict[str, Band]
    minutes: tuple[float, float] | None = None
    fields: dict = dataclasses.field(default_factory=dict)
    label: str = ""

    @property
    def name(self) -> str:
        """Name in the table."""
        return self.label or self.kind.replace("_", " ")


def _hot(fresh, late=None) -> dict[str, Band]:
    return {name: Band(fresh, late) for name in ("humid", "dry")}


TRIALS = (
    Trial("ice_collar", "running", 50, (4, 6), None, SKIN, _hot((15, 40), (5, 10)), (15, 45), label="ice collar, covered"),
    Trial("ice_collar", "running", 50, (4, 6), None, SKIN, _hot((15, 40), (5, 10)), (15, 45), {"covered": False},
          "ice collar, bare"),
    Trial("phase_change_collar", "running", 90, (4, 6), (85, 90), SKIN, _hot((8, 20), (0, 5)), (40, 90)),
    Trial("iced_cap", "running", 40, (4, 6), None, SKIN, _hot((10, 40), (0, 10)), (8, 20)),
    Trial("wet_cloth", "running", 25, (4, 6), (20, 25), SKIN, {"humid": Band((0, 8)), "dry": Band((10, 40))}, (10, 25)),
    Trial("wet_cap", "running", 25, (4, 6), (20, 25), SKIN, {"humid": Band((0, 8)), "dry": Band((10, 40))}, (10, 25)),
    Trial("cold_towel", "stop", 4, (0, 1), (2, 3), SKIN, _hot((150, 350), (75, 175))),
    Trial("pour_over", "running", 20, (0.25, 5), (5, 15), WORTH, {"humid": Band((10, 40)), "dry": Band((50, 250))}, (5, 15)),
    Trial("sponge", "running", 15, (0.25, 3), (3, 8), WORTH, _hot((10, 60)), (3, 8)),
    Trial("ice_vest", "rest", 30, (4, 6), (25, 30), SKIN, _hot((60, 180), (60, 180)), (20, 30), label="ice vest at rest"),
    Trial("ice_vest", "running", 45, (4, 6), (25, 30), NET, _hot((-80, 60), (-80, 60)), label="ice vest running"),
    Trial("ice_slurry", "rest", 30, (1, 25), (25, 30), SKIN, _hot((100, 150)), (20, 30)),
    Trial("drink", "running", 60, (0.25, 60), (45, 60), SKIN, _hot((10, 40)), fields={"refill_min": [35.0, 50.0, 65.0]},
          label="cold drink, 0.8 L/h"),
    Trial("hand_dip", "stop", 5, (0.25, 5), (3, 5), SKIN, _hot((80, 200)), label="hands and forearms in a tub"),
    Trial("hand_dip", "stop", 5, (0.25, 5), (3, 5), SKIN, _hot((30, 125)), fields={"forearm_share": 0.0},
          label="hands in a tub"),
    Trial("ice_in_hand", "running", 40, (4, 6), None, SKIN, _hot((16, 60)), label="ice in both hands"),
    Trial("wet_sleeves", "running", 30, (4, 6), (25, 30), SKIN, {"humid": Band((0, 15)), "dry": Band((20, 70))}),
    Trial("iced_sleeves", "running", 40, (4, 6), None, SKIN, _hot((20, 50))),
    Trial("ice_pockets", "running", 50, (4, 6), None, SKIN, _hot((8, 30))),
    Trial("fan", "stop", 10, (0.25, 10), (5, 10), NET, {"dry": Band((50, 250))}, label="fan at a stop"),
    Trial("misting_fan", "stop", 10, (0.25, 10), (5, 10), NET, {"dry": Band((50, 250))},
          label="misting fan at a stop"),
    Trial("fan", "rest", 20, (1, 20), (10, 20), NET, {"hot_humid": Band((-250, 10))}, label="fan, resting"),
    Trial("shade", "stop", 10, (0.25, 5), (5, 10), SUN, {"dry": Band((80, 250))}, label="shade at a stop"),
    Trial("cool_breath", "running", 40, (4, 6), (35, 40), SKIN, _hot((0, 10))),
    Trial("immersion", "stop", 20, (3, 8), (15, 20), SKIN, _hot((400, 1200)), label="immersion (treatment only)"),
    Trial("sham", "running", 40, (4, 6), (35, 40), SKIN, _hot((0, 0)), fields={"mass_kg": 0.3},
          label="sham of 0.3 kg"),
)  # fmt: skip
SETTINGS = {"running": (20.0, 0.0), "stop": (40.0, 1.0), "rest": (0.0, 1.0)}  # put on at [min]; standing from then on


def climate_of(climate) -> Weather:
    """Return the weather of a named climate, or the weather itself.

    Raises
    ------
    InputError
        An unknown name; the nearest is suggested.
    """
    if not isinstance(climate, str):
        return climate
    if climate not in CLIMATES:
        near = nearest(climate, CLIMATES)
        raise InputError(
            f"is {climate!r}, known are {', '.join(CLIMATES)}",
            field="climate",
            remedy=f"did you mean {near!r}?" if near else "use one of them, or give the weather",
        )
    return Weather.steady(**CLIMATES[climate])


def effort_of(setting: str, worn_min: float) -> Effort:
    """Return what the runner does: runs throughout, runs then stands, or stands."""
    start, standing = SETTINGS[setting]
    if not standing:
        return Effort.steady(speed_m_s=SPEED_M_S, minutes=start + worn_min)
    if not start:
        return Effort.steady(speed_m_s=0.0, minutes=worn_min)
    return Effort.table([{"speed_m_s": SPEED_M_S, "minutes": start}, {"speed_m_s": 0.0, "minutes": worn_min}])


def try_device(trial: Trial, climate, runner: Runner | None = None, spec: dict | None = None) -> dict:
    """Run one device in one climate against the same run without it.

    Parameters
    ----------
    trial : Trial
    climate : str or Weather
    runner : Runner, optional
        65 kg, 1.75 m unless given.
    spec : dict, optional
        A device's own table (from a card) in place of the kind's defaults.

    Returns
    -------
    dict
        ``time_min`` (from when it is put on) and series ``from_skin_W, from_air_W, sun_kept_off_W, net_W,
        evaporation_W, sweat_W, worth_W``; then single figures.
    """
    runner = runner or Runner(**RUNNER)
    weather, start = climate_of(climate), SETTINGS[trial.setting][0]
    effort = effort_of(trial.setting, trial.worn_min)
    worn = from_spec({"device": trial.kind, **trial.fields, **(spec or {}), "from_min": start})
    with_it, without = (
        simulate(runner, effort, weather, cooling=cooling, core_limit_C=39.0, save_every_s=SAVE_S) for cooling in ([worn], [])
    )
    return {**_series(with_it, without, start), **_figures(trial, with_it, without, start, runner, climate)}


def _change(with_it, without, term):
    there, here = (ds.heat_flow.sel(term=term) for ds in (with_it, without))
    return there.values - here.interp(time=with_it.time).values


def _series(with_it, without, start) -> dict:
    minutes = with_it.time.values / 60.0 - start
    power = with_it.device_power.isel(device=0)
    worn = minutes >= -1e-9
    series = {
        "from_skin_W": power.sel(side="skin").values,
        "from_air_W": power.sel(side="air").values + power.sel(side="water").values,
        "sun_kept_off_W": with_it.device_shade.isel(device=0).values,
        "net_W": -_change(with_it, without, "storage"),
        "evaporation_W": -_change(with_it, without, "evaporation"),
        "carrying_W": _change(with_it, without, "metabolic_power"),
        "sweat_W": (without.sweat_rate.interp(time=with_it.time).values - with_it.sweat_rate.values)
        * LATENT_HEAT_SWEAT
        / 3600.0,
    }
    series["worth_W"] = series["net_W"] + series["sweat_W"]
    return {"time_min": minutes[worn], **{name: values[worn] for name, values in series.items()}}


def _mean(series, name, window) -> float:
    inside = (series["time_min"] >= window[0] - 1e-9) & (series["time_min"] <= window[1] + 1e-9)
    times, values = series["time_min"][inside], series[name][inside]
    return float(np.trapezoid(values, times) / (times[-1] - times[0])) if times.size > 1 else float(values.mean())


def _spent_min(with_it, start) -> float | None:
    """Minutes after which no ice is left, or a tenth of the water of a device without ice; None while there is more."""
    minutes = with_it.time.values / 60.0 - start
    store = with_it.device_store.isel(device=0).values
    water = with_it.device_water.isel(device=0)
    charged, left = water.sel(water="charged").values[-1], water.sel(water="left").values
    if charged <= 0.0 or not np.isfinite(with_it.device_skin_temperature.values).any():
        return None
    on = minutes >= 0.0
    iced = bool(store[on][0] < 0.0)
    spent = on & ((store >= 0.0) if iced else (left < 0.1 * charged))
    return float(minutes[spent][0]) if spent.any() else None


def _figures(trial, with_it, without, start, runner, climate) -> dict:
    series = _series(with_it, without, start)
    spent = _spent_min(with_it, start)
    late = trial.late
    if late is None:
        late = tuple(spent + m for m in AFTER_SPENT_MIN) if spent is not None else None
    if late is not None and late[1] > trial.worn_min:
        late = None
    if late is None:
        late = (trial.worn_min - 5.0, trial.worn_min)
    capacity = runner.mass_kg * BODY_HEAT_J_KGK
    parts = _ceiling_parts(with_it, capacity)
    core = float(with_it.core_temperature[-1] - without.core_temperature[-1])
    figures = {
        "device": trial.kind,
        "label": trial.name,
        "climate": climate if isinstance(climate, str) else "given",
        "setting": trial.setting,
        "watts_of": trial.watts,
        "fresh_W": _mean(series, f"{trial.watts}_W", trial.fresh),
        "late_W": _mean(series, f"{trial.watts}_W", late),
        "fresh_min": list(trial.fresh),
        "late_min": list(late),
        "spent_min": spent,
        "from_skin_fresh_W": _mean(series, "from_skin_W", trial.fresh),
        "from_air_fresh_W": _mean(series, "from_air_W", trial.fresh),
        "blocked_evaporation_W": -_mean(series, "evaporation_W", trial.fresh),
        "carrying_W": _mean(series, "carrying_W", trial.fresh),
        "sweat_saved_W": _mean(series, "sweat_W", trial.fresh),
        "net_fresh_W": _mean(series, "net_W", trial.fresh),
        "net_late_W": _mean(series, "net_W", late),
        "from_skin_kJ": float(with_it.attrs["heat_through_devices_J"]) / 1000.0,
        "net_kJ": _net_kJ(with_it, without),
        "ceiling_K": parts["joules"] + parts["shade"],
        "ceiling_parts_K": parts,
        "flags": _flags_against(with_it, without, core, runner.mass_kg),
        "core_change_K": core,
        "coldest_skin_C": _coldest(with_it),
        "wear_min": trial.worn_min,
        "treatment_only": trial.kind in TREATMENT_ONLY,
        "warnings": _own_warnings(with_it, without),
    }
    band = trial.bands.get(climate) if isinstance(climate, str) else None
    figures["band_fresh_W"] = list(band.fresh) if band else None
    figures["band_late_W"] = list(band.late) if band and band.late else None
    figures["band_min"] = list(trial.minutes) if band and trial.minutes else None
    figures["inside"] = None if band is None else _inside(figures)
    return figures


def _ceiling_parts(with_it, capacity_J_K: float) -> dict[str, float]:
    """Return what could be paid for [K], apart: the device's joules, its water if all of it dried on the skin, its shade."""
    names = {"joules": "heat_through_devices_J", "wetting": "wetting_J", "shade": "sun_kept_off_J"}
    return {part: float(with_it.attrs[name]) / capacity_J_K for part, name in names.items()}


def _net_kJ(with_it, without) -> float:
    """Return what all terms of the body gave or took more with the device [kJ]: integrals, so that no short spell is missed."""
    change = np.asarray(with_it.attrs["terms_J"]) - np.asarray(without.attrs["terms_J"])
    kept = [name != "lost_water" for name in with_it.attrs["terms"].split()]
    return -float(change[kept].sum()) / 1000.0


def _own_warnings(with_it, without) -> list[str]:
    """Return what the run warns of and the run without the device does not; how long a balance is limited is in its watts."""
    there, here = (json.loads(ds.attrs["warnings"]) for ds in (with_it, without))
    return [one for one in there if one not in here and not one.startswith("Uncompensable")]


def _flags_against(with_it, without, core_K: float, mass_kg: float) -> list[str]:
    """Return the sentences of a comparison where body or core moved by more than can be paid for."""
    books = books_between(without, with_it, mass_kg)
    return flags_of(books, core_K, books["ceiling_K"])


def _coldest(ds) -> float | None:
    skin = ds.device_skin_temperature.values
    return float(np.nanmin(skin)) if np.isfinite(skin).any() else None


def _inside(figures) -> bool:
    """Whether rounded watts lie in the bands."""
    fresh, late = figures["band_fresh_W"], figures["band_late_W"]
    held = fresh[0] <= round(figures["fresh_W"]) <= fresh[1]
    return held and (late is None or late[0] <= round(figures["late_W"]) <= late[1])


def table(climates=None, *, runner: Runner | None = None, progress=None) -> dict:
    """Run every device in every climate; return ``rows`` of figures, and how many lie in the bands."""
    rows = []
    for k, trial in enumerate(TRIALS):
        if progress is not None:
            progress(trial.name, k / len(TRIALS))
        for climate in climates or dict.fromkeys((*EVERYWHERE, *trial.bands)):
            found = try_device(trial, climate, runner)
            rows.append({name: one for name, one in found.items() if not isinstance(one, np.ndarray)})
    judged = [row for row in rows if row["inside"] is not None]
    return {"rows": rows, "judged": len(judged), "inside": sum(row["inside"] for row in judged)}


def show_one(spec: dict, climate, runner: Runner | None = None) -> dict:
    """Return series and figures of one device, by kind or from a card, in one climate; ``shown_with`` tells fields that ``spec``
    leaves out and the table's own trial sets (a sham weighs 0.3 kg there), in words.

    Parameters
    ----------
    spec : dict
        As in a session's ``[[variant.cooling]]``: ``device`` and its fields.
    climate : str or Weather

    Raises
    ------
    InputError
        Unknown device or climate.
    """
    worn = from_spec(spec)
    kind = next(name for name, known in KINDS.items() if type(worn.device) is known)
    trial = next(one for one in TRIALS if one.kind == kind) if any(one.kind == kind for one in TRIALS) else None
    if trial is None:
        trial = Trial(kind, "running", 40, (4, 6), (35, 40), SKIN, {})
    trial = dataclasses.replace(trial, label=worn.device.name.replace("_", " "))
    fields = {name: one for name, one in spec.items() if name not in ("device", "from_min", "to_min", "refill_min")}
    own = {name: one for name, one in trial.fields.items() if name not in fields}
    return {**try_device(trial, climate, runner, fields), "shown_with": _shown_with(own, SETTINGS[trial.setting][0])}


def _shown_with(fields: dict, start_min: float) -> str:
    """Return fields in words, refills counted from when it is put on.

    >>> _shown_with({"mass_kg": 0.3, "refill_min": [35.0, 50.0]}, 20.0)
    'mass_kg 0.3, refill_min 15 + 30'
    """
    values = {name: [m - start_min for m in one] if name == "refill_min" else [one] for name, one in fields.items()}
    return ", ".join(f"{name} {' + '.join(f'{number:g}' for number in numbers)}" for name, numbers in values.items())


def sentence(row: dict) -> str:
    """Return what one row of the table says: watts taken, what is blocked and carried, what is left.

    Parameters
    ----------
    row : dict
        Figures of :func:`try_device`.
    """
    names = ("from_skin_fresh_W", "blocked_evaporation_W", "carrying_W", "net_fresh_W")
    taken, blocked, carried, net = (row[name] for name in names)
    words = f"{row['label']}, {row['climate'].replace('_', '-')}: takes {taken:.0f} W while fresh"
    if blocked >= 0.5:
        words += f", {blocked:.0f} W of evaporation are missing"
    if carried >= 0.5:
        words += f", carrying it makes {carried:.0f} W"
    if net < -0.5:
        return f"{words}; it costs more than it takes: {abs(net):.0f} W to the bad."
    return f"{words}; {max(net, 0.0):.0f} W are left."
