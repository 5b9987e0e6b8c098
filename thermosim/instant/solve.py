"""Scalar laws of the whole body put together, and the one quantity that closes the books."""

from typing import NamedTuple

from thermosim.constants import LATENT_HEAT_SWEAT
from thermosim.errors import InputError
from thermosim.instant.inputs import Instant
from thermosim.physiology.sweating import LIMIT_AIR, LIMIT_NOTHING, LIMIT_SWEAT, limit_of_evaporation

LIMITS = {LIMIT_NOTHING: "nothing", LIMIT_AIR: "air", LIMIT_SWEAT: "sweat_rate"}


class Exchange(NamedTuple):
    """What one skin temperature and one metabolic power exchange with the air."""

    skin_C: float
    metabolic_W: float
    convection_W_m2K: float
    radiation_W_m2K: float
    dry_factor: float
    vapour_factor: float
    saturated_kPa: float
    convection: float
    long_wave_radiation: float
    solar_outside: float
    solar_radiation: float
    respiration_vapour: float
    respiration_dry: float
    required_W: float
    capacity_W: float


class Solved(NamedTuple):
    """The closed books: which quantity was left open, and what it came out as."""

    name: str
    exchange: Exchange
    evaporation_W: float
    storage_W: float
    notes: tuple[str, ...]


def convection_coefficient(instant: Instant, skin_C: float) -> float:
    """Convective coefficient [W/m²K]: stated, or the largest of wind, limb swing and free convection."""
    from thermosim.physics.convection import convective_coefficient, natural_convection

    if instant.convection_W_m2K is not None:
        return instant.convection_W_m2K
    forced = convective_coefficient(instant.air_speed_m_s, instant.speed_m_s or 0.0, instant.pressure_kPa)
    return max(forced, natural_convection(skin_C - instant.air_temperature_C))


def clothing_factors(instant: Instant, h_c: float, h_r: float) -> tuple[float, float]:
    """Share of the bare body's dry and vapour exchange that is left by what is worn [1]."""
    from thermosim.constants import LEWIS_RELATION
    from thermosim.physics.clothing import dry_transfer_factor, vapour_transfer_factor
    from thermosim.physics.evaporation import evaporative_coefficient

    h_e = evaporative_coefficient(h_c, LEWIS_RELATION, instant.pressure_kPa)
    bare, covered = 1.0 - instant.covered_share, instant.covered_share
    dry = bare + covered * dry_transfer_factor(h_c + h_r, instant.insulation_m2K_W)
    return dry, bare + covered * vapour_transfer_factor(h_e, instant.vapour_resistance_m2kPa_W)


def exchange(instant: Instant, metabolic_W: float, skin_C: float) -> Exchange:
    """Return every term but evaporation and storage, and what evaporation must and may be."""
    from thermosim.constants import LEWIS_RELATION
    from thermosim.parameters import value
    from thermosim.physics.air import saturation_pressure
    from thermosim.physics.evaporation import evaporative_coefficient
    from thermosim.physics.radiation import radiative_coefficient, solar_absorbed
    from thermosim.physics.respiration import respiratory_dry_loss, respiratory_vapour_loss

    area, air_C, radiant_C = (
        instant.surface_area_m2,
        instant.air_temperature_C,
        instant.mean_radiant_temperature_C,
    )
    h_c = convection_coefficient(instant, skin_C)
    h_r = radiative_coefficient(skin_C, radiant_C, value("skin_emissivity"), value("radiating_area_fraction"))
    dry, vapour = clothing_factors(instant, h_c, h_r)
    outside = solar_absorbed(
        instant.solar_W_m2, area, value("solar_absorptance"), value("solar_interception")
    )
    saturated = saturation_pressure(skin_C)
    convection = dry * area * h_c * (air_C - skin_C)
    long_wave = dry * area * h_r * (radiant_C - skin_C)
    breath_vapour = -respiratory_vapour_loss(metabolic_W, instant.vapour_pressure_kPa)
    breath_dry = -respiratory_dry_loss(metabolic_W, air_C)
    required = (
        metabolic_W - instant.work_W + convection + long_wave + dry * outside + breath_vapour + breath_dry
    )
    h_e = evaporative_coefficient(h_c, LEWIS_RELATION, instant.pressure_kPa)
    capacity = vapour * area * h_e * (saturated - instant.vapour_pressure_kPa)
    return Exchange(
        skin_C,
        metabolic_W,
        h_c,
        h_r,
        dry,
        vapour,
        saturated,
        convection,
        long_wave,
        outside,
        dry * outside,
        breath_vapour,
        breath_dry,
        required,
        capacity,
    )


