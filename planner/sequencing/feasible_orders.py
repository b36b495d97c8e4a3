"""Whether an order is left by rules and no-goods, whatever it costs beside its re-clamps and trim."""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Sequence
from itertools import count

from planner.deadline import in_time
from planner.sequencing.events import Arrival, NoGood, Prefer, Trims, Value
from planner.sequencing.exact import NEVER, RECLAMP, OneTrim, Stands
from planner.sequencing.problem import Problem

FREE_CHUCK = (-math.inf, math.inf)
"""A chuck that turns for ever, of which the shorter and the longer way round are still told apart [rad]."""

Counts = Callable[[Value], bool]
"""Whether an order of some value is one that must be excluded; what is worse than one that need not be need not be."""


def no_extra(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:  # noqa: ARG001  what an engine may ask
    """Return what an arrival is taken to take more than its least: nothing."""
    return 0


def every_order(value: Value) -> bool:  # noqa: ARG001  what is asked of an order
    """Every order counts."""
    return True


def better_than(value: Value, prefer: Prefer) -> Counts:
    """Return what says whether an order is better in stock, re-clamps and trim, whatever its time."""
    ours = value.key(prefer)[:3]
    return lambda other: other.key(prefer)[:3] < ours


def as_good_as(value: Value, prefer: Prefer) -> Counts:
    """Return what says whether an order has no more re-clamps and no more trim, as they count here."""
    ours = value.key(prefer)[:3]
    return lambda other: other.key(prefer)[:3] <= ours


class FeasibleOrders:
    """Asks whether an order that counts is left by rules and no-goods, whatever it costs beside its re-clamps and trim.

    A pair of trims is not asked of where another one leaves all that it leaves, and nothing is gone through beyond the
    re-clamps that count.
    """

    def __init__(self, problem: Problem, counts: Counts) -> None:
        costs = [(pair, problem.value(0, pair, 0)) for pair in problem.trims]
        self.most = [(pair, most) for pair, cost in costs if (most := _most_reclamps(cost, counts)) is not None]

    def __call__(self, problem: Problem, nogoods: Sequence[NoGood]) -> bool:
        """Say whether one is left by the rules of a problem and by no-goods."""
        known = [*problem.rules, *nogoods]
        asked = self.worth_asking(known)
        return any(_within(OneTrim(problem, known, no_extra, trims), most) for trims, most in asked)

    def worth_asking(self, known: Sequence[NoGood]) -> list[tuple[Trims, int]]:
        """Return the pairs of trims that leave what no other one leaves, and how many re-clamps count with each."""
        kept: list[tuple[frozenset[int], int, Trims]] = []
        for trims, most in self.most:
            fitting = frozenset(place for place, nogood in enumerate(known) if nogood.pattern.fits_trims(trims))
            if not any(fewer <= fitting and most <= more for fewer, more, _ in kept):
                kept = [entry for entry in kept if not (fitting <= entry[0] and entry[1] <= most)]
                kept.append((fitting, most, trims))
        return [(trims, most) for _, most, trims in kept]


def _most_reclamps(cost: Value, counts: Counts) -> int | None:
    """Return how many re-clamps an order with such trims may have and still counts; None if it never does."""
    without_end = NEVER // RECLAMP - 2
    if counts(cost._replace(reclamps=without_end)):
        return without_end
    most = next(reclamps for reclamps in range(without_end + 1) if not counts(cost._replace(reclamps=reclamps))) - 1
    return None if most < 0 else most


def _within(job: OneTrim, most: int) -> bool:
    """Say whether there is a sequence with no more re-clamps; what may end with the fewest is gone on with first."""
    limit, number = (most + 1) * RECLAMP - 1, count()
    turns_for_ever = job.problem.chuck in (None, FREE_CHUCK)
    heap: list[tuple[int, int, int, Stands, Arrival]] = []

    def put(cost: int, stands: Stands, at: Arrival) -> None:
        at_least = cost + job.left(at, stands)
        if at_least <= limit:
            heapq.heappush(heap, (at_least // RECLAMP, -next(number), cost, stands, at))

    for load, stands, cost in job.loads():
        put(cost, stands, load)
    reached: dict[tuple[Arrival, tuple[int, float | None]], int] = {}
    while heap:
        _, _, cost, stands, at = heapq.heappop(heap)
        in_time()
        key = (at, stands.key())
        if reached.get(key, NEVER) <= cost // RECLAMP:
            continue
        reached[key] = cost // RECLAMP
        if job.finished(at):
            return True
        for arrival, after, more in job.steps(at, stands):
            put(cost + more, after._replace(chuck=0.0) if turns_for_ever else after, arrival)
    return False
