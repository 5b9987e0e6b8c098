"""Sessions with a rule and blocks: what is refused, what comes out, rep outcomes with their censor flags."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from thermosim import cautions
from thermosim.cli import main as entry
from thermosim.cli.rep_words import rows, sentences
from thermosim.engine import pacing as machine
from thermosim.errors import InputError
from thermosim.inputs.blocks import Block, blocks_of, in_order, legs_of_blocks
from thermosim.inputs.effort import Effort
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.paced_flat import leg_kinds, paced_records
from thermosim.inputs.pacing import Rule, new_legs, power_at, speed_at_power
from thermosim.inputs.runner import Runner
from thermosim.inputs.session import Session
from thermosim.inputs.weather import Weather
from thermosim.story import simulate_session
from thermosim.study.ensemble import draw_members, run_variant
from thermosim.study.reps import pace_fade, rep_outcomes, rep_result, rule_on_recording, time_above

VALID = Path(__file__).parent / "examples_valid"
REPS = VALID / "reps.session.toml"


def a_runner(**fields):
    usual = dict(mass_kg=65, height_m=1.75, resting_heart_rate_bpm=50, maximum_heart_rate_bpm=188, vo2max_mL_kg_min=56,
                 threshold_heart_rate_bpm=168, heat_days=3, body_fat_pct=12)  # fmt: skip
    return Runner(**{**usual, **fields})


def a_session(rule=None, effort=None, blocks=(), air_C=30.0, humidity=75.0, **fields):
    """A session in steady air; blocks plan the effort where there are some."""
    from thermosim.inputs.blocks import effort_of_blocks

    blocks = blocks_of(blocks) if blocks else ()
    effort = effort_of_blocks(blocks, {}) if blocks else effort or Effort.steady(speed_m_s=3.2, minutes=30)
    weather = Weather.steady(air_temperature_C=air_C, relative_humidity_pct=humidity)
    return Session.from_parts(a_runner(**fields), effort, weather, rule=rule, blocks=blocks)


@pytest.fixture(scope="module")
def reps_run():
    session = Session.read(REPS)
    return session, simulate_session(session)


# --- what is refused -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "runner", "words"),
    [
        ({"cap_bpm": 64}, {"resting_heart_rate_bpm": 66}, "64 bpm, not above resting heart rate, allowed is above 66"),
        ({"cap_bpm": 190}, {}, "190 bpm, not below maximum heart rate"),
        ({"cap_bpm": 160}, {"beta_blocker": True}, "refused with a beta-blocker"),
        ({"cap_below_threshold_bpm": 6}, {"threshold_heart_rate_bpm": None}, "needs the runner's heart rate at the lactate"),
        ({"cap_below_threshold_bpm": 6}, {"beta_blocker": True}, "refused with a beta-blocker"),
        ({"cap_bpm": 160, "resume_below_bpm": 165}, {}, "165 bpm, allowed is above resting heart rate, 50 bpm, up to the cap"),
        ({"cap_bpm": 160, "resume_below_bpm": 48}, {}, "48 bpm, allowed is above resting heart rate"),
    ],
)
def test_a_cap_that_this_heart_cannot_have_is_refused_in_one_sentence(rule, runner, words):
    with pytest.raises(InputError) as error:
        a_session(rule, **runner)
    sentence = error.value.sentence()
    assert words in sentence and ";" in sentence and sentence.endswith(".") and "\n" not in sentence


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ({"cap_bpm": 160, "cap_below_threshold_bpm": 5}, "given beside cap_bpm"),
        ({"metabolic_power_W": 800, "level_speed_m_s": 3}, "given beside metabolic_power_W"),
        ({"max_cap_events": 3}, "max_cap_events needs a cap"),
        ({"stop_after_min_over_cap": 3}, "needs a cap"),
        ({"cap_bpm": 160, "above_cap": "jog"}, "allowed are walk, stand"),
        ({"cap_bpm": 2.7}, "looks like beats per second"),
        ({"core_stop_C": 40.5}, "allowed is 37.5 to 39.5"),
        ({"cap_bpm": 160, "max_cap_events": 2.5}, "whole number"),
        ({"cap_pbm": 160}, "did you mean cap_bpm"),
    ],
)
def test_a_rule_that_means_nothing_is_refused(rule, words):
    with pytest.raises(InputError, match=words.replace(".", r"\.")):
        Rule(**rule)


@pytest.mark.parametrize(
    ("block", "words"),
    [
        ({"kind": "sprint", "minutes": 1}, "allowed are warm_up, rep, rest, cool_down"),
        ({"kind": "rep", "speed_m_s": 3}, "minutes is missing"),
        ({"kind": "rep", "speed_m_s": 3, "minutes": 3, "distance_m": 900}, "given beside distance_m"),
        ({"kind": "rep", "minutes": 3}, "speed_m_s is missing"),
        ({"kind": "rep", "minutes": 3, "speed_m_s": 0.0}, "allowed is above 0"),
        ({"kind": "rep", "minutes": 3, "speed_m_s": 3, "pace_min_km": 5}, "given beside speed_m_s"),
        ({"kind": "rep", "minutes": 3, "speed_m_s": 3, "posture": "seated"}, "only in a rest"),
        ({"kind": "rest", "minutes": 3, "reps": 4}, "only for a rep"),
        ({"kind": "rest", "minutes": 3, "speed_m_s": 1.4}, "rest that is standing"),
        ({"kind": "rest", "minutes": 3, "posture": "walking"}, "speed_m_s is missing"),
        ({"kind": "rest", "minutes": 3, "shade_share": 40}, "allowed is 0 to 1"),
        ({"kind": "rest", "minutes": 3, "cooling": [{"device": "drink", "from_min": 3}]}, "device without times"),
    ],
)
def test_a_block_that_means_nothing_is_refused(block, words):
    with pytest.raises(InputError, match=words) as error:
        blocks_of([block])
    assert error.value.field.startswith("block[1].")


def test_errors_of_a_session_file_name_the_line(tmp_path):
    text = REPS.read_text(encoding="utf-8")
    for old, new, line in (
        ("cap_below_threshold_bpm = 6", "cap_bpm = 40", 20),
        ("distance_m = 900", "distance_m = 9", 34),
        ("[[block]]\nkind = \"warm_up\"", "[effort]\nspeed_m_s = 3\n[[block]]\nkind = \"warm_up\"", 27),
    ):  # fmt: skip
        path = tmp_path / "wrong.session.toml"
        path.write_text(text.replace(old, new), encoding="utf-8")
        with pytest.raises(InputError) as error:
            Session.read(path)
        assert error.value.line == line, error.value.sentence()


# --- blocks and holds ----------------------------------------------------------------------------------------------


def test_rests_come_after_each_rep_and_carry_posture_shade_and_kind():
    session = Session.read(REPS)
    assert leg_kinds(session) == ["warm_up", *["rep", "rest"] * 5, "cool_down"]
    legs = legs_of_blocks(session.blocks, 1.0)
    rests = legs[2:11:2]
    assert (rests["seated"] == 1).all() and (rests["capped"] == 0).all() and rests["sun_left"] == pytest.approx(0.1)
    assert (legs["metres"][1:11:2] == 900).all() and legs["speed_m_s"][-1] == pytest.approx(1000 / 480)
    assert session.effort.minutes == pytest.approx(10 + 5 * (900 / 3.5 / 60 + 3) + 5)
    bare = {"kind": "rep", "minutes": 2, "speed_m_s": 3, "reps": 3}
    twice = blocks_of([bare, {"kind": "cool_down", "minutes": 2, "speed_m_s": 2}])
    assert [block.kind for block in in_order(twice)] == ["rep", "rep", "rep", "cool_down"]


@pytest.mark.parametrize(("grade", "known"), [(0.0, 3.0), (0.06, None), (-0.08, None), (0.15, None)])
def test_level_equivalent_speed_asks_for_the_same_power_on_every_grade(grade, known):
    effort = Effort.steady(speed_m_s=3.0, minutes=10)
    piece = piece_records(effort, Weather.steady(air_temperature_C=20, relative_humidity_pct=50))[0]
    record, legs = runner_record(a_runner())[0], new_legs(2)
    legs["grade"][1] = grade
    power = power_at(3.0, legs[0], piece, record)
    # 65 kg: resting 78 W and 3.6 J/kg/m at 3 m/s
    assert power == pytest.approx(1.2 * 65 + 65 * 3.6 * 3.0, rel=1e-3)
    speed = speed_at_power(power, legs[1], piece, record)
    assert power_at(speed, legs[1], piece, record) == pytest.approx(power, rel=1e-9)
    assert speed == pytest.approx(known) if known else (speed < 3.0) == (grade > 0)


def test_a_power_that_no_speed_asks_for_is_refused():
    with pytest.raises(InputError, match="asks for 100 W on a grade of 0 %"):
        simulate_session(a_session({"metabolic_power_W": 100.0}))


def test_steady_power_holds_oxygen_uptake_over_grades():
    effort = Effort.table([{"minutes": 6, "speed_m_s": 3, "grade_pct": g} for g in (0.0, 4.0, -3.0)])
    ds = simulate_session(a_session({"metabolic_power_W": 800.0}, effort))
    ends = [float(ds.oxygen_uptake.sel(time=60.0 * m, method="nearest")) for m in (5.9, 11.9, 17.9)]
    assert max(ends) - min(ends) < 0.02 * ends[0]
    plain = simulate_session(a_session(None, effort))
    spread = [float(plain.oxygen_uptake.sel(time=60.0 * m, method="nearest")) for m in (5.9, 11.9, 17.9)]
    assert max(spread) - min(spread) > 0.2 * spread[0]


def test_wind_by_degrees_turns_with_the_heading_under_a_rule():
    """The same session with and without a rule that never acts: relative air agrees, out with and back against the wind."""
    weather = Weather.steady(air_temperature_C=25, relative_humidity_pct=60, wind_speed_m_s=2.0, wind_from_deg=80.0)
    parts = [{"minutes": 5, "speed_m_s": 3, "heading_deg": h} for h in (80.0, 260.0, 350.0)]
    plain = Session.from_parts(a_runner(), Effort.table(parts), weather)
    ruled = Session.from_parts(a_runner(), Effort.table(parts), weather, rule=Rule(cap_bpm=187))
    a, b = (simulate_session(one) for one in (plain, ruled))
    np.testing.assert_allclose(a.air_speed[:-1], b.air_speed[:-1], atol=1e-9)
    np.testing.assert_allclose(a.core_temperature, b.core_temperature, atol=1e-3)
    speeds = [float(a.air_speed.sel(time=60.0 * m)) for m in (2, 7, 12)]
    np.testing.assert_allclose(speeds, [5.0, 1.0, np.hypot(3.0, 2.0)], atol=1e-9)


# --- what comes out ------------------------------------------------------------------------------------------------


def test_reps_by_distance_under_a_cap(reps_run):
    session, ds = reps_run
    metres = legs_of_blocks(session.blocks, 1.0)["metres"]
    reps = rep_outcomes(ds, leg_kinds(session), metres)
    assert [one["rep"] for one in reps] == [1, 2, 3, 4, 5] and all(one["complete"] for one in reps)
    np.testing.assert_allclose([one["distance_m"] for one in reps], 900.0, atol=1e-3)
    # heat that one block leaves enters the next: the cap comes earlier in each rep, and each is slower
    firsts = [one["first_cap_m"] for one in reps]
    assert reps[0]["first_cap_censored"] and firsts[0] == pytest.approx(900.0)
    assert all(a > b for a, b in zip(firsts, firsts[1:])) and not reps[1]["first_cap_censored"]
    speeds = [one["mean_speed_m_s"] for one in reps]
    assert speeds[0] == pytest.approx(3.5) and all(a > b for a, b in zip(speeds, speeds[1:]))
    assert sum(one["time_over_cap_s"] for one in reps) == pytest.approx(ds.attrs["time_over_cap_s"], abs=1e-6)
    assert sum(one["cap_events"] for one in reps) == ds.attrs["cap_events"] == ds.sizes["cap_event"]
    # the run ends with its last block, the books closed there (to_dataset would have raised), every drink drunk
    assert float(ds.time[-1]) == pytest.approx(ds.attrs["legs_done_s"]) and float(ds.time[-1]) > 60 * session.effort.minutes
    assert float(ds.device_water.sel(water="charged")[0, -1]) == pytest.approx(5 * 0.15)
    assert rows(reps)[0][3] == "> 900 m (censored)"
    seated = ds.mode_at_look.values[kinds_at_look(session, ds) == "rest"]
    assert (seated == 0).all()


def kinds_at_look(session, ds):
    return np.array([*leg_kinds(session), "after"])[ds.leg_at_look.values.astype(int)]


def test_shade_and_seat_of_a_rest_are_in_the_run(reps_run):
    session, ds = reps_run
    time_s = float(ds.leg_start[2]) + 90.0  # in the first rest
    near = ds.sel(time=time_s, method="nearest")
    running = ds.sel(time=float(ds.leg_start[1]) + 90.0, method="nearest")
    assert float(near.solar_load) == pytest.approx(0.1 * float(running.solar_load))
    who = runner_record(session.runner)[0]
    late = ds.sel(time=float(ds.leg_start[3]) - 1.0, method="nearest")  # oxygen uptake has come down to that of sitting
    sitting = 60.0 * (who["resting_W"] + who["seated_W"]) / who["oxygen_J_L"]
    assert float(late.oxygen_uptake) == pytest.approx(sitting, rel=0.25)
    assert float(running.oxygen_uptake) > 5.0 * sitting


def named(figure, gid):
    from matplotlib.artist import Artist

    return figure.findobj(lambda one: isinstance(one, Artist) and one.get_gid() == gid)


def test_the_run_page_shades_and_numbers_reps_and_counts_rests(reps_run):
    from thermosim import look

    _, ds = reps_run
    page = look.run_overview(ds)
    starts = ds.leg_start.values / 60.0
    spans = [(span.get_x(), span.get_x() + span.get_width()) for span in named(page.axes[2], "rep")]
    assert spans == [pytest.approx((starts[k], starts[k + 1])) for k in (1, 3, 5, 7, 9)]
    assert [text.get_text() for text in named(page, "rep-number")] == [f"rep {k}" for k in range(1, 6)]
    assert sum(bool(named(ax, "rep")) for ax in page.axes) == 4  # every panel but the weather's cells
    notes = " ".join(text.get_text() for text in named(page, "panel-note"))
    assert "5 rests, 15 min in all" in notes and "stop" not in notes
    (line,) = named(page, "speed")
    drawn = line.get_ydata()[np.isfinite(line.get_ydata())]
    assert drawn[-1] == pytest.approx(1000.0 / 480.0) and ds.speed[-1] == 0.0


def test_blocks_without_a_cap_draw_none_and_carry_no_caution_of_one():
    from thermosim import look

    rep = {"kind": "rep", "minutes": 6, "speed_m_s": 3.0, "reps": 2}
    page = look.run_overview(simulate_session(a_session(blocks=[rep])))
    words = [text.get_text() for ax in [page, *page.axes] for text in ax.texts]
    assert not [one for one in words if "nan" in one.split() or one.startswith("cap ")]
    assert cautions.CAP_DOES_NOT_BOUND_CORE[:20] not in " ".join(words)
    assert [span.get_width() for span in named(page.axes[0], "rep")] == pytest.approx([6.0, 6.0], abs=0.02)


def test_a_stopped_session_censors_what_was_not_seen():
    blocks = [{"kind": "rep", "reps": 4, "distance_m": 1200, "speed_m_s": 3.9}, {"kind": "rest", "minutes": 1.0}]
    session = a_session({"cap_bpm": 150, "max_cap_events": 1}, blocks=blocks, air_C=34.0)
    ds = simulate_session(session)
    reps = rep_outcomes(ds, leg_kinds(session), legs_of_blocks(session.blocks, 1.0)["metres"])
    assert ds.attrs["stopped_by"] == "the number of cap events" and float(ds.time[-1]) == ds.attrs["stopped_s"]
    last = reps[-1]
    assert not last["complete"] and last["distance_m"] < 1200.0
    assert last["return_censored"] and last["return_s"] == pytest.approx(0.0)
    assert not last["first_cap_censored"] and last["first_cap_m"] == pytest.approx(last["distance_m"])
    assert rows(reps)[-1][5] == "> 0 s (censored)" and rows(reps)[-1][0] == "1 cut" and pace_fade(reps) is None
    assert any("stops the run" in sentence for sentence in json.loads(ds.attrs["warnings"]))


def test_a_return_in_the_rest_counts_and_one_that_the_next_rep_cuts_is_a_bound():
    blocks = [{"kind": "rep", "reps": 2, "minutes": 4, "speed_m_s": 4.2}, {"kind": "rest", "minutes": 0.5}]
    rule = {"cap_bpm": 150, "resume_below_bpm": 100, "walk_speed_m_s": 2.5}
    session = a_session(rule, blocks=blocks, air_C=33.0)
    ds = simulate_session(session)
    first, second = rep_outcomes(ds, leg_kinds(session))
    assert first["return_censored"]
    assert first["return_s"] == pytest.approx(float(ds.leg_start[2]) - float(ds.cap_event_start[0]))
    assert second["first_cap_m"] == 0.0 and second["cap_events"] == 0 and second["return_s"] is None  # still in the first event
    longer = [blocks[0], {"kind": "rest", "minutes": 6, "posture": "seated"}]
    relaxed = simulate_session(a_session({**rule, "resume_below_bpm": 115}, blocks=longer, air_C=33.0))
    one = rep_outcomes(relaxed, ["rep", "rest", "rep", "rest"])[0]
    assert not one["return_censored"] and one["return_s"] > 60.0 * one["minutes"] - float(relaxed.cap_event_start[0])


def test_fade_and_time_above_by_hand():
    reps = [{"rep": k, "complete": k != 3, "mean_speed_m_s": v} for k, v in ((1, 4.0), (2, 3.8), (3, 2.0), (4, 3.6))]
    fade = pace_fade(reps)
    paces = 1000.0 / np.array([4.0, 3.8, 3.6])
    assert fade["slope_s_km_per_rep"] == pytest.approx(np.polyfit([1, 2, 4], paces, 1)[0])
    assert fade["ratio_last_first"] == pytest.approx(4.0 / 3.6) and fade["censored"] and fade["reps"] == 3
    assert pace_fade(reps[:1]) is None
    heart = np.interp(np.arange(101.0), [0, 50, 100], [140, 170, 140])
    assert time_above(np.arange(101.0), heart, 160.0, 0.0, 100.0) == pytest.approx(100 / 3, abs=1e-9)
    assert time_above(np.arange(101.0), heart, 160.0, 50.0, 100.0) == pytest.approx(50 / 3, abs=1e-9)


@pytest.mark.parametrize(
    ("other", "words"),
    [({}, None), ({"grade_pct": 6.0}, "grade"), ({"minutes": 5}, "length"), ({"speed_m_s": 2, "grade_pct": 1}, "grade and")],
)
def test_pace_fade_is_told_of_reps_that_are_alike_only(other, words):
    rep = {"kind": "rep", "minutes": 4, "speed_m_s": 3.0}
    session = a_session(blocks=[rep, {**rep, **other}])
    found = rep_result(session, simulate_session(session))
    said = " ".join(sentences(found))
    assert ("Pace fade" in said) == (found["pace_fade"] is not None) == (words is None) == (not found["reps_differ"])
    assert words is None or f"The reps differ in {words}" in said


def test_the_rule_over_time_stands_to_the_end_where_the_effort_is_by_time():
    ds = simulate_session(a_session({"cap_bpm": 140, "max_cap_events": 1}))
    assert float(ds.time[-1]) == 1800.0 and ds.attrs["stopped_s"] < 1000.0
    assert float(ds.speed[-1]) == 0.0 and float(ds.distance[-1]) < 3.2 * 1000.0


def test_members_of_an_ensemble_follow_the_rule():
    session = a_session({"cap_bpm": 150, "resume_below_bpm": 145})
    members = draw_members(session, 12, 3)
    got = run_variant(session, session.variants[0], members, np.array([0.0, 1800.0]), 0)
    one = simulate_session(session)
    assert (got.paces[:, machine.EVENTS] > 0).any() and np.ptp(got.paces[:, machine.OVER_S]) > 0.0
    assert float(one.distance[-1]) < 3.2 * 1800.0


def test_a_rule_beside_a_recording_is_put_to_the_recorded_heart_rate():
    seconds = np.arange(0.0, 120.0)
    heart = np.where(seconds < 20, 150.0, 125.0 + 45.0 * np.exp(-(seconds - 20.0) / 45.0))
    found = rule_on_recording(machine.rule_record(cap_bpm=160.0), seconds + 100.0, heart)
    assert found["cap_events"] == 1 and found["events"][0]["return_s"] == pytest.approx(11.3, abs=0.05)
    assert found["events"][0]["start_min"] == pytest.approx(20.0 / 60.0) and found["recorded_share"] == 1.0
    cut = rule_on_recording(machine.rule_record(cap_bpm=160.0), seconds[:25], heart[:25])
    assert cut["events"][0]["return_censored"] and cut["events"][0]["return_s"] == 4.0
    sparse = rule_on_recording(machine.rule_record(cap_bpm=160.0), seconds[::5], heart[::5])
    assert sparse["recorded_share"] == pytest.approx(0.2, abs=0.01)


# --- the command line ----------------------------------------------------------------------------------------------


def test_simulate_prints_and_returns_the_reps(capsys, tmp_path):
    assert entry.run(["simulate", str(REPS), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {"rule", "reps", "pace_fade"} <= set(found)
    assert set(found["reps"][0]) == {
        "rep", "start_min", "minutes", "distance_m", "mean_speed_m_s", "heart_rate_at_end_bpm", "complete", "cap_events",
        "first_cap_m", "first_cap_censored", "time_over_cap_s", "return_s", "return_censored",
    }  # fmt: skip
    assert found["rule"]["cap_bpm"] == 160.0 and found["rule"]["stopped_by"] is None
    assert found["pace_fade"]["ratio_last_first"] > 1.0
    for sentence in (cautions.CAP_DOES_NOT_BOUND_CORE, cautions.WALK_AT_THE_CAP, cautions.NEVER_ALONE):
        assert found["cautions"].count(sentence) == 1
    saved = tmp_path / "reps.nc"
    assert entry.run(["simulate", str(REPS), "--quiet", "--out", str(saved)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "> 900 m (censored)" in out and cautions.CAP_DOES_NOT_BOUND_CORE in out and "Pace fade over 5 reps" in out
    assert entry.run(["simulate", str(saved), "--json"]) == 0  # a saved run runs again with the same digits
    again = json.loads(capsys.readouterr().out)
    assert again["reps"] == found["reps"] and again["core_at_end_C"] == found["core_at_end_C"]


def test_help_names_the_keys(capsys):
    assert entry.run(["simulate", "--help"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for key in ("first_cap_m", "first_cap_censored", "return_censored", "slope_s_km_per_rep", "recorded_rule", "stopped_by",
                "reps_differ"):  # fmt: skip
        assert key in said


def test_the_page_on_rules_is_true():
    """Every example of docs/pacing-rules.md is read by the readers."""
    text = (Path(__file__).parents[1] / "docs" / "pacing-rules.md").read_text(encoding="utf-8")
    tables = [tomllib.loads(part.split("```")[0]) for part in text.split("```toml")[1:]]
    assert len(tables) == 3
    rule = Rule(**tables[0]["rule"])
    rule.check(a_runner())
    assert [block.kind for block in blocks_of(tables[1]["block"])] == ["warm_up", "rep", "rest", "cool_down"]
    assert isinstance(Block(**tables[1]["block"][0]), Block)
    assert blocks_of([tables[1]["block"][1], *tables[2]["block"]])[1].waits
    scope: dict = {"heart_rate_at_every_second": 125.0 + 45.0 * np.exp(-np.arange(60.0) / 45.0)}
    exec(text.split("```python")[1].split("```")[0], scope)
    assert scope["found"].events_in_all == 1


# --- warm-up, as common practice has it ----------------------------------------------------------------------------


def test_warm_up_from_rest_at_an_easy_pace():
    """Oxygen within 2 to 4 min, muscle 90 % of its rise in 10 to 20 min, core still rising at 20 min (common practice)."""
    ds = simulate_session(a_session(None, Effort.steady(speed_m_s=2.8, minutes=60), air_C=20.0, humidity=50.0), save_every_s=5.0)
    minutes = ds.time.values / 60.0

    def reached(values, share, at_min):
        rise = np.interp(at_min, minutes, values) - values[0]
        return minutes[np.argmax(values - values[0] >= share * rise)]

    assert 2.0 <= reached(ds.oxygen_uptake.values, 0.98, 10.0) <= 4.0
    thigh = ds.tissue_temperature.sel(segment="thighs", layer="muscle").values
    assert 10.0 <= reached(thigh, 0.9, 60.0) <= 20.0
    core = ds.core_temperature.values
    assert np.interp(21.0, minutes, core) - np.interp(20.0, minutes, core) > 0.005  # K in a minute
    assert thigh[-1] > float(ds.oesophageal_temperature[-1])


def test_in_heat_the_same_pace_meets_the_cap_earlier_without_heat_days():
    first = {}
    for days in (0, 9):
        effort = Effort.steady(speed_m_s=3.0, minutes=60)
        ds = simulate_session(a_session({"cap_bpm": 155}, effort, air_C=31.0, humidity=80.0, heat_days=days))
        first[days] = ds.attrs["first_cap_s"] / 60.0
    assert 10.0 < first[0] < first[9] - 2.0 < 58.0


def test_the_flat_records_end_with_the_plan_only_where_asked():
    session = Session.read(REPS)
    record = runner_record(session.runner)
    longest, planned = paced_records(session, record), paced_records(session, record, until_s=float(session.effort.end_s[-1]))
    assert longest.pieces["end_s"][-1] == pytest.approx(3.0 * planned.pieces["end_s"][-1])
    assert planned.pieces["end_s"][-1] == pytest.approx(60.0 * session.effort.minutes)
    assert longest.rule[0]["end_when_done"] == 1
