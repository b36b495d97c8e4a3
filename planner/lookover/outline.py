"""How deep two solids stand in each other, seen from above, while one of them turns with the bend arm.

Everything that is looked over is upright: seen from above it is a rectangle, or what a disc covers whose centre stands
anywhere in a rectangle (a cylinder, or one that has travelled along the axes). So one measure does for all of them:

    depth = edge₁ + edge₂ − d(core₁, core₂)                                                      (11)

with d the distance of the two rectangles, or where they overlap less the way that parts them again. Rectangles that
overlap are parted on the shortest way square to one of their four kinds of side (the separating axis); from rectangles
apart the nearest points are a corner of one and a point of the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from planner.tube.frames import Array

Span = float | Array
"""A coordinate [mm], or one for each angle of the arm, (n,)."""


class Pose(NamedTuple):
    """How the turning solid stands: angles counter-clockwise seen from above (n,) [rad], about the axis (x, y) [mm]."""

    angles: Array
    axis: tuple[float, float]


STILL = Pose(np.zeros(1), (0.0, 0.0))
"""Nothing turns."""


@dataclass(frozen=True, eq=False)
class Outline:
    """A solid seen from above: the core from (x0, y0) to (x1, y1), and all within `edge` of it [mm]."""

    x0: Span
    y0: Span
    x1: Span
    y1: Span
    edge: float = 0.0

    def travelled(self, x: tuple[Span, Span] = (0.0, 0.0), y: tuple[float, float] = (0.0, 0.0)) -> Outline:
        """Return all that it covers while it goes from x[0] to x[1] along the feed and from y[0] to y[1] across."""
        return Outline(self.x0 + x[0], self.y0 + y[0], self.x1 + x[1], self.y1 + y[1], self.edge)

    def covers(self, x: float, y: float) -> bool:
        """Return whether a point (x, y) [mm] lies in it, where it stands still."""
        aside = np.hypot(x - np.clip(x, self.x0, self.x1), y - np.clip(y, self.y0, self.y1))
        return bool(np.all(aside <= self.edge))

    def at(self, k: int) -> Outline:
        """Return the outline at the k-th angle alone."""
        x0, y0, x1, y1 = (float(v) if np.ndim(v) == 0 else float(np.asarray(v)[k]) for v in self._bounds)
        return Outline(x0, y0, x1, y1, self.edge)

    @property
    def _bounds(self) -> tuple[Span, Span, Span, Span]:
        return self.x0, self.y0, self.x1, self.y1

    def corners(self, n: int) -> tuple[Array, Array]:
        """Return x and y of the core's corners in their order around it, (4, n) each [mm]."""
        x0, y0, x1, y1 = (np.broadcast_to(np.asarray(v, dtype=float), (n,)) for v in self._bounds)
        return np.stack((x0, x1, x1, x0)), np.stack((y0, y0, y1, y1))


def depth(turning: Outline, standing: Outline, pose: Pose = STILL) -> Array:
    """Return how deep they stand in each other by (11), (n,) [mm]; below 0 it is the gap between them."""
    n = len(pose.angles)
    own_x, own_y = _turned(*turning.corners(n), pose)
    other_x, other_y = standing.corners(n)
    back_x, back_y = _turned(other_x, other_y, Pose(-pose.angles, pose.axis))
    ways = np.stack((
        _overlap(own_x.min(0), own_x.max(0), standing.x0, standing.x1),
        _overlap(own_y.min(0), own_y.max(0), standing.y0, standing.y1),
        _overlap(back_x.min(0), back_x.max(0), turning.x0, turning.x1),
        _overlap(back_y.min(0), back_y.max(0), turning.y0, turning.y1),
    )).min(axis=0)  # fmt: skip
    gap = np.minimum(_aside(own_x, own_y, standing).min(0), _aside(back_x, back_y, turning).min(0))
    return np.asarray(np.where(ways >= 0.0, ways, -gap) + turning.edge + standing.edge)


def apart(turning: Outline, standing: Outline, pose: Pose) -> bool:
    """Return whether they clearly never meet: at no angle does the turning one come as far out as the other stands.

    Both are seen from the axis; most solids of a machine are told apart so, at a fraction of what (11) costs.
    """
    (near, far), (nearest, farthest) = _from_axis(turning, pose.axis), _from_axis(standing, pose.axis)
    return far + turning.edge < nearest - standing.edge or farthest + standing.edge < near - turning.edge


