"""What people write down becomes records: the promised file, every kind of file, overrides, round trips."""

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from thermosim import cautions
from thermosim.cooling import from_spec
from thermosim.cooling.cards import card_text
from thermosim.errors import InputError
from thermosim.evidence.read_case import read_case
from thermosim.inputs.effort import Effort
from thermosim.inputs.files import locate, write_atomically
from thermosim.inputs.limits import Variant
from thermosim.inputs.new import ENDINGS, KINDS, check_file, new_file_text
from thermosim.inputs.runner import Runner
from thermosim.inputs.session import Session
from thermosim.inputs.weather import Weather

VALID = Path(__file__).parent / "examples_valid"
FLAGS = {
    "mass_kg": 65,
    "height_m": 1.75,
    "speed_m_s": 3.3,
    "minutes": 60,
    "air_temperature_C": 31,
    "relative_humidity_pct": 85,
}


def test_the_promised_session_file_reads_as_written():
    session = Session.read(VALID / "collar.session.toml")
    assert (session.runner.mass_kg, session.runner.threshold_heart_rate_bpm) == (65.0, 168.0)
    assert session.runner.clothing == "light_kit"
    assert session.weather.air_temperature_C.tolist() == [31.0]
    # saturated air of 31 °C holds 4.495 kPa in the steam tables
    assert session.weather.vapour_pressure_kPa[0] == pytest.approx(0.85 * 4.495, abs=0.005)
    assert (session.effort.minutes, session.effort.speed_m_s.tolist()) == (60.0, [3.3])
    assert (session.core_limit_C, session.limit_site) == (39.5, "core")
    assert [variant.name for variant in session.variants] == ["none", "collar"]
    assert session.variants[1].cooling[0] == {
        "device": "ice_collar",
        "ice_kg": 0.25,
        "covered": True,
        "from_min": 0.0,
        "to_min": 60.0,
    }


@pytest.mark.parametrize(
    "path", sorted(VALID.glob("*.*.*")) + [VALID / "invented.gpx"], ids=lambda path: path.name
)
def test_one_valid_example_of_every_kind_is_accepted(path):
    first, *warnings = check_file(path, from_spec)
    assert "is valid" in first and path.name in first
    assert all(sentence.endswith(".") for sentence in warnings)


@pytest.mark.parametrize("kind", KINDS)
def test_a_new_file_of_every_kind_passes_its_own_check(kind, tmp_path):
    path = tmp_path / f"mine{ENDINGS[kind]}"
    text = new_file_text(kind, lambda: card_text("ice_collar", cautions.for_card()))
    path.write_text(text, encoding="utf-8")
    assert "is valid" in check_file(path, from_spec, read_case)[0]
    assert "#" in text


@pytest.mark.parametrize("path", sorted(VALID.glob("*.session.toml")), ids=lambda path: path.name)
def test_a_session_survives_json_with_every_digit(path):
    session = Session.read(path)
    text = session.to_json()
    again = Session.from_json(text)
    assert again == session and hash(again) == hash(session)
    assert json.loads(again.to_json()) == json.loads(text)
    for name in ("time_s", "vapour_pressure_kPa", "wind_speed_m_s", "wind_from_deg"):
        np.testing.assert_array_equal(getattr(again.weather, name), getattr(session.weather, name))
    for name in ("start_s", "end_s", "speed_m_s", "grade_pct", "heading_deg"):
        np.testing.assert_array_equal(getattr(again.effort, name), getattr(session.effort, name))
    assert again.warnings() == session.warnings()


def test_recorded_heart_rate_comes_along_with_its_holes():
    session = Session.read(VALID / "recorded.session.toml")
    recorded = session.effort.recorded
    assert np.isnan(recorded.heart_rate_bpm).sum() == 1
    assert np.diff(recorded.time_s).max() == 60.0
    again = Session.from_json(session.to_json()).effort.recorded
    np.testing.assert_array_equal(again.heart_rate_bpm, recorded.heart_rate_bpm)


def test_defaults_are_echoed_with_their_values():
    session = Session.from_fields(FLAGS)
    text = " ".join(session.warnings())
    for sentence in (
        "age_y is the default, 35 y.",
        "body_fat_pct is the default, 15 %.",
        "heat_days is unknown",
        "maximum_heart_rate_bpm is the default, 183.5 bpm.",
        "wind_speed_m_s is the default, 0.",
        "pressure_kPa is the default, 101.325 kPa",
        "cost is the default, minetti.",
        "The core limit is the default, 38.5 °C (heat days: unknown).",
    ):
        assert sentence in text
    assert " mass_kg" not in text and "height_m" not in text


def test_default_limit_follows_the_heat_days():
    assert Session.from_fields({**FLAGS, "heat_days": 4}).core_limit_C == 38.5
    assert Session.from_fields({**FLAGS, "heat_days": 5}).core_limit_C == 39.0
    given = Session.from_fields({**FLAGS, "core_limit_C": 39.2, "limit_site": "rectal"})
    assert (given.core_limit_C, given.limit_site) == (39.2, "rectal")
    assert any("without it 38.5 °C would hold" in sentence for sentence in given.warnings())


