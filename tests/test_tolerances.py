"""Numbers that decide a verdict stand in one place, each with its unit and its reason, and none of them stands idle."""

from __future__ import annotations

import ast
import math
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from planner import tolerances as t
from planner.inputs.quantities import MM_PER_INCH

PACKAGE = Path(__file__).resolve().parents[1] / "planner"
PLACE = PACKAGE / "tolerances.py"

LARGEST = 1e-3
"""What is no larger than this is taken for a tolerance [–], whatever its unit."""

ALLOWED = {
    ("plans/sag.py", 1e-9): "from kilograms a cubic metre to kilograms a cubic millimetre",
    ("sequencing/problem.py", 0.001): "from seconds to milliseconds",
}
"""Small numbers that are no tolerances, with what they are."""

UNIT = re.compile(
    r"\[(mm|rad|deg|ms|–|cells|evaluations|N mm|in|share of the motion)(; (mm|rad|deg|N mm|in|–|share of the motion))*\]"
)

MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path != PLACE)


def name_of(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def number(node: ast.expr) -> float | None:
    """Return the number that an expression of literals is: 1e-9, 0.001, 10.0**-9, -1e-9, Decimal("1e-9"), 1 / 1000."""
    match node:
        case ast.Constant(value=bool()):
            return None
        case ast.Constant(value=int() | float() as value):
            return float(value)
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            found = number(inner)
            return None if found is None else -found
        case ast.BinOp(left=left, op=ast.Pow() | ast.Div() as op, right=right):
            some, other = number(left), number(right)
            if some is None or other is None or (some == 0.0 and isinstance(op, ast.Pow)) or other == 0.0:
                return None
            return some**other if isinstance(op, ast.Pow) else some / other
        case ast.Call(func=ast.Name(id="Decimal" | "float"), args=[ast.Constant(value=str() as text)]):
            return float(text)
        case ast.Call(func=ast.Attribute(attr="radians" | "deg2rad"), args=[inner]):
            return number(inner)
    return None


def small_numbers(tree: ast.AST) -> Iterator[tuple[int, float]]:
    """Yield line and value of every small number, and of every 10ⁿ that a place is multiplied by to be told apart."""
    for node in ast.walk(tree):
        if isinstance(node, ast.expr):
            found = number(node)
            if found is not None and 0.0 < abs(found) <= LARGEST:
                yield node.lineno, abs(found)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "round" and node.args:
            inner = node.args[0]
            if isinstance(inner, ast.BinOp) and isinstance(inner.op, ast.Mult):
                for factor in (number(inner.left), number(inner.right)):
                    if factor is not None and factor >= 1.0 / LARGEST:
                        yield node.lineno, 1.0 / factor


def constants() -> dict[str, str]:
    """Return every constant of the one place with its docstring, "" where it has none."""
    body = ast.parse(PLACE.read_text(encoding="utf-8")).body
    found = {}
    for node, after in zip(body, [*body[1:], None], strict=True):
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            said = after.value if isinstance(after, ast.Expr) else None
            found[node.target.id] = str(said.value) if isinstance(said, ast.Constant) else ""
        else:
            assert not isinstance(node, ast.Assign | ast.FunctionDef | ast.ClassDef), f"line {node.lineno}: no constant"
    return found


def used(paths: list[Path]) -> set[str]:
    """Return the names that modules import from the one place."""
    nodes = [node for path in paths for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
    froms = [node for node in nodes if isinstance(node, ast.ImportFrom) and node.module == "planner.tolerances"]
    return {alias.name for node in froms for alias in node.names}


def of_one_another() -> set[str]:
    """Return the constants that others are made of."""
    values = [
        node.value for node in ast.parse(PLACE.read_text(encoding="utf-8")).body if isinstance(node, ast.AnnAssign)
    ]
    return {node.id for value in values if value is not None for node in ast.walk(value) if isinstance(node, ast.Name)}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_no_small_number_stands_outside_the_one_place(path: Path) -> None:
    found = [
        (line, value)
        for line, value in small_numbers(ast.parse(path.read_text(encoding="utf-8")))
        if (name_of(path), value) not in ALLOWED
    ]
    assert not found, f"{name_of(path)}: {found} belong to tolerances.py, with unit and reason"


def test_every_exception_is_still_there() -> None:
    for name, value in ALLOWED:
        tree = ast.parse((PACKAGE / name).read_text(encoding="utf-8"))
        assert value in [found for _, found in small_numbers(tree)], f"{name}: {value} is allowed and not there"


@pytest.mark.parametrize("name", sorted(constants()))
def test_every_constant_says_what_it_is_in_which_unit_and_why(name: str) -> None:
    said = constants()[name]
    assert UNIT.search(said), f'{name} names no unit in brackets: "{said}"'
    assert len(said.split()) >= 8, f'{name} says too little: "{said}"'


def test_every_constant_is_used() -> None:
    assert set(constants()) - used(sorted(PACKAGE.rglob("*.py"))) - of_one_another() == set()


def test_what_the_reasons_say_of_one_another_holds() -> None:
    assert pytest.approx(t.STRIKE_MARGIN + t.CLOSE_GAP) == t.NEED_BAND < t.SELF_MARGIN
    assert t.GROOVE_EASE > 2.0 * t.SAME_SIZE + t.NEED_BAND + t.STRIKE_MARGIN, "a die that fits is never struck"
    edges, moments = 2.0 * 10.0**-t.PROOF_DECIMALS, 0.5 * 10.0**-t.EDGE_DECIMALS
    assert edges + moments * 10_000.0 < t.ROUNDING - t.AUDIT_ROUNDING, (
        "a motion of ten metres is confirmed as certified"
    )
    assert t.AUDIT_ROUNDING < t.AUDIT_STRIKE_MARGIN < t.STRIKE_MARGIN
    assert t.AUDIT_SLACK >= 2.0 * t.PROOF_GAP
    assert t.NO_LENGTH <= t.PROVED_LENGTH, "what the planner leaves out nothing is asked for"
    assert 200.0 * 0.5 * 10.0**-t.PROOF_DECIMALS <= t.PROVED_LENGTH * (1.0 + t.RELATIVE_SLACK)
    assert 20.0 * 0.5 * 10.0**-t.PLACE_DECIMALS <= t.PROVED_LENGTH * (1.0 + t.RELATIVE_SLACK)
    assert 0.5 * 10.0**-t.EDGE_DECIMALS < t.SAME_SIDE < t.SNAP
    assert t.MOST_PLANE_CELLS < t.WALL_CELLS
    assert 2.0 * t.NEAT_LENGTH * MM_PER_INCH < t.VERTEX_SLACK
    assert pytest.approx(10.0 * t.PROOF_GAP) == t.PLAIN_GAP
    assert t.MARK_SLACK < math.radians(10.0**-t.KEPT_DECIMALS) < t.ANGLE_SLACK
    assert 1.0 / math.sin(math.pi - t.HALF_TURN) > 10.0


@pytest.mark.parametrize(
    ("source", "seen"),
    [
        ("x = 1e-9", [1e-9]),
        ("x = -0.0005", [0.0005, 0.0005]),
        ("if abs(a - b) < 0.001: pass", [0.001]),
        ("x = 10.0**-6", [1e-6]),
        ("x = 1 / 1000", [0.001]),
        ('x = Decimal("1e-10")', [1e-10]),
        ("x = math.radians(1e-5)", [1e-5, 1e-5]),
        ("key = round(angle * 1e6)", [1e-6]),
        ("x = 0.0 + 0.0011 + 1.0 + True", []),
        ("x = round(angle * 10.0)", []),
        ('"""1e-9"""', []),
    ],
)
def test_a_small_number_is_seen_however_it_is_written(source: str, seen: list[float]) -> None:
    assert [value for _, value in small_numbers(ast.parse(source))] == pytest.approx(seen)
