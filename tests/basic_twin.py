"""The whole model once more, in plain NumPy and plain sentences: read this first.

Nothing here is compiled and nothing comes from the package, except the table of physiological numbers.
Physical constants and laws are typed again from their sources. ``test_twin.py`` holds this page against the
compiled engine, so what is said here is what the engine does.

**The body.** A runner is twelve segments (head, face, neck, chest, back, abdomen, upper arms, forearms,
hands, thighs, lower legs, feet; left and right together). Each is a cylinder with four shells: core,
muscle, fat, skin. Two more nodes stand alone: the central blood and the gut. That makes 12 x 4 + 2 = 50
temperatures. Masses, areas and the conductances between shells follow from mass, height and body fat
(:func:`make_person`).

**Heat made.** Effort asks for a metabolic power (:func:`power_asked`): rest, plus the cost of moving the
body and all it carries along a slope, plus the air's drag; or a power that is given, as in a laboratory. Which
muscles do the work depends on what the body does: on foot, cycling. Oxygen uptake follows that demand with a time
constant, and a slow component joins it in hard work (:func:`move_fast_states`). Resting power is made in
organs, muscle and skin, and grows with warmth by a Q10 rule; the rest is made in the working muscles.
Climbing stores part of it as height; going down turns height into heat. A cold runner shivers.

**Heat moved.** Between neighbouring shells heat is conducted. Blood leaves the central pool at its
temperature and comes back at that of the tissue: a flow times a temperature difference, the same watts with
opposite sign in tissue and pool. In the limbs, veins that run along arteries take away part of that
difference; of a large flow to muscle only little. All cooling of the lungs is taken from the blood.

**Skin to air.** Every segment's skin exchanges heat by convection (the larger of relative wind and limb
swing, never below still air), by long waves, with the sun, and by evaporation. Cloth covers part of some
segments and thins what passes. Air colder than skin takes heat; air whose vapour pressure is above that of
the skin lays dew on it.

**The sweat film.** Sweat lands in a film. The film sets how wet the skin is; the wetter, the more
evaporates, and on very wet skin part of new sweat runs off unused. What skin and cloth cannot hold overflows.
Skin that looks dry still lets a little water through.

**The controllers.** Blood above its set point, and skin above its own with a tenth of the weight, drive
sweating and skin blood flow. Both have ceilings; hard work lowers that of skin flow. Cold skin narrows the
vessels; warm skin sweats more where it is warm. Fluid loss dulls sweating and raises set points; heat days lower
them, raise sweat and its ceiling.

**Devices.** A device is one or more rows. A row takes a patch of a segment's skin for itself, with its own
temperature and film. The patch conducts into a store, whose enthalpy is zero when its filling has just
melted. An outer side trades heat with air, long waves and sun, takes up dew and dries. A wicking row drinks
sweat and dew and lets its water evaporate outside; a vapour-tight one keeps its dew outside. What a store
cannot hold drips, partly onto skin below.

**Water without a device.** Such rows are not worn, they have no patch. *A drink* lies in the stomach, as a store
that may be part ice. Its wall is the gut; the fuller it is, the better they touch. Liquid passes on, mixes with
the water of the body (:func:`stomach`), and takes the heat for that from the gut. *Poured water* runs over one
segment within seconds; a share stays as film, the rest leaves a little warmer (:func:`poured_over`). *A bath*
keeps its temperature; skin in it trades heat with the water and none with the air (:func:`bath`). Who
climbs out is wet. *Around the body* a fan moves the air, mist cools it and settles on the
skin, a canopy keeps sun off (:func:`air_now`), and part of the breath may be cooler air (:func:`surround`).

**The pacing rule.** A runner may follow legs, each so many metres or so many seconds, under a rule
(:func:`look`, :func:`simulate_paced`). Once a second somebody looks at the heart rate. Above the cap the runner
walks or stands, until it has been below the resume level for long enough. The rule may stop the run: at a number of
such events, after some time above the cap, at a core temperature. On steep ground the runner walks. In between the
body takes its steps as always; a step ends where a leg does, or where a look changes what the runner does.

**The books.** Beside the temperatures run time integrals of the nine terms that cross the boundary of the
body, and of every way water takes. Heat content at the end minus the start must equal those integrals;
water on the skin likewise.

A *state* is a dictionary of numbers, of arrays of twelve, and of such dictionaries; its time derivative has
the same shape. Units: °C, W, J, kg, s, m², kPa; blood flows in L/min.
"""

import math
from types import SimpleNamespace

import numpy as np

from thermosim import parameters

# --- constants, typed again -----------------------------------------------------------------------
ICE_POINT_K = 273.15
STEFAN_BOLTZMANN = 5.670374419e-8  # W/m2K4, CODATA 2018
GRAVITY = 9.81  # m/s2
WATER_J_KGK = 4186.0  # liquid water
SWEAT_J_KG = 2426e3  # heat taken by a kilogram of sweat, Wenger 1972
LEWIS_K_KPA = 16.5  # evaporative over convective coefficient at sea level
CLO = 0.155  # m2K/W
SEA_LEVEL_KPA = 101.325

ON_FOOT, CYCLING, RESTING = range(3)  # what the body does
ON_SKIN, IN_STOMACH, POURED, BATH, AROUND = range(5)  # where a row is

SEGMENTS = parameters.SEGMENTS
TRUNK = np.array([name in ("chest", "back", "abdomen") for name in SEGMENTS])
ABDOMEN = SEGMENTS.index("abdomen")
BOOKS = (
    "metabolic",
    "work",
    "convection",
    "long_wave",
    "solar",
    "breath_vapour",
    "breath_dry",
    "evaporation",
    "devices",
)
WATER = ("sweat", "diffused", "evaporated", "dripped", "breathed", "condensed", "received", "wicked")
ROW_STATES = (
    "patch_C",
    "film_kg",
    "store_J",
    "store_kg",
    "outer_C",
    "outer_kg",
    "from_skin_J",
    "from_air_J",
    "from_vapour_J",
    "with_water_J",
    "run_off_J",
    "condensed_kg",
    "evaporated_kg",
    "dripped_kg",
    "wicked_kg",
    "charged_kg",
    "charged_J",
    "drunk_kg",
    "shaded_J",
    "fills",
)


# === the person ===================================================================================


def column(name):
    """One quantity for each of the twelve segments."""
    return np.array(parameters.SEGMENT_TABLE[name][0])


def make_person(runner, overrides=None, two_node=False):
    """Everything about one runner that stays constant in a run, as named numbers and arrays of twelve.

    All entries of the parameter table come along under their own names.
    """
    who = SimpleNamespace(**{name: entry.value for name, entry in parameters.PARAMETERS.items()})
    vars(who).update(overrides or {})
    who.two_node = two_node
    who.mass_kg = runner.mass_kg
    build_body(who, runner)
    if two_node:  # inside a node there is no difference to conduct along: the whole path lies between core and skin
        who.between[2] = 1.0 / sum(1.0 / path for path in who.between)
    fill_energetics(who, runner)
    fill_blood_flows(who)
    fill_controllers(who, runner)
    fill_clothing(who, runner)
    # What an ensemble may shift in the weather it was given:
    who.air_temperature_shift_K = 0.0
    who.vapour_pressure_factor = who.air_speed_factor = who.solar_factor = 1.0
    return who


