"""From readings and flags to one bench test, and from it to a result and a card."""

from pathlib import Path
from typing import Any, NamedTuple

from thermosim.errors import InputError


class Asked(NamedTuple):
    """What ``thermosim device test`` is to fit."""

    spec: dict[str, Any]
    bench: Any
    mass_kg: float
    room: str
    warnings: list[str]


def gather_bench(files, kind, on, flags: dict, insulation_W_m2K: float, mass_kg: float, height_m: float, name) -> Asked:
    """Return the bench test that files and flags describe; a flag replaces what a file says."""
    from thermosim.cli.sessions import parse_cooling
    from thermosim.cooling.cards import build
    from thermosim.inputs.mass_readings import CONDITIONS, check_condition, read_mass
    from thermosim.inputs.runner import Runner
    from thermosim.study.bench import at_rest
    from thermosim.study.bench_fit import Bench, resolution_of

    warnings: list[str] = []
    runs = []
    for path in files:
        found, said = read_mass(path, on)
        runs += found
        warnings += said
    check_condition("dummy_insulation_W_m2K", insulation_W_m2K, 0.0, 50.0, "W/m²K")
    for flag, (low, high, unit) in CONDITIONS.items():
        if flags.get(flag) is not None:
            check_condition(flag, flags[flag], low, high, unit)
    for run in runs:
        if not run.on:
            raise InputError("is missing", field="on", file=run.file, remedy="add a column on, or --on dummy or --on skin")
    person = Runner(mass_kg=mass_kg, height_m=height_m)
    spec = _spec(runs, kind, name, parse_cooling)
    rests, drips, rooms = [], [], []
    for run in runs:
        stated = {key: flags[key] if flags.get(key) is not None else run.conditions.get(key) for key in flags}
        for needed in ("room_temperature_C", "room_humidity_pct"):
            if stated[needed] is None:
                raise InputError(
                    "is missing",
                    field=needed,
                    file=run.file,
                    remedy=f"add a line `# {needed} = …`, or the flag --{needed.replace('_', '-')}",
                )
        air = stated["air_speed_m_s"] or 0.0
        rests.append(at_rest(person, stated["room_temperature_C"], stated["room_humidity_pct"], air))
        drips.append(bool(stated["drips_counted"]))
        rooms.append(f"{stated['room_temperature_C']:g} °C, {stated['room_humidity_pct']:g} %, air at {air:g} m/s")
        if stated["scale_resolution_g"] is not None:
            flags = {**flags, "scale_resolution_g": stated["scale_resolution_g"]}
    grams = flags.get("scale_resolution_g")
    resolution = 1e-3 * grams if grams is not None else resolution_of(runs)
    if grams is None:
        warnings.append(f"The step of the scale was told from the readings: {1e3 * resolution:g} g.")
    warnings += _assumed(runs, insulation_W_m2K, mass_kg, height_m)
    bench = Bench(build(spec).device, tuple(runs), tuple(rests), resolution, tuple(drips), insulation_W_m2K)
    return Asked(spec, bench, mass_kg, "; ".join(dict.fromkeys(rooms)), warnings)


def _spec(runs, kind, name, parse_cooling) -> dict[str, Any]:
    """Return the table of the device, from the flag or from what the files say."""
    stated = dict.fromkeys(run.conditions["kind"] for run in runs if "kind" in run.conditions)
    if kind is None and len(stated) > 1:
        raise InputError(
            f"is {' and '.join(stated)} in different files, allowed is one device in a bench test",
            field="kind",
            remedy="test one device at a time, or give --kind",
        )
    text = kind if kind is not None else next(iter(stated), None)
    if text is None:
        raise InputError(
            "is missing",
            field="kind",
            file=runs[0].file,
            remedy="add a line `# kind = ice_collar:ice_kg=0.25`, or the flag --kind",
        )
    try:
        spec = parse_cooling(text)
    except InputError as error:
        if kind is not None or error.file is not None:
            raise
        field = "kind" if error.field == "device" else error.field
        raise InputError(error.problem, field=field, file=runs[0].file, remedy=error.remedy) from None
    if name is not None:
        spec["name"] = name
    return spec


def _assumed(runs, insulation_W_m2K, mass_kg, height_m) -> list[str]:
    found = []
    sides = {run.on for run in runs}
    if "dummy" in sides and insulation_W_m2K == 0.0:
        found.append("The dummy is taken to let no heat through; say what it lets through with --dummy-insulation-W-m2K.")
    if "dummy" not in sides:
        found.append(
            "Without a run on a dummy the outer side is told apart from skin only by the model: test on a dummy too."
        )
    if "skin" not in sides:
        found.append("Without a run on skin nothing is known of the contact: test on skin too.")
    elif not all(run.skin_temperature_C is not None for run in runs if run.on == "skin"):
        found.append(
            f"Skin under the device was not measured: it is that of a modelled person at rest, {mass_kg:g} kg and "
            f"{height_m:g} m, right to some kelvin."
        )
    if all(run.ice_left_kg is None for run in runs):
        found.append(
            "Without ice_left_kg the scales see melting only when water drips: pour it off and weigh the ice, twice a run."
        )
    return found


def run_bench(asked: Asked) -> tuple[dict[str, Any], tuple[dict, dict[str, str], str]]:
    """Return the result of a bench test, and what its card is written from."""
    from thermosim.cli import device_words as words
    from thermosim.study.bench_fit import fit_bench, with_courses
    from thermosim.study.bench_result import bench_result, card_of

    bench = with_courses(asked.bench)
    fitted = fit_bench(bench)
    result = bench_result(bench, fitted, asked.mass_kg)
    files = ", ".join(dict.fromkeys(Path(run.file).name for run in bench.runs))
    spec, remarks = card_of(bench, fitted, asked.spec, f"bench test {files} in {asked.room}")
    result["device"] = spec
    result["room"], result["mass_kg"], result["files"] = asked.room, asked.mass_kg, files
    result["answer"], result["sentences"] = words.bench_answer(result), words.bench_sentences(result)
    result["warnings"] = [*asked.warnings, *words.bench_warnings(result)]
    notes = " ".join([*(f"{line}." for line in result["answer"]), result["sentences"][0]])
    return result, (spec, remarks, notes)
