"""Device cards: written for every kind and read back, expanded in sessions and flags, refused with file and line."""

import dataclasses
import json
import re
import shutil
import tomllib
from pathlib import Path

import pytest

from thermosim import cautions
from thermosim.cooling import from_spec
from thermosim.cooling.cards import build, card_text, write_card
from thermosim.cooling.kinds import KINDS
from thermosim.errors import InputError
from thermosim.inputs.device_cards import expand_device, read_card
from thermosim.inputs.session import Session

VALID = Path(__file__).parent / "examples_valid"
OWN = VALID / "own-collar.device.toml"
SESSION = """\
[runner]
mass_kg = 65.0
height_m = 1.75
[weather]
air_temperature_C = 31
relative_humidity_pct = 85
[effort]
speed_m_s = 3.3
minutes = 10
[ensemble]
members = 4
[[variant]]
name = "none"
[[variant]]
name = "own"
[[variant.cooling]]
device = "own-collar.device.toml"
"""


@pytest.fixture
def folder(tmp_path):
    shutil.copy(OWN, tmp_path)
    (tmp_path / "own.session.toml").write_text(SESSION, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("kind", KINDS)
def test_a_card_of_every_kind_holds_every_field_and_is_the_kind_itself(call, tmp_path, kind):
    path = tmp_path / "mine.device.toml"
    code, _, err = call("new", "device", "--device", kind, "--out", path)
    assert code == 0, err
    spec, text = read_card(path, build), path.read_text(encoding="utf-8")
    assert from_spec(spec).device == KINDS[kind]()
    table = tomllib.loads(text)
    for field in dataclasses.fields(KINDS[kind]):
        if field.name == "name":
            continue
        assert field.name in table or f"# {field.name} =" in text, field.name
        known = KINDS[kind].card.get(field.name)
        if known is not None:
            one = table[field.name]
            assert one["source"] == known.source and one["value"] == known.value
            assert ("low" in one) == (known.sd > 0.0)
            if known.sd > 0.0:  # 90 % of a normal spread: 1.645 standard deviations each way, inside what is allowed
                assert one["low"] == pytest.approx(max(known.value - 1.645 * known.sd, known.low), rel=0.01, abs=1e-9)
    code, out, _ = call("check", path, "--json")
    assert code == 0 and f"of {kind} with" in json.loads(out)["files"][0]["summary"]


def test_the_cautions_of_cold_injury_stand_at_the_top_of_a_card():
    head = card_text("ice_collar", cautions.for_card()).split("kind =")[0]
    said = " ".join(line.lstrip("# !") for line in head.splitlines())
    for words in (
        "feel cooler than they are",
        "cloth layer between ice and skin",
        "bare ice 10 min at most on one spot",
        "colder than melting ice",
        "white or burning skin: remove",
        "front of the neck",
        "Raynaud's",
    ):
        assert words in said, words
    assert "Emergency treatment only" in card_text("immersion", [])


def test_the_valid_example_and_its_two_ways_of_writing_a_field(call):
    spec = read_card(OWN, build)
    assert spec["device"] == "ice_collar" and spec["name"] == "own collar" and spec["ice_kg"] == 0.22
    assert spec["ranges"] == {
        "contact_area_m2": [0.021, 0.027],
        "contact_conductance_W_m2K": [64.0, 81.0],
        "cover_resistance_m2K_W": [0.07, 0.12],
    }
    assert spec["sources"]["held_water_kg"] == "scales, invented" and "notes" not in spec
    said = " ".join(call("check", OWN)[1].split())
    assert "'own collar' of ice_collar with 6 of its fields, 3 of them with an interval" in said


def test_a_card_survives_writing_and_reading(tmp_path):
    spec = read_card(OWN, build)
    path = write_card(tmp_path / "again.device.toml", spec, cautions.for_card(), notes='with "quotes" and \\ in it')
    again = read_card(path, build)
    assert {name: value for name, value in again.items() if name in spec and name != "sources"} | {
        "sources": spec["sources"]
    } == spec
    assert {name: again["sources"][name] for name in spec["sources"]} == spec["sources"]  # defaults have sources of their own
    assert from_spec(again).device == from_spec(spec).device
    assert tomllib.loads(path.read_text(encoding="utf-8"))["notes"] == 'with "quotes" and \\ in it'
    with pytest.raises(InputError, match=r"allowed for a device is \*\.device\.toml"):
        write_card(tmp_path / "again.toml", spec, [])


def test_a_session_reads_the_card_beside_it_and_keeps_it_all(folder):
    path = folder / "own.session.toml"
    session = Session.read(path, build)
    table = session.variants[1].cooling[0]
    assert table == {**read_card(OWN, build)}
    (folder / OWN.name).unlink()
    assert Session.from_json(session.to_json()) == session  # nothing is read again
    worn = from_spec(table)
    assert worn.device.contact_conductance_W_m2K == 72 and worn.ranges["contact_conductance_W_m2K"] == (64.0, 81.0)


def test_fields_of_the_session_replace_the_cards(folder):
    text = SESSION + 'ice_kg = 0.3\ncontact_conductance_W_m2K = 40\nfrom_min = 2\nsources = {ice_kg = "scales today"}\n'
    (folder / "own.session.toml").write_text(text, encoding="utf-8")
    table = Session.read(folder / "own.session.toml", build).variants[1].cooling[0]
    assert (table["ice_kg"], table["contact_conductance_W_m2K"], table["from_min"]) == (0.3, 40, 2.0)
    assert "contact_conductance_W_m2K" not in table["ranges"]  # the card's interval was about its own value
    assert "contact_conductance_W_m2K" not in table["sources"] and table["sources"]["ice_kg"] == "scales today"
    assert table["ranges"]["contact_area_m2"] == [0.021, 0.027]
    assert expand_device({"device": "ice_collar", "ice_kg": 0.3}, folder) == {"device": "ice_collar", "ice_kg": 0.3}


def test_the_same_from_a_session_from_flags_and_from_a_saved_run(call, folder, monkeypatch):
    monkeypatch.chdir(folder)
    code, out, err = call("simulate", "own.session.toml", "--variant", "own", "--out", "run.nc", "--json")
    assert code == 0, err
    (folder / "elsewhere").mkdir()
    flags = (
        "--mass-kg 65 --height-m 1.75 --air-temperature-C 31 --relative-humidity-pct 85 --speed-m-s 3.3 --minutes 10".split()
    )
    again = call("simulate", *flags, "--cooling", "own-collar.device.toml", "--json")[1]
    less = call("simulate", *flags, "--cooling", "own-collar.device.toml:contact_conductance_W_m2K=25", "--json")[1]
    core = [json.loads(text)["mean_skin_at_end_C"] for text in (out, again, less)]
    assert core[0] == core[1] != core[2]
    (folder / OWN.name).unlink()
    assert json.loads(call("simulate", "run.nc", "--json")[1])["mean_skin_at_end_C"] == core[0]


def test_a_card_in_compare_draws_its_own_interval(call, folder, monkeypatch):
    monkeypatch.chdir(folder)
    narrow = OWN.read_text(encoding="utf-8")
    wide = narrow.replace("low = 64, high = 81", "low = 25, high = 145")
    taken = {}
    for name, text in (("narrow", narrow), ("wide", wide)):
        Path(OWN.name).write_text(text, encoding="utf-8")
        code, out, err = call("compare", "own.session.toml", "--json", "--members", 24)
        assert code == 0, err
        taken[name] = json.loads(out)["variants"][1]["device"]["heat_from_skin_kJ"]
    widths = {name: one["high"] - one["low"] for name, one in taken.items()}
    assert widths["wide"] > 1.5 * widths["narrow"]


LINE_OF_CONTACT = 'contact_conductance_W_m2K = {value = 72, low = 64, high = 81, source = "bench test, invented"}'


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('kind = "ice_collar"', 'kind = "ice_colar"', ["kind is 'ice_colar'", "did you mean 'ice_collar'"]),
        ('kind = "ice_collar"', "kind = 3", ["kind is 3"]),
        ('kind = "ice_collar"', 'kind = "ice_collar"\ndevice = "ice_vest"', ["device is given beside kind"]),
        ("ice_kg = 0.22", "ice_kg = -0.22", ["ice_kg is -0.22 kg", "allowed is 0.05 to 0.6 kg"]),
        ("ice_kg = 0.22", "ice_kg = 0.9", ["ice_kg is 0.9 kg", "0.05 to 0.6 kg", "correct the value or its unit"]),
        ("ice_kg = 0.22", "ice_kilo = 0.22", ["ice_kilo is not a field of ice_collar", "did you mean 'ice_kg'"]),
        ("ice_kg = 0.22", "charge_C = -12", ["charge_C is -12 °C", "nothing colder than melting ice", "cold injury"]),
        ("ice_kg = 0.22", "to_min = 10", ["to_min is not a field of a device card", "[[variant.cooling]]"]),
        (LINE_OF_CONTACT, LINE_OF_CONTACT.replace("64", "90"), ["low 90 above high 81", "swap"]),
        (LINE_OF_CONTACT, LINE_OF_CONTACT.replace("72", "99"), ["99, outside its own interval of 64 to 81"]),
        (LINE_OF_CONTACT, LINE_OF_CONTACT.replace("81", "400"), ["has high = 400 W/m2K, allowed is 20 to 150 W/m2K"]),
        (LINE_OF_CONTACT, LINE_OF_CONTACT.replace("low = 64, ", ""), ["has high alone"]),
        (LINE_OF_CONTACT, LINE_OF_CONTACT.replace("value = 72, ", ""), ["contact_conductance_W_m2K has no value"]),
        (
            LINE_OF_CONTACT,
            LINE_OF_CONTACT.replace("low", "lo"),
            ["contact_conductance_W_m2K.lo is not a known field", "did you mean low"],
        ),
        (LINE_OF_CONTACT, LINE_OF_CONTACT.replace("72", '"much"'), ["has 'much', allowed are finite numbers"]),
        (LINE_OF_CONTACT, LINE_OF_CONTACT.replace('"bench test, invented"', "3"), ["has 3 as source"]),
        ("covered = true", 'covered = "no"', ["covered is 'no'", "true and false"]),
        ('notes = "Sewn', "notes = 3 #", ["notes is 3"]),
    ],
)
def test_a_broken_card_is_one_sentence_with_its_line(call, folder, old, new, words):
    text = OWN.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path = folder / OWN.name
    path.write_text(text.replace(old, new), encoding="utf-8")
    broken = new.splitlines()[-1]
    line = next(k for k, one in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if one.startswith(broken))
    for arguments in (
        ["check", path],
        ["check", folder / "own.session.toml"],
        ["simulate", folder / "own.session.toml"],
        ["device", "show", path],
    ):
        code, out, err = call(*arguments)
        assert code == 2 and out == "" and len(err.strip().splitlines()) == 1, arguments
        assert f"{path}, line {line}: " in err, err
        for word in words:
            assert word in err, err


def test_a_card_without_its_kind_or_that_is_not_there(call, folder):
    path = folder / OWN.name
    path.write_text("ice_kg = 0.2\n", encoding="utf-8")
    assert "kind of device is missing" in call("check", path)[2]
    path.unlink()
    code, _, err = call("simulate", folder / "own.session.toml")
    assert code == 2 and re.search(r"own-collar\.device\.toml: there is no such file", err)
    code, _, err = call("new", "device", "--device", "ice_vst")
    assert code == 2 and "did you mean 'ice_vest'" in err
    code, _, err = call("new", "device", "--out", folder / "mine.toml")
    assert code == 2 and "*.device.toml" in err
