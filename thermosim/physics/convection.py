"""Convective coefficients of the whole body; regional factors are applied by the engine."""

import math

from thermosim._jit import compiled


@compiled
def forced_convection(air_speed_m_s):
    """Convective coefficient [W/m²K] at a relative air speed [m/s].

    ``3.5 + 5.2 v`` up to 1 m/s, ``8.7 v^0.6`` above (they meet at 1 m/s). Published for v up to 3 m/s;
    above that it is an extrapolation that the caller flags.

    References
    ----------
    ISO 7933:2004, dynamic convective coefficient (from memory, high confidence).

    Examples
    --------
    >>> round(forced_convection(3.3333), 2)
    17.92
    """
    if air_speed_m_s <= 1.0:
        return 3.5 + 5.2 * air_speed_m_s
    return 8.7 * air_speed_m_s**0.6


@compiled
def natural_convection(difference_K):
    """Convective coefficient in still air [W/m²K] for a skin–air difference [K]: ``2.38 |dT|^0.25``.

    References
    ----------
    ISO 7933:2004 (from memory, high confidence). Valid for differences up to about 30 K.

    Examples
    --------
    >>> round(natural_convection(10.0), 2)
    4.23
    """
    return 2.38 * math.sqrt(math.sqrt(abs(difference_K)))


@compiled
def limb_swing_convection(own_speed_m_s):
    """Whole-body coefficient [W/m²K] that swinging limbs keep up in still air at a walking or running speed [m/s].

    ``6.5 v^0.39`` (treadmill, still air). Published for 0.5 to 2 m/s; above that an extrapolation, flagged.

    References
    ----------
    ASHRAE Handbook Fundamentals 1997, table of convective coefficients (treadmill walking in still air).

    Examples
    --------
    >>> round(limb_swing_convection(3.3), 1)
    10.4
    """
    if own_speed_m_s <= 0.0:
        return 0.0
    return 6.5 * own_speed_m_s**0.39


@compiled
def relative_air_speed(own_speed_m_s, head_wind_m_s, cross_wind_m_s):
    """Air speed over the runner [m/s]: own speed plus head wind (negative from behind), and cross wind at a right angle.

    Examples
    --------
    >>> relative_air_speed(3.0, -3.0, 0.0)
    0.0
    """
    along = own_speed_m_s + head_wind_m_s
    return math.sqrt(along * along + cross_wind_m_s * cross_wind_m_s)


@compiled
def convective_coefficient(translational_air_speed_m_s, own_speed_m_s, pressure_kPa):
    """Whole-body convective coefficient [W/m²K]: the larger of relative wind and limb swing.

    Scaled with air density as ``(p/101.325)^0.55``. Natural convection is added by the caller, which knows the
    skin's temperature.

    References
    ----------
    Larger-of rule after ISO 7933; pressure exponent 0.55 from ASHRAE Fundamentals (from memory).
    """
    forced = forced_convection(translational_air_speed_m_s)
    swing = limb_swing_convection(own_speed_m_s)
    return max(forced, swing) * (pressure_kPa / 101.325) ** 0.55
