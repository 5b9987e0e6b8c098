"""What ``thermosim device`` says and writes."""

from pathlib import Path
from typing import Any

from thermosim.cli.terminal import Talk, number
from thermosim.cli.writing import Target, check_targets, draw, write_all
from thermosim.errors import InputError
from thermosim.run_warnings import SKIN_REFUSED_C, SKIN_WARNING_C, SKIN_WARNING_MIN

CARD_ENDING = ".device.toml"
DRUNK = ("drink", "ice_slurry")
MISFIT = 3.0  # times the scale's step
_PARAMETERS = {"air_factor": "air side of the bench, factor", "skin_offset_K": "skin under it, off by, K"}
_HELD = {"air_factor": "held to a fifth about 1", "skin_offset_K": "not fitted: widens the other intervals"}


def three(value: dict[str, float] | None, decimals: int = 0, none: str = "–") -> str:
    """Return ``18.7 (18.4 to 19.0)``."""
    if value is None:
        return none
    ends = " to ".join(number(value[end], decimals) if abs(value[end]) < 1e6 else "?" for end in ("low", "high"))
    return f"{number(value['median'], decimals)} ({ends})"


# --- bench test ------------------------------------------------------------------------------------------------


def check_out(out: Path | None, picture: Path | None, force: bool) -> None:
    """Refuse, before anything is fitted, what cannot be written."""
    if out is not None and not out.name.lower().endswith(CARD_ENDING):
        raise InputError(f"has another ending, allowed is *{CARD_ENDING}", field=f"--out {out}", remedy="name a device card")
    check_targets(out, [picture], force, endings=(".toml",))


def bench_answer(result: dict[str, Any]) -> list[str]:
    """Return the answer of a bench test, one or two lines."""
    from thermosim.look.bench_page import main_run

    run, name = main_run(result), result["device"].get("name", result["kind"]).replace("_", " ")
    outer = f"{number(run['outer_W_at_5_min']['median'], 0)} W through its outer side"
    if run["on"] != "skin":
        return [f"{name[:1].upper()}{name[1:]} on a dummy: {outer} at minute 5; nothing is known of its contact with skin"]
    melted = run["melted_at_min"]
    until = f"until all is melted, at minute {number(melted['median'], 0)}" if melted else "until the last reading"
    if run["useful_share"] is None:
        second = f"Its outer side gives heat off: all that it keeps, and more, came from skin, {until}"
    else:
        share = {end: 100.0 * value for end, value in run["useful_share"].items()}
        second = f"{three(share)} % of what it took came from skin, {until}"
    return [
        f"{name[:1].upper()}{name[1:]}: {number(run['skin_W_at_5_min']['median'], 0)} W from skin at rest "
        f"and {outer} at minute 5",
        second,
    ]


def bench_sentences(result: dict[str, Any]) -> list[str]:
    """Return what must be said with a bench test: what melting is not, the ceiling, where it holds."""
    from thermosim import cautions
    from thermosim.look.bench_page import main_run

    run = main_run(result)
    found = [cautions.MELTED_IS_NOT_TAKEN]
    if run["on"] == "skin":
        found[0] += (
            f" Of {number(run['heat_uptake_kJ']['median'])} kJ that went into it {three(run['heat_from_skin_kJ'])} kJ came "
            "from skin."
        )
        found.append(
            f"Ceiling: the heat from skin could lower the mean body temperature of {result['mass_kg']:g} kg by at most "
            f"{three(run['ceiling_K'], 2)} °C."
        )
        if run["coldest_skin_C"] is not None:
            how = "as measured" if run["skin_measured"] else "modelled"
            found.append(f"Skin under it was {number(run['coldest_skin_C'], 0)} °C at its coldest, {how}.")
        found.append(
            "This holds at rest in this room. Running in humid wind the outer side takes more: "
            "`thermosim device show CARD --climate humid`."
        )
    return found


