"""When things are worn, as people plan it (minutes, clock, kilometres, rules), made minutes of one effort.

A plan is a list of steps, ``{"do": "put_on", "at": "7.0 km"}``, in order of time; a wear sheet is such plans with lines, and
``from_km``, ``every_min`` and their like in a session's ``[[variant.cooling]]`` are turned into one.
"""

from contextlib import contextmanager

import numpy as np

from thermosim.cooling.device import Worn, from_spec, place_of
from thermosim.cooling.moments import SAME_KM, SAME_MIN, SHORTEST_STOP_S, At, Rule, Timetable, parse
from thermosim.engine.records import IN_STOMACH, POURED
from thermosim.errors import InputError

ACTIONS = ("put_on", "refill", "swap", "remove", "drink", "pour")
FIELDS = ("from_km", "to_km", "refill_km", "every_min", "every_km", "at_stops")  # of a [[variant.cooling]] table


def is_scheduled(spec: dict) -> bool:
    """Return whether a cooling table says when by a plan, by distance or by rule, so that it needs an effort."""
    return "plan" in spec or any(name in spec for name in FIELDS)


def worn_by(spec: dict, table: Timetable | None) -> Worn:
    """Build a worn device from a cooling table, its schedule made minutes.

    Parameters
    ----------
    spec : dict
        As :func:`thermosim.cooling.from_spec` takes it, with :data:`FIELDS` or a ``plan`` in place of times.
    table : Timetable, optional
        Without one (a sheet without its session) everything is checked but the times.

    Raises
    ------
    InputError
        With the file and the line where a wear sheet says so.
    """
    if not is_scheduled(spec):
        return from_spec(spec)
    fields = {name: value for name, value in spec.items() if name not in (*FIELDS, "plan")}
    file, _ = place_of(fields.pop("planned_in", ""))
    plan = spec.get("plan")
    first = plan[0].get("line") if plan and isinstance(plan, list) and isinstance(plan[0], dict) else None
    with _blamed(file, first):
        if plan is None:
            return _by_fields(spec, fields, table)
        _refuse_both(spec)
        device = from_spec(fields)
        _check_plan(plan, device, file)
        if table is None:
            return device
        times = _times_of(plan, _verb(device), table, file)
        where = f"{file}, line {first}" if file and first else ""
        return from_spec({**fields, **times, **({"planned_in": where} if where else {})})


@contextmanager
def _blamed(file, line, field=None):
    """Give an :class:`InputError` the place in the plan that it comes from, and the field that the user wrote."""
    try:
        yield
    except InputError as error:
        name = field if field and error.field == "at" else error.field
        place = (error.file, error.line) if error.file else (file, line if file else None)
        raise InputError(error.problem, field=name, file=place[0], line=place[1], remedy=error.remedy) from None


def _verb(worn: Worn) -> str:
    """Return the action that a device is for: put_on, drink or pour."""
    places = set(worn.device.rows()["place"].tolist())
    return "drink" if places <= {IN_STOMACH} else "pour" if places <= {POURED} else "put_on"


# --- a plan without its effort: grammar, actions in a possible order ----------------------------------------------------


def _check_plan(plan, worn: Worn, file) -> None:
    """Refuse a plan that cannot be meant whatever the effort."""
    if not isinstance(plan, list) or not plan or not all(isinstance(step, dict) and {"do", "at"} <= set(step) for step in plan):
        raise InputError("is not a list of steps with 'do' and 'at' each", field="plan", remedy="write a wear sheet instead")
    verb, name, refillable = _verb(worn), worn.device.name, bool((worn.device.rows()["charge_kg"] > 0.0).any())
    on, last = None, {}
    for step in plan:
        with _blamed(file, step.get("line"), step.get("field")):
            when = parse(step["at"])
            _check_action(step, when, verb, name)
            if step["do"] == "put_on":
                if on is not None:
                    since = on["at"] if on.get("line") is None else f"{on['at']} (line {on['line']})"
                    raise InputError(f"{name} is put on at {step['at']}, but it is on since {since}", field="action:",
                                     remedy="remove it first, or give the second one a label of its own")  # fmt: skip
                on = None if isinstance(when, Rule) else step  # what goes on at stops comes off with them
            elif verb == "put_on":
                _check_worn(step, on, name, refillable, plan)
                on = None if step["do"] == "remove" else on
            if isinstance(when, At) and when.unit != "clock":
                _forward(step, when.number, last.get(when.unit, -1.0), f"{when.text} after {last.get(when.unit, 0.0):g}")
                last[when.unit] = when.number


