"""Ways home and runs of the carriage made wrong: whatever is changed, left out, or put in another order is refused."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from planner.audit.asked import pressure_die
from planner.audit.carrying_out import carry_out
from planner.audit.contact import wanted
from planner.audit.covers import confirm_motions
from planner.audit.proof import MALFORMED
from planner.audit.refused import Refused
from planner.audit.seen import pairs_of
from planner.audit.shop import Shop
from planner.inputs.machine import Machine
from tests.audit.ways_home import CASES, Document, changed, machine_of, planned, proof_of, steps
from tests.plan.shop import bender

TOLD = ("run forward in two steps", "by hand", "drawn off", "together", "released", "reloaded", "die drops")
"""Cases with every new kind of step among them."""

SIDES = 8
"""A forger's cells along a piece, and over a motion: the auditor halves them further where it must."""

NEW = (
    "run forward",
    "return",
    "open collet",
    "carriage forward",
    "carriage back",
    "load",
    "reload",
    "unload",
    "die down",
    "die up",
)


def refused(document: Document, name: str, words: str = "", machine: Machine | None = None) -> None:
    """Carry a changed plan out and confirm its motions: it must be refused, for what is said."""
    with pytest.raises((Refused, *(MALFORMED if not words else ()))) as caught:
        confirm_motions(document, CASES[name][0], machine or machine_of(name))
    assert words in str(caught.value)


def without(document: Document, *numbers: int) -> Document:
    """The document without some steps, the rest renumbered, their covers left out too."""
    made = copy.deepcopy(document)
    kept = [step for step in made["plan"]["steps"] if step["number"] not in numbers]
    new = {step["number"]: place for place, step in enumerate(kept, start=1)}
    made["motions"] = [motion for motion in made["motions"] if motion["step"] in new]
    for entry in made["motions"]:
        entry["step"] = new[entry["step"]]
    for step in kept:
        step["number"] = new[step["number"]]
    made["plan"]["steps"] = kept
    made["plan"]["smallest_clearance"] = min(step["clearance"] for step in kept if step["clearance"] is not None)
    return made


def covered_anew(document: Document, name: str, on: Machine | None = None) -> Document:
    """A document whose motions are covered anew, by a grid of cells a pair, clear by what they need: a forger's."""
    part, machine = CASES[name][0], on or machine_of(name)
    for step in document["plan"]["steps"]:
        if step["clearance"] is not None:
            step["clearance"] = 0.0
    document["plan"]["smallest_clearance"] = 0.0
    motions = carry_out(document["plan"], part, machine).motions
    pairs = pairs_of(motions, machine, part.radius, 2.0)
    cut: dict[int, list[dict[str, Any]]] = {motion.step: [] for motion in motions}
    for number, key in enumerate(pairs.names):
        if pairs.s_to[number] - pairs.s_from[number] <= 1e-5:
            continue
        s, t = (
            np.linspace(first, last, SIDES + 1).tolist()
            for first, last in ((pairs.s_from[number], pairs.s_to[number]), (pairs.t_from[number], 1.0))
        )
        cells = [[*s[i : i + 2], *t[k : k + 2]] for i in range(SIDES) for k in range(SIDES)]
        cut[key.step].append({"piece": key.piece, "solid": key.solid, "cells": cells})
    document["motions"] = [{"step": k, "clear_by": 0.0, "whole": [], "cut": found} for k, found in cut.items()]
    return document


# One step, one number


@pytest.mark.parametrize("name", TOLD)
def test_a_step_left_out_is_refused_whichever_it_is(name: str) -> None:
    document = planned(name)
    for step in document["plan"]["steps"]:
        refused(without(document, step["number"]), name)


@pytest.mark.parametrize("name", TOLD)
def test_any_number_of_a_new_step_that_is_changed_is_refused(name: str) -> None:
    document, tried = changed(name), 0
    for step in steps(document, *NEW):
        tables = [(step, ("amount", "reading", "grip"))]
        tables += [(step[when], ("y", "rotation", "arm", "face")) for when in ("from", "to") if step[when] is not None]
        for table, keys in tables:
            for key in keys:
                right = table.get(key)
                if right is None and key in ("reading", "amount"):
                    continue  # of what is done by hand none is asked for
                for wrong in (0.0, 100.0) if right is None else (right + 0.05, right - 0.05, None):
                    table[key] = wrong
                    refused(document, name)
                    tried += 1
                table[key] = right
    assert tried > 100
    assert confirm_motions(document, CASES[name][0], machine_of(name))


