"""Weather and performance by pace sweeps at a constant limit; reported beside published race times, never fitted.

::

    python -m thermosim.evidence.weather_pace [--json] [--picture PATH] [--members 16] [--seed 1]

For invented runners and steps of WBGT: the fastest steady marathon whose core temperature stays at or below one limit
and whose heart rate stays at or below the runner's own cap. Both limits are the same in every weather. The cap is the
one with which the best weather gives the runner's usual marathon speed; nothing is tuned to any race.
"""

import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated, NamedTuple

import numpy as np
import typer
from scipy.optimize import brentq

from thermosim import cautions
from thermosim.constants import STANDARD_PRESSURE_KPA
from thermosim.engine.batch import T_HEART, run_batch, settle_many
from thermosim.engine.integrate import S_CORE_PEAK, S_LOST, S_WATER
from thermosim.engine.nodes import DONE, OUT_OF_RANGE, STATUS_SENTENCES
from thermosim.errors import InputError, NumericalFailure
from thermosim.evidence.command import run_command
from thermosim.inputs.checks import check_range
from thermosim.inputs.effort import Effort
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.limits import Limits
from thermosim.inputs.runner import Runner
from thermosim.inputs.session import Session
from thermosim.inputs.weather import Weather
from thermosim.parameters import value
from thermosim.physics.air import saturation_pressure, vapour_pressure_of_wet_bulb
from thermosim.physiology import energetics
from thermosim.story import judge_books
from thermosim.study.ensemble import draw_members, energy_closures

MARATHON_M = 42_195.0
WBGT_STEPS_C = tuple(5.0 + 2.5 * k for k in range(9))
CORE_LIMIT_C, RELATIVE_HUMIDITY_PCT = 39.5, 60.0
LOWEST_WBGT_C, HIGHEST_WBGT_C = 0.0, 35.0
FROM_C = 10.0  # what is published of direction and order is said of WBGT from here up
SLOWEST, FASTEST = 0.4, 1.1  # of the usual speed: where the search begins
HALVINGS, HALVINGS_OF_MEMBERS = 14, 10  # 0.004 and 0.07 % of the usual speed
MEMBERS, SEED = 16, 1
SAMPLES = 25  # of heart rate along a run
BASE_AIR_C = 20.0  # each step is a shift from this air, so that all steps of one speed run as one batch
CORE, HEART_RATE, NEITHER = "core temperature", "heart rate", "neither"


class Paced(NamedTuple):
    """An invented runner, and the share of maximal oxygen uptake of the usual marathon."""

    runner: Runner
    share_of_maximal: float


# Invented people; the cost of running is given, so that a draw does not change the usual effort.
_COMMON = {"heat_days": 5, "economy_factor": 1.0}
RUNNERS = (
    Paced(Runner(name="fast", mass_kg=60, height_m=1.74, age_y=28, body_fat_pct=9, vo2max_mL_kg_min=75,
                 resting_heart_rate_bpm=45, maximum_heart_rate_bpm=192, **_COMMON), 0.82),
    Paced(Runner(name="middle", mass_kg=68, height_m=1.76, age_y=36, body_fat_pct=14, vo2max_mL_kg_min=55,
                 resting_heart_rate_bpm=52, maximum_heart_rate_bpm=184, **_COMMON), 0.78),
    Paced(Runner(name="slow", mass_kg=72, height_m=1.75, age_y=45, body_fat_pct=20, vo2max_mL_kg_min=42,
                 resting_heart_rate_bpm=60, maximum_heart_rate_bpm=176, **_COMMON), 0.70),
)  # fmt: skip

