"""The compiled engine against the basic twin; and proof that the books would show a forgotten counterpart."""

import basic_twin as twin
import numpy as np
import pytest
import twin_bridge as bridge

from thermosim.cooling import ice_collar
from thermosim.cooling.device import Worn, flatten_cooling
from thermosim.cooling.water import Bath, Drink, PouredWater
from thermosim.engine import balance as balance_module
from thermosim.engine import methods, run
from thermosim.engine import nodes as n
from thermosim.engine.integrate import D_HEART, D_REST, S_CLOSURE, S_THROUGHPUT, S_WATER, apply_event
from thermosim.engine.plan import plan_steps
from thermosim.engine.prepare import heart_rate, power_demand, prepare, prepare_body, update_fast, work_rate
from thermosim.engine.records import EVENT
from thermosim.inputs.flat import runner_record

SHIFTS = ("air_temperature_shift_K", "vapour_pressure_factor", "air_speed_factor", "solar_factor")


def floor_of_rates(size: int) -> np.ndarray:
    """Rates too small to matter: a billionth of what is usual for each kind of state, per second."""
    floor = np.full(size, 1e-15)  # water [kg/s]: usual is 1e-6 and more
    floor[: n.RECTAL + 1] = 1e-13  # temperatures [K/s]: usual is 1e-4
    floor[n.JOULES : n.JOULES_WATER + 1] = 1e-9  # powers [W]: usual is 1 to 1000
    for base in range(n.BASE, size, n.ROW_SIZE):
        floor[base + n.PATCH_C], floor[base + n.OUTER_C] = 1e-13, 1e-12
        floor[[base + n.STORE_J, *range(base + n.FROM_SKIN, base + n.RUN_OFF + 1)]] = 1e-9
    return floor


def assert_close(engine, plain, floor, what):
    allowed = 1e-9 * np.abs(plain) + floor
    worst = np.argmax(np.abs(engine - plain) / allowed)
    assert np.all(np.abs(engine - plain) <= allowed), (
        f"{what}: state {worst} is {engine[worst]:.15g} in the engine, {plain[worst]:.15g} in the twin"
    )


def a_thousand_cases():
    rng = np.random.default_rng(20240617)
    for case in range(1000):
        if case % 4 == 0:  # four weathers and states for each runner
            runner, overrides, tied = bridge.random_person(rng), bridge.random_overrides(rng), case % 40 == 0
            record, who = (
                runner_record(runner, overrides, two_node=tied),
                twin.make_person(runner, overrides, tied),
            )
            for name, number in zip(
                SHIFTS,
                (rng.normal(0, 1), rng.uniform(0.9, 1.1), rng.uniform(0.5, 1.5), rng.uniform(0.8, 1.2)),
            ):
                record[name] = number
                setattr(who, name, number)
        yield case, rng, record, who


