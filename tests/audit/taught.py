"""Parts whose planning has taught something, with what was proved as a proof writes it."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from planner.audit.bench import Bench
from planner.audit.nogoods import confirm_no_goods
from planner.audit.refused import Refused
from planner.audit.shop import Shop
from planner.feasibility.cases import case_of, surroundings_of
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.proof.no_goods import no_good_record
from planner.search.decision import decide
from planner.search.search import Search
from planner.sequencing.exact import Exact
from tests.plan.random_parts import drawn, hemmed_in
from tests.search.afresh import crowded

Record = dict[str, Any]

TELLING = (
    ("drawn", 4), ("drawn", 5), ("drawn", 8), ("drawn", 15), ("drawn", 17), ("drawn", 22), ("drawn", 99),
    ("hemmed in", 21), ("hemmed in", 25),
    ("crowded", 5), ("crowded", 6), ("crowded", 15), ("crowded", 18), ("crowded", 33), ("crowded", 36), ("crowded", 40),
    ("crowded", 58), ("crowded", 77), ("crowded", 116), ("crowded", 129),
)  # fmt: skip
"""Seeds of random parts whose no-goods are of many kinds."""

TELLING_LONG = (("drawn", 64), ("hemmed in", 22), ("crowded", 9), ("crowded", 57), ("crowded", 315))
"""Others that take long to plan, for a campaign."""


@dataclass(frozen=True)
class Learned:
    """A part on a machine, the search that learned of it, and its proved no-goods as a proof writes them."""

    part: Part
    machine: Machine
    shop: Shop
    search: Search
    records: tuple[Record, ...]

    @cached_property
    def bench(self) -> Bench:
        """The part on its machine as the auditor sees it."""
        return Bench(self.part, self.machine, self.shop)

    def confirm(self, record: Record) -> dict[str, int]:
        """Audit one no-good; return how much was confirmed."""
        return confirm_no_goods({"no_goods": [record]}, self.part, self.machine, self.shop)[1]

    def refuses(self, record: Record) -> bool:
        """Whether the auditor refuses a no-good."""
        try:
            self.confirm(record)
        except Refused:
            return True
        return False


def case(kind: str, seed: int) -> tuple[Part, Machine]:
    """A random part and its machine."""
    if kind == "crowded":
        return crowded(seed)
    found = drawn(seed) if kind == "drawn" else hemmed_in(seed)
    assert found is not None
    return found.part, found.machine


def learned_of(part: Part, machine: Machine) -> Learned:
    """Plan a part and write down what was proved."""
    told = case_of(part, machine)
    search = Search.of(told, surroundings_of(told), Exact())
    decide(search)
    proved = [nogood for nogood in search.nogoods if nogood.grade == "proved"]
    records = tuple(no_good_record(search.checks, nogood, "") for nogood in proved)
    return Learned(part, machine, Shop(part, machine), search, records)


@cache
def learned(kind: str, seed: int) -> Learned:
    """What was learned of a random part."""
    return learned_of(*case(kind, seed))


def every(campaign: bool = False) -> Iterator[tuple[Learned, Record]]:
    """All no-goods, each a copy; in a campaign those of more parts too."""
    for kind, seed in (*TELLING, *TELLING_LONG) if campaign else TELLING:
        of = learned(kind, seed)
        yield from ((of, copy.deepcopy(record)) for record in of.records)


def walls(record: Record) -> list[Record]:
    """All walls of a no-good."""
    return [*record["walls"], *(entry["wall"] for entry in record["clamps"] if "wall" in entry)]


def strikes(record: Record) -> list[Record]:
    """All witnesses of a no-good with their pose."""
    found = [entry["strike"] for entry in record["clamps"] if "strike" in entry]
    return found + [s for wall in walls(record) for s in (*wall.get("strikes", ()), *wall.get("slide_strikes", ()))]


def kinds(record: Record) -> set[str]:
    """What a no-good rests on."""
    found = {entry["strike"]["phase"] for entry in record["clamps"] if "strike" in entry}
    return found | {f"{record['doing']}, {wall['kind']}" for wall in walls(record)}
