"""Every part file that cannot be used ends in one error that names file, line, key, what was found and what is allowed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from planner.errors import InputError, SelfCrossing, UnreadableFile
from planner.inputs.files import load_part

GOOD = """\
name = "rail"
units = "mm"
[tube]
outside_diameter = 38.1
wall = 1.65
material = "stainless 304"
[shape]
bend_radius = 76.2
lra = [
  [250, 0, 90],
  [180, -90, 45],
  [300],
]
[ends]
trim_a = 150
"""

XYZ = GOOD[: GOOD.index("lra")] + "xyz = [\n  [0, 0, 0],\n  [300, 0, 0],\n  [300, 400, 0],\n  [300, 400, 500],\n]\n"


def refused(folder: Path, text: str, name: str = "part.toml") -> InputError:
    """Return the error of a part file with this text."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    before = sorted(folder.iterdir())
    with pytest.raises(InputError) as caught:
        load_part(path)
    assert sorted(folder.iterdir()) == before  # nothing is written
    error = caught.value
    json.dumps(error.as_dict(), allow_nan=False)
    assert error.file is not None
    assert error.file in str(error)
    assert error.allowed
    if error.line is not None:
        assert f"line {error.line}" in str(error)
    if error.key is not None:
        assert error.key in str(error)
    return error


