"""Both engines, every order tried one by one, and the auditor: four answers to one question, on random parts."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import Any

import pytest

from planner.audit.proof import Audited, audit_proof
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document
from tests.plan.brute_force.all_orders import BruteForce, Found
from tests.plan.random_parts import Drawn, of_seven_bends, parts


@dataclass(frozen=True)
class Asked:
    """A part and what each of the four says of it."""

    drawn: Drawn
    proof: dict[str, Any]
    audited: Audited
    found: Found

    @property
    def plan(self) -> dict[str, Any]:
        """The plan document."""
        document: dict[str, Any] = self.proof["plan"]
        return document

    @property
    def words(self) -> str:
        said = self.plan
        return f"{self.drawn.name}: {said['verdict']}, {said['reclamps']}, {self.audited.sentence}, {self.found}"


def asked(one: Drawn) -> Asked:
    evidence = Evidence()
    made = plan(one.part, one.machine, confirm=True, evidence=evidence)
    proof = proof_document(made, evidence)
    return Asked(one, proof, audit_proof(proof, one.part, one.machine), BruteForce(one.part, one.machine).found())


BY_DEFAULT = (0, 1, 2, 3, 6, 9)
"""Some of every kind that are soon judged."""


@pytest.fixture(scope="module")
def all_asked(campaign: bool) -> list[Asked]:
    """Random parts of two to seven bends on three profiles."""
    seven = filter(None, map(of_seven_bends, range(40 if campaign else 1)))
    some = (
        parts(500)
        if campaign
        else (one for number, one in enumerate(parts(1 + max(BY_DEFAULT))) if number in BY_DEFAULT)
    )
    return [asked(one) for one in (*some, *seven)]


def test_the_auditor_confirms_every_proof(all_asked: list[Asked]) -> None:
    refused = [one.words for one in all_asked if not one.audited.confirmed]
    assert not refused, refused


def test_the_second_engine_never_says_otherwise(all_asked: list[Asked]) -> None:
    assert [one.words for one in all_asked if one.plan["confirmed"] is not True] == []


def test_every_order_tried_one_by_one_gives_the_same_verdict_and_reclamps(all_asked: list[Asked]) -> None:
    for one in all_asked:
        said, found = one.plan, one.found
        if said["verdict"] == "not makeable":
            assert math.isinf(found.most), one.words
        if said["verdict"] == "makeable":
            assert found.least <= said["reclamps"], one.words
            if said["proved"]["reclamps"]:
                assert said["reclamps"] <= found.most, one.words


def test_what_is_compared_is_mostly_settled_and_of_every_kind(all_asked: list[Asked]) -> None:
    kinds = Counter(one.plan["verdict"] for one in all_asked)
    assert kinds["undecided"] <= max(1, len(all_asked) // 20), kinds
    assert kinds["makeable"] >= len(all_asked) // 4, kinds
    assert kinds["not makeable"] >= len(all_asked) // 10, kinds
    assert {one.drawn.machine.name for one in all_asked} >= {one.drawn.machine.name for one in all_asked[:3]}
    assert any(one.audited.counts.get("no-goods") for one in all_asked)
    assert any(one.plan["reclamps"] for one in all_asked)
