"""Plain shapes: signed distance, nearest direction and support function, for N points at once.

Points are (3, N) [mm]; numbers are (k, N) or (k, 1), one column a point or the same for all. A signed distance is
positive outside and negative inside, exact, and never grows faster than the way gone (1-Lipschitz). For a convex
shape K and a unit vector g the support function is h(g) = max of g·k over K: K lies in g·x ≤ h(g), and whatever
keeps g·x ≥ h(g) + c keeps c to K.

    half-space  z of its top
    box         lowest corner (3), highest corner (3)
    cone        x, y of the upright axis, lowest z, radius there, highest z, radius there (a cylinder: both the same)
    lengthwise  first and last x, radius: a flat-ended cylinder about the feed's axis
    prism       first and last x, side, then in (depth, z), depth = side · y: depth and z of the slanting edge's
                lower end, depth and z of its higher end, depth of the back edge
    die         y of the upright axis at x = 0, radius to lips and groove's centre, half height, groove's radius
    block       first and last x, side, depth of its face, width, half height, bore's radius

The last two are not convex; `convex_parts` covers them by cones and prisms.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planner.tolerances import NO_DIRECTION, NO_LENGTH, STANDS_OUT

Array = NDArray[np.float64]
Kind = Literal["half-space", "box", "cone", "lengthwise", "prism", "die", "block"]


@dataclass(frozen=True)
class Shape:
    """One shape; numbers as the module's docstring lays them out [mm]."""

    kind: Kind
    numbers: tuple[float, ...]


def is_convex(kind: Kind) -> bool:
    """Say whether shapes of a kind are convex."""
    return kind not in ("die", "block")


def distances(kind: Kind, p: Array, x: Array) -> Array:
    """Return the exact signed distances (N,) [mm] of points to shapes of one kind."""
    if kind == "die":
        return _to_groove(p[1] - np.hypot(x[0], x[1] - p[0]), x[2], np.inf, p[2], p[3])
    if kind == "block":
        profile = _to_groove(p[2] * x[1] - p[3], x[2], p[4], p[5], p[6])
        return _crossed(profile, np.maximum(p[0] - x[0], x[0] - p[1]))
    return nearest(kind, p, x)[0]


def nearest(kind: Kind, p: Array, x: Array) -> tuple[Array, Array]:
    """Return signed distances (N,) [mm] to convex shapes and the unit directions (3, N) away from them.

    The direction is that from the shape's nearest point, inside that of the nearest face: a subgradient.
    """
    return _NEAREST[kind](p, x)


def support(kind: Kind, p: Array, g: Array) -> Array:
    """Return the support functions h(g) (N,) [mm] of convex shapes for unit vectors (3, N)."""
    return _SUPPORT[kind](p, g)


def convex_parts(shape: Shape, deeper: float = 0.0) -> list[Shape]:
    """Return convex shapes that cover a shape and stand out of it by no more than STANDS_OUT.

    deeper: of a grooved shape cover only what lies deeper in it than this [mm]: the shape smaller by so much all round.
    In depth a (from the face, or inward from the lips) and height z a groove of radius b leaves a ≥ √(b² − z²): between
    two heights its chord lies before the arc, by b (1 − cos(π/4K)) at most for K equal angles in a quarter.
    """
    if is_convex(shape.kind):
        return [shape]
    n = shape.numbers
    half, bore = (n[2], n[3]) if shape.kind == "die" else (n[5], n[6])
    half, bore = half - deeper, bore + deeper
    last = math.acos(min(deeper / bore, 1.0)) if bore <= half else math.asin(half / bore)
    count = max(4, math.ceil(last / 2.0 / math.acos(max(1.0 - STANDS_OUT / bore, -1.0))))
    turns = [last * k / count for k in range(count + 1)]
    edges = [(bore * math.cos(turn), bore * math.sin(turn)) for turn in turns]
    if edges[-1][1] < half - NO_LENGTH:
        edges += [(deeper, edges[-1][1]), (deeper, half)]
    strips = [(*low, *high) for low, high in pairwise(edges) if high[1] > low[1]]
    strips += [(a1, -z1, a0, -z0) for a0, z0, a1, z1 in strips]
    if shape.kind == "die":
        return [Shape("cone", (0.0, n[0], z0, n[1] - a0, z1, n[1] - a1)) for a0, z0, a1, z1 in strips]
    first, last_x, face, back = n[0] + deeper, n[1] - deeper, n[3], n[3] + n[4] - deeper
    return [Shape("prism", (first, last_x, n[2], face + a0, z0, face + a1, z1, back)) for a0, z0, a1, z1 in strips]


