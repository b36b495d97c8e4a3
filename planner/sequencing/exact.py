"""The exact engine: the shortest path over runs of neighbouring bends.

A state is the arrival made last (run of formed bends, leading end, hold, clamp), where the chuck stands and the clamp
that is to be put back; a step goes on to the next bend by a link, with or without a re-grip, by a reload or by a turn.
Steps are taken best first (A*), guided by two bounds that leave something out: what is left with no holds to count,
from the whole part backward (`_Ahead`), and the holds that are left with no geometry to count. Both are never more than
the truth, so the first whole job found is a best one.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import count
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.deadline import in_time
from planner.rules.broken import End, other
from planner.rules.chuck import both_ways
from planner.sequencing.events import Arrival, Event, Hold, NoGood, Prefer, Sequence, Trims, Value
from planner.sequencing.no_good_table import ENDS, Flags, Forbidden
from planner.sequencing.problem import Extra, Problem
from planner.tolerances import CHUCK_SLACK, SAME_CHUCK

Ints = NDArray[np.int64]

RECLAMP = 10**12
"""One re-clamp in the one number that is made least: far above any handling time [ms]."""

NEVER = 10**15
"""More than any sequence can cost."""


class Stands(NamedTuple):
    """What else a state is told by: the chuck's angle [rad]; the clamp that the pass began with [mm]."""

    chuck: float
    fitted: float | None = None

    def key(self) -> tuple[int, float | None]:
        """Return what states are told apart by."""
        return round(self.chuck / SAME_CHUCK), self.fitted


class Exact:
    """Finds a best sequence by exact search."""

    def best(
        self, problem: Problem, nogoods: Iterable[NoGood], extra: Extra, prefer: Prefer = "fewer re-clamps"
    ) -> Sequence | None:
        """Return a sequence of least value that no rule and no no-good forbids, or None if there is none."""
        known = [*problem.rules, *nogoods]
        jobs = [OneTrim(problem, known, extra, trims) for trims in problem.trims]
        promising = sorted((job.bound().key(prefer), place) for place, job in enumerate(jobs) if job.least < NEVER)
        best: Sequence | None = None
        for bound, place in promising:
            if best is not None and bound >= best.value.key(prefer):
                break
            found = jobs[place].shortest()
            if found is not None and (best is None or found.value.key(prefer) < best.value.key(prefer)):
                best = found
        return best


def value_of(cost: int, trims: Trims, problem: Problem) -> Value:
    """Return the value that one number stands for."""
    reclamps = cost // RECLAMP
    return problem.value(reclamps, trims, cost - reclamps * RECLAMP)


