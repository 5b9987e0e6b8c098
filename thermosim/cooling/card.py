"""Checks that all devices share: numbers against their card, names, places on the body."""

import dataclasses
import typing

import numpy as np

from thermosim.cooling.rows import nearest
from thermosim.errors import InputError
from thermosim.parameters import SEGMENT_TABLE, SEGMENTS
from thermosim.variables import INPUTS


@typing.dataclass_transform(frozen_default=True)
def device_kind(card, **choices):
    """Make a class of annotated fields a device: a frozen dataclass with its card, defaults and checks from the card.

    Parameters
    ----------
    card : dict of str -> Parameter
        What is known of each number; fields named there take its value as default and are held to its range. Numbers of
        the card that are no fields are the same for all devices of this kind.
    **choices : tuple
        Fields that are one of few values.
    """

    def make(cls):
        for name in cls.__annotations__:
            if name in card:
                setattr(cls, name, card[name].value)
        cls.card = card
        cls.__post_init__ = lambda self: check_against_card(self, **choices)
        return dataclasses.dataclass(frozen=True)(cls)

    return make


def check_number(
    name: str, number, *, shown_as: str | None = None, optional: bool = False, low=None, high=None, unit: str = ""
) -> None:
    """Refuse a number that is missing, not finite, or outside the glossary's range (or ``low``..``high`` in ``unit``)."""
    shown = shown_as or name
    if number is None and optional:
        return
    entry = INPUTS.get(name)
    low, high, unit = (
        (entry.low if low is None else low, entry.high if high is None else high, entry.unit)
        if entry
        else (low, high, unit)
    )
    with_unit = f" {unit}" if unit and unit != "1" else ""
    if isinstance(number, bool) or not isinstance(number, int | float | np.number) or not np.isfinite(number):
        raise InputError(
            f"is {number!r}, not a finite number", field=shown, remedy=f"give a number{with_unit and f' in{with_unit}'}"
        )
    if not low <= number <= high:
        raise InputError(
            f"is {number:g}{with_unit}, allowed is {low:g} to {high:g}{with_unit}",
            field=shown,
            remedy="correct the value or its unit",
        )


def check_against_card(device, **choices) -> None:
    """Refuse fields of a device that its card does not allow; tidy its segments.

    Parameters
    ----------
    device : a device dataclass with a ``card``
    **choices : tuple
        Fields that are one of few values.

    Raises
    ------
    InputError
        The field, its value, what is allowed, what to do.
    """
    for field in dataclasses.fields(device):
        given = getattr(device, field.name)
        if field.name in device.card:
            entry = device.card[field.name]
            check_number(field.name, given, low=entry.low, high=entry.high, unit=entry.unit)
        elif field.name in choices:
            if isinstance(given, bool) or given not in choices[field.name]:
                raise InputError(
                    f"is {given!r}, allowed is {' or '.join(map(repr, choices[field.name]))}",
                    field=field.name,
                    remedy="use one of them",
                )
        elif field.name == "segments":
            object.__setattr__(device, "segments", segments_of(given))
        elif field.name == "name":
            if not isinstance(given, str) or not given.strip():
                raise InputError(
                    f"is {given!r}, allowed is a text", field="name", remedy="give a name, or leave it out"
                )
        elif isinstance(field.default, bool) and not isinstance(given, bool | np.bool_):
            raise InputError(
                f"is {given!r}, allowed is true or false", field=field.name, remedy="write true or false"
            )


def segments_of(given) -> tuple[str, ...]:
    """Return the segments of a list, or of one name; refuse unknown names (the nearest is suggested), none, or one twice."""
    if not isinstance(given, str | list | tuple):
        raise InputError(f"is {given!r}, allowed is a list of segments: {', '.join(SEGMENTS)}", field="segments",
                         remedy='write e.g. segments = ["chest", "back"]')  # fmt: skip
    segments = (given,) if isinstance(given, str) else tuple(given)
    for name in segments:
        if name not in SEGMENTS:
            near = nearest(name, SEGMENTS)
            raise InputError(
                f"has {name!r}, known are {', '.join(SEGMENTS)}",
                field="segments",
                remedy=f"did you mean {near!r}?" if near else "use one of the segments",
            )
    if not segments or len(set(segments)) != len(segments):
        raise InputError("is empty or names one twice", field="segments", remedy="name each segment once")
    return segments


def shared_by_area(segments) -> list[tuple[str, float]]:
    """Return each segment with its share [1] of the skin of them all."""
    areas = np.array([SEGMENT_TABLE["area_share"][0][SEGMENTS.index(name)] for name in segments])
    return list(zip(segments, (areas / areas.sum()).tolist(), strict=True))