def build_body(who, runner):
    """Masses, heat capacities and conductances of 12 x 4 shells, blood and gut."""
    mass, fat_pct = runner.mass_kg, runner.body_fat_pct
    if fat_pct is None:
        fat_pct = who.body_fat_default_male_pct if runner.sex == "male" else who.body_fat_default_female_pct
    who.surface_m2 = 0.202 * mass**0.425 * runner.height_m**0.725  # Du Bois 1916
    who.area = area = who.surface_m2 * column("area_share")
    blood_kg, gut_kg = mass * who.blood_mass_fraction, mass * who.gut_mass_fraction
    fat_kg = mass * fat_pct / 100.0

    # Skin is a sheet; part of the fat lies under it, by the pattern of skinfolds; the rest is inside the trunk.
    skin = area * who.skin_thickness_m * who.density_lean
    pattern = column("fat_weight") * area
    fat = fat_kg * who.subcutaneous_share_of_fat * pattern / pattern.sum()
    # Blood and gut are taken out of the trunk. What is left of a segment under skin and fat is lean: core and muscle.
    segment = mass * column("mass_share")
    segment = segment - (blood_kg + gut_kg) * np.where(TRUNK, segment, 0.0) / segment[TRUNK].sum()
    lean = np.maximum(segment - skin - fat, 0.2 * segment)
    lean = lean * (mass - blood_kg - gut_kg - skin.sum() - fat.sum()) / lean.sum()
    muscle = lean * column("muscle_share")
    core = lean - muscle

    # Fat inside the trunk lowers the specific heat of the trunk's core.
    fat_share = min(fat_kg * (1.0 - who.subcutaneous_share_of_fat) / core[TRUNK].sum(), 0.9)
    mixed = (1.0 - fat_share) * who.specific_heat_core + fat_share * who.specific_heat_fat
    who.capacity = {
        "core": core * np.where(TRUNK, mixed, who.specific_heat_core),
        "muscle": muscle * who.specific_heat_muscle,
        "fat": fat * who.specific_heat_fat,
        "skin": skin * who.specific_heat_skin,
        "blood": blood_kg * who.specific_heat_blood,
        "gut": gut_kg * who.specific_heat_core,
    }
    who.trunk_weight = np.where(TRUNK, who.capacity["core"], 0.0) / who.capacity["core"][TRUNK].sum()
    # Water that is given up comes from core, muscle and blood, in proportion to their heat capacity.
    watery = who.capacity["core"].sum() + who.capacity["muscle"].sum() + who.capacity["blood"]
    who.water_share = {layer: who.capacity[layer] / watery for layer in ("core", "muscle", "blood")}

    # A cylinder of volume V and curved surface A has radius 2V/A. Heat goes from the radius that halves one shell's
    # volume to that of the next; the logarithms are the resistances of the two half shells.
    volume = np.stack(
        [core / who.density_lean, muscle / who.density_lean, fat / who.density_fat, skin / who.density_lean]
    )
    length = area / (2.0 * np.pi * (2.0 * volume.sum(axis=0) / area))
    edge = np.sqrt(np.cumsum(volume, axis=0) / (np.pi * length))
    middle = np.sqrt((np.concatenate([np.zeros((1, 12)), edge[:-1] ** 2]) + edge**2) / 2.0)
    conducts = [who.conductivity_lean, who.conductivity_lean, who.conductivity_fat, who.conductivity_skin]
    who.between = [
        who.conduction_factor
        * 2.0
        * np.pi
        * length
        / (np.log(edge[i] / middle[i]) / conducts[i] + np.log(middle[i + 1] / edge[i]) / conducts[i + 1])
        for i in range(3)
    ]
    who.gut_conductance = (
        who.conductivity_lean * who.gut_contact_share * who.surface_m2 / who.gut_contact_depth_m
    )
    who.core_kg, who.muscle_kg, who.fat_kg = core, muscle, fat


def fill_energetics(who, runner):
    """Powers of this runner [W], and where in the body they are made."""
    rq = who.respiratory_quotient
    who.oxygen_J_L = (0.23 * rq + 0.77) * 5.88 * 3600.0  # ISO 8996
    who.economy = runner.economy_factor * who.economy_spread
    who.resting_W = who.resting_power_W_kg * who.mass_kg
    who.seated_W = who.seated_power_W_kg * who.mass_kg
    who.standing_W = who.standing_power_W_kg * who.mass_kg
    who.maximal_W = runner.vo2max_mL_kg_min * who.mass_kg / 1000.0 * who.oxygen_J_L / 60.0
    who.rest_core = column("resting_core_share")
    who.rest_muscle = parameters.RESTING_MUSCLE_SHARE.value * who.muscle_kg / who.muscle_kg.sum()
    who.rest_skin = (1.0 - who.rest_core.sum() - who.rest_muscle.sum()) * who.area / who.surface_m2
    who.work_share = {ON_FOOT: column("exercise_share"), CYCLING: column("cycling_share")}
    who.work_share[RESTING] = who.work_share[ON_FOOT]
    who.heart_rest_bpm = runner.resting_heart_rate_bpm
    who.heart_maximum_bpm = runner.maximum_heart_rate_bpm or (
        who.maximum_heart_rate_intercept_bpm + who.maximum_heart_rate_per_year_bpm * runner.age_y
    )


def fill_blood_flows(who):
    """Resting flows to every place [L/min], and how skin flow and sweat are shared out."""
    scale = who.mass_kg / 70.0
    who.core_flow = who.bone_flow_L_min_kg * who.core_kg
    who.core_flow[SEGMENTS.index("head")] = who.brain_flow_L_min * scale
    who.core_flow[SEGMENTS.index("chest")] = who.chest_flow_L_min * scale
    who.core_flow[SEGMENTS.index("back")] = who.back_flow_L_min * scale
    who.core_flow[ABDOMEN] = who.viscera_flow_rest_L_min * scale
    who.muscle_flow = who.muscle_flow_rest_L_min * scale * who.muscle_kg / who.muscle_kg.sum()
    who.fat_flow = who.fat_flow_L_min_kg * who.fat_kg
    who.gut_flow = who.gut_flow_L_min * scale
    who.countercurrent = column("countercurrent")
    who.shunt_share = column("shunt_share")
    for share, weight in (("skin_flow_share", "skin_flow_weight"), ("sweat_share", "sweat_weight")):
        weighted = who.area * column(weight)
        setattr(who, share, weighted / weighted.sum())
    for name in ("convection_weight", "swing_weight"):  # their area-weighted mean is one
        setattr(who, name, column(name) * who.surface_m2 / (column(name) * who.area).sum())


PER_SURFACE = (
    "skin_flow_rest_L_min",
    "skin_flow_gain_L_min_K",
    "skin_flow_ceiling_rest_L_min",
    "skin_flow_ceiling_exercise_L_min",
    "shunt_flow_ceiling_L_min",
    "sweat_gain_L_h_K",
    "maximum_sweat_rate_L_h",
)


def fill_controllers(who, runner):
    """Heat days move set points, gains, the sweat ceiling and the greatest wettedness."""
    for name in PER_SURFACE:  # the table holds for a body of the reference surface
        setattr(who, name, getattr(who, name) * who.surface_m2 / who.reference_surface_m2)
    adapted = 1.0 - math.exp(-max(runner.heat_days or 0.0, 0.0) / who.heat_days_scale)
    who.sweat_set_core_C += who.acclimatised_threshold_shift_K * adapted
    who.skin_flow_set_core_C += who.acclimatised_threshold_shift_K * adapted
    gain = 1.0 + who.acclimatised_sweat_gain * adapted
    who.sweat_gain_L_h_K *= gain
    who.maximum_sweat_rate_L_h *= gain
    if runner.maximum_sweat_rate_L_h is not None:
        who.maximum_sweat_rate_L_h = runner.maximum_sweat_rate_L_h
    who.heart_plasma_share = 0.0  # a runner with a list of heat exposures has more: tests/test_heat_days.py
    who.wettedness_limit = (
        who.wettedness_limit_unacclimatised + (1.0 - who.wettedness_limit_unacclimatised) * adapted
    )


def fill_clothing(who, runner):
    """Covered share by segment; resistances over covered skin, as they are at running speed."""
    if isinstance(runner.clothing, str):
        covered, clo, vapour, _ = parameters.CLOTHING[runner.clothing]
    else:
        own = runner.clothing
        covered, clo, vapour = (
            np.full(12, own.covered_fraction),
            own.insulation_clo,
            own.vapour_resistance_m2Pa_W,
        )
    who.covered = np.array(covered)
    who.film_hold_kg_m2 = who.film_full_kg_m2 + who.cloth_water_kg_m2 * who.covered  # before it overflows
    who.cloth_m2K_W, who.cloth_m2kPa_W = clo * CLO, vapour / 1000.0


# === physical laws ================================================================================


def vapour_at_saturation(temperature_C):
    """Saturation vapour pressure over water [kPa], Buck 1981 with his 1996 coefficients."""
    t = temperature_C
    return 0.61121 * np.exp((18.678 - t / 234.5) * t / (257.14 + t))


def wind_coefficient(speed):
    """Whole-body convection in relative wind [W/m2K], ISO 7933."""
    return 3.5 + 5.2 * speed if speed <= 1.0 else 8.7 * speed**0.6


def swing_coefficient(speed):
    """What swinging limbs keep up in still air [W/m2K]: treadmill values of ASHRAE Fundamentals."""
    return 6.5 * speed**0.39 if speed > 0.0 else 0.0


def still_air_coefficient(difference_K):
    """Natural convection [W/m2K], ISO 7933."""
    return 2.38 * np.abs(difference_K) ** 0.25


def long_wave_coefficient(surface_C, surroundings_C, who):
    """Long-wave exchange made linear about the mean of both temperatures [W/m2K]."""
    mean_K = (surface_C + surroundings_C) / 2.0 + ICE_POINT_K
    return 4.0 * who.skin_emissivity * STEFAN_BOLTZMANN * who.radiating_area_fraction * mean_K**3


def minetti_run(i):
    """Net cost of running on grade [J/kg/m], Minetti 2002."""
    return 155.4 * i**5 - 30.4 * i**4 - 43.3 * i**3 + 46.3 * i**2 + 19.5 * i + 3.6


def minetti_walk(i):
    """Net cost of walking on grade [J/kg/m], Minetti 2002."""
    return 280.5 * i**5 - 58.7 * i**4 - 76.8 * i**3 + 51.9 * i**2 + 19.6 * i + 2.5


