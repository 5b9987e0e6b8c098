"""From validated inputs to the flat records that the engine sees: runner -> RUNNER, effort x weather -> PIECE."""

import math

import numpy as np

from thermosim.constants import CLO
from thermosim.engine.nodes import BLOOD, N_NODES, N_SEGMENTS, SKIN
from thermosim.engine.records import PIECE, RUNNER
from thermosim.inputs.heat_exposures import when_days
from thermosim.inputs.weather_wbgt import LEAST_AIR_SPEED_M_S
from thermosim.parameters import CLOTHING, PARAMETERS, SEGMENTS
from thermosim.physics.radiation import mean_radiant_temperature_of_globe
from thermosim.physiology import energetics
from thermosim.physiology.acclimatisation import adapted_by_days, adapted_by_exposures, plasma_share_of_work
from thermosim.physiology.body import build_body, column

TRUNK = np.array([name in ("chest", "back", "abdomen") for name in SEGMENTS])
_COPIED = tuple(name for name in PARAMETERS if name in (RUNNER.names or ()))


# Flows and sweat rates of the table hold for a body of the reference surface and grow with it.
PER_SURFACE = (
    "skin_flow_rest_L_min", "skin_flow_gain_L_min_K", "skin_flow_ceiling_rest_L_min",
    "skin_flow_ceiling_exercise_L_min", "shunt_flow_ceiling_L_min", "sweat_gain_L_h_K", "maximum_sweat_rate_L_h",
)  # fmt: skip


def population(overrides: dict[str, float] | None = None) -> dict[str, float]:
    """Return the parameter table's values as a plain dictionary, with overrides put in."""
    table = {name: parameter.value for name, parameter in PARAMETERS.items()}
    table.update(overrides or {})
    return table


def body_fat_of(runner, table: dict[str, float]) -> float:
    """Body fat [%]: the runner's own, or the default for the sex."""
    if runner.body_fat_pct is not None:
        return runner.body_fat_pct
    return table[f"body_fat_default_{runner.sex}_pct"]


