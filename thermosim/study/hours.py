"""Start hours of a weather and runners of a session: inside the limits, crosses at a minute, or cannot say, and why."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.stats import beta

from thermosim.dataset import version
from thermosim.engine import integrate as kernel
from thermosim.engine.integrate import SITE_CORE
from thermosim.engine.nodes import DONE, LIMIT_AIR, LIMIT_NOTHING, LIMIT_SWEAT, STATUS_SENTENCES
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.checks import shown
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.limits import FEW_HEAT_DAYS
from thermosim.parameters import value
from thermosim.physics.wbgt_limits import STANDARD_SURFACE_M2, WORK_CLASSES, reference_limit
from thermosim.ranges import RANGES
from thermosim.story import SITES, simulate_session, variant_of
from thermosim.study.ensemble import Members, draw_air, draw_members, put_air, run_variant, sheets_of
from thermosim.study.starts import EVERY_MIN, Start, at_start, left_out, possible_starts, window_of
from thermosim.study.variants import interval
from thermosim.study.wind import wind_effect
from thermosim.turns import in_turns

INSIDE, CROSSES, CANNOT_SAY = "inside the limits you set", "crosses", "cannot say"
# Shares of the ensemble that cross: up to the first it is called inside; from the second, half, the median run crosses, so that
# a minute can be named.
INSIDE_SHARE, CROSSES_SHARE = 0.05, 0.5
FEW_MEMBERS = 100  # fewer drawn runners leave the share open by ten points and more
LAST_MIN = 10.0  # what limits a run is read from its last minutes up to the crossing or the end
GAIN_W = 50.0  # a gain from sun or hot air below this is not what limits a run
EASY = 0.5  # required evaporation below this share of what the air takes is done easily
OFTEN = 0.05  # share of a run from which it is called uncompensable
STILL_M_S = 1.0  # relative air below this is called still
NEAR = 0.85  # required evaporation over capacity from which the air is named: the wettedness that the standard allows at most
LIMITING = {
    "humidity": "evaporation limited by humidity",
    "still_air": "evaporation limited by still air",
    "sweat_rate": "sweat-rate limited",
    "sun": "heat gain from sun",
    "radiant": "radiant heat gain",
    "hot_air": "heat gain from hot air",
    "effort": "heat made by the effort",
}
NOT_TOLD = "not told: the model cannot run the runner as given to the end"
TOLD_NUMBERS = ("required_evaporation_W", "evaporative_capacity_W", "dry_W", "sun_W", "told_at_min", "metabolic_W")


def hours(
    session, *, variant: str | None = None, first: str | None = None, last: str | None = None, every_min: float = EVERY_MIN,
    inside_share: float = INSIDE_SHARE, crosses_share: float = CROSSES_SHARE, progress=None,
) -> dict[str, Any]:  # fmt: skip
    """Return, for every possible start hour of the weather and every runner of the session, whether the core limit is crossed.

    The same drawn people and the same draws of their air stand for every hour; each carries the model's own error that published
    experiments left over, which moves its limit. One whom the model cannot run to the end counts as crossing where the limit was
    crossed before; where it was not, the share is open by that one.

    Parameters
    ----------
    session : Session
        Its weather must have times.
    variant : str, optional
        What is worn; the session's first unless named.
    first, last, every_min
        As in :func:`thermosim.study.starts.possible_starts`.
    inside_share, crosses_share : float
        Shares of the ensemble [1]: up to the first that crosses, *inside*; from the second on, *crosses*; between, *cannot say*.

    Returns
    -------
    dict
        ``hours`` (one a start: ``start``, ``wbgt_C``, ``wbgt_highest_C``, ``air_temperature_C``, ``vapour_pressure_kPa``,
        ``wind_speed_m_s``, ``solar_W_m2``, ``over_sheets``, ``runners``) and what holds for all of them.

    Raises
    ------
    InputError
        What :func:`thermosim.study.starts.possible_starts` refuses; a runner without a limit; shares that are none.
    """
    if not 0.0 <= inside_share < crosses_share <= 1.0:
        problem = (
            f"are {shown(inside_share)} and {shown(crosses_share)}, allowed are two shares from 0 to 1, the first the smaller"
        )
        raise InputError(
            problem, field="inside_share and crosses_share", remedy=f"{INSIDE_SHARE} and {CROSSES_SHARE} are the defaults"
        )
    say = progress or (lambda sentence, share: None)
    starts = possible_starts(in_turns(session), first=first, last=last, every_min=every_min)
    alone = [for_one(in_turns(session, k), runner) for k, runner in enumerate(session.runners)]
    for one in alone:
        if math.isnan(one.core_limit_C):
            problem = f"is missing for {one.runner.name or 'the runner'}: under 18 or pregnant there is no default limit"
            raise InputError(problem, field="core_limit_C", remedy="set a limit yourself, or look at single runs with simulate")
    chosen = variant_of(session, variant)
    wbgt = [_wbgt(sheet) for sheet in sheets_of(session)]
    orders = [_order(session, start, wbgt) for start in starts]
    rows = [_hour(session, start, wbgt, order) for start, order in zip(starts, orders, strict=True)]
    for k, one in enumerate(alone):
        say(f"drawing {one.runner.name or 'the runner'}", k / len(alone))
        at_first = at_start(one, starts[0].at_s)
        drawn = draw_members(at_first, one.ensemble.members, one.ensemble.seed)
        rng = np.random.default_rng([one.ensemble.seed, 41])
        air = draw_air(one.ensemble.members, rng, session.forecast.spread if session.forecast else {})
        for j, start in enumerate(starts):
            say(f"{one.runner.name or 'the runner'} from {start.label}", (k + j / len(starts)) / len(alone))
            then = at_start(one, start.at_s)
            members = _in_this_air(then, drawn, air)
            rows[j]["runners"].append(_cell(then, chosen, members, orders[j], inside_share, crosses_share))
    say("done", 1.0)
    cells = [[row["runners"][k] for row in rows] for k in range(len(alone))]
    return {
        "hours": rows,
        "runners": [{"name": _name(one.runner, k), "limit_C": one.core_limit_C, "heat_days": one.runner.heat_days_resolved,
                     "work_limit": work_limit(one.runner, cells[k])} for k, one in enumerate(alone)],
        "limit_site": session.limit_site, "variant": chosen.name, "minutes": session.effort.minutes, "every_min": every_min,
        "members": session.ensemble.members, "seed": session.ensemble.seed, "model_core_error_K": value("model_core_error_K"),
        "inside_share": inside_share, "crosses_share": crosses_share,
        "wbgt": wbgt[0].label if wbgt[0] else None,
        "left_out": left_out(session, starts, every_min, window_of(session.weather, first, last)),
        "warnings": [*_warnings(session, alone, wbgt[0]), *_of_members(session, alone, starts, cells)], "version": version(),
    }  # fmt: skip


def for_one(session, runner):
    """Return the session with one of its runners alone; assumed ranges of another runner's card do not go with it."""
    if runner is session.runner and not session.others:
        return session
    kept = session.assumed if runner is session.runner else {
        name: pair for name, pair in session.assumed.items() if name not in type(runner).NUMBERS
    }  # fmt: skip
    return replace(session, runner=runner, others=(), assumed=kept)


