"""What a device is to the engine: rows of one boundary table, and times at which it is put on, refilled, taken off."""

import dataclasses
from collections.abc import Iterable
from typing import Protocol

import numpy as np

from thermosim.cooling.card import check_number
from thermosim.cooling.rows import nearest, rows_of
from thermosim.engine.nodes import MAX_ROWS
from thermosim.engine.records import AROUND, BATH, EVENT, ON_SKIN, PUT_ON, REFILL, ROW, TAKE_OFF
from thermosim.errors import InputError
from thermosim.parameters import SEGMENTS

LARGEST_COVERED_SHARE = 0.9  # of a segment's skin under devices at one time; the rest keeps the segment's own balance
_ROUNDING = 1e-9


class Device(Protocol):
    """A cooling thing. Any frozen dataclass with a ``name`` and this one method will do."""

    @property
    def name(self) -> str:
        """What the device is called in results."""
        ...

    def rows(self) -> np.ndarray:
        """Return its rows (dtype ROW), usually from :func:`boundary_row`; all in SI units and °C."""
        ...


@dataclasses.dataclass(frozen=True)
class Worn:
    """A device with the times at which it is on the runner.

    Parameters
    ----------
    device : Device
    from_min, to_min : float
        Put on and taken off [min from the start]; ``to_min`` None is to the end.
    refill_min : tuple of float
        A fresh charge goes in [min]; drinks are drunk again, water is poured again.
    spares : int
        Charges at hand that go in when the store is spent, whenever that is; as many each time it is put on.
    refill_at_share : float
        A store counts as spent when less than this share [1] is left: of its ice; of its water where it had no ice.
    ranges : dict of str -> (low, high)
        What is known of this very device: 90 % interval of a field, in place of the card's spread.
    sources : dict of str -> str
        Where a field's value comes from: kept, and told.
    again_min : tuple of (float, float)
        Further times at which a fresh one is put on and taken off [min], in order; the last end may be None.
    planned_in : str
        Where this was planned, ``"file, line 4"``: for refusals.
    """

    device: Device
    from_min: float = 0.0
    to_min: float | None = None
    refill_min: tuple[float, ...] = ()
    spares: int = 0
    refill_at_share: float = 0.05
    ranges: dict[str, tuple[float, float]] = dataclasses.field(default_factory=dict)
    sources: dict[str, str] = dataclasses.field(default_factory=dict)
    again_min: tuple[tuple[float, float | None], ...] = ()
    planned_in: str = ""

    def __post_init__(self):
        """Refuse what is no device, and times, spares and ranges that cannot be meant."""
        _check_device("device", self.device)
        check_number("spares", self.spares, low=0, high=1000)
        check_number("refill_at_share", self.refill_at_share, low=0.0, high=1.0)
        if self.spares != int(self.spares):
            raise InputError(f"is {self.spares:g}, allowed are whole numbers", field="spares", remedy="count whole charges")
        if not isinstance(self.planned_in, str):
            raise InputError(f"is {self.planned_in!r}, allowed is a text", field="planned_in", remedy="leave it out")
        _check_ranges(self)
        _check_times(self)

    @property
    def spans_min(self) -> tuple[tuple[float, float | None], ...]:
        """All times at which it is on, (from, to) [min]; None is to the end."""
        return ((self.from_min, self.to_min), *self.again_min)

    def worn_at(self, minutes) -> np.ndarray:
        """Return at which of these minutes it is on the runner, ends included."""
        minutes = np.asarray(minutes, dtype=float)
        ends = [(start, np.inf if end is None else end) for start, end in self.spans_min]
        return np.any([(minutes >= start) & (minutes <= end) for start, end in ends], axis=0)


def worn_list(cooling) -> list[Worn]:
    """Return what is worn, each with its times; a bare device is worn throughout, None is nothing.

    Raises
    ------
    InputError
        Not a list, or something in it that is no device.
    """
    if cooling is None:
        return []
    if isinstance(cooling, str | dict | Worn) or not isinstance(cooling, Iterable):
        raise InputError(f"is {_called(cooling)}, needed is a list of devices", field="cooling", remedy="put devices in [ ]")
    found = list(cooling)
    for k, one in enumerate(found):
        if not isinstance(one, Worn):
            _check_device(f"cooling[{k}]", one)
    return [one if isinstance(one, Worn) else Worn(one) for one in found]


