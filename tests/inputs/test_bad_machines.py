"""Every profile that cannot be used ends in one error that names file, line, key, what was found and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.errors import InputError, UnreadableFile
from planner.inputs.files import load_machine
from planner.inputs.profiles import packaged_folder

GOOD = (packaged_folder() / "canal-workshop.toml").read_text(encoding="utf-8")

SPOILED = [
    # what is replaced, by what, key, words of the sentence
    ('name = "semi', 'nmae = "semi', "nmae", 'did you mean "name"'),
    ('units = "mm"', 'units = "inch"', "units", 'did you mean "in"'),
    ("[mandrel]", "[mandril]", "mandril", 'did you mean "mandrel"'),
    ("grip_length", "grip_lenght", "carriage.grip_lenght", 'did you mean "grip_length"'),
    ("nose = 6, ", "", "tooling[1].mandrel.nose", "missing"),
    ("ball_reach = 24", "ball_reach = 5", "tooling[1].mandrel.ball_reach", "the nose's 6 mm or more"),
    ("balls = 1, ", "", "tooling[1].mandrel.balls", "with one ball or more"),
    ("balls = 1,", "balls = 1.5,", "tooling[1].mandrel.balls", "integer"),
    ("rod_diameter = 16", "rod_diameter = 26", "mandrel.rod_diameter", "less than the smallest tube"),
    ("depth = 57", "depth = 80", "tooling[1].grip_section.depth", "at most the bend radius"),
    ("grip_section = { depth = 57, height = 90 }", "grip_section = true", "tooling[1].grip_section", "or false"),
    ("grip_length = 50", "grip_length = 50\nstand_back = 3300", "carriage.stand_back", "its reach"),
    ('"right"', '"rihgt"', "head.bends_toward", 'did you mean "right"'),
    ('"right"', '"up"', "head.bends_toward", '"right" or "left"'),
    ("largest_angle = 186", "largest_angle = 360", "head.largest_angle", "less than 360"),
    ("largest_angle = 186", "largest_angle = -1", "head.largest_angle", "more than 0"),
    ("may_ease_off = true", "may_ease_off = 1", "head.may_ease_off", "true or false"),
    ("may_ease_off = true", 'may_ease_off = "yes"', "head.may_ease_off", "true or false"),
    ("reach = [290, 3200]", "reach = [3200, 290]", "carriage.reach", "closest less than farthest"),
    ("reach = [290, 3200]", "reach = [290]", "carriage.reach[2]", "missing"),
    ("reach = [290, 3200]", "reach = 3200", "carriage.reach", "a list in brackets"),
    ("reach = [290, 3200]", "reach = [true, 3200]", "carriage.reach[1]", "a number"),
    ('range = "continuous"', 'range = "endless"', "rotation.range", '"continuous" or [lowest, highest]'),
    ('range = "continuous"', "range = [10, 360]", "rotation.range", "0 between them"),
    ('range = "continuous"', "range = [360, -360]", "rotation.range", "0 between them"),
    ('range = "continuous"', "range = [-360, nan]", "rotation.range[2]", "a number"),
    ('counts = "clockwise"', 'counts = "anticlockwise"', "rotation.counts", '"counter-clockwise"'),
    ('style = "0-360"', 'style = "0-180"', "rotation.style", '"0-360" or "signed"'),
    ("[advance]\nzeroed = true", "[advance]\nzeroed = false", "advance.absolute_zero", '"collet at farthest"'),
    ("[advance]", '[advance]\nabsolute_zero = "collet at closest"', "advance.absolute_zero", "only with zeroed = false"),
    ("required = 10", "required = -10", "clearance.required", "0 or more"),
    ("bend_radius = 76.2", "bend_radius = 19.05", "tooling[1].bend_radius", "more than the tube's radius"),
    ("[115, 76]", "[76, 115]", "tooling[1].clamp_lengths", "longest first"),
    ("[115, 76]", "[115, 115]", "tooling[1].clamp_lengths", "different lengths"),
    ("[115, 76]", "[]", "tooling[1].clamp_lengths", "one length or more"),
    ("[115, 76]", "[115, 0]", "tooling[1].clamp_lengths[2]", "more than 0"),
    ("shortest_grip = 76", "shortest_grip = 116", "tooling[1].shortest_grip", "at most the longest clamp"),
    ("die_height = 90", "die_height = 38.1", "tooling[1].die_height", "more than the tube's diameter"),
    ("{ radius = 30,", "{ radius = 60,", "tooling[1].die_hub", "reaches into the groove"),
    ("{ width = 110, height = 110, opens = 115 }", "{ width = 19, height = 110, opens = 115 }", "tooling[1].clamp_block", "a width over 19.05 mm"),
    ("{ width = 110, height = 110, opens = 40 }", "{ width = 110, height = 38, opens = 40 }", "tooling[1].pressure_block", "a height over 38.1 mm"),
    ("height = 110, opens = 115 }", "height = 110, opens = 115, contoured = true }", "tooling[1].clamp_block.contoured", "reserved, not read yet"),
    ("shortest_tail = 40", "shortest_tail = 40\nbetween_bends = 3", "tooling[1].between_bends", "reserved, not read yet"),
    ("die_height = 90", "die_height = 90\ndie_cut = 3", "tooling[1].die_cut", "reserved, not read yet"),
    ("grip_length = 50", "grip_length = 50\nopens_sideways = true", "carriage.opens_sideways", "reserved, not read yet"),
    ("tube_diameter = 25.4\nbend_radius = 50.8", "tube_diameter = 38.1\nbend_radius = 76.2", "tooling[2]", "listed twice"),
    ('name = "post"', 'name = "bed"', "solid[2].name", 'two are called "bed"'),
    ('name = "post"', 'name = "floor"', "solid[2].name", "built by the program itself"),
    ('moves_with = "arm"', 'moves_with = "amr"', "solid[5].moves_with", 'did you mean "arm"'),
    ("from = [-4200, ", "from = [4200, ", "solid[1].box", "from less than to"),
    ("z = [-1050, -215]", "z = [-215, -1050]", "solid[2].cylinder.z", "the lower end, then the upper"),
    ("cylinder = {", "box = { from = [0, 0, 0], to = [1, 1, 1] }\ncylinder = {", "solid[2]", "both box and cylinder"),
    ("advance = 250", "advance = inf", "speeds.advance", "a number"),
    ("[times]\nregrip = 15", "[times]\nregrip = 0", "times.regrip", "more than 0"),
    ("[[20, 21.6], [120, 123.9]]", "[[20, 21.6]]", "springback.measured", "two or more"),
    ("[[20, 21.6], [120, 123.9]]", "[[120, 123.9], [20, 21.6]]", "springback.measured", "do not rise"),
    ("[[20, 21.6], [120, 123.9]]", "[[20, 19], [120, 123.9]]", "springback.measured", "the setting not less"),
    ("wall = 2.0", "wall = 38.1", "rated.wall", "less than 25.4 mm"),
    ("yield_strength = 250", "yield_strength = 0", "rated.yield_strength", "more than 0"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "words"), SPOILED)
def test_a_spoiled_profile_names_line_and_key(tmp_path: Path, old: str, new: str, key: str, words: str) -> None:
    assert old in GOOD
    text = GOOD.replace(old, new, 1)
    path = tmp_path / "machine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_machine(path)
    error = caught.value
    assert (error.file, error.key) == (str(path), key)
    assert error.line is not None
    line = text.splitlines()[error.line - 1]
    names = [part.split("[")[0] for part in key.split(".")]
    assert any(name in line for name in names), line
    if error.problem != "the key is missing" and "absolute_zero" not in key:
        changed = {i + 1 for i, (a, b) in enumerate(zip(text.splitlines(), GOOD.splitlines(), strict=False)) if a != b}
        opening = [i for i in changed if i >= error.line]
        assert error.line in changed or (key.endswith("]") and opening), line
    assert words in str(error)
    assert str(path) in str(error)
    assert f"line {error.line}" in str(error)


def test_a_tooling_without_a_mandrel_on_a_machine_with_a_rod_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(GOOD.replace("mandrel = { nose = 4 }\n", ""), encoding="utf-8")
    with pytest.raises(InputError, match="missing; allowed: mandrel") as caught:
        load_machine(path)
    assert caught.value.key == "tooling[2].mandrel"


def test_a_profile_without_tooling_or_with_a_table_left_out_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "machine.toml"
    for table in ("head", "rotation", "advance", "clearance", "speeds", "times"):
        start = GOOD.index(f"[{table}]")
        path.write_text(GOOD[:start] + GOOD[GOOD.index("\n\n", start) :], encoding="utf-8")
        with pytest.raises(InputError, match="missing") as caught:
            load_machine(path)
        assert caught.value.key == table
    path.write_text(GOOD[: GOOD.index("[[tooling]]")] + GOOD[GOOD.index("[[solid]]") :], encoding="utf-8")
    with pytest.raises(InputError, match="missing") as caught:
        load_machine(path)
    assert caught.value.key == "tooling"


def test_a_syntax_error_carries_line_and_column(tmp_path: Path) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(GOOD.replace("[carriage]", "[carriage"), encoding="utf-8")
    with pytest.raises(UnreadableFile) as caught:
        load_machine(path)
    assert caught.value.line == GOOD[: GOOD.index("[carriage]")].count("\n") + 1
    assert caught.value.column == len("[carriage") + 1
