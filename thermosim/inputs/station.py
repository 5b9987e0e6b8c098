"""Standard hourly station files (typical year, CSV): read, asked what is missing in them, cut to a window as a Weather.

Stamps are local standard time without daylight saving, and end the hour: ``01:00`` is the hour from 00:00 to 01:00, ``24:00``
the last of the day. Radiation is the mean over that hour and belongs to its middle; air, dew point, pressure and wind are
readings at the stamp. Both conventions are those of the file format.
"""

import csv
import datetime
import math
import re
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import allowed_range, shown
from thermosim.inputs.columns import number
from thermosim.inputs.files import read_text
from thermosim.inputs.sun_path import place_of
from thermosim.variables import INPUTS


class Column(NamedTuple):
    """One column of the file: its heading, our name, and what one unit of it is in ours."""

    heading: str
    name: str
    factor: float


# What a run needs: each must be there at every hour that is used.
NEEDED = (
    Column("Dry-bulb (C)", "air_temperature_C", 1.0),
    Column("Dew-point (C)", "dew_point_C", 1.0),
    Column("Pressure (mbar)", "pressure_kPa", 0.1),
    Column("Wspd (m/s)", "wind_speed_m_s", 1.0),
    Column("GHI (W/m^2)", "solar_W_m2", 1.0),
)
OPTIONAL = (Column("Wdir (degrees)", "wind_from_deg", 1.0), Column("TotCld (tenths)", "cloud_cover", 0.1))
DATE, TIME = "Date (MM/DD/YYYY)", "Time (HH:MM)"
MISSING_CODES = (-9900.0, -9999.0, -999.0, 9999.0, 99999.0)
MISSING_FLAG = "?"  # of a column's source
WIND_HEIGHT_M = 10.0
HOURS_OF_YEAR = 8760
NOMINAL_YEAR = 2025  # of a start without a year: it has no 29 February, as a typical year has none
FARTHEST_ZONE_H = 3.0  # of a clock from the station's own, without a warning
LONGEST_WINDOW_H = 24 * 31
_START = re.compile(r"(\d{4}-)?(\d\d-\d\d)[T ](\d\d:\d\d(?::\d\d)?)([+-]\d\d:\d\d)?")  # year, day, clock, offset


@dataclass(frozen=True, eq=False)
class Station:
    """An hourly station file as it stands: NaN where a value is missing.

    Attributes
    ----------
    file, name : str
    zone_h : float
        Local standard time less UTC [h].
    latitude_deg, longitude_deg, altitude_m : float
    end_h : ndarray
        End of each row's hour [h since 00:00 of the first row's day], one apart but for gaps.
    first_day : datetime.date
        The first row's day, in the year without 29 February that stands for all.
    values : dict
        Our name -> ndarray in our units, at each row.
    lines : ndarray
        1-based line of each row.
    years : ndarray
        Year each row was measured in: in a typical year months come from different ones.
    codes : dict
        (our name, row) -> what stands in the file where the value is missing.
    """

    file: str
    name: str
    zone_h: float
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    end_h: np.ndarray
    first_day: datetime.date
    values: dict[str, np.ndarray]
    lines: np.ndarray
    years: np.ndarray
    codes: dict[tuple[str, int], str] = field(default_factory=dict)

    @property
    def round_year(self) -> bool:
        """Whether the rows are one whole year, so that its end joins its beginning."""
        return self.end_h.size == HOURS_OF_YEAR and float(self.end_h[-1] - self.end_h[0]) == HOURS_OF_YEAR - 1

    @property
    def zone(self) -> str:
        """Local standard time as an offset, ``"-05:00"``."""
        minutes = round(60.0 * abs(self.zone_h))
        return f"{'-' if self.zone_h < 0.0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"

    def missing(self) -> list[str]:
        """Return a sentence for each quantity with missing values: how many hours, the first, and its code."""
        found = []
        for column in (*NEEDED, *OPTIONAL):
            rows = np.flatnonzero(np.isnan(self.values[column.name])) if column.name in self.values else np.array([], dtype=int)
            if rows.size:
                first = int(rows[0])
                found.append(
                    f"{column.heading} is missing in {rows.size} of {self.end_h.size} hours, first in line {self.lines[first]} "
                    f"(code {self.codes.get((column.name, first), 'empty')}); a run through such an hour is refused, "
                    "nothing is filled."
                )
        return found

    def gaps(self) -> list[str]:
        """Return a sentence for each place where hours are left out."""
        steps = np.flatnonzero(np.diff(self.end_h) > 1.0)
        return [
            f"{self.end_h[k + 1] - self.end_h[k] - 1:.0f} h are left out before line {self.lines[k + 1]} "
            f"({self.stamp(int(k) + 1)})."
            for k in steps
        ]

    def stamp(self, row: int) -> str:
        """Return month, day and clock of a row's stamp as the file writes them, ``"07/07 24:00"``."""
        day, hour = divmod(float(self.end_h[row]) - 1.0, 24.0)
        date = self.first_day + datetime.timedelta(days=int(day) % 365)
        return f"{date:%m/%d} {int(hour) + 1:02d}:00"


