"""A run over a course in numbers and words: when each checkpoint is reached, what the runner is like there, by the km."""

import math
from typing import Any

import numpy as np

from thermosim.cli.terminal import number

TITLE = "Along the course"
COLUMNS = tuple((name, "right") for name in ("", "km", "min", "clock", "core °C", "bpm", "sweat L", "stop", "cut-off in"))
QUANTITIES = ("core_temperature", "mean_skin_temperature", "heart_rate", "sweat_loss", "speed", "solar_load", "air_speed")
TABLE_STEP_KM = 1.0


def passings(session, ds, distances_m) -> list[tuple[float, float]]:
    """Return when each distance is reached and left [s from the start]; NaN where it is not reached."""
    from thermosim.inputs.course_effort import passing
    from thermosim.inputs.paced_flat import is_paced
    from thermosim.study.on_the_way import SAME_M, reached

    if not is_paced(session):
        return [(one.arrive_s, one.leave_s) for one in passing(session.effort, distances_m)]
    began = np.isfinite(ds.leg_start.values)
    ends = ([float(ds.time[-1])], [float(ds.distance[-1])])
    starts = np.column_stack([np.append(ds.leg_start.values[began], ends[0]), np.append(ds.leg_distance.values[began], ends[1])])
    places = np.minimum(np.atleast_1d(distances_m), np.where(np.atleast_1d(distances_m) <= ends[1][0] + 1.0, ends[1][0], np.inf))
    arrive = reached(starts, places)
    stays = np.searchsorted(starts[:, 1], places + SAME_M, side="right") - 1  # the last leg that begins there goes on
    there = np.abs(starts[stays, 1] - places) <= SAME_M
    return [(one, float(starts[k, 0]) if here else one) for one, k, here in zip(arrive.tolist(), stays, there, strict=True)]


def course_result(session, ds) -> dict[str, Any]:
    """Return the JSON object ``course`` of a run: length, climb, checkpoints with times, state and margins.

    Returns
    -------
    dict
        ``length_km, ascent_m, ascent_raw_m, descent_m``, ``checkpoints``: name, km, ``arrive_min``, ``leave_min``, ``clock``,
        ``core_C``, ``heart_rate_bpm``, ``sweat_loss_L`` on arrival, ``has``, ``ice_probability``, ``opens_in_min`` (above 0: the
        runner is early), ``cut_off_margin_min`` (below 0: late); null where it is not reached or not known.
    """
    from thermosim.clock import clock_text
    from thermosim.inputs.course_effort import after_start, places_of

    told, start = session.effort.ground.course, session.start_clock_s
    places, found = places_of(told), []
    for place, (arrive, leave) in zip(places, passings(session, ds, [one["distance_m"] for one in places])):
        entry: dict[str, Any] = {
            "name": place["name"], "km": place["distance_m"] / 1000.0, "arrive_min": arrive / 60.0, "leave_min": leave / 60.0,
            "clock": None, "core_C": _at(ds, "core_temperature", arrive), "heart_rate_bpm": _at(ds, "heart_rate", arrive),
            "sweat_loss_L": _at(ds, "sweat_loss", arrive), "has": place["has"],
            "ice_probability": place.get("ice_probability", 0.0), "opens_in_min": None, "cut_off_margin_min": None,
        }  # fmt: skip
        if start is not None and arrive == arrive:
            entry["clock"] = clock_text(start + arrive, days=True)
            for name, key in (("opens_s", "opens_in_min"), ("cut_off_s", "cut_off_margin_min")):
                if place.get(name) is not None:
                    entry[key] = (after_start(place[name], start, arrive) - arrive) / 60.0
        found.append(entry)
    keys = {"length_km": told["length_m"] / 1000.0, **{name: told[name] for name in ("ascent_m", "ascent_raw_m", "descent_m")}}
    return {**keys, "checkpoints": found}


def _at(ds, name: str, second: float) -> float:
    return math.nan if second != second else float(np.interp(second, ds.time.values, ds[name].values))


def rows(result: dict[str, Any], beta_blocker: bool = False) -> list[tuple[str, ...]]:
    """Return the checkpoints as rows of a table."""
    found = []
    for one in result["checkpoints"]:
        reached = one["arrive_min"] == one["arrive_min"]
        margin, stop = one["cut_off_margin_min"], one["leave_min"] - one["arrive_min"]
        state = ("–",) * 7 if not reached else (
            number(one["arrive_min"], 0), one["clock"] or "–", number(one["core_C"]),
            "–" if beta_blocker else number(one["heart_rate_bpm"], 0), number(one["sweat_loss_L"], 1),
            number(stop, 0) if stop >= 0.5 else "–", "–" if margin is None else number(margin, 0),
        )  # fmt: skip
        found.append((one["name"], number(one["km"]), *state))
    return found


def sentences(session, ds, result: dict[str, Any]) -> list[str]:
    """Return what a race plan must not miss: closed or late checkpoints, ice that may not be there."""
    there = [f"{one['name']} {one['has']}" for one in result["checkpoints"] if one["has"]]
    found = ["There is: " + "; ".join(there) + "."] if there else []
    for one in result["checkpoints"]:
        if one["arrive_min"] != one["arrive_min"]:
            found.append(f"{one['name']} is not reached.")
        if (one["opens_in_min"] or 0.0) > 0.0:
            found.append(f"{one['name']} is reached {number(one['opens_in_min'], 0)} min before it opens.")
        if (one["cut_off_margin_min"] or 0.0) < 0.0:
            found.append(f"{one['name']} is reached {number(-one['cut_off_margin_min'], 0)} min after its cut-off.")
        if 0.0 < one["ice_probability"] < 1.0:
            found.append(f"Ice at {one['name']} is {100.0 * one['ice_probability']:.0f} % likely: plan for none as well.")
    timed = any(
        one.get("cut_off_s") is not None or one.get("opens_s") is not None for one in session.effort.ground.course["checkpoints"]
    )
    if timed and session.start_clock_s is None:
        found.append("Cut-offs and opening times are not compared: nothing says the clock time of the start (start_clock).")
    return found


def course_table(session, ds):
    """Return the run by distance, a row each km and at every checkpoint, units in the column names."""
    import pandas as pd

    from thermosim.cli.writing import column_name
    from thermosim.clock import clock_text

    told, start = session.effort.ground.course, session.start_clock_s
    named = {round(one["distance_m"], 1): one["name"] for one in told["checkpoints"]}
    step = 1000.0 * TABLE_STEP_KM
    places = sorted({*np.round(np.arange(0.0, told["length_m"], step), 1).tolist(), round(told["length_m"], 1), *named})
    times = [arrive for arrive, _ in passings(session, ds, places)]
    table = pd.DataFrame({"distance_km": np.array(places) / 1000.0})
    table["checkpoint"] = [named.get(place, "") for place in places]
    table["section"] = [next((name for name, a, b in told["sections"] if a <= place < b), "") for place in places]
    table["elevation_m"] = np.interp(places, told["distance_m"], told["elevation_m"])
    table["time_min"] = np.array(times) / 60.0
    table["clock"] = ["" if start is None or time != time else clock_text(start + time, days=True) for time in times]
    for name in QUANTITIES:
        table[column_name(name, [], ds[name].attrs["units"])] = [_at(ds, name, time) for time in times]
    return table.round(3)
