"""The clamp is part of the plan: changed only where that pays, put back for the next part, the longer one among equals."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from planner.feasibility.cases import case_of, surroundings_of
from planner.feasibility.orders import Case, ready_of
from planner.feasibility.stations import Unkeepable, station
from planner.feasibility.whole_order import try_order
from planner.planning import plan
from planner.plans.document import Plan
from planner.plans.evidence import Evidence
from planner.search.decision import Plannable, decide, value_as_printed
from planner.search.search import Search
from planner.sequencing.events import Arrival, Sequence, Trims, Value
from planner.sequencing.exact import Exact
from planner.tolerances import SAME_TIME
from tests.plan.random_parts import Drawn, drawn
from tests.plan.shop import bender, tube
from tests.search.abstract import Instance, sequences, worth


def clamps_of(made: Plan) -> list[float | None]:
    """The clamp of each bend in the order of the plan."""
    return [step.clamp for step in made.steps if step.action == "bend"]


def changes_in(made: Plan) -> list[str | None]:
    return [step.note for step in made.steps if step.action == "change clamp"]


# ------------------------------------------------------------------ by hand


def test_an_s_goes_with_the_short_clamp_from_the_start() -> None:
    """70 mm between the bends: the 80 mm clamp fits before the first bend only, the 60 mm one fits both."""
    made = plan(tube([400, 70, 400], [0, 180], [60, 60]), bender(), confirm=True)
    assert (made.verdict, made.confirmed) == ("makeable", True)
    assert clamps_of(made) == [60.0, 60.0]
    assert changes_in(made) == []
    assert made.proved.time
    assert made.setup.list[0] == "Fit the dies for a bend radius of 76.2 mm and the 60 mm clamp."


def test_with_room_for_it_the_longer_clamp_is_taken() -> None:
    made = plan(tube([400, 120, 400], [0, 180], [60, 60]), bender())
    assert clamps_of(made) == [80.0, 80.0]
    assert changes_in(made) == []


def test_a_clamp_that_has_to_be_changed_is_changed_back_for_the_next_part() -> None:
    """A rest on the arm, 0.95 mm under the tube at 90 to 95 mm: beyond the 60 mm clamp a straight has to keep 2 mm to it,
    the 100 mm clamp holds it there. 100 mm do not fit between the bends; there the arc has risen 2.6 mm at 90 mm."""
    rest = {"name": "rest", "moves_with": "arm", "box": {"from": [90, -15, -60], "to": [95, 15, -20]}}
    rack = {"tooling": {"clamp_lengths": [100, 60]}, "clearance": {"required": 0.5}}
    machine = bender({"solid": [rest]}, rack)
    made = plan(tube([400, 70, 400], [0, -90], [60, 60]), machine, confirm=True)
    assert (made.verdict, made.confirmed, made.proved.time) == ("makeable", True, True)
    assert clamps_of(made) == [100.0, 60.0]
    notes = [note for note in changes_in(made) if note is not None]
    assert notes == ["Fit the 60 mm clamp.", "Fit the 100 mm clamp again, for the next part."]
    assert [step.time for step in made.steps if step.action == "change clamp"] == [300.0, 300.0]
    assert made.cycle_time is not None
    assert made.cycle_time > 600.0
    without = plan(tube([400, 70, 400], [0, -90], [60, 60]), bender(rack))
    assert without.cycle_time is not None
    assert without.cycle_time < 200.0


# ------------------------------------------------------------------ against every clamp of every order


def ways(search: Search, value: Value) -> Iterator[tuple[Sequence, int]]:
    """Every sequence of bends, holds and clamps with these re-clamps and this trim that keeps the shop rules, and a time
    that it cannot take less than [ms]; by plain enumeration."""
    apart = search.told_apart(value)
    assert apart is not None  # two clamps on every bender here

    def nothing(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:  # noqa: ARG001
        return 0

    instance = Instance(apart, (), nothing)
    for trims in apart.trims:
        for arrivals in sequences(instance, trims):
            costs = worth(instance, arrivals, trims)
            if costs.reclamps == value.reclamps:
                yield Sequence(trims, arrivals, costs), costs.time


def carried_out(case: Case, search: Search, sequence: Sequence) -> Value | None:
    """What a sequence takes as printed, None where it cannot be carried out."""
    try:
        trial = try_order(station(ready_of(case, sequence)), search.around)
    except Unkeepable:
        return None
    return None if trial.loads is None else value_as_printed(trial)


def parts(count: int) -> Iterator[Drawn]:
    seed = 0
    while count:
        found = drawn(seed)
        seed += 1
        if found is not None and found.part.n_bends <= 5:
            count -= 1
            yield found


def test_no_clamp_of_any_order_makes_a_plan_faster_where_its_time_is_proved(campaign: bool) -> None:
    """All clamps of all orders with the plan's re-clamps and trim, each carried out by itself."""
    proved = tried = 0
    for one in parts(200 if campaign else 10):
        evidence = Evidence()
        made = plan(one.part, one.machine, evidence=evidence)
        if made.verdict != "makeable" or not made.proved.time or one.part.n_bends > (5 if campaign else 4):
            continue
        proved += 1
        best = evidence.decision.plan if evidence.decision is not None else None
        assert isinstance(best, Plannable)
        case = case_of(one.part, one.machine)
        search = Search.of(case, surroundings_of(case), None)  # type: ignore[arg-type]  # no engine is asked here
        for sequence, at_least in ways(search, best.value):
            if at_least >= best.value.time:
                continue
            tried += 1
            found = carried_out(case, search, sequence)
            assert found is None or found.time >= best.value.time - SAME_TIME, (one.name, sequence.arrivals)
    assert proved >= (60 if campaign else 3)
    assert tried >= (500 if campaign else 10)


