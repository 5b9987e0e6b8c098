"""Course strip: where along the way does it get hot, and what is there?"""

from string import ascii_lowercase

import numpy as np
from matplotlib.patches import Wedge
from matplotlib.ticker import FixedLocator, FuncFormatter
from matplotlib.transforms import ScaledTranslation

from ..clock import clock_seconds, clock_text
from . import reading, style
from .page import (
    GAP_IN,
    Page,
    band,
    core_panel_title,
    end_labels,
    halo,
    lone_axes,
    panel_title,
    text_width_in,
    uncompensable_foot,
    value_ticks,
    wrap,
    x_label,
)
from .style import COLOUR

MARKER_IN = 0.052  # radius of a checkpoint's mark
LINE_IN = 0.125  # of the words over it
STANDS_BELOW_M_S = 0.05
MOST_EVENTS, MOST_STRETCHES = 24, 240  # more cap events than this are drawn as means of at most so many stretches
NARROW_IN = 0.50  # checkpoints closer than this have their name alone
CLOCK_IN = 0.44  # room that a clock label needs
_STEPS_KM = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50)
_CLOCK_STEPS_S = (900, 1800, 3600, 7200, 10_800, 21_600)


def course_strip(ds):
    """Return the page of one run along its course.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of ``simulate`` over a course: its ``inputs`` hold the course. Bands and limits as in
        :func:`thermosim.look.run_overview`.

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    panels = [(1.25, elevation_panel), (0.80, sun_panel)]
    if "device" in ds.coords:
        panels.append((0.80, device_panel))
    panels += [(1.55, core_panel), (0.90, skin_panel), (1.35, heart_rate_panel), (0.95, speed_panel)]
    panels += [(0.50, held_panel)] if _often_held(ds) else []
    above = above_in(ds)
    tops, y = [], 0.28 + above
    for height, _ in panels:
        tops.append(y)
        y += height + GAP_IN
    page = Page(
        question="Where along the course does it get hot, and what is there?",
        answer=answer(ds),
        setting=setting(ds),
        cautions=reading.cautions_of(ds),
        provenance=reading.provenance_line(ds.attrs, "" if reading.bands(ds, "core_temperature") else "one run, no band"),
        body_in=y - GAP_IN + (0.74 if _start_s(ds) is not None else 0.42),
    )
    axes = [page.axes(top, height) for top, (height, _) in zip(tops, panels)]
    for letter, ax, (_, draw) in zip(ascii_lowercase, axes, panels):
        draw(ds, ax, letter)
        checkpoint_lines(ds, ax)
    _name_the_way(ds, axes[-1])
    return page.figure


# ---------------------------------------------------------------- what is read


def told(ds):
    """Return what the run's inputs tell of its course."""
    return reading.attribute(ds, "inputs", {})["effort"]["ground"]["course"]


def _start_s(ds):
    inputs = reading.attribute(ds, "inputs", {})
    clock = inputs.get("start_clock")
    if clock:
        return clock_seconds(clock)
    return inputs["weather"].get("start_clock_s")


def _km(ds):
    return reading.values(ds, "distance") / 1000.0


def _length_km(ds):
    return told(ds)["length_m"] / 1000.0


def _clock(ds, minute):
    start = _start_s(ds)
    if start is None:
        return f"after {style.number(minute)} min"
    return f"at {clock_text(start + 60.0 * minute)}"


def _where(ds, km):
    """Return ``km 36, salt pans``."""
    name = next((name for name, start, end in told(ds)["sections"] if start <= 1000.0 * km < end + 0.5), "")
    return f"km {style.number(km, 0 if _length_km(ds) >= 10 else 1)}" + (f" ({name})" if name else "")


def _stretches(ds, name):
    """Return ``[(from km, to km, value)]`` of the ground, neighbours of one value joined."""
    course = told(ds)
    ends = [*course["stretch_m"][1:], course["length_m"]]
    found = []
    for start, end, value in zip(course["stretch_m"], ends, course[name]):
        if found and found[-1][2] == value:
            found[-1] = (found[-1][0], end / 1000.0, value)
        else:
            found.append((start / 1000.0, end / 1000.0, value))
    return found


