"""No-goods under audit: what the planner proved is confirmed, what is not so is refused.

The planner's kernel is the outside here (the auditor shares nothing with it): it says what is clear and how near a point
of the tube is, and proves no-goods of its own. Faults are put into those, and no-goods are made up of motions that are
clear.
"""

from __future__ import annotations

import copy
import math
from typing import Any

import pytest

from planner.audit.nogoods import confirm_no_goods
from planner.audit.refused import Refused
from tests.audit.taught import TELLING, Learned, Record, every, kinds, learned, strikes, walls

# ---------------------------------------------------------------------- what was proved is confirmed


@pytest.mark.parametrize(("kind", "seed"), TELLING)
def test_what_the_planner_proved_is_confirmed(kind: str, seed: int) -> None:
    of = learned(kind, seed)
    assert of.records
    for record in of.records:
        found = of.confirm(record)
        assert found["no-goods"] == 1
        assert found["witnesses"] + found["cells"] > 0


def test_all_kinds_of_evidence_are_among_what_is_confirmed(campaign: bool) -> None:
    for of, record in every(campaign):
        assert of.confirm(record)["no-goods"] == 1
    met = set().union(*(kinds(record) for _, record in every()))
    assert met >= {
        "bend", "dies close", "dies open", "home, home", "bend, held", "move, across", "load, cells", "unload, cells",
        "load, bare",
    }  # fmt: skip
    events = {(record["doing"], record["event"]) for _, record in every()}
    assert events >= {("load", "turn"), ("unload", "bend"), ("home", "link"), ("move", "link"), ("load", "reload")}
    assert {"way", "released"} <= {
        name for _, record in every() for name in ("way", "released") if record[name] is not None
    }


def test_the_patterns_come_back_as_they_were_written() -> None:
    of = learned("crowded", 18)
    document = {"no_goods": list(of.records)}
    patterns, counts = confirm_no_goods(document, of.part, of.machine, of.shop)
    assert counts["no-goods"] == len(of.records)
    for record, pattern in zip(of.records, patterns, strict=True):
        assert pattern == {key: record[key] for key in pattern}
        assert {"event", "leads", "bend", "ahead", "trim_lead", "trim_tail", "hold", "way", "released"} == set(pattern)


def test_the_first_that_does_not_hold_is_named() -> None:
    of = learned("drawn", 4)
    records = [copy.deepcopy(record) for record in of.records]
    at = next(k for k, record in enumerate(records) if record["clamps"] and k > 0)
    strikes(records[at])[0]["place"] = 1e5
    with pytest.raises(Refused, match=rf"^no-good {at + 1}, .*of bend {records[at]['bend']} "):
        confirm_no_goods({"no_goods": records}, of.part, of.machine, of.shop)


# ---------------------------------------------------------------------- faults


def changed(change: Any, campaign: bool) -> list[tuple[Learned, Record]]:
    """All no-goods that a change applies to, changed; it returns False where it does not apply."""
    return [(of, record) for of, record in every(campaign) if change(record, of) is not False]


def another_solid(record: Record, _: Learned) -> bool:
    found = strikes(record)
    for strike in found:
        strike["solid"] = "floor" if strike["solid"] != "floor" else "bend die"
    return bool(found)


def off_the_tube(record: Record, _: Learned) -> bool:
    found = strikes(record)
    for strike in found:
        strike["place"] += 20000.0
    return bool(found)


def beyond_the_setting(record: Record, _: Learned) -> bool:
    found = [strike for strike in strikes(record) if strike["phase"] in ("bend", "dies open", "return")]
    for strike in found:
        strike["arm"] += 200.0
        strike["tube"] += 200.0 if strike["phase"] == "bend" else 0.0
    return bool(found)


def arc_and_arm_apart(record: Record, _: Learned) -> bool:
    found = [strike for strike in strikes(record) if strike["phase"] == "bend"]
    for strike in found:
        strike["tube"] += 1.0
    return bool(found)


def no_number(record: Record, _: Learned) -> bool:
    found = strikes(record)
    for strike in found:
        strike["advance" if strike["phase"] in ("place", "return") else "place"] = math.nan
    return bool(found)


def another_phase(record: Record, _: Learned) -> bool:
    found = [strike for strike in strikes(record) if strike["phase"] in ("bend", "dies close")]
    for strike in found:
        strike["phase"] = "place" if strike["phase"] == "bend" else "return"
    return bool(found)


def trim_dropped(record: Record, _: Learned) -> bool:
    low = record["trim_lead"]
    in_trim = any(strike["place"] < -0.1 for strike in strikes(record))
    record["trim_lead"] = None
    return low is not None and low[0] > 0.0 and in_trim


