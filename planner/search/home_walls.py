"""Proofs that the arm cannot go home past a tube: at one of its angles something is struck at every advance.

However arm and tube take turns, or go together, the arm passes every angle on its way home, at some advance of the
tube. Where at one angle each advance has a strike, deep enough to reach to the next, it does not. A strike against
something that stands whatever the arm does ends the span: the tube comes no farther. So does one of the straight that
has come out of the die, which only grows. Samples propose; each strike that they lead to is evaluated for itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from planner.clearance.bounds import bounds, to_end
from planner.clearance.certify import witness_at
from planner.clearance.distances import evaluate
from planner.clearance.poses import Cells, pose
from planner.clearance.rows import EVERY_CLAMP, Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.search.attempt import Attempt
from planner.search.recall import rows_like
from planner.search.walls import LEAST_STEP, OVERLAP, Strike, Wall, in_no_way_home, moves_by_itself
from planner.tolerances import STRIKE_MARGIN
from planner.tube import motions
from planner.tube.bodies import Motion, Role
from planner.tube.frames import Array, Ints

SHARES = (0.5, 0.35, 0.65, 0.25, 0.75, 0.15, 0.85)
"""Angles of the arm that are looked at, as shares of the setting: most often one about the middle is shut."""

COARSE, FINE = 25.0, 5.0
"""Distances of samples along the tube and of its advance [mm], first to see whether a wall may be there."""

MOST_ADVANCES = 600
"""Advances that are looked at; what needs more is not walled."""


@dataclass(frozen=True)
class _Samples:
    """How deep a tube strikes with the arm at an angle, at each of some advances (T,) [mm].

    depth (T,): the deepest against what turns with the arm [mm], with its row (T,) and arc length s (T,) [mm];
    ends_at: the least advance from which on nothing has to be covered [mm], infinite where there is none; ended_by: its
    row, s, and whether what is struck stands whatever the arm does.
    """

    advances: Array
    depth: Array
    row: Ints
    s: Array
    ends_at: float
    ended_by: tuple[int, float, bool] | None

    def covering(self, farthest: float) -> list[int] | None:
        """Return the advances whose strikes cover all up to the end, None where they do not."""
        end, place, chosen = min(self.ends_at, farthest), 0.0, list[int]()
        first, last = self.advances - self.depth, self.advances + self.depth
        while place < end or not chosen:
            reach = np.where((self.depth >= LEAST_STEP) & (first <= place), last, -np.inf)
            k = int(reach.argmax())
            if reach[k] <= place + OVERLAP:
                return chosen if chosen and place >= end else None
            chosen.append(k)
            place = float(reach[k]) - OVERLAP
        return chosen


class _Passing:
    """A tube past an arm that stands at one angle [rad], at every advance up to `farthest` [mm]."""

    def __init__(
        self, attempt: Attempt, around: Surroundings, clamp: int, arm: float, farthest: float, stays_in: bool
    ) -> None:
        self.attempt, self.around, self.clamp, self.arm, self.farthest = attempt, around, clamp, arm, farthest
        self.stays_in = stays_in
        self.standing = attempt.standing.opened(None)
        self.rows = self._held(rows_of([self._at((0.0, farthest))], around, [attempt.clamps]))
        self.by_itself = moves_by_itself(self.rows, around.machine)
        self.fed = np.array([role is Role.FIRST for role in self.rows.roles], dtype=bool)[self.rows.piece]

    def _at(self, y: tuple[float, float]) -> Motion:
        return motions.homing(self.standing, (self.arm, self.arm), y)

    def _held(self, rows: Rows) -> Rows:
        """Return the rows that prove something with the clamp that is in the machine."""
        elsewhere = in_no_way_home(rows, self.around.machine)
        return rows.take(~elsewhere & ((rows.clamp == EVERY_CLAMP) | (rows.clamp == self.clamp)))

    def sampled(self, step: float, until: float) -> _Samples:
        """Return how deep the tube strikes, sampled at distances of `step` along it and of its advance [mm].

        until: the advance up to which it is looked at [mm].
        """
        rows, count = self.rows, min(math.ceil(until / step) + 1, MOST_ADVANCES)
        advances = np.linspace(0.0, until, count)
        low, high = rows.pieces[10, rows.piece], rows.pieces[11, rows.piece]
        many = np.clip(np.ceil((high - low) / step).astype(np.int64) + 1, 2, 200)
        row = np.repeat(np.arange(rows.count), many)
        place = np.arange(row.size) - np.repeat(np.cumsum(many) - many, many)
        s = low[row] + (high - low)[row] * place / (many - 1)[row]
        depth = self._depths(row, s, advances)
        fed, moves = self.fed[row], self.by_itself[row]
        on_arm = np.where((moves & ~fed)[:, None], depth, -np.inf)
        at = on_arm.argmax(axis=0)
        ends_at, ended_by = math.inf, None
        ends = np.where(fed[:, None], np.where(advances >= s[:, None], depth, -np.inf), depth)
        ends = np.where(((fed & self.stays_in) | ~moves)[:, None], ends, -np.inf)
        struck = np.flatnonzero((ends > LEAST_STEP).any(axis=0))
        if struck.size:
            first = int(struck[0])
            k = int(ends[:, first].argmax())
            ends_at, ended_by = float(advances[first]), (int(row[k]), float(s[k]), not bool(moves[k]))
        columns = np.arange(count)
        return _Samples(advances, on_arm[at, columns], row[at], s[at], ends_at, ended_by)

    def _depths(self, row: Ints, s: Array, advances: Array) -> Array:
        """Return how deep points (N,) of rows are at advances (T,): (N, T) [mm]; those near a piece's end do not count.

        With the arm standing nothing turns: seen from each solid the tube goes straight along the feed.
        """
        rows, still = self.rows, np.zeros_like(s)
        start = pose(rows, row, s, still).x
        way = rows.blocks[7:10, rows.block[row]] / max(self.farthest, 1e-9)
        x = (start[:, :, None] + way[:, :, None] * advances).reshape(3, -1)
        which = np.repeat(rows.solid[row], advances.size)
        exact, _, _ = evaluate(rows.kind[which], x, rows.parameters[:, which])
        needed = rows.needed[row] - rows.spread[row] - STRIKE_MARGIN + rows.radius
        inner = (to_end(rows, Cells(row, s, still, still, still)) >= rows.radius) | self.fed[row]
        return np.asarray(np.where(inner, needed, -np.inf)[:, None] - exact.reshape(row.size, advances.size))

    def strike(self, y: float, row: int, s: float, stands: bool = False) -> Strike | None:
        """Return the strike of a sampled point with the tube at an advance [mm], None if it is none there.

        stands: against something that stands whatever the arm does.
        """
        at_home = motions.advance(self.standing, (y, y), 0.0, False)
        motion = at_home if stands else self._at((y, y))
        rows = rows_of([motion], self.around, [self.attempt.clamps])
        witness = witness_at(self.rows, row, s, 0.0, 0.0)
        clamp = int(self.rows.clamp[row])
        for like in rows_like(rows, clamp, self.rows, witness):
            cells = Cells(*(np.array([x]) for x in (like, s, 0.0, 0.0, 0.0)))
            clearance = float(bounds(rows, cells).upper[0])
            depth = float(rows.needed[like] - rows.spread[like]) - STRIKE_MARGIN - clearance
            if depth > 0.0:
                found = witness_at(rows, like, s, 0.0, clearance)
                return Strike(depth, found, motion, None if clamp == EVERY_CLAMP else self.attempt.clamps[clamp])
        return None


def against_home(attempt: Attempt, around: Surroundings, clamp: int, farthest: float, stays_in: bool) -> Wall | None:
    """Return strikes that keep the arm from passing one angle at every advance up to `farthest` [mm], None if none do.

    farthest: 0 where the machine cannot run the tube forward before the arm is home: then it only stands where it is.
    clamp: the number of the clamp that is in the machine; stays_in: the tube stays in for its next bend. One that is
    taken off is drawn off past the standing arm unless something that stands is in its way.
    """
    if farthest < 0.0:
        return None
    for share in SHARES:
        passing = _Passing(attempt, around, clamp, attempt.station.setting * share, farthest, stays_in)
        rough = passing.sampled(COARSE, farthest)
        if not stays_in and rough.ended_by is None:
            return None  # nothing that stands keeps it from being drawn off past the arm
        shut = rough.advances < rough.ends_at
        if (rough.depth[shut] <= 0.0).any():
            continue
        wall = _wall(passing, passing.sampled(FINE, min(rough.ends_at, farthest)))
        if wall is not None:
            return wall
    return None


def _wall(passing: _Passing, samples: _Samples) -> Wall | None:
    """Return the wall that samples lead to, each of its strikes evaluated, None where one of them is none."""
    chosen = samples.covering(passing.farthest)
    if chosen is None or (samples.ended_by is None and not passing.stays_in):
        return None
    found = [passing.strike(float(samples.advances[k]), int(samples.row[k]), float(samples.s[k])) for k in chosen]
    if samples.ended_by is not None:
        row, s, stands = samples.ended_by
        found.append(passing.strike(samples.ends_at, row, s, stands))
    strikes = tuple(strike for strike in found if strike is not None)
    if len(strikes) < len(found):
        return None
    return Wall("home", strikes, (0.0, passing.farthest), arm=passing.arm, clamp=passing.clamp)
