"""The machine profile as fields: none is forgotten, what is written back is the same machine, slips stand at their field."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.inputs.documents import read_document
from planner.inputs.files import load_machine, machine_from_data
from planner.page.machine_form import GROUPS, FormField, fields_of, with_values
from tests.machines import roomy

PROFILES = sorted((Path(__file__).resolve().parents[2] / "machine_profiles").glob("*.toml"))


def document_of(name: str = "canal-workshop") -> dict[str, Any]:
    return read_document(next(path for path in PROFILES if path.stem == name), "the machine profile").data


def leaves(value: Any, path: str = "") -> Iterator[str]:
    """The keys of a document down to its numbers, texts and lists of numbers, entries of lists counted from 1."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for i, inner in enumerate(value, start=1):
            yield from leaves(inner, f"{path}[{i}]")
    else:
        yield path


def by_path(document: dict[str, Any]) -> dict[str, FormField]:
    return {field.path: field for field in fields_of(document)}


def by_stem(path: Path) -> str:
    return path.stem


@pytest.mark.parametrize("path", PROFILES, ids=by_stem)
def test_every_key_of_a_profile_is_a_field_and_written_back_it_is_the_same_machine(path: Path) -> None:
    document, machine = document_of(path.stem), load_machine(path)
    for one in (document, machine.normalised()):
        fields = by_path(one)
        assert set(leaves(one)) <= set(fields)
        assert len(fields) == len(fields_of(one))
        for field in fields.values():
            assert field.label
            assert not field.label.endswith(":")
            assert field.group == "Machine" or any(field.group.startswith(group) for group in GROUPS.values())
            assert field.unit or field.kind not in ("number", "numbers", "pairs")
        read = with_values(one, {field.path: field.text for field in fields.values()})
        assert read.slips == ()
        assert read.machine == machine
        assert with_values(one, {}).machine == machine


@pytest.mark.parametrize("path", PROFILES, ids=by_stem)
def test_every_text_of_a_profile_is_read_as_the_value_that_it_shows(path: Path) -> None:
    document = document_of(path.stem)
    filled = [field for field in fields_of(document) if field.text and field.kind not in ("fixed", "text")]
    read = with_values(document, {field.path: f" {field.text} " for field in filled})  # otherwise it would not be read
    assert read.slips == ()
    assert read.machine == machine_from_data(document)
    assert len(filled) > 40


def test_labels_tell_the_fields_of_a_group_apart() -> None:
    told = [(field.group, field.label) for field in fields_of(document_of())]
    assert len(set(told)) == len(told)


def test_fields_are_grouped_with_their_units_in_shop_words() -> None:
    fields = by_path(document_of())
    assert fields["tooling[2].die_hub.radius"].group == "Tooling 2"
    assert fields["tooling[2].die_hub.radius"].label == "die hub: radius"
    assert fields["solid[6].box.from"].group == "Solid 6"
    assert fields["head.bends_toward"].choices == ("right", "left")
    assert fields["head.may_ease_off"].kind == "yes or no"
    assert fields["tooling[1].clamp_lengths"].text == "115, 76"
    assert fields["springback.measured"].text == "20 21.6; 120 123.9"
    units = {"speeds.advance": "mm/s", "speeds.bend": "deg/s", "times.load": "s", "rated.yield_strength": "MPa",
             "head.largest_angle": "deg", "rotation.range": "deg", "advance.resolution": "mm", "solid[1].box.to": "mm"}  # fmt: skip
    assert {path: fields[path].unit for path in units} == units
    assert (fields["clearance.to_itself"].default, fields["rotation.resolution"].default) == ("2", "0.1")
    assert (fields["head.may_ease_off"].default, fields["head.largest_angle"].default) == ("no", None)


def test_a_number_that_may_be_left_out_has_its_unit_too() -> None:
    fields = by_path(document_of())
    optional = ("carriage.stand_back", "mandrel.rod_diameter", "mandrel.nose", "tooling[1].pressure_rest",
                "tooling[1].grip_section.depth", "tooling[1].grip_section.length", "tooling[1].mandrel.ball_reach")  # fmt: skip
    assert {(fields[path].kind, fields[path].unit) for path in optional} == {("number", "mm")}
    assert fields["tooling[1].mandrel.draws_back_before_end"].unit == "deg"
    assert (fields["tooling[1].mandrel.balls"].kind, fields["tooling[1].mandrel.balls"].default) == (
        "whole number",
        "0",
    )


def without_section() -> dict[str, Any]:
    """A profile whose first die has no grip section."""
    document = document_of()
    document["tooling"][0]["grip_section"] = False
    return document


