"""What a person reads: cautions, sentences, small tables, warnings, progress. Results go to standard output, the rest aside."""

import json
import re
import sys
from contextlib import contextmanager
from typing import Annotated, Any, NamedTuple

import typer

JsonFlag = Annotated[
    bool,
    typer.Option(
        "--json",
        metavar=" ",
        help="one JSON object on standard output, everything else on standard error",
        rich_help_panel="Output",
    ),
]
QuietFlag = Annotated[
    bool,
    typer.Option(
        "--quiet",
        "-q",
        metavar=" ",
        help="shorten the cautions to one line (they never go) and drop warnings and progress",
        rich_help_panel="Output",
    ),
]
VerboseFlag = Annotated[
    bool,
    typer.Option(
        "--verbose", "-v", metavar=" ", help="every default in its own line", rich_help_panel="Output"
    ),
]

_DEFAULT = re.compile(r"^(?:The )?(\w[\w ]*?) is the default, (.+)\.$", re.S)
_UNKNOWN = re.compile(r"^(\w+) is unknown: (.+)\.$")
_ASSUMED = re.compile(r"^the model's default .+ is used$")


class Talk(NamedTuple):
    """How a command talks: where to, and how much."""

    as_json: bool = False
    quiet: bool = False
    verbose: bool = False

    @property
    def paper(self):
        """Console of what a person reads: standard output, or standard error beside a JSON object."""
        return console(error=self.as_json)

    def write(self, text: str = "", style: str | None = None) -> None:
        """Print one paragraph, wrapped at the width of the terminal."""
        self.paper.print(text, style=style, markup=False, highlight=False)

    def cautions(self, lines: list[str], device: bool = False) -> None:
        """Print the cautions, first of all; a quiet run or a JSON run shortens them to one line."""
        from thermosim import cautions

        short = self.quiet or self.as_json
        flags = [line for line in lines if line.startswith((cautions.ADULT_MODEL, cautions.BETA_BLOCKERS))]
        if cautions.WALK_AT_THE_CAP in lines:  # a capped run
            flags.append(cautions.CAP_DOES_NOT_BOUND_CORE)
        for line in [" ".join([cautions.one_line(device), *flags])] if short else _joined(lines):
            self.write(line)
        if not short:
            self.write()

    def warnings(self, sentences: list[str]) -> None:
        """Print the warnings as a list; defaults stand together in one line unless verbose."""
        if self.quiet:
            return
        defaults, others = ([], sentences) if self.verbose else split_defaults(sentences)
        if defaults or others:
            self.write()
        if defaults:
            self.item(", ".join(defaults) + ".", "Defaults used: ")
        for sentence in others:
            self.item(sentence)

    def item(self, text: str, lead: str = "- ") -> None:
        """Print one item of a list, wrapped under itself."""
        self.paper.print(_hanging(lead, text))

    def table(self, columns: list[tuple[str, str]], rows: list[tuple], title: str | None = None) -> None:
        """Print a small table; ``columns`` are (heading, 'left' or 'right')."""
        from rich import box
        from rich.table import Table

        table = Table(
            box=box.SIMPLE_HEAD,
            show_header=any(name for name, _ in columns),
            title=title,
            title_justify="left",
            pad_edge=False,
            padding=(0, 2, 0, 0),
            header_style="bold",
            title_style="bold",
        )
        for name, side in columns:
            table.add_column(
                name, justify="right" if side == "right" else "left", overflow="fold", no_wrap=side == "right"
            )
        for row in rows:
            table.add_row(*(_cell(cell) for cell in row))
        self.paper.print(table)

    def result(self, data: dict[str, Any]) -> None:
        """Print the JSON object, if one is wanted; not-a-number becomes null."""
        if self.as_json:
            print(json.dumps(finite(data), ensure_ascii=False, allow_nan=False), flush=True)

    def wrote(self, paths: list) -> None:
        """Say what was written."""
        for path in paths:
            self.write(f"Wrote {path}")

    @contextmanager
    def progress(self, sentence: str = "running"):
        """Show a spinner on standard error while something runs; yields a function that changes its words."""
        if self.quiet:
            yield lambda text, share=None: None
            return
        if first_compile():
            sentence = "compiling the engine: once after an installation, some tens of seconds"
            if not sys.stderr.isatty():
                print(f"{sentence[0].upper()}{sentence[1:]}.", file=sys.stderr, flush=True)
        with console(error=True).status(sentence) as status:
            yield lambda text, share=None: status.update(text if share is None else f"{text} ({share:.0%})")


def console(error: bool = False):
    """Return a console on standard output or standard error, as they are now."""
    from rich.console import Console

    return Console(file=sys.stderr if error else sys.stdout, highlight=False, soft_wrap=False)


def first_compile() -> bool:
    """Return whether the engine's machine code is not in the cache yet."""
    from pathlib import Path

    import numba

    from thermosim import _jit  # noqa: F401  (sets the folder)

    folder = Path(numba.config.CACHE_DIR)  # type: ignore[attr-defined]
    return not any(folder.rglob("integrate*.nbi"))


def split_defaults(sentences: list[str]) -> tuple[list[str], list[str]]:
    """Return the defaults in short (``age_y 35 y``) and the other sentences in full."""
    defaults, others = [], []
    for sentence in sentences:
        if found := _DEFAULT.match(sentence):
            defaults.append(f"{found[1]} {found[2]}")
        elif found := _UNKNOWN.match(sentence):
            defaults.append(f"{found[1]} unknown" + ("" if _ASSUMED.match(found[2]) else f" ({found[2]})"))
        else:
            others.append(sentence)
    return defaults, others


def finite(value: Any) -> Any:
    """Return plain JSON values: arrays as lists, NaN and infinity as null."""
    if isinstance(value, dict):
        return {str(key): finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    if hasattr(value, "tolist"):
        return finite(value.tolist())
    return (
        None
        if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf")))
        else value
    )


def number(value: float, decimals: int = 1, signed: bool = False) -> str:
    """Return a number with a true minus sign; what rounds to nothing has no sign."""
    text = f"{value:+.{decimals}f}" if signed else f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("+-")
    return text.replace("-", "−")


def _joined(lines: list[str]) -> list[str]:
    """Put the shortest general cautions into one paragraph."""
    from thermosim import cautions

    general = [line for line in lines if line in (cautions.SYMPTOMS_OVERRULE, cautions.PLANNING_ONLY)]
    return (
        [lines[0], " ".join(general), *(line for line in lines[1:] if line not in general)]
        if general
        else lines
    )


def _cell(cell: Any):
    from rich.text import Text

    return Text(str(cell))


def _hanging(lead: str, text: str):
    from rich.table import Table

    grid = Table.grid()
    grid.add_column(no_wrap=True, width=len(lead))
    grid.add_column(overflow="fold")
    grid.add_row(_cell(lead), _cell(text))
    return grid
