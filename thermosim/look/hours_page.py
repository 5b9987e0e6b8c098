"""Start hours × runners as a table: greys and textures, a word in each cell; no colour means good or bad."""

from matplotlib.patches import Rectangle

from . import style
from .page import DATA_LEFT_IN, LEFT_IN, RIGHT_IN, WIDTH_IN, Page, text_width_in, wrap
from .style import COLOUR

HEAD_IN, KEY_IN, FOOT_IN = 0.52, 0.34, 0.06
ROW_IN, TIGHT_ROW_IN, TIGHT_FROM = 0.40, 0.22, 30  # a long table has one line a cell
WBGT_IN, WIND_IN, GAP_IN = 0.95, 1.55, 0.06
NARROWEST_IN, MOST_RUNNERS = 0.75, 6
# verdict -> fill, texture, colour of the texture
LOOK = {
    "inside the limits you set": ("paper", "", "stone"),
    "cannot say": ("wash", "....", "stone"),
    "crosses": ("pebble", "", "ink"),
}
UNCOMPENSABLE = "////"
SMALLEST_PT = 6.2


def draw_hours(result, answer, setting, provenance):
    """Return the page of :func:`thermosim.study.hours.hours`.

    Parameters
    ----------
    result : dict
        As ``hours`` returns it, with ``cautions``.
    answer : list of str
        One or two lines.
    setting, provenance : str

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    rows = result["hours"]
    height = TIGHT_ROW_IN if len(rows) >= TIGHT_FROM else ROW_IN
    page = Page(
        question="From which hour does each runner stay inside the limits you set?", answer=answer, setting=setting,
        cautions=result["cautions"], provenance=provenance, body_in=HEAD_IN + height * len(rows) + KEY_IN + FOOT_IN,
    )  # fmt: skip
    ax = page.axes(0.0, HEAD_IN + height * len(rows) + KEY_IN, LEFT_IN, WIDTH_IN - LEFT_IN - RIGHT_IN, bare=True)
    hours_table(result, ax, height)
    return page.figure


def hours_table(result, ax, row_in=ROW_IN):
    """Draw the table into bare axes as wide as the page; return them."""
    rows, names = result["hours"], [one["name"] for one in result["runners"]]
    wide = WIDTH_IN - LEFT_IN - RIGHT_IN
    tall = HEAD_IN + row_in * len(rows) + KEY_IN
    ax.set_xlim(0.0, wide)
    ax.set_ylim(tall, 0.0)
    has_wbgt, has_wind = result["wbgt"] is not None, any(cell["wind"] for row in rows for cell in row["runners"])
    left = max(text_width_in(row["start"], style.SIZE["label"], True) for row in rows) + 0.15
    left = max(left, DATA_LEFT_IN - LEFT_IN)
    first = left + (WBGT_IN if has_wbgt else 0.0)
    room = wide - first - (WIND_IN if has_wind else 0.0)
    column = max(room / max(len(names), 1), NARROWEST_IN)
    heads = [("start", 0.0, "")]
    heads += [("WBGT, °C", left, f"{result['wbgt']}, highest")] if has_wbgt else []
    heads += [(one["name"], first + k * column + GAP_IN, f"limit {style.number(one['limit_C'], 1)} °C")
              for k, one in enumerate(result["runners"])]  # fmt: skip
    heads += [(f"wind, W, {names[0]}", first + len(names) * column + 0.10, "dry · evaporation allowed")] if has_wind else []
    for words, x, note in heads:
        room_in = WBGT_IN if note.startswith(str(result["wbgt"])) else column if words in names else WIND_IN
        _write(ax, x, 0.13, words, "title", True)
        for k, line in enumerate(wrap(note, room_in - 0.05, style.SIZE["note"]) if note else []):
            _write(ax, x, 0.27 + 0.12 * k, line, "note", colour="grey_ink")
    for j, row in enumerate(rows):
        top = HEAD_IN + j * row_in
        ax.plot([0.0, wide], [top, top], color=COLOUR["rule"], lw=0.6, zorder=0.5)
        _write(ax, 0.0, top + 0.5 * row_in, row["start"], "label", True)
        if has_wbgt:
            _write(ax, left, top + 0.5 * row_in, wbgt_words(row), "label")
        for k, cell in enumerate(row["runners"]):
            _cell(ax, cell, first + k * column, top, column, row_in)
        if has_wind:
            _write(ax, first + len(names) * column + 0.10, top + 0.5 * row_in, wind_words(row["runners"][0]["wind"]), "label")
    _key(ax, HEAD_IN + len(rows) * row_in + 0.5 * KEY_IN)
    return ax


def cell_words(cell):
    """Return the verdict of a cell in short, with its minute or share, and what limits the run.

    Examples
    --------
    >>> cell = {"verdict": "cannot say", "share_crossing": 0.3, "crosses_at_min": None, "limiting_words": "heat gain from sun"}
    >>> cell_words(cell)
    ('cannot say: 30 % cross', 'heat gain from sun')
    """
    share = f"{style.number(100.0 * cell['share_crossing'])} %"
    when = cell["crosses_at_min"]
    if cell["verdict"] == "crosses" and when and when["median"] is not None:
        low = f" (5 % by {style.number(when['low'])})" if when["low"] is not None and when["low"] < when["median"] - 0.5 else ""
        return f"crosses at minute {style.number(when['median'])}{low}", cell["limiting_words"]
    if cell["verdict"] == "crosses":
        return f"crosses in {share}", cell["limiting_words"]
    if cell["verdict"] == "cannot say":
        return f"cannot say: {share} cross", cell["limiting_words"]
    return "inside your limits", cell["limiting_words"]


def wbgt_words(row):
    """Return the highest WBGT of a run; over the sheets of a forecast from the lowest to the highest.

    Examples
    --------
    >>> wbgt_words({"wbgt_highest_C": 27.04, "over_sheets": {"wbgt_highest_C": [25.92, 28.21]}})
    '25.9–28.2'
    """
    if not row["over_sheets"]:
        return style.number(row["wbgt_highest_C"], 1)
    return "–".join(style.number(end, 1) for end in row["over_sheets"]["wbgt_highest_C"])


def wind_words(wind):
    """Return what the wind does in short: dry watts, and watts of evaporation that it allows or takes away."""
    if not wind:
        return "–"
    return (
        f"{style.number(5 * round(wind['dry_W'] / 5), signed=True)} · "
        f"{style.number(5 * round(wind['capacity_W'] / 5), signed=True)}"
    )


def _cell(ax, cell, x, top, column, row_in):
    fill, texture, edge = LOOK[cell["verdict"]]
    box = (x + GAP_IN * 0.5, top + 0.02), column - GAP_IN, row_in - 0.04
    ax.add_patch(
        Rectangle(
            *box, facecolor=COLOUR[fill], edgecolor=COLOUR[edge], hatch=texture, lw=0.6, zorder=1, gid=f"cell-{cell['verdict']}"
        )
    )
    if cell["uncompensable"]:
        strip = 0.14 if column > 1.2 else 0.09
        ax.add_patch(Rectangle((box[0][0] + box[1] - strip, box[0][1]), strip, box[2], facecolor=COLOUR["paper"],
                               edgecolor=COLOUR["ink"],
                               hatch=UNCOMPENSABLE, lw=0.6, zorder=1.2, gid="uncompensable"))  # fmt: skip
    head, detail = cell_words(cell)
    wide = column - GAP_IN - 0.12 - ((0.16 if column > 1.2 else 0.10) if cell["uncompensable"] else 0.0)
    bold = cell["verdict"] == "crosses"
    heads = (head, head.split(" (")[0], _short(cell))
    if row_in < ROW_IN:
        _fit(ax, x + 0.09, top + 0.5 * row_in, heads, "note", wide, bold)
        return
    _fit(ax, x + 0.09, top + 0.33 * row_in, heads, "label", wide, bold)
    details = (detail, detail.removeprefix("evaporation limited by ").removeprefix("heat gain from "))
    _fit(ax, x + 0.09, top + 0.69 * row_in, details, "note", wide, False)


def _short(cell):
    """Return a verdict in the fewest words, for a narrow column."""
    when = cell["crosses_at_min"]
    if cell["verdict"] == "crosses" and when and when["median"] is not None:
        return f"crosses, {style.number(when['median'])} min"
    share = f", {style.number(100.0 * cell['share_crossing'])} %"
    return "inside" if cell["verdict"].startswith("inside") else cell["verdict"] + share


def _fit(ax, x, y, candidates, role, wide, bold):
    """Write the longest words that fit on a plain ground, in a smaller type where the column is narrow."""
    for words in candidates:
        size = style.SIZE[role]
        while size > SMALLEST_PT and text_width_in(words, size, bold) > wide:
            size -= 0.2
        if text_width_in(words, size, bold) <= wide:
            break
    text = _write(ax, x, y, words, role, bold)
    text.set_fontsize(size)
    text.set_bbox({"facecolor": "white", "alpha": 0.82, "lw": 0, "pad": 0.6})


def _write(ax, x, y, words, role, bold=False, colour="ink"):
    return ax.text(x, y, words, va="center", ha="left", color=COLOUR[colour], zorder=3, **style.sans(role, bold=bold))


def _key(ax, y):
    """Explain greys and textures below the table."""
    x = 0.0
    entries = [(name, *LOOK[name]) for name in LOOK] + [("uncompensable in the runner as given", "paper", UNCOMPENSABLE, "ink")]
    for words, fill, texture, edge in entries:
        ax.add_patch(
            Rectangle((x, y - 0.06), 0.22, 0.12, facecolor=COLOUR[fill], edgecolor=COLOUR[edge], hatch=texture, lw=0.6, zorder=1)
        )
        _write(ax, x + 0.28, y, words, "note")
        x += 0.28 + text_width_in(words, style.SIZE["note"]) + 0.25
