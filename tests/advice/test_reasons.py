"""The least set of rules is enough and minimal, by dynamic programming of the tests' own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache

import pytest

from planner.advice.precedence import common_to_all, not_before, not_leading
from planner.advice.why import WHICHEVER_LEADS, alone_enough, decided_by, why
from planner.cuts.impossible import broken_in_every_order
from planner.facts import fact
from planner.feasibility.cases import case_of, surroundings_of
from planner.inputs.files import load_machine
from planner.inputs.part import Part
from planner.plans.minimal_conflict import Conflict, Enough, grounds_of, least_grounds, least_set, told
from planner.plans.plan_writer import runs_only
from planner.rules.broken import Broken
from planner.search.decision import Decision
from planner.search.search import Search
from planner.sequencing.events import Arrival, NoGood, Pattern
from planner.sequencing.exact import Exact
from planner.sequencing.problem import Problem
from tests.advice.parts import (
    NUMBER_WITH_UNIT,
    begun_in_the_middle,
    example,
    long_bench,
    random_jobs,
    searched,
    wandering,
)
from tests.advice.reachable import least, of_grounds
from tests.plan.shop import bender, tube
from tests.search.abstract import next_arrivals, random_instance, seen


@cache
def jobs_searched(count: int) -> list[tuple[str, tuple[Search, Decision, str]]]:
    """Random jobs with their searches, once for what is asked of those that cannot be made and of the others."""
    return [(job.name, searched(job.part, job.machine)) for job in random_jobs(count)]


# ------------------------------------------------------------------------------------- a part that cannot be made


def impossible(campaign: bool) -> Iterator[tuple[str, Search]]:
    for name in ("loft-rail", "tiller-bracket"):
        yield name, searched(*example(name))[0]
    for name, (search, _, verdict) in jobs_searched(500 if campaign else 16):
        if verdict == "not makeable":
            yield name, search


def test_the_least_set_excludes_every_order_and_without_any_one_of_them_an_order_is_left(campaign: bool) -> None:
    sizes = []
    for name, search in impossible(campaign):
        grounds = least_grounds(search)
        assert grounds is not None, name
        assert least(*of_grounds(search.problem, grounds)) is None, name
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert least(*of_grounds(search.problem, rest)) is not None, (name, told(search, [ground])[0].sentence)
        sentences = [reason.sentence for reason in told(search, grounds)]
        assert len(set(sentences)) == len(sentences), name
        assert all(NUMBER_WITH_UNIT.search(sentence) for sentence in sentences), sentences
        sizes.append(len(grounds))
    assert len(sizes) >= (160 if campaign else 8)
    assert max(sizes) >= 4  # not only what a rule for either end forbids


def test_of_problems_without_geometry_the_least_set_is_enough_and_minimal_too(campaign: bool) -> None:
    search = searched(*begun_in_the_middle())[0]
    sizes = []
    for seed in range(3000 if campaign else 300):
        instance = random_instance(seed, 5)
        search = search.asking(problem=instance.problem)
        everything = grounds_of(search, instance.nogoods)
        grounds = least_set(everything, Enough(search))
        if grounds is None:
            assert least(*of_grounds(instance.problem, everything)) is not None, seed
            continue
        assert least(*of_grounds(instance.problem, grounds)) is None, seed
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert least(*of_grounds(instance.problem, rest)) is not None, seed
        sizes.append(len(grounds))
    assert len(sizes) > (400 if campaign else 40)
    assert max(sizes) >= 5


@pytest.mark.parametrize("seed", range(12))
def test_where_each_way_to_a_bend_is_forbidden_by_itself_many_are_needed_and_none_of_them_too_many(seed: int) -> None:
    search = searched(*begun_in_the_middle())[0]
    problem = replace(random_instance(seed).problem, n=3)
    problem = replace(problem, rolls=dict.fromkeys(("A", "B"), (0.0, 1.0, -2.0)), rules=())
    times = dict.fromkeys(("A", "B"), (0, 0, 0))
    problem = replace(problem, times=replace(problem.times, link=times, load=times))
    search = search.asking(problem=problem)
    alone = [
        NoGood(pattern, "strike", fact("as-said", text=f"{number} mm"))
        for number, pattern in enumerate(each_way(problem))
    ]
    grounds = least_set(grounds_of(search, alone), Enough(search))
    assert grounds is not None
    assert least(*of_grounds(problem, grounds)) is None
    assert len(grounds) >= 4
    for ground in grounds:
        assert least(*of_grounds(problem, [other for other in grounds if other is not ground])) is not None


def each_way(problem: Problem) -> list[Pattern]:
    """A pattern for every arrival that there can be, of just that arrival, in an order that the seed does not choose."""
    found: dict[Pattern, None] = {}
    walks: list[tuple[Arrival, ...]] = [()]
    for _ in range(problem.n):
        longer = []
        for walk in walks:
            formed = frozenset(seen(a.bend, a.leads, problem.n) for a in walk)
            for arrival, _ in next_arrivals(replace(problem, chuck=None), formed, walk[-1] if walk else None, ()):
                at = arrival
                found[Pattern(at.event, at.leads, at.bend, (at.ahead, at.ahead), hold=at.hold)] = None
                longer.append((*walk, at))
        walks = longer
    return list(found)


def test_a_long_parts_least_set_is_enough_and_minimal_too() -> None:
    for seed in (3, 4, 9):
        search, _, verdict = searched(wandering(seed, 12), long_bench())
        assert verdict == "not makeable"
        grounds = least_grounds(search)
        assert grounds is not None
        assert least(*of_grounds(search.problem, grounds)) is None, seed
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert least(*of_grounds(search.problem, rest)) is not None, seed


def test_a_set_that_is_not_enough_is_none() -> None:
    assert least_set([1, 2, 3], lambda some: 4 in some) is None


def test_nothing_is_kept_where_nothing_is_needed() -> None:
    assert least_set([1, 2, 3], lambda _: True) == []


@pytest.mark.parametrize("needed", [{1}, {8}, {2, 5}, {1, 4, 8}, set(range(1, 9))])
def test_what_is_needed_is_found_whatever_stands_beside_it(needed: set[int]) -> None:
    assert least_set(range(1, 9), lambda some: needed <= set(some)) == sorted(needed)


def test_of_two_that_would_do_the_first_is_kept() -> None:
    assert least_set([1, 2, 3, 4], lambda some: 2 in some or 4 in some) == [2]


def test_without_mandrel_and_carriage_the_reason_is_a_bend_that_goes_in_no_order_of_any_bends() -> None:
    part = tube([300, 200, 10], [0, 90], [60, 60])
    found = why(part, bender({"mandrel": None, "carriage": None}, {"tooling": {"shortest_tail": 400}}))
    assert found.verdict == "not makeable"
    assert {(rule.bend, rule.leads) for rule in found.rules} in ({(1, "A"), (1, "B")}, {(2, "A"), (2, "B")})
    assert all("400.0 mm" in rule.sentence for rule in found.rules)


def too_short_twice() -> Part:
    return tube([400, 50, 300, 60, 400], [0, 0, 90, 0], [45, 45, 45, 45], name="double crank")


def test_of_several_that_are_enough_one_is_the_reason_and_the_others_stand_beside_it() -> None:
    found = why(too_short_twice(), load_machine("canal-workshop"))
    (rule,) = found.rules
    assert rule.sentence == (
        "Straight 1 between bends 1 and 2 is 50.0 mm; the later of the two must be gripped on it, and the shortest"
        " clamp is 76.0 mm."
    )
    assert [(rule.rule, rule.bend) for rule in found.besides] == [("clamp longer than the straight", 3)]


def test_what_is_said_to_be_enough_by_itself_is_and_of_two_neither_can_be_left_out(campaign: bool) -> None:
    """The same rules as no-goods, by dynamic programming; a rule of either end leaves orders that the other allows."""
    parts = [(too_short_twice(), load_machine("canal-workshop")), example("tiller-bracket")]
    parts += [(job.part, job.machine) for job in random_jobs(2000 if campaign else 50)]
    looked = 0
    for part, machine in parts:
        case = case_of(part, machine)
        search = Search.of(case, surroundings_of(case), Exact())
        for group in alone_enough(broken_in_every_order(case)) if runs_only(case) else ():
            alike = [[n for n in search.problem.rules if _speaks_of(search, n, rule)] for rule in group]
            every = [nogood for nogoods in alike for nogood in nogoods]
            bare = replace(search.problem, rules=())
            assert least(bare, every) is None, (part.name, group)
            for left_out in alike if len(group) > 1 else ():
                rest = [nogood for nogood in every if nogood not in left_out]
                assert least(bare, rest) is not None, (part.name, group)
            looked += 1
    assert looked >= (60 if campaign else 10)


def _speaks_of(search: Search, nogood: NoGood, rule: Broken) -> bool:
    number = search.case.number(nogood.pattern.leads, nogood.pattern.bend)
    if rule.rule == "clamp longer than the straight":  # between this bend and the next: the later one is forbidden
        return nogood.rule == rule.rule and (number, nogood.pattern.leads) in ((rule.bend + 1, "A"), (rule.bend, "B"))
    whole = rule.rule in WHICHEVER_LEADS
    return nogood.rule == rule.rule and (whole or (number, nogood.pattern.leads) == (rule.bend, rule.leads))


# ------------------------------------------------------------------------------------------ a part that is made


def made(campaign: bool) -> Iterator[tuple[str, Search, Decision]]:
    yield ("in the middle", *searched(*begun_in_the_middle())[:2])
    for name, (search, decision, verdict) in jobs_searched(240 if campaign else 16):
        if verdict == "makeable":
            yield name, search, decision


def test_what_decided_the_order_excludes_all_that_is_better_or_otherwise_and_none_of_it_can_be_left_out(
    campaign: bool,
) -> None:
    looked = 0
    for name, search, decision in made(campaign):
        best = decision.plan
        assert best is not None
        common = common_to_all(search, best)
        grounds = decided_by(search, best, common)
        ours, case = (float(best.value.reclamps), best.value.trim), search.case
        forbidden = [not_before(case, arrow.first, arrow.then) for arrow in common.arrows if arrow.proved]
        forbidden += [not_leading(case, entry.bend, entry.leads) for entry in common.leads if entry.proved]
        if decision.proved[:2] != (True, True):
            continue  # then something better is not excluded
        assert _excludes(search, grounds, ours, forbidden), name
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert not _excludes(search, rest, ours, forbidden), (name, told(search, [ground])[0].sentence)
        looked += bool(grounds)
    assert looked >= (60 if campaign else 4)


def _excludes(
    search: Search, grounds: list[Conflict], ours: tuple[float, float], forbidden: Sequence[Sequence[NoGood]]
) -> bool:
    """Whether grounds exclude all that is better than the plan, and with each of some things forbidden all as good."""
    problem, nogoods = of_grounds(search.problem, grounds)
    better = least(problem, nogoods)
    if better is not None and better < ours:
        return False
    as_good = [least(problem, [*nogoods, *more]) for more in forbidden]
    return all(found is None or found > ours for found in as_good)
