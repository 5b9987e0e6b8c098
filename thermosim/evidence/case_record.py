"""The base of the records of a case, their kinds of fields, and how fields of one record exclude each other."""

from collections.abc import Callable, Iterator
from dataclasses import MISSING, dataclass, field, fields, replace
from functools import partial
from typing import Any

from thermosim.errors import InputError
from thermosim.evidence import case_fields as f
from thermosim.inputs.checks import shown
from thermosim.parameters import SEGMENTS
from thermosim.variables import INPUTS, Variable


def _field(check: Callable, default: Any, **metadata: Any) -> Any:
    return field(default=default, metadata={"check": check, **metadata})


def number(default: Any = None, blank: bool = False) -> Any:
    """Return a field for a number; with ``blank`` it may name a blank."""
    return _field(partial(f.check_number, blank=blank), default, blank=blank)


def whole(default: Any = None) -> Any:
    """Return a field for a whole number."""
    return _field(f.check_whole, default)


def text(default: Any = MISSING, longest: int = 200) -> Any:
    """Return a field for a text; it may be empty when that is its default."""
    return _field(partial(f.check_text, longest=longest, empty=default == ""), default)


def choice(among: tuple[str, ...], default: Any = MISSING) -> Any:
    """Return a field for one of several words."""
    return _field(partial(f.check_word, among=among), default)


def choice_or(among: tuple[str, ...], kind: type) -> Any:
    """Return a field for one of several words, or a record of a kind that is made already."""

    def check(owner: str, name: str, value: Any) -> Any:
        return value if isinstance(value, kind) else f.check_word(owner, name, value, among)

    return _field(check, MISSING)


def flag(default: bool) -> Any:
    """Return a field for true or false."""
    return _field(f.check_yes_no, default)


def words(default: Any = (), among: tuple[str, ...] = (), alone: tuple[str, ...] = ()) -> Any:
    """Return a field for a list of words (or one word of ``alone``)."""
    return _field(partial(f.check_words, among=among, alone=alone), default)


def segments() -> Any:
    """Return a field for body segments."""
    return words(among=SEGMENTS, alone=f.BATHS)


def minute_list() -> Any:
    """Return a field for rising minutes."""
    return _field(f.check_minutes, ())


def arguments() -> Any:
    """Return a field for the arguments of a law."""
    return _field(f.check_arguments, ())


@dataclass(frozen=True, kw_only=True)
class Record:
    """Base of the records of a case: checks its own fields, then (:meth:`agree`) how they fit together."""

    def __post_init__(self):
        for one in fields(self):
            value, check = getattr(self, one.name), one.metadata.get("check")
            if check is not None and not (value is None and one.default is None):
                object.__setattr__(self, one.name, check(self.owner, one.name, value))
        self.agree()

    @property
    def owner(self) -> str:
        """Name under which the ranges of this record stand."""
        return type(self).__name__.lower()

    def agree(self) -> None:
        """Refuse fields that do not fit together."""

    def blanks_named(self) -> Iterator[tuple[str, str]]:
        """Yield (field, name of the blank) for every ``"?name"`` in this record."""
        for one in fields(self):
            value = getattr(self, one.name)
            if one.metadata.get("blank") and f.is_blank(value):
                yield one.name, value[1:]

    def with_numbers(self, found: dict[str, float]) -> "Record":
        """Return the record with numbers in these fields."""
        return replace(self, **found) if found else self

    def range_of(self, name: str) -> Variable:
        """Return unit and range of a field of this record."""
        return f.range_of(self.owner, name)


def absent(owner: str, name: str) -> InputError:
    """Return the error of a required field that is not there."""
    remedy = f"add {name}"
    if name in f.RANGES or f"{owner}.{name}" in f.RANGES or name in INPUTS:
        variable = f.range_of(owner, name)
        remedy += f", {variable.long_name}, {f.range_words(variable)}"
    return InputError("is missing and has no default", field=name, remedy=remedy)


def _given(record: Record, names: tuple[str, ...]) -> list[str]:
    return [name for name in names if getattr(record, name) not in (None, ())]


def none_of(record: Record, names: tuple[str, ...], where: str) -> None:
    """Refuse the first of these fields that is given."""
    for name in _given(record, names):
        problem = f"is {shown(getattr(record, name))}, but nothing is allowed here {where}"
        raise InputError(problem, field=name, remedy="remove it")


def at_most_one(record: Record, names: tuple[str, ...], what: str) -> None:
    """Refuse the second of these fields that is given."""
    given = _given(record, names)
    if len(given) > 1:
        first, second = (shown(getattr(record, name)) for name in given[:2])
        problem = f"is {second} beside {given[0]} {first}, allowed is one {what}"
        raise InputError(problem, field=given[1], remedy=f"keep {given[0]} or {given[1]}")


def exactly_one(record: Record, names: tuple[str, ...], what: str) -> None:
    """Refuse none and two of these fields."""
    if not _given(record, names):
        ways = ", ".join(f"{name} ({f.range_words(f.range_of(record.owner, name))})" for name in names)
        raise InputError(f"is missing: no {what} is given", field=names[0], remedy=f"give one of {ways}")
    at_most_one(record, names, what)
