"""Skin blood flow from core and skin, its ceiling in exercise, cold constriction, local factors."""

from thermosim._jit import compiled


@compiled
def flow_ceiling(rest_L_min, exercise_L_min, intensity, intensity_of_full_effect):
    """Largest skin blood flow [L/min] at a relative intensity (oxygen uptake over maximal).

    Falls in a straight line from the resting ceiling to the exercise ceiling: working muscle competes.

    References
    ----------
    Gonzalez-Alonso 1999 (flattening near core 38 °C in exercise); about half of the resting ceiling in hard work.

    Examples
    --------
    >>> flow_ceiling(7.0, 2.0, 0.8, 0.5)
    2.0
    """
    share = min(max(intensity / intensity_of_full_effect, 0.0), 1.0)
    return rest_L_min + (exercise_L_min - rest_L_min) * share


@compiled
def central_flow(rest_L_min, gain_L_min_K, drive_K, ceiling_L_min, cold_K, constriction_1_K):
    """Whole-body skin blood flow [L/min] before local factors: ``(rest + gain * drive) / (1 + s * cold)``, sharp ceiling.

    References
    ----------
    Form of the two-node model (ASHRAE Fundamentals); sharp ceiling by the experiments of our evidence.

    Examples
    --------
    >>> central_flow(0.4, 4.0, 10.0, 2.4, 0.0, 0.5)
    2.4
    """
    wanted = (rest_L_min + gain_L_min_K * max(drive_K, 0.0)) / (1.0 + constriction_1_K * max(cold_K, 0.0))
    return min(wanted, ceiling_L_min)


@compiled
def local_flow_factor(local_skin_C, cold_C, warm_C, floor):
    """Local multiplier on skin flow [1] under a cold surface: from ``floor`` at ``cold_C`` to 1 at ``warm_C``.

    Examples
    --------
    >>> local_flow_factor(21.0, 10.0, 32.0, 0.1)
    0.55
    """
    share = (local_skin_C - cold_C) / (warm_C - cold_C)
    return floor + (1.0 - floor) * min(max(share, 0.0), 1.0)
