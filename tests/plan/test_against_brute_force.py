"""The planner against every allowed order, tried one by one: on random parts, and on sharp cases worked out by hand."""

from __future__ import annotations

import json
import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import pytest

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from tests.plan.brute_force.all_orders import BruteForce, Found
from tests.plan.brute_force.leading_part import At
from tests.plan.brute_force.orders import Bend, How, Job, reclamps
from tests.plan.brute_force.sampled import CLEAR, STRUCK
from tests.plan.brute_force.tube import End
from tests.plan.random_parts import Drawn, coming_round, parts, wall_with_opening
from tests.plan.shop import bender, head, rod_that_asks_for_a_turn, tube
from tests.plan.workpiece import Document

LOW: dict[str, Any] = {"head": {"centreline_height": 1050}}


# Random parts on the packaged machines


@dataclass(frozen=True)
class Compared:
    """What planner and brute force say of it."""

    drawn: Drawn
    brute: BruteForce
    found: Found
    document: Document

    @property
    def words(self) -> str:
        said, lra = self.document, self.document["part"]["shape"]["lra"]
        return f"{self.drawn.name} {lra}: {self.found}, but {said['verdict']}, {said['reclamps']}, {said['proved']}"


def compared(one: Drawn) -> Compared:
    brute = BruteForce(one.part, one.machine)
    return Compared(one, brute, brute.found(), json.loads(plan(one.part, one.machine).to_json()))


BY_DEFAULT = (0, 1, 2, 6, 8, 9, 11, 15, 27, 33, 45, 68, 71)
ROUND_BY_DEFAULT = (0, 3, 6, 10, 19, 34, 45, 54)
"""Some of each, of every kind and soon judged."""


@pytest.fixture(scope="module")
def all_compared(campaign: bool) -> list[Compared]:
    """Random parts, planned and tried in every order."""
    drawn = list(parts(500 if campaign else 1 + max(BY_DEFAULT)))
    return [compared(one) for number, one in enumerate(drawn) if campaign or number in BY_DEFAULT]


@pytest.fixture(scope="module")
def round_compared(campaign: bool) -> list[Compared]:
    """Random parts whose legs come round on to rod and section, on machines with less room."""
    drawn = map(coming_round, range(400) if campaign else ROUND_BY_DEFAULT)
    return [compared(one) for one in drawn if one is not None]


@pytest.fixture(scope="module")
def either(all_compared: list[Compared], round_compared: list[Compared]) -> list[Compared]:
    """All of them."""
    return all_compared + round_compared


def job_of(document: Document) -> Job:
    """The job that a plan document tells its reader to do."""
    made: list[Bend] = []
    how: How = "load"
    closed, n = False, len(document["order"])
    for step in document["steps"]:
        if step["action"] in ("turn", "reload", "re-grip"):
            how = step["action"]
        elif step["action"] == "open collet" and closed:  # else the tube is taken off
            made[-1] = replace(made[-1], released=True)
        elif step["action"] == "close dies":
            leads: End = step["leads"]
            seen = [b.bend if b.leads == leads else n + 1 - b.bend for b in made]
            bend = step["bend"] if leads == "A" else n + 1 - step["bend"]
            assert sorted([*seen, bend])[-1] == bend
            made.append(Bend(leads, bend, min([*seen, bend]), how))
            closed = True
        elif step["action"] == "bend":
            how, closed = "link", False
    return tuple(made)


def test_no_plan_does_with_fewer_reclamps_or_less_trim_than_every_order_that_is_not_struck(
    either: list[Compared],
) -> None:
    for one in either:
        if one.document["verdict"] == "makeable":
            assert one.document["reclamps"] >= one.found.least, one.words
            if one.document["reclamps"] == one.found.least:
                stock = one.document["stock"]
                assert stock["trim_a"] + stock["trim_b"] >= one.found.trims[0], one.words


def test_what_is_proved_best_is_no_worse_than_an_order_that_is_surely_possible(either: list[Compared]) -> None:
    for one in either:
        proved = one.document["proved"]
        if proved["reclamps"]:
            assert one.document["reclamps"] <= one.found.most, one.words
            if proved["trim"] and one.document["reclamps"] == one.found.most:
                assert one.document["stock"]["trim_a"] + one.document["stock"]["trim_b"] <= one.found.trims[1], (
                    one.words
                )


def test_what_is_not_makeable_is_so_in_every_order(either: list[Compared]) -> None:
    for one in either:
        if one.document["verdict"] == "not makeable":
            assert math.isinf(one.found.most), one.words


