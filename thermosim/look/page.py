"""The page frame (question, answer, setting, cautions, provenance) and the marks that panels share."""

from functools import lru_cache
from textwrap import TextWrapper

from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.textpath import TextToPath
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from . import style
from .style import COLOUR, SIZE

WIDTH_IN, DPI = 1400 / 150, 150
LEFT_IN, DATA_LEFT_IN, GUTTER_IN, RIGHT_IN = 0.42, 0.95, 1.45, 0.20
DATA_WIDTH_IN = WIDTH_IN - DATA_LEFT_IN - GUTTER_IN
GAP_IN = 0.36
CORE_NOTE = "modelled, not measured"
_TIME_STEPS_MIN = (0.25, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 180, 240)


# ---------------------------------------------------------------- text that fits


@lru_cache(maxsize=4096)
def text_width_in(text, size, bold=False, family=style.SANS):
    """Return the drawn width [in] of one line of text."""
    font = FontProperties(family=family, size=size, weight="bold" if bold else "normal")
    return TextToPath().get_text_width_height_descent(text, font, ismath=False)[0] / 72 * 1.02


def wrap(text, width_in, size, bold=False):
    """Return the lines of a text broken at spaces so that each fits a width [in]."""
    mean_character = max(text_width_in(text, size, bold) / max(len(text), 1), 1e-3)
    columns = max(int(width_in / mean_character) + 6, 4)
    while columns > 4:
        lines = TextWrapper(columns, break_long_words=False, break_on_hyphens=False).wrap(text) or [""]
        if all(text_width_in(line, size, bold) <= width_in for line in lines):
            return lines
        columns -= 1
    return TextWrapper(12).wrap(text)


def halo(artist, width=2.2):
    """Give a text or line a white halo and return it."""
    artist.set_path_effects([withStroke(linewidth=width, foreground=COLOUR["paper"])])
    return artist


# ---------------------------------------------------------------- the frame


class Page:
    """One figure of the house: head, body of panels, foot. Cautions are part of the frame and have no switch.

    Parameters
    ----------
    question : str
        The question the figure asks.
    answer : list of str
        One or two lines, built from the data.
    setting : str
        Who, what, where, device, rule, ensemble.
    cautions : list of str
        Sentences of the caution strip; may not be empty.
    provenance : str
        Seed, closures, hashes, versions.
    body_in : float
        Height of the body [in], from the first panel title to below the lowest axis label.
    """

    def __init__(self, *, question, answer, setting, cautions, provenance, body_in):
        if not cautions:
            raise ValueError("A page needs its cautions.")
        wide = WIDTH_IN - LEFT_IN - RIGHT_IN
        size = SIZE["answer"]
        while size > 11 and any(text_width_in(line, size, True, style.SERIF) > wide for line in answer):
            size -= 0.5
        setting_lines = wrap(setting, wide, SIZE["setting"])
        caution_lines = wrap(" ".join(cautions), wide - 0.12, SIZE["caution"])
        provenance_lines = wrap(provenance, wide, SIZE["provenance"])

        self._body_top = 0.54 + 0.25 * len(answer) + 0.04 + 0.16 * len(setting_lines) + 0.16
        foot_top = self._body_top + body_in + 0.12
        strip_in = 0.165 * len(caution_lines) + 0.07
        self.height_in = foot_top + strip_in + 0.14 + 0.13 * len(provenance_lines) + 0.16
        self.figure = Figure(figsize=(WIDTH_IN, self.height_in), dpi=DPI, facecolor=COLOUR["paper"])
        FigureCanvasAgg(self.figure)

        self._text(LEFT_IN, 0.28, question, COLOUR["grey_ink"], style.sans("question"))
        for row, line in enumerate(answer):
            self._text(LEFT_IN, 0.54 + 0.25 * row, line, COLOUR["ink"], style.serif(size), gid="answer")
        top = 0.54 + 0.25 * len(answer) + 0.04
        for row, line in enumerate(setting_lines):
            self._text(
                LEFT_IN, top + 0.16 * row, line, COLOUR["grey_ink"], style.sans("setting"), gid="setting"
            )
        bar = Rectangle(
            self._at(LEFT_IN, foot_top + strip_in),
            0.035 / WIDTH_IN,
            strip_in / self.height_in,
            color=COLOUR["ink"],
            lw=0,
            transform=self.figure.transFigure,
            gid="caution-bar",
        )
        self.figure.add_artist(bar)
        for row, line in enumerate(caution_lines):
            y = foot_top + 0.035 + 0.0825 + 0.165 * row
            self._text(LEFT_IN + 0.12, y, line, COLOUR["ink"], style.sans("caution"), gid="caution")
        for row, line in enumerate(provenance_lines):
            y = foot_top + strip_in + 0.20 + 0.13 * row
            self._text(LEFT_IN, y, line, COLOUR["grey_ink"], style.sans("provenance"), gid="provenance")
        self.figure.thermosim_words = {
            "question": question,
            "answer": " ".join(answer),
            "setting": setting,
            "cautions": " ".join(cautions),
        }

    def _at(self, x_in, y_in):
        return x_in / WIDTH_IN, 1 - y_in / self.height_in

    def _text(self, x_in, y_in, text, colour, font, **more):
        self.figure.text(*self._at(x_in, y_in), text, color=colour, va="center", ha="left", **font, **more)

    def axes(self, top_in, height_in, left_in=DATA_LEFT_IN, width_in=DATA_WIDTH_IN, bare=False):
        """Return axes placed in inches, `top_in` counted from the top of the body."""
        x, y = self._at(left_in, self._body_top + top_in + height_in)
        ax = self.figure.add_axes((x, y, width_in / WIDTH_IN, height_in / self.height_in))
        return bare_axes(ax) if bare else dress(ax)