def answer(ds):
    """Return one or two lines: where core is highest or crosses the limit; when the finish is reached."""
    t, km, core, limit = reading.minutes(ds), _km(ds), reading.values(ds, "core_temperature"), reading.limit_C(ds)
    top = int(core.argmax())
    peak = f"Core peaks at {style.number(core[top], 1)} °C at {_where(ds, km[top])}"
    crossing = reading.crossing_min(ds, t, core, limit) if limit is not None else None
    band_K = float(ds.attrs.get("core_band_K", 0.0))
    if limit is None:
        first = peak
    elif crossing is not None:
        at = float(np.interp(crossing, t, km))
        first = f"Core crosses your limit of {style.number(limit, 1)} °C at {_where(ds, at)}, {_clock(ds, crossing)}"
    elif core[top] + band_K >= limit:
        at = float(km[int(np.argmax(core + band_K >= limit))])
        first = f"{peak}; with its band it reaches {style.number(limit, 1)} °C from km {style.number(at)}: cannot say"
    else:
        first = f"{peak}, inside the {style.number(limit, 1)} °C limit {reading.whose_limit(ds)}"
    if km[-1] < _length_km(ds) - 0.01:
        where = f"at km {style.number(km[-1], 1)} of {style.number(_length_km(ds), 1)}"
        stopped = float(ds.attrs.get("stopped_s", np.nan))
        if np.isfinite(stopped):
            why = str(ds.attrs["stopped_by"])
            return [first + ";", f"the rule stops the run {where}, {_clock(ds, stopped / 60.0)}, by {why}"]
        return [first + ";", f"the run ends {where}, {_clock(ds, t[-1])}"]
    rest = f"the finish is reached {_clock(ds, t[-1])}" + (f", after {_hours(t[-1])}" if _start_s(ds) is not None else "")
    return [first + ";", rest]


def _hours(minutes):
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 90 else f"{whole} min"


def setting(ds):
    """Return who, which course, when, with what."""
    course = told(ds)
    line = reading.setting_line(ds)
    way = (
        f"{style.number(_length_km(ds), 1)} km, +{style.number(course['ascent_m'])} m "
        f"(raw +{style.number(course['ascent_raw_m'])} m, window {style.number(course['smoothing_m'])} m)"
    )
    title = str(reading.attribute(ds, "inputs", {}).get("title", ""))
    return " · ".join(part for part in (title, line, way) if part)


# ---------------------------------------------------------------- shared by the panels


def way_axis(ds, ax):
    """Give a panel the course as its horizontal axis."""
    length = _length_km(ds)
    ax.set_xlim(0.0, length)
    step = next((s for s in _STEPS_KM if length / s <= 10.5), 100)
    ax.xaxis.set_major_locator(FixedLocator(np.arange(0.0, length + 1e-9, step)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: style.number(v, 0 if step >= 1 else 1)))
    ax.tick_params(axis="x", labelbottom=False, length=2)


def checkpoint_lines(ds, ax):
    """Draw a dotted line at each checkpoint."""
    for one in told(ds)["checkpoints"]:
        ax.axvline(one["distance_m"] / 1000.0, color=COLOUR["ink"], lw=0.7, ls=style.DOTTED, zorder=2.5, alpha=0.8)


def _name_the_way(ds, ax):
    """Write distance, and the clock below it, under the lowest panel."""
    ax.tick_params(axis="x", labelbottom=True, length=3)
    start, height = _start_s(ds), ax.get_position().height * ax.figure.get_figheight()
    if start is None:
        x_label(ax, "distance along the ground, km")
        return
    t, km = 60.0 * reading.minutes(ds), _km(ds)
    width = ax.get_position().width * ax.figure.get_figwidth() / _length_km(ds)
    y = -0.30 / height
    for moment, place in _clock_marks(t, km, start, CLOCK_IN / width):
        ax.plot(
            [place, place], [y, y - 0.05 / height], color=COLOUR["ink"], lw=0.8, transform=ax.get_xaxis_transform(), clip_on=False
        )
        ax.text(place, y - 0.13 / height, clock_text(moment), transform=ax.get_xaxis_transform(),
                ha="center", va="center", color=COLOUR["ink"], gid="clock", **style.sans("tick", bold=True))  # fmt: skip
    left = ax.get_position().x0 * ax.figure.get_figwidth()
    ax.text(-(left - 0.42) / (width * _length_km(ds)), -0.43 / height, "clock", transform=ax.transAxes, ha="left", va="center",
            color=COLOUR["ink"], **style.sans("tick", bold=True))  # fmt: skip
    ax.text(0.5, -0.60 / height, "distance along the ground, km", transform=ax.transAxes, ha="center", va="center",
            color=COLOUR["ink"], **style.sans("axis"))  # fmt: skip