def is_station(path) -> bool:
    """Return whether a file begins like a station file: a station line, then a header with date and time."""
    head = read_text(path).split("\n", 2)
    return len(head) > 1 and head[1].lstrip().startswith(DATE)


def read_station(path) -> Station:
    """Read an hourly station file.

    Raises
    ------
    InputError
        Not such a file; a row that is short, no number, or not in order; an hour that stands twice. With file and line.
        A missing value is kept as NaN and reported by :meth:`Station.missing`.
    """
    file, lines = str(path), read_text(path).rstrip("\n").split("\n")
    if not is_station(path):
        problem = f"is not an hourly station file: its second line has no column {shown(DATE)}"
        raise InputError(problem, file=file, line=2, remedy="name a typical-year CSV, or give a *.weather.csv as sheet")
    zone_h, latitude, longitude, altitude, name = _station_line(lines[0], file)
    header = [cell.strip() for cell in next(csv.reader([lines[1]]))]
    for heading in (DATE, TIME, *(column.heading for column in NEEDED)):
        if header.count(heading) != 1:
            problem = f"stands {header.count(heading)} times in the header, needed is once"
            raise InputError(problem, field=heading, file=file, line=2, remedy="use the file as it was published")
    rows = _rows(lines, header, file)
    columns = [column for column in (*NEEDED, *OPTIONAL) if column.heading in header]
    values, codes = _values(rows, header, columns, file)
    end_h, first_day, years = _stamps(rows, header, file)
    return Station(
        file, name, zone_h, latitude, longitude, altitude, end_h, first_day, values,
        np.array([line for line, _ in rows]), years, codes,
    )  # fmt: skip


def _station_line(text: str, file: str) -> tuple[float, float, float, float, str]:
    """Return zone [h], latitude, longitude [°], altitude [m] and name of the first line."""
    cells = [cell.strip() for cell in next(csv.reader([text]))]
    if len(cells) < 7:
        problem = f"has {len(cells)} cells, needed are number, name, state, time zone, latitude, longitude and elevation"
        raise InputError(problem, field="the station line", file=file, line=1, remedy="use the file as it was published")
    zone, latitude, longitude, altitude = (number(cell, "the station line", file, 1) for cell in cells[3:7])
    if not -12.0 <= zone <= 14.0:
        problem = f"is {shown(zone)} h, allowed is −12 to 14 h from UTC"
        raise InputError(problem, field="time zone", file=file, line=1, remedy="correct the fourth cell of the station line")
    try:
        place_of(latitude, longitude, altitude)
    except InputError as error:
        raise InputError(error.problem, field=error.field, file=file, line=1, remedy="correct the station line") from None
    return zone, latitude, longitude, altitude, cells[1]


