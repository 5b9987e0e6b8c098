"""Heart rate as parts that add up, and what a chest strap makes of it."""

import numpy as np

from thermosim._jit import compiled


@compiled
def work_part(oxygen_demand_W, resting_W, maximal_W, resting_bpm, maximum_bpm):
    """Heart rate above rest that work alone asks for in the cool [bpm]: share of reserve, never above the reserve.

    Heart-rate reserve is taken in proportion to oxygen-uptake reserve; powers stand for uptakes [W].

    References
    ----------
    %HRR about equal to %VO2 reserve (ACSM; from memory, high confidence).

    Examples
    --------
    >>> work_part(550.0, 100.0, 1000.0, 50.0, 190.0)
    70.0
    """
    share = (oxygen_demand_W - resting_W) / (maximal_W - resting_W)
    return (maximum_bpm - resting_bpm) * min(max(share, 0.0), 1.0)


@compiled
def thermal_parts(
    core_C, core_reference_C, core_bpm_K, mean_skin_C, skin_floor_C, skin_reference_C, skin_bpm_K
):
    """Core and skin parts of heart rate [bpm], each linear about its reference; skin below a floor lowers no further."""
    from_core = core_bpm_K * (core_C - core_reference_C)
    from_skin = skin_bpm_K * (max(mean_skin_C, skin_floor_C) - skin_reference_C)
    return from_core, from_skin


def observe_heart_rate(
    heart_rate_bpm, step_s, rng, *, noise_bpm=2.0, correlation_s=20.0, lag_s=3.0, dropout=0.0
):
    """Return what a strap would record: lagged, with correlated noise, whole beats, samples lost as NaN.

    Parameters
    ----------
    heart_rate_bpm : array_like, shape (n,)
        Modelled heart rate [bpm] at equal steps.
    step_s : float
        Time between samples [s].
    rng : numpy.random.Generator
        Source of the noise.
    noise_bpm, correlation_s, lag_s : float
        Standard deviation [bpm], correlation time [s] and averaging lag [s] of strap and watch (common practice).
    dropout : float
        Share of samples lost [1].

    Returns
    -------
    numpy.ndarray, shape (n,)
        Recorded heart rate [bpm]; NaN where a sample was lost.
    """
    true = np.asarray(heart_rate_bpm, dtype=float)
    keep_lag, keep_noise = np.exp(-step_s / max(lag_s, 1e-9)), np.exp(-step_s / max(correlation_s, 1e-9))
    innovations = rng.normal(0.0, noise_bpm * np.sqrt(1.0 - keep_noise**2), true.size)
    recorded, level, noise = np.empty(true.size), true[0], rng.normal(0.0, noise_bpm)
    for i in range(true.size):
        level = true[i] + (level - true[i]) * keep_lag
        noise = noise * keep_noise + innovations[i]
        recorded[i] = np.round(level + noise)
    recorded[rng.random(true.size) < dropout] = np.nan
    return recorded
