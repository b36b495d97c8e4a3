"""Makeable, not makeable, undecided: each for its own reason, in sentences with numbers and units."""

from __future__ import annotations

import re
from typing import Any

import pytest

from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan, Reason
from tests.plan.shop import FINE, bender, head, rod_that_asks_for_a_turn, tube

LOW: dict[str, Any] = {"head": {"centreline_height": 1050}}

WITH_A_UNIT = re.compile(r"\d(?:[\d.]*) ?(?:mm|°|kN m)")


def hanging(leg_a: float, leg_b: float, rotation: float = 90.0) -> Part:
    """Two square bends; on a right head the leg made first hangs straight down before the second bend."""
    return tube([leg_a, 200, leg_b], [0, rotation], [90, 90], name="hanging")


def reason(made: Plan, bend: int, leads: str) -> Reason:
    """The one reason that speaks of this bend with this end leading."""
    (found,) = [r for r in made.reasons if (r.bend, r.leads) == (bend, leads)]
    return found


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


def test_where_every_order_is_struck_the_part_is_not_makeable() -> None:
    """By hand: a leg of 2000 mm hangs 2000 + 76.2 mm below a centreline 1050 mm over the floor: 1026.2 mm too deep.

    Whichever bend is made first, the other is made with the end of the first one's leg leading: bend 2 with end A leading
    after bend 1, bend 1 with end B leading after bend 2. So these two reasons exclude all four orders.
    """
    made = plan(hanging(2000, 2000), bender(LOW))
    assert (made.verdict, made.undecided_because, made.proved.makeable) == ("not makeable", None, True)
    assert len(made.reasons) == 2
    for bend, leads in ((2, "A"), (1, "B")):
        struck = reason(made, bend, leads)
        assert (struck.grade, struck.rule, struck.solid) == ("proved", "strike", "floor")
        assert struck.depth == pytest.approx(2000 + 76.2 - 1050, abs=0.2)


@pytest.mark.parametrize(
    ("leg", "verdict", "because"),
    [(973.6, "makeable", None), (973.85, "undecided", "too close"), (974.0, "not makeable", None)],
)
def test_a_leg_within_a_tenth_of_a_millimetre_of_a_strike_is_no_proof(
    leg: float, verdict: str, because: str | None
) -> None:
    """By hand: the end hangs leg + 76.2 mm below a centreline 1050 mm up, and nothing is required: 973.8 mm just do.

    While it is rotated the rim of the sawn end comes lowest: √((leg + 76.2)² + 19.05²) ≤ 1050 leaves 973.62 mm.
    """
    made = plan(hanging(leg, leg), bender(LOW, {"clearance": {"required": 0.0}}))
    assert (made.verdict, made.undecided_because) == (verdict, because)
    assert made.proved.makeable == (verdict != "undecided")
    if verdict == "undecided":
        for bend, leads in ((2, "A"), (1, "B")):
            close = reason(made, bend, leads)
            assert (close.grade, close.rule, close.solid) == ("unproved", "too close to call", "floor")


def test_what_is_too_close_to_call_says_what_would_have_to_change_and_that_does_it() -> None:
    """By hand: hanging straight down the leg leaves 1050 − 973.85 − 76.2 = −0.05 mm where nothing is required."""
    part, bare = hanging(973.85, 973.85), {"clearance": {"required": 0.0}}
    for bend, leads in ((2, "A"), (1, "B")):
        said = reason(plan(part, bender(LOW, bare)), bend, leads).sentence
        assert said.endswith("0.0 mm required; with -0.1 mm required, 0.1 mm less, this would be clear.")


def test_what_comes_short_of_what_is_required_is_made_and_the_rest_is_put_back_for() -> None:
    """By hand: hanging straight down the leg leaves 1050 − 963.85 − 76.2 = 9.95 mm of the 10 that are required.

    On the way there the rim of the sawn end leaves 1050 − √((963.85 + 76.2)² + 19.05²) = 9.776 mm, a strike, so the tube is
    put back instead.
    """
    made = plan(hanging(963.85, 963.85), bender(LOW, FINE))  # coarser readouts make the leg 963.8 mm
    assert (made.verdict, made.reloads) == ("makeable", 1)
    assert not [r for r in made.reasons if "cannot be made" in r.sentence]
    (short,) = [warning for warning in made.warnings if warning.startswith("In step")]
    assert "the tube keeps 9.9" in short
    assert "to the floor where 10 mm are asked for" in short


