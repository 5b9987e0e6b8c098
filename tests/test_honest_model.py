"""What any honest model of a runner's heat must show: 18 statements of thermal physiology, each held to published numbers.

Bounds are published numbers, cited beside each check by author and by the case in ``thermosim/evidence/cases``, or the
tolerances of the public benchmark, which were written down before the first fit. Where the literature gives only a
direction, the direction is checked over a range of conditions. No bound was taken from what the model prints. Where a
paper leaves a condition blank, the case's centre value is run. ``(m)`` marks a number cited from memory.

Parts of the statements that no test here can hold, and why:

==== =============================================================== ==================================================
No.  Part                                                            Why not
==== =============================================================== ==================================================
5    people stop near one core value; spread of 39 to 40.2 °C        stopping is behaviour, the engine has none; checked
                                                                     is that the body shows one end state and no wall
6    longer tolerance, higher core at the end, no benefit without    perception is not part of the engine; its warning
     heat strain before                                              is checked
8    higher core at the end after slurry                             stopping is behaviour
9    ice vest as a product with a card of its own                    not built yet; an own device of plain boundary rows
                                                                     stands for it, its conductance from House 2013 (B12)
16   best endurance near 10 °C                                       no relation of performance to weather in the engine
==== =============================================================== ==================================================
"""

import dataclasses
import functools
import itertools
import re

import numpy as np
import pytest

import thermosim as ts
from thermosim import cautions
from thermosim.cooling import Worn, boundary_row, ice_collar
from thermosim.cooling.water import Bath, Drink, PouredWater
from thermosim.evidence.case import Variant
from thermosim.evidence.case_parts import Cooling, Phase, Start, Subjects, Until
from thermosim.evidence.outcomes import predict_case, series
from thermosim.evidence.read_case import read_cases
from thermosim.evidence.timeline import blanks_of, first_crossing, run_variant
from thermosim.parameters import SEGMENT_TABLE, SEGMENTS

PERSON = {"mass_kg": 68.0, "height_m": 1.76, "vo2max_mL_kg_min": 58.0, "heat_days": 0}
NO_DIFFERENCE_K = 0.10  # two groups count as alike in core within this: benchmark on Jay 2011 (A8)
NO_DIFFERENCE_BPM = 5.0  # contrasts of heart rate: convention fixed before the first fit (cases A7)
BODY_J_KGK = 3470.0  # ISO 7933 storage constant, 57.83 W·min/(kg·K)


# --- runs ------------------------------------------------------------------------------------------------------------


def out(air_C, humidity_pct, speed_m_s, minutes=60.0, *, cooling=(), treadmill=False, fan_m_s=0.0, weather=None, **person):
    """Run outdoors, or on a treadmill."""
    belt = {"treadmill": True, "fan_speed_m_s": fan_m_s} if treadmill else {}
    effort = ts.Effort.steady(speed_m_s=speed_m_s, minutes=minutes, **belt)
    air = ts.Weather.steady(air_temperature_C=air_C, relative_humidity_pct=humidity_pct, **(weather or {}))
    return ts.simulate(ts.Runner(**{**PERSON, **person}), effort, air, cooling=list(cooling), save_every_s=30)


def at(ds, minute, name="core_temperature"):
    return float(ds[name].interp(time=60.0 * minute))


def phase(activity, minutes, air_C, humidity_pct, air_m_s=0.4, **fields):
    """One phase in a chamber; 0.4 m/s is the cases' centre for a chamber without a named fan."""
    return Phase(activity=activity, minutes=minutes, air_temperature_C=air_C, relative_humidity_pct=humidity_pct,
                 air_speed_m_s=air_m_s, **fields)  # fmt: skip


def lab(*phases, cooling=(), start=None, **person):
    """Run phases in a row in a laboratory, in shorts and shoes."""
    subjects = Subjects(n=1, sex="male", clothing="shorts_and_shoes", **{**PERSON, **person})
    return run_variant(Variant(name="x", subjects=subjects, phases=phases, cooling=cooling, start=start), {})


def read(run, quantity, minute=None, label=None):
    """Value of a quantity at a minute of a phase (of the whole clock), at its end if no minute is given."""
    span = run.span(label)
    moment = span.end_s if minute is None else span.start_s + 60.0 * minute
    return float(np.interp(moment, run.trajectory.time_s, series(run, quantity)))


def minutes_to(run, quantity, level, label=None):
    """Minutes from the start of a phase to a level, infinite where it is not reached."""
    start = run.span(label).start_s
    found = first_crossing(run.trajectory.time_s, series(run, quantity), level, start)
    return np.inf if found is None else (found - start) / 60.0


@functools.cache
def cases():
    return {case.id: case for case in read_cases()}


@functools.cache
def predicted(case_id):
    """Every outcome of a published case, blanks at their centre."""
    return predict_case(cases()[case_id])


@functools.cache
def variant_run(case_id, name):
    """The run of one variant of a published case, blanks at their centre."""
    case = cases()[case_id]
    return run_variant(next(one for one in case.variants if one.name == name), blanks_of(case))


def only(found, *words):
    """The one outcome whose id has all these words."""
    matches = [value for identity, value in found.items() if all(word in identity for word in words)]
    assert len(matches) == 1, (words, list(found))
    return matches[0]


def rising(values):
    return all(later > earlier for earlier, later in itertools.pairwise(values))


# --- 1 Core follows work, skin follows air ---------------------------------------------------------------------------


def test_01_core_hardly_follows_the_air_and_skin_does():
    """Jenkins 2023 (A7), 18 to 36 °C at one vapour pressure: skin 0.5 ± 0.15, core below 0.03 per °C (benchmark)."""
    skin = only(predicted("A7"), "slope", "mean_skin")
    core = only(predicted("A7"), "slope", "rectal")
    print("skin, core per °C of air:", skin, core)
    assert 0.35 <= skin <= 0.65
    assert abs(core) < 0.03


@pytest.mark.parametrize("wind", [0.0, 6.0])
@pytest.mark.parametrize("speed", [2.6, 3.1, 3.6])
def test_01_runner_s_core_hardly_follows_the_air(speed, wind):
    """The same outdoors, 5 to 20 °C (Nielsen 1938, A12: from 5 °C on) (m), calm and in wind: below 0.03 per °C (A7)."""
    airs = [5.0, 10.0, 15.0, 20.0]
    weather = {"wind_speed_m_s": wind, "wind_from": "head"}
    ends = [at(out(air, 50.0, speed, weather=weather), 60) for air in airs]
    print(ends)
    assert abs(np.polyfit(airs, ends, 1)[0]) < 0.03


SHARES = {"26 pct": 37.29, "51 pct": 38.01, "69 pct": 38.49}


