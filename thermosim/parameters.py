"""The one table of physiological numbers: value, unit, plausible range, spread between people, source, confidence.

``sd`` is the standard deviation between people (or our doubt about the population value, where that is larger);
ensembles draw from it, inside ``low`` to ``high``.

Values began as literature values; how they were found since is told in ``DEVELOPERS.md`` ("How the values were found").

Where ``calibrated.toml`` lies beside this file, its values replace those written here: they were found by
``python -m thermosim.evidence.calibrate`` from published experiments. Such an entry also carries the ``prior`` that the
calibration began from, its ``standard_error``, and whether the experiments ``determined`` it; all others are ``not fitted``.

Confidence: ``high`` (several sources or a standard), ``medium`` (one source or from memory), ``low`` (a guess
inside what is plausible; the result says how much hangs on it).
"""

import tomllib
from pathlib import Path
from typing import NamedTuple


class Parameter(NamedTuple):
    """One physiological number."""

    value: float
    unit: str
    low: float
    high: float
    sd: float
    source: str
    confidence: str
    prior: float | None = None
    standard_error: float | None = None
    determined: str = "not fitted"  # or "yes", "no"


# fmt: off
PARAMETERS: dict[str, Parameter] = {
    # --- body: densities, heat capacities, conductivities ------------------------------------------------
    "specific_heat_core": Parameter(3600.0, "J/kgK", 3300.0, 3800.0, 0.0, "viscera 3.7, bone 2.1 kJ/kgK, mixed; handbook", "medium"),
    "specific_heat_muscle": Parameter(3640.0, "J/kgK", 3500.0, 3800.0, 0.0, "handbook values of tissue", "high"),
    "specific_heat_fat": Parameter(2400.0, "J/kgK", 2200.0, 2600.0, 0.0, "handbook values of tissue", "medium"),
    "specific_heat_skin": Parameter(3600.0, "J/kgK", 3300.0, 3800.0, 0.0, "handbook values of tissue", "medium"),
    "specific_heat_blood": Parameter(3740.0, "J/kgK", 3600.0, 3900.0, 0.0, "handbook values of tissue", "high"),
    "density_lean": Parameter(1070.0, "kg/m3", 1050.0, 1100.0, 0.0, "handbook values of tissue", "high"),
    "density_fat": Parameter(920.0, "kg/m3", 900.0, 950.0, 0.0, "handbook values of tissue", "high"),
    "conductivity_lean": Parameter(0.50, "W/mK", 0.40, 0.60, 0.0, "handbook values of tissue", "high"),
    "conductivity_fat": Parameter(0.21, "W/mK", 0.16, 0.25, 0.0, "handbook values of tissue", "high"),
    "conductivity_skin": Parameter(0.37, "W/mK", 0.25, 0.50, 0.0, "handbook values of tissue", "medium"),
    "conduction_factor": Parameter(0.5, "1", 0.3, 1.0, 0.1, "multiplier on the cylinder estimate of tissue conductance; SD: insulation of equally fat people at rest differs by about a fifth, from memory", "low"),
    "skin_thickness_m": Parameter(0.0020, "m", 0.0012, 0.0030, 0.0, "dermis and epidermis; anatomy texts", "medium"),
    "subcutaneous_share_of_fat": Parameter(0.70, "1", 0.5, 0.9, 0.0, "anatomy texts, from memory", "medium"),
    "blood_mass_fraction": Parameter(0.040, "1", 0.03, 0.05, 0.0, "heart, lungs and great vessels: about half of 75 mL/kg", "medium"),
    "gut_mass_fraction": Parameter(0.018, "1", 0.01, 0.03, 0.0, "stomach and upper gut with contents", "low"),
    "gut_contact_share": Parameter(0.05, "1", 0.02, 0.1, 0.0, "contact of stomach and upper gut with the abdomen, share of body surface", "low"),
    "gut_contact_depth_m": Parameter(0.03, "m", 0.01, 0.06, 0.0, "mean distance between them", "low"),
    "body_fat_default_male_pct": Parameter(15.0, "%", 5.0, 25.0, 4.0, "recreational runners; common practice; SD 4 within groups of runners, skinfold studies", "medium"),
    "body_fat_default_female_pct": Parameter(22.0, "%", 10.0, 32.0, 4.0, "recreational runners; common practice; SD 4 within groups of runners, skinfold studies", "medium"),
    # --- energetics -------------------------------------------------------------------------------------------
    "resting_power_W_kg": Parameter(1.2, "W/kg", 1.0, 1.6, 0.09, "quiet rest; 1 met is 58 W/m2; SD 7 to 8 % between people of one size, from memory", "high"),
    "standing_power_W_kg": Parameter(0.3, "W/kg", 0.1, 0.6, 0.08, "standing over lying rest; ISO 8996, from memory; SD: about a quarter between people, from memory", "medium"),
    "seated_power_W_kg": Parameter(0.22, "W/kg", 0.1, 0.4, 0.05, "sitting adds 10 W/m2 to basal 45 W/m2; ISO 8996, from memory; SD: about a quarter, as standing", "medium"),
    "respiratory_quotient": Parameter(0.90, "1", 0.80, 1.0, 0.0, "moderate endurance running", "medium"),
    "economy_spread": Parameter(1.0, "1", 0.8, 1.25, 0.05, "spread of running economy between trained runners; SD 4 to 5 % within a level of ability; 3.40 ± 0.24 J/kg/m is 7 % (Minetti 2002)", "high"),
    "walk_run_switch_m_s": Parameter(2.0, "m/s", 1.8, 2.3, 0.0, "preferred transition, Froude number about 0.5", "high"),
    "oxygen_time_constant_s": Parameter(35.0, "s", 20.0, 60.0, 6.0, "pulmonary oxygen uptake at the onset of work; SD: 20 to 40 s among the trained is two SD each way", "high"),
    "slow_component_gain": Parameter(0.20, "1", 0.0, 0.4, 0.05, "share of the excess over threshold added slowly; SD: a quarter, guess", "low"),
    "slow_component_threshold": Parameter(0.80, "1", 0.6, 0.9, 0.03, "of maximal oxygen uptake, trained runners; SD: 74 to 86 % among the trained is two SD each way", "medium"),
    "slow_component_time_constant_s": Parameter(420.0, "s", 180.0, 900.0, 0.0, "minutes; oxygen-uptake kinetics reviews", "medium"),
    "tissue_q10": Parameter(2.0, "1", 1.0, 3.0, 0.0, "resting tissue metabolism per 10 K", "medium"),
    # --- circulation ---------------------------------------------------------------------------------------------
    "heat_capacity_of_blood_J_L": Parameter(3930.0, "J/LK", 3800.0, 4000.0, 0.0, "1.05 kg/L at 3.74 kJ/kgK", "high"),
    "muscle_flow_rest_L_min": Parameter(0.90, "L/min", 0.6, 1.2, 0.0, "textbook distribution of a 5 L/min output", "high"),
    "muscle_flow_gain_L_per_L_oxygen": Parameter(5.6, "L/L", 4.5, 6.5, 0.4, "cardiac output rises 5 to 6 L per litre of oxygen; SD: 5 to 6.4 between people, from memory", "high"),
    "viscera_flow_rest_L_min": Parameter(1.60, "L/min", 1.2, 2.0, 0.0, "splanchnic; textbook", "high"),
    "viscera_flow_fall": Parameter(0.55, "1", 0.3, 0.8, 0.0, "fall at maximal intensity; Rowell, from memory", "medium"),
    "brain_flow_L_min": Parameter(0.75, "L/min", 0.6, 0.9, 0.0, "textbook", "high"),
    "chest_flow_L_min": Parameter(1.00, "L/min", 0.3, 2.0, 0.0, "bronchial and heart muscle, plus contact with pulmonary blood", "medium"),
    "back_flow_L_min": Parameter(1.00, "L/min", 0.5, 1.4, 0.0, "kidneys (1.2 L/min at rest) and spine", "low"),
    "bone_flow_L_min_kg": Parameter(0.02, "L/min/kg", 0.01, 0.05, 0.0, "limb cores", "low"),
    "gut_flow_L_min": Parameter(0.30, "L/min", 0.1, 0.6, 0.06, "wall of stomach and upper gut; SD: a fifth, as other splanchnic flow, guess", "low"),
    "fat_flow_L_min_kg": Parameter(0.018, "L/min/kg", 0.01, 0.04, 0.004, "adipose tissue; textbook; SD: a third, xenon clearance, from memory", "medium"),
    "reference_surface_m2": Parameter(1.85, "m2", 1.8, 1.9, 0.0, "body that flows and sweat rates of this table are given for: 70 kg, 1.76 m; the two-node model gives them per m2", "high"),
    # --- skin blood flow -----------------------------------------------------------------------------------------
    "skin_flow_rest_L_min": Parameter(0.22, "L/min", 0.15, 0.5, 0.05, "6.3 L/h/m2 in the two-node model is 0.19; textbooks to 0.4; SD: 0.2 to 0.4 in textbooks is two SD each way", "high"),
    "skin_flow_gain_L_min_K": Parameter(1.8, "L/min/K", 1.0, 8.0, 0.7, "two-node 120 L/h/m2K is 3.6 L/min/K; ASHRAE, from memory; SD: slopes of forearm flow on core differ by a quarter to two fifths, Roberts 1977, from memory", "medium"),
    "skin_flow_set_core_C": Parameter(36.95, "degC", 36.6, 37.3, 0.12, "threshold at skin 33.7; SD: onset differs by 0.1 to 0.2 K between people, from memory", "medium"),
    "skin_flow_skin_weight": Parameter(0.10, "1", 0.0, 0.15, 0.0, "Wyss 1974: core weight over 20 times skin; others 10:1", "medium"),
    "skin_flow_ceiling_rest_L_min": Parameter(7.0, "L/min", 5.0, 8.0, 0.7, "whole-body heating at rest; SD: 7 to 8 with a few to 6, Rowell, from memory", "high"),
    "skin_flow_ceiling_exercise_L_min": Parameter(2.4, "L/min", 1.5, 4.0, 0.4, "hard exercise; flattens near core 38 (Gonzalez-Alonso 1999); SD: a sixth, as of cardiac output at one uptake, guess", "medium"),
    "skin_flow_ceiling_intensity": Parameter(0.50, "1", 0.3, 0.7, 0.0, "share of maximal uptake at which the exercise ceiling is reached", "low"),
    "skin_flow_fall_per_pct_loss": Parameter(0.04, "1/%", 0.0, 0.1, 0.0, "largest skin flow falls with fluid loss: about a fifth at 4 % of mass; Gonzalez-Alonso 1998, from memory", "low"),
    "constriction_skin_C": Parameter(28.0, "degC", 24.0, 33.7, 0.5, "mean skin below which skin flow is cut while the core is not warm; two-node 33.7; SD: as of preferred skin temperature, half a kelvin, guess", "medium"),
    "constriction_gain_1_K": Parameter(0.5, "1/K", 0.2, 1.0, 0.12, "two-node value; SD: a quarter, guess", "medium"),
    "constriction_override": Parameter(2.5, "1", 0.0, 15.0, 2.0, "kelvin of cold skin that one kelvin of hot core outweighs; SD: a third, guess", "low"),
    "local_flow_cold_C": Parameter(12.0, "degC", 5.0, 18.0, 2.5, "local skin temperature of least flow; local cooling to 24 degC takes half to two thirds of it (Johnson & Kellogg, from memory); SD: half of 5 K, cold hands differ widely, guess", "medium"),
    "local_flow_warm_C": Parameter(32.0, "degC", 28.0, 35.0, 0.0, "local skin temperature of unhindered flow", "medium"),
    "local_flow_floor": Parameter(0.10, "1", 0.02, 0.3, 0.04, "share of flow left under cold; SD: a few to twenty per cent is left", "low"),
    "shunt_flow_ceiling_L_min": Parameter(0.35, "L/min", 0.1, 1.0, 0.0, "hands and feet of hot people: 20 to 50 mL/min per 100 mL of hand (plethysmography, from memory); hands in cold water lose up to 124 W (Livingstone 1989)", "low"),
    "shunt_flow_span_K": Parameter(0.5, "K", 0.3, 1.5, 0.0, "warming over which the shunts open", "low"),
    # --- sweating ------------------------------------------------------------------------------------------------
    "sweat_set_core_C": Parameter(36.95, "degC", 36.6, 37.3, 0.12, "threshold at skin 33.7; core 36.7 to 37.0 at skin 34; SD: onset differs by 0.1 to 0.2 K between people, from memory", "medium"),
    "sweat_gain_L_h_K": Parameter(0.55, "L/h/K", 0.3, 1.6, 0.2, "170 g/h/m2K in the two-node model is 0.31; trained people two to three times; SD: a third between people of like training, from memory; sweat loss 10 to 18 % at one heat load (A8), 30 % in a race (AF5)", "medium"),
    "sweat_skin_weight": Parameter(0.10, "1", 0.05, 0.15, 0.0, "core to skin about 10:1; Nadel, Bullard & Stolwijk 1971", "high"),
    "skin_signal_floor_C": Parameter(28.0, "degC", 26.0, 33.0, 0.0, "skin below this gives the controllers no further signal", "low"),
    "skin_signal_set_C": Parameter(33.7, "degC", 33.0, 34.5, 0.0, "two-node set point", "high"),
    "sweat_local_slope_K": Parameter(10.0, "K", 7.0, 14.0, 0.0, "local multiplier exp((T-34)/10); Nadel 1971", "high"),
    "sweat_local_reference_C": Parameter(34.0, "degC", 33.0, 35.0, 0.0, "Nadel 1971", "high"),
    "maximum_sweat_rate_L_h": Parameter(1.5, "L/h", 0.6, 3.7, 0.3, "runners 1 to 2 L/h; 1.8 measured in a winner, Pugh 1967; SD: 1 to 2 L/h is 1.6 SD each way", "medium"),
    "sweat_gut_weight": Parameter(
        0.08, "K/K", 0.0, 0.2, 0.0,
        "fall of the sweating signal for each kelvin that the gut is colder than blood; 9.6 mL/kg of slurry cut sweat by 0.19 L "
        "with core and skin unchanged (Morris 2016)", "low"),
    "sweat_fall_per_pct_loss": Parameter(0.04, "1/%", 0.0, 0.1, 0.0, "sweating falls with fluid loss; reviews", "low"),
    "fluid_threshold_shift_K_pct": Parameter(0.06, "K/%", 0.0, 0.25, 0.02, "thresholds rise with fluid loss; core 0.1 to 0.25 K higher per 1 % (Sawka 2001); SD: 0.1 to 0.25 K of core per 1 % is two SD each way, halved for the threshold", "low"),
    "skin_diffusion_wettedness": Parameter(0.06, "1", 0.03, 0.08, 0.0, "water through dry skin; two-node value", "high"),
    "film_full_kg_m2": Parameter(0.035, "kg/m2", 0.02, 0.06, 0.007, "water the skin holds before it runs off; SD: a fifth, hair and skin differ, guess", "low"),
    "cloth_water_kg_m2": Parameter(0.15, "kg/m2", 0.05, 0.4, 0.0, "water that light kit holds over the skin it covers; a soaked singlet weighs 100 to 150 g more", "low"),
    "film_overflow_s": Parameter(40.0, "s", 20.0, 120.0, 0.0, "time in which the surplus runs off", "low"),
    "wettedness_limit_unacclimatised": Parameter(0.85, "1", 0.7, 1.0, 0.04, "ISO 7933; SD: 0.77 to 0.93 is two SD each way, guess", "high"),
    "dripping_onset_wettedness": Parameter(0.70, "1", 0.6, 0.8, 0.0, "sweat evaporates almost fully below 0.7; Candas 1979, from memory", "medium"),
    "evaporating_share_when_wet": Parameter(0.67, "1", 0.5, 0.8, 0.0, "sweat that still evaporates on fully wet skin; Candas 1979, from memory", "medium"),
    # --- acclimatisation ----------------------------------------------------------------------------------------
    "heat_days_scale": Parameter(5.0, "days", 3.0, 8.0, 0.0, "most of the gain in 5 to 7 days", "high"),
    "acclimatised_threshold_shift_K": Parameter(-0.25, "K", -0.35, -0.1, 0.05, "thresholds fall by 0.2 to 0.3; SD: 0.2 to 0.3 between studies of groups", "medium"),
    "acclimatised_sweat_gain": Parameter(0.25, "1", 0.1, 0.5, 0.08, "sweat rises by 20 to 50 %; SD: 20 to 50 % is two SD each way", "medium"),
    # Heat days from a list of exposures (physiology/acclimatisation.py). SD 0: only a runner with such a list is drawn from
    # low to high, four SD apart (study/ensemble.py); the plain number of heat days keeps one course, heat_days_scale.
    "heat_days_scale_sweat": Parameter(7.0, "days", 4.0, 10.0, 0.0, "sweating gains in 7 to 14 days; common practice, no source", "medium"),
    "heat_days_decay_1_d": Parameter(0.025, "1/day", 0.01, 0.05, 0.0, "2 to 3 % of the gain lost for each day without heat; common practice, no source; range between people: guess", "low"),
    "heat_dose_minutes": Parameter(60.0, "min", 45.0, 100.0, 0.0, "exercise in heat that makes a full heat day; 60 to 100 min, common practice, no source", "low"),
    "acclimatised_plasma_gain": Parameter(0.086, "1", 0.04, 0.15, 0.0, "plasma volume grows by 4 to 15 %; 8.6 % (Nielsen 1997, abstract seen)", "medium"),
    "plasma_fall_per_pct_loss": Parameter(0.03, "1/%", 0.02, 0.045, 0.0, "share of plasma lost for each 1 % of body mass sweated, so that heart_fluid_bpm_pct tells what plasma is worth; from memory", "low"),
    # --- shivering ------------------------------------------------------------------------------------------------
    "shiver_gain_W_m2K2": Parameter(19.4, "W/m2K2", 10.0, 30.0, 0.0, "two-node product of cold skin and cold core", "medium"),
    "shiver_core_C": Parameter(36.8, "degC", 36.5, 37.0, 0.0, "two-node set point", "medium"),
    "shiver_ceiling_rest": Parameter(4.0, "1", 3.0, 5.0, 0.0, "largest shivering over resting power; reviews, from memory", "medium"),
    # --- exchange -------------------------------------------------------------------------------------------------
    "skin_emissivity": Parameter(0.97, "1", 0.95, 0.98, 0.0, "skin and light cloth in the long wave", "high"),
    "radiating_area_fraction": Parameter(0.72, "1", 0.70, 0.77, 0.0, "upright", "high"),
    "solar_absorptance": Parameter(0.70, "1", 0.5, 0.85, 0.0, "skin and light kit in the short wave", "medium"),
    "solar_interception": Parameter(0.20, "1", 0.12, 0.30, 0.02, "mean irradiance on an upright body per global horizontal; sun position not used; SD: posture and build, a tenth, guess", "low"),
    "clothing_static_ratio": Parameter(2.5, "1", 1.5, 3.5, 0.0, "static over running resistance of light kit", "low"),
    "clothing_reference_speed_m_s": Parameter(3.3, "m/s", 2.5, 4.0, 0.0, "speed at which kit resistances are stated", "high"),
    "permeability_index": Parameter(0.38, "1", 0.25, 0.50, 0.0, "vapour permeability of light clothing, turns clo into vapour resistance; ISO 9920", "high"),
    "mean_body_core_weight": Parameter(0.80, "1", 0.64, 0.90, 0.0, "weight of core in mean body temperature in the heat, skin has the rest (from memory)", "high"),
    "rectal_lag_s": Parameter(480.0, "s", 300.0, 900.0, 140.0, "rectal behind trunk core: 8 min; SD: depth of the probe and build make it 5 to 13 min, from memory", "medium"),
    "cycling_swing_m_s": Parameter(1.0, "m/s", 0.0, 2.0, 0.2, "walking speed whose limb swing moves as much air as pedalling does in still air; SD: cadence 10 to 15 % and build, guess", "low"),
    # --- water that is drunk, poured, bathed in -----------------------------------------------------------------
    "stomach_conductance_W_K": Parameter(6.0, "W/K", 2.0, 15.0, 1.8, "half a litre at 4 degC is within 2 K of the body after 20 to 30 min (gastric temperature after cold drinks, from memory); SD: a third, as of the time to within 2 K", "low"),
    "stomach_half_contact_kg": Parameter(0.20, "kg", 0.05, 0.5, 0.0, "filling of the stomach at half its contact", "low"),
    "stomach_ceiling_kg": Parameter(0.45, "kg", 0.25, 0.8, 0.0, "most that a guarded drink leaves in the stomach: portions every 10 to 30 min then come to 0.7 to 1.1 L/h, the ordinary ceiling being 0.8 to 1.0 L/h; common practice, no source", "low"),
    "drink_ceiling_L_h": Parameter(1.0, "L/h", 0.8, 1.0, 0.0, "more within an hour is said to be more than a stomach passes on; common practice, no source", "low"),
    "stomach_emptying_s": Parameter(1100.0, "s", 600.0, 2400.0, 0.0, "water leaves the stomach with a half time of 10 to 20 min; from memory", "medium"),
    "poured_flow_s": Parameter(10.0, "s", 5.0, 30.0, 0.0, "time in which poured water runs off", "low"),
    "poured_retained_share": Parameter(0.20, "1", 0.1, 0.35, 0.0, "60 to 150 g of 500 g stay on skin and kit; common practice, no source", "low"),
    "poured_run_off_warming": Parameter(0.15, "1", 0.05, 0.3, 0.0, "20 to 40 % of the sensible heat is taken up in all; common practice, no source", "low"),
    "seated_upright_share": Parameter(0.5, "1", 0.2, 0.8, 0.0, "of what standing adds to heart rate", "low"),
    # --- heart rate -----------------------------------------------------------------------------------------------
    "heart_core_bpm_K": Parameter(9.8, "bpm/K", 5.0, 20.0, 3.0, "exercise fits in trained runners 7 to 20; SD: 7 to 20 is two SD each way", "medium"),
    "heart_skin_bpm_K": Parameter(1.6, "bpm/K", 0.0, 4.0, 0.6, "2 to 4 above 33 (from memory); about 2.2 from 28; SD: a third, guess", "low"),
    "heart_skin_floor_C": Parameter(28.0, "degC", 26.0, 33.0, 0.0, "skin below this lowers heart rate no further", "low"),
    "core_reference_C": Parameter(37.0, "degC", 36.8, 38.0, 0.0, "core at which the thermal part of heart rate, the Q10 rule and the override of constriction begin", "medium"),
    "heart_skin_reference_C": Parameter(33.0, "degC", 30.0, 34.0, 0.0, "skin at which the thermal part is zero", "medium"),
    "heart_fluid_bpm_pct": Parameter(3.3, "bpm/%", 2.0, 5.0, 0.8, "per 1 % of body mass at fixed work; Adams 2014, from memory; SD: 2 to 5 is two SD each way", "medium"),
    "heart_drift_bpm_h": Parameter(1.5, "bpm/h", 0.0, 5.0, 1.0, "what core, skin and fluid leave unexplained; SD: guess", "low"),
    "heart_on_s": Parameter(30.0, "s", 15.0, 60.0, 5.0, "on-kinetics, trained; SD: 20 to 40 s is two SD each way", "medium"),
    "heart_off_s": Parameter(60.0, "s", 30.0, 100.0, 10.0, "off-kinetics, trained; SD: 60 to 100 s is two SD each way", "medium"),
    "heart_rest_upright_bpm": Parameter(12.0, "bpm", 5.0, 25.0, 4.0, "standing over lying; SD: a third, from memory", "medium"),
    "maximum_heart_rate_intercept_bpm": Parameter(208.0, "bpm", 190.0, 225.0, 10.0, "Tanaka 2001: 208 - 0.7 age; SD 10 at one age", "high"),
    "maximum_heart_rate_per_year_bpm": Parameter(-0.7, "bpm/y", -1.0, -0.5, 0.0, "Tanaka 2001", "high"),
    # --- where a run starts ----------------------------------------------------------------------------------------
    "settle_air_C": Parameter(30.0, "degC", 27.0, 31.0, 0.0, "thermoneutral standing in light kit; common practice", "medium"),
    "settle_vapour_kPa": Parameter(1.9, "kPa", 1.0, 2.5, 0.0, "45 % at 30 degC", "medium"),
    "settle_air_speed_m_s": Parameter(0.1, "m/s", 0.05, 0.3, 0.0, "indoor air", "medium"),
    "settle_minutes": Parameter(150.0, "min", 60.0, 240.0, 0.0, "long enough for steady rest from near it", "high"),
    "start_shift_muscle": Parameter(0.9, "1", 0.5, 1.0, 0.0, "share of a warmer or cooler start that muscle takes", "low"),
    "start_shift_fat": Parameter(0.6, "1", 0.2, 1.0, 0.0, "the same for fat", "low"),
    "start_shift_skin": Parameter(0.4, "1", 0.0, 1.0, 0.0, "the same for skin", "low"),
    # --- what the ensemble adds ------------------------------------------------------------------------------------
    "model_core_error_K": Parameter(0.30, "K", 0.1, 0.6, 0.0, "any prediction for one person: about 0.3 to 0.5; replaced by the evidence", "medium"),
    # --- groups of published studies, where their own spread is not known: read by evidence/spread.py only ----------
    "group_mass_spread": Parameter(0.10, "1", 0.05, 0.16, 0.0, "SD of mass over its mean; studies state 5 to 16 % (B22, A8, A21, B32, B30)", "medium"),
    "group_height_sd_m": Parameter(0.05, "m", 0.03, 0.08, 0.0, "SD of height; 0.05 m by surface area (A8)", "medium"),
    "group_uptake_spread": Parameter(0.08, "1", 0.05, 0.12, 0.0, "SD of maximal uptake over its mean; studies state 7 to 10 % (A8, AF5, B4)", "medium"),
    "group_resting_heart_sd_bpm": Parameter(7.0, "bpm", 4.0, 10.0, 0.0, "SD of resting heart rate; common practice, no source", "low"),
    "race_effort_spread": Parameter(0.12, "1", 0.08, 0.16, 0.0, "SD of the share of maximal uptake chosen in a race, over its mean: 75.8 ± 9.3 % (AF5); with the spread of uptake it makes 14 % of pace, published are 15 (B19), 17 (AF3), 23 % (AF4)", "medium"),
    "race_drink_spread": Parameter(0.4, "1", 0.2, 0.6, 0.0, "SD of what is drunk in a race, over its mean: 0.5 ± 0.2 L/h, from memory", "low"),
    # --- perception: read by study/perception.py only, nothing of it enters core -----------------------------------
    "effort_rating_sd": Parameter(2.0, "1", 1.5, 2.5, 0.0, "SD between people of effort ratings (category scale 6 to 20) at 80 % of maximal uptake: 1.9, 2.2 and 2.0 of 6 people, Glass, Knowlton & Becque 1994, EJAP 68:519 (abstract seen, authors from memory)", "medium"),
    "felt_mean_skin_K": Parameter(0.5, "K", 0.2, 1.0, 0.0, "smaller differences of mean skin are called no difference; no published threshold found, guess", "low"),
    "felt_local_skin_K": Parameter(3.0, "K", 1.0, 5.0, 0.0, "the same for skin under a device; no published threshold found, guess", "low"),
    "felt_skin_rate_K_min": Parameter(0.6, "K/min", 0.3, 6.0, 0.0, "0.01 K/s, the slowest change for which thresholds were measured; they grow below 0.1 K/s; Percept Psychophys 3:81, 1968 (abstract seen)", "medium"),
    "felt_wettedness": Parameter(0.15, "1", 0.05, 0.3, 0.0, "half of a rise from 0.14 to 0.43 that moved behaviour at unchanged skin temperature, Vargas 2018 (abstract seen); half: guess", "low"),
    "felt_intensity_share": Parameter(0.03, "1", 0.01, 0.1, 0.0, "smaller differences of oxygen uptake over its maximum are called no difference; guess", "low"),
}


