"""Commented examples of every kind of file, and the check of any of them."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from thermosim.clock import pace_text
from thermosim.errors import InputError
from thermosim.inputs.checks import check_choice
from thermosim.inputs.course import Course
from thermosim.inputs.course_sheet import EXAMPLE as _COURSE
from thermosim.inputs.device_cards import read_card
from thermosim.inputs.effort import Effort
from thermosim.inputs.heat_exposures import read_heat_csv
from thermosim.inputs.hot_week import check_station
from thermosim.inputs.mass_readings import read_mass
from thermosim.inputs.recordings import read_gpx
from thermosim.inputs.runner import Runner
from thermosim.inputs.session import Session
from thermosim.inputs.station import is_station
from thermosim.inputs.trackside import trackside_span
from thermosim.inputs.wear import EXAMPLE as _WEAR
from thermosim.inputs.wear import check_sheet, check_worn
from thermosim.inputs.weather import Weather

MOST_TRACKS = 50  # of a GPX file that are tried as courses

_SESSION = """\
# Session sheet: who runs, in what air, how, and what is compared. Units are in the names.
title = "Boat shed, two reps without and with the collar"

[runner]                            # or one line: runner = "P-22.runner.toml"
name = "P-22"
mass_kg = 78.0
height_m = 1.83
sex = "male"
threshold_heart_rate_bpm = 166
maximum_sweat_rate_L_h = 1.9
heat_days = 2                       # days with heat exposure in the last 14; leave out when unknown
clothing = "light_kit"              # nude, light_kit, shirt_and_shorts, coverall

[weather]                           # or one line: weather = "race.weather.csv"
air_temperature_C = 30
relative_humidity_pct = 75          # or dew_point_C, wet_bulb_C, vapour_pressure_kPa: exactly one
wind_speed_m_s = 0.0                # outdoors: add wind_from = "head", "tail", "cross" or degrees
wind_height_m = 1.5                 # station wind is measured at 10 m
solar_W_m2 = 0.0                    # global horizontal; or globe_temperature_C, not both

[effort]                            # steady: speed_m_s, minutes, grade_pct; or pace = "x.pace.csv"
treadmill = true                    # the air then moves with the fan only
fan_speed_m_s = 2.0
cost = "minetti"                    # or acsm

[[effort.part]]                     # parts follow each other
minutes = 7
speed_m_s = 3.3                     # 5:03 min/km
grade_pct = 0
[[effort.part]]
minutes = 4
speed_m_s = 0.0                     # standing
[[effort.part]]
minutes = 7
speed_m_s = 3.3
grade_pct = 0
[[effort.part]]
minutes = 4
speed_m_s = 0.0

# A recording instead of the parts:
# [effort.recording]
# file = "morning.csv"              # or a GPX track
# columns = {time_s = "Timestamp", heart_rate_bpm = "Pulse", speed_m_s = "Speed", distance_m = "Distance"}

# What the runner said, on scales of your own; drawn beside the model, never used by it:
# [ratings]
# file = "morning.ratings.csv"      # columns time_min, effort, thermal_sensation; one of the two is enough
# effort_scale = {name = "club scale", low = 0, high = 10, low_label = "nothing", high_label = "all I have"}
# sensation_scale = {name = "club scale", low = 1, high = 9, low_label = "very cold", high_label = "very hot"}

[limits]
core_temperature_C = 38.5           # default 39.0, or 38.5 with unknown or under 5 heat days
site = "core"                       # core, rectal, oesophageal, gut

[ensemble]
members = 200
seed = 1

[assumed]                           # what was not measured: a range that contains the value above
relative_humidity_pct = [70, 80]

[[variant]]
name = "none"

[[variant]]
name = "collar"
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
covered = true
from_min = 0
to_min = 22
refill_min = [11]
"""

_RUNNER = """\
# Runner card. Only mass and height are required; every default that is used is said in the warnings.
name = "P-31"                       # a label, never a real name
mass_kg = 63.0
height_m = 1.71
sex = "male"                        # or female
age_y = 47
body_fat_pct = 14
vo2max_mL_kg_min = 48
resting_heart_rate_bpm = 52
maximum_heart_rate_bpm = 174
threshold_heart_rate_bpm = 151
# heat_days = 5                     # days with heat exposure in the last 14; left out: unknown, counts as 0
# maximum_sweat_rate_L_h = 1.4      # left out: unknown
economy_factor = 1.0                # multiplies the cost of running
clothing = "light_kit"
# clothing = {covered_fraction = 0.4, insulation_clo = 0.10, vapour_resistance_m2Pa_W = 2.0}

