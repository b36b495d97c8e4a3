"""Why: the least set of rules is enough and minimal by dynamic programming of the tests' own; sentences; the page."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

import planner.commands.why  # noqa: F401  the command takes its place in the app
from planner.advice.answers import Why
from planner.advice.changes import with_changes
from planner.advice.precedence import common_to_all, not_before, not_leading
from planner.advice.why import WHICHEVER_LEADS, alone_enough, decided_by, why
from planner.command import run
from planner.errors import InputError
from planner.inputs.files import load_machine, load_part
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.outputs.terminal import Page
from planner.outputs.why_page import print_why
from planner.planning import plan
from planner.plans.document import Plan
from planner.plans.grounds import Enough, Ground, grounds_of, least_grounds, least_set, told
from planner.plans.known import runs_only
from planner.rules.broken import Broken
from planner.search.cases import case_of, surroundings_of
from planner.search.decision import Decision
from planner.search.events import Arrival, NoGood, Pattern
from planner.search.exact import Exact
from planner.search.impossible import broken_in_every_order
from planner.search.problem import Problem
from planner.search.search import Search
from tests.advice.parts import begun_in_the_middle, hanging_a_hair_too_low, long_bench, random_jobs, searched, wandering
from tests.advice.reachable import least, of_grounds
from tests.plan.shop import bender, tube
from tests.search.abstract import next_arrivals, random_instance, seen

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.toml"))
NUMBER_WITH_UNIT = re.compile(r"\d(?:[\d.,]*\d)?(?: mm\b| s\b| kN m\b|°)")


def example(name: str) -> tuple[Part, Machine]:
    part = load_part(next(path for path in EXAMPLES if path.stem == name))
    assert part.machine is not None
    return part, load_machine(part.machine)


@pytest.fixture(scope="module")
def answered() -> dict[str, Why]:
    """What is said of every example."""
    return {path.stem: why(*example(path.stem)) for path in EXAMPLES}


# ------------------------------------------------------------------------------------- a part that cannot be made


def impossible(campaign: bool) -> Iterator[tuple[str, Search]]:
    for name in ("loft-rail", "tiller-bracket"):
        yield name, searched(*example(name))[0]
    for job in random_jobs(500 if campaign else 20):
        search, _, verdict = searched(job.part, job.machine)
        if verdict == "not makeable":
            yield job.name, search


def test_the_least_set_excludes_every_order_and_without_any_one_of_them_an_order_is_left(campaign: bool) -> None:
    sizes = []
    for name, search in impossible(campaign):
        grounds = least_grounds(search)
        assert grounds is not None, name
        assert least(*of_grounds(search.problem, grounds)) is None, name
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert least(*of_grounds(search.problem, rest)) is not None, (name, told(search, [ground])[0].sentence)
        sentences = [reason.sentence for reason in told(search, grounds)]
        assert len(set(sentences)) == len(sentences), name
        assert all(NUMBER_WITH_UNIT.search(sentence) for sentence in sentences), sentences
        sizes.append(len(grounds))
    assert len(sizes) >= (160 if campaign else 8)
    assert max(sizes) >= 4  # not only what a rule for either end forbids


def test_of_problems_without_geometry_the_least_set_is_enough_and_minimal_too(campaign: bool) -> None:
    search = searched(*begun_in_the_middle())[0]
    sizes = []
    for seed in range(3000 if campaign else 300):
        instance = random_instance(seed, 5)
        search.problem = instance.problem
        everything = grounds_of(search, instance.nogoods)
        grounds = least_set(everything, Enough(search))
        if grounds is None:
            assert least(*of_grounds(instance.problem, everything)) is not None, seed
            continue
        assert least(*of_grounds(instance.problem, grounds)) is None, seed
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert least(*of_grounds(instance.problem, rest)) is not None, seed
        sizes.append(len(grounds))
    assert len(sizes) > (400 if campaign else 40)
    assert max(sizes) >= 5


@pytest.mark.parametrize("seed", range(12))
def test_where_each_way_to_a_bend_is_forbidden_by_itself_many_are_needed_and_none_of_them_too_many(seed: int) -> None:
    search = searched(*begun_in_the_middle())[0]
    search.problem = replace(random_instance(seed).problem, n=3)
    problem = search.problem = replace(search.problem, rolls=dict.fromkeys(("A", "B"), (0.0, 1.0, -2.0)), rules=())
    times = dict.fromkeys(("A", "B"), (0, 0, 0))
    problem = search.problem = replace(problem, times=replace(problem.times, link=times, load=times))
    alone = [NoGood(pattern, "strike", f"{number} mm") for number, pattern in enumerate(each_way(problem))]
    grounds = least_set(grounds_of(search, alone), Enough(search))
    assert grounds is not None
    assert least(*of_grounds(problem, grounds)) is None
    assert len(grounds) >= 4
    for ground in grounds:
        assert least(*of_grounds(problem, [other for other in grounds if other is not ground])) is not None


def each_way(problem: Problem) -> list[Pattern]:
    """A pattern for every arrival that there can be, of just that arrival, in an order that the seed does not choose."""
    found: dict[Pattern, None] = {}
    walks: list[tuple[Arrival, ...]] = [()]
    for _ in range(problem.n):
        longer = []
        for walk in walks:
            formed = frozenset(seen(a.bend, a.leads, problem.n) for a in walk)
            for arrival, _ in next_arrivals(replace(problem, chuck=None), formed, walk[-1] if walk else None, ()):
                at = arrival
                found[Pattern(at.event, at.leads, at.bend, (at.ahead, at.ahead), hold=at.hold)] = None
                longer.append((*walk, at))
        walks = longer
    return list(found)


def test_a_long_parts_least_set_is_enough_and_minimal_too() -> None:
    looked = 0
    for seed in range(6):
        search, _, verdict = searched(wandering(seed, 12), long_bench())
        if verdict != "not makeable":
            continue
        grounds = least_grounds(search)
        assert grounds is not None
        assert least(*of_grounds(search.problem, grounds)) is None, seed
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert least(*of_grounds(search.problem, rest)) is not None, seed
        looked += 1
    assert looked >= 3


def test_a_set_that_is_not_enough_is_none() -> None:
    assert least_set([1, 2, 3], lambda some: 4 in some) is None


def test_nothing_is_kept_where_nothing_is_needed() -> None:
    assert least_set([1, 2, 3], lambda _: True) == []


@pytest.mark.parametrize("needed", [{1}, {8}, {2, 5}, {1, 4, 8}, set(range(1, 9))])
def test_what_is_needed_is_found_whatever_stands_beside_it(needed: set[int]) -> None:
    assert least_set(range(1, 9), lambda some: needed <= set(some)) == sorted(needed)


def test_of_two_that_would_do_the_first_is_kept() -> None:
    assert least_set([1, 2, 3, 4], lambda some: 2 in some or 4 in some) == [2]


def test_without_mandrel_and_carriage_the_reason_is_a_bend_that_goes_in_no_order_of_any_bends() -> None:
    part = tube([300, 200, 10], [0, 90], [60, 60])
    found = why(part, bender({"mandrel": None, "carriage": None}, {"tooling": {"shortest_tail": 400}}))
    assert found.verdict == "not makeable"
    assert {(rule.bend, rule.leads) for rule in found.rules} in ({(1, "A"), (1, "B")}, {(2, "A"), (2, "B")})
    assert all("400.0 mm" in rule.sentence for rule in found.rules)


def too_short_twice() -> Part:
    return tube([400, 50, 300, 60, 400], [0, 0, 90, 0], [45, 45, 45, 45], name="double crank")


def test_of_several_that_are_enough_one_is_the_reason_and_the_others_stand_beside_it() -> None:
    found = why(too_short_twice(), load_machine("canal-workshop"))
    (rule,) = found.rules
    assert rule.sentence == (
        "Straight 1 between bends 1 and 2 is 50.0 mm; the later of the two must be gripped on it, and the shortest"
        " clamp is 76.0 mm."
    )
    assert [(rule.rule, rule.bend) for rule in found.besides] == [("clamp longer than the straight", 3)]


def test_what_is_said_to_be_enough_by_itself_is_and_of_two_neither_can_be_left_out(campaign: bool) -> None:
    """The same rules as no-goods, by dynamic programming; a rule of either end leaves orders that the other allows."""
    parts = [(too_short_twice(), load_machine("canal-workshop")), example("tiller-bracket")]
    parts += [(job.part, job.machine) for job in random_jobs(300 if campaign else 50)]
    looked = 0
    for part, machine in parts:
        case = case_of(part, machine)[0]
        search = Search(case, surroundings_of(case), Exact())
        for group in alone_enough(broken_in_every_order(case)) if runs_only(case) else ():
            alike = [[n for n in search.problem.rules if _speaks_of(search, n, rule)] for rule in group]
            every = [nogood for nogoods in alike for nogood in nogoods]
            bare = replace(search.problem, rules=())
            assert least(bare, every) is None, (part.name, group)
            for left_out in alike if len(group) > 1 else ():
                rest = [nogood for nogood in every if nogood not in left_out]
                assert least(bare, rest) is not None, (part.name, group)
            looked += 1
    assert looked >= (60 if campaign else 10)


def _speaks_of(search: Search, nogood: NoGood, rule: Broken) -> bool:
    number = search.case.number(nogood.pattern.leads, nogood.pattern.bend)
    if rule.rule == "clamp longer than the straight":  # between this bend and the next: the later one is forbidden
        return nogood.rule == rule.rule and (number, nogood.pattern.leads) in ((rule.bend + 1, "A"), (rule.bend, "B"))
    whole = rule.rule in WHICHEVER_LEADS
    return nogood.rule == rule.rule and (whole or (number, nogood.pattern.leads) == (rule.bend, rule.leads))


# ------------------------------------------------------------------------------------------ a part that is made


def made(campaign: bool) -> Iterator[tuple[str, Search, Decision]]:
    yield ("in the middle", *searched(*begun_in_the_middle())[:2])
    for job in random_jobs(240 if campaign else 16):
        search, decision, verdict = searched(job.part, job.machine)
        if verdict == "makeable":
            yield job.name, search, decision


def test_what_decided_the_order_excludes_all_that_is_better_or_otherwise_and_none_of_it_can_be_left_out(
    campaign: bool,
) -> None:
    looked = 0
    for name, search, decision in made(campaign):
        best = decision.plan
        assert best is not None
        common = common_to_all(search, best)
        grounds = decided_by(search, best, common)
        ours, case = (float(best.value.reclamps), best.value.trim), search.case
        forbidden = [not_before(case, arrow.first, arrow.then) for arrow in common.arrows if arrow.proved]
        forbidden += [not_leading(case, entry.bend, entry.leads) for entry in common.leads if entry.proved]
        if decision.proved[:2] != (True, True):
            continue  # then something better is not excluded
        assert _excludes(search, grounds, ours, forbidden), name
        for ground in grounds:
            rest = [other for other in grounds if other is not ground]
            assert not _excludes(search, rest, ours, forbidden), (name, told(search, [ground])[0].sentence)
        looked += bool(grounds)
    assert looked >= (60 if campaign else 4)


def _excludes(
    search: Search, grounds: list[Ground], ours: tuple[float, float], forbidden: Sequence[Sequence[NoGood]]
) -> bool:
    """Whether grounds exclude all that is better than the plan, and with each of some things forbidden all as good."""
    problem, nogoods = of_grounds(search.problem, grounds)
    better = least(problem, nogoods)
    if better is not None and better < ours:
        return False
    as_good = [least(problem, [*nogoods, *more]) for more in forbidden]
    return all(found is None or found > ours for found in as_good)


def test_a_part_that_any_order_makes_has_no_rules_that_decided(answered: dict[str, Why]) -> None:
    found = answered["cargo-bike-rack"]
    assert found.rules == ()
    assert [judged.verdict for judged in found.plain] == ["goes", "goes"]
    assert found.precedence is not None
    assert found.precedence.arrows == found.precedence.leads == ()


# ------------------------------------------------------------------------------------------------- where it is begun


def test_a_hoop_that_only_its_middle_bend_can_begin_is_said_to_begin_there() -> None:
    found = why(*begun_in_the_middle())
    assert found.order[0].bend == 2
    assert found.start is not None
    assert found.start.must
    assert [(way.bend, way.leads, way.verdict) for way in found.start.ways] == [
        (1, "A", "never"), (1, "B", "never"), (3, "A", "never"), (3, "B", "never"),
    ]  # fmt: skip
    assert {(arrow.first, arrow.then) for arrow in found.precedence.arrows} == {(2, 1), (2, 3)}  # type: ignore[union-attr]
    assert {rule.solid for rule in found.rules} == {None, "column"}


LOCKSIDE = """\
MAKEABLE: lockside rail (38.1 mm tube, 4 bends) goes as 2A 3A 4A 1B: 1 re-clamp, 0 mm of trim, 220
s, smallest clearance 24.7 mm.

