"""A plan document → the film of it: for every step of the step list how tube and machine move [mm, rad].

Everything is read off the steps' own positions. Where the tube lies is anchored at the first bend of each load: then
that bend's tangent point lies in the die and its plane is the die's, and what the steps have moved since the load is
taken back from there. A tube that is taken off past the standing arm is brought into free hands, so that the arm can go
home.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from planner.inputs.files import machine_from_data, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.page.film import Film, Pose, Shot, film_of, radii_of
from planner.plans.document import End, Plan, Position, Step
from planner.tube.partly_bent import bend_seen, seen_from

LAYS_IN = ("load", "turn", "reload")
"""Actions that begin a load."""

BY_THE_TUBE = (*LAYS_IN, "advance", "rotate", "unload")
"""Actions in which the tube goes by itself, a mandrel that can be drawn back being so."""

IN_THE_DIE = ("close dies", "bend", "re-grip", "open dies", "die down", "run forward", "return")
"""Actions in which the mandrel stands in its place."""

FREE = 50.0
"""How far in front of the die the tail end is shown where the tube is in free hands [mm]."""

CLOSED, OPEN = 0.0, 1.0


def plan_film(made: Plan) -> Film:
    """Return the film of a plan document, a shot for each step; without steps that of the machine alone."""
    part, machine = part_from_data(made.part), machine_from_data(made.machine)
    if made.stock is None or not made.steps:
        return film_of(part, machine, 0.0, 0.0)
    shots = tuple(_Filming(made, part, machine).shots())
    return film_of(part, machine, made.stock.trim_a, made.stock.trim_b, shots)


@dataclass(frozen=True)
class _State:
    """Where everything stands; fields as in a pose, `reached` by bend from end A [mm, rad].

    start: where the tail end lies at an advance of 0; plane: roll at a chuck angle of 0; y, chuck: since then.
    """

    leads: End = "A"
    start: float = 0.0
    plane: float = 0.0
    y: float = 0.0
    chuck: float = 0.0
    arm: float = 0.0
    face: float = -1.0
    pressure: float = 0.0
    clamp_open: float = OPEN
    pressure_open: float = OPEN
    drop: float = 0.0
    reached: tuple[float, ...] = ()
    released: bool = False
    drawn_back: bool = False

    def pose(self) -> Pose:
        """Return the state as the vector that the browser interpolates."""
        return (
            self.start + self.y,
            self.plane + self.chuck,
            self.arm,
            self.face,
            self.pressure,
            self.clamp_open,
            self.pressure_open,
            self.drop,
            *self.reached,
        )

    def at(self, position: Position) -> _State:
        """Return the state with everything that a position names put there."""
        return replace(
            self,
            y=position.y,
            chuck=math.radians(position.rotation),
            arm=math.radians(position.arm),
            face=self.face if position.face is None else position.face,
        )

    def with_bend(self, bend: int, angle: float) -> _State:
        """Return the state with a bend (from 1, end A) bent to an angle."""
        return replace(self, reached=(*self.reached[: bend - 1], angle, *self.reached[bend:]))


class _Filming:
    """Goes through the steps of a plan once, from state to state."""

    def __init__(self, made: Plan, part: Part, machine: Machine) -> None:
        assert made.stock is not None  # of every plan with steps
        self.steps, self.stock, self.part, self.machine = made.steps, made.stock, part, machine
        self.radii = radii_of(part)
        carriage = machine.carriage
        self.away = -1.0 if carriage is None else carriage.waits_at
        self.draws_back = machine.mandrel is not None and machine.mandrel.draws_back
        self.now = _State(face=self.away, reached=(0.0,) * part.n_bends)

    def shots(self) -> Iterator[Shot]:
        """Give a shot for each step."""
        shown = False
        for place, step in enumerate(self.steps):
            if step.action in LAYS_IN:
                self._lay_in(place)
            before = self.now if step.from_ is None else self.now.at(step.from_)
            before = replace(before, drawn_back=self._drawn_back(step))
            self.now = self._after(step, before)
            shown = shown or step.action in LAYS_IN
            moving = before.pose() != self.now.pose()
            poses = (before.pose(), self.now.pose()) if moving else (self.now.pose(),)
            yield Shot(
                step=step.number,
                leads=self.now.leads,
                tooling=self._tooling(place),
                clamp=0.0 if step.clamp is None else step.clamp,
                poses=poses,
                at=(0.0, 1.0) if moving else (0.0,),
                seconds=step.time if step.action not in LAYS_IN else min(step.time, 4.0),
                shown=shown and not _goes_home_alone(step),
                released=before.released or self.now.released,
                drawn_back=before.drawn_back,
            )
            if step.action == "open dies":
                self._zero_at_end()

    def _drawn_back(self, step: Step) -> bool:
        """Say whether the mandrel is drawn back in a step; in between it stays as it was."""
        if step.action in BY_THE_TUBE:
            return self.draws_back
        return self.now.drawn_back and step.action not in IN_THE_DIE

    def _tooling(self, place: int) -> int:
        """Return the number of the tooling in the machine: that of the first bend, until the dies are changed."""
        fitted = [step.bend for step in self.steps[: place + 1] if step.action == "change dies"]
        first = [step.bend for step in self.steps if step.action == "bend"]
        bend = [*first[:1], *fitted][-1]
        assert bend is not None  # of every plan that is filmed
        return self.radii.index(float(self.part.radii[bend - 1]))

    def _lay_in(self, place: int) -> None:
        """Put the tube where the first bend of the load finds itself in the die."""
        first = _first_closing(self.steps, place)
        leads, bend, at = first.leads or "A", first.bend or 1, first.from_
        view, number = seen_from(self.part, leads), bend_seen(bend, leads, self.part.n_bends)
        trim = self.stock.trim_a if leads == "A" else self.stock.trim_b
        y, chuck = (0.0, 0.0) if at is None else (at.y, math.radians(at.rotation))
        passed = trim + float(view.bend_starts[number - 1])
        self.now = replace(
            self.now,
            leads=leads,
            start=passed - self.stock.cut_length - y,
            plane=-float(view.rotations[number:].sum()) - chuck,
            y=0.0,
            chuck=0.0,
            arm=0.0,
            face=self.away,
            pressure=0.0,
            clamp_open=OPEN,
            pressure_open=OPEN,
            drop=0.0,
            released=self.machine.carriage is not None,
        )

    def _after(self, step: Step, before: _State) -> _State:
        """Return the state after a step."""
        after = before if step.to is None else before.at(step.to)
        bend = step.bend or 1
        radius = float(self.part.radii[bend - 1])
        follows = self.machine.tooling_for(self.part.outside_diameter, radius).pressure_die_follows
        if step.action == "close dies":
            return replace(after, clamp_open=CLOSED, pressure_open=CLOSED)
        if step.action in ("die down", "die up"):
            return replace(after, drop=0.0 if step.action == "die up" else step.amount or 0.0)
        if step.action == "open collet":
            return replace(after, released=True)
        if step.action == "carriage forward":
            return replace(after, released=False)
        if step.action == "bend":
            pressed = replace(after, pressure=radius * after.arm if follows else 0.0)
            return pressed.with_bend(bend, after.arm)
        if step.action == "open dies":
            sprung = replace(after, clamp_open=OPEN, pressure_open=OPEN)
            return sprung.with_bend(bend, float(self.part.angles[bend - 1]))
        if step.action == "unload" and step.to is None and after.arm > 0.0:
            return replace(after, y=FREE - after.start)
        if step.action == "return":
            return replace(after, pressure=0.0, arm=0.0 if _goes_home_alone(step) else after.arm)
        if step.action == "re-grip":  # the open chuck may turn back; the tube stays where the dies hold it
            return replace(after, plane=before.plane + before.chuck - after.chuck)
        return after

    def _zero_at_end(self) -> None:
        """Count the advance from the end of the bend just made, as the positions of the next steps do."""
        self.now = replace(self.now, start=self.now.start + self.now.y, y=0.0)


def _goes_home_alone(step: Step) -> bool:
    """Say whether the arm goes home without the tube: then the step has no positions."""
    return step.action == "return" and step.to is None


def _first_closing(steps: Sequence[Step], place: int) -> Step:
    """Return the step in which the dies close on the first bend of the load that begins at a place."""
    return next(step for step in steps[place:] if step.action == "close dies")
