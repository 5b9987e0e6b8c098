"""Before a step: air and effort now, closed-form updates of what changes by the second, coefficients by segment."""

import math

from thermosim._jit import compiled
from thermosim.engine import nodes as n
from thermosim.engine.records import BATHED, CYCLING, RESTING, SURROUNDED, SWALLOWED, WORN, StepScalars
from thermosim.physics.air import saturation_pressure
from thermosim.physics.clothing import dry_transfer_factor, motion_factor
from thermosim.physics.convection import convective_coefficient, natural_convection, relative_air_speed
from thermosim.physics.radiation import radiative_coefficient
from thermosim.physiology import energetics
from thermosim.physiology.circulation import thermal_parts, work_part
from thermosim.physiology.skin_blood_flow import flow_ceiling
from thermosim.physiology.sweating import film_wettedness, limit_of_evaporation

HALVINGS = 60  # to find where air is saturated, down to the last digit
LARGEST_DIFFERENCE_K = 60.0  # between skin and air; above it natural convection is not looked for


@compiled
def line(piece_start, piece_end, value_0, value_1, time_s):
    """Value at a time of a straight line over a piece."""
    return value_0 + (value_1 - value_0) * (time_s - piece_start) / (piece_end - piece_start)


@compiled
def carried_mass(state, piece, rows, active, n_rows):
    """Mass carried now [kg]: what the effort says, plus worn devices with their water."""
    total = piece.carried_kg
    for r in range(n_rows):
        if active[r] == WORN or active[r] == SWALLOWED:
            base = n.BASE + r * n.ROW_SIZE
            total += rows[r].dry_mass_kg + state[base + n.STORE_KG] + state[base + n.OUTER_KG]
        elif active[r] == SURROUNDED:
            total += rows[r].dry_mass_kg
    return total


@compiled
def surroundings(rows, active, n_rows):
    """Return what fans, mist and canopies make of the air: least air speed [m/s], change of air temperature [K] and of
    vapour pressure [kPa], share of the sun that is left [1]."""
    fan_m_s, change_K, change_kPa, sun_left = 0.0, 0.0, 0.0, 1.0
    for r in range(n_rows):
        if active[r] == SURROUNDED:
            fan_m_s = max(fan_m_s, rows[r].air_speed_m_s)
            change_K += rows[r].air_change_K
            change_kPa += rows[r].vapour_change_kPa
            sun_left *= 1.0 - rows[r].shade_share
    return fan_m_s, change_K, change_kPa, sun_left


@compiled
def share_that_evaporates(air_C, vapour_kPa, change_K, change_kPa):
    """Return the share of a mist's cooling that air can take: all of it, or as much as brings the air to its wet bulb.

    Evaporating water cools air and adds vapour along one line; beyond saturation nothing evaporates any more.
    """
    if change_K >= 0.0 or change_kPa <= 0.0 or vapour_kPa + change_kPa <= saturation_pressure(air_C + change_K):
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if vapour_kPa + middle * change_kPa <= saturation_pressure(air_C + middle * change_K):
            low = middle
        else:
            high = middle
    return low


@compiled
def relative_air(piece, runner, fan_m_s, time_s):
    """Air speed over the runner from translation and wind [m/s]; on a treadmill only the fan's; at least ``fan_m_s``."""
    return max(air_of_piece(piece, runner, time_s), runner.air_speed_factor * fan_m_s)


@compiled
def air_of_piece(piece, runner, time_s):
    """Air speed [m/s] as the effort and the weather make it."""
    wind = runner.air_speed_factor * line(
        piece.start_s, piece.end_s, piece.wind_m_s_0, piece.wind_m_s_1, time_s
    )
    if piece.ground_air == 0.0:
        return runner.air_speed_factor * piece.fan_m_s
    return relative_air_speed(piece.speed_m_s, wind * piece.wind_along, wind * piece.wind_across)


@compiled
def power_demand(state, piece, runner, rows, active, n_rows, time_s):
    """Metabolic power that the effort asks for [W], rest included."""
    if piece.power_W >= 0.0:
        return piece.power_W
    if piece.activity == RESTING:
        return runner.resting_W + piece.seated * runner.seated_W
    gait = energetics.gait_of(piece.speed_m_s, piece.gait, runner.walk_run_switch_m_s)
    still_W = runner.resting_W + energetics.upright_power(gait, piece.cost_relation, runner.standing_W)
    if gait == energetics.STAND:
        return still_W
    mass = runner.mass_kg - state[n.LOST]
    power = energetics.moving_power(
        mass,
        carried_mass(state, piece, rows, active, n_rows),
        gait,
        piece.cost_relation,
        piece.speed_m_s,
        piece.grade,
        runner.economy,
        piece.surface,
        runner.oxygen_J_L,
    )
    if piece.air_drag and piece.ground_air > 0.0:
        wind = runner.air_speed_factor * line(
            piece.start_s, piece.end_s, piece.wind_m_s_0, piece.wind_m_s_1, time_s
        )
        power += energetics.drag_power(
            piece.speed_m_s,
            piece.speed_m_s + wind * piece.wind_along,
            runner.surface_area_m2,
            runner.oxygen_J_L,
        )
    return still_W + power


