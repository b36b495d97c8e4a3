"""The solids about the tube in each phase, from the document's machine: floor, profile's own, dies and blocks [mm].

Each is given in the frame of what it moves with: the machine's own, the arm's at home, the carriage's with the collet's face
at x = 0, the pressure die's at home. Blocks are centred on the centreline's height and bored for the tube.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from tests.plan.replay.motions import Motion

Kind = Literal["floor", "box", "cylinder", "die", "block", "tail"]
Tool = Literal["bend die", "die hub", "wiper", "clamp", "pressure die", "tail", "floor", "solid"]

SAME_SIZE = 0.05
"""Tooling fits a diameter and a radius within this [mm]."""


@dataclass(frozen=True)
class Solid:
    """One solid. numbers by kind: FLOOR z; BOX corners (6); CYLINDER x, y, radius, lowest and highest z; DIE y of its axis,
    radius to the groove, half height, bore; BLOCK first and last x, side of the feed, how far its face is from the feed,
    width, half height, bore; TAIL length, radius.

    on_its_way: the solid is all that a block fills as it opens, closes or goes home.
    """

    name: str
    tool: Tool
    moves_with: str
    kind: Kind
    numbers: tuple[float, ...]
    on_its_way: bool = False


def tooling_for(machine: dict[str, Any], diameter: float, radius: float) -> dict[str, Any]:
    """The tooling for a tube on a bend radius [mm]."""
    fits = [
        one
        for one in machine["tooling"]
        if abs(one["tube_diameter"] - diameter) <= SAME_SIZE and abs(one["bend_radius"] - radius) <= SAME_SIZE
    ]
    return dict(fits[0])


def solids_about(machine: dict[str, Any], tooling: dict[str, Any], motion: Motion, radius: float) -> list[Solid]:
    """What stands about the tube in a motion."""
    found = [Solid("floor", "floor", "frame", "floor", (-machine["head"]["centreline_height"],))]
    found += [own for own in map(_own, machine.get("solid", ())) if own.moves_with != "carriage" or motion.face]
    found += _dies(tooling, motion.side)
    found += [_clamp(tooling, motion), _pressure(tooling, motion)]
    found.append(Solid("its own tail", "tail", "frame", "tail", (max(*motion.tail, 0.0), radius)))
    return found


def _own(entry: dict[str, Any]) -> Solid:
    box, cylinder = entry.get("box"), entry.get("cylinder")
    if box is not None:
        return Solid(entry["name"], "solid", entry["moves_with"], "box", (*box["from"], *box["to"]))
    assert cylinder is not None
    numbers = (*cylinder["centre"], cylinder["radius"], *cylinder["z"])
    return Solid(entry["name"], "solid", entry["moves_with"], "cylinder", numbers)


def _dies(tooling: dict[str, Any], side: float) -> list[Solid]:
    clr, bore, half = tooling["bend_radius"], tooling["tube_diameter"] / 2.0, tooling["die_height"] / 2.0
    found = [Solid("bend die", "bend die", "frame", "die", (side * clr, clr, half, bore))]
    hub, wiper = tooling.get("die_hub"), tooling.get("wiper_block")
    if hub is not None:
        numbers: tuple[float, ...] = (0.0, side * clr, hub["radius"], -hub["height"] / 2.0, hub["height"] / 2.0)
        found.append(Solid("die hub", "die hub", "frame", "cylinder", numbers))
    if wiper is not None:
        numbers = (-wiper["length"], 0.0, side, 0.0, wiper["width"], wiper["height"] / 2.0, bore)
        found.append(Solid("wiper die", "wiper", "frame", "block", numbers))
    return found


def _clamp(tooling: dict[str, Any], motion: Motion) -> Solid:
    """All of its travel as the dies close, closed while they grip, open else."""
    block = tooling["clamp_block"]
    closing = motion.phase == "dies close"
    open_by = 0.0 if motion.phase in ("dies close", "bend", "re-grip") else block["opens"]
    width = block["width"] + (block["opens"] if closing else 0.0)
    numbers = (0.0, motion.clamp, -motion.side, open_by, width, block["height"] / 2.0, tooling["tube_diameter"] / 2.0)
    return Solid("clamp die", "clamp", "arm", "block", numbers, closing)


def _pressure(tooling: dict[str, Any], motion: Motion) -> Solid:
    """All of its travel as the dies close and open; in the bend it is looked at from itself, else where it stands."""
    block, length = tooling["pressure_block"], tooling["pressure_die_length"]
    travels, bends = motion.phase in ("dies close", "dies open"), motion.phase == "bend"
    closed = travels or motion.phase in ("bend", "re-grip")
    first, last = (0.0, 0.0) if bends else (min(motion.forward), max(motion.forward))
    width = block["width"] + (block["opens"] if travels else 0.0)
    face, half, bore = 0.0 if closed else block["opens"], block["height"] / 2.0, tooling["tube_diameter"] / 2.0
    numbers = (first - length, last, -motion.side, face, width, half, bore)
    moves_with = "pressure die" if bends else "frame"
    return Solid("pressure die", "pressure die", moves_with, "block", numbers, travels or (not bends and first != last))
