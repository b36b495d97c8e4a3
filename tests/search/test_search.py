"""The search around the engines: time limit, what is remembered after an edit, other ways, preference, second opinions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from planner.feasibility.cases import case_of, surroundings_of
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import Learned, plan
from planner.search.decision import decide
from planner.search.search import Search
from planner.sequencing.cpsat import CpSat
from planner.sequencing.events import NoGood, Prefer, Sequence
from planner.sequencing.exact import Exact
from planner.sequencing.problem import Extra, Problem
from tests.plan.random_parts import drawn
from tests.plan.shop import RADIUS, bender, tube

LOW: dict[str, Any] = {"head": {"centreline_height": 1050}}


def hanging(leg_a: float, leg_b: float) -> Part:
    """On a right head the leg made first hangs straight down before the second bend."""
    return tube([leg_a, 200, leg_b], [0, 90], [90, 90])


def search_of(part: Part, machine: Machine) -> Search:
    case = case_of(part, machine)
    return Search.of(case, surroundings_of(case), Exact())


def test_when_time_runs_out_at_once_the_bound_known_by_then_is_told() -> None:
    made = plan(hanging(400, 400), bender(LOW), time_limit=1e-9)
    assert (made.verdict, made.undecided_because) == ("undecided", "time limit")
    assert "at least 0 re-clamps" in made.reasons[-1].sentence


def test_a_solver_that_gives_up_leaves_the_verdict_open_and_never_says_no() -> None:
    made = plan(hanging(400, 400), bender(LOW), engine=CpSat(limit=1e-7))
    assert (made.verdict, made.undecided_because) == ("undecided", "time limit")
    assert not any((made.proved.makeable, made.proved.reclamps, made.proved.trim, made.proved.time))


def test_a_time_limit_that_is_not_reached_changes_nothing() -> None:
    part, machine = hanging(400, 400), bender(LOW)
    assert plan(part, machine, time_limit=600.0) == plan(part, machine)


def test_what_was_learned_is_evaluated_again_after_a_small_edit_and_saves_the_work() -> None:
    first = search_of(hanging(2000, 2000), bender(LOW))
    assert decide(first).plan is None
    edited, machine = hanging(2010, 1990), bender(LOW)
    fresh, helped = search_of(edited, machine), search_of(edited, machine)
    helped.known.remember(first.nogoods)
    assert len(helped.nogoods) == len(first.nogoods) > 0
    assert decide(helped).undecided is None
    assert decide(fresh).undecided is None
    assert helped.checks.batches.motions == 0 < fresh.checks.batches.motions


def test_a_plan_that_is_told_what_was_learned_before_an_edit_is_the_plan_of_one_that_is_not() -> None:
    machine, learned = bender(LOW), Learned()
    plan(hanging(2000, 2000), machine, learned=learned)
    assert learned.nogoods
    for legs in ((2005, 500), (2005, 2005), (500, 500)):
        told, fresh = plan(hanging(*legs), machine, learned=learned), plan(hanging(*legs), machine)
        assert (told.verdict, told.reclamps, told.order, told.steps) == (
            fresh.verdict, fresh.reclamps, fresh.order, fresh.steps,
        )  # fmt: skip
        assert told.proved == fresh.proved


def test_what_no_longer_strikes_after_an_edit_is_forgotten() -> None:
    first = search_of(hanging(2000, 2000), bender(LOW))
    decide(first)
    higher = bender({"head": {"centreline_height": 2500}})
    helped = search_of(hanging(2000, 2000), higher)
    helped.known.remember(first.nogoods)
    assert helped.nogoods == ()
    assert decide(helped).plan is not None


@pytest.mark.parametrize("legs", [(400, 700), (700, 400), (300, 300)])
def test_other_ways_are_better_in_something_and_none_beats_another(legs: tuple[float, float]) -> None:
    part = replace(tube([*legs[:1], 200, 260, *legs[1:]], [0, 60, -90], [60, 45, 90]), trim_a=100.0, trim_b=100.0)
    made = plan(
        part, bender({"head": {"centreline_height": 1050}, "carriage": {"finish_released": True}}), alternatives=True
    )
    assert made.verdict == "makeable"
    said = f"Other ways: {len(made.alternatives)} found that are better in something; only plans with up to 2 re-clamps"
    assert any(warning.startswith(said) for warning in made.warnings)
    ways = [(a.reclamps, a.trim, a.time, -(a.smallest_clearance or 0.0)) for a in made.alternatives]
    assert made.stock is not None
    trim = made.stock.trim_a + made.stock.trim_b
    own = (made.reclamps, trim, made.time, -(made.smallest_clearance or 0.0))
    for way in ways:
        assert any(a < b - 0.04 for a, b in zip(way, own, strict=True)), (way, own)
    for one in ways:
        for other in ways:
            assert one == other or any(a < b for a, b in zip(one, other, strict=True)), (one, other)
    fewer = {
        "alternatives": (),
        "warnings": made.warnings[:-1],
        "fact": {**made.fact, "warnings": made.fact["warnings"][:-1]},
    }
    assert plan(
        part, bender({"head": {"centreline_height": 1050}, "carriage": {"finish_released": True}})
    ) == made.model_copy(update=fewer)


def test_less_trim_may_be_preferred_to_fewer_reclamps_and_each_is_proved() -> None:
    """A tail of 130 mm is too short to hold the last bend to its end, long enough to place it: 190 mm from its start."""
    part = replace(tube([130, 200, 130], [0, 30], [60, 60]), trim_b=300.0)
    machine = bender({"carriage": {"finish_released": True}})
    fewer, less = plan(part, machine), plan(part, machine, prefer="less trim")
    assert fewer.stock is not None
    assert less.stock is not None
    assert (fewer.reclamps, less.reclamps) == (0, 1)
    assert fewer.stock.trim_b > less.stock.trim_b == 0.0
    for made in (fewer, less):
        assert (made.proved.reclamps, made.proved.trim) == (True, True)


class SaysNo:
    """An engine that finds nothing, whatever it is asked."""

    def best(
        self, problem: Problem, nogoods: Iterable[NoGood], extra: Extra, prefer: Prefer = "fewer re-clamps"
    ) -> Sequence | None:
        """Return nothing."""
        del problem, nogoods, extra, prefer


def test_where_the_engines_disagree_the_verdict_is_undecided() -> None:
    made = plan(hanging(400, 400), bender(LOW), engine=SaysNo(), confirm=True)
    assert (made.verdict, made.undecided_because) == ("undecided", "engines disagree")
    assert len(set(made.opinions.values())) == 2
    assert made.confirmed is False


CARRIED: dict[str, Any] = {
    "solid": [
        {"name": "carriage body", "moves_with": "carriage", "box": {"from": [-600, -300, -60], "to": [0, 300, 60]}}
    ]
}


def test_trim_that_lets_the_collet_hold_farther_back_is_tried_before_a_strike_on_the_carriage_proves_anything() -> None:
    """No rule asks for trim here; 900 mm of it hold the carriage off the leg, as 900 mm of the part itself do."""
    trimmed = plan(tube([420, 420], [0], [175], trims=(900, 900)), bender(CARRIED))
    drawn = plan(tube([420, 1320], [0], [175]), bender(CARRIED))
    assert (trimmed.verdict, drawn.verdict) == ("makeable", "makeable")
    assert trimmed.stock is not None
    assert max(trimmed.stock.trim_a, trimmed.stock.trim_b) == 900.0
    assert not trimmed.proved.trim  # some trim between none and all that is allowed may do


def test_without_trim_the_same_strike_on_the_carriage_is_proved_for_every_hold() -> None:
    made = plan(tube([420, 420], [0], [175]), bender(CARRIED))
    assert made.verdict == "not makeable"


def test_a_strike_met_at_the_first_load_is_looked_at_again_with_other_bends_formed() -> None:
    """It once asked for a formed tube loaded like a bare one, flush with its end, and failed."""
    box = {
        "name": "box",
        "moves_with": "frame",
        "box": {
            "from": [-99.685515393, 217.479796854, -94.203337282],
            "to": [66.377449531, 290.983507182, 7.806139717],
        },
    }
    part = tube([159, 152, 236, 222, 347], [0, 162, 18, 103], [57, 65, 23, 99], trims=(44, 0))
    machine = bender({"head": {"bends_toward": "left"}, "carriage": {"finish_released": True}, "solid": [box]})
    assert plan(part, machine).verdict in ("makeable", "not makeable")


@pytest.mark.parametrize("allowed", [560.0, 700.0, 900.0])
def test_trim_up_to_which_the_rod_reaches_is_tried_where_a_leg_strikes_the_carriage(allowed: float) -> None:
    """The leg needs some 450 mm of trim to pass the carriage; with more than 560 mm the tube is too long for the rod.

    Behind bend 1 with end A leading lie 100 + 900 + CLR·π mm of the part, and the trim.
    """
    body = {
        "name": "carriage body",
        "moves_with": "carriage",
        "box": {"from": [-300, -300, -150], "to": [0, 300, 110]},
    }
    carriage = {"grip_length": 400, "finish_released": False}
    machine = bender({"solid": [body], "carriage": carriage, "mandrel": {"rod_length": 1800}})
    part = tube([900, 100, 900], [0, 0], [90, 90], trims=(0, allowed))
    made = plan(part, machine)
    assert (made.verdict, made.reclamps, made.proved.reclamps) == ("makeable", 0, True)
    assert made.stock is not None
    assert made.stock.trim_b == min(allowed, math.floor(1800.0 - 1000.0 - math.pi * RADIUS))
    assert not made.proved.trim  # less of it may do


def test_a_bend_that_is_left_in_two_ways_does_not_keep_the_search_from_coming_to_an_end() -> None:
    """How the bend is left, for the next one or to be taken off, takes different times: two orders with the same arrival
    and something else after it must not change what it takes for each other, over and over."""
    found = drawn(100_484)
    assert found is not None
    made = plan(found.part, found.machine, time_limit=60.0)
    assert made.undecided_because != "time limit"
    assert made.verdict == "makeable"
