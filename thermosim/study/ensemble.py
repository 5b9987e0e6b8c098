"""Members of an ensemble: one draw of person, air and device a member, the same draw for every variant."""

import dataclasses
from typing import NamedTuple

import numpy as np
from scipy.stats import norm, truncnorm

from thermosim.cooling import flatten_cooling, from_spec
from thermosim.engine.batch import Batch, run_batch, settle_many
from thermosim.engine.start import shift_core
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.parameters import PARAMETERS, value

# What nobody measures exactly at the runner: standard deviations of the air [common practice, no source].
AIR_TEMPERATURE_SD_K, VAPOUR_PRESSURE_SD, AIR_SPEED_SD, SOLAR_SD = 0.5, 0.03, 0.15, 0.10
INTERVAL_SDS = 2.0 * norm.ppf(0.95)  # width of a 90 % interval in standard deviations


class Members(NamedTuple):
    """Draws shared by all variants of a session."""

    runners: np.ndarray  # RUNNER records (members,)
    start_states: np.ndarray
    start_fasts: np.ndarray
    core_error_K: np.ndarray  # the model's own error at this person, (members,)
    device_scores: np.ndarray  # standard normal scores for device cards, (members, 8)


def _truncated(score, parameter):
    """Turn a standard normal score into a value of a parameter, bent so that it stays inside the range."""
    low, high = (
        (parameter.low - parameter.value) / parameter.sd,
        (parameter.high - parameter.value) / parameter.sd,
    )
    return parameter.value + parameter.sd * truncnorm.ppf(norm.cdf(score), low, high)


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
    names = [name for name, parameter in PARAMETERS.items() if parameter.sd > 0.0]
    scores = rng.normal(size=(count, len(names)))
    drawn = {name: _truncated(scores[:, k], PARAMETERS[name]) for k, name in enumerate(names)}
    known = [
        (name, pair)
        for name, pair in session.runner.ranges.items()
        if isinstance(getattr(session.runner, name, None), float)
    ]
    own = {
        name: getattr(session.runner, name) + rng.normal(size=count) * (high - low) / INTERVAL_SDS
        for name, (low, high) in known
    }
    records = []
    for i in range(count):
        person = session.runner.model_copy(update={name: float(values[i]) for name, values in own.items()})
        records.append(runner_record(person, {name: float(values[i]) for name, values in drawn.items()}))
    runners = np.concatenate(records)
    runners["air_temperature_shift_K"] = rng.normal(0.0, AIR_TEMPERATURE_SD_K, count)
    runners["vapour_pressure_factor"] = np.exp(rng.normal(0.0, VAPOUR_PRESSURE_SD, count))
    runners["air_speed_factor"] = np.exp(rng.normal(0.0, AIR_SPEED_SD, count))
    runners["solar_factor"] = np.exp(rng.normal(0.0, SOLAR_SD, count))
    states, fasts = settle_many(runners)
    if session.runner.core_start_C is not None:
        for i in range(count):
            shift_core(states[i], session.runner.core_start_C, runners[i : i + 1])
    error = rng.normal(0.0, value("model_core_error_K"), count)
    return Members(runners, states, fasts, error, rng.normal(size=(count, 8)))


def _vary_device(worn, scores):
    """Return a worn device with the uncertain numbers of its card moved by standard normal scores."""
    card = getattr(worn.device, "card", None)
    if not card:
        return worn
    uncertain = [
        name for name, parameter in card.items() if parameter.sd > 0.0 and hasattr(worn.device, name)
    ]
    moved = {}
    for name, score in zip(uncertain, scores, strict=False):
        parameter = card[name]._replace(value=getattr(worn.device, name))
        moved[name] = float(_truncated(score, parameter))
    return dataclasses.replace(worn, device=dataclasses.replace(worn.device, **moved))


def run_variant(session, variant, members: Members, save_times_s, site: int) -> Batch:
    """Run one variant for all members; each member limits on the limit less its own model error."""
    pieces = piece_records(session.effort, session.weather)
    end = float(pieces["end_s"][-1])
    worn = [from_spec(spec) for spec in variant.cooling]
    tables, events = [], None
    for i in range(members.runners.size):
        varied = [_vary_device(one, members.device_scores[i]) for one in worn]
        rows, events, _ = flatten_cooling(varied, members.runners[i]["area_m2"], end)
        tables.append(rows)
    return run_batch(
        members.runners,
        pieces,
        np.stack(tables),
        events,
        save_times_s,
        start_states=members.start_states,
        start_fasts=members.start_fasts,
        limits_C=session.core_limit_C - members.core_error_K,
        site=site,
    )
