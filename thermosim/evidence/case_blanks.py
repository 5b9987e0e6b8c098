"""Where blanks are named in a case, and what people, air and drinks become when numbers stand in their place."""

from collections.abc import Iterator
from dataclasses import fields
from itertools import accumulate
from typing import Any

from thermosim.errors import InputError
from thermosim.evidence import case_fields as f
from thermosim.evidence.worn import places_of, worn_in
from thermosim.inputs.checks import nearest, shown
from thermosim.inputs.flat import runner_record
from thermosim.inputs.humidity import vapour_pressure
from thermosim.inputs.runner import Runner

_PRESSURE_KPA = 101.325


def records_of(case: Any) -> Iterator[tuple[str, Any]]:
    """Yield (place, record) for every record in which a blank may be named."""
    if case.subjects is not None:
        yield from _people_records("subjects", case.subjects)
    for k, variant in enumerate(case.variants, start=1):
        place = f"variant[{k}]"
        yield from _people_records(f"{place}.subjects", variant.subjects)
        if variant.start is not None:
            yield f"{place}.start", variant.start
        for key, records in (("phase", variant.phases), ("cooling", variant.cooling)):
            yield from ((f"{place}.{key}[{j}]", record) for j, record in enumerate(records, start=1))
    yield from ((f"climate_limit[{k}]", one) for k, one in enumerate(case.climate_limits, start=1))


def _people_records(place: str, subjects: Any) -> Iterator[tuple[str, Any]]:
    yield place, subjects
    if not isinstance(subjects.clothing, str):
        yield f"{place}.clothing", subjects.clothing


def check_blanks(case: Any) -> None:
    """Refuse a reference to no blank, a range that a field does not allow, and a blank that nothing uses."""
    blanks = {blank.name: blank for blank in case.blanks}
    used = set()
    for place, record in records_of(case):
        for name, blank in record.blanks_named():
            if blank not in blanks:
                close = nearest(blank, blanks)
                problem = f"is {shown('?' + blank)}, but there is no [[blank]] of that name"
                remedy = f'did you mean "?{close}"' if close else f'add [[blank]] with name = "{blank}"'
                raise InputError(problem, field=f"{place}.{name}", remedy=remedy)
            used.add(blank)
            allowed = record.range_of(name)
            for end in ("low", "high"):
                value = getattr(blanks[blank], end)
                if not allowed.low <= value <= allowed.high:
                    k = list(blanks).index(blank) + 1
                    problem = f"is {shown(value)}, allowed is {f.range_words(allowed)}, because {name} uses this blank"
                    raise InputError(problem, field=f"blank[{k}].{end}", remedy="correct the range of the blank")
    for k, name in enumerate(blanks, start=1):
        if name not in used:
            problem = f"is {shown(name)}, which nothing in the file uses"
            raise InputError(problem, field=f"blank[{k}].name", remedy=f'write "?{name}" where it belongs, or remove it')


def check_filled(case: Any) -> None:
    """Refuse people, air and drinks that cannot be, with the blanks at their centre, all low, and all high."""
    for end in ("value", "low", "high") if case.blanks else ("value",):
        numbers = {blank.name: getattr(blank, end) for blank in case.blanks}
        if case.subjects is not None:
            _people(case.subjects, numbers, "subjects")
        for k, variant in enumerate(case.variants, start=1):
            runner = _people(variant.subjects, numbers, f"variant[{k}].subjects")
            for j, phase in enumerate(variant.phases, start=1):
                _air(phase, numbers, f"variant[{k}].phase[{j}]")
            for j, one in enumerate(variant.cooling, start=1):
                if one.kind == "drink":
                    _drink(one, variant.subjects, numbers, f"variant[{k}].cooling[{j}]")
            _devices(variant, runner, numbers, f"variant[{k}]")


def _people(subjects: Any, numbers: dict[str, float], place: str) -> Runner:
    """Return the runner of a case; refuse people whose fields contradict each other."""
    given = {name: _number(getattr(subjects, name), numbers) for name in Runner.model_fields if hasattr(subjects, name)}
    if not isinstance(subjects.clothing, str):
        cloth = subjects.clothing
        given["clothing"] = {one.name: _number(getattr(cloth, one.name), numbers) for one in fields(cloth)}
    try:
        return Runner(**{name: value for name, value in given.items() if value is not None})
    except InputError as error:
        raise InputError(error.problem, field=f"{place}.{error.field}", remedy=error.remedy) from None


def _air(phase: Any, numbers: dict[str, float], place: str) -> None:
    """Refuse air that holds more water than it can (or less than none)."""
    forms = {name: _number(getattr(phase, name), numbers) for name in f.HUMIDITIES if getattr(phase, name) is not None}
    if "relative_humidity_pct" in forms:
        return
    try:
        vapour_pressure(forms, _number(phase.air_temperature_C, numbers), _PRESSURE_KPA)
    except InputError as error:
        raise InputError(error.problem, field=f"{place}.{error.field}", remedy=error.remedy) from None


def _drink(drink: Any, subjects: Any, numbers: dict[str, float], place: str) -> None:
    """Refuse ice in warm water, and portions that cannot be drunk at once."""
    warm, ice = _number(drink.temperature_C, numbers), _number(drink.ice_share, numbers)
    if ice and warm > 0.0:
        problem = f"is {shown(warm)} °C with ice_share {shown(ice)}, allowed with ice is up to 0 °C"
        remedy = "give the temperature of the ice or no ice_share"
        raise InputError(problem, field=f"{place}.temperature_C", remedy=remedy)
    mass_kg = _number(drink.mass_kg, numbers)
    if mass_kg is None:
        mass_kg = _number(drink.mass_g_kg, numbers) / 1000.0 * _number(subjects.mass_kg, numbers)
    portion = mass_kg / len(drink.at_min)
    if not 0.001 <= portion <= 2.0:
        problem = f"makes {len(drink.at_min)} portions of {portion:.3g} kg, allowed is 0.001 to 2 kg"
        raise InputError(problem, field=f"{place}.at_min", remedy="correct the mass or the minutes")


def _devices(variant: Any, runner: Runner, numbers: dict[str, float], place: str) -> None:
    """Refuse devices that cannot be made, that cover too much skin, or that take more places than a run can carry."""
    last = max((j for j, one in enumerate(variant.cooling, start=1) if one.kind == "device"), default=None)
    if last is None:
        return
    cooling = [one.with_numbers({name: numbers[blank] for name, blank in one.blanks_named()}) for one in variant.cooling]
    for j, one in enumerate(cooling, start=1):
        try:
            if one.kind == "device":
                one.worn()
        except InputError as error:
            raise InputError(error.problem, field=f"{place}.cooling[{j}].{error.field}", remedy=error.remedy) from None
    record, mass_kg = runner_record(runner)[0], runner.mass_kg
    for early in (True, False):
        phases = tuple(phase for phase in variant.phases if phase.preparation == early)
        if not phases:
            continue
        ends = list(accumulate(60.0 * phase.minutes for phase in phases))
        try:
            places_of(worn_in(cooling, phases, ends, mass_kg), record["area_m2"], ends[-1])
        except InputError as error:
            name = (error.field or "").rpartition(": ")[2] or "device"
            raise InputError(error.problem, field=f"{place}.cooling[{last}].{name}", remedy=error.remedy) from None


def _number(value: Any, numbers: dict[str, float]) -> Any:
    """Return the number of a blank; anything else as it is."""
    return numbers[value[1:]] if isinstance(value, str) and value.startswith("?") else value