SPOILED = [
    # what is replaced, by what, line, key, found, words of the sentence
    ('name = "rail"\n', "", None, "name", None, "missing"),
    ('units = "mm"', 'units = "cm"', 2, "units", "cm", '"mm" or "in"'),
    ('units = "mm"\n', "", None, "units", None, '"mm" or "in"'),
    ("wall = 1.65", "wal = 1.65", 5, "tube.wal", "wal", 'did you mean "wall"'),
    ("wall = 1.65\n", "", 3, "tube.wall", None, "missing"),
    ("wall = 1.65", "wall = 19.05", 5, "tube.wall", 19.05, "less than the tube's radius, 19.05 mm"),
    ("wall = 1.65", "wall = -1.65", 5, "tube.wall", -1.65, "more than 0"),
    ("wall = 1.65", 'wall = "1.65"', 5, "tube.wall", "1.65", "a number"),
    ("wall = 1.65", "wall = true", 5, "tube.wall", True, "a number"),
    ("wall = 1.65", 'gauge = "16 ga"', 5, "tube.gauge", "16 ga", "7 BWG"),
    ("wall = 1.65", 'gauge = "16.5 BWG"', 5, "tube.gauge", "16.5 BWG", "22 BWG"),
    ("wall = 1.65", 'gauge = "6 BWG"', 5, "tube.gauge", "6 BWG", "7 BWG"),
    ("wall = 1.65", 'gauge = "18 BWG"\nwall = 1.65', 6, "tube.wall", 1.65, "1.2446 mm"),
    ("outside_diameter = 38.1", "outside_diameter = nan", 4, "tube.outside_diameter", "nan", "a number"),
    ("outside_diameter = 38.1", "outside_diameter = inf", 4, "tube.outside_diameter", "inf", "a number"),
    ("outside_diameter = 38.1", "outside_diameter = 0", 4, "tube.outside_diameter", 0, "more than 0"),
    ("outside_diameter = 38.1", f"outside_diameter = {10**400}", 4, "tube.outside_diameter", 10**400, "too large"),
    ("outside_diameter = 38.1", "outside_diameter = 1e9", 4, "tube.outside_diameter", 1e9, "too large"),
    ('material = "stainless 304"', "material = 304", 6, "tube.material", 304, "text in quotes"),
    ('material = "stainless 304"', 'material = ""', 6, "tube.material", "", "cannot stand here"),
    ("[tube]", "[tubing]", 3, "tubing", "tubing", 'did you mean "tube"'),
    ("bend_radius = 76.2", "bend_radius = 19", 8, "shape.bend_radius", 19.0, "more than the tube's radius"),
    ("bend_radius = 76.2", "bend_radius = -76.2", 8, "shape.bend_radius", -76.2, "more than 0"),
    ("bend_radius = 76.2\n", "", 7, "shape.bend_radius", None, "bend 1 has no radius"),
    ("bend_radius = 76.2", "bend_radii = [76.2]", 8, "shape.bend_radii", 1, "1 radii for 2 bends"),
    ("bend_radius = 76.2", "bend_radii = [76.2, 10]", 8, "shape.bend_radii[2]", 10.0, "bend 2"),
    ("bend_radius = 76.2", "bend_radius = 76.2\nbend_radii = [76.2, 76.2]", 9, "shape.bend_radii", None, "both"),
    ("bend_radius = 76.2", 'rotation_sign = "left"', 8, "shape.rotation_sign", "left", '"left-handed"'),
    ("bend_radius = 76.2", "between_bends = 3", 8, "shape.between_bends", "between_bends", "reserved, not read yet"),
    ("[250, 0, 90]", "[-250, 0, 90]", 10, "shape.lra[1]", -250, "0 or more"),
    ("[250, 0, 90]", "[250, 15, 90]", 10, "shape.lra[1]", 15.0, "0 in the first row"),
    ("[180, -90, 45]", "[180, -90, 0]", 11, "shape.lra[2]", 0, "more than 0"),
    ("[180, -90, 45]", "[180, -90, 361]", 11, "shape.lra[2]", 361.0, "0.01° to 360°"),
    ("[180, -90, 45]", "[180, -90, 0.001]", 11, "shape.lra[2]", 0.001, "0.01° to 360°"),
    ("[180, -90, 45]", "[180, -90, 0.009999999]", 11, "shape.lra[2]", 0.009999999, "0.01° to 360°"),
    ("[180, -90, 45]", "[180, -90, 360.000000001]", 11, "shape.lra[2]", 360.000000001, "0.01° to 360°"),
    ("[180, -90, 45]", "[180, 361, 45]", 11, "shape.lra[2]", 361, "-360 to 360"),
    ("[180, -90, 45]", "[180, nan, 45]", 11, "shape.lra[2][2]", "nan", "a number"),
    ("[180, -90, 45]", '[180, "-90", 45]', 11, "shape.lra[2][2]", "-90", "a number"),
    ("[180, -90, 45]", "[180, -90]", 11, "shape.lra[2]", [180.0, -90.0], "straight, rotation, angle"),
    ("[180, -90, 45]", "[180, -90, 45, 19]", 11, "shape.lra[2]", 19.0, "bend 2 has a radius of 19 mm"),
    ("[300]", "[300, 0]", 12, "shape.lra[3]", [300.0, 0.0], "the end straight alone"),
    ("[300]", "[-1]", 12, "shape.lra[3]", -1, "0 or more"),
    ("[300]", "300", 12, "shape.lra[3]", 300, "a list in brackets"),
    ("lra = [\n", "xyz = [[0,0,0], [9,9,9], [0,9,0]]\nlra = [\n", 9, "shape.xyz", ["lra", "xyz"], "both lra and xyz"),
    (GOOD[GOOD.index("lra") : GOOD.index("[ends]")], "", 7, "shape", [], "none of lra, xyz and file"),
    ("  [250, 0, 90],\n  [180, -90, 45],\n", "", 9, "shape.lra", 0, "no bends"),
    ("  [180, -90, 45],\n", "  [180, -90, 45],\n" * 60, 9, "shape.lra", 61, "1 to 60 bends"),
    ("trim_a = 150", "trim_a = -1", 15, "ends.trim_a", -1, "0 or more"),
    ("trim_a = 150", "trim_c = 1", 15, "ends.trim_c", "trim_c", 'did you mean "trim_'),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "key", "found", "words"), SPOILED)
def test_a_spoiled_part_names_line_key_and_what_was_found(
    tmp_path: Path, old: str, new: str, line: int | None, key: str, found: object, words: str
) -> None:
    assert old in GOOD
    error = refused(tmp_path, GOOD.replace(old, new, 1))
    assert (error.line, error.key) == (line, key)
    assert error.as_dict()["found"] == found
    assert words in str(error)
    row = re.match(r"shape\.lra\[(\d+)\]", key)
    assert error.row == (None if row is None else int(row[1])), "as a number, so that nobody reads it out of the key"


