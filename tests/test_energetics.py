"""What moving costs: published fits, worked values of standards, and oxygen uptake measured on a treadmill."""

import csv
import math
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermosim.parameters import value
from thermosim.physiology import energetics as e
from thermosim.physiology.body import surface_area_du_bois

OXYGEN = e.energy_equivalent_of_oxygen(0.90)

# Minetti et al. 2002, J Appl Physiol 93:1039: measured means and the published fit, by grade (evidence, table D).
GRADES = (-0.45, -0.40, -0.35, -0.30, -0.20, -0.10, 0.0, 0.10, 0.20, 0.30, 0.35, 0.40, 0.45)
RUN_MEASURED = (3.92, 3.49, 2.81, 2.43, 1.73, 1.93, 3.40, 5.77, 8.92, 12.52, 14.43, 16.83, 18.93)
RUN_FIT = (4.03, 3.61, 3.03, 2.46, 1.80, 2.15, 3.60, 5.97, 9.01, 12.58, 14.60, 16.85, 19.43)
WALK_MEASURED = (3.46, 3.23, 2.65, 2.18, 1.30, 0.81, 1.64, 4.68, 8.07, 11.29, 12.72, 14.75, 17.33)
WALK_FIT = (3.61, 3.50, 2.94, 2.21, 1.09, 1.13, 2.50, 4.90, 7.88, 11.18, 13.02, 15.10, 17.60)
SPREAD = {
    "running": {-0.45: 0.81, -0.20: 0.36, 0.0: 0.24, 0.45: 1.74},
    "walking": {-0.45: 0.95, -0.10: 0.37, 0.0: 0.50, 0.45: 1.11},
}
KNOWN_MISSES = [("walking", 0.0)]  # the published walking fit is not for level ground


@pytest.mark.parametrize(
    ("law", "row"), [(e.running_cost_minetti, RUN_FIT), (e.walking_cost_minetti, WALK_FIT)]
)
def test_fit_gives_its_published_values(law, row):
    for grade, printed in zip(GRADES, row):
        assert law(grade) == pytest.approx(printed, abs=0.0051), grade


def test_fit_against_every_measured_row():
    """Within 25 % or one standard deviation; what misses is known and no more."""
    misses = []
    for gait, law, row in (
        ("running", e.running_cost_minetti, RUN_MEASURED),
        ("walking", e.walking_cost_minetti, WALK_MEASURED),
    ):
        for grade, measured in zip(GRADES, row):
            error = abs(law(grade) - measured)
            if error > 0.25 * measured and error > SPREAD[gait].get(grade, 0.0):
                misses.append((gait, grade))
                print(f"{gait} at {grade:+.0%}: fit {law(grade):.2f}, measured {measured:.2f} J/kg/m")
    assert misses == KNOWN_MISSES


def test_walking_on_the_level_does_not_use_the_fit_that_misses():
    """Measured 1.64 ± 0.50 J/kg/m at 1.0 m/s (Minetti 2002)."""
    assert e.walking_cost(1.0, 0.0) == pytest.approx(1.64, abs=0.50)


@pytest.mark.parametrize(
    ("metres_a_minute", "grade", "expected"), [(80.0, 0.0, 11.5), (93.8, 0.05, 21.3), (80.4, 0.10, 26.0)]
)
def test_acsm_walking(metres_a_minute, grade, expected):
    """Worked values of evidence D2."""
    assert e.oxygen_uptake_acsm_walking(metres_a_minute / 60.0, grade) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    ("metres_a_minute", "grade", "expected"),
    [(160.8, 0.0, 35.7), (200.0, 0.0, 43.5), (200.0, 0.05, 52.5), (268.2, 0.0, 57.1)],
)
def test_acsm_running(metres_a_minute, grade, expected):
    """Worked values of evidence D2."""
    assert e.oxygen_uptake_acsm_running(metres_a_minute / 60.0, grade) == pytest.approx(expected, abs=0.05)


def test_net_cost_of_acsm_gives_its_gross_uptake_back():
    power = e.moving_power(70.0, 0.0, e.RUN, e.ACSM, 200.0 / 60.0, 0.05, 1.0, 1.0, OXYGEN)
    net_mL_kg_min = power / 70.0 / OXYGEN * 60.0 * 1000.0
    assert net_mL_kg_min + 3.5 == pytest.approx(52.5, abs=0.01)


