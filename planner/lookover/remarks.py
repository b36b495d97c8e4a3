"""What there is to remark on a profile, as data, and each remark in a sentence."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

from planner.words import number, rounded_down, size

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
    return {**data, "names": list(remark.names), "sentence": worded(remark)}


def worded(remark: Remark) -> str:
    """Return a remark as a sentence: what, how much, and where."""
    return {
        "solids overlap": _overlap,
        "carriage before its face": _before_its_face,
        "missing": _missing,
        "centreline height": _height,
        "post on the wrong side": _wrong_side,
        "pressure die too short": _too_short,
        "clamp opens too little": _opens_too_little,
    }[remark.kind](remark)


def _overlap(remark: Remark) -> str:
    one, other = remark.names
    begins = "" if remark.angle is None else f", from {number(_degrees(remark.angle))}° of the arm on"
    if remark.angle == 0.0:
        begins = ", even with the arm at home"
    place = "" if remark.place is None else f", near ({', '.join(number(x, 0) for x in remark.place)}) mm"
    return f"In the profile the {one} runs into the {other}, {_mm(remark.depth)} deep{begins}{place}{_with(remark)}."


def _before_its_face(remark: Remark) -> str:
    return (
        f"The {remark.names[0]} is drawn {_mm(remark.depth)} before the collet's face that it moves with; no x of it"
        " may be more than 0."
    )


def _missing(remark: Remark) -> str:
    name = remark.names[0]
    if name == "rod anchor":
        where = "" if remark.found is None else f", {size(remark.found)} mm behind the tangent point"
        return f"No solid holds the mandrel's rod where it ends{where}: the proof knows nothing of its anchor."
    what = {
        "bed": "no bed (a solid of the frame under the tube behind the dies)",
        "arm": "no bend arm (a solid that moves with the arm)",
        "post": "no post (a solid of the frame under the bend die)",
        "carriage": "no carriage (a solid that moves with it)",
    }[name]
    return f"The profile has {what}: the proof knows nothing of it."


def _height(remark: Remark) -> str:
    found, needed = remark.found or 0.0, remark.needed or 0.0
    if found < needed:
        return f"The centreline is {size(found)} mm over the floor, under {size(needed)} mm: metres typed for mm?"
    return f"The centreline is {size(found)} mm over the floor, over {size(needed)} mm: is that so?"


def _wrong_side(remark: Remark) -> str:
    name, stands, bends = remark.names
    return (
        f"The {name} stands to the {stands} of the feed, the head bends toward the {bends}: no post is under the die."
    )


def _too_short(remark: Remark) -> str:
    reached = rounded_down(_degrees(remark.angle))
    wanted = number(_degrees(remark.setting))
    return (
        f"The pressure die of {size(remark.found or 0.0)} mm travels with the tube and lasts to {number(reached)}°, the"
        f" largest setting is {wanted}°: it needs {_mm_up(remark.needed)}{_with(remark)}."
    )


def _opens_too_little(remark: Remark) -> str:
    way = {
        "past the standing tube": "the arm goes home past the standing tube",
        "tube and arm together": "tube and arm go home together",
        "eased off": "the tube is eased off in two steps",
    }[remark.way or "eased off"]
    clamp, opens = size(remark.length or 0.0), size(remark.found or 0.0)
    needed = _mm_up(remark.needed)
    return (
        f"The clamp of {clamp} mm opens {opens} mm; after a bend of 90° it needs {needed} where {way}{_with(remark)}."
    )


def _with(remark: Remark) -> str:
    """Return the tooling that a remark was found with."""
    if remark.tooling is None:
        return ""
    return f" (tube {size(remark.tooling[0])} mm on radius {size(remark.tooling[1])} mm)"


def _degrees(angle: float | None) -> float:
    return math.degrees(angle or 0.0)


def _mm(length: float | None) -> str:
    return f"{number(length or 0.0)} mm"


def _mm_up(length: float | None) -> str:
    """Return a length that is needed [mm], rounded up to a tenth."""
    return f"{number(-rounded_down(-(length or 0.0)))} mm"
