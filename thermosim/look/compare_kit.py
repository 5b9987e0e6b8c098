"""Panel of the comparison page on a kit: what each device adds to the whole, beside what it does alone."""

from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from . import style
from .compare_words import high, low, mid, shorten, span_of
from .page import LEFT_IN, RIGHT_IN, WIDTH_IN, bare_axes, core_panel_title, halo, lone_axes, thin_hatch, wrap
from .style import COLOUR

_WIDE = WIDTH_IN - LEFT_IN - RIGHT_IN
_BARS_IN = (1.95, 5.25)  # left and right edge of the bars
_COLUMNS_IN = (5.45, 7.25, 8.35)  # left edges of the numbers: degrees, joules, ice
_BAR_IN, _STEP_IN, _GAP_IN = 0.13, 0.185, 0.13
_HEAD_IN, _AXIS_IN, _LINE_IN = 0.22, 0.46, 0.165


def _groups(kit):
    """Return ``[(name, [(words, change, heat, ice, alone)])]``: each device in the kit and alone, then all of them."""
    groups = [
        (one["name"].replace("_", " "),
         [("share", one["share_K"], one["heat_from_skin_kJ"], one["ice_kg"], False),
          ("alone", one["alone_K"], one["heat_alone_kJ"], None, True)])
        for one in kit["devices"]
    ]  # fmt: skip
    whole = kit["whole"]
    together = [("together", whole["core_difference_K"], whole["heat_from_skin_kJ"], kit["ice_kg"], False),
                ("sum alone", kit["sum_of_singles_K"], kit["sum_of_singles_kJ"], None, True)]  # fmt: skip
    return [*groups, ("whole kit", together)]


def _sentence_lines(kit):
    return wrap(kit["sentence"].replace("_", " "), _WIDE, style.SIZE["label"])


def kit_in(kit):
    """Return the height [in] of the panel of a kit, its title apart."""
    groups = len(kit["devices"]) + 1
    return _HEAD_IN + groups * (2 * _STEP_IN + _GAP_IN) + _AXIS_IN + _LINE_IN * len(_sentence_lines(kit))


def kit_panel(kit, ax=None, letter="g"):
    """Draw what a kit's devices change in core: solid bars in the kit, dotted bars alone, 90 % as lines; return the axes.

    Parameters
    ----------
    kit : dict
        The JSON key ``kit`` of a comparison.
    ax : Axes, optional
        Bare axes as wide as the page.
    letter : str
    """
    height = kit_in(kit)
    ax = ax or bare_axes(lone_axes(height_in=1.0 + height))
    ax.set_xlim(0, _WIDE)
    ax.set_ylim(height, 0)
    groups = _groups(kit)
    place, ticks, decimals = _scale(groups)
    bottom = _HEAD_IN + len(groups) * (2 * _STEP_IN + _GAP_IN)
    for tick in ticks:
        x = place(tick)
        line = {"color": COLOUR["ink"], "lw": 0.9} if tick == 0 else {"color": COLOUR["rule"], "lw": 0.6}
        ax.plot([x, x], [_HEAD_IN - 0.06, bottom], zorder=3 if tick == 0 else 1, **line)
        _words(ax, x, bottom + 0.09, style.number(tick, decimals), "tick", "grey_ink", ha="center")
    middle = sum(_BARS_IN) / 2
    _words(ax, middle, bottom + 0.25, f"change in core at {style.number(kit['at_min'])} min, °C", "axis", "ink", ha="center")
    heads = ("core, °C (90 %)", f"heat by {style.number(kit['heat_until_min'])} min, kJ", "ice, kg")
    for x, words in zip(_COLUMNS_IN, heads, strict=True):
        _words(ax, x, 0.07, words, "note", "grey_ink")
    y = _HEAD_IN
    for k, (name, bars) in enumerate(groups):
        if k == len(groups) - 1:
            ax.plot([0, _WIDE], [y - _GAP_IN / 2] * 2, color=COLOUR["stone"], lw=0.7)
        _words(ax, 0, y + _STEP_IN / 2, shorten(name, 1.25, True), "label", "ink", bold=True)
        for words, change, heat, ice, alone in bars:
            _bar(ax, place, y + _STEP_IN / 2, change, alone)
            _numbers(ax, y + _STEP_IN / 2, words, change, heat, ice, bold=not alone)
            y += _STEP_IN
        y += _GAP_IN
    for r, line in enumerate(_sentence_lines(kit)):
        _words(ax, 0, bottom + _AXIS_IN + _LINE_IN * r, line, "label", "ink")
    note = f"solid in the kit, dotted alone; {style.number(kit['members'])} runners"
    core_panel_title(ax, letter, f"What each device adds, °C: {shorten(kit['variant'], 1.6, True)}", note=note)
    return ax


