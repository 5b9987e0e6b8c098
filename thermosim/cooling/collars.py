"""The ice collar: a cloth tube of crushed ice round the neck, bare (wet cloth outside) or under a vapour-tight cover."""

import numpy as np

from thermosim.constants import SPECIFIC_HEAT_WATER
from thermosim.cooling.card import device_kind
from thermosim.cooling.device import Worn
from thermosim.cooling.rows import boundary_row
from thermosim.parameters import Parameter

# The card of the device: value, unit, range, spread, source, confidence.
CARD: dict[str, Parameter] = {
    "ice_kg": Parameter(0.25, "kg", 0.05, 0.60, 0.0, "150 to 400 g; common practice, no source", "medium"),
    "charge_C": Parameter(0.0, "°C", 0.0, 38.0, 0.0, "ice; warmer is what a spent collar holds", "high"),
    "contact_area_m2": Parameter(
        0.025, "m2", 0.010, 0.035, 0.003, "0.015 to 0.03; common practice, no source", "medium"
    ),
    "contact_conductance_W_m2K": Parameter(
        60.0, "W/m2K", 20.0, 150.0, 15.0, "40 to 120 through wet cloth; common practice, no source", "low"
    ),
    "cover_resistance_m2K_W": Parameter(
        0.08, "m2K/W", 0.02, 0.30, 0.01, "some millimetres of foam or fleece", "low"
    ),
    "cloth_resistance_m2K_W": Parameter(
        0.005, "m2K/W", 0.001, 0.02, 0.0, "wet cloth between ice and air", "low"
    ),
    "cloth_kg": Parameter(0.04, "kg", 0.01, 0.3, 0.0, "dry cloth tube", "medium"),
    "cover_kg": Parameter(0.04, "kg", 0.01, 0.3, 0.0, "cover", "medium"),
    "held_water_kg": Parameter(
        0.10, "kg", 0.0, 0.5, 0.02, "water that cloth and slush hold before they drip", "low"
    ),
    "drip_on_skin": Parameter(
        0.3, "1", 0.0, 1.0, 0.0, "share of the drips that runs down chest and back", "low"
    ),
    "cloth_heat_J_kgK": Parameter(1400.0, "J/kgK", 1200.0, 1700.0, 0.0, "dry textile; handbook", "high"),
    "wet_outer_layer_kg_m2": Parameter(
        0.65, "kg/m2", 0.3, 1.5, 0.0, "wet cloth and slush that follow the outer side", "low"
    ),
    "dew_on_cover_kg_m2": Parameter(
        0.2, "kg/m2", 0.05, 0.5, 0.0, "dew that a cover holds before it drips; common practice, no source", "low"
    ),
    "wet_cloth_kg": Parameter(
        0.02, "kg", 0.005, 0.05, 0.0, "water left below which wet cloth begins to dry; no source", "low"
    ),
    "solar_absorptance": Parameter(0.6, "1", 0.3, 0.9, 0.0, "mid-coloured cloth", "medium"),
}


@device_kind(CARD)
class IceCollar:
    """Crushed ice in a cloth tube on the neck.

    Parameters
    ----------
    ice_kg : float
        Ice at 0 °C loaded [kg].
    covered : bool
        True: insulated, vapour-tight outer side; melt water stays inside up to ``held_water_kg``. False: wet cloth
        outside, which takes up dew and gives off vapour, and goes on as wet cloth when the ice is gone.
    charge_C : float
        Temperature of the filling when put on [°C]: 0 is ice, warmer is water (a spent collar left on).
    contact_area_m2, contact_conductance_W_m2K : float
        Contact with the skin of the neck, cloth layer included.
    held_water_kg : float
        Melt water held before it drips [kg].
    cover_resistance_m2K_W : float
        Insulation of the cover [m²K/W].

    Notes
    -----
    Cloth must lie between ice and skin; nothing may press on the front of the neck.
    """

    ice_kg: float
    covered: bool = True
    charge_C: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    held_water_kg: float
    cover_resistance_m2K_W: float
    name: str = "ice_collar"

    def rows(self) -> np.ndarray:
        """Return the one row of the boundary table that this collar is."""
        area = self.contact_area_m2
        wet_layer = CARD["wet_outer_layer_kg_m2"].value * area * SPECIFIC_HEAT_WATER
        cover = CARD["cover_kg"].value * CARD["cloth_heat_J_kgK"].value
        cloth, dew_kg = CARD["cloth_kg"].value, CARD["dew_on_cover_kg_m2"].value * area
        return boundary_row(
            "neck",
            area_m2=area,
            contact_W_m2K=self.contact_conductance_W_m2K,
            charge_kg=self.ice_kg,
            charge_C=self.charge_C,
            dry_J_K=cloth * CARD["cloth_heat_J_kgK"].value,
            dry_mass_kg=cloth + (CARD["cover_kg"].value if self.covered else 0.0),
            hold_kg=self.held_water_kg,
            drip_on_skin=CARD["drip_on_skin"].value,
            outer_conductance_W_m2K=1.0
            / (self.cover_resistance_m2K_W if self.covered else CARD["cloth_resistance_m2K_W"].value),
            outer_J_K=cover if self.covered else wet_layer,
            outer_absorptance=CARD["solar_absorptance"].value,
            wicks=0 if self.covered else 1,
            outer_wet_kg=dew_kg if self.covered else CARD["wet_cloth_kg"].value,
            outer_hold_kg=dew_kg,
        )


def ice_collar(
    ice_kg=CARD["ice_kg"].value, covered=True, *, from_min=0.0, to_min=None, refill_min=(), **fields
) -> Worn:
    """Return an ice collar and when it is worn; see :class:`IceCollar` for the fields."""
    return Worn(IceCollar(ice_kg=ice_kg, covered=covered, **fields), from_min, to_min, tuple(refill_min))
