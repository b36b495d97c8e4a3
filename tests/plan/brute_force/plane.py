"""The plane of advance and roll in which a tube finds its way among solids that stand still, cut into cells."""

from __future__ import annotations

import math
from typing import NamedTuple

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

RIM = 12
"""Points about the flat end's rim."""

SAME = 1e-9
"""Advances [mm] and shares of columns that differ by less are the same."""

Span = tuple[float, float]
"""From one advance to another [mm]."""

Goal = tuple[float, float] | None
"""An advance [mm] and a roll [rad]; None: the greatest advance, at any roll."""


class Obstacle(NamedTuple):
    """A solid and what the tube needs to it [mm]: at an advance of 0, and how much more a millimetre of advance.

    rides: it goes with the tube, which turns before it but comes no nearer. proves: its nearness blocks cells; that of a
    solid which could as well be somewhere else only keeps them from being free.
    """

    solid: Solid
    need: float
    more: float = 0.0
    rides: bool = False
    proves: bool = True


class Plane:
    """The plane of advance (rows) and roll (columns, once around), in cells that are free, blocked or neither.

    A cell is free if no point of the tube can come too near in it, blocked if some point is too near all over it. tube: as
    it stands at an advance and a roll of 0; edges: of the rows that are begun with [mm].
    """

    def __init__(self, tube: Tube, radius: float, obstacles: list[Obstacle], edges: Array) -> None:
        self.obstacles, self.edges = obstacles, edges
        points, half, _ = tube.points(radius)
        to_end = 2.0 * np.cumsum(half[::-1])[::-1] - half
        end, rim = _flat_end(tube, radius)
        self.points = np.concatenate((points, end, rim))
        self.thick = np.concatenate((np.full(len(points) + len(end), radius), np.zeros(len(rim))))
        self.count, self.half = len(points), half  # the first ones are all of the tube, with half a chunk about each
        # The tube's end is flat: what is round about a point near it is no tube, what lies on its rim is.
        self.inner = np.concatenate((to_end > radius, np.full(len(end) + len(rim), True)))
        self.away = np.hypot(self.points[:, 1], self.points[:, 2])
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
            self.refine()
        return UNSURE

    def look(self) -> None:
        """Judge the cells that are neither, a few at a time."""
        dphi = math.pi / self.free.shape[1]
        open_ = np.argwhere(~self.free & ~self.blocked)
        for some in np.array_split(open_, max(1, len(open_) // 64)):
            low, high = self.edges[some[:, :1]], self.edges[some[:, :1] + 1]
            y, dy, phi = (low + high) / 2.0, (high - low) / 2.0, (2 * some[:, 1:] + 1) * dphi
            c, s = np.cos(phi), np.sin(phi)
            x = np.stack(
                np.broadcast_arrays(
                    self.points[:, 0],
                    c * self.points[:, 1] - s * self.points[:, 2],
                    s * self.points[:, 1] + c * self.points[:, 2],
                ),
                axis=-1,
            )
            gone = x + np.stack(np.broadcast_arrays(y, 0.0 * y, 0.0 * y), axis=-1)
            lower, upper = np.full(x.shape[:2], np.inf), np.full(x.shape[:2], np.inf)
            turned = self.away * dphi  # square to the way along the feed
            for solid, need, more, rides, proves in self.obstacles:
                margin = _from_solid(solid, x if rides else gone) - self.thick - need - more * y
                spare = more * dy + (turned if rides else np.hypot(turned, dy))
                lower = np.minimum(lower, margin - spare)
                if proves:
                    upper = np.minimum(upper, margin + spare)
            at = (some[:, 0], some[:, 1])
            self.free[at] = (lower[:, : self.count] - self.half).min(axis=1) > SURELY_CLEAR
            self.blocked[at] = upper[:, self.inner].min(axis=1, initial=np.inf) < SURELY_STRUCK

    def joined(self, cells: NDArray[np.bool_], goal: Goal, entries: Span) -> bool:
        """Whether the goal is joined through such cells to roll 0 at some of these advances."""
        found, count = label(cells)
        seam = (found[:, 0] > 0) & (found[:, -1] > 0)  # roll 0 and a whole turn are one
        pairs = (found[seam, 0], found[seam, -1])
        graph = coo_matrix((np.ones(int(seam.sum())), pairs), shape=(count + 1, count + 1))
        group = connected_components(graph, directed=False)[1]
        rows = (self.edges[1:] >= entries[0] - SAME) & (self.edges[:-1] <= entries[1] + SAME)
        begun, wanted = set(np.unique(found[rows][:, [0, -1]])) - {0}, set(np.unique(self._at(found, goal))) - {0}
        return bool({int(group[k]) for k in begun} & {int(group[k]) for k in wanted})

    def _at(self, found: NDArray[np.int32], goal: Goal) -> NDArray[np.int32]:
        """The cells that touch the goal."""
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


def _flat_end(tube: Tube, radius: float) -> tuple[Array, Array]:
    """The last point about which all is tube, and points about the flat end's rim; none where the tube does not end straight."""
    if not tube.length.size or tube.curvature[-1] > 0.0 or tube.length[-1] <= radius:
        return np.empty((0, 3)), np.empty((0, 3))
    along, inward, end = tube.along[-1], tube.inward[-1], tube.start[-1] + tube.along[-1] * tube.length[-1]
    around = 2.0 * math.pi * np.arange(RIM)[:, None] / RIM
    across = radius * (np.cos(around) * inward + np.sin(around) * np.cross(along, inward))
    rim = [end - along * back + across for back in (0.0, radius / 2.0)]
    return (end - along * radius)[None], np.concatenate(rim)


def _from_solid(solid: Solid, x: Array) -> Array:
    return distances(solid.kind, np.array([*solid.numbers, *[0.0] * (8 - len(solid.numbers))]), x)
