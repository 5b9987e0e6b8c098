"""A drink, slurry, poured water, a bath: books alone and together, limits by hand, stability, accuracy, refusals."""

import dataclasses

import basic_twin as twin
import numpy as np
import pytest
import reference
import twin_bridge as bridge
from hypothesis import given, settings
from hypothesis import strategies as st

import thermosim as ts
from thermosim.cooling import Worn, boundary_row, flatten_cooling, ice_collar
from thermosim.cooling.water import TO_THE_NECK, Bath, Drink, PouredWater
from thermosim.engine import nodes as n
from thermosim.engine import plan, run
from thermosim.engine.balance import balance
from thermosim.engine.integrate import D_CORE, D_SKIN, S_CLOSURE, S_THROUGHPUT, S_WATER, apply_event
from thermosim.engine.prepare import carried_mass, power_demand, prepare, prepare_body
from thermosim.engine.records import BATH
from thermosim.inputs.flat import runner_record
from thermosim.parameters import PARAMETERS, SEGMENTS

RUNNER = ts.Runner(mass_kg=65, height_m=1.75, vo2max_mL_kg_min=60, heat_days=5)
EFFORT = ts.Effort.steady(speed_m_s=3.3, minutes=40)
HUMID = ts.Weather.steady(air_temperature_C=33, relative_humidity_pct=60, solar_W_m2=400)
KINDS = {
    "drink": [Worn(Drink(0.3, 8.0), from_min=5.0, refill_min=(15.0, 25.0))],
    "slurry": [Worn(Drink(0.4, -1.0, ice_share=0.5), from_min=3.0, refill_min=(8.0,))],
    "poured": [Worn(PouredWater(0.5, 18.0), from_min=10.0, refill_min=(10.1, 20.0, 39.95))],
    "bath": [Worn(Bath(12.0), from_min=12.0, to_min=24.0)],
    "part of the arms in a bath": [Worn(Bath(12.0, segments=("forearms", "hands")), from_min=12.0)],
    "collar": [ice_collar(0.2, True, from_min=2.0, to_min=30.0, refill_min=(18.0,))],
}
TOGETHER = {
    **KINDS,
    "all water": [*KINDS["drink"], *KINDS["poured"], *KINDS["bath"]],
    "all water and a collar": [*KINDS["slurry"], *KINDS["poured"], *KINDS["bath"], *KINDS["collar"]],
    "poured in the bath, under a bare collar": [
        Worn(Bath(20.0, segments=("chest", "thighs")), from_min=5.0, to_min=25.0),
        Worn(PouredWater(1.0, 10.0, segments=("neck", "chest", "thighs")), from_min=8.0, refill_min=(30.0,)),
        ice_collar(0.15, False, held_water_kg=0.0),
    ],
}


def lying(minutes: float, air_C: float = 31.0, **fields) -> np.ndarray:
    """Rest in mild air, where nobody sweats much."""
    return bridge.piece(
        0.0, 60.0 * minutes, 0.0, air_C, 0.4, activity=twin.RESTING, upright=0.0, wind_m_s_0=0.2, wind_m_s_1=0.2, **fields
    )


def play(cooling, pieces, record=None, saves=None, step_s=plan.STEP_S, alter=None):
    """Run the engine; return rows, trajectory and the columns where each row's block starts."""
    record = runner_record(bridge.person()) if record is None else record
    end = float(pieces["end_s"][-1])
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], end)
    for field, number in (alter or {}).items():
        rows[field] = number
    saves = np.arange(0.0, end + 1.0, 60.0) if saves is None else saves
    ours = run.run(record, pieces, rows, events, saves, start=run.settle(record), step_s=step_s)
    assert ours.status == n.DONE
    return rows, ours, n.BASE + n.ROW_SIZE * np.arange(rows.size)


# --- books -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", TOGETHER)
def test_books_close(kind):
    """Energy, water and devices, as every result says; and the body's books against the rows'."""
    ds = ts.simulate(RUNNER, EFFORT, HUMID, cooling=TOGETHER[kind], save_every_s=30)
    assert ds.attrs["energy_closure_relative"] < 1e-6
    assert ds.attrs["water_closure_kg"] < 1e-9
    assert ds.attrs["device_closure_relative"] < 1e-9


