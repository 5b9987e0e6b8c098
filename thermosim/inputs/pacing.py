"""The rule of a session: cap, resume, walk or stand, stop; what the runner holds in between."""

import math
from typing import Any

import numpy as np
from pydantic import field_validator, model_validator

from thermosim.engine.records import LEG, ON_FOOT, RULE
from thermosim.errors import InputError
from thermosim.inputs.checks import Card, check_choice, check_range, check_whole, shown
from thermosim.inputs.runner import Runner
from thermosim.variables import INPUTS

ABOVE_CAP = ("walk", "stand")
WALK_M_S = 1.4  # of a rule, or of an effort over a course, that says none; the run echoes it
_WHOLE = ("max_cap_events",)
RULE_FLAGS = ("cap_bpm", "cap_below_threshold_bpm", "resume_below_bpm", "resume_seconds", "above_cap", "max_cap_events",
              "stop_after_min_over_cap", "core_stop_C")  # fmt: skip


class Rule(Card):
    """When to walk, stand, run on and stop; the same for a simulation and for a recording.

    Parameters
    ----------
    cap_bpm : float, optional
        Heart rate above which a cap event begins [bpm]; or ``cap_below_threshold_bpm`` beats below the runner's heart rate
        at the lactate threshold.
    resume_below_bpm : float, optional
        An event ends when heart rate is below this [bpm], the cap unless given, for ``resume_seconds`` [s].
    above_cap : {'walk', 'stand'}
        What the runner does during an event; walks at ``walk_speed_m_s`` [m/s].
    max_cap_events : int, optional
        The run is stopped at the event of this number.
    stop_after_min_over_cap : float, optional
        The run is stopped after so much time above the cap in all [min].
    core_stop_C : float, optional
        The run is stopped at this modelled core temperature [°C]: a stop in the model only, nobody sees it in the field.
    walk_above_grade_pct : float, optional
        On ground steeper than this the runner walks [%].
    metabolic_power_W, level_speed_m_s : float, optional
        Instead of the speeds of the effort: the speed on every grade that asks for this metabolic power [W], or for that
        of this speed on level ground [m/s].
    """

    cap_bpm: float | None = None
    cap_below_threshold_bpm: float | None = None
    resume_below_bpm: float | None = None
    resume_seconds: float = 0.0
    above_cap: str = "walk"
    walk_speed_m_s: float | None = None
    max_cap_events: int | None = None
    stop_after_min_over_cap: float | None = None
    core_stop_C: float | None = None
    walk_above_grade_pct: float | None = None
    metabolic_power_W: float | None = None
    level_speed_m_s: float | None = None

    @field_validator("*", mode="before")
    @classmethod
    def _in_range(cls, value, info):
        if value is None:
            return None
        if info.field_name == "above_cap":
            return check_choice("above_cap", value, ABOVE_CAP)
        return check_whole(info.field_name, value) if info.field_name in _WHOLE else check_range(info.field_name, value)

    @model_validator(mode="after")
    def _one_of_two(self):
        for first, second in (("cap_bpm", "cap_below_threshold_bpm"), ("metabolic_power_W", "level_speed_m_s")):
            if getattr(self, first) is not None and getattr(self, second) is not None:
                raise InputError(f"is given beside {first}, allowed is one of the two", field=second, remedy="keep one of them")
        for name in ("resume_below_bpm", "max_cap_events", "stop_after_min_over_cap"):
            if getattr(self, name) is not None and not self.capped:
                raise InputError("needs a cap", field=name, remedy="add cap_bpm or cap_below_threshold_bpm, or leave it out")
        return self

    @property
    def capped(self) -> bool:
        """Whether a heart-rate cap takes part."""
        return self.cap_bpm is not None or self.cap_below_threshold_bpm is not None

    def cap_for(self, runner: Runner) -> float:
        """Return the cap of a runner [bpm]; infinite where there is none."""
        if self.cap_bpm is not None:
            return self.cap_bpm
        if self.cap_below_threshold_bpm is None:
            return math.inf
        if runner.threshold_heart_rate_bpm is None:
            raise InputError(
                "needs the runner's heart rate at the lactate threshold, which is not given",
                field="cap_below_threshold_bpm",
                remedy="add threshold_heart_rate_bpm to the runner, or give cap_bpm",
            )
        return runner.threshold_heart_rate_bpm - self.cap_below_threshold_bpm

    def check(self, runner: Runner) -> None:
        """Refuse a cap that this runner's heart cannot have, one sentence each."""
        if not self.capped:
            return
        field = "cap_bpm" if self.cap_bpm is not None else "cap_below_threshold_bpm"
        if runner.beta_blocker:
            raise InputError("is refused with a beta-blocker: heart rate then says little about heat", field=field,
                             remedy="leave the cap out and use effort, time and company instead")  # fmt: skip
        cap, rest, top = self.cap_for(runner), runner.resting_heart_rate_bpm, runner.maximum_heart_rate_resolved_bpm
        if not rest < cap < top:
            where = "not above resting heart rate" if cap <= rest else "not below maximum heart rate"
            problem = f"makes a cap of {cap:g} bpm, {where}, allowed is above {rest:g} and below {top:g} bpm"
            raise InputError(problem, field=field, remedy="correct the cap, or the runner's heart rates")
        level = self.resume_below_bpm
        if level is not None and not rest < level <= cap:
            problem = f"is {level:g} bpm, allowed is above resting heart rate, {rest:g} bpm, up to the cap, {cap:g} bpm"
            raise InputError(problem, field="resume_below_bpm", remedy="resume at the cap or some beats below it")

    @property
    def walk_resolved_m_s(self) -> float:
        """Walking speed of the rule [m/s]."""
        return WALK_M_S if self.walk_speed_m_s is None else self.walk_speed_m_s

    def record(self, runner: Runner, end_when_done: bool = False) -> np.ndarray:
        """Return the engine's RULE record (array of length 1) for a runner; parts that are not used are infinite."""
        from thermosim.physiology.energetics import STAND, WALK  # compiled: not for reading a session

        def or_never(value, factor=1.0):
            return math.inf if value is None else factor * value

        cap = self.cap_for(runner)
        rule = np.zeros(1, dtype=RULE)
        rule[0] = (
            cap, cap if self.resume_below_bpm is None else self.resume_below_bpm, self.resume_seconds, self.walk_resolved_m_s,
            or_never(self.max_cap_events), or_never(self.stop_after_min_over_cap, 60.0), or_never(self.core_stop_C),
            or_never(self.walk_above_grade_pct, 0.01), 1, WALK if self.above_cap == "walk" else STAND, int(end_when_done),
        )  # fmt: skip
        return rule

    def warnings(self, runner: Runner, recorded: bool = False) -> list[str]:
        """Return what a rule leaves to defaults, and what it cannot be in the field, or on a recorded effort."""
        if recorded:
            return ["The effort is a recording: the rule is put to the recorded heart rate, and the modelled run is as recorded."]
        found = []
        walks = (self.capped and self.above_cap == "walk") or self.walk_above_grade_pct is not None
        if walks and self.walk_speed_m_s is None:
            found.append(f"walk_speed_m_s is the default, {WALK_M_S:g} m/s.")
        if self.capped and self.resume_below_bpm is None:
            found.append(f"resume_below_bpm is the default, the cap itself, {self.cap_for(runner):g} bpm.")
        if self.capped and self.above_cap == "stand":
            found.append("Above the cap the runner stands: at the cap walking is better than standing still (fainting).")
        if self.core_stop_C is not None:
            found.append(
                f"core_stop_C stops the modelled runner at {self.core_stop_C:g} °C of modelled core: in the field nobody sees it."
            )
        if self.metabolic_power_W is not None or self.level_speed_m_s is not None:
            found.append("Speeds are those that the rule holds on each grade, at the start's body mass; not those of the effort.")
        return found


