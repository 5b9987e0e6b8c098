"""Panels of the comparison page: each takes the result and the Dataset, draws, returns its axes."""

import numpy as np
from matplotlib.patches import Rectangle

from . import reading, style
from .page import (
    band,
    bare_axes,
    core_panel_title,
    end_labels,
    halo,
    lone_axes,
    panel_title,
    text_width_in,
    thin_hatch,
    time_axis,
    value_ticks,
    wrap,
    x_label,
    zero_line,
)
from .style import ARM, COLOUR

_ROW_LINE_IN = 0.145
SHARE_KEY_IN = 0.74  # room under the bar of shares for a key of up to four rows


# ---------------------------------------------------------------- reading the result object


def mid(value):
    """Return the median of ``{median, low, high}`` or the number itself; None when missing or never."""
    value = value.get("median") if isinstance(value, dict) else value
    return float(value) if style.is_number(value) else None


def low(value):
    """Return the lower end of an uncertain number, or None."""
    value = value.get("low") if isinstance(value, dict) else None
    return float(value) if style.is_number(value) else None


def high(value):
    """Return the upper end of an uncertain number, or None."""
    value = value.get("high") if isinstance(value, dict) else None
    return float(value) if style.is_number(value) else None


def words_of(result, k):
    """Return the name of a variant in words."""
    return str(result["variants"][k]["name"]).replace("_", " ")


def _arm(result, k):
    """Return the short label of an arm; a variant called ``none`` reads better as *without*."""
    name = words_of(result, k)
    return "without" if name == "none" else name


def contrast_of(result):
    """Return the contrast of the second against the first variant."""
    name, against = (result["variants"][k]["name"] for k in (1, 0))
    matches = [c for c in result["contrasts"] if c["name"] == name and c["against"] == against]
    return matches[0] if matches else result["contrasts"][0]


def followed_min(ds):
    """Return how long the runs were followed [min]."""
    return float(ds.time[-1] - ds.time[0]) / 60


def _percentiles(runs, shares):
    return np.quantile(runs, shares, axis=0)


# ---------------------------------------------------------------- panels


def core_arms(result, ds, ax=None, letter="a"):
    """Draw core temperature of every arm with its 90 % band; return the axes."""
    ax = ax or lone_axes()
    t, limit = reading.minutes(ds), reading.limit_C(ds)
    labels, lowest, highest, half = [], np.inf, -np.inf, 0.0
    for k in range(ds.sizes["variant"]):
        colour, dash, _ = ARM[k % len(ARM)]
        lower, middle, upper = _percentiles(ds["core_temperature"].isel(variant=k).values, [0.05, 0.5, 0.95])
        band(ax, t, lower, upper, colour, 90, edge=True)
        ax.plot(t, middle, color=colour, ls=dash, lw=2, zorder=4, gid=f"arm-{k}")
        labels.append((middle[-1], _arm(result, k), style.text_colour(colour), True))
        lowest, highest = min(lowest, lower.min()), max(highest, upper.max())
        half = max(half, float(upper[-1] - lower[-1]) / 2)
    if limit is not None:
        ax.axhline(limit, color=COLOUR["ink"], lw=1.3, ls=style.LIMIT_DASH, zorder=3)
        highest = max(highest, limit)
    ax.set_ylim(lowest - 0.1, highest + 0.25)
    value_ticks(ax, 9, 1)
    time_axis(ax, t, label=False)
    if limit is not None:
        text = ax.annotate(
            f"your limit {style.number(limit, 1)} °C",
            (t[0], limit),
            (4, 7),
            va="center",
            textcoords="offset points",
            color=COLOUR["ink"],
            zorder=6,
            **style.sans("label", bold=True),
        )
        halo(text)
    end_labels(ax, labels, gutter_in=0.80)
    core_panel_title(ax, letter, half_width=half, at=f"{style.number(t[-1])} min")
    return ax


def _ceiling(result, ds):
    """Return the ceiling over time [K, not positive], or None without a device."""
    if "ceiling_K" in ds:
        return -np.abs(reading.values(ds, "ceiling_K"))
    device = result["variants"][1].get("device") or {}
    value = mid(device.get("ceiling_K"))
    return None if value is None else np.full(ds.sizes["time"], -abs(value))


