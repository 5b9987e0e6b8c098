"""Where the model was tried, or a relation was published: outside these ranges a run says so."""

import re
from typing import NamedTuple

import numpy as np


class Range(NamedTuple):
    """One range: ends (closed) and what a run says outside it, with ``{value}`` for the number farthest out."""

    name: str
    low: float
    high: float
    sentence: str


_INF = float("inf")
_TRIED = "outside the range in which the model was tried"
_PUBLISHED = "is outside its published range"
_TABLE = (
    # who and how long
    Range("age_y", 0.0, 70.0, "Age {value:.0f} y is above 70: outside the range the model was made for."),
    Range("mass_kg", 45.0, 110.0, "Body mass {value:.0f} kg is outside the range the model was made for (45 to 110 kg)."),
    Range("minutes", 0.0, 360.0, f"The run lasts {{value:.0f}} min, longer than 6 h: {_TRIED}."),
    # air
    Range("breathed_air_C", -5.0, 45.0, f"Breathing losses in air of {{value:.0f}} °C: the relation {_PUBLISHED} (−5 to 45 °C)."),
    Range(
        "pressure_kPa", 90.0, _INF,
        "Barometric pressure is {value:.0f} kPa: below 90 kPa maximal oxygen uptake falls, which the model leaves out.",
    ),
    Range("air_speed_m_s", 0.0, 3.0, f"Relative air speed reaches {{value:.1f}} m/s: convection {_PUBLISHED} (3 m/s)."),
    Range(
        "swing_speed_m_s", 0.0, 2.0,
        f"With {{value:.1f}} m/s and little air over the skin, limb-swing convection {_PUBLISHED} (2 m/s).",
    ),
    # cost of moving
    Range("asked_walk_m_s", 0.0, 2.5, f"Walking is asked at {{value:.2f}} m/s, above 2.5 m/s: the walking cost {_PUBLISHED}."),
    Range("asked_run_m_s", 1.8, _INF, f"Running is asked at {{value:.2f}} m/s, below 1.8 m/s: the running cost {_PUBLISHED}."),
    Range("walk_m_s", 0.5, _INF, f"Walking at {{value:.2f}} m/s, below 0.5 m/s: the walking cost {_PUBLISHED}."),
    Range("acsm_walk_m_min", 50.0, 100.0, f"ACSM walking cost at {{value:.0f}} m/min {_PUBLISHED} (50 to 100 m/min)."),
    Range("acsm_run_m_min", 134.0, _INF, f"ACSM running cost at {{value:.0f}} m/min, below 134 m/min (2.23 m/s), {_PUBLISHED}."),
    # body
    Range("core_C", -_INF, 41.0, f"Core passes 41 °C (to {{value:.1f}} °C): {_TRIED}."),
    Range("mean_skin_C", 20.0, _INF, f"Mean skin falls to {{value:.0f}} °C, below 20 °C: cold, {_TRIED}."),
    Range("segment_skin_C", 10.0, _INF, f"Skin of a body part falls to {{value:.0f}} °C, below 10 °C: cold, {_TRIED}."),
    Range("shivering_W", -_INF, 5.0, f"Shivering adds up to {{value:.0f}} W: cold, {_TRIED}."),
    Range(
        "mass_loss_pct", -_INF, 5.0,
        "Body mass falls by {value:.1f} %, more than 5 %: how far sweating and heart rate change then is uncertain.",
    ),
    Range(
        "stomach_g_kg", 0.0, 8.0,  # of body mass, drunk before a run: 8 g/kg (Yeo 2012), 7.5 g/kg (Siegel 2010)
        "The stomach holds up to {value:.1f} g per kg of body mass, more than the 8 g/kg that were tried: whether it empties as "
        "modelled is not known.",
    ),
    Range("large_mass_loss_pct", -_INF, 8.0, f"Body mass falls by {{value:.1f}} %, more than 8 %: {_TRIED}."),
)  # fmt: skip
RANGES: dict[str, Range] = {entry.name: entry for entry in _TABLE}


def outside(name: str, values) -> list[str]:
    """Return the sentence of a range for the value farthest outside it; nothing when all are inside.

    Examples
    --------
    >>> outside("age_y", 71.0)
    ['Age 71 y is above 70: outside the range the model was made for.']
    >>> outside("core_C", [37.0, 40.9])
    []
    """
    entry = RANGES[name]
    numbers = np.asarray(values, dtype=float).ravel()
    numbers = numbers[np.isfinite(numbers)]
    if numbers.size == 0:
        return []
    beyond = np.maximum(entry.low - numbers, numbers - entry.high)
    farthest = int(np.argmax(beyond))
    if beyond[farthest] <= 0.0:
        return []
    return [re.sub(r"-(?=\d)", "−", entry.sentence.format(value=numbers[farthest]))]
