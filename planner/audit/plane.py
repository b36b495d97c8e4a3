"""Whether blocked rectangles of the plane of advance and rotation part a start from a goal.

The rectangles are closed and may lie anywhere. Their edges, and those of the plane and of the regions in it, cut the
plane into a grid of fields; what can be reached from the start is filled over the fields that no rectangle covers, from
side to side and never through a corner. Where the chuck goes round, the plane's first and last rotation are one.

Edges of neighbours may differ by rounding. Edges within SNAP of each other count as one; whoever says that a rectangle
is blocked has to see to it that it is blocked by SNAP beyond its edges too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.tolerances import SNAP, SNAP_TURN

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Region:
    """A rectangle, segment or point of the plane: advances [mm] and rotations [rad], ends included."""

    y: tuple[float, float]
    roll: tuple[float, float]


@dataclass(frozen=True)
class Plane:
    """Advances y [mm] and rotations [rad] that there are, ends included; goes_round: first and last roll are one."""

    y: tuple[float, float]
    rolls: tuple[float, float]
    goes_round: bool


@dataclass(frozen=True)
class Blocked:
    """Blocked rectangles (K,): midpoints and half-widths of advance [mm] and rotation [rad]."""

    y: Array
    dy: Array
    roll: Array
    droll: Array


def parts(plane: Plane, blocked: Blocked, starts: Iterable[Region], goals: Iterable[Region]) -> bool:
    """Say whether no way leads from any start to any goal past the blocked rectangles."""
    starts, goals = list(starts), list(goals)
    if plane.goes_round:
        blocked, starts, goals = _all_round(plane, blocked), _regions_round(plane, starts), _regions_round(plane, goals)
    ends = [*starts, *goals]
    rows = _Edges([plane.y, *(r.y for r in ends)], blocked.y, blocked.dy, plane.y, SNAP)
    columns = _Edges([plane.rolls, *(r.roll for r in ends)], blocked.roll, blocked.droll, plane.rolls, SNAP_TURN)
    free = ~_covered(rows, columns)
    begun, wanted = (_touched(rows, columns, regions) & free for regions in (starts, goals))
    return not (_filled(begun, free, plane.goes_round) & wanted).any()


class _Edges:
    """All edges along one side of the plane, those within `snap` as one; and between which of them rectangles lie."""

    def __init__(
        self, spans: list[tuple[float, float]], middle: Array, half: Array, plane: tuple[float, float], snap: float
    ) -> None:
        low, high = (np.clip(side, *plane) for side in (middle - half, middle + half))
        given = np.clip(np.array(spans).reshape(-1), *plane)
        values = np.sort(np.concatenate((low, high, given)))
        kept = [values[0]]
        for value in values.tolist():
            if value - kept[-1] > snap:
                kept.append(value)
        self.values, self.snap = np.array(kept), snap
        self.low, self.high = self.index(low), self.index(high)

    def index(self, values: Array) -> Ints:
        """Return the numbers of the edges that some values are."""
        found = np.searchsorted(self.values, values + 0.0, side="right") - 1
        return np.asarray(np.maximum(found, 0))

    @property
    def fields(self) -> int:
        """How many fields lie between the edges."""
        return max(int(self.values.size) - 1, 1)

    def touching(self, span: tuple[float, float], plane: tuple[float, float]) -> slice:
        """Return the fields that touch a span."""
        first, last = self.index(np.clip(np.array(span), *plane)).tolist()
        return slice(max(first - 1, 0), last + 1)


def _covered(rows: _Edges, columns: _Edges) -> Flags:
    """Return which fields a rectangle covers, by adding up its corners."""
    count = np.zeros((rows.fields + 1, columns.fields + 1), dtype=np.int64)
    np.add.at(count, (rows.low, columns.low), 1)
    np.add.at(count, (rows.high, columns.low), -1)
    np.add.at(count, (rows.low, columns.high), -1)
    np.add.at(count, (rows.high, columns.high), 1)
    return np.asarray(count.cumsum(axis=0).cumsum(axis=1)[:-1, :-1] > 0)


def _touched(rows: _Edges, columns: _Edges, regions: list[Region]) -> Flags:
    touched = np.zeros((rows.fields, columns.fields), dtype=bool)
    whole = (-math.inf, math.inf)
    for region in regions:
        touched[rows.touching(region.y, whole), columns.touching(region.roll, whole)] = True
    return touched


def _filled(begun: Flags, free: Flags, goes_round: bool) -> Flags:
    """Return the free fields that can be reached from those begun with: along whole rows and columns in turn."""
    reached = begun
    while True:
        grown = _along_rows(reached, free)
        grown = _along_rows(grown.T, free.T).T
        if goes_round:
            round_ = grown[:, 0] | grown[:, -1]
            grown[:, 0], grown[:, -1] = round_ & free[:, 0], round_ & free[:, -1]
        if (grown == reached).all():
            return np.asarray(reached)
        reached = grown


def _along_rows(reached: Flags, free: Flags) -> Flags:
    """Return every unbroken run of free fields within a row in which one is reached."""
    height, width = free.shape
    run = np.cumsum(~free, axis=1) + np.arange(height)[:, None] * (width + 1)
    hit = np.bincount(run[reached & free], minlength=int(run.max()) + 1) > 0
    return np.asarray(hit[run] & free)


def _all_round(plane: Plane, blocked: Blocked) -> Blocked:
    """Return the rectangles once more a turn on and a turn back: what of them lies in the plane counts."""
    turn = 2.0 * math.pi
    rolls = np.concatenate([blocked.roll + k * turn for k in (-1, 0, 1)])
    y, dy, droll = (np.tile(values, 3) for values in (blocked.y, blocked.dy, blocked.droll))
    inside = (rolls + droll > plane.rolls[0]) & (rolls - droll < plane.rolls[1])
    return Blocked(y[inside], dy[inside], rolls[inside], droll[inside])


def _regions_round(plane: Plane, regions: list[Region]) -> list[Region]:
    """Return regions at every turn at which they lie in the plane."""
    low, high = plane.rolls[0] - SNAP_TURN, plane.rolls[1] + SNAP_TURN
    found = []
    for region in regions:
        first = math.ceil((low - region.roll[1]) / (2.0 * math.pi))
        last = math.floor((high - region.roll[0]) / (2.0 * math.pi))
        for k in range(first, last + 1):
            found.append(Region(region.y, (region.roll[0] + k * 2.0 * math.pi, region.roll[1] + k * 2.0 * math.pi)))
    return found
