"""``thermosim hours``: start hours × runners, from the file to the table."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import thermosim as ts
from thermosim.inputs.session import Session
from thermosim.study import hours as study

REAL = Path(__file__).parents[2] / "shared" / "data" / "weather-hourly-tmy3" / "723170TYA.CSV"
real_file = pytest.mark.skipif(not REAL.is_file(), reason="the station file of ../shared/data is not there")
VERDICTS = {"inside the limits you set", "crosses", "cannot say"}
SMALL = 'name = "P-17"\nmass_kg = 54\nheight_m = 1.64\nsex = "female"\nheat_days = 9\nvo2max_mL_kg_min = 54\n'
LARGE = 'name = "P-22"\nmass_kg = 78\nheight_m = 1.83\nheat_days = 2\n'
SHEET = """\
clock,air_temperature_C,relative_humidity_pct,wind_speed_m_s,wind_from,solar_W_m2
21:00,30,70,2,head,0
03:00,24,90,1,head,0
09:00,31,65,3,head,500
12:00,35,50,4,head,900
"""


@pytest.fixture
def call(call):
    """As everywhere, with the lines of both streams joined."""

    def run(*arguments):
        code, out, err = call(*arguments)
        return code, " ".join(out.split()), " ".join(err.split())

    return run


def session(tmp_path, weather='"lane.weather.csv"', *, runners=True, minutes=60, members=60, more=""):
    (tmp_path / "P-17.runner.toml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "P-22.runner.toml").write_text(LARGE, encoding="utf-8")
    (tmp_path / "lane.weather.csv").write_text(SHEET, encoding="utf-8")
    who = 'runners = ["P-17.runner.toml", "P-22.runner.toml"]' if runners else 'runner = "P-17.runner.toml"'
    path = tmp_path / "tempo.session.toml"
    path.write_text(
        f'title = "Lane (invented)"\n{who}\nweather = {weather}\n[effort]\nspeed_m_s = 3.0\nminutes = {minutes}\n'
        f"[ensemble]\nmembers = {members}\nseed = 4\n{more}",
        encoding="utf-8",
    )
    return path


def one_hour(air, *, speed=3.3, members=60, effort=None, **card):
    """Return the only cell of an hour of unchanging air, and its row."""
    weather = ts.Weather.from_table(
        {"time_min": [0, 60], **{name: item if isinstance(item, str) else [item, item] for name, item in air.items()}}
    )
    runner = ts.Runner(mass_kg=65, height_m=1.75, heat_days=9, vo2max_mL_kg_min=55, **card)
    effort = effort or ts.Effort.steady(speed_m_s=speed, minutes=60)
    given = Session.from_parts(runner, effort, weather, ensemble={"members": members})
    result = study.hours(given)
    assert len(result["hours"]) == 1
    return result["hours"][0]["runners"][0], result["hours"][0], given


# --- the real file, on the command line ----------------------------------------------------------------------------


@real_file
def test_a_hot_day_of_the_station_file_as_a_table(call, tmp_path):
    weather = f'{{station = "{REAL}", start = "07-09T04:00", hours = 18, time_zone = "America/New_York"}}'
    path, picture = session(tmp_path, weather), tmp_path / "hours.png"
    code, out, err = call("hours", path, "--json", "--picture", picture)
    result = json.loads(out)
    assert code == 0 and picture.stat().st_size > 50_000 and "Not medical advice" in err
    assert [row["start"] for row in result["hours"]] == [f"{hour:02d}:00" for hour in range(4, 22)]
    assert [one["limit_C"] for one in result["runners"]] == [39.0, 38.5] and result["wbgt"] == "estimated"
    assert "21:00" in result["left_out"] and any("Not medical advice" in line for line in result["cautions"])
    for row in result["hours"]:
        assert 18.0 < row["wbgt_C"] <= row["wbgt_highest_C"] < 36.0
        for cell in row["runners"]:
            expected = 0.05 >= cell["share_crossing"], cell["share_crossing"] >= 0.5
            assert cell["verdict"] == ("inside the limits you set" if expected[0] else "crosses" if expected[1] else "cannot say")
            if cell["verdict"] == "crosses":
                assert 5.0 < cell["crosses_at_min"]["median"] <= 60.0
            assert cell["limiting"] in study.LIMITING and cell["limiting_words"] == study.LIMITING[cell["limiting"]]
    shares = np.array([[cell["share_crossing"] for cell in row["runners"]] for row in result["hours"]])
    air, sun = (np.array([row[name] for row in result["hours"]]) for name in ("air_temperature_C", "solar_W_m2"))
    assert np.all(shares[(air > 33.0) & (sun > 500.0)] > shares[air < 25.0].max(axis=0)) and np.all(shares[:, 1] >= shares[:, 0])
    noon = next(row for row in result["hours"] if row["start"] == "13:00")
    assert noon["runners"][1]["verdict"] == "crosses" and noon["solar_W_m2"] > 700.0
    night = result["hours"][0]
    assert night["solar_W_m2"] == 0.0 and night["runners"][0]["limiting"] in ("effort", "humidity")


@real_file
def test_the_page_of_words(call, tmp_path):
    weather = f'{{station = "{REAL}", start = "07-09T05:00", hours = 9}}'
    code, out, _ = call("hours", session(tmp_path, weather, members=40), "--first", "06:00", "--last", "12:00")
    assert code == 0 and re.search(r"── 06:00 .* 12:00 ", out) and not re.search(r"── 05:00", out)
    for words in ("P-17: ", "What limits P-22:", "heat gain from sun", "WBGT, °C", "W more evaporation",
                  "inside: up to 5 % cross", "cannot say", "Symptoms overrule every number"):  # fmt: skip
        assert words in out, words
    assert not re.search(r"\bgreen|amber|\bred\b|\bOK\b", out)


# --- the verdicts --------------------------------------------------------------------------------------------------


def test_an_hour_is_the_run_that_starts_then(tmp_path):
    """The same numbers as a session that starts at that clock time: as given, and its ensemble to sampling."""
    read = Session.read(session(tmp_path))
    result = study.hours(read)
    row = next(row for row in result["hours"] if row["start"] == "day 2 09:00")
    for k, runner in enumerate(read.runners):
        then = replace(read, runner=runner, others=(), weather=read.weather.starting_at("09:00"))
        moved = study.at_start(study.for_one(read, runner), 60.0 * row["at_min"])
        assert ts.simulate_session(then).core_temperature[-1] == ts.simulate_session(moved).core_temperature[-1]
        pair = replace(then, variants=(*then.variants, ts.inputs.limits.Variant(name="again")))
        alone = ts.compare(pair).result["variants"][0]
        cell = row["runners"][k]
        assert cell["core_at_end_C"]["median"] == pytest.approx(alone["core_at_end_C"]["median"], abs=0.08)
        assert cell["share_crossing"] == pytest.approx(1.0 - alone["share_never"], abs=0.12)


def test_cannot_say_lies_between_the_stated_shares(tmp_path):
    read = Session.read(session(tmp_path, runners=False))
    strict = study.hours(read, first="09:00", last="09:00")["hours"][0]["runners"][0]
    share = strict["share_crossing"]
    assert 0.0 < share < 1.0
    for low, high, verdict in ((share, 1.0, "inside the limits you set"), (share - 0.01, share, "crosses"),
                               (share - 0.01, share + 0.01, "cannot say")):  # fmt: skip
        cell = study.hours(read, first="09:00", last="09:00", inside_share=low, crosses_share=high)["hours"][0]["runners"][0]
        assert cell["share_crossing"] == share and cell["verdict"] == verdict


def test_the_models_own_error_is_in_the_share(tmp_path, monkeypatch):
    """Without it fewer hours would be called open: a share is nearer to 0 or 1."""
    from thermosim import parameters

    read = Session.read(session(tmp_path, runners=False, members=120))
    cell = study.hours(read, first="09:00", last="09:00")["hours"][0]["runners"][0]
    known = parameters.PARAMETERS["model_core_error_K"]._replace(value=1e-6)
    monkeypatch.setitem(parameters.PARAMETERS, "model_core_error_K", known)
    without = study.hours(read, first="09:00", last="09:00")["hours"][0]["runners"][0]
    widths = [one["core_at_end_C"]["high"] - one["core_at_end_C"]["low"] for one in (cell, without)]
    assert widths[0] > widths[1] + 0.1


CLIMATES = [  # job.md J1: air, humidity, globe, what is wanted of WBGT and of the limiting term
    ({"air_temperature_C": 31, "relative_humidity_pct": 85, "wind_speed_m_s": 1.0}, (29.5, 30.0), {"humidity"}),
    ({"air_temperature_C": 38, "relative_humidity_pct": 22, "globe_temperature_C": 50, "wind_speed_m_s": 1.0}, (29.5, 30.5),
     {"radiant", "hot_air", "sweat_rate"}),
    ({"air_temperature_C": 33, "relative_humidity_pct": 60, "globe_temperature_C": 46, "wind_speed_m_s": 1.0}, (31.5, 32.5),
     {"humidity", "radiant"}),
]  # fmt: skip


@pytest.mark.parametrize("air, wbgt, limiting", CLIMATES, ids=["humid night", "dry sun", "both"])
def test_two_climates_alike_in_wbgt_are_unlike_in_what_limits(air, wbgt, limiting):
    cell, row, _ = one_hour(air)
    assert wbgt[0] - 0.1 <= row["wbgt_C"] <= wbgt[1] + 0.1 and cell["limiting"] in limiting


def test_the_third_climate_is_a_step_worse_than_both():
    shares = [one_hour(air, members=100)[0]["share_crossing"] for air, _, _ in CLIMATES]
    assert shares[2] > shares[0] and shares[2] > shares[1]


LIMITS = [
    ({"air_temperature_C": 33, "relative_humidity_pct": 90}, {}, "humidity", True),
    ({"air_temperature_C": 38, "relative_humidity_pct": 30, "wind_speed_m_s": 4.0, "wind_from": "head"},
     {"maximum_sweat_rate_L_h": 0.8}, "sweat_rate", True),
    ({"air_temperature_C": 43, "relative_humidity_pct": 15, "wind_speed_m_s": 3.0, "wind_from": "head"}, {}, "hot_air", False),
    ({"air_temperature_C": 30, "relative_humidity_pct": 40, "solar_W_m2": 900.0}, {}, "sun", False),
    ({"air_temperature_C": 10, "relative_humidity_pct": 50}, {}, "effort", False),
]  # fmt: skip


@pytest.mark.parametrize("air, card, limiting, uncompensable", LIMITS, ids=[one[2] for one in LIMITS])
def test_what_limits_is_named(air, card, limiting, uncompensable):
    cell, _, _ = one_hour(air, **card)
    assert cell["limiting"] == limiting, cell
    assert cell["uncompensable"] == uncompensable
    assert cell["limiting_words"] == study.LIMITING[limiting]


def test_a_cold_day_in_the_sun_is_not_limited_by_it():
    """Air and surroundings take far more than the sun gives."""
    cell, _, _ = one_hour({"air_temperature_C": 5, "relative_humidity_pct": 60, "solar_W_m2": 500.0, "wind_speed_m_s": 2.0})
    assert cell["sun_W"] > study.GAIN_W and cell["dry_W"] < -2.0 * cell["sun_W"] and cell["limiting"] == "effort"


def test_words_and_hatch_do_not_contradict_each_other():
    """Where a run is uncompensable only after the minutes that are told, the words say so as well."""
    weather = ts.Weather.from_table({"time_min": [0, 60], "air_temperature_C": [36, 36], "relative_humidity_pct": [40, 40],
                                     "solar_W_m2": [800, 800], "wind_speed_m_s": [3, 3]})  # fmt: skip
    runner = ts.Runner(mass_kg=78, height_m=1.83, heat_days=2, maximum_sweat_rate_L_h=1.9)
    given = Session.from_parts(runner, ts.Effort.steady(speed_m_s=3.0, minutes=60), weather, ensemble={"members": 30})
    cell = study.hours(given)["hours"][0]["runners"][0]
    assert cell["verdict"] == "crosses" and cell["told_at_min"] < 40.0 and cell["uncompensable"]
    assert cell["limiting_words"] == "heat gain from sun, at times sweat-rate limited"


@pytest.mark.parametrize("air_C, verb", [(20, "take"), (44, "give")])
def test_air_and_surroundings_give_or_take(air_C, verb):
    from thermosim.cli.hours_words import limiting_sentences

    weather = ts.Weather.from_table({"time_min": [0, 60], "air_temperature_C": [air_C] * 2, "relative_humidity_pct": [15, 15]})
    given = Session.from_parts(ts.Runner(mass_kg=65, height_m=1.75), ts.Effort.steady(speed_m_s=2.5, minutes=30), weather,
                               ensemble={"members": 4})  # fmt: skip
    said = limiting_sentences(study.hours(given))[-1]
    assert re.search(rf"air and surroundings {verb} \d+ W \(", said), said


def test_a_treadmill_without_a_fan_is_limited_by_still_air():
    effort = ts.Effort.steady(speed_m_s=3.2, minutes=60, treadmill=True)
    cell, _, _ = one_hour({"air_temperature_C": 30, "relative_humidity_pct": 75}, effort=effort)
    assert cell["limiting"] == "still_air" and cell["wind"] is None


# --- the wind ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("air, dry_sign", [
    ({"air_temperature_C": 41, "relative_humidity_pct": 25, "wind_speed_m_s": 3.0, "wind_from": "head"}, 1),
    ({"air_temperature_C": 30, "relative_humidity_pct": 80, "wind_speed_m_s": 3.0, "wind_from": "head"}, -1),
    ({"air_temperature_C": 30, "relative_humidity_pct": 80, "wind_speed_m_s": 3.0, "wind_from": "tail"}, 1),
])  # fmt: skip
def test_the_watts_of_the_wind_are_those_of_two_ledgers(air, dry_sign):
    from thermosim.study.wind import wind_effect

    _, _, given = one_hour(air, members=4)
    found = wind_effect(given, 30.0, 35.0, 1.0)
    still = {name: item for name, item in air.items() if not name.startswith("wind")}
    pair = [ts.ledger(given.runner, speed_m_s=3.3, skin_temperature_C=35.0, **one) for one in (air, still)]
    dry = [one["terms_W"]["convection"] + one["terms_W"]["long_wave_radiation"] for one in pair]
    assert found["dry_W"] == pytest.approx(dry[0] - dry[1], abs=1e-6) and np.sign(found["dry_W"]) == dry_sign
    capacity = [one["evaporative_capacity_W"] for one in pair]
    assert found["capacity_W"] == pytest.approx(capacity[0] - capacity[1], abs=1e-6)
    assert np.sign(found["capacity_W"]) == (-1 if air["wind_from"] == "tail" else 1)
    verb = "costs" if dry_sign > 0 else "spares"
    assert found["sentence"].startswith(f"This wind {verb} {5 * round(abs(found['dry_W']) / 5)} W dry and ")


def test_no_wind_says_nothing():
    assert one_hour({"air_temperature_C": 30, "relative_humidity_pct": 70}, members=4)[0]["wind"] is None


# --- runs that the model cannot end --------------------------------------------------------------------------------

FURNACE = "clock,air_temperature_C,relative_humidity_pct\n12:00,40,75\n16:00,40,75\n"


def test_drawn_runners_too_hot_for_the_model_count_as_crossing(call, tmp_path):
    path = session(tmp_path, runners=False, minutes=120, members=100)
    (tmp_path / "lane.weather.csv").write_text(FURNACE, encoding="utf-8")
    code, out, err = call("hours", path, "--json")
    result = json.loads(out)
    cells = [row["runners"][0] for row in result["hours"]]
    assert code == 0 and len(cells) == 3 and "Traceback" not in err
    for cell in cells:
        assert cell["verdict"] == "crosses" and cell["share_crossing"] == 1.0
        assert cell["stopped"]["members"] > 0 and cell["stopped"]["before_the_limit"] == 0
    said = " ".join(result["warnings"])
    assert "of 100 drawn runners to the end from 12:00, 13:00, 14:00 (the blood left 20 to 47 °C" in said
    assert "they count as crossing" in said and "nobody runs on like that" in said
    code, out, err = call("hours", path)
    assert code == 0 and "P-17: crosses from every start" in out


def test_a_runner_as_given_whom_the_model_cannot_run_is_said_and_the_table_goes_on(call, tmp_path):
    path = session(tmp_path, minutes=200, members=8)
    (tmp_path / "lane.weather.csv").write_text(FURNACE, encoding="utf-8")
    code, out, err = call("hours", path, "--picture", tmp_path / "hot.png")
    assert code == 0 and "P-22: crosses from every start" in out and (tmp_path / "hot.png").is_file()
    assert "cannot run the runner as given to the end from 12:00" in err + out and "not told" in out
    assert "No wind" not in out and "A trial meant to pass 39.0 °C needs measured core" in out + err


def test_stopped_before_the_limit_leaves_the_share_open(tmp_path, monkeypatch):
    from thermosim.engine.integrate import S_LIMIT_S
    from thermosim.engine.nodes import OUT_OF_RANGE

    whole = study.run_variant

    def some_stop(*arguments, **options):
        batch = whole(*arguments, **options)
        batch.statuses[:2], batch.summaries[:, S_LIMIT_S] = OUT_OF_RANGE, np.nan
        return batch

    monkeypatch.setattr(study, "run_variant", some_stop)
    read = Session.read(session(tmp_path, runners=False, members=20))
    result = study.hours(read, first="03:00", last="03:00")
    cell = result["hours"][0]["runners"][0]
    assert cell["share_crossing"] == 0.0 and cell["verdict"] == "cannot say"
    assert cell["stopped"] == {"members": 2, "before_the_limit": 2, "why": cell["stopped"]["why"]}
    assert any("before the limit: whether they would have crossed is open" in line for line in result["warnings"])


def test_a_comparison_names_whom_the_model_cannot_run(call, tmp_path):
    path = session(tmp_path, runners=False, minutes=120, members=20, more='[[variant]]\nname = "none"\n[[variant]]\nname = "b"\n')
    (tmp_path / "lane.weather.csv").write_text(FURNACE, encoding="utf-8")
    code, _, err = call("compare", path)
    assert code == 4 and re.search(r"cannot run drawn runner \d+ of 20 in the variant 'none' to the end: the blood", err), err


# --- how well a share is known ---------------------------------------------------------------------------------------


def test_few_drawn_runners_are_said_with_the_shares_interval(call, tmp_path):
    code, out, err = call("hours", session(tmp_path, runners=False, members=20), "--json")
    few = json.loads(out)
    assert code == 0 and any(line.startswith("20 drawn runners are few") for line in few["warnings"])
    turning = [row["start"] for row in few["hours"] if row["runners"][0]["could_turn"]]
    assert any(line.startswith("P-17: another draw of 20 may turn the verdict from " + turning[0]) for line in few["warnings"])
    for row in few["hours"]:
        cell = row["runners"][0]
        low, high = cell["share_interval"]
        assert low <= cell["share_crossing"] <= high and high - low < 0.5
    many = json.loads(call("hours", session(tmp_path, runners=False, members=100), "--json", "--first", "09:00")[1])
    assert not any("are few" in line for line in many["warnings"])


def test_what_the_models_own_error_makes_of_a_share_is_told(call, tmp_path):
    code, out, _ = call("hours", session(tmp_path, runners=False, members=100), "--first", "11:00", "--last", "11:00")
    found = re.search(r"P-17 from day 2 11:00: (\d+) % cross; by the spread between people and of their air alone (\d+) %", out)
    assert code == 0 and found and int(found[1]) > int(found[2]) and "the minute by which 5 % have crossed comes early" in out


def test_the_standards_limit_stands_beside_and_is_no_verdict(call, tmp_path):
    path = session(tmp_path, members=8)
    code, out, _ = call("hours", path, "--first", "09:00", "--last", "09:00")
    assert code == 0 and "ISO 7243, for a day's work in light clothes, not for a run: P-17 25.0 °C" in out
    assert "P-22 20.0 °C (very high rate of work" in out and "not used to heat" in out
    limits = json.loads(call("hours", path, "--first", "09:00", "--last", "09:00", "--json")[1])["runners"]
    assert all(one["work_limit"]["metabolic_W"] > one["work_limit"]["table_ends_W"] for one in limits)


def test_the_table_says_what_its_columns_are(call, tmp_path):
    code, out, _ = call("hours", session(tmp_path, members=8), "--first", "09:00", "--last", "10:00")
    assert code == 0 and "highest" in out and "(hatched)" not in out
    assert "wind on P-17" in re.sub(r"\s+", " ", out)


# --- starts --------------------------------------------------------------------------------------------------------


def test_starts_begin_where_they_are_asked_to_or_where_the_session_does(call, tmp_path):
    read = Session.read(session(tmp_path))
    labels = [one.label for one in study.possible_starts(read, first="02:30", last="04:30")]
    assert labels == ["day 2 02:30", "day 2 03:30", "day 2 04:30"]
    assert [one.label for one in study.possible_starts(read, first="23:30", last="00:30")] == ["day 1 23:30", "day 2 00:30"]
    (tmp_path / "lane.weather.csv").write_text(SHEET.replace("21:00", "21:20"), encoding="utf-8")
    assert [one.label for one in study.possible_starts(Session.read(tmp_path / "tempo.session.toml"))][:2] == [
        "day 1 21:20", "day 1 22:20"]  # fmt: skip
    flags = ("--first", "02:40", "--last", "02:40", "--members", "4", "--json")
    code, out, _ = call("hours", tmp_path / "tempo.session.toml", *flags)
    assert code == 0 and [row["start"] for row in json.loads(out)["hours"]] == ["day 2 02:40"]


def test_starts_from_a_clock_time_begin_anew_each_day():
    weather = ts.Weather.of_given({"time_s": [0.0, 3 * 86400.0], "air_temperature_C": [30.0, 31.0],
                                   "relative_humidity_pct": [50.0, 50.0]}, 6 * 3600.0)  # fmt: skip
    given = Session.from_parts(ts.Runner(mass_kg=65, height_m=1.75), ts.Effort.steady(speed_m_s=3.0, minutes=30), weather)
    labels = [one.label for one in study.possible_starts(given, first="05:10", every_min=700)]
    assert labels == ["day 1 16:50", "day 2 05:10", "day 2 16:50", "day 3 05:10", "day 3 16:50", "day 4 05:10"]


@real_file
@pytest.mark.parametrize("start, more, labels", [
    ("03-08T23:00", "", ["08.03. 23:00", "09.03. 00:00", "09.03. 01:00", "09.03. 03:00", "09.03. 04:00"]),
    ("03-08T23:00", ', sun = "horizontal"', ["08.03. 23:00", "09.03. 00:00", "09.03. 01:00", "09.03. 03:00", "09.03. 04:00"]),
    ("11-01T23:30", "", ["01.11. 23:30", "02.11. 00:30", "02.11. 01:30 (UTC-04:00)", "02.11. 01:30 (UTC-05:00)", "02.11. 02:30"]),
])  # fmt: skip
def test_a_change_of_clocks_is_in_the_starts(tmp_path, start, more, labels):
    weather = f'{{station = "{REAL}", start = "{start}", hours = 5.5, time_zone = "America/New_York"{more}}}'
    read = Session.read(session(tmp_path, weather))
    assert [one.label for one in study.possible_starts(read)][:5] == labels
    assert [one.label for one in study.possible_starts(read, first="03:00", last="03:10")] == [f"{labels[-1][:6]} 03:00"]
    moved = read.weather.starting_at("03:00")
    assert moved.start_clock_s == 3 * 3600.0


def test_starts_are_hours_over_midnight_while_the_weather_lasts(tmp_path):
    read = Session.read(session(tmp_path, minutes=90))
    starts = study.possible_starts(read)
    assert [one.label for one in starts[:5]] == ["day 1 21:00", "day 1 22:00", "day 1 23:00", "day 2 00:00", "day 2 01:00"]
    assert starts[-1].label == "day 2 10:00" and len(starts) == 14  # 10:30 would be the last minute to start at
    assert [one.label for one in study.possible_starts(read, first="23:00", last="01:00")] == [one.label for one in starts[2:5]]
    assert len(study.possible_starts(read, every_min=30)) == 28


def test_a_start_of_the_session_does_not_hide_earlier_hours(tmp_path):
    path = session(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("[effort]", 'start = "03:00"\n[effort]', 1), encoding="utf-8")
    text = path.read_text(encoding="utf-8").replace('weather = "lane.weather.csv"\nstart', 'weather = "lane.weather.csv"\nstart')
    path.write_text(text, encoding="utf-8")
    assert study.possible_starts(Session.read(path))[0].label == "day 1 21:00"


def test_a_forecast_of_two_sheets_runs_in_every_hour(call, tmp_path):
    path = session(tmp_path, '["lane.weather.csv", "hot.weather.csv"]', runners=False)
    (tmp_path / "hot.weather.csv").write_text(SHEET.replace("31,65", "36,55"), encoding="utf-8")
    code, out, _ = call("hours", path, "--json", "--first", "09:00", "--last", "09:00")
    both = json.loads(out)["hours"][0]["runners"][0]["share_crossing"]
    alone = json.loads(call("hours", session(tmp_path, runners=False), "--json", "--first", "09:00", "--last", "09:00")[1])
    assert code == 0 and both > alone["hours"][0]["runners"][0]["share_crossing"]
    row = json.loads(out)["hours"][0]
    assert row["over_sheets"]["air_temperature_C"] == [31.0, 36.0] and row["air_temperature_C"] == 31.0
    assert row["over_sheets"]["wbgt_highest_C"][0] == pytest.approx(alone["hours"][0]["wbgt_highest_C"])
    path = session(tmp_path, '["lane.weather.csv", "hot.weather.csv"]', runners=False)
    code, out, _ = call("hours", path, "--first", "09:00", "--last", "09:00", "--picture", tmp_path / "two.png")
    assert code == 0 and " 31.0–36.0 " in out
    assert "over the sheets of the forecast" in out and "middle sheet of the forecast" in out


WRONG = [
    ("{air_temperature_C = 30, relative_humidity_pct = 60}", 60, (), "weather is steady, so that every hour is the same"),
    ('"lane.weather.csv"', 60, ("--first", "13:00", "--last", "15:00"),
     "weather has no start from 13:00 to 15:00: a run of 60 min fits into it from day 1 21:00 to day 2 11:00"),
    ('"lane.weather.csv"', 950, (), "covers minute 0 to 900, the effort lasts from 0 to 950 min"),
    ('"lane.weather.csv"', 60, ("--first", "25 h"), 'first is \'25 h\', allowed is "HH:MM"'),
    ('"lane.weather.csv"', 60, ("--every-min", "2"), "every_min is 2, allowed is 5 to 1440 min"),
    ('"lane.weather.csv"', 60, ("--inside-share", "0.6"), "inside_share and crosses_share are 0.6 and 0.5"),
    ('"lane.weather.csv"', 60, ("--variant", "ice"), "variant is 'ice', known are none"),
    ('"lane.weather.csv"', 60, ("--picture", "x.pdf"), "ends in .pdf"),
]


@pytest.mark.parametrize("weather, minutes, flags, sentence", WRONG, ids=[one[3][:30] for one in WRONG])
def test_what_cannot_be_told_is_refused_in_one_sentence(call, tmp_path, weather, minutes, flags, sentence):
    code, out, err = call("hours", session(tmp_path, weather, minutes=minutes), *flags)
    assert code == 2 and out == "" and sentence in err, err


def test_a_double_hour_of_a_sheet_has_its_line(call, tmp_path):
    path = session(tmp_path)
    (tmp_path / "lane.weather.csv").write_text(SHEET.replace("09:00", "03:00"), encoding="utf-8")
    code, _, err = call("hours", path)
    assert code == 2 and "lane.weather.csv, line 4: clock: time repeats" in err


@pytest.mark.parametrize("runners, sentence", [
    ('["P-17.runner.toml", "P-17.runner.toml"]', "runners are called P-17, P-17"),
    ("[]", "runners is [], needed is a list of runner cards"),
    ('["P-99.runner.toml"]', "P-99.runner.toml: there is no such file"),
])  # fmt: skip
def test_wrong_runners_are_one_sentence(call, tmp_path, runners, sentence):
    path = session(tmp_path)
    text = re.sub(r"runners = .*", f"runners = {runners}", path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8")
    code, out, err = call("hours", path)
    assert code == 2 and out == "" and sentence in err, err


def test_under_eighteen_there_is_no_default_limit(call, tmp_path):
    path = session(tmp_path)
    (tmp_path / "P-17.runner.toml").write_text(SMALL + "age_y = 16\n", encoding="utf-8")
    code, out, err = call("hours", path)
    assert code == 2 and out == "" and "core_limit_C is missing for P-17: under 18 or pregnant" in err
    flags = ("--core-limit-C", "38.5", "--first", "03:00", "--last", "03:00", "--json")
    code, out, err = call("hours", path, *flags)
    assert code == 0 and any("Adult model" in line for line in json.loads(out)["cautions"]) and "Adult model" in err


def test_simulate_and_compare_take_the_first_of_several_runners(tmp_path):
    read = Session.read(session(tmp_path))
    assert read.runner.name == "P-17" and [one.name for one in read.others] == ["P-22"]
    assert Session.from_json(read.to_json()) == read


def test_the_same_seed_gives_the_same_table(tmp_path):
    read = Session.read(session(tmp_path, runners=False, members=20))
    assert study.hours(read, first="09:00") == study.hours(read, first="09:00")


# --- the picture ---------------------------------------------------------------------------------------------------


def test_the_picture_tells_verdicts_by_words_and_textures_in_greys(tmp_path):
    from matplotlib.colors import to_rgb

    from thermosim.cli import hours_words
    from thermosim.look.hours_page import LOOK, draw_hours
    from thermosim.look.style import COLOUR

    read = Session.read(session(tmp_path))
    result = study.hours(read)
    result["cautions"] = hours_words.cautions_of(read, result)
    page = draw_hours(result, ["An answer"], "a setting", "seed 4")
    axes = page.axes[0]
    found = [patch for patch in axes.patches if (patch.get_gid() or "").startswith("cell-")]
    cells = [cell for row in result["hours"] for cell in row["runners"]]
    assert len(found) == len(cells)
    for patch, cell in zip(found, cells):
        fill, texture, _ = LOOK[cell["verdict"]]
        assert patch.get_gid() == f"cell-{cell['verdict']}" and (patch.get_hatch() or "") == texture
        red, green, blue = to_rgb(COLOUR[fill])
        assert max(red, green, blue) - min(red, green, blue) < 0.08  # a grey, whatever the verdict
    said = " ".join(text.get_text() for text in axes.texts)
    for cell in cells:
        assert cell["verdict"] != "crosses" or f"crosses at minute {round(cell['crosses_at_min']['median'])}" in said
    assert {cell["verdict"] for cell in cells} <= VERDICTS and "limit 38.5 °C" in said


def test_a_long_table_of_many_runners_can_be_drawn(tmp_path):
    from thermosim.cli import hours_words

    read = Session.read(session(tmp_path, members=8, minutes=30))
    names = tuple(read.runner.model_copy(update={"name": f"P-{k} of the long name"}) for k in range(41, 45))
    result = study.hours(replace(read, others=names), every_min=30)
    result["cautions"] = hours_words.cautions_of(read, result)
    figure = hours_words.page_of(read, result)
    assert len(result["hours"]) >= 28 and figure.get_figheight() < 20.0