Where it is begun
  It must be begun in the middle: no plan with 1 re-clamp and 0 mm of trim begins with bend 1 or
  bend 4.
  1A first  never: (1) Bend 1 with end A leading: 4919.2 mm of tube go over the mandrel at the load;
            the rod is 3600.0 mm long.
  1B first  never: (2) Bend 2 cannot be made with end A leading once bend 1 is formed: straight 0
            strikes the floor, 226.2 mm deep, 0° into the swing.
  4A first  never: (3) Bend 3 cannot be made with end B leading once bend 4 is formed: straight 4
            strikes the floor, 226.2 mm deep, 0° into the swing.
  4B first  never: (4) Bend 4 with end B leading: 4919.2 mm of tube go over the mandrel at the load;
            the rod is 3600.0 mm long.
"""


def test_the_turned_example_tells_in_under_15_lines_why_it_must_be_begun_in_the_middle(
    answered: dict[str, Why],
) -> None:
    turned = [name for name, found in answered.items() if found.costs is not None and found.costs.turns]
    assert turned == ["lockside-rail"]
    lines = page_of(answered["lockside-rail"])
    told_in = lines[: lines.index("What decided the order") - 1]
    assert "\n".join(told_in) + "\n" == LOCKSIDE
    assert len([line for line in told_in if line]) < 15
    assert "  -  1A 2A 3A 4A fails at step 1, bend 1 with end A leading, by reason 1." in lines
    assert "  -  4B 3B 2B 1B fails at step 1, bend 4 with end B leading, by reason 4." in lines


def test_the_legs_of_the_turned_example_hang_down_as_reckoned_by_hand(answered: dict[str, Why]) -> None:
    """A leg of 1200 beyond the centreline radius of 76.2 hangs down from a centreline at 1050: 226.2 mm too far."""
    rules = {(rule.bend, rule.leads): rule for rule in answered["lockside-rail"].rules}
    for at in ((2, "A"), (3, "B")):
        assert (rules[at].solid, rules[at].depth) == ("floor", round(1200.0 + 76.2 - 1050.0, 1))


def test_no_way_to_begin_the_turned_example_at_an_end_is_left(answered: dict[str, Why]) -> None:
    start = answered["lockside-rail"].start
    assert start is not None
    assert start.must
    assert {(way.bend, way.leads): way.verdict for way in start.ways} == dict.fromkeys(
        [(1, "A"), (1, "B"), (4, "A"), (4, "B")], "never"
    )


def test_a_part_that_may_be_begun_at_an_end_as_well_says_by_what_its_plan_comes_first() -> None:
    """The rod is too short to begin at an end with that end leading; with the other one leading it is not."""
    part = tube([800, 1500, 900, 1500, 800], [0, 180, 0, 180], [45, 45, 45, 45], name="weir rail")
    found = why(part, load_machine("canal-workshop"))
    start = found.start
    assert start is not None
    assert not start.must
    assert {(way.bend, way.leads): way.verdict for way in start.ways} == {
        (1, "A"): "never", (1, "B"): "as good", (4, "A"): "as good", (4, "B"): "never",
    }  # fmt: skip
    told = "1B first 1B 2A 3A 4A goes as well, but of equals (within 1 s) end A and low bends come first."
    assert told in " ".join(" ".join(page_of(found)).split())


def test_a_plan_that_begins_at_an_end_says_nothing_of_it(answered: dict[str, Why]) -> None:
    assert {name for name, found in answered.items() if found.start is not None} == {"lockside-rail"}


# ---------------------------------------------------------------------------------------------------------- sentences


def sentences(found: Why) -> Iterator[str]:
    yield found.sentence
    for judged in (*found.plain, *([found.asked] if found.asked else [])):
        yield judged.sentence
        yield from (reason.sentence for reason in judged.reasons)
    yield from (rule.sentence for rule in (*found.rules, *found.besides))
    yield from (change.sentence for change in found.changes or ())
    if found.start is not None:
        yield found.start.sentence
        yield from (way.sentence for way in found.start.ways)
        yield from (reason.sentence for way in found.start.ways for reason in way.reasons)
    if found.precedence is not None:
        yield found.precedence.sentence


def test_no_sentence_is_without_a_number_and_a_unit(answered: dict[str, Why], campaign: bool) -> None:
    jobs = [why(job.part, job.machine) for job in random_jobs(120 if campaign else 12)]
    for found in (*answered.values(), *jobs, why(*begun_in_the_middle())):
        for sentence in sentences(found):
            assert NUMBER_WITH_UNIT.search(sentence), sentence
            assert sentence.endswith((".", ":")), sentence
            assert "  " not in sentence, sentence


def page_of(found: Why) -> list[str]:
    stream = io.StringIO()
    print_why(found, Page(stream, width=100))
    return stream.getvalue().splitlines()


LOFT = """\
NOT MAKEABLE: loft rail (38.1 mm tube, 2 bends) cannot be made on the semi-automatic mandrel bender
under a loft (invented) in any order.

