"""The calibration: its numerics on invented problems with known answers, its file, its table of free parameters."""

import importlib.util
import shutil
import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import thermosim.parameters
from thermosim.evidence.calibrated_file import (
    FILE,
    calibration_text,
    hash_of_cases,
    rounded_values,
    significant,
    write_whole,
)
from thermosim.evidence.free import FREE, LOG, Free, free_parameters
from thermosim.evidence.least_squares import DETERMINED_SHARE, Prior, Problem, Study, describe, minimise
from thermosim.evidence.refit import STEP_LENGTHS, leave_out
from thermosim.parameters import PARAMETERS

# --- an invented linear problem: 3 parameters, 3 studies --------------------------------------------------------------

RNG = np.random.default_rng(11)
SIZES = {"first": 4, "second": 3, "third": 5}
SLOPES = {name: RNG.normal(size=(size, 3)) for name, size in SIZES.items()}
TRUTH = np.array([1.2, -0.4, 2.5])
MEASURED = {name: slopes @ TRUTH + RNG.normal(0.0, 0.2, len(slopes)) for name, slopes in SLOPES.items()}
SIGMA = {name: RNG.uniform(0.1, 0.4, size) for name, size in SIZES.items()}
WIDE = Prior(
    ("a", "b", "c"), np.array([1.0, 0.0, 2.0]), np.array([0.5, 1.0, 2.0]), np.full(3, -9.0), np.full(3, 9.0)
)


def linear(positions):
    return [{name: slopes @ position for name, slopes in SLOPES.items()} for position in positions]


def studies(without=None, blanks=None):
    return [
        Study(name, MEASURED[name], SIGMA[name], *(blanks or {}).get(name, ()))
        for name in SIZES
        if name != without
    ]


def solved(problem, start=None):
    found = minimise(problem, problem.prior.mean if start is None else start, tolerance=1e-12)
    return describe(problem, found)


def closed_form(prior=WIDE, without=None):
    """Position and covariance of the linear problem by the normal equations."""
    kept = [name for name in SIZES if name != without]
    slopes = np.vstack([SLOPES[name] / SIGMA[name][:, None] for name in kept])
    wanted = np.concatenate([MEASURED[name] / SIGMA[name] for name in kept])
    covariance = np.linalg.inv(slopes.T @ slopes + np.diag(prior.sd**-2.0))
    return covariance @ (slopes.T @ wanted + prior.mean / prior.sd**2), covariance


def test_linear_problem_agrees_with_the_normal_equations():
    fit = solved(Problem(WIDE, studies(), linear))
    position, covariance = closed_form()
    error = np.sqrt(np.diag(covariance))
    assert fit.position == pytest.approx(position, abs=1e-8)
    assert fit.covariance == pytest.approx(covariance, rel=1e-6)
    assert fit.standard_error == pytest.approx(error, rel=1e-6)
    assert fit.correlation == pytest.approx(covariance / np.outer(error, error), rel=1e-6)
    assert fit.at_bound == ("no", "no", "no")
    by_hand = {
        name: float((((SLOPES[name] @ position - MEASURED[name]) / SIGMA[name]) ** 2).sum()) for name in SIZES
    }
    assert fit.cost_by_study == pytest.approx(by_hand, rel=1e-6)
    assert fit.cost == pytest.approx(
        sum(by_hand.values()) + (((position - WIDE.mean) / WIDE.sd) ** 2).sum(), rel=1e-6
    )


def test_every_start_ends_at_the_same_place():
    problem = Problem(WIDE, studies(), linear)
    ends = [
        minimise(problem, start, tolerance=1e-12)
        for start in (WIDE.mean, np.full(3, 9.0), np.array([-20.0, 5.0, 0.0]))
    ]
    assert ends[1] == pytest.approx(ends[0], abs=1e-6) and ends[2] == pytest.approx(ends[0], abs=1e-6)


def test_determined_compares_the_error_with_the_prior():
    """A parameter that no outcome feels keeps the error of its prior and is not determined."""
    blind = {name: slopes * np.array([1.0, 1.0, 0.0]) for name, slopes in SLOPES.items()}
    fit = solved(
        Problem(WIDE, studies(), lambda us: [{name: s @ u for name, s in blind.items()} for u in us])
    )
    assert list(fit.determined) == [True, True, False]
    assert fit.standard_error[2] == pytest.approx(WIDE.sd[2]) and fit.position[2] == pytest.approx(
        WIDE.mean[2]
    )
    # One outcome of slope 1 and sigma s: error² = 1 / (1/s² + 1/sd²), so the share 0.7 is passed at s = 0.9802 sd.
    for factor, expected in ((0.97, True), (0.99, False)):
        one = Prior(("a",), np.zeros(1), np.array([2.0]), np.full(1, -9.0), np.full(1, 9.0))
        study = Study("one", np.zeros(1), np.array([factor * 2.0]))
        fit = describe(Problem(one, [study], lambda us: [{"one": u} for u in us]), np.zeros(1))
        assert fit.determined[0] == expected and DETERMINED_SHARE == 0.7


