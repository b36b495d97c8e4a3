"""An order tried: the standing of every step, what is proved of those that go, and what is met first, by hand."""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter

import numpy as np
import pytest

from planner.advice.answers import Tried
from planner.advice.first_contact import met_in, moment
from planner.advice.notation import read_order
from planner.advice.order import judge
from planner.advice.order_trial import Tryout, tried_with_motions, try_out
from planner.clearance.certify import certify
from planner.clearance.rows import rows_of
from planner.clearance.verdicts import Answer
from planner.deadline import limited
from planner.feasibility.bend_check import Blocked
from planner.feasibility.cases import case_of, surroundings_of
from planner.feasibility.places import places
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.plans.document import OrderedBend
from planner.search.search import Search
from planner.sequencing.events import Event
from planner.sequencing.exact import Exact
from planner.tube import motions
from planner.tube.motions import InDie
from planner.tube.partly_bent import Pieces
from planner.wording.say import say
from tests.advice.parts import begun_in_the_middle, every_order, example, hanging_a_hair_too_low, random_jobs
from tests.plan.shop import bender, tube

Order = tuple[OrderedBend, ...]


def unplanned(part: Part, machine: Machine) -> Search:
    """A search that knows nothing yet."""
    case = case_of(part, machine)
    return Search.of(case, surroundings_of(case), Exact())


def standings(tried: Tried) -> list[str]:
    return [step.standing for step in tried.steps]


@pytest.fixture(scope="module")
def tried(campaign: bool) -> list[tuple[Search, Order, Tryout]]:
    """Orders of random parts, some of which leave a bend out that is then formed behind."""
    rng, found = np.random.default_rng(11), []
    for job in random_jobs(150 if campaign else 21):
        if job.part.n_bends > 5 or job.name == "crowded 9":  # its ways on and off the rod take half a minute
            continue
        search, n = unplanned(job.part, job.machine), job.part.n_bends
        ways = list(every_order(n))
        orders = {ways[k] for k in rng.integers(len(ways), size=2)}
        orders.add(tuple(OrderedBend(bend=int(b) + 1, leads="AB"[rng.integers(2)]) for b in rng.permutation(n)))  # type: ignore[arg-type]
        found += [(search, order, tried_with_motions(search, order, None)) for order in sorted(orders, key=repr)]
    return found


# ---------------------------------------------------------------------------------------------------- what is said


def test_every_step_stands_as_the_verdict_has_it(tried: list[tuple[Search, Order, Tryout]]) -> None:
    seen = Counter[str]()
    for _, order, tryout in tried:
        answer, said = tryout.tried, standings(tryout.tried)
        judged, contact = answer.judged, answer.contact
        assert [(step.number, step.bend, step.leads) for step in answer.steps] == [
            (number, made.bend, made.leads) for number, made in enumerate(order, start=1)
        ]
        seen[judged.verdict] += 1
        if judged.verdict == "goes":
            assert set(said) == {"goes"}
            assert contact is None
            continue
        assert contact is not None
        going = len(list(itertools.takewhile(lambda standing: standing == "goes", said)))
        assert "goes" not in said[going:]
        assert len(tryout.made) == going
        if judged.verdict == "fails":
            assert judged.fails is not None
            assert said.index("fails") + 1 == judged.fails.number == contact.step
            assert set(said[judged.fails.number :]) <= {"not reached"}
            assert said[going] in ("fails", "not settled")
        else:
            assert "fails" not in said
            assert said[going:] == ["not settled", *["not reached"] * (len(order) - going - 1)]
        if contact.solid is not None and contact.solid not in {reason.solid for reason in contact.reasons}:
            seen["both are said"] += 1
        assert set(contact.reasons) == set(judged.reasons)
    assert min(seen["goes"], seen["fails"]) >= 8, seen


def test_the_verdict_is_the_one_on_the_whole_order(tried: list[tuple[Search, Order, Tryout]]) -> None:
    for search, order, tryout in tried[::4]:
        again = unplanned(search.case.part, search.case.machine)
        assert tryout.tried.judged.verdict == judge(again, order, None).verdict


