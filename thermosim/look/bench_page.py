"""A bench test: watts into the device, split into skin and outer side, and the scales that say so."""

import numpy as np

from . import style
from .page import (
    GAP_IN,
    Page,
    end_labels,
    halo,
    lone_axes,
    panel_title,
    time_axis,
    value_ticks,
    wrap,
)
from .style import COLOUR

TITLE_IN, WATTS_IN, MASS_IN, ICE_IN, FOOT_IN = 0.36, 2.3, 1.5, 1.2, 0.5
LINE_IN = 0.15
ICE_PANEL_IN = TITLE_IN + ICE_IN
SIDES = {"dummy": ("none", (0, (5.5, 2.2)), "o"), "skin": ("deep_water", "-", "o")}


def draw_bench(result, answer, setting, cautions, provenance):
    """Return the page of a bench test.

    Parameters
    ----------
    result : dict
        JSON of ``thermosim device test``: ``runs`` with ``series`` and ``readings_g``, ``parameters``.
    answer : list of str
        One or two lines.
    setting, provenance : str
    cautions : list of str

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    lines, iced = parameter_lines(result), any(run["readings_g"]["ice_left_g"] for run in result["runs"])
    page = Page(
        question="What does this device take, and how much of it from skin?",
        answer=answer,
        setting=setting,
        cautions=cautions,
        provenance=provenance,
        body_in=2 * TITLE_IN + WATTS_IN + MASS_IN + GAP_IN + FOOT_IN + LINE_IN * len(lines) + 0.1 + iced * ICE_PANEL_IN,
    )
    shown = main_run(result)
    above = page.axes(TITLE_IN, WATTS_IN)
    below = page.axes(2 * TITLE_IN + WATTS_IN + GAP_IN, MASS_IN)
    minutes = np.array(
        [0.0, max(one["series"]["time_min"][-1] for one in result["runs"] if one is shown or one["on"] == "skin")]
    )
    minutes[1] = max(minutes[1], shown["last_reading_min"])
    watts_panel(shown, above, minutes=minutes)
    mass_panel(result["runs"], below, minutes=minutes)
    time_axis(above, minutes, label=False)
    lowest = below
    if iced:
        time_axis(below, minutes, label=False)
        lowest = page.axes(2 * TITLE_IN + WATTS_IN + GAP_IN + MASS_IN + TITLE_IN, ICE_IN)
        ice_panel(result["runs"], lowest, minutes=minutes)
    time_axis(lowest, minutes, text="time since the device was laid on, min")
    below = lowest
    height = below.get_position().height * below.figure.get_figheight()
    for k, line in enumerate(lines):
        below.text(
            0,
            -(FOOT_IN + 0.05 + LINE_IN * k) / height,
            line,
            transform=below.transAxes,
            va="center",
            ha="left",
            color=COLOUR["ink"],
            gid="parameter",
            **style.sans("note"),
        )
    return page.figure


def main_run(result):
    """Return the run that is drawn in watts: the first on skin, else the first."""
    return next((run for run in result["runs"] if run["on"] == "skin"), result["runs"][0])


def watts_panel(run, ax=None, minutes=None, letter="a"):
    """Draw heat into the device, stacked: from skin next to zero, then through the outer side, dew apart; return the axes."""
    ax = ax or lone_axes(height_in=3.5)
    series = {name: np.array(values) for name, values in run["series"].items()}
    t, skin, outer = series["time_min"], series["skin_W"], series["outer_W"]
    dew = np.clip(series["condensation_W"], 0.0, np.maximum(outer, 0.0))
    dry = np.maximum(outer, 0.0) - dew
    base = np.maximum(skin, 0.0)
    ax.fill_between(t, 0.0, base, color=COLOUR["deep_water"], lw=0, zorder=2, gid="from-skin")
    ax.fill_between(t, base, base + dry, color=COLOUR["mist"], lw=0, zorder=2, gid="from-air")
    ax.fill_between(
        t,
        base + dry,
        base + dry + dew,
        facecolor=COLOUR["mist"],
        edgecolor=COLOUR["stone"],
        hatch="....",
        lw=0,
        zorder=2,
        gid="from-dew",
    )
    for edge in (base, base + dry):
        ax.plot(t, edge, color=COLOUR["paper"], lw=0.8, zorder=2.5)
    if run["on"] == "skin":
        for end in ("skin_W_low", "skin_W_high"):
            ax.plot(
                t, np.maximum(series[end], 0.0), color=COLOUR["ink"], lw=0.8, ls=style.DOTTED, zorder=3, gid="skin-interval"
            )
    top = float((base + dry + dew)[1:].max())
    ax.set_xlim(*(minutes if minutes is not None else (0.0, t[-1])))
    ax.set_ylim(min(0.0, float(outer.min())), 1.15 * max(top, 1.0))
    value_ticks(ax, 5, 0)
    melted = run["melted_at_min"]
    if melted is not None:
        ax.axvline(melted["median"], color=COLOUR["ink"], lw=1.1, ls=style.DOTTED, zorder=4, gid="melted")
        left = melted["median"] > 0.75 * ax.get_xlim()[1]
        words = ax.annotate(
            "all melted",
            (melted["median"], ax.get_ylim()[1]),
            (-4 if left else 4, -3),
            va="top",
            textcoords="offset points",
            ha="right" if left else "left",
            color=COLOUR["ink"],
            zorder=6,
            **style.sans("label", bold=True),
        )
        halo(words)
    if run["last_reading_min"] < ax.get_xlim()[1] - 1.0:
        ax.axvspan(run["last_reading_min"], ax.get_xlim()[1], color=COLOUR["wash"], lw=0, zorder=0.2, gid="beyond")
    k = min(len(t) - 1, max(1, int(np.searchsorted(t, 5.0))))
    labels = [(0.5 * base[k], "from skin", COLOUR["deep_water"], True, _of(run["skin_W_at_5_min"], "W at 5 min"))]
    if run["on"] == "dummy":
        labels = []
    labels.append(
        (base[k] + 0.5 * (dry + dew)[k], "outer side", COLOUR["ink"], True, _of(run["outer_W_at_5_min"], "W at 5 min"))
    )
    end_labels(ax, labels)
    where = "on skin" if run["on"] == "skin" else "on a dummy"
    note = f"{where}; dotted area: dew; dotted lines: 90 % of the skin's part; grey: beyond the last reading"
    panel_title(ax, letter, "Heat into the device, W", note)
    return ax


def mass_panel(runs, ax=None, minutes=None, letter="b"):
    """Draw the device's mass as it was weighed (dots) and fitted (lines), a look for each side; return the axes."""
    ax = _scales(runs, "measured_g", "fitted_g", ax or lone_axes(height_in=2.5), minutes)
    ax.axhline(0.0, color=COLOUR["ink"], lw=0.9, zorder=1)
    panel_title(
        ax, letter, "Mass on the scales since the first reading, g", "dots: weighed · lines: fitted, all runs together"
    )
    return ax


