"""The plan that a claim is of: what it says of order, loads, stock, clamps, grips and settings is held against its steps."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from planner.audit.claim import confirm_claim
from planner.audit.fewest import Fewest
from planner.audit.refused import Refused
from planner.audit.shop import Shop
from planner.audit.tables import Tables
from planner.inputs.files import load_machine, load_part
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.sequencing.events import Prefer
from tests.audit.test_audit_claim import Value, least, shop_of
from tests.plan.shop import bender, tube
from tests.search.test_orders import case_of


def document_of(part: Part, machine: Machine, prefer: Prefer = "fewer re-clamps") -> dict[str, Any]:
    """The plan of a part without its motions and no-goods; its claim as far as the shop rules alone go."""
    made = plan(part, machine, prefer=prefer).as_dict()
    shop = Shop(part, machine)
    best = least(shop, [], prefer)
    assert best is not None
    stock = made["stock"]
    claim = {
        "verdict": made["verdict"], "prefer": prefer, "reclamps": made["reclamps"],
        "trim": stock["trim_a"] + stock["trim_b"], "bound": {"reclamps": best[0], "trim": best[1]},
        "trims": [[stock["trim_a"], stock["trim_b"]]],
    }  # fmt: skip
    document = {"plan": made, "claim": claim}
    confirm_claim(document, shop, [])
    return document


def released_last() -> dict[str, Any]:
    part = tube([300, 200, 130], [0, 30], [60, 60])
    return document_of(part, bender({"carriage": {"finish_released": True}}))


def regripped() -> dict[str, Any]:
    part = tube([400, 300, 300, 400], [0, 90, 30], [60, 60, 40])
    return document_of(part, bender({"carriage": {"reach": [150, 650]}, "rotation": {"range": [-190, 190]}}))


def example(name: str) -> Callable[[], dict[str, Any]]:
    def built() -> dict[str, Any]:
        part = load_part(f"examples/{name}.toml")
        return document_of(part, load_machine(part.machine or "canal-workshop"))

    return built


PLANNED = {
    "fender hook, trimmed": example("fender-hook"),
    "wharf rail, turned": example("wharf-rail"),
    "regripped": regripped,
    "released": released_last,
}


@pytest.fixture(scope="module", params=list(PLANNED))
def planned(request: pytest.FixtureRequest) -> dict[str, Any]:
    """A plan that is what it says."""
    document = PLANNED[request.param]()
    confirm(document)
    return document


def confirm(document: dict[str, Any]) -> None:
    from planner.inputs.files import machine_from_data, part_from_data

    plan_ = document["plan"]
    confirm_claim(document, Shop(part_from_data(plan_["part"]), machine_from_data(plan_["machine"])), [])


def steps(document: dict[str, Any], *actions: str) -> list[dict[str, Any]]:
    return [step for step in document["plan"]["steps"] if step["action"] in actions]


def changed(document: dict[str, Any], change: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    document = copy.deepcopy(document)
    change(document)
    return document


def shifted(path: str, by: float) -> Callable[[dict[str, Any]], object]:
    def change(document: dict[str, Any]) -> None:
        *keys, last = path.split(".")
        inner = document
        for one in keys:
            inner = inner[one]
        inner[last] = inner[last] + by

    return change


def end_for_end(document: dict[str, Any]) -> None:
    for step in document["plan"]["steps"]:
        if step["leads"] is not None:
            step["leads"] = "B" if step["leads"] == "A" else "A"
    for bend in document["plan"]["order"]:
        bend["leads"] = "B" if bend["leads"] == "A" else "A"


CHANGES: dict[str, Callable[[dict[str, Any]], object]] = {
    "a better bound in re-clamps": shifted("claim.bound.reclamps", 1),
    "a better bound in trim": shifted("claim.bound.trim", 1),
    "no plan at all": lambda d: d["claim"].update(bound=None),
    "no verdict": lambda d: [x.update(verdict="good") for x in (d["claim"], d["plan"])],
    "no preference": lambda d: d["claim"].update(prefer="both"),
    "undecided, with something proved": lambda d: [x.update(verdict="undecided") for x in (d["claim"], d["plan"])],
    "not makeable, with a plan": lambda d: [x.update(verdict="not makeable") for x in (d["claim"], d["plan"])],
    "no stock": lambda d: d["plan"].update(stock=None),
    "no number for the trim": lambda d: d["claim"].update(trim=math.nan),
    "no number for the bound": lambda d: d["claim"]["bound"].update(trim=math.nan),
    "no number for a grip": lambda d: [s.update(grip=math.nan) for s in d["plan"]["steps"] if s["grip"]],
    "no number for a setting": lambda d: steps(d, "bend")[0].update(setting=math.nan),
    "no number for a cut": lambda d: d["plan"]["stock"].update(cut_length=math.nan),
    "half a re-clamp": shifted("claim.bound.reclamps", -0.5),
    "trims beyond what is allowed told apart": lambda d: d["claim"]["trims"].append([0.0, 900.0]),
    "a cut left out": lambda d: d["plan"]["steps"].append({**steps(d, "check")[0], "action": "trim", "amount": 3.0}),
    "another verdict": lambda d: d["claim"].update(verdict="not makeable"),
    "fewer re-clamps than there are": shifted("plan.reclamps", -1),
    "fewer re-clamps claimed": shifted("claim.reclamps", -1),
    "a turn more": shifted("plan.turns", 1),
    "a re-grip more": shifted("plan.regrips", 1),
    "a reload more": shifted("plan.reloads", 1),
    "the collet open": shifted("plan.released", 1),
    "more trim claimed": shifted("claim.trim", 1),
    "more trim than is allowed": shifted("plan.stock.trim_a", 500),
    "a longer tube to cut": shifted("plan.stock.cut_length", 0.01),
    "a longer part": shifted("plan.stock.developed_length", 0.01),
    "another order": lambda d: d["plan"]["order"].reverse(),
    "a bend left out": lambda d: d["plan"]["steps"].remove(steps(d, "bend")[0]),
    "a bend twice": lambda d: d["plan"]["steps"].append(steps(d, "bend")[0]),
    "a load left out": lambda d: d["plan"]["steps"].remove(steps(d, "load")[0]),
    "a turn put in": lambda d: d["plan"]["steps"].append({**steps(d, "load")[0], "action": "turn"}),
    "end for end": end_for_end,
    "a longer clamp": lambda d: steps(d, "bend")[-1].update(clamp=999.0),
    "a clamp there is not": lambda d: steps(d, "bend")[0].update(clamp=61.5),
    "a tail that does not fill the collet": lambda d: [s.update(grip=10.0) for s in d["plan"]["steps"] if s["grip"]],
    "another grip": lambda d: [s.update(grip=s["grip"] + 9.0) for s in d["plan"]["steps"] if s["grip"]],
    "another angle": lambda d: steps(d, "bend")[0].update(angle=31.0),
    "a setting under the angle": lambda d: steps(d, "bend")[0].update(setting=steps(d, "bend")[0]["angle"] - 0.1),
    "a setting far over the angle": lambda d: steps(d, "bend")[0].update(setting=189.0),
    "another rotation": lambda d: steps(d, "bend")[-1]["from"].update(rotation=17.0),
    "proved neither true nor false": lambda d: d["plan"]["proved"].update(makeable="yes"),
    "a re-grip after the last bend": lambda d: d["plan"]["steps"].append({**steps(d, "bend")[0], "action": "re-grip"}),
}


@pytest.mark.parametrize("name", list(CHANGES))
def test_a_plan_that_is_not_what_it_says_is_refused(planned: dict[str, Any], name: str) -> None:
    with pytest.raises(Refused):
        confirm(changed(planned, CHANGES[name]))


def faces(document: dict[str, Any], value: float) -> dict[str, Any]:
    """The document with the collet's face somewhere else at every bend, the grips with it."""

    def change(d: dict[str, Any]) -> None:
        for step in d["plan"]["steps"]:
            for place in ("from", "to"):
                if step[place] is not None and step[place]["face"] is not None:
                    step[place]["face"] += value
            if step["grip"] is not None:
                step["grip"] -= value

    return changed(document, change)


