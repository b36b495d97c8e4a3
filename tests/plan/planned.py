"""Random parts planned on roomy benders of every kind: the plans that most tests of this folder look at."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from tests.plan.shop import FINE, bender, head, random_tube, rod_that_asks_for_a_turn
from tests.plan.workpiece import Document, Workpiece

SHORT_TRAVEL: dict[str, Any] = {"carriage": {"reach": [150, 480]}}
"""So short a travel that a part of three bends needs re-grips."""

ABSOLUTE = {"zeroed": False, "resolution": 0.1}
SIGNED_DIAL = {"zeroed": False, "style": "signed", "counts": "counter-clockwise", "resolution": 0.5}

KINDS: dict[str, tuple[dict[str, Any], ...]] = {
    "right": (FINE, head("right")),
    "left": (FINE, head("left")),
    "hand-fed right": (FINE, head("right"), {"carriage": None}),
    "hand-fed left": (FINE, head("left"), {"carriage": None}),
    "turned right": (head("right"),),
    "turned left": (head("left"),),
    "turned hand-fed": (head("right"), {"carriage": None}),
    "re-grips, counts from farthest": (SHORT_TRAVEL, {"advance": {**ABSOLUTE, "absolute_zero": "collet at farthest"}}),
    "re-grips, counts from closest": (
        SHORT_TRAVEL,
        head("left"),
        {"advance": {**ABSOLUTE, "absolute_zero": "collet at closest"}, "rotation": {"counts": "counter-clockwise"}},
    ),
    "counts from the leading end": ({"advance": {**ABSOLUTE, "absolute_zero": "leading end at tangent"}},),
    "limited chuck": (SHORT_TRAVEL, {"rotation": {**SIGNED_DIAL, "range": [-270, 270]}}),
    "put back right": (FINE, {"rotation": {"range": [-20, 20]}}),
    "put back left": (head("left"), {"rotation": {"range": [-20, 20], "style": "signed"}}),
    "absolute dial": (head("left"), {"rotation": {"zeroed": False, "counts": "counter-clockwise"}}),
    "signed dial": ({"rotation": {"style": "signed"}},),
    "coarse": ({"rotation": {"resolution": 1.0}, "advance": {"resolution": 1.0}},),
    "closed at the back": ({"carriage": {"passes_through": False}},),
    "released": ({"carriage": {"finish_released": True}},),
    "home with the arm": ({"head": {"homes_with_tube": True}},),
    "waits nearer": ({"carriage": {"stand_back": 4000}}, head("left")),
    "die drops": (head("left"), {"head": {"die_drops": 80, "may_ease_off": False}}),
    "pushed by hand": (FINE, {"head": {"may_ease_off": False}}),
}
"""Changes to the profile, by kind."""

COUNTS = {
    "right": 4, "left": 4, "turned right": 3, "turned left": 3, "coarse": 4, "released": 3, "home with the arm": 3,
    "waits nearer": 3, "pushed by hand": 3,
}  # fmt: skip
EACH = 2
"""Parts of each kind."""


@dataclass(frozen=True)
class Planned:
    """One part planned on one bender; the document as a reader of the JSON sees it."""

    kind: str
    part: Part
    machine: Machine
    document: Document = field(repr=False)

    @cached_property
    def workpiece(self) -> Workpiece:
        """The plan carried out on a simulated tube."""
        return Workpiece(self.document).carry_out()

    @property
    def name(self) -> str:
        """What to call it where a test fails."""
        return f"{self.part.name} on {self.kind}"


def part_for(kind: str, seed: int) -> Part:
    """A part that suits the kind: every other one too short at end B to be made with end A leading, where that is a choice."""
    if kind.startswith("turned"):
        return random_tube(seed, 3 + seed % 2)
    if kind == "released":
        return random_tube(seed, ends=(100.0, 100.0))
    if kind == "pushed by hand":
        return random_tube(seed, 1 + seed % 2)
    if kind.startswith(("re-grips", "put back")) or kind == "limited chuck":
        return random_tube(seed, 3)
    if seed % 4 == 2:  # too short to be gripped at A and to be held at B: it needs trim
        return replace(random_tube(seed, ends=(30.4, 60.7)), trim_a=60.0, trim_b=300.0)
    return random_tube(seed, ends=(420.0, 420.0) if seed % 2 else (420.0, 150.0))


def planned(kind: str, seed: int) -> Planned | None:
    """Plan one part; None for a part whose shape lets no rod ask for a turn, or that the plain orders do not give."""
    part = part_for(kind, seed)
    changes = list(KINDS[kind])
    if kind.startswith("turned"):
        rod = rod_that_asks_for_a_turn(part)
        if rod is None:
            return None
        changes.append({"mandrel": {"rod_length": rod}})
    machine = bender(*changes)
    made = plan(part, machine)
    return Planned(kind, part, machine, json.loads(made.to_json())) if made.verdict == "makeable" else None


def all_planned() -> Iterator[Planned]:
    """Plan the parts of every kind, by seed, until there are enough of each."""
    for place, kind in enumerate(KINDS):
        found, seed = 0, 1000 * place
        while found < COUNTS.get(kind, EACH):
            made = planned(kind, seed)
            seed += 1
            assert seed < 1000 * place + 60, f"too few of the random parts can be planned on {kind}"
            if made is not None:
                found += 1
                yield made