def bench_warnings(result: dict[str, Any]) -> list[str]:
    """Return doubts: numbers that were not identified or stand at a bound, readings that do not fit, skin too cold."""
    found = []
    for one in result["parameters"]:
        unit = "" if one["unit"] == "1" else f" {one['unit']}"
        if not one["identified"]:
            found.append(
                f"{one['name']} is not identified by these readings ({three(one['fitted'], 3)}{unit}): the card keeps "
                f"{one['default']:g}{unit}."
            )
        elif one["at_bound"] and one["name"] == "air_factor":
            found.append(
                f"The air side comes out at {number(one['fitted']['median'], 1)} times what a room would do: check the room, its "
                "air movement (--air-speed-m-s) and the runs."
            )
        elif one["at_bound"] and one["name"] not in _PARAMETERS:
            found.append(
                f"{one['name']} stands at the end of what is allowed ({one['fitted']['median']:.3g}{unit}): check the readings "
                "and what the device is said to be."
            )
    if result["rmse_g"] > MISFIT * max(result["scale_resolution_g"], 1.0):
        found.append(
            f"The model does not follow these readings: {number(result['rmse_g'], 1)} g are left over, the scale's step is "
            f"{result['scale_resolution_g']:g} g. Check ice_kg, covered, the room and the runs."
        )
    for run in result["runs"]:
        coldest = run["coldest_skin_C"]
        if coldest is not None and (coldest < SKIN_REFUSED_C or run["minutes_below_12_C"] >= SKIN_WARNING_MIN):
            found.append(
                f"Skin under the device on {run['name']} was below {SKIN_WARNING_C:g} °C for "
                f"{number(run['minutes_below_12_C'], 0)} min, coldest {number(coldest, 0)} °C: cold injury is possible (common "
                f"practice: not below {SKIN_WARNING_C:g} °C for {SKIN_WARNING_MIN:g} min, never below {SKIN_REFUSED_C:g} °C). "
                "Use more cloth, or take it off sooner."
            )
    return found


def write_bench(result, card, out: Path | None, picture: Path | None, force: bool) -> list[Path]:
    """Write card and picture of a bench test."""
    from thermosim import cautions
    from thermosim.cooling.cards import card_text

    spec, remarks, notes = card
    targets = []
    if out is not None:
        text = card_text(spec, cautions.for_card(), notes, remarks)
        targets.append(Target(out, lambda path: path.write_text(text, encoding="utf-8")))
    if picture is not None:
        from thermosim.look.bench_page import draw_bench

        setting = (
            f"{result['files']} · {result['room']} · scale step {result['scale_resolution_g']:g} g · "
            f"{sum(run['readings'] for run in result['runs'])} readings · at rest, {result['mass_kg']:g} kg"
        )
        lines = [*result["sentences"][:2], *result["cautions"]]
        targets.append(
            Target(
                picture,
                lambda path: draw(
                    lambda: draw_bench(result, result["answer"], setting, lines, f"{_version()} · thermosim device test"),
                    path,
                ),
            )
        )
    return write_all(targets, force)


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return f"thermosim {version('thermosim')}"
    except PackageNotFoundError:
        return "thermosim"


def tell_bench(talk: Talk, result: dict[str, Any]) -> None:
    """Print a bench test."""
    talk.write(". ".join(result["answer"]) + ".", style="bold")
    rows: list[tuple] = [("at minute 5, W from skin", *(three(run["skin_W_at_5_min"], 1) for run in result["runs"]))]
    rows.append(("at minute 5, W through the outer side", *(three(run["outer_W_at_5_min"], 1) for run in result["runs"])))
    for label, key, decimals in (
        ("taken up, kJ", "heat_uptake_kJ", 1),
        ("from skin, kJ", "heat_from_skin_kJ", 1),
        ("from air, kJ", "heat_from_air_kJ", 1),
        ("from dew, kJ", "heat_from_condensation_kJ", 1),
        ("condensed, g", "condensed_g", 1),
        ("dripped, g", "dripped_g", 0),
    ):
        rows.append((label, *(three(run[key], decimals) for run in result["runs"])))
    rows.append(("all melted, min", *(three(run["melted_at_min"], 0, "not within 4 h") for run in result["runs"])))
    shares = [
        None if run["useful_share"] is None else {end: 100.0 * v for end, v in run["useful_share"].items()}
        for run in result["runs"]
    ]
    rows.append(("from skin, % of all", *(three(share) for share in shares)))
    heads = [("", "left"), *((f"{run['name']}, on {run['on']}", "left") for run in result["runs"])]
    talk.table(heads, rows, title="Until all is melted, or until the last reading; fitted (90 % interval)")
    talk.table(
        [("number", "left"), ("fitted", "left"), ("before", "left"), ("told by the readings", "left")],
        [
            (
                _PARAMETERS.get(one["name"], one["name"]),
                three(one["fitted"], 3),
                f"{one['default']:g}",
                _HELD.get(one["name"]) or ("yes" if one["identified"] else "no: the card keeps what it was"),
            )
            for one in result["parameters"]
        ],
        title="The card",
    )
    for sentence in result["sentences"]:
        talk.write(sentence)


