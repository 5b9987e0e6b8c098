"""Leaving shade: how many beats of the first minute the sun itself explains, and how many grade and speed at that spot do."""

from typing import Any

import numpy as np

from thermosim.engine import run as engine
from thermosim.engine.integrate import D_CORE, D_HEART, D_SKIN
from thermosim.engine.nodes import DONE, STATUS_SENTENCES
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.checks import check_range, shown
from thermosim.story import prepare_session
from thermosim.turns import in_turns

MINUTE_S = 60.0
NEAR_S = 60.0  # a block or part that begins as near to the asked minute is meant
BEFORE_S, AFTER_S = 20.0, 10.0  # a recording is averaged over so long before the shade ends, and so long about a minute later
_OF_EFFORT = ("speed_m_s", "grade", "surface", "gait")


def leaving_shade(session, at_min: float, *, shade_share: float | None = None, variant: str | None = None) -> dict[str, Any]:
    """Take the first minute in the sun apart: three runs that differ from this moment on only.

    One run goes on as it is, one stays in the shade, one stays in the shade and keeps speed and grade; differences of heart rate
    after a minute are what sun, and speed and grade, explain. Under a rule the cap does not act in that minute.

    Parameters
    ----------
    session : Session
    at_min : float
        When the shade ends [min]: with a rule or blocks the leg that begins within a minute of it.
    shade_share : float, optional
        Share of the sun kept off until then [1]; left out, course, blocks or weather of the session must say more sun from then.
    variant : str, optional
        What is worn; the first unless named.

    Returns
    -------
    dict
        ``at_min``, ``sun_before_W_m2``, ``sun_after_W_m2`` (global horizontal equivalent), ``sun_bpm``, ``grade_and_speed_bpm``,
        ``under_way_bpm`` (what was rising anyway), ``modelled_bpm`` (all three), ``core_by_sun_K``, ``skin_by_sun_K``, ``core_K``
        (in that minute, all causes), ``recorded_bpm`` and ``not_explained_bpm`` (recorded less modelled; None without one).

    Raises
    ------
    InputError
        The moment is not in the run, no leg begins there, or the sun does not grow; heart rate is not modelled.
    """
    if session.runner.beta_blocker:
        raise InputError("is asked for, but heart rate is not modelled with a beta-blocker", field="leaving_shade_min",
                         remedy="leave it out")  # fmt: skip
    if shade_share is not None:
        shade_share = check_range("shade_share", shade_share)
    session = in_turns(session)
    end_min = session.effort.minutes
    if isinstance(at_min, bool) or not isinstance(at_min, int | float) or not 0.0 < at_min <= end_min - 1.0:
        problem = f"is {shown(at_min)} min, allowed is above 0 and up to {end_min - 1.0:.4g} min, a minute before the end"
        raise InputError(problem, field="leaving_shade_min", remedy="give a minute inside the run")
    prepared = prepare_session(session, variant)
    kept_off = 0.0 if shade_share is None else shade_share
    three = _of_legs if prepared.rule[0]["active"] else _of_pieces
    at_s, sun, runs = three(prepared, 60.0 * at_min, kept_off)
    if not sun[1] > sun[0]:
        problem = f"is minute {at_min:g}, where the sun does not grow: {sun[0]:.0f} W/m² before, {sun[1]:.0f} W/m² after"
        raise InputError(problem, field="leaving_shade_min",
                         remedy="give another minute, or shade_share for the shade until then")  # fmt: skip
    (as_is, shaded, even) = (one[1] for one in runs)
    start = runs[0][0]
    modelled = float(as_is[D_HEART] - start[D_HEART])
    recorded = _recorded(session.effort.recorded, at_s)
    return {
        "at_min": at_s / 60.0, "sun_before_W_m2": float(sun[0]), "sun_after_W_m2": float(sun[1]),
        "sun_bpm": float(as_is[D_HEART] - shaded[D_HEART]), "grade_and_speed_bpm": float(shaded[D_HEART] - even[D_HEART]),
        "under_way_bpm": float(even[D_HEART] - start[D_HEART]), "modelled_bpm": modelled,
        "core_by_sun_K": float(as_is[D_CORE] - shaded[D_CORE]), "skin_by_sun_K": float(as_is[D_SKIN] - shaded[D_SKIN]),
        "core_K": float(as_is[D_CORE] - start[D_CORE]), "recorded_bpm": recorded,
        "not_explained_bpm": None if recorded is None else recorded - modelled,
    }  # fmt: skip


def _of_pieces(prepared, at_s: float, kept_off: float):
    """Return the moment, the sun before and after, and diagnostics at the moment and a minute later of the three runs."""
    pieces = _cut(_cut(prepared.pieces, at_s), at_s + MINUTE_S)
    pieces = pieces[pieces["start_s"] < at_s + MINUTE_S - 1e-6]
    late = pieces["start_s"] >= at_s - 1e-6
    _shade(pieces, ~late, 1.0 - kept_off)
    before, after = pieces[~late][-1], pieces[late][0]
    shaded = pieces.copy()
    for side in (0, 1):
        shaded[f"solar_W_m2_{side}"][late] = before["solar_W_m2_1"]
        shaded[f"radiant_C_{side}"][late] = shaded[f"air_C_{side}"][late] + before["radiant_C_1"] - before["air_C_1"]
    even = shaded.copy()
    for name in (*_OF_EFFORT, "swing_m_s"):
        even[name][late] = before[name]
    runs = [_run(prepared._replace(pieces=one), at_s) for one in (pieces, shaded, even)]
    return at_s, (before["solar_W_m2_1"], after["solar_W_m2_0"]), runs


