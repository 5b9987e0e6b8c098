"""Call the kernel for one run: allocate, plan the steps, settle the start, collect samples."""

from typing import NamedTuple

import numpy as np

from thermosim.engine import nodes as n
from thermosim.engine.integrate import N_DIAGNOSTICS, N_SUMMARIES, SITE_CORE, integrate
from thermosim.engine.pacing import ENDED_S, MOST_EVENTS, N_CAP_EVENT, N_LOOK, N_PACE, SAVED
from thermosim.engine.plan import FIRST_STEP_S, METHOD, STEP_S, TABLES, plan_steps, stops_of, with_legs
from thermosim.engine.records import EVENT, LEG, PIECE, ROW, RULE, Pacing, Work
from thermosim.engine.start import before_settling, settling_pieces, start_rows, with_empty_books
from thermosim.errors import NumericalFailure

NO_ROWS = np.zeros(0, dtype=ROW)
NO_EVENTS = np.zeros(0, dtype=EVENT)
NO_RULE = np.zeros(1, dtype=RULE)
NO_LEGS = np.zeros(0, dtype=LEG)


class Trajectory(NamedTuple):
    """Samples of one run, as the kernel wrote them; ``dataset.py`` turns them into names and units."""

    time_s: np.ndarray  # (k,)
    states: np.ndarray  # (k, size)
    rates: np.ndarray  # (k, size)
    fasts: np.ndarray  # (k, N_FAST)
    diagnostics: np.ndarray  # (k, N_DIAGNOSTICS)
    summary: np.ndarray  # (N_SUMMARIES,)
    status: int
    pacing: Pacing | None = None  # of a paced run: where its rule, legs and events left their marks


def new_pacing(rule=NO_RULE, legs=NO_LEGS, leg_events=NO_EVENTS, *, seconds: float = 0.0, most_events: int = 0) -> Pacing:
    """Return a rule with its legs and zeroed arrays for one run; ``seconds`` of looks and ``most_events`` are kept."""
    looks = np.full((int(seconds) + 1 if seconds > 0.0 else 0, N_LOOK), np.nan)
    return Pacing(
        rule, legs, leg_events, np.zeros(1, dtype=PIECE), np.zeros(N_PACE), np.zeros((most_events, N_CAP_EVENT)), looks,
        np.full((legs.size + 1, 3), np.nan),
    )  # fmt: skip


def new_work(n_rows: int) -> Work:
    """Return zeroed arrays for one run."""
    size = n.BASE + n_rows * n.ROW_SIZE
    return Work(
        np.zeros(size),
        np.zeros(n.N_FAST),
        np.zeros((n.N_TERMS, n.N_COLUMNS)),
        np.zeros((n.N_COEFFICIENTS, n.N_SEGMENTS)),
        np.zeros(n.MAX_ROWS, dtype=np.int64),
        np.zeros((5, size)),
    )


def run(
    runner,
    pieces,
    rows=NO_ROWS,
    events=NO_EVENTS,
    save_times_s=(),
    *,
    start: Work,
    limit_C: float = 99.0,
    site: int = SITE_CORE,
    method: int = METHOD,
    stages: int | None = None,
    step_s: float = STEP_S,
    first_step_s: float = FIRST_STEP_S,
    rule=NO_RULE,
    legs=NO_LEGS,
    leg_events=NO_EVENTS,
) -> Trajectory:
    """Integrate one run and return its samples.

    Parameters
    ----------
    runner : array of RUNNER, shape (1,)
    pieces : array of PIECE
    rows, events : arrays of ROW and EVENT
        Device rows and what happens to them (in order of time).
    save_times_s : array_like
        Times to keep [s].
    start : Work
        Settled start, from :func:`settle`.
    limit_C, site : float, int
        Core limit [°C] and the site it acts on.
    method, stages, step_s, first_step_s : int, int, float, float
        Step method, stages (None: as few as are stable), longest step, first step after a jump; with
        ``first_step_s`` at or above ``step_s`` steps are equal between stops.
    rule, legs, leg_events : arrays of RULE (1,), LEG and EVENT
        A pacing rule and the legs it acts on; the effort is then theirs, the pieces give air, ground and options. What is
        put on or drunk at the start of a leg is an event whose ``time_s`` is the leg's number.

    Returns
    -------
    Trajectory
        With a status; raising is the caller's choice.
    """
    work = new_work(rows.size)
    start_rows(work, start, rows)
    kept = {}
    if rule[0]["active"]:
        kept = {"seconds": float(pieces["end_s"][-1] - pieces["start_s"][0]), "most_events": MOST_EVENTS}
    pacing = new_pacing(rule, legs, leg_events, **kept)
    return _integrate(
        work, runner, pieces, rows, events, save_times_s, limit_C, site, method, stages, step_s, first_step_s, pacing
    )


def _integrate(
    work, runner, pieces, rows, events, save_times_s, limit_C, site, method, stages, step_s, first_step_s, pacing
) -> Trajectory:
    stops, saved = stops_of(pieces, events, save_times_s)
    count, size = int(saved.sum()), work.state.size
    states, rates, fasts = np.zeros((count, size)), np.zeros((count, size)), np.zeros((count, n.N_FAST))
    diagnostics, summary = np.zeros((count, N_DIAGNOSTICS)), np.zeros(N_SUMMARIES)
    planned, steps = plan_steps(runner, with_legs(pieces, pacing), rows[None], method, stages, step_s)
    status = integrate(
        runner[0], pieces, rows, rows.size, events, stops, saved, method, TABLES[planned[0]], steps[0], first_step_s,
        limit_C, site, work, pacing, states, rates, fasts, diagnostics, summary,
    )  # fmt: skip
    times = stops[saved == 1]
    if not pacing.rule[0]["active"]:
        return Trajectory(times, states, rates, fasts, diagnostics, summary, int(status))
    if status == n.DONE and not np.isnan(pacing.pace[ENDED_S]):  # it ended before its time: the rest was not reached
        kept = int(pacing.pace[SAVED])
        times = np.append(times[: kept - 1], pacing.pace[ENDED_S])
        states, rates, fasts, diagnostics = (array[:kept] for array in (states, rates, fasts, diagnostics))
    return Trajectory(times, states, rates, fasts, diagnostics, summary, int(status), pacing)


def settle(runner) -> Work:
    """Bring one body to rest in mild air; return its state with empty books.

    Every run starts from here, so that layers and segments have the temperatures the model itself keeps.

    Raises
    ------
    NumericalFailure
        When not even rest can be computed for this body.
    """
    states, fasts = before_settling(runner)
    work = new_work(0)
    work.state[:], work.fast[:] = states[0], fasts[0]
    rest = _integrate(
        work,
        runner,
        settling_pieces(),
        NO_ROWS,
        NO_EVENTS,
        (),
        99.0,
        SITE_CORE,
        METHOD,
        None,
        STEP_S,
        FIRST_STEP_S,
        new_pacing(),
    )
    if rest.status != n.DONE:
        raise NumericalFailure(f"Rest before the run stopped: {n.STATUS_SENTENCES[rest.status]}.")
    states, fasts = with_empty_books(work.state[None], work.fast[None])
    start = new_work(0)
    start.state[:], start.fast[:] = states[0], fasts[0]
    return start
