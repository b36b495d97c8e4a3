"""The rule entries of a proof document: those of the planner are confirmed, those that say too much are refused.

What an entry says is true is decided here by the planner's own rules, asked of every whole millimetre of trim, every
first formed bend, every hold and an open and a closed collet; the auditor shares nothing with them.
"""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Iterator
from typing import Any

import pytest

from planner.audit.asked import broken_by, regrip_window
from planner.audit.refused import Refused
from planner.audit.rules import confirm_rules
from planner.audit.shop import Arrival as Step
from planner.cuts.shop_rules import problem_of, rolls_seen
from planner.feasibility.orders import Case
from planner.inputs.files import load_machine, load_part
from planner.inputs.springback import Setting
from planner.rules.bending import largest_angle, rated_capacity
from planner.rules.broken import Broken, End, other
from planner.rules.carriage import hold_face, hold_serves, regrip_fits, window_open
from planner.rules.chuck import rolls_within
from planner.rules.grip import Loaded, clamps_that_fit, rod_reaches, tail_left
from planner.sequencing.events import Arrival, Event, Hold, NoGood, Trims
from tests.audit.test_audit_claim import shop_of, written
from tests.plan.random_parts import MACHINES, drawn
from tests.plan.shop import bender, tube
from tests.rules.enumeration import on_the_edge
from tests.search.test_orders import case_of

EXAMPLES = (
    "cabin-grab-rail", "canopy-brace", "cargo-bike-rack", "fender-hook", "foredeck-gantry", "lockside-rail", "loft-rail",
    "luggage-rail", "mooring-stanchion", "seat-stay", "tiller-bracket", "towpath-handrail", "trailer-frame", "wharf-rail",
)  # fmt: skip
LOADED = ("load", "turn", "reload")


# ------------------------------------------------------------------ documents


def entry(nogood: NoGood) -> dict[str, Any]:
    """A rule as the document writes it."""
    assert isinstance(nogood.evidence, Broken)
    numbers = {key: list(x) if isinstance(x, tuple) else x for key, x in nogood.evidence.numbers.items()}
    return {**written(nogood.pattern), "rule": nogood.rule, "sentence": nogood.sentence, "numbers": numbers}


def document_of(case: Case) -> dict[str, Any]:
    problem = problem_of(case)
    return {"claim": {"trims": [[t.a, t.b] for t in problem.trims]}, "rules": [entry(rule) for rule in problem.rules]}


def cases() -> Iterator[tuple[str, Case]]:
    for name in EXAMPLES:
        part = load_part(f"examples/{name}.toml")
        for profile, machine in MACHINES.items():
            if all(
                any(t.bend_radius == r and t.tube_diameter == part.outside_diameter for t in machine.tooling)
                for r in part.radii
            ):
                yield f"{name} on {profile}", case_of(part, machine)
        yield name, case_of(part, load_machine(part.machine or "canal-workshop"))
    for seed in range(120):
        found = drawn(seed)
        if found is not None:
            yield found.name, case_of(found.part, found.machine)
    for seed in range(60):
        yield f"on the edge {seed}", case_of(*on_the_edge(seed))
    weak = {"rated": {"tube_diameter": 20, "wall": 1.0, "yield_strength": 100}, "head": {"largest_angle": 100}}
    yield "too strong", case_of(tube([20, 30, 200, 90], [0, 30, 60], [120, 60, 130]), bender(weak))
    strong = tube([20, 30, 200, 90], [0, 30, 60], [120, 60, 130], yield_strength=300.0)
    yield "too strong, and known to be", case_of(strong, bender(weak, {"rotation": {"range": [-20, 10]}}))


ALL = list(cases())


def test_every_rule_of_the_examples_and_of_random_parts_on_all_profiles_is_confirmed() -> None:
    names = set()
    for name, case in ALL:
        document = document_of(case)
        try:
            assert confirm_rules(document, shop_of(case)) == {"rules": len(document["rules"])}
        except Refused as refused:
            pytest.fail(f"{name}: {refused}")
        names |= {rule["rule"] for rule in document["rules"]}
    assert names == {
        "largest angle", "rated capacity", "clamp longer than the straight", "shortest grip", "shortest tail",
        "rod length", "carriage reach", "chuck range",
    }  # fmt: skip


