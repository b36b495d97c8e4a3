"""Which clamp is fitted at each bend as Booleans for CP-SAT, and how often it is changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.sequencing.events import Event, Pattern
from planner.sequencing.solution import ENDS

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import BoolVarT, CpSolver

    from planner.rules.broken import End
    from planner.sequencing.clauses import Clauses
    from planner.sequencing.problem import Clamps
    from planner.sequencing.solution import Truth


class Fitting:
    """The clamps of a problem that tells them apart; nothing at all of one that does not.

    clamp[number, length]: fitted at a bend (from end A); begun: fitted as the pass of that bend began; changes: each is
    true where a clamp is changed once.
    """

    def __init__(self, model: Clauses) -> None:
        self.model, self.clamps = model, model.problem.clamps
        self.clamp: dict[tuple[int, float], BoolVarT] = {}
        self.begun: dict[tuple[int, float], BoolVarT] = {}
        self.changes: list[BoolVarT] = []

    def build(self) -> None:
        """State the clamps, which of them fit, and what is changed from bend to bend."""
        if self.clamps is None:
            return
        for number in self.model.numbers:
            for found, name in ((self.clamp, "clamp"), (self.begun, "begun with")):
                for length in self._choice("A", number).at_end:
                    found[number, length] = self.model.new(f"{name} {number} {length}")
                self.model.cp.add_exactly_one(found[number, length] for length in self._choice("A", number).at_end)
            self._only_what_fits(number)
        self._changed()

    def _choice(self, leads: End, bend: int) -> Clamps:
        assert self.clamps is not None  # asked only then
        return self.clamps[leads][bend - 1]

    def _seen(self, leads: End, number: int) -> int:
        return number if leads == "A" else self.model.problem.n + 1 - number

    def _only_what_fits(self, number: int) -> None:
        """Where the neighbour ahead is formed the clamp fits between the two."""
        for leads in ENDS:
            bend = self._seen(leads, number)
            if bend == 1:
                continue
            leads_a = self.model.leads_a[number]
            leading: Truth = leads_a if leads == "A" else ~leads_a
            ahead = self.model.before[self._seen(leads, bend - 1), number]
            for length in self._choice(leads, bend).at_end:
                if length not in self._choice(leads, bend).between:
                    self.model.never(leading, ahead, self.clamp[number, length])

    def _changed(self) -> None:
        """A clamp is changed between two bends of a pass that have different ones, and back at the end of the pass."""
        for number in self.model.numbers:
            back, between = self.model.new(f"changed back {number}"), self.model.new(f"changed for {number}")
            self.changes += [back, between]
            first, last = self.model.first[number], self.model.last[number]
            self._begins_with_its_own(number, first)
            self._put_back(number, last, back)
            for other in self.model.numbers:
                if other == number:
                    continue
                follows = self.model.following[other, number]
                if self._choice("A", other).die != self._choice("A", number).die:
                    self.changes.append(follows)
                    self._begins_with_its_own(number, follows)
                    self._put_back(other, follows, back)
                    continue
                for length in self._choice("A", number).at_end:
                    self.model.never(follows, self.clamp[other, length], ~self.clamp[number, length], ~between)
                    self.model.never(follows, self.begun[other, length], ~self.begun[number, length])

    def _begins_with_its_own(self, number: int, where: Truth) -> None:
        for length in self._choice("A", number).at_end:
            self.model.never(where, self.clamp[number, length], ~self.begun[number, length])

    def _put_back(self, number: int, where: Truth, back: BoolVarT) -> None:
        """Where a pass ends with a bend and with another clamp than it began with, one is changed back."""
        for length in self._choice("A", number).at_end:
            self.model.never(where, self.begun[number, length], ~self.clamp[number, length], ~back)

    def fitted(self, number: int, length: float) -> Truth:
        """Return a literal that is true where a clamp is fitted at a bend, by its number from end A."""
        return self.clamp.get((number, length), False)

    def fitted_before(self, pattern: Pattern) -> Truth:
        """Return a literal that is true where the clamp that a pattern names is fitted at the bend made before its own.

        The bend before a turn is the one at the other end of the run, which the first formed bend tells.
        """
        assert pattern.clamp_before is not None  # asked only then
        leads, bend = pattern.leads, pattern.bend
        if pattern.event is Event.TURN:
            (bend, last) = pattern.ahead
            assert bend == last  # of every pattern that names the clamp before a turn
            return self.fitted(self._seen(leads, bend), pattern.clamp_before)
        return self.fitted(self._seen(leads, bend - 1), pattern.clamp_before)

    def read(self, solved: CpSolver, number: int) -> float | None:
        """Return the clamp that a solution has at a bend, None where they are not told apart."""
        return next(
            (length for (n, length), one in self.clamp.items() if n == number and solved.boolean_value(one)), None
        )
