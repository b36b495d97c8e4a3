"""Crush gaps: where what swings or turns comes nearer to something that stands than a person needs to stand there."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from planner.clearance import solids as build
from planner.clearance.certify import Least
from planner.clearance.distances import evaluate
from planner.clearance.solids import Owner, Solid, Tool
from planner.facts import Fact, fact, length, needed
from planner.inputs.machine import Machine
from planner.plans.swing import STEP, swept_by
from planner.tube.bodies import Motion, Phase
from planner.tube.frames import Array

BODY_GAP: Final = 500.0
"""Least gap in which a person's body is not crushed [mm] (ISO 13854:2017, Table 1)."""


@dataclass(frozen=True)
class CrushGap:
    """A solid that stands, and how near the moving tube or arm comes to it at least [mm], rounded down."""

    solid: str
    gap: float


def crush_gaps(
    motions: Iterable[Motion], proved: Mapping[Motion, Least], arms: Iterable[Array], machine: Machine, radius: float
) -> tuple[CrushGap, ...]:
    """Return the solids of the room and the frame to which tube or arm come nearer than BODY_GAP by power.

    motions: of the plan; proved: their smallest clearances; arms: points (3, n) that the arm sweeps,
    seen from above; radius: the tube's [mm]. The gaps are lower bounds: between two samples the tube may be nearer than
    at either. What the arm itself passes over, bed and post, counts for the tube.
    """
    standing = [
        solid for solid in build.envelope(machine) if solid.owner is Owner.FRAME and solid.tool is Tool.ENVELOPE
    ]
    if not standing:
        return ()
    swung = [m for m in motions if m.phase is Phase.BEND or m.rotation[0] != m.rotation[1]]
    swept = [(_points(motion), proved[motion].bound) for motion in swung]
    found = []
    for solid in standing:
        # By samples, or by what is proved of all solids together.
        gap = min((max(_nearest(solid, p) - radius - STEP, bound) for p, bound in swept), default=math.inf)
        beside = min((_beside(solid, p) for p in arms), default=math.inf) - STEP / 2.0
        gap = min(gap, beside) if beside > 0.0 else gap
        if gap < BODY_GAP:
            found.append(CrushGap(solid.name, math.floor(max(gap, 0.0) / 10.0) * 10.0))
    return tuple(found)


def _points(motion: Motion) -> Array:
    """Return points (3, n) of the tube's centreline over a motion."""
    return np.concatenate([p for body in motion.bodies for p in swept_by(motion, body)], axis=1)


def _nearest(solid: Solid, points: Array) -> float:
    """Return the distance of the nearest of some points (3, n) to a solid [mm]."""
    count = points.shape[1]
    parameters = np.zeros((8, count))
    parameters[: len(solid.parameters)] = np.array(solid.parameters)[:, None]
    exact, _, _ = evaluate(np.full(count, int(solid.kind)), points, parameters)
    return float(exact.min())


def _beside(solid: Solid, points: Array) -> float:
    """Return the same seen from above: as if the solid were as high as the arm."""
    tall = list(solid.parameters)
    low, high = (2, 5) if len(tall) == 6 else (3, 4)
    tall[low], tall[high] = -1e5, 1e5
    return _nearest(Solid(solid.name, solid.tool, solid.owner, solid.kind, tuple(tall)), points)


def crush_fact(gaps: Iterable[CrushGap]) -> Fact:
    """Return the gaps as one fact."""
    named = tuple(fact("gap-to", gap=length(gap.gap, 0, "at least"), solid=gap.solid) for gap in gaps)
    return fact("crush-gaps", gaps=named, body=needed(BODY_GAP, 0))
