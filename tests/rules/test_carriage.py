"""The carriage's windows and re-grips against a plain enumeration of every hold of the collet at 1 mm."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.rules.broken import End
from planner.rules.carriage import Grip
from planner.search.events import Trims
from planner.search.exact import Exact
from planner.search.orders import Case, Run, ready_of
from planner.search.problem import Problem
from planner.search.shop_rules import problem_of
from tests.plan.forced import no_extra, nothing_but
from tests.rules.cases import Numbers, numbers, whole_millimetres

LEADS: tuple[End, ...] = ("A", "B")


def holds(n: Numbers, bend: int, face: int, end_closed: bool, released: bool) -> bool:
    """Whether the collet with its face at a stock coordinate serves a bend (design: shop rules, carriage).

    It stands within its reach when the bend starts and when the swing ends (a released bend is only placed), the tube
    fills the collet, and where the tube cannot stick out behind it the collet holds the very end.
    """
    at_start, at_end = face - n.starts[bend], face - (n.starts[bend] if released else n.swings[bend])
    fills = face + n.grip == n.stock if end_closed else face + n.grip <= n.stock
    return fills and at_start <= n.farthest and at_end >= n.closest


def fewest_reclamps(n: Numbers, end_closed: bool, may_release: bool) -> int | None:
    """The fewest re-grips, plus one if the last bend is released, over every sequence of holds at 1 mm; None if none does.

    The collet takes hold anew with the arm at the setting, and must still be within its reach once the tube has sprung
    back and pushed it backward by CLR · (setting − angle).
    """
    bends, faces = len(n.starts), range(n.stock + 1)

    @cache
    def best(bend: int, face: int, release: bool) -> int | None:
        """From this bend on, held at this face."""
        last = bend == bends - 1
        if not holds(n, bend, face, end_closed, release and last):
            return None
        if last:
            return int(release)
        kept = best(bend + 1, face, release)
        if end_closed:
            return kept
        moved = [
            found + 1
            for other in range(n.swings[bend] + n.closest, min(n.ends[bend] + n.farthest, n.stock) + 1)
            if (found := best(bend + 1, other, release)) is not None
        ]
        return min([x for x in (kept, *moved) if x is not None], default=None)

    options = [
        found
        for release in ((False, True) if may_release else (False,))
        for face in faces
        if (found := best(0, face, release)) is not None
    ]
    return min(options, default=None)


def carriage_rules(part: Part, machine: Machine, settings: list[float]) -> tuple[Case, Problem]:
    """The case with all the trim it may have, and its problem with no rules but those of the carriage."""
    tooling = tuple(machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii)
    case = Case(part, machine, tooling, tuple(settings))
    problem = problem_of(case, (Trims(part.trim_a, part.trim_b),))
    return case, replace(problem, rules=tuple(n for n in problem.rules if n.rule == "carriage reach"))


def planned(part: Part, machine: Machine, settings: list[float], leads: End) -> tuple[Grip, ...] | None:
    """The grips with which one load straight through is made, None if no grips do."""
    case, problem = carriage_rules(part, machine, settings)
    bends = tuple(range(1, part.n_bends + 1))
    order = (Run(leads, bends if leads == "A" else bends[::-1]),)
    found = Exact().best(problem, nothing_but(case, order), no_extra)
    return None if found is None else ready_of(case, found).loads[0].grips


def cost(grips: tuple[Grip, ...]) -> int:
    return len(grips) - 1 + sum(grip.released for grip in grips)


@pytest.mark.parametrize(("passes_through", "released"), [(True, False), (True, True), (False, False), (False, True)])
def test_the_grips_are_as_few_as_an_enumeration_at_1_mm_finds(passes_through: bool, released: bool) -> None:
    found_some = refused = regripped = 0
    for seed in range(60):
        part, machine, settings = whole_millimetres(seed, passes_through, released)
        leads = LEADS[seed % 2]
        plain = numbers(part, machine, settings, leads, part.trim_b if leads == "A" else part.trim_a)
        expected = fewest_reclamps(plain, not passes_through, released)
        grips = planned(part, machine, settings, leads)
        if grips is None:
            refused += 1
            assert expected is None, seed
            continue
        found_some += 1
        regripped += cost(grips) > 0
        assert cost(grips) == expected, seed
    assert found_some >= 8
    assert refused >= 8
    assert regripped >= 3 or not (passes_through or released)


def test_every_grip_serves_its_bends_and_holds_as_far_back_as_they_allow() -> None:
    """One millimetre farther back and some bend of the grip, or the re-grip before it, is out of reach."""
    checked = 0
    for seed in range(60):
        part, machine, settings = whole_millimetres(seed)
        grips = planned(part, machine, settings, "A")
        if grips is None:
            continue
        plain = numbers(part, machine, settings, "A", part.trim_b)
        assert [b for grip in grips for b in grip.bends] == list(range(1, part.n_bends + 1))
        for before, grip in zip((None, *grips), grips, strict=False):
            face = round(grip.u)
            assert grip.u == pytest.approx(face, abs=1e-4)
            assert all(holds(plain, b - 1, face, False, False) for b in grip.bends), seed
            farther = all(holds(plain, b - 1, face + 1, False, False) for b in grip.bends)
            if before is not None:
                swung, sprung = plain.swings[before.bends[-1] - 1], plain.ends[before.bends[-1] - 1]
                assert face - swung >= plain.closest, seed
                assert face - sprung <= plain.farthest, seed
                farther = farther and face + 1 - sprung <= plain.farthest
            assert not farther, seed
            checked += 1
    assert checked >= 20


def test_the_collet_is_opened_only_for_the_last_grip_and_only_where_holding_on_costs_no_less() -> None:
    opened = 0
    for seed in range(80):
        part, machine, settings = whole_millimetres(seed, released=True)
        grips = planned(part, machine, settings, "A")
        if grips is None:
            continue
        assert not any(grip.released for grip in grips[:-1])
        held = fewest_reclamps(numbers(part, machine, settings, "A", part.trim_b), False, False)
        if grips[-1].released:
            opened += 1
            assert held is None or held >= cost(grips), seed
    assert opened >= 5


def test_in_any_order_only_the_jobs_last_bend_is_made_with_the_collet_open() -> None:
    opened = 0
    for seed in range(60):
        part, machine, settings = whole_millimetres(seed, released=True)
        _, problem = carriage_rules(part, machine, settings)
        found = Exact().best(problem, (), no_extra)
        if found is not None:
            assert not any(arrival.released for arrival in found.arrivals[:-1])
            opened += found.arrivals[-1].released
    assert opened >= 5


def test_a_hand_fed_bender_has_no_grips_and_no_rules_of_a_carriage() -> None:
    part, machine, settings = whole_millimetres(0)
    hand_fed = machine.model_copy(update={"carriage": None})
    assert planned(part, hand_fed, settings, "A") == ()
    assert carriage_rules(part, hand_fed, settings)[1].rules == ()
