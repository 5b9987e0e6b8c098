"""Write ``docs/validation.md`` and its pictures: the evidence table, spread between people, weather and pace.

::

    python benchmarks/validation.py --write

This one command makes the whole page; ``thermosim evidence --out FILE.md`` writes the first of its three parts only. Without
``--write`` it says what it would write. Some five minutes on 2 cores.
"""

import subprocess
import sys
from pathlib import Path

from thermosim.evidence.calibrated_file import outdated
from thermosim.evidence.chapter import validation_chapter
from thermosim.evidence.read_case import read_cases
from thermosim.evidence.run_cases import evidence_rows
from thermosim.evidence.spread import spread_chapter, spread_rows
from thermosim.evidence.weather_pace import pace_sweep, weather_chapter

COMMAND = "python benchmarks/validation.py --write"
DOCS = Path(__file__).resolve().parents[1] / "docs"


def main() -> None:
    """Run everything that the validation chapter stands on; write it."""
    cases = read_cases()
    parts = [
        validation_chapter(evidence_rows(cases), command=COMMAND, warning=outdated()),
        spread_chapter(spread_rows(cases)),
        weather_chapter(pace_sweep()),
    ]
    text = "\n\n".join(part.strip() for part in parts) + "\n"
    if "--write" not in sys.argv:
        print(f"{len(text.splitlines())} lines for {DOCS.name}/validation.md; add --write to write them")
        return
    (DOCS / "validation.md").write_text(text, encoding="utf-8")
    picture = DOCS / "pictures" / "evidence.png"
    command = [sys.executable, "-m", "thermosim.cli", "evidence", "--picture", str(picture), "--force"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    main()