def test_01_core_rises_with_the_metabolic_rate():
    """Saltin & Hermansen 1966 (A10): core in order of work, at 26, 51, 69 % of maximal uptake."""
    ends = [only(predicted("A10"), name, "oesophageal") for name in SHARES]
    print(ends)
    assert rising(ends)


@pytest.mark.parametrize("share", SHARES)
def test_01_core_at_one_metabolic_rate(share):
    """Saltin & Hermansen 1966 (A10): 37.29, 38.01, 38.49 °C at 26, 51, 69 % of maximal uptake; core to 0.3 K."""
    end = only(predicted("A10"), share, "oesophageal")
    print(end)
    assert end == pytest.approx(SHARES[share], abs=0.3)


def test_01_the_climate_limit_falls_as_work_rises():
    """Lind 1963 (A11): the limit is lower the harder the work."""
    limits = [only(predicted("A11"), name) for name in ("209 W", "349 W", "488 W")]
    print(limits)
    assert rising(limits[::-1])


@pytest.mark.parametrize(("work", "limit_C"), [("209 W", 30.2), ("349 W", 27.4), ("488 W", 26.9)])
def test_01_climate_limits_lie_where_they_were_found(work, limit_C):
    """Lind 1963 (A11): corrected effective temperature 30.2, 27.4, 26.9 °C; to the 1.5 K fixed before the first fit."""
    limit = only(predicted("A11"), work)
    print(limit)
    assert limit == pytest.approx(limit_C, abs=1.5)


# --- 2 Sweat follows what must be evaporated -------------------------------------------------------------------------


@pytest.mark.parametrize("route", [("a 200 W, b 350 W, c 500 W/",), ("of d 30 °C",), ("a 200 W", "g 45 °C")])
def test_02_evaporation_follows_what_is_required(route):
    """Gagnon 2013 (A9), through work and through air, and on one line for both: slope 1.0 ± 0.1 (benchmark)."""
    slope = only(predicted("A9"), "slope", *route)
    print(slope)
    assert 0.9 <= slope <= 1.1


def test_02_equal_heat_warms_fit_and_unfit_equally():
    """Jay 2011 (A8): 0.87 ± 0.20 K, groups within 0.10 K; 437 ± 80 mL of sweat (benchmark)."""
    found = predicted("A8")
    rises = [only(found, name, "rectal", "change", "at 60 min") for name in ("A8/a fit 542 W/", "A8/b unfit")]
    print(rises)
    assert rises == pytest.approx([0.87, 0.87], abs=0.20)
    assert abs(rises[0] - rises[1]) <= NO_DIFFERENCE_K


def test_02_equal_heat_makes_fit_and_unfit_sweat_equally():
    """Jay 2011 (A8): 437 ± 80 mL in both groups (benchmark)."""
    losses = [only(predicted("A8"), name, "sweat_loss") for name in ("a fit", "b unfit")]
    print(losses)
    assert losses == pytest.approx([0.437, 0.437], abs=0.080)
    assert abs(losses[0] - losses[1]) < 0.080


@pytest.mark.parametrize(("heat_W", "air_C"), [(400.0, 25.0), (550.0, 25.0), (450.0, 32.0)])
def test_02_fitness_alone_changes_nothing(heat_W, air_C):
    """Same size and heat, 40 to 65 mL/kg/min: core within 0.10 K (A8, benchmark), sweat within the 80 mL of A8."""
    runs = [lab(phase("cycle", 60, air_C, 30, heat_production_W=heat_W), vo2max_mL_kg_min=v) for v in (40.0, 52.0, 65.0)]
    rises = [read(run, "rectal_temperature") - read(run, "rectal_temperature", 0) for run in runs]
    sweat = [read(run, "sweat_loss") for run in runs]
    print(rises, sweat)
    assert np.ptp(rises) <= NO_DIFFERENCE_K
    assert np.ptp(sweat) <= 0.080


# --- 3 Past the limit no plateau -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("air_C", "humidity_pct", "speed"), [(31.0, 95.0, 3.6), (35.0, 80.0, 3.0), (38.0, 70.0, 2.5)])
def test_03_past_the_limit_core_climbs_at_the_rate_of_the_surplus(air_C, humidity_pct, speed):
    """Core still climbs after an hour, at surplus over mass and 3.47 kJ/kgK: 405 W is 0.10 °C/min at 70 kg (E9); to 25 %."""
    ds = out(air_C, humidity_pct, speed, 75.0)
    rates = [(at(ds, t) - at(ds, t - 15)) / 15.0 for t in (45, 60, 75)]
    window = ds.sel(time=slice(2700.0, 4500.0))
    surplus = float(window.heat_flow.sel(term="storage").mean()) * 60.0 / (PERSON["mass_kg"] * BODY_J_KGK)
    print(rates, surplus)
    assert min(rates) > 0.005 and rates[2] > 0.5 * rates[1]
    assert (at(ds, 75) - at(ds, 45)) / 30.0 == pytest.approx(surplus, rel=0.25)


def last_with_plateau(low, high, run_of):
    """Largest value in a range, to a 64th of it, at which core rises by less than 0.1 K from 60 to 80 min; or an end of it."""
    def holds(value):
        try:
            ds = run_of(value)
        except ts.NumericalFailure:  # hotter than any body: far beyond a plateau
            return False
        return at(ds, 80) - at(ds, 60) < 0.1

    if not holds(low) or holds(high):
        return low if not holds(low) else high
    for _ in range(6):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def limit_C(humidity_pct, fan_m_s):
    """Warmest air in which a runner at 2.8 m/s on a treadmill has a plateau."""
    return last_with_plateau(10.0, 50.0, lambda air: out(air, humidity_pct, 2.8, 80.0, treadmill=True, fan_m_s=fan_m_s))


def test_03_humidity_and_still_air_bring_the_limit_down():
    """The warmest air with a plateau falls with each step of humidity, and of air speed (directions only)."""
    humid = [limit_C(humidity, 2.8) for humidity in (20.0, 50.0, 80.0)]
    windy = [limit_C(50.0, fan) for fan in (0.0, 2.8, 5.6)]
    print(humid, windy)
    assert rising(humid[::-1])
    assert rising(windy)


def test_03_core_and_skin_rise_faster_the_less_wind():
    """Otani 2018 (A5): 30, 20, 10, 0 km/h in strict order for core and for skin; evaporation lowest without wind."""
    orders = {name: share for name, share in predicted("A5").items() if "/order of" in name}
    print(orders)
    assert len(orders) == 3 and set(orders.values()) == {1.0}


