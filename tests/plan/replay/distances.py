"""How far tube is from a solid: coal for what is convex, the exact distance to the profile for what is grooved [mm].

A straight against a convex solid is one flat-ended cylinder to coal. An arc, and anything against a grooved solid, is looked
at as balls of the tube's radius about its centreline, and near the ends of a piece, where a ball would stick out, and where
it overlaps a grooved solid, as flat cross-sections; for a convex solid coal is asked about the nearest of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import coal
import numpy as np

from tests.plan.replay.motions import Pair
from tests.plan.replay.solids import Kind, Solid
from tests.plan.replay.stock import Array, Piece

REQUEST = coal.DistanceRequest()
REQUEST.gjk_tolerance = 1e-10  # the default overstates distances by up to 5e-4 mm
REQUEST.enable_signed_distance = True

SPACING = 2.0
"""Greatest distance between two balls or sections that stand for tube [mm]."""

THIN = 1e-7
"""Length of the cylinder that stands for a flat cross-section [mm]."""

SAME = 1e-5
"""The plain formulas agree with coal to this outside a solid [mm]."""

LENGTHWISE = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
"""coal's cylinders stand along z, the tube runs along x."""

_AROUND = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
RIM = np.stack((np.cos(_AROUND), np.sin(_AROUND)), axis=1)
DISC = np.concatenate((RIM, 0.66 * RIM[::2], 0.33 * RIM[::4], np.zeros((1, 2))))
"""Points of a cross-section, in radii: the rim, rings inside it and the centre."""


# Points


def joined(*sides: Array) -> Array:
    """Signed distance to what lies behind several faces that are square to one another."""
    stacked = np.stack(np.broadcast_arrays(*sides))
    out = np.sqrt((np.maximum(stacked, 0.0) ** 2).sum(axis=0))
    return np.asarray(out + np.minimum(stacked.max(axis=0), 0.0))


def grooved(deep: Array, z: Array, width: Array | float, half: Array | float, bore: Array | float) -> Array:
    """Signed distance, in the plane, to the slab 0 ≤ deep ≤ width, |z| ≤ half less the disc of radius `bore` at the origin."""
    z = np.abs(z)
    before_face = np.hypot(deep, np.clip(z, bore, half) - z)  # nearest is the lip, or the face beyond it
    in_bore = bore - np.hypot(deep, z)
    slab = joined(np.maximum(-deep, deep - width), z - half)
    return np.asarray(np.where(deep < 0.0, before_face, np.where(in_bore > 0.0, in_bore, np.maximum(slab, in_bore))))


def _floor(p: Array, x: Array) -> Array:
    return np.asarray(x[..., 2] - p[..., 0])


def _box(p: Array, x: Array) -> Array:
    middle, half = (p[..., 3:6] + p[..., 0:3]) / 2.0, (p[..., 3:6] - p[..., 0:3]) / 2.0
    off = np.abs(x - middle) - half
    return joined(off[..., 0], off[..., 1], off[..., 2])


def _cylinder(p: Array, x: Array) -> Array:
    side = np.hypot(x[..., 0] - p[..., 0], x[..., 1] - p[..., 1]) - p[..., 2]
    return joined(side, np.maximum(p[..., 3] - x[..., 2], x[..., 2] - p[..., 4]))


def _die(p: Array, x: Array) -> Array:
    deep = p[..., 1] - np.hypot(x[..., 0], x[..., 1] - p[..., 0])
    return grooved(deep, x[..., 2], np.inf, p[..., 2], p[..., 3])


def _block(p: Array, x: Array) -> Array:
    face = grooved(p[..., 2] * x[..., 1] - p[..., 3], x[..., 2], p[..., 4], p[..., 5], p[..., 6])
    return joined(face, np.maximum(p[..., 0] - x[..., 0], x[..., 0] - p[..., 1]))


def _rod(p: Array, x: Array) -> Array:
    return joined(np.hypot(x[..., 1], x[..., 2]) - p[..., 2], np.maximum(p[..., 0] - x[..., 0], x[..., 0] - p[..., 1]))


def _tail(p: Array, x: Array) -> Array:
    return joined(np.hypot(x[..., 1], x[..., 2]) - p[..., 1], np.maximum(-p[..., 0] - x[..., 0], x[..., 0]))


TO_POINTS: dict[Kind, Callable[[Array, Array], Array]] = {
    "floor": _floor, "box": _box, "cylinder": _cylinder, "die": _die, "block": _block, "rod": _rod,
    "tail": _tail,
}  # fmt: skip
"""Signed distances of points (…, 3) in a solid's frame, its numbers (…, k) broadcast against them."""

CONVEX: frozenset[Kind] = frozenset({"floor", "box", "cylinder", "rod", "tail"})


# coal


@lru_cache(maxsize=4096)
def shape(kind: Kind, p: tuple[float, ...]) -> tuple[Any, Array, Array]:
    """A coal shape with the matrix and place at which it lies in the solid's frame."""
    upright = np.eye(3)
    if kind == "floor":
        return coal.Halfspace(np.array([0.0, 0.0, 1.0]), float(p[0])), upright, np.zeros(3)
    if kind == "box":
        low, high = np.array(p[:3]), np.array(p[3:6])
        return coal.Box(*(high - low)), upright, (low + high) / 2.0
    if kind == "cylinder":
        return coal.Cylinder(p[2], p[4] - p[3]), upright, np.array([p[0], p[1], (p[3] + p[4]) / 2.0])
    if kind == "rod":
        return coal.Cylinder(p[2], p[1] - p[0]), LENGTHWISE, np.array([(p[0] + p[1]) / 2.0, 0.0, 0.0])
    assert kind == "tail"
    return coal.Cylinder(p[1], p[0]), LENGTHWISE, np.array([-p[0] / 2.0, 0.0, 0.0])


def asked(thing: Any, turn: Array, place: Array, solid: tuple[Any, Array, Array]) -> float:
    """coal's signed distance of a shape, at a matrix and a place in a solid's frame, to the solid."""
    there = coal.Transform3s(solid[1], solid[2])
    return float(coal.distance(thing, coal.Transform3s(turn, place), solid[0], there, REQUEST, coal.DistanceResult()))


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
            coal.Cylinder(radius, high - low), turn, seen.points(middle), shape(solid.kind, solid.numbers)
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
            told = asked(coal.Sphere(radius), np.eye(3), middles[k], shape(solid.kind, solid.numbers))
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
        told = asked(coal.Cylinder(radius, THIN), _across(along[k]), middles[k], shape(solid.kind, solid.numbers))
        assert told <= found[k] + SAME, f"coal finds {told}, the formula {found[k]}"
        return told
    return float(found[k])
