"""Facts and their words: every fact that is made can be said, with every value it has; written and read it is the same."""

from __future__ import annotations

import ast
import json
import string
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.facts import Fact, Quantity, Value, fact, kept, length, needed
from planner.wording.say import HOW, say, sentences

PLANNER = Path(__file__).resolve().parents[1] / "planner"
MODULES = sorted(PLANNER.rglob("*.py"))


def name_of(path: Path) -> str:
    return str(path.relative_to(PLANNER))


# The program's own facts ---------------------------------------------------------------------------------------------


def made_in(path: Path) -> list[tuple[str, set[str] | None]]:
    """Every fact that a module makes by name: its kind, and the names of its values, None where some come from elsewhere."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and ast.unparse(node.func) == "fact"]
    found: list[tuple[str, set[str] | None]] = []
    for call in calls:
        names = {keyword.arg for keyword in call.keywords}
        values = None if None in names else {name for name in names if name is not None}
        found += [(kind, values) for kind in kinds_of(call.args[0])]
    return found


def kinds_of(node: ast.expr) -> list[str]:
    """The kinds that an expression can come to, as far as they stand in it."""
    if isinstance(node, ast.Constant):
        return [str(node.value)]
    if isinstance(node, ast.IfExp):
        return [*kinds_of(node.body), *kinds_of(node.orelse)]
    return []


def asked_of(kind: str) -> set[str] | None:
    """The names that a sentence asks for; None where it is a function."""
    said = sentences()[kind]
    return {name for _, name, _, _ in string.Formatter().parse(said) if name} if isinstance(said, str) else None


ADDED_LATER = {"opened", "steps"}
"""Values that a fact gains where more is known: `Reason.saying`."""


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_every_fact_that_is_made_has_its_words_and_says_all_it_has(path: Path) -> None:
    for kind, values in made_in(path):
        assert kind in sentences(), kind
        asked = asked_of(kind)
        if asked is not None and values is not None:
            # What a fact has beside its sentence is for a program: the moment of a contact, or which bend it speaks of.
            assert asked - values <= ADDED_LATER, kind
            assert values - asked <= {"moment", "leads", "where", "looked"}, kind


def test_no_words_are_left_that_nothing_says() -> None:
    made = {kind for path in MODULES for kind, _ in made_in(path)}
    text = " ".join(path.read_text(encoding="utf-8") for path in MODULES if path.parent.name != "wording")
    assert [
        kind for kind in sentences() if kind not in made and f'"{kind}"' not in text and not put_together(kind)
    ] == []


def test_no_way_to_say_a_value_is_left_that_no_sentence_takes() -> None:
    text = " ".join(path.read_text(encoding="utf-8") for path in MODULES if path.parent.name == "wording")
    assert [how for how in HOW if how and f":{how}}}" not in text] == []


def put_together(kind: str) -> bool:
    """Whether a kind is one of those that are put together of two words."""
    from planner.lookover.remarks import Way
    from planner.wording.steps import GENERAL

    ways = {way.replace(" ", "-") for way in Way.__args__}  # type: ignore[attr-defined]
    return kind in GENERAL or kind in ways or kind.startswith(("cannot-", "change-", "moment-", "no-"))


# Words ---------------------------------------------------------------------------------------------------------------


def test_a_sentence_says_its_lengths_in_either_unit_never_rounded_to_the_unsafe_side() -> None:
    """By hand: 40.4 / 25.4 = 1.59055, up 1.591; 290 / 25.4 = 11.41732, to the nearest 11.417; 50 / 25.4 = 1.96850."""
    said = fact("collet-out-of-tube", bend=5, leads="A", missing=needed(40.4), held=length(50.0), closest=length(290.0))
    assert say(said) == (
        "Bend 5 with end A leading: the tail is 40.4 mm too short; the collet holds 50.0 mm and comes no closer to the"
        " tangent point than 290.0 mm."
    )
    assert say(said, "in") == (
        "Bend 5 with end A leading: the tail is 1.591 in too short; the collet holds 1.969 in and comes no closer to the"
        " tangent point than 11.417 in."
    )


def test_people_are_kept_away_by_no_less_in_inches() -> None:
    """By hand: 450 / 25.4 = 17.7165, up to a tenth 17.8 (17.7 in are 449.6 mm)."""
    from planner.plans.cautions import arm_home

    assert say(arm_home(450.0)) == "The arm goes home by power: nobody within 0.45 m of the die's axis."
    assert say(arm_home(450.0), "in") == "The arm goes home by power: nobody within 17.8 in of the die's axis."


def test_a_length_in_a_name_is_a_name() -> None:
    said = fact("strikes", solid="jig, 3 mm", deep=length(30.0))
    assert say(said, "in") == "strikes the jig, 3 mm, 1.181 in deep"
    assert say(fact("strikes", solid="its own tail", deep=length(30.0))) == "strikes its own tail, 30.0 mm deep"


def test_a_value_that_a_fact_has_not_is_not_said() -> None:
    met = fact(
        "met", piece=fact("straight", number=2), contact=fact("strikes", solid="floor", deep=length(1.0)), when=None
    )
    said = fact("cannot-bend", bend=3, leads="B", met=met)
    assert say(said) == "Bend 3 cannot be made with end B leading: straight 2 strikes the floor, 1.0 mm deep."


# As data -------------------------------------------------------------------------------------------------------------

quantities = st.builds(
    Quantity,
    st.floats(-1e5, 1e5),
    st.sampled_from(["mm", "m", "deg", "s"]),
    st.sampled_from(["nearest", "at least", "at most"]),
    st.sampled_from([None, 0, 1, 2]),
)
names = st.text(min_size=1, max_size=8).filter(lambda name: name != "kind")
values: st.SearchStrategy[Value] = st.recursive(
    st.one_of(quantities, st.text(max_size=5), st.integers(-9, 9)),
    lambda inner: st.one_of(
        st.builds(Fact, st.text(max_size=5), st.dictionaries(names, inner, max_size=3)),
        st.lists(inner, max_size=3).map(tuple),
    ),
    max_leaves=8,
)


@given(st.builds(Fact, st.text(max_size=5), st.dictionaries(names, values, max_size=4)))
def test_a_fact_is_the_same_once_it_was_written_and_read(one: Fact) -> None:
    assert Fact.of(json.loads(json.dumps(one.as_dict()))) == one
    assert hash(Fact.of(one.as_dict())) == hash(one)


@pytest.mark.parametrize(
    "data",
    [{}, {"kind": 3}, {"kind": "x", "a": 1.5}, {"kind": "x", "a": {"value": 1.0, "unit": "furlong"}}, "x", None,
     {"kind": "x", "a": {"value": 1.0, "unit": "mm", "side": "up"}}, {"kind": "x", "a": {"size": 3}}],
)  # fmt: skip
def test_what_is_no_fact_is_refused(data: Any) -> None:
    with pytest.raises((ValueError, TypeError)):
        Fact.of(data)


@given(st.floats(0.0, 1e4))
def test_what_is_kept_is_never_said_greater_and_what_is_needed_never_less_in_inches(mm: float) -> None:
    least, most = (say(fact("required", needed=quantity), "in") for quantity in (kept(mm), needed(mm)))
    said_mm = round(mm, 1)
    assert float(least.split()[0]) * 25.4 <= said_mm + 1e-6
    assert float(most.split()[0]) * 25.4 >= said_mm - 1e-6
