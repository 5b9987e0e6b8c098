"""Case files: the example of the page read back field by field, and every broken file refused in one sentence."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from thermosim.constants import CLO
from thermosim.errors import InputError
from thermosim.evidence import case as c
from thermosim.evidence.laws import evaluate, find_law
from thermosim.evidence.read_case import CASES, read_case, read_cases
from thermosim.physics.convection import forced_convection

PAGE = (Path(__file__).resolve().parents[1] / "docs" / "cases.md").read_text(encoding="utf-8")
EXAMPLE, NOT_MODELLED = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)


def written(folder: Path, text: str, name: str = "mine.case.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def example(tmp_path_factory) -> c.Case:
    return read_case(written(tmp_path_factory.mktemp("cases"), EXAMPLE))


# --- what is read ------------------------------------------------------------------------------------------------


def test_head_source_people(example):
    assert (example.id, example.role, example.study, example.not_modelled) == ("K1", "never_fitted", "ostrevane-invented", "")
    assert example.title.startswith("Runners of Ostrevane") and example.file.endswith("mine.case.toml")
    assert example.source == c.Source(
        citation="Invented for this page; no such study exists", status="from memory", note="All numbers are made up."
    )
    assert example.subjects == c.Subjects(
        n=9, mass_kg=64.0, height_m=1.73, sex="male", age_y=31, body_fat_pct=14, vo2max_mL_kg_min=56,
        resting_heart_rate_bpm=54, maximum_heart_rate_bpm=187, heat_days=3, clothing="light_kit",
        assumed=("body_fat_pct", "heat_days"),
    )  # fmt: skip
    assert example.subjects.economy_factor is None
    assert [(b.name, b.low, b.value, b.high) for b in example.blanks] == [("fan", 0.3, 1.0, 2.5), ("ice", 0.2, 0.4, 0.6),
                                                                          ("contact", 10, 20, 40)]  # fmt: skip


def test_variants_replace_subjects_only_where_they_say_so(example):
    dry, humid, drink = example.variants
    assert (dry.name, humid.name, drink.name) == ("dry", "humid", "humid, drink")
    assert dry.subjects == drink.subjects == example.subjects
    assert humid.subjects == replace(example.subjects, n=8, vo2max_mL_kg_min=57.5)
    assert dry.start == c.Start(site="rectal", temperature_C=37.2) and humid.start is None


def test_phases(example):
    dry, humid, drink = example.variants
    assert dry.phases == (
        c.Phase(
            label="run", activity="run", speed_m_s=2.9, grade_pct=1, minutes=60, until=c.Until(site="rectal", above_C=39.5),
            air_temperature_C=33, relative_humidity_pct=25, air_speed_m_s="?fan",
        ),
    )  # fmt: skip
    run, pool = humid.phases
    assert (run.metabolic_power_W, run.dew_point_C, run.until, run.efficiency) == (900.0, 28.0, None, None)
    assert (pool.activity, pool.minutes, pool.wet_bulb_C, pool.air_speed_m_s) == ("seated", 12.0, 24.0, 0.1)
    rest, outside = drink.phases
    assert rest.preparation and not outside.preparation
    assert (outside.outdoors, outside.wind_speed_m_s, outside.wind_from) == (True, 1.5, "cross")
    assert (outside.solar_W_m2, outside.mean_radiant_temperature_C, outside.vapour_pressure_kPa) == (500.0, 45.0, 3.6)
    assert outside.air_speed_m_s is None and rest.solar_W_m2 == 0.0


def test_cooling(example):
    _, humid, drink = example.variants
    assert humid.cooling == (
        c.Cooling(kind="bath", temperature_C=16, segments="to_chest", contact_W_m2K=200, phase="pool"),
        c.DeviceWorn(device="ice_vest", phase="run", from_min=5, to_min=30,
                     own={"melt_C": 15, "latent_J_kg": 190e3, "contact_conductance_W_m2K": "?contact"}),
    )  # fmt: skip
    assert drink.cooling == (
        c.Cooling(kind="drink", mass_g_kg=7.5, temperature_C=0, ice_share="?ice", at_min=(0, 10, 20, 30)),
        c.Cooling(kind="water_on_skin", mass_kg=0.25, temperature_C=15, segments=("head", "neck", "back"), at_min=(5, 25)),
    )


def test_measured_and_comparisons(example):
    dry, humid, _ = example.variants
    change, rate = dry.measured
    assert change.read == c.Read(quantity="rectal_temperature", read="change", phase="run", at_min=40)
    assert (change.value, change.sd, change.unit, change.tolerance, change.score, change.n) == (1.3, 0.3, "K", 0.3, True, 9)
    assert rate.read == c.Read(quantity="sweat_loss", read="rate", from_min=10, to_min=40) and rate.sd is None
    heat, heart = humid.measured
    assert heat.read == c.Read(quantity="device_heat_from_skin_W", read="mean", phase="run", from_min=5, to_min=30)
    assert heart.read.read == "value" and not heart.score and heart.n == 8  # of this variant
    (contrast,), (slope,), (order,), (limit,) = example.contrasts, example.slopes, example.orders, example.climate_limits
    assert (contrast.variant, contrast.against, contrast.measured.value) == ("humid, drink", "humid", -0.4)
    assert (slope.variants, slope.over, slope.measured.unit) == (("dry", "humid"), "required_evaporation", "W/W")
    assert (order.variants, order.measured.value, order.measured.unit) == (("dry", "humid"), 1.0, "")
    assert order.measured.tolerance == 0.0 and order.measured.sd is None
    assert (limit.variant, limit.departure_K, limit.relative_humidity_pct, limit.low_C, limit.high_C) == ("dry", 0.1, 40, 10, 36)


def test_outcomes(example):
    found = example.outcomes()
    assert [one.kind for one in found] == [*["measured"] * 4, "contrast", "slope", "order", "climate_limit", "law"]
    assert found[0].id == "K1/dry/rectal_temperature change, run, at 40 min"
    assert found[-1].id == "K1/convection at running speed"
    assert len({one.id for one in found}) == len(found)
    assert found[0].object == (example.variants[0], example.variants[0].measured[0])
    for one in found:
        asked = one.object[1] if one.kind == "measured" else getattr(one.object, "measured", one.object)
        assert one.measured is asked
        assert one.measured.tolerance >= 0.0 and one.measured.why and one.measured.score in (True, False)


def test_blanks_are_filled(example):
    centre, other = example.filled(), example.filled({"fan": 2.5})
    assert not centre.blanks and centre.variants[0].phases[0].air_speed_m_s == 1.0
    assert centre.variants[2].cooling[0].ice_share == 0.4
    assert centre.variants[1].cooling[1].own["contact_conductance_W_m2K"] == 20.0
    assert example.filled({"contact": 35.0}).variants[1].cooling[1].own["contact_conductance_W_m2K"] == 35.0
    assert [variant.phases[0].air_speed_m_s for variant in other.variants] == [2.5, 2.5, 0.1]
    assert other.variants[2] == centre.variants[2]
    with pytest.raises(InputError, match="fam is not a known field; did you mean fan"):
        example.filled({"fam": 1.0})


def test_not_modelled(tmp_path):
    case = read_case(written(tmp_path, NOT_MODELLED))
    assert case.not_modelled.startswith("air blown") and case.outcomes() == [] and case.study == "K2"


def test_published_cases_are_read():
    cases = read_cases()
    assert [case.file for case in cases] == sorted(str(path) for path in CASES.glob("*.case.toml"))
    names = [outcome.id for case in cases for outcome in case.outcomes()]
    assert len(names) > 100 and len(set(names)) == len(names)
    assert all(case.not_modelled or case.outcomes() for case in cases)


# --- laws --------------------------------------------------------------------------------------------------------


def law(**changed) -> c.Law:
    plain = {"name": "a", "function": "thermosim.physics.convection.forced_convection", "arguments": [3.0]}
    return c.Law(**{**plain, "value": 1, "unit": "1", "tolerance": 1, "why": "test", **changed})


def test_laws_are_evaluated(example):
    assert evaluate(law()) == pytest.approx(8.7 * 3.0**0.6) == forced_convection(3.0)
    assert evaluate(law(arguments={"air_speed_m_s": 0.5}, scale=2.0)) == pytest.approx(2 * (3.5 + 5.2 * 0.5))
    assert evaluate(law(function="thermosim.constants.CLO", arguments=[])) == CLO
    assert abs(evaluate(example.laws[0]) - example.laws[0].value) < example.laws[0].tolerance


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"function": "os.system"}, "allowed are names inside thermosim.physics"),
        ({"function": "thermosim.inputs.files.read_text"}, "allowed are names inside"),
        ({"function": "thermosim.physics.convection.math.sqrt"}, "there is no module thermosim.physics.convection.math"),
        ({"function": "thermosim.physics.convection.compiled"}, "has no such function or number"),
        ({"function": "thermosim.physics.convection.forced_convecton"}, "did you mean .*forced_convection;?"),
        ({"function": "thermosim.physics.convexion.forced_convection"}, "there is no module thermosim.physics.convexion"),
        ({"arguments": [1.0, 2.0]}, "arguments do not fit .*too many positional arguments"),
        ({"arguments": {"speed": 1.0}}, "arguments do not fit .*; give one number for each argument"),
        ({"function": "thermosim.constants.CLO"}, "arguments are given, but thermosim.constants.CLO is a number"),
        ({"function": "thermosim.physiology.body.surface_area_du_bois", "arguments": [-60.0, 1.7]}, "one finite number"),
    ],
)
def test_laws_refuse(changed, words):
    with pytest.raises(InputError, match=words) as refused:
        evaluate(law(**changed))
    assert "\n" not in str(refused.value)


def test_only_formulas_are_found():
    assert find_law("thermosim.physics.convection.forced_convection") is forced_convection
    for name in ("thermosim", "thermosim.physics", "thermosim.physics.", "thermosim.physics._jit.x", "thermosim.physicsx.y", ""):
        with pytest.raises(InputError):
            find_law(name)


# --- broken files: in ``new`` the mark § stands on the line to be blamed, or ``at`` is text of that line --------------

BROKEN = [
    # head
    ('id = "K1"', '§id = "K/1"', None, ["id is 'K/1'", "letters, digits"]),
    ('id = "K1"  ', "# ", None, ["id is missing", "add a short name"]),
    ('role = "never_fitted"', '§role = "fit"', None,
     ["role is 'fit'", "allowed are fitted, never_fitted", "did you mean fitted"]),
    ('title = "Run', '§titel = "Run', None, ["titel is not a known field", "did you mean title"]),
    ("[source]", "[sources]", "[sources]", ["sources is not a known field", "did you mean source"]),
    ('status = "from memory"', '§status = "seen"', None, ["status is 'seen'", "allowed are confirmed, from memory"]),
    ('citation = "Inv', '§citation = 3 # ', None, ["citation is 3", "allowed is a printable text"]),
    ('id = "K1"', 'not_modelled = "no"\nid = "K1"', "[[variant]]                           # one",
     ["beside not_modelled", "remove one"]),
    ('id = "K1"', 'id = "K1', 'id = "K1', ["is not valid TOML"]),
    # people
    ("mass_kg = 64.0", "§mass_kg = 6.4", None, ["mass_kg is 6.4 kg", "allowed is 30 to 160 kg", "body mass in kg"]),
    ("height_m = 1.73", "§height_m = 173", None, ["allowed is 1.2 to 2.3 m", "looks like cm: 173 cm is 1.73 m"]),
    ("{ n = 8, vo2max", "{ n = 8, resting_heart_rate_bpm = 110, maximum_heart_rate_bpm = 110, vo2max", "subjects = {",
     ["variant[2].subjects.resting_heart_rate_bpm is 110 bpm", "allowed is below maximum_heart_rate_bpm"]),
    ("{ n = 8, vo2max", "{ n = 8, height_m = 1.2, mass_kg = 110, vo2max", "subjects = {", ["body mass index", "check mass_kg"]),
    ("n = 9", "§n = 9.5", None, ["n is 9.5", "whole numbers", "people"]),
    ("n = 9\n", "", "[subjects]                            # means",
     ["n is missing", "add n, number of people, 1 to 10000 people"]),
    ('clothing = "light_kit"', '§clothing = "kit"', None, ["clothing is 'kit'", "shorts_and_shoes"]),
    ('["body_fat_pct", "heat_days"]', '["body_fat", "heat_days"]', "assumed",
     ["has 'body_fat'", "did you mean body_fat_pct"]),
    ('["body_fat_pct", "heat_days"]', '["economy_factor"]', "assumed", ["economy_factor", "no value is given"]),
    ("{ n = 8, vo2max", "{ n = 8, vo2_max", "subjects = {", ["vo2_max_mL_kg_min is not a known field", "vo2max_mL_kg_min"]),
    ("vo2max_mL_kg_min = 57.5 }", "vo2max_mL_kg_min = 570 }", "subjects = {", ["is 570 mL/kg/min", "15 to 95"]),
    # blanks
    ("low = 0.3", "low = 1.3", "value = 1.0", ["value is 1", "low (1.3) to high (2.5)"]),
    ("high = 2.5", "high = true", "high = true", ["high is True", "not a number"]),
    ("high = 2.5", "§high = 60", None, ["high is 60", "0 to 25 m/s", "air_speed_m_s uses this blank"]),
    ('name = "ice"', '§name = "fan"', None, ["name is 'fan' a second time", "rename"]),
    ('name = "ice"', 'name = "snow"', 'ice_share = "?ice"',
     ["there is no [[blank]] of that name", 'add [[blank]] with name = "ice"']),
    ('ice_share = "?ice"', 'ice_share = 0.5', 'name = "ice"', ["'ice', which nothing in the file uses"]),
    ('minutes = 12\n', '§minutes = "?fan"\n', None, ["minutes is '?fan', which is not a number", "0.05 to 1440 min"]),
    # variants and phases
    ('name = "humid"\n', '§name = "dry"\n', None, ["name is 'dry' a second time"]),
    ('name = "dry"\n', "", "[[variant]]                           # one", ["name is missing"]),
    ("temperature_C = 37.2", "temperature_C = 99", "start = {", ["temperature_C is 99 °C", "34 to 40.5 °C"]),
    ('{ site = "rectal", temp', '{ site = "ear", temp', "start = {", ["site is 'ear'", "core, rectal, oesophageal, gut"]),
    ("speed_m_s = 2.9                       #", "# ", '[[variant.phase]]\nlabel = "run"\nactivity = "run"\n# ',
     ["speed_m_s is missing"]),
    ("minutes = 60", "§minutes = 9000", None, ["minutes is 9000 min", "0.05 to 1440 min"]),
    ("above_C = 39.5", "above_C = 39.5, below_C = 37", "until = {", ["below_C is 37 beside above_C 39.5", "one stop level"]),
    ("above_C = 39.5", "above = 39.5", "until = {", ["above is not a known field", "above_C"]),
    ("air_temperature_C = 33\nrelative", "§air_temperature_C = 91\nrelative", None, ["91 °C", "looks like °F", "32.8 °C"]),
    ("relative_humidity_pct = 25\n", "", '[[variant.phase]]\nlabel = "run"\nactivity = "run"\nspeed_m_s = 2.9  ',
     ["no humidity is given", "give one of"]),
    ("dew_point_C = 28\n", "dew_point_C = 28\nwet_bulb_C = 29\n", "wet_bulb_C = 29",
     ["beside dew_point_C 28", "one humidity"]),
    ("dew_point_C = 28\n", "§dew_point_C = 35\n", None, ["dew_point_C is 35 °C", "at an air temperature of 33 °C"]),
    ("metabolic_power_W = 900               #", "heat_production_W = 800\n§metabolic_power_W = 900 #", None,
     ["metabolic_power_W is 900 beside heat_production_W 800", "one effort"]),
    ('activity = "seated"                   #', 'activity = "cycle" #', '[[variant.phase]]\nlabel = "pool"',
     ["no effort is given", "vo2max_pct (5 to 150 %)"]),
    ("minutes = 12\n", "minutes = 12\n§speed_m_s = 1\n", None, ["speed_m_s is 1", "with activity seated, which is rest"]),
    ("wind_speed_m_s = 1.5\n", "wind_speed_m_s = 1.5\n§air_speed_m_s = 3\n", None, ["air_speed_m_s is 3", "outdoors"]),
    ('wind_from = "cross"', '§wind_from = "west"', None, ["wind_from is 'west'", "head, tail, cross"]),
    ("speed_m_s = 2.9                       #", "§preparation = true\nspeed_m_s = 2.9 #", None,
     ["preparation is true in every phase", "at least one phase on the clock", "after the preparation"]),
    ('activity = "seated"                   #', '§activity = "arms" #', None,
     ["activity is 'arms'", "allowed are run, walk, cycle, stand, seated, lying"]),
    ('label = "pool"', '§preparation = true\nlabel = "pool"', None, ["after a phase on the clock", "leading phases"]),
    ('label = "pool"', '§label = "run"', None, ["label is 'run' a second time"]),
    ('label = "rest before"', 'lable = "rest before"', "lable", ["lable is not a known field", "did you mean label"]),
    ('[[variant.phase]]\nlabel = "rest before"', '[variant.phase]\nlabel = "rest before"',
     '[[variant.phase]]\nlabel = "run"\nactivity = "run"\nmetabolic_power_W = 900\n', ["is not valid TOML"]),
    # cooling
    ('kind = "bath"', '§kind = "tub"', None, ["kind is 'tub'", "drink, water_on_skin, bath, device"]),
    ('phase = "pool"', '§phase = "pond"', None, ["phase is 'pond'", "name of a phase", "known are run, pool"]),
    ('segments = "to_chest"', '§segments = "to_chin"', None, ["segments is 'to_chin'", "to_neck, to_chest"]),
    ('["head", "neck", "back"]', '["head", "nose"]', 'segments = ["head", "nose"]',
     ["'nose'", "allowed are head, face, neck"]),
    ("contact_W_m2K = 200", "§mass_kg = 1\ncontact_W_m2K = 200", None, ["mass_kg is 1", "with kind bath"]),
    ("at_min = [0, 10, 20, 30]", "§at_min = [0, 20, 10]", None, ["10 min after 20 min", "rising minutes"]),
    ("at_min = [0, 10, 20, 30]", "§at_min = [-10, 10]", None,
     ["at_min has -10 min", "allowed is 0 min or later", "first phase that is not preparation", "leave preparation = true out"]),
    ("at_min = [5, 25]", "§at_min = [-0.5, 25]", None, ["at_min has -0.5 min", "allowed is 0 min or later"]),
    ("at_min = [5, 25]", "§at_min = [5, 40]", None, ["at_min has 40 min", "0 to before 40 min, the clock of the variant"]),
    ('["head", "neck", "back"]\nat_min = [5, 25]', '["head", "face", "neck", "chest", "back", "hands", "feet", "thighs",\n'
     '"abdomen", "upper_arms", "forearms", "lower_legs"]\nat_min = [5, 25]\n[[variant.cooling]]\nkind = "water_on_skin"\n'
     'mass_kg = 0.2\ntemperature_C = 9\nat_min = [7]\nsegments = ["head", "face", "neck", "chest", "back", "hands", "feet",\n'
     '"thighs", "abdomen", "upper_arms", "forearms", "lower_legs"]\n[[variant.cooling]]\n§kind = "water_on_skin"\n'
     'mass_kg = 0.2\ntemperature_C = 9\nat_min = [6]\n'
     'segments = ["head", "face", "neck", "chest", "back", "abdomen", "feet", "thighs"]', None,
     ["kind makes 33 places on the body", "allowed are 32", "fewer segments"]),
    ("temperature_C = 0\n", "§temperature_C = 4\n", None, ["temperature_C is 4 °C with ice_share", "up to 0 °C"]),
    ("mass_g_kg = 7.5 ", "mass_kg = 10\n# ", "at_min = [0, 10", ["4 portions of 2.5 kg", "0.001 to 2 kg"]),
    ("mass_kg = 0.25 ", "# ", '[[variant.cooling]]\nkind = "water', ["mass_kg is missing", "0.005 to 10 kg"]),
    # devices and clothes as numbers
    ('device = "ice_vest"', '§device = "ice_west"', None,
     ["device is 'ice_west'", "allowed are ice_collar", "did you mean ice_vest"]),
    ('device = "ice_vest"\n', "", "[[variant.cooling]]\nkind = \"device\"", ["device is missing"]),
    ("melt_C = 15", "§melt_C = 50", None, ["melt_C is 50 °C", "allowed is 0 to 34 °C"]),
    ("melt_C = 15", "§melts_C = 15", None, ["melts_C is not a field of ice_vest", "did you mean 'melt_C'"]),
    ("melt_C = 15", "§melt_C = [15]", None, ["melt_C is [15]", "allowed is a number, a text, true or false"]),
    ("melt_C = 15", '§name = "?contact"', None, ["name is '?contact'", "allowed is a blank for filling_kg, melt_C"]),
    ("melt_C = 15", '§melt_C = "?melting"', None, ["melt_C is '?melting'", 'add [[blank]] with name = "melting"']),
    ("high = 40\n", "§high = 90\n", None, ["high is 90", "4 to 80 W/m2K", "contact_conductance_W_m2K uses this blank"]),
    ('phase = "run"                         #', '§phase = "walk" #', None, ["phase is 'walk'", "known are run, pool"]),
    ("to_min = 30\n\n", "§to_min = 50\n\n", None, ["to_min is 50 min", "up to 40 min, the phase run", "leave it out"]),
    ("to_min = 30\n\n", "§to_min = 4\n\n", None, ["to_min is 4 min", "the device goes on at 5 min"]),
    ("to_min = 30\n\n", "§refill_min = [20, 44]\n\n", None, ["refill_min has 44 min", "0 to before 40 min, the phase run"]),
    ("to_min = 30\n\n", 'to_min = 30\n[[variant.cooling]]\nkind = "device"\ndevice = "cold_towel"\nphase = "run"\n'
     'segments = ["chest"]\n§contact_area_m2 = 0.4\n\n', None,
     ["contact_area_m2", "m² of the chest", "allowed is 90 % of it"]),
    ('phase = "pool"\n\n', 'phase = "pool"\n[[variant.cooling]]\nkind = "device"\ndevice = "sponge"\n§segments = ["nose"]\n\n',
     None,
     ["segments is 'nose'", "allowed are head, face, neck"]),
    ('clothing = "light_kit"', "§clothing = { covered_fraction = 0.9, insulation_clo = 9, vapour_resistance_m2Pa_W = 8 }", None,
     ["insulation_clo is 9 clo", "allowed is 0 to 4 clo"]),
    ('clothing = "light_kit"', "§clothing = { covered_fraction = 0.9, insulation_clo = 0.9 }", None,
     ["vapour_resistance_m2Pa_W is missing", "0 to 200 m²Pa/W"]),
    ('clothing = "light_kit"', '§clothing = { covered_fraction = 0.9, insulation_clo = 1, vapour_resistance_m2Pa_W = "?w" }',
     None,
     ["vapour_resistance_m2Pa_W is '?w'", 'add [[blank]] with name = "w"']),
    # measured
    ('quantity = "device_heat_from_skin_W"\nread = "mean"', 'quantity = "device_heat_from_skin_W"\n§read = "rate"', None,
     ["read is rate, which device_heat_from_skin_W does not have", "use value, change or mean"]),
    ('quantity = "sweat_loss"\nread = "rate"\nfrom_min = 10\nto_min = 40\nvalue = 1.2\nunit = "L/h"',
     '§quantity = "device_heat_from_skin_W"\nread = "mean"\nvalue = 60\nunit = "W"', None,
     ["which needs cooling", "the variant 'dry' has none"]),
    ('quantity = "sweat_loss"', '§quantity = "sweat"', None, ["quantity is 'sweat'", "allowed are core_temperature"]),
    ('read = "rate"', '§read = "slope"', None, ["read is 'slope'", "value, change, rate, mean, time_to, onset"]),
    ("from_min = 10\n", "§at_min = 5\nfrom_min = 10\n", None, ["at_min is 5", "with read rate"]),
    ("to_min = 40\nvalue = 1.2", "§to_min = 4\nvalue = 1.2", None, ["to_min is 4 min", "more than from_min (10 min)"]),
    ('unit = "L/h"', '§unit = "mL/h"', None, ["unit is 'mL/h'", "rate of sweat_loss is L/h"]),
    ("at_min = 20\n", "§at_min = 50\n", None, ["at_min is 50 min", "0 to 40 min", "the phase run"]),
    ('phase = "run"\nat_min = 40\nvalue', 'phase = "ruin"\nat_min = 40\nvalue', 'phase = "ruin"',
     ["'ruin'", "did you mean run"]),
    ('why = "invented; twice the reading error"', '§why = " "', None, ["why is ' '"]),
    ("tolerance = 10\n", "§tolerance = 0\n", None, ["tolerance is 0", "allowed is more than 0"]),
    ("tolerance = 10\n", "", '[[variant.measured]]\nquantity = "heart', ["tolerance is missing"]),
    ("value = 1.3\n", "§value = nan\n", None, ["value is nan", "finite"]),
    ("sd = 0.3 ", "§sd = -0.3 ", None, ["sd is -0.3", "more than 0"]),
    ("score = false", '§score = "no"', None, ["score is 'no'", "true and false"]),
    # comparisons and laws
    ('against = "humid"', '§against = "humit"', None, ["against is 'humit'", "name of a variant", "did you mean humid"]),
    ('against = "humid"', 'against = "humid, drink"', 'against = "humid, drink"', ["the same variant"]),
    ('against = "humid"\n', "", "[[contrast]]", ["against is missing"]),
    ('over = "required_evaporation"', '§over = "air"', None, ["over is 'air'", "air_temperature_C"]),
    ('variants = ["dry", "humid"]\nover', '§variants = ["dry"]\nover', None, ["has 1 name", "at least two"]),
    ('[[order]] ', '[[orders]] ', "[[orders]]", ["orders is not a known field", "did you mean order"]),
    ('at_min = 40\nwhy = "invented; humid', '§tolerance = 1\nat_min = 40\nwhy = "invented; humid', None,
     ["tolerance is not a known"]),
    ("low_C = 10", "§low_C = 40", None, ["low_C is 40 °C", "less than high_C (36 °C)"]),
    ('unit = "°C" ', '§unit = "K" ', None, ["unit is 'K'", "corrected effective temperature"]),
    ("forced_convection", "forced_convektion", "function = ",
     ["no such function", "did you mean thermosim.physics.convection.forced"]),
    ("arguments = [3.0]", "§arguments = []", None, ["arguments do not fit", "missing a required argument"]),
    ("arguments = [3.0]", '§arguments = ["fast"]', None, ["arguments is 'fast'", "not a number"]),
    ('function = "thermosim', '§function = "numpy', None, ["allowed are names inside thermosim.physics"]),
    ("scale = 1.0", "§scale = inf", None, ["scale is inf", "finite"]),
    ("[[law]] ", "[law] ", "[law]", ["law is {", "write [[law]]"]),
]  # fmt: skip


@pytest.mark.parametrize("k", range(len(BROKEN)))
def test_one_thing_wrong(tmp_path, k):
    old, new, at, words = BROKEN[k]
    assert EXAMPLE.count(old) == 1, f"{old!r} stands {EXAMPLE.count(old)} times in the example"
    text = EXAMPLE.replace(old, new)
    if at is not None:
        assert text.replace("§", "").count(at) == 1, at
        text = text.replace("§", "").replace(at, f"§{at}")
    line = text[: text.index("§")].count("\n") + 1 if "§" in text else None
    path = written(tmp_path, text.replace("§", ""))
    with pytest.raises(InputError) as refused:
        read_case(path)
    sentence = str(refused.value)
    assert sentence.startswith(f"{path}, line {line}: " if line else f"{path}: "), sentence
    assert "\n" not in sentence and sentence.endswith(".") and "; " in sentence
    assert not re.search(r"[a-z]\. [A-Z]", sentence), sentence
    for word in words:
        assert word in sentence, (word, sentence)


def test_dataclasses_refuse_what_the_reader_refuses(example):
    """A case made in Python is checked like a file."""
    with pytest.raises(InputError, match=r"variant\[2\].name is 'dry' a second time"):
        replace(example, variants=(example.variants[0], replace(example.variants[1], name="dry")))
    with pytest.raises(InputError, match="minutes is -1 min, allowed is 0.05 to 1440 min"):
        replace(example.variants[0].phases[0], minutes=-1)
    with pytest.raises(InputError, match=r"blank\[2\].name is 'ice', which nothing"):
        replace(example, variants=example.variants[:2], contrasts=())


def test_more_than_one_reading(tmp_path):
    """The same read at another minute is another outcome; the same read twice is refused."""
    again = "\n[[variant.measured]]\nquantity = 'heart_rate'\nat_min = {}\nvalue = 150\nunit = 'bpm'\ntolerance = 9\nwhy = 'x'\n"
    head, mark, rest = EXAMPLE.partition('[[variant]]\nname = "humid"\n')
    case = read_case(written(tmp_path, head + again.format(20) + again.format(30) + mark + rest))
    assert [m.read.at_min for m in case.variants[0].measured] == [40.0, None, 20.0, 30.0]
    path = written(tmp_path, head + again.format(20) + again.format(20) + mark + rest)
    with pytest.raises(InputError, match="asks for 'K1/dry/heart_rate, at 20 min' a second time"):
        read_case(path)


# --- folders -----------------------------------------------------------------------------------------------------


def test_folders(tmp_path):
    with pytest.raises(InputError, match="has no .*case.toml file, needed is at least one"):
        read_cases(tmp_path)
    with pytest.raises(InputError, match="cannot be read as a folder"):
        read_cases(tmp_path / "nowhere")
    written(tmp_path, NOT_MODELLED, "b.case.toml")
    written(tmp_path, EXAMPLE, "a.case.toml")
    written(tmp_path, "no case", "notes.toml")
    assert [case.id for case in read_cases(tmp_path)] == ["K1", "K2"]
    path = written(tmp_path, "\n" + NOT_MODELLED, "c.case.toml")
    with pytest.raises(InputError) as refused:
        read_cases(tmp_path)
    assert str(refused.value).startswith(f"{path}, line 2: id is 'K2', which b.case.toml has already")


def test_what_is_no_text(tmp_path):
    path = tmp_path / "mine.case.toml"
    for content, words in ((b"", "is empty"), (b"id = '\xff'", "not UTF-8")):
        path.write_bytes(content)
        with pytest.raises(InputError, match=words):
            read_case(path)


# --- whatever stands in a file -----------------------------------------------------------------------------------

LINES = EXAMPLE.split("\n")
JUNK = st.sampled_from([
    "-1", "0", "1e400", "nan", "inf", "true", '""', '"?"', '"?fan"', '"?nobody"', "[]", "[[]]", "{}", "[{}]", "1979-05-27",
    "07:32:00", '"\\u0000"', '["a", 1]', "{ a = { b = 1 } }", "9" * 400, '"' + "x" * 3000 + '"', '"run"', '"K"', '"dry"',
    "'''a\nb'''", "§", "1_000",
])  # fmt: skip


@st.composite
def mutated(draw) -> str:
    """The example with one to three lines removed, doubled, moved, or with another key, value or character."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 3))):
        k = draw(st.integers(0, len(lines) - 1))
        key, equals, value = lines[k].partition("=")
        how = draw(st.sampled_from(["remove", "double", "move", "value", "value", "number", "key", "character", "header"]))
        if how == "remove":
            del lines[k]
        elif how == "double":
            lines.insert(k, lines[k])
        elif how == "move":
            lines.insert(draw(st.integers(0, len(lines) - 1)), lines.pop(k))
        elif how == "value" and equals:
            lines[k] = f"{key}= {draw(JUNK)}"
        elif how == "number" and equals:
            lines[k] = re.sub(r"\d+(\.\d+)?", str(draw(st.floats(-1e4, 1e4))), lines[k], count=1)
        elif how == "key":
            lines[k] = draw(st.sampled_from(["", "a.", "'.'.", "phase.", '"[1]".'])) + key + "_" + equals + value
        elif how == "character":
            at = draw(st.integers(0, len(lines[k])))
            lines[k] = lines[k][:at] + draw(st.characters(exclude_categories=["Cs"])) + lines[k][at + 1 :]
        elif how == "header":
            lines.insert(k, draw(st.sampled_from([line for line in LINES if line.startswith("[")])))
    return "\n".join(lines)


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(text=mutated())
def test_any_change_gives_a_case_or_one_sentence(tmp_path, text):
    path = written(tmp_path, text)
    try:
        case = read_case(path)
    except InputError as error:
        sentence = str(error)
        assert sentence.startswith(str(path)) and sentence.endswith(".") and sentence.isprintable(), sentence
        assert error.line is None or 1 <= error.line <= path.read_text(encoding="utf-8").count("\n") + 1
    else:
        assert isinstance(case, c.Case) and case.outcomes()
        assert not case.filled().blanks
