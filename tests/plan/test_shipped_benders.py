"""What every shipped bender makes with each of its tools, as a setter would expect."""

from __future__ import annotations

from typing import Any

import pytest

from planner.inputs.files import load_machine, part_from_data
from planner.inputs.machine import Tooling
from planner.planning import plan
from planner.plans.document import Plan

TOOLS = [
    pytest.param(name, number, id=f"{name} {number + 1}")
    for name, count in (("canal-workshop", 3), ("long-bed", 3), ("three-axis", 3), ("under-the-loft", 1))
    for number in range(count)
]


def shapes(tooling: Tooling, tail: float) -> dict[str, list[list[float]]]:
    """LRA tables [mm, deg] in clamp lengths of the tooling; tail: the least end straight that the collet asks for."""
    longest, shortest = tooling.clamp_lengths[0], tooling.clamp_lengths[-1]
    lead = 3.0 * longest
    return {
        "elbow": [[lead, 0, 90], [tail]],
        "U": [[lead, 0, 90], [lead, 0, 90], [tail]],
        "offset": [[lead, 0, 45], [shortest + 20.0, 180, 45], [tail]],
        "S in space": [[lead, 0, 60], [1.2 * longest, 75, 50], [tail]],
        "return bend": [[lead + 200.0, 0, 180], [tail + 250.0]],
        "kick": [[lead, 0, 3], [tail]],
    }


def planned(name: str, number: int, shape: str) -> Plan:
    machine = load_machine(name)
    tooling, carriage = machine.tooling[number], machine.carriage
    assert carriage is not None
    data: dict[str, Any] = {
        "name": shape, "units": "mm",
        "tube": {"outside_diameter": tooling.tube_diameter, "wall": 2.0, "material": "steel E235+N"},
        "shape": {"bend_radius": tooling.bend_radius, "lra": shapes(tooling, carriage.reach[0] + carriage.grip_length + 30.0)[shape]},
    }  # fmt: skip
    return plan(part_from_data(data), machine)


@pytest.mark.parametrize(("name", "number"), TOOLS)
@pytest.mark.parametrize("shape", ["elbow", "U", "offset", "S in space", "return bend", "kick"])
def test_it_goes_without_a_reclamp_and_every_motion_is_proved(name: str, number: int, shape: str) -> None:
    made = planned(name, number, shape)
    assert (made.verdict, made.reclamps, made.stock and made.stock.trim_b) == ("makeable", 0, 0.0), [
        reason.sentence for reason in made.reasons
    ]
    assert made.proved.makeable
    assert made.proved.reclamps
    unproved = [s.action for s in made.steps if s.from_ is not None and s.clearance is None]
    assert unproved == []
    assert not [warning for warning in made.warnings if "runs through" in warning]


@pytest.mark.parametrize("name", ["canal-workshop", "long-bed"])
def test_after_a_bend_the_tube_leaves_the_grip_section_as_the_machine_can(name: str) -> None:
    made = planned(name, 0, "U")
    bends = [step.number for step in made.steps if step.action == "bend"]
    home = [s for s in made.steps if bends[0] < s.number < bends[1] and s.action in ("run forward", "return")]
    together = [
        s for s in home if s.action == "return" and s.to is not None and s.from_ is not None and s.to.y != s.from_.y
    ]
    machine = load_machine(name)
    assert bool(together) == machine.head.homes_with_tube
    section = machine.tooling[0].section(machine.tooling[0].clamp_lengths[0])
    assert section is not None
    assert home[-1].to is not None
    assert home[-1].to.arm == 0.0
    assert home[-1].to.y == pytest.approx(section.length, abs=machine.advance.resolution)
