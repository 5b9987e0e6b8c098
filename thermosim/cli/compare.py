"""``thermosim compare``: the variants of a session as a paired ensemble."""

import json
from pathlib import Path
from typing import Annotated

import typer
from typer.core import TyperCommand

from thermosim.cli import way_words
from thermosim.cli.fields import SESSION_GROUPS, with_fields
from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk, VerboseFlag, number
from thermosim.cli.way_words import band
from thermosim.cli.writing import CoursePictureFlag, ForceFlag, OutFlag, PictureFlag

EPILOG = """\
[bold]Example:[/bold] is a covered ice collar worth its ice on this run?

thermosim compare salt-pans.session.toml --picture compare.png

[bold]Without a file[/bold], against no device:

thermosim compare --mass-kg 78 --height-m 1.83 --heat-days 2 --speed-m-s 3 --minutes 60 --air-temperature-C 31 \
--relative-humidity-pct 75 --cooling ice_collar:ice_kg=0.25,covered=true --cooling ice_collar:ice_kg=0.25,covered=false

[bold]Several devices at once:[/bold] which of them does the work?

thermosim compare salt-pans.session.toml --kit "everything" --picture kit.png

--kit runs every part of one variant's 2 to 5 devices with the same drawn runners. Degrees do not add up as joules do: it \
prints each device alone, its share of the whole kit (the mean of what it adds over every order of putting them on, so the \
shares add up), and the smallest kit that keeps four fifths of the whole, by items and by kg of ice. Where the whole kit's \
interval holds zero, or it changes core by less than 0.02 °C, it cannot tell the devices apart and says so. Long sessions \
with many parts run fewer members unless --members is given. Without a name: the last variant with two or more devices.

[bold]JSON keys:[/bold] variants (name, core_at_end_C, time_to_limit_min, share_never, \
share_finished: of a distance under a rule, by the end of the comparison, or null, heart_rate_at_end_bpm, sweat_loss_L, \
device: heat_from_skin_kJ (drips included), heat_by_drips_kJ, heat_from_air_kJ, condensed_g, melted_at_min, useful_share \
(null where the outer side gives heat off), \
coldest_skin_C, ceiling_K by its joules, ceiling_parts_K at the end: joules, wetting, shade, ice_used_kg and water_used_kg over \
all refills, or null; over a course checkpoints: name, km, arrive_min, share_arrived (by the end of the comparison), \
core_C, heart_rate_bpm; under a rule rule, \
reps, reps_differ, pace_fade of the runner as given, as simulate has them, and of the runners drawn rule_drawn: cap_events, \
first_cap_min, share_never_capped, time_over_cap_min, share_stopped, reps_drawn: rep, share_begun, share_complete, pace_min_km, \
share_known (cap events kept), share_capped, first_cap_m, time_over_cap_s, return_s, share_return_censored, pace_fade_drawn: \
ratio_last_first, share_complete), \
contrasts (name, against, at_min, core_difference_K, heart_rate_difference_bpm, sweat_saved_L, \
time_to_limit_difference_min, share_never_both, share_reached_both, share_only_against and share_only_name: who alone reaches \
the limit, core_rate_at_limit_K_min, minutes_per_tenth_K: what 0.1 °C is worth at the limit, ceiling_at_min_K, ceiling_end_K, \
explicit_end_K: water and shade, mean_body_difference_K, books_kJ: difference of every term of the runner as given, and stored, \
flags: what moved by more than can be paid for, no_reason, hazard, behaviour: sentences or null, checkpoints: name, km, \
share_both, share_only_against, share_only_name: who alone has arrived, minutes_gained, core_difference_K; under a cap rule: \
cap_events_difference, time_over_cap_difference_min, first_cap_difference_min, share_both_capped; reps: rep, \
pace_difference_s_km, share_both_complete, time_over_cap_difference_s, first_cap_difference_m, share_both_capped, \
share_only_against, share_only_name: who alone is capped, return_difference_s, share_both_back, and pace_fade_difference: \
ratio_last_first, share_both_complete; null where no pair has both numbers uncensored), limit_C, limit_site, minutes, \
members, seed, model_core_error_K, version, warnings, cautions; with --kit \
also kit (variant, at_min, heat_until_min, members, seed, whole: core_difference_K, heat_from_skin_kJ; sum_of_singles_K, \
sum_of_singles_kJ, ice_kg, devices: name, alone_K, share_K, heat_from_skin_kJ, heat_alone_kJ, ice_kg; parts, \
smallest_by_items and smallest_by_ice: devices, items, ice_kg, core_difference_K, kept_share, share_of_runners, or null; \
sentence; there heat_from_skin_kJ counts drips and drinks too, and differences are against no device). Every uncertain \
number is {median, low, high} (90 %), null where nothing can be said; a median or bound of null in minutes means never, \
in first_cap_m not in this rep, in return_s not back before the next rep or the end.

The first variant is what the others are compared against. Same seed, same numbers. \
Without --out or --picture nothing is written."""