@pytest.mark.parametrize("name", TOLD)
def test_a_new_step_by_another_action_number_or_end_is_refused(name: str) -> None:
    document = changed(name)
    for step in steps(document, *NEW):
        for key, wrongs in (("action", NEW), ("bend", (None, 7)), ("leads", ("A", "B")), ("checked", (False, True))):
            right = step[key]
            for wrong in wrongs:
                free = key == "bend" and step["action"] in ("load", "reload", "unload")
                if wrong != right and not free and not (key == "checked" and step["from"] is None):
                    step[key] = wrong
                    refused(document, name)
            step[key] = right


# Whole forgeries


def past_the_standing_tube(document: Document) -> None:
    """The arm goes home past the tube that lies in its grip section; the tube is advanced when it is home."""
    first, *_, last = steps(document, "run forward", "return")
    numbers = [step["number"] for step in steps(document, "run forward", "return")]
    last["from"] = copy.deepcopy(first["from"])
    last["to"] |= {"y": first["from"]["y"], "face": first["from"]["face"]}
    steps(document, "unload")[0]["from"]["y"] = 0.0
    for step in steps(document, "carriage back"):
        step["from"] |= {"y": 0.0, "face": first["from"]["face"]}
        step["to"] |= {"y": 0.0}
        step["amount"] = abs(step["to"]["face"] - step["from"]["face"])
    document["plan"]["steps"] = without(document, *numbers[:-1])["plan"]["steps"]


def arm_nearer_home(document: Document) -> None:
    """The arm is stopped nearer home than the leg lets it."""
    _, stop, run, home = steps(document, "run forward", "return")
    for position in (stop["to"], run["from"], run["to"], home["from"]):
        position["arm"] = 15.0


def run_forward_less(document: Document) -> None:
    """The tube is run forward by less than the leg asks for, the rest of it later."""
    first, stop, run, _ = steps(document, "run forward", "return")
    back = first["amount"] - 20.0
    for position in (first["to"], stop["from"], stop["to"], run["from"]):
        position |= {"y": 20.0, "face": position["face"] + back}
    first |= {"amount": 20.0, "reading": 20.0}
    run["amount"] += back


def together_too_soon(document: Document) -> None:
    """Tube and arm go together, the arm home at once while the tube goes its first bit."""
    _, first, last = steps(document, "return")
    for position in (first["to"], last["from"]):
        position["arm"] = 5.0


def drawn_off_at_another_angle(document: Document) -> None:
    """The tube is drawn off with the arm nearer home, where the section stands in its way."""
    back, _ = steps(document, "return")
    unload = steps(document, "unload")[0]
    for position in (back["to"], unload["from"], unload["to"]):
        position["arm"] = 120.0


@pytest.mark.parametrize(
    ("forge", "name"),
    [
        (past_the_standing_tube, "run forward in two steps"),
        (arm_nearer_home, "run forward in two steps"),
        (run_forward_less, "run forward in two steps"),
        (together_too_soon, "together"),
        (drawn_off_at_another_angle, "drawn off"),
    ],
)
def test_a_way_home_that_the_grip_section_bars_is_not_confirmed_however_it_is_covered(
    forge: Callable[[Document], None], name: str
) -> None:
    document = changed(name)
    covered = covered_anew(changed(name), name)
    assert confirm_motions(covered, CASES[name][0], machine_of(name)), "the forger's covers do for what is right"
    forge(document)
    refused(covered_anew(document, name), name, "grip section is not confirmed")


