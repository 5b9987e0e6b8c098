"""The pacing rule as one state machine: run, walk, stand, stop. Simulation and analysis call the same function.

Once a second somebody looks at the heart rate (:func:`look`). Above the cap a *cap event* begins: the runner walks or
stands, until heart rate has been below the resume level for long enough. The instant at which it came below that level
is found by a straight line between two looks; the event's *return time* is counted from the look that began it. The
run is stopped at a number of events, after some time above the cap, or at a modelled core temperature.

In a simulation the kernel looks (``engine/paced.py``); a recording is looked through by :func:`follow`.
"""

import math
from typing import NamedTuple

import numpy as np

from thermosim._jit import compiled
from thermosim.engine.records import RULE
from thermosim.physiology.energetics import RUN, STAND, WALK

STOP = 3  # beside STAND, WALK and RUN
LOOK_S = 1.0  # time between looks
MOST_EVENTS = 500  # cap events that a single run keeps; further ones are counted only

# What the machine remembers.
(
    MODE,  # what the rule lets the runner do
    OPEN,  # 1 during a cap event
    EVENTS,
    OVER_S,  # time above the cap in all
    BEFORE,  # heart rate at the look before; NaN: none
    BELOW_SINCE,  # when heart rate came below the resume level; NaN: it is not
    BEGAN,  # start of the latest event
    FIRST_CAP_S,
    FIRST_CAP_M,
    STOP_S,
    STOP_WHY,
    # the rest belongs to the kernel
    NEXT_LOOK,  # seconds since the start
    LEG_NUMBER,
    LEG_END_S,
    LEG_END_M,
    DONE_S,  # when the last leg was done; NaN: it was not
    ENDED_S,  # when the run ended before its time; NaN: it did not
    SAVED,  # samples kept until then
) = range(18)
N_PACE = 18
# A cap event as it is kept.
EVENT_START_S, EVENT_START_M, EVENT_BELOW_S, EVENT_RESUME_S, EVENT_PEAK = range(5)
N_CAP_EVENT = 5
LOOK_HEART, LOOK_MODE, LOOK_M, LOOK_LEG, LOOK_CORE = range(5)
N_LOOK = 5
WHY_EVENTS, WHY_OVER, WHY_CORE = 1, 2, 3
WHY_STOPPED = ("not stopped", "the number of cap events", "the time above the cap", "the modelled core limit")


@compiled
def share_above(before, now, level):
    """Share of the time between two looks [1] that a straight line between them is above a level.

    Examples
    --------
    >>> share_above(158.0, 162.0, 160.0)
    0.5
    """
    if before > level and now > level:
        return 1.0
    if before <= level and now <= level:
        return 0.0
    return (max(before, now) - level) / abs(now - before)


@compiled
def crossing(time_s, before, now, level):
    """When a straight line from the look before to this one meets a level [s]; this look's time where it does not.

    Examples
    --------
    >>> crossing(12.0, 162.0, 158.0, 160.0)
    11.5
    """
    if not before > level:  # no look before, or below already
        return time_s
    return time_s - LOOK_S * (level - now) / (before - now)


@compiled
def begin(pace):
    """Set the machine to the start: nothing seen yet."""
    pace[:] = 0.0
    pace[MODE] = RUN
    for place in (BEFORE, BELOW_SINCE, BEGAN, FIRST_CAP_S, FIRST_CAP_M, STOP_S, DONE_S, ENDED_S):
        pace[place] = math.nan


