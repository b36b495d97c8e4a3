"""An order tried: every step of it judged, and of the first that cannot be made the motion that shows it.

The steps before it are made one way, by motions that are proved clear; then the step is begun although it is known to
fail, and what stands in its way is followed to the moment at which the tube first touches something. Where a rule alone
forbids a step nothing is moved.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from pydantic import Field

from planner.advice.answers import Costs, Judged
from planner.advice.order import Order, Steps, judge, look_into
from planner.clearance.bounds import Bounds, bounds
from planner.clearance.certify import place_of, split, starting_cells
from planner.clearance.deepest import Deepest, deepest
from planner.clearance.distances import evaluate
from planner.clearance.poses import Cells, may_exist, pose
from planner.clearance.rows import EVERY_CLAMP, Rows
from planner.clearance.verdicts import Answer, Witness
from planner.inputs.tooling import Tooling
from planner.plans.document import End, Reason, Record
from planner.plans.grounds import restricted
from planner.plans.reasons import place_name, the, touching
from planner.search.attempts import Attempt, Blocked, clear_with, farthest_forward, in_the_way, moves
from planner.search.checks import Checks, Place, places
from planner.search.decision import Plannable
from planner.search.events import Arrival, Event, Grade, NoGood
from planner.search.exact import Exact
from planner.search.left import Left, every_order, no_extra
from planner.search.lessons import Struck
from planner.search.moves import Leg, plain_paths, timed
from planner.search.passages import ROLLS, Passage, loading, motions_of, pass_all
from planner.search.search import OutOfTime, Search
from planner.tolerances import CELL_BUDGET
from planner.tube.frames import ALONG_FEED, UPWARD, Array, Flags, Ints
from planner.tube.motions import Motion, Path, Phase, Role

Doing = Literal["load", "move", "bend", "return", "unload"]
Standing = Literal["goes", "fails", "not settled", "not reached"]

MOMENT: Final = 1e-4
"""How exactly the moment of a contact is found, as a share of its motion."""

STEP: Final = 5.0
"""Places on the tube at which a closing block is looked for stand no farther apart [mm]."""

SWEPT: Final = 50
"""Moments of its travel at which it is looked for, before the first one is closed in on."""

RIM: Final = 90
"""Points on the rim of a flat end; between two of them it reaches 0.02 mm farther on the thickest tube at hand."""

ACROSS: Final = 5
"""Cross-sections that are looked at within a radius of either end of a piece."""

NEVER: Final = (-1, 0.0, math.inf)

HAIR: Final = 0.01
"""What comes no nearer to a contact than this, found so exactly, is none [mm]."""


class StepTried(Record):
    """One step of an order.

    standing: "goes" (there is a way to make all steps up to this one, its motions proved clear), "fails" (it cannot be
    made, for the reasons), "not settled" (there is neither a way nor a proof that there is none) or "not reached".
    """

    number: int
    bend: int
    leads: End
    standing: Standing


class Contact(Record):
    """What stands in the way of the step that fails or is not settled.

    doing: what is being done, None where no motion shows it: a rule alone forbids the step, or nothing was tried.
    solid: what the tube meets there; place: where on the tube, from end A, negative or past its length in the trim
    [mm]; clearance: the least to that solid in this motion, negative where it overlaps [mm]; needed [mm].

    t: the moment of the motion (0 … 1) up to which it is shown: where the tube first touches something, or, if
    `touches` is False, where it comes nearest; near_from: from when on it is nearer to the solid than it needs, None
    where that is too close to call. moment: the same as `t` in words. sentence: what is met there, in words. reasons:
    why the step fails or is not settled, as in the verdict.
    """

    step: int
    doing: Doing | None = None
    solid: str | None = None
    place: float | None = None
    clearance: float | None = None
    needed: float | None = None
    t: float | None = None
    touches: bool | None = None
    near_from: float | None = None
    moment: str | None = None
    sentence: str
    reasons: tuple[Reason, ...] = ()


class Tried(Record):
    """An order of one's own, tried; schema `bendorder-tried/1`.

    judged: the verdict on the whole; steps: of each step, in order; contact: what stands in the way, None where the
    order goes.
    """

    schema_: Literal["bendorder-tried/1"] = Field(default="bendorder-tried/1", alias="schema")
    part: str
    machine: str
    judged: Judged
    steps: tuple[StepTried, ...]
    contact: Contact | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the answer as plain JSON data."""
        return self.model_dump(mode="json", by_alias=True)

    def to_json(self) -> str:
        """Return the answer as JSON text; the same answer gives the same bytes."""
        return json.dumps(self.as_dict(), indent=1, ensure_ascii=False) + "\n"


