"""The heat balance of one instant: worked cases, traps, limits with analytic answers, refusals."""

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import thermosim as ts
from thermosim.cli.ledger import answer as cli_answer
from thermosim.errors import InputError
from thermosim.inputs.flat import runner_record
from thermosim.instant.body import sweat_limits
from thermosim.instant.books import TERMS, ledger, ledger_of_run
from thermosim.instant.solve import evaporation_of_sweat
from thermosim.look import instant_page
from thermosim.physiology.body import build_body

RUNNER = {"mass_kg": 65, "height_m": 1.75}
WORKED = {
    **RUNNER, "speed_m_s": 3.333, "air_temperature_C": 30, "relative_humidity_pct": 50, "skin_temperature_C": 34,
}  # fmt: skip
TEXTBOOK = {
    "surface_area_m2": 1.8, "metabolic_power_W": 700, "air_temperature_C": 28, "vapour_pressure_kPa": 1.8,
    "air_speed_m_s": 2.0, "skin_temperature_C": 33, "clothing": "nude", "heat_days": 14,
}  # fmt: skip


def total(terms):
    return sum(watts for name, watts in terms.items() if name != "storage") - terms["storage"]


def with_sun_of(watts, **fields):
    """Return the ledger under the sun whose load on the body is so many watts (the load is linear in the sun)."""
    load = ledger(**fields, solar_W_m2=500)["terms_W"]["solar_radiation"]
    return ledger(**fields, solar_W_m2=500 * watts / load)


# --- worked cases ---------------------------------------------------------------------------------------------------
def test_worked_case():
    """65 kg, 1.75 m, 3.333 m/s, 30 °C, 50 %, calm, light kit, skin 34 °C: figures that can be checked by hand."""
    found = ledger(**WORKED)
    assert tuple(found["terms_W"]) == TERMS
    assert found["surface_area_m2"] == pytest.approx(1.787, abs=0.001)
    assert found["terms_W"]["metabolic_power"] == pytest.approx(858, rel=0.03)
    assert found["heat_production_W"] == pytest.approx(858, rel=0.03)
    assert found["convection_W_m2K"] == pytest.approx(17.9, abs=0.1)
    assert found["radiation_W_m2K"] == pytest.approx(4.5, abs=0.05)
    assert found["terms_W"]["convection"] == pytest.approx(-115.2, rel=0.03)
    assert found["terms_W"]["long_wave_radiation"] == pytest.approx(-28.9, rel=0.03)
    assert found["terms_W"]["respiration_vapour"] == pytest.approx(-55.7, rel=0.01)
    assert found["terms_W"]["respiration_dry"] == pytest.approx(-4.8, rel=0.01)
    assert 600 <= found["required_evaporation_W"] <= 720
    assert 1200 <= found["evaporative_capacity_W"] <= 1600
    assert found["wettedness"] == pytest.approx(0.455, rel=0.05)
    assert 0.9 <= found["sweat_rate_L_h"] <= 1.1
    assert found["sweat_rate_with_dripping_L_h"] == pytest.approx(
        found["sweat_rate_L_h"] / (1 - found["wettedness"] ** 2 / 2))  # fmt: skip
    assert found["limited_by"] == "nothing"
    assert abs(found["closure_W"]) < 0.1
    assert found["terms_W"]["evaporation"] == -found["required_evaporation_W"]


def test_kit_at_running_speed():
    """Singlet, shorts and shoes leave 0.90 of the dry and 0.85 of the vapour exchange of bare skin."""
    found = ledger(**{**WORKED, "speed_m_s": 3.33})
    assert found["dry_factor"] == pytest.approx(0.90, abs=0.01)
    assert found["vapour_factor"] == pytest.approx(0.85, abs=0.01)
    assert (
        ledger(**WORKED, clothing="nude")["dry_factor"]
        == ledger(**WORKED, clothing="nude")["vapour_factor"]
        == 1.0
    )
    # at one coefficient, motion thins the cloth up to the running speed its resistance is stated for
    slow, quick, quicker = (
        ledger(**{**WORKED, "speed_m_s": speed}, convection_W_m2K=15)["vapour_factor"]
        for speed in (1.0, 3.3, 5.0)
    )
    assert slow < quick == quicker


def test_downhill_brakes():
    """At -10 % less is spent but all potential energy turns to heat: 544 W spent, 755 W of heat."""
    found = ledger(**WORKED, grade_pct=-10)
    assert found["terms_W"]["metabolic_power"] == pytest.approx(544, rel=0.05)
    assert found["terms_W"]["external_work"] == pytest.approx(211, rel=0.01)
    assert found["heat_production_W"] == pytest.approx(755, rel=0.05)


