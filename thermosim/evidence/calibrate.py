"""Calibrate the population parameters once on the published cases.

::

    python -m thermosim.evidence.calibrate [--seed 1] [--starts 3] [--no-left-out] [--write]

Only cases with the role ``fitted`` take part, and of these the outcomes that are scored and have a tolerance. One standard
deviation of an outcome is half its tolerance. A condition that a paper leaves blank has a standard deviation of a
quarter of its range and is integrated out (see ``least_squares``). Nothing is written without ``--write``.
"""

import math
import sys
import time
from collections.abc import Sequence
from typing import Annotated

import numpy as np
import typer

from thermosim.errors import InputError, NumericalFailure
from thermosim.evidence.calibrated_file import (
    FILE,
    calibration_text,
    hash_of_cases,
    rounded_values,
    write_whole,
)
from thermosim.evidence.command import run_command
from thermosim.evidence.free import Free, free_parameters
from thermosim.evidence.least_squares import Fit, Prior, Problem, Study, describe, minimise
from thermosim.evidence.outcomes import blank_sensitivities, predict_many
from thermosim.evidence.read_case import read_cases
from thermosim.evidence.refit import leave_out
from thermosim.parameters import PARAMETERS

SIGMA_OF_TOLERANCE, SD_OF_RANGE = 0.5, 0.25
ROBUST = 4.0  # whitened residual (two tolerances) beyond which an outcome counts linearly
TOLERANCE, MOST_STEPS = 1e-3, 15  # relative fall of the cost at which a search ends, and most steps


def scored(case) -> dict[str, tuple[float, float]]:
    """Return measured value and standard deviation of the outcomes of a case that the fit uses, by outcome id.

    Shares of pairs in order are left out (they move in jumps), as are checks of single laws (no parameter moves them).
    """
    found = {}
    for outcome in case.outcomes():
        if outcome.kind in ("order", "law"):
            continue
        measured = outcome.object[1] if outcome.kind == "measured" else outcome.object.measured
        if measured.score and measured.tolerance:
            found[outcome.id] = (measured.value, SIGMA_OF_TOLERANCE * measured.tolerance)
    return found


class Cases:
    """The fitted cases as blocks of numbers, and their predictions on the scale of the search."""

    def __init__(self, cases: Sequence, free: Sequence[Free]):
        self.free = free
        self.wanted = {case.id: scored(case) for case in cases}
        self.cases = [case for case in cases if self.wanted[case.id]]
        self.studies: dict[str, list] = {}
        for case in self.cases:
            self.studies.setdefault(case.study, []).append(case)

    def ids(self, study: str) -> list[str]:
        """Return the outcome ids of a study, in the order of its numbers."""
        return [name for case in self.studies[study] for name in self.wanted[case.id]]

    def overrides(self, position) -> dict[str, float]:
        """Return the parameter values at a position of the search."""
        return {one.name: one.from_search(place) for one, place in zip(self.free, position)}

    def predict(self, positions: list[np.ndarray]) -> list[dict[str, np.ndarray]]:
        """Predict every study at each position, blanks at their centre."""
        results = predict_many(self.cases, [self.overrides(position) for position in positions])
        return [
            {study: np.array([found[name] for name in self.ids(study)]) for study in self.studies}
            for found in results
        ]

    def blocks(self, position) -> list[Study]:
        """Return the studies with the sensitivity to their blanks taken at a position.

        Raises
        ------
        NumericalFailure
            An outcome is no number at one end of a blank.
        """
        slopes = blank_sensitivities(self.cases, self.overrides(position))
        blocks = []
        for study, cases in self.studies.items():
            ids = self.ids(study)
            asked = [(case, blank) for case in cases for blank in case.blanks]
            columns = [
                [slopes[case.id][i][blank.name] if i in self.wanted[case.id] else 0.0 for i in ids]
                for case, blank in asked
            ]
            for (case, blank), column in zip(asked, columns):
                if not np.isfinite(column).all():
                    problem = f"an outcome is no number at one end of the blank {blank.name}"
                    raise NumericalFailure(f"Case {case.id}: {problem}.")
            measured, sigma = np.array([pair for case in cases for pair in self.wanted[case.id].values()]).T
            sds = np.array([SD_OF_RANGE * (blank.high - blank.low) for _, blank in asked])
            blocks.append(Study(study, measured, sigma, np.array(columns).reshape(-1, len(ids)).T, sds))
        return blocks


def prior_of(free: Sequence[Free]) -> Prior:
    """Return the priors on the scale of the search."""
    bounds = np.array([[one.to_search(end) for end in one.bounds] for one in free])
    return Prior(
        names=tuple(one.name for one in free),
        mean=np.array([one.to_search(one.prior) for one in free]),
        sd=np.array([one.search_sd for one in free]),
        low=bounds[:, 0],
        high=bounds[:, 1],
    )


def start_points(prior: Prior, count: int, seed: int) -> list[np.ndarray]:
    """Return the prior's mean and ``count - 1`` draws from the prior, inside the bounds."""
    rng = np.random.default_rng(seed)
    draws = [prior.mean + prior.sd * rng.normal(size=prior.sd.size) for _ in range(count - 1)]
    return [prior.mean, *(prior.inside(draw, 0.02) for draw in draws)]


class Progress:
    """Lines on the screen with the seconds since the beginning."""

    def __init__(self):
        self.begun = time.perf_counter()

    def __call__(self, text: str) -> None:
        """Print one line."""
        print(f"{time.perf_counter() - self.begun:8.1f} s  {text}", flush=True)

    def of(self, label: str):
        """Return the function that a search calls at every accepted position."""
        return lambda cost, evaluations: self(f"{label}: cost {cost:.3f}, {evaluations} parameter sets run")