@pytest.mark.parametrize("kind", TOGETHER)
def test_what_the_body_gives_the_rows_take(kind):
    """Joules across the body's boundary against joules into rows; grams left in rows, in the body, on the skin, run off."""
    record = runner_record(bridge.person(heat_days=5.0))
    pieces = bridge.piece(0.0, 2400.0, 3.3, 33.0, 0.6)
    rows, ours, blocks = play(TOGETHER[kind], pieces, record)
    end = ours.states[-1]
    taken = end[blocks + n.FROM_SKIN].sum() + end[blocks + n.RUN_OFF].sum()
    assert abs(taken) > 1e3
    assert -end[n.JOULES + n.DEVICES] == pytest.approx(taken, rel=1e-10)
    swallowed = blocks[rows["place"] == twin.IN_STOMACH]
    charged = end[swallowed + n.ROW_CHARGED_KG].sum()
    assert end[swallowed + n.STORE_KG].sum() + end[swallowed + n.ROW_DRUNK].sum() == pytest.approx(charged, abs=1e-12)
    given_up = end[n.SWEAT] + end[n.DIFFUSED] + end[n.BREATHED]
    assert end[n.LOST] == pytest.approx(given_up - end[swallowed + n.ROW_DRUNK].sum(), abs=1e-12)
    assert abs(ours.summary[S_CLOSURE]) < 1e-6 * ours.summary[S_THROUGHPUT] and abs(ours.summary[S_WATER]) < 1e-9


# --- limits that can be checked by hand ------------------------------------------------------------------------------


def test_a_drink_at_body_temperature_changes_nothing_but_mass():
    """Half a kilogram at 37 °C: the body stays within a hundredth of a kelvin, and is half a kilogram heavier.

    By hand: the gut rests near 36.7 °C, so 0.3 K of half a kilogram, 670 J, are all that can move.
    """
    record, pieces = runner_record(bridge.person()), lying(120.0)
    _, none, _ = play([], pieces, record)
    _, ours, blocks = play([Worn(Drink(0.5, 37.0), from_min=1.0)], pieces, record)
    change = np.abs(ours.states[:, : n.N_NODES] - none.states[:, : n.N_NODES]).max(axis=0)
    brought = 0.5 * 4186.0 * (37.0 - none.states[0, n.GUT])
    assert np.delete(change, n.GUT).max() < 0.01 and change[n.GUT] < brought / record[0]["capacity_J_K"][n.GUT]
    np.testing.assert_array_equal(ours.states[:, n.SWEAT], none.states[:, n.SWEAT])
    lost = ours.states[-1, n.LOST] - none.states[-1, n.LOST]
    assert lost == pytest.approx(-0.5, abs=2e-3) and lost == pytest.approx(-ours.states[-1, blocks[0] + n.ROW_DRUNK], abs=5e-4)
    taken = ours.states[-1, blocks[0] + n.FROM_SKIN] + ours.states[-1, blocks[0] + n.RUN_OFF]
    assert -1.5 * brought < taken < 0.0


@pytest.mark.parametrize(
    ("portion_kg", "temperature_C", "ice_share"), [(0.5, 4.0, 0.0), (0.5, 0.0, 0.4), (0.4, 0.0, 1.0), (1.2, -2.0, 0.7)]
)
def test_a_drink_takes_its_melting_and_warming_in_the_end(portion_kg, temperature_C, ice_share):
    """mass * (ice share * 334 kJ/kg + 4.18 kJ/kgK * (body - drink)), with ice below 0 °C counted at 2.1 kJ/kgK."""
    record = runner_record(bridge.person())
    _, ours, blocks = play([Drink(portion_kg, temperature_C, ice_share)], lying(300.0), record)
    body_C = float((ours.states[:, : n.N_NODES] * record[0]["water_share"]).sum(axis=1).mean())
    taken = ours.states[-1, blocks[0] + n.FROM_SKIN] + ours.states[-1, blocks[0] + n.RUN_OFF]
    assert ours.states[-1, blocks[0] + n.STORE_KG] < 1e-3 * portion_kg
    below = min(temperature_C, 0.0)
    by_hand = ice_share * (334e3 - 2100.0 * below) + (1.0 - ice_share) * 4186.0 * -below
    by_hand += 4186.0 * (body_C - max(temperature_C, 0.0))
    assert taken == pytest.approx(portion_kg * by_hand, rel=0.01)