def power_at(speed_m_s: float, leg, piece, runner) -> float:
    """Metabolic power of a speed on a leg [W], rest included, without the air's drag; gait as the effort asks for it."""
    from thermosim.physiology import energetics

    asked = int(leg["gait"]) if leg["gait"] >= 0 else int(piece["gait"])
    gait = energetics.gait_of(speed_m_s, asked, runner["walk_run_switch_m_s"])
    relation = int(piece["cost_relation"])
    moving = energetics.moving_power(
        runner["mass_kg"], piece["carried_kg"], gait, relation, speed_m_s, leg["grade"], runner["economy"], leg["surface"],
        runner["oxygen_J_L"],
    )  # fmt: skip
    return runner["resting_W"] + energetics.upright_power(gait, relation, runner["standing_W"]) + moving


def speed_at_power(power_W: float, leg, piece, runner) -> float:
    """Speed on a leg [m/s] that asks for a metabolic power [W], by halving; at a jump between gaits the slower side.

    Raises
    ------
    InputError
        The power is less than that of the slowest walk there, or more than that of the fastest run.
    """
    low, high = 0.3, INPUTS["speed_m_s"].high
    least, most = (power_at(speed, leg, piece, runner) for speed in (low, high))
    if not least <= power_W <= most:
        problem = f"asks for {power_W:.0f} W on a grade of {100.0 * leg['grade']:.3g} %, where {low:g} to {high:g} m/s take "
        remedy = "give another power or speed, or other grades"
        raise InputError(f"{problem}{least:.0f} to {most:.0f} W", field="rule", remedy=remedy)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if power_at(middle, leg, piece, runner) <= power_W else (low, middle)
    return low