WIDE = 110  # columns from which median and interval stand side by side
LAST_KIT = ""  # what --kit without a name stands for

CoolingVariants = Annotated[
    list[str] | None,
    typer.Option("--cooling", metavar="DEVICE:FIELD=VALUE,…", rich_help_panel="Cooling",
                 help="one more variant that wears this device; may be given again")]  # fmt: skip


class WithKit(TyperCommand):
    """The command, whose ``--kit`` may stand without a name."""

    def parse_args(self, ctx, args):
        """Give a bare ``--kit`` the name that stands for the last kit, then parse as ever."""
        return super().parse_args(ctx, name_bare_kit(args))


def name_bare_kit(arguments: list[str]) -> list[str]:
    """Return the arguments with a name after every ``--kit`` that has none.

    >>> name_bare_kit(["a.session.toml", "--kit", "--json"])
    ['a.session.toml', '--kit', '', '--json']
    >>> name_bare_kit(["--kit", "a.session.toml"])
    ['--kit', '', 'a.session.toml']
    """
    found: list[str] = []
    for k, argument in enumerate(arguments):
        found.append(argument)
        following = arguments[k + 1] if k + 1 < len(arguments) else "-"
        if argument == "--kit" and (following.startswith("-") or following.endswith(".toml")):
            found.append(LAST_KIT)
    return found


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(
        "compare", cls=WithKit, epilog=EPILOG, short_help="variants as a paired ensemble: °C, minutes, share never"
    )(compare)


@with_fields(*SESSION_GROUPS)
def compare(
    session: Annotated[
        Path | None,
        typer.Argument(metavar="[SESSION]", help="a *.session.toml with its variants", show_default=False),
    ] = None,
    cooling: CoolingVariants = None,
    variant: Annotated[
        list[str] | None,
        typer.Option(
            "--variant",
            metavar="NAME",
            help="compare only these variants, the first as reference; may be given again",
            rich_help_panel="Cooling",
        ),
    ] = None,
    kit: Annotated[
        str | None,
        typer.Option(
            "--kit",
            metavar="[VARIANT]",
            help="take a variant's devices apart: shares, and the smallest kit that does; no name: the last with several",
            rich_help_panel="Cooling",
        ),
    ] = None,
    out: OutFlag = None,
    picture: PictureFlag = None,
    course_picture: CoursePictureFlag = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
    *,
    fields: dict,
) -> dict:
    """Variants with the same runners drawn for each: °C first, then minutes, then the share that never reaches the limit."""
    from thermosim.cli.sessions import gather, with_variants
    from thermosim.cli.writing import check_targets, needs_course

    talk = Talk(json_, quiet, verbose)
    every = with_variants(gather(session, fields).session, cooling or [])
    asked = _chosen(every, variant or [])
    taken_apart = _kit_of(every, kit)
    _refuse_without_limit(asked)
    check_targets(out, [picture, course_picture], force)
    needs_course(asked, course_picture)
    with talk.progress("drawing the ensemble") as say:
        comparison = _run(asked, say)
        if taken_apart is not None:
            comparison.result["kit"] = _run_kit(every, taken_apart, fields.get("members"), say)
        say("drawing", 1.0)
        written = _write(comparison, out, picture, course_picture, force)
    _tell(talk, comparison.result, written)
    return comparison.result


