"""From what is known of one instant (runner, weather, textbook quantities) to the numbers the ledger needs."""

import math
from types import SimpleNamespace
from typing import Any, NamedTuple

from thermosim.constants import CLO, LEWIS_RELATION
from thermosim.errors import InputError

# Thermometry's usual weights of core and skin in mean body temperature in the heat (from memory, high confidence).
CORE_WEIGHT, SKIN_WEIGHT = 0.8, 0.2
# Vapour permeability index of light clothing, which turns clo into vapour resistance; ISO 9920 (high confidence).
PERMEABILITY_INDEX = 0.38

POWERS = ("metabolic_power_W", "metabolic_rate_W_m2", "oxygen_uptake_L_min")
TEMPERATURES = ("core_start_C", "core_end_C", "skin_start_C", "skin_end_C")
NUMBERS = (
    "speed_m_s", "grade_pct", "skin_temperature_C", *POWERS, "respiratory_quotient", "external_work_W",
    "surface_area_m2", "air_speed_m_s", "convection_W_m2K", "clothing_clo", "sweat_rate_L_h", "storage_W",
    "fan_speed_m_s", "surface_factor", "carried_mass_kg", "heading_deg", "minutes",
)  # fmt: skip
WORDS = ("gait", "cost", "treadmill", "air_drag")
# Label and range of a boundary name that stands in for one of the four temperatures.
_RANGE_OF = {name: "skin_temperature_C" for name in TEMPERATURES}
_OWN = (*NUMBERS, *WORDS, *TEMPERATURES)


class Instant(NamedTuple):
    """One instant, resolved: what is stated, in the units of the laws; ``None`` is unknown."""

    mass_kg: float | None
    surface_area_m2: float
    heat_capacity_J_K: float | None
    metabolic_W: float | None
    metabolic_formula: str
    metabolic_numbers: str
    work_W: float
    work_formula: str
    work_numbers: str
    air_temperature_C: float
    vapour_pressure_kPa: float
    mean_radiant_temperature_C: float
    pressure_kPa: float
    solar_W_m2: float
    speed_m_s: float | None
    air_speed_m_s: float
    convection_W_m2K: float | None
    covered_share: float
    insulation_m2K_W: float
    vapour_resistance_m2kPa_W: float
    skin_temperature_C: float | None
    sweat_rate_L_h: float | None
    storage_W: float | None
    maximum_sweat_rate_L_h: float
    wettedness_limit: float
    setting: str
    warnings: tuple[str, ...]


class _Person(NamedTuple):
    """The body behind an instant; fields that nothing needs may be None."""

    mass_kg: float | None
    height_m: float | None
    surface_area_m2: float
    heat_capacity_J_K: float | None
    clothing: Any
    economy: float
    maximum_sweat_rate_L_h: float
    wettedness_limit: float
    warnings: tuple[str, ...]


class _Moving(NamedTuple):
    """What the effort says about power and work."""

    metabolic_W: float | None
    metabolic_formula: str
    metabolic_numbers: str
    work_W: float
    work_formula: str
    work_numbers: str
    warnings: tuple[str, ...]


def digits(number: float, places: int = 4) -> str:
    """Return a number for a formula: significant digits, a true minus sign, brackets around what is negative."""
    text = f"{number:.{places}g}"
    if "e" in text:
        text = f"{number:.0f}" if abs(number) >= 1.0 else f"{number:.6f}"
    return f"(−{text[1:]})" if text.startswith("-") else text


def resolve(runner, weather, given: dict[str, Any], at_min: float = 0.0) -> Instant:
    """Check everything that is stated about an instant, as one whole.

    Parameters
    ----------
    runner : Runner or None
    weather : Weather or None
    given : dict
        Fields by boundary name; those of a runner card and of steady weather may be among them.
    at_min : float
        Minute of the weather.

    Raises
    ------
    InputError
        A value out of range, an unknown or missing field, or two that say the same.
    """
    own, runner, weather = _sort(runner, weather, given)
    now, heading_needed = _air(weather, at_min)
    person = _person(runner, own, given)
    moving = _moving(person, own, now, weather)
    air_speed = _air_speed(own, now, weather, heading_needed)
    covered, insulation, vapour, worn = _clothing(person, own, air_speed)
    storage, storage_notes = _storage(person, own)
    notes = [*person.warnings, *weather.warnings(), *moving.warnings, *storage_notes]
    notes += _outside(own, now, air_speed)
    return Instant(
        mass_kg=person.mass_kg, surface_area_m2=person.surface_area_m2, heat_capacity_J_K=person.heat_capacity_J_K,
        metabolic_W=moving.metabolic_W, metabolic_formula=moving.metabolic_formula,
        metabolic_numbers=moving.metabolic_numbers, work_W=moving.work_W, work_formula=moving.work_formula,
        work_numbers=moving.work_numbers,
        air_temperature_C=now["air_temperature_C"], vapour_pressure_kPa=now["vapour_pressure_kPa"],
        mean_radiant_temperature_C=_radiant(now), pressure_kPa=now["pressure_kPa"], solar_W_m2=now["solar_W_m2"],
        speed_m_s=own.get("speed_m_s"), air_speed_m_s=air_speed, convection_W_m2K=own.get("convection_W_m2K"),
        covered_share=covered, insulation_m2K_W=insulation, vapour_resistance_m2kPa_W=vapour,
        skin_temperature_C=own.get("skin_temperature_C"), sweat_rate_L_h=own.get("sweat_rate_L_h"),
        storage_W=storage, maximum_sweat_rate_L_h=person.maximum_sweat_rate_L_h,
        wettedness_limit=person.wettedness_limit, setting=_setting(person, own, now, air_speed, worn),
        warnings=tuple(dict.fromkeys(notes)),
    )  # fmt: skip


