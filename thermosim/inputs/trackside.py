"""Trackside corrections: readings by the clock that shift a weather sheet, the offset a straight line between readings.

Before the first reading and after the last the nearest offset is held, and that is said. The sun is corrected by a globe
reading as a share of itself; at night, or where the sheet has a globe, the globe's own difference is carried.
"""

from typing import Any, NamedTuple

import numpy as np

from thermosim.clock import clock_seconds
from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, check_range, missing, shown
from thermosim.inputs.columns import check_increasing, read_table
from thermosim.inputs.humidity import FORMS, vapour_pressure
from thermosim.inputs.weather import Weather

COLUMNS = ("clock", "time_min", "air_temperature_C", *FORMS, "wind_speed_m_s", "wind_height_m", "globe_temperature_C")
# A sheet that is so far off may not be this course's: flagged (our choice; a station and a course a few kilometres apart).
LARGE_AIR_K, LARGE_VAPOUR_KPA, LARGE_WIND_M_S = 3.0, 0.5, 2.0
HELD_LONG_S = 3600.0
BRIGHT_W_M2 = 50.0  # below this the sun is too weak for a share of it to be told from a globe
LARGEST_SHARE = 2.0


class Reading(NamedTuple):
    """One reading; NaN where the instrument was not read."""

    time_s: float
    air_C: float
    vapour_kPa: float
    wind_m_s: float
    globe_C: float
    line: int


def read_trackside(path, weather: Weather) -> tuple[Reading, ...]:
    """Read a ``*.trackside.csv``: ``clock`` (or ``time_min``), and any of air temperature, one humidity, wind, globe.

    A humidity needs its air temperature in the same row. ``wind_height_m`` is 1.5 unless given.
    """
    table = read_table(path)
    file = table.file
    check_names(table.header, COLUMNS, file=file, line=table.header_line)
    if ("clock" in table.header) == ("time_min" in table.header):
        problem = "needs one time column, clock (HH:MM) or time_min"
        raise InputError(problem, file=file, line=table.header_line, remedy="keep one of them")
    time_s = _times(table, weather)
    cells = {name: table.numbers(name) if name in table.header else np.full(time_s.size, np.nan) for name in COLUMNS[2:]}
    found = []
    for k, line in enumerate(table.lines):
        place = {"file": file, "line": line}
        for name, column in cells.items():
            if column[k] == column[k]:
                check_range(name, float(column[k]), **place)
        now = {name: float(column[k]) for name, column in cells.items()}
        found.append(Reading(float(time_s[k]), now["air_temperature_C"], _vapour(now, float(time_s[k]), weather, place),
                             _wind(now), now["globe_temperature_C"], line))  # fmt: skip
        if all(value != value for value in found[-1][1:5]):
            raise InputError("holds no reading", file=file, line=line, remedy="cut the row or fill one of its cells")
        if now["globe_temperature_C"] == now["globe_temperature_C"] and now["air_temperature_C"] != now["air_temperature_C"]:
            raise missing("air_temperature_C", **place)
    return tuple(found)


def trackside_span(path) -> tuple[str, str, int]:
    """Return the first and last time of a ``*.trackside.csv`` and its rows, read beside warm air without a clock of its own."""
    table = read_table(path)
    check_names(table.header, COLUMNS, file=table.file, line=table.header_line)
    air = {"air_temperature_C": 30.0, "relative_humidity_pct": 60.0}
    weather = Weather.of_given(air, 0.0)
    read_trackside(path, weather)
    cells = table.cells("clock" if "clock" in table.header else "time_min")
    return cells[0], cells[-1], len(cells)


def _times(table, weather: Weather) -> np.ndarray:
    """Return the times of the readings [s of the weather]; outside the weather is refused."""
    if "time_min" in table.header:
        seconds = 60.0 * table.numbers("time_min")
    else:
        if weather.start_clock_s is None:
            problem = "has a clock, but the weather sheet has none"
            raise InputError(problem, field="clock", file=table.file, line=table.header_line, remedy="give time_min instead")
        found: list[float] = []
        for cell, line in zip(table.cells("clock"), table.lines):
            value = clock_seconds(cell)
            if value is None:
                problem = f"is {shown(cell)}, allowed is HH:MM, 00:00 to 24:00"
                raise InputError(problem, field="clock", file=table.file, line=line, remedy="write e.g. 05:30")
            value -= weather.start_clock_s
            least = found[-1] - 43200.0 if found else float(weather.time_s[0])
            while value < least:
                value += 86400.0
            found.append(value)
        seconds = np.array(found)
    check_increasing(seconds, table, "clock" if "clock" in table.header else "time_min")
    for second, line in zip(seconds, table.lines):
        if not weather.steady_air and not weather.time_s[0] <= second <= weather.time_s[-1]:
            problem = (
                f"is {second / 60.0:.0f} min after the start, the weather covers {weather.time_s[0] / 60.0:.0f} to "
                f"{weather.time_s[-1] / 60.0:.0f} min"
            )
            raise InputError(problem, field="the reading", file=table.file, line=line, remedy="correct the clock, or cut the row")
    return seconds


