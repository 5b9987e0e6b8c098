"""``thermosim device``: bench test of a real device, watts of any device, and the most that ice can have done."""

from pathlib import Path
from typing import Annotated

import typer

from thermosim.cli.fields import with_fields
from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk, VerboseFlag
from thermosim.cli.writing import ForceFlag, PictureFlag

TEST_EPILOG = """\
[bold]Example:[/bold] a collar weighed every 5 min, once on a dummy, once on somebody's neck, melt water poured off twice:

thermosim new mass --out collar.mass.csv

thermosim device test collar.mass.csv --kind ice_collar:ice_kg=0.25,covered=true --room-temperature-C 24 \
--room-humidity-pct 50 --out own-collar.device.toml --picture bench.png

Then wear the card: --cooling own-collar.device.toml, or device = "own-collar.device.toml" in a session.

Readings: time_min, mass_kg (the device with all that is in it) and, where measured, dripped_kg (so far), ice_left_kg, \
skin_temperature_C (under the device); columns run and on tell runs apart, or give one file a run. Lines "# name = value" state \
conditions; flags replace them. Without ice_left_kg the scales see melting only when it drips.

What is fitted: contact, insulation of the outer side, water held before it drips, by least squares over all runs. \
Intervals (90 %) carry the rounding of the scale and half a gram of handling, a fifth on the air side, half a kelvin on \
measured skin (three on modelled skin). A number whose interval covers more than half of what is allowed is called not \
identified; the card keeps its value. Area and ice are taken as stated: measure them.

[bold]JSON keys:[/bold] kind, device (the fitted table), parameters (name, unit, fitted, default, identified, at_bound; \
also air_factor and skin_offset_K), runs (name, on, readings, last_reading_min; heat_uptake_kJ, heat_from_skin_kJ, \
heat_from_air_kJ, heat_from_condensation_kJ, condensed_g, evaporated_g, dripped_g and useful_share until all is melted or, \
where it is not, until the last reading; useful_share is null where the outer side gives off heat; melted_at_min (null if \
not within 4 h), skin_W_at_5_min, outer_W_at_5_min, ceiling_K, skin_measured, coldest_skin_C, minutes_below_12_C, rmse_g, \
series: time_min, skin_W, outer_W, condensation_W each with _low and _high, readings_g: time_min, measured_g, fitted_g, \
ice_left_g, ice_fitted_g), rmse_g, scale_resolution_g, degrees_of_freedom, room, mass_kg, files, answer, sentences, warnings, \
cautions. Every uncertain number is {median, low, high} (90 %)."""
SHOW_EPILOG = """\
[bold]Example:[/bold] what is a covered ice collar worth in humid heat, minute by minute?

thermosim device show ice_collar:covered=true --climate humid --picture collar.png

thermosim device show own-collar.device.toml --air-temperature-C 28 --relative-humidity-pct 60

thermosim device show                     every device in the humid, dry and cool climates

[bold]JSON keys:[/bold] of one device: time_min, from_skin_W, from_air_W, sun_kept_off_W, net_W, evaporation_W, sweat_W, \
worth_W (series); device, label, climate, setting (running, stop, rest), watts_of (what fresh and late are of), \
fresh_W, late_W, fresh_min, late_min, spent_min, from_skin_fresh_W, from_air_fresh_W, blocked_evaporation_W, carrying_W, \
sweat_saved_W, net_fresh_W, net_late_W, from_skin_kJ, net_kJ, ceiling_K (joules and shade), ceiling_parts_K (joules, wetting, \
shade), flags (what moved by more), core_change_K, coldest_skin_C, wear_min, treatment_only, shown_with (what was not given \
and is no default), warnings (what the run without it does not say), band_fresh_W, band_late_W, band_min, inside (null where \
common practice gives no band); of all: rows (the same without series and shown_with), judged, inside. Also \
cautions."""
ICE_EPILOG = """\
[bold]Example:[/bold] 250 g went in, 50 g came back after half an hour:

thermosim device ice --ice-loaded-kg 0.25 --ice-left-kg 0.05 --minutes 30 --mass-kg 65

thermosim device ice reps.csv --mass-kg 65        columns rep, minutes, ice_loaded_kg, ice_left_kg

[bold]JSON keys:[/bold] reps (rep, ice_loaded_kg, ice_left_kg, minutes, melted_kg, latent_kJ, warming_kJ, most_kJ, mean_W, \
ceiling_K; latent_mean_W and latent_ceiling_K without the warming of melt water), total (the same, added up), mass_kg, \
sentences, cautions."""

device_app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="[bold]Example:[/bold]\n\nthermosim device test collar.mass.csv --kind ice_collar --out own-collar.device.toml\n\n"
    "[bold]JSON keys:[/bold] see thermosim device test --help, show --help, ice --help.",
    help="Bench test of a device on scales, its watts in a climate, and the most that ice can have done.",
)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    device_app.command("test", epilog=TEST_EPILOG, short_help="bench readings: a device card, watts from skin and from air")(
        test
    )
    device_app.command("show", epilog=SHOW_EPILOG, short_help="watts of one device over time, or of all devices")(show)
    device_app.command("ice", epilog=ICE_EPILOG, short_help="ice loaded and left: the most heat it can have taken")(ice)
    app.add_typer(device_app, name="device", short_help="bench test, watts of a device, the most that ice can have done")


def _option(flag: str, help_: str, metavar: str, panel: str):
    return typer.Option(flag, metavar=metavar, help=help_, rich_help_panel=panel, show_default=False)


