"""Handling time beside the least: what the arrivals that were checked take more, and which way they turn the tube."""

from __future__ import annotations

import math

from planner.feasibility.bend_check import BendCheck
from planner.feasibility.checks import Checks
from planner.feasibility.places import Place, whichever
from planner.rules.chuck import both_ways
from planner.sequencing.events import Arrival, Event, Trims
from planner.sequencing.problem import milliseconds
from planner.tolerances import ANGLE_SLACK, CHUCK_SLACK

Key = tuple[Arrival | None, Arrival, Trims]
"""The arrival before, the arrival, and the trims."""


class Handling:
    """What is known of the time that arrivals take more than their least [ms], by all that it depends on."""

    def __init__(self, checks: Checks) -> None:
        self.checks = checks
        self.extras: dict[Key, int] = {}
        self.sure_extras: dict[Key, int] = {}
        self.directions: dict[Key, tuple[int, int]] = {}
        self._fits: dict[Key, frozenset[float]] = {}  # clamps with which it goes

    def extra(self, before: Arrival | None, arrival: Arrival, trims: Trims) -> int:
        """Return what an arrival is known to take more than its least [ms]."""
        return self.extras.get((before, arrival, trims), 0)

    def sure_extra(self, before: Arrival | None, arrival: Arrival, trims: Trims) -> int:
        """Return the part of `extra` that no other path and no easing could save [ms]: the carriage's runs."""
        return self.sure_extras.get((before, arrival, trims), 0)

    def measured(self, before: Arrival | None, arrival: Arrival, trims: Trims, unknown: int) -> int:
        """Return what an arrival that was checked takes more than its least [ms], `unknown` of one that was not.

        One with a clamp that is named counts as checked where it was with whichever fits, and that one does.
        """
        known = self.extras.get((before, arrival, trims))
        if known is not None or arrival.clamp is None:
            return unknown if known is None else known
        left_open = whichever(Place(before, arrival, None, trims))
        key = (left_open.before, left_open.at, trims)
        return self.extras[key] if arrival.clamp in self._fits.get(key, ()) else unknown

    def sense(self, before: Arrival | None, arrival: Arrival, trims: Trims) -> tuple[int, int, int]:
        """Return what the choice among equals looks at: direction of the rotation, back-feeding, tube ahead [mm]."""
        view = self.checks.leading(arrival.leads).view
        ahead = round(float(view.bend_starts[arrival.bend - 1]) + trims.at(arrival.leads))
        known = self.directions.get((before, arrival, trims))
        if known is None:
            rolls = both_ways(self.checks.problem.rolls[arrival.leads][arrival.bend - 1])
            known = (direction_of(rolls[arrival.way]) if arrival.event is Event.LINK else 0, 0)
        return (*known, ahead)

    def measure(self, place: Place) -> bool:
        """Note what an arrival that goes takes more than its least; say if that is news.

        How a bend is left depends on what comes next: it counts to the arrival after it, of the last bend to its own.
        """
        checks, at, times = self.checks, place.at, self.checks.problem.times
        here, speeds = checks.outcome(place), checks.case.machine.speeds
        seconds, sure = 0.0 if here.path is None else here.path.time, self._runs(place, here)
        if checks.moves_to(place):
            seconds -= (times.link if at.event is Event.LINK else times.load)[at.leads][at.bend - 1] / 1000.0
        left = [] if place.before is None else [(checks.made_before(place), at.event is not Event.LINK)]
        for attempt, taken_off in [*left, *([(here, True)] if place.after is None else [])]:
            seconds += attempt.eased / speeds.advance + 2.0 * checks.case.machine.times.clamp * (attempt.lowered > 0.0)
            sure += self._runs_back(attempt) if taken_off else 0.0
        key, more = (place.before, at, place.trims), max(milliseconds(seconds + sure), 0)
        if here.path is not None:
            back = sum(max(leg.start - leg.end, 0.0) for leg in here.path.legs if leg.kind == "advance")
            self.directions[key] = (direction_of(here.path.roll), round(back))
        self._fits[key] = frozenset(here.clamps[c] for c in here.fitting)
        changed = self.extras.get(key, 0) != more
        self.extras[key], self.sure_extras[key] = more, min(milliseconds(sure), more)
        return changed

    def _runs(self, place: Place, here: BendCheck) -> float:
        """Return how long the carriage runs to its hold at a load, and back where it is opened for a bend [s]."""
        checks = self.checks
        carriage, way = checks.case.machine.carriage, 0.0
        if carriage is None:
            return 0.0
        if checks.put_on(place) and here.standing_before.face is not None:
            way += abs(carriage.waits_at - here.standing_before.face)
        if place.at.released and here.station.face is not None:
            way += abs(carriage.waits_at - here.station.face)
        return way / checks.case.machine.speeds.advance

    def _runs_back(self, attempt: BendCheck) -> float:
        """Return how long the carriage runs back from its hold before the tube is taken off after a bend [s]."""
        machine, face = self.checks.case.machine, attempt.standing.face
        if machine.carriage is None or face is None:
            return 0.0
        by_hand = attempt.home is not None and attempt.home.by_hand
        return abs(machine.carriage.waits_at - face + (0.0 if by_hand else attempt.eased)) / machine.speeds.advance


def direction_of(roll: float) -> int:
    """Return 1 for clockwise, −1 for counter-clockwise, 0 for no rotation or half a turn, which may go either way."""
    if abs(roll) < CHUCK_SLACK or abs(abs(roll) - math.pi) < ANGLE_SLACK:
        return 0
    return 1 if roll > 0.0 else -1
