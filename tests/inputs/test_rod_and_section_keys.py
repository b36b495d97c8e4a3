"""Rod, mandrel, grip section, ways home and what moves with the pressure die: read, written back, mirrored, refused."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from planner.errors import InputError
from planner.inputs.files import load_machine, machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.tooling import Section
from planner.wording.say import say

GOOD = """\
name = "a bender with a rod (invented)"
units = "mm"

[head]
bends_toward = "right"
centreline_height = 1000
largest_angle = 190
homes_with_tube = true
die_drops = 70

[carriage]
reach = [200, 3000]
grip_length = 50
stand_back = 2500

[rotation]
zeroed = true

[advance]
zeroed = true

[mandrel]
rod_length = 3500
rod_diameter = 20
draws_back = true

[clearance]
required = 10

[[tooling]]
tube_diameter = 38.1
bend_radius = 76.2
clamp_lengths = [115, 76]
shortest_grip = 76
pressure_die_length = 300
pressure_die_follows = true
pressure_rest = 45
shortest_tail = 40
die_height = 90
grip_section = { depth = 60, height = 80, length = 130 }
mandrel = { nose = 5, balls = 2, ball_reach = 45, draws_back_before_end = 8 }
clamp_block = { width = 110, height = 110, opens = 110 }
pressure_block = { width = 110, height = 110, opens = 40 }

[[tooling]]
tube_diameter = 25.4
bend_radius = 30
clamp_lengths = [60, 40]
shortest_grip = 40
pressure_die_length = 200
pressure_die_follows = false
shortest_tail = 30
die_height = 70
mandrel = { nose = 3 }
clamp_block = { width = 90, height = 90, opens = 70 }
pressure_block = { width = 90, height = 90, opens = 40 }

[[solid]]
name = "slide"
moves_with = "pressure die"
box = { from = [-280, 30, -150], to = [-10, 200, -60] }

[speeds]
advance = 250
rotate = 60
bend = 15
return = 30

