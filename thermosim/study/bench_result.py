"""What a bench test found: watts over time, where the heat and the water came from, and the card it makes."""

from typing import Any

import numpy as np

from thermosim.cooling.cards import kind_of
from thermosim.cooling.rows import rows_of
from thermosim.run_warnings import SKIN_WARNING_C
from thermosim.study.bench import Alone
from thermosim.study.bench_fit import (
    AIR,
    SKIN,
    Bench,
    Fitted,
    kind_name,
    left_over,
    run_at,
    slopes,
)
from thermosim.study.ice_left import BODY_HEAT_J_KGK

GRID_S = 30.0
LONGEST_MIN = 240.0  # how long a device is followed beyond the readings until it is melted
FRESH_MIN = 5.0
SPENT_SHARE = 0.005  # of the ice loaded; less counts as melted
_SERIES = ("skin_W", "outer_W", "condensation_W")
_TOTALS = (
    "heat_uptake_kJ",
    "heat_from_skin_kJ",
    "heat_from_air_kJ",
    "heat_from_condensation_kJ",
    "condensed_g",
    "evaporated_g",
    "dripped_g",
    "useful_share",
    "melted_at_min",
    "skin_W_at_5_min",
    "outer_W_at_5_min",
)


def bench_result(bench: Bench, fitted: Fitted, mass_kg: float) -> dict[str, Any]:
    """Return all that a bench test says, plain values.

    Parameters
    ----------
    bench : Bench
    fitted : Fitted
    mass_kg : float
        Body mass that the ceiling is for [kg].

    Returns
    -------
    dict
        ``parameters``, ``runs`` and what was left over; every uncertain number is ``{median, low, high}`` (90 %).
    """
    card = kind_of(_spec_kind(bench)).card
    parameters = []
    for one in fitted.coordinates:
        value, low, high = fitted.interval(one.name)
        parameters.append(
            {
                "name": one.name,
                "unit": card[one.name].unit if one.name in card else {AIR: "1", SKIN: "K"}[one.name],
                "fitted": {"median": value, "low": low, "high": high},
                "default": one.start,
                "identified": fitted.told[one.name],
                "at_bound": bool(min(value - one.low, one.high - value) < 1e-3 * (one.high - one.low)),
            }
        )
    off = iter(np.split(left_over(bench, fitted.coordinates, fitted.centre), _ends(bench)))
    runs = []
    for k in range(len(bench.runs)):
        runs.append({**run_result(bench, fitted, k, mass_kg), "rmse_g": 1e3 * float(np.sqrt((next(off) ** 2).mean()))})
    return {
        "kind": _spec_kind(bench),
        "parameters": parameters,
        "runs": runs,
        "rmse_g": 1e3 * fitted.rmse_kg,
        "scale_resolution_g": 1e3 * bench.resolution_kg,
        "degrees_of_freedom": fitted.freedom,
    }


def _spec_kind(bench: Bench) -> str:
    return kind_name(bench.device)


def _ends(bench: Bench) -> list[int]:
    """Return where the readings of one run end and those of the next begin."""
    counts = [
        sum(int((~np.isnan(column)).sum()) for column in (run.mass_kg, run.dripped_kg, run.ice_left_kg) if column is not None)
        for run in bench.runs
    ]
    return np.cumsum(counts)[:-1].tolist()


