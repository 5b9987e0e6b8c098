"""Before a run: where steps must end, how long they may be, how many stages they need."""

import numpy as np

from thermosim.constants import LEWIS_RELATION, SPECIFIC_HEAT_WATER, STANDARD_PRESSURE_KPA
from thermosim.engine import nodes as n
from thermosim.engine.methods import RKC2, chebyshev_coefficients, stability_limit
from thermosim.engine.records import AROUND, BATH, IN_STOMACH, ON_SKIN
from thermosim.errors import NumericalFailure
from thermosim.physics.air import saturation_pressure
from thermosim.physics.convection import forced_convection, limb_swing_convection
from thermosim.physiology.energetics import gait_of, net_cost

# Chosen by measurement (benchmarks/step_methods.py): the stabilised method at 12 s, with as many stages as the
# quickest node of the runner and the devices needs, and short steps after a jump.
METHOD, STEP_S, FIRST_STEP_S = RKC2, 12.0, 3.0
FEWEST_STAGES, MOST_STAGES = 3, 6
BATH_STEP_S = 10.0  # with a bath: skin in water turns the controllers faster than air ever does (tests measure it)
STEEPEST_SKIN_FLOW_K = (
    6.0  # largest core-skin difference that a rising skin flow works on, for the bound below
)
ROWS_KG = 1.0  # what a worn device may weigh, for the bound below
HOTTEST_SKIN_C = 36.0  # skin at which evaporation is taken for the bound below
SAFETY_OF_BOUND = 1.15
TABLES = np.zeros((MOST_STAGES + 1, MOST_STAGES, 4))
for _stages in range(2, MOST_STAGES + 1):
    TABLES[_stages, :_stages] = chebyshev_coefficients(_stages)


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

    Sum of a node's conductances over its heat capacity, with a margin for the coupling to its neighbours.
    Evaporation counts at full wettedness near 36 °C; the blood pool, the quickest node, also sees skin flow rise
    with its own temperature. Checked against eigenvalues of the Jacobian in the tests. ``rows`` is (runs, n_rows).
    """
    wind = np.maximum(pieces["wind_m_s_0"], pieces["wind_m_s_1"]) * runners["air_speed_factor"].max()
    fastest = max(float((pieces["ground_air"] * pieces["speed_m_s"] + wind).max()), float(pieces["fan_m_s"].max()), 0.5)
    if rows.size:
        fastest = max(fastest, float(rows["air_speed_m_s"].max() * runners["air_speed_factor"].max()))
    h_c = max(forced_convection(fastest), limb_swing_convection(float(pieces["swing_m_s"].max())))
    # [1] evaporation over convection per kelvin of wet skin, at the steepest saturation pressure looked for
    steepest_kPa_K = saturation_pressure(HOTTEST_SKIN_C + 0.5) - saturation_pressure(HOTTEST_SKIN_C - 0.5)
    lewis_slope = LEWIS_RELATION * steepest_kPa_K * STANDARD_PRESSURE_KPA / float(pieces["pressure_kPa"].min())
    weight = np.maximum(runners["convection_weight"], runners["swing_weight"])
    blood = runners["heat_capacity_of_blood_J_L"][:, None] / 60.0
    skin_blood = blood * (
        runners["skin_flow_ceiling_rest_L_min"][:, None] * runners["skin_flow_share"]
        + runners["shunt_flow_ceiling_L_min"][:, None] * runners["shunt_share"]
    )
    skin_air = (h_c * weight * (1.0 + lewis_slope) + 6.0) * runners["area_m2"]
    capacity = runners["capacity_J_K"]
    skin = (skin_air + runners["conductance_fat_skin"] + skin_blood) / capacity[:, n.SKIN : n.BLOOD]
    moved_kg = runners["mass_kg"] + pieces["carried_kg"].max() + ROWS_KG * rows.shape[1]
    asked_W = (
        hardest_effort_W_kg(pieces, runners[0])
        * moved_kg
        * runners["economy"]
        * (1.0 + runners["slow_component_gain"])
    )
    given_W = float(pieces["power_W"].max())
    asked_W = np.minimum(np.maximum(asked_W, given_W), runners["maximal_W"])
    working = runners["muscle_flow_gain_L_per_L_oxygen"] * asked_W / runners["oxygen_J_L"] * 60.0
    flows = (
        runners["muscle_flow_rest_L_min"]
        + working
        + runners["core_flow_L_min"].sum(axis=1)
        + runners["fat_flow_L_min"].sum(axis=1)
        + np.maximum(runners["skin_flow_ceiling_exercise_L_min"], 3.0)
        + STEEPEST_SKIN_FLOW_K
        * (runners["skin_flow_gain_L_min_K"] + runners["shunt_flow_ceiling_L_min"] / runners["shunt_flow_span_K"])
        + runners["shunt_flow_ceiling_L_min"]
    )
    fat = (runners["conductance_muscle_fat"] + runners["conductance_fat_skin"]) / capacity[:, n.FAT : n.SKIN]
    found = [0.8 * skin.max(axis=1), 1.1 * fat.max(axis=1), blood[:, 0] * flows / capacity[:, n.BLOOD]]
    everyone = np.arange(runners.size)
    for k in range(rows.shape[1]):
        row = rows[:, k]
        s = row["segment"]
        if row["place"][0] != ON_SKIN:
            found.append(rates_of_water(row, runners, skin, skin_blood, everyone))
            continue
        per_area = (runners["conductance_fat_skin"][everyone, s] + skin_blood[everyone, s]) / runners[
            "area_m2"
        ][everyone, s]
        skin_capacity = capacity[everyone, n.SKIN + s] / runners["area_m2"][everyone, s]
        found.append(1.5 * (row["contact_W_m2K"] + per_area) / skin_capacity)
        outer = row["outer_conductance_W_m2K"] + h_c * weight[everyone, s] * (1.0 + 0.5 * lewis_slope) + 6.0
        found.append(1.5 * row["outer_area_m2"] * outer / row["outer_J_K"])
        drained = row["dry_J_K"] + row["liquid_J_kgK"] * np.minimum(
            row["hold_kg"], 0.2 * row["charge_kg"]
        ) * (1 - row["wicks"])
        found.append(
            (row["contact_W_m2K"] * row["area_m2"] + row["outer_conductance_W_m2K"] * row["outer_area_m2"])
            / drained
        )
    return SAFETY_OF_BOUND * np.max(found, axis=0)


def rates_of_water(row, runners, skin, skin_blood, everyone) -> np.ndarray:
    """Bound on the quickest rate [1/s] that a drink, poured water or a bath brings, for each runner."""
    s, place = row["segment"], row["place"][0]
    if place == AROUND:
        return np.zeros(runners.size)
    if place == BATH:
        area, capacity = runners["area_m2"][everyone, s], runners["capacity_J_K"][everyone, n.SKIN + s]
        to_skin = row["contact_W_m2K"] * area + runners["conductance_fat_skin"][everyone, s]
        return 1.1 * (to_skin + skin_blood[everyone, s]) / capacity
    if place == IN_STOMACH:
        contact = row["contact_W_m2K"] * row["area_m2"]
        drink = contact / (row["half_contact_kg"] * row["liquid_J_kgK"]) + 1.0 / row["drip_s"]
        beside = runners["gut_flow_L_min"] * runners["heat_capacity_of_blood_J_L"] / 60.0
        gut = (contact + beside + runners["gut_conductance_W_K"]) / runners["capacity_J_K"][:, n.GUT]
        return np.maximum(drink, gut)
    warmed = row["drip_on_skin"] + (1.0 - row["drip_on_skin"]) * row["run_off_warming"]
    flow_W_K = warmed * row["charge_kg"] / row["drip_s"] * SPECIFIC_HEAT_WATER  # of a whole charge, as it lands
    poured_on = flow_W_K / runners["capacity_J_K"][everyone, n.SKIN + s] + skin[everyone, s]
    return np.maximum(1.0 / row["drip_s"], poured_on)


def hardest_effort_W_kg(pieces, runner) -> float:
    """Largest metabolic power of moving over all pieces, net of rest [W per kg moved]; drag adds a tenth."""
    hardest = 0.0
    for piece in np.unique(pieces[["speed_m_s", "grade", "surface", "gait", "cost_relation", "air_drag"]]):
        speed, grade, surface, asked_gait, relation, drag = piece.item()
        gait = gait_of(speed, asked_gait, runner["walk_run_switch_m_s"])
        if gait:
            cost = net_cost(gait, relation, speed, grade, runner["oxygen_J_L"])
            hardest = max(hardest, cost * speed * surface * (1.1 if drag else 1.0))
    return hardest


def plan_steps(
    runners, pieces, rows, method: int, stages: int | None, wanted_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return stages and longest step [s] of each runner, 20 % away from the method's stability limit.

    With ``stages`` None the fewest that reach the wanted step are taken; where even the most do not, steps shrink.

    Raises
    ------
    NumericalFailure
        When even a tenth of a second would not do: an input makes a node far too quick.
    """
    rates = stiffest_rates(runners, pieces, rows)
    if stages is None and (rows["place"] == BATH).any():
        wanted_s = min(wanted_s, BATH_STEP_S)
    choices = [stages] if stages else range(FEWEST_STAGES, MOST_STAGES + 1)
    limits = np.array([0.8 * stability_limit(method, s) for s in choices])
    enough = limits[None, :] >= wanted_s * rates[:, None]
    chosen = np.where(enough.any(axis=1), enough.argmax(axis=1), len(limits) - 1)
    steps = np.minimum(wanted_s, limits[chosen] / rates)
    if steps.min() < 0.1:
        raise NumericalFailure(
            f"The quickest node of this runner or device settles within {1.0 / rates.max():.3f} s, too fast for steps of 0.1 s. "
            "Give the device more heat capacity or less contact conductance."
        )
    return np.array(choices)[chosen], steps
