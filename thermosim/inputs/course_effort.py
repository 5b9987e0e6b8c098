"""An effort over a course: parts of constant grade, the speed on each, stops at checkpoints, times of day."""

import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, check_range, missing, nearest, shown
from thermosim.inputs.columns import pace_minutes
from thermosim.inputs.course import STEEPEST, Course, course_of, grade_between
from thermosim.inputs.course_sheet import mean_heading
from thermosim.inputs.effort import OPTIONS, Effort
from thermosim.inputs.ground import Ground
from thermosim.inputs.pacing import WALK_M_S
from thermosim.parameters import PARAMETERS
from thermosim.variables import INPUTS

LEAST_TOLD_M = 50.0  # less walking than this is not told
SEGMENT_M = 100.0  # longest part of constant grade
SPEEDS = ("speed_m_s", "pace_min_km", "level_speed_m_s", "metabolic_power_W", "section_pace")
CHOICES = ("walk_above_grade_pct", "walk_speed_m_s", "fastest_m_s", "segment_m", "stops")
OVER_FIELDS = (*SPEEDS, *CHOICES)
COURSE_FLAGS = ("course", "track", "smoothing_m", "laps", "reverse", "out_and_back")
_SAME_M = 0.01


class Parts(NamedTuple):
    """Parts of constant grade, in order along the course; all arrays of one length."""

    start_m: np.ndarray
    end_m: np.ndarray
    grade: np.ndarray
    heading_deg: np.ndarray
    sun_left: np.ndarray
    wind_left: np.ndarray
    surface: np.ndarray
    section: list[str]


class Passing(NamedTuple):
    """When a distance is reached, and left again after a stop [s from the start]."""

    distance_m: float
    arrive_s: float
    leave_s: float


def effort_over(course: Course, *, runner=None, **fields) -> Effort:
    """Return the effort over a course.

    Parameters
    ----------
    course : Course
    runner : Runner, optional
        Needed with ``metabolic_power_W``; without one a body of 70 kg stands in for level-equivalent speed, which hangs
        on mass no further than walking does.
    **fields
        One of ``speed_m_s`` or ``pace_min_km`` (along the ground, whatever the grade), ``level_speed_m_s`` (on every grade
        the speed that asks for the power of this speed on level, even ground), ``metabolic_power_W`` (likewise, rest
        included), ``section_pace`` (a table: section to m/s, or to text such as ``"5:45"`` min/km).
        Further ``walk_above_grade_pct`` (steeper than this uphill is walked) with ``walk_speed_m_s``; ``fastest_m_s``
        (no part is faster); ``segment_m`` (longest part, 100 m); ``stops`` (a table: checkpoint to minutes, in the place
        of the sheet's); gait, cost and the other options of an effort.
    """
    check_names(fields, (*OVER_FIELDS, *OPTIONS), fields)
    from thermosim.physiology import energetics  # compiled: only when an effort is made

    options = {name: item for name, item in fields.items() if name in OPTIONS}
    asked = {name: _ranged(name, item) for name, item in fields.items() if name in OVER_FIELDS and item is not None}
    given = [name for name in SPEEDS if name in asked]
    if len(given) != 1:
        problem = f"is given beside {given[0]}" if given else "is missing: nothing says how fast the course is run"
        raise InputError(f"{problem}, needed is one of {', '.join(SPEEDS)}", field=given[1] if given else "speed_m_s",
                         remedy="keep one of them" if given else "add one of them")  # fmt: skip
    stops, stop_notes = _stops(course, asked.get("stops"))
    parts = parts_of(course, asked.get("segment_m", SEGMENT_M), [place for place, _ in stops])
    _refuse_steep(parts)
    walked = (
        parts.grade > asked["walk_above_grade_pct"] / 100.0
        if "walk_above_grade_pct" in asked
        else np.zeros(parts.grade.size, bool)
    )
    notes: list[str] = []
    speed = _speeds(course, parts, given[0], asked, walked, runner, options, notes)
    seconds = (parts.end_m - parts.start_m) / speed
    columns = [seconds, speed, 100.0 * parts.grade, parts.heading_deg, parts.sun_left, parts.wind_left, parts.surface,
               np.where(walked, energetics.WALK, -1)]  # fmt: skip
    columns = _with_stops(columns, parts, stops)
    seconds, speed, grade, heading, *ground = columns
    ends = np.cumsum(seconds)
    notes = [*course.warnings(), *notes, *stop_notes]
    notes.append(
        f"Parts of constant grade are up to {asked.get('segment_m', SEGMENT_M):g} m long: {parts.grade.size} of them, "
        f"{100.0 * parts.grade.min():.1f} to {100.0 * parts.grade.max():.1f} %."
    )
    return Effort(
        np.append(0.0, ends[:-1]), ends, speed, grade, heading, **options, kind="course", notes=tuple(notes),
        defaults=tuple(name for name in OPTIONS if name not in options), ground=Ground(*ground, told(course)),
    )  # fmt: skip


