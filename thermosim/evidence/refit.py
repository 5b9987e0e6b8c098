"""Gauss-Newton from one known optimum for many choices of the data at once: refits without one study after the other."""

import numpy as np
from scipy.optimize import lsq_linear

STEP_LENGTHS = (1.0, 0.5, 0.25, 0.1, 0.04)  # tried together
SMALL_GAIN = 1e-7  # relative fall of the cost that ends a walk


def refine(
    problem, start, residual, jacobian, kept: list[np.ndarray], iterations: int = 4
) -> list[np.ndarray]:
    """Gauss-Newton from one known point, for several choices of the rows that count, evaluated side by side.

    Each choice begins with the Jacobian given and corrects it after every step by the change of residuals that was seen
    (Broyden's rank-one rule), so only positions along the way are evaluated. Steps stay inside the bounds; each is
    tried at several lengths, and taken only if the cost falls.

    Parameters
    ----------
    problem : thermosim.evidence.least_squares.Problem
    start, residual, jacobian : array
        A position, the studies' whitened residuals there, and their Jacobian.
    kept : list of bool array
        Rows of the residuals that count, one array a choice.
    iterations : int
        Most steps of a choice.

    Returns
    -------
    list of array
        One position a choice.
    """
    walks = [_Walk(problem, start, residual, jacobian, rows) for rows in kept]
    for _ in range(iterations):
        active = [walk for walk in walks if walk.active]
        if not active:
            break
        tried = [walk.trials() for walk in active]
        found = problem.residuals([position for trials in tried for position in trials])
        for n, (walk, trials) in enumerate(zip(active, tried)):
            walk.take(trials, found[n * len(STEP_LENGTHS) : (n + 1) * len(STEP_LENGTHS)])
    return [walk.position for walk in walks]


class _Walk:
    """One choice of rows on its way to its optimum."""

    def __init__(self, problem, start, residual, jacobian, rows):
        self.problem, self.rows, self.active = problem, rows, True
        self.position, self.residual, self.jacobian = start.copy(), residual, jacobian.copy()
        self.cost = self._cost(start, residual)

    def _cost(self, position, residual):
        counted = residual[self.rows]
        return float(counted @ counted + (self.problem.prior_residual(position) ** 2).sum())

    def trials(self):
        """Positions along the bounded Gauss-Newton step."""
        prior = self.problem.prior
        matrix = np.vstack([self.jacobian[self.rows] * prior.sd, np.eye(prior.sd.size)])
        wanted = -np.concatenate([self.residual[self.rows], self.problem.prior_residual(self.position)])
        room = (prior.low - self.position) / prior.sd, (prior.high - self.position) / prior.sd
        # A hair of room keeps the linear solver from refusing a coordinate that sits exactly on its bound.
        step = lsq_linear(matrix, wanted, (room[0] - 1e-12, room[1] + 1e-12), method="bvls").x * prior.sd
        return [prior.inside(self.position + length * step) for length in STEP_LENGTHS]

    def take(self, trials, found):
        """Move to the best trial if it is better, and correct the Jacobian by what was seen on the way there."""
        costs = [self._cost(p, r) if np.isfinite(r).all() else np.inf for p, r in zip(trials, found)]
        best = int(np.argmin(costs))
        if not costs[best] < self.cost:
            self.active = False
            return
        moved = (trials[best] - self.position) / self.problem.prior.sd
        surprise = found[best] - self.residual - self.jacobian @ (trials[best] - self.position)
        self.jacobian += np.outer(surprise, moved / self.problem.prior.sd) / (moved @ moved)
        self.active = self.cost - costs[best] > SMALL_GAIN * self.cost
        self.position, self.residual, self.cost = trials[best], found[best], costs[best]


def leave_out(problem, fit, iterations: int = 4) -> dict[str, np.ndarray]:
    """Refit without each study in turn.

    Parameters
    ----------
    problem : thermosim.evidence.least_squares.Problem
    fit : thermosim.evidence.least_squares.Fit
        The full optimum, with its Jacobian, where every refit begins.
    iterations : int
        Most steps of a refit.

    Returns
    -------
    dict
        Name of the study left out -> position.
    """
    kept = []
    for rows in problem.rows.values():
        mask = np.ones(fit.residual.size, dtype=bool)
        mask[rows] = False
        kept.append(mask)
    found = refine(problem, fit.position, fit.residual, fit.jacobian, kept, iterations)
    return dict(zip(problem.rows, found))
