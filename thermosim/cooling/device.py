"""What a device is to the engine: rows of one boundary table, and times at which it is put on, refilled, taken off."""

import dataclasses
import difflib
from typing import Protocol

import numpy as np

from thermosim.constants import LATENT_HEAT_FUSION, SPECIFIC_HEAT_ICE, SPECIFIC_HEAT_WATER
from thermosim.engine.nodes import MAX_ROWS
from thermosim.engine.records import EVENT, PUT_ON, REFILL, ROW, TAKE_OFF
from thermosim.errors import InputError
from thermosim.parameters import SEGMENTS
from thermosim.variables import INPUTS


class Device(Protocol):
    """A cooling thing. Any frozen dataclass with a ``name`` and this one method will do."""

    name: str

    def rows(self) -> np.ndarray:
        """Return its rows (dtype ROW), usually from :func:`boundary_row`; lengths, watts and kelvins in SI."""
        ...


def boundary_row(segment: str, **fields: float) -> np.ndarray:
    """Return one row of the boundary table.

    Parameters
    ----------
    segment : str
        Body segment it lies on, one of ``parameters.SEGMENTS``.
    **fields : float
        Fields of ``engine.records.ROW``. What is left out is water ice at 0 °C on skin with an outer side of the
        same area, half of its drips landing on chest and back each.

    Returns
    -------
    numpy.ndarray of dtype ROW, shape (1,)
    """
    row = np.zeros(1, dtype=ROW)
    defaults = {
        "latent_J_kg": LATENT_HEAT_FUSION,
        "solid_J_kgK": SPECIFIC_HEAT_ICE,
        "liquid_J_kgK": SPECIFIC_HEAT_WATER,
        "drip_s": 60.0,
        "hold_kg": 1e3,
        "dry_J_K": 1.0,
        "outer_exposure": 1.0,
        "outer_wet_kg": 0.01,
        "outer_hold_kg": 0.01,
        "outer_area_m2": fields.get("area_m2", 0.0),
        "drip_segment_1": SEGMENTS.index("chest"),
        "drip_segment_2": SEGMENTS.index("back"),
        "segment": SEGMENTS.index(segment),
    }
    for name, number in {**defaults, **fields}.items():
        row[name] = number
    return row


@dataclasses.dataclass(frozen=True)
class Worn:
    """A device with the times at which it is on the runner [min from the start]; ``to_min`` None is to the end."""

    device: Device
    from_min: float = 0.0
    to_min: float | None = None
    refill_min: tuple[float, ...] = ()

    def __post_init__(self):
        """Refuse times that cannot be meant."""
        for name, minute in (
            ("from_min", self.from_min),
            ("to_min", self.to_min),
            *(("refill_min", m) for m in self.refill_min),
        ):
            check_number(
                name if name != "refill_min" else "from_min", minute, shown_as=name, optional=name == "to_min"
            )
        if self.to_min is not None and self.to_min <= self.from_min:
            raise InputError(
                f"is {self.to_min:g} min, but the device goes on at {self.from_min:g} min",
                field="to_min",
                remedy="take it off later than it is put on",
            )
        for minute in self.refill_min:
            if minute <= self.from_min or (self.to_min is not None and minute >= self.to_min):
                raise InputError(
                    f"has {minute:g} min, when the device is not worn",
                    field="refill_min",
                    remedy="refill between from_min and to_min",
                )


def check_number(
    name: str, number, *, shown_as: str | None = None, optional: bool = False, low=None, high=None
) -> None:
    """Refuse a number that is missing, not finite, or outside the glossary's range (or ``low``..``high``)."""
    shown = shown_as or name
    if number is None and optional:
        return
    entry = INPUTS.get(name)
    low, high, unit = (
        (entry.low if low is None else low, entry.high if high is None else high, entry.unit)
        if entry
        else (low, high, "")
    )
    if isinstance(number, bool) or not isinstance(number, int | float | np.number) or not np.isfinite(number):
        raise InputError(
            f"is {number!r}, not a finite number", field=shown, remedy=f"give a number in {unit}"
        )
    if not low <= number <= high:
        raise InputError(
            f"is {number:g} {unit}, allowed is {low:g} to {high:g} {unit}",
            field=shown,
            remedy="correct the value or its unit",
        )


