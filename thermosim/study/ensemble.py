"""Members of an ensemble: one draw of person, air and device a member, the same draw for every variant."""

import dataclasses
from typing import NamedTuple

import numpy as np
from scipy.stats import norm, truncnorm

from thermosim._jit import compiled
from thermosim.closure import device_closure
from thermosim.cooling import flatten_cooling
from thermosim.cooling.blocks import cooling_of_blocks, with_blocks
from thermosim.engine.batch import Batch, run_batch, settle_many
from thermosim.engine.integrate import S_CLOSURE, S_THROUGHPUT, S_WATER
from thermosim.engine.nodes import DONE, STATUS_SENTENCES
from thermosim.engine.run import NO_EVENTS, NO_LEGS
from thermosim.engine.start import shift_core
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.blocks import in_order
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.paced_flat import is_paced, paced_records
from thermosim.inputs.runner import Runner
from thermosim.parameters import PARAMETERS, value
from thermosim.physics.air import saturation_pressure
from thermosim.story import judge_books, worn_of
from thermosim.variables import INPUTS

# What nobody measures exactly at the runner: standard deviations of the air [common practice, no source].
AIR_TEMPERATURE_SD_K, VAPOUR_PRESSURE_SD, AIR_SPEED_SD, SOLAR_SD = 0.5, 0.03, 0.15, 0.10
INTERVAL_SDS = 2.0 * norm.ppf(0.95)  # width of a 90 % interval in standard deviations
MOST_TRIES = 100  # draws of one person until their numbers agree with each other
# A number of the card that was measured or fitted -> the population spread that then no longer applies. The other
# numbers of a card replace the population's value where the record is made.
SPREAD_ENDED_BY = {"economy_factor": ("economy_spread", 1.0)}
# Drawn only for a runner whose heat exposures are listed, from low to high, four standard deviations apart.
HEAT_DAY_PARAMETERS = (
    "heat_days_scale", "heat_days_scale_sweat", "heat_days_decay_1_d", "heat_dose_minutes", "acclimatised_plasma_gain",
)  # fmt: skip
HEAT_DAY_SDS = 4.0


class Members(NamedTuple):
    """Draws shared by all variants of a session."""

    runners: np.ndarray  # RUNNER records (members,)
    start_states: np.ndarray
    start_fasts: np.ndarray
    core_error_K: np.ndarray  # the model's own error at this person, (members,)
    device_scores: np.ndarray  # standard normal scores for device cards, (members, 8)
    held_at_saturation: int  # members whose drawn vapour pressure was more than their own air can hold


def truncated(score, centre, sd, low, high):
    """Turn a standard normal score into a value about a centre, bent so that it stays inside ``low`` to ``high``."""
    return centre + sd * truncnorm.ppf(norm.cdf(score), (low - centre) / sd, (high - centre) / sd)


def draw_members(session, count: int, seed: int) -> Members:
    """Draw an ensemble: population parameters, the card's own intervals, the air, the model's error.

    Parameters
    ----------
    session : Session
    count, seed : int
        Members and random seed; the same seed gives the same numbers whatever the number of threads.

    Returns
    -------
    Members
    """
    rng = np.random.default_rng(seed)
    persons = draw_persons(session.runner, count, rng)
    runners = np.concatenate([runner_record(card, drawn) for card, drawn in persons])
    states, fasts = settle_many(runners)  # at rest, before the air of the run differs between members
    for i, (person, _) in enumerate(persons):
        if person.core_start_C is not None:
            shift_core(states[i], person.core_start_C, runners[i : i + 1])
    forecast = session.forecast
    pieces = [piece_records(session.effort, one) for one in sheets_of(session)]
    held = put_air(runners, draw_air(count, rng, forecast.spread if forecast else {}), np.concatenate(pieces))
    error = rng.normal(0.0, value("model_core_error_K"), count)
    return Members(runners, states, fasts, error, rng.normal(size=(count, 8)), held)


def draw_persons(runner, count: int, rng) -> list[tuple[Runner, dict[str, float]]]:
    """Draw people about a card: for each the card inside its own intervals, and its population parameters.

    Parameters
    ----------
    runner : Runner
    count : int
    rng : numpy.random.Generator

    Returns
    -------
    list of (Runner, dict)
        The dictionary goes to :func:`thermosim.inputs.flat.runner_record` as ``overrides``.
    """
    population = _draw_population(runner, count, rng)
    people = _draw_people(runner, count, rng)
    return [(card, {name: float(drawn[i]) for name, drawn in population.items()}) for i, card in enumerate(people)]