def test_marginalised_blank_is_a_joint_fit_of_the_blank():
    """Integrating a blank out gives the optimum and the errors of fitting it along with its own prior."""
    moved = {
        "first": np.array([[0.5, 0.1], [1.0, -0.2], [-0.3, 0.4], [0.2, 0.3]]),
        "third": np.full((5, 1), 0.7),
    }
    sds = {"first": np.array([0.6, 1.5]), "third": np.array([0.9])}
    fit = solved(Problem(WIDE, studies(blanks={name: (moved[name], sds[name]) for name in moved}), linear))

    def joint(positions):
        out = []
        for position in positions:
            found = {name: slopes @ position[:3] for name, slopes in SLOPES.items()}
            found["first"] = found["first"] + moved["first"] @ position[3:5]
            found["third"] = found["third"] + moved["third"] @ position[5:]
            out.append(found)
        return out

    prior = Prior(
        (*WIDE.names, "x", "y", "z"),
        np.concatenate([WIDE.mean, np.zeros(3)]),
        np.concatenate([WIDE.sd, sds["first"], sds["third"]]),
        np.full(6, -20.0),
        np.full(6, 20.0),
    )
    explicit = solved(Problem(prior, studies(), joint))
    assert fit.position == pytest.approx(explicit.position[:3], abs=1e-7)
    assert fit.standard_error == pytest.approx(explicit.standard_error[:3], rel=1e-6)
    assert fit.cost == pytest.approx(explicit.cost, rel=1e-7)
    plain = closed_form()
    assert np.abs(fit.position - plain[0]).max() > 0.01, (
        "the blanks change nothing, so this test would prove nothing"
    )
    assert (fit.standard_error > np.sqrt(np.diag(plain[1]))).all()


def test_bounds_are_kept_and_flagged():
    optimum, _ = closed_form()
    low, high = np.full(3, -9.0), np.full(3, 9.0)
    high[0], low[2] = optimum[0] - 0.2, optimum[2] + 0.3
    prior = Prior(WIDE.names, np.array([0.5, 0.0, 4.0]), WIDE.sd, low, high)
    asked = []

    def watched(positions):
        asked.extend(positions)
        return linear(positions)

    fit = solved(Problem(prior, studies(), watched))
    assert fit.at_bound == ("high", "no", "low")
    assert fit.position[[0, 2]] == pytest.approx([high[0], low[2]], abs=1e-12)
    assert (np.array(asked) >= low - 1e-12).all() and (np.array(asked) <= high + 1e-12).all()
    # The one that is left free is at the optimum given the other two.
    gradient = fit.jacobian.T @ fit.residual + (fit.position - prior.mean) / prior.sd**2
    assert abs(gradient[1]) < 1e-6 and gradient[0] < 0.0 < gradient[2]


def test_leaving_a_study_out_is_a_refit_from_scratch():
    problem = Problem(WIDE, studies(), linear)
    found = leave_out(problem, solved(problem))
    assert list(found) == list(SIZES)
    for name, position in found.items():
        assert position == pytest.approx(closed_form(without=name)[0], abs=1e-6)


def curved(positions):
    """The same problem, bent: outcomes grow faster than in proportion."""
    return [{name: slopes @ np.sinh(0.5 * u) / 0.5 for name, slopes in SLOPES.items()} for u in positions]


def test_leaving_out_of_a_bent_problem():
    problem = Problem(WIDE, studies(), curved)
    fit = solved(problem)
    before = problem.evaluations
    found = leave_out(problem, fit)
    assert problem.evaluations - before <= 4 * len(STEP_LENGTHS) * len(
        SIZES
    )  # steps x lengths x studies: no further Jacobian
    for name, position in found.items():
        scratch = solved(Problem(WIDE, studies(without=name), curved))
        moved = np.abs(scratch.position - fit.position) / scratch.standard_error
        missed = np.abs(position - scratch.position) / scratch.standard_error
        assert moved.max() > 0.5, "the study changes nothing, so this test would prove nothing"
        assert missed.max() < 3e-4, (
            name
        )  # three times as much and more without the correction of the Jacobian


