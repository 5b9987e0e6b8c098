"""The physical laws against outside numbers: a reference equation of state, standards, handbook values."""

import math

import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from thermosim import constants
from thermosim.parameters import value
from thermosim.physics import air, clothing, convection, evaporation, radiation, respiration, water_ice
from thermosim.physiology.body import build_body, surface_area_du_bois, surface_area_mosteller

SEA_LEVEL = 101.325


# --- moist air against CoolProp (IAPWS-95 for water, ASHRAE RP-1485 for humid air) -------------------------
@pytest.mark.parametrize("temperature_C", range(1, 46, 4))
def test_saturation_pressure(temperature_C):
    reference = PropsSI("P", "T", temperature_C + 273.15, "Q", 0, "Water") / 1000.0
    assert air.saturation_pressure(temperature_C) == pytest.approx(reference, rel=0.002)


@pytest.mark.parametrize("temperature_C", range(1, 46, 4))
def test_latent_heat_of_vaporisation(temperature_C):
    state = ("T", temperature_C + 273.15, "Q")
    reference = PropsSI("H", *state, 1, "Water") - PropsSI("H", *state, 0, "Water")
    assert evaporation.latent_heat_of_vaporisation(temperature_C) == pytest.approx(reference, rel=0.002)


def test_latent_heat_of_sweat_lies_within_one_per_cent_of_pure_water_at_skin_temperature():
    reference = PropsSI("H", "T", 307.15, "Q", 1, "Water") - PropsSI("H", "T", 307.15, "Q", 0, "Water")
    assert constants.LATENT_HEAT_SWEAT == pytest.approx(reference, rel=0.01)


@pytest.mark.parametrize(("air_C", "humidity"), [(0, 0.8), (20, 0.5), (30, 0.85), (45, 0.3)])
def test_density_of_moist_air(air_C, humidity):
    reference = 1.0 / HAPropsSI("Vha", "T", air_C + 273.15, "P", SEA_LEVEL * 1000.0, "R", humidity)
    vapour = humidity * air.saturation_pressure(air_C)
    assert air.density(air_C, vapour, SEA_LEVEL) == pytest.approx(reference, rel=0.002)


@pytest.mark.parametrize(("air_C", "humidity"), [(15, 0.6), (25, 0.5), (30, 0.85), (33.5, 0.34), (40, 0.2)])
@pytest.mark.parametrize("pressure_kPa", [SEA_LEVEL, 80.0])
def test_vapour_pressure_of_wet_bulb(air_C, humidity, pressure_kPa):
    """Against the thermodynamic wet bulb, which an aspirated bulb nears: psychrometer constants differ by 5 %."""
    wet_bulb = HAPropsSI("B", "T", air_C + 273.15, "P", pressure_kPa * 1000.0, "R", humidity) - 273.15
    vapour = humidity * PropsSI("P", "T", air_C + 273.15, "Q", 0, "Water") / 1000.0
    found = air.vapour_pressure_of_wet_bulb(air_C, wet_bulb, pressure_kPa)
    depression_kPa = 6.62e-4 * pressure_kPa * (air_C - wet_bulb)
    assert found == pytest.approx(vapour, abs=0.01 + 0.05 * depression_kPa)


@pytest.mark.parametrize(("air_C", "humidity"), [(15, 0.5), (25, 0.6), (40, 0.5)])
def test_dew_point(air_C, humidity):
    reference = HAPropsSI("D", "T", air_C + 273.15, "P", SEA_LEVEL * 1000.0, "R", humidity) - 273.15
    assert air.dew_point(humidity * air.saturation_pressure(air_C)) == pytest.approx(reference, abs=0.1)


@given(st.floats(-40.0, 60.0))
def test_dew_point_inverts_saturation_pressure(temperature_C):
    assert air.dew_point(air.saturation_pressure(temperature_C)) == pytest.approx(temperature_C, abs=1e-6)


def test_pressure_at_altitude_is_the_standard_atmosphere():
    """ISO 2533 table: 89.875 kPa at 1000 m, 70.108 kPa at 3000 m."""
    assert air.pressure_at_altitude(1000.0) == pytest.approx(89.875, rel=1e-3)
    assert air.pressure_at_altitude(3000.0) == pytest.approx(70.108, rel=1e-3)


