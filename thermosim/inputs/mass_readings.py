"""Readings of a bench test (``*.mass.csv``): a device on scales, once on a dummy, once on skin."""

import re
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, nearest, shown
from thermosim.inputs.columns import Table, check_increasing, number, read_table
from thermosim.inputs.files import read_text

COLUMNS = ("run", "on", "time_min", "mass_kg", "dripped_kg", "ice_left_kg", "skin_temperature_C")
NEEDED = ("time_min", "mass_kg")
# Condition of a file -> allowed range and unit; the others are words.
CONDITIONS: dict[str, tuple[float, float, str]] = {
    "room_temperature_C": (0.0, 50.0, "°C"),
    "room_humidity_pct": (0.0, 100.0, "%"),
    "air_speed_m_s": (0.0, 10.0, "m/s"),
    "scale_resolution_g": (0.01, 100.0, "g"),
}
WORDS = ("kind", "on", "drips_counted", "note")
SIDES = ("dummy", "skin")
FEWEST_READINGS = 3
_RANGES = {
    "time_min": (0.0, 1440.0, "min"),
    "mass_kg": (0.005, 20.0, "kg"),
    "dripped_kg": (0.0, 20.0, "kg"),
    "ice_left_kg": (0.0, 20.0, "kg"),
    "skin_temperature_C": (0.0, 42.0, "°C"),
}
_GRAMS_FROM = 20.0  # a mass [kg] above this was surely meant in grams
_CONDITION = re.compile(r"^#\s*([A-Za-z]\w*)\s*=\s*(.*?)\s*$")


@dataclass(frozen=True)
class MassRun:
    """One run of a bench test.

    Attributes
    ----------
    name : str
        As the file calls it.
    on : {'dummy', 'skin', ''}
        What the device lay on; empty where neither file nor flag says so.
    time_min, mass_kg : array
        Readings: minutes since the device was laid on [min], device with all that is in it [kg].
    dripped_kg, ice_left_kg, skin_temperature_C : array or None
        What dripped so far [kg], ice left [kg], skin under the device [°C]; NaN where a cell is blank.
    file : str
    lines : list of int
        Line of each reading.
    conditions : dict
        What the head of the file says.
    """

    name: str
    on: str
    time_min: np.ndarray
    mass_kg: np.ndarray
    dripped_kg: np.ndarray | None
    ice_left_kg: np.ndarray | None
    skin_temperature_C: np.ndarray | None
    file: str
    lines: list[int]
    conditions: dict[str, Any] = field(default_factory=dict)

    def refuse(self, position: int, column: str, problem: str, remedy: str) -> InputError:
        """Return the error of one reading, with its line."""
        return InputError(problem, field=column, file=self.file, line=self.lines[position], remedy=remedy)


def read_mass(path, on: str | None = None) -> tuple[list[MassRun], list[str]]:
    """Return the runs of a ``*.mass.csv`` and what is to be said about them.

    Parameters
    ----------
    path : path
        The file; lines ``# name = value`` in it are conditions.
    on : {'dummy', 'skin'}, optional
        Stands for the column of that name, and for the condition.

    Returns
    -------
    runs : list of MassRun
        In the order of the file.
    warnings : list of str
    """
    conditions = read_conditions(path)
    table = read_table(path)
    check_names(table.header, COLUMNS, file=table.file, line=table.header_line)
    for name in NEEDED:
        if name not in table.header:
            raise InputError("is missing", field=name, file=table.file, line=table.header_line, remedy=f"add a column {name}")
    names = _filled(table, "run", "1")
    sides = _sides(table, on or conditions.get("on", ""))
    runs = []
    for key in dict.fromkeys(zip(names, sides)):
        rows = [k for k, one in enumerate(zip(names, sides)) if one == key]
        part = replace(table, rows=[table.rows[k] for k in rows], lines=[table.lines[k] for k in rows])
        runs.append(_run(part, *key, conditions))
    warnings = [
        f"{table.file}: run {run.name} does not say whether it is on a dummy or on skin." for run in runs if not run.on
    ]
    return runs, warnings


def read_conditions(path) -> dict[str, Any]:
    """Return the conditions that lines ``# name = value`` of a file state, each checked."""
    found: dict[str, Any] = {}
    for line, text in enumerate(read_text(path).split("\n"), start=1):
        match = _CONDITION.match(text.strip())
        if match is None:
            continue
        name, value = match[1], re.sub(r"\s+#.*$", "", match[2]).strip().strip("\"'")
        place = {"file": str(path), "line": line}
        check_names([name], (*CONDITIONS, *WORDS), **place)
        if name in found:
            raise InputError("stands twice", field=name, remedy="keep one of them", **place)
        found[name] = _condition(name, value, place)
    return found


