"""What a wrong plan would look like: one thing in a right plan's document made wrong, and all that follows from it.

Each fault gives the document and the numbers of the steps in which it shows; None where the plan leaves no room for it.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np

from tests.plan.replay.carrying_out import CarryingOut, Document
from tests.plan.replay.clearances import STATED_GAP, Clearances
from tests.plan.replay.finished import differs

Faulty = tuple[Document, frozenset[int]]
Fault = Callable[[Document, int], Faulty | None]

SHIFTED, GROWN, RAISED = 30.0, 5.0, 0.6
"""By so much a collet is shifted, a solid grown and a printed clearance raised [mm]."""

TOO_SHORT = 0.5
"""Share of a tube's first way forward by which it comes short."""

DRAWN_IN = 0.85
"""Share of their distances at which the corners of an outline are left."""

HOLDING = (
    "carriage forward",
    "advance",
    "rotate",
    "close dies",
    "bend",
    "re-grip",
    "open dies",
    "run forward",
    "return",
)
"""What is done with the collet closed, or with a new hold at its end."""


def caught(document: Document, steps: frozenset[int]) -> bool:
    """Whether carrying out the document shows that something is wrong: at once, in the part made, or in these steps."""
    try:
        done = CarryingOut(document).carry_out()
        return bool(differs(done)) or bool(Clearances(document, done, steps).wrong)
    except AssertionError:
        return True


def at_the_machine(step: Document) -> bool:
    """Whether a step is an advance or a rotation that the machine makes."""
    return step["action"] in ("advance", "rotate") and step["bend"] is not None


def positions(step: Document) -> list[dict[str, Any]]:
    """All positions that a step names."""
    return [place for place in (step["from"], step["to"], step["nearest_at"]) if place is not None]


def a_rotation_the_other_way(document: Document, seed: int) -> Faulty | None:
    """One rotation goes the other way round, and the chuck stands elsewhere for the rest of the load."""
    made = copy.deepcopy(document)
    turns = [s for s in made["steps"] if at_the_machine(s) and s["action"] == "rotate" and 2.0 < s["amount"] < 178.0]
    if not turns:
        return None
    step = turns[seed % len(turns)]
    way = step["to"]["rotation"] - step["from"]["rotation"]
    step["way"] = "counter-clockwise" if step["way"] == "clockwise" else "clockwise"
    for place in (step["to"], step["nearest_at"]):
        if place is not None:
            place["rotation"] = 2.0 * step["from"]["rotation"] - place["rotation"]
    for after in made["steps"][step["number"] :]:
        if after["action"] in ("load", "turn", "reload"):
            break
        if after["bend"] is None or after["from"] is None:
            continue  # by hand rotations count from how the tube lies
        turned_back = after["action"] == "re-grip" and after["to"]["rotation"] != after["from"]["rotation"]
        for place in positions(after)[: 1 if turned_back else None]:
            place["rotation"] -= 2.0 * way
        if turned_back:
            break
    return made, frozenset({step["number"]})


def every_rotation_the_other_way(document: Document, seed: int) -> Faulty | None:
    """The sign of all rotations is flipped: the part's mirror image is made."""
    del seed
    made = copy.deepcopy(document)
    handed = any(2.0 < abs(row[1]) < 178.0 for row in document["part"]["shape"]["lra"][1:-1])
    if not handed or document["turns"] or document["reloads"]:
        return None
    for step in made["steps"]:
        if step["action"] == "rotate":
            step["way"] = "counter-clockwise" if step["way"] == "clockwise" else "clockwise"
        for place in positions(step):
            place["rotation"] = -place["rotation"]
    return made, frozenset()


def a_grip_shifted(document: Document, seed: int) -> Faulty | None:
    """At one step the collet is said to hold the tube elsewhere than it does."""
    made = copy.deepcopy(document)
    held = [s for s in made["steps"] if s["grip"] is not None and s["bend"] is not None and s["action"] in HOLDING]
    if not held:
        return None
    step = held[seed % len(held)]
    step["grip"] += SHIFTED if seed % 2 else -SHIFTED
    return made, frozenset()


