"""The course sheet, ``*.course.csv``: read with line numbers, and written."""

import math
from typing import Any

import numpy as np

from thermosim.clock import clock_seconds
from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, check_range, missing, nearest, shown, unknown_name
from thermosim.inputs.columns import NULL_WORDS, Table, number, read_table
from thermosim.inputs.course import Checkpoint, Course
from thermosim.inputs.course_elevation import GRID_M, ascent, profile, without_spikes
from thermosim.inputs.files import read_text

ALONG, ON_MAP = "distance_km", "map_distance_km"
HOLDS = ("heading_deg", "shade", "exposure", "surface_factor")  # from a row to the next that says otherwise
AT_PLACE = ("opens", "water", "ice_probability", "crew", "cut_off", "stop_min", "note")
COLUMNS = (ALONG, ON_MAP, "elevation_m", *HOLDS, "section", "checkpoint", *AT_PLACE)
DEFAULTS = {"heading_deg": math.nan, "shade": 0.0, "exposure": 1.0, "surface_factor": 1.0}
# Share of the wind at 1.5 m in the open that reaches the runner: choices of ours, for want of a source.
EXPOSURE_WORDS = {"still": 0.1, "sheltered": 0.4, "mixed": 0.7, "open": 1.0, "windy": 1.3}
_YES, _NO = ("yes", "true", "1"), ("no", "false", "0", "")
_MOST = 1e-6

EXAMPLE = """\
# Course sheet. Each row is a place; what it says of the ground holds from there to the next row that says otherwise.
# distance_km: along the ground, as run (or map_distance_km: horizontal). elevation_m: may be left blank between rows.
# heading_deg: direction of running, 0 north, 90 east; needed only where the wind is given in degrees.
# shade: share of the sun kept off, 0 to 1. exposure: share of the wind that is left (1 open), or still, sheltered, mixed,
#   open, windy. surface_factor: multiplies the cost of moving (1 even ground). section: a name for the stretch.
# checkpoint: a name; then opens and cut_off (HH:MM), water and crew (yes, no), ice_probability (0 to 1), stop_min, note.
distance_km,elevation_m,heading_deg,shade,exposure,surface_factor,section,checkpoint,opens,water,ice_probability,crew,cut_off,stop_min,note
0,4,60,0.1,open,1.0,quay,,,,,,,,
2.5,6,80,0.5,sheltered,1.05,orchard,W1,06:00,yes,,no,,,
4.0,96,110,0.5,sheltered,1.1,orchard,,,,,,,,
4.6,90,200,0,windy,1.1,ridge,W2,,yes,0.7,yes,08:30,2,van at the gate
7.0,12,250,0.3,mixed,1.0,lane,,,,,,,,
8.2,4,250,0.3,mixed,1.0,lane,finish,,yes,1,yes,09:30,,
"""


SMOOTHED = "# Elevation is smoothed already, window"  # first line of a sheet that was written from a course


def smoothed_before(path) -> bool:
    """Return whether a sheet says that its elevation was smoothed when it was written."""
    return read_text(path).startswith(SMOOTHED)


def read_course_sheet(path, smoothing_m: float) -> Course:
    """Read a course sheet; every refusal names the file and the line.

    Parameters
    ----------
    path : path
    smoothing_m : float
        Standard deviation of the window over elevation [m].
    """
    table = read_table(path)
    _columns(table)
    along = ALONG in table.header
    notes: list[str] = []
    distance = _distances(table, ALONG if along else ON_MAP)
    heights = _elevations(table, distance, notes)
    raw = ascent(heights)
    heights, moved = without_spikes(distance, heights)
    if moved:
        lines = ", ".join(str(table.lines[k]) for k in moved[:5])
        notes.append(
            f"Elevation spikes in line{'s' if len(moved) > 1 else ''} {lines} were put on the line between their neighbours."
        )
    _not_steeper_than_a_wall(table, distance, heights, along)
    made = profile(distance, heights, smoothing_m, along_ground=along)
    held = {name: _held(table, name, notes) for name in HOLDS}
    starts = np.interp(distance, made.distance_m if along else made.horizontal_m, made.distance_m)
    middle = 0.5 * (made.distance_m[:-1] + made.distance_m[1:])
    row = np.clip(np.searchsorted(starts, middle, side="right") - 1, 0, len(distance) - 2)
    how = "along the ground, as the sheet says" if along else (
        "on the map, as the sheet says; along the ground it follows from the elevation"
    )  # fmt: skip
    notes.append(f"Distance is {how}; elevation is straight between rows and read every {GRID_M:g} m.")
    return Course(
        *made, held["heading_deg"][row], starts[:-1], *(held[name][:-1] for name in HOLDS[1:]), _sections(table)[:-1],
        _checkpoints(table, starts), raw, smoothing_m, tuple(notes),
    )  # fmt: skip