def test_03_humid_air_at_one_temperature_raises_core():
    """Jenkins 2023 (A7): core higher at 3.92 than at 1.96 kPa, 36 °C."""
    assert only(predicted("A7"), "order", "rectal") == 1.0


# --- 4 Air over the skin ---------------------------------------------------------------------------------------------


AIRS, PACES = pytest.mark.parametrize("air_C", [20.0, 25.0, 30.0]), pytest.mark.parametrize("speed", [2.8, 3.3])


@functools.cache
def on_the_road(air_C, speed, factor=0.0, side="head"):
    """Core after an hour in a wind of so many times the pace."""
    return at(out(air_C, 50.0, speed, weather={"wind_speed_m_s": factor * speed, "wind_from": side}), 60)


@functools.cache
def on_the_belt(air_C, speed, fan_m_s=0.0):
    """Core after an hour on a treadmill."""
    return at(out(air_C, 50.0, speed, treadmill=True, fan_m_s=fan_m_s), 60)


@AIRS
@PACES
def test_04_relative_wind_is_what_counts(air_C, speed):
    """A tailwind equal to pace leaves still air, as does a treadmill without a fan; a fan at pace makes it the road."""
    calm, belt = on_the_road(air_C, speed), on_the_belt(air_C, speed)
    tail, head = (on_the_road(air_C, speed, 1.0, side) for side in ("tail", "head"))
    fan = on_the_belt(air_C, speed, fan_m_s=speed)
    print(calm, belt, tail, head, fan)
    assert tail == pytest.approx(belt, abs=0.02)
    assert fan == pytest.approx(calm, abs=0.02)
    assert head <= calm + 0.02  # a headwind never warms; where core has a plateau it need not cool


@AIRS
@PACES
def test_04_a_treadmill_without_a_fan_is_hotter_than_the_road(air_C, speed):
    """At the same pace, in calm weather."""
    print(on_the_belt(air_C, speed), on_the_road(air_C, speed))
    assert on_the_belt(air_C, speed) > on_the_road(air_C, speed)


@AIRS
@PACES
@pytest.mark.parametrize("wind", ["0.5 tail", "1.5 tail", "2.0 tail", "1.0 head", "1.0 cross"])
def test_04_a_tailwind_equal_to_pace_is_the_worst(air_C, speed, wind):
    """It is hotter than any other wind, given as a multiple of pace."""
    factor, side = wind.split()
    worst, other = on_the_road(air_C, speed, 1.0, "tail"), on_the_road(air_C, speed, float(factor), side)
    print(worst, other)
    assert worst > other


def test_04_still_air_costs_a_third_of_the_time():
    """Otani 2018 (A5), 30 °C, 50 %, 70 % of maximal uptake: 41 min at 0 against 58 min at 10 km/h (SE 3.5 and 4.6).

    The ratio 0.71 plus two standard errors, 0.87, bounds a runner's time to 39.0 °C on a belt against the road at 2.8 m/s.
    """
    times = [
        minutes_to(lab(phase("run", 120, 30, 50, wind, vo2max_pct=70, speed_m_s=2.8)), "core_temperature", 39.0)
        for wind in (0.2, 2.8)
    ]
    print(times)
    assert times[0] < 120.0
    assert times[0] / times[1] <= 0.87


# --- 5 One end state, no wall, a limit for planning ------------------------------------------------------------------

STARTS = ("c start 38.2", "b start 37.4", "a start 35.9")


def test_05_warmer_starts_come_sooner_to_the_same_state():
    """González-Alonso 1999 (A1): times to one core in strict order; mean skin then 37.0 to 37.2 °C whatever the start.

    Three means within 0.2 °C of each other, read to 0.2 °C (reading error of mean skin): 0.4 °C.
    """
    found = predicted("A1")
    skins = [only(found, f"A1/{name}/", "mean_skin") for name in STARTS]
    print(skins)
    assert only(found, "order") == 1.0
    assert np.ptp(skins) <= 0.4
    assert skins == pytest.approx([37.1] * 3, abs=1.0)  # skin to 1.0 K, fixed before the first fit


@pytest.mark.parametrize(("name", "minutes"), list(zip(STARTS, (28.0, 46.0, 63.0), strict=True)))
def test_05_times_to_one_core(name, minutes):
    """González-Alonso 1999 (A1): 28, 46, 63 min to 40.15 °C from 38.2, 37.4, 35.9 °C, ± 25 % (benchmark)."""
    time = only(predicted("A1"), f"A1/{name}/", "time_to")
    print(time)
    assert time == pytest.approx(minutes, rel=0.25)


def test_05_heart_rate_at_the_hot_end():
    """González-Alonso 1999 (A1): 196 to 198 bpm at the end whatever the start; above 185 (benchmark)."""
    hearts = [only(predicted("A1"), f"A1/{name}/", "heart_rate") for name in STARTS]
    print(hearts)
    assert np.ptp(hearts) <= NO_DIFFERENCE_BPM
    assert min(hearts) > 185.0


def test_05_physiology_has_no_wall_at_40():
    """A runner was measured at 41.1 °C (Pugh 1967, AF1): core goes through 40 without a kink, and the run goes on."""
    ds = out(33.0, 90.0, 3.6, 90.0)
    core, minutes = ds.core_temperature.values, ds.time.values / 60.0
    assert core.max() > 41.1
    rates = np.gradient(core, minutes)
    before = rates[(core > 39.5) & (core < 40.0)].mean()
    after = rates[(core > 40.0) & (core < 40.5)].mean()
    print(before, after, core.max())
    assert after == pytest.approx(before, rel=0.25)


@pytest.mark.parametrize("limit", [40.0, 40.2, 41.0])
def test_05_a_planning_limit_of_40_is_refused(limit):
    """Seen without illness is no permission: no plan reaches 40 °C, with or without a reason."""
    with pytest.raises(ts.InputError, match="core_temperature_C"):
        ts.Session.from_fields({**PERSON, "speed_m_s": 3.0, "minutes": 30, "air_temperature_C": 25,
                                "relative_humidity_pct": 50, "core_limit_C": limit, "limit_reason": "race"})  # fmt: skip


def test_05_no_caution_names_a_core_that_others_bore():
    """The spread between people is for the validation chapter alone: no caution speaks of 39.5 to 42 °C."""
    bearing = re.compile(r"\b(39[.,][5-9]|4[0-2]([.,]\d+)?)\s*°C")
    said = [*cautions.in_full(), *cautions.for_result(device=True, capped=True, uncompensable=True), *cautions.for_device()]
    assert not [text for text in said if bearing.search(text)]
    assert bearing.search("seen at 41 °C") and bearing.search("39.8 °C")


# --- 6 A neck cooler -------------------------------------------------------------------------------------------------

