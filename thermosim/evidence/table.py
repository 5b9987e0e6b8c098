"""The evidence table: one row an outcome and role, the rule for inside, pooled figures, and the JSON object."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from thermosim import cautions
from thermosim.evidence.case_reads import RANGE, VALUE

ROLES = {"fitted": "fitted", "left_out": "left out", "never_fitted": "never fitted"}
CORE_SITES = ("core_temperature", "rectal_temperature", "oesophageal_temperature", "gut_temperature")
TIMES, WATER = ("min",), {"sweat_loss": ("L", "L/h"), "body_mass_loss": ("kg", "kg/h"), "sweat_rate": ("L/h",)}
# Quantity group -> what a reader calls it, and the unit of its pooled figures.
GROUPS = {
    "core": ("Core temperature", "K"),
    "core_rate": ("Core rate", "%"),
    "skin": ("Mean skin temperature", "K"),
    "heart_rate": ("Heart rate", "bpm"),
    "sweat": ("Sweat and mass lost", "%"),
    "time": ("Times", "%"),
    "law": ("Laws, checked one by one", "tolerances"),
    "order": ("Orders", "share of pairs"),
    "other": ("Other outcomes", "tolerances"),
}
RELATIVE = ("core_rate", "sweat", "time")
IN_TOLERANCES = ("law", "other")
APART = ("law", "order")  # kinds of rows that no fit uses
# What a paper's figure or table can be read to, where it gives no standard deviation: (quantities, unit) -> error.
_READING_ERRORS = {
    (CORE_SITES, ("°C", "K")): 0.05,
    ((*CORE_SITES, "mean_skin_temperature"), ("K/min",)): 0.005,
    (("mean_skin_temperature",), ("°C", "K")): 0.2,
    (("heart_rate",), ("bpm",)): 1.0,
    (("sweat_loss",), ("L",)): 0.03,
    (("body_mass_loss",), ("kg",)): 0.05,
}
_TIME_READING_ERROR_MIN = 1.0
HEART_CEILING_BPM = 185.0  # heart rates measured from here up stay out of the pooled figures
_ROUNDING = 1e-9
RANGE_WORDS = "(range)"
EXTRAPOLATED_MARK = "†"
EXTRAPOLATED = "a run of this row leaves the range a relation was published for, or in which the model was tried"
CASE_KEYS = (
    "id", "source", "status", "quantity", "unit", "measured", "measured_kind", "sd", "predicted", "predicted_low",
    "predicted_high", "error", "inside", "role",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One outcome in one role; a study that is not modelled has one row with the reason and no numbers.

    Parameters
    ----------
    id, case_id, study, source, status : str
        Outcome, case, what is left out together, citation, and whether the citation was seen.
    quantity, unit : str
        What was measured, and the unit of all numbers of the row.
    measured, sd, tolerance : float or None
        Mean of the study, standard deviation between people, and the tolerance written down before the first fit.
    predicted, predicted_low, predicted_high : float or None
        With all blanks at their centre, and over their ranges; None where nothing was predicted (no refit without
        this study), not-a-number where a run could not be finished.
    error : float or None
        Predicted minus measured.
    inside : bool or None
        By :func:`inside`; None where nothing was predicted.
    role : str
        ``fitted``, ``left_out`` or ``never_fitted``.
    why, note : str
        Reason of the tolerance; remark of the source.
    scored : bool
        Whether the row counts in pooled figures and misses.
    kind : str
        ``measured``, ``contrast``, ``slope``, ``order``, ``climate_limit`` or ``law``.
    title : str
        Title of the case.
    not_modelled : str
        Reason why the study is not modelled.
    assumed, blanks : tuple of str
        Fields of the subjects that the paper does not state; conditions it leaves blank, with their ranges.
    outside_range : tuple of str
        Where its runs leave the range a relation was published for, or in which the model was tried: one sentence each.
    measured_kind : str
        ``value``, or ``range`` where ``measured`` is the middle of a published range and nobody measured it.
    """

    id: str
    case_id: str
    study: str
    source: str
    status: str
    quantity: str = ""
    unit: str = ""
    measured: float | None = None
    sd: float | None = None
    tolerance: float | None = None
    predicted: float | None = None
    predicted_low: float | None = None
    predicted_high: float | None = None
    error: float | None = None
    inside: bool | None = None
    role: str = "never_fitted"
    why: str = ""
    note: str = ""
    scored: bool = True
    kind: str = "measured"
    title: str = ""
    not_modelled: str = ""
    assumed: tuple[str, ...] = ()
    blanks: tuple[str, ...] = ()
    outside_range: tuple[str, ...] = ()
    measured_kind: str = VALUE

    @property
    def label(self) -> str:
        """Case and variant, e.g. ``A8 fit``."""
        return f"{self.case_id} {self._parts()[0]}".strip()

    @property
    def name(self) -> str:
        """Label and read, with words where a range was published, and a mark where a run of the row leaves one."""
        name = f"{self.label}: {self.read}" if self.read else self.label
        name = f"{name} {RANGE_WORDS}" if self.measured_kind == RANGE else name
        return f"{name} {EXTRAPOLATED_MARK}" if self.outside_range else name

    @property
    def read(self) -> str:
        """Quantity and how it was read, e.g. ``rectal change, at 60 min``."""
        return self._parts()[1].replace("_temperature", "").replace("_W_m2", "").replace("_", " ")

    def _parts(self) -> tuple[str, str]:
        rest = "" if self.id == self.case_id else self.id.removeprefix(f"{self.case_id}/")
        name, cut, read = rest.rpartition(f"/{self.quantity}")
        return (name, self.quantity + read) if cut and self.kind != "law" else (rest, "")

    @property
    def counts(self) -> bool:
        """Whether the row counts in pooled figures and misses."""
        return self.scored and not self.not_modelled and self.predicted is not None

    @property
    def inputs_known(self) -> bool:
        """Whether what the paper leaves blank moves the prediction by no more than the tolerance."""
        ends = (self.predicted, self.predicted_low, self.predicted_high)
        return None not in (*ends, self.tolerance) and max(ends) - min(ends) <= self.tolerance + _ROUNDING

    @property
    def at_ceiling(self) -> bool:
        """Whether a heart rate was measured where hearts can hardly beat faster, so that any hot model matches it."""
        return self.quantity == "heart_rate" and self.kind == "measured" and (self.measured or 0.0) >= HEART_CEILING_BPM

    @property
    def missed(self) -> bool:
        """Whether the row counts and lies outside."""
        return self.counts and not self.inside


