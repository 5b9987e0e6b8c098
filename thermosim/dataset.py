"""From the engine's arrays to one labelled xarray.Dataset, with the books closed from outside."""

import json

import numpy as np
import xarray as xr

from thermosim._jit import source_hash
from thermosim.closure import device_closure, energy_closure, heat_content, storage, water_closure, worn_at
from thermosim.constants import LATENT_HEAT_SWEAT
from thermosim.engine import integrate as kernel
from thermosim.engine import nodes as n
from thermosim.engine import pacing as machine
from thermosim.engine.records import BATH, IN_STOMACH, ON_SKIN, POURED
from thermosim.parameters import SEGMENTS, value
from thermosim.physics.air import saturation_pressure
from thermosim.physiology.body import LAYERS
from thermosim.run_warnings import run_warnings
from thermosim.variables import OUTPUTS

HEART_PARTS = ("rest", "work", "thermal_core", "thermal_skin", "fluid", "drift", "bound")
SIDES = ("skin", "air", "water")
COORDINATES = {  # dimension -> its label
    "segment": "Body segment, both sides together",
    "layer": "Tissue layer, from inside to outside",
    "term": "Heat term; a gain by the body is positive, storage is what the body keeps",
    "part": "Part of heart rate",
    "device": "Cooling device",
    "side": "Side of the device that the heat comes from: skin, dry from the air, vapour that condenses there",
    "water": "Water of the device: poured in, condensed, dripped off, evaporated, left in it",
}
WATERS = ("charged", "condensed", "dripped", "evaporated", "left")
KINDS = ("effort", "thermal_sensation")  # of recorded ratings
HALF_WIDTH_90 = 1.645  # of a 90 % interval, in standard deviations of a normal distribution