@pytest.mark.parametrize(
    ("old", "new", "row", "cell"),
    [
        ("[180, -90, 45]", "[-180, -90, 45]", 2, "straight"), ("[180, -90, 45]", "[180, 361, 45]", 2, "rotation"),
        ("[250, 0, 90]", "[250, 1, 90]", 1, "rotation"), ("[180, -90, 45]", "[180, -90, 0]", 2, "angle"),
        ("[180, -90, 45]", "[180, -90, 361]", 2, "angle"), ("[180, -90, 45]", "[180, -90, 45, 19]", 2, "radius"),
        ("[180, -90, 45]", "[180, -90, 45, 0]", 2, "radius"), ("[300]", "[-1]", 3, "straight"),
        ("[180, -90, 45]", "[180, -90]", 2, None), ("bend_radius = 76.2", "bend_radius = 3", None, "radius"),
    ],
)  # fmt: skip
def test_a_spoiled_cell_is_named_by_its_row_and_column(
    tmp_path: Path, old: str, new: str, row: int | None, cell: str | None
) -> None:
    assert old in GOOD
    error = refused(tmp_path, GOOD.replace(old, new, 1))
    assert (error.row, error.cell) == (row, cell)
    assert error.as_dict() | {"row": row, "cell": cell} == error.as_dict()


def test_the_unspoiled_part_is_read(tmp_path: Path) -> None:
    path = tmp_path / "part.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert load_part(path).n_bends == 2
    path.write_text(XYZ, encoding="utf-8")
    assert load_part(path).n_bends == 2


# The tangents by hand: 76.2 mm · tan(45°) = 76.2 mm, and 76.2 mm · tan(atan(500/300)/2) = 43.14 mm.
SPOILED_XYZ = [
    ("[0, 0, 0]", "[224, 0, 0]", 11, "shape.xyz[2]", "too short by 0.2 mm"),
    ("[300, 400, 0]", "[300, 100, 0]", 12, "shape.xyz[3]", "too short by 19.34 mm"),
    ("[300, 400, 500]", "[300, 400, 10]", 13, "shape.xyz[4]", "too short by 66.2 mm"),
    ("[300, 400, 0]", "[700, 0, 0]", 11, "shape.xyz[2]", "in a line"),
    ("[300, 400, 0]", "[100, 1, 0]", 11, "shape.xyz[2]", "give it as LRA"),
    ("[300, 400, 0]", "[300, 0, 0]", 12, "shape.xyz[3]", "lies on the one before"),
    ("[300, 0, 0]", "[300, 0]", 11, "shape.xyz[2]", "2 numbers"),
    ("[0, 0, 0]", "[0, 0, 0, 76.2]", 10, "shape.xyz[1]", "no bend radius"),
    ("[300, 0, 0]", "[300, 0, 0, 18]", 11, "shape.xyz[2]", "bend 1 has a radius of 18 mm"),
    ("  [300, 0, 0],\n  [300, 400, 0],\n", "", 9, "shape.xyz", "no bends"),
    ("bend_radius", 'rotation_sign = "left-handed"\nbend_radius', 8, "shape.rotation_sign", "only with lra"),
]


@pytest.mark.parametrize(("old", "new", "line", "key", "words"), SPOILED_XYZ)
def test_spoiled_vertices_name_their_row(tmp_path: Path, old: str, new: str, line: int, key: str, words: str) -> None:
    assert old in XYZ
    error = refused(tmp_path, XYZ.replace(old, new, 1))
    assert (error.line, error.key) == (line, key)
    assert words in str(error)


def test_a_missing_file_is_named_and_its_neighbour_suggested(tmp_path: Path) -> None:
    (tmp_path / "rail.toml").write_text(GOOD, encoding="utf-8")
    with pytest.raises(UnreadableFile, match="no such file") as caught:
        load_part(tmp_path / "rial.toml")
    assert caught.value.suggestion == str(tmp_path / "rail.toml")