def _rows(lines: list[str], header: list[str], file: str) -> list[tuple[int, list[str]]]:
    found = []
    for line, text in enumerate(lines[2:], start=3):
        if text.strip():
            cells = text.split(",") if '"' not in text else next(csv.reader([text]))
            if len(cells) != len(header):
                problem = f"has {len(cells)} cells, the header has {len(header)}"
                raise InputError(problem, file=file, line=line, remedy="complete the row or cut it")
            found.append((line, cells))
    if len(found) < 2:
        raise InputError(f"has {len(found)} hourly rows, needed are two or more", file=file, remedy="use the whole file")
    return found


def _values(rows, header, columns, file) -> tuple[dict[str, np.ndarray], dict[tuple[str, int], str]]:
    """Return each quantity at each row, NaN where it is missing, and what stands there instead."""
    values, codes = {}, {}
    for column in columns:
        at = header.index(column.heading)
        flag = at + 1 if at + 1 < len(header) and header[at + 1].lower().endswith("source") else None
        low, high = INPUTS[column.name].low, INPUTS[column.name].high
        found = np.empty(len(rows))
        for k, (line, cells) in enumerate(rows):
            cell = cells[at].strip()
            raw = number(cell, column.heading, file, line)
            if math.isnan(raw) or raw in MISSING_CODES or (flag is not None and cells[flag].strip() == MISSING_FLAG):
                found[k] = math.nan
                codes[column.name, k] = cell or "empty"
                continue
            found[k] = raw * column.factor
            if not low <= found[k] <= high and not (column in OPTIONAL and raw == 99.0):
                problem = (
                    f"is {shown(raw)}, which is {found[k]:.6g} {INPUTS[column.name].unit}, allowed is "
                    f"{allowed_range(column.name)}"
                )
                remedy = f"mark a missing value by {MISSING_CODES[0]:g}, or correct it"
                raise InputError(problem, field=column.heading, file=file, line=line, remedy=remedy)
            if not low <= found[k] <= high:
                found[k], codes[column.name, k] = math.nan, cell
        values[column.name] = found
    return values, codes


def _stamps(rows, header, file) -> tuple[np.ndarray, datetime.date, np.ndarray]:
    """Return the end of each hour [h since 00:00 of the first day], that day, and the years; hours rise by one or more."""
    at_date, at_time = header.index(DATE), header.index(TIME)
    ends, years = np.empty(len(rows)), np.empty(len(rows), dtype=int)
    first_day, before = None, -math.inf
    for k, (line, cells) in enumerate(rows):
        date, clock = cells[at_date].strip(), cells[at_time].strip()
        found = re.fullmatch(r"(\d\d)/(\d\d)/(\d{4})", date)
        hour = re.fullmatch(r"(\d\d):00", clock)
        try:
            day = datetime.date(NOMINAL_YEAR, int(found[1]), int(found[2])) if found else None
        except ValueError:
            day = None
        if day is None:
            problem = f"is {shown(date)}, allowed is MM/DD/YYYY, without 29 February"
            raise InputError(problem, field=DATE, file=file, line=line, remedy="correct the date")
        if hour is None or not 1 <= int(hour[1]) <= 24:
            problem = f"is {shown(clock)}, allowed are 01:00 to 24:00: the end of the hour"
            raise InputError(problem, field=TIME, file=file, line=line, remedy="write the end of the hour, midnight as 24:00")
        first_day = first_day or day
        days = (day - first_day).days
        end = 24.0 * days + int(hour[1])
        if k and end < before and days < 0:  # over the year's end
            end += HOURS_OF_YEAR
        if end <= before:
            word = "stands twice" if end == before else "runs backwards"
            problem = f"{word}: {date[:5]} {clock} after {_stamp_of(rows[k - 1][1], at_date, at_time)} in line {rows[k - 1][0]}"
            raise InputError(
                problem, field="the hour", file=file, line=line, remedy="cut the repeated row, or sort the rows by time"
            )
        ends[k], years[k], before = end, int(found[3]), end
    return ends, first_day, years


