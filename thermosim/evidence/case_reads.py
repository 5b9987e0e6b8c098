"""What a case asks for: reads of a run, differences, slopes, orders and limits between runs, values of formulas."""

from dataclasses import dataclass
from typing import ClassVar

from thermosim.errors import InputError
from thermosim.evidence import case_fields as f
from thermosim.evidence import case_record as r
from thermosim.inputs.checks import shown

_WINDOWS = {
    "value": ("at_min",), "change": ("at_min",), "rate": ("from_min", "to_min"), "mean": ("from_min", "to_min"),
    "time_to": ("level",), "onset": (),
}  # fmt: skip
MEASURED_KINDS = (VALUE, RANGE) = ("value", "range")


@dataclass(frozen=True, kw_only=True)
class Read(r.Record):
    """What is read off a run: a quantity, how, in which phase (None is the whole clock), when."""

    quantity: str = r.choice(tuple(f.QUANTITIES))
    read: str = r.choice(f.READS, "value")
    phase: str | None = r.text(None, longest=40)
    at_min: float | None = r.number()
    from_min: float | None = r.number()
    to_min: float | None = r.number()
    level: float | None = r.number()
    rising: bool = r.flag(True)

    def agree(self) -> None:
        """Refuse minutes and levels that do not belong to this way of reading."""
        own = _WINDOWS[self.read]
        r.none_of(self, tuple(n for n in ("at_min", "from_min", "to_min", "level") if n not in own), f"with read {self.read}")
        if not self.rising and self.read != "time_to":
            raise InputError(f"is given with read {self.read}, allowed is it with time_to", field="rising", remedy="remove it")
        if self.read == "time_to" and self.level is None:
            raise r.absent(self.owner, "level")
        if self.from_min is not None and self.to_min is not None and self.to_min <= self.from_min:
            problem = f"is {shown(self.to_min)} min, allowed is more than from_min ({shown(self.from_min)} min)"
            raise InputError(problem, field="to_min", remedy="swap from_min and to_min or widen the window")
        if not f.unit_of(self.quantity, self.read):
            problem = f"is {self.read}, which {self.quantity} does not have"
            raise InputError(problem, field="read", remedy="use value, change or mean")


@dataclass(frozen=True, kw_only=True)
class Measured(r.Record):
    """A measured number with its read; ``n`` people, ``score`` false keeps it out of fit and pooled figures.

    ``measured_kind`` is ``range`` where nobody measured the value: it is the middle of a range that a source states.
    """

    read: Read
    value: float = r.number(r.MISSING)
    sd: float | None = r.number()
    unit: str = r.text(longest=20)
    tolerance: float = r.number(r.MISSING)
    why: str = r.text(longest=1000)
    score: bool = r.flag(True)
    n: int | None = r.whole()
    measured_kind: str = r.choice(MEASURED_KINDS, VALUE)


@dataclass(frozen=True, kw_only=True)
class InOrder(Measured):
    """What is measured in an order: the share 1 of neighbouring pairs, without unit and tolerance."""

    value: float = 1.0
    unit: str = ""
    tolerance: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Contrast(r.Record):
    """The read of one variant minus that of another."""

    variant: str = r.text(longest=80)
    against: str = r.text(longest=80)
    measured: Measured


@dataclass(frozen=True, kw_only=True)
class Slope(r.Record):
    """Least-squares slope of the read over a condition, across variants."""

    variants: tuple[str, ...] = r.words(r.MISSING)
    over: str = r.choice(f.OVERS)
    measured: Measured


@dataclass(frozen=True, kw_only=True)
class Order(r.Record):
    """A read that rises strictly along a list of variants."""

    variants: tuple[str, ...] = r.words(r.MISSING)
    measured: Measured


@dataclass(frozen=True, kw_only=True)
class ClimateLimit(r.Record):
    """The warmest climate in which the end value stays within a departure of its plateau in cool air."""

    variant: str = r.text(longest=80)
    departure_K: float = r.number(r.MISSING)
    relative_humidity_pct: float | str = r.number(r.MISSING, blank=True)
    low_C: float = r.number(r.MISSING)
    high_C: float = r.number(r.MISSING)
    measured: Measured

    def agree(self) -> None:
        """Refuse an empty range of climates."""
        if self.low_C >= self.high_C:
            problem = f"is {shown(self.low_C)} °C, allowed is less than high_C ({shown(self.high_C)} °C)"
            raise InputError(problem, field="low_C", remedy="swap low_C and high_C")


@dataclass(frozen=True, kw_only=True)
class Law(r.Record):
    """A unit check of one formula or constant of the package: result times scale against a value."""

    name: str = r.text(longest=120)
    function: str = r.text(longest=160)
    value: float = r.number(r.MISSING)
    unit: str = r.text(longest=20)
    tolerance: float = r.number(r.MISSING)
    why: str = r.text(longest=1000)
    arguments: tuple[float, ...] | dict[str, float] = r.arguments()
    scale: float = r.number(1.0)
    measured_kind: str = r.choice(MEASURED_KINDS, VALUE)

    # a law is read as a measured value that everybody shares
    sd: ClassVar[None] = None
    n: ClassVar[None] = None
    score: ClassVar[bool] = True
