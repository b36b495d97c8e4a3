"""The step list holds together: positions, amounts, readings, rounding, times, re-clamps."""

from __future__ import annotations

import math
from typing import Any

import pytest

from planner.inputs.part import Part
from tests.plan.planned import Planned

DIGITS = 2e-6
"""The document gives positions to 6 decimals [mm, deg]; some are sums of a few rounded numbers."""


def is_multiple(value: float, step: float) -> bool:
    """Whether a printed number (6 decimals) is a multiple of a resolution."""
    return abs(value - round(value / step) * step) <= 1e-6


def test_every_step_starts_and_ends_where_the_simulation_stands(plans: list[Planned]) -> None:
    """Advance, chuck, arm and collet face, before and after every motion: so they also join up and amounts are differences."""
    for made in plans:
        for seen in made.workpiece.seen:
            for key, expected in (("from", seen.before), ("to", seen.after)):
                stated = seen.step[key]
                if stated is not None:
                    assert stated == pytest.approx(expected, abs=40 * DIGITS), (made.name, seen.step["number"], key)


def test_every_motion_begins_where_the_one_before_ended(plans: list[Planned]) -> None:
    for made in plans:
        moving = [s for s in made.document["steps"] if s["from"] is not None or s["action"] in ("turn", "reload")]
        for before, after in zip(moving, moving[1:], strict=False):
            if before["from"] is None or after["from"] is None or after["action"] in ("load", "turn", "reload"):
                continue  # the tube is laid in anew
            wanted = dict(before["to"])
            if before["action"] == "open dies":
                wanted["y"] = 0.0  # the advance counts from the end of the bend made last
            assert after["from"] == pytest.approx(wanted, abs=1e-9), (made.name, after["number"])


def test_the_amount_of_a_move_is_the_difference_of_its_positions(plans: list[Planned]) -> None:
    for made in plans:
        for step in made.document["steps"]:
            if step["action"] in ("advance", "run forward") or (
                step["action"] == "return" and step["amount"] is not None
            ):
                assert step["to"]["y"] - step["from"]["y"] == pytest.approx(step["amount"], abs=DIGITS)
            elif step["action"] in ("carriage forward", "carriage back"):
                assert abs(step["to"]["face"] - step["from"]["face"]) == pytest.approx(step["amount"], abs=DIGITS)
            elif step["action"] == "rotate":
                way = step["to"]["rotation"] - step["from"]["rotation"]
                assert abs(way) == pytest.approx(step["amount"], abs=DIGITS)
                assert step["way"] == ("clockwise" if way > 0.0 else "counter-clockwise")
            elif step["action"] == "bend":
                assert step["to"]["arm"] == pytest.approx(step["setting"], abs=DIGITS)


def by_hand(step: dict[str, Any]) -> bool:
    """Whether it is a leg on the way on to the rod or off it, in the time of the load."""
    return step["action"] in ("advance", "rotate") and step["bend"] is None


def test_the_readouts_show_what_stands_in_the_step(plans: list[Planned]) -> None:
    """Zeroed: since zero; absolute: from the collet's place or the leading end; dial 0–360 or signed, counted either way."""
    checked = {"advance": 0, "rotate": 0, "run forward": 0, "return": 0}
    for made in plans:
        for seen in made.workpiece.seen:
            step = seen.step
            if by_hand(step) or (step["action"] in ("run forward", "return") and step["reading"] is None):
                continue  # or only the arm goes
            if step["action"] in ("advance", "run forward", "return"):
                assert step["reading"] == pytest.approx(seen.readout, abs=40 * DIGITS), (made.name, step["number"])
            elif step["action"] == "rotate":
                off = math.remainder(step["reading"] - seen.dial, 360.0)
                assert off == pytest.approx(0.0, abs=40 * DIGITS), (made.name, step["number"])
            else:
                continue
            checked[step["action"]] += 1
    assert min(checked[action] for action in ("advance", "rotate", "run forward")) >= 60
    assert checked["return"] >= 6


