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
[carriage]
reach = [250, 3200]
grip_length = 60
passes_through = true
finish_released = false
may_go_back = true
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
shortest_tail = 41
die_height = 91
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


def test_switches_are_shown_both_ways() -> None:
    machine = profile()
    machine["carriage"] |= {"passes_through": False, "may_go_back": False, "finish_released": True}
    machine["head"]["may_ease_off"] = False
    machine["rotation"] |= {"range": "continuous", "zeroed": False, "style": "signed"}
    page = shown(machine)
    for words in (
        "it holds the very end, so there is no re-grip",
        "may not go back",
        "may be made with the collet open",
        "may not be eased off",
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
