"""The bench test of a device: hand-checked numbers, truth found again from synthetic readings, files through the command line."""

import json
import math
import tomllib

import numpy as np
import pytest

import thermosim as ts
from thermosim import cautions
from thermosim.cooling import IceCollar
from thermosim.cooling.cards import build
from thermosim.inputs.device_cards import read_card
from thermosim.inputs.mass_readings import read_mass
from thermosim.study.bench import alone, at_rest, moving
from thermosim.study.bench_fit import Bench, fit_bench, resolution_of
from thermosim.study.bench_result import loaded_ice, melted_at
from thermosim.study.ice_left import most_heat

PERSON = ts.Runner(mass_kg=70, height_m=1.75)
DRY_KG = 0.08
TRUTH = {"contact_conductance_W_m2K": 75.0, "cover_resistance_m2K_W": 0.10, "held_water_kg": 0.06}


@pytest.fixture(scope="module")
def rest():
    return at_rest(PERSON, 24.0, 50.0)


# ------------------------------------------------------- hand calculation: 250 g, 0.025 m², 60 W/m²K, 31 °C, 85 %, 3.3 m/s


@pytest.mark.parametrize(
    ("covered", "outer_W", "melted_min", "useful"),
    [(False, (30, 55), (14, 24), (0.35, 0.52)), (True, (5, 15), (28, 50), (0.65, 0.85))],
)
def test_worked_numbers_of_the_collar_running_in_humid_air(covered, outer_W, melted_min, useful):
    """32 W from skin by 60 x 0.025 x 21.3 K; 44 W (bare, 27 of them dew) or 9 W (covered) outside; 18 or 34 min; 42 or 78 %."""
    device = IceCollar(covered=covered)
    weather = ts.Weather.steady(air_temperature_C=31, relative_humidity_pct=85)
    runs = moving(PERSON, ts.Effort.steady(speed_m_s=3.3, minutes=60), weather)
    times = np.arange(0.0, 3601.0, 15.0)
    seen = alone(device.rows(), runs, times, skin_C=np.full(times.size, 21.33))
    melted = melted_at(seen, loaded_ice(device))
    at = np.searchsorted(times, [270.0, 330.0])
    skin, air, dew = (
        (values[at[1]] - values[at[0]]) / 60.0 for values in (seen.from_skin_J, seen.from_air_J, seen.from_vapour_J)
    )
    until = np.interp(melted, times, seen.from_skin_J)
    share = until / (until + np.interp(melted, times, seen.from_air_J + seen.from_vapour_J))
    print(
        f"skin {skin:.1f} W, outside {air + dew:.1f} W of which dew {dew:.1f} W, melted {melted / 60:.1f} min, useful {share:.2f}"
    )
    assert skin == pytest.approx(32.0, abs=0.05)
    assert outer_W[0] <= air + dew <= outer_W[1]
    assert melted_min[0] <= melted / 60.0 <= melted_min[1] and useful[0] <= share <= useful[1]
    if not covered:
        assert 15.0 <= dew <= 30.0 and dew > air


@pytest.mark.parametrize("covered", [True, False])
def test_the_bench_is_the_engine_where_air_moves(covered):
    """The same device on the same resting body, run by the package's own run: heat, water and skin agree."""
    weather = ts.Weather.steady(air_temperature_C=24, relative_humidity_pct=50)
    effort = ts.Effort.steady(speed_m_s=0.0, minutes=40, treadmill=True, fan_speed_m_s=2.0)
    ds = ts.simulate(PERSON, effort, weather, cooling=[IceCollar(covered=covered)], core_limit_C=39.0, save_every_s=15)
    seen = alone(IceCollar(covered=covered).rows(), moving(PERSON, effort, weather), ds.time.values)
    neck = ds.device_skin_temperature.isel(device=0).values
    assert np.abs(seen.skin_C - neck)[1:].max() < 0.05
    power = ds.device_power.isel(device=0)
    joules = np.trapezoid(power.sel(side="skin").values, ds.time.values)
    assert seen.from_skin_J[-1] + seen.run_off_J[-1] == pytest.approx(joules, rel=0.02)  # its skin side counts drips on skin
    condensed = float(ds.device_water.isel(device=0).sel(water="condensed")[-1])
    assert seen.condensed_kg[-1] == pytest.approx(condensed, rel=0.02, abs=1e-5)


