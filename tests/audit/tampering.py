"""Proofs made wrong: one number, one entry or one literal changed, and forgeries whose parts fit together.

Each function changes a copy of a proof and says what it did; None where the proof leaves no room for it.
"""

from __future__ import annotations

import copy
import hashlib
import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from planner.inputs.files import machine_from_data, part_from_data
from tests.plan.replay.faults import FAULTS

Proof = dict[str, Any]
Tamper = Callable[[Proof, np.random.Generator], str | None]


def one_of(rng: np.random.Generator, entries: list[Any]) -> Any:
    """One of some entries, None if there is none."""
    return entries[int(rng.integers(len(entries)))] if entries else None


def strikes(no_good: dict[str, Any]) -> list[dict[str, Any]]:
    """All witnesses of a no-good that are written out with their pose."""
    walls = [*no_good["walls"], *(entry["wall"] for entry in no_good["clamps"] if "wall" in entry)]
    found = [entry["strike"] for entry in no_good["clamps"] if "strike" in entry]
    return found + [strike for wall in walls for strike in (*wall.get("strikes", ()), *wall.get("slide_strikes", ()))]


def cell_walls(proof: Proof) -> list[dict[str, Any]]:
    """All walls of blocked cells."""
    return [wall for no_good in proof["no_goods"] for wall in no_good["walls"] if wall["kind"] == "cells"]


# Numbers of the no-goods


def a_witness_moved_along_the_tube(proof: Proof, rng: np.random.Generator) -> str | None:
    strike = one_of(rng, [s for no_good in proof["no_goods"] for s in strikes(no_good)])
    if strike is None:
        return None
    strike["place"] += float(rng.choice((-1.0, 1.0))) * float(rng.uniform(50.0, 800.0))
    return f"place {strike['place']:.1f}"


def a_witness_at_another_moment(proof: Proof, rng: np.random.Generator) -> str | None:
    strike = one_of(rng, [s for no_good in proof["no_goods"] for s in strikes(no_good)])
    if strike is None:
        return None
    name = str(rng.choice(("advance", "rotation", "arm", "tube")))
    strike[name] += float(rng.choice((-1.0, 1.0))) * float(rng.uniform(5.0, 90.0))
    return f"{name} {strike[name]:.1f}"


def a_witness_against_another_solid(proof: Proof, rng: np.random.Generator) -> str | None:
    strike = one_of(rng, [s for no_good in proof["no_goods"] for s in strikes(no_good)])
    if strike is None:
        return None
    names = ["floor", "bend die", "wiper die", "pressure die", "clamp die", "its own tail"]
    names += [solid["name"] for solid in proof["plan"]["machine"].get("solid", ())]
    strike["solid"] = str(rng.choice([name for name in names if name != strike["solid"]]))
    return f"against the {strike['solid']}"


def a_literal_dropped(proof: Proof, rng: np.random.Generator) -> str | None:
    no_good = one_of(rng, proof["no_goods"])
    if no_good is None:
        return None
    given = [name for name in ("trim_lead", "trim_tail", "way", "released") if no_good[name] is not None]
    name = one_of(rng, given)
    if name is None:
        return None
    no_good[name] = None
    return f"{name} dropped"


def more_runs_of_formed_bends(proof: Proof, rng: np.random.Generator) -> str | None:
    no_good = one_of(rng, [n for n in proof["no_goods"] if n["ahead"] != [1, n["bend"]]])
    if no_good is None:
        return None
    low, high = no_good["ahead"]
    no_good["ahead"] = [1, no_good["bend"]] if rng.random() < 0.5 else [max(low - 1, 1), min(high + 1, no_good["bend"])]
    return f"first formed bend {no_good['ahead']}"


def another_event(proof: Proof, rng: np.random.Generator) -> str | None:
    no_good = one_of(rng, proof["no_goods"])
    if no_good is None:
        return None
    events = ("load", "turn", "reload", "link", "bend", "re-grip")
    no_good["event"] = str(rng.choice([event for event in events if event != no_good["event"]]))
    return f"event {no_good['event']}"