@dataclass(frozen=True)
class Made:
    """One step of an order that goes: its arrival, its bend with the motions that are proved clear with `clamp` [mm],
    and the tube put on before it and taken off after it, where that is checked.
    """

    number: int
    place: Place
    attempt: Attempt
    clamp: float
    put_on: Passage | None
    taken_off: Passage | None


@dataclass(frozen=True)
class InTheWay:
    """One thing that keeps a step from being made, with one clamp.

    number, place, attempt: of the arrival whose motion it is: of the step before where the tube is taken off for this
    one, or the collet takes a new hold for it; clamp: its number; upto: how far the motion is shown (0 … 1).
    taken_off: the tube taken off after the step before; put_on, placing: how it came to its place, as far as that is
    part of the step and goes.
    """

    number: int
    place: Place
    attempt: Attempt
    clamp: int
    blocked: Blocked
    upto: float = 1.0
    taken_off: tuple[Motion, ...] = ()
    put_on: tuple[Motion, ...] = ()
    placing: tuple[Motion, ...] = ()


@dataclass(frozen=True)
class Tryout:
    """An order tried, with what shows it: the steps that go, and what is in the way of the next one.

    begun: the arrival of the step that fails, where there is one.
    """

    tried: Tried
    checks: Checks
    made: tuple[Made, ...]
    begun: Place | None = None
    shown: InTheWay | None = None


def try_out(search: Search, order: Order, best: Plannable | None, of_best: Costs | None = None) -> Tried:
    """Return what becomes of each step of an order (every bend once).

    best: the plan that it is held against, None where there is none; of_best: what that costs, where it is known.
    """
    return tried_with_motions(search, order, best, of_best).tried


def tried_with_motions(search: Search, order: Order, best: Plannable | None, of_best: Costs | None = None) -> Tryout:
    """Return the same with the motions that show it."""
    return _Trying(search, order, judge(search, order, best, of_best)).tryout()


