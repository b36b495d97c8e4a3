"""Random sequencing problems with no geometry in them, and the whole list of sequences by plain enumeration.

Nothing here shares code with an engine: the enumeration takes any bend that is not formed with nothing formed behind it,
where the engines think in runs of neighbours; what a no-good describes is read anew from its docstring.
"""

from __future__ import annotations

import math
import random
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace

from planner.facts import fact
from planner.rules.broken import End
from planner.sequencing.events import ANY, Arrival, Event, Hold, NoGood, Pattern, Prefer, Sequence, Span, Trims, Value
from planner.sequencing.problem import Clamps, Extra, LeastTimes, Problem

RIGHT_ANGLE = math.pi / 2
ANGLE_SLACK = 1e-9


@dataclass(frozen=True)
class Instance:
    """A problem with what was learned about it: more no-goods, and what arrivals take beyond their least."""

    problem: Problem
    nogoods: tuple[NoGood, ...]
    extra: Extra


# ------------------------------------------------------------------ every sequence, by plain enumeration


def other_end(leads: End) -> End:
    return "A" if leads == "B" else "B"


def speaks_of(pattern: Pattern, trims: Trims) -> bool:
    """Whether the trims lie in the pattern's spans."""
    lead, tail = (trims.a, trims.b) if pattern.leads == "A" else (trims.b, trims.a)
    low, high = pattern.trim_lead
    least, most = pattern.trim_tail
    return low <= lead <= high and least <= tail <= most


def describes(pattern: Pattern, before: Arrival | None, arrival: Arrival) -> bool:
    """Whether the pattern, its trims aside, is about this arrival: read from the docstring of `Pattern`."""
    if pattern.clamp_before is not None and (before is None or before.clamp != pattern.clamp_before):
        return False
    if pattern.event is Event.REGRIP:
        new_hold = arrival.event is Event.LINK and arrival.hold == Hold(arrival.bend, "re-grip")
        return new_hold and before is not None and describes(replace(pattern, event=Event.BEND), None, before)
    if pattern.event is not Event.BEND and pattern.event is not arrival.event:
        return False
    if (pattern.leads, pattern.bend) != (arrival.leads, arrival.bend):
        return False
    if not pattern.ahead[0] <= arrival.ahead <= pattern.ahead[1]:
        return False
    asked = [(pattern.hold, arrival.hold), (pattern.way, arrival.way), (pattern.released, arrival.released)]
    asked.append((pattern.clamp, arrival.clamp))
    return all(wanted is None or wanted == given for wanted, given in asked)


def seen(bend: int, leads: End, n: int) -> int:
    """The bend's number from the end that leads, from its number from A; and back."""
    return bend if leads == "A" else n + 1 - bend


def rotations(problem: Problem, leads: End, bend: int) -> list[float]:
    """The rotation to a bend for way 0, and for way 1 where there is one [rad]."""
    roll = problem.rolls[leads][bend - 1]
    if problem.chuck is None or abs(roll) <= ANGLE_SLACK:
        return [roll]
    return [roll, roll - 2 * math.pi if roll > 0 else roll + 2 * math.pi]


def chuck_reaches(problem: Problem, turned: tuple[float, ...]) -> bool:
    """Whether the chuck can stand where these rotations since its 0 take it."""
    if problem.chuck is None:
        return True
    return problem.chuck[0] - ANGLE_SLACK <= sum(turned) <= problem.chuck[1] + ANGLE_SLACK


def next_arrivals(
    problem: Problem, formed: frozenset[int], before: Arrival | None, turned: tuple[float, ...]
) -> Iterator[tuple[Arrival, tuple[float, ...]]]:
    """Every arrival at a bend with nothing formed behind it (bends from A), and the rotations since the chuck's 0."""
    n = problem.n
    for number in set(range(1, n + 1)) - formed:
        for leads in ("A", "B"):
            end: End = "A" if leads == "A" else "B"
            bend = seen(number, end, n)
            made = [seen(b, end, n) for b in formed]
            if any(m > bend for m in made):
                continue
            ahead = min(made, default=bend)
            loaded = Hold(bend, "load")
            if before is None:
                yield Arrival(Event.LOAD, end, bend, ahead, loaded), ()
            elif before.leads != end:
                yield Arrival(Event.TURN, end, bend, ahead, loaded), ()
            elif before.bend == bend - 1:
                if problem.may_reload:
                    yield Arrival(Event.RELOAD, end, bend, ahead, loaded), ()
                holds = [(before.hold, turned)]
                if problem.may_regrip:
                    holds.append((Hold(bend, "re-grip"), ()))
                for hold, since in holds:
                    for way, roll in enumerate(rotations(problem, end, bend)):
                        if chuck_reaches(problem, (*since, roll)):
                            yield Arrival(Event.LINK, end, bend, ahead, hold, way), (*since, roll)


