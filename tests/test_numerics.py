"""Step methods on the real body: order, accuracy against a general-purpose solver, stability, invariants, jumps."""

import basic_twin as twin
import numpy as np
import pytest
import reference
import twin_bridge as bridge

from thermosim.cooling import boundary_row, ice_collar
from thermosim.cooling.device import flatten_cooling
from thermosim.engine import methods, plan, run
from thermosim.engine import nodes as n
from thermosim.engine.balance import balance, mean_skin, trunk_core
from thermosim.engine.integrate import (
    D_CORE,
    D_SKIN,
    S_CLOSURE,
    S_DISTANCE,
    S_THROUGHPUT,
    S_WATER,
    apply_event,
)
from thermosim.engine.methods import HEUN, RK4, RKC2, advance, chebyshev_coefficients, stability_limit
from thermosim.engine.prepare import power_demand, prepare, prepare_body
from thermosim.engine.records import EVENT, PUT_ON
from thermosim.errors import NumericalFailure
from thermosim.inputs.flat import runner_record

ORDERS = {
    "heun": (HEUN, 3, 2),
    "rk4": (RK4, 3, 4),
    "rkc2, 3 stages": (RKC2, 3, 2),
    "rkc2, 5 stages": (RKC2, 5, 2),
}


@pytest.fixture(scope="module")
def warm():
    """A runner some minutes into a steady warm run, coefficients prepared for a frozen forcing."""
    # The laws of skin flow have kinks, across which no method keeps its order: they are moved out of the way, and what a
    # calibration may move is held, so that the span stays smooth.
    smooth = {
        "local_flow_cold_C": 12.0, "local_flow_warm_C": 28.0, "constriction_skin_C": 28.0, "constriction_override": 2.5,
        "skin_signal_floor_C": 26.0, "shunt_flow_span_K": 1.5, "skin_flow_ceiling_exercise_L_min": 4.0,
        "sweat_set_core_C": 36.7, "skin_flow_set_core_C": 36.7, "sweat_gain_L_h_K": 0.55, "skin_flow_gain_L_min_K": 1.8,
        "sweat_skin_weight": 0.1, "skin_flow_skin_weight": 0.1, "maximum_sweat_rate_L_h": 1.5, "skin_flow_rest_L_min": 0.22,
        "skin_flow_ceiling_intensity": 0.5, "constriction_gain_1_K": 0.5, "shunt_flow_ceiling_L_min": 0.35,
        "conduction_factor": 0.5, "viscera_flow_fall": 0.55, "muscle_flow_gain_L_per_L_oxygen": 5.6,
    }  # fmt: skip
    record = runner_record(bridge.person(heat_days=4.0), smooth)
    start = run.settle(record)
    stretch = bridge.piece(0.0, 1200.0, 2.6, 29.0, 0.5)
    before = run.run(record, stretch, save_times_s=[600.0], start=start, method=RK4, step_s=1.0)
    work = run.new_work(0)
    prepare_body(work.seg, record[0], run.NO_ROWS, work.active, 0)
    metabolic_W = before.fasts[0, n.OXYGEN_FAST] + 80.0
    step = prepare(work.seg, record[0], stretch[0], 600.0, metabolic_W, 0.0, run.NO_ROWS, work.active, 0)
    return record, before.states[0], work, step


def march(warm, method, stages, step_s, seconds=240.0):
    """Take equal steps under frozen forcing; return the state at the end."""
    record, first, work, step = warm
    state, table = first.copy(), chebyshev_coefficients(stages)
    for _ in range(round(seconds / step_s)):
        advance(
            method,
            table,
            step_s,
            state.size,
            state,
            work.stages,
            work.heat,
            step,
            work.seg,
            record[0],
            run.NO_ROWS,
            work.active,
            0,
        )
    return state


