"""Small machines for the clearance tests, all invented, from dictionaries with the profile's keys."""

from typing import Any

from planner.inputs.files import machine_from_data
from planner.inputs.machine import Machine

CLR = 76.2
DIAMETER = 38.1


def box(name: str, moves_with: str, low: Any, high: Any) -> dict[str, Any]:
    return {
        "name": name,
        "moves_with": moves_with,
        "box": {"from": [float(v) for v in low], "to": [float(v) for v in high]},
    }


def post(name: str, moves_with: str, centre: Any, radius: float, z: Any) -> dict[str, Any]:
    cylinder = {"centre": [float(v) for v in centre], "radius": float(radius), "z": [float(v) for v in z]}
    return {"name": name, "moves_with": moves_with, "cylinder": cylinder}


def machine(
    head: str = "right", solids: list[dict[str, Any]] | None = None, tooling: dict[str, Any] | None = None,
    clearance: dict[str, Any] | None = None, height: float = 3000.0, rod: dict[str, Any] | None = None,
) -> Machine:  # fmt: skip
    """A mandrel bender with nothing around it but what is asked for; its die has a grip section as long as the clamp."""
    dies: dict[str, Any] = {
        "tube_diameter": DIAMETER, "bend_radius": CLR, "clamp_lengths": [115, 76], "shortest_grip": 60,
        "pressure_die_length": 300, "pressure_die_follows": True, "shortest_tail": 40, "die_height": 90,
        "die_hub": {"radius": 30, "height": 160},
        "clamp_block": {"width": 90, "height": 100, "opens": 110},
        "pressure_block": {"width": 90, "height": 100, "opens": 40},
        "wiper_block": {"length": 150, "width": 60, "height": 60},
        "mandrel": {"nose": 5, "balls": 2, "ball_reach": 30, "draws_back_before_end": 5},
        **(tooling or {}),
    }  # fmt: skip
    return machine_from_data({
        "name": f"test bench, bends toward the {head}", "units": "mm",
        "head": {"bends_toward": head, "centreline_height": height, "largest_angle": 200, "may_ease_off": True},
        "carriage": {"reach": [200, 5000], "grip_length": 40, "passes_through": True, "may_go_back": True},
        "rotation": {"range": "continuous", "zeroed": True, "resolution": 0.1},
        "advance": {"zeroed": True, "resolution": 0.1},
        "mandrel": {"rod_length": 6000, "rod_diameter": 25, **(rod or {})},
        "clearance": {"required": 10, "per_metre": 0, "to_tooling": 2, "to_itself": 2, **(clearance or {})},
        "tooling": [{key: value for key, value in dies.items() if value is not None}],
        "solid": solids or [],
        "speeds": {"advance": 250, "rotate": 60, "bend": 15, "return": 30},
        "times": {"regrip": 10, "turn": 60, "load": 30, "clamp": 3, "tool_change": 300},
        "springback": {"measured": [[20, 21], [150, 155]]},
    })  # fmt: skip
