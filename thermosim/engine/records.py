"""Flat records: the only things that kernels see. Built by ``inputs/flat.py`` and ``cooling/``."""

from typing import NamedTuple

import numpy as np

from thermosim.engine.nodes import N_NODES, N_SEGMENTS

_F, _I, _S = np.float64, np.int64, (N_SEGMENTS,)


def record_type(fields) -> np.dtype:
    """Return an aligned record type whose fields are attributes too, so that kernels run uncompiled as well."""
    return np.dtype((np.record, np.dtype(fields, align=True)))


_RUNNER_SCALARS = (
    "mass_kg",
    "surface_area_m2",
    "economy",
    "resting_W",
    "inverse_rest_muscle",
    "standing_W",
    "seated_W",
    "maximal_W",
    "oxygen_J_L",
    "walk_run_switch_m_s",
    "oxygen_time_constant_s",
    "slow_component_gain",
    "slow_component_threshold",
    "slow_component_time_constant_s",
    "tissue_q10_exponent_1_K",
    "heat_capacity_of_blood_J_L",
    "muscle_flow_rest_L_min",
    "muscle_flow_gain_L_per_L_oxygen",
    "viscera_flow_rest_L_min",
    "viscera_flow_fall",
    "gut_flow_L_min",
    "gut_conductance_W_K",
    "skin_flow_rest_L_min",
    "skin_flow_gain_L_min_K",
    "skin_flow_set_core_C",
    "skin_flow_skin_weight",
    "skin_flow_ceiling_rest_L_min",
    "skin_flow_ceiling_exercise_L_min",
    "skin_flow_ceiling_intensity",
    "skin_flow_fall_per_pct_loss",
    "constriction_skin_C",
    "constriction_gain_1_K",
    "constriction_override",
    "local_flow_cold_C",
    "local_flow_warm_C",
    "local_flow_floor",
    "shunt_flow_ceiling_L_min",
    "shunt_flow_span_K",
    "sweat_set_core_C",
    "sweat_gain_L_h_K",
    "sweat_skin_weight",
    "skin_signal_floor_C",
    "skin_signal_set_C",
    "sweat_local_slope_K",
    "sweat_local_reference_C",
    "maximum_sweat_rate_L_h",
    "sweat_fall_per_pct_loss",
    "sweat_gut_weight",
    "fluid_threshold_shift_K_pct",
    "skin_diffusion_wettedness",
    "film_full_kg_m2",
    "film_overflow_s",
    "wettedness_limit",
    "dripping_onset_wettedness",
    "evaporating_share_when_wet",
    "shiver_gain_W_m2K2",
    "shiver_core_C",
    "shiver_ceiling_rest",
    "skin_emissivity",
    "radiating_area_fraction",
    "solar_absorptance",
    "solar_interception",
    "clothing_resistance_m2K_W",
    "clothing_vapour_m2kPa_W",
    "clothing_static_ratio",
    "clothing_reference_speed_m_s",
    "rectal_lag_s",
    "heart_core_bpm_K",
    "heart_skin_bpm_K",
    "heart_skin_floor_C",
    "core_reference_C",
    "heart_skin_reference_C",
    "heart_fluid_bpm_pct",
    "heart_plasma_share",
    "heart_drift_bpm_h",
    "heart_on_s",
    "heart_off_s",
    "heart_rest_bpm",
    "heart_rest_upright_bpm",
    "heart_maximum_bpm",
    "air_temperature_shift_K",
    "vapour_pressure_factor",
    "air_speed_factor",
    "solar_factor",
)
_RUNNER_BY_SEGMENT = (
    "area_m2",
    "conductance_core_muscle",
    "conductance_muscle_fat",
    "conductance_fat_skin",
    "core_flow_L_min",
    "muscle_flow_share",
    "fat_flow_L_min",
    "skin_flow_share",
    "shunt_share",  # of the shunt flow of hands and feet
    "countercurrent",
    "film_hold_kg_m2",  # water that skin and the cloth over it hold
    "rest_core",
    "rest_muscle",
    "rest_skin",
    "work_share",
    "sweat_share",
    "convection_weight",
    "swing_weight",
    "cycling_share",
    "covered_share",
    "trunk_weight",
    "viscera_share",
)

# One runner (or one member of an ensemble).
RUNNER = record_type(
    [(name, _F) for name in _RUNNER_SCALARS]
    + [(name, _F, _S) for name in _RUNNER_BY_SEGMENT]
    + [
        ("capacity_J_K", _F, (N_NODES,)),
        ("water_share", _F, (N_NODES,)),
        ("node_group", _I, (N_NODES,)),
        ("tied_groups", _I),
    ],
)

# One stretch of time with constant effort and weather that runs in straight lines from *_0 to *_1.
_PIECE_LINES = ("air_C", "vapour_kPa", "wind_m_s", "solar_W_m2", "radiant_C")
PIECE = record_type(
    [
        (name, _F)
        for name in (
            "start_s",
            "end_s",
            "speed_m_s",
            "grade",
            "carried_kg",
            "surface",
            "pressure_kPa",
            "wind_along",
            "wind_across",
            "ground_air",
            "fan_m_s",
            "swing_m_s",  # own motion of the limbs: the speed on foot, less on a cycle
            "power_W",  # metabolic power where it is given; negative: from speed and grade
            "given_work_W",  # external work that goes with it
            "seated",  # 1 while resting seated, 0 lying
            "upright",  # share of what standing upright adds to heart rate
        )
    ]
    + [(f"{name}_{end}", _F) for name in _PIECE_LINES for end in (0, 1)]
    + [("gait", _I), ("cost_relation", _I), ("air_drag", _I), ("activity", _I)],
)

# What the body does in a piece: which muscles work.
ON_FOOT, CYCLING, RESTING = range(3)

