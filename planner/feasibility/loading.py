"""On and off the rod: the tube put on from the front before a load's first bend, and taken off after its last.

With a mandrel the tube goes on from the front: its tail end comes from CLEAR_OF_NOSE in front of the mandrel's nose,
where it is in free hands, and slides over rod and nose through the open collet, at any rotation, until it stands at its
place. Taking it off is the reverse, the arc out of the groove first. The arm is at home, the blocks are open and the
carriage stands where it grips, or gripped, the tube.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from planner.clearance.rectangles import Region
from planner.clearance.verdicts import Answer
from planner.feasibility.bend_check import BendCheck, Blocked, legs_of
from planner.feasibility.bend_checks import SLIDES, Batches, clear_with, in_the_way, of, rotates_from
from planner.feasibility.detours import MovePlane, detours, varied
from planner.feasibility.moves import Leg, PlainPath, timed
from planner.inputs.machine import Machine
from planner.inputs.tooling import Tooling
from planner.tolerances import CLEAR_OF_NOSE
from planner.tube.bodies import Motion
from planner.tube.frames import Array
from planner.tube.motions import Standing, run_carriage

ROLLS = tuple(k * math.pi / 6.0 for k in (1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6))
"""Rotations at which a formed tube is put on or taken off, where it does not go straight [rad]."""

SHARES = (1.0, 0.9, 0.75, 0.5, 0.25)
"""Where it is then rotated, as shares of the way that it goes straight."""

MOST_DETOURS = 8
"""Paths through the plane that are certified for one passage."""

Way = Literal["load", "unload"]


@dataclass(frozen=True, eq=False)
class Passage:
    """One tube put on or taken off, and what is found of it.

    attempt: the bend that comes next, or was made last; standing: the tube at its place, at an advance of 0, the collet
    open; begin: the advance at which it stands there [mm]; far: the advance at which it is in free hands [mm], None
    where there is no mandrel: how it comes there is not looked at; nose: from which advance on it may be rotated [mm].
    run: the carriage's run from where it waits to its hold, or back, None where it has none to make.
    path: found, with its motions, for the clamps `fitting`; blocked: for each clamp what was in the way straight out.
    """

    way: Way
    attempt: BendCheck
    standing: Standing
    begin: float
    far: float | None
    nose: float
    run: Motion | None
    fitting: tuple[int, ...]
    path: PlainPath | None = None
    motions: tuple[Motion, ...] = ()
    blocked: tuple[Blocked, ...] = ()


def loading(machine: Machine, tooling: Tooling, attempt: BendCheck) -> Passage:
    """Return the passage by which the tube of a load comes to its place before its first bend."""
    standing = attempt.standing_before
    return _passage("load", machine, tooling, attempt, standing, 0.0, _run_to_hold(machine, standing))


def unloading(machine: Machine, tooling: Tooling, attempt: BendCheck) -> Passage:
    """Return the passage by which the tube is taken off after the last bend of a load."""
    run = _run_back(machine, attempt)
    standing = replace(attempt.standing, lowered=attempt.lowered)
    return _passage("unload", machine, tooling, attempt, standing, attempt.eased, run)


def _passage(
    way: Way,
    machine: Machine,
    tooling: Tooling,
    attempt: BendCheck,
    standing: Standing,
    begin: float,
    run: Motion | None,
) -> Passage:
    stands = None if machine.carriage is None else machine.carriage.waits_at
    drawn_off = way == "unload" and attempt.home is not None and attempt.home.drawn_off
    far = None if machine.mandrel is None or drawn_off else free_hands(machine, tooling, standing)
    nose = rotates_from(machine, tooling)
    return Passage(way, attempt, standing.opened(stands), begin, far, nose, run, attempt.fitting)


def free_hands(machine: Machine, tooling: Tooling, standing: Standing) -> float:
    """Return the advance at which a tube is in free hands, its tail in front of the mandrel's nose [mm]."""
    tip = machine.mandrel_of(tooling)
    return round(standing.tail_length + (0.0 if tip is None else tip.reach) + CLEAR_OF_NOSE, 6)


