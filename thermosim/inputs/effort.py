"""The effort: speed and grade piece by piece, and how the running is done."""

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import check_choice, check_flag, check_names, check_range, missing, shown
from thermosim.inputs.columns import number, pace_minutes, read_table
from thermosim.inputs.ground import COLUMNS, Ground
from thermosim.inputs.plain import SameContent, array, plain
from thermosim.inputs.recordings import Recording
from thermosim.variables import INPUTS

GAITS = ("auto", "run", "walk")
COSTS = ("minetti", "acsm")
OPTIONS = ("gait", "cost", "treadmill", "fan_speed_m_s", "surface_factor", "air_drag", "carried_mass_kg")
PART_FIELDS = ("minutes", "speed_m_s", "pace_min_km", "grade_pct", "heading_deg")
PIECES = ("start_s", "end_s", "speed_m_s", "grade_pct", "heading_deg")


class Recorded(NamedTuple):
    """Heart rate as it was recorded, gaps kept as they are."""

    time_s: np.ndarray
    heart_rate_bpm: np.ndarray


@dataclass(frozen=True, eq=False)
class Effort(SameContent):
    """What the runner does, as pieces of constant speed and grade.

    Build it with :meth:`steady`, :meth:`table`, :meth:`pace_sheet`, :meth:`from_recording` or :meth:`over`.

    Attributes
    ----------
    start_s, end_s, speed_m_s, grade_pct, heading_deg : ndarray
        Pieces that follow each other without holes; heading NaN is unknown.
    gait : {'auto', 'run', 'walk'}
    cost : {'minetti', 'acsm'}
    treadmill : bool
        Relative air speed is then the fan's only.
    fan_speed_m_s, surface_factor, carried_mass_kg : float
    air_drag : bool
    recorded : Recorded or None
    ground : Ground or None
        What a course adds to each piece: sun and wind that are left, surface, gait.
    kind : {'steady', 'table', 'recording', 'course'}
    defaults, notes : tuple of str
    """

    start_s: np.ndarray
    end_s: np.ndarray
    speed_m_s: np.ndarray
    grade_pct: np.ndarray
    heading_deg: np.ndarray
    gait: str = "auto"
    cost: str = "minetti"
    treadmill: bool = False
    fan_speed_m_s: float = 0.0
    surface_factor: float = 1.0
    air_drag: bool = False
    carried_mass_kg: float = 0.0
    recorded: Recorded | None = None
    kind: str = "table"
    defaults: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    ground: Ground | None = None

    def __post_init__(self):
        check_choice("gait", self.gait, GAITS)
        check_choice("cost", self.cost, COSTS)
        check_flag("treadmill", self.treadmill)
        check_flag("air_drag", self.air_drag)
        for name in ("fan_speed_m_s", "surface_factor", "carried_mass_kg"):
            object.__setattr__(self, name, check_range(name, getattr(self, name)))
        if self.fan_speed_m_s > 0.0 and not self.treadmill:
            problem = f"is {self.fan_speed_m_s:g} m/s without a treadmill, allowed outdoors is 0 m/s"
            raise InputError(
                problem, field="fan_speed_m_s", remedy="set treadmill = true, or give wind_speed_m_s"
            )
        for name in PIECES:
            object.__setattr__(self, name, array(getattr(self, name)))
        if len({getattr(self, name).shape for name in PIECES}) != 1 or not np.all(self.end_s > self.start_s):
            problem = "pieces do not match: each needs a start, a later end, a speed, a grade and a heading"
            raise InputError(
                problem, field="effort", remedy="build efforts with Effort.steady or Effort.table"
            )
        if self.ground is not None and {getattr(self.ground, name).size for name in COLUMNS} != {self.speed_m_s.size}:
            raise InputError("does not match the pieces of the effort", field="ground", remedy="build it with Effort.over")
        if self.minutes > INPUTS["minutes"].high:
            problem = f"is {self.minutes:.6g} min in all, allowed is up to {INPUTS['minutes'].high:g} min"
            raise InputError(problem, field="minutes", remedy="split the effort")

    @property
    def minutes(self) -> float:
        """Duration [min]."""
        return float(self.end_s[-1] - self.start_s[0]) / 60.0

    @classmethod
    def steady(cls, *, speed_m_s=None, minutes=None, grade_pct=0.0, **options) -> "Effort":
        """Return one speed on one grade; ``pace_min_km`` may stand for the speed.

        Examples
        --------
        >>> Effort.steady(speed_m_s=3.3, minutes=60).minutes
        60.0
        """
        part = {"speed_m_s": speed_m_s, "minutes": minutes, "grade_pct": grade_pct}
        for name in ("heading_deg", "pace_min_km"):
            part[name] = options.pop(name, None)
        check_names(options, (*PART_FIELDS, *OPTIONS), options)
        part = {name: value for name, value in part.items() if value is not None}
        return cls._of_parts([part], "steady", lambda k, name: name, options, "minutes")

    @classmethod
    def table(cls, parts: list[dict[str, Any]], **options) -> "Effort":
        """Return parts in order, each with ``minutes``, ``speed_m_s``, ``grade_pct`` (0), ``heading_deg``."""
        check_names(options, OPTIONS, options)
        if (
            not isinstance(parts, (list, tuple))
            or not parts
            or not all(isinstance(part, dict) for part in parts)
        ):
            problem = f"is {shown(parts)}, needed is a list of one or more parts"
            raise InputError(problem, field="part", remedy="write [[effort.part]] with minutes and speed_m_s")
        return cls._of_parts(parts, "table", lambda k, name: f"part[{k + 1}].{name}", options)

    @classmethod
    def pace_sheet(cls, path, **options) -> "Effort":
        """Read a ``*.pace.csv``: ``minutes``, ``speed_m_s`` or ``pace_min_km``, ``grade_pct``, heading."""
        check_names(options, OPTIONS, options)
        table = read_table(path)
        check_names(table.header, PART_FIELDS, file=table.file, line=table.header_line)
        parts: list[dict[str, Any]] = [{} for _ in table.rows]
        for name in table.header:
            for part, cell, line in zip(parts, table.cells(name), table.lines):
                read = pace_minutes if name == "pace_min_km" else number
                value = read(cell, name, table.file, line)
                if value == value:
                    part[name] = value
        pieces = []
        for part, line in zip(parts, table.lines):
            try:
                pieces.append(_piece(part, lambda name: name, "part_minutes"))
            except InputError as error:
                raise InputError(
                    error.problem, field=error.field, file=table.file, line=line, remedy=error.remedy
                ) from None
        return cls._of_pieces(pieces, "table", parts, options)

    @classmethod
    def _of_parts(cls, parts, kind, label, options, minutes="part_minutes") -> "Effort":
        pieces = []
        for k, part in enumerate(parts):
            pieces.append(_piece(part, lambda name, k=k: label(k, name), minutes))
        return cls._of_pieces(pieces, kind, parts, options)

    @classmethod
    def _of_pieces(cls, pieces, kind, parts, options) -> "Effort":
        seconds, speed, grade, heading = (array(column) for column in zip(*pieces))
        ends = np.cumsum(seconds)
        defaults = ["grade_pct"] if not all("grade_pct" in part for part in parts) else []
        return cls(
            np.concatenate(([0.0], ends[:-1])), ends, speed, grade, heading, **options, kind=kind,
            defaults=(*defaults, *(name for name in OPTIONS if name not in options)),
        )  # fmt: skip

    @classmethod
    def from_recording(cls, recording: Recording, grade: str = "flat", **options) -> "Effort":
        """Return the effort of a recording: each sample's speed is held until the next sample.

        Parameters
        ----------
        recording : Recording
            Needs speed or distance: in a gap and where speed is missing, mean speed comes from the distance.
        grade : {'flat', 'elevation'}
            ``elevation`` takes the grade from smoothed elevation over distance.
        **options
            Gait, cost, treadmill, fan speed, surface, air drag, carried mass.
        """
        from thermosim.inputs import effort_of_recording as of

        check_names(options, OPTIONS, options)
        check_choice("grade", grade, ("flat", "elevation"))
        notes = list(recording.notes)
        speed = of.speeds(recording, notes)
        slope = of.grades(recording, notes) if grade == "elevation" else np.zeros(len(speed))
        if grade == "flat":
            there = (
                "though the recording has elevation"
                if recording.has("elevation_m")
                else "there is no elevation"
            )
            notes.append(f"grade_pct is 0 % throughout ({there}).")
        heart = (
            Recorded(recording.time_s, recording.heart_rate_bpm) if recording.has("heart_rate_bpm") else None
        )
        return cls(
            recording.time_s[:-1], recording.time_s[1:], speed, slope, np.full(len(speed), np.nan), **options,
            recorded=heart, kind="recording", notes=tuple(notes),
            defaults=tuple(name for name in OPTIONS if name not in options),
        )  # fmt: skip

    @classmethod
    def over(cls, course, *, runner=None, **fields) -> "Effort":
        """Return the effort over a course; see :func:`thermosim.inputs.course_effort.effort_over`."""
        from thermosim.inputs.course_effort import effort_over

        return effort_over(course, runner=runner, **fields)

    def with_fields(self, fields: dict[str, Any]) -> "Effort":
        """Return the effort with fields replaced; speed, grade, heading, minutes only when it is steady."""
        options = {name: value for name, value in fields.items() if name in OPTIONS}
        part = {name: value for name, value in fields.items() if name not in OPTIONS}
        check_names(part, PART_FIELDS, part)
        kept = tuple(name for name in self.defaults if name not in fields)
        if not part:
            return replace(self, **options, defaults=kept)
        if self.kind != "steady":
            name = next(iter(part))
            problem = f"cannot replace {len(self.speed_m_s)} pieces of a {self.kind} by {shown(part[name])}"
            raise InputError(
                problem, field=name, remedy="change the effort in its file, or give a steady effort"
            )
        now: dict[str, Any] = {"speed_m_s": float(self.speed_m_s[0]), "minutes": self.minutes}
        if "pace_min_km" in part:
            del now["speed_m_s"]
        if "grade_pct" not in self.defaults:
            now["grade_pct"] = float(self.grade_pct[0])
        if np.isfinite(self.heading_deg[0]):
            now["heading_deg"] = float(self.heading_deg[0])
        old = {name: getattr(self, name) for name in OPTIONS if name not in self.defaults}
        return Effort.steady(**{**now, **part}, **{**old, **options})

    def warnings(self) -> list[str]:
        """Return a sentence for each default used and each note."""
        found = []
        for name in self.defaults:
            value = 0.0 if name == "grade_pct" else getattr(self, name)
            unit = f" {INPUTS[name].unit}" if name in INPUTS and INPUTS[name].unit != "1" else ""
            text = (
                str(value).lower()
                if isinstance(value, bool)
                else f"{value:g}"
                if value != str(value)
                else value
            )
            if name != "fan_speed_m_s" or self.treadmill:
                found.append(f"{name} is the default, {text}{unit}.")
        return found + list(self.notes)

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values."""
        found = {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}
        if self.recorded is not None:
            found["recorded"] = plain(self.recorded._asdict())
        if self.ground is not None:
            found["ground"] = self.ground.to_dict()
        return found

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Effort":
        """Return the effort of :meth:`to_dict`."""
        check_names(data, cls.__dataclass_fields__, data)
        fields = dict(data)
        if fields.get("recorded"):
            fields["recorded"] = Recorded(
                **{name: array(values) for name, values in fields["recorded"].items()}
            )
        if fields.get("ground"):
            fields["ground"] = Ground(**fields["ground"])
        for name in ("defaults", "notes"):
            fields[name] = tuple(fields.get(name, ()))
        effort = cls(**fields)
        for name in ("speed_m_s", "grade_pct"):
            for value in getattr(effort, name):
                check_range(name, float(value))
        return effort


def _piece(part: dict[str, Any], label, minutes_name: str) -> tuple[float, float, float, float]:
    """Return (seconds, speed, grade, heading) of one part; ``label`` names its fields for the user."""
    for key in part:
        if key not in PART_FIELDS:
            try:
                check_names([key], PART_FIELDS, part)
            except InputError as error:
                raise InputError(error.problem, field=label(key), remedy=error.remedy) from None
    if "minutes" not in part:
        raise _missing("minutes", label)
    minutes = check_range(minutes_name, part["minutes"], field=label("minutes"))
    if "speed_m_s" in part and "pace_min_km" in part:
        problem = "is given beside speed_m_s, allowed is one of the two"
        raise InputError(problem, field=label("pace_min_km"), remedy="keep one of them")
    if "pace_min_km" in part:
        pace = part["pace_min_km"]
        if isinstance(pace, str):
            pace = pace_of_text(pace, label("pace_min_km"))
        speed = 1000.0 / (60.0 * check_range("pace_min_km", pace, field=label("pace_min_km")))
    elif "speed_m_s" in part:
        speed = check_range("speed_m_s", part["speed_m_s"], field=label("speed_m_s"))
    else:
        raise _missing("speed_m_s", label)
    grade = check_range("grade_pct", part.get("grade_pct", 0.0), field=label("grade_pct"))
    heading = part.get("heading_deg")
    heading = np.nan if heading is None else check_range("heading_deg", heading, field=label("heading_deg"))
    return 60.0 * minutes, speed, grade, heading


def pace_of_text(text: str, field: str) -> float:
    """Return the minutes per km of ``5:03`` or ``5.05``; anything else is refused with both as examples."""
    try:
        return pace_minutes(text, field, "", 0)
    except InputError:
        problem = f"is {shown(text)}, allowed are minutes and seconds such as 5:03, or minutes such as 5.05"
        raise InputError(problem, field=field, remedy="write one of these") from None


def _missing(name: str, label) -> InputError:
    error = missing(name)
    return InputError(error.problem, field=label(name), remedy=error.remedy)
