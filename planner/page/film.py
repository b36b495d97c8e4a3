"""What the 3D view shows, as data [mm, rad]: a tube, the machine about it, and how both move from step to step.

A pose is one vector: [x, roll, arm, face, pressure, clamp_open, pressure_open, drop, reached_1 … reached_n]. A bend
that is not formed yet counts as the straight that it is made of, so an advance, a rotation and a bend are each linear
in the vector, and the browser only interpolates:

    in a swing by θ:  arm = reached_i = θ,   x = x₀ + CLR θ,   face = face₀ − CLR θ                             (9)

x is where the tail end of the stock lies on the feed's axis, roll the turn of the plane of the bend nearest the tail
from the plane of the die, right-handed about +x; face is the collet's, whether it holds the tube or stands open, and
−1 stands for no carriage; drop is how far down the die stands.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Final

from planner.clearance.solids import mandrel_solids, toward
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.plans.document import End

FIXED: Final = 8
"""Numbers of a pose before the angles that the bends have reached."""

Pose = tuple[float, ...]


@dataclass(frozen=True)
class Shot:
    """One motion, or one moment where nothing moves.

    step: number in the step list; leads; tooling: number among the film's; clamp [mm]; shown: the tube is in the
    machine or about to be; released: the collet does not hold it; drawn_back: the mandrel is, to the tangent point;
    poses, at: keyframes and when they are reached, 0 … 1; seconds: how long it takes at the machine.
    """

    step: int
    leads: End
    tooling: int
    clamp: float
    poses: tuple[Pose, ...]
    at: tuple[float, ...]
    seconds: float = 0.0
    shown: bool = True
    released: bool = False
    drawn_back: bool = False


@dataclass(frozen=True)
class Film:
    """A tube in a machine, and its motions.

    tube, solids, tooling: plain data for the browser; toward: −1 for a head that bends to the right, +1 to the left;
    floor: its height [mm]; grip: tube inside the collet [mm].
    """

    tube: dict[str, Any]
    toward: float
    floor: float
    solids: tuple[dict[str, Any], ...]
    tooling: tuple[dict[str, Any], ...]
    grip: float | None
    shots: tuple[Shot, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """Return the film as plain JSON data."""
        return asdict(self)


def film_of(part: Part, machine: Machine, trim_a: float, trim_b: float, shots: tuple[Shot, ...] = ()) -> Film:
    """Return a film of a part with its trim [mm] on a machine; without shots it shows the machine alone."""
    fitted = [machine.tooling_for(part.outside_diameter, radius) for radius in radii_of(part)]
    return Film(
        tube=_tube(part, trim_a, trim_b),
        toward=toward(machine),
        floor=-machine.head.centreline_height,
        solids=tuple(_solid(entry) for entry in machine.normalised().get("solid", ())),
        tooling=tuple(_tooling(one) | {"mandrel": _mandrel(machine, one, part.wall)} for one in fitted),
        grip=None if machine.carriage is None else machine.carriage.grip_length,
        shots=shots,
    )


def part_film(part: Part) -> Film:
    """Return the film of a finished part alone, as it lies with the plane of its last bend level; no machine."""
    pose = (-part.developed_length / 2.0, 0.0, 0.0, -1.0, 0.0, 1.0, 1.0, 0.0, *part.angles.tolist())
    shot = Shot(step=0, leads="A", tooling=0, clamp=0.0, poses=(pose,), at=(0.0,), released=True)
    return Film(
        tube=_tube(part, 0.0, 0.0),
        toward=1.0,
        floor=0.0,
        solids=(),
        tooling=(),
        grip=None,
        shots=(shot,),
    )


def _tube(part: Part, trim_a: float, trim_b: float) -> dict[str, Any]:
    return {
        "radius": part.radius,
        "straights": part.straights.tolist(),
        "rotations": part.rotations.tolist(),
        "angles": part.angles.tolist(),
        "radii": part.radii.tolist(),
        "trim": {"A": trim_a, "B": trim_b},
    }


def radii_of(part: Part) -> tuple[float, ...]:
    """Return the bend radii of a part, each once, in the order of its bends [mm]: the film's tooling."""
    return tuple(dict.fromkeys(float(radius) for radius in part.radii))


def _solid(entry: dict[str, Any]) -> dict[str, Any]:
    """Return one of the profile's own solids as numbers in a row."""
    found: dict[str, Any] = {"name": entry["name"], "moves": entry["moves_with"]}
    if "box" in entry:
        return found | {"box": [*entry["box"]["from"], *entry["box"]["to"]]}
    cylinder = entry["cylinder"]
    return found | {"cylinder": [*cylinder["centre"], cylinder["radius"], *cylinder["z"]]}


def _tooling(tooling: Tooling) -> dict[str, Any]:
    hub, wiper = tooling.die_hub, tooling.wiper_block
    clamp, pressure = tooling.clamp_block, tooling.pressure_block
    section = tooling.section(tooling.clamp_lengths[0])
    given = None if tooling.grip_section is False or tooling.grip_section is None else tooling.grip_section.length
    return {
        "radius": tooling.bend_radius,
        "die": {"height": tooling.die_height, "bore": tooling.tube_diameter / 2.0},
        "hub": None if hub is None else {"radius": hub.radius, "height": hub.height},
        "wiper": None if wiper is None else {"length": wiper.length, "width": wiper.width, "height": wiper.height},
        "section": section and {"length": given, "depth": section.depth, "height": section.height},
        "clamp": {"width": clamp.width, "height": clamp.height, "opens": clamp.opens},
        "pressure": {
            "length": tooling.pressure_die_length,
            "width": pressure.width,
            "height": pressure.height,
            "opens": pressure.opens,
        },
        "follows": tooling.pressure_die_follows,
    }


def _mandrel(machine: Machine, tooling: Tooling, wall: float) -> dict[str, Any] | None:
    """Return nose, balls and reach of the mandrel, and mandrel and rod as far as they are solid [mm].

    rods: name, from and to along the feed, radius; the last ends at the nose, and the balls hang between there and
    `reach`, thick as it is.
    """
    tip = machine.mandrel_of(tooling)
    if tip is None:
        return None
    rods = [[solid.name, *solid.parameters] for solid in mandrel_solids(machine, tooling, wall, drawn_back=False)]
    rods[-1][2] = tip.nose
    return {"nose": tip.nose, "balls": tip.balls, "reach": tip.reach, "rods": rods}
