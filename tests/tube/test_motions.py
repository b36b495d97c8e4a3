"""The motions of one bend: rigid, joined up, and landing where the drawing says."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from planner.inputs.part import Part
from planner.tube import motions
from planner.tube.bodies import Path, Phase
from planner.tube.frames import ALONG_FEED, UPWARD, die_axis, turned
from planner.tube.motions import InDie, Standing, moved, straight_piece
from planner.tube.partly_bent import Pieces, leading_part
from tests.plan.shop import RADIUS, random_tube, tube

SIDES = st.sampled_from([-1.0, 1.0])


def in_die(part: Part, bend: int, side: float, opened: float = 0.05) -> InDie:
    """The tube as it is gripped for a bend, all bends nearer the leading end A formed; `opened`: springback [rad]."""
    start, angle = float(part.bend_starts[bend - 1]), float(part.angles[bend - 1])
    ahead = leading_part(part, set(range(1, bend)), start, 0.0, side, bend)
    tail = part.developed_length - start
    return InDie(ahead, RADIUS, side, angle, angle + opened, start, tail, tail - 40.0, True)


def spots(pieces: Pieces) -> Any:
    """Three points of every piece (3, 3·m)."""
    return np.hstack([pieces.points(np.linspace(0.0, float(pieces.length[k]), 3), k) for k in range(pieces.count)])


def test_a_rigid_turn_about_the_die_axis_lands_on_the_worked_point() -> None:
    """(−30, 0, 12) about the vertical through (0, 50) by +90° is (50, 20, 12): worked by scipy's Rotation."""
    point = turned(np.array([-30.0, 0.0, 12.0]), UPWARD, math.pi / 2.0, np.array([0.0, 50.0, 0.0]))
    assert point == pytest.approx([50.0, 20.0, 12.0], abs=1e-9)


@given(angle=st.floats(-7, 7), seed=st.integers(0, 1000), upward=st.booleans())
def test_turns_are_those_of_scipy(angle: float, seed: int, upward: bool) -> None:
    rng = np.random.default_rng(seed)
    points, centre = rng.uniform(-500, 500, (3, 5)), rng.uniform(-500, 500, 3)
    axis = UPWARD if upward else ALONG_FEED
    wanted = Rotation.from_rotvec(angle * axis).apply((points - centre[:, None]).T).T + centre[:, None]
    assert turned(points, axis, angle, centre) == pytest.approx(wanted, abs=1e-9)


WRAPPED = {30.0: (175.532589, 93.608760), 45.0: (149.008677, 128.297999), 90.0: (50.0, 171.460184)}
"""A point 200 mm along the tube from the tail end of the arc, wrapped on a die of radius 50 [mm] (closed form, by scipy)."""


@pytest.mark.parametrize("degrees", WRAPPED)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_end_of_a_tube_wrapped_on_the_die_lands_on_the_worked_point(degrees: float, side: float) -> None:
    swing = math.radians(degrees)
    leading = straight_piece(200.0 - 50.0 * swing, 200.0 - 50.0 * swing, 0.0)
    grip = InDie(leading, 50.0, side, swing, swing, 300.0, 500.0, None, False)
    swung = grip.at_swing(swing)
    end = swung.points(swung.length[:1], 0)[:, 0]
    x, y = WRAPPED[degrees]
    assert end == pytest.approx([x, side * y, 0.0], abs=1e-6)


@given(seed=st.integers(0, 400), side=SIDES, opened=st.floats(0.0, 0.15))
def test_after_the_springback_the_tube_stands_as_the_drawing_has_it(seed: int, side: float, opened: float) -> None:
    part = random_tube(seed)
    for bend in range(1, part.n_bends + 1):
        grip = in_die(part, bend, side, opened)
        motion = motions.open_dies(grip, None)
        ahead, arc, tail = motion.bodies
        landed = moved(ahead.pieces, turn=ahead.turn, axis=UPWARD, centre=die_axis(RADIUS, side))
        wanted = leading_part(part, set(range(1, bend + 1)), float(part.bend_ends[bend - 1]), 0.0, side, bend)
        assert spots(landed) == pytest.approx(spots(wanted)[:, 3:], abs=1e-7)
        length = arc.length_at_start + arc.length_change  # type: ignore[operator]
        assert length == pytest.approx(float(part.arc_lengths[bend - 1]), abs=1e-9)
        assert arc.pieces.points(np.array([length]), 0)[:, 0] == pytest.approx(
            wanted.points(wanted.length[:1], 0)[:, 0]
        )
        assert tail.length_at_start is not None
        assert tail.length_at_start + tail.length_change == pytest.approx(
            grip.tail_length - float(part.arc_lengths[bend - 1]), abs=1e-9
        )
        assert tail.pieces.u[0] == pytest.approx(float(part.bend_ends[bend - 1]), abs=1e-9)


