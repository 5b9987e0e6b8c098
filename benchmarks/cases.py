"""Forty-eight and more varied three-hour runs: people, kit, air, sun, grades, speeds and collars, from one seed."""

from typing import NamedTuple

import numpy as np

from thermosim.cooling import flatten_cooling, ice_collar
from thermosim.engine import run as engine
from thermosim.inputs.effort import Effort
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.runner import Runner
from thermosim.inputs.weather import Weather
from thermosim.parameters import PARAMETERS

HOURS = 3.0


class Case(NamedTuple):
    """Flat records of one run."""

    runner: np.ndarray
    pieces: np.ndarray
    rows: np.ndarray
    events: np.ndarray
    start: engine.Work


def varied_case(rng: np.random.Generator) -> Case:
    """Draw one run; parameters move by up to two of their standard deviations."""
    drawn = {}
    for name, p in PARAMETERS.items():
        if p.sd > 0.0:
            drawn[name] = float(np.clip(p.value + p.sd * rng.normal(), p.low, p.high))
    person = Runner(
        mass_kg=rng.uniform(48.0, 95.0),
        height_m=rng.uniform(1.58, 1.95),
        body_fat_pct=rng.uniform(8.0, 28.0),
        vo2max_mL_kg_min=rng.uniform(42.0, 70.0),
        heat_days=float(rng.integers(0, 12)),
        clothing=str(rng.choice(["nude", "light_kit", "shirt_and_shorts"])),
    )
    knots = [0.0, 60.0, 120.0, 180.0]
    air = rng.uniform(8.0, 36.0) + np.cumsum([0.0, *rng.uniform(-1.0, 2.0, 3)])
    weather = Weather.from_table(
        {
            "time_min": knots,
            "air_temperature_C": air.tolist(),
            "relative_humidity_pct": rng.uniform(20.0, 90.0, 4).tolist(),
            "wind_speed_m_s": rng.uniform(0.0, 4.0, 4).tolist(),
            "solar_W_m2": rng.uniform(0.0, 900.0, 4).tolist(),
        }
    )
    speeds = rng.uniform(1.2, 3.8, 6)
    speeds[rng.integers(0, 6)] = 0.0
    parts = [
        {"minutes": 30.0, "speed_m_s": float(v), "grade_pct": float(g)}
        for v, g in zip(speeds, rng.uniform(-8.0, 8.0, 6), strict=True)
    ]
    effort = Effort.table(parts, treadmill=bool(rng.random() < 0.2))
    runner = runner_record(person, drawn)
    worn = []
    if rng.random() < 0.5:
        worn = [ice_collar(rng.uniform(0.15, 0.4), bool(rng.random() < 0.5), from_min=10.0, to_min=150.0, refill_min=(80.0,),
                           contact_area_m2=0.022)]
    rows, events, _ = flatten_cooling(worn, runner[0]["area_m2"], 3600.0 * HOURS)
    return Case(runner, piece_records(effort, weather), rows, events, engine.settle(runner))


def varied_cases(count: int, seed: int = 2026) -> list[Case]:
    """Return ``count`` varied runs; the same seed gives the same runs."""
    rng = np.random.default_rng(seed)
    return [varied_case(rng) for _ in range(count)]
