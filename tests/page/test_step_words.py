"""What the screen of a step says, against the plan document's own numbers."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path

import pytest

from planner import Plan, load_machine, load_part, plan
from planner.page.floor_plan import floor_plan
from planner.page.step_words import DO, told
from planner.plans.document import Action
from planner.tolerances import REPORT_CEILING
from tests.page.benches import makeable

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.toml"))
INCH = 25.4
"""Exact: ISO 80000-3 and the international yard and pound agreement of 1959."""


@cache
def made(path: Path) -> Plan:
    part = load_part(path)
    assert part.machine is not None
    return plan(part, load_machine(part.machine))


def plans() -> list[Plan]:
    return [found for path in EXAMPLES if (found := made(path)).steps]


def test_every_action_of_a_plan_has_its_words() -> None:
    assert set(DO) == set(Action.__args__)  # type: ignore[attr-defined]


def test_the_great_number_is_what_the_readout_shows_or_the_setting() -> None:
    seen = set()
    for one in plans():
        for step in one.steps:
            says = told(step, one, "mm")
            wanted = step.setting if step.action == "bend" else step.reading
            if wanted is not None:
                assert says.great is not None
                assert float(says.great.much.rstrip("°")) == pytest.approx(wanted, abs=0.05)
                seen.add(step.action)
    assert {"advance", "rotate", "bend"} <= seen


def test_a_way_home_and_a_run_of_the_carriage_are_told_with_what_to_set() -> None:
    """The words beside the document's own numbers, on benches that go home in every way."""
    told_of = {"together right": "Arm home, the tube with it", "by hand right": "Push the tube forward by hand"}
    for bench, wanted in told_of.items():
        (one,) = makeable(bench)
        said = [(step, told(step, one, "mm")) for step in one.steps]
        assert wanted in {says.do for _, says in said}
        for step, says in said:
            assert step.to is None or step.action != "return" or ("part of the way" in says.do) == (step.to.arm > 0.0)
            numbers = [number for number in (says.great, *says.others) if number is not None]
            if step.action == "return" and step.to is not None and step.to.arm > 0.0:
                assert float(numbers[-1].much.rstrip("°")) == pytest.approx(step.to.arm, abs=0.05)
            if step.action == "run forward":
                assert step.amount is not None
                assert float(numbers[-1].much) == pytest.approx(step.amount, abs=0.05)
            if step.action == "carriage forward":
                assert (numbers[0].of, float(numbers[0].much)) == (
                    "collet's face from the tail end",
                    pytest.approx(step.grip, abs=0.05),
                )
            if step.action == "carriage back":
                assert step.to is not None
                assert float(numbers[0].much) == pytest.approx(step.to.face, abs=0.05)
        assert {"carriage forward", "carriage back", "open collet"} <= {step.action for step, _ in said}


def test_a_clearance_is_never_shown_larger_than_it_is_proved() -> None:
    count = 0
    for one in plans():
        for step in one.steps:
            if step.clearance is None or not step.checked:
                continue
            for unit, scale in (("mm", 1.0), ("in", INCH)):
                said = told(step, one, unit).clearance  # type: ignore[arg-type]
                figure = re.search(rf"([\d.]+) {unit}", said)
                assert figure is not None
                assert float(figure[1]) * scale <= min(step.clearance, REPORT_CEILING) + 1e-9
                assert step.nearest is None or step.clearance >= REPORT_CEILING or said.endswith(f"to {step.nearest}")
                count += 1
    assert count > 200


def test_a_motion_that_is_not_checked_never_shows_a_clearance() -> None:
    unchecked = [(step, one) for one in plans() for step in one.steps if not step.checked]
    for step, one in unchecked:
        assert told(step, one, "mm").clearance.startswith("Not checked")


def test_lengths_in_inches_are_the_millimetres_to_a_thousandth() -> None:
    count = 0
    for one in plans():
        for step in one.steps:
            if step.action == "advance" and step.reading is not None:
                great = told(step, one, "in").great
                assert great is not None
                assert great.unit == "in"
                assert math.isclose(float(great.much) * INCH, step.reading, abs_tol=0.0005 * INCH + 1e-9)
                count += 1
    assert count > 20


def test_the_caution_of_a_step_is_on_its_screen() -> None:
    for one in plans():
        for step in one.steps:
            assert told(step, one, "mm").caution == (step.caution or "")


def test_the_floor_plan_shows_the_whole_outline_and_the_reach_of_the_step() -> None:
    for one in plans():
        bend = next(step for step in one.steps if step.action == "bend")
        assert bend.swing is not None
        root = ET.fromstring(floor_plan(one, bend, "mm"))
        left, top, width, height = map(float, root.attrib["viewBox"].split())
        for x, y in one.keep_clear[0].outline:
            assert left <= x <= left + width
            assert top <= -y <= top + height
        circles = root.findall(".//{http://www.w3.org/2000/svg}circle")
        assert any(float(circle.attrib["r"]) == pytest.approx(bend.swing.farthest, abs=0.5) for circle in circles)