def _sort(runner, weather, given):
    """Split the fields between ledger, runner card and weather; return checked fields, runner, weather."""
    from thermosim.inputs.checks import check_choice, check_flag, check_names, check_range
    from thermosim.inputs.effort import COSTS, GAITS
    from thermosim.inputs.runner import Runner
    from thermosim.inputs.weather import FIELDS, Weather

    cards = [name for name in Runner.model_fields if name not in TEMPERATURES]
    check_names(given, dict.fromkeys((*_OWN, *cards, *FIELDS)), given)
    own: dict[str, Any] = {}
    for name in _OWN:
        if name not in given:
            continue
        if name in ("treadmill", "air_drag"):
            own[name] = check_flag(name, given[name])
        elif name in ("gait", "cost"):
            own[name] = check_choice(name, given[name], GAITS if name == "gait" else COSTS)
        else:
            own[name] = check_range(_RANGE_OF.get(name, name), given[name], field=name)
    card = {name: given[name] for name in cards if name in given}
    air = {name: given[name] for name in FIELDS if name in given}
    if runner is not None and card:
        kept = {name: value for name, value in runner.to_dict().items() if name != "sources"}
        runner = Runner(**{**kept, **card})
    elif runner is None and "mass_kg" in card:
        runner = Runner(**{"height_m": _height(card, own), **card})
    if weather is None:
        weather = Weather.steady(**air)
    elif air:
        weather = weather.with_fields(air)
    _refuse_pairs(own, given)
    return own, runner, weather


def _height(card, own) -> float:
    """Height [m] that Du Bois' formula needs for a stated surface; missing when neither is stated."""
    from thermosim.inputs.checks import check_range, missing

    if "surface_area_m2" not in own:
        raise missing("height_m")
    mass = check_range("mass_kg", card["mass_kg"])
    return (own["surface_area_m2"] / (0.202 * mass**0.425)) ** (1.0 / 0.725)


def _refuse_pairs(own, given) -> None:
    """Refuse two fields that say the same, and fields that hang in the air."""
    for group in (POWERS, ("storage_W", "core_end_C"), ("air_speed_m_s", "treadmill"), ("air_speed_m_s", "fan_speed_m_s"),
                  ("air_speed_m_s", "wind_speed_m_s"), ("clothing_clo", "clothing")):
        stated = [name for name in group if given.get(name) not in (None, False) and name in given]
        if len(stated) > 1:
            problem = f"is given beside {stated[0]}: the two say the same or contradict each other"
            raise InputError(problem, field=stated[1], remedy="keep one of them")
    if own.get("fan_speed_m_s", 0.0) > 0.0 and not own.get("treadmill", False):
        problem = f"is {own['fan_speed_m_s']:g} m/s without a treadmill, allowed outdoors is 0 m/s"
        raise InputError(problem, field="fan_speed_m_s", remedy="set treadmill, or give wind_speed_m_s")
    if own.get("grade_pct", 0.0) != 0.0 and "speed_m_s" not in own:
        problem = f"is {own['grade_pct']:g} % without a speed, so it moves nothing"
        raise InputError(problem, field="grade_pct", remedy="give speed_m_s as well, or external_work_W instead")


