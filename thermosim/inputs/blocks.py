"""Blocks of a session in order: warm-up, reps, rests, cool-down; by minutes or by distance."""

import math
from typing import Any

import numpy as np
from pydantic import field_validator, model_validator

from thermosim.engine.records import ON_FOOT, RESTING
from thermosim.errors import InputError
from thermosim.inputs.checks import Card, check_choice, check_range, check_whole, shown
from thermosim.inputs.device_cards import expand_device
from thermosim.inputs.effort import PART_FIELDS, Effort, pace_of_text
from thermosim.inputs.limits import check_device
from thermosim.inputs.pacing import new_legs

KINDS = ("warm_up", "rep", "rest", "cool_down")
POSTURES = ("standing", "seated", "walking")
UNTIL = ("other_runner_back",)
_RANGES = {"minutes": "part_minutes", "distance_m": "block_distance_m"}


class Block(Card):
    """One block; a rest that follows reps is taken after each of them.

    Parameters
    ----------
    kind : {'warm_up', 'rep', 'rest', 'cool_down'}
    minutes, distance_m : float
        One of the two: how long it is.
    speed_m_s : float, optional
        Needed but in rests that are standing or seated; ``pace_min_km`` may stand for it.
    grade_pct : float
    reps : int
        How often a rep is run.
    posture : {'standing', 'seated', 'walking'}
        Of a rest; walking needs a speed.
    until : {'other_runner_back'}
        In place of minutes, in a rest behind reps of a session with several runners who take turns.
    shade_share : float
        Share of the sun kept off [1]: 0 in the sun, 1 in full shade.
    heading_deg : float, optional
    cooling : tuple of dict
        Devices put on at the start of the block and taken off at its end; what is drunk or poured, at its start.
    """

    kind: str
    minutes: float | None = None
    distance_m: float | None = None
    speed_m_s: float | None = None
    pace_min_km: float | None = None
    grade_pct: float = 0.0
    reps: int = 1
    posture: str | None = None
    until: str | None = None
    shade_share: float = 0.0
    heading_deg: float | None = None
    cooling: tuple[dict[str, Any], ...] = ()

    @field_validator("*", mode="before")
    @classmethod
    def _each(cls, value, info):
        name = info.field_name
        if name == "kind":
            return check_choice(name, value, KINDS)
        if name == "cooling":
            return _devices(value)
        if value is None:
            return None
        if name in ("posture", "until"):
            return check_choice(name, value, POSTURES if name == "posture" else UNTIL)
        if name == "pace_min_km" and isinstance(value, str):
            value = pace_of_text(value, name)
        return check_whole(name, value) if name == "reps" else check_range(_RANGES.get(name, name), value, field=name)

    @model_validator(mode="after")
    def _fits(self):
        if self.until is not None:
            self._waits_well()
        elif (self.minutes is None) == (self.distance_m is None):
            problem = "is missing and has no default"
            if self.minutes is not None:
                problem = "is given beside distance_m, allowed is one of the two"
            raise InputError(problem, field="minutes", remedy="give minutes or distance_m")
        if self.speed_m_s is not None and self.pace_min_km is not None:
            problem = "is given beside speed_m_s, allowed is one of the two"
            raise InputError(problem, field="pace_min_km", remedy="keep one of them")
        if self.posture is not None and self.kind != "rest":
            raise InputError(f"is given for a {self.kind}, allowed is only in a rest", field="posture", remedy="leave it out")
        if self.reps > 1 and self.kind != "rep":
            raise InputError(f"is {self.reps} for a {self.kind}, allowed is only for a rep", field="reps", remedy="leave it out")
        if self.moves and self.speed == 0.0:
            problem = "is missing and has no default" if self.speed_m_s is None else "is 0 m/s, allowed is above 0 m/s"
            raise InputError(problem, field="speed_m_s", remedy="give speed_m_s or pace_min_km" + self._or_posture())
        if not self.moves and (self.speed or self.distance_m):
            raise InputError(f"is given for a rest that is {self.stands}", field="speed_m_s" if self.speed else "distance_m",
                             remedy='give minutes alone, or write posture = "walking"')  # fmt: skip
        return self

    def _waits_well(self) -> None:
        if self.kind != "rest":
            raise InputError(f"is given for a {self.kind}, allowed is only in a rest", field="until", remedy="leave it out")
        for name in ("minutes", "distance_m"):
            if getattr(self, name) is not None:
                raise InputError("is given beside until, allowed is one of the two", field=name, remedy="keep one of them")

    def _or_posture(self) -> str:
        return ', or posture = "standing"' if self.kind == "rest" else ""

    @property
    def stands(self) -> str:
        """Posture of a rest: standing unless given."""
        return self.posture or "standing"

    @property
    def moves(self) -> bool:
        """Whether the runner is on the way."""
        return self.kind != "rest" or self.stands == "walking"

    @property
    def speed(self) -> float:
        """Planned speed [m/s]; 0 where none is given."""
        return 1000.0 / (60.0 * self.pace_min_km) if self.pace_min_km is not None else self.speed_m_s or 0.0

    @property
    def waits(self) -> bool:
        """Whether it lasts until another runner is back."""
        return self.until is not None

    @property
    def planned_minutes(self) -> float:
        """Duration as planned [min]: at the planned speed where it is by distance."""
        return self.minutes if self.minutes is not None else self.distance_m / self.speed / 60.0


