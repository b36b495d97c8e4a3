"""The solids of a machine with its tooling: what the tube must keep clear of, and what each of them moves with."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from planner.clearance.distances import Kind
from planner.inputs.machine import Machine, Tooling


class Owner(Enum):
    """What a solid moves with.

    A DIE turns about its own axis, so it counts as standing with whatever it is looked at from: with the arm for a
    body that swings about it, with the frame for all others.
    """

    FRAME = "frame"
    ARM = "arm"
    CARRIAGE = "carriage"
    PRESSURE = "pressure die"
    DIE = "bend die"


class Tool(Enum):
    """What a solid is to the contact table."""

    DIE = "bend die"
    HUB = "die hub"
    WIPER = "wiper die"
    CLAMP = "clamp die"
    PRESSURE = "pressure die"
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


def tail_solid(length: float, radius: float) -> Solid:
    """Return the straight tail as a solid for the leading part [mm]."""
    return Solid("its own tail", Tool.TAIL, Owner.FRAME, Kind.SEGMENT, (-length, 0.0, radius))
