"""One order with the fewest re-clamps, bend by bend and in words: what a claim that is refused has not excluded."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from planner.audit.asked import TURN
from planner.audit.patterns import Pattern
from planner.audit.shop import Arrival, End, Pair, Shop, other
from planner.audit.tables import Tables
from planner.tolerances import CHUCK_SLACK, SAME_CHUCK


class State(NamedTuple):
    """The arrival made last, and the angle at which the chuck stands [rad]."""

    at: Arrival
    chuck: float


def arrivals_after(shop: Shop, state: State | None) -> Iterator[tuple[int, State]]:
    """Yield every arrival that can follow in a job, rules and no-goods aside, with the re-clamps that it costs."""
    for cost, arrival, chuck in _closed_after(shop, state):
        yield cost, State(arrival, chuck)
        if shop.may_release and (arrival.ahead, arrival.bend) == (1, shop.n):
            yield cost + 1, State(arrival._replace(released=True), chuck)


def _closed_after(shop: Shop, state: State | None) -> Iterator[tuple[int, Arrival, float]]:
    n, ends = shop.n, ("A", "B")
    if state is None:
        for end in ends:
            leads: End = "A" if end == "A" else "B"
            for bend in range(1, n + 1):
                yield 0, Arrival("load", leads, bend, bend, bend, "load"), 0.0
        return
    at, bend = state.at, state.at.bend + 1
    if bend <= n:
        link = Arrival("link", at.leads, bend, at.ahead, at.since, at.begun)
        yield from ((0, *turned) for turned in _turned(shop, link, state.chuck))
        if shop.may_regrip:
            yield from ((1, *turned) for turned in _turned(shop, link._replace(since=bend, begun="re-grip"), 0.0))
        yield 1, Arrival("reload", at.leads, bend, at.ahead, bend, "load"), 0.0
    if at.ahead > 1:
        across = n + 2 - at.ahead
        yield 1, Arrival("turn", other(at.leads), across, n + 1 - at.bend, across, "load"), 0.0


def _turned(shop: Shop, link: Arrival, chuck: float) -> Iterator[tuple[Arrival, float]]:
    """Yield the link with each way round that the chuck's range allows."""
    roll = shop.at(link.leads, link.bend).roll
    if shop.chuck is None:
        yield link, 0.0
        return
    longer = () if abs(roll) <= CHUCK_SLACK else (roll - TURN if roll > 0.0 else roll + TURN,)
    for way, signed in enumerate((roll, *longer)):
        if shop.chuck[0] - CHUCK_SLACK <= chuck + signed <= shop.chuck[1] + CHUCK_SLACK:
            yield link._replace(way=way), chuck + signed


class Orders:
    """All orders with one pair of trims, looked up arrival by arrival."""

    def __init__(self, shop: Shop, trims: Pair, no_goods: Sequence[Pattern]) -> None:
        self.shop, self.tables = shop, Tables(shop, [trims], no_goods)
        self.arrivals = {
            (event, end, way, released): self.tables.arrivals(event, end, way, released)[0]
            for event in ("load", "turn", "reload", "link")
            for end in ("A", "B")
            for way in ((0, 1) if event == "link" else (0,))
            for released in (False, True)
        }
        self.serves = {(end, open_): self.tables.serves(end, open_)[0] for end in ("A", "B") for open_ in (False, True)}
        self.regrips = {end: self.tables.regrips(end)[0] for end in ("A", "B")}

    def allows(self, before: Arrival | None, at: Arrival) -> bool:
        """Say whether rules and no-goods allow an arrival after another one."""
        hold = 2 * at.since + (at.begun == "re-grip")
        if not self.arrivals[at.event, at.leads, at.way, at.released][at.ahead, at.bend]:
            return False
        if not self.serves[at.leads, at.released][hold, at.bend]:
            return False
        return not at.regripped or before is None or bool(self.regrips[at.leads][before.ahead, before.bend])

    def first(self) -> tuple[int, list[Arrival]] | None:
        """Return the fewest re-clamps and an order that has so many, None if there is no order."""
        start: tuple[int, State | None, object] = (0, None, None)
        waiting, seen = deque([start]), set[tuple[Arrival, int]]()
        while waiting:
            cost, state, trail = waiting.popleft()
            if state is not None:
                key = (state.at, round(state.chuck / SAME_CHUCK))
                if key in seen:
                    continue
                seen.add(key)
                trail = (state.at, trail)
                if (state.at.ahead, state.at.bend) == (1, self.shop.n):
                    return cost, _walked(trail)
            before = None if state is None else state.at
            for more, following in arrivals_after(self.shop, state):
                if self.allows(before, following.at):
                    self._put(waiting, (cost + more, following, trail))
        return None

    def _put(self, waiting: deque[tuple[int, State | None, object]], entry: tuple[int, State | None, object]) -> None:
        """Put an entry among those that wait, which stay in the order of their re-clamps."""
        place = len(waiting)
        while place and waiting[place - 1][0] > entry[0]:
            place -= 1
        waiting.insert(place, entry)


def _walked(trail: object) -> list[Arrival]:
    made = []
    while isinstance(trail, tuple):
        made.append(trail[0])
        trail = trail[1]
    return made[::-1]


def in_words(shop: Shop, order: list[Arrival]) -> str:
    """Return an order as a sentence part: bends as the drawing counts them, and what is done between them."""
    said = []
    for arrival in order:
        bend = f"bend {shop.number(arrival.leads, arrival.bend)}"
        if arrival.event == "link":
            bend = f"{'after a re-grip ' if arrival.regripped else ''}{bend}"
            bend += " the longer way round" if arrival.way else ""
        else:
            how = {"load": "loaded", "turn": "turned end for end", "reload": "reloaded"}[arrival.event]
            bend = f"{how} with end {arrival.leads} leading {bend}"
        said.append(bend + (" with the collet open" if arrival.released else ""))
    return ", ".join(said)
