"""Moist air: vapour pressure in its many written forms, density, wind with height."""

import math

from thermosim._jit import compiled
from thermosim.physics.exponential import exponential


@compiled
def saturation_pressure(temperature_C):
    """Saturation vapour pressure over liquid water [kPa].

    Parameters
    ----------
    temperature_C : float
        Temperature [°C]. Valid for -40 to 60 °C (over water, also below 0 °C).

    Returns
    -------
    float
        Pressure [kPa]; within 0.05 % of the reference equation of state from 0 to 45 °C.

    References
    ----------
    Buck 1981, J Appl Meteorol 20:1527, with the 1996 coefficients for water.

    Examples
    --------
    >>> round(saturation_pressure(30.0), 3)
    4.245
    """
    return 0.61121 * exponential((18.678 - temperature_C / 234.5) * (temperature_C / (257.14 + temperature_C)))


@compiled
def dew_point(vapour_pressure_kPa):
    """Dew point [°C] of a vapour pressure [kPa]: the inverse of :func:`saturation_pressure`.

    Valid for 0.01 to 20 kPa. Solved by Newton steps from the Magnus inverse; exact to 1e-9 K.

    Examples
    --------
    >>> round(dew_point(saturation_pressure(21.3)), 6)
    21.3
    """
    ratio = math.log(vapour_pressure_kPa / 0.61121)
    guess = 243.04 * ratio / (17.625 - ratio)
    for _ in range(6):
        step = 1e-3
        value = saturation_pressure(guess)
        slope = (saturation_pressure(guess + step) - saturation_pressure(guess - step)) / (2.0 * step)
        guess -= (value - vapour_pressure_kPa) / slope
    return guess


@compiled
def vapour_pressure_of_wet_bulb(air_temperature_C, wet_bulb_C, pressure_kPa):
    """Vapour pressure [kPa] from dry and (aspirated) wet bulb [°C] at barometric pressure [kPa].

    Valid for 0 to 50 °C, wet bulb at or below dry bulb.

    References
    ----------
    Psychrometer equation with the coefficient 6.62e-4 /K for an aspirated bulb (WMO guide no. 8, from memory).

    Examples
    --------
    >>> round(vapour_pressure_of_wet_bulb(33.5, 21.5, 101.325), 2)
    1.76
    """
    coefficient = 6.62e-4 * pressure_kPa
    return saturation_pressure(wet_bulb_C) - coefficient * (air_temperature_C - wet_bulb_C)


@compiled
def wet_bulb(air_temperature_C, vapour_pressure_kPa, pressure_kPa):
    """Psychrometric wet-bulb temperature [°C] of air with a vapour pressure [kPa], by halving between -40 °C and the air's.

    The inverse of :func:`vapour_pressure_of_wet_bulb`.

    Examples
    --------
    >>> round(wet_bulb(33.5, vapour_pressure_of_wet_bulb(33.5, 21.5, 101.325), 101.325), 6)
    21.5
    """
    low, high = -40.0, air_temperature_C
    for _ in range(40):
        middle = 0.5 * (low + high)
        if vapour_pressure_of_wet_bulb(air_temperature_C, middle, pressure_kPa) < vapour_pressure_kPa:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@compiled
def pressure_at_altitude(altitude_m):
    """Barometric pressure [kPa] at an altitude [m] in the standard atmosphere, valid to 11 000 m (ISO 2533).

    Examples
    --------
    >>> round(pressure_at_altitude(0.0), 3)
    101.325
    """
    return 101.325 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588


@compiled
def altitude_of_pressure(pressure_kPa):
    """Altitude [m] at which the standard atmosphere has a pressure [kPa]: :func:`pressure_at_altitude` upside down.

    Examples
    --------
    >>> round(altitude_of_pressure(pressure_at_altitude(1500.0)), 6)
    1500.0
    """
    return (1.0 - (pressure_kPa / 101.325) ** (1.0 / 5.25588)) / 2.25577e-5


@compiled
def density(air_temperature_C, vapour_pressure_kPa, pressure_kPa):
    """Density of moist air [kg/m³] from temperature [°C], vapour pressure and total pressure [kPa].

    Ideal-gas mixture; gas constants 287.05 (dry) and 461.5 J/kgK (vapour). Within 0.1 % near sea level.

    Examples
    --------
    >>> round(density(30.0, 2.0, 101.325), 3)
    1.156
    """
    kelvin = air_temperature_C + 273.15
    dry = 1000.0 * (pressure_kPa - vapour_pressure_kPa) / (287.05 * kelvin)
    return dry + 1000.0 * vapour_pressure_kPa / (461.5 * kelvin)


@compiled
def wind_at_height(wind_speed_m_s, measured_at_m, wanted_at_m):
    """Wind speed [m/s] brought from one height [m] to another by the one-seventh-power profile.

    Common practice for open ground and neutral air; for 0.5 to 20 m. Behind trees and houses it overstates.

    Examples
    --------
    >>> round(wind_at_height(4.0, 10.0, 1.5), 2)
    3.05
    """
    return wind_speed_m_s * (wanted_at_m / measured_at_m) ** (1.0 / 7.0)


@compiled
def corrected_effective_temperature(globe_C, vapour_pressure_kPa, air_speed_m_s):
    """Corrected effective temperature [°C]: an index of air, humidity and wind, with the globe [°C] in place of air.

    Missenard's formula for effective temperature with the globe's temperature put in (about 1 K above saturated
    still air at 25 °C, equal to it at 37 °C); made for lightly clothed
    people, about 5 to 40 °C and 0.1 to 3 m/s. It stands in for the nomogram that older studies read.

    References
    ----------
    Missenard 1933, as quoted in reviews of heat indices (from memory).

    Examples
    --------
    >>> round(corrected_effective_temperature(37.0, saturation_pressure(37.0), 0.5), 6)
    37.0
    """
    humidity = min(max(vapour_pressure_kPa / saturation_pressure(globe_C), 0.0), 1.0)
    loss = 0.68 - 0.14 * humidity + 1.0 / (1.76 + 1.4 * air_speed_m_s**0.75)
    return 37.0 - (37.0 - globe_C) / loss - 0.29 * globe_C * (1.0 - humidity)
