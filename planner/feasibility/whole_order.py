"""Carry out one order on a simulated tube, with the numbers as printed, and certify every motion of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from typing import NamedTuple

from planner.clearance.solids import toward
from planner.feasibility.at_station import Tube, plus
from planner.feasibility.bend_check import BendCheck, Bending, Blocked
from planner.feasibility.bend_checks import Around, Batches
from planner.feasibility.home_ways import GRIDS, ways_through
from planner.feasibility.homing import WayHome
from planner.feasibility.loading import Passage, loading, pass_all, unloading
from planner.feasibility.moves import PlainPath
from planner.feasibility.stations import Station, Stationed, shown
from planner.inputs.machine import Tooling
from planner.tube.bodies import Motion, Phase
from planner.tube.partly_bent import Pieces, leading_part


@dataclass(frozen=True)
class BendDone:
    """One bend with its proved motions, in order, and the clamp they hold for."""

    station: Station
    clamp: float
    path: PlainPath
    placing: tuple[Motion, ...]
    gripping: tuple[Motion, ...]  # dies close, bend, (re-grip,) dies open
    returning: tuple[Motion, ...]  # the arm's way home
    home: WayHome
    put_on: Passage | None = None  # before the first bend of a load
    taken_off: Passage | None = None  # after the last one

    @property
    def motions(self) -> tuple[Motion, ...]:
        """All its motions, in order."""
        on = () if self.put_on is None else (*self.put_on.motions, *_ran(self.put_on))
        off = () if self.taken_off is None else (*_ran(self.taken_off), *self.taken_off.motions)
        return (*on, *self.placing, *self.gripping, *self.returning, *off)

    @property
    def carriage_way(self) -> float:
        """How far the carriage runs with its collet open [mm]."""
        runs = [motion for motion in self.motions if motion.phase is Phase.RUN]
        return sum(abs(motion.face[1] - motion.face[0]) for motion in runs if motion.face is not None)


def _ran(passage: Passage) -> tuple[Motion, ...]:
    return () if passage.run is None else (passage.run,)


@dataclass(frozen=True)
class Failure:
    """What keeps an order from being carried out: the bend, its load, and what is in the way."""

    station: Station
    load: int
    blocked: Blocked


@dataclass(frozen=True)
class Trial:
    """The outcome of one order: the bends done of each load, or the failures; evaluations of cells spent.

    short: something may come short of what it needs, within what counts as kept.
    """

    stationed: Stationed
    loads: tuple[tuple[BendDone, ...], ...] | None
    failures: tuple[Failure, ...]
    evaluations: int
    short: bool


def passes_of(loads: tuple[tuple[BendDone, ...], ...]) -> list[list[BendDone]]:
    """Return the bends of an order in passes over the batch, one after the other: each with one set of dies."""
    found: list[list[BendDone]] = []
    for bend in (bend for load in loads for bend in load):
        if not found or found[-1][-1].station.radius != bend.station.radius:
            found.append([])
        found[-1].append(bend)
    return found


def changed(done: list[BendDone]) -> list[BendDone]:
    """Return the bends of a pass for which the clamp is changed; the first one where it is changed back at the end."""
    return [bend for before, bend in zip((done[-1], *done), done, strict=False) if before.clamp != bend.clamp]


def try_order(stationed: Stationed, around: Around, harder: bool = False) -> Trial:
    """Certify every motion of an order; `around` gives the surroundings of a bend (its tooling).

    harder: try what takes long too where nothing else goes.
    """
    batches = Batches(stationed.ready.case.machine, around, harder)
    loads = _bent(batches, [attempts_of(stationed, number, around) for number in range(len(stationed.loads))])
    if all(bend.returning for load in loads for bend in load):
        loads = _in_loads(batches.place_all(bend for load in loads for bend in _as_left(load)), loads)
    failures = [
        Failure(bend.station, number, bend.blocked[0])
        for number, load in enumerate(loads)
        for bend in load
        if bend.blocked
    ]
    passed = [Passed(load, None, None) for load in loads] if failures else _passages(batches, loads)
    failures += [
        Failure(bend.station, number, passage.blocked[0])
        for number, (load, on, off) in enumerate(passed)
        for bend, passage in ((load[0], on), (load[-1], off))
        if passage is not None and passage.path is None
    ]
    if failures:
        return Trial(stationed, None, tuple(failures), batches.evaluations, batches.short)
    done = tuple(_done(*one) for one in passed)
    return Trial(stationed, done, (), batches.evaluations, batches.short)


Loads = list[list[BendCheck]]


def _in_loads(bent: Iterable[BendCheck], loads: Sequence[Sequence[Bending]]) -> Loads:
    """Return bends in their loads again."""
    following = iter(bent)
    return [list(islice(following, len(load))) for load in loads]


def _bent(batches: Batches, loads: list[list[Bending]]) -> Loads:
    """Bend them all, and bring the arm home through its plane where only that is in the way."""
    bent = batches.bend_all(bend for load in loads for bend in load)
    return _in_loads((_through(batches, bend) if bend.fitting and not bend.returning else bend for bend in bent), loads)


def _through(batches: Batches, bend: BendCheck) -> BendCheck:
    """Return a bend with a way home through the plane of arm and advance, where there is one."""
    around = batches.around(bend.station)
    ways = (ways_through(batches.machine, bend, around, grid).ways for grid in GRIDS)
    found = (batches.home_through(bend, some) for some in ways)
    return next((home for home in found if home is not None), bend)


def _as_left(load: list[BendCheck]) -> Iterator[BendCheck]:
    """Yield the bends of a load, each with the tube as the way home before it has left it."""
    yield load[0]
    for before, bend in pairwise(load):
        standing = replace(bend.standing_before, lowered=before.lowered)
        yield replace(bend, eased_before=before.eased, standing_before=standing)


class Passed(NamedTuple):
    """The bends of a load, and the tube put on before them and taken off after them, where that is looked at."""

    load: list[BendCheck]
    put_on: Passage | None
    taken_off: Passage | None


def _passages(batches: Batches, loads: Loads) -> list[Passed]:
    """Put the tube on and take it off for every load; each bend keeps the clamps with which that goes too."""
    machine = batches.machine
    if machine.mandrel is None and machine.carriage is None:
        return [Passed(load, None, None) for load in loads]

    def tooling(bend: BendCheck) -> Tooling:
        return batches.around(bend.station).tooling

    on = pass_all(batches, [loading(machine, tooling(load[0]), load[0]) for load in loads])
    loads = [[replace(load[0], fitting=one.fitting), *load[1:]] for load, one in zip(loads, on, strict=True)]
    off = pass_all(batches, [unloading(machine, tooling(load[-1]), load[-1]) for load in loads])
    loads = [[*load[:-1], replace(load[-1], fitting=one.fitting)] for load, one in zip(loads, off, strict=True)]
    return [Passed(*one) for one in zip(loads, on, off, strict=True)]


def _done(load: list[BendCheck], put_on: Passage | None, taken_off: Passage | None) -> tuple[BendDone, ...]:
    done = [_bend_done(bend) for bend in load]
    done[0] = replace(done[0], put_on=put_on)
    done[-1] = replace(done[-1], taken_off=taken_off)
    return tuple(done)


def _bend_done(bend: BendCheck) -> BendDone:
    assert bend.path is not None  # else it were blocked
    assert bend.home is not None
    clamp = bend.clamps[bend.fitting[0]]
    return BendDone(bend.station, clamp, bend.path, bend.placing, bend.gripping, bend.returning, bend.home)


def attempts_of(stationed: Stationed, number: int, around: Around) -> list[Bending]:
    """Build the tube as it stands before, in and after each bend of a load."""
    load, view = stationed.ready.loads[number], stationed.view(number)
    machine, stations = stationed.ready.case.machine, stationed.loads[number]
    side, trim, ahead = toward(machine), load.loaded.trim_lead, load.bends[0] - len(load.formed)

    def pieces(u: float, first: int, last: int, plane_of: int) -> Pieces:
        return leading_part(view, range(first, last + 1), u, trim, side, plane_of)

    tube = Tube(machine, pieces, load.loaded.stock_behind_zero)
    made: list[Bending] = []
    first = stations[0]
    at = first.start - first.advance
    before = tube.put(first.bend, ahead, at, first.radius, plus(first.face, first.advance))
    for st, following, clamps in zip(stations, (*stations[1:], None), load.clamps, strict=True):
        face = plus(st.face, -st.radius * st.angle)
        if st.regrip is not None:
            face = st.regrip[1] + st.radius * (st.setting - st.angle)
        after = tube.bent(st.bend, ahead, st.end, st.radius, None if st.released else face)
        gap = None if following is None else following.advance
        held = [next((g for g in load.grips if s.bend in g.bends), None) for s in (st, following or st)]
        before_it, at_its_end = (
            shown(machine, grip, u, trim) for grip, u in zip(held, (before.tangent_u, st.end), strict=True)
        )
        tooling = around(st).tooling
        made.append(tube.bending(st, ahead, tooling, clamps, before, after, gap, (before_it, at_its_end)))
        before = after
    return made
