"""Heat days kept in words: bpm, °C and litres of sweat, each with its band."""

from typing import Any

from thermosim.cli.terminal import number

TITLE = "Heat days kept"


def heat_lines(kept: dict[str, Any]) -> list[str]:
    """Return what was gained, what is kept on the day, and what more days without heat would leave."""
    exposures = "exposure" if kept["exposures"] == 1 else "exposures"
    lines = [
        f"{kept['exposures']} {exposures}, the last {_days(kept['days_before'])} before the run. Against the same runner "
        "without any, "
        f"at minute {kept['at_min']:.0f} of this run (median, 90 % of {kept['members']} drawn runners):"
    ]
    if kept["days_before"] > 1:
        lines.append(f"gained by the day after the last: {change_words(kept['gained'])}.")
    lines.append(f"kept on the day: {change_words(kept['kept'])}.")
    lines += [f"after {_days(one['days_later'])} more without heat: {change_words(one)}." for one in kept["ahead"]]
    lines.append(
        "Sweat in a run is what the heat balance asks for, so that it grows less than what the glands could give; where the "
        "air takes "
        "no more, more sweat drips. Courses of gain and loss are common practice with wide ranges between people, no "
        "measurement of this runner."
    )
    return lines


def change_words(change: dict[str, Any]) -> str:
    """Return one moment's changes: heart rate, core, sweat rate, largest sweat rate.

    Examples
    --------
    >>> band = {"median": -0.21, "low": -0.3, "high": -0.1}
    >>> more = {"median": 0.05, "low": 0.0, "high": 0.1}
    >>> change_words({"heart_rate_bpm": None, "core_C": band, "sweat_rate_L_h": more, "largest_sweat_rate_L_h": more})
    'core −0.21 °C (−0.30 to −0.10), sweat +0.05 L/h (0.00 to +0.10), largest sweat rate +0.05 L/h (0.00 to +0.10)'
    """
    parts = [
        f"{words} {number(band['median'], decimals, True)} {unit} ({number(band['low'], decimals, True)} to "
        f"{number(band['high'], decimals, True)})"
        for words, name, unit, decimals in (
            ("heart rate", "heart_rate_bpm", "bpm", 0), ("core", "core_C", "°C", 2), ("sweat", "sweat_rate_L_h", "L/h", 2),
            ("largest sweat rate", "largest_sweat_rate_L_h", "L/h", 2),
        )
        if (band := change[name]) is not None
    ]  # fmt: skip
    return ", ".join(parts)


def _days(days: int) -> str:
    return f"{days} day" if days == 1 else f"{days} days"