@pytest.mark.parametrize("name", ORDERS)
def test_observed_order_of_convergence(name, warm):
    """Halving the step divides the error by two to the power of the order, on core and on skin."""
    method, stages, order = ORDERS[name]
    record, _, work, _ = warm
    exact = march(warm, RK4, 3, 0.25)

    def errors(step_s):
        state = march(warm, method, stages, step_s)
        skin = [
            mean_skin(y, run.NO_ROWS, work.active, 0, work.seg, record[0]["surface_area_m2"])
            for y in (state, exact)
        ]
        core = [trunk_core(y, work.seg) for y in (state, exact)]
        return np.array(
            [abs(core[0] - core[1]), abs(skin[0] - skin[1]), np.abs(state - exact)[: n.N_NODES].max()]
        )

    coarse, fine = errors(4.0), errors(2.0)
    observed = np.log2(coarse / fine)
    assert np.all(np.abs(observed - order) < (0.35 if order == 2 else 0.6)), (
        f"observed {observed}, errors {coarse}, {fine}"
    )


# --- accuracy --------------------------------------------------------------------------------------------------------


def examples():
    """Runs that differ in everything: (name, runner, pieces, cooling)."""
    one_hour = (0.0, 3600.0)
    yield "steady and warm", bridge.person(), bridge.piece(*one_hour, 3.3, 31.0, 0.7), []
    yield (
        "fast, cool, windy",
        bridge.person(vo2max_mL_kg_min=70.0, heat_days=8.0),
        bridge.piece(
            *one_hour,
            4.8,
            12.0,
            0.6,
            wind_m_s_0=2.0,
            wind_m_s_1=6.0,
            wind_along=0.5,
            wind_across=0.5,
            air_drag=1,
        ),
        [],
    )
    intervals = [
        bridge.piece(
            300.0 * i,
            300.0 * (i + 1),
            (2.8, 4.2, 0.0)[i % 3],
            24.0 + i,
            0.6,
            grade=(0.06, -0.05, 0.0)[i % 3],
            solar_W_m2_0=60.0 * i,
            solar_W_m2_1=60.0 * i + 60.0,
        )
        for i in range(12)
    ]
    yield (
        "hills, descents, stops",
        bridge.person(clothing="shirt_and_shorts", body_fat_pct=25.0),
        np.concatenate(intervals),
        [],
    )
    drift = np.concatenate(
        [
            bridge.piece(0.0, 1200.0, 3.3, 33.0, 0.5),
            bridge.piece(1200.0, 3600.0, 3.6, 33.0, 0.5, air_C_1=38.0),
        ]
    )
    for covered in (True, False):
        collar = ice_collar(0.2, covered, from_min=5.0, to_min=50.0, refill_min=(30.0,), held_water_kg=0.03)
        yield f"{'tight' if covered else 'bare'} collar", bridge.person(heat_days=5.0), drift, [collar]
    sunny = bridge.piece(*one_hour, 3.0, 38.0, 0.2, solar_W_m2_0=800.0, solar_W_m2_1=800.0)
    yield "spent wet collar in the sun", bridge.person(), sunny, [ice_collar(0.05, False, held_water_kg=0.0)]
    rain = bridge.piece(
        *one_hour, 1.0, 2.0, 0.9, wind_m_s_0=8.0, wind_m_s_1=8.0, wind_along=1.0, wind_across=0.0
    )
    yield "nude in cold wind", bridge.person(clothing="nude", mass_kg=50.0, body_fat_pct=8.0), rain, []
    climb = bridge.piece(*one_hour, 1.6, 40.0, 0.4, grade=0.05, carried_kg=10.0)
    yield (
        "coverall uphill in the heat",
        bridge.person(clothing="coverall", mass_kg=95.0, body_fat_pct=28.0),
        climb,
        [],
    )


EXAMPLES = {name: rest for name, *rest in examples()}


