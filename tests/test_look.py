"""Figures: every page drawn from invented curves, the ordinary case and the awkward ones, and read back."""

import json
import re
import subprocess
import sys
from itertools import combinations

import numpy as np
import pytest
import xarray as xr

from thermosim import cautions, look
from thermosim.look import compare_limit, compare_panels, ledger_page, page, reading, run_page, style

TERMS = [
    "metabolic_power",
    "external_work",
    "convection",
    "long_wave_radiation",
    "solar_radiation",
    "respiration_vapour",
    "respiration_dry",
    "evaporation",
    "devices",
    "storage",
]


# ---------------------------------------------------------------- invented data


def invented_run(
    minutes=60.0,
    *,
    name="P-22",
    device=None,
    limit=39.0,
    rise=1.9,
    sun=120.0,
    gap=None,
    recorded=False,
    bands=False,
    hills=False,
    stops=False,
    limited_from=None,
    assumed=None,
    sites=True,
):
    """Return a Dataset shaped like a run; every curve is a formula, none of it is physiology."""
    t = np.linspace(0.0, minutes * 60, int(min(minutes * 30, 2400)) + 1)
    x = t / t[-1]
    speed = np.full_like(t, 3.3)
    if stops:
        speed[(x > 0.4) & (x < 0.45)] = 0.0
        speed[(x > 0.7) & (x < 0.72)] = 0.0
    grade = 5 * np.sin(9 * x) if hills else np.zeros_like(t)
    core = 37.2 + rise * (1 - np.exp(-2.2 * x)) / (1 - np.exp(-2.2))
    rate = 70 + 85 * (1 - np.exp(-t / 60)) + 12 * x - 40 * (speed == 0)
    flow = {
        "metabolic_power": np.where(speed > 0, 900.0, 120.0),
        "external_work": -8.0 * grade,
        "convection": -90 + 20 * x,
        "long_wave_radiation": -25 + 10 * x,
        "solar_radiation": sun * x,
        "respiration_vapour": np.full_like(t, -55.0),
        "respiration_dry": np.full_like(t, -6.0),
        "evaporation": -620 * (1 - np.exp(-t / 500)),
        "devices": -25 * np.exp(-t / 900) if device else np.zeros_like(t),
    }
    flow["storage"] = sum(flow.values())
    ds = xr.Dataset(
        {
            "core_temperature": ("time", core),
            "mean_skin_temperature": ("time", 33 + 2 * x),
            "heart_rate": ("time", rate),
            "speed": ("time", speed),
            "grade": ("time", grade),
            "air_temperature": ("time", 30 + 2.2 * x),
            "relative_humidity": ("time", 80 - 6 * x),
            "air_speed": ("time", speed + 0.2),
            "solar_load": ("time", sun * x),
            "heat_flow": (("term", "time"), np.array([flow[k] for k in TERMS])),
            "closure": ("time", 1e-6 * np.sin(20 * x)),
            "limited_by": ("time", np.zeros(len(t), dtype=int)),
        },
        coords={"time": t, "term": TERMS},
        attrs={
            "inputs": json.dumps({"runner": {"name": name, "mass_kg": 78.0}}),
            "version": "0.1.0",
            "seed": 17,
            "warnings": json.dumps(["speed is outside the tested range"]),
            "limit_C": limit,
            "max_closure_W": 1e-6,
            "energy_closure_relative": 2e-9,
            "water_closure_kg": 1e-12,
            "source_hash": "0123456789abcdef",
        },
    )
    if sites:
        ds["oesophageal_temperature"] = ("time", core + 0.03)
        ds["rectal_temperature"] = ("time", core - 0.12)
    if limited_from is not None:
        ds["limited_by"] = ("time", np.where(x > 0.9, 2, np.where(x > limited_from, 1, 0)))
    if device:
        ds = ds.assign_coords(device=[device])
    if bands:
        for variable, half in (
            ("core_temperature", 0.3),
            ("mean_skin_temperature", 0.4),
            ("heart_rate", 6.0),
        ):
            for side, sign in (("low", -1), ("high", 1)):
                curve = np.array(
                    [ds[variable].values + sign * half * (0.2 + 0.8 * x) * part for part in (0.45, 1)]
                )
                ds[f"{variable}_{side}"] = (("band", "time"), curve)
        ds = ds.assign_coords(band=[0.5, 0.9])
    if recorded:
        seconds = np.arange(0.0, minutes * 60)
        if gap:
            seconds = seconds[(seconds <= gap[0]) | (seconds >= gap[1])]
        beats = np.interp(seconds, t, rate) - 4 + 3 * np.sin(seconds / 7) + 2 * np.sin(seconds / 1.3)
        ds["heart_rate_recorded"] = ("recorded_time", np.round(beats))
        ds = ds.assign_coords(recorded_time=seconds)
    if assumed:
        ds.attrs["assumed"] = json.dumps(assumed)
    return ds


