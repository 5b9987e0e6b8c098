"""What a place adds to a weather sheet: the sun's path on finer knots, its load on a body, long wave of sky and ground."""

import datetime
from typing import Any

import numpy as np

from thermosim.clock import clock_text
from thermosim.errors import InputError
from thermosim.inputs.checks import check_range, missing, shown
from thermosim.inputs.columns import Table
from thermosim.inputs.plain import array
from thermosim.inputs.sun_path import (
    DEFAULT_GROUND,
    Place,
    SunPath,
    body_load,
    equivalent_solar,
    long_wave_radiant,
    moments,
    place_of,
    refuse_sun_at_night,
    start_of,
    sun_path,
    zone_of,
)

WORDS = ("time_zone", "start")
PLACE = ("latitude_deg", "longitude_deg")
NIGHT_S = (22 * 3600.0, 4 * 3600.0)  # from and to, by the clock: deep night but for summers far from the equator
SUN_STEP_S = 600.0  # longest time between knots of the sun
_CLEAR_ENOUGH_W_M2 = 50.0  # below this clear-sky irradiance the ratio to a measurement says nothing about cloud
_CLOUD_EDGE = 1.3  # largest measured over clear-sky irradiance that is carried on between knots


def checked_word(name: str, value: Any) -> str:
    """Return ``time_zone`` or ``start`` as text that can be kept; dates of TOML files become ISO text."""
    if name == "start" and isinstance(value, datetime.date):
        value = value.isoformat()
    if not isinstance(value, str):
        problem = f"is {shown(value)}, allowed is text"
        remedy = 'write e.g. "2026-07-01T06:30"' if name == "start" else 'write e.g. "Europe/Paris"'
        raise InputError(problem, field=name, remedy=remedy)
    if name == "time_zone":
        zone_of(value)
    return value


def word_column(table: Table, name: str) -> str:
    """Return the one word that a column of a sheet holds in its first row, and in no other row another."""
    cells = table.cells(name)
    for cell, line in zip(cells, table.lines):
        if cell not in ("", cells[0]):
            problem = f"is {shown(cell)} after {shown(cells[0])}, allowed is one for the whole sheet"
            raise InputError(problem, field=name, file=table.file, line=line, remedy="write it in the first row only")
    return cells[0]


def start_with_clock(start: str, clock_s: float | None) -> str:
    """Return a start as date and time of day: a date alone takes the clock of the sheet's first row, two must agree."""
    date, _, time = start.replace(" ", "T").partition("T")
    if clock_s is None:
        return start
    clock = f"{int(clock_s) // 3600:02d}:{int(clock_s) % 3600 // 60:02d}:{int(clock_s) % 60:02d}"
    if time and not clock.startswith(time[:5]):
        problem = f"is {shown(start)} but the first row of the sheet is at {clock[:5]}"
        raise InputError(problem, field="start", remedy="give the date alone, or correct one of the two")
    return f"{date}T{clock}{time[5:] if len(time) > 8 else ''}"


def later(given: dict[str, Any], by_s: float) -> dict[str, Any]:
    """Return the given fields with ``start`` moved ``by_s`` later, as the moment of time 0 moves."""
    if "start" not in given:
        return given
    moment = start_of(given["start"], given.get("time_zone"))
    moved = (moment.astimezone(datetime.UTC) + datetime.timedelta(seconds=by_s)).astimezone(moment.tzinfo)
    return {**{name: item for name, item in given.items() if name not in WORDS}, **words_of(moved, given.get("time_zone"))}


def words_of(moment: datetime.datetime, time_zone: str | None) -> dict[str, str]:
    """Return ``start`` and ``time_zone`` as a sheet writes a moment; its offset alone where the zone's clock shows it twice."""
    if time_zone is None or moment.utcoffset() != moment.replace(fold=1 - moment.fold).utcoffset():
        return {"start": moment.isoformat()}
    return {"start": moment.replace(tzinfo=None).isoformat(), "time_zone": time_zone}


def clock_of(given: dict[str, Any]) -> float | None:
    """Return the local time of day of the start [s since midnight], or None where there is no start."""
    if "start" not in given:
        return None
    moment = start_of(given["start"], given.get("time_zone"))
    return 3600.0 * moment.hour + 60.0 * moment.minute + moment.second


