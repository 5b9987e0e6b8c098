"""``thermosim evidence`` over real runs: keys, a user's own folder, refusals, files, what lies outside published ranges."""

import csv
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from thermosim.cli import main as entry

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "cases.md").read_text(encoding="utf-8")
EXAMPLE, NOT_MODELLED = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
CASE_KEYS = (
    "id source status quantity unit measured measured_kind sd predicted predicted_low predicted_high error inside role".split()
)
FIGURES = {"n", "rmse", "bias", "inside_share", "inputs_known"}
ROLES = {"fitted", "left_out", "never_fitted"}
KEYS = {"cases", "pooled", "misses", "not_modelled", "extrapolated", "cautions"}

TREADMILL = """
id = "{id}"
title = "Treadmill in a wind (invented)"
role = "never_fitted"
[source]
citation = "Invented; no such study exists"
status = "from memory"
[subjects]
n = 6
mass_kg = 62
height_m = 1.7
sex = "female"
clothing = "light_kit"
[[variant]]
name = "fan"
[[variant.phase]]
activity = "cycle"
heat_production_W = 480
minutes = 15
air_temperature_C = 28
relative_humidity_pct = 40
air_speed_m_s = {air_speed}
[[variant.measured]]
quantity = "rectal_temperature"
read = "change"
value = 0.4
unit = "K"
tolerance = 0.3
why = "invented"
"""


@pytest.fixture
def call(capsys):
    def run(*arguments):
        code = entry.run(["evidence", *map(str, arguments)])
        said = capsys.readouterr()
        assert "Traceback" not in said.err and not re.search(r"\bsafe", said.out + said.err, re.IGNORECASE)
        return code, said.out, said.err

    return run


@pytest.fixture
def folder(tmp_path):
    """A user's folder with the two files of the page."""
    found = tmp_path / "my cases"
    found.mkdir()
    (found / "a.case.toml").write_text(EXAMPLE, encoding="utf-8")
    (found / "b.case.toml").write_text(NOT_MODELLED, encoding="utf-8")
    return found


def blowing(tmp_path, *air_speeds) -> Path:
    found = tmp_path / "wind"
    found.mkdir()
    for k, air_speed in enumerate(air_speeds, start=1):
        (found / f"{k}.case.toml").write_text(TREADMILL.format(id=f"W{k}", air_speed=air_speed), encoding="utf-8")
    return found


def check_object(found) -> None:
    assert set(found) == KEYS
    for case in found["cases"]:
        assert list(case) == CASE_KEYS and case["role"] in ROLES and case["inside"] in (True, False, None)
        if case["predicted"] is not None:
            assert case["error"] == pytest.approx(case["predicted"] - case["measured"])
            ends = case["predicted_low"], case["predicted_high"]
            if None in ends:  # somewhere over the blanks a run could not be finished
                assert ends == (None, None) and case["inside"] is not True
            else:
                assert ends[0] <= case["predicted"] <= ends[1]
    for roles in found["pooled"].values():
        assert set(roles) <= ROLES and all(set(figures) == FIGURES for figures in roles.values())
    outside = {case["id"] for case in found["cases"] if case["inside"] is False}
    assert set(found["misses"]) == outside and len(found["misses"]) == len(outside)
    assert all(set(one) == {"id", "source", "reason"} for one in found["not_modelled"])
    assert all(said and all(line.endswith(".") for line in said) for said in found["extrapolated"].values())
    assert any("Not medical advice" in line for line in found["cautions"])


# --- the package's cases -----------------------------------------------------------------------------------------------


def test_one_published_case_as_json(call):
    code, out, err = call("--case", "A8", "--json")
    found = json.loads(out)
    assert code == 0 and out.count("\n") == 1 and "Not medical advice" in err
    check_object(found)
    assert {case["id"].partition("/")[0] for case in found["cases"]} == {"A8"}
    rise = next(c for c in found["cases"] if c["quantity"] == "rectal_temperature" and c["measured"] == 0.87)
    assert (rise["unit"], rise["status"]) == ("K", "confirmed") and rise["source"].startswith("Jay et al. 2011")
    assert "core" in found["pooled"] and found["not_modelled"] == []