def _ranged(name: str, value: Any) -> Any:
    if name in ("section_pace", "stops"):
        if not isinstance(value, dict):
            remedy = "write e.g. {W2 = 3}" if name == "stops" else 'write e.g. {boardwalk = "5:45"}'
            raise InputError(f"is {shown(value)}, needed is a table", field=name, remedy=remedy)
        return value
    if name == "pace_min_km" and isinstance(value, str):
        value = pace_minutes(value, name, "", 0)
    number = check_range(name, value)
    if name in ("speed_m_s", "fastest_m_s") and number < 0.3:
        raise InputError(
            f"is {number:g} m/s, allowed over a course is 0.3 m/s or more", field=name, remedy="give stops for standing"
        )
    return number


def parts_of(course: Course, segment_m: float, places=()) -> Parts:
    """Return parts of constant grade, each up to ``segment_m`` [m] long; they end where the ground changes and at places.

    The grade of a part is its rise over its map distance, so that no climb is lost.
    """
    fixed = np.concatenate(
        [course.stretch_m, [one.distance_m for one in course.checkpoints], list(places), [0.0, course.length_m]]
    )
    fixed = np.unique(np.clip(fixed, 0.0, course.length_m))
    kept = np.append(np.diff(fixed) > _SAME_M, True)
    fixed = fixed[kept]
    fixed[0] = 0.0
    cuts = np.unique(
        np.concatenate([np.linspace(a, b, max(math.ceil((b - a) / segment_m - 1e-9), 1) + 1) for a, b in zip(fixed, fixed[1:])])
    )
    grade = grade_between(*(np.interp(cuts, course.distance_m, line) for line in (course.elevation_m, course.horizontal_m)))
    stretch = np.searchsorted(course.stretch_m, 0.5 * (cuts[:-1] + cuts[1:]), side="right") - 1
    heading = np.array([mean_heading(course, a, b) for a, b in zip(cuts, cuts[1:])])
    return Parts(
        cuts[:-1], cuts[1:], grade, _without_holes(heading), 1.0 - course.shade[stretch], course.exposure[stretch],
        course.surface_factor[stretch], [course.section[k] for k in stretch],
    )  # fmt: skip


def _without_holes(heading: np.ndarray) -> np.ndarray:
    """Return headings in which a part without one has that of the part before (or, at the start, after)."""
    known = np.flatnonzero(np.isfinite(heading))
    if known.size == 0:
        return heading
    before = np.clip(np.searchsorted(known, np.arange(heading.size), side="right") - 1, 0, None)
    return heading[known[before]]


def _refuse_steep(parts: Parts) -> None:
    steep = np.flatnonzero(np.abs(parts.grade) > STEEPEST)
    if steep.size:
        k = int(steep[np.argmax(np.abs(parts.grade[steep]))])
        problem = (
            f"is {100.0 * parts.grade[k]:.0f} % at km {parts.start_m[k] / 1000.0:.2f} to {parts.end_m[k] / 1000.0:.2f}, "
            f"allowed is -45 to 45 % ({steep.size} of {parts.grade.size} parts are steeper)"
        )
        raise InputError(problem, field="grade_pct", remedy="mend the elevation there, or give a larger segment_m or smoothing_m")


