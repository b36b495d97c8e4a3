"""The tooling of one tube diameter on one bend radius, as a machine profile lists it [mm]."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Final, Literal, NamedTuple, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from planner.facts import Fact, fact, size
from planner.inputs.quantities import AngleOrZero, Flag, Length, LengthOrZero, described, refused

SECTION_DIAMETERS: Final = 1.5
"""Depth of a grip section that the profile gives no depth for, in tube diameters (common practice, no source)."""


class ProfileTable(BaseModel):
    """A frozen table of a profile; unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class DieHub(ProfileTable):
    """Nut or tie bar over the bend die: a cylinder about the die axis, centred on the centreline's height.

    radius: of the hub [mm]. height: of the hub [mm].
    """

    radius: Length
    height: Length


class Block(ProfileTable):
    """Clamp or pressure block.

    width: across the feed, from the parting line outward [mm]. height: centred on the centreline [mm]. opens: how far
    it goes outward to open [mm].
    """

    width: Length
    height: Length
    opens: Length


class WiperBlock(ProfileTable):
    """Wiper die.

    length: along the feed, behind the tangent point [mm]. width: across the feed [mm]. height: centred on the
    centreline [mm].
    """

    length: Length
    width: Length
    height: Length


class MandrelTip(ProfileTable):
    """The mandrel of one tooling.

    nose: how far its solid part stands past the tangent point [mm]. balls: how many hang before the nose; shown.
    ball_reach: how far the last ball stands past the tangent point [mm]; needed with balls, and only with them.
    draws_back_before_end: how long before the bend's end it is drawn back [rad]; shown.
    """

    nose: LengthOrZero
    balls: Annotated[int, Field(strict=True, ge=0, le=20)] = 0
    ball_reach: LengthOrZero | None = None
    draws_back_before_end: AngleOrZero = 0.0

    @model_validator(mode="after")
    def _balls_hang_before_the_nose(self) -> Self:
        """Refuse balls without a reach, a reach without balls, and balls behind the nose."""
        if (self.balls > 0) != (self.ball_reach is not None):
            found = f"{self.balls} balls, {'no reach' if self.ball_reach is None else 'a reach'}"
            raise refused(found, "ball_reach with one ball or more, and with none of them without", "balls")
        if self.ball_reach is not None and self.ball_reach < self.nose:
            raise refused(_size(self.ball_reach), fact("at-least-the-nose", limit=size(self.nose)), "ball_reach")
        return self

    @property
    def reach(self) -> float:
        """How far nose and balls stand past the tangent point at most [mm]."""
        return self.nose if self.ball_reach is None else self.ball_reach


class GripSection(ProfileTable):
    """The die's straight groove under the clamp; it turns with the arm.

    depth: behind the parting line [mm]; left out: the lesser of 1.5 tube diameters and the bend radius. height: centred
    on the centreline [mm]; left out: the die's. length: along the feed [mm]; left out: that of the clamp in use.
    """

    depth: Length | None = None
    height: Length | None = None
    length: Length | None = None


def _section_or_none(value: object) -> object:
    """Say at once what may stand for a grip section."""
    if value is False or value is None or isinstance(value, dict | GripSection):
        return value
    raise refused(f"{described(value)} is no grip section", "a table of depth, height and length, or false")


class Section(NamedTuple):
    """A grip section as it is built [mm]: length along the feed, depth behind the parting line, height."""

    length: float
    depth: float
    height: float


