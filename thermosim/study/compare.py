"""Variants of a session as a paired ensemble: degrees first, then minutes, then the share that never gets there."""

import json
from typing import NamedTuple

import numpy as np
import xarray as xr

from thermosim import cautions
from thermosim.dataset import SIDES, labelled, version
from thermosim.engine import batch as columns
from thermosim.engine import integrate as kernel
from thermosim.engine.pacing import DONE_S
from thermosim.engine.records import BATH, IN_STOMACH, ON_SKIN, POURED
from thermosim.errors import InputError, NumericalFailure
from thermosim.inputs.paced_flat import is_by_distance, is_paced, longest_s
from thermosim.parameters import SEGMENTS, value
from thermosim.story import SITES, prepare_session, simulate_session, worn_of
from thermosim.study import on_the_way
from thermosim.study.ensemble import Members, draw_members, energy_closures, run_variant
from thermosim.study.ice_left import BODY_HEAT_J_KGK
from thermosim.study.variants import (
    RARELY,
    ceiling_K,
    interval,
    melted_min,
    rows_of_variant,
    times_to_limit,
    variant_entry,
)
from thermosim.turns import in_turns

CONTRAST_MIN, LEAST_WORN_MIN = 45.0, 15.0
NEARLY_ALL = 0.95  # of those who finish: runs are compared until then
LARGEST_BOOK_ERROR = 1e-6
ROUNDING_K = 0.005  # what two runs may differ by before it is said that more moved than the ceiling; half of what is printed
TENTH_K = 0.1  # what minutes at the limit are told for
# When the heat balance gives no reason for a device (our choice; half of what a rectal probe tells apart, and less).
SMALL_K, SMALLEST_K = 0.05, 0.02
LIMITED_S = 60.0  # the air or the sweat rate limits the balance for longer than this: not compensable
FEELING_SEGMENTS = ("head", "face", "neck")


class Comparison(NamedTuple):
    """Result of :func:`compare`."""

    result: dict
    dataset: xr.Dataset


def compare(session, *, members: int | None = None, seed: int | None = None, progress=None) -> Comparison:
    """Compare the variants of a session with common random numbers.

    Parameters
    ----------
    session : Session
        With two or more variants; the first is what the others are compared against.
    members, seed : int, optional
        Replace the session's ensemble.
    progress : callable, optional
        Called with a sentence and a share done [1].

    Returns
    -------
    Comparison
        ``result`` is the JSON object; ``dataset`` has dimensions variant, member, time, and contrast: every
        variant but the first, less the first.

    Raises
    ------
    InputError
        Fewer than two variants, or a runner without a limit (under 18 or pregnant, and none set).
    NumericalFailure
        A member failed or its books do not close, or the arms' books differ by more than the terms explain.
    """
    session = in_turns(session)
    _refuse(session)
    count, seed = members or session.ensemble.members, session.ensemble.seed if seed is None else seed
    say = progress or (lambda sentence, share: None)
    say("running the runner as given", 0.0)
    arms = [simulate_session(session, variant.name) for variant in session.variants]
    say("drawing the ensemble", 0.05)
    drawn = draw_members(session, count, seed)
    end = last_finish_s(session, drawn)
    times = np.unique(np.append(np.arange(0.0, end, 60.0), end))
    batches = []
    for k, variant in enumerate(session.variants):
        say(f"running {variant.name}", (k + 1) / (len(session.variants) + 2))
        batches.append(run_variant(session, variant, drawn, times, SITES[session.limit_site], end))
    say("closing the books", 0.9)
    ds = _dataset(session, drawn, batches, arms[0], count, seed)
    variants = [
        variant_entry(session, variant, drawn, batch)
        for variant, batch in zip(session.variants, batches, strict=True)
    ]
    contrasts = [
        _contrast_entry(session, k, drawn, batches, arms, contrast_minute(session, session.variants[k], end))
        for k in range(1, len(batches))
    ]
    _along_the_way(session, arms, drawn, batches, variants, contrasts)
    for k, contrast in enumerate(contrasts, start=1):
        contrast.update(_reason(session, session.variants[k], arms[0], variants[0], contrast))
    result = {
        "limit_C": session.core_limit_C,
        "limit_site": session.limit_site,
        "minutes": end / 60.0,
        "members": count,
        "seed": seed,
        "model_core_error_K": value("model_core_error_K"),
        "variants": variants,
        "contrasts": contrasts,
        "warnings": _warnings(session, arms, drawn, count, variants, end / 60.0),
        "version": version(),
    }
    say("done", 1.0)
    return Comparison(result, ds)


