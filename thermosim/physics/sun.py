"""Sun, sky and ground as a body sees them: short wave on an upright body, long wave from sky and ground."""

import math

from thermosim._jit import compiled
from thermosim.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS_K

# --- short wave ----------------------------------------------------------------------------------------------------


@compiled
def projected_area_factor(elevation_deg):
    """Shadow of a standing person over the radiating area [1] at a sun elevation [°], averaged over all headings.

    ``0.308 cos(e (1 - e^2/48402))``, a fit to the photographic factors of standing people; for 0 to 90°. Its mean over a
    hemisphere is one quarter, as it must be for a convex body.

    References
    ----------
    Fanger 1970, Thermal Comfort, fig. on projected area factors; the fit as in VDI 3787 part 2 (both from memory, high
    confidence). Underwood & Ward 1966 measured the same: :func:`cylinder_shadow_share`.

    Examples
    --------
    >>> round(projected_area_factor(0.0), 3), round(projected_area_factor(60.0), 3)
    (0.308, 0.174)
    """
    return 0.308 * math.cos(math.radians(elevation_deg * (1.0 - elevation_deg * elevation_deg / 48402.0)))


@compiled
def cylinder_shadow_share(elevation_deg, from_front_deg):
    """Shadow of a standing or walking man over his Du Bois area [1]: an elliptic cylinder.

    ``0.043 sin e + 2.997 cos e (0.02133 cos^2 a + 0.0091 sin^2 a)^0.5`` m², over 1.81 m² of skin. Its top is the ellipse
    alone, so that it has too little head and shoulder under a sun near the zenith.

    Parameters
    ----------
    elevation_deg : float
        Elevation of the sun [°], 0 to 90.
    from_front_deg : float
        Angle between the sun's direction and where the man looks [°].

    References
    ----------
    Underwood & Ward 1966, Ergonomics 9:155 (25 men; coefficients from memory: the three agree with one ellipse).

    Examples
    --------
    >>> round(cylinder_shadow_share(0.0, 0.0), 3), round(cylinder_shadow_share(0.0, 90.0), 3)
    (0.242, 0.158)
    """
    elevation, azimuth = math.radians(elevation_deg), math.radians(from_front_deg)
    width = math.sqrt(0.02133 * math.cos(azimuth) ** 2 + 0.0091 * math.sin(azimuth) ** 2)
    return (0.043 * math.sin(elevation) + 2.997 * math.cos(elevation) * width) / 1.81


@compiled
def beam_on_body(beam_normal_W_m2, elevation_deg, radiating_area_fraction):
    """Direct irradiance averaged over the whole surface of an upright body [W/m²].

    Parameters
    ----------
    beam_normal_W_m2 : float
        Direct irradiance on a plane that faces the sun [W/m²].
    elevation_deg : float
        Elevation of the sun [°]; nothing comes from a sun below the horizon.
    radiating_area_fraction : float
        Radiating over total body surface [1].

    Examples
    --------
    >>> round(beam_on_body(900.0, 60.0, 0.72), 1)
    112.9
    """
    if elevation_deg <= 0.0:
        return 0.0
    return projected_area_factor(elevation_deg) * radiating_area_fraction * beam_normal_W_m2


@compiled
def half_space_on_body(horizontal_W_m2, radiating_area_fraction):
    """Irradiance averaged over the whole surface of an upright body [W/m²] from one half of its surroundings.

    The sky above (its diffuse irradiance on the horizontal), or the ground below (what it reflects upward), each
    equally bright in all directions: an upright body sees half of each.

    Examples
    --------
    >>> half_space_on_body(100.0, 0.72)
    36.0
    """
    return 0.5 * radiating_area_fraction * horizontal_W_m2


