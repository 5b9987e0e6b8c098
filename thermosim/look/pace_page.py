"""Weather and performance: how much do constant limits slow a marathon, beside what races showed?"""

from . import style
from .page import (
    GAP_IN,
    RIGHT_IN,
    WIDTH_IN,
    Page,
    band,
    core_panel_title,
    halo,
    lone_axes,
    panel_title,
    value_ticks,
    x_label,
)
from .style import COLOUR

SLOWING_IN, CORE_IN, FOOT_IN, TITLE_IN, HEAD_IN = 3.1, 1.25, 0.50, 0.34, 0.22
FIRST_LEFT_IN, BETWEEN_IN, LAST_IN = 0.80, 0.60, 0.50  # first left edge, room between columns and after the last
GROUP_MARKS = (("o", 5.4, -0.4), ("^", 6.0, 0.4))  # published groups: mark, size, shift [°C] so that none hides another
BINDS = {  # limit -> mark on the line, its fill, words
    "heart rate": ("o", "paper", "heart-rate cap binds"),
    "core temperature": ("D", "none", "core limit binds"),
}
HEADROOM = 1.06


def draw_pace(rows, measured, answer, setting, cautions, provenance, core_half_width_K=None):
    """Return the page of the pace sweep: one column a runner, all columns on the same scales.

    Parameters
    ----------
    rows : list of dict
        One a runner and step of WBGT: ``runner``, ``wbgt_C``, ``slowing_pct`` with ``slowing_low_pct`` and
        ``slowing_high_pct`` (or None), ``limit``, ``core_peak_C``, ``core_limit_C``, ``usual_time_min``.
    measured : list of dict
        Published losses: ``group``, ``wbgt_low_C``, ``wbgt_high_C``, ``slower_than_record_pct``, ``sd_pct``.
    answer : list of str
        One or two lines.
    setting, provenance : str
    cautions : list of str
    core_half_width_K : float, optional
        Half-width of the 90 % band of modelled core [K].

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    people = _people(rows)
    top_of_core = TITLE_IN + HEAD_IN + SLOWING_IN + GAP_IN + TITLE_IN
    page = Page(
        question="How much slower is a marathon in warmer air, if core and heart rate must stay within the same limits?",
        answer=answer, setting=setting, cautions=cautions, provenance=provenance, body_in=top_of_core + CORE_IN + FOOT_IN,
    )  # fmt: skip
    width = (WIDTH_IN - FIRST_LEFT_IN - RIGHT_IN - LAST_IN - BETWEEN_IN * (len(people) - 1)) / len(people)
    for k, (name, mine) in enumerate(people.items()):
        left = FIRST_LEFT_IN + k * (width + BETWEEN_IN)
        above = page.axes(TITLE_IN + HEAD_IN, SLOWING_IN, left, width)
        below = page.axes(top_of_core, CORE_IN, left, width)
        slowing_panel(mine, measured, above, letter="a" if k == 0 else "", everyone=rows)
        core_panel(mine, below, letter="b" if k == 0 else "", everyone=rows, half_width_K=core_half_width_K)
        _column_head(above, name, mine)
        for ax in (above, below):
            ax.tick_params(axis="y", labelleft=k == 0)
        if k == len(people) // 2:
            x_label(below, "wet-bulb globe temperature (WBGT), estimated, °C")
    return page.figure


def pace_setting(rows, members, source):
    """Return the setting line: who, which limits, which weather, which drawn persons, what was measured."""
    drawn = f" · bands in a: 90 % of {members} drawn persons" if members else ""
    return (
        f"each runner held to a core of {style.number(rows[0]['core_limit_C'], 1)} °C and to the heart-rate cap that gives the "
        f"usual marathon in the best weather · {rows[0]['relative_humidity_pct']:g} % relative humidity, no sun, calm, no drink "
        f"· WBGT estimated as 0.7 wet bulb + 0.3 air{drawn} · measured: {source}, against the course record"
    )


def slowing_panel(mine, measured, ax=None, letter="a", everyone=None):
    """Draw one runner's modelled slowing with its band, and the published means with standard deviations; return the axes.

    ``everyone`` sets the scale, so that columns can be compared.
    """
    ax = ax or lone_axes(height_in=4.3)
    everyone = everyone or mine
    _wbgt_axis(ax, mine, words=False)
    lowest = min([one["slower_than_record_pct"] - one["sd_pct"] for one in measured], default=0.0)
    ax.set_ylim(min(lowest, 0.0) - 0.5, HEADROOM * _top(everyone, measured))
    for x in sorted({edge for one in measured for edge in (round(one["wbgt_low_C"]), round(one["wbgt_high_C"]))}):
        ax.axvline(x, color=COLOUR["rule"], lw=0.6, zorder=0.6, gid="quartile-edge")
    ax.axhline(0, color=COLOUR["ink"], lw=0.9, zorder=1)
    _runner_line(ax, mine)
    for group, look in zip(_groups(measured), GROUP_MARKS):
        _group_marks(ax, [one for one in measured if one["group"] == group], *look)
    value_ticks(ax, 6, 0)
    if letter:
        _key(ax, measured, everyone)
        note = "line: modelled, against the own best step · black: measured, mean ± sd over 5 °C, against the course record"
        panel_title(ax, letter, "Slower, % of time", note, above_in=0.14 + HEAD_IN)
    return ax


def core_panel(mine, ax=None, letter="b", everyone=None, half_width_K=None):
    """Draw the highest core temperature of one runner's runs, and the limit; return the axes."""
    ax = ax or lone_axes(height_in=2.4)
    _wbgt_axis(ax, mine, words=True)
    wide, limit = half_width_K or 0.0, mine[0]["core_limit_C"]
    known = [row["core_peak_C"] for row in everyone or mine if row["core_peak_C"] is not None] or [limit]
    ax.set_ylim(min(known) - wide - 0.1, max(limit, max(known) + wide) + 0.1)
    ax.axhline(limit, color=COLOUR["ink"], lw=1.2, linestyle=style.LIMIT_DASH, zorder=3.5, gid="limit")
    points = [(row["wbgt_C"], row["core_peak_C"]) for row in mine if row["core_peak_C"] is not None]
    if points:
        x, y = zip(*points)
        if wide:
            band(ax, x, [one - wide for one in y], [one + wide for one in y], COLOUR["mulberry"])
        ax.plot(x, y, color=COLOUR["mulberry"], lw=2, zorder=3, gid="core-line")
    value_ticks(ax, 4, 1)
    if letter:
        found = ax.annotate(f"limit {style.number(limit, 1)} °C", (ax.get_xlim()[0], limit), (4, 3), textcoords="offset points",
                            va="bottom", ha="left", color=COLOUR["ink"], zorder=6, **style.sans("label", bold=True))  # fmt: skip
        halo(found)
        note = f"band ±{style.number(wide, 1)} °C, the model's own error for one person" if wide else ""
        core_panel_title(ax, letter, "Highest core temperature of that run, °C", note=note)
    return ax


