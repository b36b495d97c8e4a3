"""Grip: which clamps fit a bend's straight, how much a leading end must offer, what must stay behind the bend."""

from __future__ import annotations

import math
from dataclasses import dataclass

from planner.facts import fact, kept, length, needed
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.rules.broken import ALWAYS, Broken, End, Kept, keeps
from planner.tolerances import RULE_SLACK
from planner.tube.partly_bent import bend_seen


@dataclass(frozen=True)
class Loaded:
    """The part as it is loaded: seen from its leading end, with the trim at either end [mm]."""

    view: Part
    leads: End
    trim_lead: float
    trim_tail: float

    @property
    def stock_behind_zero(self) -> float:
        """Stock coordinate of the tail end, counted from the part's leading end [mm]."""
        return self.view.developed_length + self.trim_tail

    def number(self, bend: int) -> int:
        """Return a bend's number from end A for its number in this view, or back."""
        return bend_seen(bend, self.leads, self.view.n_bends)

    def straight(self, index: int) -> int:
        """Return a straight's number from end A for its number in this view, or back."""
        return index if self.leads == "A" else self.view.n_bends - index


def nearest_formed(bend: int, formed: frozenset[int]) -> int | None:
    """Return the nearest formed bend ahead (numbers in the view), None if the leading end comes first."""
    ahead = [j for j in formed if j < bend]
    return max(ahead) if ahead else None


def clamps_that_fit(loaded: Loaded, bend: int, formed: frozenset[int], tooling: Tooling) -> tuple[float, ...] | Broken:
    """Return the clamps that may hold the straight ahead of a bend, longest first, or the broken rule.

    Between formed bends neither clamp nor grip section must be longer than the straight. At a leading end they may
    overhang, but the clamp must hold the shortest grip.
    """
    start = float(loaded.view.bend_starts[bend - 1])
    ahead = nearest_formed(bend, formed)
    if ahead is None:
        held = start + loaded.trim_lead
        if keeps(grip_kept(loaded.view, bend, tooling), loaded.trim_lead):
            return tooling.clamp_lengths
        said = fact(
            "grip-too-short",
            bend=loaded.number(bend),
            leads=loaded.leads,
            held=length(held),
            needed=needed(tooling.shortest_grip),
        )
        numbers = {"held": held, "needed": tooling.shortest_grip}
        return Broken("shortest grip", loaded.number(bend), loaded.leads, said, numbers)
    straight = start - float(loaded.view.bend_ends[ahead - 1])
    fitting = tuple(c for c in tooling.clamp_lengths if tooling.straight_for(c) <= straight + RULE_SLACK)
    if fitting:
        return fitting
    shortest = tooling.shortest_straight
    said = fact(
        "straight-under-the-clamp",
        bend=loaded.number(bend),
        leads=loaded.leads,
        straight=loaded.straight(bend - 1),
        there=length(straight),
        tool="clamp" if shortest == tooling.clamp_lengths[-1] else "grip section",
        shortest=length(shortest),
    )
    numbers = {"straight": straight, "shortest_clamp": shortest}
    return Broken("clamp longer than the straight", loaded.number(bend), loaded.leads, said, numbers)


def grip_kept(view: Part, bend: int, tooling: Tooling) -> Kept:
    """Return the trims at the leading end with which the clamp holds the shortest grip, nothing formed ahead [mm]."""
    return tooling.shortest_grip - float(view.bend_starts[bend - 1]), math.inf


def same_dies(loaded: Loaded, bend: int, own: Tooling, ahead: Tooling) -> Broken | None:
    """A bend is made in the same load as the neighbour ahead of it only with the dies of that one in the machine.

    Dies are not changed with a half-bent tube on the mandrel: other dies are another pass over the whole batch.
    """
    if own.bend_radius == ahead.bend_radius:
        return None
    said = fact(
        "other-dies",
        bend=loaded.number(bend),
        radius=length(own.bend_radius),
        ahead=loaded.number(bend - 1),
        radius_ahead=length(ahead.bend_radius),
    )
    numbers = {"radius": own.bend_radius, "ahead": ahead.bend_radius}
    return Broken("one set of dies", loaded.number(bend), loaded.leads, said, numbers)


def pressure_die_lasts(loaded: Loaded, bend: int, setting: float, tooling: Tooling) -> Broken | None:
    """Of a pressure die that follows the tube, enough must be left behind the tangent point when the swing ends [rad].

    By then it has gone forward by CLR · setting.
    """
    if not tooling.pressure_die_follows:
        return None
    gone = float(loaded.view.radii[bend - 1]) * setting
    left = tooling.pressure_die_length - gone
    if left + RULE_SLACK >= tooling.rest:
        return None
    said = fact(
        "pressure-die-too-short",
        bend=loaded.number(bend),
        length=length(tooling.pressure_die_length),
        gone=length(gone),
        left=kept(left),
        needed=needed(tooling.rest),
    )
    return Broken("pressure die", loaded.number(bend), loaded.leads, said, {"left": left, "needed": tooling.rest})


def tail_left(loaded: Loaded, bend: int, setting: float, tooling: Tooling) -> Broken | None:
    """The shortest tail must be left behind the tangent point when the bend ends [rad, mm]."""
    left = loaded.stock_behind_zero - end_of_swing(loaded.view, bend, setting)
    if keeps(tail_kept(loaded.view, bend, setting, tooling), loaded.trim_tail):
        return None
    said = fact(
        "tail-too-short",
        bend=loaded.number(bend),
        leads=loaded.leads,
        left=length(left),
        needed=needed(tooling.shortest_tail),
    )
    numbers = {"left": left, "needed": tooling.shortest_tail}
    return Broken("shortest tail", loaded.number(bend), loaded.leads, said, numbers)


def tail_kept(view: Part, bend: int, setting: float, tooling: Tooling) -> Kept:
    """Return the trims at the tail with which the shortest tail is left when the bend ends [rad, mm]."""
    return end_of_swing(view, bend, setting) + tooling.shortest_tail - view.developed_length, math.inf


def rod_reaches(loaded: Loaded, first_bend: int, machine: Machine) -> Broken | None:
    """The tube behind the tangent point at the first bend after a load must not be longer than the mandrel's rod."""
    if machine.mandrel is None:
        return None
    behind = loaded.stock_behind_zero - float(loaded.view.bend_starts[first_bend - 1])
    if keeps(rod_kept(loaded.view, first_bend, machine), loaded.trim_tail):
        return None
    rod = machine.mandrel.rod_length
    bend = loaded.number(first_bend)
    said = fact("rod-too-short", bend=bend, leads=loaded.leads, behind=length(behind), rod=length(rod))
    return Broken("rod length", bend, loaded.leads, said, {"behind": behind, "rod": rod})


def rod_kept(view: Part, first_bend: int, machine: Machine) -> Kept:
    """Return the trims at the tail with which the tube goes over the mandrel's rod at the first bend of a load [mm]."""
    if machine.mandrel is None:
        return ALWAYS
    start = float(view.bend_starts[first_bend - 1])
    return -math.inf, machine.mandrel.rod_length + start - view.developed_length


def end_of_swing(view: Part, bend: int, setting: float) -> float:
    """Return e, the stock coordinate at the tangent point when the swing ends: a + CLR·max(setting, angle) [mm]."""
    start, angle = float(view.bend_starts[bend - 1]), float(view.angles[bend - 1])
    return start + float(view.radii[bend - 1]) * max(setting, angle)
