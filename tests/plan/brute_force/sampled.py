"""Tube moved among solids, sampled densely: whether it keeps its clearance, and the search for the least.

Everything that moves does so by one turn about an upright axis or about the feed, and one way along the feed, as seen from
what owns the solid. Tube is sampled in cells of its length and of the motion's time; a cell whose midpoint is farther away
than any point of it can travel is clear, a midpoint that is too near is a strike, and what is neither is sampled more
finely. The tube's ends are flat.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.plan.brute_force.solids import TAIL, Solid, distances
from tests.plan.brute_force.tube import Array, Tube, bowed

Ints = NDArray[np.int64]

CLEAR, UNSURE, STRUCK = 0, 1, 2
"""Verdicts; the worst of several is the greatest, the best the least."""

SURELY_CLEAR, SURELY_STRUCK, FINEST = 0.15, -0.15, 0.12
"""Margins from which on a check is decided [mm], and how fine the sampling gets [mm]. A planner that calls a strike only
what is 0.1 mm too near, and clear only what is not, can contradict neither."""

MOST_CELLS = 40_000
"""Cells a check may cost before it is given up as unsure."""


class Motion(NamedTuple):
    """From t = 0 to 1: a turn [rad] about the feed ("x") or about an upright axis through (x, y), then a way along x and y.

    first: the time from which on it counts.
    """

    axis: str = "z"
    turn: float = 0.0
    way: float = 0.0
    x: float = 0.0
    y: float = 0.0
    first: float = 0.0
    aside: float = 0.0


STILL = Motion()


class Row(NamedTuple):
    """One piece against one solid: pieces [lo, length], numbers, need at the start and its change, the checks it is of."""

    piece: tuple[Array, Array, Array, float, float, float]  # start, along, inward, curvature, lo, length
    motion: Motion
    solid: Solid
    need: tuple[float, float]
    check: int


@dataclass
class Checks:
    """Named checks of pieces against solids, judged together. radius: the tube's [mm]."""

    radius: float
    rows: list[Row] = field(default_factory=list)
    names: dict[Hashable, int] = field(default_factory=dict)

    def add(
        self, name: Hashable, tube: Tube, solids: Iterable[Solid], need: tuple[float, float] | float,
        motion: Motion = STILL, cut: float = 0.0,
    ) -> None:  # fmt: skip
        """Check pieces against solids over a motion. cut: only what lies farther than this along each piece counts."""
        check = self.names.setdefault(name, len(self.names))
        needs = need if isinstance(need, tuple) else (need, 0.0)
        for i in range(len(tube.length)):
            piece = (tube.start[i], tube.along[i], tube.inward[i], float(tube.curvature[i]), cut, float(tube.length[i]))
            if cut < tube.length[i] - 1e-9:
                self.rows.extend(Row(piece, motion, solid, needs, check) for solid in solids)

    def verdicts(self) -> dict[Hashable, int]:
        """Each check's verdict."""
        found = _Search(self, exact=False)
        found.run()
        return {name: int(found.verdict[number]) for name, number in self.names.items()}

    def least(self) -> dict[Hashable, float]:
        """Each check's least margin, clearance less need, to about 0.1 mm."""
        found = _Search(self, exact=True)
        found.run()
        return {name: float(found.margin[number]) for name, number in self.names.items()}


class _Cells(NamedTuple):
    row: Ints
    s: Array
    ds: Array
    t: Array
    dt: Array

    def take(self, keep: NDArray[np.bool_] | Ints) -> _Cells:
        return _Cells(self.row[keep], self.s[keep], self.ds[keep], self.t[keep], self.dt[keep])


RIM = [(rho, beta) for rho, count in ((1.0, 24), (0.5, 8), (0.0, 1)) for beta in 2.0 * np.pi * np.arange(count) / count]
"""Points of a flat cross-section: share of the radius and angle."""
RIM_GAP = 0.0086
"""How much nearer the rim comes between two of them, as a share of the radius: 1 − cos(π/24)."""