def test_without_mandrel_and_carriage_other_orders_are_left_and_a_strike_in_all_of_these_is_no_proof() -> None:
    """Nothing fills the tail there, so bends may be made beyond formed ones: such orders are not tried yet."""
    made = plan(hanging(2000, 2000), bender(LOW, {"carriage": None, "mandrel": None}))
    assert (made.verdict, made.undecided_because, made.proved.makeable) == ("undecided", "orders not tried", False)
    assert {(r.bend, r.leads, r.solid) for r in made.reasons} == {(2, "A", "floor"), (1, "B", "floor")}


def test_that_the_arm_cannot_come_home_past_a_tube_that_may_not_be_eased_off_proves_that_a_reclamp_is_needed() -> None:
    """The tube lies in the grip section; put back anew it was drawn off by hand before."""
    part = tube([400, 200, 400], [0, 45], [90, 90])
    made = plan(part, bender({"head": {"may_ease_off": False}}))
    assert (made.verdict, made.reclamps, made.proved.reclamps) == ("makeable", 1, True)
    assert {(r.rule, r.grade, r.solid) for r in made.reasons} == {("strike", "proved", "grip section")}
    assert plan(part, bender()).reclamps == 0
    assert plan(part, bender({"head": {"may_ease_off": False, "homes_with_tube": True}})).reclamps == 0


def test_an_arc_that_begins_on_the_mandrel_is_proved_impossible() -> None:
    """With 60 mm of straight and a nose 80 mm past the tangent point the arc ahead would lie on the mandrel."""
    part = tube([400, 60, 400], [0, 45], [60, 60])
    made = plan(part, bender({"mandrel": {"nose": 80}}))
    assert (made.verdict, made.proved.makeable) == ("not makeable", True)
    assert {r.solid for r in made.reasons} == {"mandrel rod"}
    assert plan(part, bender({"mandrel": {"nose": 50}})).verdict == "makeable"


@pytest.mark.parametrize(("farthest", "verdict"), [(600, "makeable"), (640, "undecided")])
def test_a_tube_that_cannot_be_put_in_flush_is_not_proved_impossible_as_it_could_be_laid_in(
    farthest: int, verdict: str
) -> None:
    """A wall stands 420 mm behind the tangent point. A carriage that reaches the whole tube takes it flush, and it
    strikes; one that does not takes it at its bend, 300 mm farther forward. More travel takes nothing away."""
    wall = {"name": "wall", "moves_with": "frame", "box": {"from": [-900, -500, -500], "to": [-420, 500, 500]}}
    made = plan(tube([300, 300], [0], [60]), bender({"carriage": {"reach": [150, farthest]}, "solid": [wall]}))
    assert made.verdict == verdict
    if verdict == "undecided":
        assert made.undecided_because == "no path found"
        assert all(r.grade == "unproved" and r.solid == "wall" for r in made.reasons)


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
    struck = reason(made, *((2, "A") if long_end == "A" else (1, "B")))  # why not the other way round
    assert "strikes the floor, 1026.2 mm deep" in struck.sentence
    assert struck.grade == "proved"


def test_a_turn_is_chosen_where_both_orders_straight_through_fail() -> None:
    part = tube([500, 300, 300, 500], [0, 50, -70], [60, 45, 70])
    rod = rod_that_asks_for_a_turn(part)
    assert rod is not None
    made = plan(part, bender({"mandrel": {"rod_length": rod}}))
    assert (made.verdict, made.turns, made.reclamps) == ("makeable", 1, 1)
    assert [entry.leads for entry in made.order] in (["A", "A", "B"], ["B", "B", "A"], ["A", "B", "B"], ["B", "A", "A"])
    for bend, leads, behind in ((1, "A", part.developed_length - 500.0), (3, "B", float(part.bend_ends[-1]))):
        refused = reason(made, bend, leads)
        assert (refused.rule, refused.grade) == ("rod length", "proved")
        assert f"{behind:.1f} mm of tube" in refused.sentence


def test_no_turn_is_made_where_an_order_straight_through_will_do() -> None:
    part = tube([500, 300, 300, 500], [0, 50, -70], [60, 45, 70])
    assert plan(part, bender()).turns == 0


