"""A step of a paced run: the fast states move second by second, the rule looks every second, legs end where they end.

The thermal network takes one step with the mean power of these seconds. A look inside a step takes the thermal parts of
heart rate from the step's start; where it changes what the runner does, or a leg ends, the step ends there.
"""

import math

from thermosim._jit import compiled, fold
from thermosim.engine import nodes as n
from thermosim.engine import pacing as p
from thermosim.engine.balance import mean_skin, trunk_core
from thermosim.engine.prepare import heart_rate, power_demand, update_fast
from thermosim.engine.records import ON_FOOT
from thermosim.physiology.energetics import RUN, STAND, STANDING_BELOW_M_S, WALK

look_in_place, heart_rate_in_place = fold(p.look), fold(heart_rate)
update_in_place = fold(update_fast)
SAME_TIME_S = 1e-6  # times closer than this are one
SAME_PLACE_M = 1e-6


@fold
def motion(pacing):
    """What the runner does now: what the rule lets them do, or what a rest or a steep grade asks for."""
    rule, mode = pacing.rule[0], int(pacing.pace[p.MODE])
    number = int(pacing.pace[p.LEG_NUMBER])
    if mode == p.STOP or number >= pacing.legs.size:
        return p.STOP
    leg = pacing.legs[number]
    if leg.activity != ON_FOOT or leg.speed_m_s < STANDING_BELOW_M_S:
        return STAND
    if leg.capped == 0:
        return WALK if leg.gait == WALK else RUN
    if mode == RUN and (leg.gait == WALK or leg.grade > rule.walk_above_grade):
        return WALK
    return mode


@compiled
def set_now(pacing, piece):
    """Make the piece of now: air and options of ``piece``, grade, ground, sun and wind of the leg, speed of the mode."""
    pacing.now[0] = piece
    now, mode, legs = pacing.now[0], motion(pacing), pacing.legs
    leg = legs[min(int(pacing.pace[p.LEG_NUMBER]), legs.size - 1)]
    now.grade, now.surface = leg.grade, leg.surface
    if not math.isnan(leg.heading):  # the piece then holds the wind's own direction: from north and from east
        north, east = piece.wind_along, piece.wind_across
        now.wind_along = north * math.cos(leg.heading) + east * math.sin(leg.heading)
        now.wind_across = abs(east * math.cos(leg.heading) - north * math.sin(leg.heading))
    now.wind_m_s_0, now.wind_m_s_1 = leg.wind_left * piece.wind_m_s_0, leg.wind_left * piece.wind_m_s_1
    now.solar_W_m2_0, now.solar_W_m2_1 = leg.sun_left * piece.solar_W_m2_0, leg.sun_left * piece.solar_W_m2_1
    # shade takes off the same share of what makes the surroundings warmer or colder than the air
    now.radiant_C_0 = piece.air_C_0 + leg.sun_left * (piece.radiant_C_0 - piece.air_C_0)
    now.radiant_C_1 = piece.air_C_1 + leg.sun_left * (piece.radiant_C_1 - piece.air_C_1)
    now.speed_m_s, now.upright = 0.0, 1.0
    if mode == p.STOP:
        pass
    elif leg.activity != ON_FOOT or leg.speed_m_s < STANDING_BELOW_M_S:
        now.activity, now.seated, now.upright = leg.activity, leg.seated, leg.upright
    elif mode == WALK:
        now.gait = WALK
        as_planned = leg.gait == WALK and (leg.capped == 0 or pacing.pace[p.MODE] == RUN)
        now.speed_m_s = leg.speed_m_s if as_planned else min(pacing.rule[0].walk_speed_m_s, leg.speed_m_s)
    elif mode == RUN:
        now.speed_m_s = leg.speed_m_s
        if leg.gait >= 0:
            now.gait = leg.gait
    now.swing_m_s = now.speed_m_s


@compiled
def start_leg(pacing, number, time_s, distance_m):
    """Go to a leg: note where it starts, and where or when it will end."""
    pace, legs = pacing.pace, pacing.legs
    pace[p.LEG_NUMBER] = number
    begun = pacing.leg_starts[number]
    begun[0], begun[1], begun[2] = time_s, distance_m, pace[p.OVER_S]
    pace[p.LEG_END_S] = pace[p.LEG_END_M] = math.inf
    if number == legs.size:
        pace[p.DONE_S] = time_s
    elif legs[number].metres > 0.0:
        pace[p.LEG_END_M] = distance_m + legs[number].metres
    else:
        pace[p.LEG_END_S] = time_s + legs[number].seconds


