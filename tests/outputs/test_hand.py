"""The hand of a part in words and in the picture, against scipy's Rotation.

Seen from end A along the tube (+x), left is +y and up is +z. A bend that curls to the left has its inward
direction at +y; the next one's is +y turned by the rotation about +x, which scipy's Rotation does here.
"""

from __future__ import annotations

import math

import pytest
from scipy.spatial.transform import Rotation

from planner.outputs.hand import first_turning, folded, is_flat, picture, pointing, sentences

ANGLES = [0.0, 10.0, 30.0, 90.0, 135.0, 180.0, -30.0, -90.0, -120.0, 270.0, -270.0, 359.0, -180.0]


def inward(rotation: float) -> tuple[float, float]:
    """Return how far the later bend points left and up, by scipy."""
    _, left, up = Rotation.from_rotvec([math.radians(rotation), 0.0, 0.0]).apply([0.0, 1.0, 0.0])
    return float(left), float(up)


@pytest.mark.parametrize("rotation", ANGLES)
def test_the_words_agree_with_a_rotation_about_the_direction_of_travel(rotation: float) -> None:
    left, up = inward(rotation)
    words = pointing(rotation)
    assert ("up" in words) == (up > 1e-9)
    assert ("down" in words) == (up < -1e-9)
    assert ("left" in words) == (left > 1e-9)
    assert ("right" in words) == (left < -1e-9)


@pytest.mark.parametrize("rotation", [30.0, -30.0, 120.0, -135.0, 250.0])
def test_the_angle_above_flat_is_the_elevation_of_the_bend(rotation: float) -> None:
    left, up = inward(rotation)
    elevation = math.degrees(math.atan2(abs(up), abs(left)))
    assert f"{elevation:.1f}° {'above' if up > 0 else 'below'} flat" in pointing(rotation)


@pytest.mark.parametrize("rotation", [30.0, 60.0, 90.0, 120.0, 150.0, -30.0, -60.0, -90.0, -120.0, -150.0])
def test_the_picture_shows_the_later_bend_where_it_points(rotation: float) -> None:
    left, up = inward(rotation)
    lines = picture(2, rotation)
    row_of_straight = next(i for i, line in enumerate(lines) if "bend 1" in line)
    row = next(i for i, line in enumerate(lines) if "bend 2" in line)
    assert (row < row_of_straight) == (up > 0)
    assert "•" in lines[row], "the line of the bend ends where its name stands"
    assert len(lines) == abs(row - row_of_straight) + 1, "and nothing is drawn on the other side"
    dots = [line.index("•") for line in lines if "•" in line]
    middle = lines[row_of_straight].index("O")
    assert (min(dots) < middle) == (left > 1e-9)


def test_the_picture_of_a_u_and_of_an_s() -> None:
    assert picture(2, 0.0) == ["  1 and 2 •••••••••O"]
    assert picture(2, 180.0) == ["   bend 1 ─────────O••••••••• bend 2"]


def test_plus_ninety_points_up_by_hand() -> None:
    """Thumb of the right hand along the tube, away from end A: the fingers turn from left to up."""
    assert sentences([0.0, 90.0])[0].endswith("seen from end A, bend 2 points up.")
    assert sentences([0.0, -90.0])[0].endswith("seen from end A, bend 2 points down.")


def test_a_bend_is_spoken_of_from_the_bend_before_it() -> None:
    said = sentences([0.0, 90.0, 180.0, 0.0, 45.0])
    assert said == [
        "With bend 1 lying flat and curling to the left seen from end A, bend 2 points up.",
        "With bend 2 lying flat and curling to the left seen from end A, bend 3 curls the other way (right).",
        "With bend 3 lying flat and curling to the left seen from end A, bend 4 curls the same way (left).",
    ]


def test_a_part_in_one_plane_says_that_the_sign_makes_no_difference() -> None:
    assert "own mirror image" in sentences([0.0, 180.0, 0.0])[-1]
    assert "own mirror image" not in " ".join(sentences([0.0, 180.0, 30.0]))


def test_one_bend_has_no_hand() -> None:
    assert sentences([0.0]) == ["One bend only: there is no rotation and so no hand."]


@pytest.mark.parametrize("rotation", [*ANGLES, 720.5, -1000.0])
def test_folding_changes_a_rotation_by_whole_turns(rotation: float) -> None:
    assert -180.0 < folded(rotation) <= 180.0
    assert math.isclose((folded(rotation) - rotation) / 360.0, round((folded(rotation) - rotation) / 360.0))


def test_the_picture_is_of_the_first_bend_that_settles_the_hand() -> None:
    assert first_turning([0.0, 180.0, 30.0, 90.0]) == 2
    assert first_turning([0.0, 0.0, 180.0]) == 1
    assert is_flat(-180.0)
    assert not is_flat(1.0)
