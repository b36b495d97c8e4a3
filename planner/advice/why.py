"""Why a part is made in the order of its plan, or why it cannot be made at all."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from planner.advice.answers import Costs, Judged, Why
from planner.advice.changes import sought
from planner.advice.notation import Order, order_of, read_order, straight_through, written
from planner.advice.order import costs_fact, costs_in, judge
from planner.advice.precedence import (
    Common,
    common_to_all,
    not_before,
    not_leading,
    precedence,
)
from planner.advice.start import start_of
from planner.cuts.impossible import broken_in_every_order
from planner.deadline import TO_FINISH, OutOfTime, finishing, limited
from planner.facts import Fact, fact, six_digits
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import planned
from planner.plans.document import Plan, Reason
from planner.plans.minimal_conflict import Conflict, Enough, grounds_of, least_grounds, least_set, told
from planner.plans.reasons import from_broken
from planner.rules.broken import Broken
from planner.search.decision import Decision, Plannable
from planner.search.search import Search
from planner.sequencing.events import NoGood, Prefer
from planner.sequencing.feasible_orders import Counts, as_good_as, better_than
from planner.wording.say import say

WHICHEVER_LEADS: Final = ("rated capacity", "largest angle", "clamp longer than the straight")
"""Rules that are broken in every order if they are broken with the one end leading."""


def why(
    part: Part,
    machine: Machine,
    *,
    order: str | None = None,
    prefer: Prefer = "fewer re-clamps",
    machines: Iterable[Machine] | None = None,
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
) -> Why:
    """Say why a part is made in the order of its plan on a machine, or why it cannot be made.

    order: one to judge, written as bend number and leading end ("3A 4A 2B 1B"). machines: the others there are; if
    given, what would make a part possible that is not is sought too. prefer, time_limit [s] and report: as in
    `planner.planning.plan`. Raises InputError for an order that is none of this part, NoTooling, SelfCrossing.
    """
    asked = None if order is None else read_order(order, part.n_bends)
    with limited(time_limit):
        found = planned(part, machine, prefer=prefer, report=report)
        made, search, decision = found.plan, found.evidence.search, found.evidence.decision
        assert search is not None  # planning leaves both
        assert decision is not None
        answer = _answer(made, search, decision)
        if asked is not None:
            answer = answer.model_copy(update={"asked": judge(search, asked, decision.plan, answer.costs)})
        if machines is None or made.verdict == "makeable":
            return answer
        changes, to_the_end = sought(part, machine, machines, None, report)
        return answer.model_copy(update={"changes": changes, "sought_to_the_end": to_the_end})


def _answer(made: Plan, search: Search, decision: Decision) -> Why:
    part, machine = search.case.part, search.case.machine
    name = fact("part", name=part.name, diameter=six_digits(part.outside_diameter), bends=part.n_bends)
    head: dict[str, Any] = {"part": part.name, "machine": machine.name, "verdict": made.verdict}
    if made.verdict == "not makeable":
        head |= _said(fact("no-order-of-part", part=name, machine=machine.name))
        try:
            with finishing(TO_FINISH):
                rules, besides = minimal_reasons(search)
        except OutOfTime:
            return Why(**head, rules=made.reasons, minimal=False)
        return Why(**head, rules=rules, minimal=True, besides=besides)
    if decision.plan is None or made.verdict == "undecided":
        return Why(
            **head,
            **_said(fact("part-not-settled", part=name, machine=machine.name)),
            undecided_because=made.undecided_because,
            rules=made.reasons,
            plain=_plain(search, None),
        )
    return _of_plan(head, name, search, decision.plan, costs_in(made))


def _said(said: Fact) -> dict[str, Any]:
    return {"sentence": say(said), "fact": said}


def _of_plan(head: dict[str, Any], name: Fact, search: Search, best: Plannable, costs: Costs) -> Why:
    order = order_of(search.case, best)
    plain = _plain(search, best, costs)
    common, start, rules = None, None, None
    try:
        common = common_to_all(search, best)
        start = start_of(search, best)
    except OutOfTime:
        pass  # what is not known by then is left out
    try:
        with finishing(TO_FINISH):
            rules = told(search, decided_by(search, best, common))
    except OutOfTime:
        pass
    return Why.model_validate(
        {
            **head,
            **_said(fact("part-goes", part=name, order=written(order), costs=costs_fact(costs))),
            "order": order,
            "costs": costs,
            "rules": rules or (),
            "minimal": rules is not None,
            "plain": plain,
            "start": start,
            "precedence": None if common is None else precedence(search, best, common),
        }
    )


def _plain(search: Search, best: Plannable | None, costs: Costs | None = None) -> tuple[Judged, ...]:
    """Return how the two plain orders fare; of 1 bend both are looked at too, as either end may lead."""
    orders: tuple[Order, ...] = straight_through(search.case.part.n_bends)
    return tuple(judge(search, order, best, costs) for order in orders)


# --------------------------------------------------------------------------------- a part that cannot be made


def minimal_reasons(search: Search) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Return sentences that together exclude every order, none of which can be left out, and what else would.

    What one bend or straight breaks in every order comes first: the sentence on the drawing's own number, with all
    others that would be enough besides.
    """
    first, *others = alone_enough(broken_in_every_order(search.case)) or [()]
    if first:
        return _from_rules(first), tuple(reason for group in others for reason in _from_rules(group))
    grounds = least_grounds(search)
    assert grounds is not None  # it is proved that there is no order
    return told(search, grounds), ()


