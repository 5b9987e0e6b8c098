"""``thermosim ledger``: the heat balance of one instant, every term with its formula and the numbers put in."""

from pathlib import Path
from typing import Annotated

import typer

from thermosim.cli.fields import LEDGER_GROUPS, number_or_text, with_fields
from thermosim.cli.terminal import JsonFlag, QuietFlag, Talk, VerboseFlag, number
from thermosim.cli.writing import ForceFlag, PictureFlag

EPILOG = """\
[bold]Example:[/bold] does every watt have a place to go, at 12 km/h and 30 °C?

thermosim ledger --mass-kg 65 --height-m 1.75 --speed-m-s 3.333 --air-temperature-C 30 \
--relative-humidity-pct 50 --skin-temperature-C 34

[bold]From a session[/bold] at minute 20 of its weather and effort, and [bold]from a run[/bold] the engine's own terms:

thermosim ledger salt-pans.session.toml --at-min 20 --skin-temperature-C 35

thermosim ledger --run run.nc --at-min 30 --picture ledger.png

One quantity is left open and solved for: the sweat rate, or what is not stated of storage, skin temperature and metabolic power.

[bold]JSON keys:[/bold] terms_W (metabolic_power, external_work, convection, long_wave_radiation, solar_radiation, \
respiration_vapour, respiration_dry, evaporation, devices, storage; a gain by the body is positive), heat_production_W, \
required_evaporation_W, evaporative_capacity_W, wettedness (required ÷ capacity), \
sweat_rate_L_h (required ÷ 2426 kJ/kg), sweat_rate_with_dripping_L_h, \
limited_by (nothing, air, sweat_rate), closure_W, solved_for, storage_W, body_heat_capacity_kJ_K, \
mean_body_temperature_change_K_h, skin_temperature_C, air_speed_m_s, vapour_pressure_kPa, surface_area_m2, \
maximum_sweat_rate_L_h, wettedness_limit, \
rows (term, formula, numbers, watts, W_m2), setting, warnings, cautions."""

NAMES = {
    "metabolic_power": "Metabolic power", "external_work": "External work", "convection": "Convection",
    "long_wave_radiation": "Long-wave radiation", "solar_radiation": "Sun", "respiration_vapour": "Breathing, vapour",
    "respiration_dry": "Breathing, dry", "evaporation": "Evaporation", "devices": "Devices", "storage": "Storage",
}  # fmt: skip
LIMITED = {
    "nothing": "nothing: the air can take what must evaporate, and the sweat rate can feed it",
    "air": "what the air can take from a skin as wet as it gets",
    "sweat_rate": "the sweat rate",
}


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("ledger", epilog=EPILOG, short_help="the heat balance of one instant, term by term")(ledger)


@with_fields(*LEDGER_GROUPS)
def ledger(
    session: Annotated[
        Path | None,
        typer.Argument(
            metavar="[SESSION]",
            help="a *.session.toml: its runner, air and effort at --at-min",
            show_default=False,
        ),
    ] = None,
    run: Annotated[
        Path | None,
        typer.Option(
            "--run", metavar="RUN.nc", help="the engine's own terms in a saved run", show_default=False
        ),
    ] = None,
    at_min: Annotated[
        str | None,
        typer.Option("--at-min", metavar="min", help="minute of the session or run", show_default=False),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="PATH",
            help="write the terms: .json, .csv, or a folder (no ending) with both the object and the page",
            rich_help_panel="Output",
        ),
    ] = None,
    picture: PictureFlag = None,
    force: ForceFlag = False,
    json_: JsonFlag = False,
    quiet: QuietFlag = False,
    verbose: VerboseFlag = False,
    *,
    fields: dict,
) -> dict:
    """The heat balance of one instant, term by term, in W and W/m², with formulas and the numbers put in."""
    from thermosim.cli.writing import check_targets
    from thermosim.inputs.checks import check_range

    talk = Talk(json_, quiet, verbose)
    check_targets(out, [picture], force, endings=(".json", ".csv"))
    minute = None if at_min is None else check_range("time_min", number_or_text(at_min), field="at_min")
    result = (
        _of_run(run, session, minute, fields)
        if run is not None
        else _of_instant(session, minute or 0.0, fields)
    )
    written = _write(result, out, picture, force)
    _tell(talk, result, written)
    return result


