"""Compare along a course: where does a variant change core, and where does it gain or lose minutes?"""

import numpy as np

from . import course_strip_page as strip
from . import reading, style
from .compare import cautions_of, setting_of
from .compare_words import arm, look_of, span_of, words_of
from .page import (
    GAP_IN,
    Page,
    band,
    core_panel_title,
    end_labels,
    lone_axes,
    panel_title,
    value_ticks,
    x_label,
    zero_line,
)
from .style import COLOUR

FEWEST_SHARE = 0.5  # of the drawn runners: a median is drawn where so many have arrived


def compare_course_page(result, ds):
    """Return the page of a comparison along its course.

    Parameters
    ----------
    result : dict
        The ``compare`` JSON object of a session over a course.
    ds : xarray.Dataset
        With ``core_at_place(variant, member, place)``, ``arrival_min`` alike, and the course in its ``inputs``.

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    panels = [(1.25, strip.elevation_panel), (2.00, _core), (1.35, _core_change)] + ([(1.35, _minutes)] if _slows(result) else [])
    tops, y = [], 0.28 + strip.above_in(ds)
    for height, _ in panels:
        tops.append(y)
        y += height + GAP_IN
    page = Page(
        question="Where along the course does it change anything?", answer=_answer(result), setting=setting_of(result, ds),
        cautions=cautions_of(result, ds), body_in=y - GAP_IN + 0.42,
        provenance=reading.provenance_line(ds.attrs, f"paired ensemble of {ds.sizes['member']}"),
    )  # fmt: skip
    axes = [page.axes(top, height) for top, (height, _) in zip(tops, panels, strict=True)]
    for letter, ax, (_, draw) in zip("abcd", axes, panels):
        if draw is strip.elevation_panel:
            draw(ds, ax, letter)
        else:
            draw(result, ds, ax, letter)
        strip.checkpoint_lines(ds, ax)
    axes[-1].tick_params(axis="x", labelbottom=True, length=3)
    x_label(axes[-1], "distance along the ground, km")
    return page.figure


def _slows(result):
    """Return whether a rule may slow a runner: only then may a variant gain or lose minutes."""
    return "rule" in result["variants"][0]


def _answer(result):
    """Return what the variant with the largest change at the last checkpoint that a pair reaches does there."""
    ends = [(one["name"].replace("_", " "), end) for one in result["contrasts"] for end in one["checkpoints"]]
    ends = [(name, end) for name, end in ends if end["core_difference_K"]]
    if not ends:
        return ["No pair of runs reaches a checkpoint:", "what a variant changes along the course cannot be told"]
    last = max(end["km"] for _, end in ends)
    told = [(name, end) for name, end in ends if end["km"] == last]
    name, end = max(told, key=lambda one: abs(one[1]["core_difference_K"]["median"]))
    core, minutes = end["core_difference_K"], end["minutes_gained"]
    change = f"{name} changes core by {span_of(core, 2)} °C on arrival at {end['name']}"
    first = f"No clear difference: {change}" if core["low"] <= 0.0 <= core["high"] else change
    if not _slows(result):
        return [first + ",", "and without a rule nothing slows a runner: all arrive as planned"]
    share = f"in the {style.number(100.0 * end['share_both'])} % of pairs that both get there"
    return [f"{first};", f"it gains {span_of(minutes, 1)} min, {share}"]


def _along(ds, ax, values, k, label):
    """Draw median and 90 % band of members (members, places) where most of them have arrived; return the end label."""
    km, colour, dash = ds["place"].values / 1000.0, *look_of(k)[:2]
    seen = np.isfinite(values).mean(axis=0) >= FEWEST_SHARE
    if not seen.any():
        return None
    low, middle, high = np.nanquantile(values[:, seen], [0.05, 0.5, 0.95], axis=0)
    band(ax, km[seen], low, high, colour, 90, edge=True)
    ax.plot(km[seen], middle, color=colour, ls=dash, lw=2, zorder=4, gid=f"arm-{k}")
    named = (middle[-1], label, style.text_colour(colour), True)
    return named, float(low.min()), float(high.max()), float(high[-1] - low[-1]) / 2


def _finish(ds, ax, drawn, margin, more=()):
    """Set the axes about what was drawn, and name it at its end, with further labels."""
    drawn = [one for one in drawn if one is not None]
    strip.way_axis(ds, ax)
    if drawn:
        ax.set_ylim(min(one[1] for one in drawn) - margin, max([one[2] for one in drawn] + [one[0] for one in more]) + margin)
        end_labels(ax, [*(one[0] for one in drawn), *more], gutter_in=0.80)
    return drawn


def _core(result, ds, ax=None, letter="b"):
    """Draw core on arrival of every variant; return the axes."""
    ax = ax or lone_axes()
    values, limit, named = ds["core_at_place"].values, reading.limit_C(ds), []
    drawn = [_along(ds, ax, values[k], k, arm(result, k)) for k in range(len(values))]
    if limit is not None and max((one[2] for one in drawn if one), default=-np.inf) > limit - 0.5:
        ax.axhline(limit, color=COLOUR["ink"], lw=1.3, ls=style.LIMIT_DASH, zorder=3)
        named = [(limit, f"your limit\n{style.number(limit, 1)} °C", COLOUR["ink"], False)]
    half = max((one[3] for one in _finish(ds, ax, drawn, 0.15, named)), default=None)
    value_ticks(ax, 6, 1)
    at = "the last place drawn, where half have arrived" if _slows(result) else "the finish"
    core_panel_title(ax, letter, half_width=half, at=at)
    return ax


def _core_change(result, ds, ax=None, letter="c"):
    """Draw core of each further variant less the first on arrival at the same place; return the axes."""
    ax = ax or lone_axes()
    values = ds["core_at_place"].values
    drawn = [_along(ds, ax, values[k] - values[0], k, words_of(result, k)) for k in range(1, len(values))]
    _finish(ds, ax, drawn, 0.02)
    zero_line(ax)
    value_ticks(ax, 4, 2)
    panel_title(ax, letter, f"Core against {arm(result, 0)}, °C", "at the same place; pairs that have both arrived")
    return ax


def _minutes(result, ds, ax=None, letter="d"):
    """Draw the minutes that each further variant is ahead of the first at each place; return the axes."""
    ax = ax or lone_axes()
    values = ds["arrival_min"].values
    drawn = [_along(ds, ax, values[0] - values[k], k, words_of(result, k)) for k in range(1, len(values))]
    _finish(ds, ax, drawn, 0.1)
    zero_line(ax)
    value_ticks(ax, 4, 1)
    panel_title(ax, letter, f"Minutes gained on {arm(result, 0)}", "above 0: ahead; pairs that have both arrived")
    return ax
