"""How the parts of a case must fit together, and the names of its outcomes.

Fields of an error are written as in the file, e.g. ``variant[2].phase[1].minutes``, so that its line can be found.
"""

from collections.abc import Iterator
from typing import Any

from thermosim.engine.nodes import MAX_ROWS
from thermosim.errors import InputError
from thermosim.evidence import case_fields as f
from thermosim.evidence.case_blanks import check_blanks, check_filled
from thermosim.inputs.checks import nearest, shown

_SLACK_MIN = 1e-9
_COMPARISONS = (("contrast", "contrasts"), ("slope", "slopes"), ("order", "orders"), ("climate_limit", "climate_limits"))


def check_case(case: Any) -> None:
    """Refuse a case whose parts do not fit together, with one :class:`InputError`."""
    _content(case)
    _once([blank.name for blank in case.blanks], "blank")
    _once([variant.name for variant in case.variants], "variant")
    _once([law.name for law in case.laws], "law")
    check_blanks(case)
    for k, variant in enumerate(case.variants, start=1):
        place = f"variant[{k}]"
        _phases(variant, place)
        for j, one in enumerate(variant.cooling, start=1):
            _cooling(variant, one, f"{place}.cooling[{j}]")
        _places(variant, place)
        for j, measured in enumerate(variant.measured, start=1):
            _read(variant, measured.read, f"{place}.measured[{j}]")
            _value(measured, f"{place}.measured[{j}]")
    _comparisons(case)
    check_filled(case)
    _outcomes(case)


def _content(case: Any) -> None:
    asked = [name for name in ("variant", "law", *(key for key, _ in _COMPARISONS)) if _parts(case, name)]
    if case.not_modelled and asked:
        problem = f"is given beside not_modelled, allowed is not_modelled or [[{asked[0]}]]"
        raise InputError(problem, field=f"{asked[0]}[1]", remedy="remove one of the two")
    if not case.not_modelled and not (case.variants or case.laws):
        problem = "is missing: no [[variant]] and no [[law]] stands in the file"
        raise InputError(problem, field="variant", remedy="add one, or not_modelled with the reason")
    if case.variants and case.subjects is None:
        raise InputError("is missing", field="subjects", remedy="add [subjects] with n, mass_kg, height_m, sex, clothing")


def _parts(case: Any, key: str) -> tuple:
    return getattr(case, f"{key}s")


def _once(names: list[str], key: str) -> None:
    for k, name in enumerate(names):
        if name in names[:k]:
            problem = f"is {shown(name)} a second time, allowed is each name once"
            raise InputError(problem, field=f"{key}[{k + 1}].name", remedy="rename one of the two")


def _known(name: str, names: list[str], what: str, place: str) -> None:
    if name in names:
        return
    close = nearest(name, names)
    remedy = f"did you mean {close}" if close else f"known are {', '.join(names)}" if names else f"add a {what}"
    raise InputError(f"is {shown(name)}, allowed is the name of a {what} of this case", field=place, remedy=remedy)


# --- one variant -------------------------------------------------------------------------------------------------


def clock_minutes(variant: Any) -> float:
    """Return where the clock of a variant ends [min] when no stop rule is met; it begins after the preparation."""
    return sum(phase.minutes for phase in variant.phases if not phase.preparation)


def _phases(variant: Any, place: str) -> None:
    if all(phase.preparation for phase in variant.phases):
        problem = "is true in every phase, needed is at least one phase on the clock, without preparation"
        field = f"{place}.phase[{len(variant.phases)}].preparation"
        raise InputError(problem, field=field, remedy="add a [[variant.phase]] after the preparation")
    labels: list[str] = []
    for j, phase in enumerate(variant.phases, start=1):
        here = f"{place}.phase[{j}]"
        if phase.preparation and not all(one.preparation for one in variant.phases[:j]):
            problem = "is true after a phase on the clock, allowed are leading phases only"
            raise InputError(problem, field=f"{here}.preparation", remedy="move the phase to the front")
        if phase.label and phase.label in labels:
            problem = f"is {shown(phase.label)} a second time, allowed is each label once in a variant"
            raise InputError(problem, field=f"{here}.label", remedy="rename one of the two")
        labels.append(phase.label)
        if phase.vo2max_pct is not None and variant.subjects.vo2max_mL_kg_min is None:
            problem = "needs vo2max_mL_kg_min, which is not given for the subjects"
            raise InputError(problem, field=f"{here}.vo2max_pct", remedy="add vo2max_mL_kg_min to [subjects]")