def test_a_collet_beyond_its_reach_is_refused() -> None:
    document = regripped()
    for value in (-600.0, 600.0):
        with pytest.raises(Refused, match=r"the collet's face stands|the tail's end"):
            confirm(faces(document, value))


def test_a_chuck_beyond_its_range_is_refused() -> None:
    document = regripped()
    turned = [s for s in steps(document, "rotate") if s["bend"] is not None]
    assert turned

    def change(d: dict[str, Any]) -> None:
        for step in steps(d, "rotate"):
            step["to"]["rotation"] = 200.0

    with pytest.raises(Refused, match="the chuck stands at 200"):
        confirm(changed(document, change))


@pytest.mark.parametrize(
    ("prefer", "proved", "bound", "holds"),
    [
        ("fewer re-clamps", (True, True), (1, 0.0), True),
        ("fewer re-clamps", (True, True), (0, 0.0), False),
        ("fewer re-clamps", (False, True), (0, 0.0), False),
        ("fewer re-clamps", (False, False), (0, 0.0), True),
        ("less trim", (True, True), (1, 0.0), True),
        ("less trim", (True, True), (0, 0.0), False),
        ("less trim", (False, True), (0, 0.0), True),
    ],
)
def test_what_is_proved_is_no_more_than_the_bound_shows(
    prefer: Prefer, proved: tuple[bool, bool], bound: Value, holds: bool
) -> None:
    """The wharf rail has one re-clamp and no trim, which is the least; a lower bound leaves the re-clamps open."""
    part = load_part("examples/wharf-rail.toml")
    document = document_of(part, load_machine(part.machine or "canal-workshop"), prefer)
    document["claim"]["bound"] = {"reclamps": bound[0], "trim": bound[1]}
    document["plan"]["proved"].update(reclamps=proved[0], trim=proved[1])
    if holds:
        confirm(document)
    else:
        with pytest.raises(Refused, match="are said to be the least"):
            confirm(document)


