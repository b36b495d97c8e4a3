"""Cells that tile a pair's rectangle: everywhere once, nowhere twice, but for tube that is not there at the time."""

from __future__ import annotations

import numpy as np

from planner.audit.seen import Ints
from planner.audit.shapes import Array
from planner.tolerances import PROVED_LENGTH, PROVED_MOMENT

Span = tuple[float, float]


def untiled(cells: Array, s: Span, t: Span, lives: Span) -> str | None:
    """Say what is wrong with cells (n, 4), each s from and to [mm], t from and to, as a tiling of s × t; None: nothing.

    lives: length of the piece at t = 0 and its change over the motion [mm]: beyond it nothing need be covered.
    """
    if not np.isfinite(cells).all():
        return "a cell has an edge that is no number"
    s_edges, s_at = _edges(cells[:, 0:2], s, PROVED_LENGTH)
    t_edges, t_at = _edges(cells[:, 2:4], t, PROVED_MOMENT)
    if (s_at[:, 0] >= s_at[:, 1]).any() or (t_at[:, 0] >= t_at[:, 1]).any():
        return "a cell has no extent"
    if (
        s_edges[0] < s[0] - PROVED_LENGTH
        or s_edges[-1] > s[1] + PROVED_LENGTH
        or t_edges[0] < t[0] - PROVED_MOMENT
        or t_edges[-1] > 1.0 + PROVED_MOMENT
    ):
        return "a cell reaches past what is to be covered"
    count = _count(s_at, t_at, (s_edges.size, t_edges.size))
    if (count > 1).any():
        i, j = np.argwhere(count > 1)[0]
        return f"cells overlap at s {s_edges[i]:.4f} mm, t {t_edges[j]:.6f}"
    # Nothing lives beyond the longer of a field's two moments.
    longest = np.maximum(lives[0] + lives[1] * t_edges[:-1], lives[0] + lives[1] * t_edges[1:])
    bare = (count == 0) & (s_edges[:-1, None] < longest[None, :] - PROVED_LENGTH)
    if bare.any():
        i, j = np.argwhere(bare)[0]
        return (
            f"no cell covers s {s_edges[i]:.4f} to {s_edges[i + 1]:.4f} mm, t {t_edges[j]:.6f} to {t_edges[j + 1]:.6f}"
        )
    return None


def _edges(ends: Array, span: Span, same: float) -> tuple[Array, Ints]:
    """Return the different edges of cells and of the span, rising, and for each cell's end (n, 2) which it is."""
    every = np.concatenate((ends.ravel(), span))
    order = np.argsort(every, kind="stable")
    rising = every[order]
    which = np.empty(every.size, dtype=np.int64)
    which[order] = np.concatenate(([0], np.cumsum(np.diff(rising) > same)))
    first = np.concatenate(([True], np.diff(rising) > same))
    return rising[first], which[: ends.size].reshape(ends.shape)


def _count(s_at: Ints, t_at: Ints, size: tuple[int, int]) -> Ints:
    """Return how many cells cover each field of the grid that all edges make."""
    steps = np.zeros(size, dtype=np.int64)
    for i, k in ((0, 1), (1, -1)):
        for j, m in ((0, 1), (1, -1)):
            np.add.at(steps, (s_at[:, i], t_at[:, j]), k * m)
    return np.asarray(steps.cumsum(axis=0).cumsum(axis=1)[:-1, :-1])
