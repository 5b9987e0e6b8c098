"""``thermosim evidence``: published cases, what was measured against what is predicted, misses included."""

from pathlib import Path
from typing import Annotated

import typer

from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk
from thermosim.cli.writing import ForceFlag, PictureFlag

EPILOG = """\
[bold]Example:[/bold] does the model agree with experiments that it was not tuned on?

thermosim evidence --picture evidence.png --out evidence.csv

[bold]One study[/bold], and [bold]a folder of your own cases[/bold] (*.case.toml):

thermosim evidence --case A8

thermosim evidence --cases my-cases --json

An outcome is inside when its prediction lies within the tolerance that was written down before the first fit and, where \
conditions that the paper leaves blank move the prediction by more than that, when the measured value lies in the band over \
them. Roles: fitted (the study took part in the fit), left out (predicted by a fit without it), never fitted.

[bold]JSON keys:[/bold] cases (id, source, status, quantity, unit, measured, measured_kind: value, or range where measured is \
the middle of a published range, sd, predicted, predicted_low, predicted_high, \
error, inside, role: fitted, left_out or never_fitted; inside is null where a row is shown but not scored), \
pooled (group → role → n, rmse, bias, inside_share, and inputs_known: the same over rows that blanks move by no more than \
their tolerance; in K for core and skin, bpm for heart_rate, % of the measured value for \
core_rate, sweat and time, share of pairs for order, tolerances for law and other), misses (ids), \
not_modelled (id, source, reason), extrapolated (case id → where its runs leave published ranges), cautions.

Misses are results: the exit code stays 0."""

LONGEST_ANSWER = 120  # characters of a line of the answer that the page has room for
WIDE = 110  # columns from which prediction and range stand side by side
FEW_CASES = 3  # of which it is said at once where they leave published ranges
ENDINGS = (".csv", ".md")
UNITS = {"core": "°C or K", "core_rate": "K/min", "skin": "°C or K", "heart_rate": "bpm", "sweat": "L, kg or L/h", "time": "min",
         "law": "units of each", "order": "share of pairs", "other": "units of each"}  # fmt: skip


AllFlag = Annotated[
    bool,
    typer.Option("--verbose", "-v", metavar=" ", help="list laws and orders that hold, too", rich_help_panel="Output"),
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("evidence", epilog=EPILOG, short_help="published cases: measured, predicted, error, inside or not")(evidence)


def evidence(
    cases: Annotated[
        Path | None,
        typer.Option("--cases", metavar="FOLDER", help="folder of *.case.toml; without it the package's own", show_default=False),
    ] = None,
    case: Annotated[
        list[str] | None,
        typer.Option("--case", metavar="ID", help="only this case, e.g. A8; may be given again", show_default=False),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="PATH", help="write every row as .csv, or the chapter as .md", rich_help_panel="Output"),
    ] = None,
    picture: PictureFlag = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: AllFlag = False,
) -> dict:
    """Published cases: measured, predicted over what the paper leaves blank, error, inside or not; pooled figures; misses."""
    from thermosim.evidence import table
    from thermosim.evidence.calibrated_file import outdated

    talk = Talk(json_, quiet, verbose)
    _check(out, picture, force)
    chosen = _chosen(cases, case or [])
    warning = outdated() if cases is None else ""
    with talk.progress("reading the cases") as say:
        rows = _run(chosen, say)
        say("writing", 1.0)
        written = _write(rows, out, picture, force, warning)
    result = table.as_json(rows)
    _tell(talk, rows, result, written, warning)
    return result


def _check(out, picture, force) -> None:
    from thermosim.cli.writing import check_targets
    from thermosim.errors import InputError

    if out is not None and out.suffix.lower() not in ENDINGS:
        problem = f"ends in {out.suffix or 'nothing'}, allowed are {' and '.join(ENDINGS)}"
        raise InputError(problem, field=f"--out {out}", remedy="choose one of these endings")
    check_targets(out, [picture], force, endings=ENDINGS)


def _chosen(folder, names: list[str]) -> list:
    """Return the cases of a folder, those of these ids only when asked."""
    from thermosim.errors import InputError
    from thermosim.evidence.read_case import read_cases
    from thermosim.inputs.checks import nearest

    found = read_cases(folder)
    known = {one.id.casefold(): one for one in found}
    for name in names:
        if name.casefold() not in known:
            likely = nearest(name, [one.id for one in found])
            remedy = f'did you mean "{likely}"?' if likely else f"choose one of the {len(found)} cases of this folder"
            raise InputError(f"is {name}, which is no case here", field="--case", remedy=remedy)
    return [known[name.casefold()] for name in dict.fromkeys(names)] if names else found


