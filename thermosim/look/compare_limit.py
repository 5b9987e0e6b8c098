"""Panels of the comparison page on the limit: time to it, shares of runs that reach it, the table of contrasts."""

import numpy as np
from matplotlib.patches import Rectangle

from . import reading, style
from .compare_words import (
    arm,
    contrast_of,
    followed_min,
    further,
    high,
    look_of,
    low,
    mid,
    shorten,
    span_of,
    words_of,
)
from .page import (
    LEFT_IN,
    RIGHT_IN,
    WIDTH_IN,
    bare_axes,
    halo,
    lone_axes,
    panel_title,
    text_width_in,
    thin_hatch,
    value_ticks,
    wrap,
    x_label,
)
from .style import COLOUR

_ROW_LINE_IN, _BAR_IN, _KEY_IN = 0.145, 0.30, 0.16
_TABLE_ROW_IN = 0.21
_COLUMNS_IN = (0.0, 2.30, 4.05, 5.75, 7.35)  # left edges of the columns of the table


def _limit_words(result, ds, k):
    value, followed = result["variants"][k].get("time_to_limit_min"), followed_min(ds)
    ends = value if isinstance(value, dict) else {}
    if mid(value) is None and low(value) is None:
        return f"not reached in {style.number(followed)} min"
    text = f"{style.censored(mid(value), followed)} min"
    return (
        f"{text} ({style.censored_interval(ends.get('low'), ends.get('high'), followed)})" if ends else text
    )


def _limit_rows(result, ds, width_in):
    """Return per arm the lines of words above its whisker."""
    rows = []
    for k in range(len(result["variants"])):
        name = wrap(arm(result, k), width_in, style.SIZE["label"], True)
        words = _limit_words(result, ds, k)
        together = text_width_in(name[-1] + "   " + words, style.SIZE["label"], True) <= width_in
        rows.append(name[:-1] + [name[-1] + "   " + words] if together else name + [words])
    return rows


def limit_rows_in(result, ds, width_in):
    """Return the height [in] the time-to-limit panel needs."""
    rows = sum(_ROW_LINE_IN * len(lines) + 0.30 for lines in _limit_rows(result, ds, width_in))
    return _rate_in(result, width_in) + rows + 0.08


def _rate_lines(result, width_in):
    """Return what the minutes hang on, in lines: how fast core climbs at the limit, and what 0.1 °C is worth there."""
    contrast = contrast_of(result)
    rate, worth = mid(contrast.get("core_rate_at_limit_K_min")), contrast.get("minutes_per_tenth_K")
    if rate is None or mid(worth) is None:
        return []
    words = f"0.1 °C is worth {style.number(mid(worth))} min ({style.interval(low(worth), high(worth))})"
    parts = f"there core climbs {style.number(rate, 3)} °C/min:", words
    return [line for part in parts for line in wrap(part, width_in, style.SIZE["label"])]


def _rate_in(result, width_in):
    lines = _rate_lines(result, width_in)
    return _ROW_LINE_IN * len(lines) + 0.08 if lines else 0.0


def limit_panel(result, ds, ax=None, letter="d"):
    """Draw time to the limit per arm, censored ends as arrowheads; return the axes."""
    ax = ax or lone_axes(height_in=2.4)
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    followed = followed_min(ds)
    known = [
        v
        for arm in result["variants"]
        for v in (low(arm.get("time_to_limit_min")), mid(arm.get("time_to_limit_min")))
        if v is not None
    ]
    start = min([0.85 * v for v in known] + [0.5 * followed])
    ax.set_xlim(start, followed * 1.02)
    ax.set_ylim(height, 0)
    ax.grid(False)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    y = 0.06
    for line in _rate_lines(result, width):
        ax.text(
            0,
            1 - (y + _ROW_LINE_IN / 2) / height,
            line,
            transform=ax.transAxes,
            va="center",
            color=COLOUR["ink"],
            gid="rate-at-limit",
            **style.sans("label"),
        )
        y += _ROW_LINE_IN
    y += 0.08 if y > 0.06 else 0.0
    for k, lines in enumerate(_limit_rows(result, ds, width)):
        colour = look_of(k)[0]
        for line in lines:
            ax.text(
                0,
                1 - (y + _ROW_LINE_IN / 2) / height,
                line,
                transform=ax.transAxes,
                va="center",
                color=style.text_colour(colour),
                **style.sans("label", bold=True),
            )
            y += _ROW_LINE_IN
        _middle_half(ax, ds, k, y + 0.11, colour)
        _whisker(
            ax,
            result["variants"][k].get("time_to_limit_min"),
            y + 0.11,
            followed,
            colour,
            look_of(k)[2],
        )
        y += 0.30
    value_ticks(ax, 6, which="x")
    limit = reading.limit_C(ds)
    x_label(
        ax,
        f"minutes to {style.number(limit, 1)} °C, followed for {style.number(followed)}"
        if limit
        else "minutes",
    )
    panel_title(ax, letter, "Time to your limit, min", "read with the shares")
    return ax


