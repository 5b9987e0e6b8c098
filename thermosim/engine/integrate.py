"""One run from start to end: pieces, events, steps that never cross a declared jump, saves, summaries."""

import math

from thermosim._jit import compiled
from thermosim.engine import nodes as n
from thermosim.engine.balance import (
    balance,
    control_skin_flow,
    mean_skin,
    node_capacity,
    shunt_flow,
    trunk_core,
)
from thermosim.engine.methods import advance
from thermosim.engine.paced import SAME_TIME_S, before_step, is_over, move_by_seconds, start_leg
from thermosim.engine.pacing import ENDED_S, LEG_NUMBER, SAVED, begin
from thermosim.engine.prepare import (
    evaporation_books,
    heart_rate,
    power_demand,
    prepare,
    prepare_body,
    relative_air,
    surroundings,
    update_fast,
    work_rate,
)
from thermosim.engine.records import AROUND, BATH, IN_STOMACH, POURED, PUT_ON, REFILL, TAKE_OFF, WORN
from thermosim.engine.water_rows import share_drunk
from thermosim.physics.water_ice import frozen_mass
from thermosim.physiology.energetics import gait_of
from thermosim.physiology.skin_blood_flow import local_flow_factor

# Diagnostics saved beside the state: (skin flow etc. are recomputed by the Dataset from rates where they are rates).
(
    D_CORE,
    D_SKIN,
    D_HEART,
    D_REST,
    D_WORK,
    D_HEART_CORE,
    D_HEART_SKIN,
    D_FLUID,
    D_DRIFT,
    D_CEILING,
    D_REQUIRED,
    D_CAPACITY,
    D_WETTEDNESS,
    D_LIMIT,
    D_SKIN_FLOW,
    D_AIR_SPEED,
    D_AIR,
    D_VAPOUR,
    D_SUN_OUTSIDE,
    D_SPEED,
    D_GRADE,
    D_MODE,
    D_OXYGEN_W,
) = range(23)
N_DIAGNOSTICS = 23

# Summaries of a run, computed in the loop.
(
    S_CORE_END,
    S_CORE_PEAK,
    S_SKIN_END,
    S_HEART_END,
    S_SWEAT,
    S_LOST,
    S_DISTANCE,
    S_LIMIT_S,
    S_CLOSURE,
    S_WATER,
    S_THROUGHPUT,
    S_CORE_RATE_AT_LIMIT,
) = range(12)
N_SUMMARIES = 12

COLDEST_BLOOD_C, HOTTEST_BLOOD_C = 20.0, 47.0  # a run that leaves this is stopped
STEP_GROWTH = 0.25  # growth of the step per second since a jump

SITE_CORE, SITE_RECTAL, SITE_OESOPHAGEAL, SITE_GUT = range(4)


@compiled
def is_jump(before, after):
    """Return True where the effort jumps between two pieces (weather only bends)."""
    return (
        before.speed_m_s != after.speed_m_s
        or before.grade != after.grade
        or before.wind_along != after.wind_along
        or before.power_W != after.power_W
        or before.activity != after.activity
        or before.fan_m_s != after.fan_m_s
        or before.ground_air != after.ground_air
    )


@compiled
def limit_site_temperature(state, seg, site):
    """Temperature that the limit acts on [°C]."""
    if site == SITE_RECTAL:
        return state[n.RECTAL]
    if site == SITE_OESOPHAGEAL:
        return state[n.BLOOD]
    if site == SITE_GUT:
        return state[n.GUT]
    return trunk_core(state, seg)


@compiled
def charge_enthalpy(row):
    """Heat content of a fresh charge and its dry parts [J], zero when just melted; part of it may be ice."""
    if row.charge_C <= row.melt_low_C:
        ice_kg = row.ice_share * row.charge_kg
        sensible = ice_kg * row.solid_J_kgK + (row.charge_kg - ice_kg) * row.liquid_J_kgK + row.dry_J_K
        return -ice_kg * row.latent_J_kg + sensible * (row.charge_C - row.melt_low_C)
    return (row.charge_kg * row.liquid_J_kgK + row.dry_J_K) * (row.charge_C - row.melt_high_C)


