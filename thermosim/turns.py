"""Runners who take turns: how long each rests until the other is back.

Each runs a rep while the others rest. The first runner's next rep begins when the last one is back, everybody else's when the
runner before is back. A rep's length hangs on the rests before it (under a cap, or by distance), and those on the others' reps:
runs of all are repeated until no rest changes. As nothing acts backwards in time, each pass settles at least one more rep.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from thermosim.cooling.blocks import cooling_of_blocks
from thermosim.engine import run as engine
from thermosim.engine.nodes import DONE, STATUS_SENTENCES
from thermosim.engine.pacing import STOP_S
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.blocks import effort_of_blocks, in_order
from thermosim.inputs.checks import shown
from thermosim.inputs.effort import OPTIONS
from thermosim.inputs.flat import runner_record
from thermosim.inputs.paced_flat import paced_records
from thermosim.inputs.session import Session
from thermosim.variables import INPUTS

SAME_S = 0.05  # rests that change by less are settled


def in_turns(session, who: int = 0):
    """Return the session with every rest "until the other runner is back" given its minutes; as it is where there is none.

    Parameters
    ----------
    session : Session
    who : int
        Place of the runner, among the session's, whose rests they are; he then goes first.

    Returns
    -------
    Session
        With one block for each time it is done, and a note that tells the minutes.

    Raises
    ------
    InputError
        It is no session.
    """
    if not isinstance(session, Session):
        raise InputError(f"is {shown(session)}, needed is a Session", field="session", remedy="read one with Session.read(path)")
    if not any(block.waits for block in session.blocks):
        return session
    runners = [*session.runners[who:], *session.runners[:who]]
    ordered = in_order(session.blocks)
    waits_s = _waits(session, runners, ordered)
    shortest = INPUTS["part_minutes"].low
    minutes = iter(max(float(seconds) / 60.0, shortest) for seconds in waits_s)
    told, blocks = [], []
    for block in ordered:
        once = {"reps": 1}
        if block.waits:
            told.append(next(minutes))
            once |= {"minutes": told[-1], "until": None}
        blocks.append(block.model_copy(update=once))
    options = {name: getattr(session.effort, name) for name in OPTIONS if name not in session.effort.defaults}
    effort = effort_of_blocks(blocks, options)
    names = " and ".join(one.name or "the other runner" for one in runners[1:])
    text = ", ".join(f"{one:.1f}" for one in told)
    verb = "is" if len(runners) == 2 else "are"
    note = f"Rests until {names} {verb} back, by the model, without what a variant wears: {text} min."
    return replace(session, blocks=tuple(blocks), effort=replace(effort, notes=(*effort.notes, note)))


class Turns(NamedTuple):
    """How one runner's session went: when the first rep could have begun, how long each rep took, and what came between [s]."""

    ready_s: float
    reps_s: np.ndarray
    between_s: np.ndarray  # behind each waiting rest, up to the next rep


def _waits(session, runners, ordered) -> np.ndarray:
    """Return how long the first of these runners waits at each of the waiting rests [s]."""
    rests = np.array([k for k, block in enumerate(ordered) if block.waits])
    records = [runner_record(one) for one in runners]
    starts = [engine.settle(record) for record in records]
    planned = paced_records(session, records[0]).legs["seconds"][rests]
    waits, lead = np.repeat(planned[None], len(runners), axis=0), np.zeros(len(runners))
    for _ in range(2 * rests.size * len(runners) + 2):
        went = [
            _run(replace(session, runner=one, others=tuple(runners)), records[j], starts[j], rests, waits[j], lead[j], ordered)
            for j, one in enumerate(runners)
        ]
        before, (waits, lead) = (waits, lead), waits_of(went)
        if max(np.abs(waits - before[0]).max(), np.abs(lead - before[1]).max()) < SAME_S:
            break
    return waits[0]


def waits_of(went: list[Turns]) -> tuple[np.ndarray, np.ndarray]:
    """Return how long each runner waits behind each rep, and before the first one [s], from how long the reps take.

    Examples
    --------
    Two runners, three reps of 100 s and 120 s: each rests as long as the other runs, the second behind his last rep not at all.

    >>> import numpy as np
    >>> one, two = (Turns(60.0, np.full(3, seconds), np.zeros(3)) for seconds in (100.0, 120.0))
    >>> waits, lead = waits_of([one, two])
    >>> waits.tolist(), lead.tolist()
    ([[120.0, 120.0, 120.0], [100.0, 100.0, 0.0]], [0.0, 100.0])
    """
    count, reps = len(went), went[0].reps_s.size
    waits, lead = np.zeros((count, reps)), np.zeros(count)
    back, ready, latest = np.zeros((count, reps)), [one.ready_s for one in went], 0.0
    for k in range(reps):
        for j, one in enumerate(went):
            begins = max(latest, ready[j])
            if k == 0:
                lead[j] = begins - ready[j]
            else:
                waits[j, k - 1] = begins - ready[j]
            back[j, k] = latest = begins + one.reps_s[k]
            ready[j] = latest + one.between_s[k]
    waits[:, -1] = latest - back[:, -1]
    return waits, lead


def _run(session, record, start, rests, waits_s, lead_s, ordered) -> Turns:
    """Run one runner through the blocks with these rests; the wait before the first rep is a rest like the first one."""
    paced, reps = paced_records(session, record, open_ended=True), rests - 1
    legs = paced.legs.copy()
    legs["seconds"][rests] = waits_s
    rows, leg_events, _ = cooling_of_blocks(ordered, record[0]["area_m2"])
    first = legs[rests[:1]].copy()
    first["seconds"] = lead_s
    legs = np.concatenate([legs[: reps[0]], first, legs[reps[0] :]])
    leg_events["time_s"] += leg_events["time_s"] >= reps[0]
    got = engine.run(record, paced.pieces, rows, start=start, rule=paced.rule, legs=legs, leg_events=leg_events)
    if got.status != DONE:
        raise NumericalFailure(f"A run of the runners' turns stopped: {STATUS_SENTENCES[got.status]}.")
    begins = np.append(got.pacing.leg_starts[:, 0], np.nan)  # of each leg; NaN where it was not reached
    end = got.pacing.pace[STOP_S]
    end = float(got.time_s[-1]) if np.isnan(end) else float(end)
    at = np.where(np.isnan(begins), end, begins)  # who is stopped is back, and later reps take no time
    began, back, rested = at[reps + 1], at[rests + 1], at[rests + 2]
    return Turns(float(at[reps[0]]), back - began, np.maximum(np.append(began[1:], rested[-1]) - rested, 0.0))