def test_the_jobs_of_the_plans_keep_the_rules_and_strike_nothing_where_they_are_sampled(
    either: list[Compared],
) -> None:
    for one in either:
        if one.document["verdict"] == "makeable":
            job, stock = job_of(one.document), one.document["stock"]
            assert reclamps(job) == one.document["reclamps"]
            kept = one.brute.rules.kept(job, -0.2, (stock["trim_a"], stock["trim_b"]))
            assert kept is not None, (one.words, job)
            assert one.brute.judge.verdict(job, kept) != STRUCK, (one.words, job)


def test_few_of_the_comparisons_are_left_open(all_compared: list[Compared]) -> None:
    """Of the samples at most one in twenty is unsure, and of the planner's answers at most one in twenty unproved."""
    open_ = [one.words for one in all_compared if one.found.verdict == "unsure"]
    unproved = [
        one.words
        for one in all_compared
        if one.document["verdict"] == "undecided"
        or (one.document["verdict"] == "makeable" and not one.document["proved"]["reclamps"])
    ]
    assert len(open_) <= len(all_compared) / 20, open_
    assert len(unproved) <= len(all_compared) / 20, unproved


def test_the_random_parts_are_of_every_kind(all_compared: list[Compared], campaign: bool) -> None:
    """From either end straight through, with a turn, a re-grip, a released bend, trim, more than one re-clamp, not at all."""
    found: Counter[str] = Counter()
    for one in all_compared:
        made = one.document
        found[made["verdict"]] += 1
        if made["verdict"] == "makeable":
            found.update(event for event in ("turns", "regrips", "released") if made[event])
            found["straight through from " + made["order"][0]["leads"]] += made["turns"] == 0
            found["trim"] += made["stock"]["cut_length"] > made["stock"]["developed_length"]
            found["several"] += made["reclamps"] > 1
    wanted = {"makeable", "not makeable", "turns", "regrips", "released", "trim", "several"}
    wanted |= {"straight through from A", "straight through from B"}
    least = {"turns": 2 if campaign else 1}  # those of two turned parts take the longest of all to judge
    assert {what for what in wanted if found[what] < least.get(what, 2)} == set(), found


def strikes_only(one: Compared, what: str) -> int:
    """How many bends, moves and ways home are sure to strike rod or section, and nothing without it."""
    judge, without = one.brute.judge, BruteForce(one.drawn.part, one.drawn.machine).judge
    without.about.left_out = frozenset({what})
    bends = [(at, c) for at, by_clamp in judge.bending.known.items() for c, v in by_clamp.items() if v == STRUCK]
    legs = [(leg, c) for leg, by_clamp in judge.loads.legs.known.items() for c, v in by_clamp.items() if v == STRUCK]
    found = sum(without.bending.verdict(at, c) != STRUCK for at, c in bends)
    found += sum(without.loads.legs.by_clamp(leg)[c] != STRUCK for leg, c in legs)
    homes = [(at, c, room) for (at, c, room), home in judge.homing.homes.items() if home.verdict == STRUCK]
    return found + sum(without.homing.home(*key).verdict != STRUCK for key in homes)


@pytest.mark.parametrize("what", ["rod", "section"])
def test_some_of_the_parts_that_come_round_strike_rod_and_section_and_nothing_else_there(
    what: str, round_compared: list[Compared]
) -> None:
    judged = [one for one in round_compared if "judge" in vars(one.brute)]
    hit = [one.drawn.name for one in judged if strikes_only(one, what)]
    assert len(hit) >= max(2, len(judged) / 12), hit


def test_the_parts_that_come_round_are_of_every_kind_and_at_most_one_in_eight_is_left_open(
    round_compared: list[Compared],
) -> None:
    """On either head, makeable and not. Ways home that wind, past a clamp that hardly opens, are neither seen nor shut."""
    verdicts = Counter(one.document["verdict"] for one in round_compared)
    heads = Counter(one.drawn.machine.head.bends_toward for one in round_compared)
    assert min(verdicts["makeable"], verdicts["not makeable"], heads["left"], heads["right"]) >= 2, (verdicts, heads)
    assert verdicts["undecided"] <= len(round_compared) / 8, verdicts
    open_ = [one.words for one in round_compared if one.found.verdict == "unsure"]
    assert len(open_) <= len(round_compared) / 8, open_


# Sharp cases by hand


