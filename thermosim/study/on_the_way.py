"""What variants come to along a course and over reps: the runner as given, and the runners drawn, pair by pair."""

import math
from typing import Any

import numpy as np

from thermosim.engine import batch as columns
from thermosim.engine.batch import MOST_KEPT
from thermosim.engine.pacing import (
    EVENT_BELOW_S,
    EVENT_RESUME_S,
    EVENT_START_M,
    EVENT_START_S,
    EVENTS,
    FIRST_CAP_S,
    OVER_S,
    STOP_S,
)
from thermosim.inputs.blocks import in_order
from thermosim.inputs.course_effort import passing, places_of
from thermosim.inputs.paced_flat import is_paced, leg_kinds
from thermosim.study.reps import REP, first_event, rep_result, reps_differ
from thermosim.study.variants import interval

SAME_M = 0.01  # a place is reached from here on
GRID = 101  # places along a course at which curves are drawn


# ---------------------------------------------------------------- along a course


def grid_m(session) -> np.ndarray:
    """Return the places along a course at which curves are drawn, its checkpoints among them [m]."""
    told = session.effort.ground.course
    return np.unique(np.concatenate([np.linspace(0.0, told["length_m"], GRID), [one["distance_m"] for one in places_of(told)]]))


def arrivals_s(session, batch, places_m) -> np.ndarray:
    """Return when each drawn runner reaches each place (members, places) [s]; NaN where that is not seen."""
    places = np.atleast_1d(np.asarray(places_m, dtype=float))
    if not is_paced(session):
        times = np.array([one.arrive_s for one in passing(session.effort, places)])
        return np.tile(times, (len(batch.statuses), 1))
    return np.array([reached(starts[np.isfinite(starts[:, 0])], places) for starts in batch.leg_starts])


def reached(starts, places) -> np.ndarray:
    """Return the first time at each place, from the times and places (legs, 2) at which legs begin; NaN beyond them."""
    time_s, way_m = starts[:, 0], starts[:, 1]
    after = np.searchsorted(way_m, places - SAME_M, side="left")
    found = np.full(places.size, np.nan)
    for k in np.flatnonzero(after < way_m.size):
        j = after[k]
        found[k] = time_s[0] if j == 0 else np.interp(places[k], way_m[j - 1 : j + 1], time_s[j - 1 : j + 1])
    return found


def on_arrival(batch, arrive_s, column: int) -> np.ndarray:
    """Return a trace of each member at its own arrivals (members, places); NaN where there is none."""
    found = np.full(arrive_s.shape, np.nan)
    for i, times in enumerate(arrive_s):
        seen = np.isfinite(times)
        found[i, seen] = np.interp(times[seen], batch.time_s, batch.traces[i, :, column])
    return found


def course_entry(session, batch, core_error_K) -> list[dict[str, Any]]:
    """Return the checkpoints of a variant: arrival, state on arrival, and who has arrived by the end of the comparison."""
    places = places_of(session.effort.ground.course)
    arrive = arrivals_s(session, batch, [one["distance_m"] for one in places])
    core = on_arrival(batch, arrive, columns.T_CORE) + np.asarray(core_error_K)[:, None]
    heart = on_arrival(batch, arrive, columns.T_HEART)
    return [
        {
            "name": place["name"], "km": place["distance_m"] / 1000.0,
            "arrive_min": interval(np.where(np.isfinite(arrive[:, k]), arrive[:, k] / 60.0, np.inf)),
            "share_arrived": float(np.isfinite(arrive[:, k]).mean()),
            "core_C": interval(core[:, k]), "heart_rate_bpm": interval(heart[:, k]),
        }
        for k, place in enumerate(places)
    ]  # fmt: skip


def course_contrast(session, base, other) -> list[dict[str, Any]]:
    """Return what a variant changes at each checkpoint, over the pairs in which both have arrived."""
    places = places_of(session.effort.ground.course)
    first, second = (arrivals_s(session, one, [place["distance_m"] for place in places]) for one in (base, other))
    core = on_arrival(other, second, columns.T_CORE) - on_arrival(base, first, columns.T_CORE)
    one, two = np.isfinite(first), np.isfinite(second)
    both = one & two
    return [
        {
            "name": place["name"], "km": place["distance_m"] / 1000.0, "share_both": float(both[:, k].mean()),
            "share_only_against": float((one & ~two)[:, k].mean()), "share_only_name": float((two & ~one)[:, k].mean()),
            "minutes_gained": interval((first - second)[both[:, k], k] / 60.0),
            "core_difference_K": interval(core[both[:, k], k]),
        }
        for k, place in enumerate(places)
    ]  # fmt: skip