HOT = [(31.0, 85.0, 3.3), (38.0, 22.0, 3.3), (27.0, 60.0, 3.6)]  # the last as Denby 2020 (B4)


@pytest.mark.parametrize(("air_C", "humidity_pct", "speed"), HOT)
@pytest.mark.parametrize("covered", [True, False])
def test_06_a_neck_cooler_barely_changes_core_and_heart_rate(air_C, humidity_pct, speed, covered):
    """Bongers 2015: no difference of core with cooling during exercise; Denby 2020 (B4): not different.

    Held to what counts as no difference in core (A8) and in heart rate (A7).
    """
    plain = out(air_C, humidity_pct, speed, 45.0)
    cooled = out(air_C, humidity_pct, speed, 45.0, cooling=[ice_collar(0.25, covered)])
    core, heart = (at(cooled, 45, name) - at(plain, 45, name) for name in ("core_temperature", "heart_rate"))
    print(core, heart)
    assert abs(core) <= NO_DIFFERENCE_K
    assert abs(heart) <= NO_DIFFERENCE_BPM


@pytest.mark.parametrize(("air_C", "humidity_pct", "speed"), HOT)
@pytest.mark.parametrize(("name", "most"), [("core_temperature", NO_DIFFERENCE_K), ("heart_rate", NO_DIFFERENCE_BPM)])
def test_06_renewing_the_cold_adds_little(air_C, humidity_pct, speed, name, most):
    """Two refills: no further difference in core or heart rate (same bounds)."""
    once = out(air_C, humidity_pct, speed, 60.0, cooling=[ice_collar(0.2)])
    again = out(air_C, humidity_pct, speed, 60.0, cooling=[ice_collar(0.2, refill_min=(20.0, 40.0))])
    more = at(again, 60, name) - at(once, 60, name)
    print(more)
    assert abs(more) <= most


def test_06_ice_cannot_take_more_than_its_joules():
    """0.20 kg of ice, melted and warmed to skin (37 °C), with 80 g of cloth: 334 and 4.18 kJ/kg (E8), at most 103 kJ.

    Against it stand 84 kJ in all to 20 °C, part of them from the air.
    """
    ds = out(31.0, 85.0, 3.3, 40.0, cooling=[ice_collar(0.2)])
    skin = float(np.trapezoid(ds.device_power.sel(side="skin").sum("device"), ds.time)) / 1e3
    print(skin)
    assert 0.0 < skin <= 0.2 * (334.0 + 4.18 * 37.0) + 0.08 * 1.7 * 37.0


def test_06_feeling_cooler_is_said_as_a_warning():
    """The benefit is perception: every device result warns of it, and nothing counts it as degrees."""
    assert cautions.FEEL_COOLER in cautions.for_device()
    assert cautions.FEEL_COOLER in cautions.for_result(device=True)
    assert cautions.FEEL_COOLER in cautions.one_line(device=True)
    assert "do not raise" in cautions.FEEL_COOLER


# --- 7 Wetting the skin ----------------------------------------------------------------------------------------------


def test_07_wetting_lowers_skin():
    """Dousing 2024 (B24a): mean skin -1.4 ± 0.6 °C (benchmark)."""
    skin = only(predicted("B24"), "60 min wet", "mean_skin")
    print(skin)
    assert -2.0 <= skin <= -0.8


def test_07_wetting_saves_sweat():
    """Dousing 2024 (B24a): sweat -0.37 ± 0.2 L/h (benchmark)."""
    sweat = only(predicted("B24"), "60 min wet", "sweat_loss")
    print(sweat)
    assert -0.57 <= sweat <= -0.17


def test_07_wetting_does_not_lower_core_where_sweat_covers_the_skin():
    """Dousing 2024 (B24a): core +0.02, within ± 0.15 K (benchmark)."""
    core = only(predicted("B24"), "60 min wet", "core")
    print(core)
    assert abs(core) <= 0.15


def wetted(air_C, humidity_pct, most_sweat_L_h):
    """Change of core at 60 min by 0.4 L of 28 °C water each 10 min."""
    water = Worn(PouredWater(0.4, 28.0, segments=SEGMENTS), refill_min=(10.0, 20.0, 30.0, 40.0, 50.0))
    dry, wet = (
        at(out(air_C, humidity_pct, 2.8, cooling=cooling, maximum_sweat_rate_L_h=most_sweat_L_h), 60)
        for cooling in ((), (water,))
    )
    return wet - dry


@pytest.mark.parametrize(("air_C", "humidity_pct"), [(35.0, 20.0), (38.0, 20.0), (42.0, 10.0)])
def test_07_wetting_helps_core_where_sweat_is_short(air_C, humidity_pct):
    """In dry heat it helps who sweats little by more than the ± 0.15 K of B24, and more than who sweats much."""
    little, much = wetted(air_C, humidity_pct, 0.5), wetted(air_C, humidity_pct, 2.5)
    print(little, much)
    assert little < -0.15 and little < much


# --- 8 Slurry --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("drink", "low", "high"), [("slurry", -0.86, -0.46), ("water", -0.37, -0.13)])
def test_08_a_cold_drink_before_running_drops_core(drink, low, high):
    """Siegel 2010 (B18): rectal -0.66 ± 0.2 with slurry, -0.25 ± 0.12 °C with cold water before the run (benchmark)."""
    change = only(predicted("B18"), f"B18/{drink}/", "change")
    print(change)
    assert low <= change <= high


def test_08_the_lead_decays_in_half_an_hour():
    """Siegel 2010 (B18): the gap between slurry and water is mostly (more than half) gone by 30 to 40 min (benchmark)."""
    runs = [variant_run("B18", name) for name in ("slurry", "water")]
    gaps = [read(runs[1], "rectal_temperature", t, "run") - read(runs[0], "rectal_temperature", t, "run") for t in (0, 30, 40)]
    print(gaps)
    assert gaps[0] > 0.0
    assert gaps[2] < 0.5 * gaps[0]


@pytest.mark.parametrize(("air_C", "humidity_pct"), [(30.0, 20.0), (33.0, 20.0), (35.0, 15.0)])
def test_08_slurry_while_running_in_dry_air_brings_little(air_C, humidity_pct):
    """9.6 g/kg of slurry cut sweat by 191 ± 122 g with no change of core (H10); no change is held to ± 0.15 K."""
    mass = 9.6e-3 * PERSON["mass_kg"] / 3.0
    warm, cold = (
        out(air_C, humidity_pct, 2.8, 75.0, cooling=[Worn(drink, from_min=15.0, refill_min=(30.0, 45.0))])
        for drink in (Drink(mass, 37.0), Drink(mass, -1.0, ice_share=0.6))
    )
    core, sweat = (at(cold, 75, name) - at(warm, 75, name) for name in ("core_temperature", "sweat_loss"))
    print(core, sweat)
    assert -0.313 <= sweat < 0.0
    assert abs(core) <= 0.15