@pytest.mark.parametrize("name", EXAMPLES)
def test_accuracy_against_a_general_purpose_solver(name):
    """The engine as it ships: core within 0.005 K and skin within 0.05 K of LSODA at 1e-10; books closed."""
    runner, pieces, cooling = EXAMPLES[name]
    record = runner_record(runner)
    start, saves = run.settle(record), np.arange(0.0, 3601.0, 60.0)
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 3600.0)
    exact = reference.solve(record, pieces, rows, events, saves, start=start)
    ours = run.run(record, pieces, rows, events, saves, start=start)
    np.testing.assert_array_equal(ours.time_s, exact.time_s)
    core = np.abs(ours.diagnostics[:, D_CORE] - exact.core_C).max()
    skin = np.abs(ours.diagnostics[:, D_SKIN] - exact.skin_C).max()
    everywhere = np.abs(ours.states - exact.states)[:, n.SKIN : n.BLOOD].max()
    assert core < 0.005 and skin < 0.05 and everywhere < 0.05, (
        f"core {core:.1e}, skin {skin:.1e}, worst place {everywhere:.1e} K"
    )
    assert np.abs(ours.states - exact.states)[:, n.LOST].max() < 1e-3  # a gram of water
    assert np.abs(ours.fasts - exact.fasts)[:, : n.DISTANCE].max() < 0.5  # W and bpm
    assert (
        abs(ours.summary[S_CLOSURE]) < 1e-6 * ours.summary[S_THROUGHPUT] and abs(ours.summary[S_WATER]) < 1e-9
    )


def test_references_agree_with_each_other():
    """The reference is a reference: another method at another tolerance gives the same to a microkelvin."""
    runner, pieces, _ = EXAMPLES["hills, descents, stops"]
    record = runner_record(runner)
    start, saves = run.settle(record), [600.0, 1500.0, 3600.0]
    one = reference.solve(record, pieces, save_times_s=saves, start=start)
    other = reference.solve(record, pieces, save_times_s=saves, start=start, rtol=1e-9, method="DOP853")
    assert np.abs(one.states - other.states)[:, : n.RECTAL + 1].max() < 2e-6


# --- jumps -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cut_s", [600.0, 600.0000004, 599.9999996, 2000.0 / 3.7])
def test_a_jump_of_speed_takes_effect_at_its_time(cut_s):
    """Also where a boundary is no round number: the runner stops at the cut and covers no more ground."""
    record = runner_record(bridge.person())
    pieces = np.concatenate(
        [bridge.piece(0.0, cut_s, 3.0, 25.0, 0.5), bridge.piece(cut_s, 1800.0, 0.0, 25.0, 0.5)]
    )
    ours = run.run(record, pieces, save_times_s=[0.0, 1800.0], start=run.settle(record))
    assert ours.summary[S_DISTANCE] == pytest.approx(3.0 * cut_s, abs=1e-3)


@pytest.mark.parametrize("at_s", [600.0, 600.0000004, 599.9999996, 2000.0 / 3.7])
def test_a_device_goes_on_at_its_time(at_s):
    record = runner_record(bridge.person())
    rows, events, _ = flatten_cooling([ice_collar(0.25)], record[0]["area_m2"], 1800.0)
    events["time_s"] = at_s
    ours = run.run(
        record,
        bridge.piece(0.0, 1800.0, 3.0, 25.0, 0.5),
        rows,
        events,
        [0.0, 1800.0],
        start=run.settle(record),
    )
    events["time_s"] = round(at_s, 3)
    near = run.run(
        record,
        bridge.piece(0.0, 1800.0, 3.0, 25.0, 0.5),
        rows,
        events,
        [0.0, 1800.0],
        start=run.settle(record),
    )
    taken = [trajectory.states[-1, n.BASE + n.FROM_SKIN] for trajectory in (ours, near)]
    assert taken[0] == pytest.approx(taken[1], rel=1e-4) and taken[0] > 1e4


# --- stability -------------------------------------------------------------------------------------------------------


def growth(table, z):
    """What a step does to y' = lambda y, per unit of y, z being step times lambda: the method's own recurrence."""
    before, now = np.ones_like(z), 1.0 + table[0, 2] * z
    for mu, nu, step, back in table[1:]:
        before, now = now, (1.0 - mu - nu) + mu * now + nu * before + step * z * now + back * z
    return now


