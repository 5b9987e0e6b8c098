"""The pace sweep: limits that do not change with weather, and what is published of weather and performance.

Direction and order are published statements (Ely et al. 2007, Med Sci Sports Exerc 39:487): performance falls progressively
as WBGT rises from 10 to 25 °C, and slower runners lose more. They are not tuned to: where the model does not show one of
them, the test fails.
"""

import json
import math
import time

import numpy as np
import pytest
from typer import Typer
from typer.testing import CliRunner

import thermosim as ts
from thermosim.errors import InputError
from thermosim.evidence import weather_pace as pace
from thermosim.physics.air import saturation_pressure, vapour_pressure_of_wet_bulb

NAMES = [one.runner.name for one in pace.RUNNERS]
FROM_10 = [step for step in pace.WBGT_STEPS_C if step >= 10.0]


@pytest.fixture(scope="module")
def swept():
    pace.pace_sweep(pace.RUNNERS[:1], (5.0, 10.0))  # compiled code is loaded outside the timing
    begun = time.process_time()
    rows = pace.pace_sweep()
    return rows, time.process_time() - begun


@pytest.fixture(scope="module")
def rows(swept):
    return swept[0]


@pytest.fixture(scope="module")
def with_band():
    return pace.pace_sweep(pace.RUNNERS[:1], (5.0, 15.0, 25.0), members=6, seed=4)


# --- what is published -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_every_step_from_10_up_is_slower(rows, name):
    mine = [row for row in rows if row["runner"] == name and row["wbgt_C"] >= 10.0]
    slowing = [row["slowing_pct"] for row in mine]
    assert len(slowing) == len(FROM_10) and None not in slowing
    assert all(after > before for before, after in zip(slowing, slowing[1:])), slowing


@pytest.mark.parametrize("wbgt_C", FROM_10)
def test_slower_runners_lose_more(rows, wbgt_C):
    losses = {row["runner"]: row["slowing_pct"] for row in rows if row["wbgt_C"] == wbgt_C}
    assert losses["fast"] < losses["middle"] < losses["slow"], losses


# --- the sweep does what it says -------------------------------------------------------------------------------------


def test_limits_are_the_same_in_every_weather_and_kept(rows):
    for mine in pace.by_runner(rows).values():
        assert len({row["heart_rate_cap_bpm"] for row in mine}) == 1 and {row["core_limit_C"] for row in mine} == {39.5}
        assert max(row["core_peak_C"] for row in mine) <= 39.5
        assert max(row["heart_rate_peak_bpm"] - row["heart_rate_cap_bpm"] for row in mine) <= 0.0
        assert mine[0]["heart_rate_cap_bpm"] <= mine[0]["maximum_heart_rate_bpm"]


@pytest.mark.parametrize("row", range(0, 27, 4))
def test_found_speed_is_the_fastest_within_both_limits(rows, row):
    """A run of its own in the row's own weather: within the limits at the speed found, beyond the one named 0.2 % faster."""
    row = rows[row]
    runner = next(one.runner for one in pace.RUNNERS if one.runner.name == row["runner"])
    weather = ts.Weather.steady(
        air_temperature_C=row["air_temperature_C"], relative_humidity_pct=row["relative_humidity_pct"]
    )

    def peaks(speed):
        effort = ts.Effort.steady(speed_m_s=speed, minutes=pace.MARATHON_M / speed / 60.0, gait="run", air_drag=True)
        run = ts.simulate(runner, effort, weather, core_limit_C=39.5)
        return float(run.core_temperature.max()), float(run.heart_rate.max())

    core, heart = peaks(row["speed_m_s"])
    assert core <= 39.5 + 0.005 and heart <= row["heart_rate_cap_bpm"] + 0.1
    assert core == pytest.approx(row["core_peak_C"], abs=0.005)
    core, heart = peaks(1.002 * row["speed_m_s"])
    over = {pace.CORE: core > 39.5, pace.HEART_RATE: heart > row["heart_rate_cap_bpm"]}
    assert row["limit"] != pace.NEITHER
    assert all(over[name] for name in row["limit"].split(" and ")), (row["limit"], core, heart)


