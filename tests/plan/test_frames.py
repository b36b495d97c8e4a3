"""Closed frames: where the joint lies decides whether they go over a mandrel's rod."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from planner.inputs.files import load_machine, machine_from_data, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan

CLR, DIAMETER, WALL = 76.2, 38.1, 2.0
TRAY = ((300, 90), (300, 90), (1500, 90), (300, 90), (440, 0))
"""A tray's frame, the joint in a long side: straights [mm] and the bends after them [deg]."""

CORNER = ((1500, 90), (300, 90), (1500, 90), (360, 0))
"""The same with the joint at a corner, one end a hand's breadth short of it."""


def frame(sides: tuple[tuple[float, float], ...], **ends: float) -> Part:
    table = [[straight, 0, angle] for straight, angle in sides[:-1]] + [[sides[-1][0]]]
    return part_from_data({
        "name": "frame", "units": "mm",
        "tube": {"outside_diameter": DIAMETER, "wall": WALL, "material": "steel E235+N"},
        "shape": {"bend_radius": CLR, "lra": table},
        "ends": ends,
    })  # fmt: skip


def without_mandrel(name: str) -> Machine:
    """A shipped bender with its mandrel taken out, which may let go of the tube before the last bend."""
    data: dict[str, Any] = load_machine(name).normalised()
    data.pop("mandrel")
    for tooling in data["tooling"]:
        tooling.pop("mandrel", None)
    data["carriage"]["finish_released"] = True
    return machine_from_data(data)


def planned(part: Part, machine: Machine) -> Plan:
    return plan(part, machine, confirm=True)


def off_the_feed_line(part: Part) -> float:
    """How near the first straight comes to the line of the last one, anywhere on it [mm], by walking the drawing."""
    at, heading, first = np.zeros(2), 0.0, []
    for k, angle in enumerate(part.angles):
        along = np.array([math.cos(heading), math.sin(heading)])
        points = at + np.outer(np.linspace(0.0, float(part.straights[k]), 500), along)
        first = list(points) if k == 0 else first
        at = points[-1]
        centre = at + CLR * np.array([-math.sin(heading), math.cos(heading)])
        heading += float(angle)
        at = centre + CLR * np.array([math.sin(heading), -math.cos(heading)])
    across = np.array([-math.sin(heading), math.cos(heading)])
    return float(np.abs((np.array(first) - at) @ across).min())


def test_a_frame_with_its_joint_in_a_side_strikes_the_rod_and_is_proved_impossible_by_both_engines() -> None:
    bore = DIAMETER - 2.0 * WALL
    for machine in (load_machine("canal-workshop"), load_machine("canal-workshop").mirrored()):
        made = planned(frame(TRAY), machine)
        assert (made.verdict, made.confirmed) == ("not makeable", True)
        assert any(reason.solid == "mandrel rod" for reason in made.reasons), [r.sentence for r in made.reasons]
    # By sampling, without the machine: the first leg comes to lie on the line of the tail, where the rod stands.
    assert off_the_feed_line(frame(TRAY)) < (bore - 0.3) / 2.0
    assert off_the_feed_line(frame(CORNER)) > DIAMETER


def test_with_its_joint_at_a_corner_it_goes_over_the_rod_where_there_is_stock_for_the_collet() -> None:
    made = planned(frame(CORNER, trim_b=300.0), load_machine("canal-workshop"))
    assert (made.verdict, made.reclamps, made.confirmed) == ("makeable", 0, True)
    without = planned(frame(CORNER), load_machine("canal-workshop"))
    assert without.verdict == "not makeable"
    assert all(reason.solid == "carriage" for reason in without.reasons if reason.solid is not None)


def test_without_a_mandrel_it_goes_with_the_collet_open_and_the_carriage_stood_back_beyond_the_leg() -> None:
    machine = without_mandrel("canal-workshop")
    made = planned(frame(TRAY), machine)
    assert (made.verdict, made.released, made.confirmed) == ("makeable", 1, True)
    assert machine.carriage is not None
    last = max(step.number for step in made.steps if step.action == "bend")
    back = [step for step in made.steps if step.action == "carriage back"]
    assert [step.number < last for step in back] == [True]
    assert back[0].to is not None
    assert back[0].to.face == machine.carriage.waits_at
    near = machine.model_copy(update={"carriage": machine.carriage.model_copy(update={"stand_back": 1300.0})})
    struck = planned(frame(TRAY), near)
    assert struck.verdict != "makeable", "a carriage that waits where the leg comes down is struck"
    assert "carriage" in {reason.solid for reason in struck.reasons}


@pytest.mark.parametrize("name", ["canal-workshop", "long-bed"])
def test_a_frame_in_two_halves_is_no_frame_to_the_rod(name: str) -> None:
    machine = load_machine(name)
    tooling = machine.tooling[0]
    sides = [[700, 0, 90], [300, 0, 90], [900]]
    half = part_from_data({
        "name": "half", "units": "mm",
        "tube": {"outside_diameter": tooling.tube_diameter, "wall": WALL, "material": "steel E235+N"},
        "shape": {"bend_radius": tooling.bend_radius, "lra": sides},
    })  # fmt: skip
    assert planned(half, machine).verdict == "makeable"
