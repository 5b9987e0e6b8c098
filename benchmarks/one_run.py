"""One three-hour run, warm, full trajectory: the engine against ``solve_ivp`` LSODA on the same compiled right-hand side.

Equal accuracy: for each of the varied runs the solver gets the loosest tolerance with which it meets the same target
as the engine (core 0.005 K, skin 0.05 K against a 1e-10 reference). Times are taken side by side in this process.

Run: ``python benchmarks/one_run.py [cases]``. Goal: at least 25 times faster, in the median and at worst.
"""

import sys
import time

import numpy as np
from cases import varied_cases
from reference import solve

from thermosim.engine import run as engine
from thermosim.engine.integrate import D_CORE, D_SKIN

REPEATS = 7  # the shortest of as many timings on both sides
CORE_TARGET_K, SKIN_TARGET_K = 0.005, 0.05
TOLERANCES = (3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 1e-6)
TIMES_S = np.arange(0.0, 10801.0, 15.0)


def engine_run(case):
    return engine.run(*case[:4], TIMES_S, start=case.start)


def best_time(call, repeats):
    """Return the shortest of several timings [s] and the last result."""
    best, result = np.inf, None
    for _ in range(repeats):
        begun = time.perf_counter()
        result = call()
        best = min(best, time.perf_counter() - begun)
    return best, result


def errors(core, skin, exact):
    return np.abs(core - exact.core_C).max(), np.abs(skin - exact.skin_C).max()


def measure(case):
    """Return engine seconds, solver seconds, engine errors, solver tolerance and errors."""
    exact = solve(*case[:4], TIMES_S, start=case.start, rtol=1e-10)
    ours, trajectory = best_time(lambda: engine_run(case), REPEATS)
    own = errors(trajectory.diagnostics[:, D_CORE], trajectory.diagnostics[:, D_SKIN], exact)
    for rtol in TOLERANCES:
        found = solve(*case[:4], TIMES_S, start=case.start, rtol=rtol)
        theirs = errors(found.core_C, found.skin_C, exact)
        if theirs[0] < CORE_TARGET_K and theirs[1] < SKIN_TARGET_K:
            break
    solver, _ = best_time(lambda: solve(*case[:4], TIMES_S, start=case.start, rtol=rtol), REPEATS)
    return ours, solver, own, rtol, theirs


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 48
    cases = varied_cases(count)
    engine_run(cases[0])
    rows = []
    for number, case in enumerate(cases):
        rows.append(measure(case))
        print(f"\r{number + 1}/{count}", end="", file=sys.stderr, flush=True)
    ours, solver = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    own = np.array([row[2] for row in rows])
    ratio = solver / ours
    print(f"\n{count} varied three-hour runs, sample each 15 s, equal accuracy", end=" ")
    print(f"(core < {CORE_TARGET_K} K, skin < {SKIN_TARGET_K} K)")
    print(f"engine: median {1e3 * np.median(ours):.2f} ms, worst error {own[:, 0].max():.1e} K core", end=", ")
    print(f"{own[:, 1].max():.1e} K skin")
    print(f"LSODA on the same right-hand side: median {1e3 * np.median(solver):.0f} ms", end=", ")
    print(f"tolerances {sorted({row[3] for row in rows})}")
    print(f"ratio: median {np.median(ratio):.0f}, worst {ratio.min():.1f}, goal 25")