def walking_cost(speed, grade):
    """Pandolf 1977 from level to +5 %, Minetti beyond, straight joints between +5 and +8 %, and 0 and -5 % [J/kg/m]."""
    speed = max(speed, 0.3)

    def pandolf(climb):
        return 1.5 * speed + 35.0 * climb

    if grade <= -0.05 or grade >= 0.08:
        return minetti_walk(grade)
    if grade < 0.0:
        return float(np.interp(grade, [-0.05, 0.0], [minetti_walk(-0.05), pandolf(0.0)]))
    if grade <= 0.05:
        return pandolf(grade)
    weight = (grade - 0.05) / 0.03
    return (1.0 - weight) * pandolf(grade) + weight * minetti_walk(grade)


def cost_of_moving(running, acsm, speed, grade, oxygen_J_L):
    """Net cost [J/kg/m] by either relation; ACSM going down follows Minetti's relative change from level."""
    if not acsm:
        return minetti_run(grade) if running else walking_cost(speed, grade)
    climb, down = max(grade, 0.0), min(grade, 0.0)
    if running:
        uptake, share = 0.2 * 60.0 * speed + 0.9 * 60.0 * speed * climb, minetti_run(down) / minetti_run(0.0)
    else:
        uptake, share = (
            0.1 * 60.0 * speed + 1.8 * 60.0 * speed * climb,
            minetti_walk(down) / minetti_walk(0.0),
        )
    return share * (uptake / 1000.0 / 60.0) * oxygen_J_L / speed  # uptake above rest in mL/kg/min


def frozen_kg(store_J, charge_kg, row):
    """Mass of a charge that is still solid [kg]."""
    if store_J >= 0.0:
        return 0.0
    return charge_kg if row["latent_J_kg"] == 0.0 else min(-store_J / row["latent_J_kg"], charge_kg)


def store_temperature(store_J, charge_kg, row):
    """Temperature of a store [°C] from its enthalpy: solid, melting, or liquid."""
    melting_J = charge_kg * row["latent_J_kg"]
    if store_J >= 0.0:
        return row["melt_high_C"] + store_J / (charge_kg * row["liquid_J_kgK"] + row["dry_J_K"])
    if store_J <= -melting_J:
        return row["melt_low_C"] + (store_J + melting_J) / (charge_kg * row["solid_J_kgK"] + row["dry_J_K"])
    return row["melt_high_C"] + (row["melt_high_C"] - row["melt_low_C"]) * store_J / melting_J


# === effort and air now ===========================================================================


def share_of_mist(air_C, vapour_kPa, warmer_K, moister_kPa):
    """Share of the mist that evaporates: all of it, or as much as makes the air saturated (its wet bulb)."""
    def too_moist(share):
        return vapour_kPa + share * moister_kPa > float(vapour_at_saturation(air_C + share * warmer_K))

    if warmer_K >= 0.0 or moister_kPa <= 0.0 or not too_moist(1.0):
        return 1.0
    share = 0.0
    for halved in range(1, 61):
        if not too_moist(share + 0.5**halved):
            share += 0.5**halved
    return share


def air_now(piece, time_s, who, around=()):
    """Air at a time: every quantity runs in a straight line through its piece; then what is around the runner changes it.

    ``around`` are the rows at work that are neither worn nor drunk: fans, mist, canopies, cooler breath.
    """
    part = (time_s - piece["start_s"]) / (piece["end_s"] - piece["start_s"])

    def between(name):
        return piece[name + "_0"] + (piece[name + "_1"] - piece[name + "_0"]) * part

    air = SimpleNamespace(pressure_kPa=piece["pressure_kPa"])
    air.air_C = between("air_C") + who.air_temperature_shift_K
    air.radiant_C = between("radiant_C") + who.air_temperature_shift_K
    vapour_kPa = between("vapour_kPa") * who.vapour_pressure_factor
    warmer_K, moister_kPa = (sum(row[name] for row in around) for name in ("air_change_K", "vapour_change_kPa"))
    share = share_of_mist(air.air_C, vapour_kPa, warmer_K, moister_kPa)
    air.air_C += share * warmer_K
    vapour_kPa += share * moister_kPa
    air.vapour_kPa = min(max(vapour_kPa, 0.0), float(vapour_at_saturation(air.air_C)))
    air.sun_left = math.prod(1.0 - row["shade_share"] for row in around)
    air.open_solar_W_m2 = between("solar_W_m2") * who.solar_factor
    air.solar_W_m2 = air.open_solar_W_m2 * air.sun_left
    wind = between("wind_m_s") * who.air_speed_factor
    air.head_wind = wind * piece["wind_along"]
    if piece["ground_air"] == 0.0:  # a treadmill: only the fan moves air
        air.speed = who.air_speed_factor * piece["fan_m_s"]
    else:
        air.speed = math.hypot(piece["speed_m_s"] + air.head_wind, wind * piece["wind_across"])
    for row in around:
        air.speed = max(air.speed, row["air_speed_m_s"] * who.air_speed_factor)
    return air


def mass_moved(state, piece, rows, worn, who):
    """Body less the water it gave up, plus what is carried: by hand, worn (filling and dew too), in the stomach [kg]."""
    carried = piece["carried_kg"]
    for row, own, on in zip(rows, state["rows"], worn):
        if on and row["place"] in (ON_SKIN, IN_STOMACH):
            carried += row["dry_mass_kg"] + own["store_kg"] + own["outer_kg"]
        elif on and row["place"] == AROUND:
            carried += row["dry_mass_kg"]
    return who.mass_kg - state["lost"] + carried


def power_asked(state, piece, rows, worn, time_s, who):
    """Metabolic power that the effort asks for [W], rest included; a negative ``power_W`` means that none is given."""
    if piece["power_W"] >= 0.0:
        return piece["power_W"]
    if piece["activity"] == RESTING:
        return who.resting_W + piece["seated"] * who.seated_W
    speed, grade = piece["speed_m_s"], piece["grade"]
    if speed < 0.05:
        return who.resting_W + who.standing_W
    running = piece["gait"] == 2 if piece["gait"] >= 0 else speed >= who.walk_run_switch_m_s
    acsm = piece["cost_relation"] == 1
    standing = piece["gait"] == 0
    if standing:
        return who.resting_W + who.standing_W
    cost = cost_of_moving(running, acsm, speed, grade, who.oxygen_J_L)
    power = mass_moved(state, piece, rows, worn, who) * cost * speed * who.economy * piece["surface"]
    if piece["air_drag"] and piece["ground_air"] > 0.0:  # Pugh 1970: oxygen uptake against the air
        ahead = speed + air_now(piece, time_s, who).head_wind
        uptake_L_min = 0.00354 * 0.266 * who.surface_m2 * ahead * abs(ahead) * speed
        power += max(uptake_L_min, 0.0) / 60.0 * who.oxygen_J_L
    # Walking by Pandolf is stated above standing; running and ACSM's equations above lying rest.
    upright = 0.0 if running or acsm else who.standing_W
    return who.resting_W + upright + power


def external_work(state, piece, rows, worn, who):
    """Work done on the outside [W]: as given with a power; else weight times vertical speed, speed along the slope."""
    if piece["power_W"] >= 0.0:
        return piece["given_work_W"]
    sine = math.sin(math.atan(piece["grade"]))
    return mass_moved(state, piece, rows, worn, who) * GRAVITY * piece["speed_m_s"] * sine


def move_fast_states(fast, asked_W, piece, seconds, who):
    """Oxygen uptake and the work part of heart rate over a step, exactly; return new values and mean power [W].

    Each quantity approaches its target as an exponential; its mean over the step is known too.
    """

    def approach(value, target, constant_s):
        decay = math.exp(-seconds / constant_s)
        mean = target + (value - target) * (1.0 - decay) / (seconds / constant_s)
        return target + (value - target) * decay, mean

    slow_target = who.slow_component_gain * max(asked_W - who.slow_component_threshold * who.maximal_W, 0.0)
    quick, quick_mean = approach(fast["oxygen_fast"], asked_W, who.oxygen_time_constant_s)
    slow, slow_mean = approach(fast["oxygen_slow"], slow_target, who.slow_component_time_constant_s)
    uptake = asked_W + (fast["oxygen_slow"] + slow) / 2.0
    reserve = (uptake - who.resting_W) / (who.maximal_W - who.resting_W)
    target = (who.heart_maximum_bpm - who.heart_rest_bpm) * min(max(reserve, 0.0), 1.0)
    target = max(target, piece["upright"] * who.heart_rest_upright_bpm)  # posture is its floor
    constant = who.heart_on_s if target > fast["heart_work"] else who.heart_off_s
    moving = piece["speed_m_s"] > 0.0 or piece["power_W"] >= 0.0
    after = {
        "oxygen_fast": quick,
        "oxygen_slow": slow,
        "heart_work": approach(fast["heart_work"], target, constant)[0],
        "distance": fast["distance"] + piece["speed_m_s"] * seconds,
        "running_s": fast["running_s"] + (seconds if moving else 0.0),
    }
    return after, quick_mean + slow_mean


