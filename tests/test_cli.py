"""The command line as a user meets it: files, flags, exit codes, what stands on which stream, what is written."""

import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from thermosim import cautions
from thermosim.cli import fields as flags
from thermosim.cli import terminal

ROOT = Path(__file__).parents[1]
RECORDS = ROOT.parent / "shared" / "data" / "run-records-5s" / "compressed-speed-distance-records.csv"
RUN = (
    "--mass-kg 65 --height-m 1.75 --speed-m-s 3.3 --minutes 20 --air-temperature-C 31 --relative-humidity-pct 85"
).split()
SIMULATE_KEYS = {
    "core_at_end_C", "peak_core_C", "mean_skin_at_end_C", "heart_rate_at_end_bpm", "sweat_loss_L", "time_to_limit_min",
    "limit_C", "distance_m", "max_closure_W", "warnings", "cautions", "body_mass_change_pct",
}  # fmt: skip
LEDGER_TERMS = {
    "metabolic_power", "external_work", "convection", "long_wave_radiation", "solar_radiation", "respiration_vapour",
    "respiration_dry", "evaporation", "devices", "storage",
}  # fmt: skip
SESSION = """\
title = "Boat shed"
weather = {weather}
[runner]
mass_kg = 65.0
height_m = 1.75
heat_days = 9
[effort]
speed_m_s = 3.3
grade_pct = 0
minutes = 15
[limits]
core_temperature_C = 38.0
[ensemble]
members = 8
seed = 3
[[variant]]
name = "none"
[[variant]]
name = "collar"
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
covered = true
"""
AIR = "{air_temperature_C = 31, relative_humidity_pct = 85, wind_speed_m_s = 0.0}"


@pytest.fixture
def session(tmp_path):
    path = tmp_path / "shed.session.toml"
    path.write_text(SESSION.replace("{weather}", AIR), encoding="utf-8")
    return path


