"""Rigid motions against scipy's Rotation and worked values."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from planner.clearance.poses import pose
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.tube import motions
from planner.tube.frames import ALONG_FEED, UPWARD, turned
from planner.tube.motions import InDie, straight_piece
from tests.clearance.cases import case, moment_of, places
from tests.clearance.machines import box, machine

DEG = np.pi / 180.0


@pytest.mark.parametrize(("degrees", "expected"), [
    (30, (175.532589, 93.608760)), (45, (149.008677, 128.297999)), (90, (50.0, 171.460184)),
])  # fmt: skip
@pytest.mark.parametrize("side", [1.0, -1.0], ids=["left", "right"])
def test_a_tube_wraps_around_the_die(degrees: float, expected: tuple[float, float], side: float) -> None:
    """A point 200 mm past the tangent point on a die of CLR 50; x = 50 sin θ + (200 − 50 θ) cos θ and so on."""
    theta, clr = degrees * DEG, 50.0
    bench = machine("left" if side > 0 else "right", [box("far", "frame", (5000, 0, 0), (5001, 1, 1))],
                    tooling={"bend_radius": clr, "tube_diameter": 25.0, "die_hub": None}, rod={"rod_diameter": 15})  # fmt: skip
    grip = InDie(straight_piece(300.0, 300.0, 0.0), clr, side, 2.0, 2.0, 300.0, 2000.0, None, False)
    rows = rows_of([motions.bend(grip)], Surroundings.of(bench, bench.tooling[0], 12.5, 2.0), [(76.0,)])
    far = rows.names.index("far")
    row = np.flatnonzero((rows.solid == far) & (rows.block == rows.block[rows.solid == far][0]))[:1]
    x = pose(rows, row, np.array([200.0 - clr * theta]), np.array([theta / 2.0])).x[:, 0]
    assert x == pytest.approx([expected[0], side * expected[1], 0.0], abs=1e-6)


def test_a_rigid_turn_about_the_die_axis() -> None:
    """(−30, 0, 12) about the z axis through (0, 50) by +90° → (50, 20, 12), by scipy's Rotation too."""
    found = turned(np.array([[-30.0], [0.0], [12.0]]), UPWARD, np.pi / 2.0, np.array([0.0, 50.0, 0.0]))
    assert found[:, 0] == pytest.approx([50.0, 20.0, 12.0], abs=1e-9)
    axis = np.array([0.0, 50.0, 0.0])
    own = Rotation.from_euler("z", 90, degrees=True).apply(np.array([-30.0, 0.0, 12.0]) - axis) + axis
    assert own == pytest.approx([50.0, 20.0, 12.0], abs=1e-9)


@pytest.mark.parametrize(("axis", "letter"), [(UPWARD, "z"), (ALONG_FEED, "x")])
def test_turns_are_those_of_scipy(axis: np.ndarray, letter: str) -> None:
    rng = np.random.default_rng(5)
    points, centre = rng.normal(size=(3, 50)) * 300.0, rng.normal(size=3) * 100.0
    for angle in rng.uniform(-7.0, 7.0, 20):
        rotation = Rotation.from_euler(letter, angle)
        assert turned(points, axis, angle, centre) == pytest.approx((rotation.apply(points.T - centre) + centre).T)
        assert turned(points, axis, angle) == pytest.approx(rotation.apply(points.T).T)


@pytest.mark.parametrize("seed", range(300, 306))
def test_every_row_moves_as_the_tests_own_tube_does(seed: int) -> None:
    """Random points and times of every row of ten motions a case, in the frame of what owns the solid."""
    c = case(seed)
    rows = c.rows()
    names = c.names(rows)
    owners = {solid.name: solid.moves_with for solid in c.machine.solid if solid.moves_with != "pressure die"}
    owners |= {"bend die": "die", "die hub": "die", "clamp die": "arm", "grip section": "section"}
    owners |= dict.fromkeys(("floor", "wiper die", "mandrel", "mandrel rod", "its own tail"), "frame")
    owners |= {"its own tail's end": "tail"}
    rng = np.random.default_rng(seed)
    for row in range(rows.count):
        step, name = c.steps[rows.motion[row] // len(names)], names[rows.motion[row] % len(names)]
        owner = owners.get(name, "pressure die" if step.name == "bend" else "frame")
        table, (first, last) = rows.pieces[:, rows.piece[row]], rows.blocks[10:12, rows.block[row]]
        t = float(first + rng.random() * (last - first))
        s = table[10] + rng.random() * (min(table[11], table[12] + table[13] * t) - table[10])
        if s < table[10]:
            continue
        found = pose(rows, np.array([row]), np.array([s]), np.array([t])).x[:, 0]
        when = moment_of(rows, row, step, t)
        frames = step.play.moment(when).frames(places(rows, row, np.array([s]), step, when))
        own = step.play.seen(owner, frames, when)[0, :3, 3]
        if owner == "die":  # any turn about its own axis is the same
            own, found = (np.array([np.hypot(x[0], x[1] - c.side * 76.2), x[2]]) for x in (own, found))
        assert found == pytest.approx(own, abs=1e-8), (step.name, name, rows.roles[rows.piece[row]])