def evaporation_of_sweat(sweat_W: float, capacity_W: float, limit: float) -> float:
    """Evaporation [W] of sweat secreted with a heat ``sweat_W`` if all of it evaporated.

    The share that evaporates is ``1 - w²/2`` at the wettedness ``w = evaporation / capacity`` that results,
    and ``w`` stops at ``limit``. Where the air gives water to the skin (negative capacity), that comes back.
    """
    if capacity_W <= 0.0:
        return capacity_W
    if sweat_W <= 0.0:
        return 0.0
    ratio = (
        capacity_W / sweat_W
    )  # w solves w²/2 + ratio w - 1 = 0; this form keeps its digits at a large ratio
    wettedness = 2.0 / (ratio + (ratio * ratio + 2.0) ** 0.5)
    return min(wettedness, limit) * capacity_W


def sweat_with_dripping(evaporation_W: float, capacity_W: float, limit: float) -> float:
    """Sweat rate [L/h] that evaporates so much when ``w²/2`` of it drips; w stops at the limit."""
    from thermosim.physics.evaporation import dripping_efficiency

    wettedness = limit if capacity_W <= 0.0 else min(evaporation_W / capacity_W, limit)
    return litres_per_hour(evaporation_W) / dripping_efficiency(wettedness)


def litres_per_hour(power_W: float) -> float:
    """Sweat rate [L/h] whose full evaporation takes a power [W]."""
    return power_W / LATENT_HEAT_SWEAT * 3600.0


def watts_of_sweat(sweat_L_h: float) -> float:
    """Power [W] that the full evaporation of a sweat rate [L/h] takes."""
    return sweat_L_h * LATENT_HEAT_SWEAT / 3600.0


def limiting(required_W: float, capacity_W: float, instant: Instant) -> str:
    """Return ``nothing``, ``air`` or ``sweat_rate``: what keeps the required evaporation from happening.

    The engine's own rule, for a skin that is as wet as the balance asks.
    """
    from thermosim.parameters import value

    needed = sweat_with_dripping(max(required_W, 0.0), capacity_W, instant.wettedness_limit)
    return LIMITS[
        limit_of_evaporation(
            required_W,
            capacity_W,
            instant.wettedness_limit,
            value("dripping_onset_wettedness"),
            True,
            needed > instant.maximum_sweat_rate_L_h,
        )
    ]


def close_books(instant: Instant) -> Solved:
    """Close the books: find the one quantity that is left open.

    Effort, skin temperature, sweat rate and storage belong to one equation. Storage counts as zero when it is
    left open together with one of the others.
    """
    stated = {
        "metabolic_power_W": instant.metabolic_W,
        "skin_temperature_C": instant.skin_temperature_C,
        "sweat_rate_L_h": instant.sweat_rate_L_h,
        "storage_W": instant.storage_W,
    }
    unknown = [name for name, known in stated.items() if known is None]
    if not unknown:
        problem = "is given although effort, skin temperature and sweat rate already fix it"
        raise InputError(problem, field="storage_W", remedy="leave one of the four out: it is solved for")
    notes: tuple[str, ...] = ()
    if len(unknown) == 2 and "storage_W" in unknown:
        unknown.remove("storage_W")
        instant = instant._replace(storage_W=0.0)
        notes = ("storage_W is taken as 0: core and skin temperature are held.",)
    if len(unknown) > 1:
        raise _too_many(unknown)
    solved = {
        "sweat_rate_L_h": _solve_sweat,
        "storage_W": _solve_storage,
        "skin_temperature_C": _solve_skin,
        "metabolic_power_W": _solve_power,
    }[unknown[0]](instant, bool(notes))
    return solved._replace(notes=notes * (solved.name != "storage_W") + solved.notes)


