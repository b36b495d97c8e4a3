"""Solids that run through each other, against the general-purpose collision library coal at sampled poses of the machine.

Bodies and poses are built here from the profile's numbers; of what is checked only the remarks are used, and `depth` itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import coal
import numpy as np
import pytest

from planner.inputs.files import load_machine
from planner.inputs.machine import Machine, Tooling
from planner.lookover.look import look_over
from planner.lookover.outline import Outline, Pose, depth, shared_place
from tests.geometry.shapes import REQUEST
from tests.lookover.benches import OLD

PROFILES = sorted((Path(__file__).resolve().parents[2] / "machine_profiles").glob("*.toml"))

HIGH = 5000.0
"""Height of the bodies of which only the way across counts [mm]."""

Array = np.ndarray[Any, Any]


def turn_about(axis: tuple[float, float], angle: float) -> Any:
    """The pose that turns about a vertical axis, counter-clockwise seen from above."""
    c, s = math.cos(angle), math.sin(angle)
    x, y = axis
    return coal.Transform3s(
        np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]), np.array([x - c * x + s * y, y - s * x - c * y, 0.0])
    )


@dataclass(frozen=True)
class Placed:
    """A body of coal about its centre, in the machine frame with the arm at home."""

    name: str
    mover: str
    shape: Any
    centre: Array
    own: bool = True

    def at(self, turned: Any, shift: tuple[float, float] = (0.0, 0.0)) -> Any:
        return turned * coal.Transform3s(np.eye(3), self.centre + np.array([*shift, 0.0]))


def box(name: str, mover: str, low: Array, high: Array, own: bool = True) -> Placed:
    return Placed(name, mover, coal.Box(*(high - low)), (low + high) / 2.0, own)


def apart(one: Any, at: Any, other: Any, there: Any) -> float:
    return float(coal.distance(one, at, other, there, REQUEST, coal.DistanceResult()))


def random_outline(rng: np.random.Generator, rounded: bool) -> tuple[Outline, Any, Array]:
    """A rectangle or a disc near the axis, and the same as an upright body of coal."""
    x, y = rng.uniform(-150.0, 150.0, 2)
    if rounded:
        radius = rng.uniform(5.0, 120.0)
        return Outline(x, y, x, y, radius), coal.Cylinder(radius, HIGH), np.array([x, y, 0.0])
    w, h = rng.uniform(5.0, 260.0, 2)
    return Outline(x, y, x + w, y + h), coal.Box(w, h, HIGH), np.array([x + w / 2.0, y + h / 2.0, 0.0])


@pytest.mark.parametrize("seed", range(4))
def test_the_depth_seen_from_above_is_that_of_upright_bodies_at_any_angle(seed: int) -> None:
    rng = np.random.default_rng(seed)
    met = 0
    for k in range(250):
        one, shape, centre = random_outline(rng, bool(k & 1))
        other, its_shape, its_centre = random_outline(rng, bool(k & 2))
        axis, angle = (0.0, float(rng.uniform(-200.0, 200.0))), float(rng.uniform(-math.pi, math.pi))
        found = float(depth(one, other, Pose(np.array([angle]), axis))[0])
        there = coal.Transform3s(np.eye(3), its_centre)
        gap = apart(shape, turn_about(axis, angle) * coal.Transform3s(np.eye(3), centre), its_shape, there)
        assert found == pytest.approx(-gap, abs=2e-3 if gap < 0.0 else 1e-5)
        if found > 0.01:
            met += 1
            point = coal.Sphere(1e-6)
            place = coal.Transform3s(np.eye(3), np.array([*shared_place(one, other, angle, axis), 0.0]))
            turned = turn_about(axis, angle) * coal.Transform3s(np.eye(3), centre)
            assert apart(point, place, shape, turned) < 1e-5
            assert apart(point, place, its_shape, there) < 1e-5
    assert 40 < met < 210


@pytest.mark.parametrize("seed", range(4))
def test_what_a_disc_covers_on_its_way_is_met_as_the_disc_is_met_somewhere(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    for k in range(40):
        one, shape, centre = random_outline(rng, rounded=False)
        other, its_shape, its_centre = random_outline(rng, bool(k & 1))
        x, y = rng.uniform(20.0, 200.0), rng.uniform(-150.0, -10.0)
        angle = float(rng.uniform(-math.pi, math.pi))
        whole = float(depth(one, other.travelled((0.0, x), (y, 0.0)), Pose(np.array([angle]), (0.0, 0.0)))[0])
        turned = turn_about((0.0, 0.0), angle) * coal.Transform3s(np.eye(3), centre)
        nearest = min(
            apart(shape, turned, its_shape, coal.Transform3s(np.eye(3), its_centre + np.array([a, b, 0.0])))
            for a in np.linspace(0.0, x, 15)
            for b in np.linspace(y, 0.0, 15)
        )
        if whole <= 0.0:  # apart on the whole way: no place of it is nearer than that
            assert -whole - 1e-6 <= nearest <= -whole + 15.0
        else:
            assert nearest <= 15.0


def bodies(machine: Machine, tooling: Tooling) -> list[Placed]:
    """All bodies with one tooling, clamp and pressure die closed, the clamp with the section of the longest clamp."""
    side = -1.0 if machine.head.bends_toward == "right" else 1.0
    found = []
    for solid in machine.solid:
        if solid.box is not None:
            found.append(box(solid.name, solid.moves_with, np.array(solid.box.from_), np.array(solid.box.to)))
        else:
            assert solid.cylinder is not None
            (x, y), (low, high) = solid.cylinder.centre, solid.cylinder.z
            shape = coal.Cylinder(solid.cylinder.radius, high - low)
            found.append(Placed(solid.name, solid.moves_with, shape, np.array([x, y, (low + high) / 2.0])))

    def built(name: str, mover: str, x: tuple[float, float], inner: float, outer: float, height: float) -> Placed:
        near, far = sorted((-side * inner, -side * outer))
        low, high = np.array([x[0], near, -height / 2.0]), np.array([x[1], far, height / 2.0])
        return box(name, mover, low, high, own=False)

    length = tooling.clamp_lengths[0]
    clamp, press, wiper = tooling.clamp_block, tooling.pressure_block, tooling.wiper_block
    found.append(built("clamp die", "arm", (0.0, length), 0.0, clamp.width, clamp.height))
    found.append(
        built("pressure die", "pressure die", (-tooling.pressure_die_length, 0.0), 0.0, press.width, press.height)
    )
    section = tooling.section(length)
    if section is not None:
        found.append(built("grip section", "arm", (0.0, section.length), -section.depth, 0.0, section.height))
    if wiper is not None:
        found.append(built("wiper die", "frame", (-wiper.length, 0.0), -wiper.width, 0.0, wiper.height))
    return found


def moments(
    machine: Machine, tooling: Tooling, step: float
) -> Iterator[tuple[float, tuple[float, float], tuple[float, float], float]]:
    """Arm, shift of pressure die and of clamp, collet's face: bending, dies open, and the arm on its way home."""
    largest, side = machine.head.largest_angle, -1.0 if machine.head.bends_toward == "right" else 1.0
    reach = (300.0, 300.0) if machine.carriage is None else machine.carriage.reach
    faces = [*np.linspace(reach[0], min(reach[0] + 700.0, reach[1]), 5), reach[1]]
    for k, arm in enumerate(np.arange(0.0, largest + 1e-9, step)):
        ahead = tooling.bend_radius * arm if tooling.pressure_die_follows else 0.0
        face = float(faces[k % len(faces)])
        for forward, out in ((ahead, 0.0), (ahead, 0.5), (ahead, 1.0), (ahead / 2.0, 1.0), (0.0, 1.0)):
            across = -side * out * tooling.pressure_block.opens
            for opening in (0.0, 1.0):
                yield arm, (forward, across), (0.0, -side * opening * tooling.clamp_block.opens), face


