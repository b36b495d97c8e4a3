"""Where a rigid tube can stand in the plane of advance and rotation: free, blocked and open cells.

A cell is a rectangle of advances y and rotations about the feed. It is

- free: the clearance that is needed is certified all over it, for every piece against every solid;
- blocked: some point of the tube stays nearer than needed all over it (the witness), so nothing passes through it;
- shut: the same by a solid that does not stand still whatever is chosen (what the carriage carries, a clamp that could
  be changed): nothing passes here, but that proves nothing;
- open: neither so far; it is split where it may matter, down to a finest size, and then left open for good.

Distances are 1-Lipschitz. Over a cell of half-widths (δy, δφ) a point of the tube moves by no more than
(ρ + r) δφ + δy from where it is at the midpoint, ρ its centreline's distance from the feed's axis and r the tube's
radius: a point nearer than needed by more than that stays nearer than needed. Against a convex solid the ends of the
way along the feed stand for all of it.

Paths lead over free cells from side to side; walls are sets of blocked cells that part the start from the goal.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from planner.clearance.bounds import Bounds, bounds, to_end
from planner.clearance.columns import GREATEST_S, LEAST_S
from planner.clearance.distances import Kind, evaluate
from planner.clearance.poses import Cells, pose
from planner.clearance.rectangles import CellState, Rectangles, Region, components, neighbours, together
from planner.clearance.rows import Rows
from planner.clearance.sections import against
from planner.deadline import in_time
from planner.tolerances import (
    FINEST_ADVANCE,
    FINEST_PIECE,
    FINEST_SWEEP,
    LEAST_ADVANCE,
    LEAST_TURN,
    MOST_EVALUATIONS,
    MOST_PLANE_CELLS,
    NO_LENGTH,
    STRIKE_MARGIN,
)
from planner.tube.frames import Array, Flags, Ints

COARSE_ADVANCE, COARSE_ROTATION = 250.0, np.pi / 4.0
"""Sides of the cells that are begun with [mm], [rad]."""

FEW = 200
"""Open cells up to so many are split all at once; of more, those on the most promising way."""

FOLLOWED = 2
"""Rounds for which the parts of a way's cells are split on before another way is looked for."""

WEIGHT_FREE, WEIGHT_LEFT = 0.01, 1e6
"""What a free cell, and one that is left open, count on a way to the goal, an open one counting 1."""

MOST_PARTS = 8
"""Parts into which a piece is cut at most at once within a cell."""


@dataclass(frozen=True)
class Field:
    """What a plane is cut for.

    rows: the tube turning about the feed from the first to the last of `rolls` [rad] at an advance of 0, t from 0 to 1;
    y: least and greatest advance [mm]; goes_round: the first and the last roll are the same place; along (N,): how far
    the piece of a row moves along the feed, seen from its solid, for each mm of advance; proves (N,): a strike in the
    row holds whatever else is chosen.
    """

    rows: Rows
    y: tuple[float, float]
    rolls: tuple[float, float]
    goes_round: bool
    along: Array
    proves: Flags


@dataclass(frozen=True)
class Cut:
    """The plane as far as it was cut.

    joined: free cells join a start to a goal; closed: nothing passes, be it by what proves nothing; parted: by a wall
    that proves it.
    """

    cells: Rectangles
    joined: bool
    closed: bool
    parted: bool
    evaluations: int


def cut(field: Field, starts: Iterable[Region], goals: Iterable[Region], for_proof: bool = False) -> Cut:
    """Cut the plane until free cells join a start to a goal, blocked ones part them, or there is nothing to split.

    for_proof: only what proves is looked at, so that a cell is called free where the rest may still strike.
    """
    low, high = field.y
    first, last = field.rolls
    # A plane of no width would have no sides to share; a wider one only lets more ways through.
    wide = replace(field, y=(low, max(high, low + LEAST_ADVANCE)), rolls=(first, max(last, first + LEAST_TURN)))
    return _Cutting(wide, tuple(starts), tuple(goals), for_proof).run()


