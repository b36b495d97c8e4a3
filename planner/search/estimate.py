"""Handling time of an order [s]: what its moves take, or at least take."""

from __future__ import annotations

import math
from itertools import pairwise

from planner.search.orders import Ready
from planner.search.trial import Trial


def least_time(ready: Ready, trial: Trial | None = None) -> float:
    """Return a lower bound of what an order's moves from bend to bend take besides what every order takes [s].

    Each move takes at least Δy/v + |Δφ|/ω with the shorter way round. With a trial that was carried out: the time of
    its own paths and easings, and of its clamp changes.
    """
    case = ready.case
    speeds, times = case.machine.speeds, case.machine.times
    total = ready.turns * times.turn + ready.regrips * times.regrip
    if trial is None or trial.loads is None:
        for load in ready.loads:
            view = load.loaded.view
            for before, bend in pairwise(load.bends):
                way = float(view.bend_starts[bend - 1] - view.bend_ends[before - 1])
                turn = abs(math.remainder(float(view.rotations[bend - 1]), 2.0 * math.pi))
                total += max(way - 1.0, 0.0) / speeds.advance + max(turn - 0.02, 0.0) / speeds.rotate
        return total
    done = [bend for load in trial.loads for bend in load]
    total += sum(bend.path.time + bend.eased / speeds.advance for bend in done)
    return total + times.tool_change * sum(
        (a.clamp, a.station.radius) != (b.clamp, b.station.radius) for a, b in pairwise(done)
    )
