"""Crush gaps: what stands nearer to the swing than a person's body needs is named once, and never said to be farther off.

ISO 13854:2017, Table 1: a body needs 500 mm.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from planner.facts import Fact
from planner.planning import plan
from planner.plans import plan_writer
from planner.plans.arm_sweep import arm_reach, arm_swept
from planner.plans.crush import CrushGap, crush_fact
from planner.plans.swing import STEP
from planner.tube.frames import Array
from planner.wording.say import say
from tests.plan.shop import DIAMETER, RADIUS, bender, tube

LEG, POST = 700.0, 30.0
ABOUT = math.radians(60.0)
"""Where the post stands, seen from the die's axis: past half-way round a right-angled bend, off the way the part is
taken out by."""


def reach_of_the_leg() -> float:
    """How far from the die's axis the far corner of a gripped straight comes [mm], by hand."""
    return math.hypot(LEG, RADIUS + DIAMETER / 2.0)


def gaps(monkeypatch: pytest.MonkeyPatch, away: float) -> dict[str, float]:
    """The crush gaps of a plan of one bend past a post that stands so far off the swing's outermost circle [mm].

    The die has no grip section, so that the arm goes home past the tube, and nothing but the swing nears the post.
    """
    off = reach_of_the_leg() + away + POST
    # The head bends toward the right, and the leg comes round from straight ahead to the right.
    centre = [off * math.cos(ABOUT), -RADIUS - off * math.sin(ABOUT)]
    post = {
        "name": "post in the room",
        "cylinder": {"centre": centre, "radius": POST, "z": [-4000.0, 3000.0]},
        "moves_with": "frame",
    }
    found: list[CrushGap] = []

    def kept(listed: tuple[CrushGap, ...]) -> Fact:
        found.extend(listed)
        return crush_fact(listed)

    monkeypatch.setattr(plan_writer, "crush_fact", kept)
    made = plan(
        tube([LEG, LEG], [0.0], [90.0]), bender({"solid": [post], "tooling": {"grip_section": False}}), confirm=False
    )
    assert made.verdict == "makeable"
    assert len(made.setup.list) == 1 + bool(found)  # what is fitted, and the gaps
    return {gap.solid: gap.gap for gap in found}


@pytest.mark.parametrize("away", [60.0, 200.0, 380.0, 480.0])
def test_a_gap_by_the_swing_is_said_to_be_no_larger_than_it_is_and_little_smaller(
    monkeypatch: pytest.MonkeyPatch, away: float
) -> None:
    gap = gaps(monkeypatch, away)["post in the room"]
    # Of samples, less 80 mm between two of them, rounded down to 10 mm. The leg's flat end is taken as a ball of the
    # tube's radius, and the leg is longer by what the over-bend draws in: 4 mm.
    assert away - STEP - 10.0 - DIAMETER / 2.0 - 4.0 <= gap <= away


def test_what_stands_a_bodys_width_off_the_swing_is_no_crush_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    assert gaps(monkeypatch, 600.0) == {}


def outline(setting: float, clamp: float, across: float) -> Array:
    """Points (2, k) that the clamp of the test bender sweeps with the arm, by turning its corners by hand."""
    x, y = np.meshgrid(np.linspace(0.0, clamp, 40), np.linspace(0.0, across, 60))
    level = np.stack((x.ravel(), y.ravel() + RADIUS))
    swept = []
    for angle in np.linspace(0.0, setting, 60):
        turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        swept.append(turn @ level)
    return np.concatenate(swept, axis=1) - [[0.0], [RADIUS]]


def test_what_clamp_and_arm_sweep_lies_by_the_points_that_people_keep_clear_of() -> None:
    machine, setting = bender(), math.radians(120.0)
    tooling = machine.tooling[0]
    across = tooling.clamp_block.width + tooling.clamp_block.opens
    said = arm_swept(machine, tooling, 80.0, setting)[:2]
    reach = arm_reach(machine, tooling, 80.0)
    assert reach == pytest.approx(math.hypot(80.0, RADIUS + across), abs=1e-9)
    for x in outline(setting, 80.0, across).T:
        from_axis = math.hypot(x[0], x[1] + RADIUS)
        assert from_axis <= reach + 1e-6
    # The rim: what lies farthest out in each direction has a point of the outline near it.
    rim = [x for x in outline(setting, 80.0, across).T if math.hypot(x[0], x[1] + RADIUS) > reach - 1.0]
    assert rim
    for x in rim:
        assert np.hypot(*(said - x[:, None])).min() <= 40.0


def test_all_gaps_stand_in_one_sentence_with_the_standard_they_come_from() -> None:
    said = say(crush_fact([CrushGap("bed", 120.0), CrushGap("shelf", 0.0)]))
    assert "120 mm of the bed, 0 mm of the shelf" in said
    assert "500 mm (ISO 13854)" in said
