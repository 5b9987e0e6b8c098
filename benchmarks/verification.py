"""Does the program solve its equations? Seven checks, measured, with bounds and verdicts: ``docs/verification.md``.

Run: ``python benchmarks/verification.py`` prints the chapter; ``--write`` writes it with its picture. A minute or two on two
cores; needs the test extra (CoolProp; scikit-sundae where it is installed). Nothing in the chapter is written by hand but
the words: every number is measured anew.
"""

import argparse
import datetime
import hashlib
import inspect
import math
import platform
import sys
from importlib.metadata import version as installed
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "benchmarks")]

import basic_twin as twin  # noqa: E402
import reference  # noqa: E402
import test_numerics  # noqa: E402
import test_twin  # noqa: E402
import twin_bridge as bridge  # noqa: E402
from cases import varied_case  # noqa: E402

from thermosim.closure import device_closure, energy_closure, water_closure, worn_at  # noqa: E402
from thermosim.constants import GRAVITY, LATENT_HEAT_SWEAT, LEWIS_RELATION  # noqa: E402
from thermosim.cooling import Worn, flatten_cooling  # noqa: E402
from thermosim.cooling.water import TO_THE_NECK, Bath, Drink, PouredWater  # noqa: E402
from thermosim.dataset import version  # noqa: E402
from thermosim.engine import nodes as n  # noqa: E402
from thermosim.engine import plan, run  # noqa: E402
from thermosim.engine.balance import balance  # noqa: E402
from thermosim.engine.integrate import COLDEST_BLOOD_C, D_CORE, D_SKIN, HOTTEST_BLOOD_C, apply_event  # noqa: E402
from thermosim.engine.methods import HEUN, METHOD_NAMES, RK4, RKC2, stability_limit  # noqa: E402
from thermosim.engine.prepare import power_demand, prepare, prepare_body, work_rate  # noqa: E402
from thermosim.engine.records import BATH, CYCLING, ON_SKIN, PUT_ON, TAKE_OFF  # noqa: E402
from thermosim.errors import InputError  # noqa: E402
from thermosim.inputs.flat import runner_record  # noqa: E402
from thermosim.parameters import SEGMENTS, value  # noqa: E402
from thermosim.physics import air, evaporation  # noqa: E402

PAGE, PICTURE = ROOT / "docs" / "verification.md", ROOT / "docs" / "pictures" / "convergence.png"
RECORDINGS = ROOT.parent / "shared" / "data"  # what the recorded example reads; not part of the project
CORE_K, SKIN_K = 0.005, 0.05  # required of every run, against the reference
SETS, RUNS_FOR_ORDER, SEED = 96, 12, 2026
SAVES_S = np.arange(0.0, 10801.0, 60.0)
METHODS = ((HEUN, 3, 2), (RK4, 3, 4), (RKC2, 3, 2), (RKC2, 5, 2))  # method, stages, its order
FREQUENT_S = 600.0  # between states at which eigenvalues are taken


class Check(NamedTuple):
    """One measured number and its bound."""

    what: str
    measured: float
    unit: str
    bound: str  # "below 1", "above 1", "at least 1" or "1 to 2"


class Section(NamedTuple):
    """One section of the chapter."""

    title: str
    what: str
    how: str
    heads: tuple
    rows: list
    checks: list
    held_by: tuple
    after: str = ""


def shown(number: float) -> str:
    """Return a number with three digits, as the chapter prints and judges it."""
    if number == 0.0 or not math.isfinite(number):
        return f"{number:g}"
    if float(number).is_integer() and abs(number) < 1e6:
        return f"{number:.0f}"
    return f"{number:.3g}" if 1e-2 <= abs(number) < 1e5 else f"{number:.1e}"


def holds(check: Check) -> bool:
    """Judge a number as printed; a number that is none does not hold."""
    measured, bound = float(shown(check.measured)), check.bound
    if bound.startswith("below "):
        return measured < float(bound[6:])
    if bound.startswith("above "):
        return measured > float(bound[6:])
    if bound.startswith("at least "):
        return measured >= float(bound[9:])
    low, high = map(float, bound.split(" to "))
    return low <= measured <= high


# --- 1. order of convergence -----------------------------------------------------------------------------------------


def worst_node(trajectory, exact) -> float:
    """Largest error of any temperature of the body at any sample [K]."""
    return np.abs(trajectory.states - exact.states)[:, : n.RECTAL].max()


def fitted_order(steps_s, errors) -> float:
    """Slope of error over step in logarithms."""
    return float(np.polyfit(np.log(steps_s), np.log(errors), 1)[0])


def branches(state, person) -> list:
    """Tell on which side of their kinks the laws are: local skin flow and dripping of each segment, signals of the whole "
    "skin."""
    skin, area = state[n.SKIN : n.BLOOD], person["area_m2"]
    share = state[n.FILM : n.LOST] / (person["film_full_kg_m2"] * area)
    mean = float((skin * area).sum() / area.sum())
    onset = person["dripping_onset_wettedness"] / person["wettedness_limit"]
    local = [skin > person["local_flow_cold_C"], skin > person["local_flow_warm_C"], share > onset, share > 1.0]
    return [*np.concatenate(local).tolist(), mean > person["constriction_skin_C"], mean > person["skin_signal_floor_C"]]


def smooth_span(warm) -> float:
    """Longest span under held forcing, up to four minutes, in which no segment crosses a kink [s]."""
    before = branches(warm[1], warm[0][0])
    for seconds in (240.0, 192.0, 144.0, 96.0, 48.0):
        if branches(test_numerics.march(warm, RK4, 3, 1.0, seconds), warm[0][0]) == before:
            return seconds
    return 24.0


def frozen_errors(warm, seconds, method, stages, steps_s):
    """Errors at the end of a span under held forcing, worst node, against RK4 at an eighth of a second [K]."""
    exact = test_numerics.march(warm, RK4, 3, 0.125, seconds)
    return [np.abs(test_numerics.march(warm, method, stages, h, seconds) - exact)[: n.N_NODES].max() for h in steps_s]


def whole_run_errors(method, stages, steps_s, cases, exacts):
    """Median over runs of the worst node's error [K] at equal steps; a step that is not stable gives NaN."""
    found = []
    for case, exact in zip(cases, exacts, strict=True):
        found.append([])
        for h in steps_s:
            allowed = plan.plan_steps(case.runner, case.pieces, case.rows[None], method, stages, h)[1][0]
            ours = run.run(*case[:4], exact.time_s, start=case.start, method=method, stages=stages, step_s=h, first_step_s=h)
            found[-1].append(worst_node(ours, exact) if allowed > h - 1e-9 else math.nan)
    return np.median(found, axis=0)


def drawn(rng):
    """Draw a varied case; a body that the front door refuses is drawn again."""
    while True:
        try:
            return varied_case(rng)
        except InputError:
            continue


def hours(count: int, on_foot: bool):
    """Return one-hour runs in drifting weather: by speed on foot, or with the power given; and their references."""
    cases, exacts = [], []
    rng = np.random.default_rng(SEED)
    while len(cases) < count:
        case = drawn(rng)
        pieces = case.pieces[case.pieces["start_s"] < 3599.0][:1].copy()
        pieces["end_s"] = 3600.0
        pieces["speed_m_s"] = pieces["swing_m_s"] = 2.6 + 0.1 * len(cases)
        pieces["grade"] = 0.0
        if not on_foot:
            pieces["activity"], pieces["power_W"] = CYCLING, 500.0 + 20.0 * len(cases)
        case = case._replace(pieces=pieces, rows=run.NO_ROWS, events=run.NO_EVENTS)
        exacts.append(reference.solve(*case[:4], np.arange(0.0, 3601.0, 300.0), start=case.start, rtol=1e-12))
        cases.append(case)
    return cases, exacts


