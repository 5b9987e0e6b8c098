"""A device by itself on a bench: the engine's own device rows, driven by a room and by what lies under the device.

Nothing of the physics is written a second time: every step evaluates the engine's balance of a person at rest who wears
the device. On a dummy the contact is taken away (or replaced by that of the insulation to the room); where the skin
under the device was measured it is held at what was measured.
"""

import math
from typing import NamedTuple

import numpy as np

from thermosim._jit import compiled
from thermosim.engine import nodes as n
from thermosim.engine import run as engine
from thermosim.engine.integrate import apply_event
from thermosim.engine.methods import RK4, advance_rk4, stability_limit
from thermosim.engine.plan import stiffest_rates
from thermosim.engine.prepare import power_demand, prepare, prepare_body
from thermosim.engine.records import EVENT, PUT_ON, RESTING
from thermosim.errors import NumericalFailure
from thermosim.inputs.effort import Effort
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.weather import Weather
from thermosim.physics.convection import natural_convection
from thermosim.physics.water_ice import frozen_mass

LONGEST_STEP_S = 10.0
STABLE = 0.8  # share of the method's stability limit that a step may use
HELD_FACTOR = 1e9  # heat capacity of skin that is held at a measured temperature, times its own
_PLACES = (n.FROM_SKIN, n.FROM_AIR, n.FROM_VAPOUR, n.WITH_WATER, n.RUN_OFF, n.ROW_CONDENSED, n.ROW_EVAPORATED, n.ROW_DRIPPED)


class Rest(NamedTuple):
    """A settled person, and the piece of time in which the bench test stands."""

    runner: np.ndarray  # RUNNER, (1,)
    start: engine.Work
    piece: np.ndarray  # PIECE, (1,)


class Alone(NamedTuple):
    """A device over time, all its rows together; arrays are (times,)."""

    time_s: np.ndarray
    mass_kg: np.ndarray  # filling, melt water and dew
    ice_kg: np.ndarray
    store_J: np.ndarray  # zero when just melted
    skin_C: np.ndarray  # under the device, by area
    from_skin_J: np.ndarray  # integrals since the start; by contact
    from_air_J: np.ndarray  # convection, long-wave, sun
    from_vapour_J: np.ndarray
    with_water_J: np.ndarray
    run_off_J: np.ndarray  # taken from skin below by drips, not by the device
    condensed_kg: np.ndarray
    evaporated_kg: np.ndarray
    dripped_kg: np.ndarray


def at_rest(person, room_temperature_C: float, room_humidity_pct: float, air_speed_m_s: float = 0.0) -> Rest:
    """Return a person who sits in a room.

    Parameters
    ----------
    person : Runner
    room_temperature_C, room_humidity_pct, air_speed_m_s : float
        Air and walls of the room [°C], [%], movement of its air [m/s].
    """
    weather = Weather.steady(air_temperature_C=room_temperature_C, relative_humidity_pct=room_humidity_pct)
    effort = Effort.steady(speed_m_s=0.0, minutes=60.0, treadmill=True, fan_speed_m_s=air_speed_m_s)
    rest = moving(person, effort, weather)
    rest.piece["activity"], rest.piece["seated"] = RESTING, 1.0
    return rest


def moving(person, effort, weather) -> Rest:
    """Return a person, settled, in the first part of an effort."""
    runner = runner_record(person)
    return Rest(runner, engine.settle(runner), piece_records(effort, weather)[:1])