def ice_panel(runs, ax=None, minutes=None, letter="c"):
    """Draw the ice left as it was weighed (dots) and fitted (lines); return the axes."""
    known = [run for run in runs if run["readings_g"]["ice_left_g"]]
    ax = _scales(known, "ice_left_g", "ice_fitted_g", ax or lone_axes(height_in=2.2), minutes)
    panel_title(ax, letter, "Ice left, g", "melt water poured off, weighed, put back")
    return ax


def _scales(runs, measured, fitted, ax, minutes):
    labels, lowest, highest = [], 0.0, 0.0
    for run in runs:
        readings = run["readings_g"]
        colour, dash, mark = SIDES[run["on"]]
        t = readings["time_min"]
        seen = [(x, y) for x, y in zip(t, readings[measured]) if y is not None]
        ax.plot(t, readings[fitted], color=COLOUR[colour], lw=2, ls=dash, zorder=3, gid="fitted")
        ax.plot(*zip(*seen), mark, ms=4.2, mfc=COLOUR["paper"], mec=COLOUR[colour], mew=1.2, zorder=4, gid="weighed")
        known = [y for _, y in seen] + readings[fitted]
        lowest, highest = min(lowest, *known), max(highest, *known)
        labels.append((readings[fitted][-1], f"on {'a dummy' if run['on'] == 'dummy' else 'skin'}", COLOUR[colour], True))
    room = max(0.08 * (highest - lowest), 0.5)
    ax.set_xlim(*(minutes if minutes is not None else (0.0, max(run["last_reading_min"] for run in runs))))
    ax.set_ylim(lowest - room, highest + room)
    value_ticks(ax, 4)
    end_labels(ax, labels)
    return ax


def parameter_lines(result):
    """Return a line for each number of the card that was fitted, and what was not identified."""
    found = []
    for one in result["parameters"]:
        if one["name"] in ("air_factor", "skin_offset_K"):
            continue
        fitted, unit = one["fitted"], "" if one["unit"] == "1" else f" {one['unit']}"
        words = f"{one['name']}: {fitted['median']:.3g} ({fitted['low']:.3g} to {fitted['high']:.3g}){unit}"
        if not one["identified"]:
            words = f"{one['name']}: not identified by these readings; the card keeps {one['default']:.3g}{unit}"
        found += wrap(words, 8.0, style.SIZE["note"])
    return found


def _of(three, unit):
    if three is None:
        return ""
    return f"{style.number(three['median'])} ({style.interval(three['low'], three['high'])}) {unit}"
