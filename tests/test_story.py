"""``simulate``: its books are judged, its Dataset holds every input, and a run says where it leaves the model's range."""

import dataclasses
import json
import re
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import thermosim as ts
from thermosim import story
from thermosim.cooling import Worn, boundary_row, ice_collar
from thermosim.cooling.collars import IceCollar
from thermosim.engine.integrate import S_CLOSURE, S_THROUGHPUT, S_WATER
from thermosim.ranges import RANGES, outside

RUNNER = ts.Runner(mass_kg=65, height_m=1.75, heat_days=5, vo2max_mL_kg_min=60, age_y=40)
EFFORT = ts.Effort.steady(speed_m_s=3.0, minutes=10)
MILD = ts.Weather.steady(air_temperature_C=24, relative_humidity_pct=50)


def said(ds):
    return json.loads(ds.attrs["warnings"])


def session(**fields):
    parts = [fields.pop(name, default) for name, default in (("runner", RUNNER), ("effort", EFFORT), ("weather", MILD))]
    return ts.Session.from_parts(*parts, **fields)


@dataclasses.dataclass(frozen=True)
class Pouch:
    """A device of the user's own code; a field of it is no plain value."""

    sizes: tuple = (0.02, 0.03)
    name: str = "pouch"

    def rows(self):
        return np.concatenate([boundary_row("back", area_m2=area, contact_W_m2K=30.0, charge_kg=0.1) for area in self.sizes])


# --- the books ------------------------------------------------------------------------------------------------------


@pytest.fixture
def spoil(monkeypatch):
    """Let the engine return a run with something changed."""

    def with_change(change):
        original = story.engine.run

        def spoilt(*arguments, **named):
            trajectory = original(*arguments, **named)
            change(trajectory)
            return trajectory

        monkeypatch.setattr(story.engine, "run", spoilt)

    return with_change


def change_summary(slot, number):
    def change(trajectory):
        trajectory.summary[slot] = number

    return change


def lose_water(trajectory):
    trajectory.states[-1, 51] += 1e-3  # on the head's skin


def heat_the_device(trajectory):
    trajectory.states[-1, 82 + 2] += 500.0  # J in its store


def warm_the_trunk(trajectory):
    trajectory.states[-1, 3] += 0.5  # the chest's core


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (change_summary(S_CLOSURE, 1e3), "energy"), (change_summary(S_CLOSURE, np.nan), "energy"), (warm_the_trunk, "energy"),
        (change_summary(S_WATER, 2e-6), "water"), (lose_water, "water"), (heat_the_device, "device"),
    ],
)  # fmt: skip
def test_a_run_whose_books_do_not_close_is_no_result(spoil, change, word):
    spoil(change)
    with pytest.raises(ts.NumericalFailure, match=f"The {word} books do not close"):
        ts.simulate(RUNNER, EFFORT, MILD, cooling=[ice_collar()])


def test_closure_of_the_whole_run_counts_too(spoil):
    """What the loop finds between samples is in the attribute, even where every sample closes."""
    spoil(lambda t: t.summary.__setitem__(S_CLOSURE, 3e-7 * t.summary[S_THROUGHPUT]))
    assert ts.simulate(RUNNER, EFFORT, MILD).attrs["energy_closure_relative"] == pytest.approx(3e-7)


# --- what is saved ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bad", [0, -15, float("nan"), float("inf"), 1e-9, "15", True])
def test_bad_steps_between_samples_are_refused(bad):
    with pytest.raises(ts.InputError, match="save_every_s .* 0.1 to 86400 s"):
        ts.simulate(RUNNER, EFFORT, MILD, save_every_s=bad)


@pytest.mark.parametrize("step", [7.0, 60, 451.3, 5000.0, None])
def test_start_and_end_are_always_saved(step):
    ds = ts.simulate(RUNNER, EFFORT, MILD, save_every_s=step)
    assert float(ds.time[0]) == 0.0 and float(ds.time[-1]) == 600.0
    assert ds.attrs["save_every_s"] == (12.0 if step is None else step)


