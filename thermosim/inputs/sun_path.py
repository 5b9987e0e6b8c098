"""The sun over a place and what comes of it: position, clear sky, beam and sky, load on a body, load under trees.

pvlib gives the astronomy, the clear sky and the split of a measured global irradiance; the laws of the body are in
``physics/sun.py``.
"""

import datetime
import re
import zoneinfo
from typing import Any, NamedTuple

import numpy as np

from thermosim.errors import InputError, MissingExtra
from thermosim.inputs.checks import check_range, nearest, shown

INSTALL = 'python -m pip install "thermosim[sun]"'
TWILIGHT_DEG = -6.0  # below this the sky gives nothing: a measured sun there has the wrong clock
_TWILIGHT_W_M2 = 20.0


class Ground(NamedTuple):
    """A surface underfoot: reflected share of short wave, its range, share of net radiation that warms the air, source."""

    albedo: float
    low: float
    high: float
    dry_share: float
    source: str


_OKE = "albedo Oke 1987, Boundary Layer Climates (from memory); dry share low confidence"
GROUNDS: dict[str, Ground] = {
    "grass": Ground(0.20, 0.16, 0.26, 0.30, _OKE),
    "asphalt": Ground(0.12, 0.05, 0.20, 0.70, _OKE),
    "concrete": Ground(0.30, 0.10, 0.35, 0.65, _OKE),
    "dry_soil": Ground(0.25, 0.15, 0.35, 0.55, _OKE),
    "sand": Ground(0.40, 0.35, 0.45, 0.60, _OKE),
    "water": Ground(0.06, 0.03, 0.10, 0.10, _OKE),
    "salt_pan": Ground(0.50, 0.40, 0.70, 0.50, "dry salt crust, from memory, low confidence"),
    "snow": Ground(0.75, 0.40, 0.95, 0.20, _OKE),
}
DEFAULT_GROUND = GROUNDS["grass"]


