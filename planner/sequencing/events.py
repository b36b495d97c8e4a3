"""What a plan consists of, and what it may not: the language that shop rules, strikes and both engines share.

A bend is counted here from the end that leads while it is made (its number in the view); with end B leading bend 1 is
the one nearest end B. With a mandrel or a closed collet the formed bends are always a run of neighbours, and the next
bend is the neighbour behind that run: `ahead` is the number of the first formed bend of the run, so that the bends
ahead … bend − 1 are formed when `bend` is made; ahead = bend says that none is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import Enum
from typing import Literal, NamedTuple

from planner.facts import Fact
from planner.rules.broken import End, other
from planner.wording.say import say

Grade = Literal["proved", "unproved"]
Begun = Literal["load", "re-grip"]
Prefer = Literal["fewer re-clamps", "less trim"]


class Event(Enum):
    """How a bend is reached, or what happens at it.

    LOAD: the job's first bend. TURN, RELOAD: the first bend after the tube was put back end for end, or the same way
    round. LINK: made next after the neighbour ahead of it, in the same load. BEND: made, however it was reached.
    REGRIP: the collet takes a new hold at the end of the bend, and the next bend is linked to it.
    """

    LOAD = "load"
    TURN = "turn"
    RELOAD = "reload"
    LINK = "link"
    BEND = "bend"
    REGRIP = "re-grip"


class Hold(NamedTuple):
    """One hold of the collet: the first bend that it serves (in the view), and whether a load or a re-grip began it."""

    since: int
    begun: Begun


class Trims(NamedTuple):
    """Extra stock at the ends A and B [mm]."""

    a: float
    b: float

    @property
    def total(self) -> float:
        """Both together [mm]."""
        return self.a + self.b

    def at(self, end: End) -> float:
        """Return the trim at an end [mm]."""
        return self.a if end == "A" else self.b


@dataclass(frozen=True, slots=True)
class Arrival:
    """One bend of a sequence and how it was reached.

    event: LOAD, TURN, RELOAD or LINK; hold: the collet's hold that serves the bend (on a hand-fed bender too, where it
    means nothing but the load); way: 0 the shorter way round, 1 the longer (LINK only); released: the collet has placed
    the job's last bend and stands open while it is made; clamp: its length [mm], None where any that fits will do.
    """

    event: Event
    leads: End
    bend: int
    ahead: int
    hold: Hold
    way: int = 0
    released: bool = False
    clamp: float | None = None

    @property
    def regripped(self) -> bool:
        """Whether the collet took a new hold just before, at the end of the bend ahead."""
        return self.event is Event.LINK and self.hold == Hold(self.bend, "re-grip")


class Value(NamedTuple):
    """What a sequence costs: re-clamps; trim [mm]; handling time beside what every order takes [ms].

    unasked: how much of the trim is stock that nobody has stated [mm]; as little of it as possible comes before all.
    """

    reclamps: int
    trim: float
    time: int
    unasked: float = 0.0

    def key(self, prefer: Prefer) -> tuple[float, float, float, int]:
        """Return the value in the order in which it counts."""
        first, second = float(self.reclamps), self.trim
        if prefer == "less trim":
            first, second = second, first
        return (self.unasked, first, second, self.time)

    def beside_time(self) -> tuple[float, float, float]:
        """Return all but the time."""
        return (self.unasked, float(self.reclamps), self.trim)


@dataclass(frozen=True)
class Sequence:
    """A whole job: its trims, every bend in order, and what it costs."""

    trims: Trims
    arrivals: tuple[Arrival, ...]
    value: Value


Span = tuple[float, float]
ANY: Span = (-math.inf, math.inf)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Arrivals that match in everything that is given.

    ahead: least and greatest number of the first formed bend; trim_lead, trim_tail: trim at the leading end and at the
    other [mm], ends of the span included; hold, way, released: None where it does not matter. A BEND pattern matches
    however the bend was reached; a REGRIP pattern for bend k matches the arrival at bend k + 1 by a link with a hold
    begun there by a re-grip (`ahead`, `hold`, `way` and `clamp` then speak of bend k: `hold` is the hold that is given
    up). clamp, clamp_before: in the machine at the bend, and at the one made before it [mm]; an arrival that leaves its
    clamp open matches no pattern that names one.
    """

    event: Event
    leads: End
    bend: int
    ahead: tuple[int, int]
    trim_lead: Span = ANY
    trim_tail: Span = ANY
    hold: Hold | None = None
    way: int | None = None
    released: bool | None = None
    clamp: float | None = None
    clamp_before: float | None = None

    def fits_trims(self, trims: Trims) -> bool:
        """Say whether it speaks of a tube with these trims."""
        lead, tail = trims.at(self.leads), trims.at(other(self.leads))
        return self.trim_lead[0] <= lead <= self.trim_lead[1] and self.trim_tail[0] <= tail <= self.trim_tail[1]

    def matches(self, before: Arrival | None, arrival: Arrival, trims: Trims) -> bool:
        """Say whether an arrival (and the one before it) is what this pattern describes."""
        at = arrival
        if self.event is Event.REGRIP:
            if before is None or not arrival.regripped:
                return False
            at = before
        elif self.event is not Event.BEND and self.event is not arrival.event:
            return False
        return (
            at.leads == self.leads
            and at.bend == self.bend
            and self.ahead[0] <= at.ahead <= self.ahead[1]
            and (self.hold is None or at.hold == self.hold)
            and (self.way is None or at.way == self.way)
            and (self.released is None or at.released == self.released)
            and (self.clamp is None or at.clamp == self.clamp)
            and (self.clamp_before is None or (before is not None and before.clamp == self.clamp_before))
            and self.fits_trims(trims)
        )


def of_one_clamp(pattern: Pattern) -> bool:
    """Say whether a pattern speaks of one clamp only, at its bend or before it."""
    return pattern.clamp is not None or pattern.clamp_before is not None


@dataclass(frozen=True)
class NoGood:
    """What no plan may contain, and why.

    fact: of a rule, None of what was learned; grade: "proved" by a rule, a strike or a wall, "unproved" where it was
    too close to call or no path was found; rule: the short name of what it breaks.
    """

    pattern: Pattern
    rule: str
    fact: Fact | None = None
    grade: Grade = "proved"
    evidence: object = field(default=None, compare=False, repr=False)

    @property
    def sentence(self) -> str:
        """The fact in words [mm]; nothing where there is none."""
        return "" if self.fact is None else say(self.fact)
