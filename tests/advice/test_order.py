"""One order: read strictly, judged as brute force and the carrying out of just that order judge it."""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from planner.advice.answers import Judged
from planner.advice.notation import order_of, read_order, straight_through, written
from planner.advice.order import costs_of, judge
from planner.deadline import limited
from planner.errors import InputError
from planner.feasibility.orders import Run
from planner.feasibility.stations import Unkeepable
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.plans.document import OrderedBend, Plan
from planner.plans.minimal_conflict import Conflict, grounds_of, told
from planner.search.decision import Decision, Plannable, carried_out
from planner.search.search import Search
from planner.sequencing.events import NoGood
from planner.sequencing.exact import Exact
from planner.tolerances import SAME_TIME
from tests.advice.parts import (
    NUMBER_WITH_UNIT,
    begun_in_the_middle,
    every_order,
    hanging_a_hair_too_low,
    order_of_job,
    random_jobs,
    searched,
)
from tests.advice.reachable import least, of_grounds
from tests.plan.brute_force.all_orders import BruteForce
from tests.plan.brute_force.orders import reclamps
from tests.plan.brute_force.sampled import CLEAR, STRUCK
from tests.plan.forced import forced, no_extra, nothing_but
from tests.plan.shop import bender, tube

Order = tuple[OrderedBend, ...]


def order(text: str) -> Order:
    """An order for the tests, read apart from the program."""
    return tuple(OrderedBend(bend=int(word[:-1]), leads=word[-1]) for word in text.split())


# ----------------------------------------------------------------------------------------------------------- reading


@pytest.mark.parametrize("text", ["1A", "3A 4A 2B 1B", "  2B\t1B\n3A 4A ", "10A 9A 1B 2B 3B 4B 5A 6A 7A 8A"])
def test_an_order_is_read_as_it_is_written(text: str) -> None:
    found = read_order(text, len(text.split()))
    assert found == order(text)
    assert written(found) == " ".join(text.split())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "bends 1, 2, 3 are missing, the part has 3 bends"),
        ("1A 2A", "bend 3 is missing"),
        ("1A 2A 2B 3A", "bend 2 comes twice"),
        ("1A 2A 4A", "there is no bend 4, the part has 3 bends"),
        (f"{'1' * 5000}A 2A 3A", "is no bend with a leading end"),
        ("0A 1A 2A", '"0A" is no bend with a leading end'),
        ("01A 2A 3A", '"01A" is no bend with a leading end'),
        ("1 2 3", '"1" is no bend with a leading end'),
        ("A1 2A 3A", '"A1" is no bend with a leading end'),
        ("1C 2A 3A", '"1C" is no bend with a leading end'),
        ("-1A 2A 3A", '"-1A" is no bend with a leading end'),
        ("1A2A3A", '"1A2A3A" is no bend with a leading end'),
        ("١A 2A 3A", '"١A" is no bend with a leading end'),
        ("1a 2A 3A", 'did you mean "1A"?'),
        ("1A, 2A, 3A", 'did you mean "1A"?'),
    ],
)
def test_what_is_no_order_of_the_part_is_refused_with_what_is_wrong(text: str, said: str) -> None:
    with pytest.raises(InputError) as refused:
        read_order(text, 3)
    assert said in str(refused.value)
    assert refused.value.key == "--order"
    assert '"3A 4A 2B 1B"' in refused.value.allowed


def test_the_plain_orders_go_straight_through_from_either_end() -> None:
    assert straight_through(3) == (order("1A 2A 3A"), order("3B 2B 1B"))


# ---------------------------------------------------------------------------------------------------- against others


@dataclass(frozen=True)
class Asked:
    """A part with every order judged; known: how many no-goods were known when each of them had been."""

    name: str
    part: Part
    machine: Machine
    search: Search
    decision: Decision
    judged: tuple[Judged, ...]
    known: tuple[int, ...]

    def then(self) -> Iterator[tuple[Judged, list[NoGood]]]:
        """Each order with what was known when it had been judged: what is learned later may say more."""
        for judged, known in zip(self.judged, self.known, strict=True):
            yield judged, self.search.nogoods[:known]


@pytest.fixture(scope="module")
def asked(campaign: bool) -> list[Asked]:
    """Random parts of few bends with every order judged."""
    found = []
    jobs = [("in the middle", *begun_in_the_middle())]
    jobs += [(job.name, job.part, job.machine) for job in random_jobs(240 if campaign else 20)]
    for name, part, machine in jobs:
        if part.n_bends <= (4 if campaign else 3):
            search, decision, _ = searched(part, machine)
            costs = None if decision.plan is None else costs_of(decision.plan, search)
            judged, known = list[Judged](), list[int]()
            for one in every_order(part.n_bends):
                judged.append(judge(search, one, decision.plan, costs))
                known.append(len(search.nogoods))
            found.append(Asked(name, part, machine, search, decision, tuple(judged), tuple(known)))
    return found


