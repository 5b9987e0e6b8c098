"""The spread between people: ensembles drawn for the studies that publish one, held against it.

::

    python -m thermosim.evidence.spread [--seed 1] [--people 200] [--json]

Every person of a study's ensemble is drawn as in :mod:`thermosim.study.ensemble`: the population parameters by their ``sd``,
the body inside the study's group. Conditions that the paper leaves blank stay at their centre, and the air is one
for all, as in a laboratory. Where a case gives the power, no economy enters it; where it gives a share of maximal
uptake, each person works at that share of their own.

The residual error ``model_core_error_K`` is used as the package's ensembles use it: a constant of each person on what
the model says of core temperature. It moves a core temperature, and against it every level of core that was measured:
of a time, of a rule that stops a phase, of a stated start. In a change, a rate and a difference it cancels but for that.

Spreads of what has a true zero (times, water, rates of core, watts) grow with the mean. They are compared in per cent
of the mean, so that a miss of the mean, which the evidence table shows, is not made up for by a wider spread. The
comparison of the bare numbers stands beside it.
"""

import dataclasses
import json
import math
import os
import statistics
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Annotated, NamedTuple

import numpy as np
import typer
from scipy.stats import chi2

from thermosim.errors import InputError, NumericalFailure
from thermosim.evidence.command import run_command
from thermosim.evidence.outcomes import read_run
from thermosim.evidence.read_case import read_cases
from thermosim.evidence.table import CORE_SITES, shown
from thermosim.evidence.timeline import blanks_of, filled, run_variant
from thermosim.inputs.runner import Runner
from thermosim.parameters import PARAMETERS, value
from thermosim.study.ensemble import draw_persons, truncated
from thermosim.variables import INPUTS

PEOPLE = 200
HALF_WIDTH_90 = 1.645  # of a normal distribution, in standard deviations
ABSOLUTE = ("°C", "K", "bpm")  # spreads that do not grow with the mean
SHARE_LEFT_OUT = 0.05  # on one side: how seldom a small group shows a spread as small as it did
# Races, in which people choose the share of their maximal uptake and what they drink. How people differ in that, and within
# the group of a study where its own spread is not in the case, is in the parameter table (group_..., race_...).
RACES = ("AF3", "AF4", "AF5", "AF8", "B19")
LARGEST_DRAW_SDS = 2.5  # choices are drawn no farther from their mean
LEAST_DRINK = 0.1  # of the case's: everybody drinks something
# What the ensemble of a case does not draw and may be why it falls short; none of these reasons was tested.
NOT_DRAWN = {
    "A17": "the stop was 39.5 °C, 95 % of the largest heart rate or exhaustion, whichever came first",
    "A21": "how the capacity was found; here it hangs on skin temperature, size and moving limbs only",
    "AF3": "a slower pace late in the race, down to a walk: people were seen to finish at 35.6 °C, and pace is even here",
    "AF4": "pace of the last 10 km, which the study found to decide: it is even here",
    "A5": "in wind most of the ensemble balances below 39.2 °C, and its times end at the longest that is counted",
    "AF8": "power of each rider: a trial in the cool is ridden by plan, and all ride by one share of their maximum here",
    "AF5": "pacing", "B19": "where the thermometer lay in the gut",
    "B24": "repeatability of a person from one trial to the next, which a paired difference carries twice",
    "B29": "women and men in one group; the published spread is from memory",
    "B30": "six men and four women of 67.8 ± 10.7 kg in one group, drawn as one sex with a usual spread of mass",
    "B36": "what people did and how long it took between the end of work and the first reading",
}


