"""From the engine's flat arrays to the twin's plain dictionaries and back; random cases; the balance with an error put in."""

import re
import types
from pathlib import Path
from types import SimpleNamespace

import basic_twin as twin
import numpy as np

from thermosim.cooling import boundary_row
from thermosim.engine import balance as balance_module
from thermosim.engine import device_rows as device_module
from thermosim.engine import nodes as n
from thermosim.engine import water_rows as water_module
from thermosim.engine.records import (
    AROUND,
    BATH,
    IN_STOMACH,
    LEG,
    PIECE,
    POURED,
    PUT_ON,
    REFILL,
    ROW,
    TAKE_OFF,
)
from thermosim.parameters import PARAMETERS, SEGMENTS
from thermosim.physics.air import saturation_pressure

LAYERS = (("core", n.CORE), ("muscle", n.MUSCLE), ("fat", n.FAT), ("skin", n.SKIN))
SINGLES = (
    ("blood", n.BLOOD),
    ("gut", n.GUT),
    ("rectal", n.RECTAL),
    ("lost", n.LOST),
    ("joules_water", n.JOULES_WATER),
)
WATER = (n.SWEAT, n.DIFFUSED, n.EVAPORATED, n.DRIPPED, n.BREATHED, n.CONDENSED, n.RECEIVED, n.WICKED)
BLOCK = (
    n.PATCH_C,
    n.PATCH_FILM,
    n.STORE_J,
    n.STORE_KG,
    n.OUTER_C,
    n.OUTER_KG,
    n.FROM_SKIN,
    n.FROM_AIR,
    n.FROM_VAPOUR,
    n.WITH_WATER,
    n.RUN_OFF,
    n.ROW_CONDENSED,
    n.ROW_EVAPORATED,
    n.ROW_DRIPPED,
    n.ROW_WICKED,
    n.ROW_CHARGED_KG,
    n.ROW_CHARGED_J,
    n.ROW_DRUNK,
    n.SHADED,
    n.ROW_FILLS,
)
FAST = ("oxygen_fast", "oxygen_slow", "heart_work", "distance", "running_s")
ACTIONS = {PUT_ON: "put_on", TAKE_OFF: "take_off", REFILL: "refill"}


def to_vector(state: dict) -> np.ndarray:
    """Write a state of the twin as the engine keeps it."""
    vector = np.zeros(n.BASE + n.ROW_SIZE * len(state["rows"]))
    for name, first in (*LAYERS, ("film", n.FILM)):
        vector[first : first + n.N_SEGMENTS] = state[name]
    for name, place in SINGLES:
        vector[place] = state[name]
    vector[n.JOULES : n.JOULES + n.N_BOUNDARY_TERMS] = [state["joules"][name] for name in twin.BOOKS]
    for name, place in zip(twin.WATER, WATER):
        vector[place] = state["water"][name]
    for r, own in enumerate(state["rows"]):
        for name, place in zip(twin.ROW_STATES, BLOCK):
            vector[n.BASE + r * n.ROW_SIZE + place] = own[name]
    return vector


def to_twin(vector: np.ndarray) -> dict:
    """Read the engine's state vector as the twin keeps it."""
    rows = (vector.size - n.BASE) // n.ROW_SIZE
    state = {name: vector[first : first + n.N_SEGMENTS].copy() for name, first in (*LAYERS, ("film", n.FILM))}
    state.update({name: float(vector[place]) for name, place in SINGLES})
    state["joules"] = {name: float(vector[n.JOULES + i]) for i, name in enumerate(twin.BOOKS)}
    state["water"] = {name: float(vector[place]) for name, place in zip(twin.WATER, WATER)}
    state["rows"] = [
        {name: float(vector[n.BASE + r * n.ROW_SIZE + place]) for name, place in zip(twin.ROW_STATES, BLOCK)}
        for r in range(rows)
    ]
    return state


def fast_to_twin(fast: np.ndarray) -> dict:
    """Read the engine's fast states by name."""
    return {name: float(value) for name, value in zip(FAST, fast)}


def plain(records: np.ndarray) -> list[dict]:
    """Structured records as a list of dictionaries of Python numbers."""
    return [{name: record[name].item() for name in records.dtype.names} for record in records]


def happenings(events: np.ndarray) -> list[tuple[float, int, str]]:
    """Events of a run in the twin's words."""
    return [(float(e["time_s"]), int(e["row"]), ACTIONS[int(e["action"])]) for e in events]