def test_every_rate_at_a_thousand_random_states():
    bare = tight = dew = frozen = refrozen = 0
    places, activities, given = np.zeros(5, dtype=int), np.zeros(3, dtype=int), 0
    work = run.new_work(n.MAX_ROWS)
    for case, rng, record, who in a_thousand_cases():
        rows, piece = bridge.random_rows(rng, who.area), bridge.random_piece(rng)
        plain_rows, plain_piece = bridge.plain(rows), bridge.plain(piece)[0]
        state, fast = bridge.random_state(rng, who, plain_rows), bridge.random_fast(rng, who)
        worn = [bool(rng.random() < 0.8) for _ in plain_rows]
        time_s, seconds = rng.uniform(0, 600), rng.uniform(0.5, 60)

        # the engine
        vector, size = bridge.to_vector(state), n.BASE + rows.size * n.ROW_SIZE
        work.active[:] = bridge.active_of(rows, worn)
        work.heat[:] = 0.0
        kept = np.array([fast[name] for name in bridge.FAST])
        rate = np.full(size, np.nan)
        prepare_body(work.seg, record[0], rows, work.active, rows.size)
        demand = power_demand(vector, piece[0], record[0], rows, work.active, rows.size, time_s)
        climbing = work_rate(vector, piece[0], record[0], rows, work.active, rows.size)
        mean = update_fast(kept, demand, piece[0], record[0], seconds)
        step = prepare(work.seg, record[0], piece[0], time_s, mean, climbing, rows, work.active, rows.size)
        balance_module.balance(
            vector, rate, work.heat, step, work.seg, record[0], rows, work.active, rows.size
        )
        parts = np.zeros(7)
        total = heart_rate(
            vector,
            kept,
            record[0],
            balance_module.trunk_core(vector, work.seg),
            balance_module.mean_skin(
                vector, rows, work.active, rows.size, work.seg, record[0]["surface_area_m2"]
            ),
            parts,
        )

        # the twin
        asked = twin.power_asked(state, plain_piece, plain_rows, worn, time_s, who)
        moved, mean_W = twin.move_fast_states(fast, asked, plain_piece, seconds, who)
        up_W = twin.external_work(state, plain_piece, plain_rows, worn, who)
        around = [row for row, on in zip(plain_rows, worn) if on and row["place"] == twin.AROUND]
        now = twin.settings_of_step(plain_piece, time_s, mean_W, up_W, who, around)
        slopes = twin.derivative(state, now, plain_rows, worn, who)
        beats = twin.heart_rate(state, moved, plain_rows, worn, who)

        assert_close(rate, bridge.to_vector(slopes), floor_of_rates(size), f"case {case}")
        powers = np.array([asked, up_W, mean_W])
        assert_close(np.array([demand, climbing, mean]), powers, np.full(3, 1e-10), f"powers of case {case}")
        assert_close(
            kept,
            np.array([moved[name] for name in bridge.FAST]),
            np.full(n.N_FAST, 1e-10),
            f"fast states of case {case}",
        )
        assert_close(
            np.array([*parts, total]),
            np.array([*beats, sum(beats)]),
            np.full(8, 1e-10),
            f"heart rate of case {case}",
        )
        on_now = [(row, own) for row, own, on in zip(plain_rows, state["rows"], worn) if on]
        here = [row["place"] for row, _ in on_now]
        places += [place in here for place in range(5)]
        activities[plain_piece["activity"]] += 1
        given += plain_piece["power_W"] >= 0.0
        bare += any(row["wicks"] and row["place"] == twin.ON_SKIN for row, _ in on_now)
        tight += any(not row["wicks"] and row["place"] == twin.ON_SKIN for row, _ in on_now)
        frozen += any(own["store_J"] < 0 and row["place"] == twin.ON_SKIN for row, own in on_now)
        refrozen += any(own["store_J"] < 0 and row["place"] == twin.IN_STOMACH for row, own in on_now)
        dew += slopes["water"]["condensed"] > 0.0
    # the cases are not all alike
    assert min(bare, tight, frozen, refrozen, given, *places, *activities) > 150 and dew > 50


def test_every_event_at_random_states():
    """Putting on, drinking again, pouring again, climbing out, refilling: the same state after it, number by number."""
    rng, done = np.random.default_rng(7), {}
    work = run.new_work(n.MAX_ROWS)
    for case in range(400):
        if case % 20 == 0:
            runner = bridge.random_person(rng)
            record, who = runner_record(runner), twin.make_person(runner)
        rows = np.concatenate([bridge.random_rows(rng, who.area), bridge.random_water(rng), bridge.random_surroundings(rng)])
        plain_rows = bridge.plain(rows)
        state = bridge.random_state(rng, who, plain_rows)
        for own in state["rows"]:
            own["charged_kg"] = rng.choice([0.0, 0.5])
        worn = [bool(rng.random() < 0.6) for _ in plain_rows]
        vector = bridge.to_vector(state)
        work.active[:] = bridge.active_of(rows, worn)
        prepare_body(work.seg, record[0], rows, work.active, rows.size)
        for r, action in ((int(rng.integers(rows.size)), int(rng.integers(3))) for _ in range(4)):
            event = np.array([(0.0, r, action)], dtype=EVENT)[0]
            apply_event(vector, event, rows, work.active, rows.size, work.seg, record[0], work.heat)
            twin.happen(bridge.ACTIONS[action], r, state, plain_rows, worn, who)
            assert list(work.active) == list(bridge.active_of(rows, worn))
            plain = bridge.to_vector(state)
            assert_close(vector, plain, np.full(plain.size, 1e-15) + 1e-12 * (np.abs(plain) > 1e3), f"case {case}")
            what = plain_rows[r]["place"], action
            done[what] = done.get(what, 0) + 1
    assert len(done) == 15 and min(done.values()) > 20


