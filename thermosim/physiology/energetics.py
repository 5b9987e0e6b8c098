"""What running and walking cost, on the level and on grade; external work; oxygen uptake and its kinetics.

Costs are net of rest [J/kg/m, along the slope]; powers are whole-body [W].
"""

import math

from thermosim._jit import compiled
from thermosim.constants import GRAVITY

STAND, WALK, RUN = 0, 1, 2
MINETTI, ACSM = 0, 1
STANDING_BELOW_M_S = 0.05


@compiled
def running_cost_minetti(grade):
    """Net cost of running [J/kg/m] on a grade (tangent of slope, -0.45 to 0.45), independent of speed.

    References
    ----------
    Minetti et al. 2002, J Appl Physiol 93:1039, fifth-order fit. At level ground the fit gives 3.60 where
    3.40 ± 0.24 was measured.

    Examples
    --------
    >>> round(running_cost_minetti(0.0), 2), round(running_cost_minetti(-0.2), 2)
    (3.6, 1.8)
    """
    return ((((155.4 * grade - 30.4) * grade - 43.3) * grade + 46.3) * grade + 19.5) * grade + 3.6


@compiled
def walking_cost_minetti(grade):
    """Net cost of walking [J/kg/m] on a grade (-0.45 to 0.45).

    References
    ----------
    Minetti et al. 2002, J Appl Physiol 93:1039, fifth-order fit. Not for level ground: it gives 2.50 where
    1.64 ± 0.50 was measured at the best speed.

    Examples
    --------
    >>> round(walking_cost_minetti(0.1), 2)
    4.9
    """
    return ((((280.5 * grade - 58.7) * grade - 76.8) * grade + 51.9) * grade + 19.6) * grade + 2.5


@compiled
def walking_power_pandolf(body_kg, load_kg, speed_m_s, grade, terrain):
    """Gross metabolic power of walking [W] with a load, uphill or level; grade is a tangent (0 to 0.25).

    ``1.5 m + 2.0 (m+L)(L/m)^2 + terrain (m+L)(1.5 v^2 + 0.35 v G)``, G in per cent. Valid for about 0.7 to 1.8 m/s.

    References
    ----------
    Pandolf, Givoni & Goldman 1977, J Appl Physiol 43:577.

    Examples
    --------
    >>> round(walking_power_pandolf(70.0, 0.0, 1.34, 0.0, 1.0), 1)
    293.5
    """
    total = body_kg + load_kg
    ratio = load_kg / body_kg
    moving = 1.5 * speed_m_s * speed_m_s + 0.35 * speed_m_s * 100.0 * grade
    return 1.5 * body_kg + 2.0 * total * ratio * ratio + terrain * total * moving


@compiled
def walking_cost(speed_m_s, grade):
    """Net cost of walking [J/kg/m]: Pandolf from level to +5 %, Minetti's fit beyond, joined without a jump.

    From +5 to +8 % the two are blended in a straight line; between level and -5 % the level value is joined by a
    straight line to Minetti's fit at -5 % (Pandolf was not made for descents).
    Valid for 0.5 to 2.2 m/s and grades of ±0.45.

    References
    ----------
    Pandolf 1977; Minetti 2002 (see the functions above); the joints are ours.
    """
    speed = max(speed_m_s, 0.3)
    climb = min(max(grade, 0.0), 0.08)
    pandolf = 1.5 * speed + 0.35 * 100.0 * climb
    if grade >= 0.08 or grade <= -0.05:
        return walking_cost_minetti(grade)
    if grade > 0.05:
        weight = (grade - 0.05) / 0.03
        return (1.0 - weight) * pandolf + weight * walking_cost_minetti(grade)
    if grade >= 0.0:
        return pandolf
    weight = -grade / 0.05
    return (1.0 - weight) * 1.5 * speed + weight * walking_cost_minetti(-0.05)


@compiled
def oxygen_uptake_acsm_walking(speed_m_s, grade):
    """Gross oxygen uptake of walking [mL/kg/min]: ``0.1 S + 1.8 S G + 3.5``, S in m/min. Valid 50 to 100 m/min, G >= 0.

    References
    ----------
    ACSM metabolic equations (from memory, high confidence).

    Examples
    --------
    >>> round(oxygen_uptake_acsm_walking(80.0 / 60.0, 0.0), 2)
    11.5
    """
    per_minute = 60.0 * speed_m_s
    return 0.1 * per_minute + 1.8 * per_minute * grade + 3.5


@compiled
def oxygen_uptake_acsm_running(speed_m_s, grade):
    """Gross oxygen uptake of running [mL/kg/min]: ``0.2 S + 0.9 S G + 3.5``. Valid above 134 m/min, G >= 0.

    References
    ----------
    ACSM metabolic equations (from memory, high confidence).

    Examples
    --------
    >>> round(oxygen_uptake_acsm_running(200.0 / 60.0, 0.05), 2)
    52.5
    """
    per_minute = 60.0 * speed_m_s
    return 0.2 * per_minute + 0.9 * per_minute * grade + 3.5


@compiled
def energy_equivalent_of_oxygen(respiratory_quotient):
    """Energy per litre of oxygen [J/L]: ``(0.23 RQ + 0.77) 5.88`` W·h/L.

    References
    ----------
    ISO 8996 (from memory, high confidence). RQ 0.70 to 1.00.

    Examples
    --------
    >>> round(energy_equivalent_of_oxygen(0.85))
    20438
    """
    return (0.23 * respiratory_quotient + 0.77) * 5.88 * 3600.0


