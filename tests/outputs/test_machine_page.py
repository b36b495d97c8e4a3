"""A machine profile is shown in full, in shop words. The profile is invented."""

from __future__ import annotations

import tomllib
from io import StringIO
from typing import Any

from planner.outputs.machine_page import in_one_line, print_machine, print_machines
from planner.outputs.terminal import Page

PROFILE = """
name = "towpath bender"
units = "mm"
[head]
bends_toward = "left"
centreline_height = 1050
largest_angle = 190
may_ease_off = true
homes_with_tube = true
die_drops = 92
[carriage]
reach = [250, 3200]
grip_length = 60
passes_through = true
finish_released = false
may_go_back = true
stand_back = 3111
[rotation]
range = [-360, 360]
zeroed = true
style = "0-360"
counts = "clockwise"
resolution = 0.1
[advance]
zeroed = false
absolute_zero = "collet at farthest"
resolution = 0.05
[mandrel]
rod_length = 3600
rod_diameter = 29
draws_back = true
nose = 12
[clearance]
required = 10
per_metre = 3
to_tooling = 2
to_itself = 4
[[tooling]]
tube_diameter = 38.1
bend_radius = 76.2
clamp_lengths = [115, 77]
shortest_grip = 71
pressure_die_length = 240
pressure_die_follows = true
pressure_rest = 37
shortest_tail = 41
die_height = 91
grip_section = { depth = 57, height = 88, length = 99 }
mandrel = { nose = 6, balls = 3, ball_reach = 47, draws_back_before_end = 8 }
die_hub = { radius = 30, height = 160 }
clamp_block = { width = 120, height = 131, opens = 61 }
pressure_block = { width = 110, height = 132, opens = 42 }
wiper_block = { length = 150, width = 63, height = 64 }
[[solid]]
name = "bed"
moves_with = "frame"
box = { from = [-4200, -140, -1050], to = [-120, 140, -110] }
[[solid]]
name = "post"
moves_with = "arm"
cylinder = { centre = [120, -90], radius = 151, z = [-1050, -260] }
[[solid]]
name = "slide"
moves_with = "pressure die"
box = { from = [-239, 23, -113], to = [-12, 202, -64] }
[speeds]
advance = 251
rotate = 62
bend = 15
return = 33
[times]
regrip = 16
turn = 61
load = 45
clamp = 5
tool_change = 301
[springback]
measured = [[20, 21.6], [120, 123.9]]
[scatter]
angle = 0.21
rotation = 0.22
advance = 0.23
reclamp = { rotation = 0.34, advance = 0.35 }
[rated]
tube_diameter = 76.3
wall = 2.1
yield_strength = 252
"""


def profile() -> dict[str, Any]:
    return tomllib.loads(PROFILE)


def shown(machine: dict[str, Any]) -> str:
    """Return the page of the machine with its lines run together."""
    stream = StringIO()
    print_machine(machine, "towpath.toml", Page(stream))
    return " ".join(stream.getvalue().split())


def numbers_in(value: object) -> list[float]:
    """Return every number of the profile."""
    if isinstance(value, dict):
        return [number for item in value.values() for number in numbers_in(item)]
    if isinstance(value, list):
        return [number for item in value for number in numbers_in(item)]
    return [value] if isinstance(value, int | float) and not isinstance(value, bool) else []


def said_as(number: float) -> list[str]:
    """Return how a number may stand on the page: as it is, or as minutes and seconds."""
    return [f"{number:g}", f"{int(number) // 60} min {int(number) % 60:02d} s"]


def test_every_number_of_the_profile_stands_on_the_page() -> None:
    page = shown(profile())
    missing = [x for x in numbers_in(profile()) if not any(words in page for words in said_as(x))]
    assert missing == []


