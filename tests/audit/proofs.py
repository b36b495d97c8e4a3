"""Proofs to be audited and tampered with: of the examples, of random parts, and of parts with things in the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from planner.inputs.files import load_machine, load_part, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document
from planner.search.search import Search
from tests.plan.random_parts import drawn, hemmed_in
from tests.search.afresh import crowded

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.toml"))

TELLING_DRAWN = (4, 5, 8, 13, 22, 49, 50, 64)
"""Seeds of random parts with no-goods of many kinds: a bend, a move, runs, trims, ways round, held wherever."""

TELLING_HEMMED_IN = (21, 25)
"""Seeds of parts that cannot be taken off."""

TELLING_CROWDED = (6, 20, 40, 57, 58, 77, 315)
"""Seeds of parts in a crowd of solids."""


@dataclass(frozen=True)
class Proven:
    """A part on a machine with its proof, and the search that it comes from."""

    name: str
    part: Part
    machine: Machine
    proof: dict[str, Any] = field(repr=False)
    search: Search = field(repr=False)


def proven(name: str, part: Part, machine: Machine) -> Proven:
    """Plan a part and write its proof."""
    evidence = Evidence()
    made = plan(part, machine, evidence=evidence)
    assert evidence.search is not None
    return Proven(name, part, machine, proof_document(made, evidence), evidence.search)


TELLING_EXAMPLES = ("cabin-grab-rail", "fender-hook", "lockside-rail", "loft-rail", "mooring-stanchion", "tiller-bracket",
                    "trailer-frame", "wharf-rail")  # fmt: skip
"""A single load, trim, a turn, nothing that goes by strikes and by rules, an open collet, absolute readouts, a re-grip."""


@cache
def of_example(name: str) -> Proven:
    """The proof of an example; not to be changed."""
    part = load_part(next(path for path in EXAMPLES if path.stem == name))
    assert part.machine is not None, f"{name} names no machine"
    return proven(name, part, load_machine(part.machine))


def of_examples(every: bool) -> Iterator[Proven]:
    """The proofs of the examples; every: of all, else of those that differ in what they rest on."""
    return (of_example(path.stem) for path in EXAMPLES if every or path.stem in TELLING_EXAMPLES)


def of_random_parts() -> Iterator[Proven]:
    """Proofs with no-goods of every kind."""
    for found in (*map(drawn, TELLING_DRAWN), *map(hemmed_in, TELLING_HEMMED_IN)):
        assert found is not None
        yield proven(found.name, found.part, found.machine)
    for seed in TELLING_CROWDED:
        part, machine = crowded(seed)
        yield proven(f"crowded {seed}", part_from_data(part.normalised()), machine)
