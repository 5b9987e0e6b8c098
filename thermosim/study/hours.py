"""Start hours of a weather and runners of a session: inside the limits, crosses at a minute, or cannot say, and why."""

import math
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from thermosim.clock import clock_seconds, clock_text
from thermosim.dataset import version
from thermosim.engine import integrate as kernel
from thermosim.errors import InputError
from thermosim.inputs.checks import shown
from thermosim.inputs.flat import piece_records
from thermosim.inputs.plain import array
from thermosim.inputs.weather_sun import later
from thermosim.parameters import value
from thermosim.story import SITES, simulate_session, variant_of
from thermosim.study.compare import interval
from thermosim.study.ensemble import Members, draw_air, draw_members, put_air, run_variant, sheets_of
from thermosim.study.wind import wind_effect
from thermosim.turns import in_turns

INSIDE, CROSSES, CANNOT_SAY = "inside the limits you set", "crosses", "cannot say"
# Shares of the ensemble that cross: up to the first it is called inside; from the second, half, the median run crosses, so that
# a minute can be named.
INSIDE_SHARE, CROSSES_SHARE = 0.05, 0.5
EVERY_MIN = 60.0
MOST_STARTS = 240
HOUR_S, DAY_S = 3600.0, 86400.0
LAST_MIN = 10.0  # what limits a run is read from its last minutes up to the crossing or the end
GAIN_W = 50.0  # a gain from sun or hot air below this is not what limits a run
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


class Start(NamedTuple):
    """One possible start: seconds of the weather, and what it is called."""

    at_s: float
    label: str


def possible_starts(session, *, first: str | None = None, last: str | None = None, every_min: float = EVERY_MIN) -> list[Start]:
    """Return the starts at which the weather covers the whole effort: whole hours of its clock, or from its first row on.

    Parameters
    ----------
    first, last : str, optional
        Clock times, ``"05:00"``; starts outside them are left out, ``last`` before ``first`` goes over midnight.
    every_min : float
        Time between starts [min].

    Raises
    ------
    InputError
        Steady weather, a weather that ends before the run does, no start left, too many.
    """
    weather = session.weather
    if weather.steady_air:
        problem = "is steady, so that every hour is the same"
        raise InputError(problem, field="weather", remedy="give a weather sheet, or a station file with start and hours")
    if isinstance(every_min, bool) or not isinstance(every_min, int | float) or not 5.0 <= every_min <= 1440.0:
        raise InputError(f"is {shown(every_min)}, allowed is 5 to 1440 min", field="every_min", remedy="60 is every hour")
    end = min(float(one.time_s[-1]) for one in sheets_of(session))
    begin = max(float(one.time_s[0]) for one in sheets_of(session))
    latest, clock = end - 60.0 * session.effort.minutes, weather.start_clock_s
    step = 60.0 * every_min
    at = begin if clock is None else math.ceil((begin + clock) / step - 1e-9) * step - clock
    window = [None if one is None else _clock_of(name, one, clock) for name, one in (("first", first), ("last", last))]
    found = []
    while at <= latest + 1e-6:
        if clock is None or _inside((at + clock) % DAY_S, *window):
            found.append(Start(at, _label(weather, at)))
        at += step
    if not found:
        what = "has no start" if any(window) and latest >= begin else "ends before the run does: it has no start"
        problem = f"{what} from which it covers {session.effort.minutes:.4g} min; it lasts {(end - begin) / 60.0:.4g} min"
        raise InputError(problem, field="weather", remedy="give more hours, shorten the effort, or widen --first and --last")
    if len(found) > MOST_STARTS:
        problem = f"gives {len(found)} starts, allowed are up to {MOST_STARTS}"
        raise InputError(problem, field="weather", remedy="narrow it with --first and --last, or widen --every-min")
    return found


def _clock_of(name: str, text: str, clock: float | None) -> float:
    seconds = clock_seconds(text) if isinstance(text, str) else None
    if clock is None:
        raise InputError(f"is {shown(text)}, but the weather has no clock", field=name, remedy="give the weather sheet a clock")
    if seconds is None or seconds > DAY_S:
        raise InputError(f'is {shown(text)}, allowed is "HH:MM"', field=name, remedy='write e.g. "05:00"')
    return seconds


def _inside(clock_s: float, first: float | None, last: float | None) -> bool:
    low, high = first or 0.0, DAY_S if last is None else last
    return low <= clock_s <= high if low <= high else clock_s >= low or clock_s <= high