@fold
def look_now(time_s, state, fast, seg, runner, rows, active, n_rows, pacing, core_C, skin_C, parts):
    """Look if a look is due; return whether what the runner does changes."""
    pace, legs = pacing.pace, pacing.legs
    if time_s < pace[p.NEXT_LOOK] - SAME_TIME_S:
        return False
    before, second, number = motion(pacing), int(pace[p.NEXT_LOOK]), int(pace[p.LEG_NUMBER])
    heart = heart_rate_in_place(state, fast, runner, core_C, skin_C, parts)
    capped = number < legs.size and legs[min(number, legs.size - 1)].capped == 1
    look_in_place(pace, pacing.rule[0], pacing.cap_events, pace[p.NEXT_LOOK], heart, core_C, fast[n.DISTANCE], capped)
    pace[p.NEXT_LOOK] += p.LOOK_S
    after = motion(pacing)
    if second < pacing.looks.shape[0]:
        seen = pacing.looks[second]
        seen[p.LOOK_HEART], seen[p.LOOK_MODE], seen[p.LOOK_M] = heart, after, fast[n.DISTANCE]
        seen[p.LOOK_LEG], seen[p.LOOK_CORE] = pace[p.LEG_NUMBER], core_C
    return after != before


@compiled
def before_step(time_s, state, fast, seg, runner, piece, rows, active, n_rows, pacing, parts):
    """Look if a look is due, and set what the runner does from here on; return whether that changed."""
    core, skin = trunk_core(state, seg), mean_skin(state, rows, active, n_rows, seg, runner.surface_area_m2)
    changed = look_now(time_s, state, fast, seg, runner, rows, active, n_rows, pacing, core, skin, parts)
    set_now(pacing, piece)
    return changed


@compiled
def move_by_seconds(time_s, longest_s, state, fast, seg, runner, rows, active, n_rows, pacing, parts):
    """Move the fast states second by second, for ``longest_s`` or until the effort jumps.

    Returns
    -------
    tuple of float, float, int
        Seconds taken, mean metabolic power over them [W], and 1 where the effort jumps at their end, 2 where a leg ends
        there (the caller starts the next one).
    """
    pace, now = pacing.pace, pacing.now[0]
    core, skin = trunk_core(state, seg), mean_skin(state, rows, active, n_rows, seg, runner.surface_area_m2)
    taken, joules, jump = 0.0, 0.0, 0
    demand = power_demand(state, now, runner, rows, active, n_rows, time_s)
    while taken < longest_s - SAME_TIME_S:
        here = time_s + taken
        seconds = min(pace[p.NEXT_LOOK] - here, longest_s - taken, pace[p.LEG_END_S] - here)
        if now.speed_m_s > 0.0 and pace[p.MODE] != p.STOP:
            seconds = min(seconds, (pace[p.LEG_END_M] - fast[n.DISTANCE]) / now.speed_m_s)
        if longest_s - taken - seconds < SAME_TIME_S:
            seconds = longest_s - taken
        seconds = max(seconds, 0.0)
        if now.air_drag:  # the wind changes within the step, all else does not
            demand = power_demand(state, now, runner, rows, active, n_rows, here + 0.5 * seconds)
        joules += seconds * update_in_place(fast, demand, now, runner, seconds)
        taken += seconds
        if pace[p.MODE] != p.STOP and (
            fast[n.DISTANCE] >= pace[p.LEG_END_M] - SAME_PLACE_M or time_s + taken >= pace[p.LEG_END_S] - SAME_TIME_S
        ):
            jump = 2
            break
        if taken < longest_s - SAME_TIME_S and look_now(
            time_s + taken, state, fast, seg, runner, rows, active, n_rows, pacing, core, skin, parts
        ):
            jump = 1
            break
    mean_W = joules / taken if taken > 0.0 else fast[n.OXYGEN_FAST] + fast[n.OXYGEN_SLOW]
    return taken, mean_W, jump


@compiled
def is_over(pacing):
    """Return whether the run ends here: the last leg is done or the rule has stopped the runner, and it is asked to end."""
    done = not math.isnan(pacing.pace[p.DONE_S]) or pacing.pace[p.MODE] == p.STOP
    return pacing.rule[0].end_when_done == 1 and done
