"""What the cells of a cut claim, held against the tests' own tube, solids and floods."""

from collections import Counter

import numpy as np

from planner.clearance.plane import Cut
from planner.clearance.rectangles import CellState, Rectangles
from tests.clearance.flood import Flags, flood
from tests.clearance.plane_cases import Trial


def verdict(found: Cut) -> str:
    assert not (found.joined and found.parted)
    return "joined" if found.joined else "parted" if found.parted else "open"


def wrong_cells(case: Trial, cells: Rectangles, rng: np.random.Generator, tally: Counter[str], most: int) -> list[str]:
    """What is wrong with up to `most` cells of each state: corners, sides and middles, and four places at random.

    What the balls leave open is measured exactly, up to four places of a state: the nearest ones of the free.
    """
    ground, wrong = case.ground, []
    for state in (CellState.FREE, CellState.BLOCKED, CellState.SHUT):
        mine = np.flatnonzero(cells.state == state)
        if not mine.size:
            continue
        part = cells.take(rng.permutation(mine)[:most])
        a, b = np.meshgrid([-1.0, 0.0, 1.0], [-1.0, 0.0, 1.0])
        a = np.concatenate((np.tile(a.ravel()[:, None], part.count), rng.uniform(-1.0, 1.0, (4, part.count))))
        b = np.concatenate((np.tile(b.ravel()[:, None], part.count), rng.uniform(-1.0, 1.0, (4, part.count))))
        y, roll = (part.y + a * part.dy).ravel(), (part.roll + b * part.droll).ravel()
        sure = ground.sure(y, roll)
        tally[state.name] += part.count
        tally["poses"] += y.size
        held = {CellState.FREE: sure.clear, CellState.BLOCKED: sure.proved, CellState.SHUT: sure.struck}[state]
        denied = sure.struck if state is CellState.FREE else sure.clear
        wrong += [f"{state.name}: denied at {y[k]!r}, {roll[k]!r}" for k in np.flatnonzero(denied)[:3]]
        left = np.flatnonzero(~held & ~denied)
        for k in left[np.argsort(sure.least[left], kind="stable")][:4]:
            tally["measured"] += 1
            spare, name = case.spare(y[k], roll[k], state is not CellState.FREE, state is CellState.BLOCKED)
            # Inside a sampled profile distances are off by up to 0.02 mm; the first straight may reach 1 mm into two.
            slack = 0.02 if case.laid_in and name in ("bend die", "wiper die", "grip section") else 1e-6
            if spare < -slack if state is CellState.FREE else spare >= 0.0:
                wrong.append(f"{state.name}: {spare:.6f} mm more than needed from {name} at {y[k]!r}, {roll[k]!r}")
    return wrong


def beside(cells: Rectangles, k: int, turn: float | None) -> Flags:
    """Cells that share a stretch of a side with one of them; turn: first and last roll are the same, so far apart."""
    out = np.zeros(cells.count, dtype=bool)
    in_y = np.minimum(cells.y + cells.dy, cells.y[k] + cells.dy[k]) - np.maximum(
        cells.y - cells.dy, cells.y[k] - cells.dy[k]
    )
    for shift in (0.0,) if turn is None else (0.0, turn, -turn):
        top, low = cells.roll + cells.droll + shift, cells.roll - cells.droll + shift
        in_roll = np.minimum(top, cells.roll[k] + cells.droll[k]) - np.maximum(low, cells.roll[k] - cells.droll[k])
        least, most = np.minimum(in_y, in_roll), np.maximum(in_y, in_roll)
        out |= (least >= -1e-7) & (most > 1e-7)
    out[k] = False
    return out


def lead(case: Trial, cells: Rectangles, inside: Flags) -> bool:
    """Whether cells lead side by side from a start to a goal."""
    turn = case.plane.rolls[1] - case.plane.rolls[0] if case.plane.goes_round else None
    touched = [
        np.logical_or.reduce([
            (np.abs(cells.y - np.clip(cells.y, *r.y)) <= cells.dy + 1e-9)
            & (np.abs(cells.roll - np.clip(cells.roll, *r.roll)) <= cells.droll + 1e-9)
            for r in regions
        ])
        for regions in (case.starts, case.goals)
    ]  # fmt: skip
    seen = touched[0] & inside
    stack = np.flatnonzero(seen).tolist()
    while stack:
        more = beside(cells, stack.pop(), turn) & inside & ~seen
        seen |= more
        stack += np.flatnonzero(more).tolist()
    return bool((seen & touched[1]).any())


def wrong_ways(case: Trial, found: Cut, tally: Counter[str]) -> list[str]:
    """Whether the cells do join or part what they are said to, and whether the tests' own flood says otherwise."""
    said, cells = verdict(found), found.cells
    wrong: list[str] = []
    if said == "open":
        tally["open, shut cells among them" if (cells.state == CellState.SHUT).any() else "open, none shut"] += 1
        return wrong
    if said == "joined" and not lead(case, cells, cells.state == CellState.FREE):
        wrong.append("joined, but by no chain of free cells side by side")
    if said == "parted" and lead(case, cells, cells.state != CellState.BLOCKED):
        wrong.append("parted, but cells that are not blocked lead to the goal")
    flooded = flood(case.ground, case.plane, case.starts, case.goals)
    tally[f"{said}, flood {flooded}"] += 1
    if {said, flooded} == {"joined", "parted"}:
        wrong.append(f"{said}, but the flood says {flooded}")
    return wrong