def test_books_of_the_bench_close(rest):
    """Heat in is what the store and the outer side hold more; water in is what is there more."""
    for covered in (True, False):
        row = IceCollar(covered=covered).rows()
        seen = alone(row, rest, [0.0, 1800.0, 5400.0], insulation_W_m2K=0.0)
        assert np.abs(seen.from_skin_J).max() == 0.0
        gained = seen.mass_kg - seen.mass_kg[0]
        np.testing.assert_allclose(gained, seen.condensed_kg - seen.evaporated_kg - seen.dripped_kg, atol=1e-9)
        into = seen.from_air_J + seen.from_vapour_J + seen.with_water_J - (seen.store_J - seen.store_J[0])
        outer_C = into / row[0]["outer_J_K"]  # what is left over warmed the outer side, from 0 °C to below room
        assert outer_C[0] == 0.0 and 0.0 < outer_C[1] < 24.0 and 0.0 < outer_C[2] < 24.0


def test_dew_forms_only_below_the_dew_point():
    wet, dry = (
        alone(IceCollar(covered=False).rows(), at_rest(PERSON, 24.0, humidity), [0.0, 1200.0], insulation_W_m2K=0.0)
        for humidity in (50.0, 10.0)
    )
    # 24 °C, 50 %: 1.49 kPa against 0.61 to 0.9 kPa over ice; 10 %: 0.30 kPa, which dries it
    assert wet.condensed_kg[-1] > 5e-4 and wet.evaporated_kg[-1] == 0.0
    assert dry.condensed_kg[-1] == 0.0 and dry.evaporated_kg[-1] > 1e-4


# ---------------------------------------------------------------- truth found again