def _clock_marks(t, km, start, apart_km):
    """Return ``[(clock time [s], km)]`` of round times, as many as stay so far apart that each has its label."""
    for step in (*_CLOCK_STEPS_S, 43_200, 86_400):
        moments = np.arange(np.ceil((start + t[0]) / step) * step, start + t[-1] + 1.0, step)
        places = np.interp(moments - start, t, km)
        if moments.size <= 9 and (np.diff(places) >= apart_km).all():
            break
    return list(zip(moments, places))


# ---------------------------------------------------------------- panels


def _labels_over(ds):
    """Return (km, name, lines of words) of each checkpoint, the words wrapped to the room between neighbours."""
    from .page import DATA_WIDTH_IN

    places = told(ds)["checkpoints"]
    x = [one["distance_m"] / 1000.0 / _length_km(ds) * DATA_WIDTH_IN for one in places]
    found = []
    for k, one in enumerate(places):
        room = min([abs(x[k] - other) for j, other in enumerate(x) if j != k], default=1.4)
        words = one["has"] if room >= NARROW_IN else ""
        lines = wrap(words, min(room - 0.06, 1.1), style.SIZE["note"]) if words else []
        full = one["name"]
        wide = max(room - 0.05, 0.2)
        name = next((text for text in (full, full.split()[0]) if text_width_in(text, style.SIZE["label"], True) <= wide), "")
        found.append((one["distance_m"] / 1000.0, name, lines, one))
    return found


def above_in(ds):
    """Return the room that the names of checkpoints need over the first panel."""
    most = max((len(lines) for _, _, lines, _ in _labels_over(ds)), default=-2)
    return 0.0 if most < -1 else 0.22 + LINE_IN * (most + 1)


def elevation_panel(ds, ax=None, letter="a"):
    """Draw the profile with its sections and checkpoints; return the axes."""
    ax = ax or lone_axes()
    course = told(ds)
    km, height = np.array(course["distance_m"]) / 1000.0, np.array(course["elevation_m"])
    low, high = float(height.min()), float(height.max())
    span = max(high - low, 20.0)
    base = low - 0.26 * span
    ax.fill_between(km, base, height, color=COLOUR["pebble"], alpha=0.75, lw=0, zorder=2)
    ax.plot(km, height, color=COLOUR["none"], lw=1.3, zorder=3, gid="profile")
    ax.set_ylim(base, high + 0.08 * span)
    way_axis(ds, ax)
    value_ticks(ax, 4)
    ticks = [tick for tick in ax.yaxis.get_major_locator().tick_values(low, high) if tick >= low - 0.02 * span]
    ax.yaxis.set_major_locator(FixedLocator(ticks))
    width = ax.get_position().width * ax.figure.get_figwidth()
    for name, start, end in course["sections"]:
        room, middle = (end - start) / course["length_m"] * width, 0.0005 * (start + end)
        if text_width_in(name, style.SIZE["note"]) <= room - 0.04:
            ax.text(middle, base + 0.09 * span, name, ha="center", va="center", color=COLOUR["ink"], zorder=4,
                    **style.sans("note", italic=True))  # fmt: skip
        if start > 0.0:
            ax.plot([start / 1000.0] * 2, [base, base + 0.18 * span], color=COLOUR["paper"], lw=1.2, zorder=3)
    _checkpoint_marks(ds, ax)
    marks = "; filled mark: crew and ice, half: ice likely or no crew, open: water or nothing" if course["checkpoints"] else ""
    panel_title(ax, letter, "Elevation, m", f"smoothed{marks}", above_in=0.14 + above_in(ds))
    return ax


def _checkpoint_marks(ds, ax):
    height = ax.get_position().height * ax.figure.get_figheight()
    y = 1.0 + 0.09 / height
    for km, name, lines, one in _labels_over(ds):
        centre = ax.get_xaxis_transform() + ScaledTranslation(0, 0, ax.figure.dpi_scale_trans)
        at = ax.figure.dpi_scale_trans + ScaledTranslation(km, y, ax.get_xaxis_transform())
        ice, sure = one["ice_probability"] > 0.0, one["ice_probability"] >= 1.0 and one["crew"]
        ax.add_patch(Wedge((0, 0), MARKER_IN, 0, 360, transform=at, facecolor=COLOUR["paper"], edgecolor=COLOUR["ink"], lw=1.1,
                           clip_on=False, zorder=6))  # fmt: skip
        if ice:
            angles = (0, 360) if sure else (90, 270)
            ax.add_patch(Wedge((0, 0), MARKER_IN, *angles, transform=at, facecolor=COLOUR["ink"], lw=0, clip_on=False, zorder=7))
        for row, text in enumerate([*lines[::-1], name]):
            if text:
                head = row == len(lines)
                ax.text(km, y + (0.14 + LINE_IN * row) / height, text, transform=centre, ha="center", va="center",
                        gid="checkpoint", color=COLOUR["ink"], **style.sans("label" if head else "note", bold=head))  # fmt: skip