def heart_rate(state, fast, rows, worn, who):
    """Parts of heart rate [bpm]: rest, work, core, skin, fluid, drift, bound; they add up to the rate."""
    core_C, skin_C = core_temperature(state, who), mean_skin(state, rows, worn, who)
    parts = [
        who.heart_rest_bpm,
        fast["heart_work"],
        who.heart_core_bpm_K * (core_C - who.core_reference_C),
        who.heart_skin_bpm_K * (max(skin_C, who.heart_skin_floor_C) - who.heart_skin_reference_C),
        who.heart_fluid_bpm_pct * 100.0 * max(state["lost"], 0.0) / who.mass_kg - who.heart_plasma_share * fast["heart_work"],
        who.heart_drift_bpm_h * fast["running_s"] / 3600.0,
    ]
    held = min(max(sum(parts), who.heart_rest_bpm), who.heart_maximum_bpm)
    return [*parts, held - sum(parts)]


def settings_of_step(piece, time_s, metabolic_W, work_W, who, around=()):
    """What stays constant in a step: air, cloth, convection, blood flows to all but the skin."""
    now = air_now(piece, time_s, who, around)
    now.metabolic_W, now.work_W, now.work_share = metabolic_W, work_W, who.work_share[piece["activity"]]
    wind, swing = wind_coefficient(now.speed), swing_coefficient(piece["swing_m_s"])
    weight = who.swing_weight if swing > wind else who.convection_weight
    now.h_forced = max(wind, swing) * (now.pressure_kPa / SEA_LEVEL_KPA) ** 0.55 * weight

    # Motion thins cloth: kit resistances hold at the reference speed and above, and are larger when standing.
    motion = min(max(piece["swing_m_s"], now.speed) / who.clothing_reference_speed_m_s, 1.0)
    thick = who.clothing_static_ratio + (1.0 - who.clothing_static_ratio) * motion
    h_r = long_wave_coefficient(who.skin_signal_set_C, now.radiant_C, who)
    through_cloth = 1.0 / (1.0 + (now.h_forced + h_r) * who.cloth_m2K_W * thick)
    now.dry_share = 1.0 - who.covered + who.covered * through_cloth
    now.cloth_m2kPa_W = who.cloth_m2kPa_W * thick
    now.open_sun_W = who.solar_absorptance * who.solar_interception * now.open_solar_W_m2 * who.area * now.dry_share

    # Working muscle takes blood in proportion to its oxygen, up to the maximal uptake; viscera give some up, and the
    # ceiling of skin flow falls.
    now.exercise_W = metabolic_W - who.resting_W
    reserve_W = who.maximal_W - who.resting_W
    intensity = min(max(now.exercise_W / reserve_W, 0.0), 1.0)
    to_work = who.muscle_flow_gain_L_per_L_oxygen * intensity * reserve_W / who.oxygen_J_L * 60.0
    W_K = who.heat_capacity_of_blood_J_L / 60.0
    muscle_flow = who.muscle_flow + to_work * now.work_share
    core_flow = who.core_flow.copy()
    core_flow[ABDOMEN] *= 1.0 - who.viscera_flow_fall * intensity
    now.by_blood = {
        "core": core_flow * who.countercurrent * W_K,
        "muscle": muscle_flow * who.countercurrent * W_K,
        "fat": who.fat_flow * W_K,
        "gut": who.gut_flow * W_K,
    }
    towards = min(intensity / who.skin_flow_ceiling_intensity, 1.0)
    rest, hard = who.skin_flow_ceiling_rest_L_min, who.skin_flow_ceiling_exercise_L_min
    now.skin_flow_ceiling = rest + (hard - rest) * towards
    return now


# === temperatures that the controllers see, and what they ask for =================================


def free_share(rows, worn, who):
    """Share of each segment's skin that no device covers."""
    covered = np.zeros(12)
    for row, on in zip(rows, worn):
        if on and row["place"] == ON_SKIN:
            covered[row["segment"]] += row["area_m2"]
    return 1.0 - covered / who.area


def share_in_air(rows, worn):
    """Share of each segment's free skin that is not in a bath."""
    bathed = np.zeros(12)
    for row, on in zip(rows, worn):
        if on and row["place"] == BATH:
            bathed[row["segment"]] += row["segment_share"]
    return np.maximum(1.0 - bathed, 0.0)


def patches(state, rows, worn):
    """Rows that have a patch of skin, now: pairs of row and block."""
    return [(row, own) for row, own, on in zip(rows, state["rows"], worn) if on and row["place"] == ON_SKIN]


def mean_skin(state, rows, worn, who):
    """Area-weighted mean of all skin [°C], patches under devices included."""
    total = (who.area * free_share(rows, worn, who) * state["skin"]).sum()
    total += sum(row["area_m2"] * own["patch_C"] for row, own in patches(state, rows, worn))
    return total / who.surface_m2


def core_temperature(state, who):
    """Mean of chest, back and abdomen core [°C], weighted with heat capacity."""
    return (who.trunk_weight * state["core"]).sum()


def shift_of_loss(state, who):
    """How far fluid loss moves the set points of sweating and skin flow up [K]; drinking more than was lost moves none."""
    return who.fluid_threshold_shift_K_pct * 100.0 * max(state["lost"], 0.0) / who.mass_kg


def loss_leaves(state, per_pct, who):
    """Share [1] of a rate that is left after fluid loss."""
    return min(max(1.0 - per_pct * 100.0 * state["lost"] / who.mass_kg, 0.0), 1.0)


def skin_flow_asked(state, now, core_C, skin_C, who):
    """Skin blood flow [L/min]: warmth opens, cold skin narrows, a hot core outweighs cold skin; sharp ceiling."""
    warm = warmth(state, skin_C, who)
    felt = max(skin_C, who.skin_signal_floor_C)
    cold = who.constriction_skin_C - felt - who.constriction_override * max(core_C - who.core_reference_C, 0.0)
    wanted = who.skin_flow_rest_L_min + who.skin_flow_gain_L_min_K * max(warm, 0.0)
    ceiling = now.skin_flow_ceiling * loss_leaves(state, who.skin_flow_fall_per_pct_loss, who)
    return min(wanted / (1.0 + who.constriction_gain_1_K * max(cold, 0.0)), ceiling)


def warmth(state, skin_C, who):
    """Signal to skin flow [K]: warm blood and, by its weight, warm skin."""
    warm = state["blood"] - who.skin_flow_set_core_C - shift_of_loss(state, who)
    return warm + who.skin_flow_skin_weight * (max(skin_C, who.skin_signal_floor_C) - who.skin_signal_set_C)


def shunts_asked(state, skin_C, who):
    """Blood flow through the shunts of hands and feet [L/min]: opened by warmth, not closed by cold skin."""
    return who.shunt_flow_ceiling_L_min * min(max(warmth(state, skin_C, who) / who.shunt_flow_span_K, 0.0), 1.0)


def sweat_asked(state, skin_C, who):
    """Sweat rate before local factors and ceiling [kg/s]; a litre is a kilogram. Drinking more than was lost adds none."""
    warm = state["blood"] - who.sweat_set_core_C - shift_of_loss(state, who)
    warm += who.sweat_skin_weight * (max(skin_C, who.skin_signal_floor_C) - who.skin_signal_set_C)
    warm -= who.sweat_gut_weight * max(state["blood"] - state["gut"], 0.0)  # cold in the stomach holds sweat back
    dulled = loss_leaves(state, who.sweat_fall_per_pct_loss, who)
    return who.sweat_gain_L_h_K * max(warm, 0.0) * dulled / 3600.0


def local_sweat(skin_C, who):
    """Warm skin sweats more [1], Nadel 1971."""
    return np.exp((skin_C - who.sweat_local_reference_C) / who.sweat_local_slope_K)


def local_flow(skin_C, who):
    """Share of skin flow that cold skin lets through [1], bare or under a device."""
    share = (skin_C - who.local_flow_cold_C) / (who.local_flow_warm_C - who.local_flow_cold_C)
    return who.local_flow_floor + (1.0 - who.local_flow_floor) * np.clip(share, 0.0, 1.0)


# === the balance ==================================================================================


