"""The weather sheet: air, wind and sun at knots in time, linear in between."""

import functools
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thermosim.clock import clock_seconds
from thermosim.constants import STANDARD_PRESSURE_KPA
from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, check_range, missing, shown
from thermosim.inputs.columns import Table, check_increasing, number, read_table
from thermosim.inputs.humidity import FORMS
from thermosim.inputs.plain import SameContent, array, plain
from thermosim.inputs.weather_build import WIND_WORDS, quantities
from thermosim.inputs.weather_sun import (
    PLACE,
    WORDS,
    add_sun,
    checked_word,
    clock_of,
    later,
    start_with_clock,
    word_column,
)
from thermosim.inputs.weather_wbgt import WetBulbGlobe, wet_bulb_globe_of

TIMES = ("time_min", "time_s", "clock")
COLUMNS = (
    "air_temperature_C", "relative_humidity_pct", "dew_point_C", "wet_bulb_C", "vapour_pressure_kPa",
    "wind_speed_m_s", "wind_from_deg", "solar_W_m2", "globe_temperature_C", "mean_radiant_temperature_C",
    "pressure_kPa", "cloud_cover", "natural_wet_bulb_C",
)  # fmt: skip
FIELDS = (*COLUMNS, "wind_from", "wind_height_m", "altitude_m", *PLACE, "albedo", *WORDS)
# Fields of which one replaces another when a flag overrides it.
RIVALS = (FORMS, ("wind_from", "wind_from_deg"), ("pressure_kPa", "altitude_m"),
          ("globe_temperature_C", "mean_radiant_temperature_C"))  # fmt: skip
_DEFAULTS = {"wind_speed_m_s": 0.0, "solar_W_m2": 0.0}


