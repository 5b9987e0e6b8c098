"""What the ground of a course adds to each piece of an effort, and what is to be told of the course."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thermosim.inputs.plain import array, plain

COLUMNS = ("sun_left", "wind_left", "surface", "gait")


@dataclass(frozen=True, eq=False)
class Ground:
    """One value for each piece of an effort.

    Attributes
    ----------
    sun_left, wind_left : ndarray
        Share of the sun and of the wind that reaches the runner [1].
    surface : ndarray
        Multiplier of the cost of moving [1], beside the effort's own.
    gait : ndarray
        -1 as the effort says, else the gait of :mod:`thermosim.physiology.energetics`.
    course : dict
        What pictures and tables tell of the course, as plain values (:func:`thermosim.inputs.course_effort.told`).
    """

    sun_left: np.ndarray
    wind_left: np.ndarray
    surface: np.ndarray
    gait: np.ndarray
    course: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self):
        for name in COLUMNS:
            object.__setattr__(self, name, array(getattr(self, name)))

    def to_dict(self) -> dict[str, Any]:
        """Return all as plain values; ``Ground(**data)`` builds the same."""
        return {**{name: plain(getattr(self, name)) for name in COLUMNS}, "course": plain(self.course)}
