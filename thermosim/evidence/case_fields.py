"""The fields of a case file: units, allowed ranges, words to choose from, and the checks of one value."""

import math
import numbers
import re
from typing import Any

from thermosim.errors import InputError
from thermosim.inputs.checks import check_choice, check_flag, check_range, shown
from thermosim.parameters import SEGMENTS
from thermosim.variables import INPUTS, OUTPUTS, Variable

HUMIDITIES = ("relative_humidity_pct", "vapour_pressure_kPa", "dew_point_C", "wet_bulb_C")
ROLES = ("fitted", "never_fitted")
STATUSES = ("confirmed", "from memory")
SEXES = ("male", "female")
KITS = ("nude", "shorts_and_shoes", "light_kit", "shirt_and_shorts", "coverall")
SITES = ("core", "rectal", "oesophageal", "gut")
RESTS = ("stand", "seated", "lying")
MOVES = ("run", "walk")
ACTIVITIES = (*MOVES, "cycle", *RESTS)
POWERS = ("heat_production_W", "metabolic_power_W", "vo2max_pct", "oxygen_uptake_L_min")
WINDS = ("head", "tail", "cross")
WATERS = ("drink", "water_on_skin", "bath")
COOLINGS = (*WATERS, "device")
# What is under water, by the word for it.
IMMERSED = {
    "to_neck": tuple(name for name in SEGMENTS if name not in ("head", "face", "neck")),
    "to_chest": ("chest", "back", "abdomen", "hands", "thighs", "lower_legs", "feet"),
    "forearms": ("forearms", "hands"),
    "hands": ("hands",),
}
BATHS = tuple(IMMERSED)
OVERS = ("air_temperature_C", "required_evaporation")
READS = ("value", "change", "rate", "mean", "time_to", "onset")
DEVICE_HEAT = "device_heat_from_skin_W"
LAW_HOMES = ("thermosim.physics", "thermosim.physiology", "thermosim.constants", "thermosim.instant")

# Quantity -> unit of its value.
QUANTITIES = {
    **dict.fromkeys(
        ("core_temperature", "rectal_temperature", "oesophageal_temperature", "gut_temperature", "mean_skin_temperature"), "°C"
    ),
    "heart_rate": "bpm", "sweat_loss": "L", "sweat_rate": "L/h", "body_mass_loss": "kg", "evaporation": "W",
    "required_evaporation": "W", "evaporative_capacity_W_m2": "W/m²", "skin_blood_flow": "L/min",
    "metabolic_power": "W", "storage": "W", "skin_wettedness": "1", DEVICE_HEAT: "W",
}  # fmt: skip
# Unit of the value -> unit of its rate; what is not named here has no rate.
RATES = {"°C": "K/min", "L": "L/h", "kg": "kg/h", "bpm": "bpm/min"}

_TINY, _HUGE = 1e-9, 1e9
# Field (or record.field) -> unit and allowed range; fields that are not named here have the range of the input of that name.
RANGES = {
    "n": Variable("people", "number of people", 1, 10_000),
    "low": Variable("1", "low end of a blank", -_HUGE, _HUGE),
    "value": Variable("1", "value", -_HUGE, _HUGE),
    "high": Variable("1", "high end of a blank", -_HUGE, _HUGE),
    "sd": Variable("1", "standard deviation between people", _TINY, _HUGE),
    "tolerance": Variable("1", "tolerance", _TINY, _HUGE),
    "scale": Variable("1", "multiplier of the result of a law", -_HUGE, _HUGE),
    "level": Variable("1", "level to be reached", -_HUGE, _HUGE),
    "heat_production_W": Variable("W", "heat production", 30.0, 2500.0),
    "vo2max_pct": Variable("%", "share of maximal oxygen uptake", 5.0, 150.0),
    "efficiency": Variable("1", "external work over metabolic power", 0.0, 0.35),
    "minutes": INPUTS["part_minutes"],
    "at_min": Variable("min", "minute on the clock", 0.0, 1440.0),
    "start.temperature_C": Variable("°C", "temperature at the start", 34.0, 40.5),
    "above_C": Variable("°C", "temperature that ends the phase", 30.0, 43.0),
    "below_C": Variable("°C", "temperature that ends the phase", 30.0, 43.0),
    "temperature_C": Variable("°C", "temperature of the water", -5.0, 60.0),
    "drink.temperature_C": Variable("°C", "temperature of the drink", -5.0, 60.0),
    "water_on_skin.temperature_C": Variable("°C", "temperature of the water", 0.0, 45.0),
    "bath.temperature_C": Variable("°C", "temperature of the bath", 0.0, 45.0),
    "mass_g_kg": Variable("g per kg body mass", "mass of the drink", 0.1, 50.0),
    "drink.mass_kg": Variable("kg", "mass of the drink", 0.005, 10.0),
    "bath.mass_kg": Variable("kg", "mass", _TINY, _HUGE),  # refused there, whatever it is
    "water_on_skin.mass_kg": Variable("kg", "mass of water each time", 0.005, 10.0),
    "ice_share": Variable("1", "share of ice in the mass", 0.0, 1.0),
    "spares": Variable("1", "number of spare charges", 0, 1000),
    "refill_at_share": Variable("1", "share left at which a store counts as spent", 0.0, 1.0),
    "contact_W_m2K": Variable("W/m²K", "conductance from skin to bath", 10.0, 1000.0),
    "departure_K": Variable("K", "departure from the cool plateau", 0.01, 2.0),
    "low_C": Variable("°C", "coolest climate tried", 0.0, 50.0),
    "high_C": Variable("°C", "warmest climate tried", 0.0, 50.0),
}  # fmt: skip

