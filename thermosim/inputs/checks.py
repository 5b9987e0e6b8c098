"""Checks of single values and names: ranges, likely unit mistakes, unknown names, pydantic's complaints."""

import datetime
import difflib
import math
import numbers
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from pydantic import BaseModel, ConfigDict, ValidationError

from thermosim.errors import InputError
from thermosim.variables import INPUTS


class Mistake(NamedTuple):
    """A unit that people use by mistake: its symbol, the raw values it explains, the conversion to ours."""

    unit: str
    low: float
    high: float
    convert: Callable[[float], float]


_TEMPERATURE = (
    Mistake("K", 230.0, 340.0, lambda value: value - 273.15),
    Mistake("°F", -10.0, 200.0, lambda value: (value - 32.0) / 1.8),
)
_KM_H = Mistake("km/h", 8.5, 120.0, lambda value: value / 3.6)
_PER_SECOND = Mistake("beats per second", 0.5, 4.0, lambda value: 60.0 * value)
_FRACTION = Mistake("a fraction", 0.0, 1.0, lambda value: 100.0 * value)
_GRAMS = Mistake("g", 30.0, 5000.0, lambda value: value / 1000.0)

_MISTAKES: dict[str, tuple[Mistake, ...]] = {
    "speed_m_s": (_KM_H,),
    "wind_speed_m_s": (_KM_H,),
    "fan_speed_m_s": (_KM_H,),
    "height_m": (
        Mistake("cm", 100.0, 250.0, lambda value: value / 100.0),
        Mistake("feet", 4.0, 7.6, lambda value: 0.3048 * value),
        Mistake("inches", 45.0, 91.0, lambda value: 0.0254 * value),
    ),
    "mass_kg": (
        Mistake("g", 30_000.0, 160_000.0, lambda value: value / 1000.0),
        Mistake("lb", 160.0, 350.0, lambda value: 0.45359 * value),
    ),
    "age_y": (Mistake("a year of birth", 1900.0, 2100.0, lambda value: datetime.date.today().year - value),),
    "body_fat_pct": (_FRACTION,),
    "resting_heart_rate_bpm": (_PER_SECOND,),
    "maximum_heart_rate_bpm": (_PER_SECOND,),
    "threshold_heart_rate_bpm": (_PER_SECOND,),
    "heart_rate_bpm": (_PER_SECOND,),
    "cap_bpm": (_PER_SECOND,),
    "resume_below_bpm": (_PER_SECOND,),
    "walk_speed_m_s": (Mistake("km/h", 2.6, 10.0, lambda value: value / 3.6),),
    "level_speed_m_s": (_KM_H,),
    "maximum_sweat_rate_L_h": (Mistake("mL/h", 200.0, 4000.0, lambda value: value / 1000.0),),
    "vapour_pressure_kPa": (
        Mistake("hPa", 6.0, 60.0, lambda value: value / 10.0),
        Mistake("Pa", 500.0, 6000.0, lambda value: value / 1000.0),
    ),
    "pressure_kPa": (
        Mistake("hPa", 500.0, 1100.0, lambda value: value / 10.0),
        Mistake("Pa", 50_000.0, 110_000.0, lambda value: value / 1000.0),
    ),
    "minutes": (Mistake("s", 1441.0, 86_400.0, lambda value: value / 60.0),),
    "ice_kg": (_GRAMS,),
    "carried_mass_kg": (_GRAMS,),
}

_REMEDIES = {
    "relative_humidity_pct": "saturated air is 100 %, so check the sensor or give dew_point_C instead",
    "grade_pct": "give rise over run in per cent (not degrees) and smooth the elevation first",
    "wind_speed_m_s": "give the speed as a positive number and the direction with wind_from",
    "mass_kg": "give the runner's body mass in kg",
    "core_temperature_C": "choose a lower core limit",
    "core_limit_C": "choose a lower core limit",
}

