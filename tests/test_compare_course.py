"""Comparing variants along a course and over reps: arrivals, rep outcomes, pairs, what cannot be told, pictures."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from thermosim import look
from thermosim.cli import way_words
from thermosim.cli.course_words import passings
from thermosim.engine.pacing import EVENT_START_S, EVENTS, OVER_S
from thermosim.inputs.course_effort import passing
from thermosim.inputs.session import Session
from thermosim.story import prepare_session, simulate_session
from thermosim.study.compare import compare
from thermosim.study.ensemble import draw_members, run_variant
from thermosim.study.on_the_way import arrivals_s, drawn_reps
from thermosim.study.reps import rep_result

EXAMPLES = Path(__file__).parents[1] / "examples"
COURSE = """
title = "Round under a cap"
runner = "P-22.runner.toml"
weather = "cistern-round.weather.csv"
course = "cistern-round.course.csv"
[effort]
level_speed_m_s = 2.35
fastest_m_s = 3.2
{rule}
[ensemble]
members = 8
seed = 1
[[variant]]
name = "none"
[[variant]]
name = "collar"
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
"""
CAP = "[rule]\ncap_bpm = 150\nresume_below_bpm = 145\nmax_cap_events = 400"
REPS = """
[runner]
mass_kg = 78
height_m = 1.83
threshold_heart_rate_bpm = 166
[weather]
air_temperature_C = 31
relative_humidity_pct = 85
[rule]
cap_bpm = {cap}
resume_below_bpm = {resume}
[[block]]
kind = "rep"
reps = 3
distance_m = 900
speed_m_s = 3.5
[[block]]
kind = "rest"
minutes = 3
[ensemble]
members = 6
seed = 1
[[variant]]
name = "none"
[[variant]]
name = "collar"
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
"""


@pytest.fixture
def course(tmp_path):
    """Return a function that writes the session over the course, with a rule or without."""
    for name in ("P-22.runner.toml", "cistern-round.weather.csv", "cistern-round.course.csv"):
        shutil.copy(EXAMPLES / name, tmp_path)

    def write(rule):
        path = tmp_path / "course.session.toml"
        path.write_text(COURSE.format(rule=rule), encoding="utf-8")
        return path

    return write


@pytest.fixture
def reps(tmp_path):
    """Return a function that writes the session of reps under a cap."""

    def write(cap=158, resume=150):
        path = tmp_path / "reps.session.toml"
        path.write_text(REPS.format(cap=cap, resume=resume), encoding="utf-8")
        return path

    return write


def the_runner_as_given(session):
    """Return members of whom there is one: the runner as given."""
    drawn, prepared = draw_members(session, 1, 1), prepare_session(session)
    drawn.runners[:] = prepared.runner
    drawn.start_states[0] = prepared.start.state[: drawn.start_states.shape[1]]
    drawn.start_fasts[0] = prepared.start.fast
    return drawn


def test_without_a_rule_everybody_arrives_when_the_effort_says(course, call):
    code, out, said = call("compare", course(""), "--json")
    assert code == 0, said
    found = json.loads(out)
    alone = json.loads(call("simulate", course(""), "--json")[1])["course"]["checkpoints"]
    for entry in found["variants"]:
        assert "rule_drawn" not in entry and "reps" not in entry
        assert [one["name"] for one in entry["checkpoints"]] == [one["name"] for one in alone]
        for one, other in zip(entry["checkpoints"], alone, strict=True):
            assert one["share_arrived"] == 1.0
            assert one["arrive_min"]["low"] == one["arrive_min"]["high"] == pytest.approx(other["arrive_min"], abs=1e-6)
            assert one["core_C"]["low"] - 0.3 < other["core_C"] < one["core_C"]["high"] + 0.3  # of eight drawn runners
    contrast = compare(Session.read(course(""))).dataset.contrast_core.isel(contrast=0)
    for one, when in zip(found["contrasts"][0]["checkpoints"], alone, strict=True):
        assert one["minutes_gained"] == {"median": 0.0, "low": 0.0, "high": 0.0} and one["share_both"] == 1.0
        moment = min(60.0 * when["arrive_min"], float(contrast.time[-1]))  # the finish may differ by rounding
        at_equal_times = contrast.interp(time=moment)  # all arrive together: the same by time as by place
        assert one["core_difference_K"]["median"] == pytest.approx(float(at_equal_times.median()), abs=1e-6)


def test_under_a_cap_drawn_runners_arrive_as_single_runs_do(course):
    session = Session.read(course(CAP))
    single = simulate_session(session)
    end = float(single.time[-1])
    batch = run_variant(session, session.variants[0], the_runner_as_given(session), np.arange(0.0, end, 60.0), 0, end)
    checkpoints = session.effort.ground.course["checkpoints"]
    places, names = [one["distance_m"] for one in checkpoints], [one["name"] for one in checkpoints]
    plan = [(one.arrive_s, one.leave_s) for one in passing(session.effort, places)]
    begins, way = single.leg_start.values, single.leg_distance.values
    expected = [begins[np.argmax(way >= place - 0.01)] for place in places[:-1]]
    found = arrivals_s(session, batch, places)[0]
    assert found[:-1] == pytest.approx(expected, abs=5.0)  # a batch takes longer steps: cap events differ by a look
    assert np.all(np.diff(found) > 0.0)
    along = passings(session, single, places)
    assert found == pytest.approx([arrive for arrive, _ in along], abs=5.0)
    stops = {name: leave - arrive for name, (arrive, leave) in zip(names, along, strict=True)}
    planned = {name: leave - arrive for name, (arrive, leave) in zip(names, plan, strict=True)}
    assert stops == pytest.approx(planned, abs=1e-6) and sum(stops.values()) > 300.0


def test_checkpoints_tables_sentences_and_the_picture(course, call, tmp_path):
    picture = tmp_path / "along.png"
    code, out, said = call("compare", course(CAP), "--course-picture", picture)
    assert code == 0, said
    assert picture.stat().st_size > 50_000
    for words in ("Along the course", "finish", "gained", "cap events", "min above the cap"):
        assert words in " ".join(out.split())
    code, out, said = call("compare", course(CAP), "--out", tmp_path / "folder", "--json")
    found = json.loads(out)
    assert (tmp_path / "folder" / "compare_course.png").exists()
    code, _, said = call("compare", course(CAP), "--out", tmp_path / "folder", "--force", "--members", 2)
    assert code == 0, said  # a folder of results is replaced by the next
    ends = [entry["checkpoints"][-1] for entry in found["variants"]]
    assert all(0.0 < one["share_arrived"] <= 1.0 for one in ends)
    slower = found["variants"][0]["rule_drawn"]
    assert slower["cap_events"]["high"] > slower["cap_events"]["low"]


def test_a_picture_along_no_course_is_refused(reps, call, tmp_path):
    code, _, said = call("compare", reps(), "--course-picture", tmp_path / "x.png")
    assert code == 2 and "not over a course" in said


def test_a_checkpoint_that_no_pair_reaches_is_not_told():
    place = {"name": "W9", "km": 40.0, "share_both": 0.0, "minutes_gained": None, "core_difference_K": None}
    result = {"variants": [{"rule": {}}], "contrasts": [{"name": "collar", "checkpoints": [place]}]}
    assert way_words.checkpoint_sentences(result) == [
        "collar: W9 is reached in no pair of runs: what it changes there cannot be told."
    ]


def test_reps_are_those_of_single_runs_and_drawn_ones_stand_beside(reps, call):
    session = Session.read(reps())
    found = compare(session).result
    for entry in found["variants"]:
        alone = rep_result(session, simulate_session(session, entry["name"]))
        assert entry["reps"] == alone["reps"] and entry["pace_fade"] == alone["pace_fade"]
        assert [one["rep"] for one in entry["reps_drawn"]] == [1, 2, 3]
        for one in entry["reps_drawn"]:
            assert one["share_begun"] == one["share_complete"] == 1.0 and 0.0 <= one["share_capped"] <= 1.0
        # later reps reach the cap sooner
        first = [one["first_cap_m"]["median"] for one in entry["reps_drawn"]]
        assert first[2] < first[1]
    contrast = found["contrasts"][0]["reps"]
    assert all(one["share_both_capped"] <= 1.0 for one in contrast)
    code, out, said = call("compare", reps())
    assert code == 0 and "Reps of the runner as given, and of the runners drawn" in out, said


def test_drawn_reps_of_the_runner_as_given_are_its_own(reps):
    session = Session.read(reps())
    single = simulate_session(session)
    end = float(single.time[-1])
    batch = run_variant(session, session.variants[0], the_runner_as_given(session), np.arange(0.0, end, 60.0), 0, end)
    drawn = drawn_reps(session, batch)
    for one, other in zip(drawn, rep_result(session, single)["reps"], strict=True):
        assert bool(one["begun"][0]) and bool(one["complete"][0]) is other["complete"]
        assert 1.0 / one["s_m"][0] == pytest.approx(other["mean_speed_m_s"], rel=2e-3)
        if other["first_cap_censored"]:
            assert np.isinf(one["first_cap_m"][0])
        else:
            assert one["first_cap_m"][0] == pytest.approx(other["first_cap_m"], abs=2.0)
            assert one["return_s"][0] == pytest.approx(other["return_s"], abs=0.5)
        # a batch takes longer steps: each event overshoots by up to half a look more or less
        assert one["over_s"][0] == pytest.approx(other["time_over_cap_s"], abs=0.5 * other["cap_events"])
    # nobody is over the cap in a rest of three minutes here: reps make up the whole
    assert sum(one["over_s"][0] for one in drawn) == pytest.approx(batch.paces[0, OVER_S], abs=1e-9)
    assert batch.paces[0, OVER_S] > 5.0


def test_more_cap_events_than_are_kept_cost_no_pace(reps):
    session = Session.read(reps())
    single = simulate_session(session)
    end = float(single.time[-1])
    batch = run_variant(session, session.variants[0], the_runner_as_given(session), np.arange(0.0, end, 60.0), 0, end)
    paces, events = batch.paces.copy(), batch.cap_events.copy()
    paces[0, EVENTS], events[0, :, EVENT_START_S] = 100.0, 1.0  # as if the sixtieth began in the first rep
    first, second, third = drawn_reps(session, batch._replace(paces=paces, cap_events=events))
    assert np.isfinite([first["first_cap_m"][0], first["s_m"][0], second["s_m"][0], third["s_m"][0], third["over_s"][0]]).all()
    assert np.isnan([second["first_cap_m"][0], third["first_cap_m"][0], third["return_s"][0]]).all()


def test_a_cap_that_nobody_reaches_cannot_be_compared(reps, call):
    code, out, said = call("compare", reps(cap=183, resume=175), "--json")
    assert code == 0, said
    found = json.loads(out)
    for entry in found["variants"]:
        assert entry["rule_drawn"]["share_never_capped"] == 1.0
        assert all(one["first_cap_m"]["median"] is None and one["return_s"] is None for one in entry["reps_drawn"])
    assert all(one["first_cap_difference_m"] is None for one in found["contrasts"][0]["reps"])
    code, out, _ = call("compare", reps(cap=183, resume=175))
    told = " ".join(out.split())
    assert "collar, rep 1, 2, 3: cannot tell when the cap comes: no pair reaches it in both (never capped in either)." in told
    assert "collar, rep 1, 2, 3: cannot tell how long the return takes: no pair has a cap event that ends in both." in told


def test_what_a_variant_changes_in_reps_stands_with_its_pairs(reps):
    found = compare(Session.read(reps()))
    contrast, drawn = found.result["contrasts"][0], found.result["variants"]
    assert contrast["pace_fade_difference"]["share_both_complete"] == 1.0
    assert contrast["rule"]["share_both_capped"] <= 1.0 - max(one["rule_drawn"]["share_never_capped"] for one in drawn)
    for k, one in enumerate(contrast["reps"]):
        capped = [entry["reps_drawn"][k]["share_capped"] for entry in drawn]
        assert one["share_both_capped"] + one["share_only_against"] == pytest.approx(capped[0])
        assert one["share_both_capped"] + one["share_only_name"] == pytest.approx(capped[1])
        assert one["share_both_back"] <= one["share_both_capped"] and one["share_both_complete"] == 1.0
        low, high = one["time_over_cap_difference_s"]["low"], one["time_over_cap_difference_s"]["high"]
        assert -20.0 < low <= one["time_over_cap_difference_s"]["median"] <= high < 20.0
    figure = look.compare_page(found.result, found.dataset)
    words = [ax.get_xlabel() for ax in figure.axes]
    assert words[-4:] == ["pace, min/km", "cap first reached, m", "over the cap, s", "back below it after, s"]
    arrows = [line for line in figure.axes[-3].lines if line.get_gid() == "censored"]
    open_ends = [one["first_cap_m"]["high"] for entry in drawn for one in entry["reps_drawn"]].count(None)
    assert len(arrows) == open_ends > 0


def test_reps_without_a_cap_have_paces_only(reps, call):
    path = reps()
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[rule]\ncap_bpm = 158\nresume_below_bpm = 150\n", ""), encoding="utf-8")
    code, out, said = call("compare", path, "--json")
    assert code == 0, said
    found = json.loads(out)
    assert all("rule_drawn" not in entry for entry in found["variants"]) and "rule" not in found["contrasts"][0]
    assert set(found["variants"][0]["reps_drawn"][0]) == {"rep", "share_begun", "share_complete", "pace_min_km"}
    assert set(found["contrasts"][0]["reps"][0]) == {"rep", "pace_difference_s_km", "share_both_complete"}
    assert "cap" not in call("compare", path)[1].split("Reps of the runner")[1].split("core")[0]


def test_where_nothing_slows_a_runner_no_minutes_are_drawn_or_printed(course, call):
    out = " ".join(call("compare", course(""))[1].split())
    assert "nothing slows a runner" in out and "min gained" not in out and "arrived" not in out
    for rule, panels in (("", 3), (CAP, 4)):
        found = compare(Session.read(course(rule)))
        figure = look.compare_course_page(found.result, found.dataset)
        titles = [text.get_text() for ax in figure.axes for text in ax.texts if text.get_gid() == "panel-title"]
        assert len(titles) == panels and any("Minutes gained" in one for one in titles) == (panels == 4)


@pytest.mark.parametrize(
    ("change", "words"),
    [("cap_bpm = 120\nresume_below_bpm = 130", "resume_below_bpm"), ("cap_bpm = 500\nresume_below_bpm = 145", "cap_bpm")],
)
def test_a_rule_that_cannot_be_is_one_sentence(course, call, change, words):
    code, out, said = call("compare", course(f"[rule]\n{change}"))
    assert code == 2 and not out and words in said and len(said.strip().splitlines()) <= 2
