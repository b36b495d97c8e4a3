"""Names of the columns in the tables of pieces and of blocks (`rows.Rows` says what they hold)."""

from __future__ import annotations

START, ALONG, INWARD = slice(0, 3), slice(3, 6), slice(6, 9)
CURVATURE = 9
LEAST_S, GREATEST_S = 10, 11
SPAN_S = slice(10, 12)
THERE, THERE_CHANGE = 12, 13
THERE_AND_CHANGE = slice(12, 14)
U, U_SIGN = 14, 15
PIECE, BODY = 16, 17
PIECE_AND_BODY = slice(16, 18)
PIECE_COLUMNS = 18

CENTRE, AXIS = slice(0, 3), slice(3, 6)
ANGLE = 6
WAY = slice(7, 10)
FIRST_T, LAST_T = 10, 11
SPAN_T = slice(10, 12)
WAY_TURNED = slice(12, 15)
BLOCK_COLUMNS = 15
