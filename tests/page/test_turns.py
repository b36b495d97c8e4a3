"""Whose turn it is: nobody waits for somebody who has more, nobody fills the queue alone, and the wait is told."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.page.turns import TooBusy, TooMany, Turns


@dataclass(eq=False)
class Asked:
    """A job as far as turns go."""

    client: str | None
    key: str | None = None


def served(turns: Turns[Asked], workers: int) -> list[Asked]:
    """All that wait, in the order in which they are begun where each job lasts as long as any other."""
    under_way: list[Asked] = []
    begun: list[Asked] = []
    while turns.waiting:
        if len(under_way) == workers:
            under_way.pop(0)
        found = turns.next(under_way)
        if found is None:
            under_way.pop(0)
            continue
        turns.begin(found)
        under_way.append(found)
        begun.append(found)
    return begun


def test_a_client_that_asks_once_does_not_wait_for_one_that_asks_often() -> None:
    turns: Turns[Asked] = Turns(workers=2, places=64)
    for _ in range(30):
        turns.add(Asked("often"))
    turns.add(Asked("once"))
    assert "once" in [job.client for job in served(turns, 2)[:2]]


def test_two_that_ask_often_take_turns() -> None:
    turns: Turns[Asked] = Turns(workers=1, places=64)
    for client in ("first", "first", "first", "second", "second", "second"):
        turns.add(Asked(client))
    assert [job.client for job in served(turns, 1)] == ["first", "second"] * 3


def test_a_client_leaves_a_worker_to_the_others_and_so_does_a_part() -> None:
    turns: Turns[Asked] = Turns(workers=3, places=64)
    for same in (Asked("one", None), Asked(None, "rail")):
        turns.add(same)
        assert turns.next([same]) is same
        assert turns.next([same, same]) is None
        turns.begin(same)


def test_jobs_of_nobody_in_particular_may_have_all_workers() -> None:
    turns: Turns[Asked] = Turns(workers=2, places=4)
    turns.add(Asked(None))
    assert turns.next([Asked(None)]) is turns.waiting[0]


def test_of_a_clients_parts_each_has_its_turn() -> None:
    turns: Turns[Asked] = Turns(workers=3, places=64)
    for key in ("rail", "rail", "frame"):
        turns.add(Asked("one", key))
    first = turns.next([])
    assert first is not None
    turns.begin(first)
    assert [first.key, getattr(turns.next([first]), "key", None)] == ["rail", "frame"]


def test_a_client_may_wait_with_no_more_jobs_than_there_are_places_left() -> None:
    turns: Turns[Asked] = Turns(workers=2, places=64)
    for _ in range(32):
        turns.add(Asked("first"))
    with pytest.raises(TooMany, match="32 of your jobs are waiting already: try again in 1 s"):
        turns.add(Asked("first"))
    for _ in range(16):
        turns.add(Asked("second"))
    with pytest.raises(TooMany):
        turns.add(Asked("second"))
    turns.add(Asked("third"))


def test_where_there_is_no_place_it_is_said_after_how_many_seconds_there_is_one() -> None:
    turns: Turns[Asked] = Turns(workers=2, places=3)
    for client in "abc":
        turns.add(Asked(client))
    for seconds in (9.0, 11.0):
        turns.done(seconds)
    with pytest.raises(TooBusy, match="3 jobs are waiting already: try again in 5 s") as refused:
        turns.add(Asked("d"))
    assert not isinstance(refused.value, TooMany)
    assert (refused.value.waiting, refused.value.seconds) == (3, 5)


def test_the_wait_goes_by_how_long_jobs_took_and_how_many_come_before() -> None:
    turns: Turns[Asked] = Turns(workers=2, places=64)
    assert [turns.wait(ahead) for ahead in (0, 1, 2, 3)] == [0.0, 0.0, 0.5, 1.0], "a second each until one is done"
    for _ in range(40):
        turns.done(8.0)
    turns.done(8.0)
    assert [turns.wait(ahead) for ahead in (1, 2, 5)] == [0.0, 4.0, 16.0]


def test_a_job_that_is_put_back_is_the_first() -> None:
    turns: Turns[Asked] = Turns(workers=1, places=4)
    jobs = [Asked(None), Asked(None)]
    for job in jobs:
        turns.add(job)
    turns.begin(jobs[0])
    turns.put_back(jobs[0])
    assert turns.next([]) is jobs[0]


@given(st.lists(st.tuples(st.sampled_from("abcde"), st.sampled_from("rst")), max_size=60), st.integers(1, 4))
def test_all_that_wait_are_served_and_of_nobody_two_before_another_who_waits(
    asked: list[tuple[str, str]], workers: int
) -> None:
    turns: Turns[Asked] = Turns(workers, places=1000)
    for client, key in asked:
        turns.add(Asked(client, key))
    waiting = Counter(client for client, _ in asked)
    begun = served(turns, workers)
    assert Counter(job.client for job in begun) == waiting
    since: Counter[str | None] = Counter()
    for job in begun:
        waiting[str(job.client)] -= 1
        since[job.client] = 0
        for other, left in waiting.items():
            if left and other != job.client:
                since[other] += 1
                assert since[other] <= len(set("abcde")) + workers, "each has his turn before anybody has two more"