@compiled
def work_rate(state, piece, runner, rows, active, n_rows):
    """External work now [W]: against gravity, or as given with the power."""
    if piece.power_W >= 0.0:
        return piece.given_work_W
    mass = runner.mass_kg - state[n.LOST]
    return energetics.external_work(
        mass, carried_mass(state, piece, rows, active, n_rows), piece.speed_m_s, piece.grade
    )


@compiled
def slow_target(demand_W, runner):
    """Where the slow component of oxygen uptake is heading [W]."""
    return runner.slow_component_gain * max(
        demand_W - runner.slow_component_threshold * runner.maximal_W, 0.0
    )


@compiled
def heart_target(demand_W, slow_W, runner, upright):
    """Where the work part of heart rate is heading [bpm above rest]; posture is its floor."""
    wanted = work_part(
        demand_W + slow_W, runner.resting_W, runner.maximal_W, runner.heart_rest_bpm, runner.heart_maximum_bpm
    )
    return max(wanted, upright * runner.heart_rest_upright_bpm)


@compiled
def update_fast(fast, demand_W, piece, runner, seconds):
    """Move the fast states over a step, in closed form; return the mean metabolic power over it [W]."""
    slow = slow_target(demand_W, runner)
    mean = energetics.mean_of_approach(fast[n.OXYGEN_FAST], demand_W, seconds, runner.oxygen_time_constant_s)
    mean += energetics.mean_of_approach(
        fast[n.OXYGEN_SLOW], slow, seconds, runner.slow_component_time_constant_s
    )
    slow_before = fast[n.OXYGEN_SLOW]
    fast[n.OXYGEN_FAST] = energetics.approach(
        fast[n.OXYGEN_FAST], demand_W, seconds, runner.oxygen_time_constant_s
    )
    fast[n.OXYGEN_SLOW] = energetics.approach(
        slow_before, slow, seconds, runner.slow_component_time_constant_s
    )
    target = heart_target(demand_W, 0.5 * (slow_before + fast[n.OXYGEN_SLOW]), runner, piece.upright)
    constant = runner.heart_on_s if target > fast[n.HEART_WORK] else runner.heart_off_s
    fast[n.HEART_WORK] = energetics.approach(fast[n.HEART_WORK], target, seconds, constant)
    fast[n.DISTANCE] += piece.speed_m_s * seconds
    if piece.speed_m_s > 0.0 or piece.power_W >= 0.0:
        fast[n.RUNNING_S] += seconds
    return mean


@compiled
def fast_rate(fast, demand_W, piece, runner, rate):
    """Time derivative of the fast states: the same laws as :func:`update_fast`, for a general-purpose solver."""
    rate[n.OXYGEN_FAST] = (demand_W - fast[n.OXYGEN_FAST]) / runner.oxygen_time_constant_s
    rate[n.OXYGEN_SLOW] = (
        slow_target(demand_W, runner) - fast[n.OXYGEN_SLOW]
    ) / runner.slow_component_time_constant_s
    target = heart_target(demand_W, fast[n.OXYGEN_SLOW], runner, piece.upright)
    constant = runner.heart_on_s if target > fast[n.HEART_WORK] else runner.heart_off_s
    rate[n.HEART_WORK] = (target - fast[n.HEART_WORK]) / constant
    rate[n.DISTANCE] = piece.speed_m_s
    rate[n.RUNNING_S] = 1.0 if piece.speed_m_s > 0.0 or piece.power_W >= 0.0 else 0.0


