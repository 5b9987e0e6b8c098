"""From runs to numbers: every outcome of a case, at its centre, over its blanks, and for many parameter sets at once."""

import dataclasses
import itertools
import math
import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np

from thermosim.engine import nodes as n
from thermosim.engine.integrate import D_CAPACITY, D_CORE, D_HEART, D_SKIN, D_SKIN_FLOW, D_WETTEDNESS
from thermosim.engine.records import AROUND, IN_STOMACH
from thermosim.errors import NumericalFailure
from thermosim.evidence.case_fields import DEVICE_HEAT
from thermosim.evidence.climate import limit_of_climate
from thermosim.evidence.laws import evaluate
from thermosim.evidence.timeline import blanks_of, first_crossing, run_variant
from thermosim.parameters import value
from thermosim.physiology.energetics import mass_of_breath_gases

NOT_REACHED_RATE = 0.005 / 60.0  # K/s: slowest rise that a time beyond the end is carried on with
LONGEST_FACTOR = 3.0  # of the clock: where a time beyond the end stops counting
ONSET_L_H = 0.05  # sweat rate above its start that counts as onset
LAST_MINUTES_S = 300.0
MOST_CORNERS = 3  # blanks of which every corner is run; with more, one at a time and all together
_INTEGRALS = {"sweat_loss", "body_mass_loss", "evaporation", "required_evaporation", "metabolic_power", "storage"}
_MEAN_OF_INTEGRAL = {"evaporation", "required_evaporation", "metabolic_power", "storage", DEVICE_HEAT}


def series(run, quantity: str) -> np.ndarray:
    """Samples of a quantity over a run: temperatures [°C], heart rate [bpm], litres and kilograms; powers [W]."""
    states, rates, d = run.trajectory.states, run.trajectory.rates, run.trajectory.diagnostics
    if quantity in _MEAN_OF_INTEGRAL:
        return _power(rates, quantity, run.rows)
    return {
        "core_temperature": lambda: d[:, D_CORE],
        "rectal_temperature": lambda: states[:, n.RECTAL],
        "oesophageal_temperature": lambda: states[:, n.BLOOD],
        "gut_temperature": lambda: states[:, n.GUT],
        "mean_skin_temperature": lambda: d[:, D_SKIN],
        "heart_rate": lambda: d[:, D_HEART],
        "sweat_loss": lambda: states[:, n.SWEAT],
        "body_mass_loss": lambda: states[:, n.LOST] + _gas_mass(run),
        "sweat_rate": lambda: 3600.0 * rates[:, n.SWEAT],
        "evaporative_capacity_W_m2": lambda: d[:, D_CAPACITY] / run.runner[0]["surface_area_m2"],
        "skin_blood_flow": lambda: d[:, D_SKIN_FLOW],
        "skin_wettedness": lambda: d[:, D_WETTEDNESS],
    }[quantity]()


def _gas_mass(run) -> np.ndarray:
    """Mass lost as carbon dioxide over oxygen [kg], which scales cannot tell from water."""
    joules = run.trajectory.states[:, n.JOULES + n.METABOLIC]
    return mass_of_breath_gases(joules, value("respiratory_quotient"))


def _power(states_or_rates, quantity, rows=None) -> np.ndarray:
    """Powers from rates of the books [W], or their integrals from the books [J]."""
    if quantity == DEVICE_HEAT:
        return _heat_from_skin(states_or_rates, rows)
    terms = states_or_rates[:, n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS]
    if quantity == "evaporation":
        return -terms[:, n.EVAPORATION]
    if quantity == "metabolic_power":
        return terms[:, n.METABOLIC]
    if quantity == "required_evaporation":
        return terms.sum(axis=1) - terms[:, n.EVAPORATION]
    return terms.sum(axis=1)


def _heat_from_skin(states_or_rates, rows) -> np.ndarray:
    """Heat that devices, baths and poured water take from the skin, run-off included; what is in the stomach does not."""
    total = np.zeros(len(states_or_rates))
    for k, row in enumerate(() if rows is None else rows):
        base = n.BASE + k * n.ROW_SIZE
        if row["place"] != IN_STOMACH:
            total += states_or_rates[:, base + n.RUN_OFF]
        if row["place"] not in (IN_STOMACH, AROUND):  # cooler breath takes its heat from the airways
            total += states_or_rates[:, base + n.FROM_SKIN]
    return total


