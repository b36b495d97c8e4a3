"""The tables of a part file, lengths in mm and angles in radians once validated; rows are taken apart in
`shape`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planner.inputs.part import RotationSign
from planner.inputs.quantities import Amount, Cell, Length, LengthOrZero
from planner.inputs.tooling import Record

Text = Annotated[str, Field(min_length=1, max_length=200)]
Rows = tuple[tuple[Cell, ...], ...]


class TubeTable(Record):
    """The tube: outside_diameter, wall [mm] (or a gauge), material, yield_strength [MPa]."""

    outside_diameter: Length
    wall: Length | None = None
    gauge: Text | None = None
    material: Text
    yield_strength: Amount | None = None


class ShapeTable(Record):
    """The shape: one of lra, xyz (rows in the file's own units) and file, and the radii [mm]."""

    lra: Rows | None = None
    xyz: Rows | None = None
    file: Text | None = None
    bend_radius: Length | None = None
    bend_radii: tuple[Length, ...] | None = None
    rotation_sign: RotationSign = "right-handed"


class EndsTable(Record):
    """The most extra stock that each end may carry [mm]; left out: what the machine's rules can need there."""

    trim_a: LengthOrZero | None = None
    trim_b: LengthOrZero | None = None


class PartFile(Record):
    """A part file."""

    name: Text
    units: Literal["mm"]
    machine: Text | None = None
    tube: TubeTable
    shape: ShapeTable
    ends: EndsTable = EndsTable()