Together these exclude every order; without any one of them some order is left
  1   The tube cannot be put on for bend 2 by any path with end A leading once bend 1 is formed:
      straight 0 strikes the stock rack, 294.0 mm deep, at an advance of 1148.8 mm.
  2   The tube cannot be brought to bend 2 by any path with end A leading once bend 1 is formed:
      straight 0 strikes the floor, 426.3 mm deep, 89° into the rotation at an advance of 600.0 mm.
  3   The tube cannot be put on for bend 1 by any path with end B leading once bend 2 is formed:
      straight 2 strikes the stock rack, 294.0 mm deep, at an advance of 1148.8 mm.
  4   The tube cannot be brought to bend 1 by any path with end B leading once bend 2 is formed:
      straight 2 strikes the floor, 426.3 mm deep, 89° into the rotation at an advance of 600.0 mm.

3A: bend 3 with end A leading.
"""

WHARF = """\
MAKEABLE: wharf rail (38.1 mm tube, 3 bends) goes as 1A 2A 3A: 1 re-clamp, 0 mm of trim, 161 s,
smallest clearance 24.9 mm.

What decided the order
  1   Bend 1 with end B leading: the tail is 12.9 mm too short; the collet holds 60.0 mm and comes
      no closer to the tangent point than 250.0 mm.
  2   Bends 1 to 3 with end A leading: no one grip within 250.0 to 3200.0 mm of the tangent point
      serves all of them, 232.4 mm are missing.