def test_wind_profile_is_one_at_its_own_height():
    assert air.wind_at_height(4.0, 1.5, 1.5) == 4.0
    assert air.wind_at_height(4.0, 10.0, 1.5) == pytest.approx(4.0 * 0.15 ** (1 / 7))


# --- ice and stores -----------------------------------------------------------------------------------------
def test_heat_of_fusion():
    """Handbook value of ice at 0 °C: 333.55 kJ/kg."""
    assert constants.LATENT_HEAT_FUSION == pytest.approx(333.55e3, rel=0.002)


def test_specific_heat_of_water():
    reference = PropsSI("C", "T", 288.15, "P", SEA_LEVEL * 1000.0, "Water")
    assert constants.SPECIFIC_HEAT_WATER == pytest.approx(reference, rel=0.005)


def temperature_of(enthalpy_J, charge_kg=0.25, low_C=0.0, high_C=0.0, dry_J_K=50.0):
    return water_ice.store_temperature(
        enthalpy_J, charge_kg, low_C, high_C, constants.LATENT_HEAT_FUSION,
        constants.SPECIFIC_HEAT_ICE, constants.SPECIFIC_HEAT_WATER, dry_J_K)  # fmt: skip


def test_two_hundred_grams_of_ice_take_84_kilojoules_up_to_20_degrees():
    """Energy bound of the evidence, section B1: 0.20 kg melted and warmed to 20 °C takes up 84 kJ."""
    after = temperature_of(84e3 - 0.20 * constants.LATENT_HEAT_FUSION, 0.20, dry_J_K=0.0)
    assert after == pytest.approx(20.0, abs=1.0)


@given(st.floats(-0.999, -0.001), st.floats(0.02, 3.0), st.floats(0.0, 20.0), st.floats(0.0, 6.0))
def test_melting_store_books_its_energy_as_frozen_mass(share, charge_kg, low_C, span_K):
    latent = constants.LATENT_HEAT_FUSION
    enthalpy = share * charge_kg * latent
    frozen = water_ice.frozen_mass(enthalpy, latent, charge_kg)
    assert frozen * latent == pytest.approx(-enthalpy, rel=1e-12)
    temperature = temperature_of(enthalpy, charge_kg, low_C, low_C + span_K)
    assert temperature == pytest.approx(low_C + span_K * (1.0 - frozen / charge_kg), abs=1e-9)


def test_store_warms_by_its_heat_capacity_on_both_sides_of_melting():
    charge, dry, step = 0.25, 50.0, 100.0
    melting = charge * constants.LATENT_HEAT_FUSION
    solid = temperature_of(-melting - 4000.0 + step) - temperature_of(-melting - 4000.0)
    liquid = temperature_of(4000.0 + step) - temperature_of(4000.0)
    assert solid == pytest.approx(step / (charge * constants.SPECIFIC_HEAT_ICE + dry), rel=1e-9)
    assert liquid == pytest.approx(step / (charge * constants.SPECIFIC_HEAT_WATER + dry), rel=1e-9)
    for edge in (-melting, 0.0):
        assert temperature_of(edge - 1e-6) == pytest.approx(temperature_of(edge + 1e-6), abs=1e-6)
    assert water_ice.frozen_mass(-melting - 4000.0, constants.LATENT_HEAT_FUSION, charge) == charge
    assert water_ice.frozen_mass(4000.0, constants.LATENT_HEAT_FUSION, charge) == 0.0


# --- convection: ASHRAE table and ISO 7933 (evidence E1 to E3) ------------------------------------------------
def test_forced_convection():
    """ISO 7933: 3.5 + 5.2 v to 1 m/s, 8.7 v^0.6 above; 16.8 W/m²K at 3 m/s."""
    assert convection.forced_convection(3.0) == pytest.approx(16.8, abs=0.05)
    assert convection.forced_convection(0.5) == pytest.approx(6.1, abs=1e-9)
    assert convection.forced_convection(1.0) == pytest.approx(
        convection.forced_convection(1.0 + 1e-9), rel=1e-6
    )


def test_forced_convection_lies_near_manikins_in_wind():
    """De Dear 1997, standing manikin: 10.4 v^0.56; the two published forms differ by up to 20 %."""
    for speed in (1.0, 2.0, 3.0):
        assert convection.forced_convection(speed) == pytest.approx(10.4 * speed**0.56, rel=0.20)


