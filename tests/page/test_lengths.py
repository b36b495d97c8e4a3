"""Lengths in inches: the planner's sentences keep their meaning, nothing is rounded to the unsafe side, typed numbers are never guessed."""

from __future__ import annotations

import ast
import math
import re
from collections.abc import Iterator
from dataclasses import asdict
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner import check, load_machine, load_part, plan, why
from planner.inputs.quantities import MM_PER_INCH
from planner.page.lengths import (
    INCH,
    Misread,
    at_least_shown,
    at_most_shown,
    figure,
    has_decimal_comma,
    in_unit,
    number_of,
    shown,
    text_of,
    typed_in,
)

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


SENTENCES = {
    "Straight 1 between bends 1 and 2 is 55.0 mm; the later of the two must be gripped on it, and the shortest clamp is"
    " 76.0 mm.": "Straight 1 between bends 1 and 2 is 2.165 in; the later of the two must be gripped on it, and the"
    " shortest clamp is 2.992 in.",
    "The leading part swings: nobody within 0.45 m of the die's axis. Hands off.":
        "The leading part swings: nobody within 17.8 in of the die's axis. Hands off.",
    "The tube sweeps the floor up to 2.3 m ahead of the tangent point, 2.2 m behind it, 0.4 m to the left and 0.7 m to"
    " the right of the feed: nobody stands there while it moves.":
        "The tube sweeps the floor up to 90.6 in ahead of the tangent point, 86.7 in behind it, 15.8 in to the left and"
        " 27.6 in to the right of the feed: nobody stands there while it moves.",
    "Tube, arm and clamp sweep the floor up to 1.1 m ahead of the tangent point, 1.0 m behind it, 0.4 m to the left and"
    " 0.5 m to the right of the feed: nobody stands there while they move.":
        "Tube, arm and clamp sweep the floor up to 43.4 in ahead of the tangent point, 39.4 in behind it, 15.8 in to the"
        " left and 19.7 in to the right of the feed: nobody stands there while they move.",
    "Crush gaps: tube or arm come within 40 mm of the post, 13 mm of the bed; a body needs 500 mm (ISO 13854).":
        "Crush gaps: tube or arm come within 1.574 in of the post, 0.511 in of the bed; a body needs 19.686 in (ISO 13854).",
    "The arm goes home by power: nobody within 0.45 m of the die's axis.":
        "The arm goes home by power: nobody within 17.8 in of the die's axis.",
    "Bend 1: the pressure die, 200.0 mm long, follows the tube by 165.1 mm; 34.9 mm of it are left behind the tangent"
    " point, the tooling needs 38.1 mm.":
        "Bend 1: the pressure die, 7.874 in long, follows the tube by 6.500 in; 1.374 in of it are left behind the tangent"
        " point, the tooling needs 1.500 in.",
    "A pressure die of 204.0 mm instead of 200.0 mm: one 4.0 mm longer to make.":
        "A pressure die of 8.032 in instead of 7.874 in: one 0.158 in longer to make.",
    "Push the tube forward by hand by 80.0 mm, out of the die's groove; the arm stands.":
        "Push the tube forward by hand by 3.150 in, out of the die's groove; the arm stands.",
    "Tube and arm go together: the tube is run forward by 36.3 mm meanwhile.":
        "Tube and arm go together: the tube is run forward by 1.429 in meanwhile.",
    " The collet stands open, its face 3200.0 mm from the tangent point.":
        " The collet stands open, its face 125.984 in from the tangent point.",
    "Close the collet with its face 40.0 mm from the tail end.": "Close the collet with its face 1.575 in from the tail end.",
    "with the collet's face 297.2 mm from the tangent point": "with the collet's face 11.701 in from the tangent point",
    "it takes up to 2.2 m of room ahead of the die": "it takes up to 86.7 in of room ahead of the die",
    "1.6 m of tube stand ahead of the die: support it": "63.0 in of tube stand ahead of the die: support it",
    "straight 0 strikes the floor, 226.2 mm deep, 0° into the swing": "straight 0 strikes the floor, 8.906 in deep, 0° into the swing",
    "straight 1 strikes the rack 2, 30.0 mm deep": "straight 1 strikes the rack 2, 1.181 in deep",
    "straight 1 presses 1.2 mm into the post, 0.5 allowed": "straight 1 presses 0.048 in into the post, 0.019 allowed",
    "bend 1 comes within 3.0 mm of the arm, 10.0 required": "bend 1 comes within 0.118 in of the arm, 0.394 required",
    "10.0 mm required; with 9.0 mm required, 1.0 mm less, this would be clear":
        "0.394 in required; with 0.354 in required, 0.040 in less, this would be clear",
    "1 re-clamp, 0 mm of trim, 171 s, smallest clearance 24.9 mm: 2B 1B": "1 re-clamp, 0 in of trim, 171 s, smallest clearance 0.980 in: 2B 1B",
    "more than 1000.0 mm": "more than 39.370 in",
    "the tooling needs 76.0 mm": "the tooling needs 2.993 in",
    "clamp die 115 or 76 mm long": "clamp die 4.528 or 2.992 in long",
    "115, 76 mm is out of order": "4.528, 2.992 in is out of order",
    "tube 25.4, 31.8 and 38.1 mm": "tube 1.000, 1.252 and 1.500 in",
    "wiper block 150 x 60 x 60 mm": "wiper block 5.906 x 2.362 x 2.362 in",
    "bed: box from (-4200, -120, -1050) to (-120, 120, -150) mm, stands still":
        "bed: box from (-165.354, -4.724, -41.339) to (-4.724, 4.724, -5.906) in, stands still",
    "closest 3000, farthest 250 mm": "closest 118.110, farthest 9.843 in",
    "near 1.0, -2.0, 3.0 mm (bend 1 starts along +x)": "near 0.039, -0.079, 0.118 in (bend 1 starts along +x)",
    "5 mm more for each metre ahead of the tangent point": "0.060 in more for each foot ahead of the tangent point",
    "advance 250 mm/s, rotate 60 °/s": "advance 9.843 in/s, rotate 60 °/s",
    "no grip keeps the travel once the numbers are rounded to 0.01 mm": "no grip keeps the travel once the numbers are rounded to 0.0004 in",
    "Straight 1 longer by 21.0 mm: 76.0 mm on the drawing instead of 55.0 mm. Every smaller whole millimetre is proved"
    " too little. Planned again so, it takes 0.0 mm of trim, the smallest clearance 10.4 mm.":
        "Straight 1 longer by 0.827 in: 2.993 in on the drawing instead of 2.165 in. Every smaller whole millimetre is"
        " proved too little. Planned again so, it takes 0 in of trim, the smallest clearance 0.409 in.",
    "A clearance of 5.0 mm to machine and floor instead of 10.0 mm": "A clearance of 0.196 in to machine and floor instead of 0.394 in",
    "A pit 66.0 mm deep where the tube swings. It takes 0 s, the smallest clearance 17.2 mm.":
        "A pit 2.599 in deep where the tube swings. It takes 0 s, the smallest clearance 0.677 in.",
    'The machine "mandrel bender, 76 mm class" instead': 'The machine "mandrel bender, 76 mm class" instead',
    "made on the long bender, 80 mm class (invented)": "made on the long bender, 80 mm class (invented)",
    "a bending moment of 1.25 kN m to yield": "a bending moment of 1.25 kN m to yield",
    "a yield strength of 205 MPa, 4 min 05 s, 12.5°": "a yield strength of 205 MPa, 4 min 05 s, 12.5°",
    "radius, mm": "radius, in",
    "Vertices [mm]": "Vertices [in]",
}  # fmt: skip