@compiled
def prepare_body(seg, runner, rows, active, n_rows):
    """Fill the coefficients that change only when a device is put on or taken off."""
    for s in range(n.N_SEGMENTS):
        covered, bathed = 0.0, 0.0
        for r in range(n_rows):
            if active[r] == WORN and rows[r].segment == s:
                covered += rows[r].area_m2
            elif active[r] == BATHED and rows[r].segment == s:
                bathed += rows[r].segment_share
        seg[n.FREE_AREA, s] = runner.area_m2[s] - covered
        seg[n.FREE_SHARE, s] = 1.0 - covered / runner.area_m2[s]
        seg[n.AIR_SHARE, s] = max(1.0 - bathed, 0.0)
        seg[n.INVERSE_AREA, s] = 1.0 / runner.area_m2[s]
        seg[n.FILM_SCALE, s] = 1.0 / (runner.film_full_kg_m2 * seg[n.FREE_AREA, s])
        seg[n.G_CORE_MUSCLE, s] = runner.conductance_core_muscle[s]
        seg[n.G_MUSCLE_FAT, s] = runner.conductance_muscle_fat[s]
        seg[n.G_FAT_SKIN, s] = runner.conductance_fat_skin[s]
        seg[n.SKIN_SHARE, s] = runner.skin_flow_share[s] * runner.countercurrent[s]
        seg[n.SWEAT_SHARE, s] = runner.sweat_share[s]
        seg[n.REST_CORE, s] = runner.rest_core[s]
        seg[n.REST_MUSCLE, s] = runner.rest_muscle[s]
        seg[n.REST_SKIN, s] = runner.rest_skin[s]
        seg[n.TRUNK_WEIGHT, s] = runner.trunk_weight[s]
        seg[n.B_FAT, s] = runner.fat_flow_L_min[s] * runner.heat_capacity_of_blood_J_L / 60.0


@compiled
def prepare(seg, runner, piece, time_s, metabolic_W, work_W, rows, active, n_rows):
    """Fill the coefficients of a step by segment; return its scalars.

    Air is taken at ``time_s`` (the middle of a step), with what fans, mist and canopies change; metabolic power is the
    mean over the step.
    """
    fan_m_s, change_K, change_kPa, sun_left = surroundings(rows, active, n_rows)
    air_C = line(piece.start_s, piece.end_s, piece.air_C_0, piece.air_C_1, time_s) + runner.air_temperature_shift_K
    vapour = (
        line(piece.start_s, piece.end_s, piece.vapour_kPa_0, piece.vapour_kPa_1, time_s) * runner.vapour_pressure_factor
    )
    share = share_that_evaporates(air_C, vapour, change_K, change_kPa)
    air_C, vapour = air_C + share * change_K, vapour + share * change_kPa
    vapour = min(max(vapour, 0.0), saturation_pressure(air_C))
    solar = (
        line(piece.start_s, piece.end_s, piece.solar_W_m2_0, piece.solar_W_m2_1, time_s) * runner.solar_factor
    )
    radiant = (
        line(piece.start_s, piece.end_s, piece.radiant_C_0, piece.radiant_C_1, time_s)
        + runner.air_temperature_shift_K
    )
    air_speed = relative_air(piece, runner, fan_m_s, time_s)
    whole = convective_coefficient(air_speed, piece.swing_m_s, piece.pressure_kPa)
    swinging = whole > convective_coefficient(air_speed, 0.0, piece.pressure_kPa)
    # Kit resistances stand for running speed; what moves the cloth is the faster of own motion and wind.
    motion = motion_factor(
        max(piece.swing_m_s, air_speed), runner.clothing_static_ratio, runner.clothing_reference_speed_m_s
    )
    insulation = runner.clothing_resistance_m2K_W * motion
    vapour_resistance = runner.clothing_vapour_m2kPa_W * motion
    h_r = radiative_coefficient(
        runner.skin_signal_set_C, radiant, runner.skin_emissivity, runner.radiating_area_fraction
    )
    absorbed = runner.solar_absorptance * runner.solar_interception * solar
    intensity = (metabolic_W - runner.resting_W) / (runner.maximal_W - runner.resting_W)
    intensity = min(max(intensity, 0.0), 1.0)
    exercise_W = max(metabolic_W - runner.resting_W, 0.0)
    blood = runner.heat_capacity_of_blood_J_L / 60.0
    aerobic_W = min(exercise_W, runner.maximal_W - runner.resting_W)  # cardiac output has its own ceiling
    extra_flow = runner.muscle_flow_gain_L_per_L_oxygen * aerobic_W / runner.oxygen_J_L * 60.0
    for s in range(n.N_SEGMENTS):
        weight = runner.swing_weight[s] if swinging else runner.convection_weight[s]
        seg[n.H_FORCED, s] = whole * weight
        left = dry_transfer_factor(seg[n.H_FORCED, s] + h_r, insulation)
        covered = runner.covered_share[s]
        seg[n.DRY_SHARE, s] = 1.0 - covered + covered * left
        seg[n.VAPOUR_RESISTANCE, s] = vapour_resistance
        seg[n.SUN, s] = absorbed * runner.area_m2[s] * seg[n.DRY_SHARE, s] * seg[n.AIR_SHARE, s]
        seg[n.WORK_SHARE, s] = runner.cycling_share[s] if piece.activity == CYCLING else runner.work_share[s]
        fall = 1.0 - runner.viscera_share[s] * runner.viscera_flow_fall * intensity
        seg[n.B_CORE, s] = runner.core_flow_L_min[s] * fall * runner.countercurrent[s] * blood
        muscle = (
            runner.muscle_flow_rest_L_min * runner.muscle_flow_share[s] + extra_flow * seg[n.WORK_SHARE, s]
        )
        seg[n.B_MUSCLE, s] = muscle * runner.countercurrent[s] * blood
    calm = False
    for s in range(n.N_SEGMENTS):
        calm = calm or seg[n.H_FORCED, s] < natural_convection(LARGEST_DIFFERENCE_K)
    ceiling = flow_ceiling(
        runner.skin_flow_ceiling_rest_L_min,
        runner.skin_flow_ceiling_exercise_L_min,
        intensity,
        runner.skin_flow_ceiling_intensity,
    )
    return StepScalars(
        air_C,
        vapour,
        radiant,
        solar * sun_left,
        sun_left,
        101.325 / piece.pressure_kPa,
        metabolic_W,
        work_W,
        metabolic_W - runner.resting_W,
        ceiling,
        calm,
    )