def test_hundred_watts_stored_for_an_hour():
    found = ledger(**WORKED, storage_W=100)
    capacity = build_body(65, 1.75, 15, 0.5).total_capacity_J_K
    print(f"heat capacity {found['body_heat_capacity_kJ_K']:.1f} kJ/K")
    assert found["body_heat_capacity_kJ_K"] * 1000 == pytest.approx(capacity)
    assert found["mean_body_temperature_change_K_h"] == pytest.approx(1.60, abs=0.04)
    assert found["mean_body_temperature_change_K_h"] == pytest.approx(360000 / capacity)
    assert found["terms_W"]["evaporation"] == pytest.approx(100 - found["required_evaporation_W"])


def test_climb():
    """70 kg, 1.75 m, 2.8 m/s, +6 %, 28 °C/60 %, 0.5 m/s head wind, 100 W from the sun."""
    found = with_sun_of(100, mass_kg=70, height_m=1.75, speed_m_s=2.8, grade_pct=6, air_temperature_C=28,
                        relative_humidity_pct=60, wind_speed_m_s=0.5, wind_from="head", skin_temperature_C=34)  # fmt: skip
    assert found["terms_W"]["metabolic_power"] == pytest.approx(1050, rel=0.05)
    assert found["terms_W"]["external_work"] == pytest.approx(-115, rel=0.05)
    assert found["heat_production_W"] == pytest.approx(935, rel=0.05)
    assert found["required_evaporation_W"] == pytest.approx(739, rel=0.05)
    assert found["wettedness"] == pytest.approx(0.53, rel=0.05)


def test_hot_wind_works_both_ways():
    """44 °C, 15 %, 150 W of sun, skin 36 °C: wind brings heat, and lets more sweat evaporate."""
    hot = {**RUNNER, "speed_m_s": 3.0, "air_temperature_C": 44, "relative_humidity_pct": 15, "wind_from": "head",
           "skin_temperature_C": 36}  # fmt: skip
    calm, windy = (with_sun_of(150, **hot, wind_speed_m_s=wind) for wind in (0, 6))
    assert calm["terms_W"]["convection"] == pytest.approx(216, rel=0.10)
    assert windy["terms_W"]["convection"] == pytest.approx(418, rel=0.10)
    assert calm["evaporative_capacity_W"] == pytest.approx(1926, rel=0.10)
    assert windy["evaporative_capacity_W"] == pytest.approx(3724, rel=0.10)
    assert calm["sweat_rate_L_h"] == pytest.approx(1.72, rel=0.10)
    assert windy["sweat_rate_L_h"] == pytest.approx(2.02, rel=0.10)
    assert calm["wettedness"] == pytest.approx(0.60, rel=0.10)
    assert windy["wettedness"] == pytest.approx(0.37, rel=0.10)
    assert windy["limited_by"] == "sweat_rate"  # 2 L/h are beyond a default runner's 1.5 L/h


def test_treadmill_without_a_fan():
    """Limb swing alone keeps 8 to 11 W/m²K, not 18; with a 2 m/s fan 78 kg at 11.5 km/h need a wettedness of 0.87."""
    found = ledger(**WORKED, treadmill=True)
    assert 8 <= found["convection_W_m2K"] <= 11
    assert found["air_speed_m_s"] == 0
    heavy = {"mass_kg": 78, "height_m": 1.83, "speed_m_s": 11.5 / 3.6, "treadmill": True, "fan_speed_m_s": 2,
             "air_temperature_C": 30, "skin_temperature_C": 35}  # fmt: skip
    fan, moister = (ledger(**heavy, relative_humidity_pct=humidity) for humidity in (75, 80))
    assert fan["wettedness"] == pytest.approx(0.87, rel=0.10)
    assert (fan["limited_by"] != "nothing") == (fan["wettedness"] > fan["wettedness_limit"])
    assert moister["wettedness"] > moister["wettedness_limit"] and moister["limited_by"] == "air"