# Per cent slower than the course record, mean and standard deviation, by quartile of WBGT.
SOURCE = "Ely et al. 2007, Med Sci Sports Exerc 39:487"
QUARTILES_C = ((5.1, 10.0), (10.1, 15.0), (15.1, 20.0), (20.1, 25.0))
MIDDLES_C = (7.5, 12.5, 17.5, 22.5)
MEASURED = {
    "top men": ((1.7, 1.5), (2.5, 2.1), (3.3, 2.0), (4.5, 2.3)),
    "top women": ((3.2, 4.9), (3.2, 2.9), (3.8, 3.2), (5.4, 4.1)),
}
NOT_IN_IT = (
    "Behaviour, drinking and pacing are not in it: nobody drinks, nobody chooses, every run is one steady speed on level ground "
    "in calm air without sun."
)
PLAN_NOTHING = "Invented runners, held to two limits that do not change with weather: no advice on a speed, no limit for anybody."


# --- weather ---------------------------------------------------------------------------------------------------------


def wet_bulb(air_temperature_C: float, vapour_pressure_kPa: float) -> float:
    """Return the psychrometric wet bulb [°C] at sea level, by inverting ``vapour_pressure_of_wet_bulb``."""
    return brentq(
        lambda wet: vapour_pressure_of_wet_bulb(air_temperature_C, wet, STANDARD_PRESSURE_KPA) - vapour_pressure_kPa,
        air_temperature_C - 40.0, air_temperature_C + 1e-6, xtol=1e-9,
    )  # fmt: skip


def estimated_wbgt(air_temperature_C: float, relative_humidity_pct: float) -> float:
    """Return WBGT without sun [°C], estimated as 0.7 wet bulb + 0.3 air (the globe at air temperature)."""
    vapour = relative_humidity_pct / 100.0 * saturation_pressure(air_temperature_C)
    return 0.7 * wet_bulb(air_temperature_C, vapour) + 0.3 * air_temperature_C


def air_of_wbgt(wbgt_C: float, relative_humidity_pct: float) -> float:
    """Return the air temperature [°C] whose estimated WBGT without sun is this one."""
    return brentq(lambda air: estimated_wbgt(air, relative_humidity_pct) - wbgt_C, wbgt_C - 0.01, wbgt_C + 35.0)


# --- the search ------------------------------------------------------------------------------------------------------


def usual_speed(record, share_of_maximal: float) -> float:
    """Return the level speed in calm air [m/s] at a share of maximal oxygen uptake, slow component aside."""
    mass, economy, area, oxygen, resting, maximal = (
        float(record[name]) for name in ("mass_kg", "economy", "surface_area_m2", "oxygen_J_L", "resting_W", "maximal_W")
    )

    def over(speed):
        moving = energetics.moving_power(mass, 0.0, energetics.RUN, energetics.MINETTI, speed, 0.0, economy, 1.0, oxygen)
        return resting + moving + energetics.drag_power(speed, speed, area, oxygen) - share_of_maximal * maximal

    return brentq(over, 0.1, 15.0, xtol=1e-9)


def _in_weathers(records, states, fasts, air_C, relative_humidity_pct):
    """Return records and settled starts of every person in every weather: person by person, weather by weather."""
    count = len(air_C)
    cells = np.repeat(records, count)
    base_kPa = relative_humidity_pct / 100.0 * saturation_pressure(BASE_AIR_C)
    vapour_kPa = np.array([relative_humidity_pct / 100.0 * saturation_pressure(air) for air in air_C])
    cells["air_temperature_shift_K"] = np.tile(np.asarray(air_C) - BASE_AIR_C, records.size)
    cells["vapour_pressure_factor"] = np.tile(vapour_kPa / base_kPa, records.size)
    cells["air_speed_factor"] = cells["solar_factor"] = 1.0
    return cells, np.repeat(states, count, axis=0), np.repeat(fasts, count, axis=0)


def _effort(speed_m_s):
    return Effort.steady(speed_m_s=float(speed_m_s), minutes=MARATHON_M / float(speed_m_s) / 60.0, gait="run", air_drag=True)