def test_every_motion_of_a_step_that_goes_is_certified_with_one_clamp(
    tried: list[tuple[Search, Order, Tryout]],
) -> None:
    certified = 0
    for search, _, tryout in tried:
        for made in tryout.made:
            passages = [passage.motions for passage in (made.put_on, made.taken_off) if passage is not None]
            every = [
                *made.attempt.placing,
                *made.attempt.gripping,
                *made.attempt.returning,
                *itertools.chain(*passages),
            ]
            rows = rows_of(every, search.around(made.attempt.station), [(made.clamp,)] * len(every))
            verdicts = certify(rows)
            assert {verdicts.of(k, 0).answer for k in range(len(every))} == {Answer.CLEAR}
            certified += len(every)
        for before, after in itertools.pairwise(tryout.made):
            assert (after.place.before, after.place.trims) == (before.place.at, before.place.trims)
            if after.place.at.event is Event.LINK:  # it begins where the one before has left the tube
                assert after.attempt.eased_before == before.attempt.eased
            elif search.case.machine.mandrel is not None:
                assert before.taken_off is not None
                assert after.put_on is not None
    assert certified >= 200


def test_an_answer_is_told_in_the_same_bytes_again() -> None:
    part, machine = example("lockside-rail")
    one, two = (try_out(unplanned(part, machine), read_order("1B 2A 3A 4A", 4), None) for _ in range(2))
    assert one.to_json() == two.to_json()
    assert one.as_dict()["schema"] == "bendorder-tried/1"


# ------------------------------------------------------------------------------------------------------ by a rule


def test_where_a_rule_alone_forbids_a_step_nothing_is_done() -> None:
    part, machine = example("lockside-rail")
    answer = try_out(unplanned(part, machine), read_order("1A 2A 3A 4A", 4), None)
    assert standings(answer) == ["fails", "not reached", "not reached", "not reached"]
    contact = answer.contact
    assert contact is not None
    assert (contact.doing, contact.solid, contact.place, contact.t) == (None, None, None, None)
    # By hand: three straights and four arcs of the whole tube lie behind the first bend's tangent point.
    behind = 1300 + 800 + 1300 + 1130 + 76.2 * math.radians(90 + 30 + 30 + 90)
    assert f"{behind:.1f} mm of tube go over the mandrel at the load; the rod is 3600.0 mm long." in contact.sentence


def test_a_bend_left_out_is_not_settled_and_the_one_that_it_would_lie_behind_fails() -> None:
    answer = try_out(unplanned(*begun_in_the_middle()), read_order("2A 1B 3A", 3), None)
    assert answer.judged.verdict == "goes"
    left_out = try_out(
        unplanned(tube([500, 300, 300, 500], [0, 0, 0], [20, 20, 20]), bender()), read_order("1A 3A 2A", 3), None
    )
    assert standings(left_out) == ["goes", "not settled", "fails"]
    assert left_out.contact is not None
    assert left_out.contact.doing is None
    assert "would lie in the tail" in left_out.contact.sentence


def test_on_a_bench_without_rod_and_collet_an_order_that_leaves_a_bend_out_is_not_settled() -> None:
    part = tube([500, 300, 300, 500], [0, 0, 0], [20, 20, 20])
    answer = try_out(unplanned(part, bender({"mandrel": None, "carriage": None})), read_order("1A 3A 2A", 3), None)
    assert answer.judged.undecided_because == "orders not tried"
    assert standings(answer) == ["goes", "not settled", "not reached"]
    assert answer.contact is not None
    assert (answer.contact.step, answer.contact.doing) == (2, None)
    assert "are not tried yet" in answer.contact.sentence


def test_when_the_time_is_over_nothing_is_shown_as_fine() -> None:
    search = unplanned(*example("lockside-rail"))
    with limited(-1.0):
        answer = try_out(search, read_order("2A 3A 1B 4A", 4), None)
    assert answer.judged.undecided_because == "time limit"
    assert standings(answer) == ["not settled", "not reached", "not reached", "not reached"]
    assert answer.contact is not None
    assert answer.contact.sentence.endswith("the time limit came first.")


