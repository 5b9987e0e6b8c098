"""Runners who take turns, guarded drinks in blocks and by schedule, and leaving shade: through sessions and the command line."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thermosim.cli import main as entry
from thermosim.cli.shade_words import shade_sentences
from thermosim.cooling import from_spec
from thermosim.errors import InputError
from thermosim.inputs.blocks import blocks_of, effort_of_blocks
from thermosim.inputs.effort import Effort, Recorded
from thermosim.inputs.runner import Runner
from thermosim.inputs.session import Session
from thermosim.inputs.weather import Weather
from thermosim.story import simulate_session
from thermosim.study.hours import hours
from thermosim.study.leaving_shade import leaving_shade
from thermosim.turns import in_turns

VALID = Path(__file__).parent / "examples_valid"
QUICK, SLOW = 3.8, 3.1  # m/s


def a_runner(**fields):
    usual = dict(mass_kg=65, height_m=1.75, resting_heart_rate_bpm=50, maximum_heart_rate_bpm=188, vo2max_mL_kg_min=56,
                 threshold_heart_rate_bpm=168, heat_days=3)  # fmt: skip
    return Runner(**{**usual, **fields})


def a_session(effort=None, blocks=(), weather=None, rule=None, others=(), cooling=None, **fields):
    blocks = blocks_of(blocks) if blocks else ()
    effort = effort_of_blocks(blocks, {}) if blocks else effort or Effort.steady(speed_m_s=3.0, minutes=30)
    weather = weather or Weather.steady(air_temperature_C=30, relative_humidity_pct=70)
    if any(block.waits for block in blocks):
        first = Session.from_parts(a_runner(**fields), Effort.steady(speed_m_s=3, minutes=1), weather, rule=rule, cooling=cooling)
        return replace(first, others=others, blocks=blocks, effort=effort)
    return Session.from_parts(a_runner(**fields), effort, weather, rule=rule, blocks=blocks, cooling=cooling)


def waiting(reps=3, **rep):
    return [
        {"kind": "warm_up", "minutes": 5, "speed_m_s": 2.5},
        {"kind": "rep", "reps": reps, **(rep or {"distance_m": 800, "speed_m_s": 3.4})},
        {"kind": "rest", "until": "other_runner_back", "posture": "seated", "shade_share": 1.0},
        {"kind": "cool_down", "minutes": 3, "speed_m_s": 2.0},
    ]


# --- until the other runner is back --------------------------------------------------------------------------------


def test_a_rest_lasts_as_long_as_the_other_runs():
    """Without a cap every rep of 800 m at 3.4 m/s takes 235.3 s, and so does every rest."""
    session = a_session(blocks=waiting(), others=(a_runner(name="P-31"),))
    resolved = in_turns(session)
    rests = [block.minutes for block in resolved.blocks if block.kind == "rest"]
    assert rests == pytest.approx([800 / 3.4 / 60] * 3, abs=1e-3)
    assert [block.kind for block in resolved.blocks] == ["warm_up", *["rep", "rest"] * 3, "cool_down"]
    assert "Rests until P-31 is back" in resolved.effort.notes[-1]
    ds = simulate_session(session)
    assert ds.sizes["leg"] == 8 and np.diff(ds.leg_start.values)[2] == pytest.approx(800 / 3.4, abs=0.1)
    assert any("until P-31 is back" in sentence for sentence in json.loads(ds.attrs["warnings"]))
    assert float(ds.mode_at_look[int(ds.leg_start[2]) + 30]) == 0.0  # seated


def test_who_is_slowed_by_the_cap_makes_the_other_wait():
    """The other runner has few heat days and a low cap: each of my rests is as long as that runner's rep."""
    other = a_runner(name="P-22", mass_kg=85, heat_days=0, threshold_heart_rate_bpm=150)
    rule = {"cap_below_threshold_bpm": 4, "resume_below_bpm": 130}
    session = a_session(blocks=waiting(4), others=(other,), rule=rule, weather=Weather.steady(
        air_temperature_C=32, relative_humidity_pct=75))  # fmt: skip
    mine = [block.minutes for block in in_turns(session).blocks if block.kind == "rest"]
    assert min(mine) > 800 / 3.4 / 60 + 0.5 and mine[-1] > mine[0]
    theirs = [block.minutes for block in in_turns(session, 1).blocks if block.kind == "rest"]
    assert max(theirs) < min(mine)  # I am quicker, so the other waits less
    # run as a session of their own with these rests, the other's reps take what I waited: the two times fit together
    resolved = in_turns(session)
    lead = {"kind": "rest", "minutes": 800 / 3.4 / 60, "posture": "seated", "shade_share": 1.0}
    blocks = [waiting()[0], lead]
    for k in range(4):
        blocks += [{"kind": "rep", "distance_m": 800, "speed_m_s": 3.4}, {**lead, "minutes": _my_rep(resolved, k + 1)}]
    ds = simulate_session(Session.from_parts(other, effort_of_blocks(blocks_of(blocks), {}), session.weather,
                                             rule=rule, blocks=blocks))  # fmt: skip
    took = np.diff(ds.leg_start.values)[2::2][:4] / 60.0
    np.testing.assert_allclose(took[:3], mine[:3], atol=0.05)


