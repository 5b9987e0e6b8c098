"""Recordings: delimited text with a declared column map, and GPX 1.0/1.1 tracks; nothing is interpolated."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, shown, unit_hint, with_unit
from thermosim.inputs.columns import Table, check_increasing, pace_minutes, read_table
from thermosim.inputs.files import read_text
from thermosim.inputs.plain import SameContent, array, plain
from thermosim.variables import INPUTS

CHANNELS = ("heart_rate_bpm", "speed_m_s", "distance_m", "elevation_m", "cadence_rpm")
GAP_S, GAP_STEPS = 30.0, 3.0  # a gap is a step above both
LARGEST_WRONG_SHARE = 0.05  # more cells out of range than this: the column is refused, not thinned
_HIGHEST_SPEED_M_S = 40.0  # a recording may hold rides and GPS jumps; the effort decides what is running

# Columns in other units: our channel, the conversion, what it is called.
_CONVERTED: dict[str, tuple[str, Callable[[np.ndarray], np.ndarray], str]] = {
    "speed_km_h": ("speed_m_s", lambda column: column / 3.6, "km/h to m/s"),
    "pace_min_km": ("speed_m_s", lambda column: 1000.0 / (60.0 * column), "min/km to m/s"),
    "distance_km": ("distance_m", lambda column: 1000.0 * column, "km to m"),
    "cadence_spm": ("cadence_rpm", lambda column: 0.5 * column, "steps/min to rpm"),
}
_TIMES = ("time_s", "time_min", "time")
COLUMN_NAMES = (*_TIMES, *CHANNELS, *_CONVERTED)


@dataclass(frozen=True, eq=False)
class Recording(SameContent):
    """Samples as they were recorded, without coordinates or names.

    Attributes
    ----------
    time_s : ndarray
        Time since the first sample, increasing.
    heart_rate_bpm, speed_m_s, distance_m, elevation_m, cadence_rpm : ndarray
        NaN where a sample has none.
    gaps : tuple of (from_s, to_s)
        Steps longer than 30 s and 3 median steps.
    source : str
        Name of the file.
    notes : tuple of str
        What was converted, left out or counted.
    lines : tuple of int
        Line of each sample in the file (empty when unknown).
    """

    time_s: np.ndarray
    heart_rate_bpm: np.ndarray
    speed_m_s: np.ndarray
    distance_m: np.ndarray
    elevation_m: np.ndarray
    cadence_rpm: np.ndarray
    gaps: tuple[tuple[float, float], ...]
    source: str
    notes: tuple[str, ...] = ()
    lines: tuple[int, ...] = ()

    def has(self, channel: str) -> bool:
        """Return whether a channel holds any value."""
        return bool(np.any(np.isfinite(getattr(self, channel))))

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values."""
        return {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}


def read_recording(path, columns: dict[str, str] | None = None, delimiter=None, track=None) -> Recording:
    """Read a recording, GPX or delimited, told apart by its content."""
    if read_text(path).lstrip().startswith("<"):
        if columns or delimiter:
            problem = "is a GPX track, which has no columns to map"
            raise InputError(problem, file=str(path), remedy="leave columns and delimiter out")
        return read_gpx(path, track=track)
    if track is not None:
        problem = "is delimited text, which has no tracks"
        raise InputError(problem, file=str(path), remedy="leave track out")
    if columns is None:
        raise InputError(
            "has no column map", file=str(path),
            remedy='declare columns = {time_s = "…", heart_rate_bpm = "…", speed_m_s = "…"}',
        )  # fmt: skip
    return read_delimited(path, columns, delimiter)


