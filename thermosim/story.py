"""``simulate`` told in one screen: inputs -> flat records -> engine -> labelled Dataset."""

import json
from typing import NamedTuple

import numpy as np

from thermosim.cooling import Worn, flatten_cooling, is_own, spec_of, worn_list
from thermosim.cooling.blocks import cooling_of_blocks, with_blocks
from thermosim.cooling.schedule import Timetable, worn_by
from thermosim.dataset import to_dataset
from thermosim.engine import run as engine
from thermosim.engine.integrate import SITE_CORE, SITE_GUT, SITE_OESOPHAGEAL, SITE_RECTAL
from thermosim.engine.nodes import DONE, STATUS_SENTENCES
from thermosim.engine.plan import STEP_S
from thermosim.engine.start import shift_core
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.blocks import in_order
from thermosim.inputs.checks import check_names, shown
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.paced_flat import is_paced, leg_kinds, paced_records
from thermosim.inputs.session import Session
from thermosim.parameters import PARAMETERS
from thermosim.turns import in_turns

SITES = {"core": SITE_CORE, "rectal": SITE_RECTAL, "oesophageal": SITE_OESOPHAGEAL, "gut": SITE_GUT}
LARGEST_CLOSURE = 1e-6  # of throughput; a run that leaves more is an error, not a result
LARGEST_WATER_CLOSURE_KG = 1e-6
SHORTEST_SAVE_S, LONGEST_SAVE_S = 0.1, 86_400.0


class Prepared(NamedTuple):
    """A session made flat: what the engine needs for one variant."""

    runner: np.ndarray
    pieces: np.ndarray
    rows: np.ndarray
    events: np.ndarray
    device_names: list[str]
    start: engine.Work
    limit_C: float
    site: int
    rule: np.ndarray = engine.NO_RULE
    legs: np.ndarray = engine.NO_LEGS
    leg_events: np.ndarray = engine.NO_EVENTS


def simulate(
    runner,
    effort,
    weather,
    *,
    cooling=(),
    core_limit_C=None,
    limit_site="core",
    two_node=False,
    save_every_s=None,
):
    """Simulate one run.

    Parameters
    ----------
    runner : Runner
    effort : Effort
    weather : Weather
    cooling : list of Worn, optional
        Devices with their times, e.g. ``[thermosim.cooling.ice_collar(ice_kg=0.25)]``.
    core_limit_C : float, optional
        Limit [°C]; None takes the default for the runner's heat days.
    limit_site : {'core', 'rectal', 'oesophageal', 'gut'}
        Temperature that the limit acts on.
    two_node : bool
        Tie the body into one core and one skin node (for teaching).
    save_every_s : float, optional
        Time between samples [s]; 12 s, or the recording's own step if that is shorter.

    Returns
    -------
    xarray.Dataset
        Dimensions and variables as the glossary in ``variables.OUTPUTS`` names them, with units and labels.

    Raises
    ------
    InputError
        An input is refused.
    NumericalFailure
        The engine stopped, or the energy or water books did not close.
    """
    worn = worn_list(cooling)
    limits = {"site": limit_site, **({} if core_limit_C is None else {"core_temperature_C": core_limit_C})}
    session = Session.from_parts(
        runner,
        effort,
        weather,
        limits=limits,
        variants=[{"name": "run", "cooling": [spec_of(one) for one in worn]}],
    )
    return simulate_session(session, cooling=worn, two_node=two_node, save_every_s=save_every_s)