def order_of_convergence():
    """Errors at falling steps, of the methods alone and of whole runs."""
    held_steps, run_steps = (8.0, 4.0, 2.0, 1.0), (12.0, 6.0, 3.0, 1.5, 0.75)
    curves, rows, checks = [], [], []
    warm = inspect.unwrap(test_numerics.warm)()
    span = smooth_span(warm)
    settings = [("forcing held", None), ("hour, power given", hours(RUNS_FOR_ORDER, False)),
                ("hour, on foot", hours(RUNS_FOR_ORDER, True))]  # fmt: skip
    for what, prepared in settings:
        for method, stages, order in METHODS:
            name = METHOD_NAMES[method] + (f", {stages} stages" if method == RKC2 else "")
            steps = held_steps if prepared is None else run_steps
            if prepared is None:
                errors = frozen_errors(warm, span, method, stages, steps)
            else:
                errors = whole_run_errors(method, stages, steps, *prepared)
            curves.append((what, name, steps, errors))
            before = math.nan
            for h, error in zip(steps, errors, strict=True):
                if math.isfinite(error):
                    observed = math.log2(before / error) if math.isfinite(before) else math.nan
                    rows.append((what, name, f"{h:g}", f"{error:.1e}", f"{observed:.2f}" if math.isfinite(observed) else "–"))
                before = error
            kept = [(h, e) for h, e in zip(steps, errors, strict=True) if math.isfinite(e)]
            if prepared is None:
                width = 0.35 if order == 2 else 0.6
                checks.append(Check(f"{what}: order of {name}, steps of 2 and 1 s", math.log2(errors[2] / errors[3]), "",
                                    f"{order - width:g} to {order + width:g}"))  # fmt: skip
            else:
                least = 1.65 if what.endswith("given") else 0.9
                checks.append(
                    Check(f"{what}: order of {name}, fitted", fitted_order(*zip(*kept[-4:])), "", f"at least {least:g}")
                )
    section = Section(
        "Order of convergence",
        "Halving the step must divide the error by two to the power of the method's order; in a whole run, where air, sun and "
        "wind are taken at mid-step and effort moves in closed form, at least by four for every method.",
        f"Worst node of the body [K]. *Forcing held*: {span:.0f} s of a warm run, the longest span up to four minutes in "
        "which no "
        f"segment crosses a kink of its laws, against RK4 at 0.125 s. *Hour*: {RUNS_FOR_ORDER} different people, an hour "
        "from rest in drifting air, wind and sun, equal steps, against LSODA at 1e-12; median of the runs, "
        "since each run crosses kinks of the laws (minimum and maximum rules) at its own moments, which make single "
        "ratios jump. "
        "Steps that the stability plan would not allow are left out.",
        ("setting", "method", "step, s", "error, K", "order"), rows, checks,
        ("tests/test_numerics.py::test_observed_order_of_convergence",),
        "On foot the metabolic power of a step is computed with the body's mass at the start of that step, a lag of half "
        "a step. "
        "It adds a first-order part that shows once the rest has fallen below about 5e-5 K, a hundredth of what is required: "
        "hence the order near one at the smallest steps. With the power given, nothing depends on that mass, "
        "and the part is gone.\n\n"
        "![Error against step](pictures/convergence.png)",
    )  # fmt: skip
    return section, curves


# --- 2. accuracy of the default plan ---------------------------------------------------------------------------------


class VariedRun(NamedTuple):
    """One run as it ships, and its reference."""

    kind: str
    case: object
    ours: run.Trajectory
    exact: reference.Reference


def watered(case, rng, kind: str):
    """Add a drink, poured water or a bath to a varied run; a bath is taken at rest, in the last half-hour."""
    cooling = []
    if kind in ("drink", "everything"):
        ice = float(rng.choice([0.0, 0.4]))
        cooling.append(
            Worn(Drink(rng.uniform(0.1, 0.5), -1.0 if ice else rng.uniform(2, 30), ice), 12.0, None, (45.0, 100.0))
        )
    if kind in ("poured water", "everything"):
        cooling.append(Worn(PouredWater(rng.uniform(0.2, 1.0), rng.uniform(8, 30)), 20.0, None, (65.0, 110.0)))
    if kind in ("bath", "everything"):
        arms = ("forearms", "hands")
        cooling.append(
            Worn(Bath(rng.uniform(8, 28), arms if rng.random() < 0.5 or kind == "everything" else TO_THE_NECK), 155, 172)
        )
    pieces = case.pieces.copy()
    if kind in ("bath", "everything"):
        resting = pieces["start_s"] >= 8999.0
        for name in ("speed_m_s", "swing_m_s", "grade"):
            pieces[name][resting] = 0.0
    rows, events, _ = flatten_cooling(cooling, case.runner[0]["area_m2"], 10800.0)
    rows["device"] += 10
    events["row"] += case.rows.size
    events = np.concatenate([case.events, events])
    return case._replace(
        pieces=pieces, rows=np.concatenate([case.rows, rows]), events=events[np.argsort(events["time_s"], kind="stable")]
    )


def left_range(ours, exact) -> bool:
    """Return whether a run was stopped because the body left what the model can describe, by the reference's word too."""
    blood = exact.states[:, n.BLOOD]
    return ours.status == n.OUT_OF_RANGE and not (COLDEST_BLOOD_C < blood.min() and blood.max() < HOTTEST_BLOOD_C)


def varied_runs():
    """Run every set with the plan as it ships and with the reference; return them, and how many were drawn again.

    Drawn again is a set in which nobody could go on: blood beyond 47 °C, in the reference as in the engine.
    """
    rng, found, again = np.random.default_rng(SEED), [], 0
    extras = ("", "drink", "bath", "", "poured water", "everything", "", "")
    while len(found) < SETS:
        case = drawn(rng)
        extra = extras[len(found) % len(extras)]
        names = (["collar"] if case.rows.size else []) + ([extra] if extra else [])
        if extra:
            case = watered(case, rng, extra)
        exact = reference.solve(*case[:4], SAVES_S, start=case.start, rtol=1e-10)
        ours = run.run(*case[:4], SAVES_S, start=case.start)
        if left_range(ours, exact):
            again += 1
            continue
        found.append(VariedRun(" and ".join(names) or "no device", case, ours, exact))
    return found, again


def worst_place(varied) -> str:
    """Say where and when a single place of tissue is farthest off, and for how long it stays so."""
    one = max(varied, key=lambda one: worst_node(one.ours, one.exact))
    off = np.abs(one.ours.states - one.exact.states)[:, : n.N_NODES]
    k, node = np.unravel_index(off.argmax(), off.shape)
    layer, segment = divmod(int(node), n.N_SEGMENTS)
    where = {n.BLOOD: "blood", n.GUT: "gut"}.get(int(node))
    if where is None:
        where = f"{('core', 'muscle', 'fat', 'skin')[layer]} of {SEGMENTS[segment].replace('_', ' ')}"
    time_s = one.ours.time_s[k]
    jumps = np.concatenate([one.case.events["time_s"], one.case.pieces["start_s"]])
    since = (time_s - jumps[jumps <= time_s + 1e-6]).min() / 60.0
    return (
        f"For a single place no bound is set. The farthest off is the {where} in a run with {one.kind}: {off[k, node]:.2g} K, "
        f"{since:.0f} min after the last jump or event; it is off by more than {SKIN_K:g} K in "
        f"{int((off[:, node] > SKIN_K).sum())} of {len(off)} samples of that run. Places off by more than {SKIN_K:g} K occur in "
        f"{sum(worst_node(each.ours, each.exact) > SKIN_K for each in varied)} of {len(varied)} runs."
    )


