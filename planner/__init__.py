"""bendorder: the order and the direction in which the bends of a tube can be made, checked motion by motion.

    from planner import load_machine, load_part, plan

    made = plan(load_part("rail.toml"), load_machine("canal-workshop"))
    print(made.verdict, made.reclamps)

Lengths are mm and angles radians in parts and machines; the plan document speaks mm, degrees and seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from planner.advice.changes import changes
    from planner.advice.machines import check
    from planner.advice.why import why
    from planner.audit.proof import audit_proof
    from planner.inputs.files import load_machine, load_part
    from planner.planning import Learned, plan
    from planner.plans.document import Plan
    from planner.plans.evidence import Evidence
    from planner.proof.document import proof_document

__all__ = [
    "Evidence",
    "Learned",
    "Plan",
    "audit_proof",
    "changes",
    "check",
    "load_machine",
    "load_part",
    "plan",
    "proof_document",
    "why",
]

_HOMES = {
    "load_part": "planner.inputs.files",
    "load_machine": "planner.inputs.files",
    "plan": "planner.planning",
    "Learned": "planner.planning",
    "Plan": "planner.plans.document",
    "Evidence": "planner.plans.evidence",
    "proof_document": "planner.proof.document",
    "check": "planner.advice.machines",
    "why": "planner.advice.why",
    "changes": "planner.advice.changes",
    "audit_proof": "planner.audit.proof",
}


def __getattr__(name: str) -> Any:
    """Import the public names on first use: the command's help must not wait for NumPy."""
    if name not in _HOMES:
        raise AttributeError(f"module 'planner' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value
