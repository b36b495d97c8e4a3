"""Solids of a machine and its tooling as plain numbers, and how far points are from them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from tests.plan.brute_force.tube import Array

FLOOR, BOX, POST, BLOCK, DIE, TAIL, ROD = range(7)


class Solid(NamedTuple):
    """A solid by its kind's numbers [mm].

    FLOOR: height; BOX: smallest and largest corner; POST: x, y, radius, lowest and highest z; BLOCK: from x, to x, side of
    the feed (±1), its face's distance from the feed, width, half height, radius of the bore in the face; DIE: y of its
    axis, groove's radius about it, half height, radius of the bore; TAIL: length at the start, its change, radius; ROD:
    about the feed, from x, to x, radius. Both have flat ends.
    """

    kind: int
    numbers: tuple[float, ...]


def swept(boxes: Iterable[Solid], way: float, shift: float = 0.0) -> list[Solid]:
    """Boxes swept forward along the feed, and shifted [mm]."""
    return [Solid(BOX, (p[0] + shift, *p[1:3], p[3] + way + shift, *p[4:])) for _, p in boxes]


def distances(kind: int, p: Array, x: Array, t: Array | float = 0.0) -> Array:
    """Signed distances of points x (…, 3) to solids of one kind; the numbers p (…, 8) are broadcast against them."""
    if kind == FLOOR:
        return np.asarray(x[..., 2] - p[..., 0])
    if kind == BOX:
        middle, half = (p[..., 3:6] + p[..., 0:3]) / 2.0, (p[..., 3:6] - p[..., 0:3]) / 2.0
        return joined(*np.moveaxis(np.abs(x - middle) - half, -1, 0))
    if kind == POST:
        side = np.hypot(x[..., 0] - p[..., 0], x[..., 1] - p[..., 1]) - p[..., 2]
        return joined(side, np.abs(x[..., 2] - (p[..., 3] + p[..., 4]) / 2.0) - (p[..., 4] - p[..., 3]) / 2.0)
    if kind == BLOCK:
        face = grooved(p[..., 2] * x[..., 1] - p[..., 3], x[..., 2], p[..., 4], p[..., 5], p[..., 6])
        return joined(face, np.maximum(p[..., 0] - x[..., 0], x[..., 0] - p[..., 1]))
    if kind == DIE:
        deep = p[..., 1] - np.hypot(x[..., 0], x[..., 1] - p[..., 0])
        return grooved(deep, x[..., 2], np.inf, p[..., 2], p[..., 3])
    if kind == ROD:
        along = np.maximum(p[..., 0] - x[..., 0], x[..., 0] - p[..., 1])
        return joined(np.hypot(x[..., 1], x[..., 2]) - p[..., 2], along)
    end = -np.maximum(p[..., 0] + p[..., 1] * t, 0.0)
    return joined(np.hypot(x[..., 1], x[..., 2]) - p[..., 2], np.maximum(end - x[..., 0], x[..., 0]))


def joined(*sides: Array) -> Array:
    """Distance to what lies behind several faces that are square to one another."""
    outside = np.sqrt(sum(np.maximum(side, 0.0) ** 2 for side in sides))
    return np.asarray(outside + np.minimum(np.max(np.stack(np.broadcast_arrays(*sides)), axis=0), 0.0))


def grooved(a: Array, z: Array, width: Array | float, half: Array, bore: Array) -> Array:
    """Distance in the plane to the slab 0 ≤ a ≤ width, |z| ≤ half, out of which a disc about the origin is cut.

    In front of the face its nearest points are the two lips; in the disc the round is nearest.
    """
    z = np.abs(z)
    lips = np.hypot(a, np.clip(z, bore, half) - z)
    round_ = bore - np.hypot(a, z)  # positive in the disc
    slab = joined(np.maximum(-a, a - width), z - half)
    return np.asarray(np.where(a < 0.0, lips, np.where(round_ > 0.0, round_, np.maximum(slab, round_))))