def test_heavier_runners_sweat_more_at_equal_speed():
    """32 °C, 62 %, 150 W of sun, 11.5 km/h: 54 kg need about 1.06 L/h, 78 kg about 1.45 L/h."""
    air = {
        "speed_m_s": 11.5 / 3.6,
        "air_temperature_C": 32,
        "relative_humidity_pct": 62,
        "skin_temperature_C": 35,
    }
    assert with_sun_of(150, mass_kg=54, height_m=1.64, **air)["sweat_rate_L_h"] == pytest.approx(
        1.06, rel=0.03
    )
    assert with_sun_of(150, mass_kg=78, height_m=1.83, **air)["sweat_rate_L_h"] == pytest.approx(
        1.45, rel=0.03
    )


# --- limits with analytic answers ---------------------------------------------------------------------------------
def test_without_sweat_nothing_evaporates_and_the_rest_is_stored():
    found = ledger(**WORKED, sweat_rate_L_h=0)
    assert found["terms_W"]["evaporation"] == 0
    assert found["solved_for"]["name"] == "storage_W"
    assert found["storage_W"] == pytest.approx(found["required_evaporation_W"])


def test_saturated_air_at_skin_temperature_takes_nothing():
    found = ledger(**{**WORKED, "air_temperature_C": 34, "relative_humidity_pct": 100})
    assert found["evaporative_capacity_W"] == pytest.approx(0, abs=1e-9)
    assert found["wettedness"] is None
    assert found["limited_by"] == "air"


def test_no_difference_no_dry_exchange():
    found = ledger(**{**WORKED, "air_temperature_C": 34})
    assert found["terms_W"]["convection"] == found["terms_W"]["long_wave_radiation"] == 0
    assert found["terms_W"]["respiration_dry"] == pytest.approx(0, abs=1e-12)


def test_standing_still_makes_resting_and_standing_heat_only():
    found = ledger(**{**WORKED, "speed_m_s": 0})
    assert found["terms_W"]["metabolic_power"] == pytest.approx((1.2 + 0.3) * 65)
    assert found["terms_W"]["external_work"] == 0
    # no wind: free convection 2.38 x 4^0.25 = 3.37 is below the still-air 3.5 W/m²K
    assert found["convection_W_m2K"] == pytest.approx(3.5)
    cold = ledger(**{**WORKED, "speed_m_s": 0, "air_temperature_C": 9})
    assert cold["convection_W_m2K"] == pytest.approx(2.38 * 25**0.25)


def test_sun_off_and_on():
    assert ledger(**WORKED, solar_W_m2=0)["terms_W"]["solar_radiation"] == 0
    one, two = (ledger(**WORKED, solar_W_m2=sun)["terms_W"]["solar_radiation"] for sun in (300, 600))
    assert two == pytest.approx(2 * one) and one > 0


def test_wind_in_heat_raises_gain_and_capacity():
    hot = {**WORKED, "air_temperature_C": 44, "relative_humidity_pct": 15, "wind_from": "head"}
    calm, windy = (ledger(**hot, wind_speed_m_s=wind) for wind in (0, 6))
    assert windy["terms_W"]["convection"] > calm["terms_W"]["convection"] > 0
    assert windy["evaporative_capacity_W"] > calm["evaporative_capacity_W"]


def test_tail_wind_equal_to_pace_leaves_limb_swing():
    tail = ledger(**WORKED, wind_speed_m_s=3.333, wind_from="tail")
    assert tail["air_speed_m_s"] == 0
    assert tail["convection_W_m2K"] == ledger(**WORKED, treadmill=True)["convection_W_m2K"]


@pytest.mark.parametrize(("degrees", "word"), [(90, "head"), (270, "tail"), (0, "cross")])
def test_wind_in_degrees(degrees, word):
    by_word = ledger(**WORKED, wind_speed_m_s=2, wind_from=word)
    by_degrees = ledger(**WORKED, wind_speed_m_s=2, wind_from_deg=degrees, heading_deg=90)
    assert by_degrees["air_speed_m_s"] == pytest.approx(by_word["air_speed_m_s"])


def test_globe_gives_the_mean_radiant_temperature():
    air = ledger(**WORKED, globe_temperature_C=30)
    hot = ledger(**WORKED, globe_temperature_C=45, wind_speed_m_s=1)
    assert air["mean_radiant_temperature_C"] == pytest.approx(30)
    assert hot["mean_radiant_temperature_C"] > 45
    stated = ledger(**WORKED, mean_radiant_temperature_C=hot["mean_radiant_temperature_C"], wind_speed_m_s=1)
    assert hot["terms_W"]["long_wave_radiation"] == pytest.approx(stated["terms_W"]["long_wave_radiation"])


