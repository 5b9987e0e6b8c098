"""Rep outcomes from a finished run: first-cap distance, time over cap, return time, pace fade; each with its censor flag.

A number is censored where the run ended, or the next rep began, before it could be seen: it is then a bound, written
``> 900 m (censored)``. Time over cap and pace have no bound to be beyond; a rep that was not done in full says so.
"""

import math
from typing import Any

import numpy as np

from thermosim.engine.pacing import EVENT_PEAK, EVENT_START_S, follow, share_above

REP = "rep"


def rep_outcomes(ds, kinds: list[str], metres=None) -> list[dict[str, Any]]:
    """Return the outcomes of each rep that was begun.

    Parameters
    ----------
    ds : xarray.Dataset
        A run under a rule or of blocks.
    kinds : list of str
        What each leg is (:func:`thermosim.inputs.paced_flat.leg_kinds`).
    metres : array_like, optional
        Distance of each leg where it is by distance [m], else 0: a rep of so many metres is complete when it was run.

    Returns
    -------
    list of dict
        ``rep`` (from 1), ``start_min``, ``minutes``, ``distance_m``, ``mean_speed_m_s``, ``heart_rate_at_end_bpm``, ``complete``,
        ``cap_events``; ``first_cap_m`` (metres into the rep) with ``first_cap_censored``: the cap was not reached in so many
        metres; ``time_over_cap_s``; ``return_s`` of the rep's first cap event with ``return_censored``: heart rate was not back
        before the next rep or the end. ``return_s`` is None where there was no event. Without a cap all four are None.
    """
    starts, places = ds.leg_start.values, ds.leg_distance.values
    end_s, end_m = float(ds.time[-1]), float(ds.distance[-1])
    ends = np.append(np.where(np.isfinite(starts[1:]), starts[1:], end_s), _last_end(ds, end_s))
    capped = math.isfinite(ds.attrs["cap_bpm"])
    found: list[dict[str, Any]] = []
    reps = [k for k, kind in enumerate(kinds) if kind == REP and np.isfinite(starts[k])]
    for number, k in enumerate(reps, start=1):
        until = min(float(ends[k]), _stopped(ds))
        begun, whole = float(starts[k]), min(starts[reps[number]], end_s) if number < len(reps) else end_s
        distance = (float(places[k + 1]) if k + 1 < len(places) and np.isfinite(places[k + 1]) else end_m) - float(places[k])
        wanted = 0.0 if metres is None else float(metres[k])
        complete = until == ends[k] and (distance >= wanted - 0.01 if wanted else until < end_s or _last_end(ds, -1.0) >= 0.0)
        seconds = until - begun
        one = {
            "rep": number, "start_min": begun / 60.0, "minutes": seconds / 60.0, "distance_m": distance,
            "mean_speed_m_s": distance / seconds if seconds > 0.0 else math.nan,
            "heart_rate_at_end_bpm": float(np.interp(until, ds.look, ds.heart_rate_at_look)), "complete": bool(complete),
        }  # fmt: skip
        own = np.flatnonzero(np.searchsorted(starts[np.isfinite(starts)], ds.cap_event_start.values, side="right") - 1 == k)
        under = (begun, until, float(whole), float(places[k]), distance)
        one |= _under_cap(ds, own, *under) if capped else dict.fromkeys(_CAP_KEYS)
        found.append(one)
    return found


_CAP_KEYS = ("cap_events", "first_cap_m", "first_cap_censored", "time_over_cap_s", "return_s", "return_censored")


def _under_cap(ds, own, begun, until, whole, start_m, distance) -> dict[str, Any]:
    """Outcomes of one rep that only a cap gives; ``own`` are its events, ``whole`` is where the next rep begins."""
    names = ("start", "distance", "below", "resume")
    events = np.column_stack([ds[f"cap_event_{name}"].values for name in names])
    cap = float(ds.attrs["cap_bpm"])
    return {
        "cap_events": int(own.size), **first_event(events, own, begun, whole, start_m, distance),
        "time_over_cap_s": time_above(ds.look.values, ds.heart_rate_at_look.values, cap, begun, until),
    }  # fmt: skip


