"""Every bad input is refused in ONE sentence that says where, what, what is allowed and what to do."""

import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from thermosim.cooling import from_spec
from thermosim.errors import InputError
from thermosim.inputs.effort import Effort
from thermosim.inputs.new import check_file
from thermosim.inputs.recordings import COLUMN_NAMES, read_delimited, read_gpx
from thermosim.inputs.runner import Runner
from thermosim.inputs.session import Session
from thermosim.inputs.weather import Weather

VALID = Path(__file__).parent / "examples_valid"
SESSION = (VALID / "collar.session.toml").read_text(encoding="utf-8")


def line_of(text: str, start: str) -> int:
    return next(k for k, line in enumerate(text.split("\n"), start=1) if line.startswith(start))


def refuse(path, read, *words: str, line: int | None = None) -> str:
    """Read the file, demand one sentence with file, line and words, and return it."""
    with pytest.raises(InputError) as refused:
        read(path)
    sentence = str(refused.value)
    place = f"{path}, line {line}: " if line else f"{path}: "
    assert sentence.startswith(place), sentence
    assert "\n" not in sentence and sentence.endswith(".") and sentence.count(". ") <= sentence.count("e.g. ")
    for word in words:
        assert word in sentence, (word, sentence)
    return sentence


def session_with(tmp_path, old: str, new: str) -> Path:
    assert SESSION.count(old) == 1
    path = tmp_path / "mine.session.toml"
    path.write_text(SESSION.replace(old, new), encoding="utf-8")
    return path


