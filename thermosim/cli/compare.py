"""``thermosim compare``: the variants of a session as a paired ensemble."""

import json
from pathlib import Path
from typing import Annotated

import typer

from thermosim.cli.fields import SESSION_GROUPS, with_fields
from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk, VerboseFlag, number
from thermosim.cli.writing import ForceFlag, OutFlag, PictureFlag

EPILOG = """\
[bold]Example:[/bold] is a covered ice collar worth its ice on this run?

thermosim compare salt-pans.session.toml --picture compare.png

[bold]Without a file[/bold], against no device:

thermosim compare --mass-kg 78 --height-m 1.83 --heat-days 2 --speed-m-s 3 --minutes 60 --air-temperature-C 31 \
--relative-humidity-pct 75 --cooling ice_collar:ice_kg=0.25,covered=true --cooling ice_collar:ice_kg=0.25,covered=false

[bold]JSON keys:[/bold] variants (name, core_at_end_C, time_to_limit_min, share_never, heart_rate_at_end_bpm, sweat_loss_L, \
device: heat_from_skin_kJ, heat_from_air_kJ, condensed_g, melted_at_min, useful_share, ceiling_K, or null), \
contrasts (name, against, at_min, core_difference_K, heart_rate_difference_bpm, time_to_limit_difference_min, share_never_both, \
core_rate_at_limit_K_min), limit_C, members, seed, warnings, cautions. Every uncertain number is {median, low, high} \
(90 %), null where nothing can be said; a median or bound of null in minutes means never.

The first variant is what the others are compared against. Same seed, same numbers. \
Without --out or --picture nothing is written."""

WIDE = 110  # columns from which median and interval stand side by side

CoolingVariants = Annotated[
    list[str] | None,
    typer.Option("--cooling", metavar="DEVICE:FIELD=VALUE,…", rich_help_panel="Cooling",
                 help="one more variant that wears this device; may be given again")]  # fmt: skip


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(
        "compare", epilog=EPILOG, short_help="variants as a paired ensemble: °C, minutes, share never"
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
    out: OutFlag = None,
    picture: PictureFlag = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
    *,
    fields: dict,
) -> dict:
    """Variants with the same runners drawn for each: °C first, then minutes, then the share that never reaches the limit."""
    from thermosim.cli.sessions import gather, with_variants
    from thermosim.cli.writing import check_targets

    talk = Talk(json_, quiet, verbose)
    asked = _chosen(with_variants(gather(session, fields).session, cooling or []), variant or [])
    _refuse_without_limit(asked)
    check_targets(out, [picture], force)
    with talk.progress("drawing the ensemble") as say:
        comparison = _run(asked, say)
        say("drawing", 1.0)
        written = _write(comparison, out, picture, force)
    _tell(talk, comparison.result, written)
    return comparison.result


def _run(session, say):
    from thermosim.study.compare import compare as compare_variants

    comparison = compare_variants(session, progress=say)
    comparison.result["cautions"] = _cautions(session, comparison.result)
    comparison.dataset.attrs["cautions"] = json.dumps(comparison.result["cautions"], ensure_ascii=False)
    return comparison


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
    from thermosim.cli.sessions import outside_adult_model

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
    return lines[:3] + more + lines[3:]