def _speeds(course, parts, how, asked, walked, runner, options, notes) -> np.ndarray:
    """Return the speed of each part [m/s]."""
    from thermosim.inputs.pacing import power_at, speed_at_power
    from thermosim.physiology import energetics

    if how in ("speed_m_s", "pace_min_km"):
        steady = asked[how] if how == "speed_m_s" else 1000.0 / (60.0 * asked[how])
        speed = np.full(parts.grade.size, steady)
    elif how == "section_pace":
        speed = _by_section(course, parts, asked[how])
    else:
        piece = {"cost_relation": {"minetti": energetics.MINETTI, "acsm": energetics.ACSM}[options.get("cost", "minetti")],
                 "carried_kg": options.get("carried_mass_kg", 0.0),
                 "gait": {"auto": -1, "walk": energetics.WALK, "run": energetics.RUN}[options.get("gait", "auto")]}  # fmt: skip
        body = _body(runner, how)
        power = asked[how] if how == "metabolic_power_W" else power_at(
            asked[how], {"gait": -1, "grade": 0.0, "surface": 1.0}, piece, body
        )  # fmt: skip
        speed = np.empty(parts.grade.size)
        for k in range(speed.size):
            leg = {"gait": energetics.WALK if walked[k] else -1, "grade": parts.grade[k],
                   "surface": parts.surface[k] * options.get("surface_factor", 1.0)}  # fmt: skip
            try:
                speed[k] = speed_at_power(power, leg, piece, body)
            except InputError as error:
                if "fastest_m_s" in asked and power_at(INPUTS["speed_m_s"].high, leg, piece, body) < power:
                    speed[k] = INPUTS["speed_m_s"].high
                    continue
                at = f"at km {parts.start_m[k] / 1000.0:.2f} {error.problem}"
                remedy = "give fastest_m_s, another power or speed" if parts.grade[k] < 0 else error.remedy
                raise InputError(at, field=how, remedy=remedy) from None
    powered = how in ("level_speed_m_s", "metabolic_power_W")
    if walked.any():
        slow = asked.get("walk_speed_m_s")
        if slow is None and not powered:
            slow = WALK_M_S
            notes.append(f"walk_speed_m_s is the default, {WALK_M_S:g} m/s.")
        if slow is not None:
            speed = np.where(walked, np.minimum(slow, speed) if powered else slow, speed)
        metres = float((parts.end_m - parts.start_m)[walked].sum())
        notes.append(f"{metres / 1000.0:.1f} km are walked, where it climbs by more than {asked['walk_above_grade_pct']:g} %.")
    elif "walk_above_grade_pct" in asked:
        notes.append(f"No part climbs by more than {asked['walk_above_grade_pct']:g} %: nothing is walked.")
    if "fastest_m_s" in asked:
        speed = np.minimum(speed, asked["fastest_m_s"])
    elif powered:
        k = int(np.argmax(speed))
        notes.append(
            f"The fastest part is run at {speed[k]:.1f} m/s, at km {parts.start_m[k] / 1000.0:.1f} "
            f"on {number_text(100.0 * parts.grade[k])} %: "
            "fastest_m_s bounds what equal power asks for downhill."
        )
    notes += _said_of_walking(parts, speed, walked)
    return speed


def number_text(number: float) -> str:
    """Return a whole number with a true minus sign; what rounds to nothing has none.

    >>> number_text(-0.4), number_text(-7.6)
    ('0', '−8')
    """
    return f"{round(number):d}".replace("-", "−")


def _said_of_walking(parts: Parts, speed, walked) -> list[str]:
    """Return what is said of parts that are walked because they are slower than people run."""
    switch = PARAMETERS["walk_run_switch_m_s"].value
    slow = (speed < switch) & ~walked
    metres = float((parts.end_m - parts.start_m)[slow].sum())
    if metres < LEAST_TOLD_M:
        return []
    which = f"{metres / 1000.0:.1f} km {'more ' if walked.any() else ''}"
    return [f"{which}are slower than {switch:g} m/s and count as walked (gait auto)."]


def _body(runner, how: str):
    from thermosim.inputs.flat import runner_record
    from thermosim.inputs.runner import Runner

    if runner is None:
        if how == "metabolic_power_W":
            raise InputError("needs a runner: the speed hangs on body mass", field=how, remedy="give runner=, or level_speed_m_s")
        runner = Runner(mass_kg=70.0, height_m=1.75)
    return runner_record(runner)[0]


