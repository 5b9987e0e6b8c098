"""The validation chapter: the evidence table as Markdown, misses with their reasons, and what they mean for use."""

import math
import tomllib
from collections.abc import Iterable
from pathlib import Path

from thermosim.errors import InputError
from thermosim.evidence import table
from thermosim.evidence.table import GROUPS, ROLES, Row

REASONS = Path(__file__).with_name("reasons.toml")
UNKNOWN = "no reason known yet"
COMMAND = "thermosim evidence --out FILE.md"

HOW_TO_READ = """\
- **Measured** is the mean of a study; where *(range)* stands behind the name, nobody measured it: it is the middle of a range
  that a source states. **Predicted** is the model with every condition at its centre value, and in brackets the range over
  conditions that the paper leaves blank. **Error** is predicted minus measured.
- **Tolerance** was written down, with its reason, in the case file before the first fit. Some inputs of the package's cases
  were changed after a first trial fit: maximal uptake (A3, A13, A17, AF8) and pace (A19) became blanks, A19 and B27 take
  their power from the pace, A11 reads its limits off the slope of core, times of A17 are no longer scored, heart rates of A1 are.
  After the first calibration A19's uptake was set so that its pace is the published share of it, and A3's range made even.
- **Inside** means: the centre lies within the tolerance, and, where the blanks move the prediction by more than the tolerance,
  the measured value lies in the band over the blanks, widened by the standard error of the measured mean (sd/√n, or what a
  figure can be read to where no sd is given). *Outside band*: only the second of the two fails.
- **Roles**: *fitted* — the case took part in the calibration; *left out* — predicted by a calibration without this study;
  *never fitted* — the case took part in no calibration (B27 is of the study of A19, which did). Only the last two say anything
  about a new runner. Orders stand with their case, but no fit uses them, so the first sentence counts them apart, each once: A5,
  which scores nothing else, was never left out.
- **Status**: *confirmed* — the number was seen in the abstract or text; *from memory* — it was not, and may be wrong.
- *Not scored* rows are shown, but count neither in the fit nor in pooled figures or misses.
- A time that lies beyond the end of a run is carried on with the rate of its last minutes, to three times the run at most.
"""

# Group -> (too high, too low): what a miss means for somebody who uses the model.
MEANING = {
    "core": (
        "the model runs hot in conditions like these: a limit would be reached later than it says",
        "the model runs cool in conditions like these: a limit may be reached sooner than it says, so leave more room",
    ),
    "core_rate": (
        "core climbs more slowly than modelled: times to a limit are too short",
        "core climbs faster than modelled: times to a limit are too long, so leave more room",
    ),
    "skin": (
        "skin is modelled too warm: dry heat loss and the evaporative capacity are too large, the heat-dependent share of heart "
        "rate too high",
        "skin is modelled too cool: dry heat loss and the evaporative capacity are too small, the heat-dependent share of heart "
        "rate too low",
    ),
    "heart_rate": (
        "modelled heart rate is too high: a heart-rate cap would bind too early, and a fit would blame the runner",
        "modelled heart rate is too low: a heart-rate cap would bind too late, and a fit would blame the runner",
    ),
    "sweat": (
        "sweat is overstated: do not plan drinks by it, more than is lost must not be drunk",
        "sweat is understated: the need for water is larger than modelled",
    ),
    "time": (
        "the event comes sooner than modelled: leave more room",
        "the event comes later than modelled",
    ),
    "law": (
        "this formula of the package differs from the published value: look at what depends on it",
        "this formula of the package differs from the published value: look at what depends on it",
    ),
    "order": (
        "the model does not rank these conditions as the study did: do not choose between them by the model",
        "the model does not rank these conditions as the study did: do not choose between them by the model",
    ),
    "other": (
        "differences between conditions like these are not to be trusted beyond this error",
        "differences between conditions like these are not to be trusted beyond this error",
    ),
}
COOLING_RATE = (
    "core cools faster than modelled: cooling times are too long",
    "core cools more slowly than modelled: cooling takes longer than it says",
)
CLIMATE_LIMIT = (
    "core begins to climb in cooler or drier climates than modelled: leave more room",
    "core holds its plateau in warmer climates than modelled",
)
NO_RUN = "the run could not be finished: nothing can be said for conditions like these"