Straight through from either end
  -  1A 2A 3A goes: 1 re-clamp, 0 mm of trim, 161 s, smallest clearance 24.9 mm. It is the plan's
     own order.
  -  3B 2B 1B fails at step 3, bend 1 with end B leading, by reason 1.

What comes before what
  In every plan with 1 re-clamp and 0 mm of trim a bend comes before those that its arrows lead to.
    1A -> 2A -> 3A

3A: bend 3 with end A leading. "Clear" means clear of the machine, never of people.
"""


TILLER = """\
NOT MAKEABLE: tiller bracket (38.1 mm tube, 2 bends) cannot be made on the semi-automatic mandrel
bender, 76 mm class (invented) in any order.

This alone excludes every order
  1   Straight 1 between bends 1 and 2 is 55.0 mm; the later of the two must be gripped on it, and
      the shortest clamp is 76.0 mm.

What would make it possible, what touches least first; each planned again with the change made
  1   Straight 1 longer by 21.0 mm: 76.0 mm on the drawing instead of 55.0 mm. Every smaller whole
      millimetre is proved too little. Planned again so, it takes 0 re-clamps and 0.0 mm of trim,
      the smallest clearance 10.4 mm.

3A: bend 3 with end A leading.
"""


@pytest.mark.parametrize(("name", "page"), [("loft-rail", LOFT), ("wharf-rail", WHARF)])
def test_the_page_of_an_example_is_as_it_was_read_and_found_good(
    answered: dict[str, Why], name: str, page: str
) -> None:
    assert "\n".join(page_of(answered[name])) + "\n" == page


# ------------------------------------------------------------------------------------------------- the whole answer


def test_the_same_question_gives_the_same_bytes(answered: dict[str, Why]) -> None:
    assert why(*example("wharf-rail")).to_json() == answered["wharf-rail"].to_json()


def test_the_document_is_json_with_its_schema_and_the_order_asked_about() -> None:
    found = why(*example("wharf-rail"), order="3B 2B 1B")
    read = json.loads(found.to_json())
    assert read["schema"] == "bendorder-why/1"
    assert read["asked"]["verdict"] == "fails"
    assert read["asked"]["fails"] == {"number": 3, "bend": 1, "leads": "B"}
    assert Why.model_validate(read) == found
    assert any("3B 2B 1B fails at step 3" in line for line in page_of(found))


def test_an_order_that_is_none_of_the_part_is_refused_before_anything_is_planned() -> None:
    with pytest.raises(InputError, match="there is no bend 4"):
        why(*example("wharf-rail"), order="1A 2A 4A")


def test_what_is_not_settled_says_what_stands_in_the_way() -> None:
    part, machine = hanging_a_hair_too_low()
    found = why(part, machine)
    assert (found.verdict, found.undecided_because) == ("undecided", "too close")
    assert any("too close to call" in rule.sentence and rule.grade == "unproved" for rule in found.rules)
    assert any("(not proved)" in line for line in page_of(found))
    assert [judged.verdict for judged in found.plain] == ["undecided", "undecided"]


def test_a_time_that_is_over_leaves_out_what_is_not_known() -> None:
    found = why(*example("lockside-rail"), time_limit=1e-6)
    assert found.verdict == "undecided"
    assert {judged.undecided_because for judged in found.plain} == {"time limit"}
    assert found.precedence is None


# ------------------------------------------------------------------------------------------------------- the command


WHARF_FILE = str(next(path for path in EXAMPLES if path.stem == "wharf-rail"))
TILLER_FILE = str(next(path for path in EXAMPLES if path.stem == "tiller-bracket"))
LOFT_FILE = str(next(path for path in EXAMPLES if path.stem == "loft-rail"))


def test_the_command_prints_the_page_and_leaves_with_the_parts_verdict(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["why", WHARF_FILE]) == 0
    assert capsys.readouterr().out == WHARF
    assert run(["why", LOFT_FILE, "--no-changes"]) == 1
    assert capsys.readouterr().out == LOFT


def test_the_command_says_what_would_make_a_part_possible_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["why", TILLER_FILE]) == 1
    assert capsys.readouterr().out == TILLER
    assert run(["why", TILLER_FILE, "--json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert run(["plan", TILLER_FILE, "--changes", "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["changes"] == answer["changes"]
    assert Plan.model_validate(document).changes[0].sentence in " ".join(" ".join(TILLER.splitlines()[8:]).split())
    assert run(["plan", TILLER_FILE, "--changes"]) == 1
    page = capsys.readouterr().out
    assert "What would make it possible" in page
    assert "Straight 1 longer by 21.0 mm: 76.0 mm on the drawing instead of 55.0 mm." in page


def test_of_what_can_be_made_no_change_is_sought(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", WHARF_FILE, "--changes", "--json"]) == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out)["changes"] == []
    assert "Would it go" not in captured.err
    assert why(*example("wharf-rail"), machines=()).changes is None


def test_a_profile_that_cannot_be_read_is_told_of_and_the_others_are_tried(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "broken.toml").write_text("name = 3", encoding="utf-8")
    assert run(["why", TILLER_FILE, "--profiles", str(tmp_path)]) == 1
    captured = capsys.readouterr()
    assert captured.out == TILLER
    assert "not tried: " in captured.err
    assert "broken.toml" in captured.err


def test_without_time_for_changes_none_is_told() -> None:
    found = with_changes(plan(*example("tiller-bracket")), *example("tiller-bracket"), time_limit=0.0)
    assert found.changes == ()


def test_the_command_writes_json_and_the_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "wharf.svg"
    assert run(["why", WHARF_FILE, "--order", "3B 2B 1B", "--json", "--svg", str(picture)]) == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out)["asked"]["verdict"] == "fails"
    assert picture.read_text(encoding="utf-8").startswith("<svg ")
    assert "picture written" in captured.err


def test_of_a_part_that_cannot_be_made_no_picture_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["why", LOFT_FILE, "--no-changes", "--svg", str(tmp_path / "loft.svg")]) == 1
    assert list(tmp_path.iterdir()) == []
    assert "no picture" in capsys.readouterr().err


def test_an_order_that_is_none_is_bad_input_for_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["why", WHARF_FILE, "--order", "3B 2B 1C"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert '"1C" is no bend with a leading end' in captured.err