class _Trying:
    """Carries an order out as far as it goes."""

    def __init__(self, search: Search, order: Order, judged: Judged) -> None:
        self.search, self.judged = search, judged
        self.checks = search.checks
        self.steps = Steps(search.case, order)
        mandrel = search.case.machine.mandrel
        self.nose = 0.0 if mandrel is None else mandrel.nose

    def tryout(self) -> Tryout:
        """Return the steps, and what shows them."""
        if self.judged.verdict == "goes":
            return Tryout(self._tried(len(self.judged.order)), self.checks, self._whole())
        fails = self._fails_at()
        made = self._as_far_as_it_goes(min(fails - 1, self.steps.runs))
        way = self._begun(fails, len(made))
        shown = None if way is None else self._in_the_way(fails, way)
        if way is not None and len(made) == fails - 1 > 0:  # one way for all that is shown
            ways = [left_open(way[-2]), *([way[-2]] if way[-1].at.regripped else [])]
            found = [self._all_made([*way[:-2], last]) for last in ways]
            made = next((one for one in reversed(found) if one is not None), made)
        contact = self._contact(fails, shown)
        if shown is not None and contact.t is not None:
            shown = replace(shown, upto=contact.t)
        begun = None if way is None else way[-1]
        return Tryout(self._tried(len(made), fails, contact), self.checks, made, begun, shown)

    def _tried(self, going: int, fails: int | None = None, contact: Contact | None = None) -> Tried:
        case, order = self.search.case, self.judged.order
        standings: list[Standing] = [*["goes"] * going, "not settled", *["not reached"] * len(order)]  # type: ignore[list-item]
        if fails is not None and self.judged.verdict == "fails":
            standings[fails - 1] = "fails"
        steps = tuple(
            StepTried(number=number, bend=made.bend, leads=made.leads, standing=standings[number - 1])
            for number, made in enumerate(order, start=1)
        )
        return Tried(part=case.part.name, machine=case.machine.name, judged=self.judged, steps=steps, contact=contact)

    def _fails_at(self) -> int:
        """Return the number of the step that fails or is not settled; the first where nothing is known of any."""
        if self.judged.fails is not None:
            return self.judged.fails.number
        return self.steps.runs + 1 if self.judged.undecided_because == "orders not tried" else 1

    # ------------------------------------------------------------------------------------------------- what goes

    def _whole(self) -> tuple[Made, ...]:
        """Return the steps of an order that goes, to the last unload."""
        found = restricted(self.search, self.steps.others).known()
        assert found is not None  # it has just been carried out
        return self._all_made(places(found)) or ()

    def _as_far_as_it_goes(self, most: int) -> tuple[Made, ...]:
        """Return the steps that are proved to go one after the other, up to `most`."""
        try:
            for upto in range(most, 0, -1):
                way = self._way(upto, upto)
                made = None if way is None else self._all_made(way)
                if made is not None:
                    return made
        except OutOfTime:
            pass
        return ()

    def _way(
        self, known_to: int, upto: int, grade: Grade = "unproved", besides: Collection[NoGood] = ()
    ) -> list[Place] | None:
        """Return the first `upto` places of a way to carry the order out, or None if there is none.

        The first `known_to` of them keep what is known and are looked into; of the next one only the rules are asked.
        grade: "proved" leaves aside what is not proved; besides: what else is kept.
        """
        search, steps = self.search, self.steps
        left = Left(search.problem.trims, every_order)
        rules = (*steps.others, *steps.up_to(upto, search.problem.rules))
        while True:
            if search.deadline is not None and time.monotonic() > search.deadline:
                raise OutOfTime
            known = [nogood for nogood in search.nogoods if grade == "unproved" or nogood.grade == "proved"]
            known = [*steps.up_to(known_to, known), *besides]
            trims = tuple(pair for pair, _ in left.worth_asking([*rules, *known]))
            found = Exact().best(replace(search.problem, rules=rules, trims=trims), known, no_extra, search.prefer)
            if found is None:
                return None
            way = places(found)[:upto]
            wanted = [*way[: known_to - 1], left_open(way[known_to - 1])] if known_to else []
            if not wanted or not look_into(search, wanted):
                return way if upto > known_to else wanted

    def _all_made(self, way: list[Place]) -> tuple[Made, ...] | None:
        """Return places that were looked into as steps; None where one of them is not proved clear in all it does."""
        made = [self._made(number, place) for number, place in enumerate(way, start=1)]
        return None if None in made else tuple(one for one in made if one is not None)

    def _made(self, number: int, place: Place) -> Made | None:
        checks = self.checks
        attempt = checks.bend([place])[0]
        if attempt.blocked:
            return None
        if checks.moves_to(place):
            attempt = checks.move([place])[0]
        put_on = checks.load([place])[0] if checks.put_on(place) else None
        taken_off = checks.unload([place])[0] if checks.taken_off(place) else None
        passages = [passage for passage in (put_on, taken_off) if passage is not None]
        fitting = [c for c in attempt.fitting if all(c in passage.fitting for passage in passages)]
        if attempt.blocked or not fitting or any(passage.path is None for passage in passages):
            return None
        return Made(number, place, attempt, attempt.clamps[fitting[0]], put_on, taken_off)

    # ------------------------------------------------------------------------------------------ what is in the way

    def _begun(self, fails: int, going: int) -> list[Place] | None:
        """Return the places of a way up to the step that fails, which no rule forbids; None where there is none.

        Of what was learned of that step only what the verdict names is left aside, if that leaves a way, else all.
        """
        if self.judged.fails is None or fails > self.steps.runs:
            return None
        grade: Grade = "unproved" if going == fails - 1 else "proved"
        named = {reason.solid for reason in self.judged.reasons}
        learned = self.steps.up_to(fails, self.search.nogoods)
        earlier = self.steps.up_to(fails - 1, learned)
        others = [nogood for nogood in learned if nogood not in earlier and _learned_of(nogood) not in named]
        try:
            way = self._way(fails - 1, fails, grade, others)
            return self._way(fails - 1, fails, grade) if way is None and others else way
        except OutOfTime:
            return None

    def _in_the_way(self, fails: int, way: list[Place]) -> InTheWay | None:
        """Return of all that keeps the last of some places from being made the most telling.

        That is a strike before what is too close to call, and what the verdict names before all else.
        """
        named = [reason.solid for reason in self._reasons() if reason.solid is not None]
        return min(self._all_in_the_way(fails, way), key=lambda one: _least_telling(one, named), default=None)

    def _all_in_the_way(self, fails: int, way: list[Place]) -> Iterator[InTheWay]:
        """Yield all that keeps the last of some places from being made, in the order in which it is met."""
        checks, place = self.checks, way[-1]
        taken_off: tuple[Motion, ...] = ()
        if fails > 1:
            before = way[-2]
            attempt = checks.bend([before])[0]
            if checks.taken_off(before) and not attempt.blocked:
                passage = checks.unload([before])[0]
                taken_off = passage.motions
                yield from _of_passage(fails - 1, before, attempt, passage)
            elif attempt.station.regrip is not None:
                yield from _of_attempt(fails - 1, before, attempt)
        whole = place if fails == len(self.judged.order) else left_open(place)
        for one in self._of_step(fails, whole):
            yield replace(one, taken_off=taken_off)

    def _of_step(self, number: int, place: Place) -> Iterator[InTheWay]:
        """Yield what keeps a step from being made once the one before it is."""
        checks = self.checks
        bent = checks.bend([place])[0]
        if bent.blocked:
            yield from self._of_bend(number, place, bent)
            return
        put_on: tuple[Motion, ...] = ()
        if checks.put_on(place):
            passage = checks.load([place])[0]
            put_on = passage.motions
            yield from self._of_load(number, place, passage, _of_passage(number, place, bent, passage))
        moved = checks.move([place])[0] if checks.moves_to(place) else bent
        for one in _of_attempt(number, place, moved):
            yield replace(one, put_on=put_on, placing=_up_to(one.blocked.motion, self._plainest(place, moved)))
        if checks.taken_off(place):
            for one in _of_passage(number, place, bent, checks.unload([place])[0]):
                yield replace(one, put_on=put_on, placing=moved.placing)

    def _of_bend(self, number: int, place: Place, bent: Attempt) -> Iterator[InTheWay]:
        """Yield what is in the way of a bend, and before that of the tube on its way there if it is the same.

        Where the tube strikes as it stands when the dies close, it strikes on its way already, whichever that is.
        """
        checks = self.checks
        found = list(_of_attempt(number, place, bent))
        begins = [self._begins(one) for one in found]
        at_once, out_of_reach = {solid for _, solid in begins if solid is not None}, all(near for near, _ in begins)
        fresh = checks.attempt(place)
        fresh.fitting, fresh.gripping = list(range(len(fresh.clamps))), bent.gripping
        fresh.eased_before = checks.eased(place)
        put_on: tuple[Motion, ...] = ()
        if checks.put_on(place):
            passage = loading(fresh, self.nose)
            straight = timed(checks.case.machine, [Leg("advance", passage.far, 0.0, 0.0, True)])
            put_on, met = self._path("load", fresh, motions_of(passage, straight))
            yield from self._of_load(number, place, passage, _at(number, place, fresh, met), at_once)
            if met and not out_of_reach:
                pass_all(checks.batches, [passage])
                put_on = passage.motions
        plainest = self._plainest(place, fresh)
        placing, met = self._path("move", fresh, plainest)
        for one in _at(number, place, fresh, met):
            if _solid_of(one) in at_once:
                yield replace(one, put_on=put_on, placing=_up_to(one.blocked.motion, plainest))
        if met and not out_of_reach:
            checks.batches.place_all([fresh])
            placing = fresh.placing
        yield from (replace(one, put_on=put_on, placing=placing) for one in found)

    def _of_load(
        self,
        number: int,
        place: Place,
        passage: Passage,
        straight: Iterator[InTheWay],
        solids: Collection[str | None] | None = None,
    ) -> Iterator[InTheWay]:
        """Yield what is in the way of the tube as it is put on, as far as it is one of some solids.

        Where it strikes straight on already in free hands, it is put on at another rotation, where that goes, and
        rotated to its place there.
        """
        found = [one for one in straight if solids is None or _solid_of(one) in solids]
        if not found or self._begins(found[0])[1] is None:
            yield from found
            return
        machine, attempt = self.checks.case.machine, passage.attempt
        ways = []
        for roll in ROLLS:
            legs = [Leg("advance", passage.far, self.nose, roll, True), Leg("rotate", roll, 0.0, self.nose, True)]
            ways.append(motions_of(passage, timed(machine, legs)))
        first = self.checks.batches.certified([(attempt, way[0]) for way in ways])
        for way, answer in zip(ways, first, strict=True):
            if clear_with([(way[0], answer)], attempt.fitting):
                _, met = self._path("load", attempt, way)
                for one in _at(number, place, attempt, met):
                    if _solid_of(one) == _solid_of(found[0]):
                        yield replace(one, put_on=_up_to(one.blocked.motion, way))
                break
        yield from found

    def _path(
        self, doing: Doing, attempt: Attempt, motions: tuple[Motion, ...]
    ) -> tuple[tuple[Motion, ...], tuple[Blocked, ...]]:
        """Return the motions of a path if they are clear with some clamp, else none and what is in its way."""
        answers = self.checks.batches.certified([(attempt, motion) for motion in motions]) if motions else []
        found = list(zip(motions, answers, strict=True))
        if clear_with(found, attempt.fitting):
            return motions, ()
        return (), in_the_way(doing, found, attempt.fitting)

    def _plainest(self, place: Place, attempt: Attempt) -> tuple[Motion, ...]:
        """Return the motions of the path to a bend that is tried first; none where the tube is not moved."""
        if not self.checks.moves_to(place):
            return ()
        machine, standing = self.checks.case.machine, attempt.standing_before
        paths = plain_paths(
            machine,
            attempt.eased_before,
            attempt.station.advance,
            attempt.rolls,
            standing.formed_arc,
            farthest_forward(machine, standing),
            attempt.shown_before,
        )
        path = next(paths, None)
        return () if path is None else moves(attempt, path)

    def _begins(self, one: InTheWay) -> tuple[bool, str | None]:
        """Return whether the tube is too near something as it stands before a motion, and to what."""
        if one.blocked.motion.phase not in (Phase.CLOSE, Phase.BEND, Phase.PLACE):
            return False, None
        return as_it_begins(one.blocked, one.clamp, self.checks.around(one.attempt.station).tooling)

    def _met(self, one: InTheWay) -> Met:
        return met_in(one.blocked, one.clamp, self.checks.around(one.attempt.station).tooling)

    def _reasons(self) -> list[Reason]:
        """Return the reasons of the verdict; where it is not settled those that are in doubt first."""
        doubtful = self.judged.verdict == "undecided"
        return sorted(self.judged.reasons, key=lambda reason: doubtful and reason.grade == "proved")

    def _contact(self, fails: int, shown: InTheWay | None) -> Contact:
        """Say what stands in the way of a step."""
        reasons = tuple(self._reasons())
        sentence = reasons[0].sentence if reasons else self.judged.sentence
        bare = Contact(step=fails, sentence=sentence, reasons=reasons)
        if shown is None:
            return bare
        blocked = shown.blocked
        doing: Doing = "move" if blocked.doing == "no path" else blocked.doing
        if blocked.rows is None or blocked.finding.witness is None:  # there was nothing to certify
            return bare.model_copy(update={"doing": doing})
        met = self._met(shown)
        leads, view = shown.place.at.leads, self.checks.leading(shown.place.at.leads).view
        close = blocked.finding.answer is Answer.CLOSE and not met.touches
        what = (
            f"against {the(met.solid)} is too close to call"
            if close
            else touching(met.clearance, met.needed, met.solid)
        )
        name = place_name(view, leads, met.place)
        return Contact(
            step=fails,
            doing=doing,
            solid=met.solid,
            place=round(met.place if leads == "A" else view.developed_length - met.place, 3),
            clearance=round(met.clearance, 3),
            needed=round(met.needed, 3),
            t=met.t,
            touches=met.touches,
            near_from=met.near_from,
            moment=moment(blocked.motion, met.t),
            sentence=f"{name[0].upper()}{name[1:]} {what}.",
            reasons=reasons,
        )


