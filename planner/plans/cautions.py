"""The usual cautions, each for the step it belongs to. They defer to the maker's manual and local codes."""

from __future__ import annotations

import math

from planner.facts import Fact, fact, length, metres
from planner.wording.steps import GENERAL

LOAD = fact("sharp-ends")
TURN = fact("heavy-tube")
PINCH = fact("pinch")
SPRINGS_BACK = fact("springs-back")
CARRIAGE = fact("carriage-runs")
FREES_ITSELF = fact("frees-itself")
TOOL_CHANGE = fact("tool-change")
UNLOAD = fact("unload")
BY_HAND = fact("stands-still")
SAW = fact("saw")

LONG = 1500.0
"""Leading parts longer than this are supported [mm] (common practice, no source)."""

EVERY_PLAN = tuple(fact(kind) for kind in GENERAL)
"""What every plan says."""


def hold_up(sag: float, stand: float) -> Fact:
    """Return where the leading part has to be held up [mm, along the tube ahead of the die]."""
    return fact("hold-up", sag=length(math.ceil(sag), 0, "at most"), stand=metres(stand))


def arm_home(reach: float) -> Fact:
    """Return the caution for an arm on its way home, which reaches so far from the die axis [mm]."""
    return fact("arm-home", reach=metres(reach, 2, "at most"))


def swinging(reach: float) -> Fact:
    """Return the caution for a swing in which tube or arm reach so far from the die axis [mm]."""
    return fact("swings", reach=metres(reach, 2, "at most"))


def rotating(reach: float) -> Fact:
    """Return the caution for a rotation that reaches so far from the feed's axis [mm]."""
    return fact("rotates", reach=metres(reach, 2, "at most"))


def long_leading_part(ahead: float) -> Fact | None:
    """Return the caution for a leading part of this length [mm], None where it is short."""
    return fact("long", ahead=metres(ahead, 1, "at most")) if ahead > LONG else None
