"""Explicit step methods. They know no physics: a right-hand side, a state, a step.

``HEUN`` and ``RK4`` are the classical ones; ``RKC2`` is the stabilised second-order Runge–Kutta–Chebyshev method,
whose coefficients are data computed once per number of stages. All preserve linear invariants, so the books close
to rounding.

References
----------
Sommeijer, Shampine & Verwer 1997, J Comput Appl Math 88:315 (coefficients of RKC, second order).
"""

import numpy as np

from thermosim._jit import compiled, fold
from thermosim.engine.balance import balance

HEUN, RK4, RKC2 = range(3)
METHOD_NAMES = ("heun", "rk4", "rkc2")
DAMPING = 2.0 / 13.0
balance_in_place = fold(balance)


def chebyshev_coefficients(stages: int) -> np.ndarray:
    """Return rows (mu, nu, mu_tilde, gamma_tilde) of RKC2 for stages 1..s; row 0 holds mu_tilde_1 only.

    Parameters
    ----------
    stages : int
        Number of stages, 2 or more; stability reaches about ``0.65 (s^2 - 1)`` along the negative real axis.
    """
    s = stages
    w0 = 1.0 + DAMPING / s**2
    t, dt, d2t = np.zeros(s + 1), np.zeros(s + 1), np.zeros(s + 1)
    t[0], t[1], dt[1] = 1.0, w0, 1.0
    for j in range(2, s + 1):
        t[j] = 2 * w0 * t[j - 1] - t[j - 2]
        dt[j] = 2 * w0 * dt[j - 1] - dt[j - 2] + 2 * t[j - 1]
        d2t[j] = 2 * w0 * d2t[j - 1] - d2t[j - 2] + 4 * dt[j - 1]
    w1 = dt[s] / d2t[s]
    b = np.zeros(s + 1)
    b[2:] = d2t[2:] / dt[2:] ** 2
    b[0] = b[1] = b[2]
    table = np.zeros((s, 4))
    table[0, 2] = b[1] * w1
    for j in range(2, s + 1):
        mu_tilde = 2.0 * b[j] * w1 / b[j - 1]
        table[j - 1] = (
            2.0 * b[j] * w0 / b[j - 1],
            -b[j] / b[j - 2],
            mu_tilde,
            -(1.0 - b[j - 1] * t[j - 1]) * mu_tilde,
        )
    return table


def stability_limit(method: int, stages: int) -> float:
    """Largest ``step * |eigenvalue|`` on the negative real axis that the method damps."""
    if method == HEUN:
        return 2.0
    if method == RK4:
        return 2.785
    return (2.0 / 3.0) * (stages**2 - 1) * (1.0 - 2.0 / 15.0 * DAMPING)


@fold
def advance(method, table, h, size, state, stages, heat, step, seg, runner, rows, active, n_rows):
    """Advance ``state`` in place by one step of ``h`` seconds."""
    if method == RKC2:
        advance_chebyshev(table, h, size, state, stages, heat, step, seg, runner, rows, active, n_rows)
    elif method == RK4:
        advance_rk4(h, size, state, stages, heat, step, seg, runner, rows, active, n_rows)
    else:
        advance_heun(h, size, state, stages, heat, step, seg, runner, rows, active, n_rows)


@compiled
def advance_heun(h, size, state, stages, heat, step, seg, runner, rows, active, n_rows):
    """Heun's method: two evaluations, second order."""
    first, trial, second = stages[0], stages[1], stages[2]
    balance(state, first, heat, step, seg, runner, rows, active, n_rows)
    for i in range(size):
        trial[i] = state[i] + h * first[i]
    balance(trial, second, heat, step, seg, runner, rows, active, n_rows)
    for i in range(size):
        state[i] += 0.5 * h * (first[i] + second[i])


@compiled
def advance_rk4(h, size, state, stages, heat, step, seg, runner, rows, active, n_rows):
    """Classical Runge–Kutta: four evaluations, fourth order."""
    total, trial, slope = stages[0], stages[1], stages[2]
    balance(state, slope, heat, step, seg, runner, rows, active, n_rows)
    for i in range(size):
        total[i] = slope[i]
        trial[i] = state[i] + 0.5 * h * slope[i]
    balance(trial, slope, heat, step, seg, runner, rows, active, n_rows)
    for i in range(size):
        total[i] += 2.0 * slope[i]
        trial[i] = state[i] + 0.5 * h * slope[i]
    balance(trial, slope, heat, step, seg, runner, rows, active, n_rows)
    for i in range(size):
        total[i] += 2.0 * slope[i]
        trial[i] = state[i] + h * slope[i]
    balance(trial, slope, heat, step, seg, runner, rows, active, n_rows)
    for i in range(size):
        state[i] += h / 6.0 * (total[i] + slope[i])


@fold
def advance_chebyshev(table, h, size, state, stages, heat, step, seg, runner, rows, active, n_rows):
    """Stabilised second-order method with as many evaluations as ``table`` has filled rows."""
    first, slope, before, now, after = stages[0], stages[1], stages[2], stages[3], stages[4]
    balance_in_place(state, first, heat, step, seg, runner, rows, active, n_rows)
    for i in range(size):
        before[i] = state[i]
        now[i] = state[i] + table[0, 2] * h * first[i]
    for j in range(1, table.shape[0]):
        if table[j, 2] == 0.0:  # a shorter method in a padded table
            break
        mu, nu, mu_h, gamma_h = table[j, 0], table[j, 1], table[j, 2] * h, table[j, 3] * h
        balance_in_place(now, slope, heat, step, seg, runner, rows, active, n_rows)
        for i in range(size):
            after[i] = (
                (1.0 - mu - nu) * state[i]
                + mu * now[i]
                + nu * before[i]
                + mu_h * slope[i]
                + gamma_h * first[i]
            )
        before, now, after = now, after, before
    for i in range(size):
        state[i] = now[i]