def test_what_moves_the_tube_with_the_collet_open_shows_nothing_on_the_readout(plans: list[Planned]) -> None:
    by_hand = 0
    for made in plans:
        if made.document["machine"].get("carriage") is None:
            continue
        for step in made.document["steps"]:
            if step["action"] in ("run forward", "return"):
                moves = step["amount"] is not None
                assert (step["reading"] is not None) == (moves and step["grip"] is not None), (
                    made.name,
                    step["number"],
                )
                by_hand += moves and step["grip"] is None
    assert by_hand >= 6


def test_a_dial_shows_numbers_of_its_own_style(plans: list[Planned]) -> None:
    for made in plans:
        dial = made.document["machine"]["rotation"]
        for seen in made.workpiece.seen:
            if seen.step["action"] != "rotate" or by_hand(seen.step):
                continue
            reading = seen.step["reading"]
            if dial["style"] == "0-360":
                assert 0.0 <= reading < 360.0, made.name
            elif dial["range"] == "continuous":
                assert -180.0 < reading <= 180.0, made.name
            else:  # within its range a signed dial counts on past half a turn
                assert reading == pytest.approx(seen.dial, abs=40 * DIGITS), made.name


def test_what_the_operator_sets_is_a_multiple_of_the_resolution(plans: list[Planned]) -> None:
    """A zeroed readout is set to a whole number of its steps after every move, an absolute one as well."""
    for made in plans:
        for seen in made.workpiece.seen:
            step, readouts = seen.step, made.document["machine"]
            if step["action"] in ("advance", "rotate", "run forward", "return") and step["reading"] is not None:
                resolution = readouts["rotation" if step["action"] == "rotate" else "advance"]["resolution"]
                assert is_multiple(step["reading"], resolution), (made.name, step["number"], step["reading"])


def exact_places(part: Part, leads: str) -> dict[int, tuple[float, float]]:
    """Where each bend starts [mm] and how its plane stands [deg], counted from the leading end."""
    n = part.n_bends
    if leads == "A":
        planes = [math.degrees(sum(part.rotations[: i + 1])) for i in range(n)]
        return {i + 1: (float(part.bend_starts[i]), planes[i]) for i in range(n)}
    length = part.developed_length
    planes = [math.degrees(sum(part.rotations[i + 1 :])) for i in range(n)]
    return {i + 1: (length - float(part.bend_ends[i]), planes[i]) for i in range(n)}


def test_rounding_is_carried_and_never_adds_up(plans: list[Planned]) -> None:
    """Advances and arcs added up never differ from the exact place by more than half a resolution; rotations likewise."""
    seen_coarse = 0
    for made in plans:
        document = made.document
        if document["turns"] or document["reloads"]:
            continue  # laid in anew by hand
        seen_coarse += made.kind == "coarse"
        leads = document["order"][0]["leads"]
        exact, trim = exact_places(made.part, leads), document["stock"]["trim_a" if leads == "A" else "trim_b"]
        half = {k: document["machine"][k]["resolution"] / 2.0 for k in ("advance", "rotation")}
        for bend, near in places_made(made).items():
            place, plane = exact[bend]
            assert abs(near[0] - trim - place) <= half["advance"] + 1e-5, (made.name, bend)
            first_plane = exact[document["order"][0]["bend"]][1]
            assert abs(math.remainder(near[1] - plane + first_plane, 360.0)) <= half["rotation"] + 1e-5, made.name
    assert seen_coarse >= 4


def places_made(made: Planned) -> dict[int, tuple[float, float]]:
    """Per bend: raw stock passed when it starts [mm], rotations added up since the load [deg]; from the amounts alone."""
    first = next((s for s in made.document["steps"] if s["action"] == "carriage forward"), None)
    at = 0.0 if first is None else made.document["stock"]["cut_length"] - first["grip"] - first["to"]["face"]
    rolled, found = 0.0, {}
    for step in made.document["steps"]:
        if step["action"] in ("run forward", "return"):
            at += step["amount"] or 0.0
        elif step["action"] == "advance":
            at += step["amount"]
        elif step["action"] == "rotate":
            rolled += step["amount"] * (1.0 if step["way"] == "clockwise" else -1.0)
        elif step["action"] == "bend":
            found[step["bend"]] = (at, rolled)
            at += math.radians(step["angle"]) * made.document["part"]["shape"]["lra"][step["bend"] - 1][3]
    return found


