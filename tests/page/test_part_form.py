"""The part as it is typed: what is typed is the part, and every slip stands at its cell."""

from __future__ import annotations

import copy
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from planner.errors import InputError
from planner.inputs.documents import read_document
from planner.inputs.files import load_part, part_from_data
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.page.part_form import COLUMNS, PartForm
from planner.page.slips import Slip
from tests.inputs.parts import parts

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.toml"))


def rail(**changes: Any) -> PartForm:
    """A form of two bends on which nothing is wrong."""
    rows = [["250", "0", "90", ""], ["180", "-90", "45", ""], ["300", "", "", ""]]
    form = PartForm(
        "ladder rail", outside_diameter="38.1", wall="1.65", material="stainless 304", bend_radius="76.2", rows=rows
    )
    return replace(copy.deepcopy(form), **changes)


def with_cell(row: int, column: int, text: str, **changes: Any) -> PartForm:
    form = rail(**changes)
    form.rows[row][column] = text
    return form


def uncrossed(part: Part) -> bool:
    return self_gap(part).reached >= 0.0


def only(form: PartForm) -> Slip:
    """The one slip of a form."""
    read = form.read()
    assert read.part is None
    assert len(read.slips) == 1, read.slips
    return read.slips[0]


def by_stem(path: Path) -> str:
    return path.stem


# The part -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", EXAMPLES, ids=by_stem)
def test_the_form_of_every_example_reads_as_its_part_in_mm_and_in_inches(path: Path) -> None:
    part, document = load_part(path), read_document(path, "the part file")
    form = PartForm.of(document.data, document.file)
    assert form.read().part == part
    assert part_from_data(form.read().document or {}) == part
    assert PartForm.of(part).read().part == part
    for one in (form, PartForm.of(part)):
        other, slips = one.in_units("in" if one.units == "mm" else "mm")
        assert slips == ()
        assert other.units != one.units
        assert other.read().part == part
        assert other.in_units(one.units) == (one, ())


@given(parts(largest_angle=300.0))
def test_the_form_of_any_part_reads_as_that_part_in_mm_and_in_inches(part: Part) -> None:
    assume(uncrossed(part))
    form = PartForm.of(part)
    assert form.read().part == part
    assert PartForm.of(form.read().document or {}) == form
    inches, slips = form.in_units("in")
    assert slips == ()
    assert inches.read().part == part
    assert inches.in_units("mm") == (form, ())


def test_a_document_that_is_no_part_is_refused_as_the_planner_does() -> None:
    with pytest.raises(InputError) as caught:
        PartForm.of({"name": "rail", "units": "mm"})
    assert caught.value.key == "tube"


def test_radii_of_a_document_come_to_their_rows() -> None:
    document = rail().read().document or {}
    document["shape"] = {"bend_radii": [76.2, 114.3], "lra": document["shape"]["lra"]}
    form = PartForm.of(document)
    assert (form.bend_radius, [row[3] for row in form.rows]) == ("", ["76.2", "114.3", ""])
    assert form.read().part == part_from_data(document)


def test_empty_rows_at_the_end_are_ignored_and_short_rows_too_are_read() -> None:
    form = rail(rows=[["250", "0", "90"], ["180", "-90", "45"], ["300"], [], ["", " ", "", ""]])
    assert form.read().part == rail().read().part
    assert form.read().slips == ()


def test_what_can_be_told_of_a_typed_number_is_taken() -> None:
    form = rail(rows=[["250 mm", "0°", "90°"], ["180,0", "−90", "45"], ["\u00a0300"]])
    assert form.read().part == rail().read().part


# Slips --------------------------------------------------------------------------------------------------------------


