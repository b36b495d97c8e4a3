"""The grip section: what is settled against it without cells lies in its groove or beside it, and nothing more is.

The tube is sampled from its shape alone: flat cross-sections, filled, on a right head; the section is the block of the
page that fixes it, less its bore, and turns with the arm.
"""

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest

from planner.clearance.groove import Groove, stays_in_groove
from planner.clearance.rows import rows_of
from planner.clearance.solids import Tool
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.inputs.machine import Machine
from planner.tube import motions
from planner.tube.bodies import Motion, Path, Role
from planner.tube.motions import Standing
from tests.clearance.cases import RADIUS, WALL
from tests.clearance.machines import CLR, machine
from tests.clearance.oracle import Array
from tests.clearance.test_contact_behaviour import against, drawn, in_die, standing

DEG = np.pi / 180.0
RINGS, ANGLES = np.meshgrid([0.3, 0.7, 0.9, 1.0], np.radians(np.arange(0.0, 360.0, 10.0)))
DISC = np.stack(((RINGS * np.cos(ANGLES)).ravel(), (RINGS * np.sin(ANGLES)).ravel()))
"""Points of a cross-section of radius 1: away from the die axis, and up (2, n)."""


def tube(clr: float, radius: float, turns: Any, beyond: Any, out: Any) -> Array:
    """Points (3, …) of cross-sections `beyond` an arc of `turns` that has slid out by `out`; broadcast together."""
    turns, beyond, out = np.broadcast_arrays(*(np.asarray(a, dtype=float).ravel() for a in (turns, beyond, out)))
    sine, cosine = np.sin(turns)[:, None], np.cos(turns)[:, None]
    away, up = radius * DISC[0], radius * DISC[1]
    x = out[:, None] + (clr + away) * sine + beyond[:, None] * cosine
    y = (clr + away) * cosine - clr - beyond[:, None] * sine
    return np.stack((x, y, np.broadcast_to(up, x.shape))).reshape(3, -1)


def from_arm(points: Array, clr: float, arm: float) -> Array:
    """Points seen from the arm of a right head, which has gone clockwise by `arm`."""
    x, y = points[0], points[1] + clr
    return np.stack((x * np.cos(arm) - y * np.sin(arm), x * np.sin(arm) + y * np.cos(arm) - clr, points[2]))


def overlap(points: Array, radius: float, length: float, depth: float, height: float) -> float:
    """How deep the deepest of some points lies in the section's metal [mm], negative where none does."""
    x, y, z = points
    inside = (x, length - x, -y, y + depth, height / 2.0 - np.abs(z), np.hypot(y, z) - radius)
    return float(np.minimum.reduce(inside).max())


