"""The hot humid week of a station file, hour by hour: air, dew point and wet bulb, sun, wind."""

from . import style
from .page import GAP_IN, Page, end_labels, lone_axes, panel_title, value_ticks, x_label
from .style import COLOUR

AIR_IN, SMALL_IN, TOP_IN, FOOT_IN = 1.9, 0.85, 0.28, 0.42
LINES = (  # name, words, colour, dash
    ("air_temperature_C", "air", "clay", "-"),
    ("wet_bulb_C", "wet bulb", "ink", style.LIMIT_DASH),
    ("dew_point_C", "dew point", "deep_water", style.DOTTED),
)


def hot_week(series, answer, setting, cautions, provenance):
    """Return the page of a week of hours.

    Parameters
    ----------
    series : dict
        ``dates`` (one a day) and hourly ``air_temperature_C``, ``dew_point_C``, ``wet_bulb_C``, ``solar_W_m2``,
        ``wind_speed_m_s``.
    answer : list of str
    setting, provenance : str
    cautions : list of str

    Returns
    -------
    matplotlib.figure.Figure
        1400 px wide at 150 dpi.
    """
    panels = ((AIR_IN, air_panel), (SMALL_IN, sun_panel), (SMALL_IN, wind_panel))
    body = TOP_IN + sum(height + GAP_IN for height, _ in panels) - GAP_IN + FOOT_IN
    page = Page(question="Which days in a row are hot and humid at once?", answer=answer, setting=setting, cautions=cautions,
                provenance=provenance, body_in=body)  # fmt: skip
    top = TOP_IN
    for k, (height, draw) in enumerate(panels):
        ax = draw(series, page.axes(top, height), "abc"[k])
        _days(ax, series, words=k == len(panels) - 1)
        top += height + GAP_IN
    return page.figure


def air_panel(series, ax=None, letter="a"):
    """Draw air, wet bulb and dew point over the hours; return the axes."""
    ax = ax or lone_axes()
    hours = _hours(series)
    for name, _, colour, dash in LINES:
        ax.plot(hours, series[name], color=COLOUR[colour], lw=1.8, linestyle=dash, zorder=3, gid=name)
    low, high = min(series["dew_point_C"]), max(series["air_temperature_C"])
    ax.set_ylim(low - 1.0, high + 1.0)
    ax.set_xlim(0.0, len(hours))
    value_ticks(ax, 5, 0)
    panel_title(ax, letter, "Air, wet bulb and dew point, °C", "readings at the end of each hour; wet bulb from them")
    end_labels(
        ax,
        [(series[name][-1], words, style.text_colour(COLOUR[colour]), name == "wet_bulb_C") for name, words, colour, _ in LINES],
    )
    return ax


def sun_panel(series, ax=None, letter="b"):
    """Draw global irradiance as means of the hours; return the axes."""
    ax = ax or lone_axes()
    ax.stairs(series["solar_W_m2"], range(len(series["solar_W_m2"]) + 1), fill=True, color=COLOUR["straw"], zorder=2, gid="sun")
    ax.set_xlim(0.0, len(series["solar_W_m2"]))
    ax.set_ylim(0.0, max(1.0, 1.08 * max(series["solar_W_m2"])))
    value_ticks(ax, 4, 0)
    panel_title(ax, letter, "Sun on the horizontal, W/m²", "means of the hours")
    return ax


def wind_panel(series, ax=None, letter="c"):
    """Draw the wind at the station's height; return the axes."""
    ax = ax or lone_axes()
    ax.plot(_hours(series), series["wind_speed_m_s"], color=COLOUR["none"], lw=1.4, zorder=3, gid="wind")
    ax.set_xlim(0.0, len(series["wind_speed_m_s"]))
    ax.set_ylim(0.0, max(1.0, 1.1 * max(series["wind_speed_m_s"])))
    value_ticks(ax, 4, 0)
    panel_title(ax, letter, "Wind at 10 m, m/s", "a runner at 1.5 m gets about three quarters of it on open ground")
    return ax


def _hours(series):
    return [k + 1 for k in range(len(series["air_temperature_C"]))]


def _days(ax, series, words):
    """Rule off the days and name them below the lowest panel."""
    days = len(series["dates"])
    for day in range(0, days, 2):
        ax.axvspan(24 * day, 24 * (day + 1), color=COLOUR["wash"], lw=0, zorder=0)
    ax.set_xticks([24 * day + 12 for day in range(days)])
    ax.set_xticklabels(series["dates"] if words else [""] * days)
    ax.tick_params(axis="x", length=0)
    if words:
        x_label(ax, "month/day, standard time of the station")
