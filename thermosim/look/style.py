"""Colours by role, type, lines and number formats: the one table every figure reads."""

import math

# role -> colour. No hue has a second meaning; none of them means good or bad.
COLOUR = {
    "ink": "#20242B",  # text, limits, caps, zero, storage, misses
    "grey_ink": "#5C6068",  # notes, ticks, recorded dots
    "stone": "#8B857B",  # axis lines, leaders, gaps; never text
    "none": "#6B675F",  # the arm without device; speed
    "mulberry": "#8A1F4E",  # core; heat made
    "clay": "#C4742B",  # mean skin; a third arm
    "clay_text": "#935016",
    "indigo": "#5560B4",  # heart rate
    "deep_water": "#125F78",  # evaporation; the arm with device; heat taken from skin
    "device_blue": "#3A9CC2",  # device term inside a ledger
    "mist": "#9CC3CE",  # convection; heat a device takes from air
    "straw": "#E3B23C",  # sun and long-wave
    "breath": "#DCE6E3",  # respiratory terms, with dots
    "pebble": "#B3ADA2",  # external work; shared shares; grade
    "rule": "#D8D4CC",  # grid lines
    "wash": "#EFEDE8",  # rep, night, tolerance
    "paper": "#FFFFFF",
}

# heat term -> (label, fill, texture)
TERM = {
    "metabolic_power": ("heat made", COLOUR["mulberry"], ""),
    "external_work": ("work on grade", COLOUR["pebble"], ""),
    "convection": ("convection", COLOUR["mist"], ""),
    "long_wave_radiation": ("long-wave", COLOUR["straw"], "...."),
    "solar_radiation": ("sun", COLOUR["straw"], ""),
    "respiration": ("breathing", COLOUR["breath"], "...."),
    "respiration_vapour": ("breathing, vapour", COLOUR["breath"], "...."),
    "respiration_dry": ("breathing, dry", COLOUR["breath"], ""),
    "evaporation": ("evaporation", COLOUR["deep_water"], ""),
    "devices": ("devices", COLOUR["device_blue"], "////"),
    "storage": ("storage", COLOUR["ink"], ""),
}

# fill -> colour its label may take on white (contrast 5.6 or more)
TEXT_ON_WHITE = {
    COLOUR["mulberry"]: COLOUR["mulberry"],
    COLOUR["deep_water"]: COLOUR["deep_water"],
    COLOUR["clay"]: COLOUR["clay_text"],
    COLOUR["indigo"]: COLOUR["indigo"],
    COLOUR["none"]: COLOUR["none"],
}

# arms of a comparison, in order: colour, dash, marker
ARM = (
    (COLOUR["none"], (0, (5.5, 2.2)), "o"),
    (COLOUR["deep_water"], "-", "o"),
    (COLOUR["clay"], (0, (2.5, 1.5)), "^"),
    (COLOUR["indigo"], (0, (6, 1.5, 1.2, 1.5)), "s"),
)

LIMIT_DASH = (0, (7, 2.5))
DOTTED = (0, (1.2, 1.8))
HATCH_UNCOMPENSABLE, HATCH_CEILING, HATCH_GAP, HATCH_NEVER = "////", "\\\\\\\\", "////", "////"

SANS, SERIF, MONO = "DejaVu Sans", "STIXGeneral", "DejaVu Sans Mono"
SIZE = {
    "answer": 16.5,
    "question": 8.0,
    "setting": 7.8,
    "title": 8.6,
    "note": 7.3,
    "label": 7.6,
    "axis": 7.8,
    "tick": 7.4,
    "caution": 7.4,
    "provenance": 6.4,
}
MINUS, THIN, DASH, TIMES = "\u2212", "\u2009", "\u2013", "\u00d7"


def sans(role, *, bold=False, italic=False):
    """Return text properties of DejaVu Sans at the size of a role."""
    return {
        "fontfamily": SANS,
        "fontsize": SIZE[role],
        "fontweight": "bold" if bold else "normal",
        "fontstyle": "italic" if italic else "normal",
    }


def serif(size):
    """Return text properties of the answer sentence."""
    return {"fontfamily": SERIF, "fontsize": size, "fontweight": "bold"}


def text_colour(fill):
    """Return the colour for words beside a mark of this colour: its own if dark enough, else ink."""
    return TEXT_ON_WHITE.get(fill, COLOUR["ink"])


def is_number(value):
    """Return True for a finite number (not None, not NaN)."""
    return isinstance(value, (int, float)) and math.isfinite(value)


def number(value, decimals=0, *, signed=False):
    """Return a number with true minus and thin spaces in thousands, e.g. ``−1 434``."""
    rounded = round(float(value), decimals)
    digits = f"{abs(rounded):,.{decimals}f}".replace(",", THIN)
    sign = MINUS if rounded < 0 else ("+" if signed and rounded > 0 else "")
    return sign + digits


def interval(low, high, decimals=0):
    """Return ``1.1–1.7``, or ``−0.04 to +0.02`` when a bound is below zero."""
    if round(low, decimals) < 0 or round(high, decimals) < 0:
        return f"{number(low, decimals, signed=True)} to {number(high, decimals, signed=True)}"
    return f"{number(low, decimals)}{DASH}{number(high, decimals)}"


def temperature_decimals(low=None, high=None):
    """Return 2 decimals for a contrast whose half-width is under 0.1 °C, else 1."""
    narrow = low is not None and high is not None and abs(high - low) / 2 < 0.1
    return 2 if narrow else 1


def watts(value):
    """Return watts for prose, rounded to 5."""
    return number(5 * round(float(value) / 5))


def duration(seconds):
    """Return a duration with the unit it deserves: seconds under two minutes, else whole minutes."""
    return f"{number(seconds)} s" if seconds < 120 else f"{number(seconds / 60)} min"


def censored(value, followed_min):
    """Return whole minutes, or ``over 90`` for a value that was not reached while followed."""
    return number(value) if is_number(value) else f"over {number(followed_min)}"


def censored_interval(low, high, followed_min):
    """Return an interval in minutes, its upper end open when not reached."""
    if is_number(low) and is_number(high):
        return interval(low, high)
    if is_number(low):
        return f"{number(low)} to {censored(high, followed_min)}"
    return censored(None, followed_min)
