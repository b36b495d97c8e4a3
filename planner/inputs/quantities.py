"""Numbers with a unit: what stands in a file becomes mm and radians, and goes back the same way.

A model is validated from a file with a `FileUnits` context: then lengths are multiplied by the file's unit
and angles turned from degrees into radians. Without a context values are taken as they are, in mm and
radians, so models can be built and copied in code. Values from files are kept to 9 decimals of mm and
degrees, so that what is written out reads back as the same model. Booleans, text, NaN and infinity are no
numbers.
"""

from __future__ import annotations

import math
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator, PlainSerializer, SerializationInfo, StrictBool, ValidationInfo
from pydantic_core import PydanticCustomError

from planner.facts import Fact
from planner.tolerances import KEPT_DECIMALS

MM_PER_INCH: Final = 25.4
"""Exact (international inch, NIST SP 811)."""

LARGEST: Final = 1e6
"""No number in a part or a profile is larger (as a length it would be a kilometre): keeps arithmetic finite.
"""

UNITS: Final = {"mm": 1.0, "in": MM_PER_INCH}
"""The units a file may name, in mm."""

Kind = Literal["length", "angle", "number"]
Least = Literal["any", "zero", "above zero"]


class FileUnits(dict[str, float]):
    """Context of validation and serialisation: values are a file's, its lengths in units of `length` mm."""

    def __init__(self, length: float = 1.0) -> None:
        super().__init__(length=length)


def refused(problem: str | Fact, allowed: str | Fact, *key: str | int) -> PydanticCustomError:
    """Return the error for a value, or for that at path `key` in a table; it becomes an `InputError`."""
    return PydanticCustomError("refused", "it cannot be used", {"problem": problem, "allowed": allowed, "key": key})


def described(value: object) -> str:
    """Return a value as a short text for an error: text in quotes, true and false as in TOML."""
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 60 else f'"{value[:57]}…"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    text = str(value)
    return text if len(text) <= 60 else f"{text[:20]}…"


def number(value: object, least: Least = "any") -> float:
    """Return a finite number as float; raises PydanticCustomError for anything else."""
    allowed = {"any": "a number", "zero": "a number, 0 or more", "above zero": "a number, more than 0"}[least]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise refused(f"{described(value)} is no number", allowed)
    if isinstance(value, float) and not math.isfinite(value):
        raise refused(f"{value} is no number to work with", allowed)
    if abs(value) > LARGEST:
        raise refused(f"{described(value)} is too large", f"{allowed}, at most a million")
    if least == "above zero" and value <= 0.0:
        raise refused(f"{value:.10g} is not positive", allowed)
    if least == "zero" and value < 0.0:
        raise refused(f"{value:.10g} is negative", allowed)
    return float(value)


def read(value: object, kind: Kind, least: Least, context: object) -> float:
    """Return a value in the program's unit: [mm], [rad], or the number itself."""
    plain = number(value, least)
    if not isinstance(context, FileUnits):
        return plain
    if kind == "angle":
        return math.radians(round(plain, KEPT_DECIMALS) + 0.0)
    return round(plain * (context["length"] if kind == "length" else 1.0), KEPT_DECIMALS) + 0.0


def written(value: float, kind: Kind) -> float:
    """Return a value as it stands in a normalised file: mm or degrees, 9 decimals, never −0."""
    return round(math.degrees(value) if kind == "angle" else value, KEPT_DECIMALS) + 0.0


def _reading(kind: Kind, least: Least) -> BeforeValidator:
    """Return the validator that reads a quantity."""

    def validate(value: object, info: ValidationInfo) -> float:
        return read(value, kind, least, info.context)

    return BeforeValidator(validate)


def _writing(kind: Kind) -> PlainSerializer:
    """Return the serialiser that writes a quantity."""

    def serialise(value: float, info: SerializationInfo) -> float:
        return written(value, kind) if isinstance(info.context, FileUnits) else value

    return PlainSerializer(serialise)


Coordinate = Annotated[float, _reading("length", "any"), _writing("length")]
Length = Annotated[float, _reading("length", "above zero"), _writing("length")]
LengthOrZero = Annotated[float, _reading("length", "zero"), _writing("length")]
SignedAngle = Annotated[float, _reading("angle", "any"), _writing("angle")]
Angle = Annotated[float, _reading("angle", "above zero"), _writing("angle")]
AngleOrZero = Annotated[float, _reading("angle", "zero"), _writing("angle")]
Amount = Annotated[float, _reading("number", "above zero"), _writing("number")]
Cell = Annotated[float, BeforeValidator(number)]
Flag = StrictBool
