"""The ways to write one part down, all read as the same part."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from planner.inputs.files import load_part, part_from_data
from planner.inputs.part import Part
from tests.inputs.parts import RAIL, of_shape, rail

LRA = [[250, 0, 90], [180, -90, 45], [300]]
WANTED = of_shape(bend_radius=76.2, lra=LRA)


def shape_equal(one: Part, other: Part, slack: float = 1e-8) -> bool:
    names = ("straights", "rotations", "angles", "radii")
    return all(np.allclose(getattr(one, name), getattr(other, name), atol=slack, rtol=0) for name in names)


def test_radii_may_stand_in_the_shape_in_a_list_or_in_the_rows() -> None:
    assert of_shape(bend_radii=[76.2, 76.2], lra=LRA) == WANTED
    assert of_shape(lra=[[*LRA[0], 76.2], [*LRA[1], 76.2], LRA[2]]) == WANTED
    mixed = of_shape(bend_radius=76.2, lra=[LRA[0], [*LRA[1], 114.3], LRA[2]])
    assert mixed.radii.tolist() == [76.2, 114.3]


def test_vertices_give_the_same_part_as_lra() -> None:
    vertices = WANTED.vertices().tolist()
    assert shape_equal(of_shape(bend_radius=76.2, xyz=vertices), WANTED)
    with_radii = [vertices[0], *([*vertex, 76.2] for vertex in vertices[1:-1]), vertices[-1]]
    assert shape_equal(of_shape(xyz=with_radii), WANTED)
    assert shape_equal(of_shape(bend_radii=[76.2, 76.2], xyz=vertices), WANTED)


def test_inches_are_25_4_mm(tmp_path: Path) -> None:
    path = tmp_path / "part.toml"
    path.write_text(
        'name = "r"\nunits = "in"\n[tube]\noutside_diameter = 1.5\ngauge = "16 BWG"\nmaterial = "304"\n'
        "[shape]\nbend_radius = 3\nlra = [[10, 0, 90], [7.5, -90, 45], [12]]\n[ends]\ntrim_a = 6\n",
        encoding="utf-8",
    )
    part = load_part(path)
    assert (part.outside_diameter, part.wall, part.trim_a) == (38.1, 1.651, 152.4)
    assert part.straights.tolist() == [254.0, 190.5, 304.8]
    assert part.radii.tolist() == [76.2, 76.2]
    assert np.rad2deg(part.angles).tolist() == [90.0, 45.0]
    assert part.source == str(path)
    assert part_from_data(part.normalised()) == part


def test_json_with_the_same_keys_is_the_same_part(tmp_path: Path) -> None:
    path = tmp_path / "part.json"
    path.write_text(json.dumps(RAIL), encoding="utf-8")
    assert load_part(path) == WANTED


@pytest.mark.parametrize(
    "table",
    [
        "straight,rotation,angle\n250,0,90\n180,-90,45\n300,,\n",
        "straight,rotation,angle\r\n250,0,90\r\n180,-90,45\r\n300\r\n",
        "\ufeffRadius, Angle ,straight,rotation\n76.2,90,250,0\n\n76.2,45,180,-90\n,,300,\n",
    ],
)
def test_a_csv_of_lra_is_the_same_part(tmp_path: Path, table: str) -> None:
    (tmp_path / "rail.csv").write_bytes(table.encode())
    document = rail(bend_radius=76.2, file="rail.csv")
    path = tmp_path / "part.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    assert load_part(path) == WANTED


def test_a_csv_of_vertices_is_the_same_part(tmp_path: Path) -> None:
    vertices = WANTED.vertices()
    rows = [",".join(repr(float(value)) for value in row) for row in vertices]
    (tmp_path / "rail.csv").write_text("x,y,z,radius\n" + "\n".join(
        row + ("," if i in (0, len(rows) - 1) else ",76.2") for i, row in enumerate(rows)), encoding="utf-8")  # fmt: skip
    path = tmp_path / "part.json"
    path.write_text(json.dumps(rail(file="rail.csv")), encoding="utf-8")
    assert shape_equal(load_part(path), WANTED)


def test_the_files_own_yield_strength_counts_before_the_table() -> None:
    document = rail()
    assert part_from_data(document).yield_strength == 205.0
    document["tube"]["yield_strength"] = 290
    assert part_from_data(document).yield_strength == 290.0
    document["tube"] = {**RAIL["tube"], "material": "unobtainium"}
    assert part_from_data(document).yield_strength is None


def test_a_coil_of_more_than_180_degrees_can_be_written_as_lra() -> None:
    assert np.rad2deg(of_shape(bend_radius=76.2, lra=[[50, 0, 200], [60]]).angles).tolist() == pytest.approx([200.0])


def test_gauge_and_wall_may_both_stand_if_they_agree() -> None:
    document = rail()
    document["tube"]["gauge"] = "16 bwg"
    part = part_from_data(document)
    assert (part.wall, part.gauge) == (1.65, "16 bwg")
