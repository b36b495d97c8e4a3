"""The brute force itself: its orders by hand, its kinematics, distances and searches against other and plainer ones."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.clearance.oracle import Profile
from tests.geometry.turns import turn_about
from tests.plan.brute_force.all_orders import BruteForce
from tests.plan.brute_force.cloud import Obstacle
from tests.plan.brute_force.homing import Home, Room
from tests.plan.brute_force.leading_part import At
from tests.plan.brute_force.legs import on_the_feed
from tests.plan.brute_force.orders import jobs
from tests.plan.brute_force.passing import Passing, reached
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE, Checks, Motion
from tests.plan.brute_force.solids import BLOCK, BOX, DIE, ROD, Solid, distances
from tests.plan.brute_force.tube import Tube, bowed, walked
from tests.plan.random_parts import MACHINES, PROFILES, wall_with_opening
from tests.plan.shop import FINE, bender, head, tube
from tests.simulated import Lra, poses


def test_every_way_of_making_two_bends_is_tried_and_no_other() -> None:
    tried = {(tuple((b.leads, b.bend, b.ahead) for b in job), job[1].how) for job in jobs(2, True, False)}
    through = {(((end, 1, 1), (end, 2, 1)), how) for end in "AB" for how in ("link", "re-grip", "reload")}
    turned = {((("B", 2, 2), ("A", 2, 1)), "turn"), ((("A", 2, 2), ("B", 2, 1)), "turn")}
    assert tried == through | turned


@pytest.mark.parametrize("n", [1, 3, 5])
def test_the_formed_bends_are_always_a_run_of_neighbours_ahead(n: int) -> None:
    found = list(jobs(n, True, True))
    assert len(found) == len(set(found)) == 4**n
    for job in found:
        formed: set[int] = set()
        for at in job:
            seen = formed if at.leads == "A" else {n + 1 - bend for bend in formed}
            assert seen == set(range(at.ahead, at.bend))
            formed.add(at.bend if at.leads == "A" else n + 1 - at.bend)


@pytest.mark.parametrize("toward", ["right", "left"])
def test_the_tube_stands_where_the_other_kinematics_of_the_tests_have_it(toward: str) -> None:
    """In the die, swung, and rolled before the next bend, from either end."""
    rng = np.random.default_rng(3)
    for part in (
        tube([200, 90, 150, 110, 250], [0, *rng.uniform(-179, 179, 3)], [*rng.uniform(20, 140, 4)]) for _ in "abc"
    ):
        judge = BruteForce(part, bender(FINE, head(toward))).judge
        leading, side = judge.leading, judge.about.side
        for leads, ahead, bend in ((end, a, b) for end in judge.views for b in range(1, 5) for a in range(1, b + 1)):
            view, at = judge.views[leads], At(leads, ahead, bend, 30.0, 0.0)
            lra = Lra(*map(np.array, (view.straights, view.rotations, view.angles, [view.radius] * 4)))
            start, end, swing = view.starts[bend - 1], view.ends[bend - 1], float(rng.uniform(0.1, 2.0))
            formed = range(ahead, bend)
            in_die, standing = leading.in_die(at), leading.standing(at)
            axis, roll = side * view.radius, float(rng.uniform(-3.0, 3.0))
            for mine, where in (
                (in_die, (formed, start, 0.0, None)),
                (
                    in_die.moved(swing=side * swing, axis_y=axis),
                    (formed, start + axis * side * swing, 0.0, (bend, swing)),
                ),
                (standing.moved(shift=70.0, roll=roll), ([*formed, bend], end + 70.0, roll, None)),
            ):
                points, half, _ = mine.points(25.0)
                places = (end if mine.length[0] == standing.length[0] else start) - np.cumsum(2.0 * half) + half
                bends, tangent, rolled, die = where
                wanted = poses(lra, bends, tangent, rolled, side, places, die, bend)
                assert np.abs(points - wanted).max() < 1e-6


def test_distances_to_grooved_tooling_are_those_to_the_nearest_point_of_its_profile() -> None:
    rng = np.random.default_rng(4)
    profile = Profile(60.0, 45.0, 19.05)
    a, z, inside = rng.uniform(-60.0, 110.0, 4000), rng.uniform(-90.0, 90.0, 4000), np.full(4000, -50.0)
    for side in (-1.0, 1.0):
        numbers = np.array([-100.0, 0.0, side, 12.0, 60.0, 45.0, 19.05, 0.0])
        found = distances(BLOCK, numbers, np.stack((inside, side * (a + 12.0), z), axis=1))
        wanted = profile.signed(a, z)
        near = np.abs(wanted) < 45.0  # the block's ends are 50 mm away
        assert np.abs(found - wanted)[near].max() < 0.02
    die = Profile(200.0, 45.0, 19.05, solid_at_width=True)
    around, a = rng.uniform(0.0, 6.0, 4000), rng.uniform(-70.0, 70.0, 4000)
    at = np.stack(((76.2 - a) * np.sin(around), 76.2 - (76.2 - a) * np.cos(around), z), axis=1)
    assert np.abs(distances(DIE, np.array([76.2, 76.2, 45.0, 19.05, 0, 0, 0, 0]), at) - die.signed(a, z)).max() < 0.02


def on_a_grid(leg: Tube, solid: Solid, motion: Motion, radius: float) -> float:
    """The least distance of a flat-ended tube's cross-sections to a box over a motion, on a plain grid [mm]."""
    rim, least = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)[:, None], math.inf
    axis, numbers = np.array([motion.x, motion.y, 0.0]), np.array([*solid.numbers, 0.0, 0.0])
    for i in range(len(leg.length)):
        s = np.linspace(0.0, leg.length[i], max(3, int(leg.length[i] / 4.0)))[:, None]
        middle = bowed(leg.start[i], leg.along[i], leg.inward[i], leg.curvature[i], s)
        aside = np.cos(s * leg.curvature[i]) * leg.inward[i] - np.sin(s * leg.curvature[i]) * leg.along[i]
        across = np.broadcast_to(np.cross(leg.along[i], leg.inward[i]), aside.shape)
        disc = aside[:, None] * np.cos(rim) + across[:, None] * np.sin(rim)
        shares = [middle[:, None] + radius * share * disc for share in (1.0, 0.6, 0.0)]
        x = np.concatenate(shares, axis=1).reshape(-1, 3)
        for t in np.linspace(0.0, 1.0, 250):
            moved = (x - axis) @ turn_about("z", motion.turn * t).T + axis + [motion.way * t, 0.0, 0.0]
            least = min(least, float(distances(BOX, numbers, moved).min()))
    return least


