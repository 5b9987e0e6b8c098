"""THE heat balance: fill ``heat[term, node]`` in watts, then dT/dt is the sum over terms divided by heat capacity.

A gain by the node is positive. The same numbers are what the Dataset stores, so the ledger shown is the balance
solved. Everything else in the state (water, device stores, time integrals) is filled beside it.
"""

from thermosim._jit import compiled
from thermosim.constants import LATENT_HEAT_SWEAT, LEWIS_RELATION, SPECIFIC_HEAT_WATER
from thermosim.engine import nodes as n
from thermosim.engine.device_rows import device_row
from thermosim.engine.records import BATHED, POURING, SURROUNDED, SWALLOWED, WORN
from thermosim.engine.water_rows import around_row, bath_row, poured_row, stomach_row
from thermosim.physics.air import saturation_pressure
from thermosim.physics.clothing import vapour_transfer_factor
from thermosim.physics.convection import natural_convection
from thermosim.physics.evaporation import evaporating_share
from thermosim.physics.exponential import exponential
from thermosim.physics.radiation import radiative_coefficient
from thermosim.physics.respiration import respiratory_dry_loss, respiratory_vapour_loss
from thermosim.physiology.skin_blood_flow import central_flow, local_flow_factor
from thermosim.physiology.sweating import film_wettedness, local_sweat_factor, thermal_drive


@compiled
def mean_skin(state, rows, active, n_rows, seg, surface_m2):
    """Area-weighted mean skin temperature [°C], skin under devices included."""
    total = 0.0
    for s in range(n.N_SEGMENTS):
        total += seg[n.FREE_AREA, s] * state[n.SKIN + s]
    for r in range(n_rows):
        if active[r] == WORN:
            total += rows[r].area_m2 * state[n.BASE + r * n.ROW_SIZE + n.PATCH_C]
    return total / surface_m2


@compiled
def trunk_core(state, seg):
    """Heat-capacity-weighted mean of the trunk's core nodes [°C]: what the package calls core temperature."""
    total = 0.0
    for s in range(n.N_SEGMENTS):
        total += seg[n.TRUNK_WEIGHT, s] * state[n.CORE + s]
    return total


@compiled
def dehydration_shift(state, runner):
    """How much fluid loss raises the thresholds of sweating and skin flow [K]; a surplus of fluid lowers none."""
    return runner.fluid_threshold_shift_K_pct * 100.0 * max(state[n.LOST], 0.0) / runner.mass_kg


@compiled
def left_by_loss(state, runner, fall_per_pct):
    """Share [1] that fluid loss leaves, falling by ``fall_per_pct`` for each per cent of body mass; a surplus adds none."""
    return min(max(1.0 - fall_per_pct * 100.0 * state[n.LOST] / runner.mass_kg, 0.0), 1.0)


@compiled
def skin_flow_drive(state, runner, skin_C):
    """Signal to skin flow and to the shunts [K]."""
    return thermal_drive(
        state[n.BLOOD],
        runner.skin_flow_set_core_C + dehydration_shift(state, runner),
        skin_C,
        runner.skin_signal_set_C,
        runner.skin_signal_floor_C,
        runner.skin_flow_skin_weight,
    )


@compiled
def control_skin_flow(state, step, runner, core_C, skin_C):
    """Whole-body skin blood flow [L/min] that the controller asks for, before local factors."""
    drive = skin_flow_drive(state, runner, skin_C)
    signal_C = max(skin_C, runner.skin_signal_floor_C)
    override = runner.constriction_override * max(core_C - runner.core_reference_C, 0.0)
    cold = runner.constriction_skin_C - signal_C - override
    return central_flow(
        runner.skin_flow_rest_L_min,
        runner.skin_flow_gain_L_min_K,
        drive,
        step.skin_flow_ceiling_L_min * left_by_loss(state, runner, runner.skin_flow_fall_per_pct_loss),
        cold,
        runner.constriction_gain_1_K,
    )


@compiled
def shunt_flow(state, runner, skin_C):
    """Blood flow through the shunts of hands and feet [L/min]: opened by warm blood, not closed by cold water.

    References
    ----------
    Hot people lose 31 to 124 W through hands in water of 30 to 10 °C (Livingstone 1989): cold skin alone does not
    close these vessels. The straight line from threshold to ceiling is ours.
    """
    drive = skin_flow_drive(state, runner, skin_C)
    return runner.shunt_flow_ceiling_L_min * min(max(drive / runner.shunt_flow_span_K, 0.0), 1.0)