def lone_axes(width_in=WIDTH_IN, height_in=3.0):
    """Return axes on a figure of their own, for a panel used without a page."""
    figure = Figure(figsize=(width_in, height_in), dpi=DPI, facecolor=COLOUR["paper"])
    FigureCanvasAgg(figure)
    left, bottom = DATA_LEFT_IN / width_in, 0.5 / height_in
    width = (width_in - DATA_LEFT_IN - GUTTER_IN) / width_in
    return dress(figure.add_axes((left, bottom, width, (height_in - 1.0) / height_in)))


def alternative_text(figure):
    """Return the text for readers who cannot see the figure: question, answer, setting, cautions."""
    words = figure.thermosim_words
    return f"{words['question']} {words['answer']}. {words['setting']}. {words['cautions']}"


def save(figure, path):
    """Write a figure to ``.png`` or ``.svg``, 1400 px wide, with its alternative text as metadata."""
    path = str(path)
    ending = path.rsplit(".", 1)[-1].lower()
    if ending not in ("png", "svg"):
        raise ValueError(f"A picture ends in .png or .svg, not .{ending}.")
    words = getattr(figure, "thermosim_words", {"question": "thermosim figure"})
    described = alternative_text(figure) if "answer" in words else words["question"]
    metadata = {"Title": words["question"], "Description": described}
    if ending == "svg":
        metadata["Date"] = None
    with rc_context({"svg.fonttype": "path", "svg.hashsalt": "thermosim", "hatch.linewidth": 0.6}):
        figure.savefig(path, format=ending, dpi=DPI, facecolor=COLOUR["paper"], metadata=metadata)
    return path


# ---------------------------------------------------------------- axes


def dress(ax):
    """Leave left and bottom spines, horizontal rules, quiet ticks; return the axes."""
    ax.set_facecolor("none")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set(color=COLOUR["stone"], linewidth=0.7)
    ax.grid(axis="y", color=COLOUR["rule"], linewidth=0.6)
    ax.set_axisbelow(True)
    ax.tick_params(length=3, width=0.6, color=COLOUR["stone"], labelcolor=COLOUR["grey_ink"])
    _tick_font(ax)
    return ax


