"""Which hand a part has: the sign of its rotations in words and with a picture.

A rotation counted the wrong way makes a mirror image that no check on the machine can see, so every output
says which way it was read. Rotations are right-handed about the direction from end A to end B [deg]: with
bend 1 lying flat and curling to the left seen from end A, +90 turns "left" into "up" (a right-hand screw that
moves away from the viewer turns clockwise, from nine o'clock to twelve).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from planner.tolerances import LEVEL
from planner.words import degrees

SENTENCES = 3  # the first bends settle the hand; more would bury it

WIDE, HIGH = (
    9,
    4,
)  # how far a bend reaches sideways and upwards in the picture [characters]; about a circle on screen
MARGIN = 10  # room for a bend's name on either side [characters]


def folded(rotation: float) -> float:
    """Return the rotation [deg] within (-180, 180]."""
    turned = math.fmod(rotation, 360.0)
    if turned <= -180.0:
        return turned + 360.0
    return turned - 360.0 if turned > 180.0 else turned


def is_flat(rotation: float) -> bool:
    """Tell whether two bends lie in one plane: their rotation is 0 or 180 [deg]."""
    return min(abs(folded(rotation)), 180.0 - abs(folded(rotation))) < LEVEL


def pointing(rotation: float, decimals: int = 1) -> str:
    """Return where a bend points when the bend before it lies flat, curling left seen from end A [deg]."""
    turned = folded(rotation)
    if abs(turned) < LEVEL:
        return "curls the same way (left)"
    if 180.0 - abs(turned) < LEVEL:
        return "curls the other way (right)"
    side = "up" if turned > 0 else "down"
    if abs(abs(turned) - 90.0) < LEVEL:
        return f"points {side}"
    above = "above" if turned > 0 else "below"
    if abs(turned) < 90.0:
        return f"points {side} and left, {degrees(abs(turned), decimals)} {above} flat"
    return f"points {side} and right, {degrees(180.0 - abs(turned), decimals)} {above} flat"


def sentences(rotations: Sequence[float], decimals: int = 1) -> list[str]:
    """Say in words which way the first bends point.

    rotations: one per bend from end A, the first 0 (n,) [deg].
    """
    if len(rotations) < 2:
        return ["One bend only: there is no rotation and so no hand."]
    said = []
    for i, rotation in enumerate(rotations[1 : SENTENCES + 1], start=1):
        lying = f"With bend {i} lying flat and curling to the left seen from end A"
        said.append(f"{lying}, bend {i + 1} {pointing(rotation, decimals)}.")
    if all(is_flat(rotation) for rotation in rotations[1:]):
        said.append("All bends lie in one plane: the part is its own mirror image, so the sign makes no difference.")
    return said


def first_turning(rotations: Sequence[float]) -> int:
    """Return the index of the first bend that leaves the plane of the bend before it; 1 where none does."""
    return next((i for i, rotation in enumerate(rotations) if i > 0 and not is_flat(rotation)), 1)


def picture(bend: int, rotation: float) -> list[str]:
    """Draw two neighbouring bends around the straight between them, seen from end A towards end B.

    bend: number of the later bend; rotation: from the plane of the bend before it to its own [deg].
    Return the lines of the picture: the straight end on in the middle, the earlier bend curling to the left.
    """
    turned = math.radians(folded(rotation))
    middle_row, middle = HIGH, MARGIN + WIDE
    canvas = [[" "] * (2 * middle + 1) for _ in range(2 * HIGH + 1)]
    _write(canvas, middle_row, middle - WIDE, "─" * WIDE)
    end_row, end = middle_row - round(HIGH * math.sin(turned)), middle - round(WIDE * math.cos(turned))
    for step in range(1, WIDE + 1):
        along = step / WIDE
        column = middle - round(WIDE * along * math.cos(turned))
        canvas[middle_row - round(HIGH * along * math.sin(turned))][column] = "•"
    _write(canvas, middle_row, middle, "O")
    earlier, later = f"bend {bend - 1}", f"bend {bend}"
    if (end_row, end) == (middle_row, middle - WIDE):
        earlier, later = "", f"{bend - 1} and {bend}"
    _write(canvas, middle_row, middle - WIDE - len(earlier) - 1, earlier)
    _write(canvas, end_row, end - len(later) - 1 if end < middle else end + 2, later)
    lines = ["".join(row).rstrip() for row in canvas]
    return [line for line in lines if line]


def _write(canvas: list[list[str]], row: int, column: int, text: str) -> None:
    """Write the text into the canvas, from this place on to the right."""
    canvas[row][column : column + len(text)] = list(text)