def _too_many(unknown) -> InputError:
    from thermosim.inputs.checks import allowed_range

    first = "speed_m_s" if unknown[0] == "metabolic_power_W" else unknown[0]
    others = " and ".join(name for name in unknown if name != unknown[0])
    problem = f"is missing beside {others}: one unknown can be solved for, {len(unknown)} cannot"
    remedy = f"add {first} ({allowed_range(first)})"
    if first == "speed_m_s":
        remedy += " or metabolic_power_W, metabolic_rate_W_m2 or oxygen_uptake_L_min"
    return InputError(problem, field=first, remedy=remedy)


def _solve_sweat(instant, steady) -> Solved:
    now = exchange(instant, instant.metabolic_W, instant.skin_temperature_C)
    needed = now.required_W - instant.storage_W
    if needed >= 0.0:
        return Solved("sweat_rate_L_h", now, -needed, instant.storage_W, ())
    if not steady:
        problem = (
            f"is {instant.storage_W:.4g} W, more than the {now.required_W:.4g} W that all other terms leave"
        )
        raise InputError(problem, field="storage_W", remedy="give a smaller storage, or leave it out")
    cold = (f"More is lost than made: without any sweat {-needed:.0f} W come out of the body.",)
    return Solved("storage_W", now, 0.0, now.required_W, cold)


def _evaporation(instant, now) -> float:
    """Evaporation [W] of the stated sweat rate; negative where the air gives water to the skin."""
    return evaporation_of_sweat(
        watts_of_sweat(instant.sweat_rate_L_h), now.capacity_W, instant.wettedness_limit
    )


def _solve_storage(instant, _) -> Solved:
    now = exchange(instant, instant.metabolic_W, instant.skin_temperature_C)
    evaporation = _evaporation(instant, now)
    return Solved("storage_W", now, -evaporation, now.required_W - evaporation, ())


def _solve_skin(instant, _) -> Solved:
    from scipy.optimize import brentq

    from thermosim.variables import INPUTS

    def left(skin_C):
        now = exchange(instant, instant.metabolic_W, skin_C)
        return now.required_W - _evaporation(instant, now) - instant.storage_W

    low, high = INPUTS["skin_temperature_C"].low, INPUTS["skin_temperature_C"].high
    ends = left(low), left(high)
    if ends[0] * ends[1] > 0.0:
        over = "even at" if ends[0] > 0.0 else "already at"
        edge = high if ends[0] > 0.0 else low
        problem = f"cannot be solved for: {over} {edge:g} °C the balance is {ends[ends[0] > 0.0]:+.0f} W off"
        raise InputError(problem, field="skin_temperature_C", remedy="check effort, sweat rate and storage")
    now = exchange(instant, instant.metabolic_W, float(brentq(left, low, high, xtol=1e-12, rtol=1e-14)))
    return Solved("skin_temperature_C", now, -_evaporation(instant, now), instant.storage_W, ())


def _solve_power(instant, _) -> Solved:
    from thermosim.variables import INPUTS

    skin_C = instant.skin_temperature_C
    at_zero, at_one = (exchange(instant, power, skin_C).required_W for power in (0.0, 1.0))
    evaporation = _evaporation(instant, exchange(instant, 0.0, skin_C))
    power = (instant.storage_W + evaporation - at_zero) / (at_one - at_zero)
    low, high = INPUTS["metabolic_power_W"].low, INPUTS["metabolic_power_W"].high
    if not low <= power <= high:
        problem = f"comes out as {power:.0f} W, allowed is {low:g} to {high:g} W"
        raise InputError(
            problem, field="metabolic_power_W", remedy="check sweat rate, storage and skin temperature"
        )
    return Solved("metabolic_power_W", exchange(instant, power, skin_C), -evaporation, instant.storage_W, ())