def test_without_mandrel_and_carriage_only_what_cannot_be_less_than_nothing_is_claimed() -> None:
    part = tube([300, 200, 300], [0, 30], [60, 60])
    machine = bender({"carriage": None, "mandrel": None})
    made = plan(part, machine).as_dict()
    claim = {
        "verdict": "makeable", "prefer": "fewer re-clamps", "reclamps": 0, "trim": 0.0,
        "bound": {"reclamps": 0, "trim": 0.0}, "trims": [[0.0, 0.0]],
    }  # fmt: skip
    document = {"plan": made, "claim": claim}
    confirm(document)
    with pytest.raises(Refused, match="more orders than were looked at"):
        confirm(
            changed(
                document,
                lambda d: (
                    d["claim"]["bound"].update(reclamps=1),
                    d["plan"]["proved"].update(reclamps=False, trim=False),
                ),
            )
        )
    with pytest.raises(Refused, match="putting in and taking out are not checked"):
        confirm(changed(document, lambda d: d["plan"]["proved"].update(makeable=True)))


def test_what_is_not_makeable_is_confirmed_only_where_no_order_keeps_the_rules() -> None:
    for ends, hand_fed in ((20.0, False), (20.0, True), (300.0, False), (300.0, True)):
        change: dict[str, Any] = {"carriage": None, "mandrel": None} if hand_fed else {}
        part = tube([ends, 200, ends], [0, 30], [60, 60])
        shop = Shop(part, bender(change))
        made = {
            "verdict": "not makeable", "stock": None, "steps": [], "order": [], "reclamps": None,
            "proved": {"makeable": True, "reclamps": False, "trim": False, "time": False},
        }  # fmt: skip
        claim = {"verdict": "not makeable", "prefer": "less trim", "reclamps": None, "trim": None, "bound": None}
        document = {"plan": made, "claim": {**claim, "trims": [[0.0, 0.0]]}}
        if ends < 50.0:
            confirm_claim(document, shop, [])
        else:
            with pytest.raises(Refused, match="there is no plan, it says"):
                confirm_claim(document, shop, [])


def test_a_long_part_with_many_trims_and_no_goods_is_looked_through_state_by_state() -> None:
    """A count, so that what was looked at is not nothing: every run, either end, each hold that can have got there."""
    n = 12
    case = case_of(tube([300.0] * (n + 1), [0.0, *[90.0] * (n - 1)], [40.0] * n), bender())
    found = Fewest(Tables(shop_of(case), [(0.0, 0.0)], []))
    assert found.fewest.tolist() == [0]
    # A run of k bends: its holds began at any of its bends by a load, at any but the first by a re-grip too.
    assert found.states == 2 * sum((n - k + 1) * (2 * k - 1) for k in range(1, n + 1))
    assert np.asarray(found.fewest).dtype == np.int16
