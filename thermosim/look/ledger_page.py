"""Ledger over time: where does the heat come from, and where does it go?"""

import numpy as np

from . import reading, style
from .page import (
    GAP_IN,
    Page,
    end_labels,
    halo,
    hatched,
    lone_axes,
    panel_title,
    text_width_in,
    thin_hatch,
    time_axis,
    value_ticks,
    zero_line,
)
from .style import COLOUR, TERM

# limited_by -> (words of the bar, words of the answer)
_REASON = {
    1: (
        "required evaporation > what the air can take",
        "the air cannot take the sweat this runner needs to lose",
    ),
    2: (
        "required evaporation > what the largest sweat rate can feed",
        "this runner cannot sweat as much as is needed",
    ),
}
_BAR_IN = 0.34


def ledger_over_time(ds):
    """Return the page of the heat terms of one run.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of ``simulate``: ``heat_flow(term, time)``, ``limited_by``, ``closure``.

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    reasons = limited_spells(ds)
    bars_in = _BAR_IN * len(reasons)
    terms_in, storage_in, closure_in = 3.7, 1.15, 0.42
    top = 0.28 + bars_in
    page = Page(
        question="Where does the heat come from, and where does it go?",
        answer=answer(ds),
        setting=reading.setting_line(ds),
        cautions=reading.cautions_of(ds),
        provenance=reading.provenance_line(ds.attrs, "one run, no band"),
        body_in=top + terms_in + storage_in + closure_in + 2 * GAP_IN + 0.42,
    )
    heat_terms_panel(ds, page.axes(top, terms_in), title_above_in=0.14 + bars_in)
    storage_panel(ds, page.axes(top + terms_in + GAP_IN, storage_in))
    closure_panel(ds, page.axes(top + terms_in + storage_in + 2 * GAP_IN, closure_in))
    return page.figure


def limited_spells(ds):
    """Return ``{code: [(start, end)]}`` [s] of the sustained spells in which the balance is limited."""
    if "limited_by" not in ds:
        return {}
    codes = reading.values(ds, "limited_by")
    found = {code: reading.spells(ds.time.values, codes == code, reading.SUSTAINED_S) for code in _REASON}
    return {code: spells for code, spells in found.items() if spells}


def answer(ds):
    """Return the answer sentence from the data."""
    t0, storage = float(ds.time[0]), term_values(ds, "storage")
    span = float(ds.time[-1]) - t0
    mean = float(np.mean(storage))
    stored = f"storage is {style.watts(storage[-1])} W at the end, {style.watts(mean)} W on average"
    reasons = limited_spells(ds)
    if not reasons:
        return [f"Evaporation keeps up with the heat for all {style.duration(span)};", stored]
    first = min(spells[0][0] for spells in reasons.values())
    code = next(code for code, spells in reasons.items() if spells[0][0] == first)
    total = sum(b - a for spells in reasons.values() for a, b in spells)
    start = "From the start" if first - t0 < 30 else f"From {style.duration(first - t0)} on"
    if total >= 0.98 * (span - (first - t0)):
        return [f"{start} {_REASON[code][1]};", stored]
    return [f"{start}, for {style.duration(total)} in all, {_REASON[code][1]};", stored]


def term_values(ds, term):
    """Return one heat term [W]; ``respiration`` is both respiratory terms together."""
    names = ("respiration_vapour", "respiration_dry") if term == "respiration" else (term,)
    flow, known = ds["heat_flow"], {str(name) for name in ds["term"].values}
    parts = [np.asarray(flow.sel(term=name).values, dtype=float) for name in names if name in known]
    return np.sum(parts, axis=0) if parts else np.zeros(ds.sizes["time"])


_STACK = (
    "metabolic_power",
    "evaporation",
    "solar_radiation",
    "long_wave_radiation",
    "convection",
    "respiration",
    "external_work",
    "devices",
)


def heat_terms_panel(ds, ax=None, letter="a", title_above_in=0.14):
    """Draw gains above the line, losses below, storage as a line over them; return the axes."""
    ax = ax or lone_axes(height_in=4.6)
    t = reading.minutes(ds)
    terms = {name: term_values(ds, name) for name in _STACK}
    labels = []
    highest = lowest = 0.0
    for sign in (1, -1):
        sides = {name: np.maximum(sign * y, 0.0) for name, y in terms.items()}
        order = sorted((n for n in sides if sides[n].max() > 0.5), key=lambda n: -sides[n].mean())
        base = np.zeros_like(t)
        for name in order:
            edge = base + sides[name]
            _, fill, texture = TERM[name]
            layer = ax.fill_between(
                t,
                sign * base,
                sign * edge,
                facecolor=fill,
                linewidth=0.0,
                alpha=0.86 if name in ("metabolic_power", "evaporation") else 1.0,
                gid=f"term-{name}",
            )
            if texture:
                layer.set(hatch=texture, edgecolor=COLOUR["stone"] if "." in texture else COLOUR["paper"])
                thin_hatch(layer)
            ax.plot(t, sign * edge, color=COLOUR["paper"], lw=0.8, zorder=2)
            if sign * terms[name][-1] > 0.5 or (sides[name][-1] <= 0.5 and _mostly(terms[name]) == sign):
                middle = sign * (base[-1] + edge[-1]) / 2
                labels.append(
                    (
                        middle,
                        _label(ds, name, terms[name][-1]),
                        style.text_colour(fill),
                        sign > 0 or name == "evaporation",
                    )
                )
            base = edge
        highest, lowest = (max(highest, base.max()), lowest) if sign > 0 else (highest, -base.max())
    storage = term_values(ds, "storage")
    (line,) = ax.plot(t, storage, color=COLOUR["ink"], lw=1.8, zorder=5, gid="storage")
    halo(line, 4)
    labels.append((storage[-1], "storage = the sum\n" + _watts(ds, storage[-1]), COLOUR["ink"], True))
    room = 0.04 * (highest - lowest)
    ax.set_ylim(min(lowest, storage.min()) - room, max(highest, storage.max()) + room)
    zero_line(ax)
    value_ticks(ax, 11)
    time_axis(ax, t, label=False)
    end_labels(ax, labels)
    _uncompensable_bars(ds, ax)
    panel_title(
        ax,
        letter,
        "Heat terms, W",
        "gains above the line, losses below; values at the end",
        above_in=title_above_in,
    )
    return ax


def _mostly(y):
    return 1 if float(np.mean(y)) >= 0 else -1


def _watts(ds, value):
    area = ds.attrs.get("surface_area_m2")
    text = f"{style.number(value, signed=True)} W"
    return f"{text}, {style.number(value / float(area), signed=True)} W/m²" if area else text


def _label(ds, name, value):
    words = TERM[name][0]
    if name == "evaporation" or (name in ("metabolic_power", "solar_radiation") and value > 0):
        return f"{words}\n{_watts(ds, value)}"
    return f"{words} {style.number(value, signed=True)}"


def _uncompensable_bars(ds, ax):
    """Hatch, above the axes, the time in which the balance is limited, with the reason in words."""
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    blend = ax.get_xaxis_transform()
    for row, (code, spells) in enumerate(limited_spells(ds).items()):
        y0 = 1 + (0.05 + _BAR_IN * row) / height
        for start, end in spells:
            bar = hatched(
                ax,
                start / 60,
                end / 60,
                y0,
                y0 + 0.12 / height,
                style.HATCH_UNCOMPENSABLE,
                "uncompensable",
                edge="ink",
                transform=blend,
            )
            bar.set_clip_on(False)
            ax.axvline(start / 60, color=COLOUR["ink"], lw=0.8, ls=style.DOTTED, zorder=4)
        total = style.duration(sum(b - a for a, b in spells))
        words = f"uncompensable: {_REASON[code][0]}, {total}"
        left, right = ax.get_xlim()
        wide = text_width_in(words, style.SIZE["label"], True) / width * (right - left)
        x = min(max(spells[0][0] / 60, left), right - wide)
        ax.text(
            x,
            y0 + 0.20 / height,
            words,
            transform=blend,
            ha="left",
            va="center",
            color=COLOUR["ink"],
            gid="uncompensable-words",
            **style.sans("label", bold=True),
        )


def storage_panel(ds, ax=None, letter="b"):
    """Draw storage alone; return the axes."""
    ax = ax or lone_axes(height_in=2.2)
    t, storage = reading.minutes(ds), term_values(ds, "storage")
    for share, low, high in reading.bands(ds, "storage"):
        ax.fill_between(t, low, high, color=COLOUR["ink"], alpha=0.11 if share >= 80 else 0.18, lw=0)
    ax.plot(t, storage, color=COLOUR["ink"], lw=1.8, zorder=4)
    ax.fill_between(t, 0, storage, color=COLOUR["wash"], lw=0, zorder=1)
    span = max(float(storage.max()), 0.0) - min(float(storage.min()), 0.0)
    ax.set_ylim(min(storage.min(), 0) - 0.08 * span - 2, max(storage.max(), 0) + 0.08 * span + 2)
    zero_line(ax)
    value_ticks(ax, 5)
    time_axis(ax, t, label=False)
    labels = [(storage[-1], f"storage {style.number(storage[-1], signed=True)} W", COLOUR["ink"], True)]
    end_labels(ax, labels)
    note = "what the body keeps; above zero it warms"
    panel_title(ax, letter, "Storage, W", note)
    return ax


def closure_panel(ds, ax=None, letter="c"):
    """Draw what the books leave over; return the axes."""
    ax = ax or lone_axes(height_in=1.6)
    t, closure = reading.minutes(ds), reading.values(ds, "closure")
    largest = float(np.abs(closure).max())
    reach = max(1.0, 1.2 * largest)
    ax.fill_between(t, 0, closure, color=COLOUR["stone"], alpha=0.7, lw=0)
    ax.set_ylim(-reach, reach)
    ax.grid(False)
    zero_line(ax)
    ax.set_yticks([-reach, reach] if reach > 1 else [-1, 1])
    ax.yaxis.set_major_formatter(lambda v, _: style.number(v, 0 if reach == 1 else 1))
    time_axis(ax, t)
    words = "largest below 0.1 W" if largest < 0.1 else f"largest {style.number(largest, 1)} W"
    end_labels(ax, [(0, words, COLOUR["ink"], False)])
    panel_title(ax, letter, "Closure, W", "what the books leave over; scale enlarged")
    return ax
