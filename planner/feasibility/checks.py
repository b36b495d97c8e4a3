"""The geometry behind a sequence, checked only where a sequence asks for it, with the part's exact numbers.

Whether a bend can be made depends on the formed run, the leading end, the trims and, where something of the machine
moves with the carriage, on the hold; whether the next one can be reached, on the move besides. Both are checked once
and kept. What the readouts can show comes in later, when the plan that was chosen is carried out as printed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from planner.clearance.solids import toward
from planner.feasibility.at_station import Tube, plus
from planner.feasibility.bend_check import BendCheck, Bending
from planner.feasibility.bend_checks import Around, Batches
from planner.feasibility.home_ways import Grid, Through, ways_through
from planner.feasibility.homing import WayHome
from planner.feasibility.loading import Passage, Way, loading, pass_all, unloading
from planner.feasibility.orders import Case, fitting_clamps
from planner.feasibility.places import Place, is_last, whichever
from planner.feasibility.stations import Station, printed_setting
from planner.rules.broken import End, other
from planner.rules.carriage import closest_face
from planner.rules.chuck import both_ways
from planner.sequencing.events import Arrival, Event, Trims
from planner.sequencing.problem import Problem
from planner.tube.motions import Standing
from planner.tube.partly_bent import Leading, Pieces

Key = tuple[object, ...]
"""All that a finding depends on."""


class Checks:
    """Checks places and keeps what was found: `bent`, `moved` and `passed` hold it by all that it depends on."""

    def __init__(self, case: Case, problem: Problem, around: Around) -> None:
        self.case, self.problem, self.around = case, problem, around
        self.batches = Batches(case.machine, around)
        self.bent: dict[Key, BendCheck] = {}
        self.moved: dict[Key, BendCheck] = {}
        self.passed: dict[Key, Passage] = {}
        self._keys: dict[tuple[Arrival, Arrival | None, Trims], Key] = {}
        self._ways: dict[Key, Through] = {}  # through the plane of arm and advance, whatever the hold
        self._leading: dict[End, Leading] = {}
        self._tubes: dict[tuple[End, Trims], Tube] = {}
        self.carried = frozenset(solid.name for solid in case.machine.solid if solid.moves_with == "carriage")
        resolution, largest = case.machine.rotation.resolution, case.machine.head.largest_angle
        self.settings = tuple(
            printed_setting(setting, float(angle), resolution, largest)
            for setting, angle in zip(case.settings, case.part.angles, strict=True)
        )

    def bend(self, wanted: Iterable[Place]) -> list[BendCheck]:
        """Return how the bends at some places go, from the dies' closing to the arm's return.

        A bend with a clamp that is named goes as it does with whichever clamp fits, where that is one of them.
        """

        def certify(some: list[Place]) -> list[BendCheck]:
            return self.batches.bend_all(map(self.attempt, some))

        return self._answered(wanted, self.bent, self._bend_key, self._bends_as_whichever, certify)

    def _answered(
        self,
        wanted: Iterable[Place],
        found: dict[Key, BendCheck],
        key: Callable[[Place], Key],
        known: Callable[[Place], BendCheck | None],
        certify: Callable[[list[Place]], list[BendCheck]],
    ) -> list[BendCheck]:
        """Return what is found of some places, by key: with whichever clamp fits first, then with those that are named.

        known: what is known of a place without certifying it, None where that is nothing.
        """
        wanted = list(wanted)
        for places in (map(whichever, wanted), (place for place in wanted if place.at.clamp is not None)):
            new: dict[Key, Place] = {}
            for place in places:
                at = key(place)
                if at in found or at in new:
                    continue
                told = known(place)
                if told is None:
                    new[at] = place
                else:
                    found[at] = told
            found.update(zip(new, certify(list(new.values())), strict=True))
        return [found[key(place)] for place in wanted]

    def _bends_as_whichever(self, place: Place) -> BendCheck | None:
        """Return how a bend with a named clamp goes by what is known of whichever fits, None if that is not known."""
        return None if place.at.clamp is None else self._as_whichever(place, self.bent, self._bend_key)

    @staticmethod
    def _as_whichever(place: Place, known: dict[Key, BendCheck], key: Callable[[Place], Key]) -> BendCheck | None:
        """Return how a bend or move with a named clamp goes by what is known of whichever fits, None if not known."""
        found = known[key(whichever(place))]
        return found if found.blocked else found.only(place.at.clamp)

    def look_harder(self) -> None:
        """Try what takes long too from now on, also of what was found not to go."""
        self.batches.harder = True
        for known in (self.moved, self.passed):
            for key in [key for key, found in known.items() if found.path is None]:
                del known[key]

    def comes_home(self, attempt: BendCheck, ways: Iterable[WayHome]) -> bool:
        """Say whether the arm comes home by one of some ways after a bend that was checked, and keep that."""
        found = self.batches.home_through(attempt, ways)
        if found is None:
            return False
        for key in [key for key, known in self.bent.items() if known is attempt]:
            self.bent[key] = found
        return True

    def through(self, place: Place, attempt: BendCheck, grid: Grid) -> Through:
        """Return what is found in the plane of arm and advance after a bend."""
        at = place.at
        key = (at.leads, at.bend, at.ahead, place.trims, attempt.room, attempt.off, attempt.clamps, grid)
        if key not in self._ways:
            self._ways[key] = ways_through(self.case.machine, attempt, self.around(attempt.station), grid)
        return self._ways[key]

    def move(self, wanted: Iterable[Place]) -> list[BendCheck]:
        """Return how the tube is brought to some places whose bends, and the bends before, are known to go."""

        def certify(some: list[Place]) -> list[BendCheck]:
            return self.batches.place_all(map(self._moving, some))

        return self._answered(wanted, self.moved, self._move_key, self._moves_as_whichever, certify)

    def _moves_as_whichever(self, place: Place) -> BendCheck | None:
        """Return how a move with a named clamp goes by what is known of whichever fits, None if that is not known."""
        any_clamp = whichever(place)
        left, goes = (self.eased(place), self.lowered(place)), (self.eased(any_clamp), self.lowered(any_clamp))
        if place.at.clamp is None or left != goes:
            return None
        own, found = self.bent[self._bend_key(place)], self._as_whichever(place, self.moved, self._move_key)
        if found is None or found.blocked:
            return found
        return replace(found, home=own.home, returning=own.returning)

    def _moving(self, place: Place) -> BendCheck:
        bent = self.bent[self._bend_key(place)]
        return replace(
            bent,
            standing_before=replace(self._standing_before(place), lowered=self.lowered(place)),
            eased_before=self.eased(place),
            rolls=self._rolls(place),
            station=replace(bent.station, advance=self._advance(place)),
        )

    def load(self, wanted: Iterable[Place]) -> list[Passage]:
        """Return how the tube is put on to some places that begin a load and whose bends are known to go."""
        return self._passed("load", wanted)

    def unload(self, wanted: Iterable[Place]) -> list[Passage]:
        """Return how the tube is taken off after the bends at some places, the last of their loads."""
        return self._passed("unload", wanted)

    def _passed(self, way: Way, wanted: Iterable[Place]) -> list[Passage]:
        wanted = list(wanted)
        # How the tube came to its last bend does not matter to taking it off.
        here = [self.outcome(place) if way == "load" else self.bent[self._bend_key(place)] for place in wanted]
        keys = [(way, *self._bend_key(place), self.flush(place)) for place in wanted]
        new: dict[Key, Passage] = {}
        for key, place, attempt in zip(keys, wanted, here, strict=True):
            if key in self.passed or key in new:
                continue
            known = self._passes_as_whichever(way, place, attempt)
            if known is not None:
                self.passed[key] = known
                continue
            tooling, machine = self.around(attempt.station).tooling, self.case.machine
            if way == "load":  # the same bend may have been met first on another way to it
                before = replace(attempt, standing_before=self._standing_before(place))
                new[key] = loading(machine, tooling, before)
            else:
                new[key] = unloading(machine, tooling, attempt)
        self.passed.update(zip(new, pass_all(self.batches, new.values()), strict=True))
        return [self.passed[key] for key in keys]

    def _passes_as_whichever(self, way: Way, place: Place, attempt: BendCheck) -> Passage | None:
        """Return a passage with a named clamp by what is known of whichever fits, None if that is not known."""
        any_clamp = whichever(place)
        found = self.passed.get((way, *self._bend_key(any_clamp), self.flush(any_clamp)))
        if place.at.clamp is None or found is None or found.path is None or found.attempt.home != attempt.home:
            return None
        fits = any(found.attempt.clamps[c] == place.at.clamp for c in found.fitting)
        return replace(found, attempt=attempt, fitting=(0,)) if fits else None

    def spoken_of(self, place: Place, attempt: BendCheck) -> Place:
        """Return the place that an attempt speaks of: its clamp left open where it was made with all that fit."""
        every = fitting_clamps(self.case, self.case.loaded(place.at.leads, place.trims), replace(place.at, clamp=None))
        return whichever(place) if attempt.clamps == every else place

    def put_on(self, place: Place) -> bool:
        """Say whether a place begins a load of which something is checked: tube on a mandrel, a carriage that runs."""
        machine = self.case.machine
        return (machine.mandrel is not None or machine.carriage is not None) and place.at.event is not Event.LINK

    def taken_off(self, place: Place) -> bool:
        """Say whether the tube is taken off after a place, and anything of that is checked."""
        machine = self.case.machine
        return (machine.mandrel is not None or machine.carriage is not None) and is_last(place)

    def eased(self, place: Place) -> float:
        """Return where the bend before, in the same load, left the tube [mm]."""
        return self.made_before(place).eased if place.at.event is Event.LINK else 0.0

    def lowered(self, place: Place) -> float:
        """Return how far the way home after the bend before, in the same load, left the die lowered [mm]."""
        return self.made_before(place).lowered if place.at.event is Event.LINK else 0.0

    def made_before(self, place: Place) -> BendCheck:
        """Return how the bend before goes, with the place after it, whatever is between them."""
        assert place.before is not None  # asked only of what comes after a bend
        return self.bent[self._bend_key(Place(None, place.before, place.at, place.trims))]

    def face(self, arrival: Arrival, trims: Trims) -> float | None:
        """Return u of the hold that serves an arrival [mm]."""
        return self.case.face(self.case.loaded(arrival.leads, trims), arrival.hold)

    def farthest_forward(self, place: Place, tangent_u: float, after_bend: bool = False) -> float:
        """Return the greatest advance from a place on the tube that any hold and any trim allow [mm].

        after_bend: once the bend is made the collet may be opened to take the tube off: then the whole tail may go.
        """
        stock, carriage = self._longest_stock(place), self.case.machine.carriage
        behind = 0.0 if carriage is None or after_bend else carriage.grip_length + carriage.reach[0]
        return stock - behind - tangent_u

    def faces(self, place: Place) -> tuple[float, float]:
        """Return the least and greatest distance from face to tangent point that any hold and trim allow [mm]."""
        carriage, at = self.case.machine.carriage, place.at
        assert carriage is not None  # asked only where something moves with it
        loaded = self.case.loaded(at.leads, place.trims)
        setting = self.settings[self.case.number(at.leads, at.bend) - 1]
        start = float(loaded.view.bend_starts[at.bend - 1])
        low = closest_face(loaded, at.bend, setting, carriage, at.released) - start
        return low, min(carriage.reach[1], self._longest_stock(place) - carriage.grip_length - start)

    def _longest_stock(self, place: Place) -> float:
        """Return the stock with all the trim that is allowed behind, not only what a rule asks for [mm]."""
        return self.case.part.developed_length + self.case.allowed.at(other(place.at.leads))

    def _new_face(self, place: Place) -> float | None:
        regrip = place.after is not None and place.after.regripped
        return self.face(place.after, place.trims) if regrip and place.after is not None else None

    def _bend_key(self, place: Place) -> Key:
        known = self._keys.get((place.at, place.after, place.trims))
        if known is None:
            at = place.at
            faces = (self.face(at, place.trims), self._new_face(place)) if self.carried else ()
            opened = at.released and bool(self.carried)
            st = self.station(place)
            tube, tooling = self.tube(at.leads, place.trims), self.around(st).tooling
            rooms = tube.room(st, self._standing_after(place), tooling, self._gap(place))
            known = (at.leads, at.bend, at.ahead, at.clamp, opened, place.trims, rooms, *faces)
            self._keys[place.at, place.after, place.trims] = known
        return known

    def _gap(self, place: Place) -> float | None:
        """Return the straight to the next bend in the same load, None where the tube is taken off [mm]."""
        view, bend = self.leading(place.at.leads).view, place.at.bend
        return None if is_last(place) else float(view.bend_starts[bend]) - float(view.bend_ends[bend - 1])

    def _standing_after(self, place: Place) -> Standing:
        """Return the tube as it stands once the bend is made and the dies are open."""
        at, view = place.at, self.leading(place.at.leads).view
        end, new_face = float(view.bend_ends[at.bend - 1]), self._new_face(place)
        face = self.face(at, place.trims) if new_face is None else new_face
        held = None if at.released else plus(face, -end)
        return self.tube(at.leads, place.trims).bent(at.bend, at.ahead, end, float(view.radii[at.bend - 1]), held)

    def _move_key(self, place: Place) -> Key:
        at = place.at
        return (
            self._bend_key(place),
            at.event is Event.LINK,
            at.way,
            self.eased(place),
            self.lowered(place),
            self.face(at, place.trims),
        )

    def leading(self, end: End) -> Leading:
        """Return the leading parts seen from an end."""
        if end not in self._leading:
            view = self.case.loaded(end, Trims(0.0, 0.0)).view
            self._leading[end] = Leading(view, toward(self.case.machine))
        return self._leading[end]

    def _advance(self, place: Place) -> float:
        view, at = self.leading(place.at.leads).view, place.at
        start = float(view.bend_starts[at.bend - 1])
        if at.event is Event.LINK:
            return start - float(view.bend_ends[at.bend - 2])
        return self._first_advance(place) or 0.0

    def flush(self, place: Place) -> bool:
        """Say whether the bare tube is loaded with its leading end at the tangent point and advanced from there."""
        return self._first_advance(place) is not None

    def _first_advance(self, place: Place) -> float | None:
        """Return how far a bare tube loaded flush is advanced to its bend [mm]; None for a tube that is laid in."""
        at = place.at
        bare = at.event is Event.LOAD and at.ahead == at.bend
        return self.case.flush_advance(at.leads, at.bend, place.trims) if bare else None

    def _rolls(self, place: Place) -> tuple[float, ...]:
        """Return the ways round that are asked for [rad]."""
        if place.at.event is not Event.LINK:
            return (0.0,)
        ways = both_ways(self.problem.rolls[place.at.leads][place.at.bend - 1])
        return ways if self.problem.chuck is None else (ways[place.at.way],)

    def _standing_before(self, place: Place) -> Standing:
        at, tube = place.at, self.tube(place.at.leads, place.trims)
        view, face = self.leading(at.leads).view, self.face(at, place.trims)
        if at.event is Event.LINK:
            u, radius = float(view.bend_ends[at.bend - 2]), float(view.radii[at.bend - 2])
            return tube.bent(at.bend - 1, at.ahead, u, radius, plus(face, -u))
        u = float(view.bend_starts[at.bend - 1]) - self._advance(place)
        return tube.put(at.bend, at.ahead, u, float(view.radii[at.bend - 1]), plus(face, -u))

    def tube(self, end: End, trims: Trims) -> Tube:
        """Return the tube with an end leading."""
        if (end, trims) not in self._tubes:
            leading, trim = self.leading(end), trims.at(end)

            def pieces(u: float, first: int, last: int, plane_of: int) -> Pieces:
                return leading.at(u, first, last, trim, plane_of)

            tail_end = self.case.loaded(end, trims).stock_behind_zero
            self._tubes[end, trims] = Tube(self.case.machine, pieces, tail_end)
        return self._tubes[end, trims]

    def station(self, place: Place) -> Station:
        """Return the station of an arrival with the part's own numbers; only the setting is as the dial shows it."""
        at, view = place.at, self.leading(place.at.leads).view
        number, k = self.case.number(at.leads, at.bend), at.bend - 1
        start, radius, setting = float(view.bend_starts[k]), float(view.radii[k]), self.settings[number - 1]
        face, new_face, regrip = self.face(at, place.trims), self._new_face(place), None
        if face is not None and new_face is not None:
            over = start + radius * setting
            regrip = (face - over, new_face - over)
        angle, roll = float(view.angles[k]), self._rolls(place)[0]
        advance = self._advance(place)
        return Station(
            at.bend,
            number,
            angle,
            radius,
            setting,
            roll,
            advance,
            start,
            plus(face, -start),
            at.released,
            regrip,
            False,
        )

    def attempt(self, place: Place) -> Bending:
        """Return one bend with the part's own numbers."""
        at, st = place.at, self.station(place)
        clamps = fitting_clamps(self.case, self.case.loaded(at.leads, place.trims), at)  # one where it is named
        before, after = self._standing_before(place), self._standing_after(place)
        tube, tooling = self.tube(at.leads, place.trims), self.around(st).tooling
        return tube.bending(st, at.ahead, tooling, clamps, before, after, self._gap(place))

    def moves_to(self, place: Place) -> bool:
        """Say whether the tube is moved to a place in the machine: by a link, or from a load that is flush."""
        return place.at.event is Event.LINK or self.flush(place)

    def outcome(self, place: Place) -> BendCheck:
        """Return what is known of a place whose bend and move were checked."""
        return self.moved[self._move_key(place)] if self.moves_to(place) else self.bent[self._bend_key(place)]
