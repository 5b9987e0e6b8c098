"""``thermosim new`` and ``thermosim check``: commented files of every kind, and the check of any of them."""

from pathlib import Path
from typing import Annotated

import typer

from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk, VerboseFlag

NEW_EPILOG = """\
[bold]Example:[/bold]

thermosim new session                     shows a commented session file

thermosim new session --out tempo.session.toml

thermosim new device --device ice_vest --out vest.device.toml

thermosim new course --from hill.gpx --track 2 --out hill.course.csv      distance, elevation, heading of a track, no coordinates

[bold]JSON keys:[/bold] kind, text, written, cautions."""
CHECK_EPILOG = """\
[bold]Example:[/bold]

thermosim check salt-pans.session.toml P-22.runner.toml race-morning.weather.csv

Kinds are told by their ending: *.session.toml, *.runner.toml, *.weather.csv, *.pace.csv, *.device.toml, *.wear.csv, \
*.course.csv, *.mass.csv, *.heat.csv, *.trackside.csv, *.case.toml, *.gpx. Any other *.csv may be an hourly station file \
(typical year): it is told what is missing in it and where its hot humid week is.

thermosim check typical-year.csv --picture week.png

thermosim new weather --from typical-year.csv --start 07-07T04:00 --hours 18 --out day.weather.csv

[bold]JSON keys:[/bold] files (file, summary, warnings), cautions. \
The first file that is refused stops the check with exit code 2."""


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("new", epilog=NEW_EPILOG, short_help="a commented, valid file of one kind")(new)
    app.command("check", epilog=CHECK_EPILOG, short_help="reads files as a run would and says what is wrong")(
        check
    )


def new(
    kind: Annotated[
        str, typer.Argument(metavar="KIND", help="session, runner, weather, pace, wear, course, mass, case or device")
    ],
    device: Annotated[
        str, typer.Option("--device", metavar="KIND", help="kind of the device whose card is wanted")
    ] = "ice_collar",
    from_: Annotated[
        Path | None,
        typer.Option(
            "--from",
            metavar="FILE",
            help="GPX file whose shape becomes the course sheet; station file of a weather sheet",
            show_default=False,
        ),
    ] = None,
    start: Annotated[
        str | None,
        typer.Option("--start", metavar="MM-DDTHH:MM", help="of a window of a station file; its hot humid week unless given"),
    ] = None,
    hours: Annotated[float | None, typer.Option("--hours", metavar="H", help="length of that window")] = None,
    track: Annotated[int | None, typer.Option("--track", metavar="NUMBER", help="which track of it", show_default=False)] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="PATH", help="write it here; without, it is shown", rich_help_panel="Output"
        ),
    ] = None,
    force: Annotated[
        bool,
        typer.Option("--force", metavar=" ", help="replace a file that exists", rich_help_panel="Output"),
    ] = False,
    json_: JsonFlag = False,
) -> None:
    """A commented, valid file of one kind, to start from."""
    from thermosim import cautions
    from thermosim.cooling.cards import card_text
    from thermosim.errors import InputError
    from thermosim.inputs.files import write_atomically
    from thermosim.inputs.new import ENDINGS, new_file_text

    said: list[str] = []
    if from_ is not None:
        text, said = _weather_from(from_, start, hours) if kind == "weather" else _course_from(kind, from_, track)
    else:
        text = new_file_text(kind, lambda: card_text(device, cautions.for_card()))
    if out is not None:
        if not out.name.lower().endswith(ENDINGS[kind]):
            raise InputError(
                f"has another ending, allowed for a {kind} is *{ENDINGS[kind]}",
                file=str(out),
                remedy="rename it",
            )
        write_atomically(out, lambda path: path.write_text(text, encoding="utf-8"), force)
    talk = Talk(json_)
    talk.result(
        {
            "kind": kind,
            "text": text,
            "written": None if out is None else str(out),
            "cautions": cautions.for_card() if kind == "device" else [cautions.one_line()],
        }
    )
    if not json_:
        if out is None:
            print(text, end="")
        else:
            talk.write(f"Wrote {out}")
    talk.warnings(said)


