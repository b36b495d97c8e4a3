"""Verdicts on whole motions against coal, with poses from the tests' own kinematics (scipy's Rotation).

Each pair of a motion and a solid is judged as if it were a motion of its own. The oracle knows the tube as flat-ended
cylinders and cross-sections; it samples time densely, and where the tube is far it goes on only as fast as the tube can
come nearer.
"""

from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest

from planner.clearance.certify import certify, smallest_clearances
from planner.clearance.rows import Rows
from planner.clearance.verdicts import Answer
from planner.tolerances import CLOSE_GAP, REPORT_CEILING, REPORT_GAP, STRIKE_MARGIN
from tests.clearance.cases import RADIUS, Case, Step, case, extent, moment_of
from tests.clearance.oracle import Profile
from tests.clearance.surfaces import at_witness, greatest_speed, nearest, nearest_rounded, section, surface

CLAMP = 76.0
GRID = 48


def closest(
    c: Case, rows: Rows, row: int, step: Step, needed: float, near: Callable[..., float] = nearest
) -> tuple[float, float]:
    """The least distance found over the row's times, and when: dense samples, refined about the least of them."""
    first, last = float(rows.blocks[10, rows.block[row]]), 1.0
    if (
        rows.names[rows.solid[row]] not in ("its own tail", "its own tail's end", "mandrel", "mandrel rod")
        or first == 1.0
    ):
        first = 0.0
    owner = surface(c, step, rows.names[rows.solid[row]], CLAMP, 0.0).owner
    speed = greatest_speed(rows, row, step, owner)
    t, least, at = first, np.inf, first
    while True:
        found = near(c, rows, row, step, CLAMP, t)
        if found < least:
            least, at = found, t
        if t >= last or speed <= 1e-6:
            break
        ahead = (min(found, 1e4) - needed) / speed if np.isfinite(found) else 0.0
        t = min(t + max(ahead, (last - first) / GRID), last)
    width = 1.0 / GRID
    while least < needed + 3.0 and speed * width > 1e-3 and width > 1e-6:
        for t in (max(at - width, first), min(at + width, last)):
            found = near(c, rows, row, step, CLAMP, t)
            if found < least:
                least, at = found, t
        width /= 2.0
    return least, at


