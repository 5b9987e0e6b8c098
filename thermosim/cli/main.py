"""The entry point: commands are registered here; errors become one sentence and an exit code."""

import os
import sys
from typing import Annotated

import typer
from typer.core import TyperGroup

from thermosim.cli import compare, demo, device, evidence, files, hours, ledger, simulate
from thermosim.errors import ThermosimError

INTERRUPTED, OWN_FAULT, REFUSED = 130, 1, 2
EXIT_CODES = (
    "Exit codes: 0 done · 2 input refused, nothing written · 3 refused as a plan · 4 numerical failure or broken "
    "closure · 5 an extra or device is missing · 130 interrupted."
)


class Root(TyperGroup):
    """The list of commands, in plain text: it comes up at once."""

    def format_help(self, ctx, formatter):
        """Write the help without colours and boxes."""
        self.rich_markup_mode = None
        super().format_help(ctx, formatter)


app = typer.Typer(
    name="thermosim", cls=Root, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)  # fmt: skip


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import PackageNotFoundError, version

        try:
            print(f"thermosim {version('thermosim')}")
        except PackageNotFoundError:
            print("thermosim, run from its source")
        raise typer.Exit


@app.callback(invoke_without_command=True, epilog=EXIT_CODES)
def root(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="show the version and stop"),
    ] = False,
) -> None:
    """How a runner makes, moves and loses heat. For education and research; not a medical device.

    Start with `thermosim demo`: it writes an invented scenario and walks through it.
    """
    if context.invoked_subcommand is None:
        print(context.get_help())


for module in (demo, files, ledger, simulate, compare, hours, device, evidence):
    module.register(app)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with its code; no traceback reaches a user."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run the command line; return its exit code after printing one sentence for any error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        outcome = app(arguments, standalone_mode=False, prog_name="thermosim")
        if outcome == INTERRUPTED:  # the parser has caught the interrupt already
            return _fail("Interrupted; nothing is half-written.", INTERRUPTED)
        return outcome if isinstance(outcome, int) else 0  # commands return their result, --help a code
    except ThermosimError as error:
        return _fail(str(error), error.exit_code)
    except (KeyboardInterrupt, typer.Abort):
        return _fail("Interrupted; nothing is half-written.", INTERRUPTED)
    except typer.Exit as exit_request:
        return exit_request.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        if hasattr(error, "format_message"):  # what the parser of the command line says
            return _fail(_one_sentence(error.format_message()), REFUSED)
        if os.environ.get("THERMOSIM_TRACEBACK"):
            raise
        words = _one_sentence(f"{type(error).__name__}: {error}").rstrip(".")
        return _fail(
            f"thermosim met a fault of its own ({words}); please report it with the command and its files "
            "(THERMOSIM_TRACEBACK=1 shows where it was).", OWN_FAULT)  # fmt: skip


def _one_sentence(text: str) -> str:
    text = " ".join(text.split())
    return text.replace(". Did you mean", "; did you mean").rstrip(".?") + "."


def _fail(sentence: str, code: int) -> int:
    print(sentence, file=sys.stderr)
    return code


if __name__ == "__main__":
    main()
