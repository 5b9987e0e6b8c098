"""A published case: its source, its people, what they did in which air, what was measured, and formulas to check.

Every record checks its own fields when it is made; :class:`Case` checks that they fit together. Numbers that are not
given are None; a ``"?name"`` stands for the blank of that name until :meth:`Case.filled` puts a number there.
"""

import re
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any, NamedTuple

from thermosim.errors import InputError
from thermosim.evidence import case_fields as f
from thermosim.evidence import case_record as r
from thermosim.evidence.case_device import DeviceWorn
from thermosim.evidence.case_parts import Blank, Clothes, Cooling, Phase, Source, Start, Subjects, Until
from thermosim.evidence.case_reads import ClimateLimit, Contrast, InOrder, Law, Measured, Order, Read, Slope
from thermosim.evidence.case_rules import check_case, outcomes_of
from thermosim.inputs.checks import shown, unknown_name

__all__ = [
    "Blank", "Case", "ClimateLimit", "Clothes", "Contrast", "Cooling", "DeviceWorn", "InOrder", "Law", "Measured", "Order",
    "Outcome", "Phase", "Read", "Slope", "Source", "Start", "Subjects", "Until", "Variant",
]  # fmt: skip
_ID = re.compile(r"[A-Za-z0-9][\w.-]*")


@dataclass(frozen=True, kw_only=True)
class Variant(r.Record):
    """One condition of the study; ``subjects`` are the people of the case with this variant's replacements."""

    name: str = r.text(longest=80)
    subjects: Subjects
    phases: tuple[Phase, ...]
    start: Start | None = None
    cooling: tuple[Cooling | DeviceWorn, ...] = ()
    measured: tuple[Measured, ...] = ()


class Outcome(NamedTuple):
    """One number that the engine predicts.

    Attributes
    ----------
    id : str
        ``"case/variant/quantity read"``.
    kind : {'measured', 'contrast', 'slope', 'order', 'climate_limit', 'law'}
    object : tuple or record
        ``(Variant, Measured)`` for ``measured``, else the record that asks for the number.
    """

    id: str
    kind: str
    object: Any

    @property
    def measured(self) -> Measured | Law:
        """What was measured: value, sd, unit, tolerance, why, score, n (a law has them too)."""
        if self.kind == "law":
            return self.object
        return self.object[1] if self.kind == "measured" else self.object.measured


@dataclass(frozen=True, kw_only=True)
class Case(r.Record):
    """One published study. ``study`` names what is left out together; ``file`` is where it was read."""

    id: str = r.text(longest=40)
    title: str = r.text()
    role: str = r.choice(f.ROLES)
    study: str = r.text("", longest=80)
    not_modelled: str = r.text("", longest=1000)
    source: Source
    subjects: Subjects | None = None
    blanks: tuple[Blank, ...] = ()
    variants: tuple[Variant, ...] = ()
    contrasts: tuple[Contrast, ...] = ()
    slopes: tuple[Slope, ...] = ()
    orders: tuple[Order, ...] = ()
    climate_limits: tuple[ClimateLimit, ...] = ()
    laws: tuple[Law, ...] = ()
    file: str = field(default="", compare=False)

    def agree(self) -> None:
        """Check the whole case; without ``study`` the id stands for it."""
        if not _ID.fullmatch(self.id):
            problem = f"is {shown(self.id)}, allowed are letters, digits and . _ - with a letter or digit in front"
            raise InputError(problem, field="id", remedy='write a short name such as "K1"')
        if not self.study:
            object.__setattr__(self, "study", self.id)
        check_case(self)

    def outcomes(self) -> list[Outcome]:
        """Return every number that this case asks for."""
        return [Outcome(*one) for one in outcomes_of(self)]

    def filled(self, values: dict[str, float] | None = None) -> "Case":
        """Return the case with numbers in its blanks: the centre, or ``values`` for the blanks named there."""
        numbers = {blank.name: blank.value for blank in self.blanks}
        for name, value in (values or {}).items():
            if name not in numbers:
                raise unknown_name(name, numbers)
            numbers[name] = value
        parts = {name: _with_numbers(getattr(self, name), numbers) for name in ("subjects", "variants", "climate_limits")}
        return replace(self, **parts, blanks=()) if numbers else self


def _with_numbers(thing: Any, numbers: dict[str, float]) -> Any:
    if isinstance(thing, tuple):
        return tuple(_with_numbers(one, numbers) for one in thing)
    if not is_dataclass(thing) or isinstance(thing, type):
        return thing
    if isinstance(thing, r.Record):
        thing = thing.with_numbers({name: numbers[blank] for name, blank in thing.blanks_named()})
    changed = {}
    for one in fields(thing):
        value = getattr(thing, one.name)
        if (new := _with_numbers(value, numbers)) != value:
            changed[one.name] = new
    return replace(thing, **changed) if changed else thing
