"""A proof that was made wrong is refused: no number, entry or literal can be changed so that something untrue is confirmed.

What is accepted all the same must be true: a cell drawn another way that still covers, a no-good that nothing hung on. Its
claim is held against the one that was made wrong, its plan against the replay, its no-goods against the motions themselves.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import pytest

from planner.audit.proof import audit_proof
from planner.sequencing.events import ANY, Arrival, Event, Pattern, Span
from tests.audit.proofs import Proven, of_examples, of_random_parts
from tests.audit.tampering import NEVER_TRUE, OFTEN_TRUE, RARE, TAMPERS, Tamper, least_reclamps, tampered
from tests.plan.replay.faults import caught
from tests.search.afresh import Afresh

SEEDS, CAMPAIGN = 1, 12
"""How often each tamper is tried on each proof."""

OFTENER = 4
"""Times as often on what few proofs leave room for."""

ENOUGH = 6
"""So many proofs are made wrong in each way by default."""


@pytest.fixture(scope="module")
def proofs(campaign: bool) -> list[Proven]:
    """The proofs of examples and of parts with no-goods of every kind."""
    return [*of_examples(campaign), *of_random_parts()]


@dataclass(frozen=True)
class Outcome:
    """A proof made wrong, and what the auditor said of it."""

    of: Proven
    tamper: Tamper
    seed: int
    document: dict[str, Any]
    words: str
    confirmed: bool
    sentence: str


@pytest.fixture(scope="module")
def outcomes(proofs: list[Proven], campaign: bool) -> list[Outcome]:
    """Every tamper on every proof that leaves room for it."""
    return list(_outcomes(proofs, CAMPAIGN if campaign else SEEDS))


def _outcomes(proofs: list[Proven], seeds: int) -> Iterator[Outcome]:
    done: Counter[str] = Counter()
    for number, one in enumerate(proofs):
        for tamper in TAMPERS:
            for seed in range(seeds * (OFTENER if tamper in RARE else 1)):
                if seeds == SEEDS and done[tamper.__name__] >= ENOUGH:
                    continue
                made = tampered(one.proof, tamper, 1000 * number + seed)
                if made is None:
                    continue
                done[tamper.__name__] += 1
                found = audit_proof(made[0], one.part, one.machine)
                words = f"{one.name}, {tamper.__name__} ({seed}): {made[1]}"
                yield Outcome(one, tamper, seed, made[0], words, found.confirmed, found.sentence)


def test_every_proof_is_confirmed_before_it_is_made_wrong(proofs: list[Proven]) -> None:
    for one in proofs:
        found = audit_proof(one.proof, one.part, one.machine)
        assert found.confirmed, (one.name, found.sentence)


def test_at_least_two_hundred_proofs_were_made_wrong_in_every_way(outcomes: list[Outcome]) -> None:
    assert len(outcomes) >= 200
    done = Counter(one.tamper.__name__ for one in outcomes)
    assert min(done[tamper.__name__] for tamper in TAMPERS) >= 3, done


def test_what_contradicts_itself_or_speaks_of_something_else_is_refused(outcomes: list[Outcome]) -> None:
    accepted = [one.words for one in outcomes if one.tamper in NEVER_TRUE and one.confirmed]
    assert not accepted, accepted


def test_nine_in_ten_of_what_does_not_merely_say_less_are_refused(outcomes: list[Outcome]) -> None:
    telling = [one for one in outcomes if one.tamper not in OFTEN_TRUE]
    accepted = [one.words for one in telling if one.confirmed]
    assert len(accepted) <= len(telling) / 10, accepted


def test_an_accepted_claim_says_no_more_than_the_one_that_was_made_wrong(outcomes: list[Outcome]) -> None:
    for one in outcomes:
        if one.confirmed:
            assert least_reclamps(one.document) <= least_reclamps(one.of.proof), one.words
            assert one.document["plan"]["verdict"] == one.of.proof["plan"]["verdict"], one.words
            assert one.document["plan"]["reclamps"] == one.of.proof["plan"]["reclamps"], one.words


def test_an_accepted_plan_can_be_carried_out_clear_by_what_it_prints(outcomes: list[Outcome]) -> None:
    for one in outcomes:
        plan = one.document["plan"]
        if one.confirmed and plan != one.of.proof["plan"]:
            moving = frozenset(step["number"] for step in plan["steps"] if step["to"] is not None)
            assert not caught(plan, moving), one.words


def test_an_accepted_no_good_forbids_nothing_that_goes(outcomes: list[Outcome]) -> None:
    looked = 0
    for one in outcomes:
        if not one.confirmed:
            continue
        known = {json.dumps(no_good, sort_keys=True) for no_good in one.of.proof["no_goods"]}
        for no_good in one.document["no_goods"]:
            if json.dumps(no_good, sort_keys=True) not in known:
                looked += 1
                assert not goes(one.of, no_good), (one.words, no_good["sentence"])
    assert looked >= 3


def goes(of: Proven, no_good: dict[str, Any]) -> bool:
    """Whether anything that a no-good forbids can be done after all."""
    fresh, doing = Afresh(of.search), no_good["doing"]
    pattern = pattern_of(no_good)
    places = [place for place in fresh.places(pattern) if _is_there(place.at)]
    if doing in ("load", "unload"):
        return any(fresh.passes(place, doing, place.trims) for place in places)
    if doing == "move":
        return any(fresh.goes("move", place) for place in places)
    if doing == "home":  # after the bend before, with a tube that stays in
        before = replace(pattern, event=Event.BEND, bend=pattern.bend - 1)
        places = [place for place in fresh.places(before) if _is_there(place.at)]
    return any(fresh.goes("return", place) for place in places)


def _is_there(at: Arrival) -> bool:
    """Whether there is such an arrival: only the job's first bend finds nothing formed."""
    return (at.ahead == at.bend) if at.event is Event.LOAD else (1 <= at.ahead < at.bend)


def pattern_of(no_good: dict[str, Any]) -> Pattern:
    """The pattern of a record."""
    low, high = no_good["ahead"]
    return Pattern(
        Event(no_good["event"]),
        no_good["leads"],
        no_good["bend"],
        (low, high),
        span_of(no_good["trim_lead"]),
        span_of(no_good["trim_tail"]),
        None,
        no_good["way"],
        no_good["released"],
    )


def span_of(written: list[float | None] | None) -> Span:
    if written is None:
        return ANY
    low, high = written
    return (-float("inf") if low is None else low, float("inf") if high is None else high)
