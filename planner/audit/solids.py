"""The solids of a machine with its tooling, each in the frame of what it moves with, the arm at home [mm].

The frame's is the machine's own; the arm's at home is the same; the carriage's has the collet's face at x = 0; the
pressure die's is the machine's while it stands at home, the tail's as a bend begins. The bend die turns about its own
axis: it looks the same from frame and arm. Built dies and blocks lie on the head's side of the feed, a profile's own
solids as they are written.

The die's grip section is the straight groove that goes on where its round one ends: a bored block on the die's side of
the feed, as long as the clamp or as the profile says, that turns with the arm. The mandrel's rod lies along the feed
from where it is anchored to the farthest of nose and balls; the mandrel at its front is as thick as the bore lets it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from planner.audit import shapes
from planner.audit.shapes import Array, Shape
from planner.inputs.machine import Machine, Tooling
from planner.tolerances import THINNEST

Tool = Literal[
    "bend die", "die hub", "wiper die", "clamp die", "pressure die", "grip section", "mandrel rod", "floor", "solid",
    "its own tail",
]  # fmt: skip
Owner = Literal["frame", "arm", "carriage", "pressure die", "bend die", "tail"]

GO_DOWN: tuple[Tool, ...] = ("bend die", "die hub", "grip section")
"""What is lowered where the die drops."""

TAIL_END = "its own tail's end"
"""Name of what of the tail comes forward in a bend; the rest is called its own tail."""

BORE_LEFT = 0.3
"""A mandrel is thinner than the tube's bore by this [mm] (common practice, no source)."""

MANDREL_LENGTH = 5.0
"""A mandrel thicker than its rod goes back from the tangent point by so many tube diameters at most (common practice,
no source)."""


@dataclass(frozen=True)
class Solid:
    """One solid: its name, what it is to the contact table, what it moves with, and its shape in that frame."""

    name: str
    tool: Tool
    owner: Owner
    shape: Shape


def toward(machine: Machine) -> float:
    """Return the side of the feed on which the die stands: −1 on a head that bends to the right, +1 to the left."""
    return -1.0 if machine.head.bends_toward == "right" else 1.0


def machine_solids(machine: Machine, tooling: Tooling) -> tuple[Solid, ...]:
    """Return floor, the profile's own solids, bend die, hub and wiper: all that looks the same in every phase.

    What moves with the pressure die is not among them: it stands where that stands (`beside_pressure_die`).
    """
    return (*_standing(machine), *_dies(machine, tooling))


def _standing(machine: Machine) -> list[Solid]:
    floor = Shape("half-space", (-float(machine.head.centreline_height),))
    found = [Solid("floor", "floor", "frame", floor)]
    for entry in machine.solid:
        if entry.moves_with == "pressure die":
            continue
        if entry.box is not None:
            shape = Shape("box", (*map(float, entry.box.from_), *map(float, entry.box.to)))
        elif entry.cylinder is not None:
            (x, y), (low, high), radius = entry.cylinder.centre, entry.cylinder.z, float(entry.cylinder.radius)
            shape = Shape("cone", (float(x), float(y), float(low), radius, float(high), radius))
        else:
            raise ValueError(f'the solid "{entry.name}" has no shape')
        found.append(Solid(entry.name, "solid", entry.moves_with, shape))
    return found


def _dies(machine: Machine, tooling: Tooling) -> list[Solid]:
    side, bore, axis = toward(machine), tooling.tube_diameter / 2.0, toward(machine) * tooling.bend_radius
    die = Shape("die", (axis, tooling.bend_radius, tooling.die_height / 2.0, bore))
    found = [Solid("bend die", "bend die", "bend die", die)]
    hub, wiper = tooling.die_hub, tooling.wiper_block
    if hub is not None:
        half = hub.height / 2.0
        shape = Shape("cone", (0.0, axis, -half, hub.radius, half, hub.radius))
        found.append(Solid("die hub", "die hub", "bend die", shape))
    if wiper is not None:
        shape = Shape("block", (-wiper.length, 0.0, side, 0.0, wiper.width, wiper.height / 2.0, bore))
        found.append(Solid("wiper die", "wiper die", "frame", shape))
    return found


def clamp_block(machine: Machine, tooling: Tooling, length: float, opening: tuple[float, float]) -> Solid:
    """Return the clamp block of a length [mm] in the arm's frame, swept from opening[0] to opening[1] [mm].

    Closed is (0, 0), open (opens, opens), all of its travel (0, opens); the bore is that of its closed end.
    """
    block = tooling.clamp_block
    width = block.width + opening[1] - opening[0]
    numbers = (
        0.0, length, -toward(machine), opening[0], width, block.height / 2.0, tooling.tube_diameter / 2.0,
    )  # fmt: skip
    return Solid("clamp die", "clamp die", "arm", Shape("block", numbers))


def pressure_block(
    machine: Machine, tooling: Tooling, opening: tuple[float, float], forward: tuple[float, float] = (0.0, 0.0)
) -> Solid:
    """Return the pressure die's block, swept over an opening and over a way forward from its home [mm]."""
    block = tooling.pressure_block
    width = block.width + opening[1] - opening[0]
    numbers = (
        forward[0] - tooling.pressure_die_length, forward[1], -toward(machine),
        opening[0], width, block.height / 2.0, tooling.tube_diameter / 2.0,
    )  # fmt: skip
    return Solid("pressure die", "pressure die", "pressure die", Shape("block", numbers))