[times]
regrip = 15
turn = 60
load = 45
clamp = 4
tool_change = 300
"""


def load(tmp_path: Path, text: str = GOOD) -> Machine:
    path = tmp_path / "machine.toml"
    path.write_text(text, encoding="utf-8")
    return load_machine(path)


def without(*lines: str) -> str:
    for line in lines:
        assert f"{line}\n" in GOOD
    return "".join(line for line in GOOD.splitlines(keepends=True) if line.rstrip("\n") not in lines)


OLD = without("draws_back = true", "mandrel = { nose = 3 }").replace("rod_diameter = 20", "nose = 12").replace(
    "mandrel = { nose = 5, balls = 2, ball_reach = 45, draws_back_before_end = 8 }\n", ""
)  # fmt: skip


def test_what_the_file_says_is_read(tmp_path: Path) -> None:
    machine = load(tmp_path)
    assert (machine.head.homes_with_tube, machine.head.die_drops) == (True, 70.0)
    assert machine.carriage is not None
    assert (machine.carriage.stand_back, machine.carriage.waits_at) == (2500.0, 2500.0)
    rod, tooling = machine.mandrel, machine.tooling[0]
    assert rod is not None
    assert (rod.rod_length, rod.rod_diameter, rod.draws_back, rod.nose) == (3500.0, 20.0, True, None)
    tip = machine.mandrel_of(tooling)
    assert tip is not None
    assert (tip.nose, tip.balls, tip.ball_reach, tip.reach) == (5.0, 2, 45.0, 45.0)
    assert tip.draws_back_before_end == math.radians(8)
    assert tooling.section(76.0) == Section(130.0, 60.0, 80.0)
    assert tooling.rest == 45.0
    assert machine.solid[0].moves_with == "pressure die"
    assert machine.notes == ()


def test_what_it_leaves_out_is_what_the_shop_would_expect(tmp_path: Path) -> None:
    left = ("homes_with_tube = true", "die_drops = 70", "stand_back = 2500", "rod_diameter = 20", "draws_back = true",
            "pressure_rest = 45", "grip_section = { depth = 60, height = 80, length = 130 }")  # fmt: skip
    machine = load(tmp_path, without(*left))
    assert (machine.head.homes_with_tube, machine.head.die_drops) == (False, 0.0)
    assert machine.carriage is not None
    assert machine.carriage.waits_at == 3000.0
    assert machine.mandrel is not None
    assert (machine.mandrel.rod_diameter, machine.mandrel.draws_back) == (None, False)
    large, small = machine.tooling
    # The lesser of 1.5 diameters and the bend radius deep, as high as the die, as long as the clamp in use.
    assert [large.section(clamp) for clamp in (115.0, 76.0)] == [
        Section(115.0, pytest.approx(57.15), 90.0), Section(76.0, pytest.approx(57.15), 90.0),
    ]  # fmt: skip
    assert small.section(40.0) == Section(40.0, 30.0, 70.0)
    assert (large.rest, small.rest) == (38.1, 25.4)
    tip = machine.mandrel_of(small)
    assert tip is not None
    assert (tip.nose, tip.balls, tip.ball_reach, tip.reach, tip.draws_back_before_end) == (3.0, 0, None, 3.0, 0.0)


def test_a_straight_between_bends_holds_clamp_and_section(tmp_path: Path) -> None:
    machine = load(tmp_path)
    large, small = machine.tooling
    assert [large.straight_for(clamp) for clamp in large.clamp_lengths] == [130.0, 130.0]
    assert large.shortest_straight == 130.0
    assert [small.straight_for(clamp) for clamp in small.clamp_lengths] == [60.0, 40.0]
    assert small.shortest_straight == 40.0
    none = load(
        tmp_path, GOOD.replace("grip_section = { depth = 60, height = 80, length = 130 }", "grip_section = false")
    )
    assert none.tooling[0].section(115.0) is None
    assert none.tooling[0].shortest_straight == 76.0


VARIANTS = {
    "as it is": GOOD,
    "no section": GOOD.replace("grip_section = { depth = 60, height = 80, length = 130 }", "grip_section = false"),
    "a section of one number": GOOD.replace("{ depth = 60, height = 80, length = 130 }", "{ length = 130 }"),
    "no balls": GOOD.replace(", balls = 2, ball_reach = 45, draws_back_before_end = 8", ""),
    "a nose behind the tangent point's end": GOOD.replace("nose = 3", "nose = 0"),
    "an old nose": OLD,
    "an old nose beside new ones": GOOD.replace("rod_diameter = 20", "nose = 12").replace(
        "mandrel = { nose = 3 }\n", ""
    ),
    "left": GOOD.replace('"right"', '"left"'),
}


@pytest.mark.parametrize("name", VARIANTS)
def test_written_out_it_reads_back_as_the_same_machine(name: str, tmp_path: Path) -> None:
    machine = load(tmp_path, VARIANTS[name])
    written = machine.normalised()
    again = machine_from_data(json.loads(json.dumps(written)))
    assert again == machine
    assert hash(again) == hash(machine)
    assert again.normalised() == written
    given = tomllib.loads(VARIANTS[name])
    for table in ("head", "carriage", "mandrel"):
        assert written[table] == {**written[table], **given[table]}
    for found, said in zip(written["tooling"], given["tooling"], strict=True):
        for key in ("grip_section", "pressure_rest"):
            assert found.get(key) == said.get(key)
        assert found.get("mandrel", {}) == {**found.get("mandrel", {}), **said.get("mandrel", {})}


@pytest.mark.parametrize("name", VARIANTS)
def test_mirrored_it_has_the_other_head_and_what_moves_with_the_pressure_die_on_the_other_side(
    name: str, tmp_path: Path
) -> None:
    machine = load(tmp_path, VARIANTS[name])
    other = machine.mirrored()
    assert other.mirrored() == machine
    assert other.head.bends_toward != machine.head.bends_toward
    assert (other.tooling, other.mandrel, other.carriage, other.notes) == (
        machine.tooling, machine.mandrel, machine.carriage, machine.notes,
    )  # fmt: skip
    assert other.solid[0].moves_with == "pressure die"
    assert other.solid[0].box is not None
    assert (other.solid[0].box.from_, other.solid[0].box.to) == ((-280.0, -200.0, -150.0), (-10.0, -30.0, -60.0))


def test_in_inches_lengths_are_25_4_times_as_long_balls_and_angles_the_same(tmp_path: Path) -> None:
    data = tomllib.loads(GOOD)
    mm, inches = load(tmp_path), machine_from_data({**data, "units": "in"})
    assert inches.head.die_drops == pytest.approx(25.4 * mm.head.die_drops)
    assert inches.carriage is not None
    assert mm.carriage is not None
    assert inches.carriage.waits_at == pytest.approx(25.4 * mm.carriage.waits_at)
    one, two = inches.mandrel_of(inches.tooling[0]), mm.mandrel_of(mm.tooling[0])
    assert one is not None
    assert two is not None
    assert (one.balls, one.draws_back_before_end) == (two.balls, two.draws_back_before_end)
    assert (one.nose, one.reach) == pytest.approx((25.4 * two.nose, 25.4 * two.reach))
    assert inches.tooling[0].section(1.0) == pytest.approx((25.4 * 130.0, 25.4 * 60.0, 25.4 * 80.0))
    assert inches.tooling[0].rest == pytest.approx(25.4 * 45.0)
    assert inches.mandrel is not None
    assert inches.mandrel.rod_diameter == pytest.approx(25.4 * 20.0)


def test_the_old_nose_stands_for_all_tooling_that_says_nothing_of_its_own_and_a_note_says_so(tmp_path: Path) -> None:
    old = load(tmp_path, OLD)
    tips = [old.mandrel_of(tooling) for tooling in old.tooling]
    assert [None if tip is None else (tip.nose, tip.reach, tip.balls) for tip in tips] == [(12.0, 12.0, 0)] * 2
    (note,) = map(say, old.notes)
    assert "[mandrel] nose = 12 mm is taken for all tooling" in note
    both = load(tmp_path, VARIANTS["an old nose beside new ones"])
    reaches = [tip.reach for tip in map(both.mandrel_of, both.tooling) if tip is not None]
    assert reaches == [45.0, 12.0]
    assert "the 1 tooling" in say(both.notes[0])
    assert "without a mandrel of" in say(both.notes[0])


def test_without_a_rod_there_is_no_mandrel() -> None:
    data: dict[str, Any] = tomllib.loads(GOOD)
    del data["mandrel"]
    for tooling in data["tooling"]:
        del tooling["mandrel"]
    machine = machine_from_data(data)
    assert [machine.mandrel_of(tooling) for tooling in machine.tooling] == [None, None]
    assert machine.notes == ()


SPOILED = [
    # what is replaced, by what, key, what was found, what is allowed
    ("homes_with_tube = true", "homes_with_tube = 1", "head.homes_with_tube", "1", "true or false"),
    ("die_drops = 70", "die_drops = -1", "head.die_drops", "-1", "0 or more"),
    ("stand_back = 2500", "stand_back = 3001", "carriage.stand_back", "3001 mm", "200 to 3000 mm, its reach"),
    ("stand_back = 2500", "stand_back = 199", "carriage.stand_back", "199 mm", "200 to 3000 mm, its reach"),
    ("stand_back = 2500", "stand_back = 0", "carriage.stand_back", "0", "more than 0"),
    ("rod_length = 3500", "rod_length = 0", "mandrel.rod_length", "0", "more than 0"),
    ("rod_diameter = 20", "rod_diameter = 25.4", "mandrel.rod_diameter", "25.4 mm", "less than the smallest tube, 25.4 mm"),
    ("rod_diameter = 20", "rod_diameter = -5", "mandrel.rod_diameter", "-5", "more than 0"),
    ("draws_back = true", 'draws_back = "yes"', "mandrel.draws_back", "yes", "true or false"),
    ("draws_back = true", "nose = -1", "mandrel.nose", "-1", "0 or more"),
    ("pressure_rest = 45", "pressure_rest = -1", "tooling[1].pressure_rest", "-1", "0 or more"),
    ("{ depth = 60, height = 80, length = 130 }", "true", "tooling[1].grip_section", "true", "a table of depth, height and length, or false"),
    ("{ depth = 60, height = 80, length = 130 }", "130", "tooling[1].grip_section", "130", "a table of depth, height and length, or false"),
    ("depth = 60", "depth = 76.3", "tooling[1].grip_section.depth", "76.3 mm", "at most the bend radius, 76.2 mm"),
    ("depth = 60", "depth = 19.05", "tooling[1].grip_section.depth", "19.05 mm", "more than the tube's radius, 19.05 mm"),
    ("height = 80", "height = 38.1", "tooling[1].grip_section.height", "38.1 mm high", "more than the tube's diameter, 38.1 mm"),
    ("length = 130", "length = 0", "tooling[1].grip_section.length", "0", "more than 0"),
    ("length = 130", "lenght = 130", "tooling[1].grip_section.lenght", "not known", 'did you mean "length"'),
    ("nose = 5, balls = 2", "balls = 2", "tooling[1].mandrel.nose", "missing", "this key has no default"),
    ("nose = 5", "nose = -5", "tooling[1].mandrel.nose", "-5", "0 or more"),
    ("nose = 5", "nose = 46", "tooling[1].mandrel.ball_reach", "45 mm", "the nose's 46 mm or more"),
    (", ball_reach = 45", "", "tooling[1].mandrel.balls", "2 balls, no reach", "ball_reach with one ball or more"),
    ("balls = 2, ", "", "tooling[1].mandrel.balls", "0 balls, a reach", "with none of them without"),
    ("balls = 2", "balls = 2.5", "tooling[1].mandrel.balls", "2.5", "integer"),
    ("balls = 2", "balls = -1", "tooling[1].mandrel.balls", "-1", "0"),
    ("balls = 2", "balls = 21", "tooling[1].mandrel.balls", "21", "20"),
    ("before_end = 8", "before_end = -8", "tooling[1].mandrel.draws_back_before_end", "-8", "0 or more"),
    ("mandrel = { nose = 3 }\n", "", "tooling[2].mandrel", "missing", "mandrel = { nose = … } in every tooling"),
    ("[mandrel]\nrod_length = 3500\nrod_diameter = 20\ndraws_back = true\n", "", "tooling[1].mandrel", "the machine has no [mandrel]", "none without one"),
    ("box = { from = [-280, 30, -150], to = [-10, 200, -60] }", "cylinder = { centre = [0, 99], radius = 20, z = [-90, -60] }", "solid[1].cylinder", "a cylinder", "a box"),
    ('"pressure die"', '"pressure dye"', "solid[1].moves_with", "pressure dye", 'did you mean "pressure die"'),
    *((f'name = "{"slide"}"', f'name = "{name}"', "solid[1].name", name, "any other name")
      for name in ("grip section", "mandrel", "mandrel rod", "its own tail", "its own tail's end")),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "found", "allowed"), SPOILED)
def test_a_spoiled_key_names_file_line_key_what_was_found_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, key: str, found: str, allowed: str
) -> None:
    assert GOOD.count(old) >= 1
    text = GOOD.replace(old, new, 1)
    with pytest.raises(InputError) as caught:
        load(tmp_path, text)
    error = caught.value
    assert (error.file, error.key) == (str(tmp_path / "machine.toml"), key)
    assert error.line is not None
    line = text.splitlines()[error.line - 1]
    # The line holds the key, or opens the table that it is missing in.
    names = [part.split("[")[0] for part in key.split(".")]
    assert any(name in line for name in names), line
    for words in (str(tmp_path / "machine.toml"), f"line {error.line}", found, allowed):
        assert words in str(error)