def _marathon(cells, which, speed_m_s: float, weather: Weather):
    """Run some cells over the marathon at one speed; return peak core [°C], peak heart rate [bpm] and the batch.

    Who leaves the engine's range counts as infinitely hot.
    """
    pieces = piece_records(_effort(speed_m_s), weather)
    times = np.linspace(0.0, float(pieces["end_s"][-1]), SAMPLES)
    records, states, fasts = (array[which] for array in cells)
    batch = run_batch(records, pieces, save_times_s=times, start_states=states, start_fasts=fasts)
    for status in batch.statuses:
        if status not in (DONE, OUT_OF_RANGE):
            raise NumericalFailure(f"A run of the pace sweep stopped: {STATUS_SENTENCES[status]}.")
    done = batch.statuses == DONE
    core = np.where(done, batch.summaries[:, S_CORE_PEAK], np.inf)
    heart = np.where(done, batch.traces[:, :, T_HEART].max(axis=1), np.inf)
    return core, heart, batch


def _fastest(cells, limits_C, caps_bpm, usual_m_s: float, weather: Weather, halvings: int):
    """Return two speeds [m/s] of each cell: the fastest found within both limits, the slowest found beyond one.

    All cells halve one range, so that those at the same speed run as one batch.
    """
    low, high = (np.full(cells[0].size, share * usual_m_s) for share in (SLOWEST, FASTEST))
    for _ in range(halvings):
        middle = 0.5 * (low + high)
        for speed in np.unique(middle):
            which = np.flatnonzero(middle == speed)
            core, heart, _ = _marathon(cells, which, speed, weather)
            over = (core > limits_C[which]) | (heart > caps_bpm[which])
            high[which[over]], low[which[~over]] = speed, speed
    return low, high


# --- the sweep -------------------------------------------------------------------------------------------------------


def pace_sweep(
    runners: Sequence[Paced] = RUNNERS,
    wbgt_C: Sequence[float] = WBGT_STEPS_C,
    *,
    core_limit_C: float = CORE_LIMIT_C,
    relative_humidity_pct: float = RELATIVE_HUMIDITY_PCT,
    members: int = 0,
    seed: int = 1,
    overrides: dict[str, float] | None = None,
) -> list[dict]:
    """Find the fastest steady marathon within two fixed limits, for each runner and each step of WBGT.

    Parameters
    ----------
    runners : sequence of Paced
    wbgt_C : sequence of float
        Rising steps of estimated WBGT [°C], two or more.
    core_limit_C : float
        Limit of core temperature [°C], the same in every weather.
    relative_humidity_pct : float
        The same in every weather.
    members, seed : int
        Persons drawn from the population's spread about each runner, for the band; 0 leaves the band out.
    overrides : dict, optional
        Parameter values that replace the table's (not in the band).

    Returns
    -------
    list of dict
        One row a runner and step: the weather, ``speed_m_s``, ``minutes``, ``slowing_pct`` in time against the runner's
        best step, ``slowing_low_pct`` and ``slowing_high_pct`` (90 % of the drawn persons, or None), ``limit`` that binds,
        ``core_peak_C``, ``heart_rate_peak_bpm``, ``mass_lost_pct``, both limits, and the usual speed.
    """
    steps = _checked_steps(wbgt_C)
    limit_C = Limits(core_temperature_C=core_limit_C).core_temperature_C
    humidity = check_range("relative_humidity_pct", relative_humidity_pct)
    air_C = [air_of_wbgt(step, humidity) for step in steps]
    weather = Weather.steady(air_temperature_C=BASE_AIR_C, relative_humidity_pct=humidity)
    rows = []
    for paced in runners:
        record = runner_record(paced.runner, overrides)
        usual = usual_speed(record[0], paced.share_of_maximal)
        mine = _sweep_one(paced, record, usual, limit_C, steps, air_C, weather, humidity)
        if members:
            low, high = _band(paced, usual, limit_C, air_C, weather, humidity, members, seed)
            for row, lower, upper in zip(mine, low, high, strict=True):
                row["slowing_low_pct"], row["slowing_high_pct"] = float(lower), float(upper)
        rows += mine
    return rows


