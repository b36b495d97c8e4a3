"""The fewest re-clamps of all orders, by dynamic programming over what is formed.

With a mandrel or a closed collet the formed bends are a run of neighbours; the next bend is the neighbour behind it, in
the same hold, after a re-grip or a reload, or the neighbour at its other end after a turn. What can follow depends on
nothing but the run, the end that leads, the hold that serves the bend made last, and where the chuck stands: of two
ways to get there the one with fewer re-clamps is as good in all that follows, so that only their number is kept. All
holds are kept apart, and none is taken to be better than another one.

Where the chuck's range is limited it stands at a hold's sum of the shorter rotations, and so many whole turns beside.
What is kept is m with angle = (sum − 2π·q) + 2π·m, q the whole number next to sum / 2π: few m lie within the range.

Arrays: P pairs of trims, A first formed bends 1, 2, … of the runs of one length, H holds, M whole turns of the chuck.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.audit.asked import TURN
from planner.audit.shop import ENDS, End, Shop, other
from planner.audit.tables import Flags, Tables
from planner.tolerances import CHUCK_SLACK

Counts = NDArray[np.int16]
Whole = NDArray[np.int64]

NO = 1000
"""Stands for "cannot be done" where re-clamps are counted."""


@dataclass(frozen=True)
class Chuck:
    """Where the chuck may stand, seen from one end.

    within: which angles lie in its range (H, K, M), `least` whole turns the first of the axis M; q: whole turns next to
    the sum of a hold's rotations (H, K); longer: by how many whole turns the longer way round to a bend differs, 0
    where there is none (K).
    """

    within: Flags
    q: Whole
    longer: Whole
    least: int


def chuck_of(shop: Shop, end: End) -> Chuck:
    """Return where the chuck may stand; one place that always will do where it turns for ever."""
    n = shop.n
    rolls = np.array([0.0, *(at.roll for at in shop.sides[end])])
    sums = np.cumsum(rolls)  # over the bends up to k
    first = np.repeat(np.arange(n + 1), 2)
    first[3::2] -= 1  # a re-grip comes before the rotation to the hold's first bend, a load after it
    since = sums[None, :] - sums[first][:, None]
    if shop.chuck is None:
        nothing = np.zeros(n + 1, dtype=np.int64)
        return Chuck(np.ones((2 * n + 2, n + 1, 1), dtype=bool), np.zeros_like(since, dtype=np.int64), nothing, 0)
    q = np.rint(since / TURN).astype(np.int64)
    low, high = shop.chuck[0] - CHUCK_SLACK, shop.chuck[1] + CHUCK_SLACK
    least, most = math.floor(low / TURN) - 1, math.ceil(high / TURN) + 1
    angles = (since - TURN * q)[:, :, None] + TURN * np.arange(least, most + 1)
    longer = np.where(np.abs(rolls) <= CHUCK_SLACK, 0, -np.sign(rolls)).astype(np.int64)
    return Chuck((low <= angles) & (angles <= high), q, longer, least)


class Fewest:
    """The fewest re-clamps with each pair of trims.

    fewest: (P,), NO where there is no order; states: how many runs with an end, a hold and an angle were reached, over
    all pairs of trims.
    """

    def __init__(self, tables: Tables) -> None:
        self.tables, self.shop, self.n = tables, tables.shop, tables.n
        self.chuck = {end: chuck_of(self.shop, end) for end in ENDS}
        self.ways = (0,) if self.shop.chuck is None else (0, 1)
        self.regrips = {end: tables.regrips(end) for end in ENDS}
        self.allowed: dict[tuple[str, End, int, bool], Flags] = {}
        self.serves: dict[tuple[End, bool], Flags] = {}
        for released in (False, True) if self.shop.may_release else (False,):
            for end in ENDS:
                self.serves[end, released] = tables.serves(end, released)
                for event in ("load", "turn", "reload"):
                    self.allowed[event, end, 0, released] = tables.arrivals(event, end, 0, released)
                for way in self.ways:
                    self.allowed["link", end, way, released] = tables.arrivals("link", end, way, released)
        self.states = 0
        self.fewest = self._solved()

    def _solved(self) -> Counts:
        """Let the runs grow bend by bend."""
        made = {end: self._loaded(end, False) for end in ENDS}
        opened = [self._loaded(end, True) for end in ENDS] if self.n == 1 and self.shop.may_release else []
        for length in range(1, self.n):
            self.states += sum(int(np.count_nonzero(made[end] < NO)) for end in ENDS)
            if length == self.n - 1 and self.shop.may_release:
                opened = [self._one_more(made, end, length, True) for end in ENDS]
            made = {end: self._one_more(made, end, length, False) for end in ENDS}
        self.states += sum(int(np.count_nonzero(made[end] < NO)) for end in ENDS)
        whole = [made[end].min(axis=(1, 2, 3)) for end in ENDS]
        whole += [counts.min(axis=(1, 2, 3)) + 1 for counts in opened]
        return np.asarray(np.minimum(np.min(whole, axis=0), NO))

    def _none(self, end: End, firsts: int) -> Counts:
        """Return an array in which nothing is reached (P, firsts, H, M)."""
        places = self.chuck[end].within.shape[2]
        return np.full((len(self.tables.pairs), firsts, 2 * self.n + 2, places), NO, dtype=np.int16)

    def _loaded(self, end: End, released: bool) -> Counts:
        """Make the job's first bend."""
        found, k = self._none(end, self.n), np.arange(1, self.n + 1)
        may = self.allowed["load", end, 0, released][:, k, k] & self.serves[end, released][:, 2 * k, k]
        found[:, k - 1, 2 * k, -self.chuck[end].least] = np.where(may, 0, NO)
        return found

    def _one_more(self, made: dict[End, Counts], end: End, length: int, released: bool) -> Counts:
        """Make one bend more with an end leading, after runs of `length` bends with either end leading."""
        n, chuck = self.n, self.chuck[end]
        a = np.arange(1, n - length + 1)
        bend, place = a + length, np.arange(n - length)
        own, serves = made[end][:, : n - length], self.serves[end, released]
        least = own.min(axis=(2, 3))
        # Seen from the other end the run that begins at a begins at n + 2 − length − a.
        across = made[other(end)].min(axis=(2, 3))[:, ::-1][:, : n - length]
        held = serves[:, :, bend].transpose(0, 2, 1)
        found = self._none(end, n - length)
        regripped = np.where(self.regrips[end][:, a, bend - 1], least, NO) + 1
        for way in self.ways:
            may = self.allowed["link", end, way, released][:, a, bend]
            if way:
                may = may & (chuck.longer[bend] != 0)
            kept = self._turned(own, end, bend, way)
            within = chuck.within[:, bend].transpose(1, 0, 2)
            found = np.minimum(found, np.where((may[:, :, None] & held)[..., None] & within, kept, NO))
            hold, turns = 2 * bend + 1, chuck.q[2 * bend + 1, bend] + way * chuck.longer[bend] - chuck.least
            here = may & serves[:, hold, bend] & chuck.within[hold, bend, turns]
            before = found[:, place, hold, turns]
            found[:, place, hold, turns] = np.minimum(before, np.where(here, regripped, NO))
        back = np.where(self.allowed["reload", end, 0, released][:, a, bend], least, NO)
        turned = np.where(self.allowed["turn", end, 0, released][:, a, bend], across, NO)
        loaded = np.where(serves[:, 2 * bend, bend], np.minimum(back, turned) + 1, NO)
        found[:, place, 2 * bend, -chuck.least] = loaded
        return np.minimum(found, NO)

    def _turned(self, own: Counts, end: End, bend: Whole, way: int) -> Counts:
        """Move what is reached along the chuck's whole turns, as the rotation to the next bend does."""
        chuck, places = self.chuck[end], own.shape[3]
        if places == 1:
            return own
        more = (chuck.q[:, bend] - chuck.q[:, bend - 1]).T + way * chuck.longer[bend][:, None]
        came_from = np.arange(places) - more[:, :, None]
        there = (came_from >= 0) & (came_from < places)
        index = np.broadcast_to(np.where(there, came_from, 0), own.shape)
        return np.where(there, np.take_along_axis(own, index, axis=3), NO)
