"""The tables and keys of a machine profile in shop words."""

from __future__ import annotations

from typing import Final

from pydantic import BaseModel

from planner.inputs import machine as shop
from planner.inputs import tooling
from planner.inputs.machine import Machine

GROUPS: Final = {
    "head": "Head", "carriage": "Carriage", "rotation": "Rotation", "advance": "Advance", "mandrel": "Mandrel",
    "clearance": "Clearance", "tooling": "Tooling", "solid": "Solid", "speeds": "Speeds", "times": "Times",
    "springback": "Springback", "scatter": "Scatter", "rated": "Rated for",
}  # fmt: skip
"""Groups of fields by the profile's table; tooling and solids are numbered from 1, the rest is "Machine"."""

LABELS: Final[dict[type[BaseModel], dict[str, str]]] = {
    Machine: {"name": "name", "units": "units of length"},
    shop.Head: {
        "bends_toward": "bends toward the", "centreline_height": "centreline over the floor",
        "largest_angle": "largest setting",
        "may_ease_off": "the tube may be eased off the die before the arm goes home",
        "homes_with_tube": "the carriage can run forward while the arm goes home",
        "die_drops": "the die drops before the arm goes home by",
    },
    shop.Carriage: {
        "reach": "collet's face to tangent point, closest and farthest", "grip_length": "tube inside the collet",
        "passes_through": "the tube may stick out behind it",
        "finish_released": "the last bend may be made with the collet open", "may_go_back": "may draw the tube back",
        "stand_back": "stands back, collet's face to tangent point",
    },
    shop.Rotation: {
        "range": "range of the chuck, lowest and highest, or continuous",
        "zeroed": "dial set to 0 at the end of every bend", "style": "dial",
        "counts": "counts up, seen along the feed", "resolution": "dial shows",
    },
    shop.Advance: {
        "zeroed": "readout set to 0 at the end of every bend", "absolute_zero": "readout shows 0 with",
        "resolution": "readout shows",
    },
    shop.Mandrel: {
        "rod_length": "longest tube over the rod", "rod_diameter": "rod, diameter",
        "draws_back": "drawn back before the tube is rotated",
        "nose": "stands past the tangent point, of tooling that says nothing of its own",
    },
    shop.Clearance: {
        "required": "to machine and floor", "per_metre": "more for each metre of leading part",
        "to_tooling": "to tooling that does not hold the tube", "to_itself": "of the tube to itself",
    },
    tooling.Tooling: {
        "tube_diameter": "tube diameter", "bend_radius": "bend radius of the centreline",
        "clamp_lengths": "clamp dies, longest first", "shortest_grip": "shortest grip at a leading end",
        "pressure_die_length": "pressure die, length", "pressure_die_follows": "pressure die travels with the tube",
        "pressure_rest": "pressure die left behind the tangent point when a bend ends",
        "grip_section": "grip section", "mandrel": "mandrel",
        "shortest_tail": "shortest straight behind the tangent point", "die_height": "bend die, height",
        "die_hub": "die hub", "clamp_block": "clamp block", "pressure_block": "pressure block",
        "wiper_block": "wiper block",
    },
    tooling.GripSection: {"depth": "depth", "height": "height", "length": "length"},
    tooling.MandrelTip: {
        "nose": "nose past the tangent point", "balls": "balls", "ball_reach": "last ball past the tangent point",
        "draws_back_before_end": "drawn back before the end of the bend by",
    },
    tooling.DieHub: {"radius": "radius", "height": "height"},
    tooling.Block: {"width": "width", "height": "height", "opens": "opens by"},
    tooling.WiperBlock: {"length": "length", "width": "width", "height": "height"},
    shop.Solid: {"name": "name", "moves_with": "moves with", "box": "box", "cylinder": "upright cylinder"},
    shop.Box: {"from": "smallest corner x, y, z", "to": "largest corner x, y, z"},
    shop.Cylinder: {"centre": "centre x, y", "radius": "radius", "z": "lower and upper end z"},
    shop.Speeds: {"advance": "advance", "rotate": "rotate", "bend": "bend", "return": "arm going home"},
    shop.Times: {
        "regrip": "re-grip", "turn": "turn end for end", "load": "load", "clamp": "opening or closing the dies",
        "tool_change": "change of tooling",
    },
    shop.Springback: {"measured": "part's angle and the setting that made it, pair by pair"},
    shop.Scatter: {
        "angle": "angle, one standard deviation", "rotation": "rotation, one standard deviation",
        "advance": "advance, one standard deviation", "reclamp": "more by a re-clamp",
    },
    shop.ReclampScatter: {"rotation": "rotation", "advance": "advance"},
    shop.Rated: {"tube_diameter": "tube diameter", "wall": "wall", "yield_strength": "yield strength"},
}  # fmt: skip
"""Keys in shop words."""