def test_colder_than_comfort_needs_no_sweat():
    found = ledger(**{**WORKED, "air_temperature_C": -5, "skin_temperature_C": 26})
    assert found["required_evaporation_W"] < 0
    assert found["terms_W"]["evaporation"] == 0 == found["sweat_rate_L_h"]
    assert found["storage_W"] == pytest.approx(found["required_evaporation_W"])
    assert any("More is lost than made" in line for line in found["warnings"])


# --- what textbooks give, and the one unknown ------------------------------------------------------------------------
def test_textbook_quantities():
    rate = ledger(**{**TEXTBOOK, "metabolic_power_W": None, "metabolic_rate_W_m2": 700 / 1.8})
    uptake = 700 / ((0.23 * 0.85 + 0.77) * 5.88 * 60)
    oxygen = ledger(
        **{**TEXTBOOK, "metabolic_power_W": None, "oxygen_uptake_L_min": uptake, "respiratory_quotient": 0.85}
    )
    for found in (ledger(**TEXTBOOK), rate, oxygen):
        assert found["terms_W"]["metabolic_power"] == pytest.approx(700)
        assert found["body_heat_capacity_kJ_K"] is None
    assert ledger(**TEXTBOOK, external_work_W=150)["heat_production_W"] == pytest.approx(550)
    # hand arithmetic: bare skin, h_c = 8.7 x 2^0.6, A (h_c) dT
    assert ledger(**TEXTBOOK)["terms_W"]["convection"] == pytest.approx(-1.8 * 8.7 * 2**0.6 * 5)
    assert ledger(**TEXTBOOK, convection_W_m2K=10)["terms_W"]["convection"] == pytest.approx(-1.8 * 10 * 5)
    assert ledger(**{**TEXTBOOK, "surface_area_m2": 2.0})["surface_area_m2"] == 2.0


def test_clo_is_a_static_value_over_the_whole_body():
    """0.5 clo, still air, at rest: 1/(1 + h R) with h of about 3.5 + 4.5 W/m²K and R of 0.0775 m²K/W, unreduced."""
    still = {**TEXTBOOK, "clothing": None, "clothing_clo": 0.5, "air_speed_m_s": 0.0}
    found = ledger(**still)
    h = found["convection_W_m2K"] + found["radiation_W_m2K"]
    assert found["dry_factor"] == pytest.approx(1 / (1 + h * 0.0775))
    assert found["vapour_factor"] == pytest.approx(1 / (1 + found["convection_W_m2K"] * 0.0775 / 0.38))
    walking = ledger(**{**still, "air_speed_m_s": 3.5}, convection_W_m2K=found["convection_W_m2K"])
    assert walking["dry_factor"] == pytest.approx(1 / (1 + h * 0.0775 / 2.5))


def test_every_unknown_gives_back_what_was_stated():
    """Solve for each of the four in turn from a balance that closes: all give the same one."""
    stored = ledger(**TEXTBOOK, sweat_rate_L_h=0.6)
    assert stored["solved_for"]["name"] == "storage_W"
    storage = stored["storage_W"]
    skin = ledger(**{**TEXTBOOK, "skin_temperature_C": None}, sweat_rate_L_h=0.6, storage_W=storage)
    power = ledger(**{**TEXTBOOK, "metabolic_power_W": None}, sweat_rate_L_h=0.6, storage_W=storage)
    sweat = ledger(**TEXTBOOK, storage_W=storage)
    assert skin["solved_for"]["name"] == "skin_temperature_C"
    assert skin["solved_for"]["value"] == pytest.approx(33)
    assert power["solved_for"]["name"] == "metabolic_power_W"
    assert power["solved_for"]["value"] == pytest.approx(700)
    assert sweat["solved_for"]["name"] == "sweat_rate_L_h"
    assert sweat["terms_W"]["evaporation"] == pytest.approx(stored["terms_W"]["evaporation"])


def test_storage_from_temperatures():
    """Mean body 0.8 core + 0.2 skin: 0.8 x 1.5 + 0.2 x 2 = 1.6 K in 30 min."""
    found = ledger(**WORKED, core_start_C=37, core_end_C=38.5, skin_start_C=33, skin_end_C=35, minutes=30)
    assert found["storage_W"] == pytest.approx(found["body_heat_capacity_kJ_K"] * 1600 / 1800)
    assert found["mean_body_temperature_change_K_h"] == pytest.approx(3.2)
    assert any("0.8 core + 0.2 skin" in line for line in found["warnings"])