def _stamp_of(cells: list[str], at_date: int, at_time: int) -> str:
    return f"{cells[at_date].strip()[:5]} {cells[at_time].strip()}"


# --- a window of it as a weather -----------------------------------------------------------------------------------


def moment_in(station: Station, start: Any, time_zone: str | None = None) -> tuple[float, datetime.datetime]:
    """Return a start as hours since 00:00 of the file's first day (standard time), and as an aware moment.

    Parameters
    ----------
    start : str or datetime
        ``"07-07T05:00"`` or ``"2026-07-07T05:00"``.
    time_zone : str, optional
        In which ``start`` is meant, e.g. one with daylight saving; the file's standard time unless given.

    Raises
    ------
    InputError
        No such date or time, an unknown zone, or a moment outside the file.
    """
    moment = _moment(start, time_zone or station.zone)
    standard = moment.astimezone(datetime.timezone(datetime.timedelta(hours=station.zone_h)))
    if (standard.month, standard.day) == (2, 29):
        problem = f"is {shown(str(start))}: the file has no 29 February"
        raise InputError(problem, field="start", remedy="take the day before or after")
    day = datetime.date(NOMINAL_YEAR, standard.month, standard.day)
    at_h = 24.0 * (day - station.first_day).days + standard.hour + standard.minute / 60.0 + standard.second / 3600.0
    if at_h < 0.0 and at_h + HOURS_OF_YEAR <= station.end_h[-1]:  # over the end of its year
        at_h += HOURS_OF_YEAR
    return at_h, moment


def _moment(start: Any, time_zone: str) -> datetime.datetime:
    """Return a start of a window, with or without a year and an offset, 24:00 the end of its day, on the clock of a zone."""
    from thermosim.inputs.sun_path import start_of, zone_of

    text = start.isoformat() if isinstance(start, datetime.datetime) else start
    found = _START.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        problem = f"is {shown(start)}, allowed is month, day and time of day"
        raise InputError(problem, field="start", remedy='write e.g. "07-07T05:00" or "2026-07-07T05:00"')
    year, day, clock, offset = found[1] or f"{NOMINAL_YEAR}-", found[2], found[3], found[4]
    midnight = clock in ("24:00", "24:00:00")
    try:
        moment = start_of(f"{year}{day}T{'00:00' if midnight else clock}{offset or ''}", None if offset else time_zone)
    except InputError as error:
        if found[1]:
            raise
        problem = error.problem.replace(year, "")
        if "change of clocks" in problem:
            problem += f" (without a year the dates are those of {NOMINAL_YEAR})"
        raise InputError(problem, field=error.field, remedy=(error.remedy or "").replace(year, "")) from None
    if midnight:
        moment = (moment.replace(tzinfo=None) + datetime.timedelta(days=1)).replace(tzinfo=moment.tzinfo)
    return moment.astimezone(zone_of(time_zone)) if offset else moment