def read_delimited(path, columns: dict[str, str], delimiter: str | None = None) -> Recording:
    """Read delimited text.

    Parameters
    ----------
    path : str or Path
        UTF-8 text with one header line.
    columns : dict
        Our name -> header in the file, e.g. ``{"time_s": "Timestamp", "heart_rate_bpm": "Pulse [bpm]"}``.
        Other units are taken by name: ``time_min``, ``time`` (ISO stamps), ``speed_km_h``, ``pace_min_km``,
        ``distance_km``, ``cadence_spm``.
    delimiter : str, optional
        Told from the header when not given.
    """
    if not isinstance(columns, dict):
        problem = f"is {shown(columns)}, allowed is a table of our name = header in the file"
        raise InputError(problem, field="columns", remedy='write columns = {time_s = "…"}')
    check_names(columns, COLUMN_NAMES)
    table = read_table(path, delimiter, comments=False)
    names = {ours: _header_name(ours, theirs, table) for ours, theirs in columns.items()}
    times = [ours for ours in _TIMES if ours in names]
    if len(times) != 1:
        problem = f"maps {len(times)} time columns, needed is one of {', '.join(_TIMES)}"
        raise InputError(problem, field="columns", file=table.file, remedy="declare one time column")
    notes: list[str] = []
    time_s = _time(table, times[0], names[times[0]])
    channels: dict[str, np.ndarray] = {}
    for ours, theirs in names.items():
        if ours in _TIMES:
            continue
        channel = _CONVERTED[ours][0] if ours in _CONVERTED else ours
        if channel in channels:
            problem = f"maps {channel} twice, allowed is once"
            raise InputError(
                problem, field="columns", file=table.file, remedy=f"drop {ours} or the other column"
            )
        channels[channel] = _channel(table, ours, theirs, channel, notes)
    if "distance_m" in channels:
        _refuse_falling_distance(channels["distance_m"], table)
    return _recording(time_s, channels, notes, table.file, table.lines)


def _header_name(ours: str, theirs: Any, table: Table) -> str:
    wanted = theirs.strip() if isinstance(theirs, str) else None
    if wanted in table.header:
        return wanted
    there = ", ".join(f'"{name[:40]}"' for name in table.header[:20])
    problem = f"column {shown(theirs)} is not there, the columns are {there}"
    remedy = f"map {ours} to one of these or leave it out"
    raise InputError(problem, field=f"{ours}:", file=table.file, line=table.header_line, remedy=remedy)


def _time(table: Table, ours: str, theirs: str) -> np.ndarray:
    if ours == "time":
        seconds = np.array(
            [_stamp(cell, table.file, line) for cell, line in zip(table.cells(theirs), table.lines)]
        )
    else:
        seconds = table.numbers(theirs, ours) * (60.0 if ours == "time_min" else 1.0)
    check_increasing(seconds, table, ours)
    seconds = seconds - seconds[0]
    if not np.all(np.diff(seconds) > 0.0):  # steps below the precision of a float of this size
        raise InputError(
            "time steps are too small to tell apart", file=table.file, remedy="count time from the start"
        )
    return seconds


def _stamp(cell: str, file: str, line: int) -> float:
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        problem = f"is {shown(cell)}, allowed are ISO 8601 stamps"
        remedy = "write e.g. 2026-07-01T06:30:00Z, or map time_s instead"
        raise InputError(problem, field="time", file=file, line=line, remedy=remedy) from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _channel(table: Table, ours: str, theirs: str, channel: str, notes: list[str]) -> np.ndarray:
    """Return one channel; empty and impossible cells become NaN and are counted in the notes."""
    if ours == "pace_min_km":
        pairs = zip(table.cells(theirs), table.lines)
        column = np.array([pace_minutes(cell, ours, table.file, line) for cell, line in pairs])
        column[column <= 0.0] = np.nan
    else:
        column = table.numbers(theirs, ours)
    empty = int(np.isnan(column).sum())
    if empty:
        notes.append(f"{ours}: {empty} of {len(column)} cells empty, kept as missing.")
    if ours in _CONVERTED:
        column = _CONVERTED[ours][1](column)
        notes.append(f"{ours} is converted, {_CONVERTED[ours][2]}.")
    return _plausible(column, ours, channel, notes, table.file, table.lines)


