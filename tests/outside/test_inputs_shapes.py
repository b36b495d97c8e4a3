"""Shapes against worked parts, third-party torsion angles, rigid motions, and handbook lengths; sources stand beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import gemmi
import numpy as np
import pytest
from hypothesis import given
from scipy.spatial.transform import Rotation

from planner.inputs.centreline import Array, centreline, lra_from_vertices
from planner.inputs.files import part_from_data
from planner.inputs.part import Part
from tests.inputs.parts import parts

INCH = 25.4
"""International inch in mm, exact: NIST SP 811."""


@dataclass(frozen=True)
class Worked:
    """A part worked out exactly by sympy 1.14, its torsion angles by gemmi, its length by a wire of Open CASCADE.

    Points [mm], bend radius [mm], angles and rotations [deg], tangents [mm], straights [mm], cut length [mm].
    """

    points: list[list[float]]
    radius: float
    angles: list[float]
    rotations: list[float]
    tangents: list[float]
    straights: list[float]
    length: float


def inches(*values: float) -> list[float]:
    return [value * INCH for value in values]


WORKED = {
    "X1": Worked(
        [[0, 0, 0], [100, 0, 0], [100, 80, 0], [160, 80, 80]], 20, [90, 90], [0, 126.869897646],
        [20, 20], [80, 40, 80], 262.831853072,
    ),
    "X2": Worked(
        [[0, 0, 0], [300, 0, 0], [300, 200, 0], [300, 300, -173.205080757]], 60, [90, 60], [0, -90],
        [60, 34.641016], [240, 105.358984, 165.358984], 667.797600377,
    ),
    "X3, a U": Worked(
        [[0, 0, 0], [200, 0, 0], [200, 150, 0], [0, 150, 0]], 40, [90, 90], [0, 0],
        [40, 40], [160, 70, 160], 515.663706144,
    ),
    "X4, a Z": Worked(
        [[0, 0, 0], [200, 0, 0], [200, 150, 0], [400, 150, 0]], 40, [90, 90], [0, 180],
        [40, 40], [160, 70, 160], 515.663706144,
    ),
    "X5": Worked(
        [[0, 0, 0], [120, 0, 0], [220, 100, 0], [220, 250, 0], [220, 250, 140], [100, 370, 140], [100, 370, 300]], 30,
        [45, 45, 90, 90, 90], [0, 0, 90, -135, 180], [12.426407, 12.426407, 30, 30, 30],
        [107.573593, 116.568542, 107.573593, 80, 109.705627, 130], 839.916915453,
    ),
    "X6": Worked(
        [[0, 0, 0], [150, 0, 0], [250, 100, 0]], 50, [45], [0], [20.710678], [129.289322, 120.710678], 289.269908170,
    ),
    "X7, in inches": Worked(
        [[0, 0, 0], inches(10, 0, 0), inches(14, 3, 0), inches(24, 3, 0)], 2 * INCH, [36.869897646] * 2, [0, 180],
        inches(0.666667, 0.666667), inches(9.333333, 3.666667, 9.333333), 24.907337769 * INCH,
    ),
}  # fmt: skip


def made(worked: Worked) -> Part:
    """Return the worked part, read from its vertices."""
    tube = {"outside_diameter": 12.7, "wall": 0.889, "material": "304"}
    shape = {"bend_radius": worked.radius, "xyz": worked.points}
    return part_from_data({"name": "worked", "units": "mm", "tube": tube, "shape": shape})


@pytest.fixture(params=list(WORKED))
def worked(request: pytest.FixtureRequest) -> Worked:
    return WORKED[request.param]


def test_worked_parts_have_the_published_rows_and_lengths(worked: Worked) -> None:
    part = made(worked)
    assert np.rad2deg(part.angles) == pytest.approx(worked.angles, abs=1e-8)
    assert np.rad2deg(part.rotations) == pytest.approx(worked.rotations, abs=1e-8)
    assert part.straights == pytest.approx(worked.straights, abs=1.5e-5)
    assert part.radii * np.tan(part.angles / 2) == pytest.approx(worked.tangents, abs=1.5e-5)
    assert part.developed_length == pytest.approx(worked.length, abs=1e-7)


def test_worked_parts_rebuild_to_their_very_points(worked: Worked) -> None:
    assert made(worked).vertices() == pytest.approx(np.array(worked.points), abs=1e-6)


@pytest.mark.parametrize(("name", "error"), [("X1", 160.0), ("X2", 346.4101615), ("X5", 600.0)])
def test_a_rotation_of_the_wrong_sign_misses_the_worked_part(name: str, error: float) -> None:
    """Only these three show the sign: the others have rotations of 0 and 180 alone."""
    worked = WORKED[name]
    wrong = made(worked).mirrored().vertices() - np.array(worked.points)
    assert np.linalg.norm(wrong, axis=1).max() == pytest.approx(error, abs=1e-3)


def test_the_right_hand_rule_of_a_torsion_angle_by_hand() -> None:
    """A (1,0,0) B (0,0,0) C (0,0,1) D (0,1,1) is +90° and D (0,-1,1) -90°: IUPAC Gold Book T06406, by five libraries."""
    for y, wanted in ((1.0, 90.0), (-1.0, -90.0)):
        points = 1000 * np.array([[1.0, 0, 0], [0, 0, 0], [0, 0, 1], [0, y, 1]])
        _, rotations, _ = lra_from_vertices(points, np.array([10.0, 10.0]))
        assert math.degrees(rotations[1]) == pytest.approx(wanted, abs=1e-9)


@given(parts(largest_angle=170.0, least_angle=5.0))
def test_rotations_are_the_torsion_angles_of_the_vertices(part: Part) -> None:
    """gemmi.calculate_dihedral: double precision, IUPAC sign."""
    positions = [gemmi.Position(*vertex) for vertex in part.vertices()]
    for k in range(1, part.n_bends):
        oracle = gemmi.calculate_dihedral(*positions[k - 1 : k + 3])
        assert math.remainder(oracle - part.rotations[k], 2 * math.pi) == pytest.approx(0.0, abs=1e-6)


def rebuilt_by_rotations(part: Part) -> Array:
    """Tangent points and end, by scipy's Rotation only: screw after screw about axes carried along with the tube."""
    frame, point = Rotation.identity(), np.zeros(3)
    points = [point]
    for k in range(part.n_bends):
        point = point + frame.apply([part.straights[k], 0, 0])
        points.append(point)
        frame = frame * Rotation.from_rotvec([part.rotations[k], 0, 0])
        centre = point + frame.apply([0, part.radii[k], 0])
        bend = Rotation.from_rotvec(frame.apply([0, 0, part.angles[k]]))
        point = centre + bend.apply(point - centre)
        points.append(point)
        frame = bend * frame
    points.append(point + frame.apply([part.straights[-1], 0, 0]))
    return np.array(points)