def test_every_kind_of_verdict_comes_up(asked: list[Asked]) -> None:
    seen = Counter(judged.verdict for one in asked for judged in one.judged)
    steps = Counter(judged.fails.number for one in asked for judged in one.judged if judged.fails)
    assert seen["goes"] >= 14
    assert seen["fails"] >= 30
    assert len(steps) >= 3
    assert seen["undecided"] <= sum(seen.values()) / 20


def test_brute_force_says_the_same_of_each_order(asked: list[Asked]) -> None:
    compared = 0
    for one in [one for one in asked if not one.name.startswith("crowded")]:
        brute = BruteForce(one.part, one.machine)
        possible: dict[Order, float] = {}
        thinkable: dict[Order, float] = {}
        ruled = brute.rules.within_range and brute.rules.rated
        for entry in brute._entries() if ruled else ():
            made, cost = order_of_job(entry.job), float(reclamps(entry.job))
            if thinkable.get(made, math.inf) <= cost and possible.get(made, math.inf) <= cost:
                continue
            verdict = brute.judge.verdict(entry.job, entry.loose)
            if verdict != STRUCK:
                thinkable[made] = min(thinkable.get(made, math.inf), cost)
            if entry.strict is not None and brute.judge.verdict(entry.job, entry.strict) == CLEAR:
                possible[made] = min(possible.get(made, math.inf), cost)
        for judged in one.judged:
            at_best, surely = thinkable.get(judged.order, math.inf), possible.get(judged.order, math.inf)
            words = (one.name, judged.sentence, at_best, surely)
            if judged.verdict == "goes":
                assert judged.costs is not None
                assert judged.costs.reclamps >= at_best, words
                if judged.fewest:
                    assert judged.costs.reclamps <= surely, words
            elif judged.verdict == "fails":
                assert math.isinf(surely), words
            compared += judged.verdict != "undecided"
    assert compared >= 60


def test_carrying_out_just_that_order_says_the_same(asked: list[Asked], campaign: bool) -> None:
    """Of all ways to cut the order into loads the one that is best by the rules alone is carried out."""
    compared = Counter[str]()
    for one in asked:
        going = itertools.count()
        for judged in one.judged:
            if judged.verdict == "goes" and next(going) and not campaign:
                continue  # to carry one out takes long
            case, problem = one.search.case, one.search.problem
            ruled = [(loads, nothing_but(case, loads)) for loads in cut_into_loads(judged.order)]
            asked_for = [(loads, Exact().best(problem, nogoods, no_extra)) for loads, nogoods in ruled]
            kept = [(found.value, loads) for loads, found in asked_for if found is not None]
            if not kept:
                assert judged.verdict == "fails", (one.name, judged.sentence)
                compared["ruled out"] += 1
                continue
            least_value, loads = min(kept, key=lambda way: way[0])
            try:
                outcome = forced(one.part, one.machine, loads)
            except Unkeepable:  # a rule that exact numbers keep and those of the readouts do not
                compared["rounded off"] += 1
                continue
            if isinstance(outcome, Plan):
                assert judged.verdict == "goes", (one.name, judged.sentence)
                assert judged.costs is not None
                assert (judged.costs.reclamps, judged.costs.trim_a + judged.costs.trim_b) == (
                    outcome.reclamps,
                    outcome.stock.trim_a + outcome.stock.trim_b,  # type: ignore[union-attr]
                ), (one.name, judged.sentence)
                assert judged.costs.time <= outcome.time + SAME_TIME / 1000.0  # type: ignore[operator]
                compared["carried out"] += 1
            else:
                assert judged.costs is None or judged.costs.reclamps >= least_value.reclamps, (
                    one.name,
                    judged.sentence,
                )
                compared["struck"] += 1
    assert min(compared["ruled out"], compared["carried out"], 4 * compared["struck"]) >= 8, compared


def cut_into_loads(one: Order) -> Iterator[tuple[Run, ...]]:
    """The order load by load: a load for each change of the leading end, and any others between."""
    between = range(1, len(one))
    turns = {k for k in between if one[k].leads != one[k - 1].leads}
    for more in itertools.product((False, True), repeat=len(between)):
        cuts = {k for k, cut in zip(between, more, strict=True) if cut}
        if turns <= cuts:
            loads = [one[a:b] for a, b in itertools.pairwise((0, *sorted(cuts), len(one)))]
            yield tuple(Run(load[0].leads, tuple(made.bend for made in load)) for load in loads)


