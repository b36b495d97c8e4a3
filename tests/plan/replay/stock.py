"""The tube in the machine: a stock with bends made on it, walked from the tangent point forward.

A place is a length of raw stock (trim included) counted from the end that leads. The bare stock carries a straight line on
its surface, and an azimuth is an angle from that line, right-handed about the forward direction: a bend curls toward the
azimuth that lay on the die's side when it was made. In the machine the line lies at +y when the chuck stands at 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
End = Literal["A", "B"]

SLIVER = 1e-6
"""Straights shorter than this are none [mm]: positions in the document have six decimals."""


@dataclass(frozen=True)
class Bend:
    """A bend made: places of its ends from the raw end A, the lower first [mm], radius [mm], angle and azimuth about A→B [rad]."""

    number: int
    low: float
    high: float
    radius: float
    azimuth: float

    @property
    def angle(self) -> float:
        """What it is bent by [rad]."""
        return (self.high - self.low) / self.radius


@dataclass(frozen=True)
class Piece:
    """A straight or an arc in a frame of its own: x(s) = start + along·sin(κs)/κ + inward·(1 − cos κs)/κ.

    raw, way: the place at s = 0 and whether places rise (+1) or fall (−1) with s.
    """

    start: Array
    along: Array
    inward: Array
    curvature: float
    length: float
    raw: float
    way: float = -1.0

    def points(self, s: Array) -> Array:
        """Points (k, 3) of the centreline at arc lengths s."""
        ahead, aside = bowed(self.curvature, s)
        return np.asarray(self.start + np.multiply.outer(ahead, self.along) + np.multiply.outer(aside, self.inward))

    def tangents(self, s: Array) -> Array:
        """Directions (k, 3) at arc lengths s."""
        turned = self.curvature * s
        return np.asarray(
            np.multiply.outer(np.cos(turned), self.along) + np.multiply.outer(np.sin(turned), self.inward)
        )


def bowed(curvature: float, s: Array) -> tuple[Array, Array]:
    """How far ahead and how far aside an arc has come at arc lengths s [mm]."""
    if curvature == 0.0:
        return s, np.zeros_like(s)
    return np.sin(curvature * s) / curvature, (1.0 - np.cos(curvature * s)) / curvature


@dataclass(frozen=True)
class Stock:
    """The tube as it is laid into the machine.

    cut: its whole length [mm]; leads: the end ahead; bends: those made; offset: azimuth in the machine at chuck 0 less the
    azimuth about the forward direction that the bends carry [rad].
    """

    cut: float
    leads: End
    bends: tuple[Bend, ...] = ()
    offset: float = 0.0

    def ends(self, bend: Bend) -> tuple[float, float]:
        """Places of a bend's ends counted from the leading end, the one ahead first [mm]."""
        return (bend.low, bend.high) if self.leads == "A" else (self.cut - bend.high, self.cut - bend.low)

    def azimuth(self, bend: Bend) -> float:
        """Where a bend curls to in the machine with the chuck at 0, from +y about +x [rad]. Forward is B→A where A leads."""
        return (-bend.azimuth if self.leads == "A" else bend.azimuth) + self.offset

    def made(self, number: int, place: float, radius: float, angle: float, azimuth: float) -> Bend:
        """A bend made with its end ahead at `place`, curling to an azimuth in the machine with the chuck at 0 [mm, rad]."""
        ends = (place, place + radius * angle)
        low, high = ends if self.leads == "A" else (self.cut - ends[1], self.cut - ends[0])
        about_forward = azimuth - self.offset
        return Bend(number, low, high, radius, -about_forward if self.leads == "A" else about_forward)

    def ahead(self, at: float) -> list[Piece]:
        """The pieces ahead of a place from there on, that place at the tangent point and the chuck at 0."""
        place, origin = at, np.zeros(3)
        forward, second, third = np.eye(3)
        pieces: list[Piece] = []

        def straight(length: float) -> None:
            nonlocal place, origin
            if length > SLIVER:
                pieces.append(Piece(origin, forward, second, 0.0, length, place))
                origin, place = origin + length * forward, place - length

        for bend in sorted(self.bends, key=lambda bend: -self.ends(bend)[0]):
            first, last = self.ends(bend)
            if last > at + SLIVER:
                continue
            straight(place - last)
            beta, angle = self.azimuth(bend), bend.angle
            inward = math.cos(beta) * second + math.sin(beta) * third
            upright = np.cross(forward, inward)
            arc = Piece(origin, forward, inward, 1.0 / bend.radius, bend.radius * angle, place)
            pieces.append(arc)
            origin, place = arc.points(np.array([arc.length]))[0], first
            forward, inward = (
                arc.tangents(np.array([arc.length]))[0],
                math.cos(angle) * inward - math.sin(angle) * forward,
            )
            second = math.cos(beta) * inward - math.sin(beta) * upright
            third = math.sin(beta) * inward + math.cos(beta) * upright
        straight(place)
        return pieces


def total(pieces: Iterable[Piece]) -> float:
    """Length of tube [mm]."""
    return math.fsum(piece.length for piece in pieces)


def wrapped(angle: float) -> float:
    """An angle in (−π, π] [rad]."""
    return math.pi - (math.pi - angle) % (2.0 * math.pi)
