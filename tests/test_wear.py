"""Wear sheets and schedules: through the command line with real files, and as properties of any schedule."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thermosim.cooling.moments import SHORTEST_STOP_S, Timetable
from thermosim.cooling.schedule import worn_by
from thermosim.errors import InputError
from thermosim.inputs.session import Session
from thermosim.inputs.wear import EXAMPLE
from thermosim.story import simulate_session, worn_of

HEAD = "at,action,device,label,segments,spares,fields,note"
SESSION = """\
{clock}
[runner]
mass_kg = 65.0
height_m = 1.75
heat_days = 9
[weather]
air_temperature_C = 31
relative_humidity_pct = 85
[[effort.part]]
minutes = 20
speed_m_s = 3.0
[[effort.part]]
minutes = 4
speed_m_s = 0
[[effort.part]]
minutes = 16
speed_m_s = 2.5
[ensemble]
members = 4
seed = 1
[[variant]]
name = "none"
[[variant]]
name = "plan"
{wear}
"""
SHEET_LINE = 'wear = "plan.wear.csv"'
PLAN = [
    "0,put_on,ice_collar,collar,,,ice_kg=0.2 covered=true,box at the start",
    "1.8 km,swap,collar,,,,,",
    "every 6 min from 1.8 km to 30 min,refill,collar,,,,,",
    "05:35,remove,collar,,,,,",
    "at stops,put_on,hand_dip,,,,temperature_C=12,",
    "every 10 min,drink,,,,,portion_kg=0.15 temperature_C=8,",
    "at stops,pour,,,head+neck,,mass_kg=0.4,",
]


@pytest.fixture
def files(tmp_path):
    """Write a session and its wear sheet; return the session's path."""

    def write(rows=None, wear=SHEET_LINE, clock='start_clock = "05:00"', head=HEAD):
        if rows is not None:
            (tmp_path / "plan.wear.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
        path = tmp_path / "shed.session.toml"
        path.write_text(SESSION.format(clock=clock, wear=wear), encoding="utf-8")
        return path

    return write


def of_plan(path):
    session = Session.read(path)
    return session, worn_of(session, session.variants[1])


# --- one sheet, from file to result --------------------------------------------------------------------------------------


def test_every_kind_of_moment_in_minutes(files):
    _, (collar, dip, drink, pour) = of_plan(files(PLAN))
    assert np.ravel(collar.spans_min) == pytest.approx([0.0, 10.0, 10.0, 35.0])  # 1.8 km at 3 m/s; 05:35
    assert collar.refill_min == pytest.approx((16.0, 22.0, 28.0))  # the swap itself needs no refill
    assert dip.spans_min == ((20.0, 24.0),)
    assert (drink.from_min, *drink.refill_min) == (10.0, 20.0, 30.0)  # none at the very end
    assert pour.from_min == 20.0 and pour.device.segments == ("head", "neck")
    assert collar.device.name == "collar" and collar.device.ice_kg == 0.2


def test_plan_line_of_simulate_is_the_books(files, call):
    code, said, _ = call("simulate", files(PLAN), "--variant", "plan", "--json")
    plan = {one["name"]: one for one in json.loads(said)["cooling_plan"]}
    assert code == 0 and list(plan) == ["collar", "hand_dip", "drink", "pour_over"]
    assert (plan["collar"]["fills"], plan["collar"]["refills"]) == (5, 3)
    assert plan["collar"]["ice_kg"] == pytest.approx(5 * 0.2) and plan["collar"]["water_kg"] == 0.0
    assert 0.2 < plan["collar"]["carried_kg"] < 0.4 and plan["collar"]["notes"] == ["box at the start"]
    assert plan["drink"]["water_kg"] == pytest.approx(3 * 0.15) and plan["drink"]["ice_kg"] == 0.0
    assert plan["hand_dip"]["fills"] == 0 and plan["pour_over"]["water_kg"] == pytest.approx(0.4)
    code, said, _ = call("simulate", files(PLAN), "--variant", "plan")
    words = " ".join(said.split())
    assert "Cooling plan" in words and "worn from 0 min (0.00 km) to 35 min" in words and "swapped at 10 min (1.80 km)" in words
    assert "in all: 1.00 kg of ice and 0.85 kg of water" in words
    code, said, _ = call("simulate", files(PLAN), "--json")
    assert code == 0 and "cooling_plan" not in json.loads(said)  # the first variant wears nothing


def test_saved_run_holds_the_plan(files, call, tmp_path):
    session, out, again = files(PLAN), tmp_path / "run.nc", tmp_path / "again.nc"
    assert call("simulate", session, "--variant", "plan", "--out", out)[0] == 0
    (tmp_path / "plan.wear.csv").unlink()
    code, said, _ = call("simulate", out, "--out", again, "--json")
    assert code == 0 and json.loads(said)["cooling_plan"][0]["refills"] == 3
    assert str(tmp_path) not in Session.read(files(PLAN)).to_json()


def test_books_close_over_swaps_and_stops(files):
    session = Session.read(files(PLAN))
    ds = simulate_session(session, "plan")
    assert max(ds.attrs["device_closure_relative"], ds.attrs["energy_closure_relative"]) < 1e-6
    power = ds.device_power.sel(device="hand_dip", side="skin")
    at_stop = (ds.time > 20 * 60) & (ds.time < 24 * 60)
    assert float(power[at_stop].min()) > 0.0 and float(abs(power[~at_stop & (ds.time != 20 * 60)]).max()) == 0.0


def test_compare_runs_a_wear_sheet(files, call):
    code, said, _ = call("compare", files(PLAN), "--json", "--quiet")
    device = json.loads(said)["variants"][1]["device"]
    assert code == 0 and device["ice_used_kg"] == pytest.approx(1.0) and device["water_used_kg"] == pytest.approx(0.85)


def test_spent_stores_take_spares(files, call):
    rows = ["0,put_on,ice_in_hand,,,,ice_kg=0.05,", "when spent,refill,ice_in_hand,,,3,,"]
    code, said, _ = call("simulate", files(rows), "--variant", "plan", "--json")
    (one,) = json.loads(said)["cooling_plan"]
    assert code == 0 and 1 <= one["spares_used"] == one["refills"] <= 3
    assert one["ice_kg"] == pytest.approx(2 * 0.05 * one["fills"])  # one in each hand


def test_sheet_beside_own_tables_and_cards(files, tmp_path):
    (tmp_path / "mine.device.toml").write_text('kind = "ice_collar"\nice_kg = 0.31\n', encoding="utf-8")
    wear = f'{SHEET_LINE}\n[[variant.cooling]]\ndevice = "fan"'
    _, worn = of_plan(files(["5,put_on,mine.device.toml,,,,,", "2 km,remove,mine.device.toml,,,,,"], wear))
    assert [one.device.name for one in worn] == ["fan", "ice_collar"] and worn[1].device.ice_kg == 0.31
    assert np.ravel(worn[1].spans_min) == pytest.approx([5.0, 2000 / 3.0 / 60.0])


def test_put_on_again_after_removal_is_one_device(files):
    rows = ["1,put_on,ice_collar,,,,,", "5,remove,ice_collar,,,,,", "5,put_on,ice_collar,,,,,", "1.5 km,remove,ice_collar,,,,,"]
    _, (collar,) = of_plan(files(rows))
    assert np.ravel(collar.spans_min) == pytest.approx([1.0, 5.0, 5.0, 25 / 3])


def test_clock_of_the_weather_sheet_will_do(files, tmp_path):
    air = "clock,air_temperature_C,relative_humidity_pct\n05:00,31,85\n06:30,31,85\n"
    (tmp_path / "air.weather.csv").write_text(air, encoding="utf-8")
    path = files(PLAN, clock='weather = "air.weather.csv"\nstart = "05:10"')
    text = path.read_text(encoding="utf-8").replace("[weather]\nair_temperature_C = 31\nrelative_humidity_pct = 85\n", "")
    path.write_text(text, encoding="utf-8")
    assert of_plan(path)[1][0].again_min[-1][1] == 25.0  # removed at 05:35


def test_example_is_valid_alone_and_with_a_session(files, call, tmp_path):
    path = files([])
    code, _, _ = call("new", "wear", "--out", tmp_path / "plan.wear.csv", "--force")
    assert code == 0 and (tmp_path / "plan.wear.csv").read_text(encoding="utf-8") == EXAMPLE
    text = path.read_text(encoding="utf-8").replace("minutes = 16", "minutes = 40")
    path.write_text(text, encoding="utf-8")
    code, said, _ = call("check", tmp_path / "plan.wear.csv", path)
    assert code == 0 and "wear sheet of 9 lines for collar, pockets, hand_dip, drink, pour_over" in " ".join(said.split())


# --- the fields of a table ----------------------------------------------------------------------------------------------


def of_table(files, fields):
    return of_plan(files(wear=f"[[variant.cooling]]\n{fields}"))[1][0]


def test_fields_by_distance_and_rule(files):
    rules = 'refill_km = [1.8]\nevery_min = 12\nat_stops = "refill"'
    collar = of_table(files, f'device = "ice_collar"\nfrom_km = 0.9\nto_min = 36\n{rules}')
    assert np.ravel(collar.spans_min) == pytest.approx([5.0, 36.0])
    assert collar.refill_min == pytest.approx((10.0, 17.0, 20.0, 29.0))
    drink = of_table(files, 'device = "drink"\nevery_km = 1.8\nfrom_min = 5')
    assert (drink.from_min, *drink.refill_min) == pytest.approx((5.0, 15.0, 24 + 900 / 2.5 / 60))
    tub = of_table(files, 'device = "hand_dip"\nat_stops = "wear"')
    assert tub.spans_min == ((20.0, 24.0),)


def test_flags_take_distances(files, call):
    code, said, _ = call("simulate", files([PLAN[0]]), "--cooling", "ice_collar:from_km=0.9,refill_km=1.8+2.7", "--json")
    times = json.loads(said)["cooling_plan"][0]["times"]
    assert code == 0 and [one["at_min"] for one in times] == pytest.approx([5.0, 10.0, 15.0])


# --- what is refused ----------------------------------------------------------------------------------------------------

COLLAR = "0,put_on,ice_collar,,,,,"


@pytest.mark.parametrize(
    ("rows", "line", "words"),
    [
        ([COLLAR, "30,put_on,ice_collar,,,,,"], 3, ["put on at 30", "since 0 (line 2)", "remove it first"]),
        ([COLLAR, "9,remove,ice_collar,,,,,", "12,refill,ice_collar,,,,,"], 4, ["refilled at 12", "not worn"]),
        ([COLLAR, "9,remove,ice_collar,,,,,", "at stops,refill,ice_collar,,,,,"], 4, ["at stops", "not worn"]),
        (["12,put_on,ice_collar,,,,,", "9,remove,ice_collar,,,,,"], 3, ["runs backwards", "9 after 12", "in order of time"]),
        (["12,put_on,ice_collar,,,,,", "1 km,remove,ice_collar,,,,,"], 3, ["runs backwards", "1 km is minute 5.55556"]),
        ([COLLAR, "10,refill,ice_collar,,,,,", "10 min,refill,ice_collar,,,,,"], 4, ["repeats a moment"]),
        (["1.0 km,drink,,,,,,", "6.1 km,drink,,,,,,"], 3, ["6.1 km", "course is 6 km long"]),
        ([COLLAR, "every 1 km to 7 km,refill,ice_collar,,,,,"], 3, ["7 km", "course is 6 km long"]),
        (["0,put_on,ice_colar,,,,,"], 2, ["'ice_colar'", "did you mean 'ice_collar'"]),
        ([COLLAR, "9,refill,ice_colar,,,,,"], 3, ["'ice_colar'", "did you mean 'ice_collar'"]),
        (["0,put_on,wet_cloth,,nek,,,"], 2, ["segments has 'nek'", "did you mean 'neck'"]),
        (["0,put_on,ice_collar,,neck,,,"], 2, ["segments is not a field of ice_collar"]),
        ([COLLAR, "10,put_on,wet_cloth,,neck,,,"], 3, ["ice_collar and wet_cloth together", "of the neck", "take one off"]),
        ([COLLAR, "when core above 38.5,refill,ice_collar,,,,,"], 3, ["must not be ruled by modelled core"]),
        ([COLLAR, "when spent,refill,ice_collar,,,,,"], 3, ["without spare charges", "column spares"]),
        ([COLLAR, "9,refill,ice_collar,,,2,,"], 3, ["spares is given at 9", "when spent"]),
        ([COLLAR, "when spent,swap,ice_collar,,,,,"], 3, ["which swap cannot have", "write refill"]),
        ([COLLAR, "every 5 min,remove,ice_collar,,,,,"], 3, ["which remove cannot have", "one moment"]),
        (["every 5 min,put_on,ice_collar,,,,,"], 2, ["which put_on cannot have", "refill or swap it by a rule"]),
        (["at stops,put_on,hand_dip,,,,,", "22,remove,hand_dip,,,,,"], 3, ["not worn", "comes off with it"]),
        ([COLLAR, "every 50 min,refill,ice_collar,,,,,"], 3, ["happens at no time", "between minute 0 and 40"]),
        (["every 9 min from 30 min to 3 km,drink,,,,,,"], 2, ["runs backwards", "from minute 30 to 16.6667"]),
        (["every 0.1 min,drink,,,,,,"], 2, ["allowed is every 0.5 min or more"]),
        (["45,put_on,ice_collar,,,,,"], 2, ["45", "run ends at 40 min"]),
        (["04:50,drink,,,,,,"], 2, ["04:50", "run lasts 40 min from 05:00"]),
        (["soon,drink,,,,,,"], 2, ["'soon'", "'at stops'"]),
        (["0,put_on,drink,,,,,"], 2, ["drink is drunk", "write drink"]),
        (["9,drink,ice_collar,,,,,"], 2, ["ice_collar is worn", "write put_on"]),
        (["9,pour,drink,,,,,"], 2, ["drink is drunk"]),
        (["0,put_on,fan,,,,,", "9,refill,fan,,,,,"], 3, ["holds nothing"]),
        (["9,drnk,,,,,,"], 2, ["action is 'drnk'", "did you mean drink"]),
        (["9,put_on,,,,,,"], 2, ["device is empty"]),
        ([",drink,,,,,,"], 2, ["at is empty"]),
        ([COLLAR, "9,refill,ice_collar,,,,ice_kg=0.3,"], 3, ["ice_kg is given where ice_collar is on already"]),
        ([COLLAR, "9,remove,ice_collar,,,,,", "12,put_on,ice_collar,,,,ice_kg=0.3,"], 4, ["other fields", "label of its own"]),
        (["0,put_on,ice_collar,,,,ice_kg=-1,"], 2, ["ice_kg is -1 kg", "allowed is"]),
        (["0,put_on,ice_collar,,,,ice_kgg=0.2,"], 2, ["ice_kgg is not a field of ice_collar", "did you mean 'ice_kg'"]),
        (["0,put_on,ice_collar,,,,cold,"], 2, ["fields has 'cold'", "field=value"]),
        (["0,put_on,ice_collar,,,,ice_kg=0.2 ice_kg=0.3,"], 2, ["ice_kg is given twice"]),
    ],
)  # fmt: skip
def test_refused_in_one_sentence_with_its_line(files, call, tmp_path, rows, line, words):
    path = files(rows)
    for command in (("simulate", path, "--variant", "plan"), ("check", path)):
        code, said, why = call(*command)
        sentence = " ".join(why.split())
        assert code == 2 and not said and f"plan.wear.csv, line {line}: " in sentence, sentence
        assert not [word for word in words if word not in sentence], sentence


def test_clock_needs_a_start(files, call):
    _, _, why = call("simulate", files(["05:10,drink,,,,,,"], clock=""), "--variant", "plan")
    assert "plan.wear.csv, line 2: at is 05:10" in why and "start_clock" in why
    _, _, why = call("check", files(["5,drink,,,,,,"], clock='start_clock = "5 am"'))
    assert "line 1: start_clock is '5 am'" in why


def test_no_stop_is_said(files, call):
    path = files(["at stops,pour,,,,,,"])
    path.write_text(path.read_text(encoding="utf-8").replace("speed_m_s = 0\n", "speed_m_s = 1\n"), encoding="utf-8")
    _, _, why = call("simulate", path, "--variant", "plan")
    assert "plan.wear.csv, line 2" in why and "a stop is a pause of 10 s or more" in " ".join(why.split())


def test_sheet_alone_is_checked_without_times(files, call, tmp_path):
    files(["99 km,put_on,ice_collar,,,,,"])
    assert call("check", tmp_path / "plan.wear.csv")[0] == 0
    files([COLLAR, COLLAR])
    code, _, why = call("check", tmp_path / "plan.wear.csv")
    assert code == 2 and "plan.wear.csv, line 3" in why
    files(["5,drink,"], head="at,action,devise")
    code, _, why = call("check", tmp_path / "plan.wear.csv")
    assert code == 2 and "line 1: column device is missing" in why


@pytest.mark.parametrize(
    ("table", "field", "words"),
    [
        ('device = "ice_colar"', "device", ["did you mean 'ice_collar'"]),
        ('device = "ice_collar"\nfrom_km = 7', "from_km", ["7 km", "course is 6 km long"]),
        ('device = "ice_collar"\nfrom_min = 30\nto_km = 2', "to_km", ["runs backwards"]),
        ('device = "ice_collar"\nfrom_km = 3\nto_km = 2', "to_km", ["after from_km"]),
        ('device = "ice_collar"\nfrom_min = 3\nfrom_km = 2', "from_km", ["beside from_min"]),
        ('device = "ice_collar"\nat_stops = true', "at_stops", ["'refill'", "'wear'"]),
        ('device = "ice_collar"\nat_stops = "wear"\nto_min = 5', "at_stops", ["no other time", "leave to_min out"]),
        ('device = "ice_collar"\nevery_km = -1', "every_km", ["allowed is 0.05"]),
        ('device = "wet_cloth"\nsegments = ["neckk"]', "segments", ["did you mean 'neck'"]),
    ],
)
def test_tables_are_refused_with_their_line(files, call, table, field, words):
    path = files(wear=f"[[variant.cooling]]\n{table}")
    line = [k for k, text in enumerate(path.read_text(encoding="utf-8").split("\n"), 1) if text.startswith(field)][-1]
    for command in (("simulate", path, "--variant", "plan"), ("check", path)):
        code, _, why = call(*command)
        sentence = " ".join(why.split())
        assert code == 2 and f"{path.name}, line {line}: " in sentence and field in sentence, sentence
        assert not [word for word in words if word not in sentence], sentence


# --- any schedule -------------------------------------------------------------------------------------------------------

pieces = st.lists(
    st.tuples(st.floats(0.5, 30.0), st.one_of(st.just(0.0), st.floats(0.5, 5.0))), min_size=1, max_size=6
)  # minutes, m/s


def timetable(parts) -> Timetable:
    minutes, speeds = np.array(parts).T
    return Timetable(np.append(0.0, np.cumsum(60.0 * minutes)), speeds, 5 * 3600.0)


@st.composite
def plans(draw):
    """Return a timetable and steps that may or may not be possible on it."""
    table = timetable(draw(pieces))
    end_km = float(table.edges_km[-1])

    def moment():
        if draw(st.booleans()) or end_km == 0.0:
            return f"{draw(st.floats(0.0, table.end_min)):.6f} min"
        return f"{draw(st.floats(0.0, end_km)):.6f} km"

    rules = ["at stops", f"every {draw(st.floats(0.5, 20.0)):.3f} min", f"every {draw(st.floats(0.05, 5.0)):.3f} km"]
    rules.append(f"{rules[1]} from {moment()} to {moment()}")
    actions = draw(st.lists(st.sampled_from(("put_on", "refill", "swap", "remove")), min_size=1, max_size=6))
    ats = [draw(st.sampled_from(rules)) if draw(st.integers(0, 3)) == 0 else moment() for _ in actions]
    return table, [{"do": do, "at": at, "line": k} for k, (do, at) in enumerate(zip(["put_on", *actions[1:]], ats, strict=True))]


@st.composite
def possible_plans(draw):
    """Return a timetable and steps that are possible on it, moments in minutes or, where the runner moves, in km."""
    table = timetable(draw(pieces))
    shares = sorted(draw(st.sets(st.integers(1, 99), min_size=2, max_size=8)))
    steps, on = [], False
    for share in shares:
        minute = 0.01 * share * table.end_min
        piece = min(int(np.searchsorted(table.edges_s, 60.0 * minute, side="right")) - 1, len(table.speed_m_s) - 1)
        by_km = table.speed_m_s[piece] > 0.0 and draw(st.booleans())
        at = f"{table.km_at(minute):.12g} km" if by_km else f"{minute:.12g}"
        do = draw(st.sampled_from(("refill", "swap", "remove"))) if on else "put_on"
        on = do != "remove"
        steps.append({"do": do, "at": at, "line": len(steps) + 2})
    return table, steps, shares


@settings(max_examples=300, deadline=None)
@given(possible_plans())
def test_any_possible_schedule_is_what_it_says(drawn):
    table, plan, shares = drawn
    worn = worn_by({"device": "ice_collar", "plan": plan, "planned_in": "x.wear.csv"}, table)
    minutes = dict(zip([step["line"] for step in plan], np.array(shares) * 0.01 * table.end_min, strict=True))
    starts = [minutes[step["line"]] for step in plan if step["do"] in ("put_on", "swap")]
    refills = [minutes[step["line"]] for step in plan if step["do"] == "refill"]
    ends = [minutes[step["line"]] for step in plan if step["do"] in ("swap", "remove")]
    assert [start for start, _ in worn.spans_min] == pytest.approx(starts, abs=1e-5)
    assert [end for _, end in worn.spans_min if end is not None] == pytest.approx(ends, abs=1e-5)
    assert list(worn.refill_min) == pytest.approx(refills, abs=1e-5)
    for minute in worn.refill_min:
        assert sum(start < minute < (np.inf if end is None else end) for start, end in worn.spans_min) == 1


@settings(max_examples=400, deadline=None)
@given(plans())
def test_any_schedule_is_in_order_or_refused(drawn):
    table, plan = drawn
    try:
        worn = worn_by({"device": "ice_collar", "plan": plan, "planned_in": "x.wear.csv"}, table)
    except InputError as error:
        assert error.file == "x.wear.csv" and error.line is not None and error.remedy
        return
    ends = [minute for start, end in worn.spans_min for minute in (start, np.inf if end is None else end)]
    assert ends == sorted(ends) and ends[0] >= 0.0 and all(start < table.end_min for start, _ in worn.spans_min)
    assert list(worn.refill_min) == sorted(set(worn.refill_min))
    for minute in worn.refill_min:
        assert sum(start < minute < (np.inf if end is None else end) for start, end in worn.spans_min) == 1


@settings(max_examples=200, deadline=None)
@given(pieces, st.lists(st.floats(0.01, 0.99), min_size=3, max_size=6, unique=True))
def test_distance_schedule_is_the_one_in_minutes(parts, shares):
    table = timetable(parts)
    total = float(table.edges_km[-1])
    places = sorted({round(share * total, 3) for share in shares})
    if len(places) < 3 or places[-1] > total or places[0] == 0.0:
        return
    start, *refills, end = places
    by_km = worn_by({"device": "ice_collar", "from_km": start, "refill_km": refills, "to_km": end}, table)

    def minute(km):  # by hand: walk along the pieces until the distance is there
        gone, at = 0.0, 0.0
        for length, speed in parts:
            if gone + 0.06 * speed * length >= km - 1e-7:
                return at + (km - gone) / (0.06 * speed)
            gone, at = gone + 0.06 * speed * length, at + length
        return at

    same = {"from_min": minute(start), "refill_min": [minute(km) for km in refills], "to_min": minute(end)}
    by_min = worn_by({"device": "ice_collar", **same}, table)
    assert by_km.from_min == pytest.approx(by_min.from_min, abs=1e-4) and by_km.to_min == pytest.approx(by_min.to_min, abs=1e-4)
    assert by_km.refill_min == pytest.approx(by_min.refill_min, abs=1e-4)


def test_distance_and_minutes_give_the_same_run(files):
    by_km = Session.read(files(wear='[[variant.cooling]]\ndevice = "ice_collar"\nfrom_km = 0.9\nrefill_km = 1.8\nto_km = 5.1'))
    by_min = Session.read(files(wear='[[variant.cooling]]\ndevice = "ice_collar"\nfrom_min = 5\nrefill_min = 10\nto_min = 34'))
    one, other = (simulate_session(session, "plan") for session in (by_km, by_min))
    np.testing.assert_allclose(one.core_temperature, other.core_temperature, atol=1e-9)
    assert float(one.device_water[0, 0, -1]) == float(other.device_water[0, 0, -1]) > 0.0


def test_stops_are_pauses_and_distances_before_them(files):
    table = timetable([(10.0, 3.0), (SHORTEST_STOP_S / 60.0 - 0.01, 0.0), (5.0, 3.0), (2.0, 0.0), (1.0, 0.0), (5.0, 3.0)])
    (stop,) = table.stops()  # the first pause is too short, the last two are one
    assert stop[1] - stop[0] == pytest.approx(3.0)
    worn = worn_by({"device": "ice_collar", "from_km": 2.7}, table)  # stands there: on at the beginning of the stop
    assert worn.from_min == pytest.approx(stop[0])


def test_distance_of_a_recording_is_its_own(files, tmp_path):
    rng = np.random.default_rng(4)
    speed = np.round(rng.uniform(2.0, 4.0, 601), 2)
    rows = "\n".join(f"{2 * k},{v}" for k, v in enumerate(speed))
    (tmp_path / "run.csv").write_text(f"time_s,speed_m_s\n{rows}\n", encoding="utf-8")
    path = files(wear='[[variant.cooling]]\ndevice = "ice_collar"\nfrom_km = 1.5')
    text = path.read_text(encoding="utf-8")
    head, _, rest = text.partition("[[effort.part]]")
    recording = '[effort.recording]\nfile = "run.csv"\ncolumns = {time_s = "time_s", speed_m_s = "speed_m_s"}\n'
    path.write_text(f"{head}{recording}[ensemble]{rest.partition('[ensemble]')[2]}", encoding="utf-8")
    session, (collar,) = of_plan(path)
    ds = simulate_session(session, "plan", save_every_s=1.0)
    assert float(np.interp(60.0 * collar.from_min, ds.time, ds.distance)) == pytest.approx(1500.0, abs=0.5)
