"""One variant of a published case as one engine run: phases in a row, stop rules resolved, blanks filled in."""

import dataclasses
from typing import NamedTuple

import numpy as np

from thermosim.cooling.device import flatten_cooling
from thermosim.engine import nodes as n
from thermosim.engine.integrate import D_CORE
from thermosim.engine.records import CYCLING, ON_FOOT, PIECE, RESTING, Work
from thermosim.engine.run import Trajectory, new_work, run, settle
from thermosim.engine.start import shift_core, with_empty_books
from thermosim.errors import NumericalFailure
from thermosim.evidence.worn import worn_in
from thermosim.inputs.flat import population, runner_record
from thermosim.inputs.runner import Runner
from thermosim.physics.air import saturation_pressure, vapour_pressure_of_wet_bulb
from thermosim.physiology import energetics

SAMPLE_S = 20.0
_SITES = {"oesophageal": n.BLOOD, "rectal": n.RECTAL, "gut": n.GUT}
_ACTIVITY = {
    "run": ON_FOOT, "walk": ON_FOOT, "stand": ON_FOOT, "cycle": CYCLING, "seated": RESTING, "lying": RESTING,
}  # fmt: skip
_GAIT = {"run": energetics.RUN, "walk": energetics.WALK}
_WIND = {"head": (1.0, 0.0), "tail": (-1.0, 0.0), "cross": (0.0, 1.0)}
_SUBJECT_FIELDS = (
    "mass_kg", "height_m", "sex", "age_y", "body_fat_pct", "vo2max_mL_kg_min", "resting_heart_rate_bpm",
    "maximum_heart_rate_bpm", "heat_days", "maximum_sweat_rate_L_h", "economy_factor", "clothing",
)  # fmt: skip


class Span(NamedTuple):
    """A phase on the clock: from, to [s], and whether its stop rule was met (True without one)."""

    label: str
    start_s: float
    end_s: float
    stopped: bool


class VariantRun(NamedTuple):
    """The run of one variant: samples, where its phases lie, and what it was run with."""

    trajectory: Trajectory
    spans: tuple[Span, ...]
    runner: np.ndarray
    phases: tuple  # of the clock, with blanks filled in
    who: Runner
    pieces: np.ndarray  # of the clock
    before: Trajectory | None = None  # the preparation
    pieces_before: np.ndarray | None = None
    rows: np.ndarray | None = None  # of the devices on the clock

    def span(self, label: str | None) -> Span:
        """Return the span of a phase, or the whole clock."""
        if label is None:
            return Span("", self.spans[0].start_s, self.spans[-1].end_s, all(s.stopped for s in self.spans))
        return next(span for span in self.spans if span.label == label)


def filled(thing, blanks: dict[str, float]):
    """Return a copy of a record with every ``"?name"`` replaced by the blank's value, clothes included."""
    thing = thing.with_numbers({name: blanks[blank] for name, blank in thing.blanks_named()})
    clothes = getattr(thing, "clothing", "")
    return thing if isinstance(clothes, str) else dataclasses.replace(thing, clothing=filled(clothes, blanks))


def blanks_of(case, where="value") -> dict[str, float]:
    """Return every blank of a case at its centre (``value``), ``low`` or ``high``."""
    return {blank.name: getattr(blank, where) for blank in case.blanks}


