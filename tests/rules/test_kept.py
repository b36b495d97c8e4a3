"""The trims with which each rule is kept: one span, that of the auditor, and the rule is broken everywhere else."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import pytest

from planner.audit import asked
from planner.audit.shop import Shop
from planner.feasibility.cases import case_of
from planner.feasibility.orders import Case
from planner.rules.broken import ALWAYS, Broken, End, Kept, keeps
from planner.rules.carriage import hold_kept, hold_serves, regrip_fits, regrip_kept, window_kept, window_open
from planner.rules.grip import Loaded, clamps_that_fit, grip_kept, rod_kept, rod_reaches, tail_kept, tail_left
from planner.sequencing.events import Hold, Trims
from planner.tolerances import RULE_SLACK
from tests.plan.random_parts import parts

ENDS: tuple[End, End] = ("A", "B")
NAMES = ("grip", "tail", "rod", "window", "regrip", "hold")


class Asked(NamedTuple):
    """One rule asked of one bend: its span, what it says of the part as it is loaded, and the auditor's rule."""

    name: str
    kept: Kept
    says: Callable[[Loaded], Broken | None]
    audited: asked.Asked


def rules_of(case: Case, shop: Shop, end: End, bend: int) -> Iterator[Asked]:
    """Every rule that depends on trim, asked of a bend with an end leading."""
    view, machine, carriage = case.view(end), case.machine, case.machine.carriage
    number = case.number(end, bend) - 1
    tooling, setting = case.tooling[number], case.settings[number]

    def grips(loaded: Loaded) -> Broken | None:
        found = clamps_that_fit(loaded, bend, frozenset(), tooling)
        return found if isinstance(found, Broken) else None

    yield Asked("grip", grip_kept(view, bend, tooling), grips, asked.shortest_grip(shop, end, bend))
    tail = tail_kept(view, bend, setting, tooling)
    yield Asked("tail", tail, lambda of: tail_left(of, bend, setting, tooling), asked.shortest_tail(shop, end, bend))
    rod = rod_kept(view, bend, machine)
    yield Asked("rod", rod, lambda of: rod_reaches(of, bend, machine), asked.rod_length(shop, end, bend))
    if carriage is None:
        return
    window = window_kept(view, bend, setting, carriage)
    found = asked.window(shop, end, bend, False)
    yield Asked("window", window, lambda of: window_open(of, bend, setting, carriage), found)
    regrip = regrip_kept(view, bend, setting, carriage)
    found = asked.regrip_window(shop, end, bend)
    yield Asked("regrip", regrip, lambda of: regrip_fits(of, bend, setting, carriage), found)
    hold = Hold(max(1, bend - 1), "load")
    back = case.farthest_face(end, hold)
    assert back is not None

    def serves(loaded: Loaded) -> Broken | None:
        face = case.face(loaded, hold)
        assert face is not None
        return hold_serves(loaded, face, hold.since, bend, setting, carriage)

    found = asked.hold(shop, end, hold.since, hold.begun, bend, False)
    yield Asked("hold", hold_kept(view, back, bend, setting, carriage), serves, found)


def every_rule(count: int) -> Iterator[tuple[Case, End, Asked]]:
    """The rules of all bends of random parts."""
    for one in parts(count):
        case, shop = case_of(one.part, one.machine), Shop(one.part, one.machine)
        for end in ENDS:
            for bend in range(1, one.part.n_bends + 1):
                yield from ((case, end, rule) for rule in rules_of(case, shop, end, bend))


def same(ours: Kept, theirs: Kept) -> bool:
    """Whether two spans are the same; all that are empty are."""
    if ours[0] > ours[1] or theirs[0] > theirs[1]:
        return ours[0] > ours[1] and theirs[0] > theirs[1]
    return ours == pytest.approx(theirs, abs=1e-6)


def about(kept: Kept) -> list[float]:
    """Trims within and beyond both ends of a span, some by less than the slack, and far away [mm]."""
    by = (-0.01, -RULE_SLACK / 2.0, RULE_SLACK / 2.0, 0.01)
    return [0.0, 1e5, *(edge + way for edge in kept if math.isfinite(edge) for way in by)]


def test_the_trims_with_which_a_rule_is_kept_are_one_span_and_the_auditors(campaign: bool) -> None:
    met = dict.fromkeys(NAMES, 0)
    for case, end, rule in every_rule(400 if campaign else 60):
        assert same(rule.kept, rule.audited.kept), (case.part.name, end, rule)
        met[rule.name] += rule.kept != ALWAYS
    assert min(met.values()) > 100, met


def test_a_rule_is_broken_with_every_trim_outside_its_span_and_with_none_within(campaign: bool) -> None:
    broken = dict.fromkeys(NAMES, 0)
    for case, end, rule in every_rule(200 if campaign else 30):
        for trim in about(rule.kept):
            lead, tail = (trim, 0.0) if rule.audited.of == "lead" else (0.0, trim)
            said = rule.says(case.loaded(end, Trims(lead, tail) if end == "A" else Trims(tail, lead)))
            assert (said is None) == keeps(rule.kept, trim), (case.part.name, end, rule, trim)
            broken[rule.name] += said is not None
    assert min(broken.values()) > 20, broken