def active_of(rows: np.ndarray, on) -> np.ndarray:
    """What the engine keeps in ``active`` for rows that are on or off: one more than the place; 0 is off."""
    active = np.zeros(n.MAX_ROWS, dtype=np.int64)
    active[: rows.size] = np.where(on, rows["place"] + 1, 0)
    return active


def altered_balance(mutation):
    """The balance and its rows from their own source text with one place changed, run as plain Python."""
    texts, fits = [], 0
    for part in (device_module, water_module, balance_module):
        text = Path(part.__file__).read_text(encoding="utf-8")
        plain_compiled = "\n\ndef compiled(function):\n    return function\n"
        text, found = re.subn(r"\nfrom thermosim\._jit import compiled\b", plain_compiled, text)
        assert found == 1
        if mutation:
            text, found = re.subn(*mutation, text)
            fits += found
        texts.append(re.sub(r"\nfrom thermosim\.engine\.(device|water)_rows import [^\n]+", "", text))
    assert not mutation or fits == 1, f"the mutation {mutation[0]!r} fits {fits} places: bring it up to date"
    module = types.ModuleType("altered_balance")
    for text in texts:
        exec(compile(text, "altered balance", "exec"), module.__dict__)
    return module.balance


def person(**fields) -> SimpleNamespace:
    """A runner as the engine's front door takes one; what is left out is an invented 65-kg runner."""
    usual = {
        "mass_kg": 65.0,
        "height_m": 1.75,
        "body_fat_pct": 15.0,
        "sex": "male",
        "heat_days": 0,
        "vo2max_mL_kg_min": 60.0,
        "economy_factor": 1.0,
        "maximum_sweat_rate_L_h": None,
        "resting_heart_rate_bpm": 50.0,
        "maximum_heart_rate_bpm": 188.0,
        "age_y": 35,
        "clothing": "light_kit",
    }
    return SimpleNamespace(**{**usual, **fields})


def piece(start_s, end_s, speed_m_s, air_C, humidity, **fields) -> np.ndarray:
    """One stretch of steady effort and weather; ``fields`` may set any field of PIECE."""
    record = np.zeros(1, dtype=PIECE)
    usual = {
        "start_s": start_s,
        "end_s": end_s,
        "speed_m_s": speed_m_s,
        "surface": 1.0,
        "pressure_kPa": 101.325,
        "ground_air": 1.0,
        "wind_across": 1.0,
        "gait": -1,
        "swing_m_s": speed_m_s,
        "power_W": -1.0,
        "upright": 1.0,
    }
    for side in "01":
        usual |= {
            f"air_C_{side}": air_C,
            f"radiant_C_{side}": air_C,
            f"vapour_kPa_{side}": humidity * saturation_pressure(air_C),
        }
    for name, number in {**usual, **fields}.items():
        record[name] = number
    return record


def leg(**fields) -> np.ndarray:
    """One leg of a paced run, by ``metres`` or ``seconds``; what is left out is level running in sun and wind."""
    record = np.zeros(1, dtype=LEG)
    usual = {"surface": 1.0, "heading": np.nan, "sun_left": 1.0, "wind_left": 1.0, "upright": 1.0, "gait": -1, "capped": 1}
    for name, number in {**usual, **fields}.items():
        record[name] = number
    return record


def random_person(rng) -> SimpleNamespace:
    """Any adult runner, in any kit."""
    height_m = rng.uniform(1.5, 2.0)
    own = SimpleNamespace(
        covered_fraction=rng.uniform(0, 1),
        insulation_clo=rng.uniform(0, 1.2),
        vapour_resistance_m2Pa_W=rng.uniform(0, 25),
    )
    return person(
        mass_kg=rng.uniform(17.5, 32) * height_m**2,
        height_m=height_m,
        body_fat_pct=rng.choice([rng.uniform(6, 35), None]),
        sex=rng.choice(["male", "female"]),
        heat_days=rng.choice([0.0, rng.uniform(0, 14), None]),
        vo2max_mL_kg_min=rng.uniform(35, 80),
        economy_factor=rng.uniform(0.85, 1.2),
        maximum_sweat_rate_L_h=rng.choice([None, rng.uniform(0.6, 3.0)]),
        resting_heart_rate_bpm=rng.uniform(38, 80),
        maximum_heart_rate_bpm=rng.choice([None, rng.uniform(160, 205)]),
        age_y=int(rng.integers(18, 75)),
        clothing=[own, "nude", "light_kit", "shirt_and_shorts", "coverall"][rng.integers(5)],
    )