class OneTrim:
    """The problem with one pair of trims."""

    def __init__(self, problem: Problem, nogoods: list[NoGood], extra: Extra, trims: Trims) -> None:
        self.problem, self.extra, self.trims, self.n = problem, extra, trims, problem.n
        in_time()
        self.forbidden = Forbidden(problem.n, nogoods, trims)
        self.ahead = _Ahead(problem, self.forbidden)
        self.holds = _Holds(problem, self.forbidden)
        self.least = min((cost + self.left(load, stands) for load, stands, cost in self.loads()), default=NEVER)

    def bound(self) -> Value:
        """Return a value that no sequence with these trims is below."""
        return value_of(self.least, self.trims, self.problem)

    def loads(self) -> Iterator[tuple[Arrival, Stands, int]]:
        """Yield every allowed first arrival, how things then stand, and what it costs."""
        for end in ENDS:
            for bend in range(1, self.n + 1):
                load = Arrival(Event.LOAD, end, bend, bend, Hold(bend, "load"))
                yield from self._priced(None, load, Stands(0.0), self.problem.times.load[end][bend - 1])

    def as_last(self, before: Arrival | None, arrival: Arrival) -> Iterator[Arrival]:
        """Yield an arrival that is allowed, the job's last one with the collet closed and with it open."""
        if not self.forbidden.forbids(before, arrival):
            yield arrival
        if self.problem.may_release and self.finished(arrival):
            released = replace(arrival, released=True)
            if not self.forbidden.forbids(before, released):
                yield released

    def finished(self, arrival: Arrival) -> bool:
        """Say whether all bends are made."""
        return arrival.ahead == 1 and arrival.bend == self.n

    def left(self, arrival: Arrival, stands: Stands) -> int:
        """Return a bound of what follows an arrival."""
        if self.finished(arrival):
            return 0
        put_back = 0 if arrival.clamp == stands.fitted else self.problem.times.tool_change
        run = self.forbidden.run(arrival.leads, arrival.bend, arrival.ahead)
        reclamps = self.holds.still_needed(arrival)
        return put_back + max(
            int(self.ahead.cost[arrival.leads][run]), reclamps * RECLAMP + int(self.ahead.time[arrival.leads][run])
        )

    def steps(self, at: Arrival, stands: Stands) -> Iterator[tuple[Arrival, Stands, int]]:
        """Yield every allowed arrival after one, how things then stand, and what the step costs."""
        n, end, nxt, times = self.n, at.leads, at.bend + 1, self.problem.times
        if nxt <= n:
            link = Arrival(Event.LINK, end, nxt, at.ahead, at.hold)
            yield from self._links(at, link, stands, 0)
            if self.problem.may_regrip:
                regripped = replace(link, hold=Hold(nxt, "re-grip"))
                yield from self._links(at, regripped, stands._replace(chuck=0.0), RECLAMP + times.regrip)
            if self.problem.may_reload:
                reload_ = Arrival(Event.RELOAD, end, nxt, at.ahead, Hold(nxt, "load"))
                yield from self._priced(at, reload_, stands._replace(chuck=0.0), RECLAMP + times.reload)
        turned = n + 2 - at.ahead
        if turned <= n:
            turn = Arrival(Event.TURN, other(end), turned, n + 1 - at.bend, Hold(turned, "load"))
            yield from self._priced(at, turn, stands._replace(chuck=0.0), RECLAMP + times.turn)

    def _links(self, at: Arrival, link: Arrival, stands: Stands, cost: int) -> Iterator[tuple[Arrival, Stands, int]]:
        cost += self.problem.times.link[link.leads][link.bend - 1]
        limits = self.problem.chuck
        if limits is None:
            yield from self._priced(at, link, stands._replace(chuck=0.0), cost)
            return
        for way, roll in enumerate(both_ways(self.problem.rolls[link.leads][link.bend - 1])):
            angle = stands.chuck + roll
            if limits[0] - CHUCK_SLACK <= angle <= limits[1] + CHUCK_SLACK:
                yield from self._priced(at, replace(link, way=way), stands._replace(chuck=angle), cost)

    def _priced(
        self, at: Arrival | None, arrival: Arrival, stands: Stands, cost: int
    ) -> Iterator[tuple[Arrival, Stands, int]]:
        for clamp in self.problem.clamps_for(arrival):
            clamped = arrival if clamp is None else replace(arrival, clamp=clamp)
            fitted, changed = self.problem.changes(at, clamped, stands.fitted)
            more = cost + changed * self.problem.times.tool_change
            for kept in self.as_last(at, clamped):
                released = RECLAMP if kept.released else 0
                yield kept, Stands(stands.chuck, fitted), more + released + self.extra(at, kept, self.trims)

    def shortest(self) -> Sequence | None:
        """Return a sequence of least cost, None if there is none."""
        number = count()
        heap: list[tuple[int, int, int, Stands, Arrival, _Trail | None]] = []
        for load, stands, cost in self.loads():
            heapq.heappush(heap, (cost + self.left(load, stands), next(number), cost, stands, load, None))
        reached: dict[tuple[Arrival, tuple[int, float | None]], int] = {}
        while heap:
            bound, _, cost, stands, at, trail = heapq.heappop(heap)
            in_time()
            if bound >= NEVER:
                return None
            key = (at, stands.key())
            if reached.get(key, NEVER) <= cost:
                continue
            reached[key] = cost
            here = (at, trail)
            if self.finished(at):
                return Sequence(self.trims, walked(here), value_of(cost, self.trims, self.problem))
            for arrival, after, more in self.steps(at, stands):
                total = cost + more
                if reached.get((arrival, after.key()), NEVER) > total:
                    # Deeper states first among equals: a whole job is then found without walking all its equals.
                    bound = total + self.left(arrival, after)
                    heapq.heappush(heap, (bound, -next(number), total, after, arrival, here))
        return None


