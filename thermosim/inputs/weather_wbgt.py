"""Wet-bulb globe temperature of a weather: measured where both instruments were read, else estimated and called so."""

from typing import NamedTuple

import numpy as np

from thermosim.inputs.sun_path import DEFAULT_GROUND, SunPath

MEASURED, ESTIMATED = "measured", "estimated"
LEAST_AIR_SPEED_M_S = 0.1  # air is never stiller than this around an instrument
# Where a global irradiance has no place: the sun that is assumed for the instruments.
ASSUMED_ELEVATION_DEG, ASSUMED_DIFFUSE_SHARE = 60.0, 0.2


class WetBulbGlobe(NamedTuple):
    """Wet-bulb globe temperature and what it is made of, on the weather's knots [°C]; how they were found."""

    wbgt_C: np.ndarray
    natural_wet_bulb_C: np.ndarray
    globe_C: np.ndarray
    label: str
    natural_wet_bulb_label: str
    globe_label: str
    notes: tuple[str, ...]


def wet_bulb_globe_of(weather) -> WetBulbGlobe:
    """Return the wet-bulb globe temperature of a weather where it was taken: instruments that stand, wind at 1.5 m.

    ``measured`` where globe and natural wet bulb were both read. Otherwise the missing one comes from the heat balance of a
    150 mm globe or of a wetted wick. With a sun, or a globe warmer than the air, the weights are those for solar load.
    """
    from thermosim.physics import wet_bulb_globe as law

    notes: list[str] = []
    globe_read = not np.isnan(weather.globe_temperature_C).any()
    bulb_read = not np.isnan(weather.natural_wet_bulb_C).any()
    size = weather.time_s.size
    globe, bulb, found = np.empty(size), np.empty(size), np.empty(size)
    path = None if globe_read else _path(weather, notes)
    albedo = np.full(size, DEFAULT_GROUND.albedo) if weather.albedo is None else weather.albedo
    for k in range(size):
        air, wind = float(weather.air_temperature_C[k]), max(float(weather.wind_speed_m_s[k]), LEAST_AIR_SPEED_M_S)
        long_wave = float(weather.mean_radiant_temperature_C[k])
        long_wave = air if np.isnan(long_wave) else long_wave
        if globe_read:
            globe[k] = weather.globe_temperature_C[k]
            radiant = law.mean_radiant_temperature_of_globe(globe[k], air, wind)
            on_wick = law.short_wave_of_radiant(radiant, air)  # beyond the air's long wave all is taken for sun
            long_wave = min(radiant, air)
        else:
            on_globe, on_wick = _on_instruments(path, k, float(albedo[k])) if path else (0.0, 0.0)
            globe[k] = law.globe_temperature(air, law.radiant_with_short_wave(long_wave, on_globe), wind)
        if bulb_read:
            bulb[k] = weather.natural_wet_bulb_C[k]
        else:
            bulb[k] = law.natural_wet_bulb(
                air, float(weather.vapour_pressure_kPa[k]), float(weather.pressure_kPa[k]), wind, long_wave, on_wick
            )
        if weather.solar_W_m2[k] > 0.0 or (globe_read and globe[k] > air):
            found[k] = law.wet_bulb_globe_in_sun(bulb[k], globe[k], air)
        else:
            found[k] = law.wet_bulb_globe_without_sun(bulb[k], globe[k])
    if globe_read and np.any(weather.globe_temperature_C > weather.air_temperature_C):
        notes.append("A globe warmer than the air is taken as outdoors in the sun (0.7, 0.2, 0.1).")
    return WetBulbGlobe(
        found, bulb, globe, _label(globe_read and bulb_read), _label(bulb_read), _label(globe_read), tuple(notes)
    )


def _label(read: bool) -> str:
    return MEASURED if read else ESTIMATED


def _on_instruments(path: SunPath, k: int, albedo: float) -> tuple[float, float]:
    """Return the short wave on globe and wick [W/m²] at a knot."""
    from thermosim.physics.wet_bulb_globe import short_wave_on_sphere, short_wave_on_upright_cylinder

    beam, diffuse = path.beam_normal_W_m2[k], path.diffuse_horizontal_W_m2[k]
    whole, elevation = path.global_horizontal_W_m2[k], path.elevation_deg[k]
    on_wick = short_wave_on_upright_cylinder(beam, diffuse, whole, albedo, elevation)
    return short_wave_on_sphere(beam, diffuse, whole, albedo), on_wick


def _path(weather, notes: list[str]) -> SunPath | None:
    """Return the sun's path of a weather, an assumed one where there is no place, or None where there is no sun."""
    if weather.sun is not None:
        return weather.sun
    whole = weather.solar_W_m2
    if not np.any(whole > 0.0):
        return None
    notes.append(
        f"Without a place the globe's sun is taken as {ASSUMED_ELEVATION_DEG:g}° high, "
        f"{100 * ASSUMED_DIFFUSE_SHARE:g} % of it from the sky."
    )
    return assumed_path(whole)


def assumed_path(global_horizontal_W_m2: np.ndarray) -> SunPath:
    """Return the sun that is assumed for instruments where a global irradiance [W/m²] has no place."""
    whole = global_horizontal_W_m2
    beam = (1.0 - ASSUMED_DIFFUSE_SHARE) * whole / np.sin(np.radians(ASSUMED_ELEVATION_DEG))
    elevation, azimuth = np.full(whole.shape, ASSUMED_ELEVATION_DEG), np.full(whole.shape, 180.0)
    return SunPath(elevation, azimuth, beam, ASSUMED_DIFFUSE_SHARE * whole, whole, whole)