def beside_pressure_die(
    machine: Machine, opening: tuple[float, float], forward: tuple[float, float] = (0.0, 0.0)
) -> tuple[Solid, ...]:
    """Return the boxes that move with the pressure die, swept as it is over an opening and a way forward [mm].

    They are written as they stand while it is closed and at home; it opens to the side away from the bend die.
    """
    out = [-toward(machine) * way for way in opening]
    found = []
    for entry in machine.solid:
        if entry.moves_with != "pressure die" or entry.box is None:
            continue
        low, high = entry.box.from_, entry.box.to
        first = (low[0] + forward[0], low[1] + min(out), low[2])
        last = (high[0] + forward[1], high[1] + max(out), high[2])
        shape = Shape("box", (*map(float, first), *map(float, last)))
        found.append(Solid(entry.name, "solid", "pressure die", shape))
    return tuple(found)


def grip_section(machine: Machine, tooling: Tooling, clamp: float) -> tuple[Solid, ...]:
    """Return the die's straight groove with a clamp of a length [mm] in the machine, none where the die has none."""
    section = tooling.section(clamp)
    if section is None:
        return ()
    numbers = (
        0.0, section.length, toward(machine), 0.0, section.depth, section.height / 2.0, tooling.tube_diameter / 2.0,
    )  # fmt: skip
    return (Solid("grip section", "grip section", "arm", Shape("block", numbers)),)


def mandrel_rod(machine: Machine, tooling: Tooling, wall: float, drawn_back: bool) -> tuple[Solid, ...]:
    """Return rod and mandrel about the feed's axis, one solid where they are of one thickness; none without them.

    wall: the tube's [mm]; drawn_back: the mandrel's front stands at the tangent point, not past it.
    """
    rod, tip = machine.mandrel, machine.mandrel_of(tooling)
    if rod is None or tip is None:
        return ()
    diameter = tooling.tube_diameter
    front = 0.0 if drawn_back else tip.reach
    mandrel = max(diameter - 2.0 * wall - BORE_LEFT, THINNEST) / 2.0
    if rod.rod_diameter is None or rod.rod_diameter / 2.0 >= mandrel:
        return (_round("mandrel rod", -rod.rod_length, front, mandrel),)
    joint = max(-MANDREL_LENGTH * diameter, -rod.rod_length)
    thin = _round("mandrel rod", -rod.rod_length, joint, rod.rod_diameter / 2.0)
    thick = _round("mandrel", joint, front, mandrel)
    return (thin, thick) if joint > -rod.rod_length else (thick,)


def _round(name: str, first: float, last: float, radius: float) -> Solid:
    return Solid(name, "mandrel rod", "frame", Shape("lengthwise", (first, last, radius)))


def tail(length: float, radius: float, feed: float = 0.0) -> tuple[Solid, ...]:
    """Return the straight tail behind the tangent point as solids for the leading part, flat at its end [mm].

    feed: by which it comes forward in the motion. What is left behind the tangent point at the end, `length` less that,
    stands as a set all along; the rest is its end, which comes forward. At every moment the tail is in the two.
    """
    stays = max(length - feed, 0.0)
    found = []
    if stays > 0.0:
        found.append(Solid("its own tail", "its own tail", "frame", Shape("lengthwise", (-stays, 0.0, radius))))
    if feed > 0.0:
        found.append(Solid(TAIL_END, "its own tail", "tail", Shape("lengthwise", (-length, -stays, radius))))
    return tuple(found)


def is_convex(solid: Solid) -> bool:
    """Say whether a solid is convex; the bend die and the bored blocks are not."""
    return shapes.is_convex(solid.shape.kind)


def distance(solid: Solid, x: Array) -> Array:
    """Return the signed distance (N,) [mm] of points (3, N) in the frame of the solid's owner: exact, 1-Lipschitz."""
    return shapes.distances(solid.shape.kind, _column(solid.shape), x)


def nearest(solid: Solid, x: Array) -> tuple[Array, Array]:
    """Return the signed distance (N,) [mm] and the unit direction (3, N) away from a convex solid."""
    return shapes.nearest(solid.shape.kind, _column(solid.shape), x)


def support(solid: Solid, g: Array) -> Array:
    """Return h(g) = max of g·k over a convex solid (N,) [mm] for unit vectors (3, N)."""
    return shapes.support(solid.shape.kind, _column(solid.shape), g)


def parts_of(solid: Solid) -> tuple[Solid, ...]:
    """Return convex solids that cover a solid: itself, or the strips of a grooved one."""
    return tuple(Solid(solid.name, solid.tool, solid.owner, part) for part in parts(solid.shape))


@lru_cache(maxsize=256)
def parts(shape: Shape) -> tuple[Shape, ...]:
    """Return the convex parts of a shape, found once."""
    return tuple(shapes.convex_parts(shape))


def _column(shape: Shape) -> Array:
    return np.array(shape.numbers, dtype=np.float64)[:, None]
