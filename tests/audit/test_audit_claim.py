"""The auditor's dynamic programme against plain enumerations and the planner's engines; claims that are too good."""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from planner.audit.claim import Bound, confirm_bound, confirm_claim, key, pairs_to_try
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
from planner.inputs.files import load_machine, load_part
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.sequencing.events import ANY, Arrival, Event, Hold, NoGood, Prefer, Trims
from planner.sequencing.events import Pattern as Made
from planner.sequencing.exact import Exact
from planner.sequencing.no_good_table import ENDS
from planner.sequencing.problem import Problem
from planner.tolerances import WRITTEN
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


# ------------------------------------------------------------------ the plan in the document


def document_of(part: Part, machine: Machine, prefer: Prefer = "fewer re-clamps") -> dict[str, Any]:
    """The plan of a part without its motions and no-goods; its claim as far as the shop rules alone go."""
    made = plan(part, machine, prefer=prefer).as_dict()
    shop = Shop(part, machine)
    best = least(shop, [], prefer)
    assert best is not None
    stock = made["stock"]
    claim = {
        "verdict": made["verdict"], "prefer": prefer, "reclamps": made["reclamps"],
        "trim": stock["trim_a"] + stock["trim_b"], "bound": {"reclamps": best[0], "trim": best[1]},
        "trims": [[stock["trim_a"], stock["trim_b"]]],
    }  # fmt: skip
    document = {"plan": made, "claim": claim}
    confirm_claim(document, shop, [])
    return document


def released_last() -> dict[str, Any]:
    part = tube([300, 200, 130], [0, 30], [60, 60])
    return document_of(part, bender({"carriage": {"finish_released": True}}))


def regripped() -> dict[str, Any]:
    part = tube([400, 300, 300, 400], [0, 90, 30], [60, 60, 40])
    return document_of(part, bender({"carriage": {"reach": [150, 650]}, "rotation": {"range": [-190, 190]}}))


def example(name: str) -> Callable[[], dict[str, Any]]:
    def built() -> dict[str, Any]:
        part = load_part(f"examples/{name}.toml")
        return document_of(part, load_machine(part.machine or "canal-workshop"))

    return built


PLANNED = {
    "fender hook, trimmed": example("fender-hook"),
    "wharf rail, turned": example("wharf-rail"),
    "regripped": regripped,
    "released": released_last,
}


@pytest.fixture(scope="module", params=list(PLANNED))
def planned(request: pytest.FixtureRequest) -> dict[str, Any]:
    """A plan that is what it says."""
    document = PLANNED[request.param]()
    confirm(document)
    return document


def confirm(document: dict[str, Any]) -> None:
    from planner.inputs.files import machine_from_data, part_from_data

    plan_ = document["plan"]
    confirm_claim(document, Shop(part_from_data(plan_["part"]), machine_from_data(plan_["machine"])), [])


def steps(document: dict[str, Any], *actions: str) -> list[dict[str, Any]]:
    return [step for step in document["plan"]["steps"] if step["action"] in actions]