# Keys with a foreign unit: our name, the unit, the conversion.
OTHER_UNITS: dict[str, tuple[str, str, Callable[[float], float]]] = {
    "speed_km_h": ("speed_m_s", "km/h", lambda value: value / 3.6),
    "speed_kmh": ("speed_m_s", "km/h", lambda value: value / 3.6),
    "speed_kph": ("speed_m_s", "km/h", lambda value: value / 3.6),
    "speed_mph": ("speed_m_s", "mph", lambda value: 0.44704 * value),
    "wind_speed_km_h": ("wind_speed_m_s", "km/h", lambda value: value / 3.6),
    "wind_speed_kmh": ("wind_speed_m_s", "km/h", lambda value: value / 3.6),
    "wind_speed_kn": ("wind_speed_m_s", "kn", lambda value: 0.51444 * value),
    "height_cm": ("height_m", "cm", lambda value: value / 100.0),
    "mass_lb": ("mass_kg", "lb", lambda value: 0.45359 * value),
    "ice_g": ("ice_kg", "g", lambda value: value / 1000.0),
    "air_temperature_F": ("air_temperature_C", "°F", lambda value: (value - 32.0) / 1.8),
    "air_temperature_K": ("air_temperature_C", "K", lambda value: value - 273.15),
    "pressure_hPa": ("pressure_kPa", "hPa", lambda value: value / 10.0),
    "pressure_mbar": ("pressure_kPa", "mbar", lambda value: value / 10.0),
    "vapour_pressure_hPa": ("vapour_pressure_kPa", "hPa", lambda value: value / 10.0),
    "hours": ("minutes", "h", lambda value: 60.0 * value),
    "seconds": ("minutes", "s", lambda value: value / 60.0),
    "duration_s": ("minutes", "s", lambda value: value / 60.0),
    "duration_min": ("minutes", "min", lambda value: value),
}


def shown(value: Any) -> str:
    """Return a value as a short text for a sentence, on one line."""
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        text = " ".join(repr(value).split())
        return text if len(text) <= 40 else text[:37] + "..."
    try:
        return f"{float(value):.6g}"
    except OverflowError:
        return "a number too large"


def with_unit(name: str, value: Any) -> str:
    """Return a value and the unit of ``name``, e.g. ``"140 %"``."""
    unit = INPUTS[name].unit
    return shown(value) if unit == "1" else f"{shown(value)} {unit}"


def allowed_range(name: str) -> str:
    """Return the allowed range of an input in words, e.g. ``"30 to 160 kg"``."""
    return f"{shown(INPUTS[name].low)} to {with_unit(name, INPUTS[name].high)}"


def unit_hint(name: str, value: float) -> str | None:
    """Return e.g. ``"looks like km/h: 12 km/h is 3.33 m/s"`` when another unit explains the value."""
    variable = INPUTS[name]
    mistakes = _MISTAKES.get(name, _TEMPERATURE if name.endswith("_C") else ())
    for mistake in mistakes:
        if not mistake.low <= value <= mistake.high:
            continue
        converted = mistake.convert(value)
        if variable.low <= converted <= variable.high:
            raw = shown(value) if mistake.unit.startswith("a ") else f"{shown(value)} {mistake.unit}"
            return f"looks like {mistake.unit}: {raw} is {converted:.3g} {variable.unit}"
    return None


def check_range(name: str, value: Any, *, field: str | None = None, file=None, line=None) -> float:
    """Return ``value`` as a float when it is a finite number within the range of the input ``name``.

    Parameters
    ----------
    name : str
        Name in :data:`thermosim.variables.INPUTS`.
    value : object
        What was written.
    field, file, line : optional
        How the user calls the field, and where it stands.

    Raises
    ------
    InputError
        Not a number, not finite, or out of range; with unit, range and remedy.
    """
    variable, place = INPUTS[name], {"field": field or name, "file": file, "line": line}
    allowed = f"allowed is {allowed_range(name)}"
    unit = "" if variable.unit == "1" else f" in {variable.unit}"
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        problem = f"is {shown(value)}, which is not a number, {allowed}"
        raise InputError(problem, remedy=f"write a plain number{unit}", **place)
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        problem = f"is {shown(value)}, which is not a finite number, {allowed}"
        raise InputError(problem, remedy=f"give a finite number{unit} or leave the field out", **place)
    if variable.low <= number <= variable.high:
        return number
    remedy = unit_hint(name, number) or _REMEDIES.get(name) or f"give a number{unit} within that range"
    raise InputError(f"is {with_unit(name, number)}, {allowed}", remedy=remedy, **place)


def check_whole(name: str, value: Any, *, field: str | None = None) -> int:
    """Return ``value`` as a whole number within the range of the input ``name``."""
    if isinstance(value, numbers.Integral) and not isinstance(value, bool):
        low, high = int(INPUTS[name].low), int(INPUTS[name].high)
        if low <= int(value) <= high:
            return int(value)
        raise InputError(
            f"is {str(value)[:30]}, allowed is {low} to {high}",
            field=field or name,
            remedy="give a whole number within that range",
        )
    number = check_range(name, value, field=field)
    if number != int(number):
        raise InputError(
            f"is {shown(number)}, allowed are whole numbers, {allowed_range(name)}",
            field=field or name,
            remedy="give a whole number",
        )
    return int(number)