def _run(session, say):
    from thermosim.study.compare import compare as compare_variants

    comparison = compare_variants(session, progress=say)
    comparison.result["cautions"] = _cautions(session, comparison.result)
    comparison.dataset.attrs["cautions"] = json.dumps(comparison.result["cautions"], ensure_ascii=False)
    return comparison


def _kit_of(session, name: str | None) -> str | None:
    """Return the name of the variant to take apart, refused before anything runs; None where it is not asked for."""
    if name is None:
        return None
    from thermosim.study.kit import kit_variant

    return kit_variant(session, name or None).name


def _run_kit(session, name, members, say) -> dict:
    from thermosim.study.kit import compare_kit

    return compare_kit(session, name, members=members, progress=say)


def _chosen(session, names: list[str]):
    """Return the session with the variants of these names only, in this order."""
    from dataclasses import replace

    from thermosim.story import variant_of

    return replace(session, variants=tuple(variant_of(session, name) for name in names)) if names else session


def _refuse_without_limit(session) -> None:
    from thermosim.cli.sessions import no_default_limit
    from thermosim.errors import InputError

    if no_default_limit(session):
        raise InputError("is missing: under 18 or pregnant there is no default limit (adult model, outside its range)",
                         field="core_limit_C", remedy="set a limit yourself, or look at single runs with simulate")  # fmt: skip


def _cautions(session, result) -> list[str]:
    from thermosim import cautions
    from thermosim.cli.device_words import DRUNK
    from thermosim.cli.plan_words import TREATMENT
    from thermosim.cli.sessions import outside_adult_model
    from thermosim.cooling.kinds import TREATMENT_ONLY

    device = any(entry["device"] for entry in result["variants"])
    halves = [
        0.5 * (one["core_at_end_C"]["high"] - one["core_at_end_C"]["low"]) for one in result["variants"]
    ]
    lines = cautions.for_result(device=device, band_K=max(halves))
    more = []
    if outside_adult_model(session.runner):
        more.append(f"{cautions.ADULT_MODEL} {cautions.PREGNANCY_AND_UNDER_18}")
    if session.runner.beta_blocker:
        more.append(cautions.BETA_BLOCKERS)
    if max(result["limit_C"], *(entry["core_at_end_C"]["high"] for entry in result["variants"])) > 39.0:
        more.append(cautions.MEASURED_CORE_ABOVE_39)
    drunk = [one for variant in session.variants for one in variant.cooling if one.get("device") in DRUNK]
    treated = [one for variant in session.variants for one in variant.cooling if one.get("device") in TREATMENT_ONLY]
    return lines[:3] + more + lines[3:] + ([TREATMENT] if treated else []) + ([cautions.DRINK] if drunk else [])


