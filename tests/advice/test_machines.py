"""Which machine can make which part: the verdicts are the plans', the main reason and what several lines come to."""

from __future__ import annotations

import re
from dataclasses import asdict
from pathlib import Path

import pytest

from planner import load_machine, load_part, plan
from planner.advice import machines
from planner.advice.machines import (
    FEW,
    Checked,
    Pair,
    Settled,
    best_of,
    check,
    check_pair,
    check_pairs,
    main_reason,
    refused,
    shortened,
    worst_of,
)
from planner.errors import NoTooling, SelfCrossing, UnreadableFile
from planner.facts import Fact, degrees, fact, length
from planner.inputs.profiles import list_profiles
from planner.plans.document import Because, Plan, Proved, Reason, Verdict
from planner.plans.reasons import contact
from planner.wording.say import say
from tests.plan.shop import bender, tube

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
PROFILES = [profile.name for profile in list_profiles()]


def examples_on_profiles() -> list[Pair]:
    benders = [load_machine(name) for name in PROFILES]
    return [Pair(load_part(path), machine) for path in EXAMPLES for machine in benders]


def planned(pair: Pair) -> Plan | None:
    """The plan of a pair, None where the machine has no tooling for the tube."""
    try:
        return plan(*pair)
    except NoTooling:
        return None


def test_every_example_but_the_longest_gets_on_profiles_the_verdict_and_the_numbers_of_its_plan(
    campaign: bool,
) -> None:
    """On every profile in a campaign, else on every other one, so that each profile has every other example."""
    few = [pair for pair in examples_on_profiles() if pair.part.n_bends < 10]
    assert len(few) == (len(EXAMPLES) - 1) * len(PROFILES)
    pairs = [pair for k, pair in enumerate(few) if campaign or sum(divmod(k, len(PROFILES))) % 2 == 0]
    lines = check_pairs(pairs, workers=2)
    assert len(lines) == len(pairs) >= len(few) // 2
    seen = set()
    for pair, line in zip(pairs, lines, strict=True):
        made = planned(pair)
        where = f"{pair.part.name} on {line.machine}"
        assert (line.part, line.part_file, line.machine_file) == (pair.part.name, pair.part.source, pair.machine.source)
        if made is None:
            seen.add("no tooling")
            assert (line.verdict, line.proved, line.reclamps) == ("not makeable", True, None), where
            continue
        seen.add(made.verdict)
        assert (line.verdict, line.undecided_because) == (made.verdict, made.undecided_because), where
        assert (line.reclamps, line.smallest_clearance, line.time) == (
            made.reclamps, made.smallest_clearance, made.time,
        ), where  # fmt: skip
        if made.stock is None:
            assert (line.trim, line.cut_length, line.reasons) == (None, None, len(made.reasons)), where
        else:
            assert line.trim == made.stock.trim_a + made.stock.trim_b, where
            assert (line.trim_a, line.trim_b) == (made.stock.trim_a, made.stock.trim_b), where
            assert line.cut_length == made.stock.cut_length, where
            assert line.reason is None, where
    assert seen == {"makeable", "not makeable", "no tooling"}


def test_every_line_that_is_not_makeable_has_one_short_reason_with_a_number_and_a_unit() -> None:
    impossible = [Pair(load_part(ROOT / "examples" / f"{name}.toml"), load_machine(machine)) for name, machine in (
        ("loft-rail", "under-the-loft"), ("tiller-bracket", "canal-workshop"), ("cabin-grab-rail", "long-bed"),
    )]  # fmt: skip
    lines = check_pairs(impossible)
    assert [line.verdict for line in lines] == ["not makeable"] * 3
    for line in lines:
        assert line.reason is not None
        assert re.search(r"\d(\.\d+)? mm", line.reason)
        assert len(line.reason) <= 130
        assert "\n" not in line.reason
    assert [line.reasons for line in lines] == [4, 1, 1]
    # Its plan tells of the floor, struck 426.3 mm deep, and of the stock rack, 294.0 mm: the shallower one is told.
    assert "strikes the stock rack, 294.0 mm deep" in (lines[0].reason or "")


