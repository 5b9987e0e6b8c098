"""thermosim: how a runner makes, moves and loses heat.

Education and research only; not a medical device. Modelled core is not measured core.
"""

import importlib

_HOMES = {
    "Runner": "thermosim.inputs.runner",
    "Weather": "thermosim.inputs.weather",
    "Effort": "thermosim.inputs.effort",
    "Course": "thermosim.inputs.course",
    "Session": "thermosim.inputs.session",
    "Recording": "thermosim.inputs.recordings",
    "simulate": "thermosim.story",
    "simulate_session": "thermosim.story",
    "ledger": "thermosim.instant.books",
    "ledger_of_run": "thermosim.instant.books",
    "compare": "thermosim.study.compare",
    "InputError": "thermosim.errors",
    "NumericalFailure": "thermosim.errors",
    "ThermosimError": "thermosim.errors",
}
_MODULES = ("cooling", "look", "parameters", "variables", "physics", "physiology")
__all__ = [*_HOMES, *_MODULES]


def __getattr__(name):
    """Load public names on first use, so that importing the package costs nothing."""
    if name in _HOMES:
        value = getattr(importlib.import_module(_HOMES[name]), name)
        globals()[name] = value
        return value
    if name in _MODULES:
        return importlib.import_module(f"thermosim.{name}")
    raise AttributeError(f"module 'thermosim' has no attribute {name!r}")


def __dir__():
    """Return the public names."""
    return sorted(__all__)
