"""The machine profile: a rotary-draw bender as its file describes it, in mm and radians.

Field names are the file's keys. Solids stand in the machine frame with the arm at home: origin at the tangent
point on the centreline, +x along the feed, +z up, +y to the left; a carriage's x counts from the collet's
face.

A default never makes a machine able to do more than its file says: what it may do is false if left out, the die
does not drop, and it has a grip section.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from planner.errors import NoTooling
from planner.facts import Fact, fact, six_digits, size
from planner.inputs.envelope import Box as Box
from planner.inputs.envelope import Cylinder as Cylinder
from planner.inputs.envelope import Name, mirrored_solid
from planner.inputs.envelope import Solid as Solid
from planner.inputs.quantities import (
    Amount,
    Angle,
    AngleOrZero,
    FileUnits,
    Flag,
    Length,
    LengthOrZero,
    SignedAngle,
    refused,
)
from planner.inputs.tooling import Block as Block
from planner.inputs.tooling import DieHub as DieHub
from planner.inputs.tooling import GripSection as GripSection
from planner.inputs.tooling import MandrelTip as MandrelTip
from planner.inputs.tooling import ProfileTable
from planner.inputs.tooling import Tooling as Tooling
from planner.inputs.tooling import WiperBlock as WiperBlock
from planner.tolerances import SAME_SIZE


class Head(ProfileTable):
    """The bend head.

    bends_toward: the side on which the die stands, seen along the feed. centreline_height: over the floor [mm].
    largest_angle: that it can be set to [rad]; less than a full turn. may_ease_off: the tube may be advanced off the
    die before the arm goes home. homes_with_tube: the carriage can run forward while the arm goes home. die_drops: by
    how much the die is lowered before the arm goes home [mm].
    """

    bends_toward: Literal["right", "left"]
    centreline_height: Length
    largest_angle: Angle
    may_ease_off: Flag = False
    homes_with_tube: Flag = False
    die_drops: LengthOrZero = 0.0

    @field_validator("largest_angle")
    @classmethod
    def _under_a_turn(cls, value: float) -> float:
        """Refuse a full turn: the arm would meet its own tail."""
        if value >= 2.0 * math.pi:
            raise refused(f"{math.degrees(value):.10g} is a full turn or more", "more than 0 and less than 360 degrees")
        return value


class Carriage(ProfileTable):
    """What the collet stands on; left out on a hand-fed bender.

    reach: from the collet's face to the tangent point, closest and farthest [mm]. grip_length: tube inside the collet
    behind its face [mm]. passes_through: the tube may stick out behind it, so it can re-grip. finish_released: the
    job's last bend may be made with the collet open. may_go_back: it can draw the tube back. stand_back: where its face
    waits while the collet is open and the tube is put on or taken off, from the tangent point [mm]; left out: the
    farthest.
    """

    reach: tuple[Length, Length]
    grip_length: Length
    passes_through: Flag = False
    finish_released: Flag = False
    may_go_back: Flag = False
    stand_back: Length | None = None

    @field_validator("reach")
    @classmethod
    def _has_travel(cls, value: tuple[float, float]) -> tuple[float, float]:
        """Refuse a reach without travel."""
        if value[0] >= value[1]:
            found = fact("reach-out-of-order", closest=size(value[0]), farthest=size(value[1]))
            raise refused(found, "closest less than farthest")
        return value

    @model_validator(mode="after")
    def _stands_within_reach(self) -> Self:
        """Refuse a place to wait that the carriage does not reach."""
        closest, farthest = self.reach
        if self.stand_back is not None and not closest <= self.stand_back <= farthest:
            allowed = fact("within-reach", closest=size(closest), farthest=size(farthest))
            raise refused(fact("a-size", size=size(self.stand_back)), allowed, "stand_back")
        return self

    @property
    def waits_at(self) -> float:
        """Collet's face to tangent point while the collet is open and the carriage stands back [mm]."""
        return self.reach[1] if self.stand_back is None else self.stand_back