@pytest.mark.parametrize("mass_kg", [0.25, 1.0])
def test_a_drink_is_carried(mass_kg):
    """It weighs on the runner while it is in the stomach; what passes on then weighs as body: the sum stays."""
    record, piece = runner_record(bridge.person()), bridge.piece(0.0, 1800.0, 12.0 / 3.6, 24.0, 0.5)
    rows, ours, blocks = play([Drink(mass_kg, 37.0)], piece, record)
    _, none, _ = play([], piece, record)
    active = bridge.active_of(rows, [True])

    def moved(state):
        return 65.0 - state[n.LOST] + carried_mass(state, piece[0], rows, active, 1)

    weighs = np.array([moved(state) for state in ours.states])
    given_up = ours.states[:, [n.SWEAT, n.DIFFUSED, n.BREATHED]].sum(axis=1)
    np.testing.assert_allclose(weighs, 65.0 + mass_kg - given_up, atol=1e-9)
    assert carried_mass(ours.states[0], piece[0], rows, active, 1) == pytest.approx(mass_kg)
    demands = [
        power_demand(states[0], piece[0], record[0], rows, on, 1, 0.0)
        for states, on in ((ours.states, active), (ours.states, 0 * active))
    ]
    assert demands[0] - demands[1] == pytest.approx(12.0 * mass_kg, rel=0.05)  # +12 W/kg at 12 km/h, by hand
    metabolic = ours.rates[-1, n.JOULES + n.METABOLIC] - none.rates[-1, n.JOULES + n.METABOLIC]
    assert metabolic == pytest.approx(12.0 * mass_kg, rel=0.2)


def test_poured_water_that_neither_stays_nor_warms_takes_nothing():
    """Retained share 0, run-off warming 0: every temperature as without; the water has run off, booked."""
    pieces = bridge.piece(0.0, 1200.0, 3.3, 33.0, 0.6)
    poured = [Worn(PouredWater(0.5, 10.0), from_min=5.0, refill_min=(10.0,))]
    saves = [0.0, 290.0, 300.0, 310.0, 600.0, 1200.0]
    rows, ours, blocks = play(poured, pieces, saves=saves, alter={"drip_on_skin": 0.0, "run_off_warming": 0.0})
    stepped = [Worn(PouredWater(0.005, 60.0, segments=("feet",)), from_min=5.0, refill_min=(10.0,))]  # same step ends
    _, none, _ = play(stepped, pieces, saves=saves, alter={"drip_on_skin": 0.0, "run_off_warming": 0.0})
    np.testing.assert_allclose(ours.states[:, : n.LOST + 1], none.states[:, : n.LOST + 1], rtol=0, atol=1e-9)
    assert np.all(ours.states[-1, blocks + n.RUN_OFF] == 0.0) and ours.states[-1, n.RECEIVED] == 0.0
    assert ours.states[-1, blocks + n.ROW_DRIPPED].sum() == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(("mass_kg", "temperature_C"), [(0.3, 15.0), (0.8, 30.0)])
def test_poured_water_takes_what_its_warming_costs(mass_kg, temperature_C):
    """mass * 4.18 * (skin - water) * (retained + rest * run-off warming), skin between before and after; the rest runs off."""
    pieces = bridge.piece(0.0, 420.0, 3.3, 33.0, 0.6)
    rows, ours, blocks = play([Worn(PouredWater(mass_kg, temperature_C), from_min=5.0)], pieces, saves=[300.0, 420.0])
    before, after = ours.states
    warmed = rows["drip_on_skin"] + (1.0 - rows["drip_on_skin"]) * rows["run_off_warming"]
    each = rows["charge_kg"] * 4186.0 * warmed
    skins = np.sort([before[n.SKIN + rows["segment"]], after[n.SKIN + rows["segment"]]], axis=0)
    taken = after[blocks + n.RUN_OFF]
    assert np.all(taken < each * (skins[1] - temperature_C) + 1.0) and np.all(taken > 0.7 * each * (skins[0] - temperature_C))
    assert after[n.RECEIVED] == pytest.approx(PARAMETERS["poured_retained_share"].value * mass_kg, rel=1e-3)


def one_rate(cooling, skin_C, film=0.5):
    """Rates of the balance with devices on and all skin at one temperature; also heat by term and node."""
    record = runner_record(bridge.person())
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 600.0)
    work = run.new_work(rows.size)
    run.start_rows(work, run.settle(record), rows)
    prepare_body(work.seg, record[0], rows, work.active, rows.size)
    for event in events:
        apply_event(work.state, event, rows, work.active, rows.size, work.seg, record[0], work.heat)
    work.state[n.SKIN : n.BLOOD] = skin_C
    work.state[n.FILM : n.LOST] = film * record[0]["film_full_kg_m2"] * record[0]["area_m2"]
    stretch = bridge.piece(0.0, 600.0, 0.0, 25.0, 0.5, solar_W_m2_0=500.0, solar_W_m2_1=500.0)
    step = prepare(work.seg, record[0], stretch[0], 0.0, 120.0, 0.0, rows, work.active, rows.size)
    rate = np.zeros(work.state.size)
    balance(work.state, rate, work.heat, step, work.seg, record[0], rows, work.active, rows.size)
    return rate, work.heat.copy(), record[0]


