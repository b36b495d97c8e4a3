"""Why a part is not begun with an end bend, where its plan begins elsewhere."""

from __future__ import annotations

from planner.advice.answers import Begun, BegunVerdict, Start
from planner.advice.notation import Order, order_of, written
from planner.advice.order import in_seconds, least_costs
from planner.facts import Fact, fact, length
from planner.feasibility.orders import Case
from planner.plans.document import OrderedBend, Reason
from planner.plans.minimal_conflict import Enough, grounds_of, least_set, told
from planner.plans.plan_writer import runs_only
from planner.search.decision import Plannable, carried_out
from planner.search.search import Search
from planner.sequencing.events import Event, NoGood, Pattern, Sequence
from planner.sequencing.feasible_orders import as_good_as
from planner.sequencing.no_good_table import ENDS
from planner.tolerances import SAME_TIME
from planner.wording.say import say


def begun_elsewhere(order: Order) -> bool:
    """Say whether an order begins neither with bend 1, end A leading, nor with the last bend, end B leading."""
    n = len(order)
    return n > 1 and order[0] not in (OrderedBend(bend=1, leads="A"), OrderedBend(bend=n, leads="B"))


def other_begins(case: Case, way: OrderedBend) -> tuple[NoGood, ...]:
    """Return what forbids every first bend but one."""
    first = (way.leads, case.number(way.leads, way.bend))
    return tuple(
        NoGood(Pattern(Event.LOAD, leads, bend, (1, bend)), "another beginning")
        for leads in ENDS
        for bend in range(1, case.part.n_bends + 1)
        if (leads, bend) != first
    )


def start_of(search: Search, best: Plannable) -> Start | None:
    """Return why the plan does not begin with an end bend; None where it does. Raises OutOfTime."""
    order = order_of(search.case, best)
    if not begun_elsewhere(order):
        return None
    ends = [OrderedBend(bend=bend, leads=leads) for bend in (1, len(order)) for leads in ENDS]
    ways = tuple(_begun(search, best, way) for way in ends if way != order[0])
    must = order[0].bend not in (1, len(order)) and all(way.verdict in ("never", "costs more") for way in ways)
    costs, first, n = least_costs(best.value), order[0], len(order)
    said = fact("begun-elsewhere", bend=first.bend, leads=first.leads, costs=costs, last=n)
    if must:
        said = fact("begun-in-the-middle", costs=costs, last=n)
    return Start(sentence=say(said), fact=said, must=must, ways=ways)


def _begun(search: Search, best: Plannable, way: OrderedBend) -> Begun:
    """Return what beginning with one bend and leading end comes to."""
    forbidden = other_begins(search.case, way)
    narrowed = search.forbidding(forbidden)
    found, bound = carried_out(narrowed), narrowed.best(proved_only=True)
    costs, as_good = least_costs(best.value), as_good_as(best.value, search.prefer)

    def begun(verdict: BegunVerdict, outcome: Fact, reasons: tuple[Reason, ...] = ()) -> Begun:
        said = fact("begun", bend=way.bend, leads=way.leads, outcome=outcome)
        return Begun(bend=way.bend, leads=way.leads, verdict=verdict, sentence=say(said), fact=said, reasons=reasons)

    if bound is None and runs_only(search.case):
        grounds = least_set(grounds_of(search, search.proved), Enough(search, forbidden=forbidden))
        assert grounds is not None  # the engine has just found no order
        reasons = told(search, grounds)
        return begun("never", fact("never-begun-so", reason=reasons[0].fact), reasons)
    if found is None or bound is None or (as_good(bound.value) and not as_good(found.value)):
        return begun("not settled", fact("begin-not-settled", costs=costs))
    order, so = written(order_of(search.case, found)), least_costs(found.value)
    if not as_good(found.value) and not runs_only(search.case):
        return begun("not settled", fact("begin-with-gaps-not-tried", order=order, costs=so))
    if not as_good(found.value):
        return begun("costs more", fact("begin-costs-more", order=order, costs=so, best=costs))
    return begun("as good", fact("begin-as-good", order=order, but=_comes_after(search, found, best)))


def _comes_after(search: Search, found: Plannable, best: Plannable) -> Fact:
    """Return by what the plan was taken before another one that is as good: the rule of `sequencing/tie_break.py`."""
    slower, within = found.value.time - best.value.time, in_seconds(SAME_TIME)
    if slower > SAME_TIME:
        return fact("takes-longer", time=in_seconds(slower))
    changes, back, ahead = rank(search, found.sequence)
    own_changes, own_back, own_ahead = rank(search, best.sequence)
    if changes != own_changes:
        return fact("turns-back-more", times=changes, best=own_changes, within=within)
    if back != own_back:
        return fact("drawn-back-more", way=length(back, 0), best=length(own_back, 0))
    if ahead != own_ahead:
        return fact("more-ahead", ahead=length(ahead, 0), best=length(own_ahead, 0))
    return fact("of-equals", within=within)


def rank(search: Search, sequence: Sequence) -> tuple[int, int, int]:
    """Return what the choice among equals goes by: changes of direction, back-feeding [mm], tube ahead in sum [mm]."""
    changes, backs, aheads, way = 0, 0, 0, 0
    before = None
    for arrival in sequence.arrivals:
        direction, back, ahead = search.handling.sense(before, arrival, sequence.trims)
        changes, backs, aheads = changes + (direction * way < 0), backs + back, aheads + ahead
        way, before = direction or way, arrival
    return changes, backs, aheads
