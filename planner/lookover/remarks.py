"""What there is to remark on a profile, as data, and each remark as a fact."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any, Final, Literal

from planner.facts import Fact, Quantity, angle, degrees, fact, length, needed, size
from planner.wording.say import say
from planner.words import rounded_down

Kind = Literal[
    "solids overlap",
    "carriage before its face",
    "missing",
    "centreline height",
    "post on the wrong side",
    "pressure die too short",
    "clamp opens too little",
]

Way = Literal["past the standing tube", "tube and arm together", "eased off"]
"""How the arm goes home past the bent tube."""


@dataclass(frozen=True)
class Remark:
    """One thing about a profile that is not as it should be.

    names: the solids that it speaks of, or what is missing; tooling: tube diameter and bend radius [mm] of the tooling
    that it was found with, None if it is the same with all; depth: how deep solids stand in each other at the most, or
    one before its face [mm]; angle: of the arm from which on they do, or the largest setting that a pressure die lasts
    [rad]; place: where in the machine, x, y, z [mm]; found, needed: a length and what it should be [mm], a height and
    what it may be; setting: the largest setting of the machine [rad]; length: of the clamp [mm]; way: home of the arm.
    """

    kind: Kind
    names: tuple[str, ...]
    tooling: tuple[float, float] | None = None
    depth: float | None = None
    angle: float | None = None
    place: tuple[float, float, float] | None = None
    found: float | None = None
    needed: float | None = None
    setting: float | None = None
    length: float | None = None
    way: Way | None = None

    @property
    def fact(self) -> Fact:
        """The remark as a fact: what, how much, and where."""
        return FACTS[self.kind](self)


def as_data(remark: Remark) -> dict[str, Any]:
    """Return a remark for a document: what it knows [mm, degrees], and its sentence."""
    data = {key: value for key, value in asdict(remark).items() if value is not None}
    for key in ("depth", "found", "needed", "length"):
        if key in data:
            data[key] = round(data[key], 3)
    for key in ("angle", "setting"):
        if key in data:
            data[key] = round(math.degrees(data[key]), 3)
    if remark.tooling is not None:
        data["tooling"] = {"tube_diameter": remark.tooling[0], "bend_radius": remark.tooling[1]}
    if remark.place is not None:
        data["place"] = [round(x, 1) for x in remark.place]
    return {**data, "names": list(remark.names), "sentence": worded(remark), "fact": remark.fact.as_dict()}


def worded(remark: Remark) -> str:
    """Return a remark as a sentence [mm]."""
    return say(remark.fact)


def _overlap(remark: Remark) -> Fact:
    one, another = remark.names
    begins = None if remark.angle is None else fact("from-arm-at", angle=angle(remark.angle))
    if remark.angle == 0.0:
        begins = fact("even-at-home")
    near = None
    if remark.place is not None:
        near = fact("near", **dict(zip("xyz", (length(x, 0) for x in remark.place), strict=True)))
    deep, tooling = length(remark.depth or 0.0), _with(remark)
    return fact("solids-overlap", one=one, another=another, deep=deep, begins=begins, near=near, tooling=tooling)


def _before_its_face(remark: Remark) -> Fact:
    return fact("before-its-face", solid=remark.names[0], deep=length(remark.depth or 0.0))


def _missing(remark: Remark) -> Fact:
    name = remark.names[0]
    if name == "rod anchor":
        where = None if remark.found is None else fact("behind-the-tangent-point", way=size(remark.found))
        return fact("no-rod-anchor", where=where)
    return fact(f"no-{name}")


def _height(remark: Remark) -> Fact:
    found, usual = remark.found or 0.0, remark.needed or 0.0
    return fact("centreline-low" if found < usual else "centreline-high", height=size(found), usual=size(usual))


def _wrong_side(remark: Remark) -> Fact:
    solid, stands, bends = remark.names
    return fact("post-on-the-wrong-side", solid=solid, stands=stands, bends=bends)


def _too_short(remark: Remark) -> Fact:
    return fact(
        "pressure-die-wears-out",
        length=size(remark.found or 0.0),
        reached=degrees(rounded_down(math.degrees(remark.angle or 0.0))),
        largest=angle(remark.setting or 0.0),
        needed=_up(remark.needed),
        tooling=_with(remark),
    )


def _opens_too_little(remark: Remark) -> Fact:
    return fact(
        "clamp-opens-too-little",
        clamp=size(remark.length or 0.0),
        opens=size(remark.found or 0.0),
        needed=_up(remark.needed),
        way=fact((remark.way or "eased off").replace(" ", "-")),
        tooling=_with(remark),
    )


FACTS: Final[dict[Kind, Callable[[Remark], Fact]]] = {
    "solids overlap": _overlap,
    "carriage before its face": _before_its_face,
    "missing": _missing,
    "centreline height": _height,
    "post on the wrong side": _wrong_side,
    "pressure die too short": _too_short,
    "clamp opens too little": _opens_too_little,
}


def _with(remark: Remark) -> Fact | None:
    """Return the tooling that a remark was found with."""
    if remark.tooling is None:
        return None
    return fact("with-tooling", diameter=size(remark.tooling[0]), radius=size(remark.tooling[1]))


def _up(mm: float | None) -> Quantity:
    """Return a length that is needed [mm], rounded up to a tenth."""
    return needed(-rounded_down(-(mm or 0.0)))
