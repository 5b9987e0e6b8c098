"""The pacing rule: one state machine in simulation and analysis, against the twin, against hand-checked seconds."""

import importlib.util
import re
import sys
from pathlib import Path

import basic_twin as twin
import numpy as np
import pytest
import twin_bridge as bridge

from thermosim.cooling import ice_collar
from thermosim.cooling.device import flatten_cooling
from thermosim.engine import batch, methods, run
from thermosim.engine import nodes as n
from thermosim.engine import pacing as p
from thermosim.engine.integrate import D_HEART, D_MODE, D_SPEED, S_CLOSURE, S_THROUGHPUT, S_WATER
from thermosim.engine.plan import plan_steps, with_legs
from thermosim.engine.records import EVENT, PUT_ON, REFILL, TAKE_OFF
from thermosim.inputs.flat import runner_record

HOUR_S = 3600.0


def recovery(asymptote, tau, seconds=120):
    """A heart rate that falls from 170 towards an asymptote."""
    return asymptote + (170.0 - asymptote) * np.exp(-np.arange(float(seconds)) / tau)


# --- the machine by itself -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asymptote", "tau", "seconds"), [(125.0, 45.0, 11.3), (152.0, 45.0, 36.5), (152.0, 60.0, 48.7)]
)
def test_return_times_worked_by_hand(asymptote, tau, seconds):
    """Cap 160, resume below 160, a spike to 170: the machine, not a formula, gives the seconds of the hand calculation."""
    found = p.follow(p.rule_record(cap_bpm=160.0), recovery(asymptote, tau))
    assert found.events_in_all == 1 and found.events[0, p.EVENT_PEAK] == 170.0
    assert found.return_s[0] == pytest.approx(seconds, abs=0.05)
    assert found.over_s == pytest.approx(seconds, abs=0.05)
    assert found.events[0, p.EVENT_RESUME_S] == np.ceil(found.return_s[0])  # the next look
    assert list(found.modes[: int(found.events[0, p.EVENT_RESUME_S])]) == [p.WALK] * int(np.ceil(seconds))
    assert set(found.modes[int(found.events[0, p.EVENT_RESUME_S]) :]) == {p.RUN}


def test_hysteresis_by_level_and_by_seconds():
    """Resume 8 beats lower, or after 20 s below the cap: longer events, and the return is where it came down for good."""
    heart = recovery(125.0, 45.0)
    lower = p.follow(p.rule_record(cap_bpm=160.0, resume_below_bpm=152.0), heart)
    assert lower.return_s[0] == pytest.approx(45.0 * np.log(45.0 / 27.0), abs=0.05)
    waits = p.follow(p.rule_record(cap_bpm=160.0, resume_s=20.0), heart)
    assert waits.return_s[0] == pytest.approx(11.3, abs=0.05) and waits.events[0, p.EVENT_RESUME_S] == 32.0
    bumpy = heart.copy()
    bumpy[20:25] = 161.0  # five seconds above again before twenty are full
    again = p.follow(p.rule_record(cap_bpm=160.0, resume_s=20.0), bumpy)
    assert again.events_in_all == 1 and 24.0 < again.return_s[0] < 25.0 and again.events[0, p.EVENT_RESUME_S] == 45.0


def test_time_over_the_cap_is_that_of_straight_lines():
    """A triangle from 150 to 170 and back, 100 s each way: above 160 for half of it, whatever the seconds."""
    heart = np.interp(np.arange(201.0), [0.0, 100.0, 200.0], [150.3, 170.1, 150.3])
    expected = 200.0 * (170.1 - 160.0) / (170.1 - 150.3)
    assert p.follow(p.rule_record(cap_bpm=160.0), heart).over_s == pytest.approx(expected, abs=1e-9)


