"""What the effort, or a stated power, makes of metabolic power and external work in a ledger."""

import math
from typing import NamedTuple

from thermosim.cautions import OUTSIDE_RANGE

POWERS = ("metabolic_power_W", "metabolic_rate_W_m2", "oxygen_uptake_L_min")


class Moving(NamedTuple):
    """What the effort says about power and work."""

    metabolic_W: float | None
    metabolic_formula: str
    metabolic_numbers: str
    work_W: float
    work_formula: str
    work_numbers: str
    warnings: tuple[str, ...]


def digits(number: float, places: int = 4) -> str:
    """Return a number for a formula: significant digits, a true minus sign, brackets when negative."""
    text = f"{number:.{places}g}"
    if "e" in text:
        text = f"{number:.0f}" if abs(number) >= 1.0 else f"{number:.6f}"
    return f"(−{text[1:]})" if text.startswith("-") else text


def moving_of(person, own, now, weather) -> Moving:
    """Return metabolic power and external work with the formulas they came from."""
    from thermosim.parameters import value
    from thermosim.physiology import energetics

    notes: list[str] = []
    quotient = own.get("respiratory_quotient", value("respiratory_quotient"))
    oxygen_J_L = energetics.energy_equivalent_of_oxygen(quotient)
    stated = next((name for name in POWERS if name in own), None)
    if stated is None and "speed_m_s" in own:
        power, formula, numbers = _power_of_speed(person, own, now, weather, oxygen_J_L, notes)
    elif stated is None:
        power, formula, numbers = None, r"$M$ from the balance", ""
    elif stated == "metabolic_power_W":
        power, formula, numbers = own[stated], r"$M$ stated", digits(own[stated], 6)
    elif stated == "metabolic_rate_W_m2":
        power = own[stated] * person.surface_area_m2
        formula, numbers = r"$M = A\,\dot{M}$", f"{digits(person.surface_area_m2)} × {digits(own[stated])}"
    else:
        power = own[stated] / 60.0 * oxygen_J_L
        formula = r"$M = \dot{V}_{O2}\,(0.23\,RQ + 0.77) \times 5.88 \times 60$"
        numbers = f"{digits(own[stated])} × (0.23 × {digits(quotient)} + 0.77) × 5.88 × 60"
        if "respiratory_quotient" not in own:
            notes.append(f"respiratory_quotient is the default, {quotient:g}.")
    if stated and "speed_m_s" in own:
        notes.append(
            f"{stated} replaces the cost of running; speed_m_s only sets air flow and external work."
        )
    work, work_formula, work_numbers = _work(person, own)
    return Moving(power, formula, numbers, work, work_formula, work_numbers, tuple(notes))


def _power_of_speed(person, own, now, weather, oxygen_J_L, notes):
    """Return metabolic power [W] of a speed on a grade, its formula and the numbers put in."""
    from thermosim.inputs.checks import missing
    from thermosim.parameters import value
    from thermosim.physiology import energetics as e

    if person.mass_kg is None:
        raise missing("mass_kg")
    speed, grade = own["speed_m_s"], own.get("grade_pct", 0.0) / 100.0
    asked = {"auto": -1, "walk": e.WALK, "run": e.RUN}[own.get("gait", "auto")]
    relation = {"minetti": e.MINETTI, "acsm": e.ACSM}[own.get("cost", "minetti")]
    carried, surface, economy = (
        own.get("carried_mass_kg", 0.0),
        own.get("surface_factor", 1.0),
        person.economy,
    )
    gait = e.gait_of(speed, asked, value("walk_run_switch_m_s"))
    rest, upright = value("resting_power_W_kg"), e.upright_power(gait, relation, value("standing_power_W_kg"))
    still = f"{digits(rest)} + {digits(upright)}" if upright else digits(rest)
    per_kg = f"({still})" if upright else still
    if gait == e.STAND:
        power, numbers = (rest + upright) * person.mass_kg, f"{per_kg} × {digits(person.mass_kg)}"
        return power, rf"$M = {per_kg}\,m$ (standing)", numbers
    cost = e.net_cost(gait, relation, speed, grade, oxygen_J_L)
    power = (rest + upright) * person.mass_kg + e.moving_power(
        person.mass_kg, carried, gait, relation, speed, grade, economy, surface, oxygen_J_L
    )
    factor = economy * surface
    times = "" if factor == 1.0 else f" × {digits(factor)}"
    product = r"C\,v" if factor == 1.0 else r"C\,v\,k"
    pace, mass = f"{digits(cost)} × {digits(speed)}{times}", digits(person.mass_kg)
    formula, numbers = rf"$M = m\,({product} + {still})$", f"{mass} × ({pace} + {still})"
    if carried:
        formula = rf"$M = (m + m_c)\,{product} + {per_kg}\,m$"
        numbers = f"{digits(person.mass_kg + carried)} × {pace} + {per_kg} × {mass}"
    if own.get("air_drag", False) and not own.get("treadmill", False):
        along, _ = wind_components(own, now, weather)
        drag = e.drag_power(speed, speed + now["wind_speed_m_s"] * along, person.surface_area_m2, oxygen_J_L)
        power += drag
        formula = formula[:-1] + r" + M_{drag}$"
        numbers += f" + {digits(drag)}"
    notes += _cost_notes(gait, relation, speed, grade)
    return power, formula, numbers


