"""What a plan says of how far tube and arm come round, and of the floor that they sweep, held against points of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from tests.geometry.turns import turn_about
from tests.plan.replay.carrying_out import CarryingOut
from tests.plan.replay.motions import Body, Length, Motion, between
from tests.plan.replay.solids import section_size, tooling_for
from tests.plan.replay.stock import Array

ALONG = 25.0
"""Between points of the tube [mm]."""

MOVED = 40.0
"""A point of the tube moves no more than this between two moments at which it is looked at [mm]."""

ABOVE_REACH, ABOVE_HEIGHT, BEYOND_OUTLINE = 22.0, 13.0, 340.0
"""By so much may what is said of the reach, of the heights and of the floor be larger than what was found [mm]: numbers are
rounded up to 10 mm and to 1 mm, and a sampled upper bound is a little large; far out the outline's directions are wider.
"""

TO_THE_SIDE = 150.0
"""The tube's own thickness and what lies between two samples, in the outline [mm]."""

SECTORS = 72
"""Directions about the die's axis in which the outline has its corners."""


def moving(motion: Motion) -> Iterator[tuple[Body, Length]]:
    """The tube that is there in a motion, piece by piece."""
    for body in motion.bodies:
        for length in body.lengths:
            low, high = length.widest(0.0, 1.0)
            if high - low > 1e-6:
                yield body, length


def points(motion: Motion, body: Body, length: Length) -> Array:
    """Points (moments, places, 3) of the centreline over the motion; where there is no tube any more, the piece's end."""
    low, high = length.widest(0.0, 1.0)
    s = np.linspace(low, high, max(2, math.ceil((high - low) / ALONG) + 1))
    start = length.piece.points(s)
    way = _way(motion, body, start, length)
    out = []
    for t in np.linspace(0.0, 1.0, max(2, math.ceil(way / MOVED) + 1)):
        reach = length.reach(float(t))
        if reach[1] - reach[0] <= 1e-6:
            continue
        x = length.piece.points(np.clip(s, *reach)) if reach != (low, high) else start
        off, swing = np.array([0.0, motion.axis, 0.0]), turn_about("z", between(body.swing, float(t)))
        x = (x @ turn_about("x", between(body.roll, float(t))).T - off) @ swing.T + off
        out.append(x + [between(body.shift, float(t)), 0.0, 0.0])
    return np.array(out).reshape(-1, len(s), 3)


def _way(motion: Motion, body: Body, start: Array, length: Length) -> float:
    """No point moves farther than this in the motion [mm]."""
    roll, swing, shift = (abs(pair[1] - pair[0]) for pair in (body.roll, body.swing, body.shift))
    ends = max(abs(last - first) for first, last in (length.low, length.high))
    from_feed = float(np.hypot(start[:, 1], start[:, 2]).max())
    from_axis = float(np.linalg.norm(start - [0.0, motion.axis, 0.0], axis=1).max())
    return roll * from_feed + swing * from_axis + shift + ends


def on_the_arm(done: CarryingOut, motion: Motion) -> list[tuple[Array, float]]:
    """Points (k, 2) of the outlines, seen from above with the arm at home, of what turns with it, and by how much each is
    to be made larger [mm]: its own solids, the clamp in its whole travel and the grip section.
    """
    radius = done.rows[motion.bend - 1][3]
    tooling = tooling_for(done.machine, 2.0 * done.radius, radius)
    block, out = tooling["clamp_block"], -motion.side
    boxes = [(0.0, 0.0, motion.clamp, out * (block["width"] + block["opens"]))]
    size = section_size(tooling, motion.clamp)
    if size is not None:
        boxes.append((0.0, 0.0, size[0], motion.side * size[1]))
    found = []
    for entry in done.machine.get("solid", ()):
        if entry["moves_with"] == "arm" and entry.get("box") is not None:
            boxes.append((*entry["box"]["from"][:2], *entry["box"]["to"][:2]))
        elif entry["moves_with"] == "arm":
            found.append((np.array([entry["cylinder"]["centre"]]), float(entry["cylinder"]["radius"])))
    for x0, y0, x1, y1 in boxes:
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        along = np.linspace(0.0, 1.0, 9)[:, None, None]
        edges = corners + along * (np.roll(corners, -1, axis=0) - corners)
        found.append((edges.reshape(-1, 2), 0.0))
    return found


def arm_reach(done: CarryingOut, motion: Motion) -> float:
    """How far from the die's axis what turns with the arm reaches [mm]."""
    outlines = on_the_arm(done, motion)
    return max(float(np.hypot(x[:, 0], x[:, 1] - motion.axis).max()) + more for x, more in outlines)


def arm_points(done: CarryingOut, motion: Motion) -> Array:
    """Points (k, 2) of the floor that what turns with the arm sweeps in a motion."""
    if motion.arm[0] == motion.arm[1]:
        return np.zeros((0, 2))
    level = np.concatenate([x for x, _ in on_the_arm(done, motion)]) - [0.0, motion.axis]
    swept = []
    for angle in np.linspace(*motion.arm, max(2, math.ceil(math.degrees(abs(motion.arm[1] - motion.arm[0])) / 3.0))):
        swept.append(level @ turn_about("z", motion.side * float(angle))[:2, :2].T + [0.0, motion.axis])
    return np.concatenate(swept)


