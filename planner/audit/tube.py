"""The tube ahead of the tangent point as a chain of straights and arcs, and how it turns about die axis and feed.

A point of a piece at arc length s from its end nearer the tangent point is

    x(s) = start + along · sin(κs)/κ + inward · (1 − cos κs)/κ

and the tube's direction there along · cos κs + inward · sin κs. The part is always looked at from its leading end
(`Part.reversed` gives it from end B), so that stock coordinates u fall on the way out from the tangent point.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from planner.audit.shapes import Array
from planner.inputs.part import Part
from planner.tolerances import PROVED_LENGTH

Axis = Literal["die", "feed"]


@dataclass(frozen=True)
class Chain:
    """m pieces in order from the tangent point outwards.

    start (3, m) [mm], along, inward (3, m) unit vectors; curvature (m,) [1/mm], 0 for straights; length (m,) [mm];
    u (m,): stock coordinate of `start`, counted from the part's leading end, negative in the trim there [mm].
    """

    start: Array
    along: Array
    inward: Array
    curvature: Array
    length: Array
    u: Array

    @property
    def count(self) -> int:
        """Number of pieces."""
        return int(self.length.size)

    @property
    def total(self) -> float:
        """Developed length [mm]."""
        return float(self.length.sum())

    def points(self, piece: int, s: Array) -> Array:
        """Return points (3, N) of a piece at arc lengths (N,) [mm]."""
        kappa = float(self.curvature[piece])
        ahead = s if kappa == 0.0 else np.sin(kappa * s) / kappa
        aside = np.zeros_like(s) if kappa == 0.0 else (1.0 - np.cos(kappa * s)) / kappa
        start, along, inward = (v[:, piece, None] for v in (self.start, self.along, self.inward))
        return np.asarray(start + along * ahead + inward * aside)

    def tangents(self, piece: int, s: Array) -> Array:
        """Return the directions (3, N) of a piece, away from the tangent point, at arc lengths (N,) [mm]."""
        turned = float(self.curvature[piece]) * s
        return np.asarray(self.along[:, piece, None] * np.cos(turned) + self.inward[:, piece, None] * np.sin(turned))

    def turned(self, axis: Axis, angle: float, die_y: float = 0.0) -> Chain:
        """Return the chain turned right-handed by `angle` [rad] about the feed, or about +Z through (0, die_y) [mm]."""
        centre = np.array([[0.0], [die_y if axis == "die" else 0.0], [0.0]])
        turn = rotation(axis, angle)
        return replace(
            self,
            start=turn @ (self.start - centre) + centre,
            along=turn @ self.along,
            inward=turn @ self.inward,
        )

    def fed(self, way: float) -> Chain:
        """Return the chain shifted along the feed by `way` [mm]."""
        return replace(self, start=self.start + np.array([[way], [0.0], [0.0]]))

    def raised(self, way: float) -> Chain:
        """Return the chain so much higher [mm]."""
        return replace(self, start=self.start + np.array([[0.0], [0.0], [way]]))


def rotation(axis: Axis, angle: float) -> Array:
    """Return the matrix of a right-handed turn by `angle` [rad] about +Z ("die") or +X ("feed")."""
    c, s = math.cos(angle), math.sin(angle)
    if axis == "die":
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def rotation_between(view: Part, behind: int, ahead: int) -> float:
    """Return the turn about the direction of travel from the plane of bend `behind` to that of bend `ahead` [rad].

    Both numbers are the view's. The rotations of the bends after the lower one, up to the higher, add up; on the way to
    a higher number (a bend nearer the carriage) they count backwards.
    """
    if behind >= ahead:
        return float(sum(view.rotations[ahead:behind]))
    return -float(sum(view.rotations[behind:ahead]))


def chain(view: Part, formed: Collection[int], tangent_u: float, trim: float, toward: float, plane_of: int) -> Chain:
    """Return the tube ahead of the tangent point, with stock coordinate `tangent_u` [mm] there.

    view: the part counted from its leading end; formed: the view's numbers of the bends that are made, of which those
    ahead of the tangent point count (one that begins there is the first piece); trim: extra stock at the leading end
    [mm]; toward: −1 on a right head, +1 on a left one; plane_of: the bend whose plane lies in the machine's.
    """
    walk = _Walk(tangent_u, toward)
    plane = plane_of
    for bend in sorted(formed, reverse=True):
        first, last = float(view.bend_starts[bend - 1]), float(view.bend_ends[bend - 1])
        if first >= tangent_u - PROVED_LENGTH:
            continue
        walk.go_straight(walk.u - last)
        walk.turn_plane(rotation_between(view, plane, bend))
        walk.go_round(float(view.radii[bend - 1]), float(view.angles[bend - 1]))
        plane = bend
    walk.go_straight(walk.u + trim)
    return walk.chain()


def straight(length: float, u: float, x: float = 0.0, ahead: bool = True) -> Chain:
    """Return a straight on the feed's axis as a chain of one piece, from x forward or, as the tail, back [mm]."""
    way = 1.0 if ahead else -1.0
    column = np.array([[way], [0.0], [0.0]])
    return Chain(
        np.array([[x], [0.0], [0.0]]), column, np.array([[0.0], [1.0], [0.0]]),
        np.zeros(1), np.array([length]), np.array([u]),
    )  # fmt: skip


def arc_in_die(radius: float, angle: float, u: float, toward: float) -> Chain:
    """Return the arc in the die from the tangent point forward, a chain of one piece; u: at the tangent point [mm]."""
    return Chain(
        np.zeros((3, 1)), np.array([[1.0], [0.0], [0.0]]), np.array([[0.0], [toward], [0.0]]),
        np.array([1.0 / radius]), np.array([radius * angle]), np.array([u]),
    )  # fmt: skip


class _Walk:
    """Goes out from the tangent point along +X, the third direction of its frame always along × inward."""

    def __init__(self, u: float, toward: float) -> None:
        self.u = u
        self.place = np.zeros(3)
        self.frame = np.array([[1.0, 0.0, 0.0], [0.0, toward, 0.0], [0.0, 0.0, toward]]).T  # columns
        self.found: list[tuple[Array, Array, float, float, float]] = []

    def _note(self, curvature: float, length: float) -> None:
        self.found.append((self.place, self.frame, curvature, length, self.u))
        self.u -= length

    def go_straight(self, length: float) -> None:
        if length > PROVED_LENGTH:
            self._note(0.0, length)
            self.place = self.place + length * self.frame[:, 0]

    def go_round(self, radius: float, angle: float) -> None:
        self._note(1.0 / radius, radius * angle)
        self.place = self.place + radius * (self.frame @ np.array([math.sin(angle), 1.0 - math.cos(angle), 0.0]))
        self.frame = self.frame @ rotation("die", angle)

    def turn_plane(self, angle: float) -> None:
        self.frame = self.frame @ rotation("feed", angle)

    def chain(self) -> Chain:
        frames = np.array([frame for _, frame, *_ in self.found]).reshape(-1, 3, 3)
        start = np.array([place for place, *_ in self.found]).reshape(-1, 3).T
        curvature, length, u = (np.array([row[k] for row in self.found], dtype=np.float64) for k in (2, 3, 4))
        return Chain(start, frames[:, :, 0].T, frames[:, :, 1].T, curvature, length, u)
