"""Why a part is made as it is, how an order fares, and what would make a part possible, in words."""

from __future__ import annotations

from typing import Final

from planner.wording.plans import reclamps
from planner.wording.say import Sentence, Values
from planner.words import counted


def _costs(v: Values) -> str:
    clearance = f", smallest clearance {v.clearance}" if v.clearance else ""
    return f"{reclamps(v)}, {v.trim} of trim, {v.time}{clearance}"


WHY: Final[dict[str, Sentence]] = {
    # Parts and plans
    "part": lambda v: f"{v.name} ({v.diameter} tube, {counted(v.bends.count, 'bend')})",
    "no-order-of-part": "{part} cannot be made on the {machine} in any order.",
    "part-not-settled": "Whether {part} can be made on the {machine} is not settled.",
    "part-goes": "{part} goes as {order}: {costs}.",
    "costs": _costs,
    "least-costs": lambda v: f"{reclamps(v)} and {v.trim} of trim",
    # An order
    "order-out-of-time": "{order} is not settled: the time limit came first.",
    "order-goes": lambda v: f"{v.order} goes: {v.costs}.{f' {v.against}' if v.against else ''}",
    "own-order": "It is the plan's own order.",
    "against-the-best": "Against the best plan: {differences:commas}.",
    "as-good-as-the-best": "The best plan costs as much, within {time} and {clearance}.",
    "more-reclamps": lambda v: f"{reclamps(v)} {v.way}",
    "more-trim": "{trim} of trim {way}",
    "more-time": "{time} {way}",
    "more-clearance": "{clearance} {way} clearance",
    "order-fails": "{order} fails at step {step}: {reason}",
    "order-not-settled": "{order} is not settled at step {step}: {reason}",
    "order-not-tried": (
        "{order} is not settled: from step {step} on the formed bends are no run of neighbours that ends at the die,"
        " and on a bender without a mandrel and a carriage such orders are not tried yet."
    ),
    "formed-behind": (
        "Bend {bend} with end {leads} leading: bend {formed} is formed already and would lie in the tail, {distance}"
        " behind the tangent point, where the tube must still be straight."
    ),
    "touches": "{piece:cap} {contact}.",
    "against-is-too-close": "against {solid:the} is too close to call",
    # Where it is begun
    "begun-in-the-middle": "It must be begun in the middle: no plan with {costs} begins with bend 1 or bend {last}.",
    "begun-elsewhere": "The plan is begun with {bend}{leads} ({costs}). Begun with bend 1 or bend {last}:",
    "begun": "{bend}{leads} first: {outcome}",
    "never-begun-so": "no plan begins so. {reason}",
    "begin-not-settled": "it is not settled whether that goes with {costs}.",
    "begin-with-gaps-not-tried": "{order} takes {costs}; orders that leave gaps were not tried.",
    "begin-costs-more": "{order} takes {costs}, and none so begun takes {best}.",
    "begin-as-good": "{order} goes as well, but {but}.",
    "takes-longer": "takes {time} longer",
    "turns-back-more": "rotates {times} times the other way than before, not {best} (within {within})",
    "drawn-back-more": "is drawn back by {way}, not {best}",
    "more-ahead": "has more tube ahead of the die: {ahead}, summed over the bends, not {best}",
    "of-equals": "of equals (within {within}) end A and low bends come first",
    # What comes before what
    "arrows": "In every plan with {costs} a bend comes before those that its arrows lead to.",
    "one-bend": "There is 1 bend to make, with {costs}.",
    "any-order": "No bend must come before another one: any two go either way round, with {costs}.",
    # Moments of a motion
    "moment-in-the-swing": "{angle} into the swing",
    "moment-of-the-arm": "with the arm at {angle}",
    "moment-of-the-rotation": "{angle} into the rotation, at an advance of {advance}",
    "moment-of-the-advance": "at an advance of {advance}",
    "moment-of-the-carriage": "with the collet's face {face} from the tangent point",
    "moment-closing": "while the dies close",
    "moment-opening": "while the dies open",
    "moment-regrip": "at the re-grip",
    "moment-laid-in": "as it is laid in",
    "no-tooling": "No tooling for tube {diameter} on radius {radius}.",
}

CHANGES: Final[dict[str, Sentence]] = {
    "change": lambda v: f"{' Besides: '.join(v.what.each())} {f'{v.least} ' if v.least else ''}{v.result}",
    "change-trim": (
        "Trim at {where} of {then} instead of {now}: {amount} more tube a part, cut off after the last bend."
    ),
    "change-clearance": (
        "A clearance of {then} to machine and floor instead of {now}: sag and a crooked set-up have {amount} less to"
        " use up, so make the first part slowly."
    ),
    "change-rod": "A mandrel rod of {then} instead of {now}: a rod {amount} longer to put in.",
    "change-pressure-die": "A pressure die of {then} instead of {now}: one {amount} longer to make.",
    "change-clamp": (
        "A clamp die of {then}, {amount} shorter than the shortest there is ({now}), and a grip no longer than that:"
        " one clamp die to make, which holds less, so watch for slipping."
    ),
    "change-machine-raised": (
        "A pit {amount} deep where the tube swings, or the machine and the solids of its profile raised by as much: the"
        " centreline {then} over the floor instead of {now}."
    ),
    "change-straight": "{where:cap} longer by {amount}: {then} on the drawing instead of {now}.",
    "change-farthest": (
        "A carriage that runs back to {then} from the tangent point instead of {now}: {amount} more travel, a"
        " longer bed."
    ),
    "change-closest": (
        "A collet that comes to {then} from the tangent point instead of {now}: {amount} more travel, a longer nose on"
        " the collet or another stop of the carriage."
    ),
    "change-machine": 'The machine "{machine}" instead: its own tooling to set up{cut}.',
    "cut-to": ", with tubes cut to {length}",
    "change-joint": (
        "Two pieces, joined on straight {straight}, {place} from bend {straight}: tubes cut to {cut:list}, and one"
        " joint to make, at a rotation of {rotation} over it."
    ),
    "planned-again": lambda v: (
        f"Planned again so, it takes {reclamps(v)} and {v.trim} of trim"
        f"{f', the smallest clearance {v.clearance}' if v.clearance else ''}."
    ),
    "less-is-too-little": "Every smaller whole millimetre is proved too little.",
    "least-found": "It is the smallest that was found.",
    "less-of-either-is-too-little": (
        "With the other one made, every smaller whole millimetre of either is proved too little."
    ),
    "least-found-of-both": "They are the smallest that were found.",
    "changes-out-of-time": "What would make it possible was not sought to the end: the time limit came first.",
}

SAYS: Final[dict[str, Sentence]] = {**WHY, **CHANGES}