def add_sun(
    given: dict[str, Any], time_s: np.ndarray, values: dict[str, Any], places: list[dict]
) -> tuple[np.ndarray, dict[str, Any], tuple[str, ...]]:
    """Return the knots, the quantities and the notes of a weather, with what its place adds.

    Without a place ``solar_equivalent_W_m2`` is ``solar_W_m2``. With one, knots are at most ten minutes apart (a steady
    weather keeps its one), ``solar_W_m2`` is the global irradiance at each, ``solar_equivalent_W_m2`` what the engine reads
    (:func:`thermosim.inputs.sun_path.equivalent_solar`), and mean radiant temperature that of sky and ground.

    Parameters
    ----------
    given : dict
        What was written.
    time_s : ndarray
        Its knots [s].
    values : dict
        Quantities on those knots, from :func:`thermosim.inputs.weather_build.quantities`.
    places : list of dict
        File and line of each row, for errors.
    """
    where = _place(given, values, places[0])
    without = {**values, "solar_equivalent_W_m2": values["solar_W_m2"], "sun": None, "albedo": None}
    if where is None:
        return time_s, without, ()
    if "globe_temperature_C" in given:
        note = "The globe has seen the sun: latitude_deg and longitude_deg change nothing."
        return time_s, without, (note,)
    measured, clouded = "solar_W_m2" in given, "cloud_cover" in given
    if not measured and not clouded:
        problem = "is missing beside latitude_deg: the sun's load needs a measured global irradiance or the clouds"
        remedy = "give solar_W_m2, or cloud_cover (0 is clear, 1 is overcast)"
        raise InputError(problem, field="solar_W_m2", remedy=remedy, **places[0])
    begin = start_of(given["start"], given.get("time_zone"))
    finer = _finer(time_s)
    found: dict[str, Any] = {
        name: item if isinstance(item, str) else _on(finer, time_s, item, name) for name, item in values.items()
    }
    albedo = _on(finer, time_s, _column(given, "albedo", len(time_s), DEFAULT_GROUND.albedo, places), "albedo")
    times = moments(begin, finer)
    notes = [f"The sun's path is that of {where.latitude_deg:g}°, {where.longitude_deg:g}° from {begin.isoformat()} on."]
    if len(finer) == 1:
        notes.append("The weather is steady, so the sun stands still: give time_min for one that moves.")
    clouds = _on(finer, time_s, _column(given, "cloud_cover", len(time_s), 0.0, places), "cloud_cover")
    if measured:
        path, seen, said = _measured(where, times, finer, time_s, values["solar_W_m2"], places)
        if not clouded:
            clouds = seen
            notes.append(said)
    else:
        path = sun_path(where, times, cloud_cover=clouds)
        notes.append("solar_W_m2 is estimated: a clear sky, dimmed by cloud_cover.")
    if "albedo" not in given:
        notes.append(f"albedo is the default, {DEFAULT_GROUND.albedo:g} (grass, dry soil).")
    found["sun"], found["albedo"] = path, albedo
    found["solar_W_m2"] = array(path.global_horizontal_W_m2)
    found["solar_equivalent_W_m2"] = array(equivalent_solar(body_load(path, albedo)))
    if np.isnan(found["mean_radiant_temperature_C"]).all():
        radiant, ground = long_wave_radiant(
            found["air_temperature_C"], found["vapour_pressure_kPa"], found["wind_speed_m_s"], clouds, path, albedo
        )
        found["mean_radiant_temperature_C"] = array(radiant)
        notes.append(
            f"Long wave of sky and ground is estimated: mean radiant temperature without the sun {radiant.min():.0f} to "
            f"{radiant.max():.0f} °C, ground {ground.min():.0f} to {ground.max():.0f} °C (right to some 5 to 10 K in sun)."
        )
    return finer, found, tuple(notes)


def sun_at_night(weather: Any, start_clock_s: float | None, minutes: float) -> list[str]:
    """Return what is said of a sun that is given by hand, without a place, at clock times at which it is down in most places.

    Parameters
    ----------
    weather : Weather
    start_clock_s : float or None
        Clock time of time 0 [s since midnight]; where there is none, nothing is said.
    minutes : float
        How long the run lasts [min].
    """
    if start_clock_s is None or weather.sun is not None or "solar_W_m2" not in weather.given:
        return []
    time_s = np.arange(0.0, 60.0 * minutes + 1.0, 60.0)
    time_s = time_s if weather.steady_air else time_s[time_s <= weather.time_s[-1]]
    solar, clock = weather.at(time_s)["solar_W_m2"], (start_clock_s + time_s) % 86400.0
    odd = np.flatnonzero((solar > 0.0) & ((clock >= NIGHT_S[0]) | (clock < NIGHT_S[1])))
    if not odd.size:
        return []
    most = odd[int(np.argmax(solar[odd]))]
    return [
        f"solar_W_m2 is {solar[most]:.0f} W/m² at {clock_text(clock[most])} by the clock, when the sun is down in most places: "
        "correct the clock or the sun, or give latitude_deg and longitude_deg, so that the sun follows the date."
    ]


