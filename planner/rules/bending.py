"""Each bend by itself: the machine's largest angle and its rated capacity."""

from __future__ import annotations

import math

from planner.facts import Fact, Quantity, angle, fact
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.springback import Setting
from planner.rules.broken import Broken
from planner.tolerances import ANGLE_SLACK, RELATIVE_SLACK


def plastic_moment(outside_diameter: float, wall: float, yield_strength: float) -> float:
    """Return the moment that makes a whole round tube yield [N mm]: yield · (D³ − d³)/6, d = D − 2·wall."""
    bore = outside_diameter - 2.0 * wall
    return yield_strength * (outside_diameter**3 - bore**3) / 6.0


def largest_angle(machine: Machine, bend: int, wanted: float, setting: Setting) -> Broken | None:
    """The setting, springback included, must not pass the machine's largest angle [rad]."""
    if setting.value <= machine.head.largest_angle + ANGLE_SLACK:
        return None
    asked, allowed = math.degrees(setting.value), math.degrees(machine.head.largest_angle)
    goes_to = angle(machine.head.largest_angle)
    said = fact("largest-angle", bend=bend, angle=angle(wanted), setting=angle(setting.value), largest=goes_to)
    return Broken("largest angle", bend, "A", said, {"setting": asked, "largest": allowed})


def rated_capacity(machine: Machine, part: Part) -> Broken | Fact | None:
    """The tube's plastic moment must not pass that of the tube the machine is rated for.

    Returns a broken rule, a warning where it cannot be checked, or None.
    """
    rated = machine.rated
    if rated is None:
        return fact("no-rated-tube")
    if part.yield_strength is None:
        return fact("no-yield-strength", material=part.material)
    needed = plastic_moment(part.outside_diameter, part.wall, part.yield_strength)
    limit = plastic_moment(rated.tube_diameter, rated.wall, rated.yield_strength)
    if needed <= limit * (1.0 + RELATIVE_SLACK):
        return None
    said = fact("rated-capacity", moment=_moment(needed), rated=_moment(limit))
    return Broken("rated capacity", 1, "A", said, {"moment": needed, "rated": limit})


def _moment(newton_mm: float) -> Quantity:
    return Quantity(round(newton_mm / 1e6, 2), "kN m", "nearest", 2)
