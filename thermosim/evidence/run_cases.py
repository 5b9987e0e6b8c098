"""Run published cases into the rows of the evidence table: fitted and left-out parameters, blanks over their ranges."""

import tomllib
from collections.abc import Callable, Sequence

import numpy as np

from thermosim.evidence.calibrated_file import FILE
from thermosim.evidence.extrapolated import predict_with_ends, sentences, variants_read
from thermosim.evidence.outcomes import blank_points, predict_jobs
from thermosim.evidence.table import Row, not_modelled_row, row_of


def left_out_values() -> dict[str, dict[str, float]]:
    """Return study -> parameter values of the fit that never saw it; empty before the first calibration."""
    if not FILE.is_file():
        return {}
    return tomllib.loads(FILE.read_text(encoding="utf-8")).get("left_out", {})


def evidence_rows(cases: Sequence, progress: Callable | None = None, workers: int | None = None) -> list[Row]:
    """Run every case and return its rows: one an outcome and role, and one for each study that is not modelled.

    Parameters
    ----------
    cases : sequence of Case
    progress : callable, optional
        Called with a text and the share done, after each job.
    workers : int, optional
        Processes; the numbers do not depend on it.
    """
    left_out = left_out_values()
    asked = []  # (case, role, overrides)
    for case in cases:
        if case.not_modelled:
            continue
        # Before a calibration is adopted nothing is fitted, whatever a case is meant for.
        asked.append((case, case.role if left_out else "never_fitted", None))
        if case.role == "fitted" and case.study in left_out:
            asked.append((case, "left_out", left_out[case.study]))
    jobs, owners = [], []
    for k, (case, _, overrides) in enumerate(asked):
        for blanks in (None, *blank_points(case)):
            jobs.append((case, overrides, blanks))
            owners.append(k)
    done = 0

    def step():
        nonlocal done
        done += 1
        if progress is not None:
            progress(f"case {jobs[done - 1][0].id}", done / len(jobs))

    found: dict[int, list] = {k: [] for k in range(len(asked))}
    results = predict_jobs(jobs, progress=step, workers=workers, work=predict_with_ends)
    for k, result in zip(owners, results, strict=True):
        found[k].append(result)
    made = {}
    for k, (case, role, _) in enumerate(asked):
        made.setdefault(case.id, []).extend(_rows(case, role, found[k]))
    rows: list[Row] = []
    for case in cases:
        rows += [not_modelled_row(case)] if case.not_modelled else made[case.id]
    return rows


def _rows(case, role, results) -> list[Row]:
    predictions, points = [prediction for prediction, _ in results], [ends for _, ends in results]
    rows = []
    for outcome in case.outcomes():
        if outcome.kind == "law" and role == "left_out":
            continue
        values = [prediction[outcome.id] for prediction in predictions]
        own = "never_fitted" if outcome.kind == "law" else role
        ends = (None, None) if len(values) == 1 else (float(np.min(values)), float(np.max(values)))
        rows.append(row_of(case, outcome, own, values[0], *ends, outside_range=sentences(points, variants_read(outcome))))
    return rows