class _Cutting:
    """The cells and, in each one that is open, what is not settled: pairs of a cell and a stretch of a piece."""

    def __init__(
        self, field: Field, starts: tuple[Region, ...], goals: tuple[Region, ...], for_proof: bool = False
    ) -> None:
        self.field, self.starts, self.goals = field, starts, goals
        self.rows, self.turn = field.rows, field.rolls[1] - field.rolls[0]
        self.needed = field.rows.needed
        self.evaluations = 0
        self.cells = _coarse(field)
        self.sweep = _farthest(field.rows) + field.rows.radius
        table = field.rows.pieces[:, field.rows.piece]
        rows = np.flatnonzero((table[GREATEST_S] - table[LEAST_S] > NO_LENGTH) & (field.proves | (not for_proof)))
        self.cell = np.repeat(np.arange(self.cells.count), rows.size)
        self.row = np.tile(rows, self.cells.count)
        low, high = table[LEAST_S, self.row], table[GREATEST_S, self.row]
        self.s, self.ds = (low + high) / 2.0, (high - low) / 2.0
        self.effect = np.zeros((3, self.row.size))  # what cutting the piece, the rotation and the advance would gain
        self.new = np.ones(self.row.size, dtype=bool)
        self.followed, self.rounds = np.zeros(self.cells.count, dtype=bool), 0  # cells of the way that is split on

    def run(self) -> Cut:
        """Settle, look whether that decides it, split; over and over."""
        while True:
            self._settle()
            in_time()
            joined, passable = (
                self._between(CellState.FREE),
                self._between(CellState.FREE, CellState.OPEN, CellState.LEFT),
            )
            if joined.any() or not passable.any():
                parted = not joined.any() and not self._between(*(set(CellState) - {CellState.BLOCKED})).any()
                return Cut(self.cells, bool(joined.any()), not passable.any(), parted, self.evaluations)
            wanted = self._worth_splitting(passable)
            spent = self.evaluations > MOST_EVALUATIONS or self.cells.count > MOST_PLANE_CELLS
            if spent or not wanted.any() or not self._split(passable, wanted):
                return Cut(self.cells, False, False, False, self.evaluations)

    def _worth_splitting(self, passable: Flags) -> Flags:
        """Return the open cells to split: all while there are few, then those on the most promising way to the goal.

        Where every way leads through a cell that is left open for good, those that may still close the rest of it.
        """
        state = self.cells.state
        open_ = np.asarray(passable & (state == CellState.OPEN))
        if np.count_nonzero(open_) <= FEW:
            return open_
        followed = open_ & self.followed
        self.rounds += 1
        if self.rounds <= FOLLOWED and followed.any():
            return followed
        import networkx as nx

        graph = neighbours(self.cells, passable, self.field.goes_round)
        weight = np.where(state == CellState.FREE, WEIGHT_FREE, np.where(state == CellState.LEFT, WEIGHT_LEFT, 1.0))
        starts, goals = self._at(self.starts) & passable, self._at(self.goals) & passable
        graph.add_edges_from(("start", int(k)) for k in np.flatnonzero(starts))
        graph.add_edges_from((int(k), "goal") for k in np.flatnonzero(goals))

        def entered(_: object, to: object, __: object) -> float:
            return float(weight[to]) if isinstance(to, int) else 0.0

        way = np.array(nx.dijkstra_path(graph, "start", "goal", weight=entered)[1:-1], dtype=np.int64)
        wanted = np.zeros(self.cells.count, dtype=bool)
        wanted[way] = open_[way]
        self.followed, self.rounds = wanted, 0
        return wanted

    def _between(self, *states: CellState) -> Flags:
        """Return the cells in one of these states that join a start to a goal through cells in these states."""
        asked = np.zeros(len(CellState), dtype=bool)
        asked[[int(state) for state in states]] = True
        inside = asked[self.cells.state]
        label = components(self.cells, inside, self.field.goes_round)
        begun, ended = (np.zeros(self.cells.count, dtype=bool) for _ in range(2))
        begun[label[self._at(self.starts) & inside]] = True
        ended[label[self._at(self.goals) & inside]] = True
        return np.asarray(inside & (begun & ended)[label])

    def _at(self, regions: tuple[Region, ...]) -> Flags:
        touched = np.zeros(self.cells.count, dtype=bool)
        for region in regions:
            touched |= self.cells.touches(region)
        return touched

    def _settle(self) -> None:
        """Evaluate the pairs that are new; a cell without any pair is free, one where a point stays struck is not."""
        cells, rows = self.cells, self.rows
        new = np.flatnonzero(self.new)
        if not new.size:
            return
        at, row, s = self.cell[new], self.row[new], self.s[new]
        needed, along = self.needed[row], self.field.along[row]
        t = (cells.roll[at] - self.field.rolls[0]) / self.turn
        shift, dshift = cells.y[at] * along, cells.dy[at] * np.abs(along)
        pairs = Cells(row, s, self.ds[new], t, cells.droll[at] / abs(self.turn), shift, dshift)
        found = bounds(rows, pairs, needed)
        self.evaluations += new.size
        depth = needed - rows.spread[row] - STRIKE_MARGIN - self._at_most(pairs, found.upper, cells.droll[at])
        proves = self.field.proves[row]
        self._note(pairs, at, np.flatnonzero((depth > 0.0) & ~proves), found, CellState.SHUT)
        self._note(pairs, at, np.flatnonzero((depth > 0.0) & proves), found, CellState.BLOCKED)
        self._keep(new, found, found.lower < needed)
        unsettled = np.zeros(cells.count, dtype=bool)
        unsettled[self.cell] = True
        seen = np.zeros(cells.count, dtype=bool)
        seen[at] = True
        cells.state[seen & ~unsettled & (cells.state == CellState.OPEN)] = CellState.FREE
        self._select(cells.state[self.cell] == CellState.OPEN)

    def _at_most(self, pairs: Cells, upper: Array, droll: Array) -> Array:
        """Return what the clearance of the midpoints' tube is at most, all over their cells [mm].

        Along the feed the distance to a convex solid is a convex function: it is greatest at one of the ends, for the
        sphere about the centreline and, near a piece's end, for the point of the rim that faces the solid. Elsewhere a
        point that moves by so much gets no farther off than that.
        """
        rows = self.rows
        assert pairs.shift is not None  # the pairs of a plane have both
        assert pairs.dshift is not None
        posed = pose(rows, pairs.row, pairs.s, pairs.t, pairs.shift)
        turned = (np.hypot(posed.x[1], posed.x[2]) + rows.radius) * droll
        most = upper + pairs.dshift
        which = rows.solid[pairs.row]
        kind = rows.kind[which]
        convex = (kind != Kind.DIE) & (kind != Kind.BORED_BLOCK)
        at = np.flatnonzero(convex & (pairs.dshift > 0.0) & np.isfinite(upper))
        if at.size:
            kind, parameters = kind[at], rows.parameters[:, which[at]]
            x, rim = posed.x[:, at], to_end(rows, pairs)[at] < rows.radius
            _, _, g = evaluate(kind, x, parameters)
            x = x - np.where(rim, rows.radius, 0.0) * against(g, posed.tangent[:, at])
            way = np.stack((pairs.dshift[at], np.zeros(at.size), np.zeros(at.size)))
            ends = [evaluate(kind, x + sign * way, parameters)[0] for sign in (-1.0, 1.0)]
            most[at] = np.minimum(most[at], np.maximum(*ends) - np.where(rim, 0.0, rows.radius))
        return np.asarray(most + turned)

    def _note(self, pairs: Cells, at: Ints, hits: Ints, found: Bounds, state: CellState) -> None:
        """Mark the cells of some pairs, each with the witness that comes nearest."""
        worst_last = hits[np.argsort(-found.upper[hits], kind="stable")]
        cell = at[worst_last]
        self.cells.state[cell] = state
        self.cells.witness[:, cell] = np.stack((pairs.row[worst_last], pairs.s[worst_last], found.upper[worst_last]))

    def _keep(self, new: Ints, found: Bounds, left: Flags) -> None:
        """Drop the new pairs that are settled; note of the others what cutting them would gain, 0 where it is fine."""
        cell, row = self.cell[new], self.row[new]
        sweep = self.sweep[row] * self.cells.droll[cell]
        advance = np.abs(self.field.along[row]) * self.cells.dy[cell]
        coarse = np.stack((self.ds[new] > FINEST_PIECE, sweep > FINEST_SWEEP, advance > FINEST_ADVANCE))
        self.effect[:, new] = np.where(coarse, np.maximum(found.along, NO_LENGTH), 0.0)
        self.new[:] = False
        keep = np.ones(self.cell.size, dtype=bool)
        keep[new] = left
        self._select(keep)

    def _split(self, passable: Flags, wanted: Flags) -> bool:
        """Cut the wanted cells and the pieces in them; say whether anything was cut.

        What cannot matter any more, or is fine enough, is left open for good; what is not wanted now waits.
        """
        over = ~passable
        over[self.cell[self.effect.max(axis=0, initial=0.0) <= 0.0]] = True
        self.cells.state[over & (self.cells.state == CellState.OPEN)] = CellState.LEFT
        self._select(~over[self.cell])
        self.new = (wanted & ~over)[self.cell]
        by_piece = self.effect.argmax(axis=0) == 0
        asks = np.zeros(self.cells.count, dtype=bool)
        asks[self.cell[self.new & ~by_piece]] = True
        self._cut_pieces(by_piece)
        self._cut_cells(asks)
        return bool(over.any() or self.new.any())

    def _select(self, keep: Flags) -> None:
        self.cell, self.row, self.s, self.ds = self.cell[keep], self.row[keep], self.s[keep], self.ds[keep]
        self.effect, self.new = self.effect[:, keep], self.new[keep]

    def _cut_pieces(self, by_piece: Flags) -> None:
        """Cut the new pairs that gain most by it along their piece, into as many parts as that is the larger gain."""
        others = np.maximum(self.effect[1:].max(axis=0, initial=0.0), 1.0)
        wanted = np.clip(np.ceil(self.effect[0] / others), 2, MOST_PARTS)
        parts = np.where(self.new & by_piece, wanted, 1).astype(np.int64)
        which = np.repeat(np.arange(self.cell.size), parts)
        place = np.arange(which.size) - np.repeat(np.cumsum(parts) - parts, parts)
        many = parts[which]
        self.s = self.s[which] + ((2.0 * place + 1.0) / many - 1.0) * self.ds[which]
        self.ds = self.ds[which] / many
        self.cell, self.row, self.new = self.cell[which], self.row[which], self.new[which]
        self.effect = self.effect[:, which]

    def _cut_cells(self, which: Flags) -> None:
        """Cut cells in two along what gains more; their pairs go on in both halves."""
        cells = self.cells
        gain = np.zeros((2, cells.count))
        for k in (0, 1):
            np.maximum.at(gain[k], self.cell, self.effect[k + 1])
        by_y = gain[1] > gain[0]
        chosen = np.flatnonzero(which)
        half_y = np.where(by_y[chosen], cells.dy[chosen] / 2.0, 0.0)
        half_roll = np.where(by_y[chosen], 0.0, cells.droll[chosen] / 2.0)
        part = cells.take(chosen)
        dy, droll = part.dy - half_y, part.droll - half_roll
        halves = [
            Rectangles(part.y + sign * half_y, dy, part.roll + sign * half_roll, droll, part.state, part.witness)
            for sign in (-1.0, 1.0)
        ]
        kept = np.flatnonzero(~which)
        number = np.full(cells.count, -1)
        number[kept] = np.arange(kept.size)
        first = np.full(cells.count, -1)
        first[chosen] = kept.size + np.arange(chosen.size)
        self.cells = together([cells.take(kept), *halves])
        self.followed = np.concatenate([self.followed[part] for part in (kept, chosen, chosen)])
        inside = which[self.cell]
        doubled = np.concatenate((first[self.cell[inside]], first[self.cell[inside]] + chosen.size))
        self.cell = np.concatenate((number[self.cell[~inside]], doubled))
        for name in ("row", "s", "ds", "new"):
            values = getattr(self, name)
            setattr(self, name, np.concatenate((values[~inside], values[inside], values[inside])))
        self.effect = np.concatenate((self.effect[:, ~inside], self.effect[:, inside], self.effect[:, inside]), axis=1)