def _learned_of(nogood: NoGood) -> str | None:
    """Return the solid that a no-good was learned of, None where it is of none."""
    evidence = nogood.evidence
    witness = evidence.blocked[0].finding.witness if isinstance(evidence, Struck) else None
    return None if witness is None else witness.solid


def left_open(place: Place) -> Place:
    """Return a place that the next bend would be linked to in the same hold, so that nothing after it is asked for."""
    at = place.at
    return replace(place, after=Arrival(Event.LINK, at.leads, at.bend + 1, at.ahead, at.hold))


def _at(number: int, place: Place, attempt: Attempt, met: tuple[Blocked, ...]) -> Iterator[InTheWay]:
    """Yield what is in the way of a path, clamp after clamp."""
    return (InTheWay(number, place, attempt, c, one) for c, one in zip(attempt.fitting, met, strict=False))


def _solid_of(one: InTheWay) -> str | None:
    witness = one.blocked.finding.witness
    return None if witness is None else witness.solid


def _up_to(motion: Motion, path: tuple[Motion, ...]) -> tuple[Motion, ...]:
    """Return the motions of a path before one of them."""
    alike = [k for k, one in enumerate(path) if (one.y, one.rotation) == (motion.y, motion.rotation)]
    return path[: alike[0]] if alike else ()


