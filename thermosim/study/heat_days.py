"""Heat days kept, told as what they change in a session's run: beats a minute, degrees, litres of sweat, each with a band."""

from typing import Any, NamedTuple

import numpy as np

from thermosim.engine import batch as columns
from thermosim.engine.batch import run_batch, settle_many
from thermosim.engine.nodes import DONE, STATUS_SENTENCES
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.heat_exposures import Exposure, when_days
from thermosim.study.ensemble import draw_persons
from thermosim.study.variants import interval

MEMBERS = 60
LAST_S = 300.0  # the sweat rate at the end is that of the last five minutes
# Days without heat that the calendar looks ahead to.
AHEAD_DAYS = (0, 7, 14)
SMALL_BPM, SMALL_K, SMALL_L_H = 0.5, 0.005, 0.005


class Course(NamedTuple):
    """One moment of a runner's heat days: what it is called, and days without heat before the run."""

    name: str
    idle_days: int


def heat_days_kept(session, *, members: int = MEMBERS, seed: int | None = None) -> dict[str, Any]:
    """Return what a runner's listed heat exposures change in this session, against the same runner without any.

    The same drawn people run three or more times: without heat days; with what was gained, on the day after the last of them;
    with what is kept on the day of the run; and after more days without heat. Gain, decay and plasma vary between people
    within the ranges of the parameter table.

    Returns
    -------
    dict
        ``exposures``, ``days_before`` (of the last), ``at_min``, ``members``, ``seed``, and ``gained``, ``kept`` and ``ahead``
        (a list with ``days_later``): each with ``heart_rate_bpm`` (None with a beta-blocker), ``core_C``, ``sweat_rate_L_h`` and
        ``largest_sweat_rate_L_h`` as {median, low, high} of 90 %, with less without heat days.

    Raises
    ------
    InputError
        The runner lists no exposures.
    NumericalFailure
        A member stopped.
    """
    runner = session.runner
    if runner.heat_exposures is None:
        raise InputError("is missing", field="heat_exposures", remedy="list the days in the heat, or name a *.heat.csv")
    seed = session.ensemble.seed if seed is None else seed
    people = draw_persons(runner, members, np.random.default_rng([seed, 23]))
    days = when_days(runner.heat_exposures, runner.run_date)
    last = min(days)
    courses = [Course("gained", 1 - last), Course("kept", 0), *(Course(f"ahead {k}", k) for k in AHEAD_DAYS[1:])]
    pieces = piece_records(session.effort, session.weather)
    without = _run(session, pieces, [(_without(card), drawn) for card, drawn in people])
    found: dict[str, Any] = {}
    for course in courses:
        shifted = {day + course.idle_days: minutes for day, minutes in days.items()}
        arm = _run(session, pieces, [(_with(card, shifted), drawn) for card, drawn in people])
        change = {name: interval(arm[name] - without[name]) for name in arm}
        if runner.beta_blocker:
            change["heart_rate_bpm"] = None
        found[course.name] = change
    return {
        "exposures": len(runner.heat_exposures), "days_before": last, "at_min": float(session.effort.end_s[-1]) / 60.0,
        "members": members, "seed": seed, "gained": found["gained"], "kept": found["kept"],
        "ahead": [{"days_later": k, **found[f"ahead {k}"]} for k in AHEAD_DAYS[1:]],
    }  # fmt: skip


def _without(card):
    kept = {name: getattr(card, name) for name in card.model_fields_set - {"heat_exposures", "run_date", "sources"}}
    return type(card)(**{**kept, "heat_days": 0.0})


def _with(card, days: dict[int, float]):
    """Return the card with heat days by their distance from the run; beyond what a card may hold they are nothing any more."""
    listed = tuple(Exposure(days_before=day, minutes=min(minutes, 600.0)) for day, minutes in days.items() if 1 <= day <= 60)
    kept = {name: getattr(card, name) for name in card.model_fields_set - {"heat_exposures", "run_date", "sources"}}
    return type(card)(**{**kept, "heat_exposures": listed}) if listed else _without(card)


def _run(session, pieces, people) -> dict[str, np.ndarray]:
    """Run people through the session without devices; return what each ends with."""
    runners = np.concatenate([runner_record(card, drawn) for card, drawn in people])
    states, fasts = settle_many(runners)
    end = float(pieces["end_s"][-1])
    before = max(end - LAST_S, 0.0)
    batch = run_batch(runners, pieces, save_times_s=(before, end), start_states=states, start_fasts=fasts)
    for status in batch.statuses:
        if status != DONE:
            raise NumericalFailure(f"A run of the heat days stopped: {STATUS_SENTENCES[status]}.")
    ends = batch.traces[:, -1]
    sweat_L_h = 3600.0 * (ends[:, columns.T_SWEAT] - batch.traces[:, -2, columns.T_SWEAT]) / (end - before)
    return {
        "heart_rate_bpm": ends[:, columns.T_HEART], "core_C": ends[:, columns.T_CORE], "sweat_rate_L_h": sweat_L_h,
        "largest_sweat_rate_L_h": np.array(runners["maximum_sweat_rate_L_h"]),
    }  # fmt: skip