def _of_run(run, session, at_min, fields) -> dict:
    from thermosim.cli.sessions import read_run
    from thermosim.errors import InputError
    from thermosim.instant.books import ledger_of_run

    if session is not None or fields:
        name = f"session {session}" if session is not None else next(iter(fields))
        raise InputError(
            "is given beside --run, whose terms are already fixed",
            field=name,
            remedy="keep --run with --at-min, or leave --run out",
        )
    if at_min is None:
        raise InputError(
            "is missing", field="at_min", remedy="add --at-min, the minute of the run to look at"
        )
    ds = read_run(run)
    if "heat_flow" not in ds:
        raise InputError(
            "holds no heat terms of a thermosim run",
            file=str(run),
            remedy="use a file that simulate --out wrote",
        )
    return ledger_of_run(ds, at_min)


def _of_instant(path, minute: float, fields) -> dict:
    from thermosim.errors import InputError
    from thermosim.instant.books import ledger

    if path is None and not fields:
        raise InputError(
            "is missing",
            field="instant",
            remedy="describe it by flags, name a session file, or give --run (see --help)",
        )
    if "pace_min_km" in fields:
        fields = {**fields, "speed_m_s": _speed_of_pace(fields["pace_min_km"], fields)}
        del fields["pace_min_km"]
    if path is None:
        return ledger(at_min=minute, **fields)
    runner, weather, effort = _parts(path, minute)
    if "air_speed_m_s" in fields:
        effort = {name: item for name, item in effort.items() if name not in ("treadmill", "fan_speed_m_s")}
    return ledger(runner, weather, at_min=minute, **{**effort, **fields})


def _speed_of_pace(pace, fields) -> float:
    from thermosim.errors import InputError
    from thermosim.inputs.effort import Effort

    if "speed_m_s" in fields:
        raise InputError(
            "is given beside speed_m_s, allowed is one of the two",
            field="pace_min_km",
            remedy="keep one of them",
        )
    return float(Effort.steady(pace_min_km=pace, minutes=1).speed_m_s[0])


def _parts(path: Path, minute: float):
    """Return runner and weather of a session and the fields of its effort at a minute."""
    from thermosim.cli.sessions import gather
    from thermosim.errors import InputError
    from thermosim.inputs.effort import OPTIONS

    session = gather(path, {}).session
    effort = session.effort
    if not minute <= effort.minutes:
        problem = f"is {minute:g} min, allowed is 0 to {effort.minutes:.6g} min, the length of this effort"
        raise InputError(problem, field="at_min", remedy="choose a minute within the session")
    piece = min(int((effort.end_s <= 60.0 * minute).sum()), effort.end_s.size - 1)
    found = {name: getattr(effort, name) for name in OPTIONS}
    found |= {"speed_m_s": float(effort.speed_m_s[piece]), "grade_pct": float(effort.grade_pct[piece])}
    if found["speed_m_s"] == 0.0:
        found["grade_pct"] = 0.0
    if effort.heading_deg[piece] == effort.heading_deg[piece]:
        found["heading_deg"] = float(effort.heading_deg[piece])
    return session.runner, session.weather, found


