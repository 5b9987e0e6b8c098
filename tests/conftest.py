"""Let tests import the reference solver, which benchmarks share."""

import sys
import tomllib
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))

MISSES = Path(__file__).with_name("known_misses.toml")


def pytest_collection_modifyitems(items):
    """Mark the published statements that the model misses, each with its numbers; one that is met again fails loudly."""
    misses = tomllib.loads(MISSES.read_text(encoding="utf-8"))["missed"]
    for item in items:
        reason = misses.get(item.nodeid.removeprefix("tests/"))
        if reason:
            item.add_marker(pytest.mark.xfail(reason=reason, strict=True))
