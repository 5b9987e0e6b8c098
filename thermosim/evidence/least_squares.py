"""Weighted least squares with priors, bounds and marginalised study conditions: numerics only.

A *study* is a block of measured numbers with standard deviations and, where a paper leaves a condition blank, how much each
number moves with that condition. The blank is integrated out linearly: the covariance of the block is

    V = diag(sigma²) + B diag(sd²) Bᵀ,

and residuals are whitened with its Cholesky factor. That is the same as fitting every blank along with the parameters, with
its own normal prior. The prior of the parameters adds one residual each, (u - mean) / sd. *Cost* is the sum of all squares.

A parameter counts as *determined* when its standard error from data and prior together is below
``DETERMINED_SHARE`` of the prior's standard deviation.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import least_squares

from thermosim.evidence.refit import refine

STEP = 3e-2  # of a finite difference, in standard deviations of the prior
DETERMINED_SHARE = 0.7
AT_BOUND = 1e-3  # closer than this share of the allowed range counts as at the bound

Predict = Callable[[list[np.ndarray]], list[dict[str, np.ndarray]]]


@dataclass(frozen=True)
class Prior:
    """Independent normal priors with bounds, on the scale of the search; one entry a parameter."""

    names: tuple[str, ...]
    mean: np.ndarray
    sd: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def inside(self, position: np.ndarray, margin: float = 0.0) -> np.ndarray:
        """Return the position moved to the bounds, or a share ``margin`` of the range inside them."""
        width = margin * (self.high - self.low)
        return np.clip(position, self.low + width, self.high - width)


@dataclass(frozen=True)
class Study:
    """Measured numbers that are left out together.

    Parameters
    ----------
    name : str
        Key of this block in what ``predict`` returns.
    measured, sigma : array (outcomes,)
        Values and their standard deviations.
    sensitivities : array (outcomes, blanks), optional
        Change of each outcome per unit of each blank condition.
    blank_sd : array (blanks,), optional
        Standard deviation of each blank's prior.
    """

    name: str
    measured: np.ndarray
    sigma: np.ndarray
    sensitivities: np.ndarray | None = None
    blank_sd: np.ndarray | None = None

    @cached_property
    def factor(self) -> np.ndarray:
        """Lower Cholesky factor of the covariance of the block."""
        covariance = np.diag(np.asarray(self.sigma, dtype=float) ** 2)
        if self.sensitivities is not None and self.blank_sd is not None:
            moved = self.sensitivities * self.blank_sd
            covariance = covariance + moved @ moved.T
        return np.linalg.cholesky(covariance)

    def residual(self, predicted: np.ndarray) -> np.ndarray:
        """Whitened predicted minus measured."""
        difference = np.asarray(predicted, dtype=float) - self.measured
        return solve_triangular(self.factor, difference, lower=True, check_finite=False)


def flattened(residual: np.ndarray, scale: float | None) -> np.ndarray:
    """Return residuals whose squares are ``2 s² (sqrt(1 + (r/s)²) - 1)``: the soft absolute loss at scale ``s``.

    Examples
    --------
    >>> [round(float(r), 2) for r in flattened(np.array([0.1, 20.0]), 2.0)]
    [0.1, 8.51]
    """
    if scale is None:
        return residual
    ratio = residual / scale
    return np.sign(residual) * scale * np.sqrt(2.0 * (np.sqrt(1.0 + ratio**2) - 1.0))


@dataclass
class Problem:
    """Priors, studies and the function that predicts them for many positions at once.

    With ``robust`` a whitened residual counts by its square up to about that size and linearly beyond, so that one
    runaway experiment does not outvote the others.
    """

    prior: Prior
    studies: Sequence[Study]
    predict: Predict
    robust: float | None = None
    evaluations: int = field(default=0, init=False)

    @cached_property
    def rows(self) -> dict[str, slice]:
        """Where each study's residuals stand."""
        ends = np.cumsum([len(study.measured) for study in self.studies])
        return {
            study.name: slice(int(end) - len(study.measured), int(end))
            for study, end in zip(self.studies, ends)
        }

    def residuals(self, positions: list[np.ndarray]) -> list[np.ndarray]:
        """Return the whitened residuals of all studies at each position, priors not included."""
        self.evaluations += len(positions)
        return [
            flattened(np.concatenate([study.residual(found[study.name]) for study in self.studies]), self.robust)
            for found in self.predict(positions)
        ]

    def prior_residual(self, position: np.ndarray) -> np.ndarray:
        """Return the distance from the prior mean in standard deviations."""
        return (position - self.prior.mean) / self.prior.sd

    def jacobian(self, position: np.ndarray, residual: np.ndarray, *, central: bool = False) -> np.ndarray:
        """Return the Jacobian of :meth:`residuals` by finite differences, all positions evaluated in one call.

        Differences are one-sided away from a bound that is too close, and where a prediction on one side is no number.

        Raises
        ------
        FloatingPointError
            Predictions on both sides of the position are not finite numbers.
        """
        prior, step = self.prior, STEP * self.prior.sd
        inside = {+1: position + step <= prior.high, -1: position - step >= prior.low}
        sides = [(k, +1) for k in np.flatnonzero(inside[+1])]
        sides += [(k, -1) for k in np.flatnonzero(inside[-1] & (central | ~inside[+1]))]
        slopes = self._slopes(position, residual, step, sides)
        missing = [k for k in range(position.size) if k not in slopes]
        if missing:
            untried = [(k, -1) for k in missing if inside[-1][k] and (k, -1) not in sides]
            slopes |= self._slopes(position, residual, step, untried)
        for k in missing:
            if k not in slopes:
                name = prior.names[k]
                raise FloatingPointError(
                    f"predictions beside {name} = {position[k]:.6g} are not finite numbers"
                )
        return np.column_stack([np.mean(slopes[k], axis=0) for k in range(position.size)])

    def _slopes(self, position, residual, step, sides) -> dict[int, list[np.ndarray]]:
        """Difference quotients by coordinate, of those sides where every prediction is a finite number."""
        found: dict[int, list[np.ndarray]] = {}
        unit = np.eye(position.size)
        moved = self.residuals([position + sign * step[k] * unit[k] for k, sign in sides]) if sides else []
        for (k, sign), there in zip(sides, moved):
            if np.isfinite(there).all():
                found.setdefault(int(k), []).append((there - residual) / (sign * step[k]))
        return found


