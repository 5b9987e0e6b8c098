"""Moments of a plan: minutes, clock times, kilometres, rules; and the timetable that makes them minutes of one effort."""

import dataclasses
import functools
import re
from typing import NamedTuple

import numpy as np

from thermosim.clock import clock_seconds, clock_text
from thermosim.errors import InputError

SHORTEST_STOP_S, STANDING_M_S = 10.0, 0.05  # a stop is a pause of this length or longer below this speed
SHORTEST_EVERY = {"min": 0.5, "km": 0.05}
SAME_MIN, SAME_KM = 1e-6, 1e-7  # closer than this is the same moment, the same place
_ALLOWED = (
    "allowed are minutes (12.5), a clock time (05:40), a distance (7.0 km), 'every 20 min from 10 min to 60 min', "
    "'every 5 km', 'at stops' and 'when spent'"
)
_NUMBER = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_AT = rf"{_NUMBER}(?: ?(?:min|km))?|[0-9]{{1,2}}:[0-5][0-9](?::[0-5][0-9])?"
_EVERY = re.compile(rf"every ({_NUMBER}) ?(min|km)(?: from ({_AT}))?(?: to ({_AT}))?")


class At(NamedTuple):
    """One moment: minutes, kilometres or seconds of the clock."""

    number: float
    unit: str  # min, km or clock
    text: str


class Rule(NamedTuple):
    """Moments that a rule names: every so many min or km, at stops, or when a store is spent."""

    unit: str  # min, km, stops or spent
    every: float
    first: At | None
    last: At | None
    text: str


def parse(given) -> At | Rule:
    """Return the moment or rule that a text (or a number of minutes) names.

    >>> parse("7.0 km").number, parse("every 20 min from 10 min").first.number, parse("at stops").unit
    (7.0, 10.0, 'stops')
    """
    text = " ".join(str(given).lower().split())
    if re.fullmatch(_AT, text):
        return _moment(text)
    if text in ("at stops", "when spent"):
        return Rule(text.rpartition(" ")[2], 0.0, None, None, text)
    if found := _EVERY.fullmatch(text):
        every, unit, first, last = float(found[1]), found[2], found[3], found[4]
        if every < SHORTEST_EVERY[unit]:
            raise InputError(f"is {text!r}, allowed is every {SHORTEST_EVERY[unit]:g} {unit} or more", field="at",
                             remedy="give a longer interval")  # fmt: skip
        return Rule(unit, every, first and _moment(first), last and _moment(last), text)
    if text.startswith("when "):
        raise InputError(f"is {text!r}, allowed after 'when' is 'spent' alone", field="at",
                         remedy="a plan must not be ruled by modelled core or by anything else the model says of the runner, "
                                "so plan by minutes, clock, distance, stops or 'when spent'")  # fmt: skip
    raise InputError(f"is {text!r}, {_ALLOWED}", field="at", remedy="write one of these, with a decimal point")


def _moment(text: str) -> At:
    clock_s = clock_seconds(text)
    if clock_s is not None:
        return At(clock_s, "clock", text)
    number = float(re.match(_NUMBER, text)[0])  # type: ignore[index]
    return At(number, "km" if text.endswith("km") else "min", text)


@dataclasses.dataclass(frozen=True, eq=False)
class Timetable:
    """Where the runner is when.

    Parameters
    ----------
    edges_s : array (n + 1,)
        Ends of the pieces of constant speed [s from the start].
    speed_m_s : array (n,)
        Speed of each [m/s].
    start_clock_s : float, optional
        Clock time of the start [s since midnight].
    """

    edges_s: np.ndarray
    speed_m_s: np.ndarray
    start_clock_s: float | None = None

    @functools.cached_property
    def edges_km(self) -> np.ndarray:
        """Distance at each edge [km]."""
        return np.append(0.0, np.cumsum(self.speed_m_s * np.diff(self.edges_s))) / 1000.0

    @property
    def end_min(self) -> float:
        """End of the effort [min]."""
        return float(self.edges_s[-1]) / 60.0

    def km_at(self, minute: float) -> float:
        """Return the distance at a minute [km]."""
        return float(np.interp(60.0 * minute, self.edges_s, self.edges_km))

    def minute(self, at: At) -> float:
        """Return a moment in minutes from the start; a distance is the first time that it is reached.

        Raises
        ------
        InputError
            A distance beyond the course, a clock time beyond the run, or one without the clock time of the start.
        """
        if at.unit == "km":
            return self._minute_at_km(at)
        if at.unit == "clock":
            return self._minute_at_clock(at)
        return at.number

    def _minute_at_km(self, at: At) -> float:
        km, total = self.edges_km, float(self.edges_km[-1])
        if at.number > total + SAME_KM:
            raise InputError(f"is {at.text}, but the course is {total:.6g} km long", field="at",
                             remedy=f"give a distance of up to {total:.6g} km, or a longer effort")  # fmt: skip
        edge = int(np.searchsorted(km, at.number - SAME_KM))
        if edge == 0:
            return float(self.edges_s[0]) / 60.0
        later = self.edges_s[edge - 1] + 1000.0 * (at.number - km[edge - 1]) / self.speed_m_s[edge - 1]
        return float(min(later, self.edges_s[edge])) / 60.0

    def _minute_at_clock(self, at: At) -> float:
        if self.start_clock_s is None:
            raise InputError(f"is {at.text}, but the session has no clock time of its start", field="at",
                             remedy='write start_clock = "05:00" in the session, or give minutes')  # fmt: skip
        minute = ((at.number - self.start_clock_s) % 86400.0) / 60.0
        if minute > self.end_min + SAME_MIN:
            begins = clock_text(self.start_clock_s)
            raise InputError(f"is {at.text}, but the run lasts {self.end_min:.6g} min from {begins}", field="at",
                             remedy="correct the clock time, or start_clock")  # fmt: skip
        return minute

    def stops(self) -> list[tuple[float, float]]:
        """Return the pauses of the effort, (from, to) [min].

        >>> Timetable(np.array([0.0, 600.0, 660.0, 900.0]), np.array([3.0, 0.0, 3.0])).stops()
        [(10.0, 11.0)]
        """
        still = np.append(np.append(False, self.speed_m_s < STANDING_M_S), False)
        turns = np.flatnonzero(still[1:] != still[:-1])
        pauses = self.edges_s[turns].reshape(-1, 2)
        return [(float(a) / 60.0, float(b) / 60.0) for a, b in pauses if b - a >= SHORTEST_STOP_S]