@dataclasses.dataclass(frozen=True)
class SpreadRow:
    """One published standard deviation between people and the ensemble's.

    Parameters
    ----------
    id, case_id, kind, quantity, unit : str
        Outcome; ``kind`` is ``measured``, or ``contrast`` of a paired design, which carries the repeatability of both
        trials besides the difference between people.
    measured, published_sd, n : float, float, int
        Mean, standard deviation and number of people of the study.
    model_mean, people_sd, model_sd, half_width : float
        Of the ensemble: mean; standard deviation of the drawn people alone, then with the residual error of
        core temperature; half of the 90 % band, with it.
    lost : int
        People whose run could not be finished, or who are too small for the device that the study's people wore.
    scored : bool
        As in the case: times of exhaustion are behaviour and are not.
    """

    id: str
    case_id: str
    kind: str
    quantity: str
    unit: str
    measured: float
    published_sd: float
    n: int
    model_mean: float
    people_sd: float
    model_sd: float
    half_width: float
    lost: int
    scored: bool

    @property
    def scale(self) -> float:
        """What brings spreads of the ensemble to the published mean [1]: 1 for temperatures, heart rate and differences."""
        if self.kind == "contrast" or self.unit in ABSOLUTE or not self.measured * self.model_mean > 0.0:
            return 1.0
        return self.measured / self.model_mean

    @property
    def ratio(self) -> float:
        """Standard deviation of the ensemble over the published one [1]."""
        return self.scale * self.model_sd / self.published_sd

    @property
    def needed(self) -> float:
        """Half of the 90 % band of the published spread, less what so few people may have missed."""
        return HALF_WIDTH_90 * self.published_sd * allowance(self.n)

    @property
    def covers(self) -> bool:
        """Whether half of the ensemble's 90 % band reaches what is needed."""
        return bool(self.scale * self.half_width >= self.needed)

    @property
    def covers_bare(self) -> bool:
        """The same without bringing the ensemble to the published mean."""
        return bool(self.half_width >= self.needed)

    @property
    def counts(self) -> bool:
        """Whether the row stands in the summary: measured on people, not a difference between two of their trials."""
        return self.kind == "measured"


def allowance(n: int) -> float:
    """Return the factor [1] from a published standard deviation to the lower end of its one-sided 95 % interval.

    Examples
    --------
    >>> round(allowance(7), 2), round(allowance(59), 2)
    (0.69, 0.87)
    """
    return math.sqrt((n - 1) / float(chi2.ppf(1.0 - SHARE_LEFT_OUT, n - 1))) if n > 1 else 0.0


# --- drawing the people of a study -----------------------------------------------------------------------------------


class Person(NamedTuple):
    """One drawn person.

    ``fields`` of the subjects, ``overrides`` of parameters, ``share`` of uptake and ``drink`` as chosen in a race (relative to
    the case), ``core_error_K``.
    """

    fields: dict[str, float]
    overrides: dict[str, float]
    share: float
    drink: float
    core_error_K: float


def group_of(subjects) -> Runner:
    """Return the card of a study's mean person, with intervals (90 %) as wide as such groups are."""
    stated = {name: getattr(subjects, name, None) for name in Runner.model_fields if hasattr(subjects, name)}
    if dataclasses.is_dataclass(stated.get("clothing")):  # numbers instead of the word for a kit
        stated["clothing"] = dataclasses.asdict(stated["clothing"])
    card = Runner(**{name: one for name, one in stated.items() if one is not None})
    sds = {
        "mass_kg": value("group_mass_spread") * card.mass_kg,
        "height_m": value("group_height_sd_m"),
        "body_fat_pct": PARAMETERS[f"body_fat_default_{card.sex}_pct"].sd,
        "vo2max_mL_kg_min": value("group_uptake_spread") * card.vo2max_mL_kg_min,
        "resting_heart_rate_bpm": value("group_resting_heart_sd_bpm"),
        "maximum_heart_rate_bpm": PARAMETERS["maximum_heart_rate_intercept_bpm"].sd,
    }
    known = {name: sd for name, sd in sds.items() if getattr(card, name) is not None and sd > 0.0}
    return card.model_copy(update={"ranges": {name: _interval(name, getattr(card, name), sd) for name, sd in known.items()}})


def _interval(name, centre, sd) -> tuple[float, float]:
    half = HALF_WIDTH_90 * sd
    return max(centre - half, INPUTS[name].low), min(centre + half, INPUTS[name].high)


def draw_group(subjects, count: int, seed: int) -> list[Person]:
    """Draw the people of a study; the same seed gives the same people for every variant with these subjects."""
    own = np.random.default_rng([seed, 1])
    effort, drink = value("race_effort_spread"), value("race_drink_spread")
    farthest = LARGEST_DRAW_SDS * effort, LARGEST_DRAW_SDS * drink
    shares = truncated(own.normal(size=count), 1.0, effort, 1.0 - farthest[0], 1.0 + farthest[0])
    drinks = truncated(own.normal(size=count), 1.0, drink, max(1.0 - farthest[1], LEAST_DRINK), 1.0 + farthest[1])
    errors = own.normal(0.0, value("model_core_error_K"), count)
    card = group_of(subjects)
    drawn = draw_persons(card, count, np.random.default_rng(seed))
    return [
        Person({name: getattr(person, name) for name in card.ranges}, overrides, *map(float, own))
        for (person, overrides), *own in zip(drawn, shares, drinks, errors, strict=True)
    ]


