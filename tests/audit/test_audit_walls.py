"""Walls under audit: what parts a plane, what covers a span, and for which tubes a wall speaks.

The plane is held against a plain flood over whole numbers, written here.
"""

from __future__ import annotations

import copy
import itertools
import math
from collections import deque
from typing import Any

import numpy as np
import pytest

from planner.audit.nogoods import _NoGood
from planner.audit.patterns import read_pattern
from planner.audit.plane import Blocked, Plane, Region, parts
from planner.audit.refused import Refused
from planner.audit.shop import Shop
from planner.audit.walls import Counts, between, must_cover
from tests.audit.taught import Learned, Record, every, learned_of, walls
from tests.plan.shop import bender, tube

Rectangle = tuple[int, int, int, int]
"""From and to of advance, from and to of rotation, in whole numbers."""


def blocked_of(rectangles: list[Rectangle], shake: float = 0.0, seed: int = 0) -> Blocked:
    """Rectangles as the auditor takes them; shake: how far each side is off."""
    rng = np.random.default_rng(seed)
    sides = np.array(rectangles, dtype=float).reshape(-1, 4) + shake * rng.uniform(-1.0, 1.0, (len(rectangles), 4))
    y, dy = (sides[:, 0] + sides[:, 1]) / 2.0, (sides[:, 1] - sides[:, 0]) / 2.0
    roll, droll = (sides[:, 2] + sides[:, 3]) / 2.0, (sides[:, 3] - sides[:, 2]) / 2.0
    return Blocked(y, dy, roll, droll)


def flooded(
    size: tuple[int, int], rectangles: list[Rectangle], starts: Rectangle, goals: Rectangle, wraps: bool
) -> bool:
    """Whether a flood over unit fields, from side to side, is kept from the goals; a region touches all fields at it."""
    height, width = size
    blocked = {
        (i, j) for y0, y1, r0, r1 in rectangles for i in range(max(y0, 0), y1) for j in range(max(r0, 0), r1)
    }  # fmt: skip

    def touching(region: Rectangle) -> set[tuple[int, int]]:
        rows, columns = range(region[0] - 1, region[1] + 1), range(region[2] - 1, region[3] + 1)
        found = {(i, j % width if wraps else j) for i, j in itertools.product(rows, columns)}
        return {(i, j) for i, j in found if 0 <= i < height and 0 <= j < width} - blocked

    wanted, seen = touching(goals), touching(starts)
    waiting = deque(seen)
    while waiting:
        i, j = waiting.popleft()
        for k, m in ((i + 1, j), (i - 1, j), (i, j + 1), (i, j - 1)):
            m = m % width if wraps else m
            if 0 <= k < height and 0 <= m < width and (k, m) not in blocked and (k, m) not in seen:
                seen.add((k, m))
                waiting.append((k, m))
    return not seen & wanted


def region(whole: Rectangle) -> Region:
    return Region((float(whole[0]), float(whole[1])), (float(whole[2]), float(whole[3])))


@pytest.mark.parametrize("wraps", [False, True])
@pytest.mark.parametrize("shake", [0.0, 4e-10])
def test_a_plane_is_parted_as_a_flood_over_whole_numbers_finds_it(wraps: bool, shake: float) -> None:
    rng, found = np.random.default_rng(5), {True: 0, False: 0}
    # Where it goes round, a turn is 2π: a field is so wide that six of them make a turn.
    unit = 2.0 * math.pi / 6.0 if wraps else 1.0
    for trial in range(400):
        height, width = int(rng.integers(2, 8)), 6 if wraps else int(rng.integers(2, 8))
        rectangles = []
        for _ in range(int(rng.integers(1, 12))):
            y0, r0 = int(rng.integers(-1, height)), int(rng.integers(-1, width))
            rectangles.append((y0, y0 + int(rng.integers(1, 4)), r0, r0 + int(rng.integers(1, 4))))
        if wraps:
            rectangles = [(y0, y1, max(r0, 0), min(r1, width)) for y0, y1, r0, r1 in rectangles]
        points = [(int(rng.integers(height + 1)), int(rng.integers(width + 1))) for _ in range(2)]
        start, goal = ((y, y, r, r) for y, r in points)
        plain = flooded((height, width), rectangles, start, goal, wraps)
        told = blocked_of(rectangles, shake, trial)
        turned = Blocked(told.y, told.dy, told.roll * unit, told.droll * unit)
        plane = Plane((0.0, float(height)), (0.0, width * unit), wraps)
        ends = [Region(r.y, (r.roll[0] * unit, r.roll[1] * unit)) for r in map(region, (start, goal))]
        assert parts(plane, turned, ends[:1], ends[1:]) is plain, (rectangles, start, goal)
        found[plain] += 1
    assert min(found.values()) > 40


