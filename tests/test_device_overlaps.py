"""What devices cannot do together or after the end, and mist that stops at the wet bulb of the air."""

import dataclasses

import numpy as np
import pytest

import thermosim as ts
from tests import basic_twin as twin
from thermosim.cooling import Worn, boundary_row, flatten_cooling, ice_collar
from thermosim.cooling.around import CoolBreath, MistingFan
from thermosim.cooling.packs import IceVest
from thermosim.cooling.water import Bath, Drink, HandDip, Immersion, PouredWater
from thermosim.engine.prepare import share_that_evaporates
from thermosim.engine.records import ON_SKIN
from thermosim.errors import InputError
from thermosim.inputs.flat import runner_record
from thermosim.parameters import SEGMENTS
from thermosim.physics.air import saturation_pressure, vapour_pressure_of_wet_bulb

RUNNER = ts.Runner(mass_kg=65, height_m=1.75, vo2max_mL_kg_min=60, heat_days=5)
AREA_M2 = runner_record(RUNNER)[0]["area_m2"]
HOUR_S = 3600.0
DIP = HandDip(temperature_C=12.0, forearm_share=0.5, contact_W_m2K=150.0)
TUB = Immersion(temperature_C=10.0, contact_W_m2K=200.0)
SLOPE = 0.0665  # kPa/K


@dataclasses.dataclass(frozen=True)
class Sleeve:
    """A cold thing on a share of the forearms."""

    share: float
    name: str = "sleeve"

    def rows(self):
        """Return its row."""
        return boundary_row("forearms", area_m2=self.share * AREA_M2[SEGMENTS.index("forearms")], contact_W_m2K=50.0)


# --- mist ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("air_C", [5.0, 20.0, 38.0, 48.0])
@pytest.mark.parametrize("humidity", [0.1, 0.6, 0.95, 1.0])
@pytest.mark.parametrize("cooling_K", [0.5, 1.5, 15.0, 30.0])
def test_mist_stops_at_the_wet_bulb(air_C, humidity, cooling_K):
    vapour = humidity * saturation_pressure(air_C)
    share = share_that_evaporates(air_C, vapour, -cooling_K, SLOPE * cooling_K)
    cooled, moister = air_C - share * cooling_K, vapour + share * SLOPE * cooling_K
    assert 0.0 <= share <= 1.0 and moister >= vapour
    assert moister <= saturation_pressure(cooled) * (1.0 + 1e-12)
    if share < 1.0:
        assert moister == pytest.approx(saturation_pressure(cooled), rel=1e-12)
        # the psychrometer equation, with its own coefficient (0.0671 at sea level), says about the same
        assert vapour_pressure_of_wet_bulb(air_C, cooled, 101.325) == pytest.approx(vapour, abs=1e-3 * (air_C - cooled) + 1e-9)
    ours = twin.share_of_mist(air_C, vapour, -cooling_K, SLOPE * cooling_K)
    assert ours == pytest.approx(share, abs=1e-12)


def stand_in(air_C, humidity_pct, cooling):
    return ts.simulate(
        RUNNER,
        ts.Effort.steady(speed_m_s=2.5, minutes=40),
        ts.Weather.steady(air_temperature_C=air_C, relative_humidity_pct=humidity_pct),
        cooling=cooling,
        save_every_s=60,
    )


def air_of(ds):
    return float(ds.air_temperature[-1]), float(ds.relative_humidity[-1])


def mist(cooling_K):
    return MistingFan(air_speed_m_s=3.0, mist_kg_min=0.03, mist_C=22.0, air_cooling_K=cooling_K)


def test_vapour_does_not_vanish_in_moist_air():
    """At 38 °C and 95 % the air takes 0.8 K, whatever was asked for, and ends saturated, moister than it was."""
    (dry_C, dry_pct), (wet_C, wet_pct) = (air_of(stand_in(38.0, 95.0, [mist(cooling_K)])) for cooling_K in (0.0, 15.0))
    assert (dry_C, dry_pct) == pytest.approx((38.0, 95.0))
    assert 37.0 < wet_C < 37.5 and wet_pct == pytest.approx(100.0, abs=1e-6)
    before, after = 0.95 * saturation_pressure(38.0), saturation_pressure(wet_C)
    assert after - before == pytest.approx(SLOPE * (38.0 - wet_C), rel=1e-6)


def test_two_mists_stop_at_the_same_wet_bulb():
    one, two = stand_in(38.0, 95.0, [mist(15.0)]), stand_in(38.0, 95.0, [mist(5.0), mist(10.0)])
    assert air_of(two) == pytest.approx(air_of(one), abs=1e-9)


def test_dry_air_takes_all_of_the_cooling():
    assert air_of(stand_in(38.0, 30.0, [mist(1.5)]))[0] == pytest.approx(36.5)