def clamps_there(problem: Problem, arrival: Arrival) -> tuple[float | None, ...]:
    """The clamps that can hold the tube at an arrival: the neighbour ahead may ask for a short one."""
    if problem.clamps is None:
        return (None,)
    choice = problem.clamps[arrival.leads][arrival.bend - 1]
    return choice.between if arrival.ahead < arrival.bend else choice.at_end


def clamps_changed(problem: Problem, arrivals: tuple[Arrival, ...]) -> int:
    """How often a clamp is changed in one part, counted pass by pass, the change back for the next part with it; and
    the dies of each further pass once."""
    if problem.clamps is None:
        return 0
    passes: list[list[float | None]] = []
    die = None
    for arrival in arrivals:
        needed = problem.clamps[arrival.leads][arrival.bend - 1].die
        if needed != die:
            passes.append([])
        passes[-1].append(arrival.clamp)
        die = needed
    return len(passes) - 1 + sum(one[k] != one[(k + 1) % len(one)] for one in passes for k in range(len(one)))


def sequences(instance: Instance, trims: Trims) -> Iterator[tuple[Arrival, ...]]:
    """Every sequence that no no-good describes any arrival of, with these trims."""
    problem = instance.problem
    patterns = [g.pattern for g in (*problem.rules, *instance.nogoods) if speaks_of(g.pattern, trims)]

    def go_on(arrivals: tuple[Arrival, ...], turned: tuple[float, ...]) -> Iterator[tuple[Arrival, ...]]:
        before = arrivals[-1] if arrivals else None
        formed = frozenset(seen(a.bend, a.leads, problem.n) for a in arrivals)
        for plain, since in next_arrivals(problem, formed, before, turned):
            last = len(arrivals) == problem.n - 1
            open_or_not = (plain, replace(plain, released=True)) if last and problem.may_release else (plain,)
            for arrival in (replace(one, clamp=c) for one in open_or_not for c in clamps_there(problem, plain)):
                if any(describes(pattern, before, arrival) for pattern in patterns):
                    continue
                if last:
                    yield (*arrivals, arrival)
                else:
                    yield from go_on((*arrivals, arrival), since)

    yield from go_on((), ())


def worth(instance: Instance, arrivals: tuple[Arrival, ...], trims: Trims) -> Value:
    """What a sequence costs, counted arrival by arrival."""
    times = instance.problem.times
    reclamps = time = 0
    before = None
    for arrival in arrivals:
        new_hold = arrival.event is Event.LINK and arrival.hold == Hold(arrival.bend, "re-grip")
        reclamps += (arrival.event in (Event.TURN, Event.RELOAD)) + new_hold + arrival.released
        if arrival.event is Event.LOAD:
            time += times.load[arrival.leads][arrival.bend - 1]
        elif arrival.event is Event.LINK:
            time += times.link[arrival.leads][arrival.bend - 1] + (times.regrip if new_hold else 0)
        else:
            time += times.turn if arrival.event is Event.TURN else times.reload
        time += instance.extra(before, arrival, trims)
        before = arrival
    time += clamps_changed(instance.problem, arrivals) * times.tool_change
    unasked = sum(trim for end, trim in (("A", trims.a), ("B", trims.b)) if end in instance.problem.unasked)
    return Value(reclamps, trims.a + trims.b, time, unasked)


def best_values(instance: Instance) -> dict[Prefer, Value] | None:
    """The least value for either preference, None if there is no sequence at all."""
    values = {
        worth(instance, arrivals, trims)
        for trims in set(instance.problem.trims)
        for arrivals in sequences(instance, trims)
    }
    if not values:
        return None
    return {
        "fewer re-clamps": min(values, key=lambda v: (v.unasked, v.reclamps, v.trim, v.time)),
        "less trim": min(values, key=lambda v: (v.unasked, v.trim, v.reclamps, v.time)),
    }


def faults(instance: Instance, sequence: Sequence) -> list[str]:
    """What is wrong with a sequence that an engine returned: the empty list where nothing is."""
    if sequence.trims not in instance.problem.trims:
        return ["trims that were not to choose from"]
    if sequence.arrivals not in set(sequences(instance, sequence.trims)):
        return ["not one of the sequences there are"]
    value = worth(instance, sequence.arrivals, sequence.trims)
    return [] if value == sequence.value else [f"it costs {value}, not {sequence.value}"]


# ------------------------------------------------------------------ random problems


