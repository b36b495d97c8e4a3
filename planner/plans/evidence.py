"""What a plan rests on, kept for whoever writes its proof: the search, its decision, and the motions as certified."""

from __future__ import annotations

from dataclasses import dataclass

from planner.clearance.surroundings import Surroundings
from planner.search.decision import Decision
from planner.search.search import Search
from planner.tube.motions import Motion


@dataclass(frozen=True)
class Moved:
    """One step that moves something: its number, the motion, the clamp in the machine [mm], what it was held against,
    and the clearance that the step prints [mm].
    """

    step: int
    motion: Motion
    clamp: float
    around: Surroundings
    clear_by: float


@dataclass
class Evidence:
    """Filled by `planner.planning.plan`."""

    search: Search | None = None
    decision: Decision | None = None
    moved: tuple[Moved, ...] = ()
