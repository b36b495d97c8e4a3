"""The arm's way home after a bend: past the tube as it stands, or past a tube that is run forward on the way.

A way that is found in the plane of advance and angle is looked at leg by leg, with dense samples. That there is none is
said only where blocked cells of that plane shut the arm off from home.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from tests.plan.brute_force.cloud import Obstacle
from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.legs import Legs
from tests.plan.brute_force.passing import Passing, Step
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE, Checks
from tests.plan.brute_force.surroundings import EASE, RETURNED, Surroundings
from tests.plan.brute_force.tube import Tube, walked

FINE, COARSE = 4.0, 25.0
"""Spacing of the advances that a way is made of, near the die and farther on [mm]."""

TURN = math.radians(5.0)
"""Spacing of the arm's angles [rad]."""

NEAR_THE_DIE = 300.0
"""Advances are looked at finely up to this [mm]."""

LONG = 600.0
"""So long a leg stands for the real one where only die, clamp and section are looked at [mm]."""


class Room(NamedTuple):
    """How far the tube may be run forward [mm]: as the collet holds it; with any hold and trim; to free hands, None if not.

    back: it may stand beyond the next place.
    """

    held: float
    anyhow: float
    off: float | None


class Home(NamedTuple):
    """Whether the arm comes home, and an advance at which the tube surely stands then [mm].

    drawn_off: the tube is in free hands by then. by_hand: it was run forward with the collet open.
    """

    verdict: int
    stands: float | None = None
    by_hand: bool = False
    drawn_off: bool = False

    @property
    def starts(self) -> tuple[float, ...]:
        """Where the tube surely stands."""
        return () if self.stands is None else (self.stands,)


