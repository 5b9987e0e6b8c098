"""The evidence table: the rule for inside, pooled figures by hand, JSON, chapter, page and command, from invented rows."""

import dataclasses
import json
import math
import re
import subprocess
import sys
import tomllib
from itertools import combinations
from pathlib import Path

import pytest

from thermosim.cli import evidence as command
from thermosim.cli import main as entry
from thermosim.errors import InputError
from thermosim.evidence import calibrated_file, chapter, table
from thermosim.evidence.picture import picture_lines
from thermosim.evidence.read_case import read_cases
from thermosim.evidence.table import Row, inside

ROOT = Path(__file__).resolve().parents[1]
OUTDATED = calibrated_file.outdated  # before a test puts another in its place
SOURCE = "Invented et al. 1999, J Nowhere 1:1"


def row(name="Z1/one/rectal_temperature change", measured=1.0, predicted=1.1, tolerance=0.2, **more):
    """Return a row whose error and verdict follow from its numbers."""
    parts = {"quantity": "rectal_temperature", "unit": "K", "role": "never_fitted", "kind": "measured", **more}
    low, high = parts.pop("low", predicted), parts.pop("high", predicted)
    slack = table.reading_error(parts["quantity"], parts["unit"], parts["kind"])
    numbers = {} if predicted is None else {
        "error": predicted - measured, "inside": inside(predicted, measured, tolerance, low, high, slack)
    }  # fmt: skip
    case = name.partition("/")[0]
    return Row(name, case, case, SOURCE, "confirmed", measured=measured, tolerance=tolerance, predicted=predicted,
               predicted_low=low, predicted_high=high, **numbers, **parts)  # fmt: skip


def law(number, predicted):
    return row(f"Z9/law {number}, 0.5 m/s", 16.8, predicted, 0.05, quantity="law", unit="W/m²K", kind="law")


ROWS = [
    row("Z1/one/rectal_temperature change", 1.0, 1.1, role="fitted", assumed=("age_y",), title="First"),
    row("Z1/one/rectal_temperature change", 1.0, 1.3, low=1.2, high=1.5, role="left_out", assumed=("age_y",), title="First"),
    row("Z1/two/rectal_temperature change", 1.0, 0.9, role="fitted"),
    row("Z1/two/rectal_temperature change", 1.0, 0.9, role="left_out"),
    row("Z2/hot/oesophageal_temperature", 38.5, 38.2, quantity="oesophageal_temperature", unit="°C"),
    row("Z2/hot/mean_skin_temperature", 35.0, 34.6, 0.8, quantity="mean_skin_temperature", unit="°C",
        blanks=("air 0.1 to 1, centre 0.5 (no fan named)",)),
    row("Z3/run/heart_rate", 150.0, 158.0, 6.0, quantity="heart_rate", unit="bpm"),
    row("Z3/ceiling/heart_rate", 190.0, 170.0, 6.0, quantity="heart_rate", unit="bpm", scored=False),
    row("Z3/run/sweat_loss", 1.0, 1.2, 0.15, quantity="sweat_loss", unit="L", role="fitted"),
    row("Z3/rest/sweat_rate", 0.5, 0.45, 0.075, quantity="sweat_rate", unit="L/h", role="fitted"),
    row("Z4/run/rectal_temperature time_to 39.5", 40.0, 44.0, 6.0, unit="min"),
    row("Z4/run/rectal_temperature rate", 0.04, 0.05, 0.008, unit="K/min"),
    row("Z4/ice minus none/rectal_temperature change", -0.3, -0.6, 0.2, kind="contrast"),
    row("Z5/order of 28, 46, 63/heart_rate", 1.0, 0.5, 0.0, quantity="heart_rate", unit="", kind="order"),
    row("Z5/bath/evaporation", 200.0, math.nan, 30.0, quantity="evaporation", unit="W"),
    row("Z6/left/heart_rate", 150.0, None, 6.0, quantity="heart_rate", unit="bpm", role="left_out"),
    law(1, 16.81), law(2, 16.79), law(3, 18.0),
    Row("Z7", "Z7", "Z7", SOURCE, "from memory", scored=False, not_modelled="needs what is not built"),
]  # fmt: skip


