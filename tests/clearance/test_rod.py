"""Rod and mandrel: tube that is on them is not held against them, everything else is, as far back as the rod goes."""

from dataclasses import replace

import numpy as np
import pytest

from planner.clearance.certify import smallest_clearances
from planner.clearance.groove import off_the_rod
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.inputs.machine import Machine
from planner.tolerances import REPORT_GAP
from planner.tube import motions
from planner.tube.bodies import Motion, Role
from planner.tube.motions import InDie, Standing
from tests.clearance.cases import RADIUS, WALL
from tests.clearance.machines import CLR, machine
from tests.clearance.test_contact_behaviour import against, drawn, in_die, standing

DEG = np.pi / 180.0
REACH = 30.0
"""How far the last ball of the test bench's mandrel stands past the tangent point [mm]."""

MANDREL, ROD = (2.0 * RADIUS - 2.0 * WALL - 0.3) / 2.0, 12.5
"""Their radii [mm]."""


def rows_for(motion: Motion, bench: Machine, wall: float = WALL) -> Rows:
    return rows_of([motion], Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0, wall), [(76.0,)])


def answers(motion: Motion, bench: Machine) -> dict[str, Answer]:
    """The answers for rod and mandrel, clear where nothing is held against them."""
    found = against(motion, bench)
    return {name: found.get(name, Answer.CLEAR) for name in ("mandrel", "mandrel rod")}


CLEAR = {"mandrel": Answer.CLEAR, "mandrel rod": Answer.CLEAR}


def built(rows: Rows) -> dict[str, tuple[float, ...]]:
    return {name: tuple(rows.parameters[:3, k].tolist()) for k, name in enumerate(rows.names) if "mandrel" in name}


def test_mandrel_and_rod_are_as_thick_and_as_long_as_profile_and_tube_say(head: str) -> None:
    """38.1 × 1.65 mm: a bore of 34.8, the mandrel 0.3 thinner, five diameters long behind the tangent point."""
    motion = motions.bend(in_die(drawn([300.0, 200.0, 900.0], [90, 90], [0, 90]), 2, head))
    expected = {"mandrel": (-190.5, REACH, 17.25), "mandrel rod": (-6000.0, -190.5, 12.5)}
    assert {name: pytest.approx(numbers) for name, numbers in expected.items()} == built(
        rows_for(motion, machine(head))
    )
    for rod, numbers in (({"rod_diameter": 36}, (-6000.0, REACH, 17.25)), ({"rod_length": 150}, None)):
        found = built(rows_for(motion, machine(head, rod=rod)))
        if numbers is None:  # a rod shorter than a mandrel is all mandrel
            assert found == {"mandrel": pytest.approx((-150.0, REACH, 17.25))}
        else:  # and none is thicker than its mandrel
            assert found == {"mandrel rod": pytest.approx(numbers)}
    # Where the wall is not known it is taken as thick as it could be.
    assert built(rows_for(motion, machine(head), wall=0.0))["mandrel"][2] == pytest.approx(18.9)


def test_a_mandrel_that_draws_back_stands_at_the_tangent_point_between_bends_alone(head: str) -> None:
    bench = machine(head, rod={"draws_back": True})
    at_die = standing(drawn([900.0, 80.0, 900.0], [90, 90], [0, 180]), 2, head)
    for motion, front in (
        (motions.advance(at_die, (0.0, 60.0), 0.0, False), 0.0),
        (motions.rotate(at_die, 120.0, (0.0, 1.0)), 0.0),
        (motions.homing(at_die, (1.0, 1.0), (0.0, 60.0)), REACH),
        (motions.bend(in_die(drawn([300.0, 200.0, 900.0], [90, 90], [0, 90]), 2, head)), REACH),
    ):
        assert built(rows_for(motion, bench))["mandrel"][1] == front


def test_without_a_mandrel_there_is_no_rod(head: str) -> None:
    data = machine(head)
    bare = data.model_copy(update={"mandrel": None, "tooling": (data.tooling[0].model_copy(update={"mandrel": None}),)})
    motion = motions.bend(in_die(drawn([300.0, 200.0, 900.0], [90, 90], [0, 90]), 2, head))
    assert built(rows_for(motion, bare)) == {}


# What is on the rod


def test_what_is_on_the_mandrel_is_cut_off_to_the_millimetre() -> None:
    roles = (Role.FORMED, Role.AFTER, Role.FAR_ARC, Role.EARLIER)
    curvature, long = np.array([1.0 / CLR, 0.0, 1.0 / CLR, 0.0]), np.array([CLR * 0.05, 300.0, 80.0, 200.0])
    found = off_the_rod(roles, curvature, long, 68.1)
    assert found == pytest.approx([CLR * np.pi, 68.1 - CLR * 0.05, 0.0, 0.0])
    assert off_the_rod(roles, curvature, np.array([90.0, 300.0, 80.0, 200.0]), 68.1)[1] == 0.0
    assert off_the_rod((Role.FORMING, Role.FIRST), curvature[:2], long[:2], 68.1) == pytest.approx([CLR * np.pi, 0.0])


KICKS = {
    "opening": lambda d, head: motions.open_dies(replace(in_die(d, 1, head), setting=3.2 * DEG), 1995.0),
    "run forward": lambda d, head: motions.homing(standing(d, 1, head), (3.2 * DEG,) * 2, (0.0, 120.0)),
    "together": lambda d, head: motions.homing(standing(d, 1, head), (3.0 * DEG, 0.0), (0.0, 120.0)),
    "advance": lambda d, head: motions.advance(standing(d, 1, head), (0.0, 200.0), 0.0, False),
}


