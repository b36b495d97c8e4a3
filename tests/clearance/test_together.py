"""Arm and tube on their way together: seen from the arm the tube's way turns, and the straight ahead counts as it grows."""

from dataclasses import replace

import numpy as np
import pytest

from planner.clearance.certify import certify
from planner.clearance.poses import pose
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.inputs.machine import Machine
from planner.tube import motions
from planner.tube.bodies import Motion, Path, Role
from tests.clearance.cases import RADIUS, WALL, case, moment_of, places
from tests.clearance.machines import CLR, box, machine
from tests.clearance.oracle import Array
from tests.clearance.test_contact_behaviour import drawn, side_of, standing

ARM_SOLIDS = ("clamp die", "grip section")


@pytest.mark.parametrize("seed", range(310, 316))
def test_from_the_arm_every_point_moves_as_its_places_do(seed: int) -> None:
    """Places by the tests' own tube, seen from the arm as it stands; velocities by their finite differences.

    Points of the straight ahead keep their distance from the tangent point, as the row has it: they stand still.
    """
    c, rng, moving = case(seed), np.random.default_rng(seed), 0
    rows = c.rows()
    names = c.names(rows)
    on_arm = {solid.name for solid in c.machine.solid if solid.moves_with == "arm"} | set(ARM_SOLIDS)
    for row in range(rows.count):
        step, name = c.steps[rows.motion[row] // len(names)], names[rows.motion[row] % len(names)]
        if not step.name.startswith("together") or name not in on_arm:
            continue
        table = rows.pieces[:, rows.piece[row]]
        t = float(rng.uniform(0.05, 0.95))
        s = float(rng.uniform(table[10], min(table[11], table[12] + table[13] * t)))
        assert moment_of(rows, row, step, t) == t

        def at(when: float) -> Array:
            frames = step.play.moment(when).frames(places(rows, row, np.array([s]), step, when))  # noqa: B023
            return np.asarray(step.play.seen("arm", frames, when)[0, :3, 3])  # noqa: B023

        found = pose(rows, np.array([row]), np.array([s]), np.array([t]))
        assert found.x[:, 0] == pytest.approx(at(t), abs=1e-8)
        assert found.velocity[:, 0] == pytest.approx((at(t + 1e-5) - at(t - 1e-5)) / 2e-5, abs=1e-3)
        moving += bool(np.abs(rows.blocks[12:15, rows.block[row]]).max() > 1.0)
    assert moving > 8


def rows_for(motion: Motion, head: str) -> Rows:
    on = machine(
        head, [box("lug", "arm", (0, 300, -60), (100, 320, 60)), box("post", "frame", (0, 300, -60), (9, 320, 60))]
    )
    return rows_of([motion], Surroundings.of(on, on.tooling[0], RADIUS, 2.0, WALL), [(76.0,)])


@pytest.mark.parametrize("y", [(0.0, 100.0), (40.0, 100.0)])
def test_the_straight_ahead_counts_as_it_grows_and_in_the_frame_as_long_as_it_gets(
    y: tuple[float, float], head: str
) -> None:
    rows = rows_for(motions.homing(standing(drawn([600.0, 900.0], [90]), 1, head), (1.5, 0.2), y), head)
    first = [k for k in range(rows.count) if rows.roles[rows.piece[k]] is Role.FIRST]
    assert {rows.names[rows.solid[k]] for k in first} >= {"lug", "post", "clamp die"}
    for k in first:
        moments = tuple(rows.blocks[10:12, rows.block[k]])
        if rows.names[rows.solid[k]] in (*ARM_SOLIDS, "lug"):
            assert moments == (0.0, 1.0)
            assert tuple(rows.pieces[12:14, rows.piece[k]]) == (y[0], y[1] - y[0])
        else:
            assert moments == (1.0, 1.0)
            assert rows.pieces[11, rows.piece[k]] == y[1]


def seen(head: str, s: float, arm: float) -> Array:
    """A point of the feed's line seen from the arm."""
    turn, axis = -side_of(head) * arm, side_of(head) * CLR
    x, y = s, -axis
    return np.array([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn) + axis, 0.0])


def to_pin(motion: Motion, on: Machine) -> Answer:
    """The answer for the straight ahead alone."""
    rows = rows_of([motion], Surroundings.of(on, on.tooling[0], RADIUS, 2.0, WALL), [(76.0,)])
    first = np.array([rows.roles[k] is Role.FIRST for k in rows.piece])
    return certify(rows.take(first & (rows.solid == rows.names.index("pin")))).of(0).answer


def test_a_straight_that_is_not_there_yet_strikes_nothing(head: str) -> None:
    """A pin on the arm that passes 95 mm in front of the tangent point when 10 mm of straight have come out."""
    at_die = standing(drawn([60.0, 900.0], [90]), 1, head)
    motion = motions.homing(at_die, (np.pi / 2.0, 0.0), (0.0, 100.0))
    pin = seen(head, 95.0, np.pi / 2.0 * 0.9)
    # By hand: of all the straight that there ever is, none comes nearer than 31 mm to it.
    t = np.linspace(0.0, 1.0, 400)
    near = min(float(np.linalg.norm(seen(head, s, np.pi / 2.0 * (1.0 - k)) - pin))
               for k in t for s in np.linspace(0.0, 100.0 * k, 30))  # fmt: skip
    assert near > RADIUS + 10.0 + 2.0
    on = machine(head, [box("pin", "arm", pin - 1.0, pin + 1.0)])
    assert to_pin(motion, on) is Answer.CLEAR
    whole = tuple(
        replace(body, length_at_start=None, length_change=0.0) if body.path is Path.LINE else body
        for body in motion.bodies
    )
    assert to_pin(replace(motion, bodies=whole), on) is Answer.STRUCK


def test_tube_that_has_left_the_tail_strikes_nothing(head: str) -> None:
    """A pin on the arm that comes by where the tail ended at the start, when it ends 95 mm nearer to the die.

    The tail was once held against the arm as long as at the start, all along the way.
    """
    at_die = replace(standing(drawn([60.0, 900.0], [90]), 1, head), tail_length=400.0)
    motion = motions.homing(at_die, (np.pi / 2.0, 0.0), (0.0, 100.0))
    for back, answer in ((380.0, Answer.CLEAR), (250.0, Answer.STRUCK)):
        pin = seen(head, -back, np.pi / 2.0 * 0.05)
        on = machine(head, [box("pin", "arm", pin - 1.0, pin + 1.0)])
        rows = rows_of([motion], Surroundings.of(on, on.tooling[0], RADIUS, 2.0, WALL), [(76.0,)])
        tail = np.array([rows.roles[k] is Role.TAIL for k in rows.piece])
        assert certify(rows.take(tail & (rows.solid == rows.names.index("pin")))).of(0).answer is answer
