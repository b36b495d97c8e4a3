"""Sentences say the same in inches as in millimetres, on the safe side, and every sentence of a document has its fact."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from planner import check, load_machine, load_part, plan, why
from planner.errors import InputError, NoTooling, SelfCrossing
from planner.facts import Fact, Quantity, angle, fact, kept, length, metres, needed, proved, size
from planner.inputs.files import machine_from_data
from planner.outputs.check_page import check_document
from planner.wording.say import say

HOME = Path(__file__).resolve().parents[1]
PLANNER = HOME / "planner"

IN = 25.4
"""[mm], exact: 36 inches are a yard of 914.4 mm (1959, F.R. Doc. 59-5442), so an inch is 25.4 mm; NIST SP 811, B.8."""

SENTENCES: list[tuple[Fact, str, str]] = [
    (fact("straight-under-the-clamp-either-way", straight=1, first=1, second=2, there=length(55), shortest=length(76)),
     ("Straight 1 between bends 1 and 2 is 55.0 mm; the later of the two must be gripped on it, and the shortest clamp is"
     " 76.0 mm."),
     ("Straight 1 between bends 1 and 2 is 2.165 in; the later of the two must be gripped on it, and the shortest clamp is"
     " 2.992 in.")),
    (fact("swings", reach=metres(450, 2, "at most")),
     "The leading part swings: nobody within 0.45 m of the die's axis. Hands off.",
     "The leading part swings: nobody within 17.8 in of the die's axis. Hands off."),
    (fact("keep-clear", ahead=metres(1100, 1, "at most"), behind=metres(1000, 1, "at most"),
          left=metres(400, 1, "at most"), right=metres(500, 1, "at most")),
     ("Tube, arm and clamp sweep the floor up to 1.1 m ahead of the tangent point, 1.0 m behind it, 0.4 m to the left and"
     " 0.5 m to the right of the feed: nobody stands there while they move."),
     ("Tube, arm and clamp sweep the floor up to 43.4 in ahead of the tangent point, 39.4 in behind it, 15.8 in to the"
     " left and 19.7 in to the right of the feed: nobody stands there while they move.")),
    (fact("crush-gaps", gaps=(fact("gap-to", gap=kept(40, 0), solid="post"), fact("gap-to", gap=kept(13, 0), solid="bed")),
          body=needed(500, 0)),
     ("Crush gaps: tube or arm come within 40 mm of the post, 13 mm of the bed; a body needs 500 mm (ISO 13854). Nobody"
     " stands or reaches in there while the machine is live."),
     ("Crush gaps: tube or arm come within 1.574 in of the post, 0.511 in of the bed; a body needs 19.686 in (ISO 13854)."
     " Nobody stands or reaches in there while the machine is live.")),
    (fact("pressure-die-too-short", bend=1, length=length(200), gone=length(165.1), left=kept(34.9), needed=needed(38.1)),
     ("Bend 1: the pressure die, 200.0 mm long, follows the tube by 165.1 mm; 34.9 mm of it are left behind the tangent"
     " point, the tooling needs 38.1 mm."),
     ("Bend 1: the pressure die, 7.874 in long, follows the tube by 6.500 in; 1.374 in of it are left behind the tangent"
     " point, the tooling needs 1.500 in.")),
    (fact("change-pressure-die", then=needed(204), now=length(200), amount=needed(4)),
     "A pressure die of 204.0 mm instead of 200.0 mm: one 4.0 mm longer to make.",
     "A pressure die of 8.032 in instead of 7.874 in: one 0.158 in longer to make."),
    (fact("put-on", room=metres(2200, 1, "at most")),
     "Put it on from the front over the mandrel; it takes up to 2.2 m of room ahead of the die.",
     "Put it on from the front over the mandrel; it takes up to 86.7 in of room ahead of the die."),
    (fact("strikes", solid="rack 2", deep=length(30)), "strikes the rack 2, 30.0 mm deep", "strikes the rack 2, 1.181 in deep"),
    (fact("presses", solid="post", deep=needed(1.2), allowed=kept(0.5)),
     "presses 1.2 mm into the post, 0.5 allowed", "presses 0.048 in into the post, 0.019 allowed"),
    (fact("comes-within", solid="arm", gap=kept(3), required=needed(10)),
     "comes within 3.0 mm of the arm, 10.0 required", "comes within 0.118 in of the arm, 0.394 required"),
    (fact("clear-with-less-required", needed=needed(10), enough=kept(9), less=needed(1)),
     "10.0 mm required; with 9.0 mm required, 1.0 mm less, this would be clear",
     "0.394 in required; with 0.354 in required, 0.040 in less, this would be clear"),
    (fact("other-way", reclamps=1, trim=size(0), time=Quantity(171, "s", "nearest", 0), clearance=proved(24.97), order="2B 1B"),
     "1 re-clamp, 0 mm of trim, 171 s, smallest clearance 24.9 mm: 2B 1B (bend and leading end).",
     "1 re-clamp, 0 in of trim, 171 s, smallest clearance 0.980 in: 2B 1B (bend and leading end)."),
    (fact("tail-too-short", bend=2, leads="A", left=length(40), needed=needed(76)),
     ("Bend 2 with end A leading: 40.0 mm of tube are left behind the tangent point when the bend ends; the tooling needs"
     " 76.0 mm."),
     ("Bend 2 with end A leading: 1.575 in of tube are left behind the tangent point when the bend ends; the tooling needs"
     " 2.993 in.")),
    (fact("clamps-out-of-order", lengths=(size(115), size(76))), "115, 76 mm is out of order", "4.528, 2.992 in is out of order"),
    (fact("reach-out-of-order", closest=size(3000), farthest=size(250)),
     "closest 3000, farthest 250 mm", "closest 118.110, farthest 9.843 in"),
    (fact("near", x=length(1, 0), y=length(-2, 0), z=length(3, 0)), ", near (1, -2, 3) mm", ", near (0.039, -0.079, 0.118) in"),
    (fact("no-grip-as-rounded", bend=2, leads="B", resolution=size(0.01)),
     "Bend 2 with end B leading: no grip keeps the carriage's travel once the numbers are rounded to 0.01 mm.",
     "Bend 2 with end B leading: no grip keeps the carriage's travel once the numbers are rounded to 0.0004 in."),
    (fact("change", what=(fact("change-straight", where="straight 1", amount=needed(21), then=needed(76), now=length(55)),),
          least=fact("less-is-too-little"),
          result=fact("planned-again", reclamps=0, trim=length(0), clearance=proved(10.4))),
     ("Straight 1 longer by 21.0 mm: 76.0 mm on the drawing instead of 55.0 mm. Every smaller whole millimetre is proved"
     " too little. Planned again so, it takes 0 re-clamps and 0.0 mm of trim, the smallest clearance 10.4 mm."),
     ("Straight 1 longer by 0.827 in: 2.993 in on the drawing instead of 2.165 in. Every smaller whole millimetre is"
     " proved too little. Planned again so, it takes 0 re-clamps and 0 in of trim, the smallest clearance 0.409 in.")),
    (fact("change-clearance", then=kept(5), now=length(10), amount=needed(5)),
     ("A clearance of 5.0 mm to machine and floor instead of 10.0 mm: sag and a crooked set-up have 5.0 mm less to use up,"
     " so make the first part slowly."),
     ("A clearance of 0.196 in to machine and floor instead of 0.394 in: sag and a crooked set-up have 0.197 in less to"
     " use up, so make the first part slowly.")),
    (fact("change-machine", machine="mandrel bender, 76 mm class"),
     'The machine "mandrel bender, 76 mm class" instead: its own tooling to set up.',
     'The machine "mandrel bender, 76 mm class" instead: its own tooling to set up.'),
    (fact("rated-capacity", moment=Quantity(1.25, "kN m", "nearest", 2), rated=Quantity(1.0, "kN m", "nearest", 2)),
     "The tube takes a bending moment of 1.25 kN m to yield; the machine is rated for 1.00 kN m.",
     "The tube takes a bending moment of 1.25 kN m to yield; the machine is rated for 1.00 kN m."),
    (fact("into-the-rotation", angle=angle(0.5, 0), advance=length(100)),
     ", 29° into the rotation at an advance of 100.0 mm", ", 29° into the rotation at an advance of 3.937 in"),
]  # fmt: skip
"""Facts, and by hand: what is kept or allowed is rounded down in inches, what is needed or reached up, the rest to the
nearest thousandth, metres to a tenth; a figure that is not 0 shows as none.
"""


@pytest.mark.parametrize(("said", "mm", "inches"), SENTENCES, ids=lambda one: one.kind if isinstance(one, Fact) else "")
def test_a_sentence_says_the_same_in_inches(said: Fact, mm: str, inches: str) -> None:
    assert say(said) == mm
    assert say(said, "in") == inches


# Errors --------------------------------------------------------------------------------------------------------------


def test_errors_say_their_lengths_in_the_unit_that_is_shown() -> None:
    """By hand: 38.1 mm are 1.5 in, 76.2 mm 3 in, 50.8 mm 2 in."""
    missing = NoTooling("bender, 76 mm class", 38.1, 76.2, [(25.4, 50.8)])
    assert missing.message_in("in") == (
        'no tooling on "bender, 76 mm class" for a tube of 1.500 in on a bend radius of 3.000 in; allowed: the tooling'
        " there is (1.000 in on radius 2.000 in)."
    )
    assert str(missing) == (
        'no tooling on "bender, 76 mm class" for a tube of 38.1 mm on a bend radius of 76.2 mm; allowed: the tooling there'
        " is (25.4 mm on radius 50.8 mm)."
    )
    crossing = SelfCrossing("straight 0", "straight 3", 50.8, (25.4, -50.8, 76.2))
    assert "cross, 2.000 in deep, near 1.000, -2.000, 3.000 in (bend 1" in crossing.message_in("in")
    assert crossing.message_in("in").endswith("a gap of 0 in or more between any two parts of the finished tube.")


def test_an_error_of_a_profile_says_its_lengths_in_inches_too() -> None:
    profile: dict[str, Any] = load_machine("canal-workshop").normalised()
    profile["tooling"][0]["die_height"] = 25.4
    with pytest.raises(InputError) as refused:
        machine_from_data(profile)
    assert refused.value.problem == "25.4 mm cannot hold the groove"
    assert refused.value.allowed == "more than the tube's diameter, 38.1 mm"
    assert (
        "1.000 in cannot hold the groove; allowed: more than the tube's diameter, 1.500 in"
        in refused.value.message_in("in")
    )


# Documents -----------------------------------------------------------------------------------------------------------

LEFT_OVER = re.compile(r"\bmm\b|\d m\b|\bmetres?\b")
KEPT = re.compile(r'"[^"]*"|\d+ mm class|kN m\b|: metres typed for mm\?$')

WORDS = {"sentence", "note", "caution", "moment", "reason", "warnings", "cautions", "list"}
"""Keys under which a document has sentences."""

SOME = ("fender-hook", "lockside-rail", "seat-stay", "tiller-bracket")
"""Trim and broken rules, a turn, a change of clamps, and changes of an impossible part."""


def worded(value: Any, key: str = "") -> Iterator[str]:
    """Every sentence in a document."""
    if isinstance(value, dict):
        for name, inner in value.items():
            if name not in ("fact", "part", "machine", "parts"):
                yield from worded(inner, name)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from worded(inner, key)
    elif isinstance(value, str) and key in WORDS:
        yield value


def facts(value: Any, within: bool = False) -> Iterator[Fact]:
    """Every fact in a document, and those within facts."""
    if isinstance(value, dict):
        if within and "kind" in value:
            yield Fact.of(value)
        for name, inner in value.items():
            yield from facts(inner, within or name == "fact")
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from facts(inner, within)


def documents(name: str, machines: list[Any]) -> list[Any]:
    part = load_part(HOME / "examples" / f"{name}.toml")
    machine = load_machine(part.machine or "")
    made = plan(part, machine, alternatives=True)
    return [
        made.as_dict(),
        why(part, machine, machines=machines).as_dict(),
        check_document([check(part, machines or [machine])]),
    ]


def quantities(one: Any) -> Iterator[Quantity]:
    """Every quantity of a fact, those of facts within it too."""
    if isinstance(one, Quantity):
        yield one
    elif isinstance(one, Fact):
        for value in one.values.values():
            yield from quantities(value)
    elif isinstance(one, tuple):
        for value in one:
            yield from quantities(value)


def test_every_sentence_of_the_examples_has_its_fact_and_leaves_no_millimetre_in_inches(campaign: bool) -> None:
    every = sorted(path.stem for path in (HOME / "examples").glob("*.toml"))
    machines = [load_machine(path.stem) for path in sorted((HOME / "machine_profiles").glob("*.toml"))]
    with_lengths, sides = 0, set[str]()
    for name in every if campaign else SOME:
        for document in documents(name, machines if campaign or name == "tiller-bracket" else []):
            found = {say(one): one for one in facts(json.loads(json.dumps(document)))}
            for sentence in worded(document):
                # What a step has to say and what to beware of may be several facts, one after the other.
                left = sentence
                while left and left not in found:
                    first = max((said for said in found if left.startswith(f"{said} ")), key=len, default="")
                    assert first, sentence
                    left = left.removeprefix(first).lstrip()
            for sentence, one in found.items():
                inches = say(one, "in")
                assert not LEFT_OVER.search(KEPT.sub("", inches)), inches
                with_lengths += inches != sentence
                sides |= {quantity.side for quantity in quantities(one)}
    assert with_lengths > 40
    assert sides == {"nearest", "at least", "at most"}


# Prose is never read back --------------------------------------------------------------------------------------------

READERS = {"partition", "rpartition", "split", "rsplit", "replace", "removeprefix", "removesuffix", "startswith", "endswith",
           "find", "index"}  # fmt: skip
"""What takes a text apart, besides patterns."""

OWN_WORDS = {"sentence", "problem", "allowed", "note", "caution", "message", "moment", "reason", "told", "said"}
"""Names and fields that hold the program's own sentences."""