def a_collet_further_forward(document: Document, seed: int) -> Faulty | None:
    """The collet holds the tube further forward than the plan was made for; the tube is where it was."""
    del seed
    made = copy.deepcopy(document)
    for step in made["steps"]:
        runs = step["action"] in ("carriage forward", "carriage back")
        if step["grip"] is not None:
            step["grip"] += SHIFTED
        if runs:  # where the carriage waits stays the same
            (step["to"] if step["action"] == "carriage forward" else step["from"])["face"] -= SHIFTED
            step.update(amount=abs(step["to"]["face"] - step["from"]["face"]), nearest=None, nearest_at=None)
            step["note"] = re.sub(
                r"([\d.]+) mm from the tail", lambda m: f"{float(m[1]) + SHIFTED} mm from the tail", step["note"]
            )
        for place in positions(step):
            if place["face"] is not None and step["grip"] is not None and not runs:
                place["face"] -= SHIFTED
    near = [step for step in made["steps"] if step["nearest"] == "collet drive"]
    return (made, frozenset(step["number"] for step in near)) if near else None


def a_way_forward_too_short(document: Document, seed: int) -> Faulty | None:
    """The tube is run forward too little before the arm goes home, and the rest of the way later; all else is right."""
    made = copy.deepcopy(document)
    first = [s for s in made["steps"] if s["action"] == "run forward" and s["from"]["y"] == 0.0]
    if not first:
        return None
    step = first[seed % len(first)]
    short = TOO_SHORT * step["amount"]
    step["amount"] -= short
    shown = set()
    for after in made["steps"][step["number"] - 1 :]:
        if after["from"] is None:
            continue
        last = (
            after["number"] > step["number"] and after["amount"] is not None and after["from"]["y"] != after["to"]["y"]
        )
        ends = [after["to"]] if after is step else [after["from"]] if last else [after["from"], after["to"]]
        for place in ends:
            place["y"] -= short
            if place["face"] is not None and after["grip"] is not None:
                place["face"] += short
        after.update(nearest=None, nearest_at=None)
        shown.add(after["number"])
        if last or after["action"] == "unload":
            after["amount"] = None if after["amount"] is None else after["amount"] + short
            break
    return made, frozenset(shown)


def a_leg_of_a_way_home_left_out(document: Document, seed: int) -> Faulty | None:
    """The tube is never run forward before the arm goes home: all of its way home is one leg."""
    made = copy.deepcopy(document)
    steps = made["steps"]
    ends = [k for k, s in enumerate(steps) if s["action"] == "return" and s["from"] and s["to"]["arm"] == 0.0]
    if not ends:
        return None
    last = ends[seed % len(ends)]
    first = last
    while steps[first - 1]["action"] in ("run forward", "return") and steps[first]["from"]["y"] != 0.0:
        first -= 1
    if steps[last]["to"]["y"] == 0.0 or len(steps) == last + 1:
        return None
    home, start = steps[last], steps[first]["from"]
    after = steps[last + 1]
    if after["action"] not in ("advance", "unload"):
        return None
    way = home["to"]["y"]
    home.update({"from": dict(start), "to": {**start, "arm": 0.0}, "amount": None, "nearest": None, "nearest_at": None})
    after["from"] = {**start, "arm": 0.0}
    after["amount"] = None if after["amount"] is None else after["amount"] + way
    del steps[first:last]
    for number, step in enumerate(steps, start=1):
        step["number"] = number
    return made, frozenset({first + 1})


def a_carriage_that_waits_nearer(document: Document, seed: int) -> Faulty | None:
    """The carriage stands nearer than it waits while the collet is open."""
    made = copy.deepcopy(document)
    back = [s for s in made["steps"] if s["action"] == "carriage back"]
    if not back:
        return None
    step = back[seed % len(back)]
    step["to"]["face"] -= SHIFTED
    step["amount"] = abs(step["to"]["face"] - step["from"]["face"])
    for after in made["steps"][step["number"] :]:
        if after["action"] in ("load", "turn", "reload"):
            break
        for place in positions(after):
            place["face"] -= SHIFTED
    return made, frozenset()


def a_leg_left_out(document: Document, seed: int) -> Faulty | None:
    """An advance or a rotation is missing."""
    made = copy.deepcopy(document)
    legs = [number for number, step in enumerate(made["steps"]) if at_the_machine(step)]
    if not legs:
        return None
    del made["steps"][legs[seed % len(legs)]]
    for number, step in enumerate(made["steps"], start=1):
        step["number"] = number
    return made, frozenset()


def known_closely(document: Document) -> list[tuple[float, int]]:
    """Printed clearances and numbers of the steps whose nearest place is known as closely as the plan says, nearest first."""
    plan = Clearances(document, CarryingOut(document).carry_out())
    found = [(motion, plan.at_place(motion)) for motion in plan.motions]
    return sorted(
        (at.printed, motion.step["number"])
        for motion, at in found
        if at is not None and at.distance <= at.printed + STATED_GAP + 0.01
    )


