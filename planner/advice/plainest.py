"""The plainest ways to a bend, tried for what is in them: straight on, at another rotation, advanced and rotated."""

from __future__ import annotations

from dataclasses import replace

from planner.feasibility.bend_check import BendCheck, Blocked, Doing, moves
from planner.feasibility.bend_checks import clear_with, farthest_forward, in_the_way, rotates_from
from planner.feasibility.checks import Checks
from planner.feasibility.loading import ROLLS, Passage, motions_of, pass_all
from planner.feasibility.moves import Leg, plain_paths, timed
from planner.feasibility.places import Place
from planner.tube.bodies import Motion

Tried = tuple[tuple[Motion, ...], tuple[Blocked, ...]]
"""The motions of a path if they are clear with some clamp, else none of them and what is in their way."""


def path_tried(checks: Checks, doing: Doing, attempt: BendCheck, motions: tuple[Motion, ...]) -> Tried:
    """Try the motions of a path."""
    answers = checks.batches.certified([(attempt, motion) for motion in motions]) if motions else []
    found = list(zip(motions, answers, strict=True))
    if clear_with(found, attempt.fitting):
        return motions, ()
    return (), in_the_way(doing, found, attempt.fitting)


def straight_on(checks: Checks, passage: Passage) -> Tried:
    """Try to put a tube on straight, and to run the carriage to its hold then."""
    straight: tuple[Motion, ...] = ()
    if passage.far is not None:
        legs = [Leg("advance", passage.far, 0.0, 0.0, True)]
        straight = motions_of(passage, timed(checks.case.machine, legs))
    on, met = path_tried(checks, "load", passage.attempt, straight)
    run: tuple[Motion, ...] = () if passage.run is None else (passage.run,)
    ran, struck = path_tried(checks, "carriage run", passage.attempt, run)
    return ((), met or struck) if met or struck else ((*on, *ran), ())


def on_before_the_run(checks: Checks, passage: Passage) -> tuple[Motion, ...]:
    """Return how the tube is put on where it is only the carriage that cannot run to its hold then."""
    if passage.far is None:
        return ()
    alone = replace(passage, run=None, fitting=passage.attempt.fitting, blocked=())
    return pass_all(checks.batches, [alone])[0].motions


def rolled_on(checks: Checks, passage: Passage) -> tuple[Motion, ...]:
    """Return a way on at another rotation, at which the tube goes clear as far as the nose, and rotated there.

    None of it where there is no such rotation.
    """
    assert passage.far is not None  # asked only of a tube that goes on a mandrel
    ways, attempt = [], passage.attempt
    for roll in ROLLS:
        legs = [
            Leg("advance", passage.far, passage.nose, roll, True),
            Leg("rotate", roll, 0.0, passage.nose, True),
        ]
        ways.append(motions_of(passage, timed(checks.case.machine, legs)))
    answers = checks.batches.certified([(attempt, way[0]) for way in ways])
    clear = (way for way, answer in zip(ways, answers, strict=True) if clear_with([(way[0], answer)], attempt.fitting))
    return next(clear, ())


def plainest(checks: Checks, place: Place, attempt: BendCheck) -> tuple[Motion, ...]:
    """Return the motions of the path to a bend that is tried first; none where the tube is not moved."""
    if not checks.moves_to(place):
        return ()
    machine, standing = checks.case.machine, attempt.standing_before
    least = rotates_from(machine, checks.around(attempt.station).tooling) if standing.formed_arc else 0.0
    paths = plain_paths(
        machine,
        attempt.eased_before,
        attempt.station.advance,
        attempt.rolls,
        least,
        farthest_forward(machine, standing),
        attempt.shown_before,
    )
    path = next(paths, None)
    return () if path is None else moves(attempt, path)
