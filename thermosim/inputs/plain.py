"""Arrays to plain JSON values and back, and comparison by content."""

import json
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """Return a value as JSON can hold it: arrays as lists, NaN as null; floats keep every digit."""
    if isinstance(value, np.ndarray) and value.ndim == 1 and value.dtype == float:
        return [None if item != item else item for item in value.tolist()]
    if isinstance(value, np.ndarray):
        return [plain(item) for item in value.tolist()]
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and value != value else value


def array(values: Any) -> np.ndarray:
    """Return a read-only float array; None becomes NaN."""
    if isinstance(values, (list, tuple)):
        values = [np.nan if item is None else item for item in values]
    result = np.array(values, dtype=float, ndmin=1)
    result.setflags(write=False)
    return result


class SameContent:
    """Equality and hash by content, for records that hold arrays and offer ``to_dict``."""

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and self.to_dict() == other.to_dict()  # type: ignore[attr-defined]

    def __hash__(self) -> int:
        return hash(json.dumps(self.to_dict(), sort_keys=True))  # type: ignore[attr-defined]