def _columns(table: Table) -> None:
    for name in table.header:
        if name not in COLUMNS:
            if not nearest(name, COLUMNS):
                check_names([name], COLUMNS, file=table.file, line=table.header_line)
            raise unknown_name(name, COLUMNS, file=table.file, line=table.header_line)
    given = [name for name in (ALONG, ON_MAP) if name in table.header]
    if len(given) != 1:
        problem = f"has {'both distance columns' if given else 'no distance column'}, needed is one of {ALONG} and {ON_MAP}"
        raise InputError(problem, file=table.file, line=table.header_line,
                         remedy=f"{ALONG} is along the ground, {ON_MAP} horizontal")  # fmt: skip
    if "elevation_m" not in table.header:
        raise missing("elevation_m", file=table.file, line=table.header_line)
    if "checkpoint" not in table.header and (alone := [name for name in AT_PLACE if name in table.header]):
        raise InputError("is given without the column checkpoint", field=alone[0], file=table.file, line=table.header_line,
                         remedy="add checkpoint with the name of each place")  # fmt: skip


def _distances(table: Table, name: str) -> np.ndarray:
    """Return the distances [m]: from 0, rising, one in every row."""
    if len(table.rows) < 2:
        raise InputError("has one row, needed are the start and the finish", file=table.file, line=table.lines[0],
                         remedy="add a row for the finish")  # fmt: skip
    km = table.numbers(name)
    for k, (value, line) in enumerate(zip(km, table.lines)):
        place = {"field": name, "file": table.file, "line": line}
        if value != value:
            raise InputError("is empty, allowed is a distance in every row", remedy="give the distance or cut the row", **place)
        check_range("distance_km", float(value), **place)
        if k == 0 and value != 0.0:
            raise InputError(f"is {value:g} km in the first row, needed is 0", remedy="begin at the start", **place)
        if k and value <= km[k - 1]:
            how = "repeats" if value == km[k - 1] else "runs backwards"
            problem = f"{how} ({value:g} km after {km[k - 1]:g} km), allowed are distances that rise"
            remedy = "write all of one place into one row" if value == km[k - 1] else "sort the rows, or mend this one"
            if value == km[k - 1] and km.max() == 0.0:
                problem, remedy = "is 0 km throughout: the course has no length", "give the distances of its rows"
            raise InputError(problem, remedy=remedy, **place)
    if km[-1] * 1000.0 < 20.0:
        problem = f"ends at {1000.0 * km[-1]:.0f} m, needed are 20 m or more of way"
        raise InputError(problem, field=name, file=table.file, line=table.lines[-1], remedy="give distances in km")
    return 1000.0 * km


def _elevations(table: Table, distance: np.ndarray, notes: list[str]) -> np.ndarray:
    heights = table.numbers("elevation_m")
    for value, line in zip(heights, table.lines):
        if value == value:
            try:
                check_range("elevation_m", float(value), file=table.file, line=line)
            except InputError as error:
                code = abs(value) >= 999.0 and set(f"{abs(value):.0f}") == {"9"} or value in (-32768.0, 32767.0)
                if not code:
                    raise
                problem = f"{error.problem}; {value:g} looks like a code for a missing value"
                raise InputError(
                    problem, field="elevation_m", file=table.file, line=line, remedy="leave the cell empty"
                ) from None
    known = np.isfinite(heights)
    for k in (0, -1):
        if not known[k]:
            raise InputError("is empty, needed in the first and the last row", field="elevation_m", file=table.file,
                             line=table.lines[k], remedy="give the elevation")  # fmt: skip
    if not known.all():
        notes.append(f"Elevation is blank in {int((~known).sum())} rows: there it is the line between its neighbours.")
    return np.interp(distance, distance[known], heights[known])


def _not_steeper_than_a_wall(table, distance, heights, along: bool) -> None:
    steps, rises = np.diff(distance), np.diff(heights)
    for k in np.flatnonzero(np.abs(rises) >= steps):
        if along:
            problem = (
                f"changes by {rises[k]:+.0f} m within {steps[k]:.0f} m along the ground, allowed is less than the way itself"
            )
            raise InputError(problem, field="elevation_m", file=table.file, line=table.lines[k + 1],
                             remedy="mend the elevation or the distance of this row")  # fmt: skip


def _held(table: Table, name: str, notes: list[str]) -> np.ndarray:
    """Return a column whose blanks are what stands above; a blank first row is the default, said in the notes."""
    default = DEFAULTS[name]
    if name not in table.header:
        if name != "heading_deg":
            notes.append(f"{name} is the default, {default:g}.")
        return np.full(len(table.rows), default)
    found, value, words = [], default, set()
    for cell, line in zip(table.cells(name), table.lines):
        if name == "exposure" and cell in EXPOSURE_WORDS:
            value = EXPOSURE_WORDS[cell]
            words.add(cell)
        elif cell.lower() not in NULL_WORDS:
            value = check_range(name, _number(cell, name, table.file, line), file=table.file, line=line)
        elif not found and name != "heading_deg":
            notes.append(f"{name} is blank in the first row: the default, {default:g}.")
        found.append(value)
    if words:
        told = ", ".join(f"{word} {EXPOSURE_WORDS[word]:g}" for word in EXPOSURE_WORDS if word in words)
        notes.append(f"Exposure in words is taken as a share of the wind: {told} (our choice, no source).")
    return np.array(found)


