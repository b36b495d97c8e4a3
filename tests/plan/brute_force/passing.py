"""How near the tube comes to what it passes on the arm's way home, at an advance and an angle of the arm.

Seen as a plane: advances of the tube against angles of the arm, which only ever goes back. A way home is a line in it from
where the bend ended to an angle of 0, or, where the tube is drawn off, to an advance at which it is in free hands.
"""

from __future__ import annotations

import heapq
import itertools
import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.plan.brute_force.cloud import Cloud, Obstacle, from_solid
from tests.plan.brute_force.sampled import SURELY_STRUCK
from tests.plan.brute_force.tube import Array, Tube

ON_THE_FEED = np.arange(5.0, 400.0, 15.0)
"""Where the straight that has come out of the die is looked at [mm]; farther on nothing of the arm's is near the feed."""

FINE = (4.0, 8.0)
"""Spacings of the points on the arc just formed and on the straight after it where a way is sought [mm]."""

SPARED = 0.4
"""Margin that a node of a way wants at least [mm]: what lies in a groove has 1."""

LEVELS = 4
"""How often the plane is cut more finely."""

LEAST_ROWS = 12
"""Rows of angles that the plane is begun with."""

TURNED_AWAY = 40.0
"""What a change between arm and tube counts as much as, in a way's length [mm]."""


class Step(NamedTuple):
    """One leg of a way home: the arm's angle [rad] and the advance [mm], each from and to."""

    arm: tuple[float, float]
    y: tuple[float, float]