def variant_of(variant, person: Person, race: bool):
    """Return a variant (blanks filled) as this person does it; in a race at their own effort, over the same distance."""
    subjects = dataclasses.replace(variant.subjects, **person.fields)
    if not race:
        return dataclasses.replace(variant, subjects=subjects)
    pace = person.share * subjects.vo2max_mL_kg_min / variant.subjects.vo2max_mL_kg_min
    phases = tuple(_chosen(phase, person.share, pace) for phase in variant.phases)
    cooling = tuple(
        dataclasses.replace(one, mass_kg=person.drink * one.mass_kg) if one.kind == "drink" and one.mass_kg else one
        for one in variant.cooling
    )
    return dataclasses.replace(variant, subjects=subjects, phases=phases, cooling=cooling)


def _chosen(phase, share, pace):
    changed = {}
    if phase.vo2max_pct is not None:
        changed["vo2max_pct"] = share * phase.vo2max_pct
    if phase.speed_m_s is not None:
        changed |= {"speed_m_s": pace * phase.speed_m_s, "minutes": phase.minutes / pace}
    return dataclasses.replace(phase, **changed) if changed else phase


def _as_modelled(variant, error_K):
    """Return a variant whose measured levels of core (stop rules, a stated start) stand where this person's model has them."""
    if variant.start is not None:
        start = dataclasses.replace(variant.start, temperature_C=variant.start.temperature_C - error_K)
        variant = dataclasses.replace(variant, start=start)
    phases = tuple(
        phase if phase.until is None else dataclasses.replace(phase, until=_moved(phase.until, -error_K))
        for phase in variant.phases
    )
    return dataclasses.replace(variant, phases=phases)


def _moved(until, by_K):
    levels = {name: getattr(until, name) for name in ("above_C", "below_C")}
    return dataclasses.replace(until, **{name: level + by_K for name, level in levels.items() if level is not None})


# --- reading them ------------------------------------------------------------------------------------------------------


def _read(run, read, error_K) -> float:
    """Read a person's run, with their residual error of core temperature."""
    if read.quantity not in CORE_SITES or not error_K:
        return read_run(run, read)
    if read.read == "time_to":
        return read_run(run, dataclasses.replace(read, level=read.level - error_K))
    return read_run(run, read) + (error_K if read.read in ("value", "mean") else 0.0)


def _readings(job) -> np.ndarray:
    """Return (people, reads, without and with the residual error); not-a-number where there is no run to its end."""
    variant, people, reads, race = job
    found = np.full((len(people), len(reads), 2), np.nan)
    measured_levels = variant.start is not None or any(phase.until is not None for phase in variant.phases)
    for i, person in enumerate(people):
        own = variant_of(variant, person, race)
        try:
            run = moved = run_variant(own, {}, person.overrides)
            if measured_levels:
                moved = run_variant(_as_modelled(own, person.core_error_K), {}, person.overrides)
        except (NumericalFailure, InputError):  # a person whom the study's device does not fit is not one of its people
            continue
        for j, read in enumerate(reads):
            found[i, j] = _read(run, read, 0.0), _read(moved, read, person.core_error_K)
    return found


def _filled(variant, blanks):
    parts = {"phases": variant.phases, "cooling": variant.cooling}
    parts = {name: tuple(filled(one, blanks) for one in group) for name, group in parts.items()}
    start = None if variant.start is None else filled(variant.start, blanks)
    return dataclasses.replace(variant, subjects=filled(variant.subjects, blanks), start=start, **parts)


def _asked(cases) -> list[tuple]:
    """Return (case, outcome, names of its variants) for every outcome with a standard deviation between people."""
    return [
        (case, one, (one.object[0].name,) if one.kind == "measured" else (one.object.variant, one.object.against))
        for case in cases
        if not case.not_modelled
        for one in case.outcomes()
        if one.kind in ("measured", "contrast") and one.measured.sd is not None
    ]