def _run(cases, say) -> list:
    from thermosim.evidence.run_cases import evidence_rows

    done = 0

    def step(text=None, share=None) -> None:
        nonlocal done
        done += 1
        say(text if isinstance(text, str) else f"running the published cases: {done} done", share)

    return evidence_rows(cases, step)


# --- files -----------------------------------------------------------------------------------------------------------


def _write(rows, out, picture, force, warning="") -> list[Path]:
    from thermosim.cli import writing

    targets = []
    if out is not None and out.suffix.lower() == ".csv":
        targets.append(writing.Target(out, lambda path: frame(rows).to_csv(path, index=False)))
    elif out is not None:
        from thermosim.evidence.chapter import validation_chapter

        text = validation_chapter(rows, warning=warning)
        targets.append(writing.Target(out, lambda path: path.write_text(text, encoding="utf-8")))
    if picture is not None:
        targets.append(writing.Target(picture, lambda path: writing.draw(lambda: page_of(rows), path)))
    return writing.write_all(targets, force)


def frame(rows):
    """Return every row as a table, one column a field."""
    import pandas as pd

    columns = [
        "id", "case_id", "study", "source", "status", "kind", "quantity", "unit", "measured", "sd", "tolerance", "predicted",
        "predicted_low", "predicted_high", "error", "inside", "scored", "role", "why", "note", "not_modelled", "measured_kind",
    ]  # fmt: skip
    found = pd.DataFrame([[getattr(row, name) for name in columns] for row in rows], columns=columns)
    return found.assign(outside_range=[" ".join(row.outside_range) for row in rows])


def page_of(rows):
    """Return the page of the evidence."""
    from thermosim.dataset import version
    from thermosim.evidence import table
    from thermosim.evidence.picture import MIDDLE_MARK, picture_lines
    from thermosim.look.evidence_page import draw_evidence

    figures = table.pooled(rows)
    groups = [
        (key, f"{title}, {UNITS[key]}", {role: _note(key, role, figures.get(key, {})) for role in table.ROLES})
        for key, (title, _) in table.GROUPS.items()
    ]
    lines, modelled = picture_lines(rows), [row for row in rows if not row.not_modelled]
    setting = (
        f"{len({row.id for row in modelled})} outcomes of {len({row.study for row in modelled})} studies · "
        "error in tolerances, written down before the first fit (grey band) · ring inside · diamond outside · bar: range over "
        "what a paper leaves blank · tick: the same outcome fitted · grey words: shown, not scored"
        f" · {MIDDLE_MARK} before a number: middle of a published range, not measured"
    )
    return draw_evidence(
        lines, groups, answer=_two_lines(table.answer(rows), table.direction(rows)), setting=setting,
        cautions=table.evidence_cautions(), provenance=f"thermosim {version()} · thermosim evidence",
    )  # fmt: skip


def _note(key, role, figures) -> str:
    """Return the pooled figures of a role in one line; beside what was left out stands what was fitted."""
    from thermosim.evidence import table

    if role not in figures:
        return ""
    one, unit = figures[role], table.GROUPS[key][1]
    words = f"{round(one['inside_share'] * one['n'])} of {one['n']} inside"
    if one["rmse"] is not None:
        words += f", RMSE {_pooled_number(key, one['rmse'])} {unit}, bias {_pooled_number(key, one['bias'], True)}"
    if role == "left_out" and figures.get("fitted", {}).get("rmse") is not None:
        words += f"; fitted RMSE {_pooled_number(key, figures['fitted']['rmse'])}"
    return words


def _two_lines(first: str, second: str) -> list[str]:
    """Return the answer in one or two lines of a page."""
    head, *parts = first.split("; ")
    while parts and len(f"{head}; {parts[0]}") < LONGEST_ANSWER:
        head = f"{head}; {parts.pop(0)}"
    tail = "; ".join(parts)
    tail = f"{tail[:1].upper()}{tail[1:]}" if tail else ""
    return [line for line in (f"{head};" if parts else head, f"{tail} {second}".strip()) if line]


# --- the terminal ----------------------------------------------------------------------------------------------------


def _tell(talk: Talk, rows, result, written, warning="") -> None:
    from thermosim.evidence import table

    talk.cautions(result["cautions"])
    talk.warnings([warning] if warning else [])
    if not talk.as_json:
        talk.write(f"{table.answer(rows)} {table.direction(rows)}".strip(), style="bold")
        for group in table.GROUPS:
            _tell_group(talk, group, [row for row in rows if not row.not_modelled and table.group_of(row) == group])
        _tell_extrapolated(talk, result["extrapolated"])
        _tell_ranges(talk, rows)
        _tell_pooled(talk, result["pooled"])
        _tell_misses(talk, rows)
        _tell_not_modelled(talk, result["not_modelled"])
    talk.wrote(written)
    talk.result(result)


