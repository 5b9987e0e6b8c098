"""Many runs of the same kernel over threads: summaries, and a few columns at coarse times; memory per run is constant."""

from typing import NamedTuple

import numba
import numpy as np

from thermosim._jit import compiled_parallel
from thermosim.engine import nodes as n
from thermosim.engine import run as single
from thermosim.engine.integrate import (
    D_CORE,
    D_HEART,
    D_SKIN,
    N_DIAGNOSTICS,
    N_SUMMARIES,
    SITE_CORE,
    integrate,
)
from thermosim.engine.pacing import N_CAP_EVENT, N_LOOK, N_PACE
from thermosim.engine.plan import FIRST_STEP_S, METHOD, STEP_S, TABLES, plan_steps, stops_of, with_legs
from thermosim.engine.records import PIECE, ROW, Pacing, Work
from thermosim.engine.start import before_settling, settling_pieces, with_empty_books

# Columns kept at each save time: whole-body readings, then sums over device rows.
(
    T_CORE,
    T_SKIN,
    T_HEART,
    T_SWEAT,
    T_LOST,
    T_STORE_J,
    T_FROM_SKIN,
    T_FROM_AIR,
    T_FROM_VAPOUR,
    T_RUN_OFF,
    T_CONDENSED,
    T_SKIN_W,
    T_AIR_W,
    T_VAPOUR_W,
    T_PATCH_C,
    T_SHADED,
    T_LANDED,
) = range(17)
N_TRACES = 17
MOST_KEPT = 60  # cap events of each run; further ones are counted only


class Batch(NamedTuple):
    """What a batch returns; the first axis is the run."""

    time_s: np.ndarray  # (k,)
    summaries: np.ndarray  # (runs, N_SUMMARIES)
    traces: np.ndarray  # (runs, k, N_TRACES)
    statuses: np.ndarray  # (runs,)
    states: np.ndarray  # (runs, size) at the end
    fasts: np.ndarray  # (runs, N_FAST) at the end
    paces: np.ndarray  # (runs, N_PACE), what the rule remembers; zeros without one
    cap_events: np.ndarray  # (runs, most, N_CAP_EVENT), the first cap events of each; none are kept without a rule
    leg_starts: np.ndarray  # (runs, legs + 1, 3), as in Pacing: when and where legs begin, time over the cap until then


@compiled_parallel
def integrate_many(
    runners,
    pieces,
    rows,
    n_rows,
    counted,
    events,
    stops,
    saved,
    method,
    tables,
    steps_s,
    first_step_s,
    limits_C,
    site,
    states,
    fasts,
    works_heat,
    works_seg,
    works_active,
    works_stages,
    rules,
    legs,
    leg_events,
    works_now,
    paces,
    cap_events,
    works_looks,
    leg_starts,
    sample_states,
    sample_rates,
    sample_fasts,
    sample_diagnostics,
    summaries,
    traces,
    statuses,
):
    """Run every runner; each worker owns one slice of the work arrays. Same arithmetic as a single run."""
    workers = works_heat.shape[0]
    for worker in numba.prange(workers):
        for i in range(worker, runners.size, workers):
            works_active[worker][:] = 0
            works_heat[worker][:, :] = 0.0
            work = Work(
                states[i],
                fasts[i],
                works_heat[worker],
                works_seg[worker],
                works_active[worker],
                works_stages[worker],
            )
            statuses[i] = integrate(
                runners[i],
                pieces,
                rows[i],
                n_rows,
                events,
                stops,
                saved,
                method,
                tables[i],
                steps_s[i],
                first_step_s,
                limits_C[i],
                site,
                work,
                Pacing(
                    rules[i : i + 1], legs, leg_events, works_now[worker], paces[i], cap_events[i], works_looks,
                    leg_starts[i],
                ),  # fmt: skip
                sample_states[worker],
                sample_rates[worker],
                sample_fasts[worker],
                sample_diagnostics[worker],
                summaries[i],
            )
            for k in range(traces.shape[1]):
                state, rate, d = (
                    sample_states[worker, k],
                    sample_rates[worker, k],
                    sample_diagnostics[worker, k],
                )
                out = traces[i, k]
                out[T_CORE], out[T_SKIN], out[T_HEART] = d[D_CORE], d[D_SKIN], d[D_HEART]
                out[T_SWEAT], out[T_LOST] = state[n.SWEAT], state[n.LOST]
                out[T_LANDED] = state[n.RECEIVED]
                out[T_PATCH_C] = 99.0
                for r in range(counted):
                    base = n.BASE + r * n.ROW_SIZE
                    out[T_STORE_J] += state[base + n.STORE_J]
                    out[T_FROM_SKIN] += state[base + n.FROM_SKIN]
                    out[T_FROM_AIR] += state[base + n.FROM_AIR]
                    out[T_FROM_VAPOUR] += state[base + n.FROM_VAPOUR]
                    out[T_RUN_OFF] += state[base + n.RUN_OFF]
                    out[T_SHADED] += state[base + n.SHADED]
                    out[T_CONDENSED] += state[base + n.ROW_CONDENSED]
                    out[T_SKIN_W] += rate[base + n.FROM_SKIN] + rate[base + n.RUN_OFF]
                    out[T_AIR_W] += rate[base + n.FROM_AIR]
                    out[T_VAPOUR_W] += rate[base + n.FROM_VAPOUR]
                    out[T_PATCH_C] = min(out[T_PATCH_C], state[base + n.PATCH_C])


