"""The plane of advance and roll in which a tube finds its way among solids that stand still, cut into cells."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from tests.plan.brute_force.sampled import CLEAR, STRUCK, SURELY_CLEAR, SURELY_STRUCK, UNSURE
from tests.plan.brute_force.solids import Solid, distances
from tests.plan.brute_force.tube import Array, Tube

LEVELS = 5
"""How often the plane of advance and roll is cut more finely."""


class Plane:
    """The plane of advance (rows) and roll (columns, once around), in cells that are free, blocked or neither.

    A cell is free if no point of the tube can come too near in it, blocked if some point is too near all over it. tube: as
    it stands at an advance and a roll of 0; solids: each with what it needs there, and how much more a millimetre of
    advance; riding: solids that go with the tube, whose nearness frees no cell but blocks none; span: of the advance.
    """

    def __init__(
        self, tube: Tube, radius: float, solids: list[tuple[Solid, float, float]], riding: list[tuple[Solid, float]],
        span: tuple[float, float],
    ) -> None:  # fmt: skip
        self.radius, self.solids, self.riding, self.span = radius, solids, riding, span
        self.points, self.half, _ = tube.points(radius)
        to_end = 2.0 * np.cumsum(self.half[::-1])[::-1] - self.half
        self.inner = to_end > radius  # the tube's end is flat: what is round about a point near it is no tube
        self.away = np.hypot(self.points[:, 1], self.points[:, 2])
        self.free = np.zeros((8, 24), dtype=bool)
        self.blocked = np.zeros((8, 24), dtype=bool)

    def way_to(self, goal: tuple[float, float], entry: float) -> int:
        """Whether free cells lead from roll 0 at an advance up to `entry` to the goal, or blocked ones shut it off."""
        for _ in range(LEVELS):
            self.look()
            if entry >= self.span[0] and self.joined(self.free, goal, entry):
                return CLEAR
            if not self.joined(~self.blocked, goal, self.span[1]):
                return STRUCK
            self.refine()
        return UNSURE

    def look(self) -> None:
        """Judge the cells that are neither, a few at a time."""
        rows, columns = self.free.shape
        dy, dphi = (self.span[1] - self.span[0]) / rows / 2.0, math.pi / columns
        open_ = np.argwhere(~self.free & ~self.blocked)
        for some in np.array_split(open_, max(1, len(open_) // 64)):
            y, phi = self.span[0] + (2 * some[:, :1] + 1) * dy, (2 * some[:, 1:] + 1) * dphi
            c, s = np.cos(phi), np.sin(phi)
            x = np.stack(
                np.broadcast_arrays(
                    self.points[:, 0] + y,
                    c * self.points[:, 1] - s * self.points[:, 2],
                    s * self.points[:, 1] + c * self.points[:, 2],
                ),
                axis=-1,
            )
            sweep = dy + self.away * dphi
            lower, upper = np.full(x.shape[:2], np.inf), np.full(x.shape[:2], np.inf)
            for solid, need, more in self.solids:
                margin = _from_solid(solid, x) - self.radius - need - more * y
                lower, upper = np.minimum(lower, margin - more * dy), np.minimum(upper, margin + more * dy)
            riding = x - np.stack(np.broadcast_arrays(y, 0.0 * y, 0.0 * y), axis=-1)
            for solid, need in self.riding:
                lower = np.minimum(lower, _from_solid(solid, riding) - self.radius - need)
            at = (some[:, 0], some[:, 1])
            self.free[at] = (lower - self.half - sweep).min(axis=1) > SURELY_CLEAR
            self.blocked[at] = (upper + sweep)[:, self.inner].min(axis=1, initial=np.inf) < SURELY_STRUCK

    def joined(self, cells: NDArray[np.bool_], goal: tuple[float, float], farthest: float) -> bool:
        """Whether the goal is joined through such cells to roll 0 at some advance up to `farthest`."""
        found, count = label(cells)
        seam = (found[:, 0] > 0) & (found[:, -1] > 0)  # roll 0 and a whole turn are one
        pairs = (found[seam, 0], found[seam, -1])
        graph = coo_matrix((np.ones(int(seam.sum())), pairs), shape=(count + 1, count + 1))
        group = connected_components(graph, directed=False)[1]
        rows, columns = found.shape
        height, width = (self.span[1] - self.span[0]) / rows, 2.0 * math.pi / columns
        last = min(rows - 1, int((farthest - self.span[0]) / height))
        entries = set(np.unique(found[: last + 1, [0, -1]])) - {0}
        row, column = (goal[0] - self.span[0]) / height, (goal[1] % (2.0 * math.pi)) / width
        near = {
            int(found[min(rows - 1, int(row + a)), int(column + b) % columns])
            for a in (-1e-9, 1e-9) for b in (-1e-9, 1e-9) if row + a >= 0.0
        } - {0}  # fmt: skip
        return bool({int(group[k]) for k in entries} & {int(group[k]) for k in near})

    def refine(self) -> None:
        """Cut every cell in four."""
        self.free, self.blocked = (np.kron(cells, np.ones((2, 2), dtype=bool)) for cells in (self.free, self.blocked))


def _from_solid(solid: Solid, x: Array) -> Array:
    return distances(solid.kind, np.array([*solid.numbers, *[0.0] * (8 - len(solid.numbers))]), x)
