"""The auditor's dynamic programme against plain enumerations and the planner's engines; bounds that are too good."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from planner.audit.claim import Bound, confirm_bound, key, pairs_to_try
from planner.audit.fewest import NO, Fewest
from planner.audit.order import Orders
from planner.audit.patterns import Pattern as Read
from planner.audit.patterns import read_pattern
from planner.audit.refused import Refused
from planner.audit.shop import Arrival as Step
from planner.audit.shop import Shop
from planner.audit.tables import Tables
from planner.cuts.shop_rules import problem_of
from planner.facts import fact
from planner.feasibility.orders import Case
from planner.sequencing.events import ANY, Arrival, Event, Hold, NoGood, Prefer, Trims
from planner.sequencing.events import Pattern as Made
from planner.sequencing.exact import Exact
from planner.sequencing.no_good_table import ENDS
from planner.sequencing.problem import Problem
from tests.plan.random_parts import drawn
from tests.plan.shop import bender, tube
from tests.rules.cases import whole_millimetres
from tests.rules.enumeration import Noted, every_trim, on_the_edge
from tests.search.abstract import Instance, best_values, random_nogood, sequences
from tests.search.test_orders import case_of, no_extra

PREFERENCES: tuple[Prefer, Prefer] = ("fewer re-clamps", "less trim")
Value = tuple[int, float]


# ------------------------------------------------------------------ cases


def shop_of(case: Case) -> Shop:
    return Shop(case.part, case.machine, settings=case.settings)


def written(pattern: Made) -> dict[str, Any]:
    """A pattern as the document writes it."""

    def span(ends: tuple[float, float]) -> list[float | None] | None:
        return None if ends == ANY else [x if math.isfinite(x) else None for x in ends]

    hold = None if pattern.hold is None else {"since": pattern.hold.since, "begun": pattern.hold.begun}
    return {
        "event": pattern.event.value, "leads": pattern.leads, "bend": pattern.bend, "ahead": list(pattern.ahead),
        "trim_lead": span(pattern.trim_lead), "trim_tail": span(pattern.trim_tail), "hold": hold, "way": pattern.way,
        "released": pattern.released,
    }  # fmt: skip


def no_goods_of(rng: random.Random, problem: Problem, count: int) -> tuple[NoGood, ...]:
    """Random no-goods as strikes teach them, for any hold; in half of the cases none that is formed goes on again."""
    found = []
    if count and rng.random() < 0.5:
        for leads in ENDS:
            for bend in range(1, problem.n + 1):
                pattern = Made(Event.RELOAD, leads, bend, (1, bend))
                found.append(NoGood(pattern, "strike", fact("as-said", text=f"pattern {pattern}")))
    wanted = len(found) + count
    while len(found) < wanted:
        nogood = random_nogood(rng, problem)
        pattern = nogood.pattern
        if pattern.bend > problem.n:
            continue
        way = None if problem.chuck is None or pattern.event is Event.REGRIP else pattern.way
        low = min(max(pattern.ahead[0], 1), pattern.bend)
        high = min(max(pattern.ahead[1], low), pattern.bend)
        found.append(replace(nogood, pattern=replace(pattern, hold=None, way=way, ahead=(low, high))))
    return tuple(found)


def little_in_the_way(seed: int, largest: int = 5) -> tuple[Case, random.Random]:
    """A part of up to so many bends on a bender with room and reach enough; chuck, passing and releasing as it falls."""
    rng = random.Random(seed)
    n = rng.randint(1, largest)
    rolls = [0.0, *(float(rng.choice([0, 90, -90, 180, rng.randint(-179, 180)])) for _ in range(n - 1))]
    ends = [rng.choice([30.0, 300.0, 120.0]) for _ in range(2)]
    part = tube(
        [ends[0], *[150.0] * (n - 1), ends[1]], rolls, [float(rng.randint(20, 120)) for _ in range(n)], (200, 150)
    )
    limits = rng.choice(["continuous", "continuous", [-360, 360], [-190, 190], [-100, 120], [0, 360], [-500, 30]])
    carriage: dict[str, Any] = {"passes_through": rng.random() < 0.7, "finish_released": rng.random() < 0.5}
    if carriage["passes_through"] and rng.random() < 0.5:
        carriage["reach"] = [150, rng.randint(450, 900)]
    return case_of(part, bender({"carriage": carriage, "rotation": {"range": limits}})), rng


def least(shop: Shop, no_goods: list[Read], prefer: Prefer) -> Value | None:
    """Re-clamps and trim of the best order that the auditor finds."""
    pairs = pairs_to_try(shop, [], no_goods)
    counts = Fewest(Tables(shop, pairs, no_goods)).fewest.tolist()
    keys = [key(shop, prefer, count, pair)[1:] for count, pair in zip(counts, pairs, strict=True) if count < NO]
    if not keys:
        return None
    best = min(keys)
    return (int(best[0]), best[1]) if prefer == "fewer re-clamps" else (int(best[1]), best[0])


def same(some: Value | None, other: Value | None) -> bool:
    if some is None or other is None:
        return some is other
    return some[0] == other[0] and abs(some[1] - other[1]) < 1e-6


# ------------------------------------------------------------------ against plain enumerations


def test_the_fewest_reclamps_with_every_pair_of_trims_are_those_of_an_enumeration_at_1_mm(campaign: bool) -> None:
    """On benders with and without carriage, mandrel, limited chuck: holds, windows, rod, grip, tail and clamps."""
    kinds = set()
    for seed in range(120 if campaign else 60):
        part, machine, settings = on_the_edge(seed)
        shop = Shop(part, machine, settings=settings)
        pairs = [(float(a), float(b)) for a in range(round(part.trim_a) + 1) for b in range(round(part.trim_b) + 1)]
        counts = Fewest(Tables(shop, pairs, [])).fewest.tolist()
        found = {(int(a), int(b)): count for (a, b), count in zip(pairs, counts, strict=True) if count < NO}
        assert found == every_trim(part, machine, settings), seed
        kinds |= {*found.values(), "none" if not found else "some" if len(found) < len(pairs) else "all"}
    assert kinds >= {0, 1, "none", "some", "all"}


class NotTakenOff(Noted):
    """A job in one load: the tube is neither turned nor reloaded, so that only re-grips help."""

    def _loaded(self, end: str, bend: int, first: bool, last: bool) -> Any:
        return super()._loaded(end, bend, first, last) if first else self._none(self.sides[end])


def test_where_the_tube_cannot_be_taken_off_the_fewest_regrips_are_those_of_the_enumeration(campaign: bool) -> None:
    """No-goods forbid every turn and reload: what is left hangs on re-grips, their windows, their holds, the chuck."""
    some = none = 0
    for seed in range(400, 660 if campaign else 530):
        part, machine, settings = on_the_edge(seed)
        shop, n = Shop(part, machine, settings=settings), part.n_bends
        patterns = [
            read_pattern(written(Made(event, leads, bend, (1, bend))), n)
            for event in (Event.TURN, Event.RELOAD)
            for leads in ENDS
            for bend in range(1, n + 1)
        ]
        pairs = [(0.0, 0.0), (part.trim_a, part.trim_b)]
        counts = Fewest(Tables(shop, pairs, patterns)).fewest.tolist()
        for pair, count in zip(pairs, counts, strict=True):
            trims = (round(pair[0]), round(pair[1]))
            expected = NotTakenOff(part, machine, tuple(settings), trims).fewest_reclamps()
            assert (None if count >= NO else count) == expected, (seed, pair)
            some += expected is not None and expected > 0
            none += expected is None
    assert min(some, none) >= (30 if campaign else 15)


def test_the_auditors_pairs_of_trims_stand_for_every_whole_millimetre(campaign: bool) -> None:
    fewer = 0
    for seed in range(150 if campaign else 75):
        part, machine, settings = on_the_edge(seed)
        shop = Shop(part, machine, settings=settings)
        every = every_trim(part, machine, settings)
        values = {
            "fewer re-clamps": min(((count, float(a + b)) for (a, b), count in every.items()), default=None),
            "less trim": min(((float(a + b), count) for (a, b), count in every.items()), default=None),
        }
        for prefer in PREFERENCES:
            best = least(shop, [], prefer)
            found = None if best is None else best if prefer == "fewer re-clamps" else best[::-1]
            assert found == values[prefer], (seed, prefer)
        fewer += len(shop.pairs()) < (part.trim_a + 1) * (part.trim_b + 1)
    assert fewer >= (100 if campaign else 50)


@pytest.mark.parametrize("first", range(0, 240, 60))
def test_with_random_no_goods_the_least_is_that_of_every_sequence_spelled_out(first: int) -> None:
    """No-goods by event, run, way round, open collet and span of trims; a chuck that is limited in every other case."""
    none = costly = 0
    for seed in range(first, first + 60):
        case, rng = little_in_the_way(seed, largest=4)
        problem = problem_of(case)
        nogoods = no_goods_of(rng, problem, rng.choice([0, 4, 8, 16, 30]))
        patterns = [read_pattern(written(n.pattern), problem.n) for n in nogoods]
        truth = best_values(Instance(problem_of(case, trims_to_try(case, patterns)), nogoods, no_extra))
        for prefer in PREFERENCES:
            value = None if truth is None else (truth[prefer].reclamps, truth[prefer].trim)
            found = least(shop_of(case), patterns, prefer)
            assert same(found, value), (seed, prefer, found, value)
        none += truth is None
        costly += truth is not None and truth["fewer re-clamps"].reclamps > 0
    assert none >= 3
    assert costly >= 5


def trims_to_try(case: Case, patterns: list[Read]) -> tuple[Trims, ...]:
    """All pairs of the planner's trims and of those by which a no-good's span ends, and the next millimetres."""
    values = {}
    for place, end, allowed in ((0, "A", case.part.trim_a), (1, "B", case.part.trim_b)):
        ends = {pair[place] for pair in problem_of(case).trims}
        for pattern in patterns:
            span = pattern.trim_lead if pattern.leads == end else pattern.trim_tail
            ends |= {math.floor(x) + more for x in span if math.isfinite(x) for more in (0.0, 1.0)}
        values[end] = sorted(x for x in ends if 0.0 <= x <= allowed)
    return tuple(Trims(a, b) for a in values["A"] for b in values["B"])


# ------------------------------------------------------------------ against the planner's exact engine


def rules_only() -> Iterator[tuple[str, Case]]:
    for seed in range(60):
        part, machine, settings = whole_millimetres(seed, passes_through=seed % 3 > 0, released=seed % 2 == 0)
        yield f"whole {seed}", case_of(part, machine, settings)
    for seed in range(90):
        found = drawn(seed)
        if found is not None:
            yield found.name, case_of(found.part, found.machine)


def test_by_the_rules_alone_the_auditor_finds_what_the_exact_engine_finds() -> None:
    makeable = 0
    for name, case in rules_only():
        problem = problem_of(case)
        for prefer in PREFERENCES:
            best = Exact().best(problem, (), no_extra, prefer)
            value = None if best is None else (best.value.reclamps, best.value.trim)
            assert same(least(shop_of(case), [], prefer), value), (name, prefer)
            makeable += best is not None
    assert makeable >= 100


def test_with_no_goods_too_at_sizes_that_no_enumeration_reaches(campaign: bool) -> None:
    none = some = 0
    for seed in range(1000, 1024 if campaign else 1012):
        case, rng = little_in_the_way(seed, largest=12)
        problem = problem_of(case)
        nogoods = no_goods_of(rng, problem, rng.choice([2, 4, 6]) * problem.n)
        patterns = [read_pattern(written(n.pattern), problem.n) for n in nogoods]
        problem = problem_of(case, trims_to_try(case, patterns))
        for prefer in PREFERENCES:
            best = Exact().best(problem, nogoods, no_extra, prefer)
            value = None if best is None else (best.value.reclamps, best.value.trim)
            assert same(least(shop_of(case), patterns, prefer), value), (seed, prefer)
            none, some = none + (best is None), some + (best is not None)
    assert min(none, some) >= (6 if campaign else 3)


def test_regrips_that_are_forbidden_are_taken_elsewhere_or_not_at_all() -> None:
    """One load, a carriage that needs several holds, and random no-goods of re-grips after some bends."""
    found: set[int | None] = set()
    for seed in range(120):
        rng = random.Random(seed)
        n = rng.randint(3, 6)
        part = tube([300.0, *[200.0] * (n - 1), 300.0], [0.0, *[40.0] * (n - 1)], [60.0] * n)
        limits = rng.choice(["continuous", [-100, 100]])
        reach = {"reach": [150, rng.randint(600, 1100)]}
        case = case_of(part, bender({"carriage": reach, "rotation": {"range": limits}}))
        problem, shop = problem_of(case), shop_of(case)
        patterns = [
            Made(event, leads, bend, (1, bend))
            for event in (Event.TURN, Event.RELOAD)
            for leads in ENDS
            for bend in range(1, n + 1)
        ]
        for _ in range(rng.randint(1, 2 * n)):
            bend = rng.randint(1, n - 1)
            ahead = rng.choice([(1, bend), (1, 1), (bend, bend)])
            released = rng.choice([None, False, True])
            patterns.append(Made(Event.REGRIP, rng.choice(ENDS), bend, ahead, released=released))
        best = Exact().best(problem, [NoGood(pattern, "strike") for pattern in patterns], no_extra)
        value = None if best is None else (best.value.reclamps, best.value.trim)
        assert same(least(shop, [read_pattern(written(p), n) for p in patterns], "fewer re-clamps"), value), seed
        found.add(None if value is None else value[0])
    assert found >= {None, 1, 2}


# ------------------------------------------------------------------ claims


def as_planned(step: Step) -> Arrival:
    hold = Hold(step.since, "load" if step.begun == "load" else "re-grip")
    return Arrival(Event(step.event), step.leads, step.bend, step.ahead, hold, step.way, step.released)


def test_a_bound_is_confirmed_up_to_the_least_there_is_and_refused_beyond_with_an_order_that_is_below_it(
    campaign: bool,
) -> None:
    refused = 0
    for seed in range(300, 420 if campaign else 360):
        case, rng = little_in_the_way(seed, largest=4)
        shop, problem = shop_of(case), problem_of(case)
        nogoods = no_goods_of(rng, problem, rng.choice([0, 5, 12]))
        patterns = [read_pattern(written(n.pattern), problem.n) for n in nogoods]
        pairs = pairs_to_try(shop, [], patterns)
        for prefer in PREFERENCES:
            best = least(shop, patterns, prefer)
            if best is None:
                assert confirm_bound(shop, patterns, pairs, prefer, None) >= 0
                assert confirm_bound(shop, patterns, pairs, prefer, Bound(50, 5000.0)) >= 0
                continue
            confirm_bound(shop, patterns, pairs, prefer, Bound(*best))
            if best[0]:
                confirm_bound(shop, patterns, pairs, prefer, Bound(best[0] - 1, best[1]))
            better = Bound(best[0] + 1, best[1]), Bound(best[0], best[1] + 1.0), None
            for bound in better:
                with pytest.raises(Refused, match="is not excluded: loaded with end"):
                    confirm_bound(shop, patterns, pairs, prefer, bound)
                refused += 1
        for trims in pairs[:3]:
            found = Orders(shop, trims, patterns).first()
            exactly = problem_of(case, (Trims(*trims),))
            every = set(sequences(Instance(exactly, nogoods, no_extra), Trims(*trims)))
            assert (found is None) == (not every), seed
            if found is not None:
                assert tuple(map(as_planned, found[1])) in every, seed
                count = int(Fewest(Tables(shop, [trims], patterns)).fewest[0])
                assert found[0] == count, seed
    assert refused >= (300 if campaign else 150)


def test_a_no_good_left_out_is_missed_where_the_claim_needs_it(campaign: bool) -> None:
    """Of random no-goods that leave nothing, each is left out in turn: refused just where every sequence spelled out says."""
    needed = idle = 0
    for seed in range(500, 560 if campaign else 530):
        case, rng = little_in_the_way(seed, largest=3)
        shop, problem = shop_of(case), problem_of(case)
        nogoods = no_goods_of(rng, problem, 16)
        patterns = [read_pattern(written(n.pattern), problem.n) for n in nogoods]
        if least(shop, patterns, "less trim") is not None:
            continue
        for place in range(len(nogoods)):
            fewer = nogoods[:place] + nogoods[place + 1 :]
            left = patterns[:place] + patterns[place + 1 :]
            problem = problem_of(case, trims_to_try(case, left))
            truth = best_values(Instance(problem, fewer, no_extra))
            pairs = pairs_to_try(shop, [], left)
            if truth is None:
                confirm_bound(shop, left, pairs, "less trim", None)
                idle += 1
            else:
                with pytest.raises(Refused, match="there is no plan, it says"):
                    confirm_bound(shop, left, pairs, "less trim", None)
                needed += 1
    assert needed >= (5 if campaign else 3)
    assert idle >= (20 if campaign else 10)


def test_a_no_good_of_one_way_round_bars_nothing_where_the_chuck_turns_for_ever() -> None:
    case = case_of(tube([300, 150, 300], [0, 90], [60, 60]), bender())
    shop = shop_of(case)
    link = Made(Event.LINK, "A", 2, (1, 1), way=0)
    one_way = [read_pattern(written(link), 2)]
    either = [read_pattern(written(replace(link, way=None)), 2)]
    back = [read_pattern(written(Made(Event.LINK, "B", 2, (1, 1))), 2)]
    assert least(shop, [*one_way, *back], "less trim") == (0, 0.0)
    assert least(shop, [*either, *back], "less trim") == (1, 0.0)
