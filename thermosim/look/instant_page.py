"""Instant ledger: one runner, one instant; does every watt have a place to go?"""

from matplotlib.patches import Rectangle

from .. import cautions
from . import style
from .page import (
    LEFT_IN,
    RIGHT_IN,
    WIDTH_IN,
    Page,
    bare_axes,
    lone_axes,
    text_width_in,
    thin_hatch,
    value_ticks,
    wrap,
)
from .style import COLOUR, TERM

_ROW_IN, _HEAD_IN = 0.46, 0.34
_WIDE = WIDTH_IN - LEFT_IN - RIGHT_IN
_BAR_LEFT, _BAR_WIDE, _FORMULA_LEFT = 1.80, 2.75, 4.75
_NAMES = {
    "metabolic_power": "metabolic power",
    "external_work": "external work",
    "long_wave_radiation": "long-wave radiation",
    "solar_radiation": "sun",
    "respiration_vapour": "breathing, vapour",
    "respiration_dry": "breathing, dry",
    "evaporation": "evaporation",
    "devices": "devices",
    "storage": "storage",
    "convection": "convection",
}
_BOLD = {"metabolic_power", "evaporation", "storage"}


def instant_ledger(result):
    """Return the page of one instant's heat balance.

    Parameters
    ----------
    result : dict
        The ``ledger`` JSON object with ``rows``: ``{term, symbol, formula, numbers, watts}`` (formula and
        numbers plain or mathtext). Optional: ``surface_area_m2``, ``setting``, ``version``,
        ``maximum_sweat_rate_L_h``, ``wettedness_limit`` (1 when missing).

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    rows = result["rows"]
    table_in = _HEAD_IN + _ROW_IN * (len(rows) + 1) + 0.05
    facts = _facts(result)
    body = table_in + 0.40 + 0.28 + 0.42 + 0.235 * len(facts) + 0.02
    lines = [cautions.not_medical_advice(), cautions.INSTANT]
    lines += [cautions.UNCOMPENSABLE] if _uncompensable(result) else []
    lines += cautions.for_device() if abs(float(result.get("terms_W", {}).get("devices") or 0)) > 0 else []
    page = Page(
        question="One runner, one instant: does every watt have a place to go?",
        answer=answer(result),
        setting=str(
            result.get("setting") or "scalar laws for the whole body: one skin temperature, one air speed"
        ),
        cautions=lines,
        body_in=body,
        provenance=" · ".join(
            [
                f"thermosim {result['version']}" if result.get("version") else "thermosim",
                f"closure {_closure_words(result)}",
                "no ensemble: one set of inputs",
            ]
        ),
    )
    ledger_table(result, page.axes(0.0, table_in, LEFT_IN, _WIDE, bare=True))
    top = table_in + 0.40
    evaporation_bar(result, page.axes(top, 0.28, LEFT_IN + _BAR_LEFT, 4.6))
    facts_block(facts, page.axes(top + 0.28 + 0.42, 0.235 * len(facts), LEFT_IN, _WIDE, bare=True))
    return page.figure


_LIMITS = {0: "nothing", 1: "air", 2: "sweat_rate", None: "nothing", "none": "nothing", "": "nothing"}


def _limited_by(result):
    """Return ``nothing``, ``air`` or ``sweat_rate``: what keeps core from holding steady at this instant.

    At the start of a run nothing limits a skin that is merely not wet yet, but a steady core would still ask for
    more than the air takes.
    """
    limited = result.get("limited_by")
    limited = _LIMITS.get(limited, limited)
    required = float(result["required_evaporation_W"])
    return "air" if limited == "nothing" and required > max(_takes_W(result), 0.0) else limited


def _uncompensable(result):
    return _limited_by(result) != "nothing"


def _takes_W(result):
    """Return what the air takes from this runner's skin at its wettest [W]; negative where it gives water."""
    capacity = float(result["evaporative_capacity_W"])
    return capacity * _largest_wettedness(result) if capacity > 0 else capacity


def _largest_wettedness(result):
    limit = result.get("wettedness_limit")
    return float(limit) if style.is_number(limit) else 1.0


def _at_wettedness(result):
    """Return the words that say at which wettedness the air takes the most; none for a fully wet skin."""
    limit = _largest_wettedness(result)
    return f" (wettedness {style.number(limit, 2)})" if limit < 0.995 else ""


def _closure_words(result):
    closure = abs(float(result["closure_W"]))
    return "below 0.1 W" if closure < 0.1 else f"{style.number(closure, 1)} W"