def simulate_session(
    session, variant=None, *, cooling=None, overrides=None, two_node=False, save_every_s=None
):
    """Simulate one variant of a session (the first unless named); see :func:`simulate` for the result.

    ``cooling`` replaces the variant's devices; ``overrides`` replaces values of the parameter table by name.
    """
    overrides, session = check_overrides(overrides), in_turns(session)
    cooling = None if cooling is None else worn_list(cooling)
    save_step(session.effort, save_every_s)  # refused before the work is done
    prepared = prepare_session(session, variant, cooling=cooling, overrides=overrides, two_node=two_node)
    times = save_times(session.effort, save_every_s, float(prepared.pieces["end_s"][-1]))
    trajectory = engine.run(
        prepared.runner,
        prepared.pieces,
        prepared.rows,
        prepared.events,
        times,
        start=prepared.start,
        limit_C=prepared.limit_C,
        site=prepared.site,
        rule=prepared.rule,
        legs=prepared.legs,
        leg_events=prepared.leg_events,
    )
    if trajectory.status != DONE:
        raise NumericalFailure(f"The run stopped: {STATUS_SENTENCES[trajectory.status]}.")
    prepared = prepared._replace(events=events_as_they_were(prepared, trajectory))
    options = {
        "two_node": int(bool(two_node)),
        "save_every_s": save_step(session.effort, save_every_s),
        "overrides": json.dumps(overrides),
        "own_devices": json.dumps([one.device.name for one in cooling or () if is_own(one)]),
    }
    ds = to_dataset(trajectory, prepared, session, variant_of(session, variant).name, options)
    judge_books(
        float(ds.attrs["energy_closure_relative"]),
        float(ds.attrs["water_closure_kg"]),
        float(ds.attrs["device_closure_relative"]),
    )
    _add_warnings(ds, overrides)
    if session.blocks:
        ds = ds.assign_coords(leg_kind=("leg", leg_kinds(session), {"long_name": "Kind of block that the leg is"}))
    return ds


def judge_books(energy: float, water_kg: float, device: float = 0.0, of: str = "") -> None:
    """Raise unless a run's books close: energy and devices relative to what went through, water in kg.

    Raises
    ------
    NumericalFailure
        Which book does not close, by how much, and what is allowed. A number that is none does not close.
    """
    books = (
        ("energy", energy, LARGEST_CLOSURE, "of the heat turned over"),
        ("water", water_kg, LARGEST_WATER_CLOSURE_KG, "kg"),
        ("device", device, LARGEST_CLOSURE, "of the heat and water it took"),
    )
    for name, left, allowed, what in books:
        if not abs(left) < allowed:
            raise NumericalFailure(
                f"The {name} books{of} do not close: {left:.1e} {what}, allowed is {allowed:.0e}. "
                "Please report this with the session file."
            )


def check_overrides(overrides) -> dict[str, float]:
    """Return parameter overrides as plain numbers; an unknown name or no finite number is refused."""
    found = {}
    check_names(overrides or {}, PARAMETERS)
    for name, number in (overrides or {}).items():
        parameter = PARAMETERS[name]
        if isinstance(number, bool) or not isinstance(number, int | float | np.number) or not np.isfinite(number):
            raise InputError(
                f"is {shown(number)}, allowed is a finite number",
                field=name,
                remedy=f"give a number in {parameter.unit}, usually {parameter.low:g} to {parameter.high:g}",
            )
        found[name] = float(number)
    return found


def _add_warnings(ds, overrides) -> None:
    """Say what a saved run cannot bring back, and which parameters were replaced beyond their plausible range."""
    found = json.loads(ds.attrs["warnings"])
    for name in json.loads(ds.attrs["own_devices"]):
        found.append(
            f"The device {name} comes from the user's own code: a saved run cannot be run again without it."
        )
    for name, number in overrides.items():
        parameter = PARAMETERS[name]
        if not parameter.low <= number <= parameter.high:
            found.append(
                f"{name} is overridden with {number:g} {parameter.unit}, outside its plausible range "
                f"({parameter.low:g} to {parameter.high:g} {parameter.unit})."
            )
    ds.attrs["warnings"] = json.dumps(found, ensure_ascii=False)