def test_a_die_without_a_grip_section_keeps_none_while_nothing_is_typed_there() -> None:
    document = without_section()
    fields = by_path(document)
    assert fields["tooling[1].grip_section.depth"].text == ""
    read = with_values(document, {path: field.text for path, field in fields.items()} | {"head.largest_angle": "170"})
    assert read.slips == ()
    assert read.document is not None
    assert read.document["tooling"][0]["grip_section"] is False
    assert read.machine is not None
    assert read.machine.tooling[0].section(115) is None


def test_a_die_without_a_grip_section_gets_one_by_filling_its_fields() -> None:
    read = with_values(without_section(), {"tooling[1].grip_section.depth": "50"})
    assert read.slips == ()
    assert read.machine is not None
    assert read.machine.tooling[0].section(115) == (115, 50, 90)


def in_inches() -> dict[str, Any]:
    """A profile in inches."""
    document = document_of("under-the-loft")
    document["units"] = "in"
    return document


def test_a_profile_in_inches_has_its_fields_in_inches() -> None:
    document = in_inches()
    del document["advance"]["resolution"]
    fields = by_path(document)
    assert (fields["tooling[1].bend_radius"].unit, fields["speeds.advance"].unit) == ("in", "in/s")
    assert fields["advance.resolution"].default == "0.003937"
    read = with_values(document, {"tooling[1].die_height": "1"})
    assert len(read.slips) == 1
    assert "mm" not in read.slips[0].message


CHANGES = [
    ({"head.largest_angle": "180°"}, "head", {"largest_angle": 180}),
    ({"head.may_ease_off": "No"}, "head", {"may_ease_off": False}),
    ({"head.may_ease_off": ""}, "head", {"may_ease_off": None}),
    ({"head.bends_toward": "LEFT"}, "head", {"bends_toward": "left"}),
    ({"carriage.reach": "300; 3000"}, "carriage", {"reach": [300, 3000]}),
    ({"carriage.reach": "300 , 3000"}, "carriage", {"reach": [300, 3000]}),
    ({"carriage.reach": " 300 ;3000; "}, "carriage", {"reach": [300, 3000]}),
    ({"rotation.range": "-360, 360"}, "rotation", {"range": [-360, 360]}),
    ({"springback.measured": "20 21.5; 90 92,5 ".replace(",", ".")}, "springback", {"measured": [[20, 21.5], [90, 92.5]]}),
    ({"mandrel.rod_diameter": " "}, "mandrel", {"rod_diameter": None}),
    ({"mandrel.draws_back": "YES"}, "mandrel", {"draws_back": True}),
    ({"rated.tube_diameter": "", "rated.wall": "", "rated.yield_strength": ""}, "rated", None),
]  # fmt: skip


@pytest.mark.parametrize(("values", "table", "expected"), CHANGES)
def test_a_field_that_is_changed_changes_the_machine_and_nothing_else(
    values: dict[str, str], table: str, expected: Any
) -> None:
    document = document_of()
    before = copy.deepcopy(document)
    read = with_values(document, values)
    assert read.slips == ()
    assert document == before
    wanted = copy.deepcopy(before)
    if expected is None:
        del wanted[table]
    else:
        wanted[table] = {key: value for key, value in {**wanted[table], **expected}.items() if value is not None}
    assert read.machine == machine_from_data(wanted)
    assert read.document == wanted


def test_a_table_that_was_not_there_is_made_by_filling_its_fields() -> None:
    machine = roomy()
    document = machine.normalised()
    assert by_path(document)["tooling[1].die_hub.radius"].text == ""
    read = with_values(
        document, {"tooling[1].die_hub.radius": "20", "tooling[1].die_hub.height": "150", "rated.wall": ""}
    )
    assert read.machine is not None
    assert read.machine.tooling[0].die_hub is not None
    assert read.machine.tooling[0].die_hub.height == 150
    half = with_values(document, {"tooling[1].die_hub.radius": "20"})
    assert [(slip.key, slip.problem) for slip in half.slips] == [("tooling[1].die_hub.height", "this is missing")]


def test_a_cylinder_can_be_made_a_box() -> None:
    emptied = dict.fromkeys(("solid[2].cylinder.centre", "solid[2].cylinder.radius", "solid[2].cylinder.z"), "")
    read = with_values(document_of(), {**emptied, "solid[2].box.from": "0 0 -9", "solid[2].box.to": "9, 9, -1"})
    assert read.document is not None
    assert read.document["solid"][1] == {
        "name": "post", "moves_with": "frame", "box": {"from": [0, 0, -9], "to": [9, 9, -1]},
    }  # fmt: skip
    assert read.machine == machine_from_data(read.document)


def test_a_table_that_stands_there_empty_is_kept() -> None:
    document = document_of()
    document["scatter"] = {}
    assert with_values(document, {"head.largest_angle": "180"}).document == {
        **document,
        "head": {**document["head"], "largest_angle": 180.0},
    }


