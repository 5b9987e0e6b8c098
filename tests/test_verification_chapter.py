"""The verification chapter: its numbers lie inside the bounds it states, and measuring anew gives the same verdicts."""

import math
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGE, PICTURE = ROOT / "docs" / "verification.md", ROOT / "docs" / "pictures" / "convergence.png"
SCRIPT = ROOT / "benchmarks" / "verification.py"
HEAD = "| number | measured | bound | verdict |"
TITLES = (
    "Order of convergence", "Accuracy of the step plan as it ships", "Books of energy, water and devices",
    "Limiting cases with an answer on paper", "The basic twin", "Side by side with other libraries", "The stability bound",
)  # fmt: skip
BOUND = re.compile(r"(below|above|at least) (\S+)|(\S+) to (\S+)")


def checks_of(text):
    """Return (section, number, measured, bound, verdict) of every line of the tables with a bound."""
    found = []
    for section in text.split("\n## ")[1:]:
        title = section.partition("\n")[0]
        lines = section.partition(HEAD)[2].partition("\n\n")[0].splitlines()[2:]
        found += [(title, *(cell.strip() for cell in line.strip("|").split("|"))) for line in lines]
    return found


def lies_inside(measured, bound):
    """Judge a measured number by the words of its bound."""
    number = float(measured.split()[0])
    way, edge, low, high = BOUND.match(bound).groups()
    if way is None:
        return float(low) <= number <= float(high)
    return {"below": number < float(edge), "above": number > float(edge), "at least": number >= float(edge)}[way]


@pytest.fixture(scope="module")
def text():
    return PAGE.read_text(encoding="utf-8")


def test_page_says_what_was_measured_when_and_how(text):
    assert [line.partition(". ")[2] for line in re.findall(r"^## (.*)$", text, re.MULTILINE)] == list(TITLES)
    assert re.search(r"Generated on \d{4}-\d\d-\d\d with thermosim \S+, package source `[0-9a-f]{16}`", text)
    assert "python benchmarks/verification.py --write" in text and SCRIPT.is_file()
    for section in text.split("\n## ")[1:]:
        assert all(word in section for word in ("**What.**", "**How.**", HEAD, "**Held by**")), section[:60]


def test_every_number_lies_inside_its_bound(text):
    checks = checks_of(text)
    assert len({title for title, *_ in checks}) == len(TITLES) and len(checks) >= 40
    for title, what, measured, bound, verdict in checks:
        assert (verdict == "pass") == lies_inside(measured, bound), f"{title}, {what}: {measured}, {bound}, called {verdict}"
    missed = [f"{what}: {measured}, bound {bound}" for _, what, measured, bound, verdict in checks if verdict != "pass"]
    assert not missed, missed
    assert "None is missed." in text


@pytest.mark.parametrize(
    ("what", "bound"),
    [
        ("runs", "at least 48"),
        ("core, worst of runs", "below 0.005 K"),
        ("mean skin, worst of runs", "below 0.05 K"),
        ("published cases: energy, worst", "below 1e-06 of throughput"),
        ("random states compared", "at least 1000"),
        ("rates: worst relative difference", "below 1e-09"),
        ("bound over true rate, least", "above 1"),
    ],
)
def test_bounds_are_those_that_are_required(text, what, bound):
    assert [line[3] for line in checks_of(text) if line[1] == what] == [bound]


def test_tests_that_the_page_names_exist(text):
    named = re.findall(r"`(tests/\w+\.py)::(\w+)`", text)
    assert len(named) > 15
    for path, name in named:
        assert re.search(rf"^def {name}\(", (ROOT / path).read_text(encoding="utf-8"), re.MULTILINE), f"{path}::{name}"


def test_picture_is_there(text):
    assert f"({PICTURE.relative_to(PAGE.parent).as_posix()})" in text
    assert PICTURE.read_bytes().startswith(b"\x89PNG")


@pytest.fixture(scope="module")
def script():
    """The script as a module; it needs the libraries of the test extra."""
    pytest.importorskip("CoolProp", reason="the test extra is not installed")
    return pytest.importorskip("verification")


@pytest.mark.parametrize(
    ("measured", "bound", "expected"),
    [(0.9, "below 1", True), (1.0, "below 1", False), (math.nan, "below 1", False), (math.inf, "above 1", True),
     (48, "at least 48", True), (47, "at least 48", False), (2.35, "1.65 to 2.35", True), (1.6, "1.65 to 2.35", False),
     (math.nan, "1 to 2", False)],
)  # fmt: skip
def test_a_number_outside_its_bound_is_missed(script, measured, bound, expected):
    check = script.Check("some number", measured, "K", bound)
    assert script.holds(check) is expected
    section = script.Section("A", "b", "c", ("d",), [], [check], ("tests/test_x.py::test_y",))
    page = script.page([section], "Generated.")
    (line,) = checks_of(page)
    assert (line[-1] == "pass") is expected and ("None is missed." in page) is expected
    assert math.isnan(measured) or lies_inside(*line[2:4]) is expected


def test_one_body_against_its_formula(script):
    """A well-stirred body in drifting wind under the sun follows its exponential; with another time constant it would not."""
    engine, formula = script.lump_of_flesh()
    assert np.ptp(formula) > 2.0
    assert np.abs(engine - formula).max() < 1e-4


def test_every_instant_has_its_formula(script):
    for case, quantity, _, plain, engine in script.cases_of_an_instant():
        assert engine == pytest.approx(plain, rel=1e-9, abs=1e-9), f"{case}: {quantity}"


@pytest.mark.slow
def test_measuring_anew_gives_the_same_verdicts(text):
    paths = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    run = subprocess.run(
        [sys.executable, str(SCRIPT)], cwd=ROOT, env={**os.environ, "PYTHONPATH": paths, "PYTHONIOENCODING": "utf-8"},
        capture_output=True, text=True, encoding="utf-8",
    )  # fmt: skip
    assert run.returncode == 0, run.stderr[-3000:]
    verdicts = [{(title, what): verdict for title, what, _, _, verdict in checks_of(page)} for page in (text, run.stdout)]
    assert verdicts[0] == verdicts[1]