def accuracy(varied, again):
    """Core and skin error of the default plan over all varied runs."""
    core = np.array([np.abs(one.ours.diagnostics[:, D_CORE] - one.exact.core_C).max() for one in varied])
    skin = np.array([np.abs(one.ours.diagnostics[:, D_SKIN] - one.exact.skin_C).max() for one in varied])
    place = np.array([worst_node(one.ours, one.exact) for one in varied])
    rows = []
    for kind in sorted({one.kind for one in varied}, key=lambda kind: (kind != "no device", kind)):
        mine = np.array([one.kind == kind for one in varied])
        cells = [f"{f(x[mine]):.1e}" for x in (core, skin, place) for f in (np.median, np.max)]
        rows.append((kind, int(mine.sum()), *cells))
    counts = [Check(f"runs with {word}", sum(word in one.kind or "everything" in one.kind for one in varied), "", "at least 6")
              for word in ("drink", "bath", "poured water")]  # fmt: skip
    counts.append(Check("runs with collar", sum("collar" in one.kind for one in varied), "", "at least 6"))
    return Section(
        "Accuracy of the step plan as it ships",
        f"Required of every run: core within {CORE_K:g} K and mean skin within {SKIN_K:g} K of the exact solution of the "
        "equations.",
        f"{SETS} three-hour runs drawn from one seed: person, kit, air, wind, sun, grades, speeds; parameters by up to two "
        "standard "
        "deviations; with and without a collar, a drink or slurry in three portions, poured water, a bath (at rest in the last "
        "half-hour). The engine's own steps against LSODA at 1e-10 on the same right-hand side, from breakpoint to "
        "breakpoint; a "
        "sample each minute and at each event. *Any node*: the worst single place of tissue. "
        f"Drawn again, since blood passed {HOTTEST_BLOOD_C:g} °C in the engine and in the reference: {again}.",
        ("runs with", "runs", "core median, K", "core worst, K", "skin median, K", "skin worst, K", "any node median, K",
         "any node worst, K"), rows,
        [Check("runs", len(varied), "", "at least 48"), *counts,
         Check("runs that failed", sum(one.ours.status != n.DONE for one in varied), "", "below 1"),
         Check("core, median of runs", np.median(core), "K", f"below {CORE_K:g}"),
         Check("core, worst of runs", core.max(), "K", f"below {CORE_K:g}"),
         Check("mean skin, median of runs", np.median(skin), "K", f"below {SKIN_K:g}"),
         Check("mean skin, worst of runs", skin.max(), "K", f"below {SKIN_K:g}")],
        ("tests/test_numerics.py::test_accuracy_against_a_general_purpose_solver",
         "tests/test_water_rows.py::test_accuracy_against_a_general_purpose_solver"),
        worst_place(varied),
    )  # fmt: skip


# --- 3. books --------------------------------------------------------------------------------------------------------


def books_of(trajectory, runner, rows, events):
    """Closure of energy (share of throughput), water [kg] and devices (share), from outside the engine."""
    worn = worn_at(trajectory.time_s, rows, events)
    _, energy = energy_closure(trajectory.time_s, trajectory.states, runner, rows, worn)
    return energy, water_closure(trajectory.states, rows.size), device_closure(trajectory.states[-1], rows)


def books_of_examples():
    """Books of every variant of every example session; also how many sessions need a file that is not here."""
    from thermosim.inputs.session import Session
    from thermosim.story import simulate_session

    found, absent = [], []
    for path in sorted(
        [*(ROOT / "examples").glob("*.session.toml"), *(ROOT / "tests/examples_valid").glob("*.session.toml")]
    ):
        if path.name == "recorded-run.session.toml" and not RECORDINGS.is_dir():
            absent.append(path.name)
            continue
        session = Session.read(path)
        for variant in session.variants:
            at = simulate_session(session, variant.name).attrs
            found.append([at["energy_closure_relative"], at["water_closure_kg"], at["device_closure_relative"]])
    return np.array(found, dtype=float), absent


def books_of_published_cases():
    """Books of every engine run that the published cases ask for, blanks at their centre and over their ranges."""
    from thermosim.evidence import timeline
    from thermosim.evidence.outcomes import blank_points, predict_case
    from thermosim.evidence.read_case import read_cases

    found, stopped, cases, engine_run = [], 0, 0, timeline.run

    def recorded(runner, pieces, rows, events, times, *, start):
        nonlocal stopped
        trajectory = engine_run(runner, pieces, rows, events, times, start=start)
        if trajectory.status == n.DONE:
            found.append(books_of(trajectory, runner, rows, events))
        else:
            stopped += 1
        return trajectory

    timeline.run = recorded
    try:
        for case in read_cases():
            if not case.not_modelled:
                cases += 1
                for blanks in (None, *blank_points(case)):
                    predict_case(case, blanks=blanks)
    finally:
        timeline.run = engine_run
    return np.array(found), stopped, cases


def books(varied):
    """Worst closure over examples, published cases and the varied runs."""
    examples, absent = books_of_examples()
    published, stopped, cases = books_of_published_cases()
    own = np.array([books_of(one.ours, one.case.runner, one.case.rows, one.case.events) for one in varied])
    rows, checks = [], []
    for what, found in (("examples", examples), ("published cases", published), (f"the runs of section 2, {SETS}", own)):
        rows.append((what, len(found), *(f"{x:.1e}" for x in found.max(axis=0)), f"{np.median(found[:, 0]):.1e}"))
        name = what.partition(",")[0]
        checks += [Check(f"{name}: energy, worst", found[:, 0].max(), "of throughput", "below 1e-06"),
                   Check(f"{name}: water, worst", found[:, 1].max(), "kg", "below 1e-09"),
                   Check(f"{name}: devices, worst", found[:, 2].max(), "of what went through", "below 1e-06")]  # fmt: skip
    left = f" Left out, since their recording is not beside this checkout: {', '.join(absent)}." if absent else ""
    ended = f" {stopped} published-case runs ended early, by leaving what the model can describe, and are not counted." * (
        stopped > 0
    )
    return Section(
        "Books of energy, water and devices",
        "What crossed the boundary must be what is stored: heat against masses and temperatures, water against what lies "
        "on the "
        "skin and is missing in the body, each device against its own store.",
        "Closed from outside the engine, from sampled states alone; internal flows are not in the sum, so a forgotten "
        "counterpart "
        "shows. *Examples*: every variant of every session in `examples/` and `tests/examples_valid/`. *Published cases*: "
        "every run "
        f"of the {cases} modelled cases in `thermosim/evidence/cases`, with blank conditions at their centre and at the "
        "ends of "
        f"their ranges.{left}{ended}",
        ("runs", "how many", "energy worst, share of throughput", "water worst, kg", "devices worst, share", "energy median"),
        rows, checks,
        ("tests/test_twin.py::test_energy_books_show_a_forgotten_counterpart",
         "tests/test_twin.py::test_water_books_show_a_forgotten_counterpart", "tests/test_water_rows.py::test_books_close",
         "tests/test_water_rows.py::test_device_books_show_a_forgotten_counterpart"),
    )  # fmt: skip


# --- 4. limiting cases -----------------------------------------------------------------------------------------------


def at_one_state(skin_C, air_C, humidity, speed=3.0, film=0.0, cooling=(), record=None, **fields):
    """Evaluate the balance of a nude body, all skin at one temperature; return watts by term, rate and record."""
    record = runner_record(bridge.person(clothing="nude")) if record is None else record
    rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 600.0)
    work = run.new_work(rows.size)
    run.start_rows(work, run.settle(record), rows)
    prepare_body(work.seg, record[0], rows, work.active, rows.size)
    for event in events:
        apply_event(work.state, event, rows, work.active, rows.size, work.seg, record[0], work.heat)
    work.state[n.SKIN : n.BLOOD] = skin_C
    work.state[n.FILM : n.LOST] = film * record[0]["film_full_kg_m2"] * record[0]["area_m2"]
    stretch = bridge.piece(0.0, 600.0, speed, air_C, humidity, **fields)
    demand = power_demand(work.state, stretch[0], record[0], rows, work.active, rows.size, 0.0)
    climbing = work_rate(work.state, stretch[0], record[0], rows, work.active, rows.size)
    step = prepare(work.seg, record[0], stretch[0], 0.0, demand, climbing, rows, work.active, rows.size)
    rate = np.zeros(work.state.size)
    balance(work.state, rate, work.heat, step, work.seg, record[0], rows, work.active, rows.size)
    return SimpleNamespace(rate=rate, record=record[0], demand=demand, seg=work.seg,
                           watts=lambda term: rate[n.JOULES + term])  # fmt: skip


