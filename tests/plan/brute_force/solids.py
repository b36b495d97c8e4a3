"""Solids of a machine and its tooling as plain numbers, and how far points are from them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from tests.geometry.distances import TO_POINTS, Array, Kind, to_tail

FLOOR, BOX, POST, BLOCK, DIE, TAIL, ROD = range(7)
NAMES: tuple[Kind, ...] = ("floor", "box", "cylinder", "block", "die", "tail", "rod")


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
    if kind == TAIL:  # a length that changes
        length = np.maximum(p[..., 0] + p[..., 1] * t, 0.0)
        return to_tail(np.stack(np.broadcast_arrays(length, p[..., 2]), axis=-1), x)
    return TO_POINTS[NAMES[kind]](p, x)
