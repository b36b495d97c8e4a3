"""The CP-SAT engine: the whole problem as clauses over Booleans, solved objective by objective.

What arrivals take beyond their least is learned solution by solution (logic-based Benders decomposition: Hooker and
Ottosson 2003). A solver's word alone proves nothing: every solution is replayed in plain Python, and a verdict of
"none" is for another engine to confirm.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.deadline import in_time, time_left
from planner.sequencing.booleans import Model
from planner.sequencing.events import NoGood, Prefer, Sequence
from planner.sequencing.problem import Extra, Problem
from planner.sequencing.solution import SolverGaveUp, SolverWrong, replay

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpSolver, LinearExprT


@dataclass(frozen=True)
class CpSat:
    """The engine's settings. The least value does not depend on them, the sequence that has it may.

    seed: of the solver; presolve: whether the solver simplifies first; linearization: how much of the model goes into
    its linear relaxation, 0 to 2 (both cost more than they save, at 10 to 40 bends); limit: the most that one solve may
    take [deterministic seconds], so that the same input gives the same answer on every computer.
    """

    seed: int = 0
    presolve: bool = False
    linearization: int = 0
    limit: float = 120.0

    def best(
        self, problem: Problem, nogoods: Iterable[NoGood], extra: Extra, prefer: Prefer = "fewer re-clamps"
    ) -> Sequence | None:
        """Return a sequence with the least value, None if the solver says that there is none.

        nogoods: beside the problem's own rules; extra: never negative. Raises SolverGaveUp at the limit and SolverWrong
        where a solution does not stand up to its replay.
        """
        if not problem.trims:
            return None
        forbidden = (*problem.rules, *nogoods)
        model = Model(problem)
        model.build(forbidden)
        phases = ["re-clamps", "trim"] if prefer == "fewer re-clamps" else ["trim", "re-clamps"]
        if problem.unasked:
            phases.insert(0, "stock")
        of = {"stock": model.unasked_rank, "re-clamps": model.reclamps, "trim": model.trim_rank}
        for phase in phases:
            objective = of[phase]
            solved = self._solved(model, objective, phase)
            if solved is None and phase != phases[0]:
                raise SolverWrong(f"that no sequence has the least of {phases[0]}", "it had just given one")
            if solved is None:
                return None
            least, value = round(solved.objective_value), self._replayed(model, solved, forbidden, extra).value
            ranks = {"stock": model.unasked.index(value.unasked), "trim": model.totals.index(value.trim)}
            if least != ranks.get(phase, value.reclamps):
                raise SolverWrong(f"that {least} is the least of {phase}", f"its own solution costs {value}")
            model.cp.add(objective == least)
        return self._fastest(model, forbidden, extra)

    def _fastest(self, model: Model, forbidden: tuple[NoGood, ...], extra: Extra) -> Sequence:
        """Return a sequence of the least true time: cut by cut, until the optimum meets the best that was found."""
        best: Sequence | None = None
        while True:
            solved = self._solved(model, model.time, "time")
            if solved is None:
                raise SolverWrong("that no sequence is left to be timed", "it had just given one")
            bound, found = round(solved.objective_value), self._replayed(model, solved, forbidden, extra)
            if best is None or found.value.time < best.value.time:
                best = found
            if bound == best.value.time:
                return best
            if bound > best.value.time:
                raise SolverWrong(f"that {bound} ms is the least time", f"a sequence takes {best.value.time} ms")
            if not model.add_costs(found, extra):
                raise SolverWrong(f"that its solution takes {bound} ms", f"it takes {found.value.time} ms")

    def _solved(self, model: Model, objective: LinearExprT, phase: str) -> CpSolver | None:
        """Return the solver at an optimum, None where there is no solution."""
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.seed
        solver.parameters.cp_model_presolve = self.presolve
        solver.parameters.linearization_level = self.linearization
        solver.parameters.max_deterministic_time = self.limit
        left = time_left()
        if left is not None:
            solver.parameters.max_time_in_seconds = left
        model.cp.minimize(objective)
        status = solver.solve(model.cp)
        if status == cp_model.INFEASIBLE:
            return None
        if status != cp_model.OPTIMAL:
            in_time()
            raise SolverGaveUp(phase, solver.status_name(status), self.limit)
        return solver

    @staticmethod
    def _replayed(model: Model, solved: CpSolver, forbidden: tuple[NoGood, ...], extra: Extra) -> Sequence:
        trims, steps = model.solution(solved)
        return replay(model.problem, forbidden, trims, steps, extra)