def reach(done: CarryingOut, motion: Motion) -> tuple[str | None, float, float, float]:
    """What axis tube or arm turn about, how far from it (or ahead) they come, and how high and low the tube does [mm]."""
    tube = [(body, points(motion, body, length).reshape(-1, 3)) for body, length in moving(motion)]
    every = np.concatenate([x for _, x in tube])
    (swinging,) = [body for body in motion.bodies if body.name == "ahead"]
    ahead = np.concatenate([x for body, x in tube if body is swinging] or [np.zeros((0, 3))])
    about, far = None, float(every[:, 0].max()) + done.radius
    turns = motion.arm[0] != motion.arm[1]
    if turns or swinging.swing[0] != swinging.swing[1]:
        about, far = "die", arm_reach(done, motion) if turns else 0.0
        if swinging.swing[0] != swinging.swing[1]:
            far = max(far, float(np.hypot(ahead[:, 0], ahead[:, 1] - motion.axis).max(initial=0.0)) + done.radius)
    elif swinging.roll[0] != swinging.roll[1]:
        about, far = "feed", float(np.hypot(ahead[:, 1], ahead[:, 2]).max(initial=0.0)) + done.radius
    high, low = float(every[:, 2].max()), float(every[:, 2].min())
    return about, far, high + done.radius, low - done.radius


def wrong_swing(done: CarryingOut, motion: Motion) -> list[str]:
    """What is wrong with the step's word on how far tube and arm come round."""
    said, step = motion.step["swing"], motion.step
    about, far, high, low = reach(done, motion)
    found = [] if said["about"] == about else [f"it turns about the {about}, {said['about']} is said"]
    found += _bounds(said["farthest"], far, ABOVE_REACH, "farthest")
    found += _bounds(said["highest"], high, ABOVE_HEIGHT, "highest")
    found += _bounds(-said["lowest"], -low, ABOVE_HEIGHT, "lowest")
    return [f"step {step['number']}, {step['action']}: {line}" for line in found]


def wrong_speed(done: CarryingOut, motion: Motion) -> list[str]:
    """What is wrong with the speed [mm/s] that is said of what lies farthest out.

    A hand and the tube's own spring have none, nor has what stands.
    """
    speeds, told, step = done.machine["speeds"], motion.step["swing"]["tip_speed"], motion.step
    where = f"step {step['number']}, {step['action']}"
    if motion.by_hand or motion.phase in ("dies open", "dies close", "re-grip", "die drops"):
        return [] if told is None else [f"{where}: {told:g} mm/s is said where no axis moves tube or arm"]
    if told is None:
        return [f"{where}: no speed is said"]
    about, far, _, _ = reach(done, motion)
    if about is None:
        found = _bounds(told, speeds["advance"], 1.0, "a speed of")
    else:
        about = "return" if about == "die" and motion.phase == "return" else about
        turning = math.radians(speeds[{"die": "bend", "feed": "rotate", "return": "return"}[about]])
        found = _bounds(told, turning * far, turning * ABOVE_REACH + 1.0, "a speed of")
    return [f"{where}: {line}" for line in found]


def _bounds(said: float, found: float, more: float, name: str) -> list[str]:
    """A number said must be no less than what was found, and not much more [mm]."""
    rounding = 1e-3
    if found - rounding <= said <= found + more:
        return []
    return [f"{name} {said:g} is said, {found:.1f} is found"]


def wrong_outline(done: CarryingOut) -> list[str]:
    """What is wrong with the outline of the floor that the tube sweeps."""
    (said,) = done.document["keep_clear"]
    outline = np.array(said["outline"])
    swept = np.concatenate(
        [points(m, body, length)[..., :2].reshape(-1, 2) for m in done.motions for body, length in moving(m)]
    )
    swept = np.unique(np.round(swept), axis=0)  # to 1 mm
    arm = np.concatenate([arm_points(done, m) for m in done.motions])
    found = []
    for what, x in (("the tube", swept), ("the arm", arm)):
        outside = ~_within(outline, x)
        if outside.any():
            found.append(f"{what} comes to {x[outside][0]}, outside the outline")
    near = _to_edges(outline, swept)
    if float(near.min()) < done.radius - 1.0:
        found.append(f"the tube's side comes over the outline at {swept[int(np.argmin(near))]}")
    if done.unseen:  # how far the tube comes is for the plan to say
        return found
    return found + _too_large(outline, np.concatenate((swept, arm)), done.motions[0].axis)


def _within(outline: Array, x: Array) -> Any:
    """Which points lie within a polygon: a ray to the left crosses it an odd number of times."""
    inside = np.zeros(len(x), dtype=bool)
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        crosses = (y0 > x[:, 1]) != (y1 > x[:, 1])
        inside ^= crosses & (x[:, 0] < x0 + (x[:, 1] - y0) / (y1 - y0) * (x1 - x0))
    return inside


def _to_edges(outline: Array, x: Array) -> Array:
    """How far points are from a polygon's edges [mm]."""
    least = np.full(len(x), np.inf)
    for first, last in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        edge = last - first
        t = np.clip((x - first) @ edge / max(float(edge @ edge), 1e-12), 0.0, 1.0)
        least = np.minimum(least, np.linalg.norm(x - first - t[:, None] * edge, axis=1))
    return least


def _too_large(outline: Array, swept: Array, axis: float) -> list[str]:
    """Corners that lie much farther from the tube than two of the outline's directions are wide there."""
    far = cKDTree(swept).query(outline)[0]
    wide = 2.0 * math.radians(360.0 / SECTORS) * np.hypot(outline[:, 0], outline[:, 1] - axis) + TO_THE_SIDE
    return [
        f"the outline's corner at {corner} is {distance:.0f} mm from where the tube ever comes"
        for corner, distance, width in zip(outline, far, wide, strict=True)
        if distance > max(BEYOND_OUTLINE, width)
    ]