class Passing:
    """A tube that stands after a bend, among what stands and what the arm carries.

    tube: as it stands at an advance of 0; standing, carried: obstacles that stand, and as the arm sees them; axis: y of the
    die's axis [mm]; side: +1 for a head to the left; behind: length of the tail [mm];
    fine: a way is sought, not a wall.
    """

    def __init__(
        self, tube: Tube, radius: float, axis: float, side: float, behind: float,
        standing: list[Obstacle], carried: list[Obstacle], fine: bool,
    ) -> None:  # fmt: skip
        self.cloud = Cloud(tube, radius, FINE if fine else ())
        self.axis, self.side, self.radius, self.behind = axis, side, radius, behind
        self.standing = [(obstacle, self.cloud.needs(obstacle)) for obstacle in standing]
        self.carried = [(obstacle, self.cloud.needs(obstacle)) for obstacle in carried]

    def nearest(self, y: Array, arm: Array, dy: Array | float = 0.0, darm: Array | float = 0.0) -> Array:
        """The least margin in cells (n,) about an advance [mm] and an angle [rad]: no more than it anywhere in the cell."""
        out = np.empty(len(y))
        dy, darm = np.broadcast_to(dy, y.shape), np.broadcast_to(darm, y.shape)
        for some in np.array_split(np.arange(len(y)), max(1, len(y) // 256)):
            out[some] = self._nearest(y[some], arm[some], dy[some], darm[some])
        return out

    def _nearest(self, y: Array, arm: Array, dy: Array, darm: Array) -> Array:
        inner, thick = self.cloud.inner, self.cloud.thick[self.cloud.inner]
        x = self.cloud.x[inner] + np.stack([y, 0.0 * y, 0.0 * y], axis=1)[:, None]
        found = np.full(x.shape[:2], np.inf)
        for obstacle, needs in self.standing:
            margin = from_solid(obstacle.solid, x) - thick - needs.lax[inner] + dy[:, None]
            found = np.minimum(found, margin - obstacle.more * (y - dy)[:, None])
        least = found.min(axis=1, initial=np.inf)
        seen, away = self._seen(x, arm)
        spare = dy[:, None] + (away + dy[:, None]) * darm[:, None]
        for obstacle, needs in self.carried:
            margin = from_solid(obstacle.solid, seen) - thick - needs.lax[inner] + spare
            least = np.minimum(least, (margin - obstacle.more * (y - dy)[:, None]).min(axis=1, initial=np.inf))
        line = np.zeros((1, len(ON_THE_FEED), 3))
        line[0, :, 0] = ON_THE_FEED
        seen, away = self._seen(np.repeat(line, len(y), axis=0), arm)
        out = ON_THE_FEED[None] + self.radius <= (y - dy)[:, None]
        out &= ON_THE_FEED[None] - self.radius >= (y + dy)[:, None] - self.behind
        for obstacle, _ in self.carried:
            need = min([obstacle.need, *obstacle.own.values()])
            margin = from_solid(obstacle.solid, seen) - self.radius - need + away * darm[:, None]
            least = np.minimum(least, np.where(out, margin, np.inf).min(axis=1))
        return np.asarray(least)

    def _seen(self, x: Array, arm: Array) -> tuple[Array, Array]:
        """Points (n, k, 3) as the arm sees them at its angles (n,), and their distances from the die's axis."""
        c, s = np.cos(arm)[:, None], -self.side * np.sin(arm)[:, None]
        dx, dy = x[..., 0], x[..., 1] - self.axis
        seen = np.stack((c * dx - s * dy, s * dx + c * dy + self.axis, x[..., 2]), axis=-1)
        return seen, np.hypot(dx, dy)

    # A way

    def way(self, ys: list[float], arms: list[float], off: bool) -> list[Step] | None:
        """The shortest way over nodes of some advances [mm] and angles [rad, falling], None where there is none.

        off: it may end at the last advance instead, whatever the arm's angle.
        """
        rows, columns = len(arms), len(ys)
        grid = np.meshgrid(np.array(arms), np.array(ys), indexing="ij")
        free = (self.nearest(grid[1].ravel(), grid[0].ravel()) > SPARED).reshape(rows, columns)
        heap: list[tuple[float, int, int, int]] = [(0.0, 0, 0, 0)]
        came: dict[tuple[int, int, int], tuple[int, int, int] | None] = {(0, 0, 0): None}
        far = {(0, 0, 0): 0.0}
        while heap:
            cost, i, j, doing = heapq.heappop(heap)
            if cost > far[i, j, doing]:
                continue
            if i == rows - 1 or (off and j == columns - 1):
                return _legs(came, (i, j, doing), arms, ys)
            for i2, j2, does in ((i + 1, j, 1), (i, j + 1, 2), (i, j - 1, 2)):
                if i2 < rows and 0 <= j2 < columns and free[i2, j2]:
                    way = abs(ys[j2] - ys[j]) + 200.0 * (arms[i] - arms[i2]) + TURNED_AWAY * (does != doing)
                    if cost + way < far.get((i2, j2, does), math.inf):
                        far[i2, j2, does] = cost + way
                        came[i2, j2, does] = (i, j, doing)
                        heapq.heappush(heap, (cost + way, i2, j2, does))
        return None

    # No way

    def shut(self, swing: float, at_most: float, off: bool) -> bool:
        """Whether blocked cells keep the arm from coming home from an angle [rad], the tube anywhere up to an advance [mm].

        off: drawn on past that advance it is off.
        """
        near = min(at_most, 400.0)
        ys = np.concatenate((np.linspace(0.0, near, 13), np.linspace(near, at_most, 9)[1:] if at_most > near else []))
        rows = max(LEAST_ROWS, math.ceil(swing / math.radians(10.0)))
        arms = np.linspace(swing, 0.0, rows + 1)
        open_ = np.ones((rows, len(ys) - 1), dtype=bool)
        for level in range(LEVELS):
            open_ = self._look(open_, ys, arms)
            open_ &= reached(open_)
            if not (open_[-1].any() or (off and open_[:, -1].any())):
                return True
            if level + 1 < LEVELS:
                ys, arms = _halved(ys), _halved(arms)
                open_ = np.kron(open_, np.ones((2, 2), dtype=bool))
        return False

    def _look(self, open_: NDArray[np.bool_], ys: Array, arms: Array) -> NDArray[np.bool_]:
        """The cells that are not blocked."""
        i, j = np.nonzero(open_)
        y, arm = (ys[j] + ys[j + 1]) / 2.0, (arms[i] + arms[i + 1]) / 2.0
        dy, darm = (ys[j + 1] - ys[j]) / 2.0, (arms[i] - arms[i + 1]) / 2.0
        found = open_.copy()
        found[i, j] = self.nearest(y, arm, dy, darm) >= SURELY_STRUCK
        return found


def reached(cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells to which one comes from the first of the first row: along rows either way, down from row to row."""
    found = np.zeros_like(cells)
    entered = np.zeros(cells.shape[1], dtype=bool)
    entered[0] = True
    for i, row in enumerate(cells):
        stretch = np.cumsum(np.concatenate(([True], row[1:] != row[:-1])))
        found[i] = row & np.isin(stretch, stretch[entered & row])
        entered = found[i]
    return found


def _halved(edges: Array) -> Array:
    return np.sort(np.concatenate((edges, (edges[1:] + edges[:-1]) / 2.0)))[:: 1 if edges[0] < edges[-1] else -1]


def _legs(
    came: dict[tuple[int, int, int], tuple[int, int, int] | None],
    end: tuple[int, int, int],
    arms: list[float],
    ys: list[float],
) -> list[Step]:
    """The steps that lead to a node, those of one kind together."""
    nodes = [end]
    while (before := came[nodes[-1]]) is not None:
        nodes.append(before)
    nodes.reverse()
    steps = []
    for _, some in itertools.groupby(itertools.pairwise(nodes), key=lambda pair: pair[1][2]):
        pairs = list(some)
        first, last = pairs[0][0], pairs[-1][1]
        steps.append(Step((arms[first[0]], arms[last[0]]), (ys[first[1]], ys[last[1]])))
    return steps