def test_what_is_too_close_to_call_is_not_settled_and_its_nearest_place_is_named() -> None:
    """The leg hangs 80° below the level, its lowest point 0.05 mm in the floor: nothing is required, 0.1 are a strike."""
    lowest = 976.2 * math.sin(math.radians(80.0)) + 19.05 * math.cos(math.radians(80.0))
    machine = bender({"head": {"centreline_height": lowest - 0.05}, "clearance": {"required": 0.0}})
    answer = try_out(unplanned(tube([900, 250, 900], [0, 80], [90, 90]), machine), read_order("1A 2A", 2), None)
    assert answer.judged.undecided_because == "too close"
    assert standings(answer) == ["goes", "not settled"]
    contact = answer.contact
    assert contact is not None
    assert (contact.solid, contact.touches, contact.needed) == ("floor", True, 0.0)
    assert contact.clearance == pytest.approx(0.0, abs=0.051)
    assert contact.place == pytest.approx(0.0, abs=0.2)  # the leg's free end


def test_a_step_behind_one_that_is_too_close_to_call_fails_by_a_rule_of_its_own() -> None:
    """The same leg, and a third bend whose straight of 20 mm no clamp can hold."""
    lowest = 976.2 * math.sin(math.radians(80.0)) + 19.05 * math.cos(math.radians(80.0))
    machine = bender({"head": {"centreline_height": lowest - 0.05}, "clearance": {"required": 0.0}})
    part = tube([900, 250, 20, 900], [0, 80, 0], [90, 90, 10])
    answer = try_out(unplanned(part, machine), read_order("1A 2A 3A", 3), None)
    assert answer.judged.verdict == "fails"
    assert standings(answer) == ["goes", "not settled", "fails"]
    assert answer.contact is not None
    assert (answer.contact.step, answer.contact.doing) == (3, None)
    assert answer.contact.sentence.endswith("straight 2 before it is 20.0 mm; the shortest clamp is 60.0 mm.")


def test_what_comes_too_near_on_its_way_is_shown_as_near_as_it_comes() -> None:
    """Either end hangs 0.05 mm in the floor in its place, but a rim of its flat end comes to it on its way there."""
    answer = try_out(unplanned(*hanging_a_hair_too_low()), read_order("1A 2A", 2), None)
    assert standings(answer) == ["goes", "not settled"]
    contact = answer.contact
    assert contact is not None
    assert (contact.doing, contact.solid, contact.touches) == ("move", "floor", True)
    height, rim = 900.0 + 76.2 - 0.05, math.hypot(976.2, 19.05)
    assert rim > height + 0.1
    touches = math.asin(height / rim) - math.asin(19.05 / rim)  # of the quarter turn that it is rotated
    assert contact.t == pytest.approx(touches / (math.pi / 2.0), abs=2e-3)


# ------------------------------------------------------------------------------------------- the first contact


def test_a_bare_tube_pushed_forward_touches_a_wall_when_its_end_gets_there() -> None:
    """Its flat end, at the tangent point first, is advanced to 900 mm past it; the wall stands at 600."""
    wall = {"name": "wall", "moves_with": "frame", "box": {"from": [600, -900, -900], "to": [650, 900, 900]}}
    machine = bender({"mandrel": None, "solid": [wall]})
    part = tube([900, 400, 500], [0, 0], [90, 90])
    answer = try_out(unplanned(part, machine), read_order("1A 2A", 2), None)
    contact = answer.contact
    assert contact is not None
    assert (contact.step, contact.doing, contact.solid, contact.touches) == (1, "move", "wall", True)
    assert contact.t == pytest.approx(600.0 / 900.0, abs=2e-4)
    assert contact.near_from == pytest.approx(590.0 / 900.0, abs=2e-4)  # 10 mm are required
    assert contact.place == pytest.approx(0.0, abs=0.2)
    assert contact.moment is not None
    assert contact.moment.startswith("at an advance of 600.")


