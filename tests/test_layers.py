"""Data flows one way: a module imports only from before it in the flow, wherever in the module the import stands."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "planner"

FLOW = (
    ("tolerances", "words", "deadline"),
    ("facts",),
    ("wording",),
    ("errors",),
    ("inputs",),
    ("audit",),
    ("tube",),
    ("clearance",),
    ("lookover",),
    ("rules",),
    ("sequencing",),
    ("feasibility",),
    ("cuts",),
    ("search",),
    ("plans",),
    ("planning",),
    ("proof",),
    ("advice",),
    ("outputs",),
    ("page",),
    ("commands",),
    ("command", "__main__"),
)
PLACE = {name: place for place, names in enumerate(FLOW) for name in names}

PUBLIC = "__init__"
"""The package's own face: it names what is public and resolves it on first use, so it may name every layer."""

HEAVY = {"ortools", "networkx", "scipy", "rich", "cyclopts", "nicegui", "fastapi", "starlette", "uvicorn"}
"""Imported only inside the functions that use them; some also at the top of the layers that are about nothing else."""

LIGHT_IN = {
    "outputs": {"rich", "cyclopts"},
    "commands": {"rich", "cyclopts"},
    "command.py": {"rich", "cyclopts"},
    "page": {"nicegui", "fastapi", "starlette", "uvicorn"},
}
"""What may stand at the top of a layer's modules: commands import the page only where they serve it."""

MODULES = sorted(PACKAGE.rglob("*.py"))


