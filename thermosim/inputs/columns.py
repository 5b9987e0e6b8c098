"""Delimited text as columns of numbers, every refusal with its line."""

import csv
import math
import re
from dataclasses import dataclass

import numpy as np

from thermosim.errors import InputError
from thermosim.inputs.checks import shown
from thermosim.inputs.files import read_text

NULL_WORDS = ("", "null", "na", "nan")  # compared without case
_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")
_DELIMITERS = ",;\t|"


@dataclass(frozen=True)
class Table:
    """Cells of a delimited file: stripped header names, rows of text, the 1-based line of each row."""

    file: str
    header: list[str]
    rows: list[list[str]]
    lines: list[int]
    header_line: int

    def cells(self, name: str) -> list[str]:
        """Return the stripped cells of the column called ``name``."""
        if self.header.count(name) > 1:
            raise InputError(
                f"stands {self.header.count(name)} times in the header, allowed is once",
                field=shown(name),
                file=self.file,
                line=self.header_line,
                remedy="rename one of the columns",
            )
        position = self.header.index(name)
        return [row[position].strip() for row in self.rows]

    def numbers(self, name: str, field: str | None = None) -> np.ndarray:
        """Return a column as floats; null words become NaN, any other text is refused with its line."""
        cells = self.cells(name)
        return np.array(
            [number(cell, field or name, self.file, line) for cell, line in zip(cells, self.lines)]
        )


def number(cell: str, field: str, file: str, line: int) -> float:
    """Return the number in a cell, NaN for a null word."""
    if cell.lower() in NULL_WORDS:
        return math.nan
    if _NUMBER.fullmatch(cell) and math.isfinite(float(cell)):
        return float(cell)
    remedy = "write a number, or leave the cell empty (null, NA and nan count as empty)"
    if _NUMBER.fullmatch(cell.replace(",", ".", 1)):
        remedy = "use a decimal point, not a comma"
    raise InputError(
        f"is {shown(cell)}, allowed are finite numbers", field=field, file=file, line=line, remedy=remedy
    )


def pace_minutes(cell: str, field: str, file: str, line: int) -> float:
    """Return minutes per km of ``5:03`` or ``5.05``, NaN for a null word."""
    if found := re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])", cell):
        return int(found[1]) + int(found[2]) / 60.0
    return number(cell, field, file, line)


def read_table(path, delimiter: str | None = None, comments: bool = True) -> Table:
    """Read a delimited file with one header line.

    Parameters
    ----------
    path : str or Path
        UTF-8 text.
    delimiter : str, optional
        One character; told from the header when not given.
    comments : bool
        Whether lines that start with ``#`` are skipped (our own sheets have them).
    """
    file = str(path)
    if delimiter is not None and (
        not isinstance(delimiter, str) or len(delimiter) != 1 or delimiter in '\n\r"'
    ):
        problem = f"is {shown(delimiter)}, allowed is one character such as ',' or ';'"
        raise InputError(problem, field="delimiter", remedy="give one character or leave it out")
    kept, lines = [], []
    for line, text in enumerate(read_text(path).split("\n"), start=1):
        if text.strip() and not (comments and text.lstrip().startswith("#")):
            kept.append(text)
            lines.append(line)
    if len(kept) < 2:
        problem = f"has {len(kept)} lines of data, needed are a header and at least one row"
        raise InputError(problem, file=file, remedy="add the rows")
    if delimiter is None:
        delimiter = max(_DELIMITERS, key=kept[0].count)
    header: list[str] = []
    rows, row_lines, last = [], [], 0
    reader = csv.reader(kept, delimiter=delimiter)
    try:
        for row in reader:
            line, last = lines[last], reader.line_num
            if not header:
                header = [name.strip() for name in row]
                continue
            if len(row) != len(header):
                problem = f"has {len(row)} cells, the header has {len(header)}"
                raise InputError(
                    problem, file=file, line=line, remedy="complete the row or mend its delimiters"
                )
            rows.append(row)
            row_lines.append(line)
    except csv.Error as error:
        problem = f"cannot be split into cells ({error})"
        raise InputError(
            problem, file=file, line=lines[min(last, len(lines) - 1)], remedy="mend quotes"
        ) from None
    if not rows:
        raise InputError("has a header but no rows", file=file, line=lines[0], remedy="add the rows")
    return Table(file, header, rows, row_lines, lines[0])


def check_increasing(time_s: np.ndarray, table: Table, field: str) -> None:
    """Refuse a time that is missing, repeats or runs backwards, with the line."""
    for position in range(len(time_s)):
        line = table.lines[position]
        if math.isnan(time_s[position]):
            problem = "is empty, allowed is a time in every row"
            raise InputError(
                problem, field=field, file=table.file, line=line, remedy="cut the row or give its time"
            )
        if position and not time_s[position] > time_s[position - 1]:
            repeats = time_s[position] == time_s[position - 1]
            problem = (
                f"{'repeats' if repeats else 'runs backwards'} ({shown(time_s[position])} s after "
                f"{shown(time_s[position - 1])} s), allowed are times that increase"
            )
            remedy = (
                "cut the repeated row"
                if repeats
                else "sort the rows by time, or split the file where it restarts"
            )
            raise InputError(f"time {problem}", field=f"{field}:", file=table.file, line=line, remedy=remedy)
