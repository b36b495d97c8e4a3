"""Dies changed between bends: a small arc does not lie in a larger die's groove, a large one stays clear of a smaller."""

import copy
from typing import Any

import numpy as np
import pytest

from planner.inputs.files import machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan, Reason
from planner.search.orders import Run
from tests.plan.forced import forced
from tests.plan.shop import RADIUS, profile, tube

LARGER = 114.3


def with_both_dies(**tooling: Any) -> Machine:
    """The profile without grip section, with a second set of tooling on a larger radius.

    Past a section the tube is run forward before the arm goes home, and no arc lies in a die's place any more.
    """
    data = profile({"tooling": {"grip_section": False, "pressure_die_length": 420, **tooling}})
    data["tooling"].append({**copy.deepcopy(data["tooling"][0]), "bend_radius": LARGER})
    return machine_from_data(data)


def two_bends(first: float, second: float) -> Part:
    return tube([400, 250, 500], [0, 0], [90, 60], radii=np.array([first, second]))


@pytest.mark.parametrize(("radii", "leads"), [((RADIUS, LARGER), "B"), ((LARGER, RADIUS), "A")])
def test_the_larger_bend_is_made_first(radii: tuple[float, float], leads: str) -> None:
    """Its arc stays outside the smaller die: two circles that touch in the tangent point."""
    made = plan(two_bends(*radii), with_both_dies())
    assert (made.verdict, made.reclamps) == ("makeable", 0)
    assert {entry.leads for entry in made.order} == {leads}
    assert any(step.action == "change clamp" for step in made.steps)


def test_an_arc_that_was_run_forward_past_the_grip_section_is_out_of_a_larger_dies_way() -> None:
    """80 mm of section: at 90° the arc's middle is then √(76.2² + 118.1²) = 140.5 mm from an axis 114.3 mm off."""
    for radii in ((RADIUS, LARGER), (LARGER, RADIUS)):
        made = forced(two_bends(*radii), with_both_dies(grip_section={}), (Run("A", (1, 2)),))
        assert isinstance(made, Plan), made.sentence
        assert [step.amount for step in made.steps if step.action == "run forward" and step.bend == 1]


def test_a_small_arc_in_the_place_of_a_larger_die_strikes_it() -> None:
    """At 90° its middle line is √(76.2² + 38.1²) = 85.2 mm from the larger die's axis, 29.1 mm inside its 114.3."""
    done = forced(two_bends(RADIUS, LARGER), with_both_dies(), (Run("A", (1, 2)),))
    assert isinstance(done, Reason)
    assert (done.solid, done.grade) == ("bend die", "unproved")


def test_that_it_could_be_slid_out_before_the_dies_are_changed_is_not_ruled_out() -> None:
    """With no other order left the part is undecided, never called not makeable."""
    part = tube([400, 250, 30], [0, 0], [90, 60], radii=np.array([RADIUS, LARGER]))
    machine = with_both_dies()
    made = plan(part, machine)
    assert isinstance(made, Plan)
    assert made.verdict != "not makeable" or all(reason.rule != "strike" for reason in made.reasons)