def test_the_auditors_rules_and_the_planners_forbid_the_same_arrivals() -> None:
    """Random arrivals with random trims to choose from, whatever was written down: the same ones break a rule."""
    forbidden = allowed = 0
    for seed, (name, case) in enumerate(ALL):
        rng, shop, problem = random.Random(seed), shop_of(case), problem_of(case)
        for _ in range(60):
            trims = rng.choice(problem.trims)
            before, arrival = random_arrivals(rng, case, problem.chuck is not None)
            broken = [g.rule for g in problem.rules if g.pattern.matches(before, arrival, trims)]
            steps = [None if a is None else step(a) for a in (before, arrival)]
            assert steps[1] is not None
            # The planner notes only the first bend that a hold does not serve, or that the chuck does not reach.
            found = broken_by(shop, steps[1], steps[0], (trims.a, trims.b))
            names = {rule for rule, _ in found}
            assert set(broken) <= names, (name, arrival, trims)
            if arrival.hold.since >= arrival.bend - 1:
                assert names <= set(broken) | {"carriage reach", "chuck range"}, (name, arrival, trims)
            assert bool(broken) or not names or _held_beyond(case, arrival, trims), (name, arrival, trims, found)
            forbidden, allowed = forbidden + bool(names), allowed + (not names)
    assert min(forbidden, allowed) >= 1000


def _held_beyond(case: Case, arrival: Arrival, trims: Trims) -> bool:
    """Whether an earlier bend of the same hold is forbidden already: no sequence comes so far."""
    hold, rules = arrival.hold, problem_of(case).rules
    earlier = range(hold.since, arrival.bend)
    patterns = [g.pattern for g in rules if g.pattern.hold == hold and g.pattern.leads == arrival.leads]
    return any(p.bend in earlier and p.fits_trims(trims) for p in patterns)


def random_arrivals(rng: random.Random, case: Case, limited: bool) -> tuple[Arrival | None, Arrival]:
    """An arrival at some bend, by any event there can be, and the one before it where it is linked."""
    n, carriage = case.part.n_bends, case.machine.carriage
    leads: End = rng.choice(["A", "B"])
    bend = rng.randint(1, n)
    ahead = rng.randint(1, bend)
    events = ["load"] if ahead == bend else ["turn", "reload", "link", "link", "link", "re-grip", "re-grip"]
    if "link" in events and (carriage is None or not carriage.passes_through):
        events = [event for event in events if event != "re-grip"]
    event = rng.choice(events)
    may_open = carriage is not None and carriage.finish_released and (ahead, bend) == (1, n)
    released = may_open and rng.random() < 0.5
    if event not in ("link", "re-grip"):
        return None, Arrival(Event(event), leads, bend, ahead, Hold(bend, "load"), 0, released)
    since = rng.randint(1, bend - 1)
    held = Hold(since, "re-grip" if since > 1 and rng.random() < 0.5 else "load")
    first = Arrival(Event.LINK if held.since < bend - 1 else Event.RELOAD, leads, bend - 1, ahead, held)
    hold = Hold(bend, "re-grip") if event == "re-grip" else held
    way = rng.randint(0, 1) if limited else 0
    return first, Arrival(Event.LINK, leads, bend, ahead, hold, way, released)


def step(a: Arrival) -> Step:
    return Step(a.event.value, a.leads, a.bend, a.ahead, a.hold.since, a.hold.begun, a.way, a.released)


def test_a_new_hold_is_found_just_where_the_planners_rule_finds_one() -> None:
    """With a travel of a few millimetres the spring-back at the end of a bend decides, else the tail's length."""
    fits = []
    for seed in range(400):
        rng = random.Random(seed)
        part = tube([300, 200, float(rng.randint(100, 300))], [0, 30], [60, 90], (0.0, 40.0))
        closest = rng.randint(100, 200)
        reach = [closest, closest + rng.choice([rng.randint(1, 9), 900])]
        case = case_of(part, bender({"carriage": {"reach": reach}}))
        carriage, shop = case.machine.carriage, shop_of(case)
        assert carriage is not None
        for leads, bend, trim in (("A", 1, 0.0), ("B", 1, 20.0), ("A", 2, float(rng.randint(0, 40)))):
            end: End = "A" if leads == "A" else "B"
            loaded = case.loaded(end, _pair(end, 0.0, trim))
            found = regrip_fits(loaded, bend, case.settings[loaded.number(bend) - 1], carriage)
            rule = regrip_window(shop, end, bend)
            assert rule.keeps(trim) == (found is None), (seed, leads, bend)
            if found is not None:
                assert rule.numbers(trim) == pytest.approx(dict(found.numbers), abs=1e-9)
            fits.append(found is None)
    assert min(fits.count(True), fits.count(False)) >= 200


# ------------------------------------------------------------------ is an entry true?