class _Search:
    def __init__(self, checks: Checks, exact: bool) -> None:
        rows, self.radius, self.exact = checks.rows, checks.radius, exact
        self.start, self.along, self.inward = (np.array([r.piece[k] for r in rows]).reshape(-1, 3) for k in range(3))
        self.curvature, self.lo, self.length = (np.array([r.piece[k] for r in rows]) for k in (3, 4, 5))
        self.about_z = np.array([r.motion.axis == "z" for r in rows])
        self.turn, self.way, self.cx, self.cy, self.first, self.aside = (
            np.array([r.motion[k] for r in rows], dtype=float) for k in range(1, 7)
        )
        self.kind = np.array([r.solid.kind for r in rows], dtype=np.int64)
        self.p = np.zeros((len(rows), 8))
        for k, r in enumerate(rows):
            self.p[k, : len(r.solid.numbers)] = r.solid.numbers
        self.need, self.more = (np.array([r.need[k] for r in rows]) for k in (0, 1))
        # What else lets a margin shrink over the motion: the way, the need, a tail's end that comes or goes.
        self.other = (
            np.hypot(self.way, self.aside) + np.abs(self.more) + np.where(self.kind == TAIL, np.abs(self.p[:, 1]), 0.0)
        )
        self.check = np.array([r.check for r in rows], dtype=np.int64)
        count = len(checks.names)
        self.verdict, self.margin = np.zeros(count, dtype=np.int64), np.full(count, np.inf)
        self.spent = np.zeros(count, dtype=np.int64)

    def run(self) -> None:
        if not self.check.size:
            return
        row = np.arange(self.check.size)
        ends, moves = (self.lo, self.length), (self.turn != 0.0) | (self.other != 0.0)
        first = np.where(moves, self.first, 1.0)
        cells = _Cells(row, (ends[0] + ends[1]) / 2, (ends[1] - ends[0]) / 2, (first + 1.0) / 2, (1.0 - first) / 2)
        while cells.row.size:
            cells = self._split(*self._judged(cells))

    def _judged(self, cells: _Cells) -> tuple[_Cells, Array]:
        """Look at every cell; return those that must be looked at more closely, and what each loses along t."""
        row = cells.row
        at, radial = self._placed(cells, np.zeros((1, 3)))
        speed = np.abs(self.turn[row]) * radial[:, 0] + self.other[row]
        loss_t = speed * cells.dt
        need = self.need[row] + self.more[row] * cells.t
        margin = self._far(row, at, cells.t)[:, 0] - self.radius - need
        lower = margin - cells.ds - loss_t
        enough = SURELY_CLEAR if not self.exact else np.inf
        ends = np.minimum(cells.s - self.lo[row], self.length[row] - cells.s) < self.radius
        near = np.flatnonzero(ends & (lower < enough))
        margin[ends] = np.inf
        if near.size:
            some = cells.take(near)
            flat, spin = self._flat(some, need[near])
            margin[near] = flat
            turned = self.radius * (np.abs(self.turn[some.row]) * some.dt + self.curvature[some.row] * some.ds)
            spare = some.ds + loss_t[near] + np.where(spin, turned, self.radius * self.curvature[some.row] * some.ds)
            lower[near] = np.maximum(lower[near], flat - RIM_GAP * self.radius - spare)
        np.minimum.at(self.margin, self.check[row], margin)
        if self.exact:
            open_ = (lower < self.margin[self.check[row]] - 0.05) & (cells.ds + loss_t > 0.05)
            return cells.take(open_), loss_t[open_]
        np.maximum.at(self.verdict, self.check[row], np.where(margin < SURELY_STRUCK, STRUCK, CLEAR))
        open_ = lower < enough
        np.add.at(self.spent, self.check[row], 1)
        give_up = open_ & ((cells.ds + loss_t < FINEST) | (self.spent[self.check[row]] > MOST_CELLS))
        np.maximum.at(self.verdict, self.check[row[give_up]], UNSURE)
        # Once a check is unsure for its cells' number, the rest of it cannot be afforded either.
        open_ &= ~give_up & (self.verdict[self.check[row]] != STRUCK)
        return cells.take(open_), loss_t[open_]

    def _split(self, cells: _Cells, loss_t: Array) -> _Cells:
        """Cut cells in four: along what takes the more off, or once along each."""
        by_s, by_t = np.full(cells.row.size, 2), np.full(cells.row.size, 2)
        by_s[cells.ds > 2.0 * loss_t], by_t[cells.ds > 2.0 * loss_t] = 4, 1
        by_s[loss_t > 2.0 * cells.ds], by_t[loss_t > 2.0 * cells.ds] = 1, 4
        parts = []
        for k in range(4):
            i, j = (
                np.where(by_s == 4, k, np.where(by_s == 2, k % 2, 0)),
                np.where(by_t == 4, k, np.where(by_t == 2, k // 2, 0)),
            )
            ds, dt = cells.ds / by_s, cells.dt / by_t
            parts.append(
                (cells.row, cells.s - cells.ds + (2 * i + 1) * ds, ds, cells.t - cells.dt + (2 * j + 1) * dt, dt)
            )
        row, s, ds, t, dt = (np.concatenate(column) for column in zip(*parts, strict=True))
        return _Cells(np.asarray(row, dtype=np.int64), s, ds, t, dt)

    def _placed(self, cells: _Cells, off: Array) -> tuple[Array, Array]:
        """Points (k, m, 3) off the centreline by (k or 1, m, 3) as their solids see them, and their radii of turning."""
        row = cells.row
        x = bowed(self.start[row], self.along[row], self.inward[row], self.curvature[row][:, None], cells.s[:, None])
        x = x[:, None, :] + off
        angle = (self.turn[row] * cells.t)[:, None]
        c, s, z = np.cos(angle), np.sin(angle), self.about_z[row][:, None]
        first = np.where(z, x[..., 0] - self.cx[row][:, None], x[..., 1])
        second = np.where(z, x[..., 1] - self.cy[row][:, None], x[..., 2])
        turned = (c * first - s * second, s * first + c * second)
        out = np.empty(np.broadcast_shapes(x.shape, (*first.shape, 3)))
        out[..., 0] = np.where(z, turned[0] + self.cx[row][:, None], x[..., 0]) + (self.way[row] * cells.t)[:, None]
        out[..., 1] = np.where(z, turned[1] + self.cy[row][:, None], turned[0]) + (self.aside[row] * cells.t)[:, None]
        out[..., 2] = np.where(z, x[..., 2], turned[1])
        return out, np.hypot(first, second)

    def _far(self, row: Ints, at: Array, t: Array) -> Array:
        """Distances (k, m) of points (k, m, 3) to the rows' solids."""
        out = np.empty(at.shape[:2])
        kinds = self.kind[row]
        for kind in np.flatnonzero(np.bincount(kinds)):
            here = np.flatnonzero(kinds == kind)
            out[here] = distances(int(kind), self.p[row[here]][:, None, :], at[here], t[here][:, None])
        return out

    def _flat(self, cells: _Cells, need: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Margins of the flat cross-sections at the cells' midpoints, and whether the motion turns them."""
        row = cells.row
        angle = (self.curvature[row] * cells.s)[:, None]
        along, inward = self.along[row], self.inward[row]
        aside = inward * np.cos(angle) - along * np.sin(angle)
        across = np.cross(along, inward)
        rim = np.array([(rho * math.cos(beta), rho * math.sin(beta)) for rho, beta in RIM]) * self.radius
        off = rim[None, :, :1] * aside[:, None, :] + rim[None, :, 1:] * across[:, None, :]
        at, _ = self._placed(cells, off)
        far = self._far(row, at, cells.t)
        return far.min(axis=1) - need, self.turn[row] != 0.0
