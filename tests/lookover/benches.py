"""Benders to look over, as data: a clean bench, and the shipped profiles as they once were; all invented."""

from __future__ import annotations

import copy
from typing import Any

from planner.inputs.files import machine_from_data
from planner.inputs.machine import Machine

Data = dict[str, Any]


def box(name: str, moves_with: str, low: list[float], high: list[float]) -> Data:
    return {"name": name, "moves_with": moves_with, "box": {"from": low, "to": high}}


def cylinder(name: str, moves_with: str, centre: list[float], radius: float, z: list[float]) -> Data:
    return {"name": name, "moves_with": moves_with, "cylinder": {"centre": centre, "radius": radius, "z": z}}


TOOL: Data = {
    "tube_diameter": 38.1, "bend_radius": 76.2, "clamp_lengths": [100], "shortest_grip": 50,
    "pressure_die_length": 290, "pressure_die_follows": True, "shortest_tail": 20, "die_height": 80,
    "mandrel": {"nose": 5},
    "clamp_block": {"width": 60, "height": 60, "opens": 70},
    "pressure_block": {"width": 60, "height": 60, "opens": 40},
}  # fmt: skip

BENCH: Data = {
    "name": "bench", "units": "mm",
    "head": {"bends_toward": "right", "centreline_height": 1000, "largest_angle": 180, "may_ease_off": True},
    "carriage": {"reach": [300, 2000], "grip_length": 50, "passes_through": True},
    "rotation": {"range": "continuous", "zeroed": True},
    "advance": {"zeroed": True},
    "mandrel": {"rod_length": 2400, "rod_diameter": 20},
    "clearance": {"required": 10, "to_tooling": 2},
    "tooling": [TOOL],
    "solid": [
        box("bed", "frame", [-2600, -100, -1000], [-150, 100, -210]),
        cylinder("post", "frame", [0, -76], 90, [-1000, -210]),
        box("pressure die slide", "pressure die", [-290, 30, -120], [-10, 100, -40]),
        box("arm", "arm", [-40, -130, -200], [50, 0, -60]),
        box("clamp slide", "arm", [0, 0, -100], [80, 140, -40]),
        box("carriage", "carriage", [-200, -80, -210], [0, 80, 80]),
        box("rod anchor", "frame", [-2460, -50, -210], [-2410, 50, 50]),
    ],
    "speeds": {"advance": 300, "rotate": 90, "bend": 20, "return": 40},
    "times": {"regrip": 10, "turn": 60, "load": 30, "clamp": 3, "tool_change": 300},
}  # fmt: skip


def bench(*solids: Data, without: tuple[str, ...] = (), tool: Data | None = None, **tables: Data) -> Machine:
    """The clean bench with solids added or put in the place of those of their name, without some, and tables changed."""
    data = copy.deepcopy(BENCH)
    data["tooling"][0] |= tool or {}
    for table, changed in tables.items():
        data[table] |= changed
    names = {solid["name"]: solid for solid in solids}
    kept = [names.pop(solid["name"], solid) for solid in data["solid"] if solid["name"] not in without]
    data["solid"] = [*kept, *names.values()]
    return machine_from_data(data)


def old_tool(
    diameter: float, radius: float, clamps: list[float], die: float, heights: list[float], opens: float
) -> Data:
    """One tooling as it was: heights of die and blocks."""
    return {
        "tube_diameter": diameter, "bend_radius": radius, "clamp_lengths": clamps, "shortest_grip": clamps[-1],
        "pressure_die_length": die, "pressure_die_follows": True, "shortest_tail": 20, "die_height": heights[0],
        "clamp_block": {"width": heights[1], "height": heights[1], "opens": opens},
        "pressure_block": {"width": heights[1], "height": heights[1], "opens": 40},
    }  # fmt: skip


def was(height: float, largest: float, reach: list[float], rod: float, tools: list[Data], solids: list[Data],
        side: str = "right") -> Machine:  # fmt: skip
    """A profile as it was."""
    data = copy.deepcopy(BENCH) | {"tooling": tools, "solid": solids, "mandrel": {"rod_length": rod, "nose": 12}}
    data["head"] |= {"centreline_height": height, "largest_angle": largest, "bends_toward": side}
    data["carriage"] |= {"reach": reach}
    return machine_from_data(data)


def workshop(height: float) -> list[Data]:
    """The solids of the two profiles for the workshop."""
    return [
        box("bed", "frame", [-4200, -120, -height], [-120, 120, -150]),
        cylinder("post", "frame", [0, -76], 110, [-height, -210]),
        box("pressure die slide", "frame", [-340, 30, -150], [-10, 220, -65]),
        box("arm", "arm", [-40, -120, -200], [120, 170, -65]),
        box("carriage", "carriage", [-280, -100, -150], [0, 100, 110]),
    ]


OLD: dict[str, Machine] = {
    "canal-workshop": was(1050, 190, [250, 3200], 3600, [
        old_tool(38.1, 76.2, [115, 76], 240, [90, 110], 60),
        old_tool(25.4, 50.8, [76, 51], 200, [70, 100], 50),
        old_tool(38.1, 114.3, [100, 76], 320, [90, 110], 60),
    ], workshop(1050)),
    "under-the-loft": was(850, 190, [250, 3200], 3600, [old_tool(38.1, 76.2, [115, 76], 240, [90, 110], 60)], workshop(850)),
    "long-bed": was(1450, 185, [380, 6400], 7000, [
        old_tool(50.8, 101.6, [150, 100], 320, [120, 150], 90),
        old_tool(76.2, 152.4, [230, 152], 460, [160, 190], 110),
    ], [
        box("bed", "frame", [-7600, -240, -1450], [-260, 240, -260]),
        cylinder("post", "frame", [0, -152], 190, [-1450, -340]),
        box("pressure die slide", "frame", [-520, 40, -260], [-20, 320, -110]),
        box("arm", "arm", [-70, -220, -330], [240, 310, -110]),
        box("carriage", "carriage", [-800, -150, -260], [-60, 150, 200]),
        box("collet nose", "carriage", [-60, -90, -90], [0, 90, 90]),
    ]),
    "three-axis": was(1100, 195, [220, 3000], 3400, [old_tool(38.1, 76.2, [100, 75], 220, [80, 100], 70)], [
        box("bed", "frame", [-3900, -170, -1100], [-140, 170, -180]),
        cylinder("post", "frame", [0, 76], 120, [-1100, -220]),
        box("pressure die slide", "frame", [-320, -230, -180], [-10, -30, -62]),
        box("arm", "arm", [-40, -170, -210], [110, 120, -62]),
        box("carriage", "carriage", [-520, -100, -180], [-40, 100, 150]),
        box("collet nose", "carriage", [-40, -55, -55], [0, 55, 55]),
    ], side="left"),
}  # fmt: skip
"""Profiles as they once were."""
