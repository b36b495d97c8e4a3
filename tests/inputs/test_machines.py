"""Machine profiles: units, round trips, mirroring, tooling, and profiles that leave room for the tube."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner.errors import NoTooling
from planner.inputs.files import load_machine, machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.profiles import list_profiles, packaged_folder

PACKAGED = ("canal-workshop", "long-bed", "three-axis", "under-the-loft")


@pytest.fixture(params=PACKAGED)
def machine(request: pytest.FixtureRequest) -> Machine:
    return load_machine(request.param)


def tables(name: str) -> dict[str, Any]:
    return tomllib.loads((packaged_folder() / f"{name}.toml").read_text(encoding="utf-8"))


def test_the_packaged_profiles_are_there_and_marked_as_invented() -> None:
    assert tuple(profile.name for profile in list_profiles()) == PACKAGED
    for profile in list_profiles():
        assert profile.path.read_text(encoding="utf-8").startswith("# Invented:")


def test_a_profile_written_out_reads_back_as_the_same_machine(machine: Machine) -> None:
    again = machine_from_data(machine.normalised())
    assert again == machine
    assert hash(again) == hash(machine)
    assert again.normalised() == machine.normalised()


@pytest.mark.parametrize("name", PACKAGED)
def test_a_profile_written_out_says_what_its_file_says(name: str) -> None:
    written = load_machine(name).normalised()

    def check(given: Any, found: Any, key: str) -> None:
        if isinstance(given, dict):
            for inner, value in given.items():
                check(value, found[inner], f"{key}.{inner}")
        elif isinstance(given, list):
            assert len(given) == len(found), key
            for one, other in zip(given, found, strict=True):
                check(one, other, key)
        else:
            assert given == found, key

    check(tables(name), written, name)


def test_degrees_become_radians_and_seconds_stay(machine: Machine) -> None:
    given = tables(Path(str(machine.source)).stem)
    assert machine.head.largest_angle == math.radians(given["head"]["largest_angle"])
    assert machine.speeds.return_ == math.radians(given["speeds"]["return"])
    assert machine.speeds.advance == given["speeds"]["advance"]
    assert machine.rotation.resolution == math.radians(given["rotation"]["resolution"])
    assert machine.times.regrip == given["times"]["regrip"]


def test_a_profile_in_inches_is_25_4_times_as_long_and_turns_as_far() -> None:
    data = tables("canal-workshop")
    inches = machine_from_data({**data, "units": "in"})
    mm = load_machine("canal-workshop")
    assert inches.units == "mm"
    assert inches.head.centreline_height == pytest.approx(25.4 * mm.head.centreline_height, abs=1e-9)
    assert inches.tooling[0].clamp_lengths == pytest.approx([25.4 * value for value in mm.tooling[0].clamp_lengths])
    assert inches.solid[0].box is not None
    assert mm.solid[0].box is not None
    assert inches.solid[0].box.from_ == pytest.approx([25.4 * value for value in mm.solid[0].box.from_])
    assert inches.speeds.advance == pytest.approx(25.4 * mm.speeds.advance)
    assert (inches.head.largest_angle, inches.times, inches.springback) == (
        mm.head.largest_angle,
        mm.times,
        mm.springback,
    )
    assert inches.rated is not None
    assert mm.rated is not None
    assert inches.rated.yield_strength == mm.rated.yield_strength


def test_the_mirrored_machine_has_the_other_head_and_its_solids_mirrored(machine: Machine) -> None:
    other = machine.mirrored()
    assert {machine.head.bends_toward, other.head.bends_toward} == {"left", "right"}
    assert other.mirrored() == machine
    assert other.rotation == machine.rotation
    for mine, its in zip(machine.solid, other.solid, strict=True):
        if mine.box is not None:
            assert its.box is not None
            assert (its.box.from_[1], its.box.to[1]) == (-mine.box.to[1], -mine.box.from_[1])
            assert (its.box.from_[0], its.box.to[2]) == (mine.box.from_[0], mine.box.to[2])
        if mine.cylinder is not None:
            assert its.cylinder is not None
            assert its.cylinder.centre == (mine.cylinder.centre[0], -mine.cylinder.centre[1])


def test_what_a_profile_leaves_out_makes_the_machine_no_abler() -> None:
    data = tables("canal-workshop")
    del data["head"]["may_ease_off"]
    for key in ("passes_through", "finish_released", "may_go_back"):
        del data["carriage"][key]
    bare = machine_from_data(data)
    assert bare.carriage is not None
    able = (
        bare.head.may_ease_off,
        bare.carriage.passes_through,
        bare.carriage.may_go_back,
        bare.carriage.finish_released,
    )
    assert able == (False, False, False, False)
    for key in ("carriage", "mandrel", "springback", "scatter", "rated", "solid"):
        del data[key]
    for tooling in data["tooling"]:
        del tooling["mandrel"]
    assert machine_from_data(data).carriage is None


def test_tooling_is_found_by_diameter_and_radius_within_a_twentieth() -> None:
    machine = load_machine("canal-workshop")
    assert machine.tooling_for(38.1, 76.2).shortest_grip == 76
    assert machine.tooling_for(38.14, 114.26).bend_radius == 114.3
    assert machine.tooling_for(25.4, 50.8).tube_diameter == 25.4


@pytest.mark.parametrize(("diameter", "radius"), [(38.0, 76.2), (38.1, 76.0), (25.4, 76.2), (76.2, 152.4)])
def test_missing_tooling_lists_the_tooling_there_is(diameter: float, radius: float) -> None:
    machine = load_machine("canal-workshop")
    with pytest.raises(NoTooling) as caught:
        machine.tooling_for(diameter, radius)
    error = caught.value
    assert error.tooling == ((38.1, 76.2), (25.4, 50.8), (38.1, 114.3))
    assert (error.diameter, error.radius) == (diameter, radius)
    assert "25.4 mm on radius 50.8 mm" in str(error)
    assert error.key == "tooling"


def distance_to_box(points: np.ndarray[Any, Any], low: np.ndarray[Any, Any], high: np.ndarray[Any, Any]) -> float:
    outside = np.maximum(np.maximum(low - points, points - high), 0.0)
    return float(np.linalg.norm(outside, axis=1).min())


def test_no_solid_stands_in_the_way_of_a_straight_tube(machine: Machine) -> None:
    """Tail and first straight lie on the x axis; every solid stays `required` away, the arm at every angle.

    The carriage holds the tail and is excused from it, so its solids are held against the tube ahead of it when it
    stands closest: none may reach past the collet's face.
    """
    assert machine.carriage is not None
    for tooling in machine.tooling:
        radius, clr = tooling.tube_diameter / 2.0, tooling.bend_radius
        toward = -1.0 if machine.head.bends_toward == "right" else 1.0
        tail = np.linspace(-machine.carriage.reach[1], 0.0, 2001)
        ahead = np.linspace(0.0, 3000.0, 1501)
        for solid in machine.solid:
            axis = np.zeros((len(tail) + len(ahead), 3))
            axis[:, 0] = np.concatenate((tail, ahead))
            if solid.moves_with == "carriage":
                assert solid.box is not None
                assert solid.box.to[0] <= 0.0
                continue
            if solid.cylinder is not None:
                assert solid.cylinder.z[1] < -radius - machine.clearance.required
                continue
            assert solid.box is not None
            low, high = np.array(solid.box.from_), np.array(solid.box.to)
            angles = np.arange(0.0, machine.head.largest_angle + 0.01, 0.02) if solid.moves_with == "arm" else [0.0]
            for angle in angles:
                # Seen from the arm, the tail turns the other way about the die axis.
                turn = -toward * float(angle)
                x, y = axis[:, 0], axis[:, 1] - toward * clr
                seen = np.column_stack(
                    (
                        x * np.cos(turn) - y * np.sin(turn),
                        x * np.sin(turn) + y * np.cos(turn) + toward * clr,
                        axis[:, 2],
                    )
                )
                gap = distance_to_box(seen, low, high) - radius
                assert gap >= machine.clearance.required, (solid.name, np.rad2deg(float(angle)))


def test_each_profile_can_make_a_plain_bend_of_every_tooling(machine: Machine) -> None:
    """Numbers that belong together: the clamp and pressure blocks leave the arm and slide below them free."""
    for tooling in machine.tooling:
        half_block = max(tooling.clamp_block.height, tooling.pressure_block.height) / 2.0
        for solid in machine.solid:
            if solid.name in ("arm", "pressure die slide"):
                assert solid.box is not None
                assert solid.box.to[2] < -half_block
        assert machine.carriage is not None
        assert machine.mandrel is not None
        assert machine.mandrel.rod_length >= machine.carriage.reach[1]
        assert machine.carriage.reach[0] >= tooling.pressure_die_length * 0.6