def _condition(name: str, value: str, place: dict) -> Any:
    if name in CONDITIONS:
        low, high, unit = CONDITIONS[name]
        return check_condition(name, number(value, name, place["file"], place["line"]), low, high, unit, place)
    if name == "drips_counted":
        if value.lower() in ("true", "false"):
            return value.lower() == "true"
        raise InputError(f"is {shown(value)}, allowed are true and false", field=name, remedy="write true or false", **place)
    if name == "on":
        return check_side(value, **place)
    return value


def check_condition(name: str, value, low: float, high: float, unit: str, place: dict | None = None) -> float:
    """Return a condition that is a number in its range."""
    finite = isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value)
    if finite and low <= value <= high:
        return float(value)
    is_what = f"{shown(value)} {unit}" if finite else shown(value)
    raise InputError(
        f"is {is_what}, allowed is {low:g} to {high:g} {unit}",
        field=name,
        remedy="correct the value or its unit",
        **(place or {}),
    )


def check_side(value: str, **place) -> str:
    """Return ``dummy`` or ``skin``, or refuse with the nearest of them."""
    if value in SIDES:
        return value
    near = nearest(value, SIDES)
    raise InputError(
        f"is {shown(value)}, allowed are dummy and skin",
        field="on",
        remedy=f"did you mean {near}" if near else "write what the device lay on",
        **place,
    )


def _filled(table: Table, column: str, default: str) -> list[str]:
    """Return the words of a column, blank cells taken from above."""
    if column not in table.header:
        return [default] * len(table.rows)
    found: list[str] = []
    for cell in table.cells(column):
        found.append(cell or (found[-1] if found else default))
    return found


def _sides(table: Table, stated: str) -> list[str]:
    """Return what each reading was on; a file that says it in its column is not overruled but compared."""
    if stated:
        check_side(stated)
    if "on" not in table.header:
        return [stated] * len(table.rows)
    found = [
        check_side(cell, file=table.file, line=line) if cell else stated for cell, line in zip(table.cells("on"), table.lines)
    ]
    for side, line in zip(found, table.lines):
        if not side:
            raise InputError(
                "is blank, allowed are dummy and skin", field="on", file=table.file, line=line, remedy="fill the cell"
            )
    return found


def _run(table: Table, name: str, on: str, conditions: dict) -> MassRun:
    columns = {column: table.numbers(column) if column in table.header else None for column in COLUMNS[2:]}
    columns = {
        key: None if values is None or np.isnan(values).all() and key not in NEEDED else values
        for key, values in columns.items()
    }
    run = MassRun(name, on, *columns.values(), file=table.file, lines=table.lines, conditions=conditions)
    for column in NEEDED:
        for position in np.flatnonzero(np.isnan(columns[column])):
            raise run.refuse(position, column, "is blank, allowed is a reading in every row", "fill the cell or cut the row")
    for column, values in columns.items():
        if values is not None:
            _check_range(run, column, values)
    check_increasing(60.0 * run.time_min, table, "time_min")
    if run.time_min.size < FEWEST_READINGS:
        raise run.refuse(
            0, "run", f"{name} has {run.time_min.size} readings, needed are {FEWEST_READINGS} or more", "weigh more often"
        )
    _check_way(
        run,
        "ice_left_kg",
        run.ice_left_kg,
        -1.0,
        "rises, allowed is ice that only melts",
        "check the weighing, or give a new charge a run of its own",
    )
    _check_way(
        run, "dripped_kg", run.dripped_kg, 1.0, "falls, allowed is what dripped since the start", "add up what dripped before"
    )
    return run


def _check_range(run: MassRun, column: str, values: np.ndarray) -> None:
    low, high, unit = _RANGES[column]
    for position in np.flatnonzero((values < low) | (values > high)):
        grams = unit == "kg" and values[position] > _GRAMS_FROM
        remedy = f"looks like g: write {values[position] / 1000.0:.6g} kg" if grams else "correct the value or its unit"
        problem = f"is {shown(values[position])} {unit}, allowed is {low:g} to {high:g} {unit}"
        raise run.refuse(int(position), column, problem, remedy)


def _check_way(run: MassRun, column: str, values, way: float, problem: str, remedy: str) -> None:
    """Refuse a column that goes against its way; blank cells are passed over."""
    if values is None:
        return
    there = np.flatnonzero(~np.isnan(values))
    against = way * np.diff(values[there]) < -1e-9
    if against.any():
        k = int(np.argmax(against)) + 1
        before, here = values[there[k - 1]], values[there[k]]
        raise run.refuse(int(there[k]), column, f"is {here:g} kg after {before:g} kg: it {problem}", remedy)
