"""Jobs for processes of their own that stay warm, so that one part never hangs the page or another part.

A job is a module's function with its arguments; each worker does one at a time. A job that is not wanted any more, or
that hangs, is ended with its process, and another process takes its place. One idle worker is always kept ready as long
as there are not the most. Waiting jobs are begun fairly: of the key with the fewest jobs under way the oldest one; no
key has all workers.

In a worker the function is called as `task(*arguments, time_limit=…, report=…)`; `report` takes progress in sentences.
Everything here runs in the server's process and, but for the threads that attend to one worker each, in its event loop;
what runs in a worker's process is in `working.py`.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import queue
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Generator
from contextlib import suppress
from typing import Any, Final, Generic, TypeVar

from planner.advice.workers import interrupts_held_back
from planner.errors import BendorderError
from planner.page.working import work_off

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

RECENT: Final = 4
"""So many keys a worker is taken to remember something of."""


class Stopped(BendorderError):
    """The job was stopped before it was done."""


class Overdue(BendorderError):
    """The job did not end at its time limit, so its process was ended; `time_limit` [s]."""

    def __init__(self, time_limit: float) -> None:
        self.time_limit = time_limit
        super().__init__(f"there is no answer {GRACE:g} s after the time limit of {time_limit:g} s, so it was stopped")


class TooBusy(BendorderError):
    """Too many jobs are waiting already; `waiting` says how many."""

    def __init__(self, waiting: int) -> None:
        self.waiting = waiting
        super().__init__(f"{waiting} jobs are waiting already: try again when some of them are done")


class Fault(Exception):
    """A fault of the program itself, not of the input; trace: where it happened."""

    def __init__(self, problem: str, trace: str = "") -> None:
        self.trace = trace
        super().__init__(f"a fault of bendorder itself: {problem}")

    def as_dict(self) -> dict[str, Any]:
        """Return the fault as JSON data, as an error is."""
        return {"kind": type(self).__name__, "message": str(self)}


class Job(Generic[Result]):
    """One job: `await job` gives its result, `cancel` ends it wherever it is."""

    def __init__(
        self,
        workers: Workers,
        task: Callable[..., Result],
        arguments: tuple[Any, ...],
        time_limit: float,
        report: Report | None,
        key: object,
    ) -> None:
        self.task, self.arguments, self.time_limit, self.report, self.key = task, arguments, time_limit, report, key
        self.timer: asyncio.TimerHandle | None = None
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
        self._most, self._warm_up, self._most_waiting = most, warm_up, most_waiting
        self._there: list[_Worker] = []
        self._gone: list[_Worker] = []
        self._waiting: list[Job[Any]] = []
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
        key: object = None,
    ) -> Job[Result]:
        """Take in a job; raises TooBusy if too many are waiting.

        time_limit [s]: passed on to the task, which returns by then what is known; some seconds later its process is
        ended. It counts from when the job is begun. report: told of the progress, in the event loop. key: what it is
        about; jobs of one key go to a worker that did one of them before if that is idle, and share turns.
        """
        self._loop = asyncio.get_running_loop()
        if self._closed:
            raise Stopped("the page is being closed")
        if len(self._waiting) >= self._most_waiting:
            raise TooBusy(len(self._waiting))
        job = Job(self, task, arguments, LONGEST if time_limit is None else time_limit, report, key)
        self._waiting.append(job)
        self._begin_waiting()
        return job

    async def run(
        self,
        task: Callable[..., Result],
        *arguments: Any,
        time_limit: float | None = None,
        report: Report | None = None,
        key: object = None,
    ) -> Result:
        """Return a job's result; otherwise as `submit`. Cancelling the caller cancels the job."""
        return await self.submit(task, *arguments, time_limit=time_limit, report=report, key=key)

    def stop_job(self, job: Job[Any], error: Exception) -> None:
        """End a job with an error, waiting or under way."""
        if job.done:
            return
        job.fail(error)
        if job in self._waiting:
            self._waiting.remove(job)
        for worker in [worker for worker in self._there if worker.job is job]:
            self._end(worker)
        self._begin_waiting()

    def stop(self) -> None:
        """Stop every job and every worker, for good."""
        self._closed = True
        for job in [*self._waiting, *(worker.job for worker in self._there if worker.job is not None)]:
            job.fail(Stopped("the page is being closed"))
        self._waiting.clear()
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
        return sum(worker.job is not None for worker in self._there)

    @property
    def waiting(self) -> int:
        """How many jobs wait for a worker."""
        return len(self._waiting)

    # ------------------------------------------------------------------------------------ who does what

    def _begin_waiting(self) -> None:
        """Begin as many waiting jobs as there are workers for, then see that one worker is idle."""
        if self._closed:
            return
        while (job := self._next()) is not None:
            worker = self._idle_for(job)
            if worker is None:
                return
            self._waiting.remove(job)
            self._begin(worker, job)
        if len(self._there) < self._most and all(worker.job is not None for worker in self._there):
            self._start_one()

    def _next(self) -> Job[Any] | None:
        """Return the job to begin: of the key with the fewest under way the oldest; without a key it is its own.

        A key leaves one worker to the others; None if there is no job but of keys that have all they may have.
        """
        under_way = Counter(worker.job.key for worker in self._there if worker.job is not None)
        under_way[None] = 0
        found = min(self._waiting, key=lambda job: under_way[job.key], default=None)
        return found if found is not None and under_way[found.key] < max(self._most - 1, 1) else None

    def _idle_for(self, job: Job[Any]) -> _Worker | None:
        """Return an idle worker: one that knows the key, else the one idle for longest, else a new one if it may be."""
        for worker in [worker for worker in self._there if worker.job is None and not worker.process.is_alive()]:
            self._end(worker)
        idle = [worker for worker in self._there if worker.job is None]
        knowing = [worker for worker in idle if job.key is not None and job.key in worker.recent]
        if knowing or idle:
            return min(knowing or idle, key=lambda worker: worker.used)
        return self._start_one() if len(self._there) < self._most else None

    def _begin(self, worker: _Worker, job: Job[Any]) -> None:
        self._begun += 1
        worker.take(job, self._begun)
        assert self._loop is not None  # there is a job
        job.timer = self._loop.call_later(START_UP, self._overdue, job)

    def _overdue(self, job: Job[Any]) -> None:
        self.stop_job(job, Overdue(job.time_limit))

    # ------------------------------------------------------------------------------------ what workers say

    def _start_one(self) -> _Worker:
        worker = _Worker(self._warm_up, self._heard_elsewhere)
        self._there.append(worker)
        return worker

    def _end(self, worker: _Worker) -> None:
        """End a worker's process; its thread sees that it goes."""
        self._there.remove(worker)
        self._gone = [gone for gone in self._gone if gone.thread.is_alive()] + [worker]
        worker.end()

    def _heard_elsewhere(self, worker: _Worker, said: str, what: Any) -> None:
        """Pass on to the event loop what a worker's thread hears."""
        if self._loop is None:
            return
        with suppress(RuntimeError):  # the loop has ended, and with it whoever would listen
            self._loop.call_soon_threadsafe(self._heard, worker, said, what)

    def _heard(self, worker: _Worker, said: str, what: Any) -> None:
        """Take in what a worker says."""
        if worker not in self._there:
            return
        job = worker.job
        if said == "gone":
            if job is not None:
                job.fail(Fault(f"the process that worked on it ended by itself ({what})"))
            self._end(worker)
            self._begin_waiting()
        elif job is None:
            return
        elif said == "begun":
            assert self._loop is not None  # it said so
            job.settle()
            job.timer = self._loop.call_later(job.time_limit + GRACE, self._overdue, job)
        elif said == "report":
            if job.report is not None:
                job.report(what)
        else:
            worker.job = None
            job.succeed(what) if said == "result" else job.fail(what)
            self._begin_waiting()


