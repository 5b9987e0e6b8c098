"""What each assumed input changes: the run again at both ends of its declared range, one at a time."""

from thermosim.story import simulate_session
from thermosim.variables import INPUTS


def effects_of_assumed(session, variant=None, overrides=None) -> list[dict]:
    """Return, for each entry of the session's ``[assumed]`` table, what its range does to the end of the run.

    Parameters
    ----------
    session : Session
    variant : str, optional
        Variant to run; the first unless named.
    overrides : dict, optional
        Parameter values that replace the table's.

    Returns
    -------
    list of dict
        ``name, unit, value, low, high``, ``core_effect_K`` and ``heart_rate_effect_bpm``: change at the end of the
        run at the low and at the high end of the range, against the value given.
    """
    if not session.assumed:
        return []
    centre = simulate_session(session, variant, overrides=overrides)
    rows = []
    for name, (low, high) in session.assumed.items():
        ends = [
            simulate_session(session.with_overrides({name: bound}), variant, overrides=overrides)
            for bound in (low, high)
        ]
        rows.append(
            {
                "name": name,
                "unit": INPUTS[name].unit,
                "value": value_of(session, name),
                "low": low,
                "high": high,
                "core_effect_K": [
                    float(end.core_temperature[-1] - centre.core_temperature[-1]) for end in ends
                ],
                "heart_rate_effect_bpm": [float(end.heart_rate[-1] - centre.heart_rate[-1]) for end in ends],
            }
        )
    return rows


def value_of(session, name):
    """Return the value a session gives to a field of its runner or its steady weather."""
    found = getattr(session.runner, name, None)
    if found is None:
        found = session.weather.given.get(name)
    return float(found) if isinstance(found, int | float) else None