def _checked_steps(wbgt_C) -> list[float]:
    steps = [float(step) for step in wbgt_C]
    if len(steps) < 2 or any(not LOWEST_WBGT_C <= step <= HIGHEST_WBGT_C for step in steps) or sorted(set(steps)) != steps:
        problem = f"is {steps}, allowed are two or more rising steps of {LOWEST_WBGT_C:g} to {HIGHEST_WBGT_C:g} °C"
        raise InputError(problem, field="wbgt_C", remedy="give the steps in order")
    return steps


def _sweep_one(paced, record, usual, limit_C, steps, air_C, weather, humidity) -> list[dict]:
    cells = _in_weathers(record, *settle_many(record), air_C, humidity)
    cap = _marathon(cells, np.arange(len(steps)), usual, weather)[1].min()
    limits, caps = np.full(len(steps), limit_C), np.full(len(steps), cap)
    low, high = _fastest(cells, limits, caps, usual, weather, HALVINGS)
    rows = []
    for k, step in enumerate(steps):
        rows.append(_row(cells, k, float(low[k]), float(high[k]), limit_C, cap, usual, weather) | {
            "runner": paced.runner.name, "invented": True, "share_of_maximal": paced.share_of_maximal,
            "maximum_heart_rate_bpm": paced.runner.maximum_heart_rate_resolved_bpm,
            "heart_rate_cap_share": float(cap) / paced.runner.maximum_heart_rate_resolved_bpm,
            "wbgt_C": step, "air_temperature_C": air_C[k], "relative_humidity_pct": humidity,
            "wet_bulb_C": (step - 0.3 * air_C[k]) / 0.7, "slowing_low_pct": None, "slowing_high_pct": None,
        })  # fmt: skip
    best = max((row["speed_m_s"] for row in rows if row["speed_m_s"]), default=math.nan)
    for row in rows:
        row["slowing_pct"] = 100.0 * (best / row["speed_m_s"] - 1.0) if row["speed_m_s"] else None
    return rows


def _row(cells, k, low, high, limit_C, cap, usual, weather) -> dict:
    """Run the speed found and the one just beyond: peaks, books, and which limit binds."""
    core, heart, batch = _marathon(cells, [k], low, weather)
    core_beyond, heart_beyond, _ = _marathon(cells, [k], high, weather)
    over = ((CORE, core_beyond[0] > limit_C), (HEART_RATE, heart_beyond[0] > cap))
    row = {
        "usual_speed_m_s": usual, "usual_time_min": MARATHON_M / usual / 60.0,
        "core_limit_C": limit_C, "heart_rate_cap_bpm": float(cap),
        "limit": " and ".join(name for name, beyond in over if beyond) or NEITHER,
        **dict.fromkeys(("speed_m_s", "minutes", "core_peak_C", "heart_rate_peak_bpm", "mass_lost_pct")),
    }  # fmt: skip
    if core[0] > limit_C or heart[0] > cap:  # not even the slowest speed of the search
        return row
    summary = batch.summaries[0]
    judge_books(energy_closures(batch)[0], summary[S_WATER], of=" of the pace sweep")
    return row | {
        "speed_m_s": low, "minutes": MARATHON_M / low / 60.0, "core_peak_C": float(core[0]),
        "heart_rate_peak_bpm": float(heart[0]), "mass_lost_pct": 100.0 * float(summary[S_LOST] / cells[0]["mass_kg"][k]),
    }  # fmt: skip


