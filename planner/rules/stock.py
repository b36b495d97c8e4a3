"""Extra stock: the most that an end may carry, as stated, or what the rules can need where nothing is stated."""

from __future__ import annotations

import math

from planner.inputs.machine import Carriage, Tooling
from planner.inputs.part import Part
from planner.rules.broken import End
from planner.tolerances import RULE_SLACK


def unasked_ends(part: Part) -> frozenset[End]:
    """Return the ends of which the part's file does not say what they may carry."""
    stated: dict[End, float | None] = {"A": part.trim_a, "B": part.trim_b}
    return frozenset(end for end, trim in stated.items() if trim is None)


def most_stock(
    part: Part, end: End, tooling: tuple[Tooling, ...], settings: tuple[float, ...], carriage: Carriage | None
) -> float:
    """Return the most extra stock that an end may carry [mm]; tooling, settings [rad]: of each bend, from end A.

    Where nothing is stated, in whole millimetres what the rules can need there. The end is the tail while the bend next
    to it is made: the collet's closest place and grip, or the shortest tail, behind what is drawn in beyond the arc;
    or it leads, in the longest clamp.
    """
    stated = part.trim_a if end == "A" else part.trim_b
    if stated is not None:
        return stated
    place = 0 if end == "A" else part.n_bends - 1
    straight = float(part.straights[0 if end == "A" else -1])
    drawn_in = float(part.radii[place]) * max(settings[place] - float(part.angles[place]), 0.0)
    held = 0.0 if carriage is None else carriage.reach[0] + carriage.grip_length
    needed = max(held + drawn_in, tooling[place].shortest_tail + drawn_in, tooling[place].clamp_lengths[0])
    return max(float(math.ceil(needed - straight - RULE_SLACK)), 0.0)