def test_bad_toml_and_bad_json_carry_line_and_column(tmp_path: Path) -> None:
    error = refused(tmp_path, GOOD.replace("wall = 1.65", "wall = = 1.65"))
    assert isinstance(error, UnreadableFile)
    assert (error.line, error.column) == (5, 8)
    error = refused(tmp_path, '{"name": "rail",\n "units" "mm"}', "part.json")
    assert (error.line, error.column) == (2, 10)
    error = refused(tmp_path, GOOD + "lra = [[1", "part.toml")
    assert error.line == GOOD.count("\n") + 1


def test_files_that_are_no_part_at_all_are_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, GOOD, "part.txt").found == ".txt"
    assert "no table" in str(refused(tmp_path, "[1, 2]", "part.json"))
    assert "twice" in str(refused(tmp_path, '{"name": "a", "name": "b"}', "part.json"))
    assert "too deep" in str(refused(tmp_path, "[" * 100_000, "part.json"))
    (tmp_path / "latin.toml").write_bytes('name = "größe"'.encode("latin-1"))
    with pytest.raises(UnreadableFile, match="UTF-8"):
        load_part(tmp_path / "latin.toml")
    with pytest.raises(UnreadableFile, match="cannot be read"):
        load_part(tmp_path)


def test_nan_in_json_is_refused_with_its_line(tmp_path: Path) -> None:
    text = json.dumps({"name": "r", "units": "mm", "tube": {"outside_diameter": 1, "wall": float("nan")}}, indent=1)
    error = refused(tmp_path, text, "part.json")
    assert (error.line, error.key) == (6, "tube.wall")


def test_a_tube_that_runs_through_itself_is_refused_with_where(tmp_path: Path) -> None:
    loop = GOOD.replace("[180, -90, 45]", "[50, 0, 90],\n[50, 0, 90]")
    error = refused(tmp_path, loop)
    assert isinstance(error, SelfCrossing)
    assert (error.first, error.second) == ("straight 0", "straight 3")
    # By hand: straight 3 starts at x = 250 - 50 (a U of two 90° bends and 50 mm, then a third) and runs down across y = 0.
    assert error.where == pytest.approx((250 + 76.2 - 2 * 76.2 - 50, 0.0, 0.0), abs=1e-6)
    assert error.depth == pytest.approx(38.1, abs=0.01)
    assert (error.line, error.key) == (9, "shape.lra")


CSV_PART = GOOD[: GOOD.index("lra")] + 'file = "rail.csv"\n'


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("straight,rotation,angle\n250,0,90\n180,-90,x\n300,,\n", 3, 'column angle'),
        ("straight,rotation,angle\n250,0,90\n180,,45\n300,,\n", 3, "the cell is empty"),
        ("straight,rotation,angle\n250,0,90\n\n180,-90,-45\n300,,\n", 4, "not positive"),
        ("straight,rotation,angle\n250,0,90\n180,-90,45,76.2\n300,,\n", 3, "more cells than columns"),
        ("straight;rotation;angle\n250;0;90\n300;;\n", 1, "the header is"),
        ("straight,rotaton,angle\n250,0,90\n300,,\n", 1, 'did you mean "rotation"'),
        ("straight,rotation,angle\n300,,\n", 1, "no bends"),
        ("x,y,z\n0,0,0\n100,0,0\n100,100,0\n100,100,300\n", 4, "too short"),
        ("x,y,z\n0,0,0\n300,0,nan\n300,300,0\n", 3, "no number to work with"),
        ("", 1, "the header is"),
        ('x,y,z\n"0,0,0\n', 2, "no CSV"),
    ],
)  # fmt: skip
def test_a_spoiled_csv_names_its_own_file_and_line(tmp_path: Path, text: str, line: int, words: str) -> None:
    (tmp_path / "rail.csv").write_text(text, encoding="utf-8")
    error = refused(tmp_path, CSV_PART)
    assert error.file == str(tmp_path / "rail.csv")
    assert error.line == line
    assert words in str(error)


def test_a_missing_csv_is_named(tmp_path: Path) -> None:
    error = refused(tmp_path, CSV_PART)
    assert (error.key, error.found) == ("shape.file", "rail.csv")
    assert error.line is not None
    assert str(tmp_path / "rail.csv") in str(error)