def test_a_bath_at_skin_temperature_exchanges_nothing_and_shuts_off_the_air():
    rate, heat, person = one_rate([Bath(33.0)], 33.0)
    under, above = [SEGMENTS.index(name) for name in TO_THE_NECK], [SEGMENTS.index(name) for name in ("head", "face", "neck")]
    assert abs(rate[n.JOULES + n.DEVICES]) < 1e-9
    for term in (n.CONVECTION, n.LONG_WAVE, n.SOLAR, n.EVAPORATION):
        assert np.all(heat[term, n.SKIN + np.array(under)] == 0.0)
        assert np.all(heat[term, n.SKIN + np.array(above)] != 0.0)
    colder, _, _ = one_rate([Bath(23.0)], 33.0)
    wet_m2 = person["area_m2"][under].sum()
    assert colder[n.JOULES + n.DEVICES] == pytest.approx(-200.0 * wet_m2 * 10.0, rel=1e-9)


def test_half_a_segment_in_the_bath_is_half_of_both():
    half = Bath(23.0, segments=("thighs",))
    rows = half.rows()
    rows["segment_share"] = 0.5
    whole_rate, whole, _ = one_rate([half], 33.0)
    rate, heat, _ = one_rate([Table(rows)], 33.0)
    _, air, _ = one_rate([], 33.0)
    thighs = n.SKIN + SEGMENTS.index("thighs")
    assert rate[n.JOULES + n.DEVICES] == pytest.approx(0.5 * whole_rate[n.JOULES + n.DEVICES])
    for term in (n.CONVECTION, n.LONG_WAVE, n.SOLAR, n.EVAPORATION):
        assert heat[term, thighs] == pytest.approx(0.5 * air[term, thighs]) and whole[term, thighs] == 0.0


@dataclasses.dataclass(frozen=True)
class Table:
    """A device of the user's own whose rows are given."""

    table: np.ndarray
    name: str = "own"

    def rows(self):
        return self.table


def taken_by_bath(temperature_C, contact_W_m2K=200.0):
    """Heat that ten minutes in a bath take [J]."""
    bath = Worn(Bath(temperature_C, contact_W_m2K=contact_W_m2K), from_min=2.0)
    _, ours, blocks = play([bath], lying(12.0, 28.0), saves=[0.0, 720.0])
    return ours.states[-1, blocks + n.FROM_SKIN].sum()


@settings(max_examples=25, deadline=None)
@given(st.floats(1.0, 34.0), st.floats(0.2, 5.0))
def test_a_colder_bath_takes_more(temperature_C, colder_K):
    assert taken_by_bath(max(temperature_C - colder_K, 0.0)) > taken_by_bath(temperature_C)


@settings(max_examples=25, deadline=None)
@given(st.floats(20.0, 500.0), st.floats(1.05, 2.0))
def test_better_contact_with_cold_water_takes_more(contact_W_m2K, factor):
    assert taken_by_bath(15.0, contact_W_m2K * factor) > taken_by_bath(15.0, contact_W_m2K)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 30.0), st.floats(0.5, 6.0), st.floats(0.05, 1.0))
def test_a_colder_drink_takes_more(temperature_C, colder_K, portion_kg):
    def taken(drink_C):
        _, ours, blocks = play([Drink(portion_kg, drink_C)], lying(20.0), saves=[0.0, 1200.0])
        return ours.states[-1, blocks[0] + n.FROM_SKIN] + ours.states[-1, blocks[0] + n.RUN_OFF]

    assert taken(temperature_C - min(colder_K, temperature_C + 4.9)) > taken(temperature_C)


# --- events ----------------------------------------------------------------------------------------------------------


def test_portions_add_up_and_what_is_swallowed_stays():
    pieces = lying(30.0)
    rows, ours, blocks = play([Worn(Drink(0.2, 10.0), from_min=1.0, to_min=20.0, refill_min=(2.0, 10.0))], pieces)
    charged, inside = ours.states[:, blocks[0] + n.ROW_CHARGED_KG], ours.states[:, blocks[0] + n.STORE_KG]
    assert list(charged[[0, 1, 2, 9, 10, 30]].round(9)) == [0.0, 0.2, 0.4, 0.4, 0.6, 0.6]
    assert np.diff(inside)[20:].max() < 0.0 < inside[-1]  # taking it off does nothing: it goes on emptying
    assert inside[-1] > 0.1
    assert np.all(ours.rates[3:, blocks[0] + n.FROM_SKIN] > 0.0)  # and warming


def test_who_climbs_out_is_wet():
    record = runner_record(bridge.person())
    _, ours, _ = play([Worn(Bath(25.0), from_min=5.0, to_min=10.0)], lying(12.0), record)
    full = record[0]["film_full_kg_m2"] * record[0]["area_m2"]
    under = [SEGMENTS.index(name) for name in TO_THE_NECK]
    film = ours.states[:, n.FILM : n.LOST]
    assert np.all(film[9, under] < 0.2 * full[under])  # in the water nothing clings
    np.testing.assert_allclose(film[10, under], full[under], rtol=1e-9)
    assert ours.states[-1, n.RECEIVED] == pytest.approx((full - film[9])[under].sum(), rel=0.05)
    air = ours.rates[:, [n.JOULES + n.EVAPORATION]].ravel()
    assert air[9] > -30.0 and air[10] < 3.0 * air[9]