def test_case_is_found_in_any_spelling_and_may_be_given_again(call):
    once = json.loads(call("--case", "e3", "--case", "E5", "--json")[1])
    assert {case["id"].partition("/")[0] for case in once["cases"]} == {"E3", "E5"}


@pytest.mark.slow
def test_the_whole_evidence_comes_within_a_minute():
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"}
    command = [sys.executable, "-m", "thermosim.cli", "evidence"]
    options = {"capture_output": True, "text": True, "encoding": "utf-8", "env": environment, "timeout": 300}
    subprocess.run([*command, "--case", "A8", "--json"], check=True, **options)  # compiles
    begin = time.perf_counter()
    done = subprocess.run([*command, "--json"], **options)
    assert time.perf_counter() - begin < 60.0
    assert done.returncode == 0 and done.stdout.count("\n") == 1
    found = json.loads(done.stdout)
    check_object(found)
    assert len(found["cases"]) > 150 and len(found["not_modelled"]) > 20
    assert {role for roles in found["pooled"].values() for role in roles} >= {"fitted", "never_fitted"}


# --- a user's folder ---------------------------------------------------------------------------------------------------


def test_the_example_of_the_page_runs(call, folder):
    code, out, _ = call("--cases", folder, "--json")
    found = json.loads(out)
    assert code == 0
    check_object(found)
    assert len(found["cases"]) == 9 and {case["role"] for case in found["cases"]} == {"never_fitted"}
    by_id = {case["id"]: case for case in found["cases"]}
    assert all(case["predicted"] is not None for case in found["cases"])
    rise = by_id["K1/dry/rectal_temperature change, run, at 40 min"]
    assert 0.2 < rise["predicted"] < 3.0 and rise["predicted_low"] <= rise["predicted"] <= rise["predicted_high"]
    assert by_id["K1/humid/heart_rate, run, at 20 min"]["inside"] is None  # score = false
    assert found["not_modelled"][0]["id"] == "K2"


def test_the_table_tells_the_same(call, folder, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    code, out, _ = call("--cases", folder, "--verbose")
    words = " ".join(out.split())
    assert code == 0 and words.startswith("Not medical advice")
    assert "K1 dry: " in words and "K1 humid, drink minus humid" in words
    assert words.index("Core temperature") < words.index("Pooled") < words.index("Not modelled") < words.index("K2")


def test_a_broken_file_is_one_sentence_and_nothing_is_written(call, folder, tmp_path):
    text = EXAMPLE.replace("air_temperature_C = 33\nrelative", "air_temperature_C = 91\nrelative")
    line = text[: text.index("air_temperature_C = 91")].count("\n") + 1
    (folder / "a.case.toml").write_text(text, encoding="utf-8")
    targets = tmp_path / "out.csv", tmp_path / "out.png"
    code, out, err = call("--cases", folder, "--out", targets[0], "--picture", targets[1])
    sentence = err.splitlines()[-1]
    assert code == 2 and out == "" and err.count("\n") == 1
    assert sentence.startswith(f"{folder / 'a.case.toml'}, line {line}: air_temperature_C is 91 °C, allowed is")
    assert "; " in sentence and "32.8 °C" in sentence  # what to do
    assert not any(path.exists() for path in targets) and sorted(p.name for p in tmp_path.iterdir()) == [folder.name]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("at_min = [0, 10, 20, 30]", "at_min = [-15]", "allowed is 0 min or later"),
        ('activity = "seated"                   #', 'activity = "arms" #', "activity is 'arms'"),
        ("heat_days = 3\n", "heat_dayz = 3\n", "did you mean heat_days"),
        ("forced_convection", "forced_convektion", "did you mean thermosim.physics.convection.forced_convection"),
    ],
)
def test_refusals_name_the_line(call, folder, old, new, words):
    assert EXAMPLE.count(old) == 1
    text = EXAMPLE.replace(old, new)
    (folder / "a.case.toml").write_text(text, encoding="utf-8")
    code, out, err = call("--cases", folder)
    line = text[: text.index(new)].count("\n") + 1
    assert code == 2 and out == "" and words in err and f"line {line}: " in err and err.count("\n") == 1


