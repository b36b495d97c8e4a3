"""A witness names the material that lies there then, though tube runs through tail, die and first straight."""

import numpy as np
import pytest

from planner.clearance.certify import place_of
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.tube import motions
from planner.tube.bodies import Motion, Role
from planner.tube.motions import InDie, Standing
from planner.tube.partly_bent import leading_part
from tests.clearance.cases import CLR, RADIUS
from tests.clearance.machines import box, machine
from tests.clearance.test_contact_behaviour import drawn, in_die, standing

BENCH = machine("right", [box("wall", "frame", (-3000, 900, -900), (3000, 950, 900)),
                          box("lug", "carriage", (-50, 300, -50), (0, 320, 50)),
                          box("fence", "arm", (0, 500, -50), (300, 520, 50))])  # fmt: skip


def places(motion: Motion, role: Role, solid: str, s: float, t: float) -> list[float]:
    rows = rows_of([motion], Surroundings.of(BENCH, BENCH.tooling[0], RADIUS, 2.0), [(76.0,)])
    found = [row for row in range(rows.count)
             if rows.roles[rows.piece[row]] is role and rows.names[rows.solid[row]] == solid]  # fmt: skip
    assert found
    return [place_of(rows, row, s, t) for row in found]


def grip() -> InDie:
    return in_die(drawn([500.0, 900.0], [90]), 1, "right")


def test_while_the_bend_goes_on_tube_runs_through_tail_and_forming_arc() -> None:
    held = grip()
    feed = CLR * held.setting
    # Halfway into the swing the stock at the tangent point is start + half the feed; 10 mm behind and ahead of it:
    middle = held.tangent_u + feed / 2.0
    assert places(motions.bend(held), Role.TAIL, "fence", 10.0, 0.5) == [pytest.approx(middle + 10.0)]
    assert places(motions.bend(held), Role.FORMING, "lug", 10.0, 0.5) == [pytest.approx(middle - 10.0)]


@pytest.mark.parametrize("y", [(0.0, 120.0), (120.0, 30.0)], ids=["forward", "back"])
def test_first_straight_and_tail_are_named_at_the_moment_when_they_are_longest(y: tuple[float, float]) -> None:
    at_die: Standing = standing(drawn([500.0, 900.0], [90]), 1, "right")
    motion = motions.advance(at_die, y, 0.0, False)
    rows = rows_of([motion], Surroundings.of(BENCH, BENCH.tooling[0], RADIUS, 2.0), [(76.0,)])
    for row in range(rows.count):
        role = rows.roles[rows.piece[row]]
        if role not in (Role.FIRST, Role.TAIL) or rows.names[rows.solid[row]] != "wall":
            continue
        t = float(rows.blocks[10, rows.block[row]])
        assert t == float(rows.blocks[11, rows.block[row]])
        stands = y[0] + t * (y[1] - y[0])
        assert stands == (max(y) if role is Role.FIRST else min(y))
        x = 15.0 if role is Role.FIRST else -15.0
        assert place_of(rows, row, 15.0, t) == pytest.approx(at_die.tangent_u + stands - x)


def test_the_leading_part_keeps_its_places() -> None:
    held = grip()
    ahead = leading_part(_part_of_500(), set(), 500.0, 0.0, -1.0, 1)
    assert np.isclose(ahead.u[0], 500.0)
    assert places(motions.bend(held), Role.FIRST, "wall", 100.0, 0.7) == [pytest.approx(400.0)]


def _part_of_500():  # type: ignore[no-untyped-def]
    from tests.clearance.cases import part_of

    return part_of(drawn([500.0, 900.0], [90]))