@pytest.mark.parametrize(("sentence", "inches"), SENTENCES.items())
def test_a_sentence_says_the_same_in_inches(sentence: str, inches: str) -> None:
    assert in_unit(sentence, "in") == inches
    assert in_unit(sentence, "mm") == sentence


def test_lengths_in_the_names_of_parts_and_solids_are_left_alone() -> None:
    sentence = "rail 40 mm (38.1 mm tube) strikes the rack 2, 30.0 mm deep"
    assert in_unit(sentence, "in", ["rail 40 mm"]) == "rail 40 mm (1.500 in tube) strikes the rack 2, 1.181 in deep"
    assert in_unit("the jig 3 mm, 30.0 mm deep", "in", ["jig 3 mm", "", " "]) == "the jig 3 mm, 1.181 in deep"


# All sentences of the planner ---------------------------------------------------------------------------------------

LEFT_OVER = re.compile(r"\bmm\b|\d m\b|\bmetres?\b")
KEPT = re.compile(r'"[^"]*"|\d+ mm class|kN m\b|: metres typed for mm\?$')


def texts(value: Any) -> Iterator[str]:
    """Every text in a document."""
    if isinstance(value, dict):
        for inner in value.values():
            yield from texts(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from texts(inner)
    elif isinstance(value, str):
        yield value


SIDES = {
    "proved or kept": (re.compile(r"clearance $"), re.compile(r" mm"), "down"),
    "room, or keep out": (re.compile(r""), re.compile(r" m\b"), "up"),
    "what is missing": (re.compile(r""), re.compile(r" mm (?:too short|are missing)"), "up"),
    "what is needed": (re.compile(r"needs $"), re.compile(r" mm"), "up"),
}
"""Which side a length may be rounded to, by what stands before and behind it."""


def agree(sentence: str, inches: str) -> set[str]:
    """The same numbers stand in both sentences in the same order, each unchanged or in inches within the rounding, and
    on the safe side where there is one; returns which sides were asked for."""
    numbers, asked = r"(?<![\w.])-?\d+(?:\.\d+)?", set()
    before, after = list(re.finditer(numbers, sentence)), re.findall(numbers, inches)
    assert len(before) == len(after)
    assert re.sub(numbers, "#", sentence).replace(" mm", " in").replace("# m ", "# in ") == re.sub(
        numbers, "#", inches
    ).replace(" mm", " in")
    for one, other in zip(before, after, strict=True):
        if one[0] == other:
            continue
        behind = sentence[one.end() :]
        length = float(one[0]) * (1000.0 if re.match(r" m\b", behind) else 1.0)
        back, decimals = float(other) * IN, len(other.partition(".")[2])
        assert abs(back - length) <= IN * 10.0**-decimals * (1.0 + 1e-9), sentence
        for name, (ends, begins, side) in SIDES.items():
            if ends.search(sentence[: one.start()]) and begins.match(behind):
                asked.add(name)
                assert (back - length) * (1 if side == "up" else -1) >= -1e-9, sentence
    return asked


SOME = ("fender-hook", "lockside-rail", "seat-stay", "tiller-bracket")
"""Trim and broken rules, a turn, a change of clamps, and changes of an impossible part."""


def test_nothing_is_left_in_millimetres_of_what_is_said_of_the_examples(campaign: bool) -> None:
    every = sorted(path.stem for path in (HOME / "examples").glob("*.toml"))
    machines = [load_machine(path.stem) for path in sorted((HOME / "machine_profiles").glob("*.toml"))]
    found: dict[str, None] = {}
    for name in every if campaign else SOME:
        part = load_part(HOME / "examples" / f"{name}.toml")
        machine = load_machine(part.machine or "")
        for document in (
            plan(part, machine, alternatives=True),
            why(part, machine, machines=machines if campaign else []),
        ):
            found |= dict.fromkeys(texts(document.model_dump(mode="json", exclude={"part", "machine"})))
        if campaign or name in ("seat-stay", "tiller-bracket"):
            found |= dict.fromkeys(text for line in check(part, machines) for text in texts(asdict(line)))
    sentences = [text for text in found if " " in text]  # a step's unit is no sentence
    assert sum(bool(re.search(r"\d (?:mm|m)\b", sentence)) for sentence in sentences) > 40
    asked: set[str] = set()
    for sentence in sentences:
        said = in_unit(sentence, "in")
        assert not LEFT_OVER.search(KEPT.sub("", said)), said
        asked |= agree(sentence, said)
        assert in_unit(sentence, "mm") == sentence
    assert asked == SIDES.keys()
    assert any(sentence.startswith("No tooling for tube") for sentence in sentences)


def written(node: ast.JoinedStr) -> str:
    """An f-string with a number for every figure, and a word for everything else."""
    said = ""
    for i, piece in enumerate(node.values):
        if isinstance(piece, ast.Constant):
            said += str(piece.value)
        elif isinstance(piece, ast.FormattedValue):
            following = node.values[i + 1] if i + 1 < len(node.values) else None
            then = str(following.value) if isinstance(following, ast.Constant) else ""
            point = said.endswith("(") and then.startswith(")")
            number = piece.format_spec is not None or then.startswith((" mm", " m", "°"))
            said += "1, -2, 3.5" if point else "12.5" if number else "word"
    return said


SAID = ("plans", "rules", "search", "advice", "inputs", "lookover", "outputs/machine_page.py", "errors.py", "words.py")


def sentences_in_the_source() -> list[str]:
    """Every f-string with a length in the modules that make the sentences that the page shows."""
    files = [
        path for name in SAID for path in ([PLANNER / name] if name.endswith(".py") else (PLANNER / name).glob("*.py"))
    ]
    nodes = (node for path in sorted(files) for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    said = {written(node) for node in nodes if isinstance(node, ast.JoinedStr)}
    return sorted(sentence for sentence in said if re.search(r" mm\b| m\b", sentence))


def test_nothing_is_left_in_millimetres_of_any_sentence_that_can_be_said() -> None:
    sentences = sentences_in_the_source()
    assert len(sentences) > 80
    left = [in_unit(sentence, "in") for sentence in sentences]
    assert [said for said in left if re.search(r"\bmm\b|\d m\b", KEPT.sub("", said))] == []


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
