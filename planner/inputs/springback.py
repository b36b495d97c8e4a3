"""Springback: the setting of the machine that leaves the part's angle once the tube has opened.

Measured pairs are read along straight lines. Without them the setting is estimated for an elastic, perfectly
plastic tube that opens elastically when released (the classical theory of bending): with the bending moment M
at the loaded radius R, modulus E and second moment of area I,

    s = M·R / (E·I),      setting = angle / (1 − s)                                                       (18)

M is that of a solid round bar of the outer radius less that of one of the bore's radius; for a bar of radius
a, yield strength Y, half-height of the elastic core c = Y·R/E and u = c/a,

    u < 1:  M(a) = (E/R)·(a⁴/2)·(asin u − u·(1 − 2u²)·√(1 − u²)) + (4/3)·Y·(a² − c²)^1.5                  (19)
    u ≥ 1:  M(a) = (E/R)·π·a⁴/4                                     (all elastic)

Published analytic models miss measured springback by 14 to 39 %: an estimate is a first try, never a printed
truth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from planner.facts import Fact, Quantity, degrees, fact
from planner.inputs.machine import Machine
from planner.inputs.materials import find_material
from planner.inputs.part import Part

FLAT_GUESS: Final = 0.02
"""Share of the angle that is bent over when nothing is known of the material (common practice, no source)."""

LARGEST_ESTIMATE: Final = 0.5
"""A tube that would open by more than this share hardly takes a set: (18) is then no guide, and the guess is
used.
"""


@dataclass(frozen=True)
class Setting:
    """value: the angle to set [rad], never less than the part's.

    source: "measured" (between two measured pairs), "extrapolated" (beyond them), "estimated" (no pairs);
    warning: a fact for all but the first.
    """

    value: float
    source: Literal["measured", "extrapolated", "estimated"]
    warning: Fact | None = None


def setting_for(angle: float, machine: Machine, part: Part, radius: float) -> Setting:
    """Return the setting for a part's angle [rad] on a centreline radius [mm]; it grows with the angle."""
    if machine.springback is not None:
        return _from_measured(angle, machine.springback.measured)
    material = find_material(part.material)
    if material is None or part.yield_strength is None:
        return _guess(angle, fact("unknown-material", material=part.material))
    inner = part.radius - part.wall
    share = springback_share(part.radius, inner, radius, part.yield_strength, material.modulus)
    if share > LARGEST_ESTIMATE:
        return _guess(angle, fact("hardly-sets", share=_percent(share, 0)))
    strength = Quantity(part.yield_strength, "MPa", "nearest", None)
    warning = fact("springback-estimated", share=_percent(share, 1), strength=strength)
    return Setting(angle / (1.0 - share), "estimated", warning)


def springback_share(outer: float, inner: float, radius: float, strength: float, modulus: float) -> float:
    """Return s of equation (18), in (0, 1], for outer and bore radius and loaded centreline radius [mm],
    [MPa].
    """
    second_moment = math.pi / 4.0 * (outer**4 - inner**4)
    moment = _bar_moment(outer, radius, strength, modulus) - _bar_moment(inner, radius, strength, modulus)
    return min(1.0, moment * radius / (modulus * second_moment))


def _bar_moment(a: float, radius: float, strength: float, modulus: float) -> float:
    """Return the moment of a solid round bar of radius a [mm] by equation (19) [N mm]."""
    core = strength * radius / modulus
    if core >= a:
        return modulus / radius * math.pi * a**4 / 4.0
    u = core / a
    elastic: float = modulus / radius * a**4 / 2.0 * (math.asin(u) - u * (1.0 - 2.0 * u**2) * math.sqrt(1.0 - u**2))
    return elastic + 4.0 / 3.0 * strength * math.sqrt(a**2 - core**2) ** 3


def _from_measured(angle: float, measured: tuple[tuple[float, float], ...]) -> Setting:
    """Read the setting along the measured pairs, the nearest line carried on beyond them."""
    lines = list(pairwise(measured))
    (low, at_low), (high, at_high) = next((line for line in lines if angle <= line[1][0]), lines[-1])
    value = at_low + (at_high - at_low) * (angle - low) / (high - low)
    first, last = measured[0][0], measured[-1][0]
    if first <= angle <= last:
        return Setting(value, "measured")
    said = {name: degrees(math.degrees(x), None) for name, x in (("angle", angle), ("first", first), ("last", last))}
    return Setting(max(value, angle), "extrapolated", fact("beyond-the-measured-pairs", **said))


def _guess(angle: float, why: Fact) -> Setting:
    """Return the flat guess, and why it is one."""
    warning = fact("springback-guessed", share=_percent(FLAT_GUESS, 0), why=why)
    return Setting(angle * (1.0 + FLAT_GUESS), "estimated", warning)


def _percent(share: float, decimals: int) -> Quantity:
    return Quantity(round(100.0 * share, decimals), "%", "nearest", decimals)