def run_variant(variant, blanks: dict[str, float], overrides=None) -> VariantRun:
    """Run one variant of a case.

    Parameters
    ----------
    variant : Variant
    blanks : dict
        Value of each blank of the case.
    overrides : dict, optional
        Parameter values by name, as for :func:`thermosim.inputs.flat.runner_record`.

    Raises
    ------
    NumericalFailure
        The run left what the model can describe.
    """
    table = population(overrides)
    subjects = filled(variant.subjects, blanks)
    fields = {name: getattr(subjects, name, None) for name in _SUBJECT_FIELDS}
    if not isinstance(fields["clothing"], str):
        fields["clothing"] = dataclasses.asdict(fields["clothing"])
    who = Runner(**{k: v for k, v in fields.items() if v is not None})
    runner = runner_record(who, overrides)
    phases = tuple(filled(phase, blanks) for phase in variant.phases)
    cooling = tuple(filled(one, blanks) for one in variant.cooling)
    start = settle(runner)
    before = tuple(phase for phase in phases if phase.preparation)
    prepared, pieces_before = None, None
    if before:
        prepared, _, pieces_before, _ = _timeline(runner, before, cooling, start, table)
        start = _go_on(prepared)
    if variant.start is not None:
        _move_to(start.state, filled(variant.start, blanks), runner)
    clock = phases[len(before) :]
    trajectory, spans, pieces, rows = _timeline(runner, clock, cooling, start, table)
    return VariantRun(trajectory, spans, runner, clock, who, pieces, prepared, pieces_before, rows)


def _go_on(trajectory: Trajectory) -> Work:
    states, fasts = with_empty_books(trajectory.states[-1:, : n.BASE], trajectory.fasts[-1:])
    start = new_work(0)
    start.state[:], start.fast[:] = states[0], fasts[0]
    return start


def _move_to(state, wanted, runner) -> None:
    """Shift a body so that the named site has the wanted temperature."""
    weights = np.asarray(runner[0]["trunk_weight"])
    core = float((weights * state[n.CORE : n.CORE + n.N_SEGMENTS]).sum())
    here = core if wanted.site == "core" else float(state[_SITES[wanted.site]])
    shift_core(state, core + wanted.temperature_C - here, runner)


def _timeline(runner, phases, cooling, start, table):
    """Run phases in a row; a phase with a stop rule ends where its site crosses the level."""
    ends: list[float] = []
    spans: list[Span] = []
    trajectory, pieces, rows, runs = None, None, None, 0
    for k, phase in enumerate(phases):
        begin = ends[-1] if ends else 0.0
        ends.append(begin + 60.0 * phase.minutes)
        stopped = True
        if phase.until is not None:
            trajectory, pieces, rows = _run(runner, phases[: k + 1], ends, cooling, start, table)
            runs = k + 1
            crossed = _crossing(trajectory, phase.until, begin)
            stopped = crossed is not None
            if crossed is not None:
                ends[-1] = max(crossed, begin + 1.0)
                runs = 0
        spans.append(Span(phase.label or "", begin, ends[-1], stopped))
    if trajectory is None or runs < len(phases):
        trajectory, pieces, rows = _run(runner, phases, ends, cooling, start, table)
    return trajectory, tuple(spans), pieces, rows


def _crossing(trajectory, until, begin_s):
    site = trajectory.diagnostics[:, D_CORE] if until.site == "core" else trajectory.states[:, _SITES[until.site]]
    level, sign = (until.above_C, 1.0) if until.above_C is not None else (until.below_C, -1.0)
    return first_crossing(trajectory.time_s, sign * site, sign * level, begin_s)


def first_crossing(time_s, series, level, from_s=0.0):
    """Time at which a series first reaches a level from below [s], in a straight line between samples; or None."""
    inside = time_s >= from_s - 1e-6
    times, values = time_s[inside], series[inside]
    above = np.flatnonzero(values >= level)
    if above.size == 0:
        return None
    k = above[0]
    if k == 0:
        return float(times[0])
    share = (level - values[k - 1]) / (values[k] - values[k - 1])
    return float(times[k - 1] + share * (times[k] - times[k - 1]))


