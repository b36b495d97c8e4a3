"""The plane of advance and rotation: free cells are clear, blocked ones are struck, and what they join or part is so.

Cells, the one thing that is read of the program, are judged by the tests' own tube, solids, contact table and distances
(`flood`, `surfaces`); so are ways through the plane, by a flood over the tests' own grid.
"""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from planner.clearance import plane as module
from planner.clearance import rectangles as sides
from planner.clearance.bounds import bounds
from planner.clearance.plane import Cut, Field, cut
from planner.clearance.poses import pose
from planner.clearance.rectangles import CellState, Rectangles, Region
from planner.tolerances import STRIKE_MARGIN
from tests.clearance.cases import RADIUS
from tests.clearance.flood import Flags
from tests.clearance.machines import CLR, box
from tests.clearance.plane_cases import Trial, leg, trial
from tests.clearance.plane_checks import verdict, wrong_cells, wrong_ways

PI = np.pi
SEEDS = 80
MOST_EVALUATIONS = 60_000
"""Where the program may go on for longer it finds out more, but no other cells [evaluations]."""


@cache
def cut_of(seed: int) -> tuple[Trial, Cut]:
    """A random case and its cut."""
    case = trial(seed)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "MOST_EVALUATIONS", MOST_EVALUATIONS)
        return case, cut(case.field(), case.starts, case.goals)


# Cells by themselves


def test_a_cell_touches_a_region_whose_side_is_the_same_as_its_own_and_none_beside_it() -> None:
    one = np.ones(1)
    cell = Rectangles(0.5 * one, 0.5 * one, 0.5 * one, 0.5 * one, np.zeros(1, dtype=np.int64), np.zeros((3, 1)))
    for off, same in ((0.9 * sides.SAME_SIDE, True), (1.1 * sides.SAME_SIDE, False)):
        for beyond in (1.0 + off, -off):
            assert cell.touches(Region((beyond, beyond), (0.0, 1.0)))[0] == same
            assert cell.touches(Region((0.0, 1.0), (beyond, beyond)))[0] == same


def test_a_pose_is_the_same_whether_balls_are_turned_or_the_tube_is_walked_anew(campaign: bool) -> None:
    """What the fast judgement calls clear or struck is so by exact distances, on both sides of what is needed."""
    rng, seen = np.random.default_rng(5), Counter[str]()
    for seed in range(12 if campaign else 6):
        case = trial(seed)
        y, roll = rng.uniform(*case.plane.y, 60), rng.uniform(*case.plane.rolls, 60)
        sure = case.ground.sure(y, roll)
        near = np.argsort(np.where(sure.clear, sure.least, np.inf))[:3]
        for k in (*near, *np.argsort(np.where(sure.struck, -sure.least, np.inf))[:3]):
            spare, name = case.spare(y[k], roll[k], fine=True)
            assert not (sure.struck[k] and spare >= 0.0), (seed, y[k], roll[k], spare, name)
            assert not (sure.clear[k] and spare < 0.0), (seed, y[k], roll[k], spare, name)
            assert spare <= sure.least[k] + 0.01 or sure.struck[k], (seed, y[k], roll[k], spare, name)
            seen["struck"] += bool(sure.struck[k])
            seen["clear"] += bool(sure.clear[k])
    assert min(seen["struck"], seen["clear"]) >= (20 if campaign else 10), seen


def test_no_free_cell_holds_a_struck_pose_and_no_blocked_one_a_clear_pose(campaign: bool) -> None:
    rng, tally, wrong = np.random.default_rng(6), Counter[str](), []
    for seed in range(10 * SEEDS if campaign else SEEDS):
        case, found = cut_of(seed)
        wrong += [f"seed {seed}: {line}" for line in wrong_cells(case, found.cells, rng, tally, 30)]
    assert not wrong, f"{len(wrong)} wrong of {tally}:\n" + "\n".join(wrong[:12])
    assert min(tally["FREE"], tally["BLOCKED"]) >= 800, tally
    assert tally["SHUT"] >= 100, tally
    assert tally["measured"] >= 60, tally


