"""The leading part against what the carriage carries, which comes as near to the die as the collet's place lets it."""

from __future__ import annotations

import math
from collections.abc import Hashable

from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.plane import Obstacle
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE, Checks, Motion
from tests.plan.brute_force.shop_rules import Window
from tests.plan.brute_force.solids import Solid, swept
from tests.plan.brute_force.surroundings import Surroundings

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

    def standing_still(self, tangent: float, window: Window) -> list[Solid]:
        """Boxes at all places of the collet, as it holds or held the tube and stands.

        tangent: stock coordinate that lies at the tangent point meanwhile [mm].
        """
        return swept(self.about.boxes, window[1] - window[0], tangent - window[1])
