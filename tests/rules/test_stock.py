"""What an end may carry where nobody has stated it: what the rules can need there, in whole millimetres."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from planner.audit.proof import audit_proof
from planner.audit.shop import Shop
from planner.feasibility.cases import case_of
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document
from tests.plan.shop import RADIUS, bender, random_tube, tube

UNASKED: dict[str, Any] = {"trim_a": None, "trim_b": None}


def elbow(end_a: float, end_b: float, **trims: float | None) -> Part:
    return replace(tube([end_a, end_b], [0], [90]), **{**UNASKED, **trims})


def drawn_in(part: Part) -> float:
    """CLR · (setting − angle) of the elbow [mm]; the settings of the profile run straight from (10, 11) to (150, 155)."""
    setting = 11.0 + (155.0 - 11.0) * (math.degrees(float(part.angles[0])) - 10.0) / 140.0
    return RADIUS * math.radians(setting - math.degrees(float(part.angles[0])))


# ------------------------------------------------------------------ the amount


@pytest.mark.parametrize("straight", [0.0, 40.0, 150.0, 192.3, 193.0, 400.0])
def test_the_collets_closest_place_and_grip_behind_what_is_drawn_in_is_what_the_rules_can_need(straight: float) -> None:
    """By hand: 150 closest, 40 in the collet, 80 in the longest clamp, 20 of shortest tail: 190 and what is drawn in."""
    part = elbow(400.0, straight)
    needed = 190.0 + drawn_in(part)
    assert case_of(part, bender()).allowed.b == max(0.0, math.ceil(needed - straight - 1e-6))


def test_on_a_hand_fed_bender_the_longest_clamp_and_the_shortest_tail_are() -> None:
    machine = bender({"carriage": None})
    assert case_of(elbow(30.0, 30.0), machine).allowed == (50.0, 50.0)  # 80 in the longest clamp
    tailed = bender({"carriage": None, "tooling": {"shortest_tail": 120}})
    part = elbow(30.0, 30.0)
    assert case_of(part, tailed).allowed.b == math.ceil(120.0 + drawn_in(part) - 30.0)


def test_each_end_by_itself_and_what_is_stated_counts_as_stated() -> None:
    case = case_of(elbow(30.0, 30.0, trim_a=7.0), bender())
    assert case.allowed.a == 7.0
    assert case.allowed.b > 150.0
    assert case.unasked == {"B"}
    assert case_of(elbow(30.0, 30.0, trim_a=0.0, trim_b=0.0), bender()).unasked == set()


def test_the_auditor_reckons_the_same_amounts() -> None:
    for seed in range(60):
        part = replace(random_tube(seed, ends=(seed * 5.3, 310.0 - seed * 4.1)), **UNASKED)
        machine = bender({"carriage": None}) if seed % 3 == 2 else bender()
        case, shop = case_of(part, machine), Shop(part, machine)
        assert (shop.allowed("A"), shop.allowed("B")) == case.allowed, seed
        assert set(shop.unasked) == case.unasked == {"A", "B"}


# ------------------------------------------------------------------ the plan


def test_a_short_end_goes_with_as_little_more_stock_as_can_be() -> None:
    """170 mm are less short than 150: end B leads, 190 mm and what is drawn in, less 170, rounded up."""
    part = elbow(170.0, 150.0)
    made = plan(part, bender(), confirm=True)
    assert (made.verdict, made.confirmed, made.reclamps) == ("makeable", True, 0)
    assert made.stock is not None
    assert (made.stock.trim_a, made.stock.trim_b) == (math.ceil(20.0 + drawn_in(part)), 0.0)
    assert made.stock.more == {"A": made.stock.trim_a}
    assert (made.proved.reclamps, made.proved.trim) == (True, True)
    assert [step.amount for step in made.steps if step.action == "trim"] == [made.stock.trim_a]
    assert any(reason.rule == "carriage reach" for reason in made.reasons)


def test_nothing_stated_and_nothing_needed_leaves_a_plan_as_it_is() -> None:
    for seed in range(8):
        part = random_tube(seed)
        without, made = plan(part, bender()), plan(replace(part, **UNASKED), bender())
        assert without.verdict == "makeable"
        assert made.steps == without.steps, seed
        assert made.stock is not None
        assert made.stock.more == {}


def test_stock_that_saves_a_re_clamp_is_shown_beside_and_not_used() -> None:
    """Its last bend released it goes as it is; with 45 mm more at either end the collet stays closed."""
    part, machine = elbow(150.0, 150.0), bender({"carriage": {"finish_released": True}})
    made = plan(part, machine)
    assert (made.verdict, made.reclamps, made.released) == ("makeable", 1, 1)
    assert made.stock is not None
    assert (made.stock.trim_a, made.stock.trim_b) == (0.0, 0.0)
    (beside,) = made.alternatives
    assert (beside.reclamps, beside.trim) == (0, math.ceil(40.0 + drawn_in(part)))
    assert beside.sentence.startswith("With 45 mm more stock a part, sawn off afterwards: 0 re-clamps, ")
    stated = plan(elbow(150.0, 150.0, trim_a=60.0, trim_b=60.0), machine)
    assert (stated.reclamps, stated.alternatives) == (0, ())


def test_a_nought_forbids_more_stock() -> None:
    part = elbow(170.0, 150.0, trim_b=0.0, trim_a=0.0)
    made = plan(part, bender(), confirm=True)
    assert (made.verdict, made.confirmed) == ("not makeable", True)
    made = plan(elbow(170.0, 150.0, trim_a=0.0), bender())
    assert made.stock is not None
    assert made.stock.more == {"B": math.ceil(40.0 + drawn_in(part))}


def test_stated_stock_counts_as_before_and_saves_its_re_clamp() -> None:
    part = elbow(150.0, 150.0, trim_a=0.0, trim_b=60.0)
    made = plan(part, bender())
    assert made.stock is not None
    assert made.stock.more == {}
    assert made.stock.trim_b > 40.0


# ------------------------------------------------------------------ the proof


def test_the_auditor_confirms_the_least_stock_and_refuses_less_or_what_nobody_left_open() -> None:
    evidence = Evidence()
    made = plan(elbow(170.0, 150.0), bender(), evidence=evidence)
    document = proof_document(made, evidence)
    found = audit_proof(document)
    assert found.confirmed, found.sentence
    bound = document["claim"]["bound"]
    assert bound["unasked"] == made.stock.trim_a  # type: ignore[union-attr]
    lower = {**document, "claim": {**document["claim"], "bound": {**bound, "unasked": bound["unasked"] + 1.0}}}
    assert not audit_proof(lower).confirmed
    stock = {**document["plan"]["stock"], "unasked": []}
    assert not audit_proof({**document, "plan": {**document["plan"], "stock": stock}}).confirmed
    none = {**document, "claim": {**document["claim"], "bound": None}}
    assert not audit_proof(none).confirmed
