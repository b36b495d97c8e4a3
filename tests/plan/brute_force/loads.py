"""On and off the mandrel: the tube put on from the front before a load's first bend, and taken off after its last one.

Both are looked at from the tube's place in the machine forward: on is the way back. In front of the mandrel's nose the
tube is in free hands, at any roll; at its place it has a roll of 0. The arm is at home, clamp and pressure die are open,
and the carriage stands where it grips the tube, or has gripped it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from tests.plan.brute_force.carriage import Carriage
from tests.plan.brute_force.homing import EASED, Home
from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.legs import Leg, Legs
from tests.plan.brute_force.plane import Obstacle, Plane
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE, Checks, Motion
from tests.plan.brute_force.shop_rules import Window
from tests.plan.brute_force.surroundings import Surroundings
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

    before: put on; starts: advances at which it may stand in the machine [mm], each with a verdict; hold: where the collet
    may hold it, None where it is open and the carriage far back; anywhere: the same with all that any job may choose.
    """

    at: At
    clamp: float
    before: bool
    starts: tuple[tuple[float, int], ...]
    hold: Window | None
    anywhere: Window


class Loads:
    """Every way on and off, judged once."""

    def __init__(self, leading: LeadingParts, about: Surroundings, legs: Legs, carriage: Carriage) -> None:
        self.leading, self.about, self.legs, self.carriage = leading, about, legs, carriage
        self.known: dict[Passage, int] = {}
        self.lines: dict[tuple[float, float, float], dict[float, int]] = {}

    def put_on(self, at: At, clamp: float, hold: Window, anywhere: Window) -> int:
        """The tube comes to its place before a bend, formed or bare."""
        return self._known(Passage(at, clamp, True, ((0.0, CLEAR),), hold, anywhere))

    def taken_off(self, at: At, clamp: float, home: Home, hold: Window | None, anywhere: Window) -> int:
        """The tube comes off from where it stands after a bend, once the arm is home."""
        starts = tuple(sorted((y, verdict) for y, verdict in home.advances.items() if verdict != STRUCK))
        return self._known(Passage(at, clamp, False, starts, hold, anywhere))

    def _known(self, passage: Passage) -> int:
        boxes = self.about.boxes
        key = passage if boxes else passage._replace(hold=None)
        if key not in self.known:
            self.known[key] = self._judged(key)
        return self.known[key]

    def _judged(self, passage: Passage) -> int:
        at = passage.at
        line = self._line(passage)[passage.clamp]
        if line == STRUCK or (passage.before and at.ahead == at.bend):
            return line
        if any(self._clear(passage, [leg]) for leg in self._straight(passage)):
            return line
        return max(line, self._around(passage))

    # Along the feed

    def _line(self, passage: Passage) -> dict[float, int]:
        """The feed itself: the tail comes along it, and what is straight ahead of a tail, from in front of the nose."""
        at, about, far = passage.at, self.about, self._far(passage)
        tube, behind = self.legs.placed(Leg(at, 0.0, before=passage.before)), far - about.nose - FREE_HANDS
        first = float(tube.take(slice(0, 1)).total) if passage.before else 0.0
        key = (round(far + first, 6), round(behind, 6), round(tube.total, 6))
        if key not in self.lines:
            checks = Checks(about.radius)
            ahead, tail = self.leading.straight(far + first), self.leading.straight(behind).moved(shift=-behind)
            for part, need in ((ahead, about.need(tube.total + far)), (tail, about.need(tube.total))):
                checks.add("all", part, [*about.frame, *about.arm], need)
            checks.add("all", ahead, [*about.hub, about.pressure("open")], about.apart)
            for clamp in about.clamps:
                checks.add(clamp, ahead, [about.clamp(clamp)], about.apart)
            self.lines[key] = about.by_clamp(checks)
        return self.lines[key]

    def _straight(self, passage: Passage) -> Iterator[Leg]:
        """Straight on from every place at which the tube surely stands."""
        far = self._far(passage)
        for y in (y for y, verdict in passage.starts if verdict == CLEAR):
            yield Leg(passage.at, y, far - y, before=passage.before)

    def _far(self, passage: Passage) -> float:
        """The advance at which the tube is in free hands [mm]."""
        at, view = passage.at, self.leading.views[passage.at.leads]
        tangent = self._tangent(passage)
        return view.length + at.trim_tail - tangent + self.about.nose + FREE_HANDS

    def _tangent(self, passage: Passage) -> float:
        """Stock coordinate at the tangent point at an advance of 0 [mm]."""
        return self.leading.start(passage.at) if passage.before else self.leading.end(passage.at)

    def _clear(self, passage: Passage, legs: list[Leg]) -> bool:
        """Whether it is clear to go by some legs, the first of them from where the tube stands."""
        if any(self.legs.by_clamp(leg)[passage.clamp] != CLEAR for leg in legs):
            return False
        return all(self._past_the_carriage(passage, leg, legs[0].advance) for leg in legs)

    def _past_the_carriage(self, passage: Passage, leg: Leg, stood: float) -> bool:
        """Whether a leg is clear of the carriage, where it may stand at all or where the collet holds farthest back."""
        if not self.about.boxes or passage.hold is None:
            return True
        tube, tangent = self.legs.placed(leg), self._tangent(passage) + stood
        for hold in (passage.anywhere, (passage.hold[1],) * 2):
            checks = Checks(self.about.radius)
            boxes = self.carriage.standing_still(tangent, hold)
            checks.add("all", tube, boxes, self.legs.need(leg, tube), Motion("x", leg.turn, leg.way))
            if checks.verdicts()["all"] == CLEAR:
                return True
        return False

    # In the plane of advance and roll

    def _around(self, passage: Passage) -> int:
        """Any way in the plane, once the tube has slid out over the nose, and the arc out of the groove."""
        nose, far = self.about.nose, self._far(passage)
        if not passage.starts:  # it stands somewhere between the advances that were tried, if anywhere
            return UNSURE
        at_most = max(self._slides(passage, last)[1] for last in self._lasts(passage))
        if at_most < nose:
            return STRUCK
        stood = next((y for y, verdict in passage.starts if verdict == CLEAR), None)
        sure = None if stood is None else (max(nose, stood), self._slides(passage, stood)[0])
        if sure is not None and sure[0] > sure[1]:
            sure = None
        found = UNSURE
        for hold in self._holds(passage):
            plane = self._plane(passage, hold, 0.0 if stood is None else stood)
            found = plane.way_to(None, sure, (nose, min(at_most, far)))
            if found != UNSURE:
                return found
        return CLEAR if any(self._clear(passage, legs) for legs in self._turned_once(passage, sure)) else UNSURE

    def _lasts(self, passage: Passage) -> list[float]:
        """The greatest advances from which it may begin to slide; eased off, up to the next one that was tried [mm]."""
        last = passage.starts[-1][0]
        return [last] if last == 0.0 else [last, min(last + EASED, self._far(passage))]

    def _slides(self, passage: Passage, start: float) -> tuple[float, float]:
        """How far the tube slides straight out from an advance: surely, and at most [mm]."""
        far, nose = self._far(passage), self.about.nose
        places = sorted({start, max(start, nose), *(start + step for step in STEPS if start + step < far), far})
        surely = start
        sure = True
        for low, high in itertools.pairwise(places):
            verdict = self._slid(passage, low, high)
            if verdict == STRUCK:
                low, high = self._struck_within(passage, low, high)
                return (low if sure else surely, high)
            sure &= verdict == CLEAR
            surely = high if sure else surely
        return (surely, far)

    def _struck_within(self, passage: Passage, low: float, high: float) -> tuple[float, float]:
        """Narrow the step in which it is struck."""
        for _ in range(BISECTED):
            middle = (low + high) / 2.0
            if self._slid(passage, low, middle) == STRUCK:
                high = middle
            elif self._slid(passage, low, middle) == CLEAR:
                low = middle
            else:
                break
        return low, high

    def _slid(self, passage: Passage, low: float, high: float) -> int:
        return self.legs.by_clamp(Leg(passage.at, low, high - low, before=passage.before))[passage.clamp]

    def _holds(self, passage: Passage) -> list[Window | None]:
        """Where the carriage is taken to stand, one after the other."""
        if not self.about.boxes or passage.hold is None:
            return [None]
        return [passage.anywhere, (passage.hold[1],) * 2]

    def _plane(self, passage: Passage, hold: Window | None, stood: float) -> Plane:
        about, tube = self.about, self.legs.placed(Leg(passage.at, 0.0, before=passage.before))
        total = tube.total
        if passage.before:
            tube = tube.take(slice(1, None))  # the first straight lies on the feed
        obstacles = about.obstacles(passage.clamp, total)
        if hold is not None:
            boxes = self.carriage.standing_still(self._tangent(passage) + stood, hold)
            need = about.need(total)[0]
            obstacles += [Obstacle(box, need, about.sag, proves=False) for box in boxes]
        return Plane(tube, about.radius, obstacles, self._edges(about.nose, self._far(passage)))

    @staticmethod
    def _edges(low: float, high: float) -> Array:
        return np.asarray(low + (high - low) * np.linspace(0.0, 1.0, ROWS + 1) ** NEARER)

    def _turned_once(self, passage: Passage, sure: Window | None) -> Iterator[list[Leg]]:
        """Out straight, turned there, and on at that roll."""
        stood, far = next((y for y, verdict in passage.starts if verdict == CLEAR), None), self._far(passage)
        if sure is None or stood is None:
            return
        for y, roll in itertools.product((sure[0] + share * (far - sure[0]) for share in SHARES), ROLLS):
            if y <= sure[1]:
                legs = [(stood, y - stood, 0.0, 0.0), (y, 0.0, 0.0, roll), (y, far - y, roll, 0.0)]
                yield [Leg(passage.at, *numbers, before=passage.before) for numbers in legs]
