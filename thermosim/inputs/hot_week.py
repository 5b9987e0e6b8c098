"""The hot humid week of a station file: found by wet bulb, shown day by day."""

from typing import Any, NamedTuple

import numpy as np

from thermosim.clock import clock_text
from thermosim.errors import InputError
from thermosim.inputs.checks import shown
from thermosim.inputs.station import HOURS_OF_YEAR, Station

DAYS = 7


class Day(NamedTuple):
    """One day of a week, from 00:00 to 24:00 standard time."""

    date: str
    air_low_C: float
    air_high_C: float
    humidity_at_high_pct: float
    dew_point_C: float  # mean
    wind_m_s: float  # mean, at the station's height
    solar_W_m2: float  # highest hour
    wet_bulb_high_C: float


class Week(NamedTuple):
    """Seven days in a row, the mean of their wet bulb, and where they begin."""

    start: str  # month and day, "07-05T00:00"
    wet_bulb_C: float
    days: tuple[Day, ...]
    skipped_days: int  # of the file, for missing values


def wet_bulbs(station: Station) -> np.ndarray:
    """Return the psychrometric wet bulb of every row [°C]; NaN where a reading is missing."""
    from thermosim.physics.air import saturation_pressure, wet_bulb

    read = station.values
    found = np.full(station.end_h.size, np.nan)
    for k in range(found.size):
        air, dew, pressure = (float(read[name][k]) for name in ("air_temperature_C", "dew_point_C", "pressure_kPa"))
        if air == air and dew == dew and pressure == pressure:
            found[k] = wet_bulb(air, saturation_pressure(min(dew, air)), pressure)
    return found


