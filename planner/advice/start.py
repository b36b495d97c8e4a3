"""Why a part is not begun with an end bend, where its plan begins elsewhere."""

from __future__ import annotations

from planner.advice.answers import Begun, Start
from planner.advice.order import Order, in_seconds, least_in_words, order_of, written
from planner.feasibility.orders import Case
from planner.plans.document import OrderedBend
from planner.plans.grounds import Enough, grounds_of, least_set, told
from planner.plans.known import runs_only
from planner.search.decision import Plannable, carried_out
from planner.search.search import Search
from planner.sequencing.events import Event, NoGood, Pattern, Sequence
from planner.sequencing.feasible_orders import as_good_as
from planner.sequencing.forbidden import ENDS
from planner.sequencing.tie_break import SAME_TIME


def begun_elsewhere(order: Order) -> bool:
    """Say whether an order begins neither with bend 1, end A leading, nor with the last bend, end B leading."""
    n = len(order)
    return n > 1 and order[0] not in (OrderedBend(bend=1, leads="A"), OrderedBend(bend=n, leads="B"))


def other_begins(case: Case, way: OrderedBend) -> tuple[NoGood, ...]:
    """Return what forbids every first bend but one."""
    first = (way.leads, case.number(way.leads, way.bend))
    return tuple(
        NoGood(Pattern(Event.LOAD, leads, bend, (1, bend)), "another beginning", "")
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
    costs, first, n = least_in_words(best.value), order[0], len(order)
    if must:
        sentence = f"It must be begun in the middle: no plan with {costs} begins with bend 1 or bend {n}."
    else:
        sentence = f"The plan is begun with {first.bend}{first.leads} ({costs}). Begun with bend 1 or bend {n}:"
    return Start(sentence=sentence, must=must, ways=ways)


def _begun(search: Search, best: Plannable, way: OrderedBend) -> Begun:
    """Return what beginning with one bend and leading end comes to."""
    forbidden = other_begins(search.case, way)
    narrowed = search.forbidding(forbidden)
    found, bound = carried_out(narrowed), narrowed.best(proved_only=True)
    said, costs = f"{way.bend}{way.leads} first", least_in_words(best.value)
    if bound is None and runs_only(search.case):
        grounds = least_set(grounds_of(search, search.proved), Enough(search, forbidden=forbidden))
        assert grounds is not None  # the engine has just found no order
        reasons = told(search, grounds)
        sentence = f"{said}: no plan begins so. {reasons[0].sentence}"
        return Begun(bend=way.bend, leads=way.leads, verdict="never", sentence=sentence, reasons=reasons)
    as_good = as_good_as(best.value, search.prefer)
    if found is None or bound is None or (as_good(bound.value) and not as_good(found.value)):
        sentence = f"{said}: it is not settled whether that goes with {costs}."
        return Begun(bend=way.bend, leads=way.leads, verdict="not settled", sentence=sentence)
    order = written(order_of(search.case, found))
    if not as_good(found.value) and not runs_only(search.case):
        sentence = f"{said}: {order} takes {least_in_words(found.value)}; orders that leave gaps were not tried."
        return Begun(bend=way.bend, leads=way.leads, verdict="not settled", sentence=sentence)
    if not as_good(found.value):
        sentence = f"{said}: {order} takes {least_in_words(found.value)}, and none so begun takes {costs}."
        return Begun(bend=way.bend, leads=way.leads, verdict="costs more", sentence=sentence)
    sentence = f"{said}: {order} goes as well, but {_comes_after(search, found, best)}."
    return Begun(bend=way.bend, leads=way.leads, verdict="as good", sentence=sentence)


def _comes_after(search: Search, found: Plannable, best: Plannable) -> str:
    """Say by what the plan was taken before another one that is as good: `sequencing/tie_break.py` in words."""
    slower = found.value.time - best.value.time
    if slower > SAME_TIME:
        return f"takes {in_seconds(slower)} longer"
    changes, back, ahead = rank(search, found.sequence)
    own_changes, own_back, own_ahead = rank(search, best.sequence)
    if changes != own_changes:
        return f"rotates {changes} times the other way than before, not {own_changes} (within {in_seconds(SAME_TIME)})"
    if back != own_back:
        return f"is drawn back by {back} mm, not {own_back} mm"
    if ahead != own_ahead:
        return f"has more tube ahead of the die: {ahead} mm, summed over the bends, not {own_ahead} mm"
    return f"of equals (within {in_seconds(SAME_TIME)}) end A and low bends come first"


def rank(search: Search, sequence: Sequence) -> tuple[int, int, int]:
    """Return what the choice among equals goes by: changes of direction, back-feeding [mm], tube ahead in sum [mm]."""
    changes, backs, aheads, way = 0, 0, 0, 0
    before = None
    for arrival in sequence.arrivals:
        direction, back, ahead = search.handling.sense(before, arrival, sequence.trims)
        changes, backs, aheads = changes + (direction * way < 0), backs + back, aheads + ahead
        way, before = direction or way, arrival
    return changes, backs, aheads
