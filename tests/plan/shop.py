"""Benders and parts for the tests of kinematics, shop rules and plans: dictionaries in a profile's own keys; all invented."""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from planner.inputs.files import machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part

DIAMETER, RADIUS = 38.1, 76.2

PROFILE: dict[str, Any] = {
    "name": "test bender",
    "units": "mm",
    "head": {"bends_toward": "right", "centreline_height": 4000, "largest_angle": 200, "may_ease_off": True},
    "carriage": {"reach": [150, 6000], "grip_length": 40, "passes_through": True, "may_go_back": True},
    "rotation": {"range": "continuous", "zeroed": True, "resolution": 0.1},
    "advance": {"zeroed": True, "resolution": 0.1},
    "mandrel": {"rod_length": 9000, "nose": 5},
    "clearance": {"required": 10, "to_tooling": 2, "to_itself": 2},
    "tooling": [
        {
            "tube_diameter": DIAMETER,
            "bend_radius": RADIUS,
            "clamp_lengths": [80, 60],
            "shortest_grip": 50,
            "pressure_die_length": 320,
            "pressure_die_follows": True,
            "shortest_tail": 20,
            "die_height": 80,
            "clamp_block": {"width": 60, "height": 60, "opens": 95},
            "pressure_block": {"width": 60, "height": 60, "opens": 40},
        }
    ],
    "speeds": {"advance": 300, "rotate": 90, "bend": 20, "return": 40},
    "times": {"regrip": 10, "turn": 60, "load": 30, "clamp": 3, "tool_change": 300},
    "springback": {"measured": [[10, 11], [150, 155]]},
}
"""Little around it: a floor 4 m below, a hand's breadth of tooling, no solid of its own."""

FINE: dict[str, Any] = {"rotation": {"resolution": 1e-6}, "advance": {"resolution": 1e-6}}
"""Readouts so fine that rounding does not show."""


def profile(*changes: dict[str, Any]) -> dict[str, Any]:
    """The profile with tables changed key by key; a table of None is left out. "tooling" changes its one entry."""
    data = copy.deepcopy(PROFILE)
    for change in changes:
        for table, keys in change.items():
            if keys is None:
                data.pop(table, None)
            elif table == "tooling":
                data[table][0].update(keys)
            elif isinstance(keys, dict):
                data.setdefault(table, {}).update(keys)
            else:
                data[table] = keys
    return data


def bender(*changes: dict[str, Any]) -> Machine:
    """The profile, changed and validated."""
    return machine_from_data(profile(*changes))


def head(toward: str) -> dict[str, Any]:
    """The change that gives the profile this head."""
    return {"head": {"bends_toward": toward}}


def tube(
    straights: Sequence[float],
    rotations: Sequence[float],
    angles: Sequence[float],
    trims: tuple[float, float] = (0.0, 0.0),
    **fields: Any,
) -> Part:
    """A part; straights [mm] (n+1), rotations (n, the first 0) and angles (n) in degrees."""
    given: dict[str, Any] = {
        "name": "part", "machine": None, "outside_diameter": DIAMETER, "wall": 1.65, "gauge": None,
        "material": "stainless 304", "yield_strength": None, "radii": np.full(len(angles), RADIUS),
        "trim_a": trims[0], "trim_b": trims[1],
    }  # fmt: skip
    return Part(
        straights=np.array(straights, dtype=float),
        rotations=np.radians(np.array(rotations, dtype=float)),
        angles=np.radians(np.array(angles, dtype=float)),
        **{**given, **fields},
    )


def random_tube(seed: int, bends: int | None = None, ends: tuple[float, float] = (420.0, 420.0)) -> Part:
    """A part that winds about in space: 2 to 4 bends of 15° to 100°, straights of 90 to 260 mm between them."""
    rng = np.random.default_rng(seed)
    n = bends if bends is not None else int(rng.integers(2, 5))
    straights = [ends[0], *rng.uniform(90.0, 260.0, n - 1), ends[1]]
    rotations = [0.0, *rng.uniform(-178.0, 178.0, n - 1)]
    return tube(straights, rotations, list(rng.uniform(15.0, 100.0, n)), name=f"part {seed}")


def rod_that_asks_for_a_turn(part: Part) -> float | None:
    """The length of a mandrel's rod [mm] that forbids both orders straight through but not starting at some inner bend.

    Straight through from A the tube behind the first bend is L − a_1, from B it is b_n; starting at bend k with A leading
    L − a_k, and after the turn b_(k−1).
    """
    length, starts, ends = part.developed_length, part.bend_starts, part.bend_ends
    through = min(length - float(starts[0]), float(ends[-1]))
    turned = [max(length - float(starts[k]), float(ends[k - 1])) for k in range(1, part.n_bends)]
    return None if not turned or min(turned) + 2.0 > through else math.ceil(min(turned))
