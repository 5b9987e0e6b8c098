"""Heat days kept: gain, plateau and decay, how they enter the body's controllers, and how they are told."""

import json
import math
import re

import numpy as np
import pytest

from thermosim.inputs.flat import runner_record
from thermosim.inputs.runner import Runner
from thermosim.inputs.session import Session
from thermosim.parameters import PARAMETERS, value
from thermosim.physiology.acclimatisation import adapted_by_exposures, gained_and_kept
from thermosim.study.heat_days import heat_days_kept

CARD = {"mass_kg": 65, "height_m": 1.75, "vo2max_mL_kg_min": 55}
COURSE = (value("heat_days_scale"), value("heat_days_decay_1_d"), value("heat_dose_minutes"))


def full(days, idle=0):
    """That many full heat days in a row, the last of them the given days without heat before the eve of the run."""
    return {day + idle: 60.0 for day in range(1, days + 1)}


def listed(days, idle=0, minutes=60):
    return [{"days_before": day, "minutes": minutes} for day in full(days, idle)]


def hot_session(**card):
    from thermosim.inputs.effort import Effort
    from thermosim.inputs.weather import Weather

    air = Weather.steady(air_temperature_C=35, relative_humidity_pct=40, wind_speed_m_s=1.0)
    return Session.from_parts(Runner(**CARD, **card), Effort.steady(speed_m_s=3.0, minutes=60), air)


@pytest.fixture
def call(call):
    """As everywhere, with the lines of both streams joined."""

    def run(*arguments):
        code, out, err = call(*arguments)
        return code, " ".join(out.split()), " ".join(err.split())

    return run


# --- the course ----------------------------------------------------------------------------------------------------


def test_most_of_the_gain_comes_in_days_and_then_flattens():
    gain = [gained_and_kept(full(days), *COURSE)[0] for days in range(15)]
    steps = np.diff(gain)
    assert gain[0] == 0.0 and np.all(steps > 0.0) and np.all(np.diff(steps) < 0.0) and gain[14] < 1.0
    assert 0.6 < gain[5] < gain[7] and gain[7] / gain[14] > 0.75  # heart and core: most in 5 to 7 days
    sweat = [gained_and_kept(full(days), value("heat_days_scale_sweat"), *COURSE[1:])[0] for days in (5, 7, 10, 14)]
    assert sweat[0] < 0.55 and sweat[1] < gain[7] and sweat[3] > 0.85  # sweating later, in 7 to 14


@pytest.mark.parametrize("idle", [1, 7, 14, 28])
def test_two_to_three_per_cent_of_the_gain_go_each_day_without_heat(idle):
    gained, kept = gained_and_kept(full(10, idle), *COURSE)
    assert kept / gained == pytest.approx(0.975**idle, rel=1e-12)
    assert 0.97**idle <= kept / gained <= 0.98**idle


def test_days_without_heat_between_cost_and_short_days_count_less():
    in_a_row = gained_and_kept(full(5), *COURSE)[1]
    with_holes = gained_and_kept({day: 60.0 for day in (1, 3, 5, 7, 9)}, *COURSE)[1]
    half = gained_and_kept({day: 30.0 for day in full(5)}, *COURSE)[1]
    assert 0.9 * in_a_row < with_holes < in_a_row and 0.5 < half / in_a_row < 0.7
    assert gained_and_kept({day: 240.0 for day in full(5)}, *COURSE)[1] == in_a_row  # a day is one day at most
    assert gained_and_kept({}, *COURSE) == (0.0, 0.0)


def test_full_days_up_to_the_eve_are_what_the_plain_number_says_of_core_and_heart():
    number, course = (runner_record(Runner(**CARD, **card))[0] for card in ({"heat_days": 7}, {"heat_exposures": listed(7)}))
    assert course["sweat_set_core_C"] == pytest.approx(number["sweat_set_core_C"], abs=1e-12)
    assert course["maximum_sweat_rate_L_h"] < number["maximum_sweat_rate_L_h"]
    assert number["heart_plasma_share"] == 0.0 < course["heart_plasma_share"]


# --- into the controllers ------------------------------------------------------------------------------------------


