"""A session with a rule or blocks made flat: the air in time, the legs in order, what is worn in which."""

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from thermosim.inputs.blocks import in_order, legs_of_blocks
from thermosim.inputs.flat import piece_records
from thermosim.inputs.pacing import Rule, hold, legs_of_effort
from thermosim.variables import INPUTS

LONGEST_OF_PLAN = 3.0  # a session by distance may take so many times what it was planned for


class Paced(NamedTuple):
    """What the engine needs of a session with a rule or blocks."""

    pieces: np.ndarray  # PIECE: air and options, without an effort
    rule: np.ndarray  # RULE, (1,)
    legs: np.ndarray  # LEG


def is_paced(session) -> bool:
    """Return whether a session has a rule or blocks, so that its effort is one of legs.

    A recorded effort has been run: a rule beside it is put to the recorded heart rate and changes nothing of the effort.
    """
    return bool(session.blocks) or (session.rule is not None and session.effort.kind != "recording")


def paced_records(session, runner, *, until_s: float | None = None, open_ended: bool = False) -> Paced:
    """Return the flat records of a session with a rule or blocks for one runner record (array of length 1).

    Legs by distance end the run when they are done, at the latest after three times the planned time; with ``until_s`` all runs
    last so long, for comparisons at equal times; with ``open_ended`` legs by time may take longer, too.
    """
    effort, weather = session.effort, session.weather
    legs = legs_of_blocks(session.blocks, effort.surface_factor) if session.blocks else legs_of_effort(effort)
    by_degrees = weather.wind_from == "degrees"
    if not by_degrees:
        legs["heading"] = math.nan
    by_distance = open_ended or bool((legs["metres"] > 0.0).any())
    planned = float(effort.end_s[-1])
    end = planned
    if until_s is not None:
        end = until_s
    elif by_distance:
        end = longest_s(session)
    carrier = replace(
        effort, start_s=[0.0], end_s=[end], speed_m_s=[0.0], grade_pct=[0.0], heading_deg=[0.0], recorded=None, ground=None
    )
    pieces = piece_records(carrier, weather)
    if by_degrees:  # the wind's own direction, from north and from east: each leg turns it to its heading
        angle = np.radians(weather.at(0.5 * (pieces["start_s"] + pieces["end_s"]))["wind_from_deg"])
        pieces["wind_along"], pieces["wind_across"] = np.cos(angle), np.sin(angle)
    rule = session.rule or Rule()
    hold(rule, legs, pieces[0], runner[0])
    return Paced(pieces, rule.record(session.runner, end_when_done=by_distance), legs)


def is_by_distance(session) -> bool:
    """Return whether legs of a paced session are done by distance, so that a slower runner takes longer."""
    legs = legs_of_blocks(session.blocks, 1.0) if session.blocks else legs_of_effort(session.effort)
    return bool((legs["metres"] > 0.0).any())


def longest_s(session) -> float:
    """Return how long a session by distance may last at most [s]: three times its plan, and no longer than its weather."""
    end = min(LONGEST_OF_PLAN * float(session.effort.end_s[-1]), 60.0 * INPUTS["minutes"].high)
    return end if session.weather.steady_air else min(end, float(session.weather.time_s[-1]))


def leg_kinds(session) -> list[str]:
    """Return what each leg is: the kind of its block, or ``part`` of an effort."""
    if session.blocks:
        return [block.kind for block in in_order(session.blocks)]
    return ["part"] * session.effort.speed_m_s.size
