"""A part, a machine and plans of every verdict for the command. All of it is invented."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from planner.facts import fact
from planner.plans.document import OrderedBend, Plan, Proved, Reason, Step, Stock, Verdict

PART = """
name = "boarding ladder rail"
units = "mm"
machine = "towpath-bender"
[tube]
outside_diameter = 38.1
wall = 1.65
material = "stainless 304"
yield_strength = 290
[shape]
bend_radius = 76.2
lra = [[250, 0, 90], [180, -90, 45], [300]]
[ends]
trim_a = 150
trim_b = 150
"""

MACHINE = """
name = "towpath bender"
units = "mm"
[head]
bends_toward = "right"
centreline_height = 1050
largest_angle = 190
[carriage]
reach = [250, 3200]
grip_length = 60
passes_through = true
[rotation]
range = "continuous"
zeroed = true
[advance]
zeroed = true
[mandrel]
rod_length = 3600
nose = 12
[clearance]
required = 10
[[tooling]]
tube_diameter = 38.1
bend_radius = 76.2
clamp_lengths = [115, 76]
shortest_grip = 76
pressure_die_length = 240
pressure_die_follows = true
shortest_tail = 40
die_height = 90
clamp_block = { width = 120, height = 130, opens = 60 }
pressure_block = { width = 110, height = 130, opens = 40 }
[[solid]]
name = "bed"
moves_with = "frame"
box = { from = [-4200, -140, -1050], to = [-120, 140, -110] }
[speeds]
advance = 250
rotate = 60
bend = 15
return = 30
[times]
regrip = 15
turn = 60
load = 45
clamp = 4
tool_change = 300
"""


TOO_NEAR = Reason.of(fact("as-said", text="Bend 2 is too near B."), grade="proved", rule="tail")


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the working directory: it holds rail.toml, and profiles/towpath-bender.toml."""
    (tmp_path / "rail.toml").write_text(PART, encoding="utf-8")
    (tmp_path / "no-machine.toml").write_text(PART.replace('machine = "towpath-bender"\n', ""), encoding="utf-8")
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "towpath-bender.toml").write_text(MACHINE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def plan_of(verdict: Verdict, part: dict[str, Any], machine: dict[str, Any]) -> Plan:
    """Return a plan with this verdict, made by hand; one bend with one step unless it is not makeable."""
    with_plan = verdict == "makeable"
    bends = (OrderedBend(bend=1, leads="A"), OrderedBend(bend=2, leads="A"))
    step = Step(number=1, action="bend", bend=1, leads="A", angle=90.0, setting=93.2, clearance=21.0, nearest="bed")
    return Plan(
        fingerprint="0" * 64,
        part=part,
        machine=machine,
        verdict=verdict,
        undecided_because="orders not tried" if verdict == "undecided" else None,
        proved=Proved(makeable=verdict != "undecided", reclamps=False, trim=False, time=False),
        reclamps=0 if with_plan else None,
        time=60.0 if with_plan else None,
        stock=Stock(cut_length=909.5, developed_length=909.5, trim_a=0.0, trim_b=0.0),
        order=bends if with_plan else (),
        steps=(step,) if with_plan else (),
        reasons=() if with_plan else (TOO_NEAR,),
    )


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> Callable[[Verdict | BaseException], list[Any]]:
    """Return a function that puts a verdict or an error in place of planning and returns what was planned."""

    def put(outcome: Verdict | BaseException) -> list[Any]:
        seen: list[Any] = []

        def plan(part: Any, machine: Any, **_: Any) -> Plan:
            seen.append((part, machine))
            if isinstance(outcome, BaseException):
                raise outcome
            return plan_of(outcome, part.normalised(), machine.normalised())

        module = ModuleType("planner.planning")
        module.plan = plan  # type: ignore[attr-defined]
        module.planned = lambda part, machine, **_: SimpleNamespace(plan=plan(part, machine))  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, "planner.planning", module)
        return seen

    return put
