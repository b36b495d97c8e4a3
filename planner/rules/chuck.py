"""The chuck's range: which way round each rotation goes where the chuck cannot turn for ever."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from planner.tolerances import CHUCK_SLACK, SAME_CHUCK

WHOLE_TURN = 2.0 * math.pi


def rolls_within(
    limits: tuple[float, float] | Literal["continuous"], rolls: Sequence[float], turned_back: Sequence[bool]
) -> tuple[float, ...] | None:
    """Return the signed rotations [rad] that keep the chuck in range with the least turning, or None if none do.

    rolls: rotations modulo a turn, one a bend; turned_back[i]: the open chuck is turned back to 0 at a re-grip after
    bend i. The chuck stands at 0 at the load. Equal ways: the earlier rotations go the shorter, then the positive way.
    """
    if limits == "continuous":
        return tuple(rolls)
    low, high = limits
    reached: dict[int, tuple[float, tuple[float, ...]]] = {0: (0.0, ())}
    angle_of = {0: 0.0}
    for roll, back in zip(rolls, turned_back, strict=True):
        following: dict[int, tuple[float, tuple[float, ...]]] = {}
        angles: dict[int, float] = {}
        for key, (cost, ways) in reached.items():
            for signed in both_ways(roll):
                angle = angle_of[key] + signed
                if not low - CHUCK_SLACK <= angle <= high + CHUCK_SLACK:
                    continue
                after = 0.0 if back else angle
                place, total = round(after / SAME_CHUCK), cost + abs(signed)
                if place not in following or total < following[place][0] - CHUCK_SLACK:
                    following[place], angles[place] = (total, (*ways, signed)), after
        reached, angle_of = following, angles
    if not reached:
        return None
    return min(reached.values(), key=lambda entry: entry[0])[1]


def stays_within(limits: tuple[float, float], rolls: Sequence[float], turned_back: Sequence[bool]) -> bool:
    """Say whether signed rotations [rad], one a bend, keep the chuck in its range; it is turned back as above."""
    angle = 0.0
    for roll, back in zip(rolls, turned_back, strict=True):
        angle += roll
        if not limits[0] - CHUCK_SLACK <= angle <= limits[1] + CHUCK_SLACK:
            return False
        angle = 0.0 if back else angle
    return True


def both_ways(roll: float) -> tuple[float, ...]:
    """Return both ways round, the shorter first; a rotation of nothing has one."""
    if abs(roll) <= CHUCK_SLACK:
        return (0.0,)
    return (roll, roll - math.copysign(WHOLE_TURN, roll))
