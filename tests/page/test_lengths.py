"""Lengths in inches: nothing is rounded to the unsafe side, typed numbers are never guessed."""

from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.inputs.quantities import MM_PER_INCH
from planner.page.lengths import Misread, has_decimal_comma, number_of, text_of, typed_in
from planner.wording.figures import INCH, at_least_shown, at_most_shown, figure, shown

HOME = Path(__file__).resolve().parents[2]
PLANNER = HOME / "planner"

YARD = Fraction(9144, 10)
"""[mm], exact: the international yard of 1959 ("Refinement of values for the yard and the pound", F.R. Doc. 59-5442)."""

IN = float(YARD / 36)
"""[mm], exact: 36 inches are a yard, so an inch is 25.4 mm; ISO 80000-3 and NIST SP 811, B.8, have the same."""


def test_an_inch_is_the_36th_part_of_the_yard_of_1959() -> None:
    assert Decimal("25.4") == INCH
    assert Fraction(INCH) == YARD / 36
    assert Fraction(str(MM_PER_INCH)) == YARD / 36


# Figures ------------------------------------------------------------------------------------------------------------

lengths = st.floats(-1e5, 1e5)


@given(lengths, st.sampled_from(["mm", "in"]), st.sampled_from([None, 0, 1, 2, 4]))
def test_what_is_kept_is_shown_rounded_down_and_what_is_kept_clear_rounded_up(
    mm: float, unit: Any, decimals: int | None
) -> None:
    scale = 1.0 if unit == "mm" else IN
    least, nearest, most = (f(mm, unit, decimals) for f in (at_least_shown, shown, at_most_shown))
    assert all(text.endswith(f" {unit}") and not re.match(r"-0\.?0* ", text) for text in (least, nearest, most))
    down, near, up = (float(text.split()[0]) * scale for text in (least, nearest, most))
    places = {"mm": 1, "in": 3}[unit] if decimals is None else decimals
    assert down <= mm + 1e-9 * max(1.0, abs(mm))
    assert up >= mm - 1e-9 * max(1.0, abs(mm))
    assert abs(near - mm) <= 0.5 * scale * 10.0**-places + 1e-8
    assert up - down <= scale * 10.0**-places + 1e-8
    assert nearest == f"{figure(mm, unit, decimals)} {unit}"


@pytest.mark.parametrize(("mm", "least", "most"), [(14.2, "14.2 mm", "14.2 mm"), (0.3, "0.3 mm", "0.3 mm"), (-0.04, "-0.1 mm", "0.0 mm"), (24.96, "24.9 mm", "25.0 mm")])  # fmt: skip
def test_the_noise_of_binary_numbers_costs_no_tenth(mm: float, least: str, most: str) -> None:
    assert at_least_shown(mm, "mm") == least
    assert at_most_shown(mm, "mm") == most


# Typed numbers ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit", "number"),
    [
        ("12.5", "mm", 12.5), ("  7 ", "mm", 7), ("+5", "mm", 5), ("5.", "mm", 5), (".5", "mm", 0.5), ("1e3", "mm", 1000),
        ("−5", "deg", -5), ("\u00a07\u202f", "mm", 7), ("\ufeff7", "mm", 7),
        ("90°", "deg", 90), ("90 deg", "deg", 90), ("12 mm", "mm", 12), ('1.5"', "in", 1.5), ("1.5 IN", "in", 1.5),
        ("205 N/mm²", "MPa", 205), ("250 mm/s", "mm/s", 250), ("4 s", "s", 4),
        ("12,5", "mm", 12.5), ("0,125", "mm", 0.125), ("1234,567", "mm", 1234.567), ("-,25", "mm", -0.25), ("1,2345", "mm", 1.2345),
    ],
)  # fmt: skip
def test_a_number_that_can_mean_one_thing_only_is_taken(text: str, unit: str, number: float) -> None:
    assert number_of(text, unit) == number


