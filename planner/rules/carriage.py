"""The carriage's reach: where the collet may hold the tube for each bend, and where it must re-grip.

u is the stock coordinate of the collet's face, counted from the part's leading end [mm]. A bend that starts at a and
whose swing ends with e at the tangent point needs e + closest ≤ u ≤ a + farthest, and the tube must fill the collet:
u + grip length ≤ tail end. One grip serves bends whose windows share a point. At a re-grip u lies within
[e + closest, b + farthest] of the bend just made too: the tube springs back to b with the carriage on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from planner.facts import fact, length, needed
from planner.inputs.machine import Carriage
from planner.inputs.part import Part
from planner.rules.broken import NEVER, Broken, Kept, keeps
from planner.rules.grip import Loaded, end_of_swing
from planner.tolerances import RULE_SLACK


@dataclass(frozen=True)
class Grip:
    """One hold of the collet: face at stock coordinate u [mm], for so many bends in a row.

    released: the last of them is made with the collet open, after it has placed the tube.
    """

    u: float
    bends: tuple[int, ...]
    released: bool = False


Window = tuple[float, float]


def grip_window(loaded: Loaded, bend: int, setting: float, carriage: Carriage, released: bool = False) -> Window:
    """Return the least and greatest u for one bend [mm]; empty if the first is larger.

    A released bend is only placed by the collet: then a stands for e.
    """
    start = float(loaded.view.bend_starts[bend - 1])
    low, farthest = closest_face(loaded, bend, setting, carriage, released), carriage.reach[1]
    most = loaded.stock_behind_zero - carriage.grip_length
    high = min(start + farthest, most)
    return (low, high) if carriage.passes_through else (max(low, most), high)


def closest_face(loaded: Loaded, bend: int, setting: float, carriage: Carriage, released: bool = False) -> float:
    """Return the least u that keeps the collet behind the closest place until the bend's swing ends [mm].

    A released bend is only placed by the collet: then where the bend starts counts.
    """
    return _closest(loaded.view, bend, setting, carriage, released)


def _closest(view: Part, bend: int, setting: float, carriage: Carriage, released: bool) -> float:
    start = float(view.bend_starts[bend - 1])
    return (start if released else end_of_swing(view, bend, setting)) + carriage.reach[0]


def filled_from(view: Part, bend: int, setting: float, carriage: Carriage, released: bool = False) -> float:
    """Return the trim at the tail from which on tube fills the collet at its closest place for a bend [rad, mm]."""
    return _closest(view, bend, setting, carriage, released) + carriage.grip_length - view.developed_length


def window_kept(view: Part, bend: int, setting: float, carriage: Carriage, released: bool = False) -> Kept:
    """Return the trims at the tail with which the collet has a place for one bend, taken by itself [rad, mm].

    One that cannot be passed through holds the very end: so far forward, and no farther back than it reaches.
    """
    farthest = float(view.bend_starts[bend - 1]) + carriage.reach[1]
    if _closest(view, bend, setting, carriage, released) > farthest + RULE_SLACK:
        return NEVER
    most = math.inf if carriage.passes_through else farthest + carriage.grip_length - view.developed_length
    return filled_from(view, bend, setting, carriage, released), most


def regrip_kept(view: Part, bend: int, setting: float, carriage: Carriage) -> Kept:
    """Return the trims at the tail with which the collet finds a new hold at the end of a bend [rad, mm]."""
    if (
        _closest(view, bend, setting, carriage, False)
        > float(view.bend_ends[bend - 1]) + carriage.reach[1] + RULE_SLACK
    ):
        return NEVER
    return filled_from(view, bend, setting, carriage), math.inf


def hold_kept(view: Part, back: float, bend: int, setting: float, carriage: Carriage, released: bool = False) -> Kept:
    """Return the trims at the tail with which a hold still serves a later bend [rad, mm].

    back: the greatest u that the hold can have, whatever the stock [mm].
    """
    if _closest(view, bend, setting, carriage, released) > back + RULE_SLACK:
        return NEVER
    return filled_from(view, bend, setting, carriage, released), math.inf


def hold_face(loaded: Loaded, since: int, regripped_at: float | None, carriage: Carriage) -> float:
    """Return u for a hold that begins at a bend [mm]: as far back as that bend and the stock allow.

    regripped_at: stock coordinate at the tangent point once the tube has sprung back from the bend before, where a
    re-grip begins the hold; None at a load. Bends after the first may stand farther back, so they do not lower it.
    """
    return min(
        farthest_hold(loaded.view, since, regripped_at, carriage), loaded.stock_behind_zero - carriage.grip_length
    )


def farthest_hold(view: Part, since: int, regripped_at: float | None, carriage: Carriage) -> float:
    """Return the greatest u of a hold that begins at a bend, whatever the stock [mm]; regripped_at: see `hold_face`."""
    farthest = float(view.bend_starts[since - 1]) + carriage.reach[1]
    return farthest if regripped_at is None else min(farthest, regripped_at + carriage.reach[1])


def window_open(loaded: Loaded, bend: int, setting: float, carriage: Carriage, released: bool = False) -> Broken | None:
    """There must be a place on the tube where the collet can hold it for one bend, taken by itself [rad]."""
    if keeps(window_kept(loaded.view, bend, setting, carriage, released), loaded.trim_tail):
        return None
    window = grip_window(loaded, bend, setting, carriage, released)
    return _out_of_reach(loaded, bend, window, carriage)


def hold_serves(
    loaded: Loaded, face: float, since: int, bend: int, setting: float, carriage: Carriage, released: bool = False
) -> Broken | None:
    """A hold with its face at u = `face` [mm] must still be behind the closest place when a later bend's swing ends."""
    low = closest_face(loaded, bend, setting, carriage, released)
    if low <= face + RULE_SLACK:
        return None
    first, last = loaded.number(since), loaded.number(bend)
    said = fact(
        "no-grip-serves-all",
        first=first,
        bend=last,
        leads=loaded.leads,
        closest=length(carriage.reach[0]),
        farthest=length(carriage.reach[1]),
        missing=needed(low - face),
    )
    return Broken("carriage reach", last, loaded.leads, said, {"least": low, "face": face})


