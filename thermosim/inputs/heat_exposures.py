"""Heat exposures one by one: dates (or days before the run) and minutes, from a list or a ``*.heat.csv``."""

import datetime
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pydantic import field_validator, model_validator

from thermosim.errors import InputError
from thermosim.inputs.checks import Card, check_names, check_range, shown
from thermosim.inputs.columns import read_table
from thermosim.parameters import value

UNTOLD = ("heat_exposures", "run_date")  # fields of a runner that are no numbers, words or flags
COLUMNS = ("date", "days_before", "minutes")
MOST_DAYS = 60  # before the run: older heat is no longer there
MOST_EXPOSURES = 200
RECENT_DAYS = 14  # of which the plain number of heat days tells


class Exposure(Card):
    """One time in the heat: a ``date`` (or ``days_before`` the run) and its ``minutes`` of exercise."""

    date: str | None = None
    days_before: int | None = None
    minutes: float

    @field_validator("date", mode="before")
    @classmethod
    def _date(cls, value):
        return None if value is None else _date_of(value, "date").isoformat()

    @field_validator("days_before", mode="before")
    @classmethod
    def _days(cls, value):
        if value is None or isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MOST_DAYS:
            return value
        problem = f"is {shown(value)}, allowed are whole days, 1 to {MOST_DAYS}, before the run"
        raise InputError(problem, field="days_before", remedy="count back from the day of the run; older heat has gone")

    @field_validator("minutes", mode="before")
    @classmethod
    def _minutes(cls, value):
        return check_range("heat_minutes", value, field="minutes")

    @model_validator(mode="after")
    def _when(self):
        if (self.date is None) == (self.days_before is None):
            problem = "has no date" if self.date is None else "has a date and days_before, which say the same"
            raise InputError(problem, field="heat_exposures", remedy="give date or days_before")
        return self


def _date_of(value: Any, field: str) -> datetime.date:
    """Return a date of TOML or text, YYYY-MM-DD."""
    if isinstance(value, datetime.datetime):
        return value.date()
    if isinstance(value, datetime.date):
        return value
    try:
        return datetime.date.fromisoformat(value)
    except (TypeError, ValueError):
        problem = f"is {shown(value)}, allowed is a date, YYYY-MM-DD"
        raise InputError(problem, field=field, remedy="write e.g. 2026-06-20") from None


def check_exposures(value: Any) -> tuple[Exposure, ...]:
    """Return a list of exposures, checked one by one; the error names the one that is wrong."""
    if not isinstance(value, (list, tuple)) or not value or not all(isinstance(one, (dict, Exposure)) for one in value):
        problem = f"is {shown(value)}, needed is a list of {{date, minutes}}"
        remedy = "write e.g. heat_exposures = [{date = 2026-06-20, minutes = 60}], or name a *.heat.csv"
        raise InputError(problem, field="heat_exposures", remedy=remedy)
    if len(value) > MOST_EXPOSURES:
        raise InputError(
            f"has {len(value)} entries, allowed are up to {MOST_EXPOSURES}", field="heat_exposures", remedy="drop old ones"
        )
    found = []
    for k, one in enumerate(value, start=1):
        try:
            if isinstance(one, dict):
                check_names(one, COLUMNS, one)
                if "minutes" not in one:
                    raise InputError("is missing and has no default", field="minutes", remedy="give the minutes in the heat")
            found.append(one if isinstance(one, Exposure) else Exposure(**one))
        except InputError as error:
            raise InputError(error.problem, field=f"heat_exposures[{k}].{error.field}", remedy=error.remedy) from None
    return tuple(found)


def read_exposures(value: Any, folder: Path) -> tuple[Exposure, ...]:
    """Return exposures from a list, or from the ``*.heat.csv`` that a text names."""
    return read_heat_csv(folder / value) if isinstance(value, str) else check_exposures(value)


def read_heat_csv(path) -> tuple[Exposure, ...]:
    """Read a ``*.heat.csv``: ``date`` or ``days_before``, and ``minutes``; a row an exposure."""
    table = read_table(path)
    check_names(table.header, COLUMNS, file=table.file, line=table.header_line)
    when = [name for name in COLUMNS[:2] if name in table.header]
    if len(when) != 1 or "minutes" not in table.header:
        problem = "needs the columns date (or days_before) and minutes"
        raise InputError(problem, file=table.file, line=table.header_line, remedy="write e.g. date,minutes")
    minutes, found = table.numbers("minutes"), []
    for cell, number, line in zip(table.cells(when[0]), minutes, table.lines):
        moment = int(cell) if when[0] == "days_before" and cell.isdecimal() else cell
        try:
            found.append(Exposure(**{when[0]: moment, "minutes": float(number)}))
        except InputError as error:
            raise InputError(error.problem, field=error.field, file=table.file, line=line, remedy=error.remedy) from None
    return tuple(found)


def run_day(date: Any, start: Any) -> str | None:
    """Return the day of the run: as stated, else from the weather's start; None where nothing says it."""
    if date is not None:
        return _date_of(date, "date").isoformat()
    return start[:10] if isinstance(start, str) and len(start) >= 10 else None


def when_days(exposures: Iterable[Exposure], run_date: str | None) -> dict[int, float]:
    """Return days before the run -> minutes in the heat that day.

    Dates are counted back from the day of the run, or, where it is not given, from the day after the last of them.

    Raises
    ------
    InputError
        An exposure on the day of the run or after it, or one too long ago.

    Examples
    --------
    >>> two = check_exposures([{"date": "2026-06-20", "minutes": 60}, {"date": "2026-06-18", "minutes": 45}])
    >>> when_days(two, "2026-06-23")
    {3: 60.0, 5: 45.0}
    >>> when_days(two, None)
    {1: 60.0, 3: 45.0}
    """
    exposures = tuple(exposures)
    dates = [datetime.date.fromisoformat(one.date) for one in exposures if one.date]
    day = datetime.date.fromisoformat(run_date) if run_date else max(dates, default=datetime.date.min)
    found: dict[int, float] = {}
    for k, one in enumerate(exposures, start=1):
        before = one.days_before
        if before is None:
            before = (day - datetime.date.fromisoformat(one.date)).days + (0 if run_date else 1)
        if not 1 <= before <= MOST_DAYS:
            word = "on the day of the run or after it" if before < 1 else f"{before} days before the run"
            problem = f"is {one.date}, {word} ({run_date or 'day after the last'}), allowed is 1 to {MOST_DAYS} days before"
            raise InputError(problem, field=f"heat_exposures[{k}].date", remedy="correct the date, or drop the entry")
        found[before] = found.get(before, 0.0) + one.minutes
    return found


def full_heat_days(exposures: Iterable[Exposure], run_date: str | None) -> float:
    """Return the heat days of the last 14 days as their dose: minutes over those of a full heat day, at most one a day.

    Examples
    --------
    >>> short = check_exposures([{"days_before": day, "minutes": 5} for day in range(1, 6)])
    >>> round(full_heat_days(short, None), 2)
    0.42
    """
    full = value("heat_dose_minutes")
    return sum(min(minutes / full, 1.0) for day, minutes in when_days(exposures, run_date).items() if day <= RECENT_DAYS)
