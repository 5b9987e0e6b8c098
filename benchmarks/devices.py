"""Write ``docs/devices.md`` and its picture: watts of every device, and what devices change, with intervals.

::

    python benchmarks/devices.py --write [--members 200]

Two to three minutes on 2 cores; without ``--write`` the chapter is printed.
"""

import argparse
from pathlib import Path

import thermosim as ts
from thermosim import cautions
from thermosim.cooling import from_spec
from thermosim.cooling.kinds import KINDS
from thermosim.dataset import version
from thermosim.inputs.session import Session
from thermosim.look.device_page import draw_table
from thermosim.look.page import save
from thermosim.study import device_table
from thermosim.study.compare import compare

DOCS = Path(__file__).resolve().parents[1] / "docs"
TOWEL = [{"device": "cold_towel", "from_min": at, "to_min": at + 4} for at in (11, 26, 41)]
VARIANTS = (
    ("none", []),
    ("ice collar, covered", [{"device": "ice_collar"}]),
    ("ice collar, bare", [{"device": "ice_collar", "covered": False}]),
    ("spent cover left on", [{"device": "ice_collar", "charge_C": 34.0}]),
    ("ideal sink, 24 W", [{"device": "ideal_sink"}]),
    ("cold towel, 4 of each 15 min", TOWEL),
    ("slurry 7.5 g/kg at the start", [{"device": "ice_slurry", "portion_kg": 0.4875}]),
    ("pour-over 0.3 L each 10 min", [{"device": "pour_over", "mass_kg": 0.3, "refill_min": [10, 20, 30, 40, 50]}]),
    ("ice vest worn running", [{"device": "ice_vest"}]),
)
# Core at 45 min [K], humid | dry, as a fitted prototype of somebody else had them, and why ours differ.
PROTOTYPE = {
    "ice collar, covered": (-0.03, -0.03, "more watts through warmer skin (37 against 24 fresh)"),
    "ice collar, bare": (-0.02, -0.02, "as there: the air melts it"),
    "spent cover left on": (0.06, 0.06, "as there: it blocks evaporation"),
    "ideal sink, 24 W": (-0.15, -0.14, "as there"),
    "cold towel, 4 of each 15 min": (-0.17, -0.18, "weaker here: laid on while running, it blocks the evaporation under 0.25 m²"),
    "slurry 7.5 g/kg at the start": (-0.18, -0.15, "drunk at the start, not before it: it still acts at 45 min"),
    "pour-over 0.3 L each 10 min": (
        -0.18, -0.56, "weaker here: sweating skin is wet already, and sweating falls (B24: core unchanged)",
    ),
    "ice vest worn running": (0.05, 0.01, "as there: what it blocks and weighs outweighs what it takes"),
}  # fmt: skip


def session_in(climate: str) -> Session:
    """Return the session of the comparison in a named climate: 65 kg, 12 km/h, 60 min, limit 39.5 °C."""
    return Session.from_parts(
        ts.Runner(**device_table.RUNNER),
        ts.Effort.steady(speed_m_s=device_table.SPEED_M_S, minutes=60),
        device_table.climate_of(climate),
        limits={"core_temperature_C": 39.5},
        variants=[{"name": name, "cooling": worn} for name, worn in VARIANTS],
    )


def number(x, decimals=0, signed=False) -> str:
    """Return a number as text, a true minus, and a dash for none."""
    if x is None:
        return "–"
    text = f"{x:+.{decimals}f}" if signed else f"{x:.{decimals}f}"
    return text.replace("-", "−")


def band(interval, decimals=2, signed=True) -> str:
    """Return ``median (low to high)``."""
    if interval is None or interval["median"] is None:
        return "–"
    parts = (number(interval[name], decimals, signed) for name in ("median", "low", "high"))
    return "{} ({} to {})".format(*parts)


def watts_table(rows) -> str:
    """Return the table of watts as Markdown."""
    head = (
        "| device | climate | fresh → late, W | practice, W | spent, min | practice, min | from the air, W | "
        "evaporation missing, W | carrying, W | sweat saved, as W | net fresh → late, W | "
        "from the runner → net, kJ | core, °C | |\n" + "|---" * 14 + "|"
    )
    lines = [head]
    for row in rows:
        practice = row["band_fresh_W"] and "{} to {}".format(*(number(one) for one in row["band_fresh_W"]))
        if row["band_late_W"]:
            practice += " → {} to {}".format(*(number(one) for one in row["band_late_W"]))
        minutes = row["band_min"] and "{:.0f} to {:.0f}".format(*row["band_min"])
        said = {None: "", True: "inside", False: "**outside**"}[row["inside"]]
        lines.append(
            f"| {row['label']} | {row['climate'].replace('_', '-')} | {number(row['fresh_W'])} → {number(row['late_W'])} | "
            f"{practice or ''} | {number(row['spent_min'])} | {minutes or ''} | {number(row['from_air_fresh_W'])} | "
            f"{number(row['blocked_evaporation_W'])} | {number(row['carrying_W'])} | {number(row['sweat_saved_W'])} | "
            f"{number(row['net_fresh_W'])} → {number(row['net_late_W'])} | "
            f"{number(row['from_skin_kJ'])} → {number(row['net_kJ'])} | {number(row['core_change_K'], 2, True)} | {said} |"
        )
    return "\n".join(lines)


