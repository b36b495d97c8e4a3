"""Every field of a proof document is reckoned anew, or the answer names it as not checked."""

from __future__ import annotations

import copy
import json
import re
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from planner.audit.proof import audit_proof
from planner.audit.unchecked import NOT_CHECKED, said
from planner.inputs.files import load_machine, load_part
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document

Document = dict[str, Any]
Place = tuple[str | int, ...]

EXAMPLES = Path(__file__).parents[2] / "examples"
PROVED = {"makeable": ("fender-hook", "canal-workshop"), "not makeable": ("loft-rail", "under-the-loft")}

LESS = ("plan.proved.makeable", "plan.proved.reclamps", "plan.proved.trim", "plan.proved.time")
"""What may be said to be less proved than it is."""

EVIDENCE = ("rules", "no_goods", "motions", "claim.trims")
"""Evidence is looked at as it is written: another one that holds is as good. How it is tampered with is tried elsewhere."""

GIVEN = ("plan.part", "plan.machine")
"""The document's own inputs: the fingerprint holds them."""


@cache
def written(verdict: str) -> Document:
    example, machine = PROVED[verdict]
    evidence = Evidence()
    made = plan(load_part(EXAMPLES / f"{example}.toml"), load_machine(machine), evidence=evidence)
    assert made.verdict == verdict
    found: Document = json.loads(json.dumps(proof_document(made, evidence)))
    assert audit_proof(found).confirmed
    return found


def places(value: Any, place: Place = ()) -> Iterator[Place]:
    """Every place where a value stands that holds no others."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    inner = [(step, one) for step, one in items]
    if not inner:
        yield place
    for step, one in inner:
        yield from places(one, (*place, step))


def kind(place: Place) -> str:
    return ".".join("*" if isinstance(step, int) else step for step in place)


def other(value: Any) -> Any:
    """A value that is another one, of the same type where it has one."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + 1 if isinstance(value, int) else value * 1.1 + 1.0
    return {type(None): 1.0, str: f"{value} x", list: ["x"], dict: {"x": 1}}[type(value)]


def changed(document: Document, place: Place) -> Document:
    found = copy.deepcopy(document)
    here: Any = found
    for step in place[:-1]:
        here = here[step]
    here[place[-1]] = other(here[place[-1]])
    return found


def named(path: str) -> bool:
    """Whether the answer says that a field is not checked, or what it says may be less than is so."""
    every = [entry for entries in NOT_CHECKED.values() for entry in entries]
    return any(path == one or path.startswith(f"{one}.") for one in (*every, *EVIDENCE, *LESS))


@pytest.mark.parametrize("verdict", PROVED)
def test_a_field_that_is_changed_is_refused_or_named_as_not_checked(verdict: str) -> None:
    document = written(verdict)
    by_kind: dict[str, list[Place]] = {}
    for place in places(document):
        by_kind.setdefault(kind(place), []).append(place)
    passed = []
    for path, found in by_kind.items():
        if path.startswith(GIVEN) or named(path):
            continue
        for place in sorted({found[0], found[len(found) // 2], found[-1]}, key=str):
            if audit_proof(changed(document, place)).confirmed:
                passed.append((path, place))
    assert not passed
    assert len(by_kind) > 60


@pytest.mark.parametrize("verdict", PROVED)
def test_a_key_of_the_document_that_is_left_out_is_refused_or_named_as_not_checked(verdict: str) -> None:
    document = written(verdict)
    for within in ((), ("plan",), ("claim",)):
        table = document if not within else document[within[0]]
        for key in table:
            found = copy.deepcopy(document)
            del (found if not within else found[within[0]])[key]
            assert named(".".join((*within, key))) or not audit_proof(found).confirmed, (within, key)


def test_more_than_is_proved_is_refused() -> None:
    document = copy.deepcopy(written("not makeable"))
    for flag in document["plan"]["proved"]:
        found = copy.deepcopy(document)
        found["plan"]["proved"][flag] = True
        assert flag == "makeable" or not audit_proof(found).confirmed, flag  # that it is not is what is proved


def test_trims_cut_off_the_wrong_ends_are_refused() -> None:
    document = copy.deepcopy(written("makeable"))
    cuts = [step for step in document["plan"]["steps"] if step["action"] == "trim"]
    assert [step["end"] for step in cuts] == ["A", "B"]
    cuts[0]["end"], cuts[1]["end"] = "B", "A"
    assert not audit_proof(document).confirmed
    both = copy.deepcopy(written("makeable"))
    stock = both["plan"]["stock"]
    stock["trim_a"], stock["trim_b"] = stock["trim_b"], stock["trim_a"]
    assert not audit_proof(both).confirmed


def test_a_document_that_claims_nothing_is_refused() -> None:
    document = copy.deepcopy(written("not makeable"))
    plan_ = document["plan"]
    document.update(rules=[], no_goods=[], motions=[])
    document["claim"].update(verdict="undecided", reclamps=None, trim=None, bound=None)
    plan_.update(verdict="undecided", reasons=[], steps=[], order=[], proved=dict.fromkeys(plan_["proved"], False))
    found = audit_proof(document)
    assert not found.confirmed
    assert "claims nothing" in found.sentence


def test_the_answer_names_part_and_machine_with_their_fingerprint_and_what_was_not_checked() -> None:
    document = written("makeable")
    found = audit_proof(document)
    assert re.fullmatch(r'Part "fender hook" on ".*", fingerprint [0-9a-f]{16}\.', found.of)
    assert found.of.split()[-1].rstrip(".") == document["plan"]["fingerprint"][:16]
    assert all(entry in said() for entry in NOT_CHECKED)
    assert found.as_dict()["not_checked"] == list(NOT_CHECKED)


def test_text_is_no_number_wherever_it_stands() -> None:
    for verdict in PROVED:
        document = written(verdict)
        found = [p for p in places(document) if p[0] != "plan" or p[1] in ("steps", "stock")]
        numbers = {kind(p): p for p in found if type(value_at(document, p)) in (int, float)}
        for place in numbers.values():
            if named(kind(place)) and not kind(place).startswith(EVIDENCE):
                continue
            made = copy.deepcopy(document)
            value_at(made, place[:-1])[place[-1]] = str(value_at(document, place))
            assert not audit_proof(made).confirmed, place


def value_at(document: Any, place: Place) -> Any:
    for step in place:
        document = document[step]
    return document


def test_a_document_blown_up_is_refused_soon() -> None:
    document = copy.deepcopy(written("not makeable"))
    document["no_goods"] += [copy.deepcopy(document["no_goods"][0]) for _ in range(3000)]
    began = time.process_time()
    assert "twice" in audit_proof(document).sentence
    assert time.process_time() - began < 5.0


def test_a_wall_of_a_million_cells_is_refused_without_looking_at_them() -> None:
    document = copy.deepcopy(written("not makeable"))
    walls = [wall for no_good in document["no_goods"] for wall in no_good["walls"] if wall["kind"] == "cells"]
    walls[0]["cells"] = walls[0]["cells"][:1] * 1_000_000
    assert "1,000,000 cells" in audit_proof(document).sentence