def _cost_notes(gait, relation, speed, grade) -> list[str]:
    from thermosim.physiology import energetics as e

    found = []
    if relation == e.ACSM and grade < 0.0:
        found.append(
            f"{OUTSIDE_RANGE}: ACSM cost on a descent; Minetti's change of cost from level is used there."
        )
    if relation == e.ACSM and gait == e.RUN and speed < 134.0 / 60.0:
        found.append(f"{OUTSIDE_RANGE}: ACSM running cost at {speed:.2f} m/s (published above 2.23 m/s).")
    if relation == e.ACSM and gait == e.WALK and not 50.0 / 60.0 <= speed <= 100.0 / 60.0:
        found.append(f"{OUTSIDE_RANGE}: ACSM walking cost at {speed:.2f} m/s (published 0.83 to 1.67 m/s).")
    if gait == e.WALK and relation == e.MINETTI and not 0.5 <= speed <= 2.2:
        found.append(f"{OUTSIDE_RANGE}: walking cost at {speed:.2f} m/s (0.5 to 2.2 m/s).")
    if gait == e.RUN and grade < -0.05:
        found.append("The downhill cost stands for smooth ground: technical descents cost more.")
    return found


def _work(person, own):
    """Return external work [W], its formula and the numbers put in."""
    from thermosim.constants import GRAVITY
    from thermosim.physiology.energetics import external_work

    if "external_work_W" in own:
        return own["external_work_W"], r"$W$ stated", digits(own["external_work_W"], 6)
    speed, grade = own.get("speed_m_s", 0.0), own.get("grade_pct", 0.0) / 100.0
    if speed == 0.0 or grade == 0.0:
        return 0.0, r"$W = m\,g\,v\,\sin\theta$", "0" if speed == 0.0 else "0 (level ground)"
    if person.mass_kg is None:
        from thermosim.inputs.checks import missing

        raise missing("mass_kg")
    carried = own.get("carried_mass_kg", 0.0)
    sine = grade / math.sqrt(1.0 + grade * grade)
    numbers = f"{digits(person.mass_kg + carried)} × {GRAVITY:g} × {digits(speed)} × {digits(sine)}"
    return external_work(person.mass_kg, carried, speed, grade), r"$W = m\,g\,v\,\sin\theta$", numbers


def wind_components(own, now, weather) -> tuple[float, float]:
    """Share of the wind from ahead and from the side."""
    from thermosim.inputs.checks import missing

    words = {"head": (1.0, 0.0), "tail": (-1.0, 0.0), "cross": (0.0, 1.0)}
    if weather.wind_from in words:
        return words[weather.wind_from]
    if own.get("speed_m_s", 0.0) == 0.0:
        return 0.0, 1.0
    if "heading_deg" not in own:
        raise missing("heading_deg")
    angle = math.radians(now["wind_from_deg"] - own["heading_deg"])
    return math.cos(angle), abs(math.sin(angle))
