"""The plain paths from bend to bend: each reaches its goal, in order of time, within what the machine can do."""

from __future__ import annotations

import math
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.feasibility.detours import MovePlane
from planner.feasibility.moves import plain_paths
from planner.feasibility.stations import printed_setting, snapped, wrapped
from planner.rules.chuck import both_ways
from tests.plan.shop import bender

ROLLS = st.integers(-1790, 1800).map(lambda tenths: math.radians(tenths / 10.0))


@given(
    start=st.integers(0, 50),
    way=st.integers(0, 400),
    roll=ROLLS,
    least=st.sampled_from([0.0, 12.0, 40.0]),
    back=st.booleans(),
    room=st.integers(0, 600),
)
def test_a_plain_path_goes_from_start_to_goal_by_the_roll_and_keeps_to_what_the_machine_can_do(
    start: int, way: int, roll: float, least: float, back: bool, room: int
) -> None:
    machine = bender({"carriage": {"may_go_back": back}})
    goal, farthest = float(start + way), float(start + way + room)
    paths = list(plain_paths(machine, float(start), goal, both_ways(roll), least, farthest))
    for path in paths:
        y, turned, time = float(start), 0.0, 0.0
        for leg in path.legs:
            if leg.kind == "advance":
                assert leg.start == pytest.approx(y, abs=1e-9)
                assert leg.at == pytest.approx(turned, abs=1e-9)
                assert leg.turned_before == (abs(turned) > 1e-9)
                assert back or leg.end >= leg.start
                assert leg.end <= farthest + 1e-9
                time += abs(leg.end - leg.start) / 300.0
                y = leg.end
            else:
                assert leg.at == pytest.approx(y, abs=1e-9)
                assert y >= least - 1e-9  # the arc just formed is off nose and balls of the mandrel
                time += abs(leg.end - leg.start) / math.radians(90.0)
                turned += leg.end - leg.start
        assert y == pytest.approx(goal, abs=1e-9)
        assert math.remainder(turned - roll, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-9)
        assert path.time == pytest.approx(time, rel=1e-9, abs=1e-9)
    assert [round(p.time, 6) for p in paths] == sorted(round(p.time, 6) for p in paths)
    if goal >= least:
        assert paths


def test_both_ways_round_are_tried() -> None:
    paths = list(plain_paths(bender(), 0.0, 200.0, both_ways(math.radians(100.0)), 0.0, 900.0))
    assert {round(math.degrees(path.roll)) for path in paths} == {100, -260}


def test_without_a_rotation_the_path_is_one_advance() -> None:
    (path,) = plain_paths(bender(), 0.0, 200.0, both_ways(0.0), 12.0, 900.0)
    assert [(leg.kind, leg.end) for leg in path.legs] == [("advance", 200.0)]


@given(value=st.floats(-5000, 5000), resolution=st.sampled_from([1e-6, 0.01, 0.05, 0.1, 0.5, 1.0]))
def test_a_snapped_value_is_the_nearest_multiple(value: float, resolution: float) -> None:
    found = snapped(value, resolution)
    assert abs(found - value) <= resolution / 2.0 + 1e-8
    assert found / resolution == pytest.approx(round(found / resolution), abs=1e-3)


@given(angle=st.floats(0.01, 3.2), opened=st.floats(0.0, 0.2), resolution=st.sampled_from([0.1, 0.5, 1.0]))
def test_a_printed_setting_is_a_multiple_near_the_exact_one_and_never_less_than_the_angle(
    angle: float, opened: float, resolution: float
) -> None:
    step = math.radians(resolution)
    found = printed_setting(angle + opened, angle, step)
    assert found / step == pytest.approx(round(found / step), abs=1e-6)
    assert found >= angle - 1e-9
    assert abs(found - angle - opened) <= step + 1e-9


@given(angle=st.floats(-50, 50))
def test_an_angle_is_wrapped_into_half_a_turn_either_way(angle: float) -> None:
    found = wrapped(angle)
    assert -math.pi < found <= math.pi + 1e-12
    assert math.remainder(found - angle, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("rolls", "round_"),
    [((-180.0, 180.0), True), ((-200.0, 200.0), False), ((0.0, 360.0), False), ((-90.0, 90.0), False)],
)
def test_only_a_chuck_that_turns_for_ever_comes_round_to_where_it_was(rolls: tuple[float, float], round_: bool) -> None:
    """One of 400° of travel passes the same place twice, and has an end on either side all the same."""
    low, high = map(math.radians, rolls)
    ground = MovePlane(cast(Any, None), 80.0, (0.0, 100.0), (low, high), 0.0, False, (), ())
    assert ground.goes_round is round_