ASSUMED = [
    {
        "name": "wind_speed_m_s",
        "unit": "m/s",
        "value": 0.8,
        "low": 0.3,
        "high": 1.3,
        "core_effect_K": [-0.06, 0.09],
        "heart_rate_effect_bpm": [-1, 2],
    },
    {
        "name": "maximum sweat rate, no mass test for this runner",
        "unit": "L/h",
        "value": 1.5,
        "low": 1.1,
        "high": 1.9,
        "core_effect_K": [-0.02, 0.31],
        "heart_rate_effect_bpm": [0, 5],
    },
    {
        "name": "relative_humidity_pct",
        "unit": "%",
        "value": 80,
        "low": 74,
        "high": 86,
        "core_effect_K": [-0.11, 0.14],
        "heart_rate_effect_bpm": [-2, 2],
    },
    {
        "name": "clothing",
        "unit": "1",
        "value": 1.0,
        "low": 0.9,
        "high": 1.1,
        "core_effect_K": None,
        "heart_rate_effect_bpm": None,
    },
]


def invented_comparison(
    *, minutes=90.0, members=200, device=True, never=False, names=("none", "ice_collar"), effect=-0.06
):
    """Return ``(result, ds)`` of a paired comparison; the joules are invented, the shapes are not."""
    rng = np.random.default_rng(5)
    t = np.linspace(0, minutes * 60, 181)
    x = t / t[-1]
    draw = rng.normal(1.0, 0.2, (members, 1))
    top = 1.2 if never else 3.1
    base = 37.1 + top * draw * (1 - np.exp(-1.6 * x))
    contrasts = [
        effect * k * rng.normal(1, 0.25, (members, 1)) * np.minimum(x * 3, 1.2 - 0.4 * x)
        for k in range(len(names))
    ]
    core = np.stack([base + c for c in contrasts])
    limit = 39.5
    reached = core >= limit
    first = np.where(reached.any(-1), t[reached.argmax(-1)] / 60, np.nan)

    def quantiles(values):
        ordered = np.sort(np.where(np.isnan(values), np.inf, values))
        picked = [float(ordered[int(q * (members - 1))]) for q in (0.5, 0.05, 0.95)]
        return dict(zip(("median", "low", "high"), [v if np.isfinite(v) else None for v in picked]))

    def spread(values):
        return dict(
            zip(("median", "low", "high"), (float(v) for v in np.quantile(values, [0.5, 0.05, 0.95])))
        )

    card = {
        "heat_from_skin_kJ": {"median": 56, "low": 48, "high": 63},
        "heat_from_air_kJ": {"median": 10, "low": 8, "high": 12},
        "condensed_g": 2.5,
        "melted_at_min": 34,
        "useful_share": {"median": 0.78, "low": 0.67, "high": 0.88},
        "ceiling_K": 0.28,
    }
    never_each = np.isnan(first)
    worn = [device and k > 0 and names[k] != "slow start" for k in range(len(names))]
    never_each = np.isnan(first)
    variants = [
        {
            "name": n,
            "core_at_end_C": spread(core[k, :, -1]),
            "time_to_limit_min": quantiles(first[k]),
            "share_never": float(never_each[k].mean()),
            "device": {**card, "ceiling_K": 0.28 * k} if worn[k] else None,
        }
        for k, n in enumerate(names)
    ]
    at = int(np.argmin(abs(t - 45 * 60)))
    entries = []
    for k in range(1, len(names)):
        pair = ~never_each[0] & ~never_each[k]
        entries.append(
            {
                "name": names[k],
                "against": names[0],
                "at_min": float(t[at] / 60),
                "core_difference_K": spread(contrasts[k][:, at]),
                "time_to_limit_difference_min": spread((first[k] - first[0])[pair]) if pair.any() else None,
                "share_never_both": float((never_each[0] & never_each[k]).mean()),
                "ceiling_at_min_K": {"median": 0.28 * k * worn[k], "low": 0.2 * k, "high": 0.4 * k},
            }
        )
    ds = xr.Dataset(
        {
            "core_temperature": (("variant", "member", "time"), core),
            "contrast_core": (("contrast", "member", "time"), np.stack(contrasts[1:])),
            "time_to_limit_min": (("variant", "member"), first),
        },
        coords={"time": t, "variant": list(names), "contrast": list(names[1:])},
        attrs={"version": "0.1.0", "seed": 5, "limit_C": limit, "max_closure_W": 2e-6},
    )
    if device:
        on = t < 34 * 60
        spike = 1 + 5 * np.exp(-t / 10)  # a device just put on cools its own cloth
        one = np.array(
            [
                np.where(on, (30 - 12 * x * 2.6) * spike, -6.0),
                np.where(on, 8 - 2 * x, 0.0),
                np.where(on, 5 - 2 * x, 0.0),
            ]
        )
        power = np.stack([one * (0.6 + 0.4 * k) * worn[k] for k in range(1, len(names))])
        ds["device_power"] = (("contrast", "side", "time"), power)
        ds = ds.assign_coords(side=["skin", "air", "water"])
        ceilings = np.stack([0.28 * k * np.minimum(t / (34 * 60), 1) * worn[k] for k in range(1, len(names))])
        ds["ceiling_K"] = (("contrast", "time"), ceilings)
    return {"variants": variants, "contrasts": entries}, ds


