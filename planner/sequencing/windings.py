"""The chuck's whole turns as Booleans for CP-SAT."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from planner.rules.broken import End
from planner.sequencing.events import Begun, Hold
from planner.sequencing.solution import LOADED, WHOLE_TURN, negation
from planner.tolerances import CHUCK_SLACK

if TYPE_CHECKING:
    from planner.sequencing.clauses import Clauses
    from planner.sequencing.solution import Truth


class Windings:
    """The chuck's net whole turns since its 0, the longer ways round counted with their sign, as Booleans.

    Each Boolean says that the chuck has so many windings or more when it stands at a bend, in the view of the end that
    leads. allowed: the least and the most windings with which a hold can serve a bend; span: those of any hold.
    """

    def __init__(self, model: Clauses, leads: End, chuck: tuple[float, float]) -> None:
        self.model, self.leads, self.chuck = model, leads, chuck
        self.rolls = model.problem.rolls[leads]
        self.allowed = {
            (hold, bend): self._allowed(hold, bend) for hold in self._holds() for bend in self._linked(hold)
        }
        self.span = {bend: self._span(bend) for bend in model.numbers}
        self._at_least: dict[tuple[int, int], Truth] = {}

    def build(self) -> None:
        """State what windings each hold allows, and how a link changes them."""
        for (hold, bend), (least, most) in self.allowed.items():
            serves = self.model.serves(self.leads, hold, bend)
            self.model.never(serves, negation(self._has(bend, least)))
            self.model.never(serves, self._has(bend, most + 1))
        for (reached, leads, bend), literal in self.model.reached.items():
            if leads == self.leads and reached in LOADED:
                self._goes_on([literal], bend, False, 0)
            elif leads == self.leads:
                longer = self.model.longer.get((leads, bend), False)
                turn = int(math.copysign(1.0, self.rolls[bend - 1]))
                self._goes_on([literal, negation(longer)], bend, reached == "kept", 0)
                self._goes_on([literal, longer], bend, reached == "kept", turn)

    def _goes_on(self, where: list[Truth], bend: int, kept: bool, more: int) -> None:
        """Where all of this holds, the windings are those at the bend before, or none, and so many more."""
        low, high = self.span[bend]
        for windings in range(low, high + 2):
            had = self._has(bend - 1, windings - more) if kept else windings - more <= 0
            has = self._has(bend, windings)
            self.model.never(*where, had, negation(has))
            self.model.never(*where, negation(had), has)

    def _has(self, bend: int, windings: int) -> Truth:
        low, high = self.span[bend]
        if not low < windings <= high:
            return windings <= low
        if (bend, windings) not in self._at_least:
            self._at_least[bend, windings] = self.model.new(f"windings {self.leads} {bend} {windings}")
        return self._at_least[bend, windings]

    def _holds(self) -> list[Hold]:
        begun: tuple[Begun, ...] = ("load", "re-grip") if self.model.problem.may_regrip else ("load",)
        return [Hold(since, b) for since in self.model.numbers for b in begun if since > 1 or b == "load"]

    def _linked(self, hold: Hold) -> range:
        """The bends that a hold can serve after a link."""
        return range(hold.since + (hold.begun == "load"), self.model.problem.n + 1)

    def _allowed(self, hold: Hold, bend: int) -> tuple[int, int]:
        """Return the least and the most windings with which a hold can serve a bend; least > most if none will do."""
        shorter = sum(self.rolls[b - 1] for b in self._linked(hold) if b <= bend)
        low, high = self.chuck
        least = math.ceil((shorter - high - CHUCK_SLACK) / WHOLE_TURN)
        most = math.floor((shorter - low + CHUCK_SLACK) / WHOLE_TURN)
        return max(least, -bend), min(most, bend)

    def _span(self, bend: int) -> tuple[int, int]:
        spans = [(0, 0), *(span for (_, b), span in self.allowed.items() if b == bend and span[0] <= span[1])]
        return min(low for low, _ in spans), max(high for _, high in spans)
