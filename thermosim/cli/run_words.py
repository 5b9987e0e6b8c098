"""One run in numbers and words: the JSON object, the answer sentence, the key figures."""

import json
from typing import Any

import numpy as np

from thermosim.cli.terminal import number
from thermosim.clock import pace_text

NO_HEART = "not modelled with a beta-blocker"
LAST_S, STANDS_BELOW_M_S = 60.0, 0.05  # the end of a run, for what is said of it
LIMITING = {1: "what the air can take", 2: "the sweat rate"}


def run_result(ds, cautions: list[str], beta_blocker: bool = False) -> dict[str, Any]:
    """Return the JSON object of ``simulate``."""
    result = {
        "core_at_end_C": float(ds.core_temperature[-1]), "peak_core_C": float(ds.attrs["peak_core_C"]),
        "mean_skin_at_end_C": float(ds.mean_skin_temperature[-1]),
        "heart_rate_at_end_bpm": None if beta_blocker else float(ds.heart_rate[-1]),
        "sweat_loss_L": float(ds.sweat_loss[-1]),
        "body_mass_change_pct": 100.0 * float(ds.attrs["body_mass_change_kg"]) / _mass(ds),
        "time_to_limit_min": float(ds.attrs["time_to_limit_s"]) / 60.0,
        "limit_C": float(ds.attrs["limit_C"]), "distance_m": float(ds.distance[-1]),
        "max_closure_W": float(ds.attrs["max_closure_W"]), "warnings": json.loads(ds.attrs["warnings"]), "cautions": cautions,
    }  # fmt: skip
    if "heart_rate_recorded" in ds:
        result |= against_recorded(ds, beta_blocker)
    return result


def against_recorded(ds, beta_blocker: bool = False) -> dict[str, Any]:
    """Return how modelled heart rate differs from the recorded one, and the recording's gaps."""
    from thermosim.inputs.recordings import find_gaps

    recorded = ds["heart_rate_recorded"].values
    there = np.isfinite(recorded)
    times = ds["recorded_time"].values
    gaps = [
        {"from_s": float(a), "to_s": float(b), "seconds": float(b - a)} for a, b in find_gaps(times[there])
    ]
    if beta_blocker or not there.any():
        return {"heart_rate_rmse_bpm": None, "heart_rate_bias_bpm": None, "gaps": gaps}
    difference = np.interp(times[there], ds.time.values, ds.heart_rate.values) - recorded[there]
    return {
        "heart_rate_rmse_bpm": float(np.sqrt(np.mean(difference**2))),
        "heart_rate_bias_bpm": float(difference.mean()),
        "gaps": gaps,
    }


def answer(ds) -> str:
    """Return the one sentence that answers: what core does, and when it meets the limit, if it does."""
    minutes, core = float(ds.time[-1]) / 60.0, ds.core_temperature.values
    change = float(core[-1] - core[0])
    verb = (
        "stays within 0.1 °C"
        if abs(change) < 0.05
        else f"{'rises' if change > 0 else 'falls'} {number(abs(change))} °C"
    )
    return f"Core {verb}, to {number(core[-1])} °C, in {minutes:.3g} min, {_against_limit(ds)}{_why(ds)}."


def _against_limit(ds) -> str:
    limit, crossing = float(ds.attrs["limit_C"]), float(ds.attrs["time_to_limit_s"])
    if np.isnan(limit):
        return "and no limit is set for it"
    site = str(ds.attrs.get("limit_site", "core"))
    where = f"your limit of {number(limit)} °C" + ("" if site == "core" else f" ({site})")
    if np.isfinite(crossing):
        return f"and crosses {where} at minute {crossing / 60.0:.0f}"
    band = float(ds.attrs.get("core_band_K", 0.0))
    line = ds["core_temperature" if site == "core" else f"{site}_temperature"].values + band
    above = np.flatnonzero(line >= limit)
    if above.size:
        minute = ds.time.values[above[0]] / 60.0
        return f"below {where}, but its band of ±{number(band)} °C reaches the limit from minute {minute:.0f}: cannot say"
    return f"and stays inside {where}"


def _why(ds) -> str:
    """Return what limits evaporation, where it does so up to an end at which core is not falling and nobody rests from running.

    What was limited before the end stands among the warnings.
    """
    limited = ds.limited_by.values
    if (limited != 0).mean() < 0.05:
        return ""
    time, speed, core = ds.time.values, ds.speed.values, ds.core_temperature.values
    first = min(int(np.searchsorted(time, time[-1] - LAST_S)), time.size - 2)
    last = slice(first, -1)  # the very last sample may be one of a run that is over
    rests = (speed > STANDS_BELOW_M_S).any() and not (speed[last] > STANDS_BELOW_M_S).any()
    limited = limited[last]
    if core[-1] < core[first] or rests or not limited.any():
        return ""
    return f"; evaporation is limited by {LIMITING[int(np.bincount(limited[limited != 0]).argmax())]}"


