"""``thermosim hours``: start hours × runners, inside the limits, crosses, or cannot say."""

from pathlib import Path
from typing import Annotated, Any

import typer

from thermosim.cli.fields import with_fields
from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk, VerboseFlag
from thermosim.cli.writing import ForceFlag, PictureFlag

EPILOG = """\
[bold]Example:[/bold] which hour of tomorrow suits which runner?

thermosim hours tempo.session.toml --first 04:00 --last 11:00 --picture hours.png

The session's weather needs times: a weather sheet, several of them as a forecast, or a window of an hourly station file, and \
may be corrected at trackside and have a stated spread. It may name several runners:

runners = ["P-17.runner.toml", "P-22.runner.toml"]

weather = {station = "typical-year.csv", start = "07-07T04:00", hours = 18, corrections = "lane.trackside.csv", \
spread = {air_temperature_K = 1.5}}

Of an ensemble of drawn runners, each with the model's own left-out error, up to --inside-share may cross for "inside the limits \
you set"; from --crosses-share on, half, it "crosses at minute N", where half have crossed; between: "cannot say".

[bold]JSON keys:[/bold] hours (one a start: start, at_min, wbgt_C and wbgt_highest_C (null without an estimate), \
air_temperature_C, vapour_pressure_kPa, wind_speed_m_s at the runner, solar_W_m2, over_sheets (each of these as [lowest, \
highest] of a forecast's sheets, the numbers themselves are the middle sheet's; null for one sheet), runners), runners \
(name, limit_C, heat_days, work_limit: the ISO 7243 reference limit wbgt_C for a day's work with work_class, metabolic_W, \
beyond_table, table_ends_W, acclimatised), limit_site, variant, minutes, every_min, members, seed, model_core_error_K, \
inside_share, crosses_share, wbgt (measured, estimated or null), left_out (sentence or null), warnings, cautions. In \
hours, runners has one entry a runner, in the order of runners: verdict ("inside the limits you set", "crosses", "cannot \
say"), share_crossing with share_interval (90 %, of the draw), could_turn (another draw may turn the verdict), \
share_without_model_error (null unless the limit is of core), crosses_at_min (null where none cross), core_at_end_C, \
sweat_loss_L, hottest_core_C, stopped (null, or members that the model cannot run to the end, those before_the_limit, \
why), limiting (humidity, still_air, sweat_rate, sun, radiant, hot_air, effort; null where the runner as given stops), \
limiting_words, required_evaporation_W, evaporative_capacity_W, dry_W (convection and long wave, a gain positive), sun_W, \
metabolic_W, uncompensable, told_at_min (what the watts are of), wind (null without one: dry_W, capacity_W, net_W: heat \
left over at this sweat rate less without the wind, sweat_needed_difference_L_h, air_speed_m_s, without_wind_m_s, \
sentence). Every uncertain number is {median, low, high} (90 %); null in minutes means never.

Exit codes: 0 done, whatever the verdicts; 2 input refused (a forecast that ends before the run, a missing hour); 4 numerical \
failure. Without --picture nothing is written."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("hours", epilog=EPILOG, short_help="start hours × runners: inside the limits, crosses, or cannot say")(hours)


@with_fields("Limit", "Ensemble")
def hours(
    session: Annotated[Path, typer.Argument(metavar="SESSION", help="a *.session.toml whose weather has times")],
    first: Annotated[str | None, typer.Option("--first", metavar="HH:MM", help="earliest start of a day")] = None,
    last: Annotated[
        str | None, typer.Option("--last", metavar="HH:MM", help="latest start; before --first: over midnight")
    ] = None,
    every_min: Annotated[float, typer.Option("--every-min", metavar="MIN", help="time between starts")] = 60.0,
    variant: Annotated[str | None, typer.Option("--variant", metavar="NAME", help="what is worn; the first unless named")] = None,
    inside_share: Annotated[
        float, typer.Option("--inside-share", metavar="SHARE", help="most of the ensemble that may cross for inside")
    ] = 0.05,
    crosses_share: Annotated[
        float, typer.Option("--crosses-share", metavar="SHARE", help="least of the ensemble that crosses for crosses")
    ] = 0.5,
    picture: PictureFlag = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
    *,
    fields: dict,
) -> dict:
    """Start hours × runners: inside the limits you set, crosses at minute N, or cannot say; and what limits, in words."""
    from thermosim.cli import hours_words as words
    from thermosim.cli.sessions import gather
    from thermosim.cli.writing import Target, check_targets, draw, write_all
    from thermosim.study.hours import hours as study_hours

    talk = Talk(json_, quiet, verbose)
    asked = gather(session, fields).session
    check_targets(None, [picture], force)
    with talk.progress("drawing the ensemble") as say:
        result: dict[str, Any] = study_hours(
            asked, variant=variant, first=first, last=last, every_min=every_min, inside_share=inside_share,
            crosses_share=crosses_share, progress=say,
        )  # fmt: skip
        result["cautions"] = words.cautions_of(asked, result)
        written = []
        if picture is not None:
            written = write_all([Target(picture, lambda path: draw(lambda: words.page_of(asked, result), path))], force)
    _tell(talk, asked, result, written, verbose)
    return result


def _tell(talk: Talk, session, result: dict, written: list, verbose: bool) -> None:
    from thermosim.cli import hours_words as words

    talk.cautions(result["cautions"], device=words.has_devices(session, result))
    if not talk.as_json:
        for sentence in words.answer(result):
            talk.write(sentence, style="bold")
        wide = talk.paper.width >= 70 + 24 * len(result["runners"])
        talk.table(words.columns(result), words.rows(result, wide), title=words.heading(result))
        told = words.limiting_sentences(result) + words.wind_sentences(result) + words.error_sentences(result)
        for sentence in told + words.work_limit_sentences(result):
            talk.write(sentence)
        if result["left_out"]:
            talk.write(result["left_out"])
    said = result["warnings"] if verbose else words.condensed(result["warnings"], [one["name"] for one in result["runners"]])
    talk.warnings(said)
    talk.wrote(written)
    talk.result(result)