def _of_attempt(number: int, place: Place, attempt: Attempt) -> Iterator[InTheWay]:
    """Yield what is in the way of a bend or of the move to it, clamp after clamp."""
    if len(attempt.blocked) == len(attempt.clamps):
        clamps = list(range(len(attempt.clamps)))
    else:
        clamps = attempt.fitting
    for clamp, blocked in zip(clamps, attempt.blocked, strict=False):
        yield InTheWay(number, place, attempt, clamp, blocked)


def _of_passage(number: int, place: Place, attempt: Attempt, passage: Passage) -> Iterator[InTheWay]:
    """Yield what is in the way of the tube on or off, clamp after clamp."""
    if passage.path is None:
        for clamp, blocked in zip(passage.fitting, passage.blocked, strict=True):
            yield InTheWay(number, place, attempt, clamp, blocked)


def _least_telling(one: InTheWay, named: list[str]) -> tuple[bool, int]:
    """Return what rises as something in the way tells less."""
    solid = _solid_of(one)
    return one.blocked.finding.answer is not Answer.STRUCK, named.index(solid) if solid in named else len(named)


# ------------------------------------------------------------------------------------------------ the first contact


@dataclass(frozen=True)
class Met:
    """What the tube meets in a motion, the moment up to which that is shown, and where on the tube it is then, from the
    leading end [mm]; clearance: the least to that solid [mm]; near_from: from when on it is nearer than needed [mm].
    """

    solid: str
    t: float
    place: float
    touches: bool
    clearance: float
    needed: float
    near_from: float | None


