"""Elevation of a course: what is cleaned, how it is smoothed, what that does to the climb.

The steps of elevation on an even grid are averaged with a Gaussian window and mirrored at both ends. A weighted mean of
steps can neither add to the climb nor change start and end, so smoothed climb is at most the raw one, whatever comes in.
"""

import math
from typing import NamedTuple

import numpy as np

GRID_M = 10.0  # longest spacing on which elevation is read
SMOOTHING_M = 30.0  # default standard deviation of the window; spreads as much as a moving mean over 104 m
SPIKE_SLOPE = 1.0  # a spike is entered and left steeper than this, in opposite senses,
SPIKE_HEIGHT_M = 10.0  # and stands out by more than this,
SPIKE_POINTS = 3  # over at most so many points
_REACH = 4.0  # standard deviations at which the window is cut


class Profile(NamedTuple):
    """A smoothed course on an even grid: along the ground, on the map, elevation [m]."""

    distance_m: np.ndarray
    horizontal_m: np.ndarray
    elevation_m: np.ndarray


def ascent(elevation_m) -> float:
    """Total climb [m]: the sum of all steps up.

    Examples
    --------
    >>> ascent([10.0, 30.0, 25.0, 40.0])
    35.0
    """
    return float(np.maximum(np.diff(np.asarray(elevation_m, dtype=float)), 0.0).sum())


def without_spikes(distance_m, elevation_m) -> tuple[np.ndarray, list[int]]:
    """Return elevations with spikes put on the line between their neighbours, and which points were moved.

    A spike is up to three points that are entered and left at more than 100 % in opposite senses and stand out by more
    than 10 m from both neighbours.

    Examples
    --------
    >>> cleaned, moved = without_spikes([0, 20, 40, 60, 80], [100, 101, 160, 103, 104])
    >>> cleaned.tolist(), moved
    ([100.0, 101.0, 102.0, 103.0, 104.0], [2])
    """
    x, z = np.asarray(distance_m, dtype=float), np.array(elevation_m, dtype=float)
    moved: set[int] = set()
    for width in range(1, SPIKE_POINTS + 1):
        for k in range(1, len(z) - width):
            after = k + width
            up, down = z[k] - z[k - 1], z[after] - z[after - 1]
            steep = abs(up) > SPIKE_SLOPE * (x[k] - x[k - 1]) and abs(down) > SPIKE_SLOPE * (x[after] - x[after - 1])
            if up * down < 0.0 and steep and min(abs(up), abs(down)) > SPIKE_HEIGHT_M:
                z[k:after] = np.interp(x[k:after], [x[k - 1], x[after]], [z[k - 1], z[after]])
                moved |= set(range(k, after))
    return z, sorted(moved)


def smoothed(elevation_m, grid_m: float, smoothing_m: float) -> np.ndarray:
    """Return elevations on an even grid [m], smoothed by a Gaussian window; start and end stay.

    Parameters
    ----------
    elevation_m : array
        On a grid of ``grid_m`` [m].
    smoothing_m : float
        Standard deviation of the window [m]; 0 (under a hundredth of the grid) leaves everything as it is.

    Examples
    --------
    >>> bumpy = [0.0, 3.0, 1.0, 4.0, 2.0, 5.0]
    >>> gentle = smoothed(bumpy, 10.0, 20.0)
    >>> float(gentle[0]), round(float(gentle[-1]), 6), ascent(gentle) < ascent(bumpy)
    (0.0, 5.0, True)
    """
    z = np.asarray(elevation_m, dtype=float)
    if smoothing_m < 0.01 * grid_m or z.size < 3:
        return z.copy()
    from scipy.ndimage import gaussian_filter1d

    steps = gaussian_filter1d(np.diff(z), smoothing_m / grid_m, mode="reflect", truncate=_REACH)
    return z[0] + np.append(0.0, np.cumsum(steps))


def profile(distance_m, elevation_m, smoothing_m: float, along_ground: bool) -> Profile:
    """Return the smoothed profile of points; ``along_ground`` says whether their distance is that or the map's.

    The other distance follows from the smoothed elevation. On the map a step of distance ``d`` and rise ``r`` is
    ``sqrt(d^2 - r^2)`` long; a step along the ground that rises as much as it is long has no map distance and is given
    an infinite grade, which every effort refuses.
    """
    x, z = np.asarray(distance_m, dtype=float), np.asarray(elevation_m, dtype=float)
    count = max(math.ceil((x[-1] - x[0]) / GRID_M), 1)
    grid = np.linspace(x[0], x[-1], count + 1)
    step = float(x[-1] - x[0]) / count
    gentle = smoothed(np.interp(grid, x, z), step, smoothing_m)
    rises = np.diff(gentle)
    if along_ground:
        other = np.sqrt(np.maximum(step**2 - rises**2, 0.0))
        return Profile(grid - grid[0], np.append(0.0, np.cumsum(other)), gentle)
    return Profile(np.append(0.0, np.cumsum(np.hypot(step, rises))), grid - grid[0], gentle)
