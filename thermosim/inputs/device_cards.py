"""Device cards: what one real device is, each number with its range and its source; and sessions that name a card.

Inputs know no device: a callable builds one from its table and refuses what the device itself would refuse
(:func:`thermosim.cooling.cards.build`).
"""

import numbers
from collections.abc import Callable
from pathlib import Path
from typing import Any

from thermosim.errors import InputError
from thermosim.inputs.checks import check_flag, check_names, shown
from thermosim.inputs.files import read_toml
from thermosim.inputs.limits import check_device

ENDING = ".device.toml"
ENTRY_FIELDS = ("value", "low", "high", "source")
WEAR_FIELDS = (
    "from_min",
    "to_min",
    "refill_min",
    "spares",
    "refill_at_share",
    "again_min",
    "planned_in",
    "plan",
    "from_km",
    "to_km",
    "refill_km",
    "every_min",
    "every_km",
    "at_stops",
)
_SIDE_TABLES = ("ranges", "sources")
LONGEST_NOTES = 2000  # [characters]


def read_card(path, build_device: Callable[[dict], object] | None = None) -> dict[str, Any]:
    """Return the device table of a ``*.device.toml``.

    Parameters
    ----------
    path : path
        The card: ``kind``, a ``name``, ``notes``, and one entry for each field, a bare value or a table of ``value``,
        ``low`` and ``high`` (90 % interval) and ``source``.
    build_device : callable, optional
        Builds the device and refuses what it would refuse; the refusal then names the card and its line.

    Returns
    -------
    dict
        As in a session's ``[[variant.cooling]]``: ``device``, ``name``, the fields, ``ranges`` and ``sources``.
    """
    data, source = read_toml(path)
    with source.blame():
        kind_key = _kind_key(data)
        spec: dict[str, Any] = {"device": data[kind_key]}
        ranges, sources = {}, {}
        for name, entry in data.items():
            if name == "notes":
                _check_notes(entry)
            elif name in WEAR_FIELDS:
                problem = "is not a field of a device card: it says when a device is worn"
                raise InputError(problem, field=name, remedy=f"write {name} in the session's [[variant.cooling]]")
            elif name != kind_key:
                spec[name], interval, text = _entry(name, entry)
                ranges |= {} if interval is None else {name: interval}
                sources |= {} if text is None else {name: text}
        spec |= {name: table for name, table in (("ranges", ranges), ("sources", sources)) if table}
        try:
            if "covered" in spec:
                check_flag("covered", spec["covered"])
            check_device(dict(spec))
            if build_device is not None:
                build_device(spec)
        except InputError as error:
            field = kind_key if error.field == "device" else (error.field or "").rpartition(": ")[2] or None
            raise InputError(error.problem, field=field, remedy=error.remedy) from None
    return spec


def expand_device(entry: dict[str, Any], folder, build_device: Callable[[dict], object] | None = None) -> dict[str, Any]:
    """Return a cooling table in which the name of a card is replaced by what the card says.

    Parameters
    ----------
    entry : dict
        One ``[[variant.cooling]]``; where its ``device`` ends in ``.device.toml`` that file is read.
    folder : path
        The card's name is relative to it.
    build_device : callable, optional
        As in :func:`read_card`.

    Returns
    -------
    dict
        Fields beside ``device`` replace the card's, whose interval and source for them then no longer hold.
    """
    name = entry.get("device")
    if not isinstance(name, str) or not name.strip().lower().endswith(ENDING):
        return entry
    card = read_card(Path(folder) / name.strip(), build_device)
    own = {field: value for field, value in entry.items() if field != "device"}
    found = {**card, **{field: value for field, value in own.items() if field not in _SIDE_TABLES}}
    for table in _SIDE_TABLES:
        kept = {field: value for field, value in card.get(table, {}).items() if field not in own}
        given = own.get(table, {})
        merged = {**kept, **given} if isinstance(given, dict) else given
        found.pop(table, None)
        if merged:
            found[table] = merged
    return found


def _kind_key(data: dict) -> str:
    """Return under which name the card says its kind; sessions say ``device``, and a card may too."""
    given = [name for name in ("kind", "device") if name in data]
    if len(given) == 1:
        if isinstance(data[given[0]], str):
            return given[0]
        raise InputError(
            f"is {shown(data[given[0]])}, allowed is the name of a kind",
            field=given[0],
            remedy='write e.g. kind = "ice_collar"',
        )
    if given:
        raise InputError("is given beside kind, allowed is one of them", field="device", remedy="keep kind")
    raise InputError("is missing and has no default", field="kind of device", remedy='write e.g. kind = "ice_collar"')


def _check_notes(entry) -> None:
    if not isinstance(entry, str) or len(entry) > LONGEST_NOTES:
        raise InputError(
            f"is {shown(entry)}, allowed is a text of up to {LONGEST_NOTES} characters",
            field="notes",
            remedy="write it in quotes, or shorten it",
        )


def _entry(name: str, entry) -> tuple[Any, list[float] | None, str | None]:
    """Return value, interval and source of one entry."""
    if not isinstance(entry, dict):
        return entry, None, None
    try:
        check_names(entry, ENTRY_FIELDS, entry)
    except InputError as error:
        raise InputError(error.problem, field=f"{name}.{error.field}", remedy=error.remedy) from None
    if "value" not in entry:
        raise InputError("has no value", field=name, remedy=f"write {name} = {{value = …, low = …, high = …}}")
    return entry["value"], _interval(name, entry), _source(name, entry)


def _interval(name: str, entry) -> list[float] | None:
    ends = [end for end in ("low", "high") if end in entry]
    if not ends:
        return None
    if len(ends) == 1:
        raise InputError(
            f"has {ends[0]} alone, allowed are both ends of its 90 % interval",
            field=name,
            remedy="give low and high, or neither",
        )
    low, value, high = three = [entry["low"], entry["value"], entry["high"]]
    for one in three:
        if isinstance(one, bool) or not isinstance(one, numbers.Real) or not abs(one) < float("inf"):
            raise InputError(
                f"has {shown(one)}, allowed are finite numbers", field=name, remedy="give value, low and high as numbers"
            )
    if low > high:
        raise InputError(f"has low {shown(low)} above high {shown(high)}", field=name, remedy="swap the two ends")
    if not low <= value <= high:
        raise InputError(
            f"is {shown(value)}, outside its own interval of {shown(low)} to {shown(high)}",
            field=name,
            remedy="correct the value or its interval",
        )
    return [float(low), float(high)]


def _source(name: str, entry) -> str | None:
    text = entry.get("source")
    if text is not None and (not isinstance(text, str) or not text.strip()):
        raise InputError(
            f"has {shown(text)} as source, allowed is a text", field=name, remedy='write e.g. source = "bench test of 3 May"'
        )
    return text
