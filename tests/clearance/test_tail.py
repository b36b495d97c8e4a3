"""The tail of a bend as a solid for what swings: what stays behind stands, its end comes forward with the tube."""

from dataclasses import replace

import numpy as np
import pytest

from planner.clearance.bounds import bounds
from planner.clearance.certify import smallest_clearances
from planner.clearance.distances import Kind
from planner.clearance.poses import Cells
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.inputs.machine import Machine
from planner.tolerances import REPORT_GAP
from planner.tube import motions
from planner.tube.bodies import Motion, Role
from tests.clearance.cases import RADIUS, WALL
from tests.clearance.machines import CLR, machine
from tests.clearance.test_contact_behaviour import against, drawn, in_die, side_of

FEED = CLR * np.pi / 2.0
"""Tube that a bend of 90° takes up [mm]: 119.7."""


def bare(head: str) -> Machine:
    """A machine whose rod ends so soon that the tail alone is in the way."""
    return machine(head, rod={"rod_length": 60})


def closing(head: str, behind: float) -> Motion:
    """A rectangle that closes with its fourth bend; so much of the tail is left behind the tangent point at the end.

    Its leg swings in from the side and comes onto the feed's line from 900 to 650 mm behind the tangent point.
    """
    grip = in_die(drawn([250.0, 300.0, 900.0, 300.0, 150.0], [90, 90, 90, 90]), 4, head, None)
    return motions.bend(replace(grip, tail_length=behind + FEED))


def answers(motion: Motion, head: str) -> tuple[Answer, Answer]:
    """For what stays, and for the end that comes forward."""
    found = against(motion, bare(head))
    return found.get("its own tail", Answer.CLEAR), found.get("its own tail's end", Answer.CLEAR)


def test_a_leg_that_closes_on_the_tail_strikes_what_is_still_there(head: str) -> None:
    start = 900.0 + CLR - 250.0  # the leg's end nearest to the die lies so far behind the tangent point, in the corner
    found = {behind: answers(closing(head, behind), head) for behind in (400.0, start - 200.0, start + 60.0, 1500.0)}
    assert found[400.0] == (Answer.CLEAR, Answer.CLEAR)
    assert found[start - 200.0] == (Answer.CLEAR, Answer.CLEAR)
    assert found[start + 60.0][0] is Answer.STRUCK
    assert found[1500.0][0] is Answer.STRUCK


def rows_for(motion: Motion, head: str) -> Rows:
    on = bare(head)
    return rows_of([motion], Surroundings.of(on, on.tooling[0], RADIUS, 2.0, WALL), [(76.0,)])


@pytest.mark.parametrize(("tail", "stays", "end"), [
    (1000.0, (-1000.0 + FEED, 0.0), (-1000.0, -1000.0 + FEED)),
    (FEED + 30.0, (-30.0, 0.0), (-FEED - 30.0, -30.0)),
    (FEED, None, (-FEED, 0.0)),
    (50.0, None, (-50.0, 0.0)),
])  # fmt: skip
def test_what_stays_stands_and_the_rest_is_fed_forward(
    tail: float, stays: tuple[float, float] | None, end: tuple[float, float], head: str
) -> None:
    d = drawn([300.0, 100.0, 900.0], [90, 90], [0, 90])
    rows = rows_for(motions.bend(replace(in_die(d, 2, head, None), tail_length=tail)), head)
    solids = {name: rows.parameters[:3, k] for k, name in enumerate(rows.names) if name.startswith("its own")}
    expected = {"its own tail's end": pytest.approx((*end, RADIUS))}
    if stays is not None:
        expected["its own tail"] = pytest.approx((*stays, RADIUS))
    assert {name: tuple(numbers.tolist()) for name, numbers in solids.items()} == expected
    for k in np.flatnonzero([rows.names[j] == "its own tail's end" for j in rows.solid]):
        assert rows.blocks[6, rows.block[k]] == pytest.approx(side_of(head) * np.pi / 2.0)
        assert rows.blocks[7:10, rows.block[k]] == pytest.approx([-FEED, 0.0, 0.0])  # seen from it the die comes back


@pytest.mark.parametrize("behind", [30.0, 100.0, 200.0])
def test_a_leg_beside_the_tail_is_as_far_from_what_is_left_of_it_as_it_is(behind: float, head: str) -> None:
    """A hairpin of 180°: at the end two straights lie 152.4 mm apart, axis to axis, along all that is left of the tail."""
    grip = replace(in_die(drawn([300.0, 900.0], [180]), 1, head, None), tail_length=behind + CLR * np.pi)
    rows = rows_for(motions.bend(grip), head)
    far = 2.0 * CLR - 2.0 * RADIUS
    blocks = rows.blocks.copy()
    blocks[10] = blocks[11] = 1.0  # only the end of the motion
    for name in ("its own tail", "its own tail's end"):
        (least,) = smallest_clearances(replace(rows, blocks=blocks).take(rows.solid == rows.names.index(name)))
        assert least.bound <= far + 1e-9
        assert least.bound >= far - REPORT_GAP


def test_an_end_that_has_been_drawn_into_the_die_strikes_nothing(head: str) -> None:
    """A rectangle whose leg comes onto the feed's line just behind the tangent point, when all the tail has gone in."""
    d = drawn([150.0, 300.0, 400.0, 300.0, 150.0], [90, 90, 90, 90])
    grip = in_die(d, 4, head, None)
    gone = motions.bend(replace(grip, tail_length=40.0))
    there = motions.bend(replace(grip, tail_length=400.0 + FEED))
    assert answers(gone, head) == (Answer.CLEAR, Answer.CLEAR)
    assert Answer.STRUCK in answers(there, head)


@pytest.mark.parametrize(("t", "far"), [(0.0, -2.0 * RADIUS), (0.2, -6.0 - RADIUS), (0.3, 6.0 - RADIUS), (0.5, None)])
def test_what_has_passed_the_tangent_point_is_tail_no_longer(t: float, far: float | None) -> None:
    """Upright tube that goes along 30 mm before the end of a tail of 50; the bend takes up 120 mm.

    Seen from the tail the tangent point goes back by 120 t: at 0.2 it has come within 6 mm, at 0.3 it is 6 mm past, and
    at 0.5 there is no tail left.
    """
    piece = [-30.0, 0.0, -200.0, 0.0, 0.0, 1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 400.0, 400.0, 0.0, 400.0, -1.0, 0.0, 0.0]
    block = [0.0, 76.2, 0.0, 0.0, 0.0, 1.0, *[0.0] * 5, 1.0, 0.0, 0.0, 0.0]
    zero = np.zeros(1, dtype=np.int64)
    rows = Rows(
        pieces=np.array(piece)[:, None], blocks=np.array(block)[:, None], kind=np.array([int(Kind.TAIL_END)]),
        parameters=np.array([-50.0, 0.0, RADIUS, 120.0, 0.0, 0.0, 0.0, 0.0])[:, None], names=("its own tail's end",),
        piece=zero, block=zero, solid=zero, needed=np.array([2.0]), spread=np.zeros(1), motion=zero,
        clamp=np.array([-1]), roles=(Role.EARLIER,), radius=RADIUS, n_motions=1,
    )  # fmt: skip
    found = bounds(rows, Cells(zero, np.array([200.0]), np.zeros(1), np.array([t]), np.zeros(1))).upper
    assert found == pytest.approx([np.inf if far is None else far], abs=1e-9)
