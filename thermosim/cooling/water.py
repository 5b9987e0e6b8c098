"""Water that cools without being worn: drinks and slurry, water poured or pressed on the skin, dips and baths."""

import dataclasses

import numpy as np

from thermosim.constants import LATENT_HEAT_FUSION
from thermosim.cooling.card import check_number, device_kind, segments_of, shared_by_area
from thermosim.cooling.rows import boundary_row
from thermosim.engine.records import BATH, IN_STOMACH, POURED
from thermosim.errors import InputError
from thermosim.parameters import SEGMENTS, Parameter, value

TO_THE_NECK = tuple(name for name in SEGMENTS if name not in ("head", "face", "neck"))
_WALL_M2 = 0.05  # area that the stomach's conductance is spread over; only the product counts
_SMALL_J_K = 1.0
_NO_SOURCE = "common practice, no source"

COLD_DRINK: dict[str, Parameter] = {
    "portion_kg": Parameter(0.2, "kg", 0.001, 2.0, 0.0, f"0.4 to 1.0 L/h in portions; {_NO_SOURCE}", "medium"),
    "temperature_C": Parameter(5.0, "°C", -5.0, 60.0, 0.0, f"3 to 10 °C from an ice box; {_NO_SOURCE}", "medium"),
    "ice_share": Parameter(0.0, "1", 0.0, 1.0, 0.0, "water", "high"),
}
ICE_SLURRY: dict[str, Parameter] = {
    "portion_kg": Parameter(0.49, "kg", 0.001, 2.0, 0.0, "7.5 g/kg for 65 kg; Siegel 2010", "high"),
    "temperature_C": Parameter(-1.0, "°C", -5.0, 0.0, 0.0, "Siegel 2010", "high"),
    "ice_share": Parameter(0.6, "1", 0.0, 1.0, 0.05, f"50 to 70 %; {_NO_SOURCE}", "medium"),
}
POUR_OVER: dict[str, Parameter] = {
    "mass_kg": Parameter(0.5, "kg", 0.005, 10.0, 0.0, f"300 to 700 mL; {_NO_SOURCE}", "medium"),
    "temperature_C": Parameter(15.0, "°C", 0.0, 60.0, 0.0, f"5 °C from an ice box to 25 °C from a tap; {_NO_SOURCE}", "low"),
}
SPONGE: dict[str, Parameter] = {
    "mass_kg": Parameter(0.08, "kg", 0.005, 0.5, 0.0, f"50 to 120 g; {_NO_SOURCE}", "medium"),
    "temperature_C": Parameter(10.0, "°C", 0.0, 60.0, 0.0, f"from a tub with ice; {_NO_SOURCE}", "low"),
}
HAND_DIP: dict[str, Parameter] = {
    "temperature_C": Parameter(12.0, "°C", 5.0, 40.0, 0.0, f"10 to 18 °C; colder closes the vessels; {_NO_SOURCE}", "medium"),
    "forearm_share": Parameter(1.0, "1", 0.0, 1.0, 0.0, "share of the forearms under water; 0 is hands only", "high"),
    "contact_W_m2K": Parameter(150.0, "W/m2K", 50.0, 500.0, 30.0, "moving water on a still hand; estimate", "low"),
}
IMMERSION: dict[str, Parameter] = {
    "temperature_C": Parameter(10.0, "°C", 0.0, 40.0, 0.0, "2 to 15 °C, stirred; treatment only", "high"),
    "contact_W_m2K": Parameter(200.0, "W/m2K", 10.0, 1000.0, 40.0, "stirred water; estimate", "low"),
}


def _row(place: int, segment: str, **fields) -> np.ndarray:
    row = boundary_row(segment, area_m2=_WALL_M2, outer_area_m2=0.0, outer_J_K=1.0, dry_J_K=_SMALL_J_K, **fields)
    row["place"] = place
    return row