def test_evaporation_of_a_stated_sweat_rate_drips_and_is_capped():
    """w solves E = P (1 - w²/2), w = E/C; below the limit that is what evaporates."""
    for sweat, capacity in ((100, 1000), (600, 1000), (900, 1000)):
        found = evaporation_of_sweat(sweat, capacity, 1.0)
        assert found == pytest.approx(sweat * (1 - (found / capacity) ** 2 / 2))
    assert evaporation_of_sweat(1e6, 1000, 0.85) == pytest.approx(850)
    assert evaporation_of_sweat(500, -40, 0.85) == -40  # the air gives water to the skin
    humid = {**WORKED, "air_temperature_C": 33, "relative_humidity_pct": 90}
    found = ledger(**humid, sweat_rate_L_h=1.5)
    assert found["limited_by"] == "air" and found["storage_W"] > 0
    assert -found["terms_W"]["evaporation"] <= 0.85 * found["evaporative_capacity_W"] + 1e-9


def test_costs_and_gaits():
    acsm = ledger(**WORKED, cost="acsm")
    expected = (0.2 * 3.333 * 60 / 1000 / 60 * (0.23 * 0.90 + 0.77) * 5.88 * 3600 + 1.2) * 65
    assert acsm["terms_W"]["metabolic_power"] == pytest.approx(expected)
    walk = ledger(**{**WORKED, "speed_m_s": 1.4})
    assert walk["terms_W"]["metabolic_power"] == pytest.approx(65 * (1.5 * 1.4 * 1.4 + 1.2 + 0.3))
    run = ledger(**{**WORKED, "speed_m_s": 1.4}, gait="run")
    assert run["terms_W"]["metabolic_power"] == pytest.approx(65 * (3.6 * 1.4 + 1.2))
    loaded = ledger(**{**WORKED, "speed_m_s": 10 / 3}, carried_mass_kg=2)
    assert loaded["heat_production_W"] - ledger(**{**WORKED, "speed_m_s": 10 / 3})[
        "heat_production_W"
    ] == pytest.approx(24)
    assert ledger(**WORKED, air_drag=True)["heat_production_W"] > ledger(**WORKED)["heat_production_W"]


def test_objects_and_keywords_agree():
    runner = ts.Runner(**RUNNER)
    weather = ts.Weather.steady(air_temperature_C=30, relative_humidity_pct=50)
    found = ledger(runner, weather, speed_m_s=3.333, skin_temperature_C=34)
    assert found["terms_W"] == ledger(**WORKED)["terms_W"]
    changed = ledger(
        runner, weather, speed_m_s=3.333, skin_temperature_C=34, mass_kg=70, air_temperature_C=32
    )
    assert changed["terms_W"] == ledger(**{**WORKED, "mass_kg": 70, "air_temperature_C": 32})["terms_W"]


# --- the teaching rows ------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "more",
    [{}, {"grade_pct": -10, "solar_W_m2": 600}, {"grade_pct": 8, "carried_mass_kg": 3, "economy_factor": 1.1},
     {"sweat_rate_L_h": 1.2}, {"sweat_rate_L_h": 0.7, "skin_temperature_C": None}, {"storage_W": 80},
     {"sweat_rate_L_h": 0.5, "speed_m_s": None, "air_speed_m_s": 2.0, "external_work_W": 40},
     {"speed_m_s": None, "oxygen_uptake_L_min": 2.4, "pressure_kPa": 85, "sweat_rate_L_h": 0.8},
     {"speed_m_s": 0}, {"speed_m_s": 1.4, "carried_mass_kg": 5}, {"speed_m_s": 1.4},
     {"speed_m_s": None, "metabolic_rate_W_m2": 300}, {"air_temperature_C": 44, "air_drag": True}],
)  # fmt: skip
def test_numbers_put_in_give_the_watts(more):
    """The arithmetic printed in each row, done again, is the row's watts; the rows add up to nothing."""
    found = ledger(**{**WORKED, **more})
    rows = {row["term"]: row for row in found["rows"]}
    assert set(rows) == set(TERMS) - {"devices"}
    for term, row in rows.items():
        sum_put_in = row["numbers"].replace("×", "*").replace("−", "-").replace("(level ground)", "")
        assert eval(sum_put_in) == pytest.approx(row["watts"], rel=0.005, abs=0.3), (term, row["numbers"])
        assert row["watts"] == pytest.approx(found["terms_W"][term])
        assert row["W_m2"] == pytest.approx(row["watts"] / found["surface_area_m2"])
        assert "$" not in row["text"] and "\\" not in row["text"]
    assert total(found["terms_W"]) == pytest.approx(0, abs=1e-8)


