"""Device cards written out: every field of a kind with its value, its 90 % interval, its source; and checked."""

import dataclasses
import json
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from thermosim.cooling.device import Worn, from_spec
from thermosim.cooling.kinds import KINDS, TREATMENT_ONLY
from thermosim.cooling.rows import nearest, rows_of
from thermosim.errors import InputError

HALF_INTERVAL_SDS = 1.645  # half of a 90 % interval in standard deviations
_WIDTH = 116
_NOT_FIELDS = ("device", "name", "ranges", "sources")


def kind_of(name: str) -> type:
    """Return the device kind of a name; refuse an unknown one with the nearest."""
    if name in KINDS:
        return KINDS[name]
    near = nearest(name, KINDS)
    raise InputError(
        f"is {name!r}, known are {', '.join(KINDS)}",
        field="device",
        remedy=f"did you mean {near!r}?" if near else "use a known kind",
    )


def build(spec: dict[str, Any]) -> Worn:
    """Build a worn device from a card's table, and refuse what its kind does not allow.

    Parameters
    ----------
    spec : dict
        ``device``, fields, ``ranges`` and ``sources``, as :func:`thermosim.inputs.device_cards.read_card` returns them.

    Raises
    ------
    InputError
        Unknown kind or field, a value or an end of its interval outside the allowed range, a store colder than
        melting ice on skin.
    """
    kind = kind_of(spec.get("device", ""))
    for name, value in spec.items():
        allowed = kind.card.get(name)
        if allowed is not None and allowed.unit == "°C" and allowed.low >= 0.0 and _is_number(value) and value < 0.0:
            raise InputError(
                f"is {value:g} °C, allowed is {allowed.low:g} to {allowed.high:g} °C: nothing colder than melting ice may "
                "lie on skin (cold injury)",
                field=name,
                remedy="let it warm to 0 °C before it is put on",
            )
    worn = from_spec(spec)
    rows_of(worn.device)
    for name, ends in worn.ranges.items():
        allowed = kind.card.get(name)
        if allowed is None:
            raise InputError(
                "has an interval, but no number of the kind's card stands behind it",
                field=name,
                remedy="give its value alone",
            )
        for which, end in zip(("low", "high"), ends, strict=True):
            if not allowed.low <= end <= allowed.high:
                raise InputError(
                    f"has {which} = {end:g}{_unit(allowed)}, allowed is {allowed.low:g} to {allowed.high:g}{_unit(allowed)}",
                    field=name,
                    remedy="narrow the interval or correct its unit",
                )
    return worn


def card_text(
    spec: dict[str, Any] | str, cautions: Iterable[str], notes: str = "", remarks: dict[str, str] | None = None
) -> str:
    """Return a commented device card.

    Parameters
    ----------
    spec : dict or str
        A kind, for its defaults; or a device table whose fields, ``ranges`` and ``sources`` replace them.
    cautions : iterable of str
        Sentences that stand at the top of the card.
    notes : str
        The card's ``notes``.
    remarks : dict of str -> str
        Field -> what stands behind it in its comment, before unit and allowed range.

    Returns
    -------
    str
        TOML. Where a field has a spread its 90 % interval is written; where it has none, only what is allowed.
    """
    spec = {"device": spec} if isinstance(spec, str) else spec
    worn = build(spec)
    kind, ranges, sources = kind_of(spec["device"]), dict(worn.ranges), dict(worn.sources)
    lines = _head(kind, spec["device"], cautions)
    lines.append(f"kind = {_text(spec['device'])}")
    if worn.device.name != spec["device"]:
        lines.append(f"name = {_text(worn.device.name)}")
    if notes:
        lines.append(f"notes = {_text(notes)}")
    lines.append("")
    for field in dataclasses.fields(kind):
        if field.name == "name":
            continue
        value, entry = getattr(worn.device, field.name), kind.card.get(field.name)
        remark = (remarks or {}).get(field.name, "")
        if value is None:
            lines.append(f"# {field.name} =   # left out: the value of the parameter table")
        elif entry is None:
            lines.append(f"{field.name} = {_value(value)}" + (f"  # {remark}" if remark else ""))
        else:
            given = field.name in spec
            interval = ranges.get(field.name) or (None if given else _spread(entry))
            source = sources.get(field.name) or (None if given else entry.source)
            lines.append(_line(field.name, value, interval, source, entry, remark))
    constants = [f"{name} {p.value:g}{_unit(p)}" for name, p in kind.card.items() if not _is_field(kind, name)]
    if constants:
        lines += ["", *_comment("The same for every device of this kind: " + ", ".join(constants) + ".")]
    return "\n".join(lines) + "\n"


def write_card(path, spec: dict[str, Any] | str, cautions: Iterable[str], notes: str = "", remarks=None) -> Path:
    """Write :func:`card_text` to a file that does not end in anything but ``.device.toml``; return its path."""
    path = Path(path)
    if not path.name.lower().endswith(".device.toml"):
        raise InputError("has another ending, allowed for a device is *.device.toml", file=str(path), remedy="rename it")
    path.write_text(card_text(spec, cautions, notes, remarks), encoding="utf-8")
    return path


def _head(kind, name: str, cautions: Iterable[str]) -> list[str]:
    about = (kind.__doc__ or "").split("\n\n")[0]
    lines = _comment(f"Device card of the kind {name}. {' '.join(about.split())}")
    if name in TREATMENT_ONLY:
        lines += _comment("Emergency treatment only: never a race device, never alone.")
    for sentence in cautions:
        lines += _comment(sentence, "# ! ", "#   ")
    lines += _comment(
        "Each field: its value, its 90 % interval (low, high) and where they come from; or the value alone. When it is worn "
        '(from_min, to_min, refill_min) stands in a session, not here. A session wears it with device = "this-file.device.toml".'
    )
    return lines


def _comment(text: str, first: str = "# ", after: str = "# ") -> list[str]:
    return textwrap.wrap(
        text, _WIDTH, initial_indent=first, subsequent_indent=after, break_long_words=False, break_on_hyphens=False
    )


def _line(name, value, interval, source, entry, remark: str) -> str:
    parts = [f"value = {_value(value)}"]
    if interval is not None:
        parts += [f"low = {_value(interval[0])}", f"high = {_value(interval[1])}"]
    if source:
        parts.append(f"source = {_text(source)}")
    written = f"{{{', '.join(parts)}}}" if len(parts) > 1 else _value(value)
    words = [remark, f"allowed {entry.low:g} to {entry.high:g}{_unit(entry)}"]
    return f"{name} = {written}  # {'; '.join(filter(None, words))}"


def _spread(entry) -> tuple[float, float] | None:
    """Return the 90 % interval that a card's spread stands for, inside what is allowed; None without a spread."""
    if entry.sd <= 0.0:
        return None
    low, high = entry.value - HALF_INTERVAL_SDS * entry.sd, entry.value + HALF_INTERVAL_SDS * entry.sd
    return float(f"{max(low, entry.low):.3g}"), float(f"{min(high, entry.high):.3g}")


def _is_field(kind, name: str) -> bool:
    return any(field.name == name for field in dataclasses.fields(kind))


def _unit(entry) -> str:
    return "" if entry.unit == "1" else f" {entry.unit}"


def _is_number(value) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _value(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, tuple | list):
        return f"[{', '.join(_value(one) for one in value)}]"
    return f"{value:.12g}"


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
