"""Water that cools without being worn: a drink or slurry, water poured over the skin, a bath."""

import dataclasses

import numpy as np

from thermosim.constants import LATENT_HEAT_FUSION
from thermosim.cooling.device import check_number
from thermosim.cooling.rows import boundary_row
from thermosim.engine.records import BATH, IN_STOMACH, POURED
from thermosim.errors import InputError
from thermosim.parameters import SEGMENT_TABLE, SEGMENTS, value

TO_THE_NECK = tuple(name for name in SEGMENTS if name not in ("head", "face", "neck"))
_WALL_M2 = 0.05  # area that the stomach's conductance is spread over; only the product counts
_SMALL_J_K = 1.0


def _row(place: int, segment: str, **fields) -> np.ndarray:
    row = boundary_row(segment, area_m2=_WALL_M2, outer_area_m2=0.0, outer_J_K=1.0, dry_J_K=_SMALL_J_K, **fields)
    row["place"] = place
    return row


def _segments_of(given) -> tuple[str, ...]:
    """Return the segments of a list, or of one name; refuse unknown names, none, or one twice."""
    segments = (given,) if isinstance(given, str) else tuple(given)
    for name in segments:
        if name not in SEGMENTS:
            raise InputError(
                f"has {name!r}, known are {', '.join(SEGMENTS)}", field="segments", remedy="use one of the segments"
            )
    if not segments or len(set(segments)) != len(segments):
        raise InputError("is empty or names one twice", field="segments", remedy="name each segment once")
    return segments


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
    """

    portion_kg: float
    temperature_C: float
    ice_share: float = 0.0
    stomach_conductance_W_K: float | None = None
    name: str = "drink"

    def __post_init__(self):
        """Refuse amounts that cannot be drunk at once."""
        check_number("portion_kg", self.portion_kg, low=0.001, high=2.0, unit="kg")
        check_number("temperature_C", self.temperature_C, low=-5.0, high=60.0, unit="°C")
        check_number("ice_share", self.ice_share, low=0.0, high=1.0)
        check_number("stomach_conductance_W_K", self.stomach_conductance_W_K, optional=True, low=0.1, high=100.0)
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
        )


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

    mass_kg: float
    temperature_C: float
    segments: tuple[str, ...] = ("head", "face", "neck", "chest", "back")
    name: str = "poured_water"

    def __post_init__(self):
        """Refuse amounts and places that cannot be meant."""
        check_number("mass_kg", self.mass_kg, shown_as="poured mass_kg", low=0.005, high=10.0)
        check_number("temperature_C", self.temperature_C, low=0.0, high=60.0, unit="°C")
        object.__setattr__(self, "segments", _segments_of(self.segments))

    def rows(self) -> np.ndarray:
        """Return one row a segment."""
        areas = np.array([SEGMENT_TABLE["area_share"][0][SEGMENTS.index(name)] for name in self.segments])
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
                for name, share in zip(self.segments, areas / areas.sum(), strict=True)
            ]
        )


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
        object.__setattr__(self, "segments", _segments_of(self.segments))

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
