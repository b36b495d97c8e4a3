"""Every number that decides a verdict, with its unit and its reason. Nowhere else."""

from __future__ import annotations

from typing import Final

ROUNDING: Final = 1e-6
"""Taken off every certified distance [mm]: far above the rounding of double precision at shop lengths (about 1e-11 mm
for coordinates of 10 m), far below anything that matters in a shop."""

GROOVE_EASE: Final = 1.0
"""How deep a piece that lies in the groove may overlap a die that it may touch [mm] (contact table)."""

STRIKE_MARGIN: Final = 0.1
"""A witness must be nearer than needed by more than this to be called a strike [mm]."""

CLOSE_GAP: Final = 0.05
"""A cell is refined until its bound and its midpoint differ by no more than this, then it is too close to call [mm]."""

NEED_BAND: Final = 0.15
"""What is proved to come within this of what a shop asks for is taken as clear, and said [mm]: STRIKE_MARGIN and
CLOSE_GAP together, so that between clear and struck nothing is left too close to call. A clearance never becomes a
contact."""

PROOF_GAP: Final = 0.0005
"""The same where the cells of a motion known to be clear are written out for its proof [mm]: half of the thousandths in
which clearances are printed, rounded down."""

REPORT_GAP: Final = 0.5
"""Greatest gap between the printed smallest clearance, a proved lower bound, and a clearance really reached [mm]."""

REPORT_CEILING: Final = 1000.0
"""Clearances above this are printed as "more than": nobody needs the digits [mm]."""

SELF_MARGIN: Final = 0.2
"""Taken off the finished drawing's own gap where that is what the tube must keep to itself [mm]: just above
STRIKE_MARGIN + CLOSE_GAP, so that the drawing itself is never called a strike."""

CHUCK_SLACK: Final = 1e-9
"""Slack with which the chuck's angle is held against its range, and the largest rotation that counts as none [rad]: far
below what any dial shows."""

SAME_PLACE: Final = 1e-6
"""Places on the tube nearer than this are the same [mm]: straights are held to nine decimals, so that places added up
over many bends differ by some 1e-9; a sliver of straight between two of them would be taken for a piece of tube."""

CELL_BUDGET: Final = 60_000
"""Cells one pair of piece and solid may cost before it is too close to call."""

RULE_SLACK: Final = 1e-6
"""Slack with which lengths are compared in shop rules [mm]: drawings and profiles are given in hundredths at best."""
