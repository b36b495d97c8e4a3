"""Every number that decides a verdict, with its unit and its reason. Nowhere else.

What is compared, how much it may be off, how finely it is looked into, and to how many decimals it is kept. Sizes of
pictures, facts of the trade and of physics, and limits on time and on requests stand where they are used.

The auditor has numbers of its own where its proof would else lean on the planner's; why is said at each.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Final

# ----------------------------------------------------------------------------------------- what a number is kept to

KEPT_DECIMALS: Final = 9
"""Lengths [mm] and angles [deg] of parts and profiles are kept to so many decimals [–], so that what is written out
reads back as the same."""

PLACE_DECIMALS: Final = 6
"""Positions in a plan, lengths [mm] and angles [deg], are written to so many decimals [–]."""

PROOF_DECIMALS: Final = 7
"""Lengths [mm] and angles [deg] in a proof are written to so many decimals [–]."""

EDGE_DECIMALS: Final = 10
"""Sides of cells that neighbours share are written to so many decimals [–]: moments, and what advances and rotates."""

RELATIVE_SLACK: Final = 1e-12
"""Share by which a number may pass its limit [–]: only what arithmetic in double precision loses, some 1e-15."""

COUNT_SLACK: Final = 1e-9
"""By so much of 1 a quotient may be off a whole number before it is rounded up or down [–]: what it was reckoned from
is kept to nine decimals."""

# ------------------------------------------------------------------------------------------------- drawings and rules

RULE_SLACK: Final = 1e-6
"""Slack with which lengths are compared in shop rules [mm]: drawings and profiles are given in hundredths at best."""

VERTEX_SLACK: Final = 1e-6
"""A straight between vertices that comes out shorter than nothing by no more than this is rounding, and vertices that
are nearer than this are one [mm]: as RULE_SLACK."""

ANGLE_SLACK: Final = 1e-9
"""Slack with which an angle is held against one that a machine or a law of geometry gives [rad]: far below what any
dial shows, far above what adding up the angles of a part loses."""

MARK_SLACK: Final = 1e-12
"""By so much a mark of the dial may fall short of a bend's angle and still reach it [rad]: only what multiplying out
the mark loses. The next angle of nine decimals of a degree is 1.7e-11 rad on, and a tube set to less is bent to
less."""

CHUCK_SLACK: Final = 1e-9
"""Slack with which the chuck's angle is held against its range, and the largest rotation that counts as none [rad]: far
below what any dial shows."""

SAME_CHUCK: Final = 1e-6
"""Angles of the chuck nearer than this are the same [rad]: far below what any dial shows, a thousand times CHUCK_SLACK,
so that sums of rotations in another order fall together."""

SAME_SIZE: Final = 0.05
"""Tooling fits a tube diameter and a radius that differ by no more than this [mm]: 1.5 in and 38.1 mm are one size, 38
mm and 38.1 mm are not. So a die fits an arc that is so much tighter."""

SAME_WALL: Final = 0.01
"""A wall and a gauge that are both given may differ by no more than this [mm]: 1.65 mm and 16 BWG are the same."""

HALF_TURN: Final = math.radians(175.0)
"""From this angle of an arc on what follows it runs back along the far side of the die, in its groove [rad]: 5° short
of half a turn it goes out of line by less than a tenth of its way."""

THINNEST: Final = 1e-3
"""A mandrel is no thinner than this [mm], whatever wall a file gives: its distance must be that of a body."""

TOUCHING: Final = 0.01
"""Solids of a profile that stand in each other by no more than this touch, as parts that are fitted to each other do
[mm]."""

# ------------------------------------------------------------------------------------------ clearances, and their band

ROUNDING: Final = 1e-6
"""Taken off every certified distance [mm]: far above the rounding of double precision at shop lengths (about 1e-11 mm
for coordinates of 10 m), far below anything that matters in a shop."""

GROOVE_EASE: Final = 1.0
"""How deep a piece that lies in the groove may overlap a die that it may touch [mm] (contact table)."""

STRIKE_MARGIN: Final = 0.1
"""A witness must be nearer than needed by more than this to be called a strike [mm]: then it is one however a disc or a
groove is measured."""

CLOSE_GAP: Final = 0.05
"""A cell is refined until its bound and its midpoint differ by no more than this, then it is too close to call [mm]:
half of STRIKE_MARGIN, finer than a bender is set up."""

NEED_BAND: Final = 0.15
"""What is proved to come within this of what a shop asks for is taken as clear, and said [mm]: STRIKE_MARGIN and
CLOSE_GAP together, so that between clear and struck nothing is left too close to call. A clearance never becomes a
contact."""

SELF_MARGIN: Final = 0.2
"""Taken off the finished drawing's own gap where that is what the tube must keep to itself [mm]: just above
STRIKE_MARGIN + CLOSE_GAP, so that the drawing itself is never called a strike."""

SELF_GAP: Final = 0.005
"""The finished tube's gap to itself is looked for until it is known to this [mm]: a fortieth of SELF_MARGIN."""