def readings(device, rest, *, seed, step_g, air_factor=1.0, minutes=60, ice=True, skin=True, skin_error_K=0.5, person_K=1.5):
    """Return the text of a file: what a scale of this step reads of a device, on a dummy and on somebody's skin."""
    rng = np.random.default_rng(seed)
    times = 60.0 * np.arange(0, minutes + 1, 5)
    grid = np.union1d(times, np.arange(0.0, 60.0 * minutes, 15.0))
    at = np.searchsorted(grid, times)
    lines = ["run,on,time_min,mass_kg,ice_left_kg,skin_temperature_C"]
    off, person = rng.normal(0.0, skin_error_K), rng.normal(0.0, person_K)

    def read(kg):
        return step_g * round(1e3 * (kg + rng.uniform(-0.5, 0.5) * 1e-3) / step_g) / 1e3

    for on in ("dummy", "skin"):
        if on == "dummy":
            seen = alone(device.rows(), rest, grid, insulation_W_m2K=0.0, air_factor=air_factor)
        else:
            course = alone(device.rows(), rest, grid, air_factor=air_factor).skin_C + person
            seen = alone(device.rows(), rest, grid, skin_C=np.maximum(course, 0.0), air_factor=air_factor)
        for k, i in enumerate(at):
            left = f"{read(seen.ice_kg[i]):.4f}" if ice and k in (len(at) // 2, len(at) - 1) else ""
            under = f"{max(seen.skin_C[i] + off, 0.0):.1f}" if on == "skin" and skin else ""
            lines.append(f"{on},{on},{times[k] / 60.0:g},{read(DRY_KG + seen.mass_kg[i]):.4f},{left},{under}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(("step_g", "covered"), [(1.0, True), (5.0, True), (2.0, False)])
def test_truth_lies_inside_its_interval_nine_times_in_ten(tmp_path, rest, step_g, covered):
    """Over seeds: device, air side, person and thermometer drawn; scales of 1 to 5 g. 90 % of 48 is 43, give or take 2."""
    inside, total, informed = 0, 0, 0
    for seed in range(16):
        rng = np.random.default_rng(1000 + seed)
        truth = {
            "contact_conductance_W_m2K": math.exp(rng.uniform(math.log(35.0), math.log(110.0))),
            "cover_resistance_m2K_W": math.exp(rng.uniform(math.log(0.04), math.log(0.2))),
            "held_water_kg": rng.uniform(0.03, 0.12),
        }
        path = tmp_path / f"{seed}.mass.csv"
        text = readings(
            IceCollar(covered=covered, **truth), rest, seed=seed, step_g=step_g, air_factor=math.exp(rng.normal(0, 0.2))
        )
        path.write_text(text, encoding="utf-8")
        runs = tuple(read_mass(path)[0])
        fitted = fit_bench(Bench(IceCollar(covered=covered), runs, (rest, rest), 1e-3 * step_g, (False, False), 0.0))
        for name, value in truth.items():
            if name in fitted.told:
                low, high = fitted.interval(name)[1:]
                inside, total, informed = inside + (low <= value <= high), total + 1, informed + fitted.told[name]
    print(f"{inside} of {total} inside, {informed} identified")
    assert total == (48 if covered else 32)  # a bare collar has no cover to fit
    assert 0.78 <= inside / total <= 1.0
    assert informed >= 0.8 * total  # and the intervals are worth something


def test_the_command_finds_a_collar_again(call, tmp_path, rest):
    path, card, picture = tmp_path / "own.mass.csv", tmp_path / "own.device.toml", tmp_path / "bench.png"
    path.write_text(readings(IceCollar(**TRUTH), rest, seed=11, step_g=2.0, skin_error_K=0.2), encoding="utf-8")
    code, out, err = call(
        "device",
        "test",
        path,
        "--kind",
        "ice_collar:ice_kg=0.25",
        "--room-temperature-C",
        24,
        "--room-humidity-pct",
        50,
        "--name",
        "own collar",
        "--out",
        card,
        "--picture",
        picture,
        "--json",
    )
    assert code == 0, err
    result = json.loads(out)
    found = {one["name"]: one for one in result["parameters"]}
    for name, value in TRUTH.items():
        assert found[name]["identified"] and found[name]["fitted"]["low"] <= value <= found[name]["fitted"]["high"], name
    assert result["scale_resolution_g"] == pytest.approx(2.0) and result["rmse_g"] < 2.0
    dummy, skin = result["runs"]
    assert dummy["heat_from_skin_kJ"]["high"] == 0.0 and dummy["melted_at_min"] is None
    for run in (dummy, skin):
        whole = sum(run[f"heat_from_{part}_kJ"]["median"] for part in ("skin", "air", "condensation"))
        assert run["heat_uptake_kJ"]["median"] == pytest.approx(whole, rel=1e-9)
    assert skin["heat_uptake_kJ"]["median"] == pytest.approx(0.25 * 334.0, rel=0.02)  # all of the ice, and no more
    share = skin["heat_from_skin_kJ"]["median"] / skin["heat_uptake_kJ"]["median"]
    assert skin["useful_share"]["median"] == pytest.approx(share) and 0.6 < share < 0.95
    assert skin["ceiling_K"]["median"] == pytest.approx(skin["heat_from_skin_kJ"]["median"] / (70 * 3.47), rel=1e-6)
    joules = 30.0 * np.array(skin["series"]["skin_W"])
    assert joules[: int(2 * skin["melted_at_min"]["median"])].sum() / 1e3 == pytest.approx(
        skin["heat_from_skin_kJ"]["median"], rel=0.03
    )
    assert cautions.MELTED_IS_NOT_TAKEN in " ".join(result["sentences"])
    assert cautions.FEEL_COOLER in result["cautions"] and cautions.COLD_INJURY in result["cautions"]
    spec, text = read_card(card, build), card.read_text(encoding="utf-8")
    assert spec["name"] == "own collar" and spec["contact_conductance_W_m2K"] == pytest.approx(75.0, rel=0.15)
    assert "bench test own.mass.csv" in spec["sources"]["contact_conductance_W_m2K"] and "Numb, white" in text
    assert picture.stat().st_size > 20_000
    assert call("check", card)[0] == 0
    assert call("device", "test", path, "--out", card, "--kind", "ice_collar")[0] == 2  # it exists already


def test_what_the_scales_cannot_tell_keeps_the_cards_value(call, tmp_path, rest):
    """Half an hour of a tight collar that does not drip, no ice weighed: nothing but dew is seen."""
    path, card = tmp_path / "own.mass.csv", tmp_path / "own.device.toml"
    text = readings(IceCollar(**{**TRUTH, "held_water_kg": 0.3}), rest, seed=4, step_g=5.0, minutes=30, ice=False, skin=False)
    path.write_text(text, encoding="utf-8")
    code, out, err = call(
        "device",
        "test",
        path,
        "--kind",
        "ice_collar:held_water_kg=0.3,contact_conductance_W_m2K=50",
        "--room-temperature-C",
        24,
        "--room-humidity-pct",
        50,
        "--out",
        card,
        "--json",
    )
    assert code == 0, err
    result = json.loads(out)
    found = {one["name"]: one for one in result["parameters"]}
    assert not found["contact_conductance_W_m2K"]["identified"] and not found["cover_resistance_m2K_W"]["identified"]
    said = " ".join(result["warnings"])
    assert "contact_conductance_W_m2K is not identified" in said and "Skin under the device was not measured" in said
    assert "see melting only when water drips" in said
    spec = read_card(card, build)
    assert spec["contact_conductance_W_m2K"] == 50 and "contact_conductance_W_m2K" not in spec.get("ranges", {})
    assert spec["sources"]["contact_conductance_W_m2K"].startswith("not identified by the bench test")
    assert "NOT IDENTIFIED" in card.read_text(encoding="utf-8")
    assert tomllib.loads(card.read_text(encoding="utf-8"))["covered"] is True


def test_a_file_a_run_and_conditions_in_the_file(call, tmp_path, rest):
    text = readings(IceCollar(**TRUTH), rest, seed=5, step_g=1.0)
    header, *lines = text.splitlines()
    plain = ",".join(header.split(",")[2:])
    paths = []
    for on in ("dummy", "skin"):
        rows = [",".join(line.split(",")[2:]) for line in lines if line.startswith(on)]
        head = [
            f"# on = {on}",
            "# kind = ice_collar:ice_kg=0.25",
            "# room_temperature_C = 24",
            "# room_humidity_pct = 50  # by the door",
        ]
        paths.append(tmp_path / f"{on}.mass.csv")
        paths[-1].write_text("\n".join([*head, plain, *rows]) + "\n", encoding="utf-8")
    both = tmp_path / "both.mass.csv"
    both.write_text(text, encoding="utf-8")
    apart = json.loads(call("device", "test", *paths, "--json")[1])
    flags = ["--kind", "ice_collar:ice_kg=0.25", "--room-temperature-C", 24, "--room-humidity-pct", 50]
    together = json.loads(call("device", "test", both, *flags, "--json")[1])
    for one, other in zip(apart["parameters"], together["parameters"], strict=True):
        assert one["fitted"]["median"] == pytest.approx(other["fitted"]["median"], rel=1e-6, abs=1e-9)
    code, out, _ = call("device", "test", *paths)
    said = " ".join(out.split())
    assert (
        code == 0
        and cautions.MELTED_IS_NOT_TAKEN in said
        and "Ceiling" in said
        and "% of what it took came from skin" in said
    )


def test_the_new_file_of_readings_is_a_whole_bench_test(call, tmp_path):
    path = tmp_path / "mine.mass.csv"
    assert call("new", "mass", "--out", path)[0] == 0 and call("check", path)[0] == 0
    code, out, err = call("device", "test", path, "--json")
    assert code == 0, err
    result = json.loads(out)
    assert all(one["identified"] and not one["at_bound"] for one in result["parameters"])


def test_a_wet_cloth_that_dries_has_no_useful_share(call, tmp_path):
    """In dry air its outer side gives off more than the air brings: a share of what it took means nothing then."""
    rows = ["skin,0,0.170", "skin,10,0.166", "skin,20,0.162", "skin,30,0.158"]
    path = tmp_path / "cloth.mass.csv"
    path.write_text("on,time_min,mass_kg\n" + "\n".join(rows) + "\n", encoding="utf-8")
    flags = ["--kind", "wet_cloth", "--room-temperature-C", 24, "--room-humidity-pct", 20]
    code, out, err = call("device", "test", path, *flags, "--json")
    assert code == 0, err
    result = json.loads(out)
    (run,) = result["runs"]
    assert run["useful_share"] is None and run["melted_at_min"] is None and run["evaporated_g"]["median"] > 3.0
    assert run["heat_from_condensation_kJ"]["median"] < 0.0 and "gives heat off" in result["answer"][1]
    assert "Without a run on a dummy" in " ".join(result["warnings"])
    assert call("device", "test", path, *flags)[0] == 0


def test_resolution_is_told_from_the_readings(tmp_path, rest):
    for step in (1.0, 2.0, 5.0):
        path = tmp_path / f"{step:g}.mass.csv"
        path.write_text(readings(IceCollar(**TRUTH), rest, seed=6, step_g=step), encoding="utf-8")
        assert 1e3 * resolution_of(read_mass(path)[0]) == pytest.approx(step)


# ---------------------------------------------------------------- bad readings

GOOD = """\
# kind = ice_collar:ice_kg=0.25
# room_temperature_C = 24
# room_humidity_pct = 50
on,time_min,mass_kg,ice_left_kg
skin,0,0.330,
skin,10,0.330,0.18
skin,20,0.310,
skin,30,0.250,0.06
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("skin,10,0.330,0.18", "skin,10,0.330,-0.18", 6, ["ice_left_kg is -0.18 kg", "allowed is 0 to 20 kg"]),
        ("skin,10,0.330,0.18", "skin,10,,0.18", 6, ["mass_kg is blank", "fill the cell"]),
        ("skin,10,0.330,0.18", "skin,,0.330,0.18", 6, ["time_min is blank"]),
        ("skin,20,0.310,", "skin,5,0.310,", 7, ["runs backwards", "time_min"]),
        ("skin,20,0.310,", "skin,10,0.310,", 7, ["repeats"]),
        ("skin,20,0.310,", "skin,20,310,", 7, ["mass_kg is 310 kg", "looks like g: write 0.31 kg"]),
        ("skin,20,0.310,", "skin,20,much,", 7, ["mass_kg is 'much'"]),
        ("skin,20,0.310,", "skn,20,0.310,", 7, ["on is 'skn'", "did you mean skin"]),
        ("skin,20,0.310,", "skin,20,0.310", 7, ["has 3 cells, the header has 4"]),
        ("skin,30,0.250,0.06", "skin,30,0.250,0.20", 8, ["ice_left_kg is 0.2 kg after 0.18 kg", "only melts"]),
        ("skin,10,0.330,0.18", "skin,10,0.330,0.29", 6, ["ice_left_kg is 0.29 kg, but 0.25 kg was loaded", "--kind"]),
        ("time_min,mass_kg", "time_min,mas_kg", 4, ["mas_kg is not a known field", "did you mean mass_kg"]),
        ("time_min,mass_kg,ice_left_kg", "time_min,skin_temperature_C,ice_left_kg", 4, ["mass_kg is missing"]),
        ("# room_humidity_pct = 50", "# room_humidity_pct = 140", 3, ["room_humidity_pct is 140 %", "0 to 100 %"]),
        (
            "# room_humidity_pct = 50",
            "# room_humid = 50",
            3,
            ["room_humid is not a known field", "did you mean room_humidity_pct"],
        ),
        ("# room_humidity_pct = 50", "#", None, ["room_humidity_pct is missing", "--room-humidity-pct"]),
        ("ice_collar:ice_kg=0.25", "ice_colar:ice_kg=0.25", None, ["kind is 'ice_colar'", "did you mean 'ice_collar'"]),
        ("ice_collar:ice_kg=0.25", "ice_collar:ice_kg=-0.25", None, ["ice_kg is -0.25 kg"]),
        ("ice_collar:ice_kg=0.25", "drink", None, ["kind is 'drink'", "allowed are devices that lie on skin"]),
        # 24 °C, 20 %: the dew point is near -0.5 °C, so nothing can gain 30 g from this air
        (
            "# room_humidity_pct = 50",
            "# room_humidity_pct = 15",
            6,
            ["mass_kg is 0.33 kg, 30 g more than before", "no dew can form"],
        ),
    ],
)
def test_bad_readings_are_one_sentence_with_file_and_line(call, tmp_path, old, new, line, words):
    text = GOOD if "15" not in new[-3:] else GOOD.replace("skin,0,0.330,", "skin,0,0.300,")
    assert text.count(old) == 1
    path = tmp_path / "bad.mass.csv"
    path.write_text(text.replace(old, new), encoding="utf-8")
    code, out, err = call("device", "test", path, "--out", tmp_path / "own.device.toml")
    assert code == 2 and out == "" and len(err.strip().splitlines()) == 1, err
    if line is not None:
        assert f"{path}, line {line}: " in err, err
    for word in words:
        assert word in err, err
    assert not (tmp_path / "own.device.toml").exists()


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        (["--kind", "ice_colar"], ["device is 'ice_colar'", "did you mean 'ice_collar'"]),
        (["--on", "dumy"], ["on is 'dumy'", "did you mean dummy"]),
        (["--room-temperature-C", "93"], ["room_temperature_C is 93 °C", "0 to 50 °C"]),
        (["--room-temperature-C", "nan"], ["room_temperature_C is nan"]),
        (["--scale-resolution-g", "-1"], ["scale_resolution_g is -1 g"]),
        (["--dummy-insulation-W-m2K", "-1"], ["dummy_insulation_W_m2K is -1 W/m²K"]),
        (["--mass-kg", "7"], ["mass_kg is 7 kg"]),
        (["--out", "own.toml"], ["allowed is *.device.toml"]),
        (["--picture", "own.jpg"], [".png and .svg"]),
    ],
)
def test_bad_flags(call, tmp_path, flags, words):
    path = tmp_path / "good.mass.csv"
    path.write_text(GOOD, encoding="utf-8")
    code, out, err = call("device", "test", path, *flags)
    assert code == 2 and out == "" and len(err.strip().splitlines()) == 1, err
    for word in words:
        assert word in err, err


# ---------------------------------------------------------------- ice loaded and ice left


def test_the_most_that_ice_can_have_done(call):
    """0.20 kg melted: 66.8 kJ latent, 25.1 kJ by warming 30 K; 37 W or 51 W over 30 min; / (65 kg x 3.47 kJ/kgK)."""
    code, out, err = call(
        "device", "ice", "--ice-loaded-kg", 0.25, "--ice-left-kg", 0.05, "--minutes", 30, "--mass-kg", 65, "--json"
    )
    assert code == 0, err
    result = json.loads(out)
    (rep,) = result["reps"]
    assert rep["latent_kJ"] == pytest.approx(66.8) and rep["warming_kJ"] == pytest.approx(25.1, abs=0.05)
    assert rep["latent_mean_W"] == pytest.approx(37.1, abs=0.05) and rep["mean_W"] == pytest.approx(91.9 / 1.8, abs=0.05)
    assert rep["ceiling_K"] == pytest.approx(91.9 / 225.55, abs=0.001)
    assert cautions.ICE_THAT_IS_STILL_THERE in result["sentences"]
    assert cautions.FEEL_COOLER in result["cautions"]
    words = " ".join(
        call("device", "ice", "--ice-loaded-kg", 0.25, "--ice-left-kg", 0.05, "--minutes", 30, "--mass-kg", 65)[1].split()
    )
    assert "At most 92 kJ, 51 W over 30 min: a ceiling of 0.41 °C for 65 kg" in words and "stayed in the device" in words
    # all of 250 g: 83.5 kJ and at most 31 kJ more, as by hand
    whole = most_heat(0.25, 0.0, 30, 65)
    assert (round(whole["latent_kJ"], 1), round(whole["warming_kJ"])) == (83.5, 31)
    assert (
        cautions.ICE_THAT_IS_STILL_THERE
        not in json.loads(
            call("device", "ice", "--ice-loaded-kg", 0.25, "--ice-left-kg", 0, "--minutes", 30, "--mass-kg", 65, "--json")[1]
        )["sentences"]
    )


def test_reps_of_a_file_add_up(call, tmp_path):
    path = tmp_path / "reps.csv"
    path.write_text("rep,minutes,ice_loaded_kg,ice_left_kg\nA,10,0.25,0.15\nB,20,0.25,0.05\n", encoding="utf-8")
    result = json.loads(call("device", "ice", path, "--mass-kg", 65, "--json")[1])
    assert [rep["rep"] for rep in result["reps"]] == ["A", "B"]
    assert result["total"]["latent_kJ"] == pytest.approx(0.3 * 334.0)
    assert result["total"]["latent_mean_W"] == pytest.approx(0.3 * 334e3 / 1800.0)
    assert "rep" in call("device", "ice", path, "--mass-kg", 65)[1]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("B,20,0.25,-0.05", ["line 3: ice_left_kg is -0.05 kg", "never negative"]),
        ("B,20,-0.25,0", ["line 3: ice_loaded_kg is -0.25 kg"]),
        ("B,20,0.25,0.30", ["line 3: ice_left_kg is 0.3 kg, more than the 0.25 kg"]),
        ("B,20,0.25,", ["line 3: ice_left_kg is blank"]),
        ("B,0,0.25,0.1", ["line 3: minutes is 0 min", "0.5 to 1440 min"]),
        ("B,20,250,50", ["line 3: ice_loaded_kg is 250 kg", "not g"]),
    ],
)
def test_ice_that_cannot_be(call, tmp_path, row, words):
    path = tmp_path / "reps.csv"
    path.write_text(f"rep,minutes,ice_loaded_kg,ice_left_kg\nA,10,0.25,0.15\n{row}\n", encoding="utf-8")
    code, out, err = call("device", "ice", path, "--mass-kg", 65)
    assert code == 2 and out == "" and len(err.strip().splitlines()) == 1
    for word in words:
        assert word in err, err


def test_ice_by_flags_that_are_missing_or_wrong(call, tmp_path):
    assert "ice_left_kg is missing" in call("device", "ice", "--ice-loaded-kg", 0.2, "--minutes", 30, "--mass-kg", 65)[2]
    assert "mass_kg is missing" in call("device", "ice", "--ice-loaded-kg", 0.2)[2]
    code, _, err = call("device", "ice", "--ice-loaded-kg", -0.2, "--ice-left-kg", 0, "--minutes", 30, "--mass-kg", 65)
    assert code == 2 and "ice_loaded_kg is -0.2 kg" in err
    assert "is given beside a file" in call("device", "ice", tmp_path / "reps.csv", "--minutes", 30, "--mass-kg", 65)[2]


# ---------------------------------------------------------------- watts of a device


def test_show_one_device_by_kind_by_card_and_by_weather(call, tmp_path):
    code, out, err = call("device", "show", "ice_collar:covered=true", "--picture", tmp_path / "one.png", "--json")
    assert code == 0, err
    result = json.loads(out)
    assert 15.0 <= result["fresh_W"] <= 40.0 and result["inside"] and result["climate"] == "humid"
    assert len(result["time_min"]) == len(result["from_skin_W"]) and cautions.COLD_INJURY in result["cautions"]
    assert (tmp_path / "one.png").stat().st_size > 20_000
    card = tmp_path / "mine.device.toml"
    card.write_text('kind = "ice_collar"\nname = "mine"\ncontact_conductance_W_m2K = 30\n', encoding="utf-8")
    weaker = json.loads(call("device", "show", card, "--json")[1])
    assert weaker["fresh_W"] < 0.8 * result["fresh_W"]
    code, out, _ = call("device", "show", card, "--air-temperature-C", 15, "--relative-humidity-pct", 60)
    said = " ".join(out.split())
    assert code == 0 and said.startswith("Not medical advice") and "Mine, running:" in said and "Ceiling:" in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["ice_colar"], ["did you mean 'ice_collar'"]),
        (["ice_collar", "--climate", "humd"], ["did you mean 'humid'"]),
        (["ice_collar", "--climate", "humid", "--climate", "dry"], ["allowed is one"]),
        (["ice_collar", "--climate", "humid", "--air-temperature-C", "30"], ["drop one of them"]),
        (["--air-temperature-C", "30", "--relative-humidity-pct", "50"], ["name a device"]),
        (["ice_collar", "--air-temperature-C", "30"], ["relative_humidity_pct"]),
    ],
)
def test_what_show_refuses(call, arguments, words):
    code, out, err = call("device", "show", *arguments)
    assert code == 2 and out == "" and len(err.strip().splitlines()) == 1
    for word in words:
        assert word in err, err


@pytest.mark.parametrize("name", ["test", "show", "ice"])
def test_every_help_has_an_example_and_its_json_keys(call, name):
    code, out, _ = call("device", name, "--help")
    assert code == 0 and "Example" in out and "JSON keys" in out and f"thermosim device {name} " in " ".join(out.split())
