"""Pairs that are left out because their geometry settles them: what lies in the groove against die and wiper.

The tube's surface is sampled from its shape alone: cross-sections carried about the die axis, as a textbook turns them.
"""

import numpy as np
import pytest

from planner.clearance.groove import Groove, stays_in_groove
from planner.clearance.rows import Rows, rows_of
from planner.clearance.solids import Tool
from planner.clearance.surroundings import Surroundings
from planner.tube import motions
from planner.tube.bodies import Motion, Path, Role
from tests.clearance.cases import RADIUS
from tests.clearance.machines import CLR, machine
from tests.clearance.test_contact_behaviour import drawn, in_die, standing

RIM = np.radians(np.arange(0.0, 360.0, 5.0))


def surface(clr: float, radius: float, turn: float, beyond: float, out: float) -> np.ndarray:
    """The rim (n, 3) of a cross-section `beyond` an arc of `turn` that has slid out by `out`, on a right head."""
    radial = np.array([np.sin(turn), np.cos(turn), 0.0])
    along = np.array([np.cos(turn), -np.sin(turn), 0.0])
    centre = np.array([out, -clr, 0.0]) + clr * radial + beyond * along
    return centre + radius * (np.outer(np.cos(RIM), radial) + np.outer(np.sin(RIM), [0.0, 0.0, 1.0]))


def least_x(clr: float, radius: float, arc: float, beyond: float, out: float) -> float:
    turns = np.linspace(0.0, arc, 40) if beyond == 0.0 else [arc]
    return min(float(surface(clr, radius, turn, beyond, out)[:, 0].min()) for turn in turns)


@pytest.mark.parametrize("seed", range(40))
def test_what_is_spared_against_the_wiper_never_comes_behind_the_tangent_line(seed: int) -> None:
    rng = np.random.default_rng(seed)
    clr = rng.uniform(40.0, 200.0)
    radius, out = rng.uniform(5.0, 0.9 * clr), rng.uniform(0.0, 300.0)
    arc, beyond = rng.uniform(0.02, np.pi), rng.uniform(1.0, 900.0)
    swings = rng.uniform(0.0, np.pi / 2.0)
    assert least_x(clr, radius, arc, 0.0, out) >= -1e-9  # formed or forming, slid out or not
    assert least_x(clr, radius, min(arc, np.pi / 2.0), beyond, out) >= -1e-9  # the straight after it
    assert least_x(clr, radius, swings, beyond, 0.0) >= -1e-9  # the gripped straight up to 90° of swing


def into_die(clr: float, radius: float, turn: float, beyond: float, out: float) -> float:
    """By how much a cross-section's rim reaches into a die as high as you like, its groove as wide as the tube [mm]."""
    rim = surface(clr, radius, turn, beyond, out)
    groove = np.sqrt(np.maximum(radius**2 - rim[:, 2] ** 2, 0.0))
    return float((clr - groove - np.hypot(rim[:, 0], rim[:, 1] + clr)).max())


@pytest.mark.parametrize("seed", range(40))
def test_what_slides_straight_out_of_the_groove_up_to_180_degrees_does_not_press_into_the_die(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    clr = rng.uniform(40.0, 200.0)
    radius, arc = rng.uniform(5.0, 0.9 * clr), np.pi if seed % 4 == 0 else rng.uniform(0.02, np.pi)
    for out in np.linspace(0.0, 4.0 * clr, 30):
        for turn, beyond in [(turn, 0.0) for turn in np.linspace(0.0, arc, 20)] + [(arc, far) for far in
                             np.linspace(0.0, 6.0 * clr, 40)]:  # fmt: skip
            assert into_die(clr, radius, float(turn), float(beyond), float(out)) <= 1e-9


def test_beyond_180_degrees_what_slides_out_presses_into_the_die() -> None:
    ways = [(out, far) for out in np.linspace(0.0, 200.0, 40) for far in np.linspace(0.0, 300.0, 40)]
    assert max(into_die(CLR, RADIUS, np.radians(190), float(far), float(out)) for out, far in ways) > 1.0


@pytest.mark.parametrize(
    ("arc", "beyond"), [(np.radians(181), 0.0), (np.radians(110), 900.0)], ids=["arc beyond 180", "straight beyond 90"]
)
def test_beyond_the_limits_it_does(arc: float, beyond: float) -> None:
    assert least_x(CLR, RADIUS, arc, beyond, 0.0) < -1.0


@pytest.mark.parametrize("role", [Role.FORMING, Role.FORMED, Role.AFTER, Role.FIRST, Role.FAR_ARC, Role.EARLIER])
def test_beyond_the_limits_nothing_is_spared_against_the_wiper(role: Role) -> None:
    assert not stays_in_groove(role, Tool.WIPER, Path.RIGID, Groove(np.radians(181), np.radians(181)))


def wiper_rows(motion: Motion, head: str) -> tuple[Rows, np.ndarray]:
    bench = machine(head)
    rows = rows_of([motion], Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0), [(76.0,)])
    at = rows.names.index("wiper die")
    return rows, np.flatnonzero(rows.solid == at)


@pytest.mark.parametrize(("angle", "roles", "since"), [
    (80.0, [], 0.0),
    (120.0, [Role.FIRST], 90.0 / 120.0),
    (185.0, [Role.FORMING, Role.FIRST], 90.0 / 185.0),
])  # fmt: skip
def test_the_swing_against_the_wiper_is_followed_from_90_degrees_on(
    angle: float, roles: list[Role], since: float, head: str
) -> None:
    rows, mine = wiper_rows(motions.bend(in_die(drawn([400.0, 900.0], [angle]), 1, head)), head)
    assert sorted(rows.roles[rows.piece[k]].value for k in mine) == sorted(role.value for role in roles)
    for k in mine:
        if rows.roles[rows.piece[k]] is Role.FIRST:
            assert rows.blocks[10, rows.block[k]] == pytest.approx(since)


@pytest.mark.parametrize(("angle", "roles"), [
    (80.0, []), (120.0, [Role.AFTER]), (185.0, [Role.AFTER, Role.FORMED]),
])  # fmt: skip
def test_an_arc_that_slides_out_is_followed_against_the_wiper_beyond_its_limits(
    angle: float, roles: list[Role], head: str
) -> None:
    at_die = standing(drawn([400.0, 900.0], [angle]), 1, head)
    rows, mine = wiper_rows(motions.advance(at_die, (0.0, 200.0), 0.0, False), head)
    assert sorted(rows.roles[rows.piece[k]].value for k in mine) == sorted(role.value for role in roles)


def test_an_arc_that_is_rotated_is_followed_against_the_wiper(head: str) -> None:
    at_die = standing(drawn([400.0, 900.0], [80.0]), 1, head)
    rows, mine = wiper_rows(motions.rotate(at_die, 5.0, (0.0, 0.5)), head)
    assert {rows.roles[rows.piece[k]] for k in mine} == {Role.FORMED, Role.AFTER}
    assert {float(x) for x in rows.needed[mine]} == {2.0}