def hot_humid_week(station: Station, days: int = DAYS) -> Week:
    """Return the days in a row with the highest mean wet bulb over all their hours: warm and humid at once, no weights.

    Raises
    ------
    InputError
        The file is shorter, or has no such row of days without gap or missing value.
    """
    bulbs = wet_bulbs(station)
    whole = bulbs[: bulbs.size // 24 * 24].reshape(-1, 24) if _begins_a_day(station) else np.empty((0, 24))
    needed = ("air_temperature_C", "dew_point_C", "pressure_kPa", "wind_speed_m_s", "solar_W_m2")
    means = whole.mean(axis=1)
    for name in needed:
        means = means + 0.0 * station.values[name][: means.size * 24].reshape(-1, 24).mean(axis=1)  # NaN where one is missing
    if (
        means.size < days
        or not station.round_year
        and means.size * 24 != station.end_h[means.size * 24 - 1] - station.end_h[0] + 1
    ):
        problem = f"has {station.end_h.size} hours, needed are {days} whole days without a gap"
        raise InputError(problem, file=station.file, remedy="name a longer station file, or choose start and hours yourself")
    ring = np.concatenate([means, means[: days - 1]]) if station.round_year else means
    weeks = np.convolve(ring, np.full(days, 1.0 / days), "valid")
    if np.isnan(weeks).all():
        problem = f"has no {days} days in a row without a missing value"
        raise InputError(problem, file=station.file, remedy="choose start and hours yourself")
    first = int(np.nanargmax(weeks))
    chosen = tuple(_day(station, bulbs, (first + k) % means.size) for k in range(days))
    return Week(f"{chosen[0].date.replace('/', '-')}T00:00", float(weeks[first]), chosen, int(np.isnan(means).sum()))


def _begins_a_day(station: Station) -> bool:
    return float(station.end_h[0]) == 1.0 and station.end_h.size <= HOURS_OF_YEAR


def _day(station: Station, bulbs: np.ndarray, day: int) -> Day:
    from thermosim.physics.air import saturation_pressure

    rows = slice(24 * day, 24 * day + 24)
    read: dict[str, Any] = {name: values[rows] for name, values in station.values.items()}
    air, dew = read["air_temperature_C"], read["dew_point_C"]
    top = int(np.argmax(air))
    humidity = 100.0 * saturation_pressure(float(dew[top])) / saturation_pressure(float(air[top]))
    return Day(
        station.stamp(24 * day)[:5], float(air.min()), float(air.max()), float(humidity), float(dew.mean()),
        float(read["wind_speed_m_s"].mean()), float(read["solar_W_m2"].max()), float(bulbs[rows].max()),
    )  # fmt: skip


def week_lines(week: Week) -> list[str]:
    """Return the week in sentences: where, how hot, then a line a day.

    Examples
    --------
    >>> day = Day("07/05", 22.0, 33.0, 58.0, 22.1, 2.5, 930.0, 26.0)
    >>> week_lines(Week("07-05T00:00", 23.4, (day,), 0))[1][:66]
    '07/05: air 22.0 to 33.0 °C, 58 % at the warmest hour, dew point 22'
    """
    head = (
        f"The hot humid week begins at {week.start} (start = {shown(week.start)}, hours = {24 * len(week.days)}): its mean "
        "wet bulb of "
        f"{week.wet_bulb_C:.1f} °C is the highest of all {len(week.days)} days in a row."
    )
    lines = [
        f"{day.date}: air {day.air_low_C:.1f} to {day.air_high_C:.1f} °C, {day.humidity_at_high_pct:.0f} % at the warmest "
        "hour, dew point "
        f"{day.dew_point_C:.1f} °C, wind {day.wind_m_s:.1f} m/s, sun up to {day.solar_W_m2:.0f} W/m², wet bulb up to "
        f"{day.wet_bulb_high_C:.1f} °C."
        for day in week.days
    ]
    skipped = [f"{week.skipped_days} days were left out for missing values."] if week.skipped_days else []
    return [head, *lines, *skipped]


def week_series(station: Station, week: Week) -> dict[str, Any]:
    """Return the week hour by hour, as lists: what a picture of it needs."""
    bulbs = wet_bulbs(station)
    first = next(k for k in range(0, station.end_h.size, 24) if station.stamp(k)[:5] == week.days[0].date)
    rows = [(first + k) % station.end_h.size for k in range(24 * len(week.days))]
    names = ("air_temperature_C", "dew_point_C", "solar_W_m2", "wind_speed_m_s")
    return {
        "dates": [day.date for day in week.days], "wet_bulb_C": [float(bulbs[k]) for k in rows],
        **{name: [float(station.values[name][k]) for k in rows] for name in names},
    }  # fmt: skip


def station_summary(station: Station) -> str:
    """Return a station file in one line: where, how many hours, from when to when."""
    kind = "a typical year" if station.round_year else f"{station.end_h.size} hours"
    return (
        f"hourly station {station.name} (UTC{station.zone}, {station.latitude_deg:g}°, {station.longitude_deg:g}°, "
        f"{station.altitude_m:g} m), "
        f"{kind} from {station.stamp(0)} to {station.stamp(station.end_h.size - 1)}"
    ).replace("°, -", "°, −")


def check_station(path) -> tuple[str, list[str]]:
    """Return a station file in one line, and what is missing in it and where its hot humid week is."""
    from thermosim.inputs.station import read_station

    station = read_station(path)
    said = [*station.missing(), *station.gaps()] or ["No hour is left out, and no value that a run needs is missing."]
    try:
        said += week_lines(hot_humid_week(station))
    except InputError as error:
        said.append(f"No hot humid week: the file {error.problem}.")
    return station_summary(station), said


def sheet_text(station: Station, start: str, hours: float, time_zone: str | None = None) -> str:
    """Return a window of a station file as the text of a ``*.weather.csv`` with the place, so that the sun keeps its path."""
    from thermosim.inputs.station import station_fields

    given, clock_s, notes = station_fields(station, start, hours, time_zone=time_zone)
    once = ("wind_height_m", "wind_from", "latitude_deg", "longitude_deg", "start", "time_zone")
    columns = ("air_temperature_C", "dew_point_C", "pressure_kPa", "wind_speed_m_s", "solar_W_m2", "cloud_cover")
    columns = tuple(name for name in columns if name in given)
    lines = [f"# {note}" for note in notes]
    lines.append(",".join(("clock", *columns, *once)))
    for k, second in enumerate(given["time_s"]):
        cells = [clock_text(clock_s + second)]
        cells += [f"{given[name][k]:.6g}" for name in columns]
        same = [given["wind_height_m"], given["wind_from"]]  # a height and a word in every row, the rest in the first
        cells += [str(item) for item in same] + [str(given[name]) if k == 0 else "" for name in once[2:]]
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"
