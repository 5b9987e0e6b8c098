"""Globe, natural wet bulb and wet-bulb globe temperature: ISO 7243 and the balances of the two instruments."""

import math

from thermosim._jit import compiled
from thermosim.constants import LEWIS_RELATION, STEFAN_BOLTZMANN, ZERO_CELSIUS_K
from thermosim.physics.air import saturation_pressure
from thermosim.physics.evaporation import evaporative_coefficient
from thermosim.physics.radiation import mean_radiant_temperature_of_globe

# --- the index -----------------------------------------------------------------------------------------------------


@compiled
def wet_bulb_globe_in_sun(natural_wet_bulb_C, globe_C, air_C):
    """Wet-bulb globe temperature with solar load [°C]: ``0.7 Tnw + 0.2 Tg + 0.1 Ta``.

    References
    ----------
    ISO 7243:2017 (from memory, high confidence).

    Examples
    --------
    >>> round(wet_bulb_globe_in_sun(25.0, 40.0, 32.0), 1)
    28.7
    """
    return 0.7 * natural_wet_bulb_C + 0.2 * globe_C + 0.1 * air_C


@compiled
def wet_bulb_globe_without_sun(natural_wet_bulb_C, globe_C):
    """Wet-bulb globe temperature indoors, or outdoors without solar load [°C]: ``0.7 Tnw + 0.3 Tg``.

    References
    ----------
    ISO 7243:2017 (from memory, high confidence).

    Examples
    --------
    >>> round(wet_bulb_globe_without_sun(25.0, 40.0), 1)
    29.5
    """
    return 0.7 * natural_wet_bulb_C + 0.3 * globe_C


@compiled
def wet_bulb_globe_of_three_heights(head_C, abdomen_C, ankle_C):
    """Wet-bulb globe temperature [°C] where heights differ: the abdomen's [°C] counts twice.

    References
    ----------
    ISO 7243:2017 (from memory, high confidence).

    Examples
    --------
    >>> wet_bulb_globe_of_three_heights(30.0, 28.0, 26.0)
    28.0
    """
    return 0.25 * (head_C + 2.0 * abdomen_C + ankle_C)


# --- short wave on the two instruments -----------------------------------------------------------------------------


@compiled
def short_wave_on_sphere(beam_normal_W_m2, diffuse_horizontal_W_m2, global_horizontal_W_m2, albedo):
    """Short-wave irradiance averaged over a sphere [W/m²]: a quarter of the beam, half of sky and of ground.

    Parameters
    ----------
    beam_normal_W_m2, diffuse_horizontal_W_m2, global_horizontal_W_m2 : float
        Direct on a plane that faces the sun; sky alone and all together on the horizontal [W/m²].
    albedo : float
        Share that the ground reflects [1].

    Examples
    --------
    >>> short_wave_on_sphere(900.0, 100.0, 880.0, 0.2)
    363.0
    """
    return 0.25 * beam_normal_W_m2 + 0.5 * (diffuse_horizontal_W_m2 + albedo * global_horizontal_W_m2)


@compiled
def short_wave_on_upright_cylinder(
    beam_normal_W_m2, diffuse_horizontal_W_m2, global_horizontal_W_m2, albedo, elevation_deg
):
    """Short-wave irradiance averaged over the side of a thin upright cylinder [W/m²]; its ends are left out.

    Parameters
    ----------
    beam_normal_W_m2, diffuse_horizontal_W_m2, global_horizontal_W_m2 : float
        Direct on a plane that faces the sun; sky alone and all together on the horizontal [W/m²].
    albedo : float
        Share that the ground reflects [1].
    elevation_deg : float
        Elevation of the sun [°].

    Examples
    --------
    Nothing of the beam from the zenith; one part in pi of it from the horizon:

    >>> round(short_wave_on_upright_cylinder(1000.0, 0.0, 0.0, 0.2, 90.0), 6)
    0.0
    >>> round(short_wave_on_upright_cylinder(1000.0, 0.0, 0.0, 0.2, 0.0), 1)
    318.3
    """
    beam = beam_normal_W_m2 * max(math.cos(math.radians(elevation_deg)), 0.0) / math.pi
    return beam + 0.5 * (diffuse_horizontal_W_m2 + albedo * global_horizontal_W_m2)


