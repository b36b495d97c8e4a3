"""One order, judged: the best way to carry it out, or the first step that fails and why, or why that is not settled.

The order is searched like the whole problem, with every other arrival forbidden: re-grips, reloads, trims and holds
stay to choose. Checks and what is learned are shared with the whole search. Where nothing goes, the first steps are
asked for, one more at a time, with all that speaks of later steps left out: the first so many that nothing makes name
the step that fails.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from planner.advice.answers import AtStep, Costs, Judged
from planner.deadline import OutOfTime, in_time, unlimited
from planner.errors import InputError
from planner.plans.document import Because, End, OrderedBend, Plan, Reason
from planner.plans.grounds import Enough, Ground, grounds_of, least_set, restricted, told
from planner.plans.known import least_of, runs_only
from planner.plans.steps import StepList
from planner.search.decision import Plannable, carried_out, what_is_proved
from planner.search.events import ANY, Event, Grade, NoGood, Pattern, Value
from planner.search.exact import Exact
from planner.search.forbidden import ENDS
from planner.search.left import Left, every_order, no_extra
from planner.search.orders import Case
from planner.search.places import places
from planner.search.search import Search
from planner.tolerances import ALIKE_IN_TENTHS
from planner.words import at_least, counted, rounded_down

WRITTEN = 'bend number and leading end, a space between, as "3A 4A 2B 1B"'
ENTRY = re.compile(r"([1-9][0-9]{0,8})([AB])")

Order = tuple[OrderedBend, ...]


def read_order(text: str, n: int) -> Order:
    """Return an order of n bends written as bend number and leading end: "3A 4A 2B 1B". Raises InputError."""

    def refused(problem: str, found: str, suggestion: str | None = None) -> InputError:
        return InputError(
            problem, file="command line", key="--order", found=found, allowed=WRITTEN, suggestion=suggestion
        )

    order: list[OrderedBend] = []
    for word in text.split():
        entry = ENTRY.fullmatch(word)
        if entry is None:
            meant = re.sub(r"[^0-9AB]", "", word.upper())
            raise refused(f'"{word}" is no bend with a leading end', word, meant if ENTRY.fullmatch(meant) else None)
        bend, leads = int(entry[1]), _end(entry[2])
        if bend > n:
            raise refused(f"there is no bend {bend}, the part has {counted(n, 'bend')}", word)
        if any(made.bend == bend for made in order):
            raise refused(f"bend {bend} comes twice", word)
        order.append(OrderedBend(bend=bend, leads=leads))
    missing = sorted(set(range(1, n + 1)) - {made.bend for made in order})
    if missing:
        which = f"bend {missing[0]} is" if len(missing) == 1 else f"bends {', '.join(map(str, missing))} are"
        raise refused(f"{which} missing, the part has {counted(n, 'bend')}", text)
    return tuple(order)


def _end(letter: str) -> End:
    return "A" if letter == "A" else "B"


def written(order: Iterable[OrderedBend]) -> str:
    """Return an order as it is read: "3A 4A 2B 1B"."""
    return " ".join(f"{made.bend}{made.leads}" for made in order)


def straight_through(n: int) -> tuple[Order, Order]:
    """Return the two plain orders: 1 … n with end A leading, n … 1 with end B leading."""
    from_a = tuple(OrderedBend(bend=bend, leads="A") for bend in range(1, n + 1))
    return from_a, tuple(OrderedBend(bend=bend, leads="B") for bend in range(n, 0, -1))


def order_of(case: Case, found: Plannable) -> Order:
    """Return the order of a sequence."""
    return tuple(OrderedBend(bend=case.number(at.leads, at.bend), leads=at.leads) for at in found.sequence.arrivals)


def judge(search: Search, order: Order, best: Plannable | None, of_best: Costs | None = None) -> Judged:
    """Return what becomes of an order.

    best: the plan that it is held against, None where there is none; of_best: what that costs, where it is known.
    """
    steps = Steps(search.case, order)
    try:
        if steps.runs < search.case.part.n_bends:
            return _not_run(search, steps)
        narrowed = restricted(search, steps.others)
        found = carried_out(narrowed)
        if found is not None:
            return _goes(search, steps, found, (best, of_best), _fewest(narrowed, found))
        if narrowed.best(proved_only=True) is None:
            return _fails(search, steps, _first_failing(search, steps, "proved"))
        return _undecided(search, steps, _first_failing(search, steps, "unproved"))
    except OutOfTime:
        sentence = f"{written(order)} is not settled: the time limit came first."
        return Judged(order=order, verdict="undecided", sentence=sentence, undecided_because="time limit")


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
            NoGood(Pattern(Event.BEND, leads, bend, (ahead, ahead)), "another order", "")
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
    left = Left(search.problem, every_order)
    for made in range(1, steps.runs + 1):
        rules = (*steps.others, *steps.up_to(made, search.problem.rules))
        while True:
            in_time()
            known = [nogood for nogood in search.nogoods if grade == "unproved" or nogood.grade == "proved"]
            known = steps.up_to(made, known)
            trims = tuple(pair for pair, _ in left.worth_asking([*rules, *known]))
            found = Exact().best(replace(search.problem, rules=rules, trims=trims), known, no_extra, search.prefer)
            if found is None:
                return made
            if not search.look_into(places(found)[:made]):
                break
    return None


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
    sentence = f"{written(steps.order)} goes: {in_words(costs)}."
    if own:
        sentence = f"{sentence} It is the plan's own order."
    elif of_best is not None:
        sentence = f"{sentence} {_held_against(costs, of_best)}"
    return Judged(order=steps.order, verdict="goes", sentence=sentence, costs=costs, best=of_best, fewest=fewest)


def in_words(costs: Costs) -> str:
    """Return costs in words: "1 re-clamp, 0 mm of trim, 214 s, smallest clearance 14.2 mm"."""
    said = [counted(costs.reclamps, "re-clamp"), f"{costs.trim_a + costs.trim_b:g} mm of trim", f"{costs.time:.0f} s"]
    if costs.smallest_clearance is not None:
        said.append(f"smallest clearance {at_least(costs.smallest_clearance)}")
    return ", ".join(said)


def least_in_words(value: Value) -> str:
    """Return the first two objectives in words: "1 re-clamp and 25 mm of trim"."""
    return f"{counted(value.reclamps, 're-clamp')} and {value.trim:g} mm of trim"


def in_seconds(milliseconds: int) -> str:
    """Return a time [ms] in words: "6 s"."""
    return f"{milliseconds / 1000.0:.0f} s"


def _held_against(costs: Costs, best: Costs) -> str:
    """Say what an order costs more, or less, than the best plan."""
    said: list[str] = []
    reclamps, trim = costs.reclamps - best.reclamps, costs.trim_a + costs.trim_b - best.trim_a - best.trim_b
    seconds = round(costs.time) - round(best.time)
    for difference, words in ((reclamps, counted(abs(reclamps), "re-clamp")), (trim, f"{abs(trim):g} mm of trim")):
        if difference:
            said.append(f"{words} {'more' if difference > 0 else 'less'}")
    if seconds:
        said.append(f"{abs(seconds)} s {'more' if seconds > 0 else 'less'}")
    if costs.smallest_clearance is not None and best.smallest_clearance is not None:
        nearer = rounded_down(best.smallest_clearance) - rounded_down(costs.smallest_clearance)
        if abs(nearer) >= ALIKE_IN_TENTHS:
            said.append(f"{abs(nearer):.1f} mm {'less' if nearer > 0.0 else 'more'} clearance")
    return (
        f"Against the best plan: {', '.join(said)}." if said else "The best plan costs as much, within 1 s and 0.1 mm."
    )


def _fails(search: Search, steps: Steps, made: int | None) -> Judged:
    assert made is not None  # all steps together are the whole order, and that is proved to fail
    reasons = _excluding(search, steps, made, "proved")
    return _failing(steps, made, reasons)


def _failing(steps: Steps, made: int, reasons: tuple[Reason, ...]) -> Judged:
    sentence = f"{written(steps.order)} fails at step {made}: {reasons[0].sentence}"
    return Judged(order=steps.order, verdict="fails", sentence=sentence, fails=steps.at(made), reasons=reasons)


def _excluding(search: Search, steps: Steps, made: int, grade: Grade) -> tuple[Reason, ...]:
    """Return the fewest sentences that together exclude the first so many steps, those of the last step first."""
    known = [nogood for nogood in search.nogoods if grade == "unproved" or nogood.grade == "proved"]
    grounds = grounds_of(search, steps.up_to(made, known), steps.up_to(made, search.problem.rules))
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
    sentence = f"{written(steps.order)} is not settled at step {made}: {doubtful[0].sentence}"
    return Judged(
        order=steps.order,
        verdict="undecided",
        sentence=sentence,
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
    sentence = (
        f"{written(steps.order)} is not settled: from step {steps.runs + 1} on the formed bends are no run of"
        " neighbours that ends at the die, and on a bender without a mandrel and a carriage such orders are not tried"
        " yet."
    )
    return Judged(order=steps.order, verdict="undecided", sentence=sentence, undecided_because="orders not tried")


def _ruled_out(search: Search, steps: Steps) -> tuple[int, tuple[Reason, ...]] | None:
    """Return the first step after the run that rules forbid whatever is formed and held, and the fewest of them."""

    def enough(grounds: Sequence[Ground]) -> bool:
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
            sentence = (
                f"Bend {made.bend} with end {made.leads} leading: bend {case.number(made.leads, nearest)} is formed"
                f" already and would lie in the tail, {distance:.1f} mm behind the tangent point, where the tube must"
                " still be straight."
            )
            reason = Reason(sentence=sentence, grade="proved", rule="tail", bend=made.bend, leads=made.leads)
            return number, reason
        formed.append(made.bend)
    raise AssertionError("an order without a formed bend in the tail keeps a run of neighbours")
