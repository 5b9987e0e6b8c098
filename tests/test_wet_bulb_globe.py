"""Wet-bulb globe temperature: worked values, the two instruments against limits and references, measured or estimated."""

import math

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

import thermosim as ts
from thermosim.errors import InputError
from thermosim.physics import wbgt_limits, wet_bulb_globe
from thermosim.physics.air import saturation_pressure
from thermosim.physics.radiation import mean_radiant_temperature_of_globe

SEA_LEVEL = 101.325


# --- the index -----------------------------------------------------------------------------------------------------
def test_worked_values_of_the_standard():
    assert wet_bulb_globe.wet_bulb_globe_in_sun(25.0, 40.0, 32.0) == pytest.approx(28.7)
    assert wet_bulb_globe.wet_bulb_globe_without_sun(25.0, 40.0) == pytest.approx(29.5)
    assert wet_bulb_globe.wet_bulb_globe_of_three_heights(29.0, 27.0, 25.0) == pytest.approx(27.0)


def test_reference_limits_are_the_table():
    """Class, acclimatised and not, as printed in the standard; smooth form as worked from NIOSH."""
    table = {115: (33, 32), 180: (30, 29), 300: (28, 26), 415: (26, 23), 520: (25, 20)}
    for watts, limits in table.items():
        assert tuple(wbgt_limits.reference_limit(watts, able).limit_C for able in (True, False)) == limits
        assert not wbgt_limits.reference_limit(watts, True).beyond_table
    assert [wbgt_limits.smooth_limit(300, able) for able in (True, False)] == pytest.approx([28.2, 25.0], abs=0.05)
    assert [wbgt_limits.smooth_limit(520, able) for able in (True, False)] == pytest.approx([25.5, 21.6], abs=0.05)


def test_a_runner_is_beyond_the_table():
    found = wbgt_limits.reference_limit(858.0, True, 1.79)
    assert found.beyond_table and found.limit_C == 25.0 and found.smooth_C < 25.0
    assert wbgt_limits.reference_limit(540.0, True, 2.1).beyond_table is False  # a large body: 463 W of the standard's person


@settings(deadline=None)
@given(st.floats(60.0, 1500.0), st.floats(1.0, 200.0))
def test_harder_work_never_has_a_higher_limit(watts, more):
    for able in (True, False):
        assert wbgt_limits.reference_limit(watts + more, able).limit_C <= wbgt_limits.reference_limit(watts, able).limit_C
        assert wbgt_limits.smooth_limit(watts + more, able) < wbgt_limits.smooth_limit(watts, able)
    assert wbgt_limits.reference_limit(watts, False).limit_C < wbgt_limits.reference_limit(watts, True).limit_C


# --- globe ---------------------------------------------------------------------------------------------------------
@settings(deadline=None)
@given(st.floats(-10, 45), st.floats(-20, 95), st.floats(0, 8))
def test_globe_and_radiant_temperature_are_inverse(air, radiant, wind):
    globe = wet_bulb_globe.globe_temperature(air, radiant, wind)
    assert min(air, radiant) - 1e-9 <= globe <= max(air, radiant) + 1e-9
    assert mean_radiant_temperature_of_globe(globe, air, wind) == pytest.approx(radiant, abs=1e-4)


@settings(deadline=None)
@given(st.floats(10, 45), st.floats(5, 50), st.floats(0.2, 6), st.floats(0.1, 3))
def test_wind_draws_the_globe_to_the_air(air, above, wind, more):
    one, other = (wet_bulb_globe.globe_temperature(air, air + above, speed) for speed in (wind, wind + more))
    assert air < other <= one + 1e-9


def test_forced_and_natural_convection_at_the_globe():
    """150 mm globe, 12 K above the air: natural 1.4 (12/0.15)^0.25 = 4.19 W/m²K; forced equals it at 0.143 m/s."""
    limit = (1.4 * (12.0 / 0.15) ** 0.25 * 0.15**0.4 / 6.3) ** (1.0 / 0.6)
    assert limit == pytest.approx(0.143, abs=0.001)
    still, gentle, windy = (mean_radiant_temperature_of_globe(50.0, 38.0, v) for v in (0.0, 0.14, 0.3))
    assert still == pytest.approx(gentle, abs=1e-9) and windy > still
    by_hand = (323.15**4 + 6.3 * 0.3**0.6 / 0.15**0.4 / (0.95 * 5.670374e-8) * 12.0) ** 0.25 - 273.15
    assert windy == pytest.approx(by_hand, abs=1e-3)