@pytest.mark.parametrize("stages", [2, 3, 4, 5, 8, 12])
def test_chebyshev_table_is_stable_as_far_as_it_says_and_second_order(stages):
    table, limit = chebyshev_coefficients(stages), stability_limit(RKC2, stages)
    inside = np.linspace(-limit, 0.0, 20001)
    assert np.abs(growth(table, inside)).max() <= 1.0 + 1e-12
    assert np.abs(growth(table, np.linspace(-limit, -0.5, 20001))).max() < 0.9999  # damped, not only bounded
    assert abs(growth(table, np.array([-1.2 * limit]))[0]) > 1.0  # the limit is no understatement by a fifth
    z = -np.array([1e-2, 1e-3])
    assert np.all(np.abs(growth(table, z) - (1.0 + z + z**2 / 2.0)) < 0.2 * np.abs(z) ** 3)


def test_limits_of_the_classical_methods():
    heun, rk4 = stability_limit(HEUN, 3), stability_limit(RK4, 3)
    assert abs(1.0 - heun + heun**2 / 2.0) <= 1.0 + 1e-12
    z = np.linspace(-rk4, 0.0, 10001)
    assert np.abs(1 + z + z**2 / 2 + z**3 / 6 + z**4 / 24).max() <= 1.0 + 1e-12


def test_chebyshev_table_agrees_with_the_twin():
    for stages in (2, 3, 5, 9):
        for z in (-0.3, -1.7, 0.2):
            plain = twin.rkc2(lambda y, z=z: z * y, np.array([1.0]), 1.0, stages)
            assert growth(chebyshev_coefficients(stages), np.array([z]))[0] == pytest.approx(
                plain[0], rel=1e-13
            )


def eigenvalues(record, work, step, rows, state):
    """Eigenvalues [1/s] of the thermal network at a state, by differences: temperatures and stores only."""
    active = [
        n.BASE + r * n.ROW_SIZE + k
        for r in range(rows.size)
        if work.active[r]
        for k in (n.PATCH_C, n.STORE_J, n.OUTER_C)
    ]
    places = np.array([*range(n.N_NODES), *active])

    def rate(vector):
        out = np.zeros(vector.size)
        balance(vector, out, work.heat, step, work.seg, record[0], rows, work.active, rows.size)
        return out[places]

    jacobian = np.zeros((places.size, places.size))
    for column, place in enumerate(places):
        delta = 1e-4 if place not in active[1::3] else 1e-2
        up, down = state.copy(), state.copy()
        up[place] += delta
        down[place] -= delta
        jacobian[:, column] = (rate(up) - rate(down)) / (2.0 * delta)
    return np.linalg.eigvals(jacobian)


def test_stability_bound_is_above_every_eigenvalue_of_the_real_body():
    """The bound used at set-up, against the true spectrum of 60 varied runners with and without collars, in hard weather."""
    rng = np.random.default_rng(7)
    ratios = []
    for case in range(60):
        record = runner_record(bridge.random_person(rng), bridge.random_overrides(rng))
        speed, wind = rng.uniform(0.5, 6.0), rng.uniform(0.0, 8.0)
        stretch = bridge.piece(
            0.0,
            600.0,
            speed,
            rng.uniform(5, 40),
            rng.uniform(0.2, 0.9),
            wind_m_s_0=wind,
            wind_m_s_1=wind,
            wind_along=1.0,
            wind_across=0.0,
            pressure_kPa=rng.uniform(75, 102),
        )
        cooling = (
            [ice_collar(0.2, bool(case % 2), held_water_kg=rng.choice([0.0, 0.1]), contact_area_m2=0.012)]
            if case % 3
            else []
        )
        rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 600.0)
        work, start = run.new_work(rows.size), run.settle(record)
        run.start_rows(work, start, rows)
        prepare_body(work.seg, record[0], rows, work.active, rows.size)
        for event in events:
            apply_event(work.state, event, rows, work.active, rows.size, work.seg, record[0], work.heat)
        state = work.state
        state[: n.N_NODES] += rng.uniform(0.5, 3.0)
        state[n.FILM : n.LOST] = rng.uniform(0.2, 1.2) * record[0]["film_full_kg_m2"] * record[0]["area_m2"]
        demand = power_demand(state, stretch[0], record[0], rows, work.active, rows.size, 300.0)
        step = prepare(work.seg, record[0], stretch[0], 300.0, demand, 0.0, rows, work.active, rows.size)
        found = eigenvalues(record, work, step, rows, state)
        assert (
            np.abs(found.imag).max() < 0.2 * np.abs(found.real).max()
        )  # real and mild, as explicit methods want it
        bound = plan.stiffest_rates(record, stretch, rows[None])[0]
        ratios.append(bound / -found.real.min())
    assert min(ratios) > 1.0, f"the bound is only {min(ratios):.2f} of the quickest node's true rate"
    assert np.median(ratios) < 6.0, f"the bound wastes steps: {np.median(ratios):.1f} times the true rate"


