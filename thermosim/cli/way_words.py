"""A comparison along a course and over reps, in words: tables of checkpoints and reps, and what cannot be told."""

from typing import Any

from thermosim.cli.terminal import number
from thermosim.clock import pace_text

CHECKPOINTS = ("", "km", "variant", "min", "arrived", "core °C", "min gained", "core change, °C")
REPS = ("rep", "variant", "min/km", "cap first at", "over", "return", "drawn: capped", "first at, m", "back, s")
OF_A_CAP = slice(3, 9)
NO_PAIR = "no pair of runs has both numbers uncensored"


def band(interval, decimals: int, signed: bool = False, none: str = "–") -> str:
    """Return a median and its 90 % interval; ends that are not seen are dashes.

    >>> band({"median": 3.0, "low": 2.0, "high": None}, 0), band(None, 0)
    ('3 (2 to –)', '–')
    """
    if not interval or interval["median"] is None:
        return none
    low, high = (("–" if interval[side] is None else number(interval[side], decimals, signed)) for side in ("low", "high"))
    return f"{number(interval['median'], decimals, signed)} ({low} to {high})"


def checkpoint_rows(result: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return one row for each checkpoint and variant."""
    found = []
    first, *others = result["variants"]
    for k, place in enumerate(first["checkpoints"]):
        for j, entry in enumerate(result["variants"]):
            one = entry["checkpoints"][k]
            change = ("", "")
            if j:
                contrast = result["contrasts"][j - 1]["checkpoints"][k]
                change = (band(contrast["minutes_gained"], 1, True), band(contrast["core_difference_K"], 2, True))
            found.append((
                place["name"] if not j else "", number(place["km"]) if not j else "", entry["name"], band(one["arrive_min"], 0),
                f"{number(100.0 * one['share_arrived'], 0)} %", band(one["core_C"], 1), *change,
            ))  # fmt: skip
    return found


def checkpoint_sentences(result: dict[str, Any]) -> list[str]:
    """Return for which checkpoints no pair tells anything, and over whom the others are told."""
    found = []
    for contrast in result["contrasts"]:
        none = [one["name"] for one in contrast["checkpoints"] if one["minutes_gained"] is None]
        some = [one for one in contrast["checkpoints"] if 0.0 < one["share_both"] < 1.0]
        if none:
            where = ", ".join(none)
            found.append(f"{contrast['name']}: {where} is reached in no pair of runs: what it changes there cannot be told.")
        if some:
            least = min(some, key=lambda one: one["share_both"])
            who = f"pairs that have both arrived, at {least['name']} {number(100.0 * least['share_both'], 0)} %"
            found.append(f"{contrast['name']}: minutes and degrees are those of {who}: the slower ones are not in them.")
    return found


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
                    band(drawn["first_cap_m"], 0, none="not in most"), band(drawn["return_s"], 0),
                )  # fmt: skip
            found.append(row)
    return found


def rep_sentences(result: dict[str, Any]) -> list[str]:
    """Return what each variant changes under the rule, rep by rep where pairs tell it, and what cannot be told."""
    found = []
    for entry in result["variants"]:
        rule, fade = entry.get("rule_drawn"), entry.get("pace_fade_drawn")
        if rule:
            found.append(
                f"{entry['name']}, runners drawn: {band(rule['cap_events'], 0)} cap events, "
                f"{band(rule['time_over_cap_min'], 1)} min above the cap, first after {band(rule['first_cap_min'], 1)} min; "
                f"{number(100.0 * rule['share_never_capped'], 0)} % never reach it."
            )
        if fade and fade["ratio_last_first"]:
            whole = number(100.0 * fade["share_complete"], 0)
            ratio = band(fade["ratio_last_first"], 3)
            found.append(f"{entry['name']}: the last rep's pace over the first's {ratio}, of the {whole} % who do both.")
    differ = result["variants"][0].get("reps_differ")
    if differ:
        found.append(f"The reps differ in {' and '.join(differ)}: how pace fades over them cannot be told.")
    for contrast in result["contrasts"]:
        for key, share, unit, what in (
            ("first_cap_difference_m", "share_both_capped", "m", "the cap comes later by"),
            ("return_difference_s", "share_both_back", "s", "heart rate takes longer to return by"),
        ):
            rows = [one for one in contrast.get("reps", ()) if key in one]
            told = [one for one in rows if one[key]]
            if told:
                each = [f"rep {one['rep']} {band(one[key], 0, True)} {unit} ({number(100.0 * one[share], 0)} %)" for one in told]
                who = f"{contrast['name']} against {contrast['against']}, pairs with both (share)"
                found.append(f"{who}: {what} {'; '.join(each)}.")
            if len(told) < len(rows):
                which = ", ".join(str(one["rep"]) for one in rows if not one[key])
                found.append(f"{contrast['name']}: in rep {which} it cannot be told that {what} anything: {NO_PAIR}.")
    return found