# One field wrong: what stands in the file, on which line it is found, and what the sentence must say.
@pytest.mark.parametrize(
    ("old", "new", "blamed", "words"),
    [
        (
            "mass_kg = 65.0",
            "mass_kg = 7",
            "mass_kg",
            ["mass_kg is 7 kg", "allowed is 30 to 160 kg", "body mass in kg"],
        ),
        (
            "height_m = 1.75",
            "height_m = 175",
            "height_m",
            ["height_m is 175 m", "allowed is 1.2 to 2.3 m", "looks like cm: 175 cm is 1.75 m"],
        ),
        (
            "grade_pct = 0",
            "grade_pct = 80",
            "grade_pct",
            ["grade_pct is 80 %", "allowed is -45 to 45 %", "rise over run in per cent"],
        ),
        (
            "speed_m_s = 3.3",
            "speed_m_s = 15",
            "speed_m_s",
            ["speed_m_s is 15 m/s", "allowed is 0 to 8 m/s", "looks like km/h: 15 km/h is 4.17 m/s"],
        ),
        ("speed_m_s = 3.3", "speed_m_s = 12", "speed_m_s", ["looks like km/h: 12 km/h is 3.33 m/s"]),
        (
            "speed_m_s = 3.3",
            "speed_km_h = 12",
            "speed_km_h",
            ["speed_km_h is not a known field", "12", "convert km/h to m/s", "speed_m_s = 3.33"],
        ),
        (
            "air_temperature_C = 31",
            "air_temperature_C = 80",
            "air_temperature_C",
            ["air_temperature_C is 80 °C", "allowed is -20 to 55 °C", "looks like °F: 80 °F is 26.7 °C"],
        ),
        (
            "air_temperature_C = 31",
            "air_temperature_C = 304",
            "air_temperature_C",
            ["looks like K: 304 K is 30.9 °C"],
        ),
        (
            "air_temperature_C = 31",
            "air_temperature_C = nan",
            "air_temperature_C",
            ["is nan, which is not a finite number", "allowed is -20 to 55 °C", "give a finite number in °C"],
        ),
        (
            "air_temperature_C = 31",
            'air_temperature_C = "warm"',
            "air_temperature_C",
            ["is 'warm', which is not a number", "allowed is -20 to 55 °C", "plain number in °C"],
        ),
        (
            "wind_speed_m_s = 0.0",
            "wind_speed_m_s = -1",
            "wind_speed_m_s",
            ["wind_speed_m_s is -1 m/s", "allowed is 0 to 25 m/s", "positive number", "wind_from"],
        ),
        (
            "relative_humidity_pct = 85 ",
            "relative_humidity_pct = 140 ",
            "relative_humidity_pct",
            ["relative_humidity_pct is 140 %", "allowed is 0 to 100 %", "saturated air is 100 %"],
        ),
        (
            "relative_humidity_pct = 85 ",
            "# ",
            "[weather]",
            [
                "humidity has no default",
                "relative_humidity_pct (0 to 100 %)",
                "dew_point_C (-40 to 36 °C)",
                "wet_bulb_C",
                "vapour_pressure_kPa",
            ],
        ),
        (
            "relative_humidity_pct = 85 ",
            "dew_point_C = 20\nrelative_humidity_pct = 85 ",
            "relative_humidity_pct",
            [
                "relative_humidity_pct is 85 %",
                "dew_point_C is 20 °C",
                "allowed is 0.05 kPa or 2%",
                "keep the one",
            ],
        ),
        (
            "relative_humidity_pct = 85 ",
            "dew_point_C = 33 ",
            "dew_point_C",
            ["dew_point_C is 33 °C", "up to 31 °C", "check dew_point_C and air_temperature_C"],
        ),
        (
            "solar_W_m2 = 0.0",
            "solar_W_m2 = 500\nglobe_temperature_C = 45",
            "globe_temperature_C",
            ["is 45 °C and solar_W_m2 is 500 W/m²", "allowed is one of the two", "drop the globe"],
        ),
        ("solar_W_m2 = 0.0", "solar_W_m2 = 0.0\nwind_from = 200", "wind_from", []),
        (
            "sex = ",
            "height_cm = 3\nsex = ",
            "height_cm",
            ["not a known field", "convert cm to m", "height_m"],
        ),
        (
            "economy_factor = 1.0 ",
            "econmy_factor = 1.0 ",
            "econmy_factor",
            ["econmy_factor is not a known field", "did you mean economy_factor"],
        ),
        (
            'clothing = "light_kit"',
            'clothing = "light kit"',
            "clothing",
            [
                "clothing is 'light kit'",
                "nude, shorts_and_shoes, light_kit, shirt_and_shorts, coverall",
                "did you mean light_kit",
            ],
        ),
        (
            "core_temperature_C = 39.5",
            "core_temperature_C = 39.7",
            "core_temperature_C",
            ["is 39.7 °C", "allowed without a reason is 37.5 to 39.5 °C", 'limits reason = "…"'],
        ),
        (
            "core_temperature_C = 39.5",
            'core_temperature_C = 40\nreason = "because"',
            "core_temperature_C",
            ["is 40 °C", "allowed is 37.5 °C to below 40 °C", "choose a lower core limit"],
        ),
        (
            "threshold_heart_rate_bpm = 168",
            "threshold_heart_rate_bpm = 190",
            "threshold_heart_rate_bpm",
            ["is 190 bpm", "below maximum_heart_rate_bpm, which is 188 bpm"],
        ),
        (
            "height_m = 1.75",
            "height_m = 2.25",
            "mass_kg",
            ["body mass index of 12.8 kg/m²", "allowed is 13 to 45 kg/m²", "check mass_kg and height_m"],
        ),
        (
            "minutes = 60",
            "minutes = 3600",
            "minutes",
            ["is 3600 min", "allowed is 0.5 to 1440 min", "looks like s: 3600 s is 60 min"],
        ),
        ("minutes = 60", "", "[effort]", ["minutes is missing", "0.5 to 1440 min"]),
        ("members = 200", "members = 2.5", "members", ["whole numbers, 1 to 20000"]),
        ("ice_kg = 0.25", "ice_kg = 250", "ice_kg", ["is 250 kg", "looks like g: 250 g is 0.25 kg"]),
        ("to_min = 60", "to_min = -5", "to_min", ["is -5 min", "allowed is 0 to 1500 min"]),
        ('device = "ice_collar"', "", "[[variant.cooling]]", ["device is missing", 'device = "ice_collar"']),
    ],
    ids=lambda value: value.split(" =")[0].strip() if isinstance(value, str) else "",
)
def test_one_wrong_field_of_a_session(old, new, blamed, words, tmp_path):
    path = session_with(tmp_path, old, new)
    if not words:  # a direction without any wind says nothing and is no fault
        assert Session.read(path).weather.wind_from == "cross"
        return
    refuse(path, Session.read, *words, line=line_of(path.read_text(encoding="utf-8"), blamed))