def _by_section(course: Course, parts: Parts, table: dict[str, Any]) -> np.ndarray:
    names = list(dict.fromkeys(parts.section))
    if names == [""]:
        raise InputError(
            "is given, but the course has no sections", field="section_pace", remedy="add the column section to the sheet"
        )
    for name in table:
        if name not in names:
            close = nearest(name, names)
            raise InputError(f"names {shown(name)}, which is no section of the course", field="section_pace",
                             remedy=f"did you mean {close}" if close else f"known are {', '.join(names)}")  # fmt: skip
    if left := [name for name in names if name not in table]:
        raise InputError(f"says nothing of {shown(left[0])}, needed is a pace for each section", field="section_pace",
                         remedy="add it")  # fmt: skip
    speeds = {}
    for name, value in table.items():
        field = f"section_pace.{name}"
        if isinstance(value, str):
            try:
                minutes = pace_minutes(value, field, "", 0)
            except InputError:
                minutes = math.nan
            if not minutes == minutes:
                raise InputError(f"is {shown(value)}, allowed are minutes and seconds such as 5:45, or m/s as a number",
                                 field=field,
                                 remedy="write one of these")  # fmt: skip
            speeds[name] = 1000.0 / (60.0 * check_range("pace_min_km", minutes, field=field))
        else:
            speeds[name] = check_range("speed_m_s", value, field=field)
        if speeds[name] < 0.3:
            raise InputError(
                f"is {speeds[name]:g} m/s, allowed is 0.3 m/s or more", field=field, remedy="give stops for standing"
            )
    return np.array([speeds[name] for name in parts.section])


def _stops(course: Course, table: dict[str, Any] | None) -> tuple[list[tuple[float, float]], list[str]]:
    """Return (distance [m], seconds) of each stop; a table replaces what the sheet says."""
    names = [one.name for one in course.checkpoints]
    for name, minutes in (table or {}).items():
        if name not in names:
            close = nearest(str(name), names)
            raise InputError(f"names {shown(name)}, which is no checkpoint of the course", field="stops",
                             remedy=f"did you mean {close}" if close else f"known are {', '.join(names) or 'none'}")  # fmt: skip
        if minutes != 0:
            check_range("stop_min", minutes, field=f"stops.{name}")
    minutes = {one.name: float((table or {}).get(one.name, one.stop_min)) for one in course.checkpoints}
    found = [(one.distance_m, 60.0 * minutes[one.name]) for one in course.checkpoints if minutes[one.name] > 0.0]
    total = sum(seconds for _, seconds in found)
    return found, [f"{len(found)} stops, {total / 60.0:g} min standing in all."] if found else []


def _with_stops(columns, parts: Parts, stops) -> list[np.ndarray]:
    """Put the stops between the parts: no speed, the heading and the ground of the part before, no grade."""
    for place, seconds in sorted(stops, reverse=True):
        at = int(np.searchsorted(parts.end_m, place - _SAME_M)) + 1 if place > _SAME_M else 0
        beside = min(max(at - 1, 0), parts.grade.size - 1)
        stop = (seconds, 0.0, 0.0, *(column[beside] for column in columns[3:7]), -1)
        columns = [np.insert(column, at, value) for column, value in zip(columns, stop)]
    return columns


def told(course: Course) -> dict[str, Any]:
    """Return what tables and pictures tell of a course: profile every 50 m, sections, ground, checkpoints."""
    count = min(max(round(course.length_m / 50.0), 2), 2000)
    at = np.linspace(0.0, course.length_m, count + 1)
    return {
        "length_m": course.length_m, "ascent_m": course.ascent_m, "descent_m": course.descent_m,
        "ascent_raw_m": course.ascent_raw_m,
        "smoothing_m": course.smoothing_m,
        "distance_m": np.round(at, 1), "elevation_m": np.round(np.interp(at, course.distance_m, course.elevation_m), 3),
        "sections": [list(one) for one in course.sections()],
        "stretch_m": course.stretch_m, "shade": course.shade, "exposure": course.exposure,
        "checkpoints": [{**one._asdict(), "has": one.has} for one in course.checkpoints],
    }  # fmt: skip


def places_of(course) -> list[dict]:
    """Return the checkpoints of a course as its inputs tell them, the finish among them."""
    places = list(course["checkpoints"])
    if not places or places[-1]["distance_m"] < course["length_m"] - 1.0:
        places.append({"name": "finish", "distance_m": course["length_m"], "has": ""})
    return places


