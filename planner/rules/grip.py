"""Grip: which clamps fit a bend's straight, how much a leading end must offer, what must stay behind the bend."""

from __future__ import annotations

from dataclasses import dataclass

from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.rules.broken import Broken, End
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
        if held + RULE_SLACK >= tooling.shortest_grip:
            return tooling.clamp_lengths
        sentence = (
            f"Bend {loaded.number(bend)} with end {loaded.leads} leading: the clamp would hold {held:.1f} mm of the"
            f" leading end, trim included; the tooling needs {tooling.shortest_grip:.1f} mm."
        )
        numbers = {"held": held, "needed": tooling.shortest_grip}
        return Broken("shortest grip", loaded.number(bend), loaded.leads, sentence, numbers)
    straight = start - float(loaded.view.bend_ends[ahead - 1])
    fitting = tuple(c for c in tooling.clamp_lengths if tooling.straight_for(c) <= straight + RULE_SLACK)
    if fitting:
        return fitting
    shortest = tooling.shortest_straight
    what = "clamp" if shortest == tooling.clamp_lengths[-1] else "grip section"
    sentence = (
        f"Bend {loaded.number(bend)} with end {loaded.leads} leading: straight {loaded.straight(bend - 1)} before it is"
        f" {straight:.1f} mm; the shortest {what} is {shortest:.1f} mm."
    )
    numbers = {"straight": straight, "shortest_clamp": shortest}
    return Broken("clamp longer than the straight", loaded.number(bend), loaded.leads, sentence, numbers)


def same_dies(loaded: Loaded, bend: int, own: Tooling, ahead: Tooling) -> Broken | None:
    """A bend is made in the same load as the neighbour ahead of it only with the dies of that one in the machine.

    Dies are not changed with a half-bent tube on the mandrel: other dies are another pass over the whole batch.
    """
    if own.bend_radius == ahead.bend_radius:
        return None
    sentence = (
        f"Bend {loaded.number(bend)} is made with the dies for {own.bend_radius:.1f} mm, its neighbour, bend"
        f" {loaded.number(bend - 1)}, with those for {ahead.bend_radius:.1f} mm: each set of dies makes its bends in a"
        " pass of its own over the whole batch, and the tube is put back for it."
    )
    numbers = {"radius": own.bend_radius, "ahead": ahead.bend_radius}
    return Broken("one set of dies", loaded.number(bend), loaded.leads, sentence, numbers)


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
    sentence = (
        f"Bend {loaded.number(bend)}: the pressure die, {tooling.pressure_die_length:.1f} mm long, follows the tube by"
        f" {gone:.1f} mm; {left:.1f} mm of it are left behind the tangent point, the tooling needs"
        f" {tooling.rest:.1f} mm."
    )
    return Broken("pressure die", loaded.number(bend), loaded.leads, sentence, {"left": left, "needed": tooling.rest})


def tail_left(loaded: Loaded, bend: int, setting: float, tooling: Tooling) -> Broken | None:
    """The shortest tail must be left behind the tangent point when the bend ends [rad, mm]."""
    left = loaded.stock_behind_zero - end_of_swing(loaded.view, bend, setting)
    if left + RULE_SLACK >= tooling.shortest_tail:
        return None
    sentence = (
        f"Bend {loaded.number(bend)} with end {loaded.leads} leading: {left:.1f} mm of tube are left behind the tangent"
        f" point when the bend ends; the tooling needs {tooling.shortest_tail:.1f} mm."
    )
    numbers = {"left": left, "needed": tooling.shortest_tail}
    return Broken("shortest tail", loaded.number(bend), loaded.leads, sentence, numbers)


def rod_reaches(loaded: Loaded, first_bend: int, machine: Machine) -> Broken | None:
    """The tube behind the tangent point at the first bend after a load must not be longer than the mandrel's rod."""
    if machine.mandrel is None:
        return None
    behind = loaded.stock_behind_zero - float(loaded.view.bend_starts[first_bend - 1])
    if behind <= machine.mandrel.rod_length + RULE_SLACK:
        return None
    sentence = (
        f"Bend {loaded.number(first_bend)} with end {loaded.leads} leading: {behind:.1f} mm of tube go over the mandrel"
        f" at the load; the rod is {machine.mandrel.rod_length:.1f} mm long."
    )
    numbers = {"behind": behind, "rod": machine.mandrel.rod_length}
    return Broken("rod length", loaded.number(first_bend), loaded.leads, sentence, numbers)


def end_of_swing(view: Part, bend: int, setting: float) -> float:
    """Return e, the stock coordinate at the tangent point when the swing ends: a + CLR·max(setting, angle) [mm]."""
    start, angle = float(view.bend_starts[bend - 1]), float(view.angles[bend - 1])
    return start + float(view.radii[bend - 1]) * max(setting, angle)
