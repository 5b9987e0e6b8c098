"""Wet cloth without ice: a cloth, cap or sleeves that dry in the air, and the cold towel of a stop."""

import numpy as np

from thermosim.cooling.card import device_kind, shared_by_area
from thermosim.cooling.packs import BELOW, CLOTH_J_KGK, drips, drips_below, soaked_outside
from thermosim.cooling.rows import boundary_row
from thermosim.parameters import Parameter

_NO_SOURCE = "common practice, no source"

WET_CLOTH: dict[str, Parameter] = {
    "water_kg": Parameter(0.12, "kg", 0.01, 0.5, 0.0, f"80 to 200 g; {_NO_SOURCE}", "medium"),
    "water_C": Parameter(24.0, "°C", 0.0, 40.0, 0.0, f"tap in summer; {_NO_SOURCE}", "low"),
    "contact_area_m2": Parameter(0.03, "m2", 0.01, 0.15, 0.004, f"a cloth round the neck; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(50.0, "W/m2K", 10.0, 150.0, 15.0, f"wet cloth on skin; {_NO_SOURCE}", "low"),
    "cloth_kg": Parameter(0.05, "kg", 0.01, 0.2, 0.0, f"dry cloth; {_NO_SOURCE}", "medium"),
    "held_water_kg": Parameter(0.15, "kg", 0.02, 0.5, 0.0, f"before it drips; {_NO_SOURCE}", "low"),
    "cloth_resistance_m2K_W": Parameter(0.005, "m2K/W", 0.001, 0.02, 0.0, "wet cloth", "low"),
    "drip_on_skin": Parameter(0.3, "1", 0.0, 1.0, 0.0, f"share of the drips that runs down the skin; {_NO_SOURCE}", "low"),
}
WET_CAP: dict[str, Parameter] = {
    **WET_CLOTH,
    "contact_area_m2": Parameter(0.05, "m2", 0.01, 0.055, 0.004, f"a cap on the hair; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(
        20.0, "W/m2K", 5.0, 100.0, 5.0, f"wet cap through wet hair, 0.04 m2K/W of 0.03 to 0.10; {_NO_SOURCE}", "low"
    ),
    "cloth_kg": Parameter(0.06, "kg", 0.02, 0.2, 0.0, f"dry cap; {_NO_SOURCE}", "medium"),
}
WET_SLEEVES: dict[str, Parameter] = {
    **WET_CLOTH,
    "water_kg": Parameter(0.15, "kg", 0.02, 0.5, 0.0, f"both arms, wrung out; {_NO_SOURCE}", "medium"),
    "contact_area_m2": Parameter(0.11, "m2", 0.03, 0.15, 0.006, f"sleeves of both arms, 0.10 to 0.12; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(30.0, "W/m2K", 10.0, 150.0, 8.0, f"thin, with air between; {_NO_SOURCE}", "low"),
    "cloth_kg": Parameter(0.08, "kg", 0.02, 0.2, 0.0, f"both dry sleeves; {_NO_SOURCE}", "medium"),
    "held_water_kg": Parameter(0.20, "kg", 0.05, 0.5, 0.0, f"both sleeves before they drip; {_NO_SOURCE}", "low"),
}
COLD_TOWEL: dict[str, Parameter] = {
    "water_kg": Parameter(0.5, "kg", 0.1, 1.5, 0.0, f"300 to 700 g; {_NO_SOURCE}", "medium"),
    "water_C": Parameter(3.0, "°C", 0.0, 25.0, 0.0, f"1 to 5 °C, from the ice box; {_NO_SOURCE}", "medium"),
    "contact_area_m2": Parameter(0.25, "m2", 0.05, 0.45, 0.03, f"0.15 to 0.4; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(50.0, "W/m2K", 20.0, 150.0, 15.0, f"wet towel laid on; {_NO_SOURCE}", "low"),
    "cloth_kg": Parameter(0.20, "kg", 0.05, 0.6, 0.0, f"dry towel; {_NO_SOURCE}", "medium"),
    "held_water_kg": Parameter(0.50, "kg", 0.05, 1.5, 0.0, f"before it drips; {_NO_SOURCE}", "low"),
    "cloth_resistance_m2K_W": Parameter(0.01, "m2K/W", 0.001, 0.05, 0.0, "wet towel", "low"),
    "drip_on_skin": Parameter(0.3, "1", 0.0, 1.0, 0.0, f"share of the drips that runs down the skin; {_NO_SOURCE}", "low"),
}


def _cloth_rows(device, segments, below=None) -> np.ndarray:
    """Return one row a segment of wet cloth: water without ice, soaked through, drying outside.

    ``below`` names where each segment drips, where it is not what hangs below it.
    """
    card, named = device.card, below or {}
    return np.concatenate(
        [
            boundary_row(
                segment,
                area_m2=share * device.contact_area_m2,
                contact_W_m2K=device.contact_conductance_W_m2K,
                charge_kg=share * device.water_kg,
                charge_C=device.water_C,
                ice_share=0.0,
                dry_J_K=share * card["cloth_kg"].value * CLOTH_J_KGK,
                dry_mass_kg=share * card["cloth_kg"].value,
                hold_kg=share * max(card["held_water_kg"].value, device.water_kg),
                **_drips_of(segment, named.get(segment), card["drip_on_skin"].value),
                **soaked_outside(share * device.contact_area_m2, card["cloth_resistance_m2K_W"].value),
            )
            for segment, share in shared_by_area(segments)
        ]
    )


def _drips_of(segment: str, named: tuple[str, str] | None, on_skin: float) -> dict:
    return drips_below(segment, on_skin) if named is None else drips(named, on_skin)


@device_kind(WET_CLOTH)
class WetCloth:
    """A wet cloth, round the neck unless other places are named; it cools as long as it can dry.

    Parameters
    ----------
    water_kg, water_C : float
        Water in it when put on [kg], [°C]; wet again at each refill.
    contact_area_m2, contact_conductance_W_m2K : float
        Skin under it [m²] and contact [W/m²K].
    segments : tuple of str
        Where it lies, shared by area.
    """

    water_kg: float
    water_C: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    segments: tuple[str, ...] = ("neck",)
    name: str = "wet_cloth"

    def rows(self) -> np.ndarray:
        """Return one row a segment."""
        return _cloth_rows(self, self.segments)


@device_kind(WET_CAP)
class WetCap:
    """A wet cap: it shades the scalp, drinks its sweat and dries outside; hair lies between.

    Parameters
    ----------
    water_kg, water_C : float
        Water in it when put on [kg], [°C].
    contact_area_m2, contact_conductance_W_m2K : float
        Scalp under it [m²] and contact through the hair [W/m²K].
    """

    water_kg: float
    water_C: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    name: str = "wet_cap"

    def rows(self) -> np.ndarray:
        """Return the one row on the head."""
        return _cloth_rows(self, ("head",))


@device_kind(WET_SLEEVES)
class WetSleeves:
    """Wet arm sleeves: they shade the arms, drink their sweat and dry outside.

    Parameters
    ----------
    water_kg, water_C : float
        Water in both sleeves when put on [kg], [°C]; wet again at each refill.
    contact_area_m2, contact_conductance_W_m2K : float
        Both arms together [m²], upper arms and forearms by their area; contact [W/m²K].
    """

    water_kg: float
    water_C: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    name: str = "wet_sleeves"

    def rows(self) -> np.ndarray:
        """Return one row each on upper arms and forearms."""
        return _cloth_rows(self, ("upper_arms", "forearms"), dict.fromkeys(("upper_arms", "forearms"), ("forearms", "hands")))


@device_kind(COLD_TOWEL)
class ColdTowel:
    """A cold wet towel laid over neck, chest and back at a stop; swap it when it is warm.

    Parameters
    ----------
    water_kg, water_C : float
        Water in the towel [kg], [°C].
    contact_area_m2, contact_conductance_W_m2K : float
        Skin under it [m²] and contact [W/m²K].
    segments : tuple of str
        Where it lies, shared by area.

    Notes
    -----
    It is cold for a minute or two: the heat it takes is what its water takes while it warms.
    """

    water_kg: float
    water_C: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    segments: tuple[str, ...] = ("neck", "chest", "back")
    name: str = "cold_towel"

    def rows(self) -> np.ndarray:
        """Return one row a segment."""
        return _cloth_rows(self, self.segments, dict.fromkeys(("chest", "back"), BELOW["neck"]))
