"""Laws of every part: round trips, seen from the other end, in a mirror."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import InputError
from planner.inputs.centreline import Array, centreline, lra_from_vertices
from planner.inputs.documents import Document
from planner.inputs.files import part_from_data
from planner.inputs.part import Part
from planner.inputs.part_file import PartFile
from planner.inputs.shape import read_shape
from tests.inputs.parts import of_shape, parts


def reread(part: Part) -> Part:
    """Return the part of its own document, without the check of self-crossing, which random parts fail."""
    document = Document(part.normalised())
    file, shape = document.model(PartFile), read_shape(document, document.model(PartFile).shape, document.unit())
    return Part(
        file.name, file.machine, file.tube.outside_diameter, file.tube.wall or 0.0, file.tube.gauge,
        file.tube.material, file.tube.yield_strength, shape.straights, shape.rotations, shape.angles, shape.radii,
        file.ends.trim_a, file.ends.trim_b,
    )  # fmt: skip


def same_angle(one: Array, other: Array) -> bool:
    return bool(np.allclose(np.angle(np.exp(1j * (one - other))), 0.0, atol=1e-6))


def points_along(part: Part) -> Array:
    line = centreline(part.straights, part.rotations, part.angles, part.radii)
    return np.vstack((line.points, line.arc_centres))


def distances(points: Array) -> Array:
    return np.asarray(np.linalg.norm(points[:, None] - points[None, :], axis=2))


def signed_volumes(points: Array) -> Array:
    """Signed volumes of the tetrahedra of neighbouring points: they tell a shape from its mirror image."""
    a, b, c = (points[k + 1 : len(points) - 2 + k] - points[: len(points) - 3] for k in range(3))
    return np.asarray(np.einsum("ij,ij->i", np.cross(a, b), c))


@given(parts(largest_angle=359.0))
def test_a_part_written_out_reads_back_as_the_same_part(part: Part) -> None:
    assert reread(part) == part
    assert reread(part).normalised() == part.normalised()
    assert hash(reread(part)) == hash(part)


@given(parts())
def test_lra_to_vertices_and_back_is_the_same_shape(part: Part) -> None:
    straights, rotations, angles = lra_from_vertices(part.vertices(), part.radii)
    assert np.allclose(straights, part.straights, atol=1e-6)
    assert np.allclose(angles, part.angles, atol=1e-7)
    assert same_angle(rotations, part.rotations)


@given(parts(), st.lists(st.floats(-1.0, 1.0), min_size=4, max_size=4).filter(lambda q: np.linalg.norm(q) > 0.1))
def test_vertices_may_lie_any_way_round_in_space(part: Part, q: list[float]) -> None:
    w, x, y, z = np.array(q) / np.linalg.norm(q)
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    moved = part.vertices() @ turn.T + np.array([10.0, -2000.0, 333.0])
    straights, rotations, angles = lra_from_vertices(moved, part.radii)
    assert np.allclose(straights, part.straights, atol=1e-6)
    assert np.allclose(angles, part.angles, atol=1e-7)
    assert same_angle(rotations, part.rotations)


@given(parts(largest_angle=359.0))
def test_seen_from_the_other_end_it_is_the_same_shape_and_not_its_mirror_image(part: Part) -> None:
    other = part.reversed()
    ends = centreline(part.straights, part.rotations, part.angles, part.radii).points
    ends_reversed = centreline(other.straights, other.rotations, other.angles, other.radii).points[::-1]
    assert np.allclose(distances(ends), distances(ends_reversed), atol=1e-6)
    # In the same order again, the points are the same up to a proper rigid motion: every volume keeps its sign.
    forward, backward = signed_volumes(ends), signed_volumes(ends_reversed)
    assert np.allclose(forward, backward, atol=1e-3, rtol=1e-6)


@given(parts(largest_angle=359.0))
def test_reversing_twice_and_mirroring_twice_change_nothing(part: Part) -> None:
    assert part.reversed().reversed() == part
    assert part.mirrored().mirrored() == part
    assert part.reversed().mirrored() == part.mirrored().reversed()
    assert (part.reversed().trim_a, part.reversed().trim_b) == (part.trim_b, part.trim_a)


@given(parts(largest_angle=359.0))
def test_the_mirror_image_is_the_part_with_z_turned_round(part: Part) -> None:
    assert np.allclose(points_along(part.mirrored()), points_along(part) * [1.0, 1.0, -1.0], atol=1e-6)


@given(parts(largest_angle=359.0))
def test_stock_coordinates_add_up_to_the_developed_length(part: Part) -> None:
    assert np.allclose(part.bend_ends - part.bend_starts, part.radii * part.angles)
    assert part.bend_starts[0] == part.straights[0]
    assert np.allclose(part.bend_starts[1:] - part.bend_ends[:-1], part.straights[1:-1], atol=1e-9)
    assert part.developed_length == pytest.approx(part.bend_ends[-1] + part.straights[-1], abs=1e-9)
    assert part.reversed().developed_length == pytest.approx(part.developed_length, abs=1e-9)
    mirror_starts = part.developed_length - part.bend_ends[::-1]
    assert np.allclose(part.reversed().bend_starts, mirror_starts, atol=1e-8)


def test_a_left_handed_table_is_the_mirror_image_of_the_right_handed_one() -> None:
    rows = [[250, 0, 90], [180, -90, 45], [120, 30, 60], [300]]
    right = of_shape(bend_radius=76.2, lra=rows)
    left = of_shape(bend_radius=76.2, lra=rows, rotation_sign="left-handed")
    assert left == right.mirrored()
    assert left.rotation_sign == "left-handed"
    assert part_from_data(left.normalised()) == left


def test_rotations_a_whole_turn_apart_are_the_same_part() -> None:
    one = of_shape(bend_radius=76.2, lra=[[250, 0, 90], [180, 270, 45], [300]])
    assert one == of_shape(bend_radius=76.2, lra=[[250, 0, 90], [180, -90, 45], [300]])
    s_bend = of_shape(bend_radius=76.2, lra=[[250, 0, 90], [180, -180, 45], [300]])
    assert s_bend == s_bend.mirrored()


def test_a_part_cannot_be_changed() -> None:
    part = of_shape(bend_radius=76.2, lra=[[250, 0, 90], [300]])
    for array in (part.straights, part.rotations, part.angles, part.radii, part.arc_lengths, part.bend_starts):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_vertices_refuse_a_bend_of_175_degrees() -> None:
    with pytest.raises(InputError, match="give it as LRA") as caught:
        of_shape(bend_radius=76.2, lra=[[250, 0, 175], [300]]).vertices()
    assert caught.value.found == pytest.approx(175.0)
    assert len(of_shape(bend_radius=76.2, lra=[[250, 0, 174.9], [300]]).vertices()) == 3
