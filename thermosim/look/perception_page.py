"""Perception beside the heat: effort ratings and thermal sensation, recorded dots apart from what a source says.

Greys only: no hue stands for a feeling. A recorded scale is drawn with its own end numbers and the user's own words.
"""

import numpy as np
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from . import reading, style
from .page import bare_axes, end_labels, halo, hatched, lone_axes, panel_title, text_width_in, time_axis
from .style import COLOUR

EFFORT_IN, SENSATION_IN, STRIP_IN = 1.25, 1.25, 0.27
# flag of thermal_sensation_change -> word, fill (greys that part in print), texture
_DIRECTIONS = {
    -1: ("cooler", COLOUR["paper"], ""),
    0: ("no difference", COLOUR["wash"], ""),
    1: ("warmer", COLOUR["pebble"], ""),
    2: ("cannot tell", COLOUR["paper"], style.HATCH_NEVER),
}


def perception_panels(ds):
    """Return ``[(height in inches, panel function, bare axes)]`` of what a Dataset holds of perception."""
    found = []
    if "effort_rating_low" in ds or "effort_recorded" in ds:
        found.append((EFFORT_IN, effort_rating_panel, False))
    if "thermal_sensation_recorded" in ds:
        found.append((SENSATION_IN, sensation_panel, False))
    if "thermal_sensation_change" in ds:
        found.append((STRIP_IN, sensation_strip, True))
    return found


def recorded_ratings(ds, name):
    """Return minutes and ratings that exist and lie inside the run, and their scale; None when nothing was recorded."""
    if name not in ds:
        return None
    minutes, ratings = reading.minutes(ds, "rating_time"), reading.values(ds, name)
    kept = np.isfinite(ratings) & (minutes <= reading.minutes(ds)[-1] + 1e-9)
    scale = {key: ds[name].attrs[f"scale_{key}"] for key in ("name", "low", "high", "low_label", "high_label")}
    return minutes[kept], ratings[kept], scale


def effort_rating_panel(ds, ax=None, letter="e"):
    """Draw recorded effort ratings, and the published class where both are on one scale; return the axes."""
    ax = ax or lone_axes(height_in=2.3)
    recorded = recorded_ratings(ds, "effort_recorded")
    published = "effort_rating_low" in ds
    ends = [float(ds.effort_rating_low.attrs[f"scale_{end}"]) for end in ("low", "high")] if published else None
    same = published and (recorded is None or [recorded[2]["low"], recorded[2]["high"]] == ends)
    labels = _published_class(ds, ax) if same else []
    low, high = ends if recorded is None else (recorded[2]["low"], recorded[2]["high"])
    if recorded is not None:
        labels += _dots(ax, recorded) + _scale_ends(recorded[2])
    time_axis(ax, reading.minutes(ds), label=False)
    _scale_axis(ax, low, high)
    end_labels(ax, labels)
    if recorded is None:
        note = "published class for a group, by share of maximal uptake; it knows no heat and no time"
    else:
        note = f"dots recorded, {_scale_words(recorded[2])}"
        note += "" if same or not published else " · published class not drawn: another scale"
    panel_title(ax, letter, "Effort rating", note)
    return ax


def _published_class(ds, ax):
    """Draw the class of a group and the band of one runner; return their labels."""
    t = reading.minutes(ds)
    one = reading.values(ds, "effort_rating_one_low"), reading.values(ds, "effort_rating_one_high")
    group = reading.values(ds, "effort_rating_low"), reading.values(ds, "effort_rating_high")
    ax.fill_between(t, *one, step="post", color=COLOUR["wash"], lw=0, zorder=2, gid="one-runner")
    for edge in one:
        ax.plot(t, edge, drawstyle="steps-post", color=COLOUR["stone"], lw=0.5, zorder=2.1)
    ax.fill_between(t, *group, step="post", color=COLOUR["pebble"], lw=0, zorder=2.2, gid="group-class")
    flagged = reading.values(ds, "effort_outside") != 0
    drawn = np.isfinite(group[0])
    for start, end in reading.spells(ds.time.values, flagged & drawn):
        across = ax.get_xaxis_transform()
        hatched(ax, start / 60, end / 60, 0, 1, style.HATCH_GAP, "outside", outline=0.0, transform=across, zorder=2.5)
    there = np.flatnonzero(drawn)
    if not there.size:
        return [(13.0, "no class", COLOUR["grey_ink"], False, "outside the table")]
    last = there[-1]
    words = f"published {style.interval(group[0][last], group[1][last])}"
    detail = f"group; one runner\n{style.interval(one[0][last], one[1][last])} (90 % band)"
    if flagged[last]:
        detail += "\nhatched: longer than published"
    return [((group[0][last] + group[1][last]) / 2, words, COLOUR["ink"], True, detail)]


