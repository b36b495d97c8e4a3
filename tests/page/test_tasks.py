"""What the page's jobs do, held against what the commands and the public functions do."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest

from planner.advice.machines import Pair, check_pair
from planner.advice.notation import read_order
from planner.advice.order import judge
from planner.advice.why import why
from planner.deadline import OutOfTime, limited
from planner.inputs.files import load_machine, load_part
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.page import tasks
from planner.page.job_inputs import AllMachines, MachineNamed, PartText, part_asked
from planner.planning import plan
from planner.search.search import Search
from planner.sequencing.cpsat import CpSat
from tests.plan.random_parts import hemmed_in

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture(autouse=True)
def _nothing_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tasks, "_KEPT", type(tasks._KEPT)())


def pair(name: str) -> tuple[Part, Machine]:
    part = load_part(EXAMPLES / f"{name}.toml")
    assert part.machine is not None
    return part, load_machine(part.machine)


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Return the list of how planning is called."""
    calls: list[dict[str, Any]] = []

    def noted(planning: Any) -> Any:
        def noting(*pair: Any, **options: Any) -> Any:
            calls.append(options)
            return planning(*pair, **options)

        return noting

    monkeypatch.setattr(tasks, "plan", noted(tasks.plan))
    monkeypatch.setattr(tasks, "planned", noted(tasks.planned))
    return calls


SECONDED = ["wharf-rail", "tiller-bracket", "loft-rail"]


@pytest.mark.parametrize("name", SECONDED)
def test_a_plan_is_seconded_as_with_confirm_and_without_planning_again(
    name: str, planned: list[dict[str, Any]]
) -> None:
    part, machine = pair(name)
    assert tasks.plan_task(part, machine).to_json() == plan(part, machine).to_json()
    assert tasks.second_task(part, machine).to_json() == plan(part, machine, confirm=True).to_json()
    assert len(planned) == 1


