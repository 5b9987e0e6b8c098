"""Flags from the glossary: every field name with dashes, grouped as the help shows them."""

import functools
import inspect
import re
from typing import Annotated, Any

import typer

from thermosim.variables import INPUTS, flag

GROUPS: dict[str, tuple[str, ...]] = {
    "Runner": (
        "mass_kg", "height_m", "sex", "age_y", "body_fat_pct", "vo2max_mL_kg_min", "resting_heart_rate_bpm",
        "maximum_heart_rate_bpm", "threshold_heart_rate_bpm", "heat_days", "maximum_sweat_rate_L_h",
        "economy_factor", "clothing", "core_start_C", "name", "pregnant", "beta_blocker",
    ),
    "Weather": (
        "air_temperature_C", "relative_humidity_pct", "dew_point_C", "wet_bulb_C", "vapour_pressure_kPa",
        "wind_speed_m_s", "wind_from", "wind_from_deg", "wind_height_m", "solar_W_m2", "globe_temperature_C",
        "mean_radiant_temperature_C", "pressure_kPa", "altitude_m", "natural_wet_bulb_C", "latitude_deg",
        "longitude_deg", "time_zone", "start", "cloud_cover", "albedo",
    ),
    "Effort": (
        "speed_m_s", "pace_min_km", "grade_pct", "minutes", "heading_deg", "gait", "cost", "treadmill",
        "fan_speed_m_s", "surface_factor", "air_drag", "carried_mass_kg",
    ),
    "Course": (
        "course", "track", "laps", "reverse", "out_and_back", "smoothing_m", "level_speed_m_s", "metabolic_power_W",
        "walk_above_grade_pct", "walk_speed_m_s", "fastest_m_s", "segment_m", "stops",
    ),
    "Rule": (
        "cap_bpm", "cap_below_threshold_bpm", "resume_below_bpm", "resume_seconds", "above_cap", "max_cap_events",
        "stop_after_min_over_cap", "core_stop_C",
    ),
    "Limit": ("core_limit_C", "limit_site", "limit_reason"),
    "Ensemble": ("members", "seed"),
    "Instant, as textbooks give it": (
        "skin_temperature_C", "metabolic_power_W", "metabolic_rate_W_m2", "oxygen_uptake_L_min",
        "respiratory_quotient", "external_work_W", "surface_area_m2", "air_speed_m_s", "convection_W_m2K",
        "clothing_clo", "sweat_rate_L_h", "storage_W", "core_end_C", "skin_start_C", "skin_end_C",
    ),
}  # fmt: skip
SESSION_GROUPS = ("Runner", "Weather", "Effort", "Course", "Rule", "Limit", "Ensemble")
LEDGER_GROUPS = ("Runner", "Weather", "Effort", "Instant, as textbooks give it")
ALSO = {"core_limit_C": "core_temperature_C"}  # the field's name in a file, taken as a flag as well

# Fields that are words or switches, and those whose range stands under another name.
WORDS = {
    "sex": ("SEX", "male or female"),
    "clothing": ("KIT", "nude, light_kit, shirt_and_shorts or coverall"),
    "name": ("LABEL", "short label such as P-31, never a real name"),
    "wind_from": ("FROM", "head, tail, cross or degrees: where the wind comes from"),
    "time_zone": ("ZONE", "time zone of the start, e.g. Europe/Paris or +02:00"),
    "start": ("MOMENT", "date and time of the start, e.g. 2026-07-01T06:30, for the sun's path"),
    "course": ("FILE", "run over a *.course.csv or a GPX track; the speed is speed_m_s, pace_min_km or one of these"),
    "stops": ("W2=3+W4=6", "minutes standing at checkpoints"),
    "above_cap": ("WHAT", "walk or stand, while above the cap"),
    "gait": ("GAIT", "auto, run or walk"),
    "cost": ("COST", "minetti or acsm: relation for the cost of running"),
    "limit_site": ("SITE", "core, rectal, oesophageal or gut: what the limit acts on"),
    "limit_reason": ("TEXT", "why the limit is above 39.5 °C"),
}
SWITCHES = {
    "pregnant": "adult model, outside its range",
    "beta_blocker": "heart rate is then not modelled",
    "reverse": "run the course the other way",
    "out_and_back": "run it there and back",
    "treadmill": "the air then moves with the fan only",
    "air_drag": "count the cost of running against the air",
}


def with_fields(*groups: str):
    """Give a command one flag for every field of the groups; it receives those that were given as ``fields``.

    Switches have a ``--no-…`` flag too, and a field with two names has two flags; the help shows one of each.
    """
    names = [name for group in groups for name in GROUPS[group]]

    def decorate(command):
        own = [p for p in inspect.signature(command).parameters.values() if p.name != "fields"]
        added = [
            parameter for group in groups for name in GROUPS[group] for parameter in _parameters(name, group)
        ]

        @functools.wraps(command)
        def run(**given):
            flags = {parameter.name: given.pop(parameter.name) for parameter in added}
            return command(**given, fields=_given(names, flags))

        run.__signature__ = inspect.Signature([*own, *added])
        run.__annotations__ = {p.name: p.annotation for p in (*own, *added)}
        return run

    return decorate


def _given(names: list[str], flags: dict[str, Any]) -> dict[str, Any]:
    """Return the fields that flags set, as numbers where the text is one."""
    found = {}
    for name in names:
        value = flags[name]
        if flags.get(f"no_{name}"):
            value = False
        elif value is None:
            value = flags.get(ALSO.get(name, ""))
        if value is not None:
            found[name] = _value(name, value)
    return found


def _parameters(name: str, group: str) -> list[inspect.Parameter]:
    if name in SWITCHES:
        return [
            _flag(name, bool, help=SWITCHES[name], rich_help_panel=group, metavar=" "),
            _flag(f"no_{name}", bool, hidden=True),
        ]
    metavar, text = WORDS.get(name) or _described(name)
    shown = _flag(name, str, help=text, metavar=metavar, rich_help_panel=group)
    return [shown, _flag(ALSO[name], str, hidden=True)] if name in ALSO else [shown]


def _flag(name: str, kind: type, **words) -> inspect.Parameter:
    option = typer.Option(flag(name), show_default=False, **words)
    return inspect.Parameter(
        name, inspect.Parameter.KEYWORD_ONLY, default=None, annotation=Annotated[kind | None, option]
    )


def _described(name: str) -> tuple[str, str]:
    entry = INPUTS[name]
    unit = "NUMBER" if entry.unit == "1" else entry.unit
    span = f"{entry.low:g} to {entry.high:g}" if entry.high < 1e9 else f"{entry.low:g} or more"
    return unit, f"{entry.long_name}, {span}"


def _value(name: str, text: Any) -> Any:
    """Return the number behind a flag's text; text that is none goes on to the door, which says what is wrong."""
    if isinstance(text, bool) or (name in WORDS and name != "wind_from"):
        return text
    return number_or_text(text)


def number_or_text(text: str) -> Any:
    """Return an int or a float where the text is one (nan and inf too), else the text itself."""
    if re.fullmatch(r"[+-]?\d{1,19}", text.strip()):
        return int(text)
    try:
        return float(text) if "_" not in text else text
    except ValueError:
        return text
