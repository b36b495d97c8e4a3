"""One order, judged: the best way to carry it out, or the first step that fails and why, or why that is not settled.

The order is searched like the whole problem, with every other arrival forbidden: re-grips, reloads, trims and holds
stay to choose. Checks and what is learned are shared with the whole search. Where nothing goes, the first steps are
asked for, one more at a time, with all that speaks of later steps left out: the first so many that nothing makes name
the step that fails.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from planner.advice.answers import AtStep, Costs, Judged
from planner.advice.notation import Order, order_of, written
from planner.deadline import OutOfTime, unlimited
from planner.facts import Fact, Quantity, fact, length, needed, proved, six_digits
from planner.feasibility.orders import Case
from planner.feasibility.places import places
from planner.plans.document import Because, End, Plan, Reason
from planner.plans.minimal_conflict import Conflict, Enough, grounds_of, least_set, told
from planner.plans.plan_writer import least_of, runs_only
from planner.plans.steps import StepList
from planner.search.decision import Plannable, carried_out, what_is_proved
from planner.search.search import Search
from planner.sequencing.events import ANY, Event, Grade, NoGood, Pattern, Value
from planner.sequencing.events import Sequence as Proposal
from planner.sequencing.exact import Exact
from planner.sequencing.feasible_orders import FeasibleOrders, every_order, no_extra
from planner.sequencing.no_good_table import ENDS
from planner.tolerances import ALIKE_IN_TENTHS
from planner.wording.say import say
from planner.words import rounded_down


def judge(search: Search, order: Order, best: Plannable | None, of_best: Costs | None = None) -> Judged:
    """Return what becomes of an order.

    best: the plan that it is held against, None where there is none; of_best: what that costs, where it is known.
    """
    steps = Steps(search.case, order)
    try:
        if steps.runs < search.case.part.n_bends:
            return _not_run(search, steps)
        narrowed = search.forbidding(steps.others)
        found = carried_out(narrowed)
        if found is not None:
            return _goes(search, steps, found, (best, of_best), _fewest(narrowed, found))
        if narrowed.best(proved_only=True) is None:
            return _fails(search, steps, _first_failing(search, steps, "proved"))
        return _undecided(search, steps, _first_failing(search, steps, "unproved"))
    except OutOfTime:
        said = fact("order-out-of-time", order=written(order))
        return _judged(said, order=order, verdict="undecided", undecided_because="time limit")


# ---------------------------------------------------------------------------------------------------- its steps


@dataclass(frozen=True)
class Steps:
    """An order step by step, in the view of the end that leads at each.

    seen: bend and first formed bend ahead; runs: how many steps from the first on leave a run of neighbours.
    """

    case: Case
    order: Order

    @cached_property
    def seen(self) -> tuple[tuple[End, int, int], ...]:
        """Leading end, bend and first formed bend ahead of it (or itself) at each step, counted from that end."""
        rows, formed = [], set[int]()
        for made in self.order:
            bend = self.case.number(made.leads, made.bend)
            ahead = {self.case.number(made.leads, number) for number in formed}
            rows.append((made.leads, bend, min([bend, *(k for k in ahead if k < bend)])))
            formed.add(made.bend)
        return tuple(rows)

    @cached_property
    def runs(self) -> int:
        """How many steps from the first on keep the formed bends a run of neighbours with nothing formed behind."""
        formed = set[int]()
        for step, made in enumerate(self.order):
            ahead = made.bend - 1 if made.leads == "A" else made.bend + 1
            if formed and ahead not in formed:
                return step
            formed.add(made.bend)
        return len(self.order)

    @cached_property
    def others(self) -> tuple[NoGood, ...]:
        """What forbids every other way to form as many bends as keep a run."""
        allowed, n = set(self.seen[: self.runs]), self.case.part.n_bends
        return tuple(
            NoGood(Pattern(Event.BEND, leads, bend, (ahead, ahead)), "another order")
            for leads in ENDS
            for bend in range(1, n + 1)
            for ahead in range(max(1, bend - self.runs + 1), bend + 1)
            if (leads, bend, ahead) not in allowed
        )

    def step_of(self, pattern: Pattern) -> int | None:
        """Return the step (from 1) that a no-good can forbid in this order; None if none."""
        for step, (leads, bend, _) in enumerate(self.seen, start=1):
            if (leads, bend) == (pattern.leads, pattern.bend):
                return step + 1 if pattern.event is Event.REGRIP else step
        return None

    def up_to(self, made: int, nogoods: Iterable[NoGood]) -> list[NoGood]:
        """Return those that speak of the first so many steps."""
        return [nogood for nogood in nogoods if (self.step_of(nogood.pattern) or made + 1) <= made]

    def at(self, number: int) -> AtStep:
        """Return a step by its number from 1."""
        made = self.order[number - 1]
        return AtStep(number=number, bend=made.bend, leads=made.leads)


def _first_failing(search: Search, steps: Steps, grade: Grade) -> int | None:
    """Return the first step that cannot be made, whatever the steps before it; None where all that keep a run can.

    grade: "proved" counts only what is proved, "unproved" all that is known.
    """
    return next((made for made in range(1, steps.runs + 1) if not _begun(search, steps, made, grade)), None)


def _begun(search: Search, steps: Steps, made: int, grade: Grade) -> bool:
    """Say whether the first `made` steps can be made, whatever comes after them."""
    proposing = proposals(search, steps, made, made, grade)
    return search.settled(proposing, lambda found: search.look_into(places(found)[:made])) is not None


def proposals(
    search: Search, steps: Steps, made: int, known_to: int, grade: Grade, besides: Collection[NoGood] = ()
) -> Callable[[], Proposal | None]:
    """Return what proposes a way to carry the first `made` steps out; all that speaks of later steps is left out.

    The first `known_to` of them keep what is known, of the others only the rules are asked. grade: "proved" leaves
    aside what is not proved; besides: what else is kept.
    """
    left = FeasibleOrders(search.problem, every_order)
    rules = (*steps.others, *steps.up_to(made, search.problem.rules))

    def best() -> Proposal | None:
        known = [*steps.up_to(known_to, search.learned(grade)), *besides]
        trims = tuple(pair for pair, _ in left.worth_asking([*rules, *known]))
        return Exact().best(replace(search.problem, rules=rules, trims=trims), known, no_extra, search.prefer)

    return best


# ------------------------------------------------------------------------------------------------- the verdicts


def costs_of(found: Plannable, search: Search) -> Costs:
    """Return what a way to make the part costs, its clearances proved."""
    trial, ready = found.trial, found.trial.stationed.ready
    with unlimited():  # what goes is not lost for want of the time to say so
        least = least_of(trial, search.around)[0]
    steps = StepList(trial, least).write()
    return Costs(
        reclamps=ready.reclamps,
        turns=ready.turns,
        regrips=ready.regrips,
        reloads=ready.reloads,
        released=ready.released,
        trim_a=ready.trim_a,
        trim_b=ready.trim_b,
        time=round(math.fsum(step.time for step in steps), 3),
        smallest_clearance=min((step.clearance for step in steps if step.clearance is not None), default=None),
    )


def costs_in(made: Plan) -> Costs:
    """Return what a plan document that has steps says that its plan costs."""
    stock = made.stock
    assert stock is not None  # of every plan that has steps
    kept = ("reclamps", "turns", "regrips", "reloads", "released", "time", "smallest_clearance")
    return Costs(**{name: getattr(made, name) for name in kept}, trim_a=stock.trim_a, trim_b=stock.trim_b)


def _fewest(narrowed: Search, found: Plannable) -> bool:
    """Say whether it is proved that no way to carry the order out does with less; what goes, goes when time is over."""
    try:
        bound = narrowed.best(proved_only=True)
    except OutOfTime:
        return False
    reclamps, trim, _ = what_is_proved(narrowed, found, None if bound is None else bound.value)
    return reclamps and trim


def _goes(
    search: Search, steps: Steps, found: Plannable, against: tuple[Plannable | None, Costs | None], fewest: bool
) -> Judged:
    costs, (best, of_best) = costs_of(found, search), against
    own = best is not None and order_of(search.case, best) == steps.order
    if best is not None and of_best is None:
        of_best = costs_of(best, search)
    held = fact("own-order") if own else None if of_best is None else _held_against(costs, of_best)
    said = fact("order-goes", order=written(steps.order), costs=costs_fact(costs), against=held)
    return _judged(said, order=steps.order, verdict="goes", costs=costs, best=of_best, fewest=fewest)


def _judged(said: Fact, **fields: Any) -> Judged:
    return Judged(sentence=say(said), fact=said, **fields)


def costs_fact(costs: Costs) -> Fact:
    """Return costs as a fact: so many re-clamps, so much trim, so long, so near."""
    nearest = costs.smallest_clearance
    return fact(
        "costs",
        reclamps=costs.reclamps,
        trim=six_digits(costs.trim_a + costs.trim_b),
        time=in_seconds(1000.0 * costs.time),
        clearance=None if nearest is None else proved(nearest),
    )


def least_costs(value: Value) -> Fact:
    """Return the first two objectives as a fact: so many re-clamps and so much trim."""
    return fact("least-costs", reclamps=value.reclamps, trim=six_digits(value.trim))


def in_seconds(milliseconds: float) -> Quantity:
    """Return a time [ms] in whole seconds."""
    return Quantity(round(milliseconds / 1000.0), "s", "nearest", 0)


def _held_against(costs: Costs, best: Costs) -> Fact:
    """Return what an order costs more, or less, than the best plan."""
    said: list[Fact] = []
    reclamps, trim = costs.reclamps - best.reclamps, costs.trim_a + costs.trim_b - best.trim_a - best.trim_b
    seconds = round(costs.time) - round(best.time)
    if reclamps:
        said.append(fact("more-reclamps", reclamps=abs(reclamps), way=_more(reclamps)))
    if trim:
        said.append(fact("more-trim", trim=six_digits(abs(trim)), way=_more(trim)))
    if seconds:
        said.append(fact("more-time", time=in_seconds(1000.0 * abs(seconds)), way=_more(seconds)))
    if costs.smallest_clearance is not None and best.smallest_clearance is not None:
        farther = rounded_down(costs.smallest_clearance) - rounded_down(best.smallest_clearance)
        if abs(farther) >= ALIKE_IN_TENTHS:
            said.append(fact("more-clearance", clearance=length(abs(farther)), way=_more(farther)))
    if not said:
        return fact("as-good-as-the-best", time=in_seconds(1000.0), clearance=needed(0.1))
    return fact("against-the-best", differences=tuple(said))


def _more(difference: float) -> str:
    return "more" if difference > 0 else "less"


def _fails(search: Search, steps: Steps, made: int | None) -> Judged:
    assert made is not None  # all steps together are the whole order, and that is proved to fail
    reasons = _excluding(search, steps, made, "proved")
    return _failing(steps, made, reasons)


def _failing(steps: Steps, made: int, reasons: tuple[Reason, ...]) -> Judged:
    said = fact("order-fails", order=written(steps.order), step=made, reason=reasons[0].fact)
    return _judged(said, order=steps.order, verdict="fails", fails=steps.at(made), reasons=reasons)


def _excluding(search: Search, steps: Steps, made: int, grade: Grade) -> tuple[Reason, ...]:
    """Return the fewest sentences that together exclude the first so many steps, those of the last step first."""
    grounds = grounds_of(search, steps.up_to(made, search.learned(grade)), steps.up_to(made, search.problem.rules))
    found = least_set(grounds, Enough(search, forbidden=steps.others))
    assert found is not None  # the engine has just said so of all together
    found.sort(key=lambda ground: all(steps.step_of(nogood.pattern) != made for nogood in ground.nogoods))
    return told(search, found)


def _undecided(search: Search, steps: Steps, made: int | None) -> Judged:
    assert made is not None  # all steps together are the whole order, and nothing was found to carry it out
    reasons = _excluding(search, steps, made, "unproved")
    doubtful = [reason for reason in reasons if reason.grade == "unproved"]
    if not doubtful:  # what was learned while the step was sought has settled it
        return _failing(steps, made, reasons)
    because: Because = "no path found" if any(r.rule in ("no path found", "strike") for r in doubtful) else "too close"
    said = fact("order-not-settled", order=written(steps.order), step=made, reason=doubtful[0].fact)
    return _judged(
        said,
        order=steps.order,
        verdict="undecided",
        fails=steps.at(made),
        reasons=reasons,
        undecided_because=because,
    )


def _not_run(search: Search, steps: Steps) -> Judged:
    """Judge an order whose formed bends do not stay a run of neighbours, by what is known of its steps.

    The steps that keep a run are looked into; of those after it rules are asked that hold whatever is formed.
    """
    made = _first_failing(search, steps, "proved")
    if made is not None:
        return _fails(search, steps, made)
    ruled = _ruled_out(search, steps)
    behind = _formed_behind(search.case, steps.order) if runs_only(search.case) else None
    if ruled is not None and (behind is None or ruled[0] <= behind[0]):
        return _failing(steps, *ruled)
    if behind is not None:
        return _failing(steps, behind[0], (behind[1],))
    said = fact("order-not-tried", order=written(steps.order), step=steps.runs + 1)
    return _judged(said, order=steps.order, verdict="undecided", undecided_because="orders not tried")


def _ruled_out(search: Search, steps: Steps) -> tuple[int, tuple[Reason, ...]] | None:
    """Return the first step after the run that rules forbid whatever is formed and held, and the fewest of them."""

    def enough(grounds: Sequence[Conflict]) -> bool:
        patterns = [nogood.pattern for ground in grounds for nogood in ground.nogoods]
        return all(any(pattern.fits_trims(trims) for pattern in patterns) for trims in search.problem.trims)

    for number, (leads, bend, _) in enumerate(steps.seen[steps.runs :], start=steps.runs + 1):
        always = Pattern(Event.BEND, leads, bend, (1, bend))
        # The collet stands open at the last bend only.
        closed = {always, replace(always, released=False)} if number < len(steps.order) else {always}
        rules = [rule for rule in search.problem.rules if replace(rule.pattern, trim_lead=ANY, trim_tail=ANY) in closed]
        found = least_set(grounds_of(search, (), rules), enough)
        if found is not None:
            return number, told(search, found)
    return None


def _formed_behind(case: Case, order: Order) -> tuple[int, Reason]:
    """Return the first step with a formed bend in the tail, and why not; there is one where no run is kept."""
    formed: list[int] = []
    for number, made in enumerate(order, start=1):
        view, bend = case.view(made.leads), case.number(made.leads, made.bend)
        behind = [k for k in (case.number(made.leads, earlier) for earlier in formed) if k > bend]
        if behind:
            nearest = min(behind)
            distance = float(view.bend_starts[nearest - 1] - view.bend_starts[bend - 1])
            said = fact(
                "formed-behind",
                bend=made.bend,
                leads=made.leads,
                formed=case.number(made.leads, nearest),
                distance=length(distance),
            )
            return number, Reason.of(said, grade="proved", rule="tail", bend=made.bend, leads=made.leads)
        formed.append(made.bend)
    raise AssertionError("an order without a formed bend in the tail keeps a run of neighbours")