SELF_CEILING: Final = 50.0
"""Gaps of the tube to itself from here on are reported as this [mm]: no machine asks for more."""

CELL_BUDGET: Final = 60_000
"""Cells one pair of piece and solid may cost before it is too close to call [cells]."""

# ------------------------------------------------------------------------------------------------------------ geometry

SAME_PLACE: Final = 1e-6
"""Places on the tube nearer than this are the same [mm]: straights are held to nine decimals, so that places added up
over many bends differ by some 1e-9; a sliver of straight between two of them would be taken for a piece of tube."""

NO_LENGTH: Final = 1e-9
"""A piece of tube, an edge or a way no longer than this has no extent, and a place no farther past an end is at it
[mm]: lengths are kept to nine decimals. Not SAME_PLACE: what is left out here is left out of a proof."""

NO_DIRECTION: Final = 1e-12
"""A vector no longer than this has no direction, and a point no farther from an axis or a surface lies on it [mm; –];
by no less is divided. Any direction then serves: a bound holds with every one."""

ALONG_TUBE: Final = 1e-9
"""A direction whose sine to the tube is no more than this runs along it, and none across it is nearest [–]."""

PARALLEL: Final = 1e-12
"""Segments whose sine to each other is no more than this are parallel [–]: their nearest points are sought at their
ends, where they are to within that times their length."""

NONZERO: Final = 1e-300
"""Keeps a quotient finite where a distance is exactly zero; the direction does not matter there [mm]."""

SAME_EDGE: Final = 1e-9
"""Edges of a cell that agree with those of its piece and its motion within this are theirs [mm; share of the motion]:
halves of halves of the same numbers."""

SAME_SIDE: Final = 1e-8
"""Sides of cells of advance and rotation that lie no farther apart are the same [mm; rad]: far above rounding, far
below the finest cell."""

LEAST_ADVANCE: Final = 1.0
"""A plane of advance and rotation is no narrower than this in advance [mm]: one without any width has no sides to
share, and a wider one only lets more ways through. The auditor's plane is the same one, or no cells could fill it."""

LEAST_TURN: Final = 0.01
"""And no narrower than this in rotation [rad]."""

FINEST_ADVANCE: Final = 0.5
"""Half the way along the feed through a cell, below which its advance is not split for a piece [mm]: a way that is
narrower than a millimetre stays open, and nobody would drive it."""

FINEST_SWEEP: Final = 0.5
"""Half the way of a piece's farthest point through a cell, below which its rotation is not split for it [mm]: as
FINEST_ADVANCE."""

FINEST_PIECE: Final = 0.25
"""Half-length below which a piece is not cut further within a cell of advance and rotation [mm]: half of
FINEST_SWEEP."""

MOST_EVALUATIONS: Final = 60_000
"""Evaluations of pieces in cells after which what is open in a plane stays open [evaluations]: neither free nor
blocked, so that nothing is claimed of it."""

MOST_PLANE_CELLS: Final = 1_500
"""Cells of a plane after which what is open stays open too: each round looks at all of them [cells]."""

LEAST_SPLIT: Final = 1e-3
"""Cells are split as if no less than this were left to gain by it [mm]: a fiftieth of CLOSE_GAP, so that the number of
parts stays finite."""

