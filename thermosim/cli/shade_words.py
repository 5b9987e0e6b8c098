"""Leaving shade in words: what the sun itself explains of the first minute, and what it does not."""

from typing import Any

from thermosim.cli.terminal import number

NOISE_BPM = 3.0  # a recorded rise that differs by less is as modelled: what a strap and breathing do


def shade_sentences(one: dict[str, Any]) -> list[str]:
    """Return what is explained, and what of a recorded rise is not, one sentence each."""
    found = [
        f"Leaving shade at minute {one['at_min']:.1f} ({one['sun_before_W_m2']:.0f} to {one['sun_after_W_m2']:.0f} W/m²): in the "
        f"first minute the sun itself explains {number(one['sun_bpm'], 1, True)} bpm, through skin "
        f"({number(one['skin_by_sun_K'], 1, True)} °C; core {number(one['core_by_sun_K'], 3, True)} °C); grade and speed there "
        f"explain {number(one['grade_and_speed_bpm'], 1, True)} bpm; {number(one['under_way_bpm'], 1, True)} bpm were under way."
    ]
    if one["recorded_bpm"] is None:
        return found
    if one["not_explained_bpm"] < -NOISE_BPM:
        found.append(
            f"Recorded: {number(one['recorded_bpm'], 0, True)} bpm, {number(-one['not_explained_bpm'], 0)} bpm less than the "
            "model has: it does not tell what the rise came from."
        )
        return found
    beyond, left = one["recorded_bpm"] - one["sun_bpm"], one["not_explained_bpm"]
    text = f"Recorded: {number(one['recorded_bpm'], 0, True)} bpm"
    if beyond <= NOISE_BPM:
        return [*found, f"{text}, no more than the sun explains, within {NOISE_BPM:.0f} bpm."]
    text += f", {number(beyond, 0)} bpm not explained by the sun"
    if left > NOISE_BPM:
        return [*found, f"{text}; {number(left, 0)} bpm of them not by grade and speed either."]
    return [*found, f"{text} but by grade, speed and what was under way, within {NOISE_BPM:.0f} bpm."]
