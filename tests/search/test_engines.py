"""Both engines on random problems without geometry: the same least value as plain enumeration, or none where it has none.

What every test here relies on is tests/search/abstract.py, which shares no code with either engine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from typing import Protocol

import pytest

from planner.facts import fact
from planner.rules.broken import End
from planner.sequencing.cpsat import CpSat
from planner.sequencing.events import Arrival, Event, Hold, NoGood, Pattern, Prefer, Sequence, Trims, Value
from planner.sequencing.exact import Exact
from planner.sequencing.problem import Extra, LeastTimes, Problem
from planner.sequencing.solution import SolvedStep, SolverGaveUp, SolverWrong, replay
from tests.search.abstract import (
    Instance,
    best_values,
    clamps_changed,
    describes,
    faults,
    random_instance,
    sequences,
    speaks_of,
    with_clamps,
    worth,
)


class Engine(Protocol):
    def best(
        self, problem: Problem, nogoods: Iterable[NoGood], extra: Extra, prefer: Prefer = ...
    ) -> Sequence | None: ...


ENGINES: list[Engine] = [Exact(), CpSat()]
PREFERENCES: tuple[Prefer, ...] = ("fewer re-clamps", "less trim")
BY_NAME = pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: type(engine).__name__)

SEEDS = (*range(120), 128, 164, 189, 210, 214, 233)
"""The last ones for re-grips and last bends with the collet open, of which the others have few."""

CAMPAIGN = range(1000, 5000)
FIRST_LOAD = Hold(1, "load")


@cache
def instance_of(seed: int) -> Instance:
    return random_instance(seed)


@cache
def truth_of(seed: int) -> dict[Prefer, Value] | None:
    return best_values(instance_of(seed))


def solved(engine: Engine, instance: Instance, prefer: Prefer) -> Sequence | None:
    return engine.best(instance.problem, instance.nogoods, instance.extra, prefer)


def nothing_more(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:  # noqa: ARG001
    return 0


def plain(n: int, **changes: object) -> Problem:
    """A problem of n bends in which every link takes 100 ms and nothing is forbidden."""
    hundred = (0, *[100] * (n - 1))
    times = LeastTimes(
        {"A": hundred, "B": hundred}, {"A": (0,) * n, "B": (0,) * n}, turn=60_000, reload=50_000, regrip=15_000
    )
    still = {"A": (0.0,) * n, "B": (0.0,) * n}
    problem = Problem(n, (Trims(0.0, 0.0),), (), times, None, still, False, False, False)  # type: ignore[arg-type]
    return replace(problem, **changes)  # type: ignore[arg-type]


def forbid(event: Event, leads: End, bend: int, ahead: tuple[int, int] = (1, 99), **more: object) -> NoGood:
    return NoGood(Pattern(event, leads, bend, ahead, **more), "test", fact("as-said", text="forbidden by the test"))  # type: ignore[arg-type]


# ------------------------------------------------------------------ against plain enumeration


@BY_NAME
@pytest.mark.parametrize("prefer", PREFERENCES)
def test_the_least_value_is_that_of_plain_enumeration(engine: Engine, prefer: Prefer, campaign: bool) -> None:
    for seed in CAMPAIGN if campaign else SEEDS:
        truth, found = truth_of(seed), solved(engine, instance_of(seed), prefer)
        expected = None if truth is None else truth[prefer]
        assert (None if found is None else found.value) == expected, seed


@BY_NAME
@pytest.mark.parametrize("prefer", PREFERENCES)
def test_the_least_time_counts_every_change_of_a_clamp_and_the_change_back(
    engine: Engine, prefer: Prefer, campaign: bool
) -> None:
    """Over all sequences with all clamps, each pass over the batch closed to a cycle."""
    changed, kinds = 0, set[bool]()
    for seed in CAMPAIGN if campaign else SEEDS[:60]:
        instance = with_clamps(seed, random_instance(seed, largest=4))
        truth, found = best_values(instance), solved(engine, instance, prefer)
        assert (None if found is None else found.value) == (None if truth is None else truth[prefer]), seed
        if found is not None:
            assert faults(instance, found) == [], seed
            changed += clamps_changed(instance.problem, found.arrivals) > 0
            kinds.add(len({arrival.clamp for arrival in found.arrivals}) > 1)
    assert changed >= 5
    assert kinds == {True, False}


@BY_NAME
@pytest.mark.parametrize("prefer", PREFERENCES)
def test_stock_that_nobody_has_stated_is_spared_before_all_else(engine: Engine, prefer: Prefer, campaign: bool) -> None:
    ends: tuple[frozenset[End], ...] = (frozenset("A"), frozenset("B"), frozenset("AB"))  # type: ignore[assignment]
    used = otherwise = 0
    for seed in CAMPAIGN if campaign else SEEDS[:60]:
        plainly = random_instance(seed, largest=5)
        instance = replace(plainly, problem=replace(plainly.problem, unasked=ends[seed % 3]))
        truth, found = best_values(instance), solved(engine, instance, prefer)
        assert (None if found is None else found.value) == (None if truth is None else truth[prefer]), seed
        if found is not None:
            assert faults(instance, found) == [], seed
            used += found.value.unasked > 0.0
            stated = best_values(plainly)
            otherwise += stated is not None and stated[prefer].reclamps < found.value.reclamps
    assert used >= 5
    assert otherwise >= 1 or prefer == "less trim"


def test_both_engines_agree_on_clamps_at_sizes_that_no_enumeration_reaches(campaign: bool) -> None:
    makeable = 0
    for seed in range(200 if campaign else 12):
        instance = with_clamps(seed, random_instance(seed, largest=10))
        wide = replace(instance, nogoods=instance.nogoods[: 2 * instance.problem.n])
        exact, cpsat = (solved(engine, wide, "fewer re-clamps") for engine in ENGINES)
        assert (None if exact is None else exact.value) == (None if cpsat is None else cpsat.value), seed
        makeable += exact is not None
    assert makeable >= 6


@BY_NAME
def test_a_sequence_found_is_one_of_those_there_are_and_costs_what_it_says(engine: Engine, campaign: bool) -> None:
    checked = 0
    for seed in CAMPAIGN if campaign else SEEDS:
        found = solved(engine, instance_of(seed), "fewer re-clamps")
        if found is not None:
            checked += 1
            assert faults(instance_of(seed), found) == [], seed
    assert checked > 80


def test_the_random_problems_are_of_every_kind_that_matters() -> None:
    """Without a share of each the agreement above would prove little."""
    truths = [truth_of(seed) for seed in SEEDS]
    values = [truth["fewer re-clamps"] for truth in truths if truth is not None]
    assert 15 <= truths.count(None) <= 50
    assert sum(value.reclamps == 1 for value in values) >= 12
    assert sum(value.reclamps >= 2 for value in values) >= 5
    assert sum(value.trim > 0 for value in values) >= 12
    assert sum(truth is not None and len(set(truth.values())) == 2 for truth in truths) >= 3
    best = [solved(ENGINES[0], instance_of(seed), "fewer re-clamps") for seed in SEEDS]
    arrivals = [arrival for found in best if found is not None for arrival in found.arrivals]
    for kind in (Event.TURN, Event.RELOAD):
        assert sum(arrival.event is kind for arrival in arrivals) >= 3, kind
    assert min(sum(a.regripped for a in arrivals), sum(a.way for a in arrivals), sum(a.released for a in arrivals)) >= 5


def test_a_pattern_matches_what_its_docstring_says() -> None:
    """`Pattern.matches`, which the replay uses, against the enumeration's own reading: over all arrivals of small problems."""
    seen = {True: 0, False: 0}
    for seed in range(60):
        instance = random_instance(seed, largest=3)
        instance = with_clamps(seed, instance) if seed % 3 == 0 and instance.problem.n < 3 else instance
        patterns = [nogood.pattern for nogood in (*instance.problem.rules, *instance.nogoods)]
        free = Instance(replace(instance.problem, rules=()), (), instance.extra)
        for trims in instance.problem.trims:
            pairs = {pair for s in sequences(free, trims) for pair in zip((None, *s), s, strict=False)}
            for before, arrival in pairs:
                for pattern in patterns:
                    matches = speaks_of(pattern, trims) and describes(pattern, before, arrival)
                    assert pattern.matches(before, arrival, trims) == matches, (pattern, before, arrival, trims)
                    seen[matches] += 1
    assert min(seen.values()) > 300