def test_a_pair_of_section_rod_or_carriage_left_out_of_a_cover_is_missed() -> None:
    for name in ("balls", "released", "together"):
        document, tried = changed(name), set()
        for step in document["plan"]["steps"]:
            if step["clearance"] is None:
                continue
            entry = next(motion for motion in document["motions"] if motion["step"] == step["number"])
            for solid in ("grip section", "mandrel rod", "mandrel", "carriage", "slide beside it"):
                for kind, at in (("whole", 1), ("cut", "solid")):
                    found = [one for one in entry[kind] if one[at] == solid]
                    if found:
                        right, entry[kind] = entry[kind], [one for one in entry[kind] if one is not found[0]]
                        refused(document, name, f"against the {solid} is not covered")
                        entry[kind] = right
                        tried.add((step["action"], solid))
        assert ("unload", "carriage") in tried
        assert ("unload", "grip section") in tried or name != "balls"
        assert ("bend", "carriage") in tried or name != "released"
        assert ("return", "mandrel rod") in tried or name != "together"


def test_a_cell_of_the_rod_or_the_section_left_out_is_missed() -> None:
    document, tried = changed("balls"), 0
    for entry in document["motions"]:
        for cut in entry["cut"]:
            if cut["solid"] in ("mandrel rod", "mandrel", "grip section") and len(cut["cells"]) > 1:
                last = cut["cells"].pop()
                refused(document, "balls", "is not covered")
                cut["cells"].append(last)
                tried += 1
    assert tried > 10


# What a machine can


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("together", {"head": {"homes_with_tube": False}}, "while the arm goes home"),
        ("run forward in two steps", {"head": {"may_ease_off": False}}, "before the arm is home"),
        ("released", {"carriage": {"finish_released": False}}, "may not be opened"),
        ("die drops", {"head": {"die_drops": 0}}, "does not drop"),
        ("die drops", {"head": {"die_drops": 79}}, "how far the die goes"),
        ("stands near", {"carriage": {"stand_back": 250}}, "face"),
        ("run forward in two steps", {"carriage": {"stand_back": 5000}}, "face"),
        ("balls", {"tooling": {"mandrel": {"nose": 5, "balls": 2, "ball_reach": 75}}}, "it is on the rod"),
        ("without a section", {"tooling": {"grip_section": None}}, "grip section is not covered"),
        ("run forward in two steps", {"tooling": {"grip_section": {"length": 90}}}, "grip section"),
    ],
)
def test_a_plan_is_refused_on_a_machine_that_cannot_do_it(name: str, change: dict[str, Any], words: str) -> None:
    refused(changed(name), name, words, machine_of(name, "right", change))


def test_a_die_that_drops_too_little_is_in_the_way_however_it_is_covered() -> None:
    """By hand: half the section's height and the tube's radius are 59.05 mm; 2 mm more are kept to tooling."""
    (tooling,) = machine_of("die drops").tooling
    section = tooling.section(80.0)
    assert section is not None
    assert section.height / 2.0 + 38.1 / 2.0 == pytest.approx(59.05)
    for drop, goes in ((60.0, False), (62.0, True)):
        document = changed("die drops")
        for step in steps(document, "die down", "die up"):
            step["amount"] = drop
        document["plan"]["machine"]["head"]["die_drops"] = drop
        machine = machine_of("die drops", "right", {"head": {"die_drops": drop}})
        forged = covered_anew(document, "die drops", machine)
        if goes:
            assert confirm_motions(forged, CASES["die drops"][0], machine)
        else:
            refused(forged, "die drops", "grip section", machine)


def test_a_thicker_rod_or_a_tube_of_thicker_wall_is_another_solid() -> None:
    """The rod's thickness follows from the wall: by hand, 17.25 mm of radius for 1.65, 15.9 for 3."""
    part, machine = CASES["balls"][0], machine_of("balls")
    for wall, radius in ((1.65, 17.25), (3.0, 15.9)):
        motions = carry_out(planned("balls")["plan"], replace(part, wall=wall), machine).motions
        about = [pair.solid for motion in motions for pair in wanted(motion, machine)]
        found = {round(solid.shape.numbers[2], 6) for solid in about if solid.name == "mandrel"}
        assert found == {radius}


