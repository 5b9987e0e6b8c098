"""The cooling plan of a run in words and numbers: what is worn when, what it weighs, what went into it."""

import json
from typing import Any

import numpy as np

from thermosim.cli.terminal import number

TITLE = "Cooling plan"
TREATMENT = "Immersion is emergency treatment: never a race device, never alone; see the cautions."


def cooling_plan(session, variant, ds) -> list[dict[str, Any]]:
    """Return one entry a device of what was planned, and of what the run's books say went in.

    Parameters
    ----------
    session : Session
    variant : Variant
    ds : xarray.Dataset
        Its run.

    Returns
    -------
    list of dict
        ``name``, ``segments``, ``times`` (``action``, ``at_min``, ``at_km``), ``carried_kg`` (fresh), ``fills`` (charges or
        portions in all), ``refills`` (those after it was put on, spares included), ``spares_used``, ``ice_kg`` and
        ``water_kg`` that went in, ``heat_from_skin_kJ`` and ``heat_from_air_kJ`` by the end, ``water_left_kg`` in it,
        ``in_it`` (a bath), ``treatment_only``, ``notes``.
    """
    from thermosim.cooling.kinds import TREATMENT_ONLY
    from thermosim.cooling.rows import ice_and_water
    from thermosim.engine.records import AROUND, BATH, ON_SKIN
    from thermosim.story import timetable_of, worn_of

    if "device" not in ds.dims:
        return []
    table, found = timetable_of(session), []
    touched = json.loads(ds.attrs["device_segments"])
    planned = worn_of(session, variant)  # what blocks put on is behind it
    for name, spec, worn in zip(ds.device.values, variant.cooling, planned):
        rows, times = worn.device.rows(), _times(worn, table)
        charged = float(ds.device_water.sel(device=name, water="charged")[-1])
        once = float(rows["charge_kg"].sum())
        fills = round(charged / once) if once > 0.0 else 0
        ice, water = (float((rows["charge_kg"] * share).sum()) for share in ice_and_water(rows))
        puts = sum(one["action"] == "on" for one in times)
        refills = max(fills - puts, 0)
        in_it = bool((rows["place"] == BATH).any())
        on = np.isin(rows["place"], (ON_SKIN, AROUND))
        found.append(
            {
                "name": str(name),
                "segments": touched[str(name)],
                "times": times,
                "carried_kg": float(rows["dry_mass_kg"][on].sum() + rows["charge_kg"][rows["place"] == ON_SKIN].sum()),
                "fills": fills,
                "refills": refills,
                "spares_used": max(refills - sum(one["action"] == "refill" for one in times), 0),
                "ice_kg": charged * ice / once if once > 0.0 else 0.0,
                "water_kg": charged * water / once if once > 0.0 else charged,  # mist has no charge
                "heat_from_skin_kJ": float(ds.device_heat.sel(device=name, side="skin")[-1]) / 1000.0,
                "heat_from_air_kJ": float(ds.device_heat.sel(device=name, side=["air", "water"]).sum("side")[-1]) / 1000.0,
                "water_left_kg": float(ds.device_water.sel(device=name, water="left")[-1]),
                "in_it": in_it,
                "treatment_only": spec.get("device") in TREATMENT_ONLY,
                "notes": [step["note"] for step in spec.get("plan", []) if "note" in step],
            }
        )
    return found


def _times(worn, table) -> list[dict[str, Any]]:
    """Return what happens to a device up to the end, in order; what stays on has no end."""
    events = [(minute, "refill") for minute in worn.refill_min]
    for start, end in worn.spans_min:
        events += [(start, "on")] + ([] if end is None else [(end, "off")])
    order = {"off": 0, "on": 1, "refill": 2}
    return [
        {"action": action, "at_min": minute, "at_km": table.km_at(minute)}
        for minute, action in sorted(events, key=lambda event: (event[0], order[event[1]]))
        if minute <= table.end_min
    ]