def _run_to_hold(machine: Machine, standing: Standing) -> Motion | None:
    if machine.carriage is None or standing.face is None:
        return None
    return run_carriage(standing, 0.0, (machine.carriage.waits_at, standing.face))


def _run_back(machine: Machine, attempt: BendCheck) -> Motion | None:
    """The collet opens once the arm is home, or before it where the tube is run forward by hand."""
    standing, home = attempt.standing, attempt.home
    if machine.carriage is None or standing.face is None:
        return None
    by_hand = home is not None and home.by_hand
    y, arm = (0.0, attempt.station.setting) if by_hand else (attempt.eased, 0.0)
    return run_carriage(standing, y, (standing.face - y, machine.carriage.waits_at), arm)


def pass_all(batches: Batches, passages: Iterable[Passage]) -> list[Passage]:
    """Find a clear path for each passage, straight, then rotated once on the way, then through the plane.

    Then the carriage runs to its hold, or back.
    """
    found = [replace(one, path=PlainPath((), 0.0)) if one.far is None else one for one in passages]
    found = _try(batches, found, [[_straight(batches, one)] if one.path is None else [] for one in found])
    slides = {
        number: slides_to(batches, one)
        for number, one in enumerate(found)
        if one.path is None and one.standing.leading.curvature.any()
    }
    rotated = [_rotated_once(batches, one, slides[k]) if k in slides else [] for k, one in enumerate(found)]
    found = _try(batches, found, rotated)
    for number, out in slides.items():
        if found[number].path is None:
            found[number] = _detour(batches, found[number], out)
    return _run_all(batches, found)


def _run_all(batches: Batches, passages: list[Passage]) -> list[Passage]:
    """Certify the carriage's runs; where one is struck the passage has no path."""
    running = {k: one.run for k, one in enumerate(passages) if one.path is not None and one.run is not None}
    answers = batches.certified([(passages[k].attempt, run) for k, run in running.items()]) if running else []
    found = list(passages)
    for (number, run), answer in zip(running.items(), answers, strict=True):
        one = passages[number]
        clear = clear_with([(run, answer)], one.fitting)
        if clear:
            found[number] = replace(one, fitting=clear)
        else:
            blocked = in_the_way("carriage run", [(run, answer)], one.fitting)
            found[number] = replace(one, path=None, motions=(), blocked=blocked)
    return found


def _straight(batches: Batches, passage: Passage) -> PlainPath:
    assert passage.far is not None  # asked only of a tube that goes on a mandrel
    ends = (passage.far, 0.0) if passage.way == "load" else (passage.begin, passage.far)
    return timed(batches.machine, [Leg("advance", *ends, 0.0, passage.way == "load")])


def _rotated_once(batches: Batches, passage: Passage, out: float) -> list[PlainPath]:
    """Return paths with one rotation on the way, where the tube goes straight between there and its place.

    out: how far it goes straight [mm].
    """
    assert passage.far is not None  # asked only of a tube that goes on a mandrel
    least = max(passage.nose, passage.begin)
    made = []
    for share in SHARES:
        y = round(least + share * (out - least), 1)
        if not least <= y <= out:
            continue
        for roll in ROLLS:
            if passage.way == "load":
                legs = [
                    Leg("advance", passage.far, y, roll, True),
                    Leg("rotate", roll, 0.0, y, True),
                    Leg("advance", y, 0.0, 0.0, True),
                ]
            else:
                legs = [
                    Leg("advance", passage.begin, y, 0.0, False),
                    Leg("rotate", 0.0, roll, y, False),
                    Leg("advance", y, passage.far, roll, True),
                ]
            made.append(timed(batches.machine, legs))
    return made


