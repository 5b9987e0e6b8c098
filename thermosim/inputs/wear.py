"""The wear sheet: one line an action, read into cooling tables with a plan each; times are found when it is run."""

import re
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from thermosim.errors import InputError
from thermosim.inputs.checks import check_choice, check_range, missing, nearest, shown
from thermosim.inputs.columns import NULL_WORDS, number, read_table
from thermosim.inputs.device_cards import expand_device
from thermosim.inputs.files import read_toml
from thermosim.inputs.limits import check_device

ACTIONS = ("put_on", "refill", "swap", "remove", "drink", "pour")
NEEDED = ("at", "action", "device")
COLUMNS = (*NEEDED, "label", "segments", "spares", "refill_at_share", "fields", "note")
EXAMPLE = """\
# Wear sheet: one line an action; the lines of one device in order of time. A variant of a session names it: wear = "x.wear.csv".
# at: minutes (12.5), clock time (05:40; the session then says start_clock = "05:00", or has a weather sheet with a clock),
#   distance (7.0 km), or a rule: every 20 min, every 5 km (both with "from 10 min to 60 min" if wanted), at stops (each pause
#   of 10 s or more), when spent (a refill from the column spares). Intervals count from when it is put on, a drink's from the
#   start; a distance is when it is first reached.
# action: put_on, refill, swap (a fresh one of the same), remove, drink, pour. What is put on at stops comes off with them.
# device: a kind (thermosim new device), a *.device.toml beside this sheet, or the label of what a line above puts on.
# segments: chest+back, for devices that have the choice. fields: field=value, parted by blanks; or a column named like a field.
at,action,device,label,segments,ice_kg,spares,refill_at_share,fields,note
0,put_on,ice_collar,collar,,0.25,,,covered=true,from the box at the start
20,swap,collar,,,,,,,
every 10 min from 25 min to 45 min,refill,collar,,,,,,,crew runs along
50,remove,collar,,,,,,,
1.0 km,put_on,ice_pockets,pockets,abdomen,,,,,
when spent,refill,pockets,,,,2,0.1,,carried in a bottle
at stops,put_on,hand_dip,,,,,,temperature_C=12,tub at the turn
every 15 min,drink,drink,,,,,,portion_kg=0.15 temperature_C=8,
at stops,pour,pour_over,,head+neck,,,,mass_kg=0.4,
"""
PORTIONS = {"drink": "drink", "pour": "pour_over"}  # what is meant where no device is named


@dataclass(frozen=True)
class _Planned:
    """What one device is planned for: how the line that brought it in named it, its table, its steps."""

    device: str
    fields: dict[str, Any]
    table: dict[str, Any]
    steps: list[dict[str, Any]]


def read_wear(path, build_device: Callable[[dict], object] | None = None, called: str | None = None) -> list[dict[str, Any]]:
    """Read a ``*.wear.csv``.

    Parameters
    ----------
    path : path
        Columns ``at``, ``action``, ``device``; optional ``label``, ``segments``, ``spares``, ``refill_at_share``,
        ``fields``, ``note``; any other column is a field of the device.
    build_device : callable, optional
        Refuses what a device card must not say (:func:`thermosim.inputs.device_cards.read_card`).
    called : str, optional
        What refusals call the sheet later, when its times are found; the path unless given.

    Returns
    -------
    list of dict
        Tables as ``[[variant.cooling]]`` has them, each with ``plan``: its steps (``do``, ``at``, ``line``), and
        ``planned_in``: the sheet.

    Raises
    ------
    InputError
        With the line. Whether the times of a plan are possible is said when it is put on an effort.
    """
    table = read_table(path)
    for name in NEEDED:
        if name not in table.header:
            error = missing(name)
            raise InputError(error.problem, field=f"column {name}", file=table.file, line=table.header_line,
                             remedy=f"add the column {name}; needed are {', '.join(NEEDED)}")  # fmt: skip
    cells = {name: table.cells(name) for name in table.header if name}
    found: dict[Any, _Planned] = {}
    for k, line in enumerate(table.lines):
        try:
            _add({name: column[k] for name, column in cells.items()}, line, found, Path(path).parent, build_device, table.file)
        except InputError as error:
            file, at = (error.file, error.line) if error.file else (table.file, line)
            raise InputError(error.problem, field=error.field, file=file, line=at, remedy=error.remedy) from None
    return [{**one.table, "plan": one.steps, "planned_in": called or table.file} for one in found.values()]


def check_sheet(path, build_device, dress: Callable | None) -> tuple[str, list[str]]:
    """Return what a sheet holds in words, and no warnings; ``dress(None, tables)`` refuses what cannot be meant."""
    plans = read_wear(path, build_device)
    for plan in plans:
        if dress is not None:
            dress(None, [plan])
    names = ", ".join(str(plan.get("name", plan["device"])) for plan in plans)
    steps = sum(len(plan["plan"]) for plan in plans)
    return f"wear sheet of {steps} line{'s' if steps > 1 else ''} for {names}; its times are checked with a session", []