_REFERENCE = re.compile(r"\?\w[\w -]*")


def range_of(owner: str, name: str) -> Variable:
    """Return unit and range of a field of a record, e.g. of ``("bath", "temperature_C")``."""
    return RANGES.get(f"{owner}.{name}") or RANGES.get(name) or INPUTS[name]


def range_words(variable: Variable) -> str:
    """Return a range in words, e.g. ``"0.1 to 50 g per kg body mass"`` or ``"more than 0"``."""
    unit = "" if variable.unit == "1" else f" {variable.unit}"
    if variable.high == _HUGE:
        return "more than 0" if variable.low == _TINY else "any finite number"
    return f"{shown(variable.low)} to {shown(variable.high)}{unit}"


def unit_of(quantity: str, read: str, difference: bool = False) -> tuple[str, ...]:
    """Return the units that a read of a quantity may have, none when the quantity has no such read.

    Examples
    --------
    >>> unit_of("rectal_temperature", "change"), unit_of("sweat_loss", "rate"), unit_of("storage", "rate")
    (('K',), ('L/h',), ())
    """
    unit = QUANTITIES[quantity]
    if read == "time_to":
        return ("min",)
    if read == "onset":
        return ("min",) if quantity == "sweat_rate" else ()
    if read == "rate":
        return (RATES[unit],) if unit in RATES else ()
    return ("K",) if unit == "°C" and (difference or read == "change") else (unit,)


def plausible(quantity: str) -> tuple[float, float]:
    """Return the range in which the value of a quantity can lie at all."""
    known = OUTPUTS.get(quantity)
    return (known.low, known.high) if known else (-_HUGE, _HUGE)


# --- the checks of one value: owner is the record (or the kind of cooling), name the field ---------------------------


def is_blank(value: Any) -> bool:
    """Return whether a value is a reference to a blank, such as ``"?air"``."""
    return isinstance(value, str) and _REFERENCE.fullmatch(value) is not None


def check_number(owner: str, name: str, value: Any, blank: bool = False) -> float | str:
    """Return a finite number within the range of the field, or the ``"?name"`` of a blank where one may stand."""
    if blank and is_blank(value):
        return value
    if f"{owner}.{name}" not in RANGES and name not in RANGES:
        return check_range(name, value)
    variable = range_of(owner, name)
    allowed = f"allowed is {range_words(variable)}"
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        remedy = 'write a plain number or "?" and the name of a blank' if blank else "write a plain number"
        raise InputError(f"is {shown(value)}, which is not a number, {allowed}", field=name, remedy=remedy)
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        problem = f"is {shown(value)}, which is not a finite number, {allowed}"
        raise InputError(problem, field=name, remedy="give a finite number")
    if not variable.low <= number <= variable.high:
        unit = "" if variable.unit == "1" else f" {variable.unit}"
        remedy = f"give {variable.long_name} within that range"
        raise InputError(f"is {shown(number)}{unit}, {allowed}", field=name, remedy=remedy)
    return number


