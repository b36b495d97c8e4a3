"""The motions of an order that was tried, as the film plays them: when each is made, and its poses [mm, rad, s].

A motion is linear in the pose, so the poses at its ends are all that is kept of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal

from planner.feasibility.bend_check import BendCheck
from planner.feasibility.checks import Checks
from planner.feasibility.loading import Passage
from planner.feasibility.places import Place
from planner.page.film import Pose, Shot, radii_of
from planner.rules.broken import End
from planner.sequencing.events import Event
from planner.tube.bodies import Motion, Phase
from planner.tube.motions import advance, homing

When = Literal["on", "run on", "move", "bend", "run off", "return", "off", "alone"]
"""The tube is put on, the carriage runs to its hold; the tube is brought to its bend, gripped and bent; the collet
opened, the carriage runs off; the arm goes home; the tube is taken off; the arm goes home without it.
"""

BY_PHASE: Final = {
    Phase.CLOSE: "close dies",
    Phase.BEND: "bend",
    Phase.REGRIP: "re-grip",
    Phase.OPEN: "open dies",
    Phase.RUN: "carriage back",
}

CLOSED, OPENED = (0.0, 0.0), (1.0, 1.0)
OPENING: Final = {Phase.CLOSE: (1.0, 0.0), Phase.BEND: CLOSED, Phase.REGRIP: CLOSED, Phase.OPEN: (0.0, 1.0)}
"""How far clamp and pressure die are open at the start and at the end of a motion; else they are open. In a run of the
carriage they are as in the motion before.
"""

FROM_LEAST_Y: Final = (Phase.PLACE, Phase.RETURN, Phase.RUN, Phase.DROP)
"""Phases of whose motions the tube behind the tangent point is told at the least advance, not at the first."""

FACE: Final = 3
"""Where the collet's face stands in a pose."""

MOST_BY_HAND: Final = 4.0
"""Putting on and taking off is shown in no more than this [s]."""


@dataclass(frozen=True)
class Played:
    """One motion of a step as it is played with a clamp [mm]; upto: how far it is shown."""

    number: int
    place: Place
    attempt: BendCheck
    clamp: float
    when: When
    motion: Motion
    upto: float = 1.0

    @property
    def doing(self) -> str:
        """What is done in it."""
        motion, home = self.motion, self.attempt.home
        if self.when == "run on":
            return "carriage forward"
        if motion.phase in BY_PHASE:
            return BY_PHASE[motion.phase]
        if self.when == "return" and home is not None and home.drawn_off and motion is self.attempt.returning[-1]:
            return "unload"
        if motion.phase is Phase.DROP:
            return "die down" if motion.drop[1] > motion.drop[0] else "die up"
        if motion.phase is Phase.RETURN:
            return "return" if motion.arm[0] != motion.arm[1] else "run forward"
        return "rotate" if motion.rotation[0] != motion.rotation[1] else "advance"

    @property
    def stands_open(self) -> bool:
        """Whether the collet stands open: for hands, or for the job's last bend."""
        if self.when in ("on", "off", "alone") or (self.when == "return" and by_hand(self.attempt)):
            return True
        before = self.when in ("run on", "move") or self.motion.phase in (Phase.CLOSE, Phase.RUN)
        return self.place.at.released and not before


def by_hand(attempt: BendCheck) -> bool:
    """Say whether the collet is opened before the arm goes home."""
    return attempt.home is not None and attempt.home.by_hand


def standing(number: int, place: Place, attempt: BendCheck, checks: Checks) -> Played:
    """Return the tube as it stands in its place at a load, the collet open."""
    before = checks.attempt(place).standing_before  # that of the attempt may be of another way to it
    return Played(number, place, attempt, attempt.clamps[0], "on", advance(before, (0.0, 0.0), 0.0, False))


def row(of: Played, *parts: tuple[When, Iterable[Motion]]) -> list[Played]:
    """Return motions in their order; `of` says whose they are."""
    made = [replace(of, when=when, motion=motion) for when, motions in parts for motion in motions]
    return [replace(one, when="run on") if one.when == "on" and one.motion.phase is Phase.RUN else one for one in made]


def homeward(attempt: BendCheck, off: Passage | None) -> list[tuple[When, tuple[Motion, ...]]]:
    """Return the arm's way home and, where the tube is taken off then, the carriage's run: before it, if by hand."""
    run: tuple[When, tuple[Motion, ...]] = ("run off", () if off is None or off.run is None else (off.run,))
    home: tuple[When, tuple[Motion, ...]] = ("return", attempt.returning)
    if not by_hand(attempt):
        return [home, run]
    assert attempt.home is not None  # it says that it is by hand
    if not attempt.home.drawn_off:
        return [run, home]
    last = attempt.returning[-1]
    alone = homing(attempt.standing.opened(None), (last.arm[1], 0.0), (last.y[1],) * 2, (last.pressure[1], 0.0))
    return [run, home, ("alone", (alone,))]


