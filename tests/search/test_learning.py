"""What the search learns from a strike is true wherever it is said to hold.

Every proved no-good is looked into again at every number of bends formed ahead that it speaks of, with every pair of trims
and with holds all over the tube: the bend, the arm's way home or the move is certified afresh there, with more ways of
easing off and more paths than the search tries, and must not be clear with any clamp.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from planner.cuts.strike_cuts import Struck
from planner.feasibility.cases import case_of, surroundings_of
from planner.search.search import Search
from planner.sequencing.events import NoGood
from planner.sequencing.exact import Exact
from planner.tube.partly_bent import Leading, Pieces, leading_part
from tests.plan.shop import bender, tube
from tests.search.afresh import Afresh, crowded

TELLING = (40, 228, 263, 269, 335, 377)
"""Seeds whose strikes hold only with so much trim, or only with the collet closed, and one with walls across moves."""


@pytest.fixture(scope="module")
def learned(campaign: bool) -> list[tuple[int, Search]]:
    """Searches through to the proof that there is no better plan."""
    found = []
    for seed in (*range(1000 if campaign else 4), *TELLING):
        part, machine = crowded(seed)
        case = case_of(part, machine)
        search = Search.of(case, surroundings_of(case), Exact())
        search.plan()
        search.best(proved_only=True)
        found.append((seed, search))
    return found


def proved(search: Search) -> list[tuple[NoGood, Struck]]:
    return [(n, n.evidence) for n in search.nogoods if n.grade == "proved" and isinstance(n.evidence, Struck)]


def test_a_proved_no_good_holds_for_every_run_trim_and_hold_that_it_speaks_of(
    learned: list[tuple[int, Search]],
) -> None:
    met: Counter[str] = Counter()
    for seed, search in learned:
        fresh = Afresh(search)
        for nogood, evidence in proved(search):
            doing = evidence.blocked[0].doing
            met[doing] += 1
            met["several runs"] += nogood.pattern.ahead[0] < nogood.pattern.ahead[1]
            if doing in ("load", "unload"):
                assert not any(fresh.passes(evidence.place, doing, trims) for trims in search.problem.trims
                               if nogood.pattern.fits_trims(trims)), (seed, doing, nogood.pattern)  # fmt: skip
                continue
            for place in fresh.places(nogood.pattern):
                met["open"] += place.at.released
                assert not fresh.goes(doing, place), (seed, doing, nogood.pattern, place.at.ahead, place.trims)
    assert met["several runs"] >= 15, met
    assert min(met["bend"], met["return"], met["open"]) >= 5, met
    assert met["move"] >= 2, met


def test_what_proves_that_the_arm_cannot_go_home_after_a_loads_last_bend_covers_all_of_the_tail() -> None:
    """Not only what the carriage allows: then the collet may be opened, and the tube run forward by hand. The clamp hardly
    opens, and a wall just beyond what the leg sweeps keeps the tube from being drawn off past the standing arm.
    """
    wall = {"name": "wall", "moves_with": "frame", "box": {"from": [420, -470, -60], "to": [470, -300, 60]}}
    clamp = {"clamp_block": {"width": 400, "height": 60, "opens": 10}}
    part = tube([400, 400], [0], [90])
    machine = bender({"solid": [wall], "tooling": clamp})
    case = case_of(part, machine)
    search = Search.of(case, surroundings_of(case), Exact())
    search.best(proved_only=True)
    looked = 0
    for nogood, evidence in proved(search):
        home = [wall for wall in evidence.walls if wall.kind == "home"]
        looked += bool(home)
        if nogood.pattern.leads == "A":
            assert home
            assert min(wall.span[1] for wall in home) >= 400.0
    assert looked


def assert_same(found: Pieces, wanted: Pieces, where: object) -> None:
    """The same pieces; across a straight it says nothing to which side it curls."""
    assert found.count == wanted.count, where
    for name in ("start", "along", "curvature", "length", "u", "to_end"):
        assert getattr(found, name) == pytest.approx(getattr(wanted, name), abs=1e-9), (name, where)
    curled = wanted.curvature > 0.0
    assert found.inward[:, curled] == pytest.approx(wanted.inward[:, curled], abs=1e-9), where
    across = (found.inward * found.along).sum(axis=0)
    assert across == pytest.approx(np.zeros(found.count), abs=1e-9), where
    assert found.u_sign == wanted.u_sign


@pytest.mark.parametrize("toward", [-1.0, 1.0])
def test_leading_parts_cut_from_one_chain_are_those_walked_piece_by_piece(toward: float) -> None:
    """Every run, before and after each bend and on the way between, in any order of asking; some straights of nothing."""
    checked = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        n = int(rng.integers(1, 7))
        straights = [0.0 if rng.random() < 0.25 else float(rng.uniform(5, 300)) for _ in range(n + 1)]
        part = tube(straights, [0.0, *rng.uniform(-180, 180, n - 1)], list(rng.uniform(5, 185, n)))
        for view in (part, part.reversed()):
            leading = Leading(view, toward)
            asked = [
                (float(u), first, last, float(trim), plane)
                for bend in range(1, n + 1)
                for first in range(1, bend + 1)
                for trim in (0.0, rng.uniform(0.5, 200))
                for u, last, plane in (
                    (view.bend_starts[bend - 1], bend - 1, bend),
                    (view.bend_ends[bend - 1], bend, bend),
                    (view.bend_ends[bend - 1] + rng.uniform(0, 50), bend, bend),
                )
            ]
            for k in rng.permutation(len(asked)):
                u, first, last, trim, plane = asked[k]
                formed = set(range(first, last + 1))
                wanted = leading_part(view, formed, u, trim, toward, plane)
                assert_same(leading.at(u, first, last, trim, plane), wanted, (seed, asked[k]))
                checked += 1
    assert checked > 2000
