"""A formula has one number, one place in the derivations, and stands there as the code has it."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "derivations.md"
MODULES = sorted((ROOT / "planner").rglob("*.py"))
NUMBERED = re.compile(r"^ {4,}(.*\S) {2,}\(([0-9]{1,2})\)$", re.MULTILINE)
ON_PAGE = {int(number): formula for formula, number in NUMBERED.findall(PAGE.read_text(encoding="utf-8"))}


def test_formulas_of_the_derivations_are_numbered_in_one_row() -> None:
    numbers = [int(number) for _, number in NUMBERED.findall(PAGE.read_text(encoding="utf-8"))]
    assert numbers == list(range(1, len(numbers) + 1))
    others = [page for page in (ROOT / "docs").rglob("*.md") if page != PAGE]
    assert not [page for page in others if NUMBERED.search(page.read_text(encoding="utf-8"))], "they stand in one place"


@dataclass(frozen=True)
class Said:
    """What a module says in a docstring or a comment."""

    where: str
    text: str


def said_in(path: Path) -> Iterator[Said]:
    source, name = path.read_text(encoding="utf-8"), path.relative_to(ROOT).as_posix()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            yield Said(f"{name}:{node.lineno}", node.value.value)
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            yield Said(f"{name}:{token.start[0]}", token.string)


SAID = [said for path in MODULES for said in said_in(path)]


def cited(text: str) -> set[int]:
    """Numbers in brackets in a text; what is glued to a word or a bracket, as in a call or a shape, is none."""
    return {int(number) for number in re.findall(r"(?<![\w\]`)])\(([0-9]{1,2})\)(?!\()", text)}


def test_every_formula_that_the_code_cites_stands_in_the_derivations_and_every_one_there_is_cited() -> None:
    cites = {number: said.where for said in SAID for number in cited(said.text)}
    assert not {number: where for number, where in cites.items() if number not in ON_PAGE}
    assert set(ON_PAGE) <= set(cites)


def plain(formula: str) -> str:
    """A formula without what is a matter of setting: spaces, dots between factors, and what is before a colon."""
    return re.sub(r"[\s·′']", "", formula.split(":  ")[-1].replace("asin", "arcsin"))


SHOWN = [(said.where, *found) for said in SAID for found in NUMBERED.findall(said.text)]


@pytest.mark.parametrize(
    ("where", "formula", "number"), SHOWN, ids=[f"{number} in {where}" for where, _, number in SHOWN]
)
def test_a_formula_shown_in_the_code_is_the_one_of_that_number(where: str, formula: str, number: str) -> None:
    own = plain(re.split(r", not below 0|, A² =| {3,}right-handed", formula)[0])
    page = plain(re.split(r" {3,}right-handed", ON_PAGE[int(number)])[0])
    assert own in page, where


def test_formulas_are_shown_in_the_code_where_they_are_used() -> None:
    assert len(SHOWN) >= len(ON_PAGE) - 1
    assert plain("f − r − δs") not in plain("f − r + δs")