class Rotation(ProfileTable):
    """The chuck and its dial.

    range: "continuous" or the lowest and the highest of the chuck's own angle, which is 0 at a load [rad]. zeroed: the
    dial is set to 0 at the end of every bend. style: of the dial. counts: the way that is positive, seen along the feed
    (clockwise is positive about +x). resolution: of the dial [rad].
    """

    range: Literal["continuous"] | tuple[SignedAngle, SignedAngle] = "continuous"
    zeroed: Flag
    style: Literal["0-360", "signed"] = "0-360"
    counts: Literal["clockwise", "counter-clockwise"] = "clockwise"
    resolution: Angle = math.radians(0.1)

    @field_validator("range", mode="before")
    @classmethod
    def _a_range(cls, value: object) -> object:
        """Say at once what a range may be."""
        if value == "continuous" or (isinstance(value, list | tuple) and len(value) == 2):
            return value
        raise refused("this is no range", '"continuous" or [lowest, highest] in degrees')

    @field_validator("range", mode="after")
    @classmethod
    def _holds_zero(cls, value: tuple[float, float] | str) -> tuple[float, float] | str:
        """Refuse a range that the chuck's angle at a load, 0, lies outside."""
        if isinstance(value, tuple) and not (value[0] <= 0.0 <= value[1] and value[0] < value[1]):
            lowest, highest = math.degrees(value[0]), math.degrees(value[1])
            raise refused(f"{lowest:.10g} to {highest:.10g}", "lowest, then highest, with 0 between them")
        return value


class Advance(ProfileTable):
    """zeroed: the readout is set to 0 at the end of every bend. absolute_zero: where it shows 0; needed where it is not
    zeroed, and only there. resolution: of the readout [mm].
    """

    zeroed: Flag
    absolute_zero: Literal["collet at farthest", "collet at closest", "leading end at tangent"] | None = None
    resolution: Length = 0.1

    @model_validator(mode="after")
    def _one_zero(self) -> Self:
        """Refuse a readout with two zeros, or none."""
        if self.zeroed and self.absolute_zero is not None:
            raise refused("the readout is zeroed as well", "absolute_zero only with zeroed = false", "absolute_zero")
        if not self.zeroed and self.absolute_zero is None:
            raise refused(
                "missing, and the readout is not zeroed",
                '"collet at farthest", "collet at closest" or "leading end at tangent"',
                "absolute_zero",
            )
        return self


class Mandrel(ProfileTable):
    """The rod that carries the mandrel; left out on a machine without one.

    rod_length: from the tangent point back to where the rod is anchored, the longest tube that goes over it [mm].
    rod_diameter: of the rod behind the mandrel [mm]; left out: the mandrel's. draws_back: it is drawn back before the
    tube is rotated. nose: how far the mandrel stands past the tangent point, of all tooling that says nothing of its
    own [mm]; a key of before.
    """

    rod_length: Length
    rod_diameter: Length | None = None
    draws_back: Flag = False
    nose: LengthOrZero | None = None


class Clearance(ProfileTable):
    """What the tube must keep.

    required: to machine and floor [mm]. per_metre: added to that for each metre of leading part beyond the tangent
    point [mm]. to_tooling: of tube that the tooling does not hold [mm]. to_itself: leading part to tail [mm].
    """

    required: LengthOrZero
    per_metre: LengthOrZero = 0.0
    to_tooling: LengthOrZero = 2.0
    to_itself: LengthOrZero = 2.0


class Speeds(ProfileTable):
    """advance: how fast the carriage moves [mm/s]. rotate: of the chuck [rad/s]. bend: of the arm [rad/s]. return: of
    the arm on its way home [rad/s].
    """

    advance: Length
    rotate: Angle
    bend: Angle
    return_: Angle = Field(alias="return")