def _band(paced, usual, limit_C, air_C, weather, humidity, members, seed):
    """Return the 5 and 95 % points of slowing [%] at each step over drawn persons, each against their own best step."""
    session = Session.from_parts(paced.runner, _effort(usual), weather, limits={"core_temperature_C": limit_C})
    drawn = draw_members(session, members, seed)
    cells = _in_weathers(drawn.runners, drawn.start_states, drawn.start_fasts, air_C, humidity)
    _, peaks, _ = _marathon(cells, np.arange(cells[0].size), usual, weather)
    caps = np.repeat(peaks.reshape(members, -1).min(axis=1), len(air_C))
    limits = np.repeat(limit_C - drawn.core_error_K, len(air_C))
    speeds, _ = _fastest(cells, limits, caps, usual, weather, HALVINGS_OF_MEMBERS)
    speeds = speeds.reshape(members, -1)
    slowing = 100.0 * (speeds.max(axis=1, keepdims=True) / speeds - 1.0)
    return np.quantile(slowing, 0.05, axis=0), np.quantile(slowing, 0.95, axis=0)


# --- what it says ----------------------------------------------------------------------------------------------------


def by_runner(rows: list[dict]) -> dict[str, list[dict]]:
    """Return the rows of each runner, in order of WBGT."""
    return {name: [row for row in rows if row["runner"] == name] for name in dict.fromkeys(row["runner"] for row in rows)}


def slower_each_step(mine: list[dict], from_C: float = FROM_C) -> bool:
    """Return whether one runner slows with every step of WBGT from a start [°C] up."""
    return _rises([row["slowing_pct"] for row in mine if row["wbgt_C"] >= from_C])


def slower_lose_more(rows: Iterable[dict], wbgt_C: float) -> bool:
    """Return whether, at one step, runners of lower usual speed lose more per cent."""
    there = sorted((row for row in rows if row["wbgt_C"] == wbgt_C), key=lambda row: -row["usual_speed_m_s"])
    return _rises([row["slowing_pct"] for row in there])


def _rises(numbers) -> bool:
    return None not in numbers and all(after > before for before, after in zip(numbers, numbers[1:]))


def _order(rows):
    """Return the steps [°C] of which something is published, and those at which slower runners lose more."""
    warm = [step for step in dict.fromkeys(row["wbgt_C"] for row in rows) if step >= FROM_C]
    return warm, [step for step in warm if slower_lose_more(rows, step)]


def verdicts(rows: list[dict]) -> dict[str, str]:
    """Return sentences: does every step slow every runner, do slower runners lose more, how large is it beside races."""
    not_so = [name for name, mine in by_runner(rows).items() if not slower_each_step(mine)]
    slows = f"not every step of WBGT slows the {' and the '.join(not_so)} runner, unlike"
    slows = slows if not_so else "every step of WBGT slows every runner, as"
    warm, holds = _order(rows)
    name, modelled, measured = rise(rows)
    points = "finds no speed in one of them" if modelled is None else f"loses {modelled:.1f} percentage points in the model"
    return {
        "direction": f"From {FROM_C:g} °C up {slows} published.",
        "order": f"That slower runners lose more per cent, as published, holds at {len(holds)} of {len(warm)} of these steps.",
        "size": f"From the coolest to the warmest quartile the {name} runner {points}; top men lost {measured:.1f}.",
    }


def rise(rows: list[dict]) -> tuple[str, float | None, float]:
    """Return the fastest runner, that loss in the warmest less the coolest quartile [% points], and the top men's."""
    name, mine = max(by_runner(rows).items(), key=lambda item: item[1][0]["usual_speed_m_s"])
    cool, warm = (at_wbgt(mine, MIDDLES_C[k]) for k in (0, -1))
    men = MEASURED["top men"]
    return name, None if cool is None or warm is None else warm - cool, men[-1][0] - men[0][0]


def at_wbgt(mine: list[dict], wbgt_C: float, what: str = "slowing_pct") -> float | None:
    """Return the slowing [%] of one runner at a WBGT [°C], in a straight line between steps; None outside them."""
    known = [(row["wbgt_C"], row[what]) for row in mine if row[what] is not None]
    inside = known and known[0][0] <= wbgt_C <= known[-1][0]
    return float(np.interp(wbgt_C, *zip(*known, strict=True))) if inside else None