@compiled
def control_sweat(state, runner, skin_C):
    """Sweat rate [kg/s] that the controller asks for, before local factors and the ceiling."""
    drive = thermal_drive(
        state[n.BLOOD],
        runner.sweat_set_core_C + dehydration_shift(state, runner),
        skin_C,
        runner.skin_signal_set_C,
        runner.skin_signal_floor_C,
        runner.sweat_skin_weight,
    )
    drive -= runner.sweat_gut_weight * max(state[n.BLOOD] - state[n.GUT], 0.0)  # cold in the stomach
    left = left_by_loss(state, runner, runner.sweat_fall_per_pct_loss)
    return runner.sweat_gain_L_h_K * max(drive, 0.0) * left / 3600.0


@compiled
def extra_resting_power(core_C, runner):
    """Resting metabolism that warmth adds or takes away [W] by the Q10 rule about 37 °C."""
    return runner.resting_W * (
        exponential(runner.tissue_q10_exponent_1_K * (core_C - runner.core_reference_C)) - 1.0
    )


@compiled
def shivering(core_C, skin_C, runner):
    """Metabolic power of shivering [W]: product of cold skin and cold core, up to a multiple of resting power.

    References
    ----------
    Product form and gain of the two-node model (ASHRAE Fundamentals, from memory).
    """
    cold = max(runner.skin_signal_set_C - skin_C, 0.0) * max(runner.shiver_core_C - core_C, 0.0)
    wanted = runner.shiver_gain_W_m2K2 * runner.surface_area_m2 * cold
    return min(wanted, runner.shiver_ceiling_rest * runner.resting_W)


@compiled
def skin_vapour_coefficient(h_c, pressure_factor, covered, resistance_m2kPa_W):
    """Evaporative coefficient [W/m²kPa] of a segment, part of it under cloth."""
    bare = LEWIS_RELATION * h_c * pressure_factor
    return bare * (1.0 - covered + covered * vapour_transfer_factor(bare, resistance_m2kPa_W))


