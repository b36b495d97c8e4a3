"""Makeable, not makeable, undecided: each for its own reason, in sentences with numbers and units."""

from __future__ import annotations

import re
from typing import Any

import pytest

from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan
from tests.plan.shop import bender, head, rod_that_asks_for_a_turn, tube

LOW: dict[str, Any] = {"head": {"centreline_height": 1050}}

WITH_A_UNIT = re.compile(r"\d(?:[\d.]*) ?(?:mm|°|kN m)")


def hanging(leg_a: float, leg_b: float, rotation: float = 90.0) -> Part:
    """Two square bends; on a right head the leg made first hangs straight down before the second bend."""
    return tube([leg_a, 200, leg_b], [0, rotation], [90, 90], name="hanging")


def straight_through(made: Plan, leads: str) -> list[str]:
    """The sentences about the order straight through with this end leading."""
    return [r.sentence for r in made.reasons if r.order and {entry.leads for entry in r.order} == {leads}]


def test_an_inner_straight_shorter_than_every_clamp_makes_a_part_not_makeable() -> None:
    made = plan(tube([400, 55, 400], [0, 45], [60, 60]), bender())
    assert (made.verdict, made.proved.makeable, made.undecided_because) == ("not makeable", True, None)
    assert len(made.reasons) == 1
    assert re.search(
        r"Straight 1 between bends 1 and 2 is 55\.0 mm.*the shortest clamp is 60\.0 mm", made.reasons[0].sentence
    )
    assert made.reasons[0].grade == "proved"
    assert (made.order, made.steps) == ((), ())


def test_an_inner_straight_as_long_as_the_shortest_clamp_is_no_reason() -> None:
    assert plan(tube([400, 60, 400], [0, 45], [60, 60]), bender()).verdict == "makeable"


def test_where_every_order_tried_is_struck_the_verdict_is_undecided() -> None:
    """By hand: a leg of 2000 mm hangs 2000 + 76.2 mm below a centreline 1050 mm over the floor: 1026.2 mm too deep."""
    made = plan(hanging(2000, 2000), bender(LOW))
    assert (made.verdict, made.undecided_because) == ("undecided", "orders not tried")
    assert not made.proved.makeable
    assert len(made.reasons) == 4  # from A, from B, from the middle either side first
    for leads in ("A", "B"):
        reason = next(r for r in made.reasons if {entry.leads for entry in r.order} == {leads})
        assert (reason.grade, reason.solid) == ("proved", "floor")
        assert reason.depth == pytest.approx(2000 + 76.2 - 1050, abs=0.2)


def test_on_a_left_head_the_same_legs_stand_up_and_the_part_is_makeable() -> None:
    assert plan(hanging(2000, 2000), bender(LOW, head("left"))).verdict == "makeable"


def test_with_the_rotation_reversed_the_same_legs_stand_up_on_a_right_head() -> None:
    assert plan(hanging(2000, 2000, -90.0), bender(LOW)).verdict == "makeable"


@pytest.mark.parametrize(("long_end", "leads"), [("A", "B"), ("B", "A")])
def test_a_part_whose_long_leg_would_hang_into_the_floor_is_made_from_its_other_end(long_end: str, leads: str) -> None:
    part = hanging(2000, 500) if long_end == "A" else hanging(500, 2000)
    made = plan(part, bender(LOW))
    assert made.verdict == "makeable"
    assert {entry.leads for entry in made.order} == {leads}
    if long_end == "A":  # the order from A was tried first and says why it fails
        assert any("strikes the floor, 1026.2 mm deep" in sentence for sentence in straight_through(made, "A"))


def test_a_turn_is_chosen_where_both_orders_straight_through_fail() -> None:
    part = tube([500, 300, 300, 500], [0, 50, -70], [60, 45, 70])
    rod = rod_that_asks_for_a_turn(part)
    assert rod is not None
    made = plan(part, bender({"mandrel": {"rod_length": rod}}))
    assert (made.verdict, made.turns, made.reclamps) == ("makeable", 1, 1)
    assert [entry.leads for entry in made.order] in (["A", "A", "B"], ["B", "B", "A"], ["A", "B", "B"], ["B", "A", "A"])
    for leads, behind in (("A", part.developed_length - 500.0), ("B", float(part.bend_ends[-1]))):
        assert any(f"{behind:.1f} mm of tube" in sentence for sentence in straight_through(made, leads))