def test_object_is_plain_json_with_cautions():
    found = ledger(**{**WORKED, "air_temperature_C": 34, "relative_humidity_pct": 95})
    assert json.loads(json.dumps(found)) == found
    assert found["limited_by"] == "air"
    assert any("Uncompensable" in line for line in found["cautions"])
    assert "Not medical advice" in found["cautions"][0]
    assert "safe" not in json.dumps(found).lower()


def test_uses_outside_the_published_range_are_told():
    texts = " ".join(ledger(**WORKED, cost="acsm", grade_pct=-5, treadmill=True)["warnings"])
    assert "ACSM cost on a descent" in texts and "limb-swing" in texts
    assert "relative air speed" in " ".join(ledger(**WORKED)["warnings"])
    assert "Adult model" in " ".join(ledger(**WORKED, age_y=15)["warnings"])


# --- refusals ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "air_temperature_C is missing"),
        ({**WORKED, "mass_kg": None}, "mass_kg is missing"),
        ({**WORKED, "height_m": None}, "height_m is missing"),
        ({**WORKED, "relative_humidity_pct": None}, "relative_humidity_pct is missing"),
        ({**WORKED, "skin_temperature_C": None}, "skin_temperature_C is missing"),
        ({**WORKED, "speed_m_s": None}, "speed_m_s is missing"),
        ({**WORKED, "sweat_rate_L_h": 1, "storage_W": 0}, "storage_W is given although"),
        ({**WORKED, "metabolic_power_W": 500, "oxygen_uptake_L_min": 2}, "oxygen_uptake_L_min is given beside"),
        ({**WORKED, "clothing": "nude", "clothing_clo": 0.3}, "clothing is given beside clothing_clo"),
        ({**WORKED, "air_speed_m_s": 2, "wind_speed_m_s": 2}, "wind_speed_m_s is given beside air_speed_m_s"),
        ({**WORKED, "globe_temperature_C": 45, "solar_W_m2": 800}, "globe_temperature_C"),
        ({**WORKED, "fan_speed_m_s": 2}, "without a treadmill"),
        ({**WORKED, "speed_m_s": None, "grade_pct": 4}, "grade_pct is 4 % without a speed"),
        ({**WORKED, "skn_temperature_C": 3}, "did you mean skin_temperature_C"),
        ({**WORKED, "speed_m_s": 12}, "looks like km/h"),
        ({**WORKED, "storage_W": 1400}, "more than the"),
        ({**WORKED, "skin_temperature_C": None, "sweat_rate_L_h": 0}, "cannot be solved for"),
        ({**WORKED, "core_start_C": 37}, "core_end_C is missing"),
        ({**WORKED, "wind_speed_m_s": 3, "wind_from_deg": 200}, "heading_deg is missing"),
        ({**TEXTBOOK, "core_start_C": 37, "core_end_C": 38, "skin_start_C": 33, "skin_end_C": 34, "minutes": 9},
         "mass_kg is missing"),
    ],
)  # fmt: skip
def test_refusals_are_one_sentence(fields, words):
    with pytest.raises(InputError) as caught:
        ledger(**fields)
    sentence = str(caught.value)
    assert words in sentence
    assert "\n" not in sentence and sentence.endswith(".")


# --- what must hold for any valid input ---------------------------------------------------------------------------------
SOMEONE = {
    "mass_kg": st.floats(45, 100), "height_m": st.floats(1.55, 1.95), "speed_m_s": st.floats(0, 7),
    "grade_pct": st.floats(-30, 30), "air_temperature_C": st.floats(-15, 50),
    "relative_humidity_pct": st.floats(0, 100), "skin_temperature_C": st.floats(20, 39),
    "wind_speed_m_s": st.floats(0, 12), "wind_from": st.sampled_from(["head", "tail", "cross"]),
    "solar_W_m2": st.floats(0, 1200), "clothing": st.sampled_from(["nude", "light_kit", "shirt_and_shorts", "coverall"]),
    "sweat_rate_L_h": st.none() | st.floats(0, 4), "pressure_kPa": st.floats(60, 105),
    "cost": st.sampled_from(["minetti", "acsm"]), "heat_days": st.floats(0, 14),
}  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.fixed_dictionaries(SOMEONE))
def test_books_close(fields):
    index = fields["mass_kg"] / fields["height_m"] ** 2
    if not 13 <= index <= 45:
        return
    found = ledger(**fields)
    throughput = sum(abs(watts) for watts in found["terms_W"].values())
    assert abs(found["closure_W"]) <= 1e-9 * throughput
    assert abs(total(found["terms_W"])) <= 1e-9 * throughput
    assert all(math.isfinite(watts) for watts in found["terms_W"].values())
    if fields["sweat_rate_L_h"] is not None:
        most = max(0.0, found["evaporative_capacity_W"] * found["wettedness_limit"])
        assert -found["terms_W"]["evaporation"] <= most + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.floats(20, 45), st.floats(0, 3.0), st.floats(0.05, 1.0), st.floats(0, 6))
