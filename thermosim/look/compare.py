"""Compare: what does the device change, and by how much could it?"""

from .. import cautions
from . import compare_kit, compare_reps, reading
from . import compare_limit as limit
from . import compare_panels as panels
from . import compare_words as words
from .page import GAP_IN, LEFT_IN, RIGHT_IN, WIDTH_IN, Page

_LEFT_WIDE, _RIGHT_LEFT, _RIGHT_WIDE = 3.98, 6.27, 2.82
_HEAD_IN, _FOOT_IN = 0.28, 0.42  # room for a panel's title, and for its axis


def compare_page(result, ds):
    """Return the page of a paired comparison.

    Parameters
    ----------
    result : dict
        The ``compare`` JSON object: ``variants`` and ``contrasts``.
    ds : xarray.Dataset
        ``core_temperature(variant, member, time)``, ``contrast_core(contrast, member, time)`` (each further
        variant less the first) and, when a device takes part, ``device_power(contrast, side, time)`` of the median
        member. Optional: ``ceiling_K(contrast, time)``, ``time_to_limit_min(variant, member)``.

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi. Three arms or more get a table of contrasts at the foot, reps and a ``kit`` panels below.
    """
    several = len(result["variants"]) > 2
    has_device = bool(words.with_device(result)) and "device_power" in ds
    a_in, b_in, c_in = 2.65, 1.85, 2.05
    d_in, e_in = limit.limit_rows_in(result, ds, _RIGHT_WIDE), limit.shares_in(result, _RIGHT_WIDE)
    d_top = _HEAD_IN + (c_in + _FOOT_IN + GAP_IN if has_device else 0.0)
    e_top = d_top + d_in + _FOOT_IN + GAP_IN
    left = _HEAD_IN + a_in + GAP_IN + b_in + _FOOT_IN
    body = max(left, e_top + e_in)
    if several:  # the right column is the longer one: the curves take the room
        a_in, b_in = a_in + 0.4 * (body - left), b_in + 0.6 * (body - left)
    table_top, table_in = body + GAP_IN, limit.table_in(result)
    below = table_top + table_in if several else body
    kit, has_reps, reps_top = result.get("kit"), compare_reps.has_reps(result), below
    below += compare_reps.reps_in(result) if has_reps else 0.0
    kit_top = below + GAP_IN + 0.1
    whole = kit_top + compare_kit.kit_in(kit) if kit else below
    page = Page(
        question=words.question(result),
        answer=words.answer(result, ds),
        setting=setting_of(result, ds),
        cautions=cautions_of(result, ds),
        body_in=whole,
        provenance=reading.provenance_line(ds.attrs, f"paired ensemble of {ds.sizes['member']}"),
    )
    panels.core_arms(result, ds, page.axes(_HEAD_IN, a_in, width_in=_LEFT_WIDE))
    panels.contrast_panel(result, ds, page.axes(_HEAD_IN + a_in + GAP_IN, b_in, width_in=_LEFT_WIDE))
    letters = iter("cdefgh")
    if has_device:
        panels.device_heat_panel(
            result, ds, page.axes(_HEAD_IN, c_in, _RIGHT_LEFT, _RIGHT_WIDE), next(letters)
        )
    limit.limit_panel(result, ds, page.axes(d_top, d_in, _RIGHT_LEFT, _RIGHT_WIDE), next(letters))
    limit.shares_panel(result, ds, page.axes(e_top, e_in, _RIGHT_LEFT, _RIGHT_WIDE, bare=True), next(letters))
    if several:
        wide = WIDTH_IN - LEFT_IN - RIGHT_IN
        limit.contrast_table(
            result, ds, page.axes(table_top, table_in, LEFT_IN, wide, bare=True), next(letters)
        )
    if has_reps:
        compare_reps.reps_panels(result, page, reps_top, next(letters))
    if kit:
        wide = WIDTH_IN - LEFT_IN - RIGHT_IN
        compare_kit.kit_panel(
            kit, page.axes(kit_top, compare_kit.kit_in(kit), LEFT_IN, wide, bare=True), next(letters)
        )
    return page.figure


def cautions_of(result, ds):
    """Return the cautions of a comparison, and what trials saw beside its minutes."""
    device = any(v.get("device") is not None for v in result["variants"])
    lines = cautions.for_result(
        device=device, capped="cap_bpm" in ds.attrs, uncompensable=False, band_K=ds.attrs.get("core_band_K")
    )
    for key in ("no_reason", "hazard", "behaviour"):  # once each, in this order
        lines += dict.fromkeys(one[key] for one in result["contrasts"] if one.get(key))
    warnings = reading.attribute(ds, "warnings", []) or []
    return lines + [reading.sentence(w) for w in warnings if "outside" in str(w).lower()]


def setting_of(result, ds):
    """Return who, where, when, and what is held against what."""
    if ds.attrs.get("setting"):
        return str(ds.attrs["setting"])
    parts = [reading.setting_line(ds).replace(" · no device", "")]
    names = words.listed(words.words_of(result, k) for k in words.further(result))
    parts.append(f"{names} against {words.words_of(result, 0)}")
    return " · ".join([*parts, f"paired ensemble of {ds.sizes['member']}"])