# -------------------------------------------------------------------------------------------------------- what is read

PROOF_GAP: Final = 0.0005
"""As CLOSE_GAP, where the cells of a motion known to be clear are written out for its proof [mm]: half of the
thousandths in which clearances are printed, rounded down."""

PLAIN_GAP: Final = 0.005
"""To this what is kept is told where PROOF_GAP is too fine [mm]: to half of the hundredths in which it is said."""

REPORT_GAP: Final = 0.5
"""Greatest gap between the printed smallest clearance, a proved lower bound, and a clearance really reached [mm]."""

REPORT_CEILING: Final = 1000.0
"""Clearances above this are printed as "more than": nobody needs the digits [mm]."""

REPORT_FINEST: Final = 0.05
"""Half-widths that take no more than this off a printed clearance together are not split further [mm]: a tenth of
REPORT_GAP."""

ALIKE_IN_TENTHS: Final = 0.05
"""Lengths that differ by less are told apart by nobody where they are said in tenths [mm]: half of one."""

ALIKE_IN_HUNDREDTHS: Final = 0.005
"""The same where they are said in hundredths [mm]: half of one."""

LEVEL: Final = 0.05
"""An angle to the level, or to a plane, smaller than this is none [deg]: no angle finder and no dial reads closer."""

LEAST_SLOPE: Final = 0.1
"""Sine of a bend's angle below which its leg runs so nearly along the feed that its slope says nothing [–]."""

LEAST_SAG: Final = 0.05
"""Sag that nobody would notice [mm]: a leading part that hangs no lower is as it is drawn."""

SAME_CONTACT: Final = 1e-4
"""How exactly the moment of a contact that is shown is found [share of the motion]: a tenth of a millimetre in a
metre."""

CONTACT_GAP: Final = 0.01
"""What comes no nearer to a contact than this, found so exactly, is none [mm]."""

DIGIT_SLACK: Final = 1e-9
"""A resolution that a number of decimals gives within this is shown with them [mm; deg]: it is kept to nine."""

NEAT_LENGTH: Final = 5e-9
"""A converted length nearer than this to one of six decimals is that one [mm; in]: the rest is noise. Small enough that
two ends of a leg moved by it, in inches, stay within VERTEX_SLACK."""

NEAT_ANGLE: Final = 2e-8
"""The same of angles [deg]: a leg's noise turns a short leg by as much."""

EXACT_INCHES: Final = Decimal("1e-10")
"""A length in inches has as many decimals as bring it back in millimetres to this [mm]: less than the last that is
kept."""

CONVERTED_STRAIGHT: Final = 1e-4
"""Straights of a table that was converted may have moved by so much [mm]: some hundred times a vertex's noise, for near
half a turn a tangent's length grows much faster than its angle."""

CONVERTED_ANGLE: Final = 1e-6
"""Angles of a table that was converted may have moved by so much [rad]: the noise of two vertices, 1.3e-7 mm each, over
a leg of a quarter of a millimetre."""

CONVERTED_ROTATION: Final = 1e-4
"""Rotations of a table that was converted may have moved by so much [rad]: the plane of a bend of half a degree is
known a hundred times worse than its angle."""

# ----------------------------------------------------------------------------------------------------- the search

SAME_TIME: Final = 1000
"""Handling times that differ by no more than this count as the same [ms]: no operator keeps time to a second."""

ARM_STEP: Final = math.radians(0.1)
"""Angles at which the arm is stopped are rounded up to this [rad]: an operator has to find them on the dial."""

HAND_STEP: Final = 1.0
"""Ways by hand are rounded up to this [mm]: they are measured with a rule."""

LEAST_STEP: Final = 0.5
"""A strike that covers no more than this of a wall is no progress [mm]."""

LEAST_DEPTH: Final = 0.02
"""The same on the arm's way home, where gaps are narrower: a strike that reaches no farther [mm]."""

OVERLAP: Final = 1e-3
"""By how much neighbouring strikes of a wall overlap in advance [mm]: far above rounding, far below LEAST_DEPTH."""