class Times(ProfileTable):
    """regrip: how long a re-grip takes [s]. turn: taking the tube off and putting it back end for end [s]. load:
    putting a tube on, or taking it off [s]. clamp: opening or closing the dies [s]. tool_change: changing dies or clamp
    [s].
    """

    regrip: Amount
    turn: Amount
    load: Amount
    clamp: Amount
    tool_change: Amount


class Springback(ProfileTable):
    """measured: pairs of the part's angle and the setting that gave it, two or more, rising [rad]."""

    measured: tuple[tuple[Angle, Angle], ...]

    @field_validator("measured")
    @classmethod
    def _rising(cls, value: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        """Refuse too few pairs, pairs that do not rise, and a tube that springs the wrong way."""
        if len(value) < 2:
            raise refused(f"{len(value)} measured pair", "pairs at two or more angles")
        for before, after in pairwise(value):
            if after[0] <= before[0] or after[1] <= before[1]:
                raise refused("the measured pairs do not rise", "both numbers larger in every further pair")
        for angle, setting in value:
            if setting < angle:
                pair = f"[{math.degrees(angle):.10g}, {math.degrees(setting):.10g}]"
                raise refused(f"{pair} sets less than the part's angle", "[part angle, setting], the setting not less")
        return value


class ReclampScatter(ProfileTable):
    """rotation: what a re-clamp adds to it [rad]. advance: what it adds to that [mm]."""

    rotation: AngleOrZero
    advance: LengthOrZero


class Scatter(ProfileTable):
    """How results scatter, one standard deviation each; shown, and nothing is reckoned with it yet.

    angle: of a bend [rad]. rotation: between two bends [rad]. advance: between two bends [mm]. reclamp: what a re-clamp
    adds.
    """

    angle: AngleOrZero = 0.0
    rotation: AngleOrZero = 0.0
    advance: LengthOrZero = 0.0
    reclamp: ReclampScatter | None = None


class Rated(ProfileTable):
    """tube_diameter: of the tube that the machine is rated for [mm]. wall: its thickness [mm]. yield_strength: of its
    metal [MPa].
    """

    tube_diameter: Length
    wall: Length
    yield_strength: Amount

    @model_validator(mode="after")
    def _has_bore(self) -> Self:
        """Refuse a wall that leaves no bore."""
        if self.wall >= self.tube_diameter / 2.0:
            allowed = fact("less-than", limit=size(self.tube_diameter / 2.0))
            raise refused(fact("a-size", size=size(self.wall)), allowed, "wall")
        return self


class Machine(ProfileTable):
    """A machine profile; `source` is the file, and no part of equality.

    name: of the machine, as plans print it. units: of all lengths in the file; "mm" once it is loaded. head: the bend
    head. carriage: what moves the tube along the feed. rotation: what turns it about the feed, and the dial. advance:
    the readout of the advance. mandrel: its rod. clearance: what the tube must keep. tooling: one for each tube
    diameter and bend radius. solid: what the tube must keep clear of besides floor and tooling. speeds: for handling
    times. times: for handling times. springback: measured pairs; left out: it is estimated from the material. scatter:
    how results scatter. rated: what a bend's moment is held against.
    """

    name: Name
    units: Literal["mm"] = "mm"
    head: Head
    carriage: Carriage | None = None
    rotation: Rotation
    advance: Advance
    mandrel: Mandrel | None = None
    clearance: Clearance
    tooling: tuple[Tooling, ...]
    solid: tuple[Solid, ...] = ()
    speeds: Speeds
    times: Times
    springback: Springback | None = None
    scatter: Scatter | None = None
    rated: Rated | None = None
    source: str | None = Field(default=None, exclude=True)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        """Refuse a machine without tooling, tooling listed twice, and solids of one name."""
        if not self.tooling:
            raise refused("none is listed", "one [[tooling]] or more", "tooling")
        for i, one in enumerate(self.tooling):
            for other in self.tooling[:i]:
                if _same(one, other.tube_diameter, other.bend_radius):
                    same = fact("on-radius", diameter=size(one.tube_diameter), radius=size(one.bend_radius))
                    twice = fact("listed-twice", tooling=same)
                    raise refused(twice, "each diameter and radius once", "tooling", i)
        self._check_mandrels()
        names = [solid.name for solid in self.solid]
        for i, name in enumerate(names):
            if name in names[:i]:
                raise refused(f'two are called "{name}"', "a name of its own for each", "solid", i, "name")
        return self

    def _check_mandrels(self) -> None:
        """Refuse a mandrel without a rod, one that no place is known of, and a rod thicker than its mandrel may be."""
        rod = self.mandrel
        for i, tooling in enumerate(self.tooling):
            if rod is None and tooling.mandrel is not None:
                raise refused("the machine has no [mandrel]", "none without one", "tooling", i, "mandrel")
            if rod is not None and rod.nose is None and tooling.mandrel is None:
                raise refused("missing", "mandrel = { nose = … } in every tooling", "tooling", i, "mandrel")
        if rod is not None and rod.rod_diameter is not None:
            smallest = min(tooling.tube_diameter for tooling in self.tooling)
            if rod.rod_diameter >= smallest:
                allowed = fact("less-than-the-smallest-tube", limit=size(smallest))
                raise refused(fact("a-size", size=size(rod.rod_diameter)), allowed, "mandrel", "rod_diameter")

    def mandrel_of(self, tooling: Tooling) -> MandrelTip | None:
        """Return the mandrel's tip with a tooling in the machine, None where there is no mandrel."""
        if self.mandrel is None or tooling.mandrel is not None:
            return tooling.mandrel
        return MandrelTip(nose=self.mandrel.nose or 0.0)

    @property
    def notes(self) -> tuple[Fact, ...]:
        """What was assumed where the profile uses keys of before."""
        if self.mandrel is None or self.mandrel.nose is None:
            return ()
        own = sum(tooling.mandrel is not None for tooling in self.tooling)
        without = fact("tooling-without-a-mandrel", count=len(self.tooling) - own)
        which = without if own else fact("all-tooling")
        return (fact("nose-of-before", nose=six_digits(self.mandrel.nose), which=which),)

    def tooling_for(self, diameter: float, radius: float) -> Tooling:
        """Return the tooling for a tube diameter on a centreline radius [mm], each within 0.05 mm.

        Raises NoTooling, which lists what there is.
        """
        fitting = [tooling for tooling in self.tooling if _same(tooling, diameter, radius)]
        if not fitting:
            sizes = [(tooling.tube_diameter, tooling.bend_radius) for tooling in self.tooling]
            raise NoTooling(self.name, diameter, radius, sizes, file=self.source, key="tooling")
        return fitting[0]

    def mirrored(self) -> Machine:
        """Return the machine as seen in a mirror along the feed: the other head, solids mirrored in y; the
        dial counts as before.
        """
        toward: Literal["right", "left"] = "left" if self.head.bends_toward == "right" else "right"
        head = self.head.model_copy(update={"bends_toward": toward})
        return self.model_copy(update={"head": head, "solid": tuple(mirrored_solid(solid) for solid in self.solid)})

    def normalised(self) -> dict[str, Any]:
        """Return the profile as a document with the file's keys [mm, degrees]; loading it gives an equal
        machine.
        """
        return self.model_dump(mode="json", by_alias=True, exclude_none=True, context=FileUnits())

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Machine):
            return NotImplemented
        fields = [name for name in type(self).model_fields if name != "source"]
        return all(getattr(self, name) == getattr(other, name) for name in fields)

    def __hash__(self) -> int:
        return hash(tuple(getattr(self, name) for name in type(self).model_fields if name != "source"))


def _same(tooling: Tooling, diameter: float, radius: float) -> bool:
    """Return whether the tooling is of this tube diameter and bend radius [mm]."""
    return abs(tooling.tube_diameter - diameter) <= SAME_SIZE and abs(tooling.bend_radius - radius) <= SAME_SIZE
