"""Cold stores held against the skin: sealed collar, iced cap, vest, pockets, ice in the hands, iced sleeves."""

import numpy as np

from thermosim.constants import SPECIFIC_HEAT_WATER
from thermosim.cooling.card import device_kind, shared_by_area
from thermosim.cooling.rows import WET_CLOTH_J_M2K, boundary_row
from thermosim.parameters import SEGMENTS, Parameter

_NO_SOURCE = "common practice, no source"
CLOTH_J_KGK = 1400.0  # heat capacity of dry textile; handbook
_OUTER_SKIN_J_M2K = 1500.0  # of a dry cover or film with what follows it, per outer area
# What hangs directly below, half of the drips each; ice at the waist wets the belly under it too. None: to the ground.
BELOW: dict[str, tuple[str, str] | None] = {
    "head": ("face", "neck"), "face": ("neck", "chest"), "neck": ("chest", "back"),
    "chest": ("abdomen", "abdomen"), "back": ("abdomen", "abdomen"), "abdomen": ("abdomen", "thighs"),
    "upper_arms": ("forearms", "forearms"), "forearms": ("hands", "hands"), "hands": None,
    "thighs": ("lower_legs", "lower_legs"), "lower_legs": ("feet", "feet"), "feet": None,
}  # fmt: skip

