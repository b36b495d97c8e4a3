"""Facts: what there is to be said, as data and without words: which sentence, of what, with which numbers.

A number with a unit is a `Quantity`: it holds the figure that is said in the unit it is said in, and the side to which
it may be rounded where it is said in another one. `planner/wording` puts facts into words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias, get_args

from pydantic_core import CoreSchema
from pydantic_core.core_schema import no_info_plain_validator_function, plain_serializer_function_ser_schema

from planner.words import rounded_down

Side = Literal["nearest", "at least", "at most"]
"""To which side a figure may be rounded: "at least", down, for what is proved to be kept or allowed; "at most", up, for
what reaches so far or is needed."""

Unit = Literal["mm", "m", "mm/s", "mm/m", "deg", "s", "kN m", "MPa", "%"]

FINEST: Final = 4
"""Decimals of a size that is said as it is: 38.1, 1.65, 0.0508."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure as it is said, in its unit; decimals: how many are said, None for a size as it is, 4 at most."""

    value: float
    unit: Unit
    side: Side = "nearest"
    decimals: int | None = 1

    def as_dict(self) -> dict[str, Any]:
        """Return the quantity as JSON data."""
        return {"value": self.value, "unit": self.unit, "side": self.side, "decimals": self.decimals}


Value: TypeAlias = "Quantity | Fact | str | int | Sequence[Value] | None"
"""What a fact speaks of: figures, other facts, names, numbers of bends and steps, lists of these; None: nothing."""


@dataclass(frozen=True)
class Fact:
    """One thing that there is to say; kind: which, a key of `planner.wording`; values: of what, by name."""

    kind: str
    values: Mapping[str, Value]

    def __hash__(self) -> int:
        return hash((self.kind, tuple(self.values)))

    @classmethod
    def __get_pydantic_core_schema__(cls, *_: Any) -> CoreSchema:
        """Let a fact stand in a document, as JSON data there."""
        written = plain_serializer_function_ser_schema(cls.as_dict)
        return no_info_plain_validator_function(cls.of, serialization=written)

    @classmethod
    def __get_pydantic_json_schema__(cls, *_: Any) -> dict[str, Any]:
        return {"type": "object", "properties": {"kind": {"type": "string"}}, "required": ["kind"]}

    def saying(self, **more: Value) -> Fact:
        """Return the fact with more values."""
        return Fact(self.kind, {**self.values, **more})

    def part(self, name: str) -> Fact:
        """Return one of its values that is a fact itself."""
        found = self.values[name]
        assert isinstance(found, Fact)  # asked of such a value only
        return found

    def as_dict(self) -> dict[str, Any]:
        """Return the fact as JSON data: its values beside its kind."""
        return {"kind": self.kind, **{name: _data(value) for name, value in self.values.items()}}

    @classmethod
    def of(cls, data: Fact | Mapping[str, Any]) -> Fact:
        """Return the fact that was written as JSON data. Raises ValueError where it is none."""
        if isinstance(data, Fact):
            return data
        if not isinstance(data, Mapping) or not isinstance(data.get("kind"), str):
            raise ValueError("a fact has a kind")
        return cls(data["kind"], {name: _value(value) for name, value in data.items() if name != "kind"})


def fact(kind: str, /, **values: Value) -> Fact:
    """Return a fact; what is None is left out, a list becomes a tuple."""
    said = {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}
    return Fact(kind, {name: value for name, value in said.items() if value is not None})


def _data(value: Value) -> Any:
    if isinstance(value, Quantity | Fact):
        return value.as_dict()
    if isinstance(value, str | int | None):
        return value
    return [_data(item) for item in value]


def _value(data: Any) -> Value:
    if isinstance(data, Mapping):
        return Fact.of(data) if "kind" in data else _quantity(data)
    if isinstance(data, list | tuple):
        return tuple(_value(item) for item in data)
    if isinstance(data, str | int | None):
        return data
    raise ValueError(f"a fact holds no {type(data).__name__}")


def _quantity(data: Mapping[str, Any]) -> Quantity:
    found = Quantity(**data)
    if found.unit not in get_args(Unit) or found.side not in get_args(Side):
        raise ValueError(f'no quantity has the unit "{found.unit}" and the side "{found.side}"')
    return found


# Figures ------------------------------------------------------------------------------------------------------------


def length(mm: float, decimals: int | None = 1, side: Side = "nearest") -> Quantity:
    """Return a length [mm] as it is said: to a tenth, or to so many decimals; None: a size as it is."""
    return Quantity(round(mm, FINEST if decimals is None else decimals), "mm", side, decimals)


def needed(mm: float, decimals: int | None = 1) -> Quantity:
    """Return a length that is needed, missing, or reached [mm]: never rounded down in another unit."""
    return length(mm, decimals, "at most")


def kept(mm: float, decimals: int | None = 1) -> Quantity:
    """Return a length that is kept, left or allowed [mm]: never rounded up in another unit."""
    return length(mm, decimals, "at least")


def proved(mm: float) -> Quantity:
    """Return a proved lower bound [mm], rounded down to a tenth: what is said is proved too."""
    return kept(rounded_down(mm))


def size(mm: float) -> Quantity:
    """Return a nominal size as it stands on a drawing [mm]: 38.1, 1.65, 20."""
    return length(mm, None)


def six_digits(mm: float) -> Quantity:
    """Return a length that somebody has stated, or that was taken in steps [mm], to six digits in all."""
    return Quantity(float(f"{mm:g}"), "mm", "nearest", None)


def metres(mm: float, decimals: int = 1, side: Side = "nearest") -> Quantity:
    """Return a length [mm] that is said in metres."""
    return Quantity(round(mm / 1000.0, decimals), "m", side, decimals)


def angle(radians: float, decimals: int = 1) -> Quantity:
    """Return an angle [rad], said in degrees."""
    return degrees(math.degrees(radians), decimals)


def degrees(deg: float, decimals: int | None = 1) -> Quantity:
    """Return an angle that is counted in degrees already."""
    return Quantity(round(deg, FINEST if decimals is None else decimals), "deg", "nearest", decimals)