class Tooling(ProfileTable):
    """Dies and clamps for one tube diameter on one centreline radius.

    tube_diameter: outside diameter of the tube that they are for [mm]. bend_radius: of the centreline [mm].
    clamp_lengths: the clamps there are, longest first [mm]. shortest_grip: the least tube that a clamp must hold at a
    leading end [mm]. pressure_die_length: behind the tangent point [mm]. pressure_die_follows: it travels with the tube
    while bending. pressure_rest: the least of a pressure die that follows the tube which must be left behind the
    tangent point when a bend ends [mm]; left out: one tube diameter. shortest_tail: straight left behind the tangent
    point when a bend ends [mm]. die_height: height of the bend die, centred on the centreline [mm]. grip_section: false
    where the die has none; left out: one of the usual size. mandrel: its tip, where the machine has a mandrel. die_hub:
    what stands up over the die, if anything does. clamp_block: the clamp die with what carries it, as long as the
    clamp. pressure_block: the pressure die with what carries it. wiper_block: the wiper die, if there is one.
    """

    tube_diameter: Length
    bend_radius: Length
    clamp_lengths: tuple[Length, ...]
    shortest_grip: Length
    pressure_die_length: Length
    pressure_die_follows: Flag
    pressure_rest: LengthOrZero | None = None
    shortest_tail: LengthOrZero
    die_height: Length
    grip_section: Annotated[GripSection | Literal[False] | None, BeforeValidator(_section_or_none)] = None
    mandrel: MandrelTip | None = None
    die_hub: DieHub | None = None
    clamp_block: Block
    pressure_block: Block
    wiper_block: WiperBlock | None = None

    @model_validator(mode="after")
    def _possible(self) -> Self:
        """Refuse tooling that cannot be built."""
        radius = self.tube_diameter / 2.0
        if self.bend_radius <= radius:
            allowed = fact("more-than-the-tubes-radius", limit=size(radius))
            raise refused(_size(self.bend_radius), allowed, "bend_radius")
        self._check_clamps()
        self._check_section()
        over_the_tube = fact("more-than-the-tubes-diameter", limit=size(self.tube_diameter))
        if self.die_height <= self.tube_diameter:
            raise refused(fact("cannot-hold-the-groove", size=size(self.die_height)), over_the_tube, "die_height")
        if self.die_hub is not None and self.die_hub.radius >= self.bend_radius - radius:
            allowed = fact("less-than-the-grooves-radius", limit=size(self.bend_radius - radius))
            raise refused(fact("hub-in-the-groove", radius=size(self.die_hub.radius)), allowed, "die_hub")
        blocks = {"clamp_block": self.clamp_block, "pressure_block": self.pressure_block}
        for key, block in {**blocks, "wiper_block": self.wiper_block}.items():
            if block is not None and (block.width <= radius or block.height <= self.tube_diameter):
                found = fact("block-without-groove", width=size(block.width), height=size(block.height))
                raise refused(found, fact("wide-and-high", width=size(radius), height=size(self.tube_diameter)), key)
        return self

    def section(self, clamp: float) -> Section | None:
        """Return the grip section with a clamp of a length [mm] in the machine; None where the die has none."""
        if self.grip_section is False:
            return None
        given = GripSection() if self.grip_section is None else self.grip_section
        depth = min(SECTION_DIAMETERS * self.tube_diameter, self.bend_radius) if given.depth is None else given.depth
        return Section(
            clamp if given.length is None else given.length, depth,
            self.die_height if given.height is None else given.height,
        )  # fmt: skip

    def straight_for(self, clamp: float) -> float:
        """Return how long a straight between bends must be for a clamp [mm]: no shorter than clamp and section."""
        section = self.section(clamp)
        return clamp if section is None else max(clamp, section.length)

    @property
    def shortest_straight(self) -> float:
        """The shortest straight between bends that any of the clamps can hold [mm]."""
        return min(self.straight_for(clamp) for clamp in self.clamp_lengths)

    @property
    def rest(self) -> float:
        """How much of a following pressure die must be left behind the tangent point when a bend ends [mm]."""
        return self.tube_diameter if self.pressure_rest is None else self.pressure_rest

    def _check_section(self) -> None:
        """Refuse a grip section that cannot hold the groove, or that reaches past the die's axis."""
        given = self.grip_section
        if given is False or given is None:
            return
        bore = self.tube_diameter / 2.0
        if given.depth is not None and not bore < given.depth <= self.bend_radius:
            allowed = fact("section-depths", radius=size(bore), bend_radius=size(self.bend_radius))
            raise refused(fact("section-depth", depth=size(given.depth)), allowed, "grip_section", "depth")
        if given.height is not None and given.height <= self.tube_diameter:
            allowed = fact("more-than-the-tubes-diameter", limit=size(self.tube_diameter))
            found = fact("too-low-for-the-groove", height=size(given.height))
            raise refused(found, allowed, "grip_section", "height")

    def _check_clamps(self) -> None:
        """Refuse clamps out of order and a shortest grip that no clamp has."""
        if not self.clamp_lengths:
            raise refused("no clamp", "one length or more, longest first", "clamp_lengths")
        pairs = pairwise(self.clamp_lengths)
        if any(longer <= shorter for longer, shorter in pairs):
            found = fact("clamps-out-of-order", lengths=tuple(map(size, self.clamp_lengths)))
            raise refused(found, "different lengths, longest first", "clamp_lengths")
        if self.shortest_grip > self.clamp_lengths[0]:
            allowed = fact("at-most-the-longest-clamp", limit=size(self.clamp_lengths[0]))
            raise refused(_size(self.shortest_grip), allowed, "shortest_grip")


def _size(mm: float) -> Fact:
    return fact("a-size", size=size(mm))
