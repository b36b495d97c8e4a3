"""Ways on and off that are tight: those that free cells join are found, and none is proved away that there is."""

from __future__ import annotations

from typing import Any

import pytest

from planner import plan
from tests.plan.brute_force.all_orders import BruteForce
from tests.plan.random_parts import hemmed_in
from tests.plan.shop import bender, head, tube

WIDE = 3000.0


def solid(name: str, low: list[float], high: list[float], moves_with: str = "frame") -> dict[str, Any]:
    return {"name": name, "moves_with": moves_with, "box": {"from": low, "to": high}}


@pytest.mark.parametrize("seed", [12, 102, 132])
def test_a_way_that_free_cells_join_is_carried_out(seed: int) -> None:
    """Through each of these the planner once found free cells, but no lines: it spread them too far, or over open cells."""
    case = hemmed_in(seed)
    assert case is not None
    made = plan(case.part, case.machine)
    assert made.verdict == "makeable", case.name
    assert all(step.checked for step in made.steps)


def test_a_tube_that_is_eased_off_past_the_arm_is_not_proved_to_stay_in_the_machine() -> None:
    """A horn on the arm is in the tube's way at the die, so that it is eased off before the arm goes home. Drawn off from
    there it must be turned over, for a slot ahead lets its leg through on the right only. A wall that begins at the die
    does not count.
    """
    around = [
        solid("over", [240.0, -WIDE, 60.0], [700.0, WIDE, WIDE]),
        solid("under", [240.0, -WIDE, -WIDE], [700.0, WIDE, -60.0]),
        solid("left", [325.0, 60.0, -60.0], [700.0, WIDE, 60.0]),
        solid("horn", [20.0, 103.0, -157.0], [97.0, 220.0, 73.0], "arm"),
    ]
    opens = {"tooling": {"clamp_block": {"width": 60, "height": 60, "opens": 200}}}
    machine = bender({"solid": around, "carriage": {"may_go_back": False}}, opens, head("left"))
    part = tube([138, 716], [0], [60])
    assert BruteForce(part, machine).found().verdict == "makeable"
    made = plan(part, machine)
    assert made.verdict != "not makeable"
    assert not [r for r in made.reasons if "taken off" in r.sentence and r.grade == "proved"]
