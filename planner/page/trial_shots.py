"""An order tried → its film: the steps that go, then what fails up to the moment at which the tube touches something.

Everything is read off the motions that were certified (`planner.advice.trying`); a motion is linear in the pose, so the
poses at its ends are all that is kept of it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, NamedTuple

from planner.advice.in_the_way import InTheWay
from planner.advice.order import costs_in, read_order
from planner.advice.trying import Made, Tryout, tried_with_motions
from planner.page.asked import MachineAsked, PartAsked, machine_asked, part_asked
from planner.page.film import Film, Pose, Shot, film_of, radii_of
from planner.page.tasks import kept_search
from planner.rules.broken import End, other
from planner.search.attempts import Attempt, Doing, gripping_motions
from planner.search.checks import Place
from planner.search.events import Event, Prefer, Trims
from planner.search.orders import Case
from planner.tube.motions import Motion, Phase, advance

When = Literal["on", "move", "bend", "return", "off"]
"""The tube is put on, brought to its bend, gripped and bent; the arm goes home; the tube is taken off."""

BEGINS = {Event.LOAD: "load", Event.TURN: "turn end for end", Event.RELOAD: "reload"}
"""What is done to begin a load."""

BY_DOING: dict[Doing, When] = {
    "load": "on", "move": "move", "no path": "move", "bend": "bend", "return": "return", "unload": "off"
}  # fmt: skip
BY_PHASE = {Phase.CLOSE: "close dies", Phase.BEND: "bend", Phase.REGRIP: "re-grip", Phase.OPEN: "open dies"}

CLOSED, OPENED = (0.0, 0.0), (1.0, 1.0)
OPENING = {Phase.CLOSE: (1.0, 0.0), Phase.BEND: CLOSED, Phase.REGRIP: CLOSED, Phase.OPEN: (0.0, 1.0)}
"""How far clamp and pressure die are open at the start and at the end of a motion; else they are open."""


FACE: Final = 3
"""Where the collet's face stands in a pose."""

MOST_BY_HAND: Final = 4.0
"""Putting on and taking off is shown in no more than this [s]."""


class TriedFilm(NamedTuple):
    """The film of an order that was tried; marks: what to point at where it ends; captions: what each shot does."""

    film: Film
    marks: tuple[dict[str, Any], ...]
    captions: tuple[str, ...]


def tried_film(case: Case, tryout: Tryout) -> TriedFilm:
    """Return the film of an order that was tried on a case."""
    filming = _Filming(case, tryout)
    shots = list(filming.shots())
    film = film_of(case.part, case.machine, *filming.trims, tuple(shot for _, shot in shots))
    return TriedFilm(film, tuple(filming.marks()), tuple(caption for caption, _ in shots))


def tried_task(
    part: PartAsked,
    machine: MachineAsked,
    order: str,
    prefer: Prefer = "fewer re-clamps",
    *,
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
) -> dict[str, Any]:
    """Try an order ("3A 4A 2B 1B") in a worker process: `tried`, `film`, `marks` and `captions` as plain data.

    The search of part and machine is kept in the process. Raises InputError for an order that is none of this part.
    """
    wanted = part_asked(part)
    bender = machine_asked(machine, wanted)
    asked = read_order(order, wanted.n_bends)
    search, decision, made = kept_search(wanted, bender, prefer, time_limit, report)
    of_best = costs_in(made) if made.verdict == "makeable" else None
    tryout = tried_with_motions(search, asked, decision.plan, of_best)
    shown = tried_film(search.case, tryout)
    return {
        "tried": tryout.tried.as_dict(),
        "film": shown.film.as_dict(),
        "marks": list(shown.marks),
        "captions": list(shown.captions),
    }


@dataclass(frozen=True)
class Played:
    """One motion of an order; number: of its step; place, attempt: its bend; clamp [mm]; upto: how far it is shown."""

    number: int
    place: Place
    attempt: Attempt
    clamp: float
    when: When
    motion: Motion
    upto: float = 1.0


