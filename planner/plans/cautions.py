"""The usual cautions, each worded for the step it belongs to. They defer to the maker's manual and local codes."""

from __future__ import annotations

import math

CLEAR_OF_THE_MACHINE = '"Clear" means clear of the machine, never of people.'

LOAD = "Sawn ends are sharp: deburr or wear gloves while the machine stands still."
TURN = "Hydraulics off while you handle the tube; a bent tube swings about its own weight, two hands or two people."
PINCH = "Pinch point: hands off tube and dies while hydraulics are live."
SPRINGS_BACK = "The tube springs back as the dies open: stand clear of its end."
CARRIAGE = "The carriage runs: hands off its way and off the tail, and stand out of line with the tube."
FREES_ITSELF = "How the tube comes out of the die's groove as the die moves is the machine's own doing: not checked."
TOOL_CHANGE = "Isolate the machine and release its pressure before you change tooling."
UNLOAD = "Hydraulics off; the part is out of balance and its ends are sharp."
BY_HAND = "The machine stands still and the hydraulics are off while you push or roll the tube by hand."
SAW = "Secure the part before you saw; the sawn end is sharp."

LONG = 1500.0
"""Leading parts longer than this are supported [mm] (common practice, no source)."""

GENERAL = (
    CLEAR_OF_THE_MACHINE,
    "Pinch points and the swinging tube injure. Hands off tube and dies while hydraulics are live.",
    "One person at the controls; a second person has a named place outside the swing.",
    "Isolate the machine and release its pressure before changing tooling.",
    "A long leading part sags and whips: support it.",
    "Run the first cycle slow, with scrap tube.",
    "Follow the maker's manual, local codes and trained, licensed practice.",
    "The plan is checked against the profile, not against the machine in front of you.",
    "Check the hand of one made part before you trust a table's rotation sign.",
)


def held_up(caution: str | None, sag: float, stand: float) -> str:
    """Return a step's caution with where the leading part has to be held up [mm, along the tube ahead of the die]."""
    held = (
        f"The leading part sags by up to {math.ceil(sag)} mm: hold it up on a stand {stand / 1000.0:.1f} m of tube"
        " ahead of the die, high enough that it lies as drawn."
    )
    return held if caution is None else f"{caution} {held}"


def arm_home(reach: float) -> str:
    """Return the caution for an arm on its way home, which reaches so far from the die axis [mm]."""
    return f"The arm goes home by power: nobody within {reach / 1000.0:.2f} m of the die's axis."


def swinging(reach: float) -> str:
    """Return the caution for a swing in which tube or arm reach so far from the die axis [mm]."""
    return f"The leading part swings: nobody within {reach / 1000.0:.2f} m of the die's axis. Hands off."


def rotating(reach: float) -> str:
    """Return the caution for a rotation that reaches so far from the feed's axis [mm]."""
    return f"The leading part turns about the feed, up to {reach / 1000.0:.2f} m from it: stand clear."


def long_leading_part(length: float) -> str | None:
    """Return the caution for a leading part of this length [mm], None where it is short."""
    if length <= LONG:
        return None
    return f"{length / 1000.0:.1f} m of tube stand ahead of the die: support it, it sags and whips."
