"""Long-wave exchange, globe thermometer, and the sun's load on an upright body."""

from thermosim._jit import compiled
from thermosim.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS_K


@compiled
def radiative_coefficient(surface_C, surroundings_C, emissivity, effective_area_fraction):
    """Linearised long-wave coefficient [W/m²K] between a surface and its surroundings [°C].

    ``4 e s f T^3`` at the mean absolute temperature; the error against the fourth-power law is below 0.2 % for
    differences under 30 K.

    Parameters
    ----------
    surface_C, surroundings_C : float
        Temperatures [°C].
    emissivity : float
        Long-wave emissivity of the surface [1].
    effective_area_fraction : float
        Radiating over total body surface [1]: 0.70 seated, 0.72 to 0.77 upright.

    Examples
    --------
    >>> round(radiative_coefficient(34.0, 30.0, 0.97, 0.72), 2)
    4.5
    """
    mean = 0.5 * (surface_C + surroundings_C) + ZERO_CELSIUS_K
    return 4.0 * emissivity * STEFAN_BOLTZMANN * effective_area_fraction * mean * mean * mean


@compiled
def mean_radiant_temperature_of_globe(globe_C, air_C, air_speed_m_s):
    """Mean radiant temperature [°C] from a 150 mm black globe (emissivity 0.95) at an air speed [m/s].

    The larger of natural and forced convection at the globe. Valid for globes 10 to 120 °C.

    References
    ----------
    ISO 7726:1998, annex B, equations for the standard globe (from memory, high confidence).

    Examples
    --------
    >>> round(mean_radiant_temperature_of_globe(50.0, 38.0, 0.3), 0)
    60.0
    """
    diameter, emissivity = 0.15, 0.95
    natural = 1.4 * (abs(globe_C - air_C) / diameter) ** 0.25
    forced = 6.3 * air_speed_m_s**0.6 / diameter**0.4
    coefficient = max(natural, forced)
    globe_K = globe_C + ZERO_CELSIUS_K
    fourth = globe_K**4 + coefficient / (emissivity * STEFAN_BOLTZMANN) * (globe_C - air_C)
    return max(fourth, 0.0) ** 0.25 - ZERO_CELSIUS_K


@compiled
def solar_absorbed(global_horizontal_W_m2, surface_area_m2, absorptance, interception):
    """Short-wave power absorbed at the outer surface of an upright body [W].

    ``absorptance * interception * area * global``. ``interception`` is the irradiance on the body averaged over
    its whole surface, per unit of global horizontal irradiance: about 0.2 for high sun (beam, sky and ground
    together). The sun's position is not used here.

    References
    ----------
    Projected-area arithmetic for an upright cylinder (beam 0.2, half the sky's diffuse and the ground's
    reflection); checked against about 150 to 300 W gross in clear midday sun (common practice, no source).

    Examples
    --------
    >>> round(solar_absorbed(900.0, 1.8, 0.7, 0.2), 0)
    227.0
    """
    return absorptance * interception * surface_area_m2 * global_horizontal_W_m2