@dataclass(frozen=True, eq=False)
class Weather(SameContent):
    """Weather on knots ``time_s``; build it with :meth:`steady`, :meth:`from_table` or :meth:`sheet`.

    Attributes
    ----------
    time_s : ndarray
        Knots [s from start]; one knot when steady. Between knots every quantity is linear (direction along
        the shorter arc).
    air_temperature_C, vapour_pressure_kPa, wind_speed_m_s, solar_W_m2, pressure_kPa : ndarray
        Wind speed is at the runner's height, 1.5 m; the sun is global horizontal.
    solar_equivalent_W_m2 : ndarray
        What the engine reads as the sun: with a place, the global irradiance that gives an upright body's load of sun, sky
        and ground; without one, ``solar_W_m2`` itself.
    natural_wet_bulb_C : ndarray
        NaN where it was not read.
    wind_from : str
        ``head``, ``tail``, ``cross`` or ``degrees``.
    wind_from_deg : ndarray
        NaN unless ``wind_from`` is ``degrees``.
    mean_radiant_temperature_C : ndarray
        NaN means equal to the air (or to be found from the globe). With a place: sky and ground, without the sun.
    globe_temperature_C : ndarray
        NaN where there is none; mean radiant temperature follows from it with the air speed.
    steady_air : bool
        One knot that holds for any time.
    given : dict
        What was written, as it was written.
    start_clock_s : float or None
        Clock time of time 0 [s since midnight], when the sheet had a clock.
    notes : tuple of str
    sun : SunPath or None
        The sun's path on the knots, where a place is given.
    albedo : ndarray or None
        Of the ground, on the knots, where a place is given.
    """

    time_s: np.ndarray
    air_temperature_C: np.ndarray
    vapour_pressure_kPa: np.ndarray
    wind_speed_m_s: np.ndarray
    wind_from_deg: np.ndarray
    wind_from: str
    solar_W_m2: np.ndarray
    mean_radiant_temperature_C: np.ndarray
    globe_temperature_C: np.ndarray
    pressure_kPa: np.ndarray
    solar_equivalent_W_m2: np.ndarray
    natural_wet_bulb_C: np.ndarray
    steady_air: bool = True
    given: dict[str, Any] = field(default_factory=dict)
    start_clock_s: float | None = None
    notes: tuple[str, ...] = ()
    sun: Any = None
    albedo: np.ndarray | None = None

    @functools.cached_property
    def wet_bulb_globe(self) -> WetBulbGlobe:
        """Wet-bulb globe temperature with its parts, its label and notes on the knots; ISO 7243."""
        return wet_bulb_globe_of(self)

    @property
    def wbgt_C(self) -> np.ndarray:
        """Wet-bulb globe temperature on the knots [°C]; :attr:`wbgt_label` says how it was found."""
        return self.wet_bulb_globe.wbgt_C

    @property
    def wbgt_label(self) -> str:
        """``measured`` (globe and natural wet bulb were read) or ``estimated``."""
        return self.wet_bulb_globe.label

    @classmethod
    def steady(cls, **fields) -> "Weather":
        """Return weather that does not change.

        Examples
        --------
        >>> air = Weather.steady(air_temperature_C=31, relative_humidity_pct=75, wind_speed_m_s=0.5)
        >>> round(float(air.vapour_pressure_kPa[0]), 2)
        3.37
        """
        check_names(fields, FIELDS, fields)
        given = {}
        for name, value in fields.items():
            given[name] = _checked(name, value)
        return _build(given, None, ())

    @classmethod
    def from_table(cls, fields: dict[str, Any]) -> "Weather":
        """Return weather from a table: single values, or lists with ``time_min`` or ``time_s``."""
        check_names(fields, (*FIELDS, "time_min", "time_s"), fields)
        times = [name for name in ("time_min", "time_s") if name in fields]
        if not times:
            return cls.steady(**fields)
        if len(times) > 1:
            raise InputError("is given beside time_min", field="time_s", remedy="keep one of them")
        given: dict[str, Any] = {}
        count = len(fields[times[0]]) if isinstance(fields[times[0]], (list, tuple)) else 0
        if count < 2:
            problem = f"is {shown(fields[times[0]])}, needed is a list of two or more times"
            raise InputError(problem, field=times[0], remedy="leave it out for steady weather")
        for name, value in fields.items():
            if isinstance(value, (list, tuple)) and name not in ("wind_from", *WORDS):
                if len(value) != count:
                    problem = f"has {len(value)} values, {times[0]} has {count}"
                    raise InputError(problem, field=name, remedy="give one value for each time")
                given[name] = [check_range(name, item) for item in value]
            else:
                given[name] = _checked(name, value)
        factor = 60.0 if times[0] == "time_min" else 1.0
        given["time_s"] = [factor * item for item in given.pop(times[0])]
        for before, after in zip(given["time_s"], given["time_s"][1:]):
            if not after > before:
                problem = f"time runs backwards ({after:g} s after {before:g} s), allowed are rising times"
                raise InputError(problem, field=f"{times[0]}:", remedy="sort the rows by time")
        return _build(given, None, ())

    @classmethod
    def sheet(cls, path) -> "Weather":
        """Read a ``*.weather.csv``: a time column, air temperature, any one humidity form, and more.

        Time is ``time_min``, ``time_s``, or ``clock`` (HH:MM; a step back by more than 12 h is midnight).
        """
        table = read_table(path)
        file, header_line = table.file, table.header_line
        check_names(table.header, (*FIELDS, *TIMES), file=file, line=header_line)
        times = [name for name in TIMES if name in table.header]
        if len(times) != 1:
            problem = f"has {len(times)} time columns ({', '.join(times) or 'none'}), needed is one"
            raise InputError(problem, file=file, line=header_line, remedy=f"keep one of {', '.join(TIMES)}")
        if len(table.rows) < 2:
            problem = "has one row, needed are two or more"
            raise InputError(problem, file=file, remedy="add a row for the end of the session")
        time_s, start = _times(table, times[0])
        given: dict[str, Any] = {"time_s": [float(second) for second in time_s]}
        for name in table.header:
            if name in TIMES:
                continue
            if name == "wind_from":
                given.update(_wind_column(table))
                continue
            if name in WORDS:
                if word := word_column(table, name):
                    given[name] = checked_word(name, word)
                continue
            given[name] = [
                _ranged(value, name, file, line) for value, line in zip(table.numbers(name), table.lines)
            ]
        if "start" in given:
            given["start"] = start_with_clock(given["start"], start)
        return _build(given, start, tuple(table.lines), file, header_line)

    def at(self, time_s) -> dict[str, Any]:
        """Return every quantity at a time (or times) [s], linear between knots; outside is refused."""
        wanted = np.asarray(time_s, dtype=float)
        inside = (wanted >= self.time_s[0]) & (wanted <= self.time_s[-1])
        if not self.steady_air and not np.all(inside):
            problem = f"is outside the weather, which covers {self.time_s[0]:g} to {self.time_s[-1]:g} s"
            raise InputError(problem, field="time_s", remedy="extend the weather sheet")
        found = {name: np.interp(wanted, self.time_s, getattr(self, name)) for name in _QUANTITIES}
        turned = np.degrees(np.unwrap(np.radians(self.wind_from_deg)))
        found["wind_from_deg"] = np.interp(wanted, self.time_s, turned) % 360.0
        return {name: float(value) if value.ndim == 0 else value for name, value in found.items()}

    def shifted(self, by_s: float) -> "Weather":
        """Return the same weather with time 0 moved ``by_s`` later; earlier knots get negative times."""
        if self.steady_air:
            return _build(later(self.given, by_s), None, ()) if "start" in self.given else self
        given = later({**self.given, "time_s": [second - by_s for second in self.given["time_s"]]}, by_s)
        start = None if self.start_clock_s is None else (self.start_clock_s + by_s) % 86400.0
        return _build(given, start, ())

    def starting_at(self, clock: str) -> "Weather":
        """Return the same weather with time 0 at a clock time ``HH:MM`` within the sheet."""
        seconds = clock_seconds(clock) if isinstance(clock, str) else None
        if seconds is None:
            raise InputError(
                f'is {shown(clock)}, allowed is "HH:MM"', field="start", remedy='write e.g. "02:30"'
            )
        if self.start_clock_s is None:
            problem = f"is {shown(clock)} but the weather has no clock column"
            raise InputError(
                problem, field="start", remedy="leave start out, or give the weather sheet a clock"
            )
        by = seconds - self.start_clock_s
        if self.steady_air:
            return self.shifted(by)
        first, last = self.given["time_s"][0], self.given["time_s"][-1]
        candidates = [by + 86400.0 * days for days in range(-3, 8) if first <= by + 86400.0 * days <= last]
        if not candidates:
            problem = f"is {clock}, outside the clock times of the weather sheet"
            raise InputError(problem, field="start", remedy="choose a time within the sheet or extend it")
        moved = self.shifted(candidates[0])
        beside = 0.0 if moved.start_clock_s is None else (seconds - moved.start_clock_s + 43200.0) % 86400.0 - 43200.0
        return self.shifted(candidates[0] + beside) if beside else moved  # the clocks changed in between

    def with_fields(self, fields: dict[str, Any]) -> "Weather":
        """Return the weather with fields replaced throughout; a new humidity form drops the others."""
        check_names(fields, FIELDS, fields)
        given = dict(self.given)
        for name in fields:
            for rivals in RIVALS:
                if name in rivals:
                    given = {key: value for key, value in given.items() if key not in rivals}
        for name, value in fields.items():
            given[name] = _checked(name, value)
        return _build(given, self.start_clock_s, ())

    def warnings(self) -> list[str]:
        """Return a sentence for each default used and each note."""
        defaults = {name for name in _DEFAULTS if name not in self.given}
        if self.sun is not None:
            defaults.discard("solar_W_m2")
        found = [f"{name} is the default, 0." for name in _DEFAULTS if name in defaults]
        if "pressure_kPa" not in self.given and "altitude_m" not in self.given:
            found.append(f"pressure_kPa is the default, {STANDARD_PRESSURE_KPA} kPa (sea level).")
        blows = bool(np.any(self.wind_speed_m_s > 0.0))
        if blows and "wind_from" not in self.given and "wind_from_deg" not in self.given:
            found.append("wind_from is the default, cross.")
        return found + list(self.notes)

    def to_dict(self) -> dict[str, Any]:
        """Return what was given, as plain values; :meth:`from_dict` builds the same weather from it."""
        return {"given": plain(self.given), "start_clock_s": self.start_clock_s}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Weather":
        """Return the weather of :meth:`to_dict`."""
        given = {
            name: [np.nan if item is None else item for item in value] if isinstance(value, list) else value
            for name, value in data["given"].items()
        }
        check_names(given, (*FIELDS, "time_s", "said"), given)
        return _build(given, data.get("start_clock_s"), ())

    @classmethod
    def of_given(cls, given: dict[str, Any], start_clock_s: float | None = None, said: tuple[str, ...] = ()) -> "Weather":
        """Return the weather of checked fields, lists on ``time_s``; ``said`` is what was done to get them, kept as notes."""
        check_names(given, (*FIELDS, "time_s"), given)
        return _build({**given, "said": list(said)} if said else given, start_clock_s, ())


