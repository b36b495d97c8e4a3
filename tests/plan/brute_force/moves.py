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
from tests.plan.brute_force.plane import Plane, Span
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
        self.known: dict[tuple[Move, Home], Ways] = {}
        self.maps: dict[tuple[Move, Span | None], int] = {}

    def ways(self, move: Move, home: Home) -> Ways:
        """The move with the shorter and the longer rotation, from where the arm came home."""
        key = (move._replace(farthest=round(move.farthest, 6)), home)
        if key not in self.known:
            self.known[key] = self._judged(move, home)
        return self.known[key]

    def _judged(self, move: Move, home: Home) -> Ways:
        goal, roll = self.leading.to_next(move.at)
        if self.legs.by_clamp(Leg(move.at, goal, roll=roll))[move.clamp] == STRUCK:
            return (STRUCK, STRUCK)
        best = self._slid_and_turned(move, home.starts)
        if min(best) != CLEAR:
            mapped = self._mapped(move, home)
            if mapped == STRUCK or self.about.machine.rotation.range == "continuous":
                return (mapped, mapped)
        return best

    def _slid_and_turned(self, move: Move, starts: tuple[float, ...]) -> Ways:
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
        if y < self.about.turns_from:
            return False
        legs = (Leg(at, start, y - start), Leg(at, y, turn=roll), Leg(at, y, goal - y, roll))
        if any(self.legs.by_clamp(leg)[clamp] != CLEAR for leg in legs):
            return False
        return self.carriage.in_turn(at, roll, move.window) == CLEAR

    def _mapped(self, move: Move, home: Home) -> int:
        """Whether a way leads from the standing tube to the goal in the plane of advance and roll, or a wall bars it."""
        at, about, out = move.at, self.about, self.about.turns_from
        goal = self.leading.to_next(at)
        if move.farthest <= out or self.legs.past_what_stands(Leg(at, 0.0, out)) == STRUCK:
            return STRUCK
        sure = self._slides_surely(move, home, goal[0])
        key = (move._replace(farthest=round(move.farthest, 6)), sure)
        if key not in self.maps:
            tube = self.leading.standing(at)
            obstacles = about.obstacles(move.clamp, tube.total, about.standing_roles(self.leading.angle(at)))
            obstacles += self.carriage.riding(at, move.window)
            plane = Plane(tube, about.radius, obstacles, np.linspace(out, move.farthest, ROWS + 1))
            self.maps[key] = plane.way_to(goal, sure, (out, move.farthest))
        return self.maps[key]

    def _slides_surely(self, move: Move, home: Home, goal: float) -> Span | None:
        """From which advance to which it surely slides once the arm is home [mm], by quarters of the way to the goal."""
        for start in home.starts:
            places = [k * goal for k in (0.25, 0.5, 0.75, 1.0) if k * goal >= max(self.about.turns_from, start)]
            clear = [y for y in places if self.legs.slid(move.at, y, start)[move.clamp] == CLEAR]
            if clear:
                return (min(clear), max(clear))
        return None