def _tell_group(talk: Talk, group: str, rows) -> None:
    from thermosim.evidence import table

    if not rows:
        return
    wide, cells, held = talk.paper.width >= WIDE, [], 0
    for row in rows:
        if group in ("law", "order") and row.counts and row.inside and not talk.verbose:
            held += 1
            continue
        words = table.words_of(row)
        ranged = f"({words['range']})" if words["range"] else ""
        predicted = (" " if wide else "\n").join(filter(None, (words["predicted"], ranged)))
        role, status = table.ROLES[row.role], row.status
        who = (role, status) if wide else (f"{role}\n{status}",)
        cells.append((row.name, f"{words['measured']} {row.unit}".strip(), predicted, words["error"], words["inside"], *who))
    heads = ["outcome", "measured", "predicted", "error", ""]
    heads += ["role", "status"] if wide else ["role, status"]
    sides = ["left", "right", "left", "right", "left", "left", "left"]
    title = table.GROUPS[group][0]
    if held:
        title += f"; {held} more {'hold' if held != 1 else 'holds'} (--verbose lists them)"
    elif any(table.words_of(row)["range"] for row in rows):
        title += "; in brackets over what the paper leaves blank"
    if cells:
        talk.table(list(zip(heads, sides)), cells, title=title)
    else:
        talk.write(f"{title}.", style="bold")
        talk.write()


def _pooled_number(group: str, value: float | None, signed: bool = False) -> str:
    from thermosim.evidence import table

    unit = table.GROUPS[group][1]
    return table.shown(value, {"K": 2, "%": 0, "bpm": 1}.get(unit, 2), signed)


def _known_words(group: str, figures: dict) -> str:
    """Return the RMSE over rows with known inputs and how many they are."""
    known = figures["inputs_known"]
    return "–" if known is None else f"{_pooled_number(group, known['rmse'])} (n {known['n']})"


def _tell_pooled(talk: Talk, pooled: dict) -> None:
    from thermosim.evidence import table

    cells = []
    for group, roles in pooled.items():
        title, unit = table.GROUPS[group]
        for k, (role, one) in enumerate(roles.items()):
            cells.append((
                "" if k else f"{title}, {unit}", table.ROLES[role], one["n"], _pooled_number(group, one["rmse"]),
                _pooled_number(group, one["bias"], True), f"{100.0 * one['inside_share']:.0f} %", _known_words(group, one),
            ))  # fmt: skip
    if cells:
        heads = [("pooled", "left"), ("role", "left"), ("n", "right"), ("RMSE", "right"), ("bias", "right"), ("inside", "right"),
                 ("RMSE, inputs known", "right")]  # fmt: skip
        talk.table(heads, cells, title="Pooled; scored rows only")


def _tell_extrapolated(talk: Talk, cases: dict[str, list[str]]) -> None:
    """Explain the mark of rows whose runs leave published ranges; where there are many cases, only when asked."""
    from thermosim.evidence import table

    if not cases:
        return
    brief = len(cases) > FEW_CASES and not talk.verbose
    end = f" ({len(cases)} cases; --verbose says where)." if brief else ":"
    talk.write(f"{table.EXTRAPOLATED_MARK} {table.EXTRAPOLATED}{end}")
    for case, said in cases.items() if not brief else ():
        talk.write(f"  {case}: {' '.join(said)}")
    talk.write()


def _tell_ranges(talk: Talk, rows) -> None:
    """Explain the words of rows whose value nobody measured."""
    from thermosim.evidence import table

    if any(row.measured_kind == table.RANGE for row in rows):
        talk.write(f"{table.RANGE_WORDS}: the middle of a range that a source states; nobody measured it.")
        talk.write()


def _tell_misses(talk: Talk, rows) -> None:
    from thermosim.evidence import table

    missed = table.misses(rows)
    if not missed:
        talk.write("No miss among the scored rows.")
        return
    cells = []
    for row in missed:
        words = table.words_of(row)
        cells.append((row.id, table.ROLES[row.role], words["error"], words["tolerance"], row.unit, words["inside"]))
    heads = [("miss", "left"), ("role", "left"), ("error", "right"), ("tolerance", "right"), ("unit", "left"), ("", "left")]
    n = len({row.id for row in missed})
    title = f"Misses: {len(missed)} {'row' if len(missed) == 1 else 'rows'}, {n} {'outcome' if n == 1 else 'outcomes'}"
    talk.table(heads, cells, title=title)


def _tell_not_modelled(talk: Talk, studies: list[dict]) -> None:
    if studies:
        cells = [(one["id"], one["source"], one["reason"]) for one in studies]
        talk.table([("not modelled", "left"), ("source", "left"), ("why", "left")], cells, title="Not modelled")
