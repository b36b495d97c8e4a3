"""The no-goods of a proof document: that every arrival which a pattern speaks of is impossible.

A pattern leaves things open. Each of them is closed here by evaluation, never by what the document says of it:

- the first formed bend: the tube is built and every strike is looked at again for each number that the pattern allows;
- trim: everything is looked at with the least trims that the pattern allows, 0 where it allows any. More trim only
  adds tube, at an end, and leaves the rest where it stands: what strikes remains, and so does what it strikes, the
  tail. A longer leading part never needs less. A longer tail comes from farther off when it is put on, and goes farther
  until it is off: a place that is closed in is closed in for it too. Fewer clamps fit a shorter leading end: those are
  asked for with the most trim that the pattern allows;
- the clamp: each one that fits a bend must be blocked by itself. While the tube moves, a longer clamp begins where the
  shortest one does: what strikes that strikes them all;
- the hold: what the carriage carries counts only in a wall wherever the collet's face is. A collet that was opened
  stands back with all of that: where a last bend may be made so, such a wall says nothing of it. A pattern that speaks
  of such bends alone needs none: there the carriage stands where it waits;
- the way round: both, unless one is named on a chuck that does not turn for ever; then every rotation counts that the
  chuck can make from wherever it may stand;
- the re-grip: what strikes in one counts only for a pattern of re-grips.

The tube may be run forward before the arm goes home, and together with it; after any bend the collet may be opened and
the tube taken off: a strike on the arm's way home needs a wall over all advances. Where the next bend is linked to it
the tube stays in: so far the collet is closed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from planner.audit.bare import bare
from planner.audit.bench import Bench, State
from planner.audit.patterns import Pattern, in_words, read_pattern
from planner.audit.plane import Plane, Region
from planner.audit.refused import Refused
from planner.audit.shop import Shop, other
from planner.audit.strikes import Witness, deep_in_bend, read_witness
from planner.audit.walls import Counts, Moving, across, between, cells, held, home, must_strike
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.tolerances import CHUCK_SLACK, CLEAR_OF_NOSE

LITERALS: Final = ("event", "leads", "bend", "ahead", "trim_lead", "trim_tail", "hold", "way", "released")
PUT_BACK: Final = ("turn", "reload")
ALL_ROUND: Final = (-math.pi, math.pi)


def confirm_no_goods(
    document: Mapping[str, Any], part: Part, machine: Machine, shop: Shop
) -> tuple[list[dict[str, Any]], dict[str, int]]:
    """Confirm every no-good of a document; return their patterns, as it writes them, and how much was confirmed.

    Raises Refused on the first that does not hold, and names it.
    """
    bench, counts = Bench(part, machine, shop), Counts()
    confirmed: list[dict[str, Any]] = []
    known: set[Pattern] = set()
    for number, record in enumerate(document["no_goods"], start=1):
        pattern = read_pattern(record, shop.n)
        try:
            if pattern in known:
                raise Refused("it is there twice.")
            known.add(pattern)
            _NoGood(bench, pattern, record, counts).confirm()
        except Refused as refused:
            raise Refused(f"no-good {number}, {in_words(pattern)}: {refused}") from refused
        confirmed.append({key: record[key] for key in LITERALS})
    return confirmed, {"no-goods": len(confirmed), "witnesses": counts.witnesses, "cells": counts.cells}


@dataclass(frozen=True)
class _NoGood:
    """One no-good, with its pattern."""

    bench: Bench
    pattern: Pattern
    record: Mapping[str, Any]
    counts: Counts

    def confirm(self) -> None:
        """Confirm it in every state that it speaks of."""
        doing, event = self.record["doing"], self.pattern.event
        if self.pattern.hold is not None:
            raise Refused("it speaks of one hold; a strike speaks of none, or is walled for all.")
        fitting = {
            "bend": ("bend", "load", "turn", "reload", "link", "re-grip"),
            "home": ("link",),
            "move": ("link", "load"),
            "load": ("load", *PUT_BACK),
            "unload": ("bend", *PUT_BACK),
        }
        if event not in fitting.get(doing, ()):
            raise Refused(f'what is struck in "{doing}" does not forbid the event "{event}".')
        if doing in ("load", "unload") and self.bench.machine.mandrel is None:
            raise Refused("without a mandrel the tube is not put on from the front.")
        states = list(self._states())
        if doing == "home":  # after the bend before, with a tube that stays in
            states = [replace(state, bend=state.bend - 1) for state in states]
        if doing in ("bend", "home"):
            self._bends(states)
            return
        for state in states:
            self._moves(state)
        if not states:
            raise Refused("there is no such arrival.")

    def _states(self) -> Iterator[State]:
        """Yield the state at the start of the bend for every first formed bend that the pattern allows.

        A linked bend, and one after the tube was put back, has a formed one ahead of it; the job's first bend has none.
        """
        pattern = self.pattern
        lead, tail = (max(span[0], 0.0) for span in (pattern.trim_lead, pattern.trim_tail))
        for first in range(pattern.ahead[0], pattern.ahead[1] + 1):
            if first == pattern.bend and pattern.event in ("link", *PUT_BACK):
                continue
            if first != pattern.bend and pattern.event == "load":
                continue
            yield State(self.bench, pattern.leads, pattern.bend, first, lead, tail)

    def _clamps(self, state: State) -> tuple[float, ...]:
        """Return the clamps that may hold the tube in a state with any trim that the pattern allows, longest first."""
        most = min(self.pattern.span_at(state.leads)[1], self.bench.shop.allowed(state.leads))
        return self.bench.shop.clamps_for(state.leads, state.bend, state.first, max(most, state.trim_lead))

    # ------------------------------------------------------------------ the bend, from dies close to the arm's return

    def _bends(self, states: list[State]) -> None:
        entries = {float(entry["clamp"]): entry for entry in self.record["clamps"]}
        wanted = {state: self._clamps(state) for state in states}
        every = set().union(*wanted.values())
        if not every:
            raise Refused("no clamp fits there: it is a rule that forbids it, not a strike.")
        if set(entries) != every or len(entries) != len(self.record["clamps"]):
            raise Refused(
                f"it speaks of the clamps {sorted(entries)} mm; those that may be used are {sorted(every)} mm."
            )
        for state, lengths in wanted.items():
            for clamp in lengths:
                entry = entries[clamp]
                if ("strike" in entry) == ("wall" in entry):
                    raise Refused(f"with the clamp of {clamp:g} mm it shows neither, or both, of strike and wall.")
                if "strike" in entry:
                    self._strike(state, read_witness(entry["strike"]), clamp)
                else:
                    self._wall(state, entry["wall"], clamp)

    def _strike(self, state: State, witness: Witness, clamp: float) -> None:
        """Confirm a strike that needs no wall."""
        stands = None
        if self.bench.carried(witness.solid):
            carriage = self.bench.machine.carriage
            opened = self.pattern.released is True and self._may_be_released(state)
            if carriage is None or not opened or witness.phase not in ("bend", "dies open"):
                raise Refused(f"the carriage carries that, and no wall shows it wherever the collet holds: {witness}.")
            stands = carriage.waits_at
        if witness.phase == "return":
            raise Refused(f"the tube may be run forward, or drawn off, before the arm goes home: {witness}.")
        if witness.phase == "re-grip" and self.pattern.event != "re-grip":
            raise Refused(f"not all that it speaks of takes a new hold there: {witness}.")
        must_strike([witness], deep_in_bend(state, [witness], clamp, stands), self.counts)

    def _wall(self, state: State, wall: Mapping[str, Any], clamp: float) -> None:
        """Confirm a wall that a strike of the return or against what the carriage carries needs."""
        if wall["kind"] == "home":
            stays_in = self.record["doing"] == "home"
            farthest = self._farthest(state) if stays_in else math.inf
            home(state, wall, clamp, farthest, self.counts)
            return
        if self._may_be_released(state):
            raise Refused("the collet may stand open there, and back with all that the carriage carries.")
        held(state, wall, clamp, self.bench.shop.faces(state.leads, state.bend), self.counts)

    def _farthest(self, state: State) -> float:
        """Return how far a tube that stays in can be run forward before the arm is home [mm]."""
        head = self.bench.machine.head
        if not (head.may_ease_off or head.homes_with_tube):
            return 0.0
        return self.bench.shop.farthest(state.leads, state.here.end)

    def _may_be_released(self, state: State) -> bool:
        """Say whether the pattern speaks of the job's last bend made with the collet open."""
        last = state.bend == self.bench.shop.n and state.first == 1
        return self.bench.shop.may_release and last and self.pattern.released is not False

    # ------------------------------------------------------------------ from bend to bend, on and off

    def _moves(self, state: State) -> None:
        doing, event = self.record["doing"], self.pattern.event
        walls = self.record["walls"]
        if not walls:
            raise Refused("it shows no wall.")
        if event == "load":
            shortest = min(self._clamps(state), default=0.0)
            for wall in walls:
                if wall["kind"] != "bare":
                    raise Refused(f'a bare tube is not kept from its place by a wall "{wall["kind"]}".')
                bare(state, wall, shortest, float(self.record["met"]["trim_lead"]), self.counts)
        elif doing == "move":
            self._link(state, walls)
        else:
            self._passage(state if doing == "load" else self._unloaded(state), walls, loads=doing == "load")

    def _link(self, state: State, walls: list[Mapping[str, Any]]) -> None:
        """Confirm that walls part the end of the bend ahead from the start of this one, whichever way round.

        The advance goes up to where any hold on any trim allows; where the carriage cannot go back, to the goal.
        """
        shop, machine = self.bench.shop, self.bench.machine
        tube = replace(state, bend=state.bend - 1).after
        goal = state.here.start - tube.tangent_u
        farthest = shop.farthest(state.leads, tube.tangent_u)
        if machine.carriage is not None and not machine.carriage.may_go_back:
            farthest = min(farthest, goal)
        moving = Moving(state, tube, min(self._clamps(state), default=0.0), farthest, True)
        rolls = [across(moving, wall, self.counts) for wall in walls if wall["kind"] == "across"]
        if any(wall["kind"] not in ("across", "cells") for wall in walls):
            raise Refused("a move between bends is not walled off by walls of other kinds.")
        open_ = [way for way in self._ways(state) if not between(rolls, way)]
        for wall in walls:
            if wall["kind"] == "cells":
                open_ = [] if self._closed(moving, wall, goal, tuple(open_) or tuple(self._ways(state))) else open_
        if open_:
            shown = ", ".join(f"{math.degrees(way):.1f}°" for way in open_)
            raise Refused(f"the walls leave a way from the bend ahead to this one, rotated by {shown}.")

    def _ways(self, state: State) -> list[float]:
        """Return the signed rotations to the bend that the pattern leaves open [rad].

        A chuck that turns for ever goes either way, whatever is said. One that does not goes the way that is named, and
        only if it can stand within its range before and after.
        """
        roll, chuck = state.here.roll, self.bench.shop.chuck
        ways = [roll] if abs(roll) <= CHUCK_SLACK else [roll, roll - math.copysign(2.0 * math.pi, roll)]
        if chuck is None:
            return ways
        if self.pattern.way is not None:
            ways = ways[self.pattern.way : self.pattern.way + 1]
        return [way for way in ways if _rotations(chuck, way) is not None]

    def _closed(self, moving: Moving, wall: Mapping[str, Any], goal: float, ways: tuple[float, ...]) -> bool:
        """Confirm a wall of cells of a move; say whether it parts the start from the goal for some ways round [rad]."""
        y, chuck = (0.0, max(moving.farthest, goal)), self.bench.shop.chuck
        if chuck is None:
            goals = [Region((goal, goal), (way, way)) for way in ways]
            return cells(moving, wall, Plane(y, ALL_ROUND, True), goals, self.counts)
        closed = True
        for way in ways:
            rolls = _rotations(chuck, way)
            assert rolls is not None  # else it were no way
            closed &= cells(moving, wall, Plane(y, rolls, False), [Region((goal, goal), (way, way))], self.counts)
        return closed

    def _unloaded(self, state: State) -> State:
        """Return the state whose bend was made last before the tube was taken off.

        For a tube that was put back the arrival tells it: the bends formed then, first … bend − 1, are a run of
        neighbours, made from the leading end backwards, so that the last one made was the one nearest the carriage. Put
        back the same way round that is bend − 1; put back end for end it was counted from the other end, where bend k
        has the number n + 1 − k: the last made was n + 1 − first, the first formed n + 2 − bend. A pattern of the bend
        itself must speak of the last bend of all.
        """
        n = self.bench.shop.n
        if self.pattern.event == "bend":
            if (state.bend, state.first) != (n, 1):
                raise Refused("not every tube that it speaks of is taken off after the bend: others are to be made.")
            return state
        if self.pattern.event == "reload":
            return replace(state, bend=state.bend - 1)
        return State(
            self.bench, other(state.leads), n + 1 - state.first, n + 2 - state.bend, state.trim_tail, state.trim_lead
        )

    def _passage(self, state: State, walls: list[Mapping[str, Any]], loads: bool) -> None:
        """Confirm that walls of cells part a tube's place in the machine from free hands in front of it."""
        mandrel = self.bench.machine.mandrel
        assert mandrel is not None  # asked before
        tube = state.laid_in if loads else state.after
        far = tube.stock - tube.tangent_u + state.reach + CLEAR_OF_NOSE
        moving = Moving(state, tube, min(self._clamps(state), default=0.0), far, not loads)
        plane, free_hands = Plane((0.0, far), ALL_ROUND, True), Region((far, far), ALL_ROUND)
        if any(wall["kind"] != "cells" for wall in walls):
            raise Refused("a formed tube is not kept from its place, or in it, by walls of other kinds than cells.")
        parted = [cells(moving, wall, plane, [free_hands], self.counts) for wall in walls]
        if not any(parted):
            raise Refused("the cells leave a way between the tube's place and free hands.")


def _rotations(chuck: tuple[float, float], roll: float) -> tuple[float, float] | None:
    """Return the rotations from the start of a move that a chuck can make on the way to `roll` [rad], None if none.

    It stands at c within its range, and c + roll is within it too; then it can make any φ with c + φ within it.
    """
    first, last = max(chuck[0], chuck[0] - roll), min(chuck[1], chuck[1] - roll)
    return None if first > last + 2.0 * CHUCK_SLACK else (chuck[0] - last, chuck[1] - first)
