"""Call the kernel for one run: allocate, choose the step, check stability, settle the start, collect samples."""

from typing import NamedTuple

import numpy as np

from thermosim.engine import nodes as n
from thermosim.engine.integrate import N_DIAGNOSTICS, N_SUMMARIES, SITE_CORE, integrate
from thermosim.engine.methods import RKC2, chebyshev_coefficients, stability_limit
from thermosim.engine.records import EVENT, PIECE, ROW, Work
from thermosim.errors import NumericalFailure

METHOD, STAGES, STEP_S = RKC2, 3, 15.0  # chosen by measurement: benchmarks/step_methods.py
TABLE = chebyshev_coefficients(STAGES)
NO_ROWS = np.zeros(0, dtype=ROW)
NO_EVENTS = np.zeros(0, dtype=EVENT)


def table_of(method: int, stages: int) -> np.ndarray:
    """Return the coefficients of a step method (the chosen one's are computed once)."""
    return TABLE if (method, stages) == (METHOD, STAGES) else chebyshev_coefficients(stages)


class Trajectory(NamedTuple):
    """Samples of one run, as the kernel wrote them; ``dataset.py`` turns them into names and units."""

    time_s: np.ndarray  # (k,)
    states: np.ndarray  # (k, size)
    rates: np.ndarray  # (k, size)
    fasts: np.ndarray  # (k, N_FAST)
    diagnostics: np.ndarray  # (k, N_DIAGNOSTICS)
    summary: np.ndarray  # (N_SUMMARIES,)
    status: int


def new_work(n_rows: int) -> Work:
    """Return zeroed arrays for one run."""
    size = n.BASE + n_rows * n.ROW_SIZE
    return Work(np.zeros(size), np.zeros(n.N_FAST), np.zeros((n.N_TERMS, n.N_COLUMNS)), np.zeros((n.N_COEFFICIENTS, n.N_SEGMENTS)),
                np.zeros(n.MAX_ROWS, dtype=np.int64), np.zeros((5, size)))


def stops_of(pieces, events, save_times_s) -> tuple[np.ndarray, np.ndarray]:
    """Merge declared jumps and save times into the times a step must end on; say which are saved."""
    start, end = float(pieces["start_s"][0]), float(pieces["end_s"][-1])
    jumps = np.concatenate([pieces["start_s"], pieces["end_s"], events["time_s"]])
    jumps = jumps[(jumps >= start) & (jumps <= end)]
    saves = np.asarray(save_times_s, dtype=float)
    stops = np.unique(np.concatenate([jumps, saves, [start, end]]).round(6))
    return stops, np.isin(stops, saves.round(6)).astype(np.int64)


def stiffest_rates(runners, pieces, rows) -> np.ndarray:
    """Bound on the largest eigenvalue of each runner's thermal network [1/s], at the strongest forcing.

    Sum of a node's conductances over its heat capacity, times 1.7 for the coupling to its neighbours;
    evaporation counts at full wettedness near 36 °C. ``rows`` has shape (runs, n_rows).
    """
    wind = np.maximum(pieces["wind_m_s_0"], pieces["wind_m_s_1"]) * runners["air_speed_factor"].max()
    fastest = max(float((pieces["speed_m_s"] + wind).max()), float(pieces["fan_m_s"].max()), 0.5)
    h_c = 8.7 * fastest**0.6 if fastest > 1.0 else 3.5 + 5.2 * fastest
    lewis_slope = 16.5 * 0.33 * 101.325 / float(pieces["pressure_kPa"].min())  # [1] evaporation over convection per kelvin, 36 °C
    weight = np.maximum(runners["convection_weight"], runners["swing_weight"])
    blood = runners["heat_capacity_of_blood_J_L"][:, None] / 60.0
    skin_blood = blood * runners["skin_flow_ceiling_rest_L_min"][:, None] * runners["skin_flow_share"]
    skin_air = (h_c * weight * (1.0 + lewis_slope) + 6.0) * runners["area_m2"]
    capacity = runners["capacity_J_K"]
    skin = (skin_air + runners["conductance_fat_skin"] + skin_blood) / capacity[:, n.SKIN : n.BLOOD]
    working = runners["muscle_flow_gain_L_per_L_oxygen"] * runners["maximal_W"] / runners["oxygen_J_L"] * 60.0
    flows = (runners["muscle_flow_rest_L_min"] + working + runners["core_flow_L_min"].sum(axis=1)
             + runners["skin_flow_ceiling_exercise_L_min"] + runners["fat_flow_L_min"].sum(axis=1))
    found = [skin.max(axis=1), blood[:, 0] * flows / capacity[:, n.BLOOD] / 1.7]
    everyone = np.arange(runners.size)
    for k in range(rows.shape[1]):
        row = rows[:, k]
        s = row["segment"]
        per_area = (runners["conductance_fat_skin"][everyone, s] + skin_blood[everyone, s]) / runners["area_m2"][everyone, s]
        skin_capacity = capacity[everyone, n.SKIN + s] / runners["area_m2"][everyone, s]
        found.append((row["contact_W_m2K"] + per_area) / skin_capacity)
        outer = row["outer_conductance_W_m2K"] + h_c * weight[everyone, s] * (1.0 + 0.5 * lewis_slope) + 6.0
        found.append(row["outer_area_m2"] * outer / row["outer_J_K"])
        drained = row["dry_J_K"] + row["liquid_J_kgK"] * np.minimum(row["hold_kg"], 0.2 * row["charge_kg"]) * (1 - row["wicks"])
        found.append((row["contact_W_m2K"] * row["area_m2"] + row["outer_conductance_W_m2K"] * row["outer_area_m2"]) / drained)
    return 1.7 * np.max(found, axis=0)