def validation_chapter(
    rows: Iterable[Row], reasons: dict[str, str] | None = None, command: str = COMMAND, warning: str = ""
) -> str:
    """Return the chapter in Markdown.

    Parameters
    ----------
    rows : list of Row
    reasons : dict, optional
        Outcome id, or case id for all its outcomes -> reason of a miss; default: what ``reasons.toml`` of the package says.
    command : str
        What writes the file that the chapter goes to, for its header.
    warning : str
        Said under the first sentence, such as that the calibration is of other cases.
    """
    rows = list(rows)
    reasons = read_reasons() if reasons is None else reasons
    parts = [
        "# Validation: published experiments",
        f"*Written by `{command}`; do not edit by hand.*",
        f"**{table.answer(rows)}** {table.direction(rows)}".strip(),
        f"**Note:** {warning}" if warning else "",
        "## Cautions",
        "\n".join(f"- {line}" for line in table.evidence_cautions()),
        "## How to read it",
        HOW_TO_READ.strip(),
        "## Pooled figures",
        "RMSE and bias (mean of predicted minus measured) over scored rows; laws and other outcomes in units of their tolerance. "
        "*Known* takes only rows that the blanks of their paper move by no more than their tolerance. Heart rates measured at "
        f"{table.HEART_CEILING_BPM:.0f} bpm or more are left out: any hot model matches them.",
        _pooled_table(table.pooled(rows)),
        *_groups([row for row in rows if not row.not_modelled]),
        "## Misses",
        *_misses(table.misses(rows), reasons),
        *_extrapolated(rows),
        *_not_modelled([row for row in rows if row.not_modelled]),
        *_assumptions([row for row in rows if not row.not_modelled]),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def read_reasons(path: Path = REASONS) -> dict[str, str]:
    """Return the reasons of misses, outcome id -> reason; none where the file is not there."""
    if not path.is_file():
        return {}
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        remedy = 'write lines such as "A8/fit/heart_rate" = "reason"'
        raise InputError(f"is not TOML ({error})", file=path.name, remedy=remedy) from None
    wrong = [key for key, value in found.items() if not isinstance(value, str) or not value.strip()]
    if wrong:
        remedy = "write the reason between quotes, and the outcome id too"
        raise InputError("has no text as its reason", field=wrong[0], file=path.name, remedy=remedy)
    return found


# --- parts -----------------------------------------------------------------------------------------------------------


def _table(heads: list[str], rows: list[tuple]) -> str:
    """Return a Markdown table; heads that end in ``>`` stand over right-aligned columns."""
    names = " | ".join(head.rstrip(">") for head in heads)
    rule = " | ".join("---:" if head.endswith(">") else "---" for head in heads)
    body = [" | ".join(str(cell).replace("|", "\\|").replace("\n", " ") for cell in row) for row in rows]
    return "\n".join(f"| {line} |" for line in (names, rule, *body))


def _pooled_number(group: str, value: float | None, signed: bool = False) -> str:
    return table.shown(value, {"K": 3, "%": 1, "bpm": 1}.get(GROUPS[group][1], 2), signed)


def _known(group: str, figures: dict | None) -> tuple[str, str]:
    return ("0", "–") if figures is None else (str(figures["n"]), _pooled_number(group, figures["rmse"]))


def _pooled_table(pooled: dict) -> str:
    if not pooled:
        return "Nothing is scored."
    rows = [
        (f"{GROUPS[group][0]}, {GROUPS[group][1]}", ROLES[role], one["n"], _pooled_number(group, one["rmse"]),
         _pooled_number(group, one["bias"], True), f"{100.0 * one['inside_share']:.0f} %", *_known(group, one["inputs_known"]))
        for group, roles in pooled.items() for role, one in roles.items()
    ]  # fmt: skip
    return _table(["quantity", "role", "n>", "RMSE>", "bias>", "inside>", "known n>", "known RMSE>"], rows)


def _groups(rows: list[Row]):
    """Yield heading and table of every quantity group."""
    for group, (title, _) in GROUPS.items():
        mine = [row for row in rows if table.group_of(row) == group]
        if mine:
            yield f"## {title}"
            yield _table(
                ["outcome", "measured>", "sd>", "predicted (range)>", "error>", "tolerance>", "unit", "", "role", "status"],
                [_cells(row) for row in mine],
            )


def _cells(row: Row) -> tuple:
    words = table.words_of(row)
    predicted = f"{words['predicted']} ({words['range']})" if words["range"] else words["predicted"]
    sd = "" if row.sd is None else table.shown(row.sd, table.decimals_of(row))
    inside = f"**{words['inside']}**" if row.missed else words["inside"]
    numbers = (words["measured"], sd, predicted, words["error"], words["tolerance"])
    return (row.name, *numbers, row.unit, inside, ROLES[row.role], row.status)


def _misses(missed: list[Row], reasons: dict[str, str]):
    """Yield one paragraph an outcome, with every role in which it misses."""
    if not missed:
        yield "No scored row lies outside."
        return
    ids = list(dict.fromkeys(row.id for row in missed))
    words = f"{len(ids)} {'outcome' if len(ids) == 1 else 'outcomes'}"
    yield f"{len(missed)} scored {'row' if len(missed) == 1 else 'rows'} of {words} outside."
    for number, identity in enumerate(ids, start=1):
        mine = [row for row in missed if row.id == identity]
        first = mine[0]
        figures = "; ".join(_figures(row) for row in mine)
        yield "\n".join((
            f"### {number}. {identity}", "",
            f"- Measured {table.words_of(first)['measured']} {first.unit}".rstrip() + f" ({first.source}); {figures}.",
            f"- Reason: {reasons.get(identity) or reasons.get(first.case_id, UNKNOWN)}.".replace("..", "."),
            f"- What it means for use: {meaning(first)}.",
        ))  # fmt: skip


def _figures(row: Row) -> str:
    words = table.words_of(row)
    predicted = f"{words['predicted']} ({words['range']})" if words["range"] else words["predicted"]
    return f"predicted {predicted} ({ROLES[row.role]}), error {words['error']}, tolerance {words['tolerance']}"


def meaning(row: Row) -> str:
    """Return what a miss of this kind and direction means for use."""
    if row.predicted is None or row.measured is None or row.error is None or not math.isfinite(row.error):
        return NO_RUN
    if table.centre_agrees(row):
        return "the centre agrees, but the range over what the paper leaves blank does not hold the measured value"
    group = table.group_of(row)
    if group in ("core", "skin", "heart_rate") and row.kind == "contrast":
        stronger = abs(row.predicted) > abs(row.measured) and row.predicted * row.measured >= 0.0
        way = "overstated" if stronger else "understated or of the other sign"
        return f"the difference between the two conditions is {way}: do not choose between them by less than this error"
    if row.kind == "climate_limit":
        high, low = CLIMATE_LIMIT
    elif group == "other" and row.kind == "measured":
        return "numbers like this one are not to be trusted beyond this error"
    else:
        high, low = COOLING_RATE if group == "core_rate" and row.measured < 0.0 else MEANING[group]
    return high if row.error > 0.0 else low


def _extrapolated(rows: list[Row]):
    """Yield which cases leave published ranges; nothing where none does."""
    cases = table.extrapolated(rows)
    if cases:
        yield "## Outside published ranges"
        yield f"{table.EXTRAPOLATED_MARK} in the tables: {table.EXTRAPOLATED}."
        yield _table(["case", "where"], [(case, " ".join(said)) for case, said in cases.items()])


def _not_modelled(rows: list[Row]):
    yield "## Not modelled"
    if not rows:
        yield "Every study of this folder is modelled."
        return
    yield _table(["study", "source", "status", "why not"], [(row.id, row.source, row.status, row.not_modelled) for row in rows])


def _assumptions(rows: list[Row]):
    """Yield what each case assumes of its people and leaves blank of its conditions."""
    yield "## Assumed and blank, by case"
    cases = {row.case_id: row for row in rows if row.assumed or row.blanks}
    if not cases:
        yield "Nothing is assumed, nothing is blank."
        return
    yield (
        "Assumed: not stated by the paper as we know it. Blank: run over this range; what was changed after a first trial fit "
        "is said above."
    )
    cells = [
        (f"{name} {row.title}".strip(), ", ".join(row.assumed) or "–", "; ".join(row.blanks) or "–")
        for name, row in cases.items()
    ]
    yield _table(["case", "assumed of the people", "blank conditions"], cells)
