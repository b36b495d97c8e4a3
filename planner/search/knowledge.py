"""What is known of a case, whoever asks: what was checked, and what was learned of it. It only grows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from planner.cuts.shop_rules import problem_of
from planner.cuts.strike_cuts import StrikeCuts
from planner.feasibility.bend_check import BendCheck
from planner.feasibility.bend_checks import Around
from planner.feasibility.checks import Checks
from planner.feasibility.handling import Handling
from planner.feasibility.orders import Case
from planner.feasibility.places import Place, places
from planner.sequencing.events import Event, NoGood, Sequence
from planner.sequencing.problem import Problem


@dataclass
class Knowledge:
    """A case, its whole problem, and what was found of it.

    looked_harder: how much had been learned when it was begun to look harder: what was not proved by then counts no
    more; goes: the plan, once it was carried out: what would forbid it is not learned any more.
    """

    case: Case
    around: Around
    problem: Problem
    checks: Checks
    cuts: StrikeCuts
    handling: Handling
    looked_harder: int = 0
    goes: Sequence | None = None
    _learned: list[NoGood] = field(default_factory=list)
    _counting: tuple[NoGood, ...] | None = None

    @classmethod
    def of(cls, case: Case, around: Around) -> Knowledge:
        """Return what is known of a case before anything was checked: its rules."""
        problem = problem_of(case)
        checks = Checks(case, problem, around)
        return cls(case, around, problem, checks, StrikeCuts(checks), Handling(checks))

    def snapshot(self) -> Knowledge:
        """Return what is known now: what is learned from here on is learned there or here, what is checked by both."""
        return replace(self, _learned=[*self._learned])

    @property
    def nogoods(self) -> tuple[NoGood, ...]:
        """What was learned and counts."""
        if self._counting is None:
            aside = self._learned[: self.looked_harder]
            counting = [nogood for nogood in aside if nogood.grade == "proved"]
            self._counting = (*counting, *self._learned[self.looked_harder :])
        return self._counting

    def learn(self, learned: Iterable[NoGood]) -> bool:
        """Take in no-goods; say whether any of them is new."""
        known = {nogood.pattern for nogood in self.nogoods}
        fresh = [nogood for nogood in learned if nogood.pattern not in known]
        if self.goes is not None:  # within the band of what is asked for a strike and a proof that it is clear may meet
            fresh = [nogood for nogood in fresh if not matching([nogood], self.goes)]
        self._take_in(fresh)
        return bool(fresh)

    def keep(self, sequence: Sequence) -> None:
        """Take in that a sequence goes: it was carried out, every motion of it certified as printed."""
        self.goes = sequence

    def reject(self, nogood: NoGood) -> None:
        """Take in a no-good that was found elsewhere."""
        self._take_in([nogood])

    def _take_in(self, nogoods: list[NoGood]) -> None:
        self._learned.extend(nogoods)
        self._counting = None

    def remember(self, earlier: Iterable[NoGood]) -> None:
        """Take in what was learned on a part or machine a little different, where its witnesses still strike."""
        found = [self.cuts.again(nogood) for nogood in earlier]
        self.learn([nogood for nogood in found if nogood is not None])

    def look_harder(self) -> bool:
        """Look once more, harder, into what was not proved; say whether that is news."""
        if self.checks.batches.harder:
            return False
        self.checks.look_harder()
        self.looked_harder, self._counting = len(self._learned), None
        return True

    def learned_of(self, wanted: list[Place]) -> list[NoGood]:
        """Return what is learned of places that follow one another: their bends, moves, loads and unloads."""
        bent = self._taught(wanted, self.checks.bend(wanted))
        goes = {place.at for place in wanted} - {place.at for place, _ in bent}
        moving = [
            place
            for place in wanted
            if self.checks.moves_to(place)
            and place.at in goes
            and (place.at.event is not Event.LINK or place.before in goes)
        ]
        moved = self._taught(moving, self.checks.move(moving))
        goes -= {place.at for place, _ in moved}
        passed = self._on_and_off([place for place in wanted if place.at in goes])
        return [*(nogood for _, nogood in (*bent, *moved)), *passed]

    def _taught(self, wanted: list[Place], attempts: list[BendCheck]) -> list[tuple[Place, NoGood]]:
        """Return the places that cannot be carried out, each with what it teaches."""
        found = []
        for place, attempt in zip(wanted, attempts, strict=True):
            nogood = self.cuts.of_bend(place, attempt) if attempt.blocked else None
            if nogood is not None:
                found.append((place, nogood))
        return found

    def _on_and_off(self, wanted: list[Place]) -> list[NoGood]:
        """Check loads and unloads at places whose bends and moves go; return what is learned."""
        on = [place for place in wanted if self.checks.put_on(place)]
        off = [place for place in wanted if self.checks.taken_off(place)]
        found = [*zip(on, self.checks.load(on), strict=True), *zip(off, self.checks.unload(off), strict=True)]
        return [self.cuts.of_passage(place, passage) for place, passage in found if passage.path is None]


def matching(nogoods: Iterable[NoGood], sequence: Sequence) -> list[NoGood]:
    """Return the no-goods that forbid a sequence."""
    wanted = places(sequence)
    return [n for n in nogoods if any(n.pattern.matches(place.before, place.at, place.trims) for place in wanted)]
