"""Humidity in any one of its written forms, brought to vapour pressure."""

from thermosim.errors import InputError
from thermosim.inputs.checks import allowed_range, with_unit

FORMS = (
    "vapour_pressure_kPa",
    "dew_point_C",
    "wet_bulb_C",
    "relative_humidity_pct",
)  # first one given counts
AGREE_KPA, AGREE_SHARE = 0.05, 0.02  # two forms within either of these agree
_ROUNDING = 1.005  # vapour pressures up to 0.5 % above saturation are taken as saturated air


def vapour_pressure(
    forms: dict[str, float], air_temperature_C: float, pressure_kPa: float, **place
) -> tuple[float, str]:
    """Return vapour pressure [kPa] and a note (empty unless several forms were given and agree).

    Parameters
    ----------
    forms : dict
        Humidity form -> value, each already within its range.
    air_temperature_C, pressure_kPa : float
        State of the air.
    place : optional
        ``file`` and ``line`` for errors.
    """
    if not forms:
        ways = ", ".join(f"{form} ({allowed_range(form)})" for form in sorted(FORMS, reverse=True))
        problem = "is missing: humidity has no default"
        raise InputError(problem, field="relative_humidity_pct", remedy=f"give one of {ways}", **place)
    pressures = {
        form: _one_form(form, forms[form], air_temperature_C, pressure_kPa, place)
        for form in FORMS if form in forms
    }  # fmt: skip
    first, *others = pressures
    for other in others:
        a, b = pressures[first], pressures[other]
        if abs(a - b) > max(AGREE_KPA, AGREE_SHARE * max(a, b)):
            problem = (
                f"is {with_unit(other, forms[other])} ({b:.2f} kPa) but {first} is "
                f"{with_unit(first, forms[first])} "
                f"({a:.2f} kPa): the two humidities disagree, allowed is {AGREE_KPA} kPa or {AGREE_SHARE:.0%}"
            )
            raise InputError(problem, field=other, remedy="keep the one that was measured", **place)
    note = f"{' and '.join(pressures)} agree: {first} is used." if others else ""
    return pressures[first], note


def _one_form(form: str, value: float, air_C: float, pressure_kPa: float, place: dict) -> float:
    from thermosim.physics.air import saturation_pressure, vapour_pressure_of_wet_bulb

    saturated = float(saturation_pressure(air_C))
    if form == "relative_humidity_pct":
        return value / 100.0 * saturated
    if form == "vapour_pressure_kPa":
        kPa = value
    elif form == "dew_point_C":
        kPa = float(saturation_pressure(value))
    else:
        kPa = float(vapour_pressure_of_wet_bulb(air_C, value, pressure_kPa))
    if kPa > _ROUNDING * saturated:
        limit = f"{saturated:.3g} kPa (saturated air)" if form == "vapour_pressure_kPa" else f"{air_C:g} °C"
        problem = (
            f"is {with_unit(form, value)}, allowed at an air temperature of {air_C:g} °C is up to {limit}"
        )
        raise InputError(problem, field=form, remedy=f"check {form} and air_temperature_C", **place)
    if kPa < 0.0:
        problem = (
            f"is {with_unit(form, value)}, below what dry air of {air_C:g} °C gives "
            f"(allowed is {_driest_wet_bulb(air_C, pressure_kPa):.1f} to {air_C:g} °C)"
        )
        raise InputError(problem, field=form, remedy=f"check {form} and air_temperature_C", **place)
    return min(kPa, saturated)


def _driest_wet_bulb(air_C: float, pressure_kPa: float) -> float:
    from thermosim.physics.air import vapour_pressure_of_wet_bulb

    low, high = -80.0, air_C
    for _ in range(40):
        middle = 0.5 * (low + high)
        dry = float(vapour_pressure_of_wet_bulb(air_C, middle, pressure_kPa)) < 0.0
        low, high = (middle, high) if dry else (low, middle)
    return high