# --- trajectories --------------------------------------------------------------------------------------------------

METHODS = {
    "heun": (methods.HEUN, 3, twin.heun, 5.0),
    "rk4": (methods.RK4, 3, twin.rk4, 7.5),
    "rkc2": (methods.RKC2, 3, twin.rkc2, 15.0),
    "rkc2 with 5 stages": (methods.RKC2, 5, lambda f, y, h: twin.rkc2(f, y, h, 5), 20.0),
}


def half_an_hour(covered: bool):
    """A warm-up, a fast part uphill, a slower one with sun coming out; a collar put on, refilled, taken off."""
    runner = bridge.person(heat_days=3.0, mass_kg=58.0, height_m=1.68, sex="female", body_fat_pct=None)
    ramp = {
        "air_C_0": 27.0,
        "air_C_1": 34.0,
        "radiant_C_0": 27.0,
        "radiant_C_1": 48.0,
        "vapour_kPa_0": 2.2,
        "vapour_kPa_1": 3.0,
        "solar_W_m2_0": 100.0,
        "solar_W_m2_1": 850.0,
        "wind_m_s_0": 0.5,
        "wind_m_s_1": 3.0,
    }
    pieces = np.concatenate(
        [
            bridge.piece(0.0, 400.0, 2.4, 27.0, 0.6),
            bridge.piece(
                400.0,
                1000.0,
                4.1,
                27.0,
                0.6,
                grade=0.02,
                air_drag=1,
                wind_m_s_0=1.0,
                wind_m_s_1=0.5,
                wind_along=-0.8,
                wind_across=0.6,
            ),
            bridge.piece(1000.0, 1800.0, 3.2, 27.0, 0.6, **ramp),
        ]
    )
    record = runner_record(runner)
    collar = ice_collar(0.15, covered, from_min=3.0, to_min=25.5, refill_min=(16.0,), held_water_kg=0.02)
    rows, events, _ = flatten_cooling([collar], record[0]["area_m2"], 1800.0)
    return runner, record, pieces, rows, events


@pytest.mark.parametrize("name", METHODS)
@pytest.mark.parametrize("covered", [True, False], ids=["tight collar", "bare collar"])
def test_trajectory_with_equal_steps(name, covered):
    method, stages, stepper, step_s = METHODS[name]
    runner, record, pieces, rows, events = half_an_hour(covered)
    start, saves = run.settle(record), np.arange(0.0, 1801.0, 150.0)
    step_s = float(plan_steps(record, pieces, rows[None], method, stages, step_s)[1][0])  # what stability allows
    engine = run.run(
        record, pieces, rows, events, saves, start=start, method=method, stages=stages, step_s=step_s, first_step_s=step_s
    )
    assert engine.status == n.DONE
    saved = twin.simulate(
        twin.make_person(runner),
        bridge.plain(pieces),
        bridge.plain(rows),
        bridge.happenings(events),
        list(saves),
        bridge.to_twin(start.state),
        bridge.fast_to_twin(start.fast),
        stepper,
        step_s,
    )
    plain = np.array([bridge.to_vector(state) for _, state, _ in saved])
    assert [t for t, _, _ in saved] == list(engine.time_s)
    temperatures = [*range(n.RECTAL + 1), n.BASE + n.PATCH_C, n.BASE + n.OUTER_C]
    assert np.abs(engine.states - plain)[:, temperatures].max() < 1e-9  # K
    scale = np.maximum(np.abs(plain).max(axis=0), 1e-6)
    assert (np.abs(engine.states - plain) / scale).max() < 1e-9
    fasts = np.array([[fast[key] for key in bridge.FAST] for _, _, fast in saved])
    np.testing.assert_allclose(engine.fasts, fasts, rtol=1e-9, atol=1e-9)
    # it is a run in which something happens
    assert plain[-1, n.CORE + n.CHEST] > plain[0, n.CORE + n.CHEST] + 0.5
    assert plain[:, n.BASE + n.PATCH_C].min() < 27.0 and plain[-1, n.BASE + n.ROW_CHARGED_KG] > 0.15
    assert plain[-1, n.BASE + n.ROW_DRIPPED] > 0.01
    assert engine.diagnostics[-1, D_HEART] == pytest.approx(
        engine.diagnostics[-1, D_REST : D_REST + 7].sum(), abs=1e-9
    )


