"""Evaporation from wet skin, condensation, wettedness and dripping."""

from thermosim._jit import compiled


@compiled
def evaporative_coefficient(convective_W_m2K, lewis_K_kPa, pressure_kPa):
    """Evaporative coefficient [W/m²kPa] from the convective one [W/m²K] by the Lewis relation.

    The relation (16.5 K/kPa at sea level) grows in inverse proportion to barometric pressure.

    References
    ----------
    ASHRAE Handbook Fundamentals, Lewis relation (from memory, high confidence).

    Examples
    --------
    >>> round(evaporative_coefficient(17.91, 16.5, 101.325), 1)
    295.5
    """
    return lewis_K_kPa * convective_W_m2K * (101.325 / pressure_kPa)


@compiled
def latent_heat_of_vaporisation(temperature_C):
    """Latent heat of vaporisation of water [J/kg], valid 0 to 60 °C, within 0.1 % of the reference equation of state.

    Linear fit ``2500.9 - 2.3775 t`` kJ/kg to handbook steam tables.

    Examples
    --------
    >>> round(latent_heat_of_vaporisation(34.0) / 1000.0, 0)
    2420.0
    """
    return 1000.0 * (2500.9 - 2.3775 * temperature_C)


@compiled
def evaporating_share(wettedness, onset, share_when_wet):
    """Share of secreted sweat that does not drip at once [1]: 1 up to an onset, then straight down to full wetness.

    The engine's law. The ledger by hand uses the standard's :func:`dripping_efficiency`.

    References
    ----------
    Candas 1979, J Appl Physiol 46:522 (about 1 below a wettedness of 0.7, 0.67 at 1; from memory).

    Examples
    --------
    >>> evaporating_share(0.5, 0.7, 0.67), round(evaporating_share(1.0, 0.7, 0.67), 2)
    (1.0, 0.67)
    """
    beyond = max(wettedness - onset, 0.0) / (1.0 - onset)
    return 1.0 - (1.0 - share_when_wet) * beyond


@compiled
def dripping_efficiency(wettedness):
    """Share of secreted sweat that evaporates [1] at a skin wettedness [1] from 0 to 1: ``1 - w^2/2``.

    The standard's law, for the ledger of one instant.

    References
    ----------
    ISO 7933:2004, evaporative efficiency of sweating (from memory, high confidence). Candas 1979 measured about
    1 below 0.7 and 0.67 at 1.

    Examples
    --------
    >>> dripping_efficiency(1.0)
    0.5
    """
    return 1.0 - 0.5 * wettedness * wettedness