@compiled
def add_charge(state, row, base, share):
    """Add a portion, or a share of one, to what a row holds (a drink, water to pour); book what it brings."""
    melt_C = row.melt_low_C if row.charge_C <= row.melt_low_C else row.melt_high_C
    dry_J = row.dry_J_K * (row.charge_C - melt_C)
    enthalpy = share * (charge_enthalpy(row) - dry_J)
    if not state[base + n.ROW_CHARGED_KG] > 0.0:  # else its dry parts are there already
        enthalpy += dry_J
    state[base + n.ROW_CHARGED_J] += enthalpy
    state[base + n.ROW_CHARGED_KG] += share * row.charge_kg
    state[base + n.STORE_J] += enthalpy
    state[base + n.STORE_KG] += share * row.charge_kg


@compiled
def fill_charge(state, row, base):
    """Put a fresh charge in a store; book what it brings. Water still held is poured out, booked with the drips."""
    enthalpy = charge_enthalpy(row)
    state[base + n.ROW_CHARGED_J] += enthalpy - state[base + n.STORE_J]
    state[base + n.ROW_CHARGED_KG] += row.charge_kg
    state[base + n.ROW_DRIPPED] += state[base + n.STORE_KG]
    state[base + n.STORE_J] = enthalpy
    state[base + n.STORE_KG] = row.charge_kg


@compiled
def renew_spent(state, rows, active, n_rows):
    """Fill stores whose charge is spent from the spares at hand; return whether any was filled."""
    renewed = False
    for r in range(n_rows):
        row, base = rows[r], n.BASE + r * n.ROW_SIZE
        if active[r] != WORN or state[base + n.ROW_FILLS] >= row.spares:
            continue
        left = state[base + n.STORE_KG]
        if row.latent_J_kg > 0.0 and row.ice_share > 0.0 and row.charge_C <= row.melt_low_C:
            left = frozen_mass(state[base + n.STORE_J], row.latent_J_kg, left) / row.ice_share
        if left < row.refill_at_share * row.charge_kg:
            fill_charge(state, row, base)
            state[base + n.ROW_FILLS] += 1.0
            renewed = True
    return renewed


@compiled
def apply_event(state, event, rows, active, n_rows, seg, runner, heat):
    """Put a device on, take it off, refill it. Heat and water of skin are shared out, none is lost."""
    r = event.row
    row = rows[r]
    base = n.BASE + r * n.ROW_SIZE
    s = row.segment
    if row.place == IN_STOMACH or row.place == POURED:
        if event.action != TAKE_OFF:
            share = share_drunk(state, row, rows, n_rows)
            if share > 0.0:
                active[r] = row.place + 1
                add_charge(state, row, base, share)
        return
    if row.place == AROUND:
        if event.action != REFILL:
            active[r] = row.place + 1 if event.action == PUT_ON else 0
        return
    if row.place == BATH:
        if event.action == PUT_ON:
            active[r] = row.place + 1
        elif event.action == TAKE_OFF and active[r]:
            active[r] = 0
            clinging = runner.film_full_kg_m2 * seg[n.FREE_AREA, s] * row.segment_share - state[n.FILM + s]
            clinging = max(clinging, 0.0)
            state[n.FILM + s] += clinging
            state[n.RECEIVED] += clinging
        prepare_body(seg, runner, rows, active, n_rows)
        return
    if event.action == REFILL:
        if active[r]:
            fill_charge(state, row, base)
        return
    free = seg[n.FREE_AREA, s]
    if event.action == PUT_ON and not active[r]:
        active[r] = WORN
        share = row.area_m2 / free
        state[base + n.PATCH_C] = state[n.SKIN + s]
        state[base + n.PATCH_FILM] = share * state[n.FILM + s]
        state[n.FILM + s] -= state[base + n.PATCH_FILM]
        state[base + n.OUTER_KG] = 0.0
        fill_charge(state, row, base)
        start_C = max(row.charge_C, row.melt_low_C) if row.latent_J_kg > 0.0 else row.charge_C
        state[base + n.ROW_CHARGED_J] += row.outer_J_K * (start_C - state[base + n.OUTER_C])
        state[base + n.OUTER_C] = start_C
    elif event.action == TAKE_OFF and active[r]:
        active[r] = 0
        total = free + row.area_m2
        state[n.SKIN + s] = (free * state[n.SKIN + s] + row.area_m2 * state[base + n.PATCH_C]) / total
        state[n.FILM + s] += state[base + n.PATCH_FILM]
        state[base + n.PATCH_FILM] = 0.0
        for term in range(n.N_TERMS):
            heat[term, n.N_NODES + r] = 0.0
    prepare_body(seg, runner, rows, active, n_rows)


