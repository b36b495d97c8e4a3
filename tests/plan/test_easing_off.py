"""A tube that is run forward out of the die before the arm is home, and moves in more than one leg.

The grip section lies in the way of the tube's leg after every bend; a post on the arm besides.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from planner.feasibility.orders import Run
from planner.inputs.part import Part
from planner.plans.document import Plan, Reason
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
    """All of them that a readout shows: not those by hand."""
    moved = [seen for seen in workpiece.seen if seen.step["action"] in ("advance", "run forward")]
    return [seen for seen in moved if seen.step["reading"] is not None]


@pytest.mark.parametrize("readout", READOUTS)
def test_a_tube_eased_off_the_die_after_a_regrip_comes_out_as_drawn(readout: str) -> None:
    workpiece = carried_out(readout)
    actions = [(seen.step["action"], seen.step["bend"]) for seen in workpiece.seen]
    opened = actions.index(("open dies", 3))
    assert ("re-grip", 3) in actions[:opened]
    assert actions[opened + 1 : opened + 4] == [("zero", 3), ("run forward", 3), ("return", 3)]
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
    assert len(made) >= 8
    unset = [
        seen.step["reading"]
        for seen in made
        if abs(seen.step["reading"] * 10 - round(seen.step["reading"] * 10)) > 1e-5
    ]
    assert not unset


def opening(opens: float) -> dict[str, Any]:
    """A clamp that opens by so much, and fills all that is outside of the tube then [mm]."""
    return {"tooling": {"clamp_block": {"width": 400, "height": 60, "opens": opens}}}


def square(*changes: dict[str, Any]) -> Plan | Reason:
    """A square bend, and another in the same load."""
    return forced(tube([400, 200, 400], [0, 0], [90, 30]), bender(*changes), (Run("A", (1, 2)),))


@pytest.mark.parametrize(("opens", "grade"), [(10, "proved"), (30, "unproved"), (62, None)])
def test_that_the_arm_cannot_go_home_is_proved_only_where_clamp_and_section_leave_the_tube_no_room_between(
    opens: float, grade: str | None
) -> None:
    """The section would push the leg by 20.8 mm, and the opened clamp is in its way on the other side. In between it is
    left open: some way that was not tried might lead past both."""
    outcome = square(opening(opens))
    if grade is None:
        assert isinstance(outcome, Plan)
    else:
        assert isinstance(outcome, Reason)
        assert (outcome.grade, outcome.solid, outcome.bend) == (grade, "grip section", 1)


def test_without_leave_to_ease_off_the_arm_goes_home_only_with_the_tube_or_without_a_grip_section() -> None:
    standing = {"head": {"may_ease_off": False}}
    outcome = square(standing)
    assert isinstance(outcome, Reason)
    assert (outcome.grade, outcome.solid) == ("proved", "grip section")  # the tube stands where it is struck
    for change in ({"head": {"homes_with_tube": True}}, {"tooling": {"grip_section": False}}):
        made = square(standing, change)
        assert isinstance(made, Plan), made.sentence
        together = [step for step in made.steps if (step.action, step.bend) == ("return", 1) and step.amount]
        assert bool(together) == ("head" in change)


def test_a_load_ends_with_the_tube_run_forward_by_hand_where_the_machine_may_not_ease_it_off() -> None:
    made = forced(tube([400, 400], [0], [90]), bender({"head": {"may_ease_off": False}}), (Run("A", (1,)),))
    assert isinstance(made, Plan), made.sentence
    actions = [step.action for step in made.steps]
    opened = actions.index("open collet")
    assert actions[opened : opened + 3] == ["open collet", "carriage back", "run forward"]
    assert all(step.grip is None for step in made.steps[opened + 2 :])