@given(seed=st.integers(0, 400), side=SIDES)
def test_the_swing_ends_where_the_springback_begins(seed: int, side: float) -> None:
    part = random_tube(seed)
    grip = in_die(part, part.n_bends, side)
    swing, opening = motions.bend(grip), motions.open_dies(grip, None)
    body = swing.bodies[0]
    ended = moved(body.pieces, turn=body.turn, axis=UPWARD, centre=swing.axis)
    assert spots(ended) == pytest.approx(spots(opening.bodies[0].pieces), abs=1e-8)
    assert swing.y[1] == pytest.approx(opening.y[0])
    assert swing.arm == (0.0, grip.setting)
    assert opening.arm == (grip.setting, grip.setting)
    assert swing.face is not None
    assert swing.face[0] - swing.face[1] == pytest.approx(RADIUS * grip.setting)


@given(seed=st.integers(0, 400), side=SIDES)
def test_the_swing_goes_toward_the_die(seed: int, side: float) -> None:
    """A right head swings clockwise seen from above: a negative turn about +z."""
    swing = motions.bend(in_die(random_tube(seed), 1, side))
    assert math.copysign(1.0, swing.bodies[0].turn) == side


@given(
    seed=st.integers(0, 400), side=SIDES, roll=st.floats(-3.1, 3.1), way=st.floats(5, 300), rotate_first=st.booleans()
)
def test_advance_and_rotation_in_either_order_end_in_the_same_place(
    seed: int, side: float, roll: float, way: float, rotate_first: bool
) -> None:
    """And that is the place of the next bend when the roll is R and the way is the straight."""
    part = random_tube(seed)
    tangent = float(part.bend_ends[0])
    leading = leading_part(part, {1}, tangent, 0.0, side, 1)
    tail = part.developed_length - tangent
    standing = Standing(leading, True, tail, tangent, tail - 40.0, RADIUS, side)
    if rotate_first:
        turning = motions.rotate(standing, 0.0, (0.0, roll))
        going = motions.advance(standing, (0.0, way), roll, True)
    else:
        going = motions.advance(standing, (0.0, way), 0.0, False)
        turning = motions.rotate(standing, way, (0.0, roll))
    last = going if rotate_first else turning
    body = last.bodies[0]
    axis = ALONG_FEED if body.about_feed else None
    ended = moved(body.pieces, shift=body.shift, turn=body.turn, axis=axis, centre=np.zeros(3))
    wanted = Rotation.from_euler("x", roll).apply(spots(leading).T).T + np.array([[way], [0.0], [0.0]])
    assert spots(ended) == pytest.approx(wanted, abs=1e-8)
    assert turning.phase is going.phase is Phase.PLACE
    assert going.slides_straight is not rotate_first
    assert not turning.slides_straight


@given(seed=st.integers(0, 400), side=SIDES)
def test_the_place_of_the_next_bend_is_one_straight_and_r_further(seed: int, side: float) -> None:
    part = random_tube(seed)
    tangent, start = float(part.bend_ends[0]), float(part.bend_starts[1])
    leading = leading_part(part, {1}, tangent, 0.0, side, 1)
    standing = Standing(leading, True, part.developed_length - tangent, tangent, None, RADIUS, side)
    motion = motions.advance(standing, (0.0, start - tangent), float(part.rotations[1]), True)
    body = motion.bodies[0]
    wanted = leading_part(part, {1}, start, 0.0, side, 2)
    assert spots(moved(body.pieces, shift=body.shift)) == pytest.approx(spots(wanted)[:, 3:], abs=1e-7)


ROLES = {
    "an arc, a leg, an arc, a leg": ((90.0, 60.0), ["FORMED", "AFTER", "FAR_ARC", "EARLIER"]),
    "an arc and a leg": ((90.0,), ["FORMED", "AFTER"]),
    "three arcs": ((90.0, 60.0, 30.0), ["FORMED", "AFTER", "FAR_ARC", "EARLIER", "EARLIER", "EARLIER"]),
}