def _draw_population(runner, count, rng) -> dict[str, np.ndarray]:
    """Draw every parameter that has a spread; what the card knows better keeps its own value."""
    names = [name for name, parameter in PARAMETERS.items() if parameter.sd > 0.0]
    scores = rng.normal(size=(count, len(names)))
    drawn = {}
    for k, name in enumerate(names):
        p = PARAMETERS[name]
        drawn[name] = truncated(scores[:, k], p.value, p.sd, p.low, p.high)
    if runner.heat_exposures is not None:
        for name in HEAT_DAY_PARAMETERS:
            p = PARAMETERS[name]
            drawn[name] = truncated(rng.normal(size=count), p.value, (p.high - p.low) / HEAT_DAY_SDS, p.low, p.high)
    for field, (name, centre) in SPREAD_ENDED_BY.items():
        if runner.sources[field] != "default" or field in runner.ranges:
            drawn[name] = np.full(count, centre)
    return drawn


def _draw_people(runner, count, rng) -> list[Runner]:
    """Draw the card's own intervals (90 %), inside the allowed range of each field; the numbers of a person agree.

    Raises
    ------
    InputError
        Intervals so far apart that no drawn person is possible.
    """
    if not runner.ranges:
        return [runner] * count
    names = list(runner.ranges)
    scores = rng.normal(size=(count, len(names)))
    people = []
    for i in range(count):
        for _ in range(MOST_TRIES):
            drawn = {name: _own_value(runner, name, scores[i, k]) for k, name in enumerate(names)}
            try:
                people.append(_person(runner, drawn))
                break
            except InputError as error:
                problem, scores[i] = error, rng.normal(size=len(names))
        else:
            raise InputError(
                f"give no runner that is possible ({problem.field} {problem.problem})",
                field="ranges",
                remedy="narrow the ranges, or correct the values",
            )
    return people


def _own_value(runner, name, score) -> float:
    low, high = runner.ranges[name]
    given = getattr(runner, name)
    centre = 0.5 * (low + high) if given is None else given
    return float(truncated(score, centre, (high - low) / INTERVAL_SDS, INPUTS[name].low, INPUTS[name].high))


def _person(runner, drawn) -> Runner:
    """Return the runner with drawn numbers put in, checked like any runner card."""
    kept = runner.model_fields_set - {"sources", "ranges"}
    return Runner(**{**{name: getattr(runner, name) for name in kept}, **drawn})


class Air(NamedTuple):
    """What members' air differs by: kelvin on its temperature, factors on vapour pressure, air speed and sun, (members,) each."""

    shift_K: np.ndarray
    vapour: np.ndarray
    speed: np.ndarray
    sun: np.ndarray


def draw_air(count: int, rng, spread: dict[str, float]) -> Air:
    """Draw what nobody measures exactly at the runner, with what a forecast's stated spread adds (``inputs/forecast.py``)."""

    def sd(own, name, unit=100.0):
        return float(np.hypot(own, 2.0 * spread.get(name, 0.0) / unit / INTERVAL_SDS))

    return Air(
        rng.normal(0.0, sd(AIR_TEMPERATURE_SD_K, "air_temperature_K", 1.0), count),
        np.exp(rng.normal(0.0, sd(VAPOUR_PRESSURE_SD, "vapour_pressure_pct"), count)),
        np.exp(rng.normal(0.0, sd(AIR_SPEED_SD, "wind_speed_pct"), count)),
        np.exp(rng.normal(0.0, sd(SOLAR_SD, "solar_pct"), count)),
    )


def sheets_of(session) -> tuple:
    """Return the weather sheets that members of a session take in turn: those of its forecast, or its one."""
    return (session.forecast.sheets if session.forecast else ()) or (session.weather,)


def put_air(runners, air: Air, pieces) -> int:
    """Put drawn air into members' records; return how many were held at saturation in the air of these pieces."""
    count, factors = runners.size, air.vapour
    runners["air_temperature_shift_K"], runners["air_speed_factor"], runners["solar_factor"] = air.shift_K, air.speed, air.sun
    knots = np.unique(
        np.concatenate([np.column_stack([pieces[f"air_C_{k}"], pieces[f"vapour_kPa_{k}"]]) for k in (0, 1)]),
        axis=0,
    )
    largest = np.full(count, np.inf)
    lower_to_saturation(largest, runners["air_temperature_shift_K"].copy(), knots)
    runners["vapour_pressure_factor"] = np.minimum(factors, largest)
    return int((factors > largest).sum())


@compiled
def lower_to_saturation(largest, shifts_K, knots):
    """Lower each member's largest factor [1] on vapour pressure to what its own, shifted air can hold.

    ``knots`` are rows of air temperature [°C] and vapour pressure [kPa].
    """
    for i in range(largest.size):
        for k in range(knots.shape[0]):
            if knots[k, 1] > 0.0:
                factor = saturation_pressure(knots[k, 0] + shifts_K[i]) / knots[k, 1]
                largest[i] = min(largest[i], factor)