def _weather_from(path: Path, start: str | None, hours: float | None) -> tuple[str, list[str]]:
    """Return a weather sheet of a window of a station file, its hot humid week unless a start is given, and what was done."""
    from thermosim.inputs.hot_week import hot_humid_week, sheet_text
    from thermosim.inputs.station import read_station

    station = read_station(path)
    if start is None:
        week = hot_humid_week(station)
        length = 24.0 * len(week.days) if hours is None else hours
        return sheet_text(station, week.start, length), [f"The hot humid week begins at {week.start}."]
    return sheet_text(station, start, 24.0 if hours is None else hours), []


def _course_from(kind: str, path: Path, track: int | None) -> tuple[str, list[str]]:
    """Return a course sheet made of a GPX file or of another sheet, and what was done to it."""
    from thermosim.errors import InputError
    from thermosim.inputs.course import Course
    from thermosim.inputs.course_sheet import sheet_text

    if kind != "course":
        raise InputError(f"is given for a {kind}, allowed only for a course", field="--from", remedy="leave it out")
    course = Course.read(path, track=track)
    return sheet_text(course), course.warnings()


def _read_case(path):
    from thermosim.evidence.read_case import read_case

    return read_case(path)


def check(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="files of any of our kinds")],
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="PATH",
            help="draw the hot humid week of a station file, .png or .svg",
            rich_help_panel="Output",
        ),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", metavar=" ", help="replace a picture that exists", rich_help_panel="Output")
    ] = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
) -> None:
    """Reads each file as a run would, and says what it holds, what is missing and what is a default."""
    from thermosim import cautions
    from thermosim.cooling.cards import build
    from thermosim.inputs.new import check_file
    from thermosim.story import dress

    talk = Talk(json_, quiet, verbose)
    found = [(str(path), check_file(path, build, _read_case, dress)) for path in files]
    for _, sentences in found:
        if not json_:
            talk.write(sentences[0])
        talk.warnings(sentences[1:])
    talk.write(cautions.one_line())
    talk.wrote([] if picture is None else _draw_week(files, picture, force))
    entries = [{"file": name, "summary": said[0], "warnings": said[1:]} for name, said in found]
    talk.result({"files": entries, "cautions": [cautions.one_line()]})


def _draw_week(files: list[Path], picture: Path, force: bool) -> list[Path]:
    """Draw the hot humid week of the one station file among the files."""
    from thermosim import cautions, look
    from thermosim.cli.writing import Target, check_targets, draw, write_all
    from thermosim.errors import InputError
    from thermosim.inputs.hot_week import hot_humid_week, station_summary, week_series
    from thermosim.inputs.station import is_station, read_station

    found = [path for path in files if path.suffix.lower() == ".csv" and is_station(path)]
    if len(found) != 1:
        problem = f"is asked for with {len(found)} station files, allowed is one"
        raise InputError(problem, field=f"--picture {picture}", remedy="check one station file")
    check_targets(None, [picture], force)
    station = read_station(found[0])
    week = hot_humid_week(station)
    highest = max(week.days, key=lambda day: day.air_high_C)
    said = [
        f"{week.days[0].date} to {week.days[-1].date}: mean wet bulb {week.wet_bulb_C:.1f} °C, "
        f"air up to {highest.air_high_C:.1f} °C, "
        f"mean dew point of a day {min(day.dew_point_C for day in week.days):.0f} to "
        f"{max(day.dew_point_C for day in week.days):.0f} °C"
    ]
    how = "chosen by the highest mean wet bulb of seven days in a row · readings, nothing modelled"
    setting = f"{station_summary(station)} · {how}"

    def page():
        return look.hot_week(week_series(station, week), said, setting, [cautions.one_line()], f"from {found[0].name}")

    return write_all([Target(picture, lambda path: draw(page, path))], force)
