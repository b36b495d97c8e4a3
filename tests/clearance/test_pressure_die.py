"""Boxes that move with the pressure die: to and fro with it, and outward as it opens."""

from dataclasses import replace

import numpy as np
import pytest

from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.inputs.machine import Machine
from planner.tube import motions
from planner.tube.bodies import Motion, Role
from tests.clearance.cases import RADIUS, WALL
from tests.clearance.machines import CLR, box, machine
from tests.clearance.test_contact_behaviour import against, drawn, in_die, side_of, standing

OPENS = 40.0
"""How far the test bench's pressure die opens [mm]."""

FEED = CLR * np.pi / 2.0
FAR, LOW, HIGH = (-250.0, -20.0), (60.0, 130.0), (-140.0, -60.0)
"""A slide below the die, from the middle outward: along the feed, outward, up [mm]."""


def outward(head: str, near: float, far: float) -> tuple[float, float]:
    """The block stands on the side away from the bend die: the left of a right head."""
    ends = sorted((-side_of(head) * near, -side_of(head) * far))
    return ends[0], ends[1]


def bench(head: str, follows: bool = True) -> Machine:
    y = outward(head, *LOW)
    slide = box("slide", "pressure die", (FAR[0], y[0], HIGH[0]), (FAR[1], y[1], HIGH[1]))
    return machine(head, [slide], tooling={"pressure_die_follows": follows})


def rows_for(motion: Motion, on: Machine) -> Rows:
    return rows_of([motion], Surroundings.of(on, on.tooling[0], RADIUS, 2.0, WALL), [(76.0,)])


def swept(motion: Motion, on: Machine) -> tuple[float, ...] | None:
    rows = rows_for(motion, on)
    if "slide" not in rows.names:
        return None
    return tuple(rows.parameters[:6, rows.names.index("slide")].tolist())


def expected(head: str, out: tuple[float, float], way: tuple[float, float]) -> tuple[float, ...]:
    y = outward(head, LOW[0] + out[0], LOW[1] + out[1])
    return (FAR[0] + way[0], y[0], HIGH[0], FAR[1] + way[1], y[1], HIGH[1])


def test_it_is_swept_over_what_the_die_does_in_each_phase(head: str) -> None:
    d = drawn([900.0, 120.0, 900.0], [90, 90], [0, 180])
    grip, at_die, on = in_die(d, 2, head), standing(d, 2, head), bench(head)
    still, travel, away = (0.0, 0.0), (0.0, OPENS), (OPENS, OPENS)
    forward, quarter = (FEED, FEED), (np.pi / 2.0,) * 2
    states = [
        (motions.close_dies(grip), travel, still),
        (motions.bend(grip), still, still),  # seen from itself, as it goes forward
        (motions.open_dies(grip, 2000.0 - FEED), travel, forward),
        (motions.homing(at_die, quarter, (0.0, 80.0), forward), away, forward),
        (motions.homing(at_die, (np.pi / 2.0, 0.0), (80.0, 80.0), (FEED, 0.0)), away, (0.0, FEED)),
        (motions.homing(at_die, (np.pi / 2.0, 0.5), (0.0, 80.0), (FEED, 0.0)), away, (0.0, FEED)),
        (motions.advance(at_die, (0.0, 200.0), 0.0, False), away, still),
        (motions.rotate(at_die, 200.0, (0.0, 1.0)), away, still),
    ]
    for motion, out, way in states:
        assert swept(motion, on) == pytest.approx(expected(head, out, way)), motion.phase
    for motion in (motions.laid_in(at_die), motions.run_carriage(at_die, 0.0, (900.0, 2000.0))):
        assert swept(motion, on) is None


def test_the_die_that_does_not_follow_stays_where_it_is(head: str) -> None:
    d = drawn([900.0, 120.0, 900.0], [90, 90], [0, 180])
    opening = motions.open_dies(replace(in_die(d, 2, head), follows=False), 1800.0)
    assert swept(opening, bench(head, follows=False)) == pytest.approx(expected(head, (0.0, OPENS), (0.0, 0.0)))


def test_what_goes_forward_with_the_die_meets_what_it_would_not_meet_at_home(head: str) -> None:
    """A finger on the die's side of the feed, 60 mm off: carried 80 mm on, it stands in the swung leg's way."""
    y = outward(head, -90.0, -60.0)
    finger = box("slide", "pressure die", (-60.0, y[0], -10.0), (0.0, y[1], 10.0))
    grip = in_die(drawn([300.0, 900.0], [60]), 1, head)
    for follows, answer in ((True, Answer.STRUCK), (False, Answer.CLEAR)):
        motion = motions.bend(replace(grip, follows=follows))
        assert motion.pressure[1] == pytest.approx(79.8 if follows else 0.0, abs=0.1)
        assert against(motion, machine(head, [finger]))["slide"] is answer


def test_the_tail_keeps_clear_of_what_goes_with_the_die_though_the_die_itself_holds_it(head: str) -> None:
    y = outward(head, -30.0, 30.0)
    for top, answer in ((-RADIUS - 10.5, Answer.CLEAR), (-RADIUS - 9.5, Answer.STRUCK)):
        on = machine(head, [box("slide", "pressure die", (-240.0, y[0], -90.0), (-20.0, y[1], top))])
        motion = motions.bend(in_die(drawn([300.0, 900.0], [60]), 1, head))
        assert against(motion, on)["slide"] is answer
        rows = rows_for(motion, on)
        held = [rows.roles[rows.piece[k]] for k in range(rows.count) if rows.names[rows.solid[k]] == "slide"]
        assert Role.TAIL in held


def test_opened_it_stands_farther_out(head: str) -> None:
    """A leg that stands upright on the feed keeps 41 mm from a box that, closed, would come within 1 mm of it."""
    at_die, y = standing(drawn([500.0, 900.0], [90]), 1, head), outward(head, 20.0, 60.0)
    upright = motions.advance(at_die, (200.0, 210.0), np.pi / 2.0, True)
    for moves_with, answer in (("frame", Answer.STRUCK), ("pressure die", Answer.CLEAR)):
        on = machine(head, [box("slide", moves_with, (100.0, y[0], -300.0), (300.0, y[1], 300.0))])
        assert against(upright, on)["slide"] is answer