def test_the_cells_lie_side_by_side_and_leave_nothing_out() -> None:
    rng = np.random.default_rng(7)
    for seed in range(40):
        case, found = cut_of(seed)
        cells, (y, rolls) = found.cells, (case.plane.y, case.plane.rolls)
        assert (4.0 * cells.dy * cells.droll).sum() == pytest.approx((y[1] - y[0]) * (rolls[1] - rolls[0]), rel=1e-9)
        assert (cells.y - cells.dy >= y[0] - 1e-9).all()
        assert (cells.y + cells.dy <= y[1] + 1e-9).all()
        assert (cells.roll - cells.droll >= rolls[0] - 1e-9).all()
        assert (cells.roll + cells.droll <= rolls[1] + 1e-9).all()
        at_y, at_roll = rng.uniform(*y, (50, 1)), rng.uniform(*rolls, (50, 1))
        inside = (np.abs(at_y - cells.y) <= cells.dy + 1e-9) & (np.abs(at_roll - cells.roll) <= cells.droll + 1e-9)
        assert inside.any(axis=1).all()


# What cells join and part


def test_a_flood_finds_no_path_where_a_wall_is_said_to_part_and_one_where_cells_join(campaign: bool) -> None:
    tally, wrong = Counter[str](), []
    for seed in range(10 * SEEDS if campaign else SEEDS):
        case, found = cut_of(seed)
        wrong += [f"seed {seed}: {line}" for line in wrong_ways(case, found, tally)]
    assert not wrong, f"{len(wrong)} wrong of {tally}:\n" + "\n".join(wrong[:12])
    assert tally["parted, flood parted"] >= 19, tally
    assert tally["joined, flood joined"] >= 38, tally
    assert tally["parted, flood open"] + tally["joined, flood open"] <= 0.05 * tally.total(), tally


# The seam, where the first and the last roll are the same


def asked(case: Trial) -> str:
    """What is said of a case, after every check that there is."""
    found = cut(case.field(), case.starts, case.goals)
    cells = wrong_cells(case, found.cells, np.random.default_rng(8), Counter(), 200)
    assert not [*cells, *wrong_ways(case, found, Counter())], verdict(found)
    return verdict(found)


CEILING = box("ceiling", "frame", (-300, -1500, 500), (2500, 1500, 700))
WHOLE = (-PI, PI)


@pytest.mark.parametrize("rolls", [WHOLE, (-1.5 * PI, 0.5 * PI), (-0.5 * PI, 1.5 * PI), (-4.0, 2.0 * PI - 4.0)])
def test_what_lies_on_either_side_of_the_seam_is_joined_round_it_and_parted_without_it(
    rolls: tuple[float, float],
) -> None:
    """From 20° to 160° the leg cannot hang down; the other way round leads over the ceilingless side."""

    def within(degrees: float) -> float:
        return float(np.degrees(rolls[0] + (np.radians(degrees) - rolls[0]) % (2.0 * PI)))

    start, goal = within(20.0), within(160.0)
    assert asked(leg(700.0, [], start, goal, rolls)) == "joined"
    # Where the ceiling shuts the other way too, there is none; the seam may lie in a wall.
    assert asked(leg(700.0, [CEILING], start, goal, rolls)) == "parted"
    assert asked(leg(3000.0, [CEILING], start, goal, rolls)) == "joined"
    # Both walls leave a piece of the plane that the seam may cut in two.
    assert asked(leg(700.0, [CEILING], within(165.0), within(-165.0), rolls)) == "joined"
    assert asked(leg(700.0, [CEILING], within(15.0), within(-15.0), rolls)) == "joined"


def test_a_wall_that_lies_across_the_seam_parts() -> None:
    """At half a turn the leg strikes the wall beyond the feed, at a quarter the floor: between them there is no way in."""
    wall = box("wall", "frame", (-300, 900, -1500), (2500, 1000, 1500))
    assert asked(leg(700.0, [wall], 20.0, 148.0, WHOLE)) == "parted"


def test_a_wall_parts_a_chuck_that_does_not_go_round_where_the_seam_would_join() -> None:
    for goes_round, answer in ((True, "joined"), (False, "parted")):
        assert asked(leg(700.0, [], 20.0, 160.0, WHOLE, goes_round)) == answer
    # A range of more than a turn leads past the same place twice.
    assert asked(leg(700.0, [], 20.0, -200.0, (-1.6 * PI, 0.9 * PI), False)) == "joined"


