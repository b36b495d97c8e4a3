"""How near the auditor finds the tube, held against the planner's kernel, which shares nothing with it.

Points of the tube in motions of real searches are looked at by both. And no point of a motion that the kernel certifies
clear is ever taken for a strike, whatever no-good is made up of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pytest

from planner.audit.bench import Bench, State
from planner.audit.shop import Shop, other
from planner.audit.strikes import deep_in_bend, deep_in_place, deep_in_return, read_witness
from planner.clearance.bounds import bounds
from planner.clearance.certify import place_of
from planner.clearance.poses import Cells, pose
from planner.clearance.rows import EVERY_CLAMP, Rows, rows_of
from planner.cuts.strike_cuts import TAIL_SOLIDS
from planner.feasibility.bend_check import BendCheck, gripping_motions, straight_home
from planner.sequencing.events import Trims
from planner.tolerances import AUDIT_STRIKE_MARGIN
from planner.tube import motions
from planner.tube.bodies import Motion, Phase, Role
from tests.audit.taught import TELLING, Learned, Record, learned
from tests.plan.shop import bender, tube

SEEDS = TELLING[:5] + TELLING[9:12]

ROOM = 0.03
"""By how much two ways of looking for the nearest point of a disc may differ [mm]."""


@dataclass(frozen=True)
class Met:
    """One attempt of a search: where it stands in an order, and its trims."""

    of: Learned
    attempt: BendCheck
    leads: Any
    ahead: int
    trims: Trims

    @cached_property
    def state(self) -> State:
        """The same state as the auditor builds it."""
        bench = self.of.bench
        lead, tail = self.trims.at(self.leads), self.trims.at(other(self.leads))
        return State(bench, self.leads, self.attempt.station.bend, self.ahead, lead, tail)

    def rows(self, motion: Motion) -> Rows:
        """What the kernel holds a motion against."""
        return rows_of([motion], self.of.search.around(self.attempt.station), [self.attempt.clamps])


def met(moved: bool = False) -> Iterator[Met]:
    """All attempts of some searches."""
    for kind, seed in SEEDS:
        of = learned(kind, seed)
        checks = of.search.checks
        if moved:
            for (key, *_), attempt in checks.moved.items():
                if attempt.standing_before.formed_arc:
                    yield Met(of, attempt, key[0], key[2], key[5])  # type: ignore[index]
            continue
        for found, attempt in checks.bent.items():
            yield Met(of, attempt, found[0], found[2], found[5])  # type: ignore[arg-type]


def at(pair: tuple[float, float], t: float) -> float:
    return pair[0] + t * (pair[1] - pair[0])


def witness(motion: Motion, place: float, t: float, solid: str, clamp: float | None) -> Record:
    """A witness as a proof writes it."""
    arm, arc = at(motion.arm, t), 0.0
    if motion.phase in (Phase.BEND, Phase.REGRIP):
        arc = arm
    elif motion.phase is Phase.OPEN:
        body = motion.bodies[1]
        assert body.length_at_start is not None
        arc = (body.length_at_start + t * body.length_change) / motion.bend_radius
    return {
        "phase": motion.phase.value, "place": place, "solid": solid, "clamp": clamp, "advance": at(motion.y, t),
        "rotation": math.degrees(at(motion.rotation, t)), "arm": math.degrees(arm), "tube": math.degrees(arc),
        "face": None if motion.face is None else at(motion.face, t), "pressure": at(motion.pressure, t),
        "clearance": 0.0, "needed": 0.0, "slides": motion.slides_straight,
    }  # fmt: skip


@dataclass(frozen=True)
class Spot:
    """A point of a motion as the kernel finds it: its row, how much nearer than needed, how far its piece goes on [mm]."""

    row: int
    s: float
    t: float
    place: float
    short: float
    to_end: float


def spots(rows: Rows, rng: np.random.Generator, count: int) -> list[Spot]:
    """Random points of random rows that are there at their moment."""
    if not rows.count:
        return []
    wide = np.flatnonzero(
        rows.pieces[11, rows.piece] - rows.pieces[10, rows.piece] > 1e-6
    )  # else nothing is held apart
    row = wide[rng.integers(wide.size, size=count)] if wide.size else wide
    piece, block = rows.pieces[:, rows.piece[row]], rows.blocks[:, rows.block[row]]
    s = piece[10] + rng.random(row.size) * (piece[11] - piece[10])
    t = block[10] + rng.random(row.size) * (block[11] - block[10])
    upper = bounds(rows, Cells(row, s, 0.0 * s, t, 0.0 * s)).upper
    there = np.isfinite(upper)
    short = rows.needed[row] - upper
    place = [place_of(rows, int(row[k]), float(s[k]), float(t[k])) for k in range(row.size)]
    on = np.minimum(s - piece[10], piece[12] + piece[13] * t - s)
    return [Spot(int(row[k]), *(float(a[k]) for a in (s, t, place, short, on))) for k in np.flatnonzero(there)]


def deep(one: Met, motion: Motion, record: Record, clamp: float) -> float:
    """How deep the auditor finds a witness of a motion of an attempt [mm]."""
    state, found = one.state, [read_witness(record)]
    if motion.phase is Phase.RETURN:
        return float(deep_in_return(state, found, clamp)[0])
    if motion.phase is Phase.PLACE:
        before = State(state.bench, state.leads, state.bend - 1, state.first, state.trim_lead, state.trim_tail)
        return float(deep_in_place(state, before.after, found, clamp)[0])
    return float(deep_in_bend(state, found, clamp)[0])


def compared(one: Met, motion: Motion, rng: np.random.Generator, count: int, together: Motion | None = None) -> int:
    """Hold random points of a motion against the auditor; return how many there were."""
    rows, number = one.rows(motion), 0
    carried = one.of.search.checks.carried
    for spot in spots(rows, rng, count):
        name = rows.names[rows.solid[spot.row]]
        if name in carried and motion.phase in (Phase.RETURN, Phase.PLACE):
            continue
        if one.of.bench.with_pressure_die(name) and motion.phase is Phase.RETURN:
            continue  # it may stand forward or at home: for the auditor it proves nothing
        if rows.radius <= spot.to_end < 1.6 * rows.radius:
            continue  # for the kernel the sphere about a place lies in its arc already, for the auditor not quite
        of_clamp = int(rows.clamp[spot.row])
        clamp = one.attempt.clamps[max(of_clamp, 0)]
        role = rows.roles[rows.piece[spot.row]]
        if role is Role.TAIL and motion is together:
            continue  # as a set it stands: which material is there at the moment is not what the kernel says
        if motion.phase is Phase.BEND and role is Role.FIRST and of_clamp != EVERY_CLAMP and spot.s < clamp:
            continue  # a straight that ends within the clamp: the kernel looks at its end, the auditor at nothing
        record = witness(motion, spot.place, spot.t, name, clamp if of_clamp != EVERY_CLAMP else None)
        found = deep(one, motion, record, clamp) + AUDIT_STRIKE_MARGIN
        # What is required grows with the tube ahead: the kernel's rows say the most over the motion.
        least = spot.short - float(rows.spread[spot.row])
        assert found >= least - ROOM, (one.of.part.name, record, found, spot)
        if spot.to_end > 2.0 * rows.radius and name not in TAIL_SOLIDS:  # of which the kernel sees a part at a time
            assert found <= spot.short + ROOM, (one.of.part.name, record, found, spot)
        number += 1
    return number


def test_the_bend_and_the_return_are_as_near_as_the_kernel_finds_them() -> None:
    rng, number = np.random.default_rng(1), 0
    for one in met():
        standing, out = one.attempt.standing, one.attempt.station.setting
        run = motions.homing(standing, (out, out), (0.0, 40.0))
        together = motions.homing(standing, (0.7 * out, 0.2 * out), (10.0, 60.0))
        for motion in (*gripping_motions(one.attempt), straight_home(one.attempt), run, together):
            if motion.phase not in (Phase.REGRIP, Phase.RUN):
                number += compared(one, motion, rng, 8, together)
    assert number > 2000


def test_moves_are_as_near_as_the_kernel_finds_them() -> None:
    rng, number = np.random.default_rng(2), 0
    for one in met(moved=True):
        standing = one.attempt.standing_before
        for y in (0.0, float(rng.uniform(0.0, 300.0))):
            number += compared(one, motions.rotate(standing, y, (0.0, float(rng.uniform(-3.0, 3.0)))), rng, 30)
        number += compared(one, motions.advance(standing, (0.0, 200.0), 0.0, False), rng, 30)
        number += compared(one, motions.advance(standing, (0.0, 200.0), 1.0, True), rng, 30)
    assert number > 1500


def worst(rows: Rows, rng: np.random.Generator, clamp: int, apart: frozenset[str]) -> Spot | None:
    """Of many points the one that lacks least to a strike, against nothing that the carriage carries."""
    found = [
        spot
        for spot in spots(rows, rng, 100)
        if rows.clamp[spot.row] in (EVERY_CLAMP, clamp) and rows.names[rows.solid[spot.row]] not in apart
    ]
    return max(found, key=lambda spot: spot.short, default=None)


def made_up(one: Met, entries: list[Record], pattern: dict[str, Any]) -> Record:
    """A no-good for exactly the state of an attempt."""
    lead, tail = one.trims.at(one.leads), one.trims.at(other(one.leads))
    return {
        "event": "bend", "leads": one.leads, "bend": one.attempt.station.bend, "ahead": [one.ahead, one.ahead],
        "trim_lead": [lead, lead], "trim_tail": [tail, tail], "hold": None, "way": None, "released": None, "sentence": "",
        "met": {"ahead": one.ahead, "trim_lead": lead, "trim_tail": tail}, "doing": "bend", "clamps": entries,
        "walls": [], **pattern,
    }  # fmt: skip


def test_no_no_good_made_up_of_a_bend_that_is_clear_is_accepted(campaign: bool) -> None:
    rng, tries = np.random.default_rng(3), 0
    for one in met():
        if not one.attempt.fitting:
            continue
        clear = one.attempt.fitting[0]
        for motion in (*one.attempt.gripping, *one.attempt.returning):
            rows = one.rows(motion)
            for _ in range(4 if campaign else 2):
                spot = worst(rows, rng, clear, one.of.search.checks.carried)
                if spot is None:
                    continue
                name, of_clamp = rows.names[rows.solid[spot.row]], rows.clamp[spot.row] != EVERY_CLAMP
                entries: list[Record] = []
                for clamp in one.attempt.clamps:
                    told = witness(motion, spot.place, spot.t, name, clamp if of_clamp else None)
                    wall = {"kind": "home", "arm": told["arm"], "span": [0.0, 9e9], "strikes": [told]}
                    home = motion.phase is Phase.RETURN
                    entries.append({"clamp": clamp, "wall": wall} if home else {"clamp": clamp, "strike": told})
                assert one.of.refuses(made_up(one, entries, {})), (one.of.part.name, motion.phase, spot)
                tries += 1
    assert tries >= (400 if campaign else 200)


def test_no_wall_made_up_of_a_move_that_is_clear_is_accepted() -> None:
    """A column of cells, or of strikes, at one rotation, each with what lacks least to a strike there."""
    rng, tries = np.random.default_rng(4), 0
    for one in met(moved=True):
        attempt = one.attempt
        if attempt.path is None or attempt.rolls == (0.0,):
            continue
        standing, carried = attempt.standing_before, one.of.search.checks.carried
        for share in (0.3, 0.7):
            lines, cells = [], []
            for roll in attempt.rolls:
                told, angle = [], share * roll
                for y in np.arange(0.0, 600.0, 100.0):
                    motion = motions.rotate(standing, float(y), (angle, angle))
                    rows = one.rows(motion)
                    spot = worst(rows, rng, attempt.fitting[0], carried)
                    if spot is None:
                        continue
                    name = rows.names[rows.solid[spot.row]]
                    of_clamp = attempt.clamps[-1] if rows.clamp[spot.row] != EVERY_CLAMP else None
                    told.append(witness(motion, spot.place, spot.t, name, of_clamp))
                    cells.append([float(y), 60.0, math.degrees(angle), 0.01, spot.place, name])
                lines.append({"kind": "across", "roll": math.degrees(angle), "span": [0.0, 600.0], "strikes": told})
            column = {
                "kind": "cells", "y": [0.0, 600.0], "rolls": [-180.0, 180.0], "goes_round": True, "slides_to": 1e9,
                "slide_strikes": [], "clamp": attempt.clamps[-1], "cells": cells,
            }  # fmt: skip
            for walls in (lines, [column]):
                record = made_up(one, [], {"event": "link", "doing": "move", "walls": walls})
                assert one.of.refuses(record), (one.of.part.name, record)
                tries += 1
    assert tries >= 40


# ---------------------------------------------------------------------- single cases, reckoned by hand


def test_an_overlap_needs_all_of_the_margin() -> None:
    """A leg that hangs straight down over the floor: it needs 10 mm, and is a strike from 9.91 mm on."""
    part = tube([400.0, 300.0, 400.0], [0.0, 90.0], [90.0, 90.0])
    reach = 400.0 + 76.2  # the leg and the bend's own radius, below the feed
    for left, struck in ((10.1, False), (9.95, False), (9.9, True), (5.0, True), (-3.0, True)):
        machine = bender({"head": {"centreline_height": reach + left}, "mandrel": None})
        shop = Shop(part, machine)
        state = State(Bench(part, machine, shop), "A", 2, 1, 0.0, 0.0)
        record = {
            "phase": "bend", "place": 0.0, "solid": "floor", "clamp": None, "advance": 0.0, "rotation": 0.0, "arm": 0.0,
            "tube": 0.0, "face": None, "pressure": 0.0, "clearance": 0.0, "needed": 10.0, "slides": False,
        }  # fmt: skip
        found = float(deep_in_bend(state, [read_witness(record)], 80.0)[0])
        assert found == pytest.approx(10.0 - 0.09 - left, abs=1e-6)
        assert (found > 0.0) is struck


def test_the_first_pose_of_a_kernel_motion_is_the_auditor_s() -> None:
    """Centrelines, not distances: the leading part lies where the kernel has it in the bend."""
    for one in list(met())[::5]:
        rows = one.rows(one.attempt.gripping[1])
        leading = (Role.FIRST, Role.FAR_ARC, Role.EARLIER)
        for row in range(rows.count):
            if rows.names[rows.solid[row]] != "floor" or rows.roles[rows.piece[row]] not in leading:
                continue
            piece = rows.pieces[:, rows.piece[row]]
            s = 0.4 * float(piece[11])
            for t in (0.2, 0.9):
                x = pose(rows, np.array([row]), np.array([s]), np.array([t])).x[:, 0]
                angle, place = np.array([t * one.attempt.station.setting]), np.array([float(piece[14] + piece[15] * s)])
                found = one.state.gripped.points(place, angle, 1)
                assert found.exists.all()
                assert found.x[:, 0] == pytest.approx(x, abs=1e-6)
