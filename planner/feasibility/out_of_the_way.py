"""What may be out of the way while the arm goes home or the tube is moved: a strike against it proves nothing."""

from __future__ import annotations

import numpy as np

from planner.clearance.rows import Rows
from planner.clearance.solids import Tool
from planner.inputs.machine import Machine
from planner.tube.frames import Flags

GO_DOWN = frozenset({Tool.DIE.value, Tool.HUB.value, Tool.SECTION.value})
"""Names of what is lowered where the die drops."""


def _with_pressure_die(rows: Rows, machine: Machine) -> Flags:
    """Return which rows are of the pressure die and of what moves with it: forward, home, or on its way."""
    names = {solid.name for solid in machine.solid if solid.moves_with == "pressure die"}
    return _named(rows, names | {Tool.PRESSURE.value})


def in_no_way_home(rows: Rows, machine: Machine) -> Flags:
    """Return which rows prove nothing of an arm on its way home: the pressure die, and a die that may be down."""
    return _with_pressure_die(rows, machine) | may_be_down(rows, machine)


def moves_by_itself(rows: Rows, machine: Machine) -> Flags:
    """Return which rows are of what the tube may be run forward past: on the arm, or with the pressure die."""
    names = {solid.name for solid in machine.solid if solid.moves_with == "arm"}
    names |= {Tool.CLAMP.value, Tool.SECTION.value} | goes_down(machine)
    return _with_pressure_die(rows, machine) | _named(rows, names)


def goes_down(machine: Machine) -> frozenset[str]:
    """Return the names of what may be lowered while a tube is moved, put on or taken off: there it proves nothing."""
    return GO_DOWN if machine.head.die_drops > 0.0 else frozenset()


def may_be_down(rows: Rows, machine: Machine) -> Flags:
    """Return which rows are of what may be lowered."""
    return _named(rows, set(goes_down(machine)))


def _named(rows: Rows, names: set[str]) -> Flags:
    return np.asarray(np.array([name in names for name in rows.names], dtype=bool)[rows.solid])
