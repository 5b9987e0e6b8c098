"""Rows of the boundary table: built with defaults, checked field by field before the engine sees them."""

import difflib
from typing import NamedTuple

import numpy as np

from thermosim.constants import LATENT_HEAT_FUSION, SPECIFIC_HEAT_ICE, SPECIFIC_HEAT_WATER
from thermosim.engine.records import AROUND, IN_STOMACH, ON_SKIN, ROW
from thermosim.errors import InputError
from thermosim.parameters import SEGMENTS

MELTS_AS_ICE_K, WATER_LIKE = 0.5, 0.02  # a filling this near to water's melting point and heat capacity is water
WET_CLOTH_J_M2K = 2700.0  # heat capacity of the outer side where none is given: wet cloth, 0.65 kg/m² of water


class Allowed(NamedTuple):
    """Allowed range of a field of a row (closed), its unit, and whether the lower end itself is left out."""

    low: float
    high: float
    unit: str
    above_low: bool = False


_TEMPERATURE = Allowed(-5.0, 60.0, "°C")
_HEAT_OF_MASS = Allowed(0.0, 10_000.0, "J/kgK")
ROW_RANGES: dict[str, Allowed] = {
    "area_m2": Allowed(0.0, 1.0, "m²", True),
    "contact_W_m2K": Allowed(0.0, 1000.0, "W/m²K"),
    "charge_kg": Allowed(0.0, 20.0, "kg"),
    "charge_C": _TEMPERATURE,
    "melt_low_C": _TEMPERATURE,
    "melt_high_C": _TEMPERATURE,
    "latent_J_kg": Allowed(0.0, 1e6, "J/kg"),
    "solid_J_kgK": _HEAT_OF_MASS,
    "liquid_J_kgK": _HEAT_OF_MASS,
    "dry_J_K": Allowed(0.0, 1e5, "J/K", True),
    "dry_mass_kg": Allowed(0.0, 20.0, "kg"),
    "hold_kg": Allowed(0.0, 1e4, "kg"),
    "drip_s": Allowed(5.0, 1e5, "s"),
    "drip_on_skin": Allowed(0.0, 1.0, "1"),
    "outer_area_m2": Allowed(0.0, 1.0, "m²"),
    "outer_conductance_W_m2K": Allowed(0.0, 1000.0, "W/m²K"),
    "outer_J_K": Allowed(0.0, 1e5, "J/K", True),
    "outer_absorptance": Allowed(0.0, 1.0, "1"),
    "outer_wet_kg": Allowed(0.0, 1e4, "kg", True),
    "outer_hold_kg": Allowed(0.0, 1e4, "kg"),
    "outer_exposure": Allowed(0.0, 5.0, "1"),
    "ice_share": Allowed(0.0, 1.0, "1"),
    "segment_share": Allowed(0.0, 1.0, "1"),
    "run_off_warming": Allowed(0.0, 1.0, "1"),
    "half_contact_kg": Allowed(0.0, 5.0, "kg", True),
    "air_speed_m_s": Allowed(0.0, 10.0, "m/s"),
    "air_change_K": Allowed(-20.0, 20.0, "K"),
    "vapour_change_kPa": Allowed(-5.0, 5.0, "kPa"),
    "shade_share": Allowed(0.0, 1.0, "1"),
    "breath_share": Allowed(0.0, 1.0, "1"),
    "breath_C": Allowed(-10.0, 45.0, "°C"),
    "sink_W": Allowed(0.0, 1000.0, "W"),
    "mist_kg_s": Allowed(0.0, 0.01, "kg/s"),
    "mist_C": Allowed(0.0, 60.0, "°C"),
    "refill_at_share": Allowed(0.0, 1.0, "1"),
    "spares": Allowed(0.0, 1000.0, "1"),
    "swallow_ceiling_kg": Allowed(0.0, 20.0, "kg"),
    "place": Allowed(ON_SKIN, AROUND, "1"),
    "segment": Allowed(0, len(SEGMENTS) - 1, "1"),
    "wicks": Allowed(0, 1, "1"),
    "drip_segment_1": Allowed(0, len(SEGMENTS) - 1, "1"),
    "drip_segment_2": Allowed(0, len(SEGMENTS) - 1, "1"),
}
_OWN = ("segment",)  # given as a name


def nearest(name, known) -> str | None:
    """Return the known name that is most like a misspelled one, or None."""
    found = difflib.get_close_matches(str(name), list(known), 1)
    return found[0] if found else None


