"""Bends on two radii: each set of dies makes its bends in a pass of its own over the batch, the tube put back for it."""

import copy
from itertools import groupby
from typing import Any

import numpy as np
import pytest

from planner.audit.proof import audit_proof
from planner.inputs.files import machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document
from tests.plan.shop import RADIUS, profile, tube

LARGER = 114.3


def with_both_dies(**changes: Any) -> Machine:
    """The profile with a second set of tooling on a larger radius."""
    data = profile({"tooling": {"pressure_die_length": 420}}, changes)
    data["tooling"].append({**copy.deepcopy(data["tooling"][0]), "bend_radius": LARGER})
    return machine_from_data(data)


def on(radii: list[float], ends: tuple[float, float] = (600.0, 600.0)) -> Part:
    """A part with bends of 60° and straights of 200 mm in space."""
    n = len(radii)
    return tube([ends[0], *[200.0] * (n - 1), ends[1]], [0.0, *[90.0] * (n - 1)], [60.0] * n, radii=np.array(radii))


def dies_of(made: Plan, part: Part) -> list[float]:
    """The radius of each bend in the order of the plan, one after the other the same counted once."""
    return [radius for radius, _ in groupby(float(part.radii[entry.bend - 1]) for entry in made.order)]


@pytest.mark.parametrize("radii", [[RADIUS, LARGER], [LARGER, RADIUS]])
def test_two_radii_are_two_passes_with_the_tube_put_back_between_them(radii: list[float]) -> None:
    made = plan(on(radii), with_both_dies(), confirm=True)
    assert (made.verdict, made.reclamps, made.confirmed) == ("makeable", 1, True)
    assert (made.proved.reclamps, made.proved.trim) == (True, True)
    assert made.turns + made.reloads == 1  # type: ignore[operator]
    between = [step.action for step in made.steps if step.action in ("bend", "unload", "change dies", "turn", "reload")]
    assert between[:3] == ["bend", "unload", "change dies"]
    assert between[3] in ("turn", "reload")
    assert any(reason.rule == "one set of dies" for reason in made.reasons)


@pytest.mark.parametrize(
    ("radii", "fewest", "passes"),
    [
        ([RADIUS, RADIUS, LARGER, LARGER], 1, 2),
        ([RADIUS, LARGER, RADIUS], 2, 2),  # begun in the middle, two passes are enough
        ([RADIUS, LARGER, RADIUS, LARGER], 3, 3),
        ([LARGER, RADIUS, RADIUS, LARGER], 2, 2),
    ],
)
def test_as_many_passes_as_the_radii_ask_for_and_no_re_clamp_more(radii: list[float], fewest: int, passes: int) -> None:
    """By hand: formed bends are a run, so every change of radius along the growing run is one time more put back."""
    part = on(radii)
    made = plan(part, with_both_dies())
    assert (made.verdict, made.reclamps, made.proved.reclamps) == ("makeable", fewest, True)
    changes = [step for step in made.steps if step.action == "change dies"]
    assert len(changes) == len(dies_of(made, part)) - 1
    assert [step.amount for step in changes] == dies_of(made, part)[1:]
    assert len(changes) == passes - 1


def test_what_is_fitted_for_a_pass_is_set_up_and_not_counted_to_the_cycle() -> None:
    made = plan(on([RADIUS, LARGER]), with_both_dies())
    tool_change = 300.0
    assert made.setup.time == 2 * tool_change
    assert made.cycle_time == made.time
    assert sum(step.time for step in made.steps) == pytest.approx(made.cycle_time, abs=0.01)
    assert all(step.time == 0.0 for step in made.steps if step.action == "change dies")
    assert [line.split(",")[0] for line in made.setup.list[:2]] == ["Pass 1 of 2", "Pass 2 of 2"]
    assert "114.3" in "".join(made.setup.list[:2])


def test_one_radius_is_one_pass() -> None:
    made = plan(on([LARGER, LARGER]), with_both_dies())
    assert (made.verdict, made.reclamps, made.setup.time) == ("makeable", 0, 300.0)
    assert not [step for step in made.steps if step.action == "change dies"]


@pytest.mark.parametrize("radii", [[RADIUS, LARGER], [RADIUS, LARGER, RADIUS]])
def test_the_auditor_confirms_the_passes_and_refuses_dies_changed_on_the_way(radii: list[float]) -> None:
    evidence = Evidence()
    made = plan(on(radii), with_both_dies(), evidence=evidence)
    document = proof_document(made, evidence)
    assert audit_proof(document).confirmed

    def without(rule: str) -> dict[str, Any]:
        changed = copy.deepcopy(document)
        changed["plan"]["steps"] = [step for step in changed["plan"]["steps"] if step["action"] != rule]
        return changed

    assert not audit_proof(without("change dies")).confirmed
    earlier = copy.deepcopy(document)
    steps = earlier["plan"]["steps"]
    place = next(k for k, step in enumerate(steps) if step["action"] == "change dies")
    steps.insert(place - 1, steps.pop(place))  # before the tube is taken off
    for number, step in enumerate(steps, start=1):
        step["number"] = number
    found = audit_proof(earlier)
    assert not found.confirmed
    assert "with the tube in the machine" in found.sentence