def _place(given: dict, values: dict, place: dict) -> Place | None:
    """Return the place, or None where none is given; refuse halves of one."""
    stated = [name for name in PLACE if name in given]
    if not stated:
        for name in ("albedo", "cloud_cover"):
            if name in given:
                problem = "is given without a place, so that no sun hangs on it"
                raise InputError(problem, field=name, remedy="add latitude_deg and longitude_deg, or drop it", **place)
        return None
    for name in PLACE:
        if name not in given:
            raise missing(name, **place)
    if "start" not in given:
        problem = "is missing beside latitude_deg: the sun's place hangs on date and time"
        raise InputError(problem, field="start", remedy='add start, e.g. "2026-07-01T06:30", and time_zone', **place)
    numbers = []
    for name in PLACE:
        column = np.atleast_1d(np.asarray(given[name], dtype=float))
        column = column[~np.isnan(column)]
        if column.size == 0:
            raise missing(name, **place)
        if np.ptp(column) > 0.0:
            problem = f"changes from {column.min():g} to {column.max():g}°, allowed is one for the whole weather"
            raise InputError(problem, field=name, remedy="give the middle of the course", **place)
        numbers.append(check_range(name, float(column[0])))
    if "altitude_m" in given:
        altitude = float(np.nanmean(np.asarray(given["altitude_m"], dtype=float)))
    else:
        from thermosim.physics.air import altitude_of_pressure

        altitude = altitude_of_pressure(float(np.mean(values["pressure_kPa"])))
    return place_of(numbers[0], numbers[1], min(max(altitude, -430.0), 5500.0))


def _column(given: dict, name: str, rows: int, absent: float, places: list[dict]) -> np.ndarray:
    column = np.broadcast_to(np.asarray(given.get(name, absent), dtype=float), (rows,))
    for row in np.flatnonzero(np.isnan(column)):
        raise missing(name, **places[row])
    return column


def _finer(time_s: np.ndarray) -> np.ndarray:
    """Return the knots with as many more, evenly between each two, as none is farther than the sun's step apart."""
    pieces = [
        np.linspace(low, high, int(np.ceil((high - low) / SUN_STEP_S)) + 1)[:-1]
        for low, high in zip(time_s[:-1], time_s[1:])
    ]
    return array(np.concatenate([*pieces, time_s[-1:]]))


def _on(finer: np.ndarray, time_s: np.ndarray, column: np.ndarray, name: str) -> np.ndarray:
    """Return a quantity on the finer knots, linear between its own; a direction along the shorter arc."""
    if name == "wind_from_deg":
        return array(np.interp(finer, time_s, np.degrees(np.unwrap(np.radians(column)))) % 360.0)
    return array(np.interp(finer, time_s, column))


def _measured(
    where: Place, times: Any, finer: np.ndarray, time_s: np.ndarray, measured: np.ndarray, places: list[dict]
) -> tuple[SunPath, np.ndarray, str]:
    """Return path, clouds and a note from a measured global irradiance.

    Between its knots it keeps its ratio to the clear sky's, so that a dawn between two hours follows the sun.
    """
    from thermosim.physics.sun import cloud_of_global_share

    at_knots = np.searchsorted(finer, time_s)
    clear = sun_path(where, times)
    here = SunPath(*(column[at_knots] for column in clear))._replace(global_horizontal_W_m2=np.asarray(measured))
    refuse_sun_at_night(here, times[at_knots], places)
    bright = here.clear_global_W_m2 > _CLEAR_ENOUGH_W_M2
    if not bright.any():
        whole = np.interp(finer, time_s, measured)
        clouds = np.zeros(finer.size)
        note = "No daylight tells of clouds: the long wave of the sky is that of a clear one; cloud_cover would say more."
    else:
        ratio = measured[bright] / here.clear_global_W_m2[bright]
        between = np.interp(finer, time_s[bright], np.minimum(ratio, _CLOUD_EDGE))
        whole = between * clear.clear_global_W_m2
        clouds = np.array([cloud_of_global_share(float(share)) for share in between])
        note = "Clouds are read from solar_W_m2 against a clear sky (the nearest daylight's at night)."
    whole[at_knots] = measured
    return sun_path(where, times, global_horizontal_W_m2=whole), clouds, note