def another_bend_or_end(proof: Proof, rng: np.random.Generator) -> str | None:
    no_good = one_of(rng, proof["no_goods"])
    if no_good is None:
        return None
    n = len(proof["plan"]["part"]["shape"]["lra"]) - 1
    if rng.random() < 0.5 or n < 2:
        no_good["leads"] = "B" if no_good["leads"] == "A" else "A"
        return f"end {no_good['leads']} leading"
    no_good["bend"] = no_good["bend"] % n + 1
    no_good["ahead"] = [min(x, no_good["bend"]) for x in no_good["ahead"]]
    return f"bend {no_good['bend']}"


def evidence_left_out(proof: Proof, rng: np.random.Generator) -> str | None:
    no_good = one_of(rng, proof["no_goods"])
    if no_good is None:
        return None
    entries = no_good[one_of(rng, [name for name in ("clamps", "walls") if no_good[name]])]
    del entries[int(rng.integers(len(entries)))]
    return "a clamp or a wall left out"


def a_wall_with_a_gap(proof: Proof, rng: np.random.Generator) -> str | None:
    walls = [wall for no_good in proof["no_goods"] for wall in no_good["walls"]]
    walls += [e["wall"] for no_good in proof["no_goods"] for e in no_good["clamps"] if "wall" in e]
    wall = one_of(rng, walls)
    if wall is None:
        return None
    entries = wall["cells"] if wall["kind"] == "cells" else wall["strikes"]
    del entries[int(rng.integers(len(entries)))]
    return f"one of {len(entries) + 1} left out of a wall ({wall['kind']})"


def a_blocked_cell_widened(proof: Proof, rng: np.random.Generator) -> str | None:
    wall = one_of(rng, cell_walls(proof))
    if wall is None:
        return None
    cell = one_of(rng, wall["cells"])
    cell[int(rng.choice((1, 3)))] *= float(rng.uniform(1.5, 6.0))
    return "a blocked cell widened"


def the_arc_slides_less_far(proof: Proof, rng: np.random.Generator) -> str | None:
    wall = one_of(rng, cell_walls(proof))
    if wall is None or wall["slides_to"] <= 0.0:
        return None
    wall["slides_to"] *= float(rng.uniform(0.0, 0.9))
    return f"slides to {wall['slides_to']:.1f}"


def a_plane_cut_off(proof: Proof, rng: np.random.Generator) -> str | None:
    wall = one_of(rng, cell_walls(proof))
    if wall is None:
        return None
    wall["y"][1] *= float(rng.uniform(0.3, 0.9))
    return "a plane that ends too soon"


def home_walls(proof: Proof) -> list[dict[str, Any]]:
    """All walls against ways home."""
    found = [entry["wall"] for no_good in proof["no_goods"] for entry in no_good["clamps"] if "wall" in entry]
    return [wall for wall in found if wall["kind"] == "home"]


def a_home_wall_at_two_angles(proof: Proof, rng: np.random.Generator) -> str | None:
    strike = one_of(rng, [s for wall in home_walls(proof) for s in wall["strikes"] if s["phase"] == "return"])
    if strike is None:
        return None
    strike["arm"] *= float(rng.uniform(0.5, 0.95))
    return f"a strike of a way home at {strike['arm']:.1f}"


def a_home_wall_ended_by_what_the_arm_carries(proof: Proof, rng: np.random.Generator) -> str | None:
    wall = one_of(rng, [wall for wall in home_walls(proof) if wall["strikes"][-1]["phase"] == "place"])
    if wall is None:
        return None
    carried = ["clamp die", "grip section", "pressure die"]
    carried += [solid["name"] for solid in proof["plan"]["machine"].get("solid", ()) if solid["moves_with"] != "frame"]
    wall["strikes"][-1]["solid"] = str(rng.choice(carried))
    return f"a way home ended by the {wall['strikes'][-1]['solid']}"