def test_the_rows_of_the_engine_are_counted():
    cooling = [Bath(20.0), PouredWater(0.4, 20.0), *[Drink(0.2, 5.0)] * (n.MAX_ROWS - 14)]
    play(cooling, lying(2.0))
    with pytest.raises(ts.InputError, match=f"need {n.MAX_ROWS + 1} places on the body, allowed are {n.MAX_ROWS}"):
        play([*cooling, Drink(0.2, 5.0)], lying(2.0))


# --- a forgotten counterpart shows -----------------------------------------------------------------------------------

ENERGY_MUTATIONS = {
    "none": None,
    "the gut's loss to a drink": (r"heat\[n\.DEVICES, n\.GUT\] -= contact \+ mixing\b", "heat[n.DEVICES, n.GUT] -= 0.0"),
    "the gut's loss to what passes on": (
        r"heat\[n\.DEVICES, n\.GUT\] -= contact \+ mixing\b",
        "heat[n.DEVICES, n.GUT] -= contact",
    ),
    "the skin's loss to a bath": (r"heat\[n\.DEVICES, n\.SKIN \+ s\] -= contact\b", "heat[n.DEVICES, n.SKIN + s] -= 0.0"),
    "the skin's loss to poured water": (
        r"heat\[n\.DEVICES, n\.SKIN \+ row\.segment\] -= taken\b",
        "heat[n.DEVICES, n.SKIN + row.segment] -= 0.0",
    ),
    "a bath in the body's books": (r"devices_W \+= bath_row", "bath_row"),
    "heat in water that was drunk": (r"joules_water \+= share \* lost_rate", "joules_water += share * (lost_rate + drunk)"),
}
WATER_MUTATIONS = {
    "none": None,
    "the film's gain of poured water": (r"rate\[n\.FILM \+ row\.segment\] \+= staying\b", "rate[n.FILM + row.segment] += 0.0"),
    "the body's gain of what was drunk": (r"(lost_rate = .*?) - drunk\b", r"\1"),
    "what leaves the stomach": (r"rate\[base \+ n\.STORE_KG\] = -passing\b", "rate[base + n.STORE_KG] = 0.0"),
}
DEVICE_MUTATIONS = {
    "none": None,
    "the drink's gain from the stomach's wall": (
        r"rate\[base \+ n\.STORE_J\] = contact \+ with_water\b",
        "rate[base + n.STORE_J] = with_water",
    ),
    "the heat that leaves with poured water": (r"rate\[base \+ n\.STORE_J\] = with_water\b", "rate[base + n.STORE_J] = 0.0"),
    "what a bath carries away": (r"rate\[base \+ n\.WITH_WATER\] = -contact\b", "rate[base + n.WITH_WATER] = 0.0"),
}


def closures_of(mutation):
    """Ten minutes with a drink, poured water and a bath, plain Python RK4: errors of energy, water and device books (shares)."""
    runner = bridge.person()
    record, who = runner_record(runner), twin.make_person(runner)
    cooling = [Drink(0.5, 5.0), PouredWater(0.5, 15.0, segments=("head",)), Bath(20.0, segments=("hands", "thighs"))]
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 1e4)
    rows, person = rows.view(np.recarray), record.view(np.recarray)[0]
    work = run.new_work(rows.size)
    run.start_rows(work, run.settle(record), rows)
    prepare_body(work.seg, record[0], rows, work.active, rows.size)
    for event in events:
        apply_event(work.state, event, rows, work.active, rows.size, work.seg, record[0], work.heat)
    work.state[: n.SKIN] += 1.2
    work.state[n.BLOOD] += 1.2
    stretch = bridge.piece(0.0, 600.0, 3.6, 30.0, 0.5)
    step = prepare(work.seg, record[0], stretch[0], 300.0, 900.0, 0.0, rows, work.active, rows.size)
    altered, before = bridge.altered_balance(mutation), work.state.copy()

    def slope(vector):
        rate = np.zeros(vector.size)
        altered(vector, rate, work.heat, step, work.seg, person, rows, work.active, rows.size)
        return rate

    vector = before.copy()
    for _ in range(120):
        vector = twin.rk4(slope, vector, 5.0)
    first, last, worn = bridge.to_twin(before), bridge.to_twin(vector), [True] * rows.size
    plain_rows, change = bridge.plain(rows), vector - before
    terms = change[n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS]
    stored = twin.heat_content(last, plain_rows, worn, who) - twin.heat_content(first, plain_rows, worn, who)
    energy = abs(stored - terms.sum() + change[n.JOULES_WATER]) / np.abs(terms).sum()
    gained = change[n.SWEAT] + change[n.CONDENSED] + change[n.RECEIVED]
    spent = change[n.EVAPORATED] + change[n.DRIPPED] + change[n.WICKED]
    film = twin.water_on_skin(last) - twin.water_on_skin(first) - (gained - spent)
    block = change[n.BASE : n.BASE + n.ROW_SIZE]
    body = change[n.LOST] - change[[n.SWEAT, n.DIFFUSED, n.BREATHED]].sum() + block[n.ROW_DRUNK]
    inside = block[n.STORE_KG] + block[n.ROW_DRUNK]
    devices = 0.0
    for r in range(rows.size):
        block = change[n.BASE + r * n.ROW_SIZE : n.BASE + (r + 1) * n.ROW_SIZE]
        came = block[[n.FROM_SKIN, n.FROM_AIR, n.FROM_VAPOUR, n.WITH_WATER]].sum()
        devices = max(devices, abs(block[n.STORE_J] - came) / (np.abs(block[[n.STORE_J, n.FROM_SKIN, n.WITH_WATER]]).sum()))
    return energy, max(abs(film), abs(body), abs(inside)) / (gained + spent), devices