def flatten_cooling(cooling, area_m2: np.ndarray, end_s: float) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Turn worn devices into engine rows, events in order of time, and one name per device.

    Raises
    ------
    InputError
        More rows than the engine holds, or devices that together cover more than 90 % of a segment.
    """
    rows, events, names = [], [], []
    for number, worn in enumerate(cooling):
        if not isinstance(worn, Worn):
            worn = Worn(worn)
        names.append(
            worn.device.name if worn.device.name not in names else f"{worn.device.name} {number + 1}"
        )
        for row in worn.device.rows():
            index = len(rows)
            row = row.copy()
            row["device"] = number
            rows.append(row)
            times = [(worn.from_min, PUT_ON), *((minute, REFILL) for minute in worn.refill_min)]
            if worn.to_min is not None:
                times.append((worn.to_min, TAKE_OFF))
            events += [(60.0 * minute, index, action) for minute, action in times if 60.0 * minute <= end_s]
    if len(rows) > MAX_ROWS:
        raise InputError(
            f"need {len(rows)} places on the body, allowed are {MAX_ROWS}",
            field="cooling",
            remedy="use fewer devices in one run",
        )
    table = np.array(rows, dtype=ROW) if rows else np.zeros(0, dtype=ROW)
    for s, segment in enumerate(SEGMENTS):
        covered = float(table["area_m2"][table["segment"] == s].sum())
        if covered > 0.9 * area_m2[s]:
            raise InputError(
                f"covers {covered:.4f} m² of the {segment.replace('_', ' ')}, which has {area_m2[s]:.4f} m² "
                "(allowed is 90 % of it)",
                field="contact_area_m2",
                remedy="give a smaller contact area",
            )
    ordered = sorted(events, key=lambda event: (event[0], event[2] != TAKE_OFF))
    return table, np.array(ordered, dtype=EVENT) if ordered else np.zeros(0, dtype=EVENT), names


_WEAR_FIELDS = ("from_min", "to_min", "refill_min")


def from_spec(spec: dict) -> Worn:
    """Build a worn device from a session's ``[[variant.cooling]]`` table: ``device`` and its fields.

    Raises
    ------
    InputError
        Unknown device or field (the nearest name is suggested), or a value outside its range.
    """
    from thermosim.cooling.ice_collar import IceCollar

    kinds = {"ice_collar": IceCollar}
    fields = dict(spec)
    kind = fields.pop("device", None)
    if kind not in kinds:
        near = difflib.get_close_matches(str(kind), kinds, 1)
        raise InputError(
            f"is {kind!r}, known are {', '.join(kinds)}",
            field="device",
            remedy=f"did you mean {near[0]!r}?" if near else "use a known device",
        )
    wear = {name: fields.pop(name) for name in _WEAR_FIELDS if name in fields}
    if "refill_min" in wear:
        refills = wear["refill_min"]
        wear["refill_min"] = tuple(refills) if isinstance(refills, list | tuple) else (refills,)
    known = [field.name for field in dataclasses.fields(kinds[kind]) if field.name != "name"]
    for name in fields:
        if name not in known:
            near = difflib.get_close_matches(name, known + list(_WEAR_FIELDS), 1)
            raise InputError(
                f"is not a field of {kind}; its fields are {', '.join(known)}",
                field=name,
                remedy=f"did you mean {near[0]!r}?" if near else "remove it",
            )
    return Worn(kinds[kind](**fields), **wear)


def spec_of(worn: Worn) -> dict:
    """Return the plain table that :func:`from_spec` would read back; a device of the user's own keeps its fields."""
    fields = dataclasses.asdict(worn.device)
    spec = {"device": fields.pop("name"), **fields, "from_min": worn.from_min}
    if worn.to_min is not None:
        spec["to_min"] = worn.to_min
    if worn.refill_min:
        spec["refill_min"] = list(worn.refill_min)
    return spec