@compiled
def balance(state, rate, heat, step, seg, runner, rows, active, n_rows):
    """Fill ``rate`` (time derivative of ``state``) and ``heat`` (terms by node) at one state.

    Parameters
    ----------
    state, rate : array (BASE + n_rows * ROW_SIZE,)
        State vector and its time derivative; see ``nodes.py`` for what sits where.
    heat : array (N_TERMS, N_COLUMNS)
        Heat terms [W]; a gain by the node is positive.
    step : StepScalars
        Air, radiant field, metabolic power and work of this step.
    seg : array (N_COEFFICIENTS, 12)
        Coefficients of this step by segment, from :func:`~thermosim.engine.prepare.prepare`.
    runner : RUNNER record
        The person.
    rows, active, n_rows : ROW array, array, int
        Boundary rows of devices and which of them are worn.
    """
    skin_C = mean_skin(state, rows, active, n_rows, seg, runner.surface_area_m2)
    core_C = trunk_core(state, seg)
    blood_C = state[n.BLOOD]

    # Control.
    flow_W_K = (
        control_skin_flow(state, step, runner, core_C, skin_C) * runner.heat_capacity_of_blood_J_L / 60.0
    )
    shunt_W_K = shunt_flow(state, runner, skin_C) * runner.heat_capacity_of_blood_J_L / 60.0
    sweat_kg_s = control_sweat(state, runner, skin_C)
    local = rate  # the local sweat factors are kept in rate[FILM + s] until the film is filled
    total = 0.0
    for s in range(n.N_SEGMENTS):
        local[n.FILM + s] = seg[n.SWEAT_SHARE, s] * local_sweat_factor(
            state[n.SKIN + s], runner.sweat_local_reference_C, runner.sweat_local_slope_K
        )
        total += local[n.FILM + s] * seg[n.FREE_SHARE, s]
    for r in range(n_rows):
        if active[r] == WORN:
            base = n.BASE + r * n.ROW_SIZE
            s = rows[r].segment
            total += (
                seg[n.SWEAT_SHARE, s]
                * rows[r].area_m2
                * seg[n.INVERSE_AREA, s]
                * local_sweat_factor(
                    state[base + n.PATCH_C], runner.sweat_local_reference_C, runner.sweat_local_slope_K
                )
            )
    ceiling = runner.maximum_sweat_rate_L_h / 3600.0
    if sweat_kg_s * total > ceiling:
        sweat_kg_s = ceiling / total

    # Metabolism and breathing.
    warmed_W = extra_resting_power(core_C, runner)
    shiver_W = shivering(core_C, skin_C, runner)
    metabolic_W = step.metabolic_W + warmed_W + shiver_W
    resting_W = runner.resting_W + warmed_W
    breath_vapour_W = respiratory_vapour_loss(metabolic_W, step.vapour_kPa)
    breath_dry_W = respiratory_dry_loss(metabolic_W, step.air_C)
    heat[n.BREATH_VAPOUR, n.BLOOD] = -breath_vapour_W  # the lungs see the whole cardiac output
    heat[n.BREATH_DRY, n.BLOOD] = -breath_dry_W

    # Tissue: metabolism, conduction between layers, blood. Local factors of skin flow wait in rate[SKIN + s].
    to_blood = 0.0
    for s in range(n.N_SEGMENTS):
        rate[n.SKIN + s] = local_flow_factor(
            state[n.SKIN + s], runner.local_flow_cold_C, runner.local_flow_warm_C, runner.local_flow_floor
        )
    for s in range(n.N_SEGMENTS):
        core, muscle, fat, skin = state[n.CORE + s], state[n.MUSCLE + s], state[n.FAT + s], state[n.SKIN + s]
        heat[n.METABOLIC, n.CORE + s] = seg[n.REST_CORE, s] * resting_W
        heat[n.METABOLIC, n.MUSCLE + s] = (
            seg[n.REST_MUSCLE, s] * resting_W
            + seg[n.WORK_SHARE, s] * step.exercise_W
            + seg[n.REST_MUSCLE, s] * runner.inverse_rest_muscle * shiver_W
        )
        heat[n.METABOLIC, n.SKIN + s] = seg[n.REST_SKIN, s] * seg[n.FREE_SHARE, s] * resting_W
        heat[n.WORK, n.MUSCLE + s] = -seg[n.WORK_SHARE, s] * step.work_W
        outward_1 = seg[n.G_CORE_MUSCLE, s] * (core - muscle)
        outward_2 = seg[n.G_MUSCLE_FAT, s] * (muscle - fat)
        outward_3 = seg[n.G_FAT_SKIN, s] * seg[n.FREE_SHARE, s] * (fat - skin)
        heat[n.CONDUCTION, n.CORE + s] = -outward_1
        heat[n.CONDUCTION, n.MUSCLE + s] = outward_1 - outward_2
        heat[n.CONDUCTION, n.FAT + s] = outward_2 - outward_3
        heat[n.CONDUCTION, n.SKIN + s] = outward_3
        by_core = seg[n.B_CORE, s] * (blood_C - core)
        by_muscle = seg[n.B_MUSCLE, s] * (blood_C - muscle)
        by_fat = seg[n.B_FAT, s] * (blood_C - fat)
        open_W_K = flow_W_K * seg[n.SKIN_SHARE, s] * rate[n.SKIN + s] + shunt_W_K * runner.shunt_share[s]
        by_skin = open_W_K * seg[n.FREE_SHARE, s] * (blood_C - skin)
        heat[n.BLOOD_FLOW, n.CORE + s] = by_core
        heat[n.BLOOD_FLOW, n.MUSCLE + s] = by_muscle
        heat[n.BLOOD_FLOW, n.FAT + s] = by_fat
        heat[n.BLOOD_FLOW, n.SKIN + s] = by_skin
        to_blood -= by_core + by_muscle + by_fat + by_skin
    by_gut = runner.gut_flow_L_min * runner.heat_capacity_of_blood_J_L / 60.0 * (blood_C - state[n.GUT])
    into_gut = runner.gut_conductance_W_K * (state[n.CORE + n.ABDOMEN] - state[n.GUT])
    heat[n.DEVICES, n.GUT] = 0.0
    heat[n.DEVICES, n.BLOOD] = 0.0
    heat[n.BLOOD_FLOW, n.GUT] = by_gut
    heat[n.CONDUCTION, n.GUT] = into_gut
    heat[n.CONDUCTION, n.CORE + n.ABDOMEN] -= into_gut
    to_blood -= by_gut

    # Skin to air.
    # Saturation pressure and coefficient of each segment's skin wait in rate[SKIN + s] and rate[FAT + s].
    for s in range(n.N_SEGMENTS):
        rate[n.SKIN + s] = saturation_pressure(state[n.SKIN + s])
        rate[n.FAT + s] = seg[n.H_FORCED, s]
    if step.calm:
        for s in range(n.N_SEGMENTS):
            rate[n.FAT + s] = max(rate[n.FAT + s], natural_convection(state[n.SKIN + s] - step.air_C))
    convection_W, long_wave_W, full_sun_W, evaporation_W = 0.0, 0.0, 0.0, 0.0
    sweat, diffused, evaporated, dripped, condensed = 0.0, 0.0, 0.0, 0.0, 0.0
    for s in range(n.N_SEGMENTS):
        skin, area, film = state[n.SKIN + s], seg[n.FREE_AREA, s] * seg[n.AIR_SHARE, s], state[n.FILM + s]
        h_c = rate[n.FAT + s]
        dry = area * seg[n.DRY_SHARE, s]
        convection = dry * h_c * (step.air_C - skin)
        h_r = radiative_coefficient(
            skin, step.radiant_C, runner.skin_emissivity, runner.radiating_area_fraction
        )
        long_wave = dry * h_r * (step.radiant_C - skin)
        full_sun = seg[n.SUN, s] * seg[n.FREE_SHARE, s]
        h_e = skin_vapour_coefficient(
            h_c, step.pressure_factor, runner.covered_share[s], seg[n.VAPOUR_RESISTANCE, s]
        )
        flux = h_e * area * (rate[n.SKIN + s] - step.vapour_kPa)  # [W] if the skin were wet all over
        secreted = sweat_kg_s * local[n.FILM + s] * seg[n.FREE_SHARE, s]
        through, off, dew = 0.0, 0.0, 0.0
        wet = film_wettedness(film * seg[n.FILM_SCALE, s], runner.wettedness_limit)
        if flux > 0.0:
            through = flux * runner.skin_diffusion_wettedness * (1.0 - wet) / LATENT_HEAT_SWEAT
            off = flux * wet / LATENT_HEAT_SWEAT
        else:
            dew = -flux / LATENT_HEAT_SWEAT
        kept = evaporating_share(wet, runner.dripping_onset_wettedness, runner.evaporating_share_when_wet)
        run_off = (1.0 - kept) * secreted + max(
            film - runner.film_hold_kg_m2[s] * area, 0.0
        ) / runner.film_overflow_s
        evaporation = (dew - through - off) * LATENT_HEAT_SWEAT
        heat[n.CONVECTION, n.SKIN + s] = convection
        heat[n.LONG_WAVE, n.SKIN + s] = long_wave
        heat[n.SOLAR, n.SKIN + s] = full_sun * step.sun_left
        heat[n.EVAPORATION, n.SKIN + s] = evaporation
        heat[n.DEVICES, n.SKIN + s] = 0.0
        rate[n.FILM + s] = secreted - off - run_off + dew
        convection_W += convection
        long_wave_W += long_wave
        full_sun_W += full_sun
        evaporation_W += evaporation
        sweat += secreted
        diffused += through
        evaporated += off
        dripped += run_off
        condensed += dew

    # Device rows.
    devices_W, received, wicked, drunk, more_breath_W, open_sun_W = 0.0, 0.0, 0.0, 0.0, 0.0, full_sun_W
    for r in range(n_rows):
        base = n.BASE + r * n.ROW_SIZE
        for k in range(n.ROW_SIZE):
            rate[base + k] = 0.0
        if active[r] == WORN:
            blood_W, device_W, secreted, taken_up, off, landed = device_row(
                r, rows[r], state, rate, heat, step, seg, runner, flow_W_K, shunt_W_K, sweat_kg_s, resting_W
            )
            to_blood += blood_W
            devices_W += device_W
            sweat += secreted
            wicked += taken_up
            dripped += off
            received += landed
        elif active[r] == SWALLOWED:
            device_W, taken_up = stomach_row(r, rows[r], state, rate, heat, runner)
            devices_W += device_W
            drunk += taken_up
        elif active[r] == POURING:
            device_W, landed = poured_row(r, rows[r], state, rate, heat)
            devices_W += device_W
            received += landed
        elif active[r] == BATHED:
            devices_W += bath_row(r, rows[r], state, rate, heat, seg)
        elif active[r] == SURROUNDED:
            device_W, vapour_W, shaded_W, landed = around_row(
                r, rows[r], state, rate, heat, step, seg, runner, metabolic_W, open_sun_W
            )
            received += landed
            devices_W += device_W
            more_breath_W += vapour_W
            open_sun_W -= shaded_W
    heat[n.BLOOD_FLOW, n.BLOOD] = to_blood

    # Sum of terms over heat capacity.
    lost = state[n.LOST]
    for node in range(n.N_NODES):
        total = 0.0
        for term in range(n.N_TERMS):
            total += heat[term, node]
        rate[node] = total
    for s in range(n.N_SEGMENTS):
        rate[n.SKIN + s] /= runner.capacity_J_K[n.SKIN + s] * seg[n.FREE_SHARE, s]
    joules_water = 0.0
    breathed = (breath_vapour_W + more_breath_W) / LATENT_HEAT_SWEAT
    lost_rate = sweat + diffused + breathed - drunk
    for node in range(n.N_NODES):
        if node < n.SKIN or node >= n.BLOOD:
            share = SPECIFIC_HEAT_WATER * runner.water_share[node]
            rate[node] /= runner.capacity_J_K[node] - share * lost
            joules_water += share * lost_rate * state[node]
    for r in range(n_rows):
        if active[r] == WORN:
            column, base = n.N_NODES + r, n.BASE + r * n.ROW_SIZE
            s = rows[r].segment
            total = (
                heat[n.METABOLIC, column]
                + heat[n.CONDUCTION, column]
                + heat[n.BLOOD_FLOW, column]
                + heat[n.DEVICES, column]
            )
            rate[base + n.PATCH_C] = total / (
                runner.capacity_J_K[n.SKIN + s] * rows[r].area_m2 * seg[n.INVERSE_AREA, s]
            )
    if runner.tied_groups > 0:
        tie_nodes(state, rate, runner, seg, lost)

    # Readings and books.
    rate[n.RECTAL] = (core_C - state[n.RECTAL]) / runner.rectal_lag_s
    rate[n.LOST] = lost_rate
    rate[n.JOULES + n.METABOLIC] = metabolic_W
    rate[n.JOULES + n.WORK] = -step.work_W
    rate[n.JOULES + n.CONVECTION] = convection_W
    rate[n.JOULES + n.LONG_WAVE] = long_wave_W
    rate[n.JOULES + n.SOLAR] = full_sun_W * step.sun_left
    rate[n.JOULES + n.BREATH_VAPOUR] = -breath_vapour_W
    rate[n.JOULES + n.BREATH_DRY] = -breath_dry_W
    rate[n.JOULES + n.EVAPORATION] = evaporation_W
    rate[n.JOULES + n.DEVICES] = devices_W
    rate[n.JOULES_WATER] = joules_water
    rate[n.SWEAT] = sweat
    rate[n.DIFFUSED] = diffused
    rate[n.EVAPORATED] = evaporated
    rate[n.DRIPPED] = dripped
    rate[n.BREATHED] = breathed
    rate[n.CONDENSED] = condensed
    rate[n.RECEIVED] = received
    rate[n.WICKED] = wicked


@compiled
def tie_nodes(state, rate, runner, seg, lost):
    """Give all nodes of a group one common rate: the few-node teaching body, same heat terms, same books.

    ``node_group`` says which group a node belongs to; the group's rate is its total heat over its total capacity.
    """
    for group in range(runner.tied_groups):
        power, capacity = 0.0, 0.0
        for node in range(n.N_NODES):
            if runner.node_group[node] == group:
                c = node_capacity(node, runner, seg, lost)
                power += rate[node] * c
                capacity += c
        for node in range(n.N_NODES):
            if runner.node_group[node] == group:
                rate[node] = power / capacity


@compiled
def node_capacity(node, runner, seg, lost):
    """Heat capacity of a node now [J/K]: less the water it has given up, less the skin under devices."""
    if n.SKIN <= node < n.BLOOD:
        return runner.capacity_J_K[node] * seg[n.FREE_SHARE, node - n.SKIN]
    return runner.capacity_J_K[node] - SPECIFIC_HEAT_WATER * runner.water_share[node] * lost