def test_the_page_speaks_of_head_carriage_and_readouts() -> None:
    page = shown(profile())
    for words in (
        "bends toward the left",
        "so it can re-grip",
        "dial 0 to 360°, counts clockwise seen along the feed",
        "0 with collet at farthest",
        "clamp die 115 or 77 mm long",
        "post: upright cylinder",
        "turns with the bend arm",
        "a setting of 21.6° makes 20°",
        "the carriage can run forward while the arm goes home",
        "the die drops 92 mm before the arm goes home",
        "stands back at 3111 mm while the tube is put on or taken off",
        "on a rod of 3600 mm, 29 mm thick",
        "is drawn back before the tube is rotated",
        "37 mm of it left behind the tangent point when a bend ends",
        "grip section 57 mm deep, 88 mm high, 99 mm long",
        "mandrel 6 mm past the tangent point, with 3 balls to 47 mm, drawn back 8° before the end of the bend",
        "-64) mm, moves with the pressure die",
    ):
        assert words in page, words


def test_a_turn_is_written_turn_end_for_end() -> None:
    assert "a turn end for end takes 1 min 01 s" in shown(profile())


def test_what_a_profile_leaves_out_is_said() -> None:
    short = {
        key: value for key, value in profile().items() if key not in {"carriage", "mandrel", "springback", "rated"}
    }
    page = shown(short)
    for words in ("fed by hand", "Mandrel none", "springback is estimated", "no rating given"):
        assert words in page, words


def test_what_is_left_out_of_the_tooling_is_said_as_it_is_taken() -> None:
    machine = profile()
    for key in ("pressure_rest", "grip_section", "mandrel"):
        del machine["tooling"][0][key]
    del machine["carriage"]["stand_back"]
    page = shown(machine)
    for words in (
        "38.1 mm, a tube diameter, of it left behind",
        "grip section as deep as usual, as high as the die, as long as the clamp die",
        "stands back at 3200 mm",
    ):
        assert words in page, words
    machine["tooling"][0]["pressure_die_follows"] = False
    assert "of it left behind" not in shown(machine)


def test_remarks_and_assumptions_have_sections_of_their_own() -> None:
    stream = StringIO()
    print_machine(profile(), "towpath.toml", Page(stream), ["The arm runs into the bed."], ["A nose is taken for all."])
    page = stream.getvalue()
    assert page.index("Assumed") < page.index("A nose is taken for all.") < page.index("Looked over")
    assert page.endswith("Looked over\n  -  The arm runs into the bed.\n")
    assert shown(profile()).endswith("Looked over: clean")


def test_switches_are_shown_both_ways() -> None:
    machine = profile()
    machine["carriage"] |= {"passes_through": False, "may_go_back": False, "finish_released": True}
    machine["head"] |= {"may_ease_off": False, "homes_with_tube": False, "die_drops": 0}
    machine["mandrel"] = {"rod_length": 3600, "draws_back": False}
    machine["tooling"][0]["grip_section"] = False
    machine["rotation"] |= {"range": "continuous", "zeroed": False, "style": "signed"}
    page = shown(machine)
    for words in (
        "it holds the very end, so there is no re-grip",
        "may not go back",
        "may be made with the collet open",
        "may not be eased off",
        "the carriage cannot run forward while the arm goes home",
        "the die does not drop",
        "as thick as the mandrel is not drawn back",
        "no grip section: the groove ends at the tangent point",
        "turns without end",
        "signed, -180° to 180°",
        "counts on since the load",
    ):
        assert words in page, words


def test_one_line_gives_head_tube_reach_and_mandrel() -> None:
    assert in_one_line(profile()) == (
        "bends toward the left; tube 38.1 mm; collet 250 to 3200 mm from the tangent point; mandrel on a rod of 3600 mm"
    )


def test_the_list_shows_each_machine_with_its_file() -> None:
    stream = StringIO()
    print_machines([("one", "one.toml", "about one"), ("two", "two.toml", "about two")], Page(stream))
    page = stream.getvalue()
    assert page.startswith("2 machines.")
    assert [page.index(words) for words in ("one", "about one", "one.toml", "two.toml")] == sorted(
        page.index(words) for words in ("one", "about one", "one.toml", "two.toml")
    )
