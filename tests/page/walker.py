"""Where the tube of a film lies, walked from its tail with 3 × 3 matrices: NumPy, nothing of the program."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tests.geometry.turns import Array, turn_about

FIXED = 8
"""Numbers of a pose before the angles that the bends have reached."""


def places(film: dict[str, Any], leads: str, pose: list[float], marks: Array) -> Array:
    """Places (k, 3) in the machine frame of raw stock coordinates from the raw end A, trim included [mm]."""
    tube, side = film["tube"], film["toward"]
    n = len(tube["angles"])
    order = list(range(n)) if leads == "B" else list(range(n - 1, -1, -1))  # from the tail to the lead
    tail_trim, lead_trim = (tube["trim"][end] for end in ("BA" if leads == "A" else "AB"))
    straights = tube["straights"] if leads == "B" else tube["straights"][::-1]  # likewise
    cut = sum(tube["straights"]) + tail_trim + lead_trim
    cut += sum(r * a for r, a in zip(tube["radii"], tube["angles"], strict=True))
    from_tail = cut - marks if leads == "A" else marks
    out = np.full((len(marks), 3), np.nan)
    place, frame, used = np.array([pose[0], 0.0, 0.0]), turn_about("x", pose[1]), 0.0
    straight = tail_trim + straights[0]
    for k, bend in enumerate(order):
        radius, reached = tube["radii"][bend], pose[FIXED + bend]
        straight += radius * (tube["angles"][bend] - reached)
        inside = from_tail >= used - 1e-9
        out[inside] = place + np.outer(from_tail[inside] - used, frame[:, 0])
        place, used = place + straight * frame[:, 0], used + straight
        inside = from_tail >= used - 1e-9
        turned = (from_tail[inside] - used) / radius
        bow = np.column_stack((np.sin(turned), side * (1.0 - np.cos(turned)), 0.0 * turned)) * radius
        out[inside] = place + bow @ frame.T
        place = place + radius * frame @ np.array([math.sin(reached), side * (1.0 - math.cos(reached)), 0.0])
        frame, used = frame @ turn_about("z", side * reached), used + radius * reached
        if k + 1 < n:  # on to the next bend ahead; the rotation stands in the row of the bend nearer end B
            frame = frame @ turn_about("x", tube["rotations"][max(bend, order[k + 1])])
        straight = straights[k + 1]
    inside = from_tail >= used - 1e-9
    out[inside] = place + np.outer(from_tail[inside] - used, frame[:, 0])
    return out
