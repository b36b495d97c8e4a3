"""The corpus: the documents of many parts, to be compared byte for byte before and after a change of the program.

    python -m tests.corpus make FOLDER [--parts 400] [--workers 2]
    python -m tests.corpus compare BEFORE AFTER

Every example on every profile, and random parts on the machine each was drawn for: `plan --json` with its proof, `why
--json` and `check --json`, by the command line alone, so that the same script asks programs whose insides differ. The
parts and machines are written down too, and compared: a difference there is one of the tests, not of the program.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import json
import multiprocessing
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planner.command import run
from planner.inputs.files import load_machine, load_part
from planner.inputs.profiles import list_profiles
from tests.plan.random_parts import parts

ROOT = Path(__file__).resolve().parents[1]

ADDED = frozenset({"fact", "row", "column"})
"""Keys that documents have gained and that are left out of the comparison; nothing else is."""

CODES = frozenset(range(6))
"""Exit codes of an answer, which an error of the input is as well."""


@dataclass(frozen=True)
class Pair:
    """A part and a machine as documents, and the name of their files; changes: whether what would help is sought."""

    name: str
    part: dict[str, Any]
    machine: dict[str, Any]
    changes: bool


def pairs(random: int) -> Iterator[Pair]:
    """Every example on every profile, then so many random parts; of these every tenth is asked what would help."""
    for path in sorted((ROOT / "examples").glob("*.toml")):
        for profile in list_profiles(None):
            part, machine = load_part(path), load_machine(profile.path)
            yield Pair(f"{path.stem} on {profile.name}", part.normalised(), machine.normalised(), True)
    for number, found in enumerate(parts(random)):
        yield Pair(f"random {number:03}", found.part.normalised(), found.machine.normalised(), number % 10 == 0)


def make(folder: Path, random: int, workers: int) -> int:
    """Write all documents into a folder that is empty yet; return how many there are."""
    folder.mkdir(parents=True)
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        made = list(pool.imap_unordered(_made, [(folder.resolve(), pair) for pair in pairs(random)]))
    return sum(made)


def _made(asked: tuple[Path, Pair]) -> int:
    """Write a pair and what the program says of it."""
    folder, pair = asked
    target = folder / pair.name
    with tempfile.TemporaryDirectory() as here:
        os.chdir(here)  # so that no document names a folder
        Path("part.json").write_text(json.dumps(pair.part, indent=1), encoding="utf-8")
        Path("machine.json").write_text(json.dumps(pair.machine, indent=1), encoding="utf-8")
        no_changes = () if pair.changes else ("--no-changes",)
        documents = {
            "plan": _said("plan", "part.json", "-m", "machine.json", "--json", "--proof", "proof.json"),
            "why": _said("why", "part.json", "-m", "machine.json", "--json", *no_changes),
            "check": _said("check", "part.json", "-m", "machine.json", "--json"),
        }
        target.mkdir()
        for name in ("part", "machine", "proof"):
            if Path(f"{name}.json").exists():
                (target / f"{name}.json").write_bytes(Path(f"{name}.json").read_bytes())
        for name, text in documents.items():
            (target / f"{name}.json").write_text(text, encoding="utf-8")
        os.chdir(folder)
    return len(list(target.iterdir())) - 2


def _said(*command: str) -> str:
    """Return what a command prints on standard output; what it says on standard error is no document."""
    printed, told = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(told):
        code = run(command)
    assert code in CODES, (os.getcwd(), command, code, told.getvalue())
    return printed.getvalue()


def stripped(document: Any) -> Any:
    """Return a document without the keys that were added."""
    if isinstance(document, dict):
        return {key: stripped(value) for key, value in document.items() if key not in ADDED}
    return [stripped(value) for value in document] if isinstance(document, list) else document


def fingerprints(folder: Path) -> dict[str, str]:
    """Return what each document of a folder comes to, byte for byte but for the added keys."""
    found = {}
    for path in sorted(folder.glob("*/*.json")):
        text = json.dumps(stripped(json.loads(path.read_text(encoding="utf-8"))), ensure_ascii=False, indent=1)
        found[f"{path.parent.name}/{path.name}"] = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    return found


def compare(before: Path, after: Path) -> list[str]:
    """Return the documents that differ, or that one of the folders has not."""
    first, second = fingerprints(before), fingerprints(after)
    assert first, f"{before} has no documents"
    return sorted(name for name in first.keys() | second.keys() if first.get(name) != second.get(name))


def main(arguments: Sequence[str] | None = None) -> int:
    """Make a corpus, or compare two: exit code 1 if they differ."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    what = parser.add_subparsers(dest="what", required=True)
    making = what.add_parser("make")
    making.add_argument("folder", type=Path)
    making.add_argument("--parts", type=int, default=400)
    making.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    comparing = what.add_parser("compare")
    comparing.add_argument("before", type=Path)
    comparing.add_argument("after", type=Path)
    asked = parser.parse_args(arguments)
    if asked.what == "make":
        print(f"{make(asked.folder, asked.parts, asked.workers)} documents")
        return 0
    different = compare(asked.before, asked.after)
    kinds = Counter(name.rpartition("/")[2] for name in different)
    print(*different[:50], sep="\n")
    print(f"{len(different)} of {len(fingerprints(asked.before))} documents differ: {dict(kinds)}")
    return 1 if different else 0


if __name__ == "__main__":
    sys.exit(main())