def key_figures(ds, result: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """Return rows of (quantity, value, unit, remark)."""
    limit = (
        "no default limit for this runner"
        if np.isnan(result["limit_C"])
        else f"limit {number(result['limit_C'])} °C"
    )
    crossing = result["time_to_limit_min"]
    when = (
        ""
        if np.isnan(result["limit_C"])
        else ("limit not reached" if np.isnan(crossing) else f"limit crossed at minute {crossing:.0f}")
    )
    speed = result["distance_m"] / float(ds.time[-1])
    pace = "" if speed < 0.1 else f"mean {number(speed, 2)} m/s, {pace_text(speed)} min/km"
    heart, change = result["heart_rate_at_end_bpm"], result["body_mass_change_pct"]
    weighed = f"{number(abs(change))} % of body mass {'gained' if change > 0.0 else 'lost'} in all"
    rows = [
        ("Core at the end", number(result["core_at_end_C"]), "°C", f"{limit}, band ±{number(float(ds.attrs['core_band_K']))} °C"),
        ("Peak core", number(result["peak_core_C"]), "°C", when),
        ("Mean skin at the end", number(result["mean_skin_at_end_C"]), "°C", ""),
        ("Heart rate at the end", *(("–", "bpm", NO_HEART) if heart is None else (number(heart, 0), "bpm", "modelled"))),
        ("Sweat loss", number(result["sweat_loss_L"], 2), "L", weighed),
        ("Distance", number(result["distance_m"] / 1000.0, 2), "km", pace),
    ]  # fmt: skip
    if result.get("heart_rate_rmse_bpm") is not None:
        bias = result["heart_rate_bias_bpm"]
        side = (
            "none on average"
            if abs(bias) < 0.5
            else f"modelled {number(abs(bias), 0)} bpm {'above' if bias > 0 else 'below'} on average"
        )
        rows.append(
            (
                "Recorded heart rate",
                number(result["heart_rate_rmse_bpm"], 0),
                "bpm",
                f"root-mean-square difference; {side}",
            )
        )
    if result.get("gaps"):
        longest = max(gap["seconds"] for gap in result["gaps"])
        rows.append(
            ("Gaps in the recording", str(len(result["gaps"])), "", f"longest {longest:.0f} s, kept as gaps")
        )
    rows += _devices(ds)
    rows.append(
        (
            "Largest closure",
            "< 0.01" if result["max_closure_W"] < 0.01 else number(result["max_closure_W"], 2),
            "W",
            "what the heat books leave over",
        )
    )
    return rows


def _devices(ds) -> list[tuple[str, str, str, str]]:
    if "device_heat" not in ds:
        return []
    rows = []
    for name in ds.device.values:
        skin, air, vapour = ds.device_heat.sel(device=name).values[:, -1] / 1000.0
        coldest = float(ds.device_skin_temperature.sel(device=name).min())
        said = ["from the runner"]
        said += [f"{number(air + vapour, 0)} kJ from the air"] if abs(air) + abs(vapour) >= 0.5 else []
        said += [f"coldest skin {number(coldest, 0)} °C"] if np.isfinite(coldest) else []
        rows.append((f"Heat into the {str(name).replace('_', ' ')}", number(skin, 0), "kJ", "; ".join(said)))
    return rows


def _mass(ds) -> float:
    return float(json.loads(ds.attrs["inputs"])["runner"]["mass_kg"])


def assumed_sentence(effect: dict[str, Any]) -> str:
    """Return what an assumed range does to the end of the run."""
    name, value, span, core, heart = assumed_row(effect)
    return (
        f"{name} is assumed {span}{f', {value} is used' if value else ''}: over that range core at the end moves by "
        f"{core} °C and heart rate by {heart} bpm."
    )


def assumed_row(effect: dict[str, Any]) -> tuple[str, str, str, str, str]:
    """Return name, value used, range, and what the range does to core [°C] and heart rate [bpm]."""
    core, heart = effect["core_effect_K"], effect["heart_rate_effect_bpm"]
    value = "" if effect["value"] is None else f"{effect['value']:g}"
    span = f"{effect['low']:g} to {effect['high']:g}"
    return effect["name"], value, span, _moves(core, 2), _moves(heart, 0)


def _moves(ends: list[float], decimals: int) -> str:
    return " to ".join(number(end, decimals, True) for end in ends)