def run_result(bench: Bench, fitted: Fitted, k: int, mass_kg: float) -> dict[str, Any]:
    """Return one run of a bench test: totals until all is melted (or the last reading), and watts over time."""
    run = bench.runs[k]
    last_s = 60.0 * float(run.time_min[-1])
    loaded_kg = loaded_ice(bench.device)
    far = run_at(bench, k, fitted.coordinates, fitted.centre, np.arange(0.0, 60.0 * LONGEST_MIN + 1.0, GRID_S))
    melted_s = melted_at(far, loaded_kg)
    end_s = max(last_s, 1.1 * melted_s if melted_s == melted_s else last_s)
    times = np.arange(0.0, GRID_S * np.ceil(end_s / GRID_S) + 1.0, GRID_S)
    wide = np.arange(0.0, max(min(60.0 * LONGEST_MIN, 1.5 * times[-1]), times[-1]) + 1.0, GRID_S)

    def vector(point):
        seen = run_at(bench, k, fitted.coordinates, point, wide)
        totals = _totals(seen, loaded_kg, last_s)
        series = [values[: times.size - 1] for values in _watts(seen)]
        return np.concatenate([[totals[name] for name in _TOTALS], *series])

    low, high = (np.array([one.inward(getattr(one, end)) for one in fitted.coordinates]) for end in ("low", "high"))
    centre, steep = vector(fitted.centre), slopes(vector, fitted.centre, low, high)
    half = fitted.quantile * np.sqrt(np.einsum("ij,jk,ik->i", steep, fitted.covariance, steep).clip(min=0.0))
    totals = {name: _three(centre[i], half[i], name) for i, name in enumerate(_TOTALS)}
    skin = run_at(bench, k, fitted.coordinates, fitted.centre, times).skin_C
    series: dict[str, Any] = {"time_min": ((times[1:] + times[:-1]) / 120.0).tolist()}
    for j, name in enumerate(_SERIES):
        at = len(_TOTALS) + j * (times.size - 1) + np.arange(times.size - 1)
        for which, values in (("", centre[at]), ("_low", centre[at] - half[at]), ("_high", centre[at] + half[at])):
            series[name + which] = values.tolist()
    from_skin = totals["heat_from_skin_kJ"]
    return {
        "name": run.name,
        "on": run.on,
        "readings": int(run.time_min.size),
        "last_reading_min": float(run.time_min[-1]),
        **totals,
        "ceiling_K": {end: 1e3 * value / (mass_kg * BODY_HEAT_J_KGK) for end, value in from_skin.items()},
        "skin_measured": run.skin_temperature_C is not None,
        "coldest_skin_C": None if run.on == "dummy" else float(skin[1:].min()),
        "minutes_below_12_C": 0.0 if run.on == "dummy" else float((skin < SKIN_WARNING_C).sum() * GRID_S / 60.0),
        "series": series,
        "readings_g": _readings(bench, fitted, k),
    }


def loaded_ice(device) -> float:
    """Return what melts of a fresh charge [kg]."""
    rows = rows_of(device)
    frozen = (rows["latent_J_kg"] > 0.0) & (rows["charge_C"] <= rows["melt_low_C"])
    return float((rows["charge_kg"] * rows["ice_share"] * frozen).sum())


def melted_at(seen: Alone, loaded_kg: float) -> float:
    """Return when hardly any ice is left [s]; NaN where some is, or none was loaded."""
    spent = np.flatnonzero(seen.ice_kg <= SPENT_SHARE * loaded_kg)
    if loaded_kg <= 0.0 or spent.size == 0:
        return float("nan")
    k = int(spent[0])
    if k == 0:
        return 0.0
    before, now = seen.ice_kg[k - 1], seen.ice_kg[k]
    share = (before - SPENT_SHARE * loaded_kg) / (before - now)
    return float(seen.time_s[k - 1] + share * (seen.time_s[k] - seen.time_s[k - 1]))


