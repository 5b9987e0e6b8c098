"""Devices in watts: what each takes fresh and late in three climates, and one device over time."""

import numpy as np

from . import style
from .page import (
    GAP_IN,
    RIGHT_IN,
    WIDTH_IN,
    Page,
    dress,
    halo,
    lone_axes,
    panel_title,
    time_axis,
    value_ticks,
    x_label,
    zero_line,
)
from .style import COLOUR

ROW_IN, TITLE_IN, FOOT_IN = 0.205, 0.45, 0.55
NAMES_IN, BETWEEN_IN, LAST_IN = 2.35, 0.22, 0.10
LINEAR_W = 60.0  # below this the scale of watts is even, above it logarithmic
CLIMATE_WORDS = {
    "humid": "humid: 31 °C, 85 %",
    "dry": "dry: 38 °C, 22 %, sun",
    "cool": "cool: 15 °C, 70 %",
}
TICKS_W = (0, 20, 40, 60, 200, 1000)
LEFT_W, RIGHT_W = -45.0, 1400.0  # ends of the scale of watts


def draw_table(result, cautions, provenance):
    """Return the page of all devices: one row a device, one column a climate, watts fresh and late.

    Parameters
    ----------
    result : dict
        Of :func:`thermosim.study.device_table.table`: ``rows`` with ``label, climate, fresh_W, late_W, net_fresh_W,
        band_fresh_W, inside``, and counts ``judged, inside``.
    cautions : list of str
    provenance : str

    Returns
    -------
    matplotlib.figure.Figure
    """
    rows = result["rows"]
    labels = list(dict.fromkeys(row["label"] for row in rows))
    climates = [name for name in CLIMATE_WORDS if any(row["climate"] == name for row in rows)]
    height = ROW_IN * len(labels)
    page = Page(
        question="What does each device take, fresh and late, and what is left of it?",
        answer=_answer(result),
        setting="65 kg, 1.75 m; running 12 km/h, standing at a stop after 40 min of it, or resting before a run; modelled · "
        "● fresh  ○ late  | left of fresh, net · grey bar: common practice, ◆ outside it",
        cautions=cautions,
        provenance=provenance,
        body_in=TITLE_IN + height + FOOT_IN,
    )
    width = (WIDTH_IN - NAMES_IN - RIGHT_IN - LAST_IN - BETWEEN_IN * (len(climates) - 1)) / len(climates)
    for k, climate in enumerate(climates):
        ax = page.axes(TITLE_IN, height, NAMES_IN + k * (width + BETWEEN_IN), width)
        watts_panel([row for row in rows if row["climate"] == climate], ax, labels, climate, letter="abc"[k])
        ax.tick_params(axis="y", labelleft=k == 0)
        if k == len(climates) // 2:
            x_label(ax, "W (even up to 60, then logarithmic)")
    return page.figure


def _answer(result) -> list[str]:
    most = max(
        (row for row in result["rows"] if row["setting"] == "running" and row["climate"] == "humid"),
        key=lambda row: row["net_kJ"],
    )
    first = f"Running in humid heat, most is left of the {most['label']}: {style.number(most['net_kJ'])} kJ net"
    return [first, f"{result['inside']} of {result['judged']} devices and climates lie in the watts of common practice"]


def watts_panel(rows, ax=None, labels=None, climate="", letter=""):
    """Draw one climate: a line from fresh to late watts, what is left of fresh ones, and the band of common practice."""
    labels = labels or list(dict.fromkeys(row["label"] for row in rows))
    ax = ax or lone_axes(height_in=1.0 + ROW_IN * len(labels))
    dress(ax)
    ax.set_xscale("symlog", linthresh=LINEAR_W, linscale=1.6)
    ax.set_xlim(LEFT_W, RIGHT_W)
    ax.set_ylim(len(labels) - 0.5, -0.5)
    ax.set_yticks(range(len(labels)), [name.replace(" (treatment only)", ", treatment") for name in labels])
    ax.set_xticks(TICKS_W)
    ax.set_xticks([], minor=True)
    ax.xaxis.set_major_formatter(lambda x, _: style.number(x))
    ax.tick_params(axis="y", length=0)
    ax.grid(visible=False, axis="y")
    ax.axvline(0.0, color=COLOUR["ink"], lw=0.9, zorder=1)
    for y in range(len(labels)):
        ax.axhline(y + 0.5, color=COLOUR["rule"], lw=0.4, zorder=0.3)
    for row in rows:
        _row(ax, row, labels.index(row["label"]))
    if letter:
        panel_title(ax, letter, CLIMATE_WORDS.get(climate, climate))
    return ax


def _row(ax, row, y):
    if row["band_fresh_W"]:
        low, high = row["band_fresh_W"]
        ax.barh(y, max(high - low, 1.0), left=low, height=0.62, color=COLOUR["rule"], lw=0, zorder=0.6, gid="band")
    inside = row["inside"] is not False
    colour = COLOUR["deep_water"] if inside else COLOUR["clay"]
    ax.plot([row["late_W"], row["fresh_W"]], [y, y], color=colour, lw=1.6, zorder=2, gid="fresh-to-late")
    ax.plot(row["late_W"], y, "o", ms=4.6, mfc=COLOUR["paper"], mec=colour, mew=1.3, zorder=3, gid="late")
    ax.plot(row["fresh_W"], y, "o" if inside else "D", ms=5.4, color=colour, zorder=4, gid="fresh")
    ax.plot([row["net_fresh_W"]] * 2, [y - 0.3, y + 0.3], color=COLOUR["ink"], lw=1.7, zorder=5, gid="net")


