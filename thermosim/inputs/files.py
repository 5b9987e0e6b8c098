"""Reading text and TOML with line numbers, and writing without half-written files."""

import os
import re
import shutil
import tomllib
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from thermosim.errors import InputError
from thermosim.inputs.checks import (  # noqa: F401  (the door's checks, offered here too)
    allowed_range,
    check_choice,
    check_flag,
    check_names,
    check_range,
    check_whole,
    missing,
    nearest,
    unknown_name,
)

LARGEST_FILE = 64 * 2**20  # [bytes]


def read_bytes(path) -> bytes:
    """Return the bytes of a regular, non-empty file of at most 64 MiB, else raise one sentence."""
    name = str(path).replace("\0", "\\0").replace("\n", "\\n")
    try:
        there, regular = Path(path).exists(), Path(path).is_file()
        if not there:
            raise InputError("there is no such file", file=name, remedy="check the name and the folder")
        if not regular:
            raise InputError("is a folder or device, not a file", file=name, remedy="name a file")
        size = Path(path).stat().st_size
        if size > LARGEST_FILE:
            problem = f"is {size / 2**20:.0f} MiB, allowed is up to {LARGEST_FILE // 2**20} MiB"
            raise InputError(problem, file=name, remedy="cut the file or thin it out")
        content = Path(path).read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is not valid"
        problem = f"cannot be read ({reason})"
        raise InputError(problem, file=name, remedy="check the name and the permissions") from None
    if not content.strip():
        raise InputError("is empty", file=name, remedy="`thermosim new KIND` writes a commented example")
    return content


def read_text(path) -> str:
    """Return the text of a UTF-8 file with plain line ends; anything else is one :class:`InputError`."""
    content = read_bytes(path)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = f"byte 0x{content[error.start]:02X} is not UTF-8 text, allowed is UTF-8 only"
        raise InputError(problem, file=str(path), line=line, remedy="save the file as UTF-8") from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        raise InputError("is empty", file=str(path), remedy="`thermosim new KIND` writes a commented example")
    return text


_NAME = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED = rf"({_NAME}(?:\s*\.\s*{_NAME})*)"
_HEADER = re.compile(rf"^\s*(\[\[?)\s*{_DOTTED}\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(rf"^\s*{_DOTTED}\s*=")


def _names(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in re.findall(_NAME, dotted))


def locate(text: str) -> dict[tuple, int]:
    """Return key path -> 1-based line of a TOML text, e.g. ``("variant", 1, "name") -> 33``.

    Keys inside inline tables are found at the line of the key that holds them.
    """
    lines: dict[tuple, int] = {}
    counts: dict[tuple, int] = {}
    prefix: tuple = ()
    for number, raw in enumerate(text.split("\n"), start=1):
        if header := _HEADER.match(raw):
            names, prefix = _names(header[2]), ()
            for position, name in enumerate(names):
                prefix += (name,)
                if position == len(names) - 1 and header[1] == "[[":
                    counts[prefix] = counts.get(prefix, -1) + 1
                if prefix in counts:
                    prefix += (counts[prefix],)
            lines.setdefault(prefix, number)
        elif key := _KEY.match(raw):
            lines.setdefault(prefix + _names(key[1]), number)
    return lines


@dataclass(frozen=True)
class Source:
    """Where a table came from: gives errors raised inside :meth:`blame` their file and line."""

    file: str | None = None
    lines: dict[tuple, int] = field(default_factory=dict)
    prefix: tuple = ()

    def under(self, *keys) -> "Source":
        """Return the source of a table inside this one."""
        return replace(self, prefix=self.prefix + keys)

    def line(self, *keys) -> int | None:
        """Return the line of a key, or of the nearest table around it."""
        path = self.prefix + keys
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path)

    @contextmanager
    def blame(self) -> Iterator[None]:
        """Add file and line to an :class:`InputError` that has none; ``a[2].b`` names the second of a."""
        try:
            yield
        except InputError as error:
            if error.file is not None or self.file is None:
                raise
            parts = re.findall(r"[^.\[\]]+", error.field or "")
            keys = tuple(int(part) - 1 if part.isdecimal() else part for part in parts)
            raise InputError(
                error.problem, field=error.field, file=self.file, line=self.line(*keys), remedy=error.remedy
            ) from None


def read_toml(path) -> tuple[dict[str, Any], Source]:
    """Return the table of a TOML file and its :class:`Source`; syntax errors carry the line."""
    text = read_text(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        found = re.search(r"\s*\(at line (\d+), column \d+\)$", message)
        line = int(found[1]) if found else text.count("\n") + 1
        reason = re.sub(r"\s*\(at [^)]*\)$", "", message)
        remedy = 'write `name = value`, text in "quotes", one field a line'
        raise InputError(f"is not valid TOML: {reason}", file=str(path), line=line, remedy=remedy) from None
    except (ValueError, RecursionError):
        problem = "is not valid TOML: a number is too long or tables are nested too deep"
        raise InputError(problem, file=str(path), remedy="simplify the file") from None
    return data, Source(str(path), locate(text))


def write_atomically(path, writer: Callable[[Path], Any], force: bool = False) -> Path:
    """Write a file (or folder) under a temporary name beside ``path``, then rename it.

    Parameters
    ----------
    path : str or Path
        The final name; its ending is kept on the temporary name.
    writer : callable
        Called with the temporary path; writes it.
    force : bool
        Replace what is there already.

    Returns
    -------
    Path
        The final path. When the writer fails, nothing of it is left.
    """
    path = Path(path)
    if path.exists() and not force:
        raise InputError("exists already", file=str(path), remedy="choose another name or add --force")
    if not path.parent.is_dir():
        problem = "cannot be written: its folder does not exist"
        raise InputError(problem, file=str(path), remedy="make the folder first")
    temporary = path.with_name(f".{path.stem}-{uuid.uuid4().hex[:8]}{path.suffix}")
    try:
        writer(temporary)
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        os.replace(temporary, path)
    except OSError as error:
        problem = f"cannot be written ({error.strerror or error})"
        raise InputError(problem, file=str(path), remedy="check the folder and its permissions") from None
    finally:
        if temporary.is_dir():
            shutil.rmtree(temporary, ignore_errors=True)
        else:
            temporary.unlink(missing_ok=True)
    return path
