"""Covers are found again for all that is printed, also where the bound comes within thousandths of it."""

from __future__ import annotations

import json

from planner.audit.proof import audit_proof
from planner.inputs.files import part_from_data
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document
from tests.benchmarks.test_search_benchmark import long_bench, part

TIGHT = (19, 12)
"""Seed and bends of a part with a step that is clear of the clamp by 0.7 thousandths of a millimetre more than it prints."""


def test_a_printed_clearance_that_is_all_but_reached_is_covered_by_the_cells_that_proved_it() -> None:
    made, evidence = part_from_data(part(*TIGHT).normalised()), Evidence()
    found = plan(made, long_bench(), evidence=evidence)
    document = json.loads(json.dumps(proof_document(found, evidence)))
    assert audit_proof(document, made, long_bench()).confirmed