def _plausible(column, ours, channel, notes, file, lines) -> np.ndarray:
    low, high = INPUTS[channel].low, INPUTS[channel].high
    if channel == "speed_m_s":
        high = _HIGHEST_SPEED_M_S
        middle = float(np.nanmedian(column)) if np.any(np.isfinite(column)) else 0.0
        if ours == channel and middle > INPUTS[channel].high and (hint := unit_hint(channel, middle)):
            problem = (
                f"has a median of {with_unit(channel, middle)}, allowed is up to {INPUTS[channel].high:g} m/s"
            )
            raise InputError(problem, field=ours, file=file, line=lines[0] if lines else None,
                             remedy=f"{hint}, so map the column as speed_km_h")  # fmt: skip
    wrong = (column < low) | (column > high)
    count = int(wrong.sum())
    if not count:
        return column
    first = int(np.flatnonzero(wrong)[0])
    where = f"line {lines[first]}" if lines else f"sample {first + 1}"
    zero = channel == "heart_rate_bpm" and bool(np.all(column[wrong] == 0.0))
    if not zero and count > LARGEST_WRONG_SHARE * len(column):
        problem = (
            f"is {with_unit(channel, column[first])} and out of range in {count} of {len(column)} samples, "
            f"allowed is {low:g} to {high:g} {INPUTS[channel].unit}"
        )
        remedy = unit_hint(channel, float(column[first])) or "check the unit and the column map"
        raise InputError(problem, field=ours, file=file, line=lines[first] if lines else None, remedy=remedy)
    why = "0 bpm, no contact" if zero else f"out of {low:g} to {high:g} {INPUTS[channel].unit}"
    notes.append(f"{ours}: {count} of {len(column)} samples are left out ({why}; first in {where}).")
    return np.where(wrong, np.nan, column)


def _refuse_falling_distance(distance: np.ndarray, table: Table) -> None:
    known = np.flatnonzero(np.isfinite(distance))
    falling = np.flatnonzero(np.diff(distance[known]) < 0.0)
    if falling.size:
        before, at = known[falling[0]], known[falling[0] + 1]
        problem = f"runs backwards ({distance[at]:g} m after {distance[before]:g} m), allowed is growing"
        raise InputError(
            problem, field="distance_m", file=table.file, line=table.lines[at], remedy="split the file there"
        )


def find_gaps(time_s: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Return the steps longer than 30 s and three median steps."""
    steps = np.diff(time_s)
    long = np.flatnonzero(steps > max(GAP_S, GAP_STEPS * float(np.median(steps))))
    return tuple((float(time_s[k]), float(time_s[k + 1])) for k in long)


def _recording(time_s, channels, notes, file, lines) -> Recording:
    """Check length and duration, find the gaps, fill absent channels with NaN."""
    if len(time_s) < 2:
        problem = f"has {len(time_s)} samples, needed are two or more"
        raise InputError(problem, file=str(file), remedy="use a longer recording")
    if time_s[-1] > INPUTS["time_s"].high:
        problem = f"lasts {time_s[-1] / 3600.0:.4g} h, allowed is up to {INPUTS['time_s'].high / 3600.0:g} h"
        raise InputError(
            problem, file=str(file), remedy="check the unit of time, or split the file by session"
        )
    gaps = find_gaps(time_s)
    if gaps:
        longest = max(later - earlier for earlier, later in gaps)
        notes.append(
            f"{len(gaps)} gap{'s' if len(gaps) > 1 else ''} kept as gaps, the longest {longest:g} s."
        )
    absent = np.full(len(time_s), math.nan)
    arrays = {channel: array(channels.get(channel, absent)) for channel in CHANNELS}
    return Recording(
        time_s=array(time_s),
        **arrays,
        gaps=gaps,
        source=Path(file).name,
        notes=tuple(notes),
        lines=tuple(lines),
    )


def read_gpx(path, track: int | None = None) -> Recording:
    """Read one track of a GPX file; see :func:`thermosim.inputs.gpx.read_track`."""
    from thermosim.inputs.gpx import read_track

    time_s, channels, notes, lines = read_track(path, track)
    for channel in tuple(channels):
        channels[channel] = _plausible(channels[channel], channel, channel, notes, str(path), lines)
    return _recording(time_s, channels, notes, str(path), lines)


__all__ = [
    "CHANNELS", "COLUMN_NAMES", "Recording", "find_gaps", "read_delimited", "read_gpx",
    "read_recording",
]  # fmt: skip
