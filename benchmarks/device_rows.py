"""What one more device costs a run: an active row, and one that is there but not worn.

::

    python benchmarks/device_rows.py [repeats]

Both sides run in turn in one process, summaries only, three hours with one collar; the ratio is of the fastest times, which
a busy machine disturbs least. Goals: an active device at most 10 %, an inactive one at most 1 %.
"""

import sys
import time

import numpy as np

import thermosim as ts
from thermosim.cooling import Worn, flatten_cooling, from_spec
from thermosim.engine import run as engine
from thermosim.inputs.flat import piece_records, runner_record

MINUTES = 180.0
ACTIVE = {"one more ice collar": "ice_collar", "a sealed collar": "phase_change_collar", "an iced cap": "iced_cap",
          "a wet cloth": "wet_cloth", "a drink": "drink", "a fan": "fan", "ice in the hands": "ice_in_hand"}  # fmt: skip


def timed(cases: dict, repeats: int) -> dict[str, float]:
    """Return the fastest time of each case [ms], measured in turn."""
    best = dict.fromkeys(cases, np.inf)
    for _ in range(repeats):
        for name, run in cases.items():
            start = time.perf_counter()
            run()
            best[name] = min(best[name], 1e3 * (time.perf_counter() - start))
    return best


def main() -> None:
    """Time runs with one collar, with a second device, and with a second device that is never worn."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    runner = runner_record(ts.Runner(mass_kg=65, height_m=1.75))
    weather = ts.Weather.steady(air_temperature_C=28, relative_humidity_pct=60, wind_speed_m_s=1.0)
    pieces = piece_records(ts.Effort.steady(speed_m_s=3.0, minutes=MINUTES), weather)
    start = engine.settle(runner)

    def case(worn, events_of=None):
        rows, events, _ = flatten_cooling(worn, runner[0]["area_m2"], 60.0 * MINUTES)
        if events_of is not None:
            events = events[np.isin(events["row"], events_of)]
        return lambda: engine.run(runner, pieces, rows, events, start=start)

    first = Worn(from_spec({"device": "ice_collar", "contact_area_m2": 0.012}).device)
    cases = {"one collar": case([first])}
    for name, kind in ACTIVE.items():
        small = {"contact_area_m2": 0.012} if kind.endswith(("collar", "cloth")) else {}
        second = from_spec({"device": kind, **small})
        cases[name] = case([first, second])
        cases[f"{name}, not worn"] = case([first, second], [0])
    for run in cases.values():
        run()
    found = timed(cases, repeats)
    base = found["one collar"]
    print(f"one collar, 3 h: {base:.3f} ms")
    for name, ms in list(found.items())[1:]:
        print(f"{name:32s} {ms:.3f} ms, {100.0 * (ms / base - 1.0):+5.1f} %")


if __name__ == "__main__":
    main()