def _person(runner, own, given) -> _Person:
    """Return the body: from a runner, or from a stated surface alone."""
    from thermosim.inputs.checks import missing
    from thermosim.parameters import value
    from thermosim.physiology.acclimatisation import heat_days_effect
    from thermosim.physiology.body import build_body

    if runner is None and "surface_area_m2" not in own:
        raise missing("mass_kg")
    heat_days = runner.heat_days if runner is not None else given.get("heat_days")
    adapted = heat_days_effect(heat_days or 0.0, value("heat_days_scale"))
    limit = value("wettedness_limit_unacclimatised")
    limit += (1.0 - limit) * adapted
    largest = runner.maximum_sweat_rate_L_h if runner is not None else given.get("maximum_sweat_rate_L_h")
    if largest is None:
        largest = value("maximum_sweat_rate_L_h") * (1.0 + value("acclimatised_sweat_gain") * adapted)
    notes = [] if heat_days is not None else [f"heat_days is unknown: 0 are assumed, so wettedness is limited to {limit:g}."]
    if runner is None:
        kit = _kit_alone(given)
        return _Person(None, None, own["surface_area_m2"], None, kit, 1.0, largest, limit, tuple(notes))
    body = build_body(runner.mass_kg, runner.height_m, runner.body_fat_resolved_pct, value("conduction_factor"))
    area = own.get("surface_area_m2", body.surface_area_m2)
    notes += [note for note in runner.warnings() if note.startswith("Adult model")]
    return _Person(runner.mass_kg, runner.height_m, area, body.total_capacity_J_K, runner.clothing, runner.economy_factor,
                   largest, limit, tuple(notes))


def _kit_alone(given):
    from thermosim.inputs.checks import check_choice
    from thermosim.inputs.runner import Clothing
    from thermosim.parameters import CLOTHING

    kit = given.get("clothing", "light_kit")
    return Clothing(**kit) if isinstance(kit, dict) else check_choice("clothing", kit, CLOTHING)


def _air(weather, at_min):
    now = weather.at(60.0 * at_min)
    return now, weather.wind_from == "degrees"


def _radiant(now) -> float:
    """Mean radiant temperature [°C]: stated, or from the globe (which stands still in the wind), or the air's."""
    from thermosim.physics.radiation import mean_radiant_temperature_of_globe

    if not math.isnan(now["mean_radiant_temperature_C"]):
        return now["mean_radiant_temperature_C"]
    if math.isnan(now["globe_temperature_C"]):
        return now["air_temperature_C"]
    return float(mean_radiant_temperature_of_globe(now["globe_temperature_C"], now["air_temperature_C"],
                                                   max(now["wind_speed_m_s"], 0.1)))


def _moving(person, own, now, weather) -> _Moving:
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
        notes.append(f"{stated} replaces the cost of running; speed_m_s only sets air flow and external work.")
    work, work_formula, work_numbers = _work(person, own)
    return _Moving(power, formula, numbers, work, work_formula, work_numbers, tuple(notes))


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
    carried, surface, economy = own.get("carried_mass_kg", 0.0), own.get("surface_factor", 1.0), person.economy
    gait = e.gait_of(speed, asked, value("walk_run_switch_m_s"))
    rest = value("resting_power_W_kg")
    if gait == e.STAND:
        return rest * person.mass_kg, r"$M = 1.2\,m$ (rest)", f"{digits(rest)} × {digits(person.mass_kg)}"
    cost = e.net_cost(gait, relation, speed, grade, oxygen_J_L)
    power = rest * person.mass_kg + e.moving_power(
        person.mass_kg, carried, gait, relation, speed, grade, economy, surface, oxygen_J_L)
    factor = economy * surface
    kit = r"m_c\,C\,v + " if carried else ""
    formula = rf"$M = {kit}m\,(C\,v{'' if factor == 1.0 else r'\,k'} + {digits(rest)})$"
    times = "" if factor == 1.0 else f" × {digits(factor)}"
    pace = f"{digits(cost)} × {digits(speed)}{times}"
    numbers = f"{digits(person.mass_kg)} × ({pace} + {digits(rest)})"
    if carried:
        numbers = f"{digits(carried)} × {pace} + {numbers}"
    if own.get("air_drag", False) and not own.get("treadmill", False):
        along, _ = _wind_components(own, now, weather)
        drag = e.drag_power(speed, speed + now["wind_speed_m_s"] * along, person.surface_area_m2, oxygen_J_L)
        power += drag
        formula = formula[:-1] + r" + M_{drag}$"
        numbers += f" + {digits(drag)}"
    notes += _cost_notes(gait, relation, speed, grade)
    return power, formula, numbers


def _cost_notes(gait, relation, speed, grade) -> list[str]:
    from thermosim.cautions import OUTSIDE_RANGE
    from thermosim.physiology import energetics as e

    found = []
    if relation == e.ACSM and grade < 0.0:
        found.append(f"{OUTSIDE_RANGE}: ACSM cost on a descent; Minetti's change of cost from level is used there.")
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


def _wind_components(own, now, weather) -> tuple[float, float]:
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