def a_home_wall_without_its_end(proof: Proof, rng: np.random.Generator) -> str | None:
    ended = [wall for wall in home_walls(proof) if wall["strikes"][-1]["phase"] == "place"]
    wall = one_of(rng, ended)
    if wall is None:
        return None
    del wall["strikes"][-1]
    return "a way home with nothing that keeps the tube from being drawn off"


def a_no_good_left_out(proof: Proof, rng: np.random.Generator) -> str | None:
    if not proof["no_goods"]:
        return None
    del proof["no_goods"][int(rng.integers(len(proof["no_goods"])))]
    return "a no-good left out"


def a_no_good_invented(proof: Proof, rng: np.random.Generator) -> str | None:
    """Of a bend that the plan makes: with the pose of that bend, some place on the tube and some solid."""
    order, n = proof["plan"]["order"], len(proof["plan"]["part"]["shape"]["lra"]) - 1
    if not order:
        return None
    closing = one_of(rng, [s for s in proof["plan"]["steps"] if s["action"] == "bend"])
    made = [entry["bend"] for entry in order]
    before = made[: made.index(closing["bend"])]
    leads = closing["leads"]
    bend, formed = (closing["bend"], before) if leads == "A" else (n + 1 - closing["bend"], [n + 1 - b for b in before])
    ahead = min([*formed, bend])
    length = sum(row[0] for row in proof["plan"]["part"]["shape"]["lra"])
    solid = one_of(rng, ["floor", "bend die", *(s["name"] for s in proof["plan"]["machine"].get("solid", ()))])
    arm = float(rng.uniform(0.0, closing["setting"]))
    strike = {
        "phase": "bend", "place": float(rng.uniform(0.0, length)), "solid": solid, "clamp": None,
        "advance": 0.0, "rotation": 0.0, "arm": arm, "tube": arm, "face": closing["from"]["face"], "pressure": 0.0,
        "clearance": -50.0, "needed": 10.0, "slides": False,
    }  # fmt: skip
    clamps = {length for tooling in proof["plan"]["machine"]["tooling"] for length in tooling["clamp_lengths"]}
    proof["no_goods"].append(
        {
            "event": "bend", "leads": leads, "bend": bend, "ahead": [ahead, ahead], "trim_lead": None, "trim_tail": None,
            "hold": None, "way": None, "released": None, "sentence": "Invented.",
            "met": {"ahead": ahead, "trim_lead": 0.0, "trim_tail": 0.0}, "doing": "bend",
            "clamps": [{"clamp": length, "strike": dict(strike)} for length in sorted(clamps)], "walls": [],
        }
    )  # fmt: skip
    return f"bend {closing['bend']} called impossible"


# The rules


def a_rule_that_says_more(proof: Proof, rng: np.random.Generator) -> str | None:
    rule = one_of(rng, proof["rules"])
    if rule is None:
        return None
    given = [name for name in ("trim_lead", "trim_tail", "hold", "released") if rule[name] is not None]
    name = one_of(rng, given)
    if name is None:
        return None
    rule[name] = None
    return f"a rule without its {name}"


def a_rule_with_another_number(proof: Proof, rng: np.random.Generator) -> str | None:
    rule = one_of(rng, [r for r in proof["rules"] if r["rule"] != "chuck range"])
    if rule is None:
        return None
    name = str(rng.choice(sorted(rule["numbers"])))
    rule["numbers"][name] += float(rng.choice((-1.0, 1.0))) * float(rng.uniform(0.5, 30.0))
    return f"{rule['rule']}: {name} {rule['numbers'][name]:.1f}"


# The covers


