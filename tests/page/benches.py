"""Benders for the films, with ways home of every kind; and a plan carried out with all that machine and tube do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from planner import Plan, plan
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from tests.plan.planned import KINDS, part_for
from tests.plan.shop import FINE, bender, head, rod_that_asks_for_a_turn, tube
from tests.plan.workpiece import Array, Document, Workpiece

TOGETHER: dict[str, Any] = {"head": {"homes_with_tube": True}}
STANDS_BACK: dict[str, Any] = {"carriage": {"stand_back": 1500}}
SHORT_BED: dict[str, Any] = {"carriage": {"reach": [330, 3000]}}
"""The carriage comes no nearer than this: the last bend of a load leaves no room to run the tube forward with it."""
DROPS: dict[str, Any] = {"head": {"die_drops": 70, "may_ease_off": False}}
BALLS: dict[str, Any] = {
    "tooling": {"mandrel": {"nose": 8, "balls": 2, "ball_reach": 45}},
    "mandrel": {"rod_length": 9000, "rod_diameter": 25, "draws_back": True},
}

BENCHES: dict[str, tuple[dict[str, Any], ...]] = {
    **KINDS,
    "together right": (FINE, head("right"), TOGETHER),
    "together left": (FINE, head("left"), TOGETHER, STANDS_BACK),
    "by hand right": (FINE, head("right"), SHORT_BED),
    "by hand left": (FINE, head("left"), SHORT_BED, STANDS_BACK, BALLS),
    "by hand, no mandrel": (FINE, head("right"), SHORT_BED, {"mandrel": None}),
    "balls": (FINE, head("right"), BALLS),
    "die drops": (FINE, head("left"), DROPS),
    "drawn off right": (FINE, head("right")),
    "drawn off left": (FINE, head("left"), STANDS_BACK, BALLS),
    "drawn off, no mandrel": (FINE, head("right"), {"mandrel": None}),
}
"""The kinds of the plans' tests, and ways home of every kind."""


def hairpin(seed: int) -> Part:
    """A part of one bend whose longer leg is run out of the grip section along its whole length: farther than its tail."""
    return tube([700.0, 300.0], [0.0], [172.0 + seed % 9], name=f"hairpin {seed}")


def jobs(bench: str, seeds: range) -> Iterator[tuple[Part, Machine]]:
    """Random parts on a bench, with a rod that asks for a turn where that is what the bench is for."""
    for seed in seeds:
        part = hairpin(seed) if bench.startswith("drawn off") else part_for(bench, seed)
        changes = list(BENCHES[bench])
        if bench.startswith("turned"):
            rod = rod_that_asks_for_a_turn(part)
            if rod is None:
                continue
            changes.append({"mandrel": {"rod_length": rod}})
        yield part, bender(*changes)


def makeable(bench: str, count: int = 1) -> list[Plan]:
    """The first plans on a bench, by seed."""
    first, found = 1000 * list(BENCHES).index(bench), list[Plan]()
    for part, machine in jobs(bench, range(first, first + 60)):
        made = plan(part, machine)
        if made.verdict == "makeable":
            found.append(made)
        if len(found) == count:
            return found
    raise AssertionError(f"too few parts can be planned on {bench}")


@dataclass
class CarriedOut(Workpiece):
    """The simulated tube, with where everything was before and after every step.

    stood, faced, armed: the tube, the collet's face [mm] and the arm [rad]; the tube is None where it is away.
    """

    stood: list[Array | None] = field(default_factory=list)
    faced: list[float | None] = field(default_factory=list)
    armed: list[float] = field(default_factory=list)
    away: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        carriage = self.machine.get("carriage")
        self.waits_at = None if carriage is None else carriage.get("stand_back", carriage["reach"][1])
        self.face = self.waits_at

    def _stand(self) -> dict[str, float | None]:
        self.stood.append(None if self.away else self.places.copy())
        self.faced.append(self.face)
        self.armed.append(self.arm)
        return super()._stand()

    def _laid(self, step: Document) -> float:
        self.away = False
        return super()._laid(step)

    def _carriage_back(self, step: Document) -> None:
        """To where it waits, which may be nearer than the hold."""
        assert not self.holds
        assert step["grip"] is None
        assert self.face is not None
        assert self.waits_at is not None
        before, self.face = self.face, self.waits_at
        assert abs(abs(before - self.face) - step["amount"]) < 1e-5

    def _die_down(self, _: Document) -> None: ...

    def _die_up(self, _: Document) -> None: ...

    def _unload(self, step: Document) -> None:
        super()._unload(step)
        self.away = self.arm > 0.0 and step["to"] is None