@compiled
def radiant_with_short_wave(radiant_C, short_wave_W_m2):
    """Mean radiant temperature of a black surface [°C]: long wave [°C] and short wave [W/m²] together.

    A globe's emissivity and absorptance are taken as equal (0.95, ISO 7726), so they cancel.

    Examples
    --------
    >>> round(radiant_with_short_wave(30.0, 363.0), 1)
    75.9
    """
    return ((radiant_C + ZERO_CELSIUS_K) ** 4 + short_wave_W_m2 / STEFAN_BOLTZMANN) ** 0.25 - ZERO_CELSIUS_K


@compiled
def short_wave_of_radiant(radiant_C, long_wave_radiant_C):
    """Short wave [W/m²] by which a black surface's mean radiant temperature exceeds that of the long wave alone [°C].

    The inverse of :func:`radiant_with_short_wave`; never below zero.

    Examples
    --------
    >>> round(short_wave_of_radiant(radiant_with_short_wave(30.0, 250.0), 30.0), 6)
    250.0
    """
    more = (radiant_C + ZERO_CELSIUS_K) ** 4 - (long_wave_radiant_C + ZERO_CELSIUS_K) ** 4
    return max(STEFAN_BOLTZMANN * more, 0.0)


# --- globe ---------------------------------------------------------------------------------------------------------


@compiled
def globe_temperature(air_C, mean_radiant_C, air_speed_m_s):
    """Temperature of a 150 mm black globe [°C] from air, mean radiant temperature (short wave included) and air speed.

    The inverse of :func:`thermosim.physics.radiation.mean_radiant_temperature_of_globe`: forced or natural convection,
    whichever is larger. Solved by halving between air and radiant temperature, to 1e-9 K.

    Parameters
    ----------
    air_C, mean_radiant_C : float
        Temperatures [°C].
    air_speed_m_s : float
        Air speed at the globe [m/s].

    References
    ----------
    ISO 7726:1998, annex B (from memory, high confidence).

    Examples
    --------
    >>> globe = globe_temperature(38.0, 60.0, 0.3)
    >>> round(globe, 1), round(mean_radiant_temperature_of_globe(globe, 38.0, 0.3), 6)
    (49.8, 60.0)
    """
    low, high = min(air_C, mean_radiant_C), max(air_C, mean_radiant_C)
    for _ in range(48):
        middle = 0.5 * (low + high)
        if mean_radiant_temperature_of_globe(middle, air_C, air_speed_m_s) < mean_radiant_C:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


# --- natural wet bulb ----------------------------------------------------------------------------------------------


