"""The solids about the tube in each phase, from the document's machine: floor, profile's own, dies and blocks [mm].

Each is given in the frame of what it moves with: the machine's own, the arm's at home, the carriage's with the collet's face
at x = 0, the pressure die's at home. Blocks are centred on the centreline's height and bored for the tube.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

from tests.geometry.distances import Kind
from tests.plan.replay.motions import DOWN, Motion, Pair

Tool = Literal["bend die", "die hub", "wiper", "clamp", "pressure die", "grip section", "rod", "tail", "floor", "solid"]

SAME_SIZE = 0.05
"""Tooling fits a diameter and a radius within this [mm]."""

IN_THE_BORE = 0.3
"""By so much is a mandrel thinner than the bore [mm]."""

DEEP, LONG = 1.5, 5.0
"""How deep a grip section is whose depth no profile tells, and how long a mandrel thicker than its rod, in diameters."""


@dataclass(frozen=True)
class Solid:
    """One solid. numbers by kind: FLOOR z; BOX corners (6); CYLINDER x, y, radius, lowest and highest z; DIE y of its axis,
    radius to the groove, half height, bore; BLOCK first and last x, side of the feed, how far its face is from the feed,
    width, half height, bore; ROD first and last x, radius; TAIL length, radius.

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


def solids_about(
    machine: dict[str, Any], tooling: dict[str, Any], motion: Motion, radius: float, wall: float
) -> list[Solid]:
    """What stands about the tube in a motion; radius, wall: the tube's [mm]."""
    found = [Solid("floor", "floor", "frame", "floor", (-machine["head"]["centreline_height"],))]
    for entry in machine.get("solid", ()):
        if entry["moves_with"] == "pressure die":
            found.append(_beside_pressure_die(entry, tooling, motion))
        elif entry["moves_with"] != "carriage" or motion.face is not None:
            found.append(_own(entry))
    found += _dies(tooling, motion.side)
    found += [_clamp(tooling, motion), _pressure(tooling, motion), *_section(tooling, motion)]
    found += _rod(machine, tooling, motion, 2.0 * (radius - wall) - IN_THE_BORE)
    found.append(Solid("its own tail", "tail", "frame", "tail", (max(*motion.tail, 0.0), radius)))
    if max(motion.drop) > 0.0:
        down = ("bend die", "die hub", "grip section")
        found = [replace(one, moves_with=one.moves_with + DOWN) if one.tool in down else one for one in found]
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


def _pressure_die(tooling: dict[str, Any], motion: Motion) -> tuple[Pair, Pair, str]:
    """From how far open to how far, and from how far forward to how far, the pressure die fills its way [mm], and what it
    moves with: all of its travel as the dies close and open; in the bend it is looked at from itself, else where it stands.
    """
    opens = tooling["pressure_block"]["opens"]
    if motion.phase == "bend":
        return (0.0, 0.0), (0.0, 0.0), "pressure die"
    opening = {"dies close": (0.0, opens), "dies open": (0.0, opens), "re-grip": (0.0, 0.0)}
    return opening.get(motion.phase, (opens, opens)), (min(motion.forward), max(motion.forward)), "frame"


def _on_its_way(opening: Pair, forward: Pair) -> bool:
    return opening[0] != opening[1] or forward[0] != forward[1]


def _pressure(tooling: dict[str, Any], motion: Motion) -> Solid:
    block, length = tooling["pressure_block"], tooling["pressure_die_length"]
    opening, forward, moves_with = _pressure_die(tooling, motion)
    width, half = block["width"] + opening[1] - opening[0], block["height"] / 2.0
    numbers = (forward[0] - length, forward[1], -motion.side, opening[0], width, half, tooling["tube_diameter"] / 2.0)
    return Solid("pressure die", "pressure die", moves_with, "block", numbers, _on_its_way(opening, forward))


def _beside_pressure_die(entry: dict[str, Any], tooling: dict[str, Any], motion: Motion) -> Solid:
    """A box of the profile's that goes with the pressure die: forward with it, and away from the feed as it opens."""
    opening, forward, moves_with = _pressure_die(tooling, motion)
    (x0, y0, z0), (x1, y1, z1) = entry["box"]["from"], entry["box"]["to"]
    aside = sorted(-motion.side * way for way in opening)
    numbers = (x0 + forward[0], y0 + aside[0], z0, x1 + forward[1], y1 + aside[1], z1)
    return Solid(entry["name"], "solid", moves_with, "box", numbers, _on_its_way(opening, forward))


def section_size(tooling: dict[str, Any], clamp: float) -> tuple[float, float, float] | None:
    """Length, depth and height of the die's straight groove under a clamp [mm]; None where the die has none."""
    given = tooling.get("grip_section")
    if given is False:
        return None
    given = given or {}
    default = {
        "length": clamp,
        "depth": min(DEEP * tooling["tube_diameter"], tooling["bend_radius"]),
        "height": tooling["die_height"],
    }
    length, depth, height = (default[key] if given.get(key) is None else given[key] for key in default)
    return length, depth, height


def _section(tooling: dict[str, Any], motion: Motion) -> list[Solid]:
    """It lies behind the parting line, on the die's side, and turns with the arm."""
    size = section_size(tooling, motion.clamp)
    if size is None:
        return []
    length, depth, height = size
    numbers = (0.0, length, motion.side, 0.0, depth, height / 2.0, tooling["tube_diameter"] / 2.0)
    return [Solid("grip section", "grip section", "arm", "block", numbers)]


def tip_of(machine: dict[str, Any], tooling: dict[str, Any]) -> float | None:
    """How far nose and balls stand past the tangent point [mm]; None where there is no mandrel."""
    rod, own = machine.get("mandrel"), tooling.get("mandrel")
    if rod is None:
        return None
    if own is None:
        return float(rod.get("nose") or 0.0)
    return float(own["nose"] if own.get("ball_reach") is None else own["ball_reach"])


def _rod(machine: dict[str, Any], tooling: dict[str, Any], motion: Motion, thick: float) -> list[Solid]:
    """Mandrel and rod, flat at both ends; thick: diameter of the mandrel [mm]. One that draws back stands at the tangent
    point while the tube is brought to its place."""
    tip, rod = tip_of(machine, tooling), machine.get("mandrel")
    if tip is None or rod is None:
        return []
    front = 0.0 if rod.get("draws_back") and motion.phase in ("place", "load", "unload") else tip
    anchor, given = -rod["rod_length"], rod.get("rod_diameter")
    if given is None or given >= thick:
        return [Solid("mandrel rod", "rod", "frame", "rod", (anchor, front, thick / 2.0))]
    back = max(-LONG * tooling["tube_diameter"], anchor)
    found = [Solid("mandrel", "rod", "frame", "rod", (back, front, thick / 2.0))]
    if back > anchor:
        found.append(Solid("mandrel rod", "rod", "frame", "rod", (anchor, back, given / 2.0)))
    return found