def bare_axes(ax):
    """Take spines, ticks and rules away (for strips and tables); return the axes."""
    ax.set_facecolor("none")
    for spine in ax.spines.values():
        spine.set_visible(False)
    ax.xaxis.set_major_locator(NullLocator())
    ax.yaxis.set_major_locator(NullLocator())
    return ax


def _tick_font(ax):
    ax.tick_params(labelsize=SIZE["tick"], labelfontfamily=style.SANS)


def value_ticks(ax, n=5, decimals=None, which="y"):
    """Put 4 to 6 ticks on 1-2-5 steps with true minus and thin spaces."""
    axis = ax.yaxis if which == "y" else ax.xaxis
    axis.set_major_locator(MaxNLocator(nbins=n, steps=[1, 2, 5, 10]))
    ticks = axis.get_major_locator().tick_values(*(ax.get_ylim() if which == "y" else ax.get_xlim()))
    step = abs(ticks[1] - ticks[0]) if len(ticks) > 1 else 1.0
    if decimals is None:
        decimals = 0
        while decimals < 4 and abs(round(step, decimals) - step) > 1e-9:
            decimals += 1
    axis.set_major_formatter(FuncFormatter(lambda v, _: style.number(v, decimals)))


def time_step_min(span_min, most=9):
    """Return the tick step [min] that gives at most `most` steps over a span."""
    return next((s for s in _TIME_STEPS_MIN if span_min / s <= most), 360)


