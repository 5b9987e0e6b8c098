"""Heat and water lost by breathing."""

from thermosim._jit import compiled


@compiled
def respiratory_vapour_loss(metabolic_W, vapour_pressure_kPa):
    """Latent heat lost by breathing [W], proportional to metabolic power [W].

    ``0.0173 M (5.87 - p_a)``; ``p_a`` in kPa. Published for -5 to 45 °C air at sea level.

    References
    ----------
    ASHRAE Handbook Fundamentals, respiratory losses; Fanger 1970 (from memory, high confidence).

    Examples
    --------
    >>> round(respiratory_vapour_loss(857.9, 2.12), 1)
    55.7
    """
    return 0.0173 * metabolic_W * (5.87 - vapour_pressure_kPa)


@compiled
def respiratory_dry_loss(metabolic_W, air_temperature_C):
    """Sensible heat lost by breathing [W]: ``0.0014 M (34 - T_a)``.

    References
    ----------
    ASHRAE Handbook Fundamentals, respiratory losses (from memory, high confidence).

    Examples
    --------
    >>> round(respiratory_dry_loss(857.9, 30.0), 1)
    4.8
    """
    return 0.0014 * metabolic_W * (34.0 - air_temperature_C)
