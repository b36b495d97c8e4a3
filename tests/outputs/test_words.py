"""Numbers and lists read as a shop writes them."""

from __future__ import annotations

import pytest

from planner.words import (
    at_least,
    counted,
    decimals_of,
    degrees,
    duration,
    listed,
    millimetres,
    minutes,
    number,
    numbers,
    plain,
    size,
)


@pytest.mark.parametrize(("resolution", "decimals"), [(1.0, 0), (0.5, 1), (0.1, 1), (0.05, 2), (0.25, 2), (0.001, 3)])
def test_a_readout_shows_as_many_decimals_as_its_resolution_has(resolution: float, decimals: int) -> None:
    assert decimals_of(resolution) == decimals


def test_a_proved_bound_is_never_rounded_up() -> None:
    assert [at_least(x) for x in (14.29, 14.3, 0.09, 10.0)] == ["14.2 mm", "14.3 mm", "0.0 mm", "10.0 mm"]


def test_there_is_no_minus_zero() -> None:
    assert number(-0.04) == "0.0"
    assert number(-0.06) == "-0.1"
    assert degrees(-0.0, 0) == "0°"
    assert millimetres(-12.34) == "-12.3 mm"


def test_sizes_stand_as_on_the_drawing() -> None:
    assert [size(x) for x in (38.1, 1.65, 20, 100.0, 0.0)] == ["38.1", "1.65", "20", "100", "0"]


def test_times_are_in_the_units_that_people_use() -> None:
    assert [duration(s) for s in (4.2, 59.6, 245.0, 3725.0, 3599.9)] == [
        "4 s",
        "1 min 00 s",
        "4 min 05 s",
        "1 h 02 min",
        "1 h 00 min",
    ]
    assert [minutes(s) for s in (0.0, 45.2, 60.0, 245.0)] == ["0:00", "0:45", "1:00", "4:05"]


def test_lists_end_in_and() -> None:
    assert [listed("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert listed("ab", last="or") == "a or b"


def test_runs_of_steps_are_shortened() -> None:
    assert numbers([9, 1, 3, 4, 5]) == "1, 3 to 5 and 9"
    assert numbers([1, 2]) == "1 and 2"


def test_one_and_many() -> None:
    assert [counted(n, "bend") for n in (0, 1, 2)] == ["0 bends", "1 bend", "2 bends"]
    assert counted(2, "turn end for end", "turns end for end") == "2 turns end for end"


def test_control_characters_become_blanks() -> None:
    assert plain("a\x1b[2J\nb\u202ec") == "a [2J b c"
