"""The motions of a plan confirmed: every one of them is covered, and in every cell it is as clear as is printed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.audit.bounds import Cells
from planner.audit.carrying_out import carry_out
from planner.audit.confirming import confirm
from planner.audit.fields import holds_nothing
from planner.audit.motions import Motion
from planner.audit.refused import Refused
from planner.audit.seen import Key, Pairs, pairs_of
from planner.audit.shapes import Array
from planner.audit.tiling import untiled
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.tolerances import PROVED_LENGTH, REPORT_CEILING, SELF_MARGIN


@dataclass(frozen=True)
class Counts:
    """How much was confirmed."""

    motions: int
    pairs: int
    cells: int


def confirm_motions(document: dict[str, Any], part: Part, machine: Machine) -> Counts:
    """Confirm that the plan of a proof document can be carried out and keeps clear by what is printed.

    A document without a plan has no motions. Raises Refused for what does not hold.
    """
    plan, listed = document["plan"], document["motions"]
    if not plan["steps"]:
        holds_nothing(plan)
        if listed:
            raise Refused("There are motions, but no steps.")
        return Counts(0, 0, 0)
    carried = carry_out(plan, part, machine)
    _printed(plan, carried.motions)
    by_step = _listed(listed, carried.motions)
    gap = max(self_gap(part).gap - SELF_MARGIN, 0.0)
    pairs = pairs_of(carried.motions, machine, part.radius, min(machine.clearance.to_itself, gap))
    cells = _cells(by_step, pairs)
    confirm(pairs, cells)
    return Counts(len(carried.motions), len(pairs.names), cells.count)


def _printed(plan: dict[str, Any], motions: tuple[Motion, ...]) -> None:
    """Hold the plan's smallest clearance against those of its steps; no step that moves nothing may claim one."""
    moving = {motion.step for motion in motions}
    for step in plan["steps"]:
        if step["number"] not in moving and step["clearance"] is not None:
            raise Refused(f"Step {step['number']} ({step['action']}) moves nothing and names a clearance.")
    least = min((motion.clear_by for motion in motions), default=None)
    if plan["smallest_clearance"] != least:
        raise Refused(f"The plan's smallest clearance is {plan['smallest_clearance']} mm, its steps' least {least} mm.")


def _listed(listed: list[dict[str, Any]], motions: tuple[Motion, ...]) -> dict[int, dict[str, Any]]:
    """Return the covers by step: one for every motion, with its printed clearance."""
    by_step: dict[int, dict[str, Any]] = {}
    for entry in listed:
        if entry["step"] in by_step:
            raise Refused(f"Step {entry['step']} is covered twice.")
        by_step[entry["step"]] = entry
    wanted = {motion.step for motion in motions}
    if missing := sorted(wanted - by_step.keys()):
        raise Refused(f"Step {missing[0]} moves something and is not covered.")
    if more := sorted(by_step.keys() - wanted):
        raise Refused(f"Step {more[0]} moves nothing and is covered.")
    for motion in motions:
        found = by_step[motion.step]["clear_by"]
        if found != motion.clear_by or not found <= REPORT_CEILING:
            raise Refused(f"Step {motion.step} prints a clearance of {motion.clear_by} mm, its cover is of {found} mm.")
    return by_step


def _cells(by_step: dict[int, dict[str, Any]], pairs: Pairs) -> Cells:
    """Return the cells of all pairs; every pair that is wanted must be there, whole or tiled, and no other."""
    # The rest has no extent: a straight that lies in the clamp all along.
    todo = pairs.s_to - pairs.s_from > PROVED_LENGTH
    seen = np.zeros(todo.size, dtype=bool)
    whole: list[int] = []
    cut: list[tuple[int, Array]] = []
    for number, cells in _entries(by_step, pairs):
        if seen[number]:
            raise _of(pairs, number, "is covered twice")
        seen[number] = True
        if cells is None:
            whole.append(number)
        else:
            cut.append((number, cells))
    if (todo & ~seen).any():
        raise _of(pairs, int(np.flatnonzero(todo & ~seen)[0]), "is not covered")
    for number, cells in cut:
        s = (float(pairs.s_from[number]), float(pairs.s_to[number]))
        lives = (float(pairs.lives[0, number]), float(pairs.lives[1, number]))
        wrong = untiled(cells, s, (float(pairs.t_from[number]), 1.0), lives)
        if wrong is not None:
            raise _of(pairs, number, f"is not covered: {wrong}")
    at = np.array(whole, dtype=np.int64)
    edges = np.stack((pairs.s_from[at], pairs.s_to[at], pairs.t_from[at], np.ones(at.size)))
    every = np.concatenate([edges, *(cells.T for _, cells in cut)], axis=1)
    owner = np.concatenate([at, *(np.full(len(cells), number) for number, cells in cut)])
    return Cells(owner, every[0], every[1], every[2], every[3])


def _entries(by_step: dict[int, dict[str, Any]], pairs: Pairs) -> Iterator[tuple[int, Array | None]]:
    """Yield the listed pairs by their number, with their cells (n, 4) or None for a whole one."""
    for step, entry in by_step.items():
        for piece, solid in entry["whole"]:
            yield _number(pairs, step, piece, solid), None
        for one in entry["cut"]:
            cells = np.array(one["cells"], dtype=np.float64).reshape(-1, 4)
            yield _number(pairs, step, one["piece"], one["solid"]), cells


def _number(pairs: Pairs, step: int, piece: Any, solid: Any) -> int:
    try:
        return pairs.keys[Key(step, piece, solid)]
    except KeyError:
        raise Refused(f"Step {step}: nothing asks for piece {piece} against the {solid}.") from None


def _of(pairs: Pairs, number: int, what: str) -> Refused:
    key = pairs.names[number]
    return Refused(f"Step {key.step}: piece {key.piece} against the {key.solid} {what}.")