def test_a_prediction_that_is_no_number_is_named():
    def broken(positions):
        return [
            {name: v if u[1] <= 0.0 else v * np.nan for name, v in found.items()}
            for u, found in zip(positions, linear(positions))
        ]

    problem, whole = Problem(WIDE, studies(), broken), Problem(WIDE, studies(), linear)
    residual = problem.residuals([WIDE.mean])[0]
    exact = whole.jacobian(WIDE.mean, residual)
    for central in (
        False,
        True,
    ):  # b = 0 is the last place with numbers: its slope is taken from the other side
        assert problem.jacobian(WIDE.mean, residual, central=central) == pytest.approx(exact, abs=1e-9)
    with pytest.raises(FloatingPointError, match="first, second, third at the start"):
        minimise(problem, np.array([0.0, 1.0, 0.0]))
    nowhere = Problem(
        WIDE, studies(), lambda us: [{k: v * np.nan for k, v in found.items()} for found in linear(us)]
    )
    with pytest.raises(FloatingPointError, match="beside a = 1"):
        nowhere.jacobian(WIDE.mean, residual)


# --- the free parameters ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("one", FREE, ids=lambda one: one.name)
def test_free_parameter(one):
    entry = PARAMETERS[one.name]
    low, high = one.bounds
    assert entry.low <= low < one.prior < high <= entry.high
    assert 0.0 < one.prior_sd < high - low, "the prior is wider than what was ever published"
    assert len(one.source) > 5
    assert one.from_search(one.to_search(one.prior)) == pytest.approx(one.prior)


def test_free_parameters_are_checked(monkeypatch):
    assert free_parameters() == FREE
    good = FREE[0]
    for wrong, words in (
        ([good, good], "twice"),
        ([good._replace(name="no_such_number")], "not in the parameter table"),
        ([good._replace(high=99.0)], "keep the bounds inside"),
        ([good._replace(prior=good.bounds[1] + 1.0)], "prior outside"),
        ([good._replace(spread=0.0)], "no spread"),
    ):
        monkeypatch.setattr("thermosim.evidence.free.FREE", tuple(wrong))
        with pytest.raises(ValueError, match=words):
            free_parameters()


# --- the file ---------------------------------------------------------------------------------------------------------

THREE = (
    Free("sweat_set_core_C", 36.9, 0.15, "linear", "invented for this test"),
    Free("sweat_gain_L_h_K", 0.6, 1.5, LOG, "invented for this test"),
    Free("rectal_lag_s", 500.0, 150.0, "linear", "invented for this test"),
)


def parameters_beside(folder: Path, text: str | None):
    """Load a copy of the parameter table with (or without) a file of calibrated values beside it."""
    folder.mkdir(exist_ok=True)
    shutil.copy(thermosim.parameters.__file__, folder / "parameters.py")
    if text is not None:
        (folder / "calibrated.toml").write_text(text, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("parameters_of_test", folder / "parameters.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def entry(name="rectal_lag_s", value=512.3, determined="yes"):
    return f'[parameters.{name}]\nvalue = {value}\nstandard_error = 40.0\nprior = 500.0\ndetermined = "{determined}"\n'


def test_table_without_the_file_is_as_written(tmp_path):
    table = parameters_beside(tmp_path, None).PARAMETERS
    assert {p.determined for p in table.values()} == {"not fitted"}
    assert {(p.prior, p.standard_error) for p in table.values()} == {(None, None)}


def test_table_takes_calibrated_values(tmp_path):
    written = parameters_beside(tmp_path / "without", None).PARAMETERS
    module = parameters_beside(tmp_path / "with", entry())
    found = module.PARAMETERS["rectal_lag_s"]
    assert module.value("rectal_lag_s") == 512.3 != written["rectal_lag_s"].value
    assert (found.prior, found.standard_error, found.determined) == (500.0, 40.0, "yes")
    assert found[1:7] == written["rectal_lag_s"][1:7]
    rest = {name: tuple(p) for name, p in module.PARAMETERS.items() if name != "rectal_lag_s"}
    assert rest == {name: tuple(p) for name, p in written.items() if name != "rectal_lag_s"}
    assert list(module.PARAMETERS) == list(written)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (entry(value=299.0), "rectal_lag_s is 299.0 s, allowed is 300.0 to 900.0 s"),
        (entry(value="nan"), "allowed is 300.0 to 900.0 s"),
        (entry(name="rectal_leg_s"), "rectal_leg_s is not a parameter"),
        (entry(determined="perhaps"), "allowed are yes and no"),
    ],
)
def test_table_refuses_a_wrong_file_at_import(tmp_path, text, words):
    with pytest.raises(ValueError, match=words):
        parameters_beside(tmp_path, text)


