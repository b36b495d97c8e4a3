"""The places of a sequence: each arrival with the one before and the one after."""

from __future__ import annotations

from dataclasses import dataclass, replace

from planner.sequencing.events import Arrival, Event, Sequence, Trims


@dataclass(frozen=True)
class Place:
    """One arrival in its sequence: the one before and the one after, None at either end, and the trims."""

    before: Arrival | None
    at: Arrival
    after: Arrival | None
    trims: Trims


def places(sequence: Sequence) -> list[Place]:
    """Return the arrivals of a sequence with their neighbours."""
    row = [None, *sequence.arrivals, None]
    return [Place(row[k - 1], arrival, row[k + 1], sequence.trims) for k, arrival in enumerate(row) if arrival]


def whichever(place: Place) -> Place:
    """Return a place with the clamps left open: whichever fits will do."""

    def left_open(arrival: Arrival | None) -> Arrival | None:
        return arrival if arrival is None or arrival.clamp is None else replace(arrival, clamp=None)

    at = left_open(place.at)
    assert at is not None  # a place has its arrival
    return Place(left_open(place.before), at, left_open(place.after), place.trims)


def is_last(place: Place) -> bool:
    """Say whether a place's bend is the last of its load."""
    return place.after is None or place.after.event is not Event.LINK
