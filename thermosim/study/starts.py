"""Possible starts of a session over its weather: which they are, what the local clock calls them, the session moved there."""

import math
from dataclasses import replace
from datetime import datetime
from typing import NamedTuple

from thermosim.clock import clock_seconds
from thermosim.errors import InputError
from thermosim.inputs.checks import shown
from thermosim.inputs.plain import array
from thermosim.inputs.weather_sun import clock_of, later
from thermosim.study.ensemble import sheets_of

EVERY_MIN = 60.0
MOST_STARTS = 240
HOUR_S, DAY_S = 3600.0, 86400.0
SLACK_S = 1e-6


class Start(NamedTuple):
    """One possible start: seconds of the weather, and what it is called."""

    at_s: float
    label: str


class Local(NamedTuple):
    """What the local clock shows: days since the weather began, seconds since midnight, the offset if it shows it twice."""

    day: int
    clock_s: float
    offset: str


class Window(NamedTuple):
    """Clock times [s since midnight] between which starts are wanted; None is open."""

    first_s: float | None
    last_s: float | None

    def holds(self, clock_s: float) -> bool:
        """Return whether a clock time lies in the window; ``last`` before ``first`` goes over midnight."""
        low, high = self.first_s or 0.0, DAY_S if self.last_s is None else self.last_s
        return low <= clock_s <= high if low <= high else clock_s >= low or clock_s <= high


def possible_starts(session, *, first: str | None = None, last: str | None = None, every_min: float = EVERY_MIN) -> list[Start]:
    """Return the starts at which the weather covers the whole effort.

    They are counted from ``first`` on, every day anew; without it from the session's own start, before and after it (its
    ``start``, else the first row of its weather).

    Parameters
    ----------
    first, last : str, optional
        Clock times, ``"05:00"``; starts outside them are left out, ``last`` before ``first`` goes over midnight.
    every_min : float
        Time between starts [min].

    Raises
    ------
    InputError
        Steady weather, a weather that ends before the run does, no start left, too many.
    """
    weather = session.weather
    if weather.steady_air:
        problem = "is steady, so that every hour is the same"
        raise InputError(problem, field="weather", remedy="give a weather sheet, or a station file with start and hours")
    if isinstance(every_min, bool) or not isinstance(every_min, int | float) or not 5.0 <= every_min <= 1440.0:
        raise InputError(f"is {shown(every_min)}, allowed is 5 to 1440 min", field="every_min", remedy="60 is every hour")
    begin, latest = first_and_latest(session)
    window = window_of(weather, first, last)
    found = [
        Start(at, label_of(weather, at))
        for at in _grid(weather, window, begin, latest, 60.0 * every_min)
        if window == Window(None, None) or window.holds(local_of(weather, at).clock_s)
    ]
    if not found:
        asked = " ".join(f"{name} {text}" for name, text in (("from", first), ("to", last)) if text is not None)
        problem = (
            f"has no start {asked}: a run of {session.effort.minutes:.4g} min fits into it from "
            f"{label_of(weather, begin)} to {label_of(weather, latest)}"
        )
        raise InputError(problem, field="weather", remedy="give more hours, shorten the effort, or widen --first and --last")
    if len(found) > MOST_STARTS:
        problem = f"gives {len(found)} starts, allowed are up to {MOST_STARTS}"
        raise InputError(problem, field="weather", remedy="narrow it with --first and --last, or widen --every-min")
    return found


def first_and_latest(session) -> tuple[float, float]:
    """Return the first and the latest second of the weather (of all its sheets) from which it covers the whole effort."""
    sheets = sheets_of(session)
    begin, end = max(float(one.time_s[0]) for one in sheets), min(float(one.time_s[-1]) for one in sheets)
    return begin, end - 60.0 * session.effort.minutes


def window_of(weather, first: str | None, last: str | None) -> Window:
    """Return the window of two clock times; refuse one that is none, and any where the weather has no clock."""
    return Window(*(None if text is None else _clock_s(weather, name, text) for name, text in (("first", first), ("last", last))))


def _clock_s(weather, name: str, text: str) -> float:
    seconds = clock_seconds(text) if isinstance(text, str) else None
    if weather.start_clock_s is None:
        raise InputError(f"is {shown(text)}, but the weather has no clock", field=name, remedy="give the weather sheet a clock")
    if seconds is None:
        raise InputError(f'is {shown(text)}, allowed is "HH:MM"', field=name, remedy='write e.g. "05:00"')
    return seconds % DAY_S if name == "first" else seconds


