"""Films for the tests of the 3D view: random poses of random tubes, and a small motion of a tube in a machine."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.simulated import Array, Lra, poses


@dataclass(frozen=True)
class Case:
    """A tube in one pose, and where points of its centreline lie: places counted from end A, without trim [mm]."""

    tube: dict[str, Any]
    toward: float
    leads: str
    pose: list[float]
    places: list[float]
    expected: Array  # (k, 3)

    def asked(self) -> dict[str, Any]:
        """What the browser needs to answer for itself."""
        return {key: getattr(self, key) for key in ("tube", "toward", "leads", "pose", "places")}


def case(rng: np.random.Generator) -> Case:
    """A random tube with the bends nearest its leading end formed, the next one in the die, perhaps, mid swing."""
    n, side = int(rng.integers(1, 7)), float(rng.choice([-1.0, 1.0]))
    leads = str(rng.choice(["A", "B"]))
    view = Lra(
        rng.uniform(15, 400, n + 1),
        rng.uniform(-math.pi, math.pi, n),
        rng.uniform(0.1, 3.1, n),
        rng.uniform(30, 150, n),
    )
    trim_lead, trim_tail = (float(rng.choice([0.0, rng.uniform(1, 60)])) for _ in range(2))
    total = float(view.straights.sum() + (view.radii * view.angles).sum())
    formed, swings, roll = int(rng.integers(0, n + 1)), bool(rng.random() < 0.6), float(rng.uniform(-4, 4))
    reached = np.where(np.arange(1, n + 1) <= formed, view.angles, 0.0)
    arm, die = 0.0, None
    plane = n
    if swings and formed < n:
        # The bend in the die: what has gone round it lies ahead of the tangent point, what has not lies behind.
        plane, arm = formed + 1, float(rng.uniform(0.0, view.angles[formed]))
        reached[formed] = arm
        at = float(view.starts[formed] + view.radii[formed] * arm)
        die = (plane, arm)
    else:
        last = float(view.starts[formed - 1] + view.radii[formed - 1] * view.angles[formed - 1]) if formed else 0.0
        at = float(rng.uniform(last, total))
    # The pose's roll is of the bend nearest the tail, the oracle's of the bend whose plane is meant.
    nearest = roll - float(view.rotations[plane:n].sum())
    places = np.sort(rng.uniform(-trim_lead, total + trim_tail, 40))
    expected = poses(view, range(1, formed + 1), at, roll, side, places, die, plane)
    numbers = [at - total - trim_tail, nearest, arm, 500.0, 0.0, 0.0, 0.0, 0.0]
    part, reached_a = (view, reached) if leads == "A" else (view.reversed(), reached[::-1])
    trims = {"A": trim_lead, "B": trim_tail} if leads == "A" else {"A": trim_tail, "B": trim_lead}
    from_a = places if leads == "A" else total - places
    tube = {"radius": 12.0, "trim": trims} | {
        name: getattr(part, name).tolist() for name in ("straights", "rotations", "angles", "radii")
    }
    return Case(tube, side, leads, numbers + reached_a.tolist(), from_a.tolist(), expected)


def handrail(toward: float = -1.0) -> dict[str, Any]:
    """A film of an invented handrail on an invented bender: advance, rotate, bend, three times over; end A leads."""
    tube = {
        "radius": 19.05,
        "straights": [260.0, 420.0, 340.0, 300.0],
        "rotations": [0.0, math.pi / 2, -math.pi / 3],
        "angles": [math.pi / 2, math.radians(60), math.radians(110)],
        "radii": [76.2, 76.2, 76.2],
        "trim": {"A": 25.0, "B": 90.0},
    }

    def box(name: str, moves: str, low: tuple[float, ...], high: tuple[float, ...]) -> dict[str, Any]:
        """A box as it stands on a right head, or its mirror image."""
        across = sorted((-toward * low[1], -toward * high[1]))
        return {"name": name, "moves": moves, "box": [low[0], across[0], low[2], high[0], across[1], high[2]]}

    return {
        "tube": tube,
        "toward": toward,
        "floor": -1050.0,
        "solids": [
            box("bed", "frame", (-2600, -120, -1050), (-120, 120, -150)),
            box("pressure die slide", "pressure die", (-340, 30, -150), (-10, 220, -65)),
            box("arm", "arm", (-40, -120, -200), (120, 170, -65)),
            box("carriage", "carriage", (-280, -100, -150), (0, 100, 110)),
            {"name": "post", "moves": "frame", "cylinder": [0, 76 * toward, 110, -1050, -210]},
        ],
        "tooling": [
            {
                "radius": 76.2,
                "die": {"height": 90.0, "bore": 19.05},
                "hub": {"radius": 30.0, "height": 160.0},
                "wiper": {"length": 150.0, "width": 60.0, "height": 60.0},
                "section": {"length": None, "depth": 57.0, "height": 90.0},
                "clamp": {"width": 110.0, "height": 110.0, "opens": 110.0},
                "pressure": {"length": 240.0, "width": 110.0, "height": 110.0, "opens": 40.0},
                "follows": True,
                "mandrel": {
                    "nose": 8.0,
                    "balls": 2,
                    "reach": 45.0,
                    "rods": [["mandrel rod", -3600.0, -190.5, 12.5], ["mandrel", -190.5, 8.0, 17.25]],
                },
            }
        ],
        "grip": 60.0,
        "shots": _shots(tube),
    }


def _shots(tube: dict[str, Any]) -> list[dict[str, Any]]:
    """Advance, rotate, dies close, bend, dies open and return for every bend, nearest the leading end first."""
    n, arcs = len(tube["angles"]), [r * a for r, a in zip(tube["radii"], tube["angles"], strict=True)]
    length = sum(tube["straights"]) + sum(arcs)
    behind = tube["trim"]["B"]
    reached = [0.0] * n
    pose = [-length - behind, 0.0, 0.0, length + behind - 60.0, 0.0, 1.0, 1.0, 0.0]
    shots: list[dict[str, Any]] = []

    def to(seconds: float, *stations: list[float]) -> None:
        nonlocal pose
        keys = [[*pose, *shots[-1]["poses"][-1][8:]] if shots else [*pose, *([0.0] * n)]]
        keys += [[*station, *reached] for station in stations]
        at = np.linspace(0.0, 1.0, len(keys)).tolist()
        shots.append(
            {"step": len(shots) + 1, "leads": "A", "tooling": 0, "clamp": 115.0, "poses": keys, "at": at}
            | {"seconds": seconds, "shown": True, "released": False}
        )
        pose = stations[-1]

    start = 0.0
    for k in range(n):
        start += tube["straights"][k]
        x = start - length - behind
        nearest = -sum(tube["rotations"][k + 1 :])
        to(2.0, [x, pose[1], 0.0, -x - 60.0, 0.0, 1.0, 1.0, 0.0])
        to(1.5, [x, nearest, 0.0, -x - 60.0, 0.0, 1.0, 1.0, 0.0])
        to(0.8, [x, nearest, 0.0, -x - 60.0, 0.0, 0.0, 0.0, 0.0])
        reached[k] = tube["angles"][k]
        to(4.0, [x + arcs[k], nearest, reached[k], -x - 60.0 - arcs[k], arcs[k], 0.0, 0.0, 0.0])
        to(0.8, [*pose[:5], 1.0, 1.0, 0.0])
        to(2.0, [*pose[:2], 0.0, pose[3], 0.0, 1.0, 1.0, 0.0])
        start += arcs[k]
    return shots