@pytest.mark.parametrize(("head", "side"), [("right", -1.0), ("left", 1.0)])
def test_a_level_leg_swings_into_a_post_at_the_angle_reckoned_by_hand(head: str, side: float) -> None:
    """The straight of 700 ahead of a bend swings against a post of radius 30 about a point 300 along and 400 beside the
    die's axis.

    Seen from the axis the point lies 500 off at β = atan 400/300 below the straight, whose centreline passes the axis
    76.2 off. After a swing θ it lies 76.2 − 500 sin(θ − β) from the centreline, and is touched when that is 19.05 + 30,
    at 500 cos(θ − β) from the tangent point.
    """
    centre = [300.0, side * (76.2 + 400.0)]
    post = {"name": "post", "moves_with": "frame", "cylinder": {"centre": centre, "radius": 30.0, "z": [-50.0, 50.0]}}
    machine = bender({"solid": [post], "head": {"bends_toward": head}})
    search = unplanned(tube([700, 700], [0], [90]), machine)
    contact = try_out(search, read_order("1A", 1), None).contact
    assert contact is not None
    assert (contact.doing, contact.solid, contact.touches) == ("bend", "post", True)
    beyond = math.asin((76.2 - 19.05 - 30.0) / 500.0)
    swing = math.atan2(400.0, 300.0) + beyond
    assert contact.t == pytest.approx(swing / search.checks.settings[0], abs=2e-4)
    assert contact.moment == f"{math.degrees(swing):.1f}° into the swing"
    assert contact.place == pytest.approx(700.0 - 500.0 * math.cos(beyond), abs=3.0)


def opens_too_little(head: str) -> Machine:
    """A bender on which the leg of a bend of 90° does not come past the opened clamp."""
    block = {"width": 60, "height": 60, "opens": 40}
    return bender({"head": {"bends_toward": head}, "tooling": {"clamp_block": block}})


@pytest.mark.parametrize("head", ["right", "left"])
def test_the_end_of_the_grip_section_presses_into_the_leg_at_the_angle_reckoned_by_hand(head: str) -> None:
    """The clamp opens too little for any way home, and the arm goes past the standing tube: once it has gone back by β
    from the part's angle, the end of the groove, 80 along it and 76.2 − 19.05 from the die's axis, stands
    80 sin β − 57.15 (1 − cos β) deep in the leg. 1 mm may press in.
    """
    search = unplanned(tube([500, 700, 500], [0, 0], [90, 90]), opens_too_little(head))
    contact = try_out(search, read_order("1A 2A", 2), None).contact
    assert contact is not None
    assert (contact.step, contact.doing, contact.solid, contact.touches) == (1, "return", "grip section", True)
    below, setting = 76.2 - 19.05, search.checks.settings[0]
    across = math.hypot(80.0, below)
    back = math.asin((1.0 + below) / across) - math.atan2(below, 80.0)
    assert (1.0 - contact.t) * setting == pytest.approx(math.pi / 2.0 - back, abs=2e-4)  # type: ignore[operator]
    assert contact.moment == f"with the arm at {90.0 - math.degrees(back):.1f}°"


def a_hook_beside_the_tail() -> Search:
    """A leg that comes back along the tail, 252.4 beside it, with a hook toward it at its end; behind the collet the
    carriage has a body that reaches 100 to either side. The hold is near: the tail of 300 ends in the collet.
    """
    body = {"name": "body", "moves_with": "carriage", "box": {"from": [-100, -100, -60], "to": [0, 100, 60]}}
    return unplanned(tube([85, 420, 100, 300], [0, 0, 0], [90, 90, 90]), bender({"solid": [body]}))


def test_a_carriage_that_runs_back_strikes_a_hook_when_it_gets_there() -> None:
    """The tube run forward by 80, the hook lies 80 − 420 − 76.2 from the tangent point, its near side 19.05 less far; the
    body's rear is there when the collet's face is 100 nearer.
    """
    answer = try_out(a_hook_beside_the_tail(), read_order("1A 2A 3A", 3), None)
    contact = answer.contact
    assert standings(answer) == ["goes", "goes", "not settled"]  # with another way home it might run past
    assert contact is not None
    assert (contact.step, contact.doing, contact.solid, contact.touches) == (3, "carriage run", "body", True)
    near = 416.2 - 19.05 - 100.0
    held, waits = 300.0 - 40.0 - 80.0, 6000.0
    assert contact.t == pytest.approx((near - held) / (waits - held), abs=2e-4)
    assert contact.moment is not None
    said = re.fullmatch(r"with the collet's face ([\d.]+) mm from the tangent point", contact.moment)
    assert said is not None
    assert float(said[1]) == pytest.approx(near, abs=0.6)  # within 1e-4 of a run of 5.8 m
    assert contact.near_from is not None
    assert contact.near_from < contact.t


def test_a_run_of_the_carriage_that_strikes_is_no_proof_against_the_order() -> None:
    assert try_out(a_hook_beside_the_tail(), read_order("1A 2A 3A", 3), None).judged.verdict == "undecided"


