"""The shape of a part on a page and as a document. Parts are invented."""

from __future__ import annotations

import json
import math
from io import StringIO

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from planner.inputs.part import Part
from planner.outputs.documents import as_json
from planner.outputs.shape_page import print_shape, rows_from_a, rows_from_b, shape_document
from planner.outputs.terminal import Page


def part(rotations: tuple[float, ...] = (0, 90, -30), angles: tuple[float, ...] = (90, 45, 60)) -> Part:
    """Return a frame tube of a cargo bike with these rotations and angles [deg]."""
    return Part(
        name="cargo bike frame tube",
        machine=None,
        outside_diameter=38.1,
        wall=1.65,
        gauge=None,
        material="mild steel",
        yield_strength=None,
        straights=np.array([250.0, 180.0, 210.0, 300.0]),
        rotations=np.radians(rotations),
        angles=np.radians(angles),
        radii=np.full(3, 76.2),
    )


def page(shown: Part, gap: float | None = 12.34) -> str:
    stream = StringIO()
    print_shape(shown, gap, Page(stream))
    return stream.getvalue()


def test_rows_from_a_are_the_drawings() -> None:
    assert rows_from_a(part()) == [[250, 0, 90], [180, 90, 45], [210, -30, 60], [300]]


def test_rows_from_b_keep_the_signs_of_the_rotations() -> None:
    """A right-hand screw is right-handed from either end, so nothing but the order changes."""
    assert rows_from_b(part()) == [[300, 0, 60], [210, -30, 45], [180, 90, 90], [250]]
    assert rows_from_b(part()) == rows_from_a(part().reversed())


def test_lengths_follow_pappus() -> None:
    """Pappus' theorem: a bend's volume is its section times the path of the centroid, CLR·A."""
    document = shape_document(part(), None)
    arcs = [76.2 * math.radians(angle) for angle in (90, 45, 60)]
    assert document["arcs"] == pytest.approx(arcs, abs=1e-6)
    assert document["developed_length"] == pytest.approx(250 + 180 + 210 + 300 + sum(arcs), abs=1e-6)
    assert document["bend_starts"] == pytest.approx([250, 430 + arcs[0], 640 + arcs[0] + arcs[1]], abs=1e-6)
    assert document["bend_ends"][2] == pytest.approx(document["developed_length"] - 300, abs=1e-6)


def test_bend_two_points_the_way_that_its_vertices_go() -> None:
    """Bend 1 of 90° turns +x into +y, so left is then -x; scipy turns that about +y."""
    for rotation, word in ((90.0, "points up"), (-90.0, "points down")):
        shown = part(rotations=(0, rotation, 0))
        inward = Rotation.from_rotvec([0.0, math.radians(rotation), 0.0]).apply([-1.0, 0.0, 0.0])
        height = shape_document(shown, None)["xyz"][3][2]
        assert math.copysign(1.0, height) == math.copysign(1.0, inward[2])
        assert ("up" in word) == (inward[2] > 0)
        assert f"bend 2 {word}" in " ".join(page(shown).split())


def test_a_bend_of_175_degrees_has_no_vertices_and_says_why() -> None:
    shown = part(angles=(90, 175, 60))
    document = shape_document(shown, None)
    assert document["xyz"] is None
    assert "bend 2" in document["no_xyz_because"]
    assert f"none: {document['no_xyz_because']}" in " ".join(page(shown).split())
    assert shape_document(part(), None)["no_xyz_because"] is None


def test_the_page_shows_both_tables_lengths_gap_and_hand() -> None:
    shown = page(part())
    words = " ".join(shown.split())
    for expected in (
        "Rows from end A",
        "Rows from end B",
        "tube 38.1 x 1.65 mm, mild steel, 3 bends",
        f"developed {940 + 76.2 * math.radians(195):.1f} mm",
        "itself 12.3 mm",
        "bend 2 points up",
        "bend 3 points down and left, 30.0",
        "end 300.0",
        "end B ",
    ):
        assert expected in words, expected
    assert max(len(line) for line in shown.splitlines()) <= 100


def test_bends_keep_their_numbers_seen_from_b() -> None:
    lines = page(part()).splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("Rows from end B"))
    assert [line.split()[0] for line in lines[start + 2 : start + 6]] == ["3", "2", "1", "end"]


def test_a_tube_that_does_not_come_back_to_itself_has_no_gap() -> None:
    assert shape_document(part(), None)["gap_to_itself"] is None
    assert "no part of the tube comes back to another" in page(part(), None)


def test_the_document_is_json_with_its_schema() -> None:
    document = json.loads(as_json(shape_document(part(), 3.0)))
    assert document["schema"] == "bendorder-shape/1"
    assert document["rotation_sign"] == "right-handed"
    assert document["lra_from_a"][1] == [180, 90, 45]


def test_a_left_handed_file_is_echoed() -> None:
    from dataclasses import replace

    shown = replace(part(), rotation_sign="left-handed")
    assert shape_document(shown, None)["file_rotation_sign"] == "left-handed"
    assert "The part's file counts left-handed" in " ".join(page(shown).split())