@pytest.mark.parametrize("presolve", [True, False])
def test_the_solver_gives_the_same_value_for_twenty_seeds(presolve: bool) -> None:
    harder = [seed for seed in SEEDS if instance_of(seed).problem.n >= 5][:5]
    for seed in harder:
        truth = truth_of(seed)
        for of_solver in range(20):
            found = solved(CpSat(seed=of_solver, presolve=presolve), instance_of(seed), "fewer re-clamps")
            expected = None if truth is None else truth["fewer re-clamps"]
            assert (None if found is None else found.value) == expected, (seed, of_solver)


@pytest.mark.parametrize("linearization", [1, 2])
def test_the_value_does_not_depend_on_the_linear_relaxation(linearization: int) -> None:
    for seed in SEEDS[:40]:
        truth, found = truth_of(seed), solved(CpSat(linearization=linearization), instance_of(seed), "less trim")
        assert (None if found is None else found.value) == (None if truth is None else truth["less trim"]), seed


def test_both_engines_agree_at_sizes_that_no_enumeration_reaches(campaign: bool) -> None:
    makeable = 0
    for seed in range(300 if campaign else 20):
        instance = random_instance(seed, largest=12)
        wide = replace(instance, nogoods=instance.nogoods[: 2 * instance.problem.n])
        for prefer in PREFERENCES:
            exact, cpsat = (solved(engine, wide, prefer) for engine in ENGINES)
            assert (None if exact is None else exact.value) == (None if cpsat is None else cpsat.value), (seed, prefer)
            makeable += exact is not None
    assert makeable >= 10