@compiled
def enter_leg(number, time_s, state, fast, pacing, rows, active, n_rows, seg, runner, heat):
    """Start a leg of a paced run, with what is put on, taken off or drunk there."""
    start_leg(pacing, number, time_s, fast[n.DISTANCE])
    for i in range(pacing.leg_events.size):
        if pacing.leg_events[i].time_s == number:
            apply_event(state, pacing.leg_events[i], rows, active, n_rows, seg, runner, heat)


@compiled
def save_sample(k, time_s, work, runner, piece, rows, n_rows, size, states, rates, fasts, diagnostics):
    """Evaluate the balance at a saved instant and store state, rates and diagnostics."""
    state, fast, seg = work.state, work.fast, work.seg
    metabolic = fast[n.OXYGEN_FAST] + fast[n.OXYGEN_SLOW]
    step = prepare(
        seg, runner, piece, time_s, metabolic, work_rate(state, piece, runner, rows, work.active, n_rows),
        rows, work.active, n_rows,
    )
    rate = work.stages[1]
    balance(state, rate, work.heat, step, seg, runner, rows, work.active, n_rows)
    d = diagnostics[k]
    core, skin = (
        trunk_core(state, seg),
        mean_skin(state, rows, work.active, n_rows, seg, runner.surface_area_m2),
    )
    d[D_CORE], d[D_SKIN] = core, skin
    d[D_HEART] = heart_rate(state, fast, runner, core, skin, d[D_REST : D_REST + 7])
    d[D_REQUIRED], d[D_CAPACITY], d[D_WETTEDNESS], d[D_LIMIT] = evaporation_books(
        state, rate, work.heat, seg, runner
    )
    open_share = 0.0
    for s in range(n.N_SEGMENTS):
        factor = local_flow_factor(
            state[n.SKIN + s], runner.local_flow_cold_C, runner.local_flow_warm_C, runner.local_flow_floor
        )
        open_share += runner.skin_flow_share[s] * seg[n.FREE_SHARE, s] * factor
    d[D_SKIN_FLOW] = open_share * control_skin_flow(state, step, runner, core, skin)
    d[D_SKIN_FLOW] += shunt_flow(state, runner, skin)
    d[D_AIR_SPEED] = relative_air(piece, runner, surroundings(rows, work.active, n_rows)[0], time_s)
    d[D_AIR], d[D_VAPOUR] = step.air_C, step.vapour_kPa
    d[D_SUN_OUTSIDE] = (
        runner.solar_absorptance * runner.solar_interception * step.solar_W_m2 * runner.surface_area_m2
    )
    d[D_SPEED], d[D_GRADE] = piece.speed_m_s, 100.0 * piece.grade
    d[D_MODE] = gait_of(piece.speed_m_s, piece.gait, runner.walk_run_switch_m_s)
    d[D_OXYGEN_W] = rate[n.JOULES + n.METABOLIC]
    for i in range(size):
        states[k, i] = state[i]
        rates[k, i] = rate[i]
    for i in range(n.N_FAST):
        fasts[k, i] = fast[i]


@compiled
def heat_content(state, runner, rows, active, n_rows, seg):
    """Heat held by all tissue, relative to 0 °C [J]: capacities times temperatures, as they are now."""
    total = 0.0
    for node in range(n.N_NODES):
        total += node_capacity(node, runner, seg, state[n.LOST]) * state[node]
    for r in range(n_rows):
        if active[r] == WORN:
            s = rows[r].segment
            total += (
                runner.capacity_J_K[n.SKIN + s]
                * rows[r].area_m2
                * seg[n.INVERSE_AREA, s]
                * state[n.BASE + r * n.ROW_SIZE]
            )
    return total


@compiled
def water_on_skin(state, n_rows):
    """Water on the skin, under devices too [kg]."""
    total = 0.0
    for s in range(n.N_SEGMENTS):
        total += state[n.FILM + s]
    for r in range(n_rows):
        total += state[n.BASE + r * n.ROW_SIZE + n.PATCH_FILM]
    return total


