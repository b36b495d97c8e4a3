"""Answers that several programs ask for: each is reckoned once while they wait for it, and kept for those to come.

Planning gives the same text for the same question, so a kept one is as good as a new one. One that was cut short by its
time limit is not kept: there may be more time, or less load, for it next time.
"""

from __future__ import annotations

import asyncio
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import Final

from planner.page.jobs import Job

MOST_KEPT: Final = 16_000_000
"""Letters of all texts that are kept: some hundred plans."""

CUT_SHORT: Final = 0.5
"""What took this share of its time limit may have been cut short."""


class Answers:
    """The questions that are being answered and the answers that are kept; most: letters of these."""

    def __init__(self, most: int = MOST_KEPT) -> None:
        self._most = most
        self._kept: OrderedDict[str, str] = OrderedDict()
        self._asked: dict[str, _Question] = {}

    def kept(self, question: str) -> str | None:
        """Return the text that is kept of a question."""
        if question in self._kept:
            self._kept.move_to_end(question)
        return self._kept.get(question)

    def ask(self, question: str, begin: Callable[[], Job[str]]) -> Share:
        """Return a share in a question's job, which is begun unless others wait for it; raises what `begin` does."""
        asked = self._asked.get(question)
        if asked is None:
            asked = self._asked[question] = _Question(begin())
            asked.answer.add_done_callback(lambda _: self._answered(question, asked))
        return Share(self, question, asked)

    def give_up(self, question: str, asked: _Question) -> None:
        """Stop a job that nobody waits for any more; who asks the same from now on has it begun anew."""
        if self._asked.get(question) is asked:
            del self._asked[question]
        asked.job.cancel()  # does nothing if it is done

    def _answered(self, question: str, asked: _Question) -> None:
        if self._asked.get(question) is asked:
            del self._asked[question]
        if asked.answer.cancelled() or asked.answer.exception() is not None:
            return
        took = time.monotonic() - (asked.job.begun or 0.0)
        if took < CUT_SHORT * asked.job.time_limit:
            self._kept[question] = asked.answer.result()
        while sum(map(len, self._kept.values())) > self._most:
            self._kept.popitem(last=False)


class _Question:
    """A question's job and how many wait for it."""

    def __init__(self, job: Job[str]) -> None:
        self.job = job
        self.waiting = 0
        self.answer = asyncio.ensure_future(_result_of(job))


class Share:
    """One client's share in a job: `await share.text()`, then `leave`."""

    def __init__(self, answers: Answers, question: str, asked: _Question) -> None:
        self._answers, self._question, self._asked = answers, question, asked
        asked.waiting += 1

    async def text(self) -> str:
        """Return the answer, or raise what the job did."""
        return await asyncio.shield(self._asked.answer)

    def leave(self) -> None:
        """Wait no longer; the last one to leave stops the job."""
        self._asked.waiting -= 1
        if self._asked.waiting == 0:
            self._answers.give_up(self._question, self._asked)


async def _result_of(job: Job[str]) -> str:
    return await job