def test_stop_by_events_time_and_core():
    saw = np.tile(np.concatenate([np.linspace(150, 170, 40), np.linspace(169, 151, 40)]), 5)
    by_number = p.follow(p.rule_record(cap_bpm=160.0, max_cap_events=3), saw)
    assert by_number.events_in_all == 3 and by_number.stop_why == "the number of cap events"
    assert by_number.stop_s == by_number.events[2, p.EVENT_START_S]
    assert set(by_number.modes[int(by_number.stop_s) :]) == {p.STOP}
    by_time = p.follow(p.rule_record(cap_bpm=160.0, stop_after_over_s=60.0), saw)
    assert by_time.stop_why == "the time above the cap"
    assert p.follow(p.rule_record(cap_bpm=160.0), saw[: int(by_time.stop_s)]).over_s < 60.0 <= by_time.over_s
    core = np.linspace(37.0, 39.0, saw.size)
    by_core = p.follow(p.rule_record(core_stop_C=38.5), saw, core_C=core)
    assert by_core.stop_why == "the modelled core limit" and core[int(by_core.stop_s)] >= 38.5 > core[int(by_core.stop_s) - 1]
    assert p.follow(p.rule_record(core_stop_C=38.5), saw).stop_why == "not stopped"  # no core, no decision on it


def test_gaps_decide_nothing():
    """Nothing begins or ends on a look that saw nothing, and no time above the cap is counted into a gap."""
    heart = recovery(125.0, 45.0)
    heart[8:30] = np.nan
    found = p.follow(p.rule_record(cap_bpm=160.0), heart)
    assert found.events_in_all == 1 and found.events[0, p.EVENT_BELOW_S] == 30.0 and found.over_s == pytest.approx(7.0)
    assert p.follow(p.rule_record(cap_bpm=160.0), np.full(50, np.nan)).events_in_all == 0


def test_no_event_begins_in_a_rest_but_one_ends_there():
    heart = np.concatenate([recovery(125.0, 45.0, 60), recovery(125.0, 45.0, 60)])
    rest = np.arange(120) >= 5
    found = p.follow(p.rule_record(cap_bpm=160.0), heart, capped=~rest)
    assert found.events_in_all == 1 and found.return_s[0] == pytest.approx(11.3, abs=0.05)


# --- simulation ----------------------------------------------------------------------------------------------------


def a_capped_session():
    """Warm-up, two reps of 900 m uphill under a cap with sun and wind, a seated rest in shade, a drink, a collar; then a walk."""
    runner = bridge.person(heat_days=2.0, threshold_heart_rate_bpm=165.0)
    record = runner_record(runner)
    air = dict(radiant_C_0=45.0, radiant_C_1=52.0, solar_W_m2_0=500.0, solar_W_m2_1=700.0, wind_m_s_0=1.5, wind_m_s_1=2.5)
    pieces = np.concatenate(
        [
            bridge.piece(0.0, 1100.0, 0.0, 31.0, 0.7, wind_along=0.8, wind_across=-0.6, **air),
            bridge.piece(1100.0, 2400.0, 0.0, 32.0, 0.7, wind_along=0.3, wind_across=0.7, **air),
        ]
    )
    legs = np.concatenate(
        [
            bridge.leg(seconds=300.5, speed_m_s=2.6, heading=0.4),
            bridge.leg(metres=900.0, speed_m_s=3.9, grade=0.03, heading=2.0, sun_left=0.7, wind_left=0.6),
            bridge.leg(seconds=200.0, activity=twin.RESTING, seated=1.0, upright=0.3, sun_left=0.1, capped=0),
            bridge.leg(metres=700.0, speed_m_s=3.9, grade=0.02, gait=2),
            bridge.leg(metres=150.0, speed_m_s=3.0, grade=0.2),
            bridge.leg(metres=100.0, speed_m_s=1.7, gait=1),  # walked as planned, faster than the rule walks
            bridge.leg(seconds=60.0, speed_m_s=1.4, gait=1, capped=0),
        ]
    )
    rule = p.rule_record(cap_bpm=160.0, resume_below_bpm=156.0, resume_s=3.0, walk_speed_m_s=1.6, walk_above_grade=0.12)
    rows, _, _ = flatten_cooling([ice_collar(0.15, True, from_min=0.0)], record[0]["area_m2"], 2400.0)
    events = np.array([(900.0, 0, REFILL)], dtype=EVENT)
    leg_events = np.array([(2, 0, PUT_ON), (4, 0, TAKE_OFF)], dtype=EVENT)
    return runner, record, pieces, legs, rule, rows, events, leg_events


