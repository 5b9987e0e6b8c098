"""Words of the comparison page: names of arms, uncertain numbers, the answer sentence."""

from . import reading, style
from .page import LEFT_IN, RIGHT_IN, WIDTH_IN, text_width_in

_WIDE, _SMALLEST = WIDTH_IN - LEFT_IN - RIGHT_IN, 11  # room for an answer line [in], and its least size
_MANY = 0.10  # share of runs that reach the limit in one arm only, from which the answer tells it
_MORE_MARKS = ("D", "v", "P", "X", "<")
_ARTICLES = ("the", "a", "an", "with", "no")


def mid(value):
    """Return the median of ``{median, low, high}`` or the number itself; None when missing or never."""
    value = value.get("median") if isinstance(value, dict) else value
    return float(value) if style.is_number(value) else None


def low(value):
    """Return the lower end of an uncertain number, or None."""
    value = value.get("low") if isinstance(value, dict) else None
    return float(value) if style.is_number(value) else None


def high(value):
    """Return the upper end of an uncertain number, or None."""
    value = value.get("high") if isinstance(value, dict) else None
    return float(value) if style.is_number(value) else None


def words_of(result, k):
    """Return the name of a variant in words."""
    return str(result["variants"][k]["name"]).replace("_", " ")


def arm(result, k):
    """Return the short label of an arm; a variant called ``none`` reads better as *without*."""
    name = words_of(result, k)
    return "without" if name == "none" else name


def further(result):
    """Return the places of the arms that are held against the first."""
    return range(1, len(result["variants"]))


def with_device(result):
    """Return the places of the further arms that wear a device."""
    return [k for k in further(result) if result["variants"][k].get("device") is not None]


def contrast_of(result, k=1):
    """Return the contrast of one arm against the first."""
    name, against = result["variants"][k]["name"], result["variants"][0]["name"]
    return next(c for c in result["contrasts"] if c["name"] == name and c["against"] == against)


def look_of(k):
    """Return colour, dash and marker of an arm; from the fifth on hues return with marks of their own."""
    if k < len(style.ARM):
        return style.ARM[k]
    colour, dash, _ = style.ARM[1 + (k - 1) % (len(style.ARM) - 1)]
    return colour, dash, _MORE_MARKS[k % len(_MORE_MARKS)]


def followed_min(ds):
    """Return how long the runs were followed [min]."""
    return float(ds.time[-1] - ds.time[0]) / 60


def shorten(text, width_in, bold=False):
    """Return a text with its middle left out until it fits a width [in]."""
    shown, keep = text, len(text) // 2
    while text_width_in(shown, style.SIZE["label"], bold) > width_in and keep > 4:
        keep -= 1
        shown = f"{text[:keep].rstrip()}…{text[-keep:].lstrip()}"
    return shown


def listed(names):
    """Return names as ``a, b and c``."""
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def subject(result):
    """Return the second variant as the subject of a sentence; a device gets its article."""
    name = words_of(result, 1)
    bare = result["variants"][1].get("device") is None or name.split()[0].lower() in _ARTICLES
    return name if bare else f"the {name}"


def question(result):
    """Return the question of the page."""
    if len(result["variants"]) > 2:
        names = listed(words_of(result, k) for k in further(result))
        could = ", and by how much could they" if with_device(result) else ""
        return f"What do {names} change against {words_of(result, 0)}{could}?"
    if with_device(result):
        return f"What does {subject(result)} change, and by how much could it?"
    return f"What does {subject(result)} change against {words_of(result, 0)}?"


def answer(result, ds):
    """Return the answer: contrast in °C first, then minutes, then the share never reaching the limit."""
    if len(result["variants"]) > 2:
        return [_degrees_of_all(result), _minutes_of_all(result, ds)]
    contrast = contrast_of(result)
    return [_degrees(result, contrast), _minutes(result, ds, contrast)]


def _degrees(result, contrast):
    name = subject(result)
    difference, at = contrast["core_difference_K"], f"core at {style.number(contrast['at_min'])} min"
    middle, lower, upper = mid(difference), low(difference), high(difference)
    decimals = style.temperature_decimals(lower, upper)
    title = name[:1].upper() + name[1:]
    if middle is None:
        return f"{title}: the contrast in {at} cannot be told"
    if lower is None or upper is None:
        return f"{title} changes {at} by {style.number(middle, decimals, signed=True)} °C"
    if round(lower, decimals) < 0 < round(upper, decimals):
        span = style.interval(lower, upper, decimals)
        return (
            f"{title} changes {at} by {style.number(middle, decimals, signed=True)} °C ({span}), either way;"
        )
    if round(middle, decimals) == 0:
        return f"{title} changes {at} by {style.number(middle, decimals)} °C ({style.interval(lower, upper, decimals)});"
    verb = "raises" if middle > 0 else "lowers"
    ends = sorted((abs(lower), abs(upper)))
    amount = f"{style.number(abs(middle), decimals)} °C ({style.interval(*ends, decimals)})"
    return f"{title} {verb} {at} by {amount};"


