"""The move to the next bend of the same load: slide, turn and slide on, or any way in the plane of advance and roll."""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

import numpy as np

from tests.plan.brute_force.carriage import Carriage
from tests.plan.brute_force.homing import Home
from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.legs import Leg, Legs
from tests.plan.brute_force.plane import Plane
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE
from tests.plan.brute_force.shop_rules import Window
from tests.plan.brute_force.surroundings import Surroundings

Ways = tuple[int, int]
"""Verdicts of a move with the shorter and the longer rotation."""

SHARES, BEYOND = (0.5, 0.75, 0.25), (20.0, 60.0, 150.0)
"""Where the tube is tried to be turned besides at the goal: shares of the way to it, and so far beyond it [mm]."""

ROWS = 8
"""Rows of the plane of advance and roll that are begun with."""


class Move(NamedTuple):
    """A move wanted after a bend: with the next bend's clamp, the collet in a window, the tube advanced no farther [mm]."""

    at: At
    clamp: float
    window: Window
    farthest: float


class Moves:
    """Every move, judged once."""

    def __init__(self, leading: LeadingParts, about: Surroundings, legs: Legs, carriage: Carriage) -> None:
        self.leading, self.about, self.legs, self.carriage = leading, about, legs, carriage
        self.known: dict[tuple[Move, tuple[tuple[float, int], ...]], Ways] = {}

    def ways(self, move: Move, home: Home) -> Ways:
        """The move with the shorter and the longer rotation, from where the arm came home."""
        starts = tuple(sorted((y, verdict) for y, verdict in home.advances.items() if verdict != STRUCK))
        key = (move._replace(farthest=round(move.farthest, 6)), starts)
        if key not in self.known:
            self.known[key] = self._judged(move, home)
        return self.known[key]

    def _judged(self, move: Move, home: Home) -> Ways:
        goal, roll = self.leading.to_next(move.at)
        if self.legs.by_clamp(Leg(move.at, goal, roll=roll))[move.clamp] == STRUCK:
            return (STRUCK, STRUCK)
        starts = [y for y, verdict in sorted(home.advances.items()) if verdict == CLEAR]
        best = self._slid_and_turned(move, starts)
        if min(best) != CLEAR and home.verdict == CLEAR and starts == [0.0]:
            mapped = self._mapped(move)
            if mapped == STRUCK or self.about.machine.rotation.range == "continuous":
                return (mapped, mapped)
        return best

    def _slid_and_turned(self, move: Move, starts: list[float]) -> Ways:
        """Slide, turn, and slide on, wherever the turn goes clear; never more than unsure that it does not."""
        goal, roll = self.leading.to_next(move.at)
        rolls = (roll, roll - math.copysign(2.0 * math.pi, roll))
        best = [UNSURE, UNSURE]
        places = [goal, *(share * goal for share in SHARES), *(goal + more for more in BEYOND)]
        for y, start in itertools.product((y for y in places if y <= move.farthest), starts):
            for k in range(1 if abs(roll) < 1e-9 else 2):
                if best[k] != CLEAR and self._clear(move, start, y, rolls[k]):
                    best[k] = CLEAR
            if min(best) == CLEAR:
                break
        return (best[0], best[1])

    def _clear(self, move: Move, start: float, y: float, roll: float) -> bool:
        """Whether it is clear to slide from an advance to y [mm], turn there by the roll [rad], and go on to the goal."""
        at, clamp, goal = move.at, move.clamp, self.leading.to_next(move.at)[0]
        if abs(roll) < 1e-9:
            return self.legs.slid(at, goal, start)[clamp] == CLEAR
        if y < self.about.nose:
            return False
        legs = (Leg(at, start, y - start), Leg(at, y, turn=roll), Leg(at, y, goal - y, roll))
        if any(self.legs.by_clamp(leg)[clamp] != CLEAR for leg in legs):
            return False
        return self.carriage.in_turn(at, roll, move.window) == CLEAR

    def _mapped(self, move: Move) -> int:
        """Whether a way leads from the standing tube to the goal in the plane of advance and roll, or a wall bars it."""
        at, about, out = move.at, self.about, self.about.nose
        goal = self.leading.to_next(at)
        slides = {y: self.legs.slid(at, y)[move.clamp] for y in (out, *(k * goal[0] for k in (0.25, 0.5, 0.75, 1.0)))}
        if move.farthest <= out or slides[out] == STRUCK:
            return STRUCK
        tube = self.leading.standing(at)
        obstacles = [*about.obstacles(move.clamp, tube.total), *self.carriage.riding(at, move.window)]
        plane = Plane(tube, about.radius, obstacles, np.linspace(out, move.farthest, ROWS + 1))
        clear = max((y for y, verdict in slides.items() if verdict == CLEAR), default=-1.0)
        return plane.way_to(goal, (out, clear) if clear >= out else None, (out, move.farthest))