@compiled
def integrate(
    runner,
    pieces,
    rows,
    n_rows,
    events,
    stops,
    saved,
    method,
    table,
    max_step_s,
    first_step_s,
    limit_C,
    site,
    work,
    pacing,
    states,
    rates,
    fasts,
    diagnostics,
    summary,
):
    """Run one runner through all pieces; return a status code.

    Parameters
    ----------
    runner : RUNNER record
    pieces : PIECE array
        Stretches of effort and weather, in order, without holes.
    rows, n_rows, events : ROW array, int, EVENT array
        Device rows and what happens to them, in order of time.
    stops, saved : array (k,), array (k,)
        Times that a step must end on [s]; where ``saved`` is 1 the sample is stored. ``stops[0]`` is the start.
    method, table, max_step_s, first_step_s : int, array, float, float
        Step method, its coefficients, longest step [s], and first step after a jump of effort or devices [s], from
        which steps grow again.
    limit_C, site : float, int
        Core limit and the site it acts on.
    work : Work
        Arrays of this run; ``work.state`` and ``work.fast`` hold the initial state.
    pacing : Pacing
        A rule with its legs: the effort is then theirs, and the pieces give the air. Not active: the pieces give both.
    states, rates, fasts, diagnostics : arrays
        Where samples go; shape (0, ...) arrays for summaries only.
    summary : array (N_SUMMARIES,)
        Filled at the end; ``S_LIMIT_S`` is NaN when the limit is not reached.

    Returns
    -------
    int
        ``DONE`` or what went wrong (``nodes.STATUS_SENTENCES``).
    """
    state, fast, heat, seg, active = work.state, work.fast, work.heat, work.seg, work.active
    size = n.BASE + n_rows * n.ROW_SIZE
    prepare_body(seg, runner, rows, active, n_rows)
    time_s = stops[0]
    p, e, k = 0, 0, 0
    while e < events.size and events[e].time_s <= time_s + SAME_TIME_S:
        apply_event(state, events[e], rows, active, n_rows, seg, runner, heat)
        e += 1
    paced, ended = pacing.rule[0].active == 1, False
    if paced:
        begin(pacing.pace)
        enter_leg(0, time_s, state, fast, pacing, rows, active, n_rows, seg, runner, heat)
        before_step(time_s, state, fast, seg, runner, pieces[p], rows, active, n_rows, pacing, work.stages[0][:7])
    content_0, water_0 = heat_content(state, runner, rows, active, n_rows, seg), water_on_skin(state, n_rows)
    summary[S_CORE_PEAK] = trunk_core(state, seg)
    summary[S_LIMIT_S] = math.nan
    summary[S_CORE_RATE_AT_LIMIT] = math.nan
    site_before = limit_site_temperature(state, seg, site)
    if site_before >= limit_C:
        summary[S_LIMIT_S] = time_s
    keep = states.shape[0] > 0
    if keep and saved[0]:
        piece = pacing.now[0] if paced else pieces[p]
        save_sample(k, time_s, work, runner, piece, rows, n_rows, size, states, rates, fasts, diagnostics)
        k += 1
    status = n.DONE
    jump_s = time_s
    for stop in range(1, stops.size):
        while p + 1 < pieces.size and pieces[p].end_s <= time_s + SAME_TIME_S:
            if is_jump(pieces[p], pieces[p + 1]):
                jump_s = time_s
            p += 1
        piece = pacing.now[0] if paced else pieces[p]
        while time_s < stops[stop] - SAME_TIME_S:
            if paced:
                if before_step(
                    time_s, state, fast, seg, runner, pieces[p], rows, active, n_rows, pacing, work.stages[0][:7]
                ):
                    jump_s = time_s
                if is_over(pacing):
                    break
            longest = min(max_step_s, first_step_s + STEP_GROWTH * (time_s - jump_s))
            remaining = stops[stop] - time_s
            h = remaining / max(math.ceil(remaining / longest - 1e-9), 1.0)
            jump = 0
            if paced:
                h, metabolic, jump = move_by_seconds(
                    time_s, h, state, fast, seg, runner, rows, active, n_rows, pacing, work.stages[0][:7]
                )
                middle = time_s + 0.5 * h
            else:
                middle = time_s + 0.5 * h
                demand = power_demand(state, piece, runner, rows, active, n_rows, middle)
                metabolic = update_fast(fast, demand, piece, runner, h)
            work_W = work_rate(state, piece, runner, rows, active, n_rows)
            step = prepare(seg, runner, piece, middle, metabolic, work_W, rows, active, n_rows)
            advance(method, table, h, size, state, work.stages, heat, step, seg, runner, rows, active, n_rows)
            time_s += h
            if jump > 0:
                jump_s = time_s
                if jump == 2:
                    number = int(pacing.pace[LEG_NUMBER]) + 1
                    enter_leg(number, time_s, state, fast, pacing, rows, active, n_rows, seg, runner, heat)
            if n_rows > 0 and renew_spent(state, rows, active, n_rows):
                jump_s = time_s
            if not COLDEST_BLOOD_C <= state[n.BLOOD] <= HOTTEST_BLOOD_C:
                status = n.OUT_OF_RANGE if math.isfinite(state[n.BLOOD]) else n.NOT_FINITE
                break
            core = trunk_core(state, seg)
            summary[S_CORE_PEAK] = max(summary[S_CORE_PEAK], core)
            here = limit_site_temperature(state, seg, site)
            if here >= limit_C and math.isnan(summary[S_LIMIT_S]):
                summary[S_LIMIT_S] = time_s - h * (here - limit_C) / (here - site_before)
                summary[S_CORE_RATE_AT_LIMIT] = (here - site_before) / h
            site_before = here
        ended = paced and is_over(pacing)
        if not ended:
            time_s = stops[stop]
        if status == n.DONE:
            total = 0.0  # not finite as soon as one number is not
            for i in range(size):
                total += state[i]
            if not math.isfinite(total):
                status = n.NOT_FINITE
        if status != n.DONE:
            break
        if ended:
            pacing.pace[ENDED_S] = time_s
            before_step(time_s, state, fast, seg, runner, pieces[p], rows, active, n_rows, pacing, work.stages[0][:7])
            kept_already = saved[stop - 1] and time_s <= stops[stop - 1] + SAME_TIME_S
            if keep and k < states.shape[0] and not kept_already:
                save_sample(
                    k, time_s, work, runner, pacing.now[0], rows, n_rows, size, states, rates, fasts, diagnostics
                )
                k += 1
            break
        while e < events.size and events[e].time_s <= time_s + SAME_TIME_S:
            apply_event(state, events[e], rows, active, n_rows, seg, runner, heat)
            jump_s = time_s
            e += 1
        later = p
        if pieces[p].end_s <= time_s + SAME_TIME_S and p + 1 < pieces.size:
            later = p + 1
        if paced and before_step(
            time_s, state, fast, seg, runner, pieces[later], rows, active, n_rows, pacing, work.stages[0][:7]
        ):
            jump_s = time_s
        if keep and saved[stop]:
            piece = pacing.now[0] if paced else pieces[later]
            save_sample(k, time_s, work, runner, piece, rows, n_rows, size, states, rates, fasts, diagnostics)
            k += 1
    if paced:
        pacing.pace[SAVED] = k
    core, skin = trunk_core(state, seg), mean_skin(state, rows, active, n_rows, seg, runner.surface_area_m2)
    summary[S_CORE_END], summary[S_SKIN_END] = core, skin
    summary[S_HEART_END] = heart_rate(state, fast, runner, core, skin, work.stages[0][:7])
    summary[S_SWEAT], summary[S_LOST], summary[S_DISTANCE] = state[n.SWEAT], state[n.LOST], fast[n.DISTANCE]
    flows, throughput = 0.0, 0.0
    for term in range(n.N_BOUNDARY_TERMS):
        flows += state[n.JOULES + term]
        throughput += abs(state[n.JOULES + term])
    content = heat_content(state, runner, rows, active, n_rows, seg)
    summary[S_CLOSURE] = content - content_0 - (flows - state[n.JOULES_WATER])
    summary[S_THROUGHPUT] = throughput
    gained = state[n.SWEAT] + state[n.CONDENSED] + state[n.RECEIVED]
    spent = state[n.EVAPORATED] + state[n.DRIPPED] + state[n.WICKED]
    summary[S_WATER] = water_on_skin(state, n_rows) - water_0 - (gained - spent)
    return status