class Posing:
    """Turns motions into shots."""

    def __init__(self, checks: Checks) -> None:
        self.checks, self.case = checks, checks.case
        self.part, self.machine = checks.case.part, checks.case.machine
        self.radii = radii_of(self.part)
        carriage, mandrel = self.machine.carriage, self.machine.mandrel
        self.away = -1.0 if carriage is None else carriage.waits_at
        self.draws_back = mandrel is not None and mandrel.draws_back

    def shot(self, played: Played, shown: bool = True) -> Shot:
        """Return a motion as a shot, as far as it is shown."""
        poses = tuple(self.pose(played, t) for t in dict.fromkeys((0.0, played.upto)))
        if poses[0] == poses[-1]:
            poses = poses[:1]
        motion, run = played.motion, played.motion.phase is Phase.RUN
        seconds = self._seconds(motion, played.when in ("on", "off")) * played.upto
        if run:
            seconds = abs(poses[-1][FACE] - poses[0][FACE]) / self.machine.speeds.advance
        return Shot(
            step=played.number,
            leads=played.place.at.leads,
            tooling=self.radii.index(float(self.part.radii[played.attempt.station.number - 1])),
            clamp=played.clamp,
            poses=poses,
            at=(0.0, 1.0)[: len(poses)],
            seconds=round(seconds, 3),
            shown=shown and played.when != "alone",
            released=run or played.stands_open,
            drawn_back=self.draws_back and (motion.phase is Phase.PLACE or played.when == "run on"),
        )

    def still(self, played: Played) -> Shot:
        """Return the tube as it stands before a motion."""
        first = self.shot(played)
        return replace(first, poses=first.poses[:1], at=(0.0,), seconds=0.0)

    def pose(self, played: Played, t: float) -> Pose:
        """Return where everything stands at a moment (0 … 1) of a motion; every entry is linear in it."""
        motion, at = played.motion, played.place.at
        view = self.case.view(at.leads)

        def now(pair: tuple[float, float]) -> float:
            return pair[0] + t * (pair[1] - pair[0])

        behind_at = min(motion.y) if motion.phase in FROM_LEAST_Y else motion.y[0]
        before_link = played.when == "move" and at.event is Event.LINK
        plane = at.bend - 1 if before_link else at.bend
        held = motion.phase is Phase.RUN and played.when == "bend"
        opening = now(CLOSED if held else OPENING.get(motion.phase, OPENED))
        tail = motion.tail_length + behind_at - now(motion.y)
        return (
            -tail,
            now(motion.rotation) - float(view.rotations[plane:].sum()),
            now(motion.arm),
            self._face(played, tail, t),
            now(motion.pressure) if motion.phase is not Phase.RUN else self._pressure(played),
            opening,
            opening,
            self._drop(played, now(motion.drop)),
            *self.reached(at.leads, set(range(at.ahead, at.bend)), at.bend, self._in_the_die(played, t)),
        )

    def _drop(self, played: Played, drop: float) -> float:
        """Return how far down the die stands [mm]: as the arm's way home has left it while the carriage runs off."""
        left = played.when == "run off" and not by_hand(played.attempt)
        return played.attempt.lowered if left else drop

    def _pressure(self, played: Played) -> float:
        """Return how far the pressure die stands forward while the carriage runs: before the arm goes home it does."""
        grip = played.attempt.grip
        forward = played.when == "run off" and by_hand(played.attempt) and grip.follows
        return played.attempt.station.swing_feed if forward else 0.0

    def _face(self, played: Played, tail: float, t: float) -> float:
        """Return where the collet's face stands [mm], with so much tube behind the tangent point [mm].

        Read off the hold, not off the motion: what was certified may be of another hold where nothing moves with the
        carriage.
        """
        place, phase, when = played.place, played.motion.phase, played.when
        own = self.checks.face(place.at, place.trims)
        if own is None or played.stands_open:
            return self.away
        new = own
        if place.after is not None and place.after.regripped:
            new = self.checks.face(place.after, place.trims) or own
        holds = own if when in ("run on", "move") or phase in (Phase.CLOSE, Phase.BEND) else new
        if phase is Phase.REGRIP:
            holds = own + t * (new - own)
        if phase is Phase.RUN:
            holds = own  # the tube is taken off after it, or it stays open: it takes no new hold
        face = holds - self.case.loaded(place.at.leads, place.trims).stock_behind_zero + tail
        if phase is not Phase.RUN:
            return face
        start, end = (self.away, face) if when == "run on" else (face, self.away)
        return start + t * (end - start)

    def _in_the_die(self, played: Played, t: float) -> float:
        """Return the angle that the bend at hand has [rad]."""
        station, motion = played.attempt.station, played.motion
        if played.when != "bend":
            return station.angle if played.when in ("run off", "return", "off", "alone") else 0.0
        if motion.phase is Phase.OPEN:
            return station.setting + t * (station.angle - station.setting)
        return motion.arm[0] + t * (motion.arm[1] - motion.arm[0])

    def reached(self, leads: End, formed: set[int], bend: int = 0, angle: float = 0.0) -> tuple[float, ...]:
        """Return the angle of every bend from end A; formed, bend: in the view of the end that leads."""
        reached = [0.0] * self.part.n_bends
        for one in formed:
            number = self.case.number(leads, one)
            reached[number - 1] = float(self.part.angles[number - 1])
        if bend:
            reached[self.case.number(leads, bend) - 1] = angle
        return tuple(reached)

    def _seconds(self, motion: Motion, by_hand: bool) -> float:
        """Return how long a motion takes [s], what goes together counted one after the other."""
        speeds, times = self.machine.speeds, self.machine.times
        if motion.phase is Phase.BEND:
            return motion.arm[1] / speeds.bend
        if motion.phase is Phase.REGRIP:
            return times.regrip
        if motion.phase in (Phase.CLOSE, Phase.OPEN, Phase.DROP):
            return times.clamp
        turned = abs(motion.rotation[1] - motion.rotation[0]) / speeds.rotate
        way = abs(motion.y[1] - motion.y[0]) / speeds.advance
        back = abs(motion.arm[1] - motion.arm[0]) / speeds.return_
        return min(turned + way, MOST_BY_HAND) if by_hand else turned + way + back
