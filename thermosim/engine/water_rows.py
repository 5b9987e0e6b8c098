"""Rows that are not worn: in the stomach, poured over the skin, a bath, around the body. Each fills its own terms."""

from thermosim._jit import compiled
from thermosim.constants import SPECIFIC_HEAT_WATER
from thermosim.engine import nodes as n
from thermosim.engine.records import IN_STOMACH
from thermosim.physics.air import saturation_pressure
from thermosim.physics.respiration import respiratory_dry_loss, respiratory_vapour_loss
from thermosim.physics.water_ice import frozen_mass, store_temperature


@compiled
def filling_temperature(state, row, base):
    """Temperature of what a row holds [°C]."""
    return store_temperature(
        state[base + n.STORE_J],
        state[base + n.STORE_KG],
        row.melt_low_C,
        row.melt_high_C,
        row.latent_J_kg,
        row.solid_J_kgK,
        row.liquid_J_kgK,
        row.dry_J_K,
    )


@compiled
def share_drunk(state, row, rows, n_rows):
    """Share of a portion that is drunk [1]: a guarded one up to its ceiling in the stomach, never more than was lost."""
    if row.place != IN_STOMACH or row.swallow_ceiling_kg * row.charge_kg == 0.0:
        return 1.0
    held = 0.0
    for r in range(n_rows):
        if rows[r].place == IN_STOMACH:
            held += state[n.BASE + r * n.ROW_SIZE + n.STORE_KG]
    room = min(row.swallow_ceiling_kg, state[n.LOST]) - held
    return min(max(room / row.charge_kg, 0.0), 1.0)


@compiled
def stomach_row(r, row, state, rate, heat, runner):
    """Fill the terms of a drink in the stomach: it warms at the stomach's wall, melts, and passes on into the body.

    Contact grows with the filling (half of ``contact * area`` at ``half_contact_kg``). Liquid leaves with the time
    constant ``drip_s`` and joins the body's water; the heat that warms it from the drink's to the body's temperature
    is taken from the gut.

    Returns
    -------
    tuple of float
        The devices term [W] and water taken up by the body [kg/s].
    """
    base = n.BASE + r * n.ROW_SIZE
    drink_C = filling_temperature(state, row, base)
    filling = max(state[base + n.STORE_KG], 0.0)
    liquid = max(filling - frozen_mass(state[base + n.STORE_J], row.latent_J_kg, filling), 0.0)
    touching = filling / (filling + row.half_contact_kg)
    contact = row.contact_W_m2K * row.area_m2 * touching * (state[n.GUT] - drink_C)
    passing = liquid / row.drip_s
    body_C = 0.0
    for node in range(n.N_NODES):
        if node < n.SKIN or node >= n.BLOOD:
            body_C += runner.water_share[node] * state[node]
    mixing = passing * SPECIFIC_HEAT_WATER * (body_C - drink_C)
    with_water = -passing * row.liquid_J_kgK * (drink_C - row.melt_high_C)
    heat[n.DEVICES, n.GUT] -= contact + mixing
    rate[base + n.STORE_KG] = -passing
    rate[base + n.STORE_J] = contact + with_water
    rate[base + n.FROM_SKIN] = contact
    rate[base + n.WITH_WATER] = with_water
    rate[base + n.RUN_OFF] = mixing
    rate[base + n.ROW_DRIPPED] = passing
    rate[base + n.ROW_DRUNK] = passing
    return -contact - mixing, passing


