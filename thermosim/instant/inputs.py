"""From what is stated of one instant (runner, weather, textbook quantities) to what the ledger needs."""

import math
from typing import Any, NamedTuple

from thermosim.errors import InputError
from thermosim.instant.body import TEMPERATURES, clothing_now, height_of, person_of, stated_storage
from thermosim.instant.effort import POWERS, moving_of, wind_components

NUMBERS = (
    "speed_m_s", "grade_pct", "skin_temperature_C", *POWERS, "respiratory_quotient", "external_work_W",
    "surface_area_m2", "air_speed_m_s", "convection_W_m2K", "clothing_clo", "sweat_rate_L_h", "storage_W",
    "fan_speed_m_s", "surface_factor", "carried_mass_kg", "heading_deg", "minutes",
)  # fmt: skip
WORDS = ("gait", "cost", "treadmill", "air_drag")
# Ranges that the laws were published for [m/s, m/s, °C]: convection in wind and by limb swing, breathing losses.
PUBLISHED_AIR_SPEED, PUBLISHED_SWING, PUBLISHED_BREATH_C = 3.0, 2.0, (-5.0, 45.0)
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
    person = person_of(runner, own, given)
    moving = moving_of(person, own, now, weather)
    air_speed = _air_speed(own, now, weather, heading_needed)
    covered, insulation, vapour, worn = clothing_now(person, own, air_speed)
    storage, storage_notes = stated_storage(person, own)
    notes = [*person.warnings, *weather.warnings(), *moving.warnings, *storage_notes]
    notes += _outside(own, now, air_speed, weather.sun is not None)
    return Instant(
        mass_kg=person.mass_kg, surface_area_m2=person.surface_area_m2,
        heat_capacity_J_K=person.heat_capacity_J_K,
        metabolic_W=moving.metabolic_W, metabolic_formula=moving.metabolic_formula,
        metabolic_numbers=moving.metabolic_numbers, work_W=moving.work_W, work_formula=moving.work_formula,
        work_numbers=moving.work_numbers,
        air_temperature_C=now["air_temperature_C"], vapour_pressure_kPa=now["vapour_pressure_kPa"],
        mean_radiant_temperature_C=_radiant(now), pressure_kPa=now["pressure_kPa"],
        solar_W_m2=now["solar_equivalent_W_m2"],
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
            own[name] = check_range(name, given[name])
    card = {name: given[name] for name in cards if name in given}
    air = {name: given[name] for name in FIELDS if name in given}
    if runner is not None and card:
        kept = {name: value for name, value in runner.to_dict().items() if name != "sources"}
        runner = Runner(**{**kept, **card})
    elif runner is None and "mass_kg" in card:
        runner = Runner(**(card if "height_m" in card else {**card, "height_m": height_of(card, own)}))
    if weather is None:
        weather = Weather.steady(**air)
    elif air:
        weather = weather.with_fields(air)
    _refuse_pairs(own, given)
    return own, runner, weather


def _refuse_pairs(own, given) -> None:
    """Refuse two fields that say the same, and fields that hang in the air."""
    for group in (
        POWERS,
        ("storage_W", "core_end_C"),
        ("air_speed_m_s", "treadmill"),
        ("air_speed_m_s", "fan_speed_m_s"),
        ("air_speed_m_s", "wind_speed_m_s"),
        ("clothing_clo", "clothing"),
    ):
        stated = [name for name in group if given.get(name) not in (None, False) and name in given]
        if len(stated) > 1:
            problem = f"is given beside {stated[0]}: the two say the same or contradict each other"
            raise InputError(problem, field=stated[1], remedy="keep one of them")
    if own.get("fan_speed_m_s", 0.0) > 0.0 and not own.get("treadmill", False):
        problem = f"is {own['fan_speed_m_s']:g} m/s without a treadmill, allowed outdoors is 0 m/s"
        raise InputError(problem, field="fan_speed_m_s", remedy="set treadmill, or give wind_speed_m_s")
    if own.get("grade_pct", 0.0) != 0.0 and "speed_m_s" not in own:
        problem = f"is {own['grade_pct']:g} % without a speed, so it moves nothing"
        raise InputError(
            problem, field="grade_pct", remedy="give speed_m_s as well, or external_work_W instead"
        )


def _air(weather, at_min):
    now = weather.at(60.0 * at_min)
    return now, weather.wind_from == "degrees"


def _radiant(now) -> float:
    """Mean radiant temperature [°C]: stated, or from the globe (standing still in the wind), or the air's."""
    from thermosim.physics.radiation import mean_radiant_temperature_of_globe

    if not math.isnan(now["mean_radiant_temperature_C"]):
        return now["mean_radiant_temperature_C"]
    if math.isnan(now["globe_temperature_C"]):
        return now["air_temperature_C"]
    return float(
        mean_radiant_temperature_of_globe(
            now["globe_temperature_C"], now["air_temperature_C"], max(now["wind_speed_m_s"], 0.1)
        )
    )


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
    along, across = wind_components(own, now, weather)
    return relative_air_speed(speed, wind * along, wind * across)


def _outside(own, now, air_speed, sun_known) -> list[str]:
    """Return a sentence for each law used outside the range it was published for."""
    from thermosim.cautions import OUTSIDE_RANGE

    found = []
    swing = own.get("speed_m_s", 0.0)
    if "convection_W_m2K" not in own:
        if air_speed > PUBLISHED_AIR_SPEED:
            found.append(
                f"{OUTSIDE_RANGE}: convection at a relative air speed of {air_speed:.2f} m/s "
                f"(published up to {PUBLISHED_AIR_SPEED:g} m/s)."
            )
        if swing > PUBLISHED_SWING and air_speed < 0.5 * swing:
            found.append(
                f"{OUTSIDE_RANGE}: limb-swing convection at {swing:.2f} m/s "
                f"(published up to {PUBLISHED_SWING:g} m/s)."
            )
    low, high = PUBLISHED_BREATH_C
    if not low <= now["air_temperature_C"] <= high:
        found.append(
            f"{OUTSIDE_RANGE}: breathing losses in air of {now['air_temperature_C']:g} °C "
            f"(published −{-low:g} to {high:g} °C)."
        )
    if now["solar_W_m2"] > 0.0 and not sun_known:
        found.append("The sun's position is not used: its load on the body is uncertain by about a third.")
    return found


def _short(number: float, decimals: int = 1) -> str:
    """Return a number with no more decimals than a reader needs, and a true minus sign."""
    return f"{round(number, decimals) + 0.0:g}".replace("-", "−")


def _setting(person, own, now, air_speed, worn) -> str:
    """Return one line that names the instant."""
    body = f"{_short(person.surface_area_m2, 2)} m²"
    if person.mass_kg:
        body = f"{_short(person.mass_kg)} kg, {_short(person.height_m, 2)} m"
    parts = [f"{body}, {worn}"]
    if "speed_m_s" in own:
        where = " on a treadmill" if own.get("treadmill", False) else ""
        grade = _short(own.get("grade_pct", 0.0))
        parts.append(f"{_short(own['speed_m_s'], 2)} m/s{where}, grade {grade} %")
    parts.append(
        f"air {_short(now['air_temperature_C'])} °C, {now['vapour_pressure_kPa']:.2f} kPa, "
        f"{_short(air_speed, 2)} m/s over the skin"
    )
    parts.append(f"sun {_short(now['solar_W_m2'], 0)} W/m²" if now["solar_W_m2"] else "no sun")
    if "skin_temperature_C" in own:
        parts.append(f"skin {_short(own['skin_temperature_C'])} °C")
    return " · ".join(parts)