def _people(rows):
    found = {}
    for row in rows:
        found.setdefault(row["runner"], []).append(row)
    return found


def _groups(measured):
    return list(dict.fromkeys(one["group"] for one in measured))


def _top(rows, measured):
    """Return the highest number that must be seen [%]."""
    tops = [row[name] for row in rows for name in ("slowing_pct", "slowing_high_pct") if row[name] is not None]
    return max(tops + [one["slower_than_record_pct"] + one["sd_pct"] for one in measured], default=1.0)


def _wbgt_axis(ax, rows, words):
    steps = [row["wbgt_C"] for row in rows]
    ax.set_xlim(min(steps) - 0.5, max(steps) + 0.5)
    ax.set_xticks([x for x in range(-20, 60, 5) if min(steps) <= x <= max(steps)])
    ax.tick_params(axis="x", labelbottom=words, length=3 if words else 2)


def _column_head(ax, name, mine):
    """Name the runner above the column."""
    minutes = mine[0]["usual_time_min"]
    height = ax.get_position().height * ax.figure.get_figheight()
    words = f"{name}, invented; usual time {style.number(minutes)} min"
    ax.text(0, 1 + 0.12 / height, words, transform=ax.transAxes, va="center", ha="left", color=COLOUR["none"],
            gid="column-head", **style.sans("label", bold=True))  # fmt: skip


def _runner_line(ax, mine):
    """Draw band, line, the mark of the limit that binds, and the last number in words."""
    found = [row for row in mine if row["slowing_pct"] is not None]
    banded = [row for row in found if row["slowing_low_pct"] is not None and row["slowing_high_pct"] is not None]
    if banded:
        x, low, high = zip(*((row["wbgt_C"], row["slowing_low_pct"], row["slowing_high_pct"]) for row in banded))
        band(ax, x, low, high, COLOUR["none"], edge=True)
    if not found:
        return
    x, y = zip(*((row["wbgt_C"], row["slowing_pct"]) for row in found))
    ax.plot(x, y, color=COLOUR["none"], lw=2, zorder=3, gid="runner-line")
    for row in found:
        mark, fill, _ = BINDS[_binding(row)]
        ax.plot(row["wbgt_C"], row["slowing_pct"], marker=mark, ms=4.4, mew=1.1, mec=COLOUR["none"], mfc=COLOUR[fill],
                zorder=3.5, gid=f"binds-{row['limit']}")  # fmt: skip
    words = ax.annotate(f"+{style.number(y[-1])} %", (x[-1], y[-1]), (9, 0), textcoords="offset points", va="center", ha="left",
                        color=COLOUR["none"], zorder=6, gid="last-number", **style.sans("label", bold=True))  # fmt: skip
    halo(words)


def _binding(row):
    return "core temperature" if "core" in row["limit"] else "heart rate"


def _group_marks(ax, points, mark, size, shift):
    for one in points:
        x = 0.5 * (one["wbgt_low_C"] + one["wbgt_high_C"]) + shift
        y, sd = one["slower_than_record_pct"], one["sd_pct"]
        ax.plot([x, x], [y - sd, y + sd], color=COLOUR["ink"], lw=1.0, zorder=4, gid="measured-sd")
        ax.plot(x, y, marker=mark, ms=size, mew=0.8, mec=COLOUR["paper"], mfc=COLOUR["ink"], zorder=5, gid="measured")


def _key(ax, measured, rows):
    """Write, in the upper left corner, what each mark stands for."""
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    lines = [(mark, size, "ink", "ink", f"{group}, measured") for group, (mark, size, _) in zip(_groups(measured), GROUP_MARKS)]
    met = {_binding(row) for row in rows}
    lines += [(mark, 4.4, "none", fill, words) for name, (mark, fill, words) in BINDS.items() if name in met]
    for k, (mark, size, edge, fill, text) in enumerate(lines):
        y = 1.0 - (0.12 + 0.17 * k) / height
        ax.plot(0.14 / width, y, marker=mark, ms=size, mew=1.1, mec=COLOUR[edge], mfc=COLOUR[fill], transform=ax.transAxes,
                zorder=6, gid="key-mark")  # fmt: skip
        found = ax.text(0.26 / width, y, text, transform=ax.transAxes, va="center", ha="left", color=COLOUR["ink"],
                        gid="key-words", zorder=6, **style.sans("note"))  # fmt: skip
        halo(found)