def test_no_turn_is_made_where_an_order_straight_through_will_do() -> None:
    part = tube([500, 300, 300, 500], [0, 50, -70], [60, 45, 70])
    assert plan(part, bender()).turns == 0


def test_what_needs_no_reclamp_and_no_trim_is_proved_to_need_none() -> None:
    made = plan(hanging(500, 500), bender())
    assert (made.reclamps, made.proved.reclamps, made.proved.trim, made.proved.time) == (0, True, True, False)


def impossible_parts() -> dict[str, Plan]:
    """One plan for every reason there is for a part not to be planned."""
    rated = {"rated": {"tube_diameter": 25.4, "wall": 1.651, "yield_strength": 205}}
    two = tube([400, 200, 400], [0, 45], [60, 60])
    four = tube([400, 200, 200, 200, 400], [0, 170, 170, 170], [60, 60, 60, 60])
    return {
        "clamp": plan(tube([400, 55, 400], [0, 45], [60, 60]), bender()),
        "grip": plan(tube([30, 30], [0], [60]), bender({"carriage": None})),
        "collet": plan(tube([60, 100, 10], [0, 45], [60, 60]), bender()),
        "tail": plan(tube([5, 100, 5], [0, 45], [60, 60]), bender({"carriage": None})),
        "angle": plan(tube([400, 200, 400], [0, 45], [60, 199]), bender()),
        "rating": plan(tube([400, 200, 400], [0, 45], [60, 60], yield_strength=290.0), bender(rated)),
        "rod": plan(two, bender({"mandrel": {"rod_length": 300}})),
        "travel": plan(four, bender({"carriage": {"reach": [150, 180], "passes_through": False}})),
        "chuck": plan(four, bender({"rotation": {"range": [-20, 20]}})),
        "floor": plan(hanging(2000, 2000), bender(LOW)),
    }


def test_every_reason_names_a_number_with_its_unit() -> None:
    for name, made in impossible_parts().items():
        assert made.verdict != "makeable", name
        assert made.reasons, name
        for reason in made.reasons:
            assert WITH_A_UNIT.search(reason.sentence), (name, reason.sentence)
            assert reason.sentence.endswith("."), (name, reason.sentence)
            assert not re.search(r"\b(nan|inf|None)\b", reason.sentence), (name, reason.sentence)


def test_each_of_them_is_refused_for_its_own_rule() -> None:
    rules = {
        "clamp": "clamp longer than the straight", "grip": "shortest grip", "collet": "carriage reach",
        "tail": "shortest tail", "angle": "largest angle", "rating": "rated capacity", "rod": "rod length",
        "travel": "carriage reach", "chuck": "chuck range", "floor": "strike",
    }  # fmt: skip
    for name, made in impossible_parts().items():
        assert rules[name] in {reason.rule for reason in made.reasons}, (name, made.reasons)


def test_a_setting_beyond_the_largest_angle_is_refused_though_the_angle_is_not() -> None:
    """Springback counts: 150° is set to 155° here."""
    part = tube([400, 400], [0], [150])
    assert plan(part, bender({"head": {"largest_angle": 155.01}})).verdict == "makeable"
    made = plan(part, bender({"head": {"largest_angle": 154.99}}))
    assert made.verdict == "not makeable"
    assert "needs a setting of 155.0°" in made.reasons[0].sentence


def test_every_setting_keeps_to_the_largest_angle_also_as_printed() -> None:
    """60° lies between (10, 11) and (150, 155): 11 + 50 · 144/140 = 62.43°, which a dial of half degrees shows as 62.5°."""
    part = tube([400, 400], [0], [60])
    for largest in (62.45, 62.5):
        made = plan(part, bender({"head": {"largest_angle": largest}, "rotation": {"resolution": 0.5}}))
        assert all(step.setting is None or step.setting <= largest + 1e-9 for step in made.steps), largest