def plan_lines(plan: list[dict[str, Any]]) -> list[str]:
    """Return one line a device and, where there are several, one for all."""
    lines = [f"{_label(one)}: {_when(one)}; {'; '.join(_amounts(one))}" for one in plan]
    if len(plan) > 1:
        ice, water = (sum(one[name] for one in plan) for name in ("ice_kg", "water_kg"))
        lines.append(f"in all: {number(ice, 2)} kg of ice and {number(water, 2)} kg of water")
    return lines


def ceiling_lines(plan: list[dict[str, Any]], ds) -> list[str]:
    """Return the ceiling of all devices together, and what stands apart from it; nothing where nothing is worn."""
    if not plan:
        return []
    from thermosim import cautions
    from thermosim.study.ice_left import BODY_HEAT_J_KGK

    mass_kg = json.loads(ds.attrs["inputs"])["runner"]["mass_kg"]
    names = ("heat_through_devices_J", "wetting_J", "sun_kept_off_J")
    joules, wetting, shade = (ds.attrs[name] / (mass_kg * BODY_HEAT_J_KGK) for name in names)
    took_kJ = number(ds.attrs[names[0]] / 1000.0, 0)
    line = f"Ceiling: the devices took {took_kJ} kJ from the runner, at most {number(joules, 2)} °C{more_words(wetting, shade)}"
    lines = [
        f"{line}. It counts neither the evaporation that a device blocks nor what moving air does, and core is not mean body."
    ]
    if any(one["treatment_only"] for one in plan):
        lines.append(TREATMENT)
    if any(_portions(one) and not one["segments"] for one in plan):
        lines.append(cautions.DRINK)
    return lines


def more_words(wetting_K: float, shade_K: float) -> str:
    """Return what stands apart from the joules of a ceiling [K], where it is worth a hundredth of a degree."""
    words = f"; up to {number(wetting_K, 2)} °C more if all the water left on the skin dried there" if wetting_K >= 0.005 else ""
    return words + (f"; {number(shade_K, 2)} °C more by sun kept off" if shade_K >= 0.005 else "")


def _label(one) -> str:
    where = " + ".join(name.replace("_", " ") for name in one["segments"])
    return one["name"].replace("_", " ") + (f" ({where})" if where else "")


def _when(one) -> str:
    if _portions(one):
        return f"at {_list([_at(event) for event in one['times'] if event['action'] != 'off'])}"
    on, off = ([event for event in one["times"] if event["action"] == action] for action in ("on", "off"))
    swaps = [event for event in off if event["at_min"] in [other["at_min"] for other in on]]
    moments = [event["at_min"] for event in swaps]
    starts, ends = ([event for event in events if event["at_min"] not in moments] for events in (on, off))
    spans = [f"{_at(start)} to {_at(ends[k]) if k < len(ends) else 'the end'}" for k, start in enumerate(starts)]
    refills = [event for event in one["times"] if event["action"] == "refill"]
    how = "in it" if one["in_it"] else "worn" if one["carried_kg"] > 0.0 else "on"  # a fan, a canopy are not worn
    said = [f"{how} from {_list(spans)}"]
    for word, found in (("swapped", swaps), ("refilled", refills)):
        said += [f"{word} at {_list([_at(event) for event in found])}"] if found else []
    return ", ".join(said)


def _amounts(one) -> list[str]:
    if _portions(one):
        said = [f"{one['fills']} portion{'s' if one['fills'] > 1 else ''}"]
    else:
        said = [f"{number(one['carried_kg'], 2)} kg carried when fresh"] if one["carried_kg"] > 0.0 else []
        spares = f" ({one['spares_used']} from spares)" if one["spares_used"] else ""
        if one["fills"]:
            said.append(f"{one['refills'] or 'no'} refill{'' if one['refills'] == 1 else 's'}{spares}")
    amounts = [f"{number(one[f'{name}_kg'], 2)} kg of {name}" for name in ("ice", "water") if one[f"{name}_kg"] > 0.0]
    return [*said, *amounts, *one["notes"]] or ["nothing goes into it"]


def _portions(one) -> bool:
    """Return whether it is drunk or poured: nothing is carried, and it was filled."""
    return one["carried_kg"] == 0.0 and one["fills"] > 0


def _at(event) -> str:
    return f"{round(event['at_min'], 1):g} min ({event['at_km']:.2f} km)"


def _list(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