def runner_record(runner, overrides: dict[str, float] | None = None, *, two_node: bool = False) -> np.ndarray:
    """Flatten a runner into one RUNNER record (array of length 1).

    Parameters
    ----------
    runner : Runner
        The person.
    overrides : dict, optional
        Parameter values that replace the table's, by name: members of an ensemble, fitted values.
    two_node : bool
        Tie all nodes into one core and one skin node: the teaching mode of the same engine.

    Returns
    -------
    numpy.ndarray of dtype RUNNER, shape (1,)
    """
    p = population(overrides)
    body = build_body(runner.mass_kg, runner.height_m, body_fat_of(runner, p), p["conduction_factor"])
    adapted = adapted_of(runner, p)
    record = np.zeros(1, dtype=RUNNER)
    r = record[0]
    for name in _COPIED:
        r[name] = p[name]

    r["mass_kg"], r["surface_area_m2"] = body.mass_kg, body.surface_area_m2
    for name in PER_SURFACE:
        r[name] *= body.surface_area_m2 / p["reference_surface_m2"]
    r["oxygen_J_L"] = energetics.energy_equivalent_of_oxygen(p["respiratory_quotient"])
    r["economy"] = runner.economy_factor * p["economy_spread"]
    r["tissue_q10_exponent_1_K"] = math.log(p["tissue_q10"]) / 10.0
    r["resting_W"] = p["resting_power_W_kg"] * runner.mass_kg
    r["standing_W"] = p["standing_power_W_kg"] * runner.mass_kg
    r["seated_W"] = p["seated_power_W_kg"] * runner.mass_kg
    r["maximal_W"] = runner.vo2max_mL_kg_min * runner.mass_kg / 1000.0 * r["oxygen_J_L"] / 60.0
    shift = p["acclimatised_threshold_shift_K"] * adapted.heart
    r["sweat_set_core_C"] += shift
    r["skin_flow_set_core_C"] += shift
    gain = 1.0 + p["acclimatised_sweat_gain"] * adapted.sweat
    r["sweat_gain_L_h_K"] *= gain
    r["maximum_sweat_rate_L_h"] *= gain
    if runner.maximum_sweat_rate_L_h is not None:
        r["maximum_sweat_rate_L_h"] = runner.maximum_sweat_rate_L_h
    limit = p["wettedness_limit_unacclimatised"]
    r["wettedness_limit"] = limit + (1.0 - limit) * adapted.sweat
    r["heart_rest_bpm"] = runner.resting_heart_rate_bpm
    r["heart_maximum_bpm"] = runner.maximum_heart_rate_bpm or (
        p["maximum_heart_rate_intercept_bpm"] + p["maximum_heart_rate_per_year_bpm"] * runner.age_y
    )
    spared = adapted.plasma * p["acclimatised_plasma_gain"] / p["plasma_fall_per_pct_loss"] * p["heart_fluid_bpm_pct"]
    r["heart_plasma_share"] = plasma_share_of_work(spared, r["heart_rest_bpm"], r["heart_maximum_bpm"])

    r["area_m2"] = body.area_m2
    r["conductance_core_muscle"], r["conductance_muscle_fat"], r["conductance_fat_skin"] = (
        body.conductance_W_K
    )
    r["gut_conductance_W_K"] = body.gut_conductance_W_K
    core_mass, muscle_mass, fat_mass, _ = body.layer_mass_kg
    scale = runner.mass_kg / 70.0
    flow = p["bone_flow_L_min_kg"] * core_mass
    for name, key in (
        ("head", "brain_flow_L_min"),
        ("chest", "chest_flow_L_min"),
        ("back", "back_flow_L_min"),
        ("abdomen", "viscera_flow_rest_L_min"),
    ):
        flow[SEGMENTS.index(name)] = p[key] * scale
    r["core_flow_L_min"] = flow
    r["muscle_flow_rest_L_min"] = p["muscle_flow_rest_L_min"] * scale
    r["gut_flow_L_min"] = p["gut_flow_L_min"] * scale
    r["muscle_flow_share"] = muscle_mass / muscle_mass.sum()
    r["fat_flow_L_min"] = p["fat_flow_L_min_kg"] * fat_mass
    for target, weight in (("skin_flow_share", "skin_flow_weight"), ("sweat_share", "sweat_weight")):
        share = body.area_m2 * column(weight)
        r[target] = share / share.sum()
    for target in ("convection_weight", "swing_weight"):
        weights = column(target)
        r[target] = weights * body.surface_area_m2 / (weights * body.area_m2).sum()
    r["countercurrent"] = column("countercurrent")
    r["shunt_share"] = column("shunt_share")
    r["rest_core"], r["rest_muscle"], _, r["rest_skin"] = body.resting_share
    r["inverse_rest_muscle"] = 1.0 / r["rest_muscle"].sum()
    r["work_share"], r["cycling_share"] = column("exercise_share"), column("cycling_share")
    trunk = np.where(TRUNK, body.capacity_J_K[0], 0.0)
    r["trunk_weight"] = trunk / trunk.sum()
    r["viscera_share"] = np.array([1.0 if name == "abdomen" else 0.0 for name in SEGMENTS])
    r["capacity_J_K"] = np.concatenate(
        [body.capacity_J_K.ravel(), [body.blood_capacity_J_K, body.gut_capacity_J_K]]
    )
    watery = r["capacity_J_K"].copy()
    watery[2 * N_SEGMENTS : BLOOD] = 0.0
    watery[BLOOD + 1] = 0.0
    r["water_share"] = watery / watery.sum()

    covered, clo, vapour = clothing_of(runner)
    r["covered_share"] = covered
    r["film_hold_kg_m2"] = p["film_full_kg_m2"] + p["cloth_water_kg_m2"] * covered
    r["clothing_resistance_m2K_W"] = clo * CLO
    r["clothing_vapour_m2kPa_W"] = vapour / 1000.0
    r["vapour_pressure_factor"] = r["air_speed_factor"] = r["solar_factor"] = 1.0
    if two_node:
        r["tied_groups"] = 2
        groups = np.zeros(N_NODES, dtype=np.int64)
        groups[SKIN:BLOOD] = 1
        r["node_group"] = groups
        # Inside a group there is no difference to conduct along, so the whole path lies between core and skin.
        r["conductance_fat_skin"] = 1.0 / (1.0 / body.conductance_W_K).sum(axis=0)
    return record


def adapted_of(runner, p: dict[str, float]):
    """Return what heat days have done to a runner: from the list of exposures, or from their plain number."""
    exposures = getattr(runner, "heat_exposures", None)
    if exposures is None:
        return adapted_by_days(runner.heat_days or 0.0, p["heat_days_scale"])
    days = when_days(exposures, runner.run_date)
    return adapted_by_exposures(
        days, p["heat_days_scale"], p["heat_days_scale_sweat"], p["heat_days_decay_1_d"], p["heat_dose_minutes"]
    )[1]


def clothing_of(runner) -> tuple[np.ndarray, float, float]:
    """Covered share by segment, insulation [clo] and vapour resistance [m²Pa/W], effective at running speed."""
    if isinstance(runner.clothing, str):
        covered, clo, vapour, _ = CLOTHING[runner.clothing]
        return np.array(covered), clo, vapour
    own = runner.clothing
    return np.full(N_SEGMENTS, own.covered_fraction), own.insulation_clo, own.vapour_resistance_m2Pa_W


