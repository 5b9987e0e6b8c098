"""What recent days in the heat change in the controllers, the glands and the plasma: gained, and kept."""

import math
from typing import NamedTuple


class Adapted(NamedTuple):
    """Shares of full adaptation [1], internal to the model: reports tell bpm, °C and sweat, never these.

    ``heart`` moves the thresholds of sweating and skin flow, and with them core and heart rate; ``sweat`` the gain and ceiling
    of sweating and the wettedness limit; ``plasma`` the heart's work part, only where exposures are listed.
    """

    heart: float
    sweat: float
    plasma: float


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


def adapted_by_days(heat_days: float, scale_days: float) -> Adapted:
    """Return the adaptation of a plain number of heat days: one course for all, as the calibration had it.

    What plasma gained is not told apart there: the fitted thresholds hold what heart rate showed.
    """
    share = heat_days_effect(heat_days, scale_days)
    return Adapted(share, share, 0.0)


def gained_and_kept(days: dict[int, float], scale_days: float, decay_1_d: float, dose_minutes: float) -> tuple[float, float]:
    """Return the share of full adaptation [1] after the last heat day, and what is left of it on the day of the run.

    A heat day closes ``1 - exp(-dose / scale)`` of what is still open, so the gain flattens to a plateau; each day without heat,
    between exposures too, loses a share of what there is. A day's dose is its minutes over those of a full heat day, at most one.

    Parameters
    ----------
    days : dict
        Days before the run (1 or more) -> minutes in the heat that day.
    scale_days : float
        Full heat days to 63 % of the plateau [days].
    decay_1_d : float
        Share of the gain lost in a day without heat [1/day].
    dose_minutes : float
        Minutes of exercise in heat that make a full heat day [min].

    References
    ----------
    Decay of 2 to 3 % a day and the days of gain: common practice, no source.

    Examples
    --------
    Five full days up to the eve: nothing is lost; ten days later a quarter is, at 2.5 % of what is left a day.

    >>> week = {day: 60.0 for day in range(1, 6)}
    >>> [round(share, 3) for share in gained_and_kept(week, 5.0, 0.025, 60.0)]
    [0.632, 0.632]
    >>> [round(share, 3) for share in gained_and_kept({day + 10: 60.0 for day in week}, 5.0, 0.025, 60.0)]
    [0.632, 0.491]
    """
    share = gained = 0.0
    for day in range(max(days, default=0), 0, -1):
        dose = min(days.get(day, 0.0) / dose_minutes, 1.0)
        if dose > 0.0:
            share += (1.0 - share) * (1.0 - math.exp(-dose / scale_days))
            gained = share
        else:
            share *= 1.0 - decay_1_d
    return gained, share


def adapted_by_exposures(
    days: dict[int, float], scale_days: float, scale_sweat_days: float, decay_1_d: float, dose_minutes: float
) -> tuple[Adapted, Adapted]:
    """Return what heat days gained and what is kept: core and heart on one scale of days, sweating on a longer one.

    Arguments as in :func:`gained_and_kept`, with the two scales [days].
    """
    heart = gained_and_kept(days, scale_days, decay_1_d, dose_minutes)
    sweat = gained_and_kept(days, scale_sweat_days, decay_1_d, dose_minutes)
    gained, kept = (Adapted(heart[k], sweat[k], heart[k]) for k in (0, 1))
    return gained, kept


def plasma_share_of_work(spared_bpm: float, resting_bpm: float, maximum_bpm: float) -> float:
    """Return the share of the work part of heart rate [1] that more plasma spares, from beats spared at maximal work [bpm].

    More plasma fills the heart better: each beat carries more, so that the share is the same at any work.

    Examples
    --------
    >>> round(plasma_share_of_work(7.0, 50.0, 190.0), 3)
    0.05
    """
    return spared_bpm / (maximum_bpm - resting_bpm)