# --- 9 Vests and hands -----------------------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class IceVest:
    """Ice at 0 °C over four fifths of chest and back, insulated outside; at rest on skin of 33 °C it takes 69 W (B12)."""

    skin_m2: float = 1.84
    ice_kg: float = 2.0
    name: str = "vest"

    def rows(self):
        shares = [SEGMENT_TABLE["area_share"][0][SEGMENTS.index(place)] for place in ("chest", "back")]
        areas = [0.8 * share * self.skin_m2 for share in shares]
        contact = 69.0 / (33.0 * sum(areas))
        return np.concatenate([
            boundary_row(place, area_m2=area, contact_W_m2K=contact, charge_kg=self.ice_kg * area / sum(areas),
                         dry_J_K=500.0, dry_mass_kg=0.4, outer_conductance_W_m2K=12.5, outer_J_K=500.0)
            for place, area in zip(("chest", "back"), areas, strict=True)
        ])  # fmt: skip


@functools.cache
def by_a_vest_at_rest():
    """Change of skin and of core by a vest worn at rest for 30 min, 34 °C, 58 %."""
    worn = [Worn(IceVest())]
    plain, vest = (out(34.0, 58.0, 0.0, 30.0, treadmill=True, cooling=cooling) for cooling in ([], worn))
    return [at(vest, 30, name) - at(plain, 30, name) for name in ("mean_skin_temperature", "core_temperature")]


def test_09_a_vest_at_rest_lowers_skin_more_than_core():
    """Maley 2018 (B23): every external method lowered skin."""
    skin, core = by_a_vest_at_rest()
    print(skin, core)
    assert skin < 0.0 and abs(skin) > abs(core)


def test_09_a_vest_at_rest_does_not_lower_core():
    """Maley 2018 (B23): none of them lowered core."""
    core = by_a_vest_at_rest()[1]
    print(core)
    assert abs(core) <= NO_DIFFERENCE_K


@pytest.mark.parametrize(("air_C", "humidity_pct"), [(22.0, 50.0), (28.0, 50.0), (32.2, 48.6)])
def test_09_what_a_vest_in_the_warm_up_brings_is_gone_after_10_km(air_C, humidity_pct):
    """Stannard 2011 (B10), vest in 30 min of warm-up, then 10 km in 2540 s: core -0.36 °C at the start, -0.16 at the end.

    Neither was significant; core may differ by no more than that.
    """
    minutes = [30.0, 42.0]
    parts = [{"minutes": minutes[0], "speed_m_s": 2.4}, {"minutes": minutes[1], "speed_m_s": 10_000 / 2540}]
    air = ts.Weather.steady(air_temperature_C=air_C, relative_humidity_pct=humidity_pct)
    plain, vest = (
        ts.simulate(ts.Runner(**PERSON), ts.Effort.table(parts), air, cooling=worn) for worn in ([], [Worn(IceVest(), to_min=30)])
    )
    start, end = (at(vest, t) - at(plain, t) for t in (30.0, sum(minutes)))
    print(start, end)
    assert abs(start) <= 0.36
    assert abs(end) <= 0.16


@pytest.mark.parametrize(("air_C", "humidity_pct"), [(25.0, 50.0), (31.0, 75.0), (38.0, 25.0)])
def test_09_a_vest_in_exercise_takes_tens_of_watts(air_C, humidity_pct):
    """House 2013 (B12): 40 W in exercise, 69 W in rest from ice; tens of watts are 10 to 100, against 800 to 1300 W made."""
    ds = out(air_C, humidity_pct, 3.3, 45.0, cooling=[Worn(IceVest())])
    taken = float(ds.device_power.sel(side="skin").sum("device")[1:].mean())
    made = float(ds.metabolic_power[-1])
    print(taken, made)
    assert 10.0 <= taken <= 100.0
    assert 800.0 <= made <= 1300.0


@pytest.mark.parametrize("water_C", [10.0, 20.0, 30.0])
def test_09_hands_in_water_take_what_was_measured(water_C):
    """Livingstone 1989 (B35): both hands in 10 to 30 °C: 31 ± 4 (warmest water, at rest) to 124 ± 14 W (coldest, hardest)."""
    taken = hands_W(water_C)
    print(water_C, taken)
    assert 27.0 <= taken <= 138.0


def hands_W(water_C):
    """Mean heat that both hands give to water in the first 20 min after 40 min of hard work in heat [W]."""
    effort = ts.Effort.table([{"minutes": 40, "speed_m_s": 2.4}, {"minutes": 20, "speed_m_s": 0.0}], treadmill=True)
    air = ts.Weather.steady(air_temperature_C=32, relative_humidity_pct=60)
    bath = Worn(Bath(water_C, segments=("hands",)), from_min=40.0)
    ds = ts.simulate(ts.Runner(**PERSON), effort, air, cooling=[bath], save_every_s=15)
    assert at(ds, 40) > 38.0
    power = ds.device_power.sel(side="skin").sum("device").sel(time=slice(2415.0, 3600.0))
    return float(power.mean())


def test_09_colder_water_takes_more_from_the_hands():
    """Livingstone 1989 (B35): 124 W in the coldest down to 31 W in the warmest water: in order of temperature."""
    assert rising([hands_W(water) for water in (30.0, 25.0, 20.0, 15.0, 10.0)])


# --- 10 Immersion ----------------------------------------------------------------------------------------------------

BATHS = ("2 °C", "8 °C", "14 °C", "20 °C")


def bath_rates():
    return np.array([-only(predicted("B29"), f"B29/{name}/", "rate") for name in BATHS])


@functools.cache
def passive_rate():
    """Rectal cooling at rest for 25 min from 40.0 °C after the exercise of the bath study [°C/min]."""
    hot = phase("run", 90, 39, 35, vo2max_pct=65, speed_m_s=2.9, label="exercise", until=Until(site="rectal", above_C=40.0))
    run = lab(hot, phase("seated", 25, 25, 35, label="rest"), mass_kg=70.0, height_m=1.74, vo2max_mL_kg_min=52.0)
    return (read(run, "rectal_temperature", 0, "rest") - read(run, "rectal_temperature", label="rest")) / 25.0


def test_10_cold_bath_cools_at_the_measured_rate():
    """Proulx 2003 (m) and Gagnon 2010 (B29, B30): 2 °C cools rectal by 0.10 to 0.35 °C/min, and fastest (benchmark)."""
    rates = bath_rates()
    print(rates)
    assert 0.10 <= rates[0] <= 0.35
    assert rates[0] > rates[1:].max()


