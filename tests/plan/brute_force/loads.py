"""On and off the mandrel: the tube put on from the front before a load's first bend, and taken off after its last one.

Both are looked at from the tube's place in the machine forward: on is the way back. In front of the mandrel's nose the
tube is in free hands, at any roll; at its place it has a roll of 0. The arm is at home, clamp and pressure die are open, the collet
too, and the carriage stands where it waits.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from tests.plan.brute_force.cloud import Obstacle
from tests.plan.brute_force.homing import Home
from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.legs import Leg, Legs
from tests.plan.brute_force.plane import Plane, Span
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE, Checks
from tests.plan.brute_force.surroundings import EASE, Roles, Surroundings
from tests.plan.brute_force.tube import Array

FREE_HANDS = 50.0
"""How far in front of the mandrel's nose the tube's end is where the tube is in free hands [mm]."""

STEPS = (10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0)
"""How far it is tried to slide straight, from where the tube may begin to [mm]."""

BISECTED = 5
"""How often the step in which it strikes is halved."""

SHARES = (0.03, 0.08, 0.15, 0.25, 0.4, 0.6)
"""Where the tube is tried to be turned, as shares of the way, where cells leave it open whether it passes."""

ROLLS = tuple(k * math.pi / 6.0 for k in (1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6))
"""And by how much [rad]."""

ROWS, NEARER = 8, 1.7
"""Rows of the plane that are begun with, and how much finer they are near the machine (a power of their number)."""


class Passage(NamedTuple):
    """A tube put on before a bend, or taken off after it, with a clamp.

    before: put on; stands: an advance at which it surely stands in the machine [mm], None if there is none.
    """

    at: At
    clamp: float
    before: bool
    stands: float | None


class Loads:
    """Every way on and off, judged once."""

    def __init__(self, leading: LeadingParts, about: Surroundings, legs: Legs) -> None:
        self.leading, self.about, self.legs = leading, about, legs
        self.known: dict[Passage, int] = {}
        self.lines: dict[tuple[float, float, float], dict[float, int]] = {}

    def put_on(self, at: At, clamp: float) -> int:
        """The tube comes to its place before a bend, formed or bare."""
        return self._known(Passage(at, clamp, True, 0.0))

    def taken_off(self, at: At, clamp: float, home: Home) -> int:
        """The tube comes off from where it stands after a bend, once the arm is home."""
        return CLEAR if home.drawn_off else self._known(Passage(at, clamp, False, home.stands))

    def _known(self, passage: Passage) -> int:
        if passage not in self.known:
            self.known[passage] = self._judged(passage)
        return self.known[passage]

    def _judged(self, passage: Passage) -> int:
        at = passage.at
        line = self._line(passage)[passage.clamp]
        if line == STRUCK or (passage.before and at.ahead == at.bend):
            return line
        if passage.stands is not None and self._clear(
            passage, [self._leg(passage, passage.stands, self._far(passage))]
        ):
            return line
        return max(line, self._around(passage))

    def _leg(self, passage: Passage, low: float, high: float) -> Leg:
        return Leg(passage.at, low, high - low, before=passage.before, open=True)

    # Along the feed

    def _line(self, passage: Passage) -> dict[float, int]:
        """The feed itself: the tail comes along it, and what is straight ahead of a tail, from in front of the nose."""
        at, about, far = passage.at, self.about, self._far(passage)
        tube, behind = self.legs.placed(Leg(at, 0.0, before=passage.before)), far - about.reach - FREE_HANDS
        first = float(tube.take(slice(0, 1)).total) if passage.before else 0.0
        key = (round(far + first, 6), round(behind, 6), round(tube.total, 6))
        if key not in self.lines:
            checks = Checks(about.radius)
            ahead, tail = self.leading.straight(far + first), self.leading.straight(behind).moved(shift=-behind)
            for part, need in ((ahead, about.need(tube.total + far)), (tail, about.need(tube.total))):
                checks.add("all", part, [*about.frame, *about.arm], need)
            checks.add("all", ahead, [*about.hub, about.pressure("open")], about.apart)
            checks.add("all", ahead, about.slide("open"), about.need(tube.total + far))
            checks.add("all", tail, about.slide("open"), about.need(tube.total))
            for clamp in about.clamps:
                checks.add(clamp, ahead, [about.clamp(clamp)], about.apart)
            self.lines[key] = about.by_clamp(checks)
        return self.lines[key]

    def _far(self, passage: Passage) -> float:
        """The advance at which the tube is in free hands [mm]."""
        at, view = passage.at, self.leading.views[passage.at.leads]
        tangent = self._tangent(passage)
        return view.length + at.trim_tail - tangent + self.about.reach + FREE_HANDS

    def _tangent(self, passage: Passage) -> float:
        """Stock coordinate at the tangent point at an advance of 0 [mm]."""
        return self.leading.start(passage.at) if passage.before else self.leading.end(passage.at)

    def _clear(self, passage: Passage, legs: list[Leg]) -> bool:
        """Whether it is clear to go by some legs, the first of them from where the tube stands."""
        return all(self.legs.by_clamp(leg)[passage.clamp] == CLEAR for leg in legs)

    # In the plane of advance and roll

    def _around(self, passage: Passage) -> int:
        """Any way in the plane, once the tube has slid out over the nose, and the arc out of the groove."""
        turns_from, far = self.about.turns_from, self._far(passage)
        at_most = self._slides(passage, 0.0, True)[1]
        if at_most < turns_from:
            return STRUCK
        if at_most >= far and not passage.before:
            return UNSURE  # it may be drawn off straight, past an arm that stands somewhere
        sure = None
        if passage.stands is not None:
            sure = (max(turns_from, passage.stands), self._slides(passage, passage.stands, False)[0])
            sure = None if sure[0] > sure[1] else sure
        found = self._plane(passage).way_to(None, sure, (turns_from, min(at_most, far)))
        if found != UNSURE:
            return found
        return CLEAR if any(self._clear(passage, legs) for legs in self._turned_once(passage, sure)) else UNSURE

    def _slides(self, passage: Passage, start: float, at_best: bool) -> tuple[float, float]:
        """How far the tube slides straight out from an advance: surely, and at most [mm].

        at_best: after a bend only what stands is in the way, wherever the arm is.
        """
        far, turns_from = self._far(passage), self.about.turns_from
        places = sorted({start, max(start, turns_from), *(start + step for step in STEPS if start + step < far), far})
        surely = start
        sure = True
        for low, high in itertools.pairwise(places):
            verdict = self._slid(passage, low, high, at_best)
            if verdict == STRUCK:
                low, high = self._struck_within(passage, low, high, at_best)
                return (low if sure else surely, high)
            sure &= verdict == CLEAR
            surely = high if sure else surely
        return (surely, far)

    def _struck_within(self, passage: Passage, low: float, high: float, at_best: bool) -> tuple[float, float]:
        """Narrow the step in which it is struck."""
        for _ in range(BISECTED):
            middle = (low + high) / 2.0
            if self._slid(passage, low, middle, at_best) == STRUCK:
                high = middle
            elif self._slid(passage, low, middle, at_best) == CLEAR:
                low = middle
            else:
                break
        return low, high

    def _slid(self, passage: Passage, low: float, high: float, at_best: bool) -> int:
        leg = self._leg(passage, low, high)
        if at_best and not passage.before:
            return self.legs.past_what_stands(leg)
        return self.legs.by_clamp(leg)[passage.clamp]

    def _plane(self, passage: Passage) -> Plane:
        about, tube = self.about, self.legs.placed(Leg(passage.at, 0.0, before=passage.before))
        total = tube.total
        roles = about.standing_roles(self.leading.angle(passage.at))
        if passage.before:
            tube = tube.take(slice(1, None))  # the first straight lies on the feed
            roles = Roles({}, {0: EASE}, {})
        obstacles = about.obstacles(passage.clamp, total, roles)
        obstacles += [Obstacle(box, about.need(total)[0], about.sag) for box in about.waiting]
        return Plane(tube, about.radius, obstacles, self._edges(about.turns_from, self._far(passage)))

    @staticmethod
    def _edges(low: float, high: float) -> Array:
        return np.asarray(low + (high - low) * np.linspace(0.0, 1.0, ROWS + 1) ** NEARER)

    def _turned_once(self, passage: Passage, sure: Span | None) -> Iterator[list[Leg]]:
        """Out straight, turned there, and on at that roll."""
        stood, far = passage.stands, self._far(passage)
        if sure is None or stood is None:
            return
        for y, roll in itertools.product((sure[0] + share * (far - sure[0]) for share in SHARES), ROLLS):
            if y <= sure[1]:
                legs = [(stood, y - stood, 0.0, 0.0), (y, 0.0, 0.0, roll), (y, far - y, roll, 0.0)]
                yield [Leg(passage.at, *numbers, before=passage.before, open=True) for numbers in legs]
