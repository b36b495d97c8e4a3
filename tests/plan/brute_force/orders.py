"""Every order in which a part's bends can be made at all, with every way of going on from bend to bend."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from tests.plan.brute_force.tube import End

How = Literal["load", "turn", "reload", "link", "re-grip"]


@dataclass(frozen=True)
class Bend:
    """One bend of a job as counted from its leading end: ahead is the first of the run formed ahead of it, or itself."""

    leads: End
    bend: int
    ahead: int
    how: How
    released: bool = False


Job = tuple[Bend, ...]


def jobs(n: int, regrips: bool, released: bool) -> Iterator[Job]:
    """All jobs of n bends. The run of formed bends grows toward B with A leading, toward A with B leading."""
    for ends in itertools.product("AB", repeat=n):
        leads: list[End] = ["A" if end == "A" else "B" for end in ends]
        low = high = 1 + leads[1:].count("B")
        first = low if leads[0] == "A" else n + 1 - low
        made: list[tuple[End, int, int]] = [(leads[0], first, first)]
        ways: list[tuple[How, ...]] = [("load",)]
        for before, end in itertools.pairwise(leads):
            same: tuple[How, ...] = ("link", "re-grip", "reload") if regrips else ("link", "reload")
            ways.append(("turn",) if before != end else same)
            if end == "A":
                made.append((end, high + 1, low))
                high += 1
            else:
                made.append((end, n + 2 - low, n + 1 - high))
                low -= 1
        for hows in itertools.product(*ways):
            job = tuple(Bend(end, bend, ahead, how) for (end, bend, ahead), how in zip(made, hows, strict=True))
            yield job
            if released:
                yield (*job[:-1], replace(job[-1], released=True))


def goes_on(job: Job, i: int) -> bool:
    """Whether the bend after the i-th one is made in the same load."""
    return i + 1 < len(job) and job[i + 1].how in ("link", "re-grip")


def reclamps(job: Job) -> int:
    """Losses of reference: turns, reloads, re-grips, and a last bend with the collet open."""
    return sum(bend.how in ("turn", "reload", "re-grip") for bend in job) + sum(bend.released for bend in job)
