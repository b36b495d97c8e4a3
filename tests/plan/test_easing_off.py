"""A tube that is advanced off the die before the arm goes home, and moves in more than one leg.

The part and the post on the arm are chosen so that the arm cannot come home past the standing tube after bend 3 unless
the tube is advanced by some 15 to 29 mm first.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from planner.inputs.part import Part
from planner.plans.document import Plan, Reason
from planner.search.orders import Run
from tests.plan.forced import forced
from tests.plan.shop import bender, tube
from tests.plan.workpiece import Seen, Workpiece, drawing, fit

POST: dict[str, Any] = {
    "solid": [{"name": "arm post", "moves_with": "arm", "box": {"from": [100, 90, -300], "to": [140, 130, 300]}}]
}
READOUTS: dict[str, dict[str, Any]] = {
    "zeroed": {"zeroed": True},
    "from farthest": {"zeroed": False, "absolute_zero": "collet at farthest"},
    "from closest": {"zeroed": False, "absolute_zero": "collet at closest"},
    "from the leading end": {"zeroed": False, "absolute_zero": "leading end at tangent"},
}
STRAIGHT_THROUGH = (Run("A", (1, 2, 3, 4)),)


def hook(straight: float) -> Part:
    """Four bends; `straight` [mm] is the room to ease off after the third."""
    return tube([300, 91.2, 169.1, straight, 300], [0, -60.8, 155.9, 0], [67.3, 106.7, 117.3, 30], name="hook")


def carried_out(readout: str, straight: float = 110.0) -> Workpiece:
    machine = bender({"advance": READOUTS[readout], "carriage": {"reach": [150, 600]}}, POST)
    made = forced(hook(straight), machine, STRAIGHT_THROUGH)
    assert isinstance(made, Plan), made.sentence
    return Workpiece(json.loads(made.to_json())).carry_out()


def advances(workpiece: Workpiece) -> list[Seen]:
    return [seen for seen in workpiece.seen if seen.step["action"] == "advance"]


@pytest.mark.parametrize("readout", READOUTS)
def test_a_tube_eased_off_the_die_after_a_regrip_comes_out_as_drawn(readout: str) -> None:
    workpiece = carried_out(readout)
    actions = [(seen.step["action"], seen.step["bend"]) for seen in workpiece.seen]
    eased = actions.index(("return", 3)) - 1
    assert actions[eased] == ("advance", 3)
    assert ("re-grip", 3) in actions[:eased]
    along, points = workpiece.finished()
    assert fit(points, drawing(workpiece.document, along))[0] < 1.0


@pytest.mark.parametrize("readout", READOUTS)
def test_the_readout_after_easing_off_is_that_of_the_collet_where_it_now_holds(readout: str) -> None:
    for seen in advances(carried_out(readout)):
        assert seen.step["reading"] == pytest.approx(seen.readout, abs=1e-4), seen.step["number"]


@pytest.mark.parametrize("readout", READOUTS)
def test_every_place_on_the_way_can_be_set_on_the_readout(readout: str) -> None:
    """Also where the tube is rotated half way or past the goal, and how far it is eased off."""
    made = advances(carried_out(readout))
    assert len(made) >= 4
    unset = [
        seen.step["reading"]
        for seen in made
        if abs(seen.step["reading"] * 10 - round(seen.step["reading"] * 10)) > 1e-5
    ]
    assert not unset


def test_that_the_arm_cannot_go_home_is_no_proof_where_only_some_ways_of_easing_off_were_tried() -> None:
    """110 mm of straight after bend 3: eased off by 27.5 mm the arm comes home. With 200 mm the same 27.5 mm would do."""
    machine = bender({"carriage": {"reach": [150, 600]}}, POST)
    assert isinstance(forced(hook(110.0), machine, STRAIGHT_THROUGH), Plan)
    outcome = forced(hook(200.0), machine, STRAIGHT_THROUGH)
    assert isinstance(outcome, Plan) or outcome.grade == "unproved", outcome.sentence


def post(y: float) -> dict[str, Any]:
    """A post on the arm of 40 mm by 40 mm, from `y` on [mm]."""
    return {
        "solid": [{"name": "arm post", "moves_with": "arm", "box": {"from": [100, y, -300], "to": [140, y + 40, 300]}}]
    }


@pytest.mark.parametrize(("y", "grade"), [(100, "unproved"), (110, "proved")])
def test_that_the_arm_cannot_go_home_is_proved_only_where_it_cannot_wherever_the_tube_is_eased_to(
    y: float, grade: str
) -> None:
    """With the post from 100 mm on it could, but only from 21 to 29.5 mm of easing off, and none of the ways tried is
    among them; with the post 10 mm farther out it cannot from anywhere (both by trying every half a millimetre)."""
    machine = bender({"carriage": {"reach": [150, 600]}}, post(y))
    outcome = forced(hook(200.0), machine, STRAIGHT_THROUGH)
    assert isinstance(outcome, Reason)
    assert (outcome.grade, outcome.solid, outcome.bend) == (grade, "arm post", 3)


def test_without_leave_to_ease_off_an_arm_that_cannot_go_home_is_proved() -> None:
    machine = bender({"carriage": {"reach": [150, 600]}, "head": {"may_ease_off": False}}, POST)
    outcome = forced(hook(110.0), machine, STRAIGHT_THROUGH)
    assert isinstance(outcome, Reason)
    assert (outcome.grade, outcome.solid, outcome.bend) == ("proved", "arm post", 3)