def _along_the_way(session, arms, drawn, batches, variants, contrasts) -> None:
    """Add what variants come to at checkpoints, under a rule and over reps, where the session has these."""
    if session.effort.ground is not None:
        for entry, batch in zip(variants, batches, strict=True):
            entry["checkpoints"] = on_the_way.course_entry(session, batch, drawn.core_error_K)
        for contrast, batch in zip(contrasts, batches[1:], strict=True):
            contrast["checkpoints"] = on_the_way.course_contrast(session, batches[0], batch)
    if is_paced(session):
        for entry, arm, batch in zip(variants, arms, batches, strict=True):
            entry |= on_the_way.rule_entry(session, arm, batch)
        for contrast, batch in zip(contrasts, batches[1:], strict=True):
            contrast |= on_the_way.rule_contrast(session, batches[0], batch, "rule_drawn" in variants[0])


def last_finish_s(session, drawn: Members) -> float:
    """Return how long runs are compared [s]: as planned, or under a rule until nearly all have done their distance."""
    planned = float(session.effort.end_s[-1])
    if not is_paced(session) or session.rule is None or not is_by_distance(session):
        return planned
    batch = run_variant(session, session.variants[0], drawn, (), SITES[session.limit_site], longest_s(session))
    done = batch.paces[:, DONE_S]
    if not np.isfinite(done).any():
        return longest_s(session)
    return max(planned, 60.0 * float(np.ceil(np.nanquantile(done, NEARLY_ALL) / 60.0)))


def contrast_minute(session, variant, end_s: float) -> float:
    """Return the minute at which a variant is held against the first.

    Minute 45, as most trials last; the end of a shorter session; and where its devices have not worked for a quarter of an
    hour by then, the minute at which the last of them comes off, or the end.
    """
    end = end_s / 60.0
    worn = worn_of(session, variant)
    begun = min((one.from_min for one in worn), default=0.0)
    if begun + LEAST_WORN_MIN <= min(CONTRAST_MIN, end):
        return min(CONTRAST_MIN, end)
    return min(end, max(end if one.to_min is None else one.to_min for one in worn))


def _refuse(session) -> None:
    if len(session.variants) < 2:
        raise InputError(
            "has one entry, needed are two or more to compare",
            field="variant",
            remedy="add a [[variant]] with its cooling",
        )
    if np.isnan(session.core_limit_C):
        raise InputError(
            "is missing: under 18 or pregnant there is no default limit (adult model, outside its range)",
            field="core_limit_C",
            remedy="set a limit yourself, or look at single runs with simulate",
        )


def _warnings(session, arms, drawn: Members, count: int, variants, minutes: float) -> list[str]:
    """Warnings of the session, of the runner as given in each variant (named where variants differ), of the draws."""
    said = [json.loads(ds.attrs["warnings"]) for ds in arms]
    found = [sentence for sentence in said[0] if all(sentence in other for other in said)]
    for variant, sentences in zip(session.variants, said, strict=True):
        found += [f"{variant.name}: {sentence}" for sentence in sentences if sentence not in found]
    found += [
        f"{entry['name']}: runs are compared up to minute {minutes:.0f}; by then "
        f"{100.0 * (1.0 - entry['share_finished']):.0f} % have not finished, so never reaching the limit means not until then."
        for entry in variants
        if entry["share_finished"] is not None and entry["share_finished"] < 1.0
    ]
    if drawn.held_at_saturation:
        found.append(
            f"In {drawn.held_at_saturation} of {count} members the vapour pressure drawn was more than their air can "
            "hold; it was held at saturation."
        )
    return found


