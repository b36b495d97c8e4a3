"""Signed distances, 1-Lipschitz, and unit subgradients of convex solids, for N points at once.

Points are (3, N) [mm] in the frame that owns the solid; parameters are (8, N), one column a point, laid out per kind as
each function says. A distance is positive outside, negative inside, exact outside and exact or a lower bound in size
inside. The grooved kinds (die, block with a bore) are not convex: their exact distance comes with the distance to the
convex hull, which is smaller and may stand in for it wherever a convex bound is wanted.
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from planner.tolerances import NO_DIRECTION, NONZERO
from planner.tube.frames import Array, Ints


class Kind(IntEnum):
    """Kinds of solid."""

    FLOOR = 0
    BOX = 1
    CYLINDER = 2
    SEGMENT = 3
    BORED_BLOCK = 4
    DIE = 5
    ROD = 6
    TAIL_END = 7


def floor(x: Array, p: Array) -> tuple[Array, Array]:
    """Half-space below z = p0: distance (N,) [mm] and gradient (3, N)."""
    gradient = np.zeros_like(x)
    gradient[2] = 1.0
    return x[2] - p[0], gradient


def box(x: Array, p: Array) -> tuple[Array, Array]:
    """Box with corners p0…p2 and p3…p5: distance and a unit subgradient of one active face."""
    below, above = p[0:3] - x, x - p[3:6]
    q = np.maximum(below, above)
    side = np.where(above >= below, 1.0, -1.0)
    outside = np.maximum(q, 0.0)
    far = np.sqrt((outside * outside).sum(axis=0))
    deepest = q.argmax(axis=0)
    columns = np.arange(x.shape[1])
    inside = q[deepest, columns]
    is_out = far > 0.0
    gradient = outside * side / np.where(is_out, far, 1.0)
    within = ~is_out
    if within.any():
        gradient[:, within] = 0.0
        gradient[deepest[within], columns[within]] = side[deepest[within], columns[within]]
    return np.where(is_out, far, inside), gradient


def cylinder(x: Array, p: Array) -> tuple[Array, Array]:
    """Upright cylinder, axis (p0, p1), radius p2, from z = p3 to p4."""
    dx, dy = x[0] - p[0], x[1] - p[1]
    rho = np.sqrt(dx * dx + dy * dy)
    q_side = rho - p[2]
    top = x[2] - p[4]
    q_end = np.maximum(p[3] - x[2], top)
    side, end = np.maximum(q_side, 0.0), np.maximum(q_end, 0.0)
    far = np.sqrt(side * side + end * end)
    is_out = far > 0.0
    by_side = q_side >= q_end
    scale = np.where(is_out, far, 1.0)
    w_side = np.where(is_out, side / scale, by_side)
    w_end = np.where(is_out, end / scale, ~by_side)
    at_axis = rho < NO_DIRECTION
    radial = np.where(at_axis, 1.0, rho)
    gradient = np.empty_like(x)
    gradient[0] = np.where(at_axis, w_side, w_side * dx / radial)
    gradient[1] = np.where(at_axis, 0.0, w_side * dy / radial)
    gradient[2] = w_end * np.where(top >= p[3] - x[2], 1.0, -1.0)
    return np.where(is_out, far, np.maximum(q_side, q_end)), gradient


def segment(x: Array, p: Array) -> tuple[Array, Array]:
    """Straight tail: radius p2 about the feed's axis from x = p0 to p1."""
    dx = x[0] - np.clip(x[0], p[0], p[1])
    far = np.sqrt(dx * dx + x[1] * x[1] + x[2] * x[2])
    scale = np.maximum(far, NONZERO)
    gradient = np.stack((dx / scale, x[1] / scale, x[2] / scale))
    return far - p[2], gradient


def rod(x: Array, p: Array) -> tuple[Array, Array]:
    """Flat-ended cylinder about the feed's axis from x = p0 to p1, radius p2: distance and a unit subgradient."""
    rho = np.sqrt(x[1] * x[1] + x[2] * x[2])
    q_side, past = rho - p[2], x[0] - p[1]
    q_end = np.maximum(p[0] - x[0], past)
    side, end = np.maximum(q_side, 0.0), np.maximum(q_end, 0.0)
    far = np.sqrt(side * side + end * end)
    is_out, by_side = far > 0.0, q_side >= q_end
    scale = np.where(is_out, far, 1.0)
    w_side = np.where(is_out, side / scale, by_side)
    w_end = np.where(is_out, end / scale, ~by_side) * np.where(past >= p[0] - x[0], 1.0, -1.0)
    at_axis = rho < NO_DIRECTION
    radial = np.where(at_axis, 1.0, rho)
    across = np.where(at_axis, w_side, w_side * x[1] / radial)
    gradient = np.stack((w_end, across, np.where(at_axis, 0.0, w_side * x[2] / radial)))
    return np.where(is_out, far, np.maximum(q_side, q_end)), gradient