def three_fit():
    prior = Prior(
        tuple(one.name for one in THREE),
        np.array([one.to_search(one.prior) for one in THREE]),
        np.array([one.search_sd for one in THREE]),
        *np.array([[one.to_search(end) for end in one.bounds] for one in THREE]).T,
    )
    slopes = np.array([[1.0, 0.2, 0.0], [0.5, -1.0, 0.001], [0.0, 0.3, 0.002], [1.0, 1.0, 0.001]])
    measured = slopes @ np.array([36.83, np.log(0.74), 431.0])
    study = Study("invented", measured, np.array([0.05, 0.1, 0.1, 0.1]))
    problem = Problem(prior, [study], lambda us: [{"invented": slopes @ u} for u in us])
    return solved(problem)


def test_round_trip_of_the_file(tmp_path):
    fit = three_fit()
    values = rounded_values(THREE, fit.position)
    without = {"invented (1999)": {name: significant(1.01 * v) for name, v in values.items()}}
    text = calibration_text(
        THREE, fit, values, without, command="a command", seed=7, cases_hash=hash_of_cases(tmp_path)
    )
    path = tmp_path / "calibrated.toml"
    write_whole(path, "the file before")
    write_whole(path, text)
    assert [p.name for p in tmp_path.iterdir()] == [path.name] and path.read_text(encoding="utf-8") == text
    found = tomllib.loads(text)
    for k, one in enumerate(THREE):
        row = found["parameters"][one.name]
        exact = one.from_search(fit.position[k])
        assert row["value"] == pytest.approx(exact, rel=5e-4) and row["value"] == significant(exact)
        relative = row["standard_error"] / (row["value"] if one.scale == LOG else 1.0)
        assert relative == pytest.approx(fit.standard_error[k], rel=5e-3)
        assert (row["prior"], row["prior_sd"]) == (one.prior, pytest.approx(one.prior_sd, rel=1e-3))
        assert row["determined"] == ("yes" if fit.determined[k] else "no") and row["at_bound"] == "no"
    assert found["correlation"]["names"] == [one.name for one in THREE]
    assert np.array(found["correlation"]["rows"]) == pytest.approx(fit.correlation, abs=6e-4)
    assert found["left_out"] == without
    module = parameters_beside(tmp_path / "beside", text)
    assert {name: module.value(name) for name in values} == values


def test_values_are_rounded_inside_their_bounds():
    low, high = THREE[2].bounds
    found = rounded_values(THREE, [37.2999999, np.log(0.3) - 1e-9, high + 1e-6])
    assert found == {"sweat_set_core_C": 37.3, "sweat_gain_L_h_K": 0.3, "rectal_lag_s": high}


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "calibrated.toml"
    write_whole(path, "the file before")

    def full(*_):
        raise OSError("disk full")

    monkeypatch.setattr("thermosim.evidence.calibrated_file.os.replace", full)
    with pytest.raises(OSError, match="disk full"):
        write_whole(path, "new")
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    assert path.read_text(encoding="utf-8") == "the file before"


@pytest.mark.skipif(not FILE.exists(), reason="the parameters have not been calibrated yet")
def test_committed_file_fits_the_table_and_the_free_parameters():
    found = tomllib.loads(FILE.read_text(encoding="utf-8"))
    names = [one.name for one in FREE]
    assert list(found["parameters"]) == names == found["correlation"]["names"]
    for one in FREE:
        row, p = found["parameters"][one.name], PARAMETERS[one.name]
        low, high = one.bounds
        assert (p.value, p.prior, p.standard_error, p.determined) == (
            row["value"], row["prior"], row["standard_error"], row["determined"],
        )  # fmt: skip
        assert low <= p.value <= high and p.prior == one.prior and row["scale"] == one.scale
        assert row["prior_sd"] == pytest.approx(one.prior_sd, rel=1e-3)
        share = (
            (p.standard_error / p.value) / (row["prior_sd"] / p.prior)
            if one.scale == LOG
            else p.standard_error / row["prior_sd"]
        )
        assert share <= 1.01, "an error cannot exceed that of the prior"
        assert abs(share - DETERMINED_SHARE) < 0.01 or (share < DETERMINED_SHARE) == (
            p.determined == "yes"
        ), one.name
    rows = np.array(found["correlation"]["rows"])
    assert rows == pytest.approx(rows.T) and np.diag(rows) == pytest.approx(1.0) and np.abs(rows).max() <= 1.0
    for study, without in found.get("left_out", {}).items():
        assert list(without) == names, study
        assert all(one.bounds[0] <= without[one.name] <= one.bounds[1] for one in FREE), study
    others = [name for name, p in PARAMETERS.items() if name not in names]
    assert {PARAMETERS[name].determined for name in others} == {"not fitted"}