@compiled
def net_cost(gait, cost_relation, speed_m_s, grade, oxygen_J_L):
    """Net cost of moving [J/kg/m] by gait (WALK or RUN) and relation (MINETTI or ACSM).

    ACSM equations are for level and uphill; below level they are continued with Minetti's *change* of cost from
    level, so that the cost stays positive; the caller flags the use.
    """
    if cost_relation == ACSM and speed_m_s > 0.0:
        climb = max(grade, 0.0)
        if gait == RUN:
            uptake = oxygen_uptake_acsm_running(speed_m_s, climb) - 3.5
            downhill = running_cost_minetti(min(grade, 0.0)) / running_cost_minetti(0.0)
        else:
            uptake = oxygen_uptake_acsm_walking(speed_m_s, climb) - 3.5
            downhill = walking_cost_minetti(min(grade, 0.0)) / walking_cost_minetti(0.0)
        return uptake / 60.0 * oxygen_J_L / 1000.0 / speed_m_s * downhill
    if gait == RUN:
        return running_cost_minetti(grade)
    return walking_cost(speed_m_s, grade)


@compiled
def upright_power(gait, cost_relation, standing_W):
    """Power of standing over lying rest that comes on top of the net cost of moving [W].

    Standing pays it, and walking by Pandolf, whose 1.5 W/kg at rest is standing; running costs and ACSM's
    equations are stated above lying rest.
    """
    if gait == STAND or (gait == WALK and cost_relation == MINETTI):
        return standing_W
    return 0.0


@compiled
def moving_power(mass_kg, carried_kg, gait, cost_relation, speed_m_s, grade, economy, surface, oxygen_J_L):
    """Metabolic power of moving, net of rest [W]: ``(m + carried) C(i) v``, times economy and surface factors.

    Carried mass is taken at the cost of body mass, wherever it is worn.

    Examples
    --------
    >>> round(moving_power(65.0, 0.0, 2, 0, 10.0 / 3.0, 0.0, 1.0, 1.0, 20680.0), 1)
    780.0
    """
    if speed_m_s <= 0.0 or gait == STAND:
        return 0.0
    cost = net_cost(gait, cost_relation, speed_m_s, grade, oxygen_J_L)
    return (mass_kg + carried_kg) * cost * speed_m_s * economy * surface


@compiled
def drag_power(speed_m_s, relative_air_m_s, surface_area_m2, oxygen_J_L):
    """Metabolic power spent against the air [W] at a ground speed and an air speed from ahead [m/s].

    Extra oxygen uptake 0.00354 A_p v_a^2 v [L/min] with a projected area A_p of 0.266 of the body surface.
    Measured up to 18.5 m/s wind at 3.75 to 4.5 m/s.

    References
    ----------
    Pugh 1970, J Physiol 207:823; 1971, 213:255 (from memory): about 8 % of the cost at 6 m/s.

    Examples
    --------
    >>> round(drag_power(6.0, 6.0, 1.8, 20680.0))
    126
    """
    uptake_L_min = 0.00354 * 0.266 * surface_area_m2 * relative_air_m_s * abs(relative_air_m_s) * speed_m_s
    return max(uptake_L_min, 0.0) * oxygen_J_L / 60.0


@compiled
def external_work(mass_kg, carried_kg, speed_m_s, grade):
    """Rate of external work against gravity [W]; positive uphill (stored as height), negative downhill (turns to heat).

    ``m g v sin(atan i)``: the work of lifting the body along the slope.

    Examples
    --------
    >>> round(external_work(65.0, 0.0, 10.0 / 3.0, -0.1), 0)
    -211.0
    """
    return (mass_kg + carried_kg) * GRAVITY * speed_m_s * grade / math.sqrt(1.0 + grade * grade)


@compiled
def gait_of(speed_m_s, asked, switch_speed_m_s):
    """Return STAND, WALK or RUN. ``asked`` is -1 (choose by speed), WALK or RUN.

    References
    ----------
    Walk–run switch near 2.0 m/s (Froude number about 0.5).
    """
    if speed_m_s < STANDING_BELOW_M_S:
        return STAND
    if asked >= 0:
        return asked
    return WALK if speed_m_s < switch_speed_m_s else RUN


@compiled
def approach(value, target, seconds, time_constant_s):
    """Move ``value`` towards ``target`` for some seconds with a time constant [s]: the exact exponential.

    Examples
    --------
    >>> round(approach(0.0, 1.0, 30.0, 30.0), 3)
    0.632
    """
    return target + (value - target) * math.exp(-seconds / time_constant_s)


@compiled
def mean_of_approach(value, target, seconds, time_constant_s):
    """Mean of an exponential approach over the interval [same unit as value]; exact."""
    if seconds <= 0.0:
        return value
    ratio = seconds / time_constant_s
    return target + (value - target) * (1.0 - math.exp(-ratio)) / ratio


def mass_of_breath_gases(metabolic_J, respiratory_quotient):
    """Mass lost as carbon dioxide breathed out over oxygen taken in [kg] for a metabolic energy [J].

    1.977 g a litre of carbon dioxide, 1.429 g a litre of oxygen (0 °C, 101.325 kPa; ideal-gas handbook values).
    About 0.05 kg an hour at 900 W.

    Examples
    --------
    >>> round(mass_of_breath_gases(900.0 * 3600.0, 0.90), 3)
    0.055
    """
    litres = metabolic_J / energy_equivalent_of_oxygen(respiratory_quotient)
    return litres * (1.977 * respiratory_quotient - 1.429) / 1000.0