def draw_one(result, cautions, provenance):
    """Return the page of one device over time: heat from the skin and from the air, and what is left, net.

    Parameters
    ----------
    result : dict
        Of :func:`thermosim.study.device_table.show_one`.
    cautions : list of str
    provenance : str
    """
    name, climate = result["label"], CLIMATE_WORDS.get(result["climate"], "the weather given")
    spent = result["spent_min"]
    end = "" if spent is None else f"; spent after {style.number(spent)} min"
    answer = [
        f"{name[:1].upper()}{name[1:]}: {style.number(result['from_skin_kJ'])} kJ from the runner in "
        f"{style.number(result['wear_min'])} min, of which {style.number(result['net_kJ'])} kJ are left net{end}"
    ]
    page = Page(
        question=f"What does the {name} take, and from where?",
        answer=answer,
        setting=f"65 kg, 1.75 m, {result['setting']} · {climate} · {_ceiling(result)}"
        + (f" · shown with {result['shown_with']}" if result["shown_with"] else "")
        + (" · emergency treatment, never a race device" if result["treatment_only"] else ""),
        cautions=cautions,
        provenance=provenance,
        body_in=2 * TITLE_IN + 4.2 + GAP_IN + FOOT_IN,
    )
    into_panel(result, page.axes(TITLE_IN, 2.5))
    left_panel(result, page.axes(2 * TITLE_IN + 2.5 + GAP_IN, 1.7))
    return page.figure


def _ceiling(result) -> str:
    """Return the ceiling in words: by joules, and what water and shade could add."""
    parts = result["ceiling_parts_K"]
    words = f"ceiling {style.number(parts['joules'], 2)} °C by its joules"
    for name, said in (("wetting", "if all its water dried"), ("shade", "by shade")):
        words += f", {style.number(parts[name], 2)} °C {said}" if parts[name] >= 0.005 else ""
    return words


def into_panel(result, ax=None):
    """Draw the heat into the device: from the skin below, from the air on top of it."""
    ax = ax or lone_axes()
    minutes, skin = result["time_min"], result["from_skin_W"]
    air = np.maximum(result["from_air_W"], 0.0)
    dress(ax)
    ax.fill_between(minutes, 0, skin, color=COLOUR["deep_water"], lw=0, zorder=2, gid="from-skin")
    ax.fill_between(minutes, np.maximum(skin, 0.0), np.maximum(skin, 0.0) + air, color=COLOUR["rule"], lw=0, zorder=1.9,
                    hatch="....", edgecolor=COLOUR["stone"], gid="from-air")  # fmt: skip
    ax.set_xlim(0, minutes[-1])
    ax.set_ylim(min(float(skin.min()), 0.0), 1.12 * float((np.maximum(skin, 0.0) + air).max()) + 1.0)
    _spent_line(ax, result)
    value_ticks(ax, 5, 0)
    time_axis(ax, minutes, label=False)
    panel_title(ax, "a", "Heat into the device, W", "solid: from skin, stomach or breath · dotted: from the air, dew included")
    return ax


def left_panel(result, ax=None):
    """Draw what is left for the runner: the device's heat less what it blocks and weighs; and the sweat it saves."""
    ax = ax or lone_axes()
    minutes = result["time_min"]
    dress(ax)
    ax.plot(minutes, result["net_W"], color=COLOUR["ink"], lw=2, zorder=3, gid="net")
    ax.plot(minutes, -result["evaporation_W"], color=COLOUR["clay"], lw=1.5, ls=(0, (2.5, 1.5)), zorder=2, gid="blocked")
    ax.plot(minutes, result["sweat_W"], color=COLOUR["indigo"], lw=1.5, ls=(0, (6, 1.5, 1.2, 1.5)), zorder=2, gid="sweat")
    zero_line(ax)
    ax.set_xlim(0, minutes[-1])
    series = [result["net_W"], -result["evaporation_W"], result["sweat_W"]]
    low, high = min(float(one[1:].min()) for one in series), max(float(one[1:].max()) for one in series)
    ax.set_ylim(min(1.1 * low, -1.0), max(1.1 * high, 1.0))
    _spent_line(ax, result)
    value_ticks(ax, 5, 0)
    time_axis(ax, minutes, text="time since it was put on, min")
    note = "black: net · dashed: evaporation that is missing · dash-dotted: sweat that is saved, as heat"
    panel_title(ax, "b", "What is left for the runner, W", note)
    return ax


def _spent_line(ax, result):
    if result["spent_min"] is None:
        return
    ax.axvline(result["spent_min"], color=COLOUR["ink"], lw=1.1, ls=style.DOTTED, zorder=4, gid="spent")
    text = ax.annotate("spent", (result["spent_min"], ax.get_ylim()[1]), (4, -3), textcoords="offset points", va="top",
                       color=COLOUR["ink"], **style.sans("label", bold=True))  # fmt: skip
    halo(text)
