"""Energy and water books of one run, closed from outside the engine: from samples of states alone."""

import numpy as np

from thermosim.constants import SPECIFIC_HEAT_WATER
from thermosim.engine import nodes as n
from thermosim.engine.integrate import SAME_TIME_S
from thermosim.engine.records import ON_SKIN, PUT_ON, REFILL


def worn_at(times_s, rows, events, place=ON_SKIN) -> np.ndarray:
    """Return which rows are worn just after each time, shape (time, row)."""
    worn = np.zeros((len(times_s), rows.size), dtype=bool)
    for event in events:
        if event["action"] != REFILL and rows[event["row"]]["place"] == place:
            worn[times_s >= event["time_s"] - SAME_TIME_S, event["row"]] = event["action"] == PUT_ON
    return worn


def heat_content(states, runner, rows, worn) -> np.ndarray:
    """Heat held by all tissue at each sample [J], from masses and temperatures alone (relative to 0 °C)."""
    return _over_all_tissue(states, states, runner, rows, worn)


def storage(states, rates, runner, rows, worn) -> np.ndarray:
    """Heat the body keeps [W]: every node's own rate of warming times its heat capacity, summed."""
    return _over_all_tissue(states, rates, runner, rows, worn)


def _over_all_tissue(states, numbers, runner, rows, worn) -> np.ndarray:
    """Sum ``numbers`` (temperatures or their rates) over all tissue, weighted by the heat capacity it has at each sample."""
    r = runner[0]
    capacity = np.tile(r["capacity_J_K"], (len(states), 1)) - SPECIFIC_HEAT_WATER * np.outer(
        states[:, n.LOST], r["water_share"]
    )
    total = np.zeros(len(states))
    for k, row in enumerate(rows):
        s = row["segment"]
        patch = r["capacity_J_K"][n.SKIN + s] * row["area_m2"] / r["area_m2"][s] * worn[:, k]
        capacity[:, n.SKIN + s] -= patch
        total += patch * numbers[:, n.BASE + k * n.ROW_SIZE + n.PATCH_C]
    return total + (capacity * numbers[:, : n.N_NODES]).sum(axis=1)


def energy_closure(times_s, states, runner, rows, worn) -> tuple[np.ndarray, float]:
    """Return closure between samples [W] and the run's closure relative to throughput.

    Heat content at the later sample minus the earlier one, against the integrals of what crossed the boundary.
    """
    content = heat_content(states, runner, rows, worn)
    crossed = states[:, n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS]
    net = crossed.sum(axis=1) - states[:, n.JOULES_WATER]
    left = (content - content[0]) - (net - net[0])
    throughput = np.abs(crossed[-1] - crossed[0]).sum()
    rate = np.zeros(len(times_s))
    if len(times_s) > 1:
        rate[1:] = np.diff(left) / np.diff(times_s)
    return rate, float(np.abs(left).max() / throughput) if throughput > 0 else 0.0


def water_closure(states, n_rows) -> float:
    """Return what the water on the skin, or in the body, is short of its books at the end [kg]."""

    def on_skin(state):
        return state[n.FILM : n.LOST].sum() + sum(
            state[n.BASE + r * n.ROW_SIZE + n.PATCH_FILM] for r in range(n_rows)
        )

    def booked(state):
        return (
            state[n.SWEAT]
            + state[n.CONDENSED]
            + state[n.RECEIVED]
            - state[n.EVAPORATED]
            - state[n.DRIPPED]
            - state[n.WICKED]
        )

    end, begin = states[-1], states[0]
    film = on_skin(end) - on_skin(begin) - (booked(end) - booked(begin))
    body = (end[n.LOST] - begin[n.LOST]) - sum(end[i] - begin[i] for i in (n.SWEAT, n.DIFFUSED, n.BREATHED))
    body += sum(
        end[n.BASE + r * n.ROW_SIZE + n.ROW_DRUNK] - begin[n.BASE + r * n.ROW_SIZE + n.ROW_DRUNK]
        for r in range(n_rows)
    )
    return float(np.max(np.abs([film, body])))


def device_closure(state, rows) -> float:
    """Return the largest imbalance of a device's energy book, relative to its charge [1], and of its water."""
    worst = 0.0
    for r, row in enumerate(rows):
        block = state[n.BASE + r * n.ROW_SIZE :]
        stored = block[n.STORE_J] + row["outer_J_K"] * (block[n.OUTER_C] - row["charge_C"])
        came = (
            block[n.ROW_CHARGED_J]
            + block[n.FROM_SKIN]
            + block[n.FROM_AIR]
            + block[n.FROM_VAPOUR]
            + block[n.WITH_WATER]
        )
        scale = abs(block[n.ROW_CHARGED_J]) + abs(block[n.FROM_SKIN]) + 1.0
        water = (
            block[n.STORE_KG]
            + block[n.OUTER_KG]
            - (
                block[n.ROW_CHARGED_KG]
                + block[n.ROW_CONDENSED]
                + block[n.ROW_WICKED]
                - block[n.ROW_EVAPORATED]
                - block[n.ROW_DRIPPED]
            )
        )
        shares = abs(stored - came) / scale, abs(water) / max(block[n.ROW_CHARGED_KG], 1e-3)
        worst = np.max([worst, *shares])  # a number that is none stays visible
    return float(worst)