def _contrast_entry(session, k, drawn, batches, arms, at_min) -> dict:
    base, other = batches[0], batches[k]
    at = int(np.argmin(np.abs(base.time_s / 60.0 - at_min)))
    core = other.traces[:, at, columns.T_CORE] - base.traces[:, at, columns.T_CORE]
    heart = other.traces[:, at, columns.T_HEART] - base.traces[:, at, columns.T_HEART]
    first, second = times_to_limit(base), times_to_limit(other)
    both = np.isfinite(first) & np.isfinite(second)
    rate_K_min = 60.0 * base.summaries[:, kernel.S_CORE_RATE_AT_LIMIT]
    books = books_between(arms[0], arms[k], session.runner.mass_kg)
    core_K, ceiling = interval(core), interval(ceiling_K(other, drawn.runners["mass_kg"])[:, at])
    return {
        "name": session.variants[k].name,
        "against": session.variants[0].name,
        "at_min": float(base.time_s[at] / 60.0),
        "core_difference_K": core_K,
        "heart_rate_difference_bpm": interval(heart),
        "sweat_saved_L": interval(base.summaries[:, kernel.S_SWEAT] - other.summaries[:, kernel.S_SWEAT]),
        "time_to_limit_difference_min": interval(second[both] - first[both]) if both.any() else None,
        "share_never_both": float((np.isinf(first) & np.isinf(second)).mean()),
        "share_reached_both": float(both.mean()),
        "share_only_against": float((np.isfinite(first) & np.isinf(second)).mean()),
        "share_only_name": float((np.isinf(first) & np.isfinite(second)).mean()),
        "core_rate_at_limit_K_min": interval(rate_K_min),
        "minutes_per_tenth_K": interval(TENTH_K / rate_K_min[rate_K_min > 0.0]),
        "ceiling_at_min_K": ceiling,
        "books_kJ": books["terms_kJ"],
        "mean_body_difference_K": books["mean_body_difference_K"],
        "ceiling_end_K": books["ceiling_K"],
        "explicit_end_K": books["explicit_K"],
        "flags": flags_of(books, core_K["median"], ceiling["median"]) if session.variants[k].cooling else [],
    }


def _reason(session, variant, first_run, first_entry, contrast) -> dict:
    """Return what is said beyond the numbers: no reason in the heat balance, or what trials saw beside the minutes.

    ``no_reason`` is for a first arm that stays below its limit in air that takes its sweat, and a contrast too small to
    matter; where more than a few of the drawn runners reach the limit the sentence says how many, and only for the smallest
    contrasts. ``hazard`` and ``behaviour`` go with a device that the skin can feel wherever the limit may be reached. None
    is not said.
    """
    feels = _what_is_felt(session, variant)
    said = {"no_reason": None, "hazard": None, "behaviour": None}
    if not variant.cooling:
        return said
    core, rarely = contrast["core_difference_K"], first_entry["share_never"] >= 1.0 - RARELY
    compensable = _longest_limited_s(first_run) <= LIMITED_S
    below = float(first_run.core_temperature.max()) < session.core_limit_C
    small = abs(core["median"]) < SMALL_K
    smallest = abs(core["median"]) < SMALLEST_K and max(-core["low"], core["high"]) < SMALL_K
    if compensable and below and rarely and small:
        said["no_reason"] = cautions.NO_REASON.format(name=variant.name)
        return said
    if compensable and below and smallest:
        share = 100.0 * (1.0 - first_entry["share_never"])
        said["no_reason"] = cautions.NO_REASON_BUT_SOME_REACH_IT.format(name=variant.name, share=share)
    if feels and not (compensable and rarely):
        trials = cautions.TRIALS_OF_NECK_COOLING if feels == "neck" else cautions.TRIALS_OF_COOLING
        said.update(hazard=cautions.LONGER_IS_NOT_COOLER, behaviour=trials)
    return said


