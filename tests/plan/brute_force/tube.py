"""What knows the shape of the tube: its centreline walked piece by piece, and a part counted from its leading end."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from tests.geometry.turns import Array, turn_about

End = Literal["A", "B"]
OTHER: dict[End, End] = {"A": "B", "B": "A"}


@dataclass(frozen=True)
class Tube:
    """m pieces of centreline: x(s) = start + along·sin(κs)/κ + inward·(1 − cos(κs))/κ for 0 ≤ s ≤ length [mm]."""

    start: Array  # (m, 3)
    along: Array
    inward: Array
    curvature: Array  # (m,), 0: straight
    length: Array

    def take(self, which: Sequence[int] | slice) -> Tube:
        return Tube(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    @property
    def total(self) -> float:
        return float(self.length.sum())

    def moved(self, shift: float = 0.0, roll: float = 0.0, swing: float = 0.0, axis_y: float = 0.0) -> Tube:
        """Rolled about the feed, swung about the upright axis at (0, axis_y), then shifted along the feed."""
        roller, swinger = turn_about("x", roll), turn_about("z", swing)
        off = np.array([0.0, axis_y, 0.0])
        matrix = swinger @ roller
        start = (self.start @ roller.T - off) @ swinger.T + off + [shift, 0.0, 0.0]
        return Tube(start, self.along @ matrix.T, self.inward @ matrix.T, self.curvature, self.length)

    def points(self, spacing: float, fine: Sequence[float] = ()) -> tuple[Array, Array, Array]:
        """Points (k, 3) in the middle of chunks no longer than `spacing`, half the chunks' lengths, numbers of pieces.

        fine: spacings of the first pieces [mm].
        """
        out, half, number = [], [], []
        for i in range(len(self.length)):
            count = max(1, math.ceil(float(self.length[i]) / (fine[i] if i < len(fine) else spacing)))
            s = (np.arange(count) + 0.5) * float(self.length[i]) / count
            out.append(bowed(self.start[i], self.along[i], self.inward[i], self.curvature[i], s[:, None]))
            half.append(np.full(count, float(self.length[i]) / count / 2.0))
            number.append(np.full(count, i, dtype=np.int64))
        return np.concatenate(out), np.concatenate(half), np.concatenate(number)


def bowed(start: Array, along: Array, inward: Array, curvature: Array | float, s: Array) -> Array:
    """Points at arc lengths s; everything is broadcast."""
    bent = np.asarray(curvature) > 0.0
    divisor = np.where(bent, curvature, 1.0)
    angle = np.where(bent, divisor * s, 0.0)
    ahead, aside = np.where(bent, np.sin(angle) / divisor, s), np.where(bent, (1.0 - np.cos(angle)) / divisor, 0.0)
    return np.asarray(start + along * ahead + inward * aside)


def walked(items: Iterable[tuple[str, float, float]], side: float) -> Tube:
    """The tube walked from the tangent point along +x: ("straight", length, 0), ("arc", radius, angle), ("roll", angle, 0).

    side: where the first arc curls to, +1 for +y. A roll turns the plane right-handed about the way the walk goes.
    """
    at, frame = np.zeros(3), np.diag([1.0, side, side])  # columns: along, inward, their cross product
    rows: list[tuple[Array, Array, Array, float, float]] = []
    for what, first, second in items:
        if what == "roll":
            frame = frame @ turn_about("x", first)
        elif what == "straight":
            if first > 1e-9:
                rows.append((at, frame[:, 0], frame[:, 1], 0.0, first))
            at = at + first * frame[:, 0]
        else:
            rows.append((at, frame[:, 0], frame[:, 1], 1.0 / first, first * second))
            at = at + frame @ (first * np.array([math.sin(second), 1.0 - math.cos(second), 0.0]))
            frame = frame @ turn_about("z", second)
    start, along, inward = (np.array([row[k] for row in rows], dtype=float).reshape(-1, 3) for k in range(3))
    return Tube(start, along, inward, *(np.array([row[k] for row in rows], dtype=float) for k in (3, 4)))


@dataclass(frozen=True)
class View:
    """A part counted from its leading end: straights (n + 1) [mm], rotations, angles, settings (n) [rad], radius [mm]."""

    straights: list[float]
    rotations: list[float]
    angles: list[float]
    settings: list[float]
    radius: float

    @cached_property
    def starts(self) -> list[float]:
        """Stock coordinates of the tangent points nearer the leading end [mm]."""
        arcs = [self.radius * angle for angle in self.angles]
        return [sum(self.straights[: i + 1]) + sum(arcs[:i]) for i in range(len(arcs))]

    @cached_property
    def ends(self) -> list[float]:
        return [start + self.radius * angle for start, angle in zip(self.starts, self.angles, strict=True)]

    @cached_property
    def swings(self) -> list[float]:
        """Stock coordinates at the tangent point when the swings end [mm]."""
        return [start + self.radius * setting for start, setting in zip(self.starts, self.settings, strict=True)]

    @cached_property
    def length(self) -> float:
        return sum(self.straights) + self.radius * sum(self.angles)

    def ahead_of(self, bend: int, first: int, trim: float) -> list[tuple[str, float, float]]:
        """What lies ahead of a bend's tangent point with the bends from `first` on formed, from the bend's plane on."""
        items: list[tuple[str, float, float]] = []
        for i in range(bend - 1, first - 1, -1):
            items.append(("straight", self.straights[i], 0.0))
            items += [("roll", self.rotations[i], 0.0), ("arc", self.radius, self.angles[i - 1])]
        return [*items, ("straight", self.starts[first - 1] + trim, 0.0)]


def own_gap(view: View, radius: float) -> float:
    """The least gap of the finished tube to itself between places with a right angle or more of bend between them."""
    n = len(view.angles)
    last = [("straight", view.straights[n], 0.0), ("arc", view.radius, view.angles[-1])]
    tube = walked([*last, *view.ahead_of(n, 1, 0.0)], 1.0)
    points, half, number = tube.points(6.0)
    bent = np.cumsum(2.0 * half * tube.curvature[number])
    apart = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2)) - half[:, None] - half[None]
    return float(np.min(apart, where=bent[None] - bent[:, None] >= math.pi / 2.0, initial=np.inf)) - 2.0 * radius