class _Filming:
    """Goes through the motions of an order once."""

    def __init__(self, case: Case, tryout: Tryout) -> None:
        self.case, self.tryout = case, tryout
        self.part, self.machine = case.part, case.machine
        self.radii = radii_of(case.part)
        carriage = case.machine.carriage
        self.away = -1.0 if carriage is None else carriage.reach[1]
        self.made = tryout.made
        last = tryout.begun or (self.made[-1].place if self.made else None)
        self.trims = Trims(0.0, 0.0) if last is None else last.trims
        if any(made.place.trims != self.trims for made in self.made):
            self.made = ()  # a film shows one tube

    # --------------------------------------------------------------------------------------------- what is shown

    def shots(self) -> Iterator[tuple[str, Shot]]:
        """Yield every shot with what is done in it."""
        shown = self.tryout.shown
        again = shown is not None and shown.blocked.doing in ("bend", "return") and self._is_before(shown)
        for made in self.made:
            taken_up_again = again and made is self.made[-1]
            yield from self._begin(made.number, made.place, made.attempt)
            yield from self._played(self.of_made(made, with_bend=not taken_up_again))
        if shown is not None:
            yield from self._fails(shown)
        elif self.tryout.tried.contact is not None:
            yield from self._never_begun()

    def _is_before(self, shown: InTheWay) -> bool:
        contact = self.tryout.tried.contact
        return contact is not None and shown.number < contact.step

    def _fails(self, shown: InTheWay) -> Iterator[tuple[str, Shot]]:
        """Yield what leads up to what is in the way, and that as far as it is shown."""
        number, place, attempt = shown.number, shown.place, shown.attempt
        if not self._is_before(shown):
            if self.made and self.made[-1].number == number - 1:
                last = self.made[-1]
                yield from self._played(_row(number, last.place, last.attempt, last.clamp, off=shown.taken_off))
            yield from self._begin(number, place, attempt)
        rows = self.of_what_fails(shown)
        for k, played in enumerate(rows):
            if played.when == "bend" and not self._is_before(shown) and self._came_from_nowhere(shown):
                yield from self._played(rows[:k])
                yield "stands", self._still(played)
                rows = rows[k:]
                break
        yield from self._played(rows)

    def _came_from_nowhere(self, shown: InTheWay) -> bool:
        """Say whether no clear way was found by which the tube comes to the bend that fails."""
        checks, place = self.tryout.checks, shown.place
        return (checks.moves_to(place) and not shown.placing) or (checks.put_on(place) and not shown.put_on)

    def _still(self, played: Played) -> Shot:
        """Return the tube as it stands before a motion."""
        first = self._shot(played)
        return replace(first, poses=first.poses[:1], at=(0.0,), seconds=0.0)

    def _begin(self, number: int, place: Place, attempt: Attempt) -> Iterator[tuple[str, Shot]]:
        """Yield the tube in free hands before it is put on anew; without a mandrel it then stands in its place."""
        event = place.at.event
        if event is Event.LINK:
            return
        before = self.tryout.checks.attempt(place).standing_before  # that of the attempt may be of another way to it
        standing = Played(number, place, attempt, attempt.clamps[0], "on", advance(before, (0.0, 0.0), 0.0, False))
        if event is not Event.LOAD:
            yield BEGINS[event], self._shot(standing, shown=False)
        if self.machine.mandrel is None:
            yield BEGINS[Event.LOAD], self._shot(standing)

    def _played(self, row: Sequence[Played]) -> Iterator[tuple[str, Shot]]:
        """Yield motions as shots; what is put on is called so once, and so is what is taken off."""
        on, off = (next((k for k in places if row[k].when == when), None) for places, when in _main(len(row)))
        for k, played in enumerate(row):
            yield ("load" if k == on else "unload" if k == off else _doing(played.motion)), self._shot(played)
            if played.motion.phase is Phase.CLOSE and played.place.at.released:
                yield "open collet", self._opened(played)

    def _opened(self, played: Played) -> Shot:
        """Return the collet opened for the job's last bend, and the carriage stood back."""
        closed = self._shot(played)
        pose = closed.poses[-1]
        back = (*pose[:FACE], self.away, *pose[FACE + 1 :])
        seconds = round(abs(self.away - pose[FACE]) / self.machine.speeds.advance, 3)
        return replace(closed, poses=(pose, back), at=(0.0, 1.0), seconds=seconds, released=True)

    def of_made(self, made: Made, with_bend: bool = True) -> list[Played]:
        """Return the motions of a step that goes; what is taken off to be put back is taken off for the next step."""
        put_on = () if made.put_on is None else made.put_on.motions
        rows = _row(made.number, made.place, made.attempt, made.clamp, on=put_on, move=made.attempt.placing)
        if with_bend:
            bent = {"bend": self._gripping(made.place), "return": made.attempt.returning}
            rows += _row(made.number, made.place, made.attempt, made.clamp, **bent)
        if with_bend and made.taken_off is not None:
            number = made.number if made.place.after is None else made.number + 1
            rows += _row(number, made.place, made.attempt, made.clamp, off=made.taken_off.motions)
        return rows

    def of_what_fails(self, shown: InTheWay) -> list[Played]:
        """Return the motions of a step that fails up to the one that does, as far as that is shown."""
        blocked, clamp = shown.blocked, shown.attempt.clamps[shown.clamp]
        before: dict[When, Iterable[Motion]] = {"on": shown.put_on, "move": shown.placing}
        gripping = self._gripping(shown.place)
        if blocked.doing == "bend":
            before["bend"] = itertools.takewhile(lambda motion: motion.phase is not blocked.motion.phase, gripping)
        elif blocked.doing == "return" or (blocked.doing == "unload" and not self._is_before(shown)):
            before |= {"bend": gripping, "return": shown.attempt.returning}
        rows = _row(shown.number, shown.place, shown.attempt, clamp, **before)
        if blocked.rows is None:  # there was nothing to move
            return rows
        when = BY_DOING[blocked.doing]
        return [*rows, Played(shown.number, shown.place, shown.attempt, clamp, when, blocked.motion, shown.upto)]

    def _gripping(self, place: Place) -> list[Motion]:
        """Return the motions from the dies' closing to their opening, the re-grip that the next bend asks for among
        them: what was certified may be of another hold where nothing moves with the carriage.
        """
        return gripping_motions(self.tryout.checks.attempt(place))

    def _never_begun(self) -> Iterator[tuple[str, Shot]]:
        """Yield the tube as it would stand for a step that a rule forbids, where all behind it is straight."""
        judged = self.tryout.tried.judged
        order, fails = judged.order, judged.fails
        if fails is None or judged.undecided_because is not None:
            return
        leads, view = fails.leads, self.case.view(fails.leads)
        bend = self.case.number(leads, fails.bend)
        formed = {self.case.number(leads, made.bend) for made in order[: fails.number - 1]}
        if formed and max(formed) > bend:
            return
        tail = float(view.developed_length + self.trims.at(other(leads)) - view.bend_starts[bend - 1])
        tooling = self.case.tooling[fails.bend - 1]
        reached = self._reached(leads, formed)
        pose = (-tail, -float(view.rotations[bend:].sum()), 0.0, self.away, 0.0, *OPENED, *reached)
        number = self.radii.index(float(self.part.radii[fails.bend - 1]))
        yield "stands", Shot(fails.number, leads, number, tooling.clamp_lengths[0], (pose,), (0.0,), released=True)

    def marks(self) -> Iterator[dict[str, Any]]:
        """Yield what to point at where the film ends: where the tube meets something, or the bend that is forbidden."""
        contact = self.tryout.tried.contact
        if contact is None:
            return
        fails, place = self.tryout.tried.judged.fails, contact.place
        if place is None and fails is not None:
            start, end = (float(ends[fails.bend - 1]) for ends in (self.part.bend_starts, self.part.bend_ends))
            place = round((start + end) / 2.0, 3)
        yield {"solid": contact.solid, "place": place, "text": contact.sentence}

    # ----------------------------------------------------------------------------------------- motions as poses

    def _shot(self, played: Played, shown: bool = True) -> Shot:
        poses = tuple(self.pose(played, t) for t in dict.fromkeys((0.0, played.upto)))
        if poses[0] == poses[-1]:
            poses = poses[:1]
        by_hand = played.when in ("on", "off")
        return Shot(
            step=played.number,
            leads=played.place.at.leads,
            tooling=self.radii.index(float(self.part.radii[played.attempt.station.number - 1])),
            clamp=played.clamp,
            poses=poses,
            at=(0.0, 1.0)[: len(poses)],
            seconds=round(self._seconds(played.motion, by_hand) * played.upto, 3),
            shown=shown,
            released=by_hand or self._stands_open(played),
        )

    def pose(self, played: Played, t: float) -> Pose:
        """Return where everything stands at a moment (0 … 1) of a motion; every entry is linear in it."""
        motion, at = played.motion, played.place.at
        view = self.case.view(at.leads)

        def now(pair: tuple[float, float]) -> float:
            return pair[0] + t * (pair[1] - pair[0])

        behind_at = min(motion.y) if motion.phase is Phase.PLACE else motion.y[0]
        before_link = played.when == "move" and at.event is Event.LINK
        plane = at.bend - 1 if before_link else at.bend
        opening, tail = now(OPENING.get(motion.phase, OPENED)), motion.tail_length + behind_at - now(motion.y)
        return (
            -tail,
            now(motion.rotation) - float(view.rotations[plane:].sum()),
            now(motion.arm),
            self._face(played, tail, t),
            now(motion.pressure),
            opening,
            opening,
            *self._reached(at.leads, set(range(at.ahead, at.bend)), at.bend, self._in_the_die(played, t)),
        )

    def _face(self, played: Played, tail: float, t: float) -> float:
        """Return where the collet's face stands [mm], with so much tube behind the tangent point [mm].

        Read off the hold, not off the motion: what was certified may be of another hold where nothing moves with the
        carriage. A tube put on or taken off by hand slides through the open collet.
        """
        place, motion, when = played.place, played.motion, played.when
        own = self.tryout.checks.face(place.at, place.trims)
        if own is None or self._stands_open(played):
            return self.away
        new = own
        if place.after is not None and place.after.regripped:
            new = self.tryout.checks.face(place.after, place.trims) or own
        holds = own if when in ("on", "move") or motion.phase in (Phase.CLOSE, Phase.BEND) else new
        if motion.phase is Phase.REGRIP:
            holds = own + t * (new - own)
        if when in ("on", "off"):
            tail = motion.tail_length + min(motion.y) - (played.attempt.eased if when == "off" else 0.0)
        return holds - self.case.loaded(place.at.leads, place.trims).stock_behind_zero + tail

    def _stands_open(self, played: Played) -> bool:
        """Say whether the collet has been opened for the job's last bend."""
        before = played.when in ("on", "move") or played.motion.phase is Phase.CLOSE
        return played.place.at.released and not before

    def _in_the_die(self, played: Played, t: float) -> float:
        """Return the angle that the bend at hand has [rad]."""
        station, motion = played.attempt.station, played.motion
        if played.when != "bend":
            return station.angle if played.when in ("return", "off") else 0.0
        if motion.phase is Phase.OPEN:
            return station.setting + t * (station.angle - station.setting)
        return motion.arm[0] + t * (motion.arm[1] - motion.arm[0])

    def _reached(self, leads: End, formed: set[int], bend: int = 0, angle: float = 0.0) -> tuple[float, ...]:
        """Return the angle of every bend from end A; formed, bend: in the view of the end that leads."""
        reached = [0.0] * self.part.n_bends
        for one in formed:
            number = self.case.number(leads, one)
            reached[number - 1] = float(self.part.angles[number - 1])
        if bend:
            reached[self.case.number(leads, bend) - 1] = angle
        return tuple(reached)

    def _seconds(self, motion: Motion, by_hand: bool) -> float:
        """Return how long a motion takes [s]."""
        speeds, times = self.machine.speeds, self.machine.times
        if motion.phase is Phase.BEND:
            return motion.arm[1] / speeds.bend
        if motion.phase is Phase.REGRIP:
            return times.regrip
        if motion.phase in (Phase.CLOSE, Phase.OPEN):
            return times.clamp
        if motion.arm[0] != motion.arm[1]:
            return motion.arm[0] / speeds.return_
        turned = abs(motion.rotation[1] - motion.rotation[0]) / speeds.rotate
        way = abs(motion.y[1] - motion.y[0]) / speeds.advance
        return min(turned + way, MOST_BY_HAND) if by_hand else turned + way


def _doing(motion: Motion) -> str:
    """Return what is done in a motion."""
    if motion.phase in BY_PHASE:
        return BY_PHASE[motion.phase]
    if motion.phase is Phase.RETURN:
        return "return" if motion.arm[0] != motion.arm[1] else "ease off"
    return "rotate" if motion.rotation[0] != motion.rotation[1] else "advance"


def _main(count: int) -> tuple[tuple[range, When], tuple[range, When]]:
    """Return where the leg is sought that is called putting on, the first one, and taking off, the last one."""
    return (range(count), "on"), (range(count - 1, -1, -1), "off")


def _row(number: int, place: Place, attempt: Attempt, clamp: float, **motions: Iterable[Motion]) -> list[Played]:
    """Return motions by when they are made."""
    whens: tuple[When, ...] = ("on", "move", "bend", "return", "off")
    return [Played(number, place, attempt, clamp, when, motion) for when in whens for motion in motions.get(when, ())]