def _write(comparison, out, picture, force) -> list[Path]:
    from thermosim import look
    from thermosim.cli import writing

    def page():
        return look.compare_page(comparison.result, comparison.dataset)

    def as_json(path):
        from thermosim.cli.terminal import finite

        path.write_text(
            json.dumps(finite(comparison.result), ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
        )

    targets = writing.dataset_targets(
        comparison.dataset, out, "compare", {"compare.png": page}, {"compare.json": as_json}
    )
    if picture is not None:
        targets.append(writing.Target(picture, lambda path: writing.draw(page, path)))
    return writing.write_all(targets, force)


def _tell(talk: Talk, result, written) -> None:
    talk.cautions(result["cautions"], device=any(entry["device"] for entry in result["variants"]))
    if not talk.as_json:
        talk.write(answer(result), style="bold")
        _tell_variants(talk, result)
        _tell_devices(talk, result)
        for contrast in result["contrasts"]:
            for sentence in contrast_sentences(result, contrast):
                talk.write(sentence)
    talk.warnings(result["warnings"])
    talk.wrote(written)
    talk.result(result)


def _stacked(talk: Talk, rows: list[tuple]) -> list[tuple]:
    """Put intervals below their medians where the terminal is narrow."""
    if talk.paper.width >= WIDE:
        return rows
    return [
        (name, *(cell.replace(" (", "\n(").replace(" to ", "–") for cell in cells)) for name, *cells in rows
    ]


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
    return f", and {limit} comes {' to '.join(list(texts)[:: max(len(texts) - 1, 1)])} min {later}, where both reach it"


def _tell_variants(talk: Talk, result) -> None:
    rows: list[tuple] = []
    for entry in result["variants"]:
        core, minutes, never = (
            entry["core_at_end_C"],
            entry["time_to_limit_min"],
            _percent(entry["share_never"]),
        )
        heart, sweat = _band(entry["heart_rate_at_end_bpm"], 0), _band(entry["sweat_loss_L"], 2)
        rows.append((entry["name"], _band(core, 1), _minutes(minutes), never, heart, sweat))
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
        rows.append((entry["name"], _band(device["heat_from_skin_kJ"], 0), _band(device["heat_from_air_kJ"], 0), _band(useful, 0),
                     _minutes(device["melted_at_min"]), _band(device["ceiling_K"], 2)))  # fmt: skip
    names = ("device", "from skin, kJ", "from air, kJ", "useful, %", "all melted, min", "ceiling, °C")
    talk.table(
        [(name, "left") for name in names],
        _stacked(talk, rows),
        title="Where the ice went; the ceiling is what its joules could pay for in mean body temperature",
    )


def contrast_sentences(result, contrast) -> list[str]:
    """Return what differs: degrees first, then minutes, then the share that never reaches the limit, then the ceiling."""
    core, heart = (
        _band(contrast["core_difference_K"], 2, True),
        _band(contrast["heart_rate_difference_bpm"], 1, True),
    )
    start = f"{contrast['name']} against {contrast['against']}: core {core} °C and heart rate {heart} bpm "
    start += f"at minute {contrast['at_min']:.0f}; "
    minutes = contrast["time_to_limit_difference_min"]
    never = f"{_percent(contrast['share_never_both'])} never reach {number(result['limit_C'])} °C in either."
    if minutes is None or minutes["median"] is None:
        start += f"no pair reaches the limit in both; {never}"
    else:
        reached = contrast.get("share_reached_both")
        share = "" if reached is None else f" (the {_percent(reached)} of pairs that reach it in both)"
        rate = contrast["core_rate_at_limit_K_min"]
        flat = (
            ""
            if not rate or rate["median"] is None
            else f", where core climbs {number(rate['median'], 3)} °C/min"
        )
        start += f"time to the limit {_band(minutes, 1, True)} min{share}{flat}; {never}"
    found = [start]
    ceiling = contrast.get("ceiling_at_min_K")
    if ceiling and ceiling["median"]:
        share = -contrast["core_difference_K"]["median"] / ceiling["median"]
        at = f" at minute {contrast['at_min']:.0f}"
        found.append(
            f"Ceiling of {contrast['name']}{at}: {number(ceiling['median'], 2)} °C; "
            f"core moved by {number(100.0 * share, 0)} % of it."
        )
    return found + list(contrast.get("flags", []))


def _percent(share: float) -> str:
    return f"{number(100.0 * share, 0)} %"


def _band(interval, decimals: int, signed: bool = False) -> str:
    if not interval or interval["median"] is None:
        return "–"
    low, high = (
        ("–" if interval[side] is None else number(interval[side], decimals, signed))
        for side in ("low", "high")
    )
    return f"{number(interval['median'], decimals, signed)} ({low} to {high})"


def _minutes(interval) -> str:
    if not interval:
        return "never"
    median, low, high = (
        "never" if interval[name] is None else number(interval[name], 0) for name in ("median", "low", "high")
    )
    return "never" if low == "never" else f"{median} ({low} to {high})"