def _coarse(field: Field) -> Rectangles:
    """Return the cells that are begun with."""
    low, high = field.y
    turn = field.rolls[1] - field.rolls[0]
    many = max(int(np.ceil((high - low) / COARSE_ADVANCE)), 1)
    turns = max(int(np.ceil(turn / COARSE_ROTATION)), 1)
    dy, droll = (high - low) / many / 2.0, turn / turns / 2.0
    places = low + dy * (2.0 * np.arange(many) + 1.0)
    y, roll = np.meshgrid(places, field.rolls[0] + droll * (2.0 * np.arange(turns) + 1.0))
    half_y, half_roll = np.full(y.size, dy), np.full(y.size, droll)
    state = np.zeros(y.size, dtype=np.int64)
    return Rectangles(y.ravel(), half_y, roll.ravel(), half_roll, state, np.full((3, y.size), np.nan))


def _farthest(rows: Rows) -> Array:
    """Return for every row how far its piece's centreline lies at most from the feed's axis [mm]."""
    table = rows.pieces[:, rows.piece]
    far = np.zeros(rows.count)
    for share in np.linspace(0.0, 1.0, 9):
        s = table[LEAST_S] + share * (table[GREATEST_S] - table[LEAST_S])
        x = pose(rows, np.arange(rows.count), s, np.zeros(rows.count)).x
        far = np.maximum(far, np.hypot(x[1], x[2]))
    return far