def test_all_texts_that_are_no_numbers_are_told_at_once() -> None:
    values = {"head.largest_angle": "wide", "carriage.reach": "250,3200", "tooling[1].clamp_lengths": "115, ,76", "times.load": "1 min",
              "solid[1].box.from": "1 2", "solid[1].moves_with": "bed", "springback.measured": "20 21; 30", "speeds.bend": "nan",
              "units": "in", "head.colour": "red"}  # fmt: skip
    slips = with_values(document_of(), values).slips
    assert [slip.key for slip in slips] == list(values)
    assert all(slip.problem and slip.allowed and slip.found for slip in slips)
    assert slips[0].message.startswith("Head, largest setting: ")
    assert slips[1].suggestion == "250, 3200"


def test_what_may_be_meant_is_said_only_if_it_can_be_typed_so() -> None:
    def suggested(path: str, text: str) -> str | None:
        slips = with_values(document_of(), {path: text}).slips
        assert [slip.key for slip in slips] == [path]
        return slips[0].suggestion

    assert suggested("carriage.reach", "250,3200") == "250, 3200"
    assert suggested("carriage.reach", "250,5 3200") is None  # three numbers, or two
    assert suggested("tooling[1].clamp_lengths", "115,76") == "115, 76"


@pytest.mark.parametrize(
    ("values", "path", "words"),
    [
        ({"head.largest_angle": "400"}, "head.largest_angle", "full turn"),
        ({"head.largest_angle": ""}, "head.largest_angle", "this is missing"),
        ({"carriage.reach": "3000 250"}, "carriage.reach", "closest 3000, farthest 250 mm"),
        ({"carriage.reach": "0 250"}, "carriage.reach", "not positive"),
        ({"tooling[1].mandrel.nose": ""}, "tooling[1].mandrel.nose", "missing"),
        ({"tooling[1].mandrel.balls": "1.5"}, "tooling[1].mandrel.balls", "no whole number"),
        ({"tooling[1].mandrel.ball_reach": "3"}, "tooling[1].mandrel.ball_reach", "3 mm"),
        ({"advance.zeroed": "no"}, "advance.absolute_zero", "missing, and the readout is not zeroed"),
        ({"tooling[2].clamp_lengths": "51 76"}, "tooling[2].clamp_lengths", "out of order"),
        ({"tooling[2].bend_radius": "12"}, "tooling[2].bend_radius", "12 mm"),
        ({"tooling[3].tube_diameter": "38.1", "tooling[3].bend_radius": "76.2"}, "tooling[3].bend_radius", "listed twice"),
        ({"tooling[1].clamp_block.width": "5"}, "tooling[1].clamp_block.width", "cannot hold the groove"),
        ({"tooling[1].die_hub.radius": "70"}, "tooling[1].die_hub.radius", "reaches into the groove"),
        ({"solid[2].name": "bed"}, "solid[2].name", "two are called"),
        ({"solid[2].name": "floor"}, "solid[2].name", "built by the program"),
        ({"solid[2].name": ""}, "solid[2].name", "missing"),
        ({"solid[2].box.from": "0 0 -9", "solid[2].box.to": "9 9 -1"}, "solid[2].box.from", "both box and cylinder"),
        ({"solid[2].cylinder.centre": "", "solid[2].cylinder.radius": "", "solid[2].cylinder.z": ""}, "solid[2].cylinder.centre", "neither box nor cylinder"),
        ({"solid[2].cylinder.z": "5 1"}, "solid[2].cylinder.z", "5 to 1 mm"),
        ({"solid[1].box.to": "-5000 120 0"}, "solid[1].box.to", "from -4200 to -5000 mm in x"),
        ({"springback.measured": "20 21; 10 11"}, "springback.measured", "do not rise"),
        ({"rated.wall": "40"}, "rated.wall", "40 mm"),
        ({"times.load": "0"}, "times.load", "not positive"),
    ],
)  # fmt: skip
def test_what_the_planner_refuses_stands_at_its_field(values: dict[str, str], path: str, words: str) -> None:
    read = with_values(document_of(), values)
    assert read.machine is None
    assert [slip.key for slip in read.slips] == [path]
    assert words in read.slips[0].message
    assert read.slips[0].found == values.get(path, "")
    assert path in by_path(document_of())


PATHS = [field.path for field in fields_of(document_of())]
typed = (
    st.text(max_size=8) | st.text("0123456789.,; -°", max_size=12) | st.sampled_from(["yes", "no", "", "1", "250 3200"])
)


@given(st.dictionaries(st.sampled_from(PATHS), typed, max_size=6))
def test_whatever_is_typed_is_a_machine_or_a_slip_at_a_field(values: dict[str, str]) -> None:
    read = with_values(document_of(), values)
    assert (read.machine is None) == bool(read.slips)
    assert all(slip.key in PATHS for slip in read.slips)
