"""Several devices at once: every part of a kit with the same drawn runners, shares that add up, the smallest kit that does."""

import math
from itertools import combinations

import numpy as np

from thermosim.cooling.rows import nearest
from thermosim.engine import batch as columns
from thermosim.engine import nodes as n
from thermosim.errors import InputError
from thermosim.inputs.limits import Variant
from thermosim.story import SITES
from thermosim.study.compare import CONTRAST_MIN
from thermosim.study.ensemble import draw_members, run_variant
from thermosim.study.variants import heat_through_devices, interval, rows_of_variant, used_kg
from thermosim.turns import in_turns

FEWEST, MOST = 2, 5  # devices of a kit: 2**5 parts are run
KEPT_SHARE = 0.8  # of the whole kit's effect that the smallest kit keeps
SMALLEST_EFFECT_K = 0.02  # below this the devices of a kit are not told apart
MEMBER_HOURS = 2000.0  # members times hours times parts that are run unless members are asked for: some 15 s on two cores
FEWEST_MEMBERS = 40
CANNOT_TELL = "cannot tell the devices apart"


def kit_variant(session, name: str | None = None) -> Variant:
    """Return the variant whose devices are taken apart: the one of that name, or the last with two or more devices.

    Raises
    ------
    InputError
        No variant of that name, or one with fewer than 2 or more than 5 devices.
    """
    if name:
        names = [variant.name for variant in session.variants]
        if name not in names:
            near = nearest(name, names)
            raise InputError(
                f"is {name!r}, known are {', '.join(names)}",
                field="kit",
                remedy=f"did you mean {near!r}?" if near else "name one of the session's variants",
            )
        chosen = session.variants[names.index(name)]
    else:
        several = [variant for variant in session.variants if len(variant.cooling) >= FEWEST]
        if not several:
            raise InputError(
                "has no variant with two or more devices",
                field="kit",
                remedy="give one [[variant]] several [[variant.cooling]] tables",
            )
        chosen = several[-1]
    if not FEWEST <= len(chosen.cooling) <= MOST:
        raise InputError(
            f"is {chosen.name!r} with {len(chosen.cooling)} devices, allowed are {FEWEST} to {MOST}",
            field="kit",
            remedy="name a variant with several devices" if len(chosen.cooling) < FEWEST else "leave some of them out",
        )
    return chosen


def compare_kit(session, name=None, *, members: int | None = None, seed: int | None = None, progress=None) -> dict:
    """Run every part of a kit with common random numbers, and share its effect on core among its devices.

    Parameters
    ----------
    session : Session
    name : str, optional
        The variant that is the kit; the last with two or more devices unless named.
    members, seed : int, optional
        Replace the session's ensemble. Members not asked for are fewer where the parts of a long session are many.
    progress : callable, optional
        Called with a sentence and a share done [1].

    Returns
    -------
    dict
        The JSON key ``kit``. Differences are the part less no device, at one minute [K]; joules are what left the body
        through a device (drips and drinks included) up to the end [kJ].

    Notes
    -----
    A device's share is its Shapley value, the mean of what it adds over every order in which the devices can be put
    on, so the shares add up to the whole for each member (L. S. Shapley, 1953, A value for n-person games).
    """
    say, session = progress or (lambda sentence, share: None), in_turns(session)
    kit = kit_variant(session, name)
    rows, names = rows_of_variant(session, kit)
    parts = parts_of(len(names))
    end_min = float(session.effort.end_s[-1]) / 60.0
    count = members or _members(session, len(parts), end_min)
    seed = session.ensemble.seed if seed is None else seed
    say("kit: drawing the ensemble", 0.0)
    drawn = draw_members(session, count, seed)
    at_min = min(CONTRAST_MIN, end_min)
    times = np.unique([*np.arange(0.0, 60.0 * end_min, 60.0), 60.0 * end_min])
    at = int(np.argmin(np.abs(times / 60.0 - at_min)))
    core, through, last = np.zeros((len(parts), count)), np.zeros((len(parts), count)), None
    for i, part in enumerate(parts):
        say(f"kit: {' + '.join(names[d] for d in part) or 'no device'}, part {i + 1} of {len(parts)}", i / len(parts))
        worn = Variant(name=kit.name, cooling=tuple(kit.cooling[d] for d in part))
        last = run_variant(session, worn, drawn, times, SITES[session.limit_site])
        core[i] = last.traces[:, at, columns.T_CORE]
        through[i] = heat_through_devices(last)[:, -1]
    say("kit: sharing out", 1.0)
    ice_kg = _by_device(rows, used_kg(rows, last)[0], len(names))
    together = np.array([_by_device(rows, line, len(names)) for line in _through_rows(rows, last)]).T
    changes = core - core[0]
    found = {
        "variant": kit.name,
        "at_min": float(times[at] / 60.0),
        "heat_until_min": end_min,
        "members": count,
        "seed": seed,
        **_effects(names, parts, changes, through, together, ice_kg),
    }
    found.update(smallest_kits(names, parts, changes, ice_kg))
    found["sentence"] = sentence(found)
    return found