def test_every_cell_that_is_no_number_is_told_at_once() -> None:
    form = with_cell(0, 2, "9O", wall="thin", trim_a="1,000")
    form.rows[1][0], form.rows[2][0], form.rows[1][3] = "1,234", "nan", "3 in"
    slips = form.read().slips
    assert [(slip.key, slip.row, slip.column, slip.found) for slip in slips] == [
        ("wall", None, None, "thin"), ("trim_a", None, None, "1,000"), ("angle", 0, 2, "9O"),
        ("straight", 1, 0, "1,234"), ("radius", 1, 3, "3 in"), ("straight", 2, 0, "nan"),
    ]  # fmt: skip
    assert all(slip.allowed and slip.found in slip.message for slip in slips)
    assert slips[4].suggestion == "76.2"
    assert slips[3].message.startswith("Row 2, straight: ")
    assert slips[0].message.startswith("Wall: ")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("NaN", "no number to work with"), ("inf", "no number to work with"), ("-inf", "no number to work with"), ("1e999", "too large"),
        ("1,234", "1.234 or 1234"), ("45 in", "in inches; this cell has"), ("4 5", "thousands|more than one"), ("1/2", "fraction"),
    ],
)  # fmt: skip
def test_a_text_that_is_no_number_is_told_in_every_cell_that_has_one(text: str, words: str) -> None:
    form = rail(
        outside_diameter=text, wall=text, yield_strength=text, bend_radius=text, trim_a=text, trim_b=text,
        rows=[[text] * 4, ["180", "-90", "45", ""], [text, "", "", ""]],
    )  # fmt: skip
    slips = form.read().slips
    fields = {"outside_diameter", "wall", "yield_strength", "bend_radius", "trim_a", "trim_b"}
    assert {slip.key for slip in slips if slip.row is None} == fields
    assert [(slip.row, slip.column, slip.key) for slip in slips if slip.row is not None] == [
        (0, 0, "straight"), (0, 1, "rotation"), (0, 2, "angle"), (0, 3, "radius"), (2, 0, "straight"),
    ]  # fmt: skip
    assert all(re.search(words, slip.problem) and slip.found == text and slip.allowed for slip in slips)


@pytest.mark.parametrize(
    ("form", "key", "row", "column", "words"),
    [
        (rail(name=" "), "name", None, None, "missing"),
        (rail(material=""), "material", None, None, "missing"),
        (rail(outside_diameter=""), "outside_diameter", None, None, "missing"),
        (rail(wall=""), "wall", None, None, "the wall is missing"),
        (rail(bend_radius=""), "bend_radius", None, None, "missing"),
        (rail(rows=[]), "rows", None, None, "the table is empty"),
        (rail(rows=[["300", "", "", ""]]), "rows", None, None, "no bends"),
        (rail(gauge="16 gauge"), "gauge", None, None, "no gauge"),
        (rail(gauge="14 BWG"), "wall", None, None, "the wall is 1.65 mm"),
        (rail(wall="30"), "wall", None, None, "no bore"),
        (rail(wall="-1"), "wall", None, None, "not positive"),
        (rail(outside_diameter="0"), "outside_diameter", None, None, "not positive"),
        (rail(trim_b="-3"), "trim_b", None, None, "negative"),
        (rail(yield_strength="0"), "yield_strength", None, None, "not positive"),
        (rail(name="n" * 201), "name", None, None, "200 characters"),
        (rail(bend_radius="12"), "bend_radius", None, None, "has a radius of 12 mm"),
        (with_cell(0, 0, "-4"), "straight", 0, 0, "negative"),
        (with_cell(2, 0, "-4"), "straight", 2, 0, "negative"),
        (with_cell(0, 1, "5"), "rotation", 0, 1, "before the first bend"),
        (with_cell(0, 1, ""), "rotation", 0, 1, "empty"),
        (with_cell(1, 1, "400"), "rotation", 1, 1, "more than a turn"),
        (with_cell(1, 2, "0"), "angle", 1, 2, "not positive"),
        (with_cell(1, 2, "361"), "angle", 1, 2, "a bend of 361°"),
        (with_cell(1, 2, ""), "angle", 1, 2, "empty"),
        (with_cell(1, 3, "10"), "radius", 1, 3, "a radius of 10 mm"),
        (with_cell(0, 3, "76.2", bend_radius=""), "radius", 1, 3, "no radius"),
        (with_cell(2, 2, "90"), "angle", 2, 2, "the end straight alone"),
        (rail(rows=[["250", "0", "90"], ["", "", ""], ["300"]]), "rows", 1, None, "the row is empty"),
        (rail(rows=[["250", "0", "90", "", "7"], ["300"]]), "rows", 0, 4, "more cells"),
        (rail(rows=[["50", "0", "180"], ["0", "0", "170"], ["400"]]), "rows", None, None, "the tube runs through itself"),
    ],
)  # fmt: skip
def test_a_slip_stands_where_it_belongs(
    form: PartForm, key: str, row: int | None, column: int | None, words: str
) -> None:
    slip = only(form)
    assert (slip.key, slip.row, slip.column) == (key, row, column)
    assert words in slip.message
    assert slip.allowed


