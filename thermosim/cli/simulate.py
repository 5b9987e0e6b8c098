"""``thermosim simulate``: one run of a session, of a saved run again, or of flags."""

import json
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from thermosim.cli.fields import SESSION_GROUPS, with_fields
from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk, VerboseFlag
from thermosim.cli.writing import CoursePictureFlag, ForceFlag, OutFlag, PictureFlag

CoolingFlag = Annotated[
    list[str] | None,
    typer.Option("--cooling", metavar="DEVICE:FIELD=VALUE,…", rich_help_panel="Cooling",
                 help="wear a device: its name and fields, and from_min, to_min, refill_min=30+50; repeatable")]  # fmt: skip
VariantFlag = Annotated[
    str | None,
    typer.Option(
        "--variant",
        metavar="NAME",
        help="variant of the session; the first unless named",
        rich_help_panel="Cooling",
    ),
]

EPILOG = """\
[bold]Example[/bold], no file needed: a warm humid evening, with an ice collar, as a picture:

thermosim simulate --mass-kg 65 --height-m 1.75 --speed-m-s 3.3 --minutes 60 --air-temperature-C 31 \
--relative-humidity-pct 85 --heat-days 9 --cooling ice_collar:ice_kg=0.25,covered=true --picture run.png

[bold]From a file[/bold], with one field replaced, saved, and run again with the same digits:

thermosim simulate salt-pans.session.toml --variant collar --minutes 45 --out run.nc

thermosim simulate run.nc

[bold]Over a course[/bold], a sheet or a GPX track, with when each checkpoint is reached and a picture along the way:

thermosim simulate --mass-kg 65 --height-m 1.75 --course hill.gpx --level-speed-m-s 2.8 --walk-above-grade-pct 14 \
--air-temperature-C 24 --relative-humidity-pct 70 --course-picture course.png

[bold]JSON keys:[/bold] core_at_end_C, peak_core_C, mean_skin_at_end_C, heart_rate_at_end_bpm (null with a beta-blocker), \
sweat_loss_L, body_mass_change_pct (negative: lost; what is drunk and still in the stomach counts), time_to_limit_min (null if \
not reached), limit_C (null when under 18 or pregnant and none was set), distance_m, \
max_closure_W, warnings, cautions; with devices also cooling_plan (name, segments, times, carried_kg, fills, refills, \
spares_used, ice_kg, water_kg, heat_from_skin_kJ, heat_from_air_kJ, water_left_kg, in_it, treatment_only, notes); \
over a course also course (length_km, ascent_m, ascent_raw_m, \
descent_m, checkpoints: name, km, arrive_min, leave_min, clock, core_C, heart_rate_bpm, sweat_loss_L, has, ice_probability, \
opens_in_min, cut_off_margin_min); with a recording also heart_rate_rmse_bpm, heart_rate_bias_bpm (modelled less \
recorded) and gaps (from_s, to_s, seconds); with a rule or blocks also rule (cap_bpm, resume_below_bpm, cap_events, \
time_over_cap_min, first_cap_min, first_cap_m, stopped_at_min, stopped_by; null where it did not happen); with blocks also \
reps (rep, start_min, minutes, distance_m, mean_speed_m_s, heart_rate_at_end_bpm, complete, cap_events, first_cap_m, \
first_cap_censored, time_over_cap_s, return_s, return_censored: a censored number is a lower bound), \
reps_differ (in what the reps are not alike) and pace_fade \
(slope_s_km_per_rep, ratio_last_first, reps, censored; null where reps differ); \
with a rule beside a recorded heart rate recorded_rule (as rule, \
without metres, with events: start_min, peak_bpm, return_s, return_censored; and recorded_share); with --leaving-shade-min \
leaving_shade (at_min, sun_before_W_m2, sun_after_W_m2, sun_bpm, grade_and_speed_bpm, under_way_bpm, modelled_bpm, \
core_by_sun_K, skin_by_sun_K, core_K, recorded_bpm, not_explained_bpm; the last two null without a recording); with \
--perception also perception (effort, thermal_sensation, recorded, against_without_devices, sources): directions in words, a \
number only where one is published, else null; with heat_exposures also heat_days_kept (exposures, days_before, at_min, \
members, seed, gained, kept, ahead: heart_rate_bpm, core_C, sweat_rate_L_h, largest_sweat_rate_L_h, each {median, low, high} \
against no heat days).

Flags replace fields of the file. Without --out, --picture or --ledger-picture nothing is written."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(
        "simulate", epilog=EPILOG, short_help="one run: core, skin, heart rate, sweat, every heat term"
    )(simulate)


@with_fields(*SESSION_GROUPS)
def simulate(
    session: Annotated[
        Path | None,
        typer.Argument(
            metavar="[SESSION]", help="a *.session.toml, or RUN.nc to run it again", show_default=False
        ),
    ] = None,
    variant: VariantFlag = None,
    cooling: CoolingFlag = None,
    two_node: Annotated[
        bool,
        typer.Option(
            "--two-node",
            metavar=" ",
            help="one core and one skin node, for teaching",
            rich_help_panel="Output",
        ),
    ] = False,
    out: OutFlag = None,
    picture: PictureFlag = None,
    ledger_picture: Annotated[
        Path | None,
        typer.Option(
            "--ledger-picture",
            metavar="PATH",
            help="draw every heat term over time, .png or .svg",
            rich_help_panel="Output",
        ),
    ] = None,
    course_picture: CoursePictureFlag = None,
    perception: Annotated[
        bool,
        typer.Option(
            "--perception",
            metavar=" ",
            help="effort and thermal sensation, apart from the heat, with their sources; drawn with --picture too",
            rich_help_panel="Output",
        ),
    ] = False,
    leaving_shade_min: Annotated[
        float | None,
        typer.Option(
            "--leaving-shade-min",
            metavar="MIN",
            help="the minute in which shade ends: what sun, grade and speed explain of the first minute's beats",
            show_default=False,
            rich_help_panel="Output",
        ),
    ] = None,
    shade_share: Annotated[
        float | None,
        typer.Option(
            "--shade-share",
            metavar="SHARE",
            help="with --leaving-shade-min: share of the sun kept off until then, where the session does not say it",
            show_default=False,
            rich_help_panel="Output",
        ),
    ] = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
    *,
    fields: dict,
) -> dict:
    """One run, minute by minute: core, skin, heart rate, sweat, every heat term.

    The answer comes with its limits: how far modelled core can be trusted, which defaults were used, what limits the runner.
    """
    from thermosim.cli.sessions import gather, wearing
    from thermosim.cli.writing import check_targets, needs_course

    talk = Talk(json_, quiet, verbose)
    asked = wearing(gather(session, fields, variant), cooling or [])
    check_targets(out, [picture, ledger_picture, course_picture], force)
    needs_course(asked.session, course_picture)
    with talk.progress("running") as say:
        shade = _shade(asked, leaving_shade_min, shade_share)
        ds, lines = run(asked, two_node or asked.two_node)
        felt = None
        if perception or asked.session.ratings is not None:
            ds, felt = _feel(asked, ds, lines, two_node or asked.two_node)
        say("drawing")
        written = _write(ds, out, (picture, ledger_picture, course_picture), force, asked.session)
    return _tell(talk, asked, ds, lines, written, felt if perception else None, shade)


def _shade(asked, at_min: float | None, shade_share: float | None) -> dict | None:
    """Return what the sun explains of the minute after shade, where it is asked for."""
    from thermosim.errors import InputError

    if at_min is None:
        if shade_share is not None:
            raise InputError("is given without --leaving-shade-min", field="--shade-share", remedy="say when the shade ends")
        return None
    from thermosim.study.leaving_shade import leaving_shade

    return leaving_shade(asked.session, at_min, shade_share=shade_share, variant=asked.variant)


def run(asked, two_node: bool):
    """Run the request; return its Dataset, completed with what its assumed inputs change, and its cautions."""
    from thermosim.cli.run_words import assumed_sentence
    from thermosim.story import simulate_session
    from thermosim.study.assumed import effects_of_assumed

    _refuse_own_devices(asked)
    session = asked.session
    ds = simulate_session(
        session,
        asked.variant,
        two_node=two_node,
        save_every_s=asked.save_every_s,
        overrides=asked.overrides,
    )
    warnings = json.loads(ds.attrs["warnings"])
    if session.assumed and not two_node:
        effects = effects_of_assumed(session, asked.variant, asked.overrides)
        warnings += [assumed_sentence(effect) for effect in effects]
        ds.attrs["assumed"] = json.dumps(effects, ensure_ascii=False)
    if two_node:
        warnings.append("Two nodes stand for the whole body: for teaching, not for planning.")
    lines = cautions_of(session, ds)
    ds.attrs |= {
        "warnings": json.dumps(warnings, ensure_ascii=False),
        "cautions": json.dumps(lines, ensure_ascii=False),
    }
    return ds, lines


def _feel(asked, ds, lines: list[str], two_node: bool):
    """Return the run with its perception, and the JSON object of it; its caution joins the others."""
    from thermosim import cautions
    from thermosim.cli.perception_words import perceived, perception_result

    ds, against = perceived(asked, ds, two_node)
    lines.append(cautions.PERCEPTION_APART)
    ds.attrs["cautions"] = json.dumps(lines, ensure_ascii=False)
    return ds, perception_result(ds, against)


def _refuse_own_devices(asked) -> None:
    """Refuse to run a saved run again without the code that made its devices."""
    from thermosim.errors import InputError

    if asked.own_devices:
        raise InputError(
            f"{', '.join(asked.own_devices)} comes from the user's own code and cannot be run again from a file",
            field="device",
            remedy="run it from Python with that code, or replace it with --cooling",
        )


def cautions_of(session, ds) -> list[str]:
    """Return the cautions that this run must carry, first lines first."""
    from thermosim import cautions
    from thermosim.cli.sessions import outside_adult_model

    device, limited = "device" in ds.dims, bool((ds.limited_by.values != 0).mean() > 0.05)
    capped = session.rule is not None and session.rule.capped
    lines = cautions.for_result(device=device, capped=capped, uncompensable=limited, band_K=float(ds.attrs["core_band_K"]))
    if capped:
        lines += [cautions.WALK_AT_THE_CAP, cautions.NEVER_ALONE]
    first = []
    if outside_adult_model(session.runner):
        first += [f"{cautions.ADULT_MODEL} {cautions.PREGNANCY_AND_UNDER_18}"]
    if session.runner.beta_blocker:
        first += [cautions.BETA_BLOCKERS]
    highest = max(float(ds.attrs["peak_core_C"]), float(session.limits.core_temperature_C or 0.0))
    if highest > 39.0:
        first += [cautions.MEASURED_CORE_ABOVE_39]
    return lines[:3] + first + lines[3:]


def _write(ds, out, pictures, force, session) -> list[Path]:
    from thermosim import look
    from thermosim.cli import writing

    pages = {"run.png": lambda: look.run_overview(ds), "ledger.png": lambda: look.ledger_over_time(ds)}
    extras = {}
    if "heart_rate_recorded" in ds:
        extras["recorded.csv"] = lambda path: writing.recorded_table(ds).to_csv(path)
    if "rating_time" in ds.coords:
        extras["ratings.csv"] = lambda path: writing.ratings_table(ds).to_csv(path)
    if session.effort.ground is not None:
        from thermosim.cli.course_words import course_table

        pages["course.png"] = lambda: look.course_strip(ds)
        extras["course.csv"] = lambda path: course_table(session, ds).to_csv(path, index=False)
    targets = writing.dataset_targets(ds, out, "run", pages, extras)
    for path, page in zip(pictures, pages.values()):
        if path is not None:
            targets.append(writing.Target(path, partial(writing.draw, page)))
    return writing.write_all(targets, force)


def _tell(talk, asked, ds, lines, written, felt=None, shade=None) -> dict:
    from thermosim.cli.run_words import answer, assumed_row, assumed_sentence, key_figures, run_result

    result = run_result(ds, lines, asked.session.runner.beta_blocker)
    talk.cautions(lines, device="device" in ds.dims)
    if not talk.as_json:
        talk.write(answer(ds), style="bold")
        talk.table([("", "left"), ("", "right"), ("", "left"), ("", "left")], key_figures(ds, result))
    _tell_course(talk, asked.session, ds, result)
    _tell_cooling(talk, asked, ds, result)
    _tell_reps(talk, asked.session, ds, result)
    _tell_shade(talk, shade, result)
    _tell_heat_days(talk, asked, result)
    effects = json.loads(ds.attrs.get("assumed", "[]"))
    if effects and not (talk.as_json or talk.quiet):
        names = ("assumed", "used", "could be", "core at end, °C", "heart rate, bpm")
        talk.table([(name, "left") for name in names], [assumed_row(effect) for effect in effects])
    in_table = [] if talk.as_json else [assumed_sentence(effect) for effect in effects]
    if felt is not None:
        result["perception"] = felt
        _tell_perception(talk, felt, float(ds.time[-1]) / 60.0)
    talk.warnings([sentence for sentence in result["warnings"] if sentence not in in_table])
    talk.wrote(written)
    talk.result(result)
    return result


def _tell_cooling(talk, asked, ds, result: dict) -> None:
    """Print the cooling plan, and add it to the JSON object, where anything is worn."""
    from thermosim.cli import plan_words as words
    from thermosim.story import variant_of

    plan = words.cooling_plan(asked.session, variant_of(asked.session, asked.variant), ds)
    if plan:
        result["cooling_plan"] = plan
        if not talk.as_json:
            talk.write(words.TITLE, style="bold")
            for line in words.plan_lines(plan):
                talk.item(line)
            for line in words.ceiling_lines(plan, ds):
                talk.write(line)


def _tell_course(talk, session, ds, result: dict) -> None:
    """Print when and how each checkpoint is reached, and add it to the JSON object, where the run is over a course."""
    from thermosim.cli import course_words as words

    if session.effort.ground is None:
        return
    result["course"] = words.course_result(session, ds)
    if not talk.as_json:
        talk.write(words.TITLE, style="bold")
        talk.table(list(words.COLUMNS), words.rows(result["course"], session.runner.beta_blocker))
        for sentence in words.sentences(session, ds, result["course"]):
            talk.item(sentence)


def _tell_heat_days(talk, asked, result: dict) -> None:
    """Print what listed heat exposures gained and what is kept, and add it to the JSON object."""
    if asked.session.runner.heat_exposures is None:
        return
    from thermosim.cli import heat_words as words
    from thermosim.study.heat_days import heat_days_kept

    result["heat_days_kept"] = heat_days_kept(asked.session)
    if not talk.as_json:
        talk.write(words.TITLE, style="bold")
        for line in words.heat_lines(result["heat_days_kept"]):
            talk.item(line)


def _tell_shade(talk, shade, result: dict) -> None:
    """Print what the sun explains of the minute after shade, and add it to the JSON object, where it was asked for."""
    if shade is None:
        return
    from thermosim.cli.shade_words import shade_sentences

    result["leaving_shade"] = shade
    if not talk.as_json:
        for sentence in shade_sentences(shade):
            talk.write(sentence)


def _tell_reps(talk, session, ds, result: dict) -> None:
    """Print what a rule did and the reps, and add them to the JSON object, where there is either."""
    from thermosim.cli import rep_words as words
    from thermosim.inputs.paced_flat import is_paced
    from thermosim.study.reps import rep_result

    recorded = words.recorded_result(session)
    if recorded is not None:
        result["recorded_rule"] = recorded
        if not talk.as_json:
            talk.write(words.recorded_sentence(recorded))
    if not is_paced(session):
        return
    result |= rep_result(session, ds)
    if talk.as_json:
        return
    if result.get("reps"):
        talk.write(words.TITLE, style="bold")
        talk.table([(name, "right") for name in words.names(result["reps"])], words.rows(result["reps"]))
    for sentence in words.sentences(result):
        talk.write(sentence)


def _tell_perception(talk, felt: dict, minutes: float) -> None:
    from thermosim.cli import perception_words as words

    if talk.as_json:
        return
    talk.write(words.TITLE, style="bold")
    for line in words.perception_lines(felt, minutes):
        talk.item(line)
    if not talk.quiet:
        talk.item("; ".join(words.sources_of(felt)) + ".", "Sources: ")