def sun_panel(ds, ax=None, letter="b"):
    """Draw the sun absorbed at the outer surface along the way, with and without the shade of the course; return the axes."""
    ax = ax or lone_axes(height_in=2.0)
    km, sun = _km(ds), reading.values(ds, "solar_load")
    shade, edge = np.zeros_like(km), np.zeros(km.size, dtype=bool)
    for start, _, share in _stretches(ds, "shade"):
        shade[km >= start - 1e-9] = share
        edge |= (np.abs(km - start) < 0.002) & (start > 0.0)  # a sample there may belong to either side
    open_sky = np.where((shade < 1.0) & ~edge, sun / np.maximum(1.0 - shade, 1e-6), np.nan)
    top = max(float(np.nanmax(open_sky, initial=0.0)), 50.0)
    way_axis(ds, ax)
    ax.set_ylim(0.0, 1.35 * top)
    ax.fill_between(km, 0.0, sun, color=COLOUR["straw"], lw=0, zorder=2)
    ax.plot(km, open_sky, color=COLOUR["ink"], lw=1.0, ls=(0, (4, 2)), zorder=3)
    dark = (sun < 0.5) & (shade < 1.0)
    _washes(ax, km, dark)
    width = ax.get_position().width * ax.figure.get_figwidth()
    for start, end, share in _stretches(ds, "shade"):
        middle, text = 0.5 * (start + end), f"shade {style.number(share, 1).removesuffix('.0')}"
        lit = not bool(dark[(km >= start) & (km <= end)].all())
        room = (end - start) / _length_km(ds) * width
        if lit and len(told(ds)["stretch_m"]) > 1 and text_width_in(text, style.SIZE["note"]) < room:
            halo(ax.text(middle, 1.24 * top, text, ha="center", va="center", color=COLOUR["ink"], zorder=5,
                         **style.sans("note")), 3)  # fmt: skip
    value_ticks(ax, 4)
    if sun.max() >= 0.5:
        labels = [(sun[-1], "on the runner", COLOUR["ink"], True)]
        if np.isfinite(open_sky).any():
            labels.append((float(open_sky[np.isfinite(open_sky)][-1]), "open sky", COLOUR["ink"], False))
        end_labels(ax, labels)
    panel_title(ax, letter, "Sun absorbed, W", "at the outer surface, with and without the shade of the course · grey: no sun")
    return ax


def _washes(ax, km, on):
    edges = np.flatnonzero(np.diff(np.concatenate(([0], on.astype(int), [0])))).reshape(-1, 2)
    for a, b in edges:
        ax.axvspan(km[a], km[min(b, len(km) - 1)], color=COLOUR["wash"], lw=0, zorder=0.5)


def device_panel(ds, ax=None, letter="c"):
    """Draw the heat that each device takes from the skin; return the axes."""
    ax = ax or lone_axes(height_in=2.0)
    km, labels, high, low = _km(ds), [], 10.0, 0.0
    for k, name in enumerate(reading.device_names(ds)):
        watts = np.asarray(ds.device_power.isel(device=k).sel(side="skin"), dtype=float)
        ax.plot(km, watts, color=COLOUR["deep_water"], lw=1.5, ls=style.ARM[k % len(style.ARM)][1] if k else "-", zorder=4)
        worn = np.flatnonzero(np.abs(watts) > 0.5)
        labels.append((float(watts[worn[-1]]) if worn.size else 0.0, name, COLOUR["deep_water"], k == 0))
        high, low = max(high, float(np.quantile(watts, 0.995))), min(low, float(watts.min()))
    way_axis(ds, ax)
    ax.set_ylim(1.1 * low, 1.15 * high)
    value_ticks(ax, 4)
    end_labels(ax, labels)
    panel_title(ax, letter, "Heat from the skin into devices, W", "modelled")
    return ax


