"""Weather as a strip of cells: one value per block of time, tinted by size, printed in the cell."""

import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle

from . import reading, style
from .page import end_labels, lone_axes, panel_title, text_width_in, time_axis, time_step_min
from .style import COLOUR

ROW_IN = 0.245
# variable, words, colour, value of the palest and of the fullest tint, decimals
_ROWS = (
    ("air_temperature", "air, °C", "clay", 5.0, 42.0, 1),
    ("relative_humidity", "humidity, %", "deep_water", 0.0, 130.0, 0),
    ("air_speed", "air past the runner, m/s", "pebble", 0.0, 8.0, 1),
    ("solar_load", "sun on runner, W", "straw", 0.0, 350.0, 0),
)


def weather_rows(ds):
    """Return the rows a Dataset can fill."""
    return [row for row in _ROWS if row[0] in ds]


def _tint(colour, share):
    share = 0.12 + 0.6 * min(max(share, 0.0), 1.0)
    return tuple(1 - share * (1 - part) for part in to_rgb(COLOUR[colour]))


def blocks(t_min, y, decimals):
    """Return ``[(start, end, mean)]`` per block of time; equal neighbours are joined."""
    step = time_step_min(t_min[-1] - t_min[0])
    edges = np.arange(t_min[0], t_min[-1], step)
    found = []
    for start in edges:
        end = min(start + step, t_min[-1])
        inside = (t_min >= start) & (t_min <= end)
        mean = float(np.mean(y[inside])) if inside.any() else float(np.interp(start, t_min, y))
        if found and round(found[-1][2], decimals) == round(mean, decimals):
            found[-1] = (found[-1][0], end, found[-1][2])
        else:
            found.append((float(start), float(end), mean))
    return found


def weather_strip(ds, ax=None, letter="e"):
    """Draw the strip; return the axes. It carries the words of the shared time axis."""
    ax = ax or lone_axes(height_in=2.0)
    t, rows = reading.minutes(ds), weather_rows(ds)
    ax.set_ylim(len(rows), 0)
    time_axis(ax, t)
    ax.grid(False)
    ax.spines["bottom"].set(visible=True, color=COLOUR["stone"], linewidth=0.7)
    ax.tick_params(
        axis="x",
        length=3,
        width=0.6,
        color=COLOUR["stone"],
        labelcolor=COLOUR["grey_ink"],
        labelsize=style.SIZE["tick"],
        labelfontfamily=style.SANS,
    )
    width = ax.get_position().width * ax.figure.get_figwidth()
    per_min = width / (ax.get_xlim()[1] - ax.get_xlim()[0])
    labels = []
    for k, (name, words, colour, low, high, decimals) in enumerate(rows):
        for start, end, mean in blocks(t, reading.values(ds, name), decimals):
            ax.add_patch(
                Rectangle(
                    (start, k + 0.08),
                    end - start,
                    0.84,
                    lw=0.8,
                    edgecolor=COLOUR["paper"],
                    facecolor=_tint(colour, (mean - low) / (high - low)),
                    gid="weather-cell",
                )
            )
            text = style.number(mean, decimals)
            if text_width_in(text, style.SIZE["label"]) < (end - start) * per_min - 0.04:
                ax.text(
                    (start + end) / 2,
                    k + 0.52,
                    text,
                    ha="center",
                    va="center",
                    color=COLOUR["ink"],
                    **style.sans("label"),
                )
        labels.append((k + 0.5, words, COLOUR["ink"], False))
    end_labels(ax, labels, gutter_in=2.0)
    merged = "mean per block; equal neighbours joined"
    panel_title(ax, letter, "Weather", merged)
    return ax