class Homing:
    """Every way home of the arm, judged once."""

    def __init__(self, leading: LeadingParts, about: Surroundings, legs: Legs) -> None:
        self.leading, self.about, self.legs = leading, about, legs
        self.known: dict[tuple[At, float, tuple[float, float]], dict[float, int]] = {}
        self.homes: dict[tuple[At, float, Room], Home] = {}
        self.bare: dict[tuple[float, ...], list[Step] | None] = {}

    def home(self, at: At, clamp: float, room: Room) -> Home:
        """The arm goes home past the standing tube, past the tube run forward, or without it."""
        held = round(min(room.held, self._most(at, clamp)), 3)
        key = (at, clamp, room._replace(held=held, anyhow=round(room.anyhow, 3)))
        if key not in self.homes:
            self.homes[key] = self._judged(at, clamp, room._replace(held=held))
        return self.homes[key]

    def _judged(self, at: At, clamp: float, room: Room) -> Home:
        head, swing = self.about.machine.head, self.leading.swing(at)
        plain = self._past(at, 0.0, (swing, 0.0))[clamp]
        if plain == CLEAR:
            return Home(CLEAR, 0.0)
        moves = head.may_ease_off or head.homes_with_tube
        if not moves and room.off is None:
            return Home(plain)
        if moves:
            steps = self._way(at, clamp, room.held, None)
            if steps is not None:
                return Home(CLEAR, steps[-1].y[1])
        if room.off is not None:
            steps = self._way(at, clamp, room.off, room.off)
            if steps is not None:
                return Home(CLEAR, steps[-1].y[1], True, steps[-1].y[1] >= room.off - 1e-6)
        at_most = room.anyhow if room.off is None else room.off
        passing = self._passing(at, clamp, self.leading.standing(at), bare=False, fine=False)
        return Home(STRUCK if passing.shut(swing, at_most, room.off is not None) else UNSURE)

    # Ways

    def _way(self, at: At, clamp: float, at_most: float, off: float | None) -> list[Step] | None:
        """A way that is clear, with the collet closed or, to where the tube is in free hands, open; None if none is seen."""
        tried: list[list[Step]] = []
        for steps in self._ways(at, clamp, at_most, off):
            if steps not in tried and all(self._step(at, clamp, step, off is not None) == CLEAR for step in steps):
                return steps
            tried.append(steps)
        return None

    def _ways(self, at: At, clamp: float, at_most: float, off: float | None) -> Iterator[list[Step]]:
        """Ways that look clear: past die, clamp and section alone, then past all there is, the tube drawn off at last."""
        swing, angle = self.leading.swing(at), self.leading.angle(at)
        arms = sorted({swing, angle, 0.0, *np.arange(TURN, angle, TURN)}, reverse=True)
        straight = self.leading.ahead_length(at)
        ys = self._advances(clamp, straight, at_most)
        key = (angle, swing, clamp, min(straight, LONG), round(min(at_most, NEAR_THE_DIE + straight), 3))
        if key not in self.bare:
            bare = walked([("arc", self.about.clr, angle), ("straight", min(straight, LONG), 0.0)], self.about.side)
            self.bare[key] = self._passing(at, clamp, bare, bare=True, fine=True).way(ys, arms, False)
        first = self.bare[key]
        if first is not None and first[-1].y[1] <= at_most:
            yield first
        passing = self._passing(at, clamp, self.leading.standing(at), bare=False, fine=True)
        found = passing.way(ys, arms, False)
        if found is not None:
            yield found
        if off is not None:
            found = passing.way([*ys, off], arms, True)
            if found is not None:
                yield found

    def _advances(self, clamp: float, straight: float, at_most: float) -> list[float]:
        long = self.about.section_length(clamp)
        places = {0.0, long, straight + long + 2.0, *np.arange(FINE, NEAR_THE_DIE, FINE)}
        places |= set(np.arange(NEAR_THE_DIE, straight + long, COARSE))
        return sorted(float(y) for y in places if y < at_most + 1e-9)

    def _most(self, at: At, clamp: float) -> float:
        """An advance as great as any that a way is made of [mm]."""
        return max(NEAR_THE_DIE, self.leading.ahead_length(at) + self.about.section_length(clamp) + 2.0)

    def _passing(self, at: At, clamp: float, tube: Tube, bare: bool, fine: bool) -> Passing:
        about, angle, total = self.about, self.leading.angle(at), tube.total
        roles = about.standing_roles(angle)
        carried = [Obstacle(about.clamp(clamp), about.apart)]
        carried += [Obstacle(solid, about.apart, own=roles.slid) for solid in about.section(clamp)]
        in_groove = {0: -math.inf, 1: -math.inf}
        beyond = dict.fromkeys(range(2, len(tube.length)), EASE) if angle >= RETURNED else {}
        standing = [Obstacle(about.die, about.apart, own={**in_groove, **beyond})]
        if not bare:
            need = about.need(total)[0]
            standing += [Obstacle(solid, about.apart, own=in_groove) for solid in about.wiper]
            standing += [Obstacle(solid, about.apart) for solid in about.hub]
            standing += [Obstacle(solid, about.apart, first=roles.off_rod) for solid in about.rod(False)]
            standing += [Obstacle(solid, need, about.sag) for solid in about.frame]
            carried += [Obstacle(solid, need, about.sag) for solid in about.arm]
        behind = self.leading.behind(at) - about.clr * angle
        return Passing(tube, about.radius, about.axis, about.side, behind, standing, carried, fine)

    # Legs

    def _step(self, at: At, clamp: float, step: Step, by_hand: bool) -> int:
        if step.arm[0] != step.arm[1]:
            return self._past(at, step.y[0], step.arm)[clamp]
        return self.legs.slid(at, step.y[1], step.y[0], step.arm[0], by_hand)[clamp]

    def _past(self, at: At, y: float, arm: tuple[float, float]) -> dict[float, int]:
        """The arm goes from an angle to another past the tube advanced by y [mm], by clamp."""
        key = (at, y, arm)
        if key not in self.known:
            about, checks = self.about, Checks(self.about.radius)
            tube, turned_back = self.leading.eased(at, y), about.swinging(arm[0] - arm[1])
            turned = about.swung(tube, -arm[0])
            forward, need = (0.0, about.follows(self.leading.feed(at))), about.need(tube.total)
            checks.add("all", turned, about.arm, need, turned_back)
            checks.add("all", tube, [about.pressure("open", forward)], about.apart)
            checks.add("all", tube, about.slide("open", forward), need)
            last = len(tube.length) - 1  # the straight that has come out of the die, if any has
            eased = dict(about.standing_roles(self.leading.angle(at)).slid)
            if y > 0.0:
                eased[last] = EASE
            about.past_section(checks, turned, eased, turned_back)
            for clamp in about.clamps:
                checks.add(clamp, turned, [about.clamp(clamp)], about.apart, turned_back)
            self.known[key] = about.by_clamp(checks)
        return self.known[key]