def test_worker_processes_give_the_same_lines_in_the_same_order() -> None:
    pairs = [pair for pair in examples_on_profiles() if planned_at_once(pair)][: FEW + 4]
    assert len(pairs) > FEW
    alone = tuple(check_pair(pair) for pair in pairs)
    assert check_pairs(pairs, workers=2) == alone
    assert check_pairs(pairs[: FEW - 1], workers=1) == alone[: FEW - 1]
    assert check_pairs(list(reversed(pairs)), workers=2) == tuple(reversed(alone))


def planned_at_once(pair: Pair) -> bool:
    """Whether the machine has tooling for the part and the part few bends."""
    return pair.part.n_bends <= 2 and any(
        abs(tooling.tube_diameter - pair.part.outside_diameter) < 0.05 for tooling in pair.machine.tooling
    )


def test_check_gives_a_line_for_each_machine_in_their_order() -> None:
    part = load_part(ROOT / "examples" / "cabin-grab-rail.toml")
    names = ["three-axis", "long-bed", "canal-workshop"]
    lines = check(part, map(load_machine, names))
    assert [line.machine for line in lines] == names
    assert [line.verdict for line in lines] == ["makeable", "not makeable", "makeable"]


def test_a_machine_that_comes_from_no_file_goes_by_its_own_name() -> None:
    line = check(tube([400, 400], [0], [45]), [bender()])[0]
    assert (line.machine, line.machine_file, line.part_file) == ("test bender", None, None)
    assert line.verdict == "makeable"


def test_a_bender_without_a_mandrel_is_makeable_but_not_proved() -> None:
    without, with_one = check(tube([400, 400], [0], [45]), [bender({"mandrel": None}), bender()])
    assert (without.verdict, without.proved) == ("makeable", False)
    assert (with_one.verdict, with_one.proved) == ("makeable", True)


def test_tooling_for_one_radius_of_two_is_not_enough() -> None:
    part = tube([400, 200, 400], [0, 90], [45, 45], radii=[76.2, 101.6])
    (line,) = check(part, [bender()])
    assert (line.verdict, line.proved) == ("not makeable", True)
    assert line.reason == "No tooling for tube 38.1 mm on radius 101.6 mm."


def test_no_time_is_undecided_and_says_so() -> None:
    part = load_part(ROOT / "examples" / "wharf-rail.toml")
    (line,) = check(part, [load_machine("canal-workshop")], time_limit=1e-6)
    assert (line.verdict, line.undecided_because, line.proved) == ("undecided", "time limit", False)
    assert (line.reclamps, line.cut_length, line.smallest_clearance) == (None, None, None)
    assert "time ran out" in (line.reason or "")


def test_what_is_wrong_with_one_part_does_not_lose_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    parts = [tube([400, 400], [0], [45], name=name) for name in ("one", "crossing", "three")]

    def plan_but_one(part: object, machine: object, **_: object) -> Plan:
        if part is parts[1]:
            raise SelfCrossing("straight 0", "straight 2", 12.5, (1.0, 2.0, 3.0))
        return plan(part, machine)  # type: ignore[arg-type]

    monkeypatch.setattr(machines, "plan", plan_but_one)
    lines = check_pairs([Pair(part, bender()) for part in parts])
    assert [line.verdict for line in lines] == ["makeable", "bad input", "makeable"]
    assert "12.5 mm deep" in (lines[1].reason or "")
    assert lines[1].error is not None
    assert lines[1].error["kind"] == "SelfCrossing"


def test_a_file_that_cannot_be_read_is_a_line_that_names_it() -> None:
    line = refused(UnreadableFile("there is no such file", file="rail.toml"), part_file="rail.toml")
    assert (line.part, line.part_file, line.machine, line.verdict) == (None, "rail.toml", None, "bad input")
    assert line.reason == "rail.toml: there is no such file."
    assert {name for name, value in asdict(line).items() if value is not None} == {
        "part_file", "verdict", "reason", "reasons", "error", "fact",
    }  # fmt: skip


def of(*verdicts: Settled) -> list[Checked]:
    return [Checked("part", None, "machine", None, verdict) for verdict in verdicts]


