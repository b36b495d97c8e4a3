"""The tube at a station, and what checks return: the same by exact and by printed numbers, and nothing filled in later."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, fields, replace
from typing import Any

import pytest

from planner.feasibility.bend_check import Bending
from planner.feasibility.loading import loading, pass_all
from planner.feasibility.orders import ready_of
from planner.feasibility.places import places
from planner.feasibility.stations import station
from planner.feasibility.whole_order import attempts_of, try_order
from planner.inputs.machine import Machine
from planner.sequencing.events import Event, NoGood, Pattern
from planner.tube.motions import InDie, Standing
from planner.tube.partly_bent import Pieces
from tests.plan.shop import bender, head, tube
from tests.search.test_learning import assert_same
from tests.search.test_search import search_of

FINE: dict[str, Any] = {"advance": {"resolution": 1e-7}, "rotation": {"resolution": 1e-7}}
"""Readouts so fine that rounding does nothing."""

PART = tube([400, 220, 260, 240, 400], [0, 90, -40, 150], [60, 45, 90, 30])


def told(of: Bending | Standing | InDie) -> dict[str, Any]:
    """The numbers of a bend, or of the tube before, in or after it; its pieces apart."""
    found: dict[str, Any] = {}
    for field in fields(Bending if isinstance(of, Bending) else type(of)):
        value = getattr(of, field.name)
        if isinstance(value, Standing | InDie):
            found |= {f"{field.name}.{key}": one for key, one in told(value).items()}
        elif field.name not in ("shown_before", "shown_after"):  # only what is printed has a readout
            found[field.name] = value
    return found


@pytest.mark.parametrize("machine", [bender(head("right"), FINE), bender(head("left"), FINE)], ids=["right", "left"])
def test_by_exact_and_by_printed_numbers_the_tube_at_every_station_is_the_same(machine: Machine) -> None:
    search = search_of(PART, machine)
    sequence = search.propose()
    assert sequence is not None
    stationed = station(ready_of(search.case, sequence))
    printed = [one for load in range(len(stationed.loads)) for one in attempts_of(stationed, load, search.around)]
    compared = 0
    for place, as_printed in zip(places(sequence), printed, strict=True):
        ours, theirs = told(search.checks.attempt(place)), told(as_printed)
        assert ours.keys() == theirs.keys()
        for name, value in ours.items():
            if isinstance(value, Pieces):
                assert_same(value, theirs[name], (place.at, name))
            elif name == "station":
                assert value.start == pytest.approx(theirs[name].start, abs=1e-5)
                assert value.face == pytest.approx(theirs[name].face, abs=1e-5)
            elif name == "standing_before.stands":
                assert place.at.event is not Event.LINK or value == theirs[name]
            elif isinstance(value, float | tuple):
                assert value == pytest.approx(theirs[name], abs=1e-5), (place.at, name)
            else:
                assert value == theirs[name], (place.at, name)
            compared += 1
    assert compared > 100


def test_what_was_to_be_checked_is_left_as_it_was_and_what_is_found_cannot_be_changed() -> None:
    search = search_of(PART, bender())
    sequence = search.propose()
    assert sequence is not None
    asked = [search.checks.attempt(place) for place in places(sequence)]
    before = [told(one) for one in asked]
    batches = search.checks.batches
    bent = batches.bend_all(asked)
    moved = batches.place_all(bent)
    assert all(one.returning for one in bent)
    assert all(one.path is None for one in bent), "moving the tube is another result"
    assert any(one.path is not None for one in moved)
    assert [told(one) for one in asked] == before
    with pytest.raises(FrozenInstanceError):
        moved[0].path = None  # type: ignore[misc]
    put_on = loading(search.case.machine, search.around(bent[0].station).tooling, bent[0])
    (passed,) = pass_all(batches, [put_on])
    assert (put_on.path, put_on.motions) == (None, ())
    assert passed.path is not None
    with pytest.raises(FrozenInstanceError):
        passed.path = None  # type: ignore[misc]


def test_results_come_in_the_order_in_which_bends_are_asked_for_whatever_becomes_of_each() -> None:
    """A floor so high that what hangs down strikes: some bends go and some do not."""
    search = search_of(tube([900, 200, 900], [0, 90], [90, 90]), bender({"head": {"centreline_height": 700}}))
    everywhere = [place for sequence in [search.propose()] if sequence for place in places(sequence)]
    first = everywhere[0].at
    pattern = Pattern(first.event, first.leads, first.bend, (first.ahead, first.ahead))
    other = search.forbidding([NoGood(pattern, "another way", "")]).propose()
    assert other is not None
    asked = [search.checks.attempt(place) for place in (*everywhere, *places(other))]
    together = search.checks.batches.bend_all(asked)
    alone = [search.checks.batches.bend_all([one])[0] for one in asked]
    assert len({bool(one.blocked) for one in together}) == 2
    for one, two in zip(together, alone, strict=True):
        assert (one.station, one.fitting, one.home) == (two.station, two.fitting, two.home)
        assert [(b.doing, b.finding.answer) for b in one.blocked] == [(b.doing, b.finding.answer) for b in two.blocked]


def test_an_order_carried_out_keeps_for_each_bend_the_clamps_with_which_the_load_goes_too() -> None:
    search = search_of(PART, bender())
    sequence = search.plan()
    assert sequence is not None
    trial = try_order(station(ready_of(search.case, sequence)), search.around)
    assert trial.loads is not None
    for load in trial.loads:
        put_on, taken_off = load[0].put_on, load[-1].taken_off
        assert put_on is not None
        assert taken_off is not None
        for bend, passage in ((load[0], put_on), (load[-1], taken_off)):
            assert bend.clamp in [passage.attempt.clamps[c] for c in passage.fitting]
            assert passage.attempt.station == replace(bend.station)