def core_panel(ds, ax=None, letter="c"):
    """Draw core along the way with its band and the limit in force; return the axes."""
    ax = ax or lone_axes()
    km, core, limit = _km(ds), reading.values(ds, "core_temperature"), reading.limit_C(ds)
    low, high, half = float(core.min()), float(core.max()), None
    for share, lower, upper in reading.bands(ds, "core_temperature"):
        band(ax, km, lower, upper, COLOUR["mulberry"], share)
        low, high = min(low, float(lower.min())), max(high, float(upper.max()))
        half = half if half is not None else float(upper[-1] - lower[-1]) / 2
    ax.plot(km, core, color=COLOUR["mulberry"], lw=2, zorder=4, gid="core")
    labels = [(core[-1], "core", COLOUR["mulberry"], True, "median; pale: 90 %" if half is not None else "")]
    if limit is not None:
        ax.axhline(limit, color=COLOUR["ink"], lw=1.3, ls=style.LIMIT_DASH, zorder=3, gid="limit")
        labels.append((limit, f"your limit\n{style.number(limit, 1)} °C", COLOUR["ink"], False))
        high = max(high, limit)
        crossing = reading.crossing_min(ds, reading.minutes(ds), core, limit)
        if crossing is not None:
            place = float(np.interp(crossing, reading.minutes(ds), km))
            ax.plot([place], [limit], "o", ms=5, mfc=COLOUR["paper"], mec=COLOUR["ink"], mew=1.2, zorder=5)
    way_axis(ds, ax)
    ax.set_ylim(low - 0.15, high + 0.25)
    value_ticks(ax, decimals=1)
    t = reading.values(ds, "time")
    uncompensable_foot(ax, [tuple(np.interp(spell, t, km)) for spell in reading.uncompensable_spells(ds)])
    end_labels(ax, labels)
    spread = float(ds.attrs.get("core_band_K", 0.0))
    note = f"one run; 90 % band ±{style.number(spread, 1)} °C, not drawn" if half is None and spread else ""
    core_panel_title(ax, letter, half_width=half, at="the finish" if km[-1] >= _length_km(ds) - 0.01 else "the end", note=note)
    return ax


def skin_panel(ds, ax=None, letter="d"):
    """Draw mean skin temperature along the way; return the axes."""
    ax = ax or lone_axes(height_in=2.0)
    km, skin = _km(ds), reading.values(ds, "mean_skin_temperature")
    for share, lower, upper in reading.bands(ds, "mean_skin_temperature"):
        band(ax, km, lower, upper, COLOUR["clay"], share)
    ax.plot(km, skin, color=COLOUR["clay"], lw=1.6, zorder=4)
    pad = max(0.1 * float(np.ptp(skin)), 0.3)
    way_axis(ds, ax)
    ax.set_ylim(float(skin.min()) - pad, float(skin.max()) + pad)
    value_ticks(ax, 5)
    end_labels(ax, [(skin[-1], "mean skin", COLOUR["clay_text"], True)])
    panel_title(ax, letter, "Mean skin temperature, °C", "modelled")
    return ax


def heart_rate_panel(ds, ax=None, letter="e"):
    """Draw modelled heart rate along the way with the cap, where there is one; return the axes."""
    ax = ax or lone_axes()
    km, rate = _km(ds), reading.values(ds, "heart_rate")
    low, high = float(rate.min()), float(rate.max())
    for share, lower, upper in reading.bands(ds, "heart_rate"):
        band(ax, km, lower, upper, COLOUR["indigo"], share)
        low, high = min(low, float(lower.min())), max(high, float(upper.max()))
    ax.plot(km, rate, color=COLOUR["indigo"], lw=1.6, zorder=4, gid="heart-rate")
    labels = [(rate[-1], "heart rate", COLOUR["indigo"], True, "modelled")]
    cap = reading.cap_bpm(ds)
    if cap is not None:
        ax.axhline(cap, color=COLOUR["ink"], lw=1.2, zorder=3)
        labels.append((cap, f"cap {style.number(cap)}", COLOUR["ink"], True))
        high = max(high, cap)
    way_axis(ds, ax)
    ax.set_ylim(low - 6.0, high + 8.0)
    value_ticks(ax, 8)
    end_labels(ax, labels)
    stands = (reading.values(ds, "speed") < STANDS_BELOW_M_S).any()
    panel_title(ax, letter, "Heart rate, bpm", "modelled; falls to the stand at each stop" if stands else "modelled")
    return ax


