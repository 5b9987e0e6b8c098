"""A course from a GPX track or route: its shape alone; times, names and coordinates are not kept."""

import math
import re
from typing import Any

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import allowed_range
from thermosim.inputs.course import Course
from thermosim.inputs.course_elevation import GRID_M, Profile, ascent, profile, without_spikes
from thermosim.inputs.files import read_text
from thermosim.inputs.gpx import chosen_track, gpx_of_text, lines_of_points
from thermosim.variables import INPUTS

SAME_PLACE_M = 1.0  # points nearer than this to the last one kept are one place: the runner stood, or the receiver did
TOLD_GAP_M, LARGEST_GAP_M = 200.0, 2000.0  # a straight line over more than the first is told, over the second refused
SHORTEST_COURSE_M = 20.0
_ROUTE_POINT = re.compile(r"<(?:[\w.-]+:)?rtept\b")
_LOOKS_MISSING = (-9999.0, -32768.0, 9999.0, 32767.0, 99999.0, -999.0)


def read_gpx_course(path, track: int | None, smoothing_m: float) -> Course:
    """Return the course of one track, or of one route where the file has no track.

    Distance on the map is the great circle between points; along the ground it follows from the smoothed elevation.

    Parameters
    ----------
    path : path
    track : int, optional
        1-based; needed when the file has several.
    smoothing_m : float
        Standard deviation of the window over elevation [m].
    """
    text, file = read_text(path), str(path)
    found = gpx_of_text(text, file, routes=True)
    notes: list[str] = []
    segments_of = [[one.points for one in track.segments if one.points] for track in found.tracks]
    if not any(segments_of) and found.routes:
        segments_of = [[one.points] if one.points else [] for one in found.routes]
        what = "route"
        lines_of = _route_lines(text, segments_of)
    else:
        what = "track"
        lines_of = None
    points_of = [[point for points in segments for point in points] for segments in segments_of]
    chosen = chosen_track(points_of, track, file)
    empty = sum(not points for points in points_of)
    if len(points_of) > 1:
        dropped = f"; {empty} of them {'is' if empty == 1 else 'are'} empty" if empty else ""
        notes.append(f"{what.capitalize()} {chosen + 1} of {len(points_of)} is used{dropped}.")
    points = points_of[chosen]
    lines = lines_of_points(text, points_of, chosen) if lines_of is None else lines_of[chosen]
    notes += _said_of_times(points, what, _times_written(text, what, chosen))
    _refuse_nowhere(points, lines, file)
    return _course(points, lines, [len(one) for one in segments_of[chosen]], smoothing_m, file, notes)


def _course(points, lines, sizes, smoothing_m, file, notes) -> Course:
    heights = _elevations(points, lines, file, notes)
    latitude = np.radians([point.latitude for point in points])
    longitude = np.radians([point.longitude for point in points])
    kept = _apart(latitude, longitude)
    if len(kept) < len(points):
        left = len(points) - len(kept)
        which = "1 point" if left == 1 else f"{left} points"
        notes.append(f"{which} within {SAME_PLACE_M:g} m of the one before {'is' if left == 1 else 'are'} left out.")
    latitude, longitude, heights = latitude[kept], longitude[kept], heights[kept]
    steps = _great_circle(latitude, longitude)
    if steps.sum() < SHORTEST_COURSE_M:
        problem = f"is {steps.sum():.0f} m long, needed are {SHORTEST_COURSE_M:g} m or more of way"
        raise InputError(problem, field="track", file=file, line=lines[0] if lines else None,
                         remedy="use a track that goes somewhere")  # fmt: skip
    _gaps(steps, kept, lines, sizes, file, notes)
    distance = np.append(0.0, np.cumsum(steps))
    known = np.isfinite(heights)
    if not known.any():  # the points that had one were left out
        raise InputError(
            "has no elevation at points apart from each other", field="track", file=file, remedy="use another export"
        )
    heights = np.interp(distance, distance[known], heights[known])
    raw = ascent(heights)
    heights, moved = without_spikes(distance, heights)
    if moved:
        where = f", the first at km {distance[moved[0]] / 1000.0:.2f}" + (f" (line {lines[kept[moved[0]]]})" if lines else "")
        notes.append(
            f"Elevation spikes, {len(moved)} in {len(kept)} points, were put on the line between their neighbours{where}."
        )
    made = profile(distance, heights, smoothing_m, along_ground=False)
    notes.append(
        "Distance on the map is the great circle between points; along the ground it follows from the elevation, "
        f"read every {GRID_M:g} m."
    )
    notes.append("Shade, exposure and surface are not in a GPX file: full sun, full wind, even ground.")
    return Course(
        *made, _headings(latitude, longitude, distance, made), [0.0], [0.0], [1.0], [1.0], ("",),
        ascent_raw_m=raw, smoothing_m=smoothing_m, notes=tuple(notes),
    )  # fmt: skip


def _refuse_nowhere(points, lines, file) -> None:
    for k, point in enumerate(points):
        if not (math.isfinite(point.latitude) and math.isfinite(point.longitude)):
            problem = f"is {point.latitude:g}, {point.longitude:g}, allowed are two numbers"
            raise InputError(problem, field=f"place of point {k + 1}", file=file, line=lines[k] if lines else None,
                             remedy="take the point out, or export the file again")  # fmt: skip