def station_fields(
    station: Station, start: Any, hours: float, *, time_zone: str | None = None, sun: str = "path", wind_from: str = "cross"
) -> tuple[dict[str, Any], float, list[str]]:
    """Return a window of a station file as weather fields on knots, its clock at time 0 [s], and what was done.

    Parameters
    ----------
    start, time_zone : str
        Of the window, see :func:`moment_in`; the clock of the weather is that of the zone.
    hours : float
        Length [h].
    sun : {'path', 'horizontal'}
        The sun's path over the station's place; or its global irradiance alone.
    wind_from : str
        ``head``, ``tail``, ``cross``, or ``station`` for the file's direction (the effort then needs headings).
    """
    from thermosim.inputs.checks import check_choice
    from thermosim.inputs.weather_sun import words_of

    check_choice("sun", sun, ("path", "horizontal"))
    check_choice("wind_from", wind_from, ("head", "tail", "cross", "station"))
    if isinstance(hours, bool) or not isinstance(hours, int | float) or not 1.0 <= hours <= LONGEST_WINDOW_H:
        problem = f"is {shown(hours)}, allowed is 1 to {LONGEST_WINDOW_H} h"
        raise InputError(problem, field="hours", remedy="give the length of the window in hours")
    at_h, moment = moment_in(station, start, time_zone)
    knots_h = np.unique(np.concatenate([[at_h, at_h + hours], np.arange(math.ceil(2 * at_h), 2 * (at_h + hours)) / 2.0]))
    read = _Window(station, at_h, float(at_h + hours))
    given: dict[str, Any] = {"time_s": [float(3600.0 * (one - at_h)) for one in knots_h]}
    for column in NEEDED[:4]:
        given[column.name] = _list(np.interp(knots_h, read.ends, read.at(column)))
    given["dew_point_C"] = [min(pair) for pair in zip(given["dew_point_C"], given["air_temperature_C"])]
    given["wind_height_m"] = WIND_HEIGHT_M
    given.update(_direction(read, knots_h, wind_from))
    notes = _said(station, read, moment, time_zone)
    given.update(words_of(moment, time_zone or station.zone))
    if sun == "path":
        given.update(latitude_deg=station.latitude_deg, longitude_deg=station.longitude_deg)
        if "cloud_cover" in station.values and not np.isnan(read.of("cloud_cover")).any():
            given["cloud_cover"] = _list(np.clip(np.interp(knots_h, read.ends, read.of("cloud_cover")), 0.0, 1.0))
    given["solar_W_m2"] = _list(_solar(station, read, knots_h, moment, at_h, sun))
    return given, 3600.0 * moment.hour + 60.0 * moment.minute + moment.second, notes


class _Window:
    """The rows that a window needs: from the stamp at or before its start to the one at or after its end, and one more."""

    def __init__(self, station: Station, from_h: float, to_h: float):
        wanted = np.arange(math.floor(from_h), math.ceil(to_h) + 2.0)
        if station.round_year:
            rows = ((wanted - station.end_h[0]) % HOURS_OF_YEAR).astype(int)
        else:
            rows = np.searchsorted(station.end_h, wanted)
            there = (rows < station.end_h.size) & (station.end_h[np.minimum(rows, station.end_h.size - 1)] == wanted)
            needed = (wanted >= math.floor(from_h)) & (wanted <= math.ceil(to_h))
            if not there[needed].all():
                self._refuse(station, float(wanted[needed][~there[needed]][0]), to_h)
            wanted, rows = wanted[there], rows[there]
        self.station, self.ends, self.rows = station, wanted, rows

    @staticmethod
    def _refuse(station: Station, hour: float, to_h: float):
        inside = station.end_h[0] <= hour <= station.end_h[-1]
        row = int(min(np.searchsorted(station.end_h, hour), station.end_h.size - 1))
        what = "leaves out" if inside else "ends before" if hour > station.end_h[-1] else "begins after"
        problem = (
            f"the file {what} the hour {hour - 24.0 * math.floor((hour - 1.0) / 24.0):02.0f}:00 that the window needs: it covers "
            f"{station.stamp(0)} to {station.stamp(station.end_h.size - 1)}"
        )
        remedy = "choose another start or fewer hours" if not inside else "choose a window beside the gap"
        raise InputError(problem, file=station.file, line=int(station.lines[row]), remedy=remedy)

    def of(self, name: str) -> np.ndarray:
        """Return a quantity at the window's stamps, NaN where it is missing."""
        return self.station.values[name][self.rows]

    def at(self, column: Column) -> np.ndarray:
        """Return a quantity at the window's stamps; a missing one is refused with its line and code."""
        found = self.of(column.name)
        lacking = np.flatnonzero(np.isnan(found))
        if lacking.size:
            row = int(self.rows[lacking[0]])
            problem = (
                f"is missing at {self.station.stamp(row)} (code "
                f"{self.station.codes.get((column.name, row), 'empty')}): nothing is filled"
            )
            remedy = "choose a window without it, or write the hours into a *.weather.csv with values of your own"
            raise InputError(
                problem, field=column.heading, file=self.station.file, line=int(self.station.lines[row]), remedy=remedy
            )
        return found


