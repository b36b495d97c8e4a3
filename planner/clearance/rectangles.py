"""Rectangles that tile the plane of advance and rotation, and which of them lie side by side.

Two cells that touch at a corner only are no neighbours: if either of the other two cells there is blocked, so is the
corner, for cells are closed. Where the chuck goes round for ever the first and the last roll are one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np

from planner.tolerances import SAME_SIDE
from planner.tube.frames import Array, Flags, Ints

if TYPE_CHECKING:
    import networkx as nx


class CellState(IntEnum):
    """What is known of a cell."""

    OPEN = 0
    FREE = 1
    BLOCKED = 2
    SHUT = 3
    LEFT = 4


@dataclass(frozen=True)
class Region:
    """A rectangle, segment or point of the plane: advances [mm] and rotations [rad], ends included."""

    y: tuple[float, float]
    roll: tuple[float, float]


@dataclass(frozen=True)
class Rectangles:
    """Cells (K,): midpoints and half-widths in y [mm] and in roll [rad], states; witnesses (3, K): row, s [mm] and
    clearance there at the midpoint [mm], of blocked cells.
    """

    y: Array
    dy: Array
    roll: Array
    droll: Array
    state: Ints
    witness: Array

    @property
    def count(self) -> int:
        """Number of cells."""
        return int(self.y.shape[0])

    def take(self, keep: Flags | Ints) -> Rectangles:
        """Return a selection."""
        return Rectangles(
            self.y[keep], self.dy[keep], self.roll[keep], self.droll[keep], self.state[keep], self.witness[:, keep]
        )

    def touches(self, region: Region) -> Flags:
        """Return which cells touch a region."""
        (first, last), (low, high) = region.y, region.roll
        in_y = (self.y - self.dy <= last + SAME_SIDE) & (self.y + self.dy >= first - SAME_SIDE)
        in_roll = (self.roll - self.droll <= high + SAME_SIDE) & (self.roll + self.droll >= low - SAME_SIDE)
        return np.asarray(in_y & in_roll)


def together(parts: list[Rectangles]) -> Rectangles:
    """Return all cells of some tables as one."""

    def joined(name: str) -> Array:
        return np.concatenate([getattr(part, name) for part in parts], axis=-1)

    state: Ints = np.concatenate([part.state for part in parts])
    return Rectangles(joined("y"), joined("dy"), joined("roll"), joined("droll"), state, joined("witness"))


def components(cells: Rectangles, inside: Flags, goes_round: bool) -> Ints:
    """Return a label (K,) for each cell: among the cells inside, those that are joined side by side have the same."""
    label: Ints = np.arange(cells.count)
    one, two = sharing(cells, inside, goes_round).T
    while True:
        least = np.minimum(label[one], label[two])
        before = label.copy()
        np.minimum.at(label, one, least)
        np.minimum.at(label, two, least)
        label = label[label]
        if (label == before).all():
            return label


def bounding(cells: Rectangles, starts: Iterable[Region], goes_round: bool) -> Ints:
    """Return the numbers of the blocked cells that close in what can be reached from the starts, or the starts."""
    blocked = cells.state == CellState.BLOCKED
    begun = np.zeros(cells.count, dtype=bool)
    for region in starts:
        begun |= cells.touches(region)
    label = components(cells, ~blocked, goes_round)
    reached = np.zeros(cells.count, dtype=bool)
    reached[label[begun & ~blocked]] = True
    inside = ~blocked & reached[label]
    one, two = sharing(cells, np.ones(cells.count, dtype=bool), goes_round).T
    around = begun.copy()
    around[two[inside[one]]] = True
    around[one[inside[two]]] = True
    return np.flatnonzero(blocked & around)


def neighbours(cells: Rectangles, inside: Flags, goes_round: bool) -> nx.Graph:
    """Return the graph of some cells, joined where they share more than a corner."""
    import networkx as nx

    graph = nx.Graph()
    graph.add_nodes_from(np.flatnonzero(inside).tolist())
    graph.add_edges_from(sharing(cells, inside, goes_round).tolist())
    return graph


def sharing(cells: Rectangles, inside: Flags, goes_round: bool) -> Ints:
    """Return the pairs (E, 2) of some cells that share more than a corner; goes_round: first and last roll are one."""
    chosen = np.flatnonzero(inside)
    part = cells.take(chosen)
    y = (part.y - part.dy, part.y + part.dy)
    roll = (part.roll - part.droll, part.roll + part.droll)
    # The seam is that of the whole plane, whichever cells are asked for.
    seam = (float((cells.roll - cells.droll).min()), float((cells.roll + cells.droll).max())) if goes_round else None
    return np.asarray(chosen[np.concatenate((_sharing(y, roll, None), _sharing(roll, y, seam)))])


Sides = tuple[Array, Array]


def _sharing(across: Sides, along: Sides, seam: tuple[float, float] | None) -> Ints:
    """Return pairs (E, 2) of cells of which one ends `across` where the other begins, and which overlap `along`.

    Neighbours reckon their common side each for itself: it may differ by the rounding, SAME_SIDE is far above that.
    """
    begins, finishes = across
    if seam is not None:
        finishes = np.where(np.abs(finishes - seam[1]) <= SAME_SIDE, seam[0], finishes)
    order = np.argsort(begins, kind="stable")
    first = np.searchsorted(begins[order], finishes - SAME_SIDE, side="left")
    last = np.searchsorted(begins[order], finishes + SAME_SIDE, side="right")
    counts = last - first
    one = np.repeat(np.arange(begins.size), counts)
    place = np.arange(one.size) - np.repeat(np.cumsum(counts) - counts, counts)
    two = order[first[one] + place]
    overlap = np.minimum(along[1][one], along[1][two]) - np.maximum(along[0][one], along[0][two])
    pairs = np.stack((one, two), axis=1)
    return np.asarray(pairs[(overlap > SAME_SIDE) & (one != two)])
