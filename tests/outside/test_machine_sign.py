"""The machine's sign, by hand: the check that a flipped sign anywhere must fail."""

import math

import numpy as np
import pytest

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.tube.partly_bent import leading_part, seen_from
from tests.machines import roomy


def part(rotation: float) -> Part:
    return Part(
        name="corner", machine=None, outside_diameter=38.1, wall=1.65, gauge=None, material="stainless 304",
        yield_strength=None, straights=np.array([400.0, 200.0, 400.0]), rotations=np.array([0.0, rotation]),
        angles=np.array([math.pi / 2.0, math.pi / 2.0]), radii=np.array([76.2, 76.2]),
    )  # fmt: skip


@pytest.mark.parametrize("leads", ["A", "B"])
@pytest.mark.parametrize(("toward", "down"), [(-1.0, -1.0), (1.0, 1.0)], ids=["right head", "left head"])
def test_the_leg_hangs_down_on_a_right_head_and_stands_up_on_a_left_one(leads: str, toward: float, down: float) -> None:
    """By hand: right head, bend 1 of 90°, R_2 = +90°: before bend 2 the leg of bend 1 points straight down (−Z)."""
    view = seen_from(part(math.pi / 2.0), leads)  # type: ignore[arg-type]
    ahead = leading_part(view, {1}, float(view.bend_starts[1]), 0.0, toward, 2)
    last = ahead.count - 1
    leg = ahead.points(np.array([0.0, float(ahead.length[last])]), last)
    direction = (leg[:, 1] - leg[:, 0]) / np.linalg.norm(leg[:, 1] - leg[:, 0])
    assert direction == pytest.approx([0.0, 0.0, down], abs=1e-12)


@pytest.mark.parametrize("head", ["right", "left"])
@pytest.mark.parametrize(("degrees", "way"), [(90.0, "clockwise"), (-90.0, "counter-clockwise")])
def test_the_plan_turns_the_chuck_by_r_about_the_feed_whichever_head(head: str, degrees: float, way: str) -> None:
    """Going to the neighbour nearer the carriage the tube turns by +R about +X: clockwise seen along the feed."""
    made = plan(part(math.radians(degrees)), roomy(head))
    turns = [step for step in made.steps if step.action == "rotate"]
    assert [(step.way, step.amount) for step in turns] == [(way, 90.0)]


def test_the_mirrored_part_on_the_mirrored_machine_turns_the_other_way() -> None:
    machine: Machine = roomy("right")
    made = plan(part(math.radians(70.0)), machine)
    mirrored = plan(part(math.radians(70.0)).mirrored(), machine.mirrored())
    assert mirrored.order == made.order
    assert mirrored.smallest_clearance == pytest.approx(made.smallest_clearance, abs=1e-6)
    ways = [[s.way for s in p.steps if s.action == "rotate"] for p in (made, mirrored)]
    assert ways == [["clockwise"], ["counter-clockwise"]]
