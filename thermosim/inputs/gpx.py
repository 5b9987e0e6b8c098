"""GPX tracks: heart rate and cadence by the local name of their elements; coordinates are never kept."""

import math
import re
from datetime import UTC
from typing import Any

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import shown
from thermosim.inputs.columns import number
from thermosim.inputs.files import read_text

_EXTENSIONS = {"hr": "heart_rate_bpm", "cad": "cadence_rpm"}
_DEVICE_TEMPERATURE = ("atemp", "wtemp", "temp")
LARGEST_REPEATED_SHARE = 0.01  # points that repeat a time; more than this and the times are called broken
_POINT = re.compile(r"<(?:[\w.-]+:)?trkpt\b")


def read_track(path, track: int | None = None):
    """Return times [s from start], channels, notes and lines of one track.

    Parameters
    ----------
    path : str or Path
        GPX 1.0 or 1.1.
    track : int, optional
        1-based; needed when the file has several.
    """
    text = read_text(path)
    tracks = gpx_of_text(text, str(path)).tracks
    points_of = [[point for segment in one.segments for point in segment.points] for one in tracks]
    chosen = chosen_track(points_of, track, str(path))
    points = points_of[chosen]
    lines = lines_of_points(text, points_of, chosen)
    notes = [f"Track {chosen + 1} of {len(points_of)} is used."] if len(points_of) > 1 else []
    seconds = _times(points, lines, str(path))
    kept = _without_repeats(seconds, lines, str(path), notes)
    points, seconds, lines = [points[k] for k in kept], seconds[kept], [lines[k] for k in kept if lines]
    channels = _extensions(points, lines, str(path), notes)
    channels["elevation_m"] = np.array(
        [math.nan if p.elevation is None else float(p.elevation) for p in points]
    )
    channels["distance_m"], channels["speed_m_s"] = _motion(points, seconds)
    notes.append(
        "Speed is the great-circle distance to the next point over the time to it; positions are not kept."
    )
    return seconds - seconds[0], channels, notes, lines


def gpx_of_text(text: str, file: str, routes: bool = False):
    """Return the parsed file; one without a track is refused, unless it has a route and ``routes`` are taken."""
    import defusedxml
    import gpxpy
    from defusedxml.ElementTree import ParseError, fromstring

    try:
        fromstring(text.encode(), forbid_dtd=True)
    except ParseError as error:
        line = error.position[0] if getattr(error, "position", None) else None
        problem = f"is not well-formed XML ({str(error).split(':')[0]})"
        raise InputError(problem, file=file, line=line, remedy="export the track again") from None
    except (defusedxml.DefusedXmlException, ValueError, LookupError, RecursionError):
        problem = "declares a document type, entities or an encoding that is not allowed in a GPX file"
        raise InputError(problem, file=file, remedy="export the track again without them") from None
    try:
        found = gpxpy.parse(text)
    except Exception as error:  # a third-party parser on any bytes: whatever it raises is a refusal
        problem = f"is not a readable GPX file ({' '.join(str(error).split())[:80]})"
        raise InputError(problem, file=file, remedy="export the track again as GPX 1.1") from None
    if not found.tracks and not (routes and found.routes):
        raise InputError(
            "has no track", file=file, remedy="export the activity as a track, or the planned way as a route"
        )
    return found


def chosen_track(points_of: list[list[Any]], track: int | None, file: str) -> int:
    """Return the place of the track to use, from 0: the one with points, or the 1-based ``track`` that was asked for."""
    sizes = ", ".join(
        f"{number}: {len(points)} points" for number, points in enumerate(points_of[:20], start=1)
    )
    full = [k for k, points in enumerate(points_of) if points]
    if track is None:
        if len(full) == 1:
            return full[0]
        if not full:
            raise InputError("has only empty tracks", file=file, remedy="export the track again")
        problem = f"has {len(points_of)} tracks ({sizes}), needed is one"
        raise InputError(problem, file=file, remedy=f"choose with track = {full[0] + 1}")
    if isinstance(track, bool) or not isinstance(track, int) or not 1 <= track <= len(points_of):
        problem = f"is {shown(track)}, allowed is 1 to {len(points_of)} ({sizes})"
        raise InputError(problem, field="track", file=file, remedy="choose one of these")
    if not points_of[track - 1]:
        problem = f"is {track}, which is empty ({sizes})"
        raise InputError(problem, field="track", file=file, remedy="choose a track with points")
    return track - 1