def a_hot_day():
    """Running, cycling before a fan with given power, rest: a drink in portions, slurry, poured water, a bath, a collar."""
    runner = bridge.person(heat_days=5.0, clothing="shorts_and_shoes")
    pieces = np.concatenate(
        [
            bridge.piece(0.0, 480.0, 3.4, 34.0, 0.5, solar_W_m2_0=600.0, solar_W_m2_1=500.0),
            bridge.piece(
                480.0,
                960.0,
                0.0,
                34.0,
                0.5,
                activity=twin.CYCLING,
                power_W=720.0,
                given_work_W=150.0,
                swing_m_s=1.0,
                upright=0.5,
                ground_air=0.0,
                fan_m_s=2.5,
            ),
            bridge.piece(960.0, 1500.0, 0.0, 34.0, 0.6, activity=twin.RESTING, upright=0.3, wind_m_s_0=0.3, wind_m_s_1=0.8),
            bridge.piece(1500.0, 1800.0, 3.0, 30.0, 0.6),
        ]
    )
    cooling = [
        Worn(Drink(0.2, 8.0), from_min=2.0, refill_min=(5.0, 11.5)),
        Worn(Drink(0.3, -1.0, ice_share=0.4, name="slurry"), from_min=9.0),
        Worn(PouredWater(0.4, 20.0, segments=("head", "neck", "back")), from_min=4.0, refill_min=(4.1, 26.0)),
        Worn(Bath(15.0, segments=("forearms", "hands", "lower_legs")), from_min=17.0, to_min=23.0),
        ice_collar(0.15, True, from_min=3.0, to_min=25.5),
    ]
    return runner, pieces, cooling


@pytest.mark.parametrize("name", METHODS)
def test_trajectory_of_a_day_with_water(name):
    """Every kind of row and of activity in one run: temperatures agree to a nanokelvin."""
    method, stages, stepper, step_s = METHODS[name]
    runner, pieces, cooling = a_hot_day()
    record = runner_record(runner)
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 1800.0)
    start, saves = run.settle(record), np.arange(0.0, 1801.0, 60.0)
    step_s = float(plan_steps(record, pieces, rows[None], method, stages, step_s)[1][0])  # what stability allows
    engine = run.run(
        record, pieces, rows, events, saves, start=start, method=method, stages=stages, step_s=step_s, first_step_s=step_s
    )
    assert engine.status == n.DONE
    saved = twin.simulate(
        twin.make_person(runner),
        bridge.plain(pieces),
        bridge.plain(rows),
        bridge.happenings(events),
        list(saves),
        bridge.to_twin(start.state),
        bridge.fast_to_twin(start.fast),
        stepper,
        step_s,
    )
    plain = np.array([bridge.to_vector(state) for _, state, _ in saved])
    blocks = n.BASE + n.ROW_SIZE * np.arange(rows.size)
    temperatures = [*range(n.RECTAL + 1), *(blocks + n.PATCH_C), *(blocks + n.OUTER_C)]
    assert np.abs(engine.states - plain)[:, temperatures].max() < 1e-9  # K
    scale = np.maximum(np.abs(plain).max(axis=0), 1e-6)
    assert (np.abs(engine.states - plain) / scale).max() < 1e-9
    fasts = np.array([[fast[key] for key in bridge.FAST] for _, _, fast in saved])
    np.testing.assert_allclose(engine.fasts, fasts, rtol=1e-9, atol=1e-9)
    # it is a run in which all of it happens
    drunk = plain[-1, blocks[:2] + n.ROW_DRUNK]
    assert drunk[0] > 0.3 and drunk[1] > 0.05 and plain[-1, blocks[0] + n.ROW_CHARGED_KG] == pytest.approx(0.6)
    assert np.diff(plain[:, n.LOST]).min() < -1e-3  # a minute in which more is taken up than lost
    assert plain[20:23, n.SKIN + n.HANDS].max() < 19.0 < plain[-1, n.SKIN + n.HANDS] - 2.0
    assert plain[-1, blocks[2:5] + n.ROW_CHARGED_KG].sum() == pytest.approx(1.2) and plain[-1, n.RECEIVED] > 0.2