def faces_beyond_reach(plans: list[Planned], rounding: bool) -> list[tuple[str, int, str, float]]:
    """Steps at which the collet's face stands outside the carriage's reach, by more than rounding explains if asked so."""
    beyond = []
    for made in plans:
        carriage, readouts = made.document["machine"].get("carriage"), made.document["machine"]
        if carriage is None:
            continue
        a_step = readouts["advance"]["resolution"] + 76.2 * math.radians(readouts["rotation"]["resolution"])
        slack = 1e-5 + (a_step if rounding else 0.0)
        for step in made.document["steps"]:
            faces = [stand["face"] for stand in (step["from"], step["to"]) if stand is not None]
            for face in faces:
                if face is not None and not carriage["reach"][0] - slack <= face <= carriage["reach"][1] + slack:
                    beyond.append((made.name, step["number"], step["action"], face))
    return beyond


def test_the_carriage_stays_within_its_reach_also_as_the_tube_springs_back(plans: list[Planned]) -> None:
    """After a re-grip the tube pushes the carriage back by CLR · (setting − angle): it needs that much travel behind it."""
    assert not faces_beyond_reach(plans, rounding=True)


def test_the_carriage_stays_within_its_reach_with_the_numbers_as_printed(plans: list[Planned]) -> None:
    assert not faces_beyond_reach(plans, rounding=False)


def test_the_chuck_stays_within_its_range(plans: list[Planned]) -> None:
    limited = 0
    for made in plans:
        limits = made.document["machine"]["rotation"]["range"]
        if limits == "continuous":
            continue
        limited += 1
        for step in made.document["steps"]:
            for stand in (step["from"], step["to"]):
                if stand is not None:
                    assert limits[0] - 1e-5 <= stand["rotation"] <= limits[1] + 1e-5, (made.name, step["number"])
    assert limited >= 3


def test_the_times_of_the_steps_add_up_and_are_those_of_the_profile(plans: list[Planned]) -> None:
    for made in plans:
        speeds, times = made.document["machine"]["speeds"], made.document["machine"]["times"]
        fixed = {
            "re-grip": times["regrip"], "turn": times["turn"], "load": times["load"], "close dies": times["clamp"],
            "open dies": times["clamp"], "change clamp": times["tool_change"], "unload": times["load"],
        }  # fmt: skip
        last = max(s["number"] for s in made.document["steps"] if s["action"] == "unload")
        before: dict[str, Any] = {}
        for step in made.document["steps"]:
            expected = fixed.get(step["action"])
            if step["action"] == "unload" and step["number"] != last:
                expected = 0.0  # it belongs to the turn, or the reload, that follows
            if step["action"] in ("advance", "rotate"):
                expected = 0.0 if by_hand(step) else abs(step["amount"]) / speeds[step["action"]]
            elif step["action"] in ("run forward", "carriage forward", "carriage back"):
                expected = abs(step["amount"]) / speeds["advance"]
            elif step["action"] == "bend":
                expected = step["setting"] / speeds["bend"]
            elif step["action"] == "return":  # what goes together counts one after the other
                back = (step["from"] or before)["arm"] - (step["to"] or {"arm": 0.0})["arm"]
                expected = back / speeds["return"] + (step["amount"] or 0.0) / speeds["advance"]
            before = step["to"] or before
            if expected is not None:
                assert step["time"] == pytest.approx(expected, abs=6e-4), (made.name, step["number"])
        assert made.document["time"] == pytest.approx(math.fsum(s["time"] for s in made.document["steps"]), abs=1e-6)