def taken_apart(tree: ast.AST) -> Iterator[str]:
    """Every place where the program takes apart a sentence of its own."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
            continue
        of = node.func.value
        if node.func.attr in READERS and name_of(of) in OWN_WORDS:
            yield ast.unparse(node)
        if ast.unparse(of) == "re" and any(name_of(argument) in OWN_WORDS for argument in node.args):
            yield ast.unparse(node)
        if node.func.attr in ("search", "match", "fullmatch", "finditer", "findall", "sub"):
            yield from (ast.unparse(node) for argument in node.args if name_of(argument) in OWN_WORDS)


def name_of(node: ast.expr) -> str:
    if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
        return str(node.slice.value)
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""


@pytest.mark.parametrize("path", sorted(PLANNER.rglob("*.py")), ids=lambda path: str(path.relative_to(PLANNER)))
def test_no_module_reads_the_programs_own_prose(path: Path) -> None:
    assert list(taken_apart(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    "source",
    ["x = reason.sentence.partition(': ')", "re.search(r'mm', error.problem)", "PATTERN.sub('', step['note'])",
     "sentence.replace('leading:', '')", "way.sentence.split(':')[0]"],
)  # fmt: skip
def test_reading_prose_is_seen(source: str) -> None:
    assert list(taken_apart(ast.parse(source)))
