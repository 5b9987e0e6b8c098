"""Sweating: central drive, local factor, ceilings, the film on the skin."""

from thermosim._jit import compiled
from thermosim.physics.exponential import exponential

LIMIT_NOTHING, LIMIT_AIR, LIMIT_SWEAT = range(3)


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


@compiled
def limit_of_evaporation(
    required_W, capacity_W, wettedness_limit, dripping_onset, skin_is_wet, sweat_is_short
):
    """Say what keeps evaporation short of what a steady core needs: the one definition of a limit.

    The air limits when more is required than a skin as wet as it can get gives off, once the skin *is* wet. Where
    sweat is short, the sweat rate limits on a skin that could take more; but when more than ``dripping_onset`` of
    the capacity is required, most of any more sweat would drip, and the air limits again.

    Parameters
    ----------
    required_W : float
        Evaporation that leaves nothing to store [W].
    capacity_W : float
        Evaporation of a fully wet skin [W]; negative where the air gives water to the skin.
    wettedness_limit : float
        Largest wettedness [1]: 0.85 unacclimatised, rising to 1 with heat days.
    dripping_onset : float
        Wettedness [1] below which sweat evaporates almost fully.
    skin_is_wet : bool
        False at the start of a run, when the skin is merely not sweating yet; an instant takes it as True.
    sweat_is_short : bool
        More sweat is needed, dripping included, than the largest sweat rate.

    Returns
    -------
    int
        ``LIMIT_NOTHING``, ``LIMIT_AIR`` or ``LIMIT_SWEAT``.

    References
    ----------
    ISO 7933:2004 (limits of wettedness and of sweat rate); Candas 1979 for the onset of dripping (from memory).

    Examples
    --------
    >>> limit_of_evaporation(600.0, 1000.0, 0.85, 0.7, True, True) == LIMIT_SWEAT
    True
    >>> limit_of_evaporation(800.0, 1000.0, 0.85, 0.7, True, True) == LIMIT_AIR
    True
    """
    if required_W <= 0.0:
        return LIMIT_NOTHING
    if skin_is_wet and required_W > wettedness_limit * max(capacity_W, 0.0):
        return LIMIT_AIR
    if sweat_is_short:
        return LIMIT_AIR if required_W > dripping_onset * capacity_W else LIMIT_SWEAT
    return LIMIT_NOTHING