def longest_steps(runners, pieces, rows, method: int, stages: int, wanted_s: float) -> np.ndarray:
    """Return a step [s] for each runner that keeps 20 % away from the method's stability limit.

    Raises
    ------
    NumericalFailure
        When even a tenth of a second would not do: an input makes a node far too quick.
    """
    rates = stiffest_rates(runners, pieces, rows)
    steps = np.minimum(wanted_s, 0.8 * stability_limit(method, stages) / rates)
    if steps.min() < 0.1:
        raise NumericalFailure(
            f"The quickest node of this runner or device settles within {1.0 / rates.max():.3f} s, too fast for steps of 0.1 s. "
            "Give the device more heat capacity or less contact conductance.")
    return steps


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
    for name, number in (("end_s", 60.0 * minutes), ("surface", 1.0), ("pressure_kPa", 101.325), ("ground_air", 1.0),
                         ("gait", -1), ("wind_across", 1.0)):
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


def settle(runner) -> Work:
    """Bring one body to rest in mild air; return its state with empty books.

    Every run starts from here, so that layers and segments have the temperatures the model itself keeps.
    """
    states, fasts = before_settling(runner)
    work = new_work(0)
    work.state[:], work.fast[:] = states[0], fasts[0]
    pieces = settling_pieces()
    stops, saved = stops_of(pieces, NO_EVENTS, [])
    step = longest_steps(runner, pieces, NO_ROWS[None], METHOD, STAGES, STEP_S)[0]
    nothing = np.zeros((0, 0))
    integrate(runner[0], pieces, NO_ROWS, 0, NO_EVENTS, stops, saved, METHOD, TABLE, step, 99.0, SITE_CORE, work,
              nothing, nothing, nothing, nothing, np.zeros(N_SUMMARIES))
    states, fasts = with_empty_books(work.state[None], work.fast[None])
    start = new_work(0)
    start.state[:], start.fast[:] = states[0], fasts[0]
    return start


def shift_core(start: Work, core_C: float, runner) -> None:
    """Move a settled start to a wanted core temperature: core, blood and muscle with it, fat and skin by less."""
    weights = np.asarray(runner[0]["trunk_weight"])
    difference = core_C - float((weights * start.state[n.CORE : n.CORE + n.N_SEGMENTS]).sum())
    state = start.state
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


def run(runner, pieces, rows=NO_ROWS, events=NO_EVENTS, save_times_s=(), *, start: Work, limit_C: float = 99.0,
        site: int = SITE_CORE, method: int = METHOD, stages: int = STAGES, step_s: float = STEP_S) -> Trajectory:
    """Integrate one run and return its samples.

    Parameters
    ----------
    runner : array of RUNNER, shape (1,)
    pieces : array of PIECE
    rows, events : arrays of ROW and EVENT
        Device rows and what happens to them (in order of time).
    save_times_s : array_like
        Times to keep [s].
    start : Work
        Settled start, from :func:`settle`.
    limit_C, site : float, int
        Core limit [°C] and the site it acts on.
    method, stages, step_s : int, int, float
        Step method and longest step.

    Returns
    -------
    Trajectory
        With a status; raising is the caller's choice.
    """
    stops, saved = stops_of(pieces, events, save_times_s)
    count = int(saved.sum())
    work = new_work(rows.size)
    start_rows(work, start, rows)
    size = work.state.size
    table = table_of(method, stages)
    states, rates = np.zeros((count, size)), np.zeros((count, size))
    fasts, diagnostics, summary = np.zeros((count, n.N_FAST)), np.zeros((count, N_DIAGNOSTICS)), np.zeros(N_SUMMARIES)
    step = longest_steps(runner, pieces, rows[None], method, stages, step_s)[0]
    status = integrate(runner[0], pieces, rows, rows.size, events, stops, saved, method, table, step, limit_C, site, work,
                       states, rates, fasts, diagnostics, summary)
    return Trajectory(stops[saved == 1], states, rates, fasts, diagnostics, summary, int(status))
