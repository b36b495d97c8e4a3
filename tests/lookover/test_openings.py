"""How far the clamp must open: against a tube that is walked point by point past the opened clamp."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from planner.inputs.machine import Machine, Tooling
from planner.lookover.openings import opening_needed, too_narrow
from planner.lookover.remarks import Way
from tests.lookover.benches import TOOL, bench

Array = np.ndarray[Any, Any]

DIES = [
    (38.1, 76.2, 115.0),
    (38.1, 76.2, 76.0),
    (25.4, 50.8, 76.0),
    (38.1, 114.3, 100.0),
    (50.8, 101.6, 150.0),
    (76.2, 152.4, 230.0),
]


def machine_of(diameter: float, radius: float, clamp: float, **changes: Any) -> tuple[Machine, Tooling]:
    tool = {"tube_diameter": diameter, "bend_radius": radius, "clamp_lengths": [clamp], "die_height": 2 * diameter,
            "clamp_block": {"width": 200, "height": 200, "opens": 300},
            "pressure_block": {"width": 200, "height": 200, "opens": 40}, "pressure_die_length": 900}  # fmt: skip
    machine = bench(tool=tool | changes)
    return machine, machine.tooling[0]


def centreline(radius: float, y: float, arm: float) -> Array:
    """A right angle run forward by y, seen from the arm at an angle: points (2, n) of tail, arc and leg, every 0.25 mm."""
    tail = np.linspace(-600.0, 0.0, 2400)
    bend = np.linspace(0.0, math.pi / 2.0, 1200)
    leg = np.linspace(0.0, 600.0, 2400)
    x = np.concatenate((tail, radius * np.sin(bend), np.full_like(leg, radius))) + y
    across = np.concatenate((0.0 * tail, radius * np.cos(bend) - radius, -radius - leg)) + radius
    return np.stack((math.cos(arm) * x - math.sin(arm) * across, math.sin(arm) * x + math.cos(arm) * across - radius))


def least_opening(points: Array, bore: float, clamp: float, clear: float) -> float:
    """The least opening at which all points before the clamp keep bore + clear from its lips at z = ±bore, y = opening."""
    aside = np.maximum(np.maximum(-points[0], points[0] - clamp), 0.0)
    room = (bore + clear) ** 2 - bore**2 - aside**2  # what is left for the way across the parting line, squared
    near = room >= 0.0
    return float((points[1][near] + np.sqrt(room[near])).max()) if near.any() else 0.0


def ways_of(radius: float, bore: float, length: float) -> dict[Way, list[tuple[float, float]]]:
    """Places (y, arm) that each way home passes through, as design and workshop know them."""
    inward = radius - bore
    out = math.sqrt(inward**2 + length**2) - inward
    last = math.atan(inward / length) - math.acos(
        min(1.0, (length**2 + out**2) / (2 * out * math.sqrt(inward**2 + length**2)))
    )
    last, t = max(last, 0.0), np.linspace(0.0, 1.0, 160)
    end = max(length, out)
    first = math.pi / 2 - out / length
    together = [(out * s, math.pi / 2 - out / length * s) for s in t] + [
        (out + (length - out) * s, first * (1 - s)) for s in t
    ]
    eased = [(out * s, math.pi / 2) for s in t] + [(out, math.pi / 2 + (last - math.pi / 2) * s) for s in t]
    eased += [(out + (end - out) * s, last) for s in t] + [(end, last * (1 - s)) for s in t]
    return {
        "past the standing tube": [(0.0, math.pi / 2 * s) for s in t],
        "tube and arm together": together,
        "eased off": eased,
    }


@pytest.mark.parametrize(("diameter", "radius", "clamp"), DIES)
@pytest.mark.parametrize("way", ["past the standing tube", "tube and arm together", "eased off"])
def test_the_opening_is_what_a_walked_tube_needs(diameter: float, radius: float, clamp: float, way: Way) -> None:
    machine, tooling = machine_of(diameter, radius, clamp)
    bore, clear = diameter / 2.0, machine.clearance.to_tooling
    places = ways_of(radius, bore, clamp)[way]
    walked = max(least_opening(centreline(radius, y, arm), bore, clamp, clear) for y, arm in places)
    assert opening_needed(machine, tooling, clamp, way) == pytest.approx(walked, abs=0.05)


def test_the_known_bender_needs_67_together_and_80_eased_off() -> None:
    machine, tooling = machine_of(38.1, 76.2, 115.0)
    assert opening_needed(machine, tooling, 115.0, "tube and arm together") == pytest.approx(67.0, abs=0.1)
    assert opening_needed(machine, tooling, 115.0, "eased off") == pytest.approx(80.2, abs=0.1)


@pytest.mark.parametrize(
    ("head", "tool", "opens"),
    [
        ({}, {}, 66.98),
        ({"homes_with_tube": True}, {}, 57.6),
        ({}, {"grip_section": False}, 8.96),
        ({"die_drops": 62}, {"mandrel": {"nose": 5}}, 8.96),  # 40 mm of section, 19.05 of tube and 2 to spare: 61.05
        ({"die_drops": 60}, {}, 66.98),
    ],
)
def test_a_bench_is_asked_for_the_easiest_way_home_that_it_has(
    head: dict[str, Any], tool: dict[str, Any], opens: float
) -> None:
    for more, told in ((0.05, False), (-0.05, True)):
        block = TOOL["clamp_block"] | {"opens": opens + more}
        machine = bench(head=head, tool=tool | {"clamp_block": block})
        assert (too_narrow(machine, machine.tooling[0]) is not None) == told