TURNING_PIECE_S = 120.0  # longest piece while wind direction or pressure changes
_WIND_DIRECTIONS = {"head": (1.0, 0.0), "tail": (-1.0, 0.0), "cross": (0.0, 1.0)}
_GAITS = {"auto": -1, "walk": energetics.WALK, "run": energetics.RUN}
_COSTS = {"minetti": energetics.MINETTI, "acsm": energetics.ACSM}


def _wind_components(weather, heading_deg, time_s):
    """Shares of the wind from ahead and from the side [1], at times [s] and headings [°]."""
    if weather.wind_from in _WIND_DIRECTIONS:
        return _WIND_DIRECTIONS[weather.wind_from]
    angle = np.radians(weather.at(time_s)["wind_from_deg"] - heading_deg)
    return np.cos(angle), np.abs(np.sin(angle))


def piece_records(effort, weather) -> np.ndarray:
    """Merge effort (constant by parts) and weather (straight lines between knots) into PIECE records.

    Returns
    -------
    numpy.ndarray of dtype PIECE
        In order of time, without holes; every jump of either input is a boundary.
    """
    end = float(effort.end_s[-1])
    cuts = np.unique(np.concatenate([effort.start_s, [end], np.clip(weather.time_s, 0.0, end)]))
    if weather.wind_from == "degrees" or np.ptp(weather.pressure_kPa) > 0.0:
        # Direction and pressure are constant within a piece: cut so short that they hardly turn.
        cuts = np.unique(np.concatenate([cuts, np.arange(0.0, end, TURNING_PIECE_S)]))
    part = np.clip(np.searchsorted(effort.start_s, cuts[:-1], side="right") - 1, 0, effort.start_s.size - 1)
    pieces = np.zeros(cuts.size - 1, dtype=PIECE)
    pieces["start_s"], pieces["end_s"] = cuts[:-1], cuts[1:]
    pieces["speed_m_s"], pieces["grade"] = effort.speed_m_s[part], effort.grade_pct[part] / 100.0
    pieces["carried_kg"], pieces["surface"] = effort.carried_mass_kg, effort.surface_factor
    pieces["ground_air"], pieces["fan_m_s"] = 0.0 if effort.treadmill else 1.0, effort.fan_speed_m_s
    pieces["swing_m_s"], pieces["power_W"], pieces["upright"] = pieces["speed_m_s"], -1.0, 1.0
    pieces["gait"], pieces["cost_relation"], pieces["air_drag"] = (
        _GAITS[effort.gait],
        _COSTS[effort.cost],
        effort.air_drag,
    )
    knots = weather.at(cuts)
    lines = {"air_C": "air_temperature_C", "vapour_kPa": "vapour_pressure_kPa", "wind_m_s": "wind_speed_m_s",
             "solar_W_m2": "solar_equivalent_W_m2"}  # fmt: skip
    for side, ends in ((0, slice(None, -1)), (1, slice(1, None))):
        for name, quantity in lines.items():
            pieces[f"{name}_{side}"] = knots[quantity][ends]
        pieces[f"radiant_C_{side}"] = _radiant(knots)[ends]
    pieces["pressure_kPa"] = 0.5 * (knots["pressure_kPa"][:-1] + knots["pressure_kPa"][1:])
    pieces["wind_along"], pieces["wind_across"] = _wind_components(
        weather, effort.heading_deg[part], 0.5 * (cuts[:-1] + cuts[1:])
    )
    if effort.ground is not None:
        _on_the_ground(pieces, effort.ground, part)
    return pieces


def _radiant(now) -> np.ndarray:
    """Mean radiant temperature [°C]: given, or from the globe (which stands still in the wind), or the air's."""
    found, given = now["air_temperature_C"].copy(), now["mean_radiant_temperature_C"]
    for k in np.flatnonzero(np.isnan(given) & ~np.isnan(now["globe_temperature_C"])):
        wind = max(float(now["wind_speed_m_s"][k]), LEAST_AIR_SPEED_M_S)
        found[k] = mean_radiant_temperature_of_globe(float(now["globe_temperature_C"][k]), float(found[k]), wind)
    return np.where(np.isnan(given), found, given)


def _on_the_ground(pieces, ground, part) -> None:
    """Put shade, shelter, surface and gait of a course into its pieces.

    Shade covers the sky as well: what mean radiant temperature differs from the air by is left in the same share as the sun.
    """
    sun, wind = ground.sun_left[part], ground.wind_left[part]
    for side in (0, 1):
        pieces[f"solar_W_m2_{side}"] *= sun
        pieces[f"wind_m_s_{side}"] *= wind
        air = pieces[f"air_C_{side}"]
        pieces[f"radiant_C_{side}"] = air + sun * (pieces[f"radiant_C_{side}"] - air)
    pieces["surface"] *= ground.surface[part]
    pieces["gait"] = np.where(ground.gait[part] >= 0.0, ground.gait[part], pieces["gait"])