def _number(cell: str, name: str, file: str, line: int) -> float:
    try:
        return number(cell, name, file, line)
    except InputError as error:
        if name != "exposure":
            raise
        close = nearest(cell, EXPOSURE_WORDS)
        problem = f"is {shown(cell)}, allowed are a share of the wind and {', '.join(EXPOSURE_WORDS)}"
        raise InputError(problem, field=name, file=file, line=line,
                         remedy=f"did you mean {close}" if close else error.remedy) from None  # fmt: skip


def _sections(table: Table) -> tuple[str, ...]:
    if "section" not in table.header:
        return ("",) * len(table.rows)
    found: list[str] = []
    for cell, line in zip(table.cells("section"), table.lines):
        if len(cell) > 40:
            raise InputError(f"is {shown(cell)}, allowed are up to 40 characters", field="section", file=table.file, line=line,
                             remedy="shorten it")  # fmt: skip
        found.append(cell or (found[-1] if found else ""))
    return tuple(found)


def _checkpoints(table: Table, starts: np.ndarray) -> tuple[Checkpoint, ...]:
    if "checkpoint" not in table.header:
        return ()
    cells = {name: table.cells(name) for name in ("checkpoint", *AT_PLACE) if name in table.header}
    found: dict[str, Checkpoint] = {}
    for k, line in enumerate(table.lines):
        row = {name: "" if column[k].lower() in NULL_WORDS else column[k] for name, column in cells.items()}
        name = row.pop("checkpoint")
        if not name:
            if given := [key for key, cell in row.items() if cell]:
                raise InputError(f"is {shown(row[given[0]])} in a row without a checkpoint", field=given[0], file=table.file,
                                 line=line, remedy="name the checkpoint, or clear the cell")  # fmt: skip
            continue
        if name in found or len(name) > 40:
            problem = f"is {shown(name)} a second time" if name in found else f"is {shown(name)}, allowed are up to 40 characters"
            raise InputError(problem, field="checkpoint", file=table.file, line=line, remedy="give it a short name of its own")
        found[name] = Checkpoint(name, float(starts[k]), **_at_place(row, table.file, line))
    return tuple(found.values())


def _at_place(row: dict[str, str], file: str, line: int) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in ("opens", "cut_off"):
        if row.get(name):
            seconds = clock_seconds(row[name])
            if seconds is None:
                raise InputError(f"is {shown(row[name])}, allowed is HH:MM, 00:00 to 24:00", field=name, file=file, line=line,
                                 remedy="write e.g. 05:40")  # fmt: skip
            found[f"{name}_s"] = seconds % 86400.0
    for name in ("water", "crew"):
        if name in row:
            if row[name].lower() not in (*_YES, *_NO):
                raise InputError(f"is {shown(row[name])}, allowed are yes and no", field=name, file=file, line=line,
                                 remedy="write yes or no")  # fmt: skip
            found[name] = row[name].lower() in _YES
    for name in ("ice_probability", "stop_min"):
        if row.get(name):
            found[name] = check_range(name, number(row[name], name, file, line), file=file, line=line)
    if row.get("note"):
        found["note"] = row["note"][:80]
    return found


def sheet_text(course: Course, step_m: float = 50.0) -> str:
    """Return a course sheet with distance along the ground, elevation and heading alone, a row each ``step_m``.

    Names, checkpoints and everything else of the file that it was read from stay behind.
    """
    count = max(round(course.length_m / step_m), 1)
    places = np.linspace(0.0, course.length_m, count + 1)
    heights = np.interp(places, course.distance_m, course.elevation_m)
    rows = [
        f"{SMOOTHED} {course.smoothing_m:g} m: not smoothed again unless smoothing_m is given.",
        "# Course sheet: distance along the ground, elevation, heading. Distance and heading together draw the",
        "# shape of the course: clear the column heading_deg if the place must not be told.",
        "distance_km,elevation_m,heading_deg",
    ]
    for k, (place, height) in enumerate(zip(places, heights)):
        ahead = mean_heading(course, place, places[min(k + 1, count)])
        rows.append(f"{place / 1000.0:.4f},{height:.1f},{'' if math.isnan(ahead) else f'{ahead:.0f}'}")
    return "\n".join(rows) + "\n"


def mean_heading(course: Course, start_m: float, end_m: float) -> float:
    """Return the mean direction [°] between two distances along the ground, weighted by length; NaN where none is known."""
    low, high = np.maximum(course.distance_m[:-1], start_m), np.minimum(course.distance_m[1:], end_m)
    known = np.isfinite(course.heading_deg)
    weight = np.maximum(high - low, 0.0)[known]
    if weight.sum() <= _MOST:
        return math.nan
    angle = np.radians(course.heading_deg[known])
    return float(np.degrees(np.arctan2((weight * np.sin(angle)).sum(), (weight * np.cos(angle)).sum())) % 360.0)