def hold(rule: Rule, legs, piece, runner) -> None:
    """Give every leg that the rule acts on the speed that the rule holds there, in place."""
    if rule.metabolic_power_W is None and rule.level_speed_m_s is None:
        return
    for leg in legs:
        if leg["capped"] and leg["activity"] == ON_FOOT and leg["speed_m_s"] > 0.0:
            power = rule.metabolic_power_W
            if power is None:
                level = leg.copy()
                level["grade"] = 0.0
                power = power_at(rule.level_speed_m_s, level, piece, runner)
            leg["speed_m_s"] = speed_at_power(power, leg, piece, runner)


def new_legs(count: int) -> np.ndarray:
    """Return legs on level ground in full sun and wind, on foot, under the rule."""
    legs = np.zeros(count, dtype=LEG)
    for name, number in (("surface", 1.0), ("heading", np.nan), ("sun_left", 1.0), ("wind_left", 1.0), ("upright", 1.0),
                         ("gait", -1), ("capped", 1), ("activity", ON_FOOT)):  # fmt: skip
        legs[name] = number
    return legs


def legs_of_effort(effort) -> np.ndarray:
    """Return one leg for each piece of an effort: by time, over a course by distance."""
    legs = new_legs(effort.speed_m_s.size)
    legs["seconds"] = effort.end_s - effort.start_s
    legs["speed_m_s"], legs["grade"] = effort.speed_m_s, effort.grade_pct / 100.0
    legs["surface"], legs["heading"] = effort.surface_factor, np.radians(effort.heading_deg)
    if effort.ground is not None:  # over a course what is moved is by distance, so that walking does not shorten it
        moving = effort.speed_m_s > 0.0
        legs["metres"] = np.where(moving, effort.speed_m_s * legs["seconds"], 0.0)
        legs["seconds"] = np.where(moving, 0.0, legs["seconds"])
        legs["sun_left"], legs["wind_left"], legs["gait"] = effort.ground.sun_left, effort.ground.wind_left, effort.ground.gait
        legs["surface"] *= effort.ground.surface
    return legs


def with_rule_flags(rule: Rule | None, flags: dict[str, Any]) -> Rule | None:
    """Return a rule with fields replaced by flags; a cap given in one way drops the other."""
    if not flags:
        return rule
    kept = {} if rule is None else rule.model_dump(exclude_none=True, exclude_unset=True)
    for one, other in (("cap_bpm", "cap_below_threshold_bpm"), ("cap_below_threshold_bpm", "cap_bpm")):
        if one in flags and other not in flags:
            kept.pop(other, None)
    return Rule(**{**kept, **flags})


def read_rule(data: dict[str, Any], runners, source) -> Rule | None:
    """Return the rule of a session file, checked against each runner; None where it has none."""
    if "rule" not in data:
        return None
    with source.under("rule").blame():
        if not isinstance(data["rule"], dict):
            remedy = "write [rule] and its fields below"
            raise InputError(f"is {shown(data['rule'])}, needed is a table", field="rule", remedy=remedy)
        rule = Rule(**data["rule"])
        for runner in runners:
            rule.check(runner)
        return rule