def met(machine: Machine, tooling: Tooling, step: float) -> dict[tuple[str, str], tuple[float, float]]:
    """For each two bodies of different movers that overlap at a moment: the first angle of the arm, and how deep at most."""
    side = -1.0 if machine.head.bends_toward == "right" else 1.0
    everything = bodies(machine, tooling)
    pairs = [(a, b) for i, a in enumerate(everything) for b in everything[i + 1 :] if a.mover != b.mover]
    found: dict[tuple[str, str], tuple[float, float]] = {}
    home = turn_about((0.0, 0.0), 0.0)
    for arm, pressed, opened, face in moments(machine, tooling, step):
        turned = turn_about((0.0, side * tooling.bend_radius), side * arm)

        def placed(
            one: Placed, turned: Any = turned, pressed: Any = pressed, opened: Any = opened, face: float = face
        ) -> Any:
            if one.mover == "arm":
                return one.at(turned, opened if one.name == "clamp die" else (0.0, 0.0))
            if one.mover == "pressure die":
                return one.at(home, pressed)
            return one.at(home, (-face, 0.0) if one.mover == "carriage" else (0.0, 0.0))

        for one, other in pairs:
            gap = apart(one.shape, placed(one), other.shape, placed(other))
            if gap < -0.01:
                names = (one.name, other.name)
                begins, deepest = found.get(names, (arm, 0.0))
                found[names] = (begins, max(deepest, -gap))
    return found


@pytest.mark.parametrize("path", PROFILES, ids=lambda path: path.stem)
def test_no_bodies_of_a_shipped_profile_meet_at_any_moment_that_is_sampled(path: Path) -> None:
    machine = load_machine(path)
    for tooling in machine.tooling:
        assert met(machine, tooling, math.radians(4.0)) == {}


@pytest.mark.parametrize("name", list(OLD))
def test_what_meets_in_an_old_profile_is_remarked_with_its_angle_and_no_less_deep(name: str) -> None:
    machine = OLD[name]
    told = {frozenset(one.names): one for one in look_over(machine) if one.kind == "solids overlap"}
    seen: dict[frozenset[str], float] = {}
    for tooling in machine.tooling:
        for names, (begins, deepest) in met(machine, tooling, math.radians(1.0)).items():
            pair = frozenset(names)
            seen[pair] = min(seen.get(pair, begins), begins)
            remark = told[pair]
            assert remark.depth is not None
            if remark.tooling in (None, (tooling.tube_diameter, tooling.bend_radius)):
                assert remark.depth >= deepest - 0.01
    for pair, begins in seen.items():
        angle = told[pair].angle
        if angle is not None:
            assert begins - math.radians(1.01) <= angle <= begins + 1e-9
    assert {pair for pair in told if "arm" in pair} <= set(seen)