@dataclass(frozen=True)
class Fit:
    """An optimum and what is known about it; all on the scale of the search."""

    position: np.ndarray
    cost: float
    cost_by_study: dict[str, float]
    prior_cost: float
    residual: np.ndarray
    jacobian: np.ndarray  # of the studies' whitened residuals
    covariance: np.ndarray
    standard_error: np.ndarray
    correlation: np.ndarray
    determined: np.ndarray  # bool
    at_bound: tuple[str, ...]  # "no", "low", "high"
    evaluations: int


def minimise(
    problem: Problem, start: np.ndarray, *, most: int = 40, tolerance: float = 1e-5, tell=None
) -> np.ndarray:
    """Return the position of least cost found from a start.

    Parameters
    ----------
    problem : Problem
    start : array
        Moved just inside the bounds if need be.
    most : int
        Most trial positions, those of the Jacobians not counted.
    tolerance : float
        Relative change of cost, or of position, that ends the search.
    tell : callable, optional
        Called with (cost, positions evaluated so far) at every accepted position.

    Raises
    ------
    FloatingPointError
        Predictions at or beside an accepted position are not finite.
    """
    prior = problem.prior
    latest: dict[bytes, np.ndarray] = {}

    def data_residual(position):
        if position.tobytes() not in latest:
            found = problem.residuals([position])[0]
            latest.clear()
            latest[position.tobytes()] = found
        return latest[position.tobytes()]

    def whole(position):
        return np.concatenate([data_residual(position), problem.prior_residual(position)])

    def slopes(position):
        residual = data_residual(position)
        if tell is not None:
            tell(
                float(residual @ residual + (problem.prior_residual(position) ** 2).sum()),
                problem.evaluations,
            )
        return np.vstack([problem.jacobian(position, residual), np.diag(1.0 / prior.sd)])

    begin = prior.inside(np.asarray(start, dtype=float), 1e-3)
    lost = [name for name, rows in problem.rows.items() if not np.isfinite(data_residual(begin)[rows]).all()]
    if lost:
        raise FloatingPointError(f"predictions of {', '.join(lost)} at the start are not finite numbers")
    found = least_squares(
        whole, begin, slopes, bounds=(prior.low, prior.high), method="trf", x_scale=prior.sd,
        ftol=tolerance, xtol=tolerance, gtol=1e-10, max_nfev=most,
    )  # fmt: skip
    return found.x


def describe(problem: Problem, position: np.ndarray, *, polish: bool = True) -> Fit:
    """Finish an optimum with a central Jacobian and say what the data determine there.

    Parameters
    ----------
    problem : Problem
    position : array
        Where a search ended.
    polish : bool
        Take up to four more Gauss-Newton steps first; these reach bounds exactly.
    """
    prior = problem.prior
    residual = problem.residuals([position])[0]
    jacobian = problem.jacobian(position, residual, central=True)
    if polish:
        ended = refine(problem, position, residual, jacobian, [np.ones(residual.size, dtype=bool)])[0]
        if np.abs((ended - position) / prior.sd).max() > 0.1 * STEP:
            position, residual = ended, problem.residuals([ended])[0]
            jacobian = problem.jacobian(position, residual, central=True)
    information = jacobian.T @ jacobian + np.diag(prior.sd**-2.0)
    scaled = cho_factor(information * np.outer(prior.sd, prior.sd))
    covariance = cho_solve(scaled, np.eye(prior.sd.size)) * np.outer(prior.sd, prior.sd)
    error = np.sqrt(np.diag(covariance))
    near = AT_BOUND * (prior.high - prior.low)
    by_study = {name: float(residual[rows] @ residual[rows]) for name, rows in problem.rows.items()}
    prior_cost = float((problem.prior_residual(position) ** 2).sum())
    return Fit(
        position=position,
        cost=sum(by_study.values()) + prior_cost,
        cost_by_study=by_study,
        prior_cost=prior_cost,
        residual=residual,
        jacobian=jacobian,
        covariance=covariance,
        standard_error=error,
        correlation=covariance / np.outer(error, error),
        determined=error < DETERMINED_SHARE * prior.sd,
        at_bound=tuple(
            "low" if u - low <= gap else "high" if high - u <= gap else "no"
            for u, low, high, gap in zip(position, prior.low, prior.high, near)
        ),
        evaluations=problem.evaluations,
    )