def _grooved(a: Array, z: Array, width: Array, half: Array, groove: Array) -> Array:
    """Exact signed distance to {0 ≤ a ≤ width, |z| ≤ half} less the disc of radius `groove` about the origin."""
    z = np.abs(z)
    polar = np.sqrt(a * a + z * z)
    lip = np.sqrt(a * a + np.square(np.maximum(np.maximum(groove - z, z - half), 0.0)))
    past_a, past_z = np.maximum(a - width, 0.0), np.maximum(z - half, 0.0)
    beyond = np.sqrt(past_a * past_a + past_z * past_z)
    depth = np.minimum(np.minimum(a, polar - groove), np.minimum(width - a, half - z))
    outside = np.where(polar < groove, groove - polar, beyond)
    inside = (polar >= groove) & (beyond <= 0.0)
    return np.asarray(np.where(a < 0.0, lip, np.where(inside, -depth, outside)))


def bored_block(x: Array, p: Array) -> Array:
    """Block from x = p0 to p1 on side p2 (±1) of the feed: face at y = p2·p3, width p4, half height p5, bore p6.

    p6 is the bore's radius; the bore is centred on the face, at z = 0.
    """
    profile = _grooved(p[2] * x[1] - p[3], x[2], p[4], p[5], p[6])
    end = np.maximum(p[0] - x[0], x[0] - p[1])
    out_profile, out_end = np.maximum(profile, 0.0), np.maximum(end, 0.0)
    far = np.sqrt(out_profile * out_profile + out_end * out_end)
    return np.asarray(np.where(far > 0.0, far, np.maximum(profile, end)))


def die(x: Array, p: Array) -> Array:
    """Bend die: axis at (0, p0), radius p1 of groove centre and lips, half height p2, groove radius p3.

    Exact: the distance to its profile in the (radius, height) plane.
    """
    dy = x[1] - p[0]
    rho = np.sqrt(x[0] * x[0] + dy * dy)
    return _grooved(p[1] - rho, x[2], np.full_like(rho, np.inf), p[2], p[3])


def hull_of_block(p: Array) -> Array:
    """Return box parameters of the convex hull of a bored block."""
    near, far = p[2] * p[3], p[2] * (p[3] + p[4])
    spare = np.zeros_like(near)
    return np.stack((p[0], np.minimum(near, far), -p[5], p[1], np.maximum(near, far), p[5], spare, spare))


def hull_of_die(p: Array) -> Array:
    """Return cylinder parameters of the convex hull of a die."""
    spare = np.zeros_like(p[0])
    return np.stack((spare, p[0], p[1], -p[2], p[2], spare, spare, spare))


def evaluate(kind: Ints, x: Array, p: Array) -> tuple[Array, Array, Array]:
    """Return for N points the exact distance (N,), the hull's distance (N,) and its unit subgradient (3, N)."""
    exact, hull, gradient = np.empty(x.shape[1]), np.empty(x.shape[1]), np.empty_like(x)
    for which in np.flatnonzero(np.bincount(kind)):
        at = np.flatnonzero(kind == which)
        xs, ps = x[:, at], p[:, at]
        if which == Kind.BORED_BLOCK:
            exact[at] = bored_block(xs, ps)
            hull[at], gradient[:, at] = box(xs, hull_of_block(ps))
        elif which == Kind.DIE:
            exact[at] = die(xs, ps)
            hull[at], gradient[:, at] = cylinder(xs, hull_of_die(ps))
        else:
            far, gradient[:, at] = _SIMPLE[Kind(int(which))](xs, ps)
            exact[at] = hull[at] = far
    return exact, hull, gradient


def distance(kind: Ints, x: Array, p: Array) -> Array:
    """Return the exact distances (N,) alone, of grooved solids."""
    exact = np.empty(x.shape[1])
    for which, of in ((Kind.BORED_BLOCK, bored_block), (Kind.DIE, die)):
        at = np.flatnonzero(kind == which)
        if at.size:
            exact[at] = of(x[:, at], p[:, at])
    return exact


_SIMPLE = {
    Kind.FLOOR: floor,
    Kind.BOX: box,
    Kind.CYLINDER: cylinder,
    Kind.SEGMENT: segment,
    Kind.ROD: rod,
    Kind.TAIL_END: rod,
}
