"""Figures. Each page answers one question from a Dataset or a result; nothing here simulates.

The functions load matplotlib when first used, so that importing the package stays cheap.
"""

from importlib import import_module

_HOME = {
    "run_overview": "run_page",
    "ledger_over_time": "ledger_page",
    "compare_page": "compare",
    "compare_course_page": "compare_course",
    "course_strip": "course_strip_page",
    "instant_ledger": "instant_page",
    "draw_hours": "hours_page",
    "hot_week": "hot_week_page",
    "draw_evidence": "evidence_page",
    "save": "page",
    "alternative_text": "page",
}

__all__ = list(_HOME)


def __getattr__(name):
    """Load a page function on first use."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    function = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = function
    return function


def __dir__():
    return sorted(__all__)
