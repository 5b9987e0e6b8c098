"""Perception in words and numbers: printed apart, after the heat lines, and as an object of its own in JSON."""

from typing import Any

import numpy as np

from thermosim.cli.terminal import number

TITLE = "Perception, apart from the heat balance"
KINDS = {"effort": "effort", "thermal_sensation": "thermal sensation"}


def perceived(asked, ds, two_node: bool):
    """Return a run with its perception beside it, and the contrast with the same run without devices (None if it has none)."""
    from thermosim.story import simulate_session
    from thermosim.study.perception import contrast, with_perception

    bare = None
    if "device" in ds.dims:
        bare = simulate_session(
            asked.session, asked.variant, cooling=[], two_node=two_node, save_every_s=asked.save_every_s,
            overrides=asked.overrides,
        )  # fmt: skip
    return with_perception(ds), None if bare is None else contrast(ds, bare)


def perception_result(ds, against) -> dict[str, Any]:
    """Return the JSON object ``perception`` of a run that :func:`perceived` returned."""
    from thermosim.study.perception import SOURCES

    rating = {name: float(ds[f"effort_rating_{name}"][-1]) for name in ("low", "high", "one_low", "one_high")}
    there = not np.isnan(rating["low"])
    return {
        "effort": {
            "share_of_maximal_uptake_at_end": float(ds.relative_intensity[-1]),
            "rating_at_end": [rating["low"], rating["high"]] if there else None,
            "one_runner_at_end": [rating["one_low"], rating["one_high"]] if there else None,
            "scale": ds.effort_rating_low.attrs["scale_name"],
            "outside_published_range": bool(ds.effort_outside[-1]),
            "with_time": "harder",
        },
        "thermal_sensation": {"rating_at_end": None, "against_start": _word(ds)},
        "recorded": {kind: _recorded(ds, kind) for kind in KINDS if f"{kind}_recorded" in ds},
        "against_without_devices": None if against is None else against.to_dict(),
        "sources": SOURCES,
    }


def perception_lines(result: dict[str, Any], minutes: float) -> list[str]:
    """Return the perception of a run as sentences."""
    lines = [_of_effort(result["effort"], minutes)]
    lines.append(
        f"Thermal sensation against the start: {result['thermal_sensation']['against_start']}; a direction only, no published "
        "number for running in the heat was found."
    )
    for kind, found in result["recorded"].items():
        lines.append(_of_recorded(KINDS[kind], found))
    against = result["against_without_devices"]
    if against is not None:
        local = "".join(f"at the {place} {word}; " for place, word in against["local"].items())
        lines.append(
            f"Against the same run without cooling: {local}thermal sensation overall {against['sensation']}; "
            f"effort {against['effort']}."
        )
        lines += [f"Because {reason['text']}." for reason in against["reasons"]]
        lines += against["cautions"]
    return lines


def sources_of(result: dict[str, Any]) -> list[str]:
    """Return the sources that the sentences of a result rest on, each once."""
    every = result["sources"]
    found = [every[name] for name in ("effort and intensity", "effort, scatter", "effort and time", "sensation and skin")]
    against = result["against_without_devices"]
    found += [reason["source"] for reason in against["reasons"]] if against else []
    return list(dict.fromkeys(found))


def _word(ds) -> str:
    from thermosim.study.perception import CHANGE

    flag = int(ds.thermal_sensation_change[-1])
    return next(word for word, code in CHANGE.items() if code == flag)


def _recorded(ds, kind: str) -> dict[str, Any]:
    variable = ds[f"{kind}_recorded"]
    scale = {key: variable.attrs[f"scale_{key}"] for key in ("name", "low", "high", "low_label", "high_label")}
    return {"scale": scale, "time_min": (ds.rating_time.values / 60.0).tolist(), "ratings": variable.values.tolist()}


def _of_effort(effort: dict[str, Any], minutes: float) -> str:
    share = f"{100.0 * effort['share_of_maximal_uptake_at_end']:.0f} % of maximal oxygen uptake at minute {minutes:.0f}"
    if effort["rating_at_end"] is None:
        return f"Effort: cannot tell; {share} is outside the published table (37 to 100 %, steady work)."
    low, high = effort["rating_at_end"]
    one_low, one_high = effort["one_runner_at_end"]
    flag = ", outside its published range (up to 60 min)" if effort["outside_published_range"] else ""
    return (
        f"Effort: {share} goes with ratings of {low:.0f} to {high:.0f} for a group, {one_low:.0f} to {one_high:.0f} for one "
        f"runner (90 %), on the {effort['scale']}{flag}. The table knows no heat and no time: at fixed work it gets harder as "
        "time goes on."
    )


def _of_recorded(words: str, found: dict[str, Any]) -> str:
    scale, numbers = found["scale"], [one for one in found["ratings"] if not np.isnan(one)]
    span = f"{number(scale['low'], 0)} ({scale['low_label']}) to {number(scale['high'], 0)} ({scale['high_label']})"
    if not numbers:
        return f"Recorded {words}: no rating."
    several = "1 rating" if len(numbers) == 1 else f"{len(numbers)} ratings, from {numbers[0]:g} to {numbers[-1]:g}"
    last = f", {numbers[0]:g}" if len(numbers) == 1 else ""
    return f"Recorded {words}: {several}{last}, on \u201c{scale['name']}\u201d, {span}."
