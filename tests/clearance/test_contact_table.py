"""The contact table to the letter: each row of the page that fixes it, and nothing excused beyond those rows."""

from itertools import product

import pytest

from planner.clearance.contact import beyond_clamp, need
from planner.clearance.solids import Owner, Tool
from planner.tube.bodies import Phase, Role

TAIL, FORMING, FORMED, AFTER = Role.TAIL, Role.FORMING, Role.FORMED, Role.AFTER
FIRST, FAR_ARC, EARLIER = Role.FIRST, Role.FAR_ARC, Role.EARLIER
ALL = tuple(Phase)
STAYS_UP = tuple(phase for phase in Phase if phase is not Phase.DROP)
GRIPPED = (Phase.CLOSE, Phase.BEND, Phase.REGRIP, Phase.OPEN)
FRAME, ARM, CARRIAGE = Owner.FRAME, Owner.ARM, Owner.CARRIAGE

OWNERS = {
    Tool.DIE: (Owner.DIE,), Tool.HUB: (Owner.DIE,), Tool.WIPER: (FRAME,), Tool.CLAMP: (ARM,),
    Tool.PRESSURE: (FRAME, Owner.PRESSURE), Tool.FLOOR: (FRAME,),
    Tool.ENVELOPE: (FRAME, ARM, CARRIAGE, Owner.PRESSURE), Tool.TAIL: (FRAME, Owner.TAIL),
    Tool.SECTION: (Owner.SECTION,), Tool.ROD: (Owner.ROD,),
}  # fmt: skip

# piece of tube, against, owners of it, phases, while it slides straight out before any rotation, needs
ROWS = [
    ("tail, forming arc, first straight ahead, arc just formed and straight after it | bend die, grip section | drop",
     (TAIL, FORMING, FIRST, FORMED, AFTER), (Tool.DIE, Tool.SECTION), None, (Phase.DROP,), (False, True), None),
    ("formed arc at the far end | grip section | drop", (FAR_ARC,), (Tool.SECTION,), None, (Phase.DROP,),
     (False, True), None),
    ("tail, forming arc, first straight ahead | bend die | all but a die that drops",
     (TAIL, FORMING, FIRST), (Tool.DIE,), None, STAYS_UP, (False, True), "ease"),
    ("tail, forming arc, first straight ahead | wiper | all",
     (TAIL, FORMING, FIRST), (Tool.WIPER,), None, ALL, (False, True), "ease"),
    ("arc just formed and straight after it | bend die, wiper | re-grip, dies open, return",
     (FORMED, AFTER), (Tool.DIE, Tool.WIPER), None, (Phase.REGRIP, Phase.OPEN, Phase.RETURN), (False, True), "ease"),
    ("arc just formed and straight after it | bend die, wiper | place, sliding straight out",
     (FORMED, AFTER), (Tool.DIE, Tool.WIPER), None, (Phase.PLACE,), (True,), "ease"),
    ("tail, forming arc, first straight ahead, arc just formed, formed arc at the far end | grip section | the same",
     (TAIL, FORMING, FIRST, FORMED, FAR_ARC), (Tool.SECTION,), None, STAYS_UP, (False, True), "ease"),
    ("straight after the arc just formed | grip section | re-grip, dies open, return",
     (AFTER,), (Tool.SECTION,), None, (Phase.REGRIP, Phase.OPEN, Phase.RETURN), (False, True), "ease"),
    ("straight after the arc just formed | grip section | place, sliding straight out",
     (AFTER,), (Tool.SECTION,), None, (Phase.PLACE,), (True,), "ease"),
    ("tail | rod and mandrel | all", (TAIL,), (Tool.ROD,), None, ALL, (False, True), None),
    ("first straight ahead | rod and mandrel | all but the bend", (FIRST,), (Tool.ROD,), None,
     tuple(phase for phase in ALL if phase is not Phase.BEND), (False, True), None),
    ("tail | pressure die | all", (TAIL,), (Tool.PRESSURE,), None, ALL, (False, True), None),
    ("tail | collet, carriage | all", (TAIL,), (Tool.ENVELOPE,), (CARRIAGE,), ALL, (False, True), None),
    ("tail, forming or just formed arc, first straight ahead | clamp, pressure die | gripped",
     (TAIL, FORMING, FORMED, FIRST), (Tool.CLAMP, Tool.PRESSURE), None, GRIPPED, (False, True), None),
    ("formed arc at the far end of a gripped straight | clamp | gripped",
     (FAR_ARC,), (Tool.CLAMP,), None, GRIPPED, (False, True), "ease"),
    ("first straight ahead | arm | bend", (FIRST,), (Tool.ENVELOPE,), (ARM,), (Phase.BEND,), (False, True), "tooling"),
]  # fmt: skip