# --- what cannot be together -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cooling", "words"),
    [
        ([Worn(TUB, 10.0, 30.0), Worn(DIP, 20.0, 40.0)], ["immersion and hand_dip together", "150 %", "minute 20 to 30"]),
        ([Worn(DIP, 20.0), Worn(TUB, 10.0)], ["hand_dip and immersion together", "forearms", "minute 20 to 60"]),
        ([Worn(Bath(20.0, ("feet",)), 5.0), Worn(Bath(30.0, ("feet",)), 6.0, 7.0)], ["bath and bath 2", "200 %", "6 to 7"]),
        ([Worn(CoolBreath(12.0, 0.6), 0.0, 30.0), Worn(CoolBreath(5.0, 0.5), 12.0)],
         ["cool_breath and cool_breath 2 together", "110 % of the breath", "minute 12 to 30"]),
        ([Worn(IceVest(), 0.0), Worn(TUB, 15.0, 25.0)], ["ice_vest", "immersion", "under water", "minute 15 to 25"]),
        ([Worn(Sleeve(0.6), 3.0, 50.0), Worn(DIP, 5.0, 8.0)], ["sleeve and hand_dip together", "110 %", "minute 5 to 8"]),
        ([ice_collar(0.2), Worn(Bath(20.0, ("neck",)), 5.0, 9.0)], ["ice_collar and bath together", "neck", "minute 5 to 9"]),
    ],
)  # fmt: skip
def test_refused_together(cooling, words):
    with pytest.raises(InputError) as refused:
        flatten_cooling(cooling, AREA_M2, HOUR_S)
    for word in (*words, "allowed is 100 %"):
        assert word in str(refused.value)
    assert refused.value.remedy and "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "cooling",
    [
        [Worn(TUB, 10.0, 20.0), Worn(DIP, 20.0, 40.0)],  # one after the other
        [Worn(Sleeve(0.5), 0.0), Worn(DIP, 5.0, 8.0)],  # half and half
        [Worn(IceVest(), 0.0, 15.0), Worn(TUB, 15.0, 25.0)],  # taken off first
        [Worn(CoolBreath(12.0, 0.5)), Worn(CoolBreath(5.0, 0.5))],
        [ice_collar(0.2), Worn(TUB, 5.0, 9.0)],  # the neck stays out
        [Worn(TUB, 10.0, 30.0), Worn(PouredWater(), 12.0, refill_min=(20.0,)), Worn(Drink(), 15.0)],
    ],
)
def test_allowed_together(cooling):
    rows, _, _ = flatten_cooling(cooling, AREA_M2, HOUR_S)
    assert rows.size


def test_what_was_drawn_is_made_to_fit():
    """Draws about cards that fit may not stop an ensemble: all that meets shrinks by one factor."""
    breath, _, _ = flatten_cooling([CoolBreath(12.0, 0.6), CoolBreath(5.0, 0.5)], AREA_M2, HOUR_S, shrink=True)
    assert list(breath["breath_share"]) == pytest.approx([0.6 / 1.1, 0.5 / 1.1])
    arm, _, _ = flatten_cooling([Worn(Sleeve(0.6)), Worn(DIP, 5.0)], AREA_M2, HOUR_S, shrink=True)
    sleeve = arm[arm["place"] == ON_SKIN][0]
    under = arm[(arm["segment"] == sleeve["segment"]) & (arm["place"] != ON_SKIN)]["segment_share"].sum()
    assert under + sleeve["area_m2"] / AREA_M2[sleeve["segment"]] == pytest.approx(1.0)
    assert under == pytest.approx(0.5 / 1.1)


# --- after the end ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("worn", "name"),
    [
        (ice_collar(0.2, refill_min=(30.0, 75.0)), "ice_collar"),
        (Worn(Drink(), 10.0, refill_min=(20.0, 75.0)), "drink"),
        (Worn(PouredWater(), 10.0, refill_min=(75.0,)), "pour_over"),
    ],
)
def test_refills_after_the_end_are_refused(worn, name):
    with pytest.raises(InputError, match=f"{name}: refill_min is 75 min, but the run ends at 60 min; "):
        flatten_cooling([worn], AREA_M2, HOUR_S)


def test_a_refill_at_the_very_end_is_refused_and_one_before_it_is_kept():
    with pytest.raises(InputError, match="refill_min is 60 min, but the run ends at 60 min"):
        flatten_cooling([Worn(Drink(), 10.0, refill_min=(60.0,))], AREA_M2, HOUR_S)
    _, events, _ = flatten_cooling([Worn(Drink(), 10.0, refill_min=(59.0,))], AREA_M2, HOUR_S)
    assert np.array_equal(events["time_s"], [600.0, 3540.0])
