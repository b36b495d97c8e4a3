"""What is asked of a case: which sequences there are to choose from, by which engine and preference."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from planner.sequencing.events import NoGood, Prefer, Sequence
from planner.sequencing.problem import Extra, Problem


class Engine(Protocol):
    """What proposes sequences."""

    def best(self, problem: Problem, nogoods: Iterable[NoGood], extra: Extra, prefer: Prefer) -> Sequence | None:
        """Return a sequence of least value that nothing known forbids, or None if there is none."""


@dataclass(frozen=True)
class Question:
    """A problem, the engine that proposes, and which of re-clamps and trim counts first.

    The deadline is no part of it: it is that of whoever asks (`planner.deadline`).
    """

    problem: Problem
    engine: Engine
    prefer: Prefer = "fewer re-clamps"
