"""What is said of drinking too much and of tubs, what a bath is called, where drips land, what a device is shown with."""

import json

import pytest

import thermosim as ts
from thermosim.cooling.cloths import ColdTowel, WetCap, WetCloth, WetSleeves
from thermosim.cooling.packs import BELOW, IcedCap, IcedSleeves, IcePockets
from thermosim.parameters import SEGMENTS
from thermosim.story import simulate_session

RUNNER = ts.Runner(mass_kg=65, height_m=1.75, heat_days=5, vo2max_mL_kg_min=60, age_y=40)
MILD = ts.Weather.steady(air_temperature_C=24, relative_humidity_pct=50)
RUN = "simulate --mass-kg 65 --height-m 1.75 --minutes 20 --air-temperature-C 20 --relative-humidity-pct 50".split()


def said_of(worn, minutes=60.0, speed_m_s=3.0):
    parts = RUNNER, ts.Effort.steady(speed_m_s=speed_m_s, minutes=minutes), MILD
    ds = simulate_session(ts.Session.from_parts(*parts, cooling=[worn]))
    return ds, " ".join(json.loads(ds.attrs["warnings"]))


# --- drinking --------------------------------------------------------------------------------------------------------


def test_drinking_too_much_is_told_with_numbers():
    ds, words = said_of({"device": "drink", "portion_kg": 2.0, "from_min": 0.0, "refill_min": [5.0 * k for k in range(1, 12)]})
    told = float(words.split("has drunk ")[1].split(" kg more than is lost")[0])
    assert 24.0 - float(ds.sweat_loss[-1]) - 0.3 < told < 24.0  # less the vapour of breath and skin
    assert "low blood sodium" in words and "salt does not protect" in words and "24.0 kg are drunk within an hour" in words
    assert "g per kg of body mass, more than the 8 g/kg that were tried" in words


def test_usual_drinking_is_told_nothing():
    _, words = said_of({"device": "drink", "portion_kg": 0.15, "from_min": 10.0, "refill_min": [25.0, 40.0]})
    assert "drunk" not in words and "stomach" not in words


@pytest.mark.parametrize(("portion_kg", "told"), [(8.0 * 0.065, False), (0.53, True)])
def test_a_slurry_beyond_what_was_tried_is_told(portion_kg, told):
    _, words = said_of({"device": "ice_slurry", "portion_kg": portion_kg}, minutes=20.0)
    assert ("The stomach holds up to 8.2 g per kg" in words) == ("8 g/kg that were tried" in words) == told


@pytest.mark.parametrize(("portion_kg", "word"), [(1.0, "gained"), (0.05, "lost")])
def test_body_mass_is_told_as_a_scale_would_show_it(call, portion_kg, word):
    """1 kg drunk in a minute: its share of 65 kg, less what is sweated and breathed, though most is still in the stomach."""
    line = [*RUN, "--speed-m-s", 2.5, "--cooling", f"drink:portion_kg={portion_kg},from_min=1"]
    code, out, _ = call(*line, "--json")
    found = json.loads(out)
    assert code == 0
    without_breath = 100.0 * (portion_kg - found["sweat_loss_L"]) / 65.0
    assert without_breath - 0.2 < found["body_mass_change_pct"] < without_breath
    code, out, _ = call(*line)
    assert code == 0 and f"% of body mass {word} in all" in out


# --- baths -----------------------------------------------------------------------------------------------------------


def test_hands_in_a_tub_while_running_are_told():
    _, words = said_of({"device": "hand_dip", "from_min": 5.0, "to_min": 25.0}, minutes=30.0)
    assert "hand_dip holds skin in water while the runner moves at up to 3.0 m/s" in words and "nobody can do it" in words


@pytest.mark.parametrize(
    ("water_C", "to_min", "words"),
    [
        (5.0, 30.0, "Modelled skin in the water falls to 7 °C, below 8 °C: a plan with it would be refused."),
        (8.0, 30.0, "Modelled skin in the water stays below 12 °C for "),
        (8.0, 15.0, None),  # as cold, not as long
        (14.0, 30.0, None),
    ],
)
def test_cold_skin_in_a_bath_is_told(water_C, to_min, words):
    """Hands and forearms, standing: the skin in the water is held against the limits that hold under a device."""
    dip = {"device": "hand_dip", "temperature_C": water_C, "from_min": 5.0, "to_min": to_min}
    ds, said = said_of(dip, minutes=40.0, speed_m_s=0.0)
    assert float(ds.skin_temperature.sel(segment="hands").min()) > water_C
    assert words in said if words else "in the water" not in said


@pytest.mark.parametrize(
    ("device", "in_it", "words"),
    [("hand_dip", True, "in it from 5 min"), ("ice_collar", False, "worn from 5 min"), ("fan", False, "on from 5 min")],
)
def test_a_bath_is_not_worn(call, device, in_it, words):
    line = [*RUN, "--speed-m-s", 0, "--cooling", f"{device}:from_min=5,to_min=9"]
    code, out, _ = call(*line, "--json")
    assert code == 0 and [one["in_it"] for one in json.loads(out)["cooling_plan"]] == [in_it]
    code, out, _ = call(*line)
    assert code == 0 and words in " ".join(out.split())


# --- drips -----------------------------------------------------------------------------------------------------------


def landing(device):
    return {
        SEGMENTS[row["segment"]]: (SEGMENTS[row["drip_segment_1"]], SEGMENTS[row["drip_segment_2"]]) for row in device.rows()
    }


def test_drips_land_below_what_is_worn():
    assert landing(WetCloth(segments=("thighs", "chest"))) == {
        "thighs": ("lower_legs", "lower_legs"), "chest": ("abdomen", "abdomen"),
    }  # fmt: skip
    assert landing(IcePockets(segments=("back",))) == {"back": ("abdomen", "abdomen")}
    assert landing(ColdTowel(segments=("upper_arms",))) == {"upper_arms": ("forearms", "forearms")}
    assert set(BELOW) == set(SEGMENTS)


@pytest.mark.parametrize("segment", ["hands", "feet"])
def test_drips_of_hands_and_feet_fall_to_the_ground(segment):
    assert WetCloth(segments=(segment,)).rows()["drip_on_skin"] == 0.0


def test_places_of_the_kinds_drip_where_they_did():
    assert landing(WetCloth()) == {"neck": ("chest", "back")}
    assert landing(IcePockets()) == {"abdomen": ("abdomen", "thighs")}
    assert landing(WetCap()) == landing(IcedCap()) == {"head": ("face", "neck")}
    assert set(landing(ColdTowel()).values()) == {("chest", "back")}
    assert set(landing(WetSleeves()).values()) == set(landing(IcedSleeves()).values()) == {("forearms", "hands")}


# --- what a device is shown with -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("device", "shown_with"), [("sham", "mass_kg 0.3"), ("sham:mass_kg=0.3", ""), ("wet_cap", "")])
def test_what_was_not_given_is_said(call, device, shown_with):
    """The table shows a sham of 0.3 kg, the kind has none: shown alone its carried watts have their mass beside them."""
    code, out, _ = call("device", "show", device, "--json")
    found = json.loads(out)
    assert code == 0 and found["shown_with"] == shown_with
    assert device == "wet_cap" or found["carrying_W"] > 1.0
    code, out, _ = call("device", "show", device)
    assert code == 0 and ("Shown with" in out) == bool(shown_with) and shown_with in out