def _crossed(one: Array, other: Array) -> Array:
    """Return the signed distance to what lies behind two things that are square to each other."""
    out = np.hypot(np.maximum(one, 0.0), np.maximum(other, 0.0))
    return np.asarray(np.where(out > 0.0, out, np.maximum(one, other)))


def _to_groove(a: Array, z: Array, width: Array | float, half: Array, bore: Array) -> Array:
    """Return the signed distance to {0 ≤ a ≤ width, |z| ≤ half} less the disc of radius `bore` about the origin."""
    z = np.abs(z)
    polar = np.hypot(a, z)
    to_lip = np.hypot(a, np.maximum(np.maximum(bore - z, z - half), 0.0))
    slab = _crossed(a - width, z - half)
    within = np.maximum(np.maximum(slab, bore - polar), -a)
    return np.asarray(np.where(a < 0.0, to_lip, np.where(polar < bore, bore - polar, np.where(slab > 0, slab, within))))


Nearest = tuple[Array, Array]


def _half_space(p: Array, x: Array) -> Nearest:
    g = np.zeros_like(x)
    g[2] = 1.0
    return x[2] - p[0], g


def _box(p: Array, x: Array) -> Nearest:
    low, high = p[0:3], p[3:6]
    way = x - np.clip(x, low, high)
    far = np.sqrt((way * way).sum(axis=0))
    faces = np.concatenate((low - x, x - high))
    deepest = faces.argmax(axis=0)
    g = way / np.where(far > 0.0, far, 1.0)
    within = np.flatnonzero(far <= 0.0)
    g[:, within] = 0.0
    g[deepest[within] % 3, within] = np.where(deepest[within] < 3, -1.0, 1.0)
    return np.where(far > 0.0, far, faces.max(axis=0)), g


def _cone(p: Array, x: Array) -> Nearest:
    dx, dy = x[0] - p[0], x[1] - p[1]
    rho = np.hypot(dx, dy)
    # Depth a = −radius; the shape goes on across its axis, so that there is no back edge.
    far, g_a, g_z = _to_trapezoid(-rho, x[2], -p[3], p[2], -p[5], p[4], np.full_like(rho, np.inf))
    away = np.where(rho > NO_DIRECTION, rho, 1.0)
    return far, np.stack((-g_a * np.where(rho > NO_DIRECTION, dx / away, 1.0), -g_a * dy / away, g_z))


def _lengthwise(p: Array, x: Array) -> Nearest:
    rho = np.hypot(x[1], x[2])
    side, before, past = rho - p[2], p[0] - x[0], x[0] - p[1]
    end = np.maximum(before, past)
    far = _crossed(side, end)
    return far, _square(far, side, end, np.where(past >= before, 1.0, -1.0), x, rho)


def _square(far: Array, side: Array, end: Array, sign: Array, x: Array, rho: Array) -> Array:
    outside = far > 0.0
    scale = np.where(outside, far, 1.0)
    w_side = np.where(outside, np.maximum(side, 0.0) / scale, side >= end)
    w_end = np.where(outside, np.maximum(end, 0.0) / scale, side < end)
    away = np.where(rho > NO_DIRECTION, rho, 1.0)
    return np.stack((w_end * sign, w_side * np.where(rho > NO_DIRECTION, x[1] / away, 1.0), w_side * x[2] / away))


def _prism(p: Array, x: Array) -> Nearest:
    in_plane, g_a, g_z = _to_trapezoid(p[2] * x[1], x[2], p[3], p[4], p[5], p[6], p[7])
    before, past = p[0] - x[0], x[0] - p[1]
    end = np.maximum(before, past)
    far = _crossed(in_plane, end)
    outside = far > 0.0
    scale = np.where(outside, far, 1.0)
    w_plane = np.where(outside, np.maximum(in_plane, 0.0) / scale, in_plane >= end)
    w_end = np.where(outside, np.maximum(end, 0.0) / scale, in_plane < end)
    sign = np.where(past >= before, 1.0, -1.0)
    return far, np.stack((w_end * sign, w_plane * g_a * p[2], w_plane * g_z))