@dataclasses.dataclass(frozen=True)
class Drink:
    """A portion of water or ice slurry; drunk at ``from_min`` and again at each ``refill_min`` of :class:`Worn`.

    Parameters
    ----------
    portion_kg : float
        Mass of one portion [kg].
    temperature_C : float
        Its temperature [°C].
    ice_share : float
        Share of the mass that is ice [1]; needs a temperature of 0 °C or less.
    stomach_conductance_W_K : float, optional
        Between a filled stomach and the body [W/K]; the parameter table's value if left out.
    guarded : bool
        A portion is cut where it would leave more in the stomach than ``stomach_ceiling_kg``, or more than the body has lost.
    stomach_ceiling_kg : float, optional
        Of a guarded drink [kg]; the parameter table's value if left out.
    """

    portion_kg: float = COLD_DRINK["portion_kg"].value
    temperature_C: float = COLD_DRINK["temperature_C"].value
    ice_share: float = COLD_DRINK["ice_share"].value
    stomach_conductance_W_K: float | None = None
    guarded: bool = False
    stomach_ceiling_kg: float | None = None
    name: str = "drink"

    card = COLD_DRINK

    def __post_init__(self):
        """Refuse amounts that cannot be drunk at once, and ice where there can be none."""
        check_number("portion_kg", self.portion_kg, low=0.001, high=2.0, unit="kg")
        check_number("temperature_C", self.temperature_C, low=-5.0, high=60.0, unit="°C")
        check_number("ice_share", self.ice_share, low=0.0, high=1.0)
        check_number("stomach_conductance_W_K", self.stomach_conductance_W_K, optional=True, low=0.1, high=100.0)
        check_number("stomach_ceiling_kg", self.stomach_ceiling_kg, optional=True, low=0.05, high=2.0, unit="kg")
        if not isinstance(self.guarded, bool | np.bool_):
            raise InputError(f"is {self.guarded!r}, allowed is true or false", field="guarded", remedy="write true or false")
        if self.stomach_ceiling_kg is not None and not self.guarded:
            raise InputError("is given for a drink that is not guarded", field="stomach_ceiling_kg", remedy="add guarded = true")
        if self.ice_share > 0.0 and self.temperature_C > 0.0:
            raise InputError(
                f"is {self.ice_share:g} at {self.temperature_C:g} °C, allowed above 0 °C is 0",
                field="ice_share",
                remedy="give slurry a temperature of 0 °C or less",
            )

    def rows(self) -> np.ndarray:
        """Return the one row in the stomach."""
        conductance = self.stomach_conductance_W_K
        if conductance is None:
            conductance = value("stomach_conductance_W_K")
        return _row(
            IN_STOMACH,
            "abdomen",
            charge_kg=self.portion_kg,
            charge_C=self.temperature_C,
            ice_share=self.ice_share,
            latent_J_kg=LATENT_HEAT_FUSION,
            contact_W_m2K=conductance / _WALL_M2,
            half_contact_kg=value("stomach_half_contact_kg"),
            drip_s=value("stomach_emptying_s"),
            swallow_ceiling_kg=0.0 if not self.guarded else self.stomach_ceiling_kg or value("stomach_ceiling_kg"),
        )


@dataclasses.dataclass(frozen=True)
class IceSlurry(Drink):
    """Crushed ice in a drink, part of it ice: before the start, or in small portions; the stomach holds sweat back.

    Notes
    -----
    A thermometer in the gut reads low for hours after it; sweating falls with a cold stomach.
    """

    portion_kg: float = ICE_SLURRY["portion_kg"].value
    temperature_C: float = ICE_SLURRY["temperature_C"].value
    ice_share: float = ICE_SLURRY["ice_share"].value
    name: str = "ice_slurry"

    card = ICE_SLURRY


