"""A comparison along a course and over reps, in words: tables of checkpoints and reps, and what cannot be told."""

from typing import Any

from thermosim.cli.terminal import number
from thermosim.clock import pace_text

CHECKPOINTS = ("", "km", "variant", "min", "arrived", "core °C", "min gained", "core change, °C")
UNDER_A_RULE = ("min", "arrived", "min gained")  # without one all arrive together, as planned
REPS = ("rep", "variant", "min/km", "cap first at", "over", "return", "drawn: capped", "first at, m", "over, s", "back, s")
CHANGES = ("rep", "variant", "pace, s/km", "cap comes later, m", "over the cap, s", "return, s")
OF_A_CAP = slice(3, 10)
CANNOT_TELL = "cannot tell"


def band(interval, decimals: int, signed: bool = False, none: str = "–") -> str:
    """Return a median and its 90 % interval; ends that are not seen are dashes.

    >>> band({"median": 3.0, "low": 2.0, "high": None}, 0), band(None, 0)
    ('3 (2 to –)', '–')
    """
    if not interval or interval["median"] is None:
        return none
    low, high = (("–" if interval[side] is None else number(interval[side], decimals, signed)) for side in ("low", "high"))
    return f"{number(interval['median'], decimals, signed)} ({low} to {high})"


def checkpoint_names(result: dict[str, Any]) -> tuple[str, ...]:
    """Return the columns of the table of checkpoints; minutes gained only where a rule can slow a runner."""
    return CHECKPOINTS if _slows(result) else tuple(name for name in CHECKPOINTS if name not in UNDER_A_RULE[1:])


def _slows(result: dict[str, Any]) -> bool:
    return "rule" in result["variants"][0]