@pytest.mark.parametrize("name", ROLES)
def test_the_arc_at_the_far_end_of_the_leg_is_told_from_what_lies_beyond_it(name: str) -> None:
    """After a bend it is the arc before the one just formed; of a tube laid in, the one that ends its first straight."""
    angles, expected = ROLES[name]
    n = len(angles)
    part = tube([200.0] * n + [400.0], [0.0] * n, list(angles))
    end, start = float(part.bend_ends[-1]), float(part.bend_ends[-1]) + 50.0
    for at, formed, roles in ((end, True, expected), (start, False, ["FIRST", "FAR_ARC", *["EARLIER"] * (2 * n - 1)])):
        leading = leading_part(part, set(range(1, n + 1)), at, 0.0, -1.0, n)
        standing = Standing(leading, formed, 500.0, at, 400.0, RADIUS, -1.0)
        for motion in (
            motions.advance(standing, (0.0, 40.0), 0.0, False), motions.rotate(standing, 40.0, (0.0, 1.0)),
            motions.homing(standing, (1.0, 0.0), (40.0, 60.0)), motions.run_carriage(standing, 0.0, (400.0, 900.0)),
            motions.laid_in(standing),
        ):  # fmt: skip
            assert [role.name for role in motion.bodies[0].roles] == roles


def test_where_two_arcs_follow_without_a_straight_there_is_no_far_arc() -> None:
    part = tube([200.0, 0.0, 400.0], [0.0, 0.0], [90.0, 60.0])
    leading = leading_part(part, {1, 2}, float(part.bend_ends[1]), 0.0, -1.0, 2)
    standing = Standing(leading, True, 500.0, float(part.bend_ends[1]), 400.0, RADIUS, -1.0)
    roles = motions.advance(standing, (0.0, 40.0), 0.0, False).bodies[0].roles
    assert [role.name for role in roles] == ["FORMED", "EARLIER", "EARLIER"]


LEGS = st.tuples(st.floats(0.05, 3.0), st.floats(0.0, 1.0), st.floats(0.0, 200.0), st.floats(1.0, 200.0))


@given(seed=st.integers(0, 400), side=SIDES, leg=LEGS, stands=st.none() | st.floats(300.0, 2000.0))
def test_a_way_homes_leg_takes_arm_tube_carriage_and_pressure_die_from_where_to_where_it_says(
    seed: int, side: float, leg: tuple[float, float, float, float], stands: float | None
) -> None:
    part = random_tube(seed)
    tangent = float(part.bend_ends[0])
    leading = leading_part(part, {1}, tangent, 0.0, side, 1)
    tail = part.developed_length - tangent
    standing = Standing(leading, True, tail, tangent, tail - 40.0, RADIUS, side)
    arm, y = (leg[0], leg[0] * leg[1]), (leg[2], leg[2] + leg[3])
    motion = motions.homing(standing if stands is None else standing.opened(stands), arm, y, (50.0, 0.0))
    assert (motion.phase, motion.arm, motion.y, motion.pressure) == (Phase.RETURN, arm, y, (50.0, 0.0))
    expected = (tail - 40.0 - y[0], tail - 40.0 - y[1]) if stands is None else (stands, stands)
    assert motion.face == pytest.approx(expected)
    for k in (0, 1):
        body = motion.bodies[0]
        landed = moved(body.pieces, shift=k * body.shift)
        assert spots(landed) == pytest.approx(spots(leading) + np.array([[y[k]], [0.0], [0.0]]), abs=1e-9)
    (line,) = (body for body in motion.bodies if body.path is Path.LINE)
    if arm[0] != arm[1]:
        assert (line.length_at_start, line.length_change) == (y[0], y[1] - y[0])
    assert float(line.pieces.length[0]) == y[1]
    assert motion.slides_straight


@given(seed=st.integers(0, 400), side=SIDES, y=st.floats(0.0, 200.0))
def test_a_carriages_run_moves_nothing_but_the_carriage(seed: int, side: float, y: float) -> None:
    part = random_tube(seed)
    tangent = float(part.bend_ends[0])
    leading = leading_part(part, {1}, tangent, 0.0, side, 1)
    standing = Standing(leading, True, 900.0, tangent, 800.0, RADIUS, side)
    runs = (
        motions.run_carriage(standing, y, (800.0, 2000.0), 0.4),
        motions.run_carriage_back(in_die(part, 1, side), (800.0, 2000.0)),
    )
    for run in runs:
        assert (run.phase, run.face) == (Phase.RUN, (800.0, 2000.0))
        assert all((body.turn, body.shift, body.length_change) == (0.0, 0.0, 0.0) for body in run.bodies)
    assert runs[0].arm == (0.4, 0.4)
    assert spots(runs[0].bodies[0].pieces) == pytest.approx(spots(leading) + np.array([[y], [0.0], [0.0]]))