@dataclasses.dataclass(frozen=True)
class PouredWater:
    """Water poured over some segments, shared by their surface; again at each ``refill_min`` of :class:`Worn`.

    Parameters
    ----------
    mass_kg : float
        Water poured each time [kg].
    temperature_C : float
        Its temperature [°C].
    segments : tuple of str
        Where it lands.
    """

    mass_kg: float = POUR_OVER["mass_kg"].value
    temperature_C: float = POUR_OVER["temperature_C"].value
    segments: tuple[str, ...] = ("head", "face", "neck", "chest", "back")
    name: str = "pour_over"

    card = POUR_OVER

    def __post_init__(self):
        """Refuse amounts and places that cannot be meant."""
        check_number("mass_kg", self.mass_kg, shown_as="poured mass_kg", low=0.005, high=10.0)
        check_number("temperature_C", self.temperature_C, low=0.0, high=60.0, unit="°C")
        object.__setattr__(self, "segments", segments_of(self.segments))

    def rows(self) -> np.ndarray:
        """Return one row a segment."""
        return np.concatenate(
            [
                _row(
                    POURED,
                    name,
                    charge_kg=self.mass_kg * share,
                    charge_C=self.temperature_C,
                    ice_share=0.0,
                    drip_s=value("poured_flow_s"),
                    drip_on_skin=value("poured_retained_share"),
                    run_off_warming=value("poured_run_off_warming"),
                )
                for name, share in shared_by_area(self.segments)
            ]
        )


@dataclasses.dataclass(frozen=True)
class Sponge(PouredWater):
    """A wet sponge pressed out over face, neck and arms."""

    mass_kg: float = SPONGE["mass_kg"].value
    temperature_C: float = SPONGE["temperature_C"].value
    segments: tuple[str, ...] = ("face", "neck", "upper_arms", "forearms")
    name: str = "sponge"

    card = SPONGE


@dataclasses.dataclass(frozen=True)
class Bath:
    """A bath that keeps its temperature, from ``from_min`` to ``to_min`` of :class:`Worn`.

    Parameters
    ----------
    temperature_C : float
        Water temperature [°C].
    segments : tuple of str
        What is under water.
    contact_W_m2K : float
        Water-side coefficient [W/m²K].
    """

    temperature_C: float
    segments: tuple[str, ...] = TO_THE_NECK
    contact_W_m2K: float = 200.0
    name: str = "bath"

    def __post_init__(self):
        """Refuse temperatures and places that cannot be meant."""
        check_number("temperature_C", self.temperature_C, low=0.0, high=45.0, unit="°C")
        check_number("contact_W_m2K", self.contact_W_m2K, low=10.0, high=1000.0, unit="W/m²K")
        object.__setattr__(self, "segments", segments_of(self.segments))

    def rows(self) -> np.ndarray:
        """Return one row a segment."""
        return np.concatenate(
            [
                _row(
                    BATH,
                    name,
                    charge_C=self.temperature_C,
                    segment_share=1.0,
                    contact_W_m2K=self.contact_W_m2K,
                )
                for name in self.segments
            ]
        )


@device_kind(HAND_DIP)
class HandDip:
    """Hands, and forearms if wanted, in a tub at a stop: it works while the runner is hot and the water not too cold.

    Parameters
    ----------
    temperature_C : float
        Water temperature [°C].
    forearm_share : float
        Share of the forearms under water [1].
    contact_W_m2K : float
        Water-side coefficient [W/m²K].
    """

    temperature_C: float
    forearm_share: float
    contact_W_m2K: float
    name: str = "hand_dip"

    def rows(self) -> np.ndarray:
        """Return a row on the hands, and one on the forearms if they are in."""
        shares = {"hands": 1.0, "forearms": self.forearm_share}
        return np.concatenate(
            [
                _row(BATH, name, charge_C=self.temperature_C, segment_share=share, contact_W_m2K=self.contact_W_m2K)
                for name, share in shares.items()
                if share > 0.0
            ]
        )


@device_kind(IMMERSION)
class Immersion:
    """A cold bath to the neck. Emergency treatment only, never a race device, never alone.

    Parameters
    ----------
    temperature_C : float
        Water temperature [°C].
    contact_W_m2K : float
        Water-side coefficient [W/m²K].
    """

    temperature_C: float
    contact_W_m2K: float
    name: str = "immersion"

    def rows(self) -> np.ndarray:
        """Return one row a segment."""
        return Bath(self.temperature_C, TO_THE_NECK, self.contact_W_m2K).rows()