@compiled
def short_wave_on_body(
    beam_normal_W_m2, diffuse_horizontal_W_m2, global_horizontal_W_m2, albedo, elevation_deg, radiating_area_fraction
):
    """Short-wave irradiance averaged over the whole surface of an upright body [W/m²]: sun, sky and ground.

    Absorbed power is this times absorptance times body surface.

    Parameters
    ----------
    beam_normal_W_m2, diffuse_horizontal_W_m2, global_horizontal_W_m2 : float
        Direct on a plane that faces the sun; sky alone and all together on the horizontal [W/m²].
    albedo : float
        Share that the ground reflects [1].
    elevation_deg : float
        Elevation of the sun [°].
    radiating_area_fraction : float
        Radiating over total body surface [1].

    Examples
    --------
    113 W/m² from the sun, 36 from 100 W/m² of sky, 63 from a ground that reflects a fifth of 880 W/m²:

    >>> round(short_wave_on_body(900.0, 100.0, 880.0, 0.2, 60.0, 0.72), 1)
    212.3
    """
    from_sun = beam_on_body(beam_normal_W_m2, elevation_deg, radiating_area_fraction)
    from_sky = half_space_on_body(diffuse_horizontal_W_m2, radiating_area_fraction)
    return from_sun + from_sky + half_space_on_body(albedo * global_horizontal_W_m2, radiating_area_fraction)


@compiled
def equivalent_global(on_body_W_m2, interception):
    """Global horizontal irradiance [W/m²] that a fixed interception [1] turns into a given irradiance on the body [W/m²].

    The engine absorbs ``absorptance * interception * area * global``. With this series in place of the global one it
    absorbs ``absorptance * area * on_body``: what the law of sun, sky and ground gives.

    Examples
    --------
    >>> round(equivalent_global(212.3, 0.2), 1)
    1061.5
    """
    return on_body_W_m2 / interception


# --- clouds --------------------------------------------------------------------------------------------------------


@compiled
def global_share_under_cloud(cloud_cover):
    """Global irradiance over that of the clear sky [1] at a cloud cover [1] from 0 to 1: ``1 - 0.75 N^3.4``.

    References
    ----------
    Kasten & Czeplak 1980, Solar Energy 24:177 (ten years of Hamburg; from memory, high confidence).

    Examples
    --------
    >>> global_share_under_cloud(1.0)
    0.25
    """
    return 1.0 - 0.75 * cloud_cover**3.4


@compiled
def cloud_of_global_share(share):
    """Cloud cover [1] at which the clear sky's global irradiance falls to a share [1]: the inverse, within 0 to 1.

    Examples
    --------
    >>> round(cloud_of_global_share(global_share_under_cloud(0.6)), 6)
    0.6
    """
    return min(max((1.0 - share) / 0.75, 0.0), 1.0) ** (1.0 / 3.4)


@compiled
def diffuse_share_under_cloud(clear_diffuse_share, cloud_cover):
    """Diffuse over global irradiance [1] at a cloud cover [1]: from the clear sky's own share to 1 with ``N^2``.

    References
    ----------
    Kasten & Czeplak 1980: 0.3 + 0.7 N² (from memory, medium confidence); the clear sky's own share stands for their 0.3.

    Examples
    --------
    >>> diffuse_share_under_cloud(0.1, 0.5), diffuse_share_under_cloud(0.1, 1.0)
    (0.325, 1.0)
    """
    return clear_diffuse_share + (1.0 - clear_diffuse_share) * cloud_cover * cloud_cover


# --- long wave -----------------------------------------------------------------------------------------------------


@compiled
def sky_emissivity_clear(air_C, vapour_pressure_kPa):
    """Emissivity of the clear sky [1]: its long wave over that of a black body at the air's temperature.

    ``1 - (1 + w) exp(-(1.2 + 3 w)^0.5)`` with ``w = 46.5 e/T``, water above in cm (e in hPa, T in K). For clear sky;
    within about 0.03 at -40 to 40 °C.

    Parameters
    ----------
    air_C, vapour_pressure_kPa : float
        Air near the ground [°C], [kPa].

    References
    ----------
    Prata 1996, Q J R Meteorol Soc 122:1127 (from memory, high confidence).

    Examples
    --------
    >>> round(sky_emissivity_clear(30.0, 2.5), 3)
    0.863
    """
    water_cm = 46.5 * 10.0 * vapour_pressure_kPa / (air_C + ZERO_CELSIUS_K)
    return 1.0 - (1.0 + water_cm) * math.exp(-math.sqrt(1.2 + 3.0 * water_cm))


