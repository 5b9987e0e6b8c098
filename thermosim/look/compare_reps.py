"""Panel of the comparison page on reps: pace, where the cap comes, time over it and return, rep by rep of each variant."""

from . import style
from .compare_words import arm, high, look_of, low, mid, shorten
from .page import DATA_LEFT_IN, RIGHT_IN, WIDTH_IN, panel_title, text_width_in, value_ticks, x_label
from .style import COLOUR

_ROW_IN, _GAP_IN, _BETWEEN_IN = 0.13, 0.11, 0.38
_HEAD_IN, _FOOT_IN = 0.42, 0.42  # titles with a line of notes; the axes
# key, words of the axis, decimals; an open end means that it was not seen: an arrowhead
_PACE = ("pace_min_km", "pace, min/km", None)
_OF_A_CAP = (
    ("first_cap_m", "cap first reached, m", 0), ("time_over_cap_s", "over the cap, s", 0),
    ("return_s", "back below it after, s", 0),
)  # fmt: skip


def has_reps(result):
    """Return whether a comparison has reps of drawn runners."""
    return bool(result["variants"][0].get("reps_drawn"))


def reps_in(result):
    """Return the height [in] of the panels on reps, their head and axes included."""
    rows = len(result["variants"][0]["reps_drawn"]) * (len(result["variants"]) * _ROW_IN + _GAP_IN)
    return _HEAD_IN + rows + _FOOT_IN


def reps_panels(result, page, top_in, letter):
    """Draw a panel for each outcome of the reps, side by side; return their axes.

    Parameters
    ----------
    result : dict
        The ``compare`` JSON object with ``reps_drawn`` in each variant.
    page : Page
    top_in : float
        Where the panels may begin, from the top of the body.
    letter : str
    """
    shown = [_PACE, *_OF_A_CAP] if "rule_drawn" in result["variants"][0] else [_PACE]
    room = WIDTH_IN - DATA_LEFT_IN - RIGHT_IN
    wide = (room - _BETWEEN_IN * (len(shown) - 1)) / max(len(shown), 2)
    height = reps_in(result) - _HEAD_IN - _FOOT_IN
    found = []
    for c, (key, words, decimals) in enumerate(shown):
        ax = page.axes(top_in + _HEAD_IN, height, DATA_LEFT_IN + c * (wide + _BETWEEN_IN), wide)
        _outcome(result, ax, key, height, named=c == 0)
        value_ticks(ax, 4, decimals, which="x")
        x_label(ax, words)
        found.append(ax)
    title, open_end = "Reps of the runners drawn", "; arrowhead: end not seen" if len(shown) > 1 else ""
    note, arms = f"median and 90 %{open_end} · from the top: ", [arm(result, k) for k in range(len(result["variants"]))]
    used = text_width_in(f"{letter}  {title}", style.SIZE["title"], True) + text_width_in(note, style.SIZE["note"]) + 0.2
    wide = [text_width_in(f"{one}, ", style.SIZE["label"]) for one in arms]
    if used + sum(wide) > room:  # long names give way, not the words that explain
        arms = [shorten(one, (room - used) * share / sum(wide)) for one, share in zip(arms, wide, strict=True)]
    note += ", ".join(arms)
    panel_title(found[0], letter, title, note, above_in=0.24)
    return found


def _outcome(result, ax, key, height, named):
    """Draw one outcome: a row for each rep and variant, from the top; without a number a dash."""
    values = [[one.get(key) for one in entry["reps_drawn"]] for entry in result["variants"]]
    ends = [end(value) for row in values for value in row for end in (low, mid, high)]
    known = [end for end in ends if end is not None]
    least, most = (min(known), max(known)) if known else (0.0, 1.0)
    margin = 0.08 * (most - least) or 0.05 * (abs(most) or 1.0)
    ax.set_xlim(least - margin if key == _PACE[0] else min(0.0, least), most + margin)
    ax.set_ylim(height, 0.0)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    y = 0.0
    for r in range(len(values[0])):
        step = len(values) * _ROW_IN
        if r % 2 == 0:
            ax.axhspan(y, y + step + _GAP_IN, color=COLOUR["wash"], lw=0, zorder=0.3, gid="rep")
        if named:
            ax.text(-0.04, y + (step + _GAP_IN) / 2, f"rep {result['variants'][0]['reps_drawn'][r]['rep']}",
                    transform=ax.get_yaxis_transform(), ha="right", va="center", color=COLOUR["ink"],
                    **style.sans("label", bold=True))  # fmt: skip
        for k, row in enumerate(values):
            _interval(ax, row[r], y + _GAP_IN / 2 + (k + 0.5) * _ROW_IN, k)
        y += step + _GAP_IN


def _interval(ax, value, y, k):
    """Draw median and 90 % interval of one variant in one rep; an end that is not seen becomes an arrowhead."""
    colour, dash, marker = look_of(k)
    edge = ax.get_xlim()[1]
    if value is None or low(value) is None:
        words = "no event" if value is None else "not reached in most" if mid(value) is None else ""
        ax.text(0.02, y, words, transform=ax.get_yaxis_transform(), va="center", color=style.text_colour(colour),
                **style.sans("note"))  # fmt: skip
        return
    upper = high(value)
    ax.plot([low(value), edge if upper is None else upper], [y, y], color=colour, ls=dash, lw=1.4, zorder=4)
    if upper is None:
        ax.plot([edge], [y], marker=">", ms=5, color=colour, mew=0, clip_on=False, gid="censored", zorder=5)
    if mid(value) is not None:
        ax.plot([mid(value)], [y], marker, ms=5, mfc=COLOUR["paper"], mec=colour, mew=1.4, clip_on=False, zorder=6)