def read_run(run, read) -> float:
    """Read one outcome off a run; see ``docs/cases.md`` for what each way of reading means."""
    span = run.span(read.phase)
    times = run.trajectory.time_s
    if read.read in ("mean", "rate"):
        first = span.start_s + 60.0 * (read.from_min or 0.0)
        last = span.end_s if read.to_min is None else span.start_s + 60.0 * read.to_min
        last = min(last, span.end_s)
        return _over(run, read, first, last) if first < last else math.nan  # a stop rule ended it before
    values = series(run, read.quantity)
    if read.read == "time_to":
        return _time_to(times, values, read, span)
    if read.read == "onset":
        first = float(np.interp(span.start_s, times, values))
        crossed = first_crossing(times, values, first + ONSET_L_H, span.start_s)
        return ((span.end_s if crossed is None else crossed) - span.start_s) / 60.0
    moment = span.end_s if read.at_min is None else min(span.start_s + 60.0 * read.at_min, span.end_s)
    value = float(np.interp(moment, times, values))
    if read.read == "change":
        value -= float(np.interp(span.start_s, times, values))
    return value


def _over(run, read, first_s, last_s) -> float:
    """Mean or rate of a quantity between two times."""
    times = run.trajectory.time_s
    if read.read == "rate":
        values = series(run, read.quantity)
        change = np.interp(last_s, times, values) - np.interp(first_s, times, values)
        per = 3600.0 if read.quantity in _INTEGRALS else 60.0
        return float(per * change / (last_s - first_s))
    if read.quantity in _MEAN_OF_INTEGRAL:
        joules = _power(run.trajectory.states, read.quantity, run.rows)
        return float((np.interp(last_s, times, joules) - np.interp(first_s, times, joules)) / (last_s - first_s))
    values = series(run, read.quantity)
    inside = np.concatenate([[first_s], times[(times > first_s) & (times < last_s)], [last_s]])
    return float(np.trapezoid(np.interp(inside, times, values), inside) / (last_s - first_s))


def _time_to(times, values, read, span) -> float:
    """Minutes to a level; beyond the end carried on with the last minutes' rate, at most to three times the clock."""
    sign = -1.0 if read.rising is False else 1.0
    values, level = sign * values, sign * read.level
    crossed = first_crossing(times, values, level, span.start_s)
    if crossed is not None:
        return (crossed - span.start_s) / 60.0
    begin = max(span.end_s - LAST_MINUTES_S, span.start_s)
    end_value = float(np.interp(span.end_s, times, values))
    rate = (end_value - float(np.interp(begin, times, values))) / (span.end_s - begin)
    beyond = (level - end_value) / max(rate, NOT_REACHED_RATE)
    return min(span.end_s - span.start_s + beyond, LONGEST_FACTOR * (span.end_s - span.start_s)) / 60.0


def predict_case(case, overrides=None, blanks=None, runs=None) -> dict[str, float]:
    """Predict every outcome of a case.

    Parameters
    ----------
    case : Case
    overrides : dict, optional
        Parameter values by name.
    blanks : dict, optional
        Values of some blanks; the others stay at their centre.
    runs : dict, optional
        Is filled with the run of every variant that was read, None where it could not be finished.

    Returns
    -------
    dict
        Outcome id -> prediction in the outcome's unit; NaN where a run could not be finished.
    """
    values = {**blanks_of(case), **(blanks or {})}
    runs = {} if runs is None else runs

    def run_of(name):
        if name not in runs:
            variant = next(one for one in case.variants if one.name == name)
            try:
                runs[name] = run_variant(variant, values, overrides)
            except NumericalFailure:
                runs[name] = None
        return runs[name]

    def read_of(name, read):
        run = run_of(name)
        return math.nan if run is None else read_run(run, read)

    found = {}
    for identity, kind, thing in case.outcomes():
        if kind == "measured":
            variant, measured = thing
            found[identity] = read_of(variant.name, measured.read)
        elif kind == "contrast":
            read = thing.measured.read
            found[identity] = read_of(thing.variant, read) - read_of(thing.against, read)
        elif kind == "slope":
            found[identity] = _slope(thing, run_of, read_of)
        elif kind == "order":
            found[identity] = share_in_order([read_of(name, thing.measured.read) for name in thing.variants])
        elif kind == "climate_limit":
            variant = next(one for one in case.variants if one.name == thing.variant)
            found[identity] = limit_of_climate(variant, thing, values, overrides)
        elif kind == "law":
            found[identity] = evaluate(thing, case.file)
    return found