def _check_device(field: str, one) -> None:
    """Refuse what is no device: no dataclass made with its fields, no name, no ``rows()``."""
    if isinstance(one, type):
        raise InputError(f"is the class {one.__name__}, needed is a device", field=field, remedy=f"write {one.__name__}(…)")
    named = isinstance(getattr(one, "name", None), str) and callable(getattr(one, "rows", None))
    if not named or not dataclasses.is_dataclass(one):
        remedy = "make one by its kind, e.g. thermosim.cooling.ice_collar(ice_kg=0.25)"
        if isinstance(one, dict):
            remedy = "make one of the table with thermosim.cooling.from_spec(table)"
        raise InputError(f"is {_called(one)}, needed is a device (a dataclass with name and rows())", field=field, remedy=remedy)


def _called(one) -> str:
    """Return what something is called in a refusal.

    >>> _called({"device": "fan"}), _called(3), _called("fan")
    ("a table, {'device': 'fan'}", '3', "'fan'")
    """
    text = " ".join(repr(one).split())
    text = text if len(text) <= 50 else f"{text[:47]}..."
    return f"a table, {text}" if isinstance(one, dict) else f"one device, {text}" if isinstance(one, Worn) else text


def _check_times(worn) -> None:
    """Refuse times that are no times, that run backwards, and refills while it is not worn."""
    for name, minute in (("from_min", worn.from_min), ("to_min", worn.to_min), *(("refill_min", m) for m in worn.refill_min)):
        check_number(name if name != "refill_min" else "from_min", minute, shown_as=name, optional=name == "to_min")
    if worn.to_min is not None and worn.to_min <= worn.from_min:
        raise InputError(
            f"is {worn.to_min:g} min, but the device goes on at {worn.from_min:g} min",
            field="to_min",
            remedy="take it off later than it is put on",
        )
    last = worn.to_min
    for start, end in worn.again_min:
        check_number("from_min", start, shown_as="again_min")
        check_number("to_min", end, shown_as="again_min", optional=True)
        if last is None or start < last or (end is not None and end <= start):
            until = "the end" if end is None else f"{end:g} min"
            raise InputError(
                f"has {start:g} min to {until}: it overlaps what stands before it, or runs backwards",
                field="again_min",
                remedy="give each time from and to, in order, after to_min",
            )
        last = end
    if list(worn.refill_min) != sorted(set(worn.refill_min)):
        raise InputError(
            f"is {', '.join(f'{minute:g}' for minute in worn.refill_min)}: it runs backwards or names a minute twice",
            field="refill_min",
            remedy="give refills in order of time, each once",
        )
    for minute in worn.refill_min:
        if not any(start < minute < (np.inf if end is None else end) for start, end in worn.spans_min):
            raise InputError(
                f"has {minute:g} min, when the device is not worn",
                field="refill_min",
                remedy="refill between from_min and to_min",
            )


def _check_ranges(worn) -> None:
    """Refuse ranges and sources of what is no field of the device, and intervals that do not hold the value."""
    fields = [field.name for field in dataclasses.fields(worn.device)]
    for what in ("ranges", "sources"):
        for name in getattr(worn, what):
            if name not in fields:
                near = nearest(name, fields)
                raise InputError(
                    f"names {name}, which is no field of {worn.device.name}; its fields are {', '.join(fields)}",
                    field=what,
                    remedy=f"did you mean {near!r}?" if near else "remove it",
                )
    for name, (low, high) in worn.ranges.items():
        given = getattr(worn.device, name)
        numbers = all(isinstance(one, int | float) and not isinstance(one, bool) for one in (low, high, given))
        if not numbers or not low <= given <= high or not np.isfinite([low, high]).all():
            raise InputError(
                f"of {name} is {low!r} to {high!r}, and its value is {given!r}",
                field="ranges",
                remedy="give the low and the high end about the value",
            )