def test_wind_direction_without_heading(tmp_path):
    path = session_with(tmp_path, "wind_speed_m_s = 0.0", "wind_speed_m_s = 3\nwind_from = 200")
    line = line_of(path.read_text(encoding="utf-8"), "wind_from")
    refuse(
        path,
        Session.read,
        "wind_from is 200 °",
        "without heading_deg",
        "0 to 360 °",
        "add heading_deg",
        line=line,
    )
    path.write_text(
        path.read_text(encoding="utf-8").replace("minutes = 60", "minutes = 60\nheading_deg = 90"), "utf-8"
    )
    assert Session.read(path).effort.heading_deg.tolist() == [90.0]


def test_session_longer_than_its_weather(tmp_path):
    shutil.copy(VALID / "race.weather.csv", tmp_path)
    text = SESSION[: SESSION.index("[weather]")] + SESSION[SESSION.index("[effort]") :]
    path = tmp_path / "long.session.toml"
    path.write_text('weather = "race.weather.csv"\n' + text.replace("minutes = 60", "minutes = 600"), "utf-8")
    refuse(
        path,
        Session.read,
        "weather covers minute 0 to 540",
        "the effort lasts from 0 to 600 min",
        "add rows to the weather or shorten the effort",
        line=1,
    )


def test_unknown_table_and_missing_table(tmp_path):
    path = session_with(tmp_path, "[limits]", "[limit]")
    refuse(
        path,
        Session.read,
        "limit is not a known field",
        "did you mean limits",
        line=line_of(path.read_text(encoding="utf-8"), "[limit]"),
    )
    path.write_text("[runner]\nmass_kg = 60\nheight_m = 1.7\n", encoding="utf-8")
    refuse(path, Session.read, "weather is missing", "add a [weather] table")


def test_a_second_variant_of_the_same_name(tmp_path):
    path = session_with(tmp_path, 'name = "collar"', 'name = "none"')
    names = [
        k for k, line in enumerate(path.read_text("utf-8").split("\n"), start=1) if line == 'name = "none"'
    ]
    refuse(path, Session.read, "variant[2].name is 'none' a second time", "each name once", line=names[1])


def test_toml_syntax_carries_its_line(tmp_path):
    path = session_with(tmp_path, "mass_kg = 65.0", "mass_kg 65.0")
    refuse(path, Session.read, "is not valid TOML", "`name = value`", line=2)


@pytest.mark.parametrize("read", [Session.read, Runner.read, Weather.sheet, Effort.pace_sheet, read_gpx])
def test_files_that_cannot_be_read(read, tmp_path):
    refuse(tmp_path / "nowhere", read, "there is no such file", "check the name")
    refuse(tmp_path, read, "is a folder", "name a file")
    empty = tmp_path / "empty"
    empty.write_bytes(b" \n")
    refuse(empty, read, "is empty", "`thermosim new KIND`")
    latin = tmp_path / "latin"
    latin.write_bytes("# fine\n# temp\xe9rature\n".encode("latin-1"))
    refuse(
        latin, read, "byte 0xE9 is not UTF-8 text", "allowed is UTF-8 only", "save the file as UTF-8", line=2
    )


