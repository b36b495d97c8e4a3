"""A strike met in one state, looked at again in another: with other bends formed, or after the part or machine changed.

Nothing is carried over by argument alone: the witness is put into the other state's own rows and its clearance taken
again. That is one evaluation where finding it anew takes hundreds.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from planner.clearance.bounds import bounds
from planner.clearance.certify import witness_at
from planner.clearance.columns import GREATEST_S, PIECE
from planner.clearance.poses import Cells
from planner.clearance.rows import EVERY_CLAMP, Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Finding, Witness
from planner.feasibility.bend_check import BendCheck, Bending, Blocked, gripping_motions, straight_home
from planner.tolerances import NO_LENGTH, STRIKE_MARGIN
from planner.tube.bodies import Motion


def again(attempt: Bending, around: Surroundings, blocked: Blocked, clamp: int) -> Blocked | None:
    """Return the same strike met in another attempt, with the clamp of this number there; None if it is none there."""
    witness, old = blocked.finding.witness, blocked.rows
    motion = _same_motion(attempt, blocked)
    if witness is None or old is None or motion is None:
        return None
    rows = rows_of([motion], around, [attempt.clamps])
    clamp = EVERY_CLAMP if old.clamp[witness.row] == EVERY_CLAMP else clamp
    for row in rows_like(rows, clamp, old, witness):
        cells = Cells(*(np.array([x]) for x in (row, witness.s, 0.0, witness.t, 0.0)))
        inside = witness.s <= float(rows.pieces[GREATEST_S, rows.piece[row]]) + NO_LENGTH
        clearance = float(bounds(rows, cells).upper[0])
        if inside and clearance < rows.needed[row] - rows.spread[row] - STRIKE_MARGIN:
            found = Finding(0, clamp, Answer.STRUCK, witness_at(rows, int(row), witness.s, witness.t, clearance))
            return replace(blocked, finding=found, motion=motion, rows=rows)
    return None


def rows_like(rows: Rows, clamp: int, old: Rows, witness: Witness) -> list[int]:
    """Return the rows of the same piece of tube and the same solid, with the clamp of this number."""
    piece = old.pieces[PIECE, old.piece[witness.row]]
    same = (rows.pieces[PIECE, rows.piece] == piece) & (rows.clamp == clamp)
    return [
        int(row)
        for row in np.flatnonzero(same)
        if rows.names[rows.solid[row]] == witness.solid and rows.roles[rows.piece[row]] is witness.role
    ]


def _same_motion(attempt: Bending, blocked: Blocked) -> Motion | None:
    """Return the motion of an attempt in the phase in which another one was blocked."""
    if blocked.doing == "return":
        return straight_home(attempt)
    if blocked.doing != "bend":
        return None
    return next((motion for motion in gripping_motions(attempt) if motion.phase is blocked.motion.phase), None)


def all_again(attempt: Bending, around: Surroundings, met: BendCheck) -> tuple[Blocked, ...] | None:
    """Return what blocks each clamp of an attempt, met before with a clamp of that length; None if one goes free."""
    found = []
    for number, length in enumerate(attempt.clamps):
        for before in met.blocked:
            clamp = before.finding.clamp
            if clamp != EVERY_CLAMP and met.clamps[clamp] != length:
                continue
            here = again(attempt, around, before, number)
            if here is not None:
                found.append(here)
                break
        else:
            return None
    return tuple(found)