# --- the command, on invented cases --------------------------------------------------------------------------------------


def invented_case(identity, study, role="fitted"):
    def outcome(n, kind="measured", tolerance=0.2, score=True):
        value = toy(
            identity,
            n,
            {"sweat_set_core_C": 36.83, "sweat_gain_L_h_K": 0.74, "rectal_lag_s": 431.0},
            {"air": 0.3},
        )
        measured = SimpleNamespace(value=value, tolerance=tolerance, score=score)
        thing = (None, measured) if kind == "measured" else SimpleNamespace(measured=measured)
        return SimpleNamespace(id=f"{identity}/{n}", kind=kind, object=thing)

    outcomes = [
        outcome(0),
        outcome(1, kind="contrast"),
        outcome(2),
        outcome(3, score=False),
        outcome(4, kind="order", tolerance=0.0),
    ]
    blank = SimpleNamespace(name="air", low=0.1, value=0.3, high=0.9)
    return SimpleNamespace(
        id=identity, study=study, role=role, not_modelled=None, blanks=[blank], outcomes=lambda: outcomes
    )


def toy(identity, n, overrides, blanks):
    lead = 1.0 + 0.3 * (ord(identity[0]) % 5)
    warm = overrides["sweat_set_core_C"] - 36.9
    parts = (
        lead * warm,
        lead * np.log(overrides["sweat_gain_L_h_K"]) + 0.2 * warm,
        overrides["rectal_lag_s"] / 200.0 / lead,
    )
    return parts[n % 3] + 0.3 * (blanks["air"] - 0.3)


def test_command_on_invented_cases(tmp_path, monkeypatch, capsys):
    from thermosim.evidence import calibrate

    cases = [
        invented_case("A", "one"),
        invented_case("B", "one"),
        invented_case("C", "two"),
        invented_case("D", "never", "never_fitted"),
    ]
    seen = []

    def predict_case(case, overrides, blanks):
        seen.append(case.id)
        return {o.id: toy(case.id, int(o.id[-1]), overrides, blanks) for o in case.outcomes()}

    def predict_many(cases, overrides_list):
        return [
            {k: v for case in cases for k, v in predict_case(case, o, {"air": 0.3}).items()}
            for o in overrides_list
        ]

    def blank_sensitivities(cases, overrides):
        slopes = {}
        for case in cases:
            low, high = (predict_case(case, overrides, {"air": end}) for end in (0.1, 0.9))
            slopes[case.id] = {i: {"air": (high[i] - low[i]) / 0.8} for i in low}
        return slopes

    monkeypatch.setattr(calibrate, "read_cases", lambda: cases)
    monkeypatch.setattr(calibrate, "blank_sensitivities", blank_sensitivities)
    monkeypatch.setattr(calibrate, "predict_many", predict_many)
    monkeypatch.setattr(calibrate, "free_parameters", lambda: THREE)
    monkeypatch.setattr(calibrate, "FILE", tmp_path / "calibrated.toml")
    calibrate.calibrate(seed=3, starts=2, left_out=True, write=False)
    assert not list(tmp_path.iterdir()) and "D" not in seen
    calibrate.calibrate(seed=3, starts=2, left_out=True, write=True)
    told = capsys.readouterr().out
    assert "3 parameters, 2 studies, 3 cases, 9 outcomes" in told and "start 2 ends" in told
    found = tomllib.loads((tmp_path / "calibrated.toml").read_text(encoding="utf-8"))
    assert list(found["left_out"]) == ["one", "two"]
    for name, truth in (("sweat_set_core_C", 36.83), ("sweat_gain_L_h_K", 0.74), ("rectal_lag_s", 431.0)):
        row = found["parameters"][name]
        assert abs(row["value"] - truth) < row["standard_error"] < row["prior_sd"], name
    assert found["parameters"]["sweat_gain_L_h_K"]["determined"] == "yes"
    # A blank of range 0.8 (sd 0.2) and slope 0.3 adds 0.06 to every outcome of its case, all together.
    model = calibrate.Cases(cases[:3], THREE)
    block = model.blocks([one.to_search(one.prior) for one in THREE])[0]
    assert block.sensitivities == pytest.approx(np.kron(np.eye(2), np.full((3, 1), 0.3)))
    assert block.blank_sd == pytest.approx([0.2, 0.2]) and block.sigma == pytest.approx(0.1)