def test_the_record_holds_the_numbers_of_a_hand_calculation():
    bare, kept = (runner_record(Runner(**CARD, **card))[0] for card in ({"heat_days": 0}, {"heat_exposures": listed(6, idle=4)}))
    heart = (1.0 - math.exp(-6 / 5.0)) * 0.975**4
    sweat = (1.0 - math.exp(-6 / 7.0)) * 0.975**4
    for name in ("sweat_set_core_C", "skin_flow_set_core_C"):
        assert kept[name] - bare[name] == pytest.approx(value("acclimatised_threshold_shift_K") * heart, abs=1e-12)
    for name in ("sweat_gain_L_h_K", "maximum_sweat_rate_L_h"):
        assert kept[name] / bare[name] == pytest.approx(1.0 + value("acclimatised_sweat_gain") * sweat, rel=1e-12)
    free = 1.0 - bare["wettedness_limit"]
    assert kept["wettedness_limit"] == pytest.approx(bare["wettedness_limit"] + free * sweat, rel=1e-12)
    beats = heart * value("acclimatised_plasma_gain") / value("plasma_fall_per_pct_loss") * value("heart_fluid_bpm_pct")
    reserve = kept["heart_maximum_bpm"] - kept["heart_rest_bpm"]
    assert kept["heart_plasma_share"] == pytest.approx(beats / reserve, rel=1e-12)


def test_plasma_takes_its_share_off_the_work_part_of_heart_rate():
    from thermosim.story import simulate_session

    run = simulate_session(hot_session(heat_exposures=listed(10)))
    parts = run.heart_rate_part
    share = runner_record(Runner(**CARD, heat_exposures=listed(10)))[0]["heart_plasma_share"]
    fluid = value("heart_fluid_bpm_pct") * 100.0 * run.body_mass_loss.values / CARD["mass_kg"]
    names = list(run.part.values)
    work, told = parts.values[names.index("work")], parts.values[names.index("fluid")]
    assert np.allclose(told, fluid - share * work, atol=1e-9) and share * work[-1] > 3.0


def test_ten_days_change_what_trials_saw():
    """H7: heart rate -8 to -20, core -0.2 to -0.5, sweat +10 to +50 % of the glands' ceiling; kept after three weeks: half."""
    kept = heat_days_kept(hot_session(heat_exposures=listed(10)))["kept"]
    assert -20.0 < kept["heart_rate_bpm"]["median"] < -7.5
    assert -0.5 < kept["core_C"]["median"] < -0.2
    ceiling = runner_record(Runner(**CARD, heat_days=0))[0]["maximum_sweat_rate_L_h"]
    assert 0.10 < kept["largest_sweat_rate_L_h"]["median"] / ceiling < 0.50
    assert 0.0 < kept["sweat_rate_L_h"]["median"] < kept["largest_sweat_rate_L_h"]["median"]
    for name in kept:
        assert kept[name]["low"] < kept[name]["median"] < kept[name]["high"], name
    later = heat_days_kept(hot_session(heat_exposures=listed(10, idle=21)))
    assert later["days_before"] == 22 and later["gained"]["core_C"]["median"] == pytest.approx(kept["core_C"]["median"], abs=0.02)
    for name in ("heart_rate_bpm", "core_C", "largest_sweat_rate_L_h"):
        assert 0.4 < later["kept"][name]["median"] / later["gained"][name]["median"] < 0.75, name
        assert abs(later["ahead"][1][name]["median"]) < abs(later["kept"][name]["median"]), name


def test_people_differ_in_how_they_gain_and_lose():
    from thermosim.study.ensemble import HEAT_DAY_PARAMETERS, draw_persons

    people = draw_persons(Runner(**CARD, heat_exposures=listed(8, 7)), 200, np.random.default_rng(1))
    for name in HEAT_DAY_PARAMETERS:
        drawn, p = np.array([numbers[name] for _, numbers in people]), PARAMETERS[name]
        assert p.low <= drawn.min() < p.value < drawn.max() <= p.high and drawn.std() > 0.15 * (p.high - p.low)
    plain = draw_persons(Runner(**CARD, heat_days=8), 3, np.random.default_rng(1))
    assert not set(HEAT_DAY_PARAMETERS) & set(plain[0][1])  # others are drawn as ever


