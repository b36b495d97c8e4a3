"""The Booleans of a sequencing problem for CP-SAT, and how clauses over them are stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.deadline import in_time
from planner.rules.broken import End
from planner.sequencing.events import Hold
from planner.sequencing.problem import Problem
from planner.sequencing.solution import LOADED, Reached, negation

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import BoolVarT

    from planner.sequencing.solution import Truth


class Clauses:
    """The Booleans of one problem; the families of clauses over them are stated elsewhere.

    A bend's `number` is counted from end A; a pair (leads, bend) names it in the view of the end that leads.
    before[i, j], following[i, j]: number i is made before, just before number j; first, last: by number; reached: how
    each bend is reached and which end leads; longer: it is linked the longer way round; released: made with the collet
    open; trims: by place in problem.trims; totals, unasked: every total trim, and what of it nobody has stated, once
    each, the least first [mm].
    """

    def __init__(self, problem: Problem) -> None:
        from ortools.sat.python import cp_model

        self.problem = problem
        self.cp = cp_model.CpModel()
        self.numbers = range(1, problem.n + 1)
        self.before: dict[tuple[int, int], Truth] = {}
        self.following: dict[tuple[int, int], BoolVarT] = {}
        self.first: dict[int, BoolVarT] = {}
        self.last: dict[int, BoolVarT] = {}
        self.leads_a: dict[int, BoolVarT] = {}
        self.reached: dict[tuple[Reached, End, int], BoolVarT] = {}
        self.linked: dict[tuple[End, int], BoolVarT] = {}
        self.longer: dict[tuple[End, int], BoolVarT] = {}
        self.released: dict[int, BoolVarT] = {}
        self.trims: list[BoolVarT] = []
        costs = [problem.value(0, trims, 0) for trims in problem.trims]
        self.totals, self.unasked = (sorted({cost[k] for cost in costs}) for k in (1, 3))
        self._serving: dict[tuple[End, Hold, int], Truth] = {}

    def serves(self, leads: End, hold: Hold, bend: int) -> Truth:
        """Return a literal that is true where a hold serves a bend (and may be so elsewhere)."""
        if not 1 <= hold.since <= bend:
            return False
        key = (leads, hold, bend)
        if key not in self._serving:
            if bend > hold.since:
                causes = [[self.serves(leads, hold, bend - 1), self.reached["kept", leads, bend]]]
            else:
                begins = LOADED if hold.begun == "load" else ("re-grip",)
                causes = [[self.reached[r, leads, bend]] for r in begins if (r, leads, bend) in self.reached]
            self._serving[key] = self.caused(causes)
        return self._serving[key]

    def caused(self, causes: list[list[Truth]]) -> Truth:
        """Return a literal that is true wherever all of one cause are."""
        causes = [cause for cause in causes if not any(literal is False for literal in cause)]
        if not causes:
            return False
        if len(causes) == 1 and len(causes[0]) == 1:
            return causes[0][0]
        effect = self.new("caused")
        for cause in causes:
            self.never(*cause, ~effect)
        return effect

    def leads(self, leads: End, bend: int) -> BoolVarT:
        """Return the literal that is true where an end leads at a bend."""
        leads_a = self.leads_a[self.number(leads, bend)]
        return leads_a if leads == "A" else ~leads_a

    def number(self, leads: End, bend: int) -> int:
        """Return a bend's number from end A for its number in the view of an end, or back."""
        return bend if leads == "A" else self.problem.n + 1 - bend

    def new(self, name: str) -> BoolVarT:
        """Return a new Boolean; its name is for whoever reads the model."""
        return self.cp.new_bool_var(name)

    def never(self, *literals: Truth) -> None:
        """Not all of these at once."""
        in_time()
        if not any(literal is False for literal in literals):
            self.cp.add_bool_or([~literal for literal in literals if not isinstance(literal, bool)])

    def implies(self, cause: BoolVarT, *effects: Truth) -> None:
        """Where the cause is true one of the effects is."""
        self.never(cause, *(negation(effect) for effect in effects))
