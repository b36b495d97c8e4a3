"""A last bend made with the collet open: that bend alone, and only where it is needed."""

from __future__ import annotations

import math
from typing import Any, Literal

import pytest

from planner.feasibility.orders import Run
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan
from tests.plan.forced import forced
from tests.plan.shop import bender, tube


def made(part: Part, machine: Machine) -> Plan:
    outcome = forced(part, machine, (Run("A", (1, 2, 3)),))
    assert isinstance(outcome, Plan), outcome.sentence
    return outcome


RELEASING = bender({"carriage": {"finish_released": True}})


def test_only_the_jobs_last_bend_is_made_with_the_collet_open() -> None:
    document = made(tube([400, 150, 150, 140], [0, 40, 30], [50, 40, 45]), RELEASING)
    opened = [step.bend for step in document.steps if step.action == "open collet"]
    held = [step.bend for step in document.steps if step.action == "bend" and step.grip is not None]
    assert (document.released, opened, held) == (1, [3], [1, 2])


def test_a_tail_that_the_collet_can_hold_is_not_released() -> None:
    document = made(tube([400, 150, 150, 400], [0, 40, 30], [50, 40, 45]), RELEASING)
    assert (document.released, document.reclamps) == (0, 0)


def test_a_released_bend_carries_no_more_trim_than_it_needs() -> None:
    """10 mm of trim would not do for holding the tube (some 53 mm are missing), and released the bend needs none."""
    document = made(tube([400, 150, 150, 140], [0, 40, 30], [50, 40, 45], trims=(0.0, 10.0)), RELEASING)
    assert document.stock is not None
    assert (document.released, document.stock.trim_b) == (1, 0.0)


def test_without_leave_to_release_the_short_tail_is_refused() -> None:
    """Every order ends with bend 3 and end A leading or with bend 1 and end B leading, and neither tail can be held.

    By hand: 150 + 40 mm less 120, and the springback that the swing draws in: 45° are set to 47.0°, 50° to 52.14°.
    """
    document = plan(tube([120, 150, 150, 120], [0, 40, 30], [50, 40, 45]), bender())
    assert (document.verdict, document.proved.makeable) == ("not makeable", True)
    assert {(r.rule, r.bend, r.leads) for r in document.reasons} == {
        ("carriage reach", 3, "A"),
        ("carriage reach", 1, "B"),
    }
    for bend, opened in ((3, 2.0), (1, 50 * 144 / 140 + 11 - 10 * 144 / 140 - 50)):
        missing = 150 + 40 - 120 + 76.2 * math.radians(opened)
        (said,) = [r.sentence for r in document.reasons if r.bend == bend]
        assert f"the tail is {missing:.1f} mm too short" in said


SLAT: dict[str, Any] = {"name": "slat", "moves_with": "arm", "box": {"from": [103, -95, -10], "to": [105, -93, 10]}}


@pytest.mark.parametrize("engine", ["exact", "cp-sat"])
def test_where_the_carriage_cannot_run_as_far_as_the_tube_must_it_is_run_forward_by_hand(
    engine: Literal["exact", "cp-sat"],
) -> None:
    """The collet holds 6 mm behind its closest place when the bend ends: the slat on the arm asks for some 60 mm, the grip
    section for 80. So the collet is opened after the bend, which costs no re-clamp, and the carriage goes back first.
    """
    machine = bender(
        {
            "carriage": {"reach": [250, 2000], "grip_length": 60},
            "tooling": {"clamp_block": {"width": 110, "height": 110, "opens": 160}},
            "solid": [SLAT],
        }
    )
    for tail, by_hand in ((316, True), (500, False)):
        made = plan(tube([tail, tail], [0], [90]), machine, engine=engine)
        assert (made.verdict, made.reclamps, made.released) == ("makeable", 0, 0)
        actions = [step.action for step in made.steps]
        last = [step for step in made.steps if step.action == "run forward"][-1]
        assert last.from_ is not None
        assert (last.grip is None) == by_hand
        assert (actions.index("open collet") < actions.index("run forward")) == by_hand
        if by_hand:
            assert actions.index("carriage back") < actions.index("run forward")
            assert (last.reading, last.from_.face) == (None, 2000.0)
