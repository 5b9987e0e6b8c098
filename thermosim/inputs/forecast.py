"""Where a session's weather comes from: a table, a sheet, a station file, several sheets; corrected, and with a spread."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, missing, shown
from thermosim.inputs.files import Source
from thermosim.inputs.plain import SameContent
from thermosim.inputs.station import is_station, read_station, station_fields
from thermosim.inputs.trackside import correct, read_trackside
from thermosim.inputs.weather import Weather

# Half of the 90 % interval that a spread states: name -> unit, lowest, highest.
SPREADS = {
    "air_temperature_K": ("K", 0.0, 8.0), "vapour_pressure_pct": ("%", 0.0, 50.0), "wind_speed_pct": ("%", 0.0, 100.0),
    "solar_pct": ("%", 0.0, 80.0),
}  # fmt: skip
STATION_FIELDS = ("station", "start", "hours", "time_zone", "sun", "wind_from")
SOURCES = ("sheet", "sheets", "station")
MORE = ("corrections", "spread")
MOST_SHEETS = 60


@dataclass(frozen=True, eq=False)
class Forecast(SameContent):
    """What a forecast does not know: further sheets, and a stated spread.

    Attributes
    ----------
    sheets : tuple of Weather
        All members, the first of them the session's weather; empty for one alone.
    spread : dict
        Name of :data:`SPREADS` -> half of the 90 % interval, of the whole forecast at once.
    names : tuple of str
    """

    sheets: tuple[Weather, ...] = ()
    spread: dict[str, float] = field(default_factory=dict)
    names: tuple[str, ...] = ()

    def shifted(self, by_s: float) -> "Forecast":
        """Return the forecast with time 0 moved ``by_s`` later in every sheet."""
        return Forecast(tuple(sheet.shifted(by_s) for sheet in self.sheets), self.spread, self.names)

    def warnings(self) -> list[str]:
        """Return what was stated, in sentences."""
        found = []
        if self.sheets:
            found.append(
                f"The forecast has {len(self.sheets)} sheets ({', '.join(self.names)}): members of an ensemble take them in turn."
            )
        if self.spread:
            said = ", ".join(f"{name} ±{value:g} {SPREADS[name][0]}" for name, value in self.spread.items())
            found.append(f"Spread of the forecast, 90 %, one draw for the whole of it in each member: {said}.")
        return found

    def to_dict(self) -> dict[str, Any]:
        """Return the forecast as plain values."""
        return {"sheets": [sheet.to_dict() for sheet in self.sheets], "spread": dict(self.spread), "names": list(self.names)}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Forecast":
        """Return the forecast of :meth:`to_dict`."""
        return cls(tuple(map(Weather.from_dict, data["sheets"])), check_spread(data["spread"]), tuple(data["names"]))


def check_spread(value: Any) -> dict[str, float]:
    """Return a stated spread: known names, finite numbers within range."""
    if not isinstance(value, dict):
        problem = f"is {shown(value)}, needed is a table such as {{air_temperature_K = 1.5}}"
        raise InputError(problem, field="spread", remedy=f"known are {', '.join(SPREADS)}")
    check_names(value, SPREADS, value)
    for name, number in value.items():
        unit, low, high = SPREADS[name]
        if isinstance(number, bool) or not isinstance(number, int | float) or not low <= number <= high:
            problem = f"is {shown(number)}, allowed is {low:g} to {high:g} {unit}: half of the 90 % interval"
            raise InputError(problem, field=f"spread.{name}", remedy="correct it or leave it out")
    return {name: float(number) for name, number in value.items()}


def read_weather(value: Any, folder: Path, source: Source) -> tuple[Weather, Forecast | None]:
    """Return the weather of a session and what its forecast leaves open.

    ``value`` is a table of weather fields, the name of a ``*.weather.csv``, a list of such names (a forecast's members), or a
    table with ``sheet``, ``sheets`` or ``station`` (and its window), ``corrections`` and ``spread``.
    """
    if isinstance(value, str):
        _refuse_station(folder / value, value)
        return Weather.sheet(folder / value), None
    if isinstance(value, list):
        return _sheets(value, folder, None, {})
    if not isinstance(value, dict) or not any(name in value for name in (*SOURCES, *MORE)):
        return Weather.from_table(value), None
    named = [name for name in SOURCES if name in value]
    if len(named) > 1:
        raise InputError(f"is given beside {named[0]}", field=named[1], remedy="keep one source of the weather")
    spread = check_spread(value.get("spread", {}))
    corrections = value.get("corrections")
    if corrections is not None and not isinstance(corrections, str):
        problem = f"is {shown(corrections)}, allowed is the name of a *.trackside.csv"
        raise InputError(problem, field="corrections", remedy="name the file in quotes")
    if not named:
        weather = Weather.from_table({name: item for name, item in value.items() if name not in MORE})
    elif named == ["station"]:
        check_names(value, (*STATION_FIELDS, *MORE), value)
        weather = read_station_window(value, folder)
    else:
        check_names(value, (named[0], *MORE), value)
        names = value[named[0]] if named == ["sheets"] else [value["sheet"]]
        return _sheets(names, folder, corrections, spread)
    weather = _corrected(weather, corrections, folder)
    return weather, Forecast((), spread, ()) if spread else None


def read_station_window(value: dict[str, Any], folder: Path) -> Weather:
    """Return the window of a station file that a table names: ``station``, ``start``, ``hours`` and options."""
    for name in ("start", "hours"):
        if name not in value:
            raise missing(name)
    if not isinstance(value["station"], str):
        problem = f"is {shown(value['station'])}, needed is the name of a station file"
        raise InputError(problem, field="station", remedy="name the file in quotes")
    station = read_station(folder / value["station"])
    options = {name: value[name] for name in ("time_zone", "sun", "wind_from") if name in value}
    given, clock_s, notes = station_fields(station, value["start"], value["hours"], **options)
    return Weather.of_given(given, clock_s, tuple(notes))


def _sheets(names: Any, folder: Path, corrections: str | None, spread: dict[str, float]) -> tuple[Weather, Forecast | None]:
    """Return the first of some sheets, and the forecast that all of them are."""
    if not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
        problem = f"is {shown(names)}, needed is a list of *.weather.csv names"
        raise InputError(problem, field="sheets", remedy='write e.g. ["a.weather.csv", "b.weather.csv"]')
    if len(names) > MOST_SHEETS or len(set(names)) < len(names):
        problem = f"has {len(names)} names, {len(set(names))} of them different, allowed are up to {MOST_SHEETS}, each once"
        raise InputError(problem, field="sheets", remedy="cut the list")
    for name in names:
        _refuse_station(folder / name, name)
    sheets = tuple(_corrected(Weather.sheet(folder / name), corrections, folder) for name in names)
    first = sheets[0]
    for name, sheet in zip(names, sheets):
        if sheet.start_clock_s != first.start_clock_s:
            problem = "starts at another clock time than the first sheet of the forecast"
            raise InputError(problem, file=str(folder / name), remedy="begin all sheets of one forecast at the same time")
        if (sheet.wind_from == "degrees") != (first.wind_from == "degrees"):
            problem = "gives the wind's direction in another form than the first sheet of the forecast"
            raise InputError(problem, file=str(folder / name), remedy="give words in all sheets, or degrees in all")
    many = len(sheets) > 1
    return first, Forecast(sheets if many else (), spread, tuple(names) if many else ()) if many or spread else None


def _corrected(weather: Weather, corrections: str | None, folder: Path) -> Weather:
    if corrections is None:
        return weather
    return correct(weather, read_trackside(folder / corrections, weather), corrections)


def _refuse_station(path: Path, name: str) -> None:
    """Say how a station file is given, where one is named like a sheet."""
    if path.is_file() and is_station(path):
        problem = "is an hourly station file, of which a session uses a window"
        remedy = f'write weather = {{station = "{name}", start = "07-07T05:00", hours = 24}}'
        raise InputError(problem, file=str(path), remedy=remedy)