def _label(weather, at_s: float) -> str:
    """Return what a start is called: its clock, with the day where the weather runs over several; or minutes."""
    clock = weather.start_clock_s
    if clock is None:
        return f"minute {at_s / 60.0:g}"
    first = float(weather.time_s[0]) + clock
    text = clock_text(at_s + clock)
    if math.floor((float(weather.time_s[-1]) + clock - 1.0) / DAY_S) == math.floor(first / DAY_S):
        return text
    if "start" in weather.given:
        moment = later(weather.given, at_s)["start"]
        return f"{moment[8:10]}.{moment[5:7]}. {text}"
    return f"day {math.floor((at_s + clock) / DAY_S) - math.floor(first / DAY_S) + 1} {text}"


def at_start(session, at_s: float):
    """Return the session with its weather (and forecast) moved so that it starts then; the sun's path is not found anew."""
    forecast = session.forecast
    if forecast is not None and forecast.sheets:
        forecast = replace(forecast, sheets=tuple(moved(sheet, at_s) for sheet in forecast.sheets))
    weather = forecast.sheets[0] if forecast is not None and forecast.sheets else moved(session.weather, at_s)
    return replace(session, weather=weather, forecast=forecast, start_clock="")


def moved(weather, by_s: float):
    """Return the same weather with time 0 moved ``by_s`` later."""
    given = later({**weather.given, "time_s": [second - by_s for second in weather.given["time_s"]]}, by_s)
    clock = None if weather.start_clock_s is None else (weather.start_clock_s + by_s) % DAY_S
    return replace(weather, time_s=array(weather.time_s - by_s), given=given, start_clock_s=clock)


def hours(
    session, *, variant: str | None = None, first: str | None = None, last: str | None = None, every_min: float = EVERY_MIN,
    inside_share: float = INSIDE_SHARE, crosses_share: float = CROSSES_SHARE, progress=None,
) -> dict[str, Any]:  # fmt: skip
    """Return, for every possible start hour of the weather and every runner of the session, whether the core limit is crossed.

    The same drawn people and the same draws of their air stand for every hour; each carries the model's own error that published
    experiments left over, which moves its limit.

    Parameters
    ----------
    session : Session
        Its weather must have times; its ``start`` is not used.
    variant : str, optional
        What is worn; the session's first unless named.
    first, last, every_min
        As in :func:`possible_starts`.
    inside_share, crosses_share : float
        Shares of the ensemble [1]: up to the first that crosses, *inside*; from the second on, *crosses*; between, *cannot say*.

    Returns
    -------
    dict
        ``hours`` (one a start: ``start``, ``wbgt_C``, ``wbgt_highest_C``, ``air_temperature_C``, ``vapour_pressure_kPa``,
        ``wind_speed_m_s``, ``solar_W_m2``, ``runners``) and what holds for all of them.

    Raises
    ------
    InputError
        What :func:`possible_starts` refuses; a runner without a limit; shares that are none.
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
    wbgt = _wbgt(session.weather)
    rows = [_hour(session, start, wbgt) for start in starts]
    for k, one in enumerate(alone):
        say(f"drawing {one.runner.name or 'the runner'}", k / len(alone))
        at_first = at_start(one, starts[0].at_s)
        drawn = draw_members(at_first, one.ensemble.members, one.ensemble.seed)
        rng = np.random.default_rng([one.ensemble.seed, 41])
        air = draw_air(one.ensemble.members, rng, session.forecast.spread if session.forecast else {})
        for j, start in enumerate(starts):
            say(f"{one.runner.name or 'the runner'} from {start.label}", (k + j / len(starts)) / len(alone))
            then = at_start(one, start.at_s)
            rows[j]["runners"].append(_cell(then, chosen, _in_this_air(then, drawn, air), inside_share, crosses_share))
    say("done", 1.0)
    return {
        "hours": rows,
        "runners": [{"name": _name(one.runner, k), "limit_C": one.core_limit_C, "heat_days": one.runner.heat_days_resolved}
                    for k, one in enumerate(alone)],
        "limit_site": session.limit_site, "variant": chosen.name, "minutes": session.effort.minutes, "every_min": every_min,
        "members": session.ensemble.members, "seed": session.ensemble.seed, "model_core_error_K": value("model_core_error_K"),
        "inside_share": inside_share, "crosses_share": crosses_share,
        "wbgt": None if wbgt is None else wbgt.label, "left_out": _left_out(session, starts),
        "warnings": _warnings(session, alone, wbgt), "version": version(),
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


def _hour(session, start: Start, wbgt) -> dict[str, Any]:
    """Return one hour's air: at its start, and the highest wet-bulb globe temperature of the run."""
    weather = session.weather
    now = weather.at(start.at_s)
    row: dict[str, Any] = {"start": start.label, "at_min": start.at_s / 60.0}
    if wbgt is not None:
        times = np.linspace(start.at_s, start.at_s + 60.0 * session.effort.minutes, 61)
        line = np.interp(times, weather.time_s, wbgt.wbgt_C)
        row |= {"wbgt_C": float(line[0]), "wbgt_highest_C": float(line.max())}
    else:
        row |= {"wbgt_C": None, "wbgt_highest_C": None}
    names = ("air_temperature_C", "vapour_pressure_kPa", "wind_speed_m_s", "solar_W_m2")
    return {**row, **{name: float(now[name]) for name in names}, "runners": []}