def parts_of(count: int) -> list[tuple[int, ...]]:
    """Return every part of a kit of so many devices, from none to all, by number of devices.

    >>> parts_of(2)
    [(), (0,), (1,), (0, 1)]
    """
    return [part for size in range(count + 1) for part in combinations(range(count), size)]


def shapley(parts, changes) -> np.ndarray:
    """Return each device's share of the whole kit's change, for each member; the shares add up to the whole.

    Parameters
    ----------
    parts : list of tuple of int
        As :func:`parts_of` gives them.
    changes : array (parts, members)
        What each part changes; any unit.

    Returns
    -------
    numpy.ndarray, shape (devices, members)

    Examples
    --------
    Alone 3 and 5, together 6: the 2 that overlap are shared.

    >>> shapley(parts_of(2), np.array([[0.0], [3.0], [5.0], [6.0]])).ravel().tolist()
    [2.0, 4.0]
    """
    changes, place = np.asarray(changes, dtype=float), {part: i for i, part in enumerate(parts)}
    count = max(map(len, parts))
    shares = np.zeros((count, changes.shape[1]))
    for part, i in place.items():
        orders = math.factorial(len(part)) * math.factorial(count - len(part) - 1) if len(part) < count else 0
        for device in set(range(count)) - set(part):
            added = changes[place[tuple(sorted((*part, device)))]] - changes[i]
            shares[device] += orders / math.factorial(count) * added
    return shares


def _members(session, parts: int, end_min: float) -> int:
    """Return the members of each part: the session's, or as many as the time allows."""
    most = int(MEMBER_HOURS / (parts * max(end_min / 60.0, 0.1)))
    return min(session.ensemble.members, max(most, FEWEST_MEMBERS))


def _through_rows(rows, batch) -> np.ndarray:
    """Heat that left each member's body through each device row up to the end [J], shape (members, rows)."""
    blocks = batch.states[:, n.BASE :].reshape(len(batch.states), rows.size, n.ROW_SIZE)
    return blocks[:, :, n.FROM_SKIN] + blocks[:, :, n.RUN_OFF]


def _by_device(rows, numbers, count: int) -> np.ndarray:
    """Sum what belongs to rows by the device they are of, shape (devices,)."""
    return np.bincount(rows["device"], numbers, count)


def _sum(ice_kg, part) -> float:
    return round(float(sum(ice_kg[d] for d in part)), 6)


def _effects(names, parts, changes, through, together, ice_kg) -> dict:
    """Return the whole, the sum of the single effects, and every device with its share; degrees and joules."""
    shares = shapley(parts, changes)
    single = [parts.index((d,)) for d in range(len(names))]
    return {
        "whole": {"core_difference_K": interval(changes[-1]), "heat_from_skin_kJ": interval(through[-1] / 1e3)},
        "sum_of_singles_K": interval(changes[single].sum(axis=0)),
        "sum_of_singles_kJ": interval(through[single].sum(axis=0) / 1e3),
        "ice_kg": _sum(ice_kg, range(len(names))),
        "devices": [
            {
                "name": name,
                "alone_K": interval(changes[single[d]]),
                "share_K": interval(shares[d]),
                "heat_from_skin_kJ": interval(together[d] / 1e3),
                "heat_alone_kJ": interval(through[single[d]] / 1e3),
                "ice_kg": _sum(ice_kg, [d]),
            }
            for d, name in enumerate(names)
        ],
        "parts": [
            {
                "devices": [names[d] for d in part],
                "core_difference_K": interval(changes[i]),
                "ice_kg": _sum(ice_kg, part),
            }
            for i, part in enumerate(parts)
            if part
        ],
    }