def saturated_kPa(t):
    """Buck's formula, written out with the library's exponential."""
    return 0.61121 * math.exp((18.678 - t / 234.5) * t / (257.14 + t))


def cases_of_an_instant():
    """Yield (case, quantity, formula, by formula, by the engine)."""
    dry = bridge.person(clothing="nude")
    still = runner_record(dry, {"sweat_gain_L_h_K": 0.0})
    area = float(still[0]["surface_area_m2"])
    h_c = 8.7 * 3.0**0.6
    none = at_one_state(33.0, 25.0, 0.5, record=still)
    through = value("skin_diffusion_wettedness")
    driving = saturated_kPa(33.0) - 0.5 * saturated_kPa(25.0)
    yield "no sweat", "sweat rate, kg/s", "0", 0.0, none.rate[n.SWEAT]
    yield ("no sweat", "evaporation, W", "−ω₀ L h A (p_skin − p_air)", -through * LEWIS_RELATION * h_c * area * driving,
           none.watts(n.EVAPORATION))  # fmt: skip
    limit = float(still[0]["wettedness_limit"])
    wet = at_one_state(33.0, 25.0, 0.5, film=1.0, record=still)
    yield ("fully wet skin", "evaporation, W", "−(ω₀(1 − ω) + ω) L h A (p_skin − p_air)",
           -(through * (1 - limit) + limit) * LEWIS_RELATION * h_c * area * driving, wet.watts(n.EVAPORATION))  # fmt: skip
    same = at_one_state(33.0, 33.0, 1.0, film=1.0)
    yield "saturated air at skin temperature", "evaporation, W", "0", 0.0, same.watts(n.EVAPORATION)
    yield "saturated air at skin temperature", "convection, W", "0", 0.0, same.watts(n.CONVECTION)
    yield "saturated air at skin temperature", "long-wave, W", "0", 0.0, same.watts(n.LONG_WAVE)
    dew = at_one_state(30.0, 36.0, 1.0, film=1.0)
    gain = LEWIS_RELATION * h_c * area * (saturated_kPa(36.0) - saturated_kPa(30.0))
    yield "saturated air warmer than skin", "dew's heat, W", "L h A (p_air − p_skin)", gain, dew.watts(n.EVAPORATION)
    yield ("saturated air warmer than skin", "dew, kg/s", "L h A (p_air − p_skin) / λ", gain / LATENT_HEAT_SWEAT,
           dew.rate[n.CONDENSED])  # fmt: skip
    yield (
        "running in calm air",
        "convection, W",
        "−8.7 v^0.6 A (T_skin − T_air)",
        -h_c * area * 8.0,
        none.watts(n.CONVECTION),
    )
    h_r = 4.0 * value("skin_emissivity") * 5.670374419e-8 * value("radiating_area_fraction") * (29.0 + 273.15) ** 3
    yield (
        "running in calm air",
        "long-wave, W",
        "−4 ε σ f T_mean³ A (T_skin − T_air)",
        -h_r * area * 8.0,
        none.watts(n.LONG_WAVE),
    )
    yield "sun off", "sun, W", "0", 0.0, none.watts(n.SOLAR)
    sunny = at_one_state(33.0, 25.0, 0.5, solar_W_m2_0=800.0, solar_W_m2_1=800.0)
    yield ("sun on, nude", "sun, W", "α f G A", value("solar_absorptance") * value("solar_interception") * 800.0 * area,
           sunny.watts(n.SOLAR))  # fmt: skip
    standing = at_one_state(33.0, 29.0, 0.5, speed=0.0, wind_m_s_0=0.2, wind_m_s_1=0.2)
    weights = still[0]["convection_weight"]
    free = 2.38 * 4.0**0.25
    convection = -4.0 * sum(a * max((3.5 + 5.2 * 0.2) * w, free) for a, w in zip(still[0]["area_m2"], weights, strict=True))
    yield ("zero speed", "convection, W", "−Σ A max(w (3.5 + 5.2 v), 2.38 ΔT^¼) ΔT", convection, standing.watts(n.CONVECTION))
    yield ("zero speed", "power asked, W", "rest + standing", still[0]["resting_W"] + still[0]["standing_W"], standing.demand)
    yield "zero speed", "external work, W", "0", 0.0, standing.watts(n.WORK)
    made = standing.watts(n.METABOLIC)
    kPa = 0.5 * saturated_kPa(29.0)
    yield (
        "zero speed",
        "breath, vapour, W",
        "−0.0173 M (5.87 − p_air)",
        -0.0173 * made * (5.87 - kPa),
        standing.watts(n.BREATH_VAPOUR),
    )
    yield (
        "zero speed",
        "breath, dry, W",
        "−0.0014 M (34 − T_air)",
        -0.0014 * made * (34.0 - 29.0),
        standing.watts(n.BREATH_DRY),
    )
    uphill = at_one_state(33.0, 25.0, 0.5, speed=2.0, grade=0.1)
    yield (
        "uphill, 10 %",
        "external work, W",
        "−m g v i / √(1 + i²)",
        -65.0 * GRAVITY * 2.0 * 0.1 / math.sqrt(1.01),
        uphill.watts(n.WORK),
    )
    for bath_C, words in ((33.0, "bath at skin temperature"), (23.0, "bath 10 K colder than skin")):
        found = at_one_state(33.0, 25.0, 0.5, speed=0.0, cooling=[Bath(bath_C)])
        wet_m2 = sum(still[0]["area_m2"][SEGMENTS.index(name)] for name in TO_THE_NECK)
        yield words, "to the water, W", "−h A_wet ΔT", -200.0 * wet_m2 * (33.0 - bath_C), found.watts(n.DEVICES)


def lump_of_flesh():
    """Temperature after each minute of one well-stirred body in a wind of drifting temperature, under the sun: engine, formula.

    No metabolism, no sweat, no long-wave, dry air, all nodes tied: ``C dT/dt = S − h A (T − a − b t)``.
    """
    record = runner_record(bridge.person(clothing="nude"))
    for name in ("resting_W", "sweat_gain_L_h_K", "skin_diffusion_wettedness", "skin_emissivity", "shiver_gain_W_m2K2"):
        record[name] = 0.0
    record["tied_groups"], record["node_group"] = 1, 0
    start, start_C, first_C, slope = run.new_work(0), 38.0, 12.0, 8.0 / 3600.0
    start.state[: n.RECTAL + 1] = start_C
    piece = bridge.piece(0.0, 3600.0, 0.0, first_C, 0.0, power_W=0.0, ground_air=0.0, fan_m_s=3.0, air_C_1=20.0,
                         solar_W_m2_0=500.0, solar_W_m2_1=500.0)  # fmt: skip
    times = np.arange(0.0, 3601.0, 60.0)
    ours = run.run(record, piece, save_times_s=times, start=start)
    person = record[0]
    loss = 8.7 * 3.0**0.6 * person["surface_area_m2"]  # [W/K]
    constant = person["capacity_J_K"].sum() / loss  # [s]
    sun = person["solar_absorptance"] * person["solar_interception"] * 500.0 * person["surface_area_m2"]
    level = first_C + sun / loss - slope * constant
    return ours.diagnostics[:, D_CORE], level + slope * times + (start_C - level) * np.exp(-times / constant)


