"""Comparing variants of sessions with blocks, rules and distances: whose joules, until when, at which minute."""

import json

import pytest

from thermosim.inputs.session import Session
from thermosim.study.compare import compare, contrast_minute

REPS = """
[runner]
mass_kg = 78
height_m = 1.83
threshold_heart_rate_bpm = 166
[weather]
air_temperature_C = 31
relative_humidity_pct = 85
[rule]
cap_bpm = 158
resume_below_bpm = 150
[[block]]
kind = "rep"
reps = 4
distance_m = 900
speed_m_s = 3.5
[[block]]
kind = "rest"
minutes = 3
{drink}
[ensemble]
members = 12
seed = 1
[[variant]]
name = "none"
[[variant]]
name = "collar"
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
covered = true
"""
DRINK = '[[block.cooling]]\ndevice = "drink"\nportion_kg = 0.15\ntemperature_C = 5'


def compared(tmp_path, text):
    path = tmp_path / "reps.session.toml"
    path.write_text(text, encoding="utf-8")
    return compare(Session.read(path)).result


def test_what_both_arms_drink_is_not_the_devices(tmp_path):
    dry, drinking = (compared(tmp_path, REPS.format(drink=drink))["variants"][1]["device"] for drink in ("", DRINK))
    for name in ("heat_from_skin_kJ", "ceiling_K", "condensed_g"):
        assert drinking[name]["median"] == pytest.approx(dry[name]["median"], rel=0.05)
    # 0.25 kg of ice at 0 °C takes no more than its melting and the warming of its water to 35 °C.
    assert drinking["heat_from_skin_kJ"]["high"] < 0.25 * (334.0 + 4.18 * 35.0)


def test_runs_slowed_by_a_cap_are_compared_until_they_finish(tmp_path):
    session = Session.from_json(json.dumps(_session(tmp_path, REPS.format(drink="")).to_dict()))
    found = compare(session).result
    assert found["minutes"] > float(session.effort.end_s[-1]) / 60.0 + 1.0
    for one in found["variants"]:
        assert one["share_finished"] > 0.8
    if any(one["share_finished"] < 1.0 for one in found["variants"]):
        assert any("have not finished, so never reaching the limit means not until then" in one for one in found["warnings"])


def _session(tmp_path, text):
    path = tmp_path / "one.session.toml"
    path.write_text(text, encoding="utf-8")
    return Session.read(path)


LONG = """
[runner]
mass_kg = 65
height_m = 1.75
[weather]
air_temperature_C = 28
relative_humidity_pct = 70
[effort]
speed_m_s = 2.6
minutes = 150
[[variant]]
name = "none"
[[variant]]
name = "late"
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
from_min = {begin}
to_min = {end}
"""


@pytest.mark.parametrize(("begin", "end", "minute"), [(0, 60, 45.0), (29, 60, 45.0), (60, 110, 110.0), (100, 150, 150.0)])
def test_the_contrast_is_told_when_the_device_has_worked(tmp_path, begin, end, minute):
    session = _session(tmp_path, LONG.format(begin=begin, end=end))
    assert contrast_minute(session, session.variants[1], 9000.0) == minute