def test_a_file_too_large(tmp_path):
    path = tmp_path / "large.weather.csv"
    with path.open("wb") as file:
        file.truncate(65 * 2**20)
    refuse(path, Weather.sheet, "is 65 MiB", "allowed is up to 64 MiB", "thin it out")


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (
            "time_min,air_temperature_C,dew_point_C\n0,30,20\n20,30,20\n10,30,20\n",
            4,
            ["time runs backwards", "sort the rows"],
        ),
        ("clock,air_temperature_C,dew_point_C\n06:00,30,20\n05:30,30,20\n", 3, ["time runs backwards"]),
        ("clock,air_temperature_C,dew_point_C\n06:00,30,20\nseven,30,20\n", 3, ["clock is 'seven'", "HH:MM"]),
        ("time_min,air_temperature_C\n0,30\n60,30\n", 2, ["humidity has no default", "give one of"]),
        ("time_min,air_temperature_C,dew_point_C\n0,30,20\n60,30,\n", 3, ["humidity has no default"]),
        (
            "time_min,air_temperature_C,relative_humidity_pct\n0,30,80\n60,30,140\n",
            3,
            ["is 140 %", "0 to 100 %"],
        ),
        (
            "time_min,air_temperature_C,dew_point_C,relative_humidity_pct\n0,30,20,55\n60,30,20,90\n",
            3,
            ["relative_humidity_pct is 90 %", "dew_point_C is 20 °C", "disagree"],
        ),
        (
            "time_min,air_temperature_C,dew_point_C\n0,30,20\n60,NaN,20\n",
            3,
            ["air_temperature_C is missing", "-20 to 55 °C"],
        ),
        ("time_min,air_temprature_C,dew_point_C\n0,30,20\n60,30,20\n", 1, ["did you mean air_temperature_C"]),
        ("air_temperature_C,dew_point_C\n30,20\n30,20\n", 1, ["has 0 time columns", "time_min"]),
        (
            "time_min,air_temperature_C,dew_point_C\n0,30,20\n60,30,20,5\n",
            3,
            ["has 4 cells, the header has 3"],
        ),
        (
            "time_min,air_temperature_C,dew_point_C,wind_speed_m_s,wind_from\n0,30,20,1,head\n60,30,20,1,90\n",
            3,
            ["changes between words", "degrees in every row"],
        ),
        (
            "time_min,air_temperature_C,dew_point_C,wind_speed_m_s,wind_from\n0,30,20,1,10\n60,30,20,1,\n",
            3,
            ["wind_from_deg is empty while wind_speed_m_s is 1 m/s", "0 to 360 °"],
        ),
        (
            "time_min,air_temperature_C,dew_point_C,solar_W_m2,globe_temperature_C\n0,30,20,0,30\n60,30,20,500,45\n",
            3,
            ["globe has seen that sun", "drop the globe"],
        ),
    ],
)
def test_weather_sheets(text, line, words, tmp_path):
    path = tmp_path / "bad.weather.csv"
    path.write_text(text, encoding="utf-8")
    refuse(path, Weather.sheet, *words, line=line)


def test_pace_sheets(tmp_path):
    path = tmp_path / "bad.pace.csv"
    path.write_text("# comment\nminutes,speed_m_s,grade_pct\n10,3,0\n10,3,80\n", encoding="utf-8")
    refuse(path, Effort.pace_sheet, "grade_pct is 80 %", "-45 to 45 %", line=4)
    path.write_text("minutes,speed_km_h\n10,12\n", encoding="utf-8")
    refuse(path, Effort.pace_sheet, "speed_km_h is not a known field", "convert km/h to m/s", line=1)


def test_parts_are_blamed_at_their_line(tmp_path):
    text = (VALID / "shed.session.toml").read_text(encoding="utf-8")
    path = tmp_path / "parts.session.toml"
    path.write_text(
        text.replace("minutes = 4\nspeed_m_s = 0.0\n\n#", "minutes = 4\nspeed_m_s = 30\n\n#"), "utf-8"
    )
    changed = path.read_text(encoding="utf-8").split("\n")
    refuse(
        path,
        Session.read,
        "part[4].speed_m_s is 30 m/s",
        "allowed is 0 to 8 m/s",
        "give a number in m/s",
        line=changed.index("speed_m_s = 30") + 1,
    )


def test_heart_rate_column_absent(tmp_path):
    path = tmp_path / "morning.csv"
    path.write_text("Time,Pulse\n0,100\n1,101\n", encoding="utf-8")
    refuse(
        path,
        lambda file: read_delimited(file, {"time_s": "Time", "heart_rate_bpm": "HR"}),
        "heart_rate_bpm: column 'HR' is not there",
        '"Time", "Pulse"',
        "map heart_rate_bpm to one of these",
        line=1,
    )


def test_a_referenced_file_is_blamed_not_the_session(tmp_path):
    text = SESSION[SESSION.index("[weather]") :]
    path = tmp_path / "mine.session.toml"
    path.write_text('runner = "who.runner.toml"\n' + text, encoding="utf-8")
    card = tmp_path / "who.runner.toml"
    with pytest.raises(InputError, match="who.runner.toml: there is no such file"):
        Session.read(path)
    card.write_text("height_m = 1.7\nmass_kg = 7\n", encoding="utf-8")
    with pytest.raises(InputError) as refused:
        Session.read(path)
    assert str(refused.value).startswith(f"{card}, line 2: mass_kg is 7 kg")


