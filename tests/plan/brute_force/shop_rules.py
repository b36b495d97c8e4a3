"""The shop rules in plain numbers: what they ask of the trim at either end, of the clamp, and of the collet's holds."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from tests.plan.brute_force.orders import Bend, Job
from tests.plan.brute_force.set_up import SetUp
from tests.plan.brute_force.tube import OTHER, End

EXACT = 1e-6
"""Rules that are broken by less than this are kept, where no rounding comes in [mm]."""

Window = tuple[float, float]
"""Least and greatest stock coordinate of the collet's face from the leading end [mm]."""

Trim = tuple[End, float]
"""An end, and what a rule asks of the trim there [mm]."""


@dataclass
class Hold:
    """One hold of the collet, the leading end, and the bends that it serves. low, high: the window of its face [mm]."""

    leads: End
    low: float = -math.inf
    high: float = math.inf
    bends: int = 0


@dataclass(frozen=True)
class Kept:
    """What the shop rules leave of a job: the least trims at A and B [mm], and where the collet may hold at each bend.

    windows: the same for all bends of one hold.
    """

    trims: tuple[float, float]
    windows: tuple[Window, ...]


class ShopRules:
    """The rules of the machine and its tooling for one part."""

    def __init__(self, set_up: SetUp) -> None:
        self.part, self.machine, self.carriage = set_up.part, set_up.machine, set_up.carriage
        self.tooling, self.views, self.settings = set_up.tooling, set_up.views, set_up.settings
        self.section_length = set_up.section_length

    # Of the bends on their own

    @property
    def within_range(self) -> bool:
        """Whether the head swings as far as every bend is set to."""
        return max(self.settings) <= self.machine.head.largest_angle + 1e-9

    @property
    def rated(self) -> bool:
        """Whether the tube's plastic moment, yield · (D³ − d³)/6, is within that of the tube the machine is rated for."""
        rated, part = self.machine.rated, self.part
        if rated is None or part.yield_strength is None:
            return True
        tubes = (
            (part.outside_diameter, part.wall, part.yield_strength),
            (rated.tube_diameter, rated.wall, rated.yield_strength),
        )
        mine, limit = (strength * (d**3 - (d - 2.0 * wall) ** 3) / 6.0 for d, wall, strength in tubes)
        return mine <= limit * (1.0 + 1e-9)

    def clamps(self, at: Bend) -> tuple[float, ...]:
        """Between formed bends neither clamp nor grip section may be longer than the straight; at a leading end they may."""
        lengths = tuple(self.tooling.clamp_lengths)
        if at.ahead == at.bend:
            return lengths
        straight = self.views[at.leads].straights[at.bend - 1] + EXACT
        return tuple(c for c in lengths if c <= straight and self.section_length(c) <= straight)

    def lasts(self, spare: float) -> bool:
        """Whether a pressure die that goes with the tube leaves enough of itself behind the die at every bend [mm]."""
        rest = 2.0 * self.part.radius if self.tooling.pressure_rest is None else self.tooling.pressure_rest
        gone = self.views["A"].radius * max(self.settings)
        return not self.tooling.pressure_die_follows or self.tooling.pressure_die_length - gone >= rest + spare - EXACT

    def anywhere(self, at: Bend) -> Window:
        """Where the collet may hold for a bend at all, with all the trim that is allowed."""
        view, (closest, farthest) = self.views[at.leads], self.carriage.reach
        trim = self.part.trim_b if at.leads == "A" else self.part.trim_a
        high = min(view.starts[at.bend - 1] + farthest, view.length + trim - self.carriage.grip_length)
        return (view.swings[at.bend - 1] + closest, high)

    # Of a job

    def kept(self, job: Job, spare: float, given: tuple[float, float] | None = None) -> Kept | None:
        """The least trims and the collet's windows with every rule kept by `spare` [mm], or None.

        given: the trims at A and B, where they are given and not sought.
        """
        if not self.lasts(spare) or not all(self.clamps(at) for at in job):
            return None
        holds = self._holds(job)
        if any(hold.low + spare > hold.high for hold in holds):
            return None
        lower: dict[End, float] = {"A": 0.0, "B": 0.0}
        upper: dict[End, float] = {"A": self.part.trim_a, "B": self.part.trim_b}
        for end, trim in (self._to_grip(job), *self._behind_the_die(job), *self._in_the_collet(holds)):
            lower[end] = max(lower[end], trim + spare)
        for end, trim in (*self._over_the_rod(job), *self._within_the_carriage(holds)):
            upper[end] = min(upper[end], trim - spare)
        trims = {end: float(math.ceil(lower[end] - EXACT)) for end in lower}
        if given is not None:
            trims = {"A": given[0], "B": given[1]}
        if any(not lower[end] - EXACT <= trims[end] <= upper[end] + EXACT for end in trims):
            return None
        windows = [window for hold in holds for window in [self._window(hold, trims)] * hold.bends]
        return Kept((trims["A"], trims["B"]), tuple(windows))

    def _holds(self, job: Job) -> list[Hold]:
        """The holds of the collet, each with the window that the carriage's reach leaves for all of its bends.

        A re-grip is made where the bend before it has left the tube. A bend with the collet open draws no carriage.
        """
        closest, farthest = self.carriage.reach
        holds: list[Hold] = []
        for i, at in enumerate(job):
            view, k = self.views[at.leads], at.bend - 1
            if at.how == "re-grip":
                before = job[i - 1].bend - 1
                holds.append(Hold(at.leads, view.swings[before] + closest, view.ends[before] + farthest))
            elif at.how != "link":
                holds.append(Hold(at.leads))
            hold = holds[-1]
            hold.low = max(hold.low, (view.starts if at.released else view.swings)[k] + closest)
            hold.high = min(hold.high, view.starts[k] + farthest)
            hold.bends += 1
        return holds

    def _to_grip(self, job: Job) -> Trim:
        """Ahead of the first bend there must be as much tube as the clamp has to grip."""
        leads, bend = job[0].leads, job[0].bend
        return leads, self.tooling.shortest_grip - self.views[leads].starts[bend - 1]

    def _behind_the_die(self, job: Job) -> Iterator[Trim]:
        """Behind every bend there must be tube left for the pressure die to bear on as the swing ends."""
        for at in job:
            view = self.views[at.leads]
            yield OTHER[at.leads], view.swings[at.bend - 1] + self.tooling.shortest_tail - view.length

    def _in_the_collet(self, holds: list[Hold]) -> Iterator[Trim]:
        """Behind the collet's face there must be as much tube as it grips, held as far forward as the bends let it."""
        for hold in holds:
            yield OTHER[hold.leads], hold.low + self.carriage.grip_length - self.views[hold.leads].length

    def _over_the_rod(self, job: Job) -> Iterator[Trim]:
        """With a mandrel no more tube may be behind the die than the rod is long, whenever tube is put on."""
        if self.machine.mandrel is not None:
            for at in job:
                if at.how in ("load", "turn", "reload"):
                    view = self.views[at.leads]
                    yield OTHER[at.leads], self.machine.mandrel.rod_length - (view.length - view.starts[at.bend - 1])

    def _within_the_carriage(self, holds: list[Hold]) -> Iterator[Trim]:
        """Where the tube does not pass through the carriage, its end is in the collet."""
        if not self.carriage.passes_through:
            for hold in holds:
                yield OTHER[hold.leads], hold.high + self.carriage.grip_length - self.views[hold.leads].length

    def _window(self, hold: Hold, trims: dict[End, float]) -> Window:
        most = self.views[hold.leads].length + trims[OTHER[hold.leads]] - self.carriage.grip_length
        return (hold.low if self.carriage.passes_through else most, min(hold.high, most))