def _write(comparison, out, picture, course_picture, force) -> list[Path]:
    from thermosim import look
    from thermosim.cli import writing

    def page():
        return look.compare_page(comparison.result, comparison.dataset)

    def as_json(path):
        from thermosim.cli.terminal import finite

        path.write_text(
            json.dumps(finite(comparison.result), ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
        )

    def along():
        return look.compare_course_page(comparison.result, comparison.dataset)

    pages = {"compare.png": page} | ({"compare_course.png": along} if "place" in comparison.dataset.coords else {})
    targets = writing.dataset_targets(comparison.dataset, out, "compare", pages, {"compare.json": as_json})
    for target, draw in ((picture, page), (course_picture, along)):
        if target is not None:
            targets.append(writing.Target(target, lambda path, draw=draw: writing.draw(draw, path)))
    return writing.write_all(targets, force)


def _tell(talk: Talk, result, written) -> None:
    talk.cautions(result["cautions"], device=any(entry["device"] for entry in result["variants"]))
    if not talk.as_json:
        talk.write(answer(result), style="bold")
        _tell_variants(talk, result)
        _tell_devices(talk, result)
        _tell_the_way(talk, result)
        for contrast in result["contrasts"]:
            for sentence in contrast_sentences(result, contrast):
                talk.write(sentence)
        for sentence in behaviour_sentences(result):
            talk.write(sentence)
        if "kit" in result:
            _tell_kit(talk, result["kit"])
    talk.warnings(result["warnings"])
    talk.wrote(written)
    talk.result(result)


def _stacked(talk: Talk, rows: list[tuple]) -> list[tuple]:
    """Put intervals below their medians where the terminal is narrow."""
    if talk.paper.width >= WIDE:
        return rows
    return [(name, *map(_two_lines, cells)) for name, *cells in rows]


def _two_lines(cell: str) -> str:
    """Break a cell before its interval; numbers with a sign keep the word between them."""
    signed = "−" in cell or "+" in cell
    return cell.replace(" (", "\n(").replace(" to ", " to " if signed else "–")


def answer(result) -> str:
    """Return the sentence of the comparison: what the variant that changes core most does, and who does the same."""
    best = min(result["contrasts"], key=lambda one: one["core_difference_K"]["median"])
    shown = number(best["core_difference_K"]["median"], 2)
    alike = [one for one in result["contrasts"] if number(one["core_difference_K"]["median"], 2) == shown]
    who = " and ".join(one["name"] for one in alike)
    return f"{_core_words(best, who, len(alike) > 1)}{_minutes_words(result, alike)}."


def _core_words(contrast, who: str, several: bool) -> str:
    difference, at = contrast["core_difference_K"], f"at minute {contrast['at_min']:.0f}"
    if difference["low"] < 0.0 < difference["high"] or abs(difference["median"]) < 0.005:
        change, verb = number(difference["median"], 2, True), "change" if several else "changes"
        return f"No clear difference: {who} {verb} core by {change} °C {at} against {contrast['against']}"
    way = "below" if difference["median"] < 0.0 else "above"
    leaves = "leave" if several else "leaves"
    return f"{who} {leaves} core {number(abs(difference['median']), 2)} °C {way} {contrast['against']} {at}"


def _minutes_words(result, alike) -> str:
    limit = f"the limit of {number(result['limit_C'])} °C"
    known = [one["time_to_limit_difference_min"] for one in alike]
    medians = sorted(one["median"] for one in known if one and one["median"] is not None)
    if not medians:
        return f"; {limit} is reached in no pair of runs"
    later = "later" if medians[0] >= 0.0 else "earlier"
    texts = dict.fromkeys(number(abs(one), 1) for one in medians)
    span = " to ".join(list(texts)[:: max(len(texts) - 1, 1)])
    rate = alike[0].get("core_rate_at_limit_K_min")
    climbing = f" and core climbs {number(rate['median'], 3)} °C/min" if rate and rate["median"] is not None else ""
    return f", and {limit} comes {span} min {later}, where both reach it{climbing}"


def _tell_variants(talk: Talk, result) -> None:
    rows: list[tuple] = []
    for entry in result["variants"]:
        core, minutes, never = (
            entry["core_at_end_C"],
            entry["time_to_limit_min"],
            _percent(entry["share_never"]),
        )
        heart, sweat = band(entry["heart_rate_at_end_bpm"], 0), band(entry["sweat_loss_L"], 2)
        rows.append((entry["name"], band(core, 1), _minutes(minutes), never, heart, sweat))
    heading = f"{result['members']} runners drawn, seed {result['seed']}; median (90 % interval)"
    names = (
        "variant",
        "core at end, °C",
        f"to {number(result['limit_C'])} °C, min",
        "never",
        "heart rate, bpm",
        "sweat, L",
    )
    talk.table([(name, "left") for name in names], _stacked(talk, rows), title=heading)


def _tell_devices(talk: Talk, result) -> None:
    worn = [entry for entry in result["variants"] if entry["device"]]
    if not worn:
        return
    rows = []
    for entry in worn:
        device = entry["device"]
        useful = {
            name: None if value is None else 100.0 * value
            for name, value in (device["useful_share"] or {}).items()
        }
        used = f"{number(device['ice_used_kg'], 2)} + {number(device['water_used_kg'], 2)}"
        rows.append((entry["name"], band(device["heat_from_skin_kJ"], 0), band(device["heat_from_air_kJ"], 0), band(useful, 0),
                     _minutes(device["melted_at_min"]), band(device["ceiling_K"], 2), used))  # fmt: skip
    names = ("device", "from skin, kJ", "from air, kJ", "useful, %", "all melted, min", "ceiling, °C", "ice + water, kg")
    talk.table(
        [(name, "left") for name in names],
        _stacked(talk, rows),
        title="Where the ice went; the ceiling is what its joules could pay for in mean body temperature",
    )


def _tell_the_way(talk: Talk, result) -> None:
    """Print what variants come to at checkpoints and in reps, where the session has these."""
    first = result["variants"][0]
    if "checkpoints" in first:
        rows = _stacked(talk, way_words.checkpoint_rows(result))
        names = way_words.checkpoint_names(result)
        talk.table([(name, "left") for name in names], rows, title="Along the course; median (90 % interval)")
        for sentence in way_words.checkpoint_sentences(result):
            talk.write(sentence)
    if first.get("reps"):
        names = way_words.rep_names(result)
        title = "Reps of the runner as given" + (", and of the runners drawn" if "rule_drawn" in first else "")
        talk.table([(name, "left") for name in names], _stacked(talk, way_words.rep_rows(result)), title=title)
        names, rows = way_words.change_names(result), _stacked(talk, way_words.change_rows(result))
        title = f"What changes against {first['name']}, rep by rep: pairs with both numbers seen · their share"
        talk.table([(name, "left") for name in names], rows, title=title)
    if "rule_drawn" in first or first.get("reps"):
        for sentence in way_words.rep_sentences(result):
            talk.write(sentence)


def _ceiling_sentence(result, contrast) -> str | None:
    """Return what a device's joules could pay for, what its water and shade could add, and how core moved; None without one."""
    from thermosim.cli.plan_words import more_words

    device = next((one["device"] for one in result["variants"] if one["name"] == contrast["name"]), None)
    ceiling = contrast.get("ceiling_at_min_K")
    if not device or not ceiling:
        return None
    at, parts = f"at minute {contrast['at_min']:.0f}", device.get("ceiling_parts_K") or {}
    wetting, shade = (max((parts.get(name) or {}).get("median") or 0.0, 0.0) for name in ("wetting", "shade"))
    more = more_words(wetting, shade)
    said = f"Ceiling of {contrast['name']} {at}: {number(ceiling['median'], 2)} °C by its joules"
    said += f" (by the end{more[1:]})" if more else ""
    if ceiling["median"] < 0.005:
        return f"{said}."
    share = -contrast["core_difference_K"]["median"] / ceiling["median"]
    return f"{said}; core moved by {number(100.0 * share, 0)} % of it."


def contrast_sentences(result, contrast) -> list[str]:
    """Return what differs, a sentence each: degrees, their ceiling, then minutes with the rate they hang on, then doubts."""
    core, heart = (
        band(contrast["core_difference_K"], 2, True),
        band(contrast["heart_rate_difference_bpm"], 1, True),
    )
    at = f"at minute {contrast['at_min']:.0f}"
    start = f"{contrast['name']} against {contrast['against']}: core {core} °C and heart rate {heart} bpm {at}"
    found = [f"{start}; sweat saved {band(contrast['sweat_saved_L'], 2, True)} L."]
    ceiling = _ceiling_sentence(result, contrast)
    if ceiling:
        found.append(ceiling)
    found.append(_minutes_sentence(result, contrast))
    return found + list(contrast.get("flags", [])) + ([contrast["no_reason"]] if contrast.get("no_reason") else [])


def _minutes_sentence(result, contrast) -> str:
    """Return the minutes to the limit, with the rate at which core climbs there, and the share that never reaches it."""
    minutes, limit = contrast["time_to_limit_difference_min"], f"{number(result['limit_C'])} °C"
    start = f"Minutes to the core limit (physics), {contrast['name']}: "
    never = f"{_percent(contrast['share_never_both'])} never reach {limit} in either."
    if minutes is None or minutes["median"] is None:
        return f"{start}no pair reaches the limit in both; {never}"
    reached = contrast.get("share_reached_both")
    share = "" if reached is None else f" (the {_percent(reached)} of pairs that reach it in both)"
    return f"{start}{band(minutes, 1, True)} min{share}{_rate_words(contrast)}; {never}"


def _rate_words(contrast) -> str:
    """Return what a tenth of a degree is worth in minutes at the limit; on a flat curve that is a lot."""
    rate, worth = contrast["core_rate_at_limit_K_min"], contrast["minutes_per_tenth_K"]
    if not rate or rate["median"] is None or not worth:
        return ""
    span = f"{number(worth['low'], 0)} to {number(worth['high'], 0)}"
    return f", where core climbs {number(rate['median'], 3)} °C/min: 0.1 °C is worth {number(worth['median'], 0)} min ({span})"


def behaviour_sentences(result) -> list[str]:
    """Return the hazard, then what trials saw people do: once for all variants, after the minutes of each."""
    found: list[str] = []
    for key in ("hazard", "behaviour"):
        found += dict.fromkeys(one[key] for one in result["contrasts"] if one.get(key))
    return found


def _tell_kit(talk: Talk, kit) -> None:
    """Print what each device of the kit does alone and in the whole, and the smallest kit that does."""
    rows = [
        (one["name"], band(one["share_K"], 2, True), band(one["alone_K"], 2, True), band(one["heat_from_skin_kJ"], 0),
         band(one["heat_alone_kJ"], 0), number(one["ice_kg"], 2))
        for one in kit["devices"]
    ]  # fmt: skip
    whole = kit["whole"]
    rows.append(("whole kit", band(whole["core_difference_K"], 2, True), "", band(whole["heat_from_skin_kJ"], 0), "",
                 number(kit["ice_kg"], 2)))  # fmt: skip
    rows.append(("sum alone", "", band(kit["sum_of_singles_K"], 2, True), "", band(kit["sum_of_singles_kJ"], 0), ""))
    names = ("device", "share, °C", "alone, °C", "in kit, kJ", "alone, kJ", "ice, kg")
    title = (
        f"Kit {kit['variant']}: core at minute {kit['at_min']:.0f}, heat up to minute {kit['heat_until_min']:.0f}; "
        f"{kit['members']} runners drawn, seed {kit['seed']}"
    )
    talk.table([(name, "left") for name in names], _stacked(talk, rows), title=title)
    talk.write("Joules add, but for what devices on one place take from each other; degrees do not simply add.")
    talk.write(kit["sentence"])


def _percent(share: float) -> str:
    return f"{number(100.0 * share, 0)} %"


def _minutes(interval) -> str:
    if not interval:
        return "never"
    median, low, high = (
        "never" if interval[name] is None else number(interval[name], 0) for name in ("median", "low", "high")
    )
    return "never" if low == "never" else f"{median} ({low} to {high})"