def _cooling(variant: Any, one: Any, place: str) -> None:
    if one.phase is not None:
        _known(one.phase, [phase.label for phase in variant.phases if phase.label], "phase", f"{place}.phase")
    last = clock_minutes(variant)
    if one.kind == "device":
        _worn_minutes(variant, one, place)
    for minute in one.at_min:
        if minute >= last:
            problem = f"has {shown(minute)} min, allowed is 0 to before {shown(last)} min, the clock of the variant"
            raise InputError(problem, field=f"{place}.at_min", remedy="correct the minute or lengthen the phases")


def _worn_minutes(variant: Any, one: Any, place: str) -> None:
    """Refuse a device that goes on, is refilled or comes off outside the phase (or clock) in which it is worn."""
    last, what = clock_minutes(variant), "the clock of the variant"
    if one.phase is not None:
        last = next(phase.minutes for phase in variant.phases if phase.label == one.phase)
        what = f"the phase {one.phase}"
    given = [("from_min", one.from_min), *(("refill_min", minute) for minute in one.refill_min)]
    for name, minute in given:
        if minute is not None and minute >= last:
            problem = f"has {shown(minute)} min, allowed is 0 to before {shown(last)} min, {what}"
            raise InputError(problem, field=f"{place}.{name}", remedy="correct the minute or lengthen the phase")
    if one.to_min is not None and one.to_min > last + _SLACK_MIN:
        problem = f"is {shown(one.to_min)} min, allowed is up to {shown(last)} min, {what}"
        raise InputError(problem, field=f"{place}.to_min", remedy="leave it out to wear the device to the end")


def _places(variant: Any, place: str) -> None:
    """Refuse more drinks, poured-on and bathed segments than one run can carry."""
    before = {phase.label for phase in variant.phases if phase.preparation and phase.label}
    taken = {True: 0, False: 0}  # in the preparation, on the clock: each is a run of its own
    for j, one in enumerate(variant.cooling, start=1):
        segments = f.IMMERSED.get(one.segments, ()) if isinstance(one.segments, str) else one.segments
        early = one.phase is not None and one.phase in before
        taken[early] += max(len(segments), 1)
        if taken[early] > MAX_ROWS:
            problem = f"makes {taken[early]} places on the body with what stands before it, allowed are {MAX_ROWS}"
            remedy = "name fewer segments, or give drinks of one kind as one drink with several minutes"
            raise InputError(problem, field=f"{place}.cooling[{j}].kind", remedy=remedy)


def _read(variant: Any, read: Any, place: str) -> None:
    if read.quantity == f.DEVICE_HEAT and not variant.cooling:
        problem = f"is {read.quantity}, which needs cooling, and the variant {shown(variant.name)} has none"
        raise InputError(problem, field=f"{place}.quantity", remedy="add [[variant.cooling]] or read another quantity")
    last, what = clock_minutes(variant), "the clock of the variant"
    if read.phase is not None:
        on_clock = [phase for phase in variant.phases if phase.label and not phase.preparation]
        _known(read.phase, [phase.label for phase in on_clock], "phase", f"{place}.phase")
        last = next(phase.minutes for phase in on_clock if phase.label == read.phase)
        what = f"the phase {read.phase}"
    for name in ("at_min", "from_min", "to_min"):
        minute = getattr(read, name)
        if minute is not None and not 0.0 <= minute <= last + _SLACK_MIN:
            problem = f"is {shown(minute)} min, allowed is 0 to {shown(last)} min, {what} ({shown(variant.name)})"
            raise InputError(problem, field=f"{place}.{name}", remedy="correct the minute or lengthen the phase")


def _value(measured: Any, place: str, difference: bool = False) -> None:
    read = measured.read
    units = f.unit_of(read.quantity, read.read, difference)
    if measured.unit not in units:
        problem = f"is {shown(measured.unit)}, allowed for {read.read} of {read.quantity} is {' or '.join(units)}"
        raise InputError(problem, field=f"{place}.unit", remedy="convert value, sd and tolerance to that unit")
    low, high = f.plausible(read.quantity)
    if not difference and read.read in ("value", "mean") and not low <= measured.value <= high:
        unit = "" if measured.unit == "1" else f" {measured.unit}"
        problem = f"is {shown(measured.value)}{unit}, allowed for {read.quantity} is {low:g} to {high:g}{unit}"
        raise InputError(problem, field=f"{place}.value", remedy="correct value or unit, or use read change for a difference")


# --- between variants --------------------------------------------------------------------------------------------


