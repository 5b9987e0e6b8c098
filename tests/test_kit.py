"""Several devices at once, and what a comparison says beside the degrees: sweat, ice, minutes, reasons."""

import json
import re

import numpy as np
import pytest
from test_look import boxes, invented_comparison, overlapping, texts

import thermosim as ts
from thermosim import cautions, look
from thermosim.cli.compare import behaviour_sentences, name_bare_kit
from thermosim.look.compare_kit import kit_panel
from thermosim.study import kit as kits
from thermosim.study.variants import interval

HUMID = {"air_temperature_C": 31, "relative_humidity_pct": 85, "wind_speed_m_s": 0.0}
DRY = {"air_temperature_C": 38, "relative_humidity_pct": 22, "wind_speed_m_s": 1.0, "solar_W_m2": 700}
COOL = {"air_temperature_C": 11, "relative_humidity_pct": 70, "wind_speed_m_s": 1.0}
SMALL = "contact_area_m2 = 0.012"
COLLARS = [
    f'device = "ice_collar"\nice_kg = 0.2\nname = "front collar"\n{SMALL}',
    f'device = "ice_collar"\nice_kg = 0.25\ncovered = false\nrefill_min = [5, 10]\nname = "nape collar"\n{SMALL}',
]
STRONG = [
    'device = "drink"\nname = "slurry"\nportion_kg = 0.4\ntemperature_C = 0\nice_share = 0.5\nrefill_min = [10]',
    'device = "pour_over"\nmass_kg = 0.5\ntemperature_C = 15\nrefill_min = [5, 10, 15]',
    'device = "ice_collar"\nice_kg = 0.25',
]


def session_text(weather, minutes=20, members=12, limit=38.0, **variants):
    """Return a session file: a variant 'none', then each variant with its devices."""
    air = ", ".join(f"{name} = {number}" for name, number in weather.items())
    parts = [
        f'title = "Boat shed"\nweather = {{{air}}}\n[runner]\nmass_kg = 65.0\nheight_m = 1.75\nheat_days = 9\n[effort]\n'
        f"speed_m_s = 3.3\nminutes = {minutes}\n[limits]\ncore_temperature_C = {limit}\n"
        f'[ensemble]\nmembers = {members}\nseed = 3\n[[variant]]\nname = "none"'
    ]
    for name, devices in variants.items():
        parts.append(f'[[variant]]\nname = "{name.replace("_", " ")}"')
        parts += [f"[[variant.cooling]]\n{device}" for device in devices]
    return "\n".join(parts) + "\n"


@pytest.fixture
def file(tmp_path):
    def write(*arguments, **named):
        path = tmp_path / "shed.session.toml"
        path.write_text(session_text(*arguments, **named), encoding="utf-8")
        return path

    return write


# ---------------------------------------------------------------- shares


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_shares_add_up_to_the_whole_for_every_member(count):
    parts = kits.parts_of(count)
    changes = np.random.default_rng(count).normal(size=(len(parts), 7))
    changes[0] = 0.0
    shares = kits.shapley(parts, changes)
    np.testing.assert_allclose(shares.sum(axis=0), changes[-1], rtol=0.0, atol=1e-13)
    assert len(parts) == 2**count and shares.shape == (count, 7)


def test_a_device_that_does_nothing_has_no_share_and_equal_devices_equal_ones():
    parts = kits.parts_of(3)
    effect = {0: -0.3, 1: -0.3, 2: 0.0}
    changes = np.array([[sum(effect[d] for d in part) * (0.8 if {0, 1} <= set(part) else 1.0)] for part in parts])
    shares = kits.shapley(parts, changes).ravel()
    np.testing.assert_allclose(shares, [-0.24, -0.24, 0.0], atol=1e-15)


def test_every_order_is_weighed_alike():
    """Against the definition: the mean over all orders of putting the devices on."""
    from itertools import permutations

    parts = kits.parts_of(4)
    value = dict(zip(parts, np.random.default_rng(1).normal(size=len(parts)), strict=True))
    value[()] = 0.0
    mean = np.zeros(4)
    for order in permutations(range(4)):
        for k, device in enumerate(order):
            mean[device] += (value[tuple(sorted(order[: k + 1]))] - value[tuple(sorted(order[:k]))]) / 24
    shares = kits.shapley(parts, np.array([[value[part]] for part in parts])).ravel()
    np.testing.assert_allclose(shares, mean, atol=1e-14)


