"""What may touch what: the contact table, row by row, as data.

A triple of role, tool and phase is excused, never a piece for good. The rows are read from the top; the first that
fits decides. `need` is a clearance that the piece must keep: "ease" (may overlap by GROOVE_EASE), "tooling",
"required", "itself", or None (not checked).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from planner.clearance.solids import Owner, Tool
from planner.tube.bodies import Phase, Role

Need = Literal["ease", "tooling", "required", "itself"]

ALL_ROLES = frozenset(Role)
ALL_PHASES = frozenset(Phase)
GRIPPED = frozenset({Phase.CLOSE, Phase.BEND, Phase.REGRIP, Phase.OPEN})
BUILT = frozenset({Tool.DIE, Tool.HUB, Tool.CLAMP, Tool.PRESSURE, Tool.WIPER, Tool.SECTION, Tool.ROD})
TAIL_AND_FIRST = frozenset({Role.TAIL, Role.FORMING, Role.FIRST})
JUST_FORMED = frozenset({Role.FORMED, Role.AFTER})
FARTHER = frozenset({Role.FAR_ARC, Role.EARLIER})
GROOVED = frozenset({Tool.DIE, Tool.SECTION})


@dataclass(frozen=True)
class Row:
    """One row of the table; `owner` narrows a tool to the solids that move with one thing.

    straight_out: the row holds in the place phase only while the arc slides straight out, before any rotation;
    returned: it holds only where that arc is about half a turn, so that what comes after it runs back past the die.
    """

    roles: frozenset[Role]
    tools: frozenset[Tool]
    phases: frozenset[Phase]
    need: Need | None
    owner: Owner | None = None
    straight_out: bool = False
    returned: bool = False


TABLE: tuple[Row, ...] = (
    # A die that drops frees itself of what lies in its grooves: how is the machine's own doing, and not checked. After
    # the tube has sprung back the arc at the far end of its leg begins a little before the grip section's end.
    Row(TAIL_AND_FIRST | JUST_FORMED, GROOVED, frozenset({Phase.DROP}), None),
    Row(frozenset({Role.FAR_ARC}), frozenset({Tool.SECTION}), frozenset({Phase.DROP}), None),
    # The groove: what lies in it may touch the die and the wiper.
    Row(TAIL_AND_FIRST, frozenset({Tool.DIE, Tool.WIPER}), ALL_PHASES, "ease"),
    Row(JUST_FORMED, frozenset({Tool.DIE, Tool.WIPER}), frozenset({Phase.REGRIP, Phase.OPEN, Phase.RETURN}), "ease"),
    Row(JUST_FORMED, frozenset({Tool.DIE, Tool.WIPER}), frozenset({Phase.PLACE}), "ease", straight_out=True),
    # After half a turn the tube comes by on the die's far side: what follows the straight begins in the groove there.
    Row(FARTHER, frozenset({Tool.DIE}), frozenset({Phase.PLACE, Phase.RETURN}), "ease", None, True, True),
    # The grip section's groove goes on where the die's ends: what begins at its end may touch it too.
    Row(
        TAIL_AND_FIRST | frozenset({Role.FORMED, Role.FAR_ARC}),
        frozenset({Tool.SECTION}),
        ALL_PHASES,
        "ease",
    ),
    Row(
        frozenset({Role.AFTER}),
        frozenset({Tool.SECTION}),
        frozenset({Phase.REGRIP, Phase.OPEN, Phase.RETURN}),
        "ease",
    ),
    Row(frozenset({Role.AFTER}), frozenset({Tool.SECTION}), frozenset({Phase.PLACE}), "ease", straight_out=True),
    # The rod is in the tube that is on it (`rows.off_the_rod` says how much of the arc, and of what follows, is).
    Row(frozenset({Role.TAIL}), frozenset({Tool.ROD}), ALL_PHASES, None),
    Row(frozenset({Role.FIRST}), frozenset({Tool.ROD}), ALL_PHASES - {Phase.BEND}, None),
    # The tail is held by what it touches.
    Row(frozenset({Role.TAIL}), frozenset({Tool.PRESSURE}), ALL_PHASES, None),
    Row(frozenset({Role.TAIL}), frozenset({Tool.ENVELOPE}), ALL_PHASES, None, owner=Owner.CARRIAGE),
    # Clamp and pressure die hold what they grip.
    Row(TAIL_AND_FIRST | {Role.FORMED}, frozenset({Tool.CLAMP, Tool.PRESSURE}), GRIPPED, None),
    Row(frozenset({Role.FAR_ARC}), frozenset({Tool.CLAMP}), GRIPPED, "ease"),
    # The gripped straight rests on the arm beyond the clamp (`beyond_clamp` cuts off what lies in the clamp).
    Row(frozenset({Role.FIRST}), frozenset({Tool.ENVELOPE}), frozenset({Phase.BEND}), "tooling", owner=Owner.ARM),
    # Everything else keeps clear.
    Row(ALL_ROLES, BUILT, ALL_PHASES, "tooling"),
    # The leading part and the tail: what runs on into the tail cannot strike it (`rows` counts the gripped straight
    # only beyond 90° of swing). Between bends the tube is one rigid body; only a load brings in another tail.
    Row(frozenset({Role.TAIL, Role.FORMING, Role.FORMED}), frozenset({Tool.TAIL}), ALL_PHASES, None),
    Row(frozenset({Role.FIRST, Role.AFTER}), frozenset({Tool.TAIL}), frozenset({Phase.PLACE, Phase.LOAD}), None),
    Row(ALL_ROLES, frozenset({Tool.TAIL}), frozenset({Phase.BEND, Phase.PLACE, Phase.LOAD}), "itself"),
    Row(ALL_ROLES, frozenset({Tool.TAIL}), ALL_PHASES, None),
    Row(ALL_ROLES, frozenset({Tool.FLOOR, Tool.ENVELOPE}), ALL_PHASES, "required"),
)


@cache
def need(role: Role, tool: Tool, owner: Owner, phase: Phase, straight_out: bool, returned: bool = False) -> Need | None:
    """Return what a piece in a role must keep to a tool in a phase, or None where the pair is not checked."""
    for row in TABLE:
        if role in row.roles and tool in row.tools and phase in row.phases:
            if row.owner is not None and row.owner is not owner:
                continue
            if (row.straight_out and not straight_out) or (row.returned and not returned):
                continue
            return row.need
    raise AssertionError(f"the contact table has no row for {role}, {tool}, {phase}")


def beyond_clamp(role: Role, owner: Owner, phase: Phase) -> bool:
    """Say whether only the part beyond the clamp counts: the gripped straight against the arm.

    What lies in the clamp is held by tooling that turns with the arm.
    """
    return role is Role.FIRST and owner is Owner.ARM and phase in (Phase.BEND, Phase.CLOSE, Phase.REGRIP)
