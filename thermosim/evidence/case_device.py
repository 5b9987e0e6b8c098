"""A device of the package in a case: which one, its own fields as in session files, and when it is worn."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from typing import Any, ClassVar

from thermosim.cooling.device import Worn, from_spec
from thermosim.cooling.kinds import KINDS
from thermosim.errors import InputError
from thermosim.evidence import case_fields as f
from thermosim.evidence import case_record as r
from thermosim.inputs.checks import nearest, shown
from thermosim.parameters import SEGMENTS
from thermosim.variables import Variable

_TIMES = ("from_min", "to_min", "refill_min")


@dataclass(frozen=True, kw_only=True)
class DeviceWorn(r.Record):
    """A device, worn for a phase or between minutes (of that phase, or of the clock); ``own`` are the device's own fields."""

    kind: str = r.choice(("device",), "device")
    device: str = r.text(longest=40)
    phase: str | None = r.text(None, longest=40)
    from_min: float | None = r.number()
    to_min: float | None = r.number()
    refill_min: tuple[float, ...] = r.minute_list()
    spares: int | None = r.whole()
    refill_at_share: float | None = r.number()
    own: dict[str, Any] = field(default_factory=dict)

    # a device has no minutes of drinks, and its places are its rows
    at_min: ClassVar[tuple] = ()
    segments: ClassVar[tuple] = ()

    def agree(self) -> None:
        """Refuse an unknown device, fields that it does not have, and values out of the range of its card."""
        if self.device not in KINDS:
            close = nearest(self.device, KINDS)
            problem = f"is {shown(self.device)}, allowed are {', '.join(KINDS)}"
            raise InputError(problem, field="device", remedy=f"did you mean {close}" if close else "use one of these")
        for name, value in self.own.items():
            self._plain(name, value)
        card = KINDS[self.device].card
        self.worn({blank: card[name].value for name, blank in self.blanks_named()})

    def _plain(self, name: str, value: Any) -> None:
        """Refuse what no field of a device can be; a blank stands for a number of the card only."""
        numbers = self._numbers()
        if name == "segments":
            f.check_words("device", name, value, among=SEGMENTS, alone=SEGMENTS)
        elif f.is_blank(value) and name not in numbers:
            problem = f"is {shown(value)}, allowed is a blank for {', '.join(numbers)}"
            raise InputError(problem, field=name, remedy="write the value itself")
        elif not isinstance(value, str | bool):
            f.check_plain(name, value)

    def _numbers(self) -> list[str]:
        kind = KINDS[self.device]
        return [one.name for one in fields(kind) if one.name in kind.card]

    def blanks_named(self) -> Iterator[tuple[str, str]]:
        """Yield (field, name of the blank) for every ``"?name"`` among the device's own fields."""
        yield from ((name, value[1:]) for name, value in self.own.items() if f.is_blank(value))

    def with_numbers(self, found: dict[str, float]) -> "DeviceWorn":
        """Return the device with numbers in these fields of its own."""
        return replace(self, own={**self.own, **found}) if found else self

    def range_of(self, name: str) -> Variable:
        """Return unit and range of a field, as on the device's card."""
        entry = KINDS[self.device].card[name]
        return Variable(entry.unit, name, entry.low, entry.high)

    def worn(self, numbers: dict[str, float] | None = None) -> Worn:
        """Return the device made, with its minutes as written and ``numbers`` for its blanks."""
        own = {name: (numbers or {})[value[1:]] if f.is_blank(value) else value for name, value in self.own.items()}
        given = {name: getattr(self, name) for name in (*_TIMES, "spares", "refill_at_share")}
        return from_spec({"device": self.device, **{name: value for name, value in given.items() if value is not None}, **own})


WEAR = tuple(one.name for one in fields(DeviceWorn) if one.name != "own")  # what is no field of the device itself