# ---------------------------------------------------------------- the smallest kit


def invented(effects, members=50, spread=0.05):
    """Return parts and changes of devices whose effects add, each member a little different."""
    parts = kits.parts_of(len(effects))
    draw = 1.0 + spread * np.random.default_rng(0).normal(size=members)
    return parts, np.array([sum((effects[d] for d in part), 0.0) * draw for part in parts])


def test_smallest_kit_by_items_and_by_ice_may_differ():
    parts, changes = invented([-0.30, -0.15, -0.15, -0.02])
    found = kits.smallest_kits(["vest", "slurry", "dip", "cap"], parts, changes, [2.0, 0.1, 0.1, 0.0])
    for kit in found.values():  # no two of them keep four fifths
        assert kit["devices"] == ["vest", "slurry", "dip"] and kit["kept_share"] == pytest.approx(0.60 / 0.62)
    parts, changes = invented([-0.50, -0.26, -0.26])
    changes[-1] = changes[parts.index((0,))] * 1.1  # the vest does it all, the two small ones do as well without ice
    found = kits.smallest_kits(["vest", "slurry", "dip"], parts, changes, [2.0, 0.1, 0.1])
    assert found["smallest_by_items"]["devices"] == ["vest"] and found["smallest_by_items"]["ice_kg"] == 2.0
    assert found["smallest_by_ice"]["devices"] == ["slurry", "dip"] and found["smallest_by_ice"]["ice_kg"] == 0.2
    assert found["smallest_by_ice"]["share_of_runners"] == 1.0


@pytest.mark.parametrize(("effects", "spread"), [([-0.009, -0.009], 0.05), ([-0.05, -0.05], 2.0), ([0.1, 0.1], 0.05)])
def test_no_kit_is_named_where_none_can_be(effects, spread):
    parts, changes = invented(effects, spread=spread)
    found = kits.smallest_kits(["one", "two"], parts, changes, [0.1, 0.1])
    assert found == {"smallest_by_items": None, "smallest_by_ice": None}
    assert kits.can_tell(interval(changes[-1])) == (effects[0] > 0.0)


# ---------------------------------------------------------------- through the command line


def test_two_collars_cannot_be_told_apart(call, file, tmp_path):
    path, picture = file(HUMID, both=COLLARS), tmp_path / "kit.png"
    code, out, _ = call("compare", path, "--kit", "--json", "--picture", picture)
    result = json.loads(out)
    kit = result["kit"]
    assert code == 0 and kit["variant"] == "both" and picture.stat().st_size > 10_000
    assert [one["name"] for one in kit["devices"]] == ["front collar", "nape collar"]
    assert kits.CANNOT_TELL in kit["sentence"] and kit["smallest_by_items"] is None and kit["smallest_by_ice"] is None
    # the same drawn runners: the whole kit is the variant, digit for digit
    assert kit["whole"]["core_difference_K"] == result["contrasts"][0]["core_difference_K"]
    assert [one["ice_kg"] for one in kit["devices"]] == [0.2, 0.75] and kit["ice_kg"] == 0.95
    assert json.loads(call("compare", path, "--kit", "both", "--json")[1])["kit"] == kit
    assert "kit" not in json.loads(call("compare", path, "--json")[1])