# --- making rows ---------------------------------------------------------------------------------------------------


def row_of(case, outcome, role, predicted, low=None, high=None, outside_range=()) -> Row:
    """Return the row of one outcome of a case in one role.

    Parameters
    ----------
    case : Case
    outcome : Outcome
        One of ``case.outcomes()``.
    role : str
        ``fitted``, ``left_out`` or ``never_fitted``.
    predicted, low, high : float or None
        Prediction with the blanks at their centre, and its lowest and highest over their ranges.
    outside_range : tuple of str
        Where the runs behind it leave published ranges.
    """
    measured, law = outcome.measured, outcome.kind == "law"
    quantity = "law" if law else measured.read.quantity
    people = outcome.object[0].subjects if outcome.kind == "measured" else case.subjects
    slack = standard_error(measured.sd, measured.n or getattr(people, "n", None),
                           reading_error(quantity, measured.unit, outcome.kind))  # fmt: skip
    return Row(
        outcome.id, case.id, case.study or case.id, case.source.citation, case.source.status,
        quantity=quantity, unit=measured.unit, measured=measured.value, sd=measured.sd, tolerance=measured.tolerance,
        predicted=predicted,
        predicted_low=predicted if low is None else low,
        predicted_high=predicted if high is None else high,
        error=None if predicted is None else predicted - measured.value,
        inside=None if predicted is None else inside(predicted, measured.value, measured.tolerance, low, high, slack),
        role=role, why=measured.why, note=case.source.note, scored=measured.score, kind=outcome.kind, title=case.title,
        assumed=_assumed(case), blanks=_blanks(case), outside_range=tuple(outside_range),
        measured_kind=measured.measured_kind,
    )  # fmt: skip