def motions_of(passage: Passage, path: PlainPath) -> tuple[Motion, ...]:
    """Return the motions of a path on or off; the collet is open and the carriage stands back."""
    return legs_of(passage.standing, path)


def _try(batches: Batches, passages: list[Passage], tried: list[list[PlainPath]]) -> list[Passage]:
    """Return the passages, each with its first clear path; what was in the way of the first one tried stays with it."""
    made = [
        [(path, motions_of(passage, path)) for path in paths] for passage, paths in zip(passages, tried, strict=True)
    ]
    answers = batches.answers([passage.attempt for passage in passages], made)
    found = list(passages)
    for number, passage in enumerate(passages):
        for path, legs in made[number]:
            on_way = [(motion, next(answers)) for motion in legs]
            if found[number].path is not None:
                continue
            clear = clear_with(on_way, passage.fitting)
            if clear:
                found[number] = replace(passage, path=path, motions=legs, fitting=clear, blocked=())
            elif not found[number].blocked:
                found[number] = replace(passage, blocked=in_the_way(passage.way, on_way, passage.fitting))
    return found


def ground_of(passage: Passage, clamp: float, out: float | None = None) -> MovePlane:
    """Return the plane in which a way on or off is sought; out: how far the arc slides straight out [mm], None: all."""
    assert passage.far is not None  # asked only of a tube that goes on a mandrel
    anywhere = Region((passage.far, passage.far), (-math.pi, math.pi))
    place = Region((passage.begin, passage.begin), (0.0, 0.0))
    slide = Region((passage.begin, passage.far if out is None else out), (0.0, 0.0))
    starts, goals = ((anywhere,), (place,)) if passage.way == "load" else ((slide,), (anywhere,))
    least = min(passage.nose, passage.begin)
    return MovePlane(
        passage.standing, clamp, (least, passage.far), (-math.pi, math.pi), passage.nose, False, starts, goals
    )


def _detour(batches: Batches, passage: Passage, slides: float) -> Passage:
    """Find a path through the plane; slides: how far the tube goes straight from its place [mm]."""
    around = batches.around(passage.attempt.station)
    out = None if passage.way == "load" else slides
    if out is not None and out <= passage.begin < passage.nose:
        return passage  # it may not be rotated where it stands, and goes no farther
    # What keeps clear of the shortest clamp is tried with all of them; where that does not pass none does.
    ground = ground_of(passage, passage.attempt.clamps[passage.fitting[-1]], out)
    found = detours(batches.machine, ground, around, 0.0)[:MOST_DETOURS]
    (passage,) = _try(batches, [passage], [found])
    pinned = (passage.way == "unload", passage.way == "load")
    for path in found if batches.harder else ():
        if passage.path is None:
            (passage,) = _try(batches, [passage], [list(varied(batches.machine, path, 0.0, pinned))])
    return passage


def slides_to(batches: Batches, passage: Passage) -> float:
    """Return how far a tube goes straight between its place and free hands at least [mm], by steps and finer ones."""
    assert passage.far is not None  # asked only of a tube that goes on a mandrel
    low, high = passage.begin, passage.far
    for _ in range(2):
        ways = np.linspace(low, high, SLIDES + 1)[1:]
        clear = [y for y, goes in zip(ways, _slides(batches, passage, ways), strict=True) if goes]
        low, high = max([low, *clear]), min([high, *(y for y in ways if y > max([low, *clear]))])
    return float(low)


def _slides(batches: Batches, passage: Passage, ways: Array) -> list[bool]:
    """Return whether the tube goes straight between its place and each of some advances [mm]."""
    on = passage.way == "load"
    ends = [(float(y), 0.0) if on else (passage.begin, float(y)) for y in ways]
    paths = [timed(batches.machine, [Leg("advance", *pair, 0.0, on)]) for pair in ends]
    answers = batches.certified([(passage.attempt, motions_of(passage, path)[0]) for path in paths])
    return [any(of(found, c).answer is Answer.CLEAR for c in passage.fitting) for found in answers]