def weather_chapter(rows: list[dict]) -> str:
    """Return the section of the validation chapter in Markdown."""
    people = by_runner(rows)
    first = rows[0]
    parts = [
        "## Weather and performance",
        "*Written by `thermosim.evidence.weather_pace`; do not edit by hand. Reported, never fitted, never scored.*",
        f"**{' '.join(verdicts(rows).values())}**",
        "For each invented runner and each step of WBGT: the fastest steady marathon with a core temperature of at most "
        f"{first['core_limit_C']:g} °C and a heart rate of at most the runner's own cap, both the same in every weather. The cap "
        "is the one with which the best step gives the runner's usual marathon speed. Relative humidity "
        f"{first['relative_humidity_pct']:g} %, calm, no sun; WBGT is estimated as 0.7 wet bulb (psychrometric) + 0.3 air. "
        "Slowing is in time, against the runner's best step; in brackets 90 % of persons drawn about the runner. "
        f"{NOT_IN_IT} {PLAN_NOTHING}",
        _people_table(people),
        _inert_caps(people),
        _slowing_table(people),
        f"Published ({SOURCE}; seven marathons over 6 to 36 years): per cent slower than the course record, mean ± standard "
        "deviation. Places 25 to 300 slow more; the abstract gives no numbers for them.",
        _measured_table(people),
        "A record was itself run in some weather: compare the rise over the quartiles. Sun and wind of the races are unknown.",
    ]
    return "\n\n".join(filter(None, parts)) + "\n"


def _markdown(heads, lines) -> str:
    rule = ["---"] + ["---:"] * (len(heads) - 1)
    return "\n".join(f"| {' | '.join(cells)} |" for cells in (heads, rule, *lines))


def _people_table(people) -> str:
    lines = [
        (
            f"{row['runner']} (invented)", f"{100 * row['share_of_maximal']:.0f} %", f"{row['usual_speed_m_s']:.2f} m/s",
            f"{row['usual_time_min']:.0f} min", f"{row['heart_rate_cap_bpm']:.0f} bpm, {100 * row['heart_rate_cap_share']:.0f} %",
        )
        for row, *_ in people.values()
    ]  # fmt: skip
    return _markdown(("runner", "of maximal oxygen uptake", "usual speed", "usual time", "cap, of maximum"), lines)


def _inert_caps(people) -> str:
    """Say for whom heart rate cannot bind because the cap is the maximum, which no modelled heart rate passes."""
    names = [name for name, mine in people.items() if mine[0]["heart_rate_cap_share"] > 0.9999]
    return f"Cap at the maximum itself, so that only core can bind: {', '.join(names)}." if names else ""


def _slowing_words(row) -> str:
    slowing, low, high = (row[f"slowing_{part}pct"] for part in ("", "low_", "high_"))
    band = "" if low is None else f" ({low:.1f}–{high:.1f})"
    return f"{'–' if slowing is None else f'{slowing:.1f}'}{band}, {row['limit']}"


def _slowing_table(people) -> str:
    lines = [
        (f"{some[0]['wbgt_C']:g}", f"{some[0]['air_temperature_C']:.1f}", *map(_slowing_words, some))
        for some in zip(*people.values(), strict=True)
    ]
    return _markdown(("WBGT, °C", "air, °C", *(f"{name}: slower by %, limit that binds" for name in people)), lines)


def _measured_table(people) -> str:
    heads = ("WBGT, °C", *(f"{group}, measured" for group in MEASURED), *(f"{name}, model at mid-range" for name in people))
    lines = []
    for k, (low, high) in enumerate(QUARTILES_C):
        measured = [f"{group[k][0]:.1f} ± {group[k][1]:.1f}" for group in MEASURED.values()]
        modelled = [at_wbgt(mine, MIDDLES_C[k]) for mine in people.values()]
        lines.append((f"{low:g}–{high:g}", *measured, *("–" if one is None else f"{one:.1f}" for one in modelled)))
    return _markdown(heads, lines)