def test_a_kit_that_cools_is_taken_apart(call, file):
    path = file(DRY, minutes=30, members=16, everything=STRONG)
    code, out, _ = call("compare", "--kit", path, "--json")
    kit = json.loads(out)["kit"]
    names = ["slurry", "pour_over", "ice_collar"]
    assert code == 0 and [one["name"] for one in kit["devices"]] == names and len(kit["parts"]) == 7
    whole = kit["whole"]["core_difference_K"]["median"]
    assert whole < -0.05 and kit["devices"][0]["share_K"]["high"] < 0.0
    small, ice = kit["smallest_by_items"], kit["smallest_by_ice"]
    assert small["kept_share"] == pytest.approx(small["core_difference_K"]["median"] / whole) and small["kept_share"] >= 0.8
    for part in kit["parts"]:  # whatever is smaller keeps less
        if len(part["devices"]) < small["items"] or part["ice_kg"] < ice["ice_kg"] - 1e-9:
            assert part["core_difference_K"]["median"] / whole < 0.8
    # joules add (each is a median, so nearly)
    together = sum(one["heat_from_skin_kJ"]["median"] for one in kit["devices"])
    assert together == pytest.approx(kit["whole"]["heat_from_skin_kJ"]["median"], rel=0.05)
    for name in names:
        assert name in kit["sentence"]
    assert " by items: " in kit["sentence"] and "by ice" in kit["sentence"] and "add up to" in kit["sentence"]
    code, out, _ = call("compare", path, "--kit")
    said = " ".join(out.split())
    assert "whole kit" in said and "sum alone" in said and "degrees do not simply add" in said
    assert " ".join(kit["sentence"].split()) in said


def test_every_part_is_run_once_with_the_same_members(file, monkeypatch):
    seen, run = [], kits.run_variant

    def spy(session, variant, drawn, *more):
        seen.append((variant.cooling, id(drawn)))
        return run(session, variant, drawn, *more)

    monkeypatch.setattr(kits, "run_variant", spy)
    session = ts.Session.read(file(HUMID, members=6, both=COLLARS, one=COLLARS[:1]))
    kit = kits.compare_kit(session)
    assert len({names for _, names in seen}) == 1 and [len(worn) for worn, _ in seen] == [0, 1, 1, 2]
    alone = ts.compare(session).result["contrasts"][1]["core_difference_K"]
    assert kit["devices"][0]["alone_K"] == alone  # a device alone is a variant of its own


def test_progress_and_members(file):
    session = ts.Session.read(file(HUMID, minutes=12, members=4000, both=COLLARS))
    assert kits._members(session, 4, 5.0) == 4000 > kits._members(session, 32, 600.0) == kits.FEWEST_MEMBERS
    said = []
    kit = kits.compare_kit(session, members=4, progress=lambda words, share: said.append((words, share)))
    assert kit["members"] == 4 and "part 4 of 4" in " ".join(words for words, _ in said)
    assert [share for _, share in said] == sorted(share for _, share in said) and said[-1][1] == 1.0


@pytest.mark.parametrize(
    ("given", "words"),
    [("bot", "did you mean 'both'"), ("zzz", "known are none, one, both, six"), ("one", "1 devices, allowed are 2 to 5"),
     ("none", "0 devices"), ("six", "6 devices, allowed are 2 to 5; leave some of them out")],
)  # fmt: skip
def test_a_kit_that_cannot_be_is_refused_before_anything_runs(call, file, tmp_path, given, words):
    path = file(HUMID, one=COLLARS[:1], both=COLLARS, six=COLLARS * 3)
    code, out, err = call("compare", path, "--kit", given, "--picture", tmp_path / "none.png")
    assert code == 2 and out == "" and err.count("\n") == 1 and words in err
    assert not (tmp_path / "none.png").exists()


def test_a_session_without_a_kit_is_refused(call, file):
    code, out, err = call("compare", file(HUMID, one=COLLARS[:1]), "--kit")
    assert code == 2 and out == "" and "no variant with two or more devices" in err


def test_kit_may_stand_without_a_name():
    assert name_bare_kit(["--kit"]) == ["--kit", ""]
    assert name_bare_kit(["--kit", "both", "--json"]) == ["--kit", "both", "--json"]
    assert name_bare_kit(["a.session.toml"]) == ["a.session.toml"]


# ---------------------------------------------------------------- sweat, ice, minutes, reasons