# --- the rule ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("predicted", "low", "high", "error_of_mean", "expected"),
    [
        (1.19, None, None, 0.0, True),
        (1.2, None, None, 0.0, True),  # the edge belongs to inside, whatever the rounding
        (0.8, None, None, 0.0, True),
        (1.21, None, None, 0.0, False),
        (1.15, 1.1, 1.29, 0.0, True),  # a band no wider than the tolerance asks for nothing more
        (1.15, 1.1, 1.31, 0.0, False),  # a wider one must hold the measured value ...
        (1.15, 0.99, 1.31, 0.0, True),
        (1.15, 1.1, 1.31, 0.11, True),  # ... or reach it by the standard error
        (1.15, 1.1, 1.31, 0.09, False),
        (1.5, 0.5, 1.5, 1.0, False),  # a wide band does not mend a centre that is off
        (math.nan, None, None, 0.0, False),
        (1.1, math.nan, 1.2, 0.0, False),
    ],
)
def test_inside(predicted, low, high, error_of_mean, expected):
    assert inside(predicted, 1.0, 0.2, low, high, error_of_mean) is expected


def test_a_miss_says_which_half_of_the_rule_fails():
    assert table.verdict(row(predicted=1.15, low=1.1, high=1.5)) == "outside band"
    assert table.verdict(row(predicted=1.25)) == "outside" and table.verdict(row(predicted=1.15)) == "inside"
    assert table.verdict(row(predicted=1.25, scored=False)) == "not scored"
    assert table.verdict(row(predicted=None)) == "not predicted"


def test_a_close_miss_shows_the_digit_that_makes_the_difference():
    words = table.words_of(row(predicted=1.203))
    assert (words["error"], words["tolerance"]) == ("+0.203", "0.200")
    words = table.words_of(row("Z/a/heart_rate", 150.0, 156.3, 6.0, quantity="heart_rate", unit="bpm"))
    assert (words["error"], words["tolerance"]) == ("+6.3", "6.0")


def test_standard_error_or_what_can_be_read():
    assert table.standard_error(0.3, 9, 0.05) == pytest.approx(0.1)
    assert table.standard_error(None, 9, 0.05) == 0.05
    read = table.reading_error
    for site in table.CORE_SITES:
        assert (read(site, "°C"), read(site, "K"), read(site, "K/min"), read(site, "min")) == (0.05, 0.05, 0.005, 1.0)
    assert (read("mean_skin_temperature", "°C"), read("heart_rate", "bpm")) == (0.2, 1.0)
    assert (read("sweat_loss", "L"), read("body_mass_loss", "kg"), read("evaporation", "W")) == (0.03, 0.05, 0.0)
    assert read("rectal_temperature", "°C", "climate_limit") == 0.0


def test_groups():
    groups = {r.id: table.group_of(r) for r in ROWS}
    assert groups["Z1/one/rectal_temperature change"] == groups["Z2/hot/oesophageal_temperature"] == "core"
    assert groups["Z4/ice minus none/rectal_temperature change"] == "core"
    assert groups["Z4/run/rectal_temperature rate"] == "core_rate"
    assert groups["Z4/run/rectal_temperature time_to 39.5"] == "time"
    assert groups["Z5/order of 28, 46, 63/heart_rate"] == "order" and groups["Z5/bath/evaporation"] == "other"
    # per cent of a difference, or of nothing, would say nothing
    assert table.group_of(row(measured=-0.1, predicted=0.0, quantity="sweat_loss", unit="L", kind="contrast")) == "other"
    assert table.group_of(row(measured=0.0, predicted=0.1, quantity="sweat_loss", unit="L")) == "other"
    for quantity, unit in (("sweat_loss", "L/h"), ("body_mass_loss", "kg/h")):  # a mean rate is pooled as a loss is
        assert table.group_of(row(quantity=quantity, unit=unit)) == "sweat"
    assert table.group_of(row(quantity="rectal_temperature", unit="°C", kind="climate_limit")) == "other"
    assert set(groups.values()) <= set(table.GROUPS) == set(chapter.MEANING) == set(command.UNITS)


# --- pooled figures ------------------------------------------------------------------------------------------------


def four(figures):
    """The figures over all rows, those over rows with known inputs aside."""
    return {key: figures[key] for key in ("n", "rmse", "bias", "inside_share")}