def a_cell_widened(proof: Proof, rng: np.random.Generator) -> str | None:
    cut = one_of(rng, [cut for motion in proof["motions"] for cut in motion["cut"]])
    if cut is None:
        return None
    cell = one_of(rng, cut["cells"])
    side = int(rng.integers(4))
    wide = cell[2 * (side // 2) + 1] - cell[2 * (side // 2)]
    cell[side] += (1.0 if side % 2 else -1.0) * wide * float(rng.uniform(0.05, 1.0))
    return "a cell widened"


def a_cell_left_out(proof: Proof, rng: np.random.Generator) -> str | None:
    cut = one_of(rng, [cut for motion in proof["motions"] for cut in motion["cut"] if len(cut["cells"]) > 1])
    if cut is None:
        return None
    del cut["cells"][int(rng.integers(len(cut["cells"])))]
    return "a cell left out"


def a_pair_left_out(proof: Proof, rng: np.random.Generator) -> str | None:
    motion = one_of(rng, [motion for motion in proof["motions"] if motion["whole"]])
    if motion is None:
        return None
    del motion["whole"][int(rng.integers(len(motion["whole"])))]
    return "a pair left out"


def a_section_or_rod_left_out(proof: Proof, rng: np.random.Generator) -> str | None:
    hidden = ("grip section", "mandrel rod", "mandrel")
    pairs = [(motion, pair) for motion in proof["motions"] for pair in motion["whole"] if pair[1] in hidden]
    if not pairs:
        return None
    motion, pair = pairs[int(rng.integers(len(pairs)))]
    motion["whole"].remove(pair)
    return f"no {pair[1]} at step {motion['step']}"


def a_cut_pair_called_whole(proof: Proof, rng: np.random.Generator) -> str | None:
    motion = one_of(rng, [motion for motion in proof["motions"] if motion["cut"]])
    if motion is None:
        return None
    cut = motion["cut"].pop(int(rng.integers(len(motion["cut"]))))
    motion["whole"].append([cut["piece"], cut["solid"]])
    return f"{cut['piece']} against the {cut['solid']} in one cell"


def a_motion_left_out(proof: Proof, rng: np.random.Generator) -> str | None:
    if not proof["motions"]:
        return None
    del proof["motions"][int(rng.integers(len(proof["motions"])))]
    return "a motion left out"


def a_clearance_raised(proof: Proof, rng: np.random.Generator) -> str | None:
    motion = one_of(rng, proof["motions"])
    if motion is None:
        return None
    motion["clear_by"] += float(rng.uniform(0.6, 50.0))
    proof["plan"]["steps"][motion["step"] - 1]["clearance"] = motion["clear_by"]
    return f"step {motion['step']} clear by {motion['clear_by']:.1f}"


# The plan and the claim


def a_step_left_out(proof: Proof, rng: np.random.Generator) -> str | None:
    """And what follows from it: the cover of its motion, the numbers of the steps behind."""
    steps = proof["plan"]["steps"]
    moving = [step["number"] for step in steps if step["to"] is not None]
    if not moving:
        return None
    number = int(one_of(rng, moving))
    action = steps[number - 1]["action"]
    del steps[number - 1]
    for step in steps[number - 1 :]:
        step["number"] -= 1
    proof["motions"] = [motion for motion in proof["motions"] if motion["step"] != number]
    for motion in proof["motions"]:
        motion["step"] -= motion["step"] > number
    return f"no {action} at step {number}"


def a_step_moved_elsewhere(proof: Proof, rng: np.random.Generator) -> str | None:
    step = one_of(rng, [step for step in proof["plan"]["steps"] if step["to"] is not None])
    if step is None:
        return None
    at, name = step[str(rng.choice(("from", "to")))], str(rng.choice(("y", "rotation", "arm", "face")))
    if at[name] is None:
        return None
    at[name] += float(rng.choice((-1.0, 1.0))) * float(rng.uniform(2.0, 60.0))
    return f"step {step['number']}: {name} {at[name]:.1f}"


def an_arm_stopped_elsewhere(proof: Proof, rng: np.random.Generator) -> str | None:
    """With all the steps behind it up to the next one of the arm, and the places where they are said to be nearest."""
    steps = proof["plan"]["steps"]
    partial = [
        k for k, s in enumerate(steps) if s["action"] == "return" and s["to"] is not None and s["to"]["arm"] > 0.0
    ]
    if not partial:
        return None
    first = int(rng.choice(partial))
    begin, stopped, nearest = steps[first]["from"]["arm"], steps[first]["to"]["arm"], steps[first]["nearest_at"]
    arm = stopped * float(rng.uniform(0.3, 0.9))
    steps[first]["to"]["arm"] = arm
    if nearest is not None:  # as far on the way as before
        nearest["arm"] = begin + (nearest["arm"] - begin) * (arm - begin) / (stopped - begin)
    for step in steps[first + 1 :]:
        if step["from"] is None:
            continue
        home, nearest = step["action"] == "return", step["nearest_at"]
        before, after = step["from"]["arm"], step["to"]["arm"]
        step["from"]["arm"] = arm
        if nearest is not None and home:  # as far on the way as before
            nearest["arm"] = after + (nearest["arm"] - after) * (arm - after) / (before - after)
        elif nearest is not None:
            nearest["arm"] = arm
        if home:
            break
        step["to"]["arm"] = arm
    return f"the arm stopped at {arm:.1f}"


def a_carriage_that_waits_elsewhere(proof: Proof, rng: np.random.Generator) -> str | None:
    """At every step that it stands open, so that all fits together."""
    carriage, way = proof["plan"]["machine"].get("carriage"), float(rng.uniform(20.0, 100.0))
    if carriage is None or not proof["plan"]["steps"]:
        return None
    stands = carriage.get("stand_back", carriage["reach"][1])
    for step in proof["plan"]["steps"]:
        for position in (step["from"], step["to"]):
            if position is not None and position["face"] is not None and abs(position["face"] - stands) < 1e-6:
                position["face"] -= way
                if step["action"] in ("carriage forward", "carriage back"):
                    step["amount"] = abs(step["to"]["face"] - step["from"]["face"])
    return f"the carriage waits {way:.1f} mm nearer"


def another_order(proof: Proof, rng: np.random.Generator) -> str | None:
    order = proof["plan"]["order"]
    if len(order) < 2:
        return None
    if rng.random() < 0.5:
        order.reverse()
        return "the order turned round"
    entry = one_of(rng, order)
    entry["leads"] = "B" if entry["leads"] == "A" else "A"
    return f"end {entry['leads']} leading at bend {entry['bend']}"


def a_bound_raised(proof: Proof, rng: np.random.Generator) -> str | None:
    bound = proof["claim"]["bound"]
    if bound is None:
        return None
    if rng.random() < 0.5:
        proof["claim"]["bound"] = None
        return "called impossible"
    bound["reclamps"] += 1
    return f"no plan below {bound['reclamps']} re-clamps"


def fewer_reclamps_claimed(proof: Proof, rng: np.random.Generator) -> str | None:  # noqa: ARG001  as all of them
    if not proof["claim"]["reclamps"]:
        return None
    proof["claim"]["reclamps"] -= 1
    proof["plan"]["reclamps"] -= 1
    name = next(name for name in ("turns", "regrips", "reloads", "released") if proof["plan"][name])
    proof["plan"][name] -= 1
    return f"{proof['claim']['reclamps']} re-clamps claimed"


def called_not_makeable(proof: Proof, rng: np.random.Generator) -> str | None:  # noqa: ARG001  as all of them
    """A whole forgery: the plan taken out, the bound with it, the rest as it was."""
    plan, claim = proof["plan"], proof["claim"]
    if plan["verdict"] != "makeable":
        return None
    for name in ("reclamps", "turns", "regrips", "reloads", "released", "time", "smallest_clearance", "stock"):
        plan[name] = None
    for name in ("order", "steps", "keep_clear"):
        plan[name] = []
    plan["verdict"] = claim["verdict"] = "not makeable"
    plan["proved"] = {"makeable": True, "reclamps": False, "trim": False, "time": False}
    claim.update(reclamps=None, trim=None, bound=None)
    proof["motions"] = []
    return "a makeable part called not makeable"


def another_machine(proof: Proof, rng: np.random.Generator) -> str | None:
    """A machine with less to keep clear of, or a part a little shorter, the fingerprint made to fit."""
    plan = proof["plan"]
    what = str(rng.choice(("required", "solid", "straight")))
    if what == "straight":
        plan["part"]["shape"]["lra"][0][0] += 1.0
    elif what == "solid" and plan["machine"].get("solid"):
        del plan["machine"]["solid"][0]
    else:
        plan["machine"]["clearance"]["required"] = 0.0
    part, machine = part_from_data(plan["part"]), machine_from_data(plan["machine"])
    text = json.dumps({"part": part.normalised(), "machine": machine.normalised()}, sort_keys=True)
    plan["fingerprint"] = hashlib.sha256(text.encode()).hexdigest()
    return f"another {what}"


def a_wrong_plan(proof: Proof, rng: np.random.Generator) -> str | None:
    """A fault of a whole plan, with all that follows from it: a rotation the other way, a leg left out, a grip shifted."""
    if proof["plan"]["verdict"] != "makeable":
        return None
    name = str(rng.choice(sorted(FAULTS)))
    found = FAULTS[name](proof["plan"], int(rng.integers(100)))
    if found is None:
        return None
    proof["plan"] = found[0]
    return name


TAMPERS: tuple[Tamper, ...] = (
    a_witness_moved_along_the_tube,
    a_witness_at_another_moment,
    a_witness_against_another_solid,
    a_literal_dropped,
    more_runs_of_formed_bends,
    another_event,
    another_bend_or_end,
    evidence_left_out,
    a_wall_with_a_gap,
    a_blocked_cell_widened,
    the_arc_slides_less_far,
    a_plane_cut_off,
    a_home_wall_at_two_angles,
    a_home_wall_ended_by_what_the_arm_carries,
    a_home_wall_without_its_end,
    a_no_good_left_out,
    a_no_good_invented,
    a_rule_that_says_more,
    a_rule_with_another_number,
    a_cell_widened,
    a_cell_left_out,
    a_pair_left_out,
    a_section_or_rod_left_out,
    a_cut_pair_called_whole,
    a_motion_left_out,
    a_clearance_raised,
    a_step_left_out,
    a_step_moved_elsewhere,
    an_arm_stopped_elsewhere,
    a_carriage_that_waits_elsewhere,
    another_order,
    a_bound_raised,
    fewer_reclamps_claimed,
    called_not_makeable,
    another_machine,
    a_wrong_plan,
)

NEVER_TRUE: tuple[Tamper, ...] = (
    a_home_wall_at_two_angles,
    a_home_wall_ended_by_what_the_arm_carries,
    a_section_or_rod_left_out,
    a_carriage_that_waits_elsewhere,
    a_rule_with_another_number,
    a_cell_widened,
    a_cell_left_out,
    a_pair_left_out,
    a_motion_left_out,
    a_step_left_out,
    a_step_moved_elsewhere,
    another_order,
    fewer_reclamps_claimed,
    another_machine,
)
"""What must be refused whatever is true: the document contradicts itself, or speaks of something else."""

OFTEN_TRUE: tuple[Tamper, ...] = (a_cut_pair_called_whole, a_no_good_left_out, a_literal_dropped)
"""What says less, or as much in fewer words: the auditor cuts cells further itself, and trim matters to few no-goods."""


RARE: tuple[Tamper, ...] = (
    a_blocked_cell_widened,
    the_arc_slides_less_far,
    a_plane_cut_off,
    a_home_wall_at_two_angles,
    a_home_wall_ended_by_what_the_arm_carries,
    a_home_wall_without_its_end,
)
"""What few proofs leave room for."""


def tampered(proof: Proof, tamper: Tamper, seed: int) -> tuple[Proof, str] | None:
    """A copy of a proof made wrong, and what was done to it; None where it cannot be."""
    made = copy.deepcopy(proof)
    said = tamper(made, np.random.default_rng(seed))
    return None if said is None else (made, said)


def least_reclamps(proof: Proof) -> float:
    """What a proof claims that no plan is below; infinite where it claims that there is none."""
    bound = proof["claim"]["bound"]
    return math.inf if bound is None else float(bound["reclamps"])