def test_the_search_for_the_least_gap_finds_what_a_plain_grid_of_cross_sections_finds() -> None:
    """Legs that swing past a block and go on along the feed. The grid may miss 2.5 mm, the search 0.25 by its rims of 24
    points; where they overlap the two measure depth in different ways.
    """
    rng = np.random.default_rng(5)
    apart = 0
    for _ in range(8):
        part = tube([rng.uniform(60, 500), 120, 300], [0, rng.uniform(-170, 170)], [*rng.uniform(30, 130, 2)])
        leg = BruteForce(part, bender(FINE)).judge.leading.in_die(At("A", 1, 2, 0.0, 0.0))
        motion = Motion("z", rng.uniform(-2.5, 2.5), rng.uniform(-150.0, 150.0), 10.0, -76.2)
        low = rng.uniform(-250.0, 100.0, 3)
        solid, checks = Solid(BOX, (*low, *(low + rng.uniform(20.0, 200.0, 3)))), Checks(19.05)
        checks.add("box", leg, [solid], 4.0, motion)
        found, grid = checks.least()["box"] + 4.0, on_a_grid(leg, solid, motion, 19.05)
        assert (found > 0.0) == (grid > 0.0)
        if grid > 0.0:
            apart += 1
            assert -0.25 <= grid - found <= 2.5
    assert 2 <= apart <= 7


def test_what_lies_in_the_groove_never_presses_into_the_die_while_it_slides_out() -> None:
    """So the brute force need not look: arcs up to 180° with the straight behind, at every advance."""
    die = np.array([-76.2, 76.2, 45.0, 19.05, 0, 0, 0, 0])
    for angle in np.radians(np.arange(5.0, 181.0, 5.0)):
        points, _, _ = walked([("arc", 76.2, float(angle)), ("straight", 400.0, 0.0)], -1.0).points(1.0)
        for y in np.arange(0.0, 300.0, 5.0):
            assert distances(DIE, die, points + [y, 0.0, 0.0]).min() - 19.05 > -1e-6