@pytest.mark.parametrize(
    ("text", "unit", "words", "suggestion"),
    [
        ("", "mm", "empty", None), ("abc", "mm", "no number", None), ("°", "deg", "no number", None), ("-", "mm", "no number", None),
        ("1,234", "mm", "1.234 or 1234", None), ("-12,000", "mm", "-12.000 or -12000", None),
        ("1,234.5", "mm", "thousands", "1234.5"), ("1.234,5", "mm", "thousands", "1234.5"), ("1 234", "mm", "thousands", "1234"),
        ("1\u00a0234,5", "mm", "thousands", "1234.5"), ("1'234.5", "mm", "thousands", "1234.5"), ("1,234,567", "mm", "thousands", None),
        ("1.234.567", "mm", "thousands", None), ("123,456.7", "mm", "thousands", "123456.7"), ("5000 m", "mm", "in m", None), ("-1,234.5", "mm", "thousands", "-1234.5"),
        ("1/2", "in", "fraction", "0.5"), ("1 1/2", "in", "fraction", "1.5"), ("-3-1/8\"", "in", "fraction", "-3.125"), ("1/0", "in", "no number", None),
        ('2"', "mm", "in inches; this cell has mm", "50.8"), ("2 cm", "mm", "in cm", "20"), ("50.8 mm", "in", "in mm; this cell has inches", "2"),
        ("1 rad", "deg", "in rad", "57.29578"), ("90°", "mm", "in degrees; this cell has mm", None), ("5 min", "in", "no number", None),
        ("nan", "mm", "no number to work with", None), ("-Infinity", "mm", "no number to work with", None), ("1e999", "mm", "too large", None),
        ("1000001", "mm", "too large", None), ("1e400 cm", "mm", "in cm", None), ("–5", "deg", "dash instead of a minus", "-5"),
        ("1_000", "mm", "no number", None), ("١٢", "mm", "no number", None), ("#REF!", "mm", "spreadsheet", None),
        ("12 13", "mm", "more than one number", None), ("1" * 201, "mm", "no number", None),
    ],
)  # fmt: skip
def test_anything_else_is_refused_with_what_may_be_meant(
    text: str, unit: str, words: str, suggestion: str | None
) -> None:
    misread = number_of(text, unit)
    assert isinstance(misread, Misread)
    assert words in misread.problem
    assert misread.suggestion == suggestion
    assert misread.allowed
    if suggestion is not None:
        assert isinstance(number_of(suggestion, unit), float)


def test_beside_decimal_commas_a_point_may_part_thousands() -> None:
    assert has_decimal_comma(["100", "12,5 mm"])
    assert not has_decimal_comma(["100", "1,234", "a,b", "1,2,3", ""])
    assert isinstance(number_of("1.234", "mm", commas=True), Misread)
    assert number_of("1.23", "mm", commas=True) == 1.23
    assert number_of("0.125", "mm", commas=True) == 0.125


@given(
    st.text() | st.text("0123456789.,-+ eE'/°\"inm"),
    st.sampled_from(["mm", "in", "deg", "MPa", "s", "mm/s", "deg/s", ""]),
)
def test_any_text_is_a_number_to_work_with_or_refused(text: str, unit: str) -> None:
    value = number_of(text, unit)
    if isinstance(value, float):
        assert math.isfinite(value)
        assert abs(value) <= 1e6
    else:
        assert value.problem
        assert value.allowed


@given(st.floats(-1e6, 1e6))
def test_a_number_is_typed_as_it_reads_back(value: float) -> None:
    text = text_of(value)
    assert float(text) == value
    assert re.fullmatch(r"-?\d+(\.\d+)?", text)
    assert text != "-0"


@given(st.integers(-(10**14), 10**14).map(lambda n: n / 10**9))
def test_a_length_in_mm_is_the_same_length_in_inches_and_back(mm: float) -> None:
    text = text_of(mm)
    inches = typed_in(text, "mm", "in")
    assert round(float(inches) * IN, 9) == round(mm, 9)
    assert typed_in(inches, "in", "mm") == text


@given(st.integers(-(10**10), 10**10).map(lambda n: n / 10**6))
def test_a_length_in_inches_is_the_same_length_in_mm_and_back(inches: float) -> None:
    text = text_of(inches)
    assert typed_in(typed_in(text, "in", "mm"), "mm", "in") == text


def test_what_is_no_number_stays_as_it_was_typed() -> None:
    assert typed_in("1,234", "mm", "in") == "1,234"
    assert typed_in("38.1", "mm", "in") == "1.5"
    assert typed_in("1/2", "in", "mm") == "1/2"
