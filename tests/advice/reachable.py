"""Whether some order is left by a set of no-goods, and the fewest re-clamps: dynamic programming apart from any engine.

Steps and what a no-good describes are the plain enumeration's of `tests.search.abstract`; here the states are kept, so
that many bends can be gone through. Two ways to the same last arrival with the chuck at the same angle leave the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from planner.plans.document import OrderedBend
from planner.plans.minimal_conflict import Conflict
from planner.sequencing.events import Arrival, Event, Hold, NoGood, Pattern, Trims
from planner.sequencing.problem import Problem
from tests.search.abstract import describes, next_arrivals, seen, speaks_of

FREE = (-math.inf, math.inf)
State = tuple[int, frozenset[int], Arrival | None, tuple[float, ...]]


def of_grounds(problem: Problem, grounds: Sequence[Conflict]) -> tuple[Problem, list[NoGood]]:
    """The problem with no rules, and what the grounds forbid; the chuck's range counts only where it is one of them."""
    chuck = problem.chuck
    if chuck is not None and not any(ground.chuck is not None for ground in grounds):
        chuck = FREE
    nogoods = [nogood for ground in grounds for nogood in ground.nogoods]
    return replace(problem, rules=(), chuck=chuck), nogoods


def least(problem: Problem, nogoods: Iterable[NoGood], order: Sequence[OrderedBend] = ()) -> tuple[float, float] | None:
    """The fewest re-clamps, and the least trim with so many, of what keeps rules and no-goods; None if nothing does.

    order: only its bends, one after the other, with the ends that lead; it may stop before the last bend.
    """
    every, found = [*problem.rules, *nogoods], []
    for trims in problem.trims:
        fewest = _fewest(problem, every, trims, order)
        if fewest is not None:
            found.append((float(fewest), trims.total))
    return min(found, default=None)


def _fewest(problem: Problem, nogoods: Sequence[NoGood], trims: Trims, order: Sequence[OrderedBend]) -> int | None:
    patterns = [nogood.pattern for nogood in nogoods if speaks_of(nogood.pattern, trims)]
    states: list[State] = [(0, frozenset(), None, ())]
    for step in range(len(order) if order else problem.n):
        following: dict[object, State] = {}
        for cost, formed, before, turned in states:
            for arrival, since in _steps(problem, formed, before, turned, patterns):
                number = seen(arrival.bend, arrival.leads, problem.n)
                if order and (number, arrival.leads) != (order[step].bend, order[step].leads):
                    continue
                new_hold = arrival.event is Event.LINK and arrival.hold == Hold(arrival.bend, "re-grip")
                total = cost + (arrival.event in (Event.TURN, Event.RELOAD)) + new_hold + arrival.released
                key = (arrival, 0.0 if problem.chuck is None else round(sum(since), 6))
                if key not in following or following[key][0] > total:
                    following[key] = (total, formed | {number}, arrival, since)
        states = list(following.values())
    return min((cost for cost, *_ in states), default=None)


def _steps(
    problem: Problem,
    formed: frozenset[int],
    before: Arrival | None,
    turned: tuple[float, ...],
    patterns: Sequence[Pattern],
) -> Iterable[tuple[Arrival, tuple[float, ...]]]:
    last = len(formed) == problem.n - 1 and problem.may_release
    for plain, since in next_arrivals(problem, formed, before, turned):
        for arrival in (plain, replace(plain, released=True)) if last else (plain,):
            if not any(describes(pattern, before, arrival) for pattern in patterns):
                yield arrival, since
