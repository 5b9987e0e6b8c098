"""The glossary: every name at the boundary, its unit, its label, its allowed range.

The only place where labels and limits are written. Files, Python arguments, flags (with dashes), columns and
Dataset variables use these names.
"""

import math
from typing import NamedTuple


class Variable(NamedTuple):
    """One boundary quantity: unit, label for axes, allowed range (closed)."""

    unit: str
    long_name: str
    low: float = -math.inf
    high: float = math.inf


# What people write down (files, flags, Python arguments).
INPUTS: dict[str, Variable] = {
    # runner
    "mass_kg": Variable("kg", "body mass", 30.0, 160.0),
    "height_m": Variable("m", "height", 1.20, 2.30),
    "age_y": Variable("y", "age", 5.0, 100.0),
    "body_fat_pct": Variable("%", "body fat", 3.0, 50.0),
    "vo2max_mL_kg_min": Variable("mL/kg/min", "maximal oxygen uptake", 15.0, 95.0),
    "resting_heart_rate_bpm": Variable("bpm", "resting heart rate", 28.0, 110.0),
    "maximum_heart_rate_bpm": Variable("bpm", "maximum heart rate", 110.0, 230.0),
    "threshold_heart_rate_bpm": Variable("bpm", "heart rate at the lactate threshold", 90.0, 220.0),
    "heat_days": Variable("days", "days with heat exposure in the last 14", 0.0, 14.0),
    "maximum_sweat_rate_L_h": Variable("L/h", "maximum sweat rate", 0.2, 4.0),
    "heat_minutes": Variable("min", "exercise in the heat", 5.0, 600.0),
    "economy_factor": Variable("1", "multiplier on the cost of running", 0.6, 1.6),
    "core_start_C": Variable("°C", "core temperature at the start", 35.5, 39.0),
    "covered_fraction": Variable("1", "share of the skin under cloth", 0.0, 1.0),
    "insulation_clo": Variable("clo", "insulation of the cloth, effective at running speed", 0.0, 4.0),
    "vapour_resistance_m2Pa_W": Variable("m²Pa/W", "vapour resistance of the cloth", 0.0, 200.0),
    # weather
    "air_temperature_C": Variable("°C", "air temperature", -20.0, 55.0),
    "relative_humidity_pct": Variable("%", "relative humidity", 0.0, 100.0),
    "dew_point_C": Variable("°C", "dew point", -40.0, 36.0),
    "wet_bulb_C": Variable("°C", "psychrometric wet-bulb temperature", -20.0, 40.0),
    "vapour_pressure_kPa": Variable("kPa", "vapour pressure", 0.0, 6.0),
    "wind_speed_m_s": Variable("m/s", "wind speed", 0.0, 25.0),
    "wind_height_m": Variable("m", "height at which the wind was measured", 0.5, 20.0),
    "wind_from_deg": Variable("°", "direction the wind comes from", 0.0, 360.0),
    "heading_deg": Variable("°", "direction of running", 0.0, 360.0),
    "solar_W_m2": Variable("W/m²", "global horizontal solar radiation", 0.0, 1400.0),
    "globe_temperature_C": Variable("°C", "black-globe temperature (150 mm)", -20.0, 90.0),
    "mean_radiant_temperature_C": Variable("°C", "mean radiant temperature", -40.0, 100.0),
    "pressure_kPa": Variable("kPa", "barometric pressure", 50.0, 110.0),
    "altitude_m": Variable("m", "altitude above the sea", -430.0, 5500.0),
    "natural_wet_bulb_C": Variable("°C", "natural wet-bulb temperature (wick in the open)", -20.0, 45.0),
    "latitude_deg": Variable("°", "latitude, north of the equator", -90.0, 90.0),
    "longitude_deg": Variable("°", "longitude, east of Greenwich", -180.0, 180.0),
    "cloud_cover": Variable("1", "share of the sky under cloud", 0.0, 1.0),
    "albedo": Variable("1", "share of the sun that the ground reflects", 0.0, 0.95),
    # effort
    "speed_m_s": Variable("m/s", "running speed", 0.0, 8.0),
    "pace_min_km": Variable("min/km", "pace", 2.09, 60.0),
    "grade_pct": Variable("%", "grade", -45.0, 45.0),
    "minutes": Variable("min", "duration", 0.5, 1440.0),
    "part_minutes": Variable("min", "duration of a part", 0.05, 1440.0),
    "time_s": Variable("s", "time since the start", 0.0, 90_000.0),
    "time_min": Variable("min", "time since the start", 0.0, 1500.0),
    "fan_speed_m_s": Variable("m/s", "fan air speed at the treadmill", 0.0, 10.0),
    "surface_factor": Variable("1", "multiplier for the ground", 0.9, 2.5),
    "carried_mass_kg": Variable("kg", "carried mass", 0.0, 30.0),
    "heart_rate_bpm": Variable("bpm", "heart rate", 25.0, 240.0),
    "distance_m": Variable("m", "distance", 0.0, 500_000.0),
    "elevation_m": Variable("m", "elevation", -430.0, 6000.0),
    "cadence_rpm": Variable("rpm", "cadence", 0.0, 260.0),
    # rule and blocks
    "cap_bpm": Variable("bpm", "heart-rate cap", 60.0, 220.0),
    "cap_below_threshold_bpm": Variable("bpm", "beats that the cap is below threshold heart rate", 0.0, 60.0),
    "resume_below_bpm": Variable("bpm", "heart rate below which a cap event ends", 40.0, 220.0),
    "resume_seconds": Variable("s", "time below it that ends a cap event", 0.0, 600.0),
    "walk_speed_m_s": Variable("m/s", "walking speed of the rule", 0.5, 2.5),
    "max_cap_events": Variable("1", "cap event at which the run is stopped", 1, 500),
    "stop_after_min_over_cap": Variable("min", "time above the cap after which the run is stopped", 0.1, 600.0),
    "core_stop_C": Variable("°C", "modelled core at which the modelled run is stopped", 37.5, 39.5),
    "walk_above_grade_pct": Variable("%", "grade above which the runner walks", 0.0, 45.0),
    "level_speed_m_s": Variable("m/s", "level-equivalent speed", 0.5, 8.0),
    "block_distance_m": Variable("m", "distance of a block", 20.0, 100_000.0),
    "reps": Variable("1", "repetitions", 1, 100),
    "shade_share": Variable("1", "share of the sun kept off", 0.0, 1.0),
    # course
    "distance_km": Variable("km", "distance", 0.0, 500.0),
    "shade": Variable("1", "share of the sun kept off", 0.0, 1.0),
    "exposure": Variable("1", "share of the wind that is left", 0.0, 2.0),
    "ice_probability": Variable("1", "chance that there is ice", 0.0, 1.0),
    "stop_min": Variable("min", "time standing at a checkpoint", 0.0, 600.0),
    "smoothing_m": Variable("m", "standard deviation of the window over elevation", 0.0, 500.0),
    "segment_m": Variable("m", "longest part of constant grade", 10.0, 2000.0),
    "fastest_m_s": Variable("m/s", "speed that no part is run faster than", 0.3, 8.0),
    "laps": Variable("1", "how often the course is run", 1, 200),
    "track": Variable("1", "which track of a GPX file", 1, 10_000),
    # limits and ensemble
    "core_temperature_C": Variable("°C", "core limit", 37.5, 40.0),
    "core_limit_C": Variable("°C", "core limit", 37.5, 40.0),
    "members": Variable("1", "members of the ensemble", 1, 20_000),
    "seed": Variable("1", "random seed", 0, 2**63 - 1),
    # devices
    "ice_kg": Variable("kg", "ice loaded", 0.02, 3.0),
    "from_min": Variable("min", "put on at", 0.0, 1500.0),
    "to_min": Variable("min", "taken off at", 0.0, 1500.0),
    "refill_min": Variable("min", "refilled at", 0.0, 1500.0),
    "from_km": Variable("km", "put on at", 0.0, 500.0),
    "to_km": Variable("km", "taken off at", 0.0, 500.0),
    "refill_km": Variable("km", "refilled at", 0.0, 500.0),
    "every_min": Variable("min", "time between refills", 0.5, 1500.0),
    "every_km": Variable("km", "distance between refills", 0.05, 500.0),
    "spares": Variable("1", "charges at hand", 1, 1000),
    "refill_at_share": Variable("1", "share of a charge left at which it counts as spent", 0.0, 1.0),
    "contact_area_m2": Variable("m²", "contact area", 0.001, 1.0),
    "contact_conductance_W_m2K": Variable("W/m²K", "contact conductance", 5.0, 400.0),
    # the instant ledger: what textbooks give instead of a speed
    "skin_temperature_C": Variable("°C", "mean skin temperature", 5.0, 42.0),
    "metabolic_power_W": Variable("W", "metabolic power", 30.0, 2500.0),
    "metabolic_rate_W_m2": Variable("W/m²", "metabolic rate", 20.0, 1300.0),
    "oxygen_uptake_L_min": Variable("L/min", "oxygen uptake", 0.1, 7.0),
    "respiratory_quotient": Variable("1", "respiratory quotient", 0.70, 1.10),
    "external_work_W": Variable("W", "external work", -800.0, 800.0),
    "surface_area_m2": Variable("m²", "body surface area", 0.8, 3.0),
    "air_speed_m_s": Variable("m/s", "relative air speed", 0.0, 25.0),
    "convection_W_m2K": Variable("W/m²K", "convective coefficient", 0.5, 80.0),
    "clothing_clo": Variable("clo", "clothing insulation, whole body", 0.0, 4.0),
    "sweat_rate_L_h": Variable("L/h", "sweat rate", 0.0, 4.5),
    "core_end_C": Variable("°C", "core temperature at the end", 35.0, 42.0),
    "skin_start_C": Variable("°C", "mean skin temperature at the start", 15.0, 42.0),
    "skin_end_C": Variable("°C", "mean skin temperature at the end", 15.0, 42.0),
    "storage_W": Variable("W", "heat storage", -1500.0, 1500.0),
}

