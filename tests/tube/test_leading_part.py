"""The partly bent tube ahead of the tangent point, against frames walked along the drawing's rows (NumPy alone)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.inputs.part import Part
from planner.tube.partly_bent import Leading, bend_seen, leading_part, seen_from
from tests.geometry.turns import Array, turn_about
from tests.plan.shop import RADIUS, tube
from tests.plan.workpiece import drawing

HEADS = {"right": -1.0, "left": 1.0}


def part_from(straights: list[float], rotations: list[float], angles: list[float]) -> Part:
    return tube(straights, [0.0, *rotations], angles)


PARTS = st.integers(2, 5).flatmap(
    lambda n: st.builds(
        part_from,
        st.lists(st.floats(20, 300), min_size=n + 1, max_size=n + 1),
        st.lists(st.floats(-180, 180), min_size=n - 1, max_size=n - 1),
        st.lists(st.floats(5, 190), min_size=n, max_size=n),
    )
)


def rows_formed(part: Part, leads: str, last: int) -> dict[str, Any]:
    """The drawing seen from the leading end, of which only the first `last` bends are formed and the rest is straight.

    Seen from the other end the rows go backwards, and each rotation belongs to the later of its two bends.
    """
    straights, rotations = list(part.straights), list(np.degrees(part.rotations))
    angles = list(np.degrees(part.angles))
    if leads == "B":
        straights, angles, rotations = straights[::-1], angles[::-1], [0.0, *rotations[:0:-1]]
    rows = [[straights[i], rotations[i], angles[i], RADIUS] for i in range(last)]
    rest = sum(straights[last:]) + sum(math.radians(a) * RADIUS for a in angles[last:])
    return {"part": {"shape": {"lra": [*rows, [rest]]}}, "next": rotations[last] if last < len(rotations) else 0.0}


def expected(document: dict[str, Any], at: float, along: Array, side: float) -> Array:
    """The points at `along` with `at` at the tangent point, turned as the machine stands before the next bend.

    The bend nearest the tangent point was made curling toward the die, (0, side, 0); since then the chuck has turned by
    +R about +x (design: facts to test).
    """
    rows = document["part"]["shape"]["lra"]
    end = sum(row[0] for row in rows[:-1]) + sum(math.radians(row[2]) * row[3] for row in rows[:-1])
    near = drawing(document, np.array([at, end, end - 1e-3]))
    forward = (near[1] - near[0]) / np.linalg.norm(near[1] - near[0])
    curl = near[2] - near[1] - forward * ((near[2] - near[1]) @ forward)
    curl /= np.linalg.norm(curl)
    lateral = turn_about("x", math.radians(document["next"])) @ [0.0, side, 0.0]
    ahead = np.array([1.0, 0.0, 0.0])
    was = np.column_stack((forward, curl, np.cross(forward, curl)))
    now = np.column_stack((ahead, lateral, np.cross(ahead, lateral)))
    turned: Array = (drawing(document, along) - near[0]) @ (now @ was.T).T
    return turned


@given(
    part=PARTS, leads=st.sampled_from("AB"), head=st.sampled_from(sorted(HEADS)), trim=st.floats(0, 80), data=st.data()
)
def test_the_leading_part_stands_as_the_drawing_turned_by_plus_r(
    part: Part, leads: Any, head: str, trim: float, data: st.DataObject
) -> None:
    last = data.draw(st.integers(1, part.n_bends - 1))
    view = seen_from(part, leads)
    at = float(view.bend_starts[last])
    pieces = leading_part(view, set(range(1, last + 1)), at, trim, HEADS[head], last + 1)
    document = rows_formed(part, leads, last)
    assert float(pieces.length.sum()) == pytest.approx(at + trim, abs=1e-6)
    for k in range(pieces.count):
        s = np.linspace(0.0, float(pieces.length[k]), 4)
        along = float(pieces.u[k]) + pieces.u_sign * s
        inside = along >= 0.0  # trim is no part of the drawing
        wanted = expected(document, at, along[inside], HEADS[head])
        assert np.abs(pieces.points(s, k).T[inside] - wanted).max(initial=0.0) < 2e-4 * max(1.0, at / 100.0)


@given(part=PARTS, head=st.sampled_from(sorted(HEADS)))
def test_mirrored_part_and_head_give_the_mirrored_tube(part: Part, head: str) -> None:
    formed, at = set(range(1, part.n_bends)), float(part.bend_starts[-1])
    pieces = leading_part(part, formed, at, 0.0, HEADS[head], part.n_bends)
    other = leading_part(part.mirrored(), formed, at, 0.0, -HEADS[head], part.n_bends)
    assert other.start == pytest.approx(pieces.start * np.array([[1.0], [-1.0], [1.0]]), abs=1e-8)


@given(part=PARTS)
def test_with_the_head_alone_mirrored_only_height_and_side_change_signs(part: Part) -> None:
    """Half a turn about the feed: a left head makes the same part, its leading part stands where a right head's hangs."""
    formed, at = set(range(1, part.n_bends)), float(part.bend_starts[-1])
    right, left = (leading_part(part, formed, at, 0.0, side, part.n_bends) for side in (-1.0, 1.0))
    assert left.start == pytest.approx(right.start * np.array([[1.0], [-1.0], [-1.0]]), abs=1e-8)


