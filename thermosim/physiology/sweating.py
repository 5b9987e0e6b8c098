"""Sweating: central drive, local factor, ceilings, the film on the skin."""

from thermosim._jit import compiled
from thermosim.physics.exponential import exponential


@compiled
def thermal_drive(core_C, set_core_C, mean_skin_C, set_skin_C, skin_floor_C, skin_weight):
    """Signal to the controllers [K]: core above its set point plus weighted skin above its own.

    Skin colder than ``skin_floor_C`` sends no further signal.

    References
    ----------
    Nadel, Bullard & Stolwijk 1971, J Appl Physiol 31:80 (weights about 10 to 1).

    Examples
    --------
    >>> round(thermal_drive(38.0, 36.95, 34.7, 33.7, 30.0, 0.1), 2)
    1.15
    """
    return (core_C - set_core_C) + skin_weight * (max(mean_skin_C, skin_floor_C) - set_skin_C)


@compiled
def local_sweat_factor(local_skin_C, reference_C, slope_K):
    """Local multiplier on sweat rate [1]: ``exp((T - 34)/10)``.

    References
    ----------
    Nadel, Bullard & Stolwijk 1971, J Appl Physiol 31:80.

    Examples
    --------
    >>> local_sweat_factor(34.0, 34.0, 10.0)
    1.0
    """
    return exponential((local_skin_C - reference_C) / slope_K)


@compiled
def film_wettedness(share_of_full, limit):
    """Wettedness by sweat [1] of a skin that carries a share of a full film [1]: linear to ``limit``.

    Examples
    --------
    >>> film_wettedness(3.0, 0.85)
    0.85
    """
    return limit * min(max(share_of_full, 0.0), 1.0)
