"""``thermosim demo``: writes the invented scenario's files and walks through the main job on them."""

import contextlib
import sys
from pathlib import Path
from typing import Annotated

import typer

from thermosim.cli.terminal import JsonFlag, Talk

EPILOG = """\
[bold]Example:[/bold]

thermosim demo --into my-first-look

Each step is an ordinary command, shown before it runs, so that it can be run again by hand.

[bold]JSON keys:[/bold] folder, files, pictures, answer, cautions."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo", epilog=EPILOG, short_help="writes an invented scenario and walks through it")(
        _command_of(app)
    )


def _command_of(app: typer.Typer):
    def demo(
        into: Annotated[
            Path,
            typer.Option("--into", metavar="FOLDER", help="where the files go", rich_help_panel="Output"),
        ] = Path("thermosim-demo"),
        force: Annotated[
            bool,
            typer.Option(
                "--force", metavar=" ", help="replace an earlier demo folder", rich_help_panel="Output"
            ),
        ] = False,
        json_: JsonFlag = False,
    ) -> dict:
        """Writes the files of an invented scenario and walks through the main job on them, in half a minute.

        A runner rehearses a salt-pan causeway on a humid morning: where does the heat go, when is the limit met, is ice worth it?
        """
        from thermosim import cautions
        from thermosim.cli.demo_files import PICTURES, TEXTS

        talk = Talk(json_)
        _write_files(talk, into, force)
        with contextlib.redirect_stdout(sys.stderr) if json_ else contextlib.nullcontext():
            answer = _walk(app, talk, into)
        pictures = [str(into / name) for name in PICTURES]
        _end(talk, answer, pictures)
        talk.result({"folder": str(into), "files": [str(into / name) for name in TEXTS], "pictures": pictures, "answer": answer,
                     "cautions": [cautions.one_line(device=True)]})  # fmt: skip
        return {}

    return demo


def _write_files(talk: Talk, into: Path, force: bool) -> None:
    from thermosim.cli.demo_files import NAMES, write_files
    from thermosim.cli.writing import check_replaceable
    from thermosim.inputs.files import write_atomically

    if into.is_dir() and force:
        check_replaceable(into, NAMES)
    with talk.progress("writing the scenario"):
        write_atomically(into, write_files, force)
    talk.write(
        f"Wrote the invented scenario into {into}: runners P-17 and P-22, a race morning on Ostrevane, two sessions."
    )


def _steps(into: Path) -> list[tuple[str, list[str]]]:
    session, recorded = str(into / "salt-pans.session.toml"), str(into / "salt-pans-recorded.session.toml")
    return [
        ("1. Where does the heat go, at minute 20? (the ledger of one instant)",
         ["ledger", session, "--at-min", "20", "--skin-temperature-C", "35", "--quiet", "--picture", str(into / "ledger.png")]),
        ("2. What happens to this runner, and does the model's heart rate follow the recorded one? (one run, no device)",
         ["simulate", recorded, "--picture", str(into / "run-overview.png")]),
        ("3. Which terms carry the heat, minute by minute, with the covered collar on?",
         ["simulate", session, "--variant", "covered collar", "--quiet", "--ledger-picture", str(into / "ledger-over-time.png")]),
        ("4. Is the ice worth it? (the same drawn runners with each variant)",
         ["compare", session, "--quiet", "--picture", str(into / "compare.png")]),
    ]  # fmt: skip


def _walk(app: typer.Typer, talk: Talk, into: Path) -> str:
    from thermosim.cli.compare import answer

    for question, arguments in _steps(into):
        talk.write()
        talk.write(question, style="bold")
        talk.write("$ thermosim " + " ".join(f'"{one}"' if " " in one else one for one in arguments))
        talk.write()
        result = app(arguments, standalone_mode=False, prog_name="thermosim")
        if isinstance(result, int):  # interrupted
            raise typer.Exit(result)
    return answer(result)


def _end(talk: Talk, answer: str, pictures: list[str]) -> None:
    talk.write()
    talk.write(answer, style="bold")
    talk.write("Pictures: " + ", ".join(pictures))
    talk.write("Everything above is invented; next: thermosim new session --out my.session.toml")
