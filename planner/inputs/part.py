"""The part: a bent tube as the drawing gives it, in mm and radians, its rotations right-handed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final, Literal

import numpy as np

from planner.errors import InputError
from planner.facts import Fact, fact, size
from planner.inputs.centreline import SMALLEST_ANGLE, Array, vertices_from_lra
from planner.tolerances import KEPT_DECIMALS, RELATIVE_SLACK

RotationSign = Literal["right-handed", "left-handed"]

RADIUS: Final = "radius"
"""The column of a shape's table that a bend's own radius stands in."""

MOST_BENDS: Final = 60
"""More bends than this are refused: no stock length carries them, and it bounds the search."""


@dataclass(frozen=True, eq=False)
class Part:
    """A bent tube with n bends, counted from end A; frozen, arrays read-only.

    name; machine: profile to use when none is named; outside_diameter, wall [mm]; gauge as the file said;
    material; yield_strength [MPa], the file's own or the materials table's, None if neither knows it.

    straights (n+1,) [mm]: between tangent points, straight 0 at end A; rotations (n,) [rad]: [i] is the angle
    from the plane of bend i to that of bend i+1 about the straight between them, right-handed about the
    direction A→B, in (−π, π], [0] is 0; angles (n,) [rad]; radii (n,) [mm] of the centreline.

    trim_a, trim_b [mm]: the most extra stock each end may carry, None where nothing is stated: then it may carry what
    the machine's rules can need there, and is used only where nothing goes without; rotation_sign: how the file counted
    rotations, for echoing only; source: the file. The last two say how the part was written down and are no
    part of equality.

    Angles may be 0.01° to 360°: a bend of 180° and more is a coil's, and one that would run through the tube
    is refused by the check of self-crossing. Raises InputError, with the file's keys, for anything that is no
    tube.
    """

    name: str
    machine: str | None
    outside_diameter: float
    wall: float
    gauge: str | None
    material: str
    yield_strength: float | None
    straights: Array
    rotations: Array
    angles: Array
    radii: Array
    trim_a: float | None = None
    trim_b: float | None = None
    rotation_sign: RotationSign = "right-handed"
    source: str | None = None

    def __post_init__(self) -> None:
        lengths = {"straights": self.straights, "radii": self.radii}
        for name, values in lengths.items():
            _hold(self, name, [round(float(value), KEPT_DECIMALS) + 0.0 for value in values])
        for name, values in {"rotations": self.rotations, "angles": self.angles}.items():
            degrees = [round(math.degrees(float(value)), KEPT_DECIMALS) for value in values]
            _hold(self, name, [math.radians(_folded(d) if name == "rotations" else d) for d in degrees])
        for name in ("outside_diameter", "wall", "trim_a", "trim_b"):
            value = getattr(self, name)
            object.__setattr__(self, name, None if value is None else round(float(value), KEPT_DECIMALS))
        _check_tube(self)
        _check_shape(self)

    @property
    def n_bends(self) -> int:
        """Number of bends n."""
        return len(self.angles)

    @property
    def radius(self) -> float:
        """Outer radius r of the tube, half its outside diameter [mm]."""
        return self.outside_diameter / 2.0

    @cached_property
    def arc_lengths(self) -> Array:
        """Developed lengths of the bends, CLR·A (n,) [mm]."""
        return _read_only(self.radii * self.angles)

    @cached_property
    def bend_starts(self) -> Array:
        """Stock coordinates a of the bends' tangent points nearer end A (n,) [mm]."""
        before = np.concatenate(([0.0], np.cumsum(self.arc_lengths)[:-1]))
        return _read_only(np.cumsum(self.straights[:-1]) + before)

    @cached_property
    def bend_ends(self) -> Array:
        """Stock coordinates b = a + CLR·A of the bends' tangent points nearer end B (n,) [mm]."""
        return _read_only(self.bend_starts + self.arc_lengths)

    @cached_property
    def developed_length(self) -> float:
        """Length of the tube before bending, without trim: straights and CLR·A added up (Pappus) [mm]."""
        return float(self.straights.sum() + self.arc_lengths.sum())

    def reversed(self) -> Part:
        """Return the part counted from the other end: rotations keep their signs, trims change places."""
        rotations = np.concatenate(([0.0], self.rotations[:0:-1]))
        return replace(
            self,
            straights=self.straights[::-1],
            rotations=rotations,
            angles=self.angles[::-1],
            radii=self.radii[::-1],
            trim_a=self.trim_b,
            trim_b=self.trim_a,
        )

    def mirrored(self) -> Part:
        """Return the part's mirror image: every rotation changes its sign."""
        return replace(self, rotations=-self.rotations)

    def vertices(self) -> Array:
        """Return the vertices (n+2, 3) [mm], starting at the origin along +x with bend 1 toward +y.

        Raises InputError if a bend is 175° or more, which vertices cannot describe.
        """
        return vertices_from_lra(self.straights, self.rotations, self.angles, self.radii)

    def normalised(self) -> dict[str, Any]:
        """Return the part as a document with the file's keys [mm, degrees]: LRA, right-handed, a radius in
        every row.

        Loading the document gives an equal part.
        """
        columns = (self.straights, np.rad2deg(self.rotations), np.rad2deg(self.angles), self.radii)
        rows = [[_rounded(value) for value in row] for row in zip(*columns, strict=False)]
        document: dict[str, Any] = {"name": self.name, "units": "mm"}
        if self.machine is not None:
            document["machine"] = self.machine
        tube = {
            "outside_diameter": _rounded(self.outside_diameter),
            "wall": _rounded(self.wall),
            "gauge": self.gauge,
            "material": self.material,
            "yield_strength": self.yield_strength,
        }
        document["tube"] = {key: value for key, value in tube.items() if value is not None}
        document["shape"] = {"rotation_sign": "right-handed", "lra": [*rows, [_rounded(self.straights[-1])]]}
        stated = {"trim_a": self.trim_a, "trim_b": self.trim_b}
        document["ends"] = {key: _rounded(trim) for key, trim in stated.items() if trim is not None}
        return document

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Part) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)

    @cached_property
    def _key(self) -> tuple[object, ...]:
        """What makes two parts the same, exactly."""
        arrays = (self.straights, self.rotations, self.angles, self.radii)
        tube = (self.outside_diameter, self.wall, self.gauge, self.material, self.yield_strength)
        return (self.name, self.machine, *tube, self.trim_a, self.trim_b, *(a.tobytes() for a in arrays))