def is_true(case: Case, rule: dict[str, Any]) -> bool:
    """Whether the rule that an entry names is broken by every arrival that its pattern speaks of, for all whole trims."""
    leads: End = rule["leads"]
    of_lead = rule["rule"] == "shortest grip"
    end = leads if of_lead else other(leads)
    allowed = case.allowed.at(end)
    span = rule["trim_lead" if of_lead else "trim_tail"] or [None, None]
    low, high = (-math.inf if span[0] is None else span[0]), (math.inf if span[1] is None else span[1])
    trims = [t for t in {*map(float, range(math.floor(allowed) + 1)), allowed} if low <= t <= high]
    loaded = [case.loaded(leads, _pair(leads, t if of_lead else 0.0, 0.0 if of_lead else t)) for t in trims]
    return all(broken(case, rule["rule"], one, at) for at in spoken_of(case, rule) for one in loaded)


def _pair(leads: End, lead: float, tail: float) -> Trims:
    return Trims(lead, tail) if leads == "A" else Trims(tail, lead)


def spoken_of(case: Case, rule: dict[str, Any]) -> Iterator[tuple[str, Arrival]]:
    """The arrivals that a pattern speaks of; for a re-grip the bend at whose end it is."""
    n, carriage, bend = case.part.n_bends, case.machine.carriage, rule["bend"]
    low, high = rule["ahead"]
    events = ["load", "turn", "reload", "link"] if rule["event"] == "bend" else [rule["event"]]
    for ahead in range(max(low, 1), min(high, bend) + 1):
        may_open = carriage is not None and carriage.finish_released and (ahead, bend) == (1, n)
        for event in events:
            if event in ("load", "turn", "reload", "link") and (ahead == bend) != (event == "load"):
                continue
            links = event in ("link", "re-grip")
            holds = [Hold(bend, "load")] if event in LOADED or event == "re-grip" else []
            if links:
                holds += [Hold(since, "load") for since in range(1, bend)]
                passes = carriage is not None and carriage.passes_through
                holds += [Hold(since, "re-grip") for since in range(2, bend + 1)] if passes else []
            for hold in holds:
                for open_ in (False, True) if may_open and event != "re-grip" else (False,):
                    wanted = rule["hold"]
                    if wanted is not None and (hold.since, hold.begun) != (wanted["since"], wanted["begun"]):
                        continue
                    if rule["released"] not in (None, open_):
                        continue
                    made = Event.LINK if event == "re-grip" else Event(event)
                    yield event, Arrival(made, rule["leads"], bend, ahead, hold, 0, open_)


def broken(case: Case, name: str, loaded: Loaded, spoken: tuple[str, Arrival]) -> bool:
    """Whether the planner's rule of that name is broken."""
    event, at = spoken
    machine, carriage, bend = case.machine, case.machine.carriage, at.bend
    number = loaded.number(bend)
    setting, tooling = case.settings[number - 1], case.tooling[number - 1]
    formed = frozenset(range(at.ahead, bend))
    if name == "largest angle":
        return largest_angle(machine, number, 1.0, Setting(setting, "measured")) is not None
    if name == "rated capacity":
        return isinstance(rated_capacity(machine, case.part), Broken)
    if name in ("clamp longer than the straight", "shortest grip"):
        found = clamps_that_fit(loaded, bend, formed, tooling)
        return isinstance(found, Broken) and found.rule == name
    if name == "shortest tail":
        return tail_left(loaded, bend, setting, tooling) is not None
    if name == "rod length":
        return event in LOADED and rod_reaches(loaded, bend, machine) is not None
    if name == "chuck range":
        first = at.hold.since if at.hold.begun == "load" else at.hold.since - 1
        turned = rolls_seen(case, at.leads)[first:bend]
        return rolls_within(machine.rotation.range, turned, [False] * len(turned)) is None
    assert name == "carriage reach"
    assert carriage is not None
    if event == "re-grip":
        return regrip_fits(loaded, bend, setting, carriage) is not None
    if window_open(loaded, bend, setting, carriage, at.released) is not None:
        return True
    regripped = float(loaded.view.bend_ends[at.hold.since - 2]) if at.hold.begun == "re-grip" else None
    face = hold_face(loaded, at.hold.since, regripped, carriage)
    return hold_serves(loaded, face, at.hold.since, bend, setting, carriage, at.released) is not None


# ------------------------------------------------------------------ seeded faults


