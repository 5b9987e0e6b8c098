"""What cools people in a case (drinks, poured water, baths, devices) as worn devices on the clock of some phases."""

import dataclasses
from collections.abc import Sequence

import numpy as np

from thermosim.cooling.device import Worn, flatten_cooling
from thermosim.cooling.water import Bath, Drink, PouredWater
from thermosim.evidence.case_fields import IMMERSED
from thermosim.parameters import value


def worn_in(cooling: Sequence, phases: Sequence, ends_s: Sequence[float], mass_kg: float, stomach_W_K=None) -> list[Worn]:
    """Return what is drunk, poured, bathed in and worn while these phases last.

    Parameters
    ----------
    cooling : sequence of Cooling or DeviceWorn
        Without blanks.
    phases : sequence of Phase
        All before the clock, or all on it; what belongs to other phases is left out.
    ends_s : sequence of float
        Their ends [s] from the start of the first.
    mass_kg : float
        Body mass, for drinks by body mass.
    stomach_W_K : float, optional
        Conductance between a filled stomach and the body; the parameter table's value if left out.
    """
    stomach_W_K = value("stomach_conductance_W_K") if stomach_W_K is None else stomach_W_K
    starts = [0.0, *ends_s[:-1]]
    windows = {phase.label: (a / 60.0, b / 60.0) for phase, a, b in zip(phases, starts, ends_s, strict=True) if phase.label}
    last = ends_s[-1] / 60.0
    if not phases[0].preparation:
        windows[None] = (0.0, last)
    found = []
    for one in cooling:
        if one.kind in ("bath", "device"):
            if one.phase in windows:
                found += _in_phase(one, *windows[one.phase], last, stomach_W_K)
        else:
            minutes = [minute for minute in one.at_min if minute < last] if None in windows else []
            if minutes:
                portion = _portion(one, mass_kg, stomach_W_K)
                found.append(Worn(portion, float(minutes[0]), None, tuple(float(m) for m in minutes[1:])))
    return found


def places_of(worn: Sequence[Worn], area_m2: np.ndarray, end_s: float) -> int:
    """Return how many places on the body these take; refuses what the engine would refuse."""
    return flatten_cooling(worn, area_m2, end_s)[0].size


def _in_phase(one, begin: float, end: float, last: float, stomach_W_K: float) -> list[Worn]:
    """Return a bath or device within a phase (or the clock) from ``begin`` to ``end`` [min]: none where it begins too late."""
    if one.kind == "bath":
        bath = Bath(one.temperature_C, segments_of(one.segments), one.contact_W_m2K)
        return [Worn(bath, begin, None if end >= last else end)]
    made = one.worn()
    on = begin + made.from_min
    off = end if made.to_min is None else min(begin + made.to_min, end)
    if on >= off:
        return []
    device = made.device
    if isinstance(device, Drink) and device.stomach_conductance_W_K is None:
        device = dataclasses.replace(device, stomach_conductance_W_K=stomach_W_K)
    refills = tuple(begin + minute for minute in made.refill_min if begin + minute < off)
    return [dataclasses.replace(made, device=device, from_min=on, to_min=None if off >= last else off, refill_min=refills)]


def _portion(one, mass_kg: float, stomach_W_K: float) -> Drink | PouredWater:
    if one.kind == "water_on_skin":
        return PouredWater(one.mass_kg, one.temperature_C, segments_of(one.segments))
    total = one.mass_kg if one.mass_kg is not None else one.mass_g_kg / 1000.0 * mass_kg
    return Drink(float(total) / len(one.at_min), one.temperature_C, one.ice_share or 0.0, stomach_W_K)


def segments_of(asked: str | Sequence[str]) -> tuple[str, ...]:
    """Return the segments of a list, or of a word for what is under water."""
    return IMMERSED[asked] if isinstance(asked, str) else tuple(asked)