def share_in_order(values) -> float:
    """Share of neighbouring pairs that rise strictly."""
    rising = [later > earlier for earlier, later in itertools.pairwise(values)]
    return float(np.mean(rising))


def _slope(slope, run_of, read_of) -> float:
    read = slope.measured.read
    y = np.array([read_of(name, read) for name in slope.variants])
    x = []
    for name in slope.variants:
        run = run_of(name)
        if run is None:
            return math.nan
        if slope.over == "required_evaporation":
            x.append(read_run(run, dataclasses.replace(read, quantity=slope.over)))
        else:
            phase = run.phases[-1] if read.phase is None else next(p for p in run.phases if p.label == read.phase)
            x.append(getattr(phase, slope.over))
    return float(np.polyfit(np.array(x, dtype=float), y, 1)[0])


def blank_points(case) -> list[dict[str, float]]:
    """Return the combinations of blanks that a case is run over: all corners, or (many blanks) one at a time and all."""
    used = case.blanks
    if not used:
        return []
    if len(used) <= MOST_CORNERS:
        return [dict(zip([b.name for b in used], point, strict=True))
                for point in itertools.product(*[(b.low, b.high) for b in used])]  # fmt: skip
    singles = [{b.name: end} for b in used for end in (b.low, b.high)]
    together = [{b.name: getattr(b, end) for b in used} for end in ("low", "high")]
    return singles + together


def _job(item):
    case, overrides, blanks = item
    return predict_case(case, overrides, blanks)


def predict_jobs(jobs, progress=None, workers=None, work=_job) -> list:
    """Predict many ``(case, overrides, blanks)`` in order, over processes; the numbers do not depend on their number.

    ``work`` makes the result of one job, by default its predictions.
    """
    workers = workers or os.cpu_count() or 1
    jobs = list(jobs)
    if workers == 1 or len(jobs) < 4:
        return [_told(work(job), progress) for job in jobs]
    work(jobs[0])  # compile once, before the processes part
    with ProcessPoolExecutor(workers, mp_context=get_context("fork")) as pool:
        return [_told(found, progress) for found in pool.map(work, jobs, chunksize=max(1, len(jobs) // (16 * workers)))]


def _told(found, progress):
    if progress is not None:
        progress()
    return found


def predict_many(cases, overrides_list, workers=None) -> list[dict[str, float]]:
    """Predict all outcomes of all cases for each of many parameter sets, blanks at their centre."""
    jobs = [(case, overrides, None) for overrides in overrides_list for case in cases]
    found = predict_jobs(jobs, workers=workers)
    merged = []
    for k in range(len(overrides_list)):
        together: dict[str, float] = {}
        for one in found[k * len(cases) : (k + 1) * len(cases)]:
            together.update(one)
        merged.append(together)
    return merged


def blank_sensitivities(cases, overrides=None, workers=None) -> dict[str, dict[str, dict[str, float]]]:
    """Change of each outcome over each blank's whole range, per unit of the blank: case -> outcome -> blank."""
    asked = [(case, blank) for case in cases for blank in case.blanks]
    jobs = [(case, overrides, {blank.name: end}) for case, blank in asked for end in (blank.low, blank.high)]
    found = predict_jobs(jobs, workers=workers)
    slopes: dict[str, dict[str, dict[str, float]]] = {case.id: {} for case in cases}
    for (case, blank), low, high in zip(asked, found[::2], found[1::2], strict=True):
        for identity in low:
            slope = (high[identity] - low[identity]) / (blank.high - blank.low)
            slopes[case.id].setdefault(identity, {})[blank.name] = slope
    return slopes
