"""Where the runs of a case leave the range a relation was published for, or in which the model was tried."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from thermosim.engine import nodes as n
from thermosim.engine.balance import shivering
from thermosim.engine.integrate import D_AIR_SPEED, D_CORE, D_SKIN, D_SPEED
from thermosim.errors import NumericalFailure
from thermosim.evidence.outcomes import predict_case
from thermosim.evidence.timeline import VariantRun, blanks_of, run_variant
from thermosim.physiology.energetics import RUN, WALK
from thermosim.ranges import RANGES, outside

STANDING_BELOW_M_S = 0.05
LITTLE_AIR = 0.5  # of the own speed: below it, limb swing counts
OVER_BLANKS = "At an end of what the paper leaves blank: "

Ends = dict[str, tuple[float, float]]  # name of a range -> lowest and highest value of a run


def predict_with_ends(job) -> tuple[dict[str, float], dict[str, Ends]]:
    """Predict a ``(case, overrides, blanks)``; return the predictions, and variant -> how far its run went.

    A run that could not be finished has no ends.
    """
    case, overrides, blanks = job
    runs: dict[str, VariantRun | None] = {}
    found = predict_case(case, overrides, blanks, runs)
    for limit in case.climate_limits:
        if limit.variant not in runs:
            variant = next(one for one in case.variants if one.name == limit.variant)
            try:
                runs[limit.variant] = run_variant(variant, {**blanks_of(case), **(blanks or {})}, overrides)
            except NumericalFailure:
                runs[limit.variant] = None
    return found, {name: ends_of(run) for name, run in runs.items() if run is not None}


def ends_of(run: VariantRun) -> Ends:
    """Return the lowest and highest value of everything that :mod:`thermosim.ranges` has a range for.

    The preparation of a variant belongs to its run.
    """
    parts = [(run.trajectory, run.pieces)]
    if run.before is not None:
        parts.append((run.before, run.pieces_before))
    pieces = np.concatenate([one for _, one in parts])
    values: dict[str, list] = {
        "age_y": [run.who.age_y],
        "mass_kg": [run.who.mass_kg],
        "minutes": [sum(one["end_s"][-1] for _, one in parts) / 60.0],
        "breathed_air_C": [pieces["air_C_0"]],
        **_speeds(pieces),
    }
    for trajectory, _ in parts:
        for name, numbers in _course(trajectory, run.runner[0]).items():
            values.setdefault(name, []).append(numbers)
    joined = {name: np.concatenate([np.ravel(one) for one in numbers]) for name, numbers in values.items()}
    return {name: (float(np.min(one)), float(np.max(one))) for name, one in joined.items() if one.size}


def _speeds(pieces) -> dict[str, list]:
    """Speeds of which the cost is computed: a given power needs no cost relation."""
    speed, gait = pieces["speed_m_s"], pieces["gait"]
    moving = (speed >= STANDING_BELOW_M_S) & (pieces["power_W"] < 0.0)
    walking, running = speed[moving & (gait == WALK)], speed[moving & (gait == RUN)]
    return {"asked_walk_m_s": [walking], "walk_m_s": [walking], "asked_run_m_s": [running]}


def _course(trajectory, runner) -> dict[str, np.ndarray]:
    d, states = trajectory.diagnostics, trajectory.states
    air, speed, core, skin = d[:, D_AIR_SPEED], d[:, D_SPEED], d[:, D_CORE], d[:, D_SKIN]
    cold = np.maximum(runner["skin_signal_set_C"] - skin, 0.0) * np.maximum(runner["shiver_core_C"] - core, 0.0)
    k = int(np.argmax(cold))
    lost_pct = 100.0 * states[:, n.LOST] / runner["mass_kg"]
    return {
        "air_speed_m_s": air,
        "swing_speed_m_s": speed[air < LITTLE_AIR * speed],
        "core_C": core,
        "mean_skin_C": skin,
        "segment_skin_C": states[:, n.SKIN : n.SKIN + n.N_SEGMENTS],
        "shivering_W": np.array([shivering(core[k], skin[k], runner)]),
        "mass_loss_pct": lost_pct,
        "large_mass_loss_pct": lost_pct,
    }


def sentences(points: Sequence[dict[str, Ends]], variants: Iterable[str]) -> tuple[str, ...]:
    """Return what to say of an outcome that reads these variants.

    Parameters
    ----------
    points : list
        What :func:`predict_with_ends` found with the blanks at their centre, then at other points.
    variants : iterable of str
    """
    variants = list(variants)
    said = []
    for name in RANGES:
        if name == "mass_loss_pct" and _outside("large_mass_loss_pct", points, variants):
            continue  # the larger one says it
        found = _outside(name, points[:1], variants)
        if not found:
            found = [f"{OVER_BLANKS}{one}" for one in _outside(name, points[1:], variants)]
        said += found
    return tuple(said)


def _outside(name: str, points: Iterable[dict[str, Ends]], variants: list[str]) -> list[str]:
    return outside(name, [end for point in points for one in variants for end in point.get(one, {}).get(name, ())])


# Kind of an outcome -> names of the variants that it reads.
_READS: dict[str, Callable] = {
    "measured": lambda thing: [thing[0].name],
    "contrast": lambda thing: [thing.variant, thing.against],
    "slope": lambda thing: thing.variants,
    "order": lambda thing: thing.variants,
    "climate_limit": lambda thing: [thing.variant],
    "law": lambda thing: [],
}


def variants_read(outcome) -> list[str]:
    """Return the names of the variants that an outcome reads; a climate limit counts with its variant as written."""
    return list(_READS[outcome.kind](outcome.object))
