"""From the engine's arrays to one labelled xarray.Dataset, with the books closed from outside."""

import json

import numpy as np
import xarray as xr

from thermosim._jit import source_hash
from thermosim.constants import SPECIFIC_HEAT_WATER
from thermosim.engine import integrate as kernel
from thermosim.engine import nodes as n
from thermosim.engine.records import PUT_ON
from thermosim.parameters import SEGMENTS, value
from thermosim.physics.air import saturation_pressure
from thermosim.physiology.body import LAYERS
from thermosim.variables import OUTPUTS

HEART_PARTS = ("rest", "work", "thermal_core", "thermal_skin", "fluid", "drift", "ceiling")
SIDES = ("skin", "air", "water")
WATERS = ("charged", "condensed", "dripped", "evaporated", "left")
HALF_WIDTH_90 = 1.645  # of a 90 % interval, in standard deviations of a normal distribution
SKIN_WARNING_C, SKIN_WARNING_MIN, SKIN_REFUSED_C = 12.0, 15.0, 8.0  # common practice, no source (cold injury)


def version() -> str:
    """Return the package version."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("thermosim")
    except PackageNotFoundError:
        return "0.1.0+source"


def worn_at(times_s, rows, events) -> np.ndarray:
    """Return which rows are worn just after each time, shape (time, row)."""
    worn = np.zeros((len(times_s), rows.size), dtype=bool)
    for event in events:
        if event["action"] != 2:
            worn[times_s >= event["time_s"] - 1e-9, event["row"]] = event["action"] == PUT_ON
    return worn


def heat_content(states, runner, rows, worn) -> np.ndarray:
    """Heat held by all tissue at each sample [J], from masses and temperatures alone (relative to 0 °C)."""
    r = runner[0]
    capacity = np.tile(r["capacity_J_K"], (len(states), 1)) - SPECIFIC_HEAT_WATER * np.outer(
        states[:, n.LOST], r["water_share"]
    )
    content = np.zeros(len(states))
    for k, row in enumerate(rows):
        s = row["segment"]
        patch = r["capacity_J_K"][n.SKIN + s] * row["area_m2"] / r["area_m2"][s] * worn[:, k]
        capacity[:, n.SKIN + s] -= patch
        content += patch * states[:, n.BASE + k * n.ROW_SIZE + n.PATCH_C]
    return content + (capacity * states[:, : n.N_NODES]).sum(axis=1)


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
    """Return what the water on the skin is short of its books at the end [kg]."""

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
    return float(max(abs(film), abs(body)))


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
        worst = max(worst, abs(stored - came) / scale, abs(water) / max(block[n.ROW_CHARGED_KG], 1e-3))
    return float(worst)


def _variable(name, dims, data):
    entry = OUTPUTS[name]
    return dims, data, {"units": entry.unit, "long_name": entry.long_name}


def to_dataset(trajectory, prepared, session, variant_name) -> xr.Dataset:
    """Label the samples of one run and close its books; attributes hold every input, version and warning."""
    times, states, rates, d = trajectory.time_s, trajectory.states, trajectory.rates, trajectory.diagnostics
    runner, rows = prepared.runner, prepared.rows
    worn = worn_at(times, rows, prepared.events)
    closure, relative = energy_closure(times, states, runner, rows, worn)
    tissue = states[:, : n.BLOOD].reshape(len(times), len(LAYERS), n.N_SEGMENTS).transpose(0, 2, 1)
    capacity = runner[0]["capacity_J_K"]
    terms = rates[:, n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS]

    data = {
        name: _variable(name, ("time",), values)
        for name, values in {
            "core_temperature": d[:, kernel.D_CORE],
            "rectal_temperature": states[:, n.RECTAL],
            "oesophageal_temperature": states[:, n.BLOOD],
            "gut_temperature": states[:, n.GUT],
            "mean_body_temperature": (states[:, : n.N_NODES] * capacity).sum(axis=1) / capacity.sum(),
            "mean_skin_temperature": d[:, kernel.D_SKIN],
            "skin_wettedness": d[:, kernel.D_WETTEDNESS],
            "required_evaporation": d[:, kernel.D_REQUIRED],
            "evaporative_capacity": d[:, kernel.D_CAPACITY],
            "limited_by": d[:, kernel.D_LIMIT].astype(np.int64),
            "sweat_rate": 3600.0 * rates[:, n.SWEAT],
            "sweat_loss": states[:, n.SWEAT],
            "body_mass_loss": states[:, n.LOST],
            "skin_blood_flow": d[:, kernel.D_SKIN_FLOW],
            "metabolic_power": rates[:, n.JOULES + n.METABOLIC],
            "oxygen_uptake": 60.0 * d[:, kernel.D_OXYGEN_W] / runner[0]["oxygen_J_L"],
            "heart_rate": d[:, kernel.D_HEART],
            "closure": closure,
            "speed": d[:, kernel.D_SPEED],
            "grade": d[:, kernel.D_GRADE],
            "mode": d[:, kernel.D_MODE].astype(np.int64),
            "distance": trajectory.fasts[:, n.DISTANCE],
            "air_temperature": d[:, kernel.D_AIR],
            "relative_humidity": 100.0
            * d[:, kernel.D_VAPOUR]
            / np.array([saturation_pressure(t) for t in d[:, kernel.D_AIR]]),
            "vapour_pressure": d[:, kernel.D_VAPOUR],
            "air_speed": d[:, kernel.D_AIR_SPEED],
            "solar_load": d[:, kernel.D_SUN_OUTSIDE],
        }.items()
    }
    data["limited_by"][2].update(flag_values=[0, 1, 2], flag_meanings=" ".join(n.LIMIT_MEANINGS))
    data["tissue_temperature"] = _variable("tissue_temperature", ("time", "segment", "layer"), tissue)
    data["skin_temperature"] = _variable("skin_temperature", ("time", "segment"), tissue[:, :, 3])
    data["heart_rate_part"] = _variable(
        "heart_rate_part", ("part", "time"), d[:, kernel.D_REST : kernel.D_CEILING + 1].T
    )
    data["heat_flow"] = _variable(
        "heat_flow", ("term", "time"), np.vstack([terms.T, _storage(trajectory, runner, rows, worn)])
    )
    coords = {
        "time": ("time", times, {"units": "s", "long_name": "Time since the start"}),
        "segment": list(SEGMENTS),
        "layer": list(LAYERS),
        "term": [*n.TERM_NAMES, "storage"],
        "part": list(HEART_PARTS),
    }
    if rows.size:
        coords |= {"device": prepared.device_names, "side": list(SIDES), "water": list(WATERS)}
        data |= _device_variables(states, rates, rows, worn, prepared.device_names)
    if session.effort.recorded is not None:
        recorded = session.effort.recorded
        coords["recorded_time"] = (
            "recorded_time",
            recorded.time_s,
            {"units": "s", "long_name": "Time since the start"},
        )
        data["heart_rate_recorded"] = _variable(
            "heart_rate_recorded", ("recorded_time",), recorded.heart_rate_bpm
        )
    band = HALF_WIDTH_90 * value("model_core_error_K")
    for side, sign in (("low", -1.0), ("high", 1.0)):
        name = f"core_temperature_{side}"
        data[name] = _variable(name, ("time",), d[:, kernel.D_CORE] + sign * band)
    ds = xr.Dataset(data, coords)
    crossing = float(trajectory.summary[kernel.S_LIMIT_S])
    ds.attrs = {
        "title": session.title or "thermosim run",
        "inputs": session.to_json(),
        "variant": variant_name,
        "version": version(),
        "source_hash": source_hash(),
        "seed": session.ensemble.seed,
        "status": n.STATUS_SENTENCES[trajectory.status],
        "limit_C": prepared.limit_C,
        "limit_site": session.limit_site,
        "time_to_limit_s": crossing,
        "max_closure_W": float(np.abs(closure).max()),
        "energy_closure_relative": relative,
        "water_closure_kg": water_closure(states, rows.size),
        "device_closure_relative": device_closure(states[-1], rows),
        "surface_area_m2": float(runner[0]["surface_area_m2"]),
        "heat_capacity_J_K": float(capacity.sum()),
        "core_band_K": band,
        "peak_core_C": float(trajectory.summary[kernel.S_CORE_PEAK]),
    }
    end, begin = states[-1], states[0]
    terms_J = np.append(
        end[n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS] - begin[n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS],
        begin[n.JOULES_WATER] - end[n.JOULES_WATER],
    )
    content = heat_content(states, runner, rows, worn)
    blocks = [n.BASE + r * n.ROW_SIZE for r in range(rows.size)]
    ds.attrs |= {
        "terms": " ".join([*n.TERM_NAMES, "lost_water"]),
        "terms_J": terms_J,
        "stored_J": float(content[-1] - content[0]),
        "heat_through_devices_J": float(sum(end[b + n.FROM_SKIN] + end[b + n.RUN_OFF] for b in blocks)),
    }
    ds.attrs["warnings"] = json.dumps(session.warnings() + run_warnings(ds, prepared), ensure_ascii=False)
    return ds


def _storage(trajectory, runner, rows, worn) -> np.ndarray:
    """Heat the body keeps [W]: every node's own rate of warming times its heat capacity, summed."""
    states, rates, r = trajectory.states, trajectory.rates, runner[0]
    capacity = np.tile(r["capacity_J_K"], (len(states), 1)) - SPECIFIC_HEAT_WATER * np.outer(
        states[:, n.LOST], r["water_share"]
    )
    kept = np.zeros(len(states))
    for k, row in enumerate(rows):
        s = row["segment"]
        patch = r["capacity_J_K"][n.SKIN + s] * row["area_m2"] / r["area_m2"][s] * worn[:, k]
        capacity[:, n.SKIN + s] -= patch
        kept += patch * rates[:, n.BASE + k * n.ROW_SIZE + n.PATCH_C]
    return kept + (capacity * rates[:, : n.N_NODES]).sum(axis=1)