def cases_of_a_run():
    """Yield (case, quantity, formula, by formula, by the engine, scale of the difference) after some minutes of a run."""
    engine, formula = lump_of_flesh()
    yield (
        "one tied body, no metabolism",
        "temperature after 60 min, °C",
        "T∞(t) + (T₀ − T∞(0)) e^(−t hA/C)",
        formula[-1],
        engine[-1],
    )
    record = runner_record(bridge.person())
    start = run.settle(record)
    power = 700.0
    piece = bridge.piece(0.0, 1800.0, 0.0, 31.0, 0.4, power_W=power, activity=CYCLING)
    ours = run.run(record, piece, save_times_s=[0.0, 45.0, 1800.0], start=start)
    tau, first = float(record[0]["oxygen_time_constant_s"]), ours.fasts[0, n.OXYGEN_FAST]
    yield ("power switched on", "uptake after 45 s, W", "P − (P − P₀) e^(−t/τ)", power - (power - first) * math.exp(-45.0 / tau),
           ours.fasts[1, n.OXYGEN_FAST])  # fmt: skip
    rows, events, _ = flatten_cooling([Drink(0.5, 37.0)], record[0]["area_m2"], 1800.0)
    ours = run.run(record, piece, rows, events, [0.0, 900.0, 1800.0], start=start)
    drunk = 0.5 * -math.expm1(-900.0 / value("stomach_emptying_s"))
    yield "a drink of 0.5 kg", "passed on after 15 min, kg", "m (1 − e^(−t/τ))", drunk, ours.states[1, n.BASE + n.ROW_DRUNK]
    rows, events, _ = flatten_cooling([PouredWater(0.5, 20.0, segments=("back",))], record[0]["area_m2"], 1800.0)
    ours = run.run(record, piece, rows, events, [0.0, 60.0, 1800.0], start=start)
    fallen = 0.5 * -math.expm1(-60.0 / value("poured_flow_s"))
    yield "0.5 kg poured", "run over after 1 min, kg", "m (1 − e^(−t/τ))", fallen, ours.states[1, n.BASE + n.ROW_DRIPPED]


def limiting_cases():
    """Engine beside formula, where the answer can be written down."""
    rows, instant = [], []
    for case, quantity, formula, plain, engine in cases_of_an_instant():
        difference = abs(engine - plain) / max(abs(plain), 1.0 if plain == 0.0 else 0.0)
        instant.append(difference)
        rows.append((case, quantity, formula, f"{plain + 0.0:.8g}", f"{engine + 0.0:.8g}", f"{difference:.1e}"))
    in_time = {}
    for case, quantity, formula, plain, engine in cases_of_a_run():
        in_time[case] = abs(engine - plain)
        rows.append((case, quantity, formula, f"{plain:.8g}", f"{engine:.8g}", f"{in_time[case] / abs(plain):.1e}"))
    engine, formula = lump_of_flesh()
    return Section(
        "Limiting cases with an answer on paper",
        "Where the balance reduces to a formula, the engine must give the formula's number.",
        "The formulas are written out in this script, not called from the package; only areas, weights and parameter "
        "values are the "
        "body's own. Nude, 3 m/s, skin 33 °C all over, air 25 °C and 50 % unless the case says otherwise. The last rows "
        "follow a run "
        "with the steps as they ship.",
        ("case", "quantity", "formula", "by formula", "by the engine", "difference, relative (absolute where the answer is 0)"),
        rows,
        [Check("one instant: worst difference", max(instant), "", "below 1e-09"),
         Check("one tied body: worst of an hour", np.abs(engine - formula).max(), "K", f"below {CORE_K:g}"),
         Check("power switched on: difference of uptake", in_time["power switched on"], "W", "below 1e-09"),
         Check("drink and poured water: worst difference", max(in_time["a drink of 0.5 kg"], in_time["0.5 kg poured"]), "kg",
               "below 0.002")],
        ("tests/test_ledger.py::test_without_sweat_nothing_evaporates_and_the_rest_is_stored",
         "tests/test_water_rows.py::test_a_bath_at_skin_temperature_exchanges_nothing_and_shuts_off_the_air",
         "tests/test_verification_chapter.py::test_one_body_against_its_formula"),
    )  # fmt: skip


# --- 5. the basic twin -----------------------------------------------------------------------------------------------


def twin_trajectory(runner, pieces, rows, events, name, every_s):
    """Largest temperature difference [K] between engine and twin along one run at equal steps."""
    method, stages, stepper, wanted_s = test_twin.METHODS[name]
    record = runner_record(runner)
    start, saves = run.settle(record), np.arange(0.0, 1801.0, every_s)
    step_s = float(plan.plan_steps(record, pieces, rows[None], method, stages, wanted_s)[1][0])
    ours = run.run(
        record, pieces, rows, events, saves, start=start, method=method, stages=stages, step_s=step_s, first_step_s=step_s
    )
    saved = twin.simulate(
        twin.make_person(runner), bridge.plain(pieces), bridge.plain(rows), bridge.happenings(events), list(saves),
        bridge.to_twin(start.state), bridge.fast_to_twin(start.fast), stepper, step_s,
    )  # fmt: skip
    plain = np.array([bridge.to_vector(state) for _, state, _ in saved])
    blocks = n.BASE + n.ROW_SIZE * np.arange(rows.size)
    temperatures = [*range(n.RECTAL + 1), *(blocks + n.PATCH_C), *(blocks + n.OUTER_C)]
    return np.abs(ours.states - plain)[:, temperatures].max()


def twin_agreement():
    """Rates, events and trajectories of engine and twin."""
    worst, counts, usual = {"rates": 0.0, "events": 0.0}, {"rates": 0, "events": 0}, test_twin.assert_close

    def recorder(what):
        def record(engine, plain, floor, label):
            difference = np.abs(engine - plain) / (np.abs(plain) + floor / 1e-9)
            worst[what] = float(np.max([worst[what], *difference]))
            counts[what] += label.startswith("case")

        return record

    try:
        for what, check in (("rates", test_twin.test_every_rate_at_a_thousand_random_states),
                            ("events", test_twin.test_every_event_at_random_states)):  # fmt: skip
            test_twin.assert_close = recorder(what)
            check()
    finally:
        test_twin.assert_close = usual
    rows = [("rates at random states", counts["rates"], f"{worst['rates']:.1e}", "relative"),
            ("states after random events", counts["events"], f"{worst['events']:.1e}", "relative")]  # fmt: skip
    along = []
    for name in test_twin.METHODS:
        runner, pieces, cooling = test_twin.a_hot_day()
        day_rows, day_events, _ = flatten_cooling(cooling, runner_record(runner)[0]["area_m2"], 1800.0)
        along.append(twin_trajectory(runner, pieces, day_rows, day_events, name, 60.0))
        rows.append((f"half an hour of everything, {name}", 31, f"{along[-1]:.1e}", "K"))
    return Section(
        "The basic twin",
        "`tests/basic_twin.py` is the whole model once more in plain NumPy, written from the sources of the equations, "
        "sharing nothing "
        "with the package but the parameter table.",
        "Rates of all states at random people, weathers, efforts, devices, drinks, poured water and baths; states after "
        "every kind of "
        "event; whole runs with equal steps (running, cycling, rest; drink, slurry, poured water, bath, collar). "
        "Differences relative "
        "to the number itself, or to what is usual for it where it is nearly nothing.",
        ("what", "states", "worst difference", "unit"), rows,
        [Check("random states compared", counts["rates"], "", "at least 1000"),
         Check("rates: worst relative difference", worst["rates"], "", "below 1e-09"),
         Check("events: worst relative difference", worst["events"], "", "below 1e-09"),
         Check("whole runs: worst temperature difference", max(along), "K", "below 1e-09")],
        ("tests/test_twin.py::test_every_rate_at_a_thousand_random_states",
         "tests/test_twin.py::test_every_event_at_random_states",
         "tests/test_twin.py::test_trajectory_with_equal_steps", "tests/test_twin.py::test_trajectory_of_a_day_with_water"),
    )  # fmt: skip