def test_capacity_falls_with_vapour_pressure(air_C, vapour_kPa, more_kPa, wind):
    fields = {**WORKED, "relative_humidity_pct": None, "air_temperature_C": air_C, "wind_speed_m_s": wind}
    highest = ts.Weather.steady(air_temperature_C=air_C, relative_humidity_pct=100).vapour_pressure_kPa[0]
    dry, damp = (min(kPa, highest) for kPa in (vapour_kPa, vapour_kPa + more_kPa))
    if dry == damp:
        return
    capacities = [ledger(**fields, vapour_pressure_kPa=kPa)["evaporative_capacity_W"] for kPa in (dry, damp)]
    assert capacities[1] < capacities[0]


@settings(max_examples=40, deadline=None)
@given(st.floats(2.0, 5.5), st.floats(0.05, 1.0), st.floats(20, 45), st.floats(-10, 20))
def test_required_evaporation_rises_with_speed(speed, faster, air_C, grade):
    fields = {**WORKED, "air_temperature_C": air_C, "grade_pct": grade, "gait": "run"}
    slow, quick = (
        ledger(**{**fields, "speed_m_s": v})["required_evaporation_W"] for v in (speed, speed + faster)
    )
    assert quick > slow


# --- the engine's own -----------------------------------------------------------------------------------------------------
def test_ledger_of_a_run():
    """The engine's terms close against the storage summed from its nodes, and lie near the scalar ledger."""
    runner = ts.Runner(**RUNNER)
    weather = ts.Weather.steady(air_temperature_C=30, relative_humidity_pct=50)
    run = ts.simulate(runner, ts.Effort.steady(speed_m_s=3.333, minutes=40), weather)
    found = ledger_of_run(run, 30)
    assert set(found) >= set(ledger(**WORKED)) - {"mean_radiant_temperature_C", "convection_W_m2K", "radiation_W_m2K",
                                                  "dry_factor", "vapour_factor", "maximum_sweat_rate_L_h",
                                                  "wettedness_limit"}  # fmt: skip
    assert tuple(found["terms_W"]) == TERMS
    assert found["at_min"] == pytest.approx(30)
    assert abs(found["closure_W"]) < 0.1
    assert total(found["terms_W"]) == pytest.approx(found["closure_W"])
    scalar = ledger(runner, weather, speed_m_s=3.333, skin_temperature_C=found["skin_temperature_C"])
    assert found["terms_W"]["metabolic_power"] == pytest.approx(
        scalar["terms_W"]["metabolic_power"], rel=0.10
    )
    assert found["required_evaporation_W"] == pytest.approx(scalar["required_evaporation_W"], rel=0.20)
    assert json.loads(json.dumps(found)) == found
    with pytest.raises(InputError, match="at_min is 50 min"):
        ledger_of_run(run, 50)


def test_the_ledger_limits_as_the_engine_does():
    """Largest sweat rate and wettedness are the engine's; in steady heat both name the same limit."""
    for days in (None, 0, 3, 14):
        for own in (None, 2.0):
            record = runner_record(ts.Runner(**RUNNER, heat_days=days, maximum_sweat_rate_L_h=own))[0]
            largest, wettest = sweat_limits(days, own, record["surface_area_m2"])
            assert largest == pytest.approx(record["maximum_sweat_rate_L_h"], rel=1e-12)
            assert wettest == pytest.approx(record["wettedness_limit"], rel=1e-12)
    seen = set()
    for own, air_C, humidity in ((2.0, 22, 40), (2.5, 34, 90), (0.6, 33, 25)):
        runner = ts.Runner(**RUNNER, heat_days=14, maximum_sweat_rate_L_h=own)
        weather = ts.Weather.steady(air_temperature_C=air_C, relative_humidity_pct=humidity)
        run = ts.simulate(runner, ts.Effort.steady(speed_m_s=3.3, minutes=60), weather)
        found = ledger_of_run(run, 60)
        scalar = ledger(runner, weather, speed_m_s=3.3, skin_temperature_C=found["skin_temperature_C"])
        assert scalar["limited_by"] == found["limited_by"]
        assert (scalar["wettedness_limit"], scalar["maximum_sweat_rate_L_h"]) == (
            found["wettedness_limit"], found["maximum_sweat_rate_L_h"])  # fmt: skip
        seen.add(found["limited_by"])
    assert seen == {"nothing", "air", "sweat_rate"}


