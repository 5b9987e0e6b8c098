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

[bold]JSON keys:[/bold] kind, text, written, cautions."""
CHECK_EPILOG = """\
[bold]Example:[/bold]

thermosim check salt-pans.session.toml P-22.runner.toml race-morning.weather.csv

Kinds are told by their ending: *.session.toml, *.runner.toml, *.weather.csv, *.pace.csv, *.device.toml, *.wear.csv, *.mass.csv, \
*.case.toml, *.gpx.

[bold]JSON keys:[/bold] files (file, summary, warnings), cautions. \
The first file that is refused stops the check with exit code 2."""


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("new", epilog=NEW_EPILOG, short_help="a commented, valid file of one kind")(new)
    app.command("check", epilog=CHECK_EPILOG, short_help="reads files as a run would and says what is wrong")(
        check
    )


def new(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="session, runner, weather, pace, wear, mass, case or device")],
    device: Annotated[
        str, typer.Option("--device", metavar="KIND", help="kind of the device whose card is wanted")
    ] = "ice_collar",
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


def _read_case(path):
    from thermosim.evidence.read_case import read_case

    return read_case(path)


def check(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="files of any of our kinds")],
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
    entries = [{"file": name, "summary": said[0], "warnings": said[1:]} for name, said in found]
    talk.result({"files": entries, "cautions": [cautions.one_line()]})