# ---------------------------------------------------------------- under a rule, and over reps


def rule_entry(session, arm, batch) -> dict[str, Any]:
    """Return what the rule did to a variant: the keys that ``simulate`` has, and the runners drawn.

    Returns
    -------
    dict
        ``rule`` (and ``reps``, ``reps_differ``, ``pace_fade`` of blocks) of the runner as given; ``rule_drawn``, ``reps_drawn``
        and ``pace_fade_drawn`` of the runners drawn. What only a cap gives is left out without one.
    """
    found = rep_result(session, arm)
    if math.isfinite(arm.attrs["cap_bpm"]):
        first = batch.paces[:, FIRST_CAP_S]
        found["rule_drawn"] = {
            "cap_events": interval(batch.paces[:, EVENTS]),
            "first_cap_min": interval(np.where(np.isfinite(first), first / 60.0, np.inf)),
            "share_never_capped": float(np.isnan(first).mean()),
            "time_over_cap_min": interval(batch.paces[:, OVER_S] / 60.0),
            "share_stopped": float(np.isfinite(batch.paces[:, STOP_S]).mean()),
        }
    if "reps" in found:
        drawn = drawn_reps(session, batch)
        found["reps_drawn"] = [_rep_entry(k + 1, one, "rule_drawn" in found) for k, one in enumerate(drawn)]
        if len(drawn) > 1 and _reps_alike(session):
            whole = drawn[0]["complete"] & drawn[-1]["complete"]
            found["pace_fade_drawn"] = {"ratio_last_first": interval(_fades(drawn)), "share_complete": float(whole.mean())}
    return found


def drawn_reps(session, batch) -> list[dict[str, np.ndarray]]:
    """Return the outcomes of each rep for every drawn runner, one array of members each.

    Returns
    -------
    list of dict
        ``begun``, ``complete``; ``s_m`` seconds a metre and ``over_s`` above the cap of a complete rep, else NaN; ``first_cap_m``
        (infinite: the cap was not reached in this rep), ``return_s`` (infinite: heart rate was not back before the next rep or
        the end; NaN: there was no event), both NaN where the rep was not begun, or more cap events came before it than are kept.
    """
    legs, members = [k for k, kind in enumerate(leg_kinds(session)) if kind == REP], len(batch.statuses)
    found = [
        {name: np.full(members, np.nan) for name in ("s_m", "over_s", "first_cap_m", "return_s")}
        | {name: np.zeros(members, dtype=bool) for name in ("begun", "complete")}
        for _ in legs
    ]
    for i in range(members):
        starts, places, over_s = batch.leg_starts[i].T
        known = min(int(batch.paces[i, EVENTS]), MOST_KEPT)
        events = batch.cap_events[i, :known][:, [EVENT_START_S, EVENT_START_M, EVENT_BELOW_S, EVENT_RESUME_S]]
        leg_of = np.searchsorted(starts[np.isfinite(starts)], events[:, 0], side="right") - 1
        last_s = events[-1, 0] if batch.paces[i, EVENTS] > MOST_KEPT else np.inf
        for number, k in enumerate(legs):
            one = found[number]
            if not np.isfinite(starts[k]):
                continue
            one["begun"][i], one["complete"][i] = True, np.isfinite(starts[k + 1])
            distance = places[k + 1] - places[k] if one["complete"][i] else np.nan
            one["over_s"][i] = over_s[k + 1] - over_s[k]
            if distance > 0.0:
                one["s_m"][i] = (starts[k + 1] - starts[k]) / distance
            if starts[k] > last_s:
                continue
            following = starts[legs[number + 1]] if number + 1 < len(legs) else np.nan
            whole = following if np.isfinite(following) else float(batch.time_s[-1])
            outcome = first_event(events, np.flatnonzero(leg_of == k), starts[k], whole, places[k], distance)
            one["first_cap_m"][i] = np.inf if outcome["first_cap_censored"] else outcome["first_cap_m"]
            if outcome["return_s"] is not None:
                one["return_s"][i] = np.inf if outcome["return_censored"] else outcome["return_s"]
    return found