def not_modelled_row(case) -> Row:
    """Return the one row of a study that is not modelled."""
    source = case.source
    return Row(
        case.id, case.id, case.study or case.id, source.citation, source.status, role=case.role, note=source.note or "",
        scored=False, title=case.title, not_modelled=case.not_modelled,
    )  # fmt: skip


def _assumed(case) -> tuple[str, ...]:
    people = [case.subjects, *(variant.subjects for variant in case.variants)]
    return tuple(dict.fromkeys(name for one in people if one is not None for name in one.assumed))


def _blanks(case) -> tuple[str, ...]:
    return tuple(f"{b.name} {b.low:g} to {b.high:g}, centre {b.value:g} ({b.why})" for b in case.blanks)


# --- the rule ------------------------------------------------------------------------------------------------------


def reading_error(quantity: str, unit: str, kind: str = "measured") -> float:
    """Return to what a published number can be read, used where its standard deviation is blank.

    Examples
    --------
    >>> reading_error("rectal_temperature", "K"), reading_error("sweat_loss", "min"), reading_error("storage", "W")
    (0.05, 1.0, 0.0)
    """
    if kind not in ("measured", "contrast"):
        return 0.0
    if unit in TIMES:
        return _TIME_READING_ERROR_MIN
    return next((error for (names, units), error in _READING_ERRORS.items() if quantity in names and unit in units), 0.0)


def standard_error(sd: float | None, n: int | None, reading: float) -> float:
    """Return the standard error of a measured mean, or the reading error where sd (or the number of people) is blank."""
    return reading if sd is None or not n else sd / math.sqrt(n)


def inside(predicted, measured, tolerance, low=None, high=None, error_of_mean=0.0) -> bool:
    """Return whether a prediction agrees with what was measured; fixed before the first fit.

    The prediction with every blank at its centre must lie within the tolerance. Where the blanks move it by more than
    the tolerance, the measured value must also lie in the band over their ranges, widened by the standard error of the
    measured mean.

    Examples
    --------
    >>> inside(0.95, 0.87, 0.20), inside(1.10, 0.87, 0.20)
    (True, False)
    >>> inside(1.00, 0.87, 0.20, low=0.95, high=1.30, error_of_mean=0.05)
    False
    """
    if not (math.isfinite(predicted) and math.isfinite(measured)):
        return False
    slack = _ROUNDING * max(1.0, abs(measured))
    if abs(predicted - measured) > tolerance + slack:
        return False
    low = predicted if low is None else min(low, predicted)
    high = predicted if high is None else max(high, predicted)
    if not (math.isfinite(low) and math.isfinite(high)):
        return False  # somewhere over the blanks a run could not be finished
    if high - low <= tolerance + slack:
        return True
    return low - error_of_mean - slack <= measured <= high + error_of_mean + slack


# --- groups and pooled figures ---------------------------------------------------------------------------------------


def group_of(row: Row) -> str:
    """Return the quantity group of a row.

    Differences and slopes of what is pooled in per cent stand in ``other``, as does a measured zero: a share of
    nearly nothing says nothing.
    """
    if row.kind in ("law", "order"):
        return row.kind
    if row.kind in ("slope", "climate_limit"):
        return "other"
    found = "other"
    if row.unit in TIMES:
        found = "time"
    elif row.quantity in CORE_SITES:
        found = {"°C": "core", "K": "core", "K/min": "core_rate"}.get(row.unit, "other")
    elif row.quantity == "mean_skin_temperature" and row.unit in ("°C", "K"):
        found = "skin"
    elif row.quantity == "heart_rate" and row.unit == "bpm":
        found = "heart_rate"
    elif row.unit in WATER.get(row.quantity, ()):
        found = "sweat"
    return "other" if found in RELATIVE and (row.kind == "contrast" or not row.measured) else found


