"""How a turned part is laid in: the words must be true of the tube, for that is the whole accuracy of a turned part."""

from __future__ import annotations

import math
import re

import pytest

from planner.feasibility.orders import Run
from planner.plans.document import Plan
from tests.plan.forced import forced
from tests.plan.shop import bender, head, tube

HEADS = {"right": -1.0, "left": 1.0}


def words(angle: float, rotation: float, toward: str, first: str) -> str:
    """The note of the turn step of a part with two bends, one made with the other end leading [deg]."""
    part = tube([400, 200, 400], [0, rotation], [angle, angle])
    order = (Run("A", (2,)), Run("B", (1,))) if first == "A" else (Run("B", (1,)), Run("A", (2,)))
    made = forced(part, bender(head(toward)), order)
    assert isinstance(made, Plan), made.sentence
    note = next(step.note for step in made.steps if step.action == "turn")
    assert note is not None
    return note


@pytest.mark.parametrize("first", ["A", "B"])
@pytest.mark.parametrize("toward", ["right", "left"])
@pytest.mark.parametrize("rotation", [90.0, -90.0, 30.0, -30.0, 150.0, -140.0])
def test_the_leg_of_a_square_bend_lies_where_the_words_say(rotation: float, toward: str, first: str) -> None:
    """By hand: the leg lies at (0, side · cos R, side · sin R), side −1 on a right head, +1 on a left one.

    A leg that hangs down on a right head for +90 is the machine's sign by hand.
    """
    note, side = words(90.0, rotation, toward, first), HEADS[toward]
    up = side * math.sin(math.radians(rotation))
    slope = re.search(r"([\d.]+)° (above|below) level", note)
    if abs(rotation) == 90.0:
        assert f"straight {'up' if up > 0.0 else 'down'}" in note
        return
    assert slope is not None
    assert float(slope[1]) == pytest.approx(math.degrees(math.asin(abs(up))), abs=0.051)
    assert slope[2] == ("above" if up > 0.0 else "below")
    assert ("the side away from the die" in note) == (abs(rotation) > 90.0)


@pytest.mark.parametrize("rotation", [30.0, 90.0])
def test_the_words_for_a_bend_of_45_degrees_name_its_plane_or_the_legs_own_slope(rotation: float) -> None:
    """An angle finder on the leg of a bend of angle A reads asin(sin A · sin R), only for a square bend R itself."""
    note = words(45.0, rotation, "right", "A")
    slope = re.search(r"([\d.]+)° below level", note)
    by_leg = math.degrees(math.asin(math.sin(math.radians(45.0)) * math.sin(math.radians(rotation))))
    names_the_plane = re.search(r"plane of (?:that )?bend|bend \d'?s plane", note) is not None
    leg_is_right = slope is not None and float(slope[1]) == pytest.approx(by_leg, abs=0.051)
    assert names_the_plane or leg_is_right, note


def test_the_tangent_point_named_is_on_the_straight_that_goes_into_the_machine() -> None:
    note = words(60.0, 40.0, "right", "A")  # bend 2 first, then turned, end B leading: straight 1 is behind bend 2
    assert "end B leading" in note
    assert re.search(r"tangent point of bend 2 nearer end A 200\.0 mm ahead", note)


def test_the_dial_shows_zero_after_laying_in() -> None:
    assert "dial then shows 0" in words(60.0, 40.0, "right", "A")
