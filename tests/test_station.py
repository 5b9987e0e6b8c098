"""Hourly station files, trackside corrections and forecasts, from the file to the run."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from thermosim.inputs.files import Source
from thermosim.inputs.forecast import read_weather
from thermosim.inputs.hot_week import hot_humid_week, wet_bulbs
from thermosim.inputs.session import Session
from thermosim.inputs.station import read_station, station_fields
from thermosim.inputs.trackside import correct, read_trackside
from thermosim.inputs.weather import Weather
from thermosim.physics.air import saturation_pressure

REAL = Path(__file__).parents[2] / "shared" / "data" / "weather-hourly-tmy3" / "723170TYA.CSV"
real_file = pytest.mark.skipif(not REAL.is_file(), reason="the station file of ../shared/data is not there")
HEADER = (
    "Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),GHI source,Dry-bulb (C),Dry-bulb source,Dew-point (C),Dew-point source,"
    "Pressure (mbar),Pressure source,Wspd (m/s),Wspd source"
)
RUN = "[runner]\nmass_kg = 65\nheight_m = 1.75\n[effort]\nspeed_m_s = 3.0\nminutes = {minutes}\n"


@pytest.fixture
def call(call):
    """As everywhere, with the lines of both streams joined."""

    def run(*arguments):
        code, out, err = call(*arguments)
        return code, " ".join(out.split()), " ".join(err.split())

    return run


def row(day="07/07/1999", hour=1, sun=0, air=25.0, dew=20.0, pressure=990, wind=2.0, flag="1"):
    return f"{day},{hour:02d}:00,{sun},1,{air},{flag},{dew},1,{pressure},1,{wind},1"


def station(tmp_path, rows=None, name="small.csv", line="1,\"A PLACE\",XX,-5.0,36.1,-79.95,273"):
    rows = [row(hour=hour, air=20.0 + hour) for hour in range(1, 25)] if rows is None else rows
    path = tmp_path / name
    path.write_text("\n".join([line, HEADER, *rows]) + "\n", encoding="utf-8")
    return path


def session(tmp_path, weather, minutes=60, more=""):
    path = tmp_path / "run.session.toml"
    path.write_text(f"weather = {weather}\n{more}\n{RUN.format(minutes=minutes)}", encoding="utf-8")
    return path


def window(path, start, hours, **more):
    return read_weather({"station": path.name, "start": start, "hours": hours, **more}, path.parent, Source())[0]


@pytest.fixture(scope="module")
def year():
    if not REAL.is_file():
        pytest.skip("the station file of ../shared/data is not there")
    return read_station(REAL)


@pytest.fixture(scope="module")
def table():
    """The real file once more, read with nothing of the package: (month/day, time) -> row of the columns by heading."""
    if not REAL.is_file():
        pytest.skip("the station file of ../shared/data is not there")
    with REAL.open(encoding="utf-8") as stream:
        next(stream)
        return {(one["Date (MM/DD/YYYY)"][:5], one["Time (HH:MM)"]): one for one in csv.DictReader(stream)}


def test_a_clock_from_another_part_of_the_world_is_warned_of(tmp_path):
    path, day = station(tmp_path, [row(f"07/{day:02d}/1999", hour) for day in (7, 8) for hour in range(1, 25)]), "2026-07-07T"
    far = window(path, day + "12:00", 6, time_zone="Europe/Paris").notes
    assert any("time_zone Europe/Paris is 7 h from the station's own, UTC-05:00" in note for note in far)
    for zone in ("America/New_York", "America/Los_Angeles", "-08:00"):
        assert not [note for note in window(path, day + "12:00", 6, time_zone=zone).notes if "meant" in note], zone
    session_notes = Session.read(session(tmp_path, f"{{station = '{path.name}', start = '{day}12:00', hours = 6, "
                                         "time_zone = 'Europe/Paris'}")).warnings()  # fmt: skip
    assert sum("Europe/Paris" in note for note in session_notes) == 1


# --- the real file -------------------------------------------------------------------------------------------------


def test_the_real_year_is_read_whole(year, table):
    assert (year.end_h.size, year.round_year, year.zone) == (8760, True, "-05:00")
    assert year.missing() == [] and year.gaps() == []
    assert [year.stamp(k) for k in (0, 23, 24, 8759)] == ["01/01 01:00", "01/01 24:00", "01/02 01:00", "12/31 24:00"]
    for k in (0, 1000, 4500, 8759):
        one = table[tuple(year.stamp(k).split(" "))]
        assert year.values["air_temperature_C"][k] == float(one["Dry-bulb (C)"])
        assert year.values["pressure_kPa"][k] == pytest.approx(float(one["Pressure (mbar)"]) / 10.0)
        assert year.values["solar_W_m2"][k] == float(one["GHI (W/m^2)"])


def test_air_is_read_at_its_stamp_and_the_sun_in_the_middle_of_its_hour(table):
    weather = window(REAL, "07-07T05:00", 14)
    for hour in (6, 10, 14, 18):
        now = weather.at(3600.0 * (hour - 5))
        one = table["07/07", f"{hour:02d}:00"]
        assert now["air_temperature_C"] == pytest.approx(float(one["Dry-bulb (C)"]))
        assert now["vapour_pressure_kPa"] == pytest.approx(saturation_pressure(float(one["Dew-point (C)"])), rel=1e-9)
        assert now["wind_speed_m_s"] == pytest.approx(float(one["Wspd (m/s)"]) * (1.5 / 10.0) ** (1.0 / 7.0))
    for hour in (8, 9, 10, 13, 16):  # mean over the hour that ends at the stamp
        times = 3600.0 * (hour - 6 + np.linspace(0.0, 1.0, 121))
        mean = np.trapezoid(weather.at(times)["solar_W_m2"], times) / 3600.0
        assert mean == pytest.approx(float(table["07/07", f"{hour:02d}:00"]["GHI (W/m^2)"]), rel=0.06)
    assert weather.at(0.0)["solar_W_m2"] == 0.0 and weather.start_clock_s == 5 * 3600.0


def test_a_stamp_read_as_the_hour_that_begins_would_be_seen(table):
    """The check above is worth something: shifted by an hour the same means miss."""
    weather = window(REAL, "07-07T05:00", 14)
    times = 3600.0 * (9 - 5 + np.linspace(0.0, 1.0, 121))
    mean = np.trapezoid(weather.at(times)["solar_W_m2"], times) / 3600.0
    assert abs(mean / float(table["07/07", "09:00"]["GHI (W/m^2)"]) - 1.0) > 0.2


def test_daylight_saving_is_an_hour_of_the_clock(table):
    here = window(REAL, "2026-07-07T05:00", 6, time_zone="America/New_York")
    assert here.at(0.0)["air_temperature_C"] == float(table["07/07", "04:00"]["Dry-bulb (C)"])
    assert here.start_clock_s == 5 * 3600.0 and any("+1 h from the file's standard time" in note for note in here.notes)
    winter = window(REAL, "2026-01-07T05:00", 6, time_zone="America/New_York")
    assert winter.at(0.0)["air_temperature_C"] == float(table["01/07", "05:00"]["Dry-bulb (C)"])


def test_the_year_goes_round_at_midnight_and_at_its_end(table, tmp_path, call):
    weather = window(REAL, "12-31T22:00", 6)
    for second, stamp in ((7200.0, ("12/31", "24:00")), (10800.0, ("01/01", "01:00")), (21600.0, ("01/01", "04:00"))):
        assert weather.at(second)["air_temperature_C"] == float(table[stamp]["Dry-bulb (C)"])
    assert any("over the year's end" in note for note in weather.notes)
    calm = sum(float(table[stamp]["Wspd (m/s)"]) == 0.0 for stamp in (
        *(("12/31", f"{hour}:00") for hour in (22, 23, 24)), *(("01/01", f"{hour:02d}:00") for hour in range(1, 6))))  # fmt: skip
    assert any(f"The wind is 0 in {calm} of these hours" in note for note in weather.notes) == (calm > 0)
    path = session(tmp_path, f'{{station = "{REAL}", start = "12-31T23:15", hours = 3}}', 90)
    code, out, _ = call("simulate", path, "--json")
    assert code == 0 and json.loads(out)["distance_m"] == pytest.approx(3.0 * 90 * 60)


def test_the_hot_humid_week_is_the_one_with_the_highest_wet_bulb(year, call, tmp_path):
    week = hot_humid_week(year)
    days = np.array([wet_bulbs(year)[24 * k : 24 * k + 24].mean() for k in range(365)])
    best = max(range(365), key=lambda k: np.take(days, range(k, k + 7), mode="wrap").mean())
    assert week.start == "07-08T00:00" and week.days[0].date == year.stamp(24 * best)[:5]
    assert week.wet_bulb_C == pytest.approx(23.4, abs=0.1) and max(day.air_high_C for day in week.days) == 35.6
    code, out, _ = call("check", REAL, "--picture", tmp_path / "week.png")
    assert code == 0 and "hot humid week begins at 07-08T00:00" in out and "No hour is left out" in out
    assert (tmp_path / "week.png").stat().st_size > 20_000


@real_file
def test_a_sheet_made_of_the_station_runs_like_the_station(call, tmp_path):
    cut = ("--start", "07-09T11:00", "--hours", 4, "--out", tmp_path / "noon.weather.csv")
    code, _, _ = call("new", "weather", "--from", REAL, *cut)
    assert code == 0
    results = []
    for weather in ('"noon.weather.csv"', f'{{station = "{REAL}", start = "07-09T11:00", hours = 4}}'):
        code, out, _ = call("simulate", session(tmp_path, weather), "--json")
        results.append(json.loads(out))
    assert results[0]["core_at_end_C"] == pytest.approx(results[1]["core_at_end_C"], abs=1e-4)
    assert results[0]["core_at_end_C"] > 38.0


# --- what is refused -----------------------------------------------------------------------------------------------

BROKEN = [
    ([row(hour=1), row(hour=2), row(hour=2)], "line 5: the hour stands twice: 07/07 02:00 after 07/07 02:00 in line 4"),
    ([row(hour=2), row(hour=1)], "line 4: the hour runs backwards"),
    ([row(hour=1), row(hour=25)], "line 4: Time (HH:MM) is '25:00', allowed are 01:00 to 24:00"),
    ([row(hour=0), row(hour=1)], "line 3: Time (HH:MM) is '00:00'"),
    ([row(hour=1), row(day="02/30/1999", hour=2)], "line 4: Date (MM/DD/YYYY) is '02/30/1999'"),
    ([row(hour=1), row(hour=2).rsplit(",", 3)[0]], "line 4: has 9 cells, the header has 12"),
    ([row(hour=1), row(hour=2, air="warm")], "line 4: Dry-bulb (C) is 'warm'"),
    ([row(hour=1), row(hour=2, air=99.9)], "line 4: Dry-bulb (C) is 99.9, which is 99.9 °C, allowed is -20 to 55 °C"),
    ([row(hour=1), row(hour=2, pressure=99)], "line 4: Pressure (mbar) is 99, which is 9.9 kPa"),
]


@pytest.mark.parametrize("rows, sentence", BROKEN, ids=[one[1][:30] for one in BROKEN])
def test_a_broken_file_is_one_sentence_with_its_line(tmp_path, call, rows, sentence):
    path = station(tmp_path, rows)
    code, out, err = call("check", path)
    assert code == 2 and out == "" and sentence in err and str(path) in err and err.count(".csv") == 1


@pytest.mark.parametrize("code_in_file, flag", [(-9900, "1"), (9999, "1"), ("", "1"), (30.0, "?")])
def test_a_missing_value_is_reported_and_never_filled(tmp_path, call, code_in_file, flag):
    rows = [row(hour=hour, air=code_in_file if hour == 6 else 25.0, flag=flag if hour == 6 else "1") for hour in range(1, 25)]
    path = station(tmp_path, rows)
    code, out, _ = call("check", path)
    assert code == 0 and "Dry-bulb (C) is missing in 1 of 24 hours, first in line 8" in out
    through = session(tmp_path, f'{{station = "{path.name}", start = "07-07T04:00", hours = 4}}')
    code, out, err = call("simulate", through)
    assert code == 2 and out == "" and f"{path}, line 8: Dry-bulb (C) is missing at 07/07 06:00" in err
    assert "nothing is filled" in err
    beside = session(tmp_path, f'{{station = "{path.name}", start = "07-07T10:00", hours = 4}}')
    assert call("simulate", beside, "--json")[0] == 0


def test_a_gap_and_the_end_of_the_file(tmp_path, call):
    path = station(tmp_path, [row(hour=hour) for hour in range(1, 25) if hour not in (11, 12)])
    assert "2 h are left out before line 13 (07/07 13:00)" in call("check", path)[1]
    for start, words in (("07-07T10:00", "leaves out the hour 11:00"), ("07-07T22:00", "ends before the hour 01:00"),
                         ("07-06T10:00", "begins after"), ("07-09T10:00", "ends before")):  # fmt: skip
        code, _, err = call("simulate", session(tmp_path, f'{{station = "{path.name}", start = "{start}", hours = 4}}'))
        assert code == 2 and f"{path}, line " in err and words in err, (start, err)


WRONG_WINDOWS = [
    ('start = "07-07T10:00", hours = 1', 90, "covers minute 0 to 60, the effort lasts from 0 to 90 min"),
    ('start = "07-07T10:00", hours = 4, time_zone = "Europa/Paris"', 60, "time_zone is 'Europa/Paris'"),
    ('start = "02-29T10:00", hours = 4', 60, "start is"),
    ('start = "noon", hours = 4', 60, "start is 'noon', allowed is month, day and time of day"),
    ('start = "07-07T10:00"', 60, "hours is missing"),
    ('start = "07-07T24:30", hours = 4', 60, "start is '07-07T24:30', allowed is a date with a time of day"),
    ('start = "03-09T02:30", hours = 4, time_zone = "America/New_York"', 60,
     'leaves out (without a year the dates are those of 2025); the clocks show "03-09T03:30:00" then: write that'),
    ('start = "11-02T01:30", hours = 4, time_zone = "America/New_York"', 60,
     'gives twice (without a year the dates are those of 2025); give its offset in place of time_zone: '
     '"11-02T01:30:00-04:00" or "11-02T01:30:00-05:00"'),
    ('start = "07-07T10:00", hours = 4, wind_from = "degrees"', 60, "wind_from is 'degrees'"),
    ('start = "07-07T10:00", hours = 4, windd = 3', 60, "windd is not a known field"),
    ('start = "07-07T10:00", hours = 0.5', 60, "hours is 0.5, allowed is 1 to 744 h"),
]


@pytest.mark.parametrize("fields, minutes, sentence", WRONG_WINDOWS, ids=[one[2][:25] for one in WRONG_WINDOWS])
def test_a_wrong_window_is_one_sentence(tmp_path, call, fields, minutes, sentence):
    station(tmp_path)
    path = session(tmp_path, f'{{station = "small.csv", {fields}}}', minutes)
    code, out, err = call("simulate", path)
    assert code == 2 and out == "" and sentence in err and f"{path}, line 1" in err, err


@pytest.mark.parametrize("start, local", [
    ("07-07T24:00", "2025-07-08T00:00:00"), ("2026-07-07T24:00", "2026-07-08T00:00:00"),
    ("07-07T05:00-04:00", "2025-07-07T05:00:00"), ("07-07T05:00-05:00", "2025-07-07T06:00:00"),
])  # fmt: skip
def test_the_end_of_a_day_and_an_offset_are_starts(tmp_path, start, local):
    """What the refusal of a start says is taken; the clock is that of the zone."""
    days = [row(day=f"07/0{day}/1999", hour=hour) for day in (7, 8) for hour in range(1, 25)]
    read = read_station(station(tmp_path, days))
    given, clock_s, _ = station_fields(read, start, 4, time_zone="America/New_York")
    assert given["start"] == local and given["time_zone"] == "America/New_York"
    assert clock_s == 3600.0 * int(local[11:13])


@pytest.mark.parametrize("clock, line", [("25:00", 3), ("24:01", 3), ("124:00", 3)])
def test_a_sheet_has_clock_times_of_a_day(tmp_path, call, clock, line):
    (tmp_path / "late.weather.csv").write_text(f"clock,air_temperature_C,relative_humidity_pct\n22:00,25,80\n{clock},24,80\n")
    code, _, err = call("check", tmp_path / "late.weather.csv")
    assert code == 2 and f"line {line}: clock is '{clock}', allowed is HH:MM, 00:00 to 24:00; write e.g. 02:30; after" in err


def test_a_station_named_like_a_sheet_says_how_it_is_given(tmp_path, call):
    station(tmp_path, name="year.csv")
    code, _, err = call("simulate", session(tmp_path, '"year.csv"'))
    assert code == 2 and "of which a session uses a window; write weather = {station" in err


# --- trackside -----------------------------------------------------------------------------------------------------

SHEET = "clock,air_temperature_C,relative_humidity_pct,wind_speed_m_s,wind_from,solar_W_m2\n"
SHEET += "05:00,24,90,1,cross,0\n08:00,28,75,2,cross,500\n11:00,32,55,3,cross,850\n"


def sheet(tmp_path, text=SHEET, name="lane.weather.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def readings(tmp_path, text):
    path = tmp_path / "lane.trackside.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_readings_shift_the_sheet_along_straight_lines(tmp_path):
    weather = Weather.sheet(sheet(tmp_path))
    text = "clock,air_temperature_C,relative_humidity_pct,wind_speed_m_s,wind_height_m\n"
    text += "06:00,27.0,80,0.5,1.5\n09:00,31.0,60,3.0,10\n"
    fixed = correct(weather, read_trackside(readings(tmp_path, text), weather))
    first, last = fixed.at(3600.0), fixed.at(4 * 3600.0)
    assert first["air_temperature_C"] == pytest.approx(27.0) and last["air_temperature_C"] == pytest.approx(31.0)
    assert first["vapour_pressure_kPa"] == pytest.approx(0.80 * saturation_pressure(27.0), rel=1e-9)
    assert last["wind_speed_m_s"] == pytest.approx(3.0 * 0.15 ** (1 / 7))
    offsets = [27.0 - weather.at(3600.0)["air_temperature_C"], 31.0 - weather.at(4 * 3600.0)["air_temperature_C"]]
    middle = 2.5 * 3600.0
    assert fixed.at(middle)["air_temperature_C"] - weather.at(middle)["air_temperature_C"] == pytest.approx(np.mean(offsets))
    assert fixed.at(0.0)["air_temperature_C"] == pytest.approx(24.0 + offsets[0])  # held before the first
    assert fixed.at(6 * 3600.0)["air_temperature_C"] == pytest.approx(32.0 + offsets[1])
    said = " ".join(fixed.notes)
    assert "Readings less sheet, air temperature: +1.67 °C" in said and "is held, for up to 120 min" in said
    assert "Held longer than an hour" in said
    assert Weather.from_dict(json.loads(json.dumps(fixed.to_dict()))).notes == fixed.notes


def test_a_sheet_far_off_is_flagged(tmp_path):
    weather = Weather.sheet(sheet(tmp_path))
    near = correct(weather, read_trackside(readings(tmp_path, "clock,air_temperature_C\n08:00,28.5\n"), weather))
    far = correct(weather, read_trackside(readings(tmp_path, "clock,air_temperature_C\n08:00,33.0\n"), weather))
    flag = "may not be this course's"
    assert flag not in " ".join(near.notes) and flag in " ".join(far.notes)


@pytest.mark.parametrize("globe", [40.0, 48.0])
def test_a_globe_reading_scales_the_sun_until_the_estimated_globe_agrees(tmp_path, globe):
    weather = Weather.sheet(sheet(tmp_path))
    text = f"clock,air_temperature_C,wind_speed_m_s,globe_temperature_C\n09:30,31.0,2.0,{globe}\n"
    fixed = correct(weather, read_trackside(readings(tmp_path, text), weather))
    k = int(np.argmin(np.abs(fixed.time_s - 4.5 * 3600.0)))
    assert fixed.wet_bulb_globe.globe_C[k] == pytest.approx(globe, abs=0.1)
    assert fixed.solar_W_m2[0] == 0.0 and "of the sheet's sun" in " ".join(fixed.notes)


WRONG_READINGS = [
    ("clock,air_temperature_C\n04:00,25\n", "line 2: the reading is 1380 min after the start"),
    ("clock,air_temperature_C\n06:00,25\n06:00,26\n", "line 3: clock: time repeats"),
    ("clock,air_temperature_C\n06:00,\n", "line 2: holds no reading"),
    ("clock,air_temperature_C\nsix,25\n", "line 2: clock is 'six', allowed is HH:MM, 00:00 to 24:00"),
    ("clock,relative_humidity_pct\n06:00,80\n", "line 2: air_temperature_C is missing"),
    ("clock,air_temperature_C,globe\n06:00,25,30\n", "line 1: globe is not a known field"),
    ("clock,time_min,air_temperature_C\n06:00,60,25\n", "line 1: needs one time column"),
]


@pytest.mark.parametrize("text, sentence", WRONG_READINGS, ids=[one[1][:28] for one in WRONG_READINGS])
def test_wrong_readings_are_one_sentence(tmp_path, call, text, sentence):
    sheet(tmp_path), readings(tmp_path, text)
    path = session(tmp_path, '{sheet = "lane.weather.csv", corrections = "lane.trackside.csv"}')
    code, out, err = call("simulate", path)
    assert code == 2 and out == "" and "lane.trackside.csv, " + sentence in err, err


def test_corrections_reach_the_run(tmp_path, call):
    sheet(tmp_path)
    readings(tmp_path, "clock,air_temperature_C,relative_humidity_pct\n06:00,30,85\n")
    plain = json.loads(call("simulate", session(tmp_path, '"lane.weather.csv"'), "--json")[1])
    fixed = session(tmp_path, '{sheet = "lane.weather.csv", corrections = "lane.trackside.csv"}')
    code, out, _ = call("simulate", fixed, "--json")
    hotter = json.loads(out)
    assert code == 0 and hotter["core_at_end_C"] > plain["core_at_end_C"] + 0.05
    assert any("Corrected by 1 readings at trackside (lane.trackside.csv)" in one for one in hotter["warnings"])


# --- a forecast ----------------------------------------------------------------------------------------------------


def compared(tmp_path, call, weather):
    more = "[ensemble]\nmembers = 60\nseed = 3\n[[variant]]\nname = \"none\"\n[[variant]]\nname = \"collar\"\n"
    more += "[[variant.cooling]]\ndevice = \"ice_collar\"\n"
    path = tmp_path / "pair.session.toml"
    path.write_text(f"weather = {weather}\n{RUN.format(minutes=45)}{more}", encoding="utf-8")
    code, out, err = call("compare", path, "--json")
    assert code == 0, err
    return json.loads(out), path


def test_sheets_of_a_forecast_are_members_of_the_ensemble(tmp_path, call):
    sheet(tmp_path)
    sheet(tmp_path, SHEET.replace(",24,90,", ",31,85,").replace(",28,75,", ",36,60,"), "hot.weather.csv")
    one, _ = compared(tmp_path, call, '"lane.weather.csv"')
    hot, _ = compared(tmp_path, call, '"hot.weather.csv"')
    two, path = compared(tmp_path, call, '["lane.weather.csv", "hot.weather.csv"]')
    ends = [result["variants"][0]["core_at_end_C"] for result in (one, two, hot)]
    assert ends[0]["median"] < ends[1]["median"] < ends[2]["median"]
    assert ends[1]["high"] - ends[1]["low"] > ends[0]["high"] - ends[0]["low"]
    assert any("The forecast has 2 sheets" in sentence for sentence in two["warnings"])
    read = Session.read(path)
    assert Session.from_json(read.to_json()) == read


def test_each_member_has_its_own_sheet_as_if_it_ran_alone(tmp_path):
    """Members of a forecast take its sheets in turn: the odd ones are those of the second sheet, number for number."""
    from dataclasses import replace

    from thermosim.study.ensemble import draw_members, run_variant

    sheet(tmp_path)
    sheet(tmp_path, SHEET.replace(",24,90,", ",31,85,"), "hot.weather.csv")
    both = Session.read(session(tmp_path, '["lane.weather.csv", "hot.weather.csv"]'))
    drawn = draw_members(both, 6, 1)
    mixed = run_variant(both, both.variants[0], drawn, (3600.0,), 0)
    for k, weather in enumerate(both.forecast.sheets):
        alone = run_variant(replace(both, weather=weather, forecast=None), both.variants[0], drawn, (3600.0,), 0)
        assert np.array_equal(mixed.summaries[k::2], alone.summaries[k::2], equal_nan=True)
    assert not np.array_equal(mixed.summaries[1::2, 0], mixed.summaries[::2, 0])


def test_a_stated_spread_widens_the_band(tmp_path, call):
    sheet(tmp_path)
    narrow, _ = compared(tmp_path, call, '"lane.weather.csv"')
    wide, _ = compared(tmp_path, call, '{sheet = "lane.weather.csv", spread = {air_temperature_K = 6, vapour_pressure_pct = 30}}')
    widths = [one["variants"][0]["core_at_end_C"]["high"] - one["variants"][0]["core_at_end_C"]["low"] for one in (narrow, wide)]
    assert widths[1] > widths[0] + 0.02
    assert any("air_temperature_K ±6 K" in sentence for sentence in wide["warnings"])


WRONG_FORECASTS = [
    ('{sheet = "lane.weather.csv", spread = {air_temperature_K = -1}}', "spread.air_temperature_K is -1"),
    ('{sheet = "lane.weather.csv", spread = {air = 1}}', "air is not a known field"),
    ('["lane.weather.csv", "lane.weather.csv"]', "has 2 names, 1 of them different"),
    ('["lane.weather.csv", "late.weather.csv"]', "starts at another clock time"),
    ('{sheet = "lane.weather.csv", station = "x.csv"}', "station is given beside sheet"),
    ('["lane.weather.csv", "short.weather.csv"]', "weather covers minute 0 to 30, the effort lasts from 0 to 60"),
]


@pytest.mark.parametrize("weather, sentence", WRONG_FORECASTS, ids=[one[1][:28] for one in WRONG_FORECASTS])
def test_a_wrong_forecast_is_one_sentence(tmp_path, call, weather, sentence):
    sheet(tmp_path)
    sheet(tmp_path, SHEET.replace("05:00", "05:30"), "late.weather.csv")
    sheet(tmp_path, SHEET.replace("08:00", "05:30").rsplit("11:00", 1)[0], "short.weather.csv")
    code, out, err = call("simulate", session(tmp_path, weather))
    assert code == 2 and out == "" and sentence in err, err
