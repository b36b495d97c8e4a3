"""The tooling of one tube diameter on one bend radius, as a machine profile lists it [mm]."""

from __future__ import annotations

from itertools import pairwise
from typing import Self

from pydantic import BaseModel, ConfigDict, model_validator

from planner.inputs.quantities import Flag, Length, LengthOrZero, refused


class Record(BaseModel):
    """A frozen table of a profile; unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class DieHub(Record):
    """Nut or tie bar over the bend die: a cylinder about the die axis, centred on the centreline's height
    [mm].
    """

    radius: Length
    height: Length


class Block(Record):
    """Clamp or pressure block [mm]: width across the feed, height, and how far it opens."""

    width: Length
    height: Length
    opens: Length


class WiperBlock(Record):
    """Wiper die: length along the feed, width across it, height [mm]."""

    length: Length
    width: Length
    height: Length


class Tooling(Record):
    """Dies and clamps for one tube diameter on one centreline radius, all [mm].

    clamp_lengths: the clamps there are, longest first; shortest_grip: the least tube that a clamp must hold
    at a leading end; shortest_tail: straight left behind the tangent point when a bend ends; die_height:
    height of the bend die, centred on the centreline.
    """

    tube_diameter: Length
    bend_radius: Length
    clamp_lengths: tuple[Length, ...]
    shortest_grip: Length
    pressure_die_length: Length
    pressure_die_follows: Flag
    shortest_tail: LengthOrZero
    die_height: Length
    die_hub: DieHub | None = None
    clamp_block: Block
    pressure_block: Block
    wiper_block: WiperBlock | None = None

    @model_validator(mode="after")
    def _possible(self) -> Self:
        """Refuse tooling that cannot be built."""
        radius = self.tube_diameter / 2.0
        if self.bend_radius <= radius:
            raise refused(
                f"{self.bend_radius:.10g} mm",
                f"more than the tube's radius, {radius:.10g} mm",
                "bend_radius",
            )
        self._check_clamps()
        if self.die_height <= self.tube_diameter:
            raise refused(
                f"{self.die_height:.10g} mm cannot hold the groove",
                f"more than the tube's diameter, {self.tube_diameter:.10g} mm",
                "die_height",
            )
        if self.die_hub is not None and self.die_hub.radius >= self.bend_radius - radius:
            raise refused(
                f"a radius of {self.die_hub.radius:.10g} mm reaches into the groove",
                f"less than {self.bend_radius - radius:.10g} mm, the groove's smallest radius",
                "die_hub",
            )
        blocks = {"clamp_block": self.clamp_block, "pressure_block": self.pressure_block}
        for key, block in {**blocks, "wiper_block": self.wiper_block}.items():
            if block is not None and (block.width <= radius or block.height <= self.tube_diameter):
                raise refused(
                    f"{block.width:.10g} mm wide and {block.height:.10g} mm high cannot hold the groove",
                    f"a width over {radius:.10g} mm and a height over {self.tube_diameter:.10g} mm",
                    key,
                )
        return self

    def _check_clamps(self) -> None:
        """Refuse clamps out of order and a shortest grip that no clamp has."""
        if not self.clamp_lengths:
            raise refused("no clamp", "one length or more, longest first", "clamp_lengths")
        pairs = pairwise(self.clamp_lengths)
        if any(longer <= shorter for longer, shorter in pairs):
            found = ", ".join(f"{length:.10g}" for length in self.clamp_lengths)
            raise refused(f"{found} mm is out of order", "different lengths, longest first", "clamp_lengths")
        if self.shortest_grip > self.clamp_lengths[0]:
            raise refused(
                f"{self.shortest_grip:.10g} mm",
                f"at most the longest clamp, {self.clamp_lengths[0]:.10g} mm",
                "shortest_grip",
            )
