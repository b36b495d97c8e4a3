"""The orders tried, their trim and their rules against plain numbers; what is impossible in every order."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.springback import setting_for
from planner.rules.broken import End
from planner.search.impossible import broken_in_every_order
from planner.search.orders import Case, Order, Ready, Run, needed_trim, orders_to_try, prepare
from tests.plan.shop import bender, random_tube, tube
from tests.rules.cases import numbers, whole_millimetres


def case_of(part: Part, machine: Machine, settings: list[float] | None = None) -> Case:
    if settings is None:
        settings = [
            setting_for(float(a), machine, part, float(r)).value for a, r in zip(part.angles, part.radii, strict=True)
        ]
    tooling = tuple(machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii)
    return Case(part, machine, tooling, tuple(settings))


def outward_orders(n: int) -> list[Order]:
    """Every order in which the formed bends are a run of neighbours: it grows toward B with A leading, toward A with B."""
    found = set()
    for first, first_leads in product(range(1, n + 1), "AB"):
        for sides in product("AB", repeat=n - 1):
            low = high = first
            made: list[tuple[str, int]] = [(first_leads, first)]
            for leads in sides:
                low, high = (low, high + 1) if leads == "A" else (low - 1, high)
                made.append((leads, high if leads == "A" else low))
            if low < 1 or high > n:
                continue
            runs: list[tuple[str, list[int]]] = []
            for leads, bend in made:
                if runs and runs[-1][0] == leads:
                    runs[-1][1].append(bend)
                else:
                    runs.append((leads, [bend]))
            found.add(tuple(Run(leads, tuple(bends)) for leads, bends in runs))  # type: ignore[arg-type]
    return sorted(found, key=str)


@pytest.mark.parametrize("n", [1, 2, 3, 5])
def test_the_orders_tried_are_straight_through_and_outward_from_each_bend_with_one_turn(n: int) -> None:
    tried = list(orders_to_try(n))
    assert len(tried) == len(set(tried)) == 2 + 2 * (n - 1)
    assert tried[:2] == [(Run("A", tuple(range(1, n + 1))),), (Run("B", tuple(range(n, 0, -1))),)]
    assert set(tried) <= set(outward_orders(n))
    assert all(len(order) == 2 for order in tried[2:])


def trim_by_trying(part: Part, machine: Machine, settings: list[float], leads: End) -> tuple[int, int]:
    """The first whole millimetres of trim at the leading end and at the tail that do, or what is allowed [mm]."""
    tooling, n = machine.tooling[0], numbers(part, machine, settings, leads, 0.0)
    allowed = (part.trim_a, part.trim_b) if leads == "A" else (part.trim_b, part.trim_a)
    lead = next((t for t in range(round(allowed[0])) if n.starts[0] + t >= tooling.shortest_grip), round(allowed[0]))
    behind = max(tooling.shortest_tail, n.closest + n.grip)
    tail = next((t for t in range(round(allowed[1])) if n.stock + t - n.swings[-1] >= behind), round(allowed[1]))
    return lead, tail


@pytest.mark.parametrize("leads", ["A", "B"])
def test_the_trim_is_the_least_whole_millimetre_that_does(leads: End) -> None:
    some = 0
    for seed in range(160):
        part, machine, settings = whole_millimetres(seed)
        bends = tuple(range(1, part.n_bends + 1))
        order: Order = (Run(leads, bends if leads == "A" else bends[::-1]),)
        found = needed_trim(case_of(part, machine, settings), order)
        lead, tail = trim_by_trying(part, machine, settings, leads)
        assert (found["A"], found["B"]) == ((lead, tail) if leads == "A" else (tail, lead)), seed
        some += lead > 0 and tail > 0
    assert some >= 8


def test_trim_is_rounded_up_and_never_more_than_allowed() -> None:
    """Grip: 50 mm at the leading end, 30.4 there: 19.6, so 20. Tail: 150 + 40 mm behind where the swing of bend 2 ends."""
    part = tube([30.4, 200, 100.3], [0, 30], [60, 60], trims=(60.0, 300.0))
    machine = bender()
    case = case_of(part, machine)
    opened = 76.2 * (case.settings[1] - math.radians(60.0))
    found = needed_trim(case, (Run("A", (1, 2)),))
    assert found == {"A": 20.0, "B": math.ceil(190.0 - 100.3 + opened)}
    tight = case_of(tube([30.4, 200, 100.3], [0, 30], [60, 60], trims=(10.5, 7.0)), machine)
    assert needed_trim(tight, (Run("A", (1, 2)),)) == {"A": 10.5, "B": 7.0}


def test_an_order_with_a_turn_asks_for_a_tail_at_both_ends_and_a_grip_at_the_first() -> None:
    """Bend 2 first with A leading, then bend 1 with B leading: the clamp then holds the straight between them."""
    part = tube([20, 200, 20], [0, 30], [60, 60], trims=(400.0, 400.0))
    case = case_of(part, bender())
    opened = 76.2 * (case.settings[0] - math.radians(60.0))
    behind = math.ceil(190.0 - 20.0 + opened)
    assert needed_trim(case, (Run("A", (2,)), Run("B", (1,)))) == {"A": behind, "B": behind}


@pytest.mark.parametrize("leads", ["A", "B"])
def test_an_order_straight_through_is_ready_only_if_every_rule_holds_in_plain_numbers(leads: End) -> None:
    """Clamp, shortest grip, tail and one hold of the collet for all bends (travel long enough that none needs a re-grip)."""
    ready = refused = 0
    for seed in range(120):
        part, machine, settings = whole_millimetres(seed)
        machine = machine.model_copy(
            update={"carriage": machine.carriage.model_copy(update={"reach": (machine.carriage.reach[0], 5000.0)})}  # type: ignore[union-attr]
        )
        bends = tuple(range(1, part.n_bends + 1))
        found = prepare(case_of(part, machine, settings), (Run(leads, bends if leads == "A" else bends[::-1]),))
        lead, tail = trim_by_trying(part, machine, settings, leads)
        n, tooling = numbers(part, machine, settings, leads, tail), machine.tooling[0]
        left = n.stock - max(n.swings)
        clamped = all(b - a >= tooling.clamp_lengths[-1] for a, b in zip(n.ends, n.starts[1:], strict=False))
        passes = (
            clamped
            and n.starts[0] + lead >= tooling.shortest_grip
            and left >= max(tooling.shortest_tail, n.closest + n.grip)
        )
        assert isinstance(found, Ready) == passes, (seed, found)
        ready, refused = ready + passes, refused + (not passes)
    assert min(ready, refused) >= 20


def test_the_clamps_of_an_order_are_those_no_longer_than_the_straight_they_hold() -> None:
    part = tube([300, 85, 65, 300], [0, 30, 30], [40, 40, 40])
    straight_through = prepare(case_of(part, bender()), (Run("A", (1, 2, 3)),))
    assert isinstance(straight_through, Ready)
    assert straight_through.loads[0].clamps == ((80, 60), (80, 60), (60,))
    turned = prepare(case_of(part, bender()), (Run("A", (2, 3)), Run("B", (1,))))
    assert isinstance(turned, Ready)
    assert [load.clamps for load in turned.loads] == [((80, 60), (60,)), ((80, 60),)]


def test_nothing_is_called_impossible_for_which_some_order_keeps_the_rules() -> None:
    """Every outward order of random parts on random carriages, hand-fed benders and rods, with any number of turns."""
    possible = impossible = both_fail = 0
    for seed in range(250):
        part, machine, settings = whole_millimetres(seed, passes_through=seed % 3 > 0, released=seed % 2 == 0)
        rng = np.random.default_rng(10_000 + seed)
        if seed % 5 == 0:
            machine = machine.model_copy(update={"carriage": None})
        if seed % 7 == 0:
            straights = [float(s) for s in part.straights]
            straights[len(straights) // 2] = float(rng.uniform(0.0, 90.0))
            part = tube(straights, np.degrees(part.rotations), np.degrees(part.angles), (part.trim_a, part.trim_b))  # type: ignore[arg-type]
        if part.n_bends > 4:
            continue
        case = case_of(part, machine, settings)
        ready = [order for order in outward_orders(part.n_bends) if isinstance(prepare(case, order), Ready)]
        broken = broken_in_every_order(case)
        possible, impossible = possible + bool(ready), impossible + bool(broken)
        both_fail += not ready and not broken
        assert not (ready and broken), (seed, ready[:1], broken)
    assert min(possible, impossible) >= 20


def test_a_part_that_some_order_carries_is_not_called_impossible_by_the_other_rules() -> None:
    for seed in range(40):
        case = case_of(random_tube(seed), bender())
        assert not broken_in_every_order(case), seed