def regrip_fits(loaded: Loaded, bend: int, setting: float, carriage: Carriage) -> Broken | None:
    """At the end of a bend the collet must find a new hold that keeps the carriage's reach [rad].

    Its face lies in [e + closest, b + farthest] of that bend: there before the tube springs back, and still after it.
    """
    if keeps(regrip_kept(loaded.view, bend, setting, carriage), loaded.trim_tail):
        return None
    sprung_back = float(loaded.view.bend_ends[bend - 1])
    low = end_of_swing(loaded.view, bend, setting) + carriage.reach[0]
    high = min(sprung_back + carriage.reach[1], loaded.stock_behind_zero - carriage.grip_length)
    number = loaded.number(bend)
    said = fact("no-new-hold", bend=number, leads=loaded.leads, missing=needed(low - high))
    return Broken("carriage reach", number, loaded.leads, said, {"least": low, "greatest": high})


def _out_of_reach(loaded: Loaded, bend: int, window: Window, carriage: Carriage) -> Broken:
    bend_starts, number = loaded.view.bend_starts, loaded.number(bend)
    closest, missing = length(carriage.reach[0]), needed(window[0] - window[1])
    said = fact(
        "carriage-out-of-travel",
        bend=number,
        leads=loaded.leads,
        missing=missing,
        farthest=length(carriage.reach[1]),
        closest=closest,
    )
    if window[1] < float(bend_starts[bend - 1]) + carriage.reach[1] - RULE_SLACK:
        held = length(carriage.grip_length)
        said = fact("collet-out-of-tube", bend=number, leads=loaded.leads, missing=missing, held=held, closest=closest)
    return Broken("carriage reach", number, loaded.leads, said, {"least": window[0], "greatest": window[1]})