def _comparisons(case: Any) -> None:
    variants = {variant.name: variant for variant in case.variants}
    for key, plural in _COMPARISONS:
        for k, one in enumerate(getattr(case, plural), start=1):
            place = f"{key}[{k}]"
            for field, name in _named(key, one, place):
                _known(name, list(variants), "variant", f"{place}.{field}")
                _read(variants[name], one.measured.read, place)
            if key == "contrast":
                _value(one.measured, place, difference=True)
            elif key == "climate_limit":
                _climate(variants[one.variant], one, place)
            elif key == "slope" and one.over == "required_evaporation":
                if not f.unit_of("required_evaporation", one.measured.read.read):
                    problem = f"is {one.measured.read.read}, which required_evaporation does not have"
                    raise InputError(problem, field=f"{place}.read", remedy="use value, change or mean")


def _named(key: str, one: Any, place: str) -> list[tuple[str, str]]:
    """Return (field, name of a variant) for every variant that a comparison names."""
    if key == "climate_limit":
        return [("variant", one.variant)]
    if key == "contrast":
        if one.variant == one.against:
            problem = f"is {shown(one.against)}, the same variant as before, allowed is another one"
            raise InputError(problem, field=f"{place}.against", remedy="name two different variants")
        return [("variant", one.variant), ("against", one.against)]
    if len(one.variants) < 2:
        problem = f"has {len(one.variants)} name, needed are at least two variants"
        raise InputError(problem, field=f"{place}.variants", remedy='write variants = ["first", "second"]')
    return [("variants", name) for name in one.variants]


def _climate(variant: Any, limit: Any, place: str) -> None:
    if limit.measured.read.read != "value":
        problem = f"is {limit.measured.read.read}, allowed is value, the value at the end"
        raise InputError(problem, field=f"{place}.read", remedy='write read = "value"')
    if variant.phases[-1].outdoors:
        problem = f"is {shown(variant.name)}, which ends outdoors, allowed is a variant in still or fanned air"
        raise InputError(problem, field=f"{place}.variant", remedy="give air_speed_m_s in place of the wind")
    if limit.measured.unit != "°C":
        problem = f"is {shown(limit.measured.unit)}, allowed is °C (corrected effective temperature)"
        raise InputError(problem, field=f"{place}.unit", remedy="convert the value")


# --- outcomes ----------------------------------------------------------------------------------------------------


def _read_words(read: Any) -> str:
    """Return quantity, way of reading, phase and minutes in words, e.g. ``"heart_rate change, cycle, at 60 min"``."""
    words = [read.quantity if read.read == "value" else f"{read.quantity} {read.read}"]
    if read.read == "time_to":
        words[0] += f" {read.level:g}" + ("" if read.rising else " falling")
    words += [read.phase] if read.phase else []
    words += [f"at {read.at_min:g} min"] if read.at_min is not None else []
    words += [f"from {read.from_min:g} min"] if read.from_min is not None else []
    words += [f"to {read.to_min:g} min"] if read.to_min is not None else []
    return ", ".join(words)


def placed_outcomes(case: Any) -> Iterator[tuple[str, str, str, Any]]:
    """Yield (place in the file, id, kind, record) of every outcome; for a measured one (variant, measured)."""
    for k, variant in enumerate(case.variants, start=1):
        for j, measured in enumerate(variant.measured, start=1):
            name = f"{case.id}/{variant.name}/{_read_words(measured.read)}"
            yield f"variant[{k}].measured[{j}]", name, "measured", (variant, measured)
    titles = {
        "contrast": lambda one: f"{one.variant} minus {one.against}",
        "slope": lambda one: f"slope over {one.over} of {', '.join(one.variants)}",
        "order": lambda one: f"order of {', '.join(one.variants)}",
        "climate_limit": lambda one: f"climate limit of {one.variant}",
    }
    for key, plural in _COMPARISONS:
        for k, one in enumerate(getattr(case, plural), start=1):
            yield f"{key}[{k}]", f"{case.id}/{titles[key](one)}/{_read_words(one.measured.read)}", key, one
    for k, law in enumerate(case.laws, start=1):
        yield f"law[{k}]", f"{case.id}/{law.name}", "law", law


def outcomes_of(case: Any) -> list[tuple[str, str, Any]]:
    """Return (id, kind, record) of every outcome."""
    return [(name, kind, record) for _, name, kind, record in placed_outcomes(case)]


def _outcomes(case: Any) -> None:
    seen = set()
    for place, name, _, _ in placed_outcomes(case):
        if name in seen:
            problem = f"asks for {shown(name)} a second time, allowed is each outcome once"
            raise InputError(problem, field=place, remedy="remove one of the two")
        seen.add(name)
    if case.variants and not seen:
        problem = "asks for nothing: no [[variant.measured]] and no comparison stands in the file"
        raise InputError(problem, field="variant", remedy="add what was measured")