def _run(runner, phases, ends, cooling, start, table) -> tuple[Trajectory, np.ndarray, np.ndarray]:
    pieces = np.zeros(len(phases), dtype=PIECE)
    begin = 0.0
    for piece, phase, end in zip(pieces, phases, ends, strict=True):
        _fill_piece(piece, phase, begin, end, runner[0], table)
        begin = end
    worn = worn_in(cooling, phases, ends, runner[0]["mass_kg"], table["stomach_conductance_W_K"])
    rows, events, _ = flatten_cooling(worn, runner[0]["area_m2"], ends[-1])
    times = np.unique(np.concatenate([np.arange(0.0, ends[-1], SAMPLE_S), [0.0], ends]))
    trajectory = run(runner, pieces, rows, events, times, start=start)
    if trajectory.status != n.DONE:
        raise NumericalFailure(f"The case stopped: {n.STATUS_SENTENCES[trajectory.status]}.")
    return trajectory, pieces, rows


def vapour_pressure(phase) -> float:
    """Vapour pressure of a phase's air [kPa] from whichever humidity is given."""
    if phase.vapour_pressure_kPa is not None:
        return phase.vapour_pressure_kPa
    if phase.dew_point_C is not None:
        return saturation_pressure(phase.dew_point_C)
    if phase.wet_bulb_C is not None:
        return vapour_pressure_of_wet_bulb(phase.air_temperature_C, phase.wet_bulb_C, 101.325)
    return phase.relative_humidity_pct / 100.0 * saturation_pressure(phase.air_temperature_C)


def power_and_work(phase, runner) -> tuple[float, float]:
    """Metabolic power and external work [W] of a phase; power -1 where speed and grade give it (or rest does)."""
    efficiency = phase.efficiency if phase.efficiency is not None else (0.2 if phase.activity == "cycle" else 0.0)
    if phase.heat_production_W is not None:
        power = phase.heat_production_W / (1.0 - efficiency)
    elif phase.metabolic_power_W is not None:
        power = phase.metabolic_power_W
    elif phase.vo2max_pct is not None:
        power = phase.vo2max_pct / 100.0 * runner["maximal_W"]
    elif phase.oxygen_uptake_L_min is not None:
        power = phase.oxygen_uptake_L_min / 60.0 * runner["oxygen_J_L"]
    else:
        return -1.0, 0.0
    return float(power), float(power * efficiency)


def _fill_piece(piece, phase, begin, end, runner, table) -> None:
    piece["start_s"], piece["end_s"] = begin, end
    piece["activity"] = _ACTIVITY[phase.activity]
    piece["power_W"], piece["given_work_W"] = power_and_work(phase, runner)
    on_foot = phase.activity in _GAIT
    speed = phase.speed_m_s or 0.0
    piece["speed_m_s"], piece["grade"] = speed, (phase.grade_pct or 0.0) / 100.0
    piece["swing_m_s"] = speed if on_foot else (table["cycling_swing_m_s"] if phase.activity == "cycle" else 0.0)
    piece["gait"] = _GAIT.get(phase.activity, -1)
    piece["cost_relation"], piece["surface"], piece["pressure_kPa"] = energetics.MINETTI, 1.0, 101.325
    seated = table["seated_upright_share"]
    piece["seated"] = 1.0 if phase.activity == "seated" else 0.0
    piece["upright"] = 0.0 if phase.activity == "lying" else (1.0 if on_foot or phase.activity == "stand" else seated)
    if phase.outdoors:
        piece["ground_air"] = 1.0
        piece["wind_along"], piece["wind_across"] = _WIND[phase.wind_from or "cross"]
    else:
        piece["fan_m_s"] = phase.air_speed_m_s
    radiant = phase.mean_radiant_temperature_C
    for side in (0, 1):
        piece[f"air_C_{side}"] = phase.air_temperature_C
        piece[f"radiant_C_{side}"] = phase.air_temperature_C if radiant is None else radiant
        piece[f"vapour_kPa_{side}"] = vapour_pressure(phase)
        piece[f"wind_m_s_{side}"] = phase.wind_speed_m_s or 0.0
        piece[f"solar_W_m2_{side}"] = phase.solar_W_m2 or 0.0
