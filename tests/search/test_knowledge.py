"""What is known of a case and what is asked of it: who asks changes nothing of what others have asked."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, replace

import pytest

from planner.planning import Learned, plan, planned
from planner.plans.evidence import Evidence
from planner.search.alternatives import RUNG, other_ways
from planner.search.decision import Plannable, decide
from planner.search.search import Progress, Search
from planner.sequencing.events import Event, NoGood, Pattern
from planner.sequencing.exact import Exact
from planner.tube.bodies import Motion
from tests.plan.shop import bender, tube
from tests.search.test_search import LOW, hanging, search_of


def unproved(bend: int) -> NoGood:
    return NoGood(Pattern(Event.BEND, "A", bend, (bend, bend)), "no path found", "", "unproved")


def of_no_bend(grade: str = "proved") -> NoGood:
    """A no-good that forbids nothing of a part with two bends."""
    return NoGood(Pattern(Event.BEND, "A", 9, (9, 9)), "strike", grade)


def test_what_is_learned_for_one_question_is_known_to_all_of_the_same_case() -> None:
    search = search_of(hanging(2000, 2000), bender(LOW))
    narrowed = search.forbidding([unproved(1)])
    narrowed.best(proved_only=True)
    assert search.nogoods == narrowed.nogoods != ()
    assert unproved(1) not in search.nogoods, "what is forbidden for the asking is not learned"
    assert unproved(1) not in search.problem.rules


def test_a_question_is_not_changed_but_another_one_asked() -> None:
    search = search_of(hanging(400, 400), bender(LOW))
    asked, engine = search.question, Exact()
    other = search.asking(engine=engine, prefer="less trim", problem=replace(search.problem, unasked=frozenset()))
    assert search.question is asked
    assert other.question != asked
    assert other.known is search.known
    with pytest.raises(FrozenInstanceError):
        search.question.problem = other.problem  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError):
        search.question = other.question  # type: ignore[misc]


def test_what_is_learned_after_a_snapshot_stays_where_it_was_learned() -> None:
    search = search_of(hanging(2000, 2000), bender(LOW))
    decide(search)
    before = search.nogoods
    taken = search.afresh(None)
    taken.known.reject(of_no_bend())
    assert search.nogoods == before
    assert taken.nogoods == (*before, of_no_bend())
    search.known.reject(unproved(1))
    assert unproved(1) not in taken.nogoods
    assert taken.checks is search.checks, "what is checked both know"


def test_where_it_is_looked_harder_only_what_is_proved_still_counts_and_the_rest_may_be_learned_again() -> None:
    search = search_of(hanging(400, 400), bender(LOW))
    for nogood in (of_no_bend(), unproved(1)):
        search.known.reject(nogood)
    assert search.known.look_harder()
    assert search.nogoods == search.proved == (of_no_bend(),)
    assert search.known.learn([unproved(1)])
    assert not search.known.learn([unproved(1)])
    assert search.nogoods == (of_no_bend(), unproved(1))
    assert not search.known.look_harder(), "it is not looked harder than that"


def test_other_ways_are_asked_for_and_leave_nothing_behind_that_is_not_true_of_the_case() -> None:
    search = search_of(tube([500, 300, 300, 500], [0, 90, 90], [45, 45, 45]), bender())
    decision = decide(search)
    assert decision.plan is not None
    before = search.question
    heights = iter(range(100))
    other_ways(search, decision.plan, lambda found: dict.fromkeys(nearness_of(found), float(next(heights))))
    assert next(heights) > 2, "or no other way was looked at"
    assert not [nogood for nogood in search.nogoods if nogood.rule == RUNG]
    assert search.question == before


def nearness_of(found: Plannable) -> list[Motion]:
    assert found.trial.loads is not None
    return [motion for load in found.trial.loads for bend in load for motion in bend.motions]


@pytest.mark.parametrize("legs", [(400, 400), (2000, 2000)])
def test_planning_returns_all_that_plan_puts_into_what_it_is_handed(legs: tuple[float, float]) -> None:
    evidence, learned = Evidence(), Learned()
    made = plan(hanging(*legs), bender(LOW), evidence=evidence, learned=learned)
    found = planned(hanging(*legs), bender(LOW))
    assert found.plan == made
    assert evidence.search is not None
    assert found.evidence.search is not None
    assert found.evidence.search.nogoods == evidence.search.nogoods
    assert [(one.step, one.clear_by) for one in found.evidence.moved] == [
        (one.step, one.clear_by) for one in evidence.moved
    ]
    assert found.learned == learned.nogoods
    assert bool(evidence.moved) == (made.verdict == "makeable")


def test_the_whole_problem_is_known_whatever_is_asked() -> None:
    search = search_of(hanging(400, 400), bender(LOW))
    narrowed = search.forbidding([unproved(1)])
    assert isinstance(narrowed, Search)
    assert narrowed.known.problem is search.problem


def test_what_would_forbid_a_plan_that_was_carried_out_is_not_learned() -> None:
    search = search_of(hanging(400, 400), bender(LOW))
    decision = decide(search)
    assert decision.plan is not None
    assert search.known.goes == decision.plan.sequence
    first = decision.plan.sequence.arrivals[0]
    against = NoGood(Pattern(Event.BEND, first.leads, first.bend, (first.ahead, first.ahead)), "strike", "")
    assert not search.known.learn([against])
    assert search.known.learn([of_no_bend()])


def test_the_progress_is_told_from_time_to_time_and_only_to_who_listens() -> None:
    search = search_of(hanging(400, 400), bender(LOW))
    told: list[str] = []
    listening = Progress(told.append, told=-math.inf)
    listening.tell(search.known)
    listening.tell(search.known)
    assert told == ["0 bends and 0 moves checked, 0 no-goods learned"]
    Progress(None, told=-math.inf).tell(search.known)
    assert search.afresh(told.append).progress.report == told.append
    assert search.progress.report is None
