"""Where two solids share a place, seen from above."""

from __future__ import annotations

import numpy as np
import pytest

from planner.lookover.outline import Outline, Pose, apart, depth, shared_place


@pytest.mark.parametrize("edge", [0.0, 25.0])
def test_a_round_post_whose_centre_lies_inside_a_box_shares_its_centre_with_it(edge: float) -> None:
    """A disc's core is a point: inside the box nothing is between the two cores."""
    post, box = Outline(-10.0, -76.2, -10.0, -76.2, 40.0), Outline(-156.5, -128.9, 123.5, 55.4, edge)
    assert depth(post, box).item() > 0.0
    assert shared_place(post, box, 0.0, (0.0, -76.2)) == pytest.approx((-10.0, -76.2))
    turned = shared_place(post, box, 0.5, (0.0, -76.2))
    assert box.covers(*turned)


@pytest.mark.parametrize("place", [(0.0, 0.0), (-12.5, 76.2)])
def test_two_discs_about_one_centre_share_that_centre(place: tuple[float, float]) -> None:
    turning, standing = Outline(*place, *place, 40.0), Outline(*place, *place, 15.0)
    assert shared_place(turning, standing, 0.0, (0.0, 76.2)) == pytest.approx(place)


def test_two_boxes_that_touch_at_a_corner_share_that_corner() -> None:
    turning, standing = Outline(0.0, 0.0, 10.0, 10.0, 5.0), Outline(10.0, 10.0, 30.0, 30.0, 5.0)
    assert shared_place(turning, standing, 0.0, (0.0, 76.2)) == pytest.approx((10.0, 10.0))


def test_what_is_told_apart_by_its_distance_from_the_axis_meets_at_no_angle() -> None:
    rng, told = np.random.default_rng(3), 0
    for _ in range(400):
        turns = Pose(np.linspace(0.0, rng.uniform(0.1, 6.2), 200), (0.0, float(rng.uniform(-100.0, 100.0))))
        one, other = (
            Outline(*at, *(at + rng.uniform(0.0, 200.0, 2)), float(rng.uniform(0.0, 40.0)))
            for at in rng.uniform(-500.0, 400.0, (2, 2))
        )
        other = other.travelled((0.0, rng.uniform(0.0, 80.0) * np.abs(turns.angles)))
        if apart(one, other, turns):
            assert depth(one, other, turns).max() < 0.0
            told += 1
    assert 40 < told < 360