def check_choice(field: str, value: Any, choices: Iterable[str], **place) -> str:
    """Return ``value`` when it is one of the words in ``choices``."""
    choices = tuple(choices)
    if isinstance(value, str) and value in choices:
        return value
    close = nearest(value, choices) if isinstance(value, str) else None
    remedy = f"did you mean {close}?" if close else "use one of these words"
    problem = f"is {shown(value)}, allowed are {', '.join(choices)}"
    raise InputError(problem, field=field, remedy=remedy.rstrip("?"), **place)


def check_flag(field: str, value: Any, **place) -> bool:
    """Return ``value`` when it is true or false."""
    if isinstance(value, bool):
        return value
    raise InputError(
        f"is {shown(value)}, allowed are true and false", field=field, remedy="write true or false", **place
    )


def nearest(name: str, allowed: Iterable[str]) -> str | None:
    """Return the allowed name most like ``name``, or None."""
    lower = {candidate.lower(): candidate for candidate in allowed}
    found = difflib.get_close_matches(name.lower()[:80], lower, n=1, cutoff=0.6)
    return lower[found[0]] if found else None


def unknown_name(key: str, allowed: Iterable[str], value: Any = None, **place) -> InputError:
    """Return the error of an unknown key: the nearest name, the conversion, or the names there are."""
    allowed = list(allowed)
    if key in OTHER_UNITS and OTHER_UNITS[key][0] in allowed:
        ours, unit, convert = OTHER_UNITS[key]
        remedy = f"convert {unit} to {INPUTS[ours].unit} and call it {ours}"
        if isinstance(value, int | float) and not isinstance(value, bool) and -1e9 < value < 1e9:
            remedy += f": {shown(value)} {unit} is {ours} = {convert(float(value)):.3g}"
    elif close := nearest(key, allowed):
        remedy = f"did you mean {close}"
    else:
        remedy = f"known are {', '.join(allowed)}"
    label = key if key.isprintable() and len(key) <= 60 else shown(key)
    problem = "is not a known field"
    if value is not None and key in OTHER_UNITS:
        problem += f" (value {shown(value)})"
    return InputError(problem, field=label or "''", remedy=remedy, **place)


def check_names(given: Iterable[str], allowed: Iterable[str], values: dict | None = None, **place) -> None:
    """Refuse the first name of ``given`` that is not allowed."""
    allowed = list(allowed)
    for key in given:
        if key not in allowed:
            raise unknown_name(key, allowed, (values or {}).get(key), **place)


def missing(name: str, **place) -> InputError:
    """Return the error of a required field that is not there."""
    if name in INPUTS:
        remedy = f"add {name}, {INPUTS[name].long_name}, {allowed_range(name)}"
        return InputError("is missing and has no default", field=name, remedy=remedy, **place)
    return InputError("is missing and has no default", field=name, remedy=f"add {name}", **place)


def from_pydantic(error: ValidationError, model: type[BaseModel]) -> InputError:
    """Return ONE error for pydantic's complaints, in our words.

    An unknown name comes before a missing one, because a misspelled key is both.
    """
    complaints = error.errors(include_url=False)
    unknown = [complaint for complaint in complaints if complaint["type"] == "extra_forbidden"]
    first = unknown[0] if unknown and complaints[0]["type"] == "missing" else complaints[0]
    field = ".".join(str(part) for part in first["loc"]) or model.__name__.lower()
    last = str(first["loc"][-1]) if first["loc"] else field
    more = len(complaints) - 1
    if first["type"] == "extra_forbidden":
        found = unknown_name(last, model.model_fields, first["input"])
        meant = OTHER_UNITS[last][0] if last in OTHER_UNITS else nearest(last, model.model_fields)
        more -= any(c["type"] == "missing" and c["loc"][-1:] == (meant,) for c in complaints)
    elif first["type"] == "missing":
        found = missing(last)
    else:
        problem = f"is {shown(first['input'])}: {first['msg'][:1].lower()}{first['msg'][1:]}"
        found = InputError(problem, field=field, remedy="correct this field")
    if more:
        problem = f"{found.problem} (and {more} more to correct here)"
        found = InputError(problem, field=found.field, remedy=found.remedy)
    return found


class Card(BaseModel):
    """A frozen record that refuses unknown fields and complains with :class:`InputError` only."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    def __init__(self, /, **fields):
        try:
            super().__init__(**fields)
        except ValidationError as error:
            raise from_pydantic(error, type(self)) from None