@pytest.mark.parametrize("name", KICKS)
def test_a_kick_of_3_degrees_whose_arc_is_shorter_than_the_mandrels_reach_is_not_struck_by_its_own_mandrel(
    name: str, head: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The arc is 4.0 mm long: the straight after it lies on nose and balls, and leaves the feed's line slowly."""
    motion = KICKS[name](drawn([600.0, 900.0], [3]), head)
    assert answers(motion, machine(head)) == CLEAR
    if name == "opening":
        return  # there the straight is still the gripped one, whose own line it does not leave

    def whole(roles: tuple[Role, ...], *_: object) -> np.ndarray:
        return np.array([np.pi * CLR if role is Role.FORMED else 0.0 for role in roles])

    monkeypatch.setattr("planner.clearance.rows.off_the_rod", whole)
    assert answers(motion, machine(head))["mandrel"] is Answer.STRUCK


@pytest.mark.parametrize("angle", [3, 20, 60, 90, 150, 180])
def test_in_its_own_bend_no_tube_is_struck_by_what_it_is_bent_on(angle: float, head: str) -> None:
    d = drawn([500.0, 900.0], [angle])
    assert answers(motions.bend(in_die(d, 1, head)), machine(head)) == CLEAR
    assert answers(motions.advance(standing(d, 1, head), (0.0, 400.0), 0.0, False), machine(head)) == CLEAR


def test_an_arc_of_more_than_half_a_turn_is_held_against_the_rod_from_there_on(head: str) -> None:
    motion = motions.bend(in_die(drawn([500.0, 900.0], [185]), 1, head))
    rows = rows_for(motion, machine(head))
    mine = [k for k in range(rows.count) if rows.roles[rows.piece[k]] is Role.FORMING]
    starts = {rows.names[rows.solid[k]]: float(rows.pieces[10, rows.piece[k]]) for k in mine}
    assert starts["mandrel rod"] == pytest.approx(np.pi * CLR)


# What is off it


def test_a_leg_parallel_beside_the_rod_is_as_far_from_it_as_it_is(head: str) -> None:
    """After 180° two straights stand 152.4 mm apart: 152.4 − 19.05 − 17.25 = 116.1 from the mandrel, 120.85 from the rod."""
    motion = motions.bend(in_die(drawn([800.0, 1500.0], [180]), 1, head))
    assert answers(motion, machine(head)) == CLEAR
    rows = rows_for(motion, machine(head))
    blocks = rows.blocks.copy()
    blocks[10] = 1.0  # only the end of the motion
    for name, far in (("mandrel", 2.0 * CLR - RADIUS - MANDREL), ("mandrel rod", 2.0 * CLR - RADIUS - ROD)):
        (least,) = smallest_clearances(replace(rows, blocks=blocks).take(rows.solid == rows.names.index(name)))
        assert far - REPORT_GAP <= least.bound <= far + 1e-9
        assert least.found >= far - 1e-9


def closing(head: str, leg: float) -> InDie:
    """A rectangle about to close: three bends of 90° formed, the fourth in the die, its leg comes onto the feed's line.

    From there it runs toward the die again, from 900 mm behind the tangent point on.
    """
    d = drawn([leg, 300.0, 900.0, 300.0, 150.0], [90, 90, 90, 90])
    return replace(in_die(d, 4, head), tail_length=150.0 + CLR * np.pi / 2.0, face=None)


def test_a_frame_whose_leg_comes_to_lie_on_the_feeds_line_behind_its_tail_is_struck_by_the_rod(head: str) -> None:
    found = against(motions.bend(closing(head, 250.0)), machine(head))
    assert found["mandrel rod"] is Answer.STRUCK
    assert found["its own tail"] is Answer.CLEAR
    # Where the rod is anchored nearer than that there is none.
    short = against(motions.bend(closing(head, 250.0)), machine(head, rod={"rod_length": 500}))
    assert short.get("mandrel rod", Answer.CLEAR) is Answer.CLEAR


@pytest.mark.parametrize("opened", [False, True], ids=["gripped", "collet open"])
def test_the_same_frame_is_struck_while_it_is_run_forward_and_put_on(head: str, opened: bool) -> None:
    """It lies across the feed's line all along its way, and the rod runs through it."""
    grip = closing(head, 250.0)
    arc = grip.forming_arc(grip.setting)
    swung = grip.at_swing(grip.setting)
    columns = {
        name: np.concatenate((getattr(arc, name), getattr(swung, name)), axis=-1)
        for name in ("start", "along", "inward", "curvature", "length", "u", "to_end")
    }
    leading = replace(swung, **columns)
    feed = CLR * grip.setting
    at_die: Standing = Standing(leading, True, grip.tail_length - feed, grip.tangent_u + feed, None, CLR, grip.toward)
    if opened:
        at_die = at_die.opened(2000.0)
    for motion in (
        motions.homing(at_die, (np.pi / 2.0,) * 2, (0.0, 80.0)), motions.advance(at_die, (80.0, 0.0), 0.0, False),
    ):  # fmt: skip
        assert answers(motion, machine(head))["mandrel rod"] is Answer.STRUCK


def test_a_tube_that_is_rotated_on_its_mandrel_is_struck_by_it_only_where_it_leaves_the_feeds_line(head: str) -> None:
    """The arc just formed lies on nose and balls at an advance of 0: rule and plane see to that, not the cells."""
    at_die = standing(drawn([300.0, 900.0], [90]), 1, head)
    assert answers(motions.rotate(at_die, REACH, (0.0, 3.0)), machine(head)) == CLEAR