def spread_rows(
    cases: Sequence | None = None,
    people: int = PEOPLE,
    seed: int = 1,
    workers: int | None = None,
    progress: Callable | None = None,
) -> list[SpreadRow]:
    """Draw an ensemble for every published spread between people.

    Parameters
    ----------
    cases : sequence of Case, optional
        Without it the published cases of the package.
    people, seed : int
        Size of each ensemble; random seed, common to all.
    workers : int
        Processes; the numbers do not depend on it.
    progress : callable, optional
        Called with a text and the share done.
    """
    asked = _asked(read_cases() if cases is None else cases)
    reads: dict[tuple[str, str], list] = {}
    variants = {}
    for case, outcome, names in asked:
        for name in names:
            variants[case.id, name] = case, next(one for one in case.variants if one.name == name)
            wanted = reads.setdefault((case.id, name), [])
            if outcome.measured.read not in wanted:
                wanted.append(outcome.measured.read)
    jobs = []
    for key, (case, variant) in variants.items():
        variant = _filled(variant, blanks_of(case))
        jobs.append((variant, draw_group(variant.subjects, people, seed), tuple(reads[key]), case.id in RACES))
    found = {}
    for key, numbers in zip(variants, _run_all(jobs, workers), strict=True):
        found[key] = {read: numbers[:, j] for j, read in enumerate(reads[key])}
        if progress is not None:
            progress(f"{key[0]} {key[1]}", len(found) / len(jobs))
    return [_row(case, one, [found[case.id, name][one.measured.read] for name in names]) for case, one, names in asked]


def _run_all(jobs, workers):
    workers = workers or os.cpu_count() or 1
    if workers == 1 or len(jobs) < 2:
        yield from map(_readings, jobs)
        return
    variant, people, reads, race = jobs[0]
    _readings((variant, people[:1], reads, race))  # compile once, before the processes part
    with ProcessPoolExecutor(workers, mp_context=get_context("fork")) as pool:
        yield from pool.map(_readings, jobs)


def _row(case, outcome, numbers) -> SpreadRow:
    measured = outcome.measured
    people = outcome.object[0].subjects if outcome.kind == "measured" else case.subjects
    values = numbers[0] if len(numbers) == 1 else numbers[0] - numbers[1]
    values = values[np.isfinite(values).all(axis=1)]
    if len(values) < 2:
        raise NumericalFailure(f"{outcome.id}: fewer than two of the drawn people could be run to the end.")
    low, high = np.quantile(values[:, 1], [0.05, 0.95])
    return SpreadRow(
        outcome.id, case.id, outcome.kind, measured.read.quantity, measured.unit, measured.value, measured.sd,
        measured.n or people.n, float(values[:, 1].mean()), *(float(sd) for sd in values.std(axis=0, ddof=1)),
        float(high - low) / 2.0, len(numbers[0]) - len(values), measured.score,
    )  # fmt: skip


DERIVED = ("scale", "ratio", "needed", "covers", "covers_bare")


# --- telling -----------------------------------------------------------------------------------------------------------


def summary(rows: Iterable[SpreadRow]) -> dict:
    """Return, for all measured rows, for those that are scored, and for paired differences, how many are covered.

    Returns
    -------
    dict
        Group -> ``n``, ``covered``, ``covered_share``, ``covered_bare`` (numbers not brought to the published mean),
        ``median_ratio``, ``median_ratio_of_people`` (without the residual error).
    """
    rows = list(rows)
    groups = {
        "measured": [row for row in rows if row.counts],
        "measured, scored": [row for row in rows if row.counts and row.scored],
        "paired differences": [row for row in rows if not row.counts],
    }
    return {name: _figures(group) for name, group in groups.items() if group}


def _figures(rows) -> dict:
    covered = sum(row.covers for row in rows)
    return {
        "n": len(rows),
        "covered": covered,
        "covered_share": covered / len(rows),
        "covered_bare": sum(row.covers_bare for row in rows),
        "median_ratio": statistics.median(row.ratio for row in rows),
        "median_ratio_of_people": statistics.median(row.scale * row.people_sd / row.published_sd for row in rows),
    }


def as_json(rows: Iterable[SpreadRow], people: int, seed: int) -> dict:
    """Return the JSON object of the command."""
    rows = list(rows)
    found = [{**dataclasses.asdict(row), **{name: getattr(row, name) for name in DERIVED}} for row in rows]
    return {"people": people, "seed": seed, "rows": found, "summary": summary(rows)}


def sd_texts() -> list[tuple[str, str, float, str]]:
    """Return name, unit, standard deviation and source of every parameter that differs between people."""
    return [(name, p.unit, p.sd, p.source) for name, p in PARAMETERS.items() if p.sd > 0.0]


def _line(row: SpreadRow) -> str:
    d = 0 if row.published_sd >= 2.0 else 2 if row.published_sd >= 0.05 else 4
    bare = f"{shown(row.measured, d)} ± {shown(row.published_sd, d)}", f"{shown(row.model_mean, d)} ± {shown(row.model_sd, d)}"
    said = "covered" if row.covers else "narrower"
    return f"| {row.id} | {row.n} | {bare[0]} | {bare[1]} | {row.unit} | {row.ratio:.2f} | {said} |"


