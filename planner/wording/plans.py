"""What a plan says beside its steps, in words: what was found and proved, set-up, floor, stock, what to warn of."""

from __future__ import annotations

from typing import Final

from planner.wording.say import Sentence, Values
from planner.words import counted


def reclamps(v: Values) -> str:
    """Return how many re-clamps: "1 re-clamp", "2 re-clamps"."""
    return counted(v.reclamps.count, "re-clamp")


def _bound(v: Values) -> str:
    stock = f"{v.stock} more stock, " if v.stock else ""
    return f"at least {stock}{reclamps(v)}, {v.trim} of trim, {v.time} of moves"


def _other_way(v: Values) -> str:
    stock = f"With {v.stock} more stock a part, sawn off afterwards: " if v.stock else ""
    return (
        f"{stock}{reclamps(v)}, {v.trim} of trim, {v.time}, smallest clearance {v.clearance}: {v.order} (bend and"
        " leading end)."
    )


def _short(v: Values) -> str:
    steps = f"step{v.steps:s} {v.steps:list}"
    kept = f"the tube keeps {v.kept} to {v.solid:the} where {v.needed} are asked for"
    if v.pressing:
        kept = f"the tube may press {v.pressing} into {v.solid:the} where {v.allowed} are allowed"
    return f"In {steps} {kept}: up to {v.band} is taken as kept. Watch it on the first part."


def _fit(v: Values) -> str:
    tools = f"it the dies for a bend radius of {v.radius} and the {v.clamp} clamp."
    return f"Pass {v.number} of {v.passes}, all parts: f{tools}" if v.number else f"F{tools}"


SAYS: Final[dict[str, Sentence]] = {
    # What was found and proved
    "no-order-goes": "no order goes",
    "bound": _bound,
    "proved-by-then": "When the time ran out it was proved that a plan needs {needs}.",
    "not-all-reasons": (
        "The reasons are some of those that exclude every order, not the fewest: the time limit came first."
    ),
    "other-way": _other_way,
    "other-ways": (
        "Other ways: {found} found that are better in something; only plans with up to {most} re-clamps more were"
        " looked at, and for each trim no more than {rungs}.{unfinished}"
    ),
    "not-to-the-end": " They were not sought to the end: the time limit came first.",
    "as-said": "{text}",  # what comes from outside, as it is
    # Set-up and floor
    "fit": _fit,
    "keep-clear": (
        "Tube, arm and clamp sweep the floor up to {ahead} ahead of the tangent point, {behind} behind it, {left} to"
        " the left and {right} to the right of the feed: nobody stands there while they move."
    ),
    "crush-gaps": (
        "Crush gaps: tube or arm come within {gaps:commas}; a body needs {body} (ISO 13854). Nobody stands or reaches"
        " in there while the machine is live."
    ),
    "gap-to": "{gap} of {solid:the}",
    # What to warn of
    "short": _short,
    "in-free-hands": (
        "Before its tail is on the mandrel and once it is off, the tube is in free hands: nothing is checked there, and"
        " turning end for end is done there too."
    ),
    "no-rod": (
        "There is no mandrel that the tube goes on to from the front: how it is put in and taken out is not checked; do"
        " it by hand and by eye."
    ),
    "turned-back": (
        "At every re-grip the open chuck is taken to be turned back to 0; plans that leave it where it stands were not"
        " sought."
    ),
    "different-radii": "The bends have different radii: the dies are changed between them, which is not checked.",
    "sag-not-reckoned": 'Sag not reckoned: no modulus and density are known for "{material}".',
}
