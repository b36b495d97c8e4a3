"""The leading part against what the carriage carries, where the collet holds, where it waits, and on its run between."""

from __future__ import annotations

import math
from collections.abc import Hashable

from tests.plan.brute_force.cloud import Obstacle
from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE, Checks, Motion
from tests.plan.brute_force.shop_rules import Window
from tests.plan.brute_force.solids import swept
from tests.plan.brute_force.surroundings import Surroundings
from tests.plan.brute_force.tube import Tube

HOLDS = 20.0
"""Spacing of the collet's places at which the leading part is tried to strike the carriage [mm]."""


class Carriage:
    """The carriage's own solids in every bend and every turn, judged once."""

    def __init__(self, leading: LeadingParts, about: Surroundings) -> None:
        self.leading, self.about = leading, about
        self.known: dict[Hashable, int] = {}

    def in_bend(self, at: At, window: Window, following: Window, anywhere: Window) -> int:
        """The bend and the re-grip after it, the collet as far back as it may hold.

        Clear for all places of the collet in both windows, or for the places in use; struck if it is so wherever the
        collet may hold for the bend; else unsure.
        """
        all_places = (min(window[0], following[0]), max(window[1], following[1]))
        in_use = (min(window[1], following[1]), max(window[1], following[1]))
        if CLEAR in (self._bent(at, *all_places), self._bent(at, *in_use)):
            return CLEAR
        count = max(1, math.ceil((anywhere[1] - anywhere[0]) / HOLDS))
        half = (anywhere[1] - anywhere[0]) / count / 2.0
        places = (anywhere[1] - (2 * k + 1) * half for k in range(count))
        return STRUCK if all(self._bent(at, u + half, u - half) == STRUCK for u in places) else UNSURE

    def _bent(self, at: At, low: float, high: float) -> int:
        """The bend with boxes that fill what the carriage's fill with the collet at any place from low to high.

        With low above high what they fill at all of these places: what strikes that strikes wherever the collet holds.
        """
        key = ("bent", at, round(low, 6), round(high, 6))
        if key not in self.known:
            about, tube, feed = self.about, self.leading.in_die(at), self.leading.feed(at)
            face = high - self.leading.start(at)
            boxes = [box for box in swept(about.boxes, high - low) if box.numbers[0] < box.numbers[3]]
            swing = Motion("z", about.side * self.leading.swing(at), -feed, face, about.axis)
            checks = Checks(about.radius)
            checks.add("all", tube.moved(shift=face), boxes, about.need(tube.total, feed), swing)
            self.known[key] = checks.verdicts()["all"]
        return self.known[key]

    def waiting(self, at: At) -> int:
        """The bend with the collet open: the carriage stands where it waits."""
        key = ("waiting", at)
        if key not in self.known:
            about, tube, checks = self.about, self.leading.in_die(at), Checks(self.about.radius)
            need = about.need(tube.total, self.leading.feed(at))
            checks.add("all", tube, about.waiting, need, about.swinging(self.leading.swing(at)))
            self.known[key] = checks.verdicts().get("all", CLEAR)
        return self.known[key]

    def runs(self, at: At, window: Window, anywhere: Window) -> int:
        """The run between where the carriage waits and where the collet holds, the tube in its place before the bend.

        Clear for the hold in use; struck if it is so for the hold that is nearest to where the carriage waits.
        """
        if not self.about.boxes or at.ahead == at.bend:
            return CLEAR
        tube, start = self.leading.in_die(at), self.leading.start(at)
        if self._ran(("before", at), tube, window[1] - start) == CLEAR:
            return CLEAR
        nearest = min(max(self._waits, anywhere[0] - start), anywhere[1] - start)
        return STRUCK if self._ran(("before", at), tube, nearest) == STRUCK else UNSURE

    def runs_back(self, at: At, face: float, y: float) -> int:
        """The run back after a bend, the tube advanced by y [mm]; at most unsure.

        face: stock coordinate of the collet's face [mm].
        """
        if not self.about.boxes:
            return CLEAR
        ran = self._ran(("after", at, y), self.leading.eased(at, y), face - self.leading.end(at) - y)
        return min(ran, UNSURE)

    @property
    def _waits(self) -> float:
        carriage = self.about.machine.carriage
        assert carriage is not None
        return carriage.reach[1] if carriage.stand_back is None else carriage.stand_back

    def _ran(self, name: Hashable, tube: Tube, away: float) -> int:
        """A run between where it waits and a distance of the face from the tangent point [mm]."""
        key = ("ran", name, round(away, 6))
        if key not in self.known:
            checks = Checks(self.about.radius)
            boxes = swept(self.about.boxes, abs(self._waits - away), -max(self._waits, away))
            checks.add("all", tube, boxes, self.about.need(tube.total))
            self.known[key] = checks.verdicts()["all"]
        return self.known[key]

    def in_turn(self, at: At, roll: float, window: Window) -> int:
        """The leading part turned about the feed [rad]: all places of the collet in the window, or the farthest back."""
        if not self.about.boxes:
            return CLEAR
        key = ("turned", at, roll, window)
        if key not in self.known:
            tube, farthest = self.leading.standing(at), window[1]
            need = self.about.need(tube.total + self.leading.to_next(at)[0])
            for low in window:
                checks, shift = Checks(self.about.radius), farthest - self.leading.end(at)
                solids = swept(self.about.boxes, farthest - low)
                checks.add("all", tube.moved(shift=shift), solids, need, Motion("x", roll))
                self.known[key] = checks.verdicts()["all"]
                if self.known[key] == CLEAR:
                    break
        return self.known[key]

    def riding(self, at: At, window: Window) -> list[Obstacle]:
        """Boxes at all places of the collet, which go with the tube that stands after the bend."""
        face, total = window[1] - self.leading.end(at), self.leading.standing(at).total
        need = self.about.need(total + self.leading.to_next(at)[0])[0]
        boxes = swept(self.about.boxes, window[1] - window[0], -face)
        return [Obstacle(box, need, rides=True, proves=False) for box in boxes]