def contrast_panel(result, ds, ax=None, letter="b"):
    """Draw the paired contrast in core with 50 and 90 % bands and the ceiling; return the axes."""
    ax = ax or lone_axes()
    t, runs = reading.minutes(ds), reading.values(ds, "contrast_core")
    lower, quarter, middle, three, upper = _percentiles(runs, [0.05, 0.25, 0.5, 0.75, 0.95])
    colour = COLOUR["deep_water"]
    band(ax, t, lower, upper, colour, 90)
    band(ax, t, quarter, three, colour, 50)
    ax.plot(t, middle, color=colour, lw=2, zorder=4, gid="contrast")
    ceiling = _ceiling(result, ds)
    bottom = min(lower.min(), 0.0) if ceiling is None else min(lower.min(), ceiling.min())
    top = max(upper.max(), 0.0)
    span = max(top - bottom, 0.02)
    floor = bottom - (0.40 if ceiling is not None else 0.10) * span
    ax.set_ylim(floor, top + 0.12 * span)
    labels = [(middle[-1], "contrast", colour, True)]
    decimals = style.temperature_decimals(float(lower[-1]), float(upper[-1]))
    if ceiling is not None:
        ax.plot(t, ceiling, color=COLOUR["ink"], lw=1.5, ls=style.DOTTED, zorder=3, gid="ceiling")
        beyond = ax.fill_between(
            t,
            floor,
            ceiling,
            facecolor="none",
            edgecolor=COLOUR["pebble"],
            lw=0,
            hatch=style.HATCH_CEILING,
            zorder=1,
            gid="beyond-ceiling",
        )
        thin_hatch(beyond)
        labels.append((ceiling[-1], f"ceiling\n{style.number(ceiling[-1], 2)} °C", COLOUR["ink"], True))
        text = ax.text(
            0.5,
            0.13 * span / (top + 0.12 * span - floor) + 0.02,
            "beyond the ceiling: the joules are not there",
            transform=ax.transAxes,
            ha="center",
            va="center",
            color=COLOUR["ink"],
            zorder=6,
            **style.sans("label"),
        )
        halo(text, 3)
    contrast = contrast_of(result)
    difference, at = contrast["core_difference_K"], contrast["at_min"]
    if mid(difference) is not None and t[0] <= at <= t[-1]:
        if low(difference) is not None and high(difference) is not None:
            ax.plot([at, at], [low(difference), high(difference)], color=COLOUR["ink"], lw=1, zorder=5)
        ax.plot(
            [at], [mid(difference)], "o", ms=5.5, mfc=COLOUR["paper"], mec=COLOUR["ink"], mew=1.2, zorder=6
        )
    zero_line(ax)
    value_ticks(ax, 7, max(decimals, 2) if span < 0.5 else None)
    time_axis(ax, t, text="time since start, min")
    end_labels(ax, labels, gutter_in=0.80)
    core_panel_title(ax, letter, "Contrast in core, °C", note="second minus first; 50, 90 % bands")
    return ax


def device_heat_panel(result, ds, ax=None, letter="c"):
    """Draw heat into the device by skin, air and condensation, and the spent tail; return the axes."""
    ax = ax or lone_axes()
    t = reading.minutes(ds)
    skin, air, water = (
        np.asarray(ds["device_power"].sel(side=s).values, dtype=float) for s in ("skin", "air", "water")
    )
    base = np.zeros_like(t)
    parts = ((skin, COLOUR["deep_water"], ""), (air, COLOUR["mist"], ""), (water, COLOUR["paper"], "...."))
    for power, fill, texture in parts:
        edge = base + np.maximum(power, 0.0)
        layer = ax.fill_between(
            t,
            base,
            edge,
            facecolor=fill,
            edgecolor=COLOUR["deep_water"] if texture else COLOUR["paper"],
            lw=0.6,
            hatch=texture or None,
            zorder=2,
        )
        thin_hatch(layer)
        base = edge
    losses = np.minimum(skin, 0) + np.minimum(air, 0) + np.minimum(water, 0)
    tail = reading.spells(ds.time.values, losses < -0.5, 30.0)
    for start, end in tail:
        inside = (t * 60 >= start) & (t * 60 <= end)
        layer = ax.fill_between(
            t[inside],
            losses[inside],
            0,
            facecolor=COLOUR["paper"],
            edgecolor=COLOUR["ink"],
            lw=0.5,
            hatch=style.HATCH_UNCOMPENSABLE,
            zorder=2,
            gid="spent",
        )
        thin_hatch(layer)
    peak, depth = max(float(base.max()), 1.0), float(-losses.min())
    ax.set_ylim(-max(1.5 * depth + 0.12 * peak, 0.02 * peak) if tail else -0.02 * peak, 1.62 * peak)
    zero_line(ax)
    value_ticks(ax, 6)
    ax.set_yticks([v for v in ax.get_yticks() if v <= 1.1 * peak])
    time_axis(ax, t)
    _device_words(result, ax)
    if tail:
        worst = float(-losses.min())
        ax.text(
            1.0,
            0.05,
            f"spent: gives back up to {style.number(worst)} W",
            transform=ax.transAxes,
            ha="right",
            va="center",
            color=COLOUR["ink"],
            **style.sans("label"),
        )
    panel_title(ax, letter, "Heat into the device, W", "median run")
    return ax