def checkpoint_rows(result: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return one row for each checkpoint and variant, under :func:`checkpoint_names`."""
    found, slows = [], _slows(result)
    first, *others = result["variants"]
    for k, place in enumerate(first["checkpoints"]):
        for j, entry in enumerate(result["variants"]):
            one = entry["checkpoints"][k]
            contrast = result["contrasts"][j - 1]["checkpoints"][k] if j else {}
            row = {
                "": place["name"] if not j else "", "km": number(place["km"]) if not j else "", "variant": entry["name"],
                "min": band(one["arrive_min"], 0) if slows else number(one["arrive_min"]["median"], 0),
                "arrived": f"{number(100.0 * one['share_arrived'], 0)} %", "core °C": band(one["core_C"], 1),
                "min gained": band(contrast["minutes_gained"], 1, True, CANNOT_TELL) if j else "",
                "core change, °C": band(contrast["core_difference_K"], 2, True, CANNOT_TELL) if j else "",
            }  # fmt: skip
            found.append(tuple(row[name] for name in checkpoint_names(result)))
    return found


def checkpoint_sentences(result: dict[str, Any]) -> list[str]:
    """Return for which checkpoints no pair tells anything, and over whom the others are told."""
    found = []
    for contrast in result["contrasts"]:
        places = contrast["checkpoints"]
        none = [one["name"] for one in places if one["minutes_gained"] is None]
        some = [one for one in places if 0.0 < one["share_both"] < 1.0]
        if none:
            where = ", ".join(none)
            found.append(f"{contrast['name']}: {where} is reached in no pair of runs: what it changes there cannot be told.")
        if some:
            one = min(some, key=lambda place: place["share_both"])
            neither = 1.0 - one["share_both"] - one["share_only_against"] - one["share_only_name"]
            alone = ((contrast["against"], one["share_only_against"]), (contrast["name"], one["share_only_name"]))
            others = "".join(f", {_percent(share)} only with {name}" for name, share in alone if share > 0.0)
            found.append(
                f"{contrast['name']}: minutes and degrees are those of pairs that have both arrived, at {one['name']} "
                f"{_percent(one['share_both'])}{others}, {_percent(neither)} in neither: the slower ones are not in them."
            )
    if not _slows(result):
        found.append("Without a rule nothing slows a runner: all arrive as planned, and only core differs.")
    return found


def _percent(share: float) -> str:
    return f"{number(100.0 * share, 0)} %"


def rep_names(result: dict[str, Any]) -> tuple[str, ...]:
    """Return the columns of the table of reps, without those of a cap where there is none."""
    return REPS if "rule_drawn" in result["variants"][0] else REPS[: OF_A_CAP.start]


def rep_rows(result: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return one row for each rep and variant: the runner as given, then the runners drawn."""
    from thermosim.cli.rep_words import bound

    found, capped = [], "rule_drawn" in result["variants"][0]
    for k in range(max(len(entry["reps"]) for entry in result["variants"])):
        for j, entry in enumerate(result["variants"]):
            if k >= len(entry["reps"]):
                continue
            one, drawn = entry["reps"][k], entry["reps_drawn"][k]
            row = (
                str(one["rep"]) if not j else "", entry["name"] + ("" if one["complete"] else " (cut)"),
                pace_text(one["mean_speed_m_s"]) if one["mean_speed_m_s"] > 0.0 else "–",
            )  # fmt: skip
            if capped:
                share = drawn["share_capped"]
                row += (
                    bound(one["first_cap_m"], "m", one["first_cap_censored"]), bound(one["time_over_cap_s"], "s", False),
                    bound(one["return_s"], "s", one["return_censored"]),
                    "–" if share is None else f"{number(100.0 * share, 0)} %",
                    band(drawn["first_cap_m"], 0, none="not in most"), band(drawn["time_over_cap_s"], 0),
                    band(drawn["return_s"], 0),
                )  # fmt: skip
            found.append(row)
    return found


def rep_sentences(result: dict[str, Any]) -> list[str]:
    """Return what each variant changes under the rule, rep by rep where pairs tell it, and what cannot be told."""
    found = []
    for entry in result["variants"]:
        rule, fade = entry.get("rule_drawn"), entry.get("pace_fade_drawn")
        if rule:
            stopped = f", {_percent(rule['share_stopped'])} are stopped by the rule" if rule["share_stopped"] else ""
            found.append(
                f"{entry['name']}, runners drawn: {band(rule['cap_events'], 0)} cap events, "
                f"{band(rule['time_over_cap_min'], 1)} min above the cap, first after {band(rule['first_cap_min'], 1)} min; "
                f"{_percent(rule['share_never_capped'])} never reach it{stopped}."
            )
        if fade and fade["ratio_last_first"]:
            whole = number(100.0 * fade["share_complete"], 0)
            ratio = band(fade["ratio_last_first"], 3)
            found.append(f"{entry['name']}: the last rep's pace over the first's {ratio}, of the {whole} % who do both.")
    differ = result["variants"][0].get("reps_differ")
    if differ:
        found.append(f"The reps differ in {' and '.join(differ)}: how pace fades over them cannot be told.")
    for contrast in result["contrasts"]:
        found += _rule_sentences(contrast) + _cannot_tell(contrast)
    drawn = [one for entry in result["variants"] for one in entry.get("reps_drawn", ())]
    least = min((one.get("share_known", 1.0) for one in drawn), default=1.0)
    if least < 1.0:
        found.append(
            "Of the cap events of a run the first 60 are kept: where the cap comes and how long heart rate takes back is told "
            f"in some reps of {_percent(least)} of the runners only; pace and time over the cap are those of all."
        )
    return found


def change_names(result: dict[str, Any]) -> tuple[str, ...]:
    """Return the columns of the table of what variants change in reps, without those of a cap where there is none."""
    return CHANGES if "rule_drawn" in result["variants"][0] else CHANGES[:3]


def change_rows(result: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return one row for each rep and further variant: medians and intervals of pairs, and the share of pairs they are from."""
    columns = (
        ("pace_difference_s_km", "share_both_complete", 1), ("first_cap_difference_m", "share_both_capped", 0),
        ("time_over_cap_difference_s", "share_both_complete", 0), ("return_difference_s", "share_both_back", 0),
    )  # fmt: skip
    wanted, found = columns if "rule_drawn" in result["variants"][0] else columns[:1], []
    for k in range(len(result["contrasts"][0]["reps"])):
        for j, contrast in enumerate(result["contrasts"]):
            one = contrast["reps"][k]
            cells = (
                f"{band(one[key], decimals, True)} · {_percent(one[share])}" if one[key] else CANNOT_TELL
                for key, share, decimals in wanted
            )
            found.append((str(one["rep"]) if not j else "", contrast["name"], *cells))
    return found


def _rule_sentences(contrast: dict[str, Any]) -> list[str]:
    """Return what a variant changes under the rule in the whole run, and in how pace fades."""
    found, who = [], f"{contrast['name']} against {contrast['against']}"
    rule, fade = contrast.get("rule"), contrast.get("pace_fade_difference")
    if rule:
        first, share = rule["first_cap_difference_min"], _percent(rule["share_both_capped"])
        later = f"{band(first, 1, True)} min (the {share} of pairs capped in both)" if first else CANNOT_TELL
        found.append(
            f"{who}: {band(rule['cap_events_difference'], 0, True)} cap events, "
            f"{band(rule['time_over_cap_difference_min'], 1, True)} min above the cap; the first comes later by {later}."
        )
    if fade:
        change, share = fade["ratio_last_first"], _percent(fade["share_both_complete"])
        told = f"changes by {band(change, 3, True)} (the {share} of pairs that do both reps in both)"
        none = f"{CANNOT_TELL}: no pair does the first and the last rep in full in both"
        found.append(f"{who}: pace fade, last over first, {told if change else none}.")
    return found


def _cannot_tell(contrast: dict[str, Any]) -> list[str]:
    """Return why a number of a rep cannot be told, reps with one reason together."""
    why: dict[str, list[str]] = {}
    for one in contrast.get("reps", ()):
        if one["pace_difference_s_km"] is None:
            why.setdefault("its pace or time over the cap: no pair does it in full in both", []).append(str(one["rep"]))
        if "first_cap_difference_m" in one and one["first_cap_difference_m"] is None:
            alone = ((contrast["against"], one["share_only_against"]), (contrast["name"], one["share_only_name"]))
            only = " and ".join(f"{_percent(share)} only with {name}" for name, share in alone if share > 0.0)
            reason = f"when the cap comes: no pair reaches it in both ({only or 'never capped in either'})"
            why.setdefault(reason, []).append(str(one["rep"]))
        if "return_difference_s" in one and one["return_difference_s"] is None:
            why.setdefault("how long the return takes: no pair has a cap event that ends in both", []).append(str(one["rep"]))
    return [f"{contrast['name']}, rep {', '.join(reps)}: {CANNOT_TELL} {reason}." for reason, reps in why.items()]