def test_short_wave_on_a_globe_in_full_sun():
    """Sphere: a quarter of the beam. Full sun, 31 °C, 1.5 m/s: about 15 K above the air, as globes read."""
    on_globe = wet_bulb_globe.short_wave_on_sphere(840.0, 140.0, 957.0, 0.2)
    assert on_globe == pytest.approx(210.0 + 70.0 + 95.7)
    globe = wet_bulb_globe.globe_temperature(31.0, wet_bulb_globe.radiant_with_short_wave(31.0, on_globe), 1.5)
    assert 43.0 < globe < 50.0


# --- natural wet bulb ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("air_C", "humidity"), [(20, 0.3), (25, 0.5), (31, 0.85), (35, 0.5), (38, 0.22)])
def test_without_radiation_and_in_wind_the_wick_is_a_psychrometer(air_C, humidity):
    """Against the thermodynamic wet bulb, which an aspirated bulb nears, at 4 m/s: within 0.5 K, from above mostly."""
    thermodynamic = HAPropsSI("B", "T", air_C + 273.15, "P", SEA_LEVEL * 1000.0, "R", humidity) - 273.15
    vapour = humidity * saturation_pressure(air_C)
    assert wet_bulb_globe.natural_wet_bulb(air_C, vapour, SEA_LEVEL, 4.0, air_C, 0.0) == pytest.approx(thermodynamic, abs=0.5)


def test_convection_of_a_thin_cylinder_against_the_textbook():
    """Hilpert's Nu = 0.683 Re^0.466 Pr^(1/3), 40 to 4000: another fit to other measurements, within 12 %."""
    for speed in (0.3, 1.0, 3.0):
        reynolds = speed * 0.007 / 1.58e-5
        by_hilpert = 0.683 * reynolds**0.466 * 0.71 ** (1.0 / 3.0) * 0.0262 / 0.007
        found = wet_bulb_globe.thin_cylinder_convection(0.007, 25.0, 30.0, speed, SEA_LEVEL)
        assert found == pytest.approx(by_hilpert, rel=0.12)
    assert 5.0 < wet_bulb_globe.thin_cylinder_convection(0.007, 25.0, 30.0, 0.0, SEA_LEVEL) < 12.0  # natural alone


AIRS = {"air": st.floats(5, 45), "humidity": st.floats(0.05, 0.98), "wind": st.floats(0.0, 6), "sun": st.floats(0, 350)}


@settings(deadline=None)
@given(**AIRS)
def test_the_wick_balances_between_dew_point_and_reason(air, humidity, wind, sun):
    vapour = humidity * saturation_pressure(air)
    found = wet_bulb_globe.natural_wet_bulb(air, vapour, SEA_LEVEL, wind, air, sun)
    assert abs(wet_bulb_globe.wick_surplus(found, air, vapour, SEA_LEVEL, wind, air, sun)) < 1e-4
    thermodynamic = wet_bulb_globe.natural_wet_bulb(air, vapour, SEA_LEVEL, 20.0, air, 0.0)
    assert thermodynamic - 0.05 <= found < air + 15.0
    assert found <= air + 1e-6 or sun > 0.0


@settings(deadline=None)
@given(**AIRS, more=st.floats(10, 100))
def test_sun_and_humidity_warm_the_wick(air, humidity, wind, sun, more):
    vapour = humidity * saturation_pressure(air)
    found = wet_bulb_globe.natural_wet_bulb(air, vapour, SEA_LEVEL, wind, air, sun)
    assert wet_bulb_globe.natural_wet_bulb(air, vapour, SEA_LEVEL, wind, air, sun + more) > found
    assert wet_bulb_globe.natural_wet_bulb(air, vapour + 0.05, SEA_LEVEL, wind, air, sun) > found
    assert wet_bulb_globe.natural_wet_bulb(air, vapour, SEA_LEVEL, wind, air - 10.0, sun) < found  # a cold sky