def _write(result, out, picture, force) -> list[Path]:
    import json

    from thermosim import look
    from thermosim.cli import writing

    def as_json(path):
        path.write_text(
            json.dumps(writing_ready(result), ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
        )

    def page():
        return look.instant_ledger(result)

    targets = []
    if out is not None and out.suffix.lower() == ".json":
        targets.append(writing.Target(out, as_json))
    elif out is not None and out.suffix.lower() == ".csv":
        targets.append(writing.Target(out, lambda path: _as_table(result).to_csv(path, index=False)))
    elif out is not None:

        def folder(path):
            path.mkdir()
            as_json(path / "ledger.json")
            writing.draw(page, path / "ledger.png")

        targets.append(writing.Target(out, folder))
    if picture is not None:
        targets.append(writing.Target(picture, lambda path: writing.draw(page, path)))
    return writing.write_all(targets, force)


def writing_ready(result):
    """Return the object with null for what is not a number."""
    from thermosim.cli.terminal import finite

    return finite(result)


def _as_table(result):
    import pandas as pd

    return pd.DataFrame(
        [
            {"term": row["term"], "heat_flow_W": row["watts"], "heat_flow_W_m2": row["W_m2"]}
            for row in result["rows"]
        ]
    )


def answer(result) -> str:
    """Return the sentence of the ledger."""
    required, capacity = result["required_evaporation_W"], result["evaporative_capacity_W"]
    if required <= 0.0:
        spare = number(-required, 0)
        return f"Holding core steady here asks for no evaporation: the other terms take {spare} W more than is made."
    start = f"Holding core steady here asks the skin to evaporate {number(required, 0)} W"
    limit, wet = result["wettedness_limit"], result["wettedness"]
    takes = f"this air can take {number(max(limit * capacity, 0.0), 0)} W at the largest wettedness, {number(limit, 2)}"
    if result["limited_by"] == "nothing":
        if required > limit * capacity:  # a run whose skin is not wet yet
            return f"{start}; {takes}, so core could not hold steady."
        return f"{start}; {takes}, so the balance can close."
    if result["limited_by"] == "sweat_rate":
        sweat, largest = result["sweat_rate_with_dripping_L_h"], result["maximum_sweat_rate_L_h"]
        return (
            f"{start}, {number(sweat, 2)} L/h of sweat with what drips; the largest sweat rate is "
            f"{number(largest, 2)} L/h, so core cannot hold steady."
        )
    if required > limit * max(capacity, 0.0):
        return f"{start}; {takes}, so core cannot hold steady."
    return f"{start}, a wettedness of {number(wet, 2)}, where most of any more sweat drips: core cannot hold steady."


def _tell(talk: Talk, result, written) -> None:
    talk.cautions(result["cautions"], device=abs(result["terms_W"]["devices"]) > 0.0)
    if not talk.as_json:
        talk.write(answer(result), style="bold")
        talk.write(result["setting"])
        _tell_terms(talk, result)
        talk.table([("", "left"), ("", "right"), ("", "left"), ("", "left")], _figures(result))
    talk.warnings([sentence for sentence in result["warnings"] if sentence not in result["cautions"]])
    talk.wrote(written)
    talk.result(result)


def _tell_terms(talk: Talk, result) -> None:
    rows = []
    for row in result["rows"]:
        formula = row["text"].rsplit(" → ", 1)[0]
        rows.append(
            (
                NAMES[row["term"]],
                number(row["watts"], 1, True),
                "" if row["W_m2"] is None else number(row["W_m2"], 1, True),
                formula,
            )
        )
    terms, area = result["terms_W"], result.get("surface_area_m2")
    total = sum(watts for name, watts in terms.items() if name != "storage")
    closure = result["closure_W"]
    rows.append(
        (
            "Sum without storage",
            number(total, 1, True),
            number(total / area, 1, True) if area else "",
            "what storage must be",
        )
    )
    rows.append(
        (
            "Closure",
            number(closure, 2),
            number(closure / area, 2) if area else "",
            "sum less storage: what the books leave over",
        )
    )
    talk.table(
        [("term", "left"), ("W", "right"), ("W/m²", "right"), ("formula = numbers put in", "left")], rows
    )


def _figures(result) -> list[tuple]:
    solved, wettedness, wettest = (
        result["solved_for"],
        result["wettedness"],
        number(result["wettedness_limit"], 2),
    )
    share = "–" if wettedness is None else number(wettedness, 2)
    value = "" if solved["value"] is None else f"{number(solved['value'], 2)} {solved['unit']}"
    rows = [
        ("Heat production", number(result["heat_production_W"], 0), "W", "metabolic power less external work"),
        ("Required evaporation", number(result["required_evaporation_W"], 0), "W", "for storage nothing"),
        ("Evaporative capacity", number(result["evaporative_capacity_W"], 0), "W", "at full wettedness"),
        ("Wettedness required", share, "", f"required ÷ capacity; the skin gets no wetter than {wettest}"),
        ("Sweat required", number(result["sweat_rate_L_h"], 2), "L/h", _dripping(result)),
    ]  # fmt: skip
    if result["body_heat_capacity_kJ_K"]:
        change = result["mean_body_temperature_change_K_h"]
        rows.append(
            (
                "Body heat capacity",
                number(result["body_heat_capacity_kJ_K"], 0),
                "kJ/K",
                f"mean body temperature changes by {number(change, 2, True)} K/h",
            )
        )
    rows += [
        ("Limited by", "", "", LIMITED[result["limited_by"]]),
        ("Solved for", "", "", f"{solved['name']} = {value}"),
    ]
    return rows


def _dripping(result) -> str:
    more = result["sweat_rate_with_dripping_L_h"]
    return "" if more is None else f"{number(more, 2)} L/h with what drips"