@compiled
def thin_cylinder_convection(diameter_m, surface_C, air_C, air_speed_m_s, pressure_kPa):
    """Convective coefficient of a thin cylinder in cross flow [W/m²K]: forced or natural, whichever is larger.

    Parameters
    ----------
    diameter_m : float
        Diameter [m].
    surface_C, air_C : float
        Temperatures [°C]; air properties at their mean.
    air_speed_m_s : float
        Air speed [m/s].
    pressure_kPa : float
        Barometric pressure [kPa].

    References
    ----------
    Forced: Churchill & Bernstein 1977, J Heat Transfer 99:300. Natural: Churchill & Chu 1975, Int J Heat Mass Transfer
    18:1049 (both from memory, high confidence). Air: straight lines through handbook values from 0 to 60 °C.

    Examples
    --------
    >>> round(thin_cylinder_convection(0.007, 25.0, 30.0, 1.0, 101.325), 0)
    40.0
    """
    prandtl = 0.71
    film = 0.5 * (surface_C + air_C)
    conductivity = 0.0243 + 7.0e-5 * film
    viscosity = (1.33e-5 + 9.2e-8 * film) * 101.325 / pressure_kPa
    reynolds = air_speed_m_s * diameter_m / viscosity
    forced = 0.3 + 0.62 * math.sqrt(reynolds) * prandtl ** (1.0 / 3.0) / (
        1.0 + (0.4 / prandtl) ** (2.0 / 3.0)
    ) ** 0.25 * (1.0 + (reynolds / 282000.0) ** 0.625) ** 0.8
    rayleigh = 9.81 / (film + ZERO_CELSIUS_K) * abs(surface_C - air_C) * diameter_m**3 / viscosity**2 * prandtl
    root = 0.60 + 0.387 * (rayleigh / (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (16.0 / 9.0)) ** (1.0 / 6.0)
    return max(forced, root * root) * conductivity / diameter_m


@compiled
def wick_surplus(wick_C, air_C, vapour_pressure_kPa, pressure_kPa, air_speed_m_s, radiant_C, short_wave_W_m2):
    """Heat that a wetted wick [°C] gains beyond what it evaporates [W/m²]; zero at the natural wet bulb.

    A 7 mm upright cylinder of wet white cotton: emissivity 0.95, short-wave absorptance 0.4 (wet cotton, low confidence).

    Parameters
    ----------
    wick_C, air_C, radiant_C : float
        Wick, air and long-wave mean radiant temperature [°C].
    vapour_pressure_kPa, pressure_kPa : float
        Vapour and barometric pressure [kPa].
    air_speed_m_s : float
        Air speed [m/s].
    short_wave_W_m2 : float
        Short-wave irradiance averaged over the wick [W/m²].

    Examples
    --------
    In saturated air of the same radiant temperature the wick is as warm as the air:

    >>> abs(wick_surplus(30.0, 30.0, saturation_pressure(30.0), 101.325, 1.0, 30.0, 0.0)) < 1e-9
    True
    """
    diameter_m, emissivity, absorptance = 0.007, 0.95, 0.4
    convective = thin_cylinder_convection(diameter_m, wick_C, air_C, air_speed_m_s, pressure_kPa)
    evaporative = evaporative_coefficient(convective, LEWIS_RELATION, pressure_kPa)
    radiated = (radiant_C + ZERO_CELSIUS_K) ** 4 - (wick_C + ZERO_CELSIUS_K) ** 4
    gained = emissivity * STEFAN_BOLTZMANN * radiated + absorptance * short_wave_W_m2
    gained += convective * (air_C - wick_C)
    return gained - evaporative * (saturation_pressure(wick_C) - vapour_pressure_kPa)


@compiled
def natural_wet_bulb(air_C, vapour_pressure_kPa, pressure_kPa, air_speed_m_s, radiant_C, short_wave_W_m2):
    """Natural wet-bulb temperature [°C], estimated from the heat balance of the wick (:func:`wick_surplus`).

    For air of 0 to 55 °C. Solved by halving to 1e-9 K.

    Parameters
    ----------
    air_C, radiant_C : float
        Air and long-wave mean radiant temperature [°C].
    vapour_pressure_kPa, pressure_kPa : float
        Vapour and barometric pressure [kPa].
    air_speed_m_s : float
        Air speed at the wick [m/s].
    short_wave_W_m2 : float
        Short-wave irradiance averaged over the wick [W/m²].

    References
    ----------
    Energy balance; instrument of ISO 7243:2017 (sensor 6 mm, white cotton; from memory). Heat and vapour by the Lewis
    relation of the package.

    Examples
    --------
    >>> round(natural_wet_bulb(30.0, saturation_pressure(30.0), 101.325, 1.0, 30.0, 0.0), 6)
    30.0
    >>> round(natural_wet_bulb(38.0, 1.46, 101.325, 3.0, 38.0, 0.0), 1)
    21.4
    """
    low, high = -30.0, 90.0
    for _ in range(48):
        middle = 0.5 * (low + high)
        surplus = wick_surplus(
            middle, air_C, vapour_pressure_kPa, pressure_kPa, air_speed_m_s, radiant_C, short_wave_W_m2
        )
        if surplus > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