@pytest.mark.parametrize("what", ENERGY_MUTATIONS)
def test_energy_books_show_a_forgotten_counterpart(what):
    energy, water, devices = closures_of(ENERGY_MUTATIONS[what])
    if ENERGY_MUTATIONS[what] is None:
        assert energy < 1e-6 and water < 1e-9 and devices < 1e-9
    else:
        assert energy > 1e-3, f"closure does not notice that {what} is missing: {energy:.1e} of throughput"


@pytest.mark.parametrize("what", [what for what in WATER_MUTATIONS if what != "none"])
def test_water_books_show_a_forgotten_counterpart(what):
    _, water, _ = closures_of(WATER_MUTATIONS[what])
    assert water > 1e-3, f"closure does not notice that {what} is missing: {water:.1e} of what came and went"


@pytest.mark.parametrize("what", [what for what in DEVICE_MUTATIONS if what != "none"])
def test_device_books_show_a_forgotten_counterpart(what):
    _, _, devices = closures_of(DEVICE_MUTATIONS[what])
    assert devices > 1e-3, f"closure does not notice that {what} is missing: {devices:.1e} of what went through"


# --- stability and accuracy ------------------------------------------------------------------------------------------


def random_cooling(kind, rng):
    """One kind of row at any strength that its front door accepts."""
    some = tuple(rng.permutation(SEGMENTS)[: rng.integers(1, 6)])
    if kind == "drink":
        ice = rng.choice([0.0, rng.uniform(0, 1)])
        return Drink(rng.choice([0.002, 0.05, rng.uniform(0.1, 2.0)]), -1.0 if ice else rng.uniform(0, 60), ice)
    if kind == "poured":
        return PouredWater(rng.choice([0.2, 10.0, rng.uniform(0.05, 10.0)]), rng.uniform(0, 60), segments=some)
    return Bath(rng.uniform(0, 45), segments=some, contact_W_m2K=rng.choice([10.0, 1000.0, rng.uniform(10, 1000)]))


def eigenvalues(record, work, step, rows, state):
    """Eigenvalues [1/s] at a state, by differences: tissue temperatures, and what is in stores."""
    stores = [n.BASE + r * n.ROW_SIZE + k for r in range(rows.size) for k in (n.STORE_J, n.STORE_KG)]
    places = np.array([*range(n.N_NODES), *stores])

    def rate(vector):
        out = np.zeros(vector.size)
        balance(vector, out, work.heat, step, work.seg, record[0], rows, work.active, rows.size)
        return out[places]

    jacobian = np.zeros((places.size, places.size))
    for column, place in enumerate(places):
        delta = 1e-4 if place < n.N_NODES else 1e-2 if place in stores[::2] else 1e-6 * state[place]
        if delta == 0.0:
            continue
        up, down = state.copy(), state.copy()
        up[place] += delta
        down[place] -= delta
        jacobian[:, column] = (rate(up) - rate(down)) / (2.0 * delta)
    return np.linalg.eigvals(jacobian)