def _check_action(step, when, verb: str, name: str) -> None:
    """Refuse an action that is none of this device's, and rules that the action cannot have."""
    do, rule = step["do"], when.unit if isinstance(when, Rule) else None
    if do not in ACTIONS:
        raise InputError(f"is {do!r}, allowed are {', '.join(ACTIONS)}", field="action", remedy="use one of these words")
    if (do in ("drink", "pour") or verb in ("drink", "pour")) and do != verb:
        what = {"drink": "is drunk", "pour": "is poured", "put_on": "is worn"}[verb]
        raise InputError(f"is {do}, but {name} {what}", field="action", remedy=f"write {verb}, or name another device")
    refused = {
        "put_on": ("min", "km", "spent"), "remove": ("min", "km", "stops", "spent"), "swap": ("spent",),
        "drink": ("spent",), "pour": ("spent",), "refill": (),
    }  # fmt: skip
    if rule in refused[do]:
        remedies = {
            "put_on": "put it on at one moment or at stops, and refill or swap it by a rule",
            "remove": "remove it at one moment; what goes on at stops comes off with them",
            "swap": "write refill: a spare charge goes in when the store is spent",
        }
        raise InputError(f"is {when.text!r}, which {do} cannot have", field="at",
                         remedy=remedies.get(do, "give a moment, every so many min or km, or stops"))  # fmt: skip
    if rule == "spent" and not step.get("spares"):
        raise InputError("is 'when spent' without spare charges", field="at",
                         remedy="say how many are at hand in the column spares")  # fmt: skip
    if rule != "spent" and ("spares" in step or "refill_at_share" in step):
        field = "spares" if "spares" in step else "refill_at_share"
        raise InputError(f"is given at {step['at']}, allowed is a refill 'when spent'", field=field,
                         remedy="leave it out on this line")  # fmt: skip


def _check_worn(step, on, name: str, refillable: bool, plan) -> None:
    """Refuse a refill, swap or removal of what is not on, and a refill of what holds nothing."""
    words = {"refill": "refilled", "swap": "swapped", "remove": "removed"}[step["do"]]
    if on is None:
        stops = any(one["do"] == "put_on" and parse(one["at"]).unit == "stops" for one in plan)
        raise InputError(f"{name} is {words} at {step['at']}, when it is not worn", field="action:",
                         remedy="what goes on at stops is fresh at each and comes off with it" if stops
                         else "put it on first, or cut the line")  # fmt: skip
    if step["do"] == "refill" and not refillable:
        raise InputError(f"{name} is refilled at {step['at']}, but it holds nothing", field="action:", remedy="cut the line")


def _forward(step, number: float, last: float, words: str) -> None:
    """Refuse a step before the one above it; only a removal and what is put on then may share a moment."""
    back = number < last - SAME_MIN if step["do"] == "put_on" else number < last + SAME_MIN
    if back:
        raise InputError(f"runs backwards or repeats a moment ({words})", field="at",
                         remedy="give the actions of one device in order of time")  # fmt: skip


# --- a plan on an effort ------------------------------------------------------------------------------------------------


