"""From what blocked a bend to the strongest no-good that the witnesses prove.

Only the bends between the tangent point and a witness matter: the tube nearer the die than the witness is the same
whatever is formed beyond it. So a strike holds for every run of formed bends that is the same up to there. A witness in
the trim, against the tail or against something that the carriage carries holds for that trim or that hold only. With
several clamps each must be blocked; what holds for all of them is the no-good. Where an arrival names its clamp
and others fit too, the no-good names it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from planner.clearance.verdicts import Answer, Witness
from planner.cuts.found_walls import FoundWalls, stays_in
from planner.cuts.home_walls import corners_of
from planner.cuts.re_evaluate import all_again
from planner.cuts.walls import Wall, strikes_of
from planner.feasibility.bend_check import BendCheck, Blocked
from planner.feasibility.checks import Checks
from planner.feasibility.home_ways import GRIDS, Corners
from planner.feasibility.loading import Passage
from planner.feasibility.out_of_the_way import goes_down
from planner.feasibility.places import Place
from planner.inputs.part import Part
from planner.rules.broken import other
from planner.sequencing.events import ANY, Event, Grade, NoGood, Pattern, Span
from planner.tolerances import SAME_PLACE
from planner.tube.bodies import Phase, Role

TAIL_SOLIDS = ("its own tail", "its own tail's end")


@dataclass(frozen=True)
class Struck:
    """The evidence of a learned no-good: where it was met, what blocked each clamp, and the walls that prove it."""

    place: Place
    attempt: BendCheck
    blocked: tuple[Blocked, ...]
    walls: tuple[Wall, ...] = ()


class StrikeCuts:
    """Turns what blocks bends, moves and passages into no-goods, as strong as the walls that are found allow."""

    def __init__(self, checks: Checks) -> None:
        self.checks, self.found = checks, FoundWalls(checks)

    def of_bend(self, place: Place, attempt: BendCheck) -> NoGood | None:
        """Return the no-good of an attempt that cannot be carried out, None if a way home was found after all.

        A strike in the bend proves it. Where another path, another way home or another hold could help, only a wall
        does. Where none is found between the arm and its home, and it is to be looked harder, a way through the plane
        of arm and advance is sought, and a wall about a corner of it.
        """
        place = self.checks.spoken_of(place, attempt)
        struck = {entry.finding.answer for entry in attempt.blocked} == {Answer.STRUCK}
        walls = self._walls(place, attempt) if struck else None
        way_home_lacks = bool(attempt.fitting) and not attempt.returning
        for grid in GRIDS if self.checks.batches.harder and way_home_lacks and walls is None else ():
            found = self.checks.through(place, attempt, grid)
            if self.checks.comes_home(attempt, found.ways):
                return None
            first = corners_of(attempt) if grid == GRIDS[0] else ()
            walls = self._walls(place, attempt, (*found.shut_at, *first)) if struck else None
            if walls is not None:
                break
        if not struck:
            rule = "no path found" if attempt.blocked[0].doing == "no path" else "too close to call"
            return _unproved(place, attempt, rule)
        return _unproved(place, attempt, "strike") if walls is None else self._proved(place, attempt, walls)

    def of_passage(self, place: Place, passage: Passage) -> NoGood:
        """Return the no-good of a load or unload that no path was found for: proved where blocked cells part its ends.

        It speaks of exactly this run. Proved, it holds for every hold and for trims that leave what strikes as it is:
        the wall lies about the place in the machine, so that a longer tail only comes from farther off. Unproved, it
        holds for these trims and, at a load, this hold.
        """
        place = self.checks.spoken_of(place, passage.attempt)
        at, trims = place.at, place.trims
        # Where the carriage could run there with another hold, or from another place, nothing is proved.
        runs = passage.blocked[0].doing == "carriage run"
        walls = None if runs else self.found.of_passage(place, passage)
        if passage.way == "load" and self.checks.flush(place) and not _laid_in_too(passage.attempt, passage.blocked):
            walls = None
        attempt = passage.attempt.stopped(passage.blocked)
        event, leads, bend, ahead = at.event, at.leads, at.bend, at.ahead
        if passage.way == "unload" and place.after is not None:
            event, leads, bend, ahead = place.after.event, place.after.leads, place.after.bend, place.after.ahead
        elif passage.way == "unload":
            event = Event.BEND
        spans = {at.leads: (trims.at(at.leads),) * 2, other(at.leads): (trims.at(other(at.leads)),) * 2}
        if walls is not None:
            witnesses = [witness for wall in walls for witness in wall.witnesses]
            spans = {
                at.leads: _lead_span(self.checks, place, witnesses),
                other(at.leads): (trims.at(other(at.leads)), math.inf),
            }
        hold = at.hold if walls is None and passage.way == "load" else None
        pattern = Pattern(event, leads, bend, (ahead, ahead), spans[leads], spans[other(leads)], hold)
        pattern = _with_clamp(pattern, at.clamp, before=(leads, bend) != (at.leads, at.bend))
        rule, grade = _grade(walls)
        return NoGood(pattern, rule, None, grade, Struck(place, attempt, passage.blocked, walls or ()))

    def again(self, nogood: NoGood) -> NoGood | None:
        """Return what a no-good learned on a part or machine a little different teaches here; None if nothing.

        Its witnesses are evaluated again here; what does not strike here is forgotten.
        """
        evidence = nogood.evidence
        if (
            nogood.grade != "proved"
            or not isinstance(evidence, Struck)
            or evidence.blocked[0].doing not in ("bend", "return")
        ):
            return None
        place = evidence.place
        if place.at.bend > self.checks.problem.n or place.trims not in self.checks.problem.trims:
            return None
        bend = self.checks.attempt(place)
        blocked = all_again(bend, self.checks.around(bend.station), evidence.attempt)
        if not blocked:
            return None
        attempt = bend.checked(blocked=blocked)
        walls = self._walls(place, attempt, _corners_of(evidence.walls))
        return None if walls is None else self._proved(place, attempt, walls)

    def _walls(self, place: Place, attempt: BendCheck, corners: Corners | None = None) -> tuple[Wall, ...] | None:
        """Return the walls without which the strikes prove nothing; None where one is needed and not found.

        None is needed where the tube strikes in the bend something that the carriage does not carry. corners: look for
        those about a corner of the plane of arm and advance too, at these angles first.
        """
        carried = self.checks.carried
        if attempt.blocked[0].doing == "move":
            if place.at.event is Event.LOAD:
                # Only what the carriage carries asks for the hold.
                bare = [entry.finding.witness for entry in attempt.blocked]
                elsewhere = carried | goes_down(self.checks.case.machine)
                if any(witness is not None and witness.solid in elsewhere for witness in bare):
                    return None
                if not _laid_in_too(attempt, attempt.blocked):
                    return None
                return (Wall("bare", tuple(strikes_of(attempt.blocked, attempt))),)
            return self.found.across(place, attempt)
        walls: list[Wall | None] = []
        for clamp, entry in enumerate(attempt.blocked):
            held = entry.finding.witness is not None and entry.finding.witness.solid in carried
            if entry.doing == "return":
                walls.append(self.found.against_home(place, attempt, clamp, corners))
            if entry.doing == "bend" and held and not place.at.released:
                walls.append(self.found.wherever_held(place, attempt, clamp))
        if any(wall is None for wall in walls):
            return None
        return tuple(wall for wall in walls if wall is not None)

    def _proved(self, place: Place, attempt: BendCheck, walls: tuple[Wall, ...]) -> NoGood:
        """Return the strongest no-good that the witnesses prove."""
        at, view = place.at, self.checks.leading(place.at.leads).view
        witnesses = [entry.finding.witness for entry in attempt.blocked if entry.finding.witness is not None]
        witnesses += [witness for wall in walls for witness in wall.witnesses]
        event, way, bend = Event.BEND, None, at.bend
        low, high = _common([ahead_span(view, at.ahead, at.bend, witness) for witness in witnesses])
        if at.ahead < at.bend <= high:
            high = at.bend - 1  # with nothing formed ahead other clamps may fit
        if attempt.blocked[0].doing == "move":
            event = at.event
            way = at.way if self.checks.problem.chuck is not None and event is Event.LINK else None
        elif stays_in(place, attempt):
            event, bend = Event.LINK, at.bend + 1
        for ahead in {low, high} - {at.ahead}:
            if not self._holds_for(replace(place, at=replace(at, ahead=ahead)), attempt, walls):
                low = high = at.ahead
                break
        lead, tail = _lead_span(self.checks, place, witnesses), _tail_span(place, witnesses)
        # A collet that is opened for the last bend stands back, and all that the carriage carries with it.
        released = place.at.released if any(witness.solid in self.checks.carried for witness in witnesses) else None
        released = None if event is Event.LINK else released
        pattern = Pattern(event, at.leads, bend, (low, high), lead, tail, None, way, released)
        pattern = _with_clamp(pattern, at.clamp, before=bend != at.bend)
        return NoGood(pattern, "strike", None, "proved", Struck(place, attempt, attempt.blocked, walls))

    def _holds_for(self, place: Place, met: BendCheck, walls: tuple[Wall, ...]) -> bool:
        """Say whether the strikes, and the walls where they need any, stand at one end of a span of runs too.

        Between the ends of a span the tube from the die to the witnesses is the same.
        """
        bend = self.checks.attempt(place)
        if met.blocked[0].doing == "move":
            return self.found.across(place, bend) is not None
        blocked = all_again(bend, self.checks.around(bend.station), met)
        if blocked is None:
            return False
        attempt = bend.checked(blocked=blocked)
        return not walls or self._walls(place, attempt, _corners_of(walls)) is not None


def _laid_in_too(attempt: BendCheck, blocked: Iterable[Blocked]) -> bool:
    """Say whether a bare tube strikes there too if it is laid in at its bend instead of pushed in flush.

    Pushed in flush it reaches farther back: what it strikes there says nothing of one that is laid in.
    """
    standing = attempt.standing_before
    farthest_back = attempt.station.advance - standing.tail_length
    for entry in blocked:
        witness, (first, last) = entry.finding.witness, entry.motion.y
        if (
            witness is not None
            and standing.tangent_u + first + witness.t * (last - first) - witness.place < farthest_back
        ):
            return False
    return True


def _grade(walls: tuple[Wall, ...] | None) -> tuple[str, Grade]:
    return ("no path found", "unproved") if walls is None else ("strike", "proved")


def _unproved(place: Place, attempt: BendCheck, rule: str) -> NoGood:
    """Return the no-good for exactly this place: what is not proved is not said of others.

    Once the collet has taken a new hold, that may be why: nothing is said of the bend without it.
    """
    at = place.at
    lead, tail = place.trims.at(at.leads), place.trims.at(other(at.leads))
    if stays_in(place, attempt) and place.after is not None:
        after, spans = place.after, ((lead, lead), (tail, tail))
        pattern = Pattern(Event.LINK, at.leads, after.bend, (at.ahead, at.ahead), *spans, after.hold)
        pattern = _with_clamp(pattern, at.clamp, before=True)
        return NoGood(pattern, rule, None, "unproved", Struck(place, attempt, attempt.blocked))
    moving = attempt.blocked[0].doing in ("move", "no path")
    before_regrip = {entry.motion.phase for entry in attempt.blocked} <= {Phase.CLOSE, Phase.BEND}
    regripped = attempt.station.regrip is not None and not before_regrip
    pattern = Pattern(
        at.event if moving else Event.REGRIP if regripped else Event.BEND,
        at.leads,
        at.bend,
        (at.ahead, at.ahead),
        (lead, lead),
        (tail, tail),
        at.hold,
        at.way if at.event is Event.LINK and moving else None,
        at.released,
    )
    pattern = _with_clamp(pattern, at.clamp)
    if moving and at.clamp is not None and place.before is not None and at.event is Event.LINK:
        pattern = _with_clamp(pattern, place.before.clamp, before=True)  # from where the tube starts hangs on that one
    return NoGood(pattern, rule, None, "unproved", Struck(place, attempt, attempt.blocked))


def _with_clamp(pattern: Pattern, clamp: float | None, before: bool = False) -> Pattern:
    """Return a pattern with a clamp named; before: it speaks of the arrival after the one with that clamp."""
    return replace(pattern, clamp_before=clamp) if before else replace(pattern, clamp=clamp)


def _corners_of(walls: Iterable[Wall]) -> Corners:
    """Return where walls that were found keep the arm from home."""
    return tuple((wall.clamp, wall.arm) for wall in walls if wall.kind == "home")


def ahead_span(view: Part, first: int, bend: int, witness: Witness) -> tuple[int, int]:
    """Return for which numbers of the first formed bend a witness holds that was met with `first` … bend − 1 formed.

    All bends between the tangent point and the witness formed: for any first bend up to the nearest one to the witness.
    """
    beyond = np.flatnonzero(view.bend_ends > witness.place - SAME_PLACE)
    nearest = min(int(beyond[0]) + 1, bend) if beyond.size else bend
    return (1, nearest) if nearest >= first else (first, first)


def _common(spans: list[tuple[int, int]]) -> tuple[int, int]:
    return (max(low for low, _ in spans), min(high for _, high in spans))


def _lead_span(checks: Checks, place: Place, witnesses: list[Witness]) -> Span:
    """Return the trims at the leading end for which it holds: a longer one keeps the material that strikes [mm]."""
    sags = checks.case.machine.clearance.per_metre > 0.0
    in_trim = any(witness.place < 0.0 for witness in witnesses)
    return (place.trims.at(place.at.leads), math.inf) if sags or in_trim else ANY


def _tail_span(place: Place, witnesses: list[Witness]) -> Span:
    """Return the trims at the tail for which it holds: a longer tail keeps what strikes or is struck [mm]."""
    tail = any(witness.solid in TAIL_SOLIDS or witness.role is Role.TAIL for witness in witnesses)
    return (place.trims.at(other(place.at.leads)), math.inf) if tail else ANY
