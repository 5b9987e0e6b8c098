"""Device rows: the skin under a device, its store, its outer side, its water. One function serves every device."""

from thermosim._jit import compiled
from thermosim.constants import LATENT_HEAT_SWEAT, LEWIS_RELATION, SPECIFIC_HEAT_WATER
from thermosim.engine import nodes as n
from thermosim.physics.air import saturation_pressure
from thermosim.physics.radiation import radiative_coefficient
from thermosim.physics.water_ice import frozen_mass, store_temperature
from thermosim.physiology.skin_blood_flow import local_flow_factor
from thermosim.physiology.sweating import local_sweat_factor


@compiled
def device_row(r, row, state, rate, heat, step, seg, runner, flow_W_K, shunt_W_K, sweat_kg_s, resting_W):
    """Fill one worn row's heat terms and its block of ``rate``.

    Parameters
    ----------
    r, row : int, ROW record
        Number of the row and the row.
    state, rate, heat, step, seg, runner
        As in :func:`~thermosim.engine.balance.balance`.
    flow_W_K, shunt_W_K, sweat_kg_s, resting_W : float
        Central skin blood flow and shunt flow as conductances [W/K], central sweat rate [kg/s] and resting power [W] now.

    Returns
    -------
    tuple of float
        Heat to the blood [W], the devices term [W], and water [kg/s]: secreted under the device, taken up by its
        cloth, run off from under it, dripped onto skin below.
    """
    base = n.BASE + r * n.ROW_SIZE
    blood_C = state[n.BLOOD]
    s = row.segment
    share = row.area_m2 * seg[n.INVERSE_AREA, s]
    patch_C, outer_C = state[base + n.PATCH_C], state[base + n.OUTER_C]
    charge = state[base + n.STORE_KG]
    store_C = store_temperature(
        state[base + n.STORE_J],
        charge,
        row.melt_low_C,
        row.melt_high_C,
        row.latent_J_kg,
        row.solid_J_kgK,
        row.liquid_J_kgK,
        row.dry_J_K,
    )
    liquid = charge - frozen_mass(state[base + n.STORE_J], row.latent_J_kg, charge)

    # skin under the device
    column = n.N_NODES + r
    conducted = seg[n.G_FAT_SKIN, s] * share * (state[n.FAT + s] - patch_C)
    local = local_flow_factor(
        patch_C, runner.local_flow_cold_C, runner.local_flow_warm_C, runner.local_flow_floor
    )
    open_W_K = flow_W_K * seg[n.SKIN_SHARE, s] * local + shunt_W_K * runner.shunt_share[s]
    by_blood = open_W_K * share * (blood_C - patch_C)
    contact = row.contact_W_m2K * row.area_m2 * (patch_C - store_C)
    heat[n.METABOLIC, column] = seg[n.REST_SKIN, s] * share * resting_W
    heat[n.CONDUCTION, column] = conducted
    heat[n.BLOOD_FLOW, column] = by_blood
    heat[n.DEVICES, column] = -contact
    heat[n.CONDUCTION, n.FAT + s] -= conducted
    to_blood = -by_blood
    devices_W = -contact

    secreted = (
        sweat_kg_s
        * seg[n.SWEAT_SHARE, s]
        * share
        * local_sweat_factor(patch_C, runner.sweat_local_reference_C, runner.sweat_local_slope_K)
    )
    surplus = max(state[base + n.PATCH_FILM] - runner.film_full_kg_m2 * row.area_m2 * (1 - row.wicks), 0.0)
    leaving = surplus / runner.film_overflow_s
    rate[base + n.PATCH_FILM] = secreted - leaving
    into_store = leaving if row.wicks else 0.0

    # outer side: air, radiation, sun, vapour
    h_c = seg[n.H_FORCED, s] * row.outer_exposure
    from_air = row.outer_area_m2 * (
        h_c * (step.air_C - outer_C)
        + radiative_coefficient(
            outer_C, step.radiant_C, runner.skin_emissivity, runner.radiating_area_fraction
        )
        * (step.radiant_C - outer_C)
    )
    from_air += row.outer_absorptance * runner.solar_interception * row.outer_area_m2 * step.solar_W_m2
    vapour = (
        LEWIS_RELATION
        * h_c
        * step.pressure_factor
        * row.outer_area_m2
        * (step.vapour_kPa - saturation_pressure(outer_C))
    )
    water_outside = liquid if row.wicks else state[base + n.OUTER_KG]
    if vapour < 0.0:
        vapour *= min(max(water_outside / row.outer_wet_kg, 0.0), 1.0)
    gained = vapour / LATENT_HEAT_SWEAT  # [kg/s], negative when the outer side dries
    inward = row.outer_conductance_W_m2K * row.outer_area_m2 * (outer_C - store_C)
    rate[base + n.OUTER_C] = (from_air + vapour - inward) / row.outer_J_K

    # water: the store holds some, the rest drips; a vapour-tight outer side keeps its own dew
    dripping = max(liquid - row.hold_kg, 0.0) / row.drip_s
    dew_dripping = 0.0
    with_water = -dripping * row.liquid_J_kgK * (store_C - row.melt_high_C)
    with_water += into_store * row.liquid_J_kgK * (patch_C - row.melt_high_C)
    if row.wicks:
        with_water += gained * row.liquid_J_kgK * (outer_C - row.melt_high_C)
        rate[base + n.STORE_KG] = into_store + gained - dripping
    else:
        dew_dripping = max(state[base + n.OUTER_KG] - row.outer_hold_kg, 0.0) / row.drip_s
        rate[base + n.OUTER_KG] = gained - dew_dripping
        rate[base + n.STORE_KG] = -dripping
    rate[base + n.STORE_J] = contact + inward + with_water

    # drips that land on skin below warm up there, and wet it
    on_skin = row.drip_on_skin * dripping
    run_off_W = 0.0
    for half in range(2):
        below = row.drip_segment_1 if half == 0 else row.drip_segment_2
        taken = 0.5 * on_skin * SPECIFIC_HEAT_WATER * (state[n.SKIN + below] - store_C)
        heat[n.DEVICES, n.SKIN + below] -= taken
        rate[n.FILM + below] += 0.5 * on_skin
        run_off_W += taken
    devices_W -= run_off_W

    rate[base + n.FROM_SKIN] = contact
    rate[base + n.FROM_AIR] = from_air
    rate[base + n.FROM_VAPOUR] = vapour
    rate[base + n.WITH_WATER] = with_water
    rate[base + n.RUN_OFF] = run_off_W
    rate[base + n.ROW_CONDENSED] = max(gained, 0.0)
    rate[base + n.ROW_EVAPORATED] = max(-gained, 0.0)
    rate[base + n.ROW_DRIPPED] = dripping + dew_dripping
    rate[base + n.ROW_WICKED] = into_store
    return to_blood, devices_W, secreted, into_store, leaving - into_store, on_skin