def _what_is_felt(session, variant) -> str:
    """Return 'neck' for a device on head, face or neck, 'skin' for one elsewhere on the skin, or nothing."""
    rows = rows_of_variant(session, variant)[0]
    felt = [row for row in rows if row["place"] != IN_STOMACH and (row["place"] != ON_SKIN or row["contact_W_m2K"] > 0.0)]
    if any(row["place"] in (ON_SKIN, POURED, BATH) and SEGMENTS[row["segment"]] in FEELING_SEGMENTS for row in felt):
        return "neck"
    return "skin" if felt else ""


def _longest_limited_s(ds) -> float:
    """Return for how long at most the air or the sweat rate limits the balance of a run without a break [s]."""
    longest, since = 0.0, None
    for time_s, limited in zip(ds.time.values, ds.limited_by.values, strict=True):
        since = None if not limited else time_s if since is None else since
        longest = longest if since is None else max(longest, float(time_s - since))
    return longest


def books_between(base: xr.Dataset, other: xr.Dataset, mass_kg: float) -> dict:
    """Compare the books of two runs of the runner as given: stored heat differs by the terms, to 1e-6.

    Raises
    ------
    NumericalFailure
        When the difference in stored heat is not the sum of the differences of all terms.
    """
    names = base.attrs["terms"].split()
    terms = np.asarray(other.attrs["terms_J"]) - np.asarray(base.attrs["terms_J"])
    stored = float(other.attrs["stored_J"] - base.attrs["stored_J"])
    unexplained = stored - float(terms.sum())
    if not abs(unexplained) <= LARGEST_BOOK_ERROR * float(np.abs(base.attrs["terms_J"]).sum()):
        raise NumericalFailure(
            f"The books of {base.attrs['variant']} and {other.attrs['variant']} differ by {unexplained:.1f} J more "
            "than their terms explain. Please report this with the session file."
        )
    paying = ("heat_through_devices_J", "wetting_J", "sun_kept_off_J")
    joules, wetting, shade = (
        (other.attrs[name] - base.attrs[name]) / (mass_kg * BODY_HEAT_J_KGK) for name in paying
    )
    return {
        "terms_kJ": {**dict(zip(names, (terms / 1e3).tolist(), strict=True)), "stored": stored / 1e3},
        "mean_body_difference_K": float(other.mean_body_temperature[-1] - base.mean_body_temperature[-1]),
        "ceiling_K": joules,
        "explicit_K": wetting + shade,
    }


def flags_of(books: dict, core_K: float, ceiling_K: float) -> list[str]:
    """Sentences where an arm moved by more than can be paid for; the term that did it is named.

    A fall is paid for by the device's joules, by its water if that dried on the skin, and by its shade; a rise by its
    joules alone. ``books`` are of :func:`books_between`; ``core_K`` is how core differs where ``ceiling_K`` is the ceiling.
    """
    terms = {name: number for name, number in books["terms_kJ"].items() if name not in ("stored", "devices")}
    biggest = max(terms, key=lambda name: abs(terms[name])).replace("_", " ")
    found, joules, more = [], abs(books["ceiling_K"]), books["explicit_K"]
    if not -joules - more - ROUNDING_K <= books["mean_body_difference_K"] <= joules + ROUNDING_K:
        found.append(f"Mean body moves by more than the ceiling of {joules:.2f} K; the term that did it: {biggest}.")
    joules = abs(ceiling_K)
    if not -joules - more - ROUNDING_K <= core_K <= joules + ROUNDING_K:
        found.append(
            f"Core moves by more than the ceiling; the term that did it: {biggest}, or heat moved between tissues."
        )
    return found