@compiled
def look(pace, rule, cap_events, time_s, heart_bpm, core_C, distance_m, capped):
    """Look at the heart rate once; move the machine; return what the rule lets the runner do from now on.

    Parameters
    ----------
    pace : array (N_PACE,)
        What the machine remembers.
    rule : RULE record
    cap_events : array (k, N_CAP_EVENT)
        Where the first k events are written.
    time_s, heart_bpm, core_C, distance_m : float
        Now; a heart rate or core that is not known is NaN: nothing is decided on it.
    capped : bool
        False in a rest: no event begins there, an open one may end.

    Returns
    -------
    int
        ``RUN``, ``WALK``, ``STAND`` or ``STOP``.
    """
    before, number = pace[BEFORE], int(pace[EVENTS]) - 1
    pace[BEFORE] = heart_bpm
    if not math.isnan(before) and not math.isnan(heart_bpm):
        pace[OVER_S] += LOOK_S * share_above(before, heart_bpm, rule.cap_bpm)
    if pace[OPEN] == 0.0:
        if capped and pace[MODE] != STOP and heart_bpm > rule.cap_bpm:
            number += 1
            pace[OPEN], pace[EVENTS], pace[BEGAN], pace[BELOW_SINCE] = 1.0, pace[EVENTS] + 1.0, time_s, math.nan
            if number == 0:
                pace[FIRST_CAP_S], pace[FIRST_CAP_M] = time_s, distance_m
            if number < cap_events.shape[0]:
                event = cap_events[number]
                event[EVENT_START_S], event[EVENT_START_M], event[EVENT_PEAK] = time_s, distance_m, heart_bpm
                event[EVENT_BELOW_S] = event[EVENT_RESUME_S] = math.nan
    else:
        if number < cap_events.shape[0] and heart_bpm > cap_events[number, EVENT_PEAK]:
            cap_events[number, EVENT_PEAK] = heart_bpm
        if not heart_bpm < rule.resume_below_bpm:
            pace[BELOW_SINCE] = math.nan
        elif math.isnan(pace[BELOW_SINCE]):
            pace[BELOW_SINCE] = crossing(time_s, before, heart_bpm, rule.resume_below_bpm)
        if not math.isnan(pace[BELOW_SINCE]) and time_s - pace[BELOW_SINCE] >= rule.resume_s:
            pace[OPEN] = 0.0
            if number < cap_events.shape[0]:
                cap_events[number, EVENT_BELOW_S], cap_events[number, EVENT_RESUME_S] = pace[BELOW_SINCE], time_s
    if pace[MODE] != STOP:
        why = 0
        if pace[EVENTS] >= rule.max_cap_events:
            why = WHY_EVENTS
        elif pace[OVER_S] >= rule.stop_after_over_s:
            why = WHY_OVER
        elif core_C >= rule.core_stop_C:
            why = WHY_CORE
        if why > 0:
            pace[MODE], pace[STOP_S], pace[STOP_WHY] = STOP, time_s, why
        elif pace[OPEN] == 1.0:
            pace[MODE] = rule.above_cap
        else:
            pace[MODE] = RUN
    return int(pace[MODE])


@compiled
def follow_series(rule, heart_bpm, core_C, distance_m, capped, pace, cap_events, modes):
    """Look through a series at equal seconds, from second 0 on; fill the machine's memory, its events and the modes."""
    begin(pace)
    for k in range(heart_bpm.size):
        modes[k] = look(pace, rule, cap_events, k * LOOK_S, heart_bpm[k], core_C[k], distance_m[k], capped[k])


class Followed(NamedTuple):
    """What a rule makes of a series of heart rates."""

    events: np.ndarray  # (k, N_CAP_EVENT): EVENT_START_S, EVENT_START_M, EVENT_BELOW_S, EVENT_RESUME_S, EVENT_PEAK
    modes: np.ndarray  # (n,) what the rule asks for from each look on
    events_in_all: int
    over_s: float
    first_cap_s: float
    stop_s: float
    stop_why: str

    @property
    def return_s(self) -> np.ndarray:
        """Return time of each event [s]; NaN where heart rate did not come back."""
        return self.events[:, EVENT_BELOW_S] - self.events[:, EVENT_START_S]