def test_what_lies_on_the_feed_never_presses_into_the_grip_section_as_the_arm_swings() -> None:
    """So the brute force need not look: tail, forming arc and the straight in the die, up to 180°, points on the surface."""
    section = np.array([0.0, 80.0, -1.0, 0.0, 57.15, 40.0, 19.05, 0.0])
    rim = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    line = np.arange(-400.0, 120.0, 2.0)
    for angle in np.radians(np.arange(0.0, 180.5, 2.5)):
        arc = walked([("arc", 76.2, max(float(angle), 1e-3))], -1.0).points(2.0)[0]
        around = np.hypot(arc[:, 0], arc[:, 1] + 76.2)[:, None, None]
        aside = np.stack((arc[:, 0] / around[:, 0, 0], (arc[:, 1] + 76.2) / around[:, 0, 0], 0.0 * arc[:, 0]), axis=1)
        tube_in_die = [
            np.stack(
                (np.repeat(line, 48), 19.05 * np.tile(np.cos(rim), line.size), 19.05 * np.tile(np.sin(rim), line.size)),
                1,
            ),
            (
                arc[:, None] + 19.05 * (np.cos(rim)[:, None] * aside[:, None] + np.sin(rim)[:, None] * [0, 0, 1.0])
            ).reshape(-1, 3),
        ]
        for points in tube_in_die:
            seen = (points + [0, 76.2, 0]) @ turn_about("z", float(angle)).T - [0, 76.2, 0]
            assert distances(BLOCK, section, seen).min() > -1e-4, np.degrees(angle)


def test_distances_to_the_rod_are_those_to_its_flat_ended_cylinder() -> None:
    rng = np.random.default_rng(7)
    x = rng.uniform([-300.0, -60.0, -60.0], [120.0, 60.0, 60.0], (4000, 3))
    found = distances(ROD, np.array([-200.0, 40.0, 15.0, 0, 0, 0, 0, 0]), x)
    across, along = np.hypot(x[:, 1], x[:, 2]), np.clip(x[:, 0], -200.0, 40.0)
    nearest = np.hypot(np.maximum(across - 15.0, 0.0), x[:, 0] - along)
    inside = (across < 15.0) & (along == x[:, 0])
    assert np.abs(found - nearest)[~inside].max() < 1e-9
    deep = np.minimum(15.0 - across, np.minimum(x[:, 0] + 200.0, 40.0 - x[:, 0]))
    assert np.abs(found + deep)[inside].max() < 1e-9


@pytest.mark.parametrize("degrees", [20.0, 60.0, 90.0, 130.0, 160.0])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_the_grip_section_asks_a_leg_to_be_run_forward_by_as_much_as_its_lip_would_push_it(
    degrees: float, side: float
) -> None:
    """Y(β) = (L sin β − a (1 − cos β))/sin θ with a = CLR − r, L is 80 mm, a 57.15; by points 8 mm apart."""
    angle, long, below = math.radians(degrees), 80.0, 76.2 - 19.05
    block = Solid(BLOCK, (0.0, long, side, 0.0, 57.15, 40.0, 19.05))
    leg = walked([("arc", 76.2, angle), ("straight", 500.0, 0.0)], side)
    passing = Passing(leg, 19.05, side * 76.2, side, 500.0, [], [Obstacle(block, 0.0)], True)
    ys = np.arange(0.0, 400.0, 0.25)
    for back in np.radians(np.arange(4.0, min(degrees, math.degrees(math.atan(long / below))), 6.0)):
        asked = (long * math.sin(back) - below * (1.0 - math.cos(back))) / math.sin(angle)
        free = passing.nearest(ys, np.full(ys.shape, angle - back)) > -0.02
        met = float(ys[np.flatnonzero(~free)[-1]]) if not free.all() else 0.0
        # Beyond it the arc asks for more where the section's end has already gone round it.
        assert met >= asked - 1.5, (np.degrees(back), met, asked)
        if long * math.cos(back) - below * math.sin(back) >= asked * math.cos(angle) + 2.0:
            assert met == pytest.approx(asked, abs=1.5), np.degrees(back)


def test_one_comes_along_the_rows_either_way_and_down_from_row_to_row_but_never_up() -> None:
    cells = np.array([[1, 1, 0, 1], [0, 1, 1, 0], [1, 0, 1, 0], [1, 1, 1, 0], [0, 0, 0, 1]], dtype=bool)
    wanted = np.array([[1, 1, 0, 0], [0, 1, 1, 0], [0, 0, 1, 0], [1, 1, 1, 0], [0, 0, 0, 0]], dtype=bool)
    assert (reached(cells) == wanted).all()