def _from_axis(outline: Outline, axis: tuple[float, float]) -> tuple[float, float]:
    """Return the least and the greatest distance of a core's points from an axis, wherever it goes [mm]."""
    x0, x1 = float(np.min(outline.x0)) - axis[0], float(np.max(outline.x1)) - axis[0]
    y0, y1 = float(np.min(outline.y0)) - axis[1], float(np.max(outline.y1)) - axis[1]
    near = math.hypot(max(x0, -x1, 0.0), max(y0, -y1, 0.0))
    return near, math.hypot(max(-x0, x1), max(-y0, y1))


def shared_place(turning: Outline, standing: Outline, angle: float, axis: tuple[float, float]) -> tuple[float, float]:
    """Return a point (x, y) [mm] that lies in both, where they overlap at an angle [rad]: about the middle of it."""
    pose = Pose(np.array([angle]), axis)
    own_x, own_y = _turned(*turning.corners(1), pose)
    common = _clipped([(float(x), float(y)) for x, y in zip(own_x[:, 0], own_y[:, 0], strict=True)], standing)
    if common:
        return float(np.mean([x for x, _ in common])), float(np.mean([y for _, y in common]))
    own, other = _nearest(turning, standing, pose)
    way = np.subtract(other, own)
    far = float(np.hypot(*way))
    if far == 0.0:
        return own  # the cores touch in this point
    # Of the way between the cores the first `edge` of it lies in the one, the last in the other.
    share = (max(far - standing.edge, 0.0) + min(turning.edge, far)) / (2.0 * far)
    return float(own[0] + share * way[0]), float(own[1] + share * way[1])


def _overlap(low: Span, high: Span, from_: Span, to: Span) -> Array:
    """Return the shortest way along one axis that parts two spans; below 0 the gap between them."""
    return np.minimum(np.subtract(high, from_), np.subtract(to, low))


def _turned(x: Array, y: Array, pose: Pose) -> tuple[Array, Array]:
    """Return points (4, n) turned by the n angles about the axis."""
    sine, cosine = np.sin(pose.angles), np.cos(pose.angles)
    p, q = x - pose.axis[0], y - pose.axis[1]
    return pose.axis[0] + cosine * p - sine * q, pose.axis[1] + sine * p + cosine * q


def _aside(x: Array, y: Array, core: Outline) -> Array:
    """Return how far points (4, n) lie outside a core."""
    return np.hypot(x - np.clip(x, core.x0, core.x1), y - np.clip(y, core.y0, core.y1))


def _nearest(turning: Outline, standing: Outline, pose: Pose) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the nearest points of two cores that stand apart, at one angle."""
    back = Pose(-pose.angles, pose.axis)
    own_x, own_y = _turned(*turning.corners(1), pose)
    beside_x, beside_y = np.clip(own_x, standing.x0, standing.x1), np.clip(own_y, standing.y0, standing.y1)
    other_x, other_y = standing.corners(1)
    seen_x, seen_y = _turned(other_x, other_y, back)
    near_x, near_y = _turned(np.clip(seen_x, turning.x0, turning.x1), np.clip(seen_y, turning.y0, turning.y1), pose)
    on_own = np.concatenate((np.hstack((own_x, own_y)), np.hstack((near_x, near_y))))
    on_other = np.concatenate((np.hstack((beside_x, beside_y)), np.hstack((other_x, other_y))))
    k = int(np.hypot(*(on_own - on_other).T).argmin())
    return (float(on_own[k, 0]), float(on_own[k, 1])), (float(on_other[k, 0]), float(on_other[k, 1]))


def _clipped(corners: list[tuple[float, float]], core: Outline) -> list[tuple[float, float]]:
    """Return the corners of what a convex polygon has in common with a core, cut at one side after the other."""
    sides = ((0, core.x0, 1.0), (0, core.x1, -1.0), (1, core.y0, 1.0), (1, core.y1, -1.0))
    for along, bound, sign in sides:
        kept: list[tuple[float, float]] = []
        for k, here in enumerate(corners):
            before = corners[k - 1]
            a, b = (sign * (before[along] - float(bound)), sign * (here[along] - float(bound)))
            if (a < 0.0) != (b < 0.0):
                share = a / (a - b)
                kept.append((before[0] + share * (here[0] - before[0]), before[1] + share * (here[1] - before[1])))
            if b >= 0.0:
                kept.append(here)
        corners = kept
    return corners