def _hold(part: Part, name: str, values: list[float]) -> None:
    """Put a read-only array in a field of a frozen part."""
    object.__setattr__(part, name, _read_only(np.array(values, dtype=np.float64)))


def _read_only(array: Array) -> Array:
    """Return the array, locked."""
    array.flags.writeable = False
    return array


def _folded(degrees: float) -> float:
    """Return the angle within (−180, 180] [deg]; NaN and infinity as they are, for the check to refuse."""
    if not math.isfinite(degrees):
        return degrees
    folded = math.remainder(degrees, 360.0)
    return 180.0 if folded == -180.0 else round(folded, KEPT_DECIMALS) + 0.0


def _rounded(value: float) -> float:
    """Return a number as it is written out, never −0."""
    return round(float(value), KEPT_DECIMALS) + 0.0


ABOVE_NOTHING = fact("more-than", limit=size(0.0))
NOTHING_OR_MORE = fact("or-more", limit=size(0.0))


def _check_tube(part: Part) -> None:
    """Refuse a tube that cannot be: sizes, wall, trims, strength."""
    for key, value in (("tube.outside_diameter", part.outside_diameter), ("tube.wall", part.wall)):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(fact("no-size", size=size(value)), key=key, found=value, allowed=ABOVE_NOTHING)
    if part.wall >= part.radius:
        raise InputError(
            fact("no-bore", wall=size(part.wall), diameter=size(part.outside_diameter)),
            key="tube.wall",
            found=part.wall,
            allowed=fact("less-than-the-tubes-radius", limit=size(part.radius)),
        )
    for key, trim in (("ends.trim_a", part.trim_a), ("ends.trim_b", part.trim_b)):
        if trim is not None and not (math.isfinite(trim) and trim >= 0.0):
            raise InputError(fact("no-trim", trim=size(trim)), key=key, found=trim, allowed=NOTHING_OR_MORE)
    strength = part.yield_strength
    if strength is not None and not (math.isfinite(strength) and strength > 0.0):
        raise InputError(
            f"{strength:.10g} MPa is no strength",
            key="tube.yield_strength",
            found=strength,
            allowed="more than 0 MPa",
        )


def _check_shape(part: Part) -> None:
    """Refuse a shape that cannot be: number of bends, and each row."""
    n = part.n_bends
    if not 1 <= n <= MOST_BENDS:
        problem = "the part has no bends" if n == 0 else f"the part has {n} bends"
        raise InputError(problem, key="shape", found=n, allowed=f"1 to {MOST_BENDS} bends")
    if len(part.straights) != n + 1 or len(part.rotations) != n or len(part.radii) != n:
        raise InputError(
            f"{len(part.straights)} straights, {len(part.rotations)} rotations, {n} angles, {len(part.radii)} radii",
            key="shape",
            allowed="n + 1 straights and n rotations, angles and radii for n bends",
        )
    for i, straight in enumerate(part.straights):
        if not (math.isfinite(straight) and straight >= 0.0):
            below = fact("straight-below-nothing", straight=size(float(straight)))
            raise _row_error(i, "straight", below, float(straight), NOTHING_OR_MORE)
    if part.rotations[0] != 0.0:
        found = _rounded(math.degrees(part.rotations[0]))
        turned = f"a rotation of {found:.10g}° before the first bend"
        raise _row_error(0, "rotation", turned, found, "0 in the first row")
    for i in range(n):
        _check_bend(part, i)


def _check_bend(part: Part, i: int) -> None:
    """Refuse a bend that cannot be."""
    rotation, angle, radius = math.degrees(part.rotations[i]), float(part.angles[i]), float(part.radii[i])
    if not math.isfinite(rotation):
        raise _row_error(i, "rotation", f"a rotation of {rotation}", rotation, "a number of degrees")
    if not SMALLEST_ANGLE * (1.0 - RELATIVE_SLACK) <= angle <= 2.0 * math.pi * (1.0 + RELATIVE_SLACK):
        found = _rounded(math.degrees(angle)) if math.isfinite(angle) else angle
        raise _row_error(i, "angle", f"a bend of {found:.10g}°", found, "0.01° to 360°")
    if not (math.isfinite(radius) and radius > part.radius):
        raise InputError(
            fact("small-radius", bend=i + 1, radius=size(radius)),
            key=f"shape.radii[{i + 1}]",
            row=i + 1,
            cell=RADIUS,
            found=radius,
            allowed=fact("radius-of-the-centreline", limit=size(part.radius)),
        )


def _row_error(index: int, cell: str, problem: str | Fact, found: float, allowed: str | Fact) -> InputError:
    """Return the error for a cell of the LRA table (index of the row from 0, shown from 1)."""
    row = index + 1
    return InputError(problem, key=f"shape.lra[{row}]", row=row, cell=cell, found=found, allowed=allowed)