def calibrated(table: dict[str, Parameter], file: Path) -> dict[str, Parameter]:
    """Return the entries of the table that a file of calibrated values replaces; none if there is no such file.

    Raises
    ------
    ValueError
        An unknown name, a value outside the range of the table, or a ``determined`` that is neither yes nor no.
    """
    if not file.exists():
        return {}
    with file.open("rb") as stream:
        fitted = tomllib.load(stream)["parameters"]
    replaced = {}
    for name, found in fitted.items():
        remedy = "repeat the calibration, or delete the file to go back to the values before it"
        if name not in table:
            raise ValueError(f"{file.name}: {name} is not a parameter of the table; {remedy}.")
        p = table[name]
        if not p.low <= found["value"] <= p.high:
            raise ValueError(
                f"{file.name}: {name} is {found['value']} {p.unit}, allowed is {p.low} to {p.high} {p.unit}; {remedy}."
            )
        if found["determined"] not in ("yes", "no"):
            raise ValueError(f"{file.name}: {name} is determined = {found['determined']!r}, allowed are yes and no; {remedy}.")
        replaced[name] = p._replace(
            value=found["value"],
            prior=found["prior"],
            standard_error=found["standard_error"],
            determined=found["determined"],
        )
    return replaced


PARAMETERS.update(calibrated(PARAMETERS, Path(__file__).with_name("calibrated.toml")))