def test_known_inputs_and_the_ceiling_of_heart_rate():
    """A row counts as known where its blanks move it by no more than the tolerance; hearts at their ceiling count nowhere."""
    known = row(predicted=0.97, low=0.9, high=1.09)  # 0.19 wide, tolerance 0.2
    blank = row(predicted=0.97, low=0.8, high=1.09)
    fast = row(measured=185.0, predicted=170.0, quantity="heart_rate", unit="bpm", tolerance=5.0)
    slower = row(measured=184.9, predicted=180.9, quantity="heart_rate", unit="bpm", tolerance=5.0)
    assert (known.inputs_known, blank.inputs_known, fast.at_ceiling, slower.at_ceiling) == (True, False, True, False)
    found = table.pooled([known, blank, fast, slower])
    assert found["core"]["never_fitted"]["n"] == 2 and found["core"]["never_fitted"]["inputs_known"]["n"] == 1
    assert found["heart_rate"]["never_fitted"]["n"] == 1
    assert found["heart_rate"]["never_fitted"]["rmse"] == pytest.approx(4.0)
    assert table.pooled([blank])["core"]["never_fitted"]["inputs_known"] is None


def test_pooled_by_hand():
    found = table.pooled(ROWS)
    core = found["core"]
    none = pytest.approx(0.0, abs=1e-12)
    assert four(core["fitted"]) == {"n": 2, "rmse": pytest.approx(0.1), "bias": none, "inside_share": 1.0}
    left = core["left_out"]  # errors +0.3, -0.1
    assert four(left) == {"n": 2, "rmse": pytest.approx(math.sqrt(0.05)), "bias": pytest.approx(0.1), "inside_share": 0.5}
    never = core["never_fitted"]  # errors -0.3 (a value), -0.3 (a difference)
    assert (never["n"], never["rmse"], never["inside_share"]) == (2, pytest.approx(0.3), 0.0)
    assert found["sweat"]["fitted"]["rmse"] == pytest.approx(math.sqrt((20**2 + 10**2) / 2))
    assert found["sweat"]["fitted"]["bias"] == pytest.approx(5.0)
    assert found["time"]["never_fitted"]["bias"] == pytest.approx(10.0)
    assert found["core_rate"]["never_fitted"]["rmse"] == pytest.approx(25.0)
    assert list(found["heart_rate"]) == ["never_fitted"]  # ceiling not scored
    assert four(found["heart_rate"]["never_fitted"]) == {"n": 1, "rmse": 8.0, "bias": 8.0, "inside_share": 0.0}
    assert found["order"]["never_fitted"]["bias"] == -0.5
    assert found["law"]["never_fitted"]["bias"] == pytest.approx((0.01 - 0.01 + 1.2) / 0.05 / 3)
    # it could not be run
    assert four(found["other"]["never_fitted"]) == {"n": 1, "rmse": None, "bias": None, "inside_share": 0.0}


def test_answer_counts_unseen_first_and_what_no_fit_uses_apart():
    unseen = [r for r in ROWS if r.counts and r.role != "fitted" and r.kind not in ("law", "order")]
    assert len(unseen) == 9
    text = table.answer(ROWS)
    assert text.startswith("3 of 9 outcomes that the fit did not see lie inside")
    assert "3 of 4 that it was fitted to; 0 of 1 orders and 2 of 3 checks of laws hold." in text
    assert table.direction(ROWS) == "Of 3 unseen core misses 2 run hot and 1 cool."
    assert table.answer([]) == "No outcome is scored here."


def test_the_fit_is_not_credited_with_orders():
    """What the first sentence calls fitted is what the calibration takes from the cases, one by one."""
    from thermosim.evidence.calibrate import scored

    taken = {name for case in read_cases() if case.role == "fitted" for name in scored(case)}
    rows = [table.row_of(case, one, "fitted", one.measured.value) for case in read_cases() if case.role == "fitted"
            for one in case.outcomes() if one.kind != "law"]  # fmt: skip
    assert table.tally(rows, ("fitted",)) == (len(taken), len(taken)) and taken
    orders = {row.id for row in rows if row.kind == "order"}
    assert orders and not orders & taken
    twice = [*rows, *(dataclasses.replace(row, role="left_out", inside=False) for row in rows if row.kind == "order")]
    assert table.tally(rows, kind="order") == (len(orders), len(orders))
    assert table.tally(twice, kind="order") == (0, len(orders))  # once each, and only where every prediction holds