def test_ice_and_water_used(call, file):
    wet = ['device = "wet_cloth"\nwater_kg = 0.1\nwater_C = 20', 'device = "phase_change_collar"']
    path = file(HUMID, collars=COLLARS, drinks=STRONG[:2], other=wet[:1], filled=wet[1:])
    result = json.loads(call("compare", path, "--json")[1])
    used = {one["name"]: (one["device"] or {}) for one in result["variants"]}
    assert used["collars"]["ice_used_kg"] == pytest.approx(0.2 + 3 * 0.25) and used["collars"]["water_used_kg"] == 0.0
    assert used["drinks"]["ice_used_kg"] == pytest.approx(2 * 0.4 * 0.5)  # half of each portion is frozen
    assert used["drinks"]["water_used_kg"] == pytest.approx(2 * 0.4 * 0.5 + 4 * 0.5)
    assert used["other"] == {**used["other"], "ice_used_kg": 0.0, "water_used_kg": 0.1}
    assert (used["filled"]["ice_used_kg"], used["filled"]["water_used_kg"]) == (0.0, 0.0)  # a salt is neither
    assert used["none"] == {}


def test_degrees_then_minutes_with_the_rate_they_hang_on(call, file):
    path = file(HUMID, minutes=45, members=30, limit=38.6, collar=[STRONG[2]])
    contrast = json.loads(call("compare", path, "--json")[1])["contrasts"][0]
    saved = contrast["sweat_saved_L"]
    assert 0.0 < saved["median"] < 0.2 and saved["low"] <= saved["median"] <= saved["high"]
    rate, worth = contrast["core_rate_at_limit_K_min"], contrast["minutes_per_tenth_K"]
    assert worth["low"] == pytest.approx(0.1 / rate["high"], rel=0.25) and worth["low"] < worth["median"] < worth["high"]
    said = " ".join(call("compare", path)[1].split())
    found = re.search(
        r"collar against none: core (\S+) .*? °C .*? at minute 45; sweat saved .*? L\. .*?Minutes to the core limit "
        r"\(physics\), collar: .*? min .*?where core climbs (0\.\d{3}) °C/min: 0\.1 °C is worth (\d+) min",
        said,
    )
    assert found and float(found[2]) == pytest.approx(rate["median"], abs=5e-4)
    assert int(found[3]) == round(worth["median"])


def test_hot_running_has_two_lines_and_the_hazard_between(call, file):
    path = file(HUMID, minutes=45, members=20, collar=[STRONG[2]], drink=STRONG[:1])
    _, out, _ = call("compare", path)
    said = " ".join(out.split())
    places = [said.index(words) for words in ("(physics), collar", cautions.LONGER_IS_NOT_COOLER, "What people did (behaviour)")]
    assert places == sorted(places) and cautions.TRIALS_OF_NECK_COOLING in said and said.count("(behaviour)") == 1
    collar, drink = json.loads(call("compare", path, "--json")[1])["contrasts"]
    assert collar["hazard"] and collar["no_reason"] is None
    assert drink["hazard"] is None and drink["behaviour"] is None  # nobody feels a drink on the neck


def test_a_vest_is_not_told_by_trials_of_the_neck(call, file):
    path = file(HUMID, minutes=30, members=8, pockets=['device = "ice_pockets"'])
    (contrast,) = json.loads(call("compare", path, "--json")[1])["contrasts"]
    assert contrast["behaviour"] == cautions.TRIALS_OF_COOLING


def test_a_cool_morning_gives_no_reason(call, file):
    path = file(COOL, minutes=45, members=40, limit=39.0, collar=[STRONG[2]])
    code, out, _ = call("compare", path)
    said = " ".join(out.split())
    assert code == 0 and cautions.NO_REASON.format(name="collar") in said
    assert "comfort may be one" in said and "What people did" not in said and cautions.FEEL_COOLER in said


def test_sentences_of_several_variants_are_said_once():
    one = {"hazard": "h", "behaviour": "neck"}
    assert behaviour_sentences({"contrasts": [one, one, {"hazard": None, "behaviour": None}]}) == ["h", "neck"]
    assert behaviour_sentences({"contrasts": [{}]}) == []


# ---------------------------------------------------------------- the picture