def test_best_weather_gives_the_usual_speed_unless_core_forbids(rows):
    for mine in pace.by_runner(rows).values():
        best = max(mine, key=lambda row: row["speed_m_s"])
        assert best["slowing_pct"] == 0.0
        assert best["speed_m_s"] <= 1.0002 * best["usual_speed_m_s"]
        if pace.CORE not in best["limit"]:
            assert best["speed_m_s"] == pytest.approx(best["usual_speed_m_s"], rel=2e-4)


def test_usual_speed_asks_for_the_usual_share(rows):
    """The share of maximal oxygen uptake, counted again from rest, cost of running and drag."""
    for paced in pace.RUNNERS:
        speed = next(row["usual_speed_m_s"] for row in rows if row["runner"] == paced.runner.name)
        effort = ts.Effort.steady(speed_m_s=speed, minutes=20, gait="run", air_drag=True)
        run = ts.simulate(paced.runner, effort, ts.Weather.steady(air_temperature_C=10, relative_humidity_pct=60))
        power = float(run.metabolic_power[-1])
        maximal = paced.runner.vo2max_mL_kg_min / 60e3 * paced.runner.mass_kg * 20.68e3  # about 20.7 kJ a litre
        assert power / maximal == pytest.approx(paced.share_of_maximal, abs=0.06)


def test_slowing_is_the_change_of_time(rows):
    for mine in pace.by_runner(rows).values():
        quickest = min(row["minutes"] for row in mine)
        for row in mine:
            assert row["slowing_pct"] == pytest.approx(100.0 * (row["minutes"] / quickest - 1.0), abs=1e-9)
            assert row["minutes"] * 60.0 * row["speed_m_s"] == pytest.approx(42_195.0)


def test_looser_core_limit_never_slows():
    tight, loose = (pace.pace_sweep(pace.RUNNERS[:1], (5.0, 25.0), core_limit_C=limit)[-1] for limit in (38.9, 39.5))
    assert tight["limit"] == pace.CORE and tight["speed_m_s"] < loose["speed_m_s"]


def test_whole_sweep_is_quick(swept):
    assert swept[1] < 20.0


def test_same_call_same_rows(with_band):
    assert pace.pace_sweep(pace.RUNNERS[:1], (5.0, 15.0, 25.0), members=6, seed=4) == with_band


def test_band_has_both_ends_in_order(with_band):
    for row in with_band:
        assert 0.0 <= row["slowing_low_pct"] <= row["slowing_high_pct"]
    assert with_band[-1]["slowing_high_pct"] > with_band[-1]["slowing_low_pct"] + 1.0


# --- weather ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("air_C", [3.0, 12.0, 25.0, 38.0])
@pytest.mark.parametrize("humidity_pct", [20.0, 60.0, 95.0])
def test_wet_bulb_inverts_the_psychrometer(air_C, humidity_pct):
    vapour_kPa = humidity_pct / 100.0 * saturation_pressure(air_C)
    wet_C = pace.wet_bulb(air_C, vapour_kPa)
    assert wet_C < air_C
    assert vapour_pressure_of_wet_bulb(air_C, wet_C, 101.325) == pytest.approx(vapour_kPa, abs=1e-9)
    assert pace.estimated_wbgt(air_C, humidity_pct) == pytest.approx(0.7 * wet_C + 0.3 * air_C)
    assert pace.air_of_wbgt(0.7 * wet_C + 0.3 * air_C, humidity_pct) == pytest.approx(air_C, abs=1e-6)


def test_saturated_air_has_its_own_temperature_as_wbgt():
    assert pace.estimated_wbgt(20.0, 100.0) == pytest.approx(20.0, abs=1e-6)


@pytest.mark.parametrize("steps", [(5.0,), (10.0, 5.0), (5.0, 5.0), (5.0, 60.0), (math.nan, 5.0)])
def test_steps_that_are_none_are_refused(steps):
    with pytest.raises(InputError, match=r"wbgt_C is .*; give the steps in order\.$"):
        pace.pace_sweep(pace.RUNNERS[:1], steps)


def test_limit_and_humidity_are_checked_like_any_input():
    with pytest.raises(InputError, match="core_temperature_C"):
        pace.pace_sweep(core_limit_C=41.0)
    with pytest.raises(InputError, match="relative_humidity_pct"):
        pace.pace_sweep(relative_humidity_pct=140.0)


