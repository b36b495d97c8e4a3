"""A bent tube among solids, sampled densely: the brute force's own kinematics, distances and search for the least gap.

Written anew, with nothing of the program. Everything that moves does so by one turn about an upright axis or about the
feed, and one way along the feed, as seen from what owns the solid. Tube is sampled in cells of its length and of the
motion's time; a cell whose midpoint is farther away than any point of it can travel is clear, a midpoint that is too
near is a strike, and what is neither is sampled more finely. The tube's ends are flat.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
End = Literal["A", "B"]

CLEAR, UNSURE, STRUCK = 0, 1, 2
"""Verdicts; the worst of several is the greatest, the best the least."""

SURELY_CLEAR, SURELY_STRUCK, FINEST = 0.15, -0.15, 0.12
"""Margins from which on a check is decided [mm], and how fine the sampling gets [mm]. A planner that calls a strike only
what is 0.1 mm too near, and clear only what is not, can contradict neither."""

MOST_CELLS = 40_000
"""Cells a check may cost before it is given up as unsure."""

FLOOR, BOX, POST, BLOCK, DIE, TAIL = range(6)


class Solid(NamedTuple):
    """A solid by its kind's numbers [mm].

    FLOOR: height; BOX: smallest and largest corner; POST: x, y, radius, lowest and highest z; BLOCK: from x, to x, side of
    the feed (±1), its face's distance from the feed, width, half height, radius of the bore in the face; DIE: y of its
    axis, groove's radius about it, half height, radius of the bore; TAIL: length at the start, its change, radius.
    """

    kind: int
    numbers: tuple[float, ...]


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


@dataclass(frozen=True)
class Tube:
    """m pieces of centreline: x(s) = start + along·sin(κs)/κ + inward·(1 − cos(κs))/κ for 0 ≤ s ≤ length [mm]."""

    start: Array  # (m, 3)
    along: Array
    inward: Array
    curvature: Array  # (m,), 0: straight
    length: Array

    def take(self, which: Sequence[int] | slice) -> Tube:
        return Tube(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    @property
    def total(self) -> float:
        return float(self.length.sum())

    def moved(self, shift: float = 0.0, roll: float = 0.0, swing: float = 0.0, axis_y: float = 0.0) -> Tube:
        """Rolled about the feed, swung about the upright axis at (0, axis_y), then shifted along the feed."""
        roller, swinger = rotation("x", roll), rotation("z", swing)
        off = np.array([0.0, axis_y, 0.0])
        matrix = swinger @ roller
        start = (self.start @ roller.T - off) @ swinger.T + off + [shift, 0.0, 0.0]
        return Tube(start, self.along @ matrix.T, self.inward @ matrix.T, self.curvature, self.length)

    def points(self, spacing: float) -> tuple[Array, Array, Array]:
        """Points (k, 3) in the middle of chunks no longer than `spacing`, half the chunks' lengths, numbers of pieces."""
        out, half, number = [], [], []
        for i in range(len(self.length)):
            count = max(1, math.ceil(float(self.length[i]) / spacing))
            s = (np.arange(count) + 0.5) * float(self.length[i]) / count
            out.append(bowed(self.start[i], self.along[i], self.inward[i], self.curvature[i], s[:, None]))
            half.append(np.full(count, float(self.length[i]) / count / 2.0))
            number.append(np.full(count, i, dtype=np.int64))
        return np.concatenate(out), np.concatenate(half), np.concatenate(number)


def bowed(start: Array, along: Array, inward: Array, curvature: Array | float, s: Array) -> Array:
    """Points at arc lengths s; everything is broadcast."""
    bent = np.asarray(curvature) > 0.0
    divisor = np.where(bent, curvature, 1.0)
    angle = np.where(bent, divisor * s, 0.0)
    ahead, aside = np.where(bent, np.sin(angle) / divisor, s), np.where(bent, (1.0 - np.cos(angle)) / divisor, 0.0)
    return np.asarray(start + along * ahead + inward * aside)


def rotation(axis: str, angle: float) -> Array:
    """The right-handed matrix about the x or z axis."""
    c, s = math.cos(angle), math.sin(angle)
    rows = [[1, 0, 0], [0, c, -s], [0, s, c]] if axis == "x" else [[c, -s, 0], [s, c, 0], [0, 0, 1]]
    return np.array(rows, dtype=float)