class Place(NamedTuple):
    """Where: degrees north and east, metres above the sea."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float = 0.0


class SunPath(NamedTuple):
    """The sun and its light at a row of times; angles in degrees, irradiance in W/m².

    ``elevation_deg`` is the apparent one (with refraction); ``azimuth_deg`` counts from north over east.
    """

    elevation_deg: np.ndarray
    azimuth_deg: np.ndarray
    beam_normal_W_m2: np.ndarray
    diffuse_horizontal_W_m2: np.ndarray
    global_horizontal_W_m2: np.ndarray
    clear_global_W_m2: np.ndarray


class BodyLoad(NamedTuple):
    """Short wave on an upright body, averaged over its whole surface [W/m²]: from sun, sky and ground."""

    sun_W_m2: np.ndarray
    sky_W_m2: np.ndarray
    ground_W_m2: np.ndarray

    @property
    def total_W_m2(self) -> np.ndarray:
        """The three together [W/m²]; times absorptance and body surface it is the absorbed power."""
        return self.sun_W_m2 + self.sky_W_m2 + self.ground_W_m2


def pvlib_library() -> Any:
    """Return pvlib, or say in one sentence how it is installed."""
    try:
        import pvlib
    except ImportError:
        problem = f"the sun's path needs pvlib, which is not installed: install it with {INSTALL}"
        raise MissingExtra(f"{problem}, or leave latitude_deg and longitude_deg out.") from None
    return pvlib


# --- where and when ------------------------------------------------------------------------------------------------


def place_of(latitude_deg: float, longitude_deg: float, altitude_m: float = 0.0) -> Place:
    """Return a checked place [°, °, m].

    Examples
    --------
    >>> place_of(36.1, -79.95, 273)
    Place(latitude_deg=36.1, longitude_deg=-79.95, altitude_m=273.0)
    """
    given = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "altitude_m": altitude_m}
    return Place(**{name: check_range(name, value) for name, value in given.items()})


def zone_of(time_zone: Any) -> datetime.tzinfo:
    """Return a time zone from its name (``"Europe/Paris"``) or its offset (``"-05:00"``).

    Examples
    --------
    >>> zone_of("-05:00")
    datetime.timezone(datetime.timedelta(days=-1, seconds=68400))
    """
    if isinstance(time_zone, str):
        if found := re.fullmatch(r"([+-])([01][0-9]):([0-5][0-9])", time_zone):
            minutes = 60 * int(found[2]) + int(found[3])
            return datetime.timezone(datetime.timedelta(minutes=minutes if found[1] == "+" else -minutes))
        try:
            return zoneinfo.ZoneInfo(time_zone)
        except (ValueError, KeyError, OSError):  # unknown, malformed, or the name of a folder of zones
            pass
    close = nearest(time_zone, zoneinfo.available_timezones()) if isinstance(time_zone, str) else None
    remedy = f"did you mean {close}" if close else 'write e.g. "Europe/Paris" or "+02:00"'
    problem = f"is {shown(time_zone)}, allowed are names of time zones and offsets from UTC"
    raise InputError(problem, field="time_zone", remedy=remedy)


def start_of(start: Any, time_zone: Any = None) -> datetime.datetime:
    """Return the moment of a start, aware of its time zone.

    Parameters
    ----------
    start : str or datetime
        Date and time of day, ``"2026-07-01T06:30"``, local unless it has an offset of its own.
    time_zone : str, optional
        Name or offset; needed when the start has no offset, refused when it has one.

    Examples
    --------
    >>> start_of("2026-07-01T06:30", "Europe/Paris").isoformat()
    '2026-07-01T06:30:00+02:00'
    """
    moment = start
    if isinstance(start, str):
        try:
            moment = datetime.datetime.fromisoformat(start) if re.search(r"[T ]\d\d:", start) else None
        except ValueError:
            moment = None
    if not isinstance(moment, datetime.datetime):
        problem = f"is {shown(str(start))}, allowed is a date with a time of day"
        raise InputError(problem, field="start", remedy='write e.g. "2026-07-01T06:30"')
    if moment.tzinfo is not None:
        if time_zone is not None:
            problem = f"is {shown(time_zone)} beside a start that has its own offset ({moment.isoformat()})"
            raise InputError(problem, field="time_zone", remedy="keep one of the two")
        return moment
    if time_zone is None:
        problem = f"is missing while start ({moment.isoformat()}) has no offset: its sun could be anywhere"
        raise InputError(problem, field="time_zone", remedy='add time_zone, e.g. "Europe/Paris" or "+02:00"')
    zone = zone_of(time_zone)
    aware = moment.replace(tzinfo=zone)
    back = aware.astimezone(datetime.UTC).astimezone(zone)
    if back.replace(tzinfo=None) != moment:
        problem = f"is {moment.isoformat()}, which the change of clocks in {time_zone} leaves out"
        remedy = f'the clocks show "{back.replace(tzinfo=None).isoformat()}" then: write that'
        raise InputError(problem, field="start", remedy=remedy)
    if aware.utcoffset() != aware.replace(fold=1).utcoffset():
        problem = f"is {moment.isoformat()}, which the change of clocks in {time_zone} gives twice"
        pair = f'"{aware.isoformat()}" or "{aware.replace(fold=1).isoformat()}"'
        raise InputError(problem, field="start", remedy=f"give its offset in place of time_zone: {pair}")
    return aware


def moments(start: datetime.datetime, seconds: Any) -> Any:
    """Return the times [s after an aware start] as a pandas ``DatetimeIndex`` in UTC."""
    import pandas as pd

    if start.tzinfo is None:
        problem = f"is {start.isoformat()} without a time zone"
        raise InputError(problem, field="start", remedy='give the offset, e.g. "2026-07-01T06:30+02:00"')
    offsets = pd.to_timedelta(np.atleast_1d(np.asarray(seconds, dtype=float)), unit="s")
    return pd.DatetimeIndex([pd.Timestamp(start).tz_convert("UTC")] * len(offsets)) + offsets


# --- the sun -------------------------------------------------------------------------------------------------------


def sun_path(place: Place, times: Any, *, global_horizontal_W_m2: Any = None, cloud_cover: Any = None) -> SunPath:
    """Return position and irradiance at aware times: from a measured global irradiance, or a clear sky with clouds.

    Parameters
    ----------
    place : Place
    times : pandas.DatetimeIndex
        With a time zone.
    global_horizontal_W_m2 : array_like, optional
        Measured; split into beam and sky by the relation of Erbs (1982), pvlib's.
    cloud_cover : array_like, optional
        Share of the sky [1], instead of a measurement (default: clear): dims the clear sky of Ineichen & Perez (2002,
        pvlib's, with its monthly turbidity) as Kasten & Czeplak (1980) found.
    """
    pvlib = pvlib_library()
    if getattr(times, "tz", None) is None:
        problem = "are without a time zone: their sun could be anywhere"
        raise InputError(problem, field="times", remedy="give them one, e.g. times.tz_localize('Europe/Paris')")
    location = pvlib.location.Location(place.latitude_deg, place.longitude_deg, altitude=place.altitude_m)
    position = location.get_solarposition(times)
    clear = location.get_clearsky(times, solar_position=position)
    elevation = position["apparent_elevation"].to_numpy()
    clear_global, clear_beam, clear_diffuse = (clear[name].to_numpy() for name in ("ghi", "dni", "dhi"))
    if global_horizontal_W_m2 is None:
        cover = np.broadcast_to(np.asarray(0.0 if cloud_cover is None else cloud_cover, dtype=float), elevation.shape)
        whole, beam, diffuse = _under_cloud(clear_global, clear_beam, clear_diffuse, cover)
    else:
        whole = np.broadcast_to(np.asarray(global_horizontal_W_m2, dtype=float), elevation.shape)
        parts = pvlib.irradiance.erbs(whole, position["zenith"].to_numpy(), times)
        beam, diffuse = np.asarray(parts["dni"]), np.asarray(parts["dhi"])
    return SunPath(elevation, position["azimuth"].to_numpy(), beam, diffuse, np.array(whole), clear_global)


def _under_cloud(clear_global, clear_beam, clear_diffuse, cover):
    """Return global, beam and diffuse [W/m²] of a cloudy sky from those of the clear one."""
    from thermosim.physics.sun import diffuse_share_under_cloud, global_share_under_cloud

    whole, beam, diffuse = np.zeros((3, clear_global.size))
    for k in np.flatnonzero(clear_global > 0.0):
        if cover[k] == 0.0:
            whole[k], beam[k], diffuse[k] = clear_global[k], clear_beam[k], clear_diffuse[k]
            continue
        whole[k] = clear_global[k] * global_share_under_cloud(cover[k])
        diffuse[k] = whole[k] * diffuse_share_under_cloud(clear_diffuse[k] / clear_global[k], cover[k])
        direct = clear_global[k] - clear_diffuse[k]
        beam[k] = clear_beam[k] * (whole[k] - diffuse[k]) / direct if direct > 0.0 else 0.0
    return whole, beam, diffuse


def refuse_sun_at_night(path: SunPath, times: Any, places: list[dict] | None = None) -> None:
    """Refuse a measured sun while the sun is far below the horizon: the clock, the zone or the place is wrong."""
    wrong = np.flatnonzero((path.elevation_deg < TWILIGHT_DEG) & (path.global_horizontal_W_m2 > _TWILIGHT_W_M2))
    for k in wrong[:1]:
        problem = (
            f"is {path.global_horizontal_W_m2[k]:.0f} W/m² at {times[k]:%Y-%m-%d %H:%M} UTC, when the sun stands "
            f"{-path.elevation_deg[k]:.0f}° below the horizon there"
        )
        place = places[k] if places else {}
        raise InputError(problem, field="solar_W_m2", remedy="check start, time_zone and longitude_deg", **place)


# --- on a body -----------------------------------------------------------------------------------------------------


def body_load(path: SunPath, albedo: Any = DEFAULT_GROUND.albedo) -> BodyLoad:
    """Return the short wave on an upright body [W/m² of its whole surface] over a ground of an albedo [1].

    Examples
    --------
    >>> noon = SunPath(*(np.array([number]) for number in (60.0, 180.0, 900.0, 100.0, 880.0, 880.0)))
    >>> [round(float(part[0]), 1) for part in body_load(noon, 0.2)]
    [112.9, 36.0, 63.4]
    """
    from thermosim.parameters import value
    from thermosim.physics.sun import beam_on_body, half_space_on_body

    share = value("radiating_area_fraction")
    reflected = np.broadcast_to(np.asarray(albedo, dtype=float), path.elevation_deg.shape) * path.global_horizontal_W_m2
    sun = [beam_on_body(b, e, share) for b, e in zip(path.beam_normal_W_m2, path.elevation_deg)]
    sky = [half_space_on_body(d, share) for d in path.diffuse_horizontal_W_m2]
    return BodyLoad(np.array(sun), np.array(sky), np.array([half_space_on_body(g, share) for g in reflected]))


def equivalent_solar(load: BodyLoad) -> np.ndarray:
    """Return the series [W/m²] that the engine reads as global irradiance so that it absorbs what the load says.

    The engine absorbs absorptance × interception × surface × series, with one interception for every sun. The series is
    the load over the table's ``solar_interception``, so its interception follows the sun's height and the beam's share; an
    ensemble that draws the interception then varies the load about this value, as posture and build do.
    """
    from thermosim.parameters import value

    return load.total_W_m2 / value("solar_interception")


def long_wave_radiant(
    air_C, vapour_pressure_kPa, wind_speed_m_s, cloud_cover, path: SunPath, albedo=DEFAULT_GROUND.albedo,
    *, dry_share: float = DEFAULT_GROUND.dry_share, sky_seen: float = 1.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Return mean radiant temperature of sky and ground without the sun, and the ground's estimate [°C].

    Parameters
    ----------
    air_C, vapour_pressure_kPa, wind_speed_m_s, cloud_cover, albedo : array_like
        At the times of the path [°C, kPa, m/s, 1, 1].
    path : SunPath
        What reaches the ground.
    dry_share : float
        Share of the ground's net radiation that warms the air [1].
    sky_seen : float
        Share of the upper half that is sky [1]; the rest is leaves as warm as the air.
    """  # fmt: skip
    from thermosim.physics.sun import (
        ground_temperature_estimate,
        long_wave_radiant_temperature,
        sky_emissivity,
        sky_emissivity_clear,
    )

    shape = path.elevation_deg.shape
    columns = [np.broadcast_to(np.asarray(item, dtype=float), shape) for item in (
        air_C, vapour_pressure_kPa, wind_speed_m_s, cloud_cover, albedo, path.global_horizontal_W_m2)]  # fmt: skip
    radiant, ground = np.empty(shape), np.empty(shape)
    for k, (air, vapour, wind, cover, reflected, whole) in enumerate(zip(*columns)):
        above = sky_emissivity(sky_emissivity_clear(air, vapour), cover)
        above = sky_seen * above + (1.0 - sky_seen)
        ground[k] = ground_temperature_estimate(air, (1.0 - reflected) * whole, above, wind, dry_share)
        radiant[k] = long_wave_radiant_temperature(air, above, ground[k])
    return radiant, ground