def test(
    files: Annotated[list[Path], typer.Argument(metavar="READINGS…", help="one or more *.mass.csv")],
    kind: Annotated[
        str | None,
        _option("--kind", "what it is and what is known: a kind, or a card to start from", "KIND:FIELD=VALUE,…", "Bench"),
    ] = None,
    on: Annotated[
        str | None, _option("--on", "what it lay on where the file does not say: dummy or skin", "SIDE", "Bench")
    ] = None,
    room_temperature_C: Annotated[
        float | None, _option("--room-temperature-C", "air and walls, 0 to 50", "°C", "Bench")
    ] = None,
    room_humidity_pct: Annotated[
        float | None, _option("--room-humidity-pct", "relative humidity, 0 to 100", "%", "Bench")
    ] = None,
    air_speed_m_s: Annotated[
        float | None, _option("--air-speed-m-s", "movement of the room's air, 0 unless given", "m/s", "Bench")
    ] = None,
    scale_resolution_g: Annotated[
        float | None, _option("--scale-resolution-g", "step of the scale; told from the readings unless given", "g", "Bench")
    ] = None,
    drips_counted: Annotated[
        bool, typer.Option("--drips-counted", metavar=" ", help="what drips stays on the scales", rich_help_panel="Bench")
    ] = False,
    dummy_insulation_W_m2K: Annotated[
        float,
        _option(
            "--dummy-insulation-W-m2K", "what the dummy lets through, 0 unless given; 30 mm of foam: 1.2", "W/m²K", "Bench"
        ),
    ] = 0.0,
    mass_kg: Annotated[float, _option("--mass-kg", "body mass of who wore it, 70 unless given", "kg", "Bench")] = 70.0,
    height_m: Annotated[float, _option("--height-m", "height of who wore it, 1.75 unless given", "m", "Bench")] = 1.75,
    name: Annotated[str | None, _option("--name", "what the card calls the device", "TEXT", "Bench")] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="PATH", help="write the card: *.device.toml", rich_help_panel="Output"),
    ] = None,
    picture: PictureFlag = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
) -> dict:
    """A real device on kitchen scales: which numbers of its card the readings tell, and where its heat comes from."""
    from thermosim import cautions
    from thermosim.cli import device_words as words
    from thermosim.cli.bench import gather_bench, run_bench

    talk = Talk(json_, quiet, verbose)
    words.check_out(out, picture, force)
    asked = gather_bench(
        files,
        kind,
        on,
        {
            "room_temperature_C": room_temperature_C,
            "room_humidity_pct": room_humidity_pct,
            "air_speed_m_s": air_speed_m_s,
            "scale_resolution_g": scale_resolution_g,
            "drips_counted": drips_counted or None,
        },
        dummy_insulation_W_m2K,
        mass_kg,
        height_m,
        name,
    )
    with talk.progress("fitting"):
        result, card = run_bench(asked)
        result["cautions"] = cautions.for_result(device=True)
        written = words.write_bench(result, card, out, picture, force)
    talk.cautions(result["cautions"], device=True)
    if not json_:
        words.tell_bench(talk, result)
    talk.warnings(result["warnings"])
    talk.wrote(written)
    talk.result(result)
    return result


@with_fields("Weather")
def show(
    device: Annotated[
        str | None,
        typer.Argument(
            metavar="[KIND_OR_CARD]", help="a kind with fields, or a *.device.toml; without, all", show_default=False
        ),
    ] = None,
    climate: Annotated[
        list[str] | None,
        typer.Option("--climate", metavar="NAME", help="humid, dry or cool; humid for one device, all three for the table"),
    ] = None,
    picture: PictureFlag = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
    *,
    fields: dict,
) -> dict:
    """The watts of one device over time, fresh and late, and what is left of them; or the table of all devices."""
    from thermosim import cautions
    from thermosim.cli import device_words as words
    from thermosim.cli.writing import check_targets

    talk = Talk(json_, quiet, verbose)
    check_targets(None, [picture], force)
    spec, climates = words.shown_device(device, climate or [], fields)
    with talk.progress("running") as say:
        result = words.run_shown(spec, climates, say)
        result["cautions"] = cautions.for_result(device=True)
        written = words.write_shown(result, spec, picture, force)
    talk.cautions(result["cautions"], device=True)
    if not json_:
        words.tell_shown(talk, result, spec)
    talk.warnings(result.get("warnings", []))
    talk.wrote(written)
    talk.result(result)
    return result


def ice(
    file: Annotated[Path | None, typer.Argument(metavar="[REPS.csv]", help="a row a rep", show_default=False)] = None,
    ice_loaded_kg: Annotated[float | None, _option("--ice-loaded-kg", "ice put in", "kg", "Ice")] = None,
    ice_left_kg: Annotated[float | None, _option("--ice-left-kg", "ice found at the end", "kg", "Ice")] = None,
    minutes: Annotated[float | None, _option("--minutes", "how long it was worn", "min", "Ice")] = None,
    mass_kg: Annotated[float | None, _option("--mass-kg", "body mass", "kg", "Ice")] = None,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
) -> dict:
    """The most heat that a device can have taken, from the ice that went in and the ice that came back."""
    from thermosim import cautions
    from thermosim.cli import device_words as words

    talk = Talk(json_, quiet)
    result = words.ice_result(file, ice_loaded_kg, ice_left_kg, minutes, mass_kg)
    result["cautions"] = cautions.for_result(device=True)
    talk.cautions(result["cautions"], device=True)
    if not json_:
        words.tell_ice(talk, result)
    talk.result(result)
    return result
