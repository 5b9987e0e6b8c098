"""Where a run starts: a body settled in mild air, books empty, device rows at their first temperatures."""

import numpy as np

from thermosim.engine import nodes as n
from thermosim.engine.records import PIECE, Work
from thermosim.parameters import value


def before_settling(runners) -> tuple[np.ndarray, np.ndarray]:
    """Return rough resting states (runs, BASE) and fast states (runs, N_FAST); settling makes them right."""
    states, fasts = np.zeros((runners.size, n.BASE)), np.zeros((runners.size, n.N_FAST))
    states[:, : n.N_NODES] = 36.8
    states[:, n.MUSCLE : n.FAT] = 35.8
    states[:, n.FAT : n.SKIN] = 34.4
    states[:, n.SKIN : n.BLOOD] = 33.4
    states[:, n.RECTAL] = 36.8
    fasts[:, n.OXYGEN_FAST] = runners["resting_W"]
    for state, runner in zip(states, runners, strict=True):
        level_groups(state, runner)
    return states, fasts


def level_groups(state, runner) -> None:
    """Give all nodes of a tied group their common temperature (the few-node teaching body); else do nothing."""
    for group in range(runner["tied_groups"]):
        inside = runner["node_group"] == group
        weights = runner["capacity_J_K"][inside]
        state[: n.N_NODES][inside] = (weights * state[: n.N_NODES][inside]).sum() / weights.sum()


def settling_pieces() -> np.ndarray:
    """Return the mild rest in which every body settles: standing still in thermoneutral air, no sun."""
    pieces = np.zeros(1, dtype=PIECE)
    for name, number in (
        ("end_s", 60.0 * value("settle_minutes")),
        ("surface", 1.0),
        ("pressure_kPa", 101.325),
        ("ground_air", 1.0),
        ("gait", -1),
        ("wind_across", 1.0),
        ("power_W", -1.0),
        ("upright", 1.0),
    ):
        pieces[name] = number
    for side in (0, 1):
        pieces[f"air_C_{side}"] = pieces[f"radiant_C_{side}"] = value("settle_air_C")
        pieces[f"vapour_kPa_{side}"] = value("settle_vapour_kPa")
        pieces[f"wind_m_s_{side}"] = value("settle_air_speed_m_s")
    return pieces


def with_empty_books(states, fasts) -> tuple[np.ndarray, np.ndarray]:
    """Keep temperatures, water on the skin and the circulation's state; set all integrals to zero."""
    kept, kept_fast = np.zeros((len(states), n.BASE)), np.zeros_like(fasts)
    kept[:, : n.LOST] = states[:, : n.LOST]
    kept_fast[:, : n.DISTANCE] = fasts[:, : n.DISTANCE]
    return kept, kept_fast


def shift_core(state, core_C: float, runner) -> None:
    """Move a settled state to a wanted core temperature: core, blood and muscle with it, fat and skin by less."""
    weights = np.asarray(runner[0]["trunk_weight"])
    difference = core_C - float((weights * state[n.CORE : n.CORE + n.N_SEGMENTS]).sum())
    state[n.CORE : n.MUSCLE] += difference
    state[n.MUSCLE : n.FAT] += value("start_shift_muscle") * difference
    state[n.FAT : n.SKIN] += value("start_shift_fat") * difference
    state[n.SKIN : n.BLOOD] += value("start_shift_skin") * difference
    state[n.BLOOD : n.RECTAL + 1] += difference
    if runner[0]["tied_groups"]:
        state[: n.N_NODES][runner[0]["node_group"] == 0] = core_C


def start_rows(work: Work, start: Work, rows) -> None:
    """Copy a settled start into a run's arrays and give device rows their first temperatures."""
    work.state[: n.BASE] = start.state[: n.BASE]
    work.fast[:] = start.fast
    for r in range(rows.size):
        base = n.BASE + r * n.ROW_SIZE
        work.state[base + n.PATCH_C] = work.state[n.SKIN + rows[r]["segment"]]
        work.state[base + n.OUTER_C] = rows[r]["charge_C"]