# --- 6. side by side -------------------------------------------------------------------------------------------------


def moist_air():
    """Rows and checks against CoolProp from 0 to 45 °C."""
    from CoolProp.CoolProp import PropsSI
    from CoolProp.HumidAirProp import HAPropsSI

    temperatures = np.concatenate([[0.01], np.arange(1.0, 45.5, 1.0)])
    humidities = (0.05, 0.2, 0.4, 0.6, 0.8, 1.0)
    found = {
        "saturation pressure": [],
        "latent heat": [],
        "density of moist air": [],
        "wet bulb": [],
        "wet bulb allowance": [],
    }
    for t in temperatures:
        state = ("T", t + 273.15, "Q")
        saturated = PropsSI("P", *state, 0, "Water") / 1000.0
        latent = PropsSI("H", *state, 1, "Water") - PropsSI("H", *state, 0, "Water")
        found["saturation pressure"].append((abs(air.saturation_pressure(t) / saturated - 1.0), t, 1.0))
        found["latent heat"].append((abs(evaporation.latent_heat_of_vaporisation(t) / latent - 1.0), t, 1.0))
        for share in humidities:
            for kPa in (101.325, 80.0):
                at = ("T", t + 273.15, "P", 1000.0 * kPa, "R", share)
                if kPa > 100.0:
                    dense = 1.0 / HAPropsSI("Vha", *at)
                    ours = air.density(t, share * air.saturation_pressure(t), kPa)
                    found["density of moist air"].append((abs(ours / dense - 1.0), t, share))
                bulb = HAPropsSI("B", *at) - 273.15
                if bulb < 0.0:
                    continue  # an iced bulb: outside the formula's range
                difference = abs(air.vapour_pressure_of_wet_bulb(t, bulb, kPa) - share * saturated)
                found["wet bulb"].append((difference, t, share))
                found["wet bulb allowance"].append((difference / (0.01 + 0.05 * 6.62e-4 * kPa * (t - bulb)), t, share))
    bounds = {"saturation pressure": ("relative", "below 0.002"), "latent heat": ("relative", "below 0.002"),
              "density of moist air": ("relative", "below 0.002"), "wet bulb allowance": ("of it", "below 1")}  # fmt: skip
    names = {
        "wet bulb": "vapour pressure from wet bulb",
        "wet bulb allowance": "vapour pressure from wet bulb, of its allowance",
    }
    rows, checks = [], []
    for what, numbers in found.items():
        worst, t, share = max(numbers)
        unit, bound = bounds.get(what, ("kPa", ""))
        where = f"{t:g} °C" + (f", {100 * share:g} %" if what.startswith(("dens", "wet")) else "")
        rows.append((names.get(what, what), "CoolProp " + installed("CoolProp"), len(numbers), f"{worst:.2e}", unit, where))
        if bound:
            checks.append(Check(f"{names.get(what, what)}, largest difference", worst, unit, bound))
    return rows, checks


def cvode(rate, span, first, method, t_eval, rtol, atol):
    """Stand in for ``solve_ivp`` with CVODE's BDF: same arguments, same fields of the result."""
    from sksundae.cvode import CVODE

    count = 0

    def fill(t, y, slope):
        nonlocal count
        count += 1
        slope[:] = rate(t, np.array(y))

    times = np.unique(np.concatenate([[span[0]], t_eval, [span[1]]]))
    if times.size == 2:  # with two times only, CVODE returns every step of its own
        times = np.array([span[0], 0.5 * (span[0] + span[1]), span[1]])
    solver = CVODE(fill, method="BDF", rtol=rtol, atol=atol, max_num_steps=100_000)
    found = solver.solve(times, first)
    inside = np.isin(found.t, [*t_eval, span[1]])
    return SimpleNamespace(
        success=bool(found.success), message=found.message, t=found.t[inside], y=found.y[inside].T, nfev=count
    )


def solvers():
    """Rows and checks: other integrators on the same right-hand side, and the engine beside each."""
    import scipy.integrate

    chosen = {name: test_numerics.EXAMPLES[name] for name in ("hills, descents, stops", "fast, cool, windy", "tight collar")}
    usual, asked = scipy.integrate.solve_ivp, [("LSODA", 1e-10), ("Radau", 1e-9), ("DOP853", 1e-10)]
    try:
        asked.append((f"CVODE BDF, scikit-sundae {installed('scikit-sundae')}", 1e-10))
    except ModuleNotFoundError:
        pass
    rows, apart, own = [], [], []
    for name, (person, pieces, cooling) in chosen.items():
        record = runner_record(person)
        start, saves = run.settle(record), np.arange(0.0, 3601.0, 60.0)
        device_rows, events, _ = flatten_cooling(cooling, record[0]["area_m2"], 3600.0)
        args = (record, pieces, device_rows, events, saves)
        ours, first = run.run(*args, start=start), None
        for method, rtol in asked:
            if method.startswith("CVODE"):
                scipy.integrate.solve_ivp = lambda rate, span, y, method, t_eval, rtol, atol: cvode(
                    rate, span, y, method, t_eval, rtol, atol)  # fmt: skip
            try:
                found = reference.solve(*args, start=start, rtol=rtol, method=method)
            finally:
                scipy.integrate.solve_ivp = usual
            first = found if first is None else first
            between = max(np.abs(found.core_C - first.core_C).max(), np.abs(found.skin_C - first.skin_C).max())
            core, skin = (
                np.abs(ours.diagnostics[:, D_CORE] - found.core_C).max(),
                np.abs(ours.diagnostics[:, D_SKIN] - found.skin_C).max(),
            )
            apart.append(between)
            own.append((core, skin))
            label = method if "," in method else f"{method}, scipy {installed('scipy')}"
            rows.append((name, label, f"{rtol:g}", found.evaluations, f"{between:.1e}", f"{core:.1e}", f"{skin:.1e}"))
    worst = np.max(own, axis=0)
    checks = [Check("solvers among each other, worst core or skin", max(apart), "K", f"below {CORE_K / 100:g}"),
              Check("engine beside any solver, core", worst[0], "K", f"below {CORE_K:g}"),
              Check("engine beside any solver, skin", worst[1], "K", f"below {SKIN_K:g}")]  # fmt: skip
    return rows, checks


def side_by_side():
    """Moist air beside CoolProp, the integration beside other solvers."""
    air_rows, air_checks = moist_air()
    rows, checks = solvers()
    extra = table(
        (
            "run of an hour",
            "solver",
            "tolerance",
            "evaluations",
            "from LSODA, K",
            "engine's core off, K",
            "engine's skin off, K",
        ),
        rows,
    )
    return Section(
        "Side by side with other libraries",
        "Laws of moist air and water against a reference equation of state; the time integration against general-purpose "
        "solvers.",
        "CoolProp (IAPWS-95 for water, ASHRAE RP-1485 for humid air) at each degree from 0 to 45 °C, relative humidity 5 "
        "to 100 %, at "
        "101.325 and (wet bulb) 80 kPa. A psychrometer's formula is not the thermodynamic wet bulb: psychrometer "
        "constants differ by "
        "5 %; the allowance is that much of the psychrometer term, and 0.01 kPa. Solvers integrate the compiled "
        "right-hand side from breakpoint to breakpoint.",
        ("law", "beside", "points", "largest difference", "unit", "at"), air_rows, [*air_checks, *checks],
        ("tests/test_physics.py::test_saturation_pressure", "tests/test_physics.py::test_latent_heat_of_vaporisation",
         "tests/test_physics.py::test_density_of_moist_air", "tests/test_physics.py::test_vapour_pressure_of_wet_bulb",
         "tests/test_numerics.py::test_references_agree_with_each_other"),
        extra,
    )  # fmt: skip