def answer(result):
    """Return the answer sentence from the result."""
    required, capacity = float(result["required_evaporation_W"]), float(result["evaporative_capacity_W"])
    if required <= 0:
        return [
            "Holding core steady here asks for no evaporation at all:",
            f"the other terms already take {style.number(-required)} W more than is made",
        ]
    first = f"Holding core steady here asks the skin to evaporate {style.number(required)} W;"
    if capacity <= 0:
        return [first, "this air takes no sweat at all, so core cannot hold steady: uncompensable"]
    takes, wet = _takes_W(result), style.number(result["wettedness"], 2)
    if required > takes:
        most = f"the air takes at most {style.number(takes)} W{_at_wettedness(result)}"
        return [first, f"{most}, so {style.number(required - takes)} W stay in the body: uncompensable"]
    limited = _limited_by(result)
    if limited == "air":
        return [first, f"that is a wettedness of {wet}, where most of any more sweat drips: uncompensable"]
    would = f"the air would take {style.number(takes)} W"
    if limited == "sweat_rate":
        return [first, f"{would}, but the largest sweat rate{_largest_words(result)} cannot feed it"]
    return [first, f"{would}, so a wettedness of {wet} is enough"]


def _largest_words(result):
    largest = result.get("maximum_sweat_rate_L_h")
    return f" ({style.number(largest, 1)} L/h)" if style.is_number(largest) else ""


def _facts(result):
    """Return the rows under the evaporation bar: ``(name, words)``."""
    required, capacity = float(result["required_evaporation_W"]), float(result["evaporative_capacity_W"])
    facts = []
    if capacity > 0 and result.get("wettedness") is not None:
        words = (
            f"required ÷ capacity = {style.number(required, 1)} / {style.number(capacity)}"
            f" = {style.number(result['wettedness'], 2)}"
        )
        if _at_wettedness(result):
            words += (
                f"; this runner's skin gets no wetter than {style.number(_largest_wettedness(result), 2)}"
            )
        facts.append(("wettedness", words))
    if result.get("sweat_rate_L_h") is not None:
        text = f"{style.number(result['sweat_rate_L_h'], 2)} L/h if all of it evaporates"
        if result.get("sweat_rate_with_dripping_L_h") is not None:
            text += f"; {style.number(result['sweat_rate_with_dripping_L_h'], 2)} L/h with what drips"
        facts.append(("sweat", text))
    return [*facts, ("flag", _flag(result))]


def _flag(result):
    """Return the words of the flag: compensable, or which limit is passed."""
    required, limited = float(result["required_evaporation_W"]), _limited_by(result)
    largest = f"the largest sweat rate{_largest_words(result)}"
    if limited == "nothing":
        return f"required < what the air takes, and within {largest}: compensable at this instant"
    if limited == "sweat_rate":
        return f"uncompensable: required evaporation > what {largest} can feed"
    if required > _takes_W(result):
        return f"uncompensable: required evaporation > what the air takes{_at_wettedness(result)}"
    return "uncompensable: the skin is so wet that most of any more sweat would drip"


def ledger_table(result, ax=None):
    """Draw the table of terms: name, symbol, bar, formula with numbers put in, W, W/m²; return the axes."""
    rows = result["rows"]
    if ax is None:
        ax = bare_axes(lone_axes(height_in=_HEAD_IN + _ROW_IN * (len(rows) + 1) + 1.05))
    height = _HEAD_IN + _ROW_IN * (len(rows) + 1) + 0.05
    ax.set_xlim(0, _WIDE)
    ax.set_ylim(height, 0)
    area = result.get("surface_area_m2")
    scale, ticks, zero = _scale(rows)
    _table_head(ax, ticks, scale, zero, bool(area), height)
    balance = 0.0
    for k, row in enumerate(rows):
        y = _HEAD_IN + _ROW_IN * (k + 0.5)
        step = float(row["watts"])
        after = balance - step if row["term"] == "storage" else balance + step
        row = {**row, "name": _name(row, result)}
        _table_row(ax, row, y, area)
        _step_bar(ax, row, y, zero + balance * scale, zero + after * scale, last=k == len(rows) - 1)
        balance = after
        bottom = _HEAD_IN + _ROW_IN * (k + 1)
        ax.plot(
            [0, _WIDE],
            [bottom, bottom],
            color=COLOUR["rule"] if k < len(rows) - 1 else COLOUR["ink"],
            lw=0.6 if k < len(rows) - 1 else 1.2,
        )
    y = _HEAD_IN + _ROW_IN * (len(rows) + 0.5)
    closure = float(result["closure_W"])
    _words(ax, 0, y, "closure", bold=True)
    _words(
        ax,
        _FORMULA_LEFT,
        y,
        f"sum of the terms less storage: {_closure_words(result)}",
        colour="grey_ink",
    )
    _amounts(ax, closure, y, area, signed=False)
    ax.plot([zero, zero], [y - 0.16, y + 0.16], color=COLOUR["ink"], lw=1.6)
    ax.plot([0, _WIDE], [y + _ROW_IN / 2] * 2, color=COLOUR["ink"], lw=1.2)
    return ax


