"""The small tables of a session: limits, ensemble, variants, assumed ranges."""

import math
import numbers
from typing import Any

from pydantic import field_validator, model_validator

from thermosim.errors import InputError
from thermosim.inputs.checks import (
    Card,
    check_choice,
    check_names,
    check_range,
    check_whole,
    shown,
    unit_hint,
)
from thermosim.inputs.heat_exposures import RECENT_DAYS
from thermosim.inputs.runner import Runner, check_interval
from thermosim.inputs.weather import COLUMNS, Weather
from thermosim.parameters import PARAMETERS
from thermosim.variables import INPUTS

SITES = ("core", "rectal", "oesophageal", "gut")
DEFAULT_LIMIT_C = 39.0
UNACCLIMATISED_LIMIT_C = 38.5  # when heat days are unknown or few
FEW_HEAT_DAYS = 5.0
REASON_ABOVE_C = 39.5
REFUSED_FROM_C = 40.0
DEFAULT_MEMBERS, DEFAULT_SEED = 200, 1


class Limits(Card):
    """The core limit a user sets.

    Parameters
    ----------
    core_temperature_C : float, optional
        None leaves it to the heat days: 39.0 °C, or 38.5 °C when they are unknown or under 5.
    site : {'core', 'rectal', 'oesophageal', 'gut'}
        Which temperature the limit acts on.
    reason : str
        Needed above 39.5 °C, and printed in the report.
    """

    core_temperature_C: float | None = None
    site: str = "core"
    reason: str = ""

    @field_validator("core_temperature_C", mode="before")
    @classmethod
    def _limit(cls, value):
        if value is None:
            return None
        low = INPUTS["core_temperature_C"].low
        try:
            limit = check_range("core_temperature_C", value)
        except InputError as error:
            if isinstance(value, bool) or not isinstance(value, numbers.Real) or not value >= REFUSED_FROM_C:
                raise
            problem = f"is {shown(value)} °C, allowed is {low:g} °C to below {REFUSED_FROM_C:g} °C"
            raise InputError(problem, field="core_temperature_C", remedy=error.remedy) from None
        if limit >= REFUSED_FROM_C:
            problem = f"is {limit:g} °C, allowed is {low:g} °C to below {REFUSED_FROM_C:g} °C"
            raise InputError(problem, field="core_temperature_C", remedy="choose a lower core limit")
        return limit

    @field_validator("site", mode="before")
    @classmethod
    def _site(cls, value):
        return check_choice("site", value, SITES)

    @field_validator("reason", mode="before")
    @classmethod
    def _reason(cls, value):
        if isinstance(value, str):
            return value.strip()
        raise InputError(
            f"is {shown(value)}, allowed is a text", field="reason", remedy="write the reason in quotes"
        )

    @model_validator(mode="after")
    def _reasoned(self):
        limit = self.core_temperature_C
        if limit is not None and limit > REASON_ABOVE_C and not self.reason:
            low = INPUTS["core_temperature_C"].low
            problem = f"is {limit:g} °C, allowed without a reason is {low:g} to {REASON_ABOVE_C:g} °C"
            remedy = 'lower it, or write why as limits reason = "…", which the report prints'
            raise InputError(problem, field="core_temperature_C", remedy=remedy)
        return self

    def resolved_C(self, runner: Runner) -> float:
        """Return the limit [°C] for a runner; NaN where none is set and none may be assumed (no adult, or pregnant)."""
        if self.core_temperature_C is not None:
            return self.core_temperature_C
        if runner.outside_adult_model:
            return math.nan
        return DEFAULT_LIMIT_C if runner.heat_days_resolved >= FEW_HEAT_DAYS else UNACCLIMATISED_LIMIT_C

    def warnings(self, runner: Runner) -> list[str]:
        """Return sentences on a default limit, and on one that is high for the heat days."""
        unknown = runner.heat_days is None and runner.heat_exposures is None
        days = "unknown" if unknown else f"{runner.heat_days_resolved:.3g}"
        if runner.heat_exposures is not None:
            days += f" of {PARAMETERS['heat_dose_minutes'].value:g} min in the last {RECENT_DAYS} days"
        limit = self.resolved_C(runner)
        found: list[str] = []
        if math.isnan(limit):
            return found  # the runner card says that there is no default limit
        if self.core_temperature_C is None:
            found.append(f"The core limit is the default, {limit:g} °C (heat days: {days}).")
            if limit > UNACCLIMATISED_LIMIT_C:
                found.append(
                    f"Heat days loosened this default from {UNACCLIMATISED_LIMIT_C:g} to {limit:g} °C (heat days: {days}; "
                    f"below {FEW_HEAT_DAYS:g} it would stay)."
                )
        elif runner.heat_days_resolved < FEW_HEAT_DAYS and limit > UNACCLIMATISED_LIMIT_C:
            found.append(
                f"The core limit is {limit:g} °C with heat days {days}: "
                f"without it {UNACCLIMATISED_LIMIT_C:g} °C would hold."
            )
        if limit > REASON_ABOVE_C:
            found.append(f"The core limit is above {REASON_ABOVE_C:g} °C, because: {self.reason}")
        return found


