"""The one compile decorator.

Every compiled function of the package goes through :func:`compiled` (scalar laws, kernels) or
:func:`compiled_parallel` (the batch loop). The cache folder carries a hash of the package source, because
numba's own cache does not notice when a callee in another file changes.
"""

import hashlib
import os
from pathlib import Path

import numba

_PACKAGE = Path(__file__).resolve().parent
_COMPILED_FOLDERS = ("engine", "physics", "physiology", "cooling")


def source_hash() -> str:
    """Return a short hash of all source that compiled code can come from."""
    digest = hashlib.sha256(numba.__version__.encode())
    files = [_PACKAGE / "constants.py", _PACKAGE / "parameters.py", _PACKAGE / "_jit.py"]
    for folder in _COMPILED_FOLDERS:
        files += sorted((_PACKAGE / folder).glob("*.py"))
    for file in files:
        if file.exists():
            digest.update(file.name.encode())
            digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def _cache_folder() -> Path:
    home = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(home) / "thermosim" / source_hash()


if not os.environ.get("NUMBA_CACHE_DIR"):
    numba.config.CACHE_DIR = str(_cache_folder())

# Reassociation and contraction let the loops over segments vectorise; NaN and infinity keep their meaning,
# because the engine tests for them.
_FAST = {"contract", "reassoc", "nsz", "arcp"}

compiled = numba.njit(cache=True, error_model="numpy", fastmath=_FAST, nogil=True)
compiled_parallel = numba.njit(cache=True, error_model="numpy", fastmath=_FAST, parallel=True, nogil=True)


def fold(function):
    """Return a function compiled so that the compiler folds it into its caller.

    For the few calls inside the time loop: passing a dozen arrays costs a quarter of an evaluation of the balance.
    """
    plain = getattr(function, "py_func", function)
    return numba.njit(cache=True, error_model="numpy", fastmath=_FAST, nogil=True, forceinline=True)(plain)