def test_the_rim_of_a_flat_end_touches_a_wall_ahead_at_the_angle_reckoned_by_hand() -> None:
    """The end stands 700 ahead, the wall 703. Its rim, 76.2 + 19.05 beside the die's axis, swings out to the hypotenuse
    first: at a swing θ it is hypot · cos(atan(95.25 / 700) − θ) ahead.
    """
    wall = {"name": "wall", "moves_with": "frame", "box": {"from": [703, -900, -900], "to": [760, 900, 900]}}
    search = unplanned(
        tube([700, 700], [0], [90]), bender({"mandrel": None, "solid": [wall], "clearance": {"required": 0}})
    )
    contact = try_out(search, read_order("1A", 1), None).contact
    assert contact is not None
    assert (contact.doing, contact.solid, contact.touches) == ("bend", "wall", True)
    swing = math.atan2(95.25, 700.0) - math.acos(703.0 / math.hypot(700.0, 95.25))
    assert contact.t == pytest.approx(swing / search.checks.settings[0], abs=3e-4)
    assert contact.place == pytest.approx(0.0, abs=0.01)


def test_a_flat_end_touches_the_edge_of_a_wall_at_the_angle_reckoned_by_hand() -> None:
    """The upright edge stands 704 from the die's axis, 20° past the leg's direction. Once the leg has passed it by α it
    lies 704 cos α along the leg and 704 sin α beside the axis: at 704 cos α = 700 in the middle of the flat end.
    """
    past = math.radians(20.0)
    x, y = 704.0 * math.cos(past), -76.2 - 704.0 * math.sin(past)
    wall = {"name": "wall", "moves_with": "frame", "box": {"from": [x, -900, -900], "to": [x + 50.0, y, 900]}}
    search = unplanned(
        tube([700, 700], [0], [90]), bender({"mandrel": None, "solid": [wall], "clearance": {"required": 0}})
    )
    contact = try_out(search, read_order("1A", 1), None).contact
    assert contact is not None
    assert (contact.doing, contact.solid, contact.touches) == ("bend", "wall", True)
    swing = past + math.acos(700.0 / 704.0)
    # Points on the flat end stand for it, so that the edge may have gone in by a tenth: at 75 mm a radian.
    assert 0.0 <= contact.t * search.checks.settings[0] - swing < 0.1 / 75.0  # type: ignore[operator]
    assert contact.place == pytest.approx(0.0, abs=0.01)


def test_a_closing_clamp_touches_a_leg_when_its_face_gets_there() -> None:
    """Its face stands 95 mm from the feed's axis and closes; a tube of radius 19.05 lies with its axis 10 mm off, high
    enough to be clear of the bore: the face is there when it is 29.05 mm off, after (95 − 29.05) / 95 of its travel.
    """
    part, machine = tube([300, 300, 300], [0, 90], [90, 90]), bender()
    search = unplanned(part, machine)
    first = search.propose()
    assert first is not None
    station = search.checks.station(places(first)[0])
    leg = np.array([[0.0, 0.0, 20.0], [0.0, 0.0, 10.0], [0.0, 0.0, 25.0]])
    pieces = Pieces(
        start=leg,
        along=np.array([[1.0, 1.0, 1.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]),
        inward=np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0], [0.0, 0.0, 0.0]]),
        curvature=np.array([0.0, 1e-9, 0.0]),
        length=np.array([1.0, 1.0, 40.0]),
        u=np.array([300.0, 299.0, 298.0]),
        u_sign=-1.0,
        to_end=np.array([41.0, 40.0, 0.0]),
    )
    grip = InDie(pieces, 76.2, -1.0, math.pi / 2.0, math.pi / 2.0, 300.0, 500.0, None, True)
    motion = motions.close_dies(grip)
    around = search.around(station)
    rows = rows_of([motion], around, [(80.0,)])
    finding = certify(rows).of(0, 0)
    assert finding.answer is Answer.STRUCK
    met = met_in(Blocked("bend", finding, motion, rows), 0, around.tooling)
    assert (met.solid, met.touches) == ("clamp die", True)
    assert met.t == pytest.approx((95.0 - 29.05) / 95.0, abs=2e-4)
    assert say(moment(motion, met.t)) == "while the dies close"