def lines_of_points(text: str, points_of: list[list[Any]], chosen: int) -> list[int]:
    """Return the line of each point of the chosen track, or nothing when they cannot be told."""
    starts = [found.start() for found in _POINT.finditer(text)]
    if len(starts) != sum(map(len, points_of)):
        return []
    before = sum(map(len, points_of[:chosen]))
    lines, line, last = [], 1, 0
    for start in starts[: before + len(points_of[chosen])]:
        line, last = line + text.count("\n", last, start), start
        lines.append(line)
    return lines[before:]


def _times(points: list[Any], lines: list[int], file: str) -> np.ndarray:
    untimed = [k for k, point in enumerate(points) if point.time is None]
    if untimed:
        line = lines[untimed[0]] if lines else None
        problem = f"has no time at {len(untimed)} of {len(points)} points, needed is a time at every point"
        raise InputError(problem, field="track", file=file, line=line,
                         remedy="use a recorded track; a planned one has no times")  # fmt: skip
    return np.array([(p.time if p.time.tzinfo else p.time.replace(tzinfo=UTC)).timestamp() for p in points])


def _without_repeats(seconds: np.ndarray, lines: list[int], file: str, notes: list[str]) -> list[int]:
    """Return the points to keep; a few repeated times are left out, broken times are refused."""
    steps = np.diff(seconds)
    backwards, repeated = np.flatnonzero(steps < 0.0), np.flatnonzero(steps == 0.0)
    if backwards.size:
        first = int(backwards[0]) + 1
        problem = f"time: runs backwards by {-steps[first - 1]:.3g} s at point {first + 1}, allowed is rising"
        raise InputError(problem, file=file, line=lines[first] if lines else None,
                         remedy="the times are broken: use another export, or the course alone")  # fmt: skip
    if repeated.size > LARGEST_REPEATED_SHARE * len(seconds):
        first = int(repeated[0]) + 1
        problem = f"time: repeats at {repeated.size} of {len(seconds)} points, allowed are rising times"
        raise InputError(problem, file=file, line=lines[first] if lines else None,
                         remedy="the times are broken: use another export, or the course alone")  # fmt: skip
    if repeated.size:
        notes.append(f"{repeated.size} points that repeat the time of the point before are left out.")
    dropped = set((repeated + 1).tolist())
    return [k for k in range(len(seconds)) if k not in dropped]


def _extensions(points: list[Any], lines: list[int], file: str, notes: list[str]) -> dict[str, np.ndarray]:
    channels = {channel: np.full(len(points), math.nan) for channel in _EXTENSIONS.values()}
    device_temperature = False
    for k, point in enumerate(points):
        for extension in point.extensions:
            for element in extension.iter():
                if not isinstance(element.tag, str):
                    continue
                local = element.tag.rpartition("}")[2].rpartition(":")[2].lower()
                device_temperature |= local in _DEVICE_TEMPERATURE
                if channel := _EXTENSIONS.get(local):
                    line = lines[k] if lines else 0
                    channels[channel][k] = number((element.text or "").strip(), channel, file, line)
    for name, channel in _EXTENSIONS.items():
        count = int(np.isfinite(channels[channel]).sum())
        if not count:
            notes.append(f"No {channel} in the track (no element called {name}).")
        elif count < len(points):
            notes.append(
                f"{channel}: {len(points) - count} of {len(points)} points have none and stay missing."
            )
    if device_temperature:
        notes.append(
            "The track holds the device's own temperature: it is warmed by the wearer and is not taken as "
            "air temperature; give the air in the weather."
        )
    return channels


def _motion(points: list[Any], seconds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return cumulative distance [m] and the mean speed to the next point [m/s]."""
    from gpxpy.geo import haversine_distance

    steps = np.array([
        haversine_distance(a.latitude, a.longitude, b.latitude, b.longitude)
        for a, b in zip(points, points[1:])
    ])  # fmt: skip
    distance = np.concatenate(([0.0], np.cumsum(steps)))
    speed = steps / np.diff(seconds) if len(points) > 1 else steps
    return distance, np.append(speed, speed[-1:] if speed.size else 0.0)
