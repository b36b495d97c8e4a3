"""How far a clamp must open for the bent tube to pass it while the arm goes home.

Seen from the arm, at home at 0, the clamp opened by w has its groove along y = w over 0 ≤ x ≤ L. With the arm at α and
the tube run forward by Y the highest point of the arc lies at

    x = Y cos α,     y = Y sin α                                                                 (12)

and of all the tube before the clamp nothing is higher. A centreline δ below that of the groove is √(δ² + r²) from the
groove's lips, so for a clearance c the clamp must open by the largest y of the way home and

    δ = √(c (2r + c))                                                                            (13)
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from planner.inputs.machine import Machine, Tooling
from planner.lookover.remarks import Remark, Way

QUARTER: Final = math.pi / 2.0
"""The bend that the openings are looked at with [rad]."""

MOMENTS: Final = 2001
"""Moments of a motion at which the arc's highest point is looked at: between two it rises by less than 0.001 mm."""


def too_narrow(machine: Machine, tooling: Tooling) -> Remark | None:
    """Return a remark if the opened clamp lets the tube of a 90 degree bend by on no way home that the machine has."""
    for clamp in tooling.clamp_lengths:
        way, needed = min(_ways(machine, tooling, clamp).items(), key=lambda entry: entry[1])
        if tooling.clamp_block.opens < needed:
            return Remark(
                "clamp opens too little", ("clamp die",), (tooling.tube_diameter, tooling.bend_radius),
                found=tooling.clamp_block.opens, needed=needed, length=clamp, way=way,
            )  # fmt: skip
    return None


def opening_needed(machine: Machine, tooling: Tooling, clamp: float, way: Way) -> float:
    """Return how far a clamp of a length [mm] must open for the tube of a 90 degree bend on a way home [mm]."""
    radius, clear = tooling.tube_diameter / 2.0, machine.clearance.to_tooling
    section = tooling.section(clamp)
    length = clamp if section is None else section.length
    inward = tooling.bend_radius - radius
    out = math.hypot(inward, length) - inward  # Y₁ of a right angle: how far out the groove lets go of the leg
    highest = 0.0
    if way == "tube and arm together":
        highest = _together(length, out)
    elif way == "eased off":
        last = math.atan2(inward, length) - math.acos(
            min(1.0, (length**2 + out**2) / (2.0 * out * math.hypot(inward, length)))
        )
        highest = max(out, max(length, out) * math.sin(max(last, 0.0)))
    return highest + math.sqrt(clear * (2.0 * radius + clear))


def _ways(machine: Machine, tooling: Tooling, clamp: float) -> dict[Way, float]:
    """Return the openings that the ways home of a machine need [mm]; easing off is always done after a last bend."""
    section = tooling.section(clamp)
    ways: list[Way] = ["eased off"]
    if machine.head.homes_with_tube:
        ways.append("tube and arm together")
    clear = tooling.tube_diameter / 2.0 + machine.clearance.to_tooling
    if section is None or machine.head.die_drops >= section.height / 2.0 + clear:
        ways.append("past the standing tube")
    return {way: opening_needed(machine, tooling, clamp, way) for way in ways}


def _together(length: float, out: float) -> float:
    """Return the largest y of (12) while tube and arm go home together in two uniform motions [mm].

    The arm goes back by Y₁/L (radians) while the tube goes Y₁, then both go on to the arm's home and L.
    """
    t = np.linspace(0.0, 1.0, MOMENTS)
    first = out * t * np.sin(QUARTER - out / length * t)
    second = (out + (length - out) * t) * np.sin((QUARTER - out / length) * (1.0 - t))
    return float(max(first.max(), second.max()))