@pytest.mark.parametrize(
    ("lines", "best"),
    [
        (of("makeable"), "makeable"),
        (of("not makeable", "makeable", "undecided"), "makeable"),
        (of("not makeable", "undecided"), "undecided"),
        (of("not makeable", "not makeable"), "not makeable"),
        (of("makeable", "bad input"), "bad input"),
        (of("bad input"), "bad input"),
    ],
)
def test_a_part_is_makeable_if_any_machine_can_and_undecided_before_not_makeable(
    lines: list[Checked], best: Settled
) -> None:
    assert best_of(lines) == best_of(reversed(lines)) == best


@pytest.mark.parametrize(
    ("settled", "worst"),
    [
        (["makeable", "makeable"], "makeable"),
        (["makeable", "undecided"], "undecided"),
        (["undecided", "not makeable", "makeable"], "not makeable"),
        (["makeable", "bad input", "not makeable"], "bad input"),
    ],
)
def test_several_parts_are_as_good_as_the_worst_of_them(settled: list[Settled], worst: Settled) -> None:
    assert worst_of(settled) == worst_of(reversed(settled)) == worst


def said(text: str) -> Fact:
    return fact("as-said", text=text)


def struck(bend: int, contact: Fact, when: Fact, solid: str, depth: float) -> Reason:
    met = fact("met", piece=fact("straight", number=2), contact=contact, when=when)
    whole = fact("cannot-bend", bend=bend, leads="B", formed=fact("formed", made=(1,)), met=met)
    return Reason.of(whole, grade="proved", rule="strike", bend=bend, leads="B", solid=solid, depth=depth)


RULE = Reason.of(
    said("Bend 1 with end A leading: 45.0 mm held."), grade="proved", rule="shortest grip", bend=1, leads="A"
)
ADVANCED = fact("at-an-advance", advance=length(5.0))
DEEP = struck(2, contact(-143.0, 10.0, "floor"), fact("into-the-swing", angle=degrees(61.0, 0)), "floor", 143.0)
SHALLOW = struck(3, contact(-12.0, 10.0, "rack: left"), ADVANCED, "rack: left", 12.0)
GAP = struck(4, contact(8.0, 10.0, "post"), ADVANCED, "post", -8.0)
OPEN = Reason.of(said("Bend 2: too close to call, 10.0 mm required."), grade="unproved", rule="too close", bend=2)
LATE = Reason.of(fact("proved-by-then", needs=said("1 re-clamp")), grade="proved", rule="time limit")


def made(verdict: Verdict, reasons: tuple[Reason, ...], because: Because | None = None) -> Plan:
    proved = Proved(makeable=verdict != "undecided", reclamps=False, trim=False, time=False)
    return Plan(
        fingerprint="0" * 64, part={}, machine={}, verdict=verdict, undecided_because=because, proved=proved,
        reasons=reasons,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("document", "told"),
    [
        (made("not makeable", (DEEP, SHALLOW, RULE)), RULE),
        (made("not makeable", (DEEP, SHALLOW)), SHALLOW),
        (made("not makeable", (SHALLOW, DEEP, GAP)), GAP),
        (made("undecided", (RULE, OPEN), "too close"), OPEN),
        (made("undecided", (RULE, LATE), "time limit"), LATE),
        (made("undecided", (RULE, DEEP), "orders not tried"), RULE),
        (made("undecided", (), "orders not tried"), None),
        (made("makeable", (RULE,)), None),
    ],
)
def test_the_main_reason_is_what_is_open_then_a_rule_then_the_least_deep_strike(
    document: Plan, told: Reason | None
) -> None:
    assert main_reason(document) == told


def test_a_strike_is_told_short_with_all_its_numbers_and_a_rule_whole() -> None:
    assert (
        say(shortened(DEEP))
        == "Bend 2, end B leading: straight 2 strikes the floor, 143.0 mm deep, 61° into the swing."
    )
    assert say(shortened(SHALLOW)).endswith(
        ": straight 2 strikes the rack: left, 12.0 mm deep, at an advance of 5.0 mm."
    )
    assert say(shortened(RULE)) == RULE.sentence
