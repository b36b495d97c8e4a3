"""What a plan rests on, kept for whoever writes its proof: the search, its decision, and the motions as certified."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from planner.clearance.rows import Rows
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Cover, Verdicts
from planner.plans.document import Plan
from planner.search.decision import Decision
from planner.search.search import Search
from planner.tube.bodies import Motion


@dataclass(frozen=True, eq=False)
class Measured:
    """How the smallest clearances of a batch of motions were proved: rows and cells; `surroundings` in whole.

    verdicts: where something comes short of what is needed, on the rows as far as that can be told; else None.
    """

    surroundings: Surroundings
    rows: Rows
    cover: Cover
    verdicts: Verdicts | None


@dataclass(frozen=True)
class Moved:
    """One step that moves something: its number, the motion, the clamp in the machine [mm], the clearance that the step
    prints [mm], and how that was proved, with the motion's number there.
    """

    step: int
    motion: Motion
    clamp: float
    clear_by: float
    measured: Measured
    number: int


class Written(NamedTuple):
    """A plan document, and what its steps were held against."""

    plan: Plan
    moved: tuple[Moved, ...] = ()


@dataclass
class Evidence:
    """What a plan rests on, as `planner.planning.planned` returns it; `plan` fills one that it is given."""

    search: Search | None = None
    decision: Decision | None = None
    moved: tuple[Moved, ...] = ()