def derivative(state, now, rows, worn, who):
    """Time derivative of every number in the state."""
    core_C, skin_C = core_temperature(state, who), mean_skin(state, rows, worn, who)
    free, blood_C = free_share(rows, worn, who), state["blood"]

    # What the controllers ask for. The ceiling of sweating acts on the sum over all skin.
    skin_W_K = skin_flow_asked(state, now, core_C, skin_C, who) * who.heat_capacity_of_blood_J_L / 60.0
    skin_W_K = skin_W_K * who.skin_flow_share * who.countercurrent
    shunt_W_K = shunts_asked(state, skin_C, who) * who.heat_capacity_of_blood_J_L / 60.0 * who.shunt_share
    sweating = who.sweat_share * free * local_sweat(state["skin"], who)
    under = [
        who.sweat_share[row["segment"]]
        * row["area_m2"]
        / who.area[row["segment"]]
        * local_sweat(own["patch_C"], who)
        if on and row["place"] == ON_SKIN
        else 0.0
        for row, own, on in zip(rows, state["rows"], worn)
    ]
    everywhere = sweating.sum() + sum(under)
    central = min(sweat_asked(state, skin_C, who), who.maximum_sweat_rate_L_h / 3600.0 / everywhere)
    secreted = central * sweating

    # Heat made: rest (with its Q10 rule), working muscle, shivering. Breathing takes from the blood.
    warmed = who.resting_W * (who.tissue_q10 ** ((core_C - who.core_reference_C) / 10.0) - 1.0)
    shiver = min(
        who.shiver_gain_W_m2K2
        * who.surface_m2
        * max(who.skin_signal_set_C - skin_C, 0.0)
        * max(who.shiver_core_C - core_C, 0.0),
        who.shiver_ceiling_rest * who.resting_W,
    )
    metabolic, resting = now.metabolic_W + warmed + shiver, who.resting_W + warmed
    breath_vapour = 0.0173 * metabolic * (5.87 - now.vapour_kPa)  # Fanger 1970
    breath_dry = 0.0014 * metabolic * (34.0 - now.air_C)
    watts = {
        "core": who.rest_core * resting,
        "muscle": who.rest_muscle * resting
        + now.work_share * (now.exercise_W - now.work_W)
        + who.rest_muscle / who.rest_muscle.sum() * shiver,
        "fat": np.zeros(12),
        "skin": who.rest_skin * free * resting,
        "blood": -breath_vapour - breath_dry,
        "gut": 0.0,
    }

    # Heat moved outward from shell to shell, from the abdomen to the gut, and by blood.
    for inner, outer, conductance in (
        ("core", "muscle", who.between[0]),
        ("muscle", "fat", who.between[1]),
        ("fat", "skin", who.between[2] * free),
    ):
        flow = conductance * (state[inner] - state[outer])
        watts[inner] = watts[inner] - flow
        watts[outer] = watts[outer] + flow
    into_gut = who.gut_conductance * (state["core"][ABDOMEN] - state["gut"])
    watts["gut"] += into_gut
    watts["core"][ABDOMEN] -= into_gut
    for tissue, conductance in {**now.by_blood, "skin": (skin_W_K * local_flow(state["skin"], who) + shunt_W_K) * free}.items():
        flow = conductance * (blood_C - state[tissue])
        watts[tissue] = watts[tissue] + flow
        watts["blood"] -= np.sum(flow)

    # Skin to air, and the film.
    air = skin_to_air(state["skin"], state["film"], secreted, free, share_in_air(rows, worn), now, who)
    watts["skin"] = watts["skin"] + air.convection + air.long_wave + air.sun + air.evaporation
    film = secreted - air.off - air.run_off + air.dew

    # Devices, and water that is drunk, poured, bathed in. Whatever a row takes, some tissue gives.
    to_devices, breathed_more_W, open_sun_W = 0.0, 0.0, air.open_sun.sum()
    water = dict.fromkeys(WATER, 0.0)
    water["sweat"] = secreted.sum() + central * sum(under)
    water["dripped"] = air.run_off.sum()
    row_rates = []
    for row, own, on, share_of_sweat in zip(rows, state["rows"], worn, under):
        rate, s, onto = dict.fromkeys(ROW_STATES, 0.0), row["segment"], 0.0
        if on and row["place"] == ON_SKIN:
            to_skin, onto = device(row, own, rate, state, central * share_of_sweat, resting, skin_W_K, shunt_W_K, now, who)
            watts["fat"][s] -= to_skin.from_fat
            watts["blood"] -= to_skin.from_blood
            for place in (
                row["drip_segment_1"],
                row["drip_segment_2"],
            ):  # drips land half and half, and warm up there
                taken = onto / 2.0 * WATER_J_KGK * (state["skin"][place] - to_skin.store_C)
                watts["skin"][place] -= taken
                film[place] += onto / 2.0
                rate["run_off_J"] += taken
            water["wicked"] += rate["wicked_kg"]
            water["dripped"] += to_skin.overflow
        elif on and row["place"] == IN_STOMACH:
            stomach(row, own, rate, state, who)
            watts["gut"] -= rate["from_skin_J"] + rate["run_off_J"]
        elif on and row["place"] == POURED:
            onto = poured_over(row, own, rate, state["skin"][s])
            watts["skin"][s] -= rate["run_off_J"]
            film[s] += onto
        elif on and row["place"] == BATH:
            bath(row, rate, state["skin"][s], who.area[s] * free[s])
            watts["skin"][s] -= rate["from_skin_J"]
        elif on:
            breathed_more_W += surround(row, rate, metabolic, now)
            watts["blood"] -= rate["from_skin_J"]
            landing = row["mist_kg_s"] * who.area * free * share_in_air(rows, worn) / who.surface_m2
            warming = landing * WATER_J_KGK * (state["skin"] - row["mist_C"])
            watts["skin"] = watts["skin"] - warming
            film, onto = film + landing, landing.sum()
            rate.update(run_off_J=warming.sum(), charged_kg=onto, dripped_kg=onto)
            rate["shaded_J"] = open_sun_W * row["shade_share"]  # one canopy after the other
            open_sun_W -= rate["shaded_J"]
        to_devices += rate["from_skin_J"] + rate["run_off_J"]
        water["received"] += onto
        row_rates.append(rate)

    # Watts over heat capacity. Water that left took heat capacity with it, and the heat that was in it; water that
    # was drunk and has passed on brings both back.
    breathed = (breath_vapour + breathed_more_W) / SWEAT_J_KG
    losing = water["sweat"] + air.through.sum() + breathed - sum(rate["drunk_kg"] for rate in row_rates)
    capacity = capacity_now(state, free, who)
    rates = {place: watts[place] / capacity[place] for place in capacity}
    if who.two_node:
        tie_to_two_nodes(rates, watts, capacity)
    joules_water = sum(
        np.sum(WATER_J_KGK * share * losing * state[place]) for place, share in who.water_share.items()
    )

    water.update(
        diffused=air.through.sum(), evaporated=air.off.sum(), breathed=breathed, condensed=air.dew.sum()
    )
    rates.update(
        rectal=(core_C - state["rectal"]) / who.rectal_lag_s,
        film=film,
        lost=losing,
        joules=dict(
            zip(
                BOOKS,
                (
                    metabolic,
                    -now.work_W,
                    air.convection.sum(),
                    air.long_wave.sum(),
                    air.sun.sum(),
                    -breath_vapour,
                    -breath_dry,
                    air.evaporation.sum(),
                    -to_devices,
                ),
            )
        ),
        joules_water=joules_water,
        water=water,
        rows=row_rates,
    )
    return rates


def skin_to_air(skin, film, secreted, free, in_air, now, who):
    """What the uncovered skin of every segment gains from the air [W], and where its water goes [kg/s].

    Skin in a bath has no air: its share of the area is left out, and its film is washed away.
    """
    out, area = SimpleNamespace(), who.area * free * in_air
    h_c = np.maximum(now.h_forced, still_air_coefficient(skin - now.air_C))
    out.convection = area * now.dry_share * h_c * (now.air_C - skin)
    out.long_wave = (
        area * now.dry_share * long_wave_coefficient(skin, now.radiant_C, who) * (now.radiant_C - skin)
    )
    out.open_sun = now.open_sun_W * free * in_air
    out.sun = out.open_sun * now.sun_left
    bare = LEWIS_K_KPA * h_c * SEA_LEVEL_KPA / now.pressure_kPa
    h_e = bare * (1.0 - who.covered + who.covered / (1.0 + bare * now.cloth_m2kPa_W))
    if_all_wet = h_e * area * (vapour_at_saturation(skin) - now.vapour_kPa) / SWEAT_J_KG  # kg/s
    wet = who.wettedness_limit * np.clip(film / (who.area * free) / who.film_full_kg_m2, 0.0, 1.0)
    outward = np.maximum(if_all_wet, 0.0)
    out.off = outward * wet
    out.through = outward * who.skin_diffusion_wettedness * (1.0 - wet)
    out.dew = np.maximum(-if_all_wet, 0.0)
    surplus = np.maximum(film - who.film_hold_kg_m2 * area, 0.0)
    onset = who.dripping_onset_wettedness  # Candas 1979: from here on sweat drips, the more the wetter
    dripping = (1.0 - who.evaporating_share_when_wet) * np.maximum(wet - onset, 0.0) / (1.0 - onset)
    out.run_off = dripping * secreted + surplus / who.film_overflow_s
    out.evaporation = (out.dew - out.through - out.off) * SWEAT_J_KG
    return out