@pytest.mark.parametrize(("opens", "verdict"), [(95, CLEAR), (82, CLEAR), (66, CLEAR), (40, UNSURE), (15, STRUCK)])
def test_the_arm_comes_home_past_a_clamp_that_opens_far_enough(opens: float, verdict: int) -> None:
    """A square bend with a section of 80 mm; between, it is left open: cells at the clamp's face are neither."""
    machine = bender({"tooling": {"clamp_block": {"width": 400, "height": 60, "opens": opens}}})
    homing = BruteForce(tube([400, 200, 400], [0, 0], [90, 90]), machine).judge.homing
    found = homing.home(At("A", 1, 1, 0.0, 0.0), 80.0, Room(400.0, 400.0, None))
    assert found.verdict == verdict
    if verdict == CLEAR:
        assert found.stands is not None
        assert 65.0 <= found.stands <= 100.0


def test_the_arm_may_only_stand_where_the_tube_may_not_be_run_forward() -> None:
    part, at = tube([400, 200, 400], [0, 0], [90, 90]), At("A", 1, 1, 0.0, 0.0)
    for changes, off, verdict in (
        ({"head": {"may_ease_off": False}}, None, STRUCK),
        ({"head": {"may_ease_off": False}}, 1200.0, CLEAR),
        ({"head": {"may_ease_off": False, "homes_with_tube": True}}, None, CLEAR),
        ({"head": {"may_ease_off": False}, "tooling": {"grip_section": False}}, None, CLEAR),
    ):
        found = BruteForce(part, bender(changes)).judge.homing.home(at, 80.0, Room(400.0, 400.0, off))
        assert (found.verdict, found.by_hand) == (verdict, off is not None)


SLOTS = [(478, 478, STRUCK), (491, 478, CLEAR), (478, 491, CLEAR)]
"""Half the slot's width to the right and to the left, and whether a leg that reaches 476.2 mm passes, 10 required."""


@pytest.mark.parametrize(("right", "left", "verdict"), SLOTS)
def test_a_formed_tube_goes_on_and_comes_off_through_a_slot_as_wide_as_its_leg_reaches(
    right: float, left: float, verdict: int
) -> None:
    """A U laid in for its second bend, and an L taken off after its one bend; on a right head both lie to the right."""
    machine = bender({"solid": wall_with_opening(450.0, right, left, 45.0, 45.0)})
    brute = BruteForce(tube([400, 200, 400], [0, 0], [90, 90]), machine)
    assert brute.judge.loads.put_on(At("A", 1, 2, 0.0, 0.0), 60.0) == verdict
    brute = BruteForce(tube([400, 400], [0], [90]), machine)
    assert brute.judge.loads.taken_off(At("A", 1, 1, 0.0, 0.0), 60.0, Home(CLEAR, 60.0)) == verdict


def test_a_tube_that_must_be_rotated_comes_off_only_if_it_slides_out_over_the_nose_first() -> None:
    """The leg lies on the side on which the slot is too narrow, and strikes the wall 300 mm ahead: 300 − 105.3 = 194.7."""
    part, far = tube([180, 400], [0], [90]), 300.0
    for nose, verdict in ((150.0, CLEAR), (200.0, STRUCK)):
        machine = bender(
            {"solid": wall_with_opening(far, 200.0, 300.0, 45.0, 45.0), "mandrel": {"nose": nose, "rod_length": 9000}}
        )
        brute = BruteForce(part, machine)
        assert brute.judge.loads.taken_off(At("A", 1, 1, 0.0, 0.0), 60.0, Home(CLEAR, 60.0)) == verdict


@pytest.mark.parametrize("name", PROFILES)
def test_straight_tube_on_the_feed_is_clear_of_every_packaged_machine(name: str) -> None:
    """So the brute force need not look at it bend by bend."""
    for tooling in MACHINES[name].tooling:
        part = tube(
            [900, 900], [0], [90], outside_diameter=tooling.tube_diameter, radii=np.array([tooling.bend_radius])
        )
        judge = BruteForce(part, MACHINES[name]).judge
        found = on_the_feed(judge.leading, judge.about, MACHINES[name].head.largest_angle).verdicts()
        assert set(found.values()) == {CLEAR}, found
