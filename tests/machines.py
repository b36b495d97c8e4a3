"""Machines for the tests, built from dictionaries; all invented."""

from typing import Any

from planner.inputs.files import machine_from_data
from planner.inputs.machine import Machine


def roomy(head: str = "right", solids: list[dict[str, Any]] | None = None, **changes: Any) -> Machine:
    """A bender with little around it; `changes` replace whole tables of the profile."""
    data: dict[str, Any] = {
        "name": f"roomy {head}", "units": "mm",
        "head": {"bends_toward": head, "centreline_height": 3000, "largest_angle": 200, "may_ease_off": True},
        "carriage": {"reach": [150, 6000], "grip_length": 40, "passes_through": True, "may_go_back": True},
        "rotation": {"range": "continuous", "zeroed": True, "resolution": 0.1},
        "advance": {"zeroed": True, "resolution": 0.1},
        "mandrel": {"rod_length": 9000, "nose": 5},
        "clearance": {"required": 10, "to_tooling": 2, "to_itself": 2},
        "tooling": [{
            "tube_diameter": 38.1, "bend_radius": 76.2, "clamp_lengths": [80, 60], "shortest_grip": 50,
            "pressure_die_length": 320, "pressure_die_follows": True, "shortest_tail": 20, "die_height": 80,
            "clamp_block": {"width": 60, "height": 60, "opens": 95},
            "pressure_block": {"width": 60, "height": 60, "opens": 40},
        }],
        "solid": solids or [],
        "speeds": {"advance": 300, "rotate": 90, "bend": 20, "return": 40},
        "times": {"regrip": 10, "turn": 60, "load": 30, "clamp": 3, "tool_change": 300},
        "springback": {"measured": [[20, 21], [150, 155]]},
    }  # fmt: skip
    return machine_from_data({**data, **changes})