def imported(tree: ast.AST, where: str = "") -> Iterator[str]:
    """Every dotted name below planner that a module imports: at the top, in functions, for types only, or by its name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.split(".")[0] == "planner")
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{where}: a relative import hides the flow"
            if node.module == "planner":
                yield from (f"planner.{alias.name}" for alias in node.names)
            elif node.module is not None and node.module.startswith("planner."):
                yield node.module
        elif isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in ("import_module", "__import__"):
            for argument in node.args[:1]:
                assert isinstance(argument, ast.Constant), f"{where}: an import by a name that only a run knows"
                if str(argument.value).startswith("planner."):
                    yield str(argument.value)


def against_the_flow(layer: str, tree: ast.AST, where: str = "") -> list[str]:
    """What a module of a layer imports from behind it, or from no layer at all."""
    names = sorted(set(imported(tree, where)))
    return [name for name in names if name == "planner" or PLACE.get(name.split(".")[1], len(FLOW)) > PLACE[layer]]


def module_of(path: Path) -> str:
    """The dotted name of a module."""
    return ".".join(("planner", *path.relative_to(PACKAGE).with_suffix("").parts))


def in_a_circle(imports: Mapping[str, Iterable[str]]) -> list[str]:
    """The modules of one circle of imports, none where there is none."""
    try:
        tuple(TopologicalSorter(imports).static_order())
    except CycleError as error:
        return sorted(set(error.args[1]))
    return []


def name_of(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_imports_only_from_before_it_in_the_flow(path: Path) -> None:
    layer = path.relative_to(PACKAGE).with_suffix("").parts[0]
    if layer == PUBLIC:
        return
    assert layer in PLACE, f"{name_of(path)} stands in no layer"
    assert against_the_flow(layer, ast.parse(path.read_text(encoding="utf-8")), name_of(path)) == []


@pytest.mark.parametrize("layer", sorted(PLACE))
def test_within_a_layer_no_module_imports_itself_by_way_of_others(layer: str) -> None:
    within = {module_of(path): path for path in MODULES if path.relative_to(PACKAGE).with_suffix("").parts[0] == layer}
    imports = {
        name: set(imported(ast.parse(path.read_text(encoding="utf-8")), name)) & within.keys()
        for name, path in within.items()
    }
    assert within
    assert in_a_circle(imports) == []


def test_a_circle_of_imports_is_seen_even_where_one_is_for_types_only() -> None:
    def source(name: str) -> ast.AST:
        return ast.parse(f"if TYPE_CHECKING:\n    from planner.search.{name} import x")

    circle = {"planner.search.a": imported(source("b")), "planner.search.b": imported(source("a"))}
    assert in_a_circle(circle) == ["planner.search.a", "planner.search.b"]
    assert in_a_circle({"planner.search.a": imported(source("b")), "planner.search.b": []}) == []


KNOWN_TO_SEQUENCING = {"deadline", "errors", "facts", "tolerances", "wording.say", "rules.broken", "rules.chuck"}


@pytest.mark.parametrize("path", [p for p in MODULES if p.parent.name == "sequencing"], ids=name_of)
def test_sequencing_knows_no_part_no_machine_and_no_geometry(path: Path) -> None:
    used = {name.removeprefix("planner.") for name in imported(ast.parse(path.read_text(encoding="utf-8")))}
    assert {name for name in used if not name.startswith("sequencing.")} <= KNOWN_TO_SEQUENCING


def test_every_layer_is_there() -> None:
    there = {path.relative_to(PACKAGE).with_suffix("").parts[0] for path in MODULES}
    assert there == set(PLACE) | {PUBLIC}


@pytest.mark.parametrize(
    ("layer", "source", "wrong"),
    [
        ("tube", "from planner.inputs.part import Part", []),
        ("tube", "from planner.clearance import solids", ["planner.clearance"]),
        ("tube", "def f():\n    import planner.feasibility.orders", ["planner.feasibility.orders"]),
        ("inputs", "if TYPE_CHECKING:\n    from planner.tube.frames import Array", ["planner.tube.frames"]),
        ("rules", "x = importlib.import_module('planner.plans.document')", ["planner.plans.document"]),
        ("rules", "from planner import plan", ["planner.plan"]),
        ("outputs", "import planner.nowhere", ["planner.nowhere"]),
        ("errors", "from planner.tolerances import ROUNDING", []),
        ("errors", "from planner.inputs import files", ["planner.inputs"]),
        ("audit", "from planner.inputs.part import Part", []),
        ("audit", "from planner.tube.frames import turned", ["planner.tube.frames"]),
    ],
)
def test_an_import_against_the_flow_is_seen_wherever_it_stands(layer: str, source: str, wrong: list[str]) -> None:
    assert against_the_flow(layer, ast.parse(source)) == wrong


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_what_is_audited_takes_nothing_from_the_auditor(path: Path) -> None:
    layer = path.relative_to(PACKAGE).with_suffix("").parts[0]
    if layer in ("audit", "page", "commands", PUBLIC):
        return
    used = {name for name in imported(ast.parse(path.read_text(encoding="utf-8"))) if name.startswith("planner.audit")}
    assert not used


@pytest.mark.parametrize("source", ["from . import part", "def f():\n    from ..tube import frames"])
def test_a_relative_import_is_refused(source: str) -> None:
    with pytest.raises(AssertionError, match="hides the flow"):
        against_the_flow("tube", ast.parse(source))


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_what_is_slow_to_import_is_imported_only_where_it_is_used(path: Path) -> None:
    top = ast.parse(path.read_text(encoding="utf-8")).body
    names = {alias.name for node in top if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in top if isinstance(node, ast.ImportFrom)}
    allowed = LIGHT_IN.get(path.relative_to(PACKAGE).parts[0], set())
    assert not (HEAVY - allowed) & {name.split(".")[0] for name in names}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_the_page_is_imported_at_the_top_by_the_page_alone(path: Path) -> None:
    if path.relative_to(PACKAGE).parts[0] == "page":
        return
    top = ast.parse(path.read_text(encoding="utf-8")).body
    at_once = [name for node in top if isinstance(node, ast.Import | ast.ImportFrom) for name in imported(node)]
    assert not [name for name in at_once if name.startswith("planner.page")]