def _vapour(now: dict[str, float], time_s: float, weather: Weather, place: dict) -> float:
    forms = {form: now[form] for form in FORMS if now[form] == now[form]}
    if not forms:
        return np.nan
    air = now["air_temperature_C"]
    if air != air and "vapour_pressure_kPa" not in forms and "dew_point_C" not in forms:
        raise missing("air_temperature_C", **place)
    sheet = weather.at(time_s)
    return vapour_pressure(forms, sheet["air_temperature_C"] if air != air else air, sheet["pressure_kPa"], **place)[0]


def _wind(now: dict[str, float]) -> float:
    from thermosim.inputs.weather_build import RUNNER_HEIGHT_M
    from thermosim.physics.air import wind_at_height

    height = now["wind_height_m"] if now["wind_height_m"] == now["wind_height_m"] else RUNNER_HEIGHT_M
    return float(wind_at_height(now["wind_speed_m_s"], height, RUNNER_HEIGHT_M))


def correct(weather: Weather, readings: tuple[Reading, ...], file: str = "") -> Weather:
    """Return the weather shifted so that it agrees with the readings; its notes say by how much.

    Offsets of air temperature and vapour pressure are added, of wind too (never below 0 m/s). Water vapour is held at
    saturation. Between readings offsets follow straight lines; outside, the nearest holds.
    """
    from thermosim.physics.air import saturation_pressure

    first, last = float(weather.time_s[0]), float(weather.time_s[-1])
    if weather.steady_air:
        knots = np.array(sorted({0.0, 86400.0, *(reading.time_s for reading in readings)}))
    else:
        inside = [reading.time_s for reading in readings]
        knots = np.unique(np.concatenate([np.asarray(weather.given["time_s"], dtype=float), inside]))
        knots = knots[(knots >= first) & (knots <= last)]
    sheet, notes = weather.at(knots), [f"Corrected by {len(readings)} readings at trackside{f' ({file})' if file else ''}."]
    sheet = {name: np.broadcast_to(np.asarray(item, dtype=float), knots.shape) for name, item in sheet.items()}
    at = {name: [weather.at(reading.time_s)[name] for reading in readings] for name in sheet}
    air = sheet["air_temperature_C"] + _offset(
        knots, readings, [r.air_C for r in readings], at["air_temperature_C"], "air temperature", "°C", LARGE_AIR_K, notes
    )
    vapour = sheet["vapour_pressure_kPa"] + _offset(
        knots,
        readings,
        [r.vapour_kPa for r in readings],
        at["vapour_pressure_kPa"],
        "vapour pressure",
        "kPa",
        LARGE_VAPOUR_KPA,
        notes,
    )
    wind = sheet["wind_speed_m_s"] + _offset(
        knots, readings, [r.wind_m_s for r in readings], at["wind_speed_m_s"], "wind", "m/s", LARGE_WIND_M_S, notes)  # fmt: skip
    saturated = np.array([saturation_pressure(float(one)) for one in air])
    if np.any(vapour > saturated):
        notes.append("The corrected vapour pressure passes saturation in part of the sheet; it is held there.")
    given: dict[str, Any] = {
        **_kept(weather, knots, sheet), "time_s": knots.tolist(), "air_temperature_C": air.tolist(),
        "vapour_pressure_kPa": np.clip(vapour, 0.0, saturated).tolist(), "wind_speed_m_s": np.maximum(wind, 0.0).tolist(),
    }  # fmt: skip
    _radiation(given, weather, readings, knots, sheet, notes)
    for name in ("air_temperature_C", "wind_speed_m_s"):
        given[name] = [check_range(name, item) for item in given[name]]
    return Weather.of_given(given, weather.start_clock_s, (*weather.given.get("said", ()), *notes))


def _kept(weather: Weather, knots, sheet) -> dict[str, Any]:
    """Return what a correction leaves as it is: pressure, place, ground, wind direction, clouds."""
    given: dict[str, Any] = {"pressure_kPa": sheet["pressure_kPa"].tolist(), "solar_W_m2": sheet["solar_W_m2"].tolist()}
    for name in ("wind_from", "latitude_deg", "longitude_deg", "albedo", "time_zone", "start", "cloud_cover"):
        if name in weather.given:
            item = weather.given[name]
            given[name] = np.interp(knots, weather.given["time_s"], item).tolist() if isinstance(item, list) else item
    if weather.wind_from == "degrees":
        given.pop("wind_from", None)
        given["wind_from_deg"] = sheet["wind_from_deg"].tolist()
    for name in ("globe_temperature_C", "mean_radiant_temperature_C"):
        if name in weather.given:
            given[name] = sheet[name].tolist()
    if "solar_W_m2" not in weather.given and "cloud_cover" in weather.given:
        given.pop("solar_W_m2")
    return given


