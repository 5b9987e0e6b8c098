"""What a run says of itself: relations used outside their published range, limits, cold skin."""

import numpy as np

from thermosim.closure import worn_at
from thermosim.engine.balance import shivering
from thermosim.engine.plan import with_legs
from thermosim.engine.records import BATH, IN_STOMACH, TAKE_OFF
from thermosim.engine.run import new_pacing
from thermosim.parameters import value
from thermosim.physiology.energetics import ACSM, RUN, STANDING_BELOW_M_S, WALK
from thermosim.ranges import outside

SKIN_WARNING_C, SKIN_WARNING_MIN, SKIN_REFUSED_C = 12.0, 15.0, 8.0  # common practice, no source (cold injury)
HEAD_WIND_M_S = 1.0  # above it a run without air drag says so
DRUNK_BEYOND_LOSS_KG = 0.1  # more than this is said
A_HOUR_S = 3600.0
AT_MAXIMUM_MIN = 1.0  # heart rate at its maximum for longer is said


def run_warnings(ds, prepared, session) -> list[str]:
    """Return what a finished run says: what :func:`input_warnings` says, and what its course adds."""
    runner = prepared.runner[0]
    pieces = with_legs(prepared.pieces, new_pacing(prepared.rule, prepared.legs))
    found = input_warnings(session.runner, pieces, runner["walk_run_switch_m_s"], float(ds.time[-1]) / 60.0)
    found += _of_rule(ds, prepared)
    found += outside("air_speed_m_s", ds.air_speed)
    little_air = ds.air_speed.values < 0.5 * ds.speed.values
    found += outside("swing_speed_m_s", ds.speed.values[little_air])
    found += _of_effort(ds, runner) + _of_heart(ds, session.runner) + _of_body(ds, runner) + _of_drinks(ds, prepared)
    if "device_skin_temperature" in ds:
        found += _of_cold_skin(ds.device_skin_temperature.min("device").values, ds.time.values, "under the device")
    return found + _of_baths(ds, prepared)


def input_warnings(runner, pieces, walk_run_switch_m_s: float, minutes: float) -> list[str]:
    """Return what its inputs make a run say: who, how long, which air, which cost relation at which speed.

    Parameters
    ----------
    runner : Runner
    pieces : array of PIECE
    walk_run_switch_m_s : float
        Speed at which this runner changes from walking to running.
    minutes : float
        How long the run lasts, which for legs by distance is less than the pieces may take [min].
    """
    found = outside("age_y", runner.age_y) + outside("mass_kg", runner.mass_kg)
    found += outside("minutes", minutes)
    found += outside("breathed_air_C", [pieces["air_C_0"], pieces["air_C_1"]])
    found += outside("pressure_kPa", pieces["pressure_kPa"])
    return found + _of_cost(pieces, walk_run_switch_m_s)


def _of_rule(ds, prepared) -> list[str]:
    """Say where a paced run ended before its legs did, and that distances of plans are planned ones."""
    if not prepared.rule[0]["active"]:
        return []
    found = []
    if ds.attrs["stopped_by"] != "not stopped":
        minute, why = float(ds.attrs["stopped_s"]) / 60.0, ds.attrs["stopped_by"]
        found.append(f"The rule stops the run at minute {minute:.1f}, by {why}: what follows of it is not run.")
    elif np.isnan(ds.attrs["legs_done_s"]):
        minute = float(ds.time[-1]) / 60.0
        found.append(
            f"The legs are not done when the run ends at minute {minute:.0f}: the weather sheet ends there, or three times the "
            "planned time is over."
        )
    return found


def _of_drinks(ds, prepared) -> list[str]:
    """Say what a guarded drink was cut by; where more is drunk than lost, than a stomach passes on, than was tried."""
    rows, events = prepared.rows, prepared.events
    drinks = np.flatnonzero(rows["place"] == IN_STOMACH)
    if not drinks.size:
        return []
    at = np.isin(events["row"], drinks) & (events["action"] != TAKE_OFF) & (events["time_s"] <= float(ds.time[-1]))
    names = [prepared.device_names[k] for k in np.unique(rows["device"][drinks])]
    water = ds.device_water.sel(device=names).sum("device")
    drunk, found = water.sel(water="charged").values, []
    planned, total = float(rows["charge_kg"][events["row"][at]].sum()), float(drunk[-1])
    if total < planned - 0.005:
        found.append(
            f"{total:.2f} of {planned:.2f} kg are drunk: a portion is cut to what the stomach holds and the body has lost."
        )
    excess = water.sel(water="left").values - ds.body_mass_loss.values  # what is swallowed, less what is lost
    k = int(np.argmax(excess))
    if excess[k] > DRUNK_BEYOND_LOSS_KG:
        found.append(
            f"At minute {float(ds.time[k]) / 60.0:.0f} the runner has drunk {excess[k]:.2f} kg more than is lost (at the end "
            f"{max(excess[-1], 0.0):.2f} kg): do not gain mass; drinking more than is lost can be dangerous (low blood sodium), "
            "and salt does not protect from it; guarded = true cuts a drink there."
        )
    span_s = np.maximum(ds.time.values, A_HOUR_S) - A_HOUR_S  # where the hour before each sample begins
    hourly = drunk - np.interp(span_s, ds.time.values, drunk) * (span_s > 0.0)
    if hourly.max() > value("drink_ceiling_L_h"):
        found.append(
            f"Up to {hourly.max():.1f} kg are drunk within an hour: a stomach passes on 0.8 to 1.0 L/h (common practice)."
        )
    held_g_kg = 1000.0 * water.sel(water="left").values / prepared.runner[0]["mass_kg"]
    return found + outside("stomach_g_kg", np.round(held_g_kg, 6))