def pooled_error(row: Row) -> float:
    """Return the error of a row in the unit of its group's pooled figures."""
    group = group_of(row)
    if row.error is None or row.measured is None:
        return math.nan
    if group in RELATIVE:
        return 100.0 * row.error / abs(row.measured)
    return in_tolerances(row.error, row.tolerance) if group in IN_TOLERANCES else row.error


def in_tolerances(difference: float | None, tolerance: float | None) -> float:
    """Return a difference in units of the tolerance; where none is allowed, any difference is endless."""
    if difference is None or math.isnan(difference):
        return math.nan
    if tolerance:
        return difference / tolerance
    return 0.0 if abs(difference) <= _ROUNDING else math.copysign(math.inf, difference)


def pooled(rows: Iterable[Row]) -> dict:
    """Return ``{group: {role: {n, rmse, bias, inside_share, inputs_known}}}`` over the rows that count; units: ``GROUPS``.

    ``inputs_known`` holds the four figures over rows with known inputs (None: no such row). Heart rates at the ceiling are
    left out. A run that could not be finished counts in ``n`` and as outside, not in ``rmse`` and ``bias``.
    """
    rows = list(rows)
    found: dict[str, dict] = {}
    for group in GROUPS:
        for role in ROLES:
            these = [r for r in rows if r.counts and r.role == role and group_of(r) == group and not r.at_ceiling]
            if these:
                known = [row for row in these if row.inputs_known]
                found.setdefault(group, {})[role] = _figures(these) | {"inputs_known": _figures(known) if known else None}
    return found


def _figures(rows: list[Row]) -> dict:
    errors = [error for error in map(pooled_error, rows) if math.isfinite(error)]
    return {
        "n": len(rows),
        "rmse": math.sqrt(math.fsum(error**2 for error in errors) / len(errors)) if errors else None,
        "bias": math.fsum(errors) / len(errors) if errors else None,
        "inside_share": sum(bool(row.inside) for row in rows) / len(rows),
    }


def misses(rows: Iterable[Row]) -> list[Row]:
    """Return the rows that count and lie outside."""
    return [row for row in rows if row.missed]


def tally(rows: Iterable[Row], roles=tuple(ROLES), kind: str | None = None) -> tuple[int, int]:
    """Return how many rows of these roles lie inside, and how many there are.

    Laws and orders are counted apart, by ``kind``: no fit uses them. An order counts once, whatever its roles: it holds
    where every prediction of it does.
    """
    these = [row for row in rows if row.counts and row.role in roles and (row.kind if row.kind in APART else None) == kind]
    if kind == "order":
        ids = {row.id for row in these}
        return len(ids - {row.id for row in these if not row.inside}), len(ids)
    return sum(bool(row.inside) for row in these), len(these)


def answer(rows: Iterable[Row]) -> str:
    """Return the sentence of the table: what the fit did not see comes first; orders and laws, which no fit uses, apart."""
    rows = list(rows)
    unseen, seen = tally(rows, ("left_out", "never_fitted")), tally(rows, ("fitted",))
    orders, laws = tally(rows, kind="order"), tally(rows, kind="law")
    if not (unseen[1] or seen[1] or orders[1] or laws[1]):
        return "No outcome is scored here."
    parts = []
    if unseen[1]:
        parts.append(f"{unseen[0]} of {unseen[1]} outcomes that the fit did not see lie inside their tolerance")
    if seen[1]:
        what = "that it was fitted to" if unseen[1] else "outcomes that the fit saw lie inside their tolerance"
        parts.append(f"{seen[0]} of {seen[1]} {what}")
    apart = [f"{held} of {many} {what}" for (held, many), what in ((orders, "orders"), (laws, "checks of laws")) if many]
    if apart:
        parts.append(f"{' and '.join(apart)} {'holds' if len(apart) == orders[1] + laws[1] == 1 else 'hold'}")
    return "; ".join(parts) + "."


