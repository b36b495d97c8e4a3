"""How near tube comes to its solids over cells of arc length and time, from below.

A cell is a piece's stretch s₀…s₁ over a time t₀…t₁, half-widths δs and δt. Two bounds of what it keeps:

**By distance.** The solid's signed distance f grows no faster than the way gone. From the midpoint a material point
goes at most 2ρ sin(|φ|δt/2) + |V|δt, or with its speed v and acceleration φ²ρ, vδt + φ²ρδt²/2; along the piece δs, on
an arc the chord. So the clearance is f(x) − r less these.

**By a plane.** For a convex solid with support function h, any unit vector g and the flat cross-section at (s, t) whose
direction is T, the clearance is g·x − r √(1 − (g·T)²) − h(g) or more, also where they overlap (depth counts negative).
Over the cell g·x is no less than at the corners, less what it may sag between them: a function whose second derivative
stays below m sags by m δ²/2 at most under its chord. Along s that is κ g·n, n the arc's inward normal; along t it is
−φ² g⊥·Q(φt)q, with g⊥ and q across the axis. g·T changes by no more than κδs + |φ||g⊥|δt.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Self

import numpy as np

from planner.audit.seen import Flags, Ints, Pairs
from planner.audit.shapes import Array

ROUNDING = 1e-7
"""Taken off every bound [mm]: far above the rounding of double precision at shop lengths."""


@dataclass(frozen=True)
class Cells:
    """N cells: number of their pair, from and to in s [mm] and t."""

    pair: Ints
    s0: Array
    s1: Array
    t0: Array
    t1: Array

    @property
    def count(self) -> int:
        """Number of cells."""
        return int(self.pair.size)

    def take(self, which: Ints | Flags) -> Cells:
        """Return a selection."""
        return Cells(self.pair[which], self.s0[which], self.s1[which], self.t0[which], self.t1[which])

    def halves(self, by_s: Flags) -> Cells:
        """Return all cells cut in two, in s where it is said, in t else; first all first halves."""
        s, t = (self.s0 + self.s1) / 2.0, (self.t0 + self.t1) / 2.0
        first = (self.s0, np.where(by_s, s, self.s1), self.t0, np.where(by_s, self.t1, t))
        second = (np.where(by_s, s, self.s0), self.s1, np.where(by_s, self.t0, t), self.t1)
        edges = [np.concatenate(both) for both in zip(first, second, strict=True)]
        return Cells(np.tile(self.pair, 2), *edges)


@dataclass
class Placed:
    """N cells with their piece and its motion: vectors (3, N), from_centre: start − c; about_feed: the axis; ds, dt:
    half-widths; q: x − c without the way gone, x and tangent of the midpoints, all [mm].
    """

    cells: Cells
    radius: float
    curvature: Array
    turn: Array
    about_feed: Flags
    centre: Array
    from_centre: Array
    along: Array
    inward: Array
    way: Array
    ds: Array
    dt: Array
    q: Array
    x: Array
    tangent: Array

    @classmethod
    def of(cls, pairs: Pairs, cells: Cells) -> Placed:
        """Place cells by equation (1) of `seen`."""
        at = cells.pair
        centre = np.concatenate((pairs.centre[:, at], np.zeros((1, at.size))))
        none = np.zeros(0)
        placed = cls(
            cells, pairs.radius, pairs.curvature[at], pairs.turn[at], pairs.about_feed[at], centre,
            pairs.start[:, at] - centre, pairs.along[:, at], pairs.inward[:, at], pairs.way[:, at],
            (cells.s1 - cells.s0) / 2.0, (cells.t1 - cells.t0) / 2.0, none, none, none,
        )  # fmt: skip
        s, t = (cells.s0 + cells.s1) / 2.0, (cells.t0 + cells.t1) / 2.0
        bend, angle = placed.curvature * s, placed.turn * t
        placed.q = placed.turned(placed.on_piece(s), angle)
        placed.x = centre + placed.q + placed.way * t
        placed.tangent = placed.turned(placed.along * np.cos(bend) + placed.inward * np.sin(bend), angle)
        return placed

    def take(self, which: Ints | Flags) -> Self:
        """Return a selection."""
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        chosen = {name: value[..., which] for name, value in values.items() if isinstance(value, np.ndarray)}
        return type(self)(**{**values, **chosen, "cells": self.cells.take(which)})

    def on_piece(self, s: Array) -> Array:
        """Return x₀(s) − c (3, N)."""
        bent = self.curvature > 0.0
        kappa = np.where(bent, self.curvature, 1.0)
        ahead = np.where(bent, np.sin(kappa * s) / kappa, s)
        aside = np.where(bent, 2.0 * np.square(np.sin(kappa * s / 2.0)) / kappa, 0.0)
        return np.asarray(self.from_centre + self.along * ahead + self.inward * aside)

    def split(self, v: Array) -> tuple[Array, Array, Array]:
        """Return the components of vectors (3, N): two across the cells' axes, in the order of the turn, and along."""
        feed = self.about_feed
        return np.where(feed, v[1], v[0]), np.where(feed, v[2], v[1]), np.where(feed, v[0], v[2])

    def turned(self, v: Array, angle: Array) -> Array:
        """Return vectors (3, N) turned about the cells' axes by angles (N,) [rad]."""
        cosine, sine, feed = np.cos(angle), np.sin(angle), self.about_feed
        p, q, k = self.split(v)
        p, q = cosine * p - sine * q, sine * p + cosine * q
        return np.stack((np.where(feed, k, p), np.where(feed, p, q), np.where(feed, q, k)))

    def across(self, v: Array) -> Array:
        """Return how long vectors (3, N) are across the cells' axes."""
        p, q, _ = self.split(v)
        return np.hypot(p, q)

    def ways(self) -> tuple[Array, Array]:
        """Return how far the cells reach from their midpoints: along the piece, and in the time [mm]."""
        bent = self.curvature > 0.0
        kappa = np.where(bent, self.curvature, 1.0)
        chord = 2.0 / kappa * np.sin(np.minimum(kappa * self.ds / 2.0, np.pi / 2.0))
        p, q, _ = self.split(self.q)
        out, swing = np.hypot(p, q), np.abs(self.turn) * self.dt
        apart = 2.0 * out * np.sin(np.minimum(swing / 2.0, np.pi / 2.0)) + _size(self.way) * self.dt
        a, b, along = self.split(self.way)
        speed = np.sqrt(np.square(a - self.turn * q) + np.square(b + self.turn * p) + np.square(along))
        return np.where(bent, chord, self.ds), np.minimum(apart, speed * self.dt + out * swing * swing / 2.0)

    @cached_property
    def ends(self) -> tuple[tuple[Array, Array, Array], ...]:
        """x₀ − c at both ends of the cells' stretches: the vectors, how long they are across the axis, and along it."""
        found = []
        for s in (self.cells.s0, self.cells.s1):
            p, q, k = self.split(vector := self.on_piece(s))
            found.append((vector, np.hypot(p, q), k))
        return tuple(found)

    @cached_property
    def normal(self) -> Array:
        """Inward normals (3, N) of the pieces at the midpoints."""
        bend = self.curvature * (self.cells.s0 + self.cells.s1) / 2.0
        first = self.inward * np.cos(bend) - self.along * np.sin(bend)
        return self.turned(first, self.turn * (self.cells.t0 + self.cells.t1) / 2.0)

    def over(self, g: Array) -> Array:
        """Return the least of g·x − r √(1 − (g·T)²) over the cells for unit vectors (3, N) [mm]."""
        p, q, g_axis = self.split(g)
        across, swing = np.hypot(p, q), np.abs(self.turn) * self.dt
        moments = (self.cells.t0, self.cells.t1)
        seen = [self.turned(g, -self.turn * t) for t in moments]
        gone = [(g * self.way).sum(axis=0) * t for t in moments]
        half_square = np.square(swing) / 2.0
        lowest = np.full(swing.shape, np.inf)
        for vector, out, k in self.ends:
            first, last = ((one * vector).sum(axis=0) for one in seen)
            trough = np.minimum(first, last) - g_axis * k  # of what turns, at both moments
            sag = np.clip(across * out * half_square - trough, 0.0, across * out) * half_square
            lowest = np.minimum(lowest, np.minimum(first + gone[0], last + gone[1]) - sag)
        bend = self.curvature * self.ds
        leans = swing * across
        sag = np.clip((g * self.normal).sum(axis=0) + bend + leans, 0.0, 1.0) * bend * self.ds / 2.0
        lean = np.clip(np.abs((g * self.tangent).sum(axis=0)) - bend - leans, 0.0, 1.0)
        reach = self.radius * np.sqrt(1.0 - lean * lean)
        return np.asarray((g * self.centre).sum(axis=0) + lowest - sag - reach - ROUNDING)

    def by_distance(self, far: Array) -> Array:
        """Return the bound by distance for the signed distances (N,) of the midpoints [mm]."""
        along, moved = self.ways()
        return np.asarray(far - self.radius - along - moved - ROUNDING)


def _size(v: Array) -> Array:
    return np.asarray(np.sqrt((v * v).sum(axis=0)))