def test_natural_convection():
    """ISO 7933: 2.38 |dT|^0.25."""
    assert convection.natural_convection(-16.0) == pytest.approx(2.38 * 2.0, rel=1e-9)
    assert convection.natural_convection(0.0) == 0.0


def test_limb_swing_convection():
    """ASHRAE: treadmill in still air 6.5 v^0.39; walking in still air 8.6 v^0.53 at 1 m/s is the freer case."""
    assert convection.limb_swing_convection(1.0) == pytest.approx(6.5, abs=1e-9)
    assert convection.limb_swing_convection(2.0) == pytest.approx(8.5, abs=0.05)
    assert convection.limb_swing_convection(0.0) == 0.0
    assert 8.0 < convection.limb_swing_convection(3.3) < 11.0


def test_coefficient_thins_with_pressure():
    at_sea, high = (convection.convective_coefficient(3.0, 3.0, p) for p in (SEA_LEVEL, 70.0))
    assert high / at_sea == pytest.approx((70.0 / SEA_LEVEL) ** 0.55)


@given(st.floats(0.0, 8.0), st.floats(-25.0, 25.0), st.floats(0.0, 25.0))
def test_relative_air_is_the_vector_sum(own, head, cross):
    assert convection.relative_air_speed(own, head, cross) == pytest.approx(
        math.hypot(own + head, cross), abs=1e-9
    )


# --- radiation -------------------------------------------------------------------------------------------------
def test_radiative_coefficient_is_that_of_the_fourth_power_law():
    for surroundings in (10.0, 30.0, 60.0):
        exact = value("skin_emissivity") * constants.STEFAN_BOLTZMANN * value("radiating_area_fraction")
        exact *= (307.15**4 - (surroundings + 273.15) ** 4) / (34.0 - surroundings)
        found = radiation.radiative_coefficient(
            34.0, surroundings, value("skin_emissivity"), value("radiating_area_fraction"))  # fmt: skip
        assert found == pytest.approx(exact, rel=0.003)


def test_radiative_coefficient_is_near_the_handbook():
    """ASHRAE: about 4.7 W/m²K for an upright body indoors (evidence E6)."""
    assert radiation.radiative_coefficient(34.0, 30.0, 0.97, 0.75) == pytest.approx(4.7, abs=0.1)


@pytest.mark.parametrize("radiant_C", [30.0, 45.0, 70.0])
@pytest.mark.parametrize("speed", [0.1, 1.0, 4.0])
def test_globe_round_trip(radiant_C, speed):
    """A globe put where its own heat balance closes must give the radiant temperature back (ISO 7726, annex B)."""
    air_C, diameter = 32.0, 0.15

    def balance(globe_C):
        natural = 1.4 * (abs(globe_C - air_C) / diameter) ** 0.25
        forced = 6.3 * speed**0.6 / diameter**0.4
        radiated = 0.95 * constants.STEFAN_BOLTZMANN * ((radiant_C + 273.15) ** 4 - (globe_C + 273.15) ** 4)
        return radiated - max(natural, forced) * (globe_C - air_C)

    globe = brentq(balance, 20.0, 100.0, xtol=1e-10)
    assert min(air_C, radiant_C) <= globe <= max(air_C, radiant_C)
    assert radiation.mean_radiant_temperature_of_globe(globe, air_C, speed) == pytest.approx(
        radiant_C, abs=1e-4
    )


def test_globe_at_air_temperature_sees_no_radiation():
    assert radiation.mean_radiant_temperature_of_globe(30.0, 30.0, 1.0) == pytest.approx(30.0, abs=1e-9)


def test_sun_on_an_upright_body():
    """Common practice: about 150 to 300 W gross at the outer surface in clear midday sun; nothing without sun."""
    load = radiation.solar_absorbed(900.0, 1.8, value("solar_absorptance"), value("solar_interception"))
    assert 150.0 < load < 300.0
    assert radiation.solar_absorbed(0.0, 1.8, 0.7, 0.2) == 0.0


