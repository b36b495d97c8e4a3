"""Tube that hangs lower than it is drawn: the strip from where it is drawn down to its sag, certified like a motion.

A piece of tube that may lie anywhere from where it is drawn to δ below keeps what it needs wherever it lies if, lowered
by δ/2, it keeps δ/2 more: no point of the strip is farther than δ/2 from there. So each row is cut into stretches along
the tube, each with the greatest sag within it, and lowered with its motion: a turn's axis goes down with the tube.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from planner.clearance.columns import CENTRE, GREATEST_S, LEAST_S, START
from planner.clearance.rows import Rows
from planner.tube.frames import Array, Ints

STRETCH = 150.0
"""Length of the stretches along a piece of tube [mm]: the finer, the less is asked of tube that hardly sags."""

MOST_STRETCHES = 24
"""Stretches of one piece at most."""

Sag = Callable[[Ints, Array], Array]
"""The sag of rows (N,) at arc lengths s (N,) of their pieces [mm]; it grows with s."""


def strips(rows: Rows, sag: Sag) -> Rows:
    """Return the rows of the strips that tube hangs in; sag: how far below where it is drawn it may hang [mm]."""
    low, high = rows.pieces[LEAST_S, rows.piece], rows.pieces[GREATEST_S, rows.piece]
    many = np.clip(np.ceil((high - low) / STRETCH), 1, MOST_STRETCHES).astype(np.int64)
    row = np.repeat(np.arange(rows.count), many)
    place = np.arange(row.size) - np.repeat(np.cumsum(many) - many, many)
    step = ((high - low) / many)[row]
    first, last = low[row] + step * place, low[row] + step * (place + 1)
    by = sag(row, last)
    pieces, blocks = rows.pieces[:, rows.piece[row]], rows.blocks[:, rows.block[row]]
    pieces[LEAST_S], pieces[GREATEST_S] = first, last
    pieces[START][2] -= by / 2.0
    blocks[CENTRE][2] -= by / 2.0  # so that a turn about the feed leaves the sag pointing down
    own = np.arange(row.size)
    return replace(
        rows,
        pieces=pieces,
        blocks=blocks,
        piece=own,
        block=own,
        solid=rows.solid[row],
        needed=rows.needed[row] + by / 2.0,
        spread=rows.spread[row],
        motion=rows.motion[row],
        clamp=rows.clamp[row],
        roles=tuple(rows.roles[k] for k in rows.piece[row]),
    )
