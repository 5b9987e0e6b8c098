"""Compare: what does the device change, and by how much could it?"""

from .. import cautions
from . import compare_panels as panels
from . import reading, style
from .compare_panels import followed_min, high, low, mid, words_of
from .page import GAP_IN, Page

_LEFT_WIDE, _RIGHT_LEFT, _RIGHT_WIDE = 3.98, 6.27, 2.82


def compare_page(result, ds):
    """Return the page of a paired comparison.

    Parameters
    ----------
    result : dict
        The ``compare`` JSON object: ``variants`` and ``contrasts``.
    ds : xarray.Dataset
        ``core_temperature(variant, member, time)``, ``contrast_core(member, time)`` (second minus first
        variant) and, when a device takes part, ``device_power(side, time)`` of the median member. Optional:
        ``ceiling_K(time)``, ``time_to_limit_min(variant, member)``.

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    second = result["variants"][1]
    has_device = second.get("device") is not None and "device_power" in ds
    a_in, b_in, c_in = 2.65, 1.85, 2.05
    d_in, e_in = panels.limit_rows_in(result, ds, _RIGHT_WIDE), 0.32
    right = 0.28
    c_top = right
    if has_device:
        right += c_in + 0.42 + GAP_IN
    d_top, right = right, right + d_in + 0.42 + GAP_IN
    e_top = right
    right += e_in + panels.SHARE_KEY_IN
    left = 0.28 + a_in + GAP_IN + b_in + 0.42
    page = Page(
        question=_question(result),
        answer=answer(result, ds),
        setting=_setting(result, ds),
        cautions=_cautions(result, ds),
        body_in=max(left, right),
        provenance=reading.provenance_line(ds.attrs, f"paired ensemble of {ds.sizes['member']}"),
    )
    panels.core_arms(result, ds, page.axes(0.28, a_in, width_in=_LEFT_WIDE))
    panels.contrast_panel(result, ds, page.axes(0.28 + a_in + GAP_IN, b_in, width_in=_LEFT_WIDE))
    letters = iter("cde")
    if has_device:
        panels.device_heat_panel(result, ds, page.axes(c_top, c_in, _RIGHT_LEFT, _RIGHT_WIDE), next(letters))
    panels.limit_panel(result, ds, page.axes(d_top, d_in, _RIGHT_LEFT, _RIGHT_WIDE), next(letters))
    panels.shares_panel(
        result, ds, page.axes(e_top, e_in, _RIGHT_LEFT, _RIGHT_WIDE, bare=True), next(letters)
    )
    return page.figure


def _question(result):
    if result["variants"][1].get("device") is not None:
        return f"What does {_subject(result)} change, and by how much could it?"
    return f"What does {_subject(result)} change against {words_of(result, 0)}?"


def _subject(result):
    """Return the second variant as the subject of a sentence; a device gets its article."""
    name = words_of(result, 1)
    if result["variants"][1].get("device") is None or name.split()[0].lower() in (
        "the",
        "a",
        "an",
        "with",
        "no",
    ):
        return name
    return f"the {name}"


def _cautions(result, ds):
    device = any(v.get("device") is not None for v in result["variants"])
    lines = cautions.for_result(
        device=device, capped="cap_bpm" in ds.attrs, uncompensable=False, band_K=ds.attrs.get("core_band_K")
    )
    warnings = reading.attribute(ds, "warnings", []) or []
    return lines + [reading.sentence(w) for w in warnings if "outside" in str(w).lower()]


def _setting(result, ds):
    if ds.attrs.get("setting"):
        return str(ds.attrs["setting"])
    parts = [reading.setting_line(ds).replace(" · no device", "")]
    parts.append(f"{words_of(result, 1)} against {words_of(result, 0)}")
    return " · ".join([*parts, f"paired ensemble of {ds.sizes['member']}"])


def answer(result, ds):
    """Return the answer: contrast in °C first, then minutes, then the share never reaching the limit."""
    contrast = panels.contrast_of(result)
    return [_degrees(result, contrast), _minutes(result, ds, contrast)]


def _degrees(result, contrast):
    name = _subject(result)
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
    return f"{words} comes {style.number(abs(middle))} min {way}{span}{tail}"