def met_in(blocked: Blocked, clamp: int, tooling: Tooling) -> Met:
    """Return what the tube meets first in a motion that something blocks: what it touches, else what it comes near.

    Where it touches nothing it is shown as near as it comes. clamp: its number in the motion's rows.
    """
    going, named = _Going.of(blocked, clamp, tooling)
    first = going.touch(named)
    row, s, t = (named, *going.nearest(named)) if first is None else first
    alike = np.flatnonzero(going.rows.solid == going.rows.solid[row])
    near = going.first_below(alike, going.rows.needed - going.rows.spread)
    depths = []
    if row != named:
        depths.append(going.least(row))
    if going.rows.solid[row] == going.rows.solid[named]:
        rows, witness = blocked.rows, blocked.finding.witness
        assert rows is not None  # of what was certified
        assert witness is not None
        depths.append(deepest(rows, witness).clearance)
    return Met(
        going.rows.names[going.rows.solid[row]],
        t,
        place_of(going.rows, row, s, t),
        first is not None,
        min(depths),
        float(going.rows.needed[row]),
        None if near is None else near[2],
    )


def as_it_begins(blocked: Blocked, clamp: int, tooling: Tooling) -> tuple[bool, str | None]:
    """Return whether the tube is too near something as a motion begins already, and to what, if it gets no nearer.

    What it touches only later in the motion is left to be shown there.
    """
    going, named = _Going.of(blocked, clamp, tooling)
    near = going.first_below(np.arange(going.rows.count), going.rows.needed - going.rows.spread)
    if near is None or near[2] > 0.0:
        return False, None
    touched = going.touch(named)
    first = near if touched is None else touched
    return True, None if first[2] > 0.0 else going.rows.names[going.rows.solid[first[0]]]


def as_it_goes(rows: Rows, motion: Motion) -> Rows:
    """Return the rows of a motion with everything there only at the times when it is there.

    What stands still as a set, the straight through the die, the tail and the arc that forms, is held against a solid
    once, at its longest. To find the first contact each grows and shrinks as it does: the straight at its front, and at
    its rear where the tube comes from in front.
    """
    pieces, blocks = rows.pieces.copy(), rows.blocks.copy()
    (y0, y1), behind = motion.y, motion.tail_length + min(motion.y)
    for piece in np.unique(rows.piece):
        body, column = motion.bodies[int(pieces[17, piece])], pieces[:, piece]
        moves = y0 != y1 and motion.phase in (Phase.PLACE, Phase.RETURN)
        if moves and body.path is Path.LINE and y1 > y0:
            column[12], column[13] = column[11] - (y1 - y0), y1 - y0
        elif moves and body.path is Path.LINE:
            column[0:3] += column[3:6] * column[11]
            column[3:6] *= -1.0
            column[12], column[13] = behind, y0 - y1
            column[14], column[15] = column[14] + column[15] * column[11] - (y0 - y1), -column[15]
        elif moves and body.roles == (Role.TAIL,):
            column[12], column[13] = behind - y0, y0 - y1
    grows = np.zeros(blocks.shape[1], dtype=bool)
    grows[rows.block[pieces[13, rows.piece] != 0.0]] = True
    still = grows & (blocks[10] == blocks[11])
    blocks[10, still], blocks[11, still] = 0.0, 1.0
    return replace(rows, pieces=pieces, blocks=blocks)