def alone(
    rows: np.ndarray, rest: Rest, times_s, *, skin_C=None, insulation_W_m2K: float | None = None, air_factor: float = 1.0
) -> Alone:
    """Return what a device does over time.

    Parameters
    ----------
    rows : array of ROW
        The device, fresh at the first of the times.
    rest : Rest
        Who wears it, where.
    times_s : array
        When to look [s]; the device is laid on at zero.
    skin_C : array, optional
        Skin under the device at those times [°C], straight lines between; without it the skin follows from the body.
    insulation_W_m2K : float, optional
        The device lies on a dummy at room temperature behind this conductance [W/m²K]; 0 is no heat at all.
    air_factor : float
        Multiplies the convective coefficient of its outer side [1].

    Returns
    -------
    Alone

    Notes
    -----
    In still air the outer side has the larger of the engine's forced coefficient and natural convection at its own
    temperature difference.
    """
    rows, runner, piece = rows.copy(), rest.runner.copy(), rest.piece[0]
    times = np.asarray(times_s, dtype=float)
    if insulation_W_m2K is not None:
        rows["contact_W_m2K"] = insulation_W_m2K
        skin_C = np.full(times.size, piece["air_C_0"])
    held = skin_C is not None
    skin = np.asarray(skin_C, dtype=float) if held else np.zeros(times.size)
    if held:
        places = n.SKIN + np.unique(rows["segment"])
        runner["capacity_J_K"][0, places] *= HELD_FACTOR
    work = _laid_on(rows, rest, runner, piece)
    step = _step_of(work, rows, runner, piece)
    longest = min(
        LONGEST_STEP_S, STABLE * stability_limit(RK4, 4) / float(stiffest_rates(rest.runner, rest.piece, rows[None])[0])
    )
    exposures = rows["outer_exposure"] * air_factor
    states = np.zeros((times.size, work.state.size))
    before = 0.0
    for k, now in enumerate(times):
        count = math.ceil((now - before) / longest - 1e-9)
        if count > 0:
            _advance(
                work.state,
                work.stages,
                work.heat,
                step,
                work.seg,
                runner[0],
                rows,
                work.active,
                rows.size,
                exposures,
                (now - before) / count,
                count,
                skin[max(k - 1, 0)],
                skin[k],
                held,
            )
        states[k], before = work.state, now
    if not np.isfinite(states).all():
        raise NumericalFailure("The bench test stopped: a state became not finite.")
    return _read(states, rows, times)


def _laid_on(rows, rest: Rest, runner, piece) -> engine.Work:
    """Return the state just after the device was laid on."""
    work = engine.new_work(rows.size)
    engine.start_rows(work, rest.start, rows)
    prepare_body(work.seg, runner[0], rows, work.active, rows.size)
    for r in range(rows.size):
        event = np.zeros(1, dtype=EVENT)
        event["row"], event["action"] = r, PUT_ON
        apply_event(work.state, event[0], rows, work.active, rows.size, work.seg, runner[0], work.heat)
    return work


def _step_of(work, rows, runner, piece):
    metabolic_W = power_demand(work.state, piece, runner[0], rows, work.active, rows.size, 0.0)
    return prepare(work.seg, runner[0], piece, 0.0, metabolic_W, 0.0, rows, work.active, rows.size)


@compiled
def _advance(state, stages, heat, step, seg, runner, rows, active, n_rows, exposures, h, count, skin_0_C, skin_1_C, held):
    """Take ``count`` steps of ``h`` seconds; skin that is held runs from one measured temperature to the next."""
    for i in range(count):
        for r in range(n_rows):
            base = n.BASE + r * n.ROW_SIZE
            forced = seg[n.H_FORCED, rows[r].segment]
            natural = natural_convection(state[base + n.OUTER_C] - step.air_C)
            rows[r].outer_exposure = exposures[r] * max(forced, natural) / forced
            if held:
                state[base + n.PATCH_C] = skin_0_C + (skin_1_C - skin_0_C) * (i + 0.5) / count
        advance_rk4(h, state.size, state, stages, heat, step, seg, runner, rows, active, n_rows)


def _read(states, rows, times) -> Alone:
    blocks = states[:, n.BASE :].reshape(times.size, rows.size, n.ROW_SIZE)
    ice = np.array(
        [
            [
                frozen_mass(block[n.STORE_J], row["latent_J_kg"], block[n.STORE_KG]) if row["latent_J_kg"] > 0.0 else 0.0
                for block, row in zip(sample, rows, strict=True)
            ]
            for sample in blocks
        ]
    ).sum(axis=1)
    share = rows["area_m2"] / rows["area_m2"].sum()
    return Alone(
        times,
        (blocks[..., n.STORE_KG] + blocks[..., n.OUTER_KG]).sum(axis=1),
        ice,
        blocks[..., n.STORE_J].sum(axis=1),
        (blocks[..., n.PATCH_C] * share).sum(axis=1),
        *(blocks[..., place].sum(axis=1) for place in _PLACES),
    )