def verdicts(part: Part, machine: Machine) -> tuple[tuple[float, float], float]:
    """Re-clamps by the brute force, at least and at most, and by the planner; infinite where it cannot be made."""
    found, made = BruteForce(part, machine).found(), plan(part, machine)
    assert made.verdict != "undecided"
    return (found.least, found.most), made.reclamps if made.reclamps is not None else math.inf


def hanging(leg: float, rotation: float = 90.0) -> Part:
    """Two square bends with legs alike; on a right head the one made first hangs straight down before the second."""
    return tube([leg, 200, leg], [0, rotation], [90, 90])


def test_a_leg_hangs_as_deep_under_the_floor_as_by_hand() -> None:
    """2000 mm of leg and 76.2 of its bend below a centreline 1050 mm over the floor: 1026.2 deep, 10 required."""
    brute = BruteForce(hanging(2000), bender(LOW))
    assert brute.judge.bending.swing(At("A", 1, 2, 0.0, 0.0)).least()["all"] == pytest.approx(-1036.2, abs=0.1)
    assert verdicts(hanging(2000), bender(LOW)) == ((math.inf, math.inf), math.inf)
    assert verdicts(hanging(2000, -90), bender(LOW)) == ((0, 0), 0)
    assert verdicts(hanging(2000), bender(LOW, head("left"))) == ((0, 0), 0)


@pytest.mark.parametrize(("height", "reclamps"), [(885.9, math.inf), (887, 0)])
def test_the_verdict_turns_where_the_leg_comes_too_near_to_the_floor(height: float, reclamps: float) -> None:
    """800 mm of leg, 76.2 of its bend and 10 required: 886.2 mm."""
    machine = bender({"head": {"centreline_height": height}})
    assert verdicts(hanging(800), machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("straight", "reclamps"), [(166, 0), (169, 1)])
def test_one_hold_serves_two_bends_as_long_as_their_windows_meet(straight: float, reclamps: int) -> None:
    """60° are 79.8 mm of tube, their setting of 62.4° 83.0: within a travel of 330 mm lie 330 − 79.8 − 83.0 = 167.2."""
    machine = bender({"carriage": {"reach": [150, 480]}})
    assert verdicts(tube([400, straight, 400], [0, 45], [60, 60]), machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("straight", "reclamps"), [(59.9, math.inf), (60, 0)])
def test_the_shortest_clamp_must_find_room_between_two_bends(straight: float, reclamps: float) -> None:
    part = tube([400, straight, 400], [0, 45], [60, 60])
    assert verdicts(part, bender()) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("turns_to", "reclamps"), [(95, 1), (101, 0)])
def test_a_rotation_that_a_chuck_cannot_make_takes_another_load(turns_to: float, reclamps: int) -> None:
    """100° the one way, 260° the other. Taken off and put back, the tube lies as the next bend wants it."""
    machine = bender({"rotation": {"range": [-turns_to, turns_to]}})
    assert verdicts(tube([400, 200, 400], [0, 100], [60, 60]), machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("rod", "reclamps"), [(479, math.inf), (480.5, 0)])
def test_the_tube_behind_the_die_must_go_over_the_rod(rod: float, reclamps: float) -> None:
    """400 mm and 60° on a radius of 76.2: 479.8 mm."""
    machine = bender({"mandrel": {"rod_length": rod}})
    assert verdicts(tube([400, 400], [0], [60]), machine) == ((reclamps, reclamps), reclamps)


def test_a_rod_too_short_for_the_tube_straight_through_asks_for_a_turn() -> None:
    part = tube([500, 300, 300, 500], [0, 50, -70], [60, 45, 70])
    rod = rod_that_asks_for_a_turn(part)
    assert verdicts(part, bender({"mandrel": {"rod_length": rod}})) == ((1, 1), 1)
    assert verdicts(part, bender()) == ((0, 0), 0)


def test_as_much_trim_is_asked_for_as_the_collet_needs() -> None:
    """90° are set to 93.3: the tube is drawn 4.39 mm past the bend's end; 150 + 40 + 4.39 − 100 mm are missing."""
    part = tube([100, 100], [0], [90], trims=(200.0, 200.0))
    found, made = BruteForce(part, bender()).found(), plan(part, bender())
    assert (found.least, found.most, found.trims) == (0, 0, (95.0, 95.0))
    assert made.stock is not None
    assert (made.reclamps, made.stock.trim_a + made.stock.trim_b) == (0, 95.0)