def command(*arguments, cwd=None):
    """Run a command in a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"}
    return subprocess.run([sys.executable, "-m", "thermosim.cli", *map(str, arguments)], capture_output=True, text=True,
                          encoding="utf-8", env=environment, cwd=cwd, timeout=300)  # fmt: skip


# ---------------------------------------------------------------- the command line itself


def test_help_comes_at_once_and_names_every_command():
    command("--help")
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        done = command("--help")
        times.append(time.perf_counter() - begin)
    assert done.returncode == 0 and done.stderr == ""
    for name in ("demo", "new", "check", "ledger", "simulate", "compare", "hours", "device", "evidence"):
        assert re.search(rf"^  {name} ", done.stdout, re.M)
    assert min(times) < 0.3, times


@pytest.mark.parametrize("name", ["demo", "new", "check", "ledger", "simulate", "compare", "hours", "evidence"])
def test_every_help_has_an_example_and_its_json_keys(call, name):
    code, out, _ = call(name, "--help")
    assert code == 0 and "Example" in out and "JSON keys" in out and f"thermosim {name} " in " ".join(out.split())


def test_nothing_heavy_is_loaded_for_the_help():
    heavy = "{'numpy', 'xarray', 'numba', 'pydantic', 'matplotlib', 'pandas', 'scipy'}"
    script = f"import sys, thermosim.cli.main as m; m.run(['--help']); print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_flags_are_exactly_the_fields_of_a_session():
    from thermosim.inputs.session import ALL_FIELDS

    offered = {name for group in flags.SESSION_GROUPS for name in flags.GROUPS[group]} | set(flags.ALSO.values())
    assert offered == set(ALL_FIELDS)


def test_ledger_flags_are_fields_that_the_ledger_knows():
    from thermosim.inputs.runner import Runner
    from thermosim.inputs.weather import FIELDS
    from thermosim.instant import inputs

    known = {*inputs._OWN, *Runner.model_fields, *FIELDS, "pace_min_km"}
    assert {name for group in flags.LEDGER_GROUPS for name in flags.GROUPS[group]} <= known


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["simulate", "--mass-kgs", "7"], "--mass-kg"),
        (["simulatte"], "simulatte"),
        (["new"], "KIND"),
        (["simulate"], "session is missing"),
        (["ledger"], "instant is missing"),
        (["ledger", *RUN[:4], "--at-min", "soon"], "at_min is 'soon'"),
    ],
)
def test_a_wrong_command_line_is_one_sentence(call, arguments, words):
    code, out, err = call(*arguments)
    assert code == 2 and out == "" and words in err and err.count("\n") == 1


# ---------------------------------------------------------------- simulate


def test_simulate_prints_one_object_on_standard_output():
    done = command("simulate", *RUN, "--json")
    assert done.returncode == 0
    result = json.loads(done.stdout)
    assert set(result) == SIMULATE_KEYS and done.stdout.count("\n") == 1
    assert result["core_at_end_C"] > 37.5 and result["distance_m"] == pytest.approx(3960.0)
    assert result["peak_core_C"] >= result["core_at_end_C"] and result["max_closure_W"] < 0.1
    assert any("modelled core is not measured core" in line for line in result["cautions"])
    assert "Not medical advice" in done.stderr and "Defaults used" in done.stderr


def test_first_lines_carry_the_band_and_planning_only(call):
    code, out, _ = call("simulate", *RUN)
    said = " ".join(out.split())
    assert code == 0 and said.startswith("Not medical advice; modelled core is not measured core, band ±")
    assert said.index(cautions.PLANNING_ONLY) < said.index("Core rises")
    assert cautions.FEEL_COOLER not in said and "Defaults used: " in said


def test_a_device_brings_its_cautions(call):
    code, out, _ = call("simulate", *RUN, "--cooling", "ice_collar:ice_kg=0.25,covered=true", "--json")
    result = json.loads(out)
    for sentence in (cautions.FEEL_COOLER, cautions.CAP_DOES_NOT_BOUND_CORE, cautions.COLD_INJURY):
        assert sentence in result["cautions"]
    assert code == 0
    plain = json.loads(call("simulate", *RUN, "--json")[1])
    assert result["core_at_end_C"] < plain["core_at_end_C"]


def test_quiet_shortens_the_cautions_to_one_line_and_keeps_them(call):
    _, out, err = call("simulate", *RUN, "--quiet", "--cooling", "ice_collar")
    said = " ".join(out.split())
    assert said.startswith(cautions.one_line(device=True)) and "Defaults used" not in said and err == ""
    _, out, _ = call("simulate", *RUN, "--quiet", "--age-y", "16")
    assert cautions.ADULT_MODEL in " ".join(out.split())


@pytest.mark.parametrize("who", [["--age-y", "16"], ["--pregnant"]])
def test_outside_the_adult_model_is_flagged_and_has_no_default_limit(call, who):
    code, out, _ = call("simulate", *RUN, *who, "--json")
    result = json.loads(out)
    assert code == 0 and result["limit_C"] is None and result["time_to_limit_min"] is None
    assert any(line.startswith("Adult model, outside its range") for line in result["cautions"])
    assert json.loads(call("simulate", *RUN, *who, "--core-limit-C", "38", "--json")[1])["limit_C"] == 38.0
    code, out, err = call("compare", *RUN, *who, "--cooling", "ice_collar")
    assert code == 2 and out == "" and "core_limit_C is missing" in err


def test_beta_blocker_leaves_heart_rate_open(call):
    result = json.loads(call("simulate", *RUN, "--beta-blocker", "--json")[1])
    assert result["heart_rate_at_end_bpm"] is None and cautions.BETA_BLOCKERS in result["cautions"]


def test_above_39_needs_measured_core(call):
    assert cautions.MEASURED_CORE_ABOVE_39 in " ".join(call("simulate", *RUN, "--core-limit-C", "39.5")[1].split())
    assert cautions.MEASURED_CORE_ABOVE_39 not in " ".join(call("simulate", *RUN, "--minutes", "5")[1].split())


def test_a_flag_replaces_a_field_of_the_file(call, session):
    short = json.loads(call("simulate", session, "--minutes", "5", "--core-limit-C", "37.9", "--json")[1])
    full = json.loads(call("simulate", session, "--json")[1])
    assert short["distance_m"] == pytest.approx(990.0) and full["distance_m"] == pytest.approx(2970.0)
    assert short["limit_C"] == 37.9 and full["limit_C"] == 38.0
    wet = json.loads(call("simulate", session, "--dew-point-C", "30", "--json")[1])
    assert wet["core_at_end_C"] > full["core_at_end_C"]


def test_variant_and_switches(call, session):
    none, collar = (json.loads(call("simulate", session, "--variant", name, "--json")[1]) for name in ("none", "collar"))
    assert collar["mean_skin_at_end_C"] < none["mean_skin_at_end_C"]
    assert 0.0 < abs(collar["core_at_end_C"] - none["core_at_end_C"]) < 0.1
    still = json.loads(call("simulate", session, "--treadmill", "--fan-speed-m-s", "0.2", "--json")[1])
    assert still["mean_skin_at_end_C"] > none["mean_skin_at_end_C"]
    back = json.loads(call("simulate", session, "--treadmill", "--no-treadmill", "--json")[1])
    assert back["core_at_end_C"] == none["core_at_end_C"]
    two = json.loads(call("simulate", session, "--two-node", "--json")[1])
    assert any("Two nodes" in line for line in two["warnings"]) and two["core_at_end_C"] != none["core_at_end_C"]


@pytest.mark.parametrize("options", [[], ["--two-node"], ["--variant", "collar"]])
def test_a_saved_run_runs_again_with_the_same_digits(call, session, tmp_path, options):
    saved = tmp_path / "run.nc"
    first = json.loads(call("simulate", session, *options, "--out", saved, "--json")[1])
    code, out, _ = call("simulate", saved, "--json")
    assert code == 0 and json.loads(out) == first
    other = json.loads(call("simulate", saved, "--minutes", "6", "--json")[1])
    assert other["distance_m"] < first["distance_m"]


# ---------------------------------------------------------------- what is written


def test_nothing_is_written_unless_asked(call, session, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for verb, *options in (["simulate"], ["ledger", "--skin-temperature-C", "35"], ["compare"], ["check"]):
        assert call(verb, session, *options)[0] == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shed.session.toml"]


def test_a_table_has_units_in_its_names(call, session, tmp_path):
    import pandas as pd

    assert call("simulate", session, "--variant", "collar", "--out", tmp_path / "run.csv")[0] == 0
    table = pd.read_csv(tmp_path / "run.csv")
    for name in ("time_s", "core_temperature_C", "heart_rate_bpm", "heat_flow_evaporation_W", "skin_temperature_neck_C",
                 "device_power_ice_collar_skin_W", "sweat_rate_L_h", "speed_m_s", "grade_pct"):  # fmt: skip
        assert name in table.columns, name
    assert table["time_s"].iloc[-1] == 900.0 and table["core_temperature_C"].notna().all()


def test_a_folder_holds_run_table_and_pictures_and_force_spares_strangers(call, session, tmp_path):
    folder = tmp_path / "result"
    assert call("simulate", session, "--out", folder)[0] == 0
    assert sorted(path.name for path in folder.iterdir()) == ["ledger.png", "run.csv", "run.nc", "run.png"]
    assert (folder / "run.png").read_bytes().startswith(b"\x89PNG")
    code, _, err = call("simulate", session, "--out", folder)
    assert code == 2 and "--force" in err
    assert call("simulate", session, "--out", folder, "--force")[0] == 0
    (folder / "diary.txt").write_text("mine")
    code, _, err = call("simulate", session, "--out", folder, "--force")
    assert code == 2 and "diary.txt" in err and (folder / "diary.txt").read_text() == "mine"


def test_force_replaces_a_file_and_without_it_the_file_stays(call, session, tmp_path):
    picture = tmp_path / "run.svg"
    picture.write_text("old")
    code, out, err = call("simulate", session, "--picture", picture)
    assert code == 2 and out == "" and "exists already" in err and picture.read_text() == "old"
    assert call("simulate", session, "--picture", picture, "--force")[0] == 0
    assert picture.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("option", "name"),
    [("--out", "run.xlsx"), ("--picture", "run.pdf"), ("--picture", "nowhere/run.png"), ("--ledger-picture", "run")],
)
def test_a_place_that_cannot_be_is_refused_before_the_run(call, session, tmp_path, option, name):
    code, out, err = call("simulate", session, option, tmp_path / name)
    assert code == 2 and out == "" and err.count("\n") == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shed.session.toml"]


def test_a_failing_picture_leaves_nothing_half_written(call, session, tmp_path, monkeypatch):
    from thermosim import look

    def breaks(figure, path):
        Path(path).write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(look, "save", breaks, raising=False)
    code, _, err = call("simulate", session, "--picture", tmp_path / "run.png")
    assert code == 2 and "No space left on device" in err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shed.session.toml"]


# ---------------------------------------------------------------- bad input


def _weather_file(tmp_path, text):
    (tmp_path / "x.weather.csv").write_text(text, encoding="utf-8")
    return '"x.weather.csv"'


def _bad_weather(rows):
    return lambda tmp_path: SESSION.replace("{weather}", _weather_file(tmp_path, rows))


def _changed(old, new):
    return lambda tmp_path: SESSION.replace("{weather}", AIR).replace(old, new)


def _with_recording(columns, rows):
    def make(tmp_path):
        (tmp_path / "morning.csv").write_text(rows, encoding="utf-8")
        effort = f'[effort.recording]\nfile = "morning.csv"\ncolumns = {columns}\n'
        text = SESSION.replace("{weather}", AIR)
        return text.replace("[effort]\nspeed_m_s = 3.3\ngrade_pct = 0\nminutes = 15\n", effort)

    return make


def _bytes(content):
    return lambda tmp_path: content


HEAD = "time_min,air_temperature_C,relative_humidity_pct\n"
BAD = {
    "missing humidity": (_changed("relative_humidity_pct = 85, ", ""), ["relative_humidity_pct", "missing"]),
    "humidity 140": (_changed("pct = 85", "pct = 140"), ["relative_humidity_pct is 140 %", "0 to 100 %"]),
    "mass 7": (_changed("mass_kg = 65.0", "mass_kg = 7"), ["mass_kg is 7 kg", "30 to 160 kg", "line 4"]),
    "grade 80": (_changed("grade_pct = 0", "grade_pct = 80"), ["grade_pct is 80 %", "-45 to 45 %"]),
    "speed 15": (_changed("speed_m_s = 3.3", "speed_m_s = 15"), ["speed_m_s is 15 m/s", "km/h"]),
    "air 80": (_changed("temperature_C = 31", "temperature_C = 80"), ["air_temperature_C is 80 °C"]),
    "wind -1": (_changed("wind_speed_m_s = 0.0", "wind_speed_m_s = -1"), ["wind_speed_m_s is -1 m/s"]),
    "not a number": (_changed("mass_kg = 65.0", "mass_kg = nan"), ["mass_kg is nan", "finite"]),
    "empty file": (_bytes(b""), ["is empty"]),
    "unknown key": (_changed("heat_days = 9", "heat_day = 9"), ["heat_day is not", "did you mean heat_days"]),
    "time backwards": (_bad_weather(HEAD + "0,31,85\n10,31,85\n5,31,85\n"), ["backwards", "line 4"]),
    "humidities disagree": (_changed("pct = 85", "pct = 85, dew_point_C = 10"), ["disagree"]),
    "heart-rate column absent": (
        _with_recording('{time_s = "t", speed_m_s = "v", heart_rate_bpm = "pulse"}', "t,v\n0,3\n5,3\n10,3\n"), ["pulse"]),
    "not UTF-8": (_bytes(SESSION.replace("{weather}", AIR).replace("Boat", "Böat").encode("latin-1")), ["UTF-8"]),
    "wind direction without heading": (
        _changed("wind_speed_m_s = 0.0", "wind_speed_m_s = 2.0, wind_from_deg = 200"), ["heading_deg"]),
    "speed in km/h": (_changed("speed_m_s = 3.3", "speed_km_h = 12"), ["convert km/h to m/s", "speed_m_s = 3.33"]),
    "session longer than weather": (_bad_weather(HEAD + "0,31,85\n10,31,85\n"), ["covers minute 0 to 10"]),
    "unknown clothing": (_changed("heat_days = 9", 'heat_days = 9\nclothing = "ski suit"'), ["clothing", "light_kit"]),
    "limit without reason": (_changed("_C = 38.0", "_C = 39.8"), ["39.8", "reason"]),
    "unknown device": (_changed('device = "ice_collar"', 'device = "ice_colar"'), ["ice_colar", "ice_collar"]),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("verb", ["simulate", "compare"])
def test_bad_input_is_one_sentence_and_nothing_is_written(call, tmp_path, name, verb):
    make, words = BAD[name]
    content = make(tmp_path)
    path = tmp_path / "bad.session.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    before = sorted(tmp_path.iterdir())
    options = ["--variant", "collar"] if verb == "simulate" and "device" in name else []
    code, out, err = call(verb, path, *options, "--json", "--out", tmp_path / "out.nc", "--picture", tmp_path / "out.png")
    assert code == 2 and out == "" and err.count("\n") == 1 and err.endswith(".\n"), err
    for word in words:
        assert word in err, err
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("cooling", "words"),
    [
        ("ice_colar", ["did you mean 'ice_collar'"]),
        ("ice_collar:ice=0.2", ["did you mean 'ice_kg'"]),
        ("ice_collar:ice_kg=9", ["ice_kg is 9 kg"]),
        ("ice_collar:ice_kg", ["field=value"]),
        ("ice_collar:from_min=10,to_min=5", ["to_min is 5 min"]),
    ],
)
def test_bad_cooling_flags(call, cooling, words):
    code, out, err = call("simulate", *RUN, "--cooling", cooling)
    assert code == 2 and out == "" and err.count("\n") == 1
    assert all(word in err for word in words), err


def test_a_broken_saved_run_is_refused(call, session, tmp_path):
    saved = tmp_path / "run.nc"
    assert call("simulate", session, "--out", saved)[0] == 0
    for content in (saved.read_bytes()[:3000], b"\x89HDF\r\n\x1a\n" + b"0" * 400):
        saved.write_bytes(content)
        code, out, err = call("simulate", saved)
        assert code == 2 and out == "" and "damaged" in err
    code, out, err = call("ledger", "--run", session, "--at-min", "3")
    assert code == 2 and out == "" and "not a saved run" in err


def test_exit_codes_of_failures(capsys, session, monkeypatch):
    from thermosim import story
    from thermosim.cli import main as entry
    from thermosim.errors import MissingExtra, NumericalFailure

    def raising(error):
        def simulate_session(*arguments, **options):
            raise error

        return simulate_session

    for error, code in (
        (NumericalFailure("The run stopped: a temperature left its range."), 4), (MissingExtra("Install the extra."), 5),
        (KeyboardInterrupt(), 130), (ZeroDivisionError("division by zero"), 1),
    ):  # fmt: skip
        monkeypatch.setattr(story, "simulate_session", raising(error))
        found = entry.run(["simulate", str(session), "--quiet"])  # not by ``call``, which lets no fault of its own pass
        out, err = capsys.readouterr()
        assert "Traceback" not in err and not re.search(r"\bsafe", err, re.I)
        assert found == code and out == "" and err.count("\n") == 1


# ---------------------------------------------------------------- ledger


def test_ledger_by_flags_closes_and_says_its_formulas(call):
    arguments = "--mass-kg 65 --height-m 1.75 --speed-m-s 3.333 --grade-pct -10 --air-temperature-C 30 --relative-humidity-pct 50"
    code, out, _ = call("ledger", *arguments.split(), "--skin-temperature-C", "34", "--json")
    result = json.loads(out)
    assert code == 0 and set(result["terms_W"]) == LEDGER_TERMS
    terms = dict(result["terms_W"])
    assert sum(terms.values()) - 2 * terms["storage"] == pytest.approx(result["closure_W"], abs=1e-9)
    assert abs(result["closure_W"]) < 1e-6 and result["terms_W"]["external_work"] > 0.0 and result["cautions"]
    _, out, _ = call("ledger", *arguments.split(), "--skin-temperature-C", "34")
    said = " ".join(out.split())
    for words in ("Metabolic power", "W/m²", "Closure", "Body heat capacity", "Limited by", "Solved for", "(30 − 34)"):
        assert words in said, words


def test_ledger_of_a_session_and_of_its_run(call, session, tmp_path):
    at = json.loads(call("ledger", session, "--at-min", "5", "--skin-temperature-C", "35", "--json")[1])
    slow = json.loads(call("ledger", session, "--pace-min-km", "6:00", "--skin-temperature-C", "35", "--json")[1])
    assert at["terms_W"]["metabolic_power"] > slow["terms_W"]["metabolic_power"]
    saved, picture = tmp_path / "run.nc", tmp_path / "ledger.png"
    call("simulate", session, "--out", saved)
    code, out, _ = call("ledger", "--run", saved, "--at-min", "10", "--json", "--picture", picture)
    result = json.loads(out)
    assert code == 0 and picture.stat().st_size > 10_000 and abs(result["closure_W"]) < 1.0
    assert result["terms_W"]["metabolic_power"] == pytest.approx(at["terms_W"]["metabolic_power"], rel=0.05)
    for bad in (["--at-min", "99"], [], ["--at-min", "3", "--mass-kg", "60"]):
        code, out, err = call("ledger", "--run", saved, *bad)
        assert code == 2 and out == "" and err.count("\n") == 1
    assert call("ledger", session, "--skin-temperature-C", "35", "--out", tmp_path / "terms.csv")[0] == 0
    table = (tmp_path / "terms.csv").read_text(encoding="utf-8")
    assert table.startswith("term,heat_flow_W,heat_flow_W_m2\nmetabolic_power,")


# ---------------------------------------------------------------- compare, new, check, demo


def test_compare_gives_degrees_minutes_and_never(call, session, tmp_path):
    code, out, _ = call("compare", session, "--json", "--out", tmp_path / "both", "--picture", tmp_path / "compare.png")
    result = json.loads(out)
    assert code == 0 and [one["name"] for one in result["variants"]] == ["none", "collar"]
    assert result["variants"][0]["device"] is None and result["variants"][1]["device"]["ceiling_K"]["median"] > 0.0
    contrast = result["contrasts"][0]
    assert contrast["name"] == "collar" and 0.0 < abs(contrast["core_difference_K"]["median"]) < 0.1
    assert cautions.FEEL_COOLER in result["cautions"] and (tmp_path / "compare.png").stat().st_size > 10_000
    names = sorted(path.name for path in (tmp_path / "both").iterdir())
    assert names == ["compare.csv", "compare.json", "compare.nc", "compare.png"]
    assert json.loads(call("compare", session, "--json")[1]) == result  # same seed, same numbers
    other = json.loads(call("compare", session, "--json", "--seed", "4")[1])
    assert other["variants"][0]["core_at_end_C"] != result["variants"][0]["core_at_end_C"]


def test_compare_in_words(call, session):
    code, out, _ = call("compare", session)
    said = " ".join(out.split())
    assert code == 0 and said.startswith("Not medical advice; modelled core is not measured core, band ±")
    pattern = r"collar against none: core [+−]?\d\.\d\d \(.*\) °C and heart rate .* bpm at minute 15; .*% never reach 38\.0"
    assert re.search(pattern, said)
    assert "Ceiling of collar" in said and "8 runners drawn, seed 3" in said


def test_compare_needs_two_variants(call):
    code, out, err = call("compare", *RUN)
    assert code == 2 and out == "" and "two or more" in err


@pytest.mark.parametrize("kind", ["session", "runner", "weather", "pace", "device"])
def test_a_new_file_passes_check(call, tmp_path, kind):
    from thermosim.inputs.new import ENDINGS

    path = tmp_path / f"mine{ENDINGS[kind]}"
    code, shown, _ = call("new", kind)
    assert code == 0 and call("new", kind, "--out", path)[0] == 0 and path.read_text(encoding="utf-8") == shown
    code, out, _ = call("check", path, "--json")
    assert code == 0 and "is valid" in json.loads(out)["files"][0]["summary"]
    code, _, err = call("new", kind, "--out", path)
    assert code == 2 and "exists already" in err
    assert call("new", kind, "--out", tmp_path / "mine.txt")[0] == 2


def test_check_names_file_line_and_remedy(call, tmp_path, session):
    path = tmp_path / "P-31.runner.toml"
    path.write_text("mass_kg = 63\nheight_m = 171\n", encoding="utf-8")
    code, out, err = call("check", session, path)
    assert code == 2 and out == "" and f"{path}, line 2: height_m is 171 m" in err and "1.71" in err


def test_defaults_are_told_from_other_warnings():
    defaults, others = terminal.split_defaults(
        ["age_y is the default, 35 y.", "heat_days is unknown: 0 days with heat exposure are assumed.", "Core passes 41 °C."]
    )
    assert defaults == ["age_y 35 y", "heat_days unknown (0 days with heat exposure are assumed)"]
    assert others == ["Core passes 41 °C."]


def test_demo_walks_through_the_main_job(tmp_path):
    begin = time.perf_counter()
    done = command("demo", "--json", cwd=tmp_path)
    lasted = time.perf_counter() - begin
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    folder = tmp_path / "thermosim-demo"
    for name in [*result["files"], *result["pictures"]]:
        assert (tmp_path / name).stat().st_size > 100
    assert len(result["pictures"]) == 4 and "°C" in result["answer"]
    assert "INVENTED" in (folder / "salt-pans.session.toml").read_text(encoding="utf-8")
    assert "safe" not in done.stderr.lower() and "Traceback" not in done.stderr
    if "Compiling" not in done.stderr:
        assert lasted < 30.0
    again = command("demo", cwd=tmp_path)
    assert again.returncode == 2 and again.stdout == "" and "--force" in again.stderr
    (folder / "diary.txt").write_text("mine")
    spared = command("demo", "--force", cwd=tmp_path)
    assert spared.returncode == 2 and "diary.txt" in spared.stderr and (folder / "salt-pans.session.toml").exists()


# ---------------------------------------------------------------- examples and a real recording


def test_the_invented_example_runs(call):
    code, out, _ = call("simulate", ROOT / "examples" / "harbour-lane.session.toml", "--json")
    result = json.loads(out)
    assert code == 0 and sum("is assumed" in line for line in result["warnings"]) == 2


@pytest.fixture
def records():
    if not RECORDS.exists():
        if os.environ.get("CI"):
            pytest.fail("the recorded run is not beside the checkout, and CI must have it")
        pytest.skip("the recorded run is not beside this checkout (../shared/data)")
    return RECORDS


def test_a_real_recorded_run_from_its_own_session_file(call, records, tmp_path):
    text = (ROOT / "examples" / "recorded-run.session.toml").read_text(encoding="utf-8")
    relative = "../../shared/data/run-records-5s/compressed-speed-distance-records.csv"
    assert relative in text
    path, picture = tmp_path / "run.session.toml", tmp_path / "run.png"
    path.write_text(text.replace(relative, os.path.relpath(records, tmp_path)), encoding="utf-8")
    code, out, _ = call("simulate", path, "--picture", picture, "--out", tmp_path / "run.csv", "--json")
    result = json.loads(out)
    assert code == 0 and set(result) == SIMULATE_KEYS | {"heart_rate_rmse_bpm", "heart_rate_bias_bpm", "gaps"}
    assert [gap["seconds"] for gap in result["gaps"]] == [115.0]
    assert picture.stat().st_size > 20_000 and 10_000 < result["distance_m"] < 10_500
    assert sum("is assumed" in line for line in result["warnings"]) == 8
    assert abs(result["heart_rate_bias_bpm"]) <= result["heart_rate_rmse_bpm"]
    with open(tmp_path / "run.csv", encoding="utf-8") as table:
        assert "heart_rate_recorded_bpm" in table.readline()
    _, out, _ = call("simulate", path)
    assert "longest 115 s" in out and "In 1 gap (115 s)" in " ".join(out.split())


def test_the_recorded_example_reads_where_it_stands(call, records):
    assert call("check", ROOT / "examples" / "recorded-run.session.toml")[0] == 0