# --- evaporation, breathing, clothing ----------------------------------------------------------------------------
def test_lewis_relation():
    """ASHRAE 16.5 K/kPa at sea level, ISO 7933 16.7; the psychrometric reason gives more where air is thin."""
    assert constants.LEWIS_RELATION == pytest.approx(16.7, rel=0.02)
    assert evaporation.evaporative_coefficient(10.0, 16.5, SEA_LEVEL) == pytest.approx(165.0)
    assert evaporation.evaporative_coefficient(10.0, 16.5, SEA_LEVEL / 2.0) == pytest.approx(330.0)


def test_a_litre_an_hour_evaporated_takes_674_watts():
    """Evidence E8, from 2426 kJ/kg (Wenger 1972)."""
    assert constants.LATENT_HEAT_SWEAT / 3600.0 == pytest.approx(674.0, abs=0.5)


def test_dripping_efficiency():
    """ISO 7933: 1 - w²/2; Candas 1979 measured about 0.67 at w = 1 and about 1 below 0.7 (less dripping)."""
    assert evaporation.dripping_efficiency(0.0) == 1.0
    assert evaporation.dripping_efficiency(0.5) == pytest.approx(0.875)
    assert evaporation.dripping_efficiency(1.0) == pytest.approx(0.5)


def test_breathing():
    """ASHRAE, Fanger: 0.0173 M (5.87 - pa) and 0.0014 M (34 - Ta); at rest about a tenth of the metabolic rate."""
    assert respiration.respiratory_vapour_loss(857.9, 2.12) == pytest.approx(55.7, abs=0.05)
    assert respiration.respiratory_dry_loss(857.9, 30.0) == pytest.approx(4.8, abs=0.05)
    resting = respiration.respiratory_vapour_loss(100.0, 1.4) + respiration.respiratory_dry_loss(100.0, 23.0)
    assert 7.0 < resting < 12.0


def test_motion_factor():
    """Nielsen, Olesen & Fanger 1985: walking takes 30 to 50 % off; here static is 2.5 times the running value."""
    ratio, reference = value("clothing_static_ratio"), value("clothing_reference_speed_m_s")
    assert clothing.motion_factor(0.0, ratio, reference) == ratio
    assert (
        clothing.motion_factor(reference, ratio, reference)
        == clothing.motion_factor(9.0, ratio, reference)
        == 1.0
    )
    walking = clothing.motion_factor(1.4, ratio, reference) / ratio
    assert 0.5 <= walking <= 0.8


def test_transfer_factors():
    """One clo is 0.155 m²K/W; a series of resistances leaves 1/(1 + h R)."""
    resistance = 1.0 * constants.CLO
    assert clothing.dry_transfer_factor(10.0, resistance) == pytest.approx(0.1 / (0.1 + 0.155))
    assert clothing.vapour_transfer_factor(165.0, 0.0) == 1.0
    assert clothing.vapour_transfer_factor(165.0, 0.01) == pytest.approx(1 / 2.65)


# --- body ----------------------------------------------------------------------------------------------------------
SURFACES = [
    (70.0, 1.75, 1.844, 1.845),
    (77.0, 1.79, 1.952, 1.957),
    (60.0, 1.70, 1.691, 1.683),
    (75.0, 1.80, 1.938, 1.936),
]


@pytest.mark.parametrize(("mass_kg", "height_m", "du_bois", "mosteller"), SURFACES)
def test_surface_area(mass_kg, height_m, du_bois, mosteller):
    """Du Bois 1916 and Mosteller 1987, worked values of evidence E10."""
    assert surface_area_du_bois(mass_kg, height_m) == pytest.approx(du_bois, abs=1e-3)
    assert surface_area_mosteller(mass_kg, height_m) == pytest.approx(mosteller, abs=1e-3)


@pytest.mark.parametrize(("mass_kg", "height_m", "fat"), [(50, 1.60, 22), (65, 1.75, 15), (95, 1.90, 20)])
def test_heat_capacity_of_the_body(mass_kg, height_m, fat):
    """Evidence E9: 3.47 to 3.49 kJ/kgK, less in fatter people; 0.10 °C/min at 70 kg is 405 W."""
    capacity = build_body(mass_kg, height_m, fat, value("conduction_factor")).total_capacity_J_K
    assert capacity / mass_kg == pytest.approx(3480.0, rel=0.04)
    assert 0.1 / 60.0 * 70.0 * capacity / mass_kg == pytest.approx(405.0, rel=0.04)