def _scale(rows):
    """Return inches per watt, tick values [W] and the place of zero [in] for the step bars."""
    balance, seen = 0.0, [0.0]
    for row in rows:
        balance += -float(row["watts"]) if row["term"] == "storage" else float(row["watts"])
        seen.append(balance)
    low, high = min(seen), max(seen)
    span = max(high - low, 1.0)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000) if span / s <= 5)
    scale = (_BAR_WIDE - 0.1) / span
    first = -int(-low // step) if low < 0 else 0
    ticks = [k * step for k in range(first, int(high / step) + 1)]
    return scale, ticks, _BAR_LEFT - low * scale


def _table_head(ax, ticks, scale, zero, with_area, height):
    heads = [
        (0, "term", "left"),
        (_FORMULA_LEFT, "formula, numbers put in", "left"),
        (_WIDE - 0.78, "W", "right"),
    ]
    heads += [(_WIDE - 0.05, "W/m²", "right")] if with_area else []
    for x, words, side in heads:
        ax.text(x, 0.08, words, va="center", ha=side, color=COLOUR["grey_ink"], **style.sans("note"))
    for tick in ticks:
        x = zero + tick * scale
        ax.plot([x, x], [_HEAD_IN - 0.06, height], color=COLOUR["rule"], lw=0.6, zorder=0)
        ax.text(
            x,
            _HEAD_IN - 0.13,
            style.number(tick),
            va="center",
            ha="center",
            color=COLOUR["grey_ink"],
            **style.sans("tick"),
        )


def _words(ax, x, y, text, *, bold=False, colour="ink", side="left", role="label"):
    return ax.text(
        x,
        y,
        text,
        va="center",
        ha=side,
        color=COLOUR[colour],
        math_fontfamily="stix",
        **style.sans(role, bold=bold),
    )


def _amounts(ax, watts, y, area, signed=True):
    _words(ax, _WIDE - 0.78, y, style.number(watts, 1, signed=signed), bold=True, side="right")
    if area:
        _words(ax, _WIDE - 0.05, y, style.number(watts / float(area), 1, signed=signed), side="right")


def _name(row, result):
    """Return the words of a term; evaporation is *required* when its row carries what is required."""
    term = str(row["term"])
    if term == "evaporation" and abs(float(row["watts"]) + float(result["required_evaporation_W"])) < 0.5:
        return "evaporation required"
    return _NAMES.get(term, term.replace("_", " "))


def _table_row(ax, row, y, area):
    term = str(row["term"])
    _words(ax, 0, y, row["name"], bold=term in _BOLD)
    if row.get("symbol"):
        _words(ax, _BAR_LEFT - 0.10, y, str(row["symbol"]), side="right", role="title")
    formula, numbers = str(row.get("formula") or ""), str(row.get("numbers") or "")
    room = _WIDE - 1.45 - _FORMULA_LEFT
    for text, offset, colour in ((formula, -0.085, "ink"), (numbers, 0.095, "grey_ink")):
        if text:
            role = "title" if "$" in text else "label"  # the serif of formulas is small for its size
            place = y + (offset if formula and numbers else 0)
            written = _words(ax, _FORMULA_LEFT, place, text, colour=colour, role=role)
            _shrink(written, text, room)
    _amounts(ax, float(row["watts"]), y, area)


def _shrink(written, text, room):
    """Make a formula smaller until it fits; mathtext is measured by the renderer."""
    renderer = written.figure.canvas.get_renderer()
    while (
        written.get_window_extent(renderer).width / written.figure.dpi > room and written.get_fontsize() > 5
    ):
        written.set_fontsize(written.get_fontsize() - 0.25)


def _step_bar(ax, row, y, x0, x1, last):
    term = str(row["term"])
    words, fill, texture = TERM.get(term, (term, COLOUR["pebble"], ""))
    left, wide = min(x0, x1), abs(x1 - x0)
    bar = Rectangle(
        (left, y - 0.14),
        max(wide, 0.012),
        0.28,
        facecolor=fill,
        zorder=2,
        gid=f"bar-{term}",
        edgecolor=COLOUR["stone"] if texture else fill,
        lw=0.5,
        hatch=texture or None,
    )
    ax.add_patch(thin_hatch(bar))
    if not last:
        ax.plot(
            [x1, x1], [y + 0.14, y + _ROW_IN - 0.14], color=COLOUR["ink"], lw=0.8, ls=style.DOTTED, zorder=3
        )
    inside = {"metabolic_power": "heat made", "evaporation": "evaporates"}.get(term, "")
    inside = "must evaporate" if row["name"] == "evaporation required" else inside
    if inside and text_width_in(inside, style.SIZE["label"], True) < wide - 0.1:
        ax.text(
            left + wide / 2,
            y,
            inside,
            ha="center",
            va="center",
            color=COLOUR["paper"],
            zorder=4,
            **style.sans("label", bold=True),
        )


def evaporation_bar(result, ax=None):
    """Draw required evaporation against what the air takes; what exceeds it is hatched; return the axes."""
    ax = ax or lone_axes(height_in=1.6)
    required = max(float(result["required_evaporation_W"]), 0.0)
    capacity, takes = max(float(result["evaporative_capacity_W"]), 0.0), max(_takes_W(result), 0.0)
    width = ax.get_position().width * ax.figure.get_figwidth()
    reach = 1.12 * max(required, capacity, 1.0)
    ax.set_xlim(0, reach)
    ax.set_ylim(0, 1)
    ax.set_yticks([])
    ax.grid(False)
    ax.spines["left"].set_visible(False)
    met = min(required, takes)
    ax.add_patch(Rectangle((0, 0.12), met, 0.80, facecolor=COLOUR["deep_water"], lw=0))
    ax.add_patch(
        Rectangle((0, 0.12), capacity, 0.80, facecolor="none", edgecolor=COLOUR["ink"], lw=1.2, zorder=4)
    )
    if takes < capacity:
        ax.plot(
            [takes, takes],
            [0.12, 0.92],
            color=COLOUR["ink"],
            lw=1.2,
            ls=style.DOTTED,
            zorder=5,
            gid="wettest",
        )
    pieces = [(0, met, f"required {style.number(required)} W", COLOUR["paper"], True)]
    if required > takes:
        over = Rectangle(
            (takes, 0.12),
            required - takes,
            0.80,
            facecolor="none",
            edgecolor=COLOUR["ink"],
            lw=0.8,
            hatch=style.HATCH_UNCOMPENSABLE,
            gid="uncompensable",
        )
        ax.add_patch(thin_hatch(over))
        pieces[0] = (0, met, f"the air takes {style.number(takes)} W", COLOUR["paper"], True)
        excess = style.number(required - takes)
        aside = f"required {style.number(required)} W: {excess} W too much, uncompensable"
    else:
        pieces.append((met, takes, f"spare {style.number(takes - met)} W", COLOUR["ink"], False))
        aside = f"capacity {style.number(capacity)} W"
        if takes < capacity:
            aside += f", {style.number(takes)} W at the largest wettedness, {style.number(_largest_wettedness(result), 2)}"
    for left, right, words, colour, bold in pieces:
        if text_width_in(words, style.SIZE["label"], bold) < (right - left) / reach * width - 0.08:
            ax.text(
                (left + right) / 2,
                0.52,
                words,
                ha="center",
                va="center",
                color=colour,
                zorder=5,
                **style.sans("label", bold=bold),
            )
        elif bold and required <= takes:
            aside += f", {words}"
    lines = wrap(aside, WIDTH_IN - RIGHT_IN - LEFT_IN - _BAR_LEFT - width - 0.12, style.SIZE["label"])
    height = ax.get_position().height * ax.figure.get_figheight()
    for k, line in enumerate(lines):
        y = 0.52 - (k - (len(lines) - 1) / 2) * 0.145 / height
        ax.text(
            1 + 0.10 / width,
            y,
            line,
            transform=ax.transAxes,
            va="center",
            color=COLOUR["ink"],
            gid="end-label",
            **style.sans("label"),
        )
    ax.text(
        -_BAR_LEFT / width,
        0.52,
        "evaporation, W",
        transform=ax.transAxes,
        va="center",
        color=COLOUR["ink"],
        **style.sans("label", bold=True),
    )
    value_ticks(ax, 5, which="x")
    return ax


def facts_block(facts, ax=None):
    """Write named facts in two columns; return the axes."""
    ax = ax if ax is not None else bare_axes(lone_axes(height_in=1.0 + 0.235 * len(facts)))
    ax.set_xlim(0, _WIDE)
    ax.set_ylim(0.235 * len(facts), 0)
    for k, (name, words) in enumerate(facts):
        y = 0.235 * (k + 0.5)
        _words(ax, 0, y, name, bold=True)
        _words(ax, _BAR_LEFT, y, words)
    return ax