class Ensemble(Card):
    """How many members and from which seed."""

    members: int = DEFAULT_MEMBERS
    seed: int = DEFAULT_SEED

    @field_validator("members", "seed", mode="before")
    @classmethod
    def _whole(cls, value, info):
        return check_whole(info.field_name, value)


class Variant(Card):
    """One what-if of a session: a name and the cooling devices worn.

    Parameters
    ----------
    name : str
    cooling : tuple of dict
        Each has ``device`` and may have ``from_min``, ``to_min``, ``refill_min``, the same by distance and rule, or a
        ``plan`` from a wear sheet; the others belong to the device and are checked where devices are made.
    """

    name: str
    cooling: tuple[dict[str, Any], ...] = ()

    @field_validator("name", mode="before")
    @classmethod
    def _name(cls, value):
        if isinstance(value, str) and value.strip() and len(value) <= 40 and value.isprintable():
            return value.strip()
        problem = f"is {shown(value)}, allowed is a text of 1 to 40 printable characters"
        raise InputError(problem, field="name", remedy='write e.g. name = "collar"')

    @field_validator("cooling", mode="before")
    @classmethod
    def _cooling(cls, value):
        if not isinstance(value, (list, tuple)) or not all(isinstance(entry, dict) for entry in value):
            problem = f"is {shown(value)}, allowed is a list of tables with a device each"
            raise InputError(problem, field="cooling", remedy="write [[variant.cooling]] and device = …")
        return tuple(check_device(dict(entry), f"cooling[{k}].") for k, entry in enumerate(value, start=1))


