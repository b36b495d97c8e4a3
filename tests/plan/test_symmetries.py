"""What must not change a plan: counting the part from the other end, and looking at part and machine in a mirror."""

from __future__ import annotations

from typing import Any

import pytest

from planner.planning import plan
from planner.plans.document import Plan
from tests.plan.shop import bender, random_tube

SURROUNDINGS: dict[str, Any] = {
    "solid": [
        {"name": "bed", "moves_with": "frame", "box": {"from": [-4200, -140, -1050], "to": [-240, 140, -120]}},
        {"name": "post", "moves_with": "frame", "cylinder": {"centre": [700, -300], "radius": 60, "z": [-1050, -200]}},
        {"name": "swing arm", "moves_with": "arm", "box": {"from": [-40, -60, -200], "to": [260, 200, -90]}},
        {"name": "carriage body", "moves_with": "carriage", "box": {"from": [-300, -90, -90], "to": [0, 90, -40]}},
    ]
}
SEEDS = (3, 5, 6, 8, 11, 12)


def swapped(made: Plan) -> list[tuple[int, str]]:
    """The order with ends and bend numbers swapped."""
    n = len(made.order)
    return [(n + 1 - entry.bend, "B" if entry.leads == "A" else "A") for entry in made.order]


def turns(made: Plan) -> list[tuple[float | None, str | None]]:
    return [(step.amount, step.way) for step in made.steps if step.action == "rotate"]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_part_counted_from_the_other_end_is_made_alike_with_the_ends_swapped(seed: int) -> None:
    """One end is longer, so that the best order is no tie between the ends."""
    part = random_tube(seed, ends=(420.0, 160.0))
    machine = bender(SURROUNDINGS)
    made, other = plan(part, machine), plan(part.reversed(), machine)
    assert made.verdict == other.verdict == "makeable"
    assert [(entry.bend, entry.leads) for entry in other.order] == swapped(made)
    assert turns(other) == turns(made)
    assert [s.clearance for s in other.steps] == pytest.approx([s.clearance for s in made.steps], abs=0.51)
    assert other.time == pytest.approx(made.time, abs=0.01)
    assert made.stock is not None
    assert other.stock is not None
    assert (other.stock.trim_a, other.stock.trim_b) == (made.stock.trim_b, made.stock.trim_a)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_mirrored_part_on_the_mirrored_machine_is_made_alike_with_the_rotations_reversed(seed: int) -> None:
    """The clearances are proved lower bounds with a gap of up to 0.5 mm; the way round is the other one."""
    part, machine = random_tube(seed, ends=(420.0, 160.0)), bender(SURROUNDINGS)
    made, other = plan(part, machine), plan(part.mirrored(), machine.mirrored())
    assert made.verdict == other.verdict == "makeable"
    assert other.order == made.order
    reversed_way = {"clockwise": "counter-clockwise", "counter-clockwise": "clockwise"}
    assert turns(other) == [(amount, reversed_way[str(way)]) for amount, way in turns(made)]
    assert [s.clearance for s in other.steps] == pytest.approx([s.clearance for s in made.steps], abs=1e-3)
    assert [s.nearest for s in other.steps] == [s.nearest for s in made.steps]
    assert other.time == made.time


def test_a_mirrored_machine_is_not_the_same_machine() -> None:
    """So the test above compares two different things: the solids stand on the other side."""
    machine = bender(SURROUNDINGS)
    assert machine.mirrored() != machine
    assert machine.mirrored().mirrored() == machine