# ------------------------------------------------------------------ by hand


@BY_NAME
def test_straight_through_is_best_where_nothing_is_forbidden(engine: Engine) -> None:
    found = engine.best(plain(5), (), nothing_more)
    assert found is not None
    assert found.value[:3] == (0, 0.0, 400)
    assert [arrival.event for arrival in found.arrivals] == [Event.LOAD] + [Event.LINK] * 4


@BY_NAME
def test_a_turn_is_one_reclamp_and_the_bends_go_on_at_the_other_end_of_the_run(engine: Engine) -> None:
    """Of five bends from A, 3 is made with A leading and 2 with B, and not first: so 3, 4, 5 from A, then 2, 1 from B."""
    nogoods = [forbid(Event.BEND, "B", 3), forbid(Event.BEND, "A", 2), forbid(Event.LOAD, "B", 4)]
    found = engine.best(plain(5), nogoods, nothing_more)
    assert found is not None
    assert found.value[:3] == (1, 0.0, 60_000 + 300)
    made = [(a.event, a.leads, a.bend, a.ahead, a.hold) for a in found.arrivals]
    from_a = Hold(3, "load")
    from_b = Hold(4, "load")
    assert made == [
        (Event.LOAD, "A", 3, 3, from_a),
        (Event.LINK, "A", 4, 3, from_a),
        (Event.LINK, "A", 5, 3, from_a),
        (Event.TURN, "B", 4, 1, from_b),
        (Event.LINK, "B", 5, 1, from_b),
    ]


@BY_NAME
@pytest.mark.parametrize(
    ("formed_ahead", "reclamps"), [((1, 1), 1), ((2, 2), None), ((0, 0), 1), ((3, 9), 1), ((1, 2), None), ((2, 1), 1)]
)
def test_the_span_of_formed_bends_ahead_tells_a_first_bend_from_one_with_its_neighbour_formed(
    engine: Engine, formed_ahead: tuple[int, int], reclamps: int | None
) -> None:
    """The middle one of three bends has to be first, with A leading: nothing is formed ahead of it, so `ahead` is 2."""
    nogoods = [forbid(Event.LOAD, "A", 1), forbid(Event.LOAD, "A", 3)]
    nogoods += [forbid(Event.LOAD, "B", bend) for bend in (1, 2, 3)]
    nogoods += [forbid(Event.BEND, "A", 2, formed_ahead)]
    found = engine.best(plain(3), nogoods, nothing_more)
    assert (None if found is None else found.value.reclamps) == reclamps