@pytest.mark.parametrize("draws_back", [False, True])
def test_a_tube_is_rotated_past_nose_and_balls_only_unless_they_are_drawn_back(draws_back: bool) -> None:
    """The rotation to bend 2 put before the advance: at 80 mm, where balls reach 90."""
    part, tip = CASES["balls"][0], {"tooling": {"mandrel": {"nose": 5, "balls": 2, "ball_reach": 90}}}
    machine = machine_of("balls", "right", tip, {"mandrel": {"draws_back": draws_back}})
    document = proof_of(part, machine)
    assert confirm_motions(document, part, machine)
    listed = document["plan"]["steps"]
    turned = next(step for step in listed if step["action"] == "rotate")
    before = listed[turned["number"] - 2]
    assert before["action"] == "advance"
    for position in (turned["from"], turned["to"]):
        position |= {key: before["from"][key] for key in ("y", "face")}
    for position in (before["from"], before["to"]):
        position["rotation"] = turned["to"]["rotation"]
    before["number"], turned["number"] = turned["number"], before["number"]
    listed.sort(key=lambda step: int(step["number"]))
    if draws_back:
        assert carry_out(document["plan"], part, machine)
        return
    with pytest.raises(Refused, match="the mandrel reaches 90 mm"):
        carry_out(document["plan"], part, machine)


def by_hand_in_the_middle(document: Document) -> None:
    """Before the job's last bend the tube is run forward by hand, though the collet holds it."""
    for step in steps(document, "run forward")[:2]:
        step["reading"] = None


def opened_in_the_middle(document: Document) -> None:
    """The collet is opened before another bend of the load."""
    opening = copy.deepcopy(steps(document, "open collet", "carriage back"))
    first = steps(document, "advance")[1]["number"]
    for more, step in enumerate(opening):
        document["plan"]["steps"].insert(first - 1 + more, step)
    for place, step in enumerate(document["plan"]["steps"], start=1):
        step["number"] = place


def rotated_with_the_arm_out(document: Document) -> None:
    """The arm's last step home comes after the tube was advanced and rotated."""
    listed = document["plan"]["steps"]
    (home,) = steps(document, "return")[1:2]
    moved = next(step for step in listed if step["action"] == "rotate")
    listed.remove(home)
    listed.insert(listed.index(moved) + 1, home)
    for place, step in enumerate(listed, start=1):
        step["number"] = place


@pytest.mark.parametrize(
    ("forge", "words"),
    [
        (by_hand_in_the_middle, "only once the collet is open"),
        (opened_in_the_middle, "bend 3 is not at hand"),
        (rotated_with_the_arm_out, ""),
    ],
)
def test_what_belongs_to_the_taking_off_is_refused_before_it(forge: Callable[[Document], None], words: str) -> None:
    document = changed("balls")
    forge(document)
    refused(document, "balls", words)


def test_a_carriage_that_does_not_come_back_or_forward_is_missed_even_if_all_else_is_made_to_fit() -> None:
    document = changed("run forward in two steps")
    for action, words in (("carriage forward", "does not run forward"), ("carriage back", "stand back")):
        (step,) = steps(document, action)
        refused(without(document, step["number"]), "run forward in two steps", words)
    both = [step["number"] for step in steps(document, "open collet", "carriage back")]
    refused(without(document, *both), "run forward in two steps", "the collet holds the tube")


def test_an_arm_that_stays_out_without_the_tube_is_missed() -> None:
    document = changed("drawn off")
    *_, last = steps(document, "return")
    refused(without(document, last["number"]), "drawn off", "the arm has to go home")


def test_a_following_pressure_die_that_does_not_last_is_no_plan() -> None:
    """By hand: 320 − 76.2 · 93.3° = 195.9 mm are left; a rest of 200 is not kept, whatever the plan says."""
    part = CASES["run forward in two steps"][0]
    for rest, kept in ((195, True), (200, False)):
        shop = Shop(part, bender({"tooling": {"pressure_rest": rest}}))
        asked = pressure_die(shop, "A", 1)
        assert asked.numbers(0.0)["left"] == pytest.approx(320.0 - 76.2 * shop.at("A", 1).setting)
        assert asked.keeps(0.0) is kept
    still = Shop(part, bender({"tooling": {"pressure_die_follows": False, "pressure_rest": 300}}))
    assert pressure_die(still, "A", 1).keeps(0.0)
