"""The first contact in a motion: what the tube touches first, when and where; else what it comes nearest to."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from planner.clearance.bounds import Bounds, bounds
from planner.clearance.certify import place_of, split, starting_cells
from planner.clearance.columns import (
    ALONG,
    BODY,
    FIRST_T,
    GREATEST_S,
    LAST_T,
    LEAST_S,
    SPAN_S,
    SPAN_T,
    START,
    THERE,
    THERE_CHANGE,
    U_SIGN,
    U,
)
from planner.clearance.deepest import Deepest, deepest
from planner.clearance.distances import evaluate
from planner.clearance.poses import Cells, may_exist, pose
from planner.clearance.rows import EVERY_CLAMP, Rows
from planner.clearance.verdicts import Witness
from planner.facts import Fact, angle, fact, length
from planner.feasibility.bend_check import Blocked
from planner.inputs.tooling import Tooling
from planner.tolerances import CELL_BUDGET, CONTACT_GAP, SAME_CONTACT
from planner.tube.bodies import Motion, Path, Phase, Role
from planner.tube.frames import ALONG_FEED, UPWARD, Array, Flags, Ints

STEP: Final = 5.0
"""Places on the tube at which a closing block is looked for stand no farther apart [mm]."""

SWEPT: Final = 50
"""Moments of its travel at which it is looked for, before the first one is closed in on."""

RIM: Final = 90
"""Points round a flat end, on its rim and halfway in; what pokes in between them is found a tenth of a mm deep."""

ACROSS: Final = 5
"""Cross-sections that are looked at within a radius of either end of a piece."""

NEVER: Final = (-1, 0.0, math.inf)


@dataclass(frozen=True)
class Met:
    """What the tube meets in a motion, the moment up to which that is shown, and where on the tube it is then, from the
    leading end [mm]; clearance: the least to that solid [mm]; near_from: from when on it is nearer than needed [mm].
    """

    solid: str
    t: float
    place: float
    touches: bool
    clearance: float
    needed: float
    near_from: float | None


def met_in(blocked: Blocked, clamp: int, tooling: Tooling) -> Met:
    """Return what the tube meets first in a motion that something blocks: what it touches, else what it comes near.

    Where it touches nothing it is shown as near as it comes. clamp: its number in the motion's rows.
    """
    going, named = _Going.of(blocked, clamp, tooling)
    first = going.touch(named)
    row, s, t = (named, *going.nearest(named)) if first is None else first
    alike = np.flatnonzero(going.rows.solid == going.rows.solid[row])
    near = going.first_below(alike, going.rows.needed - going.rows.spread)
    depths = []
    if row != named:
        depths.append(going.least(row))
    if going.rows.solid[row] == going.rows.solid[named]:
        rows, witness = blocked.rows, blocked.finding.witness
        assert rows is not None  # of what was certified
        assert witness is not None
        depths.append(deepest(rows, witness).clearance)
    return Met(
        going.rows.names[going.rows.solid[row]],
        t,
        place_of(going.rows, row, s, t),
        first is not None,
        min(depths),
        float(going.rows.needed[row]),
        None if near is None else near[2],
    )


def as_it_begins(blocked: Blocked, clamp: int, tooling: Tooling) -> tuple[bool, str | None]:
    """Return whether the tube is too near something as a motion begins already, and to what, if it gets no nearer.

    What it touches only later in the motion is left to be shown there.
    """
    going, named = _Going.of(blocked, clamp, tooling)
    near = going.first_below(np.arange(going.rows.count), going.rows.needed - going.rows.spread)
    if near is None or near[2] > 0.0:
        return False, None
    touched = going.touch(named)
    first = near if touched is None else touched
    return True, None if first[2] > 0.0 else going.rows.names[going.rows.solid[first[0]]]


def as_it_goes(rows: Rows, motion: Motion) -> Rows:
    """Return the rows of a motion with everything there only at the times when it is there.

    What stands still as a set, the straight through the die, the tail and the arc that forms, is held against a solid
    once, at its longest. To find the first contact each grows and shrinks as it does: the straight at its front, and at
    its rear where the tube comes from in front.
    """
    pieces, blocks = rows.pieces.copy(), rows.blocks.copy()
    (y0, y1), behind = motion.y, motion.tail_length + min(motion.y)
    for piece in np.unique(rows.piece):
        body, column = motion.bodies[int(pieces[BODY, piece])], pieces[:, piece]
        moves = y0 != y1 and motion.phase in (Phase.PLACE, Phase.RETURN)
        if moves and body.path is Path.LINE and y1 > y0:
            column[THERE], column[THERE_CHANGE] = column[GREATEST_S] - (y1 - y0), y1 - y0
        elif moves and body.path is Path.LINE:
            column[START] += column[ALONG] * column[GREATEST_S]
            column[ALONG] *= -1.0
            column[THERE], column[THERE_CHANGE] = behind, y0 - y1
            column[U] = column[U] + column[U_SIGN] * column[GREATEST_S] - (y0 - y1)
            column[U_SIGN] *= -1.0
        elif moves and body.roles == (Role.TAIL,):
            column[THERE], column[THERE_CHANGE] = behind - y0, y0 - y1
    grows = np.zeros(blocks.shape[1], dtype=bool)
    grows[rows.block[pieces[THERE_CHANGE, rows.piece] != 0.0]] = True
    still = grows & (blocks[FIRST_T] == blocks[LAST_T])
    blocks[FIRST_T, still], blocks[LAST_T, still] = 0.0, 1.0
    return replace(rows, pieces=pieces, blocks=blocks)


@dataclass(frozen=True)
class _Going:
    """A motion's rows as it goes; see `as_it_goes`."""

    rows: Rows
    motion: Motion
    tooling: Tooling

    @classmethod
    def of(cls, blocked: Blocked, clamp: int, tooling: Tooling) -> tuple[_Going, int]:
        """Return what is in the way as it goes, and the number of its witness's row."""
        rows, motion, witness = blocked.rows, blocked.motion, blocked.finding.witness
        assert rows is not None  # of what was certified
        assert witness is not None
        here = (rows.motion == rows.motion[witness.row]) & ((rows.clamp == EVERY_CLAMP) | (rows.clamp == clamp))
        return cls(as_it_goes(rows.take(here), motion), motion, tooling), int(np.count_nonzero(here[: witness.row]))

    def touch(self, named: int) -> tuple[int, float, float] | None:
        """Return where the tube first touches something, the solid of a row before another one touched just then."""
        limit = np.minimum(self.rows.needed, 0.0)
        first = self.first_below(np.arange(self.rows.count), limit)
        if first is None or self.rows.solid[first[0]] == self.rows.solid[named]:
            return first
        own = self.first_below(np.flatnonzero(self.rows.solid == self.rows.solid[named]), limit)
        return own if own is not None and own[2] <= first[2] + SAME_CONTACT else first

    def first_below(self, which: Ints, limit: Array) -> tuple[int, float, float] | None:
        """Return row, s [mm] and t of the first moment at which some rows come nearer than a limit (N,) [mm].

        Found by cells like a certificate, to SAME_CONTACT; None where nothing comes nearer by more than CONTACT_GAP.
        """
        swept = self._swept(which)
        best = self._first_swept(swept, limit) if swept.size else None
        cells = starting_cells(self.rows)
        cells = cells.take(np.isin(cells.row, which) & ~np.isin(cells.row, swept))
        spent, doubtful = 0, set[int]()
        while cells.count and spent < CELL_BUDGET:
            spent += cells.count
            below = limit[cells.row]
            found = bounds(self.rows, cells, below)
            hit = found.upper < below
            if hit.any():
                k = int(np.lexsort((found.upper, np.where(hit, cells.t, np.inf)))[0])
                best = min((int(cells.row[k]), float(cells.s[k]), float(cells.t[k])), best or NEVER, key=lambda b: b[2])
            latest = (best or NEVER)[2] - SAME_CONTACT / 2.0
            found = replace(found, along=self._worth_cutting(cells, found, hit))
            coarse = found.along_s + found.along_t > CONTACT_GAP
            left = (found.lower < below) & (cells.t - cells.dt < latest) & coarse
            gap = (found.lower < below) & ~hit & ~coarse & (found.upper - found.lower > 3.0 * CONTACT_GAP)
            doubtful.update(cells.row[gap].tolist())
            rest, found, slack = cells.take(left), found.take(left), (found.upper - below)[left]
            slack = np.where(np.isfinite(slack), slack, (found.along_s + found.along_t) / 2.0)
            cells = split(rest, found, np.maximum(slack, CONTACT_GAP / 2.0))
            cells = cells.take(may_exist(self.rows, cells) & (cells.t - cells.dt < latest))
        best = self._at_the_ends(np.array(sorted(doubtful), dtype=np.int64), limit, best)
        return best if best is None else self._from_the_start(best, limit)

    def _at_the_ends(
        self, which: Ints, limit: Array, best: tuple[int, float, float] | None
    ) -> tuple[int, float, float] | None:
        """Return an earlier moment at which a flat end comes nearer than a limit, or what was found already.

        The bounds leave a gap there: what a cell finds of a flat cross-section may be more than it keeps. Here points
        on it are looked at.
        """
        for row in which.tolist():
            start, end = self.rows.blocks[SPAN_T, self.rows.block[row]]
            until = float(end) if best is None else best[2]
            before, deep = float(start), self._ends(row, float(start), limit[row])
            for t in np.linspace(start, until, SWEPT + 1) if until > start or deep is not None else ():
                deep = self._ends(row, float(t), limit[row])
                if deep is None:
                    before = float(t)
                    continue
                first = float(t)
                while first - before > SAME_CONTACT / 2.0:
                    middle = (before + first) / 2.0
                    found = self._ends(row, middle, limit[row])
                    before, first, deep = (middle, first, deep) if found is None else (before, middle, found)
                best = (row, deep, first) if best is None or first < best[2] else best
                break
        return best

    def _ends(self, row: int, t: float, limit: float) -> float | None:
        """Return s [mm] of the nearest cross-section about a piece's ends, None where none is nearer than a limit."""
        table, radius = self.rows.pieces[:, self.rows.piece[row]], self.rows.radius
        low = float(table[LEAST_S])
        high = min(float(table[GREATEST_S]), float(table[THERE] + table[THERE_CHANGE] * t))
        if high <= low:
            return None
        near = np.linspace(0.0, min(radius, high - low), ACROSS)
        s = np.unique(np.concatenate((low + near, high - near)))
        posed = pose(self.rows, np.full(s.shape, row), s, np.full(s.shape, t))
        across = np.cross(posed.tangent.T, np.where(np.abs(posed.tangent[2:].T) < 0.9, UPWARD, ALONG_FEED)).T
        across /= np.linalg.norm(across, axis=0)
        angle = np.linspace(0.0, 2.0 * np.pi, RIM, endpoint=False)[:, None, None]
        ring = np.cos(angle) * across + np.sin(angle) * np.cross(posed.tangent.T, across.T).T
        points = np.concatenate([posed.x + share * radius * ring for share in (0.5, 1.0)])
        solid = self.rows.solid[row]
        x = points.transpose(1, 0, 2).reshape(3, -1)
        parameters = np.repeat(self.rows.parameters[:, [solid]], x.shape[1], axis=1)
        exact = evaluate(np.full(x.shape[1], self.rows.kind[solid]), x, parameters)[0].reshape(-1, s.size).min(axis=0)
        k = int(exact.argmin())
        return float(s[k]) if exact[k] < limit else None

    def _worth_cutting(self, cells: Cells, found: Bounds, hit: Flags) -> Array:
        """Return what cutting a cell along its piece and in time gains [mm].

        Where its midpoint is too near already only an earlier moment is of interest; what grows cannot be seen from
        the speed of its points.
        """
        growth = np.abs(self.rows.pieces[THERE_CHANGE, self.rows.piece[cells.row]]) * cells.dt
        along_s, along_t, along_y = found.along
        later = np.where(cells.dt > SAME_CONTACT / 4.0, 1.0, 0.0)
        return np.stack((np.where(hit, 0.0, along_s), np.where(hit, later, along_t + growth), along_y))

    def _from_the_start(self, best: tuple[int, float, float], limit: Array) -> tuple[int, float, float]:
        """Return a moment found, or the very start of the motion where it is as near there already."""
        row, s, t = best
        start = float(self.rows.blocks[FIRST_T, self.rows.block[row]])
        if t - start >= SAME_CONTACT:
            return best
        there = self._clearance(self.rows, *(np.array([x]) for x in (row, s, start)))[0]
        return (row, s, start) if there < limit[row] else best

    def _swept(self, which: Ints) -> Ints:
        """Return those of some rows that hold the whole travel of a block against the tube."""
        if self.motion.phase not in (Phase.CLOSE, Phase.OPEN):
            return which[:0]
        name = [self.rows.names[solid] for solid in self.rows.solid[which]]
        opened = self.motion.phase is Phase.OPEN  # the clamp stands open then
        return which[[one == "pressure die" or (one == "clamp die" and not opened) for one in name]]

    def _first_swept(self, which: Ints, limit: Array) -> tuple[int, float, float] | None:
        """Return the same of blocks that close on the tube or open."""
        low, high = self.rows.pieces[SPAN_S, self.rows.piece[which]]
        many = np.ceil((high - low) / STEP).astype(int) + 1
        row = np.repeat(which, many)
        s = np.concatenate([np.linspace(a, b, k) for a, b, k in zip(low, high, many, strict=True)])
        met = np.flatnonzero(self._clearance(self.rows, row, s, 0.0 * s) < limit[row])
        row, s = row[met], s[met]

        def depth(t: float) -> Array:
            parameters = self.rows.parameters.copy()
            away = 1.0 - t if self.motion.phase is Phase.CLOSE else t
            for solid in np.unique(self.rows.solid[row]):
                clamp = self.rows.names[solid] == "clamp die"
                opens = (self.tooling.clamp_block if clamp else self.tooling.pressure_block).opens
                parameters[3:5, solid] += (away * opens, -opens)
            return self._clearance(replace(self.rows, parameters=parameters), row, s, np.full(s.shape, t)) - limit[row]

        before = 0.0
        for t in np.linspace(0.0, 1.0, SWEPT + 1) if row.size else ():
            if depth(float(t)).min() < 0.0:
                first = float(t)
                while first - before > SAME_CONTACT / 2.0:
                    middle = (before + first) / 2.0
                    before, first = (before, middle) if depth(middle).min() < 0.0 else (middle, first)
                k = int(depth(first).argmin())
                return int(row[k]), float(s[k]), first
            before = float(t)
        return None

    def nearest(self, row: int) -> tuple[float, float]:
        """Return s [mm] and t where a row comes nearest."""
        found = self._deepest(row)
        return found.s, found.t

    def least(self, row: int) -> float:
        """Return the least clearance of a row [mm]."""
        return self._deepest(row).clearance

    def _deepest(self, row: int) -> Deepest:
        solid = self.rows.names[self.rows.solid[row]]
        role = self.rows.roles[self.rows.piece[row]]
        return deepest(self.rows, Witness(row, role, solid, 0.0, 0.0, 0.0, math.inf, 0.0))

    @staticmethod
    def _clearance(rows: Rows, row: Ints, s: Array, t: Array) -> Array:
        return bounds(rows, Cells(row, s, 0.0 * s, t, 0.0 * t)).upper


