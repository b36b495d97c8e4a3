"""How long an audit takes beside the planning it audits; printed, and the audit must be the shorter of the two."""

from __future__ import annotations

import json
import statistics
import time

import pytest

from planner.audit.proof import audit_proof
from planner.inputs.files import part_from_data
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document
from tests.audit.proofs import of_examples
from tests.benchmarks.test_search_benchmark import PARTS, long_bench, part


@pytest.mark.parametrize("bends", [5, 10, 12, 20])
def test_an_audit_takes_less_time_than_the_planning(bends: int) -> None:
    machine = long_bench()
    planned: list[float] = []
    audited: list[float] = []
    length: list[int] = []
    for seed in range(PARTS):
        made, evidence = part_from_data(part(seed, bends).normalised()), Evidence()
        began = time.perf_counter()
        found = plan(made, machine, evidence=evidence)
        planned.append(time.perf_counter() - began)
        text = json.dumps(proof_document(found, evidence))
        began = time.perf_counter()
        assert audit_proof(json.loads(text), made, machine).confirmed, seed
        audited.append(time.perf_counter() - began)
        length.append(len(text))
    share = max(a / p for a, p in zip(audited, planned, strict=True))
    print(
        f"\n{bends} bends: planned in {statistics.median(planned):.2f} s, audited in {statistics.median(audited):.3f} s"
        f" (longest {max(planned):.2f} and {max(audited):.3f}; at most {share:.2f} of it),"
        f" proofs of {statistics.median(length) / 1000.0:.0f} kB"
    )
    assert sum(audited) < sum(planned)


def test_the_examples() -> None:
    for one in of_examples(every=True):
        began = time.perf_counter()
        plan(one.part, one.machine)
        planned = time.perf_counter() - began
        began = time.perf_counter()
        assert audit_proof(one.proof, one.part, one.machine).confirmed
        print(f"{one.name}: planned in {planned:.3f} s, audited in {time.perf_counter() - began:.3f} s")