def random_overrides(rng) -> dict[str, float]:
    """What an ensemble may draw: every parameter that has a spread between people, inside its range."""
    spread = [name for name, entry in PARAMETERS.items() if entry.sd > 0.0]
    return {name: rng.uniform(PARAMETERS[name].low, PARAMETERS[name].high) for name in spread}


def random_piece(rng) -> np.ndarray:
    """Any effort in any weather, with straight-line changes; now and then cycling or at rest, with or without a given power."""
    fields = {
        f"{name}_{side}": rng.uniform(low, high)
        for side in "01"
        for name, low, high in (
            ("air_C", -10, 45),
            ("vapour_kPa", 0.05, 6.0),
            ("wind_m_s", 0.0, 9.0),
            ("solar_W_m2", 0.0, 1000.0),
            ("radiant_C", -10, 75),
        )
    }
    angle, gait = rng.uniform(0, np.pi), int(rng.choice([-1, -1, 0, 1, 2]))
    speed_m_s = rng.choice([0.0, 0.03, rng.uniform(0.1, 2.5), rng.uniform(1.5, 6.5)])
    return piece(
        0.0,
        600.0,
        speed_m_s,
        0.0,
        0.5,
        swing_m_s=rng.choice([speed_m_s, 0.0, rng.uniform(0, 2)]),
        activity=rng.choice([twin.ON_FOOT, twin.ON_FOOT, twin.CYCLING, twin.RESTING]),
        power_W=rng.choice([-1.0, -1.0, 0.0, rng.uniform(60, 1500)]),
        given_work_W=rng.choice([0.0, rng.uniform(0, 300)]),
        upright=rng.choice([1.0, rng.uniform(0, 1)]),
        seated=rng.choice([0.0, 1.0]),
        gait=gait,
        grade=rng.choice([0.0, rng.uniform(-0.1, 0.1), rng.uniform(-0.45, 0.45)]),
        carried_kg=rng.choice([0.0, rng.uniform(0, 12)]),
        surface=rng.uniform(1.0, 1.4),
        pressure_kPa=rng.uniform(65, 104),
        wind_along=np.cos(angle),
        wind_across=np.sin(angle),
        ground_air=rng.integers(2),
        fan_m_s=rng.uniform(0, 6),
        cost_relation=rng.integers(2),
        air_drag=rng.integers(2),
        **fields,
    )


def random_rows(rng, area_m2) -> np.ndarray:
    """None to two device rows: bare or tight, ice or another filling or a warm wrap, anywhere on the body."""
    rows = []
    for _ in range(rng.integers(0, 3)):
        segment = rng.integers(n.N_SEGMENTS)
        melt_low = rng.choice([0.0, rng.uniform(5, 30)])
        fields = {
            "area_m2": rng.uniform(0.05, 0.44) * area_m2[segment],
            "contact_W_m2K": rng.uniform(10, 150),
            "charge_kg": rng.uniform(0.05, 1.5),
            "charge_C": melt_low + rng.choice([0.0, rng.uniform(-20, 30)]),
            "melt_low_C": melt_low,
            "melt_high_C": melt_low + rng.choice([0.0, rng.uniform(0, 4)]),
            "latent_J_kg": rng.choice([334e3, 2e5, 0.0]),
            "dry_J_K": rng.uniform(10, 200),
            "dry_mass_kg": rng.uniform(0, 0.5),
            "hold_kg": rng.choice([1e3, rng.uniform(0, 0.3)]),
            "drip_on_skin": rng.uniform(0, 1),
            "outer_area_m2": rng.uniform(0.01, 0.3),
            "outer_conductance_W_m2K": rng.uniform(3, 200),
            "outer_J_K": rng.uniform(30, 300),
            "outer_absorptance": rng.uniform(0, 0.9),
            "wicks": rng.integers(2),
            "outer_exposure": rng.uniform(0, 1.2),
            "drip_segment_1": rng.integers(12),
            "drip_segment_2": rng.integers(12),
        }
        rows.append(boundary_row(SEGMENTS[segment], **fields))
    rows += [random_water(rng) for _ in range(rng.integers(0, 4))]
    rows += [random_surroundings(rng) for _ in range(rng.integers(0, 3))]
    return np.concatenate(rows) if rows else np.zeros(0, dtype=ROW)