def first_event(events, own, begun, whole, start_m, distance) -> dict[str, Any]:
    """Return how far a rep goes before its cap and how long heart rate takes back, each with its censor flag.

    Parameters
    ----------
    events : array (events, 4)
        Of the whole run: start [s], place [m], when heart rate came below the resume level [s], when the event ended [s].
    own : array of int
        Those that begin in this rep.
    begun, whole : float
        When the rep began, and when the next one begins or the run ends [s].
    start_m, distance : float
        Where the rep began, and how far it went [m].
    """
    one = {"first_cap_m": distance, "first_cap_censored": True, "return_s": None, "return_censored": False}
    if np.any((events[:, 0] < begun) & ~(events[:, 3] <= begun)):  # the rep began above the resume level
        one |= {"first_cap_m": 0.0, "first_cap_censored": False}
    elif own.size:
        one |= {"first_cap_m": float(events[own[0], 1]) - start_m, "first_cap_censored": False}
    if own.size:
        below = float(events[own[0], 2])
        back = below <= whole
        one |= {"return_s": (below if back else whole) - float(events[own[0], 0]), "return_censored": not back}
    return one


def at_every_second(time_s, values) -> np.ndarray:
    """Return a recorded series at seconds 0, 1, 2 … from its first sample on; NaN where no sample is within half a second.

    Examples
    --------
    >>> at_every_second([10.0, 11.0, 13.1], [150.0, 151.0, 153.0])
    array([150., 151.,  nan, 153.])
    """
    times = np.asarray(time_s, dtype=float) - float(time_s[0])
    found = np.full(int(round(float(times[-1]))) + 1, np.nan)
    found[np.minimum(np.floor(times + 0.5).astype(int), found.size - 1)] = values
    return found


def rule_on_recording(rule, time_s, heart_bpm) -> dict[str, Any]:
    """Return what a rule makes of a recorded heart rate, by the machine that acts in simulations.

    Parameters
    ----------
    rule : array of RULE, shape (1,)
        Of :meth:`thermosim.inputs.pacing.Rule.record`.
    time_s, heart_bpm : array_like
        As recorded [s], [bpm].

    Returns
    -------
    dict
        As :func:`rule_outcome`, without metres, and ``events``: ``start_min``, ``peak_bpm``, ``return_s``, ``return_censored``
        (the recording ended first, and ``return_s`` is a lower bound); ``recorded_share`` of seconds with a heart rate.
    """
    heart = at_every_second(time_s, heart_bpm)
    found = follow(rule, heart)
    events = []
    for event, seconds in zip(found.events, found.return_s, strict=True):
        open_ = bool(np.isnan(seconds))
        events.append({
            "start_min": float(event[EVENT_START_S]) / 60.0, "peak_bpm": float(event[EVENT_PEAK]),
            "return_s": float(heart.size - 1 - event[EVENT_START_S] if open_ else seconds), "return_censored": open_,
        })  # fmt: skip
    stopped = math.isfinite(found.stop_s)
    return {
        "cap_bpm": float(rule[0]["cap_bpm"]), "resume_below_bpm": float(rule[0]["resume_below_bpm"]),
        "cap_events": found.events_in_all, "time_over_cap_min": found.over_s / 60.0,
        "first_cap_min": found.first_cap_s / 60.0 if found.events_in_all else None,
        "stopped_at_min": found.stop_s / 60.0 if stopped else None, "stopped_by": found.stop_why if stopped else None,
        "events": events, "recorded_share": float(np.isfinite(heart).mean()),
    }  # fmt: skip


def time_above(times_s, heart_bpm, cap_bpm: float, from_s: float, to_s: float) -> float:
    """Time that straight lines between looks are above a cap, from one time to another [s].

    Examples
    --------
    >>> time_above([0.0, 1.0, 2.0], [158.0, 162.0, 162.0], 160.0, 0.0, 2.0)
    1.5
    """
    inside = np.asarray(times_s)[(np.asarray(times_s) > from_s) & (np.asarray(times_s) < to_s)]
    at = np.concatenate([[from_s], inside, [to_s]])
    heart = np.interp(at, times_s, heart_bpm)
    parts = [share_above(a, b, cap_bpm) * step for a, b, step in zip(heart[:-1], heart[1:], np.diff(at), strict=True)]
    return float(np.sum(parts))


def _stopped(ds) -> float:
    stopped = float(ds.attrs["stopped_s"])
    return math.inf if math.isnan(stopped) else stopped


