"""The arm's way home after a bend: past the tube as it stands, or past the tube eased off the die."""

from __future__ import annotations

import math
from typing import NamedTuple

from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.legs import Legs
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE, Checks
from tests.plan.brute_force.surroundings import Surroundings

EASED = 10.0
"""Spacing of the advances at which the arm is tried to come home [mm]."""


class Home(NamedTuple):
    """Whether the arm comes home, and at which advances of the tube [mm], each with its verdict."""

    verdict: int
    advances: dict[float, int]


class Homing:
    """Every way home of the arm, judged once."""

    def __init__(self, leading: LeadingParts, about: Surroundings, legs: Legs) -> None:
        self.leading, self.about, self.legs = leading, about, legs
        self.known: dict[tuple[At, float, float], dict[float, int]] = {}
        self.homes: dict[tuple[At, float, float], Home] = {}

    def home(self, at: At, clamp: float, room: float) -> Home:
        """The arm goes home; where it is struck, also past the tube eased off by up to `room` [mm]."""
        key = (at, clamp, round(room, 6))
        if key not in self.homes:
            plain = self._past(at, 0.0)[clamp]
            eased = plain != CLEAR and self.about.machine.head.may_ease_off
            self.homes[key] = self._eased_home(at, clamp, room) if eased else Home(plain, {0.0: plain})
        return self.homes[key]

    def _eased_home(self, at: At, clamp: float, room: float) -> Home:
        plain, swing = self._past(at, 0.0)[clamp], self.leading.swing(at)
        count = max(1, math.ceil(room / EASED))
        places = {k * room / count: STRUCK for k in range(1, count + 1)}
        surely_struck = plain == STRUCK and self._past(at, 0.0, room / count / 2.0)[clamp] == STRUCK
        slid, before = CLEAR, 0.0
        for y in places:
            slid = max(slid, self.legs.slid(at, y, before, arm=swing)[clamp])
            if slid != STRUCK:
                places[y] = max(slid, self._past(at, y)[clamp])
            surely_struck = surely_struck and self._past(at, y, room / count / 2.0)[clamp] == STRUCK
            if slid == STRUCK:  # nor does it come any farther
                break
            before = y
        places[0.0] = plain
        best = min(places.values())
        return Home(best if best == CLEAR or surely_struck else UNSURE, places)

    def _past(self, at: At, y: float, lessened: float = 0.0) -> dict[float, int]:
        """The way home past the tube advanced by y [mm], by clamp.

        Struck with every clearance lessened by so much [mm], it is struck at all advances within that.
        """
        key = (at, y, lessened)
        if key not in self.known:
            about, checks = self.about, Checks(self.about.radius)
            tube, swing = self.leading.eased(at, y), self.leading.swing(at)
            homing, turned = about.swinging(swing), about.swung(tube, -swing)
            apart, forward = about.apart - lessened, about.follows(self.leading.feed(at))
            checks.add("all", turned, about.arm, about.need(tube.total)[0] - lessened, homing)
            checks.add("all", tube, [about.pressure("open", (0.0, forward))], apart)
            for clamp in about.clamps:
                checks.add(clamp, turned, [about.clamp(clamp)], apart, homing)
            self.known[key] = about.by_clamp(checks)
        return self.known[key]