def invented_kit(count=3, members=80, name="slurry of the long kind, from a cup"):
    effects = [-0.2, -0.12, 0.03, -0.05, -0.01][:count]
    parts, changes = invented(effects, members, 0.3)
    names = [name, "ice_collar", "ice_vest", "pour_over", "wet_cap"][:count]
    heat = {"median": 100.0, "low": 80.0, "high": 120.0}
    ice_kg = [0.5, 0.25, 2.0, 0.0, 0.1][:count]
    shares = kits.shapley(parts, changes)
    found = {
        "variant": "everything", "at_min": 45.0, "heat_until_min": 60.0, "members": members, "ice_kg": sum(ice_kg),
        "whole": {"core_difference_K": interval(changes[-1]), "heat_from_skin_kJ": heat},
        "sum_of_singles_K": interval(changes[1 : count + 1].sum(axis=0)), "sum_of_singles_kJ": heat,
        "devices": [{"name": one, "share_K": interval(shares[d]), "alone_K": interval(changes[1 + d]), "heat_from_skin_kJ": heat,
                     "heat_alone_kJ": heat, "ice_kg": ice_kg[d]} for d, one in enumerate(names)],
        **kits.smallest_kits(names, parts, changes, ice_kg),
    }  # fmt: skip
    return {**found, "sentence": kits.sentence(found)}


@pytest.mark.parametrize("count", [2, 3, 5])
@pytest.mark.parametrize("names", [("none", "everything"), ("none", "ice_collar", "everything")])
def test_kit_panel_on_the_page(count, names):
    result, ds = invented_comparison(names=names)
    result["kit"] = invented_kit(count)
    result["contrasts"][0].update(
        core_rate_at_limit_K_min={"median": 0.012, "low": 0.004, "high": 0.03},
        minutes_per_tenth_K={"median": 8.3, "low": 3.3, "high": 25.0},
        hazard=cautions.LONGER_IS_NOT_COOLER, behaviour=cautions.TRIALS_OF_NECK_COOLING,
    )  # fmt: skip
    figure = look.compare_page(result, ds)
    figure.canvas.draw()
    words = texts(figure)
    assert overlapping(figure, words) == []
    width, height = figure.canvas.get_width_height()
    assert width == 1400
    for text, box in boxes(figure, words):
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, text
    for gid in ("kit-share", "kit-alone"):
        assert len(figure.findobj(lambda a, gid=gid: a.get_gid() == gid)) == count + 1
    everything = " ".join(text.get_text() for text in words)
    assert "0.1 °C is worth 8 min (3–25)" in everything and "core climbs 0.012 °C/min" in everything
    strip = " ".join(text.get_text() for text in texts(figure, "caution"))
    assert strip.index("Going on longer") < strip.index("What people did (behaviour)")


def test_kit_bars_are_as_long_as_the_numbers_and_differ_by_texture():
    kit = invented_kit(3)
    ax = kit_panel(kit)
    solid = [a for a in ax.patches if a.get_gid() == "kit-share"]
    dotted = [a for a in ax.patches if a.get_gid() == "kit-alone"]
    shares = [abs(one["share_K"]["median"]) for one in kit["devices"]] + [abs(kit["whole"]["core_difference_K"]["median"])]
    widths = np.array([bar.get_width() for bar in solid])
    np.testing.assert_allclose(widths / widths[-1], np.array(shares) / shares[-1])
    assert all(bar.get_hatch() for bar in dotted) and not any(bar.get_hatch() for bar in solid)


def test_answer_tells_minutes_of_few_pairs_as_such():
    result, ds = invented_comparison()
    result["contrasts"][0].update(share_reached_both=0.06, share_only_against=0.43, share_only_name=0.0, share_never_both=0.51)
    figure = look.compare_page(result, ds)
    answer = " ".join(text.get_text() for text in texts(figure, "answer"))
    assert "in 6 %, never in 51 %, only without in 43 % of runs" in answer


def test_answer_of_no_change_neither_lowers_nor_raises():
    result, ds = invented_comparison()
    result["contrasts"][0]["core_difference_K"] = {"median": -0.002, "low": -0.02, "high": 0.0}
    answer = " ".join(text.get_text() for text in texts(look.compare_page(result, ds), "answer"))
    assert "changes core at 45 min by 0.00 °C" in answer and "lowers" not in answer