def test_books_close_from_outside_in_a_run_with_a_device():
    """Heat content of the twin, start and end, against the engine's integrals of boundary terms: no device event between."""
    runner, record, pieces, rows, events = half_an_hour(False)
    engine = run.run(record, pieces, rows, events[:1], [180.0, 1800.0], start=run.settle(record))
    who, plain_rows = twin.make_person(runner), bridge.plain(rows)
    (before, after), worn = (bridge.to_twin(state) for state in engine.states), [True]
    terms = np.array([after["joules"][name] - before["joules"][name] for name in twin.BOOKS])
    stored = twin.heat_content(after, plain_rows, worn, who) - twin.heat_content(
        before, plain_rows, worn, who
    )
    carried = after["joules_water"] - before["joules_water"]
    assert abs(stored - terms.sum() + carried) < 1e-6 * np.abs(terms).sum()
    summary = engine.summary
    assert abs(summary[S_CLOSURE]) < 1e-6 * summary[S_THROUGHPUT] and abs(summary[S_WATER]) < 1e-9
    # the device's own book: what it took up is in its store and its outer side
    own = after["rows"][0]
    gained = sum(
        own[key] for key in ("from_skin_J", "from_air_J", "from_vapour_J", "with_water_J", "charged_J")
    )
    kept = (
        own["store_J"]
        + plain_rows[0]["outer_J_K"] * own["outer_C"]
        - plain_rows[0]["outer_J_K"] * before_outer(record, rows)
    )
    assert gained == pytest.approx(kept, rel=1e-9)
    water_in = (
        own["charged_kg"] + own["wicked_kg"] + own["condensed_kg"] - own["evaporated_kg"] - own["dripped_kg"]
    )
    assert water_in == pytest.approx(own["store_kg"] + own["outer_kg"], abs=1e-12)


def before_outer(record, rows) -> float:
    """Temperature of an outer side before it is worn: the books of the charge start there."""
    work = run.new_work(rows.size)
    run.start_rows(work, run.settle(record), rows)
    return float(work.state[n.BASE + n.OUTER_C])


# --- the mutation test -----------------------------------------------------------------------------------------------
# Each entry forgets one counterpart in the source of the balance: (what, pattern, what is written instead).
HEAT_MUTATIONS = {
    "none": None,
    "the blood's share of the skin": (r"(to_blood -= .*?) \+ by_skin\b", r"\1"),
    "the blood's share of muscle": (r"(to_blood -= .*?) \+ by_muscle\b", r"\1"),
    "what fat gives to the skin": (r"= outward_2 - outward_3\b", "= outward_2"),
    "what the device's patch gives to the store": (
        r"heat\[n\.DEVICES, column\] = -contact\b",
        "heat[n.DEVICES, column] = 0.0",
    ),
    "the blood that warms the patch": (r"to_blood = -by_blood\b", "to_blood = 0.0"),
    "the heat in water that leaves": (
        r"joules_water \+= share \* lost_rate \* state\[node\]",
        "joules_water += 0.0",
    ),
}
WATER_MUTATIONS = {
    "none": None,
    "the film's loss of what runs off": (r"(rate\[n\.FILM \+ s\] = secreted - off) - run_off\b", r"\1"),
    "the film's gain of dew": (r"(rate\[n\.FILM \+ s\] = .*?) \+ dew\b", r"\1"),
    "drips that land on skin": (r"\n +rate\[n\.FILM \+ below\] \+= .*on_skin\b", ""),
    "what leaves the skin under a device": (r"(rate\[base \+ n\.PATCH_FILM\] = secreted) - leaving\b", r"\1"),
}