def boundary_row(segment: str, **fields: float) -> np.ndarray:
    """Return one row of the boundary table.

    Parameters
    ----------
    segment : str
        Body segment it lies on, one of ``parameters.SEGMENTS``.
    **fields : float
        Fields of ``engine.records.ROW``. What is left out is water ice at 0 °C on skin with an outer side of the
        same area (wet cloth), half of its drips landing on chest and back each.

    Returns
    -------
    numpy.ndarray of dtype ROW, shape (1,)

    Raises
    ------
    InputError
        Unknown segment or field; the nearest name is suggested. Values are checked when the device is worn.
    """
    if segment not in SEGMENTS:
        near = nearest(segment, SEGMENTS)
        raise InputError(
            f"is {segment!r}, known are {', '.join(SEGMENTS)}",
            field="segment",
            remedy=f"did you mean {near}?" if near else "use one of the segments",
        )
    known = [name for name in ROW_RANGES if name not in _OWN]
    for name, given in fields.items():
        if name not in known:
            near = nearest(name, known)
            raise InputError(
                f"is not a field of a row; its fields are {', '.join(known)}",
                field=name,
                remedy=f"did you mean {near}?" if near else "remove it",
            )
        if isinstance(given, bool | np.bool_) and name == "wicks":
            continue
        if isinstance(given, bool) or not isinstance(given, int | float | np.number):
            raise InputError(
                f"is {given!r}, not a number", field=name, remedy=f"give a number in {ROW_RANGES[name].unit}"
            )
    row = np.zeros(1, dtype=ROW)
    outer_m2 = fields.get("outer_area_m2", fields.get("area_m2", 0.0))
    defaults = {
        "latent_J_kg": LATENT_HEAT_FUSION,
        "solid_J_kgK": SPECIFIC_HEAT_ICE,
        "liquid_J_kgK": SPECIFIC_HEAT_WATER,
        "drip_s": 60.0,
        "ice_share": 1.0,
        "half_contact_kg": 0.2,
        "hold_kg": 1e3,
        "dry_J_K": 1.0,
        "outer_exposure": 1.0,
        "outer_wet_kg": 0.01,
        "outer_hold_kg": 0.01,
        "outer_area_m2": outer_m2,
        "outer_J_K": WET_CLOTH_J_M2K * outer_m2,
        "drip_segment_1": SEGMENTS.index("chest"),
        "drip_segment_2": SEGMENTS.index("back"),
        "segment": SEGMENTS.index(segment),
    }
    for name, number in {**defaults, **fields}.items():
        row[name] = number
    return row


def ice_and_water(rows) -> tuple[np.ndarray, np.ndarray]:
    """Return which share of each row's charge is ice and which is water [1]; fillings that are not water are neither."""
    is_water = np.abs(rows["liquid_J_kgK"] / SPECIFIC_HEAT_WATER - 1.0) < WATER_LIKE
    cold = (rows["charge_kg"] > 0.0) & (rows["latent_J_kg"] > 0.0) & (rows["charge_C"] <= rows["melt_low_C"])
    frozen = np.where(cold, rows["ice_share"], 0.0)
    is_ice = is_water & (np.abs(rows["melt_low_C"]) <= MELTS_AS_ICE_K)
    return frozen * is_ice, (1.0 - frozen) * is_water


def rows_of(device) -> np.ndarray:
    """Return a device's rows, every field checked; errors name the device and the field.

    Raises
    ------
    InputError
        Rows that are no boundary table, a value out of range, or a store colder than melting ice.
    """
    name = device.name
    try:
        rows = device.rows()
    except InputError as error:
        raise InputError(error.problem, field=f"{name}: {error.field}", remedy=error.remedy) from None
    if not isinstance(rows, np.ndarray) or rows.dtype != ROW or rows.ndim != 1 or rows.size == 0:
        raise InputError(
            "gives no rows of the boundary table",
            field=f"{name}: rows()",
            remedy="return boundary_row(…), or several joined by numpy.concatenate",
        )
    for row in rows:
        for field, allowed in ROW_RANGES.items():
            _check(name, field, float(row[field]), allowed)
        if row["melt_high_C"] < row["melt_low_C"]:
            raise InputError(
                f"is {row['melt_high_C']:g} °C, below melt_low_C, which is {row['melt_low_C']:g} °C",
                field=f"{name}: melt_high_C",
                remedy="give the lower temperature as melt_low_C",
            )
        if row["place"] != IN_STOMACH and row["charge_C"] < 0.0:
            raise InputError(
                f"is {row['charge_C']:g} °C, allowed is 0 °C or warmer: nothing colder than melting ice may lie "
                "on skin (cold injury)",
                field=f"{name}: charge_C",
                remedy="let the charge warm to 0 °C before it is put on",
            )
    return rows


def _check(device: str, field: str, number: float, allowed: Allowed) -> None:
    inside = allowed.low < number if allowed.above_low else allowed.low <= number
    if np.isfinite(number) and inside and number <= allowed.high:
        return
    unit = "" if allowed.unit == "1" else f" {allowed.unit}"
    span = f"{'above ' if allowed.above_low else ''}{allowed.low:g} to {allowed.high:g}{unit}"
    raise InputError(
        f"is {number:g}{unit}, allowed is {span}",
        field=f"{device}: {field}",
        remedy="correct the value or its unit",
    )