def _from_rules(broken: Iterable[Broken]) -> tuple[Reason, ...]:
    return tuple(map(from_broken, broken))


def alone_enough(broken: Iterable[Broken]) -> list[tuple[Broken, ...]]:
    """Return what excludes every order by itself: a rule that does not ask which end leads, or one for either end."""
    groups: list[tuple[Broken, ...]] = []
    either: dict[int, list[Broken]] = {}
    for rule in broken:
        if rule.rule in WHICHEVER_LEADS:
            groups.append((rule,))
        else:
            either.setdefault(rule.bend, []).append(rule)
    return [*groups, *map(tuple, either.values())]


# ---------------------------------------------------------------------------------------- a part that is made


@dataclass(frozen=True)
class Excluded:
    """What is to be excluded: orders of some value with something forbidden."""

    counts: Counts
    forbidden: tuple[NoGood, ...]


def decided_by(search: Search, best: Plannable, common: Common | None) -> list[Conflict]:
    """Return the grounds that decided the order: none can be left out.

    Together they exclude every order that is better than the plan in re-clamps and trim, and every one as good that
    does not keep to what all as good have in common, as far as either is proved.
    """
    proved = [nogood for nogood in search.nogoods if nogood.grade == "proved"]
    candidates = grounds_of(search, proved)
    wanted = [Enough(search, entry.counts, entry.forbidden) for entry in _to_exclude(search, best, common)]
    kept: list[Conflict] = []
    excluded: list[Enough] = []
    for enough in wanted:
        found = least_set(candidates, lambda some, enough=enough: enough([*kept, *some]))  # type: ignore[misc]
        if found is not None:
            kept.extend(found)
            excluded.append(enough)
    for ground in tuple(kept):  # what came later may do without what came first
        rest = [other for other in kept if other is not ground]
        if all(enough(rest) for enough in excluded):
            kept = rest
    return sorted(kept, key=candidates.index)


def _to_exclude(search: Search, best: Plannable, common: Common | None) -> list[Excluded]:
    better, as_good = better_than(best.value, search.prefer), as_good_as(best.value, search.prefer)
    found = [Excluded(better, ())] if best.value.reclamps or best.value.trim else []
    if common is None:
        return found
    case = search.case
    found += [Excluded(as_good, not_before(case, a.first, a.then)) for a in common.arrows if a.proved]
    found += [Excluded(as_good, not_leading(case, entry.bend, entry.leads)) for entry in common.leads if entry.proved]
    return found