@pytest.mark.parametrize("leads", ["A", "B"])
@pytest.mark.parametrize("head", ["right", "left"])
@pytest.mark.parametrize("rotation", [90.0, -90.0])
def test_by_hand_a_square_leg_points_straight_down_on_a_right_head_and_up_on_a_left(
    rotation: float, head: str, leads: Any
) -> None:
    part = tube([400, 200, 450], [0, rotation], [90, 90])
    view = seen_from(part, leads)
    pieces = leading_part(view, {1}, float(view.bend_starts[1]), 0.0, HEADS[head], 2)
    up = HEADS[head] * math.copysign(1.0, rotation)
    assert pieces.along[:, -1] == pytest.approx([0.0, 0.0, up], abs=1e-12)
    assert pieces.along[:, -1] != pytest.approx([0.0, 0.0, -up], abs=0.5)  # what a flipped sign would give


def test_over_several_bends_the_turn_is_the_sum_of_the_rotations_between() -> None:
    """Bend 3 to come, bend 2 not formed: the plane of bend 1 is turned by R2 + R3 = 40 + 25 = 65°."""
    part = tube([300, 100, 100, 300], [0, 40, 25], [90, 50, 60])
    pieces = leading_part(part, {1}, float(part.bend_starts[2]), 0.0, -1.0, 3)
    wanted = [0.0, -math.cos(math.radians(65.0)), -math.sin(math.radians(65.0))]
    assert pieces.along[:, -1] == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize("formed", [{1}, {2}, {1, 2}])
def test_to_the_neighbour_nearer_the_leading_end_the_tube_turns_by_minus_r(formed: set[int]) -> None:
    """From the plane of bend 2 in the machine's plane to that of bend 1: −40° about the feed, whatever is formed ahead."""
    part = tube([300, 200, 300], [0, 40], [90, 90])
    at = float(part.bend_ends[1]) + 10.0
    of_2, of_1 = (leading_part(part, formed, at, 0.0, -1.0, bend) for bend in (2, 1))
    assert of_1.start == pytest.approx(turn_about("x", math.radians(-40.0)) @ of_2.start, abs=1e-9)


@given(n=st.integers(1, 60), data=st.data())
def test_counting_a_bend_from_the_other_end_twice_gives_it_back(n: int, data: st.DataObject) -> None:
    bend, end = data.draw(st.integers(1, n)), data.draw(st.sampled_from("AB"))
    assert bend_seen(bend_seen(bend, end, n), end, n) == bend  # type: ignore[arg-type]


def test_a_tangent_point_off_by_what_adding_up_loses_leaves_no_sliver_of_straight_before_the_arc() -> None:
    """Such a sliver once took the part of the arc just formed, and the arc was held to the clearance of any other piece."""
    view = tube([100, 110, 300], [0, 90], [60, 45])
    end = float(view.bend_ends[1])
    for off in (0.0, 2e-9, -2e-9):
        pieces = leading_part(view, {1, 2}, end + off, 0.0, -1.0, 2)
        assert pieces.count == 4, off
        assert pieces.curvature[0] > 0.0, off


def test_leading_parts_cut_at_the_same_place_with_more_or_fewer_bends_formed_do_not_get_mixed_up() -> None:
    view = tube([100, 110, 300], [0, 90], [60, 45])
    leading, end = Leading(view, -1.0), float(view.bend_ends[1])
    for last in (2, 1):
        assert leading.at(end, 1, last, 0.0, 2).count == leading_part(view, range(1, last + 1), end, 0.0, -1.0, 2).count