def test_hopeless_device_gets_a_sentence_not_a_blow_up():
    record = runner_record(bridge.person())
    row = boundary_row(
        "neck",
        area_m2=0.02,
        contact_W_m2K=100.0,
        charge_kg=0.2,
        outer_conductance_W_m2K=500.0,
        outer_J_K=0.05,
    )
    event = np.array([(0.0, 0, PUT_ON)], dtype=EVENT)
    with pytest.raises(NumericalFailure, match="too fast for steps"):
        run.run(
            record, bridge.piece(0.0, 600.0, 3.0, 25.0, 0.5), row, event, [600.0], start=run.settle(record)
        )


# --- invariants ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ORDERS)
@pytest.mark.parametrize("covered", [True, False], ids=["tight", "bare"])
def test_linear_invariants_are_kept_to_rounding_by_every_method(name, covered):
    """Sums that the right-hand side keeps, the method keeps: water of skin and device, heat of the device, fluid lost."""
    method, stages, _ = ORDERS[name]
    record = runner_record(bridge.person())
    cooling = [
        ice_collar(0.1, covered, held_water_kg=0.0),
        ice_collar(0.2, not covered, from_min=10.0, contact_area_m2=0.011),
    ]
    cooling[0] = ice_collar(0.1, covered, held_water_kg=0.0, contact_area_m2=0.011)
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 2400.0)
    ours = run.run(
        record,
        bridge.piece(0.0, 2400.0, 3.3, 33.0, 0.6),
        rows,
        events,
        np.arange(0.0, 2401.0, 300.0),
        start=run.settle(record),
        method=method,
        stages=stages,
        step_s=20.0,
    )
    states, water = ours.states, dict(zip(twin.WATER, bridge.WATER))
    assert ours.status == n.DONE

    def drift(invariant, scale):
        return np.abs(invariant - invariant[0]).max() / scale

    films = states[:, n.FILM : n.LOST].sum(axis=1) + states[
        :, [n.BASE + n.PATCH_FILM, n.BASE + n.ROW_SIZE + n.PATCH_FILM]
    ].sum(axis=1)
    gained = sum(states[:, water[key]] for key in ("sweat", "condensed", "received"))
    spent = sum(states[:, water[key]] for key in ("evaporated", "dripped", "wicked"))
    assert drift(films - gained + spent, 1.0) < 1e-12
    assert (
        drift(
            states[:, n.LOST] - sum(states[:, water[key]] for key in ("sweat", "diffused", "breathed")), 1.0
        )
        < 1e-12
    )
    for r, row in enumerate(rows):
        block = states[:, n.BASE + r * n.ROW_SIZE : n.BASE + (r + 1) * n.ROW_SIZE]
        heat = block[:, [n.FROM_SKIN, n.FROM_AIR, n.FROM_VAPOUR, n.WITH_WATER, n.ROW_CHARGED_J]].sum(axis=1)
        assert drift(block[:, n.STORE_J] + row["outer_J_K"] * block[:, n.OUTER_C] - heat, 1e5) < 1e-12
        into = block[:, [n.ROW_CHARGED_KG, n.ROW_WICKED, n.ROW_CONDENSED]].sum(axis=1)
        out = block[:, [n.ROW_EVAPORATED, n.ROW_DRIPPED]].sum(axis=1)
        assert drift(block[:, n.STORE_KG] + block[:, n.OUTER_KG] - into + out, 1.0) < 1e-12
    assert (
        states[-1, water["received"]] > 1e-3 and states[-1, water["wicked"]] > 1e-4
    )  # and all of it took place
    assert methods.METHOD_NAMES[method] in name
