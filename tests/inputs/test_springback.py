"""The setting for an angle: measured, carried on, estimated, guessed; and what it can never be."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.inputs.files import load_machine, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.materials import MATERIALS, find_material
from planner.inputs.part import Part
from planner.inputs.springback import FLAT_GUESS, setting_for, springback_share
from planner.wording.say import say
from tests.inputs.parts import rail


def part_of(**tube: Any) -> Part:
    document = rail()
    document["tube"].update(tube)
    return part_from_data(document)


def machine_with(pairs: list[list[float]] | None) -> Machine:
    machine = load_machine("canal-workshop")
    if pairs is None:
        return machine.model_copy(update={"springback": None})
    radians = tuple((math.radians(angle), math.radians(setting)) for angle, setting in pairs)
    assert machine.springback is not None
    return machine.model_copy(update={"springback": machine.springback.model_copy(update={"measured": radians})})


RAIL_PART = part_of()
MEASURED = machine_with([[20, 21.6], [120, 123.9]])
UNMEASURED = machine_with(None)


def degrees(angle: float, machine: Machine, part: Part = RAIL_PART) -> float:
    return math.degrees(setting_for(math.radians(angle), machine, part, 76.2).value)


@pytest.mark.parametrize(
    ("angle", "setting", "source"),
    [
        # by hand: 21.6 + (123.9 - 21.6) · (angle - 20) / 100
        (20, 21.6, "measured"),
        (45, 47.175, "measured"),
        (90, 93.21, "measured"),
        (120, 123.9, "measured"),
        (150, 154.59, "extrapolated"),
        (10, 11.37, "extrapolated"),
    ],
)
def test_measured_pairs_are_read_along_straight_lines(angle: float, setting: float, source: str) -> None:
    found = setting_for(math.radians(angle), MEASURED, RAIL_PART, 76.2)
    assert math.degrees(found.value) == pytest.approx(setting, abs=1e-9)
    assert found.source == source
    assert (found.warning is None) is (source == "measured")


def test_beyond_three_pairs_the_nearest_line_is_carried_on() -> None:
    machine = machine_with([[20, 22], [60, 64], [120, 130]])
    assert degrees(40, machine) == pytest.approx(43.0)
    assert degrees(150, machine) == pytest.approx(130 + 30 * 66 / 60)
    assert degrees(10, machine) == pytest.approx(22 - 10 * 42 / 40)


def test_a_line_carried_on_never_sets_less_than_the_parts_angle() -> None:
    machine = machine_with([[60, 60], [120, 126]])
    assert degrees(20, machine) == pytest.approx(20.0)


def test_without_pairs_the_setting_is_an_estimate_and_said_to_be_one() -> None:
    found = setting_for(math.radians(90), UNMEASURED, RAIL_PART, 76.2)
    assert found.source == "estimated"
    assert found.warning is not None
    assert "estimated" in say(found.warning)
    share = springback_share(19.05, 19.05 - 1.65, 76.2, 205.0, 193e3)
    assert found.value == pytest.approx(math.radians(90) / (1 - share), rel=1e-12)
    stronger = setting_for(math.radians(90), UNMEASURED, part_of(yield_strength=290), 76.2)
    assert stronger.value > found.value


def test_of_an_unknown_material_nothing_is_known_and_the_guess_says_so() -> None:
    for part in (part_of(material="unobtainium"), part_of(material="unobtainium", yield_strength=300)):
        found = setting_for(math.radians(90), UNMEASURED, part, 76.2)
        assert found.value == pytest.approx(math.radians(90) * (1 + FLAT_GUESS))
        assert found.warning is not None
        assert "common practice, no source" in say(found.warning)


@given(st.floats(0.5, 200.0), st.floats(0.01, 20.0))
def test_a_larger_angle_needs_a_larger_setting(angle: float, more: float) -> None:
    for machine in (MEASURED, UNMEASURED, machine_with([[60, 60], [90, 95], [120, 126]])):
        assert degrees(angle + more, machine) > degrees(angle, machine) >= angle * (1 - 1e-12)


@given(st.floats(50, 900), st.floats(20, 2000), st.floats(5, 40), st.floats(0.05, 0.9), st.floats(50e3, 210e3))
def test_springback_grows_with_yield_and_radius_and_falls_with_stiffness_and_size(
    strength: float, radius: float, outer: float, bore: float, modulus: float
) -> None:
    slack = 1e-12  # where all is elastic, both are 1 but for rounding
    base = springback_share(outer, outer * bore, radius + outer, strength, modulus)
    assert 0.0 < base <= 1.0
    assert springback_share(outer, outer * bore, radius + outer, strength * 1.1, modulus) >= base - slack
    assert springback_share(outer, outer * bore, (radius + outer) * 1.1, strength, modulus) >= base - 1e-12 - slack
    assert springback_share(outer, outer * bore, radius + outer, strength, modulus * 1.1) <= base + slack
    assert springback_share(outer * 1.1, outer * 1.1 * bore, radius + outer, strength, modulus) <= base + slack


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("stainless 304", "stainless 304"),
        ("304", "stainless 304"),
        ("AISI 304 tube", "stainless 304"),
        ("Stainless Steel, 304L", "stainless 304L"),
        ("1.4301", "stainless 304"),
        ("1020 DOM", "steel 1020 DOM"),
        ("E235+N", "steel E235+N"),
        ("E355", "steel E355+N"),
        ("6061-T6", "aluminium 6061-T6"),
        ("aluminum 6061 T6", "aluminium 6061-T6"),
        ("Titanium Grade 2", "titanium grade 2"),
        ("CuNi 90/10", "CuNi 90/10"),
        ("C12200 drawn", "copper C12200 drawn"),
    ],
)
def test_a_material_is_found_by_a_loose_name(name: str, meant: str) -> None:
    found = find_material(name)
    assert found is not None
    assert found.name == meant


@pytest.mark.parametrize(
    "name", ["steel", "stainless", "copper", "316", "2", "titanium 304", "6061", "E235+C", "", "?"]
)
def test_a_material_that_is_not_known_or_not_named_exactly_is_none(name: str) -> None:
    assert find_material(name) is None


def test_every_material_is_found_by_its_own_names() -> None:
    for material in MATERIALS:
        for name in (material.name, *material.also):
            assert find_material(name) is material