def _of_cost(pieces, switch_m_s) -> list[str]:
    speed, gait, acsm = pieces["speed_m_s"], pieces["gait"], pieces["cost_relation"] == ACSM
    moving = speed >= STANDING_BELOW_M_S
    running = moving & np.where(gait >= 0, gait == RUN, speed >= switch_m_s)
    walking = moving & ~running
    found = outside("asked_walk_m_s", speed[moving & (gait == WALK)])
    found += outside("asked_run_m_s", speed[moving & (gait == RUN)])
    found += outside("walk_m_s", speed[walking & ~acsm])
    found += outside("acsm_walk_m_min", 60.0 * speed[walking & acsm])
    found += outside("acsm_run_m_min", 60.0 * speed[running & acsm])
    if (acsm & moving & (pieces["grade"] < 0.0)).any():
        found.append(
            "ACSM cost on a descent is outside its published range; Minetti's change of cost from level is used there."
        )
    outdoors = moving & (pieces["ground_air"] > 0.0) & (pieces["air_drag"] == 0)
    if (outdoors & (pieces["wind_along"] * pieces["wind_m_s_0"] > HEAD_WIND_M_S)).any():
        found.append("There is a head wind and air_drag is off: the cost of running against it is left out.")
    return found


def _of_effort(ds, runner) -> list[str]:
    found = []
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
    return found


def _of_heart(ds, runner) -> list[str]:
    """Say how long heart rate is at its maximum, and how much more work and heat would ask for."""
    beyond = -ds.heart_rate_part.sel(part="bound").values
    at_it = beyond > 0.0
    minutes = float(np.sum(np.diff(ds.time.values) * at_it[:-1])) / 60.0
    if runner.beta_blocker or minutes < AT_MAXIMUM_MIN:
        return []
    maximum, first = runner.maximum_heart_rate_resolved_bpm, float(ds.time.values[at_it][0]) / 60.0
    return [
        f"Heart rate is at its maximum, {maximum:.0f} bpm, for {minutes:.0f} min, first at minute {first:.0f} (work and heat "
        f"would ask for up to {maximum + beyond.max():.0f} bpm): nobody holds that, and what follows is arithmetic."
    ]


def _of_body(ds, runner) -> list[str]:
    core, skin = ds.core_temperature.values, ds.mean_skin_temperature.values
    found = outside("core_C", core) + outside("mean_skin_C", skin)
    found += outside("segment_skin_C", ds.skin_temperature)
    cold = (core < runner["shiver_core_C"]) & (skin < runner["skin_signal_set_C"])  # elsewhere nobody shivers
    found += outside("shivering_W", [shivering(c, s, runner) for c, s in zip(core[cold], skin[cold], strict=True)])
    lost_pct = 100.0 * ds.body_mass_loss.values / runner["mass_kg"]
    return found + (outside("large_mass_loss_pct", lost_pct) or outside("mass_loss_pct", lost_pct))


def _of_cold_skin(coldest_C, time_s, where: str) -> list[str]:
    """Return what is said of skin that ice or cold water holds down; ``coldest_C`` over time, NaN where nothing is on."""
    coldest = float(np.nanmin(coldest_C)) if np.isfinite(coldest_C).any() else SKIN_WARNING_C
    cold_min = float(np.sum(np.diff(time_s) * (coldest_C < SKIN_WARNING_C)[:-1])) / 60.0
    if coldest < SKIN_REFUSED_C:
        return [
            f"Modelled skin {where} falls to {coldest:.0f} °C, below {SKIN_REFUSED_C:.0f} °C: a plan with it would be refused."
        ]
    if cold_min >= SKIN_WARNING_MIN:
        return [
            f"Modelled skin {where} stays below {SKIN_WARNING_C:.0f} °C for {cold_min:.0f} min (coldest {coldest:.0f} °C)."
        ]
    return []


def _of_baths(ds, prepared) -> list[str]:
    """Return what is said of tubs: cold skin in them, and a runner who moves on while in one."""
    rows, events, time_s = prepared.rows, prepared.events, ds.time.values
    bathed = np.flatnonzero(rows["place"] == BATH)
    if not bathed.size:
        return []
    coldest, moving, bathing = np.full(time_s.size, np.nan), {}, worn_at(time_s, rows, events, BATH)
    for r in bathed:
        inside = bathing[:, r]
        skin = ds.skin_temperature.isel(segment=int(rows["segment"][r])).values
        coldest = np.fmin(coldest, np.where(inside, skin, np.nan))
        on_foot = inside & (ds.speed.values >= STANDING_BELOW_M_S)
        if on_foot.any():
            name = prepared.device_names[rows["device"][r]]
            moving[name] = max(moving.get(name, 0.0), float(ds.speed.values[on_foot].max()))
    found = [
        f"{name} holds skin in water while the runner moves at up to {speed:.1f} m/s: the model books it, nobody can do it."
        for name, speed in moving.items()
    ]
    return found + _of_cold_skin(coldest, time_s, "in the water")
