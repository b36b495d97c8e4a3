"""What a plan claims of the clearance of its steps, held against what the samples find."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tests.plan.replay.carrying_out import CarryingOut, Document
from tests.plan.replay.contact import Limits, beyond_clamp, more_per_metre, must_keep, on_the_rod, only_after
from tests.plan.replay.distances import at_places
from tests.plan.replay.finished import own_gap
from tests.plan.replay.motions import Body, Length, Motion, Pair, between
from tests.plan.replay.sampling import Held, Least, Looked, moves, parts, sampled
from tests.plan.replay.solids import Solid, solids_about, tip_of, tooling_for

FROM_ITSELF = 0.2
"""What the drawing's own gap may be passed by where that is less than the tube must keep to itself [mm]."""

SPARE_OF_CLAIM, SPARE_OF_NEED = 0.05, 0.01
"""By so much a sample may be nearer than the plan prints, and than must be kept [mm]: nothing but rounding."""

STATED_GAP = 0.5
"""The plan's own word on how far the printed clearance may lie under one that is reached [mm]."""

BAND = 0.15
"""No plan may say that it keeps less of what is asked for than by so much [mm]."""

CEILING = 1000.0
"""A printed clearance of this means at least so much [mm]."""


@dataclass(frozen=True)
class AtPlace:
    """How far the tube is from the solid named, at the place and moment that the document names [mm]; infinite where there
    is no tube. grooved: the solid is grooved, or two flat ends are held apart: the tube's and its own tail's.
    """

    printed: float
    distance: float
    near_an_end: bool
    grooved: bool


@dataclass(frozen=True)
class Outcome:
    """What was found of one step. short: samples nearer than what was wanted; least: the least that was found [mm]."""

    motion: Motion
    printed: float | None
    least: float
    short: tuple[Least, ...]
    at_place: AtPlace | None
    samples: int

    @property
    def wrong(self) -> list[str]:
        """What is wrong with the step, in words."""
        where = f"step {self.motion.step['number']}, {self.motion.step['action']}"
        found = [
            f"{where}: the {one.held.length.role} comes within {one.distance:.3f} mm of the {one.held.solid.name} at"
            f" t = {one.t:.5f}, {one.held.wanted(one.t, one.t):.3f} is the least it may"
            for one in self.short
        ]
        if self.at_place is not None and self.at_place.distance < self.at_place.printed - SPARE_OF_CLAIM:
            found.append(
                f"{where}: where it is said to be nearest it is at {self.at_place.distance:.3f} mm,"
                f" {self.at_place.printed} is printed"
            )
        return found