def check(path):
    return check_file(path, from_spec)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("ice_kg = 0.25", "ice_kg = 2.5", ["ice_kg is 2.5 kg", "0.05 to 0.6 kg"]),  # the device's own range
        ("ice_kg = 0.25", "ice_kgs = 0.25", ["ice_kgs is not a field of ice_collar", "did you mean 'ice_kg'"]),
        ("ice_kg = 0.25", "from_min = 10", ["from_min is not a field of a device card", "[[variant.cooling]]"]),
        ("covered = true", 'covered = "no"', ["covered is 'no'", "true and false"]),
        ("held_water_kg = 0.10", 'held_water_kg = "much"', ["held_water_kg is 'much'"]),
        ('device = "ice_collar"', 'device = "ice_colar"', ["did you mean 'ice_collar'"]),
        ('device = "ice_collar"', "# none", ["device is missing"]),
    ],
)
def test_a_card_that_its_device_would_refuse(tmp_path, old, new, words):
    text = (VALID / "collar.device.toml").read_text(encoding="utf-8")
    assert text.count(old) == 1
    path = tmp_path / "mine.device.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    known = not new.startswith("#")
    refuse(path, check, *words, line=line_of(path.read_text(encoding="utf-8"), new) if known else None)


def test_checking_a_session_builds_its_devices(tmp_path):
    path = session_with(tmp_path, "ice_kg = 0.25", "ice_kg = 0.9")
    line = line_of(path.read_text(encoding="utf-8"), "ice_kg")
    refuse(path, check, "ice_kg is 0.9 kg", "0.05 to 0.6 kg", line=line)


@pytest.mark.parametrize(
    ("text", "words", "absent"),
    [
        ("mas_kg = 63\nheight_m = 1.7\n", ["mas_kg is not a known field", "did you mean mass_kg"], "missing"),
        ("mas_kg = 63\n", ["mas_kg", "did you mean mass_kg", "1 more"], "missing"),  # height_m is the other
        ("mass_lb = 140\nheight_m = 1.7\n", ["mass_kg = 63.5"], "more to correct"),
        ("height_m = 1.7\n", ["mass_kg is missing"], "known field"),
    ],
)
def test_a_misspelled_required_key_is_unknown_before_it_is_missing(tmp_path, text, words, absent):
    path = tmp_path / "who.runner.toml"
    path.write_text(text, encoding="utf-8")
    assert absent not in refuse(path, Runner.read, *words, line=None if "missing" in words[0] else 1)


def test_unknown_ending():
    refuse("notes.docx", check, "allowed are *.session.toml", "rename the file")


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "{}", '{"session_format": 1}', '{"session_format": 9}', "null"]
)
def test_json_that_is_no_session(text):
    with pytest.raises(InputError):
        Session.from_json(text)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Runner(mass_kg=True, height_m=1.7),
        lambda: Runner(height_m=1.7),
        lambda: Runner(mass_kg=10**400, height_m=1.7),
        lambda: Weather.steady(air_temperature_C=30),
        lambda: Weather.steady(relative_humidity_pct=30),
        lambda: Weather.from_table({"time_min": [0], "air_temperature_C": 30, "dew_point_C": 20}),
        lambda: Weather.from_table({"time_min": [0, 0], "air_temperature_C": 30, "dew_point_C": 20}),
        lambda: Effort.steady(speed_m_s=3, minutes=60, fan_speed_m_s=2),
        lambda: Effort.steady(speed_m_s=3, pace_min_km=5, minutes=60),
        lambda: Effort.table([]),
        lambda: Effort.table([{"minutes": 1440, "speed_m_s": 1}] * 2),
        lambda: Session.from_parts(1, 2, 3),
        lambda: Session.from_fields({"mass_kg": 60}),
    ],
)
def test_python_arguments_are_refused_the_same_way(make):
    with pytest.raises(InputError) as refused:
        make()
    assert "\n" not in str(refused.value)


# Anything at all: InputError or a record, nothing else.

