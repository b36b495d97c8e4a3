"""What to do at a step, and what can go wrong with people or tube there, in words.

The cautions are the usual ones; they defer to the maker's manual and local codes.
"""

from __future__ import annotations

from typing import Final

from planner.wording.say import Sentence, Values


def _fit(v: Values) -> str:
    return f"Fit the {v.clamp} clamp{' again, for the next part' if v.again else ''}."


NOTES: Final[dict[str, Sentence]] = {
    # On and off
    "loaded": "End {leads} leading, its end {where}.",
    "flush": "flush with the tangent point",
    "past-the-tangent-point": "{way} past the tangent point",
    "laid-in": (
        "{put}: end {leads} leading. Lay it in with the tangent point of bend {bend} nearer end {end} {distance} ahead"
        " of the machine's tangent point, and roll it until {lies}. The dial then shows 0."
    ),
    "turn-end-for-end": "Turn end for end",
    "same-way-round": "Take the tube off and put it back the same way round",
    "collet-stands-open": "The collet stands open, its face {face} from the tangent point.",
    "put-on": "Put it on from the front over the mandrel{rolled}; it takes up to {room} of room ahead of the die.",
    "draw-off": "Draw the tube off to the front{rolled}; it takes up to {room} of room ahead of the die.",
    "rolled": ", rolled {angle} {way} from how it lies in its place",
    "drawn-off": (
        "Draw the tube off to the front, the arm standing at {arm}, until its leg has left the die's groove along its"
        " whole length."
    ),
    "close-collet": "Close the collet with its face {held} from the tail end.",
    "open-collet": "Open the collet.",
    "stand-it-back": "Stand it back: its face {face} from the tangent point.",
    "by-hand": "By hand, the collet open.",
    # How a formed bend lies
    "upright": "the plane of bend {bend} stands upright, bend {bend} curling straight {way}{leg}",
    "tilted": "the plane of bend {bend} lies {slope}, bend {bend} curling toward {side}{leg}",
    "level": "level",
    "off-level": "{angle} {way} level",
    "its-leg-slopes": " (its leg then slopes {angle})",
    # Between
    "together": "Tube and arm go together: the tube is run forward by {way} meanwhile.",
    "push-forward": "Push the tube forward by hand by {way}, out of the die's groove; the arm stands.",
    "run-forward": "Run the tube forward out of the die's groove before the arm goes on.",
    "draw-back": "Draw the tube back.",
    "as-far-as": "As far as {angle} from home.",
    "arm-goes-home": "The arm goes home, the tube taken off.",
    "regrip": "The dies hold the tube; open the collet, run the carriage along the tail, close it again.",
    "turn-chuck-back": "Turn the open chuck back to 0.",
    "zero": lambda v: f"Set the {' and the '.join(v.readouts.each())} to 0 {v.when}.",
    "at-the-load": "at the load",
    "at-the-end-of": "at the end of bend {bend}",
    # Tooling, and after the last bend
    "next-pass": (
        "Pass {number} of {passes}: once every part has been through the pass before, fit the dies for a bend radius of"
        " {radius} and the {clamp} clamp, for all of them."
    ),
    "fit-clamp": _fit,
    "cut-off": "Cut {trim} off end {end}.",
    "check-first-part": "Check the first part against the drawing: lengths, angles, and its hand.",
}

CAUTIONS: Final[dict[str, Sentence]] = {
    "sharp-ends": "Sawn ends are sharp: deburr or wear gloves while the machine stands still.",
    "heavy-tube": (
        "Hydraulics off while you handle the tube; a bent tube swings about its own weight, two hands or two people."
    ),
    "pinch": "Pinch point: hands off tube and dies while hydraulics are live.",
    "springs-back": "The tube springs back as the dies open: stand clear of its end.",
    "carriage-runs": "The carriage runs: hands off its way and off the tail, and stand out of line with the tube.",
    "frees-itself": (
        "How the tube comes out of the die's groove as the die moves is the machine's own doing: not checked."
    ),
    "tool-change": "Isolate the machine and release its pressure before you change tooling.",
    "unload": "Hydraulics off; the part is out of balance and its ends are sharp.",
    "stands-still": "The machine stands still and the hydraulics are off while you push or roll the tube by hand.",
    "saw": "Secure the part before you saw; the sawn end is sharp.",
    "hold-up": (
        "The leading part sags by up to {sag}: hold it up on a stand {stand} of tube ahead of the die, high enough that"
        " it lies as drawn."
    ),
    "arm-home": "The arm goes home by power: nobody within {reach} of the die's axis.",
    "swings": "The leading part swings: nobody within {reach} of the die's axis. Hands off.",
    "rotates": "The leading part turns about the feed, up to {reach} from it: stand clear.",
    "long": "{ahead} of tube stand ahead of the die: support it, it sags and whips.",
}

GENERAL: Final[dict[str, Sentence]] = {
    "clear-of-the-machine": '"Clear" means clear of the machine, never of people.',
    "hands-off": "Pinch points and the swinging tube injure. Hands off tube and dies while hydraulics are live.",
    "one-at-the-controls": "One person at the controls; a second person has a named place outside the swing.",
    "isolate": "Isolate the machine and release its pressure before changing tooling.",
    "support": "A long leading part sags and whips: support it.",
    "slow-first": "Run the first cycle slow, with scrap tube.",
    "defer": "Follow the maker's manual, local codes and trained, licensed practice.",
    "profile-only": "The plan is checked against the profile, not against the machine in front of you.",
    "check-the-hand": "Check the hand of one made part before you trust a table's rotation sign.",
}
"""Cautions that stand with every plan."""

SAYS: Final[dict[str, Sentence]] = {**NOTES, **CAUTIONS, **GENERAL}