_Trail = tuple[Arrival, "object"]


def walked(trail: object) -> tuple[Arrival, ...]:
    """Return the arrivals of a trail, first to last."""
    made = []
    while isinstance(trail, tuple):
        made.append(trail[0])
        trail = trail[1]
    return tuple(reversed(made))


class _Ahead:
    """What is left once a run is formed, with no holds, no chuck and no extra time to count.

    cost[end][i, j]: re-clamps and time as one number; time[end][i, j]: time alone [ms], the bends i … j formed and
    that end leading.
    """

    def __init__(self, problem: Problem, forbidden: Forbidden) -> None:
        self.n, self.problem, self.forbidden = problem.n, problem, forbidden
        self.cost = self._backward(RECLAMP)
        self.time = self._backward(0)

    def _backward(self, reclamp: int) -> dict[End, Ints]:
        n, times, whole = self.n, self.problem.times, self.forbidden.whole
        left: dict[End, Ints] = {end: np.full((n + 2, n + 2), NEVER, dtype=np.int64) for end in ENDS}
        for table in left.values():
            table[1, n] = 0
        link = {end: np.array((0, *times.link[end], 0), dtype=np.int64) for end in ENDS}
        turn, reload_ = reclamp + times.turn, reclamp + times.reload
        for length in range(n - 1, 0, -1):
            i = np.arange(1, n - length + 2)
            j = i + length - 1
            # One bend more at the far side (end A leading), at the near side (end B leading).
            grown = {"A": (i, np.minimum(j + 1, n + 1)), "B": (i - 1, j)}
            bend = {"A": j + 1, "B": n + 2 - i}
            for end in ENDS:
                own, across = grown[end], grown[other(end)]
                steps: list[Ints] = [
                    np.take(link[end], np.minimum(bend[end], n + 1)) + _where(whole[Event.LINK, end], left[end], own),
                    turn + _where(whole[Event.TURN, other(end)], left[other(end)], across),
                ]
                if self.problem.may_reload:
                    steps.append(reload_ + _where(whole[Event.RELOAD, end], left[end], own))
                left[end][i, j] = np.minimum(np.min(steps, axis=0), NEVER)
        return left


def _where(forbidden: Flags, left: Ints, run: tuple[Ints, Ints]) -> Ints:
    return np.asarray(np.where(forbidden[run], NEVER, left[run]))


class _Holds:
    """How many more holds are needed, with no geometry to count: every one costs a re-clamp."""

    def __init__(self, problem: Problem, forbidden: Forbidden) -> None:
        self.n, self.problem = problem.n, problem
        self.forbidden = forbidden
        self._reach: dict[tuple[End, Hold], int] = {}
        self.fresh = {end: self._fresh(end) for end in ENDS}

    def reach(self, end: End, hold: Hold) -> int:
        """Return the last bend that a hold can serve."""
        if (end, hold) not in self._reach:
            self._reach[end, hold] = self.forbidden.reach(end, hold)
        return self._reach[end, hold]

    def _fresh(self, end: End) -> list[float]:
        """Return how many new holds the bends from each bend on need; entry n + 1 is 0."""
        needed = [0.0] * (self.n + 2)
        for bend in range(self.n, 0, -1):
            farthest = max(self.reach(end, Hold(bend, "load")), self.reach(end, Hold(bend, "re-grip")))
            if farthest >= bend:
                needed[bend] = 1.0 + min(needed[k + 1] for k in range(bend, farthest + 1))
            elif bend == self.n and self.problem.may_release:
                needed[bend] = 1.0
            else:
                needed[bend] = math.inf
        return needed

    def still_needed(self, at: Arrival) -> int:
        """Return how many new holds the bends that are left need at least, some large number if none will do."""
        served = max(self.reach(at.leads, at.hold), at.bend)
        own = 0.0 if served >= self.n else min(self.fresh[at.leads][k + 1] for k in range(at.bend, served + 1))
        across = self.fresh[other(at.leads)][self.n + 2 - at.ahead] if at.ahead > 1 else 0.0
        return int(min(own + across, NEVER // RECLAMP))