FUZZ = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
SCALARS = st.one_of(
    st.integers(),
    st.floats(),
    st.booleans(),
    st.text(max_size=8),
    st.sampled_from([0, 1, 3.3, 60, "x", "none", "light_kit", "head"]),
)
KEYS = st.sampled_from(
    sorted(
        {
            "runner",
            "weather",
            "effort",
            "limits",
            "ensemble",
            "variant",
            "assumed",
            "title",
            "start",
            "mass_kg",
            "height_m",
            "air_temperature_C",
            "relative_humidity_pct",
            "dew_point_C",
            "wet_bulb_C",
            "wind_from",
            "wind_from_deg",
            "time_s",
            "time_min",
            "speed_m_s",
            "pace_min_km",
            "minutes",
            "part",
            "recording",
            "pace",
            "file",
            "columns",
            "name",
            "cooling",
            "device",
            "refill_min",
            "from_min",
            "to_min",
            "core_temperature_C",
            "reason",
            "members",
            "seed",
            "clothing",
            "sources",
            "ranges",
            "gait",
            "treadmill",
            "globe_temperature_C",
            "solar_W_m2",
            "altitude_m",
        }
    )
)
TREES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=4)),
    max_leaves=12,
)


def toml_value(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(f"\\u{ord(c):04x}" if ord(c) < 0x10000 else "?" for c in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items()) + "}"
    return repr(value)


def accept_or_refuse(read, *arguments) -> None:
    try:
        read(*arguments)
    except InputError as error:
        assert "\n" not in str(error)


@FUZZ
@given(st.dictionaries(KEYS, TREES, max_size=6))
def test_any_tables_through_the_session(tmp_path_factory, tables):
    path = tmp_path_factory.getbasetemp() / "any.session.toml"
    path.write_text(
        "\n".join(f"{key} = {toml_value(value)}" for key, value in tables.items()), "utf-8", "replace"
    )
    accept_or_refuse(Session.read, path)


@FUZZ
@given(st.sampled_from(SESSION.strip().split("\n")), TREES)
def test_any_value_in_a_valid_session(tmp_path_factory, line, value):
    path = tmp_path_factory.getbasetemp() / "one.session.toml"
    key = line.split("=")[0].strip()
    changed = f"{key} = {toml_value(value)}" if "=" in line else toml_value(value)
    path.write_text(SESSION.replace(line, changed), encoding="utf-8", errors="replace")
    accept_or_refuse(Session.read, path)


@FUZZ
@given(st.binary(max_size=200), st.integers(0, 2000), st.integers(0, 40))
@example(b"[" * 5000, 0, 0)
@example(b"x = " + b"[" * 5000, 0, 0)
@example(b"x = " + b"9" * 5000 + b"\n", 0, 0)
@pytest.mark.parametrize(
    ("name", "read"),
    [
        ("collar.session.toml", Session.read),
        ("race.weather.csv", Weather.sheet),
        ("first.pace.csv", Effort.pace_sheet),
        ("invented.gpx", read_gpx),
        ("invented.csv", lambda path: read_delimited(path, {"time": "Stamp", "heart_rate_bpm": "Pulse"})),
    ],
)
def test_any_bytes_in_any_reader(tmp_path_factory, name, read, junk, at, cut):
    good = (VALID / name).read_bytes()
    path = tmp_path_factory.getbasetemp() / f"bytes-{name}"
    for content in (junk, good[: at % len(good)] + junk + good[at % len(good) + cut :]):
        path.write_bytes(content)
        accept_or_refuse(read, path)


@FUZZ
@given(
    st.lists(
        st.lists(
            st.one_of(st.floats().map(str), st.integers().map(str), st.text(max_size=6)),
            min_size=2,
            max_size=3,
        ),
        max_size=6,
    ),
    st.sampled_from(COLUMN_NAMES),
    st.sampled_from(COLUMN_NAMES),
    st.sampled_from([None, ",", ";", "", "ab", 3]),
)
def test_any_cells_through_the_recording_reader(tmp_path_factory, rows, first, second, delimiter):
    path = tmp_path_factory.getbasetemp() / "cells.csv"
    path.write_text("\n".join(",".join(row) for row in [["a", "b"], *rows]), "utf-8", "replace")

    def read(file):
        Effort.from_recording(read_delimited(file, {first: "a", second: "b"}, delimiter))

    accept_or_refuse(read, path)