def _last_end(ds, otherwise: float) -> float:
    done = float(ds.attrs["legs_done_s"])
    return otherwise if math.isnan(done) else done


ALIKE = {"distance_m": "length", "minutes": "length", "grade_pct": "grade", "speed": "target speed"}


def reps_differ(blocks) -> list[str]:
    """Return in what reps are not alike, so that their paces cannot be held against each other; empty where they are.

    Parameters
    ----------
    blocks : list of Block
        The reps, as often as they are done.

    Examples
    --------
    >>> from thermosim.inputs.blocks import Block
    >>> up = Block(kind="rep", minutes=4, speed_m_s=3, grade_pct=5)
    >>> reps_differ([up, up]), reps_differ([up, Block(kind="rep", minutes=4, speed_m_s=3.5)])
    ([], ['grade', 'target speed'])
    """
    differing = (word for name, word in ALIKE.items() if len({getattr(block, name) for block in blocks}) > 1)
    return list(dict.fromkeys(differing))


def pace_fade(reps: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Return how pace changes over the complete reps: a straight line through them, and last over first.

    Returns
    -------
    dict or None
        ``slope_s_km_per_rep`` (least squares; positive is slower), ``ratio_last_first`` of the paces, ``reps`` that count, and
        ``censored``: a rep was not done in full, so the fade is at least this. None with fewer than two complete reps.

    Examples
    --------
    >>> speeds = (4.0, 3.9, 3.8)
    >>> fade = pace_fade([{"rep": k, "complete": True, "mean_speed_m_s": v} for k, v in enumerate(speeds, start=1)])
    >>> round(fade["slope_s_km_per_rep"], 2), round(fade["ratio_last_first"], 4)
    (6.58, 1.0526)
    """
    whole = [one for one in reps if one["complete"] and one["mean_speed_m_s"] > 0.0]
    if len(whole) < 2:
        return None
    numbers = np.array([one["rep"] for one in whole], dtype=float)
    pace_s_km = 1000.0 / np.array([one["mean_speed_m_s"] for one in whole])
    centred = numbers - numbers.mean()
    return {
        "slope_s_km_per_rep": float((centred * pace_s_km).sum() / (centred**2).sum()),
        "ratio_last_first": float(pace_s_km[-1] / pace_s_km[0]),
        "reps": len(whole),
        "censored": len(whole) < len(reps),
    }


def rep_result(session, ds) -> dict[str, Any]:
    """Return the JSON keys that a rule or blocks add: ``rule``, ``reps``, ``reps_differ``, ``pace_fade`` (null where they do)."""
    from thermosim.inputs.blocks import in_order, legs_of_blocks
    from thermosim.inputs.paced_flat import leg_kinds

    found: dict[str, Any] = {"rule": rule_outcome(ds)}
    if session.blocks:
        metres = legs_of_blocks(session.blocks, 1.0)["metres"]
        found["reps"] = rep_outcomes(ds, leg_kinds(session), metres)
        begun = [block for block in in_order(session.blocks) if block.kind == REP][: len(found["reps"])]
        found["reps_differ"] = reps_differ(begun)
        found["pace_fade"] = None if found["reps_differ"] else pace_fade(found["reps"])
    return found


def rule_outcome(ds) -> dict[str, Any]:
    """Return what the rule did in the whole run; None where it did not happen, or where there is no cap."""

    def or_none(number, factor=1.0):
        return factor * float(number) if math.isfinite(number) else None

    capped = math.isfinite(ds.attrs["cap_bpm"])
    return {
        "cap_bpm": or_none(ds.attrs["cap_bpm"]),
        "resume_below_bpm": or_none(ds.attrs["resume_below_bpm"]),
        "cap_events": int(ds.attrs["cap_events"]) if capped else None,
        "time_over_cap_min": float(ds.attrs["time_over_cap_s"]) / 60.0 if capped else None,
        "first_cap_min": or_none(ds.attrs["first_cap_s"], 1.0 / 60.0),
        "first_cap_m": or_none(ds.attrs["first_cap_m"]),
        "stopped_at_min": or_none(ds.attrs["stopped_s"], 1.0 / 60.0),
        "stopped_by": str(ds.attrs["stopped_by"]) if math.isfinite(ds.attrs["stopped_s"]) else None,
    }