def test_pandolf():
    """Worked values of evidence D7: 70 kg, 1.34 m/s, level and 10 %."""
    assert e.walking_power_pandolf(70.0, 0.0, 1.34, 0.0, 1.0) == pytest.approx(293.5, abs=0.05)
    assert e.walking_power_pandolf(70.0, 0.0, 1.34, 0.10, 1.0) == pytest.approx(621.8, abs=0.05)


@pytest.mark.parametrize("speed", [0.5, 0.9, 1.34, 1.8, 2.2])
def test_walking_cost_has_no_jump(speed):
    """Nowhere along a grid of 0.01 % grade does the cost change by as much as 1 %."""
    cost = np.array([e.walking_cost(speed, grade) for grade in np.arange(-0.12, 0.12, 1e-4)])
    assert np.all(cost > 0.0)
    assert np.abs(np.diff(cost) / cost[:-1]).max() < 0.01


@pytest.mark.parametrize("grade", [-0.05, 0.05, 0.08])
def test_walking_cost_meets_at_its_joints(grade):
    below, above = (e.walking_cost(1.4, grade + side * 1e-9) for side in (-1, 1))
    assert below == pytest.approx(above, rel=1e-6)


def test_energy_equivalent_of_oxygen():
    """ISO 8996: RQ 0.85 gives about 5.68 W·h/L = 20.4 kJ/L; RQ 1 gives 5.88 W·h."""
    assert e.energy_equivalent_of_oxygen(0.85) / 1000.0 == pytest.approx(20.4, abs=0.05)
    assert e.energy_equivalent_of_oxygen(1.0) / 3600.0 == pytest.approx(5.88)


@pytest.mark.parametrize(("km_h", "net_W", "acsm_W"), [(13.0, 910.0, 1140.0), (16.0, 1120.0, 1390.0)])
def test_level_running_by_both_published_relations(km_h, net_W, acsm_W):
    """Evidence D5, 70 kg: 3.6 J/kg/m net, and ACSM gross; they differ by 20 to 25 %."""
    speed = km_h / 3.6
    minetti = e.moving_power(70.0, 0.0, e.RUN, e.MINETTI, speed, 0.0, 1.0, 1.0, OXYGEN)
    acsm = e.oxygen_uptake_acsm_running(speed, 0.0) * 70.0 / 1000.0 * OXYGEN / 60.0
    assert minetti == pytest.approx(net_W, rel=0.005)
    assert acsm == pytest.approx(acsm_W, rel=0.015)
    assert 1.20 <= acsm / minetti <= 1.26


def test_drag_at_six_metres_a_second():
    """Pugh 1970: about 8 % of the cost at 6 m/s, growing with the cube of speed; nothing from a wind that pushes."""
    surface = surface_area_du_bois(70.0, 1.75)
    gross = 1.2 * 70.0 + e.moving_power(70.0, 0.0, e.RUN, e.MINETTI, 6.0, 0.0, 1.0, 1.0, OXYGEN)
    drag = e.drag_power(6.0, 6.0, surface, OXYGEN)
    assert drag / gross == pytest.approx(0.08, abs=0.01)
    assert e.drag_power(3.0, 3.0, surface, OXYGEN) == pytest.approx(drag / 8.0)
    assert e.drag_power(3.0, -1.0, surface, OXYGEN) == 0.0


def test_carried_mass_costs_as_body_mass():
    """2 kg at 3.333 m/s: 2 x 3.6 x 3.333 = 24 W."""
    without, loaded = (
        e.moving_power(65.0, kg, e.RUN, e.MINETTI, 10.0 / 3.0, 0.0, 1.0, 1.0, OXYGEN) for kg in (0.0, 2.0)
    )
    assert loaded - without == pytest.approx(24.0, abs=0.01)


def test_external_work():
    """65 kg at 3.333 m/s: -211 W at -10 % (potential energy that braking turns to heat), nothing on the level."""
    work = e.external_work(65.0, 0.0, 10.0 / 3.0, -0.10)
    assert work == pytest.approx(-65.0 * 9.81 * 10.0 / 3.0 * math.sin(math.atan(0.10)), rel=1e-9)
    assert work == pytest.approx(-211.5, abs=0.1)
    assert e.external_work(65.0, 0.0, 3.0, 0.0) == 0.0