def test_a_written_reason_lifts_the_limit_and_is_echoed():
    session = Session.from_fields(
        {**FLAGS, "core_limit_C": 39.8, "limit_reason": "ethics approval, rectal probe"}
    )
    assert session.core_limit_C == 39.8
    assert any("ethics approval, rectal probe" in sentence for sentence in session.warnings())


def test_a_flag_replaces_a_field_and_a_humidity_form_drops_the_other():
    session = Session.read(VALID / "collar.session.toml")
    changed = session.with_overrides({"dew_point_C": 20, "mass_kg": 70, "speed_m_s": 3.0, "members": 50})
    assert changed.weather.vapour_pressure_kPa[0] == pytest.approx(2.339, abs=0.005)  # saturation at 20 °C
    assert "relative_humidity_pct" not in changed.weather.given
    assert (changed.runner.mass_kg, changed.runner.height_m) == (70.0, 1.75)
    assert (changed.effort.speed_m_s.tolist(), changed.effort.minutes) == ([3.0], 60.0)
    assert (changed.ensemble.members, changed.ensemble.seed) == (50, 1)
    assert changed.variants == session.variants
    assert session.runner.mass_kg == 65.0


def test_every_effort_option_is_a_flag_on_a_recording_but_speed_is_not():
    session = Session.read(VALID / "recorded.session.toml")
    assert session.with_overrides({"treadmill": True, "fan_speed_m_s": 2}).effort.fan_speed_m_s == 2.0
    with pytest.raises(InputError, match="speed_m_s cannot replace"):
        session.with_overrides({"speed_m_s": 3})


def test_humidity_forms_agree_with_each_other():
    air = {"air_temperature_C": 33.5}
    by_bulb = Weather.steady(**air, wet_bulb_C=21.5).vapour_pressure_kPa[0]
    assert by_bulb == pytest.approx(1.76, abs=0.03)
    both = Weather.steady(**air, relative_humidity_pct=50, dew_point_C=21.5)
    assert any("agree" in note for note in both.warnings())
    saturated = Weather.steady(**air, relative_humidity_pct=100)
    same = Weather.steady(**air, dew_point_C=33.5)
    assert saturated.vapour_pressure_kPa[0] == pytest.approx(same.vapour_pressure_kPa[0], rel=1e-12)


def test_weather_is_linear_between_rows_and_refused_outside():
    weather = Weather.sheet(VALID / "race.weather.csv")
    half = weather.at(9.0 * 3600 / 2 - 3600)  # 06:00, two thirds of the way from 05:00 to 06:30
    assert half["air_temperature_C"] == pytest.approx(24.6 + (27.0 - 24.6) * 2 / 3)
    assert half["solar_W_m2"] == pytest.approx(100.0)
    with pytest.raises(InputError, match="outside the weather"):
        weather.at(10 * 3600.0)
    # the air holds nearly the same water all morning while relative humidity falls by a third
    assert np.ptp(weather.vapour_pressure_kPa) < 0.3


def test_clock_start_and_midnight(tmp_path):
    sheet = tmp_path / "night.weather.csv"
    sheet.write_text("clock,air_temperature_C,dew_point_C\n23:00,28,24\n00:30,26,24\n02:00,25,23\n")
    weather = Weather.sheet(sheet)
    assert weather.time_s.tolist() == [0.0, 5400.0, 10800.0]
    later = weather.starting_at("00:30")
    assert later.time_s.tolist() == [-5400.0, 0.0, 5400.0]
    assert later.at(0.0)["air_temperature_C"] == 26.0
    assert Weather.from_dict(later.to_dict()) == later
    with pytest.raises(InputError, match="outside the clock times"):
        weather.starting_at("05:00")


def test_wind_is_brought_to_the_runner_and_turns_the_short_way():
    weather = Weather.from_table(
        {
            "time_min": [0, 60],
            "air_temperature_C": [30, 30],
            "relative_humidity_pct": 60,
            "wind_speed_m_s": 4,
            "wind_height_m": 10,
            "wind_from_deg": [350, 10],
        }
    )
    assert weather.wind_speed_m_s.tolist() == pytest.approx([4 * 0.15 ** (1 / 7)] * 2)
    assert weather.wind_from == "degrees"
    assert weather.at(1800.0)["wind_from_deg"] % 360 == pytest.approx(0.0, abs=1e-9)
    assert any("Wind measured at 10 m" in note for note in weather.warnings())


def test_globe_is_kept_and_mean_radiant_left_open():
    weather = Weather.steady(air_temperature_C=30, relative_humidity_pct=50, globe_temperature_C=45)
    assert weather.globe_temperature_C.tolist() == [45.0]
    assert math.isnan(weather.mean_radiant_temperature_C[0])


