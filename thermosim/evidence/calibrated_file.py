"""The file of calibrated values: rounded, written whole or not at all, readable by people and by ``parameters.py``."""

import hashlib
import json
import os
import re
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

import thermosim.parameters
from thermosim.evidence.free import Free
from thermosim.evidence.least_squares import DETERMINED_SHARE, Fit

FILE = Path(thermosim.parameters.__file__).with_name("calibrated.toml")
CASES = Path(__file__).with_name("cases")
DIGITS, ERROR_DIGITS, CORRELATION_DECIMALS = 4, 3, 3
_HASH = re.compile(r"from case files with SHA-256 ([0-9a-f]+)\.\.\.")


def significant(number: float, digits: int = DIGITS) -> float:
    """Round to significant digits.

    Examples
    --------
    >>> significant(36.94712), significant(0.000123456, 3)
    (36.95, 0.000123)
    """
    return float(f"{number:.{digits - 1}e}")


def rounded_values(free: Sequence[Free], position) -> dict[str, float]:
    """Return each parameter's value at a position of the search, rounded and inside its bounds."""
    values = {}
    for one, place in zip(free, position):
        low, high = one.bounds
        values[one.name] = min(max(significant(one.from_search(place)), low), high)
    return values


def hash_of_cases(folder: Path = CASES) -> str:
    """Return a short hash of the case files that a calibration fits, names and text; those never fitted do not matter."""
    digest = hashlib.sha256()
    for path in sorted(folder.glob("*.case.toml")):
        text = path.read_bytes()
        if tomllib.loads(text.decode("utf-8")).get("role") == "fitted":
            digest.update(path.name.encode() + text)
    return digest.hexdigest()[:16]


def hash_in_file(text: str) -> str:
    """Return the hash of the cases that a file of calibrated values was made from; empty where it has none.

    Examples
    --------
    >>> hash_in_file("# made by `x`, seed 1, at noon, from case files with SHA-256 dfac7b6c82183821...")
    'dfac7b6c82183821'
    """
    found = _HASH.search(text)
    return found.group(1) if found else ""


def outdated(file: Path = FILE, folder: Path = CASES) -> str:
    """Return a sentence where the fitted case files are no longer those of the calibration, else nothing."""
    if not file.is_file():
        return ""
    made_from, now = hash_in_file(file.read_text(encoding="utf-8")), hash_of_cases(folder)
    if made_from == now:
        return ""
    return (
        f"The parameters were calibrated on other case files ({made_from or 'no hash'}) than those of now ({now}): rows called "
        "fitted and left out are not those of a fit to these cases until the calibration is repeated."
    )


def calibration_text(
    free: Sequence[Free],
    fit: Fit,
    values: Mapping[str, float],
    left_out: Mapping[str, Mapping[str, float]],
    *,
    command: str,
    seed: int,
    cases_hash: str,
) -> str:
    """Return the text of the file.

    Parameters
    ----------
    free : sequence of Free
        In the order of the fit's numbers.
    fit : Fit
        Standard errors, correlations and flags.
    values : mapping
        Rounded values by name.
    left_out : mapping
        Study left out -> rounded values by name.
    command, seed, cases_hash
        How the file was made, for its header.
    """
    made = datetime.now(UTC).isoformat(timespec="minutes")
    lines = [
        "# Population parameters calibrated on published experiments. Do not edit: repeat the calibration instead.",
        f"# made by `{command}`, seed {seed}, at {made}, from case files with SHA-256 {cases_hash}...",
        "# standard_error and prior_sd are in the unit of the parameter; on a log scale they are those of the logarithm,",
        "# times the value and times the prior. determined: the standard error, prior included, is below",
        f"# {DETERMINED_SHARE} of the prior's on the scale of the search. left_out: values of a fit without that study.",
    ]
    for k, one in enumerate(free):
        value = values[one.name]
        error = one.error_at(value, float(fit.standard_error[k]))
        lines += [
            "",
            f"[parameters.{one.name}]",
            f"value = {value!r}",
            f"standard_error = {significant(error, ERROR_DIGITS)!r}",
            f"prior = {float(one.prior)!r}",
            f"prior_sd = {significant(one.prior_sd)!r}",
            f'scale = "{one.scale}"',
            f'determined = "{"yes" if fit.determined[k] else "no"}"',
            f'at_bound = "{fit.at_bound[k]}"',
        ]
    rows = [
        "  [" + ", ".join(repr(round(float(r), CORRELATION_DECIMALS) + 0.0) for r in row) + "],"
        for row in fit.correlation
    ]
    names = ["names = [", *(f'  "{one.name}",' for one in free), "]"]
    lines += ["", "[correlation]", *names, "rows = [", *rows, "]"]
    for study, found in left_out.items():
        lines += ["", f"[left_out.{json.dumps(study)}]", *(f"{name} = {found[name]!r}" for name in values)]
    return "\n".join(lines) + "\n"


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that a reader finds the old one or the new one, never a part."""
    handle, beside = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
        os.chmod(beside, 0o644)
        os.replace(beside, path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise
