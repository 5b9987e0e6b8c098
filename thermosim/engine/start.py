"""Where a run starts: a body settled in mild air, books empty, device rows at their first temperatures."""

import numpy as np

from thermosim.engine import nodes as n
from thermosim.engine.records import PIECE, Work


def before_settling(runners) -> tuple[np.ndarray, np.ndarray]:
    """Return rough resting states (runs, BASE) and fast states (runs, N_FAST) from which settling starts."""
    states, fasts = np.zeros((runners.size, n.BASE)), np.zeros((runners.size, n.N_FAST))
    states[:, : n.N_NODES] = 36.8
    states[:, n.MUSCLE : n.FAT] = 35.8
    states[:, n.FAT : n.SKIN] = 34.4
    states[:, n.SKIN : n.BLOOD] = 33.4
    states[:, n.RECTAL] = 36.8
    fasts[:, n.OXYGEN_FAST] = runners["resting_W"]
    return states, fasts


def settling_pieces(minutes: float = 150.0) -> np.ndarray:
    """Return the mild rest in which every body settles: standing still at 30 °C, 45 %, 0.1 m/s, no sun."""
    pieces = np.zeros(1, dtype=PIECE)
    for name, number in (
        ("end_s", 60.0 * minutes),
        ("surface", 1.0),
        ("pressure_kPa", 101.325),
        ("ground_air", 1.0),
        ("gait", -1),
        ("wind_across", 1.0),
    ):
        pieces[name] = number
    for side in (0, 1):
        for name, number in (("air_C", 30.0), ("vapour_kPa", 1.9), ("radiant_C", 30.0), ("wind_m_s", 0.1)):
            pieces[f"{name}_{side}"] = number
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
    state[n.MUSCLE : n.FAT] += 0.9 * difference
    state[n.FAT : n.SKIN] += 0.6 * difference
    state[n.SKIN : n.BLOOD] += 0.4 * difference
    state[n.BLOOD : n.RECTAL + 1] += difference


def start_rows(work: Work, start: Work, rows) -> None:
    """Copy a settled start into a run's arrays and give device rows their first temperatures."""
    work.state[: n.BASE] = start.state[: n.BASE]
    work.fast[:] = start.fast
    for r in range(rows.size):
        base = n.BASE + r * n.ROW_SIZE
        work.state[base + n.PATCH_C] = work.state[n.SKIN + rows[r]["segment"]]
        work.state[base + n.OUTER_C] = rows[r]["charge_C"]
