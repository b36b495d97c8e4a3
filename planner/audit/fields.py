"""Which fields a step of each kind carries: none that it must have is missing, none is there that it has not.

What the interpreter of steps does not read is not there for nothing: a reading on a step that shows none, or a bend
that is not at hand, misleads whoever sets the machine by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from planner.audit.refused import Refused

Step = dict[str, Any]

HELD: Final = (
    "bend", "leads", "angle", "setting", "amount", "unit", "reading", "way", "from", "to", "grip", "clamp", "end",
    "clearance",
)  # fmt: skip
"""Fields that tell what is done and where everything stands."""

_AT_BEND: Final = {"bend", "leads", "clamp"}
_MOVED: Final = {"from", "to", "clearance"}
_BY: Final = {"amount", "unit"}
_IF_HELD: Final = {"grip"}
_ON: Final = {"leads", "clamp"}

FIELDS: Final[dict[str, tuple[set[str], set[str]]]] = {
    "load": (_ON, _MOVED),
    "turn": (_ON, _MOVED),
    "reload": (_ON, _MOVED),
    "unload": (_ON, _MOVED),
    "advance": (_BY | {"clamp"}, _AT_BEND | _MOVED | _IF_HELD | {"reading"}),
    "rotate": (_BY | {"clamp", "way"}, _AT_BEND | _MOVED | _IF_HELD | {"reading"}),
    "close dies": (_AT_BEND | _MOVED, _IF_HELD),
    "open collet": (_AT_BEND, set()),
    "bend": (_AT_BEND | _MOVED | _BY | {"angle", "setting"}, _IF_HELD | {"reading"}),
    "open dies": (_AT_BEND | _MOVED, _IF_HELD),
    "re-grip": (_AT_BEND | _MOVED | _BY, _IF_HELD),
    "zero": (_AT_BEND, _IF_HELD),
    "run forward": (_AT_BEND | _MOVED | _BY, _IF_HELD | {"reading"}),
    "return": (_AT_BEND, _MOVED | _BY | _IF_HELD | {"reading"}),
    "die down": (_AT_BEND | _MOVED | _BY, _IF_HELD),
    "die up": (_AT_BEND | _MOVED | _BY, _IF_HELD),
    "carriage forward": (_AT_BEND | _MOVED | _BY, _IF_HELD),
    "carriage back": (_AT_BEND | _MOVED | _BY, _IF_HELD),
    "change clamp": (_BY | {"clamp"}, {"bend", "leads"}),
    "change dies": (_BY | {"clamp"}, {"bend", "leads"}),
    "trim": (_BY | {"clamp", "end"}, set()),
    "check": ({"clamp"}, set()),
}
"""By action: the fields that a step must carry, and those that it may."""


def holds_fields(step: Step, before: Sequence[Step], coming: Sequence[Step]) -> None:
    """Refuse a step whose fields are not those of its kind, or that is of a bend which is not at hand.

    before: the steps before it; coming: it and the steps that follow.
    """
    must, may = FIELDS.get(step["action"], (set(), set(HELD)))
    there = {name for name in HELD if step[name] is not None}
    if step["checked"] is not True and not (must | may) & _MOVED:
        raise Refused(f"Step {step['number']} ({step['action']}): it is said not to have been checked.")
    if missing := sorted(must - there):
        raise Refused(f"Step {step['number']} ({step['action']}): its {missing[0]} is missing.")
    if more := sorted(there - must - may):
        raise Refused(f"Step {step['number']} ({step['action']}): there is no {more[0]} of such a step.")
    if (step["amount"] is None) != (step["unit"] is None):
        raise Refused(f"Step {step['number']} ({step['action']}): an amount and its unit go together.")
    if step["action"] == "bend" and step["amount"] != step["setting"]:
        raise Refused(f"Step {step['number']} (bend): it counts {step['amount']}°, its setting is {step['setting']}°.")
    made, to_make = ([one["bend"] for one in some if one["action"] == "bend"] for some in (before, coming))
    at_hand = (*made[-1:], *to_make[:1])
    if step["bend"] is not None and step["bend"] not in at_hand:
        raise Refused(f"Step {step['number']} ({step['action']}): bend {step['bend']} is not at hand there.")


WITHOUT_STEPS: Final = (
    "order", "reclamps", "turns", "regrips", "reloads", "released", "smallest_clearance", "stock", "keep_clear",
    "short", "alternatives",
)  # fmt: skip
"""What a plan without steps does not tell."""


def holds_nothing(plan: dict[str, Any]) -> None:
    """Refuse a document without steps that tells of a plan."""
    for name in WITHOUT_STEPS:
        if plan[name] not in (None, [], ()):
            raise Refused(f"There are no steps, and the {name} of a plan.")
