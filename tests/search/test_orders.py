"""Every order that keeps the shop rules against an enumeration in plain whole millimetres; trims, clamps, verdicts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from planner.cuts.impossible import broken_in_every_order
from planner.cuts.shop_rules import problem_of, trims_to_choose
from planner.feasibility.orders import Case, Order, Run, ready_of
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.inputs.springback import setting_for
from planner.rules.broken import End
from planner.sequencing.events import Event, Trims
from planner.sequencing.exact import Exact
from tests.plan.forced import forced_sequence, no_extra, nothing_but
from tests.plan.shop import bender, random_tube, tube
from tests.rules.cases import Numbers, clamped, lasts, numbers, whole_millimetres

NEVER = 99


def case_of(part: Part, machine: Machine, settings: list[float] | None = None) -> Case:
    if settings is None:
        settings = [
            setting_for(float(a), machine, part, float(r)).value for a, r in zip(part.angles, part.radii, strict=True)
        ]
    tooling = tuple(machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii)
    return Case(part, machine, tooling, tuple(settings))


@dataclass(frozen=True)
class Plain:
    """One end leading, in plain numbers; faces: the stock coordinates at which the collet's face may stand [mm]."""

    n: Numbers
    lead: int
    closed_at_the_back: bool
    tooling: Tooling

    def faces(self) -> NDArray[np.int64]:
        """Every place of the face at 1 mm."""
        return np.arange(self.n.stock + 1)

    def holds(self, bend: int, released: bool) -> NDArray[np.bool_]:
        """At which faces the collet serves a bend."""
        n, face = self.n, self.faces()
        fills = face + n.grip == n.stock if self.closed_at_the_back else face + n.grip <= n.stock
        end = n.starts[bend] if released else n.swings[bend]
        return np.asarray(fills & (face - n.starts[bend] <= n.farthest) & (face - end >= n.closest))

    def may_bend(self, bend: int, alone: bool) -> bool:
        """Whether clamp, pressure die, leading end and tail allow a bend with nothing formed ahead, or with its neighbour formed."""
        if self.n.stock - self.n.swings[bend] < self.tooling.shortest_tail:
            return False
        if not lasts(self.tooling, self.n.swings[bend] - self.n.starts[bend]):
            return False
        if alone:
            return self.n.starts[bend] + self.lead >= self.tooling.shortest_grip
        return clamped(self.tooling, self.n.starts[bend] - self.n.ends[bend - 1])


def plain_ends(part: Part, machine: Machine, settings: list[float]) -> dict[str, Plain]:
    tooling, carriage = machine.tooling[0], machine.carriage
    assert carriage is not None
    ends = {}
    for end, lead, tail in (("A", part.trim_a, part.trim_b), ("B", part.trim_b, part.trim_a)):
        n = numbers(part, machine, settings, end, tail)  # type: ignore[arg-type]
        closed = not carriage.passes_through
        ends[end] = Plain(n, round(lead), closed, tooling)
    return ends


def fewest_reclamps(part: Part, machine: Machine, settings: list[float]) -> int:
    """The fewest re-clamps over every order with all the trim allowed, every hold of the collet at 1 mm; NEVER if none.

    Kept for each run of formed bends and leading end: the re-clamps so far, face by face. Runs grow bend by bend: with the
    same hold, after a re-grip (the face must keep the carriage's reach before and after the tube springs back), after a
    reload, or after a turn.
    """
    carriage, size = machine.carriage, part.n_bends
    assert carriage is not None
    ends = plain_ends(part, machine, settings)
    so_far: dict[tuple[str, int, int], NDArray[np.int64]] = {}
    best = NEVER

    def reach(end: str, first: int, bend: int, cost: NDArray[np.int64]) -> None:
        """Make a bend (numbered from its leading end, from 0) with the run from `first` on ahead of it."""
        nonlocal best
        plain = ends[end]
        if not plain.may_bend(bend, alone=first == bend):
            return
        last = first == 0 and bend == size - 1
        if last:
            best = min(best, int(cost[plain.holds(bend, released=False)].min(initial=NEVER)))
            if carriage.finish_released:
                best = min(best, 1 + int(cost[plain.holds(bend, released=True)].min(initial=NEVER)))
        kept = np.where(plain.holds(bend, released=False), cost, NEVER)
        key = (end, first, bend)
        so_far[key] = np.minimum(so_far.get(key, np.full(cost.shape, NEVER)), kept)

    for end in ends:
        for bend in range(size):
            reach(end, bend, bend, np.zeros(ends[end].faces().shape, dtype=np.int64))
    for length in range(1, size):
        for (end, first, bend), cost in list(so_far.items()):
            if bend - first + 1 != length or cost.min() >= NEVER:
                continue
            plain, other = ends[end], "B" if end == "A" else "A"
            again = int(cost.min()) + 1
            if bend + 1 < size:
                face = plain.faces()
                moved = (face - plain.n.swings[bend] >= plain.n.closest) & (
                    face - plain.n.ends[bend] <= plain.n.farthest
                )
                regripped = np.where(moved & carriage.passes_through, again, NEVER)
                reach(end, first, bend + 1, np.minimum(cost, regripped))
                reach(end, first, bend + 1, np.full(cost.shape, again))
            if first > 0:
                mirrored = ends[other].faces()
                reach(other, size - 1 - bend, size - first, np.full(mirrored.shape, again))
    return best