def _middle_half(ax, ds, k, y, colour):
    """Draw the middle half of the runs as a bar, where the Dataset holds their times; never is longest."""
    if "time_to_limit_min" not in ds:
        return
    times = ds["time_to_limit_min"].isel(variant=k).values.astype(float)
    times = np.sort(np.where(np.isnan(times), np.inf, times))
    lower, upper = times[int(0.25 * (times.size - 1))], times[int(0.75 * (times.size - 1))]
    if np.isfinite(lower):
        ax.plot(
            [lower, min(upper, followed_min(ds) * 1.02)],
            [y, y],
            color=colour,
            lw=6,
            alpha=0.35,
            solid_capstyle="butt",
        )


def _whisker(ax, value, y, followed, colour, marker):
    """Draw one interval; an end that was not reached becomes an arrowhead at the edge of the axes."""
    lower, middle, upper = low(value), mid(value), high(value)
    edge = followed * 1.02
    if isinstance(value, dict) or middle is None:
        left = lower if lower is not None else (middle if middle is not None else 0.97 * followed)
        right = upper if upper is not None else edge
        ax.plot([left, right], [y, y], color=colour, lw=1.6, solid_capstyle="butt", clip_on=False)
        if upper is None:
            ax.plot(
                [edge], [y], marker=">", ms=5.5, color=colour, mew=0, clip_on=False, gid="censored", zorder=5
            )
        else:
            ax.plot([right], [y], marker="|", ms=7, color=colour, mew=1.2)
    if middle is not None:
        ax.plot([middle], [y], marker, ms=6, mfc=COLOUR["paper"], mec=colour, mew=1.5, zorder=6)


def _share_pieces(result, k):
    """Return ``[(words, share, fill, hatch, text colour)]`` of the paired runs of an arm and the first."""
    never_first, never_other = (float(mid(result["variants"][j].get("share_never")) or 0.0) for j in (0, k))
    both = float(mid(contrast_of(result, k).get("share_never_both")) or 0.0)
    pieces = (
        ("reached in both", 1 - never_first - never_other + both, COLOUR["pebble"], None, "ink"),
        (f"only {arm(result, 0)}", never_other - both, COLOUR["deep_water"], None, "paper"),
        (f"only {arm(result, k)}", never_first - both, COLOUR["clay"], None, "ink"),
        ("never in either", both, COLOUR["paper"], style.HATCH_NEVER, "ink"),
    )
    return [piece for piece in pieces if piece[1] >= 0.0005]


def _share_text(words, share):
    return f"{words}: {style.number(100 * share)} %"


def _fits_in_bar(words, share, width_in):
    return text_width_in(_share_text(words, share), style.SIZE["label"], True) < share * width_in - 0.10


def _share_block_in(result, k, width_in):
    """Return the height [in] of one arm's bar with its name (among several) and the words that do not fit in it."""
    below = sum(not _fits_in_bar(words, share, width_in) for words, share, *_ in _share_pieces(result, k))
    return _name_in(result) + _BAR_IN + _KEY_IN * below + 0.08


def _name_in(result):
    return 0.17 if len(result["variants"]) > 2 else 0.0


def shares_in(result, width_in):
    """Return the height [in] the panel of shares needs."""
    return sum(_share_block_in(result, k, width_in) for k in further(result))


def shares_panel(result, ds, ax=None, letter="e"):
    """Draw the shares of paired runs by which arm reaches the limit, one bar a further arm; return the axes."""
    ax = ax or bare_axes(lone_axes(height_in=1.0 + shares_in(result, 6.9)))
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    ax.set_xlim(0, 1)
    ax.set_ylim(height, 0)
    top = 0.0
    for k in further(result):
        if _name_in(result):
            name = shorten(f"{arm(result, k)} and {arm(result, 0)}", width)
            ax.text(0, top + 0.07, name, va="center", color=COLOUR["ink"], **style.sans("label"))
        _share_bar(ax, result, k, top + _name_in(result), width)
        top += _share_block_in(result, k, width)
    panel_title(ax, letter, f"Share of the {style.number(ds.sizes['member'])} paired runs, %")
    return ax


