"""What comes before what, against every order there is, judged one by one; and its drawings."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from xml.etree import ElementTree as ET

import pytest

from planner.advice.answers import Before, Leads, Precedence
from planner.advice.diagram import columns_of, svg_diagram, text_diagram
from planner.advice.notation import Order
from planner.advice.order import costs_of, judge
from planner.advice.precedence import Common, common_to_all, not_before, not_leading, precedence
from planner.facts import fact
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.plans.document import End, OrderedBend
from planner.search.decision import Decision
from planner.search.search import Search
from planner.sequencing.events import Prefer, Value
from planner.sequencing.feasible_orders import FeasibleOrders
from tests.advice.parts import (
    begun_in_the_middle,
    every_order,
    hanging_a_hair_too_low,
    order_of_job,
    random_jobs,
    searched,
)
from tests.advice.reachable import least
from tests.plan.brute_force.all_orders import BruteForce
from tests.plan.brute_force.orders import reclamps
from tests.plan.brute_force.sampled import CLEAR
from tests.plan.shop import bender, tube
from tests.search.abstract import random_instance

Pair = tuple[int, int]
PREFERENCES: tuple[Prefer, Prefer] = ("fewer re-clamps", "less trim")


def comes_before(order: Order, first: int, then: int) -> bool:
    bends = [made.bend for made in order]
    return bends.index(first) < bends.index(then)


def shared(orders: Sequence[Order]) -> tuple[set[Pair], set[OrderedBend]]:
    """What all of some orders have in common."""
    n = len(orders[0])
    pairs = {
        pair
        for pair in itertools.permutations(range(1, n + 1), 2)
        if all(comes_before(order, *pair) for order in orders)
    }
    return pairs, set.intersection(*(set(order) for order in orders))


def followed(arrows: Sequence[Before]) -> set[Pair]:
    """All pairs that follow from arrows."""
    pairs = {(arrow.first, arrow.then) for arrow in arrows}
    while True:
        more = {(a, d) for (a, b), (c, d) in itertools.product(pairs, pairs) if b == c} - pairs
        if not more:
            return pairs
        pairs |= more


@dataclass(frozen=True)
class Made:
    name: str
    part: Part
    machine: Machine
    search: Search
    decision: Decision
    common: Common


@pytest.fixture(scope="module")
def parts(campaign: bool) -> list[Made]:
    """Parts of 2 to 4 bends that can be made, with what all their plans have in common."""
    jobs = [("in the middle", *begun_in_the_middle())]
    jobs += [(job.name, job.part, job.machine) for job in random_jobs(240 if campaign else 20)]
    found = []
    for name, part, machine in jobs:
        if not 2 <= part.n_bends <= (4 if campaign else 3):
            continue
        search, decision, verdict = searched(part, machine)
        if verdict == "makeable":
            assert decision.plan is not None
            found.append(Made(name, part, machine, search, decision, common_to_all(search, decision.plan)))
    return found


def test_it_is_just_what_all_orders_as_good_as_the_best_have_in_common(parts: list[Made]) -> None:
    telling = 0
    for made in parts:
        best, common = made.decision.plan, made.common
        assert best is not None
        most = (best.value.reclamps, best.value.trim)
        costs = costs_of(best, made.search)
        judged = [judge(made.search, order, best, costs) for order in every_order(made.part.n_bends)]
        good = [j.order for j in judged if j.costs and (j.costs.reclamps, j.costs.trim_a + j.costs.trim_b) <= most]
        proved = [nogood for nogood in made.search.nogoods if nogood.grade == "proved"]
        open_ = [j.order for j in judged if (least(made.search.problem, proved, j.order) or (math.inf, 0.0)) <= most]
        pairs, leads = shared(good)
        assert set(common.pairs) == pairs, made.name
        assert {OrderedBend(bend=entry.bend, leads=entry.leads) for entry in common.leads} == leads, made.name
        for order in [*good, *open_]:
            assert all(comes_before(order, *pair) for pair, proved in common.pairs.items() if proved), made.name
            held = [OrderedBend(bend=e.bend, leads=e.leads) for e in common.leads if e.proved]
            assert set(held) <= set(order), made.name
        assert all(order in good for order in common.found), made.name
        telling += bool(pairs)
    assert len(parts) >= 8
    assert telling >= 5


def test_no_order_that_brute_force_finds_as_good_is_the_other_way_round(parts: list[Made]) -> None:
    looked = 0
    for made in [one for one in parts if not one.name.startswith("crowded")]:
        best = made.decision.plan
        assert best is not None
        brute = BruteForce(made.part, made.machine)
        for entry in brute._entries():
            if entry.strict is None or (reclamps(entry.job), sum(entry.strict.trims)) > (
                best.value.reclamps,
                best.value.trim,
            ):
                continue
            if brute.judge.verdict(entry.job, entry.strict) == CLEAR:
                order = order_of_job(entry.job)
                assert all(comes_before(order, *pair) for pair, proved in made.common.pairs.items() if proved)
                assert all(OrderedBend(bend=e.bend, leads=e.leads) in order for e in made.common.leads if e.proved)
                looked += 1
    assert looked >= 10


def test_the_arrows_say_all_pairs_and_none_of_them_twice(parts: list[Made]) -> None:
    for made in parts:
        arrows = made.common.arrows
        assert followed(arrows) == set(made.common.pairs), made.name
        for arrow in arrows:
            rest = [entry for entry in arrows if entry is not arrow]
            assert (arrow.first, arrow.then) not in followed(rest), made.name


def test_what_forbids_a_bend_before_another_matches_just_the_orders_that_have_it_so() -> None:
    search = searched(*begun_in_the_middle())[0]
    case = replace(search.case, part=tube([300, 200, 200, 300], [0, 0, 0], [30, 30, 30]))
    for order in every_order(3):
        runs = arrived(order)
        for first, then in itertools.permutations((1, 2, 3), 2):
            patterns = [nogood.pattern for nogood in not_before(case, first, then)]
            met = any(
                (p.leads, p.bend) == run[:2] and p.ahead[0] <= run[2] <= p.ahead[1] for p in patterns for run in runs
            )
            assert met == comes_before(order, first, then), (order, first, then)
        for bend, leads in itertools.product((1, 2, 3), ("A", "B")):
            end: End = "A" if leads == "A" else "B"
            patterns = [nogood.pattern for nogood in not_leading(case, bend, end)]
            met = any(
                (p.leads, p.bend) == run[:2] and p.ahead[0] <= run[2] <= p.ahead[1] for p in patterns for run in runs
            )
            assert met == (OrderedBend(bend=bend, leads=end) in order)


def arrived(order: Order) -> list[tuple[End, int, int]]:
    """Leading end, bend and first formed bend at each step, counted from the end that leads."""
    n, formed, runs = len(order), list[int](), []
    for made in order:
        formed.append(made.bend)
        seen = formed if made.leads == "A" else [n + 1 - bend for bend in formed]
        runs.append((made.leads, seen[-1], min(seen)))
    return runs


def test_whether_an_order_as_good_is_left_agrees_with_going_through_all_of_them(campaign: bool) -> None:
    """By the tests' own dynamic programming, each pair of trims by itself, on problems without geometry."""
    seen = Counter[bool]()
    for seed in range(1000 if campaign else 80):
        instance = random_instance(seed, 5)
        problem, prefer = instance.problem, PREFERENCES[seed % 2]
        alone = [least(replace(problem, trims=(pair,)), instance.nogoods) for pair in problem.trims]
        values = sorted(Value(int(one[0]), one[1], 0).key(prefer)[1:3] for one in alone if one is not None)
        spread = [-1.0, 0.0, 1.0, 2.0, 5.0, *(pair.total for pair in problem.trims)]
        for first, second in itertools.product(spread, spread):

            def counts(value: Value, most: tuple[float, float] = (first, second)) -> bool:
                return value.key(prefer)[1:3] <= most  # noqa: B023  asked before the next seed

            expected = bool(values) and values[0] <= (first, second)
            assert FeasibleOrders(problem, counts)(problem, instance.nogoods) == expected, (seed, first, second)
            seen[expected] += 1
    assert min(seen[True], seen[False]) >= 200