def random_instance(seed: int, largest: int = 6) -> Instance:
    """A random problem of 1 to `largest` bends; some have their no-goods thick enough to leave little or nothing."""
    rng = random.Random(seed)
    n = min(rng.randint(1, largest + 1), largest)
    problem = random_problem(rng, n)
    thick = rng.choice([0.0, 2.0, 5.0, 8.0, 11.0])
    some = [random_nogood(rng, problem) for _ in range(round(thick * n * rng.uniform(0.3, 1.0)))]
    rules = rng.randint(0, len(some))
    problem = replace(problem, rules=tuple(some[:rules]))
    return Instance(problem, tuple(some[rules:]), random_extra(rng))


def with_clamps(seed: int, instance: Instance) -> Instance:
    """The same problem with the clamps told apart: some do not fit between formed bends, some radii differ, and a few
    no-goods speak of one clamp only, at the bend or at the one before it."""
    rng = random.Random(f"clamps {seed}")
    problem, n = instance.problem, instance.problem.n
    dies = [rng.choice([50.0, 50.0, 50.0, 75.0]) for _ in range(n)]
    lengths = {die: rng.choice([(90.0, 60.0), (90.0,), (110.0, 90.0, 60.0)]) for die in set(dies)}

    def at(leads: End, bend: int) -> Clamps:
        die = dies[seen(bend, leads, n) - 1]
        every = lengths[die]
        return Clamps(every, every[rng.randint(0, len(every) - 1) :], die)

    ends: tuple[End, End] = ("A", "B")
    clamps = {leads: tuple(at(leads, bend) for bend in range(1, n + 1)) for leads in ends}
    times = replace(problem.times, tool_change=rng.choice([0, 900, 300000]))

    def told(nogood: NoGood) -> NoGood:
        pattern = nogood.pattern
        every = clamps[pattern.leads][min(pattern.bend, n) - 1].at_end
        if rng.random() < 0.4:
            pattern = replace(pattern, clamp=rng.choice(every))
        linked = pattern.event in (Event.LINK, Event.RELOAD) and pattern.bend > 1
        if pattern.event is Event.TURN and pattern.ahead[0] == pattern.ahead[1] <= n:
            linked = pattern.ahead[0] >= 1
        if linked and rng.random() < 0.3:
            other = pattern.ahead[0] if pattern.event is Event.TURN else pattern.bend - 1
            pattern = replace(pattern, clamp_before=rng.choice(clamps[pattern.leads][other - 1].at_end))
        return replace(nogood, pattern=pattern)

    rules = tuple(told(nogood) for nogood in problem.rules)
    problem = replace(problem, clamps=clamps, times=times, rules=rules)
    return Instance(problem, tuple(told(nogood) for nogood in instance.nogoods), instance.extra)


def random_problem(rng: random.Random, n: int) -> Problem:
    """LeastTimes in few different values, so that there are ties; rolls that are often right angles, so that limits are met."""

    def rolls() -> tuple[float, ...]:
        plain = [0.0, RIGHT_ANGLE, -RIGHT_ANGLE, math.pi]
        return tuple(rng.choice([*plain, rng.uniform(-math.pi, math.pi)]) for _ in range(n))

    def some(most: int) -> tuple[int, ...]:
        return tuple(rng.choice([0, 100, 700, rng.randint(0, most)]) for _ in range(n))

    chucks = [
        None,
        None,
        (-2 * math.pi, 2 * math.pi),
        (-math.pi, math.pi),
        (-RIGHT_ANGLE, RIGHT_ANGLE),
        (-rng.uniform(0.0, 7.0), rng.uniform(0.0, 7.0)),
        (0.0, 2 * math.pi),
    ]
    trims = [
        Trims(rng.choice([0.0, 0.1, 20.0, 40.5]), rng.choice([0.0, 0.2, 20.0, 61.0])) for _ in range(rng.randint(1, 4))
    ]
    return Problem(
        n=n,
        trims=tuple(trims),
        rules=(),
        times=LeastTimes(
            link={"A": (0, *some(2000)[1:]), "B": (0, *some(2000)[1:])},
            load={"A": some(3000), "B": some(3000)},
            turn=rng.choice([0, 5000, 60000]),
            reload=rng.choice([0, 5000]),
            regrip=rng.choice([0, 1500]),
        ),
        chuck=rng.choice(chucks),
        rolls={"A": rolls(), "B": rolls()},
        may_regrip=rng.random() < 0.7,
        may_reload=rng.random() < 0.4,
        may_release=rng.random() < 0.5,
    )


