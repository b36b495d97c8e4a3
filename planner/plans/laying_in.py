"""How the tube is laid in at a load: where it stands, how it is rolled, where the collet holds."""

from __future__ import annotations

import math

from planner.clearance.solids import toward
from planner.search.stations import Stationed

LEVEL = 0.05
"""An angle to the level smaller than this is called level [deg]: no angle finder reads closer."""


def load_words(stationed: Stationed, number: int) -> str:
    """Return how the bare tube is loaded."""
    load, st = stationed.ready.loads[number], stationed.loads[number][0]
    trim = load.loaded.trim_lead
    stands = st.start - st.advance + trim
    where = "flush with the tangent point" if stands < 0.05 else f"{stands:.1f} mm past the tangent point"
    return f"End {load.loaded.leads} leading, its end {where}.{_collet(stationed, number)}"


def lay_in_words(stationed: Stationed, number: int) -> str:
    """Return how a formed tube is laid in: distance from a bend's tangent point, roll against the level."""
    ready = stationed.ready
    load, st = ready.loads[number], stationed.loads[number][0]
    side = toward(ready.case.machine)
    view = stationed.view(number)
    ahead = max(b for b in load.formed if b < st.bend)
    distance = st.start - float(view.bend_ends[ahead - 1])
    end = "B" if load.loaded.leads == "A" else "A"
    bend = load.loaded.number(ahead)
    words = (
        f"Turn end for end: end {load.loaded.leads} leading. Lay it in with the tangent point of bend {bend} nearer end"
        f" {end} {distance:.1f} mm ahead of the machine's tangent point, and with the leg beyond bend {bend}"
        f" {leg_words(st.roll, side)}."
    )
    return words + _collet(stationed, number) + " The dial then shows 0."


def leg_words(roll: float, side: float) -> str:
    """Return which way the leg of the bend ahead points, to be checked with an angle finder.

    roll: rotation from that bend's plane to the next bend's [rad]. The leg leaves the feed toward
    (0, side · cos R, side · sin R): +R about +X from the die's side.
    """
    across, up = side * math.cos(roll), side * math.sin(roll)
    slope = math.degrees(math.asin(max(-1.0, min(1.0, up))))
    where = "the die's side" if across * side > 0.0 else "the side away from the die"
    if abs(slope) < LEVEL:
        return f"level, toward {where}"
    if abs(slope) > 90.0 - LEVEL:
        return "pointing straight up" if slope > 0.0 else "pointing straight down"
    return f"{abs(slope):.1f}° {'above' if slope > 0.0 else 'below'} level, toward {where}"


def _collet(stationed: Stationed, number: int) -> str:
    load = stationed.ready.loads[number]
    if not load.grips:
        return ""
    held = load.loaded.stock_behind_zero - load.grips[0].u
    return f" Collet's face {held:.1f} mm from the tail end."