def _table(rows) -> str:
    head = "| outcome | n | published, mean ± SD | ensemble, mean ± SD | unit | SD, ratio | 90 % band |\n" + "|---" * 7 + "|"
    return "\n".join([head, *map(_line, rows)])


def spread_chapter(rows: Iterable[SpreadRow]) -> str:
    """Return the chapter on the spread between people as Markdown."""
    rows = list(rows)
    measured, paired = [row for row in rows if row.counts], [row for row in rows if not row.counts]
    parts = ["## Spread between people", CHAPTER.format(error=value("model_core_error_K"))]
    for name, figures in summary(rows).items():
        parts.append(
            f"**{name[0].upper()}{name[1:]}**: {figures['covered']} of {figures['n']} published spreads are covered "
            f"({figures['covered_bare']} by the bare numbers); median ratio of standard deviations "
            f"{figures['median_ratio']:.2f}, {figures['median_ratio_of_people']:.2f} for the people without the residual error."
        )
    parts += ["### Measured", _table(measured)]
    if paired:
        parts += ["### Differences between two trials of one person", PAIRED, _table(paired)]
    short = dict.fromkeys(row.case_id for row in rows if not row.covers)
    if short:
        reasons = [f"- {name}: {NOT_DRAWN.get(name, 'no reason known yet')}." for name in short]
        parts += ["### Where the ensemble is narrower: what is not drawn and may be why", "\n".join(reasons)]
    head = "| parameter | unit | SD between people | source |\n|---|---|---|---|"
    lines = [f"| {name} | {unit} | {sd:g} | {source} |" for name, unit, sd, source in sd_texts()]
    return "\n\n".join([*parts, "### What differs between people", "\n".join([head, *lines])]) + "\n"


CHAPTER = """\
Is the band of an ensemble as wide as people differ? For every outcome whose paper gives a standard deviation between people,
people are drawn as in any ensemble of the package: parameters by their SD (below), and bodies as groups of studies
differ. In races each also chooses effort and drinks. Blanks stay at their centre, the air is one for all. *Covered*: half
of the ensemble's 90 % band is at least 1.645 times the published SD, less what so few people may have missed by chance (the
lower end of the one-sided 95 % interval of an SD from n people). Times, water, rates and watts are compared in per cent of the
mean. The residual error of core temperature, SD {error:g} K, is one constant a person: it moves core temperatures and,
against it, measured levels of core (of a time, a stop rule, a start); in changes, rates and differences it cancels but for
that."""

PAIRED = """\
A published SD of such a difference carries how well one person repeats a trial; the ensemble runs both trials with the same
person in the same state. These rows are shown, and not counted above."""


def print_rows(rows: Iterable[SpreadRow]) -> None:
    """Print one line a row, then the summary."""
    rows = list(rows)
    print(f"{'90 % band':9s} {'n':>3s} {'published':>16s} {'ensemble':>16s} {'ratio':>6s}  outcome")
    for row in rows:
        mark = "" if row.counts else " (paired difference)"
        lost = f" ({row.lost} people without a run)" if row.lost else ""
        print(
            f"{'covers' if row.covers else 'narrower':9s} {row.n:3d} {row.measured:8.3g} ±{row.published_sd:6.2g} "
            f"{row.model_mean:8.3g} ±{row.model_sd:6.2g} {row.ratio:6.2f}  {row.id}, {row.unit}{mark}{lost}"
        )
    for name, figures in summary(rows).items():
        print(
            f"{name}: {figures['covered']} of {figures['n']} covered, {figures['covered_bare']} by the bare numbers; "
            f"median ratio {figures['median_ratio']:.2f}, without the residual error {figures['median_ratio_of_people']:.2f}"
        )


def spread(
    seed: Annotated[int, typer.Option(min=0, help="of the drawn people")] = 1,
    people: Annotated[int, typer.Option(min=20, help="people in each ensemble")] = PEOPLE,
    json_: Annotated[bool, typer.Option("--json", help="print one JSON object")] = False,
) -> None:
    """Hold the spread of ensembles against the published spread between people."""
    rows = spread_rows(people=people, seed=seed)
    if json_:
        print(json.dumps(as_json(rows, people, seed), ensure_ascii=False, indent=1))
    else:
        print_rows(rows)


def main() -> None:
    """Run the command; a refused input or a failed run is one sentence."""
    run_command(spread)


if __name__ == "__main__":
    main()
