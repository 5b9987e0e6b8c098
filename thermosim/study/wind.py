"""What the wind does to a runner, in watts: the instant balance with it and without it, skin and sweat held."""

from typing import Any

from thermosim.instant.inputs import Instant, resolve
from thermosim.instant.solve import (
    evaporation_of_sweat,
    exchange,
    litres_per_hour,
    sweat_with_dripping,
    watts_of_sweat,
)

SMALL_W = 5.0


def wind_effect(session, at_min: float, skin_C: float, sweat_L_h: float) -> dict[str, Any] | None:
    """Return what the wind changes at a minute of a run, or None where there is none to change anything.

    Own speed (or the fan) is left; sky, ground and sun are held as they are. ``dry_W`` is what convection and long wave
    bring more (a gain by the body is positive), ``capacity_W`` what more the air could take from a fully wet skin, ``net_W``
    the heat that would be left over at this skin and this sweat rate, less without the wind: negative helps.

    Parameters
    ----------
    session : Session
    at_min : float
        Minute of the run [min].
    skin_C, sweat_L_h : float
        Mean skin temperature and sweat rate of the run then [°C, L/h].
    """
    here = instant_of(session, at_min, skin_C)
    if here is None:
        return None
    own = session.effort.fan_speed_m_s if session.effort.treadmill else float(here.speed_m_s or 0.0)
    calm = here._replace(air_speed_m_s=own)
    if abs(here.air_speed_m_s - own) < 0.05:
        return None
    power = float(here.metabolic_W or 0.0)
    windy, still = exchange(here, power, skin_C), exchange(calm, power, skin_C)
    left = []
    for now in (windy, still):
        done = min(
            evaporation_of_sweat(watts_of_sweat(sweat_L_h), now.capacity_W, here.wettedness_limit), max(now.required_W, 0.0)
        )
        left.append(now.required_W - done)
    needed = [
        sweat_with_dripping(
            min(max(now.required_W, 0.0), max(here.wettedness_limit * now.capacity_W, 0.0)), now.capacity_W, here.wettedness_limit
        )
        for now in (windy, still)
    ]
    dry = windy.convection + windy.long_wave_radiation - still.convection - still.long_wave_radiation
    found = {
        "air_speed_m_s": here.air_speed_m_s, "without_wind_m_s": own, "dry_W": dry,
        "capacity_W": windy.capacity_W - still.capacity_W,
        "net_W": left[0] - left[1], "sweat_needed_difference_L_h": needed[0] - needed[1],
        "sweat_rate_L_h": sweat_L_h, "evaporation_left_over_L_h": litres_per_hour(max(left[0], 0.0)),
    }  # fmt: skip
    return {**found, "sentence": wind_sentence(found)}


def instant_of(session, at_min: float, skin_C: float) -> Instant | None:
    """Return the instant of a session's effort at a minute; None while the runner stands or the effort has no speed then."""
    effort = session.effort
    second = min(60.0 * at_min, float(effort.end_s[-1]) - 1e-6)
    part = int((effort.start_s <= second).sum()) - 1
    speed = float(effort.speed_m_s[max(part, 0)])
    if speed < 0.1:
        return None
    given = {
        "speed_m_s": speed, "grade_pct": float(effort.grade_pct[part]), "skin_temperature_C": skin_C, "gait": effort.gait,
        "cost": effort.cost, "treadmill": effort.treadmill, "fan_speed_m_s": effort.fan_speed_m_s, "air_drag": effort.air_drag,
        "surface_factor": effort.surface_factor, "carried_mass_kg": effort.carried_mass_kg,
    }  # fmt: skip
    heading = float(effort.heading_deg[part])
    if heading == heading:
        given["heading_deg"] = heading
    return resolve(session.runner, session.weather, given, second / 60.0)


def wind_sentence(found: dict[str, Any]) -> str:
    """Return what the wind does in one sentence.

    Examples
    --------
    >>> wind_sentence({"dry_W": 60.0, "capacity_W": 900.0, "net_W": -45.0, "sweat_needed_difference_L_h": -0.1})
    'This wind costs 60 W dry and allows 900 W more evaporation; at this sweat rate it helps, by 45 W.'
    >>> wind_sentence({"dry_W": -30.0, "capacity_W": 400.0, "net_W": 0.0, "sweat_needed_difference_L_h": -0.08})[59:]
    '; sweat keeps up with or without it, and 0.08 L/h less of it is needed.'
    """
    dry, capacity, net = found["dry_W"], found["capacity_W"], found["net_W"]
    dry_words = f"{'costs' if dry >= 0.0 else 'spares'} {_five(abs(dry))} W dry" if _five(dry) else "changes nothing dry"
    first = f"This wind {dry_words} and "
    first += (
        f"allows {_five(capacity)} W more evaporation" if capacity >= 0.0 else f"takes away {_five(-capacity)} W of evaporation"
    )
    if abs(net) >= SMALL_W:
        return f"{first}; at this sweat rate it {'helps' if net < 0.0 else 'harms'}, by {_five(abs(net))} W."
    litres = found["sweat_needed_difference_L_h"]
    if abs(litres) < 0.005:
        return f"{first}; at this sweat rate it changes nothing that can be told."
    return (
        f"{first}; sweat keeps up with or without it, and {abs(litres):.2f} L/h "
        f"{'less' if litres < 0.0 else 'more'} of it is needed."
    )


def _five(watts: float) -> int:
    return int(5 * round(watts / 5))
