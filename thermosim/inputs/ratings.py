"""Recorded ratings of effort and of thermal sensation, each on a numbered category scale that the user declares."""

import math
import numbers
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import field_validator, model_validator

from thermosim.errors import InputError
from thermosim.inputs.checks import Card, check_names, check_range, shown
from thermosim.inputs.columns import Table, read_table
from thermosim.inputs.files import Source
from thermosim.inputs.plain import SameContent, array, plain

KINDS = ("effort", "thermal_sensation")
COLUMNS = ("time_min", *KINDS)
SCALE_FIELDS = {"effort": "effort_scale", "thermal_sensation": "sensation_scale"}
FIELDS = ("file", *SCALE_FIELDS.values())
LONGEST_LABEL, LARGEST_NUMBER = 40, 1000.0
_EXAMPLE = '{name = "…", low = 0, high = 10, low_label = "…", high_label = "…"}'


class Scale(Card):
    """A numbered category scale: the user's own words, no scale is built in.

    Parameters
    ----------
    name : str
        What the user calls it, up to 40 characters.
    low, high : float
        Its end numbers.
    low_label, high_label : str
        What the ends say, up to 40 characters each.

    Examples
    --------
    >>> Scale(name="how hot I feel", low=1, high=9, low_label="very cold", high_label="very hot").words()
    'how hot I feel, 1 (very cold) to 9 (very hot)'
    """

    name: str
    low: float
    high: float
    low_label: str
    high_label: str

    @field_validator("name", "low_label", "high_label", mode="before")
    @classmethod
    def _text(cls, value, info):
        if isinstance(value, str) and value.strip() and len(value) <= LONGEST_LABEL and value.isprintable():
            return value.strip()
        problem = f"is {shown(value)}, allowed is a text of 1 to {LONGEST_LABEL} printable characters"
        raise InputError(problem, field=info.field_name, remedy="write the words of your scale in quotes")

    @field_validator("low", "high", mode="before")
    @classmethod
    def _number(cls, value, info):
        number = isinstance(value, numbers.Real) and not isinstance(value, bool)
        if number and abs(value) <= LARGEST_NUMBER:  # type: ignore[operator]  # a number by now; NaN is refused
            return float(value)
        problem = f"is {shown(value)}, allowed are numbers from {-LARGEST_NUMBER:g} to {LARGEST_NUMBER:g}"
        raise InputError(problem, field=info.field_name, remedy="give the end number of your scale")

    @model_validator(mode="after")
    def _ascending(self):
        if not self.low < self.high:
            problem = f"is {self.high:g}, allowed is more than low, which is {self.low:g}"
            raise InputError(problem, field="high", remedy="give the lower end number first, or exchange the ends")
        return self

    def words(self) -> str:
        """Return the scale in one phrase."""
        return f"{self.name}, {self.low:g} ({self.low_label}) to {self.high:g} ({self.high_label})"


@dataclass(frozen=True, eq=False)
class Ratings(SameContent):
    """What a runner said during the run; it is shown beside the model and enters nothing.

    Attributes
    ----------
    time_min : ndarray
        Time since the start of the run [min], increasing.
    effort, thermal_sensation : ndarray
        Numbers on the declared scales; NaN where there is none.
    effort_scale, sensation_scale : Scale or None
        None where nothing of that kind was rated.
    source : str
        Name of the file.
    """

    time_min: np.ndarray
    effort: np.ndarray
    thermal_sensation: np.ndarray
    effort_scale: Scale | None
    sensation_scale: Scale | None
    source: str = ""

    def scale(self, kind: str) -> Scale | None:
        """Return the scale of ``effort`` or ``thermal_sensation``; None where nothing was rated."""
        return getattr(self, SCALE_FIELDS[kind])

    def later_than(self, minutes: float) -> int:
        """Return how many rated times lie after the end of a run [min]."""
        return int((self.time_min > minutes + 1e-9).sum())

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values."""
        scales = {name: getattr(self, name) for name in SCALE_FIELDS.values()}
        return {
            **{name: plain(getattr(self, name)) for name in COLUMNS},
            **{name: None if scale is None else scale.model_dump() for name, scale in scales.items()},
            "source": self.source,
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Ratings":
        """Return the ratings of :meth:`to_dict`."""
        scales = [None if data[name] is None else Scale(**data[name]) for name in SCALE_FIELDS.values()]
        return cls(*(array(data[name]) for name in COLUMNS), *scales, data["source"])

    @classmethod
    def from_table(cls, table: Any, folder: Path, source: Source) -> "Ratings":
        """Return the ratings of a session's ``[ratings]`` table: ``file``, ``effort_scale``, ``sensation_scale``."""
        with source.blame():
            if not isinstance(table, dict):
                problem = f"is {shown(table)}, needed is a table"
                raise InputError(problem, remedy="write [ratings] and file = … below")
            check_names(table, FIELDS, table)
            if not isinstance(table.get("file"), str):
                problem = f"is {shown(table.get('file'))}, needed is the name of a *.ratings.csv"
                raise InputError(problem, field="file", remedy='write file = "….ratings.csv"')
        scales = {kind: _scale(table[name], name, source) for kind, name in SCALE_FIELDS.items() if name in table}
        return read_ratings(folder / table["file"], scales)