def _dots(ax, recorded):
    minutes, ratings, _ = recorded
    ax.plot(
        minutes, ratings, "o", ms=4.2, mew=0.8, mfc=COLOUR["grey_ink"], mec=COLOUR["paper"], zorder=5, gid="rated", clip_on=False
    )
    return [(ratings[-1], "recorded", COLOUR["grey_ink"], False)] if len(ratings) else []


def _scale_axis(ax, low, high):
    """Show the whole scale, with whole numbers where it has them."""
    pad = 0.06 * (high - low)
    ax.set_ylim(low - pad, high + pad)
    ticks = [tick for tick in MaxNLocator(6, steps=[1, 2, 5, 10]).tick_values(low, high) if low <= tick <= high]
    far = 0.55 * (ticks[1] - ticks[0]) if len(ticks) > 1 else 0.0
    inner = [tick for tick in ticks if min(tick - low, high - tick) > far]
    ax.yaxis.set_major_locator(FixedLocator([low, *inner, high]))
    whole = all(float(tick).is_integer() for tick in (low, *inner, high))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda tick, _: style.number(tick, 0 if whole else 1)))


def _scale_ends(scale):
    """Return the labels of the ends: the user's own words."""
    grey = COLOUR["grey_ink"]
    return [(scale[end], f"{style.number(scale[end])} {scale[f'{end}_label']}", grey, False) for end in ("low", "high")]


def _scale_words(scale):
    return f"\u201c{scale['name']}\u201d"


def sensation_panel(ds, ax=None, letter="f"):
    """Draw recorded thermal sensation on the user's scale; return the axes."""
    ax = ax or lone_axes(height_in=2.3)
    recorded = recorded_ratings(ds, "thermal_sensation_recorded")
    labels = _dots(ax, recorded) + _scale_ends(recorded[2])
    time_axis(ax, reading.minutes(ds), label=False)
    _scale_axis(ax, recorded[2]["low"], recorded[2]["high"])
    end_labels(ax, labels)
    panel_title(ax, letter, "Thermal sensation", f"dots recorded, {_scale_words(recorded[2])}")
    return ax


def sensation_strip(ds, ax=None, letter="g"):
    """Draw the direction of thermal sensation against the start, as cells with words; return the axes."""
    ax = ax or bare_axes(lone_axes(height_in=1.6))
    t, flags = reading.minutes(ds), reading.values(ds, "thermal_sensation_change").astype(int)
    ax.set_ylim(0, 1)
    time_axis(ax, t, label=False)
    ax.xaxis.set_major_locator(NullLocator())
    per_min = ax.get_position().width * ax.figure.get_figwidth() / (ax.get_xlim()[1] - ax.get_xlim()[0])
    edges = [0, *(np.flatnonzero(np.diff(flags)) + 1), len(flags)]
    for first, after in zip(edges[:-1], edges[1:]):
        start, end = t[first], t[min(after, len(t) - 1)]
        word, fill, texture = _DIRECTIONS[int(flags[first])]
        cell = Rectangle((start, 0.06), end - start, 0.88, lw=0.6, edgecolor=COLOUR["stone"], facecolor=fill, gid="direction")
        ax.add_patch(cell)
        if texture:
            hatched(ax, start, end, 0.06, 0.94, texture, "direction-texture")
        if text_width_in(word, style.SIZE["label"]) < (end - start) * per_min - 0.08:
            text = ax.text(
                (start + end) / 2, 0.5, word, ha="center", va="center", color=COLOUR["ink"], zorder=6, **style.sans("label")
            )
            halo(text, 4) if texture else None
    words = _DIRECTIONS[int(flags[-1])][0]
    end_labels(ax, [(0.5, words, COLOUR["ink"], False)])
    panel_title(ax, letter, "Thermal sensation against the start", "direction only, from skin: no published number")
    return ax