def prepare_session(session, variant=None, *, cooling=None, overrides=None, two_node=False) -> Prepared:
    """Turn a session and one of its variants into the engine's flat records."""
    runner = runner_record(session.runner, overrides, two_node=two_node)
    paced = paced_records(session, runner) if is_paced(session) else None
    pieces = piece_records(session.effort, session.weather) if paced is None else paced.pieces
    if cooling is None:
        cooling = worn_of(session, variant_of(session, variant))
    rows, events, names = flatten_cooling(cooling, runner[0]["area_m2"], float(pieces["end_s"][-1]))
    more = ()
    if paced is not None:
        area_m2 = runner[0]["area_m2"]
        of_blocks = cooling_of_blocks(in_order(session.blocks), area_m2)
        rows, names, leg_events = with_blocks(of_blocks, rows, names, events, area_m2)
        more = (paced.rule, paced.legs, leg_events)
    start = engine.settle(runner)
    if session.runner.core_start_C is not None:
        shift_core(start.state, session.runner.core_start_C, runner)
    return Prepared(
        runner, pieces, rows, events, names, start, session.core_limit_C, SITES[session.limit_site], *more
    )


def events_as_they_were(prepared, trajectory) -> np.ndarray:
    """Return all events of a run at their times: those of its legs happened when the leg began."""
    if trajectory.pacing is None or not prepared.leg_events.size:
        return prepared.events
    happened = prepared.leg_events.copy()
    happened["time_s"] = trajectory.pacing.leg_starts[happened["time_s"].astype(int), 0]
    happened = happened[np.isfinite(happened["time_s"])]
    every = np.concatenate([prepared.events, happened])
    return every[np.argsort(every["time_s"], kind="stable")]


def worn_of(session, variant) -> list[Worn]:
    """Return what a variant wears, when in minutes of this session's effort: distances, clock times and rules made times.

    Raises
    ------
    InputError
        A device or a schedule is refused; where a wear sheet says it, with its line.
    """
    table = timetable_of(session)
    return [worn_by(spec, table) for spec in variant.cooling]


def dress(session, tables) -> list[Worn]:
    """Build cooling tables and refuse what does not fit the runner; without a session (None) times are left open."""
    worn = [worn_by(spec, None if session is None else timetable_of(session)) for spec in tables]
    if session is not None:
        flatten_cooling(worn, runner_record(session.runner)[0]["area_m2"], float(session.effort.end_s[-1]))
    return worn


def timetable_of(session) -> Timetable:
    """Return where the runner of a session is when."""
    effort = session.effort
    return Timetable(np.append(effort.start_s[0], effort.end_s), effort.speed_m_s, session.start_clock_s)


def variant_of(session, name=None):
    """Return the variant of that name, or the first; an unknown name is refused."""
    if name is None:
        return session.variants[0]
    for variant in session.variants:
        if variant.name == name:
            return variant
    known = ", ".join(variant.name for variant in session.variants)
    raise InputError(
        f"is {name!r}, known are {known}", field="variant", remedy="use one of the session's variants"
    )


def save_times(effort, save_every_s=None, end_s=None) -> np.ndarray:
    """Return the times that are kept [s]: the start, every :func:`save_step`, and the end, the effort's unless given."""
    end = float(effort.end_s[-1]) if end_s is None else end_s
    return np.unique(np.append(np.arange(0.0, end, save_step(effort, save_every_s)), end))


def save_step(effort, save_every_s=None) -> float:
    """Return the time between samples [s]: as asked, else 12 s, or a recording's step if that is shorter.

    Raises
    ------
    InputError
        Not a finite number of 0.1 s or more.
    """
    if save_every_s is None:
        step = STEP_S
        if effort.recorded is not None and effort.recorded.time_s.size > 1:
            step = min(step, max(float(np.median(np.diff(effort.recorded.time_s))), 1.0))
        return step
    number = isinstance(save_every_s, int | float | np.number) and not isinstance(save_every_s, bool)
    if not number or not SHORTEST_SAVE_S <= save_every_s <= LONGEST_SAVE_S:
        raise InputError(
            f"is {shown(save_every_s)}, allowed is {SHORTEST_SAVE_S:g} to {LONGEST_SAVE_S:g} s",
            field="save_every_s",
            remedy="give the seconds between samples, or leave it out",
        )
    return float(save_every_s)