def _rep_entry(number: int, one, capped: bool) -> dict[str, Any]:
    pace = one["s_m"][np.isfinite(one["s_m"])]
    found: dict[str, Any] = {
        "rep": number, "share_begun": float(one["begun"].mean()), "share_complete": float(one["complete"].mean()),
        "pace_min_km": interval(1000.0 / 60.0 * pace),
    }  # fmt: skip
    if capped:
        told = one["first_cap_m"][~np.isnan(one["first_cap_m"])]
        events = one["return_s"][~np.isnan(one["return_s"])]
        found |= {
            "share_known": float(told.size / max(one["begun"].sum(), 1)),
            "share_capped": float(np.isfinite(told).mean()) if told.size else None, "first_cap_m": interval(told),
            "time_over_cap_s": interval(one["over_s"]), "return_s": interval(events),
            "share_return_censored": float(np.isinf(events).mean()) if events.size else None,
        }  # fmt: skip
    return found


def rule_contrast(session, base, other, capped: bool) -> dict[str, Any]:
    """Return what a variant changes under a rule and in each rep, over the pairs in which neither number is censored.

    Returns
    -------
    dict
        With a cap ``rule``: ``cap_events_difference``, ``time_over_cap_difference_min``, ``first_cap_difference_min`` with
        ``share_both_capped``. With blocks ``reps``: ``rep``, ``pace_difference_s_km`` with ``share_both_complete``, and with a
        cap ``time_over_cap_difference_s``, ``first_cap_difference_m`` with ``share_both_capped`` and who alone is capped
        (``share_only_against``, ``share_only_name``), ``return_difference_s`` with ``share_both_back``; where reps are alike
        ``pace_fade_difference``: ``ratio_last_first``, ``share_both_complete``. None where no pair has both.
    """
    found: dict[str, Any] = {}
    if capped:
        first, second = base.paces[:, FIRST_CAP_S] / 60.0, other.paces[:, FIRST_CAP_S] / 60.0
        later, share = _paired(first, second)
        found["rule"] = {
            "cap_events_difference": interval(other.paces[:, EVENTS] - base.paces[:, EVENTS]),
            "time_over_cap_difference_min": interval((other.paces[:, OVER_S] - base.paces[:, OVER_S]) / 60.0),
            "first_cap_difference_min": later, "share_both_capped": share,
        }  # fmt: skip
    if not session.blocks:
        return found
    ours, theirs = drawn_reps(session, base), drawn_reps(session, other)
    found["reps"] = [_rep_contrast(k + 1, ours[k], theirs[k], capped) for k in range(len(ours))]
    if len(ours) > 1 and _reps_alike(session):
        change, share = _paired(_fades(ours), _fades(theirs))
        found["pace_fade_difference"] = {"ratio_last_first": change, "share_both_complete": share}
    return found


def _rep_contrast(number: int, one, two, capped: bool) -> dict[str, Any]:
    pace, share = _paired(one["s_m"], two["s_m"], 1000.0)
    found: dict[str, Any] = {"rep": number, "pace_difference_s_km": pace, "share_both_complete": share}
    if capped:
        found["time_over_cap_difference_s"] = _paired(one["over_s"], two["over_s"])[0]
        found["first_cap_difference_m"], found["share_both_capped"] = _paired(one["first_cap_m"], two["first_cap_m"])
        first, second = (np.isfinite(each["first_cap_m"]) for each in (one, two))
        known = ~np.isnan(one["first_cap_m"]) & ~np.isnan(two["first_cap_m"])
        found["share_only_against"] = float((first & ~second & known).mean())
        found["share_only_name"] = float((second & ~first & known).mean())
        found["return_difference_s"], found["share_both_back"] = _paired(one["return_s"], two["return_s"])
    return found


def _reps_alike(session) -> bool:
    """Return whether all reps that drawn runners may come to have one length, grade and target speed."""
    return not reps_differ([block for block in in_order(session.blocks) if block.kind == REP])


def _fades(drawn) -> np.ndarray:
    """Return the last rep's pace over the first's of each drawn runner; NaN where one of them was not done in full."""
    return drawn[-1]["s_m"] / drawn[0]["s_m"]


def _paired(one, two, factor: float = 1.0):
    both = np.isfinite(one) & np.isfinite(two)
    return interval(factor * (two[both] - one[both])), float(both.mean())