def test_10_moderately_cool_water_is_nearly_as_quick():
    """Proulx 2003 (B29) (m): 0.35, 0.19, 0.15, 0.19 °C/min: 8 to 20 °C keep about half of the 2 °C rate or more."""
    rates = bath_rates()
    print(rates / rates[0])
    assert (rates[1:] / rates[0]).min() >= 0.15 / 0.35


@pytest.mark.parametrize(("water_C", "mean", "sd"), [(8, 0.19, 0.07), (14, 0.15, 0.06), (20, 0.19, 0.10)])
def test_10_water_of_8_to_20_cools_at_the_measured_rates(water_C, mean, sd):
    """Proulx 2003 (B29): 0.19 ± 0.07, 0.15 ± 0.06, 0.19 ± 0.10 °C/min (m), each to one standard deviation."""
    rate = bath_rates()[BATHS.index(f"{water_C} °C")]
    print(rate)
    assert rate == pytest.approx(mean, abs=sd)


def test_10_immersion_beats_rest_by_no_more_than_10():
    """0.35 against 0.034 °C/min (B29, B36) is ten times; every bath is faster than rest."""
    ratios = bath_rates() / passive_rate()
    print(ratios)
    assert ratios.min() > 1.0 and ratios.max() <= 0.35 / 0.034


@pytest.mark.parametrize("water_C", [2, 8, 14, 20])
def test_10_immersion_beats_rest_by_2(water_C):
    """Zhang 2015 (B33): about twice passive in typical baths."""
    ratio = bath_rates()[BATHS.index(f"{water_C} °C")] / passive_rate()
    print(ratio)
    assert ratio >= 2.0


def test_10_skin_flow_falls_in_cold_water():
    """Conductance falls when skin is cold: less skin blood flow in colder water, at one core, and less than at rest in air."""
    flows = []
    for water in (2.0, 8.0, 14.0, 20.0):
        bath = Cooling(kind="bath", temperature_C=water, segments="to_neck", contact_W_m2K=200.0, phase="bath")
        run = lab(phase("seated", 6, 25, 35, label="bath"), cooling=(bath,), start=Start(site="core", temperature_C=39.5))
        flows.append(read(run, "skin_blood_flow", 5))
    rest = lab(phase("seated", 6, 25, 35), start=Start(site="core", temperature_C=39.5))
    print(flows, read(rest, "skin_blood_flow", 5))
    assert rising(flows) and flows[-1] < read(rest, "skin_blood_flow", 5)


@pytest.mark.parametrize("name", BATHS)
def test_10_rectal_lags_behind_the_blood(name):
    """Oesophageal is below rectal throughout the bath once it has begun; rectal lags (B29)."""
    run = variant_run("B29", name)
    for minute in (5.0, 10.0):
        assert read(run, "oesophageal_temperature", minute, "bath") < read(run, "rectal_temperature", minute, "bath")


def test_10_oesophageal_falls_3_to_8_times_faster():
    """Bath studies (B29, B30): oesophageal cools three to eight times faster than rectal; times to 37.5 °C in 2 °C water."""
    run, start = variant_run("B29", "2 °C"), 40.0
    assert read(run, "rectal_temperature", 0, "bath") == pytest.approx(start, abs=0.05)
    times = []
    for site in ("oesophageal_temperature", "rectal_temperature"):
        values = -series(run, site)
        begin = run.span("bath").start_s
        times.append(first_crossing(run.trajectory.time_s, values, -37.51, begin) - begin)
    print(times, times[1] / times[0])
    assert 3.0 <= times[1] / times[0] <= 8.0


def test_10_rectal_keeps_falling_after_the_exit_the_more_the_longer_the_bath():
    """Gagnon 2010 (B30): after-drop present after both exits, and larger after the longer bath."""
    drops = [only(predicted("B30"), f"B30/{name}/", "after") for name in ("to 37.5", "to 38.6")]
    print(drops)
    assert max(drops) < 0.0 and drops[0] < drops[1]


def test_10_a_2_degree_bath_takes_the_measured_time():
    """Gagnon 2010 (B30): rectal 39.5 to 38.6 in 8.8 ± 2.6, to 37.5 °C in 16.6 ± 5.7 min (one standard deviation)."""
    short = only(predicted("B30"), "B30/to 38.6/", "time_to")
    long = only(predicted("B30"), "B30/to 37.5/", "time_to")
    print(short, long)
    assert short == pytest.approx(8.8, abs=2.6)
    assert long == pytest.approx(16.6, abs=5.7)


# --- 11 Rest ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["cool room", "33 °C chamber", "34 °C shade", "hot start"])
def test_11_rest_cools_slowly(name):
    """Passive recovery (B36): 0.03 to 0.06 °C/min rectal, read to the printed digit."""
    rate = -only(predicted("B36"), f"B36/{name}/")
    print(rate)
    assert 0.025 <= rate < 0.065


@pytest.mark.parametrize("clo", [1.5, 2.5])
def test_11_rest_in_impermeable_gear_can_warm(clo):
    """Selkirk 2004 (B34): +0.2 °C rectal in 30 min of rest in gear, 35 °C, 50 %, after 50 min at 4.5 km/h.

    Without gear the same rest cools. The gear's resistance is blank: vapour-tight (200 m²Pa/W), 1.5 and 2.5 clo.
    """
    gear = {"covered_fraction": 0.9, "insulation_clo": clo, "vapour_resistance_m2Pa_W": 200.0}
    effort = ts.Effort.table([{"minutes": 50, "speed_m_s": 1.25}, {"minutes": 30, "speed_m_s": 0.0}], treadmill=True)
    air = ts.Weather.steady(air_temperature_C=35, relative_humidity_pct=50)
    changes = []
    for clothing in (gear, "nude"):
        ds = ts.simulate(ts.Runner(**{**PERSON, "clothing": clothing}), effort, air, save_every_s=60)
        changes.append(at(ds, 80, "rectal_temperature") - at(ds, 50, "rectal_temperature"))
    print(changes)
    assert changes[0] > 0.0 > changes[1]


