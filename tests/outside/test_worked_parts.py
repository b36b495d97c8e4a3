"""Worked parts: points, angles, rotations and cut lengths computed exactly outside the project.

X1 to X7: exact values by sympy 1.14, torsion angles by gemmi (IUPAC sign, Gold Book T06406). Only X1, X2 and X5 show the
sign of a rotation. N1: US Navy NAVEDTRA 14119 (Hull Maintenance Technician), pipe length problems; the book uses 1.57 for
π/2, hence its 112.26 in.
"""

import math

import gemmi
import numpy as np
import pytest

from planner.inputs.centreline import lra_from_vertices
from planner.inputs.part import Part

WORKED = {
    "X1": ([[0, 0, 0], [100, 0, 0], [100, 80, 0], [160, 80, 80]], 20, [90, 90], [126.869897646], 262.831853072),
    "X2": (
        [[0, 0, 0], [300, 0, 0], [300, 200, 0], [300, 300, -173.205080757]],
        60, [90, 60], [-90], 667.797600377,
    ),
    "X3": ([[0, 0, 0], [200, 0, 0], [200, 150, 0], [0, 150, 0]], 40, [90, 90], [0], 515.663706144),
    "X4": ([[0, 0, 0], [200, 0, 0], [200, 150, 0], [400, 150, 0]], 40, [90, 90], [180], 515.663706144),
    "X5": (
        [[0, 0, 0], [120, 0, 0], [220, 100, 0], [220, 250, 0], [220, 250, 140], [100, 370, 140], [100, 370, 300]],
        30, [45, 45, 90, 90, 90], [0, 90, -135, 180], 839.916915453,
    ),
    "X6": ([[0, 0, 0], [150, 0, 0], [250, 100, 0]], 50, [45], [], 289.269908170),
    "X7": (
        [[0, 0, 0], [254, 0, 0], [355.6, 76.2, 0], [609.6, 76.2, 0]],
        50.8, [36.869897646, 36.869897646], [180], 24.907337769 * 25.4,
    ),
}  # fmt: skip


def part_of(points: list[list[float]], radius: float) -> Part:
    radii = np.full(len(points) - 2, float(radius))
    straights, rotations, angles = lra_from_vertices(np.array(points, dtype=float), radii)
    return Part(
        name="worked", machine=None, outside_diameter=12.7, wall=0.889, gauge=None, material="stainless 304",
        yield_strength=None, straights=straights, rotations=rotations, angles=angles, radii=radii,
    )  # fmt: skip


@pytest.mark.parametrize("name", WORKED)
def test_a_worked_part_has_its_angles_rotations_and_cut_length(name: str) -> None:
    points, radius, angles, rolls, cut = WORKED[name]
    part = part_of(points, radius)
    assert np.degrees(part.angles) == pytest.approx(angles, abs=1e-7)
    for found, stated in zip(np.degrees(part.rotations[1:]), rolls, strict=True):
        assert math.remainder(found - stated, 360.0) == pytest.approx(0.0, abs=1e-7)
    assert part.developed_length == pytest.approx(cut, abs=1e-6)


@pytest.mark.parametrize("name", WORKED)
def test_a_worked_part_rebuilds_to_its_own_points(name: str) -> None:
    points, radius, *_ = WORKED[name]
    assert part_of(points, radius).vertices() == pytest.approx(np.array(points, dtype=float), abs=1e-5)


@pytest.mark.parametrize("name", [name for name, entry in WORKED.items() if entry[3]])
def test_rotations_are_the_torsion_angles_that_gemmi_finds(name: str) -> None:
    points, radius, *_ = WORKED[name]
    rotations = part_of(points, radius).rotations
    corners = [gemmi.Position(*point) for point in points]
    for i in range(1, len(rotations)):
        torsion = gemmi.calculate_dihedral(*corners[i - 1 : i + 3])
        assert math.remainder(float(rotations[i]) - torsion, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("name", ["X1", "X2", "X5"])
def test_the_other_sign_of_rotation_moves_the_far_end_where_it_shows(name: str) -> None:
    points, radius, *_ = WORKED[name]
    part = part_of(points, radius)
    error = float(np.linalg.norm(part.mirrored().vertices() - part.vertices(), axis=1).max())
    assert error == pytest.approx({"X1": 160.0, "X2": 346.41, "X5": 600.0}[name], rel=0.01)


def test_the_navys_pipe_length_problem() -> None:
    part = part_of([[0, 0, 0], [48 * 25.4, 0, 0], [48 * 25.4, 72 * 25.4, 0]], 18 * 25.4)
    inches = part.developed_length / 25.4
    assert inches == pytest.approx(112.274333882, abs=1e-6)
    assert inches == pytest.approx(112.26, abs=0.02)