@compiled
def heart_rate(state, fast, runner, core_C, skin_C, parts):
    """Fill the seven parts of heart rate [bpm]: rest, work, core, skin, fluid, drift, bound; return their sum.

    Fluid is what lost water adds, less what plasma gained in heat days spares: a share of the work part. The last part is what
    the maximum takes off, or what resting heart rate adds back in the cold.
    """
    parts[0] = runner.heart_rest_bpm
    parts[1] = fast[n.HEART_WORK]
    parts[2], parts[3] = thermal_parts(
        core_C,
        runner.core_reference_C,
        runner.heart_core_bpm_K,
        skin_C,
        runner.heart_skin_floor_C,
        runner.heart_skin_reference_C,
        runner.heart_skin_bpm_K,
    )
    parts[4] = runner.heart_fluid_bpm_pct * 100.0 * max(state[n.LOST], 0.0) / runner.mass_kg
    parts[4] -= runner.heart_plasma_share * fast[n.HEART_WORK]
    parts[5] = runner.heart_drift_bpm_h * fast[n.RUNNING_S] / 3600.0
    total = parts[0] + parts[1] + parts[2] + parts[3] + parts[4] + parts[5]
    parts[6] = min(max(total, runner.heart_rest_bpm), runner.heart_maximum_bpm) - total
    return total + parts[6]


@compiled
def evaporation_books(state, rate, heat, seg, runner):
    """Return required evaporation [W], capacity at full wettedness [W], mean wettedness [1], and what limits.

    Called right after ``balance``: the capacity of a segment is its evaporation over its wettedness.
    """
    required = 0.0
    for term in range(n.N_BOUNDARY_TERMS):
        if term != n.EVAPORATION:
            required += rate[n.JOULES + term]
    capacity, dry = 0.0, runner.skin_diffusion_wettedness
    for s in range(n.N_SEGMENTS):
        wet = film_wettedness(state[n.FILM + s] * seg[n.FILM_SCALE, s], runner.wettedness_limit)
        evaporation = -heat[n.EVAPORATION, n.SKIN + s]
        # dew settles on the whole skin, so there the capacity is what condenses
        capacity += evaporation / (dry * (1.0 - wet) + wet) if evaporation > 0.0 else evaporation
    wettedness = math.nan
    if capacity > 0.0:
        wettedness = min(max(-rate[n.JOULES + n.EVAPORATION] / capacity, 0.0), 1.0)
    return required, capacity, wettedness, what_limits(required, capacity, wettedness, rate, runner)


@compiled
def what_limits(required, capacity, wettedness, rate, runner):
    """Say what keeps evaporation short of what a steady core needs: nothing, the air, or the sweat rate.

    The skin counts as wet from the onset of dripping on (or where no wettedness can be told); sweat is short when it
    is at its ceiling and evaporation does not reach what is required.
    """
    at_ceiling = rate[n.SWEAT] >= 0.999 * runner.maximum_sweat_rate_L_h / 3600.0
    return limit_of_evaporation(
        required,
        capacity,
        runner.wettedness_limit,
        runner.dripping_onset_wettedness,
        not wettedness < runner.dripping_onset_wettedness,
        at_ceiling and required > -1.02 * rate[n.JOULES + n.EVAPORATION],
    )