def check_plain(name: str, value: Any) -> float:
    """Return a finite number of which the range is checked elsewhere."""
    if isinstance(value, numbers.Real):
        try:
            return float(check_number("blank", "value", value))
        except InputError as error:
            raise InputError(error.problem, field=name, remedy=error.remedy) from None
    problem = f"is {shown(value)}, allowed is a number, a text, true or false"
    raise InputError(problem, field=name, remedy="write one of these")


def check_whole(owner: str, name: str, value: Any) -> int:
    """Return a whole number within the range of the field."""
    number = float(check_number(owner, name, value))
    if number != int(number):
        problem = f"is {shown(number)}, allowed are whole numbers, {range_words(range_of(owner, name))}"
        raise InputError(problem, field=name, remedy="give a whole number")
    return int(number)


def check_text(owner: str, name: str, value: Any, longest: int = 200, empty: bool = False) -> str:
    """Return a text on one line; it does not begin with ``?``, which marks a blank."""
    if isinstance(value, str):
        text = " ".join(value.split())
        if (text or empty) and len(text) <= longest and text.isprintable() and not text.startswith("?"):
            return text
    least = 0 if empty else 1
    problem = f"is {shown(value)}, allowed is a printable text of {least} to {longest} characters without ? in front"
    raise InputError(problem, field=name, remedy='write a short text in "quotes"')


def check_word(owner: str, name: str, value: Any, among: tuple[str, ...]) -> str:
    """Return one of several words."""
    return check_choice(name, value, among)


def check_yes_no(owner: str, name: str, value: Any) -> bool:
    """Return true or false."""
    return check_flag(name, value)


def check_words(owner: str, name: str, value: Any, among: tuple[str, ...] = (), alone: tuple[str, ...] = ()) -> tuple | str:
    """Return a list of texts as a tuple, each once and (if named) each one of ``among``; or one word of ``alone``."""
    if isinstance(value, str) and alone:
        return check_choice(name, value, alone)
    if not isinstance(value, list | tuple):
        problem = f"is {shown(value)}, allowed is a list of texts"
        if alone:
            problem += f" or one of {', '.join(alone)}"
        raise InputError(problem, field=name, remedy='write ["first", "second"]')
    texts = tuple(check_choice(name, one, among) if among else check_text(owner, name, one) for one in value)
    for place, text in enumerate(texts):
        if text in texts[:place]:
            problem = f"has {shown(text)} twice, allowed is each word once"
            raise InputError(problem, field=name, remedy="remove one of the two")
    return texts


def check_minutes(owner: str, name: str, value: Any) -> tuple[float, ...]:
    """Return one minute or a strictly rising list of minutes on the clock as a tuple."""
    given = value if isinstance(value, list | tuple) else (value,)
    for one in given:
        if isinstance(one, numbers.Real) and not isinstance(one, bool) and one < 0:
            where = "the clock starts with the first phase that is not preparation"
            problem = f"has {shown(one)} min, allowed is 0 min or later: {where}"
            raise InputError(problem, field=name, remedy="leave preparation = true out of the phase in which this happens")
    minutes = tuple(float(check_number(owner, name, one)) for one in given)
    for before, after in zip(minutes[:-1], minutes[1:]):
        if after <= before:
            problem = f"has {shown(after)} min after {shown(before)} min, allowed are rising minutes"
            raise InputError(problem, field=name, remedy="sort the minutes and name each once")
    return minutes


def _arguments(owner: str, name: str, value: Any) -> tuple[float, ...] | dict[str, float]:
    if isinstance(value, dict):
        return {key: float(check_number(owner, "value", one)) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return tuple(float(check_number(owner, "value", one)) for one in value)
    problem = f"is {shown(value)}, allowed is a list of numbers or a table of numbers"
    raise InputError(problem, field=name, remedy="write [3.0] or { air_speed_m_s = 3.0 }")


def check_arguments(owner: str, name: str, value: Any) -> tuple[float, ...] | dict[str, float]:
    """Return the arguments of a law; an error names ``arguments``."""
    try:
        return _arguments(owner, name, value)
    except InputError as error:
        raise InputError(error.problem, field=name, remedy=error.remedy) from None