def direction(rows: Iterable[Row]) -> str:
    """Return which way core misses what the fit did not see, differences between conditions aside."""
    unseen = [row for row in misses(rows) if row.role != "fitted" and row.kind == "measured"]
    errors = [pooled_error(row) for row in unseen if group_of(row) in ("core", "core_rate")]
    hot, cool = sum(error > 0.0 for error in errors), sum(error < 0.0 for error in errors)
    if not errors:
        return ""
    lost = f", {len(errors) - hot - cool} could not be run" if len(errors) > hot + cool else ""
    missed = "miss" if len(errors) == 1 else "misses"
    return f"Of {len(errors)} unseen core {missed} {hot} run hot and {cool} cool{lost}."


def as_json(rows: Iterable[Row]) -> dict:
    """Return the JSON object: ``inside`` is null where a row is shown only, or nothing was predicted."""
    rows = list(rows)
    modelled = [row for row in rows if not row.not_modelled]
    cases = [{key: getattr(row, key) for key in CASE_KEYS} for row in modelled]
    for row, case in zip(modelled, cases, strict=True):
        case["inside"] = bool(row.inside) if row.counts else None
    return {
        "cases": cases,
        "pooled": pooled(rows),
        "misses": list(dict.fromkeys(row.id for row in misses(rows))),
        "not_modelled": [
            {"id": row.id, "source": row.source, "reason": row.not_modelled} for row in rows if row.not_modelled
        ],
        "extrapolated": extrapolated(rows),
        "cautions": evidence_cautions(),
    }


def extrapolated(rows: Iterable[Row]) -> dict[str, list[str]]:
    """Return case id -> where its runs leave published ranges, each sentence once."""
    found: dict[str, dict[str, None]] = {}
    for row in rows:
        if row.outside_range:
            found.setdefault(row.case_id, {}).update(dict.fromkeys(row.outside_range))
    return {case: list(said) for case, said in found.items()}


def evidence_cautions() -> list[str]:
    """Return the cautions of this table."""
    return [*cautions.for_result(), INSIDE_IS_A_MEAN]


INSIDE_IS_A_MEAN = "An outcome inside its tolerance says that a group's mean is matched, not that one runner's core is known."


# --- numbers in words ------------------------------------------------------------------------------------------------


def decimals_of(row: Row) -> int:
    """Return how many decimals show an error of a fifth of the tolerance."""
    if not row.tolerance:
        return 2
    return min(max(math.ceil(-math.log10(row.tolerance / 5.0) - 1e-9), 0), 6)


def shown(value: float | None, decimals: int, signed: bool = False) -> str:
    """Return a number with a true minus, ``–`` where there is none, ``no run`` where a run could not be finished."""
    if value is None:
        return "–"
    if not math.isfinite(value):
        return "no run"
    text = f"{value:+.{decimals}f}" if signed else f"{value:.{decimals}f}"
    return (text.lstrip("+-") if float(text) == 0.0 else text).replace("-", "−")


def words_of(row: Row) -> dict[str, str]:
    """Return measured, predicted, their range, error and verdict of a row as text."""
    d = decimals_of(row)
    if row.missed and not centre_agrees(row) and shown(abs(row.error or 0.0), d) == shown(row.tolerance, d):
        d += 1  # the digit that makes the difference
    low, high = shown(row.predicted_low, d), shown(row.predicted_high, d)
    ranged = None not in (row.predicted, row.predicted_low, row.predicted_high) and low != high
    return {
        "measured": shown(row.measured, d), "predicted": shown(row.predicted, d), "range": f"{low} to {high}" if ranged else "",
        "error": shown(row.error, d, signed=True), "tolerance": shown(row.tolerance, d), "inside": verdict(row),
    }  # fmt: skip


def verdict(row: Row) -> str:
    """Return ``inside``, ``outside``, ``outside band`` (the centre agrees), ``not scored`` or ``not predicted``."""
    if row.predicted is None:
        return "not predicted"
    if not row.scored:
        return "not scored"
    return "inside" if row.inside else "outside band" if centre_agrees(row) else "outside"


def centre_agrees(row: Row) -> bool:
    """Return whether the prediction at the centre lies within the tolerance; False where there is none."""
    if row.error is None or row.measured is None:
        return False
    return abs(row.error) <= (row.tolerance or 0.0) + _ROUNDING * max(1.0, abs(row.measured))