def device(row, own, rate, state, sweat, resting, skin_W_K, shunt_W_K, now, who):
    """One worn row: fill the rates of its block; return what its patch takes, and drips that land on skin [kg/s]."""
    s, area = row["segment"], row["area_m2"]
    share = area / who.area[s]  # of the segment's skin
    store_C = store_temperature(own["store_J"], own["store_kg"], row)
    liquid_kg = own["store_kg"] - frozen_kg(own["store_J"], own["store_kg"], row)
    to_skin = SimpleNamespace(store_C=store_C)

    # The patch of skin: fat below, blood through it (less when cold), the store on it.
    patch_C = own["patch_C"]
    to_skin.from_fat = who.between[2][s] * share * (state["fat"][s] - patch_C)
    open_W_K = skin_W_K[s] * local_flow(patch_C, who) + shunt_W_K[s]
    to_skin.from_blood = open_W_K * share * (state["blood"] - patch_C)
    contact = row["contact_W_m2K"] * area * (patch_C - store_C)
    made = who.rest_skin[s] * share * resting
    rate["patch_C"] = (made + to_skin.from_fat + to_skin.from_blood - contact) / (
        who.capacity["skin"][s] * share
    )

    # Its sweat cannot evaporate. A wicking row drinks it; under a tight one the film fills up and runs off.
    keeps = 0.0 if row["wicks"] else who.film_full_kg_m2 * area
    leaving = max(own["film_kg"] - keeps, 0.0) / who.film_overflow_s
    rate["film_kg"] = sweat - leaving
    drunk, to_skin.overflow = (leaving, 0.0) if row["wicks"] else (0.0, leaving)

    # The outer side: air, long waves, sun, dew or drying (only as far as it is wet), and the way in to the store.
    outer_C, outside = own["outer_C"], row["outer_area_m2"]
    h_c = now.h_forced[s] * row["outer_exposure"]
    from_air = outside * h_c * (now.air_C - outer_C)
    from_air += outside * long_wave_coefficient(outer_C, now.radiant_C, who) * (now.radiant_C - outer_C)
    from_air += outside * row["outer_absorptance"] * who.solar_interception * now.solar_W_m2
    h_e = LEWIS_K_KPA * h_c * SEA_LEVEL_KPA / now.pressure_kPa
    vapour = outside * h_e * (now.vapour_kPa - vapour_at_saturation(outer_C))
    if vapour < 0.0:
        wet_kg = liquid_kg if row["wicks"] else own["outer_kg"]
        vapour *= min(max(wet_kg / row["outer_wet_kg"], 0.0), 1.0)
    gained = vapour / SWEAT_J_KG
    inward = row["outer_conductance_W_m2K"] * outside * (outer_C - store_C)
    rate["outer_C"] = (from_air + vapour - inward) / row["outer_J_K"]

    # Water: what the store cannot hold drips. All water carries its heat, counted from the melting point.
    dripping = max(liquid_kg - row["hold_kg"], 0.0) / row["drip_s"]
    dew_dripping = 0.0
    carried = drunk * (patch_C - row["melt_high_C"]) - dripping * (store_C - row["melt_high_C"])
    if row["wicks"]:
        carried += gained * (outer_C - row["melt_high_C"])
        rate["store_kg"] = drunk + gained - dripping
    else:
        dew_dripping = max(own["outer_kg"] - row["outer_hold_kg"], 0.0) / row["drip_s"]
        rate["outer_kg"] = gained - dew_dripping
        rate["store_kg"] = -dripping
    with_water = carried * row["liquid_J_kgK"]
    rate["store_J"] = contact + inward + with_water
    rate.update(
        from_skin_J=contact,
        from_air_J=from_air,
        from_vapour_J=vapour,
        with_water_J=with_water,
        condensed_kg=max(gained, 0.0),
        evaporated_kg=max(-gained, 0.0),
        dripped_kg=dripping + dew_dripping,
        wicked_kg=drunk,
    )
    return to_skin, row["drip_on_skin"] * dripping


def stomach(row, own, rate, state, who):
    """A drink: fill the rates of its block. The gut warms it, and warms what passes on to the body's temperature."""
    drink_C, filling_kg = store_temperature(own["store_J"], own["store_kg"], row), own["store_kg"]
    wall_W_K = row["contact_W_m2K"] * row["area_m2"] * filling_kg / (filling_kg + row["half_contact_kg"])
    contact = wall_W_K * (state["gut"] - drink_C)
    passing = (filling_kg - frozen_kg(own["store_J"], filling_kg, row)) / row["drip_s"]  # only what is liquid
    body_C = sum(np.sum(share * state[place]) for place, share in who.water_share.items())
    with_water = -passing * row["liquid_J_kgK"] * (drink_C - row["melt_high_C"])
    rate.update(
        store_J=contact + with_water,
        store_kg=-passing,
        from_skin_J=contact,
        with_water_J=with_water,
        run_off_J=passing * WATER_J_KGK * (body_C - drink_C),
        dripped_kg=passing,
        drunk_kg=passing,
    )


def poured_over(row, own, rate, skin_C):
    """Water running over skin: fill the rates of its block; return what stays on the skin [kg/s].

    What stays takes skin temperature; what runs off is warmed part of the way.
    """
    water_C, flowing = store_temperature(own["store_J"], own["store_kg"], row), own["store_kg"] / row["drip_s"]
    staying = row["drip_on_skin"] * flowing
    with_water = -flowing * row["liquid_J_kgK"] * (water_C - row["melt_high_C"])
    rate.update(
        store_J=with_water,
        store_kg=-flowing,
        with_water_J=with_water,
        run_off_J=(staying + row["run_off_warming"] * (flowing - staying)) * WATER_J_KGK * (skin_C - water_C),
        dripped_kg=flowing,
    )
    return staying


def bath(row, rate, skin_C, free_m2):
    """Skin in water that keeps its temperature: what the skin gives, the water carries away."""
    contact = row["contact_W_m2K"] * free_m2 * row["segment_share"] * (skin_C - row["charge_C"])
    rate.update(from_skin_J=contact, with_water_J=-contact)


def surround(row, rate, metabolic_W, now):
    """Part of the breath at another temperature: fill the rates of its block; return the more that leaves as vapour [W].

    Air that cold holds only so much vapour; what is breathed out is the same.
    """
    held_kPa = min(now.vapour_kPa, float(vapour_at_saturation(row["breath_C"])))
    vapour_W = row["breath_share"] * 0.0173 * metabolic_W * (now.vapour_kPa - held_kPa)
    dry_W = row["breath_share"] * 0.0014 * metabolic_W * (now.air_C - row["breath_C"])
    taken_W = vapour_W + dry_W + row["sink_W"]  # an ideal sink takes from the blood as well
    rate.update(from_skin_J=taken_W, with_water_J=-taken_W)
    return vapour_W


def capacity_now(state, free, who):
    """Heat capacities now [J/K]: less the water given up, less the skin that belongs to patches."""
    now = dict(who.capacity)
    now["skin"] = who.capacity["skin"] * free
    for place, share in who.water_share.items():
        now[place] = who.capacity[place] - WATER_J_KGK * share * state["lost"]
    return now


def tie_to_two_nodes(rates, watts, capacity):
    """The teaching body: all skin moves as one node, all the rest as another; the same heat terms."""
    for group in (("core", "muscle", "fat", "blood", "gut"), ("skin",)):
        common = sum(np.sum(watts[p]) for p in group) / sum(np.sum(capacity[p]) for p in group)
        for place in group:
            rates[place] = common + 0.0 * np.asarray(capacity[place])


# === books ========================================================================================


def heat_content(state, rows, worn, who):
    """Heat in all tissue above 0 °C [J]: capacities times temperatures."""
    capacity = capacity_now(state, free_share(rows, worn, who), who)
    total = sum(np.sum(capacity[place] * state[place]) for place in capacity)
    for row, own in patches(state, rows, worn):
        s = row["segment"]
        total += who.capacity["skin"][s] * row["area_m2"] / who.area[s] * own["patch_C"]
    return float(total)


def water_on_skin(state):
    """Water on all skin [kg]."""
    return float(state["film"].sum() + sum(own["film_kg"] for own in state["rows"]))


# === putting on, refilling, taking off; drinking, pouring, bathing ================================


def new_row(row, state):
    """Block of a row before it is worn."""
    return {
        **dict.fromkeys(ROW_STATES, 0.0),
        "patch_C": float(state["skin"][row["segment"]]),
        "outer_C": row["charge_C"],
    }


def fresh_enthalpy(row, dry_J_K):
    """Heat content of a fresh charge [J], zero when just melted; cold enough, a share of it is ice."""
    charge_kg, ice_kg = row["charge_kg"], row["ice_share"] * row["charge_kg"]
    if row["charge_C"] > row["melt_low_C"]:
        return (charge_kg * row["liquid_J_kgK"] + dry_J_K) * (row["charge_C"] - row["melt_high_C"])
    sensible = ice_kg * row["solid_J_kgK"] + (charge_kg - ice_kg) * row["liquid_J_kgK"] + dry_J_K
    return sensible * (row["charge_C"] - row["melt_low_C"]) - ice_kg * row["latent_J_kg"]