@pytest.mark.parametrize("name", ["wharf-rail", "tiller-bracket"])
def test_where_the_engines_disagree_the_verdict_is_the_confirmed_plans(
    name: str, planned: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def another(self: CpSat, *arguments: Any) -> Any:
        found = best(self, *arguments)
        return None if found is not None else Search.propose(search)

    part, machine = pair(name)
    search, _, made = tasks.kept_search(part, machine)
    best = CpSat.best
    if made.verdict == "makeable":
        monkeypatch.setattr(CpSat, "best", another)
    else:
        other = tasks.kept_search(*pair("cargo-bike-rack"))[0].propose()
        monkeypatch.setattr(CpSat, "best", lambda *_: other)
    seconded = tasks.second_task(part, machine)
    assert (seconded.verdict, seconded.undecided_because, seconded.confirmed) == (
        "undecided",
        "engines disagree",
        False,
    )
    assert planned[-1]["confirm"] is True


@pytest.mark.parametrize("name", ["lockside-rail", "tiller-bracket"])
def test_the_auditor_confirms_what_was_planned(name: str) -> None:
    assert tasks.audit_task(*pair(name)).confirmed


def test_the_auditor_confirms_the_same_after_an_order_was_judged_that_taught_something() -> None:
    job = hemmed_in(2)
    assert job is not None
    first = tasks.audit_task(job.part, job.machine)
    assert first.confirmed, first.sentence
    search, decision, _ = tasks.kept_search(job.part, job.machine)
    before = search.nogoods
    judged = judge(search, read_order("1A 2A 3A", job.part.n_bends), decision.plan)
    assert len(search.nogoods) > len(before), "or it taught nothing"
    assert tasks.judge_task(job.part, job.machine, "1A 2A 3A").verdict == judged.verdict
    assert tasks.audit_task(job.part, job.machine) == first
    assert tasks.kept_search(job.part, job.machine)[0].nogoods == before


@pytest.mark.parametrize("name", ["lockside-rail", "canopy-brace"])
def test_an_order_is_judged_the_same_whatever_was_asked_before(name: str, planned: list[dict[str, Any]]) -> None:
    part, machine = pair(name)
    bends = range(1, part.n_bends + 1)
    orders = [
        " ".join(f"{bend}{end}" for bend in bends) for bends, end in itertools.product((bends, [*bends][::-1]), "AB")
    ]
    orders.append("2A 1B" if part.n_bends == 2 else "2A 3A 4A 1B")
    judged = [tasks.judge_task(part, machine, order) for order in orders]
    assert len(planned) == 1, "planned once"
    for order, found in [*zip(orders, judged, strict=True)][::-1]:
        assert tasks.judge_task(part, machine, order) == found
    for order, found in ((orders[0], judged[0]), (orders[-1], judged[-1])):
        asked = why(part, machine, order=order).asked
        assert asked is not None
        assert (asked.verdict, asked.fails, asked.costs) == (found.verdict, found.fails, found.costs)


def test_the_last_few_searches_are_kept_by_part_machine_and_preference(planned: list[dict[str, Any]]) -> None:
    names = ["cargo-bike-rack", "towpath-handrail", "seat-stay", "fender-hook"]
    for _ in range(2):
        for name in names:
            tasks.plan_task(*pair(name))
    assert len(planned) == len(names)
    part, machine = pair(names[0])
    tasks.plan_task(part, machine, "less trim")
    assert len(planned) == len(names) + 1
    tasks.plan_task(part.normalised(), MachineNamed(None))
    tasks.plan_task(*pair(names[2]))
    assert len(planned) == len(names) + 2, "the one asked for longest ago was given up, and only that"
    assert len(tasks._KEPT) == tasks.MOST_KEPT


def test_a_plan_that_time_cut_short_is_made_again_where_there_is_more(planned: list[dict[str, Any]]) -> None:
    part, machine = pair("lockside-rail")
    assert tasks.plan_task(part, machine, time_limit=1e-9).undecided_because == "time limit"
    assert tasks.plan_task(part, machine, time_limit=1e-9).undecided_because == "time limit"
    assert len(planned) == 1, "the same limit would cut it short again"
    assert tasks.plan_task(part, machine, time_limit=60.0).verdict == "makeable"
    assert tasks.plan_task(part, machine, time_limit=1e-9).verdict == "makeable", "that is kept"
    assert len(planned) == 2


def test_a_search_that_is_kept_has_the_time_and_the_reporter_of_who_asks() -> None:
    part, machine = pair("lockside-rail")
    told: list[str] = []
    search, decision, made = tasks.kept_search(part, machine, report=told.append)
    assert decision.plan is not None
    assert made.verdict == "makeable"
    again, *_ = tasks.kept_search(part, machine, time_limit=1e-9)
    assert again.checks is search.checks
    assert search.progress.report is not None
    assert again.progress.report is None
    with limited(-1.0), pytest.raises(OutOfTime):
        again.best()
    judged = tasks.judge_task(part, machine, "3A 4A 2B 1B", time_limit=1e-9)
    assert judged.undecided_because == "time limit"


def test_a_check_tells_of_each_machine_and_shares_the_time() -> None:
    told: list[str] = []
    part = load_part(EXAMPLES / "lockside-rail.toml")
    some = [MachineNamed("canal-workshop"), MachineNamed("long-bed")]
    lines = tasks.check_task(part, some, time_limit=60.0, report=told.append)
    assert told == [f"{line.machine}: {line.verdict}" for line in lines]
    named = [line.machine for line in lines]
    assert lines == tuple(check_pair(Pair(part, load_machine(str(name)))) for name in named)
    cut = tasks.check_task(part, [MachineNamed("canal-workshop")] * 2, time_limit=1e-9)
    assert [line.verdict for line in cut] == ["undecided", "undecided"]


def test_changes_are_sought_for_the_plan_that_is_kept(planned: list[dict[str, Any]]) -> None:
    part, machine = pair("tiller-bracket")
    made = tasks.plan_task(part, machine)
    found = tasks.changes_task(part, machine, AllMachines())
    assert found.changes
    assert found.model_copy(update={"changes": ()}) == made
    assert len(planned) == 1
    assert tasks.changes_task(*pair("cargo-bike-rack"), AllMachines()).changes == ()


def test_a_part_of_a_text_is_the_part_of_its_file() -> None:
    text, csv = ((EXAMPLES / f"trailer-frame.{kind}").read_text(encoding="utf-8") for kind in ("toml", "csv"))
    found = part_asked(PartText(text, csv=csv))
    assert found == load_part(EXAMPLES / "trailer-frame.toml")
    assert found.source == "part.toml"