METHODS = {
    "heun": (methods.HEUN, 3, twin.heun, 5.0),
    "rkc2": (methods.RKC2, 3, twin.rkc2, 15.0),
    "rkc2 with 5 stages": (methods.RKC2, 5, lambda f, y, h: twin.rkc2(f, y, h, 5), 20.0),
}


@pytest.mark.parametrize("name", METHODS)
def test_paced_trajectory_against_the_twin(name):
    """Legs by metres and by seconds, cap, walk, grade, rest, device: temperatures agree to a nanokelvin, events exactly."""
    method, stages, stepper, step_s = METHODS[name]
    runner, record, pieces, legs, rule, rows, events, leg_events = a_capped_session()
    start, saves = run.settle(record), np.arange(0.0, 2401.0, 80.0)
    bound = with_legs(pieces, run.new_pacing(rule, legs))
    step_s = float(plan_steps(record, bound, rows[None], method, stages, step_s)[1][0])
    engine = run.run(
        record, pieces, rows, events, saves, start=start, method=method, stages=stages, step_s=step_s, first_step_s=step_s,
        rule=rule, legs=legs, leg_events=leg_events,
    )  # fmt: skip
    assert engine.status == n.DONE
    saved, looks, memory = twin.simulate_paced(
        twin.make_person(runner), bridge.plain(pieces), bridge.plain(rows), bridge.happenings(events), list(saves),
        bridge.to_twin(start.state), bridge.fast_to_twin(start.fast), stepper, step_s, bridge.plain(rule)[0],
        bridge.plain(legs), bridge.happenings(leg_events),
    )  # fmt: skip
    plain = np.array([bridge.to_vector(state) for _, state, _, _ in saved])
    temperatures = [*range(n.RECTAL + 1), n.BASE + n.PATCH_C, n.BASE + n.OUTER_C]
    assert np.abs(engine.states - plain)[:, temperatures].max() < 1e-9  # K
    scale = np.maximum(np.abs(plain).max(axis=0), 1e-6)
    assert (np.abs(engine.states - plain) / scale).max() < 1e-9
    fasts = np.array([[fast[key] for key in bridge.FAST] for _, _, fast, _ in saved])
    np.testing.assert_allclose(engine.fasts, fasts, rtol=1e-9, atol=1e-9)
    # every look, and every event
    seen = engine.pacing.looks
    np.testing.assert_allclose(seen[:, p.LOOK_HEART], [heart for _, heart, _ in looks], rtol=1e-11)
    assert list(seen[:, p.LOOK_MODE]) == [mode for _, _, mode in looks]
    assert int(engine.pacing.pace[p.EVENTS]) == len(memory.events) >= 4
    for mine, theirs in zip(engine.pacing.cap_events, memory.events):
        assert mine[p.EVENT_START_S] == theirs["began"] and mine[p.EVENT_PEAK] == pytest.approx(theirs["peak"], rel=1e-11)
        if theirs["below"] is None:
            assert np.isnan(mine[p.EVENT_BELOW_S])
        else:
            assert mine[p.EVENT_BELOW_S] == pytest.approx(theirs["below"], abs=1e-8)
            assert mine[p.EVENT_RESUME_S] == theirs["resumed"]
    assert engine.pacing.pace[p.OVER_S] == pytest.approx(memory.over_s, abs=1e-8)
    # it is a run in which all of it happens
    assert set(seen[:, p.LOOK_MODE]) == {p.STAND, p.WALK, p.RUN, p.STOP}
    assert plain[-1, n.BASE + n.ROW_CHARGED_KG] > 0.15
    steep = seen[seen[:, p.LOOK_LEG] == 4]
    assert set(steep[:, p.LOOK_MODE]) == {p.WALK} and (seen[seen[:, p.LOOK_LEG] == 2][:, p.LOOK_MODE] == p.STAND).all()