def _grid(weather, window: Window, begin: float, latest: float, step: float) -> list[float]:
    """Return seconds of the weather from its start on, and backwards; from the window's first clock time anew each day."""
    if window.first_s is None:
        lowest, highest = math.ceil((begin - SLACK_S) / step), math.floor((latest + SLACK_S) / step)
        return [step * k for k in range(lowest, highest + 1)]
    open_end = window.last_s is None or window.last_s == DAY_S
    span = DAY_S - window.first_s if open_end else (window.last_s - window.first_s) % DAY_S
    found: set[float] = set()
    for day in range(-1, math.ceil((latest - begin) / DAY_S) + 2):
        at = begin + window.first_s - local_of(weather, begin).clock_s + DAY_S * day
        at += _signed(window.first_s - local_of(weather, at).clock_s)  # the clocks may have changed in between
        found |= {round(at + step * k, 3) for k in range(math.floor((span + SLACK_S) / step) + 1)}
    return sorted(at for at in found if begin - SLACK_S <= at <= latest + SLACK_S)


def _signed(clock_s: float) -> float:
    """Return a difference of clock times as the nearest one, from minus to plus half a day."""
    return (clock_s + 0.5 * DAY_S) % DAY_S - 0.5 * DAY_S


def local_of(weather, at_s: float) -> Local:
    """Return what the local clock shows at a second of the weather; a change of clocks is followed where the zone is known."""
    first = float(weather.time_s[0])
    if "start" in weather.given:
        moved = later(weather.given, at_s)
        moment, before = datetime.fromisoformat(moved["start"]), datetime.fromisoformat(later(weather.given, first)["start"])
        twice = "time_zone" in weather.given and "time_zone" not in moved
        clock_s = 3600.0 * moment.hour + 60.0 * moment.minute + moment.second
        return Local((moment.date() - before.date()).days, clock_s, f" (UTC{moment.isoformat()[-6:]})" if twice else "")
    clock = weather.start_clock_s or 0.0
    seconds = float(round(at_s + clock))
    return Local(int(seconds // DAY_S - (first + clock) // DAY_S), seconds % DAY_S, "")


def label_of(weather, at_s: float) -> str:
    """Return what a start is called: its clock, with the day where the weather runs over several; or minutes."""
    if weather.start_clock_s is None:
        return f"minute {at_s / 60.0:g}"
    day, clock_s, offset = local_of(weather, at_s)
    text = f"{int(clock_s // HOUR_S):02d}:{int(clock_s % HOUR_S // 60):02d}{offset}"
    if local_of(weather, float(weather.time_s[-1]) - 1.0).day == 0:
        return text
    if "start" in weather.given:
        date = later(weather.given, at_s)["start"]
        return f"{date[8:10]}.{date[5:7]}. {text}"
    return f"day {day + 1} {text}"


def at_start(session, at_s: float):
    """Return the session with its weather (and forecast) moved so that it starts then; the sun's path is not found anew."""
    forecast = session.forecast
    if forecast is not None and forecast.sheets:
        forecast = replace(forecast, sheets=tuple(moved(sheet, at_s) for sheet in forecast.sheets))
    weather = forecast.sheets[0] if forecast is not None and forecast.sheets else moved(session.weather, at_s)
    return replace(session, weather=weather, forecast=forecast, start_clock="")


def moved(weather, by_s: float):
    """Return the same weather with time 0 moved ``by_s`` later."""
    given = later({**weather.given, "time_s": [second - by_s for second in weather.given["time_s"]]}, by_s)
    clock = None if weather.start_clock_s is None else (weather.start_clock_s + by_s) % DAY_S
    clock = clock_of(given) if "start" in given else clock
    return replace(weather, time_s=array(weather.time_s - by_s), given=given, start_clock_s=clock)


def left_out(session, starts: list[Start], every_min: float, window: Window) -> str | None:
    """Return a sentence on later starts of the window that are none, because the weather ends before the run would."""
    following = starts[-1].at_s + 60.0 * every_min
    end_s = min(float(sheet.time_s[-1]) for sheet in sheets_of(session))
    clock_known = session.weather.start_clock_s is not None
    if following <= first_and_latest(session)[1] + SLACK_S or following > end_s:
        return None
    if clock_known and not window.holds(local_of(session.weather, following).clock_s):
        return None
    return (
        f"Starts after {starts[-1].label} are left out: the weather ends before a run of {session.effort.minutes:.4g} min would."
    )