# --- weather: measured or estimated --------------------------------------------------------------------------------
BANDS = [
    ({"air_temperature_C": 31, "relative_humidity_pct": 85}, 29.5, 30.0),
    ({"air_temperature_C": 38, "relative_humidity_pct": 22, "globe_temperature_C": 50}, 29.5, 30.5),
    ({"air_temperature_C": 33, "relative_humidity_pct": 60, "globe_temperature_C": 46}, 31.5, 32.5),
]


@pytest.mark.parametrize(("fields", "low", "high"), BANDS)
@pytest.mark.parametrize("wind", [0.0, 0.5, 1.0, 2.0, 3.0])
def test_estimates_are_within_one_kelvin_of_the_hand_calculated_bands(fields, low, high, wind):
    weather = ts.Weather.steady(**fields, wind_speed_m_s=wind)
    assert weather.wbgt_label == "estimated"
    assert low - 1.0 < float(weather.wbgt_C[0]) < high + 1.0
    if wind == 0.5:
        assert low - 0.05 < float(weather.wbgt_C[0]) < high


def test_measured_instruments_are_called_measured():
    fields = {"air_temperature_C": 32, "relative_humidity_pct": 50, "natural_wet_bulb_C": 25}
    weather = ts.Weather.steady(**fields, globe_temperature_C=40)
    assert weather.wbgt_C == pytest.approx([28.7]) and weather.wbgt_label == "measured"
    half = ts.Weather.steady(**fields)
    assert half.wbgt_label == "estimated" and half.wet_bulb_globe.natural_wet_bulb_label == "measured"
    assert half.wbgt_C == pytest.approx([0.7 * 25 + 0.3 * 32], abs=1e-6)  # no sun, no place: the globe is at air temperature


def test_a_globe_colder_than_the_air_has_no_sun():
    weather = ts.Weather.steady(air_temperature_C=30, relative_humidity_pct=50, globe_temperature_C=28, natural_wet_bulb_C=22)
    assert weather.wbgt_C == pytest.approx([0.7 * 22 + 0.3 * 28])


def test_one_value_for_each_knot_and_a_cold_globe_under_the_night_sky():
    weather = ts.Weather.from_table({
        "air_temperature_C": 28, "relative_humidity_pct": 70, "wind_speed_m_s": 1, "latitude_deg": 35, "longitude_deg": 0,
        "time_zone": "+00:00", "start": "2026-07-15T00:00", "cloud_cover": 0, "time_min": [0, 720],
    })  # fmt: skip
    parts = weather.wet_bulb_globe
    assert weather.wbgt_C.shape == weather.time_s.shape and np.isfinite(weather.wbgt_C).all()
    assert parts.globe_C[0] < 28.0 < 40.0 < parts.globe_C[-1]
    assert 2.0 < weather.wbgt_C[-1] - weather.wbgt_C[0] < 6.0
    assert parts.natural_wet_bulb_C[-1] > parts.natural_wet_bulb_C[0]


def test_a_sun_without_a_place_says_what_was_assumed():
    weather = ts.Weather.steady(air_temperature_C=31, relative_humidity_pct=60, wind_speed_m_s=1.5, solar_W_m2=957)
    placed = ts.Weather.steady(
        air_temperature_C=31, relative_humidity_pct=60, wind_speed_m_s=1.5, latitude_deg=35, longitude_deg=0,
        time_zone="+00:00", start="2026-07-15T12:00", cloud_cover=0,
    )  # fmt: skip
    assert any("60° high" in note for note in weather.wet_bulb_globe.notes) and not placed.wet_bulb_globe.notes
    assert float(weather.wbgt_C[0]) == pytest.approx(float(placed.wbgt_C[0]), abs=0.7)


def test_natural_wet_bulb_in_some_rows_only_is_refused(tmp_path):
    sheet = tmp_path / "x.weather.csv"
    sheet.write_text("time_min,air_temperature_C,relative_humidity_pct,natural_wet_bulb_C\n0,30,60,25\n60,30,60,\n")
    with pytest.raises(InputError, match="line 3: natural_wet_bulb_C is empty in this row"):
        ts.Weather.sheet(sheet)
    with pytest.raises(InputError, match="natural_wet_bulb_C is 77 °C"):
        ts.Weather.steady(air_temperature_C=30, relative_humidity_pct=60, natural_wet_bulb_C=77)
    assert math.isnan(ts.Weather.steady(air_temperature_C=30, relative_humidity_pct=60).natural_wet_bulb_C[0])
