"""Grooved solids covered by convex parts: a bored block by prisms, a bend die by truncated cones.

In the plane of depth a (from the block's face, or inward from the die's lip) and height z, with the groove's radius b,
the solid beside the groove is cut into the lips above and below, and into strips z_k … z_k+1 of the groove, each
bounded by the groove's chord. The chord lies in the groove, no deeper than b (1 − cos(π/4K)) before the arc: the parts
cover the solid and little more. Along the feed a block is a prism; about its axis a die's strip is a truncated cone.
Both are convex, and their distance is that to a quadrilateral in the plane.
"""

from __future__ import annotations

import numpy as np

from planner.clearance.distances import Kind
from planner.tolerances import NO_DIRECTION, NO_LENGTH
from planner.tube.frames import Array, Ints

STRIPS = 6
"""Strips K into which a quarter of the groove is cut: chords at most 0.9 % of its radius before the arc."""

PARTS = 2 * (STRIPS + 1)
"""Parts of one solid: the strips and the lip, above and below."""


class Parts:
    """The convex parts of N grooved solids, PARTS for each, one solid after the other.

    They cover what lies `inside` (N,) [mm] and more within each of them, 0 for all of it: the lips begin that much
    deeper, and the groove is that much wider about the same middle.
    owner (N · PARTS,): the number of the solid that a part belongs to.
    """

    def __init__(self, kind: Ints, p: Array, inside: Array) -> None:
        count, block = kind.size, kind == Kind.BORED_BLOCK
        self.owner: Ints = np.repeat(np.arange(count), PARTS)
        ends = np.where(block, inside, 0.0) * np.array([[1.0], [-1.0]])
        self.p = np.concatenate((p[:2] + ends, p[2:]))[:, self.owner]
        self.block = block[self.owner]
        self.sign = np.tile(np.repeat([1.0, -1.0], STRIPS + 1), count)
        width = np.where(block, p[4] - inside, p[1])
        height, groove = np.where(block, p[5], p[2]) - inside, np.where(block, p[6], p[3]) + inside
        self.corners = self._corners(inside, np.maximum(width, inside), np.maximum(height, 0.0), groove)

    @staticmethod
    def _corners(face: Array, width: Array, half: Array, groove: Array) -> Array:
        """Return the corners (4, 2, N · PARTS), anticlockwise in (a, z), of the parts in the half-plane z ≥ 0.

        face: depth at which the lips begin; width: at which all ends; half the height; radius of the groove [mm].
        """
        count = width.size
        corners = np.zeros((4, 2, count, STRIPS + 1))
        turn = np.outer(np.arccos(face / groove), np.arange(STRIPS + 1) / STRIPS)
        edge_a = np.minimum(groove[:, None] * np.cos(turn), width[:, None])
        edge_z = np.minimum(groove[:, None] * np.sin(turn), half[:, None])
        wide = np.repeat(width[:, None], STRIPS, axis=1)
        corners[0, :, :, :-1] = edge_a[:, :-1], edge_z[:, :-1]
        corners[1, :, :, :-1] = wide, edge_z[:, :-1]
        corners[2, :, :, :-1] = wide, edge_z[:, 1:]
        corners[3, :, :, :-1] = edge_a[:, 1:], edge_z[:, 1:]
        low, high = edge_z[:, -1], np.maximum(edge_z[:, -1], half)
        for place, (a, z) in enumerate(((face, low), (width, low), (width, high), (face, high))):
            corners[place, :, :, -1] = a, z
        return np.repeat(corners[:, :, :, None, :], 2, axis=3).reshape(4, 2, count * PARTS)

    def to(self, which: Ints, x: Array) -> tuple[Array, Array]:
        """Return the signed distances (n,) [mm] and unit subgradients (3, n) of points to some of the parts."""
        p, block, sign = self.p[:, which], self.block[which], self.sign[which]
        dy = x[1] - np.where(block, 0.0, p[0])
        rho = np.hypot(x[0], dy)
        depth = np.where(block, p[2] * x[1] - p[3], p[1] - rho)
        far, g_a, g_z = to_quadrilateral(depth, sign * x[2], self.corners[:, :, which])
        below, above = p[0] - x[0], x[0] - p[1]
        end = np.where(block, np.maximum(below, above), -np.inf)
        out, out_end = np.maximum(far, 0.0), np.maximum(end, 0.0)
        both = np.hypot(out, out_end)
        outside, in_profile = both > 0.0, far >= end
        scale = np.where(outside, both, 1.0)
        w_profile = np.where(outside, out / scale, in_profile)
        w_end = np.where(outside, out_end / scale, ~in_profile) * np.where(above >= below, 1.0, -1.0)
        away = np.where(rho > NO_DIRECTION, rho, 1.0)
        gradient = np.stack((
            np.where(block, w_end, -g_a * x[0] / away),
            np.where(block, w_profile * g_a * p[2], -g_a * dy / away),
            np.where(block, w_profile, 1.0) * g_z * sign,
        ))  # fmt: skip
        return np.where(outside, both, np.maximum(far, end)), gradient


def to_quadrilateral(a: Array, z: Array, corners: Array) -> tuple[Array, Array, Array]:
    """Return the signed distance to a convex quadrilateral and its unit subgradient (a, z).

    corners (4, 2, n): anticlockwise; two may be the same.
    """
    nearest, deepest = np.full(a.shape, np.inf), np.full(a.shape, -np.inf)
    gradient, inner = np.zeros((2, a.size)), np.zeros((2, a.size))
    for k in range(4):
        a0, z0 = corners[k]
        a1, z1 = corners[(k + 1) % 4]
        along_a, along_z = a1 - a0, z1 - z0
        length = np.hypot(along_a, along_z)
        real = length > NO_LENGTH
        scale = np.where(real, length, 1.0)
        unit_a, unit_z = along_a / scale, along_z / scale
        from_a, from_z = a - a0, z - z0
        way = np.clip(from_a * unit_a + from_z * unit_z, 0.0, length)
        off_a, off_z = from_a - way * unit_a, from_z - way * unit_z
        off = np.hypot(off_a, off_z)
        beyond = np.where(real, from_a * unit_z - from_z * unit_a, -np.inf)  # outward: to the right of the way round
        deeper, nearer = beyond > deepest, off < nearest
        deepest, nearest = np.where(deeper, beyond, deepest), np.where(nearer, off, nearest)
        inner = np.where(deeper, np.stack((unit_z, -unit_a)), inner)
        gradient = np.where(nearer, np.stack((off_a, off_z)) / np.where(off > NO_DIRECTION, off, 1.0), gradient)
    outside = (deepest > 0.0) & (nearest > NO_DIRECTION)
    found = np.where(outside, gradient, inner)
    return np.where(deepest > 0.0, nearest, deepest), found[0], found[1]