_QUANTITIES = (
    "air_temperature_C", "vapour_pressure_kPa", "wind_speed_m_s", "solar_W_m2", "mean_radiant_temperature_C",
    "globe_temperature_C", "pressure_kPa", "solar_equivalent_W_m2", "natural_wet_bulb_C",
)  # fmt: skip


def _times(table: Table, name: str) -> tuple[np.ndarray, float | None]:
    """Return the times of a sheet [s from its first row] and the clock time of its first row [s]."""
    if name != "clock":
        column = table.numbers(name)
        for value, line in zip(column, table.lines):
            if value == value:
                check_range(name, value, file=table.file, line=line)
        seconds = column * (60.0 if name == "time_min" else 1.0)
        check_increasing(seconds, table, name)
        return seconds, None
    found: list[float] = []
    day = 0.0
    for cell, line in zip(table.cells(name), table.lines):
        value = clock_seconds(cell)
        if value is None:
            problem = f"is {shown(cell)}, allowed is HH:MM, 00:00 to 24:00"
            remedy = "write e.g. 02:30; after midnight the clock begins anew"
            raise InputError(problem, field="clock", file=table.file, line=line, remedy=remedy)
        if found and value + day < found[-1] - 43200.0:
            day += 86400.0
        found.append(value + day)
    seconds = np.array(found)
    check_increasing(seconds, table, name)
    return seconds - seconds[0], found[0] % 86400.0