PHASE_CHANGE_COLLAR: dict[str, Parameter] = {
    "filling_kg": Parameter(0.30, "kg", 0.1, 0.6, 0.0, f"200 to 400 g; {_NO_SOURCE}", "medium"),
    "melt_C": Parameter(15.0, "°C", 5.0, 32.0, 0.0, f"salt hydrates and paraffins of 10 to 20 °C; {_NO_SOURCE}", "medium"),
    "melting_range_K": Parameter(1.0, "K", 0.0, 6.0, 0.0, "from first to last melting; handbook of materials", "low"),
    "latent_J_kg": Parameter(190e3, "J/kg", 100e3, 280e3, 10e3, "170 to 210 kJ/kg; handbook of materials", "medium"),
    "charge_C": Parameter(8.0, "°C", 0.0, 30.0, 0.0, f"from a cold box; {_NO_SOURCE}", "low"),
    "contact_area_m2": Parameter(0.025, "m2", 0.010, 0.035, 0.003, f"0.015 to 0.03; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(
        40.0, "W/m2K", 15.0, 120.0, 10.0, f"film, dry cloth and a filling that stays solid at the wall; {_NO_SOURCE}", "low"
    ),
    "cover_resistance_m2K_W": Parameter(0.08, "m2K/W", 0.01, 0.30, 0.02, "some millimetres of foam or fleece", "low"),
    "case_kg": Parameter(0.08, "kg", 0.02, 0.3, 0.0, f"film and cover; {_NO_SOURCE}", "medium"),
}
ICED_CAP: dict[str, Parameter] = {
    "ice_kg": Parameter(0.15, "kg", 0.02, 0.50, 0.0, f"100 to 250 g; {_NO_SOURCE}", "medium"),
    "contact_area_m2": Parameter(0.045, "m2", 0.01, 0.055, 0.005, f"0.03 to 0.06; {_NO_SOURCE}", "medium"),
    "hair_resistance_m2K_W": Parameter(0.05, "m2K/W", 0.0, 0.20, 0.015, f"0.03 to 0.10; {_NO_SOURCE}", "low"),
    "contact_conductance_W_m2K": Parameter(100.0, "W/m2K", 30.0, 200.0, 20.0, f"wet ice on hair or scalp; {_NO_SOURCE}", "low"),
    "cap_resistance_m2K_W": Parameter(0.02, "m2K/W", 0.003, 0.10, 0.005, "cloth of the cap, wet inside", "low"),
    "held_water_kg": Parameter(0.05, "kg", 0.0, 0.2, 0.0, f"what hair and cap hold before it drips; {_NO_SOURCE}", "low"),
    "cloth_kg": Parameter(0.06, "kg", 0.02, 0.2, 0.0, f"dry cap; {_NO_SOURCE}", "medium"),
    "drip_on_skin": Parameter(0.5, "1", 0.0, 1.0, 0.0, f"share of the drips that runs over face and neck; {_NO_SOURCE}", "low"),
}
ICE_VEST: dict[str, Parameter] = {
    "filling_kg": Parameter(1.5, "kg", 0.3, 4.0, 0.0, f"1 to 2.5 kg; {_NO_SOURCE}", "medium"),
    "melt_C": Parameter(0.0, "°C", 0.0, 34.0, 0.0, "water ice; other fillings melt warmer", "high"),
    "latent_J_kg": Parameter(334e3, "J/kg", 100e3, 334e3, 0.0, "water ice; handbook", "high"),
    "contact_area_m2": Parameter(0.28, "m2", 0.05, 0.40, 0.03, f"0.2 to 0.35; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(
        12.0, "W/m2K", 4.0, 80.0, 3.0, "through a shirt; 69 W at rest over clothing (House 2013) makes about 10", "low"
    ),
    "cover_resistance_m2K_W": Parameter(0.10, "m2K/W", 0.01, 0.40, 0.02, f"outer foam; {_NO_SOURCE}", "low"),
    "case_kg": Parameter(0.5, "kg", 0.1, 2.0, 0.0, f"vest without its filling; {_NO_SOURCE}", "medium"),
}
ICE_POCKETS: dict[str, Parameter] = {
    "ice_kg": Parameter(0.20, "kg", 0.05, 0.60, 0.0, f"100 to 300 g; {_NO_SOURCE}", "medium"),
    "contact_area_m2": Parameter(0.02, "m2", 0.005, 0.05, 0.003, f"0.01 to 0.03; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(35.0, "W/m2K", 10.0, 100.0, 8.0, f"through damp kit; {_NO_SOURCE}", "low"),
    "outer_resistance_m2K_W": Parameter(0.02, "m2K/W", 0.003, 0.10, 0.005, f"one layer of kit; {_NO_SOURCE}", "low"),
    "held_water_kg": Parameter(0.03, "kg", 0.0, 0.2, 0.0, f"damp kit before it drips; {_NO_SOURCE}", "low"),
    "cloth_kg": Parameter(0.02, "kg", 0.005, 0.1, 0.0, f"kit that is damp with it, each place; {_NO_SOURCE}", "low"),
    "drip_on_skin": Parameter(0.5, "1", 0.0, 1.0, 0.0, f"share of the drips that runs down the skin; {_NO_SOURCE}", "low"),
}
ICE_IN_HAND: dict[str, Parameter] = {
    "ice_kg": Parameter(0.20, "kg", 0.03, 0.60, 0.0, f"each hand; a fistful, or a frozen bottle; {_NO_SOURCE}", "medium"),
    "contact_area_m2": Parameter(0.015, "m2", 0.005, 0.02, 0.002, f"each hand, 0.01 to 0.02; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(50.0, "W/m2K", 10.0, 150.0, 12.0, f"palm, film between; {_NO_SOURCE}", "low"),
    "held_water_kg": Parameter(0.02, "kg", 0.0, 1.0, 0.0, f"before it drips; a bottle keeps all; {_NO_SOURCE}", "low"),
}
ICED_SLEEVES: dict[str, Parameter] = {
    "ice_kg": Parameter(0.3, "kg", 0.05, 0.8, 0.0, f"both arms, 200 to 400 g; {_NO_SOURCE}", "medium"),
    "contact_area_m2": Parameter(0.11, "m2", 0.03, 0.15, 0.006, f"sleeves of both arms, 0.10 to 0.12; {_NO_SOURCE}", "medium"),
    "contact_conductance_W_m2K": Parameter(
        12.0, "W/m2K", 3.0, 60.0, 3.0, f"ice in pockets, over the whole sleeve; {_NO_SOURCE}", "low"
    ),
    "cloth_kg": Parameter(0.10, "kg", 0.02, 0.3, 0.0, f"both dry sleeves; {_NO_SOURCE}", "medium"),
    "held_water_kg": Parameter(0.20, "kg", 0.05, 0.5, 0.0, f"both sleeves before they drip; {_NO_SOURCE}", "low"),
    "cloth_resistance_m2K_W": Parameter(0.02, "m2K/W", 0.001, 0.10, 0.0, "cloth of the pockets, wet", "low"),
    "drip_on_skin": Parameter(0.3, "1", 0.0, 1.0, 0.0, f"share of the drips that runs over the arms; {_NO_SOURCE}", "low"),
}


@device_kind(PHASE_CHANGE_COLLAR)
class PhaseChangeCollar:
    """A sealed collar whose filling melts well above 0 °C: no drip, hardly any dew, milder for the skin.

    Parameters
    ----------
    filling_kg : float
        Filling [kg], frozen through when it is put on.
    melt_C, melting_range_K, latent_J_kg : float
        Where the filling begins to melt [°C], over how many kelvin it melts [K], heat of melting [J/kg].
    charge_C : float
        Temperature when put on [°C]; warmer than ``melt_C`` it is melted already.
    contact_area_m2, contact_conductance_W_m2K, cover_resistance_m2K_W : float
        Contact with the skin of the neck [m²], [W/m²K]; insulation outside [m²K/W].
    """

    filling_kg: float
    melt_C: float
    melting_range_K: float
    latent_J_kg: float
    charge_C: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    cover_resistance_m2K_W: float
    case_kg: float
    name: str = "phase_change_collar"

    def rows(self) -> np.ndarray:
        """Return the one row on the neck."""
        return boundary_row(
            "neck",
            area_m2=self.contact_area_m2,
            contact_W_m2K=self.contact_conductance_W_m2K,
            outer_conductance_W_m2K=1.0 / self.cover_resistance_m2K_W,
            **sealed(self.filling_kg, self.melt_C, self.latent_J_kg, self.charge_C, self.melting_range_K),
            **dry_outside(self.contact_area_m2, self.case_kg),
        )


@device_kind(ICED_CAP)
class IcedCap:
    """Crushed ice under a cloth cap: rapid melt, through hair; melt water runs over face and neck.

    Parameters
    ----------
    ice_kg : float
        Ice at 0 °C [kg].
    contact_area_m2, contact_conductance_W_m2K, hair_resistance_m2K_W : float
        Scalp under ice [m²], conductance of the contact [W/m²K], insulation of the hair [m²K/W].
    cap_resistance_m2K_W : float
        Cloth outside [m²K/W]; it soaks, takes up dew and dries.
    held_water_kg : float
        Water that hair and cap hold before it drips [kg].

    Notes
    -----
    Scalp under it is in the shade of the cap and cannot give off its sweat; that soaks into the cap.
    """

    ice_kg: float
    contact_area_m2: float
    hair_resistance_m2K_W: float
    contact_conductance_W_m2K: float
    cap_resistance_m2K_W: float
    held_water_kg: float
    name: str = "iced_cap"

    def rows(self) -> np.ndarray:
        """Return the one row on the head."""
        return boundary_row(
            "head",
            area_m2=self.contact_area_m2,
            contact_W_m2K=1.0 / (1.0 / self.contact_conductance_W_m2K + self.hair_resistance_m2K_W),
            charge_kg=self.ice_kg,
            dry_J_K=ICED_CAP["cloth_kg"].value * CLOTH_J_KGK,
            dry_mass_kg=ICED_CAP["cloth_kg"].value,
            hold_kg=self.held_water_kg,
            **drips_below("head", ICED_CAP["drip_on_skin"].value),
            **soaked_outside(self.contact_area_m2, self.cap_resistance_m2K_W),
        )


@device_kind(ICE_VEST)
class IceVest:
    """A vest with sealed packs on chest, back and belly.

    Parameters
    ----------
    filling_kg : float
        Filling of all packs [kg].
    melt_C, latent_J_kg : float
        Melting point [°C] and heat of melting [J/kg]; water ice unless given.
    contact_area_m2, contact_conductance_W_m2K : float
        Skin under packs [m²], of which 45 % each on chest and back; conductance through the shirt [W/m²K].
    cover_resistance_m2K_W, case_kg : float
        Insulation outside [m²K/W], mass of the empty vest [kg].

    Notes
    -----
    It blocks the evaporation under it and is carried: worn running, what it costs may exceed what it takes.
    """

    filling_kg: float
    melt_C: float
    latent_J_kg: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    cover_resistance_m2K_W: float
    case_kg: float
    name: str = "ice_vest"

    def rows(self) -> np.ndarray:
        """Return one row each on chest, back and abdomen."""
        charge_C = max(self.melt_C - 5.0, 0.0) if self.melt_C > 0.0 else 0.0
        shares = {"chest": 0.45, "back": 0.45, "abdomen": 0.10}
        return np.concatenate(
            [
                boundary_row(
                    segment,
                    area_m2=share * self.contact_area_m2,
                    contact_W_m2K=self.contact_conductance_W_m2K,
                    outer_conductance_W_m2K=1.0 / self.cover_resistance_m2K_W,
                    **sealed(share * self.filling_kg, self.melt_C, self.latent_J_kg, charge_C),
                    **dry_outside(share * self.contact_area_m2, share * self.case_kg),
                )
                for segment, share in shares.items()
            ]
        )


@device_kind(ICE_POCKETS)
class IcePockets:
    """Ice in pockets of the kit, at the waist, on the thighs or down the top; melt water runs off and wets.

    Parameters
    ----------
    ice_kg : float
        Ice at 0 °C in all places together [kg].
    contact_area_m2, contact_conductance_W_m2K : float
        Skin under ice, all places together [m²], conductance through damp kit [W/m²K].
    outer_resistance_m2K_W, held_water_kg : float
        Layer of kit outside [m²K/W], water held before it drips [kg].
    segments : tuple of str
        Where it lies, one row each.
    """

    ice_kg: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    outer_resistance_m2K_W: float
    held_water_kg: float
    segments: tuple[str, ...] = ("abdomen",)
    name: str = "ice_pockets"

    def rows(self) -> np.ndarray:
        """Return one row a place."""
        return np.concatenate(
            [
                boundary_row(
                    segment,
                    area_m2=share * self.contact_area_m2,
                    contact_W_m2K=self.contact_conductance_W_m2K,
                    charge_kg=share * self.ice_kg,
                    dry_J_K=ICE_POCKETS["cloth_kg"].value * CLOTH_J_KGK,
                    dry_mass_kg=ICE_POCKETS["cloth_kg"].value,
                    hold_kg=share * self.held_water_kg,
                    **drips_below(segment, ICE_POCKETS["drip_on_skin"].value),
                    **soaked_outside(share * self.contact_area_m2, self.outer_resistance_m2K_W),
                )
                for segment, share in shared_by_area(self.segments)
            ]
        )


@device_kind(ICE_IN_HAND, hands=(1, 2))
class IceInHand:
    """Ice, or a frozen bottle, carried in one or both hands.

    Parameters
    ----------
    ice_kg, contact_area_m2 : float
        Ice [kg] and palm under it [m²] of each hand.
    contact_conductance_W_m2K, held_water_kg : float
        Conductance of the contact [W/m²K], water held before it drips [kg]: a bottle keeps all of it.
    hands : int
        1 or 2.
    """

    ice_kg: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    held_water_kg: float
    hands: int = 2
    name: str = "ice_in_hand"

    def rows(self) -> np.ndarray:
        """Return the one row on the hands."""
        area = self.hands * self.contact_area_m2
        return boundary_row(
            "hands",
            area_m2=area,
            contact_W_m2K=self.contact_conductance_W_m2K,
            charge_kg=self.hands * self.ice_kg,
            dry_J_K=5.0,
            hold_kg=self.hands * self.held_water_kg,
            outer_conductance_W_m2K=100.0,
            outer_J_K=WET_CLOTH_J_M2K * area,
            outer_absorptance=0.3,
            outer_wet_kg=0.01 * self.hands,
            outer_hold_kg=0.01 * self.hands,
            **drips(("hands", "hands"), 0.0),
        )


@device_kind(ICED_SLEEVES)
class IcedSleeves:
    """Arm sleeves with ice in pockets: they shade the arms, drink sweat and melt water and dry outside.

    Parameters
    ----------
    ice_kg : float
        Ice at 0 °C in both sleeves [kg].
    contact_area_m2, contact_conductance_W_m2K : float
        Both arms together [m²], upper arms and forearms by their area; conductance over the whole sleeve [W/m²K].
    """

    ice_kg: float
    contact_area_m2: float
    contact_conductance_W_m2K: float
    name: str = "iced_sleeves"

    def rows(self) -> np.ndarray:
        """Return one row each on upper arms and forearms."""
        cloth_kg = ICED_SLEEVES["cloth_kg"].value
        return np.concatenate(
            [
                boundary_row(
                    segment,
                    area_m2=share * self.contact_area_m2,
                    contact_W_m2K=self.contact_conductance_W_m2K,
                    charge_kg=share * self.ice_kg,
                    dry_J_K=share * cloth_kg * CLOTH_J_KGK,
                    dry_mass_kg=share * cloth_kg,
                    hold_kg=share * ICED_SLEEVES["held_water_kg"].value,
                    **drips(("forearms", "hands"), ICED_SLEEVES["drip_on_skin"].value),
                    **soaked_outside(share * self.contact_area_m2, ICED_SLEEVES["cloth_resistance_m2K_W"].value),
                )
                for segment, share in shared_by_area(("upper_arms", "forearms"))
            ]
        )


def sealed(filling_kg: float, melt_C: float, latent_J_kg: float, charge_C: float, range_K: float = 0.0) -> dict:
    """Return the fields of a store that keeps its filling: water ice at 0 °C, else a phase-change material."""
    ice = melt_C == 0.0
    return {
        "charge_kg": filling_kg,
        "charge_C": charge_C,
        "melt_low_C": melt_C,
        "melt_high_C": melt_C + range_K,
        "latent_J_kg": latent_J_kg,
        "solid_J_kgK": 2100.0 if ice else 2000.0,
        "liquid_J_kgK": SPECIFIC_HEAT_WATER if ice else 2100.0,
    }


def dry_outside(area_m2: float, case_kg: float) -> dict:
    """Return the fields of a vapour-tight outer side with its own little dew, and of the dry case."""
    return {
        "dry_mass_kg": case_kg,
        "dry_J_K": 0.5 * case_kg * CLOTH_J_KGK,
        "outer_J_K": _OUTER_SKIN_J_M2K * area_m2,
        "outer_absorptance": 0.6,
        "outer_wet_kg": 0.2 * area_m2,
        "outer_hold_kg": 0.2 * area_m2,
    }


def soaked_outside(area_m2: float, resistance_m2K_W: float) -> dict:
    """Return the fields of an outer side of cloth that soaks up melt water and sweat and dries into the air."""
    return {
        "wicks": 1,
        "outer_conductance_W_m2K": 1.0 / resistance_m2K_W,
        "outer_J_K": WET_CLOTH_J_M2K * area_m2,
        "outer_absorptance": 0.6,
        "outer_wet_kg": 0.3 * area_m2,
        "outer_hold_kg": 0.3 * area_m2,
    }


def drips(segments: tuple[str, str], on_skin: float) -> dict:
    """Return the fields that say on which skin the drips land, half each, and what share of them stays."""
    first, second = (SEGMENTS.index(name) for name in segments)
    return {"drip_segment_1": first, "drip_segment_2": second, "drip_on_skin": on_skin}


def drips_below(segment: str, on_skin: float) -> dict:
    """Return the fields of drips that run to what hangs below ``segment``; from hands and feet all falls to the ground."""
    below = BELOW[segment]
    return drips((segment, segment), 0.0) if below is None else drips(below, on_skin)