def test_of_random_cases_some_are_joined_by_the_seam_alone() -> None:
    by_seam, wrong = 0, []
    for seed in range(40):
        case, found = cut_of(seed)
        if not (case.plane.goes_round and found.joined):
            continue
        limited = replace(case, plane=replace(case.plane, goes_round=False))
        again = cut(limited.field(), limited.starts, limited.goals)
        by_seam += again.parted
        wrong += [f"seed {seed}: {line}" for line in wrong_ways(limited, again, Counter())]
    assert not wrong, wrong
    assert by_seam >= 3


@pytest.mark.parametrize("y", [
    (94.639, 650.64053571925), (46.634, 747.4485593284999), (90.824, 1441.6114457617998),
])  # fmt: skip
def test_sides_that_differ_by_the_last_digit_of_a_float_are_the_same_side(y: tuple[float, float]) -> None:
    """Two cells reckon their common side from their own midpoints. In these spans one side's digits round apart."""
    start, goal = y[0] + 200.0, y[1]
    case = leg(3000.0, [], 0.0, 60.0, WHOLE, y=y)
    case = replace(case, starts=(Region((start, start), (0.0, 0.0)),), goals=(Region((goal, goal), (1.0, 1.0)),))
    assert asked(case) == "joined"


@pytest.mark.parametrize("goes_round", [True, False])
def test_where_there_is_no_room_to_advance_a_clear_rotation_is_not_parted(goes_round: bool) -> None:
    case = leg(3000.0, [], 0.0, 60.0, WHOLE, goes_round, y=(250.0, 250.0))
    found = cut(case.field(), case.starts, case.goals)
    assert not found.parted


# What moves along with the tube, and what proves nothing

CART = box("cart", "carriage", (0, -1200, -900), (2500, 1200, -500))


def test_a_strike_that_proves_nothing_shuts_cells_and_never_parts() -> None:
    for solids, height in (([], 700.0), ([CEILING], 700.0)):
        case = leg(height, solids, 20.0, 160.0, WHOLE, goes_round=bool(solids))
        field = case.field()
        whole = cut(field, case.starts, case.goals)
        assert verdict(whole) == "parted"
        assert not (whole.cells.state == CellState.SHUT).any()
        none = cut(replace(field, proves=np.zeros(field.rows.count, dtype=bool)), case.starts, case.goals)
        assert verdict(none) == "open"
        assert (none.cells.state == CellState.SHUT).any()
        assert not (none.cells.state == CellState.BLOCKED).any()
        # The floor alone makes one of the walls.
        floor = np.array([field.rows.names[k] == "floor" for k in field.rows.solid])
        some = cut(replace(field, proves=~floor), case.starts, case.goals)
        assert verdict(some) == "open"


def test_what_the_carriage_carries_shuts_the_way_at_every_advance() -> None:
    """In the frame the cart comes along under the leg, whose way down it shuts; nothing else is near."""
    case = leg(3000.0, [CART], 20.0, 160.0, WHOLE, goes_round=False)
    found = cut(case.field(), case.starts, case.goals)
    assert verdict(found) == "open"
    assert (found.cells.state == CellState.SHUT).any()
    assert not wrong_cells(case, found.cells, np.random.default_rng(9), Counter(), 400)
    # Whatever is known of a rotation there holds at every advance: nothing is free beside what is shut.
    rolls, cells = np.linspace(-PI, PI, 721), found.cells
    at = np.abs(rolls[:, None] - cells.roll) <= cells.droll - 1e-9
    free, shut = ((at & (cells.state == state)).any(axis=1) for state in (CellState.FREE, CellState.SHUT))
    assert not (free & shut).any()
    assert min(free.sum(), shut.sum()) >= 20
    # The same box on the frame proves what it strikes.
    standing = box("cart", "frame", (-900, -1200, -900), (1600, 1200, -500))
    assert asked(leg(3000.0, [standing], 20.0, 160.0, WHOLE, goes_round=False)) == "parted"