class Drawn:
    """A section and a tube at random; none reaches past the die axis."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(500 + seed)
        self.rng, self.clr = rng, rng.uniform(40.0, 220.0)
        self.radius = rng.uniform(5.0, 0.9 * self.clr)
        self.depth = self.clr if seed % 3 == 0 else rng.uniform(self.radius + 0.1, self.clr)
        self.length, self.height = rng.uniform(10.0, 400.0), 2.0 * self.radius + rng.uniform(1.0, 150.0)

    def into(self, turns: Any, beyond: Any, out: Any, arm: float = 0.0) -> float:
        seen = from_arm(tube(self.clr, self.radius, turns, beyond, out), self.clr, arm)
        return overlap(seen, self.radius, self.length, self.depth, self.height)


@pytest.mark.parametrize("seed", range(12))
def test_tail_first_straight_and_forming_arc_never_press_into_it_while_the_arm_goes_up_to_180_degrees(
    seed: int,
) -> None:
    case = Drawn(seed)
    far = np.concatenate((np.linspace(0.0, 2.0 * case.length, 60), case.rng.uniform(0.0, 1500.0, 40)))
    for arm in (*np.linspace(0.0, np.pi, 13), *case.rng.uniform(0.0, np.pi, 8)):
        assert case.into(0.0, 0.0, -far, arm) <= 1e-6  # the tail
        assert case.into(0.0, 0.0, far, arm) <= 1e-6  # the straight in front of the tangent point
        assert case.into(np.linspace(0.0, arm, 40), 0.0, 0.0, arm) <= 1e-6  # the arc in the die
        # As the dies open the gripped straight springs back from the arm, which stands still, and the arc with it.
        assert case.into(np.linspace(0.0, np.pi - arm, 20), 0.0, 0.0, np.pi) <= 1e-6


@pytest.mark.parametrize("seed", range(12))
def test_what_has_slid_past_its_end_never_comes_back_into_it_at_any_roll(seed: int) -> None:
    case = Drawn(seed)
    arc = np.pi if seed % 4 == 0 else case.rng.uniform(0.02, np.pi)
    beyond = np.linspace(0.0, 900.0, 60)
    for out in case.length + np.array([0.0, 0.01, 1.0, 20.0, 300.0]):
        formed = tube(case.clr, case.radius, np.linspace(0.0, arc, 60), 0.0, out)
        after = tube(case.clr, case.radius, min(arc, np.pi / 2.0), beyond, out)
        for roll in (0.0, *case.rng.uniform(-np.pi, np.pi, 4)):
            for points in (formed, after):
                y, z = points[1], points[2]
                rolled = np.stack((points[0], y * np.cos(roll) - z * np.sin(roll), y * np.sin(roll) + z * np.cos(roll)))
                assert overlap(rolled, case.radius, case.length, case.depth, case.height) <= 1e-6


BEYOND = {
    "the tail, with the arm beyond 180 degrees": (0.0, 0.0, -np.linspace(0.0, 900.0, 400), 200 * DEG, 300.0),
    "the arc, with the tube not advanced past the section": (np.linspace(0.0, 0.5, 40), 0.0, 40.0, 0.0, 115.0),
    "the straight after it, the same": (0.3, np.linspace(0.0, 300.0, 200), 40.0, 0.0, 115.0),
    "the straight after it, with the arm on its way": (90 * DEG, np.linspace(0.0, 300.0, 200), 0.0, 60 * DEG, 115.0),
}


@pytest.mark.parametrize("name", BEYOND)
def test_beyond_the_limits_it_does_press_into_it(name: str) -> None:
    turns, beyond, out, arm, length = BEYOND[name]
    assert overlap(from_arm(tube(CLR, RADIUS, turns, beyond, out), CLR, arm), RADIUS, length, 57.15, 90.0) > 1.0


@pytest.mark.parametrize("role", list(Role))
def test_just_that_is_settled_against_it(role: Role) -> None:
    for arc, swing, past, path in product((0, 60, 90, 91, 180, 181), (0, 179, 180, 181), (False, True), Path):
        by_arm = role in (Role.TAIL, Role.FIRST, Role.FORMING) and swing <= 180
        slid = role is Role.FORMED and past and 0 < arc <= 180
        slid_leg = role is Role.AFTER and past and 0 < arc <= 90
        groove = Groove(np.radians(arc), np.radians(swing), past)
        assert stays_in_groove(role, Tool.SECTION, path, groove) == (by_arm or slid or slid_leg), (arc, swing, past)


def followed(motion: Motion, bench: Machine, clamps: tuple[float, ...] = (76.0,)) -> list[tuple[str, int]]:
    """Roles and numbers of the clamp of the rows against the section."""
    rows = rows_of([motion], Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0, WALL), [clamps])
    mine = [k for k in range(rows.count) if rows.names[rows.solid[k]] == "grip section"]
    assert all(rows.clamp[k] >= 0 for k in mine)
    return sorted((rows.roles[rows.piece[k]].name, int(rows.clamp[k])) for k in mine)


def test_in_the_bend_the_section_is_followed_beyond_180_degrees_and_against_what_lies_beyond(head: str) -> None:
    bench, d = machine(head), drawn([300.0, 200.0, 900.0], [90, 90], [0, 90])
    assert followed(motions.bend(in_die(d, 2, head)), bench) == [("EARLIER", 0), ("FAR_ARC", 0)]
    beyond = motions.bend(in_die(drawn([400.0, 900.0], [185]), 1, head))
    assert followed(beyond, bench) == [("FIRST", 0), ("FORMING", 0), ("TAIL", 0)]


@pytest.mark.parametrize(("angle", "slid", "expected"), [
    (80.0, (0.0, 200.0), ["AFTER", "FORMED"]), (80.0, (75.9, 200.0), ["AFTER", "FORMED"]),
    (80.0, (76.0, 200.0), []), (120.0, (200.0, 76.0), ["AFTER"]), (185.0, (76.0, 200.0), ["AFTER", "FORMED"]),
])  # fmt: skip
def test_between_bends_it_is_followed_until_the_arc_has_left_it(
    angle: float, slid: tuple[float, float], expected: list[str], head: str
) -> None:
    at_die = standing(drawn([400.0, 900.0], [angle]), 1, head)
    for motion in (motions.advance(at_die, slid, 0.0, False), motions.homing(at_die, (0.0, 0.0), slid)):
        assert [role for role, _ in followed(motion, machine(head))] == expected
    on_its_way = motions.homing(at_die, (0.3, 0.0), slid)
    assert [role for role, _ in followed(on_its_way, machine(head))] == ["AFTER", "FORMED"]


def test_it_is_as_long_as_the_clamp_in_use_unless_the_profile_says_otherwise(head: str) -> None:
    at_die, slid = standing(drawn([400.0, 900.0], [80.0]), 1, head), (90.0, 200.0)
    motion = motions.advance(at_die, slid, 0.0, False)
    assert followed(motion, machine(head), (115.0, 76.0)) == [("AFTER", 0), ("FORMED", 0)]
    longer = machine(head, tooling={"grip_section": {"length": 130.0}})
    assert {clamp for _, clamp in followed(motion, longer, (115.0, 76.0))} == {0, 1}
    assert followed(motion, machine(head, tooling={"grip_section": False}), (115.0, 76.0)) == []


def asked(length: float, back: float, angle: float) -> float:
    """How far leg (7) and arc ask the tube to have been run forward, the arm gone back from the part's angle."""
    below, arm = CLR - RADIUS, angle - back
    by_leg = (length * np.sin(back) - below * (1.0 - np.cos(back))) / np.sin(angle)
    if length * np.cos(back) - below * np.sin(back) > by_leg * np.cos(angle):
        return float(by_leg)
    across = length * np.cos(arm) + below * np.sin(arm)
    return float(across - np.sqrt(across**2 - length**2))