def test_steep_efficiency_nears_that_of_muscle():
    """Evidence D8: climbing work over net cost nears 0.25 above +15 %; lowering work over cost nears -1.2."""
    up = 9.81 * math.sin(math.atan(0.45)) / e.running_cost_minetti(0.45)
    down = -9.81 * math.sin(math.atan(0.45)) / e.running_cost_minetti(-0.45)
    assert 0.18 < up < 0.26
    assert -1.25 < down < -0.9


def test_gait():
    """Walk–run switch near 2.0 m/s, a Froude number of about 0.5 for a leg of 0.85 m."""
    switch = value("walk_run_switch_m_s")
    assert switch**2 / (9.81 * 0.85) == pytest.approx(0.5, abs=0.05)
    gaits = [e.gait_of(speed, -1, switch) for speed in (0.0, 1.5, 3.0)]
    assert gaits == [e.STAND, e.WALK, e.RUN]
    assert e.gait_of(3.0, e.WALK, switch) == e.WALK


@given(st.floats(0.0, 3000.0), st.floats(0.0, 3000.0), st.floats(1.0, 600.0), st.floats(5.0, 600.0))
def test_approach_is_the_exponential_and_its_mean(start, target, seconds, constant):
    halfway = e.approach(start, target, 0.5 * seconds, constant)
    assert e.approach(halfway, target, 0.5 * seconds, constant) == pytest.approx(
        e.approach(start, target, seconds, constant), abs=1e-6)  # fmt: skip
    mean = e.mean_of_approach(start, target, seconds, constant)
    end = e.approach(start, target, seconds, constant)
    assert target * seconds - mean * seconds == pytest.approx((end - start) * constant, abs=1e-3)


# --- oxygen uptake measured on a treadmill: S. Nolte, R. Rein, O. J. Quittmann 2023, CC BY 4.0 ------------------------
FOLDER = Path(__file__).resolve().parents[1] / ".." / "shared" / "data" / "treadmill-ramp-vo2"
SPEED_KM_H, GRADE = 10.1, 0.01  # 2.8 m/s, the first speed


def breaths(path):
    """Return time [s], oxygen uptake [L/min] and speed [km/h] of a breath-by-breath file."""
    names, scales, rows, section = [], [], [], ""
    for line in path.read_text(encoding="latin-1").splitlines():
        if line.startswith("["):
            section = line.strip()
        elif section == "[parameter]" and line.startswith("P="):
            _, scale, name = line[2:].split(",", 2)
            names.append(name.strip())
            scales.append(float(scale))
        elif section == "[Data]" and line.startswith("B") and "=" in line:
            rows.append([float(cell) for cell in line.split("=", 1)[1].split(",")[1 : len(names) + 1]])
    data = np.array(rows) / np.array(scales[: len(rows[0])])
    return tuple(data[:, names.index(name)] for name in ("Zeit", "VO2", "Geschw."))


def measured_power_W_kg(path, mass_kg):
    """Return metabolic power [W/kg] 70 to 120 s after the start of running."""
    time, uptake, speed = breaths(path)
    start = time[np.argmax(speed > 0.9 * SPEED_KM_H)]
    window = (time >= start + 70.0) & (time <= start + 120.0) & (np.abs(speed - SPEED_KM_H) < 0.3)
    assert window.sum() >= 10, path.name
    return float(np.mean(uptake[window])) * OXYGEN / 60.0 / mass_kg


@pytest.mark.skipif(
    not FOLDER.exists() and not os.environ.get("CI"), reason="measured treadmill oxygen uptake is not here"
)
def test_predicted_power_against_measured_oxygen_uptake():
    with open(FOLDER / "participants.csv", newline="", encoding="utf-8") as file:
        masses = {int(row["p"]): float(row["bodymass"]) for row in csv.DictReader(file)}
    paths = sorted((FOLDER / "ramptests").iterdir())
    assert len(paths) == 23
    cost = e.running_cost_minetti(GRADE)
    predicted = cost * SPEED_KM_H / 3.6 + value("resting_power_W_kg")
    ratios = np.array([predicted / measured_power_W_kg(path, masses[int(path.stem)]) for path in paths])
    spread = ratios.std(ddof=1) / ratios.mean()
    print(f"predicted over measured, {ratios.size} tests: mean {ratios.mean():.3f}, SD/mean {spread:.3f}, "
          f"{ratios.min():.2f} to {ratios.max():.2f}")  # fmt: skip
    assert 0.85 <= ratios.mean() <= 1.25
    assert spread < 0.15
