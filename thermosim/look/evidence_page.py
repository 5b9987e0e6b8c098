"""Evidence: does the model agree with published experiments, and with which does it not?"""

import math

from . import style
from .page import (
    CORE_NOTE,
    GAP_IN,
    LEFT_IN,
    RIGHT_IN,
    WIDTH_IN,
    Page,
    bare_axes,
    halo,
    lone_axes,
    panel_title,
    text_width_in,
    value_ticks,
    x_label,
)
from .style import COLOUR, SIZE

REACH = 3.0  # tolerances on either side; what lies farther ends in an arrowhead
ROW_IN, HEAD_IN, GUTTER_IN = 0.145, 0.34, 0.30
LABEL_IN, NUMBERS_IN = 1.96, 0.90  # left and right of the axis
COLUMNS = 2
# How a role is told apart beside its words: colour of the ring, and the words themselves.
ROLES = {
    "left_out": ("left out of the fit in turn", "indigo"),
    "never_fitted": ("never fitted", "deep_water"),
    "fitted": ("fitted, no fit without it", "none"),
}
SMALL = 6.6  # points: row labels and numbers
_TITLE_IN, _FIRST_NUMBER_IN = 0.11, 0.44


def draw_evidence(lines, groups, answer, setting, cautions, provenance):
    """Return the page of measured against predicted.

    Parameters
    ----------
    lines : list of dict
        One an outcome: ``label``, ``read``, ``group``, ``role`` (a key of ``ROLES``), ``unit``, ``measured`` and
        ``predicted`` as text, ``error``, ``low``, ``high`` and ``fitted`` in units of the tolerance (``fitted`` may be
        None), ``inside``, ``scored``. A line that gathers several outcomes inside has their errors as ``marks``.
    groups : list of tuple
        ``(key, title with unit, {role: note})`` in the order of the page; groups without lines are left out.
    answer : list of str
        One or two lines.
    setting, provenance : str
    cautions : list of str

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    columns = _columns(_blocks(lines, groups))
    body_in = max([sum(_height_in(block) for block in column) for column in columns] + [HEAD_IN]) + GAP_IN
    page = Page(
        question="Does the model agree with published experiments, and with which does it not?",
        answer=answer, setting=setting, cautions=cautions, provenance=provenance, body_in=body_in,
    )  # fmt: skip
    width_in = (WIDTH_IN - LEFT_IN - RIGHT_IN - GUTTER_IN * (COLUMNS - 1)) / COLUMNS
    letters = iter("abcdefghijklmnopqrstuvwxyz")
    for k, column in enumerate(columns):
        top, left = 0.0, LEFT_IN + k * (width_in + GUTTER_IN) + LABEL_IN
        for block in column:
            height = ROW_IN * _rows(block)
            ax = page.axes(top + HEAD_IN, height, left, width_in - LABEL_IN - NUMBERS_IN)
            evidence_panel(block, ax, letter="" if block["continued"] else next(letters), last=block is column[-1])
            top += _height_in(block)
    return page.figure


# --- what stands where -----------------------------------------------------------------------------------------------


def _blocks(lines, groups):
    """Return one block a group: title, note, and its lines under the words of their role."""
    found = []
    for key, title, notes in groups:
        mine = [line for line in lines if line["group"] == key]
        parts = [(role, [line for line in mine if line["role"] == role]) for role in ROLES]
        parts = [(role, some) for role, some in parts if some]
        if parts:
            core = key.startswith("core")
            found.append({"title": title, "core": core, "notes": notes, "parts": parts, "continued": False})
    return found


def _rows(block):
    return sum(1 + len(some) for _, some in block["parts"])


def _height_in(block):
    return HEAD_IN + ROW_IN * _rows(block)


def _columns(blocks):
    """Fill the columns in order, at the height that makes the tallest column lowest."""
    even_in = sum(map(_height_in, blocks)) / COLUMNS
    tries = [_filled(blocks, even_in + k * ROW_IN) for k in range(12)]
    return min(tries, key=lambda columns: max(sum(map(_height_in, column)) for column in columns))


def _filled(blocks, room_in):
    """Fill columns of one height; a group that does not fit goes on in the next column, the last takes the rest."""
    columns, used, waiting = [[]], 0.0, list(blocks)
    while waiting:
        block = waiting.pop(0)
        left_in = room_in - used
        if _height_in(block) <= left_in + 1e-9 or len(columns) == COLUMNS:
            columns[-1].append(block)
            used += _height_in(block)
            continue
        head, tail = _cut(block, int((left_in - HEAD_IN) / ROW_IN))
        if head:
            columns[-1].append(head)
        columns.append([])
        used = 0.0
        waiting.insert(0, tail)
    return columns


def _cut(block, rows):
    """Cut a block after so many rows; a piece of fewer than four rows is not worth its title."""
    if rows < 4 or _rows(block) - rows < 3:
        return None, block
    head, tail = [], []
    for role, some in block["parts"]:
        fit = max(min(rows - 1, len(some)), 0)
        fit = 0 if fit < 2 else fit
        if some[:fit]:
            head.append((role, some[:fit]))
        if some[fit:]:
            tail.append((role, some[fit:]))
        rows = rows - 1 - fit if fit == len(some) else 0
    if not head or not tail:
        return None, block
    title = f"{block['title'].partition(',')[0]}, continued"
    return {**block, "parts": head}, {**block, "parts": tail, "title": title, "continued": True, "notes": {}}


# --- one panel -------------------------------------------------------------------------------------------------------


def evidence_panel(block, ax=None, letter="", last=True):
    """Draw the lines of one group: ring inside, diamond outside, bar over the blanks; return the axes."""
    ax = ax or lone_axes(height_in=1.2 + ROW_IN * _rows(block))
    rows = _rows(block)
    ax.set(xlim=(-REACH - 0.25, REACH + 0.25), ylim=(rows, 0.0))
    bare_axes(ax)
    ax.grid(False)
    ax.axvspan(-1.0, 1.0, color=COLOUR["wash"], lw=0, zorder=0, gid="tolerance")
    for x in (-REACH, -2, -1, 1, 2, REACH):
        ax.axvline(x, color=COLOUR["rule"], lw=0.6, zorder=0.5)
    ax.axvline(0, color=COLOUR["ink"], lw=0.9, zorder=1)
    _title(ax, letter, block)
    _column_heads(ax)
    y = 0.0
    for role, some in block["parts"]:
        words = ": ".join(filter(None, (ROLES[role][0], block["notes"].get(role, ""))))
        head = _words(ax, -LABEL_IN, y + 0.5, words, "grey_ink", italic=True, gid="role")
        halo(head)
        for line in some:
            y += 1.0
            _draw_line(ax, line, y + 0.5)
        y += 1.0
    if last:
        ax.spines["bottom"].set(visible=True, color=COLOUR["stone"], linewidth=0.7)
        ax.xaxis.set_visible(True)
        value_ticks(ax, 7, 0, which="x")
        ax.set_xticks([-3, -2, -1, 0, 1, 2, 3])
        ax.tick_params(axis="x", length=3, width=0.6, color=COLOUR["stone"], labelcolor=COLOUR["grey_ink"],
                       labelsize=SIZE["tick"], labelfontfamily=style.SANS)  # fmt: skip
        x_label(ax, "predicted minus measured, tolerances")
    return ax


def _title(ax, letter, block):
    """Write the title above the row labels; a core panel says that it is modelled."""
    note = CORE_NOTE if block["core"] else ""
    for text in panel_title(ax, letter, block["title"], note, italic=True, above_in=_TITLE_IN):
        if text is not None:
            text.set_x(text.get_position()[0] - _x_of(ax, LABEL_IN))


def _width_in(ax):
    return ax.get_position().width * ax.figure.get_figwidth()


def _x_of(ax, inches):
    """Return the axes fraction of a place counted in inches from the left edge of the axes."""
    return inches / _width_in(ax)


def _words(ax, x_in, y, text, colour, *, bold=False, italic=False, side="left", gid=None):
    font = {**style.sans("note", bold=bold, italic=italic), "fontsize": SMALL}
    return ax.text(_x_of(ax, x_in), y, text, transform=ax.get_yaxis_transform(), va="center", ha=side, color=COLOUR[colour],
                   gid=gid, **font)  # fmt: skip


def _column_heads(ax):
    wide = _width_in(ax)
    for x, text in ((wide + _FIRST_NUMBER_IN, "meas."), (wide + NUMBERS_IN - 0.02, "pred.")):
        _words(ax, x, -_TITLE_IN / ROW_IN, text, "grey_ink", side="right", gid="column-head")


def _draw_line(ax, line, y):
    """Draw one outcome at a height, its words left of the axes and its numbers right of them."""
    outside = line["scored"] and not line["inside"]
    _words(ax, -LABEL_IN, y, *_label(line, outside), bold=outside, gid="row-label")
    wide, colour = _width_in(ax), "ink" if line["scored"] else "grey_ink"
    _words(ax, wide + _FIRST_NUMBER_IN, y, line["measured"], colour, bold=outside, side="right", gid="row-number")
    _words(ax, wide + NUMBERS_IN - 0.02, y, line["predicted"], colour, bold=outside, side="right", gid="row-number")
    ring = ROLES[line["role"]][1] if line["scored"] else "stone"
    for mark in line.get("marks", ()):
        _ring(ax, mark, y, ring)
    if "marks" in line:
        return
    error = line["error"]
    if error is None or math.isnan(error):
        ax.plot(0, y, marker="x", ms=4.5, mew=1.1, color=COLOUR["ink"], zorder=4, gid="no-run")
        return
    _range_bar(ax, line, y)
    fitted = line.get("fitted")
    if fitted is not None and math.isfinite(fitted):
        ax.plot(_held(fitted), y, marker="|", ms=6, mew=1.1, color=COLOUR["none"], zorder=3, gid="fitted")
    if abs(error) > REACH:
        _arrow(ax, y, error, "ink" if outside else "stone")
        return
    if outside:
        ax.plot(error, y, marker="D", ms=4.6, mew=0, color=COLOUR["ink"], zorder=5, gid="outside")
        return
    _ring(ax, error, y, ring)


def _ring(ax, x, y, colour):
    ax.plot(x, y, marker="o", ms=4.2, mew=1.1, mfc=COLOUR["paper"], mec=COLOUR[colour], zorder=4, gid="inside")


def _held(x):
    return min(max(x, -REACH), REACH)


def _range_bar(ax, line, y):
    """Draw the range over the blanks; an end beyond the axis has no cap."""
    low, high = line["low"], line["high"]
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)) or high - low < 1e-6:
        return
    ax.plot([_held(low), _held(high)], [y, y], color=COLOUR["ink"], lw=1.0, solid_capstyle="butt", zorder=2, gid="range")
    for end in (low, high):
        if abs(end) <= REACH:
            ax.plot([end, end], [y - 0.2, y + 0.2], color=COLOUR["ink"], lw=0.8, zorder=2)


def _arrow(ax, y, error, colour):
    """Draw an arrowhead at the edge, with how many tolerances it stands for."""
    right = error > 0
    marker = ">" if right else "<"
    ax.plot(REACH if right else -REACH, y, marker=marker, ms=5.5, mew=0, color=COLOUR[colour], zorder=5, gid="off-scale")
    if math.isfinite(error):
        words = style.number(error, 1 if abs(error) < 9.95 else 0, signed=True)
        font = {**style.sans("note"), "fontsize": SMALL}
        number = ax.text(REACH - 0.25 if right else -REACH + 0.25, y, words, va="center", ha="right" if right else "left",
                         color=COLOUR["ink"], zorder=6, gid="off-scale-number", **font)  # fmt: skip
        halo(number)


def _label(line, bold):
    """Return the words of a row that fit left of the axis, and their colour; how it was read goes last."""
    name, read = line["label"], line["read"]
    room = LABEL_IN - 0.08
    if read and not _fits(f"{name}, {read}", room, bold):
        read = _shortened(read, 0.55 * room, bold)
        name = _shortened(name, room - text_width_in(f", {read}", SMALL, bold), bold)
    text = _shortened(f"{name}, {read}" if read else name, room, bold)
    return text, "ink" if line["scored"] else "grey_ink"


def _fits(text, room_in, bold):
    return text_width_in(text, SMALL, bold) <= room_in


def _shortened(text, room_in, bold):
    """Return a text cut at its end, with an ellipsis, so that it fits."""
    kept = text
    while kept and not _fits(text, room_in, bold):
        kept = kept[:-1]
        text = kept.rstrip(" ,") + "…"
    return text
