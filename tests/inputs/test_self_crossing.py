"""The finished tube against itself: cases by hand, and dense sampling as a slower, independent oracle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import SelfCrossing
from planner.inputs.centreline import Array
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap, smallest_gap
from planner.tolerances import SELF_CEILING
from tests.inputs.parts import of_shape, parts


def uncrossed(rows: list[list[float]], radius: float = 76.2, diameter: float = 38.1) -> Part:
    """Return a part that need not be possible: Part itself does not judge crossing."""
    bends = np.array(rows[:-1], dtype=float)
    return Part(
        "case", None, diameter, 1.65, None, "304", None, np.append(bends[:, 0], rows[-1][0]),
        np.deg2rad(bends[:, 1]), np.deg2rad(bends[:, 2]), np.full(len(bends), radius),
    )  # fmt: skip


def sampled(part: Part, step: float) -> tuple[Array, Array, Array]:
    """Points every `step` mm along the centreline, walked in small straight steps, with stock place and angle turned."""
    point, along, inward = np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
    points, places, turned, place, angle = [point], [0.0], [0.0], 0.0, 0.0
    for k in range(part.n_bends + 1):
        count = max(1, math.ceil(part.straights[k] / step))
        for _ in range(count):
            point, place = point + along * part.straights[k] / count, place + part.straights[k] / count
            points, places, turned = [*points, point], [*places, place], [*turned, angle]
        if k == part.n_bends:
            break
        inward = inward * math.cos(part.rotations[k]) + np.cross(along, inward) * math.sin(part.rotations[k])
        count = max(1, math.ceil(part.arc_lengths[k] / step))
        small, chord = part.angles[k] / count, 2 * part.radii[k] * math.sin(part.angles[k] / count / 2)
        for _ in range(count):
            half = along * math.cos(small / 2) + inward * math.sin(small / 2)
            point, place, angle = point + half * chord, place + part.arc_lengths[k] / count, angle + small
            along, inward = (
                along * math.cos(small) + inward * math.sin(small),
                inward * math.cos(small) - along * math.sin(small),
            )
            points, places, turned = [*points, point], [*places, place], [*turned, angle]
    return np.array(points), np.array(places), np.array(turned)


def smallest_sampled(part: Part, step: float, least_turn: float) -> float:
    """Smallest gap among sampled points between which the tube turns by `least_turn` [rad] or more."""
    points, _, turned = sampled(part, step)
    apart = turned[None, :] - turned[:, None] >= least_turn - 1e-9
    distances = np.linalg.norm(points[:, None] - points[None, :], axis=2)
    return float(np.min(distances[apart], initial=np.inf)) - part.outside_diameter


def test_two_legs_of_a_u_keep_the_distance_of_their_axes_less_the_diameter() -> None:
    # Axes of the legs: 2 · 60 mm + 0 mm apart; surfaces 120 - 90 mm.
    found = self_gap(uncrossed([[400, 0, 90], [0, 0, 90], [400]], radius=60.0, diameter=90.0))
    assert found.gap <= found.reached
    wide = self_gap(uncrossed([[400, 0, 180], [400]], radius=35.0, diameter=38.1))
    # nearest are a leg and the bend's far half: a quarter circle apart, √2 · 35 mm, is the first pair that counts
    assert wide.gap == pytest.approx(math.sqrt(2) * 35.0 - 38.1, abs=0.006)


def test_a_helix_of_one_turn_and_a_bit_passes_itself_at_its_pitch() -> None:
    # Four bends of 90° around a square, tipped out of its plane only by a straight of 60 mm that lifts the way back.
    rows: list[list[float]] = [[100, 0, 90], [0, 90, 90], [60, 90, 90], [300, 0, 90], [300]]
    part = uncrossed(rows)
    assert self_gap(part).gap == pytest.approx(min(SELF_CEILING, smallest_sampled(part, 1.0, math.pi / 2)), abs=0.05)


def test_crossing_straights_are_found_with_depth_and_place() -> None:
    loop: list[list[float]] = [[250, 0, 90], [50, 0, 90], [50, 0, 90], [300]]
    found = self_gap(uncrossed(loop))
    assert (found.first, found.second) == ("straight 0", "straight 3")
    assert found.reached == pytest.approx(-38.1, abs=1e-6)
    assert found.gap == pytest.approx(-38.1, abs=0.01)
    with pytest.raises(SelfCrossing, match=r"straight 0 and straight 3 cross, 38\.1 mm deep"):
        of_shape(bend_radius=76.2, lra=loop)


@pytest.mark.parametrize("tip", [4.0, 10.0, 10.8, 10.9, 12.0, 24.0])
def test_a_loop_that_is_tipped_enough_passes_itself(tip: float) -> None:
    loop = uncrossed([[250, 0, 90], [50, tip, 90], [50, 0, 90], [300]])
    # By hand: the way back lies in a plane tipped by `tip` about straight 1, and returns 76.2 + 50 + 76.2 mm from it.
    gap = (50 + 2 * 76.2) * math.sin(math.radians(tip)) - 38.1
    assert self_gap(loop).reached == pytest.approx(gap, abs=1e-6)
    assert (self_gap(loop).reached < 0) is (tip < 10.85)
    assert smallest_sampled(loop, 1.5, math.pi / 2) == pytest.approx(gap, abs=0.1)


def test_a_full_circle_meets_its_own_start() -> None:
    assert self_gap(uncrossed([[20, 0, 360], [20]])).reached == pytest.approx(-38.1, abs=0.01)
    assert smallest_gap(uncrossed([[20, 0, 250], [20]])) is None  # 76.2 · √2 - 38.1 mm is more than 50 mm


def test_a_tight_bend_is_not_held_against_itself() -> None:
    # R = 1.1 r: points a quarter turn apart lie nearer than a diameter, yet a bend of R > r never meets itself in 180°.
    assert self_gap(uncrossed([[300, 0, 180], [300]], radius=1.1 * 19.05)).reached > 0.0


def test_serpentines_and_coils_of_sixty_bends_are_settled() -> None:
    serpentine: list[list[float]] = [[500, 180 if i else 0, 180] for i in range(60)]
    assert self_gap(uncrossed([*serpentine, [500]])).gap == SELF_CEILING
    coil: list[list[float]] = [[60, 10 if i else 0, 90] for i in range(60)]
    part = uncrossed([*coil, [60]])
    found = self_gap(part)
    oracle = smallest_sampled(part, 8.0, math.pi / 2)
    assert found.reached - found.gap <= 0.006
    assert oracle - 8.0 <= found.gap <= oracle


@given(parts(largest_angle=180.0, least_angle=10.0), st.sampled_from([10.0, 25.4, 38.1]))
def test_the_gap_is_a_lower_bound_and_no_lower_than_it_need_be(part: Part, diameter: float) -> None:
    thinner = Part(
        "case", None, diameter, 1.0, None, "304", None, part.straights, part.rotations, part.angles, part.radii
    )
    step = max(3.0, thinner.developed_length / 900.0)
    found = self_gap(thinner)
    assert found.gap <= found.reached
    # Lower than every sampled pair that counts for certain (chunks of 30° at both ends are not compared): 90° + 60°.
    assert found.gap <= max(smallest_sampled(thinner, step, math.radians(150.0)), -diameter) + 1e-6
    if found.gap < SELF_CEILING:
        # No lower than the sampled pairs that may count, less what lies between samples: half a step at either point.
        assert found.reached >= smallest_sampled(thinner, step, math.pi / 2) - step - 1e-6
        assert found.reached - found.gap <= 0.005 + 1e-5


@given(parts(largest_angle=180.0, least_angle=10.0))
def test_the_gap_is_the_same_from_the_other_end_and_in_the_mirror(part: Part) -> None:
    gap = self_gap(part).gap
    assert self_gap(part.mirrored()).gap == pytest.approx(gap, abs=0.006)
    assert self_gap(part.reversed()).gap == pytest.approx(gap, abs=0.006)