def _to_trapezoid(
    a: Array, z: Array, a0: Array, z0: Array, a1: Array, z1: Array, back: Array
) -> tuple[Array, Array, Array]:
    """Return signed distance and direction (a, z) to z0 ≤ z ≤ z1 between the edge (a0, z0)–(a1, z1) and a = `back`."""
    length = np.hypot(a1 - a0, z1 - z0)
    u_a, u_z = (a1 - a0) / length, (z1 - z0) / length
    slant = -u_z * (a - a0) + u_a * (z - z0)
    faces = np.stack(np.broadcast_arrays(slant, z0 - z, z - z1, a - back))
    which, deepest = faces.argmax(axis=0), faces.max(axis=0)
    g_a = np.choose(which, np.broadcast_arrays(-u_z, np.zeros_like(a), np.zeros_like(a), np.ones_like(a)))
    g_z = np.choose(which, np.broadcast_arrays(u_a, -np.ones_like(a), np.ones_like(a), np.zeros_like(a)))
    # Outside: the nearest of the four edges' nearest points.
    along = np.clip((a - a0) * u_a + (z - z0) * u_z, 0.0, length)
    to_edges = (
        (a - a0 - along * u_a, z - z0 - along * u_z),
        (a - np.clip(a, a0, back), z - z0 + np.zeros_like(a)),
        (a - np.clip(a, a1, back), z - z1 + np.zeros_like(a)),
        (a - back, z - np.clip(z, z0, z1)),
    )
    off_a, off_z = to_edges[0]
    least = np.hypot(off_a, off_z)
    for other_a, other_z in to_edges[1:]:
        far = np.hypot(other_a, other_z)
        nearer = far < least
        least, off_a, off_z = (
            np.where(nearer, far, least),
            np.where(nearer, other_a, off_a),
            np.where(nearer, other_z, off_z),
        )
    outside = (deepest > 0.0) & (least > NO_DIRECTION)
    scale = np.where(outside, least, 1.0)
    found = np.where(deepest > 0.0, least, deepest)
    return found, np.where(outside, off_a / scale, g_a), np.where(outside, off_z / scale, g_z)


def _over_half_space(p: Array, g: Array) -> Array:
    """Only the upward direction bounds a half-space, which is the one that `nearest` gives, without rounding."""
    return np.asarray(np.where((g[0] == 0.0) & (g[1] == 0.0) & (g[2] > 0.0), p[0], np.inf))


def _over_box(p: Array, g: Array) -> Array:
    return np.asarray(np.maximum(g * p[0:3], g * p[3:6]).sum(axis=0))


def _over_cone(p: Array, g: Array) -> Array:
    level = np.hypot(g[0], g[1])
    return np.asarray(g[0] * p[0] + g[1] * p[1] + np.maximum(g[2] * p[2] + level * p[3], g[2] * p[4] + level * p[5]))


def _over_lengthwise(p: Array, g: Array) -> Array:
    return np.asarray(np.maximum(g[0] * p[0], g[0] * p[1]) + np.hypot(g[1], g[2]) * p[2])


def _over_prism(p: Array, g: Array) -> Array:
    g_a = p[2] * g[1]
    corners = (g_a * p[3] + g[2] * p[4], g_a * p[5] + g[2] * p[6], g_a * p[7] + g[2] * p[4], g_a * p[7] + g[2] * p[6])
    in_plane = np.maximum(np.maximum(corners[0], corners[1]), np.maximum(corners[2], corners[3]))
    return np.asarray(np.maximum(g[0] * p[0], g[0] * p[1]) + in_plane)


_NEAREST: dict[Kind, Callable[[Array, Array], Nearest]] = {
    "half-space": _half_space, "box": _box, "cone": _cone, "lengthwise": _lengthwise, "prism": _prism,
}  # fmt: skip
_SUPPORT: dict[Kind, Callable[[Array, Array], Array]] = {
    "half-space": _over_half_space, "box": _over_box, "cone": _over_cone,
    "lengthwise": _over_lengthwise, "prism": _over_prism,
}  # fmt: skip