# --- what it says ----------------------------------------------------------------------------------------------------


def made_up(losses):
    """Return rows of runners with these losses at 10, 15 and 20 °C, the first runner the fastest."""
    return [
        {"runner": f"r{k}", "usual_speed_m_s": 5.0 - k, "wbgt_C": step, "slowing_pct": one}
        for k, some in enumerate(losses) for step, one in zip((7.5, 15.0, 22.5), some)
    ]  # fmt: skip


def test_verdicts_follow_the_numbers():
    good = pace.verdicts(made_up([(0.0, 2.0, 4.0), (0.0, 3.0, 9.0)]))
    assert good["direction"].startswith("From 10 °C up every step of WBGT slows every runner")
    assert "holds at 2 of 2" in good["order"] and "loses 4.0 percentage points" in good["size"] and "2.8" in good["size"]
    bad = pace.verdicts(made_up([(0.0, 2.0, 4.0), (0.0, 3.0, 3.0)]))
    assert "not every step" in bad["direction"] and "the r1 runner" in bad["direction"]
    assert "holds at 1 of 2" in bad["order"]
    assert "finds no speed" in pace.verdicts(made_up([(0.0, 2.0, None), (0.0, 3.0, 9.0)]))["size"]


def test_chapter_holds_every_number_and_says_what_is_not_in_it(rows):
    text = pace.weather_chapter(rows)
    assert "Behaviour, drinking and pacing are not in it" in text and "never fitted" in text and "estimated" in text
    assert text.count("(invented)") == len(NAMES)
    for row in rows:
        assert f"{row['slowing_pct']:.1f}" in text
    for group in pace.MEASURED.values():
        for mean, sd in group:
            assert f"{mean:.1f} ± {sd:.1f}" in text
    assert pace.SOURCE in text
    assert pace.verdicts(rows)["direction"] in text and pace.verdicts(rows)["order"] in text


def test_page_shows_lines_and_published_marks(with_band):
    figure = pace.page_of(with_band, 6, 4)
    upper = [ax for ax in figure.axes if any(line.get_gid() == "runner-line" for line in ax.lines)]
    assert len(upper) == 1
    line = next(line for line in upper[0].lines if line.get_gid() == "runner-line")
    np.testing.assert_allclose(line.get_ydata(), [row["slowing_pct"] for row in with_band])
    marks = sorted(float(one.get_ydata()[0]) for one in upper[0].lines if one.get_gid() == "measured")
    assert marks == sorted(mean for group in pace.MEASURED.values() for mean, _ in group)
    words = [text.get_text() for ax in figure.axes for text in ax.texts] + [text.get_text() for text in figure.texts]
    assert any("modelled, not measured" in text for text in words)
    assert any("invented" in text for text in words) and "Not medical advice" in " ".join(words)
    assert f"{with_band[0]['core_limit_C']:g} °C" in figure.thermosim_words["setting"]


def test_page_draws_a_runner_who_finds_no_speed(with_band):
    empty = [
        {**row, **dict.fromkeys(("speed_m_s", "minutes", "slowing_pct", "core_peak_C", "slowing_low_pct", "slowing_high_pct"))}
        for row in with_band
    ]
    figure = pace.page_of(empty, 0, 1)
    assert "finds no speed" in figure.thermosim_words["answer"]


def command(*arguments):
    app = Typer()
    app.command()(pace.sweep)
    return CliRunner().invoke(app, list(arguments))


def test_command_prints_json_and_draws(tmp_path):
    target = tmp_path / "pace.svg"
    said = command("--json", "--members", "0", "--picture", str(target))
    assert said.exit_code == 0, said.output
    found = json.loads(said.stdout)
    assert len(found["rows"]) == len(NAMES) * len(pace.WBGT_STEPS_C) and len(found["measured"]) == 8
    assert found["cautions"][0].startswith("Not medical advice") and {"direction", "order", "size"} <= set(found)
    assert target.read_text(encoding="utf-8").count("<svg") == 1


def test_command_refuses_a_wrong_ending_before_it_runs(tmp_path):
    said = command("--picture", str(tmp_path / "pace.pdf"))
    assert isinstance(said.exception, InputError) and "choose one of these endings" in str(said.exception)
    assert not list(tmp_path.iterdir())
