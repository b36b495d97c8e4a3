"""The carriage with its collet open: its runs along the tail, and where it stands back as a solid."""

from dataclasses import replace

import numpy as np
import pytest

from planner.clearance.certify import smallest_clearances
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.inputs.machine import Machine
from planner.tolerances import REPORT_GAP
from planner.tube import motions
from planner.tube.bodies import Motion, Phase, Role
from planner.tube.motions import Standing
from tests.clearance.cases import RADIUS, WALL
from tests.clearance.machines import CLR, box, machine
from tests.clearance.test_contact_behaviour import against, drawn, in_die, standing

LEG = 800.0
"""Leading leg of a U: after 180° it lies 152.4 mm beside the tail, from 0 back to −800 mm."""

WIDE, NARROW = 250.0, 100.0
"""Half the carriage's width: a leg lies from 133.35 to 171.45 mm beside the feed, and needs 10 mm."""


def bench(head: str, half: float) -> Machine:
    return machine(head, [box("carriage", "carriage", (-300, -half, -60), (0, half, 60))])


def hairpin(head: str, face: float | None = 2000.0) -> Standing:
    return replace(standing(drawn([LEG, 3000.0], [180]), 1, head), face=face)


def answer(motion: Motion, on: Machine) -> Answer:
    return against(motion, on).get("carriage", Answer.CLEAR)


RUNS = {
    # from, to, half width: answer; its front is the face, its back 300 mm behind it
    "past the leg's end": (2000.0, 500.0, WIDE, Answer.STRUCK),
    "away past the leg's end": (500.0, 2000.0, WIDE, Answer.STRUCK),
    "up to just before it": (2000.0, LEG + 10.5, WIDE, Answer.CLEAR),
    "a little farther": (2000.0, LEG + 9.5, WIDE, Answer.STRUCK),
    "beside the leg": (2000.0, 500.0, NARROW, Answer.CLEAR),
}


@pytest.mark.parametrize("name", RUNS)
def test_a_run_is_struck_just_where_a_leg_reaches_back_beside_the_tail(name: str, head: str) -> None:
    start, end, half, expected = RUNS[name]
    run = motions.run_carriage(hairpin(head), 0.0, (start, end))
    assert answer(run, bench(head, half)) is expected


def test_a_run_is_held_against_the_carriage_alone_and_the_tail_is_in_it(head: str) -> None:
    on = machine(head, [box("carriage", "carriage", (-300, -WIDE, -60), (0, WIDE, 60)),
                        box("wall", "frame", (-700, -300, -60), (-600, 300, 60)),
                        box("lug", "arm", (0, -300, -60), (300, 300, 60))])  # fmt: skip
    for run in (
        motions.run_carriage(hairpin(head), 40.0, (2000.0, 1000.0)),
        motions.run_carriage_back(in_die(drawn([LEG, 3000.0], [180]), 1, head), (500.0, 2000.0)),
    ):
        assert run.phase is Phase.RUN
        rows = rows_of([run], Surroundings.of(on, on.tooling[0], RADIUS, 2.0, WALL), [(76.0,)])
        assert set(rows.names) == {"carriage"}
        roles = {rows.roles[rows.piece[k]] for k in range(rows.count)}
        assert Role.TAIL not in roles
        assert roles
        assert set(rows.needed.tolist()) == {10.0}


def test_a_run_before_a_bend_is_struck_by_a_leg_of_the_bends_before(head: str) -> None:
    """Bend 1 of 180° is formed, 400 mm ahead of the tangent point: its leg comes back 152.4 mm beside the tail."""
    d = drawn([1500.0, 400.0, 3000.0], [180, 90], [0, 0])
    for half, expected in ((WIDE, Answer.STRUCK), (NARROW, Answer.CLEAR)):
        run = motions.run_carriage_back(in_die(d, 2, head), (600.0, 2000.0))
        assert answer(run, bench(head, half)) is expected


def test_the_nearest_of_a_run_is_the_closed_form(head: str) -> None:
    """The leg's near side lies 152.4 − 19.05 − 100 = 33.35 mm beside a carriage 100 mm wide to either side."""
    on = bench(head, NARROW)
    run = motions.run_carriage(hairpin(head), 0.0, (2000.0, 500.0))
    rows = rows_of([run], Surroundings.of(on, on.tooling[0], RADIUS, 2.0, WALL), [(76.0,)])
    (least,) = smallest_clearances(rows)
    far = 2.0 * CLR - RADIUS - NARROW
    assert far - REPORT_GAP <= least.bound <= far + 1e-9


# Where it stands back


STANDING_BACK = {
    "put on": lambda at: motions.advance(at, (900.0, 0.0), 0.0, True),
    "taken off": lambda at: motions.advance(at, (0.0, 900.0), 0.0, False),
    "rotated on the way": lambda at: motions.rotate(at, 60.0, (-0.02, 0.02)),
    "run forward by hand": lambda at: motions.homing(at, (np.pi,) * 2, (0.0, 60.0)),
    "together by hand": lambda at: motions.homing(at, (np.pi, 2.0), (0.0, 60.0)),
}


@pytest.mark.parametrize("name", STANDING_BACK)
def test_a_leg_that_lies_beside_a_carriage_that_stands_back_strikes_it(name: str, head: str) -> None:
    for stands, half, expected in (
        (500.0, WIDE, Answer.STRUCK), (500.0, NARROW, Answer.CLEAR), (LEG + 10.5, WIDE, Answer.CLEAR),
    ):  # fmt: skip
        motion = STANDING_BACK[name](hairpin(head).opened(stands))
        assert motion.face == (stands, stands)
        assert answer(motion, bench(head, half)) is expected, (stands, half)
    # Where there is no carriage nothing stands there.
    assert STANDING_BACK[name](hairpin(head).opened(None)).face is None


def test_a_bend_with_the_collet_open_is_struck_by_the_carriage_where_it_stands_back(head: str) -> None:
    """The leg swings back beside it; 1.1° farther than its angle it lies no more than 16 mm nearer."""
    for stands, half, expected in (
        (500.0, WIDE, Answer.STRUCK), (500.0, NARROW, Answer.CLEAR), (LEG + 20.0, WIDE, Answer.CLEAR),
    ):  # fmt: skip
        grip = replace(in_die(drawn([LEG, 3000.0], [180]), 1, head, None), stands=stands)
        for motion in (motions.bend(grip), motions.open_dies(replace(grip, setting=np.pi + 0.02), None)):
            assert motion.face == (stands, stands)
            assert answer(motion, bench(head, half)) is expected, (motion.phase, stands, half)


def test_the_collet_closed_the_carriage_comes_on_with_the_tube(head: str) -> None:
    grip = in_die(drawn([LEG, 3000.0], [180]), 1, head, 2000.0)
    assert motions.bend(grip).face == pytest.approx((2000.0, 2000.0 - CLR * np.pi))
    assert answer(motions.bend(grip), bench(head, WIDE)) is Answer.CLEAR
