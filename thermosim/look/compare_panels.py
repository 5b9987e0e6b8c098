"""Panels of the comparison page over time: each takes the result and the Dataset, draws, returns its axes."""

import numpy as np
from matplotlib.patches import Rectangle

from . import reading, style
from .compare_words import arm, contrast_of, further, high, look_of, low, mid, shorten, with_device
from .page import (
    band,
    core_panel_title,
    end_labels,
    halo,
    lone_axes,
    panel_title,
    thin_hatch,
    time_axis,
    value_ticks,
    zero_line,
)
from .style import COLOUR

CUT_MIN = 1.0  # a device just put on cools its own cloth: the watts of the first minute would hide all others
_KEY_ROW_IN = 0.16
_CUT_ABOVE = 1.12  # of the largest watts after the first minute
_SIDES = ("skin", "air", "water")


def _percentiles(runs, shares):
    return np.quantile(runs, shares, axis=0)


def _marks(k, t):
    """Return the marks that tell a third arm and those after it apart from the first two."""
    if k < 2:
        return {}
    every = max(len(t) // 6, 1)
    return {"marker": look_of(k)[2], "ms": 5, "mew": 0, "markevery": (every // 2 + k, every)}


def core_arms(result, ds, ax=None, letter="a"):
    """Draw core temperature of every arm with its 90 % band; return the axes."""
    ax = ax or lone_axes()
    t, limit = reading.minutes(ds), reading.limit_C(ds)
    labels, lowest, highest, half = [], np.inf, -np.inf, 0.0
    for k in range(ds.sizes["variant"]):
        colour, dash, _ = look_of(k)
        lower, middle, upper = _percentiles(ds["core_temperature"].isel(variant=k).values, [0.05, 0.5, 0.95])
        band(ax, t, lower, upper, colour, 90, edge=True)
        ax.plot(t, middle, color=colour, ls=dash, lw=2, zorder=4, gid=f"arm-{k}", **_marks(k, t))
        labels.append((middle[-1], arm(result, k), style.text_colour(colour), True))
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


def _ceiling(result, ds, k):
    """Return the ceiling of an arm over time [K, not positive], or None without a device."""
    device = result["variants"][k].get("device")
    if device is None:
        return None
    if "ceiling_K" in ds:
        return -np.abs(reading.values(ds.isel(contrast=k - 1), "ceiling_K"))
    value = mid(device.get("ceiling_K"))
    return None if value is None else np.full(ds.sizes["time"], -abs(value))


def contrast_panel(result, ds, ax=None, letter="b"):
    """Draw each arm's paired contrast in core with its band and its ceiling; return the axes."""
    ax = ax or lone_axes()
    t, several = reading.minutes(ds), len(result["variants"]) > 2
    labels, lowest, highest, half = [], 0.0, 0.0, np.inf
    for k in further(result):
        colour, dash, _ = look_of(k)
        runs = reading.values(ds.isel(contrast=k - 1), "contrast_core")
        lower, quarter, middle, three, upper = _percentiles(runs, [0.05, 0.25, 0.5, 0.75, 0.95])
        band(ax, t, lower, upper, colour, 90, edge=several)
        if not several:
            band(ax, t, quarter, three, colour, 50)
        ax.plot(t, middle, color=colour, ls=dash, lw=2, zorder=4, gid="contrast", **_marks(k, t))
        name = shorten(arm(result, k), 1.3, True) if several else "contrast"
        labels.append((middle[-1], name, style.text_colour(colour), True))
        lowest, highest = min(lowest, lower.min()), max(highest, upper.max())
        half = min(half, float(upper[-1] - lower[-1]) / 2)
    ceilings = {k: line for k in further(result) if (line := _ceiling(result, ds, k)) is not None}
    lowest = min([lowest, *(line.min() for line in ceilings.values())])
    span = max(highest - lowest, 0.02)
    floor = lowest - (0.40 if ceilings else 0.10) * span
    ax.set_ylim(floor, highest + 0.12 * span)
    for k, line in ceilings.items():
        ax.plot(t, line, color=COLOUR["ink"], lw=1.5, ls=style.DOTTED, zorder=3, gid="ceiling")
        if len(ceilings) < 3:
            name = f"ceiling, {shorten(arm(result, k), 1.1, True)}" if several else "ceiling"
            labels.append((line[-1], f"{name}\n{style.number(line[-1], 2)} °C", COLOUR["ink"], True))
    if len(ceilings) > 2:
        labels.append(
            (np.mean([line[-1] for line in ceilings.values()]), "ceilings: see table", COLOUR["ink"], True)
        )
    if len(ceilings) == len(further(result)):
        _beyond(ax, t, np.min(list(ceilings.values()), axis=0), several)
    for k in further(result):
        _contrast_mark(ax, t, result, k)
    zero_line(ax)
    value_ticks(ax, 7, 2 if span < 0.5 else None)
    time_axis(ax, t, text="time since start, min")
    end_labels(ax, labels, gutter_in=0.80)
    note = "each less the first; 90 % bands" if several else "second minus first; 50, 90 % bands"
    core_panel_title(ax, letter, "Contrast in core, °C", note=note)
    return ax


def _beyond(ax, t, ceiling, several):
    """Hatch what no device on the page could pay for."""
    floor, top = ax.get_ylim()
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
    text = ax.text(
        0.5,
        0.45 * (float(ceiling.min()) - floor) / (top - floor),
        f"beyond {'every' if several else 'the'} ceiling: the joules are not there",
        transform=ax.transAxes,
        ha="center",
        va="center",
        color=COLOUR["ink"],
        zorder=6,
        **style.sans("label"),
    )
    halo(text, 3)


def _contrast_mark(ax, t, result, k):
    """Mark the contrast of an arm with its interval at the minute that the answer names."""
    contrast = contrast_of(result, k)
    difference, at = contrast["core_difference_K"], contrast["at_min"]
    if mid(difference) is None or not t[0] <= at <= t[-1]:
        return
    at += 0.012 * (k - 1) * (t[-1] - t[0])  # marks of several arms stand side by side
    if low(difference) is not None and high(difference) is not None:
        ax.plot([at, at], [low(difference), high(difference)], color=COLOUR["ink"], lw=1, zorder=5)
    look = {"ms": 5.5, "mfc": COLOUR["paper"], "mec": COLOUR["ink"], "mew": 1.2, "zorder": 6}
    ax.plot([at], [mid(difference)], look_of(k)[2], **look)


def device_heat_panel(result, ds, ax=None, letter="c"):
    """Draw heat into a device by skin, air and condensation, and the spent tail; return the axes.

    The first arm with a device is drawn in its parts, the devices of further arms as one line each. The axis fits
    what follows the first minute; a higher start is cut, and the note says so.
    """
    ax = ax or lone_axes()
    t, worn = reading.minutes(ds), with_device(result)
    power = {k: reading.values(ds.isel(contrast=k - 1).sel(side=list(_SIDES)), "device_power") for k in worn}
    parts = np.maximum(power[worn[0]], 0.0)
    totals = {k: power[k].sum(axis=0) for k in worn[1:]}
    heights = np.max([parts.sum(axis=0), *totals.values()], axis=0)
    later = t >= t[0] + CUT_MIN
    peak = max(float(heights[later].max()) if later.any() else float(heights.max()), 1.0)
    is_cut = float(heights.max()) > _CUT_ABOVE * peak
    if is_cut:
        parts = parts * np.minimum(1.0, _CUT_ABOVE * peak / np.maximum(parts.sum(axis=0), 1e-9))
        totals = {k: np.minimum(total, _CUT_ABOVE * peak) for k, total in totals.items()}
    _stack(ax, t, parts)
    for k, total in totals.items():
        colour, dash, _ = look_of(k)
        ax.plot(t, total, color=colour, ls=dash, lw=2, zorder=4, gid=f"device-{k}", **_marks(k, t))
    losses = np.minimum(power[worn[0]], 0.0).sum(axis=0)
    depth, tail = float(-losses.min()), _spent(ax, t, losses)
    lowest = min([0.0, *(float(total.min()) for total in totals.values())])
    floor = -max(1.5 * depth + 0.12 * peak, 0.02 * peak) if tail else -0.02 * peak
    floor = min(floor, 1.1 * lowest)
    rows = len(_amounts(result, worn[0])) + len(totals)
    share = (_KEY_ROW_IN * (rows + 1.0)) / (ax.get_position().height * ax.figure.get_figheight())
    ax.set_ylim(floor, (_CUT_ABOVE * peak - share * floor) / (1.0 - share))
    zero_line(ax)
    value_ticks(ax, 6)
    ax.set_yticks([v for v in ax.get_yticks() if ax.get_ylim()[0] <= v <= 1.1 * peak])  # one outside would move the limits
    time_axis(ax, t)
    _device_key(ax, result, worn)
    _melted(ax, result["variants"][worn[0]]["device"], peak)
    if tail:
        ax.text(
            1.0,
            0.05,
            f"spent: gives back up to {style.number(depth)} W",
            transform=ax.transAxes,
            ha="right",
            va="center",
            color=COLOUR["ink"],
            **style.sans("label"),
        )
    panel_title(ax, letter, "Heat into the device, W", "first minute cut" if is_cut else "median run")
    return ax


def _stack(ax, t, parts):
    """Draw heat from skin, air and condensation on top of each other."""
    base = np.zeros_like(t)
    looks = ((COLOUR["deep_water"], ""), (COLOUR["mist"], ""), (COLOUR["paper"], "...."))
    for power, (fill, texture) in zip(parts, looks, strict=True):
        layer = ax.fill_between(
            t,
            base,
            base + power,
            facecolor=fill,
            edgecolor=COLOUR["deep_water"] if texture else COLOUR["paper"],
            lw=0.6,
            hatch=texture or None,
            zorder=2,
            gid="device-part",
        )
        thin_hatch(layer)
        base = base + power


def _spent(ax, t, losses):
    """Hatch the spells in which a spent device gives heat back; return them."""
    tail = reading.spells(60.0 * t, losses < -0.5, 30.0)
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
    return tail


def _device_key(ax, result, worn):
    """Write the amounts as a small key above the curves: the first device in its parts, the others in all."""
    height = ax.get_position().height * ax.figure.get_figheight()
    rows = _amounts(result, worn[0])
    for r, (text, fill, texture, bold) in enumerate(rows):
        y = 1 - (0.07 + _KEY_ROW_IN * r) / height
        _key_words(ax, y, text, bold, 0.085 if fill else 0.015)
        if not fill:
            continue
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
    for r, k in enumerate(worn[1:], start=len(rows)):
        y = 1 - (0.07 + _KEY_ROW_IN * r) / height
        colour, dash, marker = look_of(k)
        look = {"transform": ax.transAxes, "color": colour, "zorder": 5}
        ax.plot([0.015, 0.065], [y, y], ls=dash, lw=2, **look)
        ax.plot([0.04], [y], marker, ms=4, mew=0, **look)
        device = result["variants"][k]["device"]
        amounts = [mid(device.get(name)) for name in ("heat_from_skin_kJ", "heat_from_air_kJ")]
        total = "" if None in amounts else f" {style.number(sum(amounts))} kJ"
        _key_words(ax, y, f"{arm(result, k)}, all sides{total}", False, 0.085)


def _key_words(ax, y, text, bold, x):
    width = ax.get_position().width * ax.figure.get_figwidth()
    words = shorten(text, (1.0 - x) * width + 0.2, bold)
    ax.text(
        x,
        y,
        words,
        transform=ax.transAxes,
        va="center",
        color=COLOUR["ink"],
        **style.sans("label", bold=bold),
    )


def _amounts(result, k):
    """Return ``[(words, fill, texture, bold)]`` of what the device of one arm took, from where; several are named."""
    device = result["variants"][k]["device"]
    rows = [(f"{arm(result, k)}:", None, "", False)] if len(result["variants"]) > 2 else []
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
            text += f", useful {style.number(100 * useful)} %" if useful is not None else ""
        rows.append((text, fill, texture, key == "heat_from_skin_kJ"))
    return rows


def _melted(ax, device, peak):
    """Mark when the ice of the first device is gone."""
    melted = mid(device.get("melted_at_min"))
    start, end = ax.get_xlim()
    if melted is None or not start < melted < end:
        return
    ax.plot([melted, melted], [0, 1.08 * peak], color=COLOUR["ink"], lw=0.7, ls=style.DOTTED, zorder=4)
    right = melted > (start + end) / 2
    text = ax.annotate(
        f"ice gone, {style.number(melted)} min",
        (melted, 1.04 * peak),
        (-4 if right else 4, 0),
        textcoords="offset points",
        ha="right" if right else "left",
        va="center",
        color=COLOUR["ink"],
        zorder=6,
        **style.sans("label"),
    )
    halo(text, 3)
