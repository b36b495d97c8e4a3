"""Why, in sentences: where a part is begun, what each way comes to, the pages as they were read."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import replace

import pytest

from planner.advice.answers import Why
from planner.advice.changes import changes, with_changes
from planner.advice.costs import NOT_TO_THE_END
from planner.advice.why import why
from planner.errors import InputError
from planner.inputs.files import load_machine
from planner.outputs.terminal import Page
from planner.outputs.why_page import print_why
from planner.planning import plan
from planner.wording.say import say
from tests.advice.pages import LOCKSIDE, LOFT, WHARF
from tests.advice.parts import (
    EXAMPLES,
    NUMBER_WITH_UNIT,
    begun_in_the_middle,
    example,
    hanging_a_hair_too_low,
    random_jobs,
)
from tests.plan.shop import tube


@pytest.fixture(scope="module")
def answered() -> dict[str, Why]:
    """What is said of every example."""
    return {path.stem: why(*example(path.stem)) for path in sorted(EXAMPLES.glob("*.toml"))}


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
    """A leg of 1130 beyond the centreline radius of 76.2 hangs down from a centreline at 1050: 156.2 mm too far."""
    rules = {(rule.bend, rule.leads): rule for rule in answered["lockside-rail"].rules}
    for at in ((2, "A"), (3, "B")):
        assert (rules[at].solid, rules[at].depth) == ("floor", round(1130.0 + 76.2 - 1050.0, 1))


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
    jobs = [why(job.part, job.machine) for job in random_jobs(120 if campaign else 8)]
    for found in (*answered.values(), *jobs, why(*begun_in_the_middle())):
        for sentence in sentences(found):
            assert NUMBER_WITH_UNIT.search(sentence), sentence
            assert sentence.endswith((".", ":")), sentence
            assert "  " not in sentence, sentence


def page_of(found: Why) -> list[str]:
    stream = io.StringIO()
    print_why(found, Page(stream, width=100))
    return stream.getvalue().splitlines()


@pytest.mark.parametrize(("name", "page"), [("loft-rail", LOFT), ("wharf-rail", WHARF)])
def test_the_page_of_an_example_is_as_it_was_read_and_found_good(
    answered: dict[str, Why], name: str, page: str
) -> None:
    assert "\n".join(page_of(answered[name])) + "\n" == page


# ------------------------------------------------------------------------------------------------- the whole answer


def test_the_same_question_gives_the_same_bytes(answered: dict[str, Why]) -> None:
    assert why(*example("wharf-rail")).to_json() == answered["wharf-rail"].to_json()


def test_the_document_is_json_with_its_schema_and_the_order_asked_about() -> None:
    part, machine = example("wharf-rail")
    found = why(replace(part, trim_a=0.0, trim_b=0.0), machine, order="3B 2B 1B")
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


def test_a_time_that_is_over_while_changes_are_sought_is_said() -> None:
    part, machine = example("tiller-bracket")
    found = why(part, machine, machines=(), time_limit=1e-9)
    assert (found.verdict, found.changes, found.sought_to_the_end) == ("not makeable", (), False)
    assert any(say(NOT_TO_THE_END) in line for line in page_of(found))
    whole = why(part, machine, machines=())
    assert whole.sought_to_the_end
    assert not any(say(NOT_TO_THE_END) in line for line in page_of(whole))
    document = with_changes(plan(part, machine), part, machine, time_limit=0.0)
    assert document.changes == ()
    assert say(NOT_TO_THE_END) in document.warnings


def test_where_no_change_helps_that_is_said_only_if_all_were_looked_at() -> None:
    part, machine = tube([300, 300], [0], [60]), load_machine("long-bed").model_copy(update={"tooling": ()})
    nothing = why(*example("tiller-bracket"), machines=()).model_copy(update={"changes": ()})
    assert any("No change was found that helps" in line for line in page_of(nothing))
    assert changes(part, machine) == ()
