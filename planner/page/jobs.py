"""Jobs for processes of their own that stay warm, so that one part never hangs the page or another part.

A job is a module's function with its arguments; each worker does one at a time. A job that is not wanted any more, or
that hangs, is ended with its process, and another process takes its place; one whose process was killed before it was
begun is begun elsewhere. One idle worker is always kept ready as long as there are not the most. Whose turn it is says
`turns.py`.

In a worker the function is called as `task(*arguments, time_limit=…, report=…)`; `report` takes progress in sentences.
Everything here runs in the server's event loop; `worker.py` has the processes.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Generator, Hashable
from contextlib import suppress
from typing import Any, Final, Generic, TypeVar

from planner.errors import BendorderError
from planner.page.turns import Turns
from planner.page.worker import Fault, Worker

Result = TypeVar("Result")
Report = Callable[[str], None]

MOST_WORKERS: Final = 4
MOST_WAITING: Final = 64
LONGEST: Final = 300.0
"""Time limit of a job that is given none [s]."""

GRACE: Final = 5.0
"""A job may overrun its time limit by so much, writing down what is known by then, before it is ended [s]."""

START_UP: Final = 60.0
"""A worker must have begun with its job by then [s]."""


class Stopped(BendorderError):
    """The job was stopped before it was done."""


class Overdue(BendorderError):
    """The job did not end at its time limit, so its process was ended; `time_limit` [s]."""

    def __init__(self, time_limit: float) -> None:
        self.time_limit = time_limit
        super().__init__(f"there is no answer {GRACE:g} s after the time limit of {time_limit:g} s, so it was stopped")


class Job(Generic[Result]):
    """One job: `await job` gives its result, `cancel` ends it wherever it is."""

    def __init__(
        self,
        workers: Workers,
        task: Callable[..., Result],
        arguments: tuple[Any, ...],
        time_limit: float,
        report: Report | None,
        key: Hashable | None,
        client: Hashable | None,
    ) -> None:
        self.task, self.arguments, self.time_limit, self.report = task, arguments, time_limit, report
        self.key, self.client = key, client
        self.timer: asyncio.TimerHandle | None = None
        self.begun: float | None = None
        self.waited = False
        self.tries = 0
        self._workers = workers
        self._answer: asyncio.Future[Result] = asyncio.get_running_loop().create_future()
        self._answer.add_done_callback(lambda answer: answer.cancelled() or answer.exception())  # nobody need ask

    def __await__(self) -> Generator[Any, None, Result]:
        return self._result().__await__()

    async def _result(self) -> Result:
        try:
            await asyncio.wait([self._answer])
        except asyncio.CancelledError:
            self.cancel()
            raise
        return self._answer.result()

    @property
    def done(self) -> bool:
        """Whether it has a result, has failed or was stopped."""
        return self._answer.done()

    def cancel(self) -> None:
        """Stop the job, its process with it if it is under way; whoever awaits it gets `Stopped`."""
        self._workers.stop_job(self, Stopped("it was stopped"))

    def succeed(self, result: Result) -> None:
        """Give the result to whoever awaits it."""
        self.settle()
        if not self.done:
            self._answer.set_result(result)

    def fail(self, error: Exception) -> None:
        """Raise an error where it is awaited."""
        self.settle()
        if not self.done:
            self._answer.set_exception(error)

    def settle(self) -> None:
        """Let its time run no further."""
        if self.timer is not None:
            self.timer.cancel()


class Workers:
    """Worker processes and the jobs for them.

    most: so many at once; warm_up: a module's function that each new worker runs before its first job, such as one that
    imports what the jobs need; most_waiting: beyond so many waiting jobs another one is refused.
    """

    def __init__(
        self,
        most: int = MOST_WORKERS,
        warm_up: Callable[[], object] | None = None,
        most_waiting: int = MOST_WAITING,
    ) -> None:
        self._most, self._warm_up = most, warm_up
        self._there: list[Worker[Job[Any]]] = []
        self._gone: list[Worker[Job[Any]]] = []
        self._turns: Turns[Job[Any]] = Turns(most, most_waiting)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closed = False
        self._begun = 0

    def start(self, count: int = 1) -> None:
        """Start the first workers; may be called before there is an event loop."""
        while len(self._there) < min(count, self._most):
            self._start_one()

    def submit(
        self,
        task: Callable[..., Result],
        *arguments: Any,
        time_limit: float | None = None,
        report: Report | None = None,
        key: Hashable | None = None,
        client: Hashable | None = None,
    ) -> Job[Result]:
        """Take in a job; raises TooBusy if too many are waiting.

        time_limit [s]: passed on to the task, which returns by then what is known; some seconds later its process is
        ended. It counts from when the job is begun. report: told of the progress, in the event loop. key: what it is
        about; jobs of one key go to a worker that did one of them before if that is idle. client: who asks; turns and
        places are shared among clients.
        """
        self._loop = asyncio.get_running_loop()
        if self._closed:
            raise Stopped("the page is being closed")
        job = Job(self, task, arguments, LONGEST if time_limit is None else time_limit, report, key, client)
        self._turns.add(job)
        self._begin_waiting()
        return job

    async def run(
        self,
        task: Callable[..., Result],
        *arguments: Any,
        time_limit: float | None = None,
        report: Report | None = None,
        key: Hashable | None = None,
        client: Hashable | None = None,
    ) -> Result:
        """Return a job's result; otherwise as `submit`. Cancelling the caller cancels the job."""
        return await self.submit(task, *arguments, time_limit=time_limit, report=report, key=key, client=client)

    def stop_job(self, job: Job[Any], error: Exception) -> None:
        """End a job with an error, waiting or under way."""
        if job.done:
            return
        job.fail(error)
        if job in self._turns.waiting:
            self._turns.waiting.remove(job)
        for worker in [worker for worker in self._there if worker.job is job]:
            self._end(worker)
        self._begin_waiting()

    def stop(self) -> None:
        """Stop every job and every worker, for good."""
        self._closed = True
        for job in [*self._turns.waiting, *self._jobs_under_way()]:
            job.fail(Stopped("the page is being closed"))
        self._turns.waiting.clear()
        for worker in tuple(self._there):
            self._end(worker)

    async def close(self) -> None:
        """Stop everything and wait until the processes are gone."""
        self.stop()
        await asyncio.to_thread(self.wait_until_gone)

    def wait_until_gone(self, timeout: float = 10.0) -> None:
        """Wait until the processes that were ended are gone, and none is left as a zombie."""
        deadline = time.monotonic() + timeout
        for worker in tuple(self._gone):
            worker.thread.join(max(deadline - time.monotonic(), 0.0))

    @property
    def processes(self) -> tuple[int, ...]:
        """The ids of the workers' processes."""
        return tuple(worker.process.pid or 0 for worker in self._there)

    @property
    def under_way(self) -> int:
        """How many jobs are being worked on."""
        return len(self._jobs_under_way())

    @property
    def waiting(self) -> int:
        """How many jobs wait for a worker."""
        return len(self._turns.waiting)

    @property
    def wait(self) -> float:
        """How long another job would wait about [s]."""
        return self._turns.wait(self.under_way + self.waiting)

    # ------------------------------------------------------------------------------------ who does what

    def _begin_waiting(self) -> None:
        """Begin as many waiting jobs as there are workers for, then see that one worker is idle."""
        if self._closed:
            return
        while (job := self._turns.next(self._jobs_under_way())) is not None:
            worker = self._idle_for(job)
            if worker is None:
                break
            self._turns.begin(job)
            self._begin(worker, job)
        self._tell_who_waits()
        if len(self._there) < self._most and all(worker.job is not None for worker in self._there):
            self._start_one()

    def _tell_who_waits(self) -> None:
        """Tell each waiting job how long it will wait."""
        for place, job in enumerate(self._turns.waiting):
            if job.report is not None:
                job.report(f"waiting for its turn, about {max(self._turns.wait(self.under_way + place), 1.0):.0f} s")
                job.waited = True

    def _jobs_under_way(self) -> list[Job[Any]]:
        return [worker.job for worker in self._there if worker.job is not None]

    def _idle_for(self, job: Job[Any]) -> Worker[Job[Any]] | None:
        """Return an idle worker: one that knows the key, else the one idle for longest, else a new one if it may be."""
        for worker in [worker for worker in self._there if worker.job is None and not worker.process.is_alive()]:
            self._end(worker)
        idle = [worker for worker in self._there if worker.job is None]
        knowing = [worker for worker in idle if job.key is not None and job.key in worker.recent]
        if knowing or idle:
            return min(knowing or idle, key=lambda worker: worker.used)
        return self._start_one() if len(self._there) < self._most else None

    def _begin(self, worker: Worker[Job[Any]], job: Job[Any]) -> None:
        self._begun += 1
        job.tries += 1
        worker.take(job, self._begun)
        assert self._loop is not None  # there is a job
        job.timer = self._loop.call_later(START_UP, self._overdue, job)

    def _overdue(self, job: Job[Any]) -> None:
        self.stop_job(job, Overdue(job.time_limit))

    # ------------------------------------------------------------------------------------ what workers say

    def _start_one(self) -> Worker[Job[Any]]:
        worker: Worker[Job[Any]] = Worker(self._warm_up, self._heard_elsewhere)
        self._there.append(worker)
        return worker

    def _end(self, worker: Worker[Job[Any]]) -> None:
        """End a worker's process; its thread sees that it goes."""
        self._there.remove(worker)
        self._gone = [gone for gone in self._gone if gone.thread.is_alive()] + [worker]
        worker.end()

    def _heard_elsewhere(self, worker: Worker[Job[Any]], said: str, what: Any) -> None:
        """Pass on to the event loop what a worker's thread hears."""
        if self._loop is None:
            return
        with suppress(RuntimeError):  # the loop has ended, and with it whoever would listen
            self._loop.call_soon_threadsafe(self._heard, worker, said, what)

    def _heard(self, worker: Worker[Job[Any]], said: str, what: Any) -> None:
        """Take in what a worker says."""
        if worker not in self._there:
            return
        job = worker.job
        if said == "gone":
            self._end(worker)
            if job is not None and job.begun is None and job.tries <= self._most:  # every one there was may be dying
                job.settle()
                self._turns.put_back(job)
            elif job is not None:
                job.fail(Fault(f"the process that worked on it ended by itself ({what})"))
            self._begin_waiting()
        elif job is None:
            return
        elif said == "begun":
            assert self._loop is not None  # it said so
            job.settle()
            job.begun = time.monotonic()
            if job.waited and job.report is not None:
                job.report("")
            job.timer = self._loop.call_later(job.time_limit + GRACE, self._overdue, job)
        elif said == "report":
            if job.report is not None:
                job.report(what)
        else:
            worker.job = None
            self._turns.done(time.monotonic() - (job.begun or time.monotonic()))
            job.succeed(what) if said == "result" else job.fail(what)
            self._begin_waiting()
