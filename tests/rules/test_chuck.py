"""The chuck's range against every choice of the way round, bend by bend."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.rules.chuck import rolls_within

DEGREES = st.integers(-179, 180)


def least_turning(limits: tuple[float, float], rolls: list[int], back: list[bool]) -> int | None:
    """The least turning [deg] over both ways round of every rotation, None if each leaves the range."""
    ways = [(0,) if roll == 0 else (roll, roll - 360 if roll > 0 else roll + 360) for roll in rolls]
    found = []
    for chosen in product(*ways):
        angle, inside = 0, True
        for turn, opened in zip(chosen, back, strict=True):
            angle += turn
            inside = inside and limits[0] <= angle <= limits[1]
            angle = 0 if opened else angle
        if inside:
            found.append(sum(abs(turn) for turn in chosen))
    return min(found, default=None)


@given(
    limits=st.tuples(st.integers(-400, 0), st.integers(1, 400)),
    moves=st.lists(st.tuples(DEGREES, st.booleans()), min_size=1, max_size=7),
)
def test_the_rotations_stay_in_range_with_the_least_turning(
    limits: tuple[int, int], moves: list[tuple[int, bool]]
) -> None:
    rolls, back = [roll for roll, _ in moves], [opened for _, opened in moves]
    expected = least_turning(limits, rolls, back)
    found = rolls_within(
        (math.radians(limits[0]), math.radians(limits[1])), [math.radians(roll) for roll in rolls], back
    )
    assert (found is None) == (expected is None)
    if found is None:
        return
    assert sum(abs(math.degrees(turn)) for turn in found) == pytest.approx(expected, abs=1e-6)
    angle = 0.0
    for turn, roll, opened in zip(found, rolls, back, strict=True):
        assert math.remainder(math.degrees(turn) - roll, 360.0) == pytest.approx(0.0, abs=1e-6)
        angle += math.degrees(turn)
        assert limits[0] - 1e-6 <= angle <= limits[1] + 1e-6
        angle = 0.0 if opened else angle


def test_a_continuous_chuck_takes_every_rotation_as_it_is() -> None:
    rolls = list(np.radians([170.0, 170.0, -90.0]))
    assert rolls_within("continuous", rolls, [False] * 3) == tuple(rolls)


def test_a_chuck_that_would_wind_up_goes_the_long_way_or_is_turned_back() -> None:
    rolls, limits = list(np.radians([170.0, 170.0, 170.0])), (math.radians(-200.0), math.radians(200.0))
    wound = rolls_within(limits, rolls, [False] * 3)
    assert wound is not None
    assert np.degrees(wound) == pytest.approx([170.0, -190.0, 170.0])
    assert np.degrees(rolls_within(limits, rolls, [True] * 3)) == pytest.approx([170.0] * 3)  # type: ignore[arg-type]