def clamp_left_out(record: Record, _: Learned) -> bool:
    if len(record["clamps"]) < 2:
        return False
    del record["clamps"][0]
    return True


def another_clamp(record: Record, _: Learned) -> bool:
    if not record["clamps"]:
        return False
    record["clamps"][0]["clamp"] += 1.0
    return True


def a_hold(record: Record, _: Learned) -> bool:
    record["hold"] = {"since": 1, "begun": "load"}
    return True


def no_evidence(record: Record, _: Learned) -> bool:
    record["clamps"], record["walls"] = [], []
    return True


def wall_for_a_strike(record: Record, _: Learned) -> bool:
    """Only the strike of a wall of the return, or of what the carriage carries, is left."""
    found = [entry for entry in record["clamps"] if "wall" in entry]
    for entry in found:
        entry["strike"] = entry.pop("wall")["strikes"][0]
    return bool(found)


def either_way(record: Record, _: Learned) -> bool:
    if record["way"] is None or record["doing"] != "move":
        return False
    record["way"] = 1 - record["way"]
    return True


def any_collet(record: Record, of: Learned) -> bool:
    """What the carriage carries stands back when the collet was opened."""
    opened = of.shop.may_release and record["bend"] == of.shop.n and record["ahead"][0] == 1
    carried = {solid.name for solid in of.machine.solid if solid.moves_with == "carriage"}
    record["released"] = None
    return opened and any(strike["solid"] in carried for strike in strikes(record))


def any_bend_for_the_last(record: Record, _: Learned) -> bool:
    """A tube is taken off after the last bend, not after every one."""
    if (record["doing"], record["event"]) != ("unload", "bend") or record["bend"] < 2:
        return False
    record["bend"] -= 1
    record["ahead"] = [1, 1]
    return True


def every_bend_for_a_link(record: Record, _: Learned) -> bool:
    if record["doing"] != "move":
        return False
    record["event"] = "bend"
    return True


def slides_less_far(record: Record, _: Learned) -> bool:
    found = [wall for wall in walls(record) if wall["kind"] == "cells" and wall["slide_strikes"]]
    for wall in found:
        wall["slides_to"] = max(strike["advance"] for strike in wall["slide_strikes"]) - 1.0
    return bool(found)


def nothing_to_show_for_the_slide(record: Record, _: Learned) -> bool:
    found = [wall for wall in walls(record) if wall["kind"] == "cells" and wall["slide_strikes"]]
    for wall in found:
        wall["slide_strikes"] = []
    return bool(found)


def larger_cells(record: Record, _: Learned) -> bool:
    found = [wall for wall in walls(record) if wall["kind"] == "cells"]
    for wall in found:
        for cell in wall["cells"]:
            cell[1], cell[3] = 20.0 * cell[1], 20.0 * cell[3]
    return bool(found)


def cells_shifted(record: Record, _: Learned) -> bool:
    found = [wall for wall in walls(record) if wall["kind"] == "cells"]
    for wall in found:
        for cell in wall["cells"]:
            cell[2] = (cell[2] + 360.0) % 360.0 - 180.0
    return bool(found)


def longer_clamp_in_cells(record: Record, _: Learned) -> bool:
    found = [wall for wall in walls(record) if wall["kind"] == "cells"]
    for wall in found:
        wall["clamp"] += 50.0
    return bool(found)


def wall_at_the_goal(record: Record, _: Learned) -> bool:
    """A wall beside the way says nothing of the way."""
    found = [wall for wall in record["walls"] if wall["kind"] == "across"]
    for wall in found:
        wall["roll"] = 0.0
        for strike in wall["strikes"]:
            strike["rotation"] = 0.0
    return bool(found)


def carriage_goes_on(record: Record, _: Learned) -> bool:
    """The strikes of a wall wherever the collet holds, all at one place of it."""
    found = [wall for wall in walls(record) if wall["kind"] == "held"]
    for wall in found:
        wall["strikes"] = wall["strikes"][:1]
        wall["strikes"][0]["face"] += 1500.0
    return bool(found)


FAULTS = (
    another_solid, off_the_tube, beyond_the_setting, arc_and_arm_apart, no_number, another_phase, trim_dropped,
    clamp_left_out, another_clamp, a_hold, no_evidence, wall_for_a_strike, either_way, any_collet, any_bend_for_the_last,
    every_bend_for_a_link, slides_less_far, nothing_to_show_for_the_slide, larger_cells, cells_shifted,
    longer_clamp_in_cells, wall_at_the_goal, carriage_goes_on,
)  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.__name__)
def test_a_fault_is_refused_wherever_it_is_put(fault: Any, campaign: bool) -> None:
    made = changed(fault, campaign)
    assert made
    for of, record in made:
        assert of.refuses(record), (of.part.name, record)
