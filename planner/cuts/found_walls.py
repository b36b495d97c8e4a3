"""Walls, each looked for once: what it depends on is less than what a check depends on, most often not the hold."""

from __future__ import annotations

from planner.cuts.home_walls import against_home, cornered
from planner.cuts.walls import Wall, across_move, parted, passage_wall, wherever_held
from planner.feasibility.bend_check import BendCheck, Bending
from planner.feasibility.checks import Checks, Key
from planner.feasibility.home_ways import Corners
from planner.feasibility.loading import Passage
from planner.feasibility.places import Place
from planner.sequencing.events import Event


class FoundWalls:
    """The walls that were looked for after some checks, None where none was found."""

    def __init__(self, checks: Checks) -> None:
        self.checks = checks
        self._passing: dict[Key, tuple[Wall, ...] | None] = {}
        self._across: dict[Key, tuple[Wall, ...] | None] = {}
        self._held: dict[Key, Wall | None] = {}
        self._home: dict[Key, Wall | None] = {}

    def of_passage(self, place: Place, passage: Passage) -> tuple[Wall, ...] | None:
        """Return a wall that keeps a formed tube from its place, or in it, whatever the hold; None if none was found.

        It is looked for once for each run: what the carriage carries has no part in it.
        """
        at, checks = place.at, self.checks
        key = (passage.way, at.leads, at.bend, at.ahead, at.clamp, place.trims, checks.flush(place))
        if key not in self._passing or not passage.standing.leading.curvature.any():
            self._passing[key] = passage_wall(passage, checks.batches, checks.carried)
        return self._passing[key]

    def across(self, place: Place, attempt: Bending) -> tuple[Wall, ...] | None:
        """Return a wall between the start of a move and its goal, at one angle or of cells; None where none was found.

        What the carriage carries has no part in it, so that it is looked for once whatever the hold.
        """
        at, checks = place.at, self.checks
        if attempt.station.radius != attempt.standing_before.bend_radius:
            return None  # where on the way the dies are changed is not settled: another place for it may help
        key = (at.event, at.leads, at.bend, at.ahead, at.way, at.released, at.clamp, place.trims)
        if key not in self._across:
            around = checks.around(attempt.station)
            farthest = checks.farthest_forward(place, attempt.standing_before.tangent_u)
            found = across_move(attempt, around, farthest) or parted(attempt, around, farthest, checks.carried)
            self._across[key] = found
        return self._across[key]

    def wherever_held(self, place: Place, attempt: BendCheck, clamp: int) -> Wall | None:
        """Return a wall of a bend over every place of the collet, None if none was found; looked for once a run."""
        at, faces = place.at, self.checks.faces(place)
        key = (at.leads, at.bend, at.ahead, place.trims, faces, attempt.clamps, clamp)
        if key not in self._held:
            self._held[key] = wherever_held(attempt, self.checks.around(attempt.station), clamp, faces)
        return self._held[key]

    def against_home(self, place: Place, attempt: BendCheck, clamp: int, corners: Corners | None) -> Wall | None:
        """Return a wall against the arm's way home with one clamp, None where none was found.

        Neither hold nor trim at the tail has a part in it: it is looked for once for each run.
        """
        at, stays, checks = place.at, stays_in(place, attempt), self.checks
        key = (at.leads, at.bend, at.ahead, place.trims.at(at.leads), stays, attempt.clamps, clamp)
        around, head = checks.around(attempt.station), checks.case.machine.head
        if stays and not (head.may_ease_off or head.homes_with_tube):
            farthest = 0.0  # the tube stands until the arm is home
        else:
            farthest = checks.farthest_forward(place, attempt.standing.tangent_u, after_bend=not stays)
        if key not in self._home:
            self._home[key] = against_home(attempt, around, clamp, farthest, stays)
        found = self._home[key]
        if found is None and corners is not None:
            arms = tuple(arm for c, arm in corners if c == clamp)
            if (key, arms) not in self._home:
                self._home[key, arms] = cornered(attempt, around, clamp, farthest, arms)
            found = self._home[key, arms]
        return found


def stays_in(place: Place, attempt: BendCheck) -> bool:
    """Say whether it is the arm's way home that is blocked, with a tube that stays in for the next bend.

    One that is taken off may be run forward by hand, or drawn off past the standing arm: what keeps the arm from going
    home then says nothing of it.
    """
    linked = place.after is not None and place.after.event is Event.LINK
    return linked and any(entry.doing == "return" for entry in attempt.blocked)