def refill(row, own):
    """Put a fresh charge into a store and book what it brings."""
    fresh = fresh_enthalpy(row, row["dry_J_K"])
    own["charged_J"] += fresh - own["store_J"]
    own["charged_kg"] += row["charge_kg"]
    own["dripped_kg"] += own["store_kg"]
    own["store_J"], own["store_kg"] = fresh, row["charge_kg"]


def put_on(r, state, rows, worn, who):
    """The patch takes its share of the segment's skin, at its temperature and with its film."""
    row, own, s = rows[r], state["rows"][r], rows[r]["segment"]
    part = row["area_m2"] / (who.area[s] * free_share(rows, worn, who)[s])
    worn[r] = True
    own["patch_C"] = float(state["skin"][s])
    own["film_kg"] = float(part * state["film"][s])
    state["film"][s] -= own["film_kg"]
    own["outer_kg"] = 0.0
    refill(row, own)
    fresh_C = max(row["charge_C"], row["melt_low_C"]) if row["latent_J_kg"] > 0.0 else row["charge_C"]
    own["charged_J"] += row["outer_J_K"] * (fresh_C - own["outer_C"])
    own["outer_C"] = fresh_C


def take_off(r, state, rows, worn, who):
    """The patch gives its heat and its film back to the segment."""
    row, own, s = rows[r], state["rows"][r], rows[r]["segment"]
    left = who.area[s] * free_share(rows, worn, who)[s]
    worn[r] = False
    state["skin"][s] = (left * state["skin"][s] + row["area_m2"] * own["patch_C"]) / (left + row["area_m2"])
    state["film"][s] += own["film_kg"]
    own["film_kg"] = 0.0


def swallowed_kg(row, state, rows):
    """How much of a portion is drunk [kg]; a guarded one leaves no more in the stomach than its ceiling, or than was lost."""
    if row["place"] != IN_STOMACH or row["swallow_ceiling_kg"] * row["charge_kg"] == 0.0:
        return row["charge_kg"]
    held_kg = sum(own["store_kg"] for one, own in zip(rows, state["rows"]) if one["place"] == IN_STOMACH)
    room_kg = min(row["swallow_ceiling_kg"], state["lost"]) - held_kg
    return float(np.clip(room_kg, 0.0, row["charge_kg"]))


def add_portion(row, own, portion_kg):
    """A drink joins what is still in the stomach, poured water what is still running; book what it brings.

    The small dry heat capacity that keeps an empty row's temperature defined comes with the first portion only.
    """
    fresh_J = fresh_enthalpy({**row, "charge_kg": portion_kg}, 0.0 if own["charged_kg"] > 0.0 else row["dry_J_K"])
    for store, charged, amount in (("store_J", "charged_J", fresh_J), ("store_kg", "charged_kg", portion_kg)):
        own[store] += amount
        own[charged] += amount


def climb_out(row, state, rows, worn, who):
    """Skin that was in the bath comes out with a full film."""
    s = row["segment"]
    full_kg = who.film_full_kg_m2 * who.area[s] * free_share(rows, worn, who)[s] * row["segment_share"]
    clinging = max(full_kg - state["film"][s], 0.0)
    state["film"][s] += clinging
    state["water"]["received"] += clinging


def spare_in(r, state, rows, worn):
    """A spare charge where less than the agreed share is left: of the ice, or of the water where there is no ice."""
    row, own = rows[r], state["rows"][r]
    if not worn[r] or row["place"] != ON_SKIN or own["fills"] >= row["spares"]:
        return
    icy = row["latent_J_kg"] > 0.0 and row["ice_share"] > 0.0 and row["charge_C"] <= row["melt_low_C"]
    left_kg = frozen_kg(own["store_J"], own["store_kg"], row) / row["ice_share"] if icy else own["store_kg"]
    if left_kg < row["refill_at_share"] * row["charge_kg"]:
        refill(row, own)
        own["fills"] += 1.0


def happen(action, r, state, rows, worn, who):
    """One event: "put_on", "refill" or "take_off", whatever that means for the row."""
    row, place = rows[r], rows[r]["place"]
    if place in (IN_STOMACH, POURED):
        if action != "take_off":  # what is swallowed stays swallowed
            portion_kg = swallowed_kg(row, state, rows)
            worn[r] = worn[r] or portion_kg > 0.0
            if portion_kg > 0.0:
                add_portion(row, state["rows"][r], portion_kg)
    elif place == AROUND:
        worn[r] = worn[r] if action == "refill" else action == "put_on"
    elif place == BATH:
        if action == "take_off" and worn[r]:
            climb_out(row, state, rows, worn, who)
        worn[r] = worn[r] if action == "refill" else action == "put_on"
    elif action == "put_on" and not worn[r]:
        put_on(r, state, rows, worn, who)
    elif action == "take_off" and worn[r]:
        take_off(r, state, rows, worn, who)
    elif action == "refill" and worn[r]:
        refill(row, state["rows"][r])


# === the pacing rule ==============================================================================

STAND, WALK, RUN, STOP = range(4)


def fresh_memory():
    """What the rule remembers at the start: nothing."""
    return SimpleNamespace(lets=RUN, events=[], open=None, over_s=0.0, before=None, below_since=None, stopped=None)


def look(memory, rule, time_s, heart_bpm, core_C, capped):
    """One look at the heart rate: begin, keep up or end a cap event; say what the runner may do from now on.

    An event is a dictionary: when it began, its highest heart rate, when that came below the resume level (on a straight
    line between two looks) and when the runner ran on.
    """
    cap, before = rule["cap_bpm"], memory.before
    memory.before = heart_bpm
    if before is not None:  # the part of the second for which a straight line lies above the cap
        above = [before > cap, heart_bpm > cap]
        part = 1.0 if all(above) else (max(before, heart_bpm) - cap) / abs(heart_bpm - before) if any(above) else 0.0
        memory.over_s += part
    if memory.open is None:
        if capped and heart_bpm > cap and memory.lets != STOP:
            memory.open = {"began": time_s, "peak": heart_bpm, "below": None, "resumed": None}
            memory.events.append(memory.open)
            memory.below_since = None
    else:
        memory.open["peak"] = max(memory.open["peak"], heart_bpm)
        level = rule["resume_below_bpm"]
        if heart_bpm >= level:
            memory.below_since = None
        elif memory.below_since is None:
            crossed = before is not None and before > level
            memory.below_since = time_s - (level - heart_bpm) / (before - heart_bpm) if crossed else time_s
        if memory.below_since is not None and time_s - memory.below_since >= rule["resume_s"]:
            memory.open.update(below=memory.below_since, resumed=time_s)
            memory.open = None
    if memory.lets != STOP:
        memory.lets = RUN if memory.open is None else rule["above_cap"]
        too_many = len(memory.events) >= rule["max_cap_events"]
        if too_many or memory.over_s >= rule["stop_after_over_s"] or core_C >= rule["core_stop_C"]:
            memory.lets, memory.stopped = STOP, time_s


def does(memory, rule, leg):
    """What the runner does: what the rule lets them, or what a rest or a steep grade asks for."""
    if memory.lets == STOP or leg is None:
        return STOP
    if leg["activity"] != ON_FOOT or leg["speed_m_s"] < 0.05:
        return STAND
    if not leg["capped"]:
        return WALK if leg["gait"] == 1 else RUN
    walked = leg["gait"] == 1 or leg["grade"] > rule["walk_above_grade"]
    return WALK if memory.lets == RUN and walked else memory.lets


def piece_of(memory, rule, leg, piece, last):
    """The piece as a leg and the rule make it: its air; the leg's ground, shade and wind; the speed of what is done."""
    mode = does(memory, rule, leg)
    leg = leg or last
    now = {**piece, "grade": leg["grade"], "surface": leg["surface"], "speed_m_s": 0.0, "upright": 1.0}
    if not math.isnan(leg["heading"]):
        # the piece then holds the wind as it comes from north and from east; ahead is where the runner is going
        ahead = np.array([math.cos(leg["heading"]), math.sin(leg["heading"])])
        wind = np.array([piece["wind_along"], piece["wind_across"]])
        now["wind_along"] = float(wind @ ahead)
        now["wind_across"] = abs(float(wind[1] * ahead[0] - wind[0] * ahead[1]))
    for side in "01":
        now["wind_m_s_" + side] *= leg["wind_left"]
        now["solar_W_m2_" + side] *= leg["sun_left"]
        air = piece["air_C_" + side]
        now["radiant_C_" + side] = air + leg["sun_left"] * (piece["radiant_C_" + side] - air)
    if mode != STOP and (leg["activity"] != ON_FOOT or leg["speed_m_s"] < 0.05):
        now.update(activity=leg["activity"], seated=leg["seated"], upright=leg["upright"])
    elif mode == WALK:
        as_planned = leg["gait"] == 1 and (not leg["capped"] or memory.lets == RUN)
        slowest = leg["speed_m_s"] if as_planned else min(rule["walk_speed_m_s"], leg["speed_m_s"])
        now.update(gait=1, speed_m_s=slowest)
    elif mode == RUN:
        now.update(speed_m_s=leg["speed_m_s"], gait=leg["gait"] if leg["gait"] >= 0 else piece["gait"])
    now["swing_m_s"] = now["speed_m_s"]
    return now


