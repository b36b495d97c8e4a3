"""Whatever stands wherever in a document, the answer is a model or one error with its place, never a traceback."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import InputError
from planner.inputs.files import machine_from_data, part_from_data
from planner.inputs.lines import Path
from planner.inputs.profiles import packaged_folder
from tests.inputs.parts import RAIL

MACHINE = tomllib.loads((packaged_folder() / "three-axis.toml").read_text(encoding="utf-8"))
ODD: list[Any] = [
    None,
    float("nan"),
    float("inf"),
    -1,
    0,
    1e308,
    10**400,
    "x",
    "",
    [],
    {},
    [[1]],
    True,
    [1, 2, 3],
    {"a": 1},
]


def paths(value: Any, path: Path = ()) -> list[Path]:
    """Every key and entry of a document."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [found for step, inner in items for found in [(*path, step), *paths(inner, (*path, step))]]


def spoiled(document: Any, path: Path, value: Any) -> Any:
    """Return the document with another value at a path."""
    copied = copy.deepcopy(document)
    here = copied
    for step in path[:-1]:
        here = here[step]
    here[path[-1]] = value
    return copied


def refusal(read: Callable[[Any, str], object], document: Any) -> InputError | None:
    """Return the error of a document, None if it is read."""
    try:
        read(document, "file")
    except InputError as error:
        return error
    return None


def check(error: InputError | None) -> None:
    if error is not None:
        assert error.file == "file"
        assert error.key is not None
        assert error.allowed
        json.dumps(error.as_dict(), allow_nan=False)


@given(st.sampled_from(paths(RAIL)), st.sampled_from(ODD))
def test_a_part_with_an_odd_value_anywhere_is_read_or_refused(path: Path, value: Any) -> None:
    check(refusal(part_from_data, spoiled(RAIL, path, value)))


@given(st.sampled_from(paths(MACHINE)), st.sampled_from(ODD))
def test_a_profile_with_an_odd_value_anywhere_is_read_or_refused(path: Path, value: Any) -> None:
    check(refusal(machine_from_data, spoiled(MACHINE, path, value)))


@pytest.mark.parametrize("value", [value for value in ODD if value not in (0, -1)])
def test_no_odd_value_passes_for_a_length(value: Any) -> None:
    with pytest.raises(InputError):
        part_from_data(spoiled(RAIL, ("tube", "outside_diameter"), value), "part")
