"""What must come before what in every plan as good as the best, and which end must lead.

As good is a plan with no more re-clamps and no more trim. For two bends the search is asked for such a plan with the
other way round; what it proposes is carried out and what fails is learned, until one goes or none is left. Every plan
that is found answers for all pairs that it has the other way round. If none is left by rules and strikes alone, that
is proved.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

from planner.advice.answers import Before, Leads, Precedence
from planner.advice.diagram import text_diagram
from planner.advice.notation import Order, order_of
from planner.advice.order import least_costs
from planner.facts import fact
from planner.feasibility.orders import Case
from planner.plans.document import End, OrderedBend
from planner.plans.plan_writer import runs_only
from planner.rules.broken import other
from planner.search.decision import Plannable, carried_out
from planner.search.search import Search
from planner.sequencing.events import Event, Grade, NoGood, Pattern, Sequence
from planner.sequencing.feasible_orders import FeasibleOrders, as_good_as
from planner.wording.say import say


def not_before(case: Case, first: int, then: int) -> tuple[NoGood, ...]:
    """Return what forbids bend `first` while bend `then` is not formed (numbers from end A)."""
    patterns = []
    for leads in (_A, _B):
        bend, needed = case.number(leads, first), case.number(leads, then)
        # What lies behind the bend is never formed; what lies ahead is not where the run begins nearer than there.
        lowest = 1 if needed > bend else needed + 1
        patterns.append(Pattern(Event.BEND, leads, bend, (lowest, bend)))
    return tuple(NoGood(pattern, "the other way round") for pattern in patterns)


def not_leading(case: Case, number: int, leads: End) -> tuple[NoGood, ...]:
    """Return what forbids a bend (number from end A) with one end leading."""
    bend = case.number(leads, number)
    return (NoGood(Pattern(Event.BEND, leads, bend, (1, bend)), "the other end"),)


_A: End = "A"
_B: End = "B"


@dataclass
class AsGood:
    """Asks for plans as good as the best with something forbidden; keeps the orders of all plans that were found.

    found: orders of plans as good as the best, the plan's own first.
    """

    search: Search
    best: Plannable
    found: list[Order] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.counts = as_good_as(self.best.value, self.search.prefer)
        self.left = FeasibleOrders(self.search.problem, self.counts)
        self.found.append(order_of(self.search.case, self.best))

    def none_left(self, forbidden: Iterable[NoGood]) -> bool | None:
        """Say whether no plan as good is left when something is forbidden; True: proved, None: one goes.

        Raises OutOfTime.
        """
        narrowed = self.search.forbidding(forbidden)
        if narrowed.settled(lambda: self._proposed(narrowed, "unproved"), narrowed.examine) is not None:
            made = carried_out(narrowed)
            if made is not None and self.counts(made.value):
                self.found.append(order_of(self.search.case, made))
                return None
        # Where the formed bends need be no run of neighbours, other orders are not tried, and nothing is proved of all.
        return runs_only(self.search.case) and self._proved_none(narrowed)

    def _proved_none(self, narrowed: Search) -> bool:
        """Say whether rules and strikes alone leave none as good."""
        return narrowed.settled(lambda: self._proposed(narrowed, "proved"), narrowed.examine) is None

    def _proposed(self, narrowed: Search, grade: Grade) -> Sequence | None:
        """Return the best that what is known leaves, None where none as good is left.

        grade: "proved" counts only what is proved.
        """
        if not self.left(narrowed.problem, narrowed.learned(grade)):
            return None
        found = narrowed.propose(proved_only=grade == "proved")
        assert found is not None  # one is left
        return found


@dataclass(frozen=True)
class Common:
    """What all plans as good as the best have in common: every pair with its proof, and the arrows that say it all."""

    pairs: dict[tuple[int, int], bool]
    arrows: tuple[Before, ...]
    leads: tuple[Leads, ...]
    found: tuple[Order, ...]


def common_to_all(search: Search, best: Plannable) -> Common:
    """Return what every plan as good as the best has in common. Raises OutOfTime."""
    asked = AsGood(search, best)
    own = asked.found[0]
    places = {made.bend: place for place, made in enumerate(own)}
    pairs: dict[tuple[int, int], bool] = {}
    # Neighbours in the plan's own order first: what follows from them need not be asked.
    in_turn = sorted(combinations(places, 2), key=lambda pair: places[pair[1]] - places[pair[0]])
    for first, then in in_turn:
        through = [pairs[first, k] and pairs[k, then] for k in places if (first, k) in pairs and (k, then) in pairs]
        if any(_is_before(order, then, first) for order in asked.found):
            continue
        if any(through):
            pairs[first, then] = True
            continue
        proved = asked.none_left(not_before(search.case, first, then))
        if proved is not None:
            pairs[first, then] = proved
    pairs = {pair: proved for pair, proved in pairs.items() if all(_is_before(order, *pair) for order in asked.found)}
    leads = tuple(found for made in own if (found := _led(asked, made)) is not None)
    return Common(pairs, tuple(_reduced(pairs)), leads, tuple(dict.fromkeys(asked.found)))


def _is_before(order: Order, first: int, then: int) -> bool:
    bends = [made.bend for made in order]
    return bends.index(first) < bends.index(then)


def _led(asked: AsGood, made: OrderedBend) -> Leads | None:
    """Return the end that leads at a bend in every plan as good, None where either may."""
    turned = OrderedBend(bend=made.bend, leads=other(made.leads))
    if any(turned in order for order in asked.found):
        return None
    proved = asked.none_left(not_leading(asked.search.case, made.bend, made.leads))
    return None if proved is None else Leads(bend=made.bend, leads=made.leads, proved=proved)


def _reduced(pairs: dict[tuple[int, int], bool]) -> Iterable[Before]:
    """Yield the pairs that do not follow from others."""
    import networkx as nx

    graph: Any = nx.DiGraph(list(pairs))
    for first, then in sorted(nx.transitive_reduction(graph).edges):
        yield Before(first=first, then=then, proved=pairs[first, then])


def precedence(search: Search, best: Plannable, common: Common) -> Precedence:
    """Return what must come before what, in words and as a diagram."""
    n, costs = search.case.part.n_bends, least_costs(best.value)
    said = fact("arrows" if common.arrows else "one-bend" if n == 1 else "any-order", costs=costs)
    return Precedence(
        sentence=say(said),
        fact=said,
        bends=n,
        arrows=common.arrows,
        leads=common.leads,
        diagram=text_diagram(n, common.arrows, common.leads),
    )
