"""Speeds and grades of a recording, interval by interval, each step stated in the notes."""

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import check_range
from thermosim.inputs.recordings import Recording
from thermosim.variables import INPUTS

GRID_M = 10.0  # elevation is read on this spacing of distance
SMOOTHING_M = 100.0  # width of the moving median and of the moving mean
LARGEST_DISAGREEMENT = 0.05  # between the integral of speed and the distance column


def _place(recording: Recording, k) -> dict:
    line = recording.lines[k] if recording.lines else None
    return {"file": recording.source, "line": line}


def speeds(recording: Recording, notes: list[str]) -> np.ndarray:
    """Return the speed of each interval between samples [m/s]; notes say what came from the distance."""
    time_s = recording.time_s
    steps = np.diff(time_s)
    speed = recording.speed_m_s[:-1].copy()
    if not recording.has("speed_m_s") and not recording.has("distance_m"):
        problem = "has neither speed nor distance"
        raise InputError(
            problem, file=recording.source, remedy="map speed_m_s, speed_km_h, pace_min_km or distance_m"
        )
    in_gap = np.isin(time_s[:-1], [earlier for earlier, _ in recording.gaps])
    doubtful = in_gap | np.isnan(speed)
    mean = np.diff(recording.distance_m) / steps
    for k in np.flatnonzero(doubtful):
        if not np.isfinite(mean[k]):
            what = f"a gap of {steps[k]:g} s" if in_gap[k] else "no speed"
            problem = f"has {what} at {time_s[k]:g} s and no distance to fill it from"
            remedy = "map a distance column, or cut the file there"
            raise InputError(problem, field="recording", remedy=remedy, **_place(recording, k))
        speed[k] = mean[k]
    if in_gap.any():
        total = float(steps[in_gap].sum())
        count = int(in_gap.sum())
        notes.append(
            f"In {count} gap{'s' if count > 1 else ''} ({total:g} s) the mean speed is from the distance."
        )
    others = int((doubtful & ~in_gap).sum())
    if others:
        notes.append(f"In {others} intervals without speed the mean speed comes from the distance.")
    highest = INPUTS["speed_m_s"].high
    for k in np.flatnonzero((speed < 0.0) | (speed > highest)):
        problem = f"is {speed[k]:.3g} m/s, allowed is 0 to {highest:g} m/s for running"
        remedy = "mend or cut this part: it is a jump of the position or not running"
        raise InputError(
            problem, field=f"speed_m_s at {time_s[k]:g} s", remedy=remedy, **_place(recording, k)
        )
    _compare_with_distance(recording, speed, notes)
    return speed


def _compare_with_distance(recording: Recording, speed: np.ndarray, notes: list[str]) -> None:
    covered = recording.distance_m[-1] - recording.distance_m[0]
    if np.isfinite(covered) and covered > 0.0:
        integral = float(np.sum(speed * np.diff(recording.time_s)))
        if abs(integral / covered - 1.0) > LARGEST_DISAGREEMENT:
            notes.append(
                f"Speed adds up to {integral / 1000.0:.2f} km, the distance is {covered / 1000.0:.2f} km: "
                "the speed is used as recorded."
            )


def grades(recording: Recording, notes: list[str]) -> np.ndarray:
    """Return the grade of each interval [%] from elevation smoothed over 100 m of distance.

    Elevation is read every 10 m of distance, then a moving median and a moving mean over 100 m are taken, and
    the slope between neighbouring grid points is the grade.
    """
    elevation, distance = recording.elevation_m, recording.distance_m
    known = np.isfinite(elevation) & np.isfinite(distance)
    if known.sum() < 2 or np.ptp(distance[known]) < SMOOTHING_M:
        problem = f"has too little elevation over distance for a grade (needed are {SMOOTHING_M:g} m or more)"
        raise InputError(
            problem, field="recording", file=recording.source, remedy="leave grade out or map elevation_m"
        )
    grid = np.arange(distance[known][0], distance[known][-1] + GRID_M, GRID_M)
    heights = np.interp(grid, distance[known], elevation[known])
    width = int(SMOOTHING_M / GRID_M) // 2 * 2 + 1
    heights = _moving(np.median, heights, width)
    heights = _moving(np.mean, heights, width)
    slope = 100.0 * np.gradient(heights, GRID_M)
    filled = np.interp(
        recording.time_s, recording.time_s[np.isfinite(distance)], distance[np.isfinite(distance)]
    )
    grade = np.interp(0.5 * (filled[:-1] + filled[1:]), grid, slope)
    for k in range(len(grade)):
        field = f"grade_pct at {recording.time_s[k]:g} s"
        check_range("grade_pct", float(grade[k]), field=field, **_place(recording, k))
    notes.append(
        f"grade_pct is from elevation every {GRID_M:g} m of distance, moving median then mean over "
        f"{SMOOTHING_M:g} m; it runs from {grade.min():.1f} to {grade.max():.1f} %."
    )
    return grade


def _moving(statistic, values: np.ndarray, width: int) -> np.ndarray:
    padded = np.pad(values, width // 2, mode="edge")
    return statistic(np.lib.stride_tricks.sliding_window_view(padded, width), axis=-1)
