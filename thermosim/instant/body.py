"""The body of a ledger: size and limits of the person, what is worn, and what start and end store."""

from types import SimpleNamespace
from typing import Any, NamedTuple

from thermosim.constants import CLO, LEWIS_RELATION
from thermosim.errors import InputError

TEMPERATURES = ("core_start_C", "core_end_C", "skin_start_C", "skin_end_C")


class Person(NamedTuple):
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


def height_of(card, own) -> float:
    """Height [m] that Du Bois' formula needs for a stated surface; missing when neither is stated."""
    from scipy.optimize import brentq

    from thermosim.inputs.checks import check_range, missing
    from thermosim.physiology.body import surface_area_du_bois
    from thermosim.variables import INPUTS

    if "surface_area_m2" not in own:
        raise missing("height_m")
    mass, area = check_range("mass_kg", card["mass_kg"]), own["surface_area_m2"]
    low, high = INPUTS["height_m"].low, INPUTS["height_m"].high
    smallest, largest = surface_area_du_bois(mass, low), surface_area_du_bois(mass, high)
    if not smallest <= area <= largest:
        problem = f"is {area:g} m², allowed at {mass:g} kg is {smallest:.2f} to {largest:.2f} m²"
        raise InputError(problem, field="surface_area_m2", remedy="correct surface or mass, or add height_m")
    return float(brentq(lambda height: surface_area_du_bois(mass, height) - area, low, high))


def sweat_limits(heat_days, maximum_sweat_rate_L_h, surface_area_m2) -> tuple[float, float]:
    """Largest sweat rate [L/h] and largest wettedness [1] after a number of heat days, as the engine has them.

    The population's largest rate grows with body surface; a runner's own is what it is.
    """
    from thermosim.parameters import value
    from thermosim.physiology.acclimatisation import heat_days_effect

    adapted = heat_days_effect(heat_days or 0.0, value("heat_days_scale"))
    wettedness = value("wettedness_limit_unacclimatised")
    if maximum_sweat_rate_L_h is None:
        gain = 1.0 + value("acclimatised_sweat_gain") * adapted
        size = surface_area_m2 / value("reference_surface_m2")
        maximum_sweat_rate_L_h = value("maximum_sweat_rate_L_h") * gain * size
    return maximum_sweat_rate_L_h, wettedness + (1.0 - wettedness) * adapted


def sweating_heat_days(runner) -> float | None:
    """Number of heat days that sweats as the runner does; of a list of exposures what was kept."""
    import math

    from thermosim.inputs.flat import adapted_of, population

    if runner.heat_exposures is None:
        return runner.heat_days
    table = population()
    return -table["heat_days_scale"] * math.log(1.0 - adapted_of(runner, table).sweat)


def person_of(runner, own, given) -> Person:
    """Return the body: from a runner, or from a stated surface alone."""
    from thermosim.inputs.checks import missing
    from thermosim.parameters import value
    from thermosim.physiology.body import build_body

    if runner is None and "surface_area_m2" not in own:
        raise missing("mass_kg")
    if runner is not None:
        heat_days, largest = sweating_heat_days(runner), runner.maximum_sweat_rate_L_h
    else:
        heat_days, largest = given.get("heat_days"), given.get("maximum_sweat_rate_L_h")
    body = None
    if runner is not None:
        body = build_body(
            runner.mass_kg, runner.height_m, runner.body_fat_resolved_pct, value("conduction_factor")
        )
    area = own["surface_area_m2"] if body is None else body.surface_area_m2
    largest, limit = sweat_limits(heat_days, largest, area)
    unknown = f"heat_days is unknown: 0 are assumed, so wettedness is limited to {limit:g}."
    notes = [] if heat_days is not None else [unknown]
    if runner is None or body is None:
        kit = _kit_alone(given)
        return Person(None, None, own["surface_area_m2"], None, kit, 1.0, largest, limit, tuple(notes))
    notes += [note for note in runner.warnings() if note.startswith("Adult model")]
    return Person(
        mass_kg=runner.mass_kg,
        height_m=runner.height_m,
        surface_area_m2=own.get("surface_area_m2", body.surface_area_m2),
        heat_capacity_J_K=body.total_capacity_J_K,
        clothing=runner.clothing,
        economy=runner.economy_factor,
        maximum_sweat_rate_L_h=largest,
        wettedness_limit=limit,
        warnings=tuple(notes),
    )


def _kit_alone(given):
    from thermosim.inputs.checks import check_choice
    from thermosim.inputs.runner import Clothing
    from thermosim.parameters import CLOTHING

    kit = given.get("clothing", "light_kit")
    return Clothing(**kit) if isinstance(kit, dict) else check_choice("clothing", kit, CLOTHING)


def clothing_now(person, own, air_speed):
    """Return covered share, dry [m²K/W] and vapour [m²kPa/W] resistance now, and the clothing in words.

    Kits are stated as effective at running speed. ``clothing_clo`` is the static value that textbooks give,
    over the whole body. Motion or wind, whichever is faster, thins both by the same law.
    """
    from thermosim.inputs.flat import clothing_of
    from thermosim.parameters import value
    from thermosim.physics.clothing import motion_factor
    from thermosim.physiology.body import column

    static = value("clothing_static_ratio")
    motion = motion_factor(
        max(own.get("speed_m_s", 0.0), air_speed), static, value("clothing_reference_speed_m_s")
    )
    if "clothing_clo" in own:
        resistance = own["clothing_clo"] * CLO * motion / static
        return (
            1.0,
            resistance,
            resistance / (LEWIS_RELATION * value("permeability_index")),
            f"{own['clothing_clo']:g} clo",
        )
    covered, clo, vapour = clothing_of(SimpleNamespace(clothing=person.clothing))
    share = float((covered * column("area_share")).sum())
    worn = (
        person.clothing.replace("_", " ")
        if isinstance(person.clothing, str)
        else f"{clo:g} clo on {share:.0%}"
    )
    return share, clo * CLO * motion, vapour / 1000.0 * motion, worn


def stated_storage(person, own):
    """Return stated storage [W], directly or from temperatures at start and end, with a note."""
    from thermosim.inputs.checks import missing
    from thermosim.parameters import value

    stated = [name for name in TEMPERATURES if name in own]
    if not stated:
        return own.get("storage_W"), []
    for name in (*TEMPERATURES, "minutes"):
        if name not in own:
            problem = (
                f"is missing: {stated[0]} asks for start and end of core and skin, and the minutes between"
            )
            raise InputError(problem, field=name, remedy=f"add {name}, or give storage_W instead")
    if person.heat_capacity_J_K is None:
        raise missing("mass_kg")
    core = own["core_end_C"] - own["core_start_C"]
    skin = own["skin_end_C"] - own["skin_start_C"]
    weight = value("mean_body_core_weight")
    mean = weight * core + (1.0 - weight) * skin
    note = (
        f"Mean body temperature is taken as {weight:g} core + {1.0 - weight:g} skin: "
        f"it changes by {mean:+.2f} K in {own['minutes']:g} min."
    )
    return person.heat_capacity_J_K * mean / (60.0 * own["minutes"]), [note]
