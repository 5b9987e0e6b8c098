"""What the pages say is so: the device of DEVELOPERS.md runs, its commands work, notebooks execute, doctests exist."""

import doctest
import importlib
import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import thermosim as ts
from thermosim.engine.methods import METHOD_NAMES
from thermosim.engine.plan import METHOD, STEP_S

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def environment(**more) -> dict:
    """Return this process's environment with the project importable."""
    paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), **more}


def python(*arguments, cwd=ROOT, **more):
    """Run this Python; return what it said."""
    run = subprocess.run(
        [sys.executable, *arguments], cwd=cwd, env=environment(**more), capture_output=True, text=True, encoding="utf-8"
    )
    assert run.returncode == 0, run.stdout[-3000:] + run.stderr[-3000:]
    return run.stdout


# --- DEVELOPERS.md -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def own_device(tmp_path_factory):
    """The user's own file of DEVELOPERS.md, cut out and written to disk; what it prints."""
    (code,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    folder = tmp_path_factory.mktemp("own")
    (folder / "my_vest.py").write_text(code, encoding="utf-8")
    return folder, python("my_vest.py", cwd=folder, PYTHONIOENCODING="utf-8")


def test_own_device_in_its_own_file(own_device):
    folder, said = own_device
    kilojoules, coldest = map(float, re.match(r"(\d+) kJ .* ([\d.]+) °C", said).groups())
    # what two pouches of 0.5 kg can take in all: warming to 17, melting, warming to skin temperature
    most = 2 * 0.5 * (2000 * 5 + 180e3 + 2100 * 20) / 1000
    assert 30 < kilojoules < most
    assert 17 < coldest < 33


def test_own_device_keeps_the_books(own_device, monkeypatch):
    folder, _ = own_device
    monkeypatch.syspath_prepend(folder)
    run = importlib.import_module("my_vest").run
    assert list(run.device.values) == ["melting_vest"]
    assert run.attrs["energy_closure_relative"] < 1e-6
    assert run.attrs["device_closure_relative"] < 1e-6
    assert run.attrs["water_closure_kg"] < 1e-9
    on = (run.time > 300) & (run.time < 2100)
    power = run.device_power.sel(side="skin").isel(device=0)
    assert bool((power[on] > 0).all()) and float(abs(power[~on & (run.time < 300)]).max()) == 0.0
    assert float(power[run.time > 2100].max()) == 0.0


def test_pages_of_the_map_exist():
    table = PAGE.partition("## Where things are")[2].partition("##")[0]
    named = re.findall(r"^\| ((?:`[\w/.]+`(?:, )?)+)", table, re.MULTILINE)
    found = [name for cell in named for name in re.findall(r"`([\w/.]+)`", cell)]
    there = {
        path.name + ("/" if path.is_dir() else "") for path in (ROOT / "thermosim").iterdir() if not path.name.startswith("__")
    }
    assert set(found) == there


def test_files_and_names_that_the_page_mentions_exist():
    for path in set(re.findall(r"`((?:tests|benchmarks|engine|physics|physiology|look|inputs|instant)/\w+\.py)", PAGE)):
        assert (ROOT / path).exists() or (ROOT / "thermosim" / path).exists(), path
    dotted = r"`(story|dataset|closure|engine|inputs|cooling|records|nodes)((?:\.\w+)*)\.(?!py`)(\w+)`"
    for first, middle, last in set(re.findall(dotted, PAGE)):
        home = f"engine.{first}" if first in ("records", "nodes") else first
        module = importlib.import_module(f"thermosim.{home}{middle}")
        there = hasattr(module, last) or (ROOT / "thermosim" / home / f"{last}.py").exists()
        assert there, f"{first}{middle}.{last}"


def test_table_of_step_methods_holds_the_choice():
    assert f"| {METHOD_NAMES[METHOD]} | 3 | {STEP_S:g} |" in PAGE
    for row in re.findall(r"^\| (?:heun|rk4|rkc2) .*$", PAGE, re.MULTILINE):
        _, _, _, core, skin, failed, _, verdict = (cell.strip() for cell in row.strip("|").split("|"))
        good = float(core) < 0.005 and float(skin) < 0.05 and failed == "0"
        assert verdict == ("yes" if good else "no"), row


@pytest.mark.slow
def test_run_without_the_compiler_as_the_page_says():
    (line,) = re.findall(r"^NUMBA_DISABLE_JIT=1 python (.*)$", PAGE, re.MULTILINE)
    said = python(*shlex.split(line), "-p", "no:cacheprovider", NUMBA_DISABLE_JIT="1")
    assert re.search(r"100%", said) and "failed" not in said


DIGITS = """
import json, numba, thermosim as ts
run = ts.simulate(
    ts.Runner(mass_kg=54, height_m=1.64), ts.Effort.steady(speed_m_s=3.3, minutes=10),
    ts.Weather.steady(air_temperature_C=31, relative_humidity_pct=75, wind_speed_m_s=0.5, solar_W_m2=300),
    cooling=[ts.cooling.ice_collar(ice_kg=0.25, covered=False, from_min=2)])
names = ("core_temperature", "mean_skin_temperature", "heart_rate", "sweat_loss", "device_store", "tissue_temperature")
print(json.dumps([bool(numba.config.DISABLE_JIT), *(run[name].values[..., :].ravel().tolist() for name in names)]))
"""


@pytest.mark.slow
def test_same_digits_without_the_compiler():
    compiled, plain = (json.loads(python("-c", DIGITS, NUMBA_DISABLE_JIT=off)) for off in ("0", "1"))
    assert (compiled[0], plain[0]) == (False, True), "the switch did nothing"
    for one, other in zip(compiled[1:], plain[1:], strict=True):
        assert len(one) == len(other) > 10
        np.testing.assert_allclose(one, other, rtol=1e-10, atol=1e-10)


# --- doctests ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["air", "convection", "radiation", "evaporation", "respiration", "clothing", "water_ice"])
def test_compiled_laws_have_doctests_that_are_found(name):
    """``pytest --doctest-modules`` sees through the compiler; without this a law's example could go unread."""
    found = doctest.DocTestFinder(exclude_empty=True).find(importlib.import_module(f"thermosim.physics.{name}"))
    assert [test for test in found if test.examples]


# --- notebooks -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_kept_without_outputs(path):
    book = json.loads(path.read_text(encoding="utf-8"))
    code = [cell for cell in book["cells"] if cell["cell_type"] == "code"]
    assert code and not any(cell["outputs"] or cell["execution_count"] for cell in code)
    assert "not medical advice" in path.read_text(encoding="utf-8") or "cautions.for_result" in path.read_text(encoding="utf-8")


def test_there_are_notebooks():
    assert {path.stem for path in NOTEBOOKS} == {"collar", "ledger-by-hand"}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path):
    """Each in a kernel of its own, from its own folder, by the notebook plug-in."""
    pytest.importorskip("nbmake", reason="the notebook plug-in of the test extra is not installed")
    python("-m", "pytest", "--nbmake", "--nbmake-timeout=120", "-p", "no:cacheprovider", str(path))


def test_public_names_that_notebooks_use_are_promised():
    for path in NOTEBOOKS:
        used = set(re.findall(r"\bts\.(\w+)", path.read_text(encoding="utf-8")))
        assert used and used <= set(ts.__all__), path.name
