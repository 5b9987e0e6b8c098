"""The course: distance along the ground, smoothed elevation, heading, what shades and shelters it, checkpoints.

Coordinates are never kept. ``docs/course-sheets.md`` says what a sheet holds and how elevation is smoothed.
"""

import dataclasses
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import check_flag, check_names, check_range, check_whole, shown
from thermosim.inputs.course_elevation import SMOOTHING_M, ascent
from thermosim.inputs.plain import SameContent, array, plain

STEEPEST = 0.45  # tangent; no cost of running or walking is known beyond
FIELDS = ("file", "track", "smoothing_m", "reverse", "out_and_back", "laps")
LARGEST_STEP_OF_LAPS_M = 15.0  # a lap that ends higher or lower than this is not closed
PROFILE = ("distance_m", "horizontal_m", "elevation_m", "heading_deg")
STRETCHES = ("stretch_m", "shade", "exposure", "surface_factor")


class Checkpoint(NamedTuple):
    """A place where something is to be had, or a time is taken.

    Parameters
    ----------
    name : str
    distance_m : float
        Along the ground from the start [m].
    opens_s, cut_off_s : float, optional
        Clock times [s since midnight].
    water, crew : bool
    ice_probability : float
        How likely there is ice there [1].
    stop_min : float
        Minutes standing that are planned there.
    note : str
    """

    name: str
    distance_m: float
    opens_s: float | None = None
    cut_off_s: float | None = None
    water: bool = False
    ice_probability: float = 0.0
    crew: bool = False
    stop_min: float = 0.0
    note: str = ""

    @property
    def has(self) -> str:
        """What there is, in words; ice that may be missing with its chance."""
        chance = f"ice, {100.0 * self.ice_probability:.0f} %" if self.ice_probability < 1.0 else "ice"
        there = ((self.water, "water"), (self.ice_probability > 0.0, chance), (self.crew, "crew"), (bool(self.note), self.note))
        return ", ".join(words for given, words in there if given)


