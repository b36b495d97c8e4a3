"""What is wrong with a number in a part or a profile, and what may stand there, in words."""

from __future__ import annotations

from typing import Final

from planner.wording.say import Sentence

PROBLEMS: Final[dict[str, Sentence]] = {
    "a-size": "{size}",
    "no-size": "{size} is no size",
    "no-bore": "a wall of {wall} leaves no bore in a tube of {diameter}",
    "no-trim": "{trim} is no length of trim",
    "wall-and-gauge": "the wall is {wall}, the gauge {gauge} means {by_gauge}",
    "straight-below-nothing": "a straight of {straight}",
    "small-radius": "bend {bend} has a radius of {radius}",
    "leg-too-short": (
        "the leg from row {first} to row {second} is {leg} long, too short by {missing} for the tangents of its bends"
        " ({needed})"
    ),
    "crosses-itself": (
        "the tube runs through itself: {first} and {second} cross, {depth} deep, near {x:bare}, {y:bare}, {z} (bend 1"
        " starts along +x and bends toward +y)"
    ),
    "box-without-volume": "from {low:bare} to {high} in {axis}",
    "cylinder-without-height": "z from {low:bare} to {high}",
    "reach-out-of-order": "closest {closest:bare}, farthest {farthest}",
    "clamps-out-of-order": "{lengths:sizes} is out of order",
    "listed-twice": "{tooling} is listed twice",
    "cannot-hold-the-groove": "{size} cannot hold the groove",
    "too-low-for-the-groove": "{height} high cannot hold the groove",
    "block-without-groove": "{width} wide and {height} high cannot hold the groove",
    "hub-in-the-groove": "a radius of {radius} reaches into the groove",
    "section-depth": "{depth} deep",
    "no-tooling-for": 'no tooling on "{machine}" for a tube of {diameter} on a bend radius of {radius}',
}

ALLOWED: Final[dict[str, Sentence]] = {
    "more-than": "more than {limit}",
    "less-than": "less than {limit}",
    "or-more": "{limit} or more",
    "or-more-or-a-smaller-radius": "{limit} or more, or a smaller bend radius",
    "less-than-the-smallest-tube": "less than the smallest tube, {limit}",
    "less-than-the-tubes-radius": "less than the tube's radius, {limit}",
    "more-than-the-tubes-radius": "more than the tube's radius, {limit}",
    "radius-of-the-centreline": "more than the tube's radius, {limit} (radii are those of the centreline)",
    "more-than-the-tubes-diameter": "more than the tube's diameter, {limit}",
    "less-than-the-grooves-radius": "less than {limit}, the groove's smallest radius",
    "wide-and-high": "a width over {width} and a height over {height}",
    "section-depths": "more than the tube's radius, {radius}, and at most the bend radius, {bend_radius}",
    "at-least-the-nose": "the nose's {limit} or more",
    "at-most-the-longest-clamp": "at most the longest clamp, {limit}",
    "within-reach": "{closest:bare} to {farthest}, its reach",
    "a-gap": "a gap of {limit} or more between any two parts of the finished tube",
    "the-tooling-there-is": "the tooling there is ({tooling:commas})",
    "on-radius": "{diameter} on radius {radius}",
}

SAYS: Final[dict[str, Sentence]] = {**PROBLEMS, **ALLOWED}
