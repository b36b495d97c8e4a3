"""Patterns of arrivals as the proof document writes them: read strictly, matched against arrivals."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from planner.audit.refused import Refused
from planner.audit.shop import Arrival, End, Pair, other

EVENTS = ("load", "turn", "reload", "link", "bend", "re-grip")
LOADED = ("load", "turn", "reload")
ANY: Pair = (-math.inf, math.inf)


@dataclass(frozen=True)
class Pattern:
    """Arrivals that agree in everything that is given; None where it does not matter.

    event: how the bend is reached, "bend" for any way, "re-grip" for the bend at whose end the collet takes a new hold
    (ahead, hold and way then speak of that bend, and of the hold that is given up); bend, ahead (least, greatest first
    formed bend): counted from the end that leads; trim_lead, trim_tail: spans of trim [mm], their ends included.
    """

    event: str
    leads: End
    bend: int
    ahead: tuple[int, int]
    trim_lead: Pair
    trim_tail: Pair
    hold: tuple[int, str] | None
    way: int | None
    released: bool | None

    def span_at(self, end: End) -> Pair:
        """Return the span of trim at end A or B [mm]."""
        return self.trim_lead if end == self.leads else self.trim_tail

    def matches(self, arrival: Arrival, before: Arrival | None, trims: Pair) -> bool:
        """Say whether it speaks of an arrival, given the one before it, with trims at A and B [mm]."""
        at = arrival
        if self.event == "re-grip":
            if before is None or not arrival.regripped:
                return False
            at = before
        elif self.event not in ("bend", arrival.event):
            return False
        return (
            (at.leads, at.bend) == (self.leads, self.bend)
            and self.ahead[0] <= at.ahead <= self.ahead[1]
            and self.hold in (None, (at.since, at.begun))
            and self.way in (None, at.way)
            and self.released in (None, at.released)
            and self.span_at("A")[0] <= trims[0] <= self.span_at("A")[1]
            and self.span_at("B")[0] <= trims[1] <= self.span_at("B")[1]
        )


def read_pattern(record: Mapping[str, Any], n: int) -> Pattern:
    """Return the pattern that a record of the document holds; n: number of bends. Refuses what is none."""
    event, leads, bend, ahead = record["event"], record["leads"], record["bend"], record["ahead"]
    hold, way, released = record["hold"], record["way"], record["released"]
    if event not in EVENTS or leads not in ("A", "B"):
        raise Refused(f'a pattern speaks of the event "{event}" with end "{leads}" leading: there is no such thing.')
    if not _counted(bend, 1, n):
        raise Refused(f"a pattern speaks of bend {bend}: there are {n}.")
    if len(ahead) != 2 or not all(_counted(place, 1, bend) for place in ahead) or ahead[0] > ahead[1]:
        raise Refused(f"a pattern of bend {bend} speaks of {ahead} as the first formed bend: it lies in 1 to {bend}.")
    if not (way is None or _counted(way, 0, 1)) or not (released is None or isinstance(released, bool)):
        raise Refused(f"a pattern speaks of the way round {way}, released {released}: there is no such thing.")
    held = None
    if hold is not None:
        held = (hold["since"], hold["begun"])
        if not _counted(held[0], 1, bend) or held[1] not in ("load", "re-grip") or held == (1, "re-grip"):
            raise Refused(f"a pattern of bend {bend} speaks of the hold {held}: there is no such hold.")
    spans = (_span(record["trim_lead"]), _span(record["trim_tail"]))
    return Pattern(event, leads, bend, (ahead[0], ahead[1]), *spans, held, way, released)


def _counted(value: object, least: int, most: int) -> bool:
    """Say whether a value is a whole number in a range; True and False are none."""
    return isinstance(value, int) and not isinstance(value, bool) and least <= value <= most


def _span(span: Any) -> Pair:
    """Return a span of trim [mm], infinite where it is left open."""
    if span is None:
        return ANY
    low, high = span
    found = (-math.inf if low is None else float(low), math.inf if high is None else float(high))
    if not found[0] <= found[1]:  # NaN too
        raise Refused(f"a pattern speaks of trims from {found[0]:g} to {found[1]:g} mm: there are none.")
    return found


def in_words(pattern: Pattern) -> str:
    """Return what a pattern speaks of, for a refusal."""
    first, last = pattern.ahead
    formed = f"first formed {first}" if first == last else f"first formed {first} to {last}"
    said = f'"{pattern.event}" of bend {pattern.bend} counted from end {pattern.leads}, which leads, {formed}'
    for end in (pattern.leads, other(pattern.leads)):
        span = pattern.span_at(end)
        if span != ANY:
            said += f", trim at end {end} {span[0]:g} to {span[1]:g} mm"
    if pattern.hold is not None:
        said += f", the hold begun at bend {pattern.hold[0]} by a {pattern.hold[1]}"
    if pattern.way is not None:
        said += f", the {('shorter', 'longer')[pattern.way]} way round"
    if pattern.released is not None:
        said += f", the collet {'open' if pattern.released else 'closed'}"
    return said