@dataclass
class Clearances:
    """A plan's motions held against the machine; nothing is sampled before it is asked for.

    only: the numbers of the steps to be looked at; None: all.
    """

    document: Document
    done: CarryingOut
    only: frozenset[int] | None = None

    def __post_init__(self) -> None:
        self.looked = Looked(self.done.radius)
        every = self.done.motions
        self.motions = [m for m in every if self.only is None or m.step["number"] in self.only]

    @cached_property
    def outcomes(self) -> list[Outcome]:
        """What was found of each step that moves, in order."""
        every = sampled([held for motion in self.motions for held in self._held(motion)], self.done.radius)
        by_motion: dict[int, list[Least]] = {}
        for least in every:
            by_motion.setdefault(id(least.held.motion), []).append(least)
        return [self._outcome(motion, by_motion.get(id(motion), [])) for motion in self.motions]

    @property
    def wrong(self) -> list[str]:
        """All that is wrong."""
        return [line for outcome in self.outcomes for line in outcome.wrong]

    @cached_property
    def limits(self) -> Limits:
        """What is to be kept."""
        asked = self.document["machine"]["clearance"]
        gap = own_gap(self.document, self.done.radius)
        itself = min(asked["to_itself"], max(gap - FROM_ITSELF, 0.0))
        return Limits(asked["required"], asked["per_metre"], asked["to_tooling"], itself)

    def _tooling(self, motion: Motion) -> Document:
        row = self.document["part"]["shape"]["lra"][motion.bend - 1]
        return tooling_for(self.document["machine"], 2.0 * self.done.radius, row[3])

    def _solids(self, motion: Motion) -> list[Solid]:
        wall = self.document["part"]["tube"]["wall"]
        return solids_about(self.document["machine"], self._tooling(motion), motion, self.done.radius, wall)

    def _need(self, motion: Motion, length: Length, solid: Solid) -> Pair | None:
        """What a piece must keep at the start and at the end of a motion [mm]."""
        least = must_keep(self.limits, length.role, solid, motion.phase, motion.slides, motion.slides_back, motion.drop)
        if least is None:
            return None
        least = min([least, *self._said_short(motion, solid, least)])
        more = more_per_metre(self.limits, length.role, solid, motion.phase) / 1000.0
        ahead = [min(at, self.done.stock.cut) for at in motion.at]
        return (least + more * ahead[0], least + more * ahead[1])

    def _said_short(self, motion: Motion, solid: Solid, needed: float) -> Iterator[float]:
        """What the plan says of this step that it keeps to a solid, where it says less than is asked for [mm]."""
        for short in self.document["short"]:
            if motion.step["number"] in short["steps"] and short["solid"] == solid.name:
                assert needed - BAND - 1e-3 <= short["kept"] or needed != short["needed"], short
                if abs(needed - short["needed"]) < 1e-6:
                    yield short["kept"]

    def _held(self, motion: Motion) -> Iterator[Held]:
        """All that is held apart in a motion."""
        for solid in self._solids(motion):
            for body in motion.bodies:
                for length in body.lengths:
                    need = self._need(motion, length, solid)
                    if need is not None:
                        yield from self._parts(motion, body, length, solid, need)

    def _parts(self, motion: Motion, body: Body, length: Length, solid: Solid, need: Pair) -> Iterator[Held]:
        cut = motion.clamp if beyond_clamp(length.role, solid, motion.phase) else 0.0
        cut = self._on_the_rod(motion, length) if solid.tool == "rod" else cut
        swing, first = math.degrees(motion.arm[1]), 0.0
        if only_after(length.role, solid, motion.phase) > 0.0:
            if swing <= only_after(length.role, solid, motion.phase):
                return
            first = only_after(length.role, solid, motion.phase) / swing
        least = (need[0] - SPARE_OF_NEED, need[1] - SPARE_OF_NEED)
        for part in parts(length, cut):
            held = Held(motion, body, length, part, solid, least, -math.inf, first)
            printed = motion.step["clearance"]
            claim = printed if min(need) >= 0.0 and moves(held) else None
            yield (
                held if claim is None else Held(motion, body, length, part, solid, least, claim - SPARE_OF_CLAIM, first)
            )

    def _on_the_rod(self, motion: Motion, length: Length) -> float:
        """From which arc length on a piece is held against the rod [mm]."""
        tip = tip_of(self.document["machine"], self._tooling(motion)) or 0.0
        formed = [one for body in motion.bodies for one in body.lengths if one.role == "arc just formed"]
        arc = formed[0].piece.length if formed else 0.0
        return on_the_rod(length.role, length.piece.curvature, arc, tip, 2.0 * self.done.radius)

    def _outcome(self, motion: Motion, found: list[Least]) -> Outcome:
        printed = motion.step["clearance"]
        at_place = self.at_place(motion)
        least = min((one.distance for one in found if one.held.claim > -math.inf), default=math.inf)
        if at_place is not None:
            least = min(least, at_place.distance)
        short = tuple(one for one in found if one.short)
        return Outcome(motion, printed, least, short, at_place, sum(one.samples for one in found))

    # Where it is said to be nearest

    def at_place(self, motion: Motion) -> AtPlace | None:
        """How far the tube is where the document says that it is nearest; None where it names no place."""
        step = motion.step
        if step["nearest"] is None:
            return None
        spot = step["nearest_at"]
        t = motion.moment(spot)
        raw = spot["place"] + self.document["stock"]["trim_a"]
        raw = raw if step["leads"] == "A" else self.done.stock.cut - raw
        (solid,) = [one for one in self._solids(motion) if one.name == step["nearest"]]
        found = [
            (self._at(motion, body, length, solid, raw, t), length)
            for body in motion.bodies
            for length in body.lengths
            if self._counts(motion, length, solid)
        ]
        near = [(distance, length) for distance, length in found if distance is not None]
        if not near:
            return AtPlace(step["clearance"], math.inf, False, False)
        distance, length = min(near, key=lambda one: one[0])
        reach, s = self._reach(motion, length, solid, t), motion.s_at(length, raw, t)
        end = min(s - reach[0], reach[1] - s) < self.done.radius
        held_flat = solid.kind in ("die", "block") or (end and solid.kind == "tail")
        return AtPlace(step["clearance"], distance, end, held_flat)

    def _counts(self, motion: Motion, length: Length, solid: Solid) -> bool:
        need = self._need(motion, length, solid)
        return need is not None and min(need) >= 0.0

    def _reach(self, motion: Motion, length: Length, solid: Solid, t: float) -> Pair:
        """From where to where a piece is held against a solid at a moment: what is on the rod ends where it leaves it."""
        low, high = length.reach(t)
        return (max(low, self._on_the_rod(motion, length)), high) if solid.tool == "rod" else (low, high)

    def _at(self, motion: Motion, body: Body, length: Length, solid: Solid, raw: float, t: float) -> float | None:
        """How far the tube is at a place of raw stock; None where that is no tube of the piece."""
        reach, s = self._reach(motion, length, solid, t), motion.s_at(length, raw, t)
        if not reach[0] - 1e-3 <= s <= reach[1] + 1e-3 or reach[1] - reach[0] <= 1e-6:
            return None
        if solid.kind == "tail":
            solid = Solid(solid.name, "tail", "frame", "tail", (between(motion.tail, t), solid.numbers[1]))
        seen = self.looked.seen(motion, body, solid.moves_with, t)
        places = np.array([min(max(s, reach[0]), reach[1])])
        return at_places(length.piece, reach, places, seen, solid, self.done.radius)[0]


def replayed(document: dict[str, Any]) -> Clearances:
    """Carry a plan out and hold its clearances against the samples."""
    return Clearances(document, CarryingOut(document).carry_out())
