"""Whatever is done to a file, it is read or refused: in one message with its place, soon, and without a traceback.

Bytes are changed, left out, put in, doubled and swapped, lines and numbers too; the files are those that come with the
program, and a proof. A campaign makes some ten thousand.
"""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest

from planner.audit.proof import audit_proof, read_proof
from planner.errors import LONGEST, BendorderError, InputError
from planner.inputs.files import load_machine, load_part
from planner.inputs.profiles import packaged_folder
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document, proof_text

SIZE, CAMPAIGN = 40, 1000
"""Mutated files of each kind, and in a campaign."""

SLOWEST = 2.0
"""Longest time that one may take [s], of this process alone."""

EXAMPLES = Path(__file__).parents[2] / "examples"
ODD = (
    "",
    "-",
    "1e999",
    "nan",
    "[",
    "]",
    "{",
    "}",
    '"',
    "'",
    "=",
    ".",
    ",",
    "#",
    "\x00",
    "\ud7ff",
    "é",
    "true",
    "9" * 30,
)

Mutation = Callable[[random.Random, bytes], bytes]


def byte_changed(rng: random.Random, data: bytes) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]


def stretch_left_out(rng: random.Random, data: bytes) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + data[at + rng.randrange(1, 40) :]


def cut_off(rng: random.Random, data: bytes) -> bytes:
    return data[: rng.randrange(len(data))]


def odd_put_in(rng: random.Random, data: bytes) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + rng.choice(ODD).encode("utf-8") + data[at:]


def lines_swapped(rng: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[i], lines[j] = lines[j], lines[i]
    return b"".join(lines)


def line_doubled(rng: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    i = rng.randrange(len(lines))
    return b"".join([*lines[:i], lines[i] * rng.choice((2, 2, 50)), *lines[i:]])


def number_changed(rng: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8")
    places = [k for k, letter in enumerate(text) if letter.isdigit()] or [0]
    at = rng.choice(places)
    odd = rng.choice(
        ("-1", "0", "1e308", "-0.0", "1e-300", "1_000_000", "99999999999", "0x10", "inf", '"3"', "[1]", "3.5.1")
    )
    end = at
    while end < len(text) and (text[end].isdigit() or text[end] == "."):
        end += 1
    return (text[:at] + odd + text[end:]).encode("utf-8")


def key_changed(rng: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8")
    places = [k for k, letter in enumerate(text) if letter == "_"] or [0]
    at = rng.choice(places)
    return (text[:at] + rng.choice(("", "-", "__", ".", " ")) + text[at + 1 :]).encode("utf-8")


MUTATIONS: tuple[Mutation, ...] = (
    byte_changed, stretch_left_out, cut_off, odd_put_in, lines_swapped, line_doubled, number_changed, key_changed,
)  # fmt: skip


def mutated(seed: str, files: list[tuple[str, bytes]], size: int) -> Iterator[tuple[str, bytes]]:
    """Files with one to three changes each, their names with the endings that they had."""
    rng = random.Random(seed)
    for _ in range(size):
        name, data = rng.choice(files)
        for _ in range(rng.choice((1, 1, 2, 3))):
            data = rng.choice(MUTATIONS)(rng, data) if data else data
            try:
                data.decode("utf-8")
            except UnicodeDecodeError:
                break
        yield name, data


def refused(read: Callable[[Path], object], path: Path) -> InputError | None:
    """The error of a file, None if it is read; that it comes in time."""
    began = time.process_time()
    error: InputError | None = None
    try:
        read(path)
    except InputError as found:
        error = found
    assert time.process_time() - began < SLOWEST, path.read_bytes()
    return error


def check(error: InputError, data: bytes) -> None:
    assert error.file, (str(error), data)
    assert error.line is not None or error.key, (str(error), data)
    assert error.allowed, (str(error), data)
    assert len(str(error)) <= LONGEST, (str(error), data)
    json.dumps(error.as_dict(), allow_nan=False).encode("utf-8")


@cache
def parts() -> list[tuple[str, bytes]]:
    return [(path.name, path.read_bytes()) for path in sorted(EXAMPLES.glob("*.toml"))]


@cache
def profiles() -> list[tuple[str, bytes]]:
    return [(path.name, path.read_bytes()) for path in sorted(packaged_folder().glob("*.toml"))]


def as_json(files: list[tuple[str, bytes]], load: Callable[[Path], object], folder: Path) -> list[tuple[str, bytes]]:
    """The same as JSON, as the program writes them."""
    found = []
    for name, data in files:
        path = folder / name
        path.write_bytes(data)
        document = load(path).normalised()  # type: ignore[attr-defined]
        found.append((f"{Path(name).stem}.json", json.dumps(document, indent=1).encode("utf-8")))
    return found


@pytest.mark.parametrize("kind", ["part", "profile"])
@pytest.mark.parametrize("form", ["toml", "json"])
def test_a_mutated_file_is_read_or_refused_with_its_place(kind: str, form: str, tmp_path: Path, campaign: bool) -> None:
    load: Callable[[Path], object] = load_part if kind == "part" else load_machine
    files = parts() if kind == "part" else profiles()
    for table in EXAMPLES.glob("*.csv"):
        (tmp_path / table.name).write_bytes(table.read_bytes())
    if form == "json":
        files = as_json(files, load, tmp_path)
    told = 0
    for name, data in mutated(f"{kind} {form}", files, (CAMPAIGN if campaign else SIZE) * 5):
        path = tmp_path / name
        path.write_bytes(data)
        error = refused(load, path)
        if error is not None:
            check(error, data)
            told += 1
    assert told > SIZE


@pytest.fixture(scope="module")
def proof() -> bytes:
    part, machine = load_part(EXAMPLES / "fender-hook.toml"), load_machine("canal-workshop")
    evidence = Evidence()
    made = plan(part, machine, evidence=evidence)
    return proof_text(proof_document(made, evidence)).encode("utf-8")


def test_a_mutated_proof_is_refused_or_does_not_hold(proof: bytes, tmp_path: Path, campaign: bool) -> None:
    path, held = tmp_path / "proof.json", 0
    for _, data in mutated("proof", [("proof.json", proof)], CAMPAIGN if campaign else SIZE):
        path.write_bytes(data)
        began = time.process_time()
        try:
            held += audit_proof(read_proof(path)).confirmed
        except InputError as error:
            check(error, data)
        except BendorderError as error:
            raise AssertionError(str(error)) from error
        assert time.process_time() - began < 5.0 * SLOWEST
    assert held < (CAMPAIGN if campaign else SIZE)
