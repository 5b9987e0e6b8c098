"""Assumed inputs and what each changes: the guesses, their ranges, their effect on core and heart rate."""

from ..variables import INPUTS
from . import style
from .page import CORE_NOTE, bare_axes, lone_axes, panel_title, text_width_in, wrap
from .style import COLOUR, SIZE

_LINE_IN, _PAD_IN, _HEAD_IN = 0.145, 0.09, 0.26
_NAME_IN, _VALUE_IN, _RANGE_IN = 2.15, 1.15, 1.35


def _words(name):
    """Return the label of a glossary name, or the name in words."""
    return INPUTS[name].long_name if name in INPUTS else str(name).replace("_", " ")


def _rows(assumed):
    for item in assumed:
        yield item, wrap(_words(item["name"]), _NAME_IN - 0.1, SIZE["label"])


def assumed_height_in(assumed):
    """Return the height [in] the table needs."""
    return _HEAD_IN + sum(_LINE_IN * len(lines) + _PAD_IN for _, lines in _rows(assumed)) + 0.04


def _decimals(item):
    width = abs(float(item["high"]) - float(item["low"]))
    return 0 if width >= 5 else 1 if width >= 0.3 else 2


def assumed_table(assumed, ax=None, letter="f"):
    """Draw the table; return the axes.

    Parameters
    ----------
    assumed : list of dict
        ``name, unit, value, low, high, core_effect_K: [lo, hi], heart_rate_effect_bpm: [lo, hi]``.
    ax : Axes, optional
        Where to draw.
    letter : str
        Panel letter.
    """
    if ax is None:
        ax = bare_axes(lone_axes(height_in=assumed_height_in(assumed) + 1.0))
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    ax.set_xlim(0, width)
    ax.set_ylim(height, 0)
    panel_title(
        ax,
        letter,
        "Assumed inputs and what each changes",
        f"at the end of the run; core {CORE_NOTE}",
        italic=True,
    )
    effects_at = _NAME_IN + _VALUE_IN + _RANGE_IN
    each = (width - effects_at) / 2
    heads = (
        (0, "input"),
        (_NAME_IN, "used"),
        (_NAME_IN + _VALUE_IN, "could be"),
        (effects_at, "changes core by, °C"),
        (effects_at + each, "changes heart rate by, bpm"),
    )
    for x, words in heads:
        ax.text(x, 0.10, words, va="center", color=COLOUR["grey_ink"], **style.sans("note"))
    ax.plot([0, width], [_HEAD_IN - 0.05] * 2, color=COLOUR["ink"], lw=0.8)
    y = _HEAD_IN
    for item, lines in _rows(assumed):
        tall = _LINE_IN * len(lines) + _PAD_IN
        middle = y + tall / 2 - 0.02
        _row_words(ax, item, lines, middle)
        for k, (key, colour) in enumerate(
            (("core_effect_K", "mulberry"), ("heart_rate_effect_bpm", "indigo"))
        ):
            largest = max((abs(float(v)) for row in assumed for v in (row.get(key) or [])), default=0.0)
            _effect(ax, item.get(key), effects_at + k * each, each - 0.1, middle, largest, colour, 2 - 2 * k)
        y += tall
        ax.plot([0, width], [y - 0.02] * 2, color=COLOUR["rule"], lw=0.6)
    return ax


def _row_words(ax, item, lines, middle):
    decimals, unit = _decimals(item), str(item.get("unit", ""))
    unit = "" if unit == "1" else f" {unit}"
    for k, line in enumerate(lines):
        ax.text(
            0,
            middle + (k - (len(lines) - 1) / 2) * _LINE_IN,
            line,
            va="center",
            color=COLOUR["ink"],
            gid="assumed-name",
            **style.sans("label"),
        )
    cells = (
        (_NAME_IN, style.number(item["value"], decimals) + unit, True),
        (
            _NAME_IN + _VALUE_IN,
            style.interval(float(item["low"]), float(item["high"]), decimals) + unit,
            False,
        ),
    )
    for x, words, bold in cells:
        ax.text(x, middle, words, va="center", color=COLOUR["ink"], **style.sans("label", bold=bold))


def _effect(ax, effect, x, wide, middle, largest, colour, decimals):
    """Draw one effect as a bar either side of zero, its numbers beside it."""
    if not effect:
        ax.text(x, middle, "not computed", va="center", color=COLOUR["grey_ink"], **style.sans("note"))
        return
    low, high = sorted(float(v) for v in effect)
    words = f"{style.number(low, decimals, signed=True)} to {style.number(high, decimals, signed=True)}"
    room = (
        wide - max(text_width_in("−0.00 to +0.00", SIZE["label"]), text_width_in(words, SIZE["label"])) - 0.12
    )
    scale = room / 2 / largest if largest > 0 else 0.0
    zero = x + room / 2
    ax.plot(
        [zero + low * scale, zero + high * scale],
        [middle, middle],
        color=COLOUR[colour],
        lw=5,
        solid_capstyle="butt",
        alpha=0.85,
    )
    ax.plot([zero, zero], [middle - 0.08, middle + 0.08], color=COLOUR["ink"], lw=0.9)
    ax.text(x + room + 0.10, middle, words, va="center", color=COLOUR["ink"], **style.sans("label"))
