"""The carriage's windows and re-grips against a plain enumeration of every hold of the collet at 1 mm."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from planner.cuts.shop_rules import problem_of
from planner.feasibility.orders import Case, Run, ready_of
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.rules.broken import End
from planner.rules.carriage import Grip, closest_face, grip_window, hold_face, hold_serves, regrip_fits, window_open
from planner.sequencing.events import Event, Trims
from planner.sequencing.exact import Exact
from planner.sequencing.problem import Problem
from tests.plan.forced import no_extra, nothing_but
from tests.rules.cases import Numbers, loaded, numbers, whole_millimetres

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


def places(n: Numbers, bend: int, end_closed: bool, released: bool = False) -> list[int]:
    """Every face in whole millimetres with which the collet serves a bend."""
    return [face for face in range(n.stock + 1) if holds(n, bend, face, end_closed, released)]


@pytest.mark.parametrize("released", [False, True])
@pytest.mark.parametrize("passes_through", [True, False])
def test_a_bends_window_holds_every_place_of_the_collet_that_serves_it(passes_through: bool, released: bool) -> None:
    shut = 0
    for seed in range(300):
        part, machine, settings = whole_millimetres(seed, passes_through)
        plain, view = numbers(part, machine, settings, "A", part.trim_b), loaded(part, "A", (0.0, part.trim_b))
        carriage = machine.carriage
        assert carriage is not None
        for bend, setting in enumerate(settings, 1):
            found = places(plain, bend - 1, not passes_through, released)
            broken = window_open(view, bend, setting, carriage, released)
            assert (broken is None) == bool(found), (seed, bend)
            if not found:
                shut += 1
                assert broken is not None
                assert (broken.rule, broken.bend, broken.leads) == ("carriage reach", bend, "A")
                continue
            window = grip_window(view, bend, setting, carriage, released)
            assert window == pytest.approx((found[0], found[-1]), abs=1e-6), (seed, bend)
            if passes_through:  # else the collet holds the very end, wherever it might stand
                assert closest_face(view, bend, setting, carriage, released) == pytest.approx(found[0], abs=1e-6)
    assert shut >= 8


@pytest.mark.parametrize("released", [False, True])
def test_a_hold_begun_at_a_bend_serves_the_later_ones_that_some_place_of_it_serves(released: bool) -> None:
    """As far back as its first bend allows, and the re-grip before it: then it serves whatever any other place does."""
    served = refused = 0
    for seed in range(40):
        part, machine, settings = whole_millimetres(seed)
        plain, view = numbers(part, machine, settings, "A", part.trim_b), loaded(part, "A", (0.0, part.trim_b))
        carriage, n = machine.carriage, part.n_bends
        assert carriage is not None
        for since in range(1, n + 1):
            for begun_by_regrip in (False, True) if since > 1 else (False,):
                at = plain.ends[since - 2] if begun_by_regrip else None
                first = set(places(plain, since - 1, False))
                if begun_by_regrip:
                    before = since - 2
                    first &= set(range(plain.swings[before] + plain.closest, plain.ends[before] + plain.farthest + 1))
                if not first:
                    continue
                face = hold_face(view, since, None if at is None else float(at), carriage)
                assert face == pytest.approx(max(first), abs=1e-6), (seed, since)
                for bend in range(since + 1, n + 1):
                    some = first & set(places(plain, bend - 1, False, released))
                    broken = hold_serves(view, face, since, bend, settings[bend - 1], carriage, released)
                    assert (broken is None) == bool(some), (seed, since, bend)
                    served, refused = served + bool(some), refused + (not some)
    assert min(served, refused) >= 20


def test_a_new_hold_is_found_at_the_end_of_a_bend_where_the_reach_allows_it_before_and_after_springing_back() -> None:
    found = refused = 0
    for seed in range(200):
        part, machine, settings = whole_millimetres(seed)
        plain, view = numbers(part, machine, settings, "A", part.trim_b), loaded(part, "A", (0.0, part.trim_b))
        assert machine.carriage is not None
        for bend, setting in enumerate(settings, 1):
            some = any(
                face - plain.swings[bend - 1] >= plain.closest
                and face - plain.ends[bend - 1] <= plain.farthest
                and face + plain.grip <= plain.stock
                for face in range(plain.stock + 1)
            )
            assert (regrip_fits(view, bend, setting, machine.carriage) is None) == some, (seed, bend)
            found, refused = found + some, refused + (not some)
    assert min(found, refused) >= 20


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
def test_the_grips_are_as_few_as_an_enumeration_at_1_mm_finds(
    passes_through: bool, released: bool, campaign: bool
) -> None:
    found_some = refused = regripped = 0
    for seed in range(60 if campaign else 30):
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
    assert min(found_some, refused) >= (8 if campaign else 4)
    assert regripped >= (3 if campaign else 2) or not (passes_through or released)


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


def test_the_collet_is_opened_only_for_the_last_grip_and_only_where_holding_on_costs_no_less(
    campaign: bool,
) -> None:
    opened = 0
    for seed in range(80 if campaign else 40):
        part, machine, settings = whole_millimetres(seed, released=True)
        grips = planned(part, machine, settings, "A")
        if grips is None:
            continue
        assert not any(grip.released for grip in grips[:-1])
        held = fewest_reclamps(numbers(part, machine, settings, "A", part.trim_b), False, False)
        if grips[-1].released:
            opened += 1
            assert held is None or held >= cost(grips), seed
    assert opened >= (5 if campaign else 3)


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


def test_a_bend_that_is_not_the_jobs_last_is_never_released() -> None:
    """Inner bends first and a turn before the last: the load before the turn has a last bend too."""
    turned = opened = 0
    for seed in range(60):
        part, machine, settings = whole_millimetres(seed, released=True)
        if part.n_bends == 1:
            continue
        case, problem = carriage_rules(part, machine, settings)
        order = (Run("A", tuple(range(2, part.n_bends + 1))), Run("B", (1,)))
        sequence = Exact().best(problem, nothing_but(case, order), no_extra)
        if sequence is None:
            continue
        turned += 1
        opened += sequence.arrivals[-1].released
        assert sequence.arrivals[-1].event is Event.TURN
        assert not any(arrival.released for arrival in sequence.arrivals[:-1]), seed
        assert not any(grip.released for grip in ready_of(case, sequence).loads[0].grips), seed
    assert turned >= 10
    assert opened >= 3


def test_a_hand_fed_bender_has_no_grips_and_no_rules_of_a_carriage() -> None:
    part, machine, settings = whole_millimetres(0)
    hand_fed = machine.model_copy(update={"carriage": None})
    assert planned(part, hand_fed, settings, "A") == ()
    assert carriage_rules(part, hand_fed, settings)[1].rules == ()