def speed_panel(ds, ax=None, letter="f"):
    """Draw the speed along the ground, walked parts marked; return the axes.

    Where a cap holds the runner back so often that lines would merge, means of stretches of the way are drawn from its first
    event on, with their slowest and fastest.
    """
    ax = ax or lone_axes(height_in=2.0)
    km, speed = _km(ds), reading.values(ds, "speed")
    moving = np.where(speed > STANDS_BELOW_M_S, speed, np.nan)
    way_axis(ds, ax)
    ax.set_ylim(0.0, 1.15 * float(np.nanmax(moving, initial=1.0)))
    walked = (reading.values(ds, "mode") == 1) if "mode" in ds else np.zeros(speed.size, bool)
    seen, detail = moving[np.isfinite(moving)], ""
    last = float(seen[-1]) if seen.size else 0.0
    note = "stops left out" + (" · grey: walked" if walked.any() else "")
    if _often_held(ds):
        edges, mean, low, high, _ = _held_back(ds)
        before = km <= edges[0]
        km, moving, walked, last = km[before], moving[before], walked[before], float(mean[np.isfinite(mean)][-1])
        ax.stairs(high, edges, baseline=low, fill=True, color=COLOUR["none"], alpha=0.28, lw=0, zorder=2, gid="speed-range")
        ax.stairs(mean, edges, baseline=None, color=COLOUR["none"], lw=1.4, zorder=4, gid="speed-mean")
        stretch = style.number(edges[1] - edges[0], 1)
        note += f" · from km {style.number(edges[0], 1)}, where the cap begins to bind, means of {stretch} km"
        detail = "mean; pale: slowest to fastest"
    _washes(ax, km, walked)
    ax.plot(km, moving, color=COLOUR["none"], lw=1.4, zorder=4, gid="speed")
    value_ticks(ax, 4)
    end_labels(ax, [(last, "speed", COLOUR["none"], True, detail)])
    panel_title(ax, letter, "Speed along the ground, m/s", note)
    return ax


def held_panel(ds, ax=None, letter="g"):
    """Draw the share of the time on the way in which the cap holds the runner back; return the axes."""
    ax = ax or lone_axes(height_in=1.6)
    edges, *_, held = _held_back(ds)
    way_axis(ds, ax)
    ax.set_ylim(0.0, 100.0)
    ax.stairs(100.0 * held, edges, fill=True, color=COLOUR["ink"], alpha=0.6, lw=0, zorder=2, gid="held-back")
    ax.yaxis.set_major_locator(FixedLocator([0, 50, 100]))
    note = f"of each {style.number(edges[1] - edges[0], 1)} km; {style.number(ds.sizes['cap_event'])} cap events in all"
    panel_title(ax, letter, "Time held back by the cap, %", note)
    return ax


def _often_held(ds):
    return ds.sizes.get("cap_event", 0) > MOST_EVENTS


def _held_back(ds):
    """Return edges of stretches from the first cap event to the end [km]; mean, lowest, highest speed [m/s], share held back.

    Planned stops are left out; all but the edges are NaN where nothing is left.
    """
    way, look = reading.values(ds, "distance_at_look") / 1000.0, reading.values(ds, "look")
    begins, ends = reading.values(ds, "cap_event_start"), reading.values(ds, "cap_event_resume")
    open_events = np.searchsorted(begins, look[:-1], side="right") - np.searchsorted(np.sort(ends), look[:-1], side="right")
    speed, held = 1000.0 * np.diff(way) / np.diff(look), open_events > 0
    stands = (reading.attribute(ds, "inputs", {}).get("rule") or {}).get("above_cap") == "stand"
    goes = np.concatenate(([True], speed > STANDS_BELOW_M_S, [True]))
    counts = (goes[:-2] & goes[1:-1] & goes[2:]) | (held & stands)  # a second beside a stop is partly one
    first = float(ds.cap_event_distance[0]) / 1000.0
    step = next((s for s in _STEPS_KM if _length_km(ds) / s <= MOST_STRETCHES), 100)
    edges = np.append(np.arange(first, way[-1] - 0.5 * step, step), way[-1])
    at = np.searchsorted(edges, way[:-1], side="right") - 1
    found = np.full((4, edges.size - 1), np.nan)
    for k in range(edges.size - 1):
        own = counts & (at == k)
        if own.any():
            found[:, k] = speed[own].mean(), speed[own].min(), speed[own].max(), held[own].mean()
    return edges, *found
