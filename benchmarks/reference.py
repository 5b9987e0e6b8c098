"""A general-purpose solver on the engine's own compiled right-hand side: the reference for accuracy and for speed.

The solver goes from breakpoint to breakpoint (pieces of effort and weather, device events), so that it never steps
over a jump. Fast states, which the engine updates in closed form, are integrated along with the rest.
"""

from typing import NamedTuple

import numpy as np

from thermosim._jit import compiled
from thermosim.engine import nodes as n
from thermosim.engine import run
from thermosim.engine.balance import balance, mean_skin, trunk_core
from thermosim.engine.integrate import apply_event
from thermosim.engine.prepare import fast_rate, power_demand, prepare, prepare_body, work_rate


class Reference(NamedTuple):
    """Samples of a reference solution."""

    time_s: np.ndarray  # (k,)
    states: np.ndarray  # (k, size)
    fasts: np.ndarray  # (k, N_FAST)
    core_C: np.ndarray  # (k,)
    skin_C: np.ndarray  # (k,)
    evaluations: int


@compiled
def joint_rate(time_s, joint, out, size, heat, seg, active, runner, piece, rows, n_rows):
    """Time derivative of thermal and fast states together, at any time of a piece."""
    state, fast = joint[:size], joint[size:]
    metabolic = fast[n.OXYGEN_FAST] + fast[n.OXYGEN_SLOW]
    step = prepare(
        seg, runner, piece, time_s, metabolic, work_rate(state, piece, runner, rows, active, n_rows), rows, active, n_rows
    )
    balance(state, out[:size], heat, step, seg, runner, rows, active, n_rows)
    demand = power_demand(state, piece, runner, rows, active, n_rows, time_s)
    fast_rate(fast, demand, piece, runner, out[size:])


def absolute_tolerance(n_rows: int, rtol: float) -> np.ndarray:
    """``rtol`` times what is usual for each kind of state: 1 K, grams of water, kilojoules and so on."""
    scale = np.full(n.BASE + n_rows * n.ROW_SIZE + n.N_FAST, 1.0)
    scale[n.FILM : n.LOST] = 0.01
    scale[n.LOST] = scale[n.SWEAT : n.BASE] = 0.1
    scale[n.JOULES : n.JOULES_WATER + 1] = 1e4
    for base in range(n.BASE, scale.size - n.N_FAST, n.ROW_SIZE):
        scale[base : base + n.ROW_SIZE] = 0.01
        scale[[base + n.PATCH_C, base + n.OUTER_C]] = 1.0
        scale[
            [base + n.STORE_J, *range(base + n.FROM_SKIN, base + n.RUN_OFF + 1), base + n.ROW_CHARGED_J]
        ] = 1e3
    scale[-n.N_FAST :] = (100.0, 10.0, 10.0, 1000.0, 100.0)
    return rtol * scale


def solve(
    runner,
    pieces,
    rows=run.NO_ROWS,
    events=run.NO_EVENTS,
    save_times_s=(),
    *,
    start,
    rtol: float = 1e-10,
    method: str = "LSODA",
) -> Reference:
    """Integrate one run with ``scipy.integrate.solve_ivp``; arguments as those of ``engine.run.run``.

    Parameters
    ----------
    rtol : float
        Relative tolerance; the absolute one follows it, see :func:`absolute_tolerance`.
    method : str
        Any method of ``solve_ivp``.

    Returns
    -------
    Reference
        Samples at ``save_times_s``; at an event, the state after it.
    """
    from scipy.integrate import solve_ivp

    person, n_rows, work = runner[0], rows.size, run.new_work(rows.size)
    run.start_rows(work, start, rows)
    prepare_body(work.seg, person, rows, work.active, n_rows)
    size, out, atol = work.state.size, np.zeros(work.state.size + n.N_FAST), absolute_tolerance(n_rows, rtol)
    breaks, _ = run.stops_of(pieces, events, [])
    wanted, _ = run.stops_of(pieces, events, save_times_s)
    joint, evaluations, taken = np.concatenate([work.state, work.fast]), 0, {}
    for number, time_s in enumerate(breaks):
        for event in events[np.abs(events["time_s"] - time_s) < 1e-6]:
            apply_event(joint[:size], event, rows, work.active, n_rows, work.seg, person, work.heat)
        taken[time_s] = (joint.copy(), work.active.copy())
        if number + 1 == breaks.size:
            break
        until = breaks[number + 1]
        piece = pieces[np.searchsorted(pieces["end_s"], time_s + 1e-6)]

        def rate(t, y, piece=piece):
            joint_rate(t, y, out, size, work.heat, work.seg, work.active, person, piece, rows, n_rows)
            return out.copy()

        inside = wanted[(wanted > time_s) & (wanted <= until)]
        solution = solve_ivp(rate, (time_s, until), joint, method=method, t_eval=inside, rtol=rtol, atol=atol)
        if not solution.success:
            raise RuntimeError(f"the reference solver stopped at {solution.t[-1]:.1f} s: {solution.message}")
        evaluations += solution.nfev
        for t, column in zip(inside, solution.y.T, strict=True):
            taken[t] = (column.copy(), work.active.copy())
        joint = solution.y[:, -1].copy()
    times = (
        np.array(sorted(t for t in taken if np.abs(np.asarray(save_times_s) - t).min() < 1e-6))
        if len(save_times_s)
        else breaks
    )
    states, cores, skins = [], [], []
    for t in times:
        y, active = taken[t]
        prepare_body(work.seg, person, rows, active, n_rows)
        states.append(y)
        cores.append(trunk_core(y[:size], work.seg))
        skins.append(mean_skin(y[:size], rows, active, n_rows, work.seg, person["surface_area_m2"]))
    states = np.array(states)
    return Reference(times, states[:, :size], states[:, size:], np.array(cores), np.array(skins), evaluations)