def test_pressure_from_altitude():
    weather = Weather.steady(air_temperature_C=20, relative_humidity_pct=50, altitude_m=1500)
    assert weather.pressure_kPa[0] == pytest.approx(84.556, abs=0.01)  # standard atmosphere


def test_parts_follow_each_other_and_pace_counts():
    effort = Effort.table(
        [
            {"minutes": 7, "pace_min_km": "5:03"},
            {"minutes": 4, "speed_m_s": 0},
            {"minutes": 0.25, "speed_m_s": 5},
        ]
    )
    assert effort.start_s.tolist() == [0, 420, 660] and effort.end_s.tolist() == [420, 660, 675]
    assert effort.speed_m_s[0] == pytest.approx(1000 / 303)
    assert Effort.steady(pace_min_km=5, minutes=10).speed_m_s.tolist() == pytest.approx([10 / 3])


def test_runner_card_writes_and_reads_itself(tmp_path):
    runner = Runner.read(VALID / "P-31.runner.toml")
    assert runner.sources["vo2max_mL_kg_min"] == "fitted" and runner.sources["heat_days"] == "default"
    assert runner.ranges == {"vo2max_mL_kg_min": (44.0, 52.0)}
    own = runner.model_copy(
        update={
            "clothing": Runner(
                mass_kg=60,
                height_m=1.7,
                clothing={"covered_fraction": 0.4, "insulation_clo": 0.1, "vapour_resistance_m2Pa_W": 2.0},
            ).clothing
        }
    )
    for card in (runner, own):
        path = tmp_path / "copy.runner.toml"
        path.write_text(card.to_toml(), encoding="utf-8")
        assert Runner.read(path).to_dict() == card.to_dict()


@pytest.mark.parametrize("odd", [{"age_y": 16}, {"pregnant": True}])
def test_outside_the_adult_model_is_said(odd):
    sentences = Runner(mass_kg=55, height_m=1.65, **odd).warnings()
    assert any("Adult model, outside its range" in sentence for sentence in sentences)


def test_beta_blocker_is_said():
    sentences = Runner(mass_kg=55, height_m=1.65, beta_blocker=True).warnings()
    assert any("no heart-rate fit, no cap" in sentence for sentence in sentences)


def test_assumed_ranges_hold_the_value():
    session = Session.read(VALID / "shed.session.toml")
    assert session.assumed == {"relative_humidity_pct": (70.0, 80.0)}
    parts = {"runner": session.runner, "effort": session.effort, "weather": session.weather}
    with pytest.raises(InputError, match="without its value 75"):
        Session.from_parts(**parts, assumed={"relative_humidity_pct": [60, 70]})


def test_from_parts_takes_device_tables():
    session = Session.read(VALID / "shed.session.toml")
    cooled = Session.from_parts(
        session.runner, session.effort, session.weather, cooling=[{"device": "ice_collar"}]
    )
    assert cooled.variants == (Variant(name="cooled", cooling=({"device": "ice_collar"},)),)


def test_locator_counts_nested_arrays_of_tables():
    lines = locate('a = 1\n[b]\nc.d = 2\n[[v]]\n[[v.w]]\nx = 1\n[[v.w]]\nx = 2\n[[v]]\n  [[v.w]]\n"x" = 3\n')
    assert lines[("b", "c", "d")] == 3
    assert lines[("v", 0, "w", 1, "x")] == 8
    assert lines[("v", 1, "w", 0, "x")] == 11


def test_nothing_is_half_written(tmp_path):
    path = tmp_path / "out.csv"

    def breaks(temporary):
        temporary.write_text("half")
        raise RuntimeError("stop")

    with pytest.raises(RuntimeError):
        write_atomically(path, breaks)
    assert list(tmp_path.iterdir()) == []
    write_atomically(path, lambda temporary: temporary.write_text("one"))
    with pytest.raises(InputError, match="exists already; .*--force"):
        write_atomically(path, lambda temporary: temporary.write_text("two"))
    assert path.read_text() == "one"
    write_atomically(path, lambda temporary: temporary.write_text("two"), force=True)
    assert path.read_text() == "two" and [item.name for item in tmp_path.iterdir()] == ["out.csv"]
    with pytest.raises(InputError, match="folder does not exist"):
        write_atomically(tmp_path / "no" / "out.csv", breaks)


def test_a_folder_is_written_whole_or_not_at_all(tmp_path):
    def folder(temporary):
        temporary.mkdir()
        (temporary / "part").write_text("x")

    write_atomically(tmp_path / "plan", folder)
    write_atomically(tmp_path / "plan", folder, force=True)
    assert [item.name for item in (tmp_path / "plan").iterdir()] == ["part"]


def test_the_door_opens_without_the_compiler():
    slow = "('numba', 'pandas', 'gpxpy', 'scipy')"
    code = f"import thermosim.inputs.session, sys; print([name for name in {slow} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