def _air_speed(own, now, weather, heading_needed) -> float:
    """Relative air speed [m/s]: stated, the fan's, or own speed and wind together."""
    from thermosim.physics.convection import relative_air_speed

    if "air_speed_m_s" in own:
        return own["air_speed_m_s"]
    if own.get("treadmill", False):
        return own.get("fan_speed_m_s", 0.0)
    wind, speed = now["wind_speed_m_s"], own.get("speed_m_s", 0.0)
    if wind == 0.0:
        return speed
    along, across = _wind_components(own, now, weather)
    return relative_air_speed(speed, wind * along, wind * across)


def _clothing(person, own, air_speed):
    """Return covered share, dry [m²K/W] and vapour [m²kPa/W] resistance now, and the clothing in words.

    Kits are stated as effective at running speed. ``clothing_clo`` is the static value that textbooks give, over
    the whole body. Motion or wind, whichever is faster, thins both by the same law.
    """
    from thermosim.inputs.flat import clothing_of
    from thermosim.parameters import value
    from thermosim.physics.clothing import motion_factor
    from thermosim.physiology.body import column

    static = value("clothing_static_ratio")
    motion = motion_factor(max(own.get("speed_m_s", 0.0), air_speed), static, value("clothing_reference_speed_m_s"))
    if "clothing_clo" in own:
        resistance = own["clothing_clo"] * CLO * motion / static
        return 1.0, resistance, resistance / (LEWIS_RELATION * PERMEABILITY_INDEX), f"{own['clothing_clo']:g} clo"
    covered, clo, vapour = clothing_of(SimpleNamespace(clothing=person.clothing))
    share = float((covered * column("area_share")).sum())
    worn = person.clothing.replace("_", " ") if isinstance(person.clothing, str) else f"{clo:g} clo on {share:.0%}"
    return share, clo * CLO * motion, vapour / 1000.0 * motion, worn


def _storage(person, own):
    """Return stated storage [W], directly or from temperatures at start and end, and a note on the weights."""
    from thermosim.inputs.checks import missing

    stated = [name for name in TEMPERATURES if name in own]
    if not stated:
        return own.get("storage_W"), []
    for name in (*TEMPERATURES, "minutes"):
        if name not in own:
            problem = f"is missing: {stated[0]} asks for start and end of core and skin, and the minutes between"
            raise InputError(problem, field=name, remedy=f"add {name}, or give storage_W instead")
    if person.heat_capacity_J_K is None:
        raise missing("mass_kg")
    core = own["core_end_C"] - own["core_start_C"]
    skin = own["skin_end_C"] - own["skin_start_C"]
    mean = CORE_WEIGHT * core + SKIN_WEIGHT * skin
    note = (f"Mean body temperature is taken as {CORE_WEIGHT:g} core + {SKIN_WEIGHT:g} skin: it changes by {mean:+.2f} K "
            f"in {own['minutes']:g} min.")
    return person.heat_capacity_J_K * mean / (60.0 * own["minutes"]), [note]


def _outside(own, now, air_speed) -> list[str]:
    """Return a sentence for each law used outside the range it was published for."""
    from thermosim.cautions import OUTSIDE_RANGE

    found = []
    swing = own.get("speed_m_s", 0.0)
    if "convection_W_m2K" not in own:
        if air_speed > 3.0:
            found.append(f"{OUTSIDE_RANGE}: convection at a relative air speed of {air_speed:.2f} m/s (published up to 3 m/s).")
        if swing > 2.0 and air_speed < swing:
            found.append(f"{OUTSIDE_RANGE}: limb-swing convection at {swing:.2f} m/s (published up to 2 m/s).")
    if not -5.0 <= now["air_temperature_C"] <= 45.0:
        found.append(f"{OUTSIDE_RANGE}: breathing losses in air of {now['air_temperature_C']:g} °C (published -5 to 45 °C).")
    if now["solar_W_m2"] > 0.0:
        found.append("The sun's position is not used: its load on the body is uncertain by about a third.")
    return found


def _setting(person, own, now, air_speed, worn) -> str:
    """Return one line that names the instant."""
    body = f"{person.mass_kg:g} kg, {person.height_m:.3g} m" if person.mass_kg else f"{person.surface_area_m2:g} m²"
    parts = [f"{body}, {worn}"]
    if "speed_m_s" in own:
        where = " on a treadmill" if own.get("treadmill", False) else ""
        parts.append(f"{own['speed_m_s']:.3g} m/s{where}, grade {own.get('grade_pct', 0.0):g} %".replace("-", "−"))
    parts.append(f"air {now['air_temperature_C']:g} °C, {now['vapour_pressure_kPa']:.2f} kPa, {air_speed:.3g} m/s over the skin")
    parts.append(f"sun {now['solar_W_m2']:g} W/m²" if now["solar_W_m2"] else "no sun")
    if "skin_temperature_C" in own:
        parts.append(f"skin {own['skin_temperature_C']:g} °C")
    return " · ".join(parts)