def _dataset(session, drawn, batches, central, count, seed) -> xr.Dataset:
    first = batches[0]
    error = drawn.core_error_K[:, None]

    def stack(column):
        return np.stack([batch.traces[:, :, column] for batch in batches])

    dims, watts = ("variant", "member", "time"), slice(columns.T_SKIN_W, columns.T_VAPOUR_W + 1)
    data = {
        "core_temperature": (
            dims,
            stack(columns.T_CORE) + error,
            {"units": "°C", "long_name": "Core temperature"},
        ),
        "contrast_core": (
            ("contrast", "member", "time"),
            stack(columns.T_CORE)[1:] - first.traces[:, :, columns.T_CORE],
            {"units": "K", "long_name": "Core, this variant less the first"},
        ),
        "mean_skin_temperature": (
            dims,
            stack(columns.T_SKIN),
            {"units": "°C", "long_name": "Mean skin temperature"},
        ),
        "heart_rate": (dims, stack(columns.T_HEART), {"units": "bpm", "long_name": "Heart rate"}),
        "sweat_loss": (dims, stack(columns.T_SWEAT), {"units": "L", "long_name": "Sweat loss"}),
        "device_power": (
            ("contrast", "side", "time"),
            np.stack([np.median(batch.traces[:, :, watts], axis=0).T for batch in batches[1:]]),
            {"units": "W", "long_name": "Heat into the devices of this variant, median of the members"},
        ),
        "time_to_limit_min": (
            ("variant", "member"),
            np.stack([np.where(np.isinf(t), np.nan, t) for t in map(times_to_limit, batches)]),
            {"units": "min", "long_name": "Time to the core limit"},
        ),
        "melted_at_min": (
            ("variant", "member"),
            np.stack([melted_min(batch) for batch in batches]),
            {"units": "min", "long_name": "Ice all melted"},
        ),
        "ceiling_K": (
            ("contrast", "time"),
            np.stack(
                [np.median(ceiling_K(batch, drawn.runners["mass_kg"]), axis=0) for batch in batches[1:]]
            ),
            {"units": "K", "long_name": "Ceiling: what the device's joules could pay for"},
        ),
    }
    coords = {}
    if session.effort.ground is not None:
        places = on_the_way.grid_m(session)
        arrive = [on_the_way.arrivals_s(session, batch, places) for batch in batches]
        core = [on_the_way.on_arrival(batch, one, columns.T_CORE) for batch, one in zip(batches, arrive, strict=True)]
        along = ("variant", "member", "place")
        data["arrival_min"] = (along, np.stack(arrive) / 60.0, {"units": "min", "long_name": "Time at which a place is reached"})
        data["core_at_place"] = (along, np.stack(core) + error, {"units": "°C", "long_name": "Core temperature on arrival"})
        coords["place"] = ("place", places, {"units": "m", "long_name": "Distance along the course"})
    for name in ("speed", "grade", "air_temperature", "relative_humidity", "solar_load"):
        data[name] = central[name].interp(time=first.time_s)
    names = [variant.name for variant in session.variants]
    coords |= {
        "variant": ("variant", names, {"long_name": "Variant of the session"}),
        "member": ("member", np.arange(count), {"long_name": "Member of the ensemble"}),
        "time": ("time", first.time_s, {"units": "s", "long_name": "Time since the start"}),
        "contrast": ("contrast", names[1:], {"long_name": "Variant that is held against the first"}),
        "side": labelled("side", SIDES),
    }
    prepared = prepare_session(session)
    return xr.Dataset(
        data,
        coords,
        {
            "title": session.title or "thermosim comparison",
            "inputs": session.to_json(),
            "seed": seed,
            "version": version(),
            "limit_C": session.core_limit_C,
            "limit_site": session.limit_site,
            "energy_closure_relative": max(float(energy_closures(batch).max()) for batch in batches),
            "members_held_at_saturation": drawn.held_at_saturation,
            "members": count,
            "surface_area_m2": float(prepared.runner[0]["surface_area_m2"]),
            "heat_capacity_J_K": float(prepared.runner[0]["capacity_J_K"].sum()),
        },
    )