def test_sweating_takes_its_own_course():
    gained, kept = adapted_by_exposures(full(6, 10), 5.0, 7.0, 0.025, 60.0)
    assert gained.heart > gained.sweat > kept.sweat and gained.plasma == gained.heart


# --- files and words -----------------------------------------------------------------------------------------------

BASE = """\
{top}
[runner]
mass_kg = 65
height_m = 1.75
{card}
[weather]
air_temperature_C = 33
relative_humidity_pct = 55
[effort]
speed_m_s = 3.0
minutes = 40
"""


def session(tmp_path, top="", card=""):
    path = tmp_path / "heat.session.toml"
    path.write_text(BASE.format(top=top, card=card), encoding="utf-8")
    return path


DATES = ", ".join(f"{{date = 2026-06-{day}, minutes = 60}}" for day in range(10, 16))


def test_simulate_tells_beats_degrees_and_litres_and_no_share(tmp_path, call):
    path = session(tmp_path, f"date = 2026-06-20\nheat_exposures = [{DATES}]")
    code, out, _ = call("simulate", path)
    said = out[out.index("Heat days kept") : out.index("Defaults used")]
    assert code == 0 and "6 exposures, the last 5 days before the run" in said
    for words in (r"gained by the day after the last: heart rate −\d+ bpm \(−\d+ to −\d+\)",
                  r"kept on the day: heart rate −\d+ bpm",
                  r"core −0\.\d\d °C \(−0\.\d\d to −0\.\d\d\)", r"largest sweat rate \+0\.\d\d L/h"):  # fmt: skip
        assert re.search(words, said), (words, said)
    assert re.findall(r"[\d.]+ %", said) == ["90 %"] and not re.search(r"score|ready|readiness|adapted", said)
    kept = json.loads(call("simulate", path, "--json")[1])["heat_days_kept"]
    assert kept["exposures"] == 6 and set(kept["kept"]["core_C"]) == {"median", "low", "high"}


def test_a_csv_and_a_list_say_the_same(tmp_path, call):
    text = "date,minutes\n" + "".join(f"2026-06-{day},60\n" for day in range(10, 16))
    (tmp_path / "june.heat.csv").write_text(text, encoding="utf-8")
    ends = []
    for top, card in ((f"heat_exposures = [{DATES}]", ""), ('heat_exposures = "june.heat.csv"', "")):
        ends.append(json.loads(call("simulate", session(tmp_path, "date = 2026-06-20\n" + top, card), "--json")[1]))
    assert ends[0]["core_at_end_C"] == ends[1]["core_at_end_C"]
    assert "6 heat exposures, 360 min in all" in call("check", tmp_path / "june.heat.csv")[1]


def test_a_runner_card_carries_its_exposures(tmp_path, call):
    card = Runner(**CARD, name="P-31", heat_exposures=[{"date": "2026-06-14", "minutes": 60}, {"days_before": 9, "minutes": 45}])
    path = tmp_path / "P-31.runner.toml"
    path.write_text(card.to_toml(), encoding="utf-8")
    assert Runner.read(path) == card and Runner(**json.loads(json.dumps(card.to_dict()))) == card
    file = tmp_path / "card.session.toml"
    text = BASE[BASE.index("[weather]") :]
    file.write_text('date = 2026-06-20\nrunner = "P-31.runner.toml"\n' + text, encoding="utf-8")
    read = Session.read(file)
    assert read.runner.run_date == "2026-06-20" and Session.from_json(read.to_json()) == read
    assert json.loads(call("simulate", file, "--json")[1])["heat_days_kept"]["days_before"] == 6


def test_the_default_limit_counts_days_with_heat_in_the_last_fortnight():
    four_and_old, three_twice = listed(4) + listed(4, 14), listed(3) + listed(3)
    for exposures, limit in ((listed(5), 39.0), (listed(4), 38.5), (four_and_old, 38.5), (three_twice, 38.5)):
        assert hot_session(heat_exposures=exposures).core_limit_C == limit