[sources]                           # measured, fitted or default; what is given counts as measured
vo2max_mL_kg_min = "fitted"

[ranges]                            # intervals, where known
vo2max_mL_kg_min = [44, 52]
"""

_WEATHER = """\
# Weather sheet: linear between rows. Time: clock (HH:MM), time_min or time_s. Humidity: any one form.
# Further columns: wind_from (head, tail, cross, or degrees in every row), wind_height_m, pressure_kPa,
# globe_temperature_C (instead of sun), mean_radiant_temperature_C.
clock,air_temperature_C,relative_humidity_pct,wind_speed_m_s,solar_W_m2
02:30,25.0,94,0.5,0
05:00,24.6,96,0.5,0
06:30,27.0,88,0.5,150
08:00,29.5,78,1.0,520
10:00,32.5,62,3.0,860
11:30,33.5,58,3.0,930
"""

_PACE = """\
# Pace sheet: parts that follow each other. Speed in m/s, or pace_min_km (5:03) instead; grade in per cent.
minutes,speed_m_s,grade_pct
38.9,3.0,0
60,2.2,6
"""

_MASS = """\
# Bench test of a device on kitchen scales: once on a dummy (insulated on the side where skin would be), once on skin of
# someone at rest. Lines "# name = value" are the conditions of the file; flags of the command replace them.
# kind = "ice_collar:ice_kg=0.25,covered=true"
# room_temperature_C = 24
# room_humidity_pct = 50
# air_speed_m_s = 0.0                # 0: still air in a room
# scale_resolution_g = 1             # left out: told from the readings
# drips_counted = false              # true: what drips stays on the scales
# Columns: run, on, time_min and mass_kg (the device with all that is in it); where measured also dripped_kg (so far),
# ice_left_kg (melt water poured off and put back) and skin_temperature_C (under the device). Those may have blank cells.
run,on,time_min,mass_kg,ice_left_kg,skin_temperature_C
table,dummy,0,0.330,,
table,dummy,10,0.330,0.245,
table,dummy,20,0.330,,
table,dummy,30,0.331,0.233,
neck,skin,0,0.330,,33.0
neck,skin,5,0.330,,22.0
neck,skin,10,0.330,0.182,20.4
neck,skin,15,0.330,,20.2
neck,skin,20,0.308,,20.2
neck,skin,25,0.278,,20.2
neck,skin,30,0.248,0.061,20.2
"""

_CASE = """\
# Published case: one study, asked of the model. Everything below is invented; docs/cases.md of the project has every field.
# `thermosim evidence --cases FOLDER` runs every *.case.toml of a folder.
id = "K1"                             # short, unique in the folder
title = "Cycling in dry heat (invented)"
role = "never_fitted"                 # compared only; "fitted" if parameters were fitted to it

[source]
citation = "Invented for this example; no such study exists"
status = "from memory"                # confirmed: abstract or text was seen
note = "All numbers are made up."

[subjects]                            # means of the group
n = 9
mass_kg = 71.0
height_m = 1.77
sex = "male"
vo2max_mL_kg_min = 54
clothing = "shorts_and_shoes"         # nude, shorts_and_shoes, light_kit, shirt_and_shorts, coverall
assumed = ["height_m"]                # given above, but not stated by the paper

[[blank]]                             # a condition that the paper leaves blank, and the range it may lie in
name = "fan"                          # referred to as "?fan"
low = 0.1
value = 0.4                           # the centre
high = 1.0
why = "chamber without a named fan"

[[variant]]                           # one condition of the study; give another [[variant]] for the next
name = "dry heat"

[[variant.phase]]                     # phases follow each other
activity = "cycle"                    # run, walk, cycle, stand, seated, lying
heat_production_W = 480               # or metabolic_power_W, vo2max_pct, oxygen_uptake_L_min
minutes = 45
air_temperature_C = 34
relative_humidity_pct = 30            # or vapour_pressure_kPa, dew_point_C, wet_bulb_C: exactly one
air_speed_m_s = "?fan"