def _name(runner, position: int) -> str:
    return runner.name or f"runner {position + 1}"


def _wbgt(weather):
    """Return the wet-bulb globe temperature of a weather, or None where nothing here can tell it."""
    try:
        return weather.wet_bulb_globe
    except (ImportError, AttributeError):
        return None


def _run_of(session, start: Start) -> np.ndarray:
    """Return times of the weather [s] over the run from a start."""
    return np.linspace(start.at_s, start.at_s + 60.0 * session.effort.minutes, 61)


def _order(session, start: Start, wbgt) -> tuple[int, ...]:
    """Return the forecast's sheets that tell of an hour, by place: coolest, middle and hottest over the run; or the only one."""
    times = _run_of(session, start)
    warmth = [
        float(np.interp(times, sheet.time_s, sheet.air_temperature_C if found is None else found.wbgt_C).max())
        for sheet, found in zip(sheets_of(session), wbgt, strict=True)
    ]
    order = [int(k) for k in np.argsort(warmth, kind="stable")]
    return tuple(dict.fromkeys((order[0], order[(len(order) - 1) // 2], order[-1])))


def middle_of(order: tuple[int, ...]) -> int:
    """Return the sheet in the middle of an order of one to three."""
    return order[(len(order) - 1) // 2]


def _hour(session, start: Start, wbgt, order: tuple[int, ...]) -> dict[str, Any]:
    """Return one hour's air: at its start, and the highest wet-bulb globe temperature of the run; of a forecast its middle."""
    times, found = _run_of(session, start), []
    for sheet, one in zip(sheets_of(session), wbgt, strict=True):
        line = None if one is None else np.interp(times, sheet.time_s, one.wbgt_C)
        now = sheet.at(start.at_s)
        names = ("air_temperature_C", "vapour_pressure_kPa", "wind_speed_m_s", "solar_W_m2")
        warmth = (None, None) if line is None else (float(line[0]), float(line.max()))
        found.append({"wbgt_C": warmth[0], "wbgt_highest_C": warmth[1], **{name: float(now[name]) for name in names}})
    over = None
    if len(found) > 1:
        over = {name: [min(one[name] for one in found), max(one[name] for one in found)] for name in found[0]
                if found[0][name] is not None}  # fmt: skip
    head = {"start": start.label, "at_min": start.at_s / 60.0}
    return {**head, **found[middle_of(order)], "over_sheets": over, "runners": []}


def _in_this_air(session, drawn: Members, air) -> Members:
    """Return the members with their drawn air in the air of this hour."""
    runners = drawn.runners.copy()
    held = put_air(runners, air, np.concatenate([piece_records(session.effort, sheet) for sheet in sheets_of(session)]))
    return drawn._replace(runners=runners, held_at_saturation=held)


def _cell(session, variant, members: Members, order, inside_share: float, crosses_share: float) -> dict[str, Any]:
    """Return one runner at one hour: verdict, shares, minutes, what limits, what the wind does."""
    site = SITES[session.limit_site]
    batch = run_variant(session, variant, members, (float(session.effort.end_s[-1]),), site, may_stop=True)
    seconds, done = batch.summaries[:, kernel.S_LIMIT_S], batch.statuses == DONE
    crossed, unknown = ~np.isnan(seconds), np.isnan(seconds) & ~done
    verdict = verdict_of(float(crossed.mean()), float((crossed | unknown).mean()), inside_share, crosses_share)
    crossing = interval(np.where(crossed, seconds / 60.0, np.where(unknown, np.nan, np.inf)))
    at_min = float(session.effort.minutes)
    if verdict == CROSSES and crossing and crossing["median"] is not None:
        at_min = min(at_min, crossing["median"])
    peak, ends = batch.summaries[:, kernel.S_CORE_PEAK], share_interval(int(crossed.sum()), crossed.size)
    return {
        "verdict": verdict, "share_crossing": float(crossed.mean()), "share_interval": ends,
        "could_turn": any(verdict_of(end, end, inside_share, crosses_share) != verdict for end in ends),
        "share_without_model_error": float((peak >= session.core_limit_C).mean()) if site == SITE_CORE else None,
        "crosses_at_min": crossing if crossed.any() else None,
        "core_at_end_C": interval((batch.summaries[:, kernel.S_CORE_END] + members.core_error_K)[done]),
        "sweat_loss_L": interval(batch.summaries[done, kernel.S_SWEAT]), "hottest_core_C": float(peak.max()),
        "stopped": _stopped(batch.statuses, unknown), **told_of_run(session, variant, order, at_min),
    }  # fmt: skip


def verdict_of(least: float, most: float, inside_share: float, crosses_share: float) -> str:
    """Return the verdict of a share that crosses [1], known to lie between two."""
    return INSIDE if most <= inside_share else CROSSES if least >= crosses_share else CANNOT_SAY


def share_interval(crossing: int, members: int) -> list[float]:
    """Return the 90 % interval [1] of the share of all such runners, from how many of the drawn ones cross (Jeffreys).

    Examples
    --------
    >>> [round(end, 2) for end in share_interval(5, 20)], [round(end, 2) for end in share_interval(0, 100)]
    ([0.12, 0.43], [0.0, 0.02])
    """
    low, high = beta.ppf([0.05, 0.95], crossing + 0.5, members - crossing + 0.5)
    return [float(low) if crossing else 0.0, float(high) if crossing < members else 1.0]


def _stopped(statuses, unknown) -> dict[str, Any] | None:
    """Return how many members the model did not run to the end, how many of them before the limit, and why; None for none."""
    stopped = statuses != DONE
    if not stopped.any():
        return None
    why = "; ".join(STATUS_SENTENCES[status] for status in dict.fromkeys(int(one) for one in statuses[stopped]))
    return {"members": int(stopped.sum()), "before_the_limit": int(unknown.sum()), "why": why}


def told_of_run(session, variant, order, at_min: float) -> dict[str, Any]:
    """Return what limits the runner as given and what the wind does, around a minute, in the middle sheet of a forecast.

    Words tell the coolest and the hottest sheet as well where they differ; ``uncompensable`` is that of any of them.
    """
    sheets, runs = sheets_of(session), {}
    for k in order:
        in_it = replace(session, weather=sheets[k], forecast=None)
        try:
            runs[k] = in_it, simulate_session(in_it, variant.name)
        except NumericalFailure:
            continue
    middle = middle_of(order)
    if middle not in runs:
        return {**dict.fromkeys(TOLD_NUMBERS), "limiting": None, "limiting_words": NOT_TOLD, "uncompensable": True, "wind": None}
    found = {k: _told(run, at_min) for k, (_, run) in runs.items()}
    in_it, run = runs[middle]
    at = _sample(run, at_min)
    words = dict.fromkeys(found[k]["limiting_words"] for k in order if k in found)
    return {
        **found[middle], "limiting_words": ", or ".join(words),
        "uncompensable": any(one["uncompensable"] for one in found.values()),
        "told_at_min": at_min, "metabolic_W": float(run.metabolic_power.mean()),
        "wind": wind_effect(in_it, at_min, float(run.mean_skin_temperature[at]), float(run.sweat_rate[at])),
    }  # fmt: skip


def _sample(run, at_min: float) -> int:
    return int(np.argmin(np.abs(run.time.values / 60.0 - at_min)))


def _told(run, at_min: float) -> dict[str, Any]:
    """Return what limits a run around a minute with its watts; what only limits it at other times is told as well."""
    at = _sample(run, at_min)
    limiting, watts = limiting_term(run, at)
    limited = run.limited_by.values
    words, often = LIMITING[limiting], bool((limited != LIMIT_NOTHING).mean() > OFTEN)
    if often and limiting in ("sun", "radiant", "hot_air", "effort"):
        air = (limited == LIMIT_AIR).sum() > (limited == LIMIT_SWEAT).sum()
        still = float(run.air_speed.values[limited == LIMIT_AIR].mean()) < STILL_M_S if air else False
        words += f", at times {LIMITING[('still_air' if still else 'humidity') if air else 'sweat_rate']}"
    here = (limited[_last_minutes(run, at)] != LIMIT_NOTHING).mean() >= 0.5
    return {"limiting": limiting, "limiting_words": words, **watts, "uncompensable": often or bool(here)}


def _last_minutes(run, at: int) -> np.ndarray:
    """Return which samples belong to the minutes up to one of them from which a limit is read."""
    minutes = run.time.values / 60.0
    return (minutes <= minutes[at] + 1e-9) & (minutes >= minutes[at] - LAST_MIN)


def limiting_term(run, at: int) -> tuple[str, dict[str, float]]:
    """Return what limits a run at a sample, a name of :data:`LIMITING`, and the watts it is read from.

    Over the last minutes up to the sample: where the air or the sweat rate keeps required evaporation from happening for most of
    them, or the air all but does, that; else the largest gain beyond the heat that is made, if it is worth naming: where sun,
    air and surroundings together warm the body, or evaporation has to make up for so much that it is no longer easy. A globe
    that has seen the sun counts as radiant.
    """
    window = _last_minutes(run, at)
    terms = list(run.term.values)
    flows = {name: float(run.heat_flow.values[terms.index(name)][window].mean()) for name in terms}
    gains = {"sun": flows["solar_radiation"], "radiant": flows["long_wave_radiation"], "hot_air": flows["convection"]}
    required, capacity = (float(run[name].values[window].mean()) for name in ("required_evaporation", "evaporative_capacity"))
    watts = {
        "required_evaporation_W": required, "evaporative_capacity_W": capacity, "dry_W": gains["hot_air"] + gains["radiant"],
        "sun_W": gains["sun"],
    }  # fmt: skip
    limited = run.limited_by.values[window]
    if (limited == LIMIT_AIR).mean() >= 0.5 or (limited != LIMIT_SWEAT).mean() >= 0.5 and required >= NEAR * capacity:
        still = float(run.air_speed.values[window].mean()) < STILL_M_S
        return ("still_air" if still else "humidity"), watts
    if (limited != LIMIT_NOTHING).mean() >= 0.5:
        return "sweat_rate", watts
    largest = max(gains, key=lambda name: gains[name])
    worth = sum(max(gain, 0.0) for gain in gains.values()) >= GAIN_W
    warmed = sum(gains.values()) > 0.0
    return (largest if worth and (warmed or required >= EASY * capacity) else "effort"), watts


def work_limit(runner, cells) -> dict[str, Any] | None:
    """Return the reference limit of wet-bulb globe temperature that ISO 7243 has for work as hard as these runs; None untold.

    It is made for people at work over a day; runners mostly lie beyond its last line, and it is no verdict on a run.
    """
    known = [cell["metabolic_W"] for cell in cells if cell["metabolic_W"] is not None]
    if not known:
        return None
    used_to_heat = runner.heat_days_resolved >= FEW_HEAT_DAYS
    metabolic_W, area_m2 = max(known), float(runner_record(runner)[0]["surface_area_m2"])
    found = reference_limit(metabolic_W, used_to_heat, area_m2)
    return {
        "wbgt_C": found.limit_C, "work_class": found.work_class.words, "beyond_table": found.beyond_table,
        "table_ends_W": WORK_CLASSES[-1].metabolic_W * area_m2 / STANDARD_SURFACE_M2, "metabolic_W": metabolic_W,
        "acclimatised": used_to_heat,
    }  # fmt: skip


def _warnings(session, alone, wbgt) -> list[str]:
    found = list(session.weather.warnings())
    found += session.forecast.warnings() if session.forecast else []
    for k, one in enumerate(alone):
        own = [*one.runner.warnings(), *one.limits.warnings(one.runner)]
        found += [f"{_name(one.runner, k)}: {sentence}" if len(alone) > 1 else sentence for sentence in own]
    found += session.effort.warnings()
    if wbgt is None:
        found.append("WBGT is left out: nothing here estimates it.")
    else:
        found += [f"WBGT: {note}" for note in wbgt.notes]
        if wbgt.label == "estimated":
            found.append("WBGT is estimated from air, wind and sun by the heat balance of a globe and a wick, not measured.")
    if session.weather.sun is None and np.any(session.weather.solar_W_m2 > 0.0):
        found.append("The sun's place is not used: its load on the body is uncertain by about a third.")
    return list(dict.fromkeys(found))


def _of_members(session, alone, starts: list[Start], cells) -> list[str]:
    """Return what is to be said of the drawn runners: too few of them, verdicts that another draw may turn, runs that stopped."""
    found, count = [], session.ensemble.members
    if count < FEW_MEMBERS:
        found.append(
            f"{count} drawn runners are few: the share that crosses is known to some ±{100.0 * _half_width(count):.0f} points at "
            f"worst, and verdicts may turn with another seed. {FEW_MEMBERS} or more are better (members)."
        )
    for k, one in enumerate(alone):
        who, pairs = _name(one.runner, k), list(zip(starts, cells[k], strict=True))
        turning = [start.label for start, cell in pairs if cell["could_turn"]]
        if turning:
            found.append(
                f"{who}: another draw of {count} may turn the verdict from {_some(turning)}: the 90 % interval of the share "
                "reaches over the stated shares."
            )
        found += _of_hot_members(who, count, pairs)
    return found


def _half_width(members: int) -> float:
    """Return half the widest 90 % interval of a share [1]."""
    low, high = share_interval(members // 2, members)
    return 0.5 * (high - low)


def _of_hot_members(who: str, count: int, pairs) -> list[str]:
    """Return what is to be said of drawn runners who get hotter than the model was tried, or than it can run."""
    found, hottest = [], max(cell["hottest_core_C"] for _, cell in pairs)
    stopped = [(start.label, cell["stopped"]) for start, cell in pairs if cell["stopped"]]
    if hottest > RANGES["core_C"].high:
        found.append(
            f"{who}: modelled core of drawn runners reaches {hottest:.1f} °C, outside the range in which the model was tried "
            f"({RANGES['core_C'].high:g} °C); nobody runs on like that, minutes and litres after the limit are arithmetic."
        )
    if stopped:
        numbers = sorted({one["members"] for _, one in stopped})
        before = max(one["before_the_limit"] for _, one in stopped)
        span = f"{numbers[0]}" if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"
        counted = "all of them after the limit was crossed: they count as crossing" if not before else (
            f"up to {before} of them before the limit: whether they would have crossed is open, and the verdict allows for both"
        )  # fmt: skip
        found.append(
            f"{who}: the model cannot run {span} of {count} drawn runners to the end from "
            f"{_some([label for label, _ in stopped])} ({stopped[0][1]['why']}), {counted}. "
            "Core and sweat at the end are those of the others."
        )
    untold = [start.label for start, cell in pairs if cell["limiting"] is None]
    if untold:
        found.append(f"{who}: the model cannot run the runner as given to the end from {_some(untold)}: what limits is not told.")
    return found


def _some(labels: list[str]) -> str:
    """Return labels in words, of many the first four and how many there are.

    >>> _some(["04:00", "05:00", "06:00", "07:00", "08:00", "09:00"])
    '04:00, 05:00, 06:00, 07:00 and 2 more'
    """
    more = f" and {len(labels) - 4} more" if len(labels) > 4 else ""
    return ", ".join(labels[:4]) + more
