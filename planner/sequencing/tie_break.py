"""Which of the equally good sequences becomes the plan: the stated rule.

Sequences with the fewest re-clamps and the least trim that take no longer than SAME_TIME more than the fastest count as
equally good. Of these the one is taken with, in this order: the longer clamps (the least that they are shorter than
the longest there is, summed over the bends); the fewest changes of the rotation's direction; the least back-feeding;
the longer side in the carriage (the least tube ahead of the tangent point, summed over the bends); the shorter time;
end A leading and the lower bend first where orders still differ.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from itertools import count

from planner.deadline import in_time
from planner.sequencing.events import Arrival, Event, NoGood, Sequence, Trims
from planner.sequencing.exact import NEVER, RECLAMP, OneTrim, Stands, value_of, walked
from planner.sequencing.problem import Extra, Problem
from planner.tolerances import SAME_TIME

Sense = Callable[[Arrival | None, Arrival, Trims], tuple[int, int, int]]
"""Direction of an arrival's rotation (0 for none or either), its back-feeding [mm], the tube ahead at its bend [mm]."""


def chosen(problem: Problem, nogoods: Iterable[NoGood], extra: Extra, best: Sequence, sense: Sense) -> Sequence:
    """Return the sequence that the rule takes among those as good as the best one."""
    known = [*problem.rules, *nogoods]
    limit = best.value.reclamps * RECLAMP + best.value.time + SAME_TIME
    found = []
    for trims in problem.of_same_stock(best.value):
        first = _Choice(OneTrim(problem, known, extra, trims), limit, sense).first()
        if first is not None:
            found.append(first)
    return min(found, key=lambda entry: entry[0])[1] if found else best


Rank = tuple[float, int, int, int]


class _Choice:
    """Walks the sequences within the limit by rank, the least first."""

    def __init__(self, job: OneTrim, limit: int, sense: Sense) -> None:
        self.job, self.limit, self.sense = job, limit, sense
        self.number = count()
        self.heap: list[tuple[Rank, int, tuple[int, ...], int, int, Stands, Arrival, object]] = []

    def _push(
        self, rank: Rank, cost: int, order: tuple[int, ...], way: int, stands: Stands, at: Arrival, trail: object
    ) -> None:
        if cost + self.job.left(at, stands) <= self.limit:
            heapq.heappush(self.heap, (rank, cost, order, next(self.number), way, stands, at, trail))

    def first(self) -> tuple[tuple[Rank, int, tuple[int, ...]], Sequence] | None:
        """Return the sequence of least rank, and what it is compared by."""
        job = self.job
        for load, stands, cost in job.loads():
            rank, way = self._ranked((0.0, 0, 0, 0), 0, None, load)
            self._push(rank, cost, (self._place(load),), way, stands, load, None)
        reached: dict[tuple[Arrival, tuple[int, float | None], int], int] = {}
        while self.heap:
            rank, cost, order, _, way, stands, at, trail = heapq.heappop(self.heap)
            in_time()
            key = (at, stands.key(), way)
            if reached.get(key, NEVER) <= cost:
                continue
            reached[key] = cost
            here = (at, trail)
            if job.finished(at):
                return (rank, cost, order), Sequence(job.trims, walked(here), value_of(cost, job.trims, job.problem))
            for arrival, after, more in job.steps(at, stands):
                ranked, direction = self._ranked(rank, way, at, arrival)
                self._push(ranked, cost + more, (*order, self._place(arrival)), direction, after, arrival, here)
        return None

    def _ranked(self, rank: Rank, way: int, before: Arrival | None, arrival: Arrival) -> tuple[Rank, int]:
        """Return the rank with an arrival added, and the direction of the last rotation."""
        direction, back, ahead = self.sense(before, arrival, self.job.trims)
        shorter, changes, backs, aheads = rank
        if arrival.clamp is not None and self.job.problem.clamps is not None:
            longest = self.job.problem.clamps[arrival.leads][arrival.bend - 1].at_end[0]
            shorter = round(shorter + longest - arrival.clamp, 6)
        return (shorter, changes + (direction * way < 0), backs + back, aheads + ahead), direction or way

    def _place(self, arrival: Arrival) -> int:
        """Return a number by which orders compare: A before B, then lower bends, links before loads."""
        run = self.job.forbidden.run(arrival.leads, arrival.bend, arrival.ahead)
        end = 0 if arrival.leads == "A" else 1
        return (end * 1000 + run[end == 0]) * 4 + (arrival.event is not Event.LINK) * 2 + arrival.regripped
