"""The solids of a machine with its tooling: what the tube must keep clear of, and what each of them moves with."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

from planner.clearance.distances import Kind
from planner.inputs.envelope import Box
from planner.inputs.machine import Machine, Tooling
from planner.tolerances import THINNEST

MANDREL_GAP: Final = 0.3
"""What a mandrel is thinner than the bore at least [mm] (common practice, no source)."""

MANDREL_DIAMETERS: Final = 5.0
"""How far a mandrel that is thicker than its rod goes back from the tangent point at most, in tube diameters (common
practice, no source); more never makes a machine able to do more."""


class Owner(Enum):
    """What a solid moves with.

    A DIE turns about its own axis, so it counts as standing with whatever it is looked at from: with the arm for a
    body that swings about it, with the frame for all others. A SECTION turns with the arm and goes down with the die;
    a ROD stands with the frame. What moves with the TAIL is fed forward with the tube.
    """

    FRAME = "frame"
    ARM = "arm"
    CARRIAGE = "carriage"
    PRESSURE = "pressure die"
    DIE = "bend die"
    SECTION = "grip section"
    ROD = "mandrel rod"
    TAIL = "its own tail"


GOES_DOWN = frozenset({Owner.DIE, Owner.SECTION})
"""What is lowered where the die drops."""


class Tool(Enum):
    """What a solid is to the contact table."""

    DIE = "bend die"
    HUB = "die hub"
    WIPER = "wiper die"
    CLAMP = "clamp die"
    PRESSURE = "pressure die"
    SECTION = "grip section"
    ROD = "mandrel rod"
    FLOOR = "floor"
    ENVELOPE = "solid"
    TAIL = "tail"


@dataclass(frozen=True)
class Solid:
    """One solid in its owner's frame, arm at home; `parameters` as `distances` lays them out [mm]."""

    name: str
    tool: Tool
    owner: Owner
    kind: Kind
    parameters: tuple[float, ...]


def toward(machine: Machine) -> float:
    """Return the side of the feed on which the die stands: −1 for a head that bends to the right, +1 to the left."""
    return -1.0 if machine.head.bends_toward == "right" else 1.0


def envelope(machine: Machine) -> tuple[Solid, ...]:
    """Return the floor and the profile's own solids, as they stand in the machine frame."""
    solids = [Solid("floor", Tool.FLOOR, Owner.FRAME, Kind.FLOOR, (-machine.head.centreline_height,))]
    for entry in machine.solid:
        owner = Owner(entry.moves_with)
        if owner is Owner.PRESSURE:
            continue  # where it is depends on how far the die is open and forward (`beside_pressure_die`)
        if entry.box is not None:
            kind = Kind.BOX
            numbers: tuple[float, ...] = (*entry.box.from_, *entry.box.to)
        else:
            assert entry.cylinder is not None  # the model allows exactly one of the two
            kind = Kind.CYLINDER
            numbers = (*entry.cylinder.centre, entry.cylinder.radius, *entry.cylinder.z)
        solids.append(Solid(entry.name, Tool.ENVELOPE, owner, kind, tuple(float(x) for x in numbers)))
    return tuple(solids)


def die_solids(machine: Machine, tooling: Tooling) -> tuple[Solid, ...]:
    """Return bend die, hub and wiper.

    Hub and wiper are centred on the centreline's height.
    """
    side, clr, bore = toward(machine), tooling.bend_radius, tooling.tube_diameter / 2.0
    solids = [Solid("bend die", Tool.DIE, Owner.DIE, Kind.DIE, (side * clr, clr, tooling.die_height / 2.0, bore))]
    if tooling.die_hub is not None:
        half = tooling.die_hub.height / 2.0
        hub = (0.0, side * clr, tooling.die_hub.radius, -half, half)
        solids.append(Solid("die hub", Tool.HUB, Owner.DIE, Kind.CYLINDER, hub))
    wiper = tooling.wiper_block
    if wiper is not None:
        numbers = (-wiper.length, 0.0, side, 0.0, wiper.width, wiper.height / 2.0, bore)
        solids.append(Solid("wiper die", Tool.WIPER, Owner.FRAME, Kind.BORED_BLOCK, numbers))
    return tuple(solids)


def clamp_block(machine: Machine, tooling: Tooling, length: float, opening: tuple[float, float]) -> Solid:
    """Return the clamp block of a length [mm] swept from opening[0] to opening[1] [mm], in the arm's frame.

    Closed it is (0, 0), open (opens, opens), its whole travel (0, opens): one box less the bore at its closed end.
    """
    block, side = tooling.clamp_block, -toward(machine)
    numbers = (
        0.0,
        length,
        side,
        opening[0],
        block.width + opening[1] - opening[0],
        block.height / 2.0,
        tooling.tube_diameter / 2.0,
    )
    return Solid(Tool.CLAMP.value, Tool.CLAMP, Owner.ARM, Kind.BORED_BLOCK, numbers)