def test_legs_end_on_their_metres_and_the_books_close():
    _, record, pieces, legs, rule, rows, events, leg_events = a_capped_session()
    own = dict(start=run.settle(record), rule=rule, legs=legs, leg_events=leg_events)
    got = run.run(record, pieces, rows, events, [0.0, 2400.0], **own)
    starts = got.pacing.leg_starts
    assert np.isfinite(starts).all() and starts[1, 0] == pytest.approx(300.5, abs=1e-6)
    metres = np.diff(starts[:, 1])
    np.testing.assert_allclose(metres[[1, 3, 4, 5]], [900.0, 700.0, 150.0, 100.0], atol=1e-5)
    np.testing.assert_allclose(metres[[0, 2, 6]], [300.5 * 2.6, 0.0, 84.0], atol=1e-5)
    assert abs(got.summary[S_CLOSURE]) < 1e-6 * got.summary[S_THROUGHPUT] and abs(got.summary[S_WATER]) < 1e-9
    assert got.fasts[-1, n.DISTANCE] == pytest.approx(starts[-1, 1])  # standing after the last leg


def test_simulation_and_analysis_of_one_series_give_identical_events():
    """What the kernel did, and what the analysis makes of the heart rates that it looked at: the same numbers, bit by bit."""
    _, record, pieces, legs, rule, rows, events, leg_events = a_capped_session()
    for stop in (np.inf, 5.0):
        rule["max_cap_events"] = stop
        got = run.run(record, pieces, rows, events, [0.0, 2400.0], start=run.settle(record), rule=rule, legs=legs,
                      leg_events=leg_events)  # fmt: skip
        seen, pace = got.pacing.looks, got.pacing.pace
        leg = np.append(legs["capped"], 0)[seen[:, p.LOOK_LEG].astype(int)]
        found = p.follow(rule, seen[:, p.LOOK_HEART], core_C=seen[:, p.LOOK_CORE], distance_m=seen[:, p.LOOK_M], capped=leg == 1)
        count = int(pace[p.EVENTS])
        assert found.events_in_all == count >= 4
        np.testing.assert_array_equal(found.events, got.pacing.cap_events[:count])
        assert found.over_s == pace[p.OVER_S] and found.first_cap_s == pace[p.FIRST_CAP_S]
        assert np.array_equal(found.stop_s, pace[p.STOP_S], equal_nan=True)
        running = (seen[:, p.LOOK_LEG] != 2) & (seen[:, p.LOOK_LEG] < 4)  # no rest, no steep grade
        np.testing.assert_array_equal(found.modes[running], seen[running, p.LOOK_MODE])
    assert found.stop_why == "the number of cap events"


def test_looks_are_the_heart_rate_of_the_samples():
    """Saved every second, the samples are the looks; saved rarely, looks inside a step are off by the drift of one step."""
    _, record, pieces, legs, rule, rows, events, leg_events = a_capped_session()
    own = dict(start=run.settle(record), rule=rule, legs=legs, leg_events=leg_events)
    fine = run.run(record, pieces, rows, events, np.arange(0.0, 2401.0), **own)
    np.testing.assert_allclose(fine.diagnostics[:, D_HEART], fine.pacing.looks[:, p.LOOK_HEART], rtol=0, atol=1e-9)
    body = np.where(fine.pacing.looks[:, p.LOOK_MODE] == p.STOP, 0, fine.pacing.looks[:, p.LOOK_MODE])
    np.testing.assert_array_equal(fine.diagnostics[:, D_MODE], body)
    coarse = run.run(record, pieces, rows, events, [0.0, 2400.0], **own)
    before = int(fine.pacing.cap_events[0, p.EVENT_START_S])
    assert np.abs(coarse.pacing.looks - fine.pacing.looks)[:before, p.LOOK_HEART].max() < 0.5  # bpm
    assert abs(coarse.pacing.cap_events[0, p.EVENT_START_S] - before) <= 3.0
    assert abs(coarse.pacing.pace[p.EVENTS] - fine.pacing.pace[p.EVENTS]) <= 1


