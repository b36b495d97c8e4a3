"""The three verdicts on a motion, each with its evidence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from planner.clearance.rows import EVERY_CLAMP
from planner.tube.bodies import Role
from planner.tube.frames import Array


class Answer(Enum):
    """clear: proved; struck: shown by a witness; close: too close to call, which is neither."""

    CLEAR = "clear"
    STRUCK = "struck"
    CLOSE = "too close to call"


@dataclass(frozen=True)
class Witness:
    """A point of the tube nearer to a solid than it may be.

    row: number of the row; role, solid: the pair; place: stock coordinate counted from the leading end of the part
    [mm]; s: arc length on the piece [mm]; t: moment, 0…1 of the motion; clearance: tube surface to solid there, an
    upper bound of the least [mm]; needed [mm].
    """

    row: int
    role: Role
    solid: str
    place: float
    s: float
    t: float
    clearance: float
    needed: float


@dataclass(frozen=True)
class Finding:
    """What was found for one motion with one choice of clamp (EVERY_CLAMP: whatever the clamp).

    witness: of what is CLEAR only where it comes short of what is needed, within the band that counts as kept: its
    clearance is then the proved lower bound.
    """

    motion: int
    clamp: int
    answer: Answer
    witness: Witness | None = None


@dataclass(frozen=True)
class Cover:
    """The certified cells that together cover every row of the batch: the evidence of `clear`.

    row (K,): row number; cells (5, K): midpoint s, half-width δs [mm], midpoint t, half-width δt, and the lower bound
    of the clearance over the cell [mm].
    """

    row: Array
    cells: Array


@dataclass(frozen=True)
class Verdicts:
    """Answers for a batch: `findings[(motion, clamp)]`; `evaluations` of cells spent; `cover` when it was kept.

    kept (N,) [mm]: proved of the clearance of rows that are clear: what they need, or what they keep if that is less;
    −∞ of the others.
    """

    findings: dict[tuple[int, int], Finding]
    evaluations: int
    kept: Array
    cover: Cover | None = None

    def of(self, motion: int, clamp: int = EVERY_CLAMP) -> Finding:
        """Return the worse of what holds for every clamp and what holds for this one: struck, too close, clear."""
        order = (Answer.STRUCK, Answer.CLOSE, Answer.CLEAR)
        found = [self.findings[key] for key in {(motion, EVERY_CLAMP), (motion, clamp)} if key in self.findings]
        if not found:
            return Finding(motion, clamp, Answer.CLEAR)
        return min(found, key=lambda finding: (order.index(finding.answer), finding.clamp))