def test_attributes_hold_every_input_and_run_again_gives_the_same_digits(tmp_path):
    overrides = {"sweat_gain_L_h_K": 0.8}
    ds = story.simulate_session(session(), overrides=overrides, two_node=True, save_every_s=37.0)
    ds.to_netcdf(tmp_path / "run.nc", engine="h5netcdf")
    with xr.open_dataset(tmp_path / "run.nc", engine="h5netcdf", decode_times=False) as saved:
        attrs = dict(saved.attrs)
    again = story.simulate_session(
        ts.Session.from_json(attrs["inputs"]), attrs["variant"], overrides=json.loads(attrs["overrides"]),
        two_node=bool(attrs["two_node"]), save_every_s=float(attrs["save_every_s"]),
    )  # fmt: skip
    xr.testing.assert_identical(ds, again)
    plain = story.simulate_session(session(), save_every_s=37.0)
    assert float(plain.sweat_loss[-1]) != float(ds.sweat_loss[-1])


def test_the_command_runs_a_saved_run_again_with_all_its_inputs(tmp_path, capsys):
    from thermosim.cli.main import main

    collar = Worn(IceCollar(ice_kg=0.2, name="front collar"), from_min=1.0, refill_min=(6.0,))
    ds = story.simulate_session(
        session(variants=[{"name": "run", "cooling": [ts.cooling.spec_of(collar)]}]),
        overrides={"skin_flow_gain_L_min_K": 2.5}, save_every_s=20.0,
    )  # fmt: skip
    ds.to_netcdf(tmp_path / "run.nc", engine="h5netcdf")
    with pytest.raises(SystemExit) as stop:
        main(["simulate", str(tmp_path / "run.nc"), "--out", str(tmp_path / "again.nc"), "--quiet"])
    assert not stop.value.code, capsys.readouterr().err
    with xr.open_dataset(tmp_path / "again.nc", engine="h5netcdf", decode_times=False) as again:
        xr.testing.assert_equal(ds, again.load())
    assert list(ds.device.values) == ["front collar"]


def test_unknown_overrides_name_the_nearest_and_bad_numbers_are_refused():
    with pytest.raises(ts.InputError, match="sweat_gain_L_h .*did you mean sweat_gain_L_h_K"):
        story.simulate_session(session(), overrides={"sweat_gain_L_h": 0.8})
    with pytest.raises(ts.InputError, match="sweat_gain_L_h_K is nan"):
        story.simulate_session(session(), overrides={"sweat_gain_L_h_K": float("nan")})
    far = story.simulate_session(session(), overrides={"sweat_gain_L_h_K": 5.0})
    assert any("sweat_gain_L_h_K is overridden with 5 L/h/K" in line for line in said(far))


def test_a_device_of_the_user_s_own_code_says_so_and_is_not_run_again(tmp_path, capsys):
    from thermosim.cli.main import main

    ds = ts.simulate(RUNNER, EFFORT, MILD, cooling=[Pouch(), ice_collar()])
    assert json.loads(ds.attrs["own_devices"]) == ["pouch"]
    (line,) = [line for line in said(ds) if "own code" in line]
    assert "pouch" in line and "cannot be run again" in line
    assert not any("own code" in line for line in said(ts.simulate(RUNNER, EFFORT, MILD, cooling=[ice_collar()])))
    ds.to_netcdf(tmp_path / "run.nc", engine="h5netcdf")
    with pytest.raises(SystemExit) as stop:
        main(["simulate", str(tmp_path / "run.nc")])
    assert stop.value.code == 2 and "pouch comes from the user's own code" in " ".join(capsys.readouterr().err.split())


def test_a_device_that_borrows_a_package_name_is_still_the_user_s_own():
    ds = ts.simulate(RUNNER, EFFORT, MILD, cooling=[Pouch(name="ice_collar")])
    assert json.loads(ds.attrs["own_devices"]) == ["ice_collar"]


def test_coordinates_say_what_they_are():
    ds = ts.simulate(RUNNER, EFFORT, MILD, cooling=[ice_collar()])
    assert {"segment", "layer", "term", "part", "device", "side", "water"} <= set(ds.dims)
    assert all(ds[name].attrs.get("long_name") for name in ds.dims)


# --- limits ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", [{"age_y": 16}, {"pregnant": True}])
def test_outside_the_adult_model_no_limit_is_assumed_anywhere(who):
    runner = ts.Runner(mass_kg=54, height_m=1.64, **who)
    one = session(runner=runner)
    assert np.isnan(one.core_limit_C) and not any("core limit" in line for line in one.warnings())
    ds = ts.simulate(runner, EFFORT, MILD)
    assert np.isnan(ds.attrs["limit_C"]) and np.isnan(ds.attrs["time_to_limit_s"])
    assert not any("core limit is the default" in line for line in said(ds))
    assert any("no default limit" in line for line in said(ds))
    assert ts.simulate(runner, EFFORT, MILD, core_limit_C=38.0).attrs["limit_C"] == 38.0


