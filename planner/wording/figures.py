"""Figures: numbers with their units as they are said, lengths in mm or in inches.

Rounding is never on the unsafe side: what is kept clear or room that is needed is rounded up, a clearance that is
proved is rounded down, everything else to the nearest. Inches have three decimals, or as many as it takes to show a
figure that is not 0; metres become inches with one decimal.
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import Final, Literal

from planner.facts import Quantity, Side
from planner.tolerances import KEPT_DECIMALS

LengthUnit = Literal["mm", "in"]

INCH: Final = Decimal("25.4")
"""[mm], exact."""

DECIMALS: Final[dict[LengthUnit, int]] = {"mm": 1, "in": 3}
"""Decimals that are shown: a tenth of a millimetre, a thousandth of an inch."""

METRE_DECIMALS: Final = 1
"""Decimals of the inches that stand for metres: a metre's tenth is 3.9 of them."""

ROUNDING: Final[dict[Side, str]] = {"nearest": ROUND_HALF_UP, "at least": ROUND_FLOOR, "at most": ROUND_CEILING}

IN_INCHES: Final[dict[str, tuple[Decimal, str, int]]] = {
    "mm": (Decimal(1), "in", DECIMALS["in"]),
    "m": (Decimal(1000), "in", METRE_DECIMALS),
    "mm/s": (Decimal(1), "in/s", DECIMALS["in"]),
    "mm/m": (INCH * 12 / 1000, "in", DECIMALS["in"]),
}
"""How much a unit is [mm], what is said instead, with how many decimals; what is for each metre is for each foot."""

SAID: Final = {"deg": "°", "mm/m": " mm"}
"""Units that are not said as they are called."""


def with_unit(quantity: Quantity, unit: LengthUnit) -> str:
    """Return a figure with its unit: "55.0 mm", "2.165 in", "12.5°"."""
    if unit == "in" and quantity.unit in IN_INCHES:
        return f"{bare(quantity, unit)} {IN_INCHES[quantity.unit][1]}"
    return f"{bare(quantity, unit)}{SAID.get(quantity.unit, f' {quantity.unit}')}"


def bare(quantity: Quantity, unit: LengthUnit) -> str:
    """Return a figure without its unit."""
    if not math.isfinite(quantity.value):
        return str(quantity.value)
    if unit == "in" and quantity.unit in IN_INCHES:
        scale, _, decimals = IN_INCHES[quantity.unit]
        return _inches(Decimal(repr(float(quantity.value))) * scale, ROUNDING[quantity.side], decimals)
    if quantity.decimals is None:
        return never_minus_nothing(f"{quantity.value:.10g}")
    return never_minus_nothing(f"{quantity.value:.{quantity.decimals}f}")


def _inches(mm: Decimal, way: str, decimals: int) -> str:
    """Return a length [mm] in inches; a figure that is not 0 shows as none."""
    value = mm / INCH
    if value == 0:
        return "0"
    while abs(value) < Decimal(1).scaleb(-decimals) and decimals < KEPT_DECIMALS:
        decimals += 1
    return _rounded(value, way, decimals)


def shown(mm: float, unit: LengthUnit, decimals: int | None = None, side: Side = "nearest") -> str:
    """Return a length [mm] in the unit, with it: "55.0 mm", "2.165 in"."""
    return f"{figure(mm, unit, decimals, side)} {unit}"


def figure(mm: float, unit: LengthUnit, decimals: int | None = None, side: Side = "nearest") -> str:
    """Return a length [mm] in the unit without its name: "55.0", "2.165"."""
    return _rounded(_in(mm, unit), ROUNDING[side], DECIMALS[unit] if decimals is None else decimals)


def at_least_shown(mm: float, unit: LengthUnit, decimals: int | None = None) -> str:
    """Return a clearance [mm], or another proved lower bound, rounded down: what is shown is proved too."""
    return shown(mm, unit, decimals, "at least")


def at_most_shown(mm: float, unit: LengthUnit, decimals: int | None = None) -> str:
    """Return how far something reaches [mm], or the room that it takes, rounded up: nobody stands too near."""
    return shown(mm, unit, decimals, "at most")


def _in(mm: float, unit: LengthUnit) -> Decimal:
    """Return a length [mm] in the unit, the noise of binary numbers beyond a millionth of a micron left off."""
    length = Decimal(repr(round(float(mm), KEPT_DECIMALS)))
    return length if unit == "mm" else length / INCH


def _rounded(value: Decimal, way: str, decimals: int) -> str:
    return never_minus_nothing(f"{value.quantize(Decimal(1).scaleb(-decimals), rounding=way):f}")


def never_minus_nothing(text: str) -> str:
    """Return a number's text, "0.0" for "-0.0"."""
    return text.lstrip("-") if not text.strip("-0.") else text
