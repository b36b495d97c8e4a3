"""Data flows one way: a module imports only from before it."""

import ast
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1] / "planner"

FLOW = (
    ("errors", "tolerances"),
    ("inputs",),
    ("tube",),
    ("clearance",),
    ("rules",),
    ("search",),
    ("plans",),
    ("planning",),
    ("outputs",),
    ("command", "__main__"),
)
PLACE = {name: place for place, names in enumerate(FLOW) for name in names}


def layer(module: str) -> str:
    """The layer of a dotted module name below planner."""
    return module.split(".")[1]


def imports(path: Path) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.extend(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the flow"
            if node.module == "planner":
                found.extend(f"planner.{alias.name}" for alias in node.names)
            elif node.module is not None:
                found.append(node.module)
    return [name for name in found if name.startswith("planner.")]


def test_every_module_imports_only_from_before_it_in_the_flow() -> None:
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts == ("__init__",):
            continue  # the public names, resolved on first use
        assert parts[0] in PLACE, f"{path} stands in no layer"
        for name in imports(path):
            assert layer(name) in PLACE, f"{path} imports {name}, which stands in no layer"
            if PLACE[layer(name)] > PLACE[parts[0]]:
                wrong.append(f"{path.relative_to(PACKAGE)} imports {name}")
    assert not wrong


def test_tube_search_and_clearance_are_free_of_heavy_imports_at_the_top() -> None:
    heavy = {"ortools", "networkx", "scipy", "rich", "cyclopts"}
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.relative_to(PACKAGE).parts[0] in ("outputs", "command.py"):
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not heavy & {name.split(".")[0] for name in names}, path
