"""The shape of the package: who may import whom, what is documented, which words and numbers stand where."""

import ast
import hashlib
import math
import re
import subprocess
import sys
from collections import defaultdict
from fnmatch import fnmatch
from pathlib import Path

import pytest

import thermosim
from thermosim.parameters import CLOTHING, PARAMETERS, RESTING_MUSCLE_SHARE, SEGMENT_TABLE, SEGMENTS
from thermosim.variables import INPUTS, OUTPUTS

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "thermosim"
LONGEST_MODULE, LONGEST_IMPORT_S = 500, 0.2

# --- what there is -------------------------------------------------------------------------------------------------


def name_of(path: Path) -> str:
    """Return the dotted name of a module from its path, e.g. ``thermosim.engine`` for its ``__init__.py``."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


PATHS = {name_of(path): path for path in sorted(PACKAGE.rglob("*.py"))}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in PATHS.items()}


def home(module: str) -> str:
    """Return the folder, or the top-level file, that a module belongs to: ``engine``, ``story``."""
    return module.split(".")[1] if "." in module else module


def imported(module: str):
    """Yield the dotted names that a module imports anywhere in its text, functions included."""
    path = PATHS[module]
    folder = module if path.name == "__init__.py" else module.rpartition(".")[0]
    for node in ast.walk(TREES[module]):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                kept = folder.split(".")[: len(folder.split(".")) - node.level + 1]
                base = ".".join([*kept, *filter(None, [node.module])])
            for alias in node.names:
                submodule = f"{base}.{alias.name}"
                yield submodule if submodule in PATHS else base


# --- who may import whom -------------------------------------------------------------------------------------------

BASE = {"constants", "variables", "parameters", "ranges", "errors", "cautions", "clock", "_jit"}
LAWS = {"physics", "physiology"}
RECORDS = {"engine.records", "engine.nodes"}
RESULTS = {"dataset", "closure", "run_warnings"}
# Folder or top-level file -> what of the package it may import ("engine.records" is that module alone).
MAY_IMPORT = {
    **dict.fromkeys(BASE, set()),
    "thermosim": set(),
    "physics": {"constants", "_jit"},
    "physiology": {"physics", "parameters", "constants", "_jit"},
    "engine": {*LAWS, "parameters", "constants", "_jit", "errors"},  # parameters: not in kernels, see below
    "cooling": {"physics", "parameters", "variables", "constants", "errors", "clock", *RECORDS},
    "inputs": {*LAWS, "parameters", "variables", "ranges", "constants", "errors", "clock", *RECORDS},
    "closure": {"constants", "engine"},
    "run_warnings": {*BASE, *LAWS, "engine", "closure"},
    "dataset": {*BASE, *LAWS, "engine", "closure", "run_warnings"},
    "turns": {*BASE, *LAWS, "engine", "cooling", "inputs"},
    "story": {*BASE, *LAWS, "engine", "cooling", "inputs", *RESULTS, "turns"},
    "instant": {*BASE, *LAWS, "inputs", "cooling", "engine", *RESULTS},
    "study": {*BASE, *LAWS, "engine", "cooling", "inputs", *RESULTS, "turns", "story", "instant"},
    "evidence": {*BASE, *LAWS, "engine", "cooling", "inputs", *RESULTS, "story", "study", "look"},
    "look": {"variables", "cautions", "clock"},
    "cli": {
        *BASE, *LAWS, "engine", "cooling", "inputs", *RESULTS, "story", "instant", "study", "evidence", "look", "thermosim",
    },  # fmt: skip
}
# Outside the package and the standard library; what is not named here may import any of the dependencies.
OUTSIDE = {
    **dict.fromkeys(BASE - {"_jit"}, set()),
    "thermosim": set(),
    "ranges": {"numpy"},
    "closure": {"numpy"},
    "run_warnings": {"numpy"},
    "_jit": {"numba"},
    "physics": set(),
    "physiology": {"numpy"},
    "engine": {"numpy", "numba"},
    "cooling": {"numpy"},
    "dataset": {"numpy", "xarray"},
    "turns": {"numpy"},
    "story": {"numpy"},
    "look": {"numpy", "matplotlib", "xarray"},
}


def test_every_folder_has_a_rule():
    assert {home(module) for module in PATHS} == set(MAY_IMPORT)


@pytest.mark.parametrize("folder", sorted(MAY_IMPORT))
def test_imports_go_one_way(folder):
    wrong = []
    for module in (module for module in PATHS if home(module) == folder):
        for target in imported(module):
            if target.partition(".")[0] == "thermosim":
                inner = target.partition(".")[2] or "thermosim"
                allowed = MAY_IMPORT[folder] | {folder}
                if inner not in allowed and inner.partition(".")[0] not in allowed:
                    wrong.append(f"{module} imports {target}")
            elif folder in OUTSIDE:
                library = target.partition(".")[0]
                if library not in OUTSIDE[folder] and library not in sys.stdlib_module_names:
                    wrong.append(f"{module} imports {library}")
    assert not wrong, wrong


def test_the_rule_sees_imports_inside_functions():
    """The check above is worth something: ``scipy`` is imported inside a function of ``instant``, and found."""
    found = {target.partition(".")[0] for module in PATHS if home(module) == "instant" for target in imported(module)}
    assert "scipy" in found


def test_private_names_stay_in_their_module():
    taken = [
        f"{module} imports {node.module}.{alias.name}"
        for module, tree in TREES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if alias.name.startswith("_") and f"thermosim.{alias.name}" not in PATHS
    ]
    assert not taken, taken


def test_no_circle_between_folders():
    after = defaultdict(set)
    for module in PATHS:
        for target in imported(module):
            if target.startswith("thermosim.") and home(target) != home(module):
                after[home(module)].add(home(target))
    done = set()

    def visit(folder, way):
        assert folder not in way, " -> ".join([*way, folder])
        if folder not in done:
            for further in after[folder]:
                visit(further, [*way, folder])
            done.add(folder)

    for folder in list(after):
        visit(folder, [])


def test_kernels_read_no_parameter_table():
    """Numbers of a person reach compiled code by the RUNNER record only, or an ensemble could not vary them."""
    compiled = [
        module
        for module, tree in TREES.items()
        if home(module) == "engine"
        and any(isinstance(node, ast.Name) and node.id.startswith("compiled") for node in ast.walk(tree))
    ]
    assert "thermosim.engine.balance" in compiled
    assert not [module for module in compiled if "thermosim.parameters" in set(imported(module))]


def test_engine_knows_no_device_by_name():
    devices = {  # the modules with a device card
        module.rpartition(".")[2]
        for module, tree in TREES.items()
        if home(module) == "cooling"
        and any(isinstance(node, ast.AnnAssign) and getattr(node.target, "id", "") == "CARD" for node in tree.body)
    }
    assert devices, "no device found, so this test would prove nothing"
    words = devices | {word for name in devices for word in name.split("_")} - {"ice"}  # ice is a law of physics
    for folder in ("engine", "physics", "physiology"):
        for path in (PACKAGE / folder).glob("*.py"):
            text = path.read_text(encoding="utf-8").lower()
            assert not [word for word in words if re.search(rf"\b{word}\b", text)], path.name


def test_look_runs_nothing():
    """Plots never simulate: no page calls a function of that name."""
    for module, tree in TREES.items():
        if home(module) == "look":
            called = {node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
            assert not called & {"simulate", "simulate_session", "compare", "ledger", "run", "run_batch"}, module


# --- the tables ----------------------------------------------------------------------------------------------------

CONFIDENCE = {"high", "medium", "low"}


@pytest.mark.parametrize("name", [*PARAMETERS, "RESTING_MUSCLE_SHARE"])
def test_parameter_rows(name):
    p = PARAMETERS.get(name, RESTING_MUSCLE_SHARE)
    assert all(map(math.isfinite, (p.value, p.low, p.high, p.sd)))
    assert p.low <= p.value <= p.high and p.low < p.high
    assert 0.0 <= p.sd <= p.high - p.low
    assert p.unit.strip() and len(p.source.strip()) > 5
    assert p.confidence in CONFIDENCE


def test_device_cards():
    from thermosim.cooling.collars import CARD

    for name, p in CARD.items():
        assert p.low <= p.value <= p.high and p.sd >= 0.0, name
        assert p.unit and p.source and p.confidence in CONFIDENCE, name


def test_segment_table():
    for name, (numbers, source, confidence) in SEGMENT_TABLE.items():
        assert len(numbers) == len(SEGMENTS) and min(numbers) >= 0.0, name
        assert len(source) > 5 and confidence in CONFIDENCE, name
        if name in ("area_share", "mass_share", "exercise_share"):
            assert sum(numbers) == pytest.approx(1.0, abs=1e-9), name
    resting = sum(SEGMENT_TABLE["resting_core_share"][0]) + RESTING_MUSCLE_SHARE.value
    assert 0.9 < resting < 1.0  # skin has the rest
    for name, (covered, dry_clo, vapour_m2Pa_W, words) in CLOTHING.items():
        assert len(covered) == len(SEGMENTS) and 0.0 <= min(covered) <= max(covered) <= 1.0, name
        assert dry_clo >= 0.0 and vapour_m2Pa_W >= 0.0 and words, name


def names_read() -> set[str]:
    """Return what is read by attribute or by string (``*`` for the gaps of an f-string), outside the tables of names."""
    found = set()
    for module, tree in TREES.items():
        if module in ("thermosim.parameters", "thermosim.engine.records", "thermosim.variables"):
            continue
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
                found.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
            elif isinstance(node, ast.JoinedStr):
                found.add("".join(part.value if isinstance(part, ast.Constant) else "*" for part in node.values))
    return found


def test_every_number_is_used():
    used = names_read()
    composed = [entry for entry in used if re.fullmatch(r"\w{8,}\*\w*", entry)]
    unread = [name for name in PARAMETERS if name not in used and not any(fnmatch(name, entry) for entry in composed)]
    assert not unread, "parameters that nothing reads"
    assert not sorted(set(SEGMENT_TABLE) - used), "columns that nothing reads"


def test_glossary():
    for name, v in {**INPUTS, **OUTPUTS}.items():
        assert v.unit and v.long_name and v.low < v.high, name
    assert len({v.long_name for v in OUTPUTS.values()}) == len(OUTPUTS), "two outputs share a label"


# --- text ----------------------------------------------------------------------------------------------------------


def public_definitions(module):
    """Yield (node, name) of public functions, classes and their public methods."""
    for node in TREES[module].body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node, node.name
            for inner in node.body if isinstance(node, ast.ClassDef) else ():
                if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                    yield inner, f"{node.name}.{inner.name}"


@pytest.mark.parametrize("module", PATHS)
def test_docstrings_and_length(module):
    assert ast.get_docstring(TREES[module]), "the module has no docstring"
    bare = [name for node, name in public_definitions(module) if not ast.get_docstring(node)]
    assert not bare, f"without a docstring: {bare}"
    lines = len(PATHS[module].read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST_MODULE, f"{lines} lines"


@pytest.mark.parametrize("module", [module for module in PATHS if home(module) in ("physics", "physiology")])
def test_laws_state_units(module):
    """A law says in square brackets what goes in and out."""
    for node, name in public_definitions(module):
        if isinstance(node, ast.FunctionDef) and node.decorator_list:
            text = ast.get_docstring(node)
            assert "[" in text or name in ("exponential", "gait_of"), name  # these two have no unit


def texts():
    """Yield (place, text) of all that people can read: strings of the package, examples, notebooks, pages."""
    for module, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield f"{module}:{node.lineno}", node.value
    for path in [*ROOT.glob("examples/*"), *ROOT.glob("notebooks/*.ipynb"), ROOT / "README.md", ROOT / "DEVELOPERS.md"]:
        if path.is_file():
            yield path.name, path.read_text(encoding="utf-8")


def files():
    """Yield every text file of the project that could be handed on."""
    for pattern in ("*.md", "*.toml", ".ci/*", "thermosim/**/*.py", "tests/**/*", "examples/*", "notebooks/*", "benchmarks/*"):
        for path in ROOT.glob(pattern):
            if path.is_file() and path.suffix not in (".pyc", ".nc", ".png", ".svg") and "__pycache__" not in path.parts:
                yield path


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8", errors="replace")


FORBIDDEN = re.compile(r"\b(safe|safely|ok to run|cleared to)\b", re.IGNORECASE)
NEGATED = re.compile(r"(never|not|no)\b[^.]{0,40}[\"'“*`]*safe", re.IGNORECASE)


def test_nothing_is_called_safe():
    said = [place for place, text in texts() if FORBIDDEN.search(NEGATED.sub("", text))]
    assert not said, said
    assert FORBIDDEN.search("this is Safe.") and not FORBIDDEN.search("safety")


def test_no_path_of_a_machine():
    folders = re.compile("|".join(f"/{name}/" for name in ("work", "tmp", "root", "home", "Users")) + r"|[A-Z]:\\Users")
    assert not [path.name for path in files() if path != Path(__file__) and folders.search(text_of(path))]


# Makers of watches, shoes, drinks and training logs, as hashes, so that not even this file names them.
BRANDS = frozenset((
    "01d802816552 08bb42a30ca5 0e4b37a6aff9 125db9d1db55 1601f6b3d4d0 1762ba305475 1e161a85f1c9 2338bd42b77c "
    "2c22e84626c9 344c96b185c3 358ff2a98f59 366bad4ba304 3be9f1144641 3e82ba03f21c 47559c8ea622 4f7329d42fb0 "
    "56cf9d5af5b0 5dd95c98aff2 737a0769787e 84337002f301 935e849e33f6 aa5af52e3429 c25825a1239e e396d82013ad "
    "ec8dd484a005 f4e12479bd37"
).split())


def hashed(word: str) -> str:
    return hashlib.sha256(word.encode()).hexdigest()[:12]


def test_no_brand_and_no_real_person():
    marks = "\N{REGISTERED SIGN}", "\N{TRADE MARK SIGN}"
    for path in files():
        if path == Path(__file__):
            continue
        text = text_of(path)
        assert not [mark for mark in marks if mark in text], path.name
        assert not {hashed(word) for word in set(re.findall(r"[a-z]{4,}", text.lower()))} & BRANDS, path.name
    named = re.compile(r"^\s*name\s*=\s*\"(.+)\"", re.MULTILINE)
    for path in (ROOT / "examples").glob("*.runner.toml"):
        for name in named.findall(path.read_text(encoding="utf-8")):
            assert re.fullmatch(r"P-\d\d", name), f"{path.name} names {name}"


# --- the public face -----------------------------------------------------------------------------------------------


def test_no_module_shares_a_public_name():
    """``thermosim.ledger`` is a function; a module of that name in the same folder would hide it."""
    modules = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()}
    functions = set(thermosim._HOMES)
    assert not modules & functions
    assert set(thermosim._MODULES) <= modules


def test_public_names_are_what_they_say_after_everything_is_loaded():
    code = (
        "import importlib, types, thermosim\n"
        f"for name in {[m for m in PATHS if not m.endswith('__main__')]!r}: importlib.import_module(name)\n"
        "for folder in (thermosim, thermosim.cooling, thermosim.look):\n"
        "    for name in folder.__all__:\n"
        "        thing = getattr(folder, name)\n"
        "        wanted = folder is thermosim and name in thermosim._MODULES\n"
        "        assert isinstance(thing, types.ModuleType) == wanted, name\n"
        "assert not set(thermosim.__all__) - set(dir(thermosim))\n"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert run.returncode == 0, run.stderr


def test_importing_costs_nothing():
    code = (
        "import time; begun = time.perf_counter(); import thermosim; seconds = time.perf_counter() - begun\n"
        "import sys; heavy = {'numba', 'numpy', 'scipy', 'xarray', 'pandas', 'matplotlib', 'pydantic'} & set(sys.modules)\n"
        "print(seconds, *heavy)"
    )
    tries = [
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split()
        for _ in range(3)
    ]
    assert not tries[0][1:], tries[0][1:]
    assert min(float(found[0]) for found in tries) < LONGEST_IMPORT_S


def test_ruff():
    folders = ["thermosim", "tests", "benchmarks", "examples", "notebooks"]
    command = [sys.executable, "-m", "ruff", "check", "--no-cache", *folders]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert run.returncode == 0, run.stdout + run.stderr
