"""An order tried → its film: the steps that go, then what fails up to the moment at which the tube touches something.

Everything is read off the motions that were certified (`planner.advice.order_trial`); a motion is linear in the pose,
so the poses at its ends are all that is kept of it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Final, NamedTuple

from planner.advice.in_the_way import InTheWay, put_on_by
from planner.advice.notation import read_order
from planner.advice.order import costs_in
from planner.advice.order_trial import StepMade, Tryout, tried_with_motions
from planner.deadline import limited
from planner.feasibility.bend_check import BendCheck, Doing, gripping_motions
from planner.feasibility.loading import Passage
from planner.feasibility.orders import Case
from planner.feasibility.places import Place
from planner.page.film import Film, Shot, film_of
from planner.page.job_inputs import MachineAsked, PartAsked, machine_asked, part_asked
from planner.page.motion_poses import OPENED, Played, Posing, When, by_hand, homeward, row, standing
from planner.page.tasks import kept_search
from planner.rules.broken import other
from planner.sequencing.events import Event, Prefer, Trims
from planner.tube.bodies import Motion, Phase

BEGINS: Final = {Event.LOAD: "load", Event.TURN: "turn end for end", Event.RELOAD: "reload"}
"""What is done to begin a load."""

BY_DOING: Final[dict[Doing, When]] = {
    "load": "on", "move": "move", "no path": "move", "bend": "bend", "return": "return", "unload": "off"
}  # fmt: skip
"""When what is blocked is done; a run of the carriage is made where it is looked at."""


class TriedFilm(NamedTuple):
    """The film of an order that was tried; marks: what to point at where it ends; captions: what each shot does."""

    film: Film
    marks: tuple[dict[str, Any], ...]
    captions: tuple[str, ...]


def tried_film(case: Case, tryout: Tryout) -> TriedFilm:
    """Return the film of an order that was tried on a case."""
    filming = _TrialFilming(case, tryout)
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
    with limited(time_limit):
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


class _TrialFilming:
    """Goes through the motions of an order once."""

    def __init__(self, case: Case, tryout: Tryout) -> None:
        self.case, self.tryout = case, tryout
        self.posing = Posing(tryout.checks)
        self.made = tryout.made
        last = tryout.begun or (self.made[-1].place if self.made else None)
        self.trims = Trims(0.0, 0.0) if last is None else last.trims
        if any(made.place.trims != self.trims for made in self.made):
            self.made = ()  # a film shows one tube

    # --------------------------------------------------------------------------------------------- what is shown

    def shots(self) -> Iterator[tuple[str, Shot]]:
        """Yield every shot with what is done in it."""
        shown = self.tryout.shown
        again = shown is not None and self._is_before(shown)
        for made in self.made:
            taken_up_again = again and made is self.made[-1]
            yield from self._begin(made.number, made.place, made.attempt)
            yield from self._played(self.of_made(made, with_bend=not taken_up_again))
        if shown is not None:
            yield from self._fails(shown)
        elif self.tryout.tried.contact is not None:
            yield from self._never_begun()

    def _is_before(self, shown: InTheWay) -> bool:
        """Say whether what fails is part of the step before: its re-grip, or the tube taken off after it."""
        contact = self.tryout.tried.contact
        return contact is not None and shown.number < contact.step

    def _fails(self, shown: InTheWay) -> Iterator[tuple[str, Shot]]:
        """Yield what leads up to what is in the way, and that as far as it is shown."""
        if not self._is_before(shown):
            yield from self._begin(shown.number, shown.place, shown.attempt)
        rows = self.of_what_fails(shown)
        for k, played in enumerate(rows):
            if played.when == "bend" and not self._is_before(shown) and self._came_from_nowhere(shown):
                yield from self._played(rows[:k])
                yield "stands", self.posing.still(played)
                rows = rows[k:]
                break
        yield from self._played(rows)

    def _came_from_nowhere(self, shown: InTheWay) -> bool:
        """Say whether no clear way was found by which the tube comes to the bend that fails."""
        checks, place = self.tryout.checks, shown.place
        return (checks.moves_to(place) and not shown.placing) or (checks.put_on(place) and not shown.put_on)

    def _begin(self, number: int, place: Place, attempt: BendCheck) -> Iterator[tuple[str, Shot]]:
        """Yield the tube in free hands before it is put on anew; without a mandrel it then stands in its place."""
        event = place.at.event
        if event is Event.LINK:
            return
        stands = standing(number, place, attempt, self.tryout.checks)
        if event is not Event.LOAD:
            yield BEGINS[event], self.posing.shot(stands, shown=False)
        if self.case.machine.mandrel is None:
            yield BEGINS[Event.LOAD], self.posing.shot(stands)

    def _played(self, played: Sequence[Played]) -> Iterator[tuple[str, Shot]]:
        """Yield motions as shots; what is put on is called so once, and so is what is taken off."""
        on = next((k for k, one in enumerate(played) if one.when == "on"), None)
        off = max((k for k, one in enumerate(played) if one.when == "off"), default=None)
        for k, one in enumerate(played):
            if one.motion.phase is Phase.RUN and one.when != "run on":
                yield "open collet", self.posing.still(one)
            yield "load" if k == on else "unload" if k == off else one.doing, self.posing.shot(one)

    def of_made(self, made: StepMade, with_bend: bool = True) -> list[Played]:
        """Return the motions of a step that goes; what is taken off to be put back is taken off for the next step."""
        on: tuple[Motion, ...] = () if made.put_on is None else put_on_by(made.put_on)
        of = Played(made.number, made.place, made.attempt, made.clamp, "move", made.attempt.gripping[0])
        found = row(of, ("on", on), ("move", made.attempt.placing))
        if not with_bend:
            return found
        off, attempt = made.taken_off, made.attempt
        found += row(of, ("bend", self._gripping(made.place)), *homeward(attempt, off))
        found += row(of, ("off", () if off is None else off.motions))
        home = max(k for k, played in enumerate(found) if played.when in ("return", "alone"))
        after = made.number if made.place.after is None else made.number + 1
        return [replace(played, number=after) if k > home else played for k, played in enumerate(found)]

    def of_what_fails(self, shown: InTheWay) -> list[Played]:
        """Return the motions of a step that fails up to the one that does, as far as that is shown."""
        blocked, attempt, place = shown.blocked, shown.attempt, shown.place
        of = Played(shown.number, place, attempt, attempt.clamps[shown.clamp], "move", blocked.motion)
        found = row(of, ("on", shown.put_on), ("move", shown.placing))
        gripping, when = self._gripping(place), BY_DOING.get(blocked.doing, "run on")
        if blocked.doing == "carriage run" and blocked.motion.face is not None:
            when = "run on" if blocked.motion.face[0] == self.posing.away else "run off"
        if when == "bend":
            before = itertools.takewhile(lambda motion: motion.phase is not blocked.motion.phase, gripping)
            found += row(of, ("bend", before))
        elif when == "return":
            found += row(of, ("bend", gripping))
        elif when == "run off":
            found += row(of, ("bend", gripping), ("return", () if by_hand(attempt) else attempt.returning))
        elif when == "off":
            found += row(of, ("bend", gripping), *homeward(attempt, self._off(place)))
        if blocked.rows is None:  # there was nothing to move
            return found
        return [*found, replace(of, when=when, upto=shown.upto)]

    def _off(self, place: Place) -> Passage:
        return self.tryout.checks.unload([place])[0]

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
        reached = self.posing.reached(leads, formed)
        pose = (-tail, -float(view.rotations[bend:].sum()), 0.0, self.posing.away, 0.0, *OPENED, 0.0, *reached)
        number = self.posing.radii.index(float(self.case.part.radii[fails.bend - 1]))
        yield "stands", Shot(fails.number, leads, number, tooling.clamp_lengths[0], (pose,), (0.0,), released=True)

    def marks(self) -> Iterator[dict[str, Any]]:
        """Yield what to point at where the film ends: where the tube meets something, or the bend that is forbidden."""
        contact = self.tryout.tried.contact
        if contact is None:
            return
        fails, place = self.tryout.tried.judged.fails, contact.place
        if place is None and fails is not None:
            start, end = (
                float(ends[fails.bend - 1]) for ends in (self.case.part.bend_starts, self.case.part.bend_ends)
            )
            place = round((start + end) / 2.0, 3)
        yield {"solid": contact.solid, "place": place, "text": contact.sentence}