def _times_of(plan, verb: str, table: Timetable, file) -> dict:
    """Return ``from_min``, ``to_min``, ``again_min``, ``refill_min``, ``spares`` and ``refill_at_share`` of a checked plan."""
    spans: list[dict] = []
    found: dict = {}
    portions: list[float] = []
    last, said = -1.0, ""
    for step in plan:
        with _blamed(file, step.get("line"), step.get("field")):
            when = parse(step["at"])
            if isinstance(when, At):
                minute = table.minute(when)
                words = f"{when.text} is minute {minute:.6g}, after {said} at minute {last:.6g}"
                _forward(step, minute, last, words)
                if step["do"] != "remove" and minute >= table.end_min - SAME_MIN:
                    raise InputError(f"is {when.text}, but the run ends at {table.end_min:.6g} min", field="at",
                                     remedy="give a moment before the end, or cut the line")  # fmt: skip
                last, said = minute, when.text
            if verb != "put_on":
                portions += [minute] if isinstance(when, At) else _by_rule(when, table, None)
            elif step["do"] == "put_on" and isinstance(when, Rule):
                stops = [stop for stop in table.stops() if stop[0] >= last - SAME_MIN]
                _refuse_nothing(stops, when)
                spans += [{"from": start, "to": end, "steps": []} for start, end in stops]
                last, said = stops[-1][1], when.text
            elif step["do"] == "put_on":
                spans.append({"from": minute, "to": None, "steps": []})
            elif step["do"] == "remove":
                spans[-1]["to"] = minute
            elif when.unit == "spent":
                found |= {name: step[name] for name in ("spares", "refill_at_share") if name in step}
            else:
                spans[-1]["steps"].append((step, when))
    if verb != "put_on":
        first, *more = _distinct(portions)
        return {"from_min": first, "refill_min": more}
    return found | _of_spans(spans, table, file)


def _of_spans(spans, table, file) -> dict:
    """Cut each time that a device is on where it is swapped, and put its refills between."""
    pieces: list[list] = []
    refills: list[float] = []
    for span in spans:
        ends = (span["from"], table.end_min if span["to"] is None else min(span["to"], table.end_min))
        moments: dict[str, list[float]] = {"swap": [], "refill": []}
        for step, when in span["steps"]:
            with _blamed(file, step.get("line"), step.get("field")):
                moments[step["do"]] += [table.minute(when)] if isinstance(when, At) else _by_rule(when, table, ends)
        swaps = _distinct(moments["swap"])
        cuts = [span["from"], *swaps, span["to"]]
        pieces += [[cuts[k], cuts[k + 1]] for k in range(len(cuts) - 1)]
        refills += [m for m in _distinct(moments["refill"]) if all(abs(m - swap) > SAME_MIN for swap in swaps)]
    (start, end), *again = pieces
    return {"from_min": start, **({} if end is None else {"to_min": end}), "again_min": again, "refill_min": refills}


def _by_rule(rule: Rule, table: Timetable, ends: tuple[float, float] | None) -> list[float]:
    """Return the minutes that a rule names inside a time of wear, its ends left out; without one, from the start to the end.

    Intervals are counted from when it is put on (portions: from the start), or begin at ``from``.
    """
    start, end = ends or (0.0, table.end_min)
    low = start if rule.first is None else table.minute(rule.first)
    high = end if rule.last is None else table.minute(rule.last)
    if high < low:
        raise InputError(f"is {rule.text!r}, which runs backwards: from minute {low:.6g} to {high:.6g}", field="at",
                         remedy="swap its ends, or correct one of them")  # fmt: skip
    if rule.unit == "stops":
        minutes = [begin for begin, _ in table.stops()]
    elif rule.unit == "min":
        steps = np.arange(0 if rule.first else 1, (high - low + SAME_MIN) / rule.every + 1)
        minutes = [low + rule.every * k for k in steps]
    else:
        low_km, high_km = table.km_at(low), table.km_at(high)
        if rule.first is not None and rule.first.unit == "km":
            low_km = rule.first.number
        steps = np.arange(0 if rule.first else 1, (high_km - low_km + SAME_KM) / rule.every + 1)
        places = [low_km + rule.every * k for k in steps if low_km + rule.every * k <= high_km + SAME_KM]
        minutes = [table.minute(At(place, "km", f"{place:g} km")) for place in places]
    after = start - SAME_MIN if ends is None else start + SAME_MIN
    inside = [float(m) for m in minutes if after < m < end - SAME_MIN and m <= high + SAME_MIN]
    _refuse_nothing(inside, rule, (start, end))
    return inside


