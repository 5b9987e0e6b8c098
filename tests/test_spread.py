"""The spread between people: ensembles against published standard deviations, and where each of ours comes from."""

import dataclasses
import json

import numpy as np
import pytest

from thermosim.errors import InputError
from thermosim.evidence import spread
from thermosim.evidence.read_case import read_cases
from thermosim.evidence.spread import SpreadRow, allowance, draw_group, spread_chapter, spread_rows, summary
from thermosim.evidence.timeline import blanks_of
from thermosim.parameters import PARAMETERS

CASES = {case.id: case for case in read_cases()}


def invented(**more) -> SpreadRow:
    numbers = dict(measured=1.0, published_sd=0.2, n=7, model_mean=0.5, people_sd=0.08, model_sd=0.10, half_width=0.16, lost=0)
    row = dict(id="Z1/one/sweat_loss", case_id="Z1", kind="measured", quantity="sweat_loss", unit="L", scored=True)
    return SpreadRow(**{**row, **numbers, **more})


# --- the rule, by hand -----------------------------------------------------------------------------------------------


def test_small_groups_are_allowed_a_narrower_spread():
    # 95 % points of chi square from printed tables: 12.592 at 6, 3.841 at 1, 76.778 at 58 degrees of freedom
    for n, point in ((7, 12.592), (2, 3.841), (59, 76.778)):
        assert allowance(n) == pytest.approx(np.sqrt((n - 1) / point), rel=1e-4)
    assert allowance(1) == 0.0


def test_water_is_compared_in_per_cent_of_the_mean_and_temperature_is_not():
    water = invented()
    assert water.scale == 2.0 and water.ratio == pytest.approx(1.0)
    needed = 1.645 * 0.2 * np.sqrt(6 / 12.592)  # 0.227: 0.32 after scaling reaches it, 0.16 does not
    assert water.needed == pytest.approx(needed, rel=1e-4) and water.covers and not water.covers_bare
    core = invented(unit="°C", quantity="rectal_temperature")
    assert core.ratio == pytest.approx(0.5) and not core.covers
    assert invented(kind="contrast").scale == 1.0
    assert invented(model_mean=-0.5).scale == 1.0, "a mean of the other sign has no per cent"


def test_summary_keeps_paired_differences_apart():
    rows = [invented(), invented(half_width=0.05), invented(kind="contrast", half_width=9.0), invented(scored=False)]
    found = summary(rows)
    assert (found["measured"]["n"], found["measured"]["covered"]) == (3, 2)
    assert (found["measured, scored"]["n"], found["measured, scored"]["covered"]) == (2, 1)
    assert (found["paired differences"]["n"], found["paired differences"]["covered"]) == (1, 1)
    assert found["measured"]["median_ratio"] == pytest.approx(1.0)
    assert found["measured"]["median_ratio_of_people"] == pytest.approx(0.8)


# --- the drawn people ------------------------------------------------------------------------------------------------


def test_a_group_has_the_spread_it_is_said_to_have():
    subjects = CASES["A8"].variants[0].subjects
    people = draw_group(subjects, 400, 1)
    mass = np.array([person.fields["mass_kg"] for person in people])
    uptake = np.array([person.fields["vo2max_mL_kg_min"] for person in people])
    largest = np.array([person.fields["maximum_heart_rate_bpm"] for person in people])
    # four standard errors: of a mean sd/sqrt(n), of an sd sd/sqrt(2 n)
    for found, mean, sd in ((mass, 78.2, 7.82), (uptake, 60.1, 4.8), (largest, 195.0, 10.0)):
        assert found.mean() == pytest.approx(mean, abs=4 * sd / 20)
        assert found.std(ddof=1) == pytest.approx(sd, rel=4 / np.sqrt(800) + 0.02)
    assert abs(np.corrcoef(mass, uptake)[0, 1]) < 0.2


def test_the_same_seed_gives_the_same_numbers():
    case = dataclasses.replace(CASES["A8"])
    one, two, other = (spread_rows([case], people=20, seed=seed, workers=1) for seed in (3, 3, 4))
    assert one == two
    assert all(first.model_sd != second.model_sd for first, second in zip(one, other, strict=True))


def test_the_numbers_do_not_depend_on_the_number_of_processes():
    assert spread_rows([CASES["A8"]], people=20, workers=1) == spread_rows([CASES["A8"]], people=20, workers=2)


@pytest.mark.parametrize(("name", "acts"), [("A8", False), ("AF3", True)])
def test_economy_enters_only_where_no_power_is_given(name, acts, monkeypatch):
    def sds():
        return np.array([row.people_sd for row in spread_rows([CASES[name]], people=20, workers=1)])

    before = sds()
    monkeypatch.setitem(PARAMETERS, "economy_spread", PARAMETERS["economy_spread"]._replace(sd=0.1))
    assert (np.abs(sds() - before) > 1e-9).all() == acts
    if not acts:
        np.testing.assert_array_equal(sds(), before)


def test_the_residual_error_is_a_constant_on_core_temperature(monkeypatch):
    """At the end of a marathon it adds to the variance of the people; a change from rest, without a stop rule, is left alone."""
    marathon = next(row for row in spread_rows([CASES["AF3"]], people=60) if row.quantity == "rectal_temperature")
    error = PARAMETERS["model_core_error_K"].value
    # the sample correlation of two independent columns of 60 is within 0.4
    extra = marathon.model_sd**2 - marathon.people_sd**2
    assert extra == pytest.approx(error**2, abs=0.4 * error**2 + 0.8 * error * marathon.people_sd)
    for row in spread_rows([CASES["A8"]], people=20, workers=1):
        assert row.model_sd == row.people_sd


