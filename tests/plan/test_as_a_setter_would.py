"""Everyday work on a shipped bender: each part gets the plan that a setter would write down. All parts are invented."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest

from planner.audit.proof import audit_proof
from planner.inputs.files import load_machine, part_from_data
from planner.planning import plan
from planner.plans.document import Plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document

MACHINE = load_machine("canal-workshop")


def planned(rows: Sequence[Sequence[float]], **shape: Any) -> Plan:
    """The plan of a part in 38.1 × 1.65 of 304 on the workshop's bender, proved twice and audited."""
    part = part_from_data({
        "name": "a day's work", "units": "mm",
        "tube": {"outside_diameter": 38.1, "wall": 1.65, "material": "stainless 304"},
        "shape": {"lra": rows, **({"bend_radius": 76.2} | shape if "bend_radii" not in shape else shape)},
    })  # fmt: skip
    evidence = Evidence()
    made = plan(part, MACHINE, confirm=True, evidence=evidence)
    assert made.confirmed is not False
    audited = audit_proof(proof_document(made, evidence))
    assert audited.confirmed, audited.sentence
    return made


def clamps(made: Plan) -> set[float | None]:
    return {step.clamp for step in made.steps if step.action == "bend"}


@pytest.mark.parametrize("middle", [100.0, 90.0, 76.0])
def test_an_s_or_offset_that_the_long_clamp_does_not_fit_goes_with_the_short_one_from_the_start(middle: float) -> None:
    made = planned([[400, 0, 60], [middle, 180, 60], [420]])
    assert (made.verdict, made.reclamps, clamps(made)) == ("makeable", 0, {76.0})
    assert made.proved.time
    assert made.cycle_time is not None
    assert made.cycle_time < 150.0  # no clamp is changed on the way: that takes 300 s
    assert made.setup.list[0] == "Fit the dies for a bend radius of 76.2 mm and the 76 mm clamp."
    assert made.setup.time == 300.0


def test_an_s_with_room_for_it_keeps_the_long_clamp_and_one_too_short_is_not_in_this_tool() -> None:
    assert clamps(planned([[400, 0, 60], [138, 180, 60], [420]])) == {115.0}
    made = planned([[400, 0, 60], [70, 180, 60], [420]])
    assert (made.verdict, made.reasons[0].rule) == ("not makeable", "clamp longer than the straight")


@pytest.mark.parametrize(("ends", "more"), [((250.0, 300.0), {"B": 45.0}), ((320.0, 250.0), {"A": 25.0})])
def test_an_elbow_with_short_ends_is_cut_longer_and_sawn_off(ends: tuple[float, float], more: dict[str, float]) -> None:
    """By hand: 290 mm closest, 50 in the collet, and 76.2 mm · (93.2° − 90°) = 4.3 mm drawn in, less the straight."""
    made = planned([[ends[0], 0, 90], [ends[1]]])
    assert made.stock is not None
    assert (made.verdict, made.reclamps, made.stock.more) == ("makeable", 0, more)
    assert max(ends) + sum(more.values()) == math.ceil(290.0 + 50.0 + 76.2 * math.radians(93.24 - 90.0))
    assert [step.amount for step in made.steps if step.action == "trim"] == list(more.values())
    assert (made.proved.reclamps, made.proved.trim, made.proved.time) == (True, True, True)


def test_two_radii_are_all_of_one_first_for_the_whole_batch_then_the_other() -> None:
    made = planned([[400, 0, 60], [200, 90, 60], [420]], bend_radii=[76.2, 114.3])
    assert (made.verdict, made.reclamps, made.turns, made.reloads) == ("makeable", 1, 0, 1)
    assert made.setup.time == 600.0
    assert [line.split(":")[0] for line in made.setup.list[:2]] == ["Pass 1 of 2, all parts", "Pass 2 of 2, all parts"]
    assert made.cycle_time is not None
    assert made.cycle_time < 300.0  # the dies are no part of it
    assert not [reason for reason in made.reasons if "presses" in reason.sentence]


def test_a_handrail_with_short_returns_is_cut_longer_at_one_end() -> None:
    made = planned([[180, 0, 60], [1800, 0, 60], [150]])
    assert made.stock is not None
    assert (made.verdict, made.reclamps, set(made.stock.more)) == ("makeable", 0, {"A"})


def test_a_goal_post_goes_from_its_short_leg_and_a_leg_of_three_metres_asks_for_a_stand() -> None:
    """By hand: 3 m of 38.1 × 1.65 hang 24.7 mm, more than half of the 25 mm that the opened pressure die leaves."""
    post = planned([[2000, 0, 90], [1200, 0, 90], [600]])
    assert (post.verdict, {entry.leads for entry in post.order}) == ("makeable", {"B"})
    assert all(step.stand is None for step in post.steps)
    made = planned([[3000, 0, 30], [300, 180, 30], [3000]])
    assert made.verdict == "makeable"
    held = [step for step in made.steps if step.stand is not None]
    assert max(step.sag or 0.0 for step in held) > 24.0
    assert all(step.caution is not None and "hold it up on a stand" in step.caution for step in held)


def test_a_frame_whose_side_comes_back_along_the_slide_is_settled_millimetre_by_millimetre() -> None:
    """An open frame with 500 mm sides, made narrower and wider: never undecided, whatever tool it comes near."""
    for side in (137, 200):
        made = planned([[500, 0, 90], [side, 0, 90], [500, 0, 90], [side - 60]])
        assert made.verdict in ("makeable", "not makeable"), side
        least = min((step.clearance for step in made.steps if step.clearance is not None), default=2.0)
        assert least >= 2.0 - 1e-9, side
