"""The program stays small to read: short modules and short functions."""

from __future__ import annotations

import ast
import statistics
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "planner"
MODULES = [path for path in sorted(PACKAGE.rglob("*.py")) if path.name != "__init__.py"]

LONGEST_MODULE, LONGEST_FUNCTION, MEDIAN = 400, 50, 140
"""Lines, docstrings counted in."""


def lines_of(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_module_is_longer_than_400_lines_and_no_function_longer_than_50(path: Path) -> None:
    assert lines_of(path) <= LONGEST_MODULE
    functions = (
        node
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    )
    long = {one.name: one.end_lineno - one.lineno + 1 for one in functions if one.end_lineno is not None}
    assert {name: lines for name, lines in long.items() if lines > LONGEST_FUNCTION} == {}


def test_half_of_the_modules_have_fewer_than_140_lines() -> None:
    assert statistics.median(map(lines_of, MODULES)) < MEDIAN
