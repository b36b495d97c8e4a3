"""Exact signed distances of points to the solids of a bender, for all oracles of the tests: NumPy, nothing of the program.

Numbers are as profiles give them [mm], the machine's frame or the solid's own: the feed along +x, z up.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Kind = Literal["floor", "box", "cylinder", "die", "block", "rod", "tail"]

CONVEX: frozenset[Kind] = frozenset({"floor", "box", "cylinder", "rod", "tail"})


def joined(*sides: Array) -> Array:
    """Signed distance to what lies behind several faces that are square to one another."""
    outside, worst = np.zeros(1), sides[0]
    for side in sides:
        over = np.maximum(side, 0.0)
        outside, worst = outside + over * over, np.maximum(worst, side)
    return np.asarray(np.sqrt(outside) + np.minimum(worst, 0.0))


def grooved(deep: Array, z: Array, width: Array | float, half: Array | float, bore: Array | float) -> Array:
    """Signed distance, in the plane, to the slab 0 ≤ deep ≤ width, |z| ≤ half less the disc of radius `bore` at the origin.

    In front of the face the lips are nearest, or the face beyond them; in the disc its round is.
    """
    z = np.abs(z)
    before_face = np.hypot(deep, np.clip(z, bore, half) - z)
    in_bore = bore - np.hypot(deep, z)
    slab = joined(np.maximum(-deep, deep - width), z - half)
    return np.asarray(np.where(deep < 0.0, before_face, np.where(in_bore > 0.0, in_bore, np.maximum(slab, in_bore))))


def to_floor(p: Array, x: Array) -> Array:
    """p: height."""
    return np.asarray(x[..., 2] - p[..., 0])


def to_box(p: Array, x: Array) -> Array:
    """p: smallest and largest corner."""
    middle, half = (p[..., 3:6] + p[..., 0:3]) / 2.0, (p[..., 3:6] - p[..., 0:3]) / 2.0
    off = np.abs(x - middle) - half
    return joined(off[..., 0], off[..., 1], off[..., 2])


def to_cylinder(p: Array, x: Array) -> Array:
    """p: x and y of the axis, radius, lowest and highest z."""
    side = np.hypot(x[..., 0] - p[..., 0], x[..., 1] - p[..., 1]) - p[..., 2]
    return joined(side, np.maximum(p[..., 3] - x[..., 2], x[..., 2] - p[..., 4]))


def to_die(p: Array, x: Array) -> Array:
    """p: y of its axis, groove's radius about it, half its height, radius of the bore."""
    deep = p[..., 1] - np.hypot(x[..., 0], x[..., 1] - p[..., 0])
    return grooved(deep, x[..., 2], np.inf, p[..., 2], p[..., 3])


def to_block(p: Array, x: Array) -> Array:
    """p: from x, to x, side of the feed (±1), its face's distance from the feed, width, half height, radius of the bore."""
    face = grooved(p[..., 2] * x[..., 1] - p[..., 3], x[..., 2], p[..., 4], p[..., 5], p[..., 6])
    return joined(face, np.maximum(p[..., 0] - x[..., 0], x[..., 0] - p[..., 1]))


def to_rod(p: Array, x: Array) -> Array:
    """p: from x, to x, radius about the feed; its ends are flat."""
    return joined(np.hypot(x[..., 1], x[..., 2]) - p[..., 2], np.maximum(p[..., 0] - x[..., 0], x[..., 0] - p[..., 1]))


def to_tail(p: Array, x: Array) -> Array:
    """p: length behind the tangent point, radius; its ends are flat."""
    return joined(np.hypot(x[..., 1], x[..., 2]) - p[..., 1], np.maximum(-p[..., 0] - x[..., 0], x[..., 0]))


TO_POINTS: dict[Kind, Callable[[Array, Array], Array]] = {
    "floor": to_floor, "box": to_box, "cylinder": to_cylinder, "die": to_die, "block": to_block, "rod": to_rod,
    "tail": to_tail,
}  # fmt: skip
"""Signed distances of points (…, 3) to a solid, its numbers (…, k) broadcast against them."""
