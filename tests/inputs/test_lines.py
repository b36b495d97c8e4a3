"""Lines of keys and entries, against parsing ever longer beginnings of the text (slow, but plainly right)."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import pytest

from planner.inputs.lines import Path, lines_of_json, lines_of_toml
from planner.inputs.profiles import packaged_folder

AWKWARD = '''\
# a comment with = and [ and "
"quoted key" = "a # b"   # and a comment
dotted.deep.key = 1
'literal' = 'c:\\path'
text = """
[not a table]
no = "key"
say ""two"" quotes\\"""" # end
raw = \'\'\'
''it''
\'\'\'
when = 1979-05-27T07:32:00Z
list = [ # comment ]
  [1, 2], # [9]
  [ "a,]", { x = 1, "y.z" = [3] } ],

  [],
]
empty = {}
[ table . "sub.table" ]
key = 1_000
[[many]]
a = 1
[many.inner]
b = 2
[[many]]
a = 3
[[many.nested]]
c = 4
[[many.nested]]
c = 5
'''


def paths(value: Any, path: Path = ()) -> dict[Path, Any]:
    """Every key and entry of a parsed document."""
    found: dict[Path, Any] = {}
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in items:
        found[(*path, step)] = inner
        found.update(paths(inner, (*path, step)))
    return found


def first_line_by_prefixes(text: str, path: Path) -> int:
    """The first line after which the text, if it parses, holds the path; multi-line values end, not begin, there."""
    lines = text.split("\n")
    for count in range(1, len(lines) + 1):
        try:
            document = tomllib.loads("\n".join(lines[:count]))
        except tomllib.TOMLDecodeError:
            continue
        if path in paths(document):
            return count
    raise AssertionError(path)


def test_every_key_and_entry_of_an_awkward_file_has_a_line() -> None:
    assert set(lines_of_toml(AWKWARD)) == set(paths(tomllib.loads(AWKWARD)))


def test_lines_of_an_awkward_file_by_hand() -> None:
    lines = lines_of_toml(AWKWARD)
    wanted: dict[Path, int] = {
        ("quoted key",): 2,
        ("dotted", "deep", "key"): 3,
        ("literal",): 4,
        ("text",): 5,
        ("raw",): 9,
        ("when",): 12,
        ("list",): 13,
        ("list", 0): 14,
        ("list", 1, 1, "y.z", 0): 15,
        ("list", 2): 17,
        ("empty",): 19,
        ("table", "sub.table", "key"): 21,
        ("many", 0, "a"): 23,
        ("many", 0, "inner", "b"): 25,
        ("many", 1): 26,
        ("many", 1, "a"): 27,
        ("many", 1, "nested", 1, "c"): 31,
    }
    assert {path: lines[path] for path in wanted} == wanted


@pytest.mark.parametrize("name", ["canal-workshop", "three-axis", "long-bed", "under-the-loft"])
def test_lines_of_the_profiles_agree_with_parsing_beginnings(name: str) -> None:
    text = (packaged_folder() / f"{name}.toml").read_text(encoding="utf-8")
    lines = lines_of_toml(text)
    found = paths(tomllib.loads(text))
    assert set(lines) == set(found)
    for path in list(found)[:: max(1, len(found) // 25)]:
        assert lines[path] == first_line_by_prefixes(text, path), path


def test_lines_of_json_spread_over_lines() -> None:
    data = {"a": [1, [2, {"b": "c,]"}], []], "d": {"e": None, 'f"': {}}, "g": True}
    text = json.dumps(data, indent=2)
    lines = lines_of_json(text)
    assert set(lines) == set(paths(data))
    rows = text.splitlines()
    for path in lines:
        if isinstance(path[-1], str):
            assert rows[lines[path] - 1].strip().startswith(json.dumps(path[-1]))
    assert lines[("a", 1, 1, "b")] == 7  # counted by hand: { "a": [ 1, [ 2, { "b"
