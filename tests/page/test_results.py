"""Answers that several ask for: reckoned once, kept, stopped only when nobody waits, and never kept where cut short."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from planner.page import jobs
from planner.page.jobs import Job, Stopped, Workers
from planner.page.results import Answers
from tests.page import job_tasks as do
from tests.processes import PATIENCE


def run(test: Callable[[Workers], Awaitable[None]]) -> None:
    async def limited() -> None:
        workers = Workers(2)
        workers.start()
        try:
            await asyncio.wait_for(test(workers), PATIENCE)
        finally:
            await workers.close()

    asyncio.run(limited())


class Asking:
    """Begins jobs and counts them."""

    def __init__(self, workers: Workers, task: Callable[..., Any], *arguments: Any, time_limit: float = 30.0) -> None:
        self.workers, self.task, self.arguments, self.time_limit = workers, task, arguments, time_limit
        self.begun: list[Job[str]] = []

    def __call__(self) -> Job[str]:
        self.begun.append(self.workers.submit(self.task, *self.arguments, time_limit=self.time_limit))
        return self.begun[-1]


def test_the_same_question_is_answered_once_while_it_is_asked_and_kept_afterwards(tmp_path: Path) -> None:
    async def test(workers: Workers) -> None:
        answers, free = Answers(), tmp_path / "free"
        begin = Asking(workers, do.says_when, str(free), "text")
        shares = [answers.ask("q", begin) for _ in range(5)]
        free.touch()
        assert [await share.text() for share in shares] == ["text"] * 5
        assert len(begin.begun) == 1
        assert answers.kept("q") == "text"
        assert answers.kept("another") is None

    run(test)


def test_who_leaves_stops_the_job_only_if_nobody_else_waits(tmp_path: Path) -> None:
    async def test(workers: Workers) -> None:
        answers, free = Answers(), tmp_path / "free"
        begin = Asking(workers, do.says_when, str(free), "text")
        first, second = answers.ask("q", begin), answers.ask("q", begin)
        first.leave()
        assert not begin.begun[0].done
        free.touch()
        assert await second.text() == "text"
        second.leave()

    run(test)


def test_who_asks_just_after_the_last_one_left_has_it_begun_anew(tmp_path: Path) -> None:
    async def test(workers: Workers) -> None:
        answers, free = Answers(), tmp_path / "free"
        begin = Asking(workers, do.says_when, str(free), "text")
        answers.ask("q", begin).leave()
        again = answers.ask("q", begin)
        with pytest.raises(Stopped):
            await begin.begun[0]
        free.touch()
        assert await again.text() == "text"
        assert len(begin.begun) == 2
        assert answers.kept("q") == "text"

    run(test)


def test_what_may_have_been_cut_short_by_its_time_limit_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "GRACE", PATIENCE)  # a busy computer may take far longer than the limit over it

    async def test(workers: Workers) -> None:
        answers = Answers()
        begin = Asking(workers, do.takes, 0.3, time_limit=0.5)
        assert await answers.ask("q", begin).text() == "took its time"
        assert answers.kept("q") is None

    run(test)


def test_an_error_goes_to_all_who_asked_and_is_not_kept() -> None:
    async def test(workers: Workers) -> None:
        answers = Answers()
        begin = Asking(workers, do.raises, "UnknownMachine")
        for share in [answers.ask("q", begin) for _ in range(2)]:
            with pytest.raises(Exception, match="canal"):
                await share.text()
        await asyncio.sleep(0)
        answers.ask("q", begin)
        assert len(begin.begun) == 2

    run(test)


def test_the_oldest_texts_are_dropped_when_there_are_too_many_letters() -> None:
    async def test(workers: Workers) -> None:
        answers = Answers(most=9)
        for question in ("a", "b", "c"):
            await answers.ask(question, Asking(workers, do.says, "1234")).text()
            await asyncio.sleep(0)
            answers.kept("a")
        assert [answers.kept(question) for question in ("a", "b", "c")] == ["1234", None, "1234"], (
            "the one unused longest"
        )

    run(test)