def _list(values: np.ndarray) -> list[float]:
    return [float(value) for value in values]


def _direction(read: _Window, knots_h: np.ndarray, wind_from: str) -> dict[str, Any]:
    if wind_from != "station":
        return {"wind_from": wind_from}
    turned = np.degrees(np.unwrap(np.radians(read.at(OPTIONAL[0]))))
    return {"wind_from_deg": _list(np.interp(knots_h, read.ends, turned) % 360.0)}


def _said(station: Station, read: _Window, moment: datetime.datetime, time_zone: str | None) -> list[str]:
    """Return the notes on what was read and how."""
    notes = [
        f"Station {station.name}, {station.latitude_deg:g}°, {station.longitude_deg:g}°, {station.altitude_m:g} m: hours end at "
        f"their stamp in standard time (UTC{station.zone}); radiation stands for the middle of its hour."
    ]
    years = list(dict.fromkeys(int(year) for year in station.years[read.rows]))
    if station.round_year:
        notes.append(
            f"A typical year, not a forecast: these hours were measured in {' and '.join(str(year) for year in years)}; "
            "a typical year leaves out its extremes."
        )
    if station.round_year and read.ends[-1] > station.end_h[-1] and read.ends[0] <= station.end_h[-1]:
        notes.append("The window runs over the year's end: the file's last hour is joined to its first.")
    shift = moment.utcoffset()
    if shift is not None and shift.total_seconds() != 3600.0 * station.zone_h:
        hours = shift.total_seconds() / 3600.0 - station.zone_h
        notes.append(f"The clock is {hours:+g} h from the file's standard time.".replace("-", "−"))
        if abs(hours) > FARTHEST_ZONE_H:
            notes.append(
                f"time_zone {time_zone or moment.tzinfo} is {abs(hours):g} h from the station's own, UTC{station.zone}: "
                "a clock from elsewhere; was another time_zone meant?"
            )
    calm = int((read.of("wind_speed_m_s") == 0.0).sum())
    if calm:
        notes.append(
            f"The wind is 0 in {calm} of these hours: less than the anemometer turns at, taken as still air; an estimated globe, "
            "wet bulb and WBGT are then too high rather than too low."
        )
    notes.append("The station is not the course: correct it by readings at trackside, or give its spread.")
    return notes


def _solar(station, read, knots_h, moment, at_h, sun) -> np.ndarray:
    """Return the global irradiance at the knots [W/m²] from means over hours that end at their stamps.

    With the sun's path each hour's mean is shared out in the hour as the clear sky's is, so that dawn follows the sun;
    without it, straight lines join the middles of the hours.
    """
    means, middles = read.at(NEEDED[4]), read.ends - 0.5
    if sun == "horizontal":
        return np.maximum(np.interp(knots_h, middles, means), 0.0)
    from thermosim.inputs.sun_path import moments, sun_path

    place = place_of(station.latitude_deg, station.longitude_deg, station.altitude_m)
    inside = (np.arange(6) + 0.5) / 6.0  # six moments of each hour
    fine_h = (read.ends[:, None] - 1.0 + inside).ravel()
    clear = sun_path(place, moments(moment, 3600.0 * (fine_h - at_h))).clear_global_W_m2.reshape(-1, 6).mean(axis=1)
    lit = clear > 10.0
    if not lit.any():
        return np.zeros(knots_h.size)
    ratio = np.interp(knots_h, middles[lit], means[lit] / clear[lit])
    return ratio * sun_path(place, moments(moment, 3600.0 * (knots_h - at_h))).clear_global_W_m2