@pytest.mark.parametrize("back", [20, 45, 70])
@pytest.mark.parametrize("angle", [75, 90, 120])
def test_a_leg_asks_to_be_run_forward_as_far_as_the_closed_form_says(angle: float, back: float, head: str) -> None:
    at_die, arm = standing(drawn([600.0, 900.0], [angle]), 1, head), (angle - back) * DEG
    far = asked(76.0, back * DEG, angle * DEG)
    for short, answer in ((-0.1, Answer.CLEAR), (5.0, Answer.STRUCK)):
        motion = motions.homing(at_die, (arm, arm), (far - short,) * 2)
        assert against(motion, machine(head))["grip section"] is answer, (far, short)


@pytest.mark.parametrize(("angle", "clamp"), [(30, 76.0), (90, 76.0), (90, 115.0), (140, 115.0)])
def test_tube_and_arm_together_by_the_closed_form_are_clear_of_it_and_alone_are_not(
    angle: float, clamp: float, head: str
) -> None:
    """Two motions, each even: by Y₁ while the arm goes back by Y₁ sin θ / L, then both to L and home."""
    below, theta = CLR - RADIUS, angle * DEG
    most = clamp - below * np.tan(theta / 2.0)
    if theta > np.arctan2(clamp, below):
        most = (np.hypot(below, clamp) - below) / np.sin(theta)
    back = min(most * np.sin(theta) / clamp, theta)
    at_die, bench = standing(drawn([600.0, 900.0], [angle]), 1, head), machine(head)
    first = motions.homing(at_die, (theta, theta - back), (0.0, most))
    then = motions.homing(at_die, (theta - back, 0.0), (most, max(clamp, most)))
    for motion in (first, then):
        assert against(motion, bench, clamp).get("grip section", Answer.CLEAR) is Answer.CLEAR
    alone = motions.homing(at_die, (theta, 0.0), (0.0, 0.0))
    assert against(alone, bench, clamp)["grip section"] is Answer.STRUCK