@pytest.mark.parametrize("kind", ["drink", "poured", "bath"])
def test_stability_bound_is_above_every_eigenvalue(kind):
    """The bound used at set-up against the true spectrum: 40 varied runners, fresh and nearly empty stores, hard weather."""
    rng, ratios = np.random.default_rng(11), []
    for case in range(40):
        record = runner_record(bridge.random_person(rng), bridge.random_overrides(rng))
        wind, cycling = rng.uniform(0, 8), bool(case % 2)
        stretch = bridge.piece(
            0.0,
            600.0,
            0.0 if cycling else rng.uniform(0.5, 6.0),
            rng.uniform(5, 40),
            rng.uniform(0.2, 0.9),
            wind_m_s_0=wind,
            wind_m_s_1=wind,
            activity=twin.CYCLING if cycling else twin.ON_FOOT,
            power_W=rng.uniform(200, 1300) if cycling else -1.0,
            swing_m_s=1.0,
        )
        rows, events, _ = flatten_cooling([random_cooling(kind, rng)], record[0]["area_m2"], 600.0)
        work = run.new_work(rows.size)
        run.start_rows(work, run.settle(record), rows)
        prepare_body(work.seg, record[0], rows, work.active, rows.size)
        for event in events:
            apply_event(work.state, event, rows, work.active, rows.size, work.seg, record[0], work.heat)
        state = work.state
        state[: n.N_NODES] += rng.uniform(0.5, 3.0)
        state[n.FILM : n.LOST] = rng.uniform(0.2, 1.2) * record[0]["film_full_kg_m2"] * record[0]["area_m2"]
        left = rng.choice([1.0, 0.3, 0.01, 1e-4])
        for base in n.BASE + n.ROW_SIZE * np.arange(rows.size):
            state[base + n.STORE_KG] *= left
            state[base + n.STORE_J] *= left
        demand = power_demand(state, stretch[0], record[0], rows, work.active, rows.size, 300.0)
        step = prepare(work.seg, record[0], stretch[0], 300.0, demand, 0.0, rows, work.active, rows.size)
        found = eigenvalues(record, work, step, rows, state)
        assert np.abs(found.imag).max() < 0.2 * np.abs(found.real).max()
        ratios.append(plan.stiffest_rates(record, stretch, rows[None])[0] / -found.real.min())
    print(f"{kind}: bound over true rate {min(ratios):.2f} to {max(ratios):.2f}, median {np.median(ratios):.2f}")
    assert min(ratios) > 1.0, f"the bound is only {min(ratios):.2f} of the quickest node's true rate"
    assert np.median(ratios) < 6.0, f"the bound wastes steps: {np.median(ratios):.1f} times the true rate"


@pytest.mark.parametrize("cooling", [[PouredWater(10.0, 2.0, segments=("face",))], [Bath(2.0, contact_W_m2K=1000.0)]])
def test_the_strongest_that_is_accepted_stays_finite_and_between_water_and_body(cooling):
    """Ten kilograms over the face alone, or the hardest contact: no temperature leaves what is between water and blood."""
    stretch = bridge.piece(0.0, 300.0, 3.0, 25.0, 0.5)
    _, ours, _ = play([Worn(cooling[0], from_min=1.0)], stretch, saves=np.arange(0.0, 301.0, 5.0))
    skins = ours.states[:, n.SKIN : n.BLOOD]
    assert np.isfinite(ours.states).all() and skins.min() > 1.9 and skins.max() < 40.0


def runs_with_water():
    hour = (0.0, 3600.0)
    bath_and_drink = [
        Worn(Drink(0.25, 6.0), from_min=5.0, refill_min=(15.0, 30.0)),
        Worn(Bath(12.0), from_min=35.0, to_min=48.0),
    ]
    then_rest = np.concatenate([bridge.piece(0.0, 2100.0, 3.3, 33.0, 0.6), lying(60.0, 26.0)])
    then_rest[1]["start_s"] = 2100.0
    yield "bath and drink, running before", then_rest, bath_and_drink
    cycling = bridge.piece(
        *hour, 0.0, 35.0, 0.5, activity=twin.CYCLING, power_W=700.0, given_work_W=150.0, swing_m_s=1.0, upright=0.5,
        ground_air=0.0, fan_m_s=3.0,
    )  # fmt: skip
    hands = Worn(Bath(15.0, segments=("hands", "forearms")), from_min=20.0)
    yield "slurry and cold hands, cycling", cycling, [Worn(Drink(0.5, -1.0, ice_share=0.5), from_min=2.0), hands]
    poured = [Worn(PouredWater(0.5, 15.0), from_min=10.0, refill_min=(20.0, 30.0, 40.0)), ice_collar(0.2, False)]
    yield "poured water and a bare collar", bridge.piece(*hour, 3.3, 34.0, 0.5, solar_W_m2_0=700.0), poured


RUNS = {name: rest for name, *rest in runs_with_water()}