VERTICES = [["0", "0", "0"], ["300", "0", "0"], ["300", "400", "0"], ["300", "400", "500"]]


@pytest.mark.parametrize(
    ("row", "cells", "words"),
    [
        (1, ["0", "0", "0"], "lies on the one before it"), (1, ["20", "0", "0"], "too short"),
        (2, ["600", "0", "0"], "in a line"), (2, ["100", "1", "0"], "give it as LRA"),
    ],
)  # fmt: skip
def test_a_slip_of_vertices_stands_at_the_row_that_the_planner_names(row: int, cells: list[str], words: str) -> None:
    rows = copy.deepcopy(VERTICES)
    rows[row] = cells
    slip = only(rail(kind="xyz", rows=rows))
    with pytest.raises(InputError) as caught:
        part_from_data(rail(kind="xyz", rows=rows).read().document or {})
    assert caught.value.key == f"shape.xyz[{(slip.row or 0) + 1}]"
    assert (slip.key, slip.row, slip.column) == ("rows", 1, None)
    assert words in slip.message


def test_an_end_of_the_tube_has_no_radius() -> None:
    slip = only(rail(kind="xyz", rows=[[*VERTICES[0], "76.2"], *VERTICES[1:]]))
    assert (slip.key, slip.row, slip.column) == ("radius", 0, 3)


def test_all_that_the_planner_refuses_in_cells_is_told_at_once() -> None:
    form = with_cell(0, 1, "5", wall="30", bend_radius="10")
    form.rows[1][2], form.rows[2][0] = "400", "-5"
    told = [(slip.key, slip.row) for slip in form.read().slips]
    assert told == [("wall", None), ("bend_radius", None), ("rotation", 0), ("angle", 1), ("straight", 2)]


def test_a_gauge_and_a_wall_that_differ_hide_no_slip_of_the_table() -> None:
    told = [(slip.key, slip.row) for slip in with_cell(1, 2, "400", gauge="14 BWG").read().slips]
    assert told == [("wall", None), ("angle", 1)]


def test_slips_in_an_inch_form_speak_inches() -> None:
    slip = only(replace(rail().in_units("in")[0], wall="1"))
    assert "mm" not in slip.message
    assert "a wall of 1.000 in leaves no bore in a tube of 1.500 in" in slip.message
    assert slip.found == "1"


def test_a_slip_shows_what_was_typed_not_what_it_became() -> None:
    slip = only(with_cell(1, 0, "−4 mm"))
    assert (slip.key, slip.row, slip.column, slip.found) == ("straight", 1, 0, "−4 mm")


def test_decimal_commas_make_a_point_before_three_digits_doubtful() -> None:
    form = with_cell(0, 0, "250,5")
    form.rows[1][0] = "1.234"
    slip = only(form)
    assert (slip.row, slip.column) == (1, 0)
    assert "1234" in slip.problem


cell = st.text() | st.text("0123456789.,-°'\" e", max_size=6) | st.sampled_from(["0", "90", "100", "45"])


@given(
    st.lists(st.lists(cell, max_size=5), max_size=6), st.sampled_from(["lra", "xyz"]), st.sampled_from(["mm", "in"]),
    st.fixed_dictionaries(dict.fromkeys(("name", "outside_diameter", "wall", "gauge", "bend_radius", "yield_strength"), cell)),
)  # fmt: skip
def test_whatever_is_typed_is_a_part_or_slips_in_the_table_or_the_fields(
    rows: Any, kind: Any, units: Any, fields: Any
) -> None:
    form = rail(rows=rows, kind=kind, units=units, **fields)
    read = form.read()
    assert (read.part is None) == bool(read.slips)
    for slip in read.slips:
        assert slip.problem
        assert slip.row is None or 0 <= slip.row < len(rows)
        assert slip.row is not None or slip.key == "rows" or hasattr(form, slip.key)
        assert slip.column is None or slip.column == 4 or slip.key in ("rows", COLUMNS[form.kind][slip.column])
    for changed, slips in (
        form.in_units("mm"),
        form.in_units("in"),
        form.mirrored(),
        form.switched("lra"),
        form.switched("xyz"),
    ):
        assert not slips or changed is form