OVERLAP_TURN: Final = 1e-5
"""The same where the arm turns [rad]: a hundredth of a millimetre at a metre."""

# ---------------------------------------------------------------------------------------------------------- the auditor

AUDIT_ROUNDING: Final = 1e-7
"""Taken off every bound of the auditor [mm]: far above the rounding of double precision at shop lengths. Its own, and
less than ROUNDING by more than a cell's edges lose in PROOF_DECIMALS, so that it confirms what was certified."""

AUDIT_STRIKE_MARGIN: Final = 0.09
"""A strike must be nearer than needed by more than this for the auditor [mm]: STRIKE_MARGIN less what its own way of
measuring a disc may differ by. Its own, for it bounds what is found another way; any that is above AUDIT_ROUNDING is
sound."""

AUDIT_SLACK: Final = 0.001
"""By so much a cell's bound may lie under what is needed [mm]: clearances are printed in thousandths, rounded down."""

WRITTEN: Final = 2e-5
"""Places and angles of a plan that are the same differ by no more than this [mm; deg]: they have PLACE_DECIMALS, and
one reckoned from a setting and an angle round a radius R is off by R · π/180 · 1e-6 and half a millionth, 1.8e-5 mm at
a radius of a metre."""

PROVED_LENGTH: Final = 1e-5
"""Lengths of a proof are the same within this, edges of cells are one, a place so near the end of a piece may be on
either, and a straight no longer than this is none [mm]: what twenty positions of a plan, or two hundred numbers of a
proof, lose when they are written down. The planner's own have not been: it has SAME_PLACE, and leaves out of its covers
what is shorter than NO_LENGTH, which must be no more than this."""

PROVED_ANGLE: Final = math.radians(1e-5)
"""Angles of a proof are the same within this [rad]: as PROVED_LENGTH, in degrees."""

PROVED_MOMENT: Final = 1e-8
"""Moments of a proof's cells are the same within this [share of the motion]: they have EDGE_DECIMALS."""

PROVED_FORWARD: Final = 0.01
"""And the pressure die's way forward within this [mm]; its place is reckoned anew, not taken from the witness."""

PROVED_NUMBER: Final = 1e-6
"""Numbers that a rule of a proof rests on may differ by so much from those reckoned anew [mm; deg; N mm] …"""

PROVED_SHARE: Final = 1e-9
"""… or by this share [–]: moments are millions of N mm."""

SAME_TRIM: Final = 1e-6
"""Trims that differ by no more are the same [mm]: they are whole millimetres, or all that an end may carry."""

SNAP: Final = 1e-6
"""Edges of blocked rectangles no farther apart are one [mm; deg]: far above the rounding of EDGE_DECIMALS, far below
any cell. More than SAME_SIDE, since they have been written down and read."""

SNAP_TURN: Final = math.radians(SNAP)
"""The same of edges in rotation, which a proof writes in degrees [rad]."""

BEYOND_SNAP: Final = 2.0
"""By how many times SNAP a cell is looked at beyond its sides [–]: more than neighbours' sides may differ."""

WALL_CELLS: Final = 10_000
"""Cells of a wall that are looked at [cells]: several times MOST_PLANE_CELLS."""

AUDIT_CELLS: Final = 100_000
"""Cells of motions that may be open at once [cells]; more than a document that goes by the planner ever needs."""

MOST_HALVINGS: Final = 6
"""Times that a cell is cut in two before it is refused [–]: the auditor's bounds are not the planner's, and a cell that
those certify may need a few."""

STANDS_OUT: Final = 0.02
"""How far the convex parts of a grooved shape may stand out of it [mm]: chords before the groove's arc."""

DIFFERENCE: Final = 1e-4
"""Step of the differences that give the direction away from a solid [mm]; it only chooses which points are tried."""

ACROSS_TUBE: Final = 1e-6
"""A direction found by such differences runs along the tube if its sine to it is no more than this [–]: more than
differences over DIFFERENCE lose at shop lengths. It only chooses which points are tried."""

CLEAR_OF_NOSE: Final = 50.0
"""How far in front of the mandrel's nose the tail end is where the tube is in free hands [mm] (common practice, no
source)."""
