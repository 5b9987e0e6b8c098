"""``simulate`` told in one screen: inputs -> flat records -> engine -> labelled Dataset."""

from typing import NamedTuple

import numpy as np

from thermosim.cooling import Worn, flatten_cooling, from_spec, spec_of
from thermosim.dataset import to_dataset
from thermosim.engine import run as engine
from thermosim.engine.integrate import SITE_CORE, SITE_GUT, SITE_OESOPHAGEAL, SITE_RECTAL
from thermosim.engine.nodes import DONE, STATUS_SENTENCES
from thermosim.engine.plan import STEP_S
from thermosim.engine.start import shift_core
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.flat import piece_records, runner_record
from thermosim.inputs.session import Session

SITES = {"core": SITE_CORE, "rectal": SITE_RECTAL, "oesophageal": SITE_OESOPHAGEAL, "gut": SITE_GUT}
LARGEST_CLOSURE = 1e-6  # of throughput; a run that leaves more is an error, not a result


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
        Time between samples [s]; 15 s, or the recording's own step if that is shorter.

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
    worn = [one if isinstance(one, Worn) else Worn(one) for one in cooling]
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
    """Simulate one variant of a session (the first unless named); see :func:`simulate` for the result."""
    prepared = prepare_session(session, variant, cooling=cooling, overrides=overrides, two_node=two_node)
    times = save_times(session.effort, save_every_s)
    trajectory = engine.run(
        prepared.runner,
        prepared.pieces,
        prepared.rows,
        prepared.events,
        times,
        start=prepared.start,
        limit_C=prepared.limit_C,
        site=prepared.site,
    )
    if trajectory.status != DONE:
        raise NumericalFailure(f"The run stopped: {STATUS_SENTENCES[trajectory.status]}.")
    ds = to_dataset(trajectory, prepared, session, variant_of(session, variant).name)
    if not ds.attrs["energy_closure_relative"] < LARGEST_CLOSURE:
        raise NumericalFailure(
            f"The energy books do not close: {ds.attrs['energy_closure_relative']:.1e} of the heat turned "
            f"over, allowed is {LARGEST_CLOSURE:.0e}. Please report this with the session file."
        )
    return ds


def prepare_session(session, variant=None, *, cooling=None, overrides=None, two_node=False) -> Prepared:
    """Turn a session and one of its variants into the engine's flat records."""
    runner = runner_record(session.runner, overrides, two_node=two_node)
    pieces = piece_records(session.effort, session.weather)
    if cooling is None:
        cooling = [from_spec(spec) for spec in variant_of(session, variant).cooling]
    rows, events, names = flatten_cooling(cooling, runner[0]["area_m2"], float(pieces["end_s"][-1]))
    start = engine.settle(runner)
    if session.runner.core_start_C is not None:
        shift_core(start.state, session.runner.core_start_C, runner)
    return Prepared(
        runner, pieces, rows, events, names, start, session.core_limit_C, SITES[session.limit_site]
    )


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


def save_times(effort, save_every_s=None) -> np.ndarray:
    """Return the times that are kept [s]: every 15 s, at a recording's step if shorter, and always the end."""
    end = float(effort.end_s[-1])
    step = save_every_s or STEP_S
    if save_every_s is None and effort.recorded is not None and effort.recorded.time_s.size > 1:
        step = min(step, max(float(np.median(np.diff(effort.recorded.time_s))), 1.0))
    return np.unique(np.append(np.arange(0.0, end, step), end))