def run_batch(
    runners,
    pieces,
    rows=None,
    events=single.NO_EVENTS,
    save_times_s=(),
    *,
    start_states,
    start_fasts,
    limits_C=99.0,
    site=SITE_CORE,
    method=METHOD,
    stages=None,
    step_s=STEP_S,
    first_step_s=FIRST_STEP_S,
    workers=None,
    rules=None,
    legs=single.NO_LEGS,
    leg_events=single.NO_EVENTS,
    counted=None,
) -> Batch:
    """Integrate many runners through the same pieces and events.

    Parameters
    ----------
    runners : array of RUNNER, shape (runs,)
        Members; what differs between them (body, parameters, shifts of the air) is in their records.
    pieces, events : arrays of PIECE and EVENT
        Shared by all: common random numbers need common forcing.
    rows : array of ROW, shape (runs, n_rows), optional
        Each member's own device rows.
    save_times_s : array_like
        Coarse times at which ``traces`` are kept; none for summaries only.
    start_states, start_fasts : arrays (runs, BASE), (runs, N_FAST)
        Settled starts, from :func:`settle_many`.
    limits_C : float or array (runs,)
        Core limit of each member [°C].
    workers : int, optional
        Threads; the numbers do not depend on it.
    rules, legs, leg_events : arrays of RULE (1,) or (runs,), LEG and EVENT
        A pacing rule, one for all or one for each, and the legs it acts on; see :func:`thermosim.engine.run.run`. A member
        that is done or stopped stands until the pieces end.

    counted : int, optional
        The first rows whose sums stand in the traces: a variant's own, without those of the blocks, which every arm has. All.

    Returns
    -------
    Batch
        With a status for each run; a failed run does not stop the others.
    """
    count = runners.size
    table = rows if rows is not None else np.zeros((count, 0), dtype=ROW)
    n_rows = table.shape[1]
    size = n.BASE + n_rows * n.ROW_SIZE
    states, fasts = np.zeros((count, size)), np.array(start_fasts, dtype=float)
    states[:, : n.BASE] = start_states[:, : n.BASE]
    for r in range(n_rows):
        base = n.BASE + r * n.ROW_SIZE
        states[:, base + n.PATCH_C] = states[np.arange(count), n.SKIN + table["segment"][:, r]]
        states[:, base + n.OUTER_C] = table["charge_C"][:, r]
    stops, saved = stops_of(pieces, events, save_times_s)
    kept = int(saved.sum())
    workers = min(workers or numba.get_num_threads(), max(count, 1))
    rules = np.repeat(single.NO_RULE if rules is None else rules, count if rules is None or rules.size == 1 else 1)
    rules["end_when_done"] = 0  # all members keep samples at the same times
    bound = with_legs(pieces, single.new_pacing(rules[:1], legs))
    planned, steps = plan_steps(runners, bound, table, method, stages, step_s)
    paces, cap_events = np.zeros((count, N_PACE)), np.zeros((count, MOST_KEPT if legs.size else 0, N_CAP_EVENT))
    leg_starts = np.full((count, legs.size + 1, 3), np.nan)
    limits = np.broadcast_to(np.asarray(limits_C, dtype=float), (count,)).copy()
    summaries, traces, statuses = (
        np.zeros((count, N_SUMMARIES)),
        np.zeros((count, kept, N_TRACES)),
        np.zeros(count, dtype=np.int64),
    )
    integrate_many(
        runners,
        pieces,
        table,
        n_rows,
        n_rows if counted is None else counted,
        events,
        stops,
        saved,
        method,
        TABLES[planned],
        steps,
        first_step_s,
        limits,
        site,
        states,
        fasts,
        np.zeros((workers, n.N_TERMS, n.N_COLUMNS)),
        np.zeros((workers, n.N_COEFFICIENTS, n.N_SEGMENTS)),
        np.zeros((workers, n.MAX_ROWS), dtype=np.int64),
        np.zeros((workers, 5, size)),
        rules,
        legs,
        leg_events,
        np.zeros((workers, 1), dtype=PIECE),
        paces,
        cap_events,
        np.zeros((0, N_LOOK)),
        leg_starts,
        np.zeros((workers, kept, size)),
        np.zeros((workers, kept, size)),
        np.zeros((workers, kept, n.N_FAST)),
        np.zeros((workers, kept, N_DIAGNOSTICS)),
        summaries,
        traces,
        statuses,
    )
    return Batch(stops[saved == 1], summaries, traces, statuses, states, fasts, paces, cap_events, leg_starts)


def settle_many(runners, workers=None) -> tuple[np.ndarray, np.ndarray]:
    """Bring every member to rest, as :func:`thermosim.engine.run.settle` does for one; return states and fast states."""
    states, fasts = before_settling(runners)
    batch = run_batch(runners, settling_pieces(), start_states=states, start_fasts=fasts, workers=workers)
    return with_empty_books(batch.states, batch.fasts)
