"""Branch and bound over cells of every row, all motions of a batch at once.

A cell whose lower bound is no less than what is needed is certified and dropped; a midpoint nearer than needed by more
than STRIKE_MARGIN is a witness; every other cell is split along what takes the more off its bound. A cell refined to a
gap of CLOSE_GAP that is neither stays open: the row is too close to call.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.clearance.bounds import Bounds, bounds
from planner.clearance.columns import GREATEST_S, LEAST_S, SPAN_T, THERE_CHANGE, U_SIGN, U
from planner.clearance.poses import Cells, may_exist
from planner.clearance.rows import Rows
from planner.clearance.verdicts import Answer, Cover, Finding, Verdicts, Witness
from planner.deadline import in_time
from planner.tolerances import (
    CELL_BUDGET,
    CLOSE_GAP,
    LEAST_SPLIT,
    NO_LENGTH,
    REPORT_CEILING,
    REPORT_FINEST,
    REPORT_GAP,
    ROUNDING,
    STRIKE_MARGIN,
)
from planner.tube.frames import Array, Flags

MOST_PARTS = 16
"""A cell is split into at most so many at once; few rounds of many cells suit NumPy better than many of few."""

FREE = 256
"""So many cells cost hardly more than one: where few are left, they are split into as many parts as that makes."""


def certify(rows: Rows, keep_cover: bool = False, gap: float = CLOSE_GAP, strict: bool = False) -> Verdicts:
    """Return the verdict on every motion of the batch, for every choice of clamp that its rows name.

    gap: a cell refined to it that is neither certified nor struck is clear if it keeps what counts as kept
    (`Rows.enough`), else too close to call [mm]; strict: too close to call in any case.
    """
    state = _Search(rows, keep_cover, gap, strict)
    cells = starting_cells(rows)
    while cells.count:
        in_time()
        cells = state.round(cells)
    return state.verdicts()


def starting_cells(rows: Rows) -> Cells:
    """Return one cell a row: the whole piece over the whole motion."""
    table = rows.pieces[:, rows.piece]
    span = rows.blocks[SPAN_T, rows.block]
    low, high = table[LEAST_S], table[GREATEST_S]
    number = np.flatnonzero(high - low > NO_LENGTH)
    cells = Cells(
        np.arange(rows.count), (low + high) / 2.0, (high - low) / 2.0, span.mean(axis=0), (span[1] - span[0]) / 2.0
    )
    return cells.take(number)


def split(cells: Cells, found: Bounds, slack: Array) -> Cells:
    """Return the cells cut along what takes the more off their bound, into as many parts as `slack` [mm] asks for."""
    by_s = found.along_s >= found.along_t
    larger = np.where(by_s, found.along_s, found.along_t)
    rest = np.maximum(slack - np.where(by_s, found.along_t, found.along_s), 0.25 * slack)
    wanted = larger / np.maximum(rest, LEAST_SPLIT)
    least = min(max(2, FREE // max(cells.count, 1)), MOST_PARTS)
    parts = np.clip(np.ceil(wanted), least, MOST_PARTS).astype(np.int64)
    which = np.repeat(np.arange(cells.count), parts)
    place = np.arange(which.size) - np.repeat(np.cumsum(parts) - parts, parts)
    offset = (2.0 * place + 1.0) / parts[which] - 1.0
    s_cut, many = by_s[which], parts[which]
    whole = cells.take(which)
    return Cells(
        whole.row,
        np.where(s_cut, whole.s + offset * whole.ds, whole.s),
        np.where(s_cut, whole.ds / many, whole.ds),
        np.where(s_cut, whole.t, whole.t + offset * whole.dt),
        np.where(s_cut, whole.dt, whole.dt / many),
    )


class _Search:
    """What is known of every row while the cells get smaller."""

    def __init__(self, rows: Rows, keep_cover: bool, gap: float, strict: bool = False) -> None:
        self.rows, self.gap = rows, gap
        self.enough = rows.needed if strict else rows.enough
        self.short = np.zeros(rows.count, dtype=bool)
        self.struck = np.zeros(rows.count, dtype=bool)
        self.close = np.zeros(rows.count, dtype=bool)
        self.spent = np.zeros(rows.count, dtype=np.int64)
        self.hit = np.full((3, rows.count), np.nan)  # s, t, clearance of the witness
        self.evaluations = 0
        self.kept: list[tuple[Array, Array]] | None = [] if keep_cover else None

    def round(self, cells: Cells) -> Cells:
        """Evaluate the cells, settle what can be settled, and return the rest split."""
        needed = self.rows.needed[cells.row]
        found = bounds(self.rows, cells, needed)
        self.evaluations += cells.count
        fine = (found.upper - found.lower <= self.gap) | (found.along_s + found.along_t <= self.gap / 2.0)
        short = fine & (found.lower < needed) & (found.lower >= self.enough[cells.row])
        certified = (found.lower >= needed) | short
        if self.kept is not None:
            sure = cells.take(certified)
            table = np.stack((sure.s, sure.ds, sure.t, sure.dt, found.lower[certified]))
            self.kept.append((sure.row.astype(float), table))
        self._note_strikes(cells, found.upper, needed)
        self._note_short(cells, found.lower, short)
        open_ = ~certified & ~self._settled()[cells.row]
        self.spent += np.bincount(cells.row, minlength=self.rows.count)
        tired = self.spent[cells.row] > CELL_BUDGET
        undecided = np.flatnonzero(open_ & (fine | tired))
        self.close[cells.row[undecided]] = True
        nearest_last = undecided[np.argsort(-found.upper[undecided], kind="stable")]
        row = cells.row[nearest_last]
        nearer = ~self.struck[row] & ~(self.hit[2, row] <= found.upper[nearest_last])  # also where nothing is known yet
        row, nearest_last = row[nearer], nearest_last[nearer]
        self.hit[:, row] = np.stack((cells.s[nearest_last], cells.t[nearest_last], found.upper[nearest_last]))
        go_on = open_ & ~fine & ~tired
        rest = cells.take(go_on)
        slack = np.maximum(found.upper[go_on] - needed[go_on], self.gap / 2.0)
        slack = np.where(np.isfinite(slack), slack, (found.along_s + found.along_t)[go_on] / 2.0)
        children = split(rest, found.take(go_on), slack)
        return children.take(may_exist(self.rows, children))

    def _settled(self) -> Flags:
        """Rows that need no more work: their motion is struck whatever the clamp, or with their clamp."""
        rows = self.rows
        whole = np.zeros(rows.n_motions, dtype=bool)
        whole[rows.motion[self.struck & (rows.clamp < 0)]] = True
        choice = rows.motion * (int(rows.clamp.max(initial=-1)) + 2) + rows.clamp + 1
        lost = np.zeros(int(choice.max(initial=0)) + 1, dtype=bool)
        lost[choice[self.struck]] = True
        return np.asarray(whole[rows.motion] | lost[choice])

    def _note_strikes(self, cells: Cells, upper: Array, needed: Array) -> None:
        hits = np.flatnonzero(upper < needed - self.rows.spread[cells.row] - STRIKE_MARGIN)
        if not hits.size:
            return
        worst_last = hits[np.argsort(-upper[hits], kind="stable")]
        row = cells.row[worst_last]
        first_time = ~self.struck[row]
        row, worst_last = row[first_time], worst_last[first_time]
        self.hit[:, row] = np.stack((cells.s[worst_last], cells.t[worst_last], upper[worst_last]))
        self.struck[row] = True

    def _note_short(self, cells: Cells, lower: Array, short: Flags) -> None:
        """Note where rows come short of what they need, the shortest place of each."""
        short = short & (lower < self.rows.needed[cells.row] - 2.0 * ROUNDING)  # exactly what is needed is not short
        here = np.flatnonzero(short & ~self.struck[cells.row] & ~self.close[cells.row])
        if not here.size:
            return
        least_last = here[np.argsort(-lower[here], kind="stable")]
        row = cells.row[least_last]
        less = ~(self.hit[2, row] <= lower[least_last])
        row, least_last = row[less], least_last[less]
        self.hit[:, row] = np.stack((cells.s[least_last], cells.t[least_last], lower[least_last]))
        self.short[row] = True

    def verdicts(self) -> Verdicts:
        """Gather rows into motions and clamps."""
        rows = self.rows
        keys = dict.fromkeys(zip(rows.motion.tolist(), rows.clamp.tolist(), strict=True))
        findings = {key: Finding(*key, Answer.CLEAR) for key in keys}
        least: dict[tuple[int, int], float] = {}
        for row in np.flatnonzero(self.short & ~self.struck & ~self.close):
            key = (int(rows.motion[row]), int(rows.clamp[row]))
            missing = self.hit[2, row] - rows.needed[row]
            if missing < least.get(key, np.inf):
                least[key] = missing
                findings[key] = Finding(*key, Answer.CLEAR, self._witness(int(row)))
        for row in np.flatnonzero(self.close & ~self.struck):
            key = (int(rows.motion[row]), int(rows.clamp[row]))
            findings[key] = Finding(*key, Answer.CLOSE, self._witness(int(row)))
        worst: dict[tuple[int, int], float] = {}
        for row in np.flatnonzero(self.struck):
            key = (int(rows.motion[row]), int(rows.clamp[row]))
            depth = self.hit[2, row] - rows.needed[row]
            if depth < worst.get(key, np.inf):
                worst[key] = depth
                findings[key] = Finding(*key, Answer.STRUCK, self._witness(int(row)))
        cover = None
        if self.kept is not None:
            cover = Cover(np.concatenate([k[0] for k in self.kept]), np.concatenate([k[1] for k in self.kept], axis=1))
        kept = np.where(self.short, np.minimum(self.hit[2], rows.needed), rows.needed)
        kept = np.where(self.close | self.struck, -np.inf, kept)
        return Verdicts(findings, self.evaluations, kept, cover)

    def _witness(self, row: int) -> Witness:
        s, t, clearance = (float(x) for x in self.hit[:, row])
        return witness_at(self.rows, row, s, t, clearance)


def witness_at(rows: Rows, row: int, s: float, t: float, clearance: float) -> Witness:
    """Return a witness record for a point of a row."""
    piece = rows.piece[row]
    place = place_of(rows, row, s, t)
    return Witness(row, rows.roles[piece], rows.names[rows.solid[row]], place, s, t, clearance, float(rows.needed[row]))


def place_of(rows: Rows, row: int, s: float, t: float) -> float:
    """Return the stock coordinate [mm] of the material that lies at arc length s of a row's piece at t.

    Tube runs through the tail and the forming arc while they change their length: the table's coordinates hold at the
    moment when they are longest.
    """
    u, sign, change = (float(x) for x in rows.pieces[[U, U_SIGN, THERE_CHANGE], rows.piece[row]])
    longest = 1.0 if change > 0.0 else 0.0
    return u + sign * s - sign * change * (t - longest)


@dataclass(frozen=True)
class Least:
    """A motion's proved smallest clearance: `bound` ≤ the true one ≤ `found` at `witness` [mm].

    Where all is farther than REPORT_CEILING, `bound` is that and there is no witness.
    """

    bound: float
    found: float
    witness: Witness | None


def smallest_clearances(rows: Rows, certified: bool = False) -> list[Least]:
    """Return for every motion the proved smallest clearance to anything it may not touch, to a gap of REPORT_GAP.

    Pairs that may touch (the groove) do not count. certified: every motion is known to be clear, so that each pair
    keeps at least what counts as kept (at the least of the motion, where that grows).
    """
    return measured(rows, rows.enough if certified else np.full(rows.count, -np.inf))[0]


def measured(rows: Rows, kept: Array) -> tuple[list[Least], Cover]:
    """Return the smallest clearances, as above, and the cells that prove them; kept (N,): proved of each row [mm].

    In each cell the tube keeps what is proved of its row, or else the bound of its motion.
    """
    known = _Least(rows, kept - rows.spread)
    cells = starting_cells(rows)
    cells = cells.take(rows.needed[cells.row] >= 0.0)
    while cells.count:
        in_time()
        found = bounds(rows, cells, known.best[rows.motion[cells.row]] - REPORT_GAP)
        known.note_found(cells, found.upper)
        done = known.note_done(cells, found.lower, found.along_s + found.along_t <= REPORT_FINEST)
        rest, left = cells.take(~done), found.take(~done)
        gap = known.gap(rest, left.upper)
        slack = np.where(np.isfinite(gap), gap, (left.along_s + left.along_t) / 2.0)
        children = split(rest, left, np.maximum(slack, REPORT_GAP))
        cells = children.take(may_exist(rows, children))
    return known.all(), known.cover()


class _Least:
    """The smallest clearances while cells get smaller: found so far, and proved for what is done."""

    def __init__(self, rows: Rows, kept: Array) -> None:
        self.rows, self.kept = rows, kept
        self.best = np.full(rows.n_motions, REPORT_CEILING + REPORT_GAP)
        self.floor = np.full(rows.n_motions, REPORT_CEILING)
        self.at: list[tuple[int, float, float] | None] = [None] * rows.n_motions
        self.done: list[tuple[Array, Array]] = []

    def note_found(self, cells: Cells, upper: Array) -> None:
        """Note the least clearances found at midpoints, motion by motion."""
        motion = self.rows.motion[cells.row]
        order = np.argsort(upper, kind="stable")
        for i in order[np.unique(motion[order], return_index=True)[1]]:
            if upper[i] < min(self.best[motion[i]], REPORT_CEILING):
                self.best[motion[i]] = upper[i]
                self.at[motion[i]] = (int(cells.row[i]), float(cells.s[i]), float(cells.t[i]))

    def note_done(self, cells: Cells, lower: Array, fine: Flags) -> Flags:
        """Return the cells that need no more work, and note what is proved of them."""
        motion = self.rows.motion[cells.row]
        done = (lower >= self.best[motion] - REPORT_GAP) | fine
        np.minimum.at(self.floor, motion[done], np.maximum(lower, self.kept[cells.row])[done])
        sure = cells.take(np.asarray(done))
        self.done.append((sure.row.astype(float), np.stack((sure.s, sure.ds, sure.t, sure.dt, lower[done]))))
        return np.asarray(done)

    def cover(self) -> Cover:
        """Return the cells that are done."""
        empty = (np.zeros(0), np.zeros((5, 0)))
        row, cells = zip(*(self.done or [empty]), strict=True)
        return Cover(np.concatenate(row), np.concatenate(cells, axis=1))

    def gap(self, cells: Cells, upper: Array) -> Array:
        """Return how much may be taken off the clearance found in each cell before it matters [mm]."""
        best = self.best[self.rows.motion[cells.row]]
        return np.where(np.isfinite(upper), upper - best + REPORT_GAP, np.inf)

    def all(self) -> list[Least]:
        """Return what is known of every motion."""
        found = []
        for i, spot in enumerate(self.at):
            best = float(self.best[i])
            witness = None if spot is None else witness_at(self.rows, *spot, best)
            found.append(Least(float(self.floor[i]), best, witness))
        return found