def _times_written(text: str, what: str, chosen: int) -> bool:
    """Return whether the chosen track or route has times in the file, whether they can be read or not."""
    parts = re.split(rf"<(?:[\w.-]+:)?{'rte' if what == 'route' else 'trk'}\b", text)
    return chosen + 1 < len(parts) and "time>" in parts[chosen + 1]


def _said_of_times(points, what: str, written: bool) -> list[str]:
    """Return what is to be said of the times, which a course does not need; ``written``: the file has some, read or not."""
    times = [point.time for point in points if getattr(point, "time", None) is not None]
    if not times and written:
        return [f"The times of the {what} are broken (no dates that can be read): its shape alone is used."]
    if not times:
        return [f"The {what} has no times; a course needs none."]
    seconds = np.array([one.timestamp() for one in times])
    steps = np.diff(seconds)
    broken = len(times) < len(points) or bool((steps < 0.0).any()) or (steps == 0.0).mean() > 0.01 if steps.size else True
    if broken:
        return [f"The times of the {what} are broken (missing, repeated or running backwards): its shape alone is used."]
    return [f"The times of the {what} are not used: a course is its shape alone."]


def _elevations(points, lines, file, notes) -> np.ndarray:
    heights = np.array([math.nan if point.elevation is None else float(point.elevation) for point in points])
    low, high = INPUTS["elevation_m"].low, INPUTS["elevation_m"].high
    for k in np.flatnonzero(np.isfinite(heights) & ((heights < low) | (heights > high))):
        code = ", which looks like a code for a missing value" if heights[k] in _LOOKS_MISSING else ""
        problem = f"is {heights[k]:g} m{code}, allowed is {allowed_range('elevation_m')}"
        raise InputError(problem, field=f"elevation of point {k + 1}", file=file, line=lines[k] if lines else None,
                         remedy="leave the elevation of such points out")  # fmt: skip
    known = np.isfinite(heights)
    if not known.any():
        raise InputError("has no elevation, needed for the grade", field="track", file=file,
                         line=lines[0] if lines else None, remedy="use a file with <ele>, or write a course sheet")  # fmt: skip
    if not known.all():
        notes.append(f"{int((~known).sum())} of {len(points)} points have no elevation: it is the line between their neighbours.")
    return heights


def _apart(latitude, longitude) -> list[int]:
    """Return the points that are more than a metre from the last one kept."""
    kept = [0]
    for k in range(1, len(latitude)):
        pair = [kept[-1], k]
        if _great_circle(latitude[pair], longitude[pair])[0] >= SAME_PLACE_M:
            kept.append(k)
    return kept


def _great_circle(latitude, longitude) -> np.ndarray:
    """Great-circle distance between neighbours [m], from radians; mean radius of the earth, haversine formula."""
    half_lat, half_lon = np.diff(latitude) / 2.0, np.diff(longitude) / 2.0
    root = np.sin(half_lat) ** 2 + np.cos(latitude[:-1]) * np.cos(latitude[1:]) * np.sin(half_lon) ** 2
    return 2.0 * 6_371_008.8 * np.arcsin(np.sqrt(np.minimum(root, 1.0)))


def _gaps(steps, kept, lines, sizes, file, notes) -> None:
    joints = set(np.cumsum(sizes)[:-1].tolist())
    for k in np.flatnonzero(steps > LARGEST_GAP_M):
        problem = f"has {steps[k] / 1000.0:.1f} km without a point, allowed is up to {LARGEST_GAP_M / 1000.0:g} km"
        raise InputError(problem, field="track", file=file, line=lines[kept[k + 1]] if lines else None,
                         remedy="cut the file there, or record that part")  # fmt: skip
    wide = steps[steps > TOLD_GAP_M]
    if wide.size:
        notes.append(
            f"{wide.size} gap{'s' if wide.size > 1 else ''} of more than {TOLD_GAP_M:g} m, the longest {wide.max():.0f} m: "
            "taken as straight."
        )
    if joints:
        notes.append(f"{len(sizes)} segments of the track are joined in order.")


def _headings(latitude, longitude, distance, made: Profile) -> np.ndarray:
    """Direction of each step of the grid [°]: the chord between its ends, on the plane that touches the course's middle."""
    middle = float(np.mean(latitude))
    x, y = (np.interp(made.horizontal_m, distance, one) for one in (longitude * math.cos(middle), latitude))
    east, north = np.diff(x), np.diff(y)
    still = np.hypot(east, north) * 6_371_008.8 < 0.01
    return np.where(still, np.nan, np.degrees(np.arctan2(east, north)) % 360.0)


def _route_lines(text: str, segments_of: list[list[Any]]) -> list[list[int]]:
    starts = [found.start() for found in _ROUTE_POINT.finditer(text)]
    counts = [sum(map(len, one)) for one in segments_of]
    if len(starts) != sum(counts):
        return [[] for _ in counts]
    lines = [text.count("\n", 0, start) + 1 for start in starts]
    return [lines[a : a + n] for a, n in zip(np.cumsum([0, *counts]), counts)]