def walked(items: Iterable[tuple[str, float, float]], side: float) -> Tube:
    """The tube walked from the tangent point along +x: ("straight", length, 0), ("arc", radius, angle), ("roll", angle, 0).

    side: where the first arc curls to, +1 for +y. A roll turns the plane right-handed about the way the walk goes.
    """
    at, frame = np.zeros(3), np.diag([1.0, side, side])  # columns: along, inward, their cross product
    rows: list[tuple[Array, Array, Array, float, float]] = []
    for what, first, second in items:
        if what == "roll":
            frame = frame @ rotation("x", first)
        elif what == "straight":
            if first > 1e-9:
                rows.append((at, frame[:, 0], frame[:, 1], 0.0, first))
            at = at + first * frame[:, 0]
        else:
            rows.append((at, frame[:, 0], frame[:, 1], 1.0 / first, first * second))
            at = at + frame @ (first * np.array([math.sin(second), 1.0 - math.cos(second), 0.0]))
            frame = frame @ rotation("z", second)
    start, along, inward = (np.array([row[k] for row in rows], dtype=float).reshape(-1, 3) for k in range(3))
    return Tube(start, along, inward, *(np.array([row[k] for row in rows], dtype=float) for k in (3, 4)))


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
    end = -(p[..., 0] + p[..., 1] * t)
    return np.asarray(
        np.sqrt((x[..., 0] - np.clip(x[..., 0], end, 0.0)) ** 2 + x[..., 1] ** 2 + x[..., 2] ** 2) - p[..., 2]
    )


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


def swept(boxes: list[Solid], way: float) -> list[Solid]:
    """Boxes swept forward along the feed."""
    return [Solid(BOX, (*p[:3], p[3] + way, *p[4:])) for _, p in boxes]


@dataclass(frozen=True)
class View:
    """A part counted from its leading end: straights (n + 1) [mm], rotations, angles, settings (n) [rad], radius [mm]."""

    straights: list[float]
    rotations: list[float]
    angles: list[float]
    settings: list[float]
    radius: float

    @cached_property
    def starts(self) -> list[float]:
        """Stock coordinates of the tangent points nearer the leading end [mm]."""
        arcs = [self.radius * angle for angle in self.angles]
        return [sum(self.straights[: i + 1]) + sum(arcs[:i]) for i in range(len(arcs))]

    @cached_property
    def ends(self) -> list[float]:
        return [start + self.radius * angle for start, angle in zip(self.starts, self.angles, strict=True)]

    @cached_property
    def swings(self) -> list[float]:
        """Stock coordinates at the tangent point when the swings end [mm]."""
        return [start + self.radius * setting for start, setting in zip(self.starts, self.settings, strict=True)]

    @cached_property
    def length(self) -> float:
        return sum(self.straights) + self.radius * sum(self.angles)

    def ahead_of(self, bend: int, first: int, trim: float) -> list[tuple[str, float, float]]:
        """What lies ahead of a bend's tangent point with the bends from `first` on formed, from the bend's plane on."""
        items: list[tuple[str, float, float]] = []
        for i in range(bend - 1, first - 1, -1):
            items.append(("straight", self.straights[i], 0.0))
            items += [("roll", self.rotations[i], 0.0), ("arc", self.radius, self.angles[i - 1])]
        return [*items, ("straight", self.starts[first - 1] + trim, 0.0)]


def own_gap(view: View, radius: float) -> float:
    """The least gap of the finished tube to itself between places with a right angle or more of bend between them."""
    n = len(view.angles)
    last = [("straight", view.straights[n], 0.0), ("arc", view.radius, view.angles[-1])]
    tube = walked([*last, *view.ahead_of(n, 1, 0.0)], 1.0)
    points, half, number = tube.points(6.0)
    bent = np.cumsum(2.0 * half * tube.curvature[number])
    apart = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2)) - half[:, None] - half[None]
    return float(np.min(apart, where=bent[None] - bent[:, None] >= math.pi / 2.0, initial=np.inf)) - 2.0 * radius