@pytest.mark.parametrize("turn", [0, 90, -90, 180], ids=["the same way", "up", "down", "other way"])
@pytest.mark.parametrize("leg", [100.0, 101.0, 250.0])
def test_an_arc_that_begins_at_its_end_or_beyond_is_clear_of_it_whatever_its_plane(
    turn: float, leg: float, head: str
) -> None:
    bench, d = (
        machine(head, tooling={"grip_section": {"length": 100.0}}),
        drawn([300.0, leg, 900.0], [90, 90], [0, turn]),
    )
    grip = in_die(d, 2, head)
    laid_in = Standing(grip.leading, False, grip.tail_length, grip.tangent_u, 2000.0, CLR, grip.toward)
    put_on = motions.advance(laid_in.opened(None), (60.0, 0.0), 0.0, True)
    for motion in (motions.bend(grip), motions.rotate(laid_in, 0.0, (-0.01, 0.01)), put_on):
        assert against(motion, bench)["grip section"] is Answer.CLEAR


@pytest.mark.parametrize("turn", [0, 90, 180], ids=["the same way", "up", "other way"])
def test_an_arc_that_begins_before_its_end_strikes_it_unless_it_leaves_it_by_its_mouth(turn: float, head: str) -> None:
    """The clamp holds the straight, the section is longer: an arc the other way comes out toward the clamp's side."""
    bench, d = (
        machine(head, tooling={"grip_section": {"length": 130.0}}),
        drawn([300.0, 90.0, 900.0], [90, 90], [0, turn]),
    )
    expected = Answer.CLEAR if turn == 180 else Answer.STRUCK
    assert against(motions.bend(in_die(d, 2, head)), bench)["grip section"] is expected


@pytest.mark.parametrize("turn", [0, 90, 180], ids=["the same way", "up", "other way"])
@pytest.mark.parametrize("sprung", [0.0, 3.0])
def test_an_arc_that_begins_at_its_end_does_not_keep_the_die_from_being_lowered(
    turn: float, sprung: float, head: str
) -> None:
    """It was once held to the clearance of any other piece while the die goes down: every leg as long as the section,
    and by what has sprung back longer ones, were called struck.
    """
    bench, d, quarter = machine(head), drawn([300.0, 76.0, 900.0], [90, 90], [0, turn]), np.pi / 2.0
    at_die, out = standing(d, 2, head), quarter + sprung * DEG
    down = motions.lower_die(at_die, (0.0, 0.0), (0.0, 70.0), out)
    home = motions.homing(replace(at_die, lowered=70.0), (out, 0.0), (0.0, 0.0))
    up = motions.lower_die(at_die, (76.0, 0.0), (70.0, 0.0))
    for motion in (down, home, up):
        assert against(motion, bench).get("grip section", Answer.CLEAR) is Answer.CLEAR
    # Not lowered far enough the arm would take the leg along: die 90 mm high, tube 38.1 thick, 2 mm to keep.
    shallow = motions.homing(replace(at_die, lowered=65.0), (out, 0.0), (0.0, 0.0))
    assert against(shallow, bench)["grip section"] is Answer.STRUCK


def test_what_lies_beyond_the_leg_is_struck_where_the_die_comes_up_under_it(head: str) -> None:
    """The leg hangs down from the far arc: rolled, the far arc lies over the section while the die is lowered."""
    d = drawn([300.0, 100.0, 900.0], [90, 90], [0, 0])
    at_die = standing(d, 2, head)
    roles = {
        rows.roles[rows.piece[k]]
        for rows in [rows_of([motions.lower_die(at_die, (0.0, np.pi), (70.0, 0.0))],
                             Surroundings.of(machine(head), machine(head).tooling[0], RADIUS, 2.0, WALL), [(76.0,)])]
        for k in range(rows.count)
    }  # fmt: skip
    assert {Role.FORMED, Role.AFTER, Role.FAR_ARC, Role.EARLIER} <= roles


def test_a_leg_that_still_lies_where_the_die_comes_up_is_struck_by_it(head: str) -> None:
    at_die = standing(drawn([300.0, 900.0], [90]), 1, head)
    for y, roll, tool in ((0.0, 0.0, "bend die"), (40.0, 0.0, "grip section"), (40.0, 1.0, "grip section")):
        assert against(motions.lower_die(at_die, (y, roll), (70.0, 0.0)), machine(head))[tool] is Answer.STRUCK
    clear = against(motions.lower_die(at_die, (160.0, 1.0), (70.0, 0.0)), machine(head))
    assert all(clear.get(tool, Answer.CLEAR) is Answer.CLEAR for tool in ("bend die", "grip section"))
