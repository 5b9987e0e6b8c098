"""Stores of cold: enthalpy of a melting charge of water or of another phase-change filling.

The zero of enthalpy is *just fully melted* (for water: liquid at 0 °C); what is still frozen counts negative.
"""

from thermosim._jit import compiled


@compiled
def frozen_mass(enthalpy_J, latent_J_kg, charge_kg):
    """Mass still frozen [kg] in a charge [kg] of given enthalpy [J].

    Examples
    --------
    >>> frozen_mass(-33400.0, 334000.0, 0.25)
    0.1
    """
    if enthalpy_J >= 0.0:
        return 0.0
    if -enthalpy_J >= latent_J_kg * charge_kg:  # also where nothing melts (no latent heat)
        return charge_kg
    return -enthalpy_J / latent_J_kg


@compiled
def store_temperature(
    enthalpy_J, charge_kg, melt_low_C, melt_high_C, latent_J_kg, solid_J_kgK, liquid_J_kgK, dry_J_K
):
    """Temperature of a cold store [°C] from its enthalpy [J].

    Below ``-charge * latent`` the filling is solid and warms; between that and zero it melts, its temperature
    rising in a straight line from ``melt_low_C`` to ``melt_high_C`` (equal for ice); above zero it is liquid.
    ``dry_J_K`` is the heat capacity of the dry cloth or cover, counted in the solid and liquid branches.

    Examples
    --------
    >>> store_temperature(-1.0, 0.25, 0.0, 0.0, 334000.0, 2100.0, 4186.0, 50.0)
    0.0
    """
    melting = charge_kg * latent_J_kg
    if enthalpy_J >= 0.0:
        return melt_high_C + enthalpy_J / (charge_kg * liquid_J_kgK + dry_J_K)
    if enthalpy_J <= -melting:
        return melt_low_C + (enthalpy_J + melting) / (charge_kg * solid_J_kgK + dry_J_K)
    return melt_high_C + (melt_high_C - melt_low_C) * enthalpy_J / melting