@dataclass(frozen=True, eq=False)
class Course(SameContent):
    """A course; read it with :meth:`read`.

    Attributes
    ----------
    distance_m, horizontal_m, elevation_m : ndarray (n + 1,)
        Along the ground and on the map from the start, smoothed elevation [m].
    heading_deg : ndarray (n,)
        Direction of each step [°], NaN where it is not known.
    stretch_m : ndarray (k,)
        Where each stretch of equal ground begins [m along the ground].
    shade, exposure, surface_factor : ndarray (k,)
        Share of the sun kept off, share of the wind that is left, multiplier of the cost of moving.
    section : tuple of str (k,)
    checkpoints : tuple of Checkpoint
    ascent_raw_m : float
        Climb of the elevations as they were written [m]; :attr:`ascent_m` is that of the smoothed ones.
    smoothing_m : float
        Standard deviation of the window [m].
    notes : tuple of str
        What was done, found and left out.
    """

    distance_m: np.ndarray
    horizontal_m: np.ndarray
    elevation_m: np.ndarray
    heading_deg: np.ndarray
    stretch_m: np.ndarray
    shade: np.ndarray
    exposure: np.ndarray
    surface_factor: np.ndarray
    section: tuple[str, ...]
    checkpoints: tuple[Checkpoint, ...] = ()
    ascent_raw_m: float = 0.0
    smoothing_m: float = SMOOTHING_M
    notes: tuple[str, ...] = ()

    def __post_init__(self):
        for name in (*PROFILE, *STRETCHES):
            object.__setattr__(self, name, array(getattr(self, name)))

    @classmethod
    def read(cls, path, *, track=None, smoothing_m=None, reverse=False, out_and_back=False, laps=1) -> "Course":
        """Read a ``*.course.csv`` or a GPX track or route.

        Parameters
        ----------
        path : path
        track : int, optional
            1-based; needed when a GPX file has several.
        smoothing_m : float, optional
            Standard deviation of the window over elevation [m]; 30 unless given, 0 for a sheet that says it was smoothed before.
        reverse, out_and_back : bool
            Run it the other way; there and back again (after ``reverse``).
        laps : int
            How often it is run.
        """
        window = SMOOTHING_M if smoothing_m is None else check_range("smoothing_m", smoothing_m)
        if str(path).lower().endswith(".gpx"):
            from thermosim.inputs.course_gpx import read_gpx_course

            course = read_gpx_course(path, track, window)
        elif track is not None:
            raise InputError(f"is {shown(track)} for a course sheet, allowed only for a GPX file", field="track",
                             remedy="leave it out")  # fmt: skip
        else:
            from thermosim.inputs.course_sheet import read_course_sheet, smoothed_before

            course = read_course_sheet(path, 0.0 if smoothing_m is None and smoothed_before(path) else window)
        course = course.reversed() if check_flag("reverse", reverse) else course
        course = course.out_and_back() if check_flag("out_and_back", out_and_back) else course
        return course.repeated(check_whole("laps", laps))

    @property
    def length_m(self) -> float:
        """Length along the ground [m]."""
        return float(self.distance_m[-1])

    @property
    def ascent_m(self) -> float:
        """Climb of the smoothed elevation [m]."""
        return ascent(self.elevation_m)

    @property
    def descent_m(self) -> float:
        """Descent of the smoothed elevation [m]."""
        return ascent(self.elevation_m[::-1])

    @property
    def grade(self) -> np.ndarray:
        """Grade of each step of the profile, rise over map distance [1]; infinite where a step only rises."""
        return grade_between(self.elevation_m, self.horizontal_m)

    def sections(self) -> list[tuple[str, float, float]]:
        """Return each named section with its ends [m]; neighbours of one name are one."""
        ends = np.append(self.stretch_m[1:], self.length_m)
        found: list[tuple[str, float, float]] = []
        for name, start, end in zip(self.section, self.stretch_m, ends):
            if found and found[-1][0] == name:
                found[-1] = (name, found[-1][1], float(end))
            else:
                found.append((name, float(start), float(end)))
        return [one for one in found if one[0]]

    def wind_along(self, wind_from_deg: float) -> np.ndarray:
        """Head-wind share of a wind for each step [1]: 1 from ahead, -1 from behind, NaN without a heading.

        The share across is ``sqrt(1 - along^2)``.
        """
        return np.cos(np.radians(wind_from_deg - self.heading_deg))

    def strip(self, headings: bool = True) -> "Course":
        """Return distance, elevation and heading alone: no names, checkpoints, ground or notes.

        Headings and distances together draw the shape of the course; ``headings=False`` drops them as well.
        """
        heading = self.heading_deg if headings else np.full(self.heading_deg.shape, np.nan)
        return replace(
            self, heading_deg=heading, stretch_m=[0.0], shade=[0.0], exposure=[1.0], surface_factor=[1.0], section=("",),
            checkpoints=(), notes=(),
        )  # fmt: skip

    def reversed(self) -> "Course":
        """Return the course run the other way; opening times and cut-offs stay with their checkpoints."""
        length, width = self.length_m, self.horizontal_m[-1]
        starts = length - np.append(self.stretch_m[1:], length)[::-1]
        places = tuple(one._replace(distance_m=length - one.distance_m) for one in self.checkpoints[::-1])
        return replace(
            self, distance_m=length - self.distance_m[::-1], horizontal_m=width - self.horizontal_m[::-1],
            elevation_m=self.elevation_m[::-1], heading_deg=(self.heading_deg[::-1] + 180.0) % 360.0, stretch_m=starts,
            **{name: getattr(self, name)[::-1] for name in STRETCHES[1:]}, section=self.section[::-1], checkpoints=places,
            ascent_raw_m=self.ascent_raw_m - float(self.elevation_m[-1] - self.elevation_m[0]),
        )  # fmt: skip

    def out_and_back(self) -> "Course":
        """Return the course there and back; a cut-off holds for the way back, where both pass."""
        back = self.reversed()
        there = replace(self, checkpoints=tuple(
            one._replace(cut_off_s=None) if one.distance_m < self.length_m else one for one in self.checkpoints
        ))  # fmt: skip
        turn = [one for one in self.checkpoints if one.distance_m >= self.length_m]
        back = replace(back, checkpoints=tuple(
            one._replace(name=f"{one.name} back") for one in back.checkpoints if not (turn and one.distance_m <= 0.0)
        ))  # fmt: skip
        return _joined([there, back], [*self.notes, "There and back: cut-offs are taken for the way back."])

    def repeated(self, laps: int) -> "Course":
        """Return the course run several times; a lap has to end at the height of its start."""
        if laps == 1:
            return self
        step = float(self.elevation_m[-1] - self.elevation_m[0])
        if abs(step) > LARGEST_STEP_OF_LAPS_M:
            problem = f"is {laps}, but the course ends {abs(step):.0f} m {'above' if step > 0 else 'below'} its start"
            raise InputError(problem, field="laps", remedy="use out_and_back, or mend the elevation of the last row")
        closed = replace(self, elevation_m=self.elevation_m - step * self.distance_m / self.length_m)
        parts = [
            replace(closed, checkpoints=tuple(
                one._replace(name=f"{one.name} lap {lap}", cut_off_s=one.cut_off_s if lap == laps else None)
                for one in self.checkpoints if lap == 1 or one.distance_m > 0.0
            )) for lap in range(1, laps + 1)
        ]  # fmt: skip
        told = [f"{laps} laps: cut-offs are taken for the last."]
        if abs(step) >= 0.5:
            told.append(f"A lap ends {step:+.1f} m from its start: the difference is spread over the lap.")
        return _joined(parts, [*self.notes, *told])

    def steep(self) -> list[tuple[float, float, float]]:
        """Return stretches beyond ±45 % as (from [m], to [m], steepest grade)."""
        grade = self.grade
        beyond = np.concatenate(([False], np.abs(grade) > STEEPEST, [False]))
        edges = np.flatnonzero(np.diff(beyond.astype(int))).reshape(-1, 2)
        return [(float(self.distance_m[a]), float(self.distance_m[b]), float(max(grade[a:b], key=abs))) for a, b in edges]

    def warnings(self) -> list[str]:
        """Return what was done to the elevation, what is too steep, and the notes."""
        window = f"smoothed with a Gaussian window of {self.smoothing_m:g} m (standard deviation)"
        how = window if self.smoothing_m > 0.0 else "used as written"
        found = [
            f"Elevation is {how}: climb {self.ascent_raw_m:.0f} m as written, {self.ascent_m:.0f} m as used, "
            f"over {self.length_m / 1000.0:.2f} km along the ground ({self.horizontal_m[-1] / 1000.0:.2f} km on the map)."
        ]
        if steep := self.steep():
            first, total = steep[0], sum(b - a for a, b, _ in steep)
            found.append(
                f"{total:.0f} m in {len(steep)} place{'s' if len(steep) > 1 else ''} are steeper than ±45 %, the first at km "
                f"{first[0] / 1000.0:.2f} to {first[1] / 1000.0:.2f} ({100.0 * first[2]:.0f} %): no cost of running or walking "
                "is known there, and an effort with a part that steep is refused."
            )
        return found + list(self.notes)

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values; :meth:`from_dict` builds the same course from it."""
        found = {one.name: plain(getattr(self, one.name)) for one in dataclasses.fields(self)}
        return {**found, "checkpoints": [plain(one._asdict()) for one in self.checkpoints]}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Course":
        """Return the course of :meth:`to_dict`."""
        names = [one.name for one in dataclasses.fields(cls)]
        check_names(data, names, data)
        places = tuple(Checkpoint(**one) for one in data["checkpoints"])
        return cls(**{**data, "checkpoints": places, "section": tuple(data["section"]), "notes": tuple(data["notes"])})


def grade_between(elevation_m, horizontal_m) -> np.ndarray:
    """Return rise over map distance [1] from each place to the next; infinite where it only rises."""
    rises, runs = np.diff(elevation_m), np.diff(horizontal_m)
    return np.divide(rises, runs, out=np.copysign(np.full(rises.shape, np.inf), rises), where=runs > 0.0)


def _joined(parts: list[Course], notes: list[str]) -> Course:
    """Return courses run one after the other."""
    ground = np.cumsum([0.0, *(one.length_m for one in parts)])
    flat = np.cumsum([0.0, *(float(one.horizontal_m[-1]) for one in parts)])
    first = parts[0]
    return replace(
        first,
        distance_m=np.concatenate([first.distance_m, *(a + one.distance_m[1:] for a, one in zip(ground[1:], parts[1:]))]),
        horizontal_m=np.concatenate([first.horizontal_m, *(a + one.horizontal_m[1:] for a, one in zip(flat[1:], parts[1:]))]),
        elevation_m=np.concatenate([first.elevation_m, *(one.elevation_m[1:] for one in parts[1:])]),
        heading_deg=np.concatenate([one.heading_deg for one in parts]),
        stretch_m=np.concatenate([a + one.stretch_m for a, one in zip(ground, parts)]),
        **{name: np.concatenate([getattr(one, name) for one in parts]) for name in STRETCHES[1:]},
        section=tuple(name for one in parts for name in one.section),
        checkpoints=tuple(
            place._replace(distance_m=a + place.distance_m) for a, one in zip(ground, parts) for place in one.checkpoints
        ),
        ascent_raw_m=sum(one.ascent_raw_m for one in parts), notes=tuple(notes),
    )  # fmt: skip


def course_of(value: Any, folder: Path) -> Course:
    """Return the course of a session: the name of a file, or a table with ``file`` and how it is run."""
    fields = {"file": value} if isinstance(value, str) else value
    if not isinstance(fields, dict):
        raise InputError(f"is {shown(value)}, needed is the name of a course or a table", field="course",
                         remedy='write course = "x.course.csv"')  # fmt: skip
    check_names(fields, FIELDS, fields)
    if not isinstance(fields.get("file"), str):
        raise InputError(f"is {shown(fields.get('file'))}, needed is the name of a *.course.csv or a GPX file", field="file",
                         remedy='write file = "x.course.csv"')  # fmt: skip
    rest = {name: item for name, item in fields.items() if name != "file"}
    return Course.read(folder / fields["file"], **rest)