def _devices(value) -> tuple[dict[str, Any], ...]:
    if not isinstance(value, (list, tuple)) or not all(isinstance(entry, dict) for entry in value):
        raise InputError(f"is {shown(value)}, allowed is a list of tables with a device each", field="cooling",
                         remedy="write [[block.cooling]] and device = …")  # fmt: skip
    found = tuple(check_device(dict(entry), f"cooling[{k}].") for k, entry in enumerate(value, start=1))
    for k, entry in enumerate(found, start=1):
        for name in entry:
            if name.endswith(("_min", "_km")):
                raise InputError("is given in a block, allowed is a device without times", field=f"cooling[{k}].{name}",
                                 remedy="the block says when: from its start to its end")  # fmt: skip
    return found


def in_order(blocks) -> list[Block]:
    """Return every block as often as it is done: each rep, and after each the rest that follows the reps."""
    found, skip = [], False
    for k, block in enumerate(blocks):
        if skip:
            skip = False
            continue
        rest = blocks[k + 1] if k + 1 < len(blocks) and blocks[k + 1].kind == "rest" else None
        if block.kind == "rep" and block.reps > 1 and rest is not None:
            found += [block, rest] * block.reps
            skip = True
        else:
            found += [block] * block.reps
    return found


def planned_minutes(ordered) -> list[float]:
    """Return how long each block in order is as planned [min]; a wait for the other runner as long as the rep before it."""
    found: list[float] = []
    for block in ordered:
        found.append(found[-1] if block.waits else block.planned_minutes)
    return found


def effort_of_blocks(blocks, options: dict[str, Any]) -> Effort:
    """Return the effort as planned: every block at its speed; what the rule makes of it is known after the run."""
    parts = []
    ordered = in_order(blocks)
    for block, minutes in zip(ordered, planned_minutes(ordered), strict=True):
        part = {"minutes": minutes, "speed_m_s": block.speed if block.moves else 0.0, "grade_pct": block.grade_pct}
        if block.heading_deg is not None or not block.moves:
            part["heading_deg"] = block.heading_deg or 0.0
        parts.append(part)
    return Effort.table(parts, **options)


def legs_of_blocks(blocks, surface_factor: float) -> np.ndarray:
    """Return the engine's legs, one for each block as often as it is done."""
    from thermosim.physiology.energetics import WALK  # compiled: not for reading a session

    ordered = in_order(blocks)
    legs = new_legs(len(ordered))
    for leg, block, minutes in zip(legs, ordered, planned_minutes(ordered), strict=True):
        if block.distance_m is not None:
            leg["metres"] = block.distance_m
        else:
            leg["seconds"] = 60.0 * minutes
        leg["speed_m_s"], leg["grade"] = block.speed if block.moves else 0.0, block.grade_pct / 100.0
        leg["surface"], leg["sun_left"] = surface_factor, 1.0 - block.shade_share
        leg["heading"] = math.nan if block.heading_deg is None else math.radians(block.heading_deg)
        leg["capped"], leg["activity"] = int(block.kind != "rest"), ON_FOOT
        if block.kind == "rest":
            if block.stands == "seated":
                leg["activity"], leg["seated"], leg["upright"] = RESTING, 1.0, 0.0
            elif block.stands == "walking":
                leg["gait"] = WALK
    return legs


def blocks_of(value: Any) -> tuple[Block, ...]:
    """Return the blocks of a session's ``[[block]]`` tables."""
    if not isinstance(value, (list, tuple)) or not value or not all(isinstance(entry, (dict, Block)) for entry in value):
        raise InputError(f"is {shown(value)}, needed are tables with a kind each", field="block",
                         remedy='write [[block]] and kind = "rep"')  # fmt: skip
    found = []
    for k, entry in enumerate(value, start=1):
        try:
            found.append(entry if isinstance(entry, Block) else Block(**entry))
        except InputError as error:
            raise InputError(error.problem, field=f"block[{k}].{error.field}", remedy=error.remedy) from None
    for k, block in enumerate(found):
        if block.waits and (k == 0 or found[k - 1].kind != "rep"):
            raise InputError("is given in a rest that does not follow reps", field=f"block[{k + 1}].until",
                             remedy="put the rest behind the reps, or give minutes")  # fmt: skip
    return tuple(found)


def read_blocks(data: dict[str, Any], folder, source, build_device=None) -> tuple[Block, ...]:
    """Return the blocks of a session file, device cards beside it read; none where it has none."""
    if "block" not in data:
        return ()
    value = data["block"]
    with source.blame():
        if isinstance(value, list):
            value = [dict(entry) if isinstance(entry, dict) else entry for entry in value]
            for k, entry in enumerate(value):
                if isinstance(entry, dict) and isinstance(entry.get("cooling"), list):
                    with source.under("block", k).blame():
                        entry["cooling"] = [
                            expand_device(one, folder, build_device) if isinstance(one, dict) else one
                            for one in entry["cooling"]
                        ]
        return blocks_of(value)


def read_effort_of_blocks(value: Any, blocks, source) -> Effort:
    """Return the effort that the blocks of a session file plan; its ``[effort]`` table then holds options only."""
    with source.blame():
        if not isinstance(value, dict):
            remedy = "write [effort] and its options below"
            raise InputError(f"is {shown(value)}, needed is a table", field="effort", remedy=remedy)
        for name in value:
            if name in (*PART_FIELDS, "part", "pace", "recording"):
                raise InputError("is given beside [[block]], allowed is one of the two", field=name,
                                 remedy="say it in the blocks, or leave the blocks out")  # fmt: skip
        return effort_of_blocks(blocks, value)
