"""Plans made by hand: one per verdict. Parts, machines and numbers are invented."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO
from typing import Any

import pytest

from planner.facts import fact
from planner.outputs.plan_page import print_plan
from planner.outputs.terminal import Page
from planner.plans.document import OrderedBend, Plan, Position, Proved, Reason, Step, Stock

PART: dict[str, Any] = {
    "name": "boarding ladder rail",
    "units": "mm",
    "tube": {"outside_diameter": 38.1, "wall": 1.65, "material": "stainless 304"},
    "shape": {
        "bend_radius": 76.2,
        "rotation_sign": "right-handed",
        "lra": [[250.0, 0.0, 90.0], [180.0, -90.0, 45.0], [300.0]],
    },
    "ends": {"trim_a": 150.0, "trim_b": 150.0},
}
MACHINE: dict[str, Any] = {
    "name": "canal workshop bender",
    "units": "mm",
    "head": {"bends_toward": "right", "centreline_height": 1050.0},
    "mandrel": {"rod_length": 3600.0, "nose": 12.0},
    "rotation": {"resolution": 0.1},
    "advance": {"resolution": 0.05},
}
HOME = Position(y=0.0, rotation=0.0, arm=0.0, face=900.0)


def _steps() -> tuple[Step, ...]:
    """Return the steps of a plan with one turn."""
    steps: list[dict[str, Any]] = [
        {"action": "load", "leads": "A", "checked": False, "note": "End A leads.", "time": 45.0},
        {"action": "close dies", "bend": 1, "leads": "A", "clamp": 115.0, "time": 4.0},
        {
            "action": "bend", "bend": 1, "leads": "A", "angle": 90.0, "setting": 93.2,
            "amount": 93.2, "unit": "deg", "reading": 93.2,
            "clearance": 14.25, "nearest": "floor", "time": 6.2,
            "caution": "The leg swings at head height.",
        },
        {"action": "turn", "leads": "B", "checked": False, "time": 60.0},
        {
            "action": "advance", "bend": 2, "leads": "B", "amount": 123.45, "unit": "mm", "reading": 123.45,
            "clearance": 1000.0, "time": 0.5,
        },
        {
            "action": "rotate", "bend": 2, "leads": "B", "amount": 90.0, "unit": "deg", "reading": 270.0,
            "way": "counter-clockwise", "clearance": 31.0, "nearest": "post", "time": 1.5,
        },
        {
            "action": "bend", "bend": 2, "leads": "B", "angle": 45.0, "setting": 47.1,
            "amount": 47.1, "unit": "deg", "clearance": 52.0, "nearest": "bed", "time": 3.1,
        },
        {"action": "unload", "checked": False, "time": 45.0},
    ]  # fmt: skip
    return tuple(Step(number=i, from_=HOME, to=HOME, **step) for i, step in enumerate(steps, start=1))


@pytest.fixture
def makeable() -> Plan:
    """Return a plan with one turn, one bend with either end leading."""
    return Plan(
        fingerprint="0" * 64,
        part=PART,
        machine=MACHINE,
        verdict="makeable",
        proved=Proved(makeable=True, reclamps=False, trim=False, time=False),
        reclamps=1,
        turns=1,
        regrips=0,
        reloads=0,
        released=0,
        time=165.3,
        smallest_clearance=14.25,
        stock=Stock(cut_length=1059.5, developed_length=909.5, trim_a=0.0, trim_b=150.0),
        order=(OrderedBend(bend=1, leads="A"), OrderedBend(bend=2, leads="B")),
        steps=_steps(),
        warnings=("The die's straight grip section under the clamp is not modelled.",),
        cautions=("Support the long leading part.",),
        hangs_on=("floor", "post"),
    )


@pytest.fixture
def not_makeable() -> Plan:
    """Return a proof that a part cannot be made, with one reason that is proved and one that is not."""
    return Plan(
        fingerprint="1" * 64,
        part=PART,
        machine=MACHINE,
        verdict="not makeable",
        proved=Proved(makeable=True, reclamps=False, trim=False, time=False),
        reasons=(
            Reason.of(
                fact("as-said", text="Bend 2 needs a setting of 196.0°, 190 allowed."),
                grade="proved",
                rule="largest angle",
            ),
            Reason.of(fact("as-said", text="Bend 1 comes too close to the post."), grade="unproved", rule="clearance"),
        ),
    )


@pytest.fixture
def undecided() -> Plan:
    """Return an undecided plan without any order that works."""
    return Plan(
        fingerprint="2" * 64,
        part=PART,
        machine=MACHINE,
        verdict="undecided",
        undecided_because="orders not tried",
        proved=Proved(makeable=False, reclamps=False, trim=False, time=False),
    )


@pytest.fixture
def printed() -> Callable[[Plan], str]:
    """Return a function that prints a plan as into a pipe and returns the page."""

    def as_piped(plan: Plan) -> str:
        stream = StringIO()
        print_plan(plan, Page(stream))
        return stream.getvalue()

    return as_piped