def _refuse_nothing(found, rule: Rule, ends=None) -> None:
    if not found:
        while_on = "" if ends is None else f" between minute {ends[0]:.6g} and {ends[1]:.6g}"
        stop = f" (a stop is a pause of {SHORTEST_STOP_S:g} s or more)" if rule.unit == "stops" else ""
        raise InputError(f"is {rule.text!r}, which happens at no time{while_on}{stop}", field="at",
                         remedy="correct the rule, or cut the line")  # fmt: skip


def _distinct(minutes) -> list[float]:
    """Return moments in order, each once."""
    found: list[float] = []
    for minute in sorted(minutes):
        if not found or minute - found[-1] > SAME_MIN:
            found.append(minute)
    return found


# --- the fields of a [[variant.cooling]] table --------------------------------------------------------------------------


def _refuse_both(spec) -> None:
    for name in (*FIELDS, "from_min", "to_min", "refill_min", "again_min"):
        if name in spec:
            raise InputError("is given beside a plan", field=name, remedy="keep one of the two")


def _by_fields(spec: dict, fields: dict, table: Timetable | None) -> Worn:
    """Build what is worn by distance or rule from the fields of a table."""
    for one, other in (("from_min", "from_km"), ("to_min", "to_km")):
        if one in spec and other in spec:
            raise InputError(f"is given beside {one}", field=other, remedy="keep one of the two")
    if "again_min" in spec:
        raise InputError("is given beside distances or rules", field="again_min", remedy="use a wear sheet for several times")
    at_stops = spec.get("at_stops")
    if at_stops not in (None, "refill", "wear"):
        raise InputError(f"is {at_stops!r}, allowed are 'refill' (fresh at each stop) and 'wear' (on at stops alone)",
                         field="at_stops", remedy="write one of the two words")  # fmt: skip
    timed = ("from_min", "to_min", "refill_min")
    bare = from_spec({name: value for name, value in fields.items() if name not in timed})
    verb, steps = _verb(bare), _steps_of(spec, _verb(bare), table)
    if table is None:
        return bare
    _check_plan(steps, bare, None)
    kept = {name: value for name, value in fields.items() if name not in timed}
    return from_spec({**kept, **_times_of(steps, verb, table, None)})


def _steps_of(spec: dict, verb: str, table: Timetable | None) -> list[dict]:
    """Return the plan that the fields of a cooling table stand for."""

    def listed(name):
        return spec[name] if isinstance(spec.get(name), list | tuple) else [spec[name]] if name in spec else []

    def moment(name, unit):
        return [{"at": f"{number:.15g} {unit}", "field": name} for number in listed(name)]

    start, end = (moment(f"{end}_min", "min") + moment(f"{end}_km", "km") for end in ("from", "to"))
    refills = moment("refill_min", "min") + moment("refill_km", "km")
    if table is not None:
        for step in refills:
            with _blamed(None, None, step["field"]):
                step["minute"] = table.minute(parse(step["at"]))
        refills.sort(key=lambda step: step.pop("minute"))
    bounds = f" from {start[0]['at']}" if verb != "put_on" and start else ""
    bounds += f" to {end[0]['at']}" if verb != "put_on" and end else ""
    every = [{"at": f"every {spec[n]:.15g} {n[6:]}{bounds}", "field": n} for n in ("every_min", "every_km") if n in spec]
    if spec.get("at_stops") == "wear":
        beside = [step["field"] for step in (*start, *end, *refills, *every)]
        if beside or verb != "put_on":
            raise InputError("is 'wear', which goes with no other time" if beside else "is 'wear', but this is no thing to wear",
                             field="at_stops", remedy=f"leave {beside[0]} out" if beside else "write 'refill'")  # fmt: skip
        return [{"do": "put_on", "at": "at stops", "field": "at_stops"}]
    rules = [*every, *([{"at": "at stops", "field": "at_stops"}] if "at_stops" in spec else [])]
    if verb != "put_on":
        begin = [] if every else start  # a rule begins there itself
        return [{**step, "do": verb} for step in (*begin, *refills, *rules)]
    start = start or [{"at": "0 min", "field": "from_min"}]
    return [
        *({**step, "do": "put_on"} for step in start),
        *({**step, "do": "refill"} for step in (*refills, *rules)),
        *({**step, "do": "remove"} for step in end),
    ]