def random_water(rng) -> np.ndarray:
    """A drink or slurry, water poured somewhere, or a bath that some of a segment is in."""
    place = int(rng.choice([IN_STOMACH, POURED, BATH]))
    melt_low = 0.0 if rng.random() < 0.7 else rng.uniform(0, 4)
    return boundary_row(
        "abdomen" if place == IN_STOMACH else SEGMENTS[rng.integers(n.N_SEGMENTS)],
        place=place,
        area_m2=rng.uniform(0.01, 0.1),
        contact_W_m2K=rng.uniform(20, 500),
        charge_kg=rng.uniform(0.02, 1.5),
        charge_C=rng.uniform(-5, 5) if rng.random() < 0.5 else rng.uniform(0, 45),
        ice_share=rng.choice([0.0, 1.0, rng.uniform(0, 1)]),
        melt_low_C=melt_low,
        melt_high_C=melt_low + rng.choice([0.0, rng.uniform(0, 3)]),
        drip_s=rng.uniform(5, 2000),
        drip_on_skin=rng.uniform(0, 1),
        run_off_warming=rng.uniform(0, 1),
        half_contact_kg=rng.uniform(0.02, 0.6),
        swallow_ceiling_kg=rng.choice([0.0, rng.uniform(0.1, 1.5)]),
        segment_share=rng.choice([1.0, rng.uniform(0, 1)]),
    )


def random_surroundings(rng) -> np.ndarray:
    """A fan, mist, a canopy, cooler breath, or some of all."""
    some = [float(rng.random() < 0.6) for _ in range(5)]
    return boundary_row(
        "head",
        place=AROUND,
        area_m2=0.01,
        dry_mass_kg=rng.choice([0.0, rng.uniform(0, 1)]),
        air_speed_m_s=some[0] * rng.uniform(0, 6),
        air_change_K=some[1] * rng.uniform(-8, 3),
        vapour_change_kPa=some[2] * rng.uniform(-1, 1),
        shade_share=some[3] * rng.uniform(0, 1),
        breath_share=some[4] * rng.uniform(0, 1),
        breath_C=rng.uniform(-5, 40),
        mist_kg_s=rng.choice([0.0, rng.uniform(0, 2e-3)]),
        mist_C=rng.uniform(0, 40),
        sink_W=rng.choice([0.0, rng.uniform(0, 200)]),
    )


def random_state(rng, who, rows) -> dict:
    """A body somewhere between cold rain and heat stroke, wet or dry, devices fresh or spent."""
    core = rng.uniform(35.5, 41.0)
    state = {
        "core": core + rng.uniform(-1.5, 0.5, 12),
        "muscle": core + rng.uniform(-6, 2, 12),
        "fat": core + rng.uniform(-9, 0.5, 12),
        "skin": rng.uniform(21, 35) + rng.uniform(-4, 5, 12),
        "blood": core + rng.uniform(-0.6, 0.6),
        "gut": core + rng.uniform(-2, 0.5),
        "rectal": core + rng.uniform(-1, 0.3),
        "film": rng.choice([0.0, 1.0, 1.6]) * rng.uniform(0, 1, 12) * who.film_full_kg_m2 * who.area,
        "lost": rng.choice([0.0, rng.uniform(0, 3.5), rng.uniform(-1.5, 0)]),  # negative: drunk more than was lost
        "joules_water": rng.uniform(0, 1e5),
        "joules": {name: rng.normal(0, 1e6) for name in twin.BOOKS},
        "water": {name: rng.uniform(0, 2) for name in twin.WATER},
    }
    state["rows"] = []
    for row in rows:
        own = twin.new_row(row, state)
        charge = rng.choice([row["charge_kg"], rng.uniform(0.02, 1.0) * row["charge_kg"]])
        own |= {
            "patch_C": rng.uniform(8, 36),
            "film_kg": rng.uniform(0, 1.5) * who.film_full_kg_m2 * row["area_m2"],
            "store_kg": charge,
            "store_J": rng.uniform(-1.2, 0.6) * charge * max(row["latent_J_kg"], 5e4),
            "outer_C": rng.uniform(-5, 45),
            "outer_kg": rng.choice([0.0, rng.uniform(0, 0.03)]),
            "from_skin_J": rng.uniform(0, 1e5),
            "dripped_kg": rng.uniform(0, 0.1),
        }
        if row["place"] == POURED:
            own["store_J"] = charge * row["liquid_J_kgK"] * rng.uniform(0, 45)
        state["rows"].append(own)
    return state


def random_fast(rng, who) -> dict:
    """Oxygen uptake and heart rate somewhere in a run."""
    return {
        "oxygen_fast": rng.uniform(who.resting_W, who.maximal_W),
        "oxygen_slow": rng.uniform(0, 80.0),
        "heart_work": rng.uniform(0, 140.0),
        "distance": rng.uniform(0, 2e4),
        "running_s": rng.uniform(0, 9000.0),
    }
