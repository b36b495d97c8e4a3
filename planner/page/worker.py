"""One worker: a process that does jobs one after another, and the thread of the server that attends to it.

What runs in the process is in `worker_process.py`.
"""

from __future__ import annotations

import multiprocessing
import queue
import threading
from collections import deque
from collections.abc import Callable
from typing import Any, Final, Generic, Protocol, TypeVar

from planner.advice.workers import interrupts_held_back
from planner.page.worker_process import work_off

RECENT: Final = 4
"""So many keys a worker is taken to remember something of."""


class Fault(Exception):
    """A fault of the program itself, not of the input; trace: where it happened."""

    def __init__(self, problem: str, trace: str = "") -> None:
        self.trace = trace
        super().__init__(f"a fault of bendorder itself: {problem}")

    def as_dict(self) -> dict[str, Any]:
        """Return the fault as JSON data, as an error is."""
        return {"kind": type(self).__name__, "message": str(self)}


class Handed(Protocol):
    """A job as a worker takes it: a module's function, its arguments, a time limit [s] and what it is about."""

    task: Callable[..., Any]
    arguments: tuple[Any, ...]
    time_limit: float
    key: object


Given = TypeVar("Given", bound=Handed)


class Worker(Generic[Given]):
    """One process, the thread that attends to it, and what it is at.

    hear: told in that thread what the process says: "begun", "report", "result", "error", and at last "gone".
    """

    def __init__(self, warm_up: Callable[[], object] | None, hear: Callable[[Worker[Given], str, Any], None]) -> None:
        self.job: Given | None = None
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

    def take(self, job: Given, number: int) -> None:
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
    """Return the error that `planner.page.worker_process` took apart."""
    kind, first, second = data
    if kind is None:
        return Fault(first, second)
    error: Exception = kind.__new__(kind)
    error.args = first
    vars(error).update(second)
    return error
