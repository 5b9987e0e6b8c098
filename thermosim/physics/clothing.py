"""Clothing as resistances: what a covered patch of skin gives to the air, and how motion thins the layer."""

from thermosim._jit import compiled


@compiled
def motion_factor(own_speed_m_s, static_ratio, reference_speed_m_s):
    """Multiplier [1] on resistances that are given as effective at running speed; speeds in [m/s].

    1 at and above the reference speed, rising in a straight line to ``static_ratio`` at rest: own motion pumps
    and thins clothing layers by 30 to 50 % in walking and more in running.

    References
    ----------
    Nielsen, Olesen & Fanger 1985 (reduction of 30–50 % in walking); straight line is our choice.

    Examples
    --------
    >>> motion_factor(0.0, 2.5, 3.3)
    2.5
    """
    if own_speed_m_s >= reference_speed_m_s:
        return 1.0
    return static_ratio + (1.0 - static_ratio) * own_speed_m_s / reference_speed_m_s


@compiled
def dry_transfer_factor(coefficient_W_m2K, resistance_m2K_W):
    """Share of bare skin's dry exchange that is left under a layer of resistance [m²K/W]: ``1/(1 + h R)``.

    The same factor tells which part of the sun absorbed on the layer's outside reaches the skin.

    Examples
    --------
    >>> round(dry_transfer_factor(22.4, 0.0155), 3)
    0.742
    """
    return 1.0 / (1.0 + coefficient_W_m2K * resistance_m2K_W)


@compiled
def vapour_transfer_factor(coefficient_W_m2kPa, resistance_m2kPa_W):
    """Share of bare skin's evaporation that a layer of vapour resistance [m²kPa/W] leaves: ``1/(1 + h_e R_e)``.

    Examples
    --------
    >>> round(vapour_transfer_factor(295.5, 0.002), 3)
    0.629
    """
    return 1.0 / (1.0 + coefficient_W_m2kPa * resistance_m2kPa_W)
