"""All that stands or moves in a machine as upright bodies seen from above [mm]: the profile's own, and the built."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from planner.clearance.distances import Kind
from planner.clearance.solids import (
    Owner,
    Solid,
    Tool,
    beside_pressure_die,
    clamp_block,
    die_solids,
    envelope,
    pressure_block,
    toward,
)
from planner.inputs.machine import Machine, Tooling
from planner.lookover.outline import Outline

SECTION, ROD = "grip section", "mandrel rod"

ROD_PLAY = 0.15
"""The rod's surface from the mandrel's, and where no wall is known the mandrel's from the tube's: half of the 0.3 mm by
which a mandrel is smaller than the bore [mm]."""


@dataclass(frozen=True, eq=False)
class UprightBody:
    """A body as it stands with the arm at home: seen from above, and from its lowest to its highest z [mm].

    built: the program builds it from the tooling; the profile's own solids are not.
    """

    name: str
    owner: Owner
    outline: Outline
    low: float
    high: float
    built: bool = False

    def lowered(self, way: float) -> UprightBody:
        """Return what it covers while it is lowered by a way [mm]."""
        return replace(self, low=self.low - way)


@dataclass(frozen=True)
class Bodies:
    """All bodies of a machine with one tooling; the arm's with the clamp and the section in their longest."""

    frame: tuple[UprightBody, ...]
    arm: tuple[UprightBody, ...]
    carriage: tuple[UprightBody, ...]
    pressure: tuple[UprightBody, ...]
    dies: tuple[UprightBody, ...]
    rod: UprightBody | None


def bodies_of(machine: Machine, tooling: Tooling) -> Bodies:
    """Return the bodies of a machine with one tooling, the clamp swept over its whole travel."""
    own = own_bodies(machine)
    built = [_body(solid, built=True) for solid in die_solids(machine, tooling) if solid.tool is not Tool.HUB]
    clamp = clamp_block(machine, tooling, tooling.clamp_lengths[0], (0.0, tooling.clamp_block.opens))
    die = pressure_block(machine, tooling, (0.0, 0.0))
    drop = machine.head.die_drops
    section = _section(machine, tooling)
    return Bodies(
        frame=(*_owned(own, Owner.FRAME), *_owned(built, Owner.FRAME)),
        arm=(*_owned(own, Owner.ARM), _body(clamp, built=True), *(one.lowered(drop) for one in section)),
        carriage=() if machine.carriage is None else _owned(own, Owner.CARRIAGE),
        pressure=(*_owned(own, Owner.PRESSURE), _body(die, built=True)),
        dies=(*(one.lowered(drop) for one in _owned(built, Owner.DIE)), *_hub(machine, tooling)),
        rod=_rod(machine, tooling),
    )


def own_bodies(machine: Machine) -> tuple[UprightBody, ...]:
    """Return the profile's own solids, the floor not among them, those beside the pressure die as it is closed."""
    solids = (*envelope(machine), *beside_pressure_die(machine, (0.0, 0.0)))
    return tuple(_body(solid) for solid in solids if solid.tool is Tool.ENVELOPE)


def _owned(bodies: tuple[UprightBody, ...] | list[UprightBody], owner: Owner) -> tuple[UprightBody, ...]:
    return tuple(body for body in bodies if body.owner is owner)


def _body(solid: Solid, built: bool = False) -> UprightBody:
    """Return a solid as a body; of the grooved ones the whole without their groove, in which only the tube lies."""
    p = solid.parameters
    if solid.kind is Kind.BOX:
        return UprightBody(solid.name, solid.owner, Outline(p[0], p[1], p[3], p[4]), p[2], p[5], built)
    if solid.kind is Kind.BORED_BLOCK:
        near, far = sorted((p[2] * p[3], p[2] * (p[3] + p[4])))
        return UprightBody(solid.name, solid.owner, Outline(p[0], near, p[1], far), -p[5], p[5], built)
    if solid.kind is Kind.DIE:
        return UprightBody(solid.name, solid.owner, Outline(0.0, p[0], 0.0, p[0], p[1]), -p[2], p[2], built)
    return UprightBody(solid.name, solid.owner, Outline(p[0], p[1], p[0], p[1], p[2]), p[3], p[4], built)


def _hub(machine: Machine, tooling: Tooling) -> Iterator[UprightBody]:
    """Yield what of the hub stands over the die; what is in the die or under it is held there by arm and post."""
    hub = tooling.die_hub
    if hub is not None and hub.height > tooling.die_height:
        y = toward(machine) * tooling.bend_radius
        outline = Outline(0.0, y, 0.0, y, hub.radius)
        yield UprightBody(Tool.HUB.value, Owner.DIE, outline, tooling.die_height / 2.0, hub.height / 2.0, True)


def _section(machine: Machine, tooling: Tooling) -> Iterator[UprightBody]:
    """Yield the grip section that goes with the longest clamp."""
    section = tooling.section(tooling.clamp_lengths[0])
    if section is not None:
        near, far = sorted((0.0, toward(machine) * section.depth))
        half = section.height / 2.0
        yield UprightBody(SECTION, Owner.ARM, Outline(0.0, near, section.length, far), -half, half, True)


def _rod(machine: Machine, tooling: Tooling) -> UprightBody | None:
    """Return the rod with the mandrel and its balls as one rod along the feed, from where it is anchored."""
    rod, tip = machine.mandrel, machine.mandrel_of(tooling)
    if rod is None or tip is None:
        return None
    thick = tooling.tube_diameter if rod.rod_diameter is None else rod.rod_diameter
    radius = thick / 2.0 - ROD_PLAY
    return UprightBody(ROD, Owner.FRAME, Outline(-rod.rod_length, -radius, tip.reach, radius), -radius, radius, True)


def rod_beside(rod: UprightBody, low: float, high: float) -> UprightBody:
    """Return the rod as wide as it is, seen from above, where it is between two heights [mm]."""
    radius = rod.high
    nearest = min(max(0.0, low), high)
    half = (max(radius * radius - nearest * nearest, 0.0)) ** 0.5
    return replace(rod, outline=replace(rod.outline, y0=-half, y1=half))
