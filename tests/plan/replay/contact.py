"""What a piece of tube must keep to a solid [mm]: the shop's table of what may touch what, written down anew.

Rows are piece × tool × phase; an excuse holds for that triple only. "May touch" is an overlap of up to GROOVE_EASE.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tests.plan.replay.motions import Phase, Role
from tests.plan.replay.solids import Solid

GROOVE_EASE = 1.0
"""How deep tube that lies in tooling may overlap it [mm]."""

GRIPPED: Sequence[Phase] = ("dies close", "bend", "re-grip", "dies open")
"""The phases in which clamp and pressure die hold the tube, or take hold, or let go."""


@dataclass(frozen=True)
class Limits:
    """What is to be kept [mm]: of machine and floor, more per metre of tube ahead, of tooling, of the tube's own tail."""

    required: float
    per_metre: float
    to_tooling: float
    to_itself: float


def must_keep(limits: Limits, role: Role, solid: Solid, phase: Phase, slides: bool, slides_back: bool) -> float | None:
    """What a piece keeps to a solid, less what is added per metre of tube ahead; None: they are not held apart.

    slides_back: the tube comes by in the far side of the die's groove.
    """
    if solid.tool == "tail":
        return limits.to_itself if _apart_from_tail(role, phase) else None
    if solid.tool in ("floor", "solid"):
        if role == "tail" and solid.moves_with == "carriage":
            return None
        rests = role == "first straight" and solid.moves_with == "arm" and phase in ("dies close", "bend", "re-grip")
        return limits.to_tooling if rests else limits.required
    may_touch = {
        "bend die": _lies_in_groove(role, phase, slides) or (role == "earlier" and slides_back),
        "wiper": _lies_in_groove(role, phase, slides),
        "clamp": role == "arc at its far end" and phase in GRIPPED,
    }
    if may_touch.get(solid.tool, False):
        return -GROOVE_EASE
    if solid.tool == "pressure die" and role == "tail":
        return None
    held = role in ("tail", "forming arc", "arc just formed", "first straight") and phase in GRIPPED
    return None if held and solid.tool in ("clamp", "pressure die") else limits.to_tooling


def _lies_in_groove(role: Role, phase: Phase, slides: bool) -> bool:
    if role in ("tail", "forming arc", "first straight"):
        return True
    if role not in ("arc just formed", "straight after it"):
        return False
    return phase in ("re-grip", "dies open", "return") or (phase in ("place", "unload") and slides)


def _apart_from_tail(role: Role, phase: Phase) -> bool:
    """The first straight counts beyond 90° of swing only (`only_after`)."""
    if phase == "bend":
        return role in ("first straight", "arc at its far end", "earlier")
    return phase in ("place", "load") and role in ("arc at its far end", "earlier")


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
    return 90.0 if role == "first straight" and solid.tool == "tail" and phase == "bend" else 0.0