def with_a_fault(rng: random.Random, rule: dict[str, Any], n: int) -> dict[str, Any]:
    """The entry with one literal dropped, changed, or a span widened."""
    rule = copy.deepcopy(rule)
    bend = rule["bend"]
    what = rng.choice(
        ["trim", "trim", "drop trim", "ahead", "ahead", "hold", "no hold", "released", "event", "bend", "end"]
    )
    if what == "trim":
        spans = [key for key in ("trim_lead", "trim_tail") if rule[key] is not None]
        if spans:
            span = rule[rng.choice(spans)]
            span[0], span[1] = rng.choice(
                [(span[0] - 1, span[1]), (span[0], span[1] + 1), (span[0], None), (None, span[1])]
            )
    elif what == "drop trim":
        rule["trim_lead"] = rule["trim_tail"] = None
    elif what == "ahead":
        low, high = rule["ahead"]
        rule["ahead"] = rng.choice([[low - 1, high], [low, high + 1], [1, bend], [1, n]])
    elif what == "hold":
        rule["hold"] = {"since": rng.randint(1, n), "begun": rng.choice(["load", "re-grip"])}
    elif what == "no hold":
        rule["hold"] = None
    elif what == "released":
        rule["released"] = rng.choice([None, True, False])
    elif what == "event":
        rule["event"] = rng.choice(["bend", "load", "turn", "reload", "link", "re-grip"])
    elif what == "bend":
        rule["bend"] = rng.randint(1, n)
    else:
        rule["leads"] = "B" if rule["leads"] == "A" else "A"
    return rule


def test_an_entry_that_says_too_much_is_refused() -> None:
    """Of some thousand entries with one fault each, every one that an enumeration finds untrue; others may be true still."""
    untrue = 0
    wrong = []
    kinds = set()
    for seed, (name, case) in enumerate(ALL):
        rng, document, shop = random.Random(seed), document_of(case), shop_of(case)
        rules = document["rules"]
        for _ in range(min(len(rules) * 6, 80)):
            rule = with_a_fault(rng, rng.choice(rules), case.part.n_bends)
            if not _well_formed(rule) or is_true(case, rule):
                continue
            untrue += 1
            kinds.add(rule["rule"])
            try:
                confirm_rules({**document, "rules": [rule]}, shop)
                wrong.append((name, rule))
            except Refused:
                pass
    assert not wrong, wrong[:3]
    assert untrue >= 800
    assert len(kinds) >= 6


def _well_formed(rule: dict[str, Any]) -> bool:
    """Whether an entry speaks of anything at all: first formed bends and holds that there are."""
    low, high = rule["ahead"]
    return 1 <= low <= high <= rule["bend"]


@pytest.mark.parametrize("ahead", [[0, 1], [2, 1], [1, 3], [1, 99], [1], [1, 2, 2], [1.0, 2], [True, 2]])
def test_a_span_of_first_formed_bends_that_there_is_not_is_refused(ahead: list[Any]) -> None:
    case = case_of(tube([20, 200, 20], [0, 30], [60, 60]), bender())
    document = document_of(case)
    rule = {**next(r for r in document["rules"] if r["rule"] == "carriage reach" and r["bend"] == 2), "ahead": ahead}
    with pytest.raises(Refused, match="as the first formed bend"):
        confirm_rules({**document, "rules": [rule]}, shop_of(case))


def test_a_number_that_is_not_so_is_refused() -> None:
    """Each number of each entry in turn, by a hundred thousandth; one too few; one too many."""
    seen = set()
    for _, case in ALL[::7] + ALL[-2:]:
        document, shop = document_of(case), shop_of(case)
        for rule in document["rules"]:
            if (rule["rule"], tuple(rule["numbers"])) in seen:
                continue
            seen.add((rule["rule"], tuple(rule["numbers"])))
            for key in rule["numbers"]:
                for change in (1.00001, "without", "more"):
                    numbers = copy.deepcopy(rule["numbers"])
                    if change == "without":
                        del numbers[key]
                    elif change == "more":
                        numbers["other"] = 0.0
                    elif isinstance(numbers[key], list):
                        numbers[key][-1] = numbers[key][-1] * change + 1e-5
                    else:
                        numbers[key] = numbers[key] * change + 1e-5
                    with pytest.raises(Refused):
                        confirm_rules({**document, "rules": [{**rule, "numbers": numbers}]}, shop)
    assert len(seen) >= 8


@pytest.mark.parametrize("name", ["no such rule", "rod length", "shortest grip", "shortest tail"])
def test_a_rule_by_another_name_is_refused(name: str) -> None:
    case = case_of(tube([300, 30, 300], [0, 30], [60, 60]), bender())
    document = document_of(case)
    rule = next(r for r in document["rules"] if r["rule"] == "clamp longer than the straight")
    with pytest.raises(Refused):
        confirm_rules({**document, "rules": [{**rule, "rule": name}]}, shop_of(case))
