"""What the page of the evidence draws: one plain object an outcome."""

import re
from collections.abc import Iterable

from thermosim.evidence.case_reads import RANGE
from thermosim.evidence.table import Row, group_of, in_tolerances, words_of

MIDDLE_MARK = "≈"  # before a value that nobody measured: the middle of a published range


def picture_lines(rows: Iterable[Row]) -> list[dict]:
    """Return what the page of the evidence draws: one plain object an outcome, errors in units of the tolerance.

    Where a study was left out of the fit in turn, that prediction is the main one (``role`` is ``left_out``) and the
    fitted one stands beside it as ``fitted``. Laws of one case that hold share a line, and so do its orders; their
    errors are its ``marks``.
    """
    drawn = [row for row in rows if not row.not_modelled and row.predicted is not None]
    left_out = {row.id for row in drawn if row.role == "left_out"}
    fitted = {row.id: row for row in drawn if row.role == "fitted"}
    lines: list[dict] = []
    shared: dict[tuple[str, str, str], dict] = {}
    for row in drawn:
        if row.role == "fitted" and row.id in left_out:
            continue
        line = _picture_line(row, fitted.get(row.id) if row.role == "left_out" else None)
        if row.kind in ("law", "order") and row.inside and row.scored:
            first = shared.setdefault((row.case_id, row.role, row.kind), line)
            first.setdefault("marks", []).append(line["error"])
            if first is not line:
                first |= {"label": f"{row.case_id}, {len(first['marks'])} that hold", "read": "", "measured": "", "predicted": ""}
                continue
        lines.append(line)
    return lines


def _picture_line(row: Row, twin: Row | None) -> dict:
    words, ends = words_of(row), [row.predicted_low, row.predicted_high]
    measured = f"{MIDDLE_MARK}{words['measured']}" if row.measured_kind == RANGE else words["measured"]
    scaled = [in_tolerances(end - (row.measured or 0.0), row.tolerance) for end in ends if end is not None]
    return {
        "id": row.id, "label": row.label, "read": _short_read(row), "group": group_of(row), "role": row.role, "unit": row.unit,
        "measured": measured, "predicted": words["predicted"], "error": in_tolerances(row.error, row.tolerance),
        "low": min(scaled, default=None), "high": max(scaled, default=None),
        "fitted": None if twin is None else in_tolerances(twin.error, twin.tolerance),
        "inside": bool(row.inside), "scored": row.scored,
    }  # fmt: skip


def _short_read(row: Row) -> str:
    """Return how a row was read in few words: what the title of its group says is left out."""
    read = row.read
    if group_of(row) in ("heart_rate", "skin"):
        read = read.removeprefix("heart rate").removeprefix("mean skin").lstrip(" ,")
    read = re.sub(r"from ([\d.]+) min, to ([\d.]+) min", r"\1–\2 min", read)
    return re.sub(r"\bat (?=-?[\d.]+ min)", "", read)