def _scale(groups):
    """Return the function from a change [K] to a place [in], the ticks, and their decimals; zero is always among them."""
    numbers = [end(bar[1]) or 0.0 for _, bars in groups for bar in bars for end in (low, mid, high)]
    lowest, highest = min(0.0, *numbers), max(0.0, *numbers)
    span = max(highest - lowest, 0.01)
    lowest, highest = lowest - 0.03 * span, highest + 0.03 * span
    left, right = _BARS_IN
    ticks = MaxNLocator(nbins=6, steps=[1, 2, 5, 10]).tick_values(lowest, highest)
    step = ticks[1] - ticks[0]
    decimals = 0 if step >= 1 else 1 if step >= 0.1 else 2 if step >= 0.01 else 3
    inside = [0.0 if abs(tick) < 1e-9 else tick for tick in ticks if lowest <= tick <= highest]
    return lambda kelvin: left + (kelvin - lowest) / (highest - lowest) * (right - left), inside, decimals


def _bar(ax, place, y, change, alone):
    """Draw one bar from zero to the median, dotted where the device is alone, and its interval as a line."""
    middle = mid(change)
    if middle is None:
        return
    start, end = sorted((place(0.0), place(middle)))
    fill = COLOUR["paper"] if alone else COLOUR["deep_water"]
    patch = Rectangle((start, y - _BAR_IN / 2), end - start, _BAR_IN, facecolor=fill, edgecolor=COLOUR["deep_water"],
                      lw=0.8, hatch="....." if alone else None, zorder=2, gid="kit-alone" if alone else "kit-share")  # fmt: skip
    ax.add_patch(thin_hatch(patch))
    if low(change) is not None and high(change) is not None:
        line = ax.plot([place(low(change)), place(high(change))], [y, y], color=COLOUR["ink"], lw=1, zorder=5)[0]
        halo(line, 2.4)
        for x in (low(change), high(change)):
            ax.plot([place(x)] * 2, [y - 0.035, y + 0.035], color=COLOUR["ink"], lw=1, zorder=6)


def _numbers(ax, y, words, change, heat, ice, bold):
    """Write what a bar is, and its numbers."""
    _words(ax, _BARS_IN[0] - 0.08, y, words, "note", "grey_ink", ha="right")
    decimals = max(2, style.temperature_decimals(low(change), high(change)))
    _words(ax, _COLUMNS_IN[0], y, span_of(change, decimals), "label", "ink", bold=bold)
    heat_words = "–" if mid(heat) is None else style.number(mid(heat))
    if low(heat) is not None and high(heat) is not None:
        heat_words += f" ({style.interval(low(heat), high(heat))})"
    _words(ax, _COLUMNS_IN[1], y, heat_words, "label", "ink", bold=bold)
    if ice is not None:
        _words(ax, _COLUMNS_IN[2], y, style.number(ice, 2), "label", "ink", bold=bold)


def _words(ax, x, y, text, role, colour, bold=False, ha="left"):
    ax.text(x, y, text, va="center", ha=ha, color=COLOUR[colour], **style.sans(role, bold=bold))
