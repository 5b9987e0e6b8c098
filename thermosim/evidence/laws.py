"""Formulas and constants of the package called by name, to check them against published values."""

import importlib
import inspect
import math
import numbers
import re
from collections.abc import Callable
from typing import Any

from thermosim.errors import InputError
from thermosim.evidence.case_fields import LAW_HOMES
from thermosim.inputs.checks import nearest, shown
from thermosim.parameters import value
from thermosim.physiology.body import build_body

# Numbers of the package that no function of its own returns alone; each is defined below.
OWN_CHECKS = (f"{__name__}.mean_specific_heat",)
_DOTTED = re.compile(r"[A-Za-z]\w*(\.[A-Za-z]\w*)+", re.ASCII)


def find_law(name: str) -> Callable | float:
    """Return the public function or number of a dotted name.

    Only names inside ``thermosim.physics``, ``thermosim.physiology``, ``thermosim.constants`` and
    ``thermosim.instant`` are looked up, and those of :data:`OWN_CHECKS`.

    Examples
    --------
    >>> find_law("thermosim.constants.CLO")
    0.155
    """
    if not _DOTTED.fullmatch(name) or not _at_home(name):
        problem = f"is {shown(name)}, allowed are names inside {', '.join(LAW_HOMES)}"
        raise InputError(problem, field="function", remedy="write e.g. thermosim.physics.convection.forced_convection")
    module_name, _, last = name.rpartition(".")
    try:
        module = importlib.import_module(module_name)
    except ImportError:
        problem = f"is {shown(name)}, but there is no module {module_name}"
        raise InputError(problem, field="function", remedy="check the part before the last dot") from None
    found: Any = getattr(module, last, None)
    if not _is_law(found):
        close = nearest(last, [key for key, value in vars(module).items() if _is_law(value) and not key.startswith("_")])
        remedy = f"did you mean {module_name}.{close}" if close else f"see the functions of {module_name}"
        problem = f"is {shown(name)}, but {module_name} has no such function or number"
        raise InputError(problem, field="function", remedy=remedy)
    return found


def _at_home(name: str) -> bool:
    return name in OWN_CHECKS or any(name.startswith(f"{home}.") for home in LAW_HOMES)


def mean_specific_heat(mass_kg: float, height_m: float, body_fat_pct: float) -> float:
    """Return the specific heat [kJ/kgK] of a whole body: its tissues' heat capacities over its mass.

    References
    ----------
    Handbooks 3.47 to 3.49; ISO 7933 storage constant 57.83 W·min/(kg·K), from memory. Tissues: ``parameters.py``.

    Examples
    --------
    >>> lean, fat = mean_specific_heat(70.0, 1.75, 8.0), mean_specific_heat(70.0, 1.75, 30.0)
    >>> 3.2 < fat < lean < 3.7
    True
    """
    body = build_body(mass_kg, height_m, body_fat_pct, value("conduction_factor"))
    return body.total_capacity_J_K / mass_kg / 1000.0


def _is_law(thing: Any) -> bool:
    if isinstance(thing, numbers.Real) and not isinstance(thing, bool):
        return True
    home = getattr(thing, "__module__", "")
    named = f"{home}.{getattr(thing, '__name__', '')}"
    return callable(thing) and _at_home(named) and not isinstance(thing, type)


def check_law(law: Any) -> None:
    """Refuse a law whose function is not there, or does not take these arguments; nothing is computed."""
    found = find_law(law.function)
    if not callable(found):
        if law.arguments:
            problem = f"are given, but {law.function} is a number, allowed are none"
            raise InputError(problem, field="arguments", remedy="remove arguments")
        return
    signature = inspect.signature(getattr(found, "py_func", found))
    positional, named = _split(law.arguments)
    try:
        signature.bind(*positional, **named)
    except TypeError as error:
        problem = f"do not fit {law.function}{signature}: {error}"
        raise InputError(problem, field="arguments", remedy="give one number for each argument") from None


def _split(arguments: tuple[float, ...] | dict[str, float]) -> tuple[tuple[float, ...], dict[str, float]]:
    return ((), arguments) if isinstance(arguments, dict) else (arguments, {})


def evaluate(law: Any, file: str | None = None) -> float:
    """Return result times scale of a law.

    Parameters
    ----------
    law : Law
    file : str, optional
        File to name in an error.

    Raises
    ------
    InputError
        No such function, other arguments, or a result that is not one finite number.
    """
    check_law(law)
    found = find_law(law.function)
    try:
        result = found(*_split(law.arguments)[0], **_split(law.arguments)[1]) if callable(found) else found
    except Exception as error:
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        problem = f"cannot be used with {law.function} ({reason})"
        raise InputError(problem, field="arguments", file=file, remedy="correct the arguments") from None
    if isinstance(result, bool) or not isinstance(result, numbers.Real) or not math.isfinite(result):
        problem = f"gives {shown(result)}, needed is one finite number"
        raise InputError(problem, field=law.function, file=file, remedy="choose another function or other arguments")
    return float(result) * law.scale