def test_a_rule_that_never_acts_is_a_run_without_one():
    """Same effort as pieces and as one leg: the second-by-second path and the whole-step path agree to their own error."""
    runner = bridge.person()
    record = runner_record(runner)
    pieces = np.concatenate([bridge.piece(0.0, 900.0, 3.2, 30.0, 0.6), bridge.piece(900.0, 1800.0, 2.5, 30.0, 0.6, grade=0.04)])
    legs = np.concatenate([bridge.leg(seconds=900.0, speed_m_s=3.2), bridge.leg(seconds=900.0, speed_m_s=2.5, grade=0.04)])
    start, saves = run.settle(record), np.arange(0.0, 1801.0, 60.0)
    plain = run.run(record, pieces, save_times_s=saves, start=start)
    ruled = run.run(record, pieces, save_times_s=saves, start=start, rule=p.rule_record(), legs=legs)
    assert np.abs(plain.states - ruled.states)[:, : n.RECTAL + 1].max() < 1e-3
    np.testing.assert_allclose(ruled.fasts[:, n.DISTANCE], plain.fasts[:, n.DISTANCE], atol=1e-5)
    np.testing.assert_array_equal(plain.diagnostics[:-1, D_SPEED], ruled.diagnostics[:-1, D_SPEED])


def test_a_stopped_runner_stands_or_the_run_ends():
    runner = bridge.person(heat_days=0.0)
    record = runner_record(runner)
    pieces, legs = bridge.piece(0.0, 3600.0, 0.0, 34.0, 0.8), bridge.leg(metres=9000.0, speed_m_s=3.4)
    start, saves = run.settle(record), np.arange(0.0, 3601.0, 60.0)
    stands = run.run(record, pieces, save_times_s=saves, start=start, rule=p.rule_record(core_stop_C=38.2), legs=legs)
    stop_s = stands.pacing.pace[p.STOP_S]
    assert 300.0 < stop_s < 3000.0 and p.WHY_STOPPED[int(stands.pacing.pace[p.STOP_WHY])] == "the modelled core limit"
    after = stands.time_s > stop_s
    assert stands.time_s[-1] == 3600.0 and (stands.diagnostics[after, D_SPEED] == 0.0).all()
    assert stands.fasts[-1, n.DISTANCE] == pytest.approx(3.4 * stop_s, abs=0.01)
    ends = run.run(
        record, pieces, save_times_s=saves, start=start, rule=p.rule_record(core_stop_C=38.2, end_when_done=1), legs=legs
    )
    assert ends.time_s[-1] == stop_s and (np.diff(ends.time_s) > 0.0).all()
    assert len(ends.time_s) == len(ends.states) == int((saves < stop_s).sum()) + 1
    np.testing.assert_array_equal(ends.states[:-1], stands.states[: len(ends.states) - 1])


def test_batch_gives_the_same_as_single_runs():
    runner = bridge.person(heat_days=1.0)
    _, _, pieces, legs, rule, *_ = a_capped_session()
    records = np.concatenate([runner_record(runner, {"heart_on_s": tau}) for tau in (25.0, 30.0, 40.0)])
    states, fasts = batch.settle_many(records)
    rules = np.repeat(rule, 3)
    rules["cap_bpm"] = (155.0, 160.0, 165.0)
    rules["resume_below_bpm"] = rules["cap_bpm"] - 4.0
    got = batch.run_batch(records, pieces, start_states=states, start_fasts=fasts, rules=rules, legs=legs)
    for i in range(3):
        one = run.run(records[i : i + 1], pieces, start=run.settle(records[i : i + 1]), rule=rules[i : i + 1], legs=legs)
        assert got.paces[i, p.EVENTS] == one.pacing.pace[p.EVENTS]
        np.testing.assert_allclose(got.paces[i, [p.OVER_S, p.FIRST_CAP_S]], one.pacing.pace[[p.OVER_S, p.FIRST_CAP_S]], rtol=1e-9)
        np.testing.assert_allclose(got.summaries[i], one.summary, rtol=1e-7, atol=1e-7)
    assert got.paces[0, p.FIRST_CAP_S] < got.paces[2, p.FIRST_CAP_S]


