"""Points of a tube by which whole cells are judged, and what each of them keeps to a solid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from tests.plan.brute_force.solids import Solid, distances
from tests.plan.brute_force.tube import Array, Tube

RIM = 12
"""Points about the flat end's rim."""


@dataclass(frozen=True)
class Obstacle:
    """A solid and what the tube needs to it [mm]: at an advance of 0, and how much more a millimetre of advance.

    rides: it goes with the tube, which turns before it but comes no nearer. proves: its nearness blocks cells; that of a
    solid which could as well be somewhere else only keeps them from being free. own: needs of single pieces of tube;
    first: arc lengths from which on single pieces count [mm].
    """

    solid: Solid
    need: float
    more: float = 0.0
    rides: bool = False
    proves: bool = True
    own: dict[int, float] = field(default_factory=dict)
    first: dict[int, float] = field(default_factory=dict)


class Needs(NamedTuple):
    """What each point keeps to a solid at an advance of 0 [mm]; −∞ where it does not count.

    strict: by its own piece; lax: by the least that any piece asks within the tube's radius.
    """

    strict: Array
    lax: Array


class Cloud:
    """Points of a tube: x (k, 3), all of the tube first, `count` of them with half a chunk about each.

    thick (k,): how much tube is about a point on all sides; inner (k,): where all of that is tube. fine: spacings of the
    points on the first pieces [mm].
    """

    def __init__(self, tube: Tube, radius: float, fine: Sequence[float] = ()) -> None:
        points, half, number = tube.points(radius, fine)
        to_end = 2.0 * np.cumsum(half[::-1])[::-1] - half
        end, rim = _flat_end(tube, radius)
        self.x = np.concatenate((points, end, rim))
        self.thick = np.concatenate((np.full(len(points) + len(end), radius), np.zeros(len(rim))))
        self.count, self.half = len(points), half
        # The tube's end is flat: what is round about a point near it is no tube, what lies on its rim is.
        self.inner = np.concatenate((to_end > radius, np.full(len(end) + len(rim), True)))
        self.tube, self.radius = tube, radius
        last = len(tube.length) - 1
        self.number = np.concatenate((number, np.full(len(end) + len(rim), last, dtype=np.int64)))
        before = np.concatenate(([0.0], np.cumsum(tube.length)))
        along = np.cumsum(2.0 * half) - half - before[number]
        at_the_end = float(tube.length[last]) if len(tube.length) else 0.0
        self.along = np.concatenate((along, np.full(len(end) + len(rim), at_the_end)))

    def needs(self, obstacle: Obstacle) -> Needs:
        """What each point keeps to an obstacle."""
        if not obstacle.own and not obstacle.first:
            same = np.full(len(self.x), obstacle.need)
            return Needs(same, same)
        pieces = [obstacle.own.get(i, obstacle.need) for i in range(len(self.tube.length))]
        firsts = np.array([obstacle.first.get(i, 0.0) for i in range(len(pieces))])
        strict = np.where(self.along >= firsts[self.number] - self.radius, np.array(pieces)[self.number], -np.inf)
        lax = np.where(self.along >= firsts[self.number] + self.radius, np.array(pieces)[self.number], -np.inf)
        lax = np.where(firsts[self.number] == 0.0, np.array(pieces)[self.number], lax)
        length = self.tube.length[self.number]
        for step, near in ((-1, self.along < self.radius), (1, length - self.along < self.radius)):
            beside = self.number + step
            inside = near & (beside >= 0) & (beside < len(pieces))
            neighbour = np.clip(beside, 0, len(pieces) - 1)
            asked = np.where(firsts[neighbour] > 0.0, -np.inf, np.array(pieces)[neighbour])
            lax = np.where(inside, np.minimum(lax, asked), lax)
        return Needs(np.asarray(strict), np.asarray(lax))


def from_solid(solid: Solid, x: Array) -> Array:
    """Signed distances of points (…, 3) to a solid [mm]."""
    return distances(solid.kind, np.array([*solid.numbers, *[0.0] * (8 - len(solid.numbers))]), x)


def _flat_end(tube: Tube, radius: float) -> tuple[Array, Array]:
    """The last point about which all is tube, and points about the flat end's rim; none where the tube does not end straight."""
    if not tube.length.size or tube.curvature[-1] > 0.0 or tube.length[-1] <= radius:
        return np.empty((0, 3)), np.empty((0, 3))
    along, inward, end = tube.along[-1], tube.inward[-1], tube.start[-1] + tube.along[-1] * tube.length[-1]
    around = 2.0 * math.pi * np.arange(RIM)[:, None] / RIM
    across = radius * (np.cos(around) * inward + np.sin(around) * np.cross(along, inward))
    rim = [end - along * back + across for back in (0.0, radius / 2.0)]
    return (end - along * radius)[None], np.concatenate(rim)