# --- 7. stability ----------------------------------------------------------------------------------------------------


def active_at(time_s, rows, events) -> np.ndarray:
    """Return the engine's ``active`` flags just after a time."""
    active = np.zeros(n.MAX_ROWS, dtype=np.int64)
    for event in events[events["time_s"] <= time_s + 1e-6]:
        place = rows[event["row"]]["place"]
        if event["action"] == PUT_ON:
            active[event["row"]] = place + 1
        elif event["action"] == TAKE_OFF and place in (ON_SKIN, BATH):
            active[event["row"]] = 0
    return active


def spectrum(state, case, active, piece, time_s, metabolic_W) -> np.ndarray:
    """Eigenvalues [1/s] of everything that has a memory at a state: tissue, water on the skin, stores and sides of devices."""
    record, rows, work = case.runner[0], case.rows, run.new_work(case.rows.size)
    prepare_body(work.seg, record, rows, active, rows.size)
    climbing = work_rate(state, piece, record, rows, active, rows.size)
    step = prepare(work.seg, record, piece, time_s, metabolic_W, climbing, rows, active, rows.size)
    places = {place: 1e-4 for place in range(n.N_NODES)}
    places |= {place: 1e-7 for place in range(n.FILM, n.LOST)}
    for r in np.flatnonzero(active[: rows.size]):
        base = n.BASE + r * n.ROW_SIZE
        if rows[r]["place"] == ON_SKIN:
            places |= {base + n.PATCH_C: 1e-4, base + n.PATCH_FILM: 1e-7, base + n.STORE_J: 1e-2, base + n.OUTER_C: 1e-4}
        elif rows[r]["place"] != BATH and state[base + n.STORE_KG] > 1e-6:
            places |= {base + n.STORE_J: 1e-2, base + n.STORE_KG: 1e-6 * state[base + n.STORE_KG]}
    chosen = np.array(list(places))

    def rate(vector):
        out = np.zeros(vector.size)
        balance(vector, out, work.heat, step, work.seg, record, rows, active, rows.size)
        return out[chosen]

    jacobian = np.zeros((chosen.size, chosen.size))
    for column, (place, delta) in enumerate(places.items()):
        up, down = state.copy(), state.copy()
        up[place] += delta
        down[place] -= delta
        jacobian[:, column] = (rate(up) - rate(down)) / (2.0 * delta)
    return np.linalg.eigvals(jacobian)


def amplification(z, table) -> np.ndarray:
    """What one step of the stabilised method makes of a mode: its stability polynomial at step times eigenvalue ``z``."""
    before, now = np.ones_like(z), 1.0 + table[0, 2] * z
    for mu, nu, mu_h, gamma_h in table[1:]:
        before, now = now, (1.0 - mu - nu) + mu * now + nu * before + mu_h * z * now + gamma_h * z
    return now


def stability(varied):
    """The bound of the step plan against true eigenvalues along the varied runs."""
    ratios, shares, turning, kept, states, quickest, groups = [], [], [], [], 0, [], {}
    for one in varied:
        case, ours, largest = one.case, one.ours, 0.0
        bound = plan.stiffest_rates(case.runner, case.pieces, case.rows[None])[0]
        stages, step_s = plan.plan_steps(case.runner, case.pieces, case.rows[None], plan.METHOD, None, plan.STEP_S)
        for k in np.flatnonzero(ours.time_s % FREQUENT_S < 1e-6):
            time_s = float(ours.time_s[k])
            piece = case.pieces[min(np.searchsorted(case.pieces["end_s"], time_s + 1e-6), case.pieces.size - 1)]
            metabolic = ours.fasts[k, n.OXYGEN_FAST] + ours.fasts[k, n.OXYGEN_SLOW]
            found = spectrum(ours.states[k], case, active_at(time_s, case.rows, case.events), piece, time_s, metabolic)
            largest = max(largest, -found.real.min())
            turning.append(np.abs(found.imag).max() / np.abs(found.real).max())
            quick = step_s[0] * found[np.abs(found) * step_s[0] >= 0.5]  # slower ones are kept, and should be
            kept += np.abs(amplification(quick, plan.TABLES[stages[0], : stages[0]])).tolist()
            states += 1
        ratios.append(bound / largest)
        quickest.append(1.0 / largest)
        shares.append(step_s[0] * largest / stability_limit(plan.METHOD, int(stages[0])))
        groups.setdefault(one.kind, []).append((ratios[-1], quickest[-1], int(stages[0]), step_s[0], shares[-1]))
    rows = []
    for kind in sorted(groups, key=lambda kind: (kind != "no device", kind)):
        ratio, seconds, stages, step_s, share = (np.array(column) for column in zip(*groups[kind], strict=True))
        rows.append((kind, len(ratio), f"{seconds.min():.1f}", f"{ratio.min():.2f}", f"{np.median(ratio):.2f}",
                     f"{ratio.max():.2f}",
                     f"{stages.min()} to {stages.max()}", f"{step_s.min():.1f}", f"{share.max():.2f}"))  # fmt: skip
    return Section(
        "The stability bound",
        "Before a run the step plan bounds the quickest node's rate from above; the true rates must stay below it, or a "
        "run could blow up, "
        "and not too far below, or steps are wasted.",
        f"Jacobian by central differences at states met every {FREQUENT_S / 60:.0f} minutes of the runs of section 2 "
        f"({states} states): tissue, "
        "water on the skin, patches, stores and outer sides of devices that are on. *Share of the limit*: longest step "
        "times true "
        "rate over what the method damps; the plan wants 0.8 or less. A mode may also turn (complex eigenvalue, imaginary over "
        f"real part up to {max(turning):.2f}), so the method's own polynomial is evaluated at step times each eigenvalue "
        "of a mode that settles within two steps: its size must stay below 1.",
        ("runs with", "runs", "quickest time constant, s", "bound / true, least", "median", "most", "stages", "step, s",
         "share of the limit, most"), rows,
        [Check("bound over true rate, least", min(ratios), "", "above 1"),
         Check("bound over true rate, median", np.median(ratios), "", "below 6"),
         Check("share of the stability limit, most", max(shares), "", "below 0.8"),
         Check("share of a quick mode left after one longest step, most", max(kept), "", "below 1")],
        ("tests/test_numerics.py::test_stability_bound_is_above_every_eigenvalue_of_the_real_body",
         "tests/test_water_rows.py::test_stability_bound_is_above_every_eigenvalue",
         "tests/test_numerics.py::test_hopeless_device_gets_a_sentence_not_a_blow_up"),
    )  # fmt: skip


# --- the chapter -----------------------------------------------------------------------------------------------------


def table(heads, rows) -> str:
    """Return a table of the page."""
    lines = ["| " + " | ".join(str(cell) for cell in row) + " |" for row in (heads, ["---"] * len(heads), *rows)]
    return "\n".join(lines)