def a_solid_larger(document: Document, seed: int) -> Faulty | None:
    """The solid that some step comes nearest to is larger all round: of half of the plans at the step nearest of all."""
    made = copy.deepcopy(document)
    steps = [made["steps"][number - 1] for _, number in known_closely(made)]
    steps = [step for step in steps if can_grow(made["machine"], step)]
    if not steps:
        return None
    step = steps[0 if seed % 2 else seed % len(steps)]
    grow(made["machine"], step["nearest"])
    return made, frozenset({step["number"]})


def can_grow(machine: Document, step: Document) -> bool:
    """Whether the solid that a step comes nearest to can be grown toward the tube; a block can while it stands open."""
    name, opened = step["nearest"], step["action"] in ("advance", "rotate", "run forward", "return")
    own = {entry["name"] for entry in machine.get("solid", ())}
    return name in own | {"floor", "die hub"} or (opened and name in ("pressure die", "clamp die"))


def grow(machine: Document, name: str) -> None:
    """Make a solid of the machine larger all round."""
    own = {entry["name"]: entry for entry in machine.get("solid", ())}
    if name == "floor":
        machine["head"]["centreline_height"] -= GROWN
    elif name == "die hub":
        for tooling in machine["tooling"]:
            tooling["die_hub"]["radius"] += GROWN
            tooling["die_hub"]["height"] += 2.0 * GROWN
    elif name in ("pressure die", "clamp die"):
        for tooling in machine["tooling"]:
            block = tooling[name.replace("die", "block").replace(" ", "_")]
            block.update(
                opens=block["opens"] - GROWN, width=block["width"] + 2.0 * GROWN, height=block["height"] + 2.0 * GROWN
            )
    elif own[name].get("box") is not None:
        box = own[name]["box"]
        box["from"], box["to"] = [x - GROWN for x in box["from"]], [x + GROWN for x in box["to"]]
    else:
        post = own[name]["cylinder"]
        post["radius"], post["z"] = post["radius"] + GROWN, [post["z"][0] - GROWN, post["z"][1] + GROWN]


def a_clearance_raised(document: Document, seed: int) -> Faulty | None:
    """More clearance is printed than there is."""
    made = copy.deepcopy(document)
    steps = known_closely(made)
    if not steps:
        return None
    _, number = steps[int(np.random.default_rng(seed).integers(len(steps)))]
    made["steps"][number - 1]["clearance"] += RAISED
    return made, frozenset({number})


FAULTS: dict[str, Fault] = {
    "a rotation goes the other way": a_rotation_the_other_way,
    "every rotation goes the other way": every_rotation_the_other_way,
    "a grip is shifted": a_grip_shifted,
    "the collet holds further forward": a_collet_further_forward,
    "the tube is run forward too little": a_way_forward_too_short,
    "the arm comes home past the standing tube": a_leg_of_a_way_home_left_out,
    "the carriage waits nearer": a_carriage_that_waits_nearer,
    "a leg is left out": a_leg_left_out,
    "a solid is larger": a_solid_larger,
    "a printed clearance is larger": a_clearance_raised,
}
"""Every fault by what is wrong."""


# What is said of the floor and the room


def an_outline_drawn_in(document: Document) -> Document:
    """The outline to keep clear of is drawn in all round."""
    made = copy.deepcopy(document)
    for one in made["keep_clear"]:
        one["outline"] = [[DRAWN_IN * x, DRAWN_IN * y] for x, y in one["outline"]]
    return made


def less_said(key: str, by: float) -> Callable[[Document], Document]:
    """One number of a swing is so much nearer to nothing [mm, mm/s]: that of the step in which it is greatest."""

    def faulty(document: Document) -> Document:
        made = copy.deepcopy(document)
        said = [s["swing"] for s in made["steps"] if s["swing"] is not None and s["swing"][key] is not None]
        swing = max(said, key=lambda one: abs(one[key]))
        swing[key] -= math.copysign(by, swing[key])
        return made

    return faulty


SMALLER: dict[str, Callable[[Document], Document]] = {
    "the outline is drawn in": an_outline_drawn_in,
    "it comes less far": less_said("farthest", 25.0),
    "it comes less high": less_said("highest", 15.0),
    "it comes less low": less_said("lowest", 15.0),
    "its tip is slower": less_said("tip_speed", 100.0),
}
"""Every way in which less is said to be swept than is."""
