"""What is said of devices where a careless sentence would mislead: shares of both sides, ranges, verdicts, late readings."""

import json
import re

import pytest

SESSION = """title = "One device"
[runner]
mass_kg = 65.0
height_m = 1.75
[effort]
speed_m_s = 3.3
minutes = 60
[weather]
air_temperature_C = 38
relative_humidity_pct = 22
wind_speed_m_s = 1.0
solar_W_m2 = 700
[limits]
core_temperature_C = {limit}
[ensemble]
members = 40
seed = 3
[[variant]]
name = "none"
[[variant]]
name = "worn"
[[variant.cooling]]
{cooling}
"""


@pytest.fixture
def session(tmp_path):
    def write(cooling, limit=39.0):
        path = tmp_path / "one.session.toml"
        path.write_text(SESSION.format(cooling=cooling, limit=limit), encoding="utf-8")
        return path

    return write


def test_a_cloth_that_gives_heat_off_outside_has_no_useful_share(call, session):
    code, out, _ = call("compare", session('device = "wet_cloth"'), "--json")
    worn = json.loads(out)["variants"][1]["device"]
    assert code == 0 and worn["heat_from_air_kJ"]["median"] < 0.0 and worn["useful_share"] is None


def test_a_share_of_both_sides_is_a_share(call, session):
    worn = json.loads(call("compare", session('device = "ice_collar"'), "--json")[1])["variants"][1]["device"]
    assert 0.0 < worn["useful_share"]["low"] <= worn["useful_share"]["high"] <= 1.0


@pytest.mark.parametrize("cooling", ['device = "wet_cloth"', 'device = "fan"', "device = 'sham'"])
def test_core_is_said_to_stay_below_the_limit_only_where_it_does(call, session, cooling):
    """In hot running with some of the drawn runners at the limit no sentence says that core stays below it."""
    result = json.loads(call("compare", session(cooling), "--json")[1])
    never, contrast = result["variants"][0]["share_never"], result["contrasts"][0]
    assert never < 0.95
    said = contrast["no_reason"] or ""
    assert "core stays below the limit" not in said
    if said:
        assert re.search(rf"\b{100 * (1 - never):.0f} % of the drawn runners reach the limit", said)
        assert "comfort may be one" not in said


@pytest.mark.parametrize("ice_kg", ["-0.2", "0", "0.7", "1.0", "5"])
def test_one_field_has_one_allowed_range(call, session, ice_kg):
    code, _, err = call("simulate", session(f'device = "ice_collar"\nice_kg = {ice_kg}'), "--variant", "worn")
    said = " ".join(err.split())
    assert code == 2 and "ice_kg" in said and "0.05 to 0.6 kg" in said, said


def test_several_segments_by_flag(call):
    code, out, _ = call("device", "show", "ice_pockets:segments=chest+back", "--climate", "dry", "--json")
    assert code == 0 and json.loads(out)["from_skin_fresh_W"] > 0.0
    code, _, err = call("device", "show", "ice_pockets:segments=chest+bakc", "--climate", "dry")
    assert code == 2 and "did you mean 'back'" in err


def test_a_device_that_does_nothing_is_not_said_to_move_anything(call):
    code, out, _ = call("device", "show", "sham:mass_kg=0", "--climate", "dry", "--json")
    assert code == 0 and json.loads(out)["flags"] == []


@pytest.mark.parametrize("last", ["20,0.335", "250,0.30"])
def test_readings_that_end_late_or_melt_late_are_a_result(call, tmp_path, last):
    path = tmp_path / "late.mass.csv"
    path.write_text(f"run,on,time_min,mass_kg\na,dummy,0,0.33\na,dummy,10,0.331\na,dummy,{last}\n", encoding="utf-8")
    code, out, err = call("device", "test", path, "--kind", "ice_collar", "--room-temperature-C", 24,
                          "--room-humidity-pct", 50, "--json")  # fmt: skip
    assert code == 0, err
    series = json.loads(out)["runs"][0]["series"]
    assert len({len(values) for values in series.values()}) == 1 and series["time_min"][-1] >= float(last.split(",")[0]) - 1.0