SEGMENTS = (
    "head", "face", "neck", "chest", "back", "abdomen",
    "upper_arms", "forearms", "hands", "thighs", "lower_legs", "feet",
)

# One column a quantity, one value a segment (both sides together), in the order of SEGMENTS; with source, confidence.
SEGMENT_TABLE: dict[str, tuple[tuple[float, ...], str, str]] = {
    "area_share": (
        (0.036, 0.026, 0.023, 0.115, 0.125, 0.100, 0.085, 0.062, 0.050, 0.185, 0.123, 0.070),
        "regional shares of body surface, rounded from burns and anthropometry charts (from memory)", "medium"),
    "mass_share": (
        (0.046, 0.012, 0.0114, 0.160, 0.135, 0.1396, 0.0542, 0.0324, 0.0122, 0.2832, 0.0866, 0.0274),
        "body-segment mass fractions, de Leva 1996 (from memory); head and trunk split by us", "medium"),
    "muscle_share": (
        (0.05, 0.35, 0.55, 0.35, 0.60, 0.40, 0.72, 0.62, 0.25, 0.78, 0.62, 0.20),
        "share of a segment's lean tissue under the skin that is muscle; anatomy texts, rounded", "low"),
    "fat_weight": (
        (0.3, 0.5, 0.7, 1.2, 1.1, 1.5, 1.0, 0.7, 0.3, 1.2, 0.8, 0.3),
        "relative thickness of subcutaneous fat; skinfold patterns, rounded", "low"),
    "convection_weight": (
        (1.00, 1.20, 1.00, 0.90, 0.80, 0.90, 1.10, 1.30, 1.40, 0.95, 1.15, 1.20),
        "local over whole-body coefficient in relative wind; limbs are thinner cylinders", "low"),
    "swing_weight": (
        (0.55, 0.55, 0.55, 0.60, 0.60, 0.60, 1.10, 1.60, 1.90, 1.10, 1.60, 1.90),
        "local over whole-body coefficient from limb swing in still air; up to 2x (Clark 1974)", "low"),
    "sweat_weight": (
        (1.1, 1.2, 1.1, 1.3, 1.5, 1.1, 0.75, 0.90, 0.50, 0.80, 0.80, 0.45),
        "sweat rate per area; regional sweat maps agree on the trunk over the limbs", "medium"),
    "skin_flow_weight": (
        (1.3, 1.8, 1.2, 0.9, 0.9, 0.9, 0.9, 1.0, 2.0, 0.8, 0.8, 1.6),
        "skin blood flow per area; hands, feet and face over the rest", "low"),
    "countercurrent": (
        (1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.95, 0.85, 0.65, 0.95, 0.85, 0.65),
        "share of the blood's temperature difference that reaches the tissue past returning veins", "low"),
    "shunt_share": (
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.6, 0.0, 0.0, 0.4),
        "shunt vessels lie in hands and feet; hands somewhat over feet", "low"),
    "exercise_share": (
        (0.0, 0.0, 0.01, 0.03, 0.08, 0.10, 0.06, 0.02, 0.0, 0.46, 0.22, 0.02),
        "share of the working muscles' power in running; hip extensors counted to abdomen", "low"),
    "cycling_share": (
        (0.0, 0.0, 0.01, 0.02, 0.06, 0.10, 0.02, 0.02, 0.0, 0.57, 0.18, 0.02),
        "share of the working muscles' power in cycling; knee and hip extensors", "low"),
    "resting_core_share": (
        (0.17, 0.0, 0.005, 0.12, 0.06, 0.38, 0.004, 0.002, 0.001, 0.015, 0.006, 0.002),
        "share of resting power made in a segment's core: brain, heart, liver, kidneys", "medium"),
}
RESTING_MUSCLE_SHARE = Parameter(0.205, "1", 0.15, 0.25, 0.0, "rest of resting power: muscle, by mass", "medium")