[[variant.measured]]
quantity = "rectal_temperature"
read = "change"                       # value, change, mean, rate, time_to, onset
at_min = 45
value = 0.9
measured_kind = "value"               # range: value is the middle of a range that a source states, nobody measured it
sd = 0.2                              # between people
unit = "K"
tolerance = 0.3                       # written down before anything is compared
why = "invented; core to 0.3 K in the laboratory"
"""

_TEXTS = {"session": _SESSION, "runner": _RUNNER, "weather": _WEATHER, "pace": _PACE, "mass": _MASS, "case": _CASE, "wear": _WEAR,
          "course": _COURSE}  # fmt: skip
KINDS = (*_TEXTS, "device")
ENDINGS = {
    "session": ".session.toml", "runner": ".runner.toml", "weather": ".weather.csv", "pace": ".pace.csv",
    "mass": ".mass.csv", "case": ".case.toml", "device": ".device.toml",
    "wear": ".wear.csv", "course": ".course.csv",
}  # fmt: skip


def new_file_text(kind: str, device_card: Callable[[], str] | None = None) -> str:
    """Return a commented, valid file of a kind: session, runner, weather, pace, mass, case, wear, course, device.

    ``device_card`` writes the card of a device (:func:`thermosim.cooling.cards.card_text`); inputs know no device.
    """
    kinds = KINDS if device_card is not None else tuple(_TEXTS)
    if check_choice("kind", kind, kinds) == "device" and device_card is not None:
        return device_card()
    return _TEXTS[kind]


def speed_text(speed_m_s: float) -> str:
    """Return a speed with its pace, e.g. ``3.30 m/s (5:03 min/km)``; standing has no pace."""
    if speed_m_s < 0.1:
        return f"{speed_m_s:.2f} m/s"
    return f"{speed_m_s:.2f} m/s ({pace_text(speed_m_s)} min/km)"


def check_file(
    path, build_device: Callable[[dict], object], read_case: Callable | None = None, dress: Callable | None = None
) -> list[str]:
    """Check any of our files, told by its ending.

    Parameters
    ----------
    path : path
        The file.
    build_device : callable
        Builds a device from its table and refuses what the device itself would refuse
        (:func:`thermosim.cooling.from_spec`); inputs know no device.
    read_case : callable, optional
        Reads a published case (:func:`thermosim.evidence.read_case.read_case`); without it case files are refused.
    dress : callable, optional
        Builds the devices of a session (None for a wear sheet on its own) from their tables, schedules included
        (:func:`thermosim.story.dress`); without it plans of wear are read, but not put on an effort.

    Returns
    -------
    list of str
        One sentence on what was read, then the warnings. A bad file raises
        :class:`~thermosim.errors.InputError` instead.
    """
    name = Path(path).name
    checks = dict(_CHECKS)
    if read_case is not None:
        checks[ENDINGS["case"]] = lambda path, _: _check_case(path, read_case)
    checks[ENDINGS["wear"]] = lambda path, build: check_sheet(path, build, dress)
    if dress is not None:
        checks[ENDINGS["session"]] = lambda path, build: _check_session(path, build, dress)
    for ending, check in checks.items():
        if name.lower().endswith(ending):
            summary, warnings = check(path, build_device)
            return [f"{path} is valid: {summary}.", *warnings]
    if name.lower().endswith(".csv") and is_station(path):
        summary, warnings = check_station(path)
        return [f"{path} is valid: {summary}.", *warnings]
    known = ", ".join(f"*{ending}" for ending in checks)
    problem = f"has an ending that is not known here, allowed are {known}"
    raise InputError(problem, file=str(path), remedy="rename the file")


def _check_session(path, build_device, dress=None):
    session = Session.read(path, build_device)
    check_worn(path, session, dress or (lambda _, tables: [build_device(one) for one in tables if "plan" not in one]))
    names = ", ".join(variant.name for variant in session.variants)
    summary = (
        f"{_of_runner(session.runner)}; {_of_weather(session.weather)}; {_of_effort(session.effort)}; "
        f"{_of_limit(session)}; variants {names}"
    )
    return summary, session.warnings()


def _check_runner(path, _):
    runner = Runner.read(path)
    return _of_runner(runner), runner.warnings()


def _check_weather(path, _):
    weather = Weather.sheet(path)
    return _of_weather(weather), weather.warnings()


def _check_heat(path, _):
    exposures = read_heat_csv(path)
    minutes = sum(one.minutes for one in exposures)
    return f"{_count(len(exposures), 'heat exposure')}, {minutes:g} min in all", []


def _check_trackside(path, _):
    first, last, count = trackside_span(path)
    return f"{_count(count, 'reading')} at trackside, {first} to {last}", []


def _check_pace(path, _):
    effort = Effort.pace_sheet(path)
    return _of_effort(effort), effort.warnings()


def _check_course(path, _):
    course = Course.read(path)
    return of_course(course), course.warnings()


def of_course(course: Course) -> str:
    """Return a course in one line: how long, how much up and down, sections, checkpoints."""
    sections = ", ".join(name for name, _, _ in course.sections())
    places = ", ".join(f"{one.name} km {one.distance_m / 1000.0:g}" for one in course.checkpoints)
    return (
        f"course of {course.length_m / 1000.0:.2f} km, +{course.ascent_m:.0f} m −{course.descent_m:.0f} m"
        + (f"; sections {sections}" if sections else "") + (f"; checkpoints {places}" if places else "")
    )  # fmt: skip


def _check_device(path, build_device):
    card = read_card(path, build_device)
    fields = [name for name in card if name not in ("device", "name", "ranges", "sources")]
    intervals = len(card.get("ranges", {}))
    named = f" {card['name']!r}" if "name" in card else ""
    return f"device card{named} of {card['device']} with {len(fields)} of its fields, {intervals} of them with an interval", []


def _check_mass(path, _):
    runs, warnings = read_mass(path)
    said = "; ".join(f"{run.name} on {run.on or '(dummy or skin: not said)'}, {len(run.time_min)} readings" for run in runs)
    return f"bench readings of a device: {said}", warnings


def _check_case(path, read_case):
    case = read_case(path)
    if case.not_modelled:
        return f"case {case.id}, {case.title}, which is not modelled", []
    counted = f"{_count(len(case.outcomes()), 'outcome')} of {_count(len(case.variants), 'variant')}"
    laws = f", {_count(len(case.laws), 'check')} of laws among them" if case.laws else ""
    return f"case {case.id}, {case.title}: {counted}{laws}, {_count(len(case.blanks), 'blank condition')}", []


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _check_gpx(path, _):
    try:
        recording = read_gpx(path)
    except InputError as error:
        courses = _courses_of_gpx(path)
        if not courses and "time" in error.problem:
            Course.read(path)  # says why it is no course either
        if not courses:
            raise
        return f"a course, no recording ({error.problem}): {'; '.join(courses)}", []
    return f"{len(recording.time_s)} points over {recording.time_s[-1] / 60.0:.1f} min", list(recording.notes)


def _courses_of_gpx(path) -> list[str]:
    """Return what each track or route of a file is as a course; nothing where none is one."""
    try:
        one = Course.read(path)
        return [f"{one.length_m / 1000.0:.2f} km, climb {one.ascent_m:.0f} m"]
    except InputError:
        found = []
    for track in range(1, MOST_TRACKS + 1):
        try:
            one = Course.read(path, track=track)
        except InputError as error:
            if error.field == "track" and "allowed is 1 to" in error.problem:
                break
            continue
        found.append(f"track = {track} is {one.length_m / 1000.0:.2f} km, climb {one.ascent_m:.0f} m")
    return found


def _of_runner(runner: Runner) -> str:
    label = f"runner {runner.name}" if runner.name else "runner"
    return f"{label}, {runner.mass_kg:g} kg, {runner.height_m:g} m, {runner.sex}"


def _of_weather(weather: Weather) -> str:
    low, high = weather.air_temperature_C.min(), weather.air_temperature_C.max()
    air = f"{low:g} °C" if low == high else f"{low:g} to {high:g} °C"
    if weather.steady_air:
        return f"steady air of {air}"
    return f"air of {air} over {np.ptp(weather.time_s) / 60.0:g} min in {len(weather.given['time_s'])} rows"


def _of_limit(session: Session) -> str:
    limit = session.core_limit_C
    return f"core limit {limit:g} °C at {session.limit_site}" if limit == limit else "no core limit"


def _of_effort(effort: Effort) -> str:
    low, high = float(effort.speed_m_s.min()), float(effort.speed_m_s.max())
    speed = speed_text(low) if low == high else f"{speed_text(low)} to {speed_text(high)}"
    return f"{effort.minutes:.4g} min at {speed}"


_CHECKS = {
    ".session.toml": _check_session,
    ".runner.toml": _check_runner,
    ".weather.csv": _check_weather,
    ".pace.csv": _check_pace,
    ".heat.csv": _check_heat,
    ".trackside.csv": _check_trackside,
    ".device.toml": _check_device,
    ".mass.csv": _check_mass,
    ".course.csv": _check_course,
    ".gpx": _check_gpx,
}
