"""No-goods laid out by run of formed bends, for one pair of trims, so that a step is looked up, not searched for.

Runs count from end A: entry [i, j] of a table speaks of the arrival that makes the formed bends i … j, at bend j with
end A leading and at bend i with end B leading.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from planner.rules.broken import End
from planner.sequencing.events import Arrival, Event, Hold, NoGood, Pattern, Trims

Flags = NDArray[np.bool_]
ENDS: tuple[End, End] = ("A", "B")
ARRIVING = (Event.LOAD, Event.TURN, Event.RELOAD, Event.LINK)


class Forbidden:
    """What the no-goods forbid with one pair of trims.

    whole[event, end] (n + 2, n + 2): arrivals forbidden whatever the hold, way round, collet and clamps; the others
    stand in `narrow`, by event, end and bend (in the view).
    """

    def __init__(self, n: int, nogoods: Iterable[NoGood], trims: Trims) -> None:
        self.n, self.trims = n, trims
        self.whole: dict[tuple[Event, End], Flags] = {
            (event, end): np.zeros((n + 2, n + 2), dtype=bool) for event in Event for end in ENDS
        }
        self.narrow: dict[tuple[Event, End, int], list[Pattern]] = {}
        for nogood in nogoods:
            pattern = nogood.pattern
            if not pattern.fits_trims(trims):
                continue
            told = (pattern.hold, pattern.way, pattern.released, pattern.clamp, pattern.clamp_before)
            if told == (None,) * len(told):
                self._mark(pattern)
            else:
                self.narrow.setdefault((pattern.event, pattern.leads, pattern.bend), []).append(pattern)
        for end in ENDS:
            for event in ARRIVING:
                self.whole[event, end] |= self.whole[Event.BEND, end]

    def _mark(self, pattern: Pattern) -> None:
        n, (low, high) = self.n, pattern.ahead
        table = self.whole[pattern.event, pattern.leads]
        if pattern.leads == "A":
            table[max(low, 1) : high + 1, pattern.bend] = True
        else:
            table[n + 1 - pattern.bend, max(n + 1 - high, 1) : n + 2 - low] = True

    def run(self, end: End, bend: int, ahead: int) -> tuple[int, int]:
        """Return the run that a bend with its first formed bend ahead makes, from end A."""
        return (ahead, bend) if end == "A" else (self.n + 1 - bend, self.n + 1 - ahead)

    def forbids(self, before: Arrival | None, arrival: Arrival) -> bool:
        """Say whether a no-good keeps an arrival from following another one."""
        end, bend = arrival.leads, arrival.bend
        run = self.run(end, bend, arrival.ahead)
        if self.whole[arrival.event, end][run]:
            return True
        if arrival.regripped and before is not None:
            given_up = self.run(end, before.bend, before.ahead)
            if self.whole[Event.REGRIP, end][given_up] or self._narrow(Event.REGRIP, before.bend, before, arrival):
                return True
        return self._narrow(arrival.event, bend, before, arrival) or self._narrow(Event.BEND, bend, before, arrival)

    def _narrow(self, event: Event, bend: int, before: Arrival | None, arrival: Arrival) -> bool:
        patterns = self.narrow.get((event, arrival.leads, bend))
        return patterns is not None and any(pattern.matches(before, arrival, self.trims) for pattern in patterns)

    def reach(self, end: End, hold: Hold) -> int:
        """Return the last bend that a hold can serve whatever is formed, with the collet closed."""
        for bend in range(hold.since, self.n + 1):
            for pattern in self.narrow.get((Event.BEND, end, bend), ()):
                whole_span = pattern.ahead[0] <= 1 and pattern.ahead[1] >= bend
                bound_to = pattern.way is not None or pattern.clamp is not None or pattern.clamp_before is not None
                if pattern.hold == hold and whole_span and pattern.released is not True and not bound_to:
                    return bend - 1
        return self.n