def test_reclamps_are_turns_regrips_reloads_and_a_released_bend(plans: list[Planned]) -> None:
    for made in plans:
        document, actions = made.document, [s["action"] for s in made.document["steps"]]
        assert document["turns"] == actions.count("turn"), made.name
        assert document["regrips"] == actions.count("re-grip"), made.name
        assert document["reloads"] == actions.count("reload"), made.name
        held_by_dies = [after for before, after in zip(actions, actions[1:], strict=False) if before == "close dies"]
        assert document["released"] == held_by_dies.count("open collet"), made.name
        parts = ("turns", "regrips", "reloads", "released")
        assert document["reclamps"] == sum(document[part] for part in parts), made.name


def test_the_collet_takes_hold_once_a_load_and_lets_go_once(plans: list[Planned]) -> None:
    """It runs from where it waits to its hold, and back there: with a re-grip it never leaves the tube's tail."""
    for made in plans:
        actions = [s["action"] for s in made.document["steps"]]
        carried = made.document["machine"].get("carriage") is not None
        loads = sum(actions.count(action) for action in ("load", "turn", "reload")) if carried else 0
        runs = ("carriage forward", "open collet", "carriage back")
        assert [actions.count(action) for action in runs] == [loads] * 3, made.name
        for before, after in zip(actions, actions[1:], strict=False):
            assert (before == "open collet") == (after == "carriage back"), made.name


def test_the_arm_is_at_home_before_the_tube_is_brought_to_its_next_place(plans: list[Planned]) -> None:
    for made in plans:
        for step in made.document["steps"]:
            if step["action"] in ("advance", "rotate", "close dies"):
                assert step["from"]["arm"] == step["to"]["arm"] == 0.0, (made.name, step["number"])


def test_every_bend_is_made_once_in_the_stated_order_at_its_angle(plans: list[Planned]) -> None:
    for made in plans:
        bends = [s for s in made.document["steps"] if s["action"] == "bend"]
        assert [{"bend": s["bend"], "leads": s["leads"]} for s in bends] == made.document["order"]
        assert sorted(s["bend"] for s in bends) == list(range(1, made.part.n_bends + 1))
        for step in bends:
            assert step["angle"] == pytest.approx(math.degrees(made.part.angles[step["bend"] - 1]), abs=1e-6)
            assert step["angle"] <= step["setting"] <= 200.0


def test_a_motion_between_load_and_unload_has_a_proved_clearance_that_is_enough(plans: list[Planned]) -> None:
    for made in plans:
        moving = [s for s in made.document["steps"] if s["from"] is not None]
        assert all(s["clearance"] is not None for s in moving), made.name
        assert made.document["smallest_clearance"] == min(s["clearance"] for s in moving)


def test_the_grip_and_the_face_add_up_to_the_tube_behind_the_tangent_point(plans: list[Planned]) -> None:
    """grip: the collet's face to the tail end; face: the collet's face to the tangent point. Tail = both together."""
    for made in plans:
        sim, cut = made.workpiece, made.document["stock"]["cut_length"]
        last = [s for s in made.document["steps"] if s["to"] is not None][-1]
        if last["grip"] is not None and last["to"]["face"] is not None:
            assert last["grip"] + last["to"]["face"] == pytest.approx(cut - sim.passed, abs=40 * DIGITS), made.name


def test_the_stock_is_the_developed_length_and_the_trims(plans: list[Planned]) -> None:
    for made in plans:
        stock, rows = made.document["stock"], made.document["part"]["shape"]["lra"]
        length = math.fsum(row[0] for row in rows) + math.fsum(math.radians(r[2]) * r[3] for r in rows[:-1])
        assert stock["developed_length"] == pytest.approx(length, abs=1e-5)
        assert stock["cut_length"] == pytest.approx(length + stock["trim_a"] + stock["trim_b"], abs=1e-5)
        for end in ("trim_a", "trim_b"):
            assert 0.0 <= stock[end] <= made.document["part"]["ends"][end]
            assert float(stock[end]).is_integer()
