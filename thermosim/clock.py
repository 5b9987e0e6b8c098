"""Clock times and paces as people write them: the one place that reads and writes ``HH:MM``."""

import math
import re


def clock_seconds(text: str) -> float | None:
    """Return the seconds since midnight of ``HH:MM`` or ``HH:MM:SS``, from 00:00 to 24:00; None for anything else.

    >>> clock_seconds("02:30"), clock_seconds("24:00"), clock_seconds("25:00"), clock_seconds("2.30")
    (9000.0, 86400.0, None, None)
    """
    found = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])(?::([0-5][0-9]))?", text)
    seconds = 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3] or 0) if found else math.inf
    return seconds if seconds <= 86400.0 else None


def clock_text(seconds: float, *, days: bool = False) -> str:
    """Return the clock time of seconds since midnight, to the minute; with ``days`` also how many midnights later.

    >>> clock_text(9000.0), clock_text(90000.0), clock_text(90000.0, days=True)
    ('02:30', '01:00', '01:00 +1 d')
    """
    later, minutes = divmod(round(seconds / 60.0), 1440)
    return f"{minutes // 60:02d}:{minutes % 60:02d}" + (f" +{later} d" if days and later else "")


def pace_text(speed_m_s: float) -> str:
    """Return minutes and seconds per km of a speed above 0 [m/s].

    >>> pace_text(3.3)
    '5:03'
    """
    seconds = round(1000.0 / speed_m_s)
    return f"{seconds // 60}:{seconds % 60:02d}"