def _watts(seen: Alone) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return heat from the skin, through the outer side, and of it by condensation [W], mean of each step."""
    step = np.diff(seen.time_s)
    outer = np.diff(seen.from_air_J + seen.from_vapour_J) / step
    return np.diff(seen.from_skin_J) / step, outer, np.diff(seen.from_vapour_J) / step


def _totals(seen: Alone, loaded_kg: float, last_s: float) -> dict[str, float]:
    """Return the books until all is melted, or until the last reading where it is not."""
    melted_s = melted_at(seen, loaded_kg)
    end_s = melted_s if melted_s == melted_s else last_s

    def until(values):
        return float(np.interp(end_s, seen.time_s, values))

    skin_J, air_J, vapour_J = until(seen.from_skin_J), until(seen.from_air_J), until(seen.from_vapour_J)
    middle = 0.5 * (seen.time_s[1:] + seen.time_s[:-1])
    skin_W, outer_W, _ = _watts(seen)
    uptake_J = skin_J + air_J + vapour_J
    return {
        "heat_uptake_kJ": 1e-3 * uptake_J,
        "heat_from_skin_kJ": 1e-3 * skin_J,
        "heat_from_air_kJ": 1e-3 * air_J,
        "heat_from_condensation_kJ": 1e-3 * vapour_J,
        "condensed_g": 1e3 * until(seen.condensed_kg),
        "evaporated_g": 1e3 * until(seen.evaporated_kg),
        "dripped_g": 1e3 * until(seen.dripped_kg),
        "useful_share": skin_J / uptake_J if uptake_J > 0.0 and air_J + vapour_J >= 0.0 else float("nan"),  # else it gives off
        "melted_at_min": melted_s / 60.0,
        "skin_W_at_5_min": float(np.interp(60.0 * FRESH_MIN, middle, skin_W)),
        "outer_W_at_5_min": float(np.interp(60.0 * FRESH_MIN, middle, outer_W)),
    }


def _three(centre: float, half: float, name: str) -> dict[str, float] | None:
    """Return a number with its 90 % interval, never below nothing where it cannot be."""
    if centre != centre:
        return None
    half = half if half == half else float("inf")
    low = centre - half
    if name != "outer_W_at_5_min" and not name.startswith("heat"):
        low = max(low, 0.0)
    high = min(centre + half, 1.0) if name == "useful_share" else centre + half
    return {"median": float(centre), "low": float(low), "high": float(high)}


def _readings(bench: Bench, fitted: Fitted, k: int) -> dict[str, Any]:
    """Return what was weighed and what the fit says at those times, in grams from the first reading."""
    run = bench.runs[k]
    times = np.unique(np.r_[0.0, 60.0 * run.time_min])
    seen = run_at(bench, k, fitted.coordinates, fitted.centre, times)
    at = np.searchsorted(times, 60.0 * run.time_min)
    mass = (seen.mass_kg + (seen.dripped_kg if bench.drips_counted[k] else 0.0))[at]
    offset = float((run.mass_kg - mass).mean())
    first = float(run.mass_kg[0])
    return {
        "time_min": run.time_min.tolist(),
        "measured_g": (1e3 * (run.mass_kg - first)).tolist(),
        "fitted_g": (1e3 * (mass + offset - first)).tolist(),
        "ice_left_g": None if run.ice_left_kg is None else [None if v != v else 1e3 * v for v in run.ice_left_kg.tolist()],
        "ice_fitted_g": (1e3 * seen.ice_kg[at]).tolist(),
    }


def card_of(bench: Bench, fitted: Fitted, spec: dict[str, Any], source: str) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the device table that the readings make of a described device, and remarks for its card.

    What the readings do not tell keeps the value it had, and its source says so.
    """
    found, ranges, sources, remarks = dict(spec), dict(spec.get("ranges", {})), dict(spec.get("sources", {})), {}
    for one in fitted.coordinates:
        if one.prior_sd is not None:
            continue
        if fitted.told[one.name]:
            value, low, high = (float(f"{number:.4g}") for number in fitted.interval(one.name))
            value, low, high = (min(max(number, one.low), one.high) for number in (value, low, high))
            found[one.name], ranges[one.name], sources[one.name] = value, [min(low, value), max(high, value)], source
        else:
            found[one.name] = float(getattr(bench.device, one.name))
            sources[one.name] = f"not identified by the {source}: the value it had before"
            remarks[one.name] = "NOT IDENTIFIED"
    return {**found, "ranges": ranges, "sources": sources}, remarks