# What comes out (Dataset variables): name -> unit and label; ranges are plausibility bounds of the engine.
OUTPUTS: dict[str, Variable] = {
    "core_temperature": Variable("°C", "Core temperature", 25.0, 45.0),
    "core_temperature_low": Variable("°C", "Core temperature, low end of its 90 % band", 25.0, 45.0),
    "core_temperature_high": Variable("°C", "Core temperature, high end of its 90 % band", 25.0, 45.0),
    "rectal_temperature": Variable("°C", "Rectal temperature", 25.0, 45.0),
    "oesophageal_temperature": Variable("°C", "Oesophageal temperature", 25.0, 45.0),
    "gut_temperature": Variable("°C", "Gut temperature", 0.0, 45.0),
    "mean_body_temperature": Variable("°C", "Mean body temperature", 20.0, 45.0),
    "mean_skin_temperature": Variable("°C", "Mean skin temperature", 0.0, 45.0),
    "tissue_temperature": Variable("°C", "Tissue temperature", -5.0, 50.0),
    "skin_temperature": Variable("°C", "Skin temperature", -5.0, 50.0),
    "skin_wettedness": Variable("1", "Skin wettedness"),
    "required_evaporation": Variable("W", "Required evaporation"),
    "evaporative_capacity": Variable("W", "Evaporative capacity"),
    "limited_by": Variable("1", "What limits the balance"),
    "sweat_rate": Variable("L/h", "Sweat rate"),
    "sweat_loss": Variable("L", "Sweat loss"),
    "body_mass_loss": Variable("kg", "Body mass loss"),
    "skin_blood_flow": Variable("L/min", "Skin blood flow"),
    "metabolic_power": Variable("W", "Metabolic power"),
    "oxygen_uptake": Variable("L/min", "Oxygen uptake"),
    "heart_rate": Variable("bpm", "Heart rate"),
    "heart_rate_part": Variable("bpm", "Parts of heart rate"),
    "heart_rate_recorded": Variable("bpm", "Recorded heart rate"),
    "effort_recorded": Variable("1", "Recorded effort rating"),
    "thermal_sensation_recorded": Variable("1", "Recorded thermal sensation"),
    "heat_flow": Variable("W", "Heat terms"),
    "closure": Variable("W", "Closure"),
    "device_power": Variable("W", "Heat into the device"),
    "device_heat": Variable("J", "Heat that went into the device since the start"),
    "device_shade": Variable("W", "Sun that the device keeps off the skin"),
    "device_store": Variable("J", "Heat content of the device"),
    "device_water": Variable("kg", "Water of the device"),
    "device_skin_temperature": Variable("°C", "Skin temperature under the device"),
    "speed": Variable("m/s", "Speed"),
    "grade": Variable("%", "Grade"),
    "mode": Variable("1", "What the runner does (0 stand, 1 walk, 2 run)"),
    "distance": Variable("m", "Distance"),
    "air_temperature": Variable("°C", "Air temperature"),
    "relative_humidity": Variable("%", "Relative humidity"),
    "vapour_pressure": Variable("kPa", "Vapour pressure"),
    "air_speed": Variable("m/s", "Relative air speed"),
    "solar_load": Variable("W", "Sun absorbed at the outer surface"),
    # under a pacing rule: second by second, cap event by cap event, leg by leg
    "heart_rate_at_look": Variable("bpm", "Heart rate that the rule looked at"),
    "mode_at_look": Variable("1", "What the runner does (0 stand, 1 walk, 2 run, 3 stopped)"),
    "distance_at_look": Variable("m", "Distance at each look"),
    "leg_at_look": Variable("1", "Leg"),
    "cap_event_start": Variable("s", "Start of a cap event"),
    "cap_event_distance": Variable("m", "Distance at the start of a cap event"),
    "cap_event_below": Variable("s", "Time at which heart rate came below the resume level"),
    "cap_event_resume": Variable("s", "End of a cap event"),
    "cap_event_peak": Variable("bpm", "Highest heart rate of a cap event"),
    "leg_start": Variable("s", "Start of a leg"),
    "leg_distance": Variable("m", "Distance at the start of a leg"),
    # perception: apart from the model, never read by it
    "relative_intensity": Variable("1", "Oxygen uptake over its maximum"),
    "effort_rating_low": Variable("1", "Effort rating of a group, low end of the published class", 6.0, 20.0),
    "effort_rating_high": Variable("1", "Effort rating of a group, high end of the published class", 6.0, 20.0),
    "effort_rating_one_low": Variable("1", "Effort rating of one runner, low end of its 90 % band", 6.0, 20.0),
    "effort_rating_one_high": Variable("1", "Effort rating of one runner, high end of its 90 % band", 6.0, 20.0),
    "effort_outside": Variable("1", "Whether the effort rating is outside its published range"),
    "mean_skin_rate": Variable("°C/min", "Rate of mean skin temperature"),
    "thermal_sensation_change": Variable("1", "Thermal sensation against the start, as a direction"),
}


def flag(name: str) -> str:
    """Return the command-line flag of an input name, e.g. ``mass_kg`` -> ``--mass-kg``."""
    return "--" + name.replace("_", "-")