def check_worn(path, session, dress: Callable, fitted: tuple[str, ...] | None = None) -> None:
    """Refuse what the variants of a session file wear, with file and line.

    ``dress(session, tables)`` builds devices with their times (:func:`thermosim.story.dress`); inputs know no device.
    Whether all devices of a variant fit on the runner together is checked for those named in ``fitted``, or for all.
    """
    source = read_toml(path)[1]
    for k, variant in enumerate(session.variants):
        for j, table in enumerate(variant.cooling):
            with source.under("variant", k, "cooling", j).blame(), _in_folder(path, variant):
                dress(session, [table])
        if fitted is None or variant.name in fitted:
            with source.under("variant", k).blame(), _in_folder(path, variant):
                dress(session, variant.cooling)


@contextmanager
def _in_folder(path, variant):
    """Name a wear sheet in a refusal by its whole path: the session beside it holds the name alone."""
    try:
        yield
    except InputError as error:
        if error.file not in [table.get("planned_in") for table in variant.cooling] or error.file is None:
            raise
        file = str(Path(path).parent / error.file)
        raise InputError(error.problem, field=error.field, file=file, line=error.line, remedy=error.remedy) from None


def _add(row: dict[str, str], line: int, found: dict[Any, _Planned], folder: Path, build_device, file: str) -> None:
    """Add one line to the plan of the device that it is about."""
    row = {name: "" if cell.lower() in NULL_WORDS else cell for name, cell in row.items()}
    action = check_choice("action", row["action"], ACTIONS)
    if not row["at"]:
        raise InputError("is empty, allowed is when it is done", field="at", remedy="write e.g. 12.5, 7.0 km or at stops")
    device = row["device"] or PORTIONS.get(action, "")
    label = row.get("label", "")
    if not device:
        raise InputError("is empty, allowed are a kind, a *.device.toml or a label", field="device", remedy="name the device")
    step: dict[str, Any] = {"do": action, "at": row["at"], "line": line}
    for name in ("spares", "refill_at_share"):
        if row.get(name):
            step[name] = check_range(name, number(row[name], name, file, line))
    if row.get("note"):
        step["note"] = row["note"]
    fields = _fields(row, file, line)
    if action in ("refill", "swap", "remove"):
        _continue(label or device, step, fields, found)
        return
    key = label or device if action == "put_on" else (action, label, device, repr(sorted(fields.items())))
    if key not in found:
        entry = {"device": device, **fields, **({"name": label} if label else {})}
        table = check_device(expand_device(entry, folder, build_device))
        found[key] = _Planned(device, fields, table, [])
    elif (row["device"] and device != found[key].device and device != key) or (fields and fields != found[key].fields):
        raise InputError(f"is {shown(device)}, but a line above puts on another thing, or the same with other fields, as {key}",
                         field="device", remedy="give one of them a label of its own")  # fmt: skip
    found[key].steps.append(step)


def _continue(key: str, step: dict, fields: dict, found: dict) -> None:
    """Add an action on something that is worn; it is called by its label, or as it was put on."""
    worn = [name for name in found if isinstance(name, str)]
    if key not in worn:
        near = nearest(key, worn)
        raise InputError(f"is {shown(key)}, but no line above puts on anything of that name", field="device",
                         remedy=f"did you mean {near!r}" if near else f"put on are {', '.join(worn) or 'none'}")  # fmt: skip
    if fields:
        raise InputError(f"is given where {key} is on already", field=next(iter(fields)),
                         remedy="say it on the line that puts it on")  # fmt: skip
    found[key].steps.append(step)


def _fields(row: dict[str, str], file: str, line: int) -> dict[str, Any]:
    """Return the device fields of a line: ``segments``, columns that are none of ours, and the cells of ``fields``."""
    given = {name: cell for name, cell in row.items() if cell and name not in COLUMNS}
    if row.get("segments"):
        given["segments"] = row["segments"]
    for part in row.get("fields", "").replace(";", " ").split():
        name, equals, value = part.partition("=")
        if not (name and equals and value):
            raise InputError(f"has {shown(part)}, allowed is field=value", field="fields",
                             remedy="write e.g. ice_kg=0.25 covered=true")  # fmt: skip
        if name in given:
            raise InputError("is given twice on this line", field=name, remedy="keep one of them")
        given[name] = value
    return {name: _value(name, cell, file, line) for name, cell in given.items()}


def _value(name: str, cell: str, file: str, line: int) -> Any:
    """Return a cell as what it says: segments parted by ``+``, true or false, a number, else the text."""
    if name == "segments":
        return [one.strip() for one in cell.split("+")]
    if cell.lower() in ("true", "false"):
        return cell.lower() == "true"
    return number(cell, name, file, line) if re.match(r"[-+.]?[0-9]", cell) else cell
