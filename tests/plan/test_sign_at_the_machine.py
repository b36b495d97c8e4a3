"""The machine's sign by hand, in the plan: which way the chuck turns and where the formed leg then points.

By hand (design: facts to test): right head, bend 1 of 90°, R = +90: before the other bend the formed leg points straight
down (−z); on a left head straight up. The rotation in the table is the same from either end, so it holds for A and B leading.
"""

from __future__ import annotations

import json

import pytest

from planner.feasibility.orders import Run
from planner.inputs.part import Part
from planner.plans.document import Plan
from tests.plan.forced import forced
from tests.plan.shop import bender, head, tube
from tests.plan.workpiece import Workpiece

HEADS = {"right": -1.0, "left": 1.0}
"""z of the formed leg before the second bend, for R = +90."""

LEADS = {"A": (Run("A", (1, 2)),), "B": (Run("B", (2, 1)),)}


def corner(rotation: float) -> Part:
    """Two bends of 90° with a rotation between them [deg]; no two lengths are the same."""
    return tube([400, 200, 450], [0, rotation], [90, 90], name="corner")


def made(rotation: float, toward: str, leads: str) -> Plan:
    plan = forced(corner(rotation), bender(head(toward)), LEADS[leads])  # type: ignore[arg-type]
    assert isinstance(plan, Plan)
    return plan


@pytest.mark.parametrize("leads", ["A", "B"])
@pytest.mark.parametrize("toward", ["right", "left"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_formed_leg_points_straight_down_or_up_before_the_second_bend(toward: str, leads: str, sign: float) -> None:
    document = json.loads(made(90.0 * sign, toward, leads).to_json())
    second = document["order"][1]["bend"]
    leg = Workpiece(document).carry_out().at_bend[second]
    assert leg == pytest.approx([0.0, 0.0, sign * HEADS[toward]], abs=1e-9)
    flipped = Workpiece(document, mirror_the_chuck=True).carry_out().at_bend[second]
    # so a flipped sign fails the line above
    assert flipped == pytest.approx([0.0, 0.0, -sign * HEADS[toward]], abs=1e-9)


@pytest.mark.parametrize("leads", ["A", "B"])
@pytest.mark.parametrize("toward", ["right", "left"])
@pytest.mark.parametrize(("rotation", "way"), [(60.0, "clockwise"), (-60.0, "counter-clockwise")])
def test_the_chuck_turns_by_plus_r_about_the_feed_whichever_head_and_end(
    rotation: float, way: str, toward: str, leads: str
) -> None:
    """Clockwise seen along the feed is positive about +x."""
    turns = [s for s in made(rotation, toward, leads).steps if s.action == "rotate"]
    short = [(s.way, s.amount) for s in turns if s.amount is not None and s.amount < 180.0]
    assert short == [(way, 60.0)]


@pytest.mark.parametrize("toward", ["right", "left"])
def test_the_swing_carries_the_leading_part_toward_the_dies_side(toward: str) -> None:
    """A right head stands at the right of the feed, at negative y, and the leg swings clockwise seen from above."""
    document = json.loads(made(60.0, toward, "A").to_json())
    steps = document["steps"]
    document["steps"] = steps[: next(i for i, s in enumerate(steps) if s["action"] == "open dies")]
    leg = Workpiece(document).carry_out().places[0]
    assert leg[1] * HEADS[toward] > 300.0
    assert leg[2] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("rotation", [0.0, 180.0])
def test_a_u_needs_no_rotation_and_an_s_half_a_turn(rotation: float) -> None:
    turns = [s.amount for s in made(rotation, "right", "A").steps if s.action == "rotate"]
    assert turns == ([] if rotation == 0.0 else [180.0])