@pytest.mark.parametrize("name", RUNS)
def test_accuracy_against_a_general_purpose_solver(name):
    """The engine as it ships: core within 0.005 K and mean skin within 0.05 K of LSODA at 1e-10."""
    pieces, cooling = RUNS[name]
    record = runner_record(bridge.person(heat_days=5.0))
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 3600.0)
    start, saves = run.settle(record), np.arange(0.0, 3601.0, 60.0)
    exact = reference.solve(record, pieces, rows, events, saves, start=start)
    ours = run.run(record, pieces, rows, events, saves, start=start)
    np.testing.assert_array_equal(ours.time_s, exact.time_s)
    core = np.abs(ours.diagnostics[:, D_CORE] - exact.core_C).max()
    skin = np.abs(ours.diagnostics[:, D_SKIN] - exact.skin_C).max()
    water = np.abs(ours.states - exact.states)[:, [n.LOST, *(n.BASE + n.ROW_SIZE * np.arange(rows.size) + n.STORE_KG)]].max()
    print(f"{name}: core {core:.1e} K, mean skin {skin:.1e} K, water {water:.1e} kg")
    assert core < 0.005 and skin < 0.05 and water < 2e-3


# --- what is refused -------------------------------------------------------------------------------------------------


def own_bath(**fields):
    return Table(boundary_row("neck", **{"area_m2": 0.05, "contact_W_m2K": 100.0, "charge_C": 15.0, "place": BATH, **fields}))


REFUSED = {
    "ice that is not frozen": (lambda: Drink(0.5, 4.0, ice_share=0.3), ("ice_share is 0.3 at 4 °C", "slurry")),
    "more ice than drink": (lambda: Drink(0.5, -1.0, ice_share=1.5), ("ice_share is 1.5", "0 to 1")),
    "five litres at once": (lambda: Drink(5.0, 4.0), ("portion_kg is 5 kg", "0.001 to 2 kg")),
    "a boiling drink": (lambda: Drink(0.5, 80.0), ("temperature_C is 80 °C", "-5 to 60 °C")),
    "a drink of text": (lambda: Drink("0.5", 4.0), ("portion_kg is '0.5'", "not a finite number", "in kg")),
    "a drink of no temperature": (lambda: Drink(0.5, float("nan")), ("temperature_C is nan", "in °C")),
    "less than nothing poured": (lambda: PouredWater(-1.0, 20.0), ("mass_kg is -1 kg", "0.005 to 10 kg")),
    "ice poured": (lambda: PouredWater(0.5, -3.0), ("temperature_C is -3 °C", "0 to 60 °C")),
    "poured on no known place": (lambda: PouredWater(0.5, 20.0, segments=("hed",)), ("segments has 'hed'", "head")),
    "poured nowhere": (lambda: PouredWater(0.5, 20.0, segments=()), ("segments is empty",)),
    "poured twice on one place": (lambda: PouredWater(0.5, 20.0, segments=("neck", "neck")), ("names one twice",)),
    "a bath that scalds": (lambda: Bath(60.0), ("temperature_C is 60 °C", "0 to 45 °C")),
    "a bath of ice": (lambda: Bath(-1.0), ("temperature_C is -1 °C", "0 to 45 °C")),
    "a bath without contact": (lambda: Bath(15.0, contact_W_m2K=0.0), ("contact_W_m2K is 0 W/m²K", "10 to 1000 W/m²K")),
    "a bath on no known place": (lambda: Bath(15.0, segments=("neck", "tail")), ("segments has 'tail'",)),
    "frost by one's own row": (lambda: play([own_bath(charge_C=-2.0)], lying(2.0)), ("charge_C", "cold injury")),
    "more than a whole segment": (lambda: play([own_bath(segment_share=1.2)], lying(2.0)), ("segment_share is 1.2", "0 to 1")),
    "a place that is none": (lambda: play([own_bath(place=7)], lying(2.0)), ("place is 7", "0 to 4")),
    "drunk after the end": (lambda: play([Worn(Drink(0.3, 8.0), from_min=9.0)], lying(2.0)), ("from_min is 9 min", "2 min")),
    "a portion before the first": (lambda: Worn(Drink(0.3, 8.0), from_min=9.0, refill_min=(5.0,)), ("refill_min has 5 min",)),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused_in_one_clear_sentence(what):
    make, words = REFUSED[what]
    with pytest.raises(ts.InputError) as error:
        make()
    sentence = str(error.value)
    assert all(word in sentence for word in words), sentence
    assert sentence.endswith(".") and "\n" not in sentence and ";" in sentence
    assert "  " not in sentence and " ," not in sentence and " ;" not in sentence


def test_one_segment_by_name_is_a_list_of_one():
    assert Bath(15.0, segments="hands").segments == ("hands",)