@pytest.mark.parametrize(("passes_through", "released"), [(True, False), (True, True), (False, False), (False, True)])
def test_the_fewest_reclamps_of_any_order_are_those_of_an_enumeration_at_1_mm(
    passes_through: bool, released: bool
) -> None:
    """Rules only, no geometry: turns, reloads, re-grips and a last bend with the collet open, against plain numbers."""
    counts = dict.fromkeys(range(5), 0)
    refused = 0
    for seed in range(200, 320):
        part, machine, settings = whole_millimetres(seed, passes_through, released)
        problem = problem_of(case_of(part, machine, settings), (Trims(part.trim_a, part.trim_b),))
        found = Exact().best(problem, (), no_extra)
        expected = fewest_reclamps(part, machine, settings)
        assert (NEVER if found is None else found.value.reclamps) == expected, seed
        refused += found is None
        if found is not None:
            counts[min(found.value.reclamps, 4)] += 1
    assert refused >= 3
    assert counts[0] >= 10
    assert counts[1] + counts[2] >= 5, counts


def test_nothing_is_called_impossible_for_which_some_order_keeps_the_rules() -> None:
    possible = impossible = 0
    for seed in range(250):
        part, machine, settings = whole_millimetres(seed, passes_through=seed % 3 > 0, released=seed % 2 == 0)
        if seed % 7 == 0:
            straights = [float(s) for s in part.straights]
            straights[len(straights) // 2] = float(seed % 90)
            part = tube(straights, np.degrees(part.rotations), np.degrees(part.angles), (part.trim_a, part.trim_b))  # type: ignore[arg-type]
        case = case_of(part, machine, settings)
        found = Exact().best(problem_of(case), (), no_extra)
        broken = broken_in_every_order(case)
        possible, impossible = possible + (found is not None), impossible + bool(broken)
        assert found is None or not broken, (seed, broken)
    assert min(possible, impossible) >= 20


def outward_orders(n: int) -> list[Order]:
    """Every order in which the formed bends are a run of neighbours, with and without putting the tube back between two.

    It grows toward B with A leading, toward A with B leading.
    """
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
            for anew in product((False, True), repeat=n - 1):
                runs: list[tuple[str, list[int]]] = [(made[0][0], [made[0][1]])]
                for (leads, bend), put_back in zip(made[1:], anew, strict=True):
                    if put_back or runs[-1][0] != leads:
                        runs.append((leads, [bend]))
                    else:
                        runs[-1][1].append(bend)
                found.add(tuple(Run(leads, tuple(bends)) for leads, bends in runs))  # type: ignore[arg-type]
    return sorted(found, key=str)


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_every_order_that_grows_outward_is_among_those_searched_with_its_reclamps_counted(n: int) -> None:
    case = case_of(tube([500, *[200] * (n - 1), 500], [0, *[30] * (n - 1)], [40] * n), bender())
    for order in outward_orders(n):
        found = forced_sequence(case, order)
        assert found is not None, order
        ready = ready_of(case, found)
        assert ready.order == order
        turns = sum(a.leads != b.leads for a, b in zip(order, order[1:], strict=False))
        assert (ready.turns, ready.reloads) == (turns, len(order) - 1 - turns)
        assert found.value.reclamps == len(order) - 1


def trim_by_trying(part: Part, machine: Machine, settings: list[float], leads: End) -> tuple[int, int] | None:
    """The first whole millimetres of trim at the leading end and at the tail that do [mm], None if none allowed does."""
    tooling, n = machine.tooling[0], numbers(part, machine, settings, leads, 0.0)
    allowed = (part.trim_a, part.trim_b) if leads == "A" else (part.trim_b, part.trim_a)
    behind = max(tooling.shortest_tail, n.closest + n.grip)
    lead = next((t for t in range(round(allowed[0]) + 1) if n.starts[0] + t >= tooling.shortest_grip), None)
    tail = next((t for t in range(round(allowed[1]) + 1) if n.stock + t - max(n.swings) >= behind), None)
    return None if lead is None or tail is None else (lead, tail)


@pytest.mark.parametrize("leads", ["A", "B"])
def test_the_trim_is_the_least_whole_millimetre_that_does(leads: End) -> None:
    """Straight through with a carriage that runs far enough for one hold: grip and tail alone ask for trim."""
    some = none = 0
    for seed in range(400):
        part, machine, settings = whole_millimetres(seed)
        assert machine.carriage is not None
        reach = {"reach": (machine.carriage.reach[0], 5000.0)}
        machine = machine.model_copy(update={"carriage": machine.carriage.model_copy(update=reach)})
        bends = tuple(range(1, part.n_bends + 1))
        order: Order = (Run(leads, bends if leads == "A" else bends[::-1]),)
        n = numbers(part, machine, settings, leads, 0.0)
        tooling = machine.tooling[0]
        held = all(clamped(tooling, b - a) for a, b in zip(n.ends, n.starts[1:], strict=False))
        held = held and all(lasts(tooling, b - a) for a, b in zip(n.starts, n.swings, strict=True))
        expected = trim_by_trying(part, machine, settings, leads) if held else None
        found = forced_sequence(case_of(part, machine, settings), order)
        trims = None if found is None else (found.trims.at(leads), found.trims.total - found.trims.at(leads))
        assert trims == expected, seed
        some += expected is not None and min(expected) > 0
        none += expected is None
    assert some >= 4
    assert none >= 20


def test_trim_is_rounded_up_and_offered_only_where_it_is_allowed() -> None:
    """Grip: 50 mm at the leading end, 30.4 there: 19.6, so 20. Tail: 150 + 40 mm behind where the swing of bend 2 ends."""
    part = tube([30.4, 200, 100.3], [0, 30], [60, 60], trims=(60.0, 300.0))
    case = case_of(part, bender())
    opened = 76.2 * (case.settings[1] - math.radians(60.0))
    found = forced_sequence(case, (Run("A", (1, 2)),))
    assert found is not None
    assert found.trims == Trims(20.0, math.ceil(190.0 - 100.3 + opened))
    tight = case_of(tube([30.4, 200, 100.3], [0, 30], [60, 60], trims=(10.5, 7.0)), bender())
    assert trims_to_choose(tight) == (Trims(0.0, 0.0),)
    assert forced_sequence(tight, (Run("A", (1, 2)),)) is None


def test_an_order_with_a_turn_asks_for_a_tail_at_both_ends_and_a_grip_at_the_first() -> None:
    """Bend 2 first with A leading, then bend 1 with B leading: the clamp then holds the straight between them."""
    part = tube([20, 200, 20], [0, 30], [60, 60], trims=(400.0, 400.0))
    case = case_of(part, bender())
    opened = 76.2 * (case.settings[0] - math.radians(60.0))
    behind = math.ceil(190.0 - 20.0 + opened)
    found = forced_sequence(case, (Run("A", (2,)), Run("B", (1,))))
    assert found is not None
    assert found.trims == Trims(behind, behind)


def test_less_trim_is_bought_with_a_reclamp_only_where_it_is_preferred() -> None:
    """A last bend with the collet open needs less tail: 150 + 40 mm from where it starts, not from where it ends."""
    part = tube([300, 200, 130], [0, 30], [60, 60], trims=(0.0, 300.0))
    case = case_of(part, bender({"carriage": {"finish_released": True}}))
    problem = problem_of(case)
    straight = nothing_but(case, (Run("A", (1, 2)),))
    held = Exact().best(problem, straight, no_extra)
    opened = Exact().best(problem, straight, no_extra, "less trim")
    assert held is not None
    assert opened is not None
    assert (held.value.reclamps, opened.value.reclamps) == (0, 1)
    springback = 76.2 * (case.settings[1] - math.radians(60.0))
    assert held.trims.b == math.ceil(190.0 - 130.0 + springback)
    assert opened.trims.b == 0.0


def test_the_clamps_of_an_order_are_those_no_longer_than_the_straight_they_hold() -> None:
    part = tube([300, 85, 65, 300], [0, 30, 30], [40, 40, 40])
    case = case_of(part, bender())
    straight_through = forced_sequence(case, (Run("A", (1, 2, 3)),))
    assert straight_through is not None
    assert ready_of(case, straight_through).loads[0].clamps == ((80, 60), (80, 60), (60,))
    turned = forced_sequence(case, (Run("A", (2, 3)), Run("B", (1,))))
    assert turned is not None
    assert [load.clamps for load in ready_of(case, turned).loads] == [((80, 60), (60,)), ((80, 60),)]


def test_a_rule_names_its_bend_as_the_drawing_counts_it_from_either_end() -> None:
    part = tube([300, 50, 300], [0, 30], [60, 60])
    rules = [n for n in problem_of(case_of(part, bender())).rules if n.rule == "clamp longer than the straight"]
    found = {(n.pattern.event, n.pattern.leads, n.pattern.bend, n.pattern.ahead) for n in rules}
    assert found == {(Event.BEND, "A", 2, (1, 1)), (Event.BEND, "B", 2, (1, 1))}
    assert {n.evidence.bend for n in rules} == {1, 2}  # type: ignore[attr-defined]


def test_a_part_that_some_order_carries_is_not_called_impossible_by_the_other_rules() -> None:
    for seed in range(40):
        case = case_of(random_tube(seed), bender())
        assert not broken_in_every_order(case), seed