def _my_rep(resolved, number):
    """Minutes of my rep of that number, from 0; a short one where there is none."""
    starts = simulate_session(resolved).leg_start.values
    return float(starts[2 + 2 * number] - starts[1 + 2 * number]) / 60.0 if number < 4 else 1.0


def test_three_runners_and_reps_by_time():
    blocks = waiting(2, minutes=4, speed_m_s=3.0)
    session = a_session(blocks=blocks, others=(a_runner(name="A"), a_runner(name="B")))
    resolved = in_turns(session)
    assert [b.minutes for b in resolved.blocks if b.kind == "rest"] == pytest.approx([8.0, 8.0], abs=1e-2)
    assert "A and B are back" in resolved.effort.notes[-1]
    assert resolved.effort.minutes == pytest.approx(5 + 2 * 4 + 2 * 8 + 3, abs=0.05)
    assert Session.from_json(session.to_json()) == session and in_turns(resolved) == resolved


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "rep", "speed_m_s": 3, "until": "other_runner_back"}, "until is given for a rep, allowed is only in a rest"),
        ({"kind": "rest", "minutes": 3, "until": "other_runner_back"}, "minutes is given beside until"),
        ({"kind": "rest", "until": "lunch"}, "allowed are other_runner_back|allowed is other_runner_back"),
    ],
)
def test_a_wait_that_means_nothing_is_refused(change, words):
    with pytest.raises(InputError, match=words):
        blocks_of([{"kind": "rep", "minutes": 3, "speed_m_s": 3}, change])


def test_a_wait_needs_reps_before_it_and_a_second_runner():
    with pytest.raises(InputError, match="does not follow reps"):
        blocks_of([{"kind": "rest", "until": "other_runner_back"}])
    with pytest.raises(InputError, match="waits for another runner, and the session has one; write runners"):
        a_session(blocks=waiting())


FILE = """\
runners = ["one.runner.toml", "two.runner.toml"]
[weather]
air_temperature_C = 31
relative_humidity_pct = 75
[rule]
cap_below_threshold_bpm = 8
resume_below_bpm = 150
[ensemble]
members = 6
[[block]]
kind = "warm_up"
minutes = 5
speed_m_s = 2.5
[[block]]
kind = "rep"
reps = 3
minutes = 4
speed_m_s = 3.6
[[block]]
kind = "rest"
until = "other_runner_back"
[[block.cooling]]
device = "drink"
portion_kg = 0.2
[[variant]]
name = "none"
[[variant]]
name = "collar"
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.2
"""