# --- command ---------------------------------------------------------------------------------------------------------


def as_json(rows: list[dict]) -> dict:
    """Return rows, published numbers, verdicts and cautions as plain values."""
    return {
        "rows": rows,
        "measured": [
            {"group": group, "wbgt_low_C": low, "wbgt_high_C": high, "slower_than_record_pct": mean, "sd_pct": sd,
             "source": SOURCE}
            for group, numbers in MEASURED.items() for (low, high), (mean, sd) in zip(QUARTILES_C, numbers, strict=True)
        ],
        **verdicts(rows), "cautions": pace_cautions(),
    }  # fmt: skip


def pace_cautions() -> list[str]:
    """Return the cautions of the sweep."""
    return [*cautions.for_result(capped=True), NOT_IN_IT, PLAN_NOTHING]


def page_of(rows: list[dict], members: int, seed: int):
    """Return the page of the sweep."""
    from thermosim.dataset import version
    from thermosim.look.pace_page import draw_pace, pace_setting

    warm, holds = _order(rows)
    name, mine = max(by_runner(rows).items(), key=lambda item: item[1][0]["usual_speed_m_s"])
    lost, low, high = (at_wbgt(mine, MIDDLES_C[-1], f"slowing_{part}pct") for part in ("", "low_", "high_"))
    men = MEASURED["top men"][-1][0]
    words = "finds no speed" if lost is None else f"loses {lost:.0f} %" + ("" if low is None else f" ({low:.0f}–{high:.0f})")
    return draw_pace(
        rows, as_json(rows)["measured"], cautions=pace_cautions(), core_half_width_K=1.645 * value("model_core_error_K"),
        answer=[
            f"At constant limits the {name} runner {words} at {MIDDLES_C[-1]:g} °C WBGT, top men {men:.1f} %;",
            f"slower runners lose more at {len(holds)} of {len(warm)} steps from {FROM_C:g} °C up",
        ],
        setting=pace_setting(rows, members, SOURCE),
        provenance=f"thermosim {version()} · python -m thermosim.evidence.weather_pace · seed {seed} · never fitted",
    )  # fmt: skip


def sweep(
    json_: Annotated[bool, typer.Option("--json", help="print one JSON object")] = False,
    picture: Annotated[Path | None, typer.Option(help="draw the page, .png or .svg")] = None,
    force: Annotated[bool, typer.Option("--force", help="replace a picture that exists")] = False,
    members: Annotated[int, typer.Option(min=0, help="persons drawn about each runner, for the band")] = MEMBERS,
    seed: Annotated[int, typer.Option(help="of the drawn persons")] = SEED,
) -> None:
    """Find the fastest steady marathon at constant limits over steps of WBGT, beside published race times."""
    if picture and picture.suffix.lower() not in (".png", ".svg"):
        raise InputError("ends neither in .png nor in .svg", field=f"--picture {picture}", remedy="choose one of these endings")
    if picture and picture.exists() and not force:
        raise InputError("exists already", file=str(picture), remedy="choose another name or add --force")
    rows = pace_sweep(members=members, seed=seed)
    if json_:
        print(json.dumps(as_json(rows), ensure_ascii=False, indent=1))
    else:
        print("\n".join(pace_cautions()) + "\n\n" + weather_chapter(rows), end="")
    if picture is not None:
        from thermosim.inputs.files import write_atomically
        from thermosim.look.page import save

        write_atomically(picture, lambda path: save(page_of(rows, members, seed), path), force)


def main() -> None:
    """Run the command; a refused input or a failed run is one sentence."""
    run_command(sweep)


if __name__ == "__main__":
    main()