# The other table, the other units, the mirror -----------------------------------------------------------------------


@given(parts(least_angle=5.0, largest_angle=170.0), st.sampled_from(["mm", "in"]))
def test_a_table_switched_to_vertices_and_back_is_the_same_shape(part: Part, units: Any) -> None:
    assume(uncrossed(part))
    form = PartForm.of(part).in_units(units)[0]
    there, slips = form.switched("xyz")
    assert slips == ()
    assert (there.kind, there.units, len(there.rows)) == ("xyz", units, len(form.rows) + 1)
    back, slips = there.switched("lra")
    assert slips == ()
    for one in (there.read().part, back.read().part):
        assert one is not None
        assert np.allclose(one.straights, part.straights, rtol=0, atol=1e-4)
        assert np.allclose(one.angles, part.angles, rtol=0, atol=1e-6)
        assert np.allclose(np.exp(1j * one.rotations), np.exp(1j * part.rotations), rtol=0, atol=1e-4)
        assert np.array_equal(one.radii, part.radii)


@pytest.mark.parametrize("path", EXAMPLES, ids=by_stem)
def test_every_example_can_be_switched_and_comes_back_as_typed(path: Path) -> None:
    document = read_document(path, "the part file")
    form = PartForm.of(document.data, document.file)
    there, slips = form.switched("xyz" if form.kind == "lra" else "lra")
    back, more = there.switched(form.kind)
    assert slips == more == ()
    if form.kind == "lra" and form.rotation_sign == "right-handed":
        assert back == form


def test_a_bend_that_vertices_cannot_describe_is_told_at_its_row() -> None:
    form = with_cell(1, 2, "175")
    changed, slips = form.switched("xyz")
    assert changed is form
    assert [(slip.key, slip.row, slip.column) for slip in slips] == [("angle", 1, 2)]
    assert "give it as LRA" in slips[0].message


def test_nothing_is_changed_while_a_cell_is_no_number() -> None:
    form = with_cell(1, 0, "1,234")
    for changed, slips in (form.in_units("in"), form.mirrored(), form.switched("xyz")):
        assert changed is form
        assert [(slip.row, slip.column) for slip in slips] == [(1, 0)]


@given(parts(largest_angle=170.0, least_angle=5.0))
def test_the_mirrored_form_is_the_mirrored_part_as_rows_and_as_vertices(part: Part) -> None:
    assume(uncrossed(part))
    form = PartForm.of(part)
    assert form.mirrored()[0].read().part == part.mirrored()
    assert form.mirrored()[0].mirrored() == (form, ())
    vertices = form.switched("xyz")[0]
    mirrored = vertices.mirrored()[0].read().part
    assert mirrored is not None
    assert np.allclose(np.exp(1j * mirrored.rotations), np.exp(-1j * part.rotations), rtol=0, atol=1e-4)
    assert np.allclose(mirrored.straights, part.straights, rtol=0, atol=1e-4)
    assert vertices.mirrored()[0].mirrored()[0].rows == vertices.rows


def test_vertices_are_mirrored_in_the_level_plane() -> None:
    rows = rail(kind="xyz", rows=copy.deepcopy(VERTICES)).mirrored()[0].rows
    assert [row[:3] for row in rows] == [*VERTICES[:3], ["300", "400", "-500"]]


def test_left_handed_rotations_stay_left_handed_in_the_mirror() -> None:
    form = rail(rotation_sign="left-handed")
    mirrored = form.mirrored()[0]
    assert mirrored.rotation_sign == "left-handed"
    assert [row[1] for row in mirrored.rows] == ["0", "90", ""]
    part = form.read().part
    assert part is not None
    assert mirrored.read().part == part.mirrored()
