"""Whose turn it is: jobs that wait for a worker, fairly among clients and parts, and how long they will wait.

A client is whoever asks: a browser's session, or the address of a computer that programs ask from. Nobody fills the
queue alone, for a client may wait with no more jobs than there are places left; and neither a client nor a part (a
job's key) has all workers, so that somebody new is always served at once.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Hashable, Iterable, Sequence
from math import ceil
from typing import Final, Generic, Protocol, TypeVar

from planner.errors import BendorderError

RECENT: Final = 32
"""How long a job takes is told from so many that were done last."""

AT_FIRST: Final = 1.0
"""How long a job is taken to last while none was done [s]."""


class TooBusy(BendorderError):
    """There is no room for another job; waiting: how many wait; seconds: after which to try again."""

    def __init__(self, waiting: int, seconds: float) -> None:
        self.waiting, self.seconds = waiting, ceil(seconds)
        super().__init__(f"{waiting} jobs are waiting already: try again in {self.seconds} s")


class TooMany(TooBusy):
    """A client has as many jobs waiting as it may; the others still have room."""

    def __init__(self, waiting: int, seconds: float) -> None:
        super().__init__(waiting, seconds)
        self.args = (f"{waiting} of your jobs are waiting already: try again in {self.seconds} s",)


class Waits(Protocol):
    """What is known of a job: key: what it is about; client: who asks; None: a job of its own."""

    @property
    def key(self) -> Hashable | None: ...  # noqa: D102 - the class says it

    @property
    def client(self) -> Hashable | None: ...  # noqa: D102


Waiting = TypeVar("Waiting", bound=Waits)


class Turns(Generic[Waiting]):
    """The queue of some workers; places: so many jobs may wait."""

    def __init__(self, workers: int, places: int) -> None:
        self._workers, self._places = workers, places
        self.waiting: list[Waiting] = []
        self._lasted: deque[float] = deque(maxlen=RECENT)
        self._served: dict[Hashable, int] = {}
        self._turn = 0

    def add(self, job: Waiting) -> None:
        """Take in a job as the last one; raises TooBusy if there is no place for it."""
        free = self._places - len(self.waiting)
        if free <= 0:
            raise TooBusy(len(self.waiting), self._seconds(1))
        own = sum(other.client == job.client for other in self.waiting)
        if job.client is not None and own >= free:
            raise TooMany(own, self._seconds(1))
        self.waiting.append(job)

    def put_back(self, job: Waiting) -> None:
        """Let a job be the first again."""
        self.waiting.insert(0, job)

    def next(self, under_way: Sequence[Waiting]) -> Waiting | None:
        """Return the waiting job to begin, None if there is none or each is of somebody who has all that he may.

        Of the client with the fewest under way (of several the one whose turn was longest ago) and of his parts the one
        with the fewest the oldest job.
        """
        most = max(self._workers - 1, 1)
        clients, keys = _counted(job.client for job in under_way), _counted(job.key for job in under_way)
        may = [job for job in self.waiting if clients[job.client] < most and keys[job.key] < most]
        return min(may, key=lambda job: (clients[job.client], self._last_turn(job), keys[job.key]), default=None)

    def begin(self, job: Waiting) -> None:
        """Take a job out of the queue: it is begun."""
        self.waiting.remove(job)
        self._turn += 1
        if job.client is not None:
            self._served.pop(job.client, None)
            self._served[job.client] = self._turn
        while len(self._served) > self._places + self._workers:  # nobody older waits or is under way
            del self._served[next(iter(self._served))]

    def done(self, seconds: float) -> None:
        """Take note of how long a job took [s]."""
        self._lasted.append(seconds)

    def wait(self, ahead: int) -> float:
        """Return how long a job will wait about that so many others come before [s], those under way included."""
        return self._seconds(max(ahead - self._workers + 1, 0))

    def _seconds(self, jobs: int) -> float:
        """Return how long the workers take for so many jobs [s]."""
        mean = sum(self._lasted) / len(self._lasted) if self._lasted else AT_FIRST
        return jobs * mean / self._workers

    def _last_turn(self, job: Waiting) -> int:
        return 0 if job.client is None else self._served.get(job.client, 0)


def _counted(names: Iterable[Hashable | None]) -> Counter[Hashable | None]:
    """Count names; those without one have nothing in common."""
    return Counter(name for name in names if name is not None)