# --- values that nobody measured --------------------------------------------------------------------------------------


def test_a_range_is_said_wherever_the_row_stands(call):
    middle = row("Z1/one/rectal_temperature change", 1.0, 1.1, measured_kind="range")
    assert middle.name.endswith("(range)") and "(range)" not in row().name
    assert [line["measured"] for line in picture_lines([middle, row("Z2/x/rectal_temperature")])] == ["≈1.00", "1.00"]
    assert [case["measured_kind"] for case in table.as_json([middle, row()])["cases"]] == ["range", "value"]
    text = chapter.validation_chapter([middle], reasons={})
    assert "| Z1 one: rectal change (range) |" in text and "nobody measured it" in text
    assert command.frame([middle])["measured_kind"].tolist() == ["range"]
    ROWS.append(middle)
    try:
        words = " ".join(call()[1].split())
    finally:
        ROWS.remove(middle)
    assert "nobody measured it" in words and "nobody measured it" not in " ".join(call()[1].split())


def test_ranges_of_the_package_are_marked():
    """Every row whose tolerance is that of a published range says so by its kind."""
    marked = {one.id for case in read_cases() for one in case.outcomes() if one.measured.measured_kind == "range"}
    rectal = ("B29/2 °C/{} rate, bath", "B30/to 37.5/{} change, after", "B30/to 38.6/{} change, after",
              "B18/slurry minus water/{}, run, at 35 min")  # fmt: skip
    assert {name.format("rectal_temperature") for name in rectal} <= marked
    said = {one.id for case in read_cases() for one in case.outcomes()
            if re.search(r"(stated|published|benchmark's) range", one.measured.why)}  # fmt: skip
    assert said and said <= marked


# --- an outdated calibration -----------------------------------------------------------------------------------------


def test_an_outdated_calibration_is_told(call, tmp_path, monkeypatch):
    cases, made = tmp_path / "cases", tmp_path / "calibrated.toml"
    cases.mkdir()
    (cases / "a.case.toml").write_text('role = "fitted"\n', encoding="utf-8")
    (cases / "b.case.toml").write_text('role = "never_fitted"\n', encoding="utf-8")
    assert OUTDATED(made, cases) == ""  # nothing was calibrated

    def write(digest):
        made.write_text(f"# made by `x`, seed 1, at noon, from case files with SHA-256 {digest}...\n", encoding="utf-8")

    before = calibrated_file.hash_of_cases(cases)
    write(before)
    assert OUTDATED(made, cases) == ""
    (cases / "b.case.toml").write_text('role = "never_fitted"\ntitle = "changed"\n', encoding="utf-8")
    assert OUTDATED(made, cases) == ""  # no fit has seen it
    (cases / "a.case.toml").write_text('role = "fitted"\ntitle = "changed"\n', encoding="utf-8")
    now = calibrated_file.hash_of_cases(cases)
    sentence = OUTDATED(made, cases)
    assert now != before and before in sentence and now in sentence and "until the calibration is repeated" in sentence
    made.write_text("# no hash\n", encoding="utf-8")
    assert "no hash" in OUTDATED(made, cases)
    (cases / "b.case.toml").write_text('role = "fitted"\n', encoding="utf-8")
    assert calibrated_file.hash_of_cases(cases) != now

    for told in (sentence, ""):
        monkeypatch.setattr(calibrated_file, "outdated", lambda told=told: told)
        words = " ".join(call()[1].split())
        assert ("until the calibration is repeated" in words) == bool(told)
        assert ("until the calibration is repeated" in call("--json")[2].replace("\n", " ")) == bool(told)
        assert call("--out", tmp_path / "e.md", "--force")[0] == 0
        assert (f"**Note:** {sentence}" in (tmp_path / "e.md").read_text(encoding="utf-8")) == bool(told)


def test_the_committed_calibration_names_its_cases():
    found = calibrated_file.hash_in_file(calibrated_file.FILE.read_text(encoding="utf-8"))
    assert re.fullmatch(r"[0-9a-f]{16}", found)


# --- the pages that quote it -----------------------------------------------------------------------------------------


