"""What recent days in the heat change in the controllers."""

import math


def heat_days_effect(heat_days: float, scale_days: float) -> float:
    """Return the share of full adaptation [1] after a number of heat days: ``1 - exp(-d / scale)``.

    Most of the gain comes in 5 to 7 days (common practice, no source). Internal to the model: reports tell bpm,
    °C and sweat, never this share.

    Examples
    --------
    >>> round(heat_days_effect(5.0, 5.0), 3)
    0.632
    """
    return 1.0 - math.exp(-max(heat_days, 0.0) / scale_days)