def changed(document: dict[str, Any], change: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    document = copy.deepcopy(document)
    change(document)
    return document


def shifted(path: str, by: float) -> Callable[[dict[str, Any]], object]:
    def change(document: dict[str, Any]) -> None:
        *keys, last = path.split(".")
        inner = document
        for one in keys:
            inner = inner[one]
        inner[last] = inner[last] + by

    return change


def end_for_end(document: dict[str, Any]) -> None:
    for step in document["plan"]["steps"]:
        if step["leads"] is not None:
            step["leads"] = "B" if step["leads"] == "A" else "A"
    for bend in document["plan"]["order"]:
        bend["leads"] = "B" if bend["leads"] == "A" else "A"


CHANGES: dict[str, Callable[[dict[str, Any]], object]] = {
    "a better bound in re-clamps": shifted("claim.bound.reclamps", 1),
    "a better bound in trim": shifted("claim.bound.trim", 1),
    "no plan at all": lambda d: d["claim"].update(bound=None),
    "no verdict": lambda d: [x.update(verdict="good") for x in (d["claim"], d["plan"])],
    "no preference": lambda d: d["claim"].update(prefer="both"),
    "undecided, with something proved": lambda d: [x.update(verdict="undecided") for x in (d["claim"], d["plan"])],
    "not makeable, with a plan": lambda d: [x.update(verdict="not makeable") for x in (d["claim"], d["plan"])],
    "no stock": lambda d: d["plan"].update(stock=None),
    "no number for the trim": lambda d: d["claim"].update(trim=math.nan),
    "no number for the bound": lambda d: d["claim"]["bound"].update(trim=math.nan),
    "no number for a grip": lambda d: [s.update(grip=math.nan) for s in d["plan"]["steps"] if s["grip"]],
    "no number for a setting": lambda d: steps(d, "bend")[0].update(setting=math.nan),
    "no number for a cut": lambda d: d["plan"]["stock"].update(cut_length=math.nan),
    "half a re-clamp": shifted("claim.bound.reclamps", -0.5),
    "trims beyond what is allowed told apart": lambda d: d["claim"]["trims"].append([0.0, 900.0]),
    "a cut left out": lambda d: d["plan"]["steps"].append({**steps(d, "check")[0], "action": "trim", "amount": 3.0}),
    "another verdict": lambda d: d["claim"].update(verdict="not makeable"),
    "fewer re-clamps than there are": shifted("plan.reclamps", -1),
    "fewer re-clamps claimed": shifted("claim.reclamps", -1),
    "a turn more": shifted("plan.turns", 1),
    "a re-grip more": shifted("plan.regrips", 1),
    "a reload more": shifted("plan.reloads", 1),
    "the collet open": shifted("plan.released", 1),
    "more trim claimed": shifted("claim.trim", 1),
    "more trim than is allowed": shifted("plan.stock.trim_a", 500),
    "a longer tube to cut": shifted("plan.stock.cut_length", 0.01),
    "a longer part": shifted("plan.stock.developed_length", 0.01),
    "another order": lambda d: d["plan"]["order"].reverse(),
    "a bend left out": lambda d: d["plan"]["steps"].remove(steps(d, "bend")[0]),
    "a bend twice": lambda d: d["plan"]["steps"].append(steps(d, "bend")[0]),
    "a load left out": lambda d: d["plan"]["steps"].remove(steps(d, "load")[0]),
    "a turn put in": lambda d: d["plan"]["steps"].append({**steps(d, "load")[0], "action": "turn"}),
    "end for end": end_for_end,
    "a longer clamp": lambda d: steps(d, "bend")[-1].update(clamp=999.0),
    "a clamp there is not": lambda d: steps(d, "bend")[0].update(clamp=61.5),
    "a tail that does not fill the collet": lambda d: [s.update(grip=10.0) for s in d["plan"]["steps"] if s["grip"]],
    "another grip": lambda d: [s.update(grip=s["grip"] + 9.0) for s in d["plan"]["steps"] if s["grip"]],
    "another angle": lambda d: steps(d, "bend")[0].update(angle=31.0),
    "a setting under the angle": lambda d: steps(d, "bend")[0].update(setting=steps(d, "bend")[0]["angle"] - 0.1),
    "a setting far over the angle": lambda d: steps(d, "bend")[0].update(setting=189.0),
    "another rotation": lambda d: steps(d, "bend")[-1]["from"].update(rotation=17.0),
    "proved neither true nor false": lambda d: d["plan"]["proved"].update(makeable="yes"),
    "a re-grip after the last bend": lambda d: d["plan"]["steps"].append({**steps(d, "bend")[0], "action": "re-grip"}),
}


@pytest.mark.parametrize("name", list(CHANGES))
def test_a_plan_that_is_not_what_it_says_is_refused(planned: dict[str, Any], name: str) -> None:
    with pytest.raises(Refused):
        confirm(changed(planned, CHANGES[name]))


def faces(document: dict[str, Any], value: float) -> dict[str, Any]:
    """The document with the collet's face somewhere else at every bend, the grips with it."""

    def change(d: dict[str, Any]) -> None:
        for step in d["plan"]["steps"]:
            for place in ("from", "to"):
                if step[place] is not None and step[place]["face"] is not None:
                    step[place]["face"] += value
            if step["grip"] is not None:
                step["grip"] -= value

    return changed(document, change)


def test_a_place_reckoned_from_what_a_plan_writes_of_a_bend_is_the_same_up_to_a_radius_of_a_metre() -> None:
    """The collet's face before the tube springs back, at its farthest: the auditor adds up what has six decimals."""
    rng, off = np.random.default_rng(4), 0.0
    for radius, angle, over in rng.uniform((50.0, 0.1, 0.0), (1000.0, 180.0, 9.0), (2000, 3)):
        moved = 2000.0 - radius * math.radians(over)
        back = radius * math.radians(round(angle + over, 6) - round(angle, 6))
        off = max(off, abs(round(moved, 6) + back - 2000.0))
    assert 1e-5 < off <= WRITTEN


def test_a_collet_beyond_its_reach_is_refused() -> None:
    document = regripped()
    for value in (-600.0, 600.0):
        with pytest.raises(Refused, match=r"the collet's face stands|the tail's end"):
            confirm(faces(document, value))


def test_a_chuck_beyond_its_range_is_refused() -> None:
    document = regripped()
    turned = [s for s in steps(document, "rotate") if s["bend"] is not None]
    assert turned

    def change(d: dict[str, Any]) -> None:
        for step in steps(d, "rotate"):
            step["to"]["rotation"] = 200.0

    with pytest.raises(Refused, match="the chuck stands at 200"):
        confirm(changed(document, change))


@pytest.mark.parametrize(
    ("prefer", "proved", "bound", "holds"),
    [
        ("fewer re-clamps", (True, True), (1, 0.0), True),
        ("fewer re-clamps", (True, True), (0, 0.0), False),
        ("fewer re-clamps", (False, True), (0, 0.0), False),
        ("fewer re-clamps", (False, False), (0, 0.0), True),
        ("less trim", (True, True), (1, 0.0), True),
        ("less trim", (True, True), (0, 0.0), False),
        ("less trim", (False, True), (0, 0.0), True),
    ],
)
def test_what_is_proved_is_no_more_than_the_bound_shows(
    prefer: Prefer, proved: tuple[bool, bool], bound: Value, holds: bool
) -> None:
    """The wharf rail has one re-clamp and no trim, which is the least; a lower bound leaves the re-clamps open."""
    part = load_part("examples/wharf-rail.toml")
    document = document_of(part, load_machine(part.machine or "canal-workshop"), prefer)
    document["claim"]["bound"] = {"reclamps": bound[0], "trim": bound[1]}
    document["plan"]["proved"].update(reclamps=proved[0], trim=proved[1])
    if holds:
        confirm(document)
    else:
        with pytest.raises(Refused, match="are said to be the least"):
            confirm(document)


def test_without_mandrel_and_carriage_only_what_cannot_be_less_than_nothing_is_claimed() -> None:
    part = tube([300, 200, 300], [0, 30], [60, 60])
    machine = bender({"carriage": None, "mandrel": None})
    made = plan(part, machine).as_dict()
    claim = {
        "verdict": "makeable", "prefer": "fewer re-clamps", "reclamps": 0, "trim": 0.0,
        "bound": {"reclamps": 0, "trim": 0.0}, "trims": [[0.0, 0.0]],
    }  # fmt: skip
    document = {"plan": made, "claim": claim}
    confirm(document)
    with pytest.raises(Refused, match="more orders than were looked at"):
        confirm(
            changed(
                document,
                lambda d: (
                    d["claim"]["bound"].update(reclamps=1),
                    d["plan"]["proved"].update(reclamps=False, trim=False),
                ),
            )
        )
    with pytest.raises(Refused, match="putting in and taking out are not checked"):
        confirm(changed(document, lambda d: d["plan"]["proved"].update(makeable=True)))


def test_what_is_not_makeable_is_confirmed_only_where_no_order_keeps_the_rules() -> None:
    for ends, hand_fed in ((20.0, False), (20.0, True), (300.0, False), (300.0, True)):
        change: dict[str, Any] = {"carriage": None, "mandrel": None} if hand_fed else {}
        part = tube([ends, 200, ends], [0, 30], [60, 60])
        shop = Shop(part, bender(change))
        made = {
            "verdict": "not makeable", "stock": None, "steps": [], "order": [], "reclamps": None,
            "proved": {"makeable": True, "reclamps": False, "trim": False, "time": False},
        }  # fmt: skip
        claim = {"verdict": "not makeable", "prefer": "less trim", "reclamps": None, "trim": None, "bound": None}
        document = {"plan": made, "claim": {**claim, "trims": [[0.0, 0.0]]}}
        if ends < 50.0:
            confirm_claim(document, shop, [])
        else:
            with pytest.raises(Refused, match="there is no plan, it says"):
                confirm_claim(document, shop, [])


def test_a_long_part_with_many_trims_and_no_goods_is_looked_through_state_by_state() -> None:
    """A count, so that what was looked at is not nothing: every run, either end, each hold that can have got there."""
    n = 12
    case = case_of(tube([300.0] * (n + 1), [0.0, *[90.0] * (n - 1)], [40.0] * n), bender())
    found = Fewest(Tables(shop_of(case), [(0.0, 0.0)], []))
    assert found.fewest.tolist() == [0]
    # A run of k bends: its holds began at any of its bends by a load, at any but the first by a re-grip too.
    assert found.states == 2 * sum((n - k + 1) * (2 * k - 1) for k in range(1, n + 1))
    assert np.asarray(found.fewest).dtype == np.int16