@BY_NAME
def test_no_sequence_is_found_where_a_bend_can_be_made_neither_way(engine: Engine) -> None:
    """Bend 2 of 3 is number 2 from either end."""
    neither = [forbid(Event.BEND, "A", 2), forbid(Event.BEND, "B", 2)]
    assert engine.best(plain(3), neither, nothing_more) is None
    assert engine.best(plain(3, rules=tuple(neither)), (), nothing_more) is None
    assert engine.best(plain(3, trims=()), (), nothing_more) is None


@BY_NAME
@pytest.mark.parametrize(
    ("limit", "shorter_only", "reclamps"), [(270.0, True, 0), (180.0, True, 1), (180.0, False, 0), (90.0, False, 2)]
)
def test_the_chuck_goes_the_longer_way_or_is_set_back_where_its_range_ends(
    engine: Engine, limit: float, shorter_only: bool, reclamps: int
) -> None:
    """Three rotations of +90°, A leading: within ±270° as they are; within ±180° the third goes back by 270° from +180°, or
    starts from 0 after a re-grip; within ±90° one fits, and each of the others needs a re-grip.
    """
    right_angles = (0.0, *[math.pi / 2] * 3)
    reach = math.radians(limit)
    nogoods = [forbid(Event.LOAD, "B", b) for b in range(1, 5)] + [forbid(Event.TURN, "B", b) for b in range(2, 5)]
    if shorter_only:
        nogoods += [forbid(Event.LINK, "A", b, way=1) for b in range(2, 5)]
    problem = plain(4, chuck=(-reach, reach), rolls={"A": right_angles, "B": right_angles}, may_regrip=True)
    found = engine.best(problem, nogoods, nothing_more)
    assert found is not None
    assert found.value[:3] == (reclamps, 0.0, 300 + 15_000 * reclamps)


@BY_NAME
def test_a_rotation_up_to_the_chucks_limit_goes_and_one_beyond_it_takes_a_turn(engine: Engine) -> None:
    for beyond, reclamps in ((0.0, 0), (1e-6, 1)):
        roll = math.pi / 2 + beyond
        problem = plain(2, chuck=(-math.pi / 2, math.pi / 2), rolls={"A": (0.0, roll), "B": (0.0, roll)})
        found = engine.best(problem, (), nothing_more)
        assert found is not None
        assert found.value.reclamps == reclamps


@BY_NAME
def test_a_last_bend_with_the_collet_open_is_one_reclamp_and_takes_no_time(engine: Engine) -> None:
    held = [forbid(Event.BEND, leads, 3, released=False) for leads in ("A", "B")]
    turns = [forbid(Event.TURN, leads, bend) for leads in ("A", "B") for bend in (2, 3)]
    assert engine.best(plain(3), [*held, *turns], nothing_more) is None
    found = engine.best(plain(3, may_release=True), [*held, *turns], nothing_more)
    assert found is not None
    assert found.value[:3] == (1, 0.0, 200)
    assert [arrival.released for arrival in found.arrivals] == [False, False, True]


@BY_NAME
def test_more_trim_buys_a_reclamp_less_or_the_other_way_round(engine: Engine) -> None:
    """Without 50 mm at end A bend 1 cannot be first with A leading; with B leading the bend nearest B is never made."""
    nogoods = [
        forbid(Event.LOAD, "A", 1, trim_lead=(-math.inf, 49.0)),
        forbid(Event.BEND, "B", 1),
    ]
    problem = plain(3, trims=(Trims(50.0, 0.0), Trims(0.0, 0.0)))
    few = engine.best(problem, nogoods, nothing_more, "fewer re-clamps")
    less = engine.best(problem, nogoods, nothing_more, "less trim")
    assert few is not None
    assert less is not None
    assert few.value[:2] == (0, 50.0)
    assert less.value[:2] == (1, 0.0)


