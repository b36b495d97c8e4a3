"""The plane of arm and advance, sampled: how deep a tube lies in what it strikes while the arm stands at an angle.

Samples decide nothing: they lead to ways home that are certified (`home_ways`) and to strikes that are evaluated, each
for itself (`home_walls`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.clearance.bounds import bounds, to_end
from planner.clearance.columns import SPAN_S, WAY
from planner.clearance.distances import evaluate
from planner.clearance.poses import Cells, pose
from planner.clearance.rows import EVERY_CLAMP, Rows, rows_of
from planner.clearance.solids import Tool
from planner.clearance.surroundings import Surroundings
from planner.deadline import in_time
from planner.feasibility.bend_check import Bending
from planner.feasibility.out_of_the_way import in_no_way_home, moves_by_itself
from planner.tolerances import NO_LENGTH, STRIKE_MARGIN
from planner.tube import motions
from planner.tube.bodies import Motion, Role
from planner.tube.frames import Array, Flags, Ints

MOST_ADVANCES = 600
"""Advances that are looked at with the arm at one angle; what needs more is not looked into."""

MOST_ALONG = 200
"""Places that are looked at along one piece."""


APART = 50.0
"""Points and advances at which it is looked first which rows come near anything lie so far apart [mm]."""


@dataclass(frozen=True)
class Sampled:
    """How deep N points of the tube lie at T advances with the arm at one angle, −∞ where they prove nothing.

    advances (T,) [mm]; row, s (N,): the points; depth (N, T) [mm]; turns (N,): struck is what turns with the arm or
    otherwise moves by itself; fed (N,): of the straight that comes out of the die; axis (N, T): distance from the die
    axis [mm].
    """

    advances: Array
    row: Ints
    s: Array
    depth: Array
    turns: Flags
    fed: Flags
    axis: Array

    @cached_property
    def deepest(self) -> Array:
        """The greatest depth at each advance (T,) [mm]."""
        return np.asarray(self.depth.max(axis=0, initial=-np.inf))

    @cached_property
    def formed(self) -> Array:
        """The same without what comes out of the die: going back takes that away."""
        return np.asarray(np.where(self.fed[:, None], -np.inf, self.depth).max(axis=0, initial=-np.inf))

    def ends(self, fed: bool) -> float:
        """Return the least advance at which something that stands whatever the arm does is struck [mm], or by what has
        come out of the die (fed); infinite where there is none.
        """
        struck = (((self.fed & fed) | ~self.turns)[:, None] & (self.depth > 0.0)).any(axis=0)
        return float(self.advances[struck.argmax()]) if struck.any() else math.inf


class Passing:
    """A tube past an arm that stands at one angle [rad], at every advance up to `farthest` [mm], with one clamp.

    What the carriage carries has no part in it. rounded: a piece's ends count as if a sphere stood there, but for what
    may touch the groove that it lies in; else they do not count.
    """

    def __init__(
        self, attempt: Bending, around: Surroundings, clamp: int, arm: float, farthest: float, rounded: bool = False
    ) -> None:
        self.rounded = rounded
        self.attempt, self.around, self.clamp, self.arm, self.farthest = attempt, around, clamp, arm, farthest
        self.sag = around.machine.clearance.per_metre / 1000.0
        self.standing = attempt.standing.opened(None)
        self.rows = self._held(rows_of([self.motion((0.0, farthest))], around, [attempt.clamps]))
        if rounded:
            self.rows = self.rows.take(~_of_the_arc_on_the_rod(self.rows))
        self.by_itself = moves_by_itself(self.rows, around.machine)
        self.fed = np.array([role is Role.FIRST for role in self.rows.roles], dtype=bool)[self.rows.piece]

    def motion(self, y: tuple[float, float]) -> Motion:
        """Return the tube run from one advance to another [mm] past the arm that stands."""
        return motions.homing(self.standing, (self.arm, self.arm), y)

    def _held(self, rows: Rows) -> Rows:
        """Return the rows that prove something with the clamp that is in the machine."""
        elsewhere = in_no_way_home(rows, self.around.machine)
        return rows.take(~elsewhere & ((rows.clamp == EVERY_CLAMP) | (rows.clamp == self.clamp)))

    def sampled(self, step: float, until: float) -> Sampled:
        """Return how deep the tube lies up to an advance, sampled at distances of `step` [mm] of its advance."""
        return self.at(self.advances(step, until), step)

    @staticmethod
    def advances(step: float, until: float) -> Array:
        """Return advances from 0 up to one, `step` apart [mm], or farther where there would be too many."""
        count = 1 if until <= 0.0 else min(math.ceil(until / step) + 1, MOST_ADVANCES)
        return np.linspace(0.0, max(until, 0.0), count)

    def at(self, advances: Array, step: float) -> Sampled:
        """Return how deep the tube lies at some advances [mm], sampled at distances of `step` along it [mm]."""
        in_time()
        row, s = self._points(self._rows_near(advances), step)
        depth, axis = self._depths(row, s, advances, self.rounded & (self.rows.needed[row] >= 0.0))
        return self._sampled(advances, row, s, depth, axis)

    def exactly_at(self, y: float, step: float) -> Sampled:
        """Return the same at one advance [mm], the ends of pieces measured on their flat cross-sections."""
        in_time()
        advances = np.array([y])
        row, s = self._points(self._rows_near(advances), step)
        _, axis = self._depths(row, s, advances, np.zeros(row.size, dtype=bool))
        still, share = np.zeros_like(s), y / max(self.farthest, NO_LENGTH)
        found = bounds(self.rows, Cells(row, s, still, still + share, still)).upper
        needed = self.rows.needed[row] - (1.0 - share) * self.rows.spread[row] - STRIKE_MARGIN
        return self._sampled(advances, row, s, (needed - found)[:, None], axis)

    def _sampled(self, advances: Array, row: Ints, s: Array, depth: Array, axis: Array) -> Sampled:
        fed = self.fed[row]
        # What comes out of the die stands for all that passes on the way: it is there once the tube has gone so far.
        depth = np.where(fed[:, None] & (advances < s[:, None]), -np.inf, depth)
        return Sampled(advances, row, s, depth, self.by_itself[row], fed, axis)

    def _points(self, which: Ints, step: float) -> tuple[Ints, Array]:
        """Return points of some rows, no farther apart than `step` [mm] along them: row and s (N,)."""
        low, high = self.rows.pieces[SPAN_S, self.rows.piece[which]]
        many = np.clip(np.ceil((high - low) / step).astype(np.int64) + 1, 2, MOST_ALONG)
        number = np.repeat(np.arange(which.size), many)
        place = np.arange(number.size) - np.repeat(np.cumsum(many) - many, many)
        return which[number], low[number] + (high - low)[number] * place / (many - 1)[number]

    def _rows_near(self, advances: Array) -> Ints:
        """Return the rows that may be struck between the first and the last of some advances.

        A point comes no nearer than the way that it goes, and none lies nearer than the way along the piece to it.
        """
        every, way = np.arange(self.rows.count), float(advances[-1] - advances[0])
        few = np.linspace(advances[0], advances[-1], math.ceil(way / APART) + 1)
        row, s = self._points(every, APART)
        depth, _ = self._depths(row, s, few, np.ones(row.size, dtype=bool))
        reach = (APART + way / max(few.size - 1, 1)) / 2.0
        return np.unique(row[depth.max(axis=1, initial=-np.inf) > -reach])

    def _depths(self, row: Ints, s: Array, advances: Array, ends: Flags) -> tuple[Array, Array]:
        """Return how deep points (N,) of rows are at advances (T,): (N, T) [mm], and their distance from the die axis;
        ends (N,): whether one near its piece's end counts.

        With the arm standing nothing turns: seen from each solid the tube goes straight along the feed.
        """
        rows, still = self.rows, np.zeros_like(s)
        start = pose(rows, row, s, still).x
        way = rows.blocks[WAY, rows.block[row]] / max(self.farthest, NO_LENGTH)
        x = (start[:, :, None] + way[:, :, None] * advances).reshape(3, -1)
        which = np.repeat(rows.solid[row], advances.size)
        exact, _, _ = evaluate(rows.kind[which], x, rows.parameters[:, which])
        needed = rows.needed[row] - rows.spread[row] - STRIKE_MARGIN + rows.radius
        inner = (to_end(rows, Cells(row, s, still, still, still)) >= rows.radius) | self.fed[row] | ends
        axis = np.hypot(x[0], x[1] - self.standing.toward * self.standing.bend_radius).reshape(row.size, advances.size)
        depth = np.where(inner, needed, -np.inf)[:, None] - exact.reshape(row.size, advances.size)
        # What has to be kept grows with the tube ahead, where the profile counts sag.
        return depth + rows.spread[row][:, None] * advances / max(self.farthest, NO_LENGTH), axis


def _of_the_arc_on_the_rod(rows: Rows) -> Flags:
    """Return which rows hold the arc just formed against the mandrel and its rod, off which it slides."""
    formed = np.array([role is Role.FORMED for role in rows.roles], dtype=bool)[rows.piece]
    rod = np.array([name in ("mandrel", Tool.ROD.value) for name in rows.names], dtype=bool)[rows.solid]
    return np.asarray(formed & rod)