def _scale(value: Any, name: str, source: Source) -> Scale:
    with source.blame():
        if isinstance(value, dict):
            try:
                return Scale(**value)
            except InputError as error:
                raise InputError(error.problem, field=f"{name}.{error.field}", remedy=error.remedy) from None
        problem = f"is {shown(value)}, allowed is a table of name, low, high, low_label, high_label"
        raise InputError(problem, field=name, remedy=f"write {name} = {_EXAMPLE}")


def read_ratings(path, scales: dict[str, Scale]) -> Ratings:
    """Read a ``*.ratings.csv``.

    Parameters
    ----------
    path : str or Path
        Delimited text with ``time_min`` [min since the start of the run] and ``effort``, ``thermal_sensation`` or both;
        cells may be empty, lines that begin with ``#`` are skipped.
    scales : dict
        ``effort`` and ``thermal_sensation`` -> :class:`Scale`, for the columns that are there.

    Raises
    ------
    InputError
        With file and line: an unknown column, times that do not increase, a number off its scale, a scale that is missing.
    """
    table = read_table(path)
    place: dict[str, Any] = {"file": table.file, "line": table.header_line}
    check_names(table.header, COLUMNS, **place)
    if "time_min" not in table.header:
        raise InputError("has no column time_min", remedy="add the minutes since the start of the run", **place)
    rated = [kind for kind in KINDS if kind in table.header]
    if not rated:
        problem = f"has no column of ratings, needed is {' or '.join(KINDS)}"
        raise InputError(problem, remedy="add one of these columns", **place)
    for kind in KINDS:
        _matched(kind, kind in rated, kind in scales, place)
    times = _times(table)
    found = {kind: _numbers(table, kind, scales[kind]) for kind in rated}
    if all(bool(np.isnan(column).all()) for column in found.values()):
        raise InputError("holds no rating: every cell is empty", remedy="fill in the ratings, or drop [ratings]", **place)
    absent = np.full(len(times), math.nan)
    columns = (array(found.get(kind, absent)) for kind in KINDS)
    return Ratings(array(times), *columns, *(scales.get(kind) for kind in KINDS), Path(path).name)


def _matched(kind: str, rated: bool, declared: bool, place: dict[str, Any]) -> None:
    """Refuse a column without a scale, and a scale without a column."""
    name = SCALE_FIELDS[kind]
    if rated and not declared:
        problem = f"has the column {kind}, but no {name} is declared: no scale is built in"
        raise InputError(problem, remedy=f"add to [ratings] {name} = {_EXAMPLE}", **place)
    if declared and not rated:
        problem = f"has no column {kind}, but {name} is declared"
        raise InputError(problem, remedy=f"add the column {kind}, or drop {name} from [ratings]", **place)


def _times(table: Table) -> np.ndarray:
    times = table.numbers("time_min")
    for k, (minute, line) in enumerate(zip(times, table.lines, strict=True)):
        place: dict[str, Any] = {"field": "time_min", "file": table.file, "line": line}
        if math.isnan(minute):
            raise InputError("is empty, allowed is a time in every row", remedy="give the time or cut the row", **place)
        check_range("time_min", float(minute), file=table.file, line=line)
        if k and not minute > times[k - 1]:
            problem = f"is {minute:g} min after {times[k - 1]:g} min, allowed are times that increase"
            raise InputError(problem, remedy="sort the rows by time, one row for each time", **place)
    return times


def _numbers(table: Table, kind: str, scale: Scale) -> np.ndarray:
    column = table.numbers(kind)
    for number, line in zip(column, table.lines, strict=True):
        if number < scale.low or number > scale.high:  # an empty cell is NaN, and neither
            problem = f"is {number:g}, allowed on the scale \"{scale.name}\" is {scale.low:g} to {scale.high:g}"
            remedy = f"correct the rating, or the ends of {SCALE_FIELDS[kind]} in [ratings]"
            raise InputError(problem, field=kind, file=table.file, line=line, remedy=remedy)
    return column


__all__ = ["COLUMNS", "KINDS", "Ratings", "Scale", "read_ratings"]