def test_what_needs_no_reclamp_no_trim_and_no_detour_is_proved_to_be_best() -> None:
    """By hand: 500 mm to the first bend, 200 mm and a square turn to the second, at 300 mm/s and 90°/s, from either end.

    Every order without a re-clamp goes straight through from one end, and takes that.
    """
    made = plan(hanging(500, 500), bender())
    assert (made.reclamps, made.proved.reclamps, made.proved.trim, made.proved.time) == (0, True, True, True)
    before_unload = [step for step in made.steps if step.bend != made.order[-1].bend or step.action != "run forward"]
    moving = [step.time for step in before_unload if step.action in ("run forward", "advance", "rotate")]
    assert sum(moving) == pytest.approx(500 / 300 + 200 / 300 + 90 / 90, abs=2e-3)


def four_half_turned() -> Part:
    """Four bends with nearly half a turn of rotation between each two."""
    return tube([400, 200, 200, 200, 400], [0, 170, 170, 170], [60, 60, 60, 60])


def test_a_chuck_that_cannot_turn_so_far_costs_a_load_for_every_bend() -> None:
    """The dial goes to ±20° and every bend needs 170° from the one before, so each bend begins a load of its own.

    A re-grip turns the open chuck back, but the tube still has to be rotated then. With the tube laid in at each bend
    nothing is rotated in the machine: 4 loads, 3 re-clamps, and no fewer will do.
    """
    made = plan(four_half_turned(), bender({"rotation": {"range": [-20, 20]}}))
    assert (made.verdict, made.reclamps, made.proved.reclamps) == ("makeable", 3, True)
    assert any("taken to be turned back to 0" in warning for warning in made.warnings)
    assert not [step for step in made.steps if step.action == "rotate"]
    assert made.turns is not None
    assert made.reloads is not None
    assert made.turns + made.reloads == 3
    refused = reason(made, 2, "A")
    assert (refused.rule, refused.grade) == ("chuck range", "proved")
    assert "-20.0° to 20.0°" in refused.sentence


def impossible_parts() -> dict[str, Plan]:
    """One plan for every reason there is for a part not to be makeable."""
    rated = {"rated": {"tube_diameter": 25.4, "wall": 1.651, "yield_strength": 205}}
    two = tube([400, 200, 400], [0, 45], [60, 60])
    return {
        "clamp": plan(tube([400, 55, 400], [0, 45], [60, 60]), bender()),
        "grip": plan(tube([30, 30], [0], [60]), bender({"carriage": None})),
        "collet": plan(tube([60, 100, 10], [0, 45], [60, 60]), bender()),
        "tail": plan(tube([5, 100, 5], [0, 45], [60, 60]), bender({"carriage": None})),
        "angle": plan(tube([400, 200, 400], [0, 45], [60, 199]), bender()),
        "rating": plan(tube([400, 200, 400], [0, 45], [60, 60], yield_strength=290.0), bender(rated)),
        "rod": plan(two, bender({"mandrel": {"rod_length": 300}})),
        "travel": plan(four_half_turned(), bender({"carriage": {"reach": [150, 180], "passes_through": False}})),
        "floor": plan(hanging(2000, 2000), bender(LOW)),
    }


def test_every_reason_names_a_number_with_its_unit() -> None:
    chuck = {"chuck": plan(four_half_turned(), bender({"rotation": {"range": [-20, 20]}}))}
    for name, made in {**impossible_parts(), **chuck}.items():
        assert made.reasons, name
        for said in made.reasons:
            assert WITH_A_UNIT.search(said.sentence), (name, said.sentence)
            assert said.sentence.endswith("."), (name, said.sentence)
            assert not re.search(r"\b(nan|inf|None)\b", said.sentence), (name, said.sentence)


def test_each_of_them_is_proved_not_makeable_for_its_own_rule() -> None:
    """All of them by hand for either end leading, so there is no order to hope for.

    Rod: at least the tube behind the first bend goes over it, 400 mm and an arc of 79.8 mm. Travel: a bend of 60° set to
    62.4° draws 83.0 mm through, the carriage has 30 mm. Floor: above. The others are bends that no order spares.
    """
    rules = {
        "clamp": "clamp longer than the straight", "grip": "shortest grip", "collet": "carriage reach",
        "tail": "shortest tail", "angle": "largest angle", "rating": "rated capacity", "rod": "rod length",
        "travel": "carriage reach", "floor": "strike",
    }  # fmt: skip
    plans = impossible_parts()
    assert set(plans) == set(rules)
    for name, made in plans.items():
        assert (made.verdict, made.proved.makeable) == ("not makeable", True), name
        assert rules[name] in {r.rule for r in made.reasons}, (name, made.reasons)
        assert all(r.grade == "proved" for r in made.reasons), name


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