def version() -> str:
    """Return the package version."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("thermosim")
    except PackageNotFoundError:
        return "0.1.0+source"


def labelled(dimension: str, values) -> tuple:
    """Return a coordinate of names with its label."""
    return dimension, list(values), {"long_name": COORDINATES[dimension]}


def _variable(name, dims, data):
    entry = OUTPUTS[name]
    return dims, data, {"units": entry.unit, "long_name": entry.long_name}


def to_dataset(trajectory, prepared, session, variant_name, options: dict | None = None) -> xr.Dataset:
    """Label the samples of one run and close its books; attributes hold every input, version and warning.

    Parameters
    ----------
    trajectory : Trajectory
    prepared : Prepared
    session : Session
    variant_name : str
    options : dict, optional
        What else the run depends on, as attributes: ``two_node``, ``save_every_s``, ``overrides``, ``own_devices``.
    """
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
        "heat_flow", ("term", "time"), np.vstack([terms.T, storage(states, rates, runner, rows, worn)])
    )
    coords = {
        "time": ("time", times, {"units": "s", "long_name": "Time since the start"}),
        "segment": labelled("segment", SEGMENTS),
        "layer": labelled("layer", LAYERS),
        "term": labelled("term", [*n.TERM_NAMES, "storage"]),
        "part": labelled("part", HEART_PARTS),
    }
    if rows.size:
        worn_names = (("device", prepared.device_names), ("side", SIDES), ("water", WATERS))
        coords |= {dimension: labelled(dimension, names) for dimension, names in worn_names}
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
    if session.ratings is not None:
        _add_ratings(session.ratings, data, coords)
    band = HALF_WIDTH_90 * value("model_core_error_K")
    for side, sign in (("low", -1.0), ("high", 1.0)):
        name = f"core_temperature_{side}"
        data[name] = _variable(name, ("time",), d[:, kernel.D_CORE] + sign * band)
    paced = {} if trajectory.pacing is None else _add_pacing(trajectory, data, coords)
    ds = xr.Dataset(data, coords)
    summary = trajectory.summary
    crossing = float(summary[kernel.S_LIMIT_S])
    in_loop = abs(float(summary[kernel.S_CLOSURE])) / max(float(summary[kernel.S_THROUGHPUT]), 1.0)
    water = [water_closure(states, rows.size), abs(float(summary[kernel.S_WATER]))]
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
        "energy_closure_relative": float(np.max([relative, in_loop])),
        "water_closure_kg": float(np.max(water)),
        "device_closure_relative": device_closure(states[-1], rows),
        "surface_area_m2": float(runner[0]["surface_area_m2"]),
        "heat_capacity_J_K": float(capacity.sum()),
        "core_band_K": band,
        "peak_core_C": float(summary[kernel.S_CORE_PEAK]),
    }
    end, begin = states[-1], states[0]
    terms_J = np.append(
        end[n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS] - begin[n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS],
        begin[n.JOULES_WATER] - end[n.JOULES_WATER],
    )
    content = heat_content(states, runner, rows, worn)
    blocks = [n.BASE + r * n.ROW_SIZE for r in range(rows.size)]
    in_stomach = sum(end[b + n.STORE_KG] for b, place in zip(blocks, rows["place"], strict=True) if place == IN_STOMACH)
    ds.attrs |= {
        "terms": " ".join([*n.TERM_NAMES, "lost_water"]),
        "terms_J": terms_J,
        "stored_J": float(content[-1] - content[0]),
        "heat_through_devices_J": float(sum(end[b + n.FROM_SKIN] + end[b + n.RUN_OFF] for b in blocks)),
        "wetting_J": float(LATENT_HEAT_SWEAT * (end[n.RECEIVED] - begin[n.RECEIVED])),  # of water that landed on the skin
        "sun_kept_off_J": float(sum(end[b + n.SHADED] for b in blocks)),
        "body_mass_change_kg": float(in_stomach - end[n.LOST]),  # as on a scale: what is still in the stomach counts
    }
    if rows.size:
        ds.attrs["device_segments"] = json.dumps(_touched(rows, prepared.device_names))
    ds.attrs |= paced | (options or {})
    ds.attrs["warnings"] = json.dumps(
        session.warnings() + run_warnings(ds, prepared, session), ensure_ascii=False
    )
    return ds


def _add_pacing(trajectory, data: dict, coords: dict) -> dict:
    """Put what the rule saw and did beside the run: looks, cap events, legs; return its attributes."""
    pacing, pace, end = trajectory.pacing, trajectory.pacing.pace, float(trajectory.time_s[-1])
    looks = pacing.looks[: int(end + 1e-6) + 1]
    events = pacing.cap_events[: int(pace[machine.EVENTS])]
    starts = pacing.leg_starts[:-1]
    coords["look"] = ("look", np.arange(len(looks)) * machine.LOOK_S, {"units": "s", "long_name": "Time since the start"})
    for name, column in (("heart_rate", machine.LOOK_HEART), ("mode", machine.LOOK_MODE), ("distance", machine.LOOK_M),
                         ("leg", machine.LOOK_LEG)):  # fmt: skip
        data[f"{name}_at_look"] = _variable(f"{name}_at_look", ("look",), looks[:, column])
    for name, column in (("start", machine.EVENT_START_S), ("distance", machine.EVENT_START_M), ("below", machine.EVENT_BELOW_S),
                         ("resume", machine.EVENT_RESUME_S), ("peak", machine.EVENT_PEAK)):  # fmt: skip
        data[f"cap_event_{name}"] = _variable(f"cap_event_{name}", ("cap_event",), events[:, column])
    data["leg_start"] = _variable("leg_start", ("leg",), starts[:, 0])
    data["leg_distance"] = _variable("leg_distance", ("leg",), starts[:, 1])
    rule = pacing.rule[0]
    return {
        "cap_bpm": float(rule["cap_bpm"]),
        "resume_below_bpm": float(rule["resume_below_bpm"]),
        "cap_events": int(pace[machine.EVENTS]),
        "time_over_cap_s": float(pace[machine.OVER_S]),
        "first_cap_s": float(pace[machine.FIRST_CAP_S]),
        "first_cap_m": float(pace[machine.FIRST_CAP_M]),
        "stopped_s": float(pace[machine.STOP_S]),
        "stopped_by": machine.WHY_STOPPED[int(pace[machine.STOP_WHY])],
        "legs_done_s": float(pace[machine.DONE_S]),
    }


def _add_ratings(ratings, data: dict, coords: dict) -> None:
    """Put what the runner said beside the model, with the scale it was said on."""
    label = {"units": "s", "long_name": "Time since the start"}
    coords["rating_time"] = ("rating_time", 60.0 * ratings.time_min, label)
    for kind in KINDS:
        scale = ratings.scale(kind)
        if scale is not None:
            name = f"{kind}_recorded"
            data[name] = _variable(name, ("rating_time",), getattr(ratings, kind))
            data[name][2].update({f"scale_{key}": item for key, item in scale.model_dump().items()})


def _touched(rows, names) -> dict[str, list[str]]:
    """Return, for each device, the segments whose skin it touches; none for what is drunk or only changes the air."""
    touching = rows[np.isin(rows["place"], (ON_SKIN, POURED, BATH))]
    return {
        name: sorted({SEGMENTS[row["segment"]] for row in touching if row["device"] == k}, key=SEGMENTS.index)
        for k, name in enumerate(names)
    }


def _device_variables(states, rates, rows, worn, names) -> dict:
    power, heat = (np.zeros((len(names), len(SIDES), len(states))) for _ in range(2))
    store, skin = np.zeros((len(names), len(states))), np.full((len(names), len(states)), np.nan)
    water, shaded = np.zeros((len(names), len(WATERS), len(states))), np.zeros((len(names), len(states)))
    for k, row in enumerate(rows):
        device, base = row["device"], n.BASE + k * n.ROW_SIZE
        power[device] += rates[:, base + n.FROM_SKIN : base + n.FROM_VAPOUR + 1].T
        heat[device] += states[:, base + n.FROM_SKIN : base + n.FROM_VAPOUR + 1].T
        for total, values in ((power, rates), (heat, states)):
            total[device, 0] += values[:, base + n.RUN_OFF]
        shaded[device] += rates[:, base + n.SHADED]
        store[device] += states[:, base + n.STORE_J] + row["outer_J_K"] * states[:, base + n.OUTER_C]
        skin[device] = np.fmin(skin[device], np.where(worn[:, k], states[:, base + n.PATCH_C], np.nan))
        for slot, index in enumerate((n.ROW_CHARGED_KG, n.ROW_CONDENSED, n.ROW_DRIPPED, n.ROW_EVAPORATED)):
            water[device, slot] += states[:, base + index]
        water[device, 4] += states[:, base + n.STORE_KG] + states[:, base + n.OUTER_KG]
    return {
        "device_power": _variable("device_power", ("device", "side", "time"), power),
        "device_heat": _variable("device_heat", ("device", "side", "time"), heat),
        "device_shade": _variable("device_shade", ("device", "time"), shaded),
        "device_store": _variable("device_store", ("device", "time"), store),
        "device_skin_temperature": _variable("device_skin_temperature", ("device", "time"), skin),
        "device_water": _variable("device_water", ("device", "water", "time"), water),
    }
