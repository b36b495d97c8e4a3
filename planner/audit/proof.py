"""The audit of a proof document, from its first line to its claim.

Nothing here imports the planner's kernel, its search or a solver: the tube, the machine and the shop rules are reckoned
anew, in a plainer way, from the part and the machine in the document. What is confirmed:

- the plan can be carried out and gives the drawing's tube; every motion of it is clear by what it prints;
- every no-good that the claim needs: each witness, each cell and wall, in every state that the no-good speaks of;
- the claim: among all states there is no sequence that the rules and these no-goods leave and that is better.

What is not audited is listed in `unchecked`, and named in the answer.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from planner.audit.claim import confirm_claim
from planner.audit.covers import confirm_motions
from planner.audit.nogoods import confirm_no_goods
from planner.audit.refused import Refused
from planner.audit.rules import confirm_rules
from planner.audit.shop import Shop
from planner.audit.unchecked import NOT_CHECKED, confirm_kind, confirm_numbers
from planner.errors import BendorderError, InputError, UnreadableFile
from planner.inputs.files import machine_from_data, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.reading import read_text

SCHEMA = "bendorder-proof/1"

LARGEST_PROOF = 40_000_000
"""Files beyond this are no proof [bytes]: one of 16 bends is a fortieth of that."""

MALFORMED = (RecursionError, KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError, AssertionError)
"""What reading a document that is no proof may raise."""


@dataclass(frozen=True)
class Audited:
    """What the audit says: confirmed or not, in a sentence; counts: how much was confirmed, by name.

    of: the part and the machine that it speaks of, with their fingerprint; not_checked: what was not looked at.
    """

    confirmed: bool
    sentence: str
    counts: dict[str, int]
    of: str = ""
    not_checked: tuple[str, ...] = tuple(NOT_CHECKED)

    def as_dict(self) -> dict[str, Any]:
        """Return it as JSON data."""
        return {**asdict(self), "not_checked": list(self.not_checked)}


def read_proof(file: Path) -> dict[str, Any]:
    """Return a proof document from a file; raises InputError if it is none."""
    text = read_text(file, "the proof", LARGEST_PROOF)
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        raise UnreadableFile(
            f"it is no JSON: {error.msg}", file=str(file), line=error.lineno, column=error.colno, allowed="a proof"
        ) from None
    except (ValueError, RecursionError) as error:  # numbers of thousands of digits; lists in one another
        raise UnreadableFile(f"it is no JSON: {error}", file=str(file), line=1, allowed="a proof") from None
    schema = document.get("schema") if isinstance(document, dict) else None
    if schema != SCHEMA:
        raise InputError("it is no proof document", file=str(file), key="schema", found=schema, allowed=SCHEMA)
    return dict(document)


def audit_proof(document: dict[str, Any], part: Part | None = None, machine: Machine | None = None) -> Audited:
    """Audit a proof document; part, machine: those that it must speak of, where they are given."""
    try:
        counts = _confirmed(document, part, machine)
    except Refused as refused:
        return Audited(False, f"Does not hold: {refused}", {})
    except MALFORMED as error:
        return Audited(False, f"Does not hold: the document is malformed ({type(error).__name__}: {error}).", {})
    if not any(counts.values()):
        return Audited(False, "Does not hold: the document claims nothing that could be confirmed.", {})
    return Audited(True, _sentence(document, counts), counts, _of(document["plan"]))


def _of(plan: dict[str, Any]) -> str:
    """Return which part and machine a plan is of, with their fingerprint."""
    return f'Part "{plan["part"]["name"]}" on "{plan["machine"]["name"]}", fingerprint {plan["fingerprint"][:16]}.'


def _confirmed(document: dict[str, Any], part: Part | None, machine: Machine | None) -> dict[str, int]:
    plan = document["plan"]
    try:
        own_part, own_machine = part_from_data(plan["part"]), machine_from_data(plan["machine"])
    except BendorderError as error:
        raise Refused(f"its part or machine cannot be read: {error}") from error
    _same_inputs(plan, own_part, own_machine, part, machine)
    shop = Shop(own_part, own_machine)
    confirm_kind(document, shop, own_machine)
    for part_of in ("claim", "rules", "no_goods", "motions"):
        confirm_numbers(document[part_of], part_of)
    confirm_numbers(plan["steps"], "steps")
    confirm_numbers(plan["stock"], "stock")
    no_goods, witnessed = confirm_no_goods(document, own_part, own_machine, shop)
    ruled, moved = confirm_rules(document, shop), confirm_motions(document, own_part, own_machine)
    claimed = confirm_claim(document, shop, no_goods)
    counted = (moved.motions, moved.pairs, moved.cells)
    motions = dict(zip(("motions", "pairs of tube and solid", "cells"), counted, strict=True))
    blocked = {"blocked cells" if name == "cells" else name: number for name, number in witnessed.items()}
    return motions | ruled | blocked | claimed


def _same_inputs(
    plan: dict[str, Any], own_part: Part, own_machine: Machine, part: Part | None, machine: Machine | None
) -> None:
    """Hold the fingerprint against part and machine, and these against those asked for."""
    text = json.dumps({"part": plan["part"], "machine": plan["machine"]}, sort_keys=True)
    if hashlib.sha256(text.encode()).hexdigest() != plan["fingerprint"]:
        raise Refused("the fingerprint is not that of the part and the machine in it.")
    if part is not None and part != own_part:
        raise Refused(f'it speaks of another part than the one given, "{part.name}": its own is "{own_part.name}".')
    if machine is not None and machine != own_machine:
        raise Refused(f'it speaks of another machine than "{machine.name}": its own is "{own_machine.name}".')


SINGULAR = {"motions": "motion", "pairs of tube and solid": "pair of tube and solid", "re-clamps": "re-clamp"}
"""The one of what ends in an s otherwise."""


def _sentence(document: dict[str, Any], counts: dict[str, int]) -> str:
    """Return what was confirmed, and how much of it, in a line."""
    claim = document["claim"]
    said = f"Confirmed: {claim['verdict']}"
    if claim["verdict"] == "not makeable":
        said += " in any order"
    elif claim["reclamps"] is not None:
        said += f" with {_counted(claim['reclamps'], 're-clamps')} and {claim['trim']:g} mm of trim"
    least = claim["bound"]
    if least is not None and (least["reclamps"], least["trim"]) == (claim["reclamps"], claim["trim"]):
        said += ", the least there is"
    elif least is not None:
        said += f", no plan below {_counted(least['reclamps'], 're-clamps')} and {least['trim']:g} mm"
    return f"{said}; {', '.join(_counted(number, name) for name, number in counts.items() if number)}."


def _counted(number: int, name: str) -> str:
    return f"{number:,} {SINGULAR.get(name, name.removesuffix('s')) if number == 1 else name}"
