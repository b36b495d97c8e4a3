"""Other plans that are better in something: re-clamps, trim, handling time or smallest clearance.

For every pair of trims the best plan, then the best of those that keep every motion farther than that plan's smallest
clearance, and so on: each rung forbids what came nearest on the one before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from planner.deadline import OutOfTime
from planner.search.decision import Plannable, carried_out
from planner.search.search import Search
from planner.sequencing.events import Event, NoGood, Pattern
from planner.tolerances import ALIKE_IN_TENTHS, SAME_TIME
from planner.tube.bodies import Motion

MOST_RUNGS = 8
"""Plans looked for at most for one pair of trims."""

MORE_RECLAMPS = 2
"""How many re-clamps more than the best plan's another plan may have to be worth showing."""

RUNG = "nearer than another way"

Clearances = Callable[[Plannable], dict[Motion, float]]
"""The smallest clearance of every motion of a plan [mm]."""


@dataclass(frozen=True)
class Way:
    """One plan and the smallest clearance of all its motions [mm]."""

    plan: Plannable
    clearance: float

    def is_as_good_as(self, other: Way) -> bool:
        """Say whether it is no worse in anything that a shop would notice."""
        ours, theirs = self.plan.value, other.plan.value
        return (
            ours.reclamps <= theirs.reclamps
            and ours.trim <= theirs.trim
            and ours.time <= theirs.time + SAME_TIME
            and self.clearance >= other.clearance - ALIKE_IN_TENTHS
        )


def other_ways(search: Search, best: Plannable, clearances: Clearances) -> tuple[list[Way], bool]:
    """Return the plans that no other one found beats, the best by the objectives first, without the plan itself.

    And whether they were sought to the end: False where the time limit came first.
    """
    found: list[Way] = []
    to_the_end = True
    try:
        found.append(Way(best, min(clearances(best).values(), default=0.0)))
        for trims in search.problem.trims:
            with_trims = search.asking(problem=replace(search.problem, trims=(trims,)))
            for way in _ladder(with_trims, best.value.reclamps + MORE_RECLAMPS, clearances):
                found.append(way)
    except OutOfTime:
        to_the_end = False
    if not found:
        return [], to_the_end
    kept: list[Way] = []
    for way in [found[0], *sorted(found[1:], key=lambda way: (way.plan.value.key(search.prefer), -way.clearance))]:
        if not any(earlier.is_as_good_as(way) for earlier in kept):
            kept.append(way)
    return kept[1:], to_the_end


def saved_by_stock(search: Search, best: Plannable) -> Plannable | None:
    """Return the plan with the fewest re-clamps that stock nobody has stated makes possible, None if it saves none.

    Raises OutOfTime.
    """
    if not search.case.unasked or best.value.reclamps == 0:
        return None
    asked = search.asking(problem=replace(search.problem, unasked=frozenset()), prefer="fewer re-clamps")
    rough = asked.best()
    fewer = rough is not None and rough.value.reclamps < best.value.reclamps
    found = carried_out(asked) if fewer else None
    return found if found is not None and found.value.reclamps < best.value.reclamps else None


def _ladder(search: Search, most_reclamps: int, clearances: Clearances) -> Iterator[Way]:
    """Yield the best plan with the trims at hand, then better and better kept ones."""
    for _ in range(MOST_RUNGS):
        plan = carried_out(search)
        if plan is None or plan.value.reclamps > most_reclamps:
            break
        kept = clearances(plan)
        least = min(kept.values(), default=0.0)
        yield Way(plan, least)
        search = search.forbidding(_nearest(plan, kept, least + ALIKE_IN_TENTHS))


def _nearest(plan: Plannable, kept: dict[Motion, float], least: float) -> list[NoGood]:
    """Return no-goods for the places of a plan that come no farther than the least [mm]."""
    assert plan.trial.loads is not None  # a plan is carried out
    done = [bend for load in plan.trial.loads for bend in load]
    found = []
    for at, bend in zip(plan.sequence.arrivals, done, strict=True):
        for event, motions in ((at.event, bend.placing), (Event.BEND, (*bend.gripping, *bend.returning))):
            if min((kept.get(motion, least + 1.0) for motion in motions), default=least + 1.0) <= least:
                pattern = Pattern(event, at.leads, at.bend, (at.ahead, at.ahead))
                found.append(NoGood(pattern, RUNG, None, "unproved"))
    return found