BOX = [(0, 1, 0, 4), (3, 4, 0, 4), (1, 3, 0, 1), (1, 3, 3, 4)]
"""Four rectangles that close in what lies between 1 and 3."""


def test_a_corner_lets_nothing_through_and_a_gap_does() -> None:
    plane, inside, outside = Plane((0.0, 6.0), (0.0, 6.0), False), region((2, 2, 2, 2)), region((6, 6, 6, 6))
    assert parts(plane, blocked_of(BOX), [inside], [outside])
    for left_out in range(4):
        rest = [one for k, one in enumerate(BOX) if k != left_out]
        # The third lies at the plane's own edge, which closes in as well.
        assert parts(plane, blocked_of(rest), [inside], [outside]) is (left_out == 2)
    corners = [(0, 2, 0, 2), (2, 4, 2, 4)]
    plane = Plane((0.0, 4.0), (0.0, 4.0), False)
    assert parts(plane, blocked_of(corners), [region((3, 3, 1, 1))], [region((1, 1, 3, 3))])


def test_a_gap_wider_than_rounding_is_a_way() -> None:
    plane, inside, outside = Plane((0.0, 6.0), (0.0, 6.0), False), region((2, 2, 2, 2)), region((6, 6, 6, 6))
    for gap, closed in ((1e-9, True), (1e-7, True), (1e-5, False), (0.1, False)):
        whole = blocked_of(BOX)
        off = np.array([0.0, 0.0, 0.0, gap])
        # The last one ends short of the one above it, or begins beyond where the others end.
        for apart in (
            Blocked(whole.y, whole.dy - off, whole.roll, whole.droll),
            Blocked(whole.y, whole.dy, whole.roll + 1.0 * (off > 0.0) + np.radians(off), whole.droll),
        ):
            assert parts(plane, apart, [inside], [outside]) is closed


def test_what_lies_on_a_cell_s_edge_can_be_left_on_the_free_side() -> None:
    plane, goal = Plane((0.0, 6.0), (0.0, 6.0), False), region((6, 6, 6, 6))
    assert parts(plane, blocked_of([(0, 2, 0, 6)]), [region((1, 1, 1, 1))], [goal])
    assert not parts(plane, blocked_of([(0, 2, 0, 6)]), [region((2, 2, 1, 1))], [goal])
    # A slide out of the groove that leads beyond the cells is a way out of them.
    assert not parts(plane, blocked_of(BOX), [region((2, 5, 2, 2))], [goal])


def test_reaches_must_leave_no_gap_and_reach_both_ends() -> None:
    def covers(*spans: tuple[float, float]) -> bool:
        try:
            must_cover("across", (0.0, 10.0), np.array([a for a, _ in spans]), np.array([b for _, b in spans]))
        except Refused:
            return False
        return True

    assert covers((-1.0, 4.0), (3.9, 11.0))
    assert covers((3.9, 11.0), (-1.0, 4.0))
    assert covers((0.0, 10.0))
    assert not covers((-1.0, 4.0), (4.1, 11.0))
    assert not covers((0.1, 11.0))
    assert not covers((-1.0, 9.9))
    assert not covers()
    assert not covers((math.nan, math.nan))


def test_only_a_wall_between_start_and_goal_is_in_the_way() -> None:
    for roll in (0.7, -0.7, 3.0, -3.0, 0.7 - 2.0 * math.pi):
        assert between([0.5 * roll], roll)
        assert between([0.5 * roll + 2.0 * math.pi], roll)
        assert not between([0.0], roll)
        assert not between([roll], roll)
        assert not between([1.2 * roll], roll) or abs(1.2 * roll) > 2.0 * math.pi
    assert not between([1.0], 0.0)


# ---------------------------------------------------------------------- walls that were proved, with something left out