@pytest.mark.parametrize(
    ("released", "stands", "reclamps"),
    [(False, 6000, math.inf), (True, 6000, 1), (True, 930, 1), (True, 910, math.inf)],
)
def test_a_leg_that_comes_back_to_the_carriage_does_not_strike_it_once_that_stands_back_with_the_collet_open(
    released: bool, stands: float, reclamps: float
) -> None:
    """The collet holds 400 mm of one leg's end; the other leg's end, 900 mm from the die's axis line and 176.2 mm aside,
    reaches 900 sin 93.3° + 176.2 cos 86.7° = 908.6 mm behind the die and half the tube's thickness of 2.2 mm more.
    """
    carriage = {"name": "carriage", "moves_with": "carriage", "box": {"from": [-300, -300, -150], "to": [0, 300, 110]}}
    keys = {"grip_length": 400, "finish_released": released, "stand_back": stands}
    machine = bender({"carriage": keys, "solid": [carriage]})
    assert verdicts(tube([900, 100, 900], [0, 0], [90, 90]), machine) == ((reclamps, reclamps), reclamps)


def test_a_frame_whose_end_comes_round_behind_the_tail_strikes_the_rod_there() -> None:
    """Its axis crosses the rod's: tube and rod overlap by 19.05 + (38.1 − 2 · 1.65 − 0.3)/2 = 36.3 mm, 2 required.

    With end B leading the short side comes round in front of the die.
    """
    part, machine, at = tube([430, 600, 150, 300], [0, 0, 0], [90, 90, 90]), bender(), At("A", 1, 3, 0.0, 0.0)
    brute = BruteForce(part, machine)
    assert brute.judge.bending.swing(at).least()["all"] == pytest.approx(-38.3, abs=0.1)
    brute.judge.about.left_out = frozenset({"rod"})
    assert brute.judge.bending.verdict(at, 60.0) == CLEAR
    made = plan(part, machine)
    assert [(r.solid, r.grade, r.bend) for r in made.reasons] == [("mandrel rod", "proved", 3)]
    assert (made.reclamps, {entry.leads for entry in made.order}) == (0, {"B"})


@pytest.mark.parametrize(("length", "reclamps"), [(237.1, math.inf), (237.8, 0)])
def test_a_following_pressure_die_must_last_the_longest_bend(length: float, reclamps: float) -> None:
    """145° are set to 149.86°: 199.3 mm of it go past the tangent point, and 38.1 must be left."""
    part = tube([400, 400], [0], [145])
    machine = bender({"tooling": {"pressure_die_length": length}})
    assert verdicts(part, machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize("together", [True, False])
def test_a_clamp_that_opens_too_little_keeps_the_arm_from_home_however_the_tube_is_moved(together: bool) -> None:
    """15 mm; the section would push the leg of 60 mm in it by 20.8 mm, and the clamp is in its way outward."""
    part = tube([400, 200, 400], [0, 60], [90, 90])
    for opens, makeable in ((62, True), (15, False)):
        block = {"clamp_block": {"width": 60, "height": 60, "opens": opens}, "clamp_lengths": [60]}
        machine = bender({"tooling": block, "head": {"homes_with_tube": together, "may_ease_off": not together}})
        found, made = BruteForce(part, machine).found(), plan(part, machine)
        assert ((found.least, found.most) == (0, 0), found.verdict == "not makeable") == (makeable, not makeable)
        assert (made.verdict == "makeable", made.reclamps == 0) == (makeable, makeable)


@pytest.mark.parametrize(("wall", "reclamps"), [(944, math.inf), (946, 0)])
def test_bare_tube_goes_on_from_the_front_only_where_there_is_room_for_all_of_it(wall: float, reclamps: float) -> None:
    """800 mm and 60° on a radius of 76.2 are 879.8; 5 of nose, 50 in front of it and 10 required make 944.8 mm."""
    box = {"from": [wall, -600.0, -600.0], "to": [wall + 50.0, 600.0, 600.0]}
    machine = bender({"solid": [{"name": "wall", "moves_with": "frame", "box": box}]})
    assert verdicts(tube([400, 400], [0], [60]), machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(
    ("right", "left", "reclamps"),
    [(478, 478, math.inf), (491, 478, 0), (478, 491, 0)],
    ids=["no", "straight", "turned"],
)
def test_a_leg_comes_off_through_a_slot_only_on_the_side_on_which_that_is_wide_enough(
    right: float, left: float, reclamps: float
) -> None:
    """It reaches 76.2 + 400 mm to the right, or to the left once it is rotated by half a turn; 10 are required."""
    machine = bender({"solid": wall_with_opening(450.0, right, left, 45.0, 45.0)})
    assert verdicts(tube([400, 400], [0], [90]), machine) == ((reclamps, reclamps), reclamps)