def test_a_heat_day_counts_for_the_default_limit_by_its_dose(call, tmp_path):
    """Five times five minutes are no five heat days; minutes of one day add up to one at most."""
    long_days = [{"days_before": day, "minutes": 180} for day in range(1, 5)]
    half_days = [{"days_before": day, "minutes": 30} for day in range(1, 10)]
    for exposures in ([{"days_before": day, "minutes": 5} for day in range(1, 6)], long_days, half_days):
        assert hot_session(heat_exposures=exposures).core_limit_C == 38.5
    path = tmp_path / "five.session.toml"
    loosened = "Heat days loosened this default from 38.5 to 39 °C (heat days: 5 of 60 min in the last 14 days; below 5"
    for minutes, limit, words in ((5, "38.5", "heat days: 0.417 of 60 min"), (60, "39", loosened)):
        top = ", ".join(f"{{days_before = {day}, minutes = {minutes}}}" for day in range(1, 6))
        path.write_text(BASE.format(top=f"heat_exposures = [{top}]", card=""), encoding="utf-8")
        code, out, err = call("simulate", path)
        said = " ".join((out + err).split())
        assert code == 0 and f"core limit {limit} °C (heat" in said and words in said, said


def test_the_instant_ledger_sweats_as_the_run_does():
    import thermosim as ts

    given = {"speed_m_s": 3.0, "air_temperature_C": 33, "relative_humidity_pct": 55, "skin_temperature_C": 34}
    card = Runner(**CARD, heat_exposures=listed(8, 3))
    record = runner_record(card)[0]
    found = ts.ledger(card, **given)
    assert found["maximum_sweat_rate_L_h"] == pytest.approx(record["maximum_sweat_rate_L_h"], rel=1e-9)
    assert found["wettedness_limit"] == pytest.approx(record["wettedness_limit"], rel=1e-9)


WRONG = [
    ("heat_exposures = []", "", "heat_exposures is [], needed is a list of {date, minutes}"),
    ("heat_exposures = [{date = 2026-06-10}]", "", "heat_exposures[1].minutes is missing"),
    ('heat_exposures = [{date = "10 June", minutes = 60}]', "", "heat_exposures[1].date is '10 June', allowed is a date"),
    ("heat_exposures = [{date = 2026-06-10, minutes = 60}, {minutes = 60}]", "", "heat_exposures[2].heat_exposures has no date"),
    ("heat_exposures = [{days_before = 0, minutes = 60}]", "", "days_before is 0, allowed are whole days, 1 to 60"),
    ("heat_exposures = [{days_before = 3, minutes = 1}]", "", "minutes is 1 min, allowed is 5 to 600 min"),
    ("date = 2026-06-10\nheat_exposures = [{date = 2026-06-10, minutes = 60}]", "", "on the day of the run or after it"),
    ("date = 2026-12-10\nheat_exposures = [{date = 2026-06-10, minutes = 60}]", "", "183 days before the run"),
    ("heat_exposures = [{days_before = 3, minutes = 60}]", "heat_days = 4", "heat_exposures is given beside heat_days"),
    ('heat_exposures = "none.heat.csv"', "", "there is no such file"),
    ('date = "soon"\nheat_exposures = [{days_before = 3, minutes = 60}]', "", "date is 'soon'"),
]


@pytest.mark.parametrize("top, card, sentence", WRONG, ids=[one[2][:30] for one in WRONG])
def test_a_wrong_list_is_one_sentence_with_its_place(tmp_path, call, top, card, sentence):
    path = session(tmp_path, top, card)
    code, out, err = call("simulate", path)
    assert code == 2 and out == "" and sentence in err and ("line" in err or "none.heat.csv" in err), err


def test_a_wrong_row_of_a_csv_has_its_line(tmp_path, call):
    path = tmp_path / "june.heat.csv"
    path.write_text("date,minutes\n2026-06-10,60\n2026-06-11,hot\n", encoding="utf-8")
    assert call("check", path)[2] == f"{path}, line 3: minutes is 'hot', allowed are finite numbers; " + (
        "write a number, or leave the cell empty (null, NA and nan count as empty)."
    )
    path.write_text("date,minutes\n2026-06-10,60\n2026-06-31,60\n", encoding="utf-8")
    assert f"{path}, line 3: date is '2026-06-31'" in call("check", path)[2]
