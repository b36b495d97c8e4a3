"""Largest angle and rated capacity.

Plastic section moduli: the CHS rows are those of EN 10210-2 / EN 10219-2 annex (from memory, agreeing with the closed form);
the two tubes were computed by sectionproperties 3.10.2 (finite elements) to 1.3e-5; AISC Pipe 2 STD is AISC Manual Table 1-14
(from memory; design wall 0.143 in).
"""

from __future__ import annotations

import math

import pytest

from planner.facts import Fact
from planner.inputs.springback import Setting
from planner.rules.bending import largest_angle, plastic_moment, rated_capacity
from planner.rules.broken import Broken
from planner.wording.say import say
from tests.plan.shop import bender, tube

PLASTIC_MODULI = [
    (25.4, 1.651, 932.6889, 2e-5),
    (38.1, 1.651, 2194.9025, 2e-5),
    (48.3, 3.2, 6519.7547, 2e-5),
    (60.3, 3.91, 12453.069, 2e-5),
    (48.3, 3.2, 6520.0, 1e-3),
    (33.7, 2.6, 2520.0, 1e-3),
    (60.3, 3.2, 10400.0, 5e-3),
    (2.375 * 25.4, 0.143 * 25.4, 0.713 * 25.4**3, 1e-3),
]
"""Outside diameter [mm], wall [mm], plastic modulus [mm³], relative tolerance (the digits printed)."""


@pytest.mark.parametrize(("diameter", "wall", "modulus", "tolerance"), PLASTIC_MODULI)
def test_the_plastic_moment_is_yield_strength_times_the_tabulated_modulus(
    diameter: float, wall: float, modulus: float, tolerance: float
) -> None:
    assert plastic_moment(diameter, wall, 250.0) == pytest.approx(250.0 * modulus, rel=tolerance)


def test_the_plastic_moment_of_a_one_inch_tube_is_the_reference_value() -> None:
    """25.4 × 1.651 mm at 205 MPa: 191 201.2 N mm (closed form; the thin-wall formula gives 0.16 % less)."""
    assert plastic_moment(25.4, 1.651, 205.0) == pytest.approx(191_201.2, abs=0.1)
    mean = (25.4 - 1.651) / 2.0
    assert plastic_moment(25.4, 1.651, 205.0) == pytest.approx(4.0 * 205.0 * mean**2 * 1.651, rel=2e-3)


@pytest.mark.parametrize(("strength", "passes"), [(204.99, True), (205.0, True), (205.01, False)])
def test_a_tube_is_refused_once_its_moment_passes_that_of_the_rated_tube(strength: float, passes: bool) -> None:
    machine = bender({"rated": {"tube_diameter": 38.1, "wall": 1.65, "yield_strength": 205}})
    found = rated_capacity(machine, tube([300, 300], [0], [40], yield_strength=strength))
    assert (found is None) if passes else isinstance(found, Broken)


def test_a_larger_tube_of_softer_metal_is_judged_by_the_moment_alone() -> None:
    """38.1 × 1.651 at 100 MPa takes 219 490 N mm, more than 25.4 × 1.651 at 205 MPa with 191 201, less than 38.1 at 101."""
    machine = bender({"rated": {"tube_diameter": 25.4, "wall": 1.651, "yield_strength": 205}})
    part = tube([300, 300], [0], [40], wall=1.651, yield_strength=100.0)
    found = rated_capacity(machine, part)
    assert isinstance(found, Broken)
    assert "0.22 kN m" in found.sentence
    assert "0.19 kN m" in found.sentence
    assert rated_capacity(machine, tube([300, 300], [0], [40], wall=1.651, yield_strength=87.0)) is None


def test_without_a_yield_strength_or_a_rating_it_says_that_nothing_was_checked() -> None:
    rated = bender({"rated": {"tube_diameter": 25.4, "wall": 1.651, "yield_strength": 205}})
    part = tube([300, 300], [0], [40], material="unheard of")
    for machine in (rated, bender()):
        found = rated_capacity(machine, part)
        assert isinstance(found, Fact)
        assert say(found).startswith("Rating not checked")


@pytest.mark.parametrize(("setting", "passes"), [(190.0, True), (190.001, False)])
def test_the_largest_angle_limits_the_setting(setting: float, passes: bool) -> None:
    machine = bender({"head": {"largest_angle": 190}})
    found = largest_angle(machine, 3, math.radians(185.0), Setting(math.radians(setting), "measured"))
    assert (found is None) == passes