# --- watts -----------------------------------------------------------------------------------------------------


def shown_device(device: str | None, climates: list[str], fields: dict) -> tuple[dict | None, list]:
    """Return the table of the device (None for all) and the climates that are asked for."""
    from thermosim.cli.sessions import parse_cooling
    from thermosim.inputs.device_cards import WEAR_FIELDS
    from thermosim.inputs.weather import Weather
    from thermosim.study.device_table import EVERYWHERE, climate_of

    if climates and fields:
        raise InputError(
            "is given beside a weather by flags, allowed is one of them", field="--climate", remedy="drop one of them"
        )
    for name in climates:
        climate_of(name)
    spec = None if device is None else parse_cooling(device)
    for name in spec or {}:
        if name in WEAR_FIELDS:
            raise InputError("says when it is worn, which a device's watts are not asked for", field=name,
                             remedy="leave it out here; simulate and compare take it")  # fmt: skip
    asked: list[Any] = [Weather.steady(**fields)] if fields else list(dict.fromkeys(climates))
    if spec is None:
        if fields:
            raise InputError(
                "is missing, a weather by flags is for one device",
                field="KIND_OR_CARD",
                remedy="name a device, or use --climate",
            )
        return None, asked or list(EVERYWHERE)
    if len(asked) > 1:
        raise InputError(
            f"is {', '.join(climates)}, allowed is one for one device", field="--climate", remedy="ask for one at a time"
        )
    return spec, asked or ["humid"]


def run_shown(spec: dict | None, climates: list, say) -> dict[str, Any]:
    """Return the watts of one device, or of all."""
    from thermosim.study import device_table

    if spec is None:
        return device_table.table(climates, progress=say)
    return device_table.show_one(spec, climates[0])


def write_shown(result, spec, picture: Path | None, force: bool) -> list[Path]:
    """Draw the page of one device, or of all."""
    if picture is None:
        return []
    from thermosim.look.device_page import draw_one, draw_table

    page = draw_table if spec is None else draw_one
    return write_all(
        [
            Target(
                picture,
                lambda path: draw(lambda: page(result, result["cautions"], f"{_version()} · thermosim device show"), path),
            )
        ],
        force,
    )


def tell_shown(talk: Talk, result: dict[str, Any], spec: dict | None) -> None:
    """Print the watts of one device, or of all."""
    if spec is None:
        rows = [
            (
                row["label"],
                row["climate"],
                number(row["fresh_W"], 0),
                number(row["late_W"], 0),
                number(row["net_fresh_W"], 0),
                _minutes(row["spent_min"]),
                _band(row),
                number(row["ceiling_K"], 2),
            )
            for row in result["rows"]
        ]
        heads = ("device", "climate", "fresh\nW", "late\nW", "net\nfresh\nW", "spent\nmin", "usual\nW", "ceiling\n°C")
        talk.table(
            [(name, "left") for name in heads], rows, title="Watts of every device; net: less what it blocks and weighs"
        )
        talk.write(f"{result['inside']} of {result['judged']} lie in the watts of common practice.")
        return
    name = (spec.get("name") or result["device"]).replace("_", " ")
    spent = "not spent while worn" if result["spent_min"] is None else f"spent after {number(result['spent_min'], 0)} min"
    talk.write(
        f"{name[:1].upper()}{name[1:]}, {result['setting']}: {number(result['fresh_W'], 0)} W fresh, "
        f"{number(result['late_W'], 0)} W "
        f"late, {spent}; {number(result['net_fresh_W'], 0)} W of the fresh ones are left net.",
        style="bold",
    )
    minutes = result["time_min"]
    wanted = [k for k in range(len(minutes)) if abs(minutes[k] % 5.0) < 1e-6]
    rows = [
        (
            number(minutes[k], 0),
            *(number(result[key][k], 0) for key in ("from_skin_W", "from_air_W", "evaporation_W", "sweat_W", "net_W")),
        )
        for k in wanted
    ]
    heads = ("minute", "from skin, W", "from air, W", "evaporation, W", "sweat saved, W", "net, W")
    talk.table([(head, "right") for head in heads], rows, title="Against the same run without it")
    for sentence in shown_sentences(result):
        talk.write(sentence)