# --- without a rule nothing has changed ----------------------------------------------------------------------------

PACED_LINES = (  # (what stands in the kernel, how it was before there were rules)
    (r"\n    paced, ended = .*?(?=\n    content_0)", ""),
    (r"pacing\.now\[0\] if paced else ", ""),
    (r"\n            if paced:\n                if before_step\(.*?break(?=\n            longest)", ""),
    (r"\n            jump = 0\n            if paced:.*?            else:\n(?=                middle)", "\n"),
    (r"\n            if jump > 0:.*?(?=\n            if n_rows > 0 and renew)", ""),
    (r"\n        ended = paced and .*?if not ended:\n            time_s = stops\[stop\]", "\n        time_s = stops[stop]"),
    (r"\n        if ended:.*?\n            break(?=\n        while e)", ""),
    (r"\n        if paced and before_step\(.*?jump_s = time_s", ""),
    (r"\n    if paced:\n        pacing\.pace\[SAVED\] = k", ""),
)


def kernel_of(source, name, folder, monkeypatch):
    """The kernel of a source text, as a module of its own."""
    file = folder / f"{name}.py"
    file.write_text(source, encoding="utf-8")
    spec = importlib.util.spec_from_file_location(name, file)
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, name, module)
    spec.loader.exec_module(module)
    return module.integrate


def run_with(integrate, record, pieces, rows, events, saves, start, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(run, "integrate", integrate)
        return run.run(record, pieces, rows, events, saves, start=start)


@pytest.mark.slow
def test_without_a_rule_the_kernel_is_bit_for_bit_as_if_there_were_none(tmp_path, monkeypatch):
    """The kernel's source with everything about rules cut out, compiled beside it: the same bits."""
    from thermosim.engine import integrate as kernel

    whole = text = Path(kernel.__file__).read_text(encoding="utf-8")
    for pattern, before in PACED_LINES:
        text, found = re.subn(pattern, before, text, flags=re.DOTALL)
        assert found, f"{pattern!r} no longer fits: bring the test up to date"
    body = text[text.index("    state, fast, heat, seg, active") :]
    body = body.replace("                middle = time_s", "            middle = time_s")
    for line in ("demand = power_demand", "metabolic = update_fast"):
        body = body.replace("                " + line, "            " + line)
    assert "pac" not in body and "jump >" not in body
    text = text[: text.index("    state, fast, heat, seg, active")] + body
    record = runner_record(bridge.person())
    running = bridge.piece(0.0, 900.0, 3.2, 30.0, 0.6, solar_W_m2_0=400.0)
    pieces = np.concatenate([running, bridge.piece(900.0, 1800.0, 0.0, 35.0, 0.6)])
    rows, events, _ = flatten_cooling([ice_collar(0.2, False, from_min=2.0, to_min=20.0)], record[0]["area_m2"], 1800.0)
    start, saves = run.settle(record), np.arange(0.0, 1801.0, 30.0)
    # both are compiled here: code from the compiler's cache may differ from fresh code in the last bit
    with_rules, without = (
        run_with(kernel_of(source, name, tmp_path, monkeypatch), record, pieces, rows, events, saves, start, monkeypatch)
        for source, name in ((whole, "kernel_with_rules"), (text, "kernel_without_rules"))
    )
    for name in ("states", "rates", "fasts", "diagnostics", "summary"):
        np.testing.assert_array_equal(getattr(with_rules, name), getattr(without, name), err_msg=name)