def some_minutes(mutation, covered, air_C, humidity, skin_C):
    """Run ten minutes with a dripping collar, plain Python RK4, and close the books from outside.

    Returns the errors of energy and of water, each as a share of throughput.
    """
    runner = bridge.person()
    record, who = runner_record(runner), twin.make_person(runner)
    person = record.view(np.recarray)[0]
    collar = ice_collar(0.3, covered, held_water_kg=0.0, contact_area_m2=0.035)
    rows, _, _ = flatten_cooling([collar], record[0]["area_m2"], 1e4)
    rows = rows.view(np.recarray)
    state = bridge.to_twin(run.settle(record).state)
    plain_rows, worn = bridge.plain(rows), [False]
    state["rows"] = [twin.new_row(plain_rows[0], state)]
    state["core"] += 1.0
    state["blood"] += 1.2
    state["muscle"] += 2.0
    state["skin"][:] = skin_C
    twin.put_on(0, state, plain_rows, worn, who)
    state["rows"][0].update(store_J=-1e4, film_kg=1.3e-3)
    before, work = bridge.to_vector(state), run.new_work(1)
    work.active[0] = 1
    prepare_body(work.seg, record[0], rows, work.active, 1)
    stretch = bridge.piece(0.0, 600.0, 3.6, air_C, humidity)
    step = prepare(work.seg, record[0], stretch[0], 300.0, 900.0, 0.0, rows, work.active, 1)
    altered, h, y = bridge.altered_balance(mutation), 5.0, before.copy()

    def slope(vector):
        rate = np.zeros(vector.size)
        altered(vector, rate, work.heat, step, work.seg, person, rows, work.active, 1)
        return rate

    for _ in range(int(600.0 / h)):
        y = twin.rk4(slope, y, h)
    after = bridge.to_twin(y)
    state = bridge.to_twin(before)
    terms = np.array([after["joules"][name] for name in twin.BOOKS])
    stored = twin.heat_content(after, plain_rows, worn, who) - twin.heat_content(state, plain_rows, worn, who)
    water = after["water"]
    gained = water["sweat"] + water["condensed"] + water["received"]
    spent = water["evaporated"] + water["dripped"] + water["wicked"]
    error = twin.water_on_skin(after) - twin.water_on_skin(state) - (gained - spent)
    return abs(stored - terms.sum() + after["joules_water"]) / np.abs(terms).sum(), abs(error) / (
        gained + spent
    )


@pytest.mark.parametrize("what", HEAT_MUTATIONS)
def test_energy_books_show_a_forgotten_counterpart(what):
    energy, water = some_minutes(HEAT_MUTATIONS[what], False, 24.0, 0.5, 32.0)
    if HEAT_MUTATIONS[what] is None:
        assert energy < 1e-6 and water < 1e-9
    else:
        assert energy > 1e-3, f"closure does not notice that {what} is missing: {energy:.1e} of throughput"


@pytest.mark.parametrize("what", WATER_MUTATIONS)
def test_water_books_show_a_forgotten_counterpart(what):
    energy, water = some_minutes(WATER_MUTATIONS[what], True, 36.0, 0.97, 31.0)
    if WATER_MUTATIONS[what] is None:
        assert energy < 1e-6 and water < 1e-9
    else:
        assert water > 1e-3, f"closure does not notice that {what} is missing: {water:.1e} of throughput"