def passing(effort: Effort, distances_m) -> list[Passing]:
    """Return when each distance [m] is reached and left again.

    A distance beyond the end has times NaN.
    """
    edges_s = np.append(effort.start_s[0], effort.end_s)
    edges_m = np.append(0.0, np.cumsum(effort.speed_m_s * np.diff(edges_s)))
    found = []
    for place in np.atleast_1d(distances_m):
        if place > edges_m[-1] + 1.0:
            found.append(Passing(float(place), math.nan, math.nan))
            continue
        place_in = min(float(place), float(edges_m[-1]))
        first = int(np.searchsorted(edges_m, place_in - _SAME_M))
        last = int(np.searchsorted(edges_m, place_in + _SAME_M, side="right")) - 1
        if first == 0 or last < first:
            first, arrive = max(first, 1), _between(edges_m, edges_s, max(first, 1), place_in)
            arrive = 0.0 if place_in <= _SAME_M else arrive
        else:
            arrive = float(edges_s[first])
        leave = float(edges_s[last]) if edges_m[last] >= place_in - _SAME_M else arrive
        found.append(Passing(float(place), arrive, max(leave, arrive)))
    return found


def _between(edges_m, edges_s, k: int, place: float) -> float:
    return float(np.interp(place, edges_m[k - 1 : k + 1], edges_s[k - 1 : k + 1]))


def after_start(clock_s: float, start_clock_s: float, expected_s: float) -> float:
    """Return a clock time as seconds from the start: of the days it may mean, the one nearest to what is expected.

    >>> after_start(1800.0, 84600.0, 3600.0)  # 00:30 is an hour after 23:30
    3600.0
    """
    first = (clock_s - start_clock_s) % 86400.0
    return min((first + 86400.0 * day for day in range(-1, 3)), key=lambda one: abs(one - expected_s))


def effort_of_fields(fields: dict[str, Any], runner, folder: Path = Path()) -> Effort:
    """Return the effort over a course that flags describe: ``course``, how it is run, how fast."""
    how = {name: fields[name] for name in COURSE_FLAGS if name in fields}
    rest = {name: item for name, item in fields.items() if name not in COURSE_FLAGS}
    if "course" not in how:
        raise missing("course")
    course = course_of({("file" if name == "course" else name): item for name, item in how.items()}, folder)
    if isinstance(rest.get("stops"), str):
        rest["stops"] = _stops_of_text(rest["stops"])
    return effort_over(course, runner=runner, **rest)


def _stops_of_text(text: str) -> dict[str, float]:
    """Return the stops of a flag, ``W2=3+W4=6``."""
    found = {}
    for item in text.split("+"):
        name, equals, minutes = item.partition("=")
        try:
            found[name.strip()] = float(minutes)
        except ValueError:
            raise InputError(
                f"has {shown(item)}, allowed is NAME=MINUTES", field="stops", remedy="write e.g. W2=3+W4=6"
            ) from None
    return found


def read_effort_over(data: dict[str, Any], folder: Path, source, runner) -> Effort:
    """Return the effort of a session file that has a course; its ``[effort]`` table says how fast."""
    if "block" in data:
        with source.blame():
            raise InputError("is given beside course, allowed is one of the two", field="block", remedy="keep one of them")
    with source.under("course").blame():
        course = course_of(data["course"], folder)
    with source.under("effort").blame():
        fields = data.get("effort", {})
        if not isinstance(fields, dict):
            raise InputError(f"is {shown(fields)}, needed is a table", field="effort", remedy="write [effort] and how fast below")
        for name in ("part", "pace", "recording", "minutes", "grade_pct", "heading_deg"):
            if name in fields:
                raise InputError("is given beside a course, which says it already", field=name,
                                 remedy=f"leave it out, and give one of {', '.join(SPEEDS)}")  # fmt: skip
        return effort_over(course, runner=runner, **fields)


def with_course_flags(effort: Effort, fields: dict[str, Any], runner) -> Effort:
    """Return an effort with flags put in; with ``course`` among them it is a new one, over that course."""
    if "course" in fields:
        return effort_of_fields(fields, runner)
    if alone := [name for name in fields if name in (*COURSE_FLAGS, *OVER_FIELDS) and name not in ("speed_m_s", "pace_min_km")]:
        raise InputError("says how a course is run, and no course is given", field=alone[0],
                         remedy="add --course FILE, or write it in the session file")  # fmt: skip
    return effort.with_fields(fields)


def effort_of_flags(fields: dict[str, Any], runner) -> Effort:
    """Return the effort that flags alone describe: over a course, or steady."""
    if any(name in fields for name in (*COURSE_FLAGS, *OVER_FIELDS) if name not in ("speed_m_s", "pace_min_km")):
        return effort_of_fields(fields, runner)
    return Effort.steady(**fields)
