"""What is in the way, in words: of which piece of tube, what it meets, when, and what cannot be done for it."""

from __future__ import annotations

from typing import Final

from planner.wording.say import Sentence, Values


def _formed(v: Values) -> str:
    """Say which bends must be formed for it, and which not."""
    if not v.made:
        return f" while bend {v.unmade} is not formed"
    said = f" once bend{v.made:s} {v.made:numbers} {'is' if f'{v.made:s}' == '' else 'are'} formed"
    return f"{said} and bend {v.unmade} is not" if v.unmade else said


SAYS: Final[dict[str, Sentence]] = {
    # Pieces of tube
    "straight": "straight {number}",
    "bend": "bend {number}",
    "trim": "the trim at end {end}",
    # What a piece meets
    "strikes": "strikes {solid:the}, {deep} deep",
    "presses": "presses {deep} into {solid:the}, {allowed:bare} allowed",
    "comes-within": "comes within {gap} of {solid:the}, {required:bare} required",
    "met": "{piece} {contact}{when}",
    "too-close": "{piece} against {solid:the} is too close to call, {required}",
    "no-room-to-rotate": "the straight before it leaves no room to rotate ({advance})",
    # What would have to be asked for
    "required": "{needed} required",
    "may-press-in": "{allowed} may press in",
    "clear-with-less-required": "{needed} required; with {enough} required, {less} less, this would be clear",
    "clear-with-more-allowed": "{allowed} may press in; with {enough} allowed, {more} more, this would be clear",
    # When
    "into-the-swing": ", {angle} into the swing",
    "arm-at": ", with the arm at {angle}",
    "into-the-rotation": ", {angle} into the rotation at an advance of {advance}",
    "at-an-advance": ", at an advance of {advance}",
    "while-dies-open": ", while dies open",
    "as-the-carriage-runs": ", as the carriage runs",
    "as-the-die-drops": ", as the die drops",
    "at": ", at {phase}",
    # What cannot be done
    "cannot-bend": "Bend {bend} cannot be made with end {leads} leading{formed}: {met}.",
    "cannot-return": "The arm cannot go home after bend {bend}{looked} with end {leads} leading{formed}: {met}.",
    "cannot-move": "The tube cannot be brought to bend {bend}{looked} with end {leads} leading{formed}: {met}.",
    "cannot-load": "The tube cannot be put on for bend {bend}{looked} with end {leads} leading{formed}: {met}.",
    "cannot-unload": "The tube cannot be taken off after bend {bend}{looked} with end {leads} leading{formed}: {met}.",
    "cannot-carriage-run": (
        "The carriage cannot run along the tail at bend {bend} with end {leads} leading{formed}: {met}."
    ),
    "formed": _formed,
    "by-any-path": " by any path",
    "along-the-paths-tried": " along the paths tried",
    "however-run-forward": ", however the tube is run forward meanwhile,",
    "in-any-way-tried": " in any way tried",
    # The same in short
    "blocked-bend": "Bend {bend}{leading}: {met}.",
    "leading": ", end {leads} leading",
}