# === stepping =====================================================================================


def mix(*parts):
    """Weighted sum of states: ``mix((1, a), (h, b))`` is a + h b."""
    first = parts[0][1]
    if isinstance(first, dict):
        return {key: mix(*((weight, state[key]) for weight, state in parts)) for key in first}
    if isinstance(first, list):
        return [mix(*((weight, state[i]) for weight, state in parts)) for i in range(len(first))]
    return sum(weight * number for weight, number in parts)


def heun(f, y, h):
    """Second order: mean of the slopes at start and end."""
    first = f(y)
    second = f(mix((1, y), (h, first)))
    return mix((1, y), (h / 2, first), (h / 2, second))


def rk4(f, y, h):
    """Fourth order, classical."""
    a = f(y)
    b = f(mix((1, y), (h / 2, a)))
    c = f(mix((1, y), (h / 2, b)))
    d = f(mix((1, y), (h, c)))
    return mix((1, y), (h / 6, a), (h / 3, b), (h / 3, c), (h / 6, d))


def rkc2(f, y, h, stages=3):
    """Stabilised second order: stages follow Chebyshev polynomials (Sommeijer, Shampine & Verwer 1997)."""
    w0 = 1.0 + (2.0 / 13.0) / stages**2

    def chebyshev(degree, times):
        """Chebyshev polynomial at w0, differentiated so many times."""
        series = np.polynomial.Chebyshev.basis(degree)
        return float((series.deriv(times) if times else series)(w0))

    w1 = chebyshev(stages, 1) / chebyshev(stages, 2)
    b = [chebyshev(j, 2) / chebyshev(j, 1) ** 2 for j in range(2, stages + 1)]
    b = [b[0], b[0], *b]
    start_slope = f(y)
    before, now = y, mix((1, y), (b[1] * w1 * h, start_slope))
    for j in range(2, stages + 1):
        mu, nu = 2.0 * b[j] * w0 / b[j - 1], -b[j] / b[j - 2]
        step = 2.0 * b[j] * w1 / b[j - 1] * h
        back = -(1.0 - b[j - 1] * chebyshev(j - 1, 0)) * step
        before, now = now, mix((1 - mu - nu, y), (mu, now), (nu, before), (step, f(now)), (back, start_slope))
    return now


def simulate(who, pieces, rows, events, save_times_s, state, fast, method, step_s):
    """Run from the first piece to the last; return saved (time, state, fast) in order.

    ``events`` are (time, row number, "put_on" | "refill" | "take_off"). Steps are equal between declared jumps and
    save times and never longer than ``step_s``. In a step the air is that of its middle, the metabolic power the mean
    over it.
    """
    start, end = pieces[0]["start_s"], pieces[-1]["end_s"]
    jumps = {p["start_s"] for p in pieces} | {end} | {t for t, _, _ in events} | set(save_times_s)
    stops = sorted(t for t in jumps if start <= t <= end)
    worn, saved = [False] * len(rows), []
    state = mix((1.0, {**state, "rows": [new_row(row, state) for row in rows]}))
    for time_s, following in zip(stops, [*stops[1:], None]):
        for event_s, r, action in events:
            if event_s == time_s:
                happen(action, r, state, rows, worn, who)
        if time_s in save_times_s:
            saved.append((time_s, mix((1.0, state)), dict(fast)))
        if following is None:
            return saved
        piece = next(p for p in pieces if p["end_s"] > time_s)
        steps = math.ceil((following - time_s) / step_s - 1e-9)
        h = (following - time_s) / steps
        for k in range(steps):
            middle = time_s + (k + 0.5) * h
            asked = power_asked(state, piece, rows, worn, middle, who)
            fast, mean_W = move_fast_states(fast, asked, piece, h, who)
            work = external_work(state, piece, rows, worn, who)
            around = [row for row, on in zip(rows, worn) if on and row["place"] == AROUND]
            now = settings_of_step(piece, middle, mean_W, work, who, around)
            state = method(lambda y, now=now: derivative(y, now, rows, worn, who), state, h)
            for r in range(len(rows)):
                spare_in(r, state, rows, worn)


def simulate_paced(who, pieces, rows, events, save_times_s, state, fast, method, step_s, rule, legs, leg_events):
    """Run under a rule; return saved (time, state, fast, mode), the looks (time, heart rate, mode) and the rule's memory.

    As :func:`simulate`, but a step also ends where a leg ends and where a look changes what the runner does. A look at
    the start of a step sees the body as it is; one inside a step sees the thermal parts of its start.
    """
    start, end = pieces[0]["start_s"], pieces[-1]["end_s"]
    jumps = {p["start_s"] for p in pieces} | {end} | {t for t, _, _ in events} | set(save_times_s)
    stops = sorted(t for t in jumps if start <= t <= end)
    worn, saved, looks = [False] * len(rows), [], []
    state = mix((1.0, {**state, "rows": [new_row(row, state) for row in rows]}))
    memory, on = fresh_memory(), SimpleNamespace(leg=-1, ends_s=math.inf, ends_m=math.inf)

    def leg_now():
        return legs[on.leg] if on.leg < len(legs) else None

    def next_leg(time_s):
        on.leg += 1
        on.ends_s = on.ends_m = math.inf
        leg = leg_now()
        if leg and leg["metres"] > 0.0:
            on.ends_m = fast["distance"] + leg["metres"]
        elif leg:
            on.ends_s = time_s + leg["seconds"]
        for number, r, action in leg_events:
            if number == on.leg:
                happen(action, r, state, rows, worn, who)

    def look_if_due(time_s):
        """Inside a step ``state`` is still that of its start, ``fast`` is that of now."""
        if time_s < len(looks) - 1e-6:
            return False
        leg, before, second = leg_now(), does(memory, rule, leg_now()), float(len(looks))
        heart = sum(heart_rate(state, fast, rows, worn, who))
        look(memory, rule, second, heart, core_temperature(state, who), bool(leg and leg["capped"]))
        looks.append((second, heart, does(memory, rule, leg)))
        return looks[-1][2] != before

    for number, (time_s, following) in enumerate(zip(stops, [*stops[1:], None])):
        for event_s, r, action in events:
            if event_s == time_s:
                happen(action, r, state, rows, worn, who)
        if number == 0:
            next_leg(time_s)
        look_if_due(time_s)
        if time_s in save_times_s:
            saved.append((time_s, mix((1.0, state)), dict(fast), does(memory, rule, leg_now())))
        if following is None:
            return saved, looks, memory
        piece = next(p for p in pieces if p["end_s"] > time_s)
        while time_s < following - 1e-6:
            look_if_due(time_s)
            leg = leg_now()
            now_piece = piece_of(memory, rule, leg, piece, legs[-1])
            left = following - time_s
            longest = left / math.ceil(left / step_s - 1e-9)
            taken, joules, leg_done = 0.0, 0.0, False
            while taken < longest - 1e-6:
                # as far as the next look, the end of the step, or the end of the leg
                here, going = time_s + taken, memory.lets != STOP
                seconds = min(len(looks) - here, longest - taken, on.ends_s - here)
                if going and now_piece["speed_m_s"] > 0.0:
                    seconds = min(seconds, (on.ends_m - fast["distance"]) / now_piece["speed_m_s"])
                if longest - taken - seconds < 1e-6:
                    seconds = longest - taken
                asked = power_asked(state, now_piece, rows, worn, here + seconds / 2.0, who)
                fast, mean_W = move_fast_states(fast, asked, now_piece, seconds, who)
                joules, taken = joules + seconds * mean_W, taken + seconds
                leg_done = going and (
                    fast["distance"] >= on.ends_m - 1e-6 or time_s + taken >= on.ends_s - 1e-6
                )
                if leg_done or (taken < longest - 1e-6 and look_if_due(time_s + taken)):
                    break
            middle = time_s + taken / 2.0
            work = external_work(state, now_piece, rows, worn, who)
            around = [row for row, on_now in zip(rows, worn) if on_now and row["place"] == AROUND]
            now = settings_of_step(now_piece, middle, joules / taken, work, who, around)
            state = method(lambda y, now=now: derivative(y, now, rows, worn, who), state, taken)
            time_s += taken
            if leg_done:
                next_leg(time_s)
            for r in range(len(rows)):
                spare_in(r, state, rows, worn)