def can_tell(whole: dict) -> bool:
    """Return whether the whole kit's change in core [K] is told from none: its interval is off zero, and it is not tiny."""
    return abs(whole["median"]) >= SMALLEST_EFFECT_K and not whole["low"] <= 0.0 <= whole["high"]


def smallest_kits(names, parts, changes, ice_kg) -> dict:
    """Return the smallest kits that keep four fifths of the whole kit's cooling, by items and by kilograms of ice.

    Parameters
    ----------
    names : list of str
    parts : list of tuple of int
    changes : array (parts, members)
        Change in core of each part [K].
    ice_kg : sequence of float
        Ice of each device [kg].

    Returns
    -------
    dict
        ``smallest_by_items`` and ``smallest_by_ice``; None where the devices are not told apart or the kit warms. Among
        kits that are equally small the one with the larger effect is named. ``kept_share`` is of the medians,
        ``share_of_runners`` the share of members in which four fifths are kept.
    """
    changes = np.asarray(changes, dtype=float)
    whole = interval(changes[-1])
    if not can_tell(whole) or whole["median"] > 0.0:
        return {"smallest_by_items": None, "smallest_by_ice": None}
    enough = []
    for part, change in zip(parts, changes, strict=True):
        kept = float(np.median(change)) / whole["median"]
        if part and kept >= KEPT_SHARE:
            cooler = (changes[-1] < 0.0) & (change <= KEPT_SHARE * changes[-1])
            enough.append({"devices": [names[d] for d in part], "items": len(part), "ice_kg": _sum(ice_kg, part),
                           "core_difference_K": interval(change), "kept_share": kept,
                           "share_of_runners": float(cooler.mean())})  # fmt: skip
    return {
        "smallest_by_items": min(enough, key=lambda one: (one["items"], -one["kept_share"])),
        "smallest_by_ice": min(enough, key=lambda one: (one["ice_kg"], one["items"], -one["kept_share"])),
    }


def sentence(kit: dict) -> str:
    """Return what the kit does in words: the whole, the sum of its devices alone, the shares, the smallest kits."""
    whole, alone = kit["whole"]["core_difference_K"], kit["sum_of_singles_K"]
    said = f"{kit['variant']}, {len(kit['devices'])} devices: the whole kit changes core by {_kelvin(whole)} "
    said += f"at minute {kit['at_min']:.0f}"
    if not can_tell(whole):
        return f"{said}{_not_told(kit)}, so no smaller kit is named."
    said += f"; its devices, each alone, add up to {_signed(alone['median'])} °C. "
    said += "Shares: " + ", ".join(f"{one['name']} {_kelvin(one['share_K'])}" for one in kit["devices"]) + ". "
    items, ice = kit["smallest_by_items"], kit["smallest_by_ice"]
    if items is None:
        return f"{said}It leaves core warmer: there is no cooling to keep, so no smaller kit is named."
    said += f"The smallest kit that keeps four fifths of it by items: {_named(items)}"
    if items["devices"] == ice["devices"]:
        return f"{said}; by ice the same, {ice['ice_kg']:.2f} of {kit['ice_kg']:.2f} kg."
    return f"{said}; by ice: {_named(ice)}, {ice['ice_kg']:.2f} of {kit['ice_kg']:.2f} kg."


def _not_told(kit: dict) -> str:
    """Return why a whole that is not told from none has no smaller kit: its devices cancel, or none of them is told."""
    told = [one for one in kit["devices"] if can_tell(one["share_K"])]
    ways = {one["share_K"]["median"] < 0.0 for one in told}
    if len(ways) < 2:
        return f": {CANNOT_TELL}"
    shares = ", ".join(f"{one['name']} {_kelvin(one['share_K'])}" for one in told)
    return f", which cannot be told from none, because its devices work against each other (shares: {shares})"


def _named(smallest: dict) -> str:
    size = f"{smallest['items']} item{'s' if smallest['items'] > 1 else ''}"
    kept, runners = 100.0 * smallest["kept_share"], 100.0 * smallest["share_of_runners"]
    return f"{' + '.join(smallest['devices'])} ({size}; {kept:.0f} % kept, four fifths or more in {runners:.0f} % of runners)"


def _signed(kelvin: float) -> str:
    text = f"{kelvin:+.2f}"
    return (text.lstrip("+-") if float(text) == 0.0 else text).replace("-", "−")


def _kelvin(change: dict) -> str:
    return f"{_signed(change['median'])} °C ({_signed(change['low'])} to {_signed(change['high'])})"