@given(parts(largest_angle=359.0))
def test_the_centreline_is_the_one_that_rigid_motions_build(part: Part) -> None:
    line = centreline(part.straights, part.rotations, part.angles, part.radii)
    assert np.allclose(line.points, rebuilt_by_rotations(part), atol=1e-7)


@given(parts(largest_angle=359.0))
def test_frames_along_the_centreline_are_unit_and_square(part: Part) -> None:
    line = centreline(part.straights, part.rotations, part.angles, part.radii)
    assert np.allclose(np.linalg.norm(line.along, axis=1), 1.0)
    assert np.allclose(np.linalg.norm(line.inward, axis=1), 1.0)
    assert np.allclose(np.einsum("ij,ij->i", line.along, line.inward), 0.0, atol=1e-12)
    radii = np.linalg.norm(line.points[1:-1:2] - line.arc_centres, axis=1)
    assert np.allclose(radii, part.radii)
    assert np.allclose(np.linalg.norm(line.points[2::2] - line.arc_centres, axis=1), part.radii)


def test_the_navys_pipe_length_problem() -> None:
    """Legs of 48 and 72 in, one bend of 90° on 18 in: 112.26 in, with 1.57 for π/2.

    US Navy NAVEDTRA 14119 (Hull Maintenance Technician), Pipe Length Problems. Exact: 112.274333882 in.
    """
    tube = {"outside_diameter": 2.375, "wall": 0.154, "material": "steel"}
    shape = {"bend_radius": 18, "xyz": [[0, 0, 0], [48, 0, 0], [48, 72, 0]]}
    part = part_from_data({"name": "N1", "units": "in", "tube": tube, "shape": shape})
    assert part.straights / INCH == pytest.approx([30.0, 54.0], abs=1e-9)
    assert part.developed_length / INCH == pytest.approx(112.26, abs=0.02)
    assert part.developed_length / INCH == pytest.approx(112.274333882, abs=1e-8)


@pytest.mark.parametrize(
    ("angle", "tangent"),
    [(30, 0.267949192), (45, 0.414213562), (60, 0.577350269), (90, 1.0), (120, 1.732050808), (150, 3.732050808),
     (170, 11.430052303)],
)  # fmt: skip
def test_tangent_lengths_are_those_of_trigonometry(angle: float, tangent: float) -> None:
    """T/R = tan(A/2), tabulated."""
    radius, leg = 50.0, 1000.0
    turned = math.radians(angle)
    points = np.array([[0, 0, 0], [leg, 0, 0], [leg + leg * math.cos(turned), leg * math.sin(turned), 0]])
    straights, _, angles = lra_from_vertices(points, np.array([radius]))
    assert (leg - straights) / radius == pytest.approx([tangent] * 2, abs=1e-8)
    assert angles[0] == pytest.approx(turned, abs=1e-12)