# One row of the boundary table: what a device, a drink, poured water or a bath is at one place of the body, or what
# changes the air, the sun or the breath around it.
ON_SKIN, IN_STOMACH, POURED, BATH, AROUND = range(5)
WORN, SWALLOWED, POURING, BATHED, SURROUNDED = range(1, 6)  # `active` of a row of each place; 0 while it is off
_ROW_SCALARS = (
    "area_m2",
    "contact_W_m2K",
    "charge_kg",
    "charge_C",
    "melt_low_C",
    "melt_high_C",
    "latent_J_kg",
    "solid_J_kgK",
    "liquid_J_kgK",
    "dry_J_K",
    "dry_mass_kg",
    "hold_kg",
    "drip_s",
    "drip_on_skin",
    "outer_area_m2",
    "outer_conductance_W_m2K",
    "outer_J_K",
    "outer_absorptance",
    "outer_wet_kg",
    "outer_hold_kg",
    "outer_exposure",
    "ice_share",  # of a charge that is not warmer than its melting point
    "segment_share",  # of a segment's skin that is in a bath
    "run_off_warming",  # share of the way to skin temperature that run-off water is warmed
    "half_contact_kg",  # filling of the stomach at half its contact
    "air_speed_m_s",  # the air over the runner moves at least this fast
    "air_change_K",  # added to the air's temperature
    "vapour_change_kPa",  # added to its vapour pressure
    "shade_share",  # share of the sun that is kept off
    "breath_share",  # share of the breath that is taken at breath_C
    "breath_C",
    "sink_W",  # heat taken straight from the blood: no device can, it is the bound for all of them
    "mist_kg_s",  # water that a mist brings to the skin, evenly over it
    "mist_C",
    "refill_at_share",  # a spare charge goes in when less than this share is left (of the ice; of the water without ice)
    "spares",  # charges at hand for that
    "swallow_ceiling_kg",  # a portion is cut so that the stomach holds no more, nor more than was lost; 0: drunk whole
)
ROW = record_type(
    [(name, _F) for name in _ROW_SCALARS]
    + [("segment", _I), ("place", _I), ("wicks", _I), ("drip_segment_1", _I), ("drip_segment_2", _I), ("device", _I)],
)

# What happens to a row, and when.
EVENT = record_type([("time_s", _F), ("row", _I), ("action", _I)])
PUT_ON, TAKE_OFF, REFILL = 0, 1, 2


# A pacing rule: when to walk, stand, run on, stop. Infinite where a part of it is not used.
RULE = record_type(
    [
        (name, _F)
        for name in (
            "cap_bpm",  # above it a cap event begins
            "resume_below_bpm",  # it ends when heart rate is below this
            "resume_s",  # for so long
            "walk_speed_m_s",
            "max_cap_events",  # the run is stopped at the event of this number
            "stop_after_over_s",  # or after so long above the cap, in all
            "core_stop_C",  # or at this modelled core
            "walk_above_grade",  # steeper than this the runner walks (tangent)
        )
    ]
    + [
        ("active", _I),  # 0: no rule, the effort is that of the pieces
        ("above_cap", _I),  # energetics.WALK or STAND
        ("end_when_done", _I),  # the run ends when the last leg is done or the rule stops the runner; else the runner stands
    ]
)

# A leg of a paced run, in order: by distance where ``metres`` is above 0, else by time. What is not here is the piece's.
LEG = record_type(
    [
        (name, _F)
        for name in (
            "metres",
            "seconds",
            "speed_m_s",
            "grade",
            "surface",
            "heading",  # direction of running [rad], NaN: wind_along and wind_across of the piece hold as they are
            "sun_left",  # share of the sun that reaches the runner
            "wind_left",  # share of the wind
            "seated",
            "upright",
        )
    ]
    + [
        ("activity", _I),
        ("gait", _I),  # -1: the piece's
        ("capped", _I),  # 1: the rule acts; 0: a rest
    ]
)


class Pacing(NamedTuple):
    """A rule, the legs it acts on, and what it needs and leaves behind; the caller owns every array."""

    rule: np.ndarray  # RULE, (1,)
    legs: np.ndarray  # LEG, (n_legs,)
    leg_events: np.ndarray  # EVENT, in order; ``time_s`` is the number of the leg at whose start it happens
    now: np.ndarray  # PIECE, (1,): the piece as the leg and the mode make it
    pace: np.ndarray  # (N_PACE,), see engine/pacing.py
    cap_events: np.ndarray  # (most that are kept, N_CAP_EVENT)
    looks: np.ndarray  # (seconds + 1, N_LOOK), or none
    leg_starts: np.ndarray  # (n_legs + 1, 3): time [s], distance [m], time over the cap so far [s]; NaN where not reached


class StepScalars(NamedTuple):
    """Numbers that stay constant during one step."""

    air_C: float
    vapour_kPa: float
    radiant_C: float
    solar_W_m2: float  # what canopies let through
    sun_left: float  # share of the sun that they let through
    pressure_factor: float  # 101.325 / p, on the Lewis relation
    metabolic_W: float  # mean over the step, without tissue Q10 and shivering
    work_W: float
    exercise_W: float  # the part made by working muscle, before external work
    skin_flow_ceiling_L_min: float
    calm: bool  # natural convection may win somewhere on the skin


class Work(NamedTuple):
    """Arrays that one run needs; the caller owns them all."""

    state: np.ndarray
    fast: np.ndarray
    heat: np.ndarray  # (N_TERMS, N_COLUMNS) [W]
    seg: np.ndarray  # (N_COEFFICIENTS, 12)
    active: np.ndarray  # (MAX_ROWS,) 0 while a row is off, else one more than its place
    stages: np.ndarray  # (5, size of state)