def test_a_wall_with_a_strike_left_out_is_refused_if_that_leaves_a_gap(campaign: bool) -> None:
    refused = 0
    for of, record in every(campaign):
        for number, wall in enumerate(walls(record)):
            if wall["kind"] not in ("across", "home", "held") or len(wall["strikes"]) < 2:
                continue
            for left_out in range(0, len(wall["strikes"]), max(1, len(wall["strikes"]) // 2)):
                changed = copy.deepcopy(record)
                rest = walls(changed)[number]["strikes"]
                del rest[left_out]
                if gap_left(wall["kind"], wall["span"], rest, of):
                    assert of.refuses(changed)
                    refused += 1
    assert refused >= (11 if campaign else 8)


def gap_left(kind: str, span: list[float], strikes: list[Record], of: Learned) -> bool:
    """Whether strikes as deep as they say they are, and a little deeper, leave a gap in a span."""
    machine, reaches = of.machine, []
    for strike in strikes:
        deep = strike["needed"] - strike["clearance"] - 0.09 + 0.3 + machine.clearance.per_metre
        at = strike["advance"]
        if kind == "held":
            at = strike["face"] + float(of.part.radii[0]) * math.radians(strike["tube"])
            if strike["solid"] not in {solid.name for solid in machine.solid if solid.moves_with == "carriage"}:
                return False
        if kind == "home" and (strike["phase"] == "place" or strike["place"] < 0.0 or strike["solid"] == "clamp die"):
            deep = math.inf  # it ends the wall, or may be one of the straight that has come out of the die
        reaches.append((at - deep, at + deep))
    covered = span[0]
    for low, high in sorted(reaches):
        if low <= covered:
            covered = max(covered, high)
    return covered < span[1]


def test_how_far_an_arc_slides_may_be_rounded_as_it_is_written_and_no_more(campaign: bool) -> None:
    looked, enough = 0, 3 if campaign else 2
    for of, record in every(campaign):
        for number, wall in enumerate(walls(record)):
            if wall["kind"] != "cells" or wall["slide_strikes"] or wall["slides_to"] < 1.0 or looked == enough:
                continue
            for short, refused in ((5e-6, False), (0.5, True)):
                changed = copy.deepcopy(record)
                walls(changed)[number]["slides_to"] -= short
                assert of.refuses(changed) is refused
            looked += 1
    assert looked == enough


def test_a_wall_with_a_cell_left_out_is_refused_if_that_leaves_a_way(campaign: bool) -> None:
    found = {True: 0, False: 0}
    for of, record in every(campaign):
        for number, wall in enumerate(walls(record)):
            if wall["kind"] != "cells" or len(wall["cells"]) > 120:
                continue
            for left_out in range(0, len(wall["cells"]), 5):
                changed = copy.deepcopy(record)
                rest = walls(changed)[number]
                del rest["cells"][left_out]
                way = leaves_a_way(rest, of, record)
                assert of.refuses(changed) is way
                found[way] += 1
    assert min(found.values()) >= 1
    assert found[True] > (40 if campaign else 20)


def leaves_a_way(wall: Record, of: Learned, record: Record) -> bool:
    """Whether cells leave a way out of their place, by a flood over the cells' own edges in a plain loop."""
    start_y = wall["slides_to"] if record["doing"] != "load" else 0.0
    goal = None
    if record["doing"] == "move":
        here, before = (of.shop.at(record["leads"], record["bend"] - k) for k in (0, 1))
        longer = math.copysign(360.0, here.roll) if record["way"] == 1 and not wall["goes_round"] else 0.0
        goal = (here.start - before.end, math.degrees(here.roll) - longer)
    y_edges = {*wall["y"], start_y, 0.0, *((goal[0],) if goal else ())}
    roll_edges = {*wall["rolls"], 0.0, *((goal[1],) if goal else ())}
    for y, dy, roll, droll, *_ in wall["cells"]:
        y_edges |= {y - dy, y + dy}
        roll_edges |= {roll - droll, roll + droll}
    rows, columns = _told_apart(y_edges, wall["y"]), _told_apart(roll_edges, wall["rolls"])
    rectangles = [
        (_at(rows, y - dy), _at(rows, y + dy), _at(columns, roll - droll), _at(columns, roll + droll))
        for y, dy, roll, droll, *_ in wall["cells"]
    ]
    size, start = (len(rows) - 1, len(columns) - 1), (0, _at(rows, start_y), _at(columns, 0.0), _at(columns, 0.0))
    if goal is not None:
        end = (_at(rows, goal[0]),) * 2 + (_at(columns, goal[1]),) * 2
    else:
        end = (len(rows) - 1, len(rows) - 1, 0, len(columns) - 1)
    return not flooded(size, rectangles, start, end, wall["goes_round"])


def _told_apart(edges: set[float], span: list[float]) -> list[float]:
    kept: list[float] = []
    for edge in sorted(edges):
        if span[0] - 1e-6 <= edge <= span[1] + 1e-6 and (not kept or edge - kept[-1] > 1e-6):
            kept.append(edge)
    return kept


def _at(edges: list[float], value: float) -> int:
    return int(np.argmin([abs(edge - value) for edge in edges]))


# ---------------------------------------------------------------------- for which tubes a wall speaks


PEG = {"name": "peg", "moves_with": "arm", "box": {"from": [103, -95, -10], "to": [105, -93, 10]}}
"""On the arm, beside the die: in the way of the leg when the arm goes home, unless the tube is eased off by 60 mm."""


def home_wall(of: Learned, *strikes: Record) -> Record:
    """A no-good of a link to bend 2: after bend 1 the arm does not go home, at one angle where the peg is in the way."""
    setting = math.degrees(of.shop.at("A", 1).printed)
    wall = {"kind": "home", "span": [0.0, 6.0], "arm": (1.0 - 0.656) * setting, "strikes": list(strikes)}
    return {
        "event": "link", "leads": "A", "bend": 2, "ahead": [1, 1], "trim_lead": None, "trim_tail": None, "hold": None,
        "way": None, "released": None, "sentence": "", "met": {}, "doing": "home", "walls": [],
        "clamps": [{"clamp": 80.0, "wall": wall}, {"clamp": 60.0, "wall": copy.deepcopy(wall)}],
    }  # fmt: skip


def peg_struck(of: Learned, **changes: Any) -> Record:
    """The leg against the peg, the tube not run forward."""
    setting = math.degrees(of.shop.at("A", 1).printed)
    return {
        "phase": "return", "place": 242.3, "solid": "peg", "clamp": None, "advance": 0.0, "rotation": 0.0,
        "arm": (1.0 - 0.656) * setting, "tube": 0.0, "face": None, "pressure": 0.0, "clearance": -15.0, "needed": 10.0,
        "slides": True, **changes,
    }  # fmt: skip


def pegged(*solids: Record, closest: float = 180.0, **head: bool) -> Learned:
    """Two bends on a bender whose closed collet lets the tube run forward by 5.9 mm only after the first.

    Nearer by what `closest` is below 180 mm it lets it farther.
    """
    part = tube([316.0, 150.0, 40.0], [0.0, 0.0], [90.0, 30.0])
    machine = bender(
        {
            "head": head,
            "carriage": {"reach": [closest, 2000], "grip_length": 44},
            "mandrel": None,
            "tooling": {"clamp_block": {"width": 60, "height": 60, "opens": 160}, "grip_section": False},
            "solid": [PEG, *solids],
        }
    )
    return Learned(part, machine, Shop(part, machine), learned_of(part, machine).search, ())


def test_a_wall_over_the_closed_collet_s_advances_says_nothing_of_a_tube_that_is_let_go() -> None:
    """A short end holds the carriage back to 5.9 mm; with the collet open the tube can be drawn off by hand."""
    of = pegged()
    record = home_wall(of, peg_struck(of))
    assert not of.refuses(record)
    taken_off = {**record, "event": "bend", "bend": 1, "doing": "bend"}
    assert of.refuses(taken_off)
    assert of.refuses({**record, "event": "bend", "bend": 1}), "the arm's way home is not what is done at a bend"
    for released in (True, False):
        assert of.refuses({**taken_off, "released": released})


def test_one_strike_keeps_the_arm_from_home_only_on_a_bender_that_cannot_run_the_tube_forward() -> None:
    for leave in ("may_ease_off", "homes_with_tube"):
        roomy = pegged(closest=60.0, **{"may_ease_off": False, leave: True})
        assert roomy.refuses(home_wall(roomy, peg_struck(roomy)))
    standing = pegged(closest=60.0, may_ease_off=False)
    record = home_wall(standing, peg_struck(standing))
    assert not standing.refuses(record)
    assert standing.refuses({**record, "event": "bend", "bend": 1, "doing": "bend"}), "let go it may be drawn off"


STOP = {"name": "stop", "moves_with": "frame", "box": {"from": [136, -700, -60], "to": [260, -300, 60]}}
"""Stands 40.75 mm before the leg of bend 1: no tube is run forward by more than 30.75 mm, or drawn off, past it."""


def test_a_strike_against_what_stands_ends_a_wall_for_a_tube_that_is_taken_off_and_one_on_the_arm_does_not() -> None:
    """The leg strikes peg or stop at every advance: the peg to 32.7 mm, and from there on the stop, whatever the arm does."""
    of = pegged(STOP)
    passing = [peg_struck(of, advance=y, place=244.0) for y in (0.0, 20.0)]
    stop = peg_struck(of, phase="place", solid="stop", arm=0.0, advance=60.0, place=40.0)
    record = {**home_wall(of, *passing, stop), "event": "bend", "bend": 1, "doing": "bend"}
    assert not of.refuses(record)
    for k in range(len(passing)):
        gap = copy.deepcopy(record)
        for entry in gap["clamps"]:
            del entry["wall"]["strikes"][k]
        assert of.refuses(gap)
    for change in (
        {"solid": "peg"}, {"slides": False}, {"arm": 30.0}, {"advance": 0.0}, {"phase": "return"}, {"solid": "clamp die"},
    ):  # fmt: skip
        wrong = copy.deepcopy(record)
        for entry in wrong["clamps"]:
            entry["wall"]["strikes"][-1] |= change
        assert of.refuses(wrong), change
    for arm in (0.0, 20.0, 200.0):
        wrong = copy.deepcopy(record)
        wrong["clamps"][0]["wall"]["arm"] = arm
        assert of.refuses(wrong), "strikes at another angle than the wall's"
        wrong["clamps"][0]["wall"]["strikes"][0]["arm"] = arm
        assert of.refuses(wrong), "a wall at two angles"


def jobs(n: int, rng: np.random.Generator) -> list[tuple[str, str, int, int]]:
    """A random job as events, leading ends, bends and first formed bends (counted from the leading end)."""
    low = high = int(rng.integers(1, n + 1))  # made so far: low … high, counted from end A
    leads = str(rng.choice(["A", "B"]))
    made = [("load", leads, low if leads == "A" else n + 1 - low, low if leads == "A" else n + 1 - low)]
    while high - low + 1 < n:
        following = str(rng.choice(["A", "B"]))
        after_high = following == "A"  # end A leading, the run grows at its higher end
        if (after_high and high == n) or (not after_high and low == 1):
            continue
        event = "turn" if following != leads else str(rng.choice(["link", "link", "reload"]))
        leads = following
        first = low if after_high else n + 1 - high
        bend = high + 1 if after_high else n + 1 - (low - 1)
        low, high = (low, high + 1) if after_high else (low - 1, high)
        made.append((event, leads, bend, first))
    return made


def test_which_run_is_taken_off_before_a_tube_is_put_back_follows_from_the_arrival() -> None:
    rng, seen = np.random.default_rng(6), 0
    for n in (2, 3, 5):
        part, machine = tube([400.0, *[150.0] * (n - 1), 400.0], [0.0] * n, [30.0] * n), bender()
        shop = Shop(part, machine)
        of = Learned(part, machine, shop, learned_of(part, machine).search, ())
        for _ in range(60):
            job = jobs(n, rng)
            for before, (event, leads, bend, first) in itertools.pairwise(job):
                at = before, event, leads, bend, first
                if event not in ("turn", "reload"):
                    continue
                record: Record = {
                    "event": event, "leads": leads, "bend": bend, "ahead": [first, first], "trim_lead": [3.0, None],
                    "trim_tail": [8.0, None], "hold": None, "way": None, "released": None, "doing": "unload",
                }  # fmt: skip
                no_good = _NoGood(of.bench, read_pattern(record, n), record, Counts())
                (state,) = no_good._states()
                off = no_good._unloaded(state)
                assert (off.leads, off.bend, off.first) == before[1:], at
                trims = (3.0, 8.0) if off.leads == leads else (8.0, 3.0)
                assert (off.trim_lead, off.trim_tail) == trims, at
                seen += 1
    assert seen > 100
