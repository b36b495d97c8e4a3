"""Carry out one given order, whether or not it is the best."""

from __future__ import annotations

from planner.cuts.shop_rules import problem_of
from planner.facts import fact
from planner.feasibility.cases import case_of, surroundings_of
from planner.feasibility.orders import Case, Order, ready_of
from planner.feasibility.stations import station
from planner.feasibility.whole_order import try_order
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.plans.document import Plan, Reason
from planner.plans.plan_writer import Known
from planner.plans.reasons import from_nogood
from planner.search.decision import Decision, Plannable, value_as_printed
from planner.search.search import Search
from planner.sequencing.events import Arrival, Event, NoGood, Pattern, Sequence, Trims
from planner.sequencing.exact import Exact


def no_extra(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:  # noqa: ARG001  what an engine may ask
    """Nothing is known of tool changes or detours."""
    return 0


def nothing_but(case: Case, order: Order) -> list[NoGood]:
    """No-goods that leave this order alone, load by load; how the collet holds and the trims stay to choose."""
    n, formed = case.part.n_bends, set[int]()
    allowed: dict[tuple[str, int, int], bool] = {}  # leading end, bend, first formed bend ahead → begins a load
    for run in order:
        for place, number in enumerate(run.bends):
            ahead = {case.number(run.leads, made) for made in formed}
            bend = case.number(run.leads, number)
            allowed[run.leads, bend, min(ahead, default=bend)] = place == 0
            formed.add(number)
    patterns = []
    for leads in ("A", "B"):
        for bend in range(1, n + 1):
            for ahead in range(1, bend + 1):
                at = (leads, bend, (ahead, ahead))
                if (leads, bend, ahead) not in allowed:
                    patterns.append(Pattern(Event.BEND, *at))
                else:
                    patterns.append(Pattern(Event.LINK if allowed[leads, bend, ahead] else Event.RELOAD, *at))
    return [NoGood(pattern, "another order", fact("as-said", text="It is another order.")) for pattern in patterns]


def forced_sequence(case: Case, order: Order) -> Sequence | None:
    """The best sequence that makes this order and keeps the shop rules, None if there is none. No geometry is asked."""
    return Exact().best(problem_of(case), nothing_but(case, order), no_extra)


def forced(part: Part, machine: Machine, order: Order) -> Plan | Reason:
    """The plan that carries out this order, or why it cannot be carried out. The order must keep the shop rules."""
    case = case_of(part, machine)
    sequence = forced_sequence(case, order)
    assert sequence is not None, "a shop rule forbids this order"
    around = surroundings_of(case)
    ready = ready_of(case, sequence)
    assert ready.order == order
    trial = try_order(station(ready), around)
    search = Search.of(case, around, Exact())
    if trial.loads is None:
        search.examine(sequence)
        assert search.nogoods, "it fails only with the numbers as printed"
        return from_nogood(search, search.nogoods[0])
    found = Plannable(sequence, trial, value_as_printed(trial))
    return Known(case, ()).makeable(search, Decision(found, None, None, (False, False, False))).plan