def _minutes(result, ds, contrast):
    limit = reading.limit_C(ds)
    words = "the limit" if limit is None else f"the {style.number(limit, 1)} °C limit"
    never = contrast.get("share_never_both")
    share = "" if never is None else f"{style.number(100 * never)} % of runs"
    if never is not None and never >= 0.995:
        return f"{words} is not reached in either arm in any run within {style.number(followed_min(ds))} min"
    difference = contrast.get("time_to_limit_difference_min")
    middle, lower, upper = mid(difference), low(difference), high(difference)
    tail = f", or never in either in {share}" if share else ""
    if middle is None:
        return f"{words}: minutes cannot be told{tail}"
    if round(abs(middle)) == 0:
        text = f"{words} comes within a minute of the same time"
        if lower is not None and upper is not None:
            text += f" ({style.interval(lower, upper)})"
        return text + tail
    way = "later" if middle > 0 else "sooner"
    span = ""
    if lower is not None and upper is not None:
        crosses = round(lower) < 0 < round(upper)
        ends = (lower, upper) if crosses else sorted((abs(lower), abs(upper)))
        span = f" ({style.interval(*ends)})"
    text = f"{words} comes {style.number(abs(middle))} min {way}{span}"
    alone = [(contrast.get(key) or 0.0, arm(result, k)) for k, key in ((0, "share_only_against"), (1, "share_only_name"))]
    largest, who = max(alone)
    if never is None or largest < _MANY or "share_reached_both" not in contrast:
        return text + tail
    both = style.number(100 * contrast["share_reached_both"])  # the minutes are of these pairs only
    only = f"only {who}" if who == "without" else f"only in {who}"
    return f"{text} in {both} %, never in {style.number(100 * never)} %, {only} in {style.number(100 * largest)} % of runs"


# ---------------------------------------------------------------- more than two arms


def span_of(value, decimals, signed=True):
    """Return ``−0.06 (−0.08 to −0.04)``; a bound that was never reached is left open."""
    if mid(value) is None:
        return "cannot be told"
    text = style.number(mid(value), decimals, signed=signed)
    if low(value) is None or high(value) is None:
        return text
    ends = [style.number(end, decimals, signed=signed) for end in (low(value), high(value))]
    return f"{text} ({ends[0]} to {ends[1]})"


def _degrees_of_all(result):
    contrasts = [contrast_of(result, k) for k in further(result)]
    start = f"Core at {style.number(contrasts[0]['at_min'])} min against {words_of(result, 0)}: "
    differences = [contrast["core_difference_K"] for contrast in contrasts]
    decimals = max(style.temperature_decimals(low(one), high(one)) for one in differences)
    short = [
        "cannot be told" if mid(one) is None else f"{style.number(mid(one), decimals, signed=True)} °C"
        for one in differences
    ]
    full = [
        " (".join([text, *span_of(one, decimals).split(" (")[1:]]) for text, one in zip(short, differences)
    ]
    return _first_that_fits(result, start, (full, short), [mid(one) for one in differences], ";")


def _minutes_of_all(result, ds):
    limit = reading.limit_C(ds)
    words = "the limit" if limit is None else f"the {style.number(limit, 1)} °C limit"
    contrasts = [contrast_of(result, k) for k in further(result)]
    never = [
        contrast["share_never_both"] for contrast in contrasts if contrast.get("share_never_both") is not None
    ]
    if never and min(never) >= 0.995:
        return f"{words} is not reached in any arm in any run within {style.number(followed_min(ds))} min"
    middles = [mid(contrast.get("time_to_limit_difference_min")) for contrast in contrasts]
    spans = ["cannot be told" if middle is None else _later(middle) for middle in middles]
    shares = dict.fromkeys(style.number(100 * share) for share in (min(never), max(never))) if never else ()
    tail = f"; never in either in {style.DASH.join(shares)} % of runs" if never else ""
    return _first_that_fits(result, f"{words}: ", (spans,), middles, tail)


def _later(minutes):
    if round(minutes) == 0:
        return "within a minute"
    return f"{style.number(abs(minutes))} min {'later' if minutes > 0 else 'sooner'}"


def _first_that_fits(result, start, choices, values, tail):
    """Return the fullest sentence over all arms that fits the page: each, else the ends; the table says the rest."""
    names = [words_of(result, k) for k in further(result)]
    lines = [
        start + ", ".join(f"{name} {text}" for name, text in zip(names, spans)) + tail for spans in choices
    ]
    known = [i for i, value in enumerate(values) if value is not None]
    if known:
        ends = sorted(
            {min(known, key=values.__getitem__), max(known, key=values.__getitem__)}, key=values.__getitem__
        )
        brief = [f"{choices[-1][i]} ({shorten(names[i], 1.1)})" for i in ends]
        lines.append(start + " to ".join(brief) + tail)
    fitting = (line for line in lines if text_width_in(line, _SMALLEST, True, style.SERIF) <= _WIDE)
    return next(fitting, lines[-1])
