"""Work spread over processes of its own, each of which ends with this one whatever becomes of it."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.connection import wait
from typing import Any, Final, TypeVar

Result = TypeVar("Result")

MOST: Final = 61
"""More processes than this one cannot wait for on Windows."""


def worked_off(work: Callable[..., Result], jobs: Sequence[tuple[Any, ...]], workers: int) -> list[Result]:
    """Return what the work gives for each job (its arguments), in their order.

    workers: how many processes may work at once, never more than the computer has cores; 1: this one. The work must be
    a module's function, jobs and results must pickle. The first error ends all of it, and so does an interrupt.
    """
    count = min(workers, len(jobs), os.cpu_count() or 1, MOST)
    if count <= 1:
        return [work(*job) for job in jobs]
    with _processes(count) as pool:
        with interrupts_held_back():  # while processes start: they take over which signals are held back
            waiting = [pool.submit(work, *job) for job in jobs]
        return [job.result() for job in waiting]


@contextmanager
def _processes(count: int) -> Iterator[ProcessPoolExecutor]:
    """Give processes that are started anew (no thread's lock is copied into them); end them at once on any error."""
    others = set(multiprocessing.active_children())
    spawned = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(count, mp_context=spawned, initializer=end_with_parent)
    try:
        yield pool
    except BaseException:
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()  # what it is at would be waited for otherwise
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def interrupts_held_back() -> Iterator[None]:
    """Keep an interrupt waiting until the block is done."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def end_with_parent() -> None:
    """Make this process leave interrupts to its parent, and end when that ends, even if it is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_after, args=(parent.sentinel,), daemon=True).start()


def _leave_after(sentinel: int) -> None:
    """Wait for a process to end, then end this one, whatever it is at."""
    wait([sentinel])
    os._exit(1)
