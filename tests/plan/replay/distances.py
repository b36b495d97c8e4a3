"""How far tube is from a solid: coal for what is convex, the exact distance to the profile for what is grooved [mm].

A straight against a convex solid is one flat-ended cylinder to coal. An arc, and anything against a grooved solid, is looked
at as balls of the tube's radius about its centreline, and near the ends of a piece, where a ball would stick out, and where
it overlaps a grooved solid, as flat cross-sections; for a convex solid coal is asked about the nearest of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import coal
import numpy as np

from tests.geometry.distances import CONVEX, TO_POINTS
from tests.geometry.shapes import THIN, asked, body
from tests.plan.replay.motions import Pair
from tests.plan.replay.solids import Solid
from tests.plan.replay.stock import Array, Piece

SPACING = 2.0
"""Greatest distance between two balls or sections that stand for tube [mm]."""

SAME = 1e-5
"""The plain formulas agree with coal to this outside a solid [mm]."""

_AROUND = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
RIM = np.stack((np.cos(_AROUND), np.sin(_AROUND)), axis=1)
DISC = np.concatenate((RIM, 0.66 * RIM[::2], 0.33 * RIM[::4], np.zeros((1, 2))))
"""Points of a cross-section, in radii: the rim, rings inside it and the centre."""


def _square_to(along: Array) -> tuple[Array, Array]:
    """Two directions (k, 3) square to directions (k, 3) and to each other."""
    x, y, z = along.T
    none, upright = np.zeros_like(x), np.abs(z) >= 0.9
    first = np.where(upright, (none, z, -y), (y, -x, none))
    first = first / np.sqrt((first * first).sum(axis=0))
    a, b, c = first
    return first.T, np.stack((y * c - z * b, z * a - x * c, x * b - y * a), axis=1)


def _across(tangent: Array) -> Array:
    """A matrix whose last column is a direction."""
    x, y, z = map(float, tangent)
    if abs(z) < 0.9:
        size = math.hypot(x, y)
        a, b, c = y / size, -x / size, 0.0
    else:
        size = math.hypot(y, z)
        a, b, c = 0.0, z / size, -y / size
    return np.array([[a, y * c - z * b, x], [b, z * a - x * c, y], [c, x * b - y * a, z]])


# Tube


@dataclass(frozen=True)
class Seen:
    """Tube seen from a solid: matrix and shift from the piece's own body to the solid's frame."""

    turn: Array
    shift: Array

    def points(self, x: Array) -> Array:
        """Points (…, 3) as the solid sees them."""
        return np.asarray(x @ self.turn.T + self.shift)


def keeps_in(curvature: float, radius: float) -> float:
    """How far from a piece's end a ball about its centreline lies inside the piece [mm]."""
    return radius if curvature == 0.0 else math.asin(min(1.0, radius * curvature)) / curvature


def far(
    piece: Piece, reach: Pair, part: Pair, seen: Seen, solid: Solid, radius: float, enough: float = math.inf
) -> tuple[float, bool]:
    """How far tube is from a solid, and whether it is just so far: where it is at least `enough` away, no more need be known.

    reach: from where to where along the piece there is tube, cut off flat; part: what of that is asked about [mm].
    """
    low, high = max(part[0], reach[0]), min(part[1], reach[1])
    if high - low <= 1e-6:
        return math.inf, True
    if piece.curvature == 0.0 and solid.kind in CONVEX:
        middle = piece.start + (low + high) / 2.0 * piece.along
        turn = _across(seen.turn @ piece.along)
        return asked(
            coal.Cylinder(radius, high - low), turn, seen.points(middle), body(solid.kind, solid.numbers)
        ), True
    s = np.linspace(low, high, max(2, math.ceil((high - low) / SPACING) + 1))
    return at_places(piece, reach, s, seen, solid, radius, enough)


def at_places(
    piece: Piece, reach: Pair, s: Array, seen: Seen, solid: Solid, radius: float, enough: float = math.inf
) -> tuple[float, bool]:
    """The same for the tube at places s along a piece: balls, and near the piece's ends its flat cross-sections."""
    middles = seen.points(piece.points(s))
    to_middles = TO_POINTS[solid.kind](np.array(solid.numbers), middles)
    if float(to_middles.min()) - radius >= enough:
        return float(to_middles.min()) - radius, False
    inside = keeps_in(piece.curvature, radius)
    balls = (s - reach[0] >= inside) & (reach[1] - s >= inside)
    if solid.kind not in CONVEX:  # a ball that sticks over a groove's edge lies no deeper in it than its points do
        balls &= to_middles >= radius
    least = math.inf
    if balls.any():
        k = int(np.argmin(np.where(balls, to_middles, np.inf)))
        least = float(to_middles[k]) - radius
        if solid.kind in CONVEX and to_middles[k] > 0.0:
            told = asked(coal.Sphere(radius), np.eye(3), middles[k], body(solid.kind, solid.numbers))
            assert abs(told - least) <= SAME, f"coal finds {told}, the formula {least}"
    flat = np.flatnonzero(~balls & (to_middles - radius < least))
    if flat.size:
        least = min(least, _sections(piece, s[flat], middles[flat], seen, solid, radius))
    return least, True


def _sections(piece: Piece, s: Array, middles: Array, seen: Seen, solid: Solid, radius: float) -> float:
    along = piece.tangents(s) @ seen.turn.T
    first, second = _square_to(along)
    disc = DISC * radius
    points = middles[:, None] + disc[None, :, :1] * first[:, None] + disc[None, :, 1:] * second[:, None]
    found = TO_POINTS[solid.kind](np.array(solid.numbers), points).min(axis=1)
    k = int(np.argmin(found))
    if solid.kind in CONVEX and found[k] > 0.0:  # how deep a disc lies in a solid is for the points to say
        told = asked(coal.Cylinder(radius, THIN), _across(along[k]), middles[k], body(solid.kind, solid.numbers))
        assert told <= found[k] + SAME, f"coal finds {told}, the formula {found[k]}"
        return told
    return float(found[k])
