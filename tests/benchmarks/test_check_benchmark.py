"""How long `bendorder check --all` takes, the whole process: 20 parts on every packaged profile."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from planner import load_part
from planner.inputs.part import Part
from planner.inputs.profiles import list_profiles
from tests.benchmarks.test_search_benchmark import part as wandering
from tests.plan.random_parts import parts as random_parts

ROOT = Path(__file__).resolve().parents[2]
PARTS = 20
ENOUGH = 30.0
"""What it may take on two cores that do nothing else [s]."""


def workshop_parts() -> list[Part]:
    """The examples, and parts of ten bends to make up the number."""
    examples = [load_part(path) for path in sorted((ROOT / "examples").glob("*.toml"))][:PARTS]
    return examples + [wandering(seed, 10) for seed in range(PARTS - len(examples))]


def parts_of_all_kinds() -> list[Part]:
    """Random parts of two to six bends, their tubes those of the profiles' tooling."""
    return [drawn.part for drawn in random_parts(PARTS)]


def parts_of_ten_bends() -> list[Part]:
    """Parts that wander, most of them through the floor in some order."""
    return [wandering(seed, 10) for seed in range(100, 100 + PARTS)]


@pytest.mark.parametrize("kind", [workshop_parts, parts_of_all_kinds, parts_of_ten_bends])
def test_check_all_on_twenty_parts(kind: Callable[[], list[Part]], tmp_path: Path) -> None:
    made = kind()
    files = []
    for number, part in enumerate(made):
        files.append(tmp_path / f"{number:02d}.json")
        files[-1].write_text(json.dumps(part.normalised()), encoding="utf-8")
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "planner", "check", *map(str, files), "--all", "--json"],
        capture_output=True, text=True, cwd=ROOT, check=False, timeout=600,
    )  # fmt: skip
    seconds, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    worked = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    assert done.returncode in (0, 1, 3), done.stderr
    lines = json.loads(done.stdout)["lines"]
    verdicts = Counter(line["verdict"] for line in lines)
    without = sum("No tooling" in (line["reason"] or "") for line in lines)
    print(
        f"\n{kind.__name__}: {seconds:.1f} s, {worked:.1f} s of processor time on {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f};"
        f" {len(lines)} lines, {dict(verdicts)}, {without} of them without tooling"
    )
    assert len(lines) == PARTS * len(list_profiles())
    assert seconds < ENOUGH
