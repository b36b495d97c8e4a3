"""Why the orders straight through from either end are not the plan."""

from __future__ import annotations

from dataclasses import replace

from planner.search.search import Search
from planner.sequencing.events import Arrival, Event, Hold, NoGood, Sequence, Value

TELLING = 12
"""With no more bends than this the straight-through orders are looked into only to say why they are not the plan."""


def straight_through(search: Search, chosen: Sequence | None) -> list[NoGood]:
    """Return why the orders straight through from either end are not the plan, where they cannot be made."""
    said: list[NoGood] = []
    trims = search.problem.trims[-1] if chosen is None else chosen.trims
    n = search.problem.n
    for end in ("A", "B"):
        hold = Hold(1, "load")
        arrivals = tuple(
            Arrival(Event.LOAD if bend == 1 else Event.LINK, end, bend, 1, hold) for bend in range(1, n + 1)
        )
        sequence = Sequence(trims, arrivals, Value(0, trims.total, 0))
        if chosen is not None and tuple(replace(arrival, clamp=None) for arrival in chosen.arrivals) == arrivals:
            continue
        broken = search.broken_rules(sequence)
        if not broken and not search.in_the_way(sequence) and n <= TELLING:
            search.examine(sequence)
        said.extend((broken or search.in_the_way(sequence))[:1])
    return said