def follow(rule, heart_bpm, *, core_C=None, distance_m=None, capped=None) -> Followed:
    """Put a recorded heart-rate series through the rule: the same machine that acts inside a simulation.

    Parameters
    ----------
    rule : array of RULE, shape (1,)
        From :func:`rule_record` or a session.
    heart_bpm : array_like, shape (n,)
        Heart rate at every second, the first at second 0 [bpm]; NaN where it was not recorded.
    core_C, distance_m : array_like, optional
        Core [°C], without which no core limit acts, and distance [m] at the same seconds.
    capped : array_like of bool, optional
        False in rests; without it the rule acts throughout.

    Returns
    -------
    Followed

    Examples
    --------
    A spike to 170 that falls towards 125 with a time constant of 45 s is back below 160 after 11.3 s:

    >>> import numpy as np
    >>> seconds = np.arange(60.0)
    >>> heart = 125.0 + 45.0 * np.exp(-seconds / 45.0)
    >>> found = follow(rule_record(cap_bpm=160.0), heart)
    >>> round(float(found.return_s[0]), 1)
    11.3
    """
    heart = np.asarray(heart_bpm, dtype=float)
    unknown = np.full(heart.size, np.nan)
    core, distance = (
        unknown if series is None else np.asarray(series, dtype=float) for series in (core_C, distance_m)
    )
    acts = np.ones(heart.size, dtype=bool) if capped is None else np.asarray(capped, dtype=bool)
    if heart.ndim != 1 or {series.shape for series in (core, distance, acts)} != {heart.shape}:
        raise ValueError("heart_bpm, core_C, distance_m and capped must be series of one length")
    pace, events, modes = np.zeros(N_PACE), np.zeros((max(heart.size, 1), N_CAP_EVENT)), np.zeros(heart.size, dtype=np.int64)
    follow_series(rule[0], heart, core, distance, acts, pace, events, modes)
    count = int(pace[EVENTS])
    return Followed(
        events[:count], modes, count, float(pace[OVER_S]), float(pace[FIRST_CAP_S]), float(pace[STOP_S]),
        WHY_STOPPED[int(pace[STOP_WHY])],
    )  # fmt: skip


def rule_record(
    *, cap_bpm=math.inf, resume_below_bpm=None, resume_s=0.0, above_cap=WALK, walk_speed_m_s=1.5, max_cap_events=math.inf,
    stop_after_over_s=math.inf, core_stop_C=math.inf, walk_above_grade=math.inf, end_when_done=0,
) -> np.ndarray:  # fmt: skip
    """Return a RULE record (array of length 1); what is left out does not act. The resume level is the cap unless given."""
    rule = np.zeros(1, dtype=RULE)
    level = cap_bpm if resume_below_bpm is None else resume_below_bpm
    rule[0] = (
        cap_bpm, level, resume_s, walk_speed_m_s, max_cap_events, stop_after_over_s, core_stop_C, walk_above_grade,
        1, above_cap, end_when_done,
    )  # fmt: skip
    return rule


def return_time(peak_bpm, asymptote_bpm, level_bpm, time_constant_s) -> float:
    """Seconds in which heart rate falls exponentially from a peak below a level [s]; infinite where it never does.

    ``tau ln((peak - asymptote) / (level - asymptote))``: it hangs on the asymptote more than on the peak, so recovery
    seconds magnify a small difference of heart rate.

    Examples
    --------
    >>> [round(return_time(170.0, asymptote, 160.0, tau), 1) for asymptote, tau in ((125, 45), (152, 45), (152, 60))]
    [11.3, 36.5, 48.7]
    """
    if peak_bpm <= level_bpm:
        return 0.0
    if asymptote_bpm >= level_bpm:
        return math.inf
    return time_constant_s * math.log((peak_bpm - asymptote_bpm) / (level_bpm - asymptote_bpm))


__all__ = [
    "RUN", "STAND", "STOP", "WALK", "Followed", "begin", "crossing", "follow", "follow_series", "look", "return_time",
    "rule_record", "share_above",
]  # fmt: skip