def comparison_table(results) -> str:
    """Return what each device changes at minute 45, both climates, with the prototype's figures and why ours differ."""
    lines = [
        "| device | climate | core at 45 min, °C | ceiling then, °C | minutes to 39.5 °C | never in either, % | "
        "heart rate, bpm | sweat saved, L | from the runner, kJ | a prototype's core, °C | "
        "where and why ours differs |\n" + "|---" * 11 + "|"
    ]
    for k, (climate, result) in enumerate(results.items()):
        worn = {entry["name"]: entry["device"] for entry in result["variants"]}
        for one in result["contrasts"]:
            theirs, ceiling = PROTOTYPE[one["name"]], one["ceiling_at_min_K"]["median"]
            lines.append(
                f"| {one['name']} | {climate} | {band(one['core_difference_K'])} | {number(ceiling, 2)} | "
                f"{band(one['time_to_limit_difference_min'], 0)} | {number(100 * one['share_never_both'])} | "
                f"{band(one['heart_rate_difference_bpm'], 0)} | {band(one['sweat_saved_L'])} | "
                f"{band(worn[one['name']]['heat_from_skin_kJ'], 0, False)} | {number(theirs[k], 2, True)} | {theirs[2]} |"
            )
    return "\n".join(lines)


def cards_table() -> str:
    """Return every number of every device's card."""
    lines = ["| device | number | value | range | SD in an ensemble | source | confidence |\n" + "|---" * 7 + "|"]
    for kind, made in KINDS.items():
        for name, entry in from_spec({"device": kind}).device.card.items():
            unit = "" if entry.unit == "1" else f" {entry.unit}"
            lines.append(
                f"| {made.name} | {name} | {entry.value:g}{unit} | {entry.low:g} to {entry.high:g} | {entry.sd:g} | "
                f"{entry.source} | {entry.confidence} |"
            )
    return "\n".join(lines)


def chapter(found, results, members: int) -> str:
    """Return the chapter as Markdown."""
    outside = [f"{row['label']} ({row['climate']})" for row in found["rows"] if row["inside"] is False]
    return CHAPTER.format(
        version=version(),
        caution=" ".join(cautions.for_result(device=True)[:2]),
        inside=found["inside"],
        judged=found["judged"],
        outside=", ".join(outside),
        watts=watts_table(found["rows"]),
        members=members,
        comparison=comparison_table(results),
        cards=cards_table(),
    )


CHAPTER = """\
# Devices: what they take, what is left of it

Written by `python benchmarks/devices.py --write` with thermosim {version}; nothing below is written by hand but the words.
{caution}

![Watts of every device in three climates](pictures/devices.png)

## Watts, fresh and late

One runner of 65 kg and 1.75 m, with and without the device. *Running*: 12 km/h, put on at minute 20; *at a stop*: standing
after 40 min of it; *at rest*: standing before a run. Humid is 31 °C and 85 %, dry 38 °C and 22 % with 800 W/m² of sun, cool
15 °C and 70 %; hot-humid, for the resting fan, 38 °C and 95 %. *Fresh → late* is heat from skin, stomach or breath; for
poured water and sponge what all terms gain plus the sweat that is saved; for fans what all terms gain; for shade the sun
kept off. *Late* is after the device is spent (8 to 13 min), where it is. *Net* is what all terms of the body's balance gain,
evaporation under the device and carrying included. *Practice*: common practice, no source; never fitted to.

{inside} of {judged} lie in those bands. Outside: {outside}.

{watts}

What lies outside, and why we leave it there:

- **Hands in a tub.** These runners are at 39 °C; men at 37.5 to 38 °C lost 124 W in water of 10 °C (Livingstone 1989, B35), which
  the model brackets: 65 W seated, 163 W walking on.
- **Slurry.** In B18 the drop of rectal temperature before the run is overdone with these watts (−0.83 against −0.66 K), so that
  measurement asks for fewer watts, not more.
- **Wet cloth and sleeves in humid air, bare collar late in dry air.** A few watts over: wet cloth of that area at 2 to 4 K below
  skin conducts them. No measurement was found; a miss.
- **Sponge and misting fan in dry air.** 16 g of water evaporate in three minutes; mist on all skin in moving air of 22 % does
  more than practice says. B17 measured a misting unit: 0.09 against 0.06 K/min, the model has 0.11. A miss.

## What devices change, with intervals

65 kg, 12 km/h for 60 min, {members} drawn runners, the same for every variant (90 % intervals); limit 39.5 °C. The prototype's
figures are of somebody else's model fitted to the same public studies: a lead, not a truth.

{comparison}

No device at the neck changes core by more than an ideal sink of its own watts would; heart rate changes little, because at
this effort it is at its ceiling for most.

## Numbers of the cards

{cards}
"""


def main() -> None:
    """Run the table and the comparison; print or write the chapter."""
    parser = argparse.ArgumentParser(description="Devices in watts and degrees.")
    parser.add_argument("--write", action="store_true", help="write docs/devices.md and its picture instead of printing")
    parser.add_argument("--members", type=int, default=200, help="runners drawn for the comparison")
    asked = parser.parse_args()
    found = device_table.table()
    results = {name: compare(session_in(name), members=asked.members, seed=1).result for name in ("humid", "dry")}
    text = chapter(found, results, asked.members)
    if not asked.write:
        print(text)
        return
    (DOCS / "devices.md").write_text(text, encoding="utf-8")
    lines = cautions.for_result(device=True)
    page = draw_table(found, lines, f"thermosim {version()} · python benchmarks/devices.py --write")
    save(page, DOCS / "pictures" / "devices.png")


if __name__ == "__main__":
    main()