def best_of_starts(problem: Problem, starts: list[np.ndarray], say: Progress) -> np.ndarray:
    """Search from every start; say how far apart the ends are; return the best.

    Raises
    ------
    NumericalFailure
        No start came to an end.
    """
    ends = []
    for n, start in enumerate(starts, 1):
        try:
            end = minimise(problem, start, most=MOST_STEPS, tolerance=TOLERANCE, tell=say.of(f"start {n}"))
        except (FloatingPointError, NumericalFailure) as error:
            say(f"start {n} failed: {error}")
            continue
        residual = problem.residuals([end])[0]
        cost = float(residual @ residual + (problem.prior_residual(end) ** 2).sum())
        ends.append((cost, n, end))
        say(f"start {n} ends at cost {cost:.3f}")
    if not ends:
        raise NumericalFailure("No start of the calibration came to an end.")
    ends.sort(key=lambda end: end[0])
    best_cost, best_n, best = ends[0]
    for cost, n, end in ends[1:]:
        away = np.abs(end - best) / problem.prior.sd
        worst = int(away.argmax())
        say(
            f"start {n} ends {cost - best_cost:.3f} above start {best_n}; farthest apart in {problem.prior.names[worst]}: "
            f"{away[worst]:.2f} prior standard deviations (root mean square {math.sqrt((away**2).mean()):.2f})"
        )
    return best


def print_fit(free, problem: Problem, fit: Fit, values: dict[str, float]) -> None:
    """Print the cost by study at the rounded values, and the table of parameters."""
    place = np.array([one.to_search(values[one.name]) for one in free])
    residual = problem.residuals([place])[0]
    print("\nCost by study at the rounded values (sum of squares, blanks integrated out)")
    for name, rows in problem.rows.items():
        part = residual[rows]
        print(f"  {name:30s} {float(part @ part):9.3f}   {part.size} outcomes")
    prior_cost = float((problem.prior_residual(place) ** 2).sum())
    print(f"  {'prior':30s} {prior_cost:9.3f}   {place.size} parameters")
    total = float(residual @ residual) + prior_cost
    print(f"  {'all':30s} {total:9.3f}   before rounding {fit.cost:.3f}\n")
    print(f"{'parameter':36s} {'value':>9s} {'± error':>9s} {'prior':>9s} {'± sd':>8s}  determined  at bound")
    for k, one in enumerate(free):
        value = values[one.name]
        error = one.error_at(value, float(fit.standard_error[k]))
        print(
            f"{one.name:36s} {value:9.4g} {error:9.3g} {one.prior:9.4g} {one.prior_sd:8.3g}  "
            f"{'yes' if fit.determined[k] else 'no':10s}  {fit.at_bound[k]:4s} {PARAMETERS[one.name].unit}"
        )
    print(
        f"{int(fit.determined.sum())} of {len(free)} determined; {sum(e != 'no' for e in fit.at_bound)} at a bound"
    )


def calibrate(
    seed: Annotated[int, typer.Option(help="of the starting points drawn from the prior")] = 1,
    starts: Annotated[int, typer.Option(min=1, help="searches: from the prior's mean, and from draws")] = 3,
    left_out: Annotated[bool, typer.Option(help="refit without each study in turn")] = True,
    write: Annotated[bool, typer.Option("--write", help="write the file of calibrated values")] = False,
) -> None:
    """Fit the free population parameters to the published cases and say what these determine."""
    say = Progress()
    free = free_parameters()
    model = Cases([c for c in read_cases() if c.role == "fitted" and not c.not_modelled], free)
    if not model.cases:
        raise InputError(
            "there is no fitted case with a scored outcome", field="evidence/cases", remedy="add one"
        )
    prior = prior_of(free)
    outcomes = sum(len(model.wanted[case.id]) for case in model.cases)
    say(
        f"{len(free)} parameters, {len(model.studies)} studies, {len(model.cases)} cases, {outcomes} outcomes"
    )
    problem = Problem(prior, model.blocks(prior.mean), model.predict, ROBUST)
    say("blanks moved, at the prior")
    best = best_of_starts(problem, start_points(prior, starts, seed), say)
    problem = Problem(prior, model.blocks(best), model.predict, ROBUST)
    say("blanks moved again, at the best end; weights are fixed from here on")
    fit = describe(problem, minimise(problem, best, most=MOST_STEPS, tolerance=TOLERANCE, tell=say.of("last search")))
    say(f"optimum at cost {fit.cost:.3f}")
    values = rounded_values(free, fit.position)
    without = {}
    if left_out:
        without = {name: rounded_values(free, u) for name, u in leave_out(problem, fit).items()}
        say(f"refitted without each of {len(without)} studies")
    print_fit(free, problem, fit, values)
    if write:
        options = f" --seed {seed} --starts {starts}{'' if left_out else ' --no-left-out'} --write"
        command = f"python -m thermosim.evidence.calibrate{options}"
        text = calibration_text(
            free, fit, values, without, command=command, seed=seed, cases_hash=hash_of_cases()
        )
        write_whole(FILE, text)
        say(f"wrote {FILE.name}")


def main() -> None:
    """Run the command; a refused input or a failed run is one sentence."""
    try:
        run_command(calibrate)
    except FloatingPointError as error:
        print(f"The calibration stopped: {error}.", file=sys.stderr)
        sys.exit(NumericalFailure.exit_code)


if __name__ == "__main__":
    main()