def invented_instant(required=653.3, capacity=1434.0):
    """Return a ledger object whose evaporation closes the books at `required`."""
    gained = required + 115.2 + 28.9 + 55.7 + 4.8
    rows = [
        {
            "term": "metabolic_power",
            "symbol": "$M$",
            "formula": r"$M = m\,(C\,v + 1.2)$",
            "numbers": r"$65\,(3.6 \times 3.333 + 1.2)$",
            "watts": gained,
        },
        {
            "term": "external_work",
            "symbol": "$W$",
            "formula": r"$W = m\,g\,v\,\sin\theta$",
            "numbers": r"level ground",
            "watts": 0.0,
        },
        {
            "term": "convection",
            "symbol": "$C$",
            "formula": r"$C = 0.90\,A\,h_c\,(T_{sk} - T_a)$",
            "numbers": r"$0.90 \times 1.787 \times 17.91\,(34 - 30)$",
            "watts": -115.2,
        },
        {
            "term": "long_wave_radiation",
            "symbol": "$R$",
            "formula": r"$R = 0.90\,A\,h_r\,(T_{sk} - T_r)$",
            "numbers": r"$0.90 \times 1.787 \times 4.5\,(34 - 30)$",
            "watts": -28.9,
        },
        {
            "term": "respiration_vapour",
            "symbol": "$E_{res}$",
            "formula": r"$E_{res} = 0.0173\,M\,(5.87 - p_a)$",
            "numbers": r"$0.0173 \times 857.9\,(5.87 - 2.12)$",
            "watts": -55.7,
        },
        {
            "term": "respiration_dry",
            "symbol": "$C_{res}$",
            "formula": r"$C_{res} = 0.0014\,M\,(34 - T_a)$",
            "numbers": "",
            "watts": -4.8,
        },
        {
            "term": "evaporation",
            "symbol": "$E_{req}$",
            "formula": r"$E_{req} = M - W - C - R - E_{res} - C_{res}$",
            "numbers": "the rest of the books, nothing stored",
            "watts": -required,
        },
    ]
    terms = {row["term"]: row["watts"] for row in rows}
    return {
        "rows": rows,
        "terms_W": {**terms, "solar_radiation": 0.0, "devices": 0.0, "storage": 0.0},
        "required_evaporation_W": required,
        "evaporative_capacity_W": capacity,
        "wettedness": required / capacity if capacity else None,
        "sweat_rate_L_h": required * 3600 / 2.426e6,
        "sweat_rate_with_dripping_L_h": 1.1 * required * 3600 / 2.426e6,
        "limited_by": int(required > capacity),
        "closure_W": 0.0,
        "surface_area_m2": 1.787,
        "maximum_sweat_rate_L_h": 1.5,
        "version": "0.1.0",
    }