def pressure_block(
    machine: Machine, tooling: Tooling, opening: tuple[float, float], forward: tuple[float, float] = (0.0, 0.0)
) -> Solid:
    """Return the pressure die's block swept over an opening and over a way forward [mm], from its home."""
    block, side = tooling.pressure_block, -toward(machine)
    numbers = (
        forward[0] - tooling.pressure_die_length,
        forward[1],
        side,
        opening[0],
        block.width + opening[1] - opening[0],
        block.height / 2.0,
        tooling.tube_diameter / 2.0,
    )
    return Solid("pressure die", Tool.PRESSURE, Owner.PRESSURE, Kind.BORED_BLOCK, numbers)


def beside_pressure_die(
    machine: Machine, opening: tuple[float, float], forward: tuple[float, float] = (0.0, 0.0)
) -> tuple[Solid, ...]:
    """Return the profile's solids that move with the pressure die, swept as it is over an opening and a way [mm].

    They are written as they stand with the die closed and at home.
    """
    out = sorted(-toward(machine) * opens for opens in opening)
    found = []
    for entry in machine.solid:
        if entry.moves_with != Owner.PRESSURE.value:
            continue
        assert isinstance(entry.box, Box)  # the model allows nothing else
        (x0, y0, z0), (x1, y1, z1) = entry.box.from_, entry.box.to
        numbers = (x0 + forward[0], y0 + out[0], z0, x1 + forward[1], y1 + out[1], z1)
        found.append(Solid(entry.name, Tool.ENVELOPE, Owner.PRESSURE, Kind.BOX, numbers))
    return tuple(found)


def grip_section(machine: Machine, tooling: Tooling, clamp: float) -> tuple[Solid, ...]:
    """Return the die's straight groove under a clamp of a length [mm], in the arm's frame; none if the die has none."""
    section = tooling.section(clamp)
    if section is None:
        return ()
    bore = tooling.tube_diameter / 2.0
    numbers = (0.0, section.length, toward(machine), 0.0, section.depth, section.height / 2.0, bore)
    return (Solid("grip section", Tool.SECTION, Owner.SECTION, Kind.BORED_BLOCK, numbers),)


def mandrel_solids(machine: Machine, tooling: Tooling, wall: float, drawn_back: bool) -> tuple[Solid, ...]:
    """Return mandrel and rod, from where the rod is anchored to the farthest of nose and balls.

    wall: of the tube [mm]; drawn_back: the nose stands at the tangent point. The mandrel is thinner than the bore by
    MANDREL_GAP, the rod behind it as thick or thinner.
    """
    rod, tip = machine.mandrel, machine.mandrel_of(tooling)
    if rod is None or tip is None:
        return ()
    front = 0.0 if drawn_back else tip.reach
    thick = max(tooling.tube_diameter - 2.0 * wall - MANDREL_GAP, THINNEST) / 2.0
    thin = thick if rod.rod_diameter is None else min(rod.rod_diameter / 2.0, thick)
    back = -min(MANDREL_DIAMETERS * tooling.tube_diameter, rod.rod_length)
    spans = [("mandrel rod", -rod.rod_length, front if thin == thick else back, thin)]
    if thin < thick:
        spans.append(("mandrel", back, front, thick))
    return tuple(
        Solid(name, Tool.ROD, Owner.ROD, Kind.ROD, (low, high, radius))
        for name, low, high, radius in spans
        if high > low
    )


def fed_tail(length: float, feed: float, radius: float) -> tuple[Solid, ...]:
    """Return the straight tail of a bend as solids for the leading part [mm]: what stays behind, and its end.

    What is behind the tangent point all along stands as a set; the end comes forward by the feed. Of a tail shorter
    than two feeds the end is drawn into the die before the bend is over: `bounds` measures against what is left.
    """
    stays = length - feed
    end = Solid("its own tail's end", Tool.TAIL, Owner.TAIL, Kind.TAIL_END, (-length, -max(stays, 0.0), radius, feed))
    if stays <= 0.0:
        return (end,)
    return (Solid("its own tail", Tool.TAIL, Owner.FRAME, Kind.ROD, (-stays, 0.0, radius)), end)


def tail_solid(length: float, radius: float) -> Solid:
    """Return the straight tail as a solid for the leading part [mm]."""
    return Solid("its own tail", Tool.TAIL, Owner.FRAME, Kind.SEGMENT, (-length, 0.0, radius))