def random_nogood(rng: random.Random, problem: Problem) -> NoGood:
    """What an arrival on a random walk meets, made as general as the die says; a whole kind of arrival; or anything."""
    build = rng.choice([met_on_a_walk] * 5 + [whole_kind] * 4 + [out_of_the_blue])
    pattern = build(rng, problem)
    said = fact("as-said", text=f"pattern {pattern}")
    return NoGood(pattern, rng.choice(["carriage", "strike"]), said, rng.choice(["proved", "unproved"]))


def random_span(rng: random.Random, trim: float) -> Span:
    """Any trim, or one side of it or of a neighbour."""
    edge = trim + rng.choice([0.0, 0.0, -5.0, 5.0])
    return rng.choice([ANY, ANY, ANY, (-math.inf, edge), (edge, math.inf), (edge, edge)])


def met_on_a_walk(rng: random.Random, problem: Problem) -> Pattern:
    walk: list[Arrival] = []
    turned: tuple[float, ...] = ()
    while len(walk) < problem.n:
        formed = frozenset(seen(a.bend, a.leads, problem.n) for a in walk)
        steps = sorted(next_arrivals(problem, formed, walk[-1] if walk else None, turned), key=repr)
        if not steps:
            break
        arrival, turned = rng.choice(steps)
        walk.append(arrival)
    if len(walk) == problem.n and problem.may_release and rng.random() < 0.5:
        walk[-1] = replace(walk[-1], released=True)
    place = rng.randrange(len(walk))
    at = walk[place]
    events = [at.event, at.event, Event.BEND]
    if place + 1 < len(walk) and walk[place + 1].regripped:
        events += [Event.REGRIP] * 3
    some, none = (1, at.bend - 1), (at.bend, at.bend)
    spans = [(at.ahead, at.ahead), (1, at.ahead), (at.ahead, problem.n), (1, at.bend), (1, problem.n), some, none]
    ahead = rng.choice(spans)
    trims = rng.choice(problem.trims)
    lead, tail = (trims.a, trims.b) if at.leads == "A" else (trims.b, trims.a)
    return Pattern(
        event=rng.choice(events),
        leads=at.leads,
        bend=at.bend,
        ahead=ahead,
        trim_lead=random_span(rng, lead),
        trim_tail=random_span(rng, tail),
        hold=rng.choice([None, None, at.hold]),
        way=rng.choice([None, None, at.way]),
        released=rng.choice([None, None, at.released]),
    )


def whole_kind(rng: random.Random, problem: Problem) -> Pattern:
    """One bend one way whatever is formed, unless there is trim enough: what makes turns, re-grips and trim worth it."""
    event = rng.choice([Event.LINK, Event.LINK, Event.TURN, Event.LOAD, Event.BEND])
    bend = rng.randint(1, problem.n)
    least = (-math.inf, rng.choice(problem.trims).a - 1.0)
    lead, tail = rng.choice([(ANY, ANY), (least, ANY), (ANY, least)])
    hold = rng.choice([None, None, Hold(1, "load"), Hold(rng.randint(1, bend), "load")])
    released = rng.choice([None, None, False])
    return Pattern(event, rng.choice(["A", "B"]), bend, (1, problem.n), lead, tail, hold, None, released)


def out_of_the_blue(rng: random.Random, problem: Problem) -> Pattern:
    low = rng.randint(0, problem.n)
    leads: End = rng.choice(["A", "B"])
    return Pattern(
        event=rng.choice(list(Event)),
        leads=leads,
        bend=rng.randint(1, problem.n),
        ahead=(low, rng.randint(low, problem.n + 1)),
        trim_lead=random_span(rng, rng.choice(problem.trims).a),
        trim_tail=random_span(rng, rng.choice(problem.trims).b),
        hold=rng.choice([None, None, None, Hold(rng.randint(1, problem.n), rng.choice(["load", "re-grip"]))]),
        way=rng.choice([None, None, None, 0, 1]),
        released=rng.choice([None, None, None, False, True]),
    )


def random_extra(rng: random.Random) -> Extra:
    """A table without a table: the same arrival costs the same in every run, often nothing."""
    share = rng.choice([0.0, 0.2, 0.6, 1.0])
    salt = rng.randrange(1 << 30)

    def extra(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:
        number = zlib.crc32(f"{salt} {spelled(before)} {spelled(arrival)} {trims.a} {trims.b}".encode())
        return (50, 400, 401, 3000, 20000)[number % 5] if (number >> 8) % 1000 < 1000 * share else 0

    return extra


def spelled(arrival: Arrival | None) -> str:
    if arrival is None:
        return "-"
    a = arrival
    said = f"{a.event.value} {a.leads} {a.bend} {a.ahead} {a.hold.since} {a.hold.begun} {a.way} {a.released}"
    return said if a.clamp is None else f"{said} {a.clamp}"
