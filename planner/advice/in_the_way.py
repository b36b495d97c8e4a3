"""What keeps a step of an order from being made: each thing with the motion and the clamp that it was met with."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from planner.clearance.verdicts import Answer
from planner.feasibility.bend_check import BendCheck, Blocked
from planner.feasibility.loading import Passage
from planner.feasibility.places import Place
from planner.sequencing.events import Arrival, Event
from planner.tube.bodies import Motion


@dataclass(frozen=True)
class InTheWay:
    """One thing that keeps a step from being made, with one clamp.

    number, place, attempt: of the arrival whose motion it is: of the step before where the tube is taken off for this
    one, or the collet takes a new hold for it; clamp: its number; upto: how far the motion is shown (0 … 1).
    put_on, placing: how the tube came to its place, as far as that is part of the step and goes.
    """

    number: int
    place: Place
    attempt: BendCheck
    clamp: int
    blocked: Blocked
    upto: float = 1.0
    put_on: tuple[Motion, ...] = ()
    placing: tuple[Motion, ...] = ()


def of_path(number: int, place: Place, attempt: BendCheck, met: tuple[Blocked, ...]) -> Iterator[InTheWay]:
    """Yield what is in the way of a path, clamp after clamp."""
    return (InTheWay(number, place, attempt, c, one) for c, one in zip(attempt.fitting, met, strict=False))


def solid_of(one: InTheWay) -> str | None:
    """Return the solid that is in the way, None where there is none."""
    witness = one.blocked.finding.witness
    return None if witness is None else witness.solid


def up_to(motion: Motion, path: tuple[Motion, ...]) -> tuple[Motion, ...]:
    """Return the motions of a path before one of them."""
    alike = [k for k, one in enumerate(path) if (one.y, one.rotation) == (motion.y, motion.rotation)]
    return path[: alike[0]] if alike else ()


def of_attempt(number: int, place: Place, attempt: BendCheck) -> Iterator[InTheWay]:
    """Yield what is in the way of a bend or of the move to it, clamp after clamp."""
    if len(attempt.blocked) == len(attempt.clamps):
        clamps = tuple(range(len(attempt.clamps)))
    else:
        clamps = attempt.fitting
    for clamp, blocked in zip(clamps, attempt.blocked, strict=False):
        yield InTheWay(number, place, attempt, clamp, blocked)


def of_passage(number: int, place: Place, attempt: BendCheck, passage: Passage) -> Iterator[InTheWay]:
    """Yield what is in the way of the tube on or off, clamp after clamp."""
    if passage.path is None:
        for clamp, blocked in zip(passage.fitting, passage.blocked, strict=True):
            yield InTheWay(number, place, attempt, clamp, blocked)


def least_telling(one: InTheWay, named: list[str]) -> tuple[bool, int]:
    """Return what rises as something in the way tells less."""
    solid = solid_of(one)
    return one.blocked.finding.answer is not Answer.STRUCK, named.index(solid) if solid in named else len(named)


def put_on_by(passage: Passage) -> tuple[Motion, ...]:
    """Return how the tube is put on, the carriage's run to its hold after it."""
    return passage.motions if passage.run is None or passage.path is None else (*passage.motions, passage.run)


def left_open(place: Place) -> Place:
    """Return a place from which the next bend of the same load is linked to in the same hold, whatever hold comes next.

    Where the tube is taken off after it, it stays as it is: the arm's way home hangs on that.
    """
    after = place.after
    if after is None or after.event is not Event.LINK:
        return place
    at = place.at
    return replace(place, after=Arrival(Event.LINK, at.leads, at.bend + 1, at.ahead, at.hold))