Triple = tuple[Role, Tool, Owner, Phase, bool]


def triples(row: tuple) -> list[Triple]:  # type: ignore[type-arg]
    _, roles, tools, owners, phases, straight, _ = row
    return [
        (role, tool, owner, phase, out)
        for role, tool, phase, out in product(roles, tools, phases, straight)
        for owner in OWNERS[tool]
        if owners is None or owner in owners
    ]


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_a_row_of_the_table_excuses_just_what_it_says(row: tuple) -> None:  # type: ignore[type-arg]
    for triple in triples(row):
        assert need(*triple) == row[-1], triple


EXCUSED = {triple for row in ROWS for triple in triples(row)}
TO_ITSELF = {
    # Leading part beyond the first straight (the first straight only beyond 90° of swing) against the tail.
    (Phase.BEND, role) for role in (AFTER, FIRST, FAR_ARC, EARLIER)
} | {(phase, role) for phase in (Phase.PLACE, Phase.LOAD) for role in (FAR_ARC, EARLIER)}  # fmt: skip


def test_everything_that_no_row_excuses_keeps_clear() -> None:
    for role, tool, phase, out in product(Role, Tool, ALL, (False, True)):
        for owner in OWNERS[tool]:
            triple = (role, tool, owner, phase, out)
            if triple in EXCUSED:
                continue
            if tool is Tool.TAIL:
                expected = "itself" if (phase, role) in TO_ITSELF else None
            else:
                expected = "required" if tool in (Tool.FLOOR, Tool.ENVELOPE) else "tooling"
            assert need(*triple) == expected, triple


@pytest.mark.parametrize("phase", ALL)
def test_an_arc_that_rotates_is_excused_from_nothing_that_it_lay_in(phase: Phase) -> None:
    if phase is Phase.PLACE:
        assert need(AFTER, Tool.SECTION, Owner.SECTION, phase, False) == "tooling"
        assert need(FORMED, Tool.DIE, Owner.DIE, phase, False) == "tooling"
        assert need(AFTER, Tool.WIPER, FRAME, phase, False) == "tooling"
    assert need(EARLIER, Tool.DIE, Owner.DIE, phase, True) == "tooling"
    assert need(EARLIER, Tool.CLAMP, ARM, phase, True) == "tooling"
    assert need(EARLIER, Tool.SECTION, Owner.SECTION, phase, True) == "tooling"
    assert need(EARLIER, Tool.ROD, Owner.ROD, phase, True) == "tooling"


def test_what_swings_back_onto_the_rod_is_excused_from_it_by_no_phase() -> None:
    """`off_the_rod` cuts off what lies on it; of what is left every piece keeps clear."""
    for role, phase, out in product((FORMING, FORMED, AFTER, FAR_ARC, EARLIER), ALL, (False, True)):
        assert need(role, Tool.ROD, Owner.ROD, phase, out) == "tooling"
    assert need(FIRST, Tool.ROD, Owner.ROD, Phase.BEND, False) == "tooling"


def test_in_a_run_of_the_carriage_all_but_the_tail_keeps_its_clearance_from_it() -> None:
    for role in Role:
        expected = None if role is TAIL else "required"
        assert need(role, Tool.ENVELOPE, CARRIAGE, Phase.RUN, False) == expected


def test_what_comes_by_on_the_far_side_after_half_a_turn_may_touch_the_die_while_it_slides_straight_out() -> None:
    """Common practice, no source: a serpentine is drawn on with its last straight in the far side of the groove."""
    for role, tool, phase, out in product(Role, Tool, ALL, (False, True)):
        for owner in OWNERS[tool]:
            returned = role in (FAR_ARC, EARLIER) and tool is Tool.DIE and out and phase in (Phase.PLACE, Phase.RETURN)
            expected = "ease" if returned else need(role, tool, owner, phase, out)
            assert need(role, tool, owner, phase, out, True) == expected


def test_what_lies_in_the_clamp_does_not_count_against_the_arm_while_it_is_gripped() -> None:
    assert beyond_clamp(FIRST, ARM, Phase.BEND)
    assert not beyond_clamp(FIRST, FRAME, Phase.BEND)
    assert not beyond_clamp(EARLIER, ARM, Phase.BEND)
    assert not beyond_clamp(FIRST, ARM, Phase.RETURN)