def test_what_only_something_too_close_stands_against_is_not_proved() -> None:
    """End A's leg hangs 0.05 mm too low to the floor before bend 2, end B is short enough."""
    part, machine = hanging_a_hair_too_low()
    straights = [float(part.straights[0]), 260.0, 400.0]
    search, decision, verdict = searched(tube(straights, [0, 90], [90, 90]), machine)
    assert verdict == "makeable"
    assert decision.plan is not None
    common = common_to_all(search, decision.plan)
    assert common.pairs == {(2, 1): False}
    assert {(entry.bend, entry.leads, entry.proved) for entry in common.leads} == {(1, "B", False), (2, "B", False)}
    assert precedence(search, decision.plan, common).diagram == ("2B ~> 1B",)


def test_without_mandrel_and_carriage_nothing_is_proved_of_all_orders() -> None:
    machine = bender({"mandrel": None, "carriage": None, "head": {"centreline_height": 950}})
    search, decision, verdict = searched(tube([900, 260, 400], [0, 90], [90, 90]), machine)
    assert verdict == "makeable"
    assert decision.plan is not None
    common = common_to_all(search, decision.plan)
    assert common.pairs == {(2, 1): False}
    assert not any(entry.proved for entry in common.leads)


def test_one_bend_comes_before_nothing() -> None:
    search, decision, _ = searched(tube([500, 500], [0], [90]), bender())
    assert decision.plan is not None
    said = precedence(search, decision.plan, common_to_all(search, decision.plan))
    assert (said.arrows, said.diagram) == ((), ())
    assert "1 bend" in said.sentence