def _of_legs(prepared, at_s: float, kept_off: float):
    """As :func:`_of_pieces`, for a run under a rule: the legs from the one that begins there on."""
    begins = _trajectory(prepared, []).pacing.leg_starts[1:-1, 0]
    nearest = int(np.nanargmin(np.abs(begins - at_s))) if np.isfinite(begins).any() else -1
    if nearest < 0 or abs(begins[nearest] - at_s) > NEAR_S:
        near = "" if nearest < 0 else f"; the nearest begins at minute {begins[nearest] / 60.0:.1f}"
        raise InputError(f"is minute {at_s / 60.0:g}, where no block or part begins{near}", field="leaving_shade_min",
                         remedy="give a minute at which one does")  # fmt: skip
    late = np.arange(prepared.legs.size) > nearest
    legs = prepared.legs.copy()
    legs["sun_left"][~late] *= 1.0 - kept_off
    at_s = float(_trajectory(prepared._replace(legs=legs), []).pacing.leg_starts[nearest + 1, 0])
    legs["capped"][late] = 0
    before, after = legs[nearest], legs[nearest + 1]
    shaded = legs.copy()
    shaded["sun_left"][late] = before["sun_left"]
    even = shaded.copy()
    for name in (*_OF_EFFORT, "activity", "seated", "upright"):
        even[name][late] = before[name]
    piece = prepared.pieces[min(int(np.searchsorted(prepared.pieces["end_s"], at_s)), prepared.pieces.size - 1)]
    share = (at_s - piece["start_s"]) / (piece["end_s"] - piece["start_s"])
    solar = piece["solar_W_m2_0"] + share * (piece["solar_W_m2_1"] - piece["solar_W_m2_0"])
    runs = [_run(prepared._replace(legs=one), at_s) for one in (legs, shaded, even)]
    return at_s, (solar * before["sun_left"], solar * after["sun_left"]), runs


def _run(prepared, at_s: float) -> np.ndarray:
    """Return the diagnostics at the moment and a minute later."""
    got = _trajectory(prepared, [at_s, at_s + MINUTE_S])
    return got.diagnostics[[int(np.argmin(np.abs(got.time_s - second))) for second in (at_s, at_s + MINUTE_S)]]


def _trajectory(prepared, times):
    got = engine.run(
        prepared.runner, prepared.pieces, prepared.rows, prepared.events, times, start=prepared.start, rule=prepared.rule,
        legs=prepared.legs, leg_events=prepared.leg_events,
    )  # fmt: skip
    if got.status != DONE:
        raise NumericalFailure(f"The run stopped: {STATUS_SENTENCES[got.status]}.")
    return got


def _cut(pieces, at_s: float) -> np.ndarray:
    """Return the pieces with the one that holds a moment cut in two there."""
    k = int(np.searchsorted(pieces["end_s"], at_s - 1e-6))
    if k >= pieces.size or not pieces["start_s"][k] + 1e-6 < at_s < pieces["end_s"][k] - 1e-6:
        return pieces
    found = np.insert(pieces, k, pieces[k])
    share = (at_s - found["start_s"][k]) / (found["end_s"][k] - found["start_s"][k])
    for name in [name[:-2] for name in pieces.dtype.names if name.endswith("_0")]:
        middle = (1.0 - share) * found[f"{name}_0"][k] + share * found[f"{name}_1"][k]
        found[f"{name}_1"][k] = found[f"{name}_0"][k + 1] = middle
    found["end_s"][k] = found["start_s"][k + 1] = at_s
    return found


def _shade(pieces, which, left: float) -> None:
    """Leave a share of the sun in some pieces, and of what makes the surroundings differ from the air, in place."""
    for side in (0, 1):
        air, radiant = pieces[f"air_C_{side}"], pieces[f"radiant_C_{side}"]
        pieces[f"radiant_C_{side}"] = np.where(which, air + left * (radiant - air), radiant)
        pieces[f"solar_W_m2_{side}"] *= np.where(which, left, 1.0)


def _recorded(recorded, at_s: float) -> float | None:
    """Return how far a recorded heart rate rises in that minute [bpm], if it was recorded."""
    if recorded is None:
        return None
    time_s, heart = np.asarray(recorded.time_s), np.asarray(recorded.heart_rate_bpm)
    spans = ((at_s - BEFORE_S, at_s), (at_s + MINUTE_S - AFTER_S, at_s + MINUTE_S + AFTER_S))
    means = []
    for low, high in spans:
        seen = heart[(time_s >= low) & (time_s <= high)]
        seen = seen[np.isfinite(seen)]
        if not seen.size:
            return None
        means.append(float(seen.mean()))
    return means[1] - means[0]