def _in_this_air(session, drawn: Members, air) -> Members:
    """Return the members with their drawn air in the air of this hour."""
    runners = drawn.runners.copy()
    held = put_air(runners, air, np.concatenate([piece_records(session.effort, sheet) for sheet in sheets_of(session)]))
    return drawn._replace(runners=runners, held_at_saturation=held)


def _cell(session, variant, members: Members, inside_share: float, crosses_share: float) -> dict[str, Any]:
    """Return one runner at one hour: verdict, shares, minutes, what limits, what the wind does."""
    batch = run_variant(session, variant, members, (float(session.effort.end_s[-1]),), SITES[session.limit_site])
    seconds = batch.summaries[:, kernel.S_LIMIT_S]
    minutes = np.where(np.isnan(seconds), np.inf, seconds / 60.0)
    share = float(np.isfinite(minutes).mean())
    verdict = INSIDE if share <= inside_share else CROSSES if share >= crosses_share else CANNOT_SAY
    crossing = interval(minutes)
    run = simulate_session(session, variant.name)
    at_min = float(session.effort.minutes)
    if verdict == CROSSES and crossing and crossing["median"] is not None:
        at_min = min(at_min, crossing["median"])
    k = int(np.argmin(np.abs(run.time.values / 60.0 - at_min)))
    limiting, watts = limiting_term(run, k)
    return {
        "verdict": verdict, "share_crossing": share, "crosses_at_min": crossing if share > 0.0 else None,
        "core_at_end_C": interval(batch.summaries[:, kernel.S_CORE_END] + members.core_error_K),
        "limiting": limiting, "limiting_words": LIMITING[limiting], **watts,
        "uncompensable": bool((run.limited_by.values != 0).mean() > 0.05),
        "sweat_loss_L": interval(batch.summaries[:, kernel.S_SWEAT]), "told_at_min": at_min,
        "wind": wind_effect(session, at_min, float(run.mean_skin_temperature[k]), float(run.sweat_rate[k])),
    }  # fmt: skip


def limiting_term(run, at: int) -> tuple[str, dict[str, float]]:
    """Return what limits a run at a sample, a name of :data:`LIMITING`, and the watts it is read from.

    Over the last minutes up to the sample: where the air or the sweat rate keeps required evaporation from happening for most of
    them, or the air all but does, that; else the largest gain beyond the heat that is made, if it is worth naming. A globe that
    has seen the sun counts as radiant.
    """
    minutes = run.time.values / 60.0
    window = (minutes <= minutes[at] + 1e-9) & (minutes >= minutes[at] - LAST_MIN)
    terms = list(run.term.values)
    flows = {name: float(run.heat_flow.values[terms.index(name)][window].mean()) for name in terms}
    gains = {"sun": flows["solar_radiation"], "radiant": flows["long_wave_radiation"], "hot_air": flows["convection"]}
    required, capacity = (float(run[name].values[window].mean()) for name in ("required_evaporation", "evaporative_capacity"))
    watts = {
        "required_evaporation_W": required, "evaporative_capacity_W": capacity, "dry_W": gains["hot_air"] + gains["radiant"],
        "sun_W": gains["sun"],
    }  # fmt: skip
    limited = run.limited_by.values[window]
    if (limited == 1).mean() >= 0.5 or (limited != 2).mean() >= 0.5 and required >= NEAR * capacity:
        still = float(run.air_speed.values[window].mean()) < STILL_M_S
        return ("still_air" if still else "humidity"), watts
    if (limited != 0).mean() >= 0.5:
        return "sweat_rate", watts
    largest = max(gains, key=lambda name: gains[name])
    together = sum(max(gain, 0.0) for gain in gains.values())
    return (largest if together >= GAIN_W else "effort"), watts


def _left_out(session, starts: list[Start]) -> str | None:
    """Return a sentence on hours of the weather that are no starts, because it ends before the run does."""
    last_s = float(min(sheet.time_s[-1] for sheet in sheets_of(session)))
    if starts[-1].at_s + HOUR_S > last_s:
        return None
    needed = starts[-1].at_s + HOUR_S + 60.0 * session.effort.minutes
    if needed <= last_s:
        return None  # cut by --last, not by the weather
    return (
        f"Starts after {starts[-1].label} are left out: the weather ends before a run of {session.effort.minutes:.4g} min would."
    )


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
