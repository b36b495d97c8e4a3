"""Why no sequence is better: rules and no-goods, as few as can be, that together exclude every better one."""

from __future__ import annotations

from collections.abc import Sequence as Row
from dataclasses import replace

from planner.search.events import Arrival, Event, Hold, NoGood, Pattern, Sequence, Trims, Value
from planner.search.exact import NEVER, Exact, OneTrim
from planner.search.search import Search

MOST_QUESTIONS = 80
"""How often an engine is asked while a set is made smaller; what is left then is enough, but not the least."""

TELLING = 12
"""With no more bends than this the straight-through orders are looked into only to say why they are not the plan."""


def core(search: Search, value: Value | None) -> list[NoGood]:
    """Return rules and learned no-goods that exclude every sequence better than a value in its first two objectives.

    value None: that exclude every sequence. Shrunk by halves (Junker's QuickXplain, AAAI 2004), never by a solver's
    word for a core.
    """
    proved = [nogood for nogood in search.nogoods if nogood.grade == "proved"]
    # What comes first is kept where either would do: what holds whatever the hold, before what speaks of one hold; of
    # what was learned, whatever was learned first, the bends in order.
    learned = sorted(proved, key=lambda nogood: _in_order(nogood.pattern))
    everything = sorted([*search.problem.rules, *learned], key=lambda nogood: nogood.pattern.hold is not None)
    asked = _Enough(search, value)
    return asked.shrunk([], everything, False) if asked.enough(everything) else []


def _in_order(pattern: Pattern) -> tuple[object, ...]:
    return (pattern.leads, pattern.bend, tuple(Event).index(pattern.event), pattern.ahead, repr(pattern))


class _Enough:
    """Asks whether some no-goods exclude all that has to be excluded.

    By the exact engine's bound alone, which leaves the chuck and single holds out: whatever it excludes is excluded.
    Where that is too weak for all no-goods together the engine itself is asked, for parts with few bends.
    """

    def __init__(self, search: Search, value: Value | None) -> None:
        self.problem = replace(search.problem, rules=())
        self.prefer = search.prefer
        self.value = None if value is None else value.key(search.prefer)[:2]
        self.left = MOST_QUESTIONS
        self.searching = False

    def enough(self, nogoods: Row[NoGood]) -> bool:
        """Say whether these exclude all that has to be excluded."""
        self.left -= 1
        if not self.searching:
            if self._by_bound(list(nogoods)):
                return True
            if self.left < MOST_QUESTIONS - 1 or self.problem.n > TELLING:
                return False
            self.searching = True  # the bound is too weak for all of them together
        found = Exact().best(self.problem, nogoods, _no_extra, self.prefer)
        return found is None or self._no_better(found.value)

    def _by_bound(self, nogoods: list[NoGood]) -> bool:
        jobs = (OneTrim(self.problem, nogoods, _no_extra, trims) for trims in self.problem.trims)
        return all(job.least >= NEVER or self._no_better(job.bound()) for job in jobs)

    def _no_better(self, value: Value) -> bool:
        return self.value is not None and value.key(self.prefer)[:2] >= self.value

    def shrunk(self, kept: list[NoGood], candidates: list[NoGood], changed: bool) -> list[NoGood]:
        """Return the candidates that are needed besides those kept."""
        if self.left <= 0:
            return candidates
        if changed and self.enough(kept):
            return []
        if len(candidates) <= 1:
            return candidates
        half = len(candidates) // 2
        first, second = candidates[:half], candidates[half:]
        of_second = self.shrunk([*kept, *first], second, True)
        of_first = self.shrunk([*kept, *of_second], first, bool(of_second))
        return [*of_first, *of_second]


def _no_extra(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:  # noqa: ARG001  what an engine may ask
    return 0


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
        if chosen is not None and chosen.arrivals == arrivals:
            continue
        broken = search.broken_rules(sequence)
        if not broken and not search.in_the_way(sequence) and n <= TELLING:
            search.examine(sequence)
        said.extend((broken or search.in_the_way(sequence))[:1])
    return said