def _vary_device(worn, scores):
    """Return a worn device with the uncertain numbers of its card moved by standard normal scores."""
    card = getattr(worn.device, "card", None)
    if not card:
        return worn
    uncertain = [
        name for name, p in card.items() if hasattr(worn.device, name) and (p.sd > 0.0 or name in worn.ranges)
    ]
    moved = {}
    for name, score in zip(uncertain, scores, strict=False):
        p, (low, high) = card[name], worn.ranges.get(name, (0.0, 0.0))
        sd = (high - low) / INTERVAL_SDS if name in worn.ranges else p.sd
        given = getattr(worn.device, name)
        moved[name] = float(truncated(score, given, sd, p.low, p.high)) if sd > 0.0 else given
    # the card's interval is about its own value, not about a drawn one
    return dataclasses.replace(worn, device=dataclasses.replace(worn.device, **moved), ranges={})


def run_variant(
    session, variant, members: Members, save_times_s, site: int, until_s: float | None = None, *, may_stop: bool = False
) -> Batch:
    """Run one variant for all members; each member limits on the limit less its own model error.

    Runs last as long as the effort was planned, or ``until_s`` where a rule may make them longer. Areas that a draw makes too
    large for a member's segment are made to fit; the card's own value must fit.

    Parameters
    ----------
    may_stop : bool
        Leave members that the model cannot run to the end, by their status, to the caller.

    Raises
    ------
    InputError
        The device as it was given does not fit the runner as given.
    NumericalFailure
        A member stopped and may not, or the books of one that ran to the end do not close.
    """
    end = float(session.effort.end_s[-1]) if until_s is None else until_s
    worn = worn_of(session, variant)
    as_given = runner_record(session.runner)
    _, events, names = flatten_cooling(worn, as_given[0]["area_m2"], end)
    tables = []
    for i in range(members.runners.size):
        varied = [_vary_device(one, members.device_scores[i]) for one in worn]
        tables.append(flatten_cooling(varied, members.runners[i]["area_m2"], end, shrink=True)[0])
    own = tables[0].size
    paced, leg_events = is_paced(session), NO_EVENTS
    if paced:
        area_m2 = as_given[0]["area_m2"]
        of_blocks = cooling_of_blocks(in_order(session.blocks), area_m2)
        added = [with_blocks(of_blocks, table, names, events, area_m2) for table in tables]
        tables, leg_events = [one[0] for one in added], added[0][2]
    sheets = sheets_of(session)
    turns = np.arange(members.runners.size) % len(sheets)  # which sheet of a forecast a member has
    parts = []
    for k, weather in enumerate(sheets[: members.runners.size]):
        mine = turns == k
        flat = None
        if paced:
            here = dataclasses.replace(session, weather=weather, forecast=None)
            flat = paced_records(here, as_given, until_s=end)
        parts.append(
            run_batch(
                members.runners[mine],
                piece_records(session.effort, weather) if flat is None else flat.pieces,
                np.stack(tables)[mine],
                events,
                save_times_s,
                start_states=members.start_states[mine],
                start_fasts=members.start_fasts[mine],
                limits_C=(session.core_limit_C - members.core_error_K)[mine],
                site=site,
                rules=None if flat is None else flat.rule,
                legs=NO_LEGS if flat is None else flat.legs,
                leg_events=leg_events,
                counted=own,
            )
        )
    batch = parts[0] if len(parts) == 1 else _in_turn(parts, turns)
    judge_members(batch, tables, variant.name, may_stop)
    return batch


def _in_turn(parts: list[Batch], turns) -> Batch:
    """Put the batches of a forecast's sheets together in the order of their members."""
    order = np.argsort(np.concatenate([np.flatnonzero(turns == k) for k in range(len(parts))]))
    joined = (np.concatenate([part[i] for part in parts])[order] for i in range(1, len(Batch._fields)))
    return Batch(parts[0].time_s, *joined)


def energy_closures(batch) -> np.ndarray:
    """Return what each member's energy books leave over, relative to the heat turned over [1]."""
    return np.abs(batch.summaries[:, S_CLOSURE]) / np.maximum(batch.summaries[:, S_THROUGHPUT], 1.0)


def judge_members(batch, tables, variant_name: str, may_stop: bool = False) -> None:
    """Raise unless every member ran to the end (or may stop), and those that did closed their energy, water and device books.

    Raises
    ------
    NumericalFailure
        Names the first member for which this is not so.
    """
    energy = energy_closures(batch)
    for i, status in enumerate(batch.statuses):
        who = f"drawn runner {i + 1} of {batch.statuses.size} in the variant {variant_name!r}"
        if status == DONE:
            water, device = float(batch.summaries[i, S_WATER]), device_closure(batch.states[i], tables[i])
            judge_books(float(energy[i]), water, device, of=f" of {who}")
        elif not may_stop:
            raise NumericalFailure(f"The model cannot run {who} to the end: {STATUS_SENTENCES[status]}.")
