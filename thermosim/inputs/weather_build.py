"""From what a weather sheet gives to the quantities the engine reads, row by row."""

import math
import numbers
from typing import Any

import numpy as np

from thermosim.constants import STANDARD_PRESSURE_KPA
from thermosim.errors import InputError
from thermosim.inputs.checks import check_range, missing, shown
from thermosim.inputs.humidity import FORMS, vapour_pressure
from thermosim.inputs.plain import array

WIND_WORDS = ("head", "tail", "cross")
RUNNER_HEIGHT_M = 1.5  # height at which the runner feels the wind


def quantities(
    given: dict[str, Any], rows: int, places: list[dict]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return the arrays (and the word ``wind_from``) of a Weather, and the notes on what was done.

    Parameters
    ----------
    given : dict
        Field -> number, or list with one number a row (NaN where the cell is empty).
    rows : int
        Number of knots.
    places : list of dict
        File and line of each row, for errors.
    """
    notes: list[str] = []
    air = _needed(given, "air_temperature_C", rows, places)
    pressure = _pressure(given, rows, places)
    globe, radiant, solar = _radiation(given, rows, places, notes)
    wind = _wind_speed(given, rows, places, notes)
    wind_from, degrees = _wind_from(given, rows, places, wind, notes)
    values = {
        "air_temperature_C": air,
        "vapour_pressure_kPa": _humidity(given, rows, places, air, pressure, notes),
        "wind_speed_m_s": wind,
        "wind_from_deg": degrees,
        "solar_W_m2": solar,
        "mean_radiant_temperature_C": radiant,
        "globe_temperature_C": globe,
        "pressure_kPa": pressure,
        "natural_wet_bulb_C": _all_or_none(given, "natural_wet_bulb_C", rows, places),
    }
    return {**{name: array(value) for name, value in values.items()}, "wind_from": wind_from}, tuple(notes)


def _column(given: dict, name: str, rows: int, absent: float = math.nan) -> np.ndarray:
    value = given.get(name, absent)
    return np.array(value, dtype=float) if isinstance(value, list) else np.full(rows, float(value))


def _all_or_none(given: dict, name: str, rows: int, places: list[dict]) -> np.ndarray:
    column = _column(given, name, rows)
    if np.isnan(column).any() and not np.isnan(column).all():
        row = int(np.flatnonzero(np.isnan(column))[0])
        problem = "is empty in this row but given in others, needed is a value in every row or in none"
        raise InputError(problem, field=name, remedy="fill the cell or drop the column", **places[row])
    return column


def _needed(given: dict, name: str, rows: int, places: list[dict]) -> np.ndarray:
    column = _column(given, name, rows)
    for row in np.flatnonzero(np.isnan(column)):
        raise missing(name, **places[row])
    return column


def _pressure(given: dict, rows: int, places: list[dict]) -> np.ndarray:
    if "altitude_m" not in given:
        return _needed({"pressure_kPa": STANDARD_PRESSURE_KPA, **given}, "pressure_kPa", rows, places)
    if "pressure_kPa" in given:
        problem = "is given beside pressure_kPa: the two say the same"
        raise InputError(problem, field="altitude_m", remedy="keep one of them", **_file_only(places))
    from thermosim.physics.air import pressure_at_altitude

    altitude = _needed(given, "altitude_m", rows, places)
    return np.array([float(pressure_at_altitude(metres)) for metres in altitude])


def _file_only(places: list[dict]) -> dict:
    return {"file": places[0].get("file")}


def _humidity(given, rows, places, air, pressure, notes) -> np.ndarray:
    columns = {form: _column(given, form, rows) for form in FORMS if form in given}
    found = np.empty(rows)
    for row in range(rows):
        forms = {form: float(column[row]) for form, column in columns.items() if not math.isnan(column[row])}
        found[row], note = vapour_pressure(forms, float(air[row]), float(pressure[row]), **places[row])
        if note and note not in notes:
            notes.append(note)
    relative = columns.get("relative_humidity_pct", np.array([]))
    if np.any((relative > 0.0) & (relative <= 1.0)):
        notes.append(
            "relative_humidity_pct is 1 % or less: if a fraction was meant, write per cent (0.85 is 85 %)."
        )
    if np.any(columns.get("wet_bulb_C", np.array([])) < 0.0):
        notes.append(
            "wet_bulb_C is below 0 °C, outside the range of the psychrometer relation: give dew_point_C."
        )
    return found


def _radiation(given, rows, places, notes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    globe, radiant = (
        _column(given, "globe_temperature_C", rows),
        _column(given, "mean_radiant_temperature_C", rows),
    )
    solar = _needed({"solar_W_m2": 0.0, **given}, "solar_W_m2", rows, places)
    for row in range(rows):
        if not math.isnan(globe[row]) and solar[row] > 0.0:
            problem = (
                f"is {globe[row]:g} °C and solar_W_m2 is {solar[row]:g} W/m²: the globe has seen that sun "
                "already, allowed is one of the two"
            )
            remedy = "drop the globe, or set solar_W_m2 = 0"
            raise InputError(problem, field="globe_temperature_C", remedy=remedy, **places[row])
        if not math.isnan(globe[row]) and not math.isnan(radiant[row]):
            problem = "is given beside mean_radiant_temperature_C, allowed is one of the two"
            raise InputError(problem, field="globe_temperature_C", remedy="keep one of them", **places[row])
    for name in ("globe_temperature_C", "mean_radiant_temperature_C"):
        _all_or_none(given, name, rows, places)
    if np.any(~np.isnan(radiant) & (solar > 0.0)):
        notes.append(
            "mean_radiant_temperature_C is taken as long-wave only, because solar_W_m2 is given as well."
        )
    return globe, radiant, solar


def _wind_speed(given, rows, places, notes) -> np.ndarray:
    from thermosim.physics.air import wind_at_height

    wind = _needed({"wind_speed_m_s": 0.0, **given}, "wind_speed_m_s", rows, places)
    height = _needed({"wind_height_m": RUNNER_HEIGHT_M, **given}, "wind_height_m", rows, places)
    if np.all(height == RUNNER_HEIGHT_M):
        return wind
    lowered = np.array([float(wind_at_height(*pair, RUNNER_HEIGHT_M)) for pair in zip(wind, height)])
    notes.append(
        f"Wind measured at {height.max():g} m is brought to {RUNNER_HEIGHT_M:g} m (one-seventh power, "
        f"open ground): up to {wind.max():.3g} m/s becomes {lowered.max():.3g} m/s."
    )
    return lowered


def _wind_from(given, rows, places, wind, notes) -> tuple[str, np.ndarray]:
    if "wind_from" in given and "wind_from_deg" in given:
        problem = "is given beside wind_from_deg, allowed is one of the two"
        raise InputError(problem, field="wind_from", remedy="keep one of them", **_file_only(places))
    word = given.get("wind_from", "cross")
    if isinstance(word, numbers.Real) and not isinstance(word, bool):
        given = {**given, "wind_from_deg": check_range("wind_from_deg", word, field="wind_from")}
    elif word not in WIND_WORDS:
        problem = f"is {shown(word)}, allowed are head, tail, cross or 0 to 360 °"
        raise InputError(problem, field="wind_from", remedy="use one of these", **_file_only(places))
    if "wind_from_deg" not in given:
        return word, np.full(rows, np.nan)
    degrees = _column(given, "wind_from_deg", rows)
    unknown = np.isnan(degrees)
    for row in np.flatnonzero(unknown & (wind > 0.0)):
        problem = f"is empty while wind_speed_m_s is {wind[row]:g} m/s, allowed is 0 to 360 °"
        raise InputError(problem, field="wind_from_deg", remedy="give the direction", **places[row])
    if unknown.all() or not np.any(wind > 0.0):  # without wind its direction says nothing
        return "cross", np.full(rows, np.nan)
    if unknown.any():
        known = np.flatnonzero(~unknown)
        nearest = [int(known[np.argmin(np.abs(known - row))]) for row in range(rows)]
        degrees = degrees[nearest]
        notes.append("wind_from_deg is empty in rows without wind: the nearest direction stands there.")
    return "degrees", degrees