# Kits: covered share by segment; dry [clo] and vapour [m2Pa/W] resistance over covered skin, effective at running speed.
CLOTHING: dict[str, tuple[tuple[float, ...], float, float, str]] = {
    "nude": ((0.0,) * 12, 0.0, 0.0, "no clothes, no shoes"),
    "shorts_and_shoes": (
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.35, 0.0, 0.0, 0.0, 0.45, 0.0, 1.0), 0.12, 2.4,
        "shorts, socks and shoes of laboratory studies; ISO 9920 items, static 0.2 to 0.3 clo, reduced for motion"),
    "light_kit": (
        (0.0, 0.0, 0.0, 0.75, 0.75, 0.95, 0.0, 0.0, 0.0, 0.30, 0.0, 1.0), 0.10, 2.0,
        "singlet, shorts, shoes: 40 % covered; static 0.2 to 0.3 clo reduced for motion"),
    "shirt_and_shorts": (
        (0.0, 0.0, 0.2, 1.0, 1.0, 1.0, 0.6, 0.0, 0.0, 0.50, 0.0, 1.0), 0.16, 3.0,
        "T-shirt, shorts, socks, shoes; ISO 9920 items reduced for motion"),
    "coverall": (
        (0.0, 0.0, 0.5, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 1.0, 1.0, 1.0), 0.60, 14.0,
        "one-piece work suit; ISO 9920, reduced for motion"),
}


def value(name: str) -> float:
    """Return the population value of a parameter."""
    return PARAMETERS[name].value
