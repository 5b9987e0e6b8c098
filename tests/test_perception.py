"""Perception apart: directions and published numbers, recorded ratings, the door, the command line, the panels."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import thermosim as ts
from thermosim import cautions, look
from thermosim.cooling import Worn, ice_collar
from thermosim.cooling.water import Bath, PouredWater
from thermosim.errors import InputError
from thermosim.inputs.ratings import Scale
from thermosim.inputs.session import Session
from thermosim.look import perception_page
from thermosim.parameters import value
from thermosim.study import perception
from thermosim.study.perception import (
    CANNOT_TELL,
    CHANGE,
    COOLER,
    EASIER,
    HARDER,
    NO_DIFFERENCE,
    SOURCES,
    WARMER,
    contrast,
    effort,
    effort_class,
    skin_rate,
    thermal_sensation,
    with_perception,
)

RUNNER = ts.Runner(mass_kg=65, height_m=1.75, vo2max_mL_kg_min=56, heat_days=9)


def run(speed=3.3, minutes=45, air=31.0, humidity=60.0, cooling=()):
    weather = ts.Weather.steady(air_temperature_C=air, relative_humidity_pct=humidity)
    return ts.simulate(RUNNER, ts.Effort.steady(speed_m_s=speed, minutes=minutes), weather, cooling=cooling)


@pytest.fixture(scope="module")
def plain():
    return run()


@pytest.fixture(scope="module")
def collar():
    return run(cooling=[ice_collar(ice_kg=0.25, covered=True)])


# --- published numbers ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "per_cent, ratings",
    [(37, (9, 11)), (45, (9, 11)), (46, (12, 13)), (63, (12, 13)), (64, (14, 17)), (90, (14, 17)), (91, (18, 20))],
)
def test_classes_of_the_position_stand(per_cent, ratings):
    """Garber et al. 2011, table of intensity, both ends of each class."""
    assert effort_class(per_cent / 100.0) == ratings


@pytest.mark.parametrize("share", [0.0, 0.36, 1.02, float("nan")])
def test_no_number_outside_the_table(share):
    assert np.isnan(effort_class(share)).all()


@pytest.mark.parametrize("mean", [16.2, 16.4, 16.3])
def test_ratings_of_another_study_lie_in_the_class(mean):
    """Glass, Knowlton & Becque 1994: 80 % of maximal uptake, 30 min in hot, mild and cool air; not used for the class."""
    low, high = effort_class(0.80)
    assert low <= mean <= high


def test_effort_of_a_run_has_its_scatter_and_its_flags():
    ds = effort(run(speed=3.3, minutes=70))
    steady = (ds.time > 600) & (ds.time < 3600)
    share = float(ds.relative_intensity.where(steady).mean())
    assert share == pytest.approx(0.68, abs=0.05)
    assert set(np.unique(ds.effort_rating_low[steady])) == {14.0} and set(np.unique(ds.effort_rating_high[steady])) == {17.0}
    margin = 1.645 * value("effort_rating_sd")
    assert float(ds.effort_rating_one_low[-1]) == pytest.approx(14 - margin)
    assert float(ds.effort_rating_one_high[-1]) == 20.0  # the scale ends there
    assert not ds.effort_outside[steady].any()
    assert ds.effort_outside[ds.time > 3600].all()  # longer than published: flagged, the number stays
    assert np.isfinite(ds.effort_rating_low[-1])
    assert np.isnan(ds.effort_rating_low[:3]).all() and ds.effort_outside[:3].all()  # uptake still rises


def test_standing_has_no_effort_rating():
    ds = effort(run(speed=0.0, minutes=10))
    assert np.isnan(ds.effort_rating_low).all() and ds.effort_outside.all()


# --- directions of one run -----------------------------------------------------------------------------------------


def test_sensation_is_a_direction_and_no_number(plain):
    found = thermal_sensation(plain)
    assert set(found.data_vars) == {"mean_skin_rate", "thermal_sensation_change"}
    assert found.thermal_sensation_change.attrs["flag_values"] == [-1, 0, 1, 2]
    assert int(found.thermal_sensation_change[0]) == CHANGE[NO_DIFFERENCE]


@pytest.mark.parametrize("air, word", [(10.0, COOLER), (42.0, WARMER)])
def test_sensation_follows_the_skin(air, word):
    assert int(thermal_sensation(run(air=air, humidity=40.0, minutes=30)).thermal_sensation_change[-1]) == CHANGE[word]


def made(skin, wet=None):
    """Return a Dataset of invented lines, one sample a minute."""
    skin = np.asarray(skin, dtype=float)
    wet = np.full(len(skin), 0.1) if wet is None else np.asarray(wet, dtype=float)
    return xr.Dataset(
        {"mean_skin_temperature": ("time", skin), "skin_wettedness": ("time", wet)}, {"time": 60.0 * np.arange(len(skin))}
    )


def test_rate_is_taken_over_five_minutes():
    t = 60.0 * np.arange(11)
    np.testing.assert_allclose(skin_rate(t, 30.0 + 0.2 * np.arange(11))[1:], 0.2)
    step = np.where(t >= 300, 35.0, 33.0)
    assert skin_rate(t, step)[5] == pytest.approx(0.4) and skin_rate(t, step)[10] == 0.0


def test_warm_skin_that_falls_fast_cannot_be_told():
    """Warmer than at the start by 3 K, while it falls by 1 K a minute."""
    found = thermal_sensation(made([33, 34.4, 36, 38, 40, 41, 40, 39, 38, 37, 36]))
    assert float(found.mean_skin_rate[-1]) == pytest.approx(-1.0)
    assert int(found.thermal_sensation_change[-1]) == CHANGE[CANNOT_TELL]


def test_wettedness_counts_where_skin_is_as_warm_as_before():
    wet = np.linspace(0.14, 0.43, 21)  # Vargas 2018: behaviour moved at unchanged skin
    assert int(thermal_sensation(made(np.full(21, 33.0), wet)).thermal_sensation_change[-1]) == CHANGE[WARMER]
    assert int(thermal_sensation(made(33.0 - 0.1 * np.arange(21), wet)).thermal_sensation_change[-1]) == CHANGE[COOLER]
    assert int(thermal_sensation(made(np.full(21, 33.0))).thermal_sensation_change[-1]) == CHANGE[NO_DIFFERENCE]


# --- two runs ------------------------------------------------------------------------------------------------------


def test_a_run_against_itself_differs_in_nothing(plain):
    found = contrast(plain, plain)
    assert (found.sensation, found.effort, found.local) == (NO_DIFFERENCE, NO_DIFFERENCE, {})
    assert found.reasons == () and found.cautions == () and found.core_K == 0.0


def test_a_collar_is_felt_at_the_neck_and_warns_of_a_higher_core(plain, collar):
    found = contrast(collar, plain)
    assert found.local == {"neck": COOLER}
    assert (found.sensation, found.effort) == (CANNOT_TELL, CANNOT_TELL)  # published trials disagree
    (reason,) = found.reasons
    assert reason.input == "local skin temperature" and "neck" in reason.text and "cooler" in reason.text
    assert abs(found.core_K) < 0.1
    assert "cooler at the neck while core is equal" in found.cautions[0] and "reach a higher core" in found.cautions[0]
    assert cautions.PERCEPTION_APART in found.cautions[0]
    assert found.cautions[1].startswith(SOURCES["tolerance"])
    assert "°C saved" not in " ".join(found.cautions)


def test_the_other_way_round_the_neck_is_warmer_and_nothing_is_warned(plain, collar):
    found = contrast(plain, collar)
    assert found.local == {"neck": WARMER} and found.cautions == ()
    assert "of the other run" in found.reasons[0].text


@pytest.mark.parametrize("minutes, effort_word", [(20, CANNOT_TELL), (45, EASIER)])
def test_cooler_air_feels_cooler_and_easier_only_in_a_long_run(minutes, effort_word):
    """In about 30 min trials disagree on effort in heat; over longer time ratings rise faster in hot air (Crewe 2008)."""
    found = contrast(run(air=15.0, minutes=minutes), run(air=35.0, minutes=minutes))
    assert (found.sensation, found.effort) == (COOLER, effort_word)
    assert contrast(run(air=35.0, minutes=minutes), run(air=15.0, minutes=minutes)).sensation == WARMER


def test_no_caution_where_core_is_lower(plain):
    found = contrast(run(air=15.0), plain)
    assert found.core_K < -0.1 and found.sensation == COOLER and found.cautions == ()


def test_faster_is_harder_and_longer_is_harder(plain):
    faster = contrast(run(speed=3.8), plain)
    assert faster.effort == HARDER and any(reason.input == "relative intensity" for reason in faster.reasons)
    longer = contrast(run(minutes=60), plain)
    assert longer.effort == HARDER and longer.minutes == pytest.approx(45.0)
    assert [reason.input for reason in longer.reasons] == ["time"]
    assert contrast(plain, run(minutes=60)).effort == EASIER


def test_easier_work_in_hotter_air_cannot_be_told():
    found = contrast(run(speed=2.6, air=42.0, humidity=20.0), run(air=20.0))
    assert found.sensation == WARMER and found.effort == CANNOT_TELL


def test_arms_in_a_cold_bath_are_felt_there(plain):
    bath = Worn(Bath(10.0, ("forearms", "hands")), from_min=20, to_min=25)
    found = contrast(run(cooling=[bath]), plain)
    assert found.local == {"forearms and hands": COOLER} and "higher core" in found.cautions[0]


def test_a_short_change_of_skin_decides_nothing_of_the_whole_run(plain):
    """A pour of cold water: skin falls fast for some minutes; the reason says so, the whole cannot be told."""
    found = contrast(run(cooling=[Worn(PouredWater(3.0, 2.0), from_min=10)]), plain)
    (rate,) = [reason for reason in found.reasons if reason.input == "rate of mean skin temperature"]
    assert "for a while: cooler then" in rate.text and rate.sensation == CANNOT_TELL
    assert found.sensation == CANNOT_TELL and COOLER in found.local.values()
    assert not any(line.startswith(SOURCES["tolerance"]) for line in found.cautions)  # that trial was one of a collar


def test_poured_water_wets_without_sweat(plain):
    poured = run(cooling=[Worn(PouredWater(1.0, 30.0), from_min=2)])
    assert perception._takes_water(poured) and not perception._takes_water(plain)
    assert perception._of_wetter(0.3, water=True) == CANNOT_TELL and perception._of_wetter(0.3, water=False) == WARMER


def test_only_single_runs_are_read(plain):
    for bad in (plain.drop_attrs(), plain.expand_dims(member=2)):
        with pytest.raises(InputError, match="no single run.*give what simulate"):
            effort(bad)


def test_every_reason_has_a_published_source(plain, collar):
    every = [*contrast(collar, plain).reasons, *contrast(run(air=15.0, speed=3.8, minutes=60), plain).reasons]
    assert len({reason.input for reason in every}) >= 4
    assert all(re.search(r"\b(19|20)\d\d\b", reason.source) for reason in every)


# --- recorded ratings ----------------------------------------------------------------------------------------------

SESSION = """\
[runner]
mass_kg = 65
height_m = 1.75
[weather]
air_temperature_C = 31
relative_humidity_pct = 60
[effort]
speed_m_s = 3.3
grade_pct = 0
minutes = 20
[[variant]]
name = "collar"
[[variant.cooling]]
device = "ice_collar"
[ratings]
file = "shed.ratings.csv"
effort_scale = {name = "club effort", low = 0, high = 10, low_label = "nothing", high_label = "all I have"}
sensation_scale = {name = "club warmth", low = -3, high = 3, low_label = "cold", high_label = "hot"}
"""
RATINGS = "# INVENTED\ntime_min,effort,thermal_sensation\n2,3,0\n8,,1\n15,6,2.5\n25,9,\n"


def files(tmp_path, session=SESSION, ratings=RATINGS):
    (tmp_path / "shed.ratings.csv").write_text(ratings, encoding="utf-8")
    path = tmp_path / "shed.session.toml"
    path.write_text(session, encoding="utf-8")
    return path


@pytest.fixture
def rated(tmp_path):
    return Session.read(files(tmp_path))


def test_ratings_reach_the_dataset_with_their_scale(rated):
    ds = ts.simulate_session(rated)
    np.testing.assert_array_equal(ds.rating_time, [120, 480, 900, 1500])
    np.testing.assert_array_equal(ds.effort_recorded, [3, np.nan, 6, 9])
    np.testing.assert_array_equal(ds.thermal_sensation_recorded, [0, 1, 2.5, np.nan])
    assert ds.effort_recorded.attrs["scale_name"] == "club effort" and ds.effort_recorded.attrs["scale_high"] == 10
    assert ds.thermal_sensation_recorded.attrs["scale_low_label"] == "cold"
    assert any("1 recorded rating is later than the end of the run (20 min)" in one for one in json.loads(ds.attrs["warnings"]))


def test_ratings_survive_json(rated):
    assert Session.from_json(rated.to_json()) == rated
    assert rated.ratings.scale("effort").words() == "club effort, 0 (nothing) to 10 (all I have)"
    assert "ratings" not in replace(rated, ratings=None).to_dict()  # saved runs of before are read as before


def test_nothing_of_perception_enters_the_model(rated):
    """With and without ratings, with and without perception asked, the run is the same to the last digit."""
    without = ts.simulate_session(replace(rated, ratings=None))
    ds = ts.simulate_session(rated)
    felt = with_perception(ds)
    for name in without.data_vars:
        np.testing.assert_array_equal(without[name].values, ds[name].values)
        np.testing.assert_array_equal(ds[name].values, felt[name].values)


def test_one_column_is_enough(tmp_path):
    text = re.sub(r"sensation_scale.*\n", "", SESSION)
    ratings = Session.read(files(tmp_path, text, "time_min,effort\n5,4\n")).ratings
    assert ratings.sensation_scale is None and np.isnan(ratings.thermal_sensation).all()
    assert "thermal_sensation_recorded" not in ts.simulate_session(Session.read(tmp_path / "shed.session.toml"))


def test_no_scale_is_built_in():
    with pytest.raises(InputError, match="low_label is missing"):
        Scale(name="mine", low=0, high=10, high_label="hot")


# --- bad input, through the command line ---------------------------------------------------------------------------


HEAD = "time_min,effort,thermal_sensation\n"
EFFORT_SCALE = re.search(r"effort_scale.*", SESSION)[0]


@pytest.mark.parametrize("ratings, said", [
    ("time_min,efort,thermal_sensation\n1,2,0\n", r"ratings.csv, line 1: efort is not a known field; did you mean effort"),
    (HEAD + "1,2,0\n5,11,0\n", r'ratings.csv, line 3: effort is 11, allowed on the scale "club effort" is 0 to 10; correct'),
    (HEAD + "1,2,-4\n", r"line 2: thermal_sensation is -4, allowed .* is -3 to 3"),
    (HEAD + "5,2,0\n5,3,0\n", r"line 3: time_min is 5 min after 5 min, allowed are times that increase; sort the rows"),
    (HEAD + "5,2,0\n4,3,0\n", r"line 3: time_min is 4 min after 5 min"),
    (HEAD + ",2,0\n", r"line 2: time_min is empty, allowed is a time in every row"),
    (HEAD + "-1,2,0\n", r"line 2: time_min is -1 min, allowed is 0 to 1500 min"),
    (HEAD + "1,hard,0\n", r"line 2: effort is 'hard', allowed are finite numbers"),
    (HEAD + "1,inf,0\n", r"line 2: effort is 'inf', allowed are finite numbers"),
    (HEAD + "1,,\n", r"line 1: holds no rating: every cell is empty"),
    ("effort,thermal_sensation\n1,0\n", r"line 1: has no column time_min"),
    ("time_min\n1\n", r"line 1: has no column of ratings, needed is effort or thermal_sensation"),
    ("time_min,effort\n1,2\n", r"line 1: has no column thermal_sensation, but sensation_scale is declared"),
    ("", r"ratings.csv: is empty"),
])  # fmt: skip
def test_bad_ratings_are_one_sentence(call, tmp_path, ratings, said):
    code, out, err = call("simulate", files(tmp_path, ratings=ratings))
    assert code == 2 and out == "" and err.count("\n") == 1
    assert re.search(said, err), err


@pytest.mark.parametrize("old, new, said", [
    ("high = 10", "high = 0", r"session.toml, line 17: effort_scale.high is 0, allowed is more than low, which is 0"),
    ("high = 10", 'high = "ten"', r"line 17: effort_scale.high is 'ten', allowed are numbers from -1000 to 1000"),
    ("high = 10", "high = inf", r"high is inf, allowed are numbers"),
    (', low_label = "nothing"', "", r"low_label is missing"),
    ('name = "club effort"', 'name = ""', r"name is '', allowed is a text of 1 to 40 printable characters"),
    ('name = "club effort"', 'title = "club effort"', r"title is not a known field"),
    ("effort_scale", "efort_scale", r"line 17: efort_scale is not a known field; did you mean effort_scale"),
    (EFFORT_SCALE, "", r"ratings.csv, line 2: has the column effort, but no effort_scale is declared: no scale is built in"),
    (EFFORT_SCALE, 'effort_scale = "0 to 10"', r"effort_scale is '0 to 10', allowed is a table"),
    ('file = "shed.ratings.csv"', "", r"file is None, needed is the name of a \*.ratings.csv"),
    ("shed.ratings.csv", "none.ratings.csv", r"none.ratings.csv: there is no such file"),
])  # fmt: skip
def test_bad_scales_are_one_sentence(call, tmp_path, old, new, said):
    assert old in SESSION
    code, out, err = call("simulate", files(tmp_path, session=SESSION.replace(old, new, 1)))
    assert code == 2 and out == "" and err.count("\n") == 1
    assert re.search(said, err), err


# --- the command line ----------------------------------------------------------------------------------------------


def test_lines_come_after_the_heat_and_apart(call, tmp_path):
    code, out, _ = call("simulate", files(tmp_path), "--perception")
    said = " ".join(out.split())
    assert code == 0
    assert said.index("Largest closure") < said.index("Perception, apart from the heat balance") < said.index("Effort: ")
    for words in (
        "category scale 6 to 20 of the source", "no published number for running in the heat was found",
        "Recorded effort: 3 ratings, from 3 to 9, on \u201cclub effort\u201d, 0 (nothing) to 10 (all I have).",
        "Against the same run without cooling: at the neck cooler", "may go on longer or faster and reach a higher core",
        "Sources: Garber et al. 2011",
    ):  # fmt: skip
        assert words in said, words


def test_unasked_nothing_is_said_of_perception(call, tmp_path):
    path = files(tmp_path)
    assert "Perception, apart" not in call("simulate", path)[1]
    assert "perception" not in json.loads(call("simulate", path, "--json")[1])


def test_json_object(call, tmp_path):
    code, out, _ = call("simulate", files(tmp_path), "--perception", "--json")
    found = json.loads(out)["perception"]
    assert code == 0 and set(found) == {"effort", "thermal_sensation", "recorded", "against_without_devices", "sources"}
    assert found["thermal_sensation"]["rating_at_end"] is None
    assert found["thermal_sensation"]["against_start"] in CHANGE
    assert found["effort"]["rating_at_end"] == [14.0, 17.0] and not found["effort"]["outside_published_range"]
    assert found["recorded"]["effort"]["ratings"] == [3.0, None, 6.0, 9.0]
    assert found["recorded"]["thermal_sensation"]["scale"]["high_label"] == "hot"
    assert found["against_without_devices"]["local"] == {"neck": COOLER}
    assert found["sources"] == SOURCES


def test_without_a_device_and_without_ratings(call):
    flags = "--mass-kg 65 --height-m 1.75 --speed-m-s 1.2 --minutes 10 --air-temperature-C 31 --relative-humidity-pct 60".split()
    code, out, _ = call("simulate", *flags, "--perception", "--json")
    found = json.loads(out)["perception"]
    assert code == 0 and found["against_without_devices"] is None and found["recorded"] == {}
    assert found["effort"]["rating_at_end"] is None and found["effort"]["outside_published_range"]
    assert "Effort: cannot tell; " in " ".join(call("simulate", *flags, "--perception", "--quiet")[1].split())


def test_files_hold_the_ratings_and_run_again(call, tmp_path):
    code, _, _ = call("simulate", files(tmp_path), "--perception", "--out", tmp_path / "run.nc")
    assert code == 0
    code, out, _ = call("simulate", tmp_path / "run.nc", "--perception", "--json")
    assert code == 0 and json.loads(out)["perception"]["recorded"]["effort"]["time_min"] == [2.0, 8.0, 15.0, 25.0]
    assert call("simulate", tmp_path / "shed.session.toml", "--out", tmp_path / "out")[0] == 0
    assert (tmp_path / "out" / "ratings.csv").read_text().splitlines() == [
        "time_min,effort,thermal_sensation", "2.0,3.0,0.0", "8.0,,1.0", "15.0,6.0,2.5", "25.0,9.0,",
    ]  # fmt: skip
    assert call("simulate", tmp_path / "shed.session.toml", "--out", tmp_path / "out", "--force")[0] == 0


# --- panels --------------------------------------------------------------------------------------------------------


def titles(figure):
    return [text.get_text() for ax in figure.axes for text in ax.texts if text.get_gid() == "panel-title"]


def gids(ax):
    return {artist.get_gid() for artist in ax.get_children() if artist.get_gid()}


def test_page_has_the_panels_only_when_asked_or_rated(rated):
    bare = ts.simulate_session(replace(rated, ratings=None))
    assert not any("Effort" in title or "sensation" in title for title in titles(look.run_overview(bare)))
    asked = [title[3:] for title in titles(look.run_overview(with_perception(bare)))]
    assert asked[4:] == ["Effort rating", "Thermal sensation against the start", "Weather"]
    figure = look.run_overview(with_perception(ts.simulate_session(rated)))
    every = titles(figure)
    assert [title[0] for title in every] == list("abcdefgh")
    assert [title[3:] for title in every[4:]] == [
        "Effort rating", "Thermal sensation", "Thermal sensation against the start", "Weather",
    ]  # fmt: skip
    assert cautions.PERCEPTION_APART in look.alternative_text(figure)
    assert cautions.PERCEPTION_APART not in look.alternative_text(look.run_overview(bare))


@pytest.mark.parametrize("low, high, drawn", [(6.0, 20.0, True), (0.0, 10.0, False)])
def test_published_class_is_drawn_on_its_own_scale_only(rated, low, high, drawn):
    scale = rated.ratings.effort_scale.model_copy(update={"low": low, "high": high})
    ratings = replace(rated.ratings, effort_scale=scale, effort=np.array([7.0, np.nan, 8.0, 9.0]))
    ds = with_perception(ts.simulate_session(replace(rated, ratings=ratings)))
    ax = perception_page.effort_rating_panel(ds)
    assert ("group-class" in gids(ax)) == drawn
    (dots,) = [line for line in ax.lines if line.get_gid() == "rated"]
    np.testing.assert_array_equal(dots.get_xydata(), [[2.0, 7.0], [15.0, 8.0]])  # the empty and the late one are not drawn
    assert ax.get_ylim()[0] < low and ax.get_ylim()[1] > high
    said = " ".join(text.get_text() for text in ax.texts)
    assert "club effort" in said and "all I have" in said and "nothing" in said
    assert ("another scale" in said) == (not drawn)


def test_directions_differ_by_word_or_texture_not_by_hue(rated):
    looks = {(fill, texture) for _, fill, texture in perception_page._DIRECTIONS.values()}
    assert len(looks) == len(CHANGE) == len(perception_page._DIRECTIONS)
    ds = with_perception(ts.simulate_session(rated))
    ax = perception_page.sensation_strip(ds)
    cells = [patch for patch in ax.patches if patch.get_gid() == "direction"]
    assert sum(cell.get_width() for cell in cells) == pytest.approx(20.0)
    assert len(cells) == 1 + int((np.diff(ds.thermal_sensation_change.values) != 0).sum())
