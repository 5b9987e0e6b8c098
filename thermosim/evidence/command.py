"""How the commands of this folder (``python -m thermosim.evidence.…``) run and end."""

import sys
from collections.abc import Callable

import typer

from thermosim.errors import ThermosimError


def run_command(command: Callable) -> None:
    """Run a command with the arguments it was called with; a refused input or a failed run is one sentence."""
    try:
        typer.run(command)
    except ThermosimError as error:
        print(error, file=sys.stderr)
        sys.exit(error.exit_code)