def test_a_folder_without_cases_is_refused(call, tmp_path):
    code, out, err = call("--cases", tmp_path)
    assert code == 2 and out == "" and "has no *.case.toml file" in err and err.count("\n") == 1


# --- outside published ranges ------------------------------------------------------------------------------------------


def test_a_case_outside_a_published_range_runs_and_says_so(call, tmp_path):
    cases = blowing(tmp_path, 2.0, 10.0)
    code, out, _ = call("--cases", cases, "--json")
    found = json.loads(out)
    assert code == 0
    check_object(found)
    sentence = "Relative air speed reaches 10.0 m/s: convection is outside its published range (3 m/s)."
    assert sentence in found["extrapolated"]["W2"]
    assert all(isinstance(case["predicted"], float) for case in found["cases"])
    code, out, _ = call("--cases", cases)
    words = " ".join(out.split())
    assert code == 0 and sentence in words and words.count("†") == 2  # the row, and what the mark means
    plain = call("--cases", cases, "--case", "W1")[1]
    assert "†" not in plain


def test_many_cases_outside_say_how_to_see_where(call, tmp_path):
    cases = blowing(tmp_path, 4.0, 5.0, 6.0, 7.0)
    brief = " ".join(call("--cases", cases)[1].split())
    assert "4 cases; --verbose says where" in brief and "7.0 m/s" not in brief
    assert "7.0 m/s" in " ".join(call("--cases", cases, "--verbose")[1].split())


# --- files -------------------------------------------------------------------------------------------------------------


def test_csv_chapter_and_picture(call, tmp_path):
    cases = blowing(tmp_path, 2.0, 10.0)
    table, chapter, picture = tmp_path / "e.csv", tmp_path / "e.md", tmp_path / "e.png"
    code, out, _ = call("--cases", cases, "--out", table, "--picture", picture)
    assert code == 0 and "e.csv" in out and "e.png" in out
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n" and picture.stat().st_size > 20_000
    with table.open(encoding="utf-8", newline="") as file:
        written = list(csv.DictReader(file))
    found = json.loads(call("--cases", cases, "--json")[1])
    assert [row["id"] for row in written] == [case["id"] for case in found["cases"]]
    assert [float(row["predicted"]) for row in written] == [case["predicted"] for case in found["cases"]]
    assert written[0]["outside_range"] == "" and "10.0 m/s" in written[1]["outside_range"]
    assert call("--cases", cases, "--out", chapter)[0] == 0
    text = chapter.read_text(encoding="utf-8")
    assert text.startswith("# Validation") and "## Outside published ranges" in text and "10.0 m/s" in text
    assert [line.count("†") for line in text.splitlines() if line.startswith("| W")] == [0, 1, 0]


def test_a_file_that_exists_is_kept_unless_forced(call, tmp_path):
    cases, table = blowing(tmp_path, 2.0), tmp_path / "e.csv"
    table.write_text("mine", encoding="utf-8")
    code, out, err = call("--cases", cases, "--out", table, "--picture", tmp_path / "e.svg")
    assert code == 2 and out == "" and "--force" in err and err.count("\n") == 1
    assert table.read_text(encoding="utf-8") == "mine" and not (tmp_path / "e.svg").exists()
    assert call("--cases", cases, "--out", table, "--picture", tmp_path / "e.svg", "--force")[0] == 0
    assert table.read_text(encoding="utf-8").startswith("id,") and (tmp_path / "e.svg").exists()
