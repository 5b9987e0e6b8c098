"""Reading ``*.case.toml``: from a file or a folder to :class:`Case`, with file, line and field in every error."""

from collections.abc import Callable, Iterable
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

from thermosim.errors import InputError
from thermosim.evidence import case as c
from thermosim.evidence.case_device import WEAR
from thermosim.evidence.case_fields import COOLINGS, check_word
from thermosim.evidence.case_record import absent
from thermosim.evidence.laws import check_law
from thermosim.inputs.checks import shown, unknown_name
from thermosim.inputs.files import Source, read_toml

ENDING = ".case.toml"
CASES = Path(__file__).parent / "cases"

_PLAIN = ("id", "title", "role", "study", "not_modelled")
_READ = tuple(one.name for one in fields(c.Read))
_MEASURED = tuple(one.name for one in fields(c.Measured) if one.name != "read")
_ORDER = ("score", "n", "why")


def read_case(path) -> c.Case:
    """Read one case file.

    Raises
    ------
    InputError
        One sentence with file, line, field, what is allowed and what to do.
    """
    data, source = read_toml(path)
    with source.blame():
        keys = ("source", "subjects", "blank", "variant", "contrast", "slope", "order", "climate_limit", "law")
        _check_names(data, (*_PLAIN, *keys), source)
        plain = {name: data[name] for name in _PLAIN if name in data}
        for name in ("id", "title", "role", "source"):
            if name not in data:
                raise InputError("is missing and has no default", field=name, remedy=_ADD[name])
        people = _table(data, "subjects", source) if "subjects" in data else None
        case = dict(
            source=_record(c.Source, _table(data, "source", source), source.under("source")),
            subjects=None if people is None else _subjects(people, source.under("subjects")),
            blanks=_list(data, "blank", source, lambda table, here: _record(c.Blank, table, here)),
            variants=_list(data, "variant", source, lambda table, here: _variant(table, here, people)),
            contrasts=_list(data, "contrast", source, lambda table, here: _comparison(c.Contrast, table, here)),
            slopes=_list(data, "slope", source, lambda table, here: _comparison(c.Slope, table, here)),
            orders=_list(data, "order", source, lambda table, here: _comparison(c.Order, table, here)),
            climate_limits=_list(data, "climate_limit", source, lambda table, here: _comparison(c.ClimateLimit, table, here)),
            laws=_list(data, "law", source, _law),
        )  # fmt: skip
        return c.Case(**plain, **case, file=str(path))


def read_cases(folder=None) -> list[c.Case]:
    """Read every ``*.case.toml`` of a folder (default: the published cases of the package), sorted by file name."""
    folder = CASES if folder is None else Path(folder)
    try:
        paths = sorted(path for path in folder.iterdir() if path.name.endswith(ENDING))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is not valid"
        problem = f"cannot be read as a folder ({reason})"
        raise InputError(problem, file=_shown_name(folder), remedy=f"name a folder with *{ENDING} files") from None
    if not paths:
        problem = f"has no *{ENDING} file, needed is at least one"
        raise InputError(problem, file=_shown_name(folder), remedy="name the folder in which the case files are")
    cases: dict[str, c.Case] = {}
    for path in paths:
        case = read_case(path)
        if case.id in cases:
            problem = f"is {shown(case.id)}, which {Path(cases[case.id].file).name} has already, allowed is each id once"
            line = read_toml(path)[1].line("id")
            raise InputError(problem, field="id", file=str(path), line=line, remedy="give one of the two another id")
        cases[case.id] = case
    return list(cases.values())


_ADD = {
    "id": 'add a short name of the study at the top, e.g. id = "K1"',
    "title": 'add a title at the top, e.g. title = "Running in dry heat"',
    "role": 'add role = "never_fitted" at the top, or "fitted" if parameters were fitted to it',
    "source": "add [source] with citation and status",
}


def _shown_name(path: Path) -> str:
    return str(path).replace("\0", "\\0").replace("\n", "\\n")


def _check_names(table: dict[str, Any], known: Iterable[str], source: Source) -> None:
    """Refuse the first key that is not known, at its line (the first, for an array of tables)."""
    known = tuple(known)
    for key, value in table.items():
        if key not in known:
            path = (key, 0) if isinstance(value, list) and value and isinstance(value[0], dict) else (key,)
            raise unknown_name(key, known, value, file=source.file, line=source.line(*path))


def _table(data: dict[str, Any], key: str, source: Source) -> dict[str, Any]:
    """Return a table of a table."""
    if isinstance(data[key], dict):
        return data[key]
    with source.blame():
        raise InputError(f"is {shown(data[key])}, needed is a table", field=key, remedy=f"write [{key}] or {key} = {{ ... }}")


