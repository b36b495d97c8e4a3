"""When to stop: one deadline for all that runs within it, however deep.

Whatever loops asks `in_time` from time to time; once the deadline has passed that raises OutOfTime. What is found by
then is kept by those who catch it, and put into words within `finishing`.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TypeVar

Item = TypeVar("Item")

TO_FINISH = 0.3
"""How long after the time limit what is known may still be gathered and put into words [s]."""


class OutOfTime(Exception):
    """The time limit has passed."""


@dataclass(frozen=True)
class Deadline:
    """When to stop, by a clock [s]."""

    at: float = math.inf
    clock: Callable[[], float] = time.monotonic

    @property
    def left(self) -> float:
        """Time that is left, infinite where there is no limit, negative once it has passed [s]."""
        return math.inf if self.at == math.inf else self.at - self.clock()


WITHOUT_END = Deadline()

_deadline: ContextVar[Deadline] = ContextVar("deadline", default=WITHOUT_END)


def in_time() -> None:
    """Raise OutOfTime where the deadline has passed."""
    if _deadline.get().left < 0.0:
        raise OutOfTime


def time_left() -> float | None:
    """Return how much time is left, never below 0, None where there is no limit [s]."""
    left = _deadline.get().left
    return None if left == math.inf else max(left, 0.0)


@contextmanager
def limited(seconds: float | None, clock: Callable[[], float] = time.monotonic) -> Iterator[None]:
    """Stop what runs within after so long [s], None for no limit; never later than what it stands in would."""
    around = _deadline.get()
    if seconds is None:
        yield
        return
    if around is not WITHOUT_END:
        clock = around.clock
    with _until(Deadline(min(clock() + seconds, around.at), clock)):
        yield


@contextmanager
def finishing(seconds: float) -> Iterator[None]:
    """Let what runs within go on for so long after the deadline [s]: to say what is known by then."""
    around = _deadline.get()
    with _until(Deadline(around.at + seconds, around.clock)):
        yield


@contextmanager
def unlimited() -> Iterator[None]:
    """Let what runs within come to its end: what is finished but for its words is not thrown away."""
    with _until(WITHOUT_END):
        yield


@contextmanager
def _until(deadline: Deadline) -> Iterator[None]:
    token = _deadline.set(deadline)
    try:
        yield
    finally:
        _deadline.reset(token)


def each_in_time(items: Iterable[Item]) -> Iterator[Item]:
    """Yield some items one by one, as long as there is time for the next."""
    for item in items:
        in_time()
        yield item
