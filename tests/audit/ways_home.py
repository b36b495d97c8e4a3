"""Plans with every kind of step on the arm's way home, and of the carriage's runs, with their proofs."""

from __future__ import annotations

import copy
import json
from functools import cache
from typing import Any

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document, proof_text
from tests.plan.shop import bender, head, tube

Document = dict[str, Any]

ELBOW = tube([300, 400], [0], [90], name="elbow")
HAIRPIN = tube([300, 500], [0], [180], name="half turn")
THREE = tube([400, 200, 300, 400], [0, 90, 90], [90, 60, 90], name="three")
NEAR_EITHER_END = tube([300, 200, 300], [0, 180], [90, 90], name="offset")
BESIDE = {
    "name": "slide beside it", "moves_with": "pressure die", "box": {"from": [-200, 70, -60], "to": [-20, 120, -20]}
}  # fmt: skip
CARRIAGE = {"name": "carriage", "moves_with": "carriage", "box": {"from": [-150, -60, -120], "to": [0, 60, -30]}}
ARM = {"name": "arm", "moves_with": "arm", "box": {"from": [-20, -60, -200], "to": [60, 60, -70]}}
SOLIDS: dict[str, Any] = {"solid": [BESIDE, CARRIAGE, ARM]}
TIP = {"mandrel": {"rod_diameter": 20}, "tooling": {"mandrel": {"nose": 5, "balls": 2, "ball_reach": 45}}}

CASES: dict[str, tuple[Part, tuple[dict[str, Any], ...]]] = {
    "run forward in two steps": (ELBOW, ({},)),
    "together": (ELBOW, ({"head": {"homes_with_tube": True}},)),
    "by hand": (ELBOW, ({"head": {"may_ease_off": False}},)),
    "drawn off": (HAIRPIN, ({},)),
    "without a section": (ELBOW, ({"tooling": {"grip_section": False}},)),
    "stands near": (ELBOW, ({"carriage": {"stand_back": 200}},)),
    "turned": (NEAR_EITHER_END, ({"mandrel": {"rod_length": 560}},)),
    "re-gripped": (THREE, ({"carriage": {"reach": [150, 760]}, "head": {"homes_with_tube": True}},)),
    "reloaded": (THREE, ({"carriage": {"reach": [150, 560]}, "head": {"homes_with_tube": True}},)),
    "released": (tube([120, 150], [0], [90], name="short"), ({"carriage": {"finish_released": True}},)),
    "balls": (THREE, (TIP,)),
    "drawn back": (THREE, (TIP, {"mandrel": {"draws_back": True}})),
    "by the hand alone": (ELBOW, ({"carriage": None, "mandrel": None},)),
    "die drops": (THREE, ({"head": {"die_drops": 80, "may_ease_off": False}},)),
    "no mandrel": (ELBOW, ({"mandrel": None},)),
    "absolute readouts": (
        THREE,
        (
            {"advance": {"zeroed": False, "absolute_zero": "collet at farthest"}, "head": {"homes_with_tube": True}},
            {"rotation": {"zeroed": False, "style": "signed"}},
        ),
    ),
}
"""By what they show: a part, and what is changed about the bender of `tests.plan.shop`."""


def machine_of(name: str, toward: str = "right", *more: dict[str, Any]) -> Machine:
    """The bender of a case, with solids on arm, carriage and pressure die."""
    solids = copy.deepcopy(SOLIDS)
    if toward == "left":
        for solid in solids["solid"]:
            low, high = solid["box"]["from"], solid["box"]["to"]
            low[1], high[1] = -high[1], -low[1]
    changes = CASES[name][1]
    if any(change.get("carriage", {}) is None for change in changes):
        solids["solid"] = [solid for solid in solids["solid"] if solid["moves_with"] != "carriage"]
    return bender(head(toward), solids, *changes, *more)


def proof_of(part: Part, machine: Machine) -> Document:
    """The proof document of a part, as a reader of its JSON sees it."""
    evidence = Evidence()
    made = plan(part, machine, evidence=evidence)
    return dict(json.loads(proof_text(proof_document(made, evidence))))


@cache
def planned(name: str, toward: str = "right") -> Document:
    """The proof of a case; not to be changed."""
    return proof_of(CASES[name][0], machine_of(name, toward))


def changed(name: str) -> Document:
    """A copy of a proof, to be changed."""
    return copy.deepcopy(planned(name))


def steps(document: Document, *actions: str) -> list[dict[str, Any]]:
    """The steps with some actions."""
    return [step for step in document["plan"]["steps"] if step["action"] in actions]


def cover(document: Document, step: dict[str, Any]) -> dict[str, Any]:
    """The cover of a step's motion."""
    return dict(next(motion for motion in document["motions"] if motion["step"] == step["number"]))


def solids_in(document: Document, step: dict[str, Any]) -> set[str]:
    """The solids that a step's cover names."""
    found = cover(document, step)
    return {pair[1] for pair in found["whole"]} | {cut["solid"] for cut in found["cut"]}
