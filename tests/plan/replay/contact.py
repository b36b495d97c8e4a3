"""What a piece of tube must keep to a solid [mm]: the shop's table of what may touch what, written down anew.

Rows are piece × tool × phase; an excuse holds for that triple only. "May touch" is an overlap of up to GROOVE_EASE.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tests.plan.replay.motions import Pair, Phase, Role
from tests.plan.replay.solids import Solid

GROOVE_EASE = 1.0
"""How deep tube that lies in tooling may overlap it [mm]."""

GRIPPED: Sequence[Phase] = ("dies close", "bend", "re-grip", "dies open")
"""The phases in which clamp and pressure die hold the tube, or take hold, or let go."""

BEYOND: Sequence[Role] = ("arc at its far end", "earlier")
"""What lies beyond the straight in the die."""

ENDS_AT_SECTION: Sequence[Role] = ("arc just formed", "arc at its far end")
"""Arcs that begin where the straight in the die's grip section ends."""


@dataclass(frozen=True)
class Limits:
    """What is to be kept [mm]: of machine and floor, more per metre of tube ahead, of tooling, of the tube's own tail."""

    required: float
    per_metre: float
    to_tooling: float
    to_itself: float


def must_keep(
    limits: Limits, role: Role, solid: Solid, phase: Phase, slides: bool, slides_back: bool, drop: Pair = (0.0, 0.0)
) -> float | None:
    """What a piece keeps to a solid, less what is added per metre of tube ahead; None: they are not held apart.

    slides_back: the tube comes by in the far side of the die's groove; drop: how far the die is lowered [mm].
    """
    if max(drop) > 0.0 and solid.tool in ("bend die", "grip section"):
        return _to_lowered(limits, role, solid, phase, drop)
    if solid.tool == "tail":
        return limits.to_itself if _apart_from_tail(role, phase) else None
    if solid.tool in ("floor", "solid"):
        if role == "tail" and solid.moves_with == "carriage":
            return None
        rests = role == "first straight" and solid.moves_with == "arm" and phase in ("dies close", "bend", "re-grip")
        return limits.to_tooling if rests else limits.required
    if solid.tool == "rod" and _on_the_rod(role, phase):
        return None
    may_touch = {
        "bend die": _lies_in_groove(role, phase, slides) or (role in BEYOND and slides_back),
        "wiper": _lies_in_groove(role, phase, slides),
        "clamp": role == "arc at its far end" and phase in GRIPPED,
        # Its groove goes on where the die's ends; an arc that begins at its end touches it there.
        "grip section": role in ENDS_AT_SECTION or _lies_in_groove(role, phase, slides),
    }
    if may_touch.get(solid.tool, False):
        return -GROOVE_EASE
    if solid.tool == "pressure die" and role == "tail":
        return None
    held = role in ("tail", "forming arc", "arc just formed", "first straight") and phase in GRIPPED
    return None if held and solid.tool in ("clamp", "pressure die") else limits.to_tooling


def _to_lowered(limits: Limits, role: Role, solid: Solid, phase: Phase, drop: Pair) -> float | None:
    """The same to a groove that is lowered: what lies in it as it goes down it frees itself of, unchecked."""
    just_formed = ("arc just formed", "straight after it")
    ends_there = role == "arc at its far end" and solid.tool == "grip section"
    if phase != "die drops":
        return limits.to_tooling
    if drop[1] < drop[0]:  # comes up
        if role == "arc just formed" and solid.tool == "grip section":
            return -GROOVE_EASE
        return None if role in ("tail", "forming arc", "first straight") else limits.to_tooling
    in_it = role in ("tail", "forming arc", "first straight", *just_formed) or ends_there
    return None if in_it else limits.to_tooling


def _lies_in_groove(role: Role, phase: Phase, slides: bool) -> bool:
    if role in ("tail", "forming arc", "first straight"):
        return True
    if role not in ("arc just formed", "straight after it"):
        return False
    return phase in ("re-grip", "dies open", "return", "die drops") or (phase in ("place", "unload") and slides)


def _on_the_rod(role: Role, phase: Phase) -> bool:
    """What is drawn over the rod; the gripped straight comes back to it only late in a swing (`only_after`).

    Of an arc and of what comes out after it only what `on_the_rod` says is on it.
    """
    return role == "tail" or (role == "first straight" and phase != "bend")


def on_the_rod(role: Role, curvature: float, arc: float, tip: float, diameter: float) -> float:
    """Up to which arc length a piece is on rod, nose and balls, or cannot come back to them [mm].

    An arc in the die leaves the feed's line for half a turn. A straight after an arc that is shorter than the mandrel
    reaches is on it up to the tip and a diameter more: there the tube has not yet come out to the side. arc: length of
    the arc just formed; tip: how far the mandrel stands past the tangent point; diameter: of the tube [mm].
    """
    if role in ("forming arc", "arc just formed"):
        return math.pi / curvature
    return max(tip + diameter - arc, 0.0) if role == "straight after it" else 0.0


def _apart_from_tail(role: Role, phase: Phase) -> bool:
    """The first straight counts beyond 90° of swing only (`only_after`)."""
    if phase == "bend":
        return role == "first straight" or role in BEYOND
    return phase in ("place", "load") and role in BEYOND


def more_per_metre(limits: Limits, role: Role, solid: Solid, phase: Phase) -> float:
    """What is added for each metre of tube ahead of the tangent point [mm]: it sags. The tail does not."""
    free = solid.tool in ("floor", "solid") and role != "tail"
    rests = role == "first straight" and solid.moves_with == "arm" and phase in ("dies close", "bend", "re-grip")
    return limits.per_metre if free and not rests else 0.0


def beyond_clamp(role: Role, solid: Solid, phase: Phase) -> bool:
    """Whether only what the clamp does not hold counts: the gripped straight against the arm that carries the clamp."""
    return role == "first straight" and solid.moves_with == "arm" and phase in ("dies close", "bend", "re-grip")


def only_after(role: Role, solid: Solid, phase: Phase) -> float:
    """The swing [deg] from which on a pair counts."""
    return 90.0 if role == "first straight" and solid.tool in ("tail", "rod") and phase == "bend" else 0.0