def quoted(text):
    """Return ``{quantity: [fitted, known, left out, known]}`` of the table in DEVELOPERS.md."""
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line.startswith("| ")]
    titles = [table.GROUPS[group][0] for group in ("core", "core_rate", "skin", "heart_rate", "sweat")]
    return {cells[0].partition(",")[0]: cells[2:] for cells in rows if len(cells) == 6 and cells[0].partition(",")[0] in titles}


def test_developers_quote_the_pooled_figures_of_the_chapter():
    page = (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")
    told = quoted((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert len(told) == 5
    for quantity, cells in told.items():
        for role, rmse, known in (("fitted", cells[0], cells[1]), ("left out", cells[2], cells[3])):
            line = re.search(rf"^\| {quantity}, \S+ \| {role} \| .*$", page, re.M).group()
            of_page = [cell.strip() for cell in line.strip("|").split("|")]
            assert rmse == of_page[3] and known == f"{of_page[7]} (n {of_page[6]})", (quantity, role)


def test_the_readme_quotes_what_no_fit_saw():
    """Core of left-out and of never fitted rows, with known inputs and over all rows."""
    page = (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")
    lines = [re.search(rf"^\| Core temperature, K \| {role} \| .*$", page, re.M).group() for role in ("left out", "never fitted")]
    left, never = ([cell.strip() for cell in line.strip("|").split("|")] for line in lines)
    rounded = [f"{float(cells[k]):.2f}" for k, cells in ((7, left), (7, never), (3, left), (3, never))]
    told = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    assert f"Core misses by {rounded[0]} K (root mean square)" in told and f"known ({left[6]} rows), by {rounded[1]} K" in told
    assert f"({never[6]} rows), and by {rounded[2]} and {rounded[3]} K over all rows" in told


def test_the_header_of_the_chapter_names_the_command_that_writes_it():
    """The whole page has three parts; the command in its header is the one that writes them all."""
    import validation

    page = (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")
    assert f"*Written by `{validation.COMMAND}`; do not edit by hand.*" in page.splitlines()
    for part in ("# Validation", "## Spread between people", "## Weather and performance"):
        assert part in page
    alone = chapter.validation_chapter(ROWS)
    assert f"*Written by `{chapter.COMMAND}`" in alone and "## Spread between people" not in alone
    script = validation.COMMAND.split()[1]
    assert (ROOT / script).is_file() and validation.COMMAND in (ROOT / script).read_text(encoding="utf-8")


def test_known_misses_name_tests_that_exist():
    """A line whose test was renamed would hide nothing and guard nothing."""
    misses = tomllib.loads((ROOT / "tests" / "known_misses.toml").read_text(encoding="utf-8"))["missed"]
    assert misses
    for name in misses:
        file, _, test = name.partition("::")
        defined = re.findall(r"^def (test_\w+)\(", (ROOT / "tests" / file).read_text(encoding="utf-8"), re.M)
        assert test.partition("[")[0] in defined, name


# --- JSON ----------------------------------------------------------------------------------------------------------


def test_json_has_the_promised_keys():
    found = json.loads(json.dumps(command_finite(table.as_json(ROWS)), allow_nan=False))
    assert set(found) == {"cases", "pooled", "misses", "not_modelled", "extrapolated", "cautions"}
    keys = "id source status quantity unit measured measured_kind sd predicted predicted_low predicted_high error inside role"
    assert all(list(case) == keys.split() for case in found["cases"]) and len(found["cases"]) == len(ROWS) - 1
    assert {case["role"] for case in found["cases"]} == {"fitted", "left_out", "never_fitted"}
    assert found["not_modelled"] == [{"id": "Z7", "source": SOURCE, "reason": "needs what is not built"}]
    by_id = {case["id"]: case for case in found["cases"]}
    assert by_id["Z3/ceiling/heart_rate"]["inside"] is None and by_id["Z6/left/heart_rate"]["inside"] is None
    assert by_id["Z5/bath/evaporation"]["predicted"] is None and by_id["Z5/bath/evaporation"]["inside"] is False
    assert "Z1/one/rectal_temperature change" in found["misses"] and "Z3/ceiling/heart_rate" not in found["misses"]
    assert len(found["misses"]) == len(set(found["misses"]))
    assert sum(case["inside"] is False for case in found["cases"]) == len(table.misses(ROWS))
    assert any("Not medical advice" in line for line in found["cautions"])


def command_finite(data):
    from thermosim.cli.terminal import finite

    return finite(data)


# --- rows from cases -----------------------------------------------------------------------------------------------


def test_rows_of_the_package_cases():
    from thermosim.evidence.read_case import read_cases

    cases = read_cases()
    modelled = next(case for case in cases if case.laws)
    outcome = modelled.outcomes()[0]
    value = outcome.measured.value
    made = table.row_of(modelled, outcome, "never_fitted", value + 2.0 * outcome.measured.tolerance)
    assert made.missed and made.error == pytest.approx(2.0 * outcome.measured.tolerance)
    assert made.kind == outcome.kind and made.label.startswith(modelled.id) and made.source == modelled.source.citation
    left = next(case for case in cases if case.not_modelled)
    told = table.not_modelled_row(left)
    assert table.as_json([told])["not_modelled"][0]["reason"] == left.not_modelled and not told.counts
    unrefitted = table.row_of(modelled, outcome, "left_out", None)
    assert unrefitted.inside is None and not unrefitted.counts and not unrefitted.missed


# --- the chapter ---------------------------------------------------------------------------------------------------


def test_chapter():
    text = chapter.validation_chapter(ROWS, reasons={"Z3/run/heart_rate": "an invented reason"})
    assert text.count("### ") == len({r.id for r in table.misses(ROWS)})
    assert "Reason: an invented reason." in text
    assert text.count(f"Reason: {chapter.UNKNOWN}.") == text.count("### ") - 1
    assert chapter.NO_RUN in text and "needs what is not built" in text and "age_y" in text and "no fan named" in text
    assert "modelled heart rate is too high" in text and "overstated" in text
    for title in ("How to read it", "Pooled figures", "Misses", "Not modelled", "Assumed and blank, by case", "Cautions"):
        assert f"## {title}\n" in text
    for block in re.findall(r"(?:^\|.*\n)+", text, re.MULTILINE):  # every table has one width
        assert len({line.replace("\\|", "").count("|") for line in block.splitlines()}) == 1
    assert not re.search(r"\bsafe", text, re.IGNORECASE) and "nan" not in text.split()


def test_meaning_follows_kind_and_direction():
    cooling = {"quantity": "rectal_temperature", "unit": "K/min"}
    assert "sooner" in chapter.meaning(row(predicted=0.5)) and "runs hot" in chapter.meaning(row(predicted=1.5))
    assert "cools faster" in chapter.meaning(row(measured=-0.2, predicted=-0.1, tolerance=0.05, **cooling))
    assert "too long" in chapter.meaning(row(measured=0.03, predicted=0.01, tolerance=0.01, **cooling))
    assert "the centre agrees" in chapter.meaning(row(predicted=1.15, low=1.1, high=1.5))
    heart = {"quantity": "heart_rate", "unit": "bpm", "kind": "contrast", "tolerance": 5.0}
    assert "is overstated" in chapter.meaning(row(measured=-9.0, predicted=-16.0, **heart))
    assert "is understated" in chapter.meaning(row(measured=-15.0, predicted=-4.0, **heart))
    limit = {"quantity": "rectal_temperature", "unit": "°C", "kind": "climate_limit", "tolerance": 1.5, "measured": 30.0}
    assert "leave more room" in chapter.meaning(row(predicted=33.0, **limit))
    assert "warmer climates" in chapter.meaning(row(predicted=27.0, **limit))


def test_chapter_of_nothing_missed():
    text = chapter.validation_chapter([ROWS[0]], reasons={})
    assert "No scored row lies outside." in text and "Every study of this folder is modelled." in text


def test_reasons_are_text(tmp_path):
    path = tmp_path / "reasons.toml"
    assert chapter.read_reasons(path) == {}
    path.write_text('"Z1/a" = "it is so"\n', encoding="utf-8")
    assert chapter.read_reasons(path) == {"Z1/a": "it is so"}
    for broken in ("Z1/a = ", '"Z1/a" = 3\n', 'Z1.a = "unquoted id"\n'):
        path.write_text(broken, encoding="utf-8")
        with pytest.raises(InputError, match="reasons.toml"):
            chapter.read_reasons(path)


def test_own_reasons_are_of_own_outcomes():
    """Every reason belongs to an outcome, or to a whole case, of the package."""
    cases = read_cases()
    known = {case.id for case in cases} | {outcome.id for case in cases for outcome in case.outcomes()}
    reasons = chapter.read_reasons()
    assert reasons and not set(reasons) - known


# --- the page ------------------------------------------------------------------------------------------------------


def many():
    """Return about 150 outcomes in long groups, so that a group goes on in the next column."""
    found = list(ROWS)
    for k in range(40):
        name = f"Y{k}/a variant of a rather long name {k}/rectal_temperature change, cycle, from 20 min, to 60 min"
        found.append(row(name, 1.0, 1.0 + 0.01 * k, low=0.9, high=1.1 + 0.02 * k, role="fitted" if k % 2 else "never_fitted"))
        found.append(row(f"Y{k}/b/heart_rate", 150.0, 140.0 + k, 6.0, quantity="heart_rate", unit="bpm"))
        found.append(law(10 + k, 16.8 + 0.001 * k))
    return found


@pytest.fixture(scope="module", params=["few", "many", "none"])
def page(request):
    rows = {"few": ROWS, "many": many(), "none": [ROWS[-1]]}[request.param]
    figure = command.page_of(rows)
    figure.canvas.draw()
    return rows, figure


def marks(figure, gid):
    return figure.findobj(lambda a: a.get_gid() == gid)


def test_page_words_stay_on_the_page_and_apart(page):
    _, figure = page
    renderer, (width, height) = figure.canvas.get_renderer(), figure.canvas.get_width_height()
    texts = [a for a in figure.findobj(lambda a: hasattr(a, "get_text") and a.get_visible()) if a.get_text().strip()]
    boxes = [(a.get_text(), a.get_window_extent(renderer)) for a in texts]
    assert width == 1400
    for words, box in boxes:
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, words
        assert not re.search(r"\bsafe", words, re.IGNORECASE)
    for (one, a), (other, b) in combinations(boxes, 2):
        assert min(a.x1, b.x1) - max(a.x0, b.x0) <= 1.0 or min(a.y1, b.y1) - max(a.y0, b.y0) <= 1.0, (one, other)


def test_page_labels_and_numbers_do_not_enter_the_axes(page):
    _, figure = page
    renderer = figure.canvas.get_renderer()
    for ax in figure.axes:
        frame = ax.get_window_extent(renderer)
        for text in ax.texts:
            box = text.get_window_extent(renderer)
            if text.get_gid() == "row-label":
                assert box.x1 <= frame.x0, text.get_text()
            if text.get_gid() in ("row-number", "column-head"):
                assert box.x0 >= frame.x1, text.get_text()
            if text.get_gid() in ("row-label", "row-number"):
                assert box.y0 >= frame.y0 - 1 and box.y1 <= frame.y1 + 1, text.get_text()


def test_page_marks_what_lies_outside(page):
    rows, figure = page
    lines = picture_lines(rows)
    outside = [line for line in lines if line["scored"] and not line["inside"] and math.isfinite(line["error"])]
    far = [line for line in lines if abs(line["error"]) > 3.0]
    near = [line for line in outside if abs(line["error"]) <= 3.0]
    assert len(marks(figure, "outside")) == len(near) and len(marks(figure, "off-scale")) == len(far)
    assert len(marks(figure, "no-run")) == sum(math.isnan(line["error"]) for line in lines)
    for mark in marks(figure, "outside"):
        assert mark.get_marker() == "D"
    for ax in figure.axes:
        for line in ax.lines:
            if line.get_gid() in ("inside", "outside", "off-scale", "fitted", "range"):
                assert max(abs(x) for x in line.get_xdata()) <= 3.0
    inside_lines = sum(len(line.get("marks", [0])) for line in lines if line["inside"])
    assert len(marks(figure, "inside")) + len(marks(figure, "off-scale")) >= inside_lines


def test_page_puts_left_out_first_with_its_fit_beside_it():
    lines = picture_lines(ROWS)
    mine = [line for line in lines if line["id"] == "Z1/one/rectal_temperature change"]
    assert [line["role"] for line in mine] == ["left_out"]
    assert mine[0]["error"] == pytest.approx(1.5) and mine[0]["fitted"] == pytest.approx(0.5)
    assert (mine[0]["low"], mine[0]["high"]) == (pytest.approx(1.0), pytest.approx(2.5))
    laws = [line for line in lines if line["group"] == "law"]
    assert len(laws) == 2 and len(laws[0]["marks"]) == 2 and laws[1]["error"] == pytest.approx(24.0)
    order = next(line for line in lines if line["group"] == "order")
    assert order["error"] == -math.inf


def test_page_of_core_says_modelled(page):
    rows, figure = page
    titles = " ".join(a.get_text() for a in marks(figure, "panel-title"))
    notes = [a.get_text() for a in marks(figure, "panel-note")]
    assert ("Core temperature" in titles) == ("modelled, not measured" in notes)
    assert bool(picture_lines(rows)) == bool(titles)


def test_look_does_not_know_the_evidence():
    code = "import sys, thermosim.look.evidence_page; print([m for m in sys.modules if m.startswith('thermosim.evidence')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"


# --- the command ---------------------------------------------------------------------------------------------------


@pytest.fixture
def call(capsys, monkeypatch):
    """Run the command over the invented rows."""

    def invented(cases, say):
        for _ in cases:
            say()
        return ROWS

    monkeypatch.setattr("thermosim.evidence.run_cases.evidence_rows", invented)
    monkeypatch.setattr(calibrated_file, "outdated", lambda: "")

    def run(*arguments):
        code = entry.run(["evidence", *map(str, arguments)])
        said = capsys.readouterr()
        assert "Traceback" not in said.err and not re.search(r"\bsafe", said.out + said.err, re.IGNORECASE)
        return code, said.out, said.err

    return run


def test_command_help(call):
    code, out, _ = call("--help")
    assert code == 0 and "Example" in out and "JSON keys" in out and "thermosim evidence " in " ".join(out.split())


@pytest.mark.parametrize("columns", ["80", "160"])
def test_command_tells_groups_pooled_misses_and_what_is_not_modelled(call, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", columns)
    code, out, _ = call()
    words = " ".join(out.split())
    assert code == 0 and words.startswith("Not medical advice")
    assert "3 of 9 outcomes that the fit did not see" in words
    assert words.index("Core temperature") < words.index("Heart rate") < words.index("Pooled") < words.index("Misses")
    assert words.index("Misses: ") < words.index("Not modelled") < words.index("needs what is not built")
    assert all(len(line) <= int(columns) for line in out.splitlines())


def test_command_lists_laws_that_hold_only_when_asked(call):
    brief, full = call()[1], call("--verbose")[1]
    assert "Z9 law 3, 0.5 m/s" in brief and "Z9 law 1, 0.5 m/s" not in brief and "2 more hold" in brief
    assert "Z9 law 1, 0.5 m/s" in full and "more hold" not in full


def test_command_json(call):
    code, out, err = call("--json")
    found = json.loads(out)
    assert code == 0 and set(found) == {"cases", "pooled", "misses", "not_modelled", "extrapolated", "cautions"}
    assert "Not medical advice" in err


def test_command_writes_table_chapter_and_page(call, tmp_path):
    import pandas as pd

    code, out, _ = call("--out", tmp_path / "e.csv", "--picture", tmp_path / "e.png", "--quiet")
    assert code == 0 and "e.csv" in out and (tmp_path / "e.png").stat().st_size > 20_000
    written = pd.read_csv(tmp_path / "e.csv")
    assert len(written) == len(ROWS) and written["predicted"].iloc[0] == ROWS[0].predicted
    assert call("--out", tmp_path / "e.csv")[0] == 2  # exists
    assert call("--out", tmp_path / "e.csv", "--force")[0] == 0
    assert call("--out", tmp_path / "e.md")[0] == 0
    assert (tmp_path / "e.md").read_text(encoding="utf-8") == chapter.validation_chapter(ROWS)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--out", "e.xlsx"], ".csv and .md"),
        (["--out", "folder"], ".csv and .md"),
        (["--case", "E1O"], 'did you mean "E1'),
        (["--cases", "no-such-folder"], "no-such-folder"),
        (["--picture", "e.gif"], ".png and .svg"),
    ],
)
def test_command_refuses_in_one_sentence(call, arguments, words):
    code, out, err = call(*arguments)
    assert code == 2 and out == "" and words in err.splitlines()[-1] and err.count("\n") == 1