def _offset(knots, readings, read, at, words: str, unit: str, large: float, notes: list[str]) -> np.ndarray:
    """Return reading less sheet at the knots; say what it is, how long it is held, and whether it is large."""
    known = [(reading.time_s, value - sheet) for reading, value, sheet in zip(readings, read, at) if value == value]
    if not known:
        return np.zeros(knots.shape)
    times, offsets = zip(*known)
    low, high = min(offsets), max(offsets)
    span = f"{low:+.2f}" if len(offsets) == 1 or abs(high - low) < 0.005 else f"{low:+.2f} to {high:+.2f}"
    held = max(times[0] - knots[0], knots[-1] - times[-1])
    far = f"; beyond the readings the nearest offset is held, for up to {held / 60.0:.0f} min" if held > 0.0 else ""
    text = f"Readings less sheet, {words}: {span} {unit}, a straight line between readings{far}."
    if max(abs(low), abs(high)) > large:
        text += f" More than {large:g} {unit}: the sheet may not be this course's."
    if held > HELD_LONG_S:
        text += " Held longer than an hour: read again nearer to the run."
    notes.append(text.replace("-", "−"))
    return np.interp(knots, times, offsets)


def _radiation(given, weather: Weather, readings, knots, sheet, notes: list[str]) -> None:
    """Carry globe readings into the given fields: into a globe, a share of the sun, or mean radiant temperature."""
    known = [reading for reading in readings if reading.globe_C == reading.globe_C]
    if not known:
        return
    if "globe_temperature_C" in weather.given:
        shift = _offset(knots, readings, [r.globe_C for r in readings],
                        [weather.at(r.time_s)["globe_temperature_C"] for r in readings], "globe", "°C", 2 * LARGE_AIR_K,
                        notes)  # fmt: skip
        given["globe_temperature_C"] = (sheet["globe_temperature_C"] + shift).tolist()
        return
    shares, shifts = [], []
    for reading in known:
        needed, there, shift = _globe_against_sheet(reading, weather)
        (shares if there is not None else shifts).append((reading.time_s, needed / there if there is not None else shift))
    if shares:
        times, raw = zip(*shares)
        held = np.clip(raw, 0.0, LARGEST_SHARE)
        given["solar_W_m2"] = (np.asarray(sheet["solar_W_m2"]) * np.interp(knots, times, held)).clip(0.0, 1400.0).tolist()
        given.pop("cloud_cover", None)
        notes.append(
            f"The globe asks for {100 * held.min():.0f} to {100 * held.max():.0f} % of the sheet's sun, a straight line "
            "between readings"
            + ("; it was held within 0 to 200 %: globe, wind and sheet do not agree." if np.any(held != np.array(raw)) else ".")
        )
    if shifts:
        times, values = zip(*shifts)
        if "latitude_deg" in given or "solar_W_m2" in weather.given and np.any(sheet["solar_W_m2"] > BRIGHT_W_M2):
            notes.append("Globe readings without sun are not carried into a sheet with sun: they say nothing of its day.")
            return
        base = np.where(
            np.isnan(sheet["mean_radiant_temperature_C"]), given["air_temperature_C"], sheet["mean_radiant_temperature_C"]
        )
        given["mean_radiant_temperature_C"] = (base + np.interp(knots, times, values)).tolist()
        notes.append(
            f"Globe without sun: mean radiant temperature is moved by {min(values):+.1f} to {max(values):+.1f} °C.".replace(
                "-", "−"
            )
        )


def _globe_against_sheet(reading: Reading, weather: Weather) -> tuple[float, float | None, float]:
    """Return short wave on a globe that the reading needs, what the sheet's sun gives there [W/m²] or None without sun, and
    the radiant temperature less the sheet's [K]."""  # fmt: skip
    from thermosim.inputs.sun_path import DEFAULT_GROUND
    from thermosim.inputs.weather_wbgt import LEAST_AIR_SPEED_M_S, assumed_path
    from thermosim.physics.radiation import mean_radiant_temperature_of_globe
    from thermosim.physics.wet_bulb_globe import short_wave_of_radiant, short_wave_on_sphere

    now = weather.at(reading.time_s)
    wind = now["wind_speed_m_s"] if reading.wind_m_s != reading.wind_m_s else reading.wind_m_s
    radiant = mean_radiant_temperature_of_globe(reading.globe_C, reading.air_C, max(wind, LEAST_AIR_SPEED_M_S))
    long_wave = now["mean_radiant_temperature_C"]
    long_wave = reading.air_C if long_wave != long_wave else long_wave
    whole = now["solar_W_m2"]
    if whole <= BRIGHT_W_M2:
        return 0.0, None, radiant - long_wave
    path, times, albedo = weather.sun, weather.time_s, weather.albedo
    if path is None:
        path, times, albedo = assumed_path(np.array([whole])), [reading.time_s], [DEFAULT_GROUND.albedo]
    light = [float(np.interp(reading.time_s, times, column)) for column in (
        path.beam_normal_W_m2, path.diffuse_horizontal_W_m2, path.global_horizontal_W_m2, albedo)]  # fmt: skip
    return short_wave_of_radiant(radiant, long_wave), short_wave_on_sphere(*light), radiant - long_wave