@pytest.mark.parametrize("air", [10.05, 10.2, 10.6])
def test_the_work_ends_where_the_last_open_cells_hang_on_what_goes_along(
    air: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A leg that may just pass, or not, what moves along with it: no advance tells, nor does a cell ever smaller."""
    monkeypatch.setattr(module, "MOST_EVALUATIONS", 20_000)
    top = -(900.0 + CLR + air)
    cart = box("cart", "carriage", (0, -1200, top - 300.0), (2500, 1200, top))
    case = leg(3000.0, [cart], 20.0, 160.0, WHOLE, goes_round=False)
    found = cut(case.field(), case.starts, case.goals)
    assert found.evaluations < 20_000
    assert (found.cells.droll * case.ground.balls.far > module.FINEST_SWEEP / 4.0).all()


@pytest.mark.parametrize("seed", [3, 9, 291, 703])
def test_no_round_looks_at_the_same_cells_and_stretches_as_the_one_before(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where neither a cell nor a piece is cut nothing new can come out, and the work goes on up to its limit."""
    monkeypatch.setattr(module, "MOST_EVALUATIONS", 15_000)

    class Watched(module._Cutting):
        looked_at: tuple[int, int, float] | None = None

        def _settle(self) -> None:
            now = (self.cells.count, self.cell.size, float(self.ds.sum()))
            assert now != self.looked_at, f"{self.evaluations} evaluations, {self.cells.count} cells"
            self.looked_at = now
            super()._settle()

    case = trial(seed)
    Watched(case.field(), case.starts, case.goals).run()


# Faults, one at a time, each found by the checks above


@dataclass(frozen=True)
class Fault:
    """How the program is put wrong, or what is asked of it, and the cases in which that is to be found."""

    put: Callable[[pytest.MonkeyPatch, Trial], None]
    field: Callable[[Field], Field] = lambda field: field
    cases: Callable[[], Iterable[Trial]] = lambda: (trial(seed) for seed in range(60))


def _no_margin(patch: pytest.MonkeyPatch, case: Trial) -> None:
    """A cell is blocked where its midpoint is struck: neither the way of the point nor the margin is taken off."""

    def nearer(rows: Any, cells: Any, upto: Any) -> Any:
        found = bounds(rows, cells, upto)
        x = pose(rows, cells.row, cells.s, cells.t, cells.shift).x
        turned = cells.dt * (case.plane.rolls[1] - case.plane.rolls[0])
        moved = (np.hypot(x[1], x[2]) + RADIUS) * turned + cells.dshift
        return replace(found, upper=found.upper - moved - STRIKE_MARGIN)

    patch.setattr(module, "bounds", nearer)


def _no_advance_taken_off(patch: pytest.MonkeyPatch, _: Trial) -> None:
    """The bounds hold at a cell's middle advance only."""
    patch.setattr(
        module, "bounds", lambda rows, cells, upto: bounds(rows, replace(cells, dshift=0.0 * cells.dshift), upto)
    )


def _corners(patch: pytest.MonkeyPatch, _: Trial) -> None:
    """Cells that touch at a corner count as neighbours too."""
    sharing = sides.sharing

    def more(cells: Rectangles, inside: Flags, goes_round: bool) -> Any:
        pairs = [sharing(cells, inside, goes_round)]
        for up in (1.0, -1.0):
            ends = zip((cells.y + cells.dy).round(7), (cells.roll + up * cells.droll).round(7), strict=True)
            begins = zip((cells.y - cells.dy).round(7), (cells.roll - up * cells.droll).round(7), strict=True)
            there = {place: k for k, place in enumerate(begins) if inside[k]}
            touching = [(k, there[place]) for k, place in enumerate(ends) if inside[k] and place in there]
            pairs.append(np.array(touching, dtype=np.int64).reshape(-1, 2))
        return np.concatenate(pairs)

    patch.setattr(sides, "sharing", more)


def _no_seam(patch: pytest.MonkeyPatch, _: Trial) -> None:
    """The first and the last roll count as different places."""
    sharing = sides.sharing
    patch.setattr(sides, "sharing", lambda cells, inside, _goes_round: sharing(cells, inside, False))


def _seam_of_the_cells_at_hand(patch: pytest.MonkeyPatch, _: Trial) -> None:
    """The least and the greatest roll of the cells that are looked at count as the same place."""
    sharing = sides.sharing

    def shrunk(cells: Rectangles, inside: Flags, goes_round: bool) -> Any:
        chosen = np.flatnonzero(inside)
        if not chosen.size:
            return sharing(cells, inside, False)
        return chosen[sharing(cells.take(chosen), np.ones(chosen.size, dtype=bool), goes_round)]

    patch.setattr(sides, "sharing", shrunk)


def _given_up_is_free(patch: pytest.MonkeyPatch, _: Trial) -> None:
    """What was too fine to go on with counts as free."""
    split = module._Cutting._split

    def freed(self: Any, *asked_for: Flags) -> bool:
        more = bool(split(self, *asked_for))
        self.cells.state[self.cells.state == CellState.LEFT] = CellState.FREE
        return more

    patch.setattr(module._Cutting, "_split", freed)


def _none(patch: pytest.MonkeyPatch, case: Trial) -> None:
    """Nothing: what is asked is wrong."""


def _all_stand(field: Field) -> Field:
    return replace(field, along=np.ones(field.rows.count))


def _all_prove(field: Field) -> Field:
    return replace(field, proves=np.ones(field.rows.count, dtype=bool))


def crossing() -> Trial:
    """Two boxes in the way of a leg: low advances are clear up to 45°, high ones from there on, so that two of the
    first four cells are free at once, and touch at a corner.
    """
    boxes = []
    for name, y, degrees in (("one", 285.0, 67.5), ("two", 535.0, 22.5)):
        down = np.radians(degrees)
        middle = np.array([y + CLR, -500.0 * np.cos(down), -500.0 * np.sin(down)])
        boxes.append(box(name, "frame", middle - 60.0, middle + 60.0))
    case = leg(3000.0, boxes, 0.0, 0.0, (0.0, PI / 2.0), goes_round=False, y=(160.0, 660.0))
    return replace(case, starts=(Region((200.0, 200.0), (0.2, 0.2)),), goals=(Region((600.0, 600.0), (1.4, 1.4)),))


def seams() -> list[Trial]:
    """A floor: the way round is over the seam. Floor and ceiling, and the seam within the floor's wall: there is none."""
    return [leg(700.0, [], 20.0, 160.0, WHOLE), leg(700.0, [CEILING], 20.0, -200.0, (-1.5 * PI, 0.5 * PI))]


FAULTS: dict[str, Fault] = {
    "blocked without the way within the cell and the margin": Fault(_no_margin),
    "no advance taken off the bounds": Fault(_no_advance_taken_off),
    "cells that touch at a corner are neighbours": Fault(_corners, cases=lambda: [crossing()]),
    "the seam parts": Fault(_no_seam, cases=seams),
    "the seam of the cells at hand": Fault(_seam_of_the_cells_at_hand, cases=seams),
    "what was given up is free": Fault(_given_up_is_free),
    "what the carriage carries stands still": Fault(_none, _all_stand),
    "every strike proves": Fault(_none, _all_prove),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_found(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    fault = FAULTS[name]
    monkeypatch.setattr(module, "MOST_EVALUATIONS", 6_000)
    for case in fault.cases():
        with monkeypatch.context() as patch:
            fault.put(patch, case)
            found = cut(fault.field(case.field()), case.starts, case.goals)
        cells = wrong_cells(case, found.cells, np.random.default_rng(10), Counter(), 60)
        if cells or wrong_ways(case, found, Counter()):
            return
    raise AssertionError(f"{name}: nothing found")


def test_the_cases_for_the_faults_are_right_without_them() -> None:
    assert asked(crossing()) == "joined"
    assert [asked(case) for case in seams()] == ["joined", "parted"]


def _needs_at_the_least_advance(field: Field) -> Field:
    rows = field.rows
    return replace(field, rows=replace(rows, needed=rows.needed - rows.spread, spread=0.0 * rows.spread))


def _needs_at_the_greatest_advance(field: Field) -> Field:
    return replace(field, rows=replace(field.rows, spread=0.0 * field.rows.spread))


@pytest.mark.parametrize("needs", [_needs_at_the_least_advance, _needs_at_the_greatest_advance])
def test_sag_that_grows_with_the_advance_counts_whole_where_free_and_least_where_blocked(
    needs: Callable[[Field], Field], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A leg that hangs 270 mm over the floor, of which 246 are needed at the least advance and 294 at the greatest."""
    monkeypatch.setattr(module, "MOST_EVALUATIONS", 4_000)
    case = leg(900.0 + CLR + 270.0, [], 20.0, 160.0, WHOLE, goes_round=False, per_metre=200.0)
    assert asked(case) == "open"
    found = cut(needs(case.field()), case.starts, case.goals)
    cells = wrong_cells(case, found.cells, np.random.default_rng(11), Counter(), 400)
    assert [*cells, *wrong_ways(case, found, Counter())]