def moment(motion: Motion, t: float) -> Fact:
    """Return a moment of a motion as a fact: so many degrees into the swing."""

    def at(pair: tuple[float, float]) -> float:
        return pair[0] + t * (pair[1] - pair[0])

    if motion.phase is Phase.BEND:
        return fact("moment-in-the-swing", angle=angle(at(motion.arm)))
    if motion.phase is Phase.RETURN and motion.arm[0] != motion.arm[1]:
        return fact("moment-of-the-arm", angle=angle(at(motion.arm)))
    if motion.phase in (Phase.PLACE, Phase.RETURN) and motion.rotation[0] != motion.rotation[1]:
        turned = angle(abs(at(motion.rotation) - motion.rotation[0]))
        return fact("moment-of-the-rotation", angle=turned, advance=length(at(motion.y)))
    if motion.phase in (Phase.PLACE, Phase.RETURN):
        return fact("moment-of-the-advance", advance=length(at(motion.y)))
    if motion.phase is Phase.RUN and motion.face is not None:
        return fact("moment-of-the-carriage", face=length(at(motion.face)))
    doing = {Phase.CLOSE: "closing", Phase.OPEN: "opening", Phase.REGRIP: "regrip"}
    return fact(f"moment-{doing.get(motion.phase, 'laid-in')}")