def _device_variables(states, rates, rows, worn, names) -> dict:
    power = np.zeros((len(names), len(SIDES), len(states)))
    store, skin = np.zeros((len(names), len(states))), np.full((len(names), len(states)), np.nan)
    water = np.zeros((len(names), len(WATERS), len(states)))
    for k, row in enumerate(rows):
        device, base = row["device"], n.BASE + k * n.ROW_SIZE
        power[device] += rates[:, base + n.FROM_SKIN : base + n.FROM_VAPOUR + 1].T
        store[device] += states[:, base + n.STORE_J] + row["outer_J_K"] * states[:, base + n.OUTER_C]
        skin[device] = np.fmin(skin[device], np.where(worn[:, k], states[:, base + n.PATCH_C], np.nan))
        for slot, index in enumerate((n.ROW_CHARGED_KG, n.ROW_CONDENSED, n.ROW_DRIPPED, n.ROW_EVAPORATED)):
            water[device, slot] += states[:, base + index]
        water[device, 4] += states[:, base + n.STORE_KG] + states[:, base + n.OUTER_KG]
    return {
        "device_power": _variable("device_power", ("device", "side", "time"), power),
        "device_store": _variable("device_store", ("device", "time"), store),
        "device_skin_temperature": _variable("device_skin_temperature", ("device", "time"), skin),
        "device_water": _variable("device_water", ("device", "water", "time"), water),
    }


