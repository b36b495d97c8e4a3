"""Remarks are told in sentences with numbers and place, as data, with the machine and with every plan."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from planner.feasibility.cases import case_of, warnings_of
from planner.inputs.files import part_from_data
from planner.inputs.machine import Machine
from planner.lookover.look import look_over
from planner.lookover.remarks import Remark, as_data, worded
from planner.wording.say import say
from tests.lookover.benches import OLD, bench, box, cylinder

RIDER = " (tube 38.1 mm on radius 76.2 mm)."

TOLD: list[tuple[Machine, str]] = [
    (bench(cylinder("horn", "arm", [200, -76.2], 10, [-209, -160]), box("wall", "frame", [-50, -400, -209], [50, -250, -160])),
     f"In the profile the horn runs into the wall, 36.2 mm deep, from 72.5° of the arm on, near (0, -276, -184) mm{RIDER}"),
    (bench(carriage={"reach": [300, 2250]}),
     "In the profile the carriage runs into the rod anchor, 40.0 mm deep, near (-2430, 0, -80) mm."),
    (bench(box("carriage", "carriage", [-200, -80, -210], [8, 80, 80])),
     "The carriage is drawn 8.0 mm before the collet's face that it moves with; no x of it may be more than 0."),
    (bench(without=("bed",)),
     "The profile has no bed (a solid of the frame under the tube behind the dies): the proof knows nothing of it."),
    (bench(without=("rod anchor",)),
     "No solid holds the mandrel's rod where it ends, 2400 mm behind the tangent point: the proof knows nothing of its anchor."),
    (bench(head={"centreline_height": 250}), "The centreline is 250 mm over the floor, under 300 mm: metres typed for mm?"),
    (bench(head={"centreline_height": 2600}), "The centreline is 2600 mm over the floor, over 2500 mm: is that so?"),
    (bench(cylinder("post", "frame", [0, 76], 60, [-1000, -210])),
     "The post stands to the left of the feed, the head bends toward the right: no post is under the die."),
    (bench(tool={"pressure_die_length": 250}),
     "The pressure die of 250 mm travels with the tube and lasts to 159.3°, the largest setting is 180.0°: it needs 277.5 mm"
     + RIDER),
    (bench(tool={"clamp_block": {"width": 60, "height": 60, "opens": 60}}),
     "The clamp of 100 mm opens 60 mm; after a bend of 90° it needs 67.0 mm where the tube is eased off in two steps" + RIDER),
]  # fmt: skip


@pytest.mark.parametrize(("machine", "sentence"), TOLD)
def test_a_remark_is_told_with_its_numbers_and_where(machine: Machine, sentence: str) -> None:
    assert [worded(one) for one in look_over(machine)] == [sentence]


def test_a_pressure_die_is_said_to_last_no_tenth_of_a_degree_longer_than_it_does() -> None:
    for lasts, said in ((159.3, "159.3°"), (159.29999999, "159.2°"), (159.2500001, "159.2°")):
        remark = Remark("pressure die too short", ("pressure die",), (38.1, 76.2), angle=math.radians(lasts),
                        found=250.0, needed=277.5, setting=math.pi)  # fmt: skip
        assert f"lasts to {said}," in worded(remark)


def test_a_clash_at_home_is_told_so() -> None:
    remark = next(one for one in look_over(OLD["under-the-loft"]) if one.names == ("arm", "pressure die slide"))
    assert ", even with the arm at home, near (" in worded(remark)


def test_lengths_of_a_remark_are_shown_in_inches_and_what_is_needed_never_too_small() -> None:
    assert in_inches(TOLD[-1][0]) == (
        "The clamp of 3.937 in opens 2.362 in; after a bend of 90° it needs 2.638 in where the tube is eased off in two"
        " steps (tube 1.500 in on radius 3.000 in)."
    )
    assert "near (-95.669, 0, -3.150) in" in in_inches(TOLD[1][0])


def in_inches(machine: Machine) -> str:
    """What there is to remark first on a machine, in inches."""
    return say(look_over(machine)[0].fact, "in")


def test_a_remark_is_data_with_its_sentence() -> None:
    (remark,) = look_over(TOLD[0][0])
    data = as_data(remark)
    assert json.loads(json.dumps(data)) == data
    assert data["sentence"] == TOLD[0][1]
    assert (data["kind"], data["names"], data["depth"]) == ("solids overlap", ["horn", "wall"], 36.2)
    assert data["angle"] == pytest.approx(math.degrees(math.acos(0.3)), abs=1e-3)
    assert data["tooling"] == {"tube_diameter": 38.1, "bend_radius": 76.2}
    assert data["place"] == [0.0, -276.2, -184.5]
    assert "needed" not in data


def part() -> Any:
    return part_from_data({
        "name": "elbow", "tube": {"outside_diameter": 38.1, "wall": 1.65, "material": "stainless 304"},
        "units": "mm", "shape": {"bend_radius": 76.2, "lra": [[300, 0, 90], [500]]},
    })  # fmt: skip


def test_every_plan_warns_of_each_remark_once_and_of_what_was_assumed() -> None:
    machine = bench(without=("bed", "post"), mandrel={"nose": 5}, tool={"mandrel": None})
    warnings = [say(one) for one in warnings_of(case_of(part(), machine))]
    told = [*map(say, machine.notes), *(worded(one) for one in look_over(machine))]
    assert len(told) == 3
    assert [warning for warning in warnings if warning in told] == told
    clean = [say(one) for one in warnings_of(case_of(part(), bench()))]
    assert not [warning for warning in clean if "the proof knows nothing" in warning or "In the profile" in warning]
