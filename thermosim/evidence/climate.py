"""The climate limit of a work rate: the highest corrected effective temperature at which core still holds its plateau."""

import dataclasses

import numpy as np

from thermosim.errors import NumericalFailure
from thermosim.evidence.timeline import filled, run_variant
from thermosim.physics.air import corrected_effective_temperature, saturation_pressure

STEP_K = 2.0  # of air temperature, and the rise of effective temperature that ``departure_K`` is meant over


def limit_of_climate(variant, limit, blanks, overrides=None) -> float:
    """Find the effective temperature above which core keeps climbing with the climate [°C, corrected effective].

    Air and radiant temperature rise together in steps at one relative humidity. The limit is the last place where the
    end value begins to rise by more than ``departure_K`` over 2 K of effective temperature; a slow rise below it, in
    people who are cold, is not one. Where no such place lies in the range, the end of the range is returned.
    """
    from thermosim.evidence.outcomes import read_run

    asked = filled(limit, blanks)
    phase = filled(variant.phases[-1], blanks)
    temperatures = np.arange(limit.low_C, limit.high_C + 0.5 * STEP_K, STEP_K)
    scale, ends = [], []
    for air in temperatures:
        changed = dataclasses.replace(
            variant.phases[-1],
            air_temperature_C=float(air),
            relative_humidity_pct=asked.relative_humidity_pct,
            vapour_pressure_kPa=None,
            wet_bulb_C=None,
            dew_point_C=None,
            mean_radiant_temperature_C=None,
        )
        here = dataclasses.replace(variant, phases=(*variant.phases[:-1], changed))
        try:
            ends.append(read_run(run_variant(here, blanks, overrides), limit.measured.read))
        except NumericalFailure:  # too hot for any person: far above the limit
            break
        vapour = asked.relative_humidity_pct / 100.0 * saturation_pressure(air)
        scale.append(corrected_effective_temperature(air, vapour, max(phase.air_speed_m_s, 0.1)))
    scale, ends = np.array(scale), np.array(ends)
    slope = np.diff(ends) / np.diff(scale)
    return crossing_of(0.5 * (scale[1:] + scale[:-1]), slope, limit.departure_K / STEP_K)


def crossing_of(scale, excess, level) -> float:
    """Return the last place where a curve rises through a level and stays above it, in a straight line between points."""
    above = excess > level
    if above.all():
        return float(scale[0])
    if not above[-1]:
        return float(scale[-1])
    k = int(np.flatnonzero(~above)[-1]) + 1
    share = (level - excess[k - 1]) / (excess[k] - excess[k - 1])
    return float(scale[k - 1] + share * (scale[k] - scale[k - 1]))
