"""The clearance envelope: the solids of a machine's own that the tube must keep clear of [mm].

They stand in the machine frame with the arm at home: origin at the tangent point on the centreline, +x along the feed,
+z up, +y to the left; a carriage's x counts from the collet's face.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import Field, field_validator, model_validator

from planner.facts import fact, size
from planner.inputs.quantities import Coordinate, Length, refused
from planner.inputs.tooling import ProfileTable

BUILT_NAMES: Final = (
    "floor",
    "bend die",
    "die hub",
    "clamp die",
    "pressure die",
    "wiper die",
    "grip section",
    "mandrel",
    "mandrel rod",
    "its own tail",
    "its own tail's end",
)
"""Names of the solids that the program builds itself; a profile's own solids may not be called so."""

Name = Annotated[str, Field(min_length=1, max_length=200)]
Point = tuple[Coordinate, Coordinate, Coordinate]


class Box(ProfileTable):
    """A box along the axes.

    from: its smallest corner x, y, z [mm]. to: its largest corner x, y, z [mm].
    """

    from_: Point = Field(alias="from")
    to: Point

    @model_validator(mode="after")
    def _has_volume(self) -> Self:
        """Refuse corners out of order."""
        for axis, low, high in zip("xyz", self.from_, self.to, strict=True):
            if low >= high:
                found = fact("box-without-volume", low=size(low), high=size(high), axis=axis)
                raise refused(found, "from less than to in x, y and z")
        return self


class Cylinder(ProfileTable):
    """An upright cylinder.

    centre: its axis x, y [mm]. radius: of the cylinder [mm]. z: its lower and its upper end [mm].
    """

    centre: tuple[Coordinate, Coordinate]
    radius: Length
    z: tuple[Coordinate, Coordinate]

    @field_validator("z")
    @classmethod
    def _has_height(cls, value: tuple[float, float]) -> tuple[float, float]:
        """Refuse ends out of order."""
        if value[0] >= value[1]:
            found = fact("cylinder-without-height", low=size(value[0]), high=size(value[1]))
            raise refused(found, "the lower end, then the upper")
        return value


class Solid(ProfileTable):
    """One solid of the clearance envelope: a box or an upright cylinder, and what it moves with.

    One that moves with the pressure die goes forward with it while it follows the tube, and outward as it opens.

    name: its own, as plans print it. moves_with: what carries it; one of the carriage counts x from the collet's face.
    box: its shape, if it is a box. cylinder: its shape, if it is an upright cylinder; not for what moves with the
    pressure die.
    """

    name: Name
    moves_with: Literal["frame", "arm", "carriage", "pressure die"]
    box: Box | None = None
    cylinder: Cylinder | None = None

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        """Refuse both shapes, none, and a name that the program uses itself."""
        if (self.box is None) == (self.cylinder is None):
            found = "neither box nor cylinder" if self.box is None else "both box and cylinder"
            raise refused(f"{found} is given", "one box or one cylinder a solid")
        if self.moves_with == "pressure die" and self.box is None:
            raise refused("a cylinder", "a box: what moves with the pressure die is swept as one", "cylinder")
        if self.name in BUILT_NAMES:
            raise refused(f'"{self.name}" is built by the program itself', "any other name", "name")
        return self


def mirrored_solid(solid: Solid) -> Solid:
    """Return the solid as seen in a mirror along the feed: with y turned round."""
    if solid.box is not None:
        (x0, y0, z0), (x1, y1, z1) = solid.box.from_, solid.box.to
        box = solid.box.model_copy(update={"from_": (x0, -y1, z0), "to": (x1, -y0, z1)})
        return solid.model_copy(update={"box": box})
    assert solid.cylinder is not None  # the model allows exactly one of the two
    x, y = solid.cylinder.centre
    cylinder = solid.cylinder.model_copy(update={"centre": (x, -y)})
    return solid.model_copy(update={"cylinder": cylinder})
