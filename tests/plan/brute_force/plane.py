"""The plane of advance and roll in which a tube finds its way among solids that stand still, cut into cells."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from tests.plan.brute_force.cloud import Cloud, Obstacle, from_solid
from tests.plan.brute_force.sampled import CLEAR, STRUCK, SURELY_CLEAR, SURELY_STRUCK, UNSURE
from tests.plan.brute_force.tube import Array, Tube

LEVELS = 5
"""How often the plane of advance and roll is cut more finely."""

SAME = 1e-9
"""Advances [mm] and shares of columns that differ by less are the same."""

Span = tuple[float, float]
"""From one advance to another [mm]."""

Goal = tuple[float, float] | None
"""An advance [mm] and a roll [rad]; None: the greatest advance, at any roll."""


class Plane:
    """The plane of advance (rows) and roll (columns, once around), in cells that are free, blocked or neither.

    A cell is free if no point of the tube can come too near in it, blocked if some point is too near all over it. tube: as
    it stands at an advance and a roll of 0; edges: of the rows that are begun with [mm].
    """

    def __init__(self, tube: Tube, radius: float, obstacles: list[Obstacle], edges: Array) -> None:
        self.edges = edges
        self.cloud = cloud = Cloud(tube, radius)
        self.obstacles = [(obstacle, cloud.needs(obstacle)) for obstacle in obstacles]
        self.away = np.hypot(cloud.x[:, 1], cloud.x[:, 2])
        self.free = np.zeros((len(edges) - 1, 24), dtype=bool)
        self.blocked = np.zeros_like(self.free)

    def way_to(self, goal: Goal, sure: Span | None, at_most: Span) -> int:
        """Whether free cells lead to the goal, or blocked ones shut it off, from a roll of 0.

        sure: advances from which the free cells may begin, where there are any; at_most: from which others may [mm].
        """
        for _ in range(LEVELS):
            self.look()
            if sure is not None and self.joined(self.free, goal, sure):
                return CLEAR
            if not self.joined(~self.blocked, goal, at_most):
                return STRUCK
            self.blocked |= ~self.entered(~self.blocked, at_most)
            self.refine()
        return UNSURE

    def look(self) -> None:
        """Judge the cells that are neither, a few at a time; forget obstacles that are far from all of them."""
        dphi, cloud = math.pi / self.free.shape[1], self.cloud
        open_ = np.argwhere(~self.free & ~self.blocked)
        nearest = np.full(len(self.obstacles), np.inf)
        for some in np.array_split(open_, max(1, len(open_) // 64)):
            low, high = self.edges[some[:, :1]], self.edges[some[:, :1] + 1]
            y, dy, phi = (low + high) / 2.0, (high - low) / 2.0, (2 * some[:, 1:] + 1) * dphi
            c, s = np.cos(phi), np.sin(phi)
            x = np.stack(
                np.broadcast_arrays(
                    cloud.x[:, 0],
                    c * cloud.x[:, 1] - s * cloud.x[:, 2],
                    s * cloud.x[:, 1] + c * cloud.x[:, 2],
                ),
                axis=-1,
            )
            gone = x + np.stack(np.broadcast_arrays(y, 0.0 * y, 0.0 * y), axis=-1)
            lower, upper = np.full(x.shape[:2], np.inf), np.full(x.shape[:2], np.inf)
            turned = self.away * dphi  # square to the way along the feed
            for k, (obstacle, needs) in enumerate(self.obstacles):
                found = from_solid(obstacle.solid, x if obstacle.rides else gone) - cloud.thick - obstacle.more * y
                spare = obstacle.more * dy + (turned if obstacle.rides else np.hypot(turned, dy))
                least = found - needs.strict - spare
                lower = np.minimum(lower, least)
                nearest[k] = min(nearest[k], (least[:, : cloud.count] - cloud.half).min(initial=np.inf))
                if obstacle.proves:
                    upper = np.minimum(upper, found - needs.lax + spare)
            at = (some[:, 0], some[:, 1])
            self.free[at] = (lower[:, : cloud.count] - cloud.half).min(axis=1) > SURELY_CLEAR
            self.blocked[at] = upper[:, cloud.inner].min(axis=1, initial=np.inf) < SURELY_STRUCK
        if len(open_):
            kept = zip(self.obstacles, nearest, strict=True)
            self.obstacles = [one for one, near in kept if near <= SURELY_CLEAR]

    def joined(self, cells: NDArray[np.bool_], goal: Goal, entries: Span) -> bool:
        """Whether the goal is joined through such cells to roll 0 at some of these advances."""
        return bool(np.any(self._at(self.entered(cells, entries), goal)))

    def entered(self, cells: NDArray[np.bool_], entries: Span) -> NDArray[np.bool_]:
        """The cells that are joined to roll 0 at some advances."""
        found, count = label(cells)
        seam = (found[:, 0] > 0) & (found[:, -1] > 0)  # roll 0 and a whole turn are one
        pairs = (found[seam, 0], found[seam, -1])
        graph = coo_matrix((np.ones(int(seam.sum())), pairs), shape=(count + 1, count + 1))
        group = connected_components(graph, directed=False)[1]
        rows = (self.edges[1:] >= entries[0] - SAME) & (self.edges[:-1] <= entries[1] + SAME)
        begun = np.unique(found[rows][:, [0, -1]])
        return np.asarray((found > 0) & np.isin(group[found], group[begun[begun > 0]]))

    def _at(self, found: NDArray[np.bool_], goal: Goal) -> NDArray[np.bool_]:
        """What of the cells touches the goal."""
        if goal is None:
            return np.asarray(found[-1])
        y = min(goal[0], self.edges[-1])
        rows = (self.edges[1:] >= y - SAME) & (self.edges[:-1] <= y + SAME)
        column = (goal[1] % (2.0 * math.pi)) / (2.0 * math.pi) * found.shape[1]
        return np.asarray(found[rows][:, [int(column + b) % found.shape[1] for b in (-SAME, SAME)]])

    def refine(self) -> None:
        """Cut every cell in four."""
        self.edges = np.sort(np.concatenate((self.edges, (self.edges[1:] + self.edges[:-1]) / 2.0)))
        self.free, self.blocked = (np.kron(cells, np.ones((2, 2), dtype=bool)) for cells in (self.free, self.blocked))