@compiled
def sky_emissivity(clear_emissivity, cloud_cover):
    """Emissivity of a cloudy sky [1] from the clear one and a cloud cover [1]: ``(1 - 0.84 N) clear + 0.84 N``.

    References
    ----------
    Unsworth & Monteith 1975, Q J R Meteorol Soc 101:13 (from memory, high confidence).

    Examples
    --------
    >>> round(sky_emissivity(0.85, 0.0), 3), round(sky_emissivity(0.85, 1.0), 3)
    (0.85, 0.976)
    """
    return (1.0 - 0.84 * cloud_cover) * clear_emissivity + 0.84 * cloud_cover


@compiled
def ground_temperature_estimate(air_C, absorbed_W_m2, sky_emissivity_1, wind_speed_m_s, dry_share):
    """Temperature of the ground [°C], an estimate: its net radiation at air temperature, what of it warms the air.

    ``dry_share R / (h + 4 e s T^3)``: the rest evaporates water and warms the soil below. Right to some 5 to 10 K in sun,
    where a measured ground or globe is worth more. Wind is that over the open ground, and moves heat by
    ``5.7 + 3.8 v`` W/m²K.

    Parameters
    ----------
    air_C : float
        Air temperature [°C].
    absorbed_W_m2 : float
        Short wave that the ground keeps [W/m²]: (1 - albedo) times global.
    sky_emissivity_1 : float
        Emissivity of what is above [1].
    wind_speed_m_s : float
        Wind [m/s].
    dry_share : float
        Share of net radiation that warms the air [1]: about 0.3 on green grass, 0.7 on dry asphalt.

    References
    ----------
    Energy balance of a surface; wind coefficient McAdams 1954 (flat plate, from memory); shares Oke 1987 (from memory,
    low confidence).

    Examples
    --------
    >>> round(ground_temperature_estimate(30.0, 720.0, 0.86, 2.0, 0.4), 1)
    43.6
    """
    emissivity = 0.95
    kelvin = air_C + ZERO_CELSIUS_K
    net = absorbed_W_m2 - emissivity * (1.0 - sky_emissivity_1) * STEFAN_BOLTZMANN * kelvin**4
    coefficient = 5.7 + 3.8 * wind_speed_m_s + 4.0 * emissivity * STEFAN_BOLTZMANN * kelvin**3
    return air_C + dry_share * net / coefficient


@compiled
def long_wave_radiant_temperature(air_C, sky_emissivity_1, ground_C):
    """Mean radiant temperature of a standing body [°C], long wave alone: half of it sees the sky, half the ground.

    The ground is grey (emissivity 0.95) and reflects the rest of the sky's radiation.

    Parameters
    ----------
    air_C, ground_C : float
        Temperatures [°C].
    sky_emissivity_1 : float
        Long wave from above over that of a black body at air temperature [1].

    Examples
    --------
    >>> round(long_wave_radiant_temperature(30.0, 1.0, 30.0), 6)
    30.0
    >>> round(long_wave_radiant_temperature(20.0, 0.75, 20.0), 1)
    9.9
    """
    emissivity = 0.95
    sky = sky_emissivity_1 * (air_C + ZERO_CELSIUS_K) ** 4
    ground = emissivity * (ground_C + ZERO_CELSIUS_K) ** 4 + (1.0 - emissivity) * sky
    return (0.5 * (sky + ground)) ** 0.25 - ZERO_CELSIUS_K