def package_hash() -> str:
    """Return a short hash of every source and data file of the package."""
    digest = hashlib.sha256()
    for path in sorted((ROOT / "thermosim").rglob("*")):
        if path.suffix in (".py", ".toml"):
            digest.update(path.relative_to(ROOT).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def checks_table(section) -> str:
    """Return the measured numbers beside their bounds."""
    rows = [(c.what, f"{shown(c.measured)} {c.unit}".strip(), f"{c.bound} {c.unit}".strip(), "pass" if holds(c) else "**MISS**")
            for c in section.checks]  # fmt: skip
    return table(("number", "measured", "bound", "verdict"), rows)


def page(sections, provenance) -> str:
    """Return the chapter."""
    parts = [
        "# Verification: does the program solve its equations?",
        "Verification asks whether the equations are solved as they are written. Whether they are the right equations is "
        "another "
        "question: the evidence table (`thermosim evidence`) answers it. This page is generated; do not edit it.",
        provenance,
    ]
    misses = [(number, c.what) for number, s in enumerate(sections, 1) for c in s.checks if not holds(c)]
    summary = [
        (f"{number}. {s.title}", len(s.checks), sum(not holds(c) for c in s.checks)) for number, s in enumerate(sections, 1)
    ]
    parts.append(table(("section", "checks", "missed"), summary))
    parts.append(
        "Missed: " + "; ".join(f"{what} (section {number})" for number, what in misses) + "." if misses else "None is missed."
    )
    for number, s in enumerate(sections, 1):
        parts += [
            f"## {number}. {s.title}",
            f"**What.** {s.what}",
            f"**How.** {s.how}",
            checks_table(s),
            table(s.heads, s.rows),
        ]
        parts += [s.after] if s.after else []
        parts.append("**Held by** " + ", ".join(f"`{name}`" for name in s.held_by) + ".")
    return "\n\n".join(parts) + "\n"


def provenance() -> str:
    """Say what was measured, with what, when, and how to do it again."""
    libraries = ", ".join(f"{name} {installed(name)}" for name in ("numpy", "scipy", "numba"))
    return (
        f"Generated on {datetime.date.today().isoformat()} with thermosim {version()}, package source `{package_hash()}`, "
        f"Python {platform.python_version()}, {libraries}. Generate it anew, with its picture, from the project's folder:\n\n"
        "```\npython benchmarks/verification.py --write\n```"
    )


# Lines of a slope in the picture: order, method they run beside, how far off [factor], where its words stand [s], on which side.
GUIDES = {"hour, on foot": ((2, "heun", 3.0, 3.0, "right"), (1, "rk4", 0.3, 6.0, "left")),
          "hour, power given": ((2, "heun", 3.0, 3.0, "right"),),
          "forcing held": ((2, "heun", 3.0, 3.0, "right"), (4, "rk4", 0.2, 3.5, "left"))}  # fmt: skip


def draw(curves, path) -> None:
    """Draw error against step: whole runs on the left, methods alone on the right."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, NullLocator

    from thermosim.look import page as look
    from thermosim.look import style
    from thermosim.look.style import COLOUR

    arms = {"rkc2, 3 stages": ("deep_water", "-", "o"), "rkc2, 5 stages": ("clay", (0, (2.5, 1.5)), "^"),
            "heun": ("none", (0, (5.5, 2.2)), "s"), "rk4": ("indigo", (0, (6, 1.5, 1.2, 1.5)), "D")}  # fmt: skip
    by = {(what, name): (np.array(steps), np.array(errors)) for what, name, steps, errors in curves}
    steps, errors = by["hour, on foot", "rkc2, 3 stages"]
    factor = 2.0 ** fitted_order(steps[-4:], errors[-4:])
    frame = look.Page(
        question="How fast does the numerical error fall with the step?",
        answer=[f"Half the step divides the error by about {factor:.1f};",
                f"at {steps[0]:g} s the shipped method is off by {errors[0] * 1000:.1f} mK at the body's worst place"],
        setting=f"a, b: median of {RUNS_FOR_ORDER} varied one-hour runs in drifting weather, equal steps, worst of 50 nodes, "
        "against LSODA at 1e-12 · c: forcing held, against RK4 at 0.125 s",
        cautions=["Numerical error only: it says how well the equations are solved, nothing about a person."],
        provenance=f"thermosim {version()} · benchmarks/verification.py · seed {SEED}",
        body_in=3.15,
    )  # fmt: skip
    panels = (("a", "hour, on foot", "Whole runs on foot, error in K", look.LEFT_IN + 0.35, 2.55),
              ("b", "hour, power given", "Power given", 3.95, 1.75),
              ("c", "forcing held", "Methods alone", 6.35, 1.75))  # fmt: skip
    ticks, guide = (1, 2, 4, 8), np.array([0.75, 12.0])
    for letter, what, title, left, width in panels:
        ax = frame.axes(0.3, 2.35, left, width)
        ax.set_xscale("log")
        ax.set_yscale("log")
        ax.set_xlim(0.6, 14.0)
        ax.set_ylim(1e-11 if what == "forcing held" else 2e-7, 0.3 if what != "forcing held" else 3e-2)
        for name, (colour, dash, marker) in arms.items():
            x, y = by[what, name]
            ax.plot(
                x, y, color=COLOUR[colour], ls=dash, marker=marker, ms=3.6, mfc=COLOUR["paper"], lw=1.6, gid=f"{what} {name}"
            )
        ax.axhline(CORE_K, color=COLOUR["ink"], lw=0.9, ls=style.LIMIT_DASH)
        for order, arm, shift, at, side in GUIDES[what]:
            x, y = by[what, arm]
            line = shift * y[-1] * (guide / x[-1]) ** order
            ax.plot(guide, line, color=COLOUR["stone"], lw=0.9, ls=style.DOTTED, zorder=1)
            here = shift * y[-1] * (at / x[-1]) ** order
            up = "bottom" if side == "right" else "top"
            words = ax.text(at, here, f"order {order}", color=COLOUR["grey_ink"], ha=side, va=up, **style.sans("note"))
            look.halo(words)
        ax.xaxis.set_major_locator(FixedLocator(ticks))
        ax.xaxis.set_minor_locator(NullLocator())
        ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: style.number(v)))
        ax.yaxis.set_major_locator(LogLocator(10, numticks=12))
        ax.yaxis.set_minor_locator(NullLocator())
        ax.yaxis.set_major_formatter(
            FuncFormatter(lambda v, _: f"{v:g}" if v > 9e-4 else f"1e{style.MINUS}{-round(math.log10(v))}")
        )
        look.x_label(ax, "step, s")
        look.panel_title(ax, letter, title)
        if letter == "a":
            look.halo(
                ax.text(0.65, CORE_K * 1.25, "required of core", color=COLOUR["ink"], va="bottom", **style.sans("note"))
            )
        if letter == "c":
            high, low = np.log10(ax.get_ylim()[1]), np.log10(ax.get_ylim()[0])
            tops = {name: (np.log10(by[what, name][1][0]) - low) / (high - low) * 2.35 for name in arms}
            order = sorted(tops, key=tops.get)
            for name, place in zip(order, look.spread([tops[k] for k in order], [0.16] * 4), strict=True):
                fill = COLOUR[arms[name][0]]
                ax.text(1.04, place / 2.35, name, transform=ax.transAxes, color=style.text_colour(fill), va="center",
                        **style.sans("label", bold=name == "rkc2, 3 stages"))  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    look.save(frame.figure, path)


def told(text):
    """Say on the error stream what is going on."""
    print(text, file=sys.stderr, flush=True)


def measure():
    """Return the sections of the chapter, and the curves of the picture."""
    told("order of convergence")
    first, curves = order_of_convergence()
    told(f"accuracy: {SETS} three-hour runs")
    varied, again = varied_runs()
    sections = [first, accuracy(varied, again)]
    for words, part in (("books", lambda: books(varied)), ("limiting cases", limiting_cases), ("basic twin", twin_agreement),
                        ("side by side", side_by_side), ("stability", lambda: stability(varied))):  # fmt: skip
        told(words)
        sections.append(part())
    return sections, curves


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Measure the verification chapter.")
    parser.add_argument("--write", action="store_true", help="write docs/verification.md and its picture instead of printing")
    asked = parser.parse_args()
    measured, convergence = measure()
    text = page(measured, provenance())
    if asked.write:
        draw(convergence, PICTURE)
        PAGE.write_text(text, encoding="utf-8")
        missed = sum(not holds(check) for section in measured for check in section.checks)
        told(f"written: {PAGE.relative_to(ROOT)} and {PICTURE.relative_to(ROOT)}; {missed} missed")
    else:
        sys.stdout.reconfigure(encoding="utf-8")
        print(text, end="")
