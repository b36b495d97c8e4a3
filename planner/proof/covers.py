"""The motions of a plan as covers of certified cells: from these it follows that each is clear by what is printed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from planner.clearance.certify import certify, starting_cells
from planner.clearance.columns import BODY, PIECE
from planner.clearance.rows import Rows, rows_of
from planner.clearance.verdicts import Answer, Cover
from planner.plans.evidence import Measured, Moved
from planner.tolerances import EDGE_DECIMALS, PROOF_DECIMALS, PROOF_GAP, ROUNDING, SAME_EDGE
from planner.tube.bodies import Motion, Path, Phase, Role
from planner.tube.frames import Array, Flags


class NotCovered(Exception):
    """A motion that was certified could not be certified again: a fault of the program, never of the part."""


def motions_record(moved: Iterable[Moved]) -> list[dict[str, Any]]:
    """Return the cover of every motion as the proof document writes it, in the order of the steps."""
    batches: dict[Measured, list[Moved]] = defaultdict(list)
    for one in moved:
        batches[one.measured].append(one)
    records = [record for batch in batches.values() for record in _batch(batch)]
    return sorted(records, key=lambda record: int(record["step"]))


def _batch(batch: list[Moved]) -> list[dict[str, Any]]:
    """Certify the motions of one tooling, each to what it needs and to what it prints, and write out the cells."""
    around = batch[0].measured.surroundings
    rows = rows_of([one.motion for one in batch], around, [(one.clamp,) for one in batch])
    printed = np.array([one.clear_by for one in batch])[rows.motion]
    held = np.where(rows.needed >= 0.0, np.maximum(rows.enough, printed), rows.enough)
    found = certify(replace(rows, needed=held), keep_cover=True, gap=PROOF_GAP, strict=True)
    assert found.cover is not None  # it was asked for
    open_ = {finding.motion for finding in found.findings.values() if finding.answer is not Answer.CLEAR}
    cover = _as_measured(batch, rows, found.cover, held, open_) if open_ else found.cover
    cells = _by_row(rows, cover)
    whole = cells.whole()
    records: list[dict[str, Any]] = [
        {"step": one.step, "clear_by": one.clear_by, "whole": [], "cut": []} for one in batch
    ]
    for row in range(rows.count):
        if not cells.counts[row]:
            continue
        one = batch[int(rows.motion[row])]
        pair = [piece_name(one.motion, rows, row), rows.names[rows.solid[row]]]
        record = records[int(rows.motion[row])]
        if whole[row]:
            record["whole"].append(pair)
        else:
            record["cut"].append({"piece": pair[0], "solid": pair[1], "cells": cells.written(row)})
    return records


def _as_measured(batch: list[Moved], rows: Rows, cover: Cover, held: Array, open_: set[int]) -> Cover:
    """Return a cover in which the pairs of some motions have the cells that proved what is printed.

    A bound that comes within thousandths of what is printed may not be found again in other cells. Raises NotCovered
    where these do not prove it: of a pair that needs more than is printed.
    """
    again = np.isin(rows.motion, list(open_)) & (held > rows.enough)
    row, cells = [cover.row[~again[cover.row.astype(np.int64)]]], [cover.cells[:, ~again[cover.row.astype(np.int64)]]]
    for number in sorted(open_):
        one, here = batch[number], np.flatnonzero(rows.motion == number)
        there = np.flatnonzero(one.measured.rows.motion == one.number)
        own = dict(zip(there.tolist(), here.tolist(), strict=True))
        kept = [k for k, r in enumerate(one.measured.cover.row) if again[own.get(int(r), 0)] and int(r) in own]
        row.append(np.array([own[int(r)] for r in one.measured.cover.row[kept]], dtype=float))
        cells.append(one.measured.cover.cells[:, kept])
    found = Cover(np.concatenate(row), np.concatenate(cells, axis=1))
    short = found.cells[4] < held[found.row.astype(np.int64)] - ROUNDING
    covered = np.bincount(found.row.astype(np.int64), minlength=rows.count) > 0
    if short.any() or not covered[starting_cells(rows).row].all():
        raise NotCovered(f"steps {[batch[number].step for number in sorted(open_)]} are not covered")
    return found


def piece_name(motion: Motion, rows: Rows, row: int) -> int | str:
    """Return a piece of tube as the document names it.

    0, 1, 2 … from the tangent point outwards; "tail"; "fed": the straight that comes out of the die; "forming": the arc
    in the die.
    """
    table = rows.pieces[:, rows.piece[row]]
    body = motion.bodies[int(table[BODY])]
    if body.path is Path.LINE:
        return "fed"
    if body.path is Path.GROWING or (motion.phase is Phase.REGRIP and body.roles[0] is Role.FORMED):
        return "forming"
    return "tail" if body.roles[0] is Role.TAIL else int(table[PIECE])


class _Cells:
    """The certified cells of a batch, row by row: (4, K) of s and t from, to, with where each row's begin."""

    def __init__(self, rows: Rows, row: Array, edges: Array) -> None:
        order = np.lexsort((edges[2], edges[0], row))
        self.edges = edges[:, order]
        self.counts = np.bincount(row.astype(np.int64), minlength=rows.count)
        self.begins = np.cumsum(self.counts) - self.counts
        start = starting_cells(rows)
        self.whole_edges = np.full((4, rows.count), np.nan)
        self.whole_edges[:, start.row] = _edges(start.s, start.ds, start.t, start.dt)

    def whole(self) -> Flags:
        """Return which rows have one cell, the whole piece over the whole motion."""
        found = self.counts == 1
        first = self.edges[:, self.begins[found]]
        found[found] = (np.abs(first - self.whole_edges[:, found]) <= SAME_EDGE).all(axis=0)
        return np.asarray(found)

    def written(self, row: int) -> list[list[float]]:
        """Return the cells of a row as the document writes them."""
        first = self.begins[row]
        part = self.edges[:, first : first + self.counts[row]]
        lengths = np.round(part[:2], PROOF_DECIMALS)
        moments = np.round(part[2:], EDGE_DECIMALS)
        return [[float(x) for x in column] for column in np.concatenate((lengths, moments)).T]


def _by_row(rows: Rows, cover: Cover) -> _Cells:
    s, ds, t, dt, _ = cover.cells
    return _Cells(rows, cover.row, _edges(s, ds, t, dt))


def _edges(s: Array, ds: Array, t: Array, dt: Array) -> Array:
    """Return from and to of cells; what does not move in a motion is covered by one moment of it, for all of it."""
    still = dt == 0.0
    return np.stack((s - ds, s + ds, np.where(still, 0.0, t - dt), np.where(still, 1.0, t + dt)))
