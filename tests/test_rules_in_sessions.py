"""Rules read from real session files: pace tables, stand, core stop, steep ground, checkpoints; and put to what was run."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from thermosim.cli import main as entry
from thermosim.engine import pacing as machine
from thermosim.inputs.session import Session
from thermosim.story import simulate_session
from thermosim.study.reps import rule_on_recording

VALID = Path(__file__).parent / "examples_valid"
HEAD = """\
[runner]
mass_kg = 65
height_m = 1.75
resting_heart_rate_bpm = 50
maximum_heart_rate_bpm = 188
threshold_heart_rate_bpm = 166
vo2max_mL_kg_min = 56
heat_days = 3
[weather]
air_temperature_C = 31
relative_humidity_pct = 75
solar_W_m2 = 400
"""
STEADY = "[effort]\nspeed_m_s = 3.4\nminutes = 40\n"


def read(folder, text) -> Session:
    path = folder / "a.session.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return Session.read(path)


def test_stand_or_walk_above_the_cap(tmp_path):
    """Standing brings heart rate back sooner than walking, and there is less of the way."""
    rule = "[rule]\ncap_below_threshold_bpm = 8\nresume_below_bpm = 140\n"
    walk, stand = (simulate_session(read(tmp_path, STEADY + rule + f'above_cap = "{how}"\n')) for how in ("walk", "stand"))
    # the last look finds the effort done
    assert set(np.unique(walk.mode_at_look[:-1])) == {machine.WALK, machine.RUN}
    assert set(np.unique(stand.mode_at_look[:-1])) == {machine.STAND, machine.RUN}
    back = [float((ds.cap_event_below - ds.cap_event_start)[:10].mean()) for ds in (walk, stand)]
    assert 5.0 < back[1] < back[0]
    speeds = walk.speed.values[walk.mode.values == machine.WALK]
    assert speeds == pytest.approx(1.4) and (stand.speed.values[stand.mode.values == machine.STAND] == 0.0).all()
    assert walk.attrs["cap_bpm"] == 158.0 and walk.attrs["resume_below_bpm"] == 140.0


def test_resume_seconds_lengthen_each_event(tmp_path):
    rule = "[rule]\ncap_bpm = 158\nresume_seconds = "
    soon, later = (simulate_session(read(tmp_path, STEADY + rule + seconds)) for seconds in ("0", "30"))
    lengths = [(ds.cap_event_resume - ds.cap_event_below).values for ds in (soon, later)]
    assert np.nanmax(lengths[0]) <= 1.0 and np.nanmin(lengths[1]) >= 30.0
    assert later.attrs["cap_events"] < soon.attrs["cap_events"]


def test_a_pace_table_is_run_under_the_rule(tmp_path):
    """The speeds are the table's where the rule lets the runner run; each row takes the time it says."""
    (tmp_path / "a.pace.csv").write_text("minutes,speed_m_s,grade_pct\n10,2.6,0\n10,3.6,0\n10,2.8,2\n", encoding="utf-8")
    ds = simulate_session(read(tmp_path, '[effort]\npace = "a.pace.csv"\n[rule]\ncap_bpm = 155\n'))
    np.testing.assert_allclose(ds.leg_start.values, [0.0, 600.0, 1200.0], atol=1e-6)
    running = (ds.mode.values == machine.RUN)[:-1]
    table = np.array([2.6, 3.6, 2.8])[np.minimum(ds.time.values[:-1] // 600, 2).astype(int)]
    np.testing.assert_array_equal(ds.speed.values[:-1][running], table[running])
    assert 0 < running.sum() < running.size


@pytest.mark.parametrize(
    ("rule", "why"),
    [
        ("core_stop_C = 38.0", "the modelled core limit"),
        ("cap_bpm = 150\nmax_cap_events = 3", "the number of cap events"),
        ("cap_bpm = 150\nresume_below_bpm = 149\nwalk_speed_m_s = 2.4\nstop_after_min_over_cap = 2", "the time above the cap"),
    ],
)
def test_the_stop_rule_stops_the_run(tmp_path, rule, why):
    ds = simulate_session(read(tmp_path, STEADY + "[rule]\n" + rule))
    assert ds.attrs["stopped_by"] == why
    after = ds.time.values > ds.attrs["stopped_s"]
    assert after.any() and (ds.speed.values[after] == 0.0).all()
    if why == "the modelled core limit":
        assert float(ds.core_temperature.interp(time=ds.attrs["stopped_s"])) == pytest.approx(38.0, abs=0.02)
    if why == "the time above the cap":
        assert ds.attrs["time_over_cap_s"] >= 120.0
    if why == "the number of cap events":
        assert ds.attrs["cap_events"] == 3 and ds.attrs["stopped_s"] == float(ds.cap_event_start[2])
    assert any(f"by {why}" in sentence for sentence in json.loads(ds.attrs["warnings"]))


COURSE = """\
start_clock = "23:00"
course = "hill.course.csv"
[effort]
speed_m_s = 3.0
walk_above_grade_pct = 6
stops = {W2 = 2}
[rule]
cap_bpm = 152
resume_below_bpm = 146
"""


def test_a_rule_over_a_course_keeps_its_metres_and_its_stops(tmp_path, capsys):
    """Every metre of the course is run or walked, steep ground is walked, and each stop lasts as long as it says."""
    shutil.copy(VALID / "hill.course.csv", tmp_path)
    path = tmp_path / "a.session.toml"
    top, _, rest = COURSE.partition("[effort]")
    path.write_text(top + HEAD + "[effort]" + rest, encoding="utf-8")
    session = Session.read(path)
    ds = simulate_session(session)
    length_m = session.effort.ground.course["length_m"]
    assert float(ds.distance[-1]) == pytest.approx(length_m, abs=0.05) and ds.attrs["cap_events"] >= 1
    assert float(ds.time[-1]) == pytest.approx(ds.attrs["legs_done_s"]) and float(ds.time[-1]) > 60.0 * session.effort.minutes
    still = session.effort.speed_m_s == 0.0
    lengths = np.diff(np.append(ds.leg_start.values, ds.attrs["legs_done_s"]))
    np.testing.assert_allclose(sorted(lengths[still]), [60.0, 120.0], atol=1e-3)
    on_steep = np.isin(ds.leg_at_look.values, np.flatnonzero(session.effort.grade_pct > 6.01))
    assert on_steep.any() and set(ds.mode_at_look.values[on_steep]) <= {machine.WALK, machine.STAND}
    assert entry.run(["simulate", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    places = {one["name"]: one for one in found["course"]["checkpoints"]}
    assert places["W2"]["leave_min"] - places["W2"]["arrive_min"] == pytest.approx(2.0, abs=0.3)
    assert places["finish"]["arrive_min"] == pytest.approx(float(ds.time[-1]) / 60.0, abs=0.05)
    assert found["rule"]["cap_events"] == ds.attrs["cap_events"]


def test_a_rule_walks_steep_ground_by_itself(tmp_path):
    """The rule's own grade: parts above it are walked though the effort says run, without a cap."""
    text = "".join(f"[[effort.part]]\nminutes = 5\nspeed_m_s = 2.4\ngrade_pct = {grade}\n" for grade in (5, 12, 16, 0))
    ds = simulate_session(read(tmp_path, text + "[rule]\nwalk_above_grade_pct = 12\nwalk_speed_m_s = 1.3\n"))
    by_leg = [set(ds.mode_at_look.values[ds.leg_at_look.values == leg]) for leg in range(4)]
    assert [machine.WALK in one for one in by_leg] == [False, False, True, False]
    assert float(ds.speed.sel(time=12 * 60.0)) == pytest.approx(1.3)


def test_level_speed_of_a_rule_climbs_slower(tmp_path):
    text = "".join(f"[[effort.part]]\nminutes = 5\nspeed_m_s = 3\ngrade_pct = {grade}\n" for grade in (0, 8, -8))
    ds = simulate_session(read(tmp_path, text + "[rule]\nlevel_speed_m_s = 3.0\n"))
    level, up, down = (float(ds.speed.sel(time=60.0 * minute)) for minute in (2, 7, 12))
    assert level == pytest.approx(3.0, rel=1e-6) and up < 2.3 and down > 3.4


def test_what_was_run_put_to_the_rule_gives_its_own_events(tmp_path, capsys):
    """The heart rate of a simulated run, recorded at every second, and the same rule: the same events, number by number."""
    text = STEADY + "[rule]\ncap_bpm = 158\nresume_below_bpm = 150\nresume_seconds = 4\nstop_after_min_over_cap = 30\n"
    session = read(tmp_path, text)
    ds = simulate_session(session)
    found = rule_on_recording(session.rule.record(session.runner), ds.look.values, ds.heart_rate_at_look.values)
    count = ds.attrs["cap_events"]
    assert found["cap_events"] == count >= 3 and found["time_over_cap_min"] * 60.0 == pytest.approx(ds.attrs["time_over_cap_s"])
    for mine, start, below, peak in zip(
        found["events"], ds.cap_event_start.values, ds.cap_event_below.values, ds.cap_event_peak.values, strict=True
    ):
        assert mine["start_min"] * 60.0 == pytest.approx(start, abs=1e-9) and mine["peak_bpm"] == peak
        assert mine["return_censored"] if np.isnan(below) else mine["return_s"] == pytest.approx(below - start, abs=1e-9)
    # as a recording on disk, through the command line
    rows = [f"{t:.0f},{h!r},{m!r}" for t, h, m in zip(
        ds.look.values, ds.heart_rate_at_look.values.tolist(), ds.distance_at_look.values.tolist())]  # fmt: skip
    (tmp_path / "run.csv").write_text("t,pulse,way\n" + "\n".join(rows) + "\n", encoding="utf-8")
    recording = '[effort.recording]\nfile = "run.csv"\ncolumns = {time_s = "t", heart_rate_bpm = "pulse", distance_m = "way"}\n'
    path = tmp_path / "recorded.session.toml"
    path.write_text(HEAD + recording + text.partition("\n[rule]")[1].strip("\n") + text.partition("[rule]")[2], encoding="utf-8")
    assert entry.run(["simulate", str(path), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)["recorded_rule"]
    assert again["cap_events"] == count and again["recorded_share"] == 1.0
    for one, other in zip(again["events"], found["events"], strict=True):
        assert one["start_min"] == pytest.approx(other["start_min"])
        assert one["return_s"] == pytest.approx(other["return_s"], abs=1e-6)


def test_flags_set_and_replace_the_rule(tmp_path, capsys):
    path = tmp_path / "a.session.toml"
    path.write_text(HEAD + STEADY + "[rule]\ncap_below_threshold_bpm = 8\nmax_cap_events = 50\n", encoding="utf-8")
    for flags, cap in (((), 158.0), (("--cap-bpm", "150"), 150.0), (("--cap-below-threshold-bpm", "10"), 156.0)):
        assert entry.run(["simulate", str(path), *flags, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["rule"]["cap_bpm"] == cap
    bare = "--mass-kg 65 --height-m 1.75 --speed-m-s 3.2 --minutes 20 --air-temperature-C 31 --relative-humidity-pct 75".split()
    assert entry.run(["simulate", *bare, "--cap-bpm", "150", "--above-cap", "stand", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["rule"]["cap_events"] > 0


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        ("--resting-heart-rate-bpm 66 --cap-bpm 64", "makes a cap of 64 bpm, not above resting heart rate, allowed is above 66"),
        ("--cap-bpm 150 --resume-below-bpm 155", "resume_below_bpm is 155 bpm, allowed is above resting heart rate"),
        ("--cap-bpm 150 --resume-seconds -5", "resume_seconds is -5 s, allowed is 0 to 600 s"),
        ("--cap-bpm 20", "cap_bpm is 20 bpm, allowed is 60 to 220 bpm"),
        ("--resume-below-bpm 140", "resume_below_bpm needs a cap; add cap_bpm"),
        ("--cap-bpm 150 --max-cap-events 0", "max_cap_events is 0"),
        ("--cap-bpm 150 --stop-after-min-over-cap 0", "stop_after_min_over_cap is 0 min"),
        ("--core-stop-C 41", "core_stop_C is 41 °C, allowed is"),
        ("--cap-bpm 150 --beta-blocker", "cap_bpm is refused with a beta-blocker"),
        ("--cap-below-threshold-bpm 5", "needs the runner's heart rate at the lactate threshold"),
    ],
)
def test_a_wrong_rule_is_one_sentence_with_field_value_range_and_remedy(flags, words, capsys):
    bare = "--mass-kg 65 --height-m 1.75 --speed-m-s 3 --minutes 20 --air-temperature-C 31 --relative-humidity-pct 75".split()
    assert entry.run(["simulate", *bare, *flags.split()]) == 2
    said = capsys.readouterr()
    sentence = " ".join(said.err.split())
    assert words in sentence and "; " in sentence and "Traceback" not in sentence and said.out == ""