@pytest.fixture
def turns_file(tmp_path):
    for name, mass in (("one", 65), ("two", 80)):
        text = f'name = "{name}"\nmass_kg = {mass}\nheight_m = 1.8\nthreshold_heart_rate_bpm = 165\nheat_days = 2\n'
        (tmp_path / f"{name}.runner.toml").write_text(text, encoding="utf-8")
    path = tmp_path / "turns.session.toml"
    path.write_text(FILE, encoding="utf-8")
    return path


def test_turns_from_a_file_on_the_command_line(turns_file, capsys, tmp_path):
    saved = tmp_path / "run.nc"
    assert entry.run(["simulate", str(turns_file), "--json", "--out", str(saved)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [one["minutes"] for one in found["reps"]] == pytest.approx([4.0] * 3)
    assert [one["start_min"] for one in found["reps"]] == pytest.approx([5.0, 13.0, 21.0], abs=0.01)
    assert any("until two is back" in sentence for sentence in found["warnings"])
    assert entry.run(["simulate", str(saved), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["core_at_end_C"] == found["core_at_end_C"]
    assert entry.run(["compare", str(turns_file), "--json"]) == 0
    arms = json.loads(capsys.readouterr().out)["variants"]
    assert [arm["name"] for arm in arms] == ["none", "collar"]
    assert entry.run(["simulate", str(turns_file), "--speed-m-s", "3"]) == 2
    assert "said by the blocks" in capsys.readouterr().err


def test_hours_give_every_runner_their_rests(tmp_path):
    other = a_runner(name="P-31", mass_kg=75)
    path = tmp_path / "air.weather.csv"
    path.write_text("time_min,air_temperature_C,relative_humidity_pct\n0,26,80\n60,28,75\n120,30,70\n", encoding="utf-8")
    session = a_session(blocks=waiting(2), others=(other,), weather=Weather.sheet(path))
    found = hours(replace(session, ensemble=session.ensemble.model_copy(update={"members": 4})), every_min=30)
    assert len(found["hours"]) >= 2 and all(len(row["runners"]) == 2 for row in found["hours"])


# --- drinking ------------------------------------------------------------------------------------------------------


def drinking(portion_kg, every, minutes=120, **more):
    effort = Effort.steady(speed_m_s=2.4, minutes=minutes)
    weather = Weather.steady(air_temperature_C=18, relative_humidity_pct=50)
    cooling = [{"device": "drink", "portion_kg": portion_kg, "temperature_C": 12, "every_min": every, **more}]
    return simulate_session(a_session(effort, weather=weather, cooling=cooling))


def test_a_guarded_drink_is_cut_to_what_is_lost():
    """Half a litre every ten minutes on a cool day: unguarded the runner gains mass, guarded never a gram more than was lost."""
    free, guarded = drinking(0.5, 10), drinking(0.5, 10, guarded=True)
    assert float(free.body_mass_loss[-1]) < -1.5
    water = guarded.device_water.isel(device=0)
    in_stomach = water.sel(water="left").values
    assert (guarded.body_mass_loss.values - in_stomach > -1e-9).all()
    assert 0.3 < float(water.sel(water="charged")[-1]) < 0.5 * 11
    assert in_stomach.max() <= 0.45 + 1e-9
    said = json.loads(free.attrs["warnings"]), json.loads(guarded.attrs["warnings"])
    assert any("more than is lost" in one and "do not gain mass" in one for one in said[0])
    assert any("kg are drunk within an hour" in one for one in said[0])
    assert any(" of 5.50 kg are drunk" in one for one in said[1]) and not any("more than is lost" in one for one in said[1])
    assert abs(float(guarded.attrs["energy_closure_relative"])) < 1e-7


def test_the_stomach_holds_no_more_than_its_ceiling():
    """Hard work in heat: losses are large, so the stomach's ceiling alone cuts the portions; a lower ceiling cuts more."""
    def drunk(**more):
        spec = from_spec({"device": "drink", "portion_kg": 0.4, "refill_min": [float(m) for m in range(40, 90, 5)],
                          "from_min": 35.0, **more})  # fmt: skip
        session = a_session(Effort.steady(speed_m_s=3.2, minutes=90), weather=Weather.steady(
            air_temperature_C=32, relative_humidity_pct=40))  # fmt: skip
        ds = simulate_session(session, cooling=[spec])
        return float(ds.device_water[0].sel(water="charged")[-1]), float(ds.device_water[0].sel(water="left").max())

    (all_of_it, most), (usual, held), (little, held_little) = (
        drunk(), drunk(guarded=True), drunk(guarded=True, stomach_ceiling_kg=0.2)
    )  # fmt: skip
    assert all_of_it == pytest.approx(11 * 0.4) and most > 0.8
    assert held <= 0.45 + 1e-9 and held_little <= 0.2 + 1e-9 and little < usual < all_of_it


def test_usual_drinking_is_drunk_whole():
    """150 g every 15 min, 0.6 L/h, where more than that is lost: guarded or not is the same, number by number."""
    session = a_session(Effort.steady(speed_m_s=3.2, minutes=60))
    drink = {"device": "drink", "portion_kg": 0.15, "from_min": 20.0, "refill_min": [35.0, 50.0]}
    free, guarded = (simulate_session(session, cooling=[from_spec({**drink, "guarded": on})]) for on in (False, True))
    np.testing.assert_array_equal(free.core_temperature, guarded.core_temperature)
    assert not any("drunk" in sentence for sentence in json.loads(guarded.attrs["warnings"]))


def test_drinks_of_blocks_are_guarded_unless_they_say_otherwise():
    def drunk(**more):
        drink = {"device": "drink", "portion_kg": 0.6, "temperature_C": 10, **more}
        blocks = [
            {"kind": "warm_up", "minutes": 5, "speed_m_s": 2.5},
            {"kind": "rep", "reps": 2, "minutes": 4, "speed_m_s": 3.2},
            {"kind": "rest", "minutes": 3, "cooling": [drink]},
        ]
        ds = simulate_session(a_session(blocks=blocks))
        return float(ds.device_water[0].sel(water="charged")[-1]), ds

    cut, ds = drunk()
    assert cut < 0.6 and (ds.body_mass_loss - ds.device_water[0].sel(water="left") > -1e-9).all()
    assert drunk(guarded=False)[0] == pytest.approx(1.2)


def test_a_guard_that_means_nothing_is_refused():
    for spec, words in (({"guarded": "yes"}, "allowed is true or false"), ({"stomach_ceiling_kg": 0.3}, "add guarded = true"),
                        ({"guarded": True, "stomach_ceiling_kg": 9}, "allowed is 0.05 to 2 kg")):  # fmt: skip
        with pytest.raises(InputError, match=words):
            from_spec({"device": "drink", **spec})


# --- leaving shade -------------------------------------------------------------------------------------------------

SUNNY = Weather.steady(air_temperature_C=29, relative_humidity_pct=60, wind_speed_m_s=0.5, solar_W_m2=850)


@pytest.mark.parametrize("air", [(26, 50, 0.0), (31, 75, 0.5), (38, 22, 1.0)])
def test_the_sun_itself_explains_few_beats_of_the_first_minute(air):
    """0 to 3 bpm, through skin; core by the sun at most 0.02 K in the minute; grade and speed explain far more."""
    weather = Weather.steady(**dict(zip(("air_temperature_C", "relative_humidity_pct", "wind_speed_m_s"), air)), solar_W_m2=900)
    steady = leaving_shade(a_session(Effort.steady(speed_m_s=2.8, minutes=40), weather=weather), 20, shade_share=0.9)
    assert 0.2 < steady["sun_bpm"] < 3.0 and abs(steady["core_by_sun_K"]) < 0.02 and 0.2 < steady["skin_by_sun_K"] < 1.5
    assert steady["grade_and_speed_bpm"] == pytest.approx(0.0, abs=1e-9)
    climb = Effort.table([{"minutes": 20, "speed_m_s": 2.6}, {"minutes": 20, "speed_m_s": 2.6, "grade_pct": 3.0}])
    there = leaving_shade(a_session(climb, weather=weather), 20, shade_share=0.9)
    assert 5.0 < there["grade_and_speed_bpm"] < 30.0 and there["sun_bpm"] < 3.0
    assert there["modelled_bpm"] == pytest.approx(there["sun_bpm"] + there["grade_and_speed_bpm"] + there["under_way_bpm"])


def test_blocks_and_courses_say_their_own_shade():
    """The same minute as blocks with shade, and as plain parts with shade_share: the same beats."""
    blocks = [
        {"kind": "warm_up", "minutes": 15, "speed_m_s": 2.7, "shade_share": 0.9},
        {"kind": "rep", "minutes": 8, "speed_m_s": 2.7},
    ]
    told = leaving_shade(a_session(blocks=blocks, weather=SUNNY, rule={"cap_bpm": 185}), 15)
    asked = leaving_shade(a_session(Effort.steady(speed_m_s=2.7, minutes=23), weather=SUNNY), 15, shade_share=0.9)
    for key in ("sun_bpm", "skin_by_sun_K", "core_by_sun_K", "sun_before_W_m2", "sun_after_W_m2"):
        assert told[key] == pytest.approx(asked[key], rel=0.02, abs=2e-4)
    with pytest.raises(InputError, match="no block or part begins"):
        leaving_shade(a_session(blocks=blocks, weather=SUNNY, rule={"cap_bpm": 185}), 7)


def test_a_larger_recorded_jump_is_not_explained_by_the_sun():
    seconds = np.arange(0.0, 2401.0)

    def told(jump_bpm):
        effort = Effort.steady(speed_m_s=2.8, minutes=40)
        heart = 150.0 + np.clip(jump_bpm * (seconds - 1200.0) / 40.0, 0.0, jump_bpm)
        recorded = replace(effort, recorded=Recorded(seconds, heart))
        return leaving_shade(a_session(recorded, weather=SUNNY), 20, shade_share=0.9)

    large, small = told(14.0), told(1.0)
    assert large["recorded_bpm"] == pytest.approx(14.0) and large["not_explained_bpm"] > 10.0
    said = shade_sentences(large)[1]
    assert "13 bpm not explained by the sun" in said and "not by grade and speed either" in said
    assert "no more than the sun explains" in shade_sentences(small)[1]


@pytest.mark.parametrize(
    ("at_min", "share", "words"),
    [
        (0, 0.9, "is 0 min, allowed is above 0 and up to 29 min"),
        (45, 0.9, "is 45 min, allowed is above 0 and up to 29 min"),
        (15, 1.4, "shade_share is 1.4"),
        (15, None, "the sun does not grow: 850 W/m² before, 850 W/m² after"),
    ],
)
def test_a_minute_without_an_end_of_shade_is_refused(at_min, share, words):
    with pytest.raises(InputError, match=words):
        leaving_shade(a_session(weather=SUNNY), at_min, shade_share=share)
    with pytest.raises(InputError, match="not modelled with a beta-blocker"):
        leaving_shade(a_session(weather=SUNNY, beta_blocker=True), 15, shade_share=0.5)


def test_simulate_tells_what_the_sun_explains(capsys):
    flags = ("--mass-kg 65 --height-m 1.75 --speed-m-s 2.8 --minutes 30 --air-temperature-C 30 --relative-humidity-pct 60 "
             "--solar-W-m2 900").split()  # fmt: skip
    assert entry.run(["simulate", *flags, "--leaving-shade-min", "15", "--shade-share", "0.8", "--json"]) == 0
    assert 0.0 < json.loads(capsys.readouterr().out)["leaving_shade"]["sun_bpm"] < 3.0
    assert entry.run(["simulate", *flags, "--leaving-shade-min", "15", "--shade-share", "0.8", "--quiet"]) == 0
    assert "the sun itself explains +0." in " ".join(capsys.readouterr().out.split())
    assert entry.run(["simulate", *flags, "--shade-share", "0.8"]) == 2
    assert "without --leaving-shade-min" in capsys.readouterr().err