def time_axis(ax, minutes, label=True, text="time since start, min"):
    """Set the shared time axis [min]; only the lowest panel shows its words."""
    start, end = float(minutes[0]), float(minutes[-1])
    end = end if end > start else start + 1.0
    ax.set_xlim(start, end)
    width = ax.get_position().width * ax.figure.get_figwidth()
    step = time_step_min(end - start, most=max(4, min(9, round(1.45 * width))))
    first = -(-start // step)
    ticks = [k * step for k in range(int(first), int(end / step + 1e-9) + 1)]
    ax.xaxis.set_major_locator(FixedLocator(ticks))
    ax.xaxis.set_major_formatter(
        FuncFormatter(lambda v, _: style.number(v, 0 if step >= 1 else 2 if step < 0.5 else 1))
    )
    ax.tick_params(axis="x", labelbottom=label, length=3 if label else 2)
    if label:
        x_label(ax, text)


def x_label(ax, text):
    """Name quantity and unit of the x axis."""
    ax.set_xlabel(text, color=COLOUR["ink"], labelpad=3, **style.sans("axis"))


# ---------------------------------------------------------------- words on panels


def panel_title(ax, letter, title, note="", italic=False, above_in=0.14):
    """Write ``a  Title, unit`` and a grey note above the axes; return the two texts."""
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    y = 1 + above_in / height
    head = f"{letter}  {title}" if letter else title
    first = ax.text(
        0,
        y,
        head,
        transform=ax.transAxes,
        va="center",
        ha="left",
        color=COLOUR["ink"],
        gid="panel-title",
        **style.sans("title", bold=True),
    )
    if not note:
        return first, None
    offset = text_width_in(head, SIZE["title"], True) + 0.14
    second = ax.text(
        offset / width,
        y,
        note,
        transform=ax.transAxes,
        va="center",
        ha="left",
        color=COLOUR["grey_ink"],
        gid="panel-note",
        **style.sans("note", italic=italic),
    )
    return first, second


def core_panel_title(ax, letter, title="Core temperature, °C", half_width=None, at="the end", note=""):
    """Write the title of a core panel; *modelled, not measured* is part of it, not an option."""
    tail = f"band ±{style.number(half_width, 1)} °C at {at}" if half_width is not None else note
    return panel_title(ax, letter, title, f"{CORE_NOTE}; {tail}" if tail else CORE_NOTE, italic=True)


def spread(wanted, heights):
    """Return positions near the wanted ones, in the same order, that do not overlap.

    Parameters
    ----------
    wanted, heights : sequence of float
        Centres and heights of the labels, in one unit.

    Returns
    -------
    list of float
        Centres moved as little as needed (groups are centred on their mean).
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    groups = []  # each: [indices, top of the group's wanted mean]
    for i in order:
        groups.append(([i], wanted[i], heights[i]))
        while len(groups) > 1:
            (a, a_mid, a_h), (b, b_mid, b_h) = groups[-2], groups[-1]
            if a_mid + a_h / 2 <= b_mid - b_h / 2 + 1e-9:
                break
            # merge: keep the mean of (wanted centre minus offset inside the group)
            n_a, n_b = len(a), len(b)
            total = a_h + b_h
            bottom = (n_a * (a_mid - a_h / 2) + n_b * (b_mid - b_h / 2 - a_h)) / (n_a + n_b)
            groups[-2:] = [(a + b, bottom + total / 2, total)]
    placed = [0.0] * len(wanted)
    for members, middle, total in groups:
        bottom = middle - total / 2
        for i in members:
            placed[i] = bottom + heights[i] / 2
            bottom += heights[i]
    return placed


def end_labels(ax, labels, gutter_in=GUTTER_IN - 0.22):
    """Write direct labels at the right end of the axes; close ones are spread and get a thin leader.

    Parameters
    ----------
    ax : Axes
        Its limits must be final.
    labels : list of tuple
        ``(y, text, colour, bold)`` in data units, plus an optional fifth item, a grey detail line.
    gutter_in : float
        Room to the right of the axes [in]; longer labels are wrapped.
    """
    height = ax.get_position().height * ax.figure.get_figheight()
    width = ax.get_position().width * ax.figure.get_figwidth()
    low, high = ax.get_ylim()
    line = 0.142
    items, wanted, heights = [], [], []
    for y, text, colour, bold, *rest in labels:
        head = [t for part in text.split("\n") for t in wrap(part, gutter_in, SIZE["label"], bold)]
        detail = [
            t
            for part in (rest[0] if rest else "").split("\n")
            if part
            for t in wrap(part, gutter_in, SIZE["note"])
        ]
        items.append((head, detail, colour, bold))
        wanted.append(min(max((y - low) / (high - low), 0.0), 1.0) * height)
        heights.append(line * (len(head) + len(detail)) + 0.05)
    placed = spread(wanted, heights)
    top = max((p + h / 2 for p, h in zip(placed, heights)), default=0.0)
    shift = min(0.0, height + 0.10 - top)  # do not climb into the panel above
    placed = [p + shift for p in placed]
    if len(placed) and min(p - h / 2 for p, h in zip(placed, heights)) < -0.22:
        lowest = min(p - h / 2 for p, h in zip(placed, heights))
        placed = [p - 0.22 - lowest for p in placed]
    for (head, detail, colour, bold), y_true, y, total in zip(items, wanted, placed, heights):
        moved = abs(y - y_true) > 0.6 * line
        x = 0.15 if moved else 0.07
        if moved:
            ax.plot(
                [1 + 0.01 / width, 1 + 0.12 / width],
                [y_true / height, y / height],
                color=COLOUR["stone"],
                lw=0.6,
                transform=ax.transAxes,
                clip_on=False,
                gid="leader",
            )
        cursor = y + total / 2 - 0.025 - line / 2
        for k, text in enumerate(head + detail):
            main = k < len(head)
            font = style.sans("label", bold=bold) if main else style.sans("note")
            ax.text(
                1 + x / width,
                cursor / height,
                text,
                transform=ax.transAxes,
                va="center",
                ha="left",
                color=colour if main else COLOUR["grey_ink"],
                gid="end-label",
                **font,
            )
            cursor -= line
    return ax


# ---------------------------------------------------------------- marks


def hatched(ax, x0, x1, y0, y1, hatch, gid, edge="stone", outline=0.6, transform=None, zorder=1.5):
    """Draw a hatched, unfilled rectangle and return it."""
    patch = Rectangle(
        (x0, y0),
        x1 - x0,
        y1 - y0,
        facecolor="none",
        edgecolor=COLOUR[edge],
        hatch=hatch,
        linewidth=outline,
        transform=transform or ax.transData,
        gid=gid,
        zorder=zorder,
    )
    thin_hatch(patch)
    return ax.add_patch(patch)


def thin_hatch(artist):
    """Set the house hatch width where matplotlib lets an artist carry it."""
    if hasattr(artist, "set_hatch_linewidth"):
        artist.set_hatch_linewidth(0.6)
    return artist


def gap_columns(ax, gaps):
    """Hatch the columns where a recording has no samples and write their length.

    Parameters
    ----------
    ax : Axes
        Time axis in minutes, limits final.
    gaps : list of tuple
        ``(start, end)`` [min].
    """
    blend = ax.get_xaxis_transform()
    width = ax.get_position().width * ax.figure.get_figwidth()
    start, end = ax.get_xlim()
    per_min = width / (end - start)
    height = ax.get_position().height * ax.figure.get_figheight()
    free = []  # right ends [in] of the last label in each row
    for x0, x1 in gaps:
        hatched(ax, x0, x1, 0, 1, style.HATCH_GAP, "gap", outline=0.0, transform=blend)
        words = f"gap {style.number((x1 - x0) * 60)} s"
        wide = text_width_in(words, SIZE["label"])
        centre = min(max(((x0 + x1) / 2 - start) * per_min, wide / 2 + 0.03), width - wide / 2 - 0.03)
        row = next((k for k, right in enumerate(free) if right < centre - wide / 2 - 0.08), len(free))
        free[row : row + 1] = [centre + wide / 2]
        text = ax.text(
            start + centre / per_min,
            1 - (0.09 + 0.15 * row) / height,
            words,
            transform=blend,
            ha="center",
            va="center",
            color=COLOUR["ink"],
            gid="gap-label",
            zorder=6,
            **style.sans("label"),
        )
        halo(text, 4)
    return ax


def uncompensable_foot(ax, stretches):
    """Hatch the foot of a panel where the balance is limited, and write the word at the longest of the stretches.

    Parameters
    ----------
    ax : Axes
        Limits final.
    stretches : list of tuple
        ``(start, end)`` along the x axis; one too short to be seen (a stop, along a course) is drawn as wide as can be seen.
    """
    if not stretches:
        return
    left, right = ax.get_xlim()
    least = 0.06 * (right - left) / (ax.get_position().width * ax.figure.get_figwidth())
    wide = [(min(a, right - least), max(b, min(a, right - least) + least)) for a, b in stretches]
    for a, b in wide:
        hatched(ax, a, b, 0.0, 0.10, style.HATCH_UNCOMPENSABLE, "uncompensable", outline=0.0, transform=ax.get_xaxis_transform())
    a, b = max(wide, key=lambda one: one[1] - one[0])
    share = (0.5 * (a + b) - left) / (right - left)
    side, at = ("right", b) if share > 0.85 else ("left", a) if share < 0.15 else ("center", 0.5 * (a + b))
    halo(ax.text(at, 0.17, "uncompensable", transform=ax.get_xaxis_transform(), ha=side, va="center", color=COLOUR["ink"],
                 zorder=6, gid="uncompensable-words", **style.sans("note")), 3)  # fmt: skip


def zero_line(ax):
    """Draw the ink zero line."""
    ax.axhline(0, color=COLOUR["ink"], lw=0.9, zorder=3)


def band(ax, x, low, high, colour, share=90, edge=False):
    """Draw an ensemble band: 90 % at 16 % opacity, 50 % at 28 %."""
    alpha = 0.16 if share >= 80 else 0.28
    ax.fill_between(x, low, high, color=colour, alpha=alpha, lw=0, zorder=2, gid=f"band-{share}")
    if edge:
        ax.plot(x, low, color=colour, lw=0.5, zorder=2.1)
        ax.plot(x, high, color=colour, lw=0.5, zorder=2.1)