@compiled
def poured_row(r, row, state, rate, heat):
    """Fill the terms of water that runs over the skin of one segment.

    A share ``drip_on_skin`` stays and takes skin temperature; the rest runs off, warmed part of the way.

    Returns
    -------
    tuple of float
        The devices term [W] and water that stays on the skin [kg/s].
    """
    base = n.BASE + r * n.ROW_SIZE
    water_C = filling_temperature(state, row, base)
    flowing = max(state[base + n.STORE_KG], 0.0) / row.drip_s
    warmed = row.drip_on_skin + (1.0 - row.drip_on_skin) * row.run_off_warming
    taken = warmed * flowing * SPECIFIC_HEAT_WATER * (state[n.SKIN + row.segment] - water_C)
    with_water = -flowing * row.liquid_J_kgK * (water_C - row.melt_high_C)
    heat[n.DEVICES, n.SKIN + row.segment] -= taken
    staying = row.drip_on_skin * flowing
    rate[n.FILM + row.segment] += staying
    rate[base + n.STORE_KG] = -flowing
    rate[base + n.STORE_J] = with_water
    rate[base + n.WITH_WATER] = with_water
    rate[base + n.RUN_OFF] = taken
    rate[base + n.ROW_DRIPPED] = flowing
    return -taken, staying


@compiled
def bath_row(r, row, state, rate, heat, seg):
    """Fill the terms of skin in a bath that keeps its temperature; return the devices term [W].

    The share of the segment in the water is shut off from the air (``AIR_SHARE``); what the skin gives, the water
    carries away.
    """
    base = n.BASE + r * n.ROW_SIZE
    s = row.segment
    wet_m2 = seg[n.FREE_AREA, s] * row.segment_share
    contact = row.contact_W_m2K * wet_m2 * (state[n.SKIN + s] - row.charge_C)
    heat[n.DEVICES, n.SKIN + s] -= contact
    rate[base + n.FROM_SKIN] = contact
    rate[base + n.WITH_WATER] = -contact
    return -contact


@compiled
def around_row(r, row, state, rate, heat, step, seg, runner, metabolic_W, open_sun_W):
    """Fill the terms of what surrounds the body: cooler breath, mist on the skin, the sun that a canopy keeps off.

    A share of the breath is taken at ``breath_C``, with no more vapour than air of that temperature holds; what this
    takes beyond breathing the air of the place is the devices term, from the blood. Mist settles evenly on free skin in
    air and takes skin temperature. An ideal sink takes ``sink_W`` from the blood. Air speed, air temperature and
    sun themselves act in :func:`~thermosim.engine.prepare.prepare`.

    Returns
    -------
    tuple of float
        The devices term [W], the part of it that leaves as vapour with the breath [W], sun kept off the skin [W], and
        water that settles on the skin [kg/s].
    """
    base = n.BASE + r * n.ROW_SIZE
    breath_kPa = min(step.vapour_kPa, saturation_pressure(row.breath_C))
    vapour_W = respiratory_vapour_loss(metabolic_W, breath_kPa) - respiratory_vapour_loss(metabolic_W, step.vapour_kPa)
    dry_W = respiratory_dry_loss(metabolic_W, row.breath_C) - respiratory_dry_loss(metabolic_W, step.air_C)
    vapour_W *= row.breath_share
    more_W = vapour_W + row.breath_share * dry_W + row.sink_W
    shaded_W = open_sun_W * row.shade_share
    heat[n.DEVICES, n.BLOOD] -= more_W
    settled, taken_W = 0.0, 0.0
    if row.mist_kg_s > 0.0:
        for s in range(n.N_SEGMENTS):
            here = row.mist_kg_s * seg[n.FREE_AREA, s] * seg[n.AIR_SHARE, s] / runner.surface_area_m2
            warming = here * SPECIFIC_HEAT_WATER * (state[n.SKIN + s] - row.mist_C)
            heat[n.DEVICES, n.SKIN + s] -= warming
            rate[n.FILM + s] += here
            settled += here
            taken_W += warming
    rate[base + n.FROM_SKIN] = more_W
    rate[base + n.WITH_WATER] = -more_W
    rate[base + n.RUN_OFF] = taken_W
    rate[base + n.SHADED] = shaded_W
    rate[base + n.ROW_CHARGED_KG] = settled
    rate[base + n.ROW_DRIPPED] = settled
    return -more_W - taken_W, vapour_W, shaded_W, settled