def _share_bar(ax, result, k, top, width):
    left, row = 0.0, 0
    for words, share, fill, texture, ink in _share_pieces(result, k):
        look = dict(
            facecolor=fill, edgecolor=COLOUR["ink" if texture else "paper"], hatch=texture, clip_on=False
        )
        bar = Rectangle((left, top), share, _BAR_IN, lw=0.8, gid=f"share-{words}", **look)
        ax.add_patch(thin_hatch(bar))
        text = _share_text(words, share)
        if _fits_in_bar(words, share, width):
            label = ax.text(
                left + share / 2,
                top + _BAR_IN / 2,
                text,
                ha="center",
                va="center",
                color=COLOUR[ink],
                **style.sans("label", bold=True),
            )
            if texture:
                halo(label, 4)
        else:
            y = top + _BAR_IN + 0.12 + _KEY_IN * row
            ax.add_patch(thin_hatch(Rectangle((0, y - 0.045), 0.15 / width, 0.09, lw=0.5, **look)))
            shown = shorten(text, width - 0.22)
            ax.text(0.22 / width, y, shown, va="center", color=COLOUR["ink"], **style.sans("label"))
            row += 1
        left += share


def table_in(result):
    """Return the height [in] of the table of contrasts, its title apart."""
    return _TABLE_ROW_IN * len(result["variants"]) + 0.06


def contrast_table(result, ds, ax=None, letter="f"):
    """Write every further arm against the first: °C, minutes, share never, ceiling; return the axes."""
    ax = ax or bare_axes(lone_axes(height_in=1.0 + table_in(result)))
    wide, height = WIDTH_IN - LEFT_IN - RIGHT_IN, table_in(result)
    ax.set_xlim(0, wide)
    ax.set_ylim(height, 0)
    limit = reading.limit_C(ds)
    at = style.number(contrast_of(result)["at_min"])
    to = "the limit" if limit is None else f"{style.number(limit, 1)} °C"
    head = ("arm", f"core at {at} min, °C", f"time to {to}, min", "never in either, %", "ceiling then, °C")
    rows = [head, *(_table_row(result, k) for k in further(result))]
    for r, cells in enumerate(rows):
        y = _TABLE_ROW_IN * (r + 0.5)
        for c, (x, text) in enumerate(zip(_COLUMNS_IN, cells, strict=True)):
            colour = COLOUR["grey_ink"] if r == 0 else COLOUR["ink"]
            room = (*_COLUMNS_IN, wide)[c + 1] - x - 0.30 * (c == 0) - 0.08
            left = x + 0.30 if c == 0 and r > 0 else x
            font = style.sans("note") if r == 0 else style.sans("label", bold=c == 0)
            ax.text(left, y, shorten(text, room, c == 0), va="center", color=colour, **font)
        if r:
            colour, dash, marker = look_of(r)
            ax.plot([0.02, 0.22], [y, y], color=colour, ls=dash, lw=2)
            ax.plot([0.12], [y], marker, ms=5, mfc=COLOUR["paper"], mec=colour, mew=1.2)
        ax.plot([0, wide], [_TABLE_ROW_IN * (r + 1)] * 2, color=COLOUR["rule"], lw=0.6)
    panel_title(
        ax, letter, f"Each arm against {words_of(result, 0)}, °C and min", "median (90 % of the paired runs)"
    )
    return ax


def _table_row(result, k):
    contrast = contrast_of(result, k)
    core, ceiling = contrast["core_difference_K"], contrast.get("ceiling_at_min_K")
    device = result["variants"][k].get("device")
    ceiling = ceiling if ceiling is not None else (device or {}).get("ceiling_K")
    never = contrast.get("share_never_both")
    return (
        arm(result, k),
        span_of(core, style.temperature_decimals(low(core), high(core))),
        span_of(contrast.get("time_to_limit_difference_min"), 0),
        "–" if never is None else style.number(100 * never),
        "–" if device is None or mid(ceiling) is None else style.number(-abs(mid(ceiling)), 2),
    )