def _device_words(result, ax):
    """Write the three amounts as a small key above the curves."""
    device = result["variants"][1]["device"]
    height = ax.get_position().height * ax.figure.get_figheight()
    rows = []
    for key, words, fill, texture in (
        ("condensed_g", "condensation", COLOUR["paper"], "....."),
        ("heat_from_air_kJ", "from air", COLOUR["mist"], ""),
        ("heat_from_skin_kJ", "from skin", COLOUR["deep_water"], ""),
    ):
        value = device.get(key)
        if mid(value) is None:
            continue
        text = f"{words} {style.number(mid(value))} {'g' if key == 'condensed_g' else 'kJ'}"
        if key == "heat_from_skin_kJ":
            if low(value) is not None and high(value) is not None:
                text += f" ({style.interval(low(value), high(value))})"
            useful = mid(device.get("useful_share"))
            text += f", useful share {style.number(100 * useful)} %" if useful is not None else ""
        rows.append((text, fill, texture, key == "heat_from_skin_kJ"))
    for k, (text, fill, texture, bold) in enumerate(rows):
        y = 1 - (0.07 + 0.16 * k) / height
        patch = Rectangle(
            (0.015, y - 0.045 / height),
            0.05,
            0.09 / height,
            transform=ax.transAxes,
            facecolor=fill,
            edgecolor=COLOUR["deep_water"],
            lw=0.5,
            hatch=texture or None,
        )
        ax.add_patch(thin_hatch(patch))
        ax.text(
            0.085,
            y,
            text,
            transform=ax.transAxes,
            va="center",
            color=COLOUR["ink"],
            **style.sans("label", bold=bold),
        )
    melted = mid(device.get("melted_at_min"))
    start, end = ax.get_xlim()
    if melted is not None and start < melted < end:
        top = ax.get_ylim()[1] / 1.62
        ax.plot([melted, melted], [0, 1.08 * top], color=COLOUR["ink"], lw=0.7, ls=style.DOTTED, zorder=4)
        right = melted > (start + end) / 2
        text = ax.annotate(
            f"ice gone, {style.number(melted)} min",
            (melted, 1.04 * top),
            (-4 if right else 4, 0),
            textcoords="offset points",
            ha="right" if right else "left",
            va="center",
            color=COLOUR["ink"],
            zorder=6,
            **style.sans("label"),
        )
        halo(text, 3)


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
        name = wrap(_arm(result, k), width_in, style.SIZE["label"], True)
        words = _limit_words(result, ds, k)
        together = text_width_in(name[-1] + "   " + words, style.SIZE["label"], True) <= width_in
        rows.append(name[:-1] + [name[-1] + "   " + words] if together else name + [words])
    return rows


def limit_rows_in(result, ds, width_in):
    """Return the height [in] the time-to-limit panel needs."""
    return sum(_ROW_LINE_IN * len(lines) + 0.30 for lines in _limit_rows(result, ds, width_in)) + 0.08


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
    for k, lines in enumerate(_limit_rows(result, ds, width)):
        colour = ARM[k % len(ARM)][0]
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
            ARM[k % len(ARM)][2],
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


def _share_pieces(result):
    """Return ``[(words, share, fill, hatch, text colour)]`` of the paired runs."""
    never_first, never_second = (float(mid(result["variants"][k].get("share_never")) or 0.0) for k in (0, 1))
    both = float(mid(contrast_of(result).get("share_never_both")) or 0.0)
    first, second = _arm(result, 0), _arm(result, 1)
    return (
        ("reached in both", 1 - never_first - never_second + both, COLOUR["pebble"], None, "ink"),
        (f"only {first}", never_second - both, COLOUR["deep_water"], None, "paper"),
        (f"only {second}", never_first - both, COLOUR["clay"], None, "ink"),
        ("never in either", both, COLOUR["paper"], style.HATCH_NEVER, "ink"),
    )


def shares_panel(result, ds, ax=None, letter="e"):
    """Draw the shares of paired runs by which arm reaches the limit; return the axes."""
    ax = ax or bare_axes(lone_axes(height_in=1.8))
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    ax.set_xlim(0, 1)
    ax.set_ylim(0, 1)
    left, row = 0.0, 0
    for words, share, fill, texture, ink in _share_pieces(result):
        if share < 0.0005:
            continue
        look = dict(
            facecolor=fill, edgecolor=COLOUR["ink" if texture else "paper"], hatch=texture, clip_on=False
        )
        ax.add_patch(thin_hatch(Rectangle((left, 0), share, 1, lw=0.8, gid=f"share-{words}", **look)))
        text = f"{words}: {style.number(100 * share)} %"
        if text_width_in(text, style.SIZE["label"], True) < share * width - 0.10:
            label = ax.text(
                left + share / 2,
                0.5,
                text,
                ha="center",
                va="center",
                color=COLOUR[ink],
                **style.sans("label", bold=True),
            )
            if texture:
                halo(label, 4)
        else:
            y = -(0.14 + 0.16 * row) / height
            key = Rectangle((0, y - 0.045 / height), 0.15 / width, 0.09 / height, lw=0.5, **look)
            ax.add_patch(thin_hatch(key))
            ax.text(
                0.22 / width,
                y,
                _shorten(text, width - 0.22),
                va="center",
                color=COLOUR["ink"],
                **style.sans("label"),
            )
            row += 1
        left += share
    panel_title(ax, letter, f"Share of the {style.number(ds.sizes['member'])} paired runs, %")
    return ax


def _shorten(text, width_in):
    """Return a text with its middle left out until it fits."""
    shown, keep = text, len(text) // 2
    while text_width_in(shown, style.SIZE["label"]) > width_in and keep > 4:
        keep -= 1
        shown = f"{text[:keep].rstrip()}…{text[-keep:].lstrip()}"
    return shown