def test_the_plans_own_order_costs_what_the_plan_costs(asked: list[Asked]) -> None:
    looked = 0
    for one in asked:
        if one.decision.plan is not None:
            own = next(j for j in one.judged if j.order == order_of(one.search.case, one.decision.plan))
            assert own.verdict == "goes"
            assert own.costs == own.best
            assert own.sentence.endswith("It is the plan's own order.")
            looked += 1
    assert looked >= 10


def test_no_order_is_better_than_the_plan_where_that_is_proved(asked: list[Asked]) -> None:
    for one in asked:
        if one.decision.plan is None or not one.decision.proved[0]:
            continue
        best = one.decision.plan.value
        for judged in one.judged:
            assert judged.costs is None or judged.costs.reclamps >= best.reclamps, (one.name, judged.sentence)


# ----------------------------------------------------------------------------------------------- where and why it fails


def test_the_step_that_fails_is_the_first_that_nothing_leaves(asked: list[Asked]) -> None:
    """By the tests' own dynamic programming over rules and proved no-goods, the order gone through step by step."""
    for one in asked:
        for judged, known in one.then():
            proved = [nogood for nogood in known if nogood.grade == "proved"]
            if judged.verdict != "fails":
                continue
            assert judged.fails is not None
            steps = judged.fails.number
            assert least(one.search.problem, proved, judged.order[:steps]) is None, (one.name, judged.sentence)
            if steps > 1:
                assert least(one.search.problem, proved, judged.order[: steps - 1]) is not None, (
                    one.name,
                    judged.sentence,
                )


def test_the_sentences_are_enough_to_stop_that_step_and_none_of_them_can_be_left_out(asked: list[Asked]) -> None:
    sizes = Counter[int]()
    for one in asked:
        for judged, known in one.then():
            if judged.verdict != "fails" or judged.reasons[0].rule == "tail":
                continue
            assert judged.fails is not None
            said = by_sentence(one.search, known)
            begun = judged.order[: judged.fails.number]
            grounds = [said[reason.sentence] for reason in judged.reasons]
            # What speaks of a bend speaks of its step; what speaks of a later step cannot be met by then.
            assert least(*of_grounds(one.search.problem, grounds), begun) is None, (one.name, judged.sentence)
            for ground in grounds:
                rest = [other for other in grounds if other is not ground]
                assert least(*of_grounds(one.search.problem, rest), begun) is not None, (one.name, judged.sentence)
            sizes[len(grounds)] += 1
    assert sizes[1] >= 20
    assert sum(count for size, count in sizes.items() if size > 1) >= 5


def by_sentence(search: Search, known: list[NoGood]) -> dict[str, Conflict]:
    grounds = grounds_of(search, [nogood for nogood in known if nogood.grade == "proved"])
    return {reason.sentence: ground for reason, ground in zip(told(search, grounds), grounds, strict=True)}


def test_every_sentence_has_a_number_with_a_unit(asked: list[Asked]) -> None:
    for one in asked:
        for judged in one.judged:
            for sentence in (judged.sentence, *(reason.sentence for reason in judged.reasons)):
                assert NUMBER_WITH_UNIT.search(sentence), sentence


def test_a_bend_that_would_lie_formed_in_the_tail_is_told_by_how_far_back_it_lies() -> None:
    """By hand: from the start of bend 2 to that of bend 3 its arc of 76.2 · π/2 and the straight of 200 between them."""
    search, decision, _ = searched(tube([400, 200, 200, 400], [0, 90, 90], [90, 90, 90]), bender())
    found = judge(search, order("1A 3A 2A"), decision.plan)
    assert found.verdict == "fails"
    assert found.fails is not None
    assert (found.fails.number, found.fails.bend, found.fails.leads) == (3, 2, "A")
    distance = 76.2 * math.pi / 2 + 200.0
    assert f"bend 3 is formed already and would lie in the tail, {distance:.1f} mm behind" in found.sentence
    other = judge(search, order("1A 3A 2B"), decision.plan)
    assert "bend 1 is formed already" in other.sentence
    backwards = judge(search, order("2A 1A 3A"), decision.plan)
    assert (backwards.fails.number, backwards.reasons[0].rule) == (2, "tail")  # type: ignore[union-attr]


def test_an_order_with_a_gap_that_fails_before_the_gap_fails_there() -> None:
    part, machine = begun_in_the_middle()
    search, decision, _ = searched(part, machine)
    found = judge(search, order("1A 3A 2A"), decision.plan)
    assert found.fails is not None
    assert (found.fails.number, found.reasons[0].rule) == (1, "rod length")


