"""Reference limits of wet-bulb globe temperature by work rate: the table of ISO 7243 and its smooth form."""

import math
from typing import NamedTuple


class WorkClass(NamedTuple):
    """One line of the table: work rate [W] of a standard person (1.8 m²), and the two limits [°C]."""

    number: int
    words: str
    metabolic_W: float
    acclimatised_C: float
    unacclimatised_C: float


# ISO 7243:2017, annex A (from memory, high confidence). For healthy people in light work clothes, rectal temperature at or
# below 38.0 °C over a working day; made for work, not for races.
WORK_CLASSES = (
    WorkClass(0, "rest", 115.0, 33.0, 32.0),
    WorkClass(1, "low", 180.0, 30.0, 29.0),
    WorkClass(2, "moderate", 300.0, 28.0, 26.0),
    WorkClass(3, "high", 415.0, 26.0, 23.0),
    WorkClass(4, "very high", 520.0, 25.0, 20.0),
)
STANDARD_SURFACE_M2 = 1.8  # of the table's person
# A work rate belongs to the class in whose interval it lies [W]; the ends are those of the standard's table of work rates.
_CLASS_ENDS_W = (125.0, 235.0, 360.0, 465.0)


class ReferenceLimit(NamedTuple):
    """A limit [°C]: by class, by the smooth form, and whether the work is harder than the table's hardest line."""

    work_class: WorkClass
    limit_C: float
    smooth_C: float
    beyond_table: bool


def work_class(metabolic_W: float) -> WorkClass:
    """Return the class of a work rate [W].

    Examples
    --------
    >>> work_class(300.0).words, work_class(900.0).words
    ('moderate', 'very high')
    """
    return WORK_CLASSES[sum(metabolic_W > end for end in _CLASS_ENDS_W)]


def smooth_limit(metabolic_W: float, acclimatised: bool) -> float:
    """Return the limit [°C] as a smooth function of work rate [W], for about 115 to 520 W.

    ``56.7 - 11.5 log10 M`` for acclimatised people, ``59.9 - 14.1 log10 M`` for others.

    References
    ----------
    NIOSH 2016, criteria for occupational exposure to heat (from memory, high confidence).

    Examples
    --------
    >>> [round(smooth_limit(watts, acclimatised), 1) for watts in (300.0, 520.0) for acclimatised in (True, False)]
    [28.2, 25.0, 25.5, 21.6]
    """
    logarithm = math.log10(metabolic_W)
    return 56.7 - 11.5 * logarithm if acclimatised else 59.9 - 14.1 * logarithm


def reference_limit(metabolic_W: float, acclimatised: bool, surface_area_m2: float = STANDARD_SURFACE_M2) -> ReferenceLimit:
    """Return the reference limit of a work rate [W] of a person with a body surface [m²].

    The table's watts are those of 1.8 m², so the rate is scaled by surface first. Runners mostly lie beyond its last line:
    ``beyond_table`` is then true, the class's limit is the hardest the standard has, and the smooth form extrapolates.

    Examples
    --------
    >>> reference_limit(300.0, True).limit_C, reference_limit(300.0, False).limit_C
    (28.0, 26.0)
    >>> reference_limit(858.0, True).beyond_table
    True
    """
    standard_W = metabolic_W * STANDARD_SURFACE_M2 / surface_area_m2
    found = work_class(standard_W)
    limit = found.acclimatised_C if acclimatised else found.unacclimatised_C
    beyond = standard_W > WORK_CLASSES[-1].metabolic_W
    return ReferenceLimit(found, limit, smooth_limit(standard_W, acclimatised), beyond)