def _list(data: dict[str, Any], key: str, source: Source, build: Callable[[dict, Source], Any]) -> tuple:
    """Return the records of an array of tables."""
    tables = data.get(key, [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        with source.blame():
            above = ".".join(name for name in (*source.prefix, key) if isinstance(name, str))
            raise InputError(f"is {shown(tables)}, needed is a list of tables", field=key, remedy=f"write [[{above}]]")
    return tuple(build(table, source.under(key, k)) for k, table in enumerate(tables))


def _record(kind: type, table: dict[str, Any], source: Source, made: dict[str, Any] | None = None) -> Any:
    """Return a record of a table; ``made`` are its fields that are records themselves."""
    made = made or {}
    with source.blame():
        names = [one.name for one in fields(kind) if one.metadata.get("check")]
        _check_names({name: value for name, value in table.items() if name not in made}, names, source)
        values = {name: value for name, value in table.items() if name not in made} | made
        owner = table["kind"] if kind is c.Cooling and table.get("kind") in COOLINGS else kind.__name__.lower()
        for one in fields(kind):
            if one.default is MISSING and one.name not in values:
                raise absent(owner, one.name)
        return kind(**values)


def _variant(table: dict[str, Any], source: Source, people: dict[str, Any] | None) -> c.Variant:
    with source.blame():
        _check_names(table, ("name", "subjects", "start", "phase", "cooling", "measured"), source)
        if people is None:
            remedy = "add [subjects] with n, mass_kg, height_m, sex, clothing"
            raise InputError("needs subjects, which the file does not have", field="variant", remedy=remedy)
        if not table.get("phase"):
            raise InputError("is missing and has no default", field="phase", remedy="add at least one [[variant.phase]]")
        changed = _table(table, "subjects", source) if "subjects" in table else {}
        subjects = _subjects({**people, **changed}, source.under("subjects"))
        made = {
            "subjects": subjects,
            "phases": _list(table, "phase", source, _phase),
            "cooling": _list(table, "cooling", source, _cooling),
            "measured": _list(table, "measured", source, lambda one, here: _measured(one, here, n=subjects.n)),
        }
        if "start" in table:
            made["start"] = _record(c.Start, _table(table, "start", source), source.under("start"))
        return _record(c.Variant, {"name": table["name"]} if "name" in table else {}, source, made)


def _subjects(table: dict[str, Any], source: Source) -> c.Subjects:
    """Return the people; their clothing is a word or a table of numbers."""
    made = {}
    if isinstance(table.get("clothing"), dict):
        made["clothing"] = _record(c.Clothes, table["clothing"], source.under("clothing"))
    return _record(c.Subjects, table, source, made)


def _cooling(table: dict[str, Any], source: Source) -> c.Cooling | c.DeviceWorn:
    """Return what cools: of a device, what is not said of its wearing are fields of its own."""
    if table.get("kind") != "device":
        with source.blame():
            check_word("cooling", "kind", table.get("kind", COOLINGS[0]), COOLINGS)
        return _record(c.Cooling, table, source)
    wear = {name: value for name, value in table.items() if name in WEAR}
    own = {name: value for name, value in table.items() if name not in WEAR}
    return _record(c.DeviceWorn, wear, source, {"own": own})


def _phase(table: dict[str, Any], source: Source) -> c.Phase:
    made = {}
    if "until" in table:
        made["until"] = _record(c.Until, _table(table, "until", source), source.under("until"))
    with source.blame():
        names = [one.name for one in fields(c.Phase)]
        _check_names(table, names, source)
    return _record(c.Phase, table, source, made)


def _measured(table: dict[str, Any], source: Source, n: int | None = None, order: bool = False) -> c.Measured:
    """Return what was measured; people (``n``) are those of the variant unless the table has its own."""
    with source.blame():
        _check_names(table, (*_READ, *(_ORDER if order else _MEASURED)), source)
    read = _record(c.Read, {name: table[name] for name in _READ if name in table}, source)
    values = {name: value for name, value in table.items() if name not in _READ}
    if n is not None:
        values.setdefault("n", n)
    return _record(c.InOrder if order else c.Measured, values, source, {"read": read})


def _comparison(kind: type, table: dict[str, Any], source: Source) -> Any:
    """Return a contrast, slope, order or climate limit: its own fields beside those of a measured value."""
    own = [one.name for one in fields(kind) if one.name != "measured"]
    order = kind is c.Order
    with source.blame():
        _check_names(table, (*own, *_READ, *(_ORDER if order else _MEASURED)), source)
    rest = {name: value for name, value in table.items() if name not in own}
    measured = _measured(rest, source, order=order)
    return _record(kind, {name: table[name] for name in own if name in table}, source, {"measured": measured})


def _law(table: dict[str, Any], source: Source) -> c.Law:
    law = _record(c.Law, table, source)
    with source.blame():
        check_law(law)
    return law