def judge(c: Case, tally: Counter[str], wrong: list[str]) -> None:
    rows = c.rows(CLAMP)
    names, found = c.names(rows), certify(rows)
    for (number, _), finding in found.findings.items():
        step, name = c.steps[number // len(names)], names[number % len(names)]
        mine = np.flatnonzero(rows.motion == number)
        tally[finding.answer.value] += 1
        slack = surface(c, step, name, CLAMP, 0.0).slack
        what = f"{c.machine.head.bends_toward}, {step.name}, {name}: "
        if finding.answer is Answer.STRUCK:
            w = finding.witness
            assert w is not None
            when = moment_of(rows, w.row, step, w.t)
            low, high = extent(rows, w.row, step, when)
            if not low - 1e-6 <= w.s <= high + 1e-6:
                wrong.append(f"{what}struck at {w}, but there is no tube there: {low:.3f} to {high:.3f} mm")
            near = at_witness(c, rows, w.row, step, CLAMP, w.s, when)
            if not near < w.needed - STRIKE_MARGIN + slack:
                wrong.append(f"{what}struck at {w}, but {near:.4f} mm there")
            if near > 0.05 and abs(near - w.clearance) > 1e-5 + slack:
                tally["farther than found"] += 1
                if near > w.clearance + 1e-5 + slack:
                    wrong.append(f"{what}{w.clearance:.5f} mm said, {near:.5f} mm found, {w}")
            continue
        nearer = np.inf
        for row in mine:
            needed = float(rows.needed[row])
            least, _ = closest(c, rows, int(row), step, needed)
            if finding.answer is Answer.CLOSE:
                nearer = min(nearer, closest(c, rows, int(row), step, needed, nearest_rounded)[0] - needed)
            allowed = 0.0 if finding.answer is Answer.CLEAR else STRIKE_MARGIN + CLOSE_GAP
            if finding.answer is Answer.CLOSE and slack > 1e-6 and least < needed - allowed - slack:
                # Near a piece's end the program looks at twelve points of the rim for a witness in a groove; a
                # deeper overlap between them is not called a strike. It is not called clear either.
                tally["strike in a groove left open"] += 1
            elif least < needed - allowed - slack:
                role = rows.roles[rows.piece[row]].value
                wrong.append(f"{what}{finding.answer.value}, but {role} comes within {least:.4f} mm, {needed} needed")
        if finding.answer is Answer.CLOSE and nearer > CLOSE_GAP + slack:
            tally["close out of its band"] += 1
            wrong.append(f"{what}too close to call, but nowhere nearer than {nearer:.3f} mm more than needed")


def test_clear_is_never_nearer_than_needed_and_struck_always_is(campaign: bool) -> None:
    tally: Counter[str] = Counter()
    wrong: list[str] = []
    for seed in range(600 if campaign else 2):
        judge(case(seed), tally, wrong)
    assert not wrong, f"{len(wrong)} wrong of {tally}:\n" + "\n".join(wrong[:12])
    assert tally["clear"] + tally["struck"] + tally["too close to call"] >= 260
    assert tally["clear"] > 65
    assert tally["struck"] > 19
    assert tally["too close to call"] <= 0.01 * tally["clear"]
    assert tally["strike in a groove left open"] <= 0.01 * tally["struck"]


def test_the_cells_cover_every_row_and_no_point_in_one_is_nearer_than_its_bound(campaign: bool) -> None:
    rng = np.random.default_rng(99)
    points = 0
    for seed in range(100, 200 if campaign else 101):
        c = case(seed)
        rows = c.rows(CLAMP)
        names, found = c.names(rows), certify(rows, keep_cover=True)
        assert found.cover is not None
        clear = {number for (number, _), finding in found.findings.items() if finding.answer is Answer.CLEAR}
        of_row, cells = found.cover.row.astype(int), found.cover.cells
        for row in np.flatnonzero(np.isin(rows.motion, list(clear)))[:: 1 if campaign else 2]:
            mine = cells[:, of_row == row]
            step, name = c.steps[rows.motion[row] // len(names)], names[rows.motion[row] % len(names)]
            if rows.pieces[11, rows.piece[row]] - rows.pieces[10, rows.piece[row]] <= 1e-9:
                continue  # nothing of an arc lies beyond half a turn
            _check_cover(rows, int(row), mine)
            solid = surface(c, step, name, CLAMP, 0.0)
            for _ in range(2):
                s, ds, t, dt, bound = mine[:, rng.integers(mine.shape[1])]
                s, t = s + ds * rng.uniform(-1.0, 1.0), moment_of(rows, int(row), step, t + dt * rng.uniform(-1.0, 1.0))
                low, high = extent(rows, int(row), step, t)
                if not low <= s <= high:
                    continue
                points += 1
                near = section(c, rows, int(row), step, CLAMP, s, t)
                farthest = np.inf if solid.slack <= 1e-6 else Profile.horizon - 2.0 * RADIUS  # more it does not tell
                assert near >= min(bound, farthest) - solid.slack, (
                    step.name,
                    name,
                    rows.roles[rows.piece[row]],
                    s,
                    t,
                    bound,
                )
    assert points > 900


def _check_cover(rows: Rows, row: int, cells: np.ndarray) -> None:
    """Areas add up, and no point of the row's rectangle at which there is tube lies outside every cell."""
    table, span = rows.pieces[:, rows.piece[row]], rows.blocks[10:12, rows.block[row]]
    s, ds, t, dt, bound = cells
    assert np.all(bound >= rows.needed[row])
    assert np.all((s - ds >= table[10] - 1e-9) & (s + ds <= table[11] + 1e-9))
    assert np.all((t - dt >= span[0] - 1e-12) & (t + dt <= span[1] + 1e-12))
    growing = table[13] != 0.0 and span[1] > span[0]
    width, height = table[11] - table[10], span[1] - span[0]
    area = (4.0 * ds * dt).sum() if height > 0.0 else (2.0 * ds).sum()
    whole = width * height if height > 0.0 else width
    if not growing:
        assert area == pytest.approx(whole, rel=1e-9)
    else:
        assert area <= whole * (1.0 + 1e-9)
    u, v = np.meshgrid(
        np.linspace(table[10], table[11], 23)[1:-1], np.linspace(*span, 19)[1:-1] if height else span[:1]
    )
    there = u <= table[12] + table[13] * v
    inside = (np.abs(u[..., None] - s) <= ds + 1e-9) & (np.abs(v[..., None] - t) <= dt + 1e-12)
    assert np.all(inside.any(axis=-1)[there])


def test_the_smallest_clearance_is_a_lower_bound_within_its_gap_of_a_place_on_the_tube() -> None:
    judged = 0
    for seed in range(201, 202):
        c = case(seed)
        rows = c.rows(CLAMP)
        names = c.names(rows)
        clear = certify(rows).findings
        for number, least in enumerate(smallest_clearances(rows)):
            step, name = c.steps[number // len(names)], names[number % len(names)]
            mine = np.flatnonzero((rows.motion == number) & (rows.needed > 0.0))
            if number % 3 or not mine.size or clear[number, -1].answer is not Answer.CLEAR:
                continue
            if least.witness is None:
                assert least.bound == REPORT_CEILING
                continue
            assert least.bound <= least.found
            grooved = surface(c, step, name, CLAMP, 0.0).slack > 1e-6
            if not grooved:
                assert least.found <= least.bound + REPORT_GAP + 1e-6, (step.name, name, least)
            w = least.witness
            near = at_witness(c, rows, w.row, step, CLAMP, w.s, moment_of(rows, w.row, step, w.t))
            # At the tangent point the tail runs on as the arc in the die: what is found there counts a sphere's worth
            # of it, which the tail cut off flat does not have.
            assert near <= least.found + (rows.radius if name == "its own tail" else 0.03)
            true = min(closest(c, rows, int(row), step, float(least.bound))[0] for row in mine)
            # The sampled profile of a grooved solid says no more than "100 mm or more" from there on.
            bound = min(least.bound, 100.0) - 0.02 if grooved else least.bound - 1e-6
            assert true >= bound, (step.name, name, least)
            judged += 1
    assert judged > 50