class _Worker:
    """One process, the thread that attends to it, and what it is at."""

    def __init__(self, warm_up: Callable[[], object] | None, hear: Callable[[_Worker, str, Any], None]) -> None:
        self.job: Job[Any] | None = None
        self.used = 0
        self.recent: deque[object] = deque(maxlen=RECENT)
        self._hear = hear
        self._given: queue.SimpleQueue[tuple[Any, ...] | None] = queue.SimpleQueue()
        spawned = multiprocessing.get_context("spawn")  # no thread's lock is copied, and no socket
        self._connection, theirs = spawned.Pipe()
        self.process = spawned.Process(target=work_off, args=(theirs, warm_up), daemon=True, name="bendorder worker")
        with interrupts_held_back():
            self.process.start()
        theirs.close()
        self.thread = threading.Thread(target=self._attend, daemon=True)
        self.thread.start()

    def take(self, job: Job[Any], number: int) -> None:
        """Hand a job to the process; number: how many were handed out so far."""
        self.job, self.used = job, number
        if job.key in self.recent:
            self.recent.remove(job.key)
        self.recent.append(job.key)
        self._given.put((job.task, job.arguments, job.time_limit))

    def end(self) -> None:
        """End the process at once."""
        self.process.kill()
        self._given.put(None)

    def _attend(self) -> None:
        """Pass jobs to the process and what it says to the loop, until one of the two has ended."""
        try:
            while (work := self._given.get()) is not None:
                self._attend_to(work)
        except (EOFError, OSError):
            pass
        self.process.kill()
        self.process.join()
        self._connection.close()
        self._hear(self, "gone", _ended(self.process.exitcode))

    def _attend_to(self, work: tuple[Any, ...]) -> None:
        """Have one job done."""
        try:
            self._connection.send(work)
        except OSError:
            raise
        except Exception as error:  # of pickling: nothing was sent
            self._hear(self, "error", Fault(f"the job cannot be handed over: {type(error).__name__}: {error}"))
            return
        while True:
            said, what = self._next_message()
            self._hear(self, said, what)
            if said in ("result", "error"):
                return

    def _next_message(self) -> tuple[str, Any]:
        """Return what the process says next."""
        try:
            said, what = self._connection.recv()
        except (EOFError, OSError):
            raise
        except Exception as error:  # it was sent whole, but does not make sense here
            return "error", Fault(f"the answer cannot be read: {type(error).__name__}: {error}")
        return said, _error_from(what) if said == "error" else what


def _ended(exit_code: int | None) -> str:
    return "exit code unknown" if exit_code is None else f"exit code {exit_code}"


def _error_from(data: tuple[Any, ...]) -> Exception:
    """Return the error that `planner.page.working` took apart."""
    kind, first, second = data
    if kind is None:
        return Fault(first, second)
    error: Exception = kind.__new__(kind)
    error.args = first
    vars(error).update(second)
    return error