def flatten_cooling(
    cooling, area_m2: np.ndarray, end_s: float, *, shrink: bool = False
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Turn worn devices into engine rows, events in order of time, and one name per device.

    Parameters
    ----------
    cooling : iterable of Worn
        Devices with their times; a bare device is worn throughout.
    area_m2 : array (12,)
        Skin of each segment.
    end_s : float
        End of the run [s].
    shrink : bool
        Make rows that together cover too much of a segment smaller, all by one factor, instead of refusing them:
        for areas that were drawn at random.

    Raises
    ------
    InputError
        A row out of range, more rows than the engine holds, a device put on or refilled after the end, devices that at
        one time cover more than 90 % of a segment, or baths, worn things and cooled breath that cannot be together.
    """
    rows: list[np.void] = []
    events: list[tuple[float, int, int]] = []
    names: list[str] = []
    places: list[str] = []  # where each row was planned
    for number, worn in enumerate(worn_list(cooling)):
        names.append(
            worn.device.name if worn.device.name not in names else f"{worn.device.name} {number + 1}"
        )
        for k, (start, _) in enumerate(worn.spans_min):
            if 60.0 * start >= end_s:
                raise InputError(
                    f"is {start:g} min, but the run ends at {end_s / 60.0:g} min",
                    field=f"{names[-1]}: {'again_min' if k else 'from_min'}",
                    remedy="put the device on before the end, or leave it out",
                )
        for minute in worn.refill_min:
            if 60.0 * minute >= end_s:
                file, line = place_of(worn.planned_in)
                raise InputError(
                    f"is {minute:g} min, but the run ends at {end_s / 60.0:g} min",
                    field=f"{names[-1]}: refill_min",
                    file=file,
                    line=line,
                    remedy="give refills before the end, or leave them out",
                )
        for span, row in _rows_by_span(worn):
            row["device"] = number
            row["spares"], row["refill_at_share"] = worn.spares, worn.refill_at_share
            events += [(60.0 * minute, len(rows), action) for minute, action in _times_of(worn, span) if 60.0 * minute <= end_s]
            rows.append(row)
            places.append(worn.planned_in)
    if len(rows) > MAX_ROWS:
        raise InputError(
            f"need {len(rows)} places on the body, allowed are {MAX_ROWS}",
            field="cooling",
            remedy="use fewer devices in one run",
        )
    ordered = sorted(events, key=lambda event: (event[0], event[2] != TAKE_OFF))
    table = np.array(rows, dtype=ROW) if rows else np.zeros(0, dtype=ROW)
    table_of_events = np.array(ordered, dtype=EVENT) if ordered else np.zeros(0, dtype=EVENT)
    _fit(table, table_of_events, np.asarray(area_m2), shrink, names, places)
    _refuse_what_cannot_be_together(table, table_of_events, np.asarray(area_m2), end_s, shrink, names, places)
    return table, table_of_events, names


def _rows_by_span(worn: Worn):
    """Yield each time that it is on with each of its rows; what stays full is one row for all times, a fresh store is its own."""
    rows = rows_of(worn.device)
    for k, span in enumerate(worn.spans_min):
        for row in rows:
            if row["place"] == ON_SKIN:
                yield [span], row.copy()
            elif k == 0:
                yield list(worn.spans_min), row.copy()


def _times_of(worn: Worn, spans) -> list[tuple[float, int]]:
    """Return what happens to a row that is on at these times: (minute, action)."""
    found = []
    for start, end in spans:
        found += [(start, PUT_ON)] + ([] if end is None else [(end, TAKE_OFF)])
        found += [(minute, REFILL) for minute in worn.refill_min if start < minute < (np.inf if end is None else end)]
    return found


def covered_at_once(rows, events) -> tuple[np.ndarray, np.ndarray]:
    """Return the largest area that rows cover at one time on each segment [m²], shape (12,), and which rows those are.

    Rows are told as (12, rows), in the order in which they were put on: 0 is not there, 1 the first.
    """
    order = np.zeros(rows.size, dtype=int)
    largest, there = np.zeros(len(SEGMENTS)), np.zeros((len(SEGMENTS), rows.size), dtype=int)
    for k, event in enumerate(events, start=1):
        if event["action"] != REFILL:
            order[event["row"]] = k if event["action"] == PUT_ON else 0
        on_skin = (order > 0) & (rows["place"] == ON_SKIN)
        now = np.bincount(rows["segment"][on_skin], rows["area_m2"][on_skin], len(SEGMENTS))
        for s in np.flatnonzero(now > largest):
            largest[s], there[s] = now[s], np.where(on_skin & (rows["segment"] == s), order, 0)
    return largest, there


def _fit(rows, events, area_m2, shrink: bool, names, places) -> None:
    """Refuse rows that cover too much of a segment at one time, or make them smaller in place."""
    covered, there = covered_at_once(rows, events)
    for s in np.flatnonzero(covered > LARGEST_COVERED_SHARE * area_m2):
        if not shrink:
            by_time = sorted(np.flatnonzero(there[s]), key=lambda row: there[s, row])
            who = list(dict.fromkeys(names[rows[row]["device"]] for row in by_time))
            together = f"of {who[0]} " if len(who) == 1 else f"of {', '.join(who[:-1])} and {who[-1]} together "
            file, line = place_of(places[by_time[-1]])
            raise InputError(
                f"{together}covers {covered[s]:.4f} m² of the {SEGMENTS[s].replace('_', ' ')}, which has {area_m2[s]:.4f} m² "
                f"(allowed is {100.0 * LARGEST_COVERED_SHARE:.0f} % of it)",
                field="contact_area_m2",
                file=file,
                line=line,
                remedy="give a smaller contact area" if len(who) == 1 else "take one off first, or give smaller contact areas",
            )
        factor = (LARGEST_COVERED_SHARE - _ROUNDING) * area_m2[s] / covered[s]
        for name in ("area_m2", "outer_area_m2"):
            rows[name] = np.where(rows["segment"] == s, factor * rows[name], rows[name])


def _refuse_what_cannot_be_together(rows, events, area_m2, end_s, shrink: bool, names, places) -> None:
    """Refuse more bath than skin on a segment, a worn device under water, and more cooled breath than breath.

    What was drawn at random (``shrink``) is made to fit in place, all that meets by one factor.

    Raises
    ------
    InputError
        Naming the devices, the segment and the minutes.
    """
    on = np.zeros(rows.size, dtype=bool)
    for k, event in enumerate(events):
        if event["action"] != REFILL:
            on[event["row"]] = event["action"] == PUT_ON
        if k + 1 < events.size and events[k + 1]["time_s"] == event["time_s"]:
            continue  # what is taken off and put on at one time happens at once
        while (problem := _what_cannot_be_together(rows, on, area_m2)) is not None:
            said, who, total = problem
            if shrink:
                _scale_shares(rows, who, (1.0 - _ROUNDING) / total)
                continue
            last = max(who, key=lambda row: np.flatnonzero(events["row"][: k + 1] == row)[-1])
            file, line = place_of(places[last])
            taken_off = events[k + 1 :][(events["action"][k + 1 :] == TAKE_OFF) & np.isin(events["row"][k + 1 :], who)]
            until_s = taken_off["time_s"][0] if taken_off.size else end_s
            who = list(dict.fromkeys(names[rows[row]["device"]] for row in who))
            together = who[0] if len(who) == 1 else f"{', '.join(who[:-1])} and {who[-1]} together"
            raise InputError(
                f"of {together} {said} from minute {event['time_s'] / 60.0:g} to {until_s / 60.0:g}",
                field="cooling",
                file=file,
                line=line,
                remedy="give smaller shares" if len(who) == 1 else "take one off first, or leave one out",
            )


def _scale_shares(rows, which, factor: float) -> None:
    """Make the areas, the shares under water and the shares of the breath of some rows smaller, in place."""
    for row in which:
        fields = {ON_SKIN: ("area_m2", "outer_area_m2"), BATH: ("segment_share",), AROUND: ("breath_share",)}
        for name in fields[int(rows["place"][row])]:
            rows[name][row] *= factor


def _what_cannot_be_together(rows, on, area_m2) -> tuple[str, np.ndarray, float] | None:
    """Return what is wrong with the rows that are on at one time, which rows those are and their share [1], or None."""
    bath, breath = on & (rows["place"] == BATH), on & (rows["place"] == AROUND) & (rows["breath_share"] > 0.0)
    for s in np.unique(rows["segment"][bath]):
        here = bath & (rows["segment"] == s)
        share, where = float(rows["segment_share"][here].sum()), SEGMENTS[s].replace("_", " ")
        if share > 1.0 + _ROUNDING:
            return f"hold {100.0 * share:.4g} % of the skin of the {where} (allowed is 100 %)", np.flatnonzero(here), share
        worn = on & (rows["place"] == ON_SKIN) & (rows["segment"] == s)
        total = share + float(rows["area_m2"][worn].sum() / area_m2[s])
        if worn.any() and share > 0.0 and total > 1.0 + _ROUNDING:
            said = f"take {100.0 * total:.4g} % of the skin of the {where}, {100.0 * share:.4g} % of it under water"
            return f"{said} (allowed is 100 %)", np.flatnonzero(here | worn), total
    share = float(rows["breath_share"][breath].sum())
    if share > 1.0 + _ROUNDING:
        return f"cool {100.0 * share:.4g} % of the breath (allowed is 100 %)", np.flatnonzero(breath), share
    return None


def place_of(planned_in: str) -> tuple[str | None, int | None]:
    """Return file and line of where something was planned.

    >>> place_of("salt-pans.wear.csv, line 4")
    ('salt-pans.wear.csv', 4)
    """
    file, comma, line = planned_in.rpartition(", line ")
    return (file, int(line)) if comma and line.isdecimal() else (planned_in or None, None)


_WEAR_FIELDS = ("from_min", "to_min", "refill_min", "spares", "refill_at_share", "ranges", "sources", "again_min", "planned_in")


def _kinds() -> dict:
    """Return the device kinds of the package by the name that sessions use."""
    from thermosim.cooling.kinds import KINDS

    return KINDS


def from_spec(spec: dict) -> Worn:
    """Build a worn device from a session's ``[[variant.cooling]]`` table: ``device`` and its fields.

    Raises
    ------
    InputError
        Unknown device or field (the nearest name is suggested), or a value outside its range.
    """
    kinds = _kinds()
    fields = dict(_table("cooling", spec))
    kind = fields.pop("device", None)
    if not isinstance(kind, str) or kind not in kinds:
        near = nearest(kind, kinds)
        raise InputError(
            f"is {kind!r}, known are {', '.join(kinds)}",
            field="device",
            remedy=f"did you mean {near!r}?" if near else "use a known device",
        )
    wear = {name: fields.pop(name) for name in _WEAR_FIELDS if name in fields}
    if "refill_min" in wear:
        refills = wear["refill_min"]
        wear["refill_min"] = tuple(refills) if isinstance(refills, list | tuple) else (refills,)
    if "again_min" in wear:
        wear["again_min"] = _spans(wear["again_min"])
    if "ranges" in wear:
        wear["ranges"] = {name: _two(name, ends) for name, ends in _table("ranges", wear["ranges"]).items()}
    if "sources" in wear:
        wear["sources"] = {name: str(text) for name, text in _table("sources", wear["sources"]).items()}
    known = [field.name for field in dataclasses.fields(kinds[kind])]
    for name in fields:
        if name not in known:
            near = nearest(name, known + list(_WEAR_FIELDS))
            raise InputError(
                f"is not a field of {kind}; its fields are {', '.join(known)}",
                field=name,
                remedy=f"did you mean {near!r}?" if near else "remove it",
            )
    return Worn(kinds[kind](**fields), **wear)


def _spans(given) -> tuple:
    if not isinstance(given, list | tuple) or not all(isinstance(one, list | tuple) and len(one) == 2 for one in given):
        raise InputError(f"is {given!r}, not pairs of minutes", field="again_min", remedy="write e.g. again_min = [[40, 60]]")
    return tuple((start, end) for start, end in given)


def _table(name: str, given) -> dict:
    if not isinstance(given, dict):
        raise InputError(f"is {given!r}, not a table", field=name, remedy=f"write {name} = {{field = …}}")
    return given


def _two(name: str, ends) -> tuple[float, float]:
    if not isinstance(ends, list | tuple) or len(ends) != 2:
        raise InputError(f"of {name} is {ends!r}, not two numbers", field="ranges", remedy="give [low, high]")
    return ends[0], ends[1]


def is_own(worn: Worn) -> bool:
    """Return whether a device comes from the user's own code, so that no table can build it again."""
    return type(worn.device) not in _kinds().values()


def spec_of(worn: Worn) -> dict:
    """Return the plain table that :func:`from_spec` would read back.

    A device of the user's own keeps its fields, as text where they are neither numbers nor texts.
    """
    fields = dataclasses.asdict(worn.device)  # type: ignore[call-overload]
    name = fields.pop("name")
    kind = next((kind for kind, known in _kinds().items() if type(worn.device) is known), None)
    if kind is None:
        fields = {key: entry if _is_plain(entry) else str(entry) for key, entry in fields.items()}
    else:
        fields = {key: list(entry) if isinstance(entry, tuple) else entry for key, entry in fields.items() if entry is not None}
        if name != kind:
            fields["name"] = name
    spec = {**fields, "device": kind or name, "from_min": worn.from_min}
    if worn.to_min is not None:
        spec["to_min"] = worn.to_min
    if worn.refill_min:
        spec["refill_min"] = list(worn.refill_min)
    if worn.again_min:
        spec["again_min"] = [list(span) for span in worn.again_min]
    if worn.planned_in:
        spec["planned_in"] = worn.planned_in
    for field in ("spares", "refill_at_share", "ranges", "sources"):
        if getattr(worn, field) != (Worn.__dataclass_fields__[field].default if field in ("spares", "refill_at_share") else {}):
            spec[field] = getattr(worn, field)
    return spec


def _is_plain(entry) -> bool:
    return isinstance(entry, str | bool | int) or (isinstance(entry, float) and bool(np.isfinite(entry)))
