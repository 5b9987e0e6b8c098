"""Which step method? Error and time of each, worst of many varied three-hour runs, against a tiny-step reference.

Run: ``python benchmarks/step_methods.py [cases]``. Targets: core 0.005 K, skin 0.05 K.
"""

import sys
import time

import numpy as np
from cases import varied_cases

from thermosim.engine import run as engine
from thermosim.engine.integrate import D_CORE, D_SKIN
from thermosim.engine.methods import HEUN, METHOD_NAMES, RK4, RKC2

CORE_TARGET_K, SKIN_TARGET_K = 0.005, 0.05
CANDIDATES = [(HEUN, 2, 5.0), (HEUN, 2, 7.5), (RK4, 4, 7.5), (RK4, 4, 10.0), (RKC2, 3, 10.0), (RKC2, 3, 12.0), (RKC2, 4, 12.0),
              (RKC2, 3, 15.0), (RKC2, 4, 15.0),
              (RKC2, 4, 20.0), (RKC2, 5, 20.0), (RKC2, 5, 30.0), (RKC2, 6, 30.0)]


def samples(case, method, stages, step_s, times):
    return engine.run(*case[:4], times, start=case.start, method=method, stages=stages, step_s=step_s)


def compare_methods(cases, times):
    """Yield (name, stages, step, worst core error, worst skin error, failed runs, seconds a run).

    Runs in which the reference too ends, because the body left what the model can describe, are left out.
    """
    exact = [samples(case, RK4, 4, 1.0, times) for case in cases]
    cases = [case for case, one in zip(cases, exact, strict=True) if not one.status]
    exact = [one for one in exact if not one.status]
    for method, stages, step_s in CANDIDATES:
        core = skin = 0.0
        failed = 0
        begun = time.perf_counter()
        found = [samples(case, method, stages, step_s, times) for case in cases]
        seconds = (time.perf_counter() - begun) / len(cases)
        for one, reference in zip(found, exact, strict=True):
            if one.status:
                failed += 1
                continue
            difference = np.abs(one.diagnostics - reference.diagnostics)
            core, skin = max(core, difference[:, D_CORE].max()), max(skin, difference[:, D_SKIN].max())
        yield METHOD_NAMES[method], stages, step_s, core, skin, failed, seconds


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 64
    cases, times = varied_cases(count), np.arange(0.0, 10801.0, 300.0)
    samples(cases[0], RKC2, 3, 12.0, times)
    print(f"{count} varied three-hour runs; worst error against RK4 at 1 s; time a run with a sample each 5 min")
    print("| method | stages | longest step, s | core, K | skin, K | failed | ms a run | meets the target |")
    print("|---|---|---|---|---|---|---|---|")
    for name, stages, step_s, core, skin, failed, seconds in compare_methods(cases, times):
        good = failed == 0 and core < CORE_TARGET_K and skin < SKIN_TARGET_K
        cells = [name, stages, f"{step_s:g}", f"{core:.1e}", f"{skin:.1e}", failed, f"{1e3 * seconds:.2f}"]
        print("|", *(f"{cell} |" for cell in [*cells, "yes" if good else "no"]))