def test_a_measured_start_and_a_stop_rule_move_against_the_residual_error():
    case = CASES["A1"]
    variant = spread._filled(case.variants[0], blanks_of(case))
    moved = spread._as_modelled(variant, 0.4)
    assert moved.start.temperature_C == pytest.approx(variant.start.temperature_C - 0.4)
    assert moved.phases[-1].until.above_C == pytest.approx(variant.phases[-1].until.above_C - 0.4)
    assert moved.phases[0] == variant.phases[0]


def test_in_a_race_people_choose_their_effort_over_one_distance():
    case = CASES["AF3"]
    variant = spread._filled(case.variants[0], blanks_of(case))
    person = draw_group(variant.subjects, 5, 1)[2]._replace(share=1.1, drink=1.5)
    own = spread.variant_of(variant, person, race=True)
    pace = 1.1 * person.fields["vo2max_mL_kg_min"] / variant.subjects.vo2max_mL_kg_min
    assert own.phases[0].speed_m_s == pytest.approx(variant.phases[0].speed_m_s * pace)
    assert own.phases[0].speed_m_s * own.phases[0].minutes == pytest.approx(
        variant.phases[0].speed_m_s * variant.phases[0].minutes
    )
    assert own.cooling[0].mass_kg == pytest.approx(1.5 * variant.cooling[0].mass_kg)
    still = spread.variant_of(variant, person, race=False)
    assert still.phases == variant.phases and still.subjects.mass_kg == person.fields["mass_kg"]


def test_the_races_are_cases():
    assert set(spread.RACES) <= set(CASES) and set(spread.NOT_DRAWN) <= set(CASES)


# --- our standard deviations -----------------------------------------------------------------------------------------


def test_every_sd_says_where_it_comes_from():
    without = [name for name, p in PARAMETERS.items() if p.sd > 0.0 and "SD" not in p.source]
    assert not without, without


def test_every_sd_fits_inside_the_range_of_its_parameter():
    wide = [name for name, p in PARAMETERS.items() if p.sd > 0.0 and 2.0 * p.sd > p.high - p.low]
    assert not wide, wide


def test_largest_heart_rate_differs_by_ten_beats():
    assert PARAMETERS["maximum_heart_rate_intercept_bpm"].sd == 10.0
    assert 0.04 <= PARAMETERS["economy_spread"].sd <= 0.05


# --- against what is published ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def rows():
    return spread_rows()


@pytest.mark.slow
def test_every_published_spread_has_a_row(rows):
    asked = {
        one.id
        for case in CASES.values()
        if not case.not_modelled
        for one in case.outcomes()
        if one.kind in ("measured", "contrast") and one.measured.sd is not None
    }
    assert {row.id for row in rows} == asked and len(rows) == len(asked)


@pytest.mark.slow
def test_published_spreads_are_covered(rows):
    found = summary(rows)["measured"]
    assert found["covered_share"] >= 0.8, [row.id for row in rows if row.counts and not row.covers]


@pytest.mark.slow
def test_the_ensemble_is_neither_far_narrower_nor_far_wider_than_people(rows):
    assert 0.8 <= summary(rows)["measured"]["median_ratio"] <= 2.0


@pytest.mark.slow
def test_every_narrower_band_has_its_reason(rows):
    assert {row.case_id for row in rows if not row.covers} <= set(spread.NOT_DRAWN)


@pytest.mark.slow
def test_nearly_all_drawn_people_run_to_the_end(rows):
    assert max(row.lost for row in rows) <= 0.1 * spread.PEOPLE


# --- telling ---------------------------------------------------------------------------------------------------------


def test_chapter_has_every_row_and_every_sd():
    rows = [
        invented(),
        invented(id="Z2/cold bath/rectal_temperature rate", case_id="Z2", half_width=0.01),
        invented(id="Z3/a minus b/sweat_loss", case_id="Z3", kind="contrast"),
    ]
    text = spread_chapter(rows)
    for row in rows:
        assert f"| {row.id} |" in text
    assert "1 of 2 published spreads are covered" in text
    assert "- Z2: no reason known yet." in text and "- Z1:" not in text
    for name, p in PARAMETERS.items():
        assert (f"| {name} | {p.unit} | {p.sd:g} |" in text) == (p.sd > 0.0)


def test_command_prints_one_json_object(monkeypatch, capsys):
    monkeypatch.setattr(spread, "spread_rows", lambda people, seed: [invented()])
    spread.spread(seed=2, people=20, json_=True)
    found = json.loads(capsys.readouterr().out)
    assert found["seed"] == 2 and found["rows"][0]["covers"] is True and found["rows"][0]["ratio"] == pytest.approx(1.0)
    spread.spread(seed=2, people=20, json_=False)
    assert "1 of 1 covered" in capsys.readouterr().out


def test_a_group_that_cannot_be_is_refused():
    subjects = CASES["A8"].variants[0].subjects
    with pytest.raises(InputError, match="body mass index"):
        spread.group_of(dataclasses.replace(subjects, mass_kg=150.0, height_m=1.5))