# --- 12 Heart rate ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("air_C", "humidity_pct", "speed"), [(28.0, 50.0, 2.8), (31.0, 70.0, 3.0), (36.0, 30.0, 2.8)])
def test_12_heart_rate_drifts_and_a_fan_or_fluid_cuts_it(air_C, humidity_pct, speed):
    """At fixed load in heat heart rate climbs from 15 min on; air over the skin, or replaced water, cuts the drift (A17, C3)."""
    water = Worn(Drink(0.2, 37.0), from_min=10.0, refill_min=tuple(range(20, 90, 10)))
    runs = {
        "still": out(air_C, humidity_pct, speed, 90.0, treadmill=True),
        "fan": out(air_C, humidity_pct, speed, 90.0, treadmill=True, fan_m_s=4.8),
        "fluid": out(air_C, humidity_pct, speed, 90.0, treadmill=True, cooling=[water]),
    }
    drift = {name: at(ds, 60, "heart_rate") - at(ds, 15, "heart_rate") for name, ds in runs.items()}
    print(drift)
    assert drift["still"] > 0.0
    assert drift["fan"] < drift["still"] and drift["fluid"] < drift["still"]


def test_12_heart_rate_follows_the_air_at_fixed_load():
    """Jenkins 2023 (A7): 1 ± 0.5 bpm per °C of air (benchmark)."""
    slope = only(predicted("A7"), "slope", "heart_rate")
    print(slope)
    assert 0.5 <= slope <= 1.5


@pytest.mark.parametrize("speed", [2.8, 3.3])
def test_12_heart_rate_stays_up_after_stopping_while_core_is_hot(speed):
    """It does not return to rest while core is hot (C14, m): 10 min after stopping it is higher the hotter it was."""
    effort = ts.Effort.table([{"minutes": 45, "speed_m_s": speed}, {"minutes": 10, "speed_m_s": 0.0}])
    hearts, cores = [], []
    for air_C, humidity in ((12.0, 50.0), (26.0, 60.0), (33.0, 75.0)):
        air = ts.Weather.steady(air_temperature_C=air_C, relative_humidity_pct=humidity)
        ds = ts.simulate(ts.Runner(**PERSON), effort, air)
        hearts.append(at(ds, 55, "heart_rate") - at(ds, 0, "heart_rate"))
        cores.append(at(ds, 55))
    print(hearts, cores)
    assert cores[-1] > max(cores[:-1]) and hearts[-1] > 0.0
    assert rising(hearts)


# --- 13 Acclimatisation ----------------------------------------------------------------------------------------------


def gained(air_C, humidity_pct, air_m_s, minutes=180.0):
    """Time to core 39.7 °C with ten heat days over the time with none, cycling at 60 % of maximal uptake."""
    ride = phase("cycle", minutes, air_C, humidity_pct, air_m_s, vo2max_pct=60)
    times = [minutes_to(lab(ride, heat_days=days), "core_temperature", 39.7) for days in (0, 10)]
    print(air_C, humidity_pct, times)
    assert times[0] < minutes
    return min(times[1], minutes) / times[0]


DAYS = {"a day 1": 48.0, "b day 10": 80.0}


@pytest.mark.parametrize("day", DAYS)
def test_13_times_in_dry_heat(day):
    """Nielsen 1993 (A13), 40 °C, 10 %: 48 min on day 1, 80 after 9 to 12 days, to 39.7 °C; each ± 25 % (benchmark for times)."""
    time = only(predicted("A13"), f"A13/{day}/", "time_to")
    print(time)
    assert time == pytest.approx(DAYS[day], rel=0.25)


def test_13_acclimatisation_buys_much_in_dry_heat():
    """Nielsen 1993 (A13): 80 over 48 min is 1.67 times; to 25 %, as times are."""
    first, last = (only(predicted("A13"), f"A13/{day}/", "time_to") for day in DAYS)
    print(first, last, last / first)
    assert last / first == pytest.approx(80.0 / 48.0, rel=0.25)


def test_13_and_little_where_the_air_is_what_limits():
    """Every dry condition gains more time than every humid one, and the humid ones less than half of 80/48 (A13)."""
    dry = [gained(42.0, 15.0, 0.4), gained(40.0, 10.0, 0.4), gained(43.0, 10.0, 0.4)]
    humid = [gained(35.0, 85.0, 0.4, 75.0), gained(33.0, 90.0, 0.4, 75.0), gained(35.0, 85.0, 1.0, 75.0)]
    print(dry, humid)
    assert min(dry) > max(humid)
    assert max(humid) - 1.0 < 0.5 * (80.0 / 48.0 - 1.0)


# --- 14 Mass ---------------------------------------------------------------------------------------------------------


def heavier_by(air_C, humidity_pct, speed):
    """Core of a runner of 85 kg less that of one of 54 kg, after an hour at one speed."""
    light, heavy = ({"mass_kg": 54.0, "height_m": 1.64}, {"mass_kg": 85.0, "height_m": 1.83})
    return at(out(air_C, humidity_pct, speed, **heavy), 60) - at(out(air_C, humidity_pct, speed, **light), 60)


HEAVY_HOT = [(*air, speed) for air in ((32.0, 60.0), (35.0, 60.0), (30.0, 85.0)) for speed in (2.8, 3.2)]
HEAVY_COOL = [(*air, speed) for air in ((8.0, 60.0), (12.0, 60.0), (15.0, 50.0)) for speed in (2.8, 3.2)]


@pytest.mark.parametrize(("air_C", "humidity_pct", "speed"), HEAVY_HOT)
def test_14_heavier_runners_suffer_more_in_heat(air_C, humidity_pct, speed):
    """A direction (Dennis & Noakes 1999, AF9); "more" is held to 0.3 K, the convention for core fixed before the fit."""
    more = heavier_by(air_C, humidity_pct, speed)
    print(more)
    assert more > 0.3


def test_14_not_in_cool():
    """The same convention: less than 0.3 K in cool air, and less in any cool air than in any hot air."""
    hot, cool = ([heavier_by(*one) for one in some] for some in (HEAVY_HOT, HEAVY_COOL))
    print(hot, cool)
    assert max(np.abs(cool)) <= 0.3
    assert min(hot) > max(cool)


def test_14_the_smaller_runner_keeps_balance_at_the_higher_speed():
    """Dennis & Noakes 1999 (AF9), 35 °C, 60 %: 45 kg balance at 19.1, 75 kg at 12.2 km/h (calculated): in order of mass."""
    people = ((75.0, 1.80), (60.0, 1.70), (45.0, 1.55))
    limits = [
        last_with_plateau(0.5, 6.0, lambda v, m=mass, h=height: out(35.0, 60.0, v, 80.0, mass_kg=m, height_m=h))
        for mass, height in people
    ]
    print(limits)
    assert rising(limits)


# --- 15 Sun ----------------------------------------------------------------------------------------------------------


def test_15_strong_sun_loads_like_100_to_150_watts():
    """Nielsen 1988 (E19) (m): clear midday sun adds 100 to 150 W to what an upright exerciser must lose."""
    load = only(predicted("E19"), "required_evaporation")
    print(load)
    assert 100.0 <= load <= 150.0


