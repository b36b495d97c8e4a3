"""The auditor stands on its own: it shares the reading of files with the planner, and nothing else."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

AUDIT = Path(__file__).resolve().parents[2] / "planner" / "audit"
SHARED = ("planner.audit", "planner.inputs", "planner.errors", "planner.tolerances")

LOADED = """
import json, sys
from pathlib import Path
from planner.audit.proof import audit_proof, read_proof
assert audit_proof(read_proof(Path(sys.argv[1]))).confirmed
print(json.dumps(sorted(sys.modules)))
"""


@pytest.mark.parametrize("path", sorted(AUDIT.rglob("*.py")), ids=lambda path: path.name)
def test_a_module_of_the_auditor_imports_only_inputs_errors_and_tolerances(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    names |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    planner = {name for name in names if name.split(".")[0] == "planner"}
    assert all(name.startswith(SHARED) for name in planner), planner
    others = {name.split(".")[0] for name in names} - {"planner"} - set(sys.stdlib_module_names)
    assert others <= {"numpy"}, others


def test_an_audit_loads_no_kernel_no_search_and_no_solver(tmp_path: Path) -> None:
    file = tmp_path / "proof.json"
    part = Path(__file__).resolve().parents[2] / "examples" / "cabin-grab-rail.toml"
    asked = [sys.executable, "-m", "planner", "plan", str(part), "--proof", str(file)]
    subprocess.run(asked, check=True, capture_output=True)
    found = subprocess.run([sys.executable, "-c", LOADED, str(file)], check=True, capture_output=True, text=True)
    loaded = set(ast.literal_eval(found.stdout))
    for layer in ("tube", "clearance", "rules", "search", "plans", "proof", "planning"):
        assert not {name for name in loaded if name.startswith(f"planner.{layer}")}, layer
    assert not {name for name in loaded if name.split(".")[0] in ("ortools", "networkx", "scipy")}
