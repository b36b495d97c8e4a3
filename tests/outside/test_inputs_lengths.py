"""Developed lengths against Pappus' theorem and the volume of a mesh."""

from __future__ import annotations

import math

import numpy as np
import pytest
from trimesh.creation import revolve

from planner.inputs.files import part_from_data
from planner.inputs.part import Part


def bend(diameter: float, radius: float, angle: float, wall: float = 1.0) -> Part:
    """Return a part with one bend and straights of no length."""
    tube = {"outside_diameter": diameter, "wall": wall, "material": "steel"}
    shape = {"bend_radius": radius, "lra": [[0, 0, angle], [0]]}
    return part_from_data({"name": "bend", "units": "mm", "tube": tube, "shape": shape})


def solid_volume(part: Part) -> float:
    """Pappus' second theorem: section area times the way of its centroid, the developed length."""
    return math.pi * part.radius**2 * part.developed_length


@pytest.mark.parametrize(("angle", "volume"), [(90, 40433.459744), (45, 20216.729872), (180, 80866.919488)])
def test_a_bends_developed_length_gives_the_torus_volume(angle: float, volume: float) -> None:
    """R 50.8, r 12.7 mm; the volumes were equal to 2e-16 in Open CASCADE."""
    assert solid_volume(bend(25.4, 50.8, angle)) == pytest.approx(volume, rel=1e-10)


def test_a_hollow_bend_and_its_mass() -> None:
    """25.4 x 1.651 mm on R 50.8, 90°: 9829.374064 mm³ by Pappus, a mesh of 512 x 256 within 3.1e-5."""
    part = bend(25.4, 50.8, 90, wall=1.651)
    section = math.pi * (part.radius**2 - (part.radius - part.wall) ** 2)
    assert section * part.developed_length == pytest.approx(9829.374064, rel=1e-9)


def test_a_whole_parts_volume() -> None:
    """X1, tube of 12.7 x 0.889 mm: 8669.944157 mm³, solid 33294.716424 mm³ (Open CASCADE, sweep and cut, to 1e-15)."""
    tube = {"outside_diameter": 12.7, "wall": 0.889, "material": "304"}
    shape = {"bend_radius": 20, "xyz": [[0, 0, 0], [100, 0, 0], [100, 80, 0], [160, 80, 80]]}
    part = part_from_data({"name": "X1", "units": "mm", "tube": tube, "shape": shape})
    section = math.pi * (part.radius**2 - (part.radius - part.wall) ** 2)
    assert section * part.developed_length == pytest.approx(8669.944157, rel=1e-10)
    assert solid_volume(part) == pytest.approx(33294.716424, rel=1e-10)


@pytest.mark.parametrize(("sides", "steps", "angle"), [(32, 32, 90.0), (16, 40, 180.0), (64, 24, 57.0)])
def test_the_developed_length_is_that_of_a_mesh_with_its_facets_reckoned_exactly(
    sides: int, steps: int, angle: float
) -> None:
    """trimesh.creation.revolve of a polygon of `sides`, in `steps`: facets make the volume smaller by exactly

    (sin(θ/n)/(θ/n)) · (s/2π) sin(2π/s), whatever the radii; so the mesh gives the arc length R·θ back to 1e-12.
    It stays open at both ends: their planes hold the axis, and with it the origin that volumes are reckoned from.
    """
    part = bend(25.4, 50.8, angle)
    around = 2 * np.pi * np.arange(sides + 1) / sides
    profile = np.column_stack((50.8 + part.radius * np.cos(around), part.radius * np.sin(around)))
    mesh = revolve(profile, angle=math.radians(angle), sections=steps)
    step = math.radians(angle) / steps
    facets = math.sin(step) / step * sides / (2 * math.pi) * math.sin(2 * math.pi / sides)
    volume = abs(np.linalg.det(mesh.triangles).sum()) / 6.0
    assert volume == pytest.approx(solid_volume(part) * facets, rel=1e-12)
    if (sides, steps, angle) == (32, 32, 90.0):
        assert abs(mesh.volume) == pytest.approx(40158.022142759, rel=1e-12)