@dataclass(frozen=True)
class _Going:
    """A motion's rows as it goes; see `as_it_goes`."""

    rows: Rows
    motion: Motion
    tooling: Tooling

    @classmethod
    def of(cls, blocked: Blocked, clamp: int, tooling: Tooling) -> tuple[_Going, int]:
        """Return what is in the way as it goes, and the number of its witness's row."""
        rows, motion, witness = blocked.rows, blocked.motion, blocked.finding.witness
        assert rows is not None  # of what was certified
        assert witness is not None
        here = (rows.motion == rows.motion[witness.row]) & ((rows.clamp == EVERY_CLAMP) | (rows.clamp == clamp))
        return cls(as_it_goes(rows.take(here), motion), motion, tooling), int(np.count_nonzero(here[: witness.row]))

    def touch(self, named: int) -> tuple[int, float, float] | None:
        """Return where the tube first touches something, the solid of a row before another one touched just then."""
        limit = np.minimum(self.rows.needed, 0.0)
        first = self.first_below(np.arange(self.rows.count), limit)
        if first is None or self.rows.solid[first[0]] == self.rows.solid[named]:
            return first
        own = self.first_below(np.flatnonzero(self.rows.solid == self.rows.solid[named]), limit)
        return own if own is not None and own[2] <= first[2] + MOMENT else first

    def first_below(self, which: Ints, limit: Array) -> tuple[int, float, float] | None:
        """Return row, s [mm] and t of the first moment at which some rows come nearer than a limit (N,) [mm].

        Found by cells like a certificate, to MOMENT; None where nothing comes nearer by more than HAIR.
        """
        swept = self._swept(which)
        best = self._first_swept(swept, limit) if swept.size else None
        cells = starting_cells(self.rows)
        cells = cells.take(np.isin(cells.row, which) & ~np.isin(cells.row, swept))
        spent, doubtful = 0, set[int]()
        while cells.count and spent < CELL_BUDGET:
            spent += cells.count
            below = limit[cells.row]
            found = bounds(self.rows, cells, below)
            hit = found.upper < below
            if hit.any():
                k = int(np.lexsort((found.upper, np.where(hit, cells.t, np.inf)))[0])
                best = min((int(cells.row[k]), float(cells.s[k]), float(cells.t[k])), best or NEVER, key=lambda b: b[2])
            latest = (best or NEVER)[2] - MOMENT / 2.0
            found = replace(found, along=self._worth_cutting(cells, found, hit))
            coarse = found.along_s + found.along_t > HAIR
            left = (found.lower < below) & (cells.t - cells.dt < latest) & coarse
            gap = (found.lower < below) & ~hit & ~coarse & (found.upper - found.lower > 3.0 * HAIR)
            doubtful.update(cells.row[gap].tolist())
            rest, found, slack = cells.take(left), found.take(left), (found.upper - below)[left]
            slack = np.where(np.isfinite(slack), slack, (found.along_s + found.along_t) / 2.0)
            cells = split(rest, found, np.maximum(slack, HAIR / 2.0))
            cells = cells.take(may_exist(self.rows, cells) & (cells.t - cells.dt < latest))
        best = self._at_the_ends(np.array(sorted(doubtful), dtype=np.int64), limit, best)
        return best if best is None else self._from_the_start(best, limit)

    def _at_the_ends(
        self, which: Ints, limit: Array, best: tuple[int, float, float] | None
    ) -> tuple[int, float, float] | None:
        """Return an earlier moment at which a flat end comes nearer than a limit, or what was found already.

        The bounds leave a gap there: what a cell finds of a flat cross-section may be more than it keeps. Here points
        on it are looked at.
        """
        for row in which.tolist():
            start, end = self.rows.blocks[10:12, self.rows.block[row]]
            until = float(end) if best is None else best[2]
            before, deep = float(start), self._ends(row, float(start), limit[row])
            for t in np.linspace(start, until, SWEPT + 1) if until > start or deep is not None else ():
                deep = self._ends(row, float(t), limit[row])
                if deep is None:
                    before = float(t)
                    continue
                first = float(t)
                while first - before > MOMENT / 2.0:
                    middle = (before + first) / 2.0
                    found = self._ends(row, middle, limit[row])
                    before, first, deep = (middle, first, deep) if found is None else (before, middle, found)
                best = (row, deep, first) if best is None or first < best[2] else best
                break
        return best

    def _ends(self, row: int, t: float, limit: float) -> float | None:
        """Return s [mm] of the nearest cross-section about a piece's ends, None where none is nearer than a limit."""
        table, radius = self.rows.pieces[:, self.rows.piece[row]], self.rows.radius
        low, high = float(table[10]), min(float(table[11]), float(table[12] + table[13] * t))
        if high <= low:
            return None
        near = np.linspace(0.0, min(radius, high - low), ACROSS)
        s = np.unique(np.concatenate((low + near, high - near)))
        posed = pose(self.rows, np.full(s.shape, row), s, np.full(s.shape, t))
        across = np.cross(posed.tangent.T, np.where(np.abs(posed.tangent[2:].T) < 0.9, UPWARD, ALONG_FEED)).T
        across /= np.linalg.norm(across, axis=0)
        angle = np.linspace(0.0, 2.0 * np.pi, RIM, endpoint=False)[:, None, None]
        ring = np.cos(angle) * across + np.sin(angle) * np.cross(posed.tangent.T, across.T).T
        points = np.concatenate([posed.x + share * radius * ring for share in (0.5, 1.0)])
        solid = self.rows.solid[row]
        x = points.transpose(1, 0, 2).reshape(3, -1)
        parameters = np.repeat(self.rows.parameters[:, [solid]], x.shape[1], axis=1)
        exact = evaluate(np.full(x.shape[1], self.rows.kind[solid]), x, parameters)[0].reshape(-1, s.size).min(axis=0)
        k = int(exact.argmin())
        return float(s[k]) if exact[k] < limit else None

    def _worth_cutting(self, cells: Cells, found: Bounds, hit: Flags) -> Array:
        """Return what cutting a cell along its piece and in time gains [mm].

        Where its midpoint is too near already only an earlier moment is of interest; what grows cannot be seen from
        the speed of its points.
        """
        growth = np.abs(self.rows.pieces[13, self.rows.piece[cells.row]]) * cells.dt
        along_s, along_t, along_y = found.along
        later = np.where(cells.dt > MOMENT / 4.0, 1.0, 0.0)
        return np.stack((np.where(hit, 0.0, along_s), np.where(hit, later, along_t + growth), along_y))

    def _from_the_start(self, best: tuple[int, float, float], limit: Array) -> tuple[int, float, float]:
        """Return a moment found, or the very start of the motion where it is as near there already."""
        row, s, t = best
        start = float(self.rows.blocks[10, self.rows.block[row]])
        if t - start < MOMENT and self._clearance(self.rows, *(np.array([x]) for x in (row, s, start)))[0] < limit[row]:
            return row, s, start
        return best

    def _swept(self, which: Ints) -> Ints:
        """Return those of some rows that hold the whole travel of a block against the tube."""
        if self.motion.phase not in (Phase.CLOSE, Phase.OPEN):
            return which[:0]
        name = [self.rows.names[solid] for solid in self.rows.solid[which]]
        opened = self.motion.phase is Phase.OPEN  # the clamp stands open then
        return which[[one == "pressure die" or (one == "clamp die" and not opened) for one in name]]

    def _first_swept(self, which: Ints, limit: Array) -> tuple[int, float, float] | None:
        """Return the same of blocks that close on the tube or open."""
        low, high = self.rows.pieces[10:12, self.rows.piece[which]]
        many = np.ceil((high - low) / STEP).astype(int) + 1
        row = np.repeat(which, many)
        s = np.concatenate([np.linspace(a, b, k) for a, b, k in zip(low, high, many, strict=True)])
        met = np.flatnonzero(self._clearance(self.rows, row, s, 0.0 * s) < limit[row])
        row, s = row[met], s[met]

        def depth(t: float) -> Array:
            parameters = self.rows.parameters.copy()
            away = 1.0 - t if self.motion.phase is Phase.CLOSE else t
            for solid in np.unique(self.rows.solid[row]):
                clamp = self.rows.names[solid] == "clamp die"
                opens = (self.tooling.clamp_block if clamp else self.tooling.pressure_block).opens
                parameters[3:5, solid] += (away * opens, -opens)
            return self._clearance(replace(self.rows, parameters=parameters), row, s, np.full(s.shape, t)) - limit[row]

        before = 0.0
        for t in np.linspace(0.0, 1.0, SWEPT + 1) if row.size else ():
            if depth(float(t)).min() < 0.0:
                first = float(t)
                while first - before > MOMENT / 2.0:
                    middle = (before + first) / 2.0
                    before, first = (before, middle) if depth(middle).min() < 0.0 else (middle, first)
                k = int(depth(first).argmin())
                return int(row[k]), float(s[k]), first
            before = float(t)
        return None

    def nearest(self, row: int) -> tuple[float, float]:
        """Return s [mm] and t where a row comes nearest."""
        found = self._deepest(row)
        return found.s, found.t

    def least(self, row: int) -> float:
        """Return the least clearance of a row [mm]."""
        return self._deepest(row).clearance

    def _deepest(self, row: int) -> Deepest:
        solid = self.rows.names[self.rows.solid[row]]
        role = self.rows.roles[self.rows.piece[row]]
        return deepest(self.rows, Witness(row, role, solid, 0.0, 0.0, 0.0, math.inf, 0.0))

    @staticmethod
    def _clearance(rows: Rows, row: Ints, s: Array, t: Array) -> Array:
        return bounds(rows, Cells(row, s, 0.0 * s, t, 0.0 * t)).upper


def moment(motion: Motion, t: float) -> str:
    """Return a moment of a motion in words: "12.3° into the swing"."""

    def at(pair: tuple[float, float]) -> float:
        return pair[0] + t * (pair[1] - pair[0])

    if motion.phase is Phase.BEND:
        return f"{math.degrees(at(motion.arm)):.1f}° into the swing"
    if motion.phase is Phase.RETURN and motion.arm[0] != motion.arm[1]:
        return f"with the arm at {math.degrees(at(motion.arm)):.1f}°"
    if motion.phase in (Phase.PLACE, Phase.RETURN) and motion.rotation[0] != motion.rotation[1]:
        turned = math.degrees(abs(at(motion.rotation) - motion.rotation[0]))
        return f"{turned:.1f}° into the rotation, at an advance of {at(motion.y):.1f} mm"
    if motion.phase in (Phase.PLACE, Phase.RETURN):
        return f"at an advance of {at(motion.y):.1f} mm"
    doing = {Phase.CLOSE: "while the dies close", Phase.OPEN: "while the dies open", Phase.REGRIP: "at the re-grip"}
    return doing.get(motion.phase, "as it is laid in")
