"""Clamp choice, grip section, pressure die, shortest grip, shortest tail and the rod, as plain numbers."""

from __future__ import annotations

import math
from typing import Any

import pytest

from planner.rules.broken import Broken
from planner.rules.grip import clamps_that_fit, pressure_die_lasts, rod_reaches, tail_left
from tests.plan.shop import RADIUS, bender, tube
from tests.rules.cases import lasts, loaded, numbers, whole_millimetres

CLAMPS = {"tooling": {"clamp_lengths": [115, 90, 60], "shortest_grip": 76}}


@pytest.mark.parametrize(
    ("straight", "fitting"),
    [
        (200, (115, 90, 60)),
        (115, (115, 90, 60)),
        (114.9, (90, 60)),
        (90, (90, 60)),
        (60, (60,)),
        (59.9, None),
        (0, None),
    ],
)
def test_between_formed_bends_the_clamp_is_not_longer_than_the_straight(
    straight: float, fitting: tuple[float, ...] | None
) -> None:
    view = loaded(tube([300, straight, 300], [0, 20], [40, 40]), "A", (0.0, 0.0))
    found = clamps_that_fit(view, 2, frozenset({1}), bender(CLAMPS).tooling[0])
    if fitting is None:
        assert isinstance(found, Broken)
        assert f"is {straight:.1f} mm; the shortest clamp is 60.0 mm" in found.sentence
        assert (found.bend, found.leads) == (2, "A")
    else:
        assert found == fitting


@pytest.mark.parametrize(
    ("section", "straight", "fitting"),
    [
        ({"length": 70}, 70, (60,)),
        ({"length": 70}, 69.9, None),
        ({"length": 70}, 90, (90, 60)),
        ({"length": 120}, 119, None),
        ({"length": 40}, 60, (60,)),
        ({"depth": 40}, 90, (90, 60)),
        (False, 60, (60,)),
    ],
)
def test_between_formed_bends_the_grip_section_is_not_longer_than_the_straight_either(
    section: Any, straight: float, fitting: tuple[float, ...] | None
) -> None:
    """Without a length of its own it is as long as the clamp that is fitted."""
    tooling = bender(CLAMPS, {"tooling": {"grip_section": section}}).tooling[0]
    view = loaded(tube([300, straight, 300], [0, 20], [40, 40]), "A", (0.0, 0.0))
    found = clamps_that_fit(view, 2, frozenset({1}), tooling)
    if fitting is None:
        assert isinstance(found, Broken)
        assert f"is {straight:.1f} mm; the shortest grip section is {section['length']:.1f} mm" in found.sentence
        assert found.numbers == {"straight": pytest.approx(straight), "shortest_clamp": section["length"]}
    else:
        assert found == fitting
    assert clamps_that_fit(view, 1, frozenset(), tooling) == (115, 90, 60)  # at a leading end it may overhang


def test_a_pressure_die_that_follows_leaves_its_rest_behind_the_tangent_point() -> None:
    """At the setting, not at the angle; one diameter where the profile does not say how much."""
    for seed in range(120):
        part, machine, settings = whole_millimetres(seed)
        tooling, plain = machine.tooling[0], numbers(part, machine, settings, "A", 0.0)
        for bend in range(1, part.n_bends + 1):
            feed = plain.swings[bend - 1] - plain.starts[bend - 1]
            found = pressure_die_lasts(loaded(part, "A", (0.0, 0.0)), bend, settings[bend - 1], tooling)
            assert (found is None) == lasts(tooling, feed), (seed, bend)
            if found is not None:
                left = tooling.pressure_die_length - feed
                assert found.numbers == {"left": pytest.approx(left), "needed": tooling.pressure_rest}
                assert f"{left:.1f} mm of it are left" in found.sentence
    part = tube([300, 300], [0], [90])
    for length, last in ((RADIUS * math.pi / 2 + 38.1, True), (RADIUS * math.pi / 2 + 38.0, False)):
        tooling = bender({"tooling": {"pressure_die_length": length}}).tooling[0]
        found = pressure_die_lasts(loaded(part, "A", (0.0, 0.0)), 1, math.pi / 2, tooling)
        assert (found is None) == last


@pytest.mark.parametrize(
    ("straight", "trim", "held"), [(76, 0, True), (75.9, 0, False), (40, 36, True), (40, 35, False)]
)
def test_at_a_leading_end_the_clamp_holds_the_shortest_grip_trim_counted(
    straight: float, trim: float, held: bool
) -> None:
    """And it may overhang: every clamp fits, the longest too."""
    for leads in ("A", "B"):
        ends = [straight, 200, 300] if leads == "A" else [300, 200, straight]
        trims = (trim, 0.0) if leads == "A" else (0.0, trim)
        view = loaded(tube(ends, [0, 20], [40, 40], trims), leads, trims)  # type: ignore[arg-type]
        found = clamps_that_fit(view, 1, frozenset(), bender(CLAMPS).tooling[0])
        assert found == (115, 90, 60) if held else isinstance(found, Broken)
        if isinstance(found, Broken):
            assert found.bend == (1 if leads == "A" else 2)
            assert f"{straight + trim:.1f} mm" in found.sentence


def test_unformed_bends_ahead_count_as_straight_tube_to_grip() -> None:
    """Started in the middle: the clamp of bend 2 holds tube in which bend 1 is still to come."""
    view = loaded(tube([10, 30, 300], [0, 20], [40, 40]), "A", (0.0, 0.0))
    assert isinstance(clamps_that_fit(view, 2, frozenset({1}), bender(CLAMPS).tooling[0]), Broken)
    assert clamps_that_fit(view, 2, frozenset(), bender(CLAMPS).tooling[0]) == (115, 90, 60)


def test_the_tail_left_behind_is_counted_from_where_the_swing_ends() -> None:
    """The setting draws more tube through than the angle: what is left at that moment must do."""
    tooling = bender().tooling[0]
    for seed in range(60):
        part, machine, settings = whole_millimetres(seed)
        plain = numbers(part, machine, settings, "A", part.trim_b)
        for bend in range(1, part.n_bends + 1):
            left = plain.stock - plain.swings[bend - 1]
            found = tail_left(loaded(part, "A", (0.0, part.trim_b)), bend, settings[bend - 1], tooling)
            assert (found is None) == (left >= tooling.shortest_tail), (seed, bend)
            if found is not None:
                assert f"{left:.1f} mm of tube are left" in found.sentence.replace("-0.0", "0.0")


def test_the_rod_takes_all_the_tube_behind_the_first_bend_trim_included() -> None:
    part = tube([300, 200, 400], [0, 20], [40, 40], (50.0, 30.0))
    arcs = float(part.arc_lengths.sum())
    assert float(part.arc_lengths[0]) == pytest.approx(RADIUS * 0.6981317, rel=1e-6)  # Pappus: CLR times the angle
    behind = {"A": 200 + 400 + arcs + 30, "B": 300 + 200 + arcs + 50}
    for leads, length in behind.items():
        view = loaded(part, leads, (50.0, 30.0))  # type: ignore[arg-type]
        assert rod_reaches(view, 1, bender({"mandrel": {"rod_length": length + 0.01}})) is None
        found = rod_reaches(view, 1, bender({"mandrel": {"rod_length": length - 0.01}}))
        assert found is not None
        assert f"{length:.1f} mm of tube go over the mandrel" in found.sentence
        assert rod_reaches(view, 1, bender({"mandrel": None})) is None