def run_warnings(ds, prepared) -> list[str]:
    """Return what the run itself says: relations used outside their published range, limits, cold skin."""
    found = []
    pieces, runner = prepared.pieces, prepared.runner[0]
    moving = pieces["speed_m_s"] >= 0.05
    air, own = float(ds.air_speed.max()), float(ds.speed.max())
    if air > 3.0:
        found.append(
            f"Relative air speed reaches {air:.1f} m/s: convection is outside its published range (3 m/s)."
        )
    if own > 2.0 and bool((ds.air_speed < 0.5 * ds.speed).any()):
        found.append(
            f"With {own:.1f} m/s and little air over the skin, limb-swing convection is outside its published range (2 m/s)."
        )
    running = moving & (pieces["speed_m_s"] >= runner["walk_run_switch_m_s"])
    if (pieces["cost_relation"] == 1).any() and (pieces["grade"] < 0.0).any():
        found.append(
            "ACSM cost on a descent is outside its published range; Minetti's change of cost from level is used there."
        )
    if (pieces["cost_relation"] == 1).any() and (running & (pieces["speed_m_s"] < 134.0 / 60.0)).any():
        found.append("ACSM running cost below 134 m/min (2.23 m/s) is outside its published range.")
    walking = moving & ~running
    if (walking & (pieces["speed_m_s"] < 0.5)).any():
        found.append("Walking below 0.5 m/s is outside the range of the walking cost.")
    if not pieces["air_drag"].any() and (pieces["wind_along"] * pieces["wind_m_s_0"] > 1.0).any():
        found.append("There is a head wind and air_drag is off: the cost of running against it is left out.")
    demand = float(ds.oxygen_uptake.max()) * 1000.0 / runner["mass_kg"]
    maximal = 60.0 * runner["maximal_W"] / runner["oxygen_J_L"] * 1000.0 / runner["mass_kg"]
    if demand > maximal:
        found.append(
            f"This effort asks for {demand:.0f} mL/kg/min of oxygen, more than the runner's {maximal:.0f}: it cannot be held."
        )
    limited = ds.limited_by.values != 0
    if limited.sum() > 1:
        word = {1: "what the air can take", 2: "the sweat rate"}[
            int(np.bincount(ds.limited_by.values[limited]).argmax())
        ]
        found.append(
            f"Uncompensable for {100.0 * limited.mean():.0f} % of the time: evaporation is limited by {word}."
        )
    if float(ds.core_temperature.max()) > 41.0:
        found.append("Core passes 41 °C: outside the range in which the model was tried.")
    if "device_skin_temperature" in ds:
        coldest = float(ds.device_skin_temperature.min())
        below = (ds.device_skin_temperature < SKIN_WARNING_C).any("device").values
        cold_min = float(np.sum(np.diff(ds.time.values) * below[:-1])) / 60.0 if len(below) > 1 else 0.0
        if coldest < SKIN_REFUSED_C:
            found.append(
                f"Modelled skin under the device falls to {coldest:.0f} °C, below 8 °C: a plan with it would be refused."
            )
        elif cold_min >= SKIN_WARNING_MIN:
            found.append(
                f"Modelled skin under the device stays below 12 °C for {cold_min:.0f} min (coldest {coldest:.0f} °C)."
            )
    return found
