"""Run overview: what happened to this runner, minute by minute?"""

from string import ascii_lowercase

import numpy as np
from matplotlib.ticker import FixedLocator, MaxNLocator

from . import reading, style
from .assumed_table import assumed_height_in, assumed_table
from .page import (
    GAP_IN,
    LEFT_IN,
    RIGHT_IN,
    WIDTH_IN,
    Page,
    band,
    core_panel_title,
    end_labels,
    gap_columns,
    halo,
    lone_axes,
    panel_title,
    text_width_in,
    time_axis,
    uncompensable_foot,
    value_ticks,
)
from .perception_page import effort_rating_panel, perception_panels
from .style import COLOUR
from .weather_strip import ROW_IN, weather_rows, weather_strip

_SITES = (
    ("oesophageal_temperature", "oesophageal", (0, (4, 1.2, 1, 1.2))),
    ("rectal_temperature", "rectal", style.DOTTED),
)

DENSE_EVENTS = 60  # more cap events than this are drawn by a thin line


def run_overview(ds):
    """Return the page of one run.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of ``simulate``. Optional: ``core_temperature_low`` and ``_high`` (and the like for skin and
        heart rate) with or without a dimension ``band``; ``heart_rate_recorded``; recorded ratings and what
        ``thermosim.study.perception.with_perception`` adds; attributes ``assumed``,
        ``cap_bpm``, ``resume_bpm``, ``core_band_K``, ``setting``.

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    assumed = reading.attribute(ds, "assumed", []) or []
    panels = [(1.75, core_panel, False), (0.95, skin_panel, False), (1.80, heart_rate_panel, False), (1.05, effort_panel, False)]
    panels += perception_panels(ds)
    panels.append((ROW_IN * len(weather_rows(ds)), weather_strip, True))
    tops, y = [], 0.28
    for height, _, _ in panels:
        tops.append(y)
        y += height + GAP_IN
    body = y - GAP_IN + 0.40
    if assumed:
        tops.append(body + 0.34)
        body += 0.34 + assumed_height_in(assumed)
    page = Page(
        question="What happened to this runner, minute by minute?",
        answer=answer(ds),
        setting=reading.setting_line(ds),
        cautions=reading.cautions_of(ds),
        body_in=body,
        provenance=reading.provenance_line(
            ds.attrs, "" if reading.bands(ds, "core_temperature") else "one run, no band"
        ),
    )
    for letter, top, (height, draw, bare) in zip(ascii_lowercase, tops, panels):
        ax = draw(ds, page.axes(top, height, bare=bare), letter)
        if not bare and draw is not effort_rating_panel:  # strips are full; the rating's own band has the same grey
            _shade_reps(ds, ax, named=draw is core_panel)
    if assumed:
        wide = WIDTH_IN - LEFT_IN - RIGHT_IN
        assumed_table(assumed, page.axes(tops[-1], assumed_height_in(assumed), LEFT_IN, wide, bare=True))
    return page.figure


def _shade_reps(ds, ax, named):
    """Shade each rep behind a panel; write its number at the top of it where asked."""
    per_min = ax.get_position().width * ax.figure.get_figwidth() / (ax.get_xlim()[1] - ax.get_xlim()[0])
    free, before = -1.0, -1.0
    for number, (start, end) in enumerate(reading.legs_min(ds, "rep"), start=1):
        if start - before < 1e-3:  # no rest in between
            ax.axvline(start, color=COLOUR["paper"], lw=1.5, zorder=0.4)
        before = end
        ax.axvspan(start, end, color=COLOUR["wash"], lw=0, zorder=0.3, gid="rep")
        middle = 0.5 * (start + end)
        words = f"rep {number}" if (end - start) * per_min > 0.45 else str(number)
        half = 0.5 * text_width_in(words, style.SIZE["note"])
        if named and middle * per_min - half > free:
            free = middle * per_min + half + 0.04
            ax.text(middle, 0.94, words, transform=ax.get_xaxis_transform(), ha="center", va="center", color=COLOUR["grey_ink"],
                    zorder=6, gid="rep-number", **style.sans("note"))  # fmt: skip


def answer(ds):
    """Return the answer sentence, one or two lines, from the data."""
    t, core, limit = reading.minutes(ds), reading.values(ds, "core_temperature"), reading.limit_C(ds)
    first, second = _core_line(ds, t, core, limit), _heart_rate_line(ds)
    return [first + ";", second] if second else [first]


def _core_line(ds, t, core, limit):
    rise = float(core[-1] - core[0])
    verb = "climbs" if rise > 0 else "falls"
    amount = f"{style.number(abs(rise), 1)} °C"
    wide = reading.bands(ds, "core_temperature")
    if wide:
        low, high = float(wide[0][1][-1] - core[0]), float(wide[0][2][-1] - core[0])
        amount += f" ({style.interval(*sorted((low, high)) if rise > 0 else sorted((-low, -high)), 1)})"
    in_time = f"in {style.duration((t[-1] - t[0]) * 60)}"
    text = (
        f"Core {verb} {amount} {in_time}"
        if float(np.ptp(core)) >= 0.1
        else f"Core stays within 0.1 °C {in_time}"
    )
    if limit is None:
        return text + f", to {style.number(core[-1], 1)} °C"
    crossing = reading.crossing_min(ds, t, core, limit)
    if crossing is not None:
        return f"{text}; it crosses your limit of {style.number(limit, 1)} °C at {_at(crossing - t[0])}"
    upper = reading.first_crossing_min(t, wide[0][2], limit) if wide else None
    if upper is not None:
        return f"{text}; the band reaches your {style.number(limit, 1)} °C limit from {_at(upper - t[0])}"
    return f"{text} and does not reach the {style.number(limit, 1)} °C limit {reading.whose_limit(ds)}"


def _at(minute):
    return f"{style.number(minute)} min" if minute >= 2 else f"{style.number(minute * 60)} s"


def _heart_rate_line(ds):
    found = reading.heart_rate_difference(ds)
    if found is None:
        return ""
    mean, rms = found
    size, rmse = style.number(abs(mean)), style.number(rms)
    if size == "0":
        return f"modelled heart rate equals the recorded one on average (RMSE {rmse} bpm)"
    side = "above" if mean > 0 else "below"
    return f"modelled heart rate is {size} bpm {side} the recorded one on average (RMSE {rmse} bpm)"


def core_panel(ds, ax=None, letter="a"):
    """Draw core temperature with its band and the limit in force; return the axes."""
    ax = ax or lone_axes()
    t, core, limit = reading.minutes(ds), reading.values(ds, "core_temperature"), reading.limit_C(ds)
    low, high, half = core.min(), core.max(), None
    for share, lower, upper in reading.bands(ds, "core_temperature"):
        band(ax, t, lower, upper, COLOUR["mulberry"], share)
        low, high = min(low, lower.min()), max(high, upper.max())
        half = half if half is not None else float(upper[-1] - lower[-1]) / 2
    labels = [(core[-1], "core", COLOUR["mulberry"], True, "median; pale: 90 %" if half is not None else "")]
    for name, words, dash in _SITES:
        if name in ds:
            site = reading.values(ds, name)
            ax.plot(t, site, color=COLOUR["mulberry"], lw=0.9, ls=dash, zorder=3)
            labels.append((site[-1], words, COLOUR["mulberry"], False))
            low, high = min(low, site.min()), max(high, site.max())
    ax.plot(t, core, color=COLOUR["mulberry"], lw=2, zorder=4, gid="core")
    if limit is not None:
        ax.axhline(limit, color=COLOUR["ink"], lw=1.3, ls=style.LIMIT_DASH, zorder=3, gid="limit")
        labels.append((limit, f"your limit\n{style.number(limit, 1)} °C", COLOUR["ink"], False))
        high = max(high, limit)
    above = 0.14 * (high - low) if reading.legs_min(ds, "rep") else 0.0  # room for their numbers
    ax.set_ylim(low - 0.15, high + 0.25 + above)
    value_ticks(ax, decimals=1)
    time_axis(ax, t, label=False)
    uncompensable_foot(ax, [(a / 60, b / 60) for a, b in reading.uncompensable_spells(ds)])
    _mark_crossing(ax, reading.crossing_min(ds, t, core, limit) if limit is not None else None, limit, t[0])
    end_labels(ax, labels)
    band_note = "one run, no band drawn" if half is None else ""
    core_panel_title(ax, letter, half_width=half, note=band_note)
    return ax


def _mark_crossing(ax, crossing, limit, start_min):
    if crossing is None:
        return
    ax.plot([crossing], [limit], "o", ms=5, mfc=COLOUR["paper"], mec=COLOUR["ink"], mew=1.2, zorder=5)
    start, end = ax.get_xlim()
    right = (crossing - start) < 0.2 * (end - start)
    text = ax.annotate(
        f"crosses at {_at(crossing - start_min)}",
        (crossing, limit),
        (6 if right else -6, 8),
        textcoords="offset points",
        ha="left" if right else "right",
        va="center",
        color=COLOUR["ink"],
        zorder=6,
        **style.sans("label", bold=True),
    )
    halo(text)


def skin_panel(ds, ax=None, letter="b"):
    """Draw mean skin temperature; return the axes."""
    ax = ax or lone_axes(height_in=2.2)
    t, skin = reading.minutes(ds), reading.values(ds, "mean_skin_temperature")
    low, high = skin.min(), skin.max()
    found = reading.bands(ds, "mean_skin_temperature")
    for share, lower, upper in found:
        band(ax, t, lower, upper, COLOUR["clay"], share)
        low, high = min(low, lower.min()), max(high, upper.max())
    ax.plot(t, skin, color=COLOUR["clay"], lw=1.8, zorder=4)
    pad = max(0.1 * (high - low), 0.3)
    ax.set_ylim(low - pad, high + pad)
    value_ticks(ax, 4)
    time_axis(ax, t, label=False)
    end_labels(ax, [(skin[-1], "mean skin", COLOUR["clay_text"], True, "90 % band" if found else "")])
    panel_title(ax, letter, "Mean skin temperature, °C", "modelled")
    return ax


def heart_rate_panel(ds, ax=None, letter="c"):
    """Draw modelled heart rate, recorded samples as they are, and their gaps; return the axes."""
    ax = ax or lone_axes()
    t, rate = reading.minutes(ds), reading.values(ds, "heart_rate")
    low, high = rate.min(), rate.max()
    for share, lower, upper in reading.bands(ds, "heart_rate"):
        band(ax, t, lower, upper, COLOUR["indigo"], share)
        low, high = min(low, lower.min()), max(high, upper.max())
    recorded = reading.recorded_heart_rate(ds)
    gaps, note = [], "modelled"
    labels = [(rate[-1], "heart rate", COLOUR["indigo"], True, "modelled")]
    if recorded is not None:
        seconds, beats = recorded
        gaps = [(a / 60, b / 60) for a, b in reading.gaps_s(seconds)]
        ax.plot(
            seconds / 60,
            beats,
            ".",
            ms=2.4,
            mew=0,
            color=COLOUR["grey_ink"],
            alpha=0.75,
            zorder=3,
            gid="recorded",
        )
        labels.append((beats[-1], "recorded", COLOUR["grey_ink"], False))
        low, high = min(low, beats.min()), max(high, beats.max())
        note = "line modelled · dots recorded, as they came"
        note += " · hatched: no samples" if gaps else ""
    _broken_line(ax, t, rate, gaps)
    for name, words, dash in (("cap_bpm", "cap", "-"), ("resume_bpm", "resume", style.DOTTED)):
        if name in ds.attrs and np.isfinite(float(ds.attrs[name])):
            level = float(ds.attrs[name])
            ax.axhline(level, color=COLOUR["ink"], lw=1.2, ls=dash, zorder=3)
            labels.append((level, f"{words} {style.number(level)}", COLOUR["ink"], words == "cap"))
            low, high = min(low, level), max(high, level)
    pad = max(0.06 * (high - low), 3)
    ax.set_ylim(low - pad, high + pad * (3.2 if gaps else 1.4))
    value_ticks(ax, 8)
    time_axis(ax, t, label=False)
    gap_columns(ax, gaps)
    end_labels(ax, labels)
    panel_title(ax, letter, "Heart rate, bpm", note)
    return ax


def _broken_line(ax, t, y, gaps):
    """Draw a modelled line: solid where there are samples to compare with, thin and broken inside gaps."""
    inside = np.zeros(len(t), dtype=bool)
    for start, end in gaps:
        inside |= (t > start) & (t < end)
    ax.plot(t, np.where(inside, np.nan, y), color=COLOUR["indigo"], lw=1.6, zorder=4, gid="modelled")
    if gaps:
        edges = inside | np.roll(inside, 1) | np.roll(inside, -1)
        ax.plot(
            t,
            np.where(edges, y, np.nan),
            color=COLOUR["indigo"],
            lw=0.9,
            ls=(0, (3, 2)),
            zorder=4,
            gid="modelled-in-gap",
        )


def effort_panel(ds, ax=None, letter="d"):
    """Draw speed (stops as zero) and, above it, grade; return the axes."""
    ax = ax or lone_axes(height_in=2.2)
    t, speed = reading.minutes(ds), reading.speed_on_the_way(ds)
    top = max(float(np.nanmax(speed)), 1.0)
    grade = reading.values(ds, "grade") if "grade" in ds else np.zeros_like(speed)
    steady = float(grade.max() - grade.min()) < 0.05
    often = ds.sizes.get("cap_event", 0) > DENSE_EVENTS  # a thick line would be one block
    ax.plot(t, speed, color=COLOUR["none"], lw=0.5 if often else 1.5, zorder=4, gid="speed", clip_on=False)
    labels = [(speed[np.isfinite(speed)][-1], "speed", COLOUR["none"], True)]
    if steady:
        ax.set_ylim(0, 1.12 * top)
        note = f"grade {style.number(grade.mean(), 1)} % throughout"
    else:
        base, swing, reach = 1.45 * top, max(float(abs(grade).max()), 0.5), 0.28 * top
        ax.set_ylim(0, base + 1.15 * reach)
        ax.fill_between(t, base, base + grade / swing * reach, color=COLOUR["pebble"], lw=0, zorder=2)
        ax.plot(t, np.full_like(t, base), color=COLOUR["stone"], lw=0.7, zorder=3)
        labels.append(
            (base, "grade", COLOUR["grey_ink"], False, style.interval(grade.min(), grade.max()) + " %")
        )
        note = "pebble: grade above or below its own line"
    rests = reading.legs_min(ds, "rest")
    resting = np.any([(t >= a - 1e-6) & (t < b) for a, b in rests], axis=0) if rests else np.zeros(t.size, bool)
    stops = reading.spells(t, (speed <= 0.01) & ~resting)
    for word, found in (("rest", rests), ("stop", stops)):
        if found:
            total = 60.0 * sum(b - a for a, b in found)
            note += f" · {len(found)} {word}{'s' if len(found) > 1 else ''}, {style.duration(total)} in all"
    ax.yaxis.set_major_locator(FixedLocator(MaxNLocator(4, steps=[1, 2, 5, 10]).tick_values(0, 0.9 * top)))
    time_axis(ax, t, label=False)
    end_labels(ax, labels)
    panel_title(ax, letter, "Speed, m/s, and grade, %", note)
    return ax