@BY_NAME
def test_what_arrivals_take_beyond_their_least_decides_between_orders_of_equal_least_time(engine: Engine) -> None:
    """From A a tool change costs 300 s before bend 3; from B nothing is known to."""

    def tool_change(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:  # noqa: ARG001
        return 300_000 if before is not None and (before.leads, before.bend) == ("A", 2) else 0

    found = engine.best(plain(4), (), tool_change)
    assert found is not None
    assert (found.value.time, found.arrivals[0].leads) == (300, "B")


# ------------------------------------------------------------------ the solver's word


STRAIGHT_THROUGH = [
    SolvedStep("load", "A", 1, 0, False),
    SolvedStep("kept", "A", 2, 0, False),
    SolvedStep("kept", "A", 3, 0, False),
]


def changed(place: int, **fields: object) -> list[SolvedStep]:
    steps = list(STRAIGHT_THROUGH)
    steps[place] = steps[place]._replace(**fields)  # type: ignore[arg-type]
    return steps


def test_a_solution_that_keeps_every_rule_is_replayed_to_its_value() -> None:
    sequence = replay(plain(3), (), Trims(0.0, 0.0), STRAIGHT_THROUGH, nothing_more)
    assert sequence.value[:3] == (0, 0.0, 200)
    assert worth(Instance(plain(3), (), nothing_more), sequence.arrivals, sequence.trims) == sequence.value


@pytest.mark.parametrize(
    ("steps", "why"),
    [
        (STRAIGHT_THROUGH[:2], "every bend is made once"),
        ([*STRAIGHT_THROUGH, STRAIGHT_THROUGH[2]], "cannot be made with"),
        ([STRAIGHT_THROUGH[1], STRAIGHT_THROUGH[0], STRAIGHT_THROUGH[2]], "reached by the load"),
        ([SolvedStep("load", "A", 2, 0, False), SolvedStep("turn", "A", 1, 0, False)], "cannot be made with"),
        ([SolvedStep("load", "A", 1, 0, False), SolvedStep("kept", "A", 3, 0, False)], "cannot be made with"),
        (changed(2, reached="turn"), "the leading end changes at a turn"),
        (
            [SolvedStep("load", "A", 2, 0, False), SolvedStep("kept", "B", 3, 0, False)],
            "the leading end changes at a turn",
        ),
        (changed(1, reached="re-grip"), "no such re-clamp"),
        (changed(1, reached="reload"), "no such re-clamp"),
        (changed(2, released=True), "may not be opened"),
        (changed(1, way=1), "no longer way round"),
        (changed(2, reached="load"), "reached by the load"),
        (changed(0, reached="kept"), "reached by the load"),
    ],
)
def test_a_solution_that_breaks_the_rules_of_the_game_is_refused(steps: list[SolvedStep], why: str) -> None:
    with pytest.raises(SolverWrong, match=why):
        replay(plain(3), (), Trims(0.0, 0.0), steps, nothing_more)


def test_a_solution_with_the_collet_open_before_the_last_bend_is_refused() -> None:
    with pytest.raises(SolverWrong, match="the last one released or none"):
        replay(plain(3, may_release=True), (), Trims(0.0, 0.0), changed(1, released=True), nothing_more)


def test_a_solution_that_a_nogood_describes_is_refused_with_its_sentence() -> None:
    nogood = forbid(Event.LINK, "A", 3, (1, 1), hold=FIRST_LOAD)
    with pytest.raises(SolverWrong, match="forbidden by the test"):
        replay(plain(3), (nogood,), Trims(0.0, 0.0), STRAIGHT_THROUGH, nothing_more)
    other_hold = forbid(Event.LINK, "A", 3, (1, 1), hold=Hold(2, "re-grip"))
    assert replay(plain(3), (other_hold,), Trims(0.0, 0.0), STRAIGHT_THROUGH, nothing_more).value.reclamps == 0


def test_a_solution_that_turns_the_chuck_too_far_is_refused() -> None:
    rolls: dict[End, tuple[float, ...]] = {"A": (0.0, 1.0, 1.0), "B": (0.0, 1.0, 1.0)}
    limited = plain(3, chuck=(-1.5, 1.5), rolls=rolls, may_regrip=True)
    with pytest.raises(SolverWrong, match="the chuck would stand at 2"):
        replay(limited, (), Trims(0.0, 0.0), STRAIGHT_THROUGH, nothing_more)
    set_back = replay(limited, (), Trims(0.0, 0.0), changed(2, reached="re-grip"), nothing_more)
    assert set_back.value[:3] == (1, 0.0, 15_200)


def test_a_solver_that_runs_out_of_its_limit_says_so_instead_of_guessing() -> None:
    with pytest.raises(SolverGaveUp, match="gave up on re-clamps") as gave_up:
        CpSat(limit=0.0).best(plain(8), (), nothing_more)
    assert (gave_up.value.phase, gave_up.value.limit) == ("re-clamps", 0.0)