def check_device(entry: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """Return one cooling entry with its device name and times checked."""
    device = entry.get("device")
    if not isinstance(device, str) or not device.strip():
        problem = (
            "is missing and has no default" if device is None else f"is {shown(device)}, allowed is a name"
        )
        raise InputError(problem, field=f"{prefix}device", remedy='write e.g. device = "ice_collar"')
    for name, value in entry.items():
        if not _storable(value):
            problem = f"is {shown(value)}, allowed are finite numbers, text, true, false and lists of these"
            raise InputError(problem, field=prefix + name, remedy="correct this field")
    for name in ("from_min", "to_min", "from_km", "to_km", "every_min", "every_km"):
        if name in entry:
            entry[name] = check_range(name, entry[name], field=prefix + name)
    grams = entry.get("ice_kg")  # the device's own card has the range; only grams are told here
    if isinstance(grams, int | float) and unit_hint("ice_kg", grams):
        check_range("ice_kg", grams, field=f"{prefix}ice_kg")
    if not entry.get("from_km", 0.0) < entry.get("to_km", math.inf):
        problem = f"is {entry['to_km']:g} km, allowed is after from_km, which is {entry.get('from_km', 0.0):g} km"
        raise InputError(problem, field=f"{prefix}to_km", remedy="correct from_km or to_km")
    if "refill_km" in entry:
        places = entry["refill_km"] if isinstance(entry["refill_km"], (list, tuple)) else [entry["refill_km"]]
        entry["refill_km"] = [check_range("refill_km", place, field=f"{prefix}refill_km") for place in places]
    if not entry.get("from_min", 0.0) < entry.get("to_min", math.inf):
        start = entry.get("from_min", 0.0)
        problem = f"is {entry['to_min']:g} min, allowed is after from_min, which is {start:g} min"
        raise InputError(problem, field=f"{prefix}to_min", remedy="correct from_min or to_min")
    if "refill_min" in entry:
        refills = (
            entry["refill_min"] if isinstance(entry["refill_min"], (list, tuple)) else [entry["refill_min"]]
        )
        entry["refill_min"] = [
            check_range("refill_min", minute, field=f"{prefix}refill_min") for minute in refills
        ]
        for minute in entry["refill_min"]:
            if "again_min" not in entry and not entry.get("from_min", 0.0) <= minute <= entry.get("to_min", math.inf):
                low, high = entry.get("from_min", 0.0), entry.get("to_min", math.inf)
                problem = f"is {minute:g} min, allowed while worn is {low:g} to {high:g} min"
                raise InputError(
                    problem, field=f"{prefix}refill_min", remedy="correct the refill or the times"
                )
    return entry


def _storable(value: Any) -> bool:
    if isinstance(value, (list, tuple)):
        return all(_storable(item) for item in value)
    if isinstance(value, dict):  # ranges and sources of a device of one's own
        return all(isinstance(key, str) and _storable(item) for key, item in value.items())
    if isinstance(value, (str, bool)):
        return True
    if isinstance(value, numbers.Integral):
        return abs(int(value)) < 2**53
    return isinstance(value, numbers.Real) and math.isfinite(value)


def check_assumed(assumed: Any, runner: Runner, weather: Weather) -> dict[str, tuple[float, float]]:
    """Return the assumed ranges: fields of runner or weather, each holding the value that was given."""
    if not isinstance(assumed, dict):
        problem = f"is {shown(assumed)}, allowed is a table of field = [low, high]"
        raise InputError(
            problem, field="assumed", remedy="write [assumed] and e.g. wind_speed_m_s = [0.0, 1.0]"
        )
    fields = (*Runner.NUMBERS, *COLUMNS)
    found = {}
    for name, pair in assumed.items():
        check_names([name], fields)
        low, high = check_interval(name, pair, name)
        value = _value_of(name, runner, weather)
        if value is not None and not low <= value <= high:
            problem = f"is assumed {low:g} to {high:g} {INPUTS[name].unit}, without its value {value:g}"
            raise InputError(problem, field=name, remedy="widen the range or correct the value")
        found[name] = (low, high)
    return found


def _value_of(name: str, runner: Runner, weather: Weather) -> float | None:
    if name in Runner.NUMBERS:
        resolved = {
            "body_fat_pct": runner.body_fat_resolved_pct,
            "maximum_heart_rate_bpm": runner.maximum_heart_rate_resolved_bpm,
        }
        return resolved.get(name, getattr(runner, name))
    defaults = {"wind_speed_m_s": 0.0, "solar_W_m2": 0.0, "pressure_kPa": float(weather.pressure_kPa[0])}
    value = weather.given.get(name, defaults.get(name))
    if value is None:
        problem = "has an assumed range but no value in the weather"
        raise InputError(
            problem, field=name, remedy=f"give {name} in the weather, or the range of the form given there"
        )
    if isinstance(value, list):
        problem = "has an assumed range but changes with time in the weather"
        raise InputError(problem, field=name, remedy="use steady weather, or drop the range")
    return float(value)


__all__ = ["Ensemble", "Limits", "Variant", "check_assumed", "check_device", "check_names"]