# --- the heart at its maximum --------------------------------------------------------------------------------------------


def test_a_heart_at_its_maximum_is_said(call):
    """The demo race: the last quarter of an hour nobody runs like that."""
    code, out, err = call("simulate", Path(__file__).parents[1] / "examples" / "cistern-round.session.toml")
    text = " ".join((out + err).split())
    assert code == 0 and re.search(r"Heart rate is at its maximum, 184 bpm, for 1\d min, first at minute 35\d \(work", text)


@pytest.mark.parametrize("runner, words", [
    (RUNNER, 0), (RUNNER.model_copy(update={"vo2max_mL_kg_min": 35.0}), 1),
    (RUNNER.model_copy(update={"vo2max_mL_kg_min": 35.0, "beta_blocker": True}), 0),
], ids=["below it", "at it", "not modelled"])  # fmt: skip
def test_the_heart_is_said_to_be_at_its_maximum_only_where_it_is(runner, words):
    ds = ts.simulate(runner, EFFORT, MILD)
    found = [line for line in said(ds) if line.startswith("Heart rate is at its maximum")]
    assert len(found) == words
    if words:
        maximum = runner.maximum_heart_rate_resolved_bpm
        at_it = ds.heart_rate.values >= maximum - 1e-9
        minutes = float(np.diff(ds.time.values)[at_it[:-1]].sum()) / 60.0
        assert f"{maximum:.0f} bpm, for {minutes:.0f} min" in found[0]


# --- what is said of the end ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "every", "said_so"),
    [
        ([(3.4, 40)], 12.0, True),
        ([(3.4, 40)], 600.0, True),
        ([(3.4, 40), (0.0, 15)], 12.0, False),  # rests: core falls, nothing is wrong with the end
        ([(3.4, 40), (0.0, 2)], 12.0, False),  # rests: core still climbs a little
        ([(3.4, 40), (0.8, 30)], 12.0, False),  # walks: core falls
        ([(0.0, 120)], 12.0, True),  # never moved, in air that heats
    ],
)
def test_evaporation_is_told_as_limited_of_an_end_that_heats_only(parts, every, said_so):
    from thermosim.cli.run_words import answer

    hot = parts == [(0.0, 120)]
    air = ts.Weather.steady(air_temperature_C=46 if hot else 33, relative_humidity_pct=85 if hot else 80)
    effort = ts.Effort.table([{"minutes": minutes, "speed_m_s": speed} for speed, minutes in parts])
    ds = ts.simulate(RUNNER, effort, air, save_every_s=every)
    assert (ds.limited_by.values != 0).mean() > 0.05
    assert ("evaporation is limited by" in answer(ds)) == said_so
    assert any(line.startswith("Uncompensable for") for line in said(ds))


# --- outside the range --------------------------------------------------------------------------------------------------


def test_ranges_speak_only_outside():
    for name, entry in RANGES.items():
        assert outside(name, [max(entry.low, -1e9), min(entry.high, 1e9)]) == []
        far = entry.high + 1.0 if np.isfinite(entry.high) else entry.low - 1.0
        (sentence,) = outside(name, [far, np.nan])
        assert "{" not in sentence and sentence.endswith(".")
    assert outside("core_C", []) == []
    assert "−7 °C" in outside("breathed_air_C", [-7.0])[0]


COLD = ts.Weather.steady(air_temperature_C=-8, relative_humidity_pct=50, wind_speed_m_s=4)
HOT = ts.Weather.steady(air_temperature_C=47, relative_humidity_pct=10)
HIGH = ts.Weather.steady(air_temperature_C=18, relative_humidity_pct=50, altitude_m=1500)
LONG = ts.Weather.steady(air_temperature_C=33, relative_humidity_pct=40)