LONG = "P-31, whose card carries a name far longer than any name on a start list ought to be, number 31"
RUNS = {
    "plain": {},
    "recorded with gap": dict(
        recorded=True, gap=(1500, 1615), stops=True, hills=True, assumed=ASSUMED, minutes=64.0
    ),
    "bands": dict(bands=True, rise=1.4, limited_from=0.5),
    "device and long name": dict(device="a covered ice collar of the long kind", name=LONG, limited_from=0.3),
    "never reached, no sun": dict(rise=0.6, sun=0.0),
    "two minutes": dict(minutes=2.0, rise=0.04, sites=False),
    "three hours": dict(
        minutes=180.0, hills=True, rise=2.2, limited_from=0.6, recorded=True, gap=(6000, 6400)
    ),
    "no limit": dict(limit=None),
}
COMPARISONS = {
    "collar": {},
    "no device": dict(device=False, names=("even start", "slow start")),
    "never reached": dict(never=True),
    "long names": dict(
        names=(
            "no device and the ordinary drinking habit",
            "covered ice collar, refilled at every checkpoint",
        )
    ),
    "three arms": dict(names=("none", "ice_collar", "pour_over")),
    "two devices and none": dict(names=("none", "slow start", "ice_collar")),
    "five arms": dict(names=("none", "ice_collar", "pour_over", "a vest of the long kind, frozen overnight", "slow start")),
    "raises": dict(effect=0.05),
}
INSTANTS = {
    "worked case": {},
    "uncompensable": dict(required=900.0, capacity=610.0),
    "saturated": dict(required=300.0, capacity=-40.0),
}


@pytest.fixture(scope="module")
def pages():
    """Return every page, drawn once."""
    drawn = {}
    for case, options in RUNS.items():
        ds = invented_run(**options)
        if options.get("limit", 1) is None:
            del ds.attrs["limit_C"]
        drawn[f"run, {case}"] = look.run_overview(ds)
        drawn[f"ledger, {case}"] = look.ledger_over_time(ds)
    for case, options in COMPARISONS.items():
        drawn[f"compare, {case}"] = look.compare_page(*invented_comparison(**options))
    for case, options in INSTANTS.items():
        drawn[f"instant, {case}"] = look.instant_ledger(invented_instant(**options))
    for figure in drawn.values():
        figure.canvas.draw()
    return drawn


NAMES = (
    [f"{kind}, {case}" for kind in ("run", "ledger") for case in RUNS]
    + [f"compare, {case}" for case in COMPARISONS]
    + [f"instant, {case}" for case in INSTANTS]
)


# ---------------------------------------------------------------- reading figures back


def texts(figure, gid=None):
    """Return the visible, non-empty texts of a figure, those of one kind only when asked."""
    found = figure.findobj(lambda a: hasattr(a, "get_text") and a.get_visible() and a.get_text().strip())
    ticks = set()
    for ax in figure.axes:
        for axis, shown in (
            (ax.xaxis, ax.xaxis.get_view_interval()),
            (ax.yaxis, ax.yaxis.get_view_interval()),
        ):
            low, high = sorted(shown)
            for tick in axis.get_major_ticks():
                if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                    ticks |= {tick.label1, tick.label2}
    found = [a for a in found if a not in ticks]
    return found if gid is None else [a for a in found if a.get_gid() == gid]


def joined(figure, gid):
    return " ".join(a.get_text() for a in texts(figure, gid))


def boxes(figure, artists):
    renderer = figure.canvas.get_renderer()
    return [(a.get_text(), a.get_window_extent(renderer)) for a in artists]


