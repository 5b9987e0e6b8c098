"""What is worn, drunk or poured in the blocks of a session: rows, and events that happen at the start of a leg."""

import dataclasses
import json
from typing import Any

import numpy as np

from thermosim.cooling.device import LARGEST_COVERED_SHARE, covered_at_once, flatten_cooling, from_spec
from thermosim.cooling.water import Drink
from thermosim.engine.nodes import MAX_ROWS
from thermosim.engine.records import IN_STOMACH, POURED, TAKE_OFF
from thermosim.errors import InputError
from thermosim.parameters import SEGMENTS

_A_MINUTE = 60.0


def cooling_of_blocks(blocks, area_m2) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Return rows, leg events and device names of blocks in order; ``time_s`` of an event is the number of its leg.

    A device is put on at the start of its block and off at its end; what is drunk or poured is so at the start. A block
    that is done several times takes a fresh charge each time. Drinks are guarded unless the block says otherwise.
    """
    legs: dict[str, list[int]] = {}
    cooled: dict[str, Any] = {}
    for number, block in enumerate(blocks):
        same = json.dumps(block.cooling, sort_keys=True, default=str)  # blocks with the same things use the same things
        legs.setdefault(same, []).append(number)
        cooled.setdefault(same, block.cooling)
    worn = []
    for same, cooling in cooled.items():
        first, *further = legs[same]
        for spec in cooling:
            one = from_spec(spec)
            if isinstance(one.device, Drink) and "guarded" not in spec:
                one = dataclasses.replace(one, device=dataclasses.replace(one.device, guarded=True))
            spans = tuple((float(number), number + 1.0) for number in further)
            worn.append(dataclasses.replace(one, from_min=float(first), to_min=first + 1.0, again_min=spans))
    rows, events, names = flatten_cooling(worn, area_m2, _A_MINUTE * (len(blocks) + 1))
    events = events.copy()
    events["time_s"] /= _A_MINUTE  # legs stood for minutes
    swallowed = np.isin(rows["place"][events["row"]], (IN_STOMACH, POURED)) & (events["action"] == TAKE_OFF)
    return rows, events[~swallowed], names


def with_blocks(of_blocks, rows, names, events, area_m2) -> tuple[np.ndarray, list[str], np.ndarray]:
    """Return the rows and names of a variant with those of the blocks behind them, and the blocks' leg events.

    ``of_blocks`` is what :func:`cooling_of_blocks` returns.

    Raises
    ------
    InputError
        More rows than the engine holds, or together they may cover too much of a segment.
    """
    more, leg_events, more_names = of_blocks
    if not more.size:
        return rows, names, leg_events
    more, leg_events = more.copy(), leg_events.copy()
    if rows.size + more.size > MAX_ROWS:
        raise InputError(f"need {rows.size + more.size} places on the body, allowed are {MAX_ROWS}", field="block.cooling",
                         remedy="wear a device through all blocks, as a variant, or use fewer")  # fmt: skip
    covered = covered_at_once(rows, events)[0] + covered_at_once(more, leg_events)[0]
    for s in np.flatnonzero(covered > LARGEST_COVERED_SHARE * np.asarray(area_m2)):
        where = SEGMENTS[s].replace("_", " ")
        problem = f"of variant and blocks together may cover {covered[s]:.4f} m² of the {where}, which has {area_m2[s]:.4f} m²"
        raise InputError(problem, field="block.cooling", remedy="wear less there at one time")
    more["device"] += len(names)
    leg_events["row"] += rows.size
    taken, free = set(names), []
    for k, name in enumerate(more_names):
        free.append(name if name not in taken else f"{name} {len(names) + k + 1}")
        taken.add(free[-1])
    return np.concatenate([rows, more]), [*names, *free], leg_events
