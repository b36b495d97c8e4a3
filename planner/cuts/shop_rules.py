"""The shop rules of a case as no-goods, and the sequencing problem that they make.

Every rule is a function in `rules/`; here it is asked of each bend at its place in each load, with every trim that
there is to choose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from itertools import groupby

from planner.facts import degrees, fact
from planner.feasibility.orders import Case
from planner.feasibility.stations import wrapped
from planner.inputs.machine import Carriage
from planner.inputs.springback import Setting
from planner.rules.bending import largest_angle, rated_capacity
from planner.rules.broken import Broken, End, Kept, keeps, other
from planner.rules.carriage import (
    filled_from,
    hold_kept,
    hold_serves,
    regrip_fits,
    regrip_kept,
    window_kept,
    window_open,
)
from planner.rules.chuck import rolls_within
from planner.rules.grip import (
    Loaded,
    clamps_that_fit,
    grip_kept,
    pressure_die_lasts,
    rod_kept,
    rod_reaches,
    same_dies,
    tail_kept,
    tail_left,
)
from planner.sequencing.events import ANY, Begun, Event, Hold, NoGood, Pattern, Span, Trims
from planner.sequencing.no_good_table import ENDS
from planner.sequencing.problem import Clamps, LeastTimes, Problem, milliseconds
from planner.tolerances import RULE_SLACK

BEGUN: tuple[Begun, Begun] = ("load", "re-grip")

NO_TRIM = Trims(0.0, 0.0)


def problem_of(case: Case, trims: tuple[Trims, ...] | None = None) -> Problem:
    """Return the sequencing problem of a case: its rules, its least times, the trims there are to choose from.

    trims: to choose from instead of those at which a rule begins to be kept.
    """
    carriage, machine = case.machine.carriage, case.machine
    trims = trims_to_choose(case) if trims is None else trims
    limits = machine.rotation.range
    return Problem(
        n=case.part.n_bends,
        trims=trims,
        rules=tuple(_Rules(case, trims).all()),
        times=least_times(case, trims),
        chuck=None if limits == "continuous" else limits,
        rolls={end: rolls_seen(case, end) for end in ENDS},
        may_regrip=carriage is not None and carriage.passes_through,
        may_reload=True,
        may_release=carriage is not None and carriage.finish_released,
        unasked=case.unasked,
    )


def tooling_to_choose(case: Case) -> bool:
    """Say whether there are clamps to choose from, or more than one set of dies."""
    return len(set(case.tooling)) > 1 or len(case.tooling[0].clamp_lengths) > 1


def with_clamps(case: Case, problem: Problem, trims: tuple[Trims, ...]) -> Problem | None:
    """Return a problem that tells the clamps apart, with these trims to choose from; None where there is no choice.

    A clamp has no part in re-clamps and trim, for it may be changed at every bend: that only takes time.
    """
    if not tooling_to_choose(case):
        return None
    clamps = {end: tuple(_clamps_at(case, end, bend) for bend in range(1, problem.n + 1)) for end in ENDS}
    return replace(problem, clamps=clamps, trims=trims)


def _clamps_at(case: Case, end: End, bend: int) -> Clamps:
    """Return the clamps for a bend in the view of an end."""
    tooling = case.tooling[case.number(end, bend) - 1]
    fitting = clamps_that_fit(case.loaded(end, NO_TRIM), bend, frozenset({bend - 1}), tooling) if bend > 1 else ()
    between = () if isinstance(fitting, Broken) else fitting
    return Clamps(tooling.clamp_lengths, between, tooling.bend_radius)


def rolls_seen(case: Case, end: End) -> tuple[float, ...]:
    """Return the rotation from each bend to the next in the view of an end, the shorter way round [rad]; first 0."""
    view = case.view(end)
    return (0.0, *(wrapped(float(rotation)) for rotation in view.rotations[1:]))


def _first_advance(case: Case, end: End, bend: int, trims: tuple[Trims, ...]) -> int:
    ways = [case.flush_advance(end, bend, pair) or 0.0 for pair in trims]
    return milliseconds(min(ways) / case.machine.speeds.advance)


def least_times(case: Case, trims: tuple[Trims, ...]) -> LeastTimes:
    """Return the least times of the ways to reach a bend [ms], whatever the trims."""
    speeds, times = case.machine.speeds, case.machine.times
    link: dict[End, tuple[int, ...]] = {}
    load: dict[End, tuple[int, ...]] = {}
    for end in ENDS:
        view, rolls = case.view(end), rolls_seen(case, end)
        ways = [float(view.straights[k]) / speeds.advance + abs(rolls[k]) / speeds.rotate for k in range(view.n_bends)]
        link[end] = (0, *(milliseconds(way) for way in ways[1:]))
        load[end] = tuple(_first_advance(case, end, bend, trims) for bend in range(1, view.n_bends + 1))
    seconds = (times.turn, times.load, times.regrip, times.tool_change)
    return LeastTimes(link, load, *(milliseconds(t) for t in seconds))


def trims_to_choose(case: Case) -> tuple[Trims, ...]:
    """Return the pairs of trims at which a rule begins to be kept, in whole millimetres, by their total [mm].

    Where something moves with the carriage, trims up to which a rule is kept and all that is allowed are there to
    choose too: the collet then holds farther back, which no rule asks for but a strike may.
    """
    points: dict[End, set[float]] = {"A": {0.0}, "B": {0.0}}
    carriage = case.machine.carriage
    for end in ENDS:
        view = case.view(end)
        allowed = {"A": case.allowed.a, "B": case.allowed.b}
        for bend in range(1, view.n_bends + 1):
            number = case.number(end, bend)
            tooling, setting = case.tooling[number - 1], case.settings[number - 1]
            behind = [tail_kept(view, bend, setting, tooling)[0]]
            if carriage is not None:
                behind.append(filled_from(view, bend, setting, carriage))
                if carriage.finish_released:
                    behind.append(filled_from(view, bend, setting, carriage, released=True))
            _add(points[end], grip_kept(view, bend, tooling)[0], allowed[end])
            for needed in behind:
                _add(points[other(end)], needed, allowed[other(end)])
    if carriage is not None and any(solid.moves_with == "carriage" for solid in case.machine.solid):
        for end in ENDS:
            points[end] |= _longest_kept(case, end, carriage)
    pairs = [Trims(a, b) for a in sorted(points["A"]) for b in sorted(points["B"])]
    return tuple(sorted(pairs, key=lambda pair: (pair.total, pair.a)))


def _longest_kept(case: Case, end: End, carriage: Carriage) -> set[float]:
    """Return the greatest trims at an end, behind the bends made with the other end leading, that are worth a trial.

    All that is allowed; up to which the mandrel's rod reaches; and with which the collet, at the farthest place, holds
    the very end: one that cannot be passed through allows no more, another gains nothing from more.
    """
    allowed, view = case.allowed.at(end), case.view(other(end))
    held, found = carriage.reach[1] + carriage.grip_length, {allowed}
    for bend in range(1, view.n_bends + 1):
        very_end = held + float(view.bend_starts[bend - 1]) - view.developed_length
        for limit in (very_end, rod_kept(view, bend, case.machine)[1]):
            most = math.inf if limit == math.inf else float(math.floor(limit + RULE_SLACK))
            if 0.0 < most < allowed:
                found.add(most)
    return found


def _add(points: set[float], needed: float, allowed: float) -> None:
    whole = float(math.ceil(max(needed, 0.0) - RULE_SLACK))
    if needed <= allowed + RULE_SLACK:
        points.add(min(whole, allowed))


Ask = Callable[[Loaded, int], Broken | None]
"""One rule asked of one bend (in the view) as the part is loaded."""


class _Rules:
    """Asks every rule of every bend, once for each trim that it depends on."""

    def __init__(self, case: Case, trims: tuple[Trims, ...]) -> None:
        self.case, self.n, self.carriage = case, case.part.n_bends, case.machine.carriage
        self.values: dict[End, list[float]] = {
            "A": sorted({pair.a for pair in trims}),
            "B": sorted({pair.b for pair in trims}),
        }
        self.loaded = cache(lambda end, lead, tail: case.loaded(end, _trims(end, lead, tail)))

    def all(self) -> Iterator[NoGood]:
        """Yield every rule that is broken somewhere."""
        yield from self._by_itself()
        for end in ENDS:
            for bend in range(1, self.n + 1):
                yield from self._dies(end, bend)
                yield from self._clamps(end, bend)
                yield from self._tail(end, bend)
                yield from self._pressure_die(end, bend)
                yield from self._rod(end, bend)
                yield from self._windows(end, bend)
            yield from self._holds(end)
            yield from self._chuck(end)

    def _setting(self, end: End, bend: int) -> float:
        return self.case.settings[self.case.number(end, bend) - 1]

    def _at_leading_end(self, end: End, bend: int, kept: Kept, ask: Ask) -> Iterator[tuple[Span, Broken]]:
        """Yield the spans of trim at the leading end within which a rule is broken."""
        for span, greatest in outside(kept, self.values[end]):
            broken = ask(self.loaded(end, greatest, 0.0), bend)
            assert broken is not None  # it is kept in no other trims
            yield span, broken

    def _at_tail(self, end: End, bend: int, kept: Kept, ask: Ask) -> Iterator[tuple[Span, Broken]]:
        """Yield the spans of trim at the tail within which a rule is broken."""
        for span, greatest in outside(kept, self.values[other(end)]):
            broken = ask(self.loaded(end, 0.0, greatest), bend)
            if broken is not None:  # at the edge of a hold a rounding may still keep it
                yield span, broken

    def _by_itself(self) -> Iterator[NoGood]:
        """The machine's largest angle, and its rated capacity."""
        case = self.case
        rating = rated_capacity(case.machine, case.part)
        for number in range(1, self.n + 1):
            setting = Setting(case.settings[number - 1], "measured")
            broken = largest_angle(case.machine, number, float(case.part.angles[number - 1]), setting)
            for found in (broken, rating):
                if isinstance(found, Broken):
                    for end in ENDS:
                        bend = case.number(end, number)
                        yield _nogood(Pattern(Event.BEND, end, bend, (1, bend)), found)

    def _dies(self, end: End, bend: int) -> Iterator[NoGood]:
        """Dies are not changed with a half-bent tube on the mandrel."""
        if bend == 1:
            return
        own, ahead = (self.case.tooling[self.case.number(end, b) - 1] for b in (bend, bend - 1))
        broken = same_dies(self.loaded(end, 0.0, 0.0), bend, own, ahead)
        if broken is not None:
            yield _nogood(Pattern(Event.LINK, end, bend, (1, bend - 1)), broken)

    def _clamps(self, end: End, bend: int) -> Iterator[NoGood]:
        """Between formed bends a clamp must fit; a leading end must offer the shortest grip."""
        tooling = self.case.tooling[self.case.number(end, bend) - 1]

        def ask(loaded: Loaded, bend: int, formed: frozenset[int] = frozenset()) -> Broken | None:
            found = clamps_that_fit(loaded, bend, formed, tooling)
            return found if isinstance(found, Broken) else None

        kept = grip_kept(self.case.view(end), bend, tooling)
        for span, broken in self._at_leading_end(end, bend, kept, ask):
            yield _nogood(Pattern(Event.BEND, end, bend, (bend, bend), trim_lead=span), broken)
        between = ask(self.loaded(end, 0.0, 0.0), bend, frozenset({bend - 1})) if bend > 1 else None
        if between is not None:
            yield _nogood(Pattern(Event.BEND, end, bend, (1, bend - 1)), between)

    def _tail(self, end: End, bend: int) -> Iterator[NoGood]:
        """The shortest tail behind the bend."""
        tooling = self.case.tooling[self.case.number(end, bend) - 1]
        setting = self._setting(end, bend)
        kept = tail_kept(self.case.view(end), bend, setting, tooling)
        asking = self._at_tail(end, bend, kept, lambda loaded, bend: tail_left(loaded, bend, setting, tooling))
        for span, broken in asking:
            yield _nogood(Pattern(Event.BEND, end, bend, (1, bend), trim_tail=span), broken)

    def _pressure_die(self, end: End, bend: int) -> Iterator[NoGood]:
        """What is left of a following pressure die behind the bend; trim has no part in it."""
        tooling = self.case.tooling[self.case.number(end, bend) - 1]
        broken = pressure_die_lasts(self.loaded(end, 0.0, 0.0), bend, self._setting(end, bend), tooling)
        if broken is not None:
            yield _nogood(Pattern(Event.BEND, end, bend, (1, bend)), broken)

    def _rod(self, end: End, bend: int) -> Iterator[NoGood]:
        """The mandrel's rod where the bend is the first after a load."""
        machine = self.case.machine
        kept = rod_kept(self.case.view(end), bend, machine)
        for span, broken in self._at_tail(end, bend, kept, lambda loaded, bend: rod_reaches(loaded, bend, machine)):
            for event in (Event.LOAD, Event.TURN, Event.RELOAD):
                yield _nogood(Pattern(event, end, bend, (1, bend), trim_tail=span), broken)

    def _windows(self, end: End, bend: int) -> Iterator[NoGood]:
        """The carriage's reach for the bend by itself, held and released, and for a re-grip at its end."""
        carriage, setting, view = self.carriage, self._setting(end, bend), self.case.view(end)
        if carriage is None:
            return
        choices: tuple[bool | None, ...] = (False, True) if carriage.finish_released else (None,)
        for released in choices:

            def ask(loaded: Loaded, bend: int, released: bool = bool(released)) -> Broken | None:
                return window_open(loaded, bend, setting, carriage, released)

            kept = window_kept(view, bend, setting, carriage, bool(released))
            for span, broken in self._at_tail(end, bend, kept, ask):
                yield _nogood(Pattern(Event.BEND, end, bend, (1, bend), trim_tail=span, released=released), broken)
        asking = self._at_tail(
            end,
            bend,
            regrip_kept(view, bend, setting, carriage),
            lambda loaded, bend: regrip_fits(loaded, bend, setting, carriage),
        )
        for span, broken in asking:
            yield _nogood(Pattern(Event.REGRIP, end, bend, (1, bend), trim_tail=span), broken)

    def _holds(self, end: End) -> Iterator[NoGood]:
        """How far each hold of the collet serves: the first bend that it does not, and the last of all if released."""
        if self.carriage is None:
            return
        for hold in self._all_holds():
            for bend in range(hold.since, self.n + 1):
                last = bend == self.n and self.carriage.finish_released
                held = list(self._served(end, hold, bend, released=False))
                for span, broken in held:
                    released = False if last else None
                    yield _nogood(Pattern(Event.BEND, end, bend, (1, bend), ANY, span, hold, None, released), broken)
                if last:
                    for span, broken in self._served(end, hold, bend, released=True):
                        yield _nogood(Pattern(Event.BEND, end, bend, (1, bend), ANY, span, hold, None, True), broken)
                if any(span == ANY for span, _ in held):
                    break  # it goes on over no bend beyond this one

    def _served(self, end: End, hold: Hold, bend: int, released: bool) -> Iterator[tuple[Span, Broken]]:
        """Yield the spans of trim at the tail within which a hold does not serve a bend."""
        carriage, view, setting = self.carriage, self.case.view(end), self._setting(end, bend)
        assert carriage is not None  # asked only then

        def ask(loaded: Loaded, bend: int) -> Broken | None:
            face = self.case.face(loaded, hold)
            assert face is not None  # there is a carriage
            return hold_serves(loaded, face, hold.since, bend, setting, carriage, released)

        back = self.case.farthest_face(end, hold)
        assert back is not None  # there is a carriage
        yield from self._at_tail(end, bend, hold_kept(view, back, bend, setting, carriage, released), ask)

    def _all_holds(self) -> Iterator[Hold]:
        for since in range(1, self.n + 1):
            for begun in BEGUN:
                if begun == "load" or since > 1:
                    yield Hold(since, begun)

    def _chuck(self, end: End) -> Iterator[NoGood]:
        """How far the chuck turns on before its range ends; it stands at 0 at every load and re-grip."""
        limits = self.case.machine.rotation.range
        if limits == "continuous":
            return
        rolls = rolls_seen(self.case, end)
        for hold in self._all_holds():
            # A re-grip comes before the rotation to the first bend that the new hold serves, a load after it.
            first = hold.since if hold.begun == "load" else hold.since - 1
            for bend in range(first + 1, self.n + 1):
                turned = rolls[first:bend]
                if rolls_within(limits, turned, [False] * len(turned)) is None:
                    low, high = (math.degrees(x) for x in limits)
                    a, b = self.case.number(end, first), self.case.number(end, bend)
                    range_ = {"low": degrees(low), "high": degrees(high)}
                    said = fact("chuck-range-of-rotations", leads=end, first=a, bend=b, **range_)
                    pattern = Pattern(Event.BEND, end, bend, (1, bend), hold=hold)
                    numbers: dict[str, float | tuple[float, ...]] = {"rolls": tuple(math.degrees(x) for x in turned)}
                    numbers |= {"from": low, "to": high}
                    yield _nogood(pattern, Broken("chuck range", b, end, said, numbers))
                    break


def _trims(end: End, lead: float, tail: float) -> Trims:
    return Trims(lead, tail) if end == "A" else Trims(tail, lead)


def outside(kept: Kept, trims: list[float]) -> Iterator[tuple[Span, float]]:
    """Yield the spans of a rising list of trims within which a rule is broken, each with its greatest trim.

    A span that holds for every trim there is reaches from −∞ to ∞.
    """
    for broken, some in groupby(trims, key=lambda trim: not keeps(kept, trim)):
        if broken:
            span = list(some)
            yield (ANY if len(span) == len(trims) else (span[0], span[-1])), span[-1]


def _nogood(pattern: Pattern, broken: Broken) -> NoGood:
    return NoGood(pattern, broken.rule, broken.fact, "proved", broken)