def test_without_a_mandrel_and_a_carriage_an_order_with_a_gap_is_not_tried() -> None:
    search, decision, _ = searched(
        tube([400, 200, 200, 400], [0, 90, 90], [60, 60, 60]), bender({"mandrel": None, "carriage": None})
    )
    found = judge(search, order("1A 3A 2A"), decision.plan)
    assert (found.verdict, found.undecided_because) == ("undecided", "orders not tried")
    assert judge(search, order("1A 2A 3A"), decision.plan).verdict == "goes"


def test_without_a_mandrel_and_a_carriage_an_order_with_a_gap_fails_where_a_step_is_proved_to_fail() -> None:
    """End A is 30 mm long, 50 mm are needed to grip: bend 1 with end A leading fails before the gap and after it."""
    search, decision, _ = searched(
        tube([30, 200, 200, 400], [0, 90, 90], [60, 60, 60]), bender({"mandrel": None, "carriage": None})
    )
    for text, step in (("1A 3A 2A", 1), ("3A 1A 2A", 2), ("2A 1A 3A", 2)):
        found = judge(search, order(text), decision.plan)
        assert (found.verdict, found.fails and found.fails.number) == ("fails", step), found.sentence
        assert found.reasons[0].rule == "shortest grip"
    for text in ("3A 1B 2A", "3A 2A 1B"):
        assert judge(search, order(text), decision.plan).undecided_because == "orders not tried"


def test_an_order_with_a_gap_fails_at_the_first_step_that_a_rule_forbids_whatever_is_formed() -> None:
    """The collet needs 150 + 40 mm behind the swing; behind bend 1, with end B leading, there are 120."""
    search, decision, verdict = searched(tube([120, 200, 200, 400], [0, 90, 90], [60, 60, 60]), bender())
    assert verdict == "makeable"
    found = judge(search, order("3B 1B 2B"), decision.plan)
    assert found.fails is not None
    assert (found.verdict, found.fails.number, found.fails.bend) == ("fails", 2, 1)
    assert found.reasons[0].rule == "carriage reach"


def test_what_is_too_close_to_call_leaves_an_order_undecided_at_its_step() -> None:
    search, decision, _ = searched(*hanging_a_hair_too_low())
    for text in ("1A 2A", "2B 1B"):
        found = judge(search, order(text), decision.plan)
        assert (found.verdict, found.undecided_because) == ("undecided", "too close")
        assert found.fails is not None
        assert found.fails.number == 2
        assert "too close to call" in found.sentence


def test_a_time_that_is_over_leaves_an_order_undecided() -> None:
    search, decision, _ = searched(*begun_in_the_middle())
    with limited(-1.0):
        found = judge(search, order("2A 3A 1B"), decision.plan)
    assert (found.verdict, found.undecided_because) == ("undecided", "time limit")


def test_an_order_that_was_found_to_go_before_the_time_was_over_goes(monkeypatch: pytest.MonkeyPatch) -> None:
    search, decision, _ = searched(*begun_in_the_middle())
    in_time = judge(search, order("2A 3A 1B"), decision.plan)

    now = 0.0

    def late(narrowed: Search) -> Plannable | None:
        nonlocal now
        found = carried_out(narrowed)
        now = 2.0
        return found

    monkeypatch.setattr("planner.advice.order.carried_out", late)
    with limited(1.0, clock=lambda: now):
        found = judge(search, order("2A 3A 1B"), decision.plan)
    assert (found.verdict, found.costs) == ("goes", in_time.costs)
    assert (in_time.fewest, found.fewest) == (True, False)


# --------------------------------------------------------------------------------------------------- what it costs more


def test_what_an_order_costs_more_than_the_plan_is_said() -> None:
    """A second turn costs a re-clamp and the time of a turn, 60 s of the profile."""
    part = tube([500, 300, 300, 500], [0, 90, 90], [45, 45, 45])
    search, decision, _ = searched(part, bender())
    found = judge(search, order("2A 3A 1B"), decision.plan)
    assert found.verdict == "goes"
    assert found.costs is not None
    assert found.best is not None
    assert (found.best.reclamps, found.costs.reclamps, found.costs.turns) == (0, 1, 1)
    assert found.fewest
    more = re.search(r"Against the best plan: 1 re-clamp more, (\d+) s more", found.sentence)
    assert more is not None
    assert int(more[1]) == round(found.costs.time) - round(found.best.time)


def test_an_order_judged_changes_nothing_of_the_plan() -> None:
    search, decision, _ = searched(*begun_in_the_middle())
    assert decision.plan is not None
    before = search.problem
    for text in ("1A 2A 3A", "2A 3A 1B", "3B 2B 1B"):
        judge(search, order(text), decision.plan)
    assert search.problem is before
    again = search.plan()
    assert again is not None
    assert again.arrivals == decision.plan.sequence.arrivals