# ------------------------------------------------------------------------------------------------------- drawings


def arrows(*pairs: Pair, unproved: Sequence[Pair] = ()) -> tuple[Before, ...]:
    return tuple(Before(first=a, then=b, proved=(a, b) not in unproved) for a, b in pairs)


CHAIN = arrows((1, 2), (2, 3), (3, 4))
FORK = arrows((3, 2), (2, 1), (3, 4), (4, 5), unproved=[(4, 5)])
JOIN = arrows((1, 2), (5, 4), (2, 3), (4, 3))


@pytest.mark.parametrize(
    ("n", "given", "leads", "lines"),
    [
        (4, CHAIN, (), ("1 -> 2 -> 3 -> 4",)),
        (5, FORK, (), ("3 -> 2 -> 1", "3 -> 4 ~> 5")),
        (5, JOIN, (), ("1 -> 2 -> 3", "5 -> 4 -> 3")),
        (4, CHAIN[:1], (Leads(bend=2, leads="B", proved=True),), ("1 -> 2B", "at any time: 3, 4")),
        (3, (), (), ()),
        (2, (), (Leads(bend=1, leads="A", proved=True),), ("at any time: 1A, 2",)),
    ],
)
def test_the_text_diagram_is_chains_of_bends(
    n: int, given: tuple[Before, ...], leads: tuple[Leads, ...], lines: tuple[str, ...]
) -> None:
    assert text_diagram(n, given, leads) == lines


@pytest.mark.parametrize("given", [CHAIN, FORK, JOIN, ()])
def test_the_text_diagram_shows_every_arrow_once(given: tuple[Before, ...]) -> None:
    shown = []
    for line in text_diagram(5, given, ()):
        if line.startswith("at any time"):
            continue
        words = line.replace("~>", "->").split(" -> ")
        shown += [(int(a), int(b)) for a, b in itertools.pairwise(words)]
    assert sorted(shown) == sorted((arrow.first, arrow.then) for arrow in given)


@pytest.mark.parametrize(("n", "given"), [(4, CHAIN), (5, FORK), (5, JOIN), (3, ())])
def test_the_picture_has_a_disc_for_each_bend_and_a_line_for_each_arrow(n: int, given: tuple[Before, ...]) -> None:
    found = Precedence(sentence="", fact=fact("any-order"), bends=n, arrows=given, leads=(), diagram=())
    root = ET.fromstring(svg_diagram(found, "a <rail> & more"))
    tag = "{http://www.w3.org/2000/svg}"
    assert [node.text for node in root.iter(f"{tag}text")] == [str(bend) for bend in range(1, n + 1)]
    lines = [node for node in root if node.tag == f"{tag}path"]
    assert len(lines) == len(given)
    assert sum("stroke-dasharray" in node.attrib for node in lines) == sum(not arrow.proved for arrow in given)
    title = root.find(f"{tag}title")
    assert title is not None
    assert title.text == "a <rail> & more"
    wide, high = float(root.attrib["width"]), float(root.attrib["height"])
    at = [(float(node.attrib["cx"]), float(node.attrib["cy"])) for node in root.iter(f"{tag}circle")]
    assert len(set(at)) == n
    assert all(0 < x < wide and 0 < y < high for x, y in at)
    places = dict(enumerate(at, start=1))
    assert all(places[arrow.first][0] < places[arrow.then][0] for arrow in given)


@pytest.mark.parametrize(
    "given", [CHAIN, FORK, JOIN, (*CHAIN, *arrows((1, 4))), arrows((1, 2), (2, 3), (1, 3), (4, 3))]
)
def test_no_arrow_of_the_picture_runs_over_a_bend_that_it_is_not_of(given: tuple[Before, ...]) -> None:
    found = Precedence(sentence="", fact=fact("any-order"), bends=5, arrows=given, leads=(), diagram=())
    root = ET.fromstring(svg_diagram(found, ""))
    tag = "{http://www.w3.org/2000/svg}"
    discs = [tuple(float(node.attrib[key]) for key in ("cx", "cy", "r")) for node in root.iter(f"{tag}circle")]
    for arrow, node in zip(given, [node for node in root if node.tag == f"{tag}path"], strict=True):
        x0, y0, cx, cy, x1, y1 = (float(word) for word in node.attrib["d"].replace("M", "").replace("Q", "").split())
        for t in (place / 100 for place in range(101)):
            x = (1 - t) ** 2 * x0 + 2 * t * (1 - t) * cx + t * t * x1
            y = (1 - t) ** 2 * y0 + 2 * t * (1 - t) * cy + t * t * y1
            for bend, (u, v, r) in enumerate(discs, start=1):
                assert (x - u) ** 2 + (y - v) ** 2 > r**2, (arrow, bend)


def test_a_bend_stands_in_the_column_after_the_last_of_those_before_it() -> None:
    assert columns_of(5, JOIN) == {1: 0, 2: 1, 3: 2, 4: 1, 5: 0}