SUNNY = pytest.mark.parametrize(("air_C", "humidity_pct"), [(20.0, 50.0), (28.0, 40.0), (31.0, 40.0)])


@functools.cache
def in_the_sun(air_C, humidity_pct):
    """Skin and core after an hour in no sun and in 306, 592 and 1072 W/m² (Otani 2019, E20)."""
    runs = [out(air_C, humidity_pct, 2.8, weather={"solar_W_m2": sun}) for sun in (0.0, 306.0, 592.0, 1072.0)]
    return [at(ds, 60, "mean_skin_temperature") for ds in runs], [at(ds, 60) for ds in runs]


@SUNNY
def test_15_mostly_through_skin(air_C, humidity_pct):
    """Skin warms in order of sun, and by more than core (Otani 2019, E20)."""
    skins, cores = in_the_sun(air_C, humidity_pct)
    print(skins, cores)
    assert rising(skins)
    assert skins[-1] - skins[0] > cores[-1] - cores[0]


@SUNNY
def test_15_core_warms_in_order_of_sun(air_C, humidity_pct):
    """Core too (Otani 2019, E20)."""
    cores = in_the_sun(air_C, humidity_pct)[1]
    print(cores)
    assert rising(cores)


# --- 16 Cold ---------------------------------------------------------------------------------------------------------


def test_16_a_cool_marathon_ends_where_it_was_measured():
    """Maughan 1985 (AF3), 12 °C, 221 min: rectal 38.3 ± 0.9 °C."""
    end = only(predicted("AF3"), "rectal")
    print(end)
    assert 37.4 <= end <= 39.2


@pytest.mark.parametrize("air_C", [4.0, 8.0, 12.0])
def test_16_slow_runners_may_finish_cold_in_rain(air_C):
    """Maughan 1985 (AF3): finishers of 35.6 to 39.8 °C in 12 °C. Wet through in wind, who walks ends below the start.

    Who runs does not; and at the study's mean speed colder, wetter air makes nobody hotter than its mean plus 0.9 °C.
    """
    wind = {"wind_speed_m_s": 6.0, "wind_from": "head"}

    def rectal(speed):
        minutes = min(42_195.0 / speed / 60.0, 300.0)
        falls = tuple(float(m) for m in range(5, 240, 5) if m < minutes)
        rain = Worn(PouredWater(0.3, air_C, segments=SEGMENTS), refill_min=falls)
        return out(air_C, 95.0, speed, minutes, cooling=[rain], weather=wind).rectal_temperature

    walk, run = rectal(1.6), rectal(3.18)
    print(float(walk[0]), float(walk[-1]), float(run[-1]))
    assert 35.6 <= float(walk[-1]) < float(walk[0]) - NO_DIFFERENCE_K
    assert float(walk[-1]) < float(run[-1]) <= 39.2


# --- 17 One person's band --------------------------------------------------------------------------------------------


@functools.cache
def band():
    fields = {"mass_kg": 68, "height_m": 1.76, "speed_m_s": 3.0, "minutes": 45, "members": 80, "seed": 7}
    session = ts.Session.from_fields({**fields, "air_temperature_C": 22, "relative_humidity_pct": 50})
    variants = [{"name": "none"}, {"name": "collar", "cooling": [{"device": "ice_collar"}]}]
    session = ts.Session.from_parts(session.runner, session.effort, session.weather, variants=variants, ensemble=session.ensemble)
    return ts.compare(session).result


@pytest.mark.parametrize("k", [0, 1])
def test_17_the_band_of_one_person_is_shown_and_not_too_narrow(k):
    """± 0.3 to 0.5 °C core, ± 10 bpm, ± 20 to 30 % sweat for any prediction for one person: half of the 90 % interval."""
    one = band()["variants"][k]
    names = ("core_at_end_C", "heart_rate_at_end_bpm", "sweat_loss_L")
    half = {name: (one[name]["high"] - one[name]["low"]) / 2.0 for name in names}
    share = half["sweat_loss_L"] / one["sweat_loss_L"]["median"]
    print(half, share)
    assert half["core_at_end_C"] >= 0.3
    assert half["heart_rate_at_end_bpm"] >= 9.5  # about 10, read to whole beats
    assert share >= 0.20
    # wide enough to be honest, not so wide as to say nothing: twice the stated numbers
    assert half["core_at_end_C"] <= 1.0 and half["heart_rate_at_end_bpm"] <= 20.0 and share <= 0.60


def test_17_the_first_line_gives_the_band():
    """The band stands in the sentence that every output begins with."""
    assert "±0.5 °C" in cautions.not_medical_advice(0.5)


# --- 18 Not a medical device -----------------------------------------------------------------------------------------

PROMISE = re.compile(r"\bsafe(ly)?\b", re.IGNORECASE)


def said(capsys, *arguments):
    from thermosim.cli import main as entry

    code = entry.run([str(one) for one in arguments])
    told = capsys.readouterr()
    assert code == 0, told.err
    return re.sub(r"\s+", " ", re.sub(r"[│┃|]", " ", told.out + told.err))


def test_18_evidence_prints_the_cautions_and_no_promise(capsys):
    """Modelled core is not measured core, symptoms overrule, a group's mean is not one runner's core."""
    text = said(capsys, "evidence", "--case", "A8")
    for sentence in (cautions.not_medical_advice(), cautions.SYMPTOMS_OVERRULE, cautions.PLANNING_ONLY):
        assert sentence in text, sentence
    assert not PROMISE.search(text)
    assert "not that one runner's core is known" in text


def test_18_a_hot_run_prints_the_cautions_and_no_promise(capsys):
    """The same of a run, shortened or not."""
    run = "--mass-kg 68 --height-m 1.76 --speed-m-s 3 --minutes 20 --air-temperature-C 33 --relative-humidity-pct 80".split()
    for more in ((), ("--quiet",)):
        text = said(capsys, "simulate", *run, *more)
        assert "Not medical advice; modelled core is not measured core" in text
        assert cautions.SYMPTOMS_OVERRULE in text
        assert not PROMISE.search(text)


def test_18_collapse_or_confusion_is_an_emergency_whatever_is_shown():
    """Call, then immersion first, at any temperature: the order of the words is the order of the deeds."""
    text = cautions.HEAT_STROKE
    assert "collapse" in text and "confusion" in text and re.search(r"whatever any .* model says", text)
    order = [text.index(word) for word in ("call emergency services", "cool at once", "transport second", "immersion")]
    assert order == sorted(order)
    full = cautions.in_full()
    assert full[0] == cautions.STOP_NOW and full.index(cautions.HEAT_STROKE) < full.index(cautions.not_medical_advice())
    assert not [sentence for sentence in full if PROMISE.search(sentence)]
