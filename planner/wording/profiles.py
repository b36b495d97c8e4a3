"""What there is to remark on a machine's profile and on the settings read from it, in words."""

from __future__ import annotations

from typing import Final

from planner.wording.say import Sentence

SAYS: Final[dict[str, Sentence]] = {
    # Keys of before
    "nose-of-before": (
        "[mandrel] nose = {nose} is taken for {which}, without balls; write mandrel = {{ nose = … }} into each"
        " [[tooling]]."
    ),
    "all-tooling": "all tooling",
    "tooling-without-a-mandrel": "the {count} toolings without a mandrel of their own",
    # Solids
    "with-tooling": " (tube {diameter} on radius {radius})",
    "solids-overlap": "In the profile the {one} runs into the {another}, {deep} deep{begins}{near}{tooling}.",
    "from-arm-at": ", from {angle} of the arm on",
    "even-at-home": ", even with the arm at home",
    "near": ", near ({x:bare}, {y:bare}, {z:bare}) {z:unit}",
    "before-its-face": (
        "The {solid} is drawn {deep} before the collet's face that it moves with; no x of it may be more than 0."
    ),
    "no-rod-anchor": "No solid holds the mandrel's rod where it ends{where}: the proof knows nothing of its anchor.",
    "behind-the-tangent-point": ", {way} behind the tangent point",
    "no-bed": (
        "The profile has no bed (a solid of the frame under the tube behind the dies): the proof knows nothing of it."
    ),
    "no-arm": "The profile has no bend arm (a solid that moves with the arm): the proof knows nothing of it.",
    "no-post": "The profile has no post (a solid of the frame under the bend die): the proof knows nothing of it.",
    "no-carriage": "The profile has no carriage (a solid that moves with it): the proof knows nothing of it.",
    # Heights and sides
    "centreline-low": "The centreline is {height} over the floor, under {usual}: metres typed for mm?",
    "centreline-high": "The centreline is {height} over the floor, over {usual}: is that so?",
    "post-on-the-wrong-side": (
        "The {solid} stands to the {stands} of the feed, the head bends toward the {bends}: no post is under the die."
    ),
    # Tooling
    "pressure-die-wears-out": (
        "The pressure die of {length} travels with the tube and lasts to {reached}, the largest setting is {largest}:"
        " it needs {needed}{tooling}."
    ),
    "clamp-opens-too-little": (
        "The clamp of {clamp} opens {opens}; after a bend of 90° it needs {needed} where {way}{tooling}."
    ),
    "past-the-standing-tube": "the arm goes home past the standing tube",
    "tube-and-arm-together": "tube and arm go home together",
    "eased-off": "the tube is eased off in two steps",
    # Springback
    "springback-estimated": (
        "springback is estimated ({share} of the angle, from a yield strength of {strength}), not measured: make a"
        " trial bend first"
    ),
    "springback-guessed": (
        "springback is guessed at {share} of the angle (common practice, no source), as {why}: make a trial bend first"
    ),
    "unknown-material": 'nothing is known of the material "{material}"',
    "hardly-sets": "the tube would open by {share} of the angle and hardly take a set",
    "beyond-the-measured-pairs": (
        "{angle} lies beyond the measured pairs ({first} to {last}): the setting carries their nearest line on"
    ),
}