def _checked(name: str, value: Any) -> Any:
    """Return a single value of a field, checked."""
    if name == "wind_from":
        return value  # weather_build sorts words from degrees
    return checked_word(name, value) if name in WORDS else check_range(name, value)


def _ranged(value: float, name: str, file: str, line: int) -> float:
    return value if value != value else check_range(name, float(value), file=file, line=line)


def _wind_column(table: Table) -> dict[str, Any]:
    """Return the ``wind_from`` column as one word for all rows, or as degrees."""
    cells = table.cells("wind_from")
    words = {cell for cell in cells if cell in WIND_WORDS}
    if words and (len(words) > 1 or len(set(cells)) > 1):
        line = next(line for cell, line in zip(cells, table.lines) if cell != cells[0])
        problem = "changes between words, allowed is one word for the whole sheet or degrees in every row"
        raise InputError(
            problem,
            field="wind_from",
            file=table.file,
            line=line,
            remedy="give degrees, with a heading in the effort",
        )
    if words:
        return {"wind_from": words.pop()}
    degrees = []
    for cell, line in zip(cells, table.lines):
        try:
            value = number(cell, "wind_from", table.file, line)
        except InputError:
            problem = f"is {shown(cell)}, allowed are head, tail, cross or 0 to 360 °"
            raise InputError(
                problem, field="wind_from", file=table.file, line=line, remedy="use one of these"
            ) from None
        degrees.append(_ranged(value, "wind_from_deg", table.file, line))
    return {"wind_from_deg": degrees}


def _build(given, start_clock_s, lines, file=None, header_line=None) -> Weather:
    """Check what was given as a whole and bring it to the quantities of :class:`Weather`."""
    time_s = array(given.get("time_s", 0.0))
    places = [{"file": file, "line": line} for line in lines] or [{} for _ in time_s]
    if "air_temperature_C" not in given:
        raise missing("air_temperature_C", file=file, line=header_line)
    values, notes = quantities(given, len(time_s), places)
    time_s, values, more = add_sun(given, time_s, values, places)
    clock = clock_of(given)
    return Weather(
        time_s=time_s, **values, steady_air="time_s" not in given, given=given,
        start_clock_s=start_clock_s if clock is None else clock, notes=(*given.get("said", ()), *notes, *more),
    )  # fmt: skip