def shown_sentences(result: dict[str, Any]) -> list[str]:
    """Return what stands under the watts of one device: its ceiling, what moved by more, coldest skin, what it is for."""
    from thermosim import cautions
    from thermosim.cli.plan_words import TREATMENT, more_words

    parts = result["ceiling_parts_K"]
    found = [
        f"Ceiling: {number(result['from_skin_kJ'], 0)} kJ from skin, stomach or breath could lower mean body temperature by at "
        f"most {number(parts['joules'], 2)} °C{more_words(parts['wetting'], parts['shade'])}; core is "
        f"{number(result['core_change_K'], 2, True)} °C at the end.",
        *result["flags"],
    ]
    if result["shown_with"]:
        found.insert(0, f"Shown with {result['shown_with']}, as in the table of all devices; it was not given.")
    if result["coldest_skin_C"] is not None:
        found.append(f"Modelled skin under it is {number(result['coldest_skin_C'], 0)} °C at its coldest.")
    if result["treatment_only"]:
        found.append(TREATMENT)
    return found + ([cautions.DRINK] if result["device"] in DRUNK else [])


def _minutes(value) -> str:
    return "–" if value is None else number(value, 0)


def _band(row) -> str:
    if row["band_fresh_W"] is None:
        return "–"
    text = f"{number(row['band_fresh_W'][0], 0)} to {number(row['band_fresh_W'][1], 0)}"
    return text if row["inside"] else f"{text}\noutside"


# --- ice left --------------------------------------------------------------------------------------------------


def ice_result(file: Path | None, loaded, left, minutes, mass_kg) -> dict[str, Any]:
    """Return what ice loaded and ice left say, for one rep by flags or for the reps of a file."""
    from thermosim import cautions
    from thermosim.inputs.checks import missing
    from thermosim.study.ice_left import heat_of_reps, most_heat

    flags = {"ice_loaded_kg": loaded, "ice_left_kg": left, "minutes": minutes}
    if mass_kg is None:
        raise missing("mass_kg")
    if file is not None:
        given = [name for name, value in flags.items() if value is not None]
        if given:
            raise InputError(
                "is given beside a file, allowed is one of them", field=given[0], remedy="drop the flag or the file"
            )
        reps = heat_of_reps(file, mass_kg)
    else:
        for name, value in flags.items():
            if value is None:
                raise InputError("is missing", field=name, remedy=f"add --{name.replace('_', '-')}, or name a file of reps")
        reps = [{"rep": "1", **most_heat(loaded, left, minutes, mass_kg)}]
    total = {key: sum(rep[key] for rep in reps) for key in reps[0] if key.endswith(("_kg", "_kJ", "_K")) or key == "minutes"}
    for key, joules in (("mean_W", "most_kJ"), ("latent_mean_W", "latent_kJ")):
        total[key] = 1e3 * total[joules] / (60.0 * total["minutes"])
    sentences = [f"{cautions.MELTED_IS_NOT_TAKEN} These are upper bounds."]
    if total["ice_left_kg"] > 0.0:
        sentences.append(cautions.ICE_THAT_IS_STILL_THERE)
        sentences.append(
            "While ice is left its melt water is hardly warmer than 0 °C: the figure of the ice alone is then the nearer one."
        )
    sentences.append(
        "The higher figure counts melt water that stayed in the device and warmed by 30 K; water that dripped off or is still "
        "cold did not warm on the runner's account."
    )
    return {"reps": reps, "total": total, "mass_kg": mass_kg, "sentences": sentences}


def tell_ice(talk: Talk, result: dict[str, Any]) -> None:
    """Print the most that ice can have done."""
    total = result["total"]
    talk.write(
        f"At most {number(total['most_kJ'], 0)} kJ, {number(total['mean_W'], 0)} W over {total['minutes']:g} min: a ceiling of "
        f"{number(total['ceiling_K'], 2)} °C for {result['mass_kg']:g} kg. By the ice alone {number(total['latent_kJ'], 0)} kJ, "
        f"{number(total['latent_mean_W'], 0)} W, {number(total['latent_ceiling_K'], 2)} °C.",
        style="bold",
    )
    if len(result["reps"]) > 1:
        rows = [
            (
                rep["rep"],
                f"{1e3 * rep['melted_kg']:.0f}",
                f"{rep['minutes']:g}",
                number(rep["latent_kJ"], 0),
                number(rep["most_kJ"], 0),
                number(rep["latent_mean_W"], 0),
                number(rep["mean_W"], 0),
                number(rep["ceiling_K"], 2),
            )
            for rep in result["reps"]
        ]
        heads = ("rep", "melted, g", "min", "ice, kJ", "most, kJ", "ice, W", "most, W", "ceiling, °C")
        talk.table([(head, "right") for head in heads], rows)
    for sentence in result["sentences"]:
        talk.write(sentence)
