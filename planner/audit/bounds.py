"""How near tube comes to its solids over cells of arc length and time, from below.

A cell is a piece's stretch s₀…s₁ over a time t₀…t₁, half-widths δs and δt. Two bounds of what it keeps:

**By distance.** The solid's signed distance f grows no faster than the way gone. With u(t) = x₀ − c + W t a material
point lies at x = c + Q(φt)u + V t. From the midpoint, where it is ρ off the axis, it goes no farther than
2ρ sin(|φ|δt/2) + (|V| + |W|)δt: at t + τ it is turned by φτ, and has gone W τ and V τ more. Or, its speed
x′ = Q(φk × u + W) + V being v there and x″ = Q(φ²k × (k × u) + 2φk × W) no more than φ²(ρ + |W|δt) + 2|φ||W| over
the cell, it goes v δt and half of that times δt². Along the piece it goes δs, on an arc the chord. So the clearance is
f(x) − r less these.

**By a plane.** For a convex solid with support function h, any unit vector g and the flat cross-section at (s, t) whose
direction is T, the clearance is g·x − r √(1 − (g·T)²) − h(g) or more, also where they overlap (depth counts negative).
Over the cell g·x is no less than at the corners, less what it may sag between them: a function whose second derivative
stays below m sags by m δ²/2 at most under its chord. Along s that is κ g·n, n the arc's inward normal. Along t it is,
with γ(t) = Q(−φt)g, so that g·x is γ·u and what is even in t, and γ′ = −φk × γ,

    −φ² γ⊥·u⊥ − 2φ (k × γ)·W,

the two parts across the axis k. Both are known at the cell's ends; between them γ⊥·u⊥ sags by no more than |g⊥| times
φ²ρδt²/2 + |φ||W|δt², ρ the greater of both ends' (u goes evenly), and the other, whose second derivative is −φ² times
itself, bulges by no more than |φ|³|g⊥||W|δt². g·T changes by no more than κδs + |φ||g⊥|δt.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Self

import numpy as np

from planner.audit.seen import Flags, Ints, Pairs
from planner.audit.shapes import Array
from planner.tolerances import AUDIT_ROUNDING


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
    half-widths; q: x − c without the way V, speed: Q W + V, x and tangent of the midpoints, all [mm].
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
    turned_way: Array
    ds: Array
    dt: Array
    q: Array
    speed: Array
    x: Array
    tangent: Array

    @classmethod
    def of(cls, pairs: Pairs, cells: Cells) -> Placed:
        """Place cells by equation (2)."""
        at = cells.pair
        centre = pairs.centre[:, at]
        none = np.zeros(0)
        placed = cls(
            cells, pairs.radius, pairs.curvature[at], pairs.turn[at], pairs.about_feed[at], centre,
            pairs.start[:, at] - centre, pairs.along[:, at], pairs.inward[:, at], pairs.way[:, at],
            pairs.turned_way[:, at], (cells.s1 - cells.s0) / 2.0, (cells.t1 - cells.t0) / 2.0, none, none, none, none,
        )  # fmt: skip
        s, t = (cells.s0 + cells.s1) / 2.0, (cells.t0 + cells.t1) / 2.0
        bend, angle = placed.curvature * s, placed.turn * t
        placed.q = placed.turned(placed.on_piece(s) + placed.turned_way * t, angle)
        placed.speed = placed.turned(placed.turned_way, angle) + placed.way
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
        out, swing, with_turn = np.hypot(p, q), np.abs(self.turn) * self.dt, _size(self.turned_way) * self.dt
        apart = 2.0 * out * np.sin(np.minimum(swing / 2.0, np.pi / 2.0)) + _size(self.way) * self.dt + with_turn
        a, b, along = self.split(self.speed)
        speed = np.sqrt(np.square(a - self.turn * q) + np.square(b + self.turn * p) + np.square(along))
        quicker = swing * (swing * (out + with_turn) / 2.0 + with_turn)
        return np.where(bent, chord, self.ds), np.minimum(apart, speed * self.dt + quicker)

    @cached_property
    def ends(self) -> tuple[tuple[tuple[Array, Array], tuple[Array, Array], Array], ...]:
        """Vectors u at both ends of the cells' stretches: at both moments, how far they reach along the axis then, and
        the most that they are across it.
        """
        found = []
        for s in (self.cells.s0, self.cells.s1):
            start = self.on_piece(s)
            both = tuple(start + self.turned_way * t for t in (self.cells.t0, self.cells.t1))
            (p0, q0, k0), (p1, q1, k1) = (self.split(vector) for vector in both)
            found.append(((both[0], both[1]), (k0, k1), np.maximum(np.hypot(p0, q0), np.hypot(p1, q1))))
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
        with_turn, bulge = self._with_turn(seen)
        lowest = np.full(swing.shape, np.inf)
        for vectors, along, out in self.ends:
            first, last = ((one * vector).sum(axis=0) for one, vector in zip(seen, vectors, strict=True))
            # Of what turns, at both moments, and under the chord between them.
            most = across * (out * half_square + swing * with_turn)
            trough = np.minimum(first - g_axis * along[0], last - g_axis * along[1])
            sag = np.clip((most - trough) * half_square + bulge, 0.0, most)
            lowest = np.minimum(lowest, np.minimum(first + gone[0], last + gone[1]) - sag)
        bend = self.curvature * self.ds
        leans = swing * across
        sag = np.clip((g * self.normal).sum(axis=0) + bend + leans, 0.0, 1.0) * bend * self.ds / 2.0
        lean = np.clip(np.abs((g * self.tangent).sum(axis=0)) - bend - leans, 0.0, 1.0)
        reach = self.radius * np.sqrt(1.0 - lean * lean)
        return np.asarray((g * self.centre).sum(axis=0) + lowest - sag - reach - AUDIT_ROUNDING)

    def _with_turn(self, seen: list[Array]) -> tuple[Array, Array]:
        """Return |W| δt [mm], and the most of −φ (k × γ)·W over the cells times δt²; seen: γ at both moments."""
        with_turn = _size(self.turned_way) * self.dt
        if not with_turn.any():
            return with_turn, with_turn
        swing, (a, b, _) = self.turn * self.dt, self.split(self.turned_way)
        parts = [self.split(one) for one in seen]
        both = [-swing * (p * b - q * a) * self.dt for p, q, _ in parts]
        across = np.maximum(*(np.hypot(p, q) for p, q, _ in parts))
        return with_turn, np.maximum(*both) + np.abs(swing) ** 3 / 2.0 * across * with_turn

    def by_distance(self, far: Array) -> Array:
        """Return the bound by distance for the signed distances (N,) of the midpoints [mm]."""
        along, moved = self.ways()
        return np.asarray(far - self.radius - along - moved - AUDIT_ROUNDING)


def _size(v: Array) -> Array:
    return np.asarray(np.sqrt((v * v).sum(axis=0)))
