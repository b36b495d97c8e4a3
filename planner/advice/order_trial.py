"""An order tried: every step of it judged, and of the first that cannot be made the motion that shows it.

The steps before it are made one way, by motions that are proved clear; then the step is begun although it is known to
fail, and what stands in its way is followed to the moment at which the tube first touches something. Where a rule alone
forbids a step nothing is moved.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from planner.advice.answers import Contact, Costs, Doing, Judged, Standing, StepTried, Tried
from planner.advice.first_contact import Met, as_it_begins, met_in, moment
from planner.advice.in_the_way import (
    InTheWay,
    least_telling,
    left_open,
    of_attempt,
    of_passage,
    of_path,
    put_on_by,
    solid_of,
    up_to,
)
from planner.advice.notation import Order
from planner.advice.order import Steps, judge, proposals
from planner.advice.plainest import on_before_the_run, path_tried, plainest, rolled_on, straight_on
from planner.clearance.verdicts import Answer
from planner.cuts.strike_cuts import Struck
from planner.deadline import OutOfTime, unlimited
from planner.facts import fact
from planner.feasibility.bend_check import BendCheck
from planner.feasibility.checks import Checks
from planner.feasibility.loading import Passage, loading, pass_all
from planner.feasibility.places import Place, places
from planner.plans.document import Reason
from planner.plans.reasons import contact, piece_at
from planner.search.decision import Plannable
from planner.search.search import Search
from planner.sequencing.events import Grade, NoGood, Sequence
from planner.tube.bodies import Motion, Phase
from planner.wording.say import say


@dataclass(frozen=True)
class StepMade:
    """One step of an order that goes: its arrival, its bend with the motions that are proved clear with `clamp` [mm],
    and the tube put on before it and taken off after it, where that is checked and goes.
    """

    number: int
    place: Place
    attempt: BendCheck
    clamp: float
    put_on: Passage | None
    taken_off: Passage | None


@dataclass(frozen=True)
class Tryout:
    """An order tried, with what shows it: the steps that go, and what is in the way of the next one.

    begun: the arrival of the step that fails, where there is one.
    """

    tried: Tried
    checks: Checks
    made: tuple[StepMade, ...]
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

    def tryout(self) -> Tryout:
        """Return the steps, and what shows them."""
        if self.judged.verdict == "goes":
            with unlimited():
                return Tryout(self._tried(len(self.judged.order)), self.checks, self._whole())
        fails = self._fails_at()
        made = self._as_far_as_it_goes(min(fails - 1, self.steps.runs))
        way = self._begun(fails, len(made))
        with unlimited():  # what is known of it is shown, whatever time that takes
            return self._failed(fails, made, way)

    def _failed(self, fails: int, made: tuple[StepMade, ...], way: list[Place] | None) -> Tryout:
        """Return the steps up to the one that fails, and what shows why; way: up to there, which no rule forbids."""
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

    def _whole(self) -> tuple[StepMade, ...]:
        """Return the steps of an order that goes, to the last unload."""
        found = self.search.forbidding(self.steps.others).best_checked()
        assert found is not None  # it has just been carried out
        return self._all_made(places(found), to_the_end=True) or ()

    def _as_far_as_it_goes(self, most: int) -> tuple[StepMade, ...]:
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

        def wanted(found: Sequence) -> list[Place]:
            way = places(found)[:known_to]
            return [*way[:-1], left_open(way[-1])] if way else []

        def learns(found: Sequence) -> bool:
            return known_to > 0 and self.search.look_into(wanted(found))

        found = self.search.settled(proposals(self.search, self.steps, upto, known_to, grade, besides), learns)
        if found is None:
            return None
        return places(found)[:upto] if upto > known_to else wanted(found)

    def _all_made(self, way: list[Place], to_the_end: bool = False) -> tuple[StepMade, ...] | None:
        """Return places that were looked into as steps; None where one of them is not proved clear in all it does.

        to_the_end: the tube has to be taken off after the last of them too.
        """
        asked = [to_the_end or number < len(way) for number, _ in enumerate(way, start=1)]
        made = [self._made(k + 1, place, off) for k, (place, off) in enumerate(zip(way, asked, strict=True))]
        return None if None in made else tuple(one for one in made if one is not None)

    def _made(self, number: int, place: Place, off: bool) -> StepMade | None:
        """Return a place as a step; off: it has to be taken off after it, where it is the last of its load."""
        checks = self.checks
        attempt = checks.bend([place])[0]
        if attempt.blocked:
            return None
        if checks.moves_to(place):
            attempt = checks.move([place])[0]
        put_on = checks.load([place])[0] if checks.put_on(place) else None
        taken_off = checks.unload([place])[0] if checks.taken_off(place) else None
        if taken_off is not None and taken_off.path is None and not off:
            taken_off = None
        passages = [passage for passage in (put_on, taken_off) if passage is not None]
        fitting = [c for c in attempt.fitting if all(c in passage.fitting for passage in passages)]
        if attempt.blocked or not fitting or any(passage.path is None for passage in passages):
            return None
        return StepMade(number, place, attempt, attempt.clamps[fitting[0]], put_on, taken_off)

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
        return min(self._all_in_the_way(fails, way), key=lambda one: least_telling(one, named), default=None)

    def _all_in_the_way(self, fails: int, way: list[Place]) -> Iterator[InTheWay]:
        """Yield all that keeps the last of some places from being made, in the order in which it is met."""
        checks, place = self.checks, way[-1]
        if fails > 1:
            before = way[-2]
            attempt = checks.bend([before])[0]
            if checks.taken_off(before) and not attempt.blocked:
                yield from of_passage(fails - 1, before, attempt, checks.unload([before])[0])
            elif attempt.station.regrip is not None:
                yield from of_attempt(fails - 1, before, attempt)
        yield from self._of_step(fails, place if fails == len(self.judged.order) else left_open(place))

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
            put_on, met = put_on_by(passage), of_passage(number, place, bent, passage)
            if passage.path is None and passage.blocked[0].doing == "carriage run":
                on = on_before_the_run(checks, passage)
                met = (replace(one, put_on=on) for one in met)
            yield from self._of_load(number, place, passage, met)
        moved = checks.move([place])[0] if checks.moves_to(place) else bent
        for one in of_attempt(number, place, moved):
            yield replace(one, put_on=put_on, placing=up_to(one.blocked.motion, plainest(checks, place, moved)))
        if place.after is None and checks.taken_off(place):
            for one in of_passage(number, place, bent, checks.unload([place])[0]):
                yield replace(one, put_on=put_on, placing=moved.placing)

    def _of_bend(self, number: int, place: Place, bent: BendCheck) -> Iterator[InTheWay]:
        """Yield what is in the way of a bend, and before that of the tube on its way there if it is the same.

        Where the tube strikes as it stands when the dies close, it strikes on its way already, whichever that is.
        """
        checks = self.checks
        found = list(of_attempt(number, place, bent))
        begins = [self._begins(one) for one in found]
        at_once, out_of_reach = {solid for _, solid in begins if solid is not None}, all(near for near, _ in begins)
        fresh = checks.attempt(place).checked(fitting=tuple(range(len(bent.clamps))), gripping=bent.gripping)
        standing = replace(fresh.standing_before, lowered=checks.lowered(place))
        fresh = replace(fresh, eased_before=checks.eased(place), standing_before=standing)
        put_on: tuple[Motion, ...] = ()
        if checks.put_on(place):
            passage = loading(checks.case.machine, checks.around(fresh.station).tooling, fresh)
            put_on, met = straight_on(checks, passage)
            yield from self._of_load(number, place, passage, of_path(number, place, fresh, met), at_once)
            if met and not out_of_reach:
                (passage,) = pass_all(checks.batches, [passage])
                put_on = put_on_by(passage)
        way = plainest(checks, place, fresh)
        placing, met = path_tried(checks, "move", fresh, way)
        for one in of_path(number, place, fresh, met):
            if solid_of(one) in at_once:
                yield replace(one, put_on=put_on, placing=up_to(one.blocked.motion, way))
        if met and not out_of_reach:
            placing = checks.batches.place_all([fresh])[0].placing
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
        found = [one for one in straight if solids is None or solid_of(one) in solids]
        if not found or passage.far is None or self._begins(found[0])[1] is None:
            yield from found
            return
        way = rolled_on(self.checks, passage)
        _, met = path_tried(self.checks, "load", passage.attempt, way)
        for one in of_path(number, place, passage.attempt, met):
            if solid_of(one) == solid_of(found[0]):
                yield replace(one, put_on=up_to(one.blocked.motion, way))
        yield from found

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
        said = reasons[0].fact if reasons else self.judged.fact
        bare = Contact(step=fails, sentence=say(said), fact=said, reasons=reasons)
        if shown is None:
            return bare
        blocked = shown.blocked
        doing: Doing = "move" if blocked.doing == "no path" else blocked.doing
        if blocked.rows is None or blocked.finding.witness is None:  # there was nothing to certify
            return bare.model_copy(update={"doing": doing})
        met = self._met(shown)
        leads, view = shown.place.at.leads, self.checks.leading(shown.place.at.leads).view
        close = blocked.finding.answer is Answer.CLOSE and not met.touches
        near = fact("against-is-too-close", solid=met.solid)
        if not close:
            near = contact(met.clearance, met.needed, met.solid)
        when = moment(blocked.motion, met.t)
        said = fact("touches", piece=piece_at(view, leads, met.place), contact=near, moment=when)
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
            moment=say(when),
            sentence=say(said),
            fact=said,
            reasons=reasons,
        )


def _learned_of(nogood: NoGood) -> str | None:
    """Return the solid that a no-good was learned of, None where it is of none."""
    evidence = nogood.evidence
    witness = evidence.blocked[0].finding.witness if isinstance(evidence, Struck) else None
    return None if witness is None else witness.solid