def overlapping(figure, artists, slack=1.0):
    """Return pairs of words whose boxes overlap by more than `slack` pixels both ways."""
    clashes = []
    for (word, a), (other, b) in combinations(boxes(figure, artists), 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        tall = min(a.y1, b.y1) - max(a.y0, b.y0)
        if wide > slack and tall > slack:
            clashes.append((word, other))
    return clashes


# ---------------------------------------------------------------- every page


@pytest.mark.parametrize("name", NAMES)
def test_caution_strip_is_there_with_its_bar(pages, name):
    figure = pages[name]
    strip = joined(figure, "caution")
    assert cautions.not_medical_advice().split(";")[0] in strip
    assert any(
        patch.get_gid() == "caution-bar" for patch in figure.findobj(lambda a: a.get_gid() == "caution-bar")
    )


@pytest.mark.parametrize(
    "name", ["run, device and long name", "ledger, device and long name", "compare, collar"]
)
def test_device_results_carry_the_three_device_lines(pages, name):
    strip = joined(pages[name], "caution")
    for sentence in (cautions.FEEL_COOLER, cautions.CAP_DOES_NOT_BOUND_CORE, cautions.COLD_INJURY):
        assert sentence in strip


def test_uncompensable_and_range_flags_reach_the_strip(pages):
    assert cautions.UNCOMPENSABLE in joined(pages["ledger, bands"], "caution")
    assert cautions.UNCOMPENSABLE not in joined(pages["ledger, plain"], "caution")
    assert "outside the tested range" in joined(pages["run, plain"], "caution")


@pytest.mark.parametrize("limited_from", [0.6, None])
def test_a_run_page_hatches_core_where_its_caution_says_uncompensable(limited_from):
    drawn = look.run_overview(invented_run(limited_from=limited_from))
    bars = [patch for patch in drawn.axes[0].patches if patch.get_gid() == "uncompensable"]
    assert bool(bars) == (cautions.UNCOMPENSABLE in joined(drawn, "caution")) == (limited_from is not None)
    if bars:
        start, end = bars[0].get_x(), bars[-1].get_x() + bars[-1].get_width()
        assert start == pytest.approx(0.6 * 60, abs=0.1) and end == pytest.approx(60.0)
        assert bars[0].get_hatch() and joined(drawn, "uncompensable-words") == "uncompensable"


def test_a_stop_too_short_to_be_seen_along_the_way_is_hatched_all_the_same():
    ax = page.lone_axes()
    ax.set_xlim(0.0, 46.0)
    page.uncompensable_foot(ax, [(29.0, 29.0), (46.0, 46.0)])
    ends = [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in ax.patches]
    assert all(b - a > 0.2 and a >= 0.0 and b <= 46.0 + 1e-9 for a, b in ends) and len(ends) == 2


def test_no_caution_speaks_of_a_hatch():
    assert not [line for line in cautions.in_full() if "hatch" in line]


@pytest.mark.parametrize("name", NAMES)
def test_forbidden_word_is_nowhere(pages, name):
    for artist in texts(pages[name]):
        assert not re.search(r"\bsafe", artist.get_text(), re.IGNORECASE), artist.get_text()


def test_forbidden_word_is_in_no_caution():
    words = " ".join([*cautions.in_full(), cautions.one_line(device=True), *cautions.for_device()])
    assert not re.search(r"\bsafe", words, re.IGNORECASE)


@pytest.mark.parametrize("name", NAMES)
def test_panel_titles_carry_units(pages, name):
    unitless = ("Weather", "Assumed inputs")  # units stand in their rows
    for title in texts(pages[name], "panel-title"):
        words = title.get_text()
        assert any(u in words for u in unitless) or re.search(r", (°C|bpm|m/s|W|min|%)", words), words


@pytest.mark.parametrize("name", NAMES)
def test_core_panels_say_modelled_not_measured(pages, name):
    for ax in pages[name].axes:
        titles = [t.get_text() for t in ax.texts if t.get_gid() == "panel-title"]
        if any("ore" in t and "°C" in t for t in titles):
            assert any("modelled, not measured" in t.get_text() for t in ax.texts)


@pytest.mark.parametrize("name", NAMES)
def test_no_words_overlap(pages, name):
    figure = pages[name]
    assert overlapping(figure, texts(figure, "end-label")) == []
    assert overlapping(figure, texts(figure)) == []


@pytest.mark.parametrize("name", NAMES)
def test_no_words_leave_the_page(pages, name):
    figure = pages[name]
    width, height = figure.canvas.get_width_height()
    assert width == 1400
    for words, box in boxes(figure, texts(figure)):
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, words


@pytest.mark.parametrize("name", NAMES)
def test_answer_has_one_or_two_lines_and_a_number(pages, name):
    lines = texts(pages[name], "answer")
    assert 1 <= len(lines) <= 2
    assert re.search(r"\d", " ".join(line.get_text() for line in lines))


# ---------------------------------------------------------------- answers come from the data


@pytest.mark.parametrize("rise", [0.7, 1.9, 2.4])
def test_run_answer_names_rise_and_crossing(rise):
    ds = invented_run(rise=rise, limit=39.0)
    text = " ".join(run_page.answer(ds))
    assert f"{rise:.1f} °C" in text
    crossing = reading.first_crossing_min(reading.minutes(ds), ds.core_temperature.values, 39.0)
    if crossing is None:
        assert "does not reach the 39.0 °C limit" in text
    else:
        assert f"crosses your limit of 39.0 °C at {crossing:.0f} min" in text


def test_run_answer_compares_recorded_heart_rate():
    ds = invented_run(recorded=True)
    mean, rms = reading.heart_rate_difference(ds)
    assert mean == pytest.approx(4, abs=0.5) and rms > abs(mean)
    assert f"{mean:.0f} bpm above the recorded" in " ".join(run_page.answer(ds))
    assert f"RMSE {rms:.0f} bpm" in " ".join(run_page.answer(ds))


def test_ledger_answer_says_when_evaporation_stops_keeping_up():
    text = " ".join(ledger_page.answer(invented_run(limited_from=0.5)))
    assert "From 30 min on the air cannot take the sweat" in text
    assert "keeps up" in " ".join(ledger_page.answer(invented_run()))


def test_ledger_shows_the_sum_the_engine_gave(pages):
    ds = invented_run()
    end = float(ds.heat_flow.sel(term="storage")[-1])
    assert style.number(end, signed=True) in joined(pages["ledger, plain"], "end-label")


def test_compare_answer_gives_degrees_then_minutes_then_share(pages):
    result, _ = invented_comparison()
    text = joined(pages["compare, collar"], "answer")
    contrast = result["contrasts"][0]
    assert text.startswith("The ice collar lowers core at 45 min by ")
    assert style.number(abs(contrast["core_difference_K"]["median"]), 2) + " °C" in text
    share = f"{100 * contrast['share_never_both']:.0f} % of runs"
    assert text.index("°C") < text.index(" min later") < text.index(share)


def test_compare_answer_when_never_reached_or_raised(pages):
    assert "not reached in either arm" in joined(pages["compare, never reached"], "answer")
    assert "raises core" in joined(pages["compare, raises"], "answer")
    assert "sooner" in joined(pages["compare, raises"], "answer")


def test_compare_of_three_arms_speaks_of_each(pages):
    result, ds = invented_comparison(names=("none", "ice_collar", "pour_over"))
    figure = pages["compare, three arms"]
    answer, everything = joined(figure, "answer"), " ".join(a.get_text() for a in texts(figure))
    for contrast in result["contrasts"]:
        name = contrast["name"].replace("_", " ")
        median = style.number(contrast["core_difference_K"]["median"], 2, signed=True)
        later = contrast["time_to_limit_difference_min"]["median"]
        assert f"{name} {median} °C" in answer and f"{name} {style.number(later)} min later" in answer
        assert f"{name} and without" in everything  # its own bar of shares
    for gid, count in (("contrast", 2), ("ceiling", 2), ("device-2", 1)):
        lines = figure.findobj(lambda a, gid=gid: a.get_gid() == gid)
        assert len(lines) == count
    third = figure.findobj(lambda a: a.get_gid() == "arm-2")[0]
    assert third.get_color() == style.COLOUR["clay"] and third.get_marker() == "^"
    assert figure.findobj(lambda a: a.get_gid() == "beyond-ceiling")
    # an arm without a device has joules of its own: nothing is hatched as beyond a ceiling
    mixed = pages["compare, two devices and none"]
    assert not mixed.findobj(lambda a: a.get_gid() == "beyond-ceiling")
    assert len(mixed.findobj(lambda a: a.get_gid() == "ceiling")) == 1
    drawn = figure.findobj(lambda a: a.get_gid() == "contrast")[1].get_ydata()
    np.testing.assert_allclose(drawn, np.median(ds.contrast_core[1], axis=0))


def test_compare_cuts_the_first_minute_of_a_device_and_says_so(pages):
    result, ds = invented_comparison()
    ax = compare_panels.device_heat_panel(result, ds)
    plateau = float(ds.device_power[0].sum("side").where(ds.time >= 60).max())
    assert float(ds.device_power[0].sum("side").max()) > 3 * plateau  # the spike would hide it
    assert 1.2 * plateau < ax.get_ylim()[1] < 2.2 * plateau
    assert "first minute cut" in " ".join(a.get_text() for a in ax.texts)
    calm = ds.assign(device_power=ds.device_power.where(ds.time > 0, 0.0).clip(max=20.0))
    ax = compare_panels.device_heat_panel(result, calm)
    assert "median run" in " ".join(a.get_text() for a in ax.texts)


def test_compare_draws_ceiling_tail_and_arrowheads(pages):
    figure = pages["compare, collar"]
    for gid in ("ceiling", "beyond-ceiling", "spent", "censored"):
        assert figure.findobj(lambda a, gid=gid: a.get_gid() == gid), gid
    assert figure.findobj(lambda a: a.get_gid() == "beyond-ceiling")[0].get_hatch().startswith("\\")
    assert not pages["compare, no device"].findobj(lambda a: a.get_gid() == "ceiling")


def test_compare_shares_add_up(pages):
    for name in COMPARISONS:
        pieces = pages[f"compare, {name}"].findobj(lambda a: str(a.get_gid()).startswith("share-"))
        further = len(COMPARISONS[name].get("names", "ab")) - 1  # one bar each
        assert sum(piece.get_width() for piece in pieces) == pytest.approx(further, abs=2e-3 * further)


def test_instant_answer_and_bars(pages):
    text = joined(pages["instant, worked case"], "answer")
    assert "653 W" in text and f"1{style.THIN}434 W" in text and "0.46" in text
    assert "uncompensable" in joined(pages["instant, uncompensable"], "answer")
    bars = {
        b.get_gid(): b
        for b in pages["instant, worked case"].findobj(lambda a: str(a.get_gid()).startswith("bar-"))
    }
    metabolic, evaporation = bars["bar-metabolic_power"].get_width(), bars["bar-evaporation"].get_width()
    assert evaporation / metabolic == pytest.approx(653.3 / 857.9, rel=1e-6)


# ---------------------------------------------------------------- gaps


def test_gap_is_hatched_named_and_breaks_the_line(pages):
    figure = pages["run, recorded with gap"]
    columns = figure.findobj(lambda a: a.get_gid() == "gap")
    assert len(columns) == 1 and columns[0].get_hatch()
    assert columns[0].get_x() == pytest.approx(1500 / 60) and columns[0].get_width() == pytest.approx(
        115 / 60
    )
    assert joined(figure, "gap-label") == "gap 115 s"
    (solid,) = figure.findobj(lambda a: a.get_gid() == "modelled")
    x, y = solid.get_xdata(), solid.get_ydata()
    assert np.isnan(y[(x > 25.1) & (x < 26.8)]).all() and np.isfinite(y[x < 24.9]).all()
    assert figure.findobj(lambda a: a.get_gid() == "modelled-in-gap")


def test_no_gap_no_hatch_and_dots_are_not_smoothed():
    ds = invented_run(recorded=True)
    figure = look.run_overview(ds)
    assert not figure.findobj(lambda a: a.get_gid() == "gap")
    (dots,) = figure.findobj(lambda a: a.get_gid() == "recorded")
    np.testing.assert_array_equal(dots.get_ydata(), ds.heart_rate_recorded.values)


def test_gap_needs_three_median_steps_and_thirty_seconds():
    assert reading.gaps_s(np.array([0.0, 1, 2, 32, 33])) == []  # 30 s is not more than 30 s
    assert reading.gaps_s(np.array([0.0, 1, 2, 33, 34])) == [(2.0, 33.0)]
    assert reading.gaps_s(np.array([0.0, 20, 40, 95])) == []  # 55 s is under three steps of 20 s
    assert reading.gaps_s(np.array([5.0])) == []


# ---------------------------------------------------------------- numbers, labels, files


def test_numbers_have_true_minus_thin_spaces_and_precision_of_the_interval():
    assert style.number(-1434.4) == "\u22121\u2009434"
    assert style.number(-0.001, 1) == "0.0"
    assert style.interval(1.1, 1.7, 1) == "1.1\u20131.7"
    assert style.interval(-0.04, 0.02, 2) == "\u22120.04 to +0.02"
    assert style.temperature_decimals(0.12, 0.22) == 2 and style.temperature_decimals(1.1, 1.7) == 1
    assert style.watts(167) == "165"
    assert style.censored_interval(36, None, 90) == "36 to over 90"


@pytest.mark.parametrize("wanted", [[1.0, 1.0, 1.0], [0.0, 0.1, 5.0], [3.0, 1.0, 1.05, 3.02], []])
def test_spread_keeps_order_and_never_overlaps(wanted):
    placed = page.spread(wanted, [0.5] * len(wanted))
    ordered = sorted(placed)
    assert all(b - a >= 0.5 - 1e-9 for a, b in zip(ordered, ordered[1:]))
    assert np.argsort(placed, kind="stable").tolist() == np.argsort(wanted, kind="stable").tolist()


def test_save_writes_png_1400_wide_and_svg_that_repeats(pages, tmp_path):
    from matplotlib.image import imread

    figure = pages["instant, worked case"]
    look.save(figure, tmp_path / "page.png")
    assert imread(tmp_path / "page.png").shape[1] == 1400
    look.save(figure, tmp_path / "one.svg")
    look.save(figure, tmp_path / "two.svg")
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()
    assert "Not medical advice" in (tmp_path / "one.svg").read_text(encoding="utf-8")
    with pytest.raises(ValueError, match="ends in .png or .svg"):
        look.save(figure, tmp_path / "page.pdf")


def test_alternative_text_holds_question_answer_setting_cautions(pages):
    figure = pages["run, plain"]
    text = look.alternative_text(figure)
    for gid in ("answer", "setting"):
        assert joined(figure, gid) in text
    assert text.startswith("What happened to this runner") and "Not medical advice" in text


def test_a_page_without_cautions_is_refused():
    with pytest.raises(ValueError, match="cautions"):
        page.Page(question="?", answer=["a"], setting="", cautions=[], provenance="", body_in=1.0)


@pytest.mark.parametrize(
    "panel",
    [
        run_page.core_panel,
        run_page.skin_panel,
        run_page.heart_rate_panel,
        run_page.effort_panel,
        ledger_page.heat_terms_panel,
        ledger_page.storage_panel,
        ledger_page.closure_panel,
    ],
)
def test_panels_stand_alone_and_return_their_axes(panel):
    ds = invented_run(hills=True)
    alone = panel(ds)
    assert alone.figure.axes == [alone]
    assert panel(ds, alone.figure.add_axes((0.1, 0.1, 0.5, 0.5))) is not alone


def test_comparison_panels_stand_alone():
    result, ds = invented_comparison()
    for panel in (
        compare_panels.core_arms,
        compare_panels.contrast_panel,
        compare_panels.device_heat_panel,
        compare_limit.limit_panel,
        compare_limit.shares_panel,
        compare_limit.contrast_table,
    ):
        assert panel(result, ds).figure is not None


def test_importing_look_does_not_load_matplotlib():
    code = "import sys, thermosim.look; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
