"""The tables of a part file, lengths in mm and angles in radians once validated; rows are taken apart in
`shape`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planner.inputs.part import RotationSign
from planner.inputs.quantities import Amount, Cell, Length, LengthOrZero
from planner.inputs.tooling import ProfileTable

Text = Annotated[str, Field(min_length=1, max_length=200)]
Rows = tuple[tuple[Cell, ...], ...]


class TubeTable(ProfileTable):
    """The tube's size and metal.

    outside_diameter: over the wall [mm]. wall: its thickness [mm]; may be left out where a gauge is given. gauge: the
    wall as a gauge, such as "16 BWG"; with a wall beside it both must mean the same. material: its name; one that the
    table of materials knows gives yield strength, modulus and density. yield_strength: of this tube, where it is known
    better than from the table of materials [MPa].
    """

    outside_diameter: Length
    wall: Length | None = None
    gauge: Text | None = None
    material: Text
    yield_strength: Amount | None = None


class ShapeTable(ProfileTable):
    """The shape: exactly one of lra, xyz and file, and the bends' radii.

    lra: a row for each bend (straight before it, rotation before it, angle, and its radius if it has one of its own),
    and last a row with the end straight alone; lengths in the file's units, angles in degrees. xyz: a row for each
    vertex, the two ends among them (x, y, z, and the bend's radius if it has one of its own), in the file's units.
    file: a CSV file beside this one that holds the rows, with a head, which is `straight,rotation,angle` or `x,y,z`,
    either with `,radius` behind. bend_radius: centreline radius of every bend that has none of its own [mm].
    bend_radii: a radius for each bend, in place of the others [mm]. rotation_sign: which way positive rotations of lra
    turn, looking from end A to end B; with xyz only "right-handed".
    """

    lra: Rows | None = None
    xyz: Rows | None = None
    file: Text | None = None
    bend_radius: Length | None = None
    bend_radii: tuple[Length, ...] | None = None
    rotation_sign: RotationSign = "right-handed"


class EndsTable(ProfileTable):
    """The most extra stock that each end may carry; it is sawn off after the last bend.

    trim_a: at end A [mm]; 0 forbids it; left out: what the machine's rules can need there, and only where no plan goes
    without. trim_b: the same at end B [mm].
    """

    trim_a: LengthOrZero | None = None
    trim_b: LengthOrZero | None = None


class PartFile(ProfileTable):
    """A part: a tube, how it is bent, and what its ends may carry.

    name: of the part, as plans print it. units: of all lengths in the file. machine: name of the profile that counts
    where the command line names none. tube: its size and metal. shape: where it is bent, and how. ends: extra stock.
    """

    name: Text
    units: Literal["mm"]
    machine: Text | None = None
    tube: TubeTable
    shape: ShapeTable
    ends: EndsTable = EndsTable()