def steady(speed_m_s, minutes=10, **options):
    return ts.Effort.steady(speed_m_s=speed_m_s, minutes=minutes, **options)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"weather": COLD}, "Breathing losses in air of −8 °C"),
        ({"weather": HOT}, "Breathing losses in air of 47 °C"),
        ({"weather": COLD, "effort": steady(0.0, 40)}, "Shivering adds up to"),
        ({"weather": COLD, "effort": steady(0.0, 60)}, "Mean skin falls to"),
        ({"weather": COLD, "effort": steady(0.0, 90)}, "Skin of a body part falls to"),
        ({"weather": HIGH}, "below 90 kPa maximal oxygen uptake falls"),
        ({"runner": {"age_y": 74}}, "Age 74 y is above 70"),
        ({"runner": {"mass_kg": 115, "height_m": 1.90}}, "Body mass 115 kg"),
        ({"runner": {"mass_kg": 43, "height_m": 1.55}}, "Body mass 43 kg"),
        ({"effort": steady(1.2, 365)}, "The run lasts 365 min"),
        ({"effort": steady(2.7, gait="walk")}, "Walking is asked at 2.70 m/s"),
        ({"effort": steady(1.5, gait="run")}, "Running is asked at 1.50 m/s"),
        ({"effort": steady(1.9, cost="acsm")}, "ACSM walking cost at 114 m/min"),
        ({"effort": steady(0.7, cost="acsm")}, "ACSM walking cost at 42 m/min"),
        ({"effort": steady(2.1, cost="acsm")}, "ACSM running cost at 126 m/min"),
        ({"weather": LONG, "effort": steady(3.0, 215)}, "more than 5 %"),
        ({"weather": LONG, "effort": steady(3.0, 340)}, "more than 8 %"),
    ],
)
def test_a_run_says_where_it_leaves_the_range(change, words):
    usual = said(ts.simulate(RUNNER, EFFORT, MILD))
    runner = ts.Runner(**{"mass_kg": 65, "height_m": 1.75, "age_y": 40, "vo2max_mL_kg_min": 60, **change.get("runner", {})})
    lines = said(ts.simulate(runner, change.get("effort", EFFORT), change.get("weather", MILD)))
    assert not any(words in line for line in usual)
    assert sum(words in line for line in lines) == 1, lines
    assert words != "more than 8 %" or not any("more than 5 %" in line for line in lines)


def test_a_comparison_says_it_too():
    worn = [{"name": "none"}, {"name": "collar", "cooling": [{"device": "ice_collar"}]}]
    old = ts.Runner(mass_kg=65, height_m=1.75, age_y=74)
    lines = ts.compare(session(runner=old, variants=worn), members=4).result["warnings"]
    assert sum("Age 74 y" in line for line in lines) == 1


# --- what is no device -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cooling", "words"),
    [
        ([{"device": "ice_collar"}], "cooling[0] is a table, {'device': 'ice_collar'}, needed is a device"),
        ([ice_collar(0.2), {"device": "fan"}], "cooling[1] is a table"),
        ({"device": "ice_collar"}, "cooling is a table"),
        (ice_collar(0.2), "cooling is one device"),
        ("ice_collar", "cooling is 'ice_collar', needed is a list"),
        (["ice_collar"], "cooling[0] is 'ice_collar', needed is a device"),
        ([IceCollar], "cooling[0] is the class IceCollar"),
        ([None], "cooling[0] is None"),
        (5, "cooling is 5, needed is a list"),
    ],
)
def test_what_is_no_device_is_refused_in_one_sentence(cooling, words):
    parts = RUNNER, EFFORT, MILD
    for run in (lambda: ts.simulate(*parts, cooling=cooling), lambda: ts.simulate_session(session(), cooling=cooling)):
        with pytest.raises(ts.InputError) as refused:
            run()
        said = str(refused.value)
        assert words in said and "\n" not in said and len(said) < 200 and refused.value.remedy


def test_a_table_becomes_a_device_as_the_refusal_says():
    parts = RUNNER, EFFORT, MILD
    worn = ts.simulate(*parts, cooling=[ts.cooling.from_spec({"device": "fan"}), IceCollar(0.2)])
    assert list(worn.device.values) == ["fan", "ice_collar"]
    for table in ("fan", 5, None, [{"device": "fan"}], {"device": ["fan"]}):
        with pytest.raises(ts.InputError):
            ts.cooling.from_spec(table)
    for device in ({"device": "fan"}, 5, IceCollar, ice_collar(0.2)):
        with pytest.raises(ts.InputError, match="^device is "):
            Worn(device)


@pytest.mark.parametrize("verb", ["simulate_session", "compare"])
@pytest.mark.parametrize("given", ["mine.session.toml", None, 5])
def test_what_is_no_session_is_refused(verb, given):
    with pytest.raises(ts.InputError, match="needed is a Session; read one with Session.read"):
        getattr(ts, verb)(given)