def test_no_clamp_is_changed_that_need_not_be(campaign: bool) -> None:
    """The same part with one clamp of the rack alone, with as many re-clamps and as much trim, is never faster."""
    compared = 0
    for one in parts(60 if campaign else 4):
        made = plan(one.part, one.machine)
        if made.verdict != "makeable":
            continue
        for length in {c for t in one.machine.tooling for c in t.clamp_lengths}:
            tooling = tuple(
                t.model_copy(update={"clamp_lengths": (length,)}) if length in t.clamp_lengths else t
                for t in one.machine.tooling
            )
            alone = plan(one.part, one.machine.model_copy(update={"tooling": tooling}))
            stocks = [m.stock.trim_a + m.stock.trim_b for m in (made, alone) if m.stock is not None]
            if alone.verdict != "makeable" or alone.reclamps != made.reclamps or len(set(stocks)) > 1:
                continue
            compared += 1
            assert made.time is not None
            assert alone.time is not None
            # The plan is within SAME_TIME of the fastest as searched; settings and readouts round a little more.
            assert made.time <= alone.time + SAME_TIME / 1000.0 + 0.2, one.name
    assert compared >= (40 if campaign else 3)


@pytest.mark.parametrize("longer", [(100.0, 80.0, 60.0), (80.0, 70.0, 60.0)])
def test_another_clamp_never_makes_a_plan_worse(longer: tuple[float, ...], campaign: bool) -> None:
    """Re-clamps, then trim, then the least proved time: with one clamp more to choose from none of them grows."""
    for seed in range(40 if campaign else 3):
        straights = [400.0, 62.0 + 13.0 * (seed % 5), 90.0 + seed, 400.0]
        part = tube(straights, [0, 40 * seed, 70], [60, 45, 80 - seed])
        few, more = (plan(part, bender({"tooling": {"clamp_lengths": list(rack)}})) for rack in ((80.0, 60.0), longer))
        assert few.verdict == more.verdict == "makeable", seed
        assert (more.reclamps, more.stock) <= (few.reclamps, few.stock) or more.reclamps < few.reclamps  # type: ignore[operator]
        assert more.time <= few.time + SAME_TIME / 1000.0 + 0.2  # type: ignore[operator]


def test_the_engines_and_their_seeds_give_the_same_bytes_with_clamps_to_choose_from() -> None:
    for one in parts(3):
        made = plan(one.part, one.machine)
        other = plan(one.part, one.machine, engine="cp-sat")
        assert made.to_json() == other.to_json(), one.name


def test_what_is_known_when_time_is_over_is_told_apart_too() -> None:
    """70 mm between two of the bends: of all that was checked the plan with one clamp is taken, not one with changes."""
    case = case_of(tube([400, 70, 200, 400], [0, 180, 90], [60, 60, 45]), bender())
    search = Search.of(case, surroundings_of(case), Exact())
    assert decide(search).plan is not None
    known = search.best_checked()
    assert known is not None
    assert {arrival.clamp for arrival in known.arrivals} == {60.0}