@pytest.mark.parametrize("speed", [0, 1.4])
def test_standing_and_walking_are_the_engines(speed):
    runner, weather = ts.Runner(**RUNNER), ts.Weather.steady(air_temperature_C=30, relative_humidity_pct=50)
    run = ts.simulate(runner, ts.Effort.steady(speed_m_s=speed, minutes=10), weather)
    found = ledger(runner, weather, speed_m_s=speed, skin_temperature_C=34)
    # the engine adds the warmth of tissue (Q10) to the same resting and standing power
    assert float(run.metabolic_power[-1]) == pytest.approx(found["terms_W"]["metabolic_power"], rel=0.02)


@pytest.mark.parametrize(
    ("fields", "limit", "words"),
    [
        ({"relative_humidity_pct": 50}, "nothing", "is enough"),
        ({"relative_humidity_pct": 78, "maximum_sweat_rate_L_h": 3.5}, "air", "wettedness 0.85"),
        ({"relative_humidity_pct": 68, "maximum_sweat_rate_L_h": 1.5}, "air", "most of any more sweat drips"),
        ({"relative_humidity_pct": 50, "maximum_sweat_rate_L_h": 0.6}, "sweat_rate", "largest sweat rate (0.6 L/h)"),
    ],
)
def test_the_page_blames_what_limits(fields, limit, words):
    found = ledger(mass_kg=78, height_m=1.83, speed_m_s=11.5 / 3.6, treadmill=True, fan_speed_m_s=2, air_temperature_C=30,
                   skin_temperature_C=35, **fields)  # fmt: skip
    page, terminal = " ".join(instant_page.answer(found)), cli_answer(found)
    assert found["limited_by"] == limit and words in page
    for text in (page, terminal):
        assert ("largest sweat rate" in text) == (limit == "sweat_rate")


def test_setting_has_sensible_digits():
    setting = ledger(**{**WORKED, "air_temperature_C": 29.18333333, "solar_W_m2": 478.9371})["setting"]
    assert "29.2 °C" in setting and "sun 479 W/m²" in setting and "3.33 m/s" in setting


def test_height_of_a_stated_surface():
    """Du Bois' height of 1.787 m² at 65 kg is 1.75 m; a surface nobody of this mass has is refused."""
    found = ledger(**{**WORKED, "height_m": None, "surface_area_m2": build_body(65, 1.75, 15, 0.5).surface_area_m2})
    assert found["body_heat_capacity_kJ_K"] == pytest.approx(ledger(**WORKED)["body_heat_capacity_kJ_K"])
    with pytest.raises(InputError, match="surface_area_m2 is 3 m², allowed at 65 kg is"):
        ledger(**{**WORKED, "height_m": None, "surface_area_m2": 3.0})


@pytest.mark.parametrize(("name", "value"), [("core_end_C", 20), ("skin_start_C", 60), ("core_start_C", 42)])
def test_start_and_end_have_their_own_ranges(name, value):
    times = {"core_start_C": 37, "core_end_C": 38.5, "skin_start_C": 33, "skin_end_C": 35, "minutes": 30}
    with pytest.raises(InputError, match=f"{name} is {value} °C"):
        ledger(**{**WORKED, **times, name: value})


def test_no_module_shares_a_functions_name():
    """``ts.ledger`` stays the function, whatever is imported."""
    import importlib
    import pkgutil

    import thermosim.instant as package

    modules = [importlib.import_module(f"thermosim.instant.{entry.name}") for entry in pkgutil.iter_modules(package.__path__)]
    names = {module.__name__.rsplit(".", 1)[1] for module in modules}
    assert names >= {"books", "inputs", "body", "effort", "solve", "rows"}
    assert not names & {name for module in modules for name, item in vars(module).items() if callable(item)}
    assert ts.ledger is ledger and ts.ledger_of_run is ledger_of_run
